"""Cracks in an axisymmetric solid by scikit-fem, with split nodes, to check the library against.

A straight wall of two bands, meshed anew for each crack with its finest elements at the tip. The
mismatch loads the cracked wall itself (no superposition); faces may touch, not cross. The energy
freed is the fall of potential energy against the same mesh without the crack.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import NearestNDInterpolator
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import splu
from skfem import (
    Basis,
    BilinearForm,
    ElementHex2,
    ElementQuad2,
    ElementVector,
    LinearForm,
    MeshHex,
    MeshQuad,
    asm,
)
from skfem.helpers import grad

from cofire.physics.interface import dundurs

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Tube:
    """A wall of two bands: below and above the height 0. Free ends."""

    radius: float
    wall: float
    reach: float
    young: tuple[float, float]
    poisson: tuple[float, float]
    free_strain: tuple[float, float]


def lines(low: float, high: float, near: list[float], finest: list[float], most: float) -> Array:
    """Places from low to high through each of `near`, its own finest size there, growing away."""
    at, size = np.array(near), np.array(finest)
    stops = np.unique(np.concatenate([[low], at, [high]]))
    places = [stops[:1]]
    for a, b in pairwise(stops):
        fine = a + (b - a) * 0.5 * (1.0 - np.cos(np.pi * np.linspace(0.0, 1.0, 4001)))
        each = np.min(size + 0.35 * np.abs(fine[:, None] - at), axis=1)
        each = np.minimum(each, most)
        count = np.concatenate([[0.0], np.cumsum(2.0 * np.diff(fine) / (each[1:] + each[:-1]))])
        wanted = np.linspace(0.0, count[-1], max(int(np.ceil(count[-1])), 1) + 1)
        places.append(np.interp(wanted[1:], count, fine))
    return np.concatenate(places)


class Cracked:
    """The mesh with its plane split from one face to a depth."""

    def __init__(
        self, tube: Tube, plane: float, face: str, depth: float, *, shorter: bool = False
    ) -> None:
        # in walls, as scikit-fem's inverse mapping has a tolerance of absolute length
        h, self.unit = 1.0, tube.wall
        plane, depth = plane / self.unit, depth / self.unit
        tube = replace(tube, radius=tube.radius / self.unit, wall=1.0, reach=tube.reach / self.unit)
        mouth, tip = (-0.5 * h, -0.5 * h + depth) if face == "inner" else (0.5 * h, 0.5 * h - depth)
        ends = [-0.5 * h, 0.5 * h, tip]
        small = min(depth, h - depth)
        across = lines(-0.5 * h, 0.5 * h, ends, [depth / 12, h / 40, small / 40], 0.06 * h)
        if face == "outer":
            across = lines(-0.5 * h, 0.5 * h, ends, [h / 40, depth / 12, small / 40], 0.06 * h)
        decay = np.sqrt(tube.radius * h) / 1.3
        near, finest = [plane, 0.0], [small / 40, h / 60]
        if plane == 0.0:
            near, finest = near[:1], finest[:1]
        up = lines(-tube.reach, tube.reach, near, finest, max(0.3 * decay, 0.2 * h))
        whole = MeshQuad.init_tensor(tube.radius + across, up)
        points, cells = whole.p.copy(), whole.t.copy()
        self.tip = tube.radius + tip
        open_to = depth * (1.0 - 1e-9)
        if shorter:  # the tip one element nearer to the mouth
            away = np.sort(np.abs(across - mouth))
            open_to = away[away < open_to][-1] * (1.0 - 1e-9)
            self.tip = tube.radius + mouth + np.sign(tip - mouth) * open_to
        inside = np.abs(points[0] - tube.radius - mouth) < open_to
        split = np.flatnonzero(inside & (np.abs(points[1] - plane) < 1e-12))
        new = np.arange(points.shape[1])
        new[split] = points.shape[1] + np.arange(split.size)
        above = points[1][cells].mean(axis=0) > plane
        cells[:, above] = new[cells[:, above]]
        self.tube, self.plane, self.whole = tube, plane, whole
        self.mesh = MeshQuad(np.hstack([points, points[:, split]]), cells)
        self.face = face

    def energy(self) -> float:
        """Freed by the crack, per radian. [J]"""
        tied = _solve(self.tube, self.whole)[2]
        return float((tied - self.opened[2]) * self.unit**3)

    @cached_property
    def opened(self) -> tuple[Basis, Array, float]:
        """The cracked wall, lengths in walls."""
        return _solve(self.tube, self.mesh, self.plane)

    def phase(self, distance: float = 0.0) -> float:
        """Of shear to opening, by the faces at a distance behind the tip. [rad]

        Bodies of two stiffnesses: with the turn arctan(2 epsilon) of displacement against stress
        (Rice 1988, J. Appl. Mech. 55, 98, from memory), stated at that distance.
        """
        basis, moved, _ = self.opened
        x, y = basis.doflocs
        pairs = _pairs(basis, x, y, self.plane)
        behind = np.abs(x[pairs[:, 0]] - self.tip)
        near = pairs[np.argmin(np.abs(behind - distance / self.unit))]
        lower, upper = (_twin(basis, one) for one in near)
        slide, opening = moved[upper] - moved[lower], moved[near[1]] - moved[near[0]]
        sign = 1.0 if self.face == "inner" else -1.0
        epsilon = 0.0
        if self.plane == 0.0:
            (below, above), (nu_below, nu_above) = self.tube.young, self.tube.poisson
            _, beta = dundurs(above, nu_above, below, nu_below)
            epsilon = float(np.log((1.0 - beta) / (1.0 + beta)) / (2.0 * np.pi))
        turned = np.arctan2(sign * slide, max(opening, 0.0)) + np.arctan(2.0 * epsilon)
        return float(min(abs(turned), 0.5 * np.pi))

    def stress(self, across: Array) -> tuple[Array, Array]:
        """Normal and shear stress on the plane before the crack, at places from -1 to 1. [Pa]

        Mean of the elements below and above, at two points of each edge.
        """
        basis, moved, _ = _solve(self.tube, self.whole)
        gauss = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
        side = np.array([0.0, 1.0])
        corner = np.array(
            [(x, y) for y in side for x in gauss] + [(x, y) for x in side for y in gauss]
        )
        read = Basis(self.whole, basis.elem, quadrature=(corner.T, np.ones(8)))
        field = read.interpolate(moved)
        r, z = np.asarray(read.global_coordinates())
        upper = (self.whole.p[1][self.whole.t].mean(axis=0) > 0.0)[:, None]
        E, nu, free = (
            np.where(upper, pair[1], pair[0])
            for pair in (self.tube.young, self.tube.poisson, self.tube.free_strain)
        )
        lam, mu = E * nu / ((1 + nu) * (1 - 2 * nu)), E / (2 * (1 + nu))
        g, u = np.asarray(grad(field)), np.asarray(field)
        volume = g[0, 0] + g[1, 1] + u[0] / r
        normal = lam * volume + 2 * mu * g[1, 1] - (3 * lam + 2 * mu) * free
        shear = mu * (g[0, 1] + g[1, 0])
        on = np.abs(z - self.plane) < 1e-9
        order = np.argsort(r[on], kind="stable")
        place, *both = (v[on][order].reshape(-1, 2).mean(axis=1) for v in (r, normal, shear))
        place = 2.0 * (place - self.tube.radius) / self.tube.wall
        found = []
        for mean in both:
            inside = np.interp(across, place, mean)
            for beyond, near in (
                (across < place[0], slice(0, 3)),
                (across > place[-1], slice(-3, None)),
            ):
                line = np.polyfit(place[near], mean[near], 1)
                inside = np.where(beyond, np.polyval(line, across), inside)
            found.append(inside)
        return found[0], found[1]


def _twin(basis: Basis, axial: int) -> int:
    """The radial unknown of the node of an axial one."""
    for group in (basis.nodal_dofs, basis.facet_dofs):
        found = np.flatnonzero(group[1] == axial)
        if found.size:
            return int(group[0][found[0]])
    raise AssertionError


def release_rate(tube: Tube, plane: float, face: str, depth: float) -> float:
    """Energy per area at a depth, by two cracks an element apart on one mesh. [J/m2]"""
    one = Cracked(tube, plane, face, depth)
    other = Cracked(tube, plane, face, depth, shorter=True)
    ends = [c.tip for c in (one, other)]
    area = 0.5 * abs(ends[0] ** 2 - ends[1] ** 2)
    return float((other.opened[2] - one.opened[2]) / area * one.unit)


def _solve(tube: Tube, mesh: MeshQuad, plane: float | None = None) -> tuple[Basis, Array, float]:
    """Displacements and potential energy per radian; with a plane, its faces do not cross."""
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=5)
    band = (mesh.p[1][mesh.t].mean(axis=0) > 0.0).astype(int)
    E, nu, free = (
        np.array(pair)[band][:, None] for pair in (tube.young, tube.poisson, tube.free_strain)
    )
    mu, lam = E / (2.0 * (1.0 + nu)), E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))

    def strain(u, x):  # type: ignore[no-untyped-def]
        g = grad(u)
        return g[0, 0], g[1, 1], u[0] / x, g[0, 1] + g[1, 0]

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        a, b = strain(u, w.x[0]), strain(v, w.x[0])
        volume = lam * (a[0] + a[1] + a[2]) * (b[0] + b[1] + b[2])
        shape = mu * (2.0 * (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) + a[3] * b[3])
        return (volume + shape) * w.x[0]

    @LinearForm
    def load(v, w):  # type: ignore[no-untyped-def]
        b = strain(v, w.x[0])
        return (3.0 * lam + 2.0 * mu) * free * (b[0] + b[1] + b[2]) * w.x[0]

    K, f = csr_matrix(asm(stiffness, basis)), asm(load, basis)
    x, y = basis.doflocs
    foot = np.intersect1d(np.flatnonzero(np.isclose(y, y.min())), basis.nodal_dofs[1])
    keep = np.setdiff1d(np.arange(f.size), foot[:1])
    pairs = np.empty((0, 2), dtype=int)
    if plane is not None:
        pairs = _pairs(basis, x, y, plane)
    pressed = np.zeros(len(pairs), dtype=bool)
    spring = 1e5 * max(tube.young) * tube.radius
    moved = np.zeros(f.size)
    for _ in range(40):
        i, j = pairs[pressed].T if pressed.any() else (np.empty(0, int), np.empty(0, int))
        one = np.full(i.size, spring)
        rows, columns = np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i])
        extra = coo_matrix((np.concatenate([one, one, -one, -one]), (rows, columns)), K.shape)
        moved[keep] = _direct((K + extra.tocsr())[keep][:, keep], f[keep])
        gap = moved[pairs[:, 1]] - moved[pairs[:, 0]] if len(pairs) else np.empty(0)
        now = np.where(pressed, gap < 0.0, gap < -1e-6 * np.abs(gap).max(initial=1e-300))
        if np.array_equal(now, pressed):
            break
        pressed = now
    energy = 0.5 * moved @ (K @ moved) - f @ moved
    return basis, moved, float(energy)


def _pairs(basis: Basis, x: Array, y: Array, plane: float) -> NDArray[np.int_]:
    """Axial unknowns below and above the split, in pairs."""
    axial = np.zeros(x.size, dtype=bool)
    axial[np.concatenate([basis.nodal_dofs[1], basis.facet_dofs[1]])] = True
    on = np.flatnonzero(axial & (np.abs(y - plane) < 1e-12))
    on = on[np.argsort(x[on], kind="stable")]
    twin = np.flatnonzero(np.diff(x[on]) < 1e-12)
    first, second = on[twin], on[twin + 1]
    cells = basis.element_dofs
    height = basis.mesh.p[1][basis.mesh.t].mean(axis=0)
    above = np.zeros(x.size, dtype=bool)
    above[np.unique(cells[:, height > plane])] = True
    lower, upper = np.where(above[first], second, first), np.where(above[first], first, second)
    return np.stack([lower, upper], axis=1)


def hoop_field(tube: Tube, height: Array, across: Array) -> Array:
    """Stress in the ring direction above the joint before any crack, (heights, places). [Pa]"""
    h = tube.wall
    columns = lines(-0.5 * h, 0.5 * h, [-0.5 * h, 0.5 * h], [h / 60, h / 60], 0.1 * h)
    up = lines(-tube.reach, tube.reach, [0.0], [h / 100], 0.3 * np.sqrt(tube.radius * h))
    mesh = MeshQuad.init_tensor(tube.radius + columns, up)
    basis, moved, _ = _solve(tube, mesh)
    field = basis.interpolate(moved)
    r, z = np.asarray(basis.global_coordinates())
    g, u = np.asarray(grad(field)), np.asarray(field)
    E, nu, free = tube.young[1], tube.poisson[1], tube.free_strain[1]
    lam, mu = E * nu / ((1 + nu) * (1 - 2 * nu)), E / (2 * (1 + nu))
    volume = g[0, 0] + g[1, 1] + u[0] / r
    hoop = lam * volume + 2 * mu * u[0] / r - (3 * lam + 2 * mu) * free
    above = mesh.p[1][mesh.t].mean(axis=0) > 0.0
    place = np.stack([2.0 * (r[above].ravel() - tube.radius) / h, z[above].ravel() / h], axis=1)
    wanted = np.stack(np.meshgrid(across, height / h), axis=-1)
    return np.asarray(NearestNDInterpolator(place, hoop[above].ravel())(wanted))


def axial_energy(
    radius: float,
    wall: float,
    bands: list[tuple[float, float, float, float]],
    crack: tuple[float, float],
) -> tuple[float, Array, Array]:
    """Energy freed by a crack through the wall along the meridian, in three dimensions. [J]

    Bands (top, Young's modulus, Poisson's ratio, free strain) from the foot at 0 up; the crack runs
    from the first height, a joint or the rim, to the second. Half the ring, in its own coordinates.
    Also heights, and the mean hoop stress of the wall there before the crack. [m], [Pa]
    """
    top, length = bands[-1][0], abs(crack[1] - crack[0])
    stops = [crack[0], crack[1], *[b[0] for b in bands[:-1]]]
    small = [length / 10, length / 16, *[length / 8] * (len(bands) - 1)]
    decay = np.sqrt(radius * wall) / 1.3
    z = lines(0.0, top, stops, small, 0.6 * decay)
    around = lines(0.0, np.pi * radius, [0.0], [length / 16], 0.35 * radius) / radius
    through = radius + wall * np.array([-0.5, 0.5])
    mesh = MeshHex.init_tensor(through, around, z)
    basis = Basis(mesh, ElementVector(ElementHex2()), intorder=4)
    band = np.searchsorted([b[0] for b in bands[:-1]], mesh.p[2][mesh.t].mean(axis=0))
    E, nu, free = (np.array([b[k] for b in bands])[band][:, None] for k in (1, 2, 3))
    mu, lam = E / (2.0 * (1.0 + nu)), E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))

    def strain(u, r):  # type: ignore[no-untyped-def]
        g = grad(u)
        hoop = (u[0] + g[1, 1]) / r
        return (
            g[0, 0],
            hoop,
            g[2, 2],
            g[0, 1] / r + g[1, 0] - u[1] / r,
            g[1, 2] + g[2, 1] / r,
            (g[0, 2] + g[2, 0]),
        )

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        a, b = strain(u, w.x[0]), strain(v, w.x[0])
        volume = lam * (a[0] + a[1] + a[2]) * (b[0] + b[1] + b[2])
        shape = 2.0 * (a[0] * b[0] + a[1] * b[1] + a[2] * b[2])
        return (volume + mu * (shape + a[3] * b[3] + a[4] * b[4] + a[5] * b[5])) * w.x[0]

    @LinearForm
    def load(v, w):  # type: ignore[no-untyped-def]
        b = strain(v, w.x[0])
        return (3.0 * lam + 2.0 * mu) * free * (b[0] + b[1] + b[2]) * w.x[0]

    K, f = asm(stiffness, basis).tocsr(), asm(load, basis)
    x = basis.doflocs
    kind = np.empty(f.size, dtype=int)
    for k in range(3):
        for group in (basis.nodal_dofs, basis.edge_dofs, basis.facet_dofs, basis.interior_dofs):
            kind[group[k]] = k
    cut, far, foot = x[1] < 1e-12, x[1] > np.pi - 1e-9, x[2] < 1e-12
    held = (kind == 1) & (cut | far)
    for where in ((kind == 2) & foot & far, (kind == 0) & foot & far, (kind == 2) & foot & cut):
        held[np.flatnonzero(where)[0]] = True
    middle, half = 0.5 * (crack[0] + crack[1]), 0.5 * length
    # the mouth parts too, the tip does not
    along = np.abs(x[2] - middle) < half * (1.0 + 1e-9)
    along &= np.abs(x[2] - crack[1]) > 1e-9 * length
    energies = []
    for fixed in (held, held & ~((kind == 1) & cut & along)):
        keep = np.flatnonzero(~fixed)
        moved = np.zeros(f.size)
        moved[keep] = _direct(K[keep][:, keep], f[keep])
        energies.append(0.5 * moved @ (K @ moved) - f @ moved)
        if fixed is held:
            field = basis.interpolate(moved)
            place = np.asarray(basis.global_coordinates())
            e = strain(field, place[0])
            hoop = lam * (e[0] + e[1] + e[2]) + 2.0 * mu * e[1] - (3.0 * lam + 2.0 * mu) * free
            near = mesh.p[1][mesh.t].mean(axis=0) < around[1]
            level, index = np.unique(np.round(place[2][near], 12), return_inverse=True)
            share = basis.dx[near].ravel()
            index = index.ravel()
            mean = np.bincount(index, hoop[near].ravel() * share) / np.bincount(index, share)
    return 2.0 * (energies[0] - energies[1]), level, mean


def _direct(K: csr_matrix, f: Array) -> Array:
    """Solution of a symmetric positive system."""
    factor = splu(
        K.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return np.asarray(factor.solve(f))
