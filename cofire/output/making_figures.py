"""The print at true scale, and the vessel before and after its firing."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire.output.figures import literal, spread
from cofire.planning.printing.green_solid import printed_layers
from cofire.planning.printing.swaps import metal_shares

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.planning.printing.making import Making
    from cofire.planning.printing.wall import Wall
    from cofire.planning.ware.response import Response

Array = NDArray[np.float64]

CLAY, METAL = np.array([0.93, 0.87, 0.77]), np.array([0.24, 0.30, 0.38])
"""Colours of pure ceramic and pure metal; their lightness alone tells them apart. [-]"""
INK = "0.15"
FINE = 0.25
"""Distance of the grid in which the outside is shaded. [mm]"""
LIGHT = math.radians(35.0)
"""Where the light stands, left of the eye. [rad]"""
TEN = 10
"""Layers from one line on the outside to the next. [-]"""
LARGEST = 380.0
"""Widest or highest drawing; a larger vessel is drawn at a whole fraction. [mm]"""
MILLIMETRES_PER_INCH = 25.4


def colour(share: Array) -> Array:
    """Colour of a blend, from the light ceramic to the dark metal.

    Parameters
    ----------
    share : array
        Metal, any shape. [-]

    Returns
    -------
    array
        Red, green and blue in a last axis of three. [-]
    """
    return np.asarray(CLAY + np.asarray(share)[..., None] * (METAL - CLAY))


def _shares(m: Making) -> Array:
    """Metal of each printed layer after the smear, shape (N,). [-]"""
    return metal_shares(m.response, m.green, printed_layers(m.green).height)


def _ring(wall: Wall) -> tuple[Array, Array]:
    """The cut wall of one side, from the foot's outside over the rim to the inside. [mm]"""
    inner = wall.height > wall.base
    r, z = [wall.outside, wall.inside[inner][::-1]], [wall.height, wall.height[inner][::-1]]
    if wall.base > 0.0:
        r = [np.zeros(1), *r, np.array([float(wall.at(wall.inside, wall.base)), 0.0])]
        z = [np.zeros(1), *z, np.full(2, wall.base)]
    else:
        r, z = [*r, wall.inside[:1], wall.outside[:1]], [*z, np.zeros(2)]
    return 1e3 * np.concatenate(r), 1e3 * np.concatenate(z)


def _picture(
    axes: Axes, picture: Array, extent: tuple[float, float, float, float], x: Array, y: Array
) -> None:
    """A picture from the left and the foot up, cut out along a closed line."""
    from matplotlib.patches import Polygon

    image = axes.imshow(
        picture, extent=extent, origin="lower", aspect="equal", interpolation="bilinear", zorder=2
    )
    shape = Polygon(np.column_stack([x, y]), closed=True, fc="none", ec="none")
    axes.add_patch(shape)
    image.set_clip_path(shape)


def _cut(axes: Axes, wall: Wall, share: Array, heights: Array, at: float, side: float) -> None:
    """One side of the section about an axis, filled with each layer's blend."""
    top = 1e3 * float(wall.height[-1])
    r, z = _ring(wall)
    x = at + side * r
    rows = np.linspace(0.0, top, 1200)
    picture = np.repeat(colour(np.interp(rows, 1e3 * heights, share))[:, None, :], 2, axis=1)
    _picture(axes, picture, (min(x.min(), at), max(x.max(), at), 0.0, top), x, z)
    axes.plot(x, z, color=INK, lw=0.9, zorder=3)


def _outside(axes: Axes, wall: Wall, share: Array, heights: Array, lines: Array, at: float) -> None:
    """The left half seen from outside, lit from the left, with a line every ten layers."""
    top, widest = 1e3 * float(wall.height[-1]), 1e3 * float(wall.outside.max())
    z = np.linspace(0.0, top, int(top / FINE) + 2)
    x = np.linspace(-widest, 0.0, int(widest / FINE) + 2)
    radius = 1e3 * np.interp(1e-3 * z, wall.height, wall.outside)
    turn = np.arcsin(np.clip(x[None, :] / radius[:, None], -1.0, 1.0))
    slope = np.gradient(radius, z)[:, None]
    light = np.cos(turn + LIGHT) * (1.0 - 0.35 * slope / np.hypot(1.0, slope))
    tone = (0.6 + 0.45 * np.clip(light, 0.0, 1.0))[..., None]
    body = np.clip(colour(np.interp(z, 1e3 * heights, share))[:, None, :] * tone, 0.0, 1.0)
    edge = at - 1e3 * np.concatenate([[0.0], wall.outside, [0.0]])
    up = 1e3 * np.concatenate([[0.0], wall.height, [wall.height[-1]]])
    _picture(axes, body, (at - widest, at, 0.0, top), edge, up)
    for line in lines[1:-1]:
        reach = 1e3 * float(np.interp(line, wall.height, wall.outside))
        dark = float(np.interp(line, heights, share)) > 0.5
        axes.plot([at - reach, at], [1e3 * line] * 2, color="0.55" if dark else "0.4", lw=0.25,
                  zorder=3)  # fmt: skip
    axes.plot(edge, up, color=INK, lw=0.9, zorder=3)


