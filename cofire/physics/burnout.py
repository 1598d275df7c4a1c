"""Mass lost to heat, and the gas that must leave the wall meanwhile."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.materials.binders import Reaction
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.atmosphere import AIR_OXYGEN
from cofire.physics.paste import BINDER_DENSITY
from cofire.physics.porosity import between, positive
from cofire.physics.sintering import run_clock
from cofire.units import ATMOSPHERE, GAS_CONSTANT

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
    return _converted(reaction_clock(time, temperature, reaction), reaction)


def reaction_clock(time: Array, temperature: Array, reaction: Reaction) -> Array:
    """Integral of a reaction's rate constant along a trace, from zero.

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
        Shape (M,). [-]
    """
    return run_clock(
        time,
        temperature,
        lambda T: reaction.frequency * np.exp(-reaction.activation_energy / (GAS_CONSTANT * T)),
    )


def _converted(clock: Array, reaction: Reaction) -> Array:
    """Share of a reaction done at readings of its clock."""
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


KAOLIN_CONTRACTION = 0.055
"""Linear contraction of a clay body while its bound water leaves (430-750 °C: Štubňa & Trnovcová
1998, Ceram.-Silik. 42, 21, abstract), over the mass fraction of that water: in dilatometers kaolin
that loses 13 to 14 % ends 0.5 to 1 % shorter, a body of half kaolin 0.3 to 0.5 %, expansion apart
(from memory; 0.04 to 0.07). Estimate, of a body whose card does not say. [-]"""


def water_contraction(lost: npt.ArrayLike, water: float, per_water: float) -> Array:
    """Natural strain of a body whose bound water has left so far: it does not come back.

    Parameters
    ----------
    lost : array_like
        Share of the bound water that has left, from 0 to 1. [-]
    water : float
        Bound water, of the dried mass. [-]
    per_water : float
        Linear contraction over that mass fraction. [-]

    Returns
    -------
    array
        Same shape as `lost`, not positive. [-]

    Examples
    --------
    A body of 7 % bound water is 0.39 % shorter without it:

    >>> round(-100.0 * float(water_contraction(1.0, 0.07, 0.055)), 2)
    0.39
    """
    return np.asarray(np.log1p(-per_water * water * np.asarray(lost, dtype=np.float64)))


def mass_lost_in_turn(
    time: Array, temperature: Array, turns: Sequence[tuple[int, Sequence[Reaction]]]
) -> Array:
    """Share of a substance's mass lost where its reactions change with the gas on the way.

    What has gone stays gone: the reactions of the next gas begin where they would stand had they
    taken as much along the same heat, their easy part first, and go on by their own clocks from
    there (estimate). Where more has gone than they take, as of char burnt in air, they take no
    more. With the same reactions in every turn it is `mass_lost`.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    turns : sequence of tuple
        The node from which each set of reactions counts, the first 0, and the reactions.

    Returns
    -------
    array
        Never falls, shape (M,). [-]
    """
    lost = mass_lost(time, temperature, turns[0][1])
    for first, reactions in turns[1:]:
        alone = mass_lost(time, temperature, reactions)  # had it been this gas from the start
        gone = float(lost[first])
        # the heat after which this gas would have taken as much, as a node of the same trace
        at = float(np.interp(gone, alone, np.arange(time.size)))
        done = np.zeros_like(time[first:])
        for reaction in reactions:
            clock = reaction_clock(time, temperature, reaction)
            begun = float(np.interp(at, np.arange(time.size), clock))
            done += reaction.share * _converted(clock[first:] - clock[first] + begun, reaction)
        most = max(gone, sum(r.share for r in reactions))
        lost = lost.copy()
        lost[first:] = np.minimum(gone + np.maximum(done - done[0], 0.0), most)
    return lost


# ----------------------------------------------------------------------------------------------
# Gas that must leave a wall while it burns out or boils, and oxygen that must come in


CLAY_FROM = 0.01
"""Loss on ignition above which a body counts as clay: estimate. [-]"""
FINES = 0.05
"""Grain that decides how gas flows in clay, over the median grain: estimate, from some 10 m²/g of
clay, which is spheres of 0.2 µm beside a median of 4 µm. Where pores are wide pressure goes as its
inverse square, where gas slips along them as its inverse. [-]"""
LEAST_PORES = 0.02
"""Open pores of a bed that its binder fills, or that has closed: gas still finds a way. Estimate.
[-]"""


def holds_clay(card: Card) -> bool:
    """Whether a material is a clay body, by what it loses on ignition.

    Parameters
    ----------
    card : Card
        Not a blend.
    """
    return card.scalar("loss_on_ignition", 0.0) > CLAY_FROM


def hydraulic_grain(card: Card) -> float:
    """Size of even grains between which gas flows as in a material: its fines where it is clay. [m]

    What flows past is surface, and in a clay body that of its finest plates; a powder of metal or
    glass is its own grains.

    Parameters
    ----------
    card : Card
        Not a blend.

    Examples
    --------
    >>> import cofire as cf
    >>> stoneware, copper = (cf.card(name) for name in ("mid-fire stoneware", "copper"))
    >>> f"{hydraulic_grain(stoneware):.1e}", f"{hydraulic_grain(copper):.1e}"
    ('2.0e-07', '2.0e-05')
    """
    return card["particle_size"].scalar * (FINES if holds_clay(card) else 1.0)


def open_pores(card: Card, relative_density: npt.ArrayLike, mass_lost: npt.ArrayLike) -> Array:
    """Share of a body that gas can pass: its pores less the binder still in them. [-]

    Parameters
    ----------
    card : Card
        Not a blend.
    relative_density : array_like
        Of its skeleton. [-]
    mass_lost : array_like
        Of its dried mass; the binder goes first. [-]

    Returns
    -------
    array
        No less than `LEAST_PORES`, shape of the two. [-]
    """
    solid = card["theoretical_density"].scalar * card["green_density"].scalar
    left = np.clip(card["binder"].scalar - np.asarray(mass_lost, np.float64), 0.0, None)
    filled = left * solid / BINDER_DENSITY
    return np.clip(1.0 - np.asarray(relative_density, np.float64) - filled, LEAST_PORES, 0.95)


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


def pore_radius(particle_size: npt.ArrayLike, porosity: npt.ArrayLike) -> Array:
    """Radius of the even tubes that a bed of grains is to Kozeny: ε d/(3 (1 − ε)). [m]

    Twice the volume of its pores over their surface, 6 (1 − ε)/d (Carman 1937, as `permeability`).

    Parameters
    ----------
    particle_size : array_like
        Diameter of the grains. [m]
    porosity : array_like
        ε, as of `permeability`. [-]
    """
    d, e = positive("particle size", particle_size), between("porosity", porosity, 0.01, 0.95)
    return np.asarray(d * e / (3.0 * (1.0 - e)))


def mean_free_path(
    temperature: npt.ArrayLike,
    pressure: npt.ArrayLike,
    viscosity: npt.ArrayLike,
    molar_mass: npt.ArrayLike,
) -> Array:
    """How far a molecule of a gas flies between two hits: μ/p · √(π R T/(2 M)). [m]

    Kinetic theory, μ = ½ ρ v̄ λ with v̄ = √(8 R T/(π M)) (Maxwell, from memory).

    Parameters
    ----------
    temperature : array_like
        [K]
    pressure : array_like
        [Pa]
    viscosity : array_like
        μ of the gas. [Pa s]
    molar_mass : array_like
        M. [kg/mol]

    Examples
    --------
    >>> round(1e9 * float(mean_free_path(298.0, 101325.0, 1.84e-5, 0.02897)))  # air: 67 nm
    67
    """
    speed = np.sqrt(0.5 * np.pi * GAS_CONSTANT * positive("temperature", temperature))
    path = positive("gas viscosity", viscosity) / positive("pressure", pressure)
    return np.asarray(path * speed / np.sqrt(positive("molar mass", molar_mass)))


def slip(pore_radius: npt.ArrayLike, free_path: npt.ArrayLike) -> Array:
    """By how much more gas passes fine pores than a liquid would: 1 + 4 λ/r. [-]

    Klinkenberg 1941, API Drilling and Production Practice, 200 (from memory). With a radius the
    prefactor is 4, with a diameter 8: gas slips at the wall by λ times its shear there, which is
    G r/2 under a pressure gradient G, so a tube passes π r⁴ G/(8 μ) and π r² · λ G r/(2 μ) more, a
    share of 4 λ/r. Where the path is far longer than the pore is wide the exact flow is Knudsen's,
    which this understates to 3π/16 = 0.59 of it: pressure is overstated, by less than that.

    Parameters
    ----------
    pore_radius : array_like
        r. [m]
    free_path : array_like
        λ, not negative. [m]
    """
    path = between("mean free path", free_path, 0.0, 1.0)
    return np.asarray(1.0 + 4.0 * path / positive("pore radius", pore_radius))


def gas_viscosity(temperature: npt.ArrayLike) -> Array:
    """Viscosity of nitrogen or air, within 10 % of the gases of a binder. [Pa s]

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
    return _sutherland(temperature, 1.663e-5, 273.0, 107.0)


