"""The firing sheet's two pictures: the wall as printed and as fired, and the firing's curve."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from cofire.inputs.units import HOUR, celsius
from cofire.output.figures import literal, spread
from cofire.output.making_figures import INK, colour
from cofire.planning.printing.kiln_steps import Happening, Step
from cofire.planning.ware.joint_flags import metal_share

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.inputs.trace import Trace
    from cofire.planning.printing.making import Making
    from cofire.planning.printing.wall import Wall

WIDTH, HEIGHT = 3.6, 2.5
"""Of either picture on paper, where its letters have the size they are drawn with. [inch]"""
SMALL = 6.8
"""Size of letters. [pt]"""
ROW = 0.042
"""Least distance of two labels, of the picture's height. [-]"""
PLAIN = "#595959"
"""Grey of lines that are not the ware's; 7:1 on white."""


def letter(number: int) -> str:
    """Name of an event: a to z, then aa, ab and so on.

    Parameters
    ----------
    number : int
        From 0. [-]

    Returns
    -------
    str
        Letters.
    """
    more, last = divmod(number, 26)
    return (letter(more - 1) if more else "") + chr(ord("a") + last)


def data_uri(figure: Figure) -> str:
    """A figure as the source of an image, the same bytes on each run.

    Parameters
    ----------
    figure : Figure
        Any.

    Returns
    -------
    str
        Letters are outlines, so that no font is needed.
    """
    import matplotlib

    settings: Any = {"svg.hashsalt": "cofire", "svg.fonttype": "path"}
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    stream = io.BytesIO()
    with matplotlib.rc_context(settings):
        figure.savefig(stream, format="svg", metadata=nothing)
    return "data:image/svg+xml;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def _band(axes: Axes, wall: Wall, number: int, side: float, fill: Any) -> None:
    """The cut wall of one band on one side of the axis, with its piece of the base."""
    low, high = float(wall.edges[number]), float(wall.edges[number + 1])
    between = wall.height[(wall.height > low) & (wall.height < high)]
    z = np.concatenate([[low], between, [high]])
    inner = z if wall.base <= low else np.concatenate([[min(wall.base, high)], z[z > wall.base]])
    r_out, r_in = wall.at(wall.outside, z), wall.at(wall.inside, inner)
    if low < wall.base:  # the base, as far up as this band reaches
        inner = np.concatenate([[low, inner[0]], inner])
        r_in = np.concatenate([[0.0, 0.0], r_in])
    x = 1e3 * side * np.concatenate([r_out, r_in[::-1]])
    y = 1e3 * np.concatenate([z, inner[::-1]])
    axes.fill(x, y, fc=fill, ec=INK, lw=0.7, zorder=3)


@literal
def section_picture(m: Making) -> Figure:
    """Left of the axis the wall as printed, right of it as fired, joints led from one to the other.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    Figure
        Bands by number, heights in mm; tone tells the metal.
    """
    from matplotlib.figure import Figure

    green = m.green.wall
    fired = m.refired.wall if m.refired is not None else m.green.fired
    top = 1e3 * float(green.height[-1])
    wide = 1e3 * np.array([green.outside.max(), fired.outside.max()])
    left, right, below, above = 0.72, 0.48, 0.04, 0.42  # room for labels [inch]
    free = WIDTH - left - right
    scale = min((HEIGHT - below - above) / top, free / wide.sum())  # inch a mm
    labels = ROW * HEIGHT * len(m.response.cards)
    high = max(scale * top, labels) + below + above
    figure = Figure(figsize=(WIDTH, high))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    centre = left + scale * wide[0] + 0.5 * (free - scale * wide.sum())
    axes.set_xlim(-centre / scale, (WIDTH - centre) / scale)
    axes.set_ylim(-below / scale, (high - below) / scale)
    axes.set_aspect("equal")
    for band, card in enumerate(m.response.cards):
        fill = colour(np.asarray(metal_share(card)))
        for wall, way in ((green, -1.0), (fired, 1.0)):
            _band(axes, wall, band, way, fill)
    axes.plot([0, 0], [0.0, 1.02 * top], color=INK, lw=0.6, ls=(0, (8, 3, 2, 3)), zorder=2)
    axes.axhline(0.0, color=INK, lw=0.9, zorder=1)
    layers = zip(np.cumsum(m.green.layers), green.edges[1:], strict=True)
    texts = [f"{n},  {1e3 * z:.1f}" for n, z in layers]
    up = _beside(axes, green, texts, -1.0, 1.0 / scale)
    up = max(
        up, _beside(axes, fired, [f"{1e3 * z:.1f}" for z in fired.edges[1:]], 1.0, 1.0 / scale)
    )
    _numbers(axes, green, fired, 1.0 / scale)
    up = max(up, top) + 0.12 / scale
    head: dict[str, Any] = {"fontsize": SMALL, "va": "bottom", "color": INK}
    axes.text(-0.1 / scale, up, "printed: after layer,\nmm up", ha="right", **head)
    axes.text(0.1 / scale, up, "fired:\nmm up", ha="left", **head)
    return figure


