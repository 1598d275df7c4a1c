"""Stress of a vessel, a shell of revolution made of bands, through the whole firing.

The wall is a shear-deformable (Reissner–Mindlin) shell: normals to the mid-surface stay straight
and free to turn. Unknowns at each node are the radial and axial displacement of the mid-surface
and the rotation. Elements are quadratic and read at two stations each (uniform reduced
integration: no shear or membrane locking; E. Hinton and D. R. J. Owen, Finite Element Software
for Plates and Shells, 1984, from memory). At each station Gauss–Lobatto points through the wall,
faces included, carry the inelastic strain.

Rings curve in: a point at ζ outside the mid-surface lies on a ring longer by 1 + ζ cosφ / r, and
both strain and volume count it. Transverse shear is spread as a parabola over the wall.

A horizontal joint in a wall that leans by φ cuts the wall at a slant. The band that wants to be
longer along the wall reaches further on one face, so the rotation jumps by tanφ times the jump of
meridional strain. The jump is imposed on the rotation of the upper element.

Where it is true: thin walls (radius over wall of 5 or more), strains between bands that differ by
a few percent at most, and not within about one wall of a step (see `joint`) or a sharp corner.
Strains are taken on the shape given; a vessel that shrinks by a sixth is better given as fired.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from cofire.errors import InputError
from cofire.structures.constitutive import WALL_WITH_SHEAR, StressState, prepare, respond
from cofire.structures.point_properties import NO_YIELD, PointProperties

if TYPE_CHECKING:
    from cofire.physics.history import Array
    from cofire.structures.meridian import Meridian

GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s²]"""

_GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3.0)
_STATION_SHAPE = np.stack(
    [0.5 * _GAUSS * (_GAUSS - 1.0), 1.0 - _GAUSS**2, 0.5 * _GAUSS * (_GAUSS + 1.0)], axis=1
)
_STATION_SLOPE = np.stack([_GAUSS - 0.5, -2.0 * _GAUSS, _GAUSS + 0.5], axis=1)
TO_END = np.array([1.0 + np.sqrt(3.0), 1.0 - np.sqrt(3.0)]) / 2.0
"""Weights of the two stations of an element, the nearer first, for a value at its end. [-]"""

