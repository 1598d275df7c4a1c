"""Peaks by band as text, and the fields of stress as CSV and JSON."""

from __future__ import annotations

import io
import json

import numpy as np
from numpy.typing import NDArray

from cofire import __version__
from cofire.inputs.units import HOUR, celsius
from cofire.output.writing import printed, wrapped
from cofire.planning.ware.response import BandStress, Peak, Response, band_tensions

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
    vessel, shell = response.vessel, response.shell
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
    s = response.shell
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
    s = response.shell
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
