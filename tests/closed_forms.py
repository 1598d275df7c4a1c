"""Closed forms that no calculation of the package needs, and that its structures are held against.

Each with its unit, its range and its source, as the equations of the package are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike
from scipy.special import exp1

from cofire.errors import InputError, OutOfRange
from cofire.mechanics.equilibrium import Structure
from cofire.mechanics.integrator import Record
from cofire.mechanics.law import StressState, mapped, total_of
from cofire.numerics import Array
from cofire.physics.interface import layer_phase
from cofire.physics.mixing import (
    Pair,
    bulk_modulus,
    elastic_bounds,
    free_strain,
    shear_modulus,
)
from cofire.physics.porosity import between, positive
from cofire.physics.slow_crack_growth import LEAST_EXPONENT, MOST_EXPONENT
from cofire.units import GAS_CONSTANT

# ----------------------------------------------------------------------------------------------
# Two bodies of different free strain: grain, film, layers, rings


@dataclass(frozen=True)
class RingJoint:
    """Two rings joined edge to edge; side 1 first in each pair.

    Attributes
    ----------
    hoop_stress
        Wall mean at the joint, per side. [Pa]
    bending_stress
        Largest meridional stress at a face of the wall, tension on one face and compression on the
        other, per side. [Pa]
    bending_distance
        Where that is, measured from the joint, per side. [m]
    moment
        Meridional moment per length of the joint, positive with the outer face in tension. [N]
    radial_force
        Force outward on ring 1, inward on ring 2, per length of the joint. [N/m]
    energy
        Released per area of joint when the rings part completely. [J/m2]
    """

    hoop_stress: tuple[Array, Array]
    bending_stress: tuple[Array, Array]
    bending_distance: tuple[Array, Array]
    moment: Array
    radial_force: Array
    energy: Array


def grain_stress(
    strain_mismatch: npt.ArrayLike,
    young_grain: npt.ArrayLike,
    poisson_grain: npt.ArrayLike,
    young_matrix: npt.ArrayLike,
    poisson_matrix: npt.ArrayLike,
) -> Array:
    """Radial stress on a round grain in a large matrix, whose hoop stress is -1/2 of it. [Pa]

    Selsing 1961, J. Am. Ceram. Soc. 44, 419 (from memory; it is Lamé's sphere). Elastic, one grain
    far from others. It says whether a blend tears or crazes inside itself.

    Parameters
    ----------
    strain_mismatch : array_like
        Free strain of the grain minus that of the matrix. [-]
    young_grain, young_matrix : array_like
        Young's moduli. [Pa]
    poisson_grain, poisson_matrix : array_like
        Poisson's ratios. [-]
    """
    grain = 3.0 * bulk_modulus(young_grain, poisson_grain)
    matrix = 4.0 * shear_modulus(young_matrix, poisson_matrix)
    return np.asarray(-np.asarray(strain_mismatch) / (1.0 / grain + 1.0 / matrix), np.float64)


def film_energy(
    stress: npt.ArrayLike,
    thickness: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: npt.ArrayLike,
) -> Array:
    """Energy released per area by a long crack under a film on a thick body. [J/m2]

    Hutchinson & Suo 1992, Adv. Appl. Mech. 29, 63: Z = 1/2 (from memory; the limit of
    `separation_energy`). The film keeps its strain along the crack front.

    Parameters
    ----------
    stress : array_like
        In-plane stress of the film, alike in both directions. [Pa]
    thickness : array_like
        Of the film; at 1 % of the body's this is 4 % high. [m]
    young_modulus : array_like
        Of the film. [Pa]
    poisson_ratio : array_like
        Of the film. [-]
    """
    E, h = positive("Young's modulus", young_modulus), positive("thickness", thickness)
    plane_strain = E / (1.0 - np.asarray(poisson_ratio, np.float64) ** 2)
    return np.asarray(0.5 * h * np.asarray(stress) ** 2 / plane_strain, np.float64)


def separation_energy(
    thickness_1: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    strain_mismatch: npt.ArrayLike,
) -> Array:
    """Energy released per area by a long crack that parts two flat layers free to bend. [J/m2]

    All the energy stored by the mismatch, as each layer alone is free of stress: equal to Suo &
    Hutchinson 1990. Elastic; crack longer than the layers are thick.

    Parameters
    ----------
    thickness_1, thickness_2 : array_like
        Of the layers. [m]
    modulus_1, modulus_2 : array_like
        E for a narrow strip; E/(1 - nu²) for a wide plate. [Pa]
    strain_mismatch : array_like
        Free strain 1 minus 2; for a wide plate of (1 + nu) times the free strain. [-]
    """
    t1, t2 = positive("thickness", thickness_1), positive("thickness", thickness_2)
    E1, E2 = positive("modulus", modulus_1), positive("modulus", modulus_2)
    bending = (E1 * t1**3 + E2 * t2**3) / 12.0
    compliance = 1.0 / (E1 * t1) + 1.0 / (E2 * t2) + (t1 + t2) ** 2 / (4.0 * bending)
    return np.asarray(0.5 * np.asarray(strain_mismatch) ** 2 / compliance, np.float64)


def mode_mix(
    thickness_1: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    strain_mismatch: npt.ArrayLike,
) -> Array:
    """Phase angle of the crack of `separation_energy`: 0 opens, pi/2 shears, more presses. [rad]

    Suo & Hutchinson 1990, with their phase shift by finite elements for beta = 0 (see the table).
    Good to about one degree for beta = 0. A beta of a quarter of alpha brings it 3–6 degrees nearer
    to that of alike bodies (by finite elements, for alpha of 0.3–0.5).
    Layers thinner than 1/50 of the other take the value at 1/50.

    Parameters
    ----------
    thickness_1, thickness_2 : array_like
        Of the layers. [m]
    modulus_1, modulus_2 : array_like
        As in `separation_energy`, in a ratio of at most four. [Pa]
    strain_mismatch : array_like
        As in `separation_energy`; only its sign counts, and none gives pi/2. [-]

    Raises
    ------
    OutOfRange
        If the moduli differ more than fourfold.
    """
    t1, t2, E1, E2, mismatch = np.broadcast_arrays(
        positive("thickness", thickness_1),
        positive("thickness", thickness_2),
        positive("modulus", modulus_1),
        positive("modulus", modulus_2),
        np.asarray(strain_mismatch, np.float64),
    )
    ratio = np.maximum(E1 / E2, E2 / E1)
    if np.any(ratio > 4.0 + 1e-6):
        msg = f"moduli in a ratio of {np.max(ratio):g}: at most 4"
        raise OutOfRange(msg)
    # intact laminate: force N in layer 1, bent towards the joint by M about its own middle
    pull = -np.sign(mismatch)
    bend = pull * 0.5 * (t1 + t2) / (1.0 + E2 * t2**3 / (E1 * t1**3))
    return np.where(mismatch == 0.0, 0.5 * np.pi, layer_phase(t1, E1, t2, E2, pull, bend))


def _tube_ends(
    radius: Array, wall: Array, *elastic: tuple[npt.ArrayLike, npt.ArrayLike]
) -> list[tuple[Array, Array, Array]]:
    """Young's modulus, bending stiffness and β of each of two long tubes."""
    sides = []
    for young, poisson in elastic:
        E = 2.0 * shear_modulus(young, poisson) * (1.0 + np.asarray(poisson, np.float64))
        bending = E * wall**3 / (12.0 * (1.0 - np.asarray(poisson, np.float64) ** 2))
        sides.append((E, bending, (E * wall / (4.0 * bending * radius**2)) ** 0.25))
    return sides


def _edge_compliance(sides: list[tuple[Array, Array, Array]]) -> tuple[Array, Array, Array]:
    """Gap between two tube ends per force, gap per moment, and turn per moment."""
    (_, D1, b1), (_, D2, b2) = sides
    # deflection from the free radius: exp(-bx) (a cos bx + s sin bx), s = M/(2 D b²)
    by_force = 1.0 / (2.0 * D1 * b1**3) + 1.0 / (2.0 * D2 * b2**3)
    coupling = 1.0 / (2.0 * D1 * b1**2) - 1.0 / (2.0 * D2 * b2**2)
    return by_force, coupling, 1.0 / (D1 * b1) + 1.0 / (D2 * b2)


def parting_energy(
    radius: npt.ArrayLike,
    wall: npt.ArrayLike,
    young: tuple[npt.ArrayLike, npt.ArrayLike],
    poisson: tuple[npt.ArrayLike, npt.ArrayLike],
    radial_force: npt.ArrayLike,
    moment: npt.ArrayLike,
) -> Array:
    """Energy released per area if two tubes part that press on each other as stated. [J/m2]

    Half the work of force and moment on the gap that opens; equal to `ring_joint`'s energy for
    the elastic force and moment, less where flow has relieved them. Elastic unloading; each tube
    reaches 3/beta from the joint.

    Parameters
    ----------
    radius, wall : array_like
        Of the middle of the wall, and its thickness. [m]
    young, poisson : pair of array_like
        Young's modulus [Pa] and Poisson's ratio of tube 1 and tube 2. [-]
    radial_force : array_like
        Outward on tube 1, per length of the ring. [N/m]
    moment : array_like
        Positive where it pulls the outer face, per length of the ring. [N]
    """
    R, t = positive("radius", radius), positive("wall", wall)
    sides = _tube_ends(R, t, (young[0], poisson[0]), (young[1], poisson[1]))
    by_force, coupling, by_moment = _edge_compliance(sides)
    F, M = np.asarray(radial_force, np.float64), np.asarray(moment, np.float64)
    energy = by_force * F**2 - 2.0 * coupling * F * M + by_moment * M**2
    return np.asarray(0.5 * energy / t, np.float64)


def ring_joint(
    radius: npt.ArrayLike,
    wall: npt.ArrayLike,
    young_1: npt.ArrayLike,
    poisson_1: npt.ArrayLike,
    young_2: npt.ArrayLike,
    poisson_2: npt.ArrayLike,
    strain_mismatch: npt.ArrayLike,
) -> RingJoint:
    """Two tubes joined edge to edge that want different diameters.

    Edge loads of a long thin cylinder (Timoshenko & Woinowsky-Krieger 1959, Theory of Plates and
    Shells, ch. 15, from memory); radius, slope, moment and force are continuous over the joint.
    Elastic; each tube reaches at least 3/beta from the joint, beta = [3(1-nu²)]^(1/4)/sqrt(radius
    wall). In a solid the wall mean of the hoop rises to 1/(1-nu) of this within a third of a wall
    of the joint, and the bending peak is 3 % lower at a radius of 8 walls, 6 % at 3.

    Parameters
    ----------
    radius : array_like
        Of the middle of the wall. [m]
    wall : array_like
        Thickness, at most 0.3 of the radius. [m]
    young_1, young_2 : array_like
        Young's moduli. [Pa]
    poisson_1, poisson_2 : array_like
        Poisson's ratios. [-]
    strain_mismatch : array_like
        Free strain of ring 1 minus that of ring 2. [-]

    Raises
    ------
    InputError
        If the wall is too thick for a shell.
    """
    R, t = positive("radius", radius), positive("wall", wall)
    if np.any(t > 0.3 * R):
        msg = f"wall over radius = {np.max(t / R):g}: must not exceed 0.3"
        raise InputError(msg)
    difference = np.asarray(strain_mismatch, np.float64)
    sides = _tube_ends(R, t, (young_1, poisson_1), (young_2, poisson_2))
    by_force, coupling, by_moment = _edge_compliance(sides)
    force = -R * difference / (by_force - coupling**2 / by_moment)
    moment = force * coupling / by_moment
    hoop, peak, distance = [], [], []
    for (E, D, b), outward in zip(sides, (force, -force), strict=True):
        sine = moment / (2.0 * D * b**2)
        cosine = outward / (2.0 * D * b**3) - sine
        turn = np.mod(np.arctan2(cosine + sine, cosine - sine), np.pi)
        away = np.abs(np.exp(-turn) * (sine * np.cos(turn) - cosine * np.sin(turn)))
        farther = away > np.abs(sine)
        hoop.append(E * cosine / R)
        peak.append(12.0 * D * b**2 / t**2 * np.where(farther, away, np.abs(sine)))
        distance.append(np.where(farther, turn / b, 0.0))
    return RingJoint(
        hoop_stress=(hoop[0], hoop[1]),
        bending_stress=(peak[0], peak[1]),
        bending_distance=(distance[0], distance[1]),
        moment=moment,
        radial_force=force,
        energy=-0.5 * force * R * difference / t,
    )


# ----------------------------------------------------------------------------------------------
# A wall whose inside lags behind its faces

Solid = Literal["plate", "cylinder", "sphere"]

_RAMP_SURFACE = {"plate": 1.0 / 3.0, "cylinder": 1.0 / 8.0, "sphere": 1.0 / 15.0}
_RAMP_CENTRE = {"plate": 1.0 / 6.0, "cylinder": 1.0 / 8.0, "sphere": 1.0 / 15.0}
_RAMP_LAG = {"plate": 1.0 / 2.0, "cylinder": 1.0 / 4.0, "sphere": 1.0 / 6.0}


def lag_time(depth: float, thermal_diffusivity: float) -> float:
    """Time constant with which a slab forgets a step of its face temperature. [s]

    4 depth²/(π² κ), the slowest mode of a slab whose faces follow at once (H. S. Carslaw and
    J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 3.3, from memory).

    Parameters
    ----------
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall or pack. [m²/s]
    """
    return float(4.0 * depth**2 / (np.pi**2 * thermal_diffusivity))


def ramp_difference(
    rate: npt.ArrayLike, depth: float, thermal_diffusivity: float, solid: Solid = "plate"
) -> Array:
    """Temperature of the face over that of the middle, on a long steady ramp. [K]

    Parameters
    ----------
    rate
        Rate of the face temperature, positive on heating. [K/s]
    depth
        From heated face to mirror plane, or radius. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    solid
        Plate, long cylinder heated all round, or sphere.
    """
    return _RAMP_LAG[solid] * np.asarray(rate, float) * depth**2 / thermal_diffusivity


def ramp_stress(
    rate: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    expansion: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: float,
    solid: Solid = "plate",
) -> tuple[Array, Array]:
    """Stress at the face and in the middle on a long steady ramp, tension positive. [Pa]

    Face of a plate −Eαφ depth²/[3(1−ν)κ]: compression on heating, tension on cooling. (W. D.
    Kingery, H. K. Bowen and D. R. Uhlmann, Introduction to Ceramics, 2nd ed. 1976, chapter 16,
    from memory.) In the middle the largest component is given: all directions of a plate and a
    sphere, axial in a cylinder. Elastic, bending restrained if one side only is heated. True a
    few lag times after the ramp began.

    Parameters
    ----------
    rate
        Rate of the face temperature, positive on heating. [K/s]
    depth
        From heated face to mirror plane, or radius. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    expansion
        Linear expansion coefficient. [1/K]
    young_modulus
        Young's modulus. [Pa]
    poisson_ratio
        Elastic. [-]
    solid
        Plate, long cylinder heated all round, or sphere.
    """
    free = np.asarray(expansion, float) * np.asarray(rate) * depth**2 / thermal_diffusivity
    stress = np.asarray(young_modulus, float) * free / (1.0 - poisson_ratio)
    return -_RAMP_SURFACE[solid] * stress, _RAMP_CENTRE[solid] * stress


def allowed_rate(
    strength: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    expansion: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: float,
) -> Array:
    """Steady rate at which the face of a plate reaches a stress. [K/s]

    Parameters
    ----------
    strength
        Stress allowed. [Pa]
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    expansion
        Linear expansion coefficient. [1/K]
    young_modulus
        Young's modulus. [Pa]
    poisson_ratio
        Elastic. [-]
    """
    face, _ = ramp_stress(1.0, depth, thermal_diffusivity, expansion, young_modulus, poisson_ratio)
    return np.asarray(strength, float) / np.abs(face)


def slab_temperature(
    time: npt.ArrayLike,
    outside: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    place: npt.ArrayLike,
    *,
    biot: float = np.inf,
    start: float | None = None,
    modes: int = 40,
) -> Array:
    """Temperature inside a slab whose surroundings follow a trace, shape (M, X). [K]

    Exact, by modes, for a trace of straight pieces (Carslaw and Jaeger 1959, sections 3.3 and
    3.11, from memory); the modes left out are taken as settled.

    Parameters
    ----------
    time
        Nodes of the trace, shape (M,). [s]
    outside
        Temperature of the face (infinite Biot number) or of the gas, shape (M,). [K]
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall or pack. [m²/s]
    place
        0 at the mirror plane, 1 at the heated face, shape (X,). [-]
    biot
        Surface coefficient × depth / conductivity. [-]
    start
        Uniform temperature at the first time; that of the trace if not given. [K]
    modes
        How many to carry. [-]

    Raises
    ------
    InputError
        If times do not grow, or depth, diffusivity or Biot number are not above zero.
    """
    t, gas, x = (np.asarray(a, float) for a in (time, outside, place))
    if not (np.diff(t) > 0).all():
        message = "conduction: times of the trace must grow"
        raise InputError(message)
    for name, value in (
        ("depth [m]", depth),
        ("diffusivity [m²/s]", thermal_diffusivity),
        ("Biot number", biot),
    ):
        if not value > 0:
            message = f"conduction: {name} is {value:g}; allowed: above 0"
            raise InputError(message)
    wave = _wave_numbers(biot, modes)
    shape = 4.0 * np.sin(wave) / (2.0 * wave + np.sin(2.0 * wave)) * np.cos(np.outer(x, wave))
    decay = wave**2 * thermal_diffusivity / depth**2
    settled = (0.5 * (1.0 - x**2) + 1.0 / biot) * depth**2 / thermal_diffusivity
    behind = np.full(modes, gas[0] - (gas[0] if start is None else start))
    temperature = np.empty((t.size, x.size))
    temperature[0] = gas[0] if start is None else start
    for m in range(1, t.size):
        step = t[m] - t[m - 1]
        rate = (gas[m] - gas[m - 1]) / step
        fading = (behind - rate / decay) * np.exp(-decay * step)
        behind = rate / decay + fading
        temperature[m] = gas[m] - rate * settled - shape @ fading
    return temperature


def _wave_numbers(biot: float, modes: int) -> Array:
    """Roots of μ tan μ = Bi, one in each half period, by bisection."""
    first: Array = np.pi * np.arange(modes, dtype=np.float64)
    low: Array = first
    high: Array = first + 0.5 * np.pi
    if np.isinf(biot):
        return high
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = middle * np.sin(middle) * np.cos(first) < biot * np.cos(middle) * np.cos(first)
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high), np.float64)


