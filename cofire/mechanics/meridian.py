"""Cutting the mid-surface of a vessel into elements: finest at the joints, foot and rim.

A vessel is a meridian, radius and height of its mid-surface from foot to rim, turned about its
axis. Bands are horizontal: a step between two bands lies where the meridian crosses the height
of the step. Elements are quadratic, three nodes each; a step, a sharp corner and both ends are
always the end of an element.
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
from cofire.numerics import chord_lengths, crossing, gauss_points, line_slope
from cofire.physics.cylinder import decay_length

if TYPE_CHECKING:
    from cofire.numerics import Array

STEEPEST_LEAN = np.radians(45.05)
"""Lean from the vertical beyond which a wall is not cut into bands by height: 45° to a tenth, as it
is told. [rad]"""

SHARP = np.radians(25.0)
"""Turn of the polygon above which a point is a corner, below it a curve. [rad]"""


@dataclass(frozen=True)
class Meridian:
    """The mid-surface of a shell of revolution, cut into E quadratic elements of 2E + 1 nodes.

    Attributes
    ----------
    radius, height
        Of the nodes, from foot to rim, shape (2E + 1,). [m]
    wall
        Thickness at the nodes, normal to the mid-surface, shape (2E + 1,). [m]
    band
        Band of each element, counted from the lowest, shape (E,). [-]
    step_node
        Node at each step between bands, in order along the meridian, shape (S,). [-]
    support_node
        Node that rests on the shelf. [-]
    lying
        Elements that lie flat on the shelf, shape (E,). [-]
    corner_node
        Nodes where the meridian turns sharply. [-]
    """

    radius: Array
    height: Array
    wall: Array
    band: NDArray[np.intp]
    step_node: NDArray[np.intp]
    support_node: int
    lying: NDArray[np.bool_]
    corner_node: NDArray[np.intp]

    @property
    def elements(self) -> int:
        """Number of elements. [-]"""
        return int(self.band.size)

    @property
    def on_axis(self) -> bool:
        """Whether the vessel is closed by a base that reaches the axis."""
        return bool(self.radius[0] == 0.0)

    @property
    def nodes(self) -> NDArray[np.intp]:
        """Nodes of each element, shape (E, 3). [-]"""
        return np.asarray(2 * np.arange(self.elements)[:, None] + np.arange(3))

    @cached_property
    def arc_length(self) -> Array:
        """Distance of the nodes from the foot along the mid-surface, shape (2E + 1,). [m]"""
        r, z = self.radius[self.nodes], self.height[self.nodes]
        halves = []
        for middle in (-0.5, 0.5):
            slope = line_slope(middle + 0.5 * gauss_points(2)[0])
            halves.append(np.hypot(slope @ r.T, slope @ z.T).mean(axis=0))
        return np.concatenate([[0.0], np.cumsum(np.stack(halves, axis=1).ravel())])

    @cached_property
    def decay_lengths(self) -> Array:
        """Distance of the nodes from the foot of the standing wall, shape (2E + 1,). [1/β]

        In lengths over which the wall forgets an edge, each where it is, so that a wall that
        thins or widens slowly counts as a cylinder: ∫ ds β.
        """
        radius, wall = (0.5 * (v[1:] + v[:-1]) for v in (self.radius, self.wall))
        halves = np.diff(self.arc_length) / decay_length(radius, wall)
        standing = np.repeat(~self.lying, 2)
        return np.concatenate([[0.0], np.cumsum(np.where(standing, halves, 0.0))])

    def split(self) -> Meridian:
        """The same meridian with every element cut in two. [-]"""
        return Meridian(
            radius=_halved(self.radius[self.nodes]),
            height=_halved(self.height[self.nodes]),
            wall=_halved(self.wall[self.nodes]),
            band=np.repeat(self.band, 2),
            step_node=2 * self.step_node,
            support_node=2 * self.support_node,
            lying=np.repeat(self.lying, 2),
            corner_node=2 * self.corner_node,
        )


def mesh_meridian(
    radius: npt.ArrayLike,
    height: npt.ArrayLike,
    wall: npt.ArrayLike,
    step_height: npt.ArrayLike = (),
    *,
    fineness: float = 1.0,
    elements: int | None = None,
    corners: npt.ArrayLike | None = None,
    raised: bool = False,
) -> Meridian:
    """Elements along a meridian given by points.

    A smooth curve (cubic spline by chord length) runs through the points between corners. The
    element next to a step is √(r h)/20 long, at most 0.16 h, r being the distance to the axis along
    the normal and h the wall; it grows by 0.4 of the distance from the step, up to √(r h)/2.
    Corners and open ends start at √(r h)/4.

    Parameters
    ----------
    radius, height
        Points of the mid-surface from the foot, or from the axis if there is a base, to the rim,
        shape (P,). [m]
    wall
        Thickness, one number or one a point. [m]
    step_height
        Heights of the steps between bands, rising, shape (S,). [m]
    fineness
        Divides every element length. [-]
    elements
        Number of elements wanted, at least what the lengths above ask for. [-]
    corners
        Indices of points where the meridian turns sharply; without it, wherever the line
        through the points turns by more than 25°. [-]
    raised
        Whether a flat floor of one straight piece is to lie where its middle does, as `mesh_solid`
        lays it: a vessel's points stand on the shelf, so that theirs is its underside. The wall is
        cut there, and the floor is as thick as the first point says. Without such a floor, or
        with a step or a corner below its middle, the points stay as they are. [-]

    Raises
    ------
    InputError
        If the meridian or a step cannot be cut.
    """
    r, z, h, steps = checked_profile(radius, height, wall, step_height)
    chord = chord_lengths(r, z)
    direction = np.unwrap(np.arctan2(np.diff(r), np.diff(z)))
    sharp = np.flatnonzero(np.abs(np.diff(direction)) > SHARP) + 1
    kinks = sharp if corners is None else np.asarray(corners, dtype=np.intp)
    pieces = np.unique(np.concatenate([[0], kinks, [r.size - 1]]))
    curve = MidLine.through(chord, r, z, h, pieces)
    if raised:
        curve = curve.raised(steps)
    step_place = crossings(curve, steps)
    lines = _lines(curve, step_place, fineness, elements)

    place = np.empty(2 * lines.size - 1)
    place[::2], place[1::2] = lines, 0.5 * (lines[:-1] + lines[1:])
    node_r, node_z, node_h = curve.at(place)
    node_r = np.where(np.abs(node_r) < 1e-9 * r.max(), 0.0, node_r)
    if (node_r[1:] <= 0.0).any():
        message = "meridian: the curve through the points passes the axis; add points near it"
        raise InputError(message)
    lowest = node_z <= node_z.min() + 1e-6 * (np.ptp(r) + np.ptp(z))
    triples = 2 * np.arange(lines.size - 1)[:, None] + np.arange(3)
    return Meridian(
        radius=node_r,
        height=node_z,
        wall=node_h,
        band=np.searchsorted(steps, node_z[1::2]).astype(np.intp),
        step_node=(2 * np.searchsorted(lines, step_place)).astype(np.intp),
        support_node=int(np.flatnonzero(lowest)[np.argmax(node_r[lowest])]),
        lying=lowest[triples].all(axis=1),
        corner_node=(2 * np.searchsorted(lines, curve.ends[1:-1])).astype(np.intp),
    )


EVEN = 0.5
"""Of its own thickness from the corner, a raised floor begins to be as thick as the wall. [-]"""


@dataclass(frozen=True)
class MidLine:
    """Radius, height and wall along the chord length of the given points.

    Attributes
    ----------
    chord, h
        Lengths from the first point on and the wall there, shape (P,). [m]
    ends
        Chord lengths at which its smooth pieces end, shape (pieces + 1,). [m]
    splines
        Radius and height of each piece by chord length.
    """

    chord: Array
    h: Array
    ends: Array
    splines: tuple[Any, ...]

    @classmethod
    def through(
        cls, chord: Array, r: Array, z: Array, h: Array, pieces: NDArray[np.intp]
    ) -> MidLine:
        """The line through points, smooth between those that end its pieces."""
        both = np.stack([r, z], axis=1)
        splines = (_piece(chord[a : b + 1], both[a : b + 1]) for a, b in pairwise(pieces))
        return cls(chord, h, chord[pieces], tuple(splines))

    def raised(self, steps: Array) -> MidLine:
        """The same with a flat floor at its middle, and the wall cut there; else itself.

        Chord lengths go on counting from where the wall is cut.

        Parameters
        ----------
        steps
            Heights of the steps, shape (S,). [m]
        """
        floor = self.splines[0]
        if self.ends.size < 3 or not isinstance(floor, _Line):
            return self
        (start, level), wall = floor.start, self.splines[1]
        middle, low, up = float(level + 0.5 * self.h[0]), self.ends[1], self.ends[2]
        if start != 0.0 or floor.slope[1] != 0.0 or (steps <= middle).any():
            return self
        if float(wall(np.array([up]))[0, 1]) <= middle:
            return self
        # where the middle of the wall is as high as that of the floor
        up = float(crossing(lambda place: wall(place)[:, 1] - middle, [low], [up])[0])
        reach = float(wall(np.array([up]))[0, 0])
        even = max(reach - EVEN * float(self.h[0]), 0.5 * reach)
        above = self.chord > up
        thick = np.interp(up, self.chord, np.concatenate([self.h[1:2], self.h[1:]]))
        flat = _Line(np.array([up - reach, up]), np.array([[0.0, middle], [reach, middle]]))
        return MidLine(
            np.concatenate([[up - reach, up - reach + even, up], self.chord[above]]),
            np.concatenate([self.h[:1], self.h[:1], [thick], self.h[above]]),
            np.concatenate([[up - reach, up], self.ends[2:]]),
            (flat, *self.splines[1:]),
        )

    def at(self, place: Array, order: int = 0) -> tuple[Array, Array, Array]:
        """Radius and height, or their derivatives, and wall. [m]

        Parameters
        ----------
        place
            Chord lengths, shape (M,). [m]
        order
            Of the derivative by chord length. [-]
        """
        piece = np.clip(np.searchsorted(self.ends, place) - 1, 0, len(self.splines) - 1)
        both = np.empty((place.size, 2))
        for number, spline in enumerate(self.splines):
            here = piece == number
            both[here] = spline(place[here], order)
        return both[:, 0], both[:, 1], np.interp(place, self.chord, self.h)


class _Line:
    """A straight piece, with what is used here of a spline's interface."""

    def __init__(self, chord: Array, points: Array) -> None:
        self.chord, self.start = chord, points[0]
        self.slope = (points[1] - points[0]) / (chord[1] - chord[0])

    def __call__(self, place: Array, order: int = 0) -> Array:
        along = (place - self.chord[0])[:, None]
        if order > 0:
            return np.asarray((self.slope if order == 1 else 0.0 * self.slope) + 0.0 * along)
        return np.asarray(self.start + along * self.slope)

    def solve(self, value: float, extrapolate: bool = False) -> list[Array]:
        """Where each column takes a value, on the piece."""
        found = []
        for start, slope in zip(self.start, self.slope, strict=True):
            if slope == 0.0:  # level: everywhere, told as nan, or nowhere
                found.append(np.array([np.nan] if value == start else []))
                continue
            at = self.chord[0] + (value - start) / slope
            inside = extrapolate or self.chord[0] <= at <= self.chord[1]
            found.append(np.array([at] if inside else []))
        return found


