"""A vessel as a shell of revolution made of bands: operators of its shape, and its equilibrium.

Strain at a point ζ outside the mid-surface, for membrane strain e, curvature change χ and shear
angle γ of the section there:

    meridional   e_s + ζ χ_s / (1 + ζ/R_s) + γ′ w(ζ)        hoop   e_θ + ζ χ_θ / (1 + ζ/R_θ)

with R the radii of curvature. The wall thickens as it stretches, which is why the membrane part
has no such divisor: a vessel that only swells stays free of stress. Volume does count
(1 + ζ/R_s)(1 + ζ/R_θ). Shear is spread as the parabola 5/4 (1 − 4 ζ²/h²); the section warps by the
cubic that goes with it, less its share of straight line, w = 5/4 ζ (1/5 − 4 ζ²/(3 h²)), as in the
higher-order theory of M. Levinson (J. Sound Vib. 74, 1981, 81; from memory). Warping adds to the
stress at the faces; as it carries neither force nor moment it is left out of the equilibrium.

The wall is a shear-deformable (Reissner–Mindlin) shell: normals to the mid-surface stay straight
and free to turn. Unknowns at each node are the radial and axial displacement of the mid-surface
and the rotation. Elements are quadratic and read at two stations each (uniform reduced
integration: no shear or membrane locking; E. Hinton and D. R. J. Owen, Finite Element Software
for Plates and Shells, 1984, from memory). At each station Gauss–Lobatto points through the wall,
faces included, carry the inelastic strain.

The strain through the wall is written out in `shell_geometry`.

A horizontal joint in a wall that leans by φ cuts the wall at a slant. The band that wants to be
longer along the wall reaches further on one face, so the rotation jumps by tanφ times the jump of
meridional strain, lower less upper. The jump is imposed on the rotation of the upper element;
without it a wall leaning 14° is 6 to 9 % off in bending, with it 2 %.

Where it is true: thin walls (radius over wall of 5 or more), strains between bands that differ by
a few percent at most, and not within about one wall of a step (see `joint`) or a sharp corner.
Against axisymmetric solids the bending peak is within 1 % at radius over wall of 20, 2.5 % at 10
and 4 % at 5; hoop stress is taken even over the wall where a solid has ±(h/2r)/(1−ν) of it between
the faces. Strains are taken on the shape given. The shelf carries what lies on it but neither
pushes nor holds a base that lifts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from cofire.errors import InputError
from cofire.mechanics.law import WALL_WITH_SHEAR, StressState, prepare, respond
from cofire.mechanics.properties import NO_YIELD, Fade, Levels, PointProperties, of_points
from cofire.numerics import lobatto
from cofire.units import GRAVITY

if TYPE_CHECKING:
    from cofire.mechanics.meridian import Meridian
    from cofire.numerics import Array


# ----------------------------------------------------------------------------------------------
# What shape and mesh alone say of a vessel's wall: how unknowns strain it, where its points lie

_GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3.0)
STATION_SHAPE = np.stack(
    [0.5 * _GAUSS * (_GAUSS - 1.0), 1.0 - _GAUSS**2, 0.5 * _GAUSS * (_GAUSS + 1.0)], axis=1
)
"""Shares of the three nodes of an element at its two stations. [-]"""

_STATION_SLOPE = np.stack([_GAUSS - 0.5, -2.0 * _GAUSS, _GAUSS + 0.5], axis=1)

TO_END = np.array([1.0 + np.sqrt(3.0), 1.0 - np.sqrt(3.0)]) / 2.0
"""Weights of the two stations of an element, the nearer first, for a value at its end. [-]"""

LOW, HIGH = np.tril_indices(9)
"""Rows and columns of the lower triangle of an element's stiffness. [-]"""

RESULTANT_STRESS = np.array([0, 1, 0, 1, 2])
"""Stress component behind each section force: membrane and moment (s, θ each), shear. [-]"""


