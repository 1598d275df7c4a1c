"""Pictures of the job: print at true scale, before and after firing, mismatch, firing curve."""

from __future__ import annotations

import base64
import io
import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from cofire.assessment.mismatch import BINDER_LEAVES
from cofire.firing.controller import at_kiln, degrees
from cofire.firing.program import USUAL_CONTROLLER, Controller
from cofire.numerics import Array
from cofire.production.changeovers import metal_shares
from cofire.production.job import (
    BURNOUT,
    COLD,
    Happening,
    Step,
    firing_happenings,
    happenings,
    kiln_steps,
)
from cofire.production.printed_solid import printed_layers
from cofire.report.figures import literal, spread
from cofire.report.html import Name, Strong, Text
from cofire.report.imperial import imperial
from cofire.report.read_again import in_its_degrees
from cofire.report.writing import table_text
from cofire.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.assessment.response import Response
    from cofire.firing.kiln import Trace
    from cofire.firing.program import Firing
    from cofire.production.green import Wall
    from cofire.production.job import Job


# ----------------------------------------------------------------------------------------------
# The firing sheet's curve

WIDTH, HEIGHT = 3.6, 2.45
"""Of either picture on paper, where its letters have the size they are drawn with. [inch]"""
OF_SIZE = 0.6 / 72.0
"""Width of a letter for each point of its size, a little more than the mean digit's. [inch]"""
SMALL = 8.5
"""Size of letters. [pt]"""
ROW = 0.062
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


DOES: dict[str, Text] = {
    "sets": (Strong("sets"), ": keep shut, strain stays"),
    COLD: (COLD, ": may be opened"),
}
"""Events with what is done at the kiln; others keep their name."""
INVERSION = "inversion"


def event_words(
    events: Sequence[Happening], packed: bool, controller: Controller = USUAL_CONTROLLER
) -> list[Text]:
    """Events in words, with their materials and what is done at the kiln.

    A vent is opened by what the kiln shows, for ware that does not lag behind it: it is early for
    what stands in a box.

    Parameters
    ----------
    events : sequence of Happening
        From `happenings`, of one firing.
    packed : bool
        Whether the firing is not all in air: a pack gives off carbon monoxide until it is cold, and
        no vent closes.
    controller : Controller
        Of the kiln.

    Returns
    -------
    list of text
        With names as such.
    """
    gone = [n for n, event in enumerate(events) if event.name in BURNOUT[1:]]
    found: list[Text] = []
    for n, event in enumerate(events):
        usual = f"{event.name}: no draught" if event.name.endswith(INVERSION) else event.name
        words = DOES.get(event.name, usual)
        parts = words if isinstance(words, tuple) else (words,)
        if event.name == BINDER_LEAVES:
            parts += (f": vent the kiln once it shows {at_kiln(controller, event.earliest)}",)
        if gone and n == gone[-1] and not packed:
            parts += (": vents may close",)
        if event.zones and event.name not in (BURNOUT[0], BURNOUT[1]):
            zones = tuple(part for name in event.zones for part in (" and ", Name(name)))[1:]
            parts = (*zones, ": ", *parts)
        found.append(parts)
    return found


@literal
def curve_picture(
    curve: Trace,
    steps: Sequence[Step],
    events: Sequence[Happening],
    limit: float,
    fahrenheit: bool = False,
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
    fahrenheit : bool
        Whether to show °F in the place of °C.

    Returns
    -------
    Figure
        One panel.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, HEIGHT))
    axes = figure.add_axes((0.125, 0.15, 0.855, 0.76))
    _curve(axes, curve, steps, events, limit, SMALL, fahrenheit)
    return figure


