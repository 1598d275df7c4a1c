"""How hard a kiln works through a firing, and the current that takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.firing import Kiln

Array = NDArray[np.float64]


def duty(kiln: Kiln, temperature: Array, rate: Array) -> Array:
    """Share of full power that holds a rate at a temperature.

    The kiln as one lump: full power heats it at the rate of its table against losses that, with
    the power off, cool it at the rate of its other table. Both tables then give the share,
    (rate + cooling) / (heating + cooling), whatever the kiln weighs. Below 0 or above 1 where the
    kiln cannot do it. Good where walls and load follow the element; a cold kiln driven fast takes
    more.

    Parameters
    ----------
    kiln : Kiln
        Its rates at full power and shut.
    temperature : array
        Of the kiln; beyond the tables' rows their ends are held, shape (K,). [K]
    rate : array
        Of temperature, shape (K,). [K/s]

    Returns
    -------
    array
        Shape (K,). [-]
    """
    heats = np.interp(temperature, kiln.heating_temperature, kiln.heating_rate)
    cools = np.interp(temperature, kiln.cooling_temperature, kiln.cooling_rate)
    return np.asarray((rate + cools) / (heats + cools))


def firing_energy(kiln: Kiln, time: Array, temperature: Array, full_power: float) -> float:
    """Current that a firing takes, by `duty`. [J]

    Parameters
    ----------
    kiln : Kiln
        Its rates at full power and shut.
    time : array
        Shape (M,). [s]
    temperature : array
        Of the kiln, linear between these times, shape (M,). [K]
    full_power : float
        Of its elements. [W]
    """
    step = np.diff(time)
    middle = 0.5 * (temperature[1:] + temperature[:-1])
    share = np.clip(duty(kiln, middle, np.diff(temperature) / step), 0.0, 1.0)
    return float(full_power * np.sum(share * step))
