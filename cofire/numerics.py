"""Curves through tables, values between stations, places through a wall; things that hold arrays.

Fritsch & Butland 1984, SIAM J. Sci. Stat. Comput. 5, 300, with one-sided three-point slopes at the
ends: no overshoot between rows. The same curve as scipy's PchipInterpolator (checked in the
tests); written out because importing that costs a third of the time of a whole check.

Stations are the places of an element where strain is one order better than elsewhere. To keep that
order a value between them is read from the cubic through the nearest four, and a largest value from
the parabola through the three around it. Beyond the last one a line through the last two is used:
where a band yields beside a step, a cubic overshoots.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, lru_cache, wraps
from types import MappingProxyType
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numpy.polynomial.legendre import Legendre, leggauss
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
P = ParamSpec("P")
R = TypeVar("R")


@cache
def _linear_algebra() -> Any:
    """The loaded libraries of linear algebra, whose threads may be limited."""
    import scipy.linalg  # brings a library of its own, which is to be found too  # noqa: F401
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def one_thread(work: Callable[P, R]) -> Callable[P, R]:
    """The same function, with one thread of linear algebra while it runs.

    Every matrix here is small: more threads would wait for each other (a check of the shipped vase
    takes 2.1 s instead of 5.6 on two idle cores).

    Parameters
    ----------
    work : callable
        What marches or factors.

    Returns
    -------
    callable
        With the same arguments and results.
    """

    @wraps(work)
    def alone(*args: P.args, **kwargs: P.kwargs) -> R:
        with _linear_algebra().limit(limits=1, user_api="blas"):
            return work(*args, **kwargs)

    return alone


@cache
def gauss_points(count: int) -> tuple[Array, Array]:
    """Places in −1 … 1 and weights of Gauss and Legendre's rule, worked out once for each count.

    Parameters
    ----------
    count : int
        Of the places. [-]

    Returns
    -------
    tuple of array
        Both of shape (count,), not to be written to. [-]
    """
    places, weights = leggauss(count)
    places.flags.writeable = weights.flags.writeable = False
    return places, weights


@cache
def normal_points(count: int) -> tuple[Array, Array]:
    """Deviates of a standard normal variable and their shares, by Gauss and Hermite's rule.

    Parameters
    ----------
    count : int
        Of the deviates. [-]

    Returns
    -------
    tuple of array
        Both of shape (count,), not to be written to; shares add to 1. [-]

    Examples
    --------
    >>> deviates, shares = normal_points(7)
    >>> round(float(deviates**4 @ shares), 12)
    3.0
    """
    from numpy.polynomial.hermite_e import hermegauss

    deviates, weights = hermegauss(count)
    shares = weights / weights.sum()
    deviates.flags.writeable = shares.flags.writeable = False
    return deviates, shares


@contextmanager
def _stops_wait() -> Iterator[None]:
    """An interrupt or a request to end is answered after what is within, not amidst it.

    For what takes a moment and would lose it. Only the main thread is ever interrupted.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    stops = (signal.SIGINT, signal.SIGTERM)
    before = {one: signal.signal(one, lambda number, _: came.append(number)) for one in stops}
    try:
        yield
    finally:
        for one, answer in before.items():
            signal.signal(one, answer)
        for number in came:
            signal.raise_signal(number)


def sobol_points(count: int, factors: int, seed: int | list[int]) -> Array:
    """Scrambled Sobol' points of the unit cube, evenly spread.

    Scrambled by random linear matrices and a random shift (Matoušek 1998, J. Complexity 14, 527),
    which makes each point uniform, and the average over the points unbiased. What scipy calls
    while it loads their table of directions has no way to pass an exception on, so an interrupt
    waits until that is done.

    Parameters
    ----------
    count : int
        Points; a power of two spreads best. [-]
    factors : int
        Dimensions, 1 or more. [-]
    seed : int or list of int
        The same one gives the same points.

    Returns
    -------
    array
        0 to 1, shape (count, factors). [-]
    """
    return _scrambled(count, factors, seed if isinstance(seed, int) else tuple(seed)).copy()


@lru_cache(maxsize=8)
def _scrambled(count: int, factors: int, seed: int | tuple[int, ...]) -> Array:
    """Each stage of a plan draws the same: a fifth of a second for a hundred factors."""
    from scipy.stats import qmc

    with _stops_wait():
        points = qmc.Sobol(factors, scramble=True, seed=np.random.default_rng(seed))
        whole = points.random_base2(max(count - 1, 1).bit_length())
    return np.asarray(whole[:count])