def _curve(
    axes: Axes,
    curve: Trace,
    steps: Sequence[Step],
    events: Sequence[Happening],
    limit: float,
    size: float,
    fahrenheit: bool = False,
    bound: str = "never above",
) -> None:
    """Kiln and ware over time in one panel, letters of a size in points."""
    sign = "°F" if fahrenheit else "°C"

    def degrees_of(kelvins: Any) -> Any:
        return 32.0 + 1.8 * celsius(kelvins) if fahrenheit else celsius(kelvins)

    most = round(celsius(limit))  # as the text rounds it
    told = f"{bound} {32.0 + 1.8 * most if fahrenheit else most:.0f} {sign}"

    end = 1.03 * (events[-1].time if events else float(curve.time[-1])) / HOUR
    top = 1.08 * degrees_of(max(limit, float(curve.kiln.max())))
    axes.axhline(degrees_of(limit), color=PLAIN, lw=0.9, ls=":")
    hours = curve.time / HOUR
    figure: Any = axes.get_figure()
    wide = len(told) * OF_SIZE * size / (axes.get_position().width * figure.get_figwidth()) * end
    left, right = (
        float(curve.kiln[(hours >= start) & (hours <= start + wide)].max(initial=0.0))
        for start in (0.0, end - wide)
    )
    # below the line, above which the letters stand, and where the curve stays lower
    side = "left" if left < right else "right"
    axes.annotate(
        told, (end if side == "right" else 0.01 * end, degrees_of(limit)), (0, -2.5),
        textcoords="offset points", fontsize=size, ha=side, va="top", color=INK, zorder=5,
        bbox={"fc": "white", "ec": "none", "pad": 0.6},
    )  # fmt: skip
    axes.plot(hours, degrees_of(curve.kiln), color=PLAIN, lw=1.1, ls=(0, (4, 2)), label="kiln")
    axes.plot(hours, degrees_of(curve.ware), color=INK, lw=1.5, label="ware")
    places = np.array([e.time for e in events]) / HOUR
    stands = spread(places, min(0.006 * size / 1.4, 1.0 / max(len(events), 1)) * end, end)
    for n, (event, stand) in enumerate(zip(events, stands, strict=True)):
        hour, degrees = event.time / HOUR, degrees_of(event.ware)
        axes.plot([hour, hour, stand], [degrees, 0.955 * top, top], color="0.6", lw=0.5, zorder=1)
        axes.plot(hour, degrees, "o", ms=2.6, color=INK, zorder=4)
        axes.text(stand, 1.01 * top, letter(n), fontsize=size, ha="center", va="bottom", color=INK)
    # below the curve, which begins at the floor: the ends of the segments, and under them their
    # numbers, each led to its middle where short ones stand close
    lane, low = 0.03 * top, 0.13 * top
    shown = [step for step in steps if step.start / HOUR < end]
    middles = np.array([0.5 * (s.start / HOUR + min(s.end / HOUR, end)) for s in shown])
    gap = min(0.0042 * size, 1.0 / max(len(shown), 1)) * end
    feet = spread(middles, gap, end)
    for n, (step, middle, foot) in enumerate(zip(shown, middles, feet, strict=True), 1):
        if n > 1:
            axes.plot([step.start / HOUR] * 2, [-lane, 0.0], color=INK, lw=0.7)
        if abs(foot - middle) > 0.005 * end:
            axes.plot([middle, foot], [-0.5 * lane, -1.25 * lane], color="0.6", lw=0.5)
        axes.text(foot, -0.5 * (lane + low), str(n), fontsize=size, ha="center",
                  va="center_baseline", color=INK)  # fmt: skip
    axes.set_xlim(0.0, end)
    axes.set_ylim(-low, top)
    axes.axhline(0.0, color=INK, lw=0.7)
    axes.tick_params(labelsize=size, pad=2, length=2.5)
    axes.set_xlabel("hours", fontsize=size, labelpad=1)
    axes.text(-0.015, 1.01, sign, fontsize=size, ha="right", va="bottom", color=INK,
              transform=axes.transAxes)  # fmt: skip
    axes.grid(color="0.9", lw=0.5)
    axes.spines[["top", "right"]].set_visible(False)
    key = axes.legend(
        fontsize=size, loc="center right", frameon=True, framealpha=1.0, borderpad=0.2
    )
    key.get_frame().set_edgecolor("none")
    key.set_zorder(6)


@literal
def firing_figure(response: Response, limit: float, reasons: Sequence[str] = ()) -> Figure:
    """The firing: kiln and ware over time, what happens when, and what holds each segment.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    limit : float
        Hottest that all materials bear. [K]
    reasons : sequence of str
        Why each segment is not faster, where a schedule says so.

    Returns
    -------
    Figure
        The curve with letters and numbers, and beside and below it what they stand for.
    """
    vessel, events = response.vessel, happenings(response)
    title = f"{_short(vessel.name, 60)}: {_short(vessel.firing.name, 40)}"
    return _drawn_firing(title, vessel.firing, response.trace, events, limit, reasons)


