"""Cutting the section of a vessel into elements: finest at joints, inside corners, foot and rim.

The section is cut into rows from foot (or axis) to rim, each row into the same number of elements
from the inside to the outside; those of rows far from joints are solved as fewer. The line between
two rows goes straight through the wall: level at a joint, as bands are laid level, level at an open
foot and rim, along the mitre where a floor meets the wall, square to the mid-surface elsewhere; in
between it turns gradually. Elements have nine nodes, and those within a row are thinnest at the
faces.

A flat floor stands with its underside where the wall starts, so its middle lies half a floor above
that; the wall is cut there. The mid-surface given is taken as in `meridian`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.mechanics.meridian import (
    SHARP,
    STEEPEST_LEAN,
    Meridian,
    MidLine,
    checked_profile,
    crossings,
    graded_lines,
)
from cofire.numerics import chord_lengths, crossing

if TYPE_CHECKING:
    from cofire.numerics import Array

USUAL_ACROSS = 8
"""Elements through the wall: elastic windows of a tenth of a wall are within 2 % of the largest of
them, those of a quarter within 1 %, stress from half a wall on within 1 %. [-]"""

FINE_ACROSS = 10
"""Elements where a band or an end is shorter than half a wall. [-]"""

_LAYER = 0.028  # thickness of the elements at the faces over the wall, times elements across
_BESIDE_STEP = 0.005  # length of the first element over the wall, with the usual number across
_LITTLE = 0.03  # change of material below which the first element grows no longer
_BY_CHANGE = 0.7  # power of the change over which the first element is longer
_NONE_FINE = 0.013  # length of the finest row from which there are two elements fewer
_THIN, _THIN_POWER = 0.23, 0.615  # thickness at the faces over the wall, by length of the row
_AT_END = 0.2
_ROD_ACROSS, _ROD_LAYER, _ROD_STEP, _ROD_GROWTH = 6, 0.1, 0.03, 0.4  # the same of rods and discs
_FEWEST = 5  # edges of a row's elements
_GROWTH = 0.5  # of the length, per distance
_EVEN = (0.3, 1.2)  # distances over the wall between which rows grow no longer
_LARGEST = 0.5  # over √(radius × wall)
_AT_KINK = 0.1
_AT_NOTCH = 0.02  # where the faces of the wall turn inwards by more than `_NOTCH`
_NOTCH = np.radians(10.0)
_SHOULDER = 2.0  # growth of the wall along itself from which it is a shoulder of its faces
_THICKENS = 0.1  # change of slope of the wall that counts as a corner of its face
_TURN = 2.0  # walls over which a level or mitred cut turns square
_OFF_CORNER = 0.04  # walls from the top of a floor within which joints are cut above the corner


@dataclass(frozen=True)
class SolidMesh:
    """The section of a vessel in A rows of C elements, (2A + 1) by (2C + 1) nodes.

    Attributes
    ----------
    radius, height
        Of the nodes, rows from foot to rim, columns from inside to outside,
        shape (2A + 1, 2C + 1). [m]
    place
        Of the columns through the wall, -1 inside to 1 outside, shape (2C + 1,). [-]
    wall
        Thickness at each row of nodes, square to the mid-surface, shape (2A + 1,). [m]
    band
        Band of each row of elements, from the lowest, shape (A,). [-]
    step_row, corner_row
        Rows of nodes at steps between bands; and at sharp corners, and where the faces turn inwards
        by more than 10°, as at the thin end of a shoulder of the wall. [-]
    support
        Row and column of the node that is held axially. [-]
    lying
        Rows of elements that lie flat on the shelf, shape (A,). [-]
    through
        Places through the wall of the edges of the elements that each row needs, A arrays, each
        some of those of `place` or within one another; empty if each row needs all. [-]
    """

    radius: Array
    height: Array
    place: Array
    wall: Array
    band: NDArray[np.intp]
    step_row: NDArray[np.intp]
    corner_row: NDArray[np.intp]
    support: tuple[int, int]
    lying: NDArray[np.bool_]
    through: tuple[Array, ...] = ()

    @property
    def rows(self) -> int:
        """Rows of elements. [-]"""
        return int(self.band.size)

    @property
    def across(self) -> int:
        """Elements through the wall. [-]"""
        return (self.place.size - 1) // 2

    @cached_property
    def nodes(self) -> NDArray[np.intp]:
        """Numbers of the nine nodes of each element, (A C, 9), column fastest, row by row. [-]"""
        columns = self.place.size
        first = 2 * columns * np.arange(self.rows)[:, None] + 2 * np.arange(self.across)
        own = columns * np.arange(3)[:, None] + np.arange(3)
        return np.asarray(first.reshape(-1, 1) + own.ravel(), dtype=np.intp)

    @cached_property
    def meridian(self) -> Meridian:
        """The mid-surface, as a shell would have it. [-]"""
        middle = self.place.size // 2
        return Meridian(
            radius=self.radius[:, middle],
            height=self.height[:, middle],
            wall=self.wall,
            band=self.band,
            step_node=self.step_row,
            support_node=self.support[0],
            lying=self.lying,
            corner_node=self.corner_row,
        )

    def finer(self) -> SolidMesh:
        """The same section with every element cut in four. [-]"""
        halved = {edges.tobytes(): cut_in_two(edges, self.place[::2]) for edges in self.through}
        return SolidMesh(
            radius=_halved(_halved(self.radius).T).T,
            height=_halved(_halved(self.height).T).T,
            place=_halved(self.place[:, None])[:, 0],
            wall=_halved(self.wall[:, None])[:, 0],
            band=np.repeat(self.band, 2),
            step_row=2 * self.step_row,
            corner_row=2 * self.corner_row,
            support=(2 * self.support[0], 2 * self.support[1]),
            lying=np.repeat(self.lying, 2),
            through=tuple(halved[edges.tobytes()] for edges in self.through for _ in range(2)),
        )


def elements_across(
    radius: npt.ArrayLike,
    height: npt.ArrayLike,
    wall: npt.ArrayLike,
    step_height: npt.ArrayLike = (),
) -> int:
    """Elements through the wall that a vessel needs: more where a band or an end is short. [-]

    Parameters
    ----------
    radius, height
        Points of the mid-surface, shape (P,). [m]
    wall
        Thickness, one number or one a point. [m]
    step_height
        Heights of the steps between bands, shape (S,). [m]
    """
    r, z, h, steps = checked_profile(radius, height, wall, step_height)
    low = z[0] + h[0] if r[0] == 0.0 else z.min()  # from the inside corner on
    slope = np.diff(h) / np.hypot(np.diff(r), np.diff(z))
    shoulder = z[:-1][np.abs(slope) > _SHOULDER]
    edges = np.sort(np.concatenate([[low], steps, shoulder, [z.max()]]))
    short = np.diff(edges) < 0.5 * h.max()
    return FINE_ACROSS if steps.size and short.any() else USUAL_ACROSS


def mesh_solid(
    radius: npt.ArrayLike,
    height: npt.ArrayLike,
    wall: npt.ArrayLike,
    step_height: npt.ArrayLike = (),
    *,
    across: int | None = None,
    corners: npt.ArrayLike | None = None,
    change: npt.ArrayLike | None = None,
) -> SolidMesh:
    """Elements of the section around a mid-surface given by points.

    Rows next to a step or corner are 0.005 of the wall long, at open ends a fifth, with eight
    elements across, and in proportion with more; they grow by half of the distance, but not
    between 0.3 and 1.2 walls away, as stress is read at half a wall and one, and to no more than
    half of the length √(radius × wall) over which bending fades. Beside a step at which little
    changes they are longer, as one over the change to the power of 0.7: what they lack is a share
    of the step's own stress. The elements at the faces are 1/286 of the wall thick, and each is
    about five times as thick as its outer neighbour. Stress beside a joint changes as fast through
    the wall as along it, and has no bound at its edge: what a mean over a tenth of a wall lacks
    goes with the size of the elements *at the edge*, whatever the others are. Rows of 0.03 and
    faces of 1/60, as they once were, left a tenth 4.8 % short in the shipped vase while elastic,
    and 16 % above where its metal yields. Where all of a vessel's first rows are longer than 0.013,
    faces have thicker elements in proportion and there are six.

    What is solved is coarser (`SolidMesh.through`): a row has elements at the faces no thinner
    than it needs, 0.23 of the wall times its length over the wall to the power of 0.615, and no
    fewer than four. That takes 5 to 36 % of the nodes of shipped vessels away and moves elastic
    stress from a quarter of a wall on by 0.3 %. (Two would move the crest of bending by 1.4.)

    Parameters
    ----------
    radius, height
        Points of the mid-surface from the foot, or from the axis if there is a base, to the rim,
        shape (P,). [m]
    wall
        Thickness, one number or one a point; of a flat floor that of its first point. [m]
    step_height
        Heights of the steps between bands, rising, shape (S,). What lies within 0.04 walls of the
        top of a floor is cut 0.02 to 0.04 above it. [m]
    across
        Elements through the wall, 1 to 40; `elements_across` if not given. [-]
    corners
        Indices of points where the meridian turns sharply; without it, wherever the line
        through the points turns by more than 25°. [-]
    change
        How much of the material changes at each step, from one to quite another, shape (S,); all
        of it if not given. [-]

    Raises
    ------
    InputError
        If the section cannot be cut.
    """
    r, z, h, steps = checked_profile(radius, height, wall, step_height)
    if r[0] == 0.0:  # a level cut through the very corner leaves rows without height inside
        top, off = z[0] + h[0], _OFF_CORNER * h[1]
        near = np.abs(steps - top) < off
        steps = np.where(near, top + 0.75 * off + 0.25 * (steps - top), steps)  # in order still
    count = elements_across(r, z, h, steps) if across is None else across
    if not 1 <= count <= 40:
        message = f"solid: {count} elements across the wall; allowed: 1 to 40"
        raise InputError(message)
    chord = chord_lengths(r, z)
    direction = np.unwrap(np.arctan2(np.diff(r), np.diff(z)))
    sharp = np.flatnonzero(np.abs(np.diff(direction)) > SHARP) + 1
    kinks = sharp if corners is None else np.asarray(corners, dtype=np.intp)
    ends = np.unique(np.concatenate([[0], kinks, [r.size - 1]]))
    line = MidLine.through(chord, r, z, h, ends)
    step_place = crossings(line, steps)
    pieces = _pieces(line, r, z, h, chord, ends)
    whole = np.ones(steps.size) if change is None else np.asarray(change, np.float64)
    features = _features(pieces, step_place, chord, h, whole)
    places, row_of = _rows(pieces, features, USUAL_ACROSS / count)
    finest = min((f.first for f in features if f.kind in ("step", "corner")), default=_AT_KINK)
    layer = _LAYER / count
    if change is not None and count == USUAL_ACROSS and finest >= _NONE_FINE:
        layer *= finest / _BESIDE_STEP
        count -= 2
    x = _columns(count, layer)
    node_r, node_z = np.empty((places.size, x.size)), np.empty((places.size, x.size))
    thickness = np.empty(places.size)
    for own, piece in _by_piece(places, pieces):
        side = [
            piece.face(places[own] + _shift(places[own], features, piece, s), s) for s in (0, 1)
        ]
        share = 0.5 * (1.0 + x)
        for out, middle, inner, outer in zip(
            (node_r, node_z), piece.middle(places[own]), *side, strict=True
        ):
            out[own] = inner[:, None] * (1.0 - share) + outer[:, None] * share
            between = middle - 0.5 * (inner + outer)
            out[own] += between[:, None] * (1.0 - x * x)
        thickness[own] = piece.wall(places[own])
    if r[0] == 0.0:
        node_r[0] = 0.0
    if (node_r[1:] <= 0.0).any():
        message = "solid: the inside of the wall passes the axis; thin it or widen the vessel there"
        raise InputError(message)
    middle = x.size // 2
    band = np.searchsorted(steps, node_z[1::2, middle]).astype(np.intp)
    floor = places[1::2] < pieces[0].end if pieces[0].floor else np.zeros(band.size, dtype=bool)
    band[floor] = 0
    lowest = float(node_z.min())
    level = node_z <= lowest + 1e-6 * (np.ptp(r) + np.ptp(z))
    row, column = np.unravel_index(int(np.argmax(np.where(level, node_r, -1.0))), level.shape)
    return SolidMesh(
        radius=node_r,
        height=node_z,
        place=x,
        wall=thickness,
        band=band,
        step_row=np.array([row_of[f.place] for f in features if f.kind == "step"], dtype=np.intp),
        corner_row=np.array([row_of[f.place] for f in features if f.kind == "corner"], np.intp),
        support=(int(row), int(column)),
        lying=np.asarray(floor, dtype=bool),
        through=tuple(
            merged_edges(x[::2], _THIN * long**_THIN_POWER)
            for long in np.diff(places[::2]) / thickness[1::2]
        ),
    )


def mesh_cylinder(
    radius: float, thickness: npt.ArrayLike, *, across: int = _ROD_ACROSS
) -> SolidMesh:
    """Elements of a solid rod, disc or round plate of flat layers, about its axis.

    The half section from the axis out is read as a wall as thick as the radius, whose inside is
    the axis and whose foot and rim are the end faces: every reader of a vessel reads it. Rows are
    graded to joints and end faces by the thinner of the radius and the layers they bound.

    Expected of a joint of two long rods, elastic, before anything was solved: far from it nothing;
    along the rim beside it tension in the body that contracts less and pressure in the other, going
    as r^(λ − 1) with the λ of `corner_exponent`; on the axis the reverse, as no force crosses a
    level. Equal bodies carry nothing. A thin disc bends as `tile` does, off its rim. All came true.

    Parameters
    ----------
    radius
        [m]
    thickness
        Of the layers from the lowest up, shape (N,). [m]
    across
        Elements from axis to rim, 2 to 40. [-]

    Raises
    ------
    InputError
        If the radius or a layer is not above zero.

    Examples
    --------
    >>> mesh = mesh_cylinder(5e-3, [4e-3, 4e-3])
    >>> float(mesh.radius[0, 0]), float(mesh.radius[0, -1]), mesh.step_row.size
    (0.0, 0.005, 1)
    """
    layers = np.atleast_1d(np.asarray(thickness, dtype=float))
    if not (radius > 0.0 and (layers > 0.0).all()):
        message = f"solid: cylinder of radius {radius:g} m, layers {layers.tolist()} m; above 0"
        raise InputError(message)
    if not 2 <= across <= 40:
        message = f"solid: {across} elements from axis to rim; allowed: 2 to 40"
        raise InputError(message)
    breaks = np.concatenate([[0.0], np.cumsum(layers)])
    scale = np.minimum(layers, radius)
    near = np.minimum(np.append(scale, np.inf), np.append(np.inf, scale))
    first = near * np.where((breaks > 0.0) & (breaks < breaks[-1]), _ROD_STEP, _AT_END)
    fine = np.unique(np.concatenate([np.linspace(0.0, breaks[-1], 4000), breaks]))
    wanted = (first + _ROD_GROWTH * np.abs(fine[:, None] - breaks)).min(axis=1)
    size = np.minimum(wanted, _LARGEST * radius) * _ROD_ACROSS / across
    lines = graded_lines(breaks, fine, size)
    height = np.empty(2 * lines.size - 1)
    height[::2], height[1::2] = lines, 0.5 * (lines[:-1] + lines[1:])
    x = _columns(across, _ROD_LAYER / across)
    even = across // 2  # nothing changes fast at the axis; the middle stays half way
    x[: 2 * even + 1] = np.linspace(-1.0, x[2 * even], 2 * even + 1)
    shape = (height.size, x.size)
    return SolidMesh(
        radius=np.broadcast_to(0.5 * radius * (1.0 + x), shape).copy(),
        height=np.broadcast_to(height[:, None], shape).copy(),
        place=x,
        wall=np.full(height.size, float(radius)),
        band=np.searchsorted(breaks[1:-1], height[1::2]).astype(np.intp),
        step_row=2 * np.searchsorted(lines, breaks[1:-1]).astype(np.intp),
        corner_row=np.zeros(0, dtype=np.intp),
        support=(0, 0),
        lying=np.zeros(lines.size - 1, dtype=bool),
    )


@dataclass(frozen=True)
class _Piece:
    """A smooth part of the mid-surface, by its chord length."""

    curve: Any
    start: float
    end: float
    chord: Array
    thickness: Array
    rise: float = 0.0
    floor: bool = False

    def wall(self, place: Array) -> Array:
        """Thickness. [m]"""
        return np.asarray(np.interp(place, self.chord, self.thickness))

    def middle(self, place: Array) -> tuple[Array, Array]:
        """Radius and height of the mid-surface. [m]"""
        both = np.asarray(self.curve(np.atleast_1d(place)))
        return both[:, 0], both[:, 1] + self.rise

    def tangent(self, place: Array) -> tuple[Array, Array]:
        """Unit vector along the mid-surface. [-]"""
        both = np.asarray(self.curve(np.atleast_1d(place), 1))
        length = np.hypot(both[:, 0], both[:, 1])
        return both[:, 0] / length, both[:, 1] / length

    def face(self, place: Array, side: int) -> tuple[Array, Array]:
        """Radius and height of the inner (0) or outer (1) face. [m]"""
        (r, z), (along_r, along_z) = self.middle(place), self.tangent(place)
        away = (side - 0.5) * self.wall(np.atleast_1d(place))
        return r + away * along_z, z - away * along_r

    def level_cut(self, place: float, side: int, height: float) -> float:
        """How much further along a face reaches a height than the mid-surface does. [m]"""
        shift, step = 0.0, 1e-4 * float(self.wall(np.array([place]))[0])
        for _ in range(30):
            low, high = (
                float(self.face(np.array([place + shift + d]), side)[1][0]) for d in (-step, step)
            )
            change = (height - 0.5 * (low + high)) * 2.0 * step / (high - low)
            shift += change
            if abs(change) < 1e-6 * step:
                break
        return shift


@dataclass(frozen=True)
class _Feature:
    """A place where a row must lie, and how far its ends on both faces lie from it.

    `below` and `above` hold the shift of the inner and outer end for the pieces on each side; None
    where the cut may turn as its neighbours ask.
    """

    place: float
    kind: str
    first: float  # length of the elements next to it, over the wall
    below: tuple[float, float] | None
    above: tuple[float, float] | None


def _pieces(
    line: MidLine, r: Array, z: Array, h: Array, chord: Array, ends: NDArray[np.intp]
) -> list[_Piece]:
    """The smooth parts, a floor raised to where it belongs and the wall cut there."""
    pieces = [
        _Piece(spline, chord[a], chord[b], chord, h)
        for spline, (a, b) in zip(line.splines, pairwise(ends), strict=True)
    ]
    if r[0] == 0.0 and len(pieces) > 1 and z[0] == z[ends[1]] and ends[1] == 1:
        rise = 0.5 * h[0]
        above = pieces[1]
        # where the middle of the wall is as high as that of the floor
        level = float(z[0]) + rise
        found = crossing(lambda at: above.middle(at)[1] - level, [above.start], [above.end])
        up = float(found[0])
        reach = float(above.middle(np.array([up]))[0][0])
        flat, even = _Flat(reach, up, float(z[0])), np.full(chord.size, h[0])
        walled = np.concatenate([h[1:2], h[1:]])
        pieces[:2] = [
            _Piece(flat, up - reach, up, chord, even, rise, floor=True),
            _Piece(above.curve, up, above.end, chord, walled),
        ]
    return pieces


@dataclass(frozen=True)
class _Flat:
    """A level floor that ends at a radius, by the same lengths as the wall it meets."""

    reach: float
    end: float
    level: float

    def __call__(self, place: Array, order: int = 0) -> Array:
        along = place - self.end
        if order == 0:
            return np.stack([self.reach + along, np.full(along.shape, self.level)], axis=1)
        return np.stack([np.ones(along.shape), np.zeros(along.shape)], axis=1)


def _features(
    pieces: list[_Piece], steps: Array, chord: Array, h: Array, change: Array
) -> list[_Feature]:
    """Ends, steps, corners and kinks of the wall, in order."""
    found = []
    first, last = pieces[0], pieces[-1]
    on_axis = float(first.middle(np.array([first.start]))[0][0]) < 1e-9 * chord[-1]
    square = (0.0, 0.0)
    found.append(
        _Feature(first.start, "axis", np.inf, None, square)
        if on_axis
        else _Feature(first.start, "end", _AT_END, None, _level(first, first.start))
    )
    found.append(_Feature(last.end, "end", _AT_END, _level(last, last.end), None))
    for before, after in pairwise(pieces):
        both = [_mitre(before, after, side) for side in (0, 1)]
        below, above = zip(*both, strict=True)
        found.append(_Feature(before.end, "corner", _BESIDE_STEP, below, above))
    sizes = _BESIDE_STEP / np.maximum(change, _LITTLE) ** _BY_CHANGE
    for step, size in zip(steps, sizes, strict=True):
        piece = _piece_of(pieces, step)
        if piece.floor or step <= piece.start:
            height = float(pieces[0].middle(np.array([pieces[0].end]))[1][0])
            message = (
                "a step between bands, or of the smear of a change of paste, lies in the floor, "
                f"whose middle is {1e3 * height:.3g} mm up; joint and smear would have to lie "
                "above it"
            )
            raise InputError(message)
        level = _level(piece, step)
        found.append(_Feature(step, "step", float(size), level, level))
    taken = np.array([f.place for f in found])
    slope = np.diff(h) / np.diff(chord)
    for k in np.flatnonzero(np.abs(np.diff(slope)) > _THICKENS) + 1:
        place, wall = float(chord[k]), float(h[k])
        inside = pieces[0].start < place < last.end and not _piece_of(pieces, place).floor
        if not inside or np.abs(taken - place).min() < 1e-3 * wall:
            continue
        cut, bow = None, 0.0
        for side, away in ((k - 1, 1.0), (k, -1.0)):
            if abs(slope[side]) > _SHOULDER:  # its outer corners are met by a bowed row
                other = float(h[2 * side + 1 - k])
                ahead = taken[(taken - place) * away > 0.0]
                room = 0.5 * float(np.abs(ahead - place).min(initial=np.inf))
                bow = away * min(0.5 * abs(wall - other), room) if wall > other else 0.0
                cut = (-bow, -bow)
        inwards = np.arctan(0.5 * slope[k]) - np.arctan(0.5 * slope[k - 1])
        kind, row = ("corner", _AT_NOTCH) if inwards > _NOTCH else ("kink", _AT_KINK)
        found.append(_Feature(place + bow, kind, row, cut, cut))
    return sorted(found, key=lambda f: f.place)


def _piece_of(pieces: list[_Piece], place: float) -> _Piece:
    """The part a place lies in."""
    return next((p for p in pieces if place < p.end), pieces[-1])


def _level(piece: _Piece, place: float) -> tuple[float, float]:
    """Shift of the ends of a level cut; square where the wall leans too far."""
    along_r, along_z = (float(v[0]) for v in piece.tangent(np.array([place])))
    if abs(np.arctan2(along_r, abs(along_z))) > STEEPEST_LEAN:
        return (0.0, 0.0)
    height = float(piece.middle(np.array([place]))[1][0])
    return (piece.level_cut(place, 0, height), piece.level_cut(place, 1, height))


def _mitre(before: _Piece, after: _Piece, side: int) -> tuple[float, float]:
    """How far beyond a corner the faces of the parts below and above meet."""
    shift = np.zeros(2)
    step = 1e-5 * float(before.wall(np.array([before.end]))[0])

    def gap(a: float, b: float) -> Array:
        one = before.face(np.array([before.end + a]), side)
        two = after.face(np.array([after.start + b]), side)
        return np.array([one[0][0] - two[0][0], one[1][0] - two[1][0]])

    for _ in range(30):
        now = gap(*shift)
        slope = np.stack(
            [
                (gap(shift[0] + step, shift[1]) - now) / step,
                (gap(shift[0], shift[1] + step) - now) / step,
            ],
            axis=1,
        )
        change = np.linalg.solve(slope, -now)
        shift = shift + change
        if np.abs(change).max() < 1e-6 * step:
            break
    return float(shift[0]), float(shift[1])


def _shift(places: Array, features: list[_Feature], piece: _Piece, side: int) -> Array:
    """How far the ends of rows on a face lie from the row's place. [m]"""
    known = []
    for f in features:
        if not piece.start - 1e-12 <= f.place <= piece.end + 1e-12:
            continue
        value = f.below if f.place >= piece.end - 1e-12 else f.above
        if value is not None:
            known.append((f.place, value[side]))
    out = np.zeros(places.shape)
    for (low, first), (high, last) in pairwise(known):
        own = (places >= low) & (places <= high)
        room = high - low
        if last - first <= -room:
            message = (
                f"solid: level cut and corner, or two cuts, cross {1e3 * low:.3g} to "
                f"{1e3 * high:.3g} mm up the wall; move the step away"
            )
            raise InputError(message)
        reach = [
            max(_TURN * float(piece.wall(np.array([at]))[0]), 3.0 * abs(value))
            for at, value in ((low, first), (high, last))
        ]
        s = places[own]
        if sum(reach) <= room:
            out[own] = first * _fading((s - low) / reach[0]) + last * _fading((high - s) / reach[1])
        else:
            t = (s - low) / room
            out[own] = first + (last - first) * t
    return out


