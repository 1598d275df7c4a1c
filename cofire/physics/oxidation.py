"""How much of a metal's grains turns to oxide while hot in air, and how that swells them.

Parabolic growth: oxide that is dense and sticks slows its own growth. Orders of magnitude: rate
constants differ between sources by ten and more, and a powder is no foil (`SHARE_FACTOR`). Where a
binder still burns it keeps air from the grains, and inside a thick wall air comes late; both leave
less oxide than is said here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cofire.errors import UnknownName
from cofire.numerics import Array
from cofire.physics.porosity import positive
from cofire.physics.sintering import run_clock
from cofire.units import GAS_CONSTANT, kelvin

SHARE_FACTOR = 3.0
"""By how much the share of a grain that is oxidised may be wrong, either way: estimate. [-]"""


@dataclass(frozen=True)
class Growth:
    """How fast the oxide of one metal grows in air.

    Attributes
    ----------
    at, rate
        A temperature [K], and the square of the oxygen taken up there per area and time.
        [kg²/(m⁴ s)]
    energy_below, energy_above
        Activation energies on either side of it. [J/mol]
    metal_used
        Volume of metal per mass of oxygen. [m³/kg]
    volume_ratio
        Of the oxide over the metal in it, by densities of the CRC Handbook. [-]
    source
        Of rate and energies, with their range.
    """

    at: float
    rate: float
    energy_below: float
    energy_above: float
    metal_used: float
    volume_ratio: float
    source: str


GROWTH = {
    "Cu": Growth(
        kelvin(500.0), 2e-9, 40e3, 91e3, 8.89e-4, 1.68,
        "Cu2O, 350 to 700 °C. Energies: Zhu, Mimura & Isshiki 2002 (Mater. Trans. 43, 2173), "
        "abstract, 350-500 °C, and Wang & Cho 2009 (ISIJ Int. 49, 1926), abstract, 500-700 °C; "
        "level by 0.266 exp(-37 700 cal/RT) g2/(cm4 s) at 600 °C, from memory",
    ),
    "Fe": Growth(
        kelvin(500.0), 1.74e-8, 138.1e3, 138.1e3, 3.33e-4, 2.10,
        "Fe3O4, 500 to 900 °C: 0.37 exp(-33 000 cal/RT), Stanley, Hoene & Huntoon 1950 (Trans. "
        "Am. Soc. Metals), in an abstract of US Bureau of Mines literature, units of g2/(cm4 s) "
        "from memory; one mechanism down to 400 °C: Corrosion Science 2008, on the spectral "
        "emissivity of iron that oxidises, abstract",
    ),
    "Ni": Growth(
        kelvin(800.0), 3e-10, 183e3, 116e3, 4.12e-4, 1.69,
        "NiO, 500 to 1200 °C. Energies: 'Oxidation kinetics of large nickel particles', abstract, "
        "1.9 eV below 800 °C and 1.2 eV above; level from memory",
    ),
}  # fmt: skip
"""By metal. Outside the range that a source names its law is continued."""


def _growth(metal: str) -> Growth:
    """Its law, or a complaint."""
    if metal not in GROWTH:
        raise UnknownName("metal", metal, GROWTH)
    return GROWTH[metal]


def parabolic_rate(metal: str, temperature: npt.ArrayLike) -> Array:
    """Square of the oxygen that a metal takes up in air, per area and time. [kg²/(m⁴ s)]

    Parameters
    ----------
    metal : str
        One of `GROWTH`.
    temperature : array_like
        Any shape. [K]

    Raises
    ------
    UnknownName
        No rate of that metal is tabulated.
    """
    law, T = _growth(metal), np.asarray(temperature, dtype=np.float64)
    energy = np.where(law.at > T, law.energy_below, law.energy_above)
    return np.asarray(law.rate * np.exp(-energy / GAS_CONSTANT * (1.0 / T - 1.0 / law.at)))


def oxidised_depth(metal: str, time: Array, temperature: Array) -> Array:
    """Thickness of metal that has turned to oxide along a trace in air, shape (M,). [m]

    Parabolic growth at changing temperature: the square of the oxide grows by the rate of the
    moment (C. Wagner's theory, from memory).

    Parameters
    ----------
    metal : str
        One of `GROWTH`.
    time, temperature : array
        Of the metal, shape (M,). [s], [K]

    Raises
    ------
    UnknownName
        No rate of that metal is tabulated.

    Examples
    --------
    An hour at 500 °C uses up 2.4 µm of copper:

    >>> depth = oxidised_depth("Cu", np.array([0.0, 3600.0]), np.full(2, 773.15))
    >>> round(1e6 * float(depth[-1]), 1)
    2.4
    """
    uptake = run_clock(time, temperature, lambda T: parabolic_rate(metal, T))
    return np.asarray(np.sqrt(uptake) * _growth(metal).metal_used)


def oxidised_share(depth: npt.ArrayLike, particle_size: npt.ArrayLike) -> Array:
    """Share of a round grain's metal that lies within a depth of its surface. [-]

    As of a flat face, which is slow for a grain that is nearly through: within `SHARE_FACTOR`.

    Parameters
    ----------
    depth : array_like
        From `oxidised_depth`. [m]
    particle_size : array_like
        Diameter. [m]
    """
    core = 1.0 - 2.0 * np.asarray(depth, dtype=np.float64) / positive("grain", particle_size)
    return np.asarray(1.0 - np.maximum(core, 0.0) ** 3)


def oxide_swelling(metal: str, share: npt.ArrayLike) -> Array:
    """Growth in length of grains of which a share has turned to oxide, at most that of the powder.

    Oxide that grows into the pores moves no neighbour, and most of it does: metal comes out
    through the oxides of `GROWTH`.

    Parameters
    ----------
    metal : str
        One of `GROWTH`.
    share : array_like
        From `oxidised_share`. [-]

    Returns
    -------
    array
        Linear. [-]

    Raises
    ------
    UnknownName
        No oxide of that metal is tabulated.
    """
    grown = (_growth(metal).volume_ratio - 1.0) * np.asarray(share, dtype=np.float64)
    return np.asarray((1.0 + grown) ** (1.0 / 3.0) - 1.0)
