"""A long thin cylinder of one stiffness, and what rings that differ in free strain leave in it.

The wall of a cylinder bends as a beam on an elastic foundation: S. P. Timoshenko and
S. Woinowsky-Krieger 1959, Theory of Plates and Shells, 2nd ed., ch. 15 (from memory). Elastic, the
radius at least some five walls, steps a decay length or more from a free end.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.numerics import Array
from cofire.physics.porosity import between, positive

SHARP_HOOP = 0.5
"""Hoop misfit that a single step leaves beside itself, over its free strain. [-]"""
SHARP_BENDING = float(np.exp(-0.25 * np.pi) * np.sin(0.25 * np.pi))
"""Crest of the curvature that a single step leaves, π/4 decay lengths from it, in the measure of
`left_by_steps`. [-]"""


def decay_length(
    radius: npt.ArrayLike, wall: npt.ArrayLike, poisson_ratio: npt.ArrayLike = 0.25
) -> Array:
    """Length over which an edge disturbance of a thin cylinder dies away by e.

    √(a h) / [3 (1 − ν²)]^¼ (Timoshenko & Woinowsky-Krieger 1959, ch. 15).

    Parameters
    ----------
    radius : array_like
        a, of the ring. [m]
    wall : array_like
        h, its thickness. [m]
    poisson_ratio : array_like
        ν. [-]

    Returns
    -------
    array
        1/β. [m]

    Examples
    --------
    >>> round(1e3 * float(decay_length(0.05, 0.006, 0.3)), 1)  # a = 50 mm, h = 6 mm
    13.5
    """
    a, h = positive("radius", radius), positive("wall", wall)
    nu = between("Poisson's ratio", poisson_ratio, 0.0, 0.5)
    return np.asarray(np.sqrt(a * h) / (3.0 * (1.0 - nu**2)) ** 0.25)


def left_by_steps(
    place: npt.ArrayLike, step: npt.ArrayLike, change: npt.ArrayLike
) -> tuple[Array, Array]:
    """Hoop misfit and curvature that steps of free strain leave along a long thin cylinder.

    Each step Δe leaves, at a distance x above it in decay lengths,

        misfit     ±½ Δe e^(−|x|) cos x, the free strain less that of the ring, + above the step
        curvature  Δe e^(−|x|) sin x, over β² a: times ½ √(3 (1 − ν²)) the strain of a face

    and steps add up (same source; graded joints so in its integral, `tests/published/
    test_graded_joints.py`). Neither hangs on radius or wall but through the decay length.

    Parameters
    ----------
    place : array_like
        Where, in decay lengths along the wall, shape (K,). [-]
    step : array_like
        Places of the steps, shape (S,). [-]
    change : array_like
        Free strain above less that below each, shape (S,). [-]

    Returns
    -------
    tuple of array
        Misfit and curvature, shape (K,) each. At a step the misfit is that amid its jump: for
        either side ask beside it. [-], [-]
    """
    apart = np.asarray(place, np.float64)[:, None] - np.asarray(step, np.float64)
    faded = np.asarray(change, np.float64) * np.exp(-np.abs(apart))
    misfit = SHARP_HOOP * np.sum(np.sign(apart) * faded * np.cos(apart), axis=1)
    return np.asarray(misfit), np.asarray(np.sum(faded * np.sin(apart), axis=1))