def _drawn(axes: Axes, wall: Wall, share: Array, heights: Array, lines: Array, at: float) -> None:
    """Outside on the left of the axis, cut wall and inside on its right."""
    from matplotlib.patches import Polygon

    _outside(axes, wall, share, heights, lines, at)
    inner = wall.height >= wall.base
    r = np.concatenate([[0.0], [wall.at(wall.inside, wall.base)], wall.inside[inner], [0.0]])
    z = np.concatenate([[wall.base] * 2, wall.height[inner], [wall.height[-1]]])
    hollow = np.column_stack([at + 1e3 * r, 1e3 * z])
    axes.add_patch(Polygon(hollow, closed=True, fc="0.93", ec=INK, lw=0.9, zorder=1))
    _cut(axes, wall, share, heights, at, 1.0)
    axes.plot([at, at], [0.0, 1e3 * wall.height[-1]], color=INK, lw=0.7, ls=(0, (10, 3, 2, 3)),
              zorder=4)  # fmt: skip


def _size(axes: Axes, wall: Wall, at: float, beside: float, below: float) -> None:
    """Height beside the drawing and width below it, with arrows. [mm]"""
    top, widest = 1e3 * float(wall.height[-1]), 1e3 * float(wall.outside.max())
    arrow: dict[str, Any] = {"arrowstyle": "<->", "lw": 0.7, "color": INK, "shrinkA": 0.0,
                             "shrinkB": 0.0}  # fmt: skip
    axes.annotate("", (beside, 0.0), (beside, top), arrowprops=arrow)
    left = beside < at
    axes.text(
        beside + (-0.2 if left else 0.2) * below, 0.5 * top, f"{top:.1f} mm", rotation=90,
        fontsize=9, ha="right" if left else "left", va="center", color=INK,
    )  # fmt: skip
    axes.annotate("", (at - widest, -below), (at + widest, -below), arrowprops=arrow)
    axes.text(at, -1.2 * below, f"{2 * widest:.1f} mm", fontsize=9, ha="center", va="top",
              color=INK)  # fmt: skip


def band_names(response: Response) -> list[str]:
    """Bands by name and, where they are blends, by their metal.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of str
        From the foot up.
    """
    return [
        f"{100 * card.parts[0][1]:.0f} % metal" if card.parts else card.name
        for card in response.cards
    ]


@literal
def before_and_after(m: Making) -> Figure:
    """The vessel as printed and as fired, side by side at one scale.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    Figure
        Left of each axis the outside, right of it the cut wall; tone tells the metal, smear of the
        swaps included; every line is ten layers; between the two, each joint on its way.
    """
    from matplotlib.figure import Figure

    green, printed = m.green.wall, printed_layers(m.green)
    fired = m.refired.wall if m.refired is not None else m.green.fired
    share = metal_shares(m.response, m.green, printed.height)
    top, widest = 1e3 * float(green.height[-1]), 1e3 * float(green.outside.max())
    apart = 2.0 * widest + max(0.75 * widest, 30.0)
    margin = 0.06 * max(top, 2.0 * widest)
    left, right = -widest - 2.5 * margin, apart + widest + 2.5 * margin
    low, high = -3.2 * margin, top + 3.4 * margin
    scale = min(11.5 / (right - left), 9.0 / (high - low))
    figure = Figure(figsize=((right - left) * scale, (high - low) * scale))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    lines = m.green.layer * np.arange(0.0, sum(m.green.layers) + 1.0, TEN)
    # each place of the print, where it comes to lie
    whole = float(fired.height[-1] / m.green.fired.height[-1]) * m.green.fired.height
    later, places = (np.interp(z, green.height, whole) for z in (lines, printed.height))
    _drawn(axes, green, share, printed.height, lines, 0.0)
    _drawn(axes, fired, share, places, later, apart)
    ghost = np.concatenate([-1e3 * green.outside, 1e3 * green.outside[::-1]])
    axes.plot(
        apart + ghost, 1e3 * np.concatenate([green.height, green.height[::-1]]), color="0.5",
        lw=0.7, ls=(0, (2, 2)), zorder=1,
    )  # fmt: skip
    axes.plot([-widest - margin, apart + widest + margin], [0.0, 0.0], color=INK, lw=1.2, zorder=5)
    _size(axes, green, 0.0, -widest - margin, margin)
    _size(axes, fired, apart, apart + widest + margin, margin)
    _bands_between(axes, m, fired, apart, margin)
    serif: dict[str, Any] = {"family": "serif", "color": INK, "va": "center"}
    name, room = m.response.vessel.name, (right + widest) * scale
    axes.text(-widest, top + 2.4 * margin, name, fontsize=_fitting(name, 16.0, room), **serif)
    told = (
        "left the outside, a line every ten layers; right the cut wall; dark is metal; dotted, the "
        "print"
    )
    axes.text(-widest, top + 1.3 * margin, told, fontsize=_fitting(told, 8.0, room), **serif)
    for x, word in ((0.0, "as printed"), (apart, "as fired")):
        axes.text(x, -2.5 * margin, word, fontsize=11, ha="center", **serif)
    ruler = 0.5 * apart + np.array([-10.0, 10.0])
    axes.plot(ruler, [-2.5 * margin] * 2, color=INK, lw=1.2, marker="|", ms=6)
    axes.text(0.5 * apart, -2.3 * margin, "20 mm", fontsize=8, ha="center", color=INK)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    return figure