def _piece(chord: Array, points: Array) -> Any:
    """The curve through points: a line through two, else a cubic spline."""
    if chord.size == 2:
        return _Line(chord, points)
    from scipy.interpolate import CubicSpline  # slow to import; a straight wall needs none

    return CubicSpline(chord, points)


def checked_profile(
    radius: npt.ArrayLike, height: npt.ArrayLike, wall: npt.ArrayLike, steps: npt.ArrayLike
) -> tuple[Array, Array, Array, Array]:
    """The inputs as arrays, refused if no vessel can be made of them.

    Parameters
    ----------
    radius, height
        Points of the mid-surface, shape (P,). [m]
    wall
        Thickness, one number or one a point. [m]
    steps
        Heights of the steps between bands, shape (S,). [m]

    Raises
    ------
    InputError
        If points or steps do not make a wall.
    """
    r, z = np.asarray(radius, dtype=float), np.asarray(height, dtype=float)
    rules = [
        (r.ndim == 1 and r.shape == z.shape and r.size >= 2, "needs two or more points (r, z)"),
        (np.shape(wall) in ((), r.shape), "needs one wall, or one a point"),
    ]
    for good, text in rules:
        if not good:
            message = f"meridian: {text}"
            raise InputError(message)
    h = np.broadcast_to(np.asarray(wall, dtype=float), r.shape)
    given = np.atleast_1d(np.asarray(steps, dtype=float))
    length = np.hypot(np.diff(r), np.diff(z))
    rules = [
        (bool(np.isfinite(np.concatenate([r, z, h, given])).all()), "holds a value not finite"),
        (bool((length > 0.0).all()), "two points in a row are the same"),
        (bool((h > 0.0).all()), f"wall is {1e3 * h.min():g} mm; allowed: above 0"),
        (
            bool((r[1:] > 0.0).all() and r[0] >= 0.0),
            f"radius is {1e3 * r.min():g} mm; allowed: above 0, or 0 at the first point",
        ),
        (bool((np.diff(given) > 0.0).all()), "steps between bands must rise"),
        (
            bool(((given > z.min()) & (given < z.max())).all()),
            f"a step lies outside the vessel; allowed: between {1e3 * z.min():g} and "
            f"{1e3 * z.max():g} mm",
        ),
    ]
    for good, text in rules:
        if not good:
            message = f"meridian: {text}"
            raise InputError(message)
    return r, z, h, given


