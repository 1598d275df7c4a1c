"""Mass lost to heat, and the gas that must leave the wall meanwhile."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from cofire.materials.binders import Reaction
from cofire.numerics import Array
from cofire.physics.porosity import between, positive
from cofire.physics.sintering import run_clock
from cofire.units import GAS_CONSTANT

# ----------------------------------------------------------------------------------------------
# Mass lost to heat: binder, and the water bound in a clay


def conversion(time: Array, temperature: Array, reaction: Reaction) -> Array:
    """Share of a reaction done along a trace, in closed form over its own clock.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    reaction : Reaction
        Kinetics.

    Returns
    -------
    array
        From 0 towards 1, shape (M,). [-]
    """
    clock = run_clock(
        time,
        temperature,
        lambda T: reaction.frequency * np.exp(-reaction.activation_energy / (GAS_CONSTANT * T)),
    )
    n = reaction.order
    if abs(n - 1.0) < 1e-9:
        return -np.expm1(-clock)
    left = np.maximum(1.0 - (1.0 - n) * clock, 0.0)
    return np.asarray(1.0 - left ** (1.0 / (1.0 - n)), dtype=np.float64)


def mass_lost(time: Array, temperature: Array, reactions: Sequence[Reaction]) -> Array:
    """Share of a substance's mass lost by parallel reactions.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    reactions : sequence of Reaction
        Their shares may sum to less than one: the rest stays as char or ash.

    Returns
    -------
    array
        Shape (M,). [-]
    """
    lost = np.zeros_like(time)
    for reaction in reactions:
        lost = lost + reaction.share * conversion(time, temperature, reaction)
    return lost


# ----------------------------------------------------------------------------------------------
# Gas that must leave a wall while its binder burns out


def permeability(particle_size: npt.ArrayLike, porosity: npt.ArrayLike) -> Array:
    """Permeability of a bed of grains: d² ε³ / (180 (1 − ε)²). [m²]

    Kozeny 1927 and Carman 1937, Trans. Inst. Chem. Eng. 15, 150 (constant 180 for spheres; from
    memory), for creeping flow through grains of one size; fine tails make it less.

    Parameters
    ----------
    particle_size : array_like
        Diameter of the grains. [m]
    porosity : array_like
        ε, open pores that hold no binder, from 0.01 to 0.95. [-]

    Raises
    ------
    InputError
        No such bed.
    """
    d, e = positive("particle size", particle_size), between("porosity", porosity, 0.01, 0.95)
    return np.asarray(d**2 * e**3 / (180.0 * (1.0 - e) ** 2))


def gas_viscosity(temperature: npt.ArrayLike) -> Array:
    """Viscosity of nitrogen or air, within 10 % of other burnout gases. [Pa s]

    Sutherland's law with 1.663e-5 Pa s at 273 K and 107 K (White, Viscous Fluid Flow, from
    memory).

    Parameters
    ----------
    temperature : array_like
        From 200 to 2500. [K]

    Raises
    ------
    InputError
        A temperature outside.
    """
    T = between("gas temperature", temperature, 200.0, 2500.0)
    return np.asarray(1.663e-5 * (T / 273.0) ** 1.5 * (273.0 + 107.0) / (T + 107.0))


def wall_overpressure(
    release: npt.ArrayLike,
    viscosity: npt.ArrayLike,
    wall: npt.ArrayLike,
    permeability: npt.ArrayLike,
    gas_density: npt.ArrayLike,
) -> Array:
    """Pressure above the kiln's in the middle of a wall that gives off gas. [Pa]

    Darcy's law with uniform release and both faces open: m μ h² / (8 k ρ), h the whole wall; the
    gas keeps its density, which overstates pressures above an atmosphere.

    Parameters
    ----------
    release : array_like
        Mass of gas per volume and time. [kg/(m³ s)]
    viscosity : array_like
        Of the gas. [Pa s]
    wall : array_like
        Thickness. [m]
    permeability : array_like
        [m²]
    gas_density : array_like
        At the kiln's pressure. [kg/m³]

    Raises
    ------
    InputError
        A negative release, or another value that is not positive.
    """
    m, h = between("release of gas", release, 0.0, 1e6), positive("wall", wall)
    k, density = positive("permeability", permeability), positive("gas density", gas_density)
    return np.asarray(m * positive("gas viscosity", viscosity) * h**2 / (8.0 * k * density))
