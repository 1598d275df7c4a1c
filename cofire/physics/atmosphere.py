"""Oxygen pressures at which oxides form, and which elements stay bright in the gas round the ware.

Oxygen pressures are log10(pO2/atm). Standard states are 1 bar; the 0.006 decades between bar and
atmosphere are left out. Pure condensed phases, but for the activity of a metal in its alloy; the
solution of oxygen in a metal (large in titanium) is left out.

Thermodynamics only: it says what can happen, not how fast. Cold metal tarnishes too slowly to
matter, a closed pore sees no gas, and metals also take up carbon (iron, chromium, titanium, in a
carbon box), oxygen and nitrogen (titanium, in anything), which these equilibria do not show.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.materials.properties import GASES
from cofire.numerics import Array
from cofire.units import ATMOSPHERE, GAS_CONSTANT, ZERO_CELSIUS

# ----------------------------------------------------------------------------------------------
# At which oxygen pressure each oxide forms or is reduced

_NASA = "NASA polynomials, McBride, Gordon & Reno 1993, NASA TM-4513, as in cantera 3.2"
_ONEILL = "O'Neill & Pownceby 1993, Contrib. Mineral. Petrol. 114, 296"
_CRC = "CRC Handbook and Perry's Handbook values as in chemicals 1.5"


@dataclass(frozen=True)
class Oxide:
    """One oxide beside the metal or lower oxide it is reduced to.

    Attributes
    ----------
    formula, reduced, element
        The oxide, what it is reduced to, and its metal.
    metal_per_oxygen
        Metal used per mole of O2; 0 where the reduced form is a lower oxide. [-]
    temperature
        Nodes; lines between them keep to the source within 0.8 kJ/mol, the gases' within 0.1. [K]
    gibbs_energy
        Of formation from what it is reduced to, per mole of O2, at the nodes. [kJ/mol]
    source
        Where the energies come from.
    """

    formula: str
    reduced: str
    element: str
    metal_per_oxygen: float
    temperature: tuple[float, ...]
    gibbs_energy: tuple[float, ...]
    source: str


# fmt: off
_ROWS = (
    Oxide("Cu2O", "Cu", "Cu", 4.0, (273.15, 500, 800, 1100, 1358, 1517, 1673.15),
          (-299.63, -265.00, -220.19, -176.68, -140.16, -111.92, -97.93), _NASA),
    Oxide("CuO", "Cu2O", "Cu", 0.0, (273.15, 500, 800, 1100, 1358, 1517, 1673.15),
          (-222.91, -174.18, -113.38, -55.38, -7.00, 22.44, 64.55), _NASA),
    Oxide("Ag2O", "Ag", "Ag", 4.0, (273.15, 400, 600, 900, 1235, 1450, 1673.15),
          (-25.89, -9.02, 17.77, 59.12, 107.52, 147.93, 191.18), _CRC),
    Oxide("Au2O3", "Au", "Au", 4 / 3, (273.15, 1673.15), (47.4, 300.0),
          "from memory; only the sign, that gold never oxidises, is used"),
    Oxide("SnO2", "Sn", "Sn", 1.0, (273.15, 505, 800, 1100, 1400, 1673.15),
          (-521.75, -474.36, -410.71, -347.47, -285.83, -231.18),
          "OECD-NEA, Chemical Thermodynamics 12 (tin); heat capacities Perry's Handbook (oxide) "
          "and from memory (metal)"),
    Oxide("ZnO", "Zn", "Zn", 2.0, (273.15, 500, 693, 1000, 1300, 1673.15),
          (-646.10, -600.82, -563.03, -497.18, -433.58, -355.60),
          _CRC + "; liquid zinc, also above its boiling point, as in brass: " + _NASA),
    Oxide("Fe3O4", "Fe below 826 K, FeO above", "Fe", 1.5,
          (273.15, 400, 600, 750, 826.2, 1000, 1200, 1400, 1644),
          (-510.61, -488.78, -455.50, -431.81, -420.34, -379.93, -331.06, -280.88, -218.18),
          _ONEILL + "; below 750 K the shape of " + _NASA),
    Oxide("FeO", "Fe", "Fe", 1.894, (826.2, 1042, 1184, 1400, 1644),
          (-420.34, -392.86, -374.30, -346.06, -314.83),
          _ONEILL + ", for wüstite as it is (Fe0.947O), not stoichiometric FeO"),
    Oxide("Fe2O3", "Fe3O4", "Fe", 0.0, (273.15, 500, 700, 850, 960, 1100, 1400, 1673.15),
          (-399.73, -340.41, -286.27, -243.35, -212.00, -173.21, -92.12, -19.15), _NASA),
    Oxide("NiO", "Ni", "Ni", 2.0, (273.15, 500, 700, 1000, 1350, 1673.15),
          (-427.90, -386.40, -349.93, -298.12, -238.80, -184.82),
          _ONEILL + "; below 700 K towards -211.6 kJ/mol NiO at 298 K, from memory"),
    Oxide("Cr2O3", "Cr", "Cr", 4 / 3, (273.15, 500, 800, 1200, 1673.15),
          (-706.64, -665.88, -613.83, -546.06, -466.48), _NASA),
    Oxide("MnO", "Mn", "Mn", 2.0, (273.15, 600, 1000, 1361, 1519, 1673.15),
          (-729.50, -681.09, -623.45, -571.15, -547.71, -522.19), _CRC),
    Oxide("MoO2", "Mo", "Mo", 1.0, (273.15, 450, 700, 1000, 1300, 1673.15),
          (-540.25, -507.27, -461.73, -408.72, -357.42, -295.74),
          "O'Neill 1986, Am. Mineral. 71, 1007 (volume and page from memory); outside "
          "1000 to 1450 K the shape of JANAF heat capacities as in chemicals 1.5"),
    Oxide("WO2", "W", "W", 1.0, (273.15, 500, 800, 1100, 1400, 1673.15),
          (-538.55, -496.40, -442.34, -389.97, -338.92, -293.43),
          "CRC Handbook formation enthalpy and entropies, JANAF heat capacities, both as in "
          "chemicals 1.5; oxygen: " + _NASA),
    Oxide("NbO", "Nb", "Nb", 2.0, (273.15, 500, 800, 1200, 1673.15),
          (-788.52, -746.64, -692.56, -622.36, -541.66), _NASA),
    Oxide("SiO2", "Si", "Si", 1.0, (273.15, 500, 847, 1200, 1673.15),
          (-861.00, -819.54, -757.07, -695.29, -613.80), _NASA),
    Oxide("Al2O3", "Al", "Al", 4 / 3, (273.15, 500, 933.6, 1300, 1673.15),
          (-1060.06, -1012.47, -922.26, -841.32, -759.77), _NASA),
    Oxide("TiO", "Ti", "Ti", 2.0, (273.15, 600, 1000, 1156, 1265, 1673.15),
          (-1031.53, -967.77, -892.66, -864.13, -843.70, -772.51), _NASA),
    Oxide("PbO", "Pb", "Pb", 2.0, (273.15, 450, 600.6, 762, 950, 1159, 1400, 1673.15),
          (-383.63, -348.28, -319.08, -285.98, -248.31, -207.32, -172.10, -134.01), _NASA),
    Oxide("Bi2O3", "Bi", "Bi", 4 / 3, (273.15, 988, 1098, 1235, 1673.15),
          (-335.43, -195.42, -176.75, -153.56, -70.22),
          "Ganesan, Gnanasekaran & Srinivasa 2003, J. Chem. Thermodyn. 35, 1703; liquid oxide "
          "J. Chem. Thermodyn. 75 (2014) 8, extended above 1235 K"),
)
_GAS_ROWS = (
    Oxide("CO", "C", "C", 2.0,
          (273.15, 350, 450, 550, 700, 850, 1000, 1200, 1400, 1673.15),
          (-269.88, -283.65, -301.76, -319.92, -347.06, -373.95, -400.57, -435.67, -470.33,
           -517.06), _NASA),
    Oxide("CO2", "C", "C", 1.0, (273.15, 400, 600, 800, 1100, 1400, 1673.15),
          (-394.30, -394.66, -395.16, -395.56, -395.97, -396.21, -396.30), _NASA),
    Oxide("H2O", "H2", "H", 2.0, (273.15, 330, 400, 500, 600, 750, 900, 1100, 1350, 1673.15),
          (-459.36, -454.29, -447.79, -438.09, -427.99, -412.30, -396.13, -374.02, -345.82,
           -308.83), _NASA),
)
# fmt: on

OXIDES: dict[str, Oxide] = {row.formula: row for row in _ROWS + _GAS_ROWS}
"""By formula, the gases CO, CO2 and H2O among them."""

FIRST_OXIDES: dict[str, tuple[str, ...]] = {
    **{row.element: (row.formula,) for row in _ROWS if row.reduced == row.element},
    "Fe": ("Fe3O4", "FeO"),
}
"""By element, the oxides that bound the metal, in the order of rising temperature."""


def gibbs_energy(formula: str, temperature: ArrayLike) -> Array:
    """Gibbs energy of an oxide's formation from what it is reduced to, per mole of O2.

    Parameters
    ----------
    formula : str
        One of `OXIDES`.
    temperature : array_like
        Within the oxide's nodes. [K]

    Returns
    -------
    array
        Same shape. [J/mol]

    Raises
    ------
    UnknownName
        No such oxide.
    OutOfRange
        A temperature outside the nodes.
    """
    if formula not in OXIDES:
        raise UnknownName("oxide", formula, OXIDES)
    row = OXIDES[formula]
    T = _within(temperature, formula, row.temperature[0], row.temperature[-1])
    return np.asarray(1e3 * np.interp(T, row.temperature, row.gibbs_energy), dtype=np.float64)


def _within(temperature: ArrayLike, what: str, least: float, most: float) -> Array:
    """The temperature, once it is known to lie between two others. [K]"""
    T = np.asarray(temperature, dtype=np.float64)
    if not np.all((least <= T) & (most >= T)):
        asked = " to ".join(f"{value - ZERO_CELSIUS:.0f}" for value in (np.min(T), np.max(T)))
        raise OutOfRange(
            f"{what}: asked from {asked} °C; its energy is known from "
            f"{least - ZERO_CELSIUS:.0f} to {most - ZERO_CELSIUS:.0f} °C"
        )
    return T


def reduction_potential(formula: str, temperature: ArrayLike) -> Array:
    """Oxygen pressure below which an oxide gives off oxygen, pure substances, as log10(pO2/atm).

    Parameters
    ----------
    formula : str
        One of `OXIDES`; Fe2O3 and CuO go to Fe3O4 and Cu2O, the others as their row says.
    temperature : array_like
        [K]

    Returns
    -------
    array
        Same shape. [-]
    """
    T = np.asarray(temperature, dtype=np.float64)
    return np.asarray(gibbs_energy(formula, T) / (GAS_CONSTANT * T * np.log(10.0)))


def oxide_equilibrium(element: str, temperature: ArrayLike, activity: float = 1.0) -> Array:
    """Oxygen pressure below which a metal is stable beside its first oxide, as log10(pO2/atm).

    Parameters
    ----------
    element : str
        One of `FIRST_OXIDES`.
    temperature : array_like
        [K]
    activity : float
        Of the element in its alloy: 1 pure. Less protects it. [-]

    Returns
    -------
    array
        Same shape. [-]

    Raises
    ------
    UnknownName
        No oxide of that element is tabulated.
    InputError
        An activity that is not between 0 and 1.
    OutOfRange
        A temperature outside the data.
    """
    if element not in FIRST_OXIDES:
        raise UnknownName("element", element, FIRST_OXIDES)
    if not 0.0 < activity <= 1.0:
        raise InputError(f"{element}: an activity of {activity:g}; above 0 and up to 1")
    rows = [OXIDES[formula] for formula in FIRST_OXIDES[element]]
    T = _within(
        temperature, f"oxide of {element}", rows[0].temperature[0], rows[-1].temperature[-1]
    )
    bound = np.empty(T.shape)
    for row in rows:  # from the cold up, each from its first node
        known = np.clip(T, row.temperature[0], row.temperature[-1])
        potential = reduction_potential(row.formula, known)
        potential = potential - row.metal_per_oxygen * np.log10(activity)
        bound = np.where(row.temperature[0] <= T, potential, bound)
    return bound


# ----------------------------------------------------------------------------------------------
# Which elements of a metal stay bright in the gas around the ware

AIR_OXYGEN = 0.21
"""Oxygen pressure of air. [atm]"""
TECHNICAL_OXYGEN = 1e-5
"""Oxygen left in technical argon or nitrogen, 10 ppm: common practice. [atm]"""
AIR_FED_CARBON = 0.347
"""CO + CO2 of a box whose oxygen came in with air: 0.21 × 2/(1 + 0.21), all as CO. [atm]"""
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

    Not reached in a firing below about 700 °C (common practice), where the gas holds more CO2 than
    this, or air.

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
        water = water_pressure(dew_point) / ATMOSPHERE
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


def data_end(elements: Iterable[str], gas: str) -> float:
    """Hottest temperature at which the oxides of elements and the gas itself are known. [K]

    Parameters
    ----------
    elements : iterable of str
        Of `FIRST_OXIDES`.
    gas : str
        As in `oxygen_potential`.

    Returns
    -------
    float
        Infinite for no element in air or inert gas.
    """
    rows = [FIRST_OXIDES[element][-1] for element in elements]
    rows += {"carbon": ["CO", "CO2"], "hydrogen": ["H2O"]}.get(gas, [])
    return min((OXIDES[formula].temperature[-1] for formula in rows), default=float("inf"))


def oxidised_elements(margins: Mapping[str, Array]) -> tuple[str, ...]:
    """Elements that oxidise anywhere in a trace, the worst first.

    Leave out of the trace what is too cold for the reaction: in carbon below
    about 700 °C, and everywhere below about 300 °C (common practice), where even iron and silver
    count as oxidised and yet keep.

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
