"""Stress by band as text, CSV, JSON and pictures."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire import __version__
from cofire.assessment.response import DIRECTIONS, BandStress, Peak, Response, band_tensions
from cofire.mechanics.solid_reading import SolidSteps
from cofire.numerics import Array
from cofire.report.figures import literal, spread
from cofire.report.verdict import number
from cofire.report.writing import printed, table_text, wrapped
from cofire.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import QuadMesh
    from matplotlib.figure import Figure

    from cofire.design.layers import LayerSearch
    from cofire.design.search import DesignSearch
    from cofire.design.transition import Layout


# ----------------------------------------------------------------------------------------------
# Peaks by band as text, and the fields of stress as CSV and JSON

SCHEMA = 1


WIDE = 131
"""Columns that the table of bands takes. [-]"""
LEAST_ORDER = 0.01
"""Of an edge that is told of: less raises stress by a few per cent over any mesh. [-]"""


def _face(peak: Peak) -> str | None:
    return None if peak.inside is None else "inside" if peak.inside else "outside"


def _band_lines(response: Response, found: BandStress, width: int) -> list[str]:
    """One band's peak: a row of the table, or a few lines where the terminal is narrow."""
    p = found.worst
    face = _face(p)
    where = (
        f"{celsius(p.temperature):.0f} °C, {p.time / HOUR:.1f} h, {p.height * 1e3:.1f} mm up, "
        f"{p.direction}" + (f", {face}" if face else "")
    )
    low, high = response.vessel.bands[p.band].low, response.vessel.bands[p.band].high
    name = f"{low * 1e3:.0f}-{high * 1e3:.0f} mm {p.material}"
    tension, cold, bending, step = (
        value / 1e6 for value in (p.tension, found.cold.tension, found.bending, found.step)
    )
    mark = "*" if p.near_step else ""
    if width >= WIDE and printed(name) <= 42:
        gap = " " * (42 - printed(name))
        return [
            f"{name}{gap} {tension:8.1f}{mark:1} {where:<52} {cold:7.1f} {bending:8.1f} {step:7.1f}"
        ]
    return [
        *wrapped(f"{name}: {tension:.1f}{mark} MPa at {where}", 4, width),
        f"    cold {cold:.1f}, bending {bending:.1f}, step {step:.1f} MPa",
    ]