# ----------------------------------------------------------------------------------------------
# Shape-preserving cubic interpolation of tables


def shape_preserving_slopes(x: Array, y: Array) -> Array:
    """Slopes at the knots.

    Parameters
    ----------
    x : array
        Knots, strictly increasing, shape (K,), at least two. [any]
    y : array
        Values, shape (..., K). [any]

    Returns
    -------
    array
        Shape (..., K). [unit of y over unit of x]
    """
    h = np.diff(x)
    secant = np.diff(y, axis=-1) / h
    if x.size == 2:
        return np.concatenate([secant, secant], axis=-1)
    left, right = secant[..., :-1], secant[..., 1:]
    rises = left * right > 0.0
    w1, w2 = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    safe_left, safe_right = np.where(rises, left, 1.0), np.where(rises, right, 1.0)
    with np.errstate(over="ignore"):  # next to no slope
        inner = np.where(rises, (w1 + w2) / (w1 / safe_left + w2 / safe_right), 0.0)
    first = _end_slope(h[0], h[1], secant[..., 0], secant[..., 1])
    last = _end_slope(h[-1], h[-2], secant[..., -1], secant[..., -2])
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end_slope(near_step: float, next_step: float, near: Array, following: Array) -> Array:
    """One-sided three-point slope, kept from overshooting."""
    slope = ((2.0 * near_step + next_step) * near - near_step * following) / (near_step + next_step)
    slope = np.where(np.sign(slope) != np.sign(near), 0.0, slope)
    turns = (np.sign(near) != np.sign(following)) & (np.abs(slope) > 3.0 * np.abs(near))
    return np.asarray(np.where(turns, 3.0 * near, slope))


