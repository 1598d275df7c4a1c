"""A firing of the shipped vase as a plain finite-element march of a general-purpose library.

Run by hand: python -m tests.benchmarks.bench_solid [VESSEL.toml] [--steps N]
What is compared, all of processor time on one thread: the vessel as drawn, with sharp joints,
(a) as cofire's solid, (b) as cofire's shell (plainly, and compiled where there is numba), (c) as a
solid in scikit-fem as a user would write it: biquadratic elements, as many across and as many rows
as our solid has, the same law (`cofire.mechanics.law`, all points at once), backward Euler at the
times of our solid, Newton's method with the consistent tangent, assembled anew each round, and
scipy's sparse solver. It starts each step from the last one, until a round moves nothing by more
than 1e-4 of the largest displacement of the step's own.

Differences: ours has two stages a step and knows its error, theirs one of first order; ours reads
windows, bands and energies, theirs nothing. With `--steps N` only the first N steps of (c) and
N spread evenly over the firing are marched, and the whole is reckoned from them: said so.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from time import process_time

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy.sparse.linalg import spsolve  # noqa: E402
from skfem import (  # noqa: E402
    Basis,
    BilinearForm,
    ElementQuad2,
    ElementVector,
    LinearForm,
    MeshQuad,
    asm,
)
from skfem.helpers import grad  # noqa: E402

from cofire.assessment.response import USUAL, Response, as_solid, fire_vessel  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.mechanics.law import (  # noqa: E402
    SOLID_WITH_SHEAR,
    inelastic_increments,
    prepare,
    respond,
)
from cofire.mechanics.properties import material_table  # noqa: E402
from cofire.mechanics.shell_march import COMPILES, made_ready  # noqa: E402
from cofire.vessel import read_vessel  # noqa: E402
from tests.benchmarks.timing import timed  # noqa: E402
from tests.solid_reference import _face  # noqa: E402

Array = NDArray[np.float64]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
MOVED, MOST = 1e-4, 30
"""Change of a round at which it ends, over the largest displacement, and most rounds."""


def strain_of(u, x):  # type: ignore[no-untyped-def]
    """Radial, hoop, axial strain and shear angle."""
    g = grad(u)
    return g[0, 0], u[0] / x, g[1, 1], g[0, 1] + g[1, 0]


class Plain:
    """The same vessel as a user of scikit-fem would march it."""

    def __init__(self, response: Response) -> None:
        vessel, mesh = response.vessel, response.fired.mesh
        self.table = material_table(response.history)
        rows = np.unique(np.round(mesh.meridian.height[::2], 12))
        height = np.linspace(vessel.height[0], vessel.height[-1], 301)
        middle = np.interp(height, vessel.height, vessel.radius)
        inner, outer = (
            _face(middle, height, side * float(vessel.wall.max())) for side in (-0.5, 0.5)
        )
        flat = MeshQuad.init_tensor(mesh.place[::2], rows)
        low, high = (np.interp(flat.p[1], height, face) for face in (inner, outer))
        radius = 0.5 * (low + high) + 0.5 * (high - low) * flat.p[0]
        self.mesh = MeshQuad(np.vstack([radius, flat.p[1]]), flat.t)
        self.basis = Basis(self.mesh, ElementVector(ElementQuad2()), intorder=4)
        self.place = np.asarray(self.basis.global_coordinates())
        band = np.searchsorted(vessel.steps, flat.p[1][flat.t].mean(axis=0))
        own = np.array(response.material)[band]
        shape = self.place.shape[1:]
        self.material = np.ascontiguousarray(np.broadcast_to(own[:, None], shape))
        held = self.basis.nodal_dofs[1, np.isclose(self.mesh.p[1], rows[0])]
        self.free = np.setdiff1d(np.arange(self.basis.N), held)
        self.moved = np.zeros(self.basis.N)
        self.inelastic = np.zeros((4, *shape))
        self.rounds = 0
        self.stress = np.zeros((4, *shape))

    def to(self, time: float, step: float) -> None:
        """One step of backward Euler."""
        properties = self.table.at(time)
        stage = prepare(properties, SOLID_WITH_SHEAR, step, self.material)
        share = SOLID_WITH_SHEAR.free_direction[:, None, None]
        known = self.inelastic + share * properties.free_strain[self.material]
        near = None
        for _ in range(MOST):
            self.rounds += 1
            strain = np.stack(
                [
                    np.asarray(v)
                    for v in strain_of(self.basis.interpolate(self.moved), self.place[0])
                ]
            )
            near = respond(stage, strain - known, near, 1e-6)
            stress, tangent = near.stress, near.tangent

            @BilinearForm
            def stiffness(u, v, w):  # type: ignore[no-untyped-def]
                a, b = strain_of(u, w.x[0]), strain_of(v, w.x[0])
                total = 0.0
                for i in range(4):
                    total = total + b[i] * sum(tangent[i, j] * a[j] for j in range(4))  # noqa: B023
                return total * w.x[0]

            @LinearForm
            def force(v, w):  # type: ignore[no-untyped-def]
                b = strain_of(v, w.x[0])
                return sum(stress[i] * b[i] for i in range(4)) * w.x[0]  # noqa: B023

            left = asm(force, self.basis)[self.free]
            matrix = asm(stiffness, self.basis)[self.free][:, self.free]
            change = -spsolve(matrix.tocsc(), left)
            self.moved[self.free] += change
            if np.abs(change).max() <= MOVED * np.abs(self.moved).max():
                break
        self.inelastic = self.inelastic + inelastic_increments(near).sum(axis=0)
        self.stress = near.stress


def hoop_apart(plain: Plain, response: Response) -> float:
    """Largest difference of cold hoop stress a wall or more from steps, over the largest. [-]"""
    fired = response.fired
    height, mean = plain.place[1].mean(axis=1), plain.stress[1].mean(axis=1)
    ours = fired.membrane[-1, :, 1]
    off = []
    for z, own, good in zip(fired.height, ours, fired.trusted, strict=True):
        if good:
            near = np.abs(height - z) <= np.abs(height - z).min() + 1e-9
            off.append(abs(mean[near].mean() - own))
    return float(max(off) / np.abs(ours).max())


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("vessel", nargs="?", default=EXAMPLE, type=Path)
    parser.add_argument("--steps", type=int, default=0)
    given = parser.parse_args()
    cards, vessel = load_cards(), read_vessel(given.vessel)
    shell = fire_vessel(vessel, cards)
    bare, _ = timed(lambda: fire_vessel(vessel, cards, along=shell.along, check_mesh=False))
    print(f"{vessel.name}, {len(vessel.bands)} bands, load {os.getloadavg()[0]:.1f}")
    print(f"our shell, {shell.fired.time.size - 1} steps       {bare:8.3f} s")
    quick = bare
    if COMPILES:
        made_ready()
        control = replace(USUAL, compiled=True)
        quick, _ = timed(
            lambda: fire_vessel(vessel, cards, along=shell.along, control=control, check_mesh=False)
        )
        print(f"  compiled                  {quick:8.3f} s")
    spent, solid = timed(lambda: as_solid(shell), 2)
    time = solid.fired.time
    print(f"our solid, {time.size - 1} steps, read {spent:8.3f} s")
    start = process_time()
    plain = Plain(solid)
    ready = process_time() - start
    every = np.arange(1, time.size)
    chosen = every
    if 0 < given.steps < every.size:  # those that are left out are gone over in one stride
        chosen = np.unique(np.linspace(1, every.size, given.steps).round().astype(int))
    start, before = process_time(), 0
    for k in chosen:
        plain.to(float(time[k]), float(time[k] - time[before]))
        before = k
    marched = (process_time() - start) * every.size / chosen.size + ready
    said = "" if chosen.size == every.size else f", reckoned from {chosen.size} steps"
    elements, unknowns = plain.mesh.t.shape[1], plain.free.size
    print(f"scikit-fem, {every.size} steps     {marched:8.1f} s{said}")
    ours = solid.fired.mesh.rows * solid.fired.mesh.across
    print(
        f"  {elements} elements (ours {ours}), {unknowns} unknowns, "
        f"{plain.rounds / chosen.size:.1f} rounds a step"
    )
    if not said:
        print(
            f"  mean hoop stress when cold, a wall from steps: {hoop_apart(plain, solid):.1%} off"
        )
    print(
        f"it costs {marched / spent:.0f} times our solid, {marched / bare:.0f} times our shell",
        end="",
    )
    print(f", {marched / quick:.0f} times our shell compiled" if COMPILES else "")


if __name__ == "__main__":
    main()
