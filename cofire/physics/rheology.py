"""How a body flows: viscosity of a glassy or crystalline body, creep of a metal, the set point."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from cofire.materials.card import Card, Property
from cofire.numerics import Array
from cofire.physics.porosity import rigid_inclusion_factor
from cofire.units import GAS_CONSTANT

CREEP_RATE = 1e-6
"""Strain rate to which a card's `creep_stress` belongs. [1/s]"""
LEAST_FALL = 1e-10
"""Share of a body's bonds lost over two steps that is told from rounding. [-]"""
LEAST_LOSS = 1e-8
"""Share of a body's bonds lost a second that counts: less is a thousandth in a day. [1/s]"""


def tabulated_viscosity(table: Property, temperature: Array, extend: bool = False) -> Array:
    """Viscosity from a card's logarithmic table; infinite below its coldest row.

    Parameters
    ----------
    table : Property
        log10 of viscosity over temperature, coldest row at 16 or more.
    temperature : array
        Any shape. [K]
    extend : bool
        Hold the hottest row's value above it instead of refusing.

    Returns
    -------
    array
        Same shape. [Pa s]

    Raises
    ------
    OutOfRange
        Above the hottest row.
    """
    assert table.temperature is not None
    frozen = temperature < table.temperature[0]
    decades = table.at(np.where(frozen, table.temperature[0], temperature), extend)
    return np.where(frozen, np.inf, 10.0**decades)


def shear_viscosity(card: Card, temperature: Array, extend: bool = False) -> Array:
    """Shear viscosity of a body's dense substance: its glass, stiffened by its crystals.

    A body flows far more slowly than its glass. Where the card has a `sag_viscosity`, the ratio
    of body to glass is taken from it and kept at all temperatures (crystals that dissolve on
    heating make it larger when cold: relief is then overstated, by our estimate 20 K of set
    point a factor of three); else it follows from `crystal_fraction`.

    Parameters
    ----------
    card : Card
        With `glass_viscosity` (and `sag_viscosity` or `crystal_fraction`) or `body_viscosity`.
    temperature : array
        Any shape. [K]
    extend : bool
        As in `tabulated_viscosity`.

    Returns
    -------
    array
        Same shape; infinite where it is frozen, or has neither table. [Pa s]
    """
    if "glass_viscosity" in card:
        glass = tabulated_viscosity(card["glass_viscosity"], temperature, extend)
        if "sag_viscosity" not in card:
            return glass * rigid_inclusion_factor(card.scalar("crystal_fraction", 0.0))
        sag = card["sag_viscosity"]
        assert sag.temperature is not None
        bare = tabulated_viscosity(card["glass_viscosity"], sag.temperature)[0]
        return np.asarray(glass * (10.0**sag.scalar / (3.0 * bare)))
    if "body_viscosity" in card:
        return tabulated_viscosity(card["body_viscosity"], temperature, extend) / 3.0
    return np.full(temperature.shape, np.inf)


def creep_factor(
    temperature: ArrayLike,
    stress: ArrayLike,
    stress_temperature: ArrayLike,
    exponent: ArrayLike,
    activation_energy: ArrayLike,
) -> Array:
    """A in the creep law rate = A stress^n, from the stress that gives 1e-6 per second.

    Norton's law with Dorn's temperature dependence (Frost & Ashby 1982, Deformation-Mechanism
    Maps, eq. 2.21 with the modulus taken constant): within the power-law field, stresses below
    about 1e-3 of the shear modulus.

    Parameters
    ----------
    temperature : array_like
        [K]
    stress, stress_temperature : array_like
        The stress, and the temperature at which it creeps at 1e-6 per second. [Pa], [K]
    exponent : array_like
        n. [-]
    activation_energy : array_like
        Q. [J/mol]

    Returns
    -------
    array
        Broadcast shape. [1/(s Pa^n)]
    """
    hotter = 1.0 / np.asarray(temperature, dtype=np.float64) - 1.0 / np.asarray(stress_temperature)
    n = np.asarray(exponent)
    return np.asarray(
        CREEP_RATE
        * np.exp(-n * np.log(stress) - np.asarray(activation_energy) / GAS_CONSTANT * hotter)
    )


