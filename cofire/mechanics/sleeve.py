"""Stress in rings one inside the other: a metal core in a ceramic sleeve, or the reverse."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.law import SOLID, WALL, StressState
from cofire.numerics import lobatto

if TYPE_CHECKING:
    from cofire.numerics import Array
    from cofire.physics.history import History


@dataclass(frozen=True)
class Sleeve:
    """N bonded rings, P points through each; a structure for `march`.

    One spectral element a ring: the radial displacement is a polynomial in ln r (in r for a
    solid core) through the P Gauss–Lobatto points, at which stress is read too, faces and
    interfaces included. Long rings are in generalised plane strain: one axial strain for all,
    its force zero, or held. Short rings (discs) carry no axial stress. Good from about one outer
    radius away from the ends of a long sleeve; a tube only a few radii long differs from Lamé by
    ten per cent and more.

    Attributes
    ----------
    state
        SOLID for long rings (radial, hoop, axial), WALL for discs (radial, hoop).
    material
        Index of the material at each point, shape (*batch, N, P). [-]
    radius
        Of each point, same shape. [m]
    stretch
        Derivative of the radius by the place on -1 to 1 at each point, same shape. [m]
    share
        Radius × width each point stands for (area over 2π), same shape. [m²]
    held
        If True the rings keep their length, whatever axial force that takes.
    """

    state: StressState
    material: NDArray[np.intp]
    radius: Array
    stretch: Array
    share: Array
    held: bool

    @property
    def batch_axes(self) -> int:
        """Leading axes of the points that are candidates. [-]"""
        return self.material.ndim - 2

    @cached_property
    def _node(self) -> NDArray[np.intp]:
        """Number of the unknown at each point of each ring, shape (N, P)."""
        rings, points = self.material.shape[-2:]
        node: NDArray[np.intp] = np.arange(points) + (points - 1) * np.arange(rings)[:, None]
        return node

    @cached_property
    def _slope(self) -> Array:
        """Derivative by radius at each point of the displacements of a ring, (*batch, N, P, P)."""
        unit = _differentiation(lobatto(self.material.shape[-1])[0])
        return np.asarray(unit / self.stretch[..., None])

    @cached_property
    def _hoop(self) -> Array:
        """Hoop strain at each point for the displacements of a ring, (*batch, N, P, P)."""
        centre = self.radius <= 0.0
        inverse = np.where(centre, 0.0, 1.0 / np.where(centre, 1.0, self.radius))
        hoop = inverse[..., None] * np.eye(self.radius.shape[-1])
        return np.where(centre[..., None], self._slope, hoop)

    def start(self) -> Array:
        """Displacements and axial strain before the firing, zero, (*batch, N(P-1)+2). [m], [-]"""
        rings, points = self.material.shape[-2:]
        return np.zeros((*self.material.shape[:-2], rings * (points - 1) + 2))

    def strains(self, unknowns: Array) -> Array:
        """Total strain at the points, shape (C, *batch, N, P). [-]

        Parameters
        ----------
        unknowns
            Displacements [m], then axial strain [-], shape (*batch, N(P-1)+2).
        """
        moved = unknowns[..., self._node][..., None]
        parts = [(self._slope @ moved)[..., 0], (self._hoop @ moved)[..., 0]]
        if self.state is SOLID:
            parts.append(np.broadcast_to(unknowns[..., -1, None, None], parts[0].shape))
        return np.stack(parts)

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of displacements and axial strain.

        Parameters
        ----------
        tangent
            Shape (C, C, *batch, N, P). [Pa]
        """
        maps = (self._slope, self._hoop)
        turned = [np.swapaxes(m, -1, -2) for m in maps]
        size = self.start().shape[-1]
        matrix = np.zeros((*self.material.shape[:-2], size, size))
        weighted = tangent * self.share
        local = sum(
            turned[i] @ (weighted[i, j][..., None] * maps[j]) for i in range(2) for j in range(2)
        )
        long = self.state is SOLID
        along = (
            sum((turned[i] @ weighted[i, 2][..., None])[..., 0] for i in range(2)) if long else None
        )
        for ring, node in enumerate(self._node):
            block = slice(node[0], node[-1] + 1)
            matrix[..., block, block] += local[..., ring, :, :]
            if along is not None:
                matrix[..., block, -1] += along[..., ring, :]
                matrix[..., -1, block] += along[..., ring, :]
        if long and not self.held:
            matrix[..., -1, -1] = weighted[2, 2].sum(axis=(-2, -1))
        else:
            _fix(matrix, -1, np.ones(matrix.shape[:-2], bool))
        _fix(matrix, 0, self.radius[..., 0, 0] <= 0.0)

        def change(unbalanced: Array) -> Array:
            try:
                return np.asarray(np.linalg.solve(matrix, unbalanced[..., None])[..., 0])
            except np.linalg.LinAlgError:
                return np.full(unbalanced.shape, np.nan)  # the march then shortens its step

        return change

    def unbalanced(self, stress: Array) -> Array:
        """Force of the stresses against each unknown, none on those that are held, (*batch, U).

        Parameters
        ----------
        stress
            Shape (C, *batch, N, P). [Pa]
        """
        load = -stress * self.share
        turned = [np.swapaxes(m, -1, -2) for m in (self._slope, self._hoop)]
        pull = sum((turned[i] @ load[i][..., None])[..., 0] for i in range(2))
        force = np.zeros(self.start().shape)
        for ring, node in enumerate(self._node):
            force[..., node[0] : node[-1] + 1] += pull[..., ring, :]
        if self.state is SOLID and not self.held:
            force[..., -1] = load[2].sum(axis=(-2, -1))
        else:
            force[..., -1] = 0.0
        force[..., 0] = np.where(self.radius[..., 0, 0] <= 0.0, 0.0, force[..., 0])
        return force


