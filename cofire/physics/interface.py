"""Two elastic bodies that meet: Dundurs' parameters, their corner, a long crack along the joint."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError
from cofire.numerics import Array, crossing
from cofire.physics.mixing import shear_modulus
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


def corner_exponent(alpha: npt.ArrayLike, beta: npt.ArrayLike) -> Array:
    """Exponent lambda at the edge of a square butt joint, where stress goes as r^(lambda - 1). [-]

    One means that the stress stays finite: it is singular only where alpha (alpha - 2 beta) > 0.
    Bogy 1971, J. Appl. Mech. 38, 377, in the form of Munz & Yang 1992, J. Appl. Mech. 59, 857 (from
    memory; equal to the eigenvalue of the Williams series to 1e-9). Elastic, both edges square.

    Parameters
    ----------
    alpha, beta : array_like
        Dundurs' parameters, of any shapes that go together. [-]

    Returns
    -------
    array
        Of their common shape.

    Raises
    ------
    InputError
        If no pair of solids has them.
    """
    a, b = np.broadcast_arrays(np.asarray(alpha, np.float64), np.asarray(beta, np.float64))
    bad = ~((np.abs(a) < 1.0) & (np.abs(b) <= 0.5))
    if bad.any():
        msg = (
            f"Dundurs' parameters = {a[bad][0]:g}, {b[bad][0]:g}: must lie within 1 and within 0.5"
        )
        raise InputError(msg)
    found = np.ones(a.shape)
    singular = a * (a - 2.0 * b) > 1e-9
    if not singular.any():
        return found

    alone, together = a[singular], b[singular]

    def residual(d: Array) -> Array:  # in d = 1 - lambda, over d
        squared = (1.0 - d) ** 2
        difference = d * (2.0 - d) - np.sin(0.5 * np.pi * d) ** 2  # sin²(pi lambda/2) - lambda²
        whole = (
            -squared * d * (2.0 - d) * alone**2
            + 2.0 * squared * difference * alone * together
            + difference**2 * together**2
            + 0.25 * np.sin(np.pi * d) ** 2
        )
        return np.asarray(whole / d)

    ends = np.full(alone.size, 1e-10), np.full(alone.size, 1.0 - 1e-4)
    found[singular] = 1.0 - crossing(residual, *ends)
    return found


def layer_phase(
    thickness_1: npt.ArrayLike,
    modulus_1: npt.ArrayLike,
    thickness_2: npt.ArrayLike,
    modulus_2: npt.ArrayLike,
    force: npt.ArrayLike,
    moment: npt.ArrayLike,
) -> Array:
    """Phase angle of a long crack between two layers from what layer 1 carries ahead of it. [rad]

    Suo & Hutchinson 1990 with their shift, for any force and moment, yielded layers
    too; layer 2 carries the same, so that both together carry nothing. 0 opens, pi/2 shears, more
    presses. Moduli of more than fourfold ratio count as fourfold.

    Parameters
    ----------
    thickness_1, thickness_2 : array_like
        Of the layers. [m]
    modulus_1, modulus_2 : array_like
        E for a narrow strip; E/(1 - nu²) for a wide plate. [Pa]
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