def steam_viscosity(temperature: npt.ArrayLike) -> Array:
    """Viscosity of steam at an atmosphere: at 500 °C a sixth less than that of nitrogen. [Pa s]

    Sutherland's law with 1.12e-5 Pa s at 350 K and 1064 K (White, Viscous Fluid Flow, from
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
    return _sutherland(temperature, 1.12e-5, 350.0, 1064.0)


def _sutherland(temperature: npt.ArrayLike, viscosity: float, known: float, own: float) -> Array:
    """Viscosity of a gas by what it is at a known temperature, and its own constant. [Pa s]"""
    T = between("gas temperature", temperature, 200.0, 2500.0)
    return np.asarray(viscosity * (T / known) ** 1.5 * (known + own) / (T + own))


def wall_overpressure(
    release: npt.ArrayLike,
    viscosity: npt.ArrayLike,
    wall: npt.ArrayLike,
    permeability: npt.ArrayLike,
    gas_density: npt.ArrayLike,
) -> Array:
    """Pressure above the kiln's in the middle of a wall that gives off gas. [Pa]

    Darcy's law with uniform release and both faces open: m μ h² / (8 k ρ), h the whole wall, of a
    gas that keeps its density and does not slip; one that does both is `gas_overpressure`.

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


LATENT_HEAT = 2.26e6
"""Of boiling water at one atmosphere. [J/kg]"""
STEAM_MOLAR_MASS = 0.018015
"""Molar mass of water. [kg/mol]"""