def viscosity_at(
    stress: ArrayLike, viscosity: ArrayLike, creep: ArrayLike, creep_exponent: ArrayLike
) -> Array:
    """Secant viscosity of a body that flows and creeps: 1/(1/η + A σ^(n−1)). [Pa s]

    At the kilopascals of own weight a metal's power law gives next to nothing and its grains flow
    by diffusion, as they do while they sinter: η is then that of `sintering_viscosity`
    (Nabarro–Herring and Coble creep are linear in the stress: Frost & Ashby 1982, Deformation-
    Mechanism Maps, eq. 2.29). Creep of a dense coarse metal between the two is left out.

    Parameters
    ----------
    stress : array_like
        [Pa]
    viscosity : array_like
        η, may be infinite. [Pa s]
    creep : array_like
        A, zero where nothing creeps. [1/(s Pa^n)]
    creep_exponent : array_like
        n. [-]
    """
    pull, n = np.asarray(stress, dtype=np.float64), np.asarray(creep_exponent)
    fluidity = 1.0 / np.asarray(viscosity) + np.asarray(creep) * pull ** (n - 1.0)
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / fluidity)


def binder_relief(time: Array, strength: Array, young_modulus: Array) -> Array:
    """Fluidity of a body whose bonds burn away: −(dw/dt)/(w E). [1/(Pa s)]

    What its binder carried is let go with the binder, and the grains that take over touch each
    other where they then are, so stress falls as the strength w does and the strain that the
    body bears of what is left stays the same. Our rule: a binder that softens first relieves more.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    strength : array
        w, of the skeleton and its binder, shape (M,). [Pa]
    young_modulus : array
        Shape (M,). [Pa]

    Returns
    -------
    array
        Zero where no bond is lost, shape (M,).
    """
    bonds = np.log(strength)
    lost = -np.gradient(bonds, time)
    fallen = np.append(bonds[0], bonds[:-1]) - np.append(bonds[1:], bonds[-1])
    counts = (lost > LEAST_LOSS) & (fallen > LEAST_FALL)
    return np.asarray(np.where(counts, lost, 0.0) / young_modulus)


def relaxation_time(
    young_modulus: Array,
    viscosity: Array,
    creep: Array,
    creep_exponent: ArrayLike,
    stress: float,
) -> Array:
    """Time in which a held body loses its stress: 1 / (E (1/η + A σ^(n−1))).

    Parameters
    ----------
    young_modulus : array
        [Pa]
    viscosity : array
        Uniaxial; may be infinite. [Pa s]
    creep : array
        A of the creep law; may be zero. [1/(s Pa^n)]
    creep_exponent : array_like
        n. [-]
    stress : float
        Stress at which creep is read: a power law has no single time. [Pa]

    Returns
    -------
    array
        Broadcast shape, infinite where nothing flows. [s]
    """
    return viscosity_at(stress, viscosity, creep, creep_exponent) / young_modulus


def set_point(time: Array, temperature: Array, relaxation: Array) -> float:
    """Temperature on the last cooling below which strain mismatch is stored as stress.

    There the relaxation time grows as fast as time passes, dτ/dt = 1: the Lillie-number form of
    the glass transition (Cooper & Gupta 1982, Phys. Chem. Glasses 23, 44; from memory). One such
    temperature is a first figure: stresses of opposite sign can set some 50 K apart in one run.

    Parameters
    ----------
    time, temperature : array
        The trace, shape (M,). [s], [K]
    relaxation : array
        Relaxation time along it, shape (M,). [s]

    Returns
    -------
    float
        The set point; the peak where the body never flows, the last temperature where it never
        sets. [K]
    """
    top = int(temperature.size - 1 - np.argmax(temperature[::-1]))
    t, T = time[top:], temperature[top:]
    log_tau = np.log(np.clip(relaxation[top:], 1e-30, 1e30))
    growth = np.diff(np.exp(np.minimum(log_tau, 60.0))) / np.diff(t)
    stored = np.flatnonzero(growth >= 1.0)
    flowing = np.flatnonzero(growth < 1.0)
    if stored.size == 0:
        flows_cold = log_tau[-1] < np.log(max(t[-1] - t[0], 1.0))
        return float(T[-1]) if flows_cold else float(T[0])
    first = int(stored[0])
    if first == 0 or flowing.size == 0:
        return float(T[0])
    # between the mid-points of two intervals, log growth is nearly linear in temperature
    low, high = np.log(max(growth[first - 1], 1e-30)), np.log(growth[first])
    share = np.clip(-low / (high - low), 0.0, 1.0)
    middle = 0.5 * (T[:-1] + T[1:])
    return float(middle[first - 1] + share * (middle[first] - middle[first - 1]))
