"""Density of one card under any trace: its kernel bound to its numbers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from cofire.errors import ModelError
from cofire.inputs.cards import Card
from cofire.inputs.trace import Trace
from cofire.inputs.units import ROOM
from cofire.physics.densification import (
    master_clock_rate,
    master_curve,
    master_reference,
    run_clock,
    viscous_clock_rate,
    viscous_curve,
)
from cofire.physics.rheology import shear_viscosity

Array = NDArray[np.float64]

SURFACE_ENERGY = {"metal": 1.0, "crystalline": 0.9, "glassy": 0.3}
"""Where the card gives no surface_tension: of metals, oxides and silicate glasses, within a factor
of 1.7 (Kingery, Bowen & Uhlmann 1976, from memory). [J/m²]"""


def clock_rate(card: Card, extend: bool = False) -> Callable[[Array], Array]:
    """Rate of the card's sintering clock as a function of temperature.

    Parameters
    ----------
    card : Card
        One material.
    extend : bool
        Hold a viscosity table's hottest value above it instead of refusing.

    Returns
    -------
    callable
        Temperatures [K] to rates: [1/K] for the master curve, [1/s] for the viscous kernel.
    """
    if card.densification == "viscous":
        tension = card["surface_tension"].scalar
        radius = card["particle_size"].scalar / 2.0
        return lambda T: viscous_clock_rate(shear_viscosity(card, T, extend), tension, radius)
    energy = card["sintering_energy"].scalar
    return lambda T: master_clock_rate(T, energy)


def half_way(card: Card) -> float:
    """Reading of the master clock at half way, from the firing that the card was measured in.

    Parameters
    ----------
    card : Card
        With `fired_density` and its `fired_at`.

    Returns
    -------
    float
        Θ_ref of the master sintering curve. [s/K]

    Raises
    ------
    ModelError
        The card does not say in which firing it was measured.
    """
    fired = card.fired_at
    if fired is None:
        raise ModelError(f"{card.name}: fired_density has no fired_at; the curve cannot be placed")
    ramp = np.linspace(ROOM, fired.peak, 400)
    rate = clock_rate(card)
    ramped = run_clock((ramp - ROOM) / fired.rate, ramp, rate)[-1]
    held = fired.hold * float(rate(np.array([fired.peak]))[0])
    return float(
        master_reference(
            ramped + held,
            card["fired_density"].scalar,
            card["sintering_exponent"].scalar,
            card["green_density"].scalar,
            card["full_density"].scalar,
        )
    )


def density_at(card: Card, clock: Array) -> Array:
    """Relative density for readings of the card's own clock.

    Parameters
    ----------
    card : Card
        One material.
    clock : array
        Readings, any shape: of the viscous kernel without unit, of the master curve in [s/K]

    Returns
    -------
    array
        Same shape. [-]
    """
    green, full = card["green_density"].scalar, card["full_density"].scalar
    if card.densification == "viscous":
        return viscous_curve(clock, green, full)
    exponent = card["sintering_exponent"].scalar
    return master_curve(clock, half_way(card), exponent, green, full)


def relative_density(card: Card, trace: Trace, extend: bool = False) -> Array:
    """Relative density of one material along a trace.

    Parameters
    ----------
    card : Card
        One material (not a blend).
    trace : Trace
        What the ware sees.
    extend : bool
        As in `clock_rate`.

    Returns
    -------
    array
        Never falling, between green and full density, shape (M,). [-]
    """
    return density_at(card, run_clock(trace.time, trace.ware, clock_rate(card, extend)))


def sintering_potential(card: Card) -> float:
    """Stress that would just stop the free shrinkage of a powder body: 2 γ/r.

    r is the radius of the grains (German 1996, Sintering Theory and Practice, from memory); taken
    constant over the firing, within a factor of two.

    Parameters
    ----------
    card : Card
        One material.

    Returns
    -------
    float
        [Pa]
    """
    glassy = "glassy" if "glass_viscosity" in card else "crystalline"
    usual = SURFACE_ENERGY["metal" if card.kind == "metal" else glassy]
    energy = card.scalar("surface_tension", usual)
    return 2.0 * energy / (0.5 * card["particle_size"].scalar)
