"""Cost of vessels through a firing, and of one elastic finite-element solve beside it.

Run by hand: python -m tests.benchmarks.bench_vessels
One process, one thread. Ratios are of processor times, so that they hold on a busy machine too.
Answers are compared before times are. The solid is solved with scikit-fem, a general-purpose
library with sparse matrices and vectorised assembly: elastic, at one moment, on the coarsest of
some meshes whose peaks are within 1 % of those of a mesh twice as fine. Peaks are the largest
meridional stress at the faces, beyond a wall from the step, and the largest mean over a tenth of a
wall beside it, from a tenth of a wall on. A whole firing of such a solid is not marched here, so
no ratio to one is given.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

from pathlib import Path  # noqa: E402
from time import perf_counter  # noqa: E402

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from cofire.assessment.response import Response, fire_vessel  # noqa: E402
from cofire.design.candidates import ROUGH, Bench, fire_candidates  # noqa: E402
from cofire.design.grid import layouts  # noqa: E402
from cofire.design.transition import as_vessel  # noqa: E402
from cofire.errors import ModelError  # noqa: E402
from cofire.firing.program import load_kilns  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.mechanics.joint import (  # noqa: E402
    BESIDE,
    CUT_OFF,
    JointFields,
)
from cofire.mechanics.meridian import mesh_meridian  # noqa: E402
from cofire.mechanics.shell import elastic_response, shells  # noqa: E402
from cofire.vessel import Vessel  # noqa: E402
from cofire.vessel_file import read_vessel  # noqa: E402
from tests.benchmarks.timing import timed  # noqa: E402
from tests.solid_reference import Solid, solve_solid  # noqa: E402

Array = NDArray[np.float64]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
CANDIDATES = 48
FROM = BESIDE >= 0.15
"""Distances from a step at which shell and solid are compared, where both are within a few %."""
SOLID_MESHES = ((4, 0.2, 1.2), (4, 0.1, 0.8), (6, 0.1, 0.6), (8, 0.05, 0.6), (10, 0.03, 0.5),
                (12, 0.02, 0.5), (14, 0.01, 0.4))  # fmt: skip
"""Elements through the wall, finest and coarsest height over the wall, from coarse to fine."""


def one_vessel(vessel: Vessel) -> tuple[float, Response]:
    """Processor time of a firing with the usual control, warm. [s]"""
    cards = load_cards()
    fire_vessel(vessel, cards)
    clock = []

    def work() -> Response:
        start = perf_counter()
        fired = fire_vessel(vessel, cards)
        clock.append(perf_counter() - start)
        return fired

    seconds, response = timed(work, 5)
    times, stations, points, _ = response.fired.stress.shape
    print(f"1. {vessel.name}: {stations} stations × {points} points, {times - 1} steps")
    print(f"   whole firing, best of 5          {1e3 * min(clock):8.0f} ms by the clock")
    print(f"                                    {1e3 * seconds:8.0f} ms of processor")
    return seconds, response


def many_vessels(vessel: Vessel) -> None:
    """Candidates of a layer search, on a bench that knows their materials."""
    bench = Bench(load_cards(), fineness=ROUGH)
    metal, ceramic, below = bench.zones(vessel)
    every = layouts(vessel)
    chosen = [every[k] for k in np.linspace(0, len(every) - 1, CANDIDATES).round().astype(int)]
    some = [as_vessel(vessel, metal.name, ceramic.name, below, layout) for layout in chosen]
    first, fired = timed(lambda: fire_candidates(bench, some), 1)
    second, _ = timed(lambda: fire_candidates(bench, some), 1)
    failed = sum(isinstance(r, ModelError) for r in fired)
    print(f"2. {CANDIDATES} of its {len(every)} layouts, fineness {ROUGH}, each alone")
    print(f"   each, histories of its blends included {1e3 * first / CANDIDATES:8.0f} ms")
    print(f"   each, histories known                  {1e3 * second / CANDIDATES:8.0f} ms")
    print(f"   without equilibrium                    {failed:8d}")


def solid_peaks(solid: Solid, step: float, wall: float) -> Array:
    """Largest |meridional| stress at the faces beyond a wall from a step, and beside it. [Pa]

    Beside: mean over windows of `CUT_OFF` walls around `BESIDE` from 0.15 walls on. Nearer, the
    corner is singular: at the step 28 elements across the wall are still 2 % off 14.
    """
    faces = solid.stress[:, [0, -1], 1]
    away = (solid.height - step) / wall
    far = float(np.abs(faces[np.abs(away) > 1.0]).max())
    near = 0.0
    for side in (-1.0, 1.0):
        rows = away * side > 0.0
        for distance in BESIDE[FROM]:
            window = side * (distance + CUT_OFF * np.linspace(-0.4999, 0.4999, 201))
            for face in range(2):
                mean = np.interp(window, away[rows], faces[rows, face]).mean()
                near = max(near, abs(float(mean)))
    return np.array([far, near])


def one_solid(response: Response, seconds: float) -> None:
    """Our firing and our elastic solve against an elastic solid."""
    vessel, history = response.vessel, response.history
    free_all = history.free_strain
    worst = int(np.argmax(np.ptp(free_all, axis=0)))
    rows = list(response.material)
    young, poisson = history.young_modulus[:, worst], np.asarray(history.poisson_ratio, float)
    free = free_all[:, worst] - free_all[:, worst].mean()
    wall, step = float(vessel.wall[0]), vessel.steps
    height = np.linspace(vessel.height[0], vessel.height[-1], 301)
    radius = np.interp(height, vessel.height, vessel.radius)

    def solid(across: int, finest: float, coarsest: float) -> Solid:
        return solve_solid(
            radius, height, wall, step, young[rows], poisson[rows], free[rows],
            across=across, finest=finest, coarsest=coarsest,
        )  # fmt: skip

    def chosen(peak: slice) -> tuple[tuple[int, float, float], Array, float]:
        for across, finest, coarsest in SOLID_MESHES:
            own, finer = (
                solid_peaks(solid(n * across, finest / n, coarsest / n), float(step[0]), wall)
                for n in (1, 2)
            )
            off = float(np.abs(own / finer - 1.0)[peak].max())
            if off <= 0.01:
                return (across, finest, coarsest), finer, off
        raise RuntimeError("no mesh is fine enough")

    def shell() -> tuple[Array, Array]:
        mesh = mesh_meridian(
            vessel.radius, vessel.height, vessel.wall, step, corners=vessel.corners
        )
        body = shells([mesh], [rows])
        _, stress = elastic_response(body, young, poisson, free[body.material])
        state = JointFields.of(body).at(stress[None], young[None], poisson)
        away = np.abs(body.geometry.height[0] - step[0]) > wall
        beside = np.abs(state.beside[0, 0][[0, -1]][..., FROM]).max()
        return np.array([np.abs(stress[0, 0][[0, -1]][:, away]).max(), beside]), stress

    own_time, (own, _) = timed(shell, 5)
    body = shells([response.fired.meridian], [rows])
    bare_time, _ = timed(lambda: elastic_response(body, young, poisson, free[body.material]), 5)
    print("3. elastic, at the largest mismatch of free strain of the firing:")
    print(f"   our elastic_response, mesh and operators at hand {1e3 * bare_time:8.2f} ms")
    print(f"   our mesh, shell and local field                  {1e3 * own_time:8.2f} ms")
    for title, peak in (("bending", slice(0, 1)), ("bending and beside the step", slice(0, 2))):
        mesh, finer, off = chosen(peak)
        spent, _ = timed(lambda mesh=mesh: solid(*mesh), 5)
        across, finest, coarsest = mesh
        ratio = own / finer - 1.0
        shown = ", ".join(f"{r:+.1%}" for r in ratio[peak])
        print(f"   solid for {title}: {across} elements across, {finest:g} to {coarsest:g} walls,")
        print(f"     {off:.1%} from twice as fine; our peaks {shown} from that")
        print(f"     solid                            {1e3 * spent:8.1f} ms")
        print(f"     our whole firing over it         {seconds / spent:8.2f}")
        print(f"     our elastic_response over it     {bare_time / spent:8.3f}")
        print(f"     our mesh, shell, field over it   {own_time / spent:8.3f}")


def main() -> None:
    """Print each comparison."""
    print(f"one thread, processor times, utilisation average {os.getloadavg()[0]:.1f}")
    vessel = read_vessel(EXAMPLE, load_kilns())
    seconds, response = one_vessel(vessel)
    many_vessels(vessel)
    one_solid(response, seconds)
    print(f"utilisation average at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
