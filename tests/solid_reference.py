"""An axisymmetric elastic solid, solved with scikit-fem, that the shell is checked against.

The wall is cut into rows of quadrilaterals with horizontal edges, so that a horizontal joint is an
element edge whatever the slope of the wall. Displacements are biquadratic; stresses are read on
the two Gauss lines of each row.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from skfem import (
    Basis,
    BilinearForm,
    ElementQuad2,
    ElementVector,
    LinearForm,
    MeshQuad,
    asm,
    condense,
    solve,
)
from skfem.helpers import grad

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Solid:
    """Stresses of a solved wall on a grid of rows and positions through the wall.

    Attributes
    ----------
    height
        Of the stress points, shape (rows,). [m]
    position
        Through the wall along a horizontal line, -1 inside to 1 outside, shape (points,). [-]
    inner, outer
        Radius of the two faces at `height`, shape (rows,). [m]
    stress
        rr, zz, hoop, rz, shape (rows, points, 4). [Pa]
    """

    height: Array
    position: Array
    inner: Array
    outer: Array
    stress: Array

    def at(self, radius: Array, height: Array) -> Array:
        """Stress at any points, shape of `radius` and a last axis rr, zz, hoop, rz. [Pa]"""
        inner = np.interp(height, self.height, self.inner)
        outer = np.interp(height, self.height, self.outer)
        place = np.clip(2.0 * (radius - inner) / (outer - inner) - 1.0, -1.0, 1.0)
        look = RegularGridInterpolator((self.height, self.position), self.stress)
        level = np.clip(height, self.height[0], self.height[-1])
        return np.asarray(look(np.stack([level, place], axis=-1)))


def meridional(stress: Array, slope: float | Array) -> Array:
    """Stress along a wall leaning `slope` from the vertical, from rr, zz, hoop, rz. [Pa]"""
    s, c = np.sin(slope), np.cos(slope)
    return np.asarray(
        stress[..., 0] * s * s + stress[..., 1] * c * c + 2.0 * stress[..., 3] * s * c
    )


def graded_lines(breaks: Array, joints: Array, finest: float, coarsest: float) -> Array:
    """Positions from the first to the last of `breaks`, finest next to `joints`. [m]"""
    lines = [float(breaks[0])]
    for low, high in pairwise(breaks):
        fine = np.linspace(low, high, 4001)
        away = np.min(np.abs(fine[:, None] - joints), axis=1)
        size = np.clip(finest + 0.25 * away, finest, coarsest)
        count = np.concatenate([[0.0], np.cumsum(np.diff(fine) * 2.0 / (size[1:] + size[:-1]))])
        wanted = np.linspace(0.0, count[-1], int(np.ceil(count[-1])) + 1)
        lines.extend(np.interp(wanted[1:], count, fine))
    return np.array(lines)


def solve_solid(
    radius: Array,
    height: Array,
    wall: float,
    joints: Array,
    young: Array,
    poisson: Array,
    free_strain: Array,
    *,
    finest: float = 0.004,
    coarsest: float = 0.4,
    across: int = 14,
    plane_strain: bool = False,
    faces: tuple[Array, Array] | None = None,
) -> Solid:
    """Solve a wall with mid-surface (radius, height), cut horizontally at `joints`.

    With `faces`, radius of the inner and the outer face at `height`, those are taken as they are.
    Bands run from the foot up; `young`, `poisson` and `free_strain` have one value a band.
    Element heights `finest` and `coarsest` are in walls. With `plane_strain` the ring direction
    is held, the free strain acts in the plane only, and the radius is a Cartesian coordinate.
    """
    radius, height, joints = (np.asarray(v, dtype=float) for v in (radius, height, joints))
    inner, outer = faces or (_face(radius, height, side * wall) for side in (-0.5, 0.5))
    lines = graded_lines(
        np.concatenate([height[:1], joints, height[-1:]]), joints, finest * wall, coarsest * wall
    )
    flat = MeshQuad.init_tensor(np.sin(0.5 * np.pi * np.linspace(-1.0, 1.0, across + 1)), lines)

    def place(across_wall: Array, level: Array) -> Array:
        low, high = np.interp(level, height, inner), np.interp(level, height, outer)
        return np.asarray(0.5 * (low + high) + 0.5 * (high - low) * across_wall)

    mesh = MeshQuad(np.vstack([place(*flat.p), flat.p[1]]), flat.t)
    band = np.searchsorted(joints, flat.p[1][flat.t].mean(axis=0))
    E, nu, free = (np.asarray(v, dtype=float)[band, None] for v in (young, poisson, free_strain))
    mu, lam = E / (2.0 * (1.0 + nu)), E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))
    pressure = (2.0 * (mu + lam) if plane_strain else 2.0 * mu + 3.0 * lam) * free

    def strain(u, x):  # type: ignore[no-untyped-def]
        g = grad(u)
        return g[0, 0], g[1, 1], (0.0 * x if plane_strain else u[0] / x), g[0, 1] + g[1, 0]

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        a, b = strain(u, w.x[0]), strain(v, w.x[0])
        volume = lam * (a[0] + a[1] + a[2]) * (b[0] + b[1] + b[2])
        shape = mu * (2.0 * (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) + a[3] * b[3])
        return (volume + shape) * (1.0 if plane_strain else w.x[0])

    @LinearForm
    def load(v, w):  # type: ignore[no-untyped-def]
        b = strain(v, w.x[0])
        return pressure * (b[0] + b[1] + b[2]) * (1.0 if plane_strain else w.x[0])

    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element, intorder=5)
    held = basis.nodal_dofs[1, [0]]
    if plane_strain:
        held = np.append(held, basis.nodal_dofs[0, np.isclose(flat.p[0], 0.0)])
    moved = solve(*condense(asm(stiffness, basis), asm(load, basis), D=held))

    gauss = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
    corner = np.array(np.meshgrid(gauss, gauss)).reshape(2, 4)
    read = Basis(mesh, element, quadrature=(corner, np.ones(4)))
    field = read.interpolate(moved)
    across_wall, level = flat.mapping().F(corner)
    u, g = np.asarray(field), np.asarray(grad(field))
    hoop = 0.0 * level if plane_strain else u[0] / place(across_wall, level)
    common = lam * (g[0, 0] + g[1, 1] + hoop) - pressure
    stress = np.stack(
        [
            common + 2.0 * mu * g[0, 0],
            common + 2.0 * mu * g[1, 1],
            common + 2.0 * mu * hoop,
            mu * (g[0, 1] + g[1, 0]),
        ],
        axis=-1,
    )
    if plane_strain:  # free strain in the plane only: the ring feels nu times the stress in it
        stress[..., 2] = nu * (stress[..., 0] + stress[..., 1])
    rows = 2 * (len(lines) - 1)
    order = np.lexsort([across_wall.ravel(), np.round(level.ravel() / wall, 9)])
    grid = stress.reshape(-1, 4)[order].reshape(rows, 2 * across, 4)
    position = across_wall.ravel()[order].reshape(rows, -1)[0]
    level = level.ravel()[order].reshape(rows, -1)[:, 0]
    return Solid(
        level,
        np.concatenate([[-1.0], position, [1.0]]),
        np.interp(level, height, inner),
        np.interp(level, height, outer),
        _to_faces(grid, position),
    )


def _face(radius: Array, height: Array, offset: float) -> Array:
    """Radius, at each `height`, of the surface at `offset` along the outward normal. [m]"""
    lean = np.arctan(np.gradient(radius, height, edge_order=2))
    r, z = radius + offset * np.cos(lean), height - offset * np.sin(lean)
    far = 4.0 * abs(offset) * np.array([-1.0, 1.0])  # the face goes on straight past the ends
    before, after = (
        r[[0, -1]] + far * np.sin(lean[[0, -1]]),
        z[[0, -1]] + far * np.cos(lean[[0, -1]]),
    )
    r = np.concatenate([before[:1], r, before[1:]])
    z = np.concatenate([after[:1], z, after[1:]])
    return np.asarray(np.interp(height, z, r))


def _to_faces(grid: Array, position: Array) -> Array:
    """The grid with a column at each face, by the parabola through the three nearest points."""
    columns = [grid]
    for face, near in ((-1.0, slice(0, 3)), (1.0, slice(-3, None))):
        x = position[near]
        weights = [np.prod([(face - b) / (a - b) for b in x if b != a]) for a in x]
        columns.append(np.einsum("p,rpc->rc", np.array(weights), grid[:, near])[:, None])
    return np.concatenate([columns[1], columns[0], columns[2]], axis=1)