def _fading(t: Array) -> Array:
    """From one to zero, level at both ends."""
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(1.0 - t * t * (3.0 - 2.0 * t))


def _rows(
    pieces: list[_Piece], features: list[_Feature], size: float
) -> tuple[Array, dict[float, int]]:
    """Places of the rows of nodes, and the row of each feature."""
    breaks = np.array([f.place for f in features])
    fine = np.unique(np.concatenate([np.linspace(breaks[0], breaks[-1], 4000), breaks]))
    wanted = np.empty(fine.shape)
    at_features, walls = np.empty((2, breaks.size))
    for own, piece in _by_piece(fine, pieces):
        radius, _ = piece.middle(fine[own])
        cosine = np.maximum(np.abs(piece.tangent(fine[own])[1]), 0.2)
        wall = piece.wall(fine[own])
        wanted[own] = _LARGEST * np.sqrt(np.maximum(radius / cosine, wall) * wall)
    for k, f in enumerate(features):
        around = [p for p in pieces if p.start - 1e-12 <= f.place <= p.end + 1e-12]
        walls[k] = min(float(p.wall(np.array([f.place]))[0]) for p in around)
        at_features[k] = walls[k] * f.first
    away = np.abs(fine[:, None] - breaks)
    low, high = (walls * edge for edge in _EVEN)
    grown = _GROWTH * (np.minimum(away, low) + np.maximum(away - high, 0.0))
    wanted = np.minimum(wanted, (at_features + grown).min(axis=1)) * size
    lines = graded_lines(breaks, fine, wanted)
    places = np.empty(2 * lines.size - 1)
    places[::2], places[1::2] = lines, 0.5 * (lines[:-1] + lines[1:])
    return places, {f.place: 2 * int(np.searchsorted(lines, f.place)) for f in features}


