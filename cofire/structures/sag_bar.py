"""How far a bar on two supports sags under its own weight while it is fired."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.special import beta, betainc

from cofire.inputs.units import GRAVITY

if TYPE_CHECKING:
    from cofire.physics.history import Array


def sag_rate(
    density: npt.ArrayLike,
    factor: npt.ArrayLike,
    exponent: npt.ArrayLike,
    thickness: npt.ArrayLike,
    span: float,
) -> Array:
    """Speed of the middle of a bar that flows by strain rate = A σⁿ. [m/s]

    Thin beam, plane sections, small sag. The moment M = w x (L − x)/2 bends a section of height h
    at A (M/J)ⁿ with J = b (h/2)^(2 + 1/n) · 2n/(2n + 1); twice integrated to the middle. With
    n = 1 and A = 1/η this is 5 ρ g L⁴/(32 η h²), the elastic beam's 5 w L⁴/(384 E I) with a rate
    for the strain. Good up to a sag of about a tenth of the span.

    Parameters
    ----------
    density
        Bulk, broadcasts with the rest. [kg/m³]
    factor
        A; 1/η of a viscous body. [1/(s Pa^n)]
    exponent
        n, 1 or more. [-]
    thickness
        Height h of the section, any width. [m]
    span
        L between the supports, which do not move. [m]
    """
    A, n = np.asarray(factor, np.float64), np.asarray(exponent, np.float64)
    half = 0.5 * np.asarray(thickness, np.float64)
    # ∫ (x (1 − x))ⁿ x dx over half the span: 5/192 where n = 1
    shape = betainc(n + 2.0, n + 1.0, 0.5) * beta(n + 2.0, n + 1.0)
    edge = np.asarray(density) * GRAVITY * span**2 * (2.0 * n + 1.0) / (2.0 * n * half)
    return np.asarray(A * edge**n / half * span**2 * shape)


def fired_sag(
    time: Array,
    density: Array,
    viscosity: Array,
    creep_factor: Array,
    creep_exponent: float,
    thickness: Array,
    span: float,
) -> float:
    """Sag of a bar of one material after its firing. [m]

    Viscous flow and creep each as if alone under the same moment, rates added: exact where one of
    them rules, a little too low where both do. Elastic deflection is left out.

    Parameters
    ----------
    time
        Shape (M,). [s]
    density
        Bulk, shape (M,). [kg/m³]
    viscosity
        Uniaxial, infinite where nothing flows, shape (M,). [Pa s]
    creep_factor
        Zero where nothing creeps, shape (M,). [1/(s Pa^n)]
    creep_exponent
        n. [-]
    thickness
        Of the bar as it shrinks, shape (M,). [m]
    span
        Between the supports. [m]
    """
    flows = sag_rate(density, 1.0 / viscosity, 1.0, thickness, span)
    creeps = sag_rate(density, creep_factor, creep_exponent, thickness, span)
    return float(np.trapezoid(flows + creeps, time))
