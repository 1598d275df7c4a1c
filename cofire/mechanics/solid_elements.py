"""Elements with nine nodes in the section of a vessel: shapes, nodes, operators.

Readers see the section as a grid of rows of equally many elements (`SolidMesh`). What is solved
has fewer: only rows beside joints and corners need elements as thin at the faces as theirs. Where
a row is coarser than its neighbour, the line between them has the nodes of the coarser one, and
the finer elements follow those: displacements stay continuous and nothing gapes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.numerics import gauss_points, line_shape, line_slope

if TYPE_CHECKING:
    from cofire.mechanics.solid_mesh import SolidMesh
    from cofire.numerics import Array

GAUSS, GAUSS_WEIGHT = gauss_points(3)
"""Gauss points of an element in each direction, -1 to 1, and their weights. [-]"""


def point_shape(place: npt.ArrayLike) -> Array:
    """Shares of the three Gauss points for a value at places, shape (..., 3). [-]

    Parameters
    ----------
    place
        Between -1 and 1, any shape. [-]
    """
    return line_shape(np.asarray(place) / GAUSS[2])


_SHAPE, _SLOPE = line_shape(GAUSS), line_slope(GAUSS)
# points and nodes alike: along the wall slow, through it fast
POINT_SHAPE = np.einsum("ja,ib->jiab", _SHAPE, _SHAPE).reshape(9, 9)
"""Shares of the nine nodes at the nine points of an element, shape (9, 9). [-]"""
_ACROSS = np.einsum("ja,ib->jiab", _SHAPE, _SLOPE).reshape(9, 9)
_ALONG = np.einsum("ja,ib->jiab", _SLOPE, _SHAPE).reshape(9, 9)
_WEIGHT = np.outer(GAUSS_WEIGHT, GAUSS_WEIGHT).ravel()
_LINEAR = np.stack([np.ones(9), np.tile(GAUSS, 3), np.repeat(GAUSS, 3)], axis=1)


@dataclass(frozen=True)
class Elements:
    """E elements over N nodes, row by row from the foot, each row from inside to outside.

    Attributes
    ----------
    radius, height
        Of the nodes, shape (N,). [m]
    nodes
        Of each element, shape (E, 9). [-]
    following
        Elements whose own nine nodes follow those in `nodes`, shape (H,). [-]
    share
        Of each of those in each of the element's own, shape (H, 9, 9). [-]
    line
        First node of each edge and middle of a row, and N, shape (2A + 2,). [-]
    edges
        Places of the edges of the elements of each row, -1 inside to 1 outside, A arrays. [-]
    """

    radius: Array
    height: Array
    nodes: NDArray[np.intp]
    following: NDArray[np.intp]
    share: Array
    line: NDArray[np.intp]
    edges: tuple[Array, ...]

    @cached_property
    def start(self) -> NDArray[np.intp]:
        """First element of each row, and E, shape (A + 1,). [-]"""
        return np.cumsum([0, *(edges.size - 1 for edges in self.edges)], dtype=np.intp)

    @cached_property
    def row(self) -> NDArray[np.intp]:
        """Of each element, shape (E,). [-]"""
        return np.repeat(np.arange(len(self.edges)), np.diff(self.start))

    @cached_property
    def kinds(self) -> tuple[tuple[Array, NDArray[np.intp], NDArray[np.intp]], ...]:
        """Rows of like edges: the n + 1 edges, the R rows, their elements (R, n). [-]"""
        size = np.diff(self.start)
        alike = (np.flatnonzero(size == n) for n in np.unique(size))
        return tuple(
            (self.edges[rows[0]], rows, self.start[rows, None] + np.arange(size[rows[0]]))
            for rows in alike
        )

    def places(self, line: int) -> Array:
        """Places through the wall of the nodes of a line. [-]

        Parameters
        ----------
        line
            Edge or middle of a row, 0 to 2A. [-]
        """
        beside = {self.edges[k].size: self.edges[k] for k in _beside(line, len(self.edges))}
        return _with_middles(beside[min(beside)])

    def own(self, values: Array) -> Array:
        """Values at the nine nodes of each element, shape (E, 9). [any]

        Parameters
        ----------
        values
            At the nodes, shape (N,). [any]
        """
        found = values[self.nodes]
        found[self.following] = (self.share @ found[self.following, :, None])[..., 0]
        return found

    def summed(self, force: Array) -> Array:
        """Forces on the nodes that do the work of forces on those of each element, (N,). [N]

        Parameters
        ----------
        force
            On the nine nodes of each element, shape (E, 9). [N]
        """
        whole = force.copy()
        whole[self.following] = (force[self.following, None] @ self.share)[:, 0]
        on_nodes = np.bincount(self.nodes.ravel(), whole.ravel(), self.radius.size)
        return np.asarray(on_nodes, np.float64)

    def rows(self, first: int, last: int) -> Elements:
        """Those of some rows, as a body of their own.

        Parameters
        ----------
        first, last
            Rows, the last not among them. [-]
        """
        own = slice(self.start[first], self.start[last])
        nodes = slice(self.line[2 * first], self.line[2 * last + 1])
        some = (self.following >= own.start) & (self.following < own.stop)
        return Elements(
            radius=self.radius[nodes],
            height=self.height[nodes],
            nodes=self.nodes[own] - nodes.start,
            following=self.following[some] - own.start,
            share=self.share[some],
            line=self.line[2 * first : 2 * last + 2] - nodes.start,
            edges=self.edges[first:last],
        )


def elements_of(mesh: SolidMesh, *, merged: bool) -> Elements:
    """The elements of a section.

    Parameters
    ----------
    mesh
        The section.
    merged
        Whether rows are only as fine as `SolidMesh.through` asks; else each has all the grid's
        elements, and nodes are numbered as the grid's.
    """
    grid = mesh.place[::2]
    through = mesh.through if merged and mesh.through else (grid,) * mesh.rows
    sizes = np.array([edges.size for edges in through])
    kinds = {edges.size: edges for edges in through}  # one within the other
    on_line = np.array(
        [min(sizes[k] for k in _beside(line, sizes.size)) for line in range(2 * sizes.size + 1)]
    )
    first = np.cumsum([0, *(2 * on_line - 1)])
    radius, height = np.empty((2, first[-1]))
    for size in np.unique(on_line):
        lines = np.flatnonzero(on_line == size)
        place = _with_middles(kinds[size])
        k, x = _inside(grid, place)
        numbers, share = 2 * k[:, None] + np.arange(3), line_shape(x)
        at = first[lines, None] + np.arange(place.size)
        for out, known in ((radius, mesh.radius), (height, mesh.height)):
            out[at] = np.einsum("lnk,nk->ln", known[lines][:, numbers], share)
    nodes, shares, odd = [], [], []
    met: dict[tuple[int, int], tuple[NDArray[np.intp], Array]] = {}
    for row, size in enumerate(sizes):
        block = np.zeros((size - 1, 9, 9))
        triples = []
        for j in range(3):
            line = 2 * row + j
            pair = int(size), int(on_line[line])
            if pair not in met:
                met[pair] = _followed(kinds[pair[0]], kinds[pair[1]])
            local, block[:, 3 * j : 3 * j + 3, 3 * j : 3 * j + 3] = met[pair]
            triples.append(first[line] + local)
        nodes.append(np.concatenate(triples, axis=1))
        if (on_line[2 * row : 2 * row + 3] != size).any():
            odd.append(row)
            shares.append(block)
    start = np.cumsum([0, *(sizes - 1)])
    following = [np.arange(start[row], start[row + 1]) for row in odd]
    return Elements(
        radius=radius,
        height=height,
        nodes=np.concatenate(nodes),
        following=np.concatenate([np.zeros(0, dtype=np.intp), *following]),
        share=np.concatenate([np.zeros((0, 9, 9)), *shares]),
        line=first,
        edges=through,
    )


def _with_middles(edges: Array) -> Array:
    """Places of the nodes of elements."""
    out = np.empty(2 * edges.size - 1)
    out[::2], out[1::2] = edges, 0.5 * (edges[:-1] + edges[1:])
    return out


def gauss_places(edges: Array) -> Array:
    """Places of the Gauss points of elements, shape (3 n,). [-]

    Parameters
    ----------
    edges
        Of the elements, n + 1 places. [-]
    """
    middle, half = 0.5 * (edges[:-1] + edges[1:]), 0.5 * (edges[1:] - edges[:-1])
    return np.asarray((middle[:, None] + half[:, None] * GAUSS).ravel())


def _inside(edges: Array, place: Array) -> tuple[NDArray[np.intp], Array]:
    """Element each place lies in, and where in it, -1 to 1."""
    k = np.clip(np.searchsorted(edges, place, side="right") - 1, 0, edges.size - 2)
    low, high = edges[k], edges[k + 1]
    return k, (2.0 * place - low - high) / (high - low)


def to_lines(edges: Array, place: Array) -> Array:
    """From the Gauss points of a row's elements to values at places, shape (3 n, places). [-]

    Parameters
    ----------
    edges
        Of the elements, n + 1 places. [-]
    place
        Through the wall. [-]
    """
    k, x = _inside(edges, place)
    out = np.zeros((place.size, 3 * (edges.size - 1)))
    out[np.arange(place.size)[:, None], 3 * k[:, None] + np.arange(3)] = point_shape(x)
    return out.T


def _beside(line: int, rows: int) -> range:
    """Rows on whose edge or middle a line of nodes is."""
    return range(max((line - 1) // 2, 0), min(line // 2, rows - 1) + 1)


def _followed(edges: Array, coarser: Array) -> tuple[NDArray[np.intp], Array]:
    """Nodes of a line, and their shares in those of each element beside it, (n, 3), (n, 3, 3)."""
    middle = 0.5 * (edges[:-1] + edges[1:])
    k, _ = _inside(coarser, middle)
    numbers = 2 * k[:, None] + np.arange(3)
    if edges.size == coarser.size:
        return numbers, np.broadcast_to(np.eye(3), (middle.size, 3, 3))
    own = np.stack([edges[:-1], middle, edges[1:]], axis=1)
    low, high = coarser[k, None], coarser[k + 1, None]
    return numbers, line_shape((2.0 * own - low - high) / (high - low))


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


def _mapped(r: Array, z: Array) -> tuple[Array, tuple[Array, Array, Array, Array], Array]:
    """Radius at the points of elements, slopes of r and z by ξ and η, and their determinant."""
    r_x, z_x, r_y, z_y = r @ _ACROSS.T, z @ _ACROSS.T, r @ _ALONG.T, z @ _ALONG.T
    return r @ POINT_SHAPE.T, (r_x, z_x, r_y, z_y), r_x * z_y - r_y * z_x


def volumes(elements: Elements) -> Array:
    """Volume that each point stands for, shape (E, 9). [m³]

    Parameters
    ----------
    elements
        Nodes and where they lie.
    """
    at, _, area = _mapped(elements.own(elements.radius), elements.own(elements.height))
    return np.asarray(2.0 * np.pi * at * area * _WEIGHT)


def solid_geometry(elements: Elements, moved: Array | None = None) -> SolidGeometry:
    """Operators of elements with nine nodes.

    Parameters
    ----------
    elements
        Nodes and where they lie.
    moved
        How far they have moved from there, shape (N, 2). [m]

    Raises
    ------
    InputError
        If an element is turned inside out.
    """
    moved = np.zeros((elements.radius.size, 2)) if moved is None else moved
    r, z = elements.own(elements.radius + moved[:, 0]), elements.own(elements.height + moved[:, 1])
    at, (r_x, z_x, r_y, z_y), volume = _mapped(r, z)
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
    some = elements.following
    own = operator[some].reshape(some.size, 36, 9, 2)
    whole = operator.reshape(len(r), 36, 18)
    whole[some] = np.einsum("hknd,hnm->hkmd", own, elements.share, optimize=True).reshape(
        some.size, 36, 18
    )
    return SolidGeometry(radius=at, height=z @ POINT_SHAPE.T, weight=weight, operator=whole)
