"""A long thin cylinder of one stiffness, and what rings that differ in free strain leave in it.

The wall of a cylinder bends as a beam on an elastic foundation: S. P. Timoshenko and
S. Woinowsky-Krieger 1959, Theory of Plates and Shells, 2nd ed., ch. 15 (from memory). Elastic, the
radius at least some five walls; of any length, its ends free or far away.
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
    place: npt.ArrayLike,
    step: npt.ArrayLike,
    change: npt.ArrayLike,
    ends: tuple[float, float] = (-np.inf, np.inf),
) -> tuple[Array, Array]:
    """Hoop misfit and curvature that steps of free strain leave along a thin cylinder.

    Each step Δe leaves in a long one, at a distance x above it in decay lengths,

        misfit     ±½ Δe e^(−|x|) cos x, the free strain less that of the ring, + above the step
        curvature  Δe e^(−|x|) sin x, over β² a: times ½ √(3 (1 − ν²)) the strain of a face

    and steps add up (same source; graded joints so in its integral, `tests/published/
    test_graded_joints.py`). A free end, which bears no moment and no shear, adds

        misfit     e^(−y) (A cos y + B sin y)
        curvature  2 e^(−y) (A sin y − B cos y)

    at a distance y from it. Neither hangs on radius or wall but through the decay length.

    Parameters
    ----------
    place : array_like
        Where, in decay lengths along the wall, shape (K,). [-]
    step : array_like
        Places of the steps, shape (S,). [-]
    change : array_like
        Free strain above less that below each, shape (S,). [-]
    ends : tuple of float
        Places of the lower and upper free end; infinite where the wall goes on. [-]

    Returns
    -------
    tuple of array
        Misfit and curvature, shape (K,) each. At a step the misfit is that amid its jump: for
        either side ask beside it. [-], [-]
    """
    at, steps = np.asarray(place, np.float64), np.asarray(step, np.float64)
    jumps = np.asarray(change, np.float64)
    apart = at[:, None] - steps
    faded = jumps * np.exp(-np.abs(apart))
    misfit = SHARP_HOOP * np.sum(np.sign(apart) * faded * np.cos(apart), axis=1)
    curvature = np.sum(faded * np.sin(apart), axis=1)
    free = [(end, inwards) for end, inwards in zip(ends, (1.0, -1.0), strict=True)
            if np.isfinite(end)]  # fmt: skip
    if not free:
        return np.asarray(misfit), np.asarray(curvature)
    # curvature and its slope inwards at each end: those of the steps, and of what each end adds
    matrix, left = np.zeros((2 * len(free), 2 * len(free))), np.zeros(2 * len(free))
    for row, (end, inwards) in enumerate(free):
        away = end - steps
        dying = jumps * np.exp(-np.abs(away))
        left[2 * row] = np.sum(dying * np.sin(away))
        left[2 * row + 1] = inwards * np.sum(dying * (np.cos(away) - np.sin(np.abs(away))))
        for column, (other, _) in enumerate(free):
            y = abs(end - other)
            way = 1.0 if row == column else -1.0
            sine, cosine = 2.0 * np.exp(-y) * np.sin(y), 2.0 * np.exp(-y) * np.cos(y)
            matrix[2 * row : 2 * row + 2, 2 * column : 2 * column + 2] = (
                (sine, -cosine), (way * (cosine - sine), way * (cosine + sine)),
            )  # fmt: skip
    shares = np.linalg.solve(matrix, -left).reshape(-1, 2)
    for (end, _), (a, b) in zip(free, shares, strict=True):
        far = np.abs(at - end)
        misfit = misfit + np.exp(-far) * (a * np.cos(far) + b * np.sin(far))
        curvature = curvature + 2.0 * np.exp(-far) * (a * np.sin(far) - b * np.cos(far))
    return np.asarray(misfit), np.asarray(curvature)
