"""What two bodies of different free strain do to each other: corner, crack along the joint, rings.

Closed forms: first figures for a pair, and checks of the structures. A mismatch is always the free
strain of body 1 minus that of body 2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError, OutOfRange
from cofire.numerics import Array
from cofire.physics.mixing import bulk_modulus, shear_modulus
from cofire.physics.porosity import positive

# Phase shift omega of Suo & Hutchinson (1990) for beta = 0 [degrees], by plane-strain finite
# elements (crack-face displacements; smallest element 3e-4 of layer 1; energy within 0.7 %).
# At alpha = 0 it is 49.11 for equal layers by symmetry, and 52.07 for a thin film (from memory).
PHASE_THICKNESS_RATIO = (0.02, 0.1, 0.25, 0.5, 1.0)
PHASE_ALPHA = (-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6)
PHASE_SHIFT = (
    (47.61, 48.89, 50.35, 52.03, 54.04, 56.54, 59.88),
    (47.60, 48.88, 50.33, 51.99, 53.96, 56.39, 59.55),
    (47.52, 48.76, 50.14, 51.72, 53.55, 55.74, 58.50),
    (46.96, 48.10, 49.42, 50.90, 52.60, 54.56, 56.94),
    (44.83, 46.09, 47.54, 49.11, 50.80, 52.66, 54.76),
)


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


def dundurs(
    young_1: npt.ArrayLike,
    poisson_1: npt.ArrayLike,
    young_2: npt.ArrayLike,
    poisson_2: npt.ArrayLike,
    *,
    plane_stress: bool = False,
) -> tuple[Array, Array]:
    """Dundurs' alpha and beta, on which the stress of two joined bodies in a plane depends. [-]

    Dundurs 1969, J. Appl. Mech. 36, 650, as in Suo & Hutchinson 1990, Int. J. Fract. 43, 1, eq.
    2.1 (from memory). Alpha is positive where body 1 is the stiffer.

    Parameters
    ----------
    young_1, young_2 : array_like
        Young's moduli. [Pa]
    poisson_1, poisson_2 : array_like
        Poisson's ratios. [-]
    plane_stress : bool
        Thin plates, instead of plane strain.
    """
    ratio = shear_modulus(young_1, poisson_1) / shear_modulus(young_2, poisson_2)
    nu_1, nu_2 = np.asarray(poisson_1, np.float64), np.asarray(poisson_2, np.float64)
    if plane_stress:
        k1, k2 = (3.0 - nu_1) / (1.0 + nu_1), (3.0 - nu_2) / (1.0 + nu_2)
    else:
        k1, k2 = 3.0 - 4.0 * nu_1, 3.0 - 4.0 * nu_2
    whole = ratio * (k2 + 1.0) + (k1 + 1.0)
    return (ratio * (k2 + 1.0) - (k1 + 1.0)) / whole, (ratio * (k2 - 1.0) - (k1 - 1.0)) / whole


def corner_exponent(alpha: float, beta: float) -> float:
    """Exponent lambda at the edge of a square butt joint, where stress goes as r^(lambda - 1). [-]

    One means that the stress stays finite: it is singular only where alpha (alpha - 2 beta) > 0.
    Bogy 1971, J. Appl. Mech. 38, 377, in the form of Munz & Yang 1992, J. Appl. Mech. 59, 857 (from
    memory; equal to the eigenvalue of the Williams series to 1e-9). Elastic, both edges square.

    Parameters
    ----------
    alpha, beta : float
        Dundurs' parameters. [-]

    Raises
    ------
    InputError
        If no pair of solids has them.
    """
    if not (abs(alpha) < 1.0 and abs(beta) <= 0.5):
        msg = f"Dundurs' parameters = {alpha:g}, {beta:g}: must lie within 1 and within 0.5"
        raise InputError(msg)
    if alpha * (alpha - 2.0 * beta) <= 1e-9:
        return 1.0

    def residual(d: float) -> float:  # written in d = 1 - lambda, and divided by d
        squared = (1.0 - d) ** 2
        difference = d * (2.0 - d) - np.sin(0.5 * np.pi * d) ** 2  # sin²(pi lambda/2) - lambda²
        whole = (
            -squared * d * (2.0 - d) * alpha**2
            + 2.0 * squared * difference * alpha * beta
            + difference**2 * beta**2
            + 0.25 * np.sin(np.pi * d) ** 2
        )
        return float(whole / d)

    from scipy.optimize import brentq  # slow to import, seldom needed

    return 1.0 - float(brentq(residual, 1e-10, 1.0 - 1e-4, xtol=1e-14))


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


def layer_phase(
    thickness_1: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    force: npt.ArrayLike,
    moment: npt.ArrayLike,
) -> Array:
    """Phase angle of a long crack between two layers from what layer 1 carries ahead of it. [rad]

    Suo & Hutchinson 1990 with the shift of `mode_mix`, for any force and moment, yielded layers
    too; layer 2 carries the same, so that both together carry nothing. 0 opens, pi/2 shears, more
    presses. Moduli of more than fourfold ratio count as fourfold.

    Parameters
    ----------
    thickness_1, thickness_2 : array_like
        Of the layers. [m]
    modulus_1, modulus_2 : array_like
        As in `separation_energy`. [Pa]
    force : array_like
        In layer 1, tension positive, per width. [N/m]
    moment : array_like
        In layer 1 about its own middle, positive where it pulls its face at the joint, per width.
        [N]
    """
    t1, t2, E1, E2, N1, M1 = np.broadcast_arrays(
        positive("thickness", thickness_1),
        positive("thickness", thickness_2),
        positive("modulus", modulus_1),
        positive("modulus", modulus_2),
        np.asarray(force, np.float64),
        np.asarray(moment, np.float64),
    )
    thinner = t1 <= t2  # the mirror image swaps the layers
    h, H = np.where(thinner, t1, t2), np.where(thinner, t2, t1)
    E, base = np.where(thinner, E1, E2), np.where(thinner, E2, E1)
    N, M = np.where(thinner, N1, -N1), np.where(thinner, M1, M1 - N1 * 0.5 * (t1 + t2))
    stiffness = np.clip(E / base, 0.25, 4.0)
    alpha, eta = (stiffness - 1.0) / (stiffness + 1.0), h / H
    from scipy.interpolate import RegularGridInterpolator  # slow to import, seldom needed

    table = RegularGridInterpolator((PHASE_THICKNESS_RATIO, PHASE_ALPHA), PHASE_SHIFT)
    place = np.stack([np.maximum(eta, PHASE_THICKNESS_RATIO[0]), np.clip(alpha, -0.6, 0.6)], -1)
    shift = np.radians(table(place).reshape(h.shape))
    u = 1.0 / (1.0 + stiffness * eta * (4.0 + 6.0 * eta + 3.0 * eta**2))
    v = 1.0 / (12.0 * (1.0 + stiffness * eta**3))
    gamma = np.arcsin(6.0 * stiffness * eta**2 * (1.0 + eta) * np.sqrt(u * v))
    load = N / np.sqrt(u) + 1j * M / h * np.exp(1j * gamma) / np.sqrt(v)
    return np.asarray(np.abs(np.angle(load * np.exp(1j * shift))), np.float64)


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
