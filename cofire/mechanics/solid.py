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
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from cofire.errors import InputError
from cofire.mechanics.law import SOLID_WITH_SHEAR, StressState, prepare, respond
from cofire.mechanics.properties import NO_YIELD, PointProperties
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.units import GRAVITY

if TYPE_CHECKING:
    from cofire.mechanics.integrator import Origin
    from cofire.numerics import Array

GAUSS = np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)])
"""Gauss points of an element in each direction, -1 to 1. [-]"""

GAUSS_WEIGHT = np.array([5.0, 8.0, 5.0]) / 9.0
"""Their weights, which sum to two. [-]"""


def line_shape(place: Array) -> Array:
    """Shares of three nodes at -1, 0 and 1, shape (..., 3). [-]

    Parameters
    ----------
    place
        Between -1 and 1, any shape. [-]
    """
    x = np.asarray(place)
    return np.stack([0.5 * x * (x - 1.0), 1.0 - x * x, 0.5 * x * (x + 1.0)], axis=-1)


def line_slope(place: Array) -> Array:
    """Derivatives of these, shape (..., 3). [-]

    Parameters
    ----------
    place
        Between -1 and 1, any shape. [-]
    """
    x = np.asarray(place)
    return np.stack([x - 0.5, -2.0 * x, x + 0.5], axis=-1)


_SHAPE, _SLOPE = line_shape(GAUSS), line_slope(GAUSS)
# points and nodes alike: along the wall slow, through it fast
POINT_SHAPE = np.einsum("ja,ib->jiab", _SHAPE, _SHAPE).reshape(9, 9)
"""Shares of the nine nodes at the nine points of an element, shape (9, 9). [-]"""
_ACROSS = np.einsum("ja,ib->jiab", _SHAPE, _SLOPE).reshape(9, 9)
_ALONG = np.einsum("ja,ib->jiab", _SLOPE, _SHAPE).reshape(9, 9)
_WEIGHT = np.outer(GAUSS_WEIGHT, GAUSS_WEIGHT).ravel()
_LINEAR = np.stack([np.ones(9), np.tile(GAUSS, 3), np.repeat(GAUSS, 3)], axis=1)
_LOW, _HIGH = np.tril_indices(18)


@dataclass(frozen=True)
class SolidGeometry:
    """Operators of a mesh of E elements.

    Attributes
    ----------
    radius, height
        Of the points, shape (E, 9). [m]
    weight
        Volume that each point stands for, shape (E, 9). [m³]
    operator
        Strain at the points of the 18 unknowns of an element, shape (E, 36, 18); rows by point,
        then radial, hoop, axial, shear. [1/m]
    """

    radius: Array
    height: Array
    weight: Array
    operator: Array

    def rows(self, own: slice) -> SolidGeometry:
        """The same for some of the elements.

        Parameters
        ----------
        own
            Which. [-]
        """
        return SolidGeometry(
            self.radius[own], self.height[own], self.weight[own], self.operator[own]
        )


def solid_geometry(radius: Array, height: Array, nodes: NDArray[np.intp]) -> SolidGeometry:
    """Operators of elements with nine nodes.

    Parameters
    ----------
    radius, height
        Of all nodes. [m]
    nodes
        Of each element, shape (E, 9). [-]

    Raises
    ------
    InputError
        If an element is turned inside out.
    """
    r, z = radius.ravel()[nodes], height.ravel()[nodes]
    at = r @ POINT_SHAPE.T
    r_x, z_x, r_y, z_y = r @ _ACROSS.T, z @ _ACROSS.T, r @ _ALONG.T, z @ _ALONG.T
    volume = r_x * z_y - r_y * z_x
    if not (volume > 0.0).all():
        worst = int(np.argmin(volume.min(axis=1)))
        message = (
            f"solid: the wall folds into itself {1e3 * z[worst].mean():.3g} mm up; "
            "thin it there, or take the corner out"
        )
        raise InputError(message)
    slope_r = (z_y[..., None] * _ACROSS - z_x[..., None] * _ALONG) / volume[..., None]
    slope_z = (r_x[..., None] * _ALONG - r_y[..., None] * _ACROSS) / volume[..., None]
    hoop = POINT_SHAPE / at[..., None]
    weight = 2.0 * np.pi * at * volume * _WEIGHT
    operator = np.zeros((len(r), 9, 4, 9, 2))
    operator[:, :, 0, :, 0] = slope_r
    operator[:, :, 1, :, 0] = hoop
    operator[:, :, 2, :, 1] = slope_z
    operator[:, :, 3, :, 0] = slope_z
    operator[:, :, 3, :, 1] = slope_r
    dilation = operator[:, :, :3].sum(axis=2).reshape(len(r), 9, 18)
    weighed = _LINEAR.T * weight[:, None]
    smooth = _LINEAR @ np.linalg.solve(weighed @ _LINEAR, weighed @ dilation)
    rows = operator.reshape(len(r), 9, 4, 18)
    rows[:, :, :3] += ((smooth - dilation) / 3.0)[:, :, None]
    return SolidGeometry(
        radius=at,
        height=z @ POINT_SHAPE.T,
        weight=weight,
        operator=operator.reshape(len(r), 36, 18),
    )