_LOW, _HIGH = np.tril_indices(9)
_COLUMN = np.array([max(i, 2) * (max(i, 2) + 1) // 2 + min(i, 2) for i in range(9)])
"""Place among the entries of the lower triangle of the column of the first rotation."""
_MOST_TURNS = 30
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
    """

    meridians: tuple[Meridian, ...]
    material: NDArray[np.intp]
    load: Array
    held: NDArray[np.bool_]

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
        """Operators that follow from shape and mesh alone."""
        return _geometry(self.meridians, self.material.shape[1])

    @cached_property
    def _rows(self) -> tuple[NDArray[np.intp], Array, Array]:
        """Place of each element entry in the band matrix, its weight, and the held diagonal."""
        vessels, nodes = self.held.shape[:2]
        freedom = _freedoms((nodes - 1) // 2)
        offset = 3 * nodes * np.arange(vessels)[:, None, None]
        row, column = freedom[:, _LOW] + offset, freedom[:, _HIGH] + offset
        free = ~self.held.ravel()
        weight = (free[row] & free[column]).astype(np.float64)
        place = (row - column) + column * (_BAND + 1)
        return place.ravel(), weight, self.held.ravel().astype(np.float64)

    def start(self) -> Array:
        """Displacements [m] and rotations [-] before the firing, zero, shape (B, 2E + 1, 3)."""
        return np.zeros(self.held.shape)

    @cached_property
    def _freedom(self) -> NDArray[np.intp]:
        return _freedoms(self.material.shape[2] // 2)

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
        section = np.add.reduce(stress[[0, 1, 0, 1, 2, 0]] * g.share, axis=2)
        columns = section.transpose(1, 2, 0).reshape(*g.operator.shape[:3], 1)
        return np.asarray(g.transposed @ columns)[..., 0]

    def corrections(self, stress: Array, tangent: Array) -> Array:
        """Change of displacements and rotations that restores equilibrium.

        Not finite where the tangent is not positive definite; the march then shortens its step.

        Parameters
        ----------
        stress, tangent
            At the points, shapes (3, B, P, 2E) and (3, 3, B, P, 2E). [Pa]
        """
        g = self.geometry
        moments = np.add.reduce(tangent.reshape(9, *stress.shape[1:])[g.component] * g.moment, 2)
        vessels, elements = g.operator.shape[:2]
        columns = moments.transpose(1, 2, 0).reshape(vessels, elements, 1, -1)
        stiffness = (columns @ g.stiffness_map)[:, :, 0]
        place, weight, fixed = self._rows
        band = np.bincount(place, (stiffness * weight).ravel(), (_BAND + 1) * fixed.size)
        band = band.reshape(fixed.size, _BAND + 1).T
        band[0] += fixed
        factor, failed = dpbtrf(band, lower=1, overwrite_ab=1)
        if failed:
            return np.full(self.held.shape, np.nan)
        change = self._solve(factor, self.load - self.gathered(self.forces(stress)))
        return self._turned(factor, change, stiffness) if g.jump.vessel.size else change

    def _turned(self, factor: Array, first: Array, stiffness: Array) -> Array:
        """The change with the rotation jumps it brings about, by iteration."""
        jump = self.geometry.jump
        column = stiffness[jump.vessel, jump.upper][:, _COLUMN]
        change = first
        for _ in range(_MOST_TURNS):
            turn = self.element_unknowns(change)[jump.vessel, jump.upper, 2]
            turn = turn - change[jump.vessel, 2 * jump.upper, 2][:, None]
            forces = np.zeros((*stiffness.shape[:2], 9))
            forces[jump.vessel, jump.upper] = column * turn
            new = first - self._solve(factor, self.gathered(forces))
            moved = float(np.abs(new - change).max())
            change = new
            if moved <= 1e-9 * float(np.abs(new).max()):
                return change
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
        right = np.where(self.held, 0.0, force).ravel()
        return np.asarray(dpbtrs(factor, right, lower=1)[0]).reshape(self.held.shape)


@dataclass(frozen=True)
class Jump:
    """Rotation jumps at slanting joints, J of them over the whole batch.

    Attributes
    ----------
    vessel, upper
        Vessel and the element above each joint, shape (J,). [-]
    from_below, from_above
        Jump for the unknowns of the elements below and above, shape (J, 9). [1/m], [-]
    """

    vessel: NDArray[np.intp]
    upper: NDArray[np.intp]
    from_below: Array
    from_above: Array


@dataclass(frozen=True)
class Geometry:
    """Operators of B meshes with E elements, 2E stations and P points through the wall.

    Attributes
    ----------
    operator, transposed
        Membrane strain, curvature (meridional and hoop of each, in that order: s, θ, s, θ) and
        shear of the two stations for the nine unknowns of an element, (B, E, 10, 9) and its
        transpose, contiguous.
    factor
        Strain of a point for each of these five, shape (5, B, P, 2E).
    share
        Work of stress at a point on each of these five, shape (5, B, P, 2E). [m³]
    component, moment
        Which tangent component, with what weight, makes each of the 21 section stiffnesses.
    stiffness_map
        From these at both stations to the lower triangle of the stiffness, (B, E, 42, 45).
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


def shells(
    meridians: Sequence[Meridian],
    material_of_band: Sequence[npt.ArrayLike],
    *,
    points: int = 5,
    weight_density: Sequence[npt.ArrayLike] | None = None,
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
    stations = np.repeat(of_element, 2, axis=1)
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
    parts[:, :, 1::3] = -station_weight @ _STATION_SHAPE
    return Shells(body.meridians, body.material, body.gathered(parts), held)


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
    young = np.asarray(young_modulus, dtype=float)[body.material]
    idle = np.zeros(young.shape)
    return PointProperties(
        free_strain=idle,
        young_modulus=young,
        poisson_ratio=np.asarray(poisson_ratio, dtype=float)[body.material],
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
    unknowns = body.corrections(before.stress, before.tangent)
    return unknowns, respond(stage, body.strains(unknowns) - free).stress


def _of_element(meridian: Meridian, value: npt.ArrayLike, name: str) -> Array:
    """Values by band as values by element."""
    given = np.atleast_1d(np.asarray(value, dtype=float))
    bands = int(meridian.band.max()) + 1
    if given.shape != (bands,):
        message = f"shells: {given.size} values of {name}; the vessel has {bands} bands"
        raise InputError(message)
    return np.asarray(given[meridian.band])


def _freedoms(elements: int) -> NDArray[np.intp]:
    """Unknowns of each element within its vessel, shape (E, 9)."""
    return np.asarray(6 * np.arange(elements)[:, None] + np.arange(9))


def lobatto(points: int) -> tuple[Array, Array]:
    """Gauss–Lobatto places on -1 to 1, faces included, and weights that sum to one. [-]

    Parameters
    ----------
    points
        Two or more. [-]
    """
    legendre = np.polynomial.legendre.Legendre.basis(points - 1)
    inner = np.sort(np.real(legendre.deriv().roots()))
    place = np.concatenate([[-1.0], 0.5 * (inner - inner[::-1]), [1.0]])
    weight = 1.0 / (points * (points - 1) * legendre(place) ** 2)
    return place, weight


def _geometry(meridians: tuple[Meridian, ...], points: int) -> Geometry:
    """Operators of a batch of meshes."""
    nodes = meridians[0].nodes
    r, z, h = (
        np.stack([getattr(m, name)[nodes] for m in meridians])
        for name in ("radius", "height", "wall")
    )
    vessels, elements = r.shape[:2]
    radius, wall = r @ _STATION_SHAPE.T, h @ _STATION_SHAPE.T
    slope_r, slope_z = r @ _STATION_SLOPE.T, z @ _STATION_SLOPE.T
    length = np.hypot(slope_r, slope_z)
    sine, cosine = slope_r / length, slope_z / length
    bend_r, bend_z = (v[..., [0]] - 2.0 * v[..., [1]] + v[..., [2]] for v in (r, z))
    curvature = (bend_z * sine - bend_r * cosine) / length**2

    shape = np.broadcast_to(_STATION_SHAPE, (vessels, elements, 2, 3))
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
    run = 2.0 / np.sqrt(3.0) * 0.5 * length.sum(axis=2)
    operator[..., 5, :] = ((operator[:, :, 1, 4] - operator[:, :, 0, 4]) / run[..., None])[
        :, :, None
    ]
    flat = operator.reshape(vessels, elements, 12, 9)

    def of_station(value: Array) -> Array:
        return np.asarray(value.reshape(vessels, 1, 2 * elements))

    through, through_weight = lobatto(points)
    x = through.reshape(1, points, 1)
    offset = 0.5 * x * of_station(wall)
    along = 1.0 + offset * of_station(curvature)
    around = 1.0 + offset * of_station(cosine / radius)
    parabola = 1.25 * (1.0 - x * x) + 0.0 * offset
    one = np.ones_like(offset)
    warp = 1.25 * offset * (0.2 - x * x / 3.0)
    factor = np.stack([one, one, offset / along, offset / around, parabola, warp / along])
    weight = 2.0 * np.pi * of_station(radius * length * wall)
    weight = weight * through_weight.reshape(1, points, 1) * along * around
    part = np.array([0, 1, 0, 1, 2, 0])
    first, second = np.triu_indices(6)
    twice = operator[..., first, :, None] * operator[..., second, None, :]
    twice = twice + twice.swapaxes(-1, -2) * (first != second)[:, None, None]
    stiffness_map = twice[..., _LOW, _HIGH].reshape(vessels, elements, 42, 45)
    arc = np.stack([m.arc_length[nodes] for m in meridians]) @ _STATION_SHAPE.T
    return Geometry(
        operator=flat,
        transposed=np.ascontiguousarray(flat.transpose(0, 1, 3, 2)),
        factor=factor,
        share=factor * weight,
        component=3 * part[first] + part[second],
        moment=factor[first] * factor[second] * weight,
        stiffness_map=stiffness_map,
        offset=offset,
        weight=weight,
        radius=radius.reshape(vessels, -1),
        height=(z @ _STATION_SHAPE.T).reshape(vessels, -1),
        slope=np.arctan2(sine, cosine).reshape(vessels, -1),
        wall=wall.reshape(vessels, -1),
        arc_length=arc.reshape(vessels, -1),
        through=through,
        through_weight=through_weight,
        jump=_jumps(meridians, flat),
    )


def _jumps(meridians: tuple[Meridian, ...], operator: Array) -> Jump:
    """Rotation jumps of all steps that lean, as operators on the elements next to them."""
    vessel, upper, tangent = [], [], []
    for number, m in enumerate(meridians):
        for node in m.step_node:
            dr = m.radius[node + 1] - m.radius[node - 1]
            dz = m.height[node + 1] - m.height[node - 1]
            if abs(dr) > 1e-6 * abs(dz):
                vessel.append(number)
                upper.append(node // 2)
                tangent.append(dr / dz)
    v, u = np.array(vessel, dtype=np.intp), np.array(upper, dtype=np.intp)
    t = np.array(tangent, dtype=np.float64)[:, None]
    rows = operator[:, :, [0, 6]]  # membrane strain along the meridian at both stations
    return Jump(
        vessel=v,
        upper=u,
        from_below=t * (TO_END[::-1] @ rows[v, u - 1]),
        from_above=-t * (TO_END @ rows[v, u]),
    )