def crossings(curve: MidLine, steps: Array) -> Array:
    """Chord lengths at which the meridian crosses the heights of the steps, rising. [m]

    Parameters
    ----------
    curve
        The mid-surface.
    steps
        Heights, rising, shape (S,). [m]

    Raises
    ------
    InputError
        If the wall is level there or leans too far.
    """
    found: list[float] = []
    length, inner = curve.chord[-1], curve.chord[1:-1]
    for step in steps:
        own: list[float] = []
        for spline in curve.splines:
            roots = spline.solve(step, extrapolate=False)[1]
            if np.isnan(roots).any():
                at = f"to_mm = {1e3 * step:.4g}"
                message = f"the joint at {at} runs along a level part of the wall"
                raise InputError(message)
            own.extend(roots)
        if not own and inner.size:  # at a point given it may lie beyond both sides by round-off
            away = np.abs(curve.at(inner)[1] - step)
            own = inner[away <= 1e-9 * length].tolist()
        found.extend(own)
    places = np.array(sorted(found))
    if not places.size:
        return places
    slope_r, slope_z, _ = curve.at(places, 1)
    lean = np.arctan2(np.abs(slope_r), np.abs(slope_z))
    if (lean > STEEPEST_LEAN).any():
        worst = int(lean.argmax())
        message = (
            f"the joint at to_mm = {1e3 * curve.at(places)[1][worst]:.4g} crosses a wall that "
            f"leans {np.degrees(lean[worst]):.1f}°; allowed: up to "
            f"{np.degrees(STEEPEST_LEAN):.0f}°; move the joint, or make the wall steeper there"
        )
        raise InputError(message)
    return np.asarray(places[np.concatenate([[True], np.diff(places) > 1e-9 * length])])