def _fitting(text: str, size: float, room: float) -> float:
    """Size of type, in points, that keeps a line within a room in inches."""
    return min(size, 72.0 * room / (0.62 * max(len(text), 1)))


def _bands_between(axes: Axes, m: Making, fired: Wall, apart: float, margin: float) -> None:
    """Between the two drawings: each joint on its way down, and the bands' names."""
    green = m.green.wall
    for low, high in zip(green.edges[1:], fired.edges[1:], strict=True):
        first = 1e3 * float(np.interp(low, green.height, green.outside)) + 0.3 * margin
        last = apart - 1e3 * float(np.interp(high, fired.height, fired.outside)) - 0.3 * margin
        axes.plot([first, last], [1e3 * low, 1e3 * high], color="0.6", lw=0.6, zorder=0)
    both = np.stack([green.edges, fired.edges])
    top = 1e3 * float(green.height[-1])
    stands = spread(250.0 * (both[:, 1:] + both[:, :-1]).sum(axis=0), 0.035 * top + 1.0, top)
    for name, stand in zip(band_names(m.response), stands, strict=True):
        axes.text(
            0.5 * apart, stand, textwrap.shorten(name, 26, placeholder="…"), fontsize=8.5,
            ha="center", va="center", color=INK, zorder=1,
            bbox={"fc": "white", "ec": "none", "pad": 1.2},
        )  # fmt: skip


@literal
def section_figure(m: Making) -> Figure:
    """The print cut through its axis, at true scale on paper, or at a whole fraction of it.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    Figure
        With radii and heights at foot, joints and rim, in mm, to be laid beside the print.
    """
    from matplotlib.figure import Figure

    wall = m.green.wall
    top, widest = 1e3 * float(wall.height[-1]), 1e3 * float(wall.outside.max())
    part = max(math.ceil(max(top, 2.0 * widest) / LARGEST), 1)
    left, right, low, high = 42.0 * part, 62.0 * part, 16.0 * part, 16.0 * part
    size = np.array([left + 2.0 * widest + right, low + top + high])
    figure = Figure(figsize=tuple(size / part / MILLIMETRES_PER_INCH))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    heights = printed_layers(m.green).height
    for side in (-1.0, 1.0):
        _cut(axes, wall, metal_shares(m.response, m.green, heights), heights, 0.0, side)
    axes.plot([0.0, 0.0], [-3.0 * part, top + 3.0 * part], color=INK, lw=0.6,
              ls=(0, (10, 3, 2, 3)))  # fmt: skip
    axes.plot([-widest - 6.0 * part, widest + 6.0 * part], [0.0, 0.0], color=INK, lw=0.9)
    places = 1e3 * wall.edges
    stands = spread(places, 8.0 * part, max(top + 4.0 * part, 8.0 * part * places.size))
    last = np.concatenate([[0], np.cumsum(m.green.layers)])
    for place, stand, layer in zip(places, stands, last, strict=True):
        out, inside = (
            2e3 * float(np.interp(1e-3 * place, wall.height, face))
            for face in (wall.outside, wall.inside)
        )
        axes.plot([0.5 * out, widest + 6.0 * part, widest + 9.0 * part], [place, place, stand],
                  color="0.5", lw=0.5)  # fmt: skip
        up = f"{place:.1f} up, {layer} layers" if layer else "foot"
        axes.text(
            widest + 10.0 * part, stand,
            f"{up}\n⌀ {out:.1f} outside, {inside:.1f} inside",
            fontsize=7, va="center", color=INK,
        )  # fmt: skip
    middles = 0.5 * (places[1:] + places[:-1])
    for name, at in zip(band_names(m.response), spread(middles, 4.0 * part, top), strict=True):
        axes.text(-widest - 4.0 * part, at, textwrap.shorten(name, 24, placeholder="…"),
                  fontsize=7, ha="right", va="center", color=INK)  # fmt: skip
    for o in m.overhangs:
        if o.over:
            edge = 1e3 * float(np.interp(o.height, wall.height, wall.outside))
            for side in (-1.0, 1.0):
                axes.plot(side * edge, 1e3 * o.height, marker="o", ms=9, mfc="none", mec="#D55E00")
            axes.text(-edge, 1e3 * o.height, "leans too far  ", fontsize=7, ha="right",
                      color="#D55E00")  # fmt: skip
    scale = "true scale" if part == 1 else f"scale 1:{part}"
    title = f"{m.response.vessel.name}: print, {scale}, mm"
    room = (2.0 * widest + right) / part / MILLIMETRES_PER_INCH
    axes.text(-widest, top + 9.0 * part, title, fontsize=_fitting(title, 8.0, room), va="center",
              color=INK)  # fmt: skip
    axes.set_xlim(-widest - left, widest + right)
    axes.set_ylim(-low, top + high)
    return figure
