"""What a bowed strip says of its materials."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.physics.porosity import positive

Array = NDArray[np.float64]


def chord_curvature(rise: npt.ArrayLike, chord: npt.ArrayLike) -> Array:
    """Curvature of an arc from the rise of its middle above the line between its ends. [1/m]

    Exact for a circle: κ = 8 s/(c² + 4 s²).

    Parameters
    ----------
    rise : array_like
        s, of either sign. [m]
    chord : array_like
        c, straight between the ends. [m]
    """
    s, c = np.asarray(rise, dtype=np.float64), positive("chord", chord)
    return np.asarray(8.0 * s / (c**2 + 4.0 * s**2))


def strip_mismatch(
    curvature: npt.ArrayLike,
    top_thickness: npt.ArrayLike,
    bottom_thickness: npt.ArrayLike,
    top_modulus: npt.ArrayLike,
    bottom_modulus: npt.ArrayLike,
) -> Array:
    """Free strain of the top of a narrow strip minus that of its bottom, from its curvature. [-]

    S. Timoshenko 1925, J. Opt. Soc. Am. 11, 233: κ = 6 Δε (1+m)²/(h [3(1+m)² + (1+mn)(m² +
    1/(mn))]), solved for Δε; m and n are the ratios of thickness and modulus, top over bottom, h is
    the whole thickness. Elastic, bonded, narrow (width below some five thicknesses), length many
    times the thickness. A metal that yields bends the strip less: the figure is then a lower bound.

    Parameters
    ----------
    curvature : array_like
        Positive where the top is the longer. [1/m]
    top_thickness, bottom_thickness : array_like
        [m]
    top_modulus, bottom_modulus : array_like
        Young's moduli. [Pa]
    """
    top, bottom = positive("thickness", top_thickness), positive("thickness", bottom_thickness)
    m = top / bottom
    n = positive("modulus", top_modulus) / positive("modulus", bottom_modulus)
    square = (1.0 + m) ** 2
    bracket = 3.0 * square + (1.0 + m * n) * (m**2 + 1.0 / (m * n))
    return np.asarray(np.asarray(curvature) * (top + bottom) * bracket / (6.0 * square))


def strip_stress(
    mismatch: npt.ArrayLike,
    top_thickness: npt.ArrayLike,
    bottom_thickness: npt.ArrayLike,
    top_modulus: npt.ArrayLike,
    bottom_modulus: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Largest stress by size in the top and in the bottom of a strip free to bend. [Pa]

    Force and moment balance of the same elastic strip as in `strip_mismatch`.

    Parameters
    ----------
    mismatch : array_like
        Free strain of the top minus that of the bottom. [-]
    top_thickness, bottom_thickness : array_like
        [m]
    top_modulus, bottom_modulus : array_like
        Young's moduli. [Pa]
    """
    e = np.asarray(mismatch, dtype=np.float64)
    t, b = positive("thickness", top_thickness), positive("thickness", bottom_thickness)
    E, F = positive("modulus", top_modulus), positive("modulus", bottom_modulus)
    unit = strip_mismatch(1.0, t, b, E, F)
    curvature = e / unit
    # force that each part carries, tension in the bottom: P (t + b)/2 = κ (E t³ + F b³)/12
    force = curvature * (E * t**3 + F * b**3) / (6.0 * (t + b))
    return (
        np.asarray(np.abs(force) / t + 0.5 * E * t * np.abs(curvature)),
        np.asarray(np.abs(force) / b + 0.5 * F * b * np.abs(curvature)),
    )
