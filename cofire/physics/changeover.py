"""How a change of paste smears: residence in what lies between the changeover and the nozzle."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import gammainc, gammaincinv

from cofire.errors import InputError
from cofire.numerics import Array


def new_share(passed: npt.ArrayLike, dead_volume: float, tanks: float) -> Array:
    """Share of the new paste at the nozzle after a volume has passed since the changeover. [-]

    Stirred tanks in series: the regularised incomplete gamma function P(n, n v/V) (Levenspiel,
    Chemical Reaction Engineering, tanks-in-series model; MacMullin & Weber 1935, from memory). One
    tank mixes wholly, many tanks tend to plug flow. A paste lies between; measure it with a
    coloured paste.

    Parameters
    ----------
    passed : array_like
        Volume extruded since the changeover, not negative. [m³]
    dead_volume : float
        Between the changeover and the nozzle, above zero. [m³]
    tanks : float
        n, at least 1; need not be whole. [-]

    Raises
    ------
    InputError
        A dead volume or a number of tanks outside these.
    """
    _check(dead_volume, tanks)
    volume = np.maximum(np.asarray(passed, np.float64), 0.0)
    return np.asarray(gammainc(tanks, tanks * volume / dead_volume))


def new_volume(passed: npt.ArrayLike, dead_volume: float, tanks: float) -> Array:
    """Volume of the new paste that has left the nozzle since the changeover. [m³]

    The integral of `new_share`: v P(n, n v/V) − V P(n + 1, n v/V).

    Parameters
    ----------
    passed : array_like
        Volume extruded since the changeover, not negative. [m³]
    dead_volume : float
        [m³]
    tanks : float
        n. [-]

    Raises
    ------
    InputError
        As `new_share`.
    """
    volume = np.maximum(np.asarray(passed, np.float64), 0.0)
    held = dead_volume * gammainc(tanks + 1.0, tanks * volume / dead_volume)
    return np.asarray(volume * new_share(volume, dead_volume, tanks) - held)


def volume_for_share(share: npt.ArrayLike, dead_volume: float, tanks: float) -> Array:
    """Volume to extrude after a changeover until the nozzle gives a share of the new paste. [m³]

    The inverse of `new_share`.

    Parameters
    ----------
    share : array_like
        Between 0 and 1. [-]
    dead_volume : float
        [m³]
    tanks : float
        n. [-]

    Raises
    ------
    InputError
        As `new_share`.
    """
    _check(dead_volume, tanks)
    return np.asarray(dead_volume / tanks * gammaincinv(tanks, np.asarray(share, np.float64)))


def smear(dead_volume: float, tanks: float, low: float = 0.05, high: float = 0.95) -> float:
    """Volume over which one paste turns into the next at the nozzle. [m³]

    Parameters
    ----------
    dead_volume : float
        [m³]
    tanks : float
        n. [-]
    low, high : float
        Shares of the new paste at which the change counts as begun and done. [-]
    """
    ends = volume_for_share(np.array([low, high]), dead_volume, tanks)
    return float(ends[1] - ends[0])


def _check(dead_volume: float, tanks: float) -> None:
    if not 0.0 < dead_volume < 1.0:
        raise InputError(f"dead volume = {dead_volume:g} m³; allowed: above 0 and below 1")
    if not 1.0 <= tanks <= 1e4:
        raise InputError(f"tanks = {tanks:g}; allowed: 1 (wholly mixed) to 10000 (plug flow)")