@literal
def firing_alone(firing: Firing, curve: Trace) -> Figure:
    """The same of a firing in which no vessel stands: the limit is the kiln's.

    Parameters
    ----------
    firing : Firing
        As asked.
    curve : Trace
        As it goes.

    Returns
    -------
    Figure
        As `firing_figure`.
    """
    title, limit = _short(firing.name, 80), firing.kiln.max_temperature
    events = firing_happenings(curve)
    return _drawn_firing(title, firing, curve, events, limit, (), "the kiln goes to")


def _drawn_firing(
    title: str,
    firing: Firing,
    curve: Trace,
    events: Sequence[Happening],
    limit: float,
    reasons: Sequence[str],
    bound: str = "never above",
) -> Figure:
    """The curve of a firing with its letters and numbers, and what they stand for.

    All in the degrees of the kiln's controller, as are the reasons of a schedule.
    """
    from matplotlib.figure import Figure

    steps, controller = kiln_steps(firing.segments, curve), firing.kiln.controller
    turn = imperial if controller.fahrenheit else str
    unit = "°F" if controller.fahrenheit else "°C"
    words = event_words(events, set(firing.gases) != {"air"}, controller)
    told = []
    for n, (event, parts) in enumerate(zip(events, words, strict=True)):
        name = "".join(_short(p, BESIDE) if isinstance(p, Name) else turn(p) for p in parts)
        when = f"{event.time / HOUR:.1f} h, {degrees(controller, event.ware)}"
        told += textwrap.wrap(f"{letter(n)}  {when}: {name}", 44, subsequent_indent="    ")
    held = []
    for n, segment in enumerate(firing.segments, 1):
        rate, target, hold = in_its_degrees(segment, controller)
        rate += f" {unit}/h" if math.isfinite(segment.rate) else ""
        text = f"{n}  {rate} to {target} {unit}"
        text += f", hold {hold} min" if segment.hold > 0.0 else ""
        why = f": {reasons[n - 1]}" if n <= len(reasons) else ""
        held += textwrap.wrap(text + why, 125, subsequent_indent="    ")
    held.append(f"{len(firing.segments) + 1}  off: cools shut")
    row = 0.175  # inch
    below, high = 0.35 + row * len(held), max(4.2, 0.5 + row * len(told))
    size = (10.0, high + below + 0.4)
    figure = Figure(figsize=size)
    axes = figure.add_axes((0.06, (below + 0.45) / size[1], 0.57, (high - 0.75) / size[1]))
    _curve(axes, curve, steps, events, limit, 9.0, controller.fahrenheit, bound)
    serif: dict[str, Any] = {"color": INK, "ha": "left", "va": "top"}
    figure.text(0.01, 1.0 - 0.1 / size[1], f"{title}, in {firing.gas_words}", fontsize=12, **serif)
    top = 1.0 - 0.5 / size[1]
    figure.text(0.655, top, "\n".join(told), fontsize=9, linespacing=1.3, **serif)
    figure.text(0.01, below / size[1], "\n".join(held), fontsize=9, linespacing=1.3, **serif)
    return figure


# ----------------------------------------------------------------------------------------------
# The print at true scale, and the vessel before and after its firing

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
        f"{100 * card.metal_share:.0f} % metal" if card.parts else card.name
        for card in response.cards
    ]


def fired_height(m: Job, height: Array) -> Array:
    """Where heights of the print come to lie.

    Parameters
    ----------
    m : Job
        From `job_for`.
    height : array
        Any shape. [m]

    Returns
    -------
    array
        Shape of `height`. [m]
    """
    fired = m.refired.wall if m.refired is not None else m.green.fired
    whole = float(fired.height[-1] / m.green.fired.height[-1]) * m.green.fired.height
    return np.asarray(np.interp(height, m.green.wall.height, whole))


STRETCH = 0.05
"""Share of metal by which stretches of the cut wall that are drawn alike may differ. [-]"""


def stretches(m: Job) -> tuple[Array, Array]:
    """The wall as its layers hold it, the smear of every change of paste included.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    tuple of array
        Heights of the print between stretches of nearly one share, shape (S + 1,) [m], and the
        mean share of metal in each, of the solid volume, shape (S,) [-].
    """
    share = metal_shares(m.response, m.green, printed_layers(m.green).height)
    first = np.flatnonzero(np.diff(np.round(share / STRETCH), prepend=np.inf))
    ends = np.append(first, share.size)
    return m.green.layer * ends, np.add.reduceat(share, first) / np.diff(ends)