def evaporation_rate(
    water: npt.ArrayLike,
    heating_rate: npt.ArrayLike,
    wall: npt.ArrayLike,
    conductivity: npt.ArrayLike,
) -> Array:
    """Most water that boils off a wall per volume and time while its core stays at the boil.

    The faces run ahead of the core and heat flows in: 8 k r t/(h² L) after a time t, until the
    water w is gone, 4/h (k r w/L)^(1/2). Quasi-steady conduction over a quarter of the wall from
    each face. [kg/(m³ s)]

    Parameters
    ----------
    water : array_like
        In the wall. [kg/m³]
    heating_rate : array_like
        Of its faces. [K/s]
    wall : array_like
        Thickness h, both faces heated. [m]
    conductivity : array_like
        Of the dried body. [W/(m K)]
    """  # fmt: skip
    w = between("water in the wall", water, 0.0, 2000.0)
    r = between("heating rate", heating_rate, 0.0, 1e3)
    h, k = positive("wall", wall), positive("conductivity", conductivity)
    return np.asarray(4.0 / h * np.sqrt(k * r * w / LATENT_HEAT))


def gas_overpressure(
    release: npt.ArrayLike,
    wall: npt.ArrayLike,
    particle_size: npt.ArrayLike,
    porosity: npt.ArrayLike,
    temperature: npt.ArrayLike,
    viscosity: npt.ArrayLike,
    molar_mass: npt.ArrayLike,
) -> Array:
    """Pressure above the kiln's in the middle of a wall of grains that gives off gas. [Pa]

    Darcy flow of a gas that expands on its way out and slips along its pores. At a pressure p it
    passes as k (1 + b/p) p, with b = 4 λ p/r the same at any p (`slip`), so that

        (p + b)² = (p0 + b)² + 2 p0 Δp

    with p0 an atmosphere and Δp of `wall_overpressure` at the kiln's density: Δp over `slip` while
    it is small. Quasi-steady: true while the release changes slowly against the time gas needs to
    leave, seconds.

    Parameters
    ----------
    release : array_like
        Of gas per volume and time. [kg/(m³ s)]
    wall : array_like
        Thickness. [m]
    particle_size : array_like
        Of the grains that gas flows between, `hydraulic_grain`. [m]
    porosity : array_like
        `open_pores`. [-]
    temperature : array_like
        Of the gas. [K]
    viscosity : array_like
        [Pa s]
    molar_mass : array_like
        Of what leaves, the mean by moles. [kg/mol]
    """  # fmt: skip
    T = positive("temperature", temperature)
    density = ATMOSPHERE * positive("molar mass", molar_mass) / (GAS_CONSTANT * T)
    k = permeability(particle_size, porosity)
    plain = wall_overpressure(release, viscosity, wall, k, density)
    free_path = mean_free_path(T, ATMOSPHERE, viscosity, molar_mass)
    outside = ATMOSPHERE * slip(pore_radius(particle_size, porosity), free_path)  # p0 + b
    driven = 2.0 * ATMOSPHERE * plain
    return np.asarray(driven / (np.sqrt(outside**2 + driven) + outside))


