"""An axisymmetric elastic solid, solved with scikit-fem, that the shell is checked against.

The wall is cut into rows of quadrilaterals with horizontal edges, so that a horizontal joint is an
element edge whatever the slope of the wall. Displacements are biquadratic; stresses are read on
the two Gauss lines of each row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, LinearForm, MeshQuad, asm
from skfem import condense, solve
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
    displacement
        Radial and axial at the same points, shape (rows, points, 2). [m]
    """

    height: Array
    position: Array
    inner: Array
    outer: Array
    stress: Array
    displacement: Array

    def at(self, radius: Array, height: Array) -> Array:
        """Stress at any points, shape of `radius` and a last axis rr, zz, hoop, rz. [Pa]"""
        inner = np.interp(height, self.height, self.inner)
        outer = np.interp(height, self.height, self.outer)
        place = np.clip(2.0 * (radius - inner) / (outer - inner) - 1.0, -1.0, 1.0)
        look = RegularGridInterpolator((self.height, self.position), self.stress)
        level = np.clip(height, self.height[0], self.height[-1])
        return np.asarray(look(np.stack([level, place], axis=-1)))

    def section(self, radius: float, height: float, wall: float, slope: float) -> Array:
        """Membrane and bending of the section normal to the wall: meridional two, then hoop two.

        `slope` is the angle of the wall from the vertical, outward leaning positive. [rad]
        """
        points, weights = leggauss(8)
        normal = np.array([np.cos(slope), -np.sin(slope)])
        offset = 0.5 * wall * points
        stress = self.at(radius + normal[0] * offset, height + normal[1] * offset)
        along = meridional(stress, slope)
        hoop = stress[..., 2]
        return np.array(
            [
                0.5 * weights @ along,
                1.5 * (weights * points) @ along,
                0.5 * weights @ hoop,
                1.5 * (weights * points) @ hoop,
            ]
        )


def meridional(stress: Array, slope: float | Array) -> Array:
    """Stress along a wall leaning `slope` from the vertical, from rr, zz, hoop, rz. [Pa]"""
    s, c = np.sin(slope), np.cos(slope)
    return np.asarray(
        stress[..., 0] * s * s + stress[..., 1] * c * c + 2.0 * stress[..., 3] * s * c
    )


def graded_lines(breaks: Array, joints: Array, finest: float, coarsest: float) -> Array:
    """Positions from the first to the last of `breaks`, finest next to `joints`. [m]"""
    lines = [float(breaks[0])]
    for low, high in zip(breaks[:-1], breaks[1:], strict=True):
        fine = np.linspace(low, high, 4001)
        near = np.min(np.abs(fine[:, None] - joints), axis=1) if len(joints) else fine * 0 + high
        size = np.clip(finest + 0.25 * near, finest, coarsest)
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
    finest: float = 0.02,
    coarsest: float = 0.4,
    across: int = 10,
    plane_strain: bool = False,
) -> Solid:
    """Solve a wall with mid-surface (radius, height), cut horizontally at `joints`.

    Bands run from the foot up; `young`, `poisson` and `free_strain` have one value a band.
    Element heights `finest` and `coarsest` are in walls. With `plane_strain` the ring direction
    carries no strain and the radius counts as a Cartesian coordinate.
    """
    radius, height, joints = (np.asarray(v, dtype=float) for v in (radius, height, joints))
    along = np.gradient(radius, height)
    cosine = 1.0 / np.hypot(1.0, along)
    faces = []
    for side in (-0.5, 0.5):
        face_z = height - side * wall * cosine * along
        faces.append(np.interp(height, face_z, radius + side * wall * cosine))
        edge = (height < face_z[0]) | (height > face_z[-1])
        faces[-1][edge] = (radius + side * wall / cosine)[edge]
    lines = graded_lines(
        np.concatenate([height[:1], joints, height[-1:]]), joints, finest * wall, coarsest * wall
    )
    cross = np.sin(0.5 * np.pi * np.linspace(-1.0, 1.0, across + 1))
    flat = MeshQuad.init_tensor(cross, lines)
    x, z = flat.p
    inner, outer = np.interp(z, height, faces[0]), np.interp(z, height, faces[1])
    mesh = MeshQuad(np.vstack([0.5 * (inner + outer) + 0.5 * (outer - inner) * x, z]), flat.t)

    gauss, _ = leggauss(2)
    gauss = 0.5 * (gauss + 1.0)
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=5)
    middle = z[flat.t].mean(axis=0)
    band = np.searchsorted(joints, middle)
    E, nu = np.asarray(young)[band], np.asarray(poisson)[band]
    free = np.asarray(free_strain)[band]
    mu, lam = E / (2.0 * (1.0 + nu)), E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))

    def strain(u, w):  # type: ignore[no-untyped-def]
        g = grad(u)
        hoop = 0.0 * g[0, 0] if plane_strain else u[0] / w.x[0]
        return g[0, 0], g[1, 1], hoop, g[0, 1] + g[1, 0]

    weight = (lambda w: 1.0) if plane_strain else (lambda w: w.x[0])

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        m, el = mu[w.idx][:, None], lam[w.idx][:, None]
        a, b = strain(u, w), strain(v, w)
        trace = (a[0] + a[1] + a[2]) * (b[0] + b[1] + b[2])
        pairs = 2.0 * (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) + a[3] * b[3]
        return (el * trace + m * pairs) * weight(w)

    @LinearForm
    def load(v, w):  # type: ignore[no-untyped-def]
        b = strain(v, w)
        pressure = ((3.0 * lam + 2.0 * mu) * free)[w.idx][:, None]
        return pressure * (b[0] + b[1] + b[2]) * weight(w)

    number = np.arange(mesh.t.shape[1])
    K, f = asm(stiffness, basis, idx=number), asm(load, basis, idx=number)
    held = basis.nodal_dofs[1, [int(np.argmin(z))]]
    if plane_strain:
        lowest = np.flatnonzero(np.isclose(z, z.min()))
        held = np.concatenate(
            [basis.nodal_dofs[1, lowest[[0]]], basis.nodal_dofs[0, lowest[[0, -1]]][:1]]
        )
        middle_nodes = np.flatnonzero(np.isclose(x, 0.0))
        held = np.concatenate([held[:1], basis.nodal_dofs[0, middle_nodes]])
    solution = solve(*condense(K, f, D=held))
    return _sample(
        mesh, basis, solution, flat, gauss, (mu, lam, free), plane_strain, (height, faces)
    )