def _lines(curve: MidLine, steps: Array, fineness: float, elements: int | None) -> Array:
    """Chord lengths of the ends of the elements."""
    breaks = np.unique(np.concatenate([curve.ends, steps]))
    fine = np.unique(np.concatenate([np.linspace(curve.chord[0], curve.chord[-1], 2000), breaks]))
    r, _, h = curve.at(fine)
    slope_r, slope_z, _ = curve.at(fine, 1)
    cosine = np.abs(slope_z) / np.hypot(slope_r, slope_z)
    scale = np.sqrt(np.maximum(r / np.maximum(cosine, 0.2), h) * h)
    ends = curve.ends[1:] if r[0] == 0.0 else curve.ends
    size = np.minimum(_size(fine, scale, ends, 4.0), 0.5 * scale)
    size = np.minimum(size, _size(fine, np.minimum(scale, 3.2 * h), steps, 20.0)) / fineness
    number = _numbers(breaks, fine, size)
    if elements is not None and elements < number.sum():
        message = f"meridian: {elements} elements asked for; allowed: {number.sum()} or more"
        raise InputError(message)
    return graded_lines(breaks, fine, size, elements)


def graded_lines(breaks: Array, fine: Array, size: Array, elements: int | None = None) -> Array:
    """Places of the ends of elements of wanted lengths between breaks. [m]

    Parameters
    ----------
    breaks
        Places that must be an end, rising, shape (N,). [m]
    fine
        Places at which the length is given, breaks included, rising, shape (M,). [m]
    size
        Length wanted there, shape (M,). [m]
    elements
        Number wanted, if more than the lengths ask for. [-]
    """
    count = _counted(fine, size)
    at_breaks = np.interp(breaks, fine, count)
    wanted = np.diff(at_breaks)
    number = _numbers(breaks, fine, size)
    while elements is not None and number.sum() < elements:
        number[np.argmax(wanted / number)] += 1
    parts = [
        np.linspace(low, high, n + 1)[:-1]
        for low, high, n in zip(at_breaks[:-1], at_breaks[1:], number, strict=True)
    ]
    lines = np.interp(np.concatenate([*parts, at_breaks[-1:]]), count, fine)
    lines[np.concatenate([[0], np.cumsum(number)])] = breaks
    return np.asarray(lines)


