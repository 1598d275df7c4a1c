"""How much a point must flow in a stage: the one scalar unknown of the law.

Strain in mode k is (c_k + w_k λ) S_k, with c_k the elastic and viscous compliance and λ the
multiplier of creep and yield, and σ_eq² = Σ w_k S_k². Creep asks λ = Δt A σ_eq(λ)^(n−1), yield
σ_eq(λ) = σ_y. The first is convex in x = ln λ, the second, as 1/σ_eq, concave in λ: Newton's
method from the right side cannot overshoot, whatever the viscosity, exponent or step.

A point yields if creep at the yield stress leaves it above; that λ of creep alone, the ceiling,
parts the two equations. A point at the ceiling goes to the side its stress says, and stays there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.errors import ModelError
from cofire.structures.stress_state import SMALLEST_STRESS, total_of

if TYPE_CHECKING:
    from cofire.physics.history import Array

_TANGENT_FLOOR = 1.0e-6  # stiffness kept along a yielding direction, over the elastic one
_MOST_ITERATIONS = 60
_LEAST_GIVE = 1.0e-200  # of a point without stress
_AT_CEILING = 1.0e-6  # below it, at most, for a point that goes on to yield
_LEAST_CHANGE = -0.9  # of λ in one guess, relative


@dataclass(frozen=True)
class FlowLaw:
    """Creep and yield of n points in a stage.

    Attributes
    ----------
    weight
        w_k, shape (C, 1). [-]
    compliance
        c_k, shape (C, n). [1/Pa]
    log_creep
        ln(Δt A), so that λ = exp(this) σ_eq^(n−1), shape (n,). [-]
    stress_power
        Creep exponent less one, shape (n,). [-]
    ceiling
        ln λ of creep at the yield stress, shape (n,), or None where nothing yields. [-]
    yield_squared
        Square of the yield stress, shape (n,), or None. [Pa²]
    """

    weight: Array
    compliance: Array
    log_creep: Array
    stress_power: Array
    ceiling: Array | None
    yield_squared: Array | None


@dataclass(frozen=True)
class Flow:
    """The multiplier of each point, and what follows from it.

    Attributes
    ----------
    log_multiplier
        ln λ one step of Newton's method further, to start from again, shape (n,). [-]
    multiplier
        λ, strain increment of creep and yield over stress, shape (n,). [1/Pa]
    compliance
        c_k + w_k λ, shape (C, n). [1/Pa]
    stress
        By mode, shape (C, n). [Pa]
    rate
        w_k S_k over compliance, shape (C, n). [Pa²]
    softness
        Growth of ln λ per work of a strain on the rate, shape (n,). [1/Pa²]
    yielding
        Places of the points that yield, shape (m,), or None if none does.
    """

    log_multiplier: Array
    multiplier: Array
    compliance: Array
    stress: Array
    rate: Array
    softness: Array
    yielding: NDArray[np.intp] | None


def flow(law: FlowLaw, strain: Array, guess: Array, within: float) -> Flow:
    """Creep and yield of every point, by Newton's method from a guess.

    Parameters
    ----------
    law
        Of the stage.
    strain
        Trial strain by mode, shape (C, n). [-]
    guess
        ln λ, any, shape (n,). [-]
    within
        Relative error of stress that is good enough. [-]

    Raises
    ------
    ModelError
        If the iteration fails.
    """
    weight, power = law.weight, law.stress_power
    half_power = 0.5 * power
    x = guess
    for _ in range(_MOST_ITERATIONS):
        multiplier = np.exp(x)
        relief = weight * multiplier
        compliance = law.compliance + relief
        stress = strain / compliance
        direction = weight * stress
        rate = direction / compliance
        stress_squared = np.maximum(total_of(direction * stress), SMALLEST_STRESS**2)
        give = total_of(direction * rate)
        give *= multiplier
        whole = stress_squared + power * give
        softness = power / whole
        new = np.log(stress_squared)
        new *= half_power
        new += law.log_creep
        new -= x
        new *= stress_squared
        new /= whole
        new += x
        yielding: NDArray[np.intp] | None = None
        if law.ceiling is not None and law.yield_squared is not None:
            np.minimum(new, law.ceiling, out=new)
            above = new > law.ceiling - _AT_CEILING
            above &= stress_squared > law.yield_squared
            above |= x > law.ceiling
            at = np.flatnonzero(above)
            if at.size:
                give = np.maximum(give, _LEAST_GIVE)
                over = np.sqrt(stress_squared[at] / law.yield_squared[at]) - 1.0
                over *= stress_squared[at] / give[at]
                grown = np.log(multiplier[at]) + np.log1p(np.maximum(over, _LEAST_CHANGE))
                new[at] = np.maximum(grown, law.ceiling[at])
                short = stress_squared[at] < (1.0 - 4.0 * within) * law.yield_squared[at]
                at = at[(grown > law.ceiling[at]) & ~short]
                kept = _TANGENT_FLOOR * compliance[-1, at] / law.compliance[-1, at]
                softness[at] = (1.0 - np.minimum(kept, 1.0)) / give[at]
                yielding = at if at.size else None
        change = new - x
        if float(change.max()) > 1.0:
            np.expm1(np.minimum(change, 100.0), out=change)
        change *= relief[-1]
        change /= compliance[-1]
        if max(float(change.max()), -float(change.min())) <= within:
            return Flow(new, multiplier, compliance, stress, rate, softness, yielding)
        x = new
    message = "flow at a point did not converge; check creep factor, exponent and yield stress"
    raise ModelError(message)


def first_guess(law: FlowLaw, strain: Array) -> Array:
    """Lower of the two straight lines that bound ln λ of creep from above, shape (n,). [-]

    Parameters
    ----------
    law
        Of the stage.
    strain
        Trial strain by mode, shape (C, n). [-]
    """

    def line(stress: Array) -> Array:
        squared = np.maximum(total_of(law.weight * stress * stress), SMALLEST_STRESS**2)
        return np.asarray(law.log_creep + 0.5 * law.stress_power * np.log(squared))

    slow = line(strain / law.compliance)
    unit = law.compliance[-1]
    moving = law.weight > 0.0
    relaxed = np.where(moving, strain, 0.0) / np.where(moving, law.weight, 1.0) / unit
    fast = line(relaxed) + law.stress_power * np.log(unit)
    return np.asarray(np.minimum(slow, fast / (1.0 + law.stress_power)))


def next_guess(known: Flow, strain_change: Array) -> Array:
    """Logarithm of λ after a small change of the trial strain, shape (n,). [-]

    Parameters
    ----------
    known
        Answer before it.
    strain_change
        By mode, shape (C, n). [-]
    """
    growth = total_of(known.rate * strain_change)
    growth *= known.softness
    return np.asarray(known.log_multiplier + np.log1p(np.maximum(growth, _LEAST_CHANGE)))
