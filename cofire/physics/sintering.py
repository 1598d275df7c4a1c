"""Density along a trace: a clock that temperature drives, a curve over it, a card bound to both.

Two kernels share this one interface. The master sintering curve (Su & Johnson 1996, J. Am.
Ceram. Soc. 79, 3211) takes a crystalline powder whose densification has one apparent activation
energy; the viscous kernel (Frenkel 1945, J. Phys. (USSR) 9, 385; Mackenzie & Shuttleworth 1949,
Proc. Phys. Soc. B 62, 833) takes a glassy powder. In both the rate of the clock depends on the
temperature of the moment alone, so any trace works, also one that is not monotone.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from cofire.errors import ModelError
from cofire.firing.kiln import Trace
from cofire.materials.card import Card, once_a_card
from cofire.numerics import Array
from cofire.physics.expansion import smooth_step
from cofire.physics.porosity import densified
from cofire.physics.rheology import shear_viscosity
from cofire.units import GAS_CONSTANT, ROOM

# ----------------------------------------------------------------------------------------------
# Density along a trace: a clock that temperature drives, and a curve over the clock

GAUSS_POINTS = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
GAUSS_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0

FRENKEL_LIMIT = 0.10
"""Linear shrinkage up to which Frenkel's equation is used. [-]"""


def master_clock_rate(temperature: ArrayLike, activation_energy: ArrayLike) -> Array:
    """Rate of the clock of the master sintering curve: exp(−Q/RT)/T.

    Parameters
    ----------
    temperature : array_like
        [K]
    activation_energy : array_like
        Apparent; broadcasts against temperature. [J/mol]

    Returns
    -------
    array
        Broadcast shape. [1/K]
    """
    T = np.asarray(temperature, dtype=np.float64)
    return np.asarray(np.exp(-np.asarray(activation_energy) / (GAS_CONSTANT * T)) / T)


def viscous_clock_rate(
    viscosity: ArrayLike, surface_tension: ArrayLike, radius: ArrayLike
) -> Array:
    """Rate of the viscous clock: surface tension over viscosity and particle radius.

    Parameters
    ----------
    viscosity : array_like
        Shear viscosity; infinite where frozen. [Pa s]
    surface_tension : array_like
        [N/m]
    radius : array_like
        Of the particles. [m]

    Returns
    -------
    array
        Broadcast shape. [1/s]
    """
    return np.asarray(
        np.asarray(surface_tension) / (np.asarray(viscosity) * np.asarray(radius)),
        dtype=np.float64,
    )


def run_clock(time: Array, temperature: Array, rate: Callable[[Array], Array]) -> Array:
    """Integral of a rate along a trace that is linear between its nodes.

    Three-point Gauss quadrature in each interval: exact to rounding for activated rates when
    nodes are some kelvin apart. Splitting an interval changes nothing.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    rate : callable
        Takes temperatures of shape (K,), returns rates of shape (..., K). [clock unit/s]

    Returns
    -------
    array
        Reading of the clock from zero, shape (..., M). [clock unit]
    """
    step = np.diff(time)
    inside = temperature[:-1, None] + np.diff(temperature)[:, None] * GAUSS_POINTS
    rates = rate(inside.ravel())
    rates = rates.reshape(*rates.shape[:-1], *inside.shape)
    grown = (rates @ GAUSS_WEIGHTS) * step
    start = np.zeros((*grown.shape[:-1], 1))
    return np.concatenate([start, np.cumsum(grown, axis=-1)], axis=-1)


def master_curve(
    clock: ArrayLike,
    reference: ArrayLike,
    exponent: ArrayLike,
    green_density: ArrayLike,
    full_density: ArrayLike,
) -> Array:
    """Relative density on the master sintering curve: a sigmoid in the clock's logarithm.

    ρ = ρ0 + (ρ∞ − ρ0) / (1 + (Θ_ref/Θ)^n)

    Parameters
    ----------
    clock : array_like
        Θ = ∫ exp(−Q/RT)/T dt, not negative. [s/K]
    reference : array_like
        Θ at which half of the way is done. [s/K]
    exponent : array_like
        n, steepness. [-]
    green_density, full_density : array_like
        Ends of the curve. [-]

    Returns
    -------
    array
        Broadcast shape. [-]
    """
    theta = np.asarray(clock, dtype=np.float64)
    tiny = np.finfo(np.float64).tiny
    log_ratio = np.log(np.maximum(theta, tiny)) - np.log(reference)
    done = 1.0 / (1.0 + np.exp(-np.clip(np.asarray(exponent) * log_ratio, -700.0, 700.0)))
    start = np.asarray(green_density, dtype=np.float64)
    return np.asarray(start + (np.asarray(full_density) - start) * done)