def _counted(fine: Array, size: Array) -> Array:
    """Number of elements, as a real number, from the first place on."""
    each = np.diff(fine) * 0.5 * (1 / size[1:] + 1 / size[:-1])
    return np.concatenate([[0.0], np.cumsum(each)])


def _numbers(breaks: Array, fine: Array, size: Array) -> NDArray[np.intp]:
    """Least number of elements between breaks."""
    wanted = np.diff(np.interp(breaks, fine, _counted(fine, size)))
    return np.maximum(1, np.ceil(wanted - 1e-9)).astype(np.intp)


def _size(place: Array, scale: Array, features: Array, divisor: float) -> Array:
    """Element length wanted at each place, growing away from the nearest feature. [m]"""
    if not features.size:
        return np.full(place.shape, np.inf)
    distance = np.abs(place[:, None] - features)
    nearest = np.argmin(distance, axis=1)
    start = np.interp(features, place, scale)[nearest] / divisor
    return np.asarray(start + 0.4 * distance.min(axis=1))


def _halved(triple: Array) -> Array:
    """Values at the nodes of elements cut in two, from those at their three nodes."""
    first = 0.375 * triple[:, 0] + 0.75 * triple[:, 1] - 0.125 * triple[:, 2]
    second = 0.375 * triple[:, 2] + 0.75 * triple[:, 1] - 0.125 * triple[:, 0]
    inner = np.stack([triple[:, 0], first, triple[:, 1], second], axis=1).ravel()
    return np.append(inner, triple[-1, 2])
