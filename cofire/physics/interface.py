"""Two elastic bodies that meet edge to edge: Dundurs' parameters, and how sharp their corner is."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError
from cofire.numerics import Array
from cofire.physics.mixing import shear_modulus


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
