"""A firing of the shipped vase as a plain finite-element march of a general-purpose library.

Run by hand: python -m tests.benchmarks.bench_solid [VESSEL.toml] [--steps N]
What is compared, all of processor time on one thread: the vessel as drawn, with sharp joints,
(a) as cofire's solid, (b) as cofire's shell (plainly, and compiled where there is numba), (c) as a
solid in scikit-fem as a user would write it: biquadratic elements, as many across and as many rows
as our solid has, the same law (`cofire.mechanics.law`, all points at once), backward Euler at the
times of our solid, Newton's method with the consistent tangent, assembled anew each round, and
scipy's sparse solver. It starts each step from the last one, until a round moves nothing by more
than 1e-4 of the largest displacement of the step's own.

Differences: ours has two stages a step and knows its error, theirs one of first order; ours has
fewer elements through the wall in rows far from joints, theirs as many in every row, as a grid has;
ours reads windows, bands and energies, theirs nothing. So (c) is marched again with each step cut
in two and four, to see which number of steps comes as near as ours. With `--steps N` only so many
strides are marched and the whole is reckoned from them, which is said: no errors then.
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

from cofire.assessment.response import CHECK_STEPS, Response, as_solid, fire_vessel  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.mechanics.integrator import march  # noqa: E402
from cofire.mechanics.law import (  # noqa: E402
    SOLID_WITH_SHEAR,
    inelastic_increments,
    prepare,
    respond,
)
from cofire.mechanics.properties import material_table  # noqa: E402
from cofire.mechanics.shell_march import COMPILES, made_ready  # noqa: E402
from cofire.mechanics.solid import solid as build_solid  # noqa: E402
from cofire.mechanics.solid_elements import GAUSS_WEIGHT  # noqa: E402
from cofire.mechanics.solid_firing import AS_FIRED  # noqa: E402
from cofire.vessel_file import read_vessel  # noqa: E402
from tests.benchmarks.timing import timed  # noqa: E402
from tests.solid_reference import _face  # noqa: E402

Array = NDArray[np.float64]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
MOVED, MOST = 1e-4, 30
"""Change of a round at which it ends, over the step's largest displacement, and most rounds."""


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
        near, began = None, self.moved.copy()
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
            if np.abs(change).max() <= MOVED * np.abs(self.moved - began).max():
                break
        self.inelastic = self.inelastic + inelastic_increments(near).sum(axis=0)
        self.stress = near.stress


def marched(response: Response, cut: int, steps: int) -> tuple[float, Plain, Array, int]:
    """Processor time, the march, hoop stress by element at our times, and steps that were timed.

    Each of our steps is cut in `cut`; with `steps` above 0 only so many of ours are gone over, the
    others in one stride, and the time is reckoned for all.
    """
    time = response.fired.time
    start = process_time()
    plain = Plain(response)
    ready = process_time() - start
    chosen = np.arange(1, time.size)
    if 0 < steps < chosen.size:
        chosen = np.unique(np.linspace(1, chosen.size, steps).round().astype(int))
    start, before, hoop = process_time(), 0, []
    for k in chosen:
        step = float(time[k] - time[before]) / cut
        for part in range(1, cut + 1):
            plain.to(float(time[k]) - (cut - part) * step, step)
        hoop.append(plain.stress[1].mean(axis=1))
        before = k
    whole = (process_time() - start) * (time.size - 1) / chosen.size + ready
    return whole, plain, np.array(hoop), int(chosen.size)


def ours(response: Response, plain: Plain) -> tuple[Array, NDArray[np.bool_]]:
    """Our mean hoop stress over their rows of elements at all our times, and which to compare.

    Those a wall or more from steps and ends.
    """
    fired, height = response.fired, plain.place[1].mean(axis=1)
    rows = fired.membrane[1:, :, 1].reshape(fired.time.size - 1, -1, 3) @ (0.5 * GAUSS_WEIGHT)
    mean = np.stack([np.interp(height, fired.height[1::3], row) for row in rows])
    edges = np.concatenate([response.vessel.steps, fired.height[[0, -1]]])
    away = np.abs(height[:, None] - edges).min(axis=1) > float(fired.wall.max())
    return mean, away