# ----------------------------------------------------------------------------------------------
# Blends and porous bodies


def free_strain_bounds(
    volume_fraction: npt.ArrayLike,
    metal: npt.ArrayLike,
    ceramic: npt.ArrayLike,
    moduli_metal: Pair,
    moduli_ceramic: Pair,
) -> tuple[Array, Array]:
    """Lowest and highest free strain that an isotropic elastic blend can have. [-]

    Schapery 1968, J. Compos. Mater. 2, 380 (from memory): `free_strain` at the two Hashin–Shtrikman
    bounds of the bulk modulus.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Free strains of the phases. [-]
    moduli_metal, moduli_ceramic : pair of array_like
        Bulk and shear modulus of the phase. [Pa]
    """
    bulk, _ = elastic_bounds(volume_fraction, moduli_metal, moduli_ceramic)
    phases = volume_fraction, metal, ceramic, moduli_metal[0], moduli_ceramic[0]
    one, other = (free_strain(*phases, K) for K in bulk)
    return np.minimum(one, other), np.maximum(one, other)


def conductivity_bounds(
    volume_fraction: npt.ArrayLike, metal: npt.ArrayLike, ceramic: npt.ArrayLike
) -> tuple[Array, Array]:
    """Lowest and highest conductivity an isotropic blend can have. [W/(m K)]

    Hashin & Shtrikman 1962, J. Appl. Phys. 33, 3125 (from memory).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Conductivities of the phases. [W/(m K)]
    """
    c = between("volume fraction", volume_fraction, 0.0, 1.0)
    km, kc = positive("conductivity", metal), positive("conductivity", ceramic)
    twice = 2.0 * np.minimum(km, kc), 2.0 * np.maximum(km, kc)
    low, high = (1.0 / (c / (km + k) + (1.0 - c) / (kc + k)) - k for k in twice)
    return np.asarray(low), np.asarray(high)


