"""Stress of a vessel as a solid of revolution through the whole firing.

Elements have nine nodes and 3 × 3 Gauss points, each with the four stresses of a section through
the axis. Their volume strain is projected on 1, ξ and η within each element (B-bar; T. J. R.
Hughes, Int. J. Numer. Methods Eng. 15, 1980, 1413, from memory, with linear functions instead of
the mean): without it an element that yields or creeps, and so keeps its volume, is too stiff; with
a mean, or with 2 × 2 points, stress beside a joint swings where the metal yields.

What it adds to the shell: the joint itself, whole cuts and faces beside it, inside corners, free
ends, short bands, walls of any thickness, and all of that through flow and yield.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from cofire.errors import InputError
from cofire.mechanics.law import SOLID_WITH_SHEAR, StressState, prepare, respond
from cofire.mechanics.properties import NO_YIELD, Fade, Levels, PointProperties, of_points
from cofire.mechanics.solid_elements import (
    GAUSS,
    GAUSS_WEIGHT,
    POINT_SHAPE,
    Elements,
    SolidGeometry,
    elements_of,
    solid_geometry,
)
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.numerics import line_shape, line_slope
from cofire.units import GRAVITY

if TYPE_CHECKING:
    from cofire.mechanics.equilibrium import Origin
    from cofire.numerics import Array

_SHAPE, _SLOPE = line_shape(GAUSS), line_slope(GAUSS)
_LOW, _HIGH = np.tril_indices(18)
_FLAT = 18 * _LOW + _HIGH


@dataclass(frozen=True)
class Solid:
    """One vessel of E elements: a structure for `march`.

    Unknowns are the radial and axial displacements of the nodes, shape (nodes, 2).

    Attributes
    ----------
    mesh
        Its section, as readers see it.
    elements
        What is solved: all of the section's, or fewer.
    material
        Index of the material at each point, shape (E, 9). [-]
    load
        Radial and axial force on each node round the whole ring, shape (nodes, 2). [N]
    held
        Unknowns that stay zero, shape (nodes, 2).
    geometry
        Operators on the shape of the moment.
    origin
        State from which strain is counted, if the shape has followed the shrinkage.
    moved
        Displacements that `geometry` holds, shape (nodes, 2). [m]
    levels
        What `material` counts where the wall fades: in and between the materials of the history.
    """

    mesh: SolidMesh
    elements: Elements
    material: NDArray[np.intp]
    load: Array
    held: NDArray[np.bool_]
    geometry: SolidGeometry
    origin: Origin | None = None
    moved: Array | None = None
    levels: Levels | None = None

    @property
    def state(self) -> StressState:
        """Radial, hoop, axial and shear stress."""
        return SOLID_WITH_SHEAR

    @property
    def batch_axes(self) -> int:
        """One vessel alone, so that no figure depends on others. [-]"""
        return 0

    @property
    def material_of_row(self) -> NDArray[np.intp]:
        """Index of the material of each row of elements, shape (A,). [-]"""
        return np.asarray(self.material[self.elements.start[:-1], 0])

    @cached_property
    def _freedom(self) -> NDArray[np.intp]:
        """Unknowns of each element, shape (E, 18)."""
        both = 2 * self.elements.nodes[:, :, None] + np.arange(2)
        return np.asarray(both.reshape(len(both), 18))

    @cached_property
    def _band(self) -> int:
        """Sub-diagonals of the stiffness."""
        return 2 * int(np.ptp(self.elements.nodes, axis=1).max()) + 1

    @cached_property
    def _places(self) -> tuple[NDArray[np.intp], Array]:
        """Place of each element entry in the band matrix, those of held ones last; their ones."""
        row, column = self._freedom[:, _LOW], self._freedom[:, _HIGH]
        free = ~self.held.ravel()
        upper, lower = np.maximum(row, column), np.minimum(row, column)
        place = (upper - lower) + lower * (self._band + 1)
        nowhere = self.held.size * (self._band + 1)
        place = np.where(free[row] & free[column], place, nowhere)
        return place.ravel(), self.held.ravel().astype(np.float64)

    def start(self) -> Array:
        """Displacements before the firing, zero, shape (nodes, 2). [m]"""
        return np.zeros(self.held.shape)

    def strains(self, unknowns: Array) -> Array:
        """Strain at the points: radial, hoop, axial, shear angle, shape (4, E, 9). [-]

        Parameters
        ----------
        unknowns
            Displacements, shape (nodes, 2). [m]
        """
        own = unknowns.ravel()[self._freedom]
        strain = (self.geometry.operator @ own[..., None]).reshape(-1, 9, 4)
        return np.ascontiguousarray(strain.transpose(2, 0, 1))

    def followed(self, now: Origin, ahead: Array, limit: float) -> Solid:
        """The same body where its nodes are expected to be.

        Parameters
        ----------
        now
            State at the start of the step.
        ahead
            Displacements expected in the middle of it, shape (nodes, 2). [m]
        limit
            Change of size, as strain, from which the shape follows. [-]
        """
        moved = np.zeros(ahead.shape) if self.moved is None else self.moved
        if np.abs(self.strains(ahead - moved)).max() <= limit:
            return self
        geometry = solid_geometry(self.elements, ahead)
        return replace(self, geometry=geometry, origin=now, moved=ahead)

    def element_forces(self, stress: Array) -> Array:
        """Force of the stresses on the unknowns of each element, shape (E, 18). [N]

        Parameters
        ----------
        stress
            At the points, shape (4, E, 9). [Pa]
        """
        own = np.empty((*stress.shape[1:], 4))
        np.multiply(stress.transpose(1, 2, 0), self.geometry.weight[..., None], out=own)
        return np.asarray(own.reshape(-1, 1, 36) @ self.geometry.operator)[:, 0]

    def unbalanced(self, stress: Array) -> Array:
        """Force on each unknown that the stress leaves unbalanced, zero where held. [N]

        Parameters
        ----------
        stress
            At the points, shape (4, E, 9). [Pa]
        """
        inner = np.bincount(
            self._freedom.ravel(), self.element_forces(stress).ravel(), self.held.size
        )
        force = self.load - inner.reshape(self.held.shape)
        force[self.held] = 0.0
        return force

    def element_stiffness(self, tangent: Array) -> Array:
        """Stiffness of each element, shape (E, 18, 18). [N/m]

        Parameters
        ----------
        tangent
            At the points, shape (4, 4, E, 9). [Pa]
        """
        operator, own = self.geometry.operator, np.empty((*tangent.shape[2:], 4, 4))
        weight = self.geometry.weight[..., None, None]
        np.multiply(tangent.transpose(2, 3, 0, 1), weight, out=own)
        moved = own @ operator.reshape(-1, 9, 4, 18)
        return np.asarray(operator.transpose(0, 2, 1) @ moved.reshape(-1, 36, 18))

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of displacements.

        Not finite where the tangent is not positive definite; the march then shortens its step.

        Parameters
        ----------
        tangent
            At the points, shape (4, 4, E, 9). [Pa]
        """
        stiffness = self.element_stiffness(tangent).reshape(-1, 324)
        place, fixed = self._places
        entries = stiffness.take(_FLAT, axis=1).ravel()
        band = np.bincount(place, entries, (self._band + 1) * fixed.size + 1)[:-1]
        band = band.reshape(fixed.size, self._band + 1).T
        band[0] += fixed
        factor, failed = dpbtrf(band, lower=1, overwrite_ab=1)
        if failed:
            return lambda unbalanced: np.full(self.held.shape, np.nan)

        def change(unbalanced: Array) -> Array:
            columns = unbalanced.reshape(
                self.held.size, -1
            )  # several cases side by side, if wanted
            return np.asarray(dpbtrs(factor, columns, lower=1)[0]).reshape(unbalanced.shape)

        return change

    def elastic_tangent(self, young_modulus: Array, poisson_ratio: Array) -> Array:
        """Stiffness at the points where nothing flows, shape (4, 4, E, 9). [Pa]

        Parameters
        ----------
        young_modulus
            Of each of what `material` counts. [Pa]
        poisson_ratio
            Of each of these. [-]
        """
        stage = prepare(_elastic(young_modulus, poisson_ratio), self.state, 0.0, self.material)
        return stage.tangent.reshape(4, 4, *self.material.shape)