def shape_preserving_cubics(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Coefficients of (x − x_k)³, (x − x_k)² and (x − x_k) in each interval.

    Parameters
    ----------
    x, y : array
        As in `shape_preserving_slopes`. [any]

    Returns
    -------
    tuple of array
        Shape (..., K − 1) each. [any]
    """
    h = np.diff(x)
    slope = shape_preserving_slopes(x, y)
    secant = np.diff(y, axis=-1) / h
    start, end = slope[..., :-1], slope[..., 1:]
    bend = (start + end - 2.0 * secant) / h
    return bend / h, (secant - start) / h - bend, start


@dataclass(frozen=True)
class ShapePreserving:
    """A shape-preserving cubic through a table, to be read as often as wanted.

    Attributes
    ----------
    knots, values
        Of the table, shape (K,) each. [any]
    third, second, first
        As from `shape_preserving_cubics`.
    """

    knots: Array
    values: Array
    third: Array
    second: Array
    first: Array

    @classmethod
    def through(cls, knots: Array, values: Array) -> ShapePreserving:
        """The one through a table.

        Parameters
        ----------
        knots, values : array
            Strictly rising knots, at least two, and values, shape (K,) each. [any]
        """
        return cls(knots, values, *shape_preserving_cubics(knots, values))

    def at(self, place: Array) -> Array:
        """Values between the knots; outside them the end cubics go on, so callers bound `place`.

        Parameters
        ----------
        place : array
            Any shape. [unit of the knots]

        Returns
        -------
        array
            Same shape. [unit of the values]
        """
        k = np.searchsorted(self.knots[1:-1], place, side="right")
        d = place - self.knots[k]
        cubic = self.first[k] + d * (self.second[k] + d * self.third[k])
        return np.asarray(self.values[k] + d * cubic)


# ----------------------------------------------------------------------------------------------
# Reading a field along the wall between the stations that carry it

STATIONS = 4
"""Stations a value is read from. [-]"""


def shares(
    place: Array, stations: Array, first: NDArray[np.intp], last: NDArray[np.intp]
) -> tuple[NDArray[np.intp], Array]:
    """Stations to read places from, and the share of each.

    Lagrange's polynomial between stations, a line through the last two beyond them.

    Parameters
    ----------
    place
        Where to read, shape (..., D). [m]
    stations
        Where the field is known, rising, shape (G,). [m]
    first, last
        Stations to read from: the first, and the one after the last; two or more, shape (...). [-]

    Returns
    -------
    tuple
        Indices and shares, both of shape (..., D, `STATIONS`); shares not needed are zero. [-]
    """
    first, last = (np.broadcast_to(end[..., None], place.shape) for end in (first, last))
    beyond = (place < stations[first]) | (place > stations[last - 1])
    count = np.where(beyond, 2, np.minimum(last - first, STATIONS))
    start = np.searchsorted(stations, place) - count // 2
    start = np.clip(start, first, last - count)[..., None]
    used = np.arange(STATIONS) < count[..., None]
    index = np.where(used, start + np.arange(STATIONS), start)
    known = stations[index]
    part = (place[..., None] - known)[..., None, :]
    apart = known[..., :, None] - known[..., None, :]
    other = used[..., None, :] & used[..., :, None] & ~np.eye(STATIONS, dtype=bool)
    factors = np.where(other, part / np.where(other, apart, 1.0), 1.0)
    return index, np.where(used, factors.prod(axis=-1), 0.0)


@dataclass(frozen=True)
class StraightLines:
    """How values known at some places are read at others, along straight lines between.

    Attributes
    ----------
    cell
        Which of the lines each lies on, shape of the places. [-]
    share
        How far on, from 0 to 1. [-]
    """

    cell: NDArray[np.intp]
    share: Array

    @classmethod
    def between(cls, known: Array, place: Array) -> StraightLines:
        """From places known, rising, shape (K,), to others, the nearest value beyond the ends.

        Parameters
        ----------
        known, place
            Two or more; and where to read. [any]

        Examples
        --------
        >>> read = StraightLines.between(np.array([0.0, 1.0, 3.0]), np.array([-1.0, 0.5, 2.0]))
        >>> read.of(np.array([[0.0, 10.0, 20.0]])).tolist()
        [[0.0, 5.0, 15.0]]
        """
        inside = np.clip(place, known[0], known[-1])
        cell = np.clip(np.searchsorted(known, inside, side="right") - 1, 0, known.size - 2)
        return cls(cell, (inside - known[cell]) / (known[cell + 1] - known[cell]))

    def of(self, values: Array) -> Array:
        """Values there, shape (..., *places).

        Parameters
        ----------
        values
            Where they are known, shape (..., K). [any]
        """
        low = values.take(self.cell, axis=-1)
        return np.asarray(low + self.share * (values.take(self.cell + 1, axis=-1) - low))


def line_shape(place: ArrayLike) -> Array:
    """Shares of three nodes at -1, 0 and 1, shape (..., 3). [-]

    Parameters
    ----------
    place : array-like
        Between -1 and 1, any shape. [-]
    """
    x = np.asarray(place)
    return np.stack([0.5 * x * (x - 1.0), 1.0 - x * x, 0.5 * x * (x + 1.0)], axis=-1)


def line_slope(place: ArrayLike) -> Array:
    """Derivatives of these, shape (..., 3). [-]

    Parameters
    ----------
    place : array-like
        Between -1 and 1, any shape. [-]
    """
    x = np.asarray(place)
    return np.stack([x - 0.5, -2.0 * x, x + 0.5], axis=-1)


def chord_lengths(radius: Array, height: Array) -> Array:
    """Length along straight chords from the first point of a profile to each, (P,). [m]

    Parameters
    ----------
    radius, height : array
        Of the points, shape (P,). [m]

    Returns
    -------
    array
        From 0, shape (P,). [m]

    Examples
    --------
    >>> chord_lengths(np.array([0.0, 3.0, 3.0]), np.array([0.0, 4.0, 6.0]))
    array([0., 5., 7.])
    """
    return np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(radius), np.diff(height)))])


def crossing(function: Callable[[Array], Array], low: ArrayLike, high: ArrayLike) -> Array:
    """Where functions change their sign, by halving sixty times, shape of the bounds. [any]

    No faster method is worth `scipy.optimize`, which takes as long to load as a shell to fire.

    Parameters
    ----------
    function
        Of an array of places, one value each.
    low, high
        Between which each changes sign once. [any]

    Examples
    --------
    >>> round(float(crossing(lambda x: x * x - 2.0, 0.0, 2.0)), 12)
    1.414213562373
    """
    a, b = (np.array(v, np.float64) for v in np.broadcast_arrays(low, high))
    below = function(a) < 0.0
    for _ in range(60):
        half = 0.5 * (a + b)
        same = (function(half) < 0.0) == below
        a, b = np.where(same, half, a), np.where(same, b, half)
    return 0.5 * (a + b)


def peaks_along(value: Array, place: Array) -> tuple[Array, NDArray[np.intp]]:
    """Largest value along a line of stations, of the parabola around the largest known.

    Parameters
    ----------
    value
        At the stations, shape (..., G). [any]
    place
        Of the stations, rising, shape (G,). [m]

    Returns
    -------
    tuple
        The peak, shape (...), and the station next to it.
    """
    top = np.asarray(value.argmax(axis=-1))
    middle = top.clip(1, max(place.size - 2, 1))
    high = np.take_along_axis(value, top[..., None], axis=-1)[..., 0]
    if place.size < 3:
        return high, top
    left, own, right = (
        np.take_along_axis(value, (middle + k)[..., None], axis=-1)[..., 0] for k in (-1, 0, 1)
    )
    before, after = place[middle] - place[middle - 1], place[middle + 1] - place[middle]
    fall, rise = (own - left) / before, (right - own) / after
    bend = (rise - fall) / (before + after)
    slope = (fall * after + rise * before) / (before + after)
    with np.errstate(divide="ignore", invalid="ignore"):
        lift = -0.25 * slope * slope / bend
        inside = (top == middle) & (bend < 0.0)
    return np.where(inside, own + lift, high), top


# ----------------------------------------------------------------------------------------------
# Where through a wall or layer stress is read, and what share of it each place stands for


@cache
def lobatto(points: int) -> tuple[Array, Array]:
    """Gauss–Lobatto places on -1 to 1, both faces included, and weights that sum to one. [-]

    Worked out once for each count; not to be written to.

    Parameters
    ----------
    points
        Two or more; exact for polynomials of degree 2 points − 3. [-]
    """
    top = Legendre.basis(points - 1)
    inner = np.sort(np.real(top.deriv().roots()))
    place = np.concatenate([[-1.0], 0.5 * (inner - inner[::-1]), [1.0]])
    weight = 1.0 / (points * (points - 1) * np.asarray(top(place)) ** 2)
    place.flags.writeable = weight.flags.writeable = False
    return place, weight


# ----------------------------------------------------------------------------------------------
# Things that hold arrays


def by_content(kind: type[R]) -> type[R]:
    """A frozen dataclass that counts by what it holds, none of which can be written to.

    Stands below `dataclass(frozen=True)`, of which `==` takes an array for a truth and `hash`
    refuses it. What is worked out from such a thing may be kept under it. Its arrays are copied
    where whoever made it could write to them, its mappings are read-only, and neither changes when
    it goes to another process.

    Parameters
    ----------
    kind : type
        The class.

    Returns
    -------
    type
        The same.

    Examples
    --------
    >>> @dataclass(frozen=True)
    ... @by_content
    ... class Line:
    ...     points: Array
    >>> Line(np.zeros(2)) == Line(np.zeros(2)), len({Line(np.zeros(2)), Line(np.ones(2))})
    (True, 2)
    """
    held = tuple(kind.__annotations__)

    def same(thing: Any, other: Any) -> object:
        if thing is other:
            return True
        if type(other) is not kind:
            return NotImplemented
        pairs = ((thing.__dict__[name], other.__dict__[name]) for name in held)
        return all(_bytes_of(one) == _bytes_of(two) for one, two in pairs)

    def hashed(thing: Any) -> int:
        return hash(tuple(_hashable(thing.__dict__[name]) for name in held))

    def fixed(thing: Any) -> None:
        for name in held:
            thing.__dict__[name] = _read_only(thing.__dict__[name])

    def packed(thing: Any) -> dict[str, object]:
        values = ((name, thing.__dict__[name]) for name in held)
        return {name: dict(v) if isinstance(v, MappingProxyType) else v for name, v in values}

    def unpacked(thing: Any, values: dict[str, object]) -> None:
        thing.__dict__.update(values)
        fixed(thing)

    for name, method in (
        ("__eq__", same), ("__hash__", hashed), ("__post_init__", fixed),
        ("__getstate__", packed), ("__setstate__", unpacked),
    ):  # fmt: skip
        setattr(kind, name, method)
    return kind


def _bytes_of(value: object) -> object:
    """What an array is compared by; anything else is compared itself."""
    if isinstance(value, np.ndarray):
        return value.shape, value.dtype.str, value.tobytes()
    return value


def _hashable(value: object) -> object:
    """What an array or a mapping is hashed by; anything else is hashed itself."""
    return frozenset(value.items()) if isinstance(value, MappingProxyType) else _bytes_of(value)


def _read_only(value: object) -> object:
    """The same, not to be written to: an array copied where it could be, a view of a mapping."""
    if isinstance(value, np.ndarray) and value.flags.writeable:
        value = value.copy()
        value.flags.writeable = False
    elif isinstance(value, dict):
        return MappingProxyType(dict(value))
    return value