def _sample(mesh, basis, solution, flat, gauss, law, plane_strain, shape):  # type: ignore[no-untyped-def]
    mu, lam, free = law
    reference = np.array([[a, b] for b in gauss for a in (0.0, 0.5, 1.0)]).T
    # the vertex order of each cell tells which reference axis runs across the wall
    first = flat.p[:, flat.t[1, 0]] - flat.p[:, flat.t[0, 0]]
    if abs(first[0]) < abs(first[1]):
        reference = reference[::-1]
    quadrature = (reference, np.ones(reference.shape[1]))
    read = Basis(mesh, basis.elem, quadrature=quadrature)
    u = read.interpolate(solution)
    r, z = np.asarray(read.global_coordinates())
    g = np.asarray(grad(u))
    value = np.asarray(u)
    hoop = 0.0 * r if plane_strain else value[0] / r
    m, el, f = mu[:, None], lam[:, None], free[:, None]
    ring = 0.0 * f if plane_strain else f
    thermal = (3.0 * el + 2.0 * m) * f
    if plane_strain:
        ring = f
    trace = el * (g[0, 0] + g[1, 1] + hoop)
    stress = np.stack(
        [
            trace + 2.0 * m * g[0, 0] - thermal,
            trace + 2.0 * m * g[1, 1] - thermal,
            trace + 2.0 * m * hoop - thermal,
            m * (g[0, 1] + g[1, 0]),
        ],
        axis=-1,
    )
    height, faces = shape
    cross = flat.p[0][flat.t]
    left = np.round(np.interp(z, height, faces[0]), 15)
    right = np.round(np.interp(z, height, faces[1]), 15)
    place = 2.0 * (r - left) / (right - left) - 1.0
    del cross, ring
    order_z = np.round(z / np.ptp(z), 9)
    levels, row = np.unique(order_z, return_inverse=True)
    row = row.reshape(z.shape)
    rank = np.argsort(row.ravel() * 4.0 + place.ravel(), kind="stable")
    per_row = z.size // len(levels)
    sorted_place = place.ravel()[rank].reshape(len(levels), per_row)
    keep_stress = stress.reshape(-1, 4)[rank].reshape(len(levels), per_row, 4)
    keep_move = np.stack([value[0], value[1]], axis=-1).reshape(-1, 2)[rank]
    keep_move = keep_move.reshape(len(levels), per_row, 2)
    # element edges are met from both sides: take the mean
    inside = (per_row - 3) // 3 * 0 + 1
    del inside
    cells = per_row // 3
    points = 2 * cells + 1
    position = np.empty(points)
    out_stress = np.empty((len(levels), points, 4))
    out_move = np.empty((len(levels), points, 2))
    for k in range(points):
        cell, local = divmod(k, 2)
        columns = [3 * cell + local] if local or cell in (0, cells) else [3 * cell - 1, 3 * cell]
        if cell == cells:
            columns = [per_row - 1]
        position[k] = sorted_place[:, columns].mean()
        out_stress[:, k] = keep_stress[:, columns].mean(axis=1)
        out_move[:, k] = keep_move[:, columns].mean(axis=1)
    level_z = z.ravel()[rank].reshape(len(levels), per_row)[:, 0]
    return Solid(
        level_z,
        position,
        np.interp(level_z, height, faces[0]),
        np.interp(level_z, height, faces[1]),
        out_stress,
        out_move,
    )
