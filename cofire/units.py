"""Units at the border: °C, °C/h, mm and MPa outside; K, K/s, m and Pa inside."""

from __future__ import annotations

from typing import overload

from cofire.numerics import Array

ZERO_CELSIUS = 273.15
HOUR = 3600.0
MINUTE = 60.0
ROOM = ZERO_CELSIUS + 20.0
"""Reference temperature of every strain: 20 °C. [K]"""
GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s²]"""


@overload
def kelvin(celsius: float) -> float: ...
@overload
def kelvin(celsius: Array) -> Array: ...
def kelvin(celsius: float | Array) -> float | Array:
    """Absolute temperature from a temperature in °C (not for differences).

    Parameters
    ----------
    celsius : float or array
        Temperature. [°C]

    Returns
    -------
    float or array
        Absolute temperature. [K]

    Examples
    --------
    >>> kelvin(20.0)
    293.15
    """
    return celsius + ZERO_CELSIUS


@overload
def celsius(kelvin: float) -> float: ...
@overload
def celsius(kelvin: Array) -> Array: ...
def celsius(kelvin: float | Array) -> float | Array:
    """Temperature in °C from an absolute temperature (not for differences).

    Parameters
    ----------
    kelvin : float or array
        Absolute temperature. [K]

    Returns
    -------
    float or array
        Temperature. [°C]
    """
    return kelvin - ZERO_CELSIUS


GAS_CONSTANT = 8.314462618
"""CODATA 2018. [J/(mol K)]"""
ATMOSPHERE = 101325.0
"""Of pressure, by definition. [Pa]"""


def counted(count: float, thing: str) -> str:
    """A number of things, in words that agree.

    Parameters
    ----------
    count : float
        How many. [-]
    thing : str
        One of them.

    Returns
    -------
    str
        As "1 piece" or "2 pieces".
    """
    return f"{count:.12g} {thing}" + ("" if count == 1 else "s")
