"""Strain beside a joint as a rule may read it: the mean over a length along the wall.

At the edge of a joint the strain of a solid has no bound, and at a point it says how fine the mesh
is: with elements half as large the plastic strain of a metal there is three times as large, the
strain of brown ware a third larger. Means over a length converge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.response import Response
from cofire.numerics import Array

STRAINED_LENGTH = 0.1
"""Length along the wall, over the wall, whose mean strain counts: that of the windows in which
stress is read (`solid_reading`). [-]"""


def mean_along(values: Array, place: Array, length: float) -> Array:
    """Means over a length along a line, of every such length that lies on it.

    Parameters
    ----------
    values : array
        Shape (..., G), linear between the places. [any]
    place : array
        Rising, shape (G,). [m]
    length : float
        The whole line counts where it is shorter. [m]

    Returns
    -------
    array
        Means of the lengths that begin, or end, at a place; shape (..., 2 G). [as `values`]

    Examples
    --------
    >>> mean_along(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 2.0]), 1.0)
    array([0.5, 1.5, 1.5, 0.5, 0.5, 1.5])
    """
    span = float(place[-1] - place[0])
    steps = np.diff(place)
    shares = np.eye(place.size)  # of each place's value in each mean: the means are linear in them
    if length >= span:
        width = max(span, 1e-12)
        pieces = 0.5 * (shares[:, 1:] + shares[:, :-1]) * steps
        mean = pieces.sum(axis=-1) / width if place.size > 1 else shares[:, 0]
        return np.asarray(values @ np.repeat(mean[:, None], 2 * place.size, axis=1))
    low = np.concatenate([np.clip(place, None, place[-1] - length),
                          np.clip(place - length, place[0], None)])  # fmt: skip
    area = np.zeros_like(shares)
    np.cumsum(0.5 * (shares[:, 1:] + shares[:, :-1]) * steps, axis=1, out=area[:, 1:])

    def up_to(at: Array) -> Array:
        """Area under the line up to a place."""
        left = np.clip(np.searchsorted(place, at, side="right") - 1, 0, place.size - 2)
        run = at - place[left]
        rise = (shares[:, left + 1] - shares[:, left]) / steps[left]
        return np.asarray(area[:, left] + run * (shares[:, left] + 0.5 * rise * run))

    return np.asarray(values @ ((up_to(low + length) - up_to(low)) / length))


def strained_along(
    response: Response, values: Array, stations: NDArray[np.intp]
) -> tuple[Array, NDArray[np.intp]]:
    """Strain of one band as means over `STRAINED_LENGTH` along each line through the wall.

    Parameters
    ----------
    response : Response
        Fired.
    values : array
        At the stations, shape (T, stations, P, 2). [-]
    stations : array of int
        Of the band.

    Returns
    -------
    tuple
        The means, shape (T, K, P, 2), and the station that each belongs to, shape (K,). Values
        and stations as given for layers without edges, which have no place along a wall.
    """
    arc = getattr(response.fired, "arc_length", None)
    if arc is None:
        return values, stations
    order = np.argsort(arc[stations], kind="stable")
    place = stations[order]
    span = float(arc[place[-1]] - arc[place[0]])  # a layer thinner than the wall is its own measure
    length = STRAINED_LENGTH * min(float(response.fired.wall[stations].max()), span)
    means = mean_along(np.moveaxis(values[:, order], 1, -1), arc[place], length)
    return np.moveaxis(means, -1, 1), np.concatenate([place, place])