def across(hoop: Array, plain: Plain) -> Array:
    """Mean over each row of elements, at each element, shape (T, elements). [Pa]"""
    height = np.round(plain.place[1].mean(axis=1), 9)
    _, row = np.unique(height, return_inverse=True)
    count = np.bincount(row)
    thick = plain.mesh.p[0][plain.mesh.t]
    weight = thick.max(axis=0) - thick.min(axis=0)
    total = np.stack([np.bincount(row, weight * one) for one in hoop])
    return np.asarray((total / np.bincount(row, weight))[:, row]) if count.size else hoop


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("vessel", nargs="?", default=EXAMPLE, type=Path)
    parser.add_argument("--steps", type=int, default=0)
    parser.add_argument("--cuts", type=int, nargs="+", default=[1, 2, 4])
    given = parser.parse_args()
    cards, vessel = load_cards(), read_vessel(given.vessel)
    shell = fire_vessel(vessel, cards)
    bare, _ = timed(lambda: fire_vessel(vessel, cards, along=shell.along).fired.total)
    print(f"{vessel.name}, {len(vessel.bands)} bands, load {os.getloadavg()[0]:.1f}")
    print(f"our shell, {shell.fired.time.size - 1} steps       {bare:8.3f} s")
    quick = bare
    if COMPILES:
        made_ready()
        control = replace(CHECK_STEPS, compiled=True)
        quick, _ = timed(
            lambda: fire_vessel(vessel, cards, along=shell.along, control=control).fired.total
        )
        print(f"  compiled                  {quick:8.3f} s")
    spent, solid = timed(lambda: as_solid(shell), 2)
    body = build_solid(solid.fired.mesh, solid.material, merged=True)
    control = replace(AS_FIRED, times=tuple(solid.fired.time[1:].tolist()))
    alone, _ = timed(lambda: march(body, solid.history, control=control), 2)
    steps = solid.fired.time.size - 1
    print(f"our solid, {steps} steps, read {spent:8.3f} s, the march alone {alone:.3f} s")
    kept: dict[int, Array] = {}
    for cut in given.cuts:
        whole, plain, hoop, count = marched(solid, cut, given.steps)
        said = "" if count == steps else f", reckoned from {count} of {steps}"
        print(f"scikit-fem, {steps} steps cut in {cut} {whole:8.1f} s{said}")
        print(
            f"  {plain.mesh.t.shape[1]} elements (ours {solid.fired.mesh.rows}"
            f" × {solid.fired.mesh.across}), {plain.free.size} unknowns, "
            f"{plain.rounds / count / cut:.1f} rounds a step"
        )
        print(f"  over our solid {whole / spent:.0f}, over its march {whole / alone:.0f}, ", end="")
        print(f"over our shell {whole / bare:.0f}", end="")
        print(f", compiled {whole / quick:.0f}" if COMPILES else "", flush=True)
        if not said:
            kept[cut] = across(hoop, plain)
    if len(kept) > 1:
        last, before = sorted(kept)[-1], sorted(kept)[-2]
        settled = kept[last] + (kept[last] - kept[before]) / (last / before - 1.0)
        mean, away = ours(solid, plain)
        largest = np.abs(settled[:, away]).max()
        print("mean hoop stress a wall or more from steps and ends, largest error at any time over")
        print("the largest, against theirs extrapolated to no step:")
        for name, one in [("our solid", mean), *((f"cut in {k}", h) for k, h in kept.items())]:
            print(f"  {name:10} {np.abs(one - settled)[:, away].max() / largest:7.2%}")


if __name__ == "__main__":
    main()
