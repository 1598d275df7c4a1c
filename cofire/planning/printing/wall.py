"""A wall as horizontal rings, and what a stage of drying or firing does to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.errors import ModelError
from cofire.structures.meridian import Meridian, mesh_meridian

Array = NDArray[np.float64]

PARTS = 4
"""Pieces into which each element is cut. [-]"""
_PLACE = np.linspace(-1.0, 1.0, PARTS, endpoint=False)
_SHAPE = np.stack(
    [0.5 * _PLACE * (_PLACE - 1.0), 1.0 - _PLACE**2, 0.5 * _PLACE * (_PLACE + 1.0)], axis=1
)


@dataclass(frozen=True)
class Wall:
    """A standing wall as horizontal rings: the mid-surface from foot to rim, and its base.

    Attributes
    ----------
    height, radius
        Of the mid-surface, height rising from 0, shape (P,). [m]
    width
        Of the wall along the horizontal, shape (P,). [m]
    edges
        Heights of the bands' ends, the foot and the rim included, shape (bands + 1,). [m]
    base
        Thickness of a flat base within the wall, its lower face at the foot; 0 without. [m]
    """

    height: Array
    radius: Array
    width: Array
    edges: Array
    base: float

    @property
    def inside(self) -> Array:
        """Radius of the inner face, shape (P,). [m]"""
        return np.asarray(self.radius - 0.5 * self.width)

    @property
    def outside(self) -> Array:
        """Radius of the outer face, shape (P,). [m]"""
        return np.asarray(self.radius + 0.5 * self.width)

    @property
    def lean(self) -> Array:
        """Angle of the mid-surface from upright, outward positive, shape (P,). [rad]"""
        return np.asarray(np.arctan(np.gradient(self.radius, self.height, edge_order=2)))

    @property
    def thickness(self) -> Array:
        """Of the wall along its normal, shape (P,). [m]"""
        return np.asarray(self.width * np.cos(self.lean))

    def at(self, values: Array, height: float | Array) -> Array:
        """Values given at the points, read at other heights.

        Parameters
        ----------
        values : array
            Shape (P,). [any]
        height : array
            Any shape. [m]

        Returns
        -------
        array
            Shape of `height`. [as given]
        """
        return np.asarray(np.interp(height, self.height, values))


@dataclass(frozen=True)
class Motion:
    """What a stage does to a wall, at the points of its mesh and in the intervals between them.

    Attributes
    ----------
    ring, settled
        Natural strain of the ring, and its share from the bands' pull, shape (P,). [-]
    thick
        Strain of the width, shape (P,). [-]
    up
        Strain of the height of each band alone, shape (P - 1,). [-]
    lift, turn
        What the pull adds to the rise [m], and turns the wall by [rad], shape (P - 1,).
    """

    ring: Array
    settled: Array
    thick: Array
    up: Array
    lift: Array
    turn: Array


def at_points(mesh: Meridian, values: Array) -> Array:
    """Nodal values at the points of the standing wall: each element's, and three between.

    Parameters
    ----------
    mesh : Meridian
        Of the vessel.
    values : array
        Shape (2E + 1,). [any]

    Returns
    -------
    array
        Shape (P,). [as given]
    """
    standing = mesh.nodes[~mesh.lying]
    return np.append((values[standing] @ _SHAPE.T).ravel(), values[standing[-1, 2]])


def wall_of_mesh(mesh: Meridian, edges: Array) -> Wall:
    """The standing wall of a mesh, with its base.

    Parameters
    ----------
    mesh : Meridian
        Of the vessel.
    edges : array
        Heights of the bands' ends, shape (bands + 1,). [m]

    Returns
    -------
    Wall
        P points.
    """
    r, z, h = (at_points(mesh, v) for v in (mesh.radius, mesh.height, mesh.wall))
    from scipy.interpolate import CubicSpline  # slow to import

    nodes = np.unique(mesh.nodes[~mesh.lying])
    lean = np.arctan(CubicSpline(mesh.height[nodes], mesh.radius[nodes])(z, 1))
    base = float(mesh.wall[0]) if mesh.lying.any() else 0.0
    return Wall(z - z[0], r, h / np.cos(lean), edges, base)


def mesh_of_wall(wall: Wall) -> Meridian:
    """A mesh of a wall and its base.

    Parameters
    ----------
    wall : Wall
        The wall.

    Returns
    -------
    Meridian
        With a node at every step between bands.
    """
    r, z, h = wall.radius, wall.height, wall.thickness
    corners: Sequence[int] = ()
    if wall.base > 0.0:
        r, z, h = np.insert(r, 0, 0.0), np.insert(z, 0, 0.0), np.insert(h, 0, wall.base)
        corners = (1,)
    return mesh_meridian(r, z, h, wall.edges[1:-1], corners=corners)


def motion(mesh: Meridian, displacement: Array, ring: Array, up: Array) -> Motion:
    """What a stage does to the wall of a mesh.

    Parameters
    ----------
    mesh : Meridian
        Of the vessel before the stage, or after it where its displacements are those of that.
    displacement : array
        Radial, axial [m] and rotation [-] of the nodes, shape (2E + 1, 3).
    ring, up : array
        Free natural strain of each band along the ring and the height, shape (bands,). [-]

    Returns
    -------
    Motion
        At P points.
    """
    r, z, h = (at_points(mesh, v) for v in (mesh.radius, mesh.height, mesh.wall))
    band = np.repeat(mesh.band[~mesh.lying], PARTS)
    rise = np.diff(z)
    total = np.concatenate([[0.0], np.cumsum(ring[band] * rise)])
    # one free strain across a step would be a step of the wall: shared over its thickness
    ends = np.concatenate([[z[0] - 1.0], z, [z[-1] + 1.0]])
    whole = np.concatenate([[-ring[band[0]]], total, [total[-1] + ring[band[-1]]]])
    free = (np.interp(z + 0.5 * h, ends, whole) - np.interp(z - 0.5 * h, ends, whole)) / h
    outward, upward = (at_points(mesh, displacement[:, k]) for k in (0, 1))
    out = np.diff(outward) - ring[band] * np.diff(r)
    lift = np.diff(upward) - ring[band] * rise
    turn = (out * rise - lift * np.diff(r)) / (rise**2 + np.diff(r) ** 2)
    settled = outward / r - free
    return Motion(outward / r, settled, free - 0.5 * settled, up[band], lift, turn)


def shortened(wall: Wall, turn: Array) -> Array:
    """Rise that a wall loses by turning, of which small displacements know nothing.

    Parameters
    ----------
    wall : Wall
        Before it turns.
    turn : array
        Angle, shape (P - 1,). [rad]

    Returns
    -------
    array
        Shape (P - 1,). [m]
    """
    rise, out = np.diff(wall.height), np.diff(wall.radius)
    return np.asarray(0.5 * turn**2 * (rise**2 + out**2) / rise)


def heights(rise: Array, name: str) -> Array:
    """Heights from the rises between points.

    Parameters
    ----------
    rise : array
        Shape (P - 1,). [m]
    name : str
        Of the vessel.

    Returns
    -------
    array
        From 0, shape (P,). [m]

    Raises
    ------
    ModelError
        A rise that is none.
    """
    if np.any(rise <= 0.0):
        raise ModelError(f"{name}: the printed wall folds; it leans too far for its shrinkage")
    return np.concatenate([[0.0], np.cumsum(rise)])


def moved(wall: Wall, mesh: Meridian, by: Motion, base: float) -> Wall:
    """A wall after a stage.

    Parameters
    ----------
    wall : Wall
        Its edges count.
    mesh : Meridian
        Of it.
    by : Motion
        The stage.
    base : float
        Thickness of the base after it. [m]

    Returns
    -------
    Wall
        At the points of the mesh.
    """
    old = wall_of_mesh(mesh, wall.edges)
    straight = np.diff(old.height) + by.lift - shortened(old, by.turn)
    height = heights(np.exp(by.up) * straight, "vessel")
    return Wall(
        height,
        old.radius * np.exp(by.ring),
        old.width * np.exp(by.thick),
        np.interp(wall.edges, old.height, height),
        base,
    )