def master_reference(
    clock: ArrayLike,
    density: ArrayLike,
    exponent: ArrayLike,
    green_density: ArrayLike,
    full_density: ArrayLike,
) -> Array:
    """Reading of the clock at half way, from one firing whose density was measured.

    Parameters
    ----------
    clock : array_like
        Reading after that firing. [s/K]
    density : array_like
        Relative density it gave, between the ends. [-]
    exponent : array_like
        n. [-]
    green_density, full_density : array_like
        Ends of the curve. [-]

    Returns
    -------
    array
        Θ_ref. [s/K]
    """
    done = densified(density, green_density, full_density)
    return np.asarray(
        np.asarray(clock) * (1.0 / done - 1.0) ** (1.0 / np.asarray(exponent)), dtype=np.float64
    )


def viscous_curve(clock: ArrayLike, green_density: ArrayLike, full_density: ArrayLike) -> Array:
    """Relative density of a glassy powder over its viscous clock.

    Frenkel: linear shrinkage = 3/8 of the clock, up to 10 % (or 60 % of the way, where that is
    less). Then Mackenzie & Shuttleworth: the porosity left falls exponentially with the clock;
    the pore radius of their equation is the one that continues Frenkel's rate.

    Parameters
    ----------
    clock : array_like
        ∫ γ/(η r) dt. [-]
    green_density, full_density : array_like
        Ends of the curve. [-]

    Returns
    -------
    array
        Broadcast shape. [-]
    """
    tau, start, end = np.broadcast_arrays(
        np.asarray(clock, dtype=np.float64), green_density, full_density
    )
    switch_density = np.minimum(start / (1.0 - FRENKEL_LIMIT) ** 3, start + 0.6 * (end - start))
    shrinkage = 1.0 - (start / switch_density) ** (1.0 / 3.0)
    switch = shrinkage * 8.0 / 3.0
    early = start / (1.0 - 3.0 / 8.0 * np.minimum(tau, switch)) ** 3
    slope = switch_density * (9.0 / 8.0) / (1.0 - shrinkage)
    late = end - (end - switch_density) * np.exp(
        -slope / (end - switch_density) * np.maximum(tau - switch, 0.0)
    )
    return np.asarray(np.where(tau < switch, early, late), dtype=np.float64)


def sintering_strain(
    relative_density: ArrayLike, green_density: ArrayLike, height_factor: ArrayLike = 1.0
) -> Array:
    """Natural strain along the ring of a body that densifies.

    The volume change ln(ρ0/ρ) is shared between two directions along the wall's ring and
    thickness, and the height, which shrinks `height_factor` times as much.

    Parameters
    ----------
    relative_density : array_like
        Now. [-]
    green_density : array_like
        At the start. [-]
    height_factor : array_like
        Shrinkage along the height over that along the ring. [-]

    Returns
    -------
    array
        Negative where it has shrunk. [-]

    Examples
    --------
    From 55 to 95 % of full density a body loses 16.655 % of its length:

    >>> round(100.0 * float(1.0 - np.exp(sintering_strain(0.95, 0.55))), 3)
    16.655
    """
    volume = np.log(np.asarray(green_density) / np.asarray(relative_density))
    return np.asarray(volume / (2.0 + np.asarray(height_factor)), dtype=np.float64)


def left_to_sinter(shrinkage: ArrayLike, contraction: ArrayLike) -> Array:
    """What of a body's shrinkage its sintering brings, after what its bound water took. [-]

    A green density is that of the solids that remain, in the volume of the dried body: what the two
    densities say is all of the shrinkage, and the contraction while water leaves is its first part.

    Parameters
    ----------
    shrinkage : array_like
        Natural strain that densities give (`sintering_strain`). [-]
    contraction : array_like
        That of the bound water so far, not positive. [-]
    """
    rest = np.asarray(shrinkage, dtype=np.float64) - np.asarray(contraction)
    return np.asarray(np.minimum(rest, 0.0))


def sintering_viscosity(
    strain_rate: ArrayLike, potential: ArrayLike, viscous_poisson_ratio: ArrayLike
) -> Array:
    """Uniaxial viscosity of a body that is densifying, from its own speed. [Pa s]

    A body whose sintering potential Σ shrinks it at the rate ε̇ along each direction has the bulk
    viscosity Σ/(3 ε̇), hence E = Σ (1 − 2ν)/ε̇ (linear viscous sintering: Bordia & Scherer 1988,
    Acta Metall. 36, 2393, from memory). It tells how soft a half-sintered body is: a tension of
    the size of Σ stops its shrinkage. Infinite where nothing shrinks.

    Parameters
    ----------
    strain_rate : array_like
        Of free sintering, negative where it shrinks. [1/s]
    potential : array_like
        Sintering potential. [Pa]
    viscous_poisson_ratio : array_like
        Below one half. [-]
    """
    speed = np.maximum(-np.asarray(strain_rate, dtype=np.float64), 0.0)
    drive = np.asarray(potential) * (1.0 - 2.0 * np.asarray(viscous_poisson_ratio))
    moving = speed > 1e-14
    return np.asarray(np.where(moving, drive / np.where(moving, speed, 1.0), np.inf))


# ----------------------------------------------------------------------------------------------
# Density of one card under any trace: its kernel bound to its numbers