def coble_kingery(porosity: npt.ArrayLike) -> Array:
    """Young's modulus of a body with closed round pores, as a share of the dense body's.

    Coble & Kingery 1956, J. Am. Ceram. Soc. 39, 377 (alumina with 5–50 % pores, from memory).
    Refused above 50 %. Below 11 % it runs above `hashin_shtrikman_upper`, by up to 0.25 % of the
    dense body's modulus.

    Parameters
    ----------
    porosity : array_like
        Volume of the pores over the whole, 0 to 0.5. [-]
    """
    P = between("porosity (Coble–Kingery)", porosity, 0.0, 0.5)
    return 1.0 - 1.9 * P + 0.9 * P**2


def gibson_ashby(relative_density: npt.ArrayLike) -> Array:
    """Young's modulus of an open-celled body, as a share of the dense body's.

    Gibson & Ashby 1982, Proc. R. Soc. A 382, 43 (from memory): bending of cell struts, derived
    for relative densities below 0.3. Above that it is a fit: it keeps the right end at 1, and it
    stays below the Hashin–Shtrikman bound.

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density. [-]
    """
    return between("relative density", relative_density, 0.0, 1.0) ** 2


# ----------------------------------------------------------------------------------------------
# Cracks that grow, strength by volume, heat work


def lifetime(
    stress: npt.ArrayLike,
    inert_strength: npt.ArrayLike,
    exponent: npt.ArrayLike,
    growth_parameter: npt.ArrayLike,
) -> Array:
    """Time to failure under a constant tension: B S^(n−2) σ^(−n) (1 − (σ/S)^(n−2)). [s]

    The bracket, which ASTM C1576 leaves out, takes it to zero at the inert strength.

    Parameters
    ----------
    stress : array_like
        At most the inert strength. [Pa]
    inert_strength : array_like
        S, of bars broken without water or very fast. [Pa]
    exponent : array_like
        n. [-]
    growth_parameter : array_like
        B = 2 K_Ic² / (A Y² (n − 2)). [Pa² s]

    Raises
    ------
    InputError
        A stress above the strength, or a value that is not positive.
    """
    n = between("crack growth exponent", exponent, LEAST_EXPONENT, MOST_EXPONENT)
    S = positive("inert strength", inert_strength)
    used = between("stress over inert strength", positive("stress", stress) / S, 0.0, 1.0)
    B = positive("crack growth parameter", growth_parameter)
    return np.asarray(B / S**2 * (used**-n - used**-2.0))