@dataclass(frozen=True)
class Solid:
    """One vessel of E elements: a structure for `march`.

    Unknowns are the radial and axial displacements of the nodes, shape (nodes, 2).

    Attributes
    ----------
    mesh
        Its section.
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
    """

    mesh: SolidMesh
    material: NDArray[np.intp]
    load: Array
    held: NDArray[np.bool_]
    geometry: SolidGeometry
    origin: Origin | None = None
    moved: Array | None = None

    @property
    def state(self) -> StressState:
        """Radial, hoop, axial and shear stress."""
        return SOLID_WITH_SHEAR

    @property
    def batch_axes(self) -> int:
        """One vessel alone, so that no figure depends on others. [-]"""
        return 0

    @cached_property
    def _freedom(self) -> NDArray[np.intp]:
        """Unknowns of each element, shape (E, 18)."""
        both = 2 * self.mesh.nodes[:, :, None] + np.arange(2)
        return np.asarray(both.reshape(len(both), 18))

    @cached_property
    def _band(self) -> int:
        """Sub-diagonals of the stiffness."""
        return 2 * (2 * self.mesh.place.size + 2) + 1

    @cached_property
    def _places(self) -> tuple[NDArray[np.intp], Array, Array]:
        """Place of each element entry in the band matrix, its weight, and the held diagonal."""
        row, column = self._freedom[:, _LOW], self._freedom[:, _HIGH]
        free = ~self.held.ravel()
        weight = (free[row] & free[column]).astype(np.float64)
        upper, lower = np.maximum(row, column), np.minimum(row, column)
        place = (upper - lower) + lower * (self._band + 1)
        return place.ravel(), weight, self.held.ravel().astype(np.float64)

    @cached_property
    def lumped(self) -> Array:
        """Operator times volume, transposed, shape (E, 18, 36). [m²]"""
        weight = np.repeat(self.geometry.weight, 4, axis=1)[:, :, None]
        return np.ascontiguousarray((self.geometry.operator * weight).transpose(0, 2, 1))

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
        radius, height = self.mesh.radius.ravel(), self.mesh.height.ravel()
        geometry = solid_geometry(radius + ahead[:, 0], height + ahead[:, 1], self.mesh.nodes)
        return Solid(self.mesh, self.material, self.load, self.held, geometry, now, ahead)

    def element_forces(self, stress: Array) -> Array:
        """Force of the stresses on the unknowns of each element, shape (E, 18). [N]

        Parameters
        ----------
        stress
            At the points, shape (4, E, 9). [Pa]
        """
        own = np.ascontiguousarray(stress.transpose(1, 2, 0)).reshape(-1, 36, 1)
        return np.asarray(self.lumped @ own)[..., 0]

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
        own = np.ascontiguousarray(tangent.transpose(2, 3, 0, 1))
        moved = own @ self.geometry.operator.reshape(-1, 9, 4, 18)
        return np.asarray(self.lumped @ moved.reshape(-1, 36, 18))

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of displacements.

        Not finite where the tangent is not positive definite; the march then shortens its step.

        Parameters
        ----------
        tangent
            At the points, shape (4, 4, E, 9). [Pa]
        """
        stiffness = self.element_stiffness(tangent)
        place, weight, fixed = self._places
        entries = (stiffness[:, _LOW, _HIGH] * weight).ravel()
        band = np.bincount(place, entries, (self._band + 1) * fixed.size)
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
            Of each material, shape (N,). [Pa]
        poisson_ratio
            Of each material, shape (N,). [-]
        """
        stage = prepare(_elastic(young_modulus, poisson_ratio), self.state, 0.0, self.material)
        return stage.tangent.reshape(4, 4, *self.material.shape)


def solid(
    mesh: SolidMesh,
    material_of_band: npt.ArrayLike,
    *,
    weight_density: npt.ArrayLike | None = None,
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

    Raises
    ------
    InputError
        If a band has no material.
    """
    of_row = _of_row(mesh, material_of_band, "material").astype(np.intp)
    material = np.repeat(np.repeat(of_row, mesh.across)[:, None], 9, axis=1)
    held = np.zeros((mesh.radius.size, 2), dtype=bool)
    held[mesh.radius.ravel() == 0.0, 0] = True
    held[mesh.support[0] * mesh.place.size + mesh.support[1], 1] = True
    geometry = solid_geometry(mesh.radius, mesh.height, mesh.nodes)
    load = np.zeros(held.shape)
    if weight_density is not None:
        load = _own_weight(mesh, geometry, _of_row(mesh, weight_density, "density"))
    return Solid(mesh, material, load, held, geometry)


def _own_weight(mesh: SolidMesh, geometry: SolidGeometry, density: Array) -> Array:
    """Weight on the nodes, and the push of the shelf against it, shape (nodes, 2). [N]"""
    pull = np.where(mesh.lying, 0.0, density * GRAVITY)
    point = np.repeat(pull, mesh.across)[:, None] * geometry.weight
    load = np.zeros((mesh.radius.size, 2))
    np.add.at(load[:, 1], mesh.nodes, -point @ POINT_SHAPE)
    numbers = np.arange(mesh.radius.size).reshape(mesh.radius.shape)
    if mesh.lying.any():
        last = 2 * int(np.flatnonzero(mesh.lying)[-1]) + 2
        first = np.searchsorted(mesh.radius[:last:2, -1], mesh.radius[last, -1] - mesh.wall[-1])
        foot = numbers[2 * min(int(first), last // 2 - 1) : last + 1, -1]
    elif mesh.support[0] == 0:
        foot = numbers[0]
    else:
        return load
    share = np.zeros(mesh.radius.size)
    radius = mesh.radius.ravel()[foot]
    for k in range(0, foot.size - 2, 2):
        own = radius[k : k + 3]
        ring = (_SHAPE @ own) * (_SLOPE @ own) * GAUSS_WEIGHT
        share[foot[k : k + 3]] += ring @ _SHAPE
    load[:, 1] -= share * (load[:, 1].sum() / share.sum())
    return load


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
    stage = prepare(_elastic(young_modulus, poisson_ratio), body.state, 0.0, body.material)
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