def solid(
    mesh: SolidMesh,
    material_of_band: npt.ArrayLike,
    *,
    weight_density: npt.ArrayLike | None = None,
    merged: bool = False,
    fade: Fade | None = None,
) -> Solid:
    """A vessel ready for `march`: free rim, free foot, standing on its lowest ring.

    Parameters
    ----------
    mesh
        Its section.
    material_of_band
        Index into the history of the material of each band. [-]
    weight_density
        Bulk density of each band if the vessel is to bear its own weight. The shelf carries a
        floor that lies on it, and presses evenly on the foot, or on the outer wall's breadth of a
        floor. [kg/m³]
    merged
        Whether rows have only the elements they need, see `SolidMesh.through`.
    fade
        How the materials follow one another where they do not change at the steps between bands:
        over the height of the middle of the wall, also where it leans.

    Raises
    ------
    InputError
        If a band has no material.
    """
    of_row = _of_row(mesh, material_of_band, "material").astype(np.intp)
    elements = elements_of(mesh, merged=merged)
    material, levels = np.repeat(of_row[elements.row][:, None], 9, axis=1), None
    if fade is not None:
        three = 2 * np.arange(mesh.rows)[:, None] + np.arange(3)
        levels, index = fade.at((mesh.meridian.height[three] @ _SHAPE.T).ravel())
        material = np.repeat(index.reshape(-1, 3)[elements.row], 3, axis=1)
    geometry = solid_geometry(elements)
    load = np.zeros((elements.radius.size, 2))
    if weight_density is not None:
        density = _of_row(mesh, weight_density, "density")
        load[:, 1] = _own_weight(mesh, elements, geometry, density)
    line, column = mesh.support
    support = elements.line[line] + np.abs(elements.places(line) - mesh.place[column]).argmin()
    held = held_at(elements, int(support))
    return Solid(mesh, elements, material, load, held, geometry, levels=levels)


