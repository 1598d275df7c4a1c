"""The solid of a check, and today's shell, against a finer solid with steps of its own.

    python -m tests.solid_against_itself [ACROSS]

fires the shipped vessels as given and prints, in per cent, how far a check's solid and the shell
with its local field are from a solid ten elements across, mesh cut finer and steps ten times
shorter. Windows are those beside joints and inside corners; errors are over the largest stress of
the windows at the same moments. It takes some minutes on one core.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.response import Response, fire_vessel
from cofire.mechanics.integrator import Control
from cofire.mechanics.solid_firing import SolidFiring, fire_solid, times_of
from cofire.mechanics.solid_mesh import SolidMesh, mesh_solid
from cofire.vessel import Vessel, read_vessel
from tests.closed_forms import parting_energy
from tests.fired import CARDS, KILNS

Array = NDArray[np.float64]
EXAMPLES = Path(__file__).parents[1] / "examples"
SHIPPED = ("silver_foot_vessel", "silver_rim_vessel", "copper_foot_tumbler", "iron_foot_bowl")
HOT = 565.0 + 273.15
FINE_STEPS = Control(3e-3, 4e3, 1e-2, breakpoint_tolerance=2e-5)


@dataclass(frozen=True)
class Errors:
    """Largest error of a quantity while hot and when cold, over the largest of it then. [-]"""

    hot: float
    cold: float

    def __str__(self) -> str:
        return f"{100 * self.hot:5.1f} {100 * self.cold:5.1f}"


@cache
def given(name: str) -> Response:
    """A shipped vessel as given, fired as a shell."""
    return fire_vessel(read_vessel(EXAMPLES / f"{name}.toml", KILNS), CARDS)


def section(vessel: Vessel, across: int | None = None) -> SolidMesh:
    """Its mesh."""
    return mesh_solid(
        vessel.radius, vessel.height, vessel.wall, vessel.steps, across=across,
        corners=vessel.corners,
    )  # fmt: skip


def checked(response: Response, across: int | None = None) -> SolidFiring:
    """The solid of a check, at the shell's times and two more."""
    shell, trace = response.fired, response.trace
    hottest = float(trace.time[trace.ware.argmax()])
    times = times_of(shell.time, np.abs(shell.stress).max(axis=(1, 2, 3)), hottest)
    return fire_solid(
        section(response.vessel, across), response.history, response.material, times=times
    )


def fine(response: Response, across: int = 10) -> SolidFiring:
    """The same finer, with steps of its own."""
    mesh = section(response.vessel, across)
    return fire_solid(
        mesh, response.history, response.material, control=FINE_STEPS, check_mesh=False
    )


def at_times(time: Array, fired_time: Array, values: Array) -> Array:
    """Values read at other times along straight lines, times first."""
    flat = values.reshape(len(values), -1)
    both = [np.interp(time, fired_time, column) for column in flat.T]
    return np.stack(both, axis=1).reshape(len(time), *values.shape[1:])


def errors(time: Array, temperature: Array, found: Array, known: Array) -> Errors:
    """Of values at the same times, times first."""
    hot = temperature > HOT
    out = []
    for when in (hot, np.arange(len(time)) == len(time) - 1):
        scale = np.abs(known[when]).max(initial=1e-12)
        out.append(float(np.abs(found[when] - known[when]).max(initial=0.0) / scale))
    return Errors(*out)


def energy_of_shell(response: Response) -> Array:
    """Energy of parting by force and moment of the shell, as the flag of the joint takes it."""
    shell, steps, h = response.fired, response.fired.steps, response.history
    young = response.at_times(h.young_modulus)
    out = np.zeros((shell.time.size, steps.height.size))
    for s, height in enumerate(steps.height):
        station = int(np.argmin(np.abs(shell.height - height)))
        wall, radius = float(shell.wall[station]), float(shell.radius[station])
        rows = response.material[s : s + 2]
        moment = 0.5 * (steps.normal[:, s, 1] - steps.normal[:, s, 0]) * wall**2 / 6.0
        out[:, s] = parting_energy(
            radius, wall, (young[rows[0]], young[rows[1]]),
            (h.poisson_ratio[rows[0]], h.poisson_ratio[rows[1]]),
            steps.shear[:, s] * wall, moment,
        )  # fmt: skip
    return out


def compare(response: Response, own: SolidFiring, reference: SolidFiring) -> dict[str, Errors]:
    """Errors of the solid of a check and of the shell, by quantity."""
    shell, trace = response.fired, response.trace
    temperature = np.interp(own.time, trace.time, trace.ware)

    def held(found: Array, known: Array) -> Errors:
        return errors(own.time, temperature, found, at_times(own.time, reference.time, known))

    out = {}
    faces = [0, -1]
    for place, mine, its in (
        ("joint", own.steps, reference.steps),
        ("corner", own.corners, reference.corners),
    ):
        if not mine.height.size:
            continue
        for name in ("tenth", "quarter", "half", "one"):
            one, two = (getattr(b, name)[:, :2][:, :, faces] for b in (mine, its))
            out[f"{place}: {name}, faces"] = held(one, two)
        out[f"{place}: peak"] = held(mine.peak, its.peak)
    out["bending tension"] = held(own.bending_tension, reference.bending_tension)
    out["band tension"] = held(own.band_tension, reference.band_tension)
    out["joint tension"] = held(own.steps.tension, reference.steps.tension)
    out["parting energy"] = held(own.parting_energy, reference.parting_energy)
    peak = at_times(own.time, shell.time, shell.steps.peak)
    out["shell: peak at joint"] = held(peak, reference.steps.peak)
    energy = at_times(own.time, shell.time, energy_of_shell(response))
    out["shell: parting energy"] = held(energy, reference.parting_energy)
    tension = at_times(own.time, shell.time, shell.bending_tension)
    out["shell: bending tension"] = held(tension, reference.bending_tension)
    return out


def main() -> None:
    """Print the errors of the shipped vessels."""
    across = int(sys.argv[1]) if len(sys.argv) > 1 else None
    for name in SHIPPED:
        response = given(name)
        start = time.process_time()
        own = checked(response, across)
        middle = time.process_time()
        reference = fine(response)
        print(
            f"{name}: {own.mesh.across} across, {own.mesh.rows} rows, {own.time.size} times, "
            f"{middle - start:.1f} s; mesh error {100 * own.mesh_error:.1f} % away, "
            f"{100 * own.window_error:.1f} % in windows; "
            f"reference {time.process_time() - middle:.0f} s, {reference.time.size} times"
        )
        for what, error in compare(response, own, reference).items():
            print(f"  {what:28} hot, cold {error} %")


if __name__ == "__main__":
    main()