@literal
def before_and_after(m: Job) -> Figure:
    """The vessel as printed and as fired, side by side at one scale.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    Figure
        Left of each axis the outside, right of it the cut wall; tone tells the metal, smear of the
        changeovers included; every line is ten layers; between the two, each joint on its way.
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
    later, places = (fired_height(m, z) for z in (lines, printed.height))
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


def _bands_between(axes: Axes, m: Job, fired: Wall, apart: float, margin: float) -> None:
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
def section_figure(m: Job) -> Figure:
    """The print cut through its axis, at true scale on paper, or at a whole fraction of it.

    Parameters
    ----------
    m : Job
        From `job_for`.

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


# ----------------------------------------------------------------------------------------------
# Free strain of the vessel's bands over its firing: how far apart, joint by joint

SIZE = (11.0, 8.2)
"""Of the figure. [inch]"""
APART = 0.026
"""Least distance of two letters, and of two names, of the panel. [-]"""
BESIDE, ACROSS = 30, 160
"""Characters of a name beside the panel, and of a line below both. [-]"""


def apart(response: Response) -> Array:
    """Free strain of each band minus that of the lowest, along the firing.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    array
        Natural strain, shape (bands, M). [-]
    """
    free = response.history.free_strain[list(response.material)]
    return np.asarray(free - free[0])


def _short(text: str, most: int) -> str:
    """A text of at most so many characters."""
    return text if len(text) <= most else text[: most - 1] + "…"


def _cold(response: Response, events: list[Happening]) -> float:
    """Where the figure ends: when the ware may be opened, or with the trace. [s]"""
    return events[-1].time if events else float(response.trace.time[-1])


def _firing(axes: Axes, response: Response, events: list[Happening]) -> None:
    """Kiln and ware, with the letters of the events above."""
    curve = response.trace
    hours, top = curve.time / HOUR, 1.08 * celsius(float(curve.kiln.max()))
    axes.plot(hours, celsius(curve.kiln), color="0.45", ls=(0, (4, 2)), lw=1.2, label="kiln")
    axes.plot(hours, celsius(curve.ware), color=INK, lw=1.8, label="ware")
    end = 1.02 * _cold(response, events) / HOUR
    places = np.array([event.time for event in events]) / HOUR
    stands = spread(places, min(APART, 1.0 / max(len(events), 1)) * end, end)
    for n, (event, stand) in enumerate(zip(events, stands, strict=True)):
        hour, degrees = event.time / HOUR, celsius(event.ware)
        axes.plot([hour, hour, stand], [degrees, 0.96 * top, top], color="0.6", lw=0.6, zorder=1)
        axes.plot(hour, degrees, "o", ms=3.5, color=INK, zorder=4)
        axes.text(stand, 1.01 * top, letter(n), fontsize=9, ha="center", va="bottom", color=INK)
    axes.set_ylim(0.0, top)
    axes.set_ylabel("temperature (°C)")
    axes.legend(fontsize=9, loc="upper left", frameon=False, bbox_to_anchor=(1.0, 0.9))


def _fan(axes: Axes, response: Response, end: float) -> None:
    """The bands' strains from the lowest on, filled between neighbours with their joint's tone."""
    hours = response.trace.time / HOUR
    strain = 100.0 * apart(response)
    shares = np.array([card.metal_share for card in response.cards])
    for low, high, tone in zip(
        strain[:-1], strain[1:], colour(0.5 * (shares[1:] + shares[:-1])), strict=True
    ):
        axes.fill_between(hours, low, high, color=tone, lw=0.0, zorder=2)
    for line in strain:
        axes.plot(hours, line, color=INK, lw=0.7, zorder=3)
    axes.set_ylabel("free strain beyond band 1 (%)")
    axes.set_xlabel("time (h)")
    shown = strain[:, response.trace.time <= end * HOUR]
    low, high = float(shown.min()), float(shown.max())
    room = max(high - low, 1e-3)
    axes.set_ylim(low - 0.06 * room, high + 0.06 * room)
    last = np.array([np.interp(end, hours, line) for line in strain])
    order = np.argsort(last, kind="stable")
    gap = min(1.8 * APART, 1.0 / len(last)) * 1.12 * room
    names = band_names(response)
    stands = spread(last[order] - (low - 0.06 * room), gap, 1.12 * room) + (low - 0.06 * room)
    for band, stand in zip(order, stands, strict=True):
        axes.plot(
            [1.0, 1.015, 1.025], [last[band], last[band], stand], color="0.55", lw=0.6,
            transform=axes.get_yaxis_transform(), clip_on=False,
        )  # fmt: skip
        axes.text(
            1.03, stand, f"{band + 1}  {_short(names[band], BESIDE)}", fontsize=9, va="center",
            color=INK, transform=axes.get_yaxis_transform(),
        )  # fmt: skip