def strength_at_rate(
    stress_rate: npt.ArrayLike,
    inert_strength: npt.ArrayLike,
    exponent: npt.ArrayLike,
    growth_parameter: npt.ArrayLike,
) -> Array:
    """Strength in water or humid air at a constant rate of stress. [Pa]

    σ^(n+1) = B (n + 1) S^(n−2) σ̇ (ASTM C1368), for rates at which cracks grow a good deal: a
    result above four fifths of the inert strength is too high.

    Parameters
    ----------
    stress_rate : array_like
        [Pa/s]
    inert_strength : array_like
        S. [Pa]
    exponent : array_like
        n. [-]
    growth_parameter : array_like
        B. [Pa² s]
    """
    n = between("crack growth exponent", exponent, LEAST_EXPONENT, MOST_EXPONENT)
    S = positive("inert strength", inert_strength)
    B, rate = positive("crack growth parameter", growth_parameter), positive("rate", stress_rate)
    log = (np.log(B * (n + 1.0) * rate) + (n - 2.0) * np.log(S)) / (n + 1.0)
    return np.asarray(np.exp(log))


def strength_of_volume(
    unit_strength: npt.ArrayLike, weibull_modulus: npt.ArrayLike, effective_volume: npt.ArrayLike
) -> Array:
    """Characteristic strength of a body of this effective volume. [Pa]

    Parameters
    ----------
    unit_strength : array_like
        Characteristic strength of 1 m3 in uniform tension. [Pa m^(3/m)]
    weibull_modulus : array_like
        m. [-]
    effective_volume : array_like
        Of the body. [m3]
    """
    V, m = positive("effective volume", effective_volume), positive("modulus", weibull_modulus)
    return positive("unit strength", unit_strength) * V ** (-1.0 / m)


