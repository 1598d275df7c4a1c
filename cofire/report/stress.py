"""Stress by band as text, CSV, JSON and pictures."""

from __future__ import annotations

import io
import json
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire import __version__
from cofire.assessment.response import BandStress, Peak, Response, band_tensions
from cofire.numerics import Array
from cofire.report.figures import literal
from cofire.report.writing import printed, wrapped
from cofire.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import QuadMesh
    from matplotlib.figure import Figure

    from cofire.design.layers import LayerSearch


# ----------------------------------------------------------------------------------------------
# Peaks by band as text, and the fields of stress as CSV and JSON

SCHEMA = 1


WIDE = 131
"""Columns that the table of bands takes. [-]"""


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
    lines = [*wrapped(f"{vessel.name}: {vessel.firing.name} in {vessel.firing.gas}", 4, width), ""]
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
        f"errors: mesh {100 * shell.mesh_error:.2f} % of the peak, steps in time "
        f"{shell.step_error.max() / 1e6:.2f} MPa.",
    ):
        lines += wrapped(note, 2, width)
    if relieved:
        lines += ["", "worst tension (MPa) from the lowest band up, one way of relief off:"]
        for name, values in relieved.items():
            lines.append(f"  {name:<20}" + "  ".join(f"{v / 1e6:8.1f}" for v in values))
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
    text = io.StringIO()
    text.write(
        "height_mm,radius_mm,wall_mm,band,through,up_the_wall_MPa,round_the_ring_MPa,"
        "local_up_MPa,local_round_MPa,shear_MPa,trusted\n"
    )
    for g in range(s.height.size):
        for p in range(s.through.size):
            numbers = (
                s.height[g] * 1e3, s.radius[g] * 1e3, s.wall[g] * 1e3, s.band[g] + 1, s.through[p],
                *(s.stress[at, g, p] / 1e6), *(s.local[at, g, p] / 1e6), s.shear[at, g, p] / 1e6,
                int(s.trusted[g]),
            )  # fmt: skip
            text.write(",".join(f"{v:.6g}" for v in numbers) + "\n")
    return text.getvalue()


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
    steps = [
        {
            "height_mm": round(float(s.steps.height[k]) * 1e3, 3),
            "normal_MPa": [round(float(v) / 1e6, 4) for v in s.steps.normal[-1, k]],
            "shear_MPa": round(float(s.steps.shear[-1, k]) / 1e6, 4),
            "local_normal_MPa": round(float(s.steps.local_normal[-1, k]) / 1e6, 4),
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


def _section(axes: Axes, response: Response, tension: Array, top: float, title: str) -> QuadMesh:
    """Half section of the wall, coloured by the larger in-plane stress; shape (G, P)."""
    s = response.fired
    half = 0.5 * s.wall[:, None] * s.through * 1e3
    r = s.radius[:, None] * 1e3 + half * np.cos(s.slope)[:, None]
    z = s.height[:, None] * 1e3 - half * np.sin(s.slope)[:, None]
    for number in range(len(response.cards)):
        here = np.flatnonzero(s.band == number)
        rows = np.concatenate([here[:1], here, here[-1:]])
        # stations lie 0.423 half-lengths inside the element's end and 1.155 apart
        band_r, band_z = (_padded(x, s.band, number, 0.366) for x in (r, z))
        image = axes.pcolormesh(
            band_r, band_z, tension[rows] / 1e6, cmap="PuOr_r", vmin=-top, vmax=top,
            shading="gouraud", rasterized=True,
        )  # fmt: skip
        for face in (0, -1):
            axes.plot(band_r[:, face], band_z[:, face], color="0.3", lw=0.6)
        for end in (0, -1):
            axes.plot(band_r[end], band_z[end], color="0.3", lw=0.6)
        middle = here[here.size // 2]
        axes.annotate(
            str(number + 1), (float(r[middle, -1]), float(z[middle, -1])), xytext=(4, 0),
            textcoords="offset points", fontsize=8, va="center", annotation_clip=False,
        )  # fmt: skip
    wide, tall = np.ptp(r), np.ptp(z)
    stretch = max(1.0, float(np.floor(0.3 * tall / wide)))
    axes.set_aspect(1.0 / stretch)
    axes.margins(0.02)
    axes.set_title(title, fontsize=9)
    note = f"\n(drawn {stretch:.0f} times wider)" if stretch > 1.0 else ""
    if stretch > 1.0:  # too narrow for ticks at round numbers
        ends = np.round([np.min(r), np.max(r)], 1)
        axes.set_xticks(ends, [f"{end:.1f}" for end in ends])
    else:
        axes.locator_params(axis="x", nbins=4)
    axes.set_xlabel(f"radius (mm){note}", fontsize=9)
    return image


def _profiles(axes: Axes, response: Response, at: int) -> None:
    """Tension at both faces, up the wall and round the ring, against height."""
    s = response.fired
    total = response.total[at] / 1e6
    for d, name in enumerate(("up the wall", "round the ring")):
        for p, face in ((0, "inside"), (-1, "outside")):
            k = 2 * d + (p != 0)
            axes.plot(
                total[:, p, d], s.height * 1e3, color=BANDS[k], ls=DASHES[k], lw=1.3,
                label=f"{name}, {face}",
            )  # fmt: skip
    for step, height in enumerate(response.vessel.steps * 1e3):
        wall = float(np.interp(height / 1e3, s.height, s.wall)) * 1e3
        axes.axhspan(
            height - wall, height + wall, color="0.92", lw=0,
            label="within a wall of a step" if step == 0 else None,
        )  # fmt: skip
    axes.axvline(0.0, color="0.6", lw=0.8)
    axes.set_xlabel("stress (MPa)")
    axes.legend(fontsize=7, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2, frameon=False)


def _history(axes: Axes, response: Response, bands: list[BandStress]) -> None:
    """Largest tension of each band over time, with the temperature behind."""
    s = response.fired
    hours = s.time / HOUR
    hot = axes.twinx()
    hot.plot(response.trace.time / HOUR, celsius(response.trace.ware), color="0.75", lw=1.2)
    hot.set_ylabel("ware (°C)", color="0.45")
    hot.set_ylim(0, None)
    hot.spines[["top"]].set_visible(False)
    for band, found in enumerate(bands):
        tension = band_tensions(response, band) / 1e6
        look = _style(band)
        axes.plot(hours, tension, lw=1.4, label=_label(band, found.worst.material), **look)
        axes.plot(
            found.worst.time / HOUR, found.worst.tension / 1e6, "o", ms=4, color=look["color"]
        )
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
    """Section at the worst moment and when cold, stress against height, tension over time.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    bands : list of BandStress
        From `band_stresses`.

    Returns
    -------
    Figure
        Four panels.
    """
    from matplotlib.figure import Figure

    s = response.fired
    at, moment = _moment(response, bands)
    tension = response.total.max(axis=3)
    top = max(float(np.abs(tension[[at, -1]]).max()) / 1e6, 1e-3)
    figure = Figure(figsize=(10.0, 9.4), layout="constrained")
    halves: Any = figure.subfigures(2, 1, height_ratios=[1.25, 1.0])
    upper, lower = halves
    left, middle, right = upper.subplots(1, 3, sharey=True, width_ratios=[1, 1, 1.5])
    label = f"{celsius(float(response.temperature[at])):.0f} °C, {s.time[at] / HOUR:.1f} h"
    own = max(float(np.abs(tension[at]).max()) / 1e6, 1e-3)
    first = _section(left, response, tension[at], own, f"{moment}: {label}")
    image = _section(middle, response, tension[-1], top, "when cold")
    left.set_ylabel("height (mm)")
    upper.colorbar(first, ax=left, label="larger stress in the wall (MPa)", shrink=0.8)
    upper.colorbar(image, ax=middle, label="larger stress in the wall (MPa)", shrink=0.8)
    _profiles(right, response, -1)
    right.set_title("when cold", fontsize=9)
    below = lower.subplots()
    _history(below, response, bands)
    lower.legend(
        *below.get_legend_handles_labels(), loc="outside lower center", ncols=3, fontsize=8,
        frameon=False,
    )  # fmt: skip
    figure.suptitle(
        f"{response.vessel.name}: {response.vessel.firing.name} in {response.vessel.firing.gas}",
        x=0.01, ha="left", fontsize=11,
    )  # fmt: skip
    for axes in (left, middle, right):
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def trade_off_figure(search: LayerSearch) -> Figure:
    """Utilisation against height of the transition, one line a number of blends.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    Figure
        One panel, height also in decay lengths.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.0, 4.6), layout="constrained")
    axes = figure.subplots()
    decay = search.decay_length * 1e3
    counts = sorted({len(t.layout.shares) for t in search.trials})
    for k, count in enumerate(counts):
        best: dict[float, float] = {}
        for t in search.trials:
            if len(t.layout.shares) == count:
                height = round(t.layout.total * 1e3, 1)
                best[height] = min(best.get(height, np.inf), t.utilisation)
        heights = sorted(best)
        name = "direct joint" if count == 0 else f"{count} blend" + ("s" if count > 1 else "")
        axes.plot(
            heights, [best[h] for h in heights], marker="osD^vPX"[k % 7], ms=5, label=name,
            lw=1.4 if len(heights) > 1 else 0.0, **_style(k),
        )  # fmt: skip
    axes.axhline(1.0, color="0.4", lw=1.0)
    axes.text(axes.get_xlim()[1], 1.0, "limit ", ha="right", va="bottom", fontsize=8, color="0.3")
    axes.plot(
        search.best.layout.total * 1e3, search.best.utilisation, "o", ms=12, mfc="none",
        mec="black", label="proposed",
    )  # fmt: skip
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter("{x:g}")
    axes.yaxis.set_minor_formatter("{x:g}")
    axes.set_xlabel("height of the transition (mm)")
    axes.set_ylabel("largest share of a limit used up")
    axes.grid(color="0.9", lw=0.6)
    figure.legend(fontsize=8, loc="outside right upper", frameon=False)
    axes.spines[["right"]].set_visible(False)
    above = axes.secondary_xaxis(
        "top", functions=(lambda x: np.asarray(x) / decay, lambda x: np.asarray(x) * decay)
    )
    above.set_xlabel(f"in decay lengths 1/β = {decay:.1f} mm")
    return figure