def largest_steps(response: Response) -> str:
    """The largest difference end to end and at one joint, in words.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.

    Returns
    -------
    str
        Two figures with their moments.
    """
    free = apart(response)
    whole, steps = np.abs(free[-1]), np.abs(np.diff(free, axis=0))
    joint, moment = np.unravel_index(int(np.argmax(steps)), steps.shape)
    ware = response.trace.ware
    top = int(np.argmax(whole))
    text = f"From end to end at most {100 * whole[top]:.2f} %, at {celsius(ware[top]):.0f} °C"
    span = np.ptp(free, axis=0)
    if span.max() > 1.001 * whole[top]:  # a band between lies beyond both ends
        top = int(np.argmax(span))
        far = sorted((int(np.argmin(free[:, top])) + 1, int(np.argmax(free[:, top])) + 1))
        text = (
            f"Between bands {far[0]} and {far[1]} at most {100 * span[top]:.2f} %, at "
            f"{celsius(ware[top]):.0f} °C"
        )
    if len(steps) == 1:
        return text + ", all of it at one joint."
    return (
        f"{text}; at one joint at most {100 * steps[joint, moment]:.2f} %, between bands "
        f"{joint + 1} and {joint + 2}, at {celsius(ware[moment]):.0f} °C."
    )


def _key(events: list[Happening]) -> list[str]:
    """What the letters stand for, in lines that fit the figure."""
    told = []
    for n, event in enumerate(events):
        zones = "" if event.name in BURNOUT[:2] else " and ".join(event.zones)
        name = f"{_short(zones, BESIDE)}: {event.name}" if zones else event.name
        told.append(f"{letter(n)}  {name}, {celsius(event.ware):.0f} °C".replace(" ", "\u00a0"))
    return textwrap.wrap("   ".join(told), ACROSS, break_on_hyphens=False)


@literal
def bands_mismatch(response: Response) -> Figure:
    """The firing curve, and under it how far apart the bands would lie if each were free.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.

    Returns
    -------
    Figure
        Two panels over one time axis, until the ware is cold. The filled gap between two lines is
        the mismatch at their joint; tone tells the metal.
    """
    from matplotlib.figure import Figure

    events = happenings(response)
    key = _key(events)
    figure = Figure(figsize=SIZE)
    below, above = 0.09 + 0.021 * len(key), 0.14
    height = 1.0 - below - above
    upper = figure.add_axes((0.07, below + 0.62 * height, 0.71, 0.38 * height))
    lower = figure.add_axes((0.07, below, 0.71, 0.57 * height))
    end = 1.02 * _cold(response, events) / HOUR
    _firing(upper, response, events)
    _fan(lower, response, end)
    for axes in (upper, lower):
        axes.set_xlim(0.0, end)
        axes.grid(color="0.9", lw=0.6, zorder=0)
        axes.spines[["top", "right"]].set_visible(False)
    upper.tick_params(labelbottom=False)
    name = _short(response.vessel.name, 80)
    serif: dict[str, Any] = {"family": "serif", "color": INK, "va": "center"}
    figure.text(0.07, 0.968, f"{name}: mismatch over its firing", fontsize=14, **serif)
    told = ("The gap between two lines is the mismatch at their joint.", largest_steps(response))
    for line, place in zip(told, (0.937, 0.917), strict=True):
        figure.text(0.07, place, line, fontsize=9, **serif)
    for n, line in enumerate(key):
        figure.text(0.07, 0.021 * (len(key) - n) - 0.006, line, fontsize=8, va="center", color=INK)
    return figure


def mismatch_csv(response: Response) -> str:
    """The numbers of `bands_mismatch`, one row a node of the trace.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    str
        Natural strains in per cent, those of the bands less that of band 1.
    """
    curve = response.trace
    columns = {
        "time_h": curve.time / HOUR,
        "kiln_C": celsius(curve.kiln),
        "ware_C": celsius(curve.ware),
    }
    for n, (card, beyond) in enumerate(zip(response.cards, apart(response), strict=True), 1):
        columns[f"band {n}, {card.name}: beyond band 1_percent"] = 100.0 * beyond
    return table_text(columns)