def temperature_at_rate(
    temperature: ArrayLike, rate: float, new_rate: float, activation_energy: ArrayLike
) -> Array:
    """Temperature at which the same heat work is reached at another steady rate.

    Parameters
    ----------
    temperature : array_like
        At which it is reached at `rate`. [K]
    rate, new_rate : float
        Steady rates. [K/s]
    activation_energy : array_like
        Q, broadcasts against the temperature. [J/mol]

    Returns
    -------
    array
        Broadcast shape. [K]
    """
    T, Q = np.broadcast_arrays(np.asarray(temperature, dtype=np.float64), activation_energy)
    u = Q / (GAS_CONSTANT * T)
    target = np.log(exp1(u)) + np.log(new_rate / rate)
    for _ in range(30):  # Newton on ln E1(u), which is nearly a straight line
        u = u + (np.log(exp1(u)) - target) * u * exp1(u) * np.exp(u)
    return np.asarray(Q / (GAS_CONSTANT * u))


# ----------------------------------------------------------------------------------------------
# The law at a point


def equivalent_stress(stress: Array, state: StressState) -> Array:
    """Von Mises equivalent stress, shape (points). [Pa]

    Parameters
    ----------
    stress
        Shape (C, *points). [Pa]
    state
        Stress components the structure carries.
    """
    weight = 1.0 + 0.5 * state.poisson_factor.reshape((-1,) + (1,) * (stress.ndim - 1))
    modes = mapped(state.stress_to_mode, stress)
    equivalent: Array = np.sqrt(total_of(weight * modes * modes))
    return equivalent


def energy_density(stress: Array, strain: Array, state: StressState) -> Array:
    """Work of a stress on a strain, all directions counted, shape (points). [J/m³]

    Parameters
    ----------
    stress
        Shape (C, *points). [Pa]
    strain
        Shape (C, *points). [-]
    state
        Stress components the structure carries.
    """
    return total_of(mapped(state.stress_to_mode, stress) * mapped(state.strain_to_mode, strain))


def dissipated_energy(record: Record, structure: Structure) -> Array:
    """Energy lost to each mechanism per volume since the start, (S, 3, *points). [J/m³]

    Trapezium rule over the recorded times.

    Parameters
    ----------
    record
        The whole march.
    structure
        The body.
    """
    mean = 0.5 * (record.stress[1:] + record.stress[:-1])
    gained = np.diff(record.inelastic, axis=0)
    lost = [
        energy_density(np.moveaxis(mean, 1, 0), np.moveaxis(gained[:, k], 1, 0), structure.state)
        for k in range(3)
    ]
    total = np.cumsum(np.stack(lost, axis=1), axis=0)
    return np.concatenate([np.zeros_like(total[:1]), total])