SURFACE_ENERGY = {"metal": 1.0, "crystalline": 0.9, "glassy": 0.3}
"""Where the card gives no surface_tension: of metals, oxides and silicate glasses, within a factor
of 1.7 (Kingery, Bowen & Uhlmann 1976, from memory). [J/m²]"""


AUSTENITE = ("alpha to gamma iron", "ferrite to austenite")
"""Transformations on heating after which iron's atoms are packed closer and diffuse slower."""
VOLUME_SLOWING, BOUNDARY_SLOWING = 1.0 / 170.0, 1.0 / 3.2
"""Self-diffusion in gamma over alpha iron at 912 °C: through the volume, 4.9e-5 exp(-284.1 kJ/RT)
(Heumann & Imm 1968) over 2.76e-4 exp(-250.6 kJ/RT) m²/s (Iijima et al. 1988); along boundaries
7.5e-14 exp(-159 kJ/RT) over 1.1e-12 exp(-174 kJ/RT) m³/s (Frost & Ashby 1982); all from memory. [-]
"""
ALPHA_ENERGIES = 174e3, 239e3
"""Boundary and volume diffusion in alpha iron (the iron card's sources): where a card's sintering
energy lies between them says how much of each it stands for. [J/mol]"""


def austenite_slowing(energy: float) -> float:
    """Densification of gamma over alpha iron at one temperature, for an apparent energy. [-]

    The two ratios mixed in the logarithm by the place of the energy between its two paths. Iron
    powder sinters faster just below 912 °C than well above it, as the trade knows. Carbon lowers
    the activation energy of austenite's self-diffusion: steel of a pack may be two to three times
    quicker than this (Mead & Birchenall 1956, Trans. AIME 206, from memory; left out, since the
    card's own firing places the curve), and the ratio at 912 °C is held down to 727.

    Parameters
    ----------
    energy : float
        Apparent activation energy of densification of the alpha form. [J/mol]
    """
    low, high = ALPHA_ENERGIES
    volume = min(max((energy - low) / (high - low), 0.0), 1.0)
    return float(VOLUME_SLOWING**volume * BOUNDARY_SLOWING ** (1.0 - volume))


def austenite_share(card: Card, temperature: Array) -> Array:
    """Share of a body that is austenite as it is heated; zero of all but iron and its steels.

    Parameters
    ----------
    card : Card
        One material, as it is in its gas (`Card.in_gas`).
    temperature : array
        Any shape. [K]

    Returns
    -------
    array
        Same shape. [-]
    """
    turns = [c for c in card.inversions if c.name in AUSTENITE and card.elements == ("Fe",)]
    if not turns:
        return np.zeros_like(temperature)
    return smooth_step(temperature, turns[0].on_heating, turns[0].width)


def master_rate(card: Card, energy: float) -> Callable[[Array], Array]:
    """Rate of the master clock of a card for an activation energy, its own or a trial one.

    A body that matures lower in its gas (`Card.matures_lower`) runs as in air so much hotter; what
    is austenite runs slower (`austenite_slowing`).

    Parameters
    ----------
    card : Card
        One material, as it is in its gas (`Card.in_gas`).
    energy : float
        Apparent. [J/mol]

    Returns
    -------
    callable
        Temperatures [K] to rates [1/K].
    """
    lower, slow = card.matures_lower, austenite_slowing(energy)

    def rate(T: Array) -> Array:
        slowed = 1.0 - (1.0 - slow) * austenite_share(card, T)
        return np.asarray(master_clock_rate(T + lower, energy) * slowed)

    return rate


def clock_rate(card: Card, extend: bool = False) -> Callable[[Array], Array]:
    """Rate of the card's sintering clock as a function of temperature.

    A viscous body that matures lower in its gas runs as in air so much hotter, as in `master_rate`.

    Parameters
    ----------
    card : Card
        One material, as it is in its gas (`Card.in_gas`).
    extend : bool
        Hold a viscosity table's hottest value above it instead of refusing.

    Returns
    -------
    callable
        Temperatures [K] to rates: [1/K] for the master curve, [1/s] for the viscous kernel.
    """
    if card.densification == "viscous":
        lower, tension = card.matures_lower, card["surface_tension"].scalar
        radius = card["particle_size"].scalar / 2.0
        return lambda T: viscous_clock_rate(
            shear_viscosity(card, T + lower, extend), tension, radius
        )
    return master_rate(card, card["sintering_energy"].scalar)


def _unsaid(card: Card) -> str:
    """Gas of a firing of which nobody said in which it was."""
    return "air" if "reduced_maturing" in card else card.gas


@once_a_card
def half_way(card: Card) -> float:
    """Reading of the master clock at half way, from the firing that the card was measured in.

    The clock is that of the card in the gas of that firing; where nobody said in which, in the gas
    that the card is in, or in air for a body that says how much lower it matures when reduced.

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
    rate = clock_rate(card.in_gas(fired.gas or _unsaid(card)))
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
    card = card.in_gas(trace.gas)
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