def held_at(elements: Elements, support: int) -> NDArray[np.bool_]:
    """Unknowns that stay zero: radial on the axis, axial of one node, shape (N, 2).

    Parameters
    ----------
    elements
        Of the body.
    support
        That node. [-]
    """
    held = np.zeros((elements.radius.size, 2), dtype=bool)
    held[elements.radius == 0.0, 0] = True
    held[support, 1] = True
    return held


def _own_weight(
    mesh: SolidMesh, elements: Elements, geometry: SolidGeometry, density: Array
) -> Array:
    """Weight on the nodes, and the push of the shelf against it, shape (N,). [N]"""
    pull = np.where(mesh.lying, 0.0, density * GRAVITY)
    point = pull[elements.row][:, None] * geometry.weight
    load = elements.summed(-point @ POINT_SHAPE)
    if mesh.lying.any():
        last = 2 * int(np.flatnonzero(mesh.lying)[-1]) + 2
        first = np.searchsorted(mesh.radius[:last:2, -1], mesh.radius[last, -1] - mesh.wall[-1])
        lines = np.arange(2 * min(int(first), last // 2 - 1), last + 1)
        foot = elements.line[lines + 1] - 1
    elif mesh.support[0] == 0:
        foot = np.arange(elements.line[1])
    else:
        return load
    share = np.zeros(load.size)
    radius = elements.radius[foot]
    for k in range(0, foot.size - 2, 2):
        own = radius[k : k + 3]
        ring = (_SHAPE @ own) * (_SLOPE @ own) * GAUSS_WEIGHT
        share[foot[k : k + 3]] += ring @ _SHAPE
    return np.asarray(load - share * (load.sum() / share.sum()))


def elastic_solid(
    body: Solid,
    young_modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
    free_strain: Array,
) -> tuple[Array, Array]:
    """Displacements and stress of a vessel that stays elastic, for one state of free strain.

    Parameters
    ----------
    body
        The vessel.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    free_strain
        At the points, broadcast to shape (E, 9). [-]

    Returns
    -------
    tuple
        Displacements, shape (nodes, 2) [m], and stress, shape (4, E, 9) [Pa].
    """
    own = (
        of_points(np.asarray(v, dtype=float), body.levels) for v in (young_modulus, poisson_ratio)
    )
    stage = prepare(_elastic(*own), body.state, 0.0, body.material)
    free = body.state.free_direction.reshape(4, 1, 1) * free_strain
    before = respond(stage, np.broadcast_to(-free, (4, *body.material.shape)).copy())
    unknowns = body.solver(before.tangent)(body.unbalanced(before.stress))
    return unknowns, respond(stage, body.strains(unknowns) - free).stress


def _elastic(young_modulus: npt.ArrayLike, poisson_ratio: npt.ArrayLike) -> PointProperties:
    """Properties of materials that neither flow nor yield, without free strain."""
    young = np.asarray(young_modulus, dtype=float)
    idle = np.zeros(young.shape)
    return PointProperties(
        free_strain=idle,
        young_modulus=young,
        poisson_ratio=np.asarray(poisson_ratio, dtype=float),
        fluidity=idle,
        viscous_poisson_ratio=idle + 0.5,
        log_creep_rate=idle - 100.0,
        creep_exponent=idle + 1.0,
        yield_stress=idle + NO_YIELD,
    )


def _of_row(mesh: SolidMesh, value: npt.ArrayLike, name: str) -> Array:
    """Values by band as values by row of elements."""
    given = np.atleast_1d(np.asarray(value, dtype=float))
    bands = int(mesh.band.max()) + 1
    if given.shape != (bands,):
        message = f"solid: {given.size} values of {name}; the vessel has {bands} bands"
        raise InputError(message)
    return np.asarray(given[mesh.band])
