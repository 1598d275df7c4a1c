"""Stress of a vessel, a shell of revolution made of bands, through the whole firing.

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
Against axisymmetric solids the bending peak is within 1 % at radius over wall of 20, 2 % at 10 and
3 % at 5; hoop stress is taken even over the wall where a solid has ±(h/2r)/(1−ν) of it between
the faces. Strains are taken on the shape given. The shelf carries what lies on it but neither
pushes nor holds a base that lifts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from cofire.errors import InputError
from cofire.inputs.units import GRAVITY
from cofire.structures.constitutive import WALL_WITH_SHEAR, StressState, prepare, respond
from cofire.structures.point_properties import NO_YIELD, PointProperties
from cofire.structures.shell_geometry import (
    HIGH,
    LOW,
    RESULTANT_STRESS,
    STATION_SHAPE,
    Geometry,
    shell_geometry,
)

if TYPE_CHECKING:
    from cofire.physics.history import Array
    from cofire.structures.meridian import Meridian


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
    parts[:, :, 1::3] = -station_weight @ STATION_SHAPE
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
    unknowns = body.solver(before.tangent)(body.unbalanced(before.stress))
    return unknowns, respond(stage, body.strains(unknowns) - free).stress


def _of_element(meridian: Meridian, value: npt.ArrayLike, name: str) -> Array:
    """Values by band as values by element."""
    given = np.atleast_1d(np.asarray(value, dtype=float))
    bands = int(meridian.band.max()) + 1
    if given.shape != (bands,):
        message = f"shells: {given.size} values of {name}; the vessel has {bands} bands"
        raise InputError(message)
    return np.asarray(given[meridian.band])