def _by_piece(places: Array, pieces: list[_Piece]) -> list[tuple[NDArray[np.intp], _Piece]]:
    """Which places lie on which part; a corner belongs to the part above it."""
    edges = np.array([p.end for p in pieces[:-1]])
    number = np.searchsorted(edges, places, side="right")
    return [(np.flatnonzero(number == k), piece) for k, piece in enumerate(pieces)]


def _columns(count: int, layer: float) -> Array:
    """Places of the columns of nodes through the wall, growing geometrically from both faces."""
    steps = np.minimum(np.arange(count), count - 1 - np.arange(count))
    # ratio at which the outermost layers are as thin as wanted
    ratio = crossing(lambda q: (q[..., None] ** steps).sum(axis=-1) - 1.0 / layer, 1.0, 100.0)
    width = ratio**steps if count > 2 else np.ones(count)
    line = -1.0 + 2.0 * np.concatenate([[0.0], np.cumsum(width)]) / width.sum()
    line = 0.5 * (line - line[::-1])
    x = np.empty(2 * count + 1)
    x[::2], x[1::2] = line, 0.5 * (line[:-1] + line[1:])
    return x


def merged_edges(edges: Array, most: float) -> Array:
    """Edges of elements through the wall, the outermost ones merged as long as they are thin. [-]

    Parameters
    ----------
    edges
        Places -1 to 1, the same on both sides of the middle, rising. [-]
    most
        Thickness over the wall that the outermost may come to. [-]

    Examples
    --------
    >>> merged_edges(np.array([-1.0, -0.9, -0.5, 0.0, 0.5, 0.9, 1.0]), 0.3)
    array([-1. , -0.5,  0. ,  0.5,  1. ])
    """
    found = edges
    while found.size > _FEWEST and 0.5 * (found[2] - found[0]) <= most:
        found = np.delete(found, [1, -2])
    return found


def cut_in_two(edges: Array, finest: Array) -> Array:
    """Edges with each element cut, where the finest has an edge in it there, else halfway. [-]

    So rows that lay one within the other still do.

    Parameters
    ----------
    edges, finest
        Of elements through the wall, the first some of the second. [-]
    """
    middle = 0.5 * (edges[:-1] + edges[1:])
    between = np.setdiff1d(finest, edges)
    if between.size:
        near = between[np.abs(between - middle[:, None]).argmin(axis=1)]
        middle = np.where((near > edges[:-1]) & (near < edges[1:]), near, middle)
    return np.sort(np.concatenate([edges, middle]))


def _halved(value: Array) -> Array:
    """Values at the nodes of quadratic elements cut in two along the first axis."""
    low, middle, high = value[:-2:2], value[1::2], value[2::2]
    out = np.empty((2 * value.shape[0] - 1, *value.shape[1:]))
    out[::2] = value
    out[1::4] = 0.375 * low + 0.75 * middle - 0.125 * high
    out[3::4] = 0.375 * high + 0.75 * middle - 0.125 * low
    return out