def _beside(axes: Axes, wall: Wall, texts: Sequence[str], way: float, inch: float) -> float:
    """Labels of the joints and the rim beside one wall; returns where the highest stands. [mm]"""
    places = 1e3 * wall.edges[1:]
    gap = ROW * HEIGHT * inch
    stands = spread(places, gap, max(float(places[-1]), gap * places.size))
    own = 1e3 * wall.at(wall.outside, wall.edges[1:])
    widest = 1e3 * float(wall.outside.max())
    line = np.array([0.05, 0.13]) * inch + widest
    for place, stand, text, edge in zip(places, stands, texts, own, strict=True):
        axes.plot(way * np.array([edge, *line]), [place, place, stand], color=PLAIN, lw=0.5)
        axes.text(
            way * (line[-1] + 0.02 * inch), stand, text, fontsize=SMALL, color=INK, va="center",
            ha="right" if way < 0.0 else "left",
        )  # fmt: skip
    return float(stands[-1])


def _numbers(axes: Axes, green: Wall, fired: Wall, inch: float) -> None:
    """Joints led from the printed to the fired wall, and the bands' numbers at the axis."""
    ends = (-1e3 * green.at(green.inside, green.edges), 1e3 * fired.at(fired.inside, fired.edges))
    heights = 1e3 * np.stack([green.edges, fired.edges])
    for x, z in list(zip(np.transpose(ends), heights.T, strict=True))[1:-1]:
        axes.plot(x, z, color=PLAIN, lw=0.5, ls=(0, (3, 2)), zorder=1)
    middles = 0.25 * (heights[:, 1:] + heights[:, :-1]).sum(axis=0)
    gap = ROW * HEIGHT * inch
    stands = spread(middles, gap, max(float(heights.max()), gap * middles.size))
    for number, stand in enumerate(stands, 1):
        axes.text(
            0.0, stand, str(number), fontsize=SMALL + 0.7, ha="center", va="center", color=INK,
            weight="bold", zorder=5,
            bbox={"boxstyle": "round,pad=0.12", "fc": "white", "ec": INK, "lw": 0.5},
        )  # fmt: skip


@literal
def curve_picture(
    curve: Trace, steps: Sequence[Step], events: Sequence[Happening], limit: float
) -> Figure:
    """Kiln and ware over time until the ware is cold, with segments and events.

    Parameters
    ----------
    curve : Trace
        What they do.
    steps : sequence of Step
        From `kiln_steps`; their numbers stand at the foot.
    events : sequence of Happening
        From `happenings`; their letters stand above.
    limit : float
        Hottest that all materials bear. [K]

    Returns
    -------
    Figure
        One panel.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, HEIGHT))
    axes = figure.add_axes((0.115, 0.125, 0.865, 0.80))
    end = 1.03 * (events[-1].time if events else float(curve.time[-1])) / HOUR
    top = 1.08 * celsius(max(limit, float(curve.kiln.max())))
    axes.axhline(celsius(limit), color=PLAIN, lw=0.9, ls=":")
    axes.annotate(
        f"never above {celsius(limit):.0f} °C", (end, celsius(limit)), (0, 2.5),
        textcoords="offset points", fontsize=SMALL, ha="right", va="bottom", color=INK, zorder=5,
        bbox={"fc": "white", "ec": "none", "pad": 0.6},
    )  # fmt: skip
    hours = curve.time / HOUR
    axes.plot(hours, celsius(curve.kiln), color=PLAIN, lw=1.1, ls=(0, (4, 2)), label="kiln")
    axes.plot(hours, celsius(curve.ware), color=INK, lw=1.5, label="ware")
    places = np.array([e.time for e in events]) / HOUR
    stands = spread(places, min(0.032, 1.0 / max(len(events), 1)) * end, end)
    for n, (event, stand) in enumerate(zip(events, stands, strict=True)):
        hour, degrees = event.time / HOUR, celsius(event.ware)
        axes.plot([hour, hour, stand], [degrees, 0.955 * top, top], color="0.6", lw=0.5, zorder=1)
        axes.plot(hour, degrees, "o", ms=2.6, color=INK, zorder=4)
        axes.text(stand, 1.01 * top, letter(n), fontsize=SMALL, ha="center", va="bottom", color=INK)
    for n, step in enumerate(steps, 1):
        first, last = step.start / HOUR, min(step.end / HOUR, end)
        if n > 1:
            axes.axvline(first, 0.0, 0.035, color=INK, lw=0.7)
        if last - first > 0.03 * end:
            axes.text(0.5 * (first + last), 0.012 * top, str(n), fontsize=SMALL, ha="center",
                      va="bottom", color=INK)  # fmt: skip
    axes.set_xlim(0.0, end)
    axes.set_ylim(0.0, top)
    axes.tick_params(labelsize=SMALL, pad=2, length=2.5)
    axes.set_xlabel("hours", fontsize=SMALL, labelpad=1)
    axes.text(0.012, 0.985, "°C", fontsize=SMALL, va="top", color=INK, transform=axes.transAxes)
    axes.grid(color="0.9", lw=0.5)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=SMALL, loc="center right", frameon=False)
    return figure
