"""The solid of a check, and today's shell, against a finer solid with shorter steps.

    python -m tests.solid_against_itself [given | graded | random] [COUNT]

prints, in per cent, how far a check's solid and the shell with its local field are from a solid
twelve elements across in every row, mesh cut finer, each step of the check cut in four (so that
both are read at the same moments). Windows are those beside joints and inside corners, and what is
read nearer than half a wall from them where bands are short; errors are over the largest stress of
the windows at the same moments. `graded` gives the shipped vessels a few blends between their
zones; `random` draws vessels with floors, leans, short bands and sudden changes of the wall, and
names the worst ten; its reference has each step cut in two. It takes some minutes on one core.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.response import (
    Response,
    fade_of,
    fire_vessel,
    solid_section,
    times_for_solid,
)
from cofire.design.transition import Layout, as_vessel
from cofire.errors import CofireError
from cofire.mechanics.solid_firing import SolidFiring, fire_solid
from cofire.mechanics.solid_mesh import SolidMesh, mesh_solid
from cofire.mechanics.solid_reading import Beside, SolidSteps
from cofire.vessel import Band, Vessel
from cofire.vessel_file import read_vessel
from tests.closed_forms import parting_energy
from tests.fired import CARDS, KILNS
from tests.random_vessels import drawn_vessel

Array = NDArray[np.float64]
EXAMPLES = Path(__file__).parents[1] / "examples"
SHIPPED = ("silver_foot_vessel", "silver_rim_vessel", "copper_foot_tumbler", "iron_foot_bowl")
HOT = 565.0 + 273.15
ACROSS, PIECES = 12, 4
SHARES = (75, 50, 25)
SHORT = 0.7
THINNER = 0.75
NEARER = "nearer, as bands are short"
ALLOWED = {"windows": (0.10, 0.05), "away": (0.02, 0.02)}
"""Errors that are borne hot and cold, beside joints and corners and from half a wall away on."""


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


def section(response: Response, across: int | None = None) -> SolidMesh:
    """Its mesh: that of a check, or as fine beside each step, whatever changes there."""
    if across is None:
        return solid_section(response)
    vessel = response.vessel
    return mesh_solid(
        vessel.radius, vessel.height, vessel.wall, vessel.steps, across=across,
        corners=vessel.corners,
    )  # fmt: skip


def graded(name: str) -> Response:
    """The same with three blends between its zones, a layout as a plan makes them."""
    vessel = read_vessel(EXAMPLES / f"{name}.toml", KILNS)
    ends = [vessel.bands[k].material for k in (0, -1)]
    below = CARDS[ends[0]].kind == "metal"
    metal, ceramic = ends if below else ends[::-1]
    height, joint = 6e-3, float(vessel.steps[0 if below else -1])
    middle = joint + (0.5 if below else -0.5) * len(SHARES) * height
    layout = Layout(SHARES, height, middle)
    return fire_vessel(as_vessel(vessel, metal, ceramic, below, layout), CARDS)


def rough(seed: int) -> Vessel:
    """A drawn vessel, every other one with a short band, every third one thinner from a height on.

    The band is `SHORT` walls high; the wall changes over half of itself, at least 1.5 walls from
    all joints.
    """
    vessel = drawn_vessel(seed)
    wall, bands = float(vessel.wall[-1]), list(vessel.bands)
    if seed % 2 == 0 and len(bands) > 2:
        cut = bands[1].low + SHORT * wall
        bands[1:3] = [
            Band(bands[1].material, bands[1].low, cut),
            Band(bands[2].material, cut, bands[2].high),
        ]
    vessel = replace(vessel, bands=tuple(bands))
    if seed % 3 == 0:
        places = np.linspace(0.3, 0.8, 51) * vessel.height[-1]
        free = np.abs(places[:, None] - vessel.steps).min(axis=1)
        place = float(places[np.argmax(free > 1.5 * wall)])
        side = np.flatnonzero(vessel.radius > 0.0)
        at = int(side[np.searchsorted(vessel.height[side], place, side="right")])
        new = np.array([place, place + 0.5 * wall])
        above = np.r_[side[side < at][-1], side[side >= at]]
        radius = np.interp(new, vessel.height[above], vessel.radius[above])
        keep = (vessel.height < place) | (vessel.height > new[1])
        walls = np.where(vessel.height > place, THINNER, 1.0) * vessel.wall
        low = int(keep[:at].sum())
        vessel = replace(
            vessel,
            radius=np.insert(vessel.radius[keep], low, radius),
            height=np.insert(vessel.height[keep], low, new),
            wall=np.insert(walls[keep], low, wall * np.array([1.0, THINNER])),
        )
    return vessel


def checked(response: Response, across: int | None = None) -> SolidFiring:
    """The solid of a check."""
    times, borne = times_for_solid(response)
    return fire_solid(
        section(response, across),
        response.history,
        response.material,
        times=times,
        borne=borne,
        fade=fade_of(response.vessel, response.cards, response.material),
    )


def fine(
    own: SolidFiring, response: Response, across: int | None = ACROSS, pieces: int = PIECES
) -> SolidFiring:
    """The same finer, every row with all elements through the wall, each step cut in pieces."""
    count = own.time.size - 1
    times = np.interp(np.arange(count * pieces + 1) / pieces, np.arange(count + 1), own.time)
    times[::pieces] = own.time
    return fire_solid(
        replace(section(response, across), through=()),
        response.history,
        response.material,
        times=times,
        check_mesh=False,
        fade=fade_of(response.vessel, response.cards, response.material),
    )


def at_times(time: Array, fired_time: Array, values: Array) -> Array:
    """Values read at other times along straight lines, times first."""
    flat = values.reshape(len(values), -1)
    both = [np.interp(time, fired_time, column) for column in flat.T]
    return np.stack(both, axis=1).reshape(len(time), *values.shape[1:])


def errors(
    time: Array, temperature: Array, found: Array, known: Array, least: Array | None = None
) -> Errors:
    """Of values at the same times, over no less than a tenth of the largest of `least`."""
    hot = temperature > HOT
    out = []
    for when in (hot, np.arange(len(time)) == len(time) - 1):
        scale = np.abs(known[when]).max(initial=1e-12)
        if least is not None:
            scale = max(scale, 0.1 * np.abs(least[when]).max(initial=0.0))
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

    joints = at_times(own.time, reference.time, reference.steps.peak)

    def held(found: Array, known: Array, least: Array | None = None) -> Errors:
        there = at_times(own.time, reference.time, known)
        return errors(own.time, temperature, found, there, least)

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
            two = at_times(own.time, reference.time, two)
            there = far_enough(own, mine, name)
            for what, some in ((", faces", there), (f" but {NEARER}", ~there)):
                if some.any():  # over the largest of all
                    mixed = np.where(some, one, two)
                    out[f"{place}: {name}{what}"] = errors(
                        own.time, temperature, mixed, two, joints
                    )
        out[f"{place}: peak"] = held(mine.peak, its.peak, joints)
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


def far_enough(own: SolidFiring, read: SolidSteps | Beside, name: str) -> NDArray[np.bool_]:
    """Which of the readings of a name lie half a wall away, where that is asked, (K, 2)."""
    if name not in ("half", "one"):
        return np.ones(read.distance.shape[1:], dtype=bool)
    wall = np.interp(read.height, own.meridian.height, own.mesh.wall)
    return np.asarray(read.distance[("half", "one").index(name)] > 0.49 * wall[:, None])


def summary(found: dict[str, Errors]) -> dict[str, Errors]:
    """Largest errors in the windows, and from half a wall away on."""
    windows = ("tenth, faces", "quarter, faces", NEARER)
    near = [e for name, e in found.items() if name.endswith(windows)]
    away = [e for name, e in found.items() if name.endswith(("half, faces", "one, faces"))]
    away.append(found["bending tension"])
    return {
        name: Errors(max(e.hot for e in some), max(e.cold for e in some))
        for name, some in (("windows", near), ("away", away))
    }


def badness(found: dict[str, Errors]) -> float:
    """Largest of the errors of a summary over what is borne. [-]"""
    return max(
        value / borne
        for name, error in found.items()
        for value, borne in zip((error.hot, error.cold), ALLOWED[name], strict=True)
    )


def told(name: str, response: Response, pieces: int = PIECES) -> dict[str, Errors]:
    """Errors of one vessel, its mesh and cost printed."""
    start = time.process_time()
    own = checked(response)
    middle = time.process_time()
    found = compare(response, own, fine(own, response, pieces=pieces))
    print(
        f"{name}: {own.mesh.across} across, {own.mesh.rows} rows, {own.time.size} times, "
        f"{middle - start:.1f} s; mesh error {100 * own.mesh_error:.1f} % away, "
        f"{100 * own.window_error:.1f} % in windows; "
        f"reference {time.process_time() - middle:.0f} s",
        flush=True,
    )
    return found


def main() -> None:
    """Print the errors of the vessels asked for."""
    kind = sys.argv[1] if len(sys.argv) > 1 else "given"
    if kind == "random":
        random(range(int(sys.argv[2]) if len(sys.argv) > 2 else 20))
        return
    for name in SHIPPED:
        for what, error in told(name, {"given": given, "graded": graded}[kind](name)).items():
            print(f"  {what:28} hot, cold {error} %", flush=True)


def random(seeds: range) -> None:
    """Print the errors of random vessels, and the worst ten by name."""
    rows = []
    for seed in seeds:
        vessel = rough(seed)
        name = (
            f"{seed}: wall {1e3 * vessel.wall[0]:.1f}-{1e3 * vessel.wall[-1]:.1f} mm, "
            f"{'floor' if vessel.radius[0] == 0.0 else 'open'}, {len(vessel.bands)} bands, lowest "
            f"{1e3 * min(b.high - b.low for b in vessel.bands):.1f} mm, {vessel.bands[0].material}"
        )
        try:
            found = summary(told(name, fire_vessel(vessel, CARDS), pieces=2))
        except CofireError as error:
            print(f"{name}: {error}", flush=True)
            continue
        rows.append((badness(found), name, found))
        print("  " + ", ".join(f"{what} {error}" for what, error in found.items()), flush=True)
    print("worst ten, error over what is borne; errors hot and cold in %:")
    for bad, name, found in sorted(rows, key=lambda row: -row[0])[:10]:
        print(f"{bad:5.2f}", *(f"{what} {error}" for what, error in found.items()), name)


if __name__ == "__main__":
    main()