def moisture_left(fourier: npt.ArrayLike) -> Array:
    """Share of its moisture that a slab keeps after drying from both faces. [-]

    Crank 1975, The Mathematics of Diffusion, sect. 4.3 (from memory): sum over odd n of
    8/(n π)² exp(−(n π)² D t/h²), h the whole slab.

    Parameters
    ----------
    fourier : array_like
        D t/h², not negative. [-]
    """
    F = between("Fourier number of drying", fourier, 0.0, np.inf)
    n = np.arange(1, 400, 2)[:, None] * np.pi
    series = (8.0 / n**2 * np.exp(-(n**2) * F.ravel()[None, :])).sum(axis=0).reshape(F.shape)
    return np.asarray(np.where(F < 1e-5, 1.0, np.minimum(series, 1.0)))


def oxygen_depth(
    time: Array,
    temperature: Array,
    carbon: float,
    porosity: float,
    burns_from: float = 673.0,
    open_steps: NDArray[np.bool_] | None = None,
) -> Array:
    """Depth from each face to which oxygen from air has burnt the carbon of a wall. [m]

    Shrinking core of a slab: x² = 2 ∫ D_e C dt/n, with n moles of carbon a volume, one of oxygen
    each (Levenspiel 1999, Chemical Reaction Engineering, ch. 25, from memory): time as the square
    of the wall. D of oxygen in nitrogen 2.0e-5 m²/s (T/293 K)^1.75, times ε^(3/2) for the pores
    (Bruggeman); pores under 0.1 µm hinder more.

    Parameters
    ----------
    time, temperature : array
        Shape (M,). [s], [K]
    carbon : float
        In the wall. [kg/m³]
    porosity : float
        Open pores. [-]
    burns_from : float
        Below it carbon does not burn. [K]
    open_steps : array of bool, optional
        Steps between nodes in which there is air, shape (M-1,); by default all.

    Returns
    -------
    array
        Shape (M,), infinite where there is no carbon. [m]
    """
    hot = np.maximum(temperature, 273.0)
    outside = AIR_OXYGEN * ATMOSPHERE / (GAS_CONSTANT * hot)  # mol/m³
    supply = 2.0e-5 * (hot / 293.0) ** 1.75 * porosity**1.5 * outside
    supply = np.where(temperature >= burns_from, supply, 0.0)
    steps = 0.5 * (supply[1:] + supply[:-1]) * np.diff(time)
    if open_steps is not None:
        steps = np.where(open_steps, steps, 0.0)
    moles = max(carbon, 0.0) / 0.012
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = np.sqrt(2.0 * np.append(0.0, np.cumsum(steps)) / moles)
    return np.asarray(np.where(moles > 0.0, depth, np.inf))