@dataclass(frozen=True)
class FiredSleeve:
    """Rings through the firing, one entry for each of S times.

    Attributes
    ----------
    time
        Shape (S,). [s]
    stress
        Radial, hoop and axial (long rings) at each point, shape (S, C, *batch, N, P). [Pa]
    radius
        Of the points, shape (*batch, N, P). [m]
    interface_stress
        Radial stress on each interface, tension pulls it open, shape (S, *batch, N-1). [Pa]
    axial_strain
        Common to all long rings, shape (S, *batch). [-]
    record
        The march behind it.
    """

    time: Array
    stress: Array
    radius: Array
    interface_stress: Array
    axial_strain: Array
    record: Record


def nested_rings(
    radii: npt.ArrayLike,
    material: npt.ArrayLike | None = None,
    *,
    long: bool = True,
    held: bool = False,
    points: int = 9,
) -> Sleeve:
    """Rings listed from the inside, or a batch of such sleeves.

    Parameters
    ----------
    radii
        Of all faces from the inmost out, zero for a solid core, shape (*batch, N+1). [m]
    material
        Index into the history's materials of each ring, shape (N,) or (*batch, N); the
        history's own order if not given. [-]
    long
        True for generalised plane strain, False for discs without axial stress.
    held
        If True long rings keep their length.
    points
        Points through each ring, three or more. [-]

    Raises
    ------
    InputError
        If radii do not grow from zero or more, or the shapes do not fit.
    """
    faces = np.asarray(radii, float)
    width = np.diff(faces, axis=-1)
    if faces.shape[-1] < 2 or not ((faces[..., 0] >= 0).all() and (width > 0).all()):
        message = f"sleeve: radii {faces.tolist()} m; allowed: growing, from 0 or more"
        raise InputError(message)
    if points < 3:
        message = f"sleeve: {points} points through a ring; allowed: 3 or more"
        raise InputError(message)
    index = np.arange(width.shape[-1]) if material is None else np.asarray(material, np.intp)
    try:
        index = np.broadcast_to(index, width.shape)
    except ValueError:
        message = f"sleeve: {index.shape} materials for {width.shape} rings"
        raise InputError(message) from None
    place, weight = lobatto(points)
    inner, outer = faces[..., :-1, None], faces[..., 1:, None]
    hollow = inner > 0.0
    growth = np.log(outer / np.where(hollow, inner, outer))
    radius = np.where(
        hollow, outer * np.exp(-0.5 * growth * (1.0 - place)), 0.5 * outer * (1.0 + place)
    )
    stretch = np.where(hollow, 0.5 * growth * radius, 0.5 * outer)
    return Sleeve(
        state=SOLID if long else WALL,
        material=np.broadcast_to(index[..., None], radius.shape),
        radius=radius,
        stretch=stretch,
        share=2.0 * radius * stretch * weight,
        held=held,
    )


def fire_sleeve(
    sleeve: Sleeve,
    history: History,
    *,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
) -> FiredSleeve:
    """Stress of nested rings through the whole trace.

    Parameters
    ----------
    sleeve
        The rings, or a batch of candidates.
    history
        Histories of their materials.
    control
        Tolerances and steps of the march.
    added_strain
        Free strain at the points as a function of time, beyond that of the history. [-]
    """
    record = march(sleeve, history, control=control, added_strain=added_strain)
    radial = record.stress[:, 0]
    return FiredSleeve(
        time=record.time,
        stress=record.stress,
        radius=sleeve.radius,
        interface_stress=0.5 * (radial[..., :-1, -1] + radial[..., 1:, 0]),
        axial_strain=record.unknowns[..., -1],
        record=record,
    )


def _fix(matrix: Array, unknown: int, where: NDArray[np.bool_]) -> None:
    """Hold one unknown at zero change in the candidates named."""
    row = np.zeros(matrix.shape[-1])
    row[unknown] = 1.0
    scale = np.abs(matrix).max(axis=(-2, -1))[..., None]
    matrix[..., unknown, :] = np.where(where[..., None], scale * row, matrix[..., unknown, :])
    matrix[..., :, unknown] = np.where(where[..., None], scale * row, matrix[..., :, unknown])


def _differentiation(place: Array) -> Array:
    """Matrix that turns values at the places into slopes there (barycentric formula)."""
    gap = place[:, None] - place[None, :] + np.eye(place.size)
    scale = 1.0 / gap.prod(axis=1)
    matrix = scale[None, :] / scale[:, None] / gap
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return np.asarray(matrix)