def _relief_lines(relieved: dict[str, NDArray[np.float64]], width: int) -> list[str]:
    """What each way of relief is worth, band by band, as many beside each other as fit."""
    lines = wrapped(
        "worst tension (MPa) from the lowest band up; all: as in the table above, then with one "
        "way of relief off:", 2, width,
    )  # fmt: skip
    first = max(map(len, relieved)) + 2
    some = max((width - first) // 10, 1)
    for name, values in relieved.items():
        told = [f"{v / 1e6:10.1f}" for v in values]
        for k in range(0, len(told), some):
            head = f"  {name}" if k == 0 else ""
            lines.append(f"{head:<{first}}{''.join(told[k : k + some])}")
    return lines


def _edges(response: Response) -> NDArray[np.float64] | None:
    """Order of stress at the edge of each joint, cold: distance to its power less one. [-]"""
    steps: object = response.fired.steps
    return steps.exponent[-1] if isinstance(steps, SolidSteps) else None


def _edge_note(response: Response) -> list[str]:
    """That no mesh gives a stress at the edge of a joint, where that is so."""
    edges = _edges(response)
    if edges is None or not edges.size or edges.min() > 1.0 - LEAST_ORDER:
        return []
    return [
        f"the edge of the joint at {1e3 * response.fired.steps.height[edges.argmin()]:.0f} mm is "
        f"singular: cold, stress grows there as the distance to the power of "
        f"{edges.min() - 1.0:.2f}."
    ]


def as_text(
    response: Response,
    bands: list[BandStress],
    relieved: dict[str, NDArray[np.float64]] | None = None,
    width: int = WIDE,
) -> str:
    """Table of peaks by band, from the rim down, and what the numbers rest on.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    bands : list of BandStress
        From `band_stresses`.
    relieved : dict, optional
        From `relief`.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    vessel, shell = response.vessel, response.fired
    lines = [
        *wrapped(f"{vessel.name}: {vessel.firing.name} in {vessel.firing.gas_words}", 4, width),
        "",
    ]
    if width >= WIDE:
        lines += [
            f"{'band':<42} {'tension':>8}  {'when and where':<52} "
            f"{'cold':>7} {'bending':>8} {'step':>7}",
            f"{'':<42} {'MPa':>8}  {'':<52} {'MPa':>7} {'MPa':>8} {'MPa':>7}",
        ]
    for found in reversed(bands):
        lines += _band_lines(response, found, width)
    lines.append("")
    for note in (
        "bending: up the wall, by force and moment of its section as if elastic; the height of a "
        "transition rules it.",
        "step: within a wall of a step, local field included; the number of bands rules it.",
        "* within a wall of a step: mean over a tenth of a wall, not a point; no shell is exact "
        "there.",
        *_edge_note(response),
        f"errors: mesh {100 * shell.mesh_error:.2f} % of the peak, steps in time "
        f"{shell.step_error.max() / 1e6:.2f} MPa.",
    ):
        lines += wrapped(note, 2, width)
    if relieved:
        lines += ["", *_relief_lines(relieved, width)]
    for line in response.history.extended:
        lines += wrapped(f"beyond its table: {line}", 4, width)
    if response.beyond_shell:
        lines += wrapped(f"beyond a shell: {response.beyond_shell}", 4, width)
    return "\n".join(lines) + "\n"


def fields_csv(response: Response, at: int = -1) -> str:
    """Stress at every point of the wall at one time.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    at : int
        Index of the time; the last is the cold vessel.

    Returns
    -------
    str
        One row a station and point; `trusted` is 0 where shell theory does not hold alone.
    """
    s = response.fired
    count = s.through.size
    stress, local = (1e-6 * field[at].reshape(-1, 2) for field in (s.stress, s.local))
    return table_text(
        {
            "height_mm": np.repeat(1e3 * s.height, count),
            "radius_mm": np.repeat(1e3 * s.radius, count),
            "wall_mm": np.repeat(1e3 * s.wall, count),
            "band": np.repeat(s.band + 1, count),
            "through": np.tile(s.through, s.height.size),
            "up_the_wall_MPa": stress[:, 0],
            "round_the_ring_MPa": stress[:, 1],
            "local_up_MPa": local[:, 0],
            "local_round_MPa": local[:, 1],
            "shear_MPa": 1e-6 * s.shear[at].ravel(),
            "trusted": np.repeat(s.trusted.astype(int), count),
        }
    )


def as_json(response: Response, bands: list[BandStress]) -> str:
    """Peaks by band and tension over time as one JSON object with its schema number.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    bands : list of BandStress
        From `band_stresses`.

    Returns
    -------
    str
        Ends in a new line.
    """
    s = response.fired
    rows = []
    for found in bands:
        p = found.worst
        rows.append(
            {
                "material": p.material,
                "low_mm": response.vessel.bands[p.band].low * 1e3,
                "high_mm": response.vessel.bands[p.band].high * 1e3,
                "tension_MPa": round(p.tension / 1e6, 4),
                "time_h": round(p.time / HOUR, 4),
                "temperature_C": round(celsius(p.temperature), 2),
                "height_mm": round(p.height * 1e3, 3),
                "direction": p.direction,
                "face": _face(p),
                "near_step": p.near_step,
                "cold_MPa": round(found.cold.tension / 1e6, 4),
                "bending_MPa": round(found.bending / 1e6, 4),
                "step_MPa": round(found.step / 1e6, 4),
                "tension_over_time_MPa": [
                    round(float(v), 4) for v in band_tensions(response, p.band) / 1e6
                ],
            }
        )
    edges = _edges(response)
    steps = [
        {
            "height_mm": round(float(s.steps.height[k]) * 1e3, 3),
            "normal_MPa": [round(float(v) / 1e6, 4) for v in s.steps.normal[-1, k]],
            "shear_MPa": round(float(s.steps.shear[-1, k]) / 1e6, 4),
            "local_normal_MPa": round(float(s.steps.local_normal[-1, k]) / 1e6, 4),
            "edge_exponent": None if edges is None else round(float(edges[k]) - 1.0, 4),
        }
        for k in range(s.steps.height.size)
    ]
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": response.vessel.name,
        "time_h": [round(float(t), 5) for t in s.time / HOUR],
        "temperature_C": [round(float(t), 2) for t in celsius(response.temperature)],
        "bands": rows,
        "joints_when_cold": steps,
        "mesh_error": float(f"{s.mesh_error:.3g}"),
        "step_error_MPa": float(f"{s.step_error.max() / 1e6:.3g}"),
        "beyond_tables": list(response.history.extended),
        "beyond_shell": response.beyond_shell or None,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


# ----------------------------------------------------------------------------------------------
# The vessel's section coloured by stress, stress against height, tension over time

BANDS = ("#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7")
ACROSS, TALL = 2.6, 4.0
"""Width of the magnified piece of wall, in walls, and its height over its width. [-]"""
FAINT = 0.05
"""Share of the largest stress below which no line is drawn where its sign changes. [-]"""
TOLD = 6
"""Most bands whose lines over time are told apart; the others are thin and grey. [-]"""
APART = 0.11
"""Least distance of the numbers of two bands; where not all can stand within that of their band,
those that the legend names have one. [inch]"""
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))


def _style(band: int) -> dict[str, Any]:
    """Colour and dash of a band's line, unlike those of 24 others."""
    return {"color": BANDS[band % 5], "ls": DASHES[(band + band // 5) % 5]}


def _label(band: int, name: str) -> str:
    """A band as the legend names it; the number stands in the section."""
    return f"{band + 1}  {name}"


def _padded(values: Array, band: NDArray[np.intp], number: int, step: float) -> Array:
    """Rows of one band with one more at either end: on the step, or past the last station."""
    here = np.flatnonzero(band == number)
    first, last = int(here[0]), int(here[-1])
    below = values[first - 1] + values[first] if first > 0 else 2.0 * values[first]
    above = values[last] + values[last + 1] if last + 1 < band.size else 2.0 * values[last]
    ends = [0.5 * below, 0.5 * above]
    if first == 0:
        ends[0] = values[first] + step * (values[first] - values[first + 1])
    if last + 1 == band.size:
        ends[1] = values[last] + step * (values[last] - values[last - 1])
    return np.concatenate([ends[:1], values[here], ends[1:]])


def _tones() -> Any:
    """Light for compression, dark for tension, so that the sign is read in grey as well."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(
        "sign", ["#fff4c9", "#f2c37a", "#d98a8a", "#7d4a8f", "#26113f"]
    )


def _wall(axes: Axes, response: Response, at: int, top: float, side: float) -> QuadMesh:
    """The cut wall on one side of the axis, toned by the larger in-plane stress at one time."""
    s = response.fired
    tension = response.total[at].max(axis=2)
    half = 0.5 * s.wall[:, None] * s.through * 1e3
    r = side * (s.radius[:, None] * 1e3 + half * np.cos(s.slope)[:, None])
    z = s.height[:, None] * 1e3 - half * np.sin(s.slope)[:, None]
    for band in range(len(response.cards)):
        here = np.flatnonzero(s.band == band)
        rows = np.concatenate([here[:1], here, here[-1:]])
        # stations lie 0.423 half-lengths inside the element's end and 1.155 apart
        band_r, band_z = (_padded(x, s.band, band, 0.366) for x in (r, z))
        image = axes.pcolormesh(
            band_r, band_z, tension[rows] / 1e6, cmap=_tones(), vmin=-top, vmax=top,
            shading="gouraud", rasterized=True,
        )  # fmt: skip
        values = tension[rows] / 1e6
        if values.min() < -FAINT * top and values.max() > FAINT * top:
            axes.contour(band_r, band_z, values, levels=[0.0], colors="black", linewidths=0.7,
                         linestyles="--")  # fmt: skip
        for face in (0, -1):
            axes.plot(band_r[:, face], band_z[:, face], color="0.2", lw=0.6)
        for end in (0, -1):
            axes.plot(band_r[end], band_z[end], color="0.2", lw=0.6)
    return image


def _place(response: Response, at: int) -> tuple[float, float]:
    """Radius and height of the largest stress at one time. [mm]"""
    s = response.fired
    station = int(np.argmax(response.total[at].max(axis=(1, 2))))
    return 1e3 * float(s.radius[station]), 1e3 * float(s.height[station])


def _inset(
    axes: Axes, response: Response, at: int, top: float, side: float, title: str, pot: Axes
) -> None:
    """The wall about its worst place, both directions magnified alike, and where it lies."""
    from matplotlib.patches import Rectangle
    from matplotlib.ticker import MaxNLocator

    radius, height = _place(response, at)
    whole = 1e3 * float(response.fired.height.max())
    wall = 1e3 * float(np.interp(1e-3 * height, response.fired.height, response.fired.wall))
    span = ACROSS * wall
    half = min(0.5 * TALL * span, 0.5 * whole)
    height = float(np.clip(height, half, whole - half))
    radius = 1e3 * float(np.interp(1e-3 * height, response.fired.height, response.fired.radius))
    span = 2.0 * half / TALL
    _wall(axes, response, at, top, side)
    low = side * radius - 0.5 * span
    axes.set_xlim(low, low + span)
    axes.set_ylim(height - half, height + half)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.yaxis.set_major_locator(MaxNLocator(6, integer=True))
    axes.tick_params(labelsize=8)
    axes.yaxis.tick_right() if side > 0.0 else axes.yaxis.tick_left()
    times = _magnified(axes, pot)
    axes.set_title(f"{title}\n{times:.0f} × as large", fontsize=8.0)
    frame = Rectangle(
        (low, height - half), span, 2.0 * half, fc="none", ec="black", lw=1.1,
        ls="-" if side < 0.0 else "--", zorder=6,
        clip_on=False,
    )  # fmt: skip
    pot.add_patch(frame)


def _magnified(axes: Axes, pot: Axes) -> float:
    """How much larger one panel draws a millimetre than another. [-]"""

    def scale(one: Axes) -> float:
        one.apply_aspect()
        low, high = one.get_ylim()
        return one.get_position().height / (high - low)

    return scale(axes) / scale(pot)


def _profiles(axes: Axes, response: Response, at: int, direction: int) -> None:
    """Stress at both faces against height, in one direction."""
    from matplotlib.ticker import MaxNLocator

    s = response.fired
    total = response.total[at] / 1e6
    for height in response.vessel.steps * 1e3:
        wall = float(np.interp(height / 1e3, s.height, s.wall)) * 1e3
        axes.axhspan(height - wall, height + wall, color="0.92", lw=0, zorder=0)
    axes.plot(total[:, 0, direction], s.height * 1e3, color="black", lw=1.4)
    axes.plot(total[:, -1, direction], s.height * 1e3, color="#0072B2", lw=1.2, ls=(0, (4, 2)))
    axes.axvline(0.0, color="0.5", lw=0.8)
    axes.set_xlabel("MPa", fontsize=9)
    axes.tick_params(labelsize=8)
    axes.set_title(f"cold, {DIRECTIONS[direction]}", fontsize=8.5)
    axes.xaxis.set_major_locator(MaxNLocator(3))
    axes.spines[["top", "right"]].set_visible(False)


def _shown(bands: list[BandStress]) -> list[int]:
    """The bands whose lines are told apart: those under the most tension, from the foot up."""
    worst = sorted(range(len(bands)), key=lambda band: -bands[band].worst.tension)
    return sorted(worst[:TOLD])


def _history(axes: Axes, response: Response, bands: list[BandStress]) -> None:
    """Largest tension of each band over time, with the temperature behind."""
    s = response.fired
    hours = s.time / HOUR
    hot = axes.twinx()
    hot.plot(response.trace.time / HOUR, celsius(response.trace.ware), color="0.75", lw=1.2)
    hot.set_ylabel("ware (°C)", color="0.45")
    hot.set_ylim(0, None)
    hot.spines[["top"]].set_visible(False)
    shown = _shown(bands)
    for band, found in enumerate(bands):
        tension = band_tensions(response, band) / 1e6
        if band not in shown:
            axes.plot(hours, tension, lw=0.8, color="0.7", zorder=1)
            continue
        look = _style(shown.index(band))
        axes.plot(hours, tension, lw=1.4, label=_label(band, found.worst.material), **look)
        axes.plot(
            found.worst.time / HOUR, found.worst.tension / 1e6, "o", ms=4, color=look["color"]
        )
    ends = np.array([float(band_tensions(response, band)[-1]) / 1e6 for band in shown])
    order = np.argsort(ends)
    top = max(float(axes.get_ylim()[1]), 1e-9)
    for n, at in zip(order, spread(ends[order], 0.055 * top, top), strict=True):
        axes.annotate(
            str(shown[n] + 1), (hours[-1], ends[n]), xytext=(1.012 * hours[-1], at),
            textcoords="data", fontsize=8.5, va="center", annotation_clip=False,
        )  # fmt: skip
    axes.set_zorder(hot.get_zorder() + 1)
    axes.patch.set_visible(False)
    axes.set_xlabel("time (h)")
    axes.set_ylabel("largest tension (MPa)")
    axes.spines[["top"]].set_visible(False)


def _moment(response: Response, bands: list[BandStress]) -> tuple[int, str]:
    """The time to show beside the cold vessel, and what it is.

    The worst moment, or the worst before cooling begins where that is the cold vessel.
    """
    s = response.fired
    worst = max((b.worst for b in bands), key=lambda p: p.tension)
    at = int(np.argmin(np.abs(s.time - worst.time)))
    if worst.temperature > 373.0:
        return at, "worst"
    hot = response.temperature > response.temperature.max() - 1.0
    before = s.time <= s.time[hot].max()
    return int(np.argmax(np.where(before, response.total.max(axis=(1, 2, 3)), -np.inf))), (
        "worst before cooling"
    )


@literal
def stress_figure(response: Response, bands: list[BandStress]) -> Figure:
    """The pot's wall at the worst moment and when cold, stress against height and over time.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    bands : list of BandStress
        From `band_stresses`.

    Returns
    -------
    Figure
        The pot at true proportions, the wall of either moment magnified about its worst place, two
        panels against height, one over time; one scale of tones and one legend for all.
    """
    from matplotlib.figure import Figure

    s = response.fired
    at, moment = _moment(response, bands)
    tension = response.total.max(axis=3)
    top = max(float(np.abs(tension[[at, -1]]).max()) / 1e6, 1e-3)
    names = [len(bands[band].worst.material) for band in _shown(bands)]
    per_line = max(1, 110 // (6 + max(names)))
    lines = -(-len(names) // per_line) + (len(bands) > TOLD)
    key = 0.35 + 0.17 * lines  # inch
    high = 9.0 + key
    figure = Figure(figsize=(10.0, high))

    def panel(left: float, bottom: float, width: float, tall: float) -> Axes:
        return figure.add_axes((left / 10.0, (bottom + key) / high, width / 10.0, tall / high))

    pot = panel(1.95, 4.1, 2.6, 4.0)
    widest = 1e3 * float((s.radius + 0.5 * s.wall).max())
    for side, when in ((-1.0, at), (1.0, -1)):
        image = _wall(pot, response, when, top, side)
    pot.set_aspect("equal")
    pot.set_xlim(-1.08 * widest, 1.08 * widest)
    pot.axvline(0.0, color="0.5", lw=0.6, ls=(0, (8, 3, 2, 3)))
    middles = np.array(
        [1e3 * float(np.median(s.height[s.band == band])) for band in range(len(bands))]
    )
    tall = 1e3 * float(s.height.max())
    gap = APART * max(tall / 4.0, 2.16 * widest / 2.6)
    told = list(range(len(bands)))
    stands = spread(middles, gap, max(tall, gap * len(bands)))
    if np.abs(stands - middles).max() > gap:  # a number that stands elsewhere tells of another band
        told = _shown(bands)
        stands = spread(middles[told], gap, max(tall, gap * len(told)))
    for band, up in zip(told, stands, strict=True):
        pot.text(0.0, up, str(band + 1), fontsize=7.0, ha="center", va="center",
                 bbox={"fc": "white", "ec": "none", "pad": 0.2})  # fmt: skip
    pot.tick_params(labelsize=8)
    pot.set_ylabel("mm up", fontsize=9)
    pot.set_xlabel("mm from the axis", fontsize=9)
    pot.spines[["top", "right"]].set_visible(False)
    label = f"{celsius(float(response.temperature[at])):.0f} °C, {s.time[at] / HOUR:.1f} h"
    every = np.array([band_tensions(response, band) for band in range(len(bands))]) / 1e6
    most = [number(float(every[:, when].max())) for when in (at, -1)]
    pot.set_title(
        f"left: {moment},\n{label}, up to {most[0]} MPa\nright: when cold, up to {most[1]} MPa",
        fontsize=8.5,
    )
    _inset(panel(0.5, 4.4, 0.8, 3.2), response, at, top, -1.0, f"{moment}", pot)
    _inset(panel(4.85, 4.4, 0.8, 3.2), response, -1, top, 1.0, "cold", pot)
    scale = figure.add_axes((1.85 / 10.0, (3.35 + key) / high, 2.8 / 10.0, 0.14 / high))
    figure.colorbar(image, cax=scale, orientation="horizontal")
    scale.set_title("− compression      larger stress (MPa)      tension +", fontsize=8.5)
    scale.tick_params(labelsize=8)
    for direction in (0, 1):
        beside = panel(6.75 + 1.7 * direction, 4.1, 1.4, 4.0)
        _profiles(beside, response, -1, direction)
        beside.set_ylim(0.0, 1.01e3 * float(s.height.max()))
        if direction == 0:
            beside.set_ylabel(
                "mm up; solid inside, dashed outside; grey: within a wall of a joint", fontsize=8.0
            )
        else:
            beside.tick_params(labelleft=False)
    below = panel(0.8, 0.4, 8.4, 2.3)
    _history(below, response, bands)
    others = len(bands) - TOLD
    if others > 0:
        figure.text(0.5, 0.04 / high, f"thin and grey: the {others} bands under less tension",
                    fontsize=8, ha="center", va="bottom")  # fmt: skip
    figure.legend(
        *below.get_legend_handles_labels(), loc="lower center", ncols=per_line, fontsize=8,
        frameon=False, bbox_to_anchor=(0.5, 0.16 / high if others > 0 else 0.0),
    )  # fmt: skip
    figure.text(
        0.02, 1.0 - 0.2 / high,
        f"{response.vessel.name}: {response.vessel.firing.name} "
        f"in {response.vessel.firing.gas_words}",
        ha="left", va="center", fontsize=11,
    )  # fmt: skip
    return figure


def trade_off_figure(search: LayerSearch, kept: Layout | None = None) -> Figure:
    """What was tried, by changes of paste and height of the transition, and what it uses up.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.
    kept : Layout, optional
        That a plan ends with; by default the best of the search. Not marked where it was not tried.

    Returns
    -------
    Figure
        One panel: the best of each number of changes and height, with its utilisation beside it.
    """
    from matplotlib.figure import Figure

    from cofire.design.layers import trade_off

    figure = Figure(figsize=(7.0, 5.0), layout="constrained")
    axes = figure.subplots()
    best: dict[tuple[int, float], float] = {}
    for t in search.trials:
        key = (t.layout.changes, round(t.layout.tall * 1e3, 1))
        best[key] = min(best.get(key, np.inf), t.utilisation)
    front = {(t.layout.changes, round(t.layout.tall * 1e3, 1)) for t in trade_off(search)}
    proposed = kept or search.best.layout
    chosen = (proposed.changes, round(proposed.tall * 1e3, 1))
    both = search.best.layout.upper is not None
    told: dict[str, Any] = {}
    for (changes, height), used in sorted(best.items()):
        sound = used <= 1.0
        (dot,) = axes.plot(
            changes, height, "o" if sound else "X", ms=9, mfc="white" if sound else "0.35",
            mec="black", mew=1.0, ls="none", zorder=3,
        )  # fmt: skip
        told.setdefault("every limit kept" if sound else "a limit passed", dot)
        if (changes, height) in front:
            (ring,) = axes.plot(changes, height, "s", ms=15, mfc="none", mec="0.35", mew=1.0)
            told.setdefault("none better with as few changes and as little height", ring)
        axes.annotate(
            number(used), (changes, height), (0, -13), textcoords="offset points", fontsize=9,
            ha="center", va="top", weight="bold" if (changes, height) == chosen else "normal",
        )  # fmt: skip
    if chosen in best:
        (told["proposed"],) = axes.plot(*chosen, "o", ms=22, mfc="none", mec="black", mew=1.8)
    counts = [changes for changes, _ in best]
    axes.set_xlim(min(counts) - 0.5, max(counts) + 0.5)
    axes.set_xticks(range(min(counts), max(counts) + 1))
    axes.set_ylim(-0.12 * (top := max(max(h for _, h in best), 1.0)), 1.12 * top)
    axes.set_xlabel("changes of paste")
    axes.set_ylabel(f"height of {'both transitions' if both else 'the transition'} (mm)")
    axes.set_title(
        "share of a limit used up, as roughly as a search solves it; a check decides", fontsize=10
    )
    axes.grid(color="0.92", lw=0.6)
    axes.spines[["top"]].set_visible(False)
    decay = search.decay_length * 1e3
    beside = axes.secondary_yaxis(
        "right", functions=(lambda y: np.asarray(y) / decay, lambda y: np.asarray(y) * decay)
    )
    beside.set_ylabel(f"in lengths over which the wall forgets a joint, {decay:.1f} mm")
    figure.legend(
        told.values(), told.keys(), loc="outside lower center", ncols=2, fontsize=9, frameon=False
    )
    return figure


def designs_figure(search: DesignSearch, as_designed: bool = True) -> Figure:
    """The designs that a plan chose from, by changes of paste and height of the transition.

    Its numbers are those of the table of the plan: the chance that the pot is not lost, and how
    much is used up of the limits that layers can change.

    Parameters
    ----------
    search : DesignSearch
        From `search_designs`, or as `settle` left it.
    as_designed : bool
        Whether the chosen design is proposed; else the vessel as drawn is.

    Returns
    -------
    Figure
        One panel: the best design of each number of changes; the proposed one in a ring.
    """
    from matplotlib.figure import Figure

    from cofire.report.designs import percent

    figure = Figure(figsize=(7.0, 5.0), layout="constrained")
    axes = figure.subplots()
    choices = sorted(search.choices, key=lambda c: c.design.changes)
    heights = [1e3 * c.design.layout.tall for c in choices]
    both = search.chosen.design.layout.upper is not None
    top = max(*heights, 1.0)
    told: dict[str, Any] = {}
    for choice, height in zip(choices, heights, strict=True):
        changes, kept = choice.design.changes, choice.outcome.load <= 1.0
        proposed = as_designed and choice is search.chosen
        (dot,) = axes.plot(
            changes, height, "o" if kept else "X", ms=9, mfc="white" if kept else "0.35",
            mec="black", mew=1.0, ls="none", zorder=3,
        )  # fmt: skip
        told.setdefault("every limit kept" if kept else "a limit passed", dot)
        drawn = f"{percent(choice.outcome.chance)}\n" if choice.outcome.kept.size else ""
        axes.annotate(
            f"{drawn}{choice.outcome.load:.2f}", (changes, height), (0, -13),
            textcoords="offset points", fontsize=9, ha="center", va="top",
            weight="bold" if proposed else "normal",
        )  # fmt: skip
        if proposed:
            (told["proposed"],) = axes.plot(
                changes, height, "o", ms=22, mfc="none", mec="black", mew=1.8
            )
    counts = [c.design.changes for c in choices]
    axes.set_xlim(min(counts) - 0.5, max(counts) + 0.5)
    axes.set_xticks(range(min(counts), max(counts) + 1))
    axes.set_ylim(-0.2 * top, 1.12 * top)
    axes.set_yticks([tick for tick in axes.get_yticks() if 0.0 <= tick <= 1.12 * top])
    axes.set_xlabel("changes of paste" + ", of both joints" * both)
    axes.set_ylabel(f"height of {'both transitions' if both else 'the transition'} (mm)")
    axes.set_title(
        "the best of each number of changes: chance that the pot is not lost, and what is used up\n"
        "of limits that layers can change, with the cards as they stand; a check decides",
        fontsize=10,
    )  # fmt: skip
    axes.grid(color="0.92", lw=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(
        told.values(), told.keys(), loc="outside lower center", ncols=3, fontsize=9, frameon=False
    )
    return figure