@dataclass(frozen=True)
class Jump:
    """Rotation jumps at slanting joints, J of them over the whole batch.

    Attributes
    ----------
    vessel, upper
        Vessel and the element above each joint, shape (J,). [-]
    rank
        Place among the joints of its vessel, shape (J,). [-]
    from_below, from_above
        Jump for the unknowns of the elements below and above, shape (J, 9). [1/m], [-]
    """

    vessel: NDArray[np.intp]
    upper: NDArray[np.intp]
    rank: NDArray[np.intp]
    from_below: Array
    from_above: Array

    def repeated(self, count: int) -> Jump:
        """The jumps of one vessel for several alike.

        Parameters
        ----------
        count
            Number of vessels. [-]
        """
        joints = self.vessel.size
        return Jump(
            vessel=np.repeat(np.arange(count), joints),
            upper=np.tile(self.upper, count),
            rank=np.tile(self.rank, count),
            from_below=np.tile(self.from_below, (count, 1)),
            from_above=np.tile(self.from_above, (count, 1)),
        )


@dataclass(frozen=True)
class Geometry:
    """Operators of B meshes with E elements, 2E stations and P points through the wall.

    Attributes
    ----------
    operator
        For the nine unknowns of an element: membrane strain (s, θ), curvature change (s, θ), shear
        and its gradient at both stations, shape (B, E, 12, 9).
    transposed
        The same without the shear gradient, transposed, shape (B, E, 9, 10).
    factor
        Strain of a point for each of these six, shape (6, B, P, 2E).
    share
        Work of stress at a point on each of the first five, shape (5, B, P, 2E). [m³]
    component, moment
        Which tangent component, with what weight, makes each of the 15 section stiffnesses.
    stiffness_map
        From these at both stations to the lower triangle of the stiffness, (B, E, 30, 45).
    offset
        Of the points from the mid-surface, outside positive, shape (B, P, 2E). [m]
    weight
        Volume that each point stands for, shape (B, P, 2E). [m³]
    radius, height, slope, wall, arc_length
        Of the stations, shape (B, 2E); slope from the vertical, outward leaning positive. [rad]
    through, through_weight
        Place of the points through the wall, -1 to 1, and weights that sum to one, shape (P,). [-]
    jump
        Rotation jumps.
    """

    operator: Array
    transposed: Array
    factor: Array
    share: Array
    component: NDArray[np.intp]
    moment: Array
    stiffness_map: Array
    offset: Array
    weight: Array
    radius: Array
    height: Array
    slope: Array
    wall: Array
    arc_length: Array
    through: Array
    through_weight: Array
    jump: Jump

    def repeated(self, count: int) -> Geometry:
        """The same for several vessels of one mesh, without a copy. [-]

        Parameters
        ----------
        count
            Number of vessels; this one has one. [-]
        """
        whole: dict[str, Any] = {"jump": self.jump.repeated(count)}
        for names, axis in ((_OF_VESSEL, 0), (("factor", "share", "moment"), 1)):
            for name in names:
                shape = list(getattr(self, name).shape)
                shape[axis] = count
                whole[name] = np.broadcast_to(getattr(self, name), shape)
        return replace(self, **whole)


_OF_VESSEL = (
    "operator", "transposed", "stiffness_map", "offset", "weight", "radius", "height", "slope",
    "wall", "arc_length",
)  # fmt: skip
"""Fields of `Geometry` whose first axis is the vessel."""


