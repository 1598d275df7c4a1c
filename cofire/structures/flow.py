"""How much a point must flow in a stage: the one scalar unknown of the law.

Strain in mode k is (c_k + w_k λ) S_k, with c_k the elastic and viscous compliance and λ the
multiplier of creep and yield, and σ_eq² = Σ w_k S_k². Creep asks λ = Δt A σ_eq(λ)^(n−1), yield
σ_eq(λ) = σ_y. The first is convex in ln λ, the second, as 1/σ_eq, concave in λ: Newton's method
from the right side cannot overshoot, whatever the viscosity, exponent or step.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cofire.errors import ModelError
from cofire.structures.stress_state import SMALLEST_STRESS, total_of

if TYPE_CHECKING:
    from cofire.physics.history import Array

_NEGLIGIBLE_RELIEF = 1.0e-13  # stress relieved in a stage, over the stress, that is dropped
_SETTLED = 3.0e-5  # last relative step of Newton's method, which is quadratic
_MOST_ITERATIONS = 60


def creep_multiplier(
    strain: Array,
    compliance: Array,
    weight: Array,
    log_creep: Array,
    stress_power: Array,
    guess: Array | None = None,
) -> Array | None:
    """Creep strain over stress, or None where the relief is negligible, shape (n,). [1/Pa]

    Newton's method in x = ln λ on x − ln(Δt A) − (n−1) ln σ_eq, from a guess or from the lower
    of the two straight lines that bound the equation from below.

    Parameters
    ----------
    strain
        Trial strain by mode, shape (C, n). [-]
    compliance
        c_k, shape (C, n). [1/Pa]
    weight
        w_k, shape (C, n). [-]
    log_creep
        ln(Δt A), with A in 1/(s Pa^n), shape (n,). [-]
    stress_power
        Creep exponent less one, shape (n,). [-]
    guess
        Answer to a strain close by, shape (n,). [1/Pa]

    Raises
    ------
    ModelError
        If the iteration fails.
    """
    stress = strain / compliance
    half_power = 0.5 * stress_power
    slow = log_creep + half_power * np.log(equivalent_squared(weight * stress * stress))
    if guess is not None:
        x = np.minimum(np.log(np.maximum(guess, 1.0e-300)), slow)
    else:
        stiffest = float(compliance.min())
        if float(slow.max()) < np.log(_NEGLIGIBLE_RELIEF * stiffest):
            return None
        moving = weight > 0.0
        relaxed = np.where(moving, strain, 0.0) / np.where(moving, weight, 1.0) / stiffest
        fast = log_creep + half_power * np.log(equivalent_squared(weight * relaxed * relaxed))
        fast += stress_power * np.log(stiffest)
        x = np.minimum(slow, fast / (1.0 + stress_power))
    for _ in range(_MOST_ITERATIONS):
        flow = weight * np.exp(x)
        whole = compliance + flow
        stress = strain / whole
        energy = weight * stress
        energy *= stress
        squared = equivalent_squared(energy)
        energy *= flow
        energy /= whole
        step = x - log_creep
        step -= half_power * np.log(squared)
        step /= 1.0 + stress_power * (total_of(energy) / squared)
        x -= step
        if max(float(step.max()), -float(step.min())) < _SETTLED:
            return np.asarray(np.exp(x))
    message = "creep at a point did not converge; check creep factor and exponent"
    raise ModelError(message)


def yield_multiplier(
    strain: Array,
    compliance: Array,
    weight: Array,
    yield_stress: Array,
    least: Array,
    guess: Array | None = None,
) -> Array:
    """Strain of creep and yield over stress that brings σ_eq to the yield stress, (n,). [1/Pa]

    Newton's method on 1/σ_eq.

    Parameters
    ----------
    strain
        Trial strain by mode, shape (C, n). [-]
    compliance
        c_k, shape (C, n). [1/Pa]
    weight
        w_k, shape (C, n). [-]
    yield_stress
        Shape (n,). [Pa]
    least
        Part of creep alone, at which σ_eq is still above the yield stress, shape (n,). [1/Pa]
    guess
        Answer to a strain close by, shape (n,). [1/Pa]

    Raises
    ------
    ModelError
        If the iteration fails.
    """
    found = least if guess is None else np.maximum(guess, least)
    for _ in range(_MOST_ITERATIONS):
        whole = compliance + weight * found
        stress = strain / whole
        energy = weight * stress
        energy *= stress
        squared = total_of(energy)
        energy *= weight
        energy /= whole
        step = np.sqrt(squared) / yield_stress - 1.0
        found = np.maximum(found + step * (squared / total_of(energy)), least)
        if float(np.abs(step).max()) < _SETTLED:
            return np.asarray(found)
    message = "yield at a point did not converge; check yield stress and modulus"
    raise ModelError(message)


def equivalent_squared(energy: Array) -> Array:
    """Square of the von Mises stress from its parts w_k S_k², kept above zero, (n,). [Pa²]

    Parameters
    ----------
    energy
        w_k S_k² by mode, shape (C, n). [Pa²]
    """
    return np.asarray(np.maximum(total_of(energy), SMALLEST_STRESS**2), np.float64)
