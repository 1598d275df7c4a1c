"""Reading a field along the wall between the stations that carry it.

Stations are the places of an element where strain is one order better than elsewhere. To keep that
order a value between them is read from the cubic through the nearest four, and a largest value from
the parabola through the three around it. Beyond the last one a line through the last two is used:
where a band yields beside a step, a cubic overshoots.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from cofire.physics.history import Array

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


def crests(value: Array, place: Array) -> tuple[Array, NDArray[np.intp]]:
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
        The crest, shape (...), and the station next to it.
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