def shell_geometry(meridians: tuple[Meridian, ...], points: int) -> Geometry:
    """Operators of a batch of meshes.

    Parameters
    ----------
    meridians
        All of one number of elements.
    points
        Through the wall. [-]
    """
    nodes = meridians[0].nodes
    r, z, h = (
        np.stack([getattr(m, name)[nodes] for m in meridians])
        for name in ("radius", "height", "wall")
    )
    vessels, elements = r.shape[:2]
    radius, wall = r @ STATION_SHAPE.T, h @ STATION_SHAPE.T
    slope_r, slope_z = r @ _STATION_SLOPE.T, z @ _STATION_SLOPE.T
    length = np.hypot(slope_r, slope_z)
    sine, cosine = slope_r / length, slope_z / length
    bend_r, bend_z = (v[..., [0]] - 2.0 * v[..., [1]] + v[..., [2]] for v in (r, z))
    curvature = (bend_z * sine - bend_r * cosine) / length**2

    shape = np.broadcast_to(STATION_SHAPE, (vessels, elements, 2, 3))
    slope = _STATION_SLOPE / length[..., None]
    operator = np.zeros((vessels, elements, 2, 6, 9))
    operator[..., 0, 0::3], operator[..., 0, 1::3] = (
        slope * sine[..., None],
        slope * cosine[..., None],
    )
    operator[..., 1, 0::3] = shape / radius[..., None]
    operator[..., 2, 2::3] = slope
    operator[..., 3, 2::3] = shape * (sine / radius)[..., None]
    operator[..., 4, 0::3], operator[..., 4, 1::3] = (
        slope * cosine[..., None],
        -slope * sine[..., None],
    )
    operator[..., 4, 2::3] = shape
    run = length.sum(axis=2, keepdims=True) / np.sqrt(3.0)
    operator[..., 5, :] = np.diff(operator[..., 4, :], axis=2) / run[..., None]

    def of_station(value: Array) -> Array:
        return np.asarray(value.reshape(vessels, 1, 2 * elements))

    through, through_weight = lobatto(points)
    x = through.reshape(1, points, 1)
    offset = 0.5 * x * of_station(wall)
    along = 1.0 + offset * of_station(curvature)
    around = 1.0 + offset * of_station(cosine / radius)
    weight = 2.0 * np.pi * of_station(radius * length * wall)
    weight = weight * through_weight.reshape(1, points, 1) * along * around
    bend = offset / along
    parabola = np.broadcast_to(1.25 * (1.0 - x * x), offset.shape)
    warp = _without_line(1.25 * offset * (0.2 - x * x / 3.0), bend, weight)
    one = np.ones_like(offset)
    factor = np.stack([one, one, bend, offset / around, parabola, warp])
    first, second = np.triu_indices(5)
    twice = operator[..., first, :, None] * operator[..., second, None, :]
    twice = twice + twice.swapaxes(-1, -2) * (first != second)[:, None, None]
    share = factor[:5] * weight
    arc = np.stack([m.arc_length[nodes] for m in meridians]) @ STATION_SHAPE.T
    flat = operator.reshape(vessels, elements, 12, 9)
    statical = operator[..., :5, :].reshape(vessels, elements, 10, 9)
    return Geometry(
        operator=flat,
        transposed=np.ascontiguousarray(statical.transpose(0, 1, 3, 2)),
        factor=factor,
        share=share,
        component=3 * RESULTANT_STRESS[first] + RESULTANT_STRESS[second],
        moment=factor[first] * share[second],
        stiffness_map=twice[..., LOW, HIGH].reshape(vessels, elements, 30, 45),
        offset=offset,
        weight=weight,
        radius=radius.reshape(vessels, -1),
        height=(z @ STATION_SHAPE.T).reshape(vessels, -1),
        slope=np.arctan2(sine, cosine).reshape(vessels, -1),
        wall=wall.reshape(vessels, -1),
        arc_length=arc.reshape(vessels, -1),
        through=through,
        through_weight=through_weight,
        jump=_jumps(meridians, flat),
    )


def _without_line(shape: Array, line: Array, weight: Array) -> Array:
    """A shape through the wall, less the straight line that has its force and moment."""
    force, moment = (np.sum(shape * v * weight, axis=1, keepdims=True) for v in (1.0, line))
    a, b, c = (np.sum(v * weight, axis=1, keepdims=True) for v in (1.0, line, line * line))
    determinant = a * c - b * b
    level, tilt = (c * force - b * moment) / determinant, (a * moment - b * force) / determinant
    return np.asarray(shape - level - tilt * line)


