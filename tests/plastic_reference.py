"""A butt joint of two tubes whose lower one yields, solved with scikit-fem.

Biquadratic rectangles, von Mises, perfectly plastic: the trial stress is returned along the radius
of the yield surface, with the tangent consistent with that, in steps of the free strain. It shares
nothing with the package but the physics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, LinearForm, MeshQuad, asm
from skfem.helpers import grad

from tests.solid_reference import graded_lines

Array = NDArray[np.float64]
_ROUNDS = 40


@dataclass(frozen=True)
class Faces:
    """Meridional and hoop stress at the end along both faces, (2, 2 faces, rows). [Pa]"""

    height: Array
    stress: Array

    def mean(self, low: float, high: float) -> Array:
        """Between two heights on one side of the joint, by component and face, (2, 2). [Pa]"""
        side = self.height * (low + high) > 0.0
        at = np.linspace(low, high, 201)
        own = self.stress[..., side]
        return np.array(
            [[np.interp(at, self.height[side], v).mean() for v in component] for component in own]
        )


def yielding_butt(
    radius: float,
    wall: float,
    young: tuple[float, float],
    poisson: tuple[float, float],
    mismatch: float,
    yield_stress: float,
    *,
    half_height: float,
    across: int = 12,
    finest: float = 0.012,
    steps: int = 8,
) -> Faces:
    """Two tubes joined at height zero; the lower one has the free strain and yields."""
    lines = graded_lines(
        np.array([-half_height, 0.0, half_height]), np.zeros(1), finest * wall, 0.5 * wall
    )
    through = radius + 0.5 * wall * np.sin(0.5 * np.pi * np.linspace(-1.0, 1.0, across + 1))
    mesh = MeshQuad.init_tensor(through, lines)
    below = mesh.p[1][mesh.t].mean(axis=0) < 0.0
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=5)
    r, z = (np.asarray(v) for v in basis.global_coordinates())
    low = np.broadcast_to(below[:, None], r.shape)
    E, nu = (np.where(low, *pair) for pair in (young, poisson))
    shear, bulk = E / (2 * (1 + nu)), E / (3 * (1 - 2 * nu))
    limit = np.where(low, yield_stress, np.inf)
    one = np.array([1.0, 1.0, 1.0, 0.0])[:, None, None]  # rr, zz, hoop, rz (engineering angle)
    twice = np.array([1.0, 1.0, 1.0, 0.5])[:, None, None]

    def strain_of(u, x):  # type: ignore[no-untyped-def]
        g = grad(u)
        return g[0, 0], g[1, 1], u[0] / x, g[0, 1] + g[1, 0]

    plastic = np.zeros((4, *r.shape))
    moved = np.zeros(basis.N)
    held = basis.nodal_dofs[1, [0]]
    free = np.setdiff1d(np.arange(basis.N), held)
    for step in range(1, steps + 1):
        own = one * np.where(low, mismatch * step / steps, 0.0)
        for _ in range(_ROUNDS):
            field = basis.interpolate(moved)
            strain = np.stack([np.asarray(v) for v in strain_of(field, r)])
            elastic = strain - own - plastic
            volume = elastic[:3].sum(axis=0)
            deviator = 2 * shear * twice * (elastic - one * volume / 3)
            size = np.sqrt((deviator**2 * np.array([1, 1, 1, 2.0])[:, None, None]).sum(axis=0))
            share = np.minimum(1.0, limit * np.sqrt(2 / 3) / np.maximum(size, 1e-30))
            stress = share * deviator + one * bulk * volume
            normal = deviator / np.maximum(size, 1e-30)
            yields = share < 1.0

            def stiff(a, b):  # type: ignore[no-untyped-def]
                va, vb = a[0] + a[1] + a[2], b[0] + b[1] + b[2]
                shape = sum(a[k] * b[k] for k in range(3)) + 0.5 * a[3] * b[3] - va * vb / 3
                along_a = sum(normal[k] * a[k] for k in range(4))  # noqa: B023
                along_b = sum(normal[k] * b[k] for k in range(4))  # noqa: B023
                held_back = yields * along_a * along_b  # noqa: B023
                return bulk * va * vb + 2 * shear * share * (shape - held_back)  # noqa: B023

            @BilinearForm
            def tangent(u, v, w):  # type: ignore[no-untyped-def]
                return stiff(strain_of(u, w.x[0]), strain_of(v, w.x[0])) * w.x[0]

            @LinearForm
            def force(v, w):  # type: ignore[no-untyped-def]
                b = strain_of(v, w.x[0])
                return sum(stress[k] * b[k] for k in range(4)) * w.x[0]  # noqa: B023

            left = asm(force, basis)[free]
            matrix = asm(tangent, basis)[free][:, free]
            change = -spsolve(matrix.tocsc(), left)
            moved[free] += change
            if np.abs(change).max() < 1e-7 * np.abs(moved).max():
                break
        else:
            message = f"no balance in step {step}"
            raise RuntimeError(message)
        plastic = plastic + (1 - share) * deviator / (2 * shear * twice)
    return _faces(r, z, stress, radius, wall, lines)


def _faces(r: Array, z: Array, stress: Array, radius: float, wall: float, lines: Array) -> Faces:
    """Read at both faces by the parabola through the three points nearest to them."""
    middle = 0.5 * (lines[1:] + lines[:-1])
    row = np.searchsorted(lines, z.mean(axis=1)) - 1
    out, height = [], np.zeros(0)
    for face in (radius - 0.5 * wall, radius + 0.5 * wall):
        gap = np.abs(r - face).min(axis=1)
        columns = np.flatnonzero(gap < gap.min() * (1 + 1e-6))
        columns = columns[np.argsort(middle[row[columns]])]
        values, height = [], np.zeros(0)
        for e in columns:
            for level in np.unique(np.round(z[e], 12)):
                at = np.abs(z[e] - level) < 1e-11
                x = r[e, at]
                share = [np.prod([(face - b) / (a - b) for b in x if b != a]) for a in x]
                values.append(stress[1:3, e, at] @ np.array(share))
                height = np.append(height, level)
        out.append(np.array(values).T)
    return Faces(height, np.stack(out, axis=1))
