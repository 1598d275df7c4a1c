"""Which elements of a metal stay bright in the gas around the ware.

Thermodynamics only: it says what can happen, not how fast. Cold metal tarnishes too slowly to
matter, a closed pore sees no gas, and metals also take up carbon (iron, chromium, titanium, in a
carbon box), oxygen and nitrogen (titanium, in anything), which these equilibria do not show.

Oxygen pressures are log10(pO2/atm). Standard states are 1 bar; the 0.006 decades between bar and
atmosphere are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.inputs.properties import GASES as GASES
from cofire.inputs.units import ZERO_CELSIUS
from cofire.physics.densification import GAS_CONSTANT
from cofire.physics.oxides import gibbs_energy, oxide_equilibrium, reduction_potential

Array = NDArray[np.float64]

AIR_OXYGEN = 0.21
"""Oxygen pressure of air. [atm]"""
TECHNICAL_OXYGEN = 1e-5
"""Oxygen left in technical argon or nitrogen, 10 ppm: common practice. [atm]"""
AIR_FED_CARBON = 0.347
"""CO + CO2 of a box whose oxygen came in with air: 0.21 × 2/(1 + 0.21), all as CO. [atm]"""
CARBON_SLUGGISH_BELOW = ZERO_CELSIUS + 700.0
"""Below it carbon and CO2 do not reach equilibrium within a firing: common practice. [K]"""
HYDROGEN_DEW_POINT = ZERO_CELSIUS - 40.0
"""Of dried hydrogen: common practice. [K]"""


def boudouard_constant(temperature: ArrayLike) -> Array:
    """Equilibrium constant p(CO)²/p(CO2) of C + CO2 = 2 CO, beside graphite.

    Parameters
    ----------
    temperature : array_like
        [K]

    Returns
    -------
    array
        Same shape. [atm]
    """
    T = np.asarray(temperature, dtype=np.float64)
    energy = gibbs_energy("CO", T) - gibbs_energy("CO2", T)
    return np.exp(-energy / (GAS_CONSTANT * T))


def carbon_monoxide_fraction(temperature: ArrayLike, pressure: ArrayLike = 1.0) -> Array:
    """Share of CO in CO + CO2 beside carbon: C + CO2 = 2 CO, at equilibrium.

    Not reached in a firing below about 700 °C (`CARBON_SLUGGISH_BELOW`), where the gas holds more
    CO2 than this, or air.

    Parameters
    ----------
    temperature : array_like
        [K]
    pressure : array_like
        Of CO and CO2 together; 1 for a box full of them, `AIR_FED_CARBON` beside air's nitrogen.
        [atm]

    Returns
    -------
    array
        Broadcast shape. [-]

    Raises
    ------
    InputError
        A pressure that is not positive.
    """
    T, P = np.asarray(temperature, dtype=np.float64), np.asarray(pressure, dtype=np.float64)
    if not np.all((P > 0.0) & np.isfinite(P)):
        raise InputError(f"carbon gas: a pressure of {np.min(P):g} atm; it is positive")
    K = boudouard_constant(T)
    # x²/(1 − x) = K/P, in the form without cancellation
    return np.asarray(2.0 / (1.0 + np.sqrt(1.0 + 4.0 * P / K)))


def water_pressure(dew_point: float) -> float:
    """Vapour pressure of water at a dew point, over ice below 0 °C.

    Murphy & Koop 2005, Q. J. R. Meteorol. Soc. 131, 1539, equations 7 and 10.

    Parameters
    ----------
    dew_point : float
        From −100 to +50 °C. [K]

    Returns
    -------
    float
        [Pa]

    Raises
    ------
    OutOfRange
        A dew point outside the range.
    """
    T = dew_point
    if not 173.15 <= T <= 323.15:
        raise OutOfRange(f"dew point: {T - ZERO_CELSIUS:g} °C; allowed are -100 to 50 °C")
    if T < 273.16:
        logarithm = 9.550426 - 5723.265 / T + 3.53068 * np.log(T) - 0.00728332 * T
    else:
        supercooled = 53.878 - 1331.22 / T - 9.44523 * np.log(T) + 0.014025 * T
        logarithm = 54.842763 - 6763.22 / T - 4.210 * np.log(T) + 0.000367 * T
        logarithm += np.tanh(0.0415 * (T - 218.8)) * supercooled
    return float(np.exp(logarithm))


def oxygen_potential(
    gas: str,
    temperature: ArrayLike,
    *,
    oxygen_trace: float = TECHNICAL_OXYGEN,
    carbon_pressure: float = 1.0,
    dew_point: float = HYDROGEN_DEW_POINT,
) -> Array:
    """Oxygen pressure of the gas around the ware, as log10(pO2/atm).

    Parameters
    ----------
    gas : str
        'air'; 'inert', technical argon or nitrogen; 'carbon', a closed box packed with carbon, at
        the equilibrium of C, CO and CO2 (see `carbon_monoxide_fraction` for where that holds);
        'hydrogen', moist to its dew point.
    temperature : array_like
        [K]
    oxygen_trace : float
        Oxygen left in the inert gas. [atm]
    carbon_pressure : float
        CO and CO2 together in the carbon box. [atm]
    dew_point : float
        Of the hydrogen, at 1 atm. [K]

    Returns
    -------
    array
        Same shape as the temperature. [-]

    Raises
    ------
    UnknownName
        No such gas.
    InputError
        A trace that is not between 0 and 1 atm, or a pressure that is not positive.
    OutOfRange
        A temperature or dew point outside the data.
    """
    T = np.asarray(temperature, dtype=np.float64)
    if gas == "air":
        return np.full(T.shape, np.log10(AIR_OXYGEN))
    if gas == "inert":
        if not 0.0 < oxygen_trace <= 1.0:
            raise InputError(f"inert gas: oxygen of {oxygen_trace:g} atm; above 0 and up to 1")
        return np.full(T.shape, np.log10(oxygen_trace))
    if gas == "carbon":
        x = carbon_monoxide_fraction(T, carbon_pressure)
        dioxide = 2.0 * np.log10(carbon_pressure * x) - np.log10(boudouard_constant(T))
        return np.asarray(reduction_potential("CO2", T) + dioxide)
    if gas == "hydrogen":
        water = water_pressure(dew_point) / 101325.0
        ratio = np.log10(water / (1.0 - water))
        return np.asarray(reduction_potential("H2O", T) + 2.0 * ratio)
    raise UnknownName("gas", gas, GASES)


def oxidation_margins(
    elements: Iterable[str],
    potential: ArrayLike,
    temperature: ArrayLike,
    activity: Mapping[str, float] | None = None,
) -> dict[str, Array]:
    """Decades of oxygen pressure that each element has in hand before it oxidises.

    Parameters
    ----------
    elements : iterable of str
        Of the metal.
    potential : array_like
        log10(pO2/atm) of the gas, from `oxygen_potential`. [-]
    temperature : array_like
        Of the same shape. [K]
    activity : mapping, optional
        Activities of elements in the alloy, 1 where not named. [-]

    Returns
    -------
    dict of str to array
        Positive: stays bright; negative: oxidises. [-]

    Raises
    ------
    UnknownName, InputError, OutOfRange
        As `oxide_equilibrium`.
    """
    gas = np.asarray(potential, dtype=np.float64)
    given = activity or {}
    return {
        element: np.asarray(oxide_equilibrium(element, temperature, given.get(element, 1.0)) - gas)
        for element in elements
    }


def oxidised_elements(margins: Mapping[str, Array]) -> tuple[str, ...]:
    """Elements that oxidise anywhere in a trace, the worst first.

    Leave out of the trace what is too cold for the reaction: in carbon below
    `CARBON_SLUGGISH_BELOW`, and everywhere below about 300 °C (common practice), where even iron
    and silver count as oxidised and yet keep.

    Parameters
    ----------
    margins : mapping
        From `oxidation_margins`. [-]

    Returns
    -------
    tuple of str
        Empty where all stay bright.
    """
    least = {element: float(np.min(margin)) for element, margin in margins.items()}
    return tuple(sorted((e for e, margin in least.items() if margin < 0.0), key=least.__getitem__))