def _jumps(meridians: tuple[Meridian, ...], operator: Array) -> Jump:
    """Rotation jumps of all steps that lean, as operators on the elements next to them."""
    vessel: list[int] = []
    upper: list[int] = []
    rank: list[int] = []
    tangent: list[float] = []
    for number, m in enumerate(meridians):
        before = len(vessel)
        for node in m.step_node:
            dr = m.radius[node + 1] - m.radius[node - 1]
            dz = m.height[node + 1] - m.height[node - 1]
            if abs(dr) > 1e-6 * abs(dz):
                rank.append(len(vessel) - before)
                vessel.append(number)
                upper.append(node // 2)
                tangent.append(dr / dz)
    v, u = np.array(vessel, dtype=np.intp), np.array(upper, dtype=np.intp)
    t = np.array(tangent, dtype=np.float64)[:, None]
    rows = operator[:, :, [0, 6]]  # membrane strain along the meridian at both stations
    return Jump(
        vessel=v,
        upper=u,
        rank=np.array(rank, dtype=np.intp),
        from_below=t * (TO_END[::-1] @ rows[v, u - 1]),
        from_above=-t * (TO_END @ rows[v, u]),
    )


# ----------------------------------------------------------------------------------------------
# Stress of a vessel, a shell of revolution made of bands, through the whole firing

_COLUMN = np.array([max(i, 2) * (max(i, 2) + 1) // 2 + min(i, 2) for i in range(9)])
"""Column of the first rotation, in places of the lower triangle of a stiffness. [-]"""

_BAND = 8  # sub-diagonals of the stiffness matrix: three nodes of three unknowns


@dataclass(frozen=True)
class Shells:
    """B vessels of E elements each, P points through the wall: a structure for `march`.

    Attributes
    ----------
    meridians
        One a vessel, all of E elements.
    material
        Index of the material at each point, shape (B, P, 2E). [-]
    load
        Force on each node round the whole ring, radial, axial [N] and moment [N m],
        shape (B, 2E + 1, 3).
    held
        Unknowns that stay zero, shape (B, 2E + 1, 3).
    fade
        How the materials of one vessel follow one another where they fade.
    levels
        What `material` counts there: in and between the materials of the history.
    """

    meridians: tuple[Meridian, ...]
    material: NDArray[np.intp]
    load: Array
    held: NDArray[np.bool_]
    fade: Fade | None = None
    levels: Levels | None = None

    @property
    def state(self) -> StressState:
        """Meridional, hoop and transverse shear stress."""
        return WALL_WITH_SHEAR

    @property
    def batch_axes(self) -> int:
        """Leading axes of the points that are candidates. [-]"""
        return 1

    @cached_property
    def geometry(self) -> Geometry:
        """Operators that follow from shape and mesh alone; of one mesh, if all have the same."""
        count, points = len(self.meridians), self.material.shape[1]
        if all(m is self.meridians[0] for m in self.meridians):
            return shell_geometry(self.meridians[:1], points).repeated(count)
        return shell_geometry(self.meridians, points)

    @cached_property
    def _freedom(self) -> NDArray[np.intp]:
        """Unknowns of each element within its vessel, shape (E, 9)."""
        return np.asarray(6 * np.arange(self.material.shape[2] // 2)[:, None] + np.arange(9))

    @cached_property
    def _rows(self) -> tuple[NDArray[np.intp], Array, Array]:
        """Place of each element entry in the band matrix, its weight, and the held diagonal."""
        vessels, nodes = self.held.shape[:2]
        offset = 3 * nodes * np.arange(vessels)[:, None, None]
        row, column = (self._freedom[:, side] + offset for side in (LOW, HIGH))
        free = ~self.held.ravel()
        weight = (free[row] & free[column]).astype(np.float64)
        place = (row - column) + column * (_BAND + 1)
        return place.ravel(), weight, self.held.ravel().astype(np.float64)

    @cached_property
    def _free(self) -> Array:
        """1 for each unknown that is not held, else 0, shape (B, 2E + 1, 3)."""
        return (~self.held).astype(np.float64)

    def split(self) -> Shells:
        """The same without load, each element cut in two."""
        vessels, _, stations = self.material.shape
        held = np.zeros((vessels, 2 * stations + 1, 3), dtype=bool)
        held[:, ::2] = self.held
        meridians = tuple(m.split() for m in self.meridians)
        material, levels = np.repeat(self.material, 2, axis=2), self.levels
        if self.fade is not None:
            levels, index = _faded(meridians[0], self.fade)
            material = np.broadcast_to(index, material.shape).copy()
        return Shells(meridians, material, np.zeros(held.shape), held, self.fade, levels)

    def start(self) -> Array:
        """Displacements [m] and rotations [-] before the firing, zero, shape (B, 2E + 1, 3)."""
        return np.zeros(self.held.shape)

    def element_unknowns(self, unknowns: Array) -> Array:
        """Unknowns of each element, jumps at slanting joints included, shape (B, E, 9, 1). [m]

        Parameters
        ----------
        unknowns
            Displacements [m] and rotations [-], shape (B, 2E + 1, 3).
        """
        own = unknowns.reshape(len(unknowns), -1)[:, self._freedom]
        jump = self.geometry.jump
        if jump.vessel.size:
            below = own[jump.vessel, jump.upper - 1]
            above = own[jump.vessel, jump.upper]
            turn = np.einsum("jk,jk->j", jump.from_below, below)
            turn += np.einsum("jk,jk->j", jump.from_above, above)
            own[jump.vessel, jump.upper, 2] += turn
        return own[..., None]

    def strains(self, unknowns: Array) -> Array:
        """Strain at the points, meridional, hoop, shear, shape (3, B, P, 2E). [-]

        Parameters
        ----------
        unknowns
            Displacements [m] and rotations [-], shape (B, 2E + 1, 3).
        """
        g = self.geometry
        section = g.operator @ self.element_unknowns(unknowns)
        parts = section.reshape(len(unknowns), -1, 6).transpose(2, 0, 1)[:, :, None, :]
        out = np.empty((3, *self.material.shape))
        np.multiply(g.factor[0], parts[0], out=out[0])
        out[0] += g.factor[2] * parts[2]
        out[0] += g.factor[5] * parts[5]
        np.multiply(g.factor[1], parts[1], out=out[1])
        out[1] += g.factor[3] * parts[3]
        np.multiply(g.factor[4], parts[4], out=out[2])
        return out

    def forces(self, stress: Array) -> Array:
        """Force of the stresses on the unknowns of each element, shape (B, E, 9). [N], [N m]

        Parameters
        ----------
        stress
            At the points, shape (3, B, P, 2E). [Pa]
        """
        g = self.geometry
        section = np.add.reduce(stress[RESULTANT_STRESS] * g.share, axis=2)
        columns = section.transpose(1, 2, 0).reshape(*g.transposed.shape[:2], 10, 1)
        return np.asarray(g.transposed @ columns)[..., 0]

    def unbalanced(self, stress: Array) -> Array:
        """Force on each unknown that the stress leaves unbalanced, zero where held. [N], [N m]

        Parameters
        ----------
        stress
            At the points, shape (3, B, P, 2E). [Pa]
        """
        force = self.load - self.gathered(self.forces(stress))
        force *= self._free
        return force

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of displacements and rotations.

        Not finite where the tangent is not positive definite; the march then shortens its step.

        Parameters
        ----------
        tangent
            At the points, shape (3, 3, B, P, 2E). [Pa]
        """
        g = self.geometry
        moments = np.add.reduce(
            tangent.reshape(9, *self.material.shape)[g.component] * g.moment, axis=2
        )
        vessels, elements = g.operator.shape[:2]
        columns = moments.transpose(1, 2, 0).reshape(vessels, elements, -1)
        if g.stiffness_map.strides[0] == 0:  # one mesh for all: one product an element
            stiffness = (columns.swapaxes(0, 1) @ g.stiffness_map[0]).swapaxes(0, 1)
        else:
            stiffness = (columns[:, :, None] @ g.stiffness_map)[:, :, 0]
        place, weight, fixed = self._rows
        band = np.bincount(place, (stiffness * weight).ravel(), (_BAND + 1) * fixed.size)
        band = band.reshape(fixed.size, _BAND + 1).T
        band[0] += fixed
        factor, failed = dpbtrf(band, lower=1, overwrite_ab=1)
        if failed:
            return lambda unbalanced: np.full(self.held.shape, np.nan)
        if not g.jump.vessel.size:
            return lambda unbalanced: self._solve(factor, unbalanced)
        jumping = self._with_jumps(factor, stiffness)
        return lambda unbalanced: jumping(self._solve(factor, unbalanced))

    def _with_jumps(self, factor: Array, stiffness: Array) -> Callable[[Array], Array]:
        """Function of a change without rotation jumps: the same with those it brings about.

        Every joint adds one column to the stiffness, so the changes per unit of each jump and one
        small matrix a vessel give the answer without iteration.
        """
        jump = self.geometry.jump
        vessels, size = len(self.held), self.held[0].size
        own, below, above = (
            jump.vessel[:, None],
            self._freedom[jump.upper - 1],
            self._freedom[jump.upper],
        )

        def turns(change: Array) -> Array:
            parts = ((jump.from_below, below), (jump.from_above, above))
            return np.asarray(
                sum(np.einsum("jk,jk...->j...", of, change[own, at]) for of, at in parts)
            )

        count = int(jump.rank.max()) + 1
        columns = np.zeros((vessels, size, count))
        columns[own, above, jump.rank[:, None]] = stiffness[jump.vessel, jump.upper][:, _COLUMN]
        columns[self.held.reshape(vessels, size)] = 0.0
        spread = dpbtrs(factor, columns.reshape(-1, count), lower=1)[0].reshape(columns.shape)
        matrix = np.tile(np.eye(count), (vessels, 1, 1))
        matrix[jump.vessel, jump.rank] += turns(spread)
        inverse = np.linalg.inv(matrix)

        def change(first: Array) -> Array:
            turn = np.zeros((vessels, count, 1))
            turn[jump.vessel, jump.rank, 0] = turns(first.reshape(vessels, size))
            return np.asarray(first - (spread @ (inverse @ turn)).reshape(first.shape))

        return change

    def gathered(self, element_forces: Array) -> Array:
        """Sum over elements, shape (B, 2E + 1, 3). [N], [N m]

        Parameters
        ----------
        element_forces
            Shape (B, E, 9). [N], [N m]
        """
        parts = element_forces.reshape(*element_forces.shape[:2], 3, 3)
        total = np.empty(self.held.shape)
        total[:, 1::2] = parts[:, :, 1]
        total[:, :-1:2] = parts[:, :, 0]
        total[:, -1] = 0.0
        total[:, 2::2] += parts[:, :, 2]
        return total

    def _solve(self, factor: Array, force: Array) -> Array:
        return np.asarray(dpbtrs(factor, force.ravel(), lower=1)[0]).reshape(self.held.shape)


def shells(
    meridians: Sequence[Meridian],
    material_of_band: Sequence[npt.ArrayLike],
    *,
    points: int = 5,
    weight_density: Sequence[npt.ArrayLike] | None = None,
    fade: Fade | None = None,
) -> Shells:
    """Vessels ready for `march`: free rim, free foot, standing on their lowest ring.

    Parameters
    ----------
    meridians
        One a vessel; all must have the same number of elements.
    material_of_band
        For each vessel, the index into the history of the material of each band. [-]
    points
        Through the wall, faces included, 3 to 9. [-]
    weight_density
        For each vessel, the bulk density of each band if it is to bear its own weight; parts
        that lie on the shelf are carried by it. [kg/m³]
    fade
        How the materials follow one another, of one vessel, where they do not change at the steps
        between bands.

    Raises
    ------
    InputError
        If the vessels do not fit each other or a band has no material.
    """
    counts = {m.elements for m in meridians}
    if len(counts) != 1:
        message = f"shells: vessels of one batch need one number of elements; got {sorted(counts)}"
        raise InputError(message)
    if not 3 <= points <= 9:
        message = f"shells: {points} points through the wall; allowed: 3 to 9"
        raise InputError(message)
    if len(material_of_band) != len(meridians):
        message = f"shells: materials for {len(material_of_band)} of {len(meridians)} vessels"
        raise InputError(message)
    of_element = np.stack(
        [
            _of_element(m, material, "material")
            for m, material in zip(meridians, material_of_band, strict=True)
        ]
    ).astype(np.intp)
    elements = of_element.shape[1]
    stations, levels = np.repeat(of_element, 2, axis=1), None
    if fade is not None:
        (mesh,) = meridians
        levels, index = _faded(mesh, fade)
        stations = index[None]
    held = np.zeros((len(meridians), 2 * elements + 1, 3), dtype=bool)
    for number, m in enumerate(meridians):
        held[number, m.support_node, 1] = True
        if m.on_axis:
            held[number, 0, [0, 2]] = True
    body = Shells(
        meridians=tuple(meridians),
        material=np.repeat(stations[:, None, :], points, axis=1),
        load=np.zeros(held.shape),
        held=held,
        fade=fade,
        levels=levels,
    )
    if weight_density is None:
        return body
    density = np.stack(
        [_of_element(m, d, "density") for m, d in zip(meridians, weight_density, strict=True)]
    )
    lying = np.stack([m.lying for m in meridians])
    pull = np.repeat(np.where(lying, 0.0, density), 2, axis=1) * GRAVITY
    station_weight = (pull * body.geometry.weight.sum(axis=1)).reshape(len(held), elements, 2)
    parts = np.zeros((len(held), elements, 9))
    parts[:, :, 1::3] = -station_weight @ STATION_SHAPE
    return replace(body, load=body.gathered(parts))


def elastic_properties(
    body: Shells, young_modulus: npt.ArrayLike, poisson_ratio: npt.ArrayLike
) -> PointProperties:
    """Properties at the points of a body that neither flows nor yields, without free strain.

    Parameters
    ----------
    body
        The vessels.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    """
    young = of_points(np.asarray(young_modulus, dtype=float), body.levels)[body.material]
    idle = np.zeros(young.shape)
    return PointProperties(
        free_strain=idle,
        young_modulus=young,
        poisson_ratio=of_points(np.asarray(poisson_ratio, dtype=float), body.levels)[body.material],
        fluidity=idle,
        viscous_poisson_ratio=idle + 0.5,
        log_creep_rate=idle - 100.0,
        creep_exponent=idle + 1.0,
        yield_stress=idle + NO_YIELD,
    )


def elastic_response(
    body: Shells,
    young_modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    free_strain: Array,
) -> tuple[Array, Array]:
    """Displacements and stress of vessels that stay elastic, for one state of free strain.

    Parameters
    ----------
    body
        The vessels.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    free_strain
        At the points, broadcast to shape (B, P, 2E). [-]

    Returns
    -------
    tuple
        Unknowns, shape (B, 2E + 1, 3) [m], and stress, shape (3, B, P, 2E) [Pa].
    """
    stage = prepare(elastic_properties(body, young_modulus, poisson_ratio), body.state, 0.0)
    free = body.state.free_direction.reshape(3, 1, 1, 1) * free_strain
    before = respond(stage, np.broadcast_to(-free, (3, *body.material.shape)).copy())
    unknowns = body.solver(before.tangent)(body.unbalanced(before.stress))
    return unknowns, respond(stage, body.strains(unknowns) - free).stress


def _faded(meridian: Meridian, fade: Fade) -> tuple[Levels, NDArray[np.intp]]:
    """What stands at the stations of a wall that fades: levels, and the index of each, (2E,)."""
    return fade.at((meridian.height[meridian.nodes] @ STATION_SHAPE.T).ravel())


def _of_element(meridian: Meridian, value: npt.ArrayLike, name: str) -> Array:
    """Values by band as values by element."""
    given = np.atleast_1d(np.asarray(value, dtype=float))
    bands = int(meridian.band.max()) + 1
    if given.shape != (bands,):
        message = f"shells: {given.size} values of {name}; the vessel has {bands} bands"
        raise InputError(message)
    return np.asarray(given[meridian.band])
