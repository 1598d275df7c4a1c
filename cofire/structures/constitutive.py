"""The one law: stress at a point for a total strain, with viscous flow, creep and yield.

total strain = elastic + viscous + creep + plastic + free, everywhere and at all times:

- elastic: isotropic, E(t) and Poisson's ratio; stress = stiffness(t) × elastic strain;
- viscous: isotropic Maxwell flow, uniaxial viscosity and viscous Poisson's ratio;
- creep: Norton, rate = A σ_eq^n, von Mises, incompressible;
- plastic: von Mises, perfectly plastic; the equivalent stress never passes the yield stress.

How the pieces are used, once a stage of a time step:

    stage = prepare(table.at(time, material), WALL, flow_time)
    response = respond(stage, trial_strain)
    response.stress, response.tangent, inelastic_increments(response)

`trial_strain` is total − free − all inelastic strain known before the stage; `flow_time` is the
time for which the stage's own rates act. The **component axis comes first**: stress and strain
(C, *points), tangent (C, C, *points), increments by mechanism (3, C, *points).

In an isotropic law every mechanism shares the same principal modes. Mode k has elastic
compliance (1 + p_k ν)/E and viscous compliance (1 + p_k ν_v)/η; creep and yield are the case
ν = 1/2, with weight w_k = 1 + p_k/2. The local problem has one unknown, the flow multiplier λ.
Its equation is convex in ln λ for creep and concave in λ for yield, so that Newton's method
started on the right side cannot overshoot, whatever the viscosity, exponent or step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cofire.errors import ModelError
from cofire.structures.point_properties import NO_YIELD, REFERENCE_STRESS, PointProperties
from cofire.structures.stress_state import (
    PLATE,
    SMALLEST_STRESS,
    SOLID,
    STRIP,
    WALL,
    WALL_WITH_SHEAR,
    StressState,
    total_of,
)

if TYPE_CHECKING:
    from cofire.physics.history import Array

__all__ = [
    "MECHANISMS",
    "PLATE",
    "SOLID",
    "STRIP",
    "WALL",
    "WALL_WITH_SHEAR",
    "Response",
    "Stage",
    "StressState",
    "inelastic_increments",
    "prepare",
    "respond",
]

MECHANISMS = ("viscous", "creep", "plastic")
"""Order of the mechanisms along the first axis of increments."""

_NEGLIGIBLE_RELIEF = 1.0e-13  # stress relieved in a stage, over the stress, that is dropped
_TANGENT_FLOOR = 1.0e-6  # stiffness kept along a yielding direction, over the elastic one
_SETTLED = 3.0e-5  # last relative step of a local Newton iteration, which is quadratic
_MOST_ITERATIONS = 60


@dataclass(frozen=True)
class Stage:
    """The law made ready for one instant and one flow time; arrays are flat over n points.

    Attributes
    ----------
    state
        Stress components.
    shape
        Of the points.
    compliance
        Elastic plus viscous compliance of each mode, shape (C, n). [1/Pa]
    viscous_compliance
        The viscous part of it, or None where nothing flows. [1/Pa]
    flow_time
        For which the stage's own rates act. [s]
    log_creep
        Logarithm of flow time × creep factor, so that λ = exp(this) σ_eq^(n−1), or None. [-]
    stress_power
        Creep exponent less one, shape (n,). [-]
    yield_stress
        Shape (n,), or None where nothing yields. [Pa]
    weight
        w_k, shape (C, n). [-]
    """

    state: StressState
    shape: tuple[int, ...]
    compliance: Array
    viscous_compliance: Array | None
    flow_time: float
    log_creep: Array | None
    stress_power: Array
    yield_stress: Array | None
    weight: Array


@dataclass(frozen=True)
class Response:
    """What a point answers to a trial strain.

    Attributes
    ----------
    stress
        Shape (C, *points). [Pa]
    tangent
        Derivative of stress by total strain, flow within the stage included, (C, C, *points). [Pa]
    stage
        The law that answered.
    mode_strain, mode_stress
        Trial strain and stress in principal modes, flat, shape (C, n). [-], [Pa]
    creep_multiplier, plastic_multiplier
        Strain increment over stress of each mechanism, flat, shape (n,), or None if idle. [1/Pa]
    slope
        Derivative of the sum of both by mode strain, shape (C, n), or None. [1/Pa]
    """

    stress: Array
    tangent: Array
    stage: Stage
    mode_strain: Array
    mode_stress: Array
    creep_multiplier: Array | None
    plastic_multiplier: Array | None
    slope: Array | None

    @property
    def linear(self) -> bool:
        """Whether stress is linear in the strain, so that one Newton step is exact."""
        return self.creep_multiplier is None and self.plastic_multiplier is None


def prepare(properties: PointProperties, state: StressState, flow_time: float) -> Stage:
    """The law at one instant for rates that act over a flow time.

    Parameters
    ----------
    properties
        Of each point, arrays of shape (points).
    state
        Stress components the structure carries.
    flow_time
        Zero for an instantaneous answer (elastic and plastic only). [s]
    """
    shape = properties.young_modulus.shape
    flat = PointProperties(*(value.reshape(-1) for value in properties))
    factor = state.poisson_factor[:, None]
    compliance = (1.0 + factor * flat.poisson_ratio) / flat.young_modulus
    viscous: Array | None = None
    log_creep: Array | None = None
    if flow_time > 0.0:
        if flat.fluidity.any():
            viscous = (1.0 + factor * flat.viscous_poisson_ratio) * (flow_time * flat.fluidity)
            compliance += viscous
        if flat.log_creep_rate.max() > -60.0:
            log_creep = flat.log_creep_rate - flat.creep_exponent * np.log(REFERENCE_STRESS)
            log_creep += np.log(flow_time)
    weight = np.empty_like(compliance)
    weight[:] = 1.0 + 0.5 * factor
    return Stage(
        state=state,
        shape=shape,
        compliance=compliance,
        viscous_compliance=viscous,
        flow_time=flow_time,
        log_creep=log_creep,
        stress_power=flat.creep_exponent - 1.0,
        yield_stress=flat.yield_stress if flat.yield_stress.min() < NO_YIELD else None,
        weight=weight,
    )


def respond(stage: Stage, trial_strain: Array, near: Response | None = None) -> Response:
    """Stress, tangent and flow of every point for a trial elastic strain.

    Parameters
    ----------
    stage
        The law at this instant.
    trial_strain
        Total less free less known inelastic strain, shape (C, *points). [-]
    near
        An answer close by, of the same stage or the one before, for a first guess.

    Raises
    ------
    ModelError
        If the local iteration fails.
    """
    state, compliance, weight = stage.state, stage.compliance, stage.weight
    count = compliance.shape[0]
    strain = state.strain_to_mode @ trial_strain.reshape(count, -1)
    creep: Array | None = None
    plastic: Array | None = None
    multiplier: Array | None = None
    if stage.log_creep is not None:
        multiplier = creep = _creep_multiplier(stage, stage.log_creep, strain, near)
    if stage.yield_stress is not None:
        multiplier, plastic = _plastic_multiplier(stage, stage.yield_stress, strain, creep, near)
    if multiplier is not None:
        compliance = compliance + weight * multiplier
    stress = strain / compliance
    tangent = state.stiffness_map @ (1.0 / compliance)
    slope: Array | None = None
    if multiplier is not None:
        creep = multiplier if plastic is None else multiplier - plastic
        direction = weight * stress
        rate = direction / compliance
        slope = rate * _softness(stage, compliance, stress, direction, rate, creep, plastic)
        left, right = state.mode_to_stress @ rate, state.strain_to_mode.T @ slope
        tangent -= (left[:, None] * right).reshape(tangent.shape)
    return Response(
        stress=(state.mode_to_stress @ stress).reshape(trial_strain.shape),
        tangent=tangent.reshape(count, count, *stage.shape),
        stage=stage,
        mode_strain=strain,
        mode_stress=stress,
        creep_multiplier=creep,
        plastic_multiplier=plastic,
        slope=slope,
    )


def inelastic_increments(response: Response) -> Array:
    """Inelastic strain gained in the stage by each mechanism, shape (3, C, *points). [-]

    Parameters
    ----------
    response
        Answer of the law.
    """
    stage = response.stage
    gained = np.zeros((3, *response.mode_stress.shape))
    if stage.viscous_compliance is not None:
        gained[0] = stage.state.mode_to_strain @ (stage.viscous_compliance * response.mode_stress)
    for place, multiplier in ((1, response.creep_multiplier), (2, response.plastic_multiplier)):
        if multiplier is not None:
            flow = stage.weight * response.mode_stress * multiplier
            gained[place] = stage.state.mode_to_strain @ flow
    return gained.reshape(3, *response.stress.shape)


def _squared(energy: Array) -> Array:
    """Square of the equivalent stress from its parts by mode, kept above zero. [Pa²]"""
    return np.asarray(np.maximum(total_of(energy), SMALLEST_STRESS**2), np.float64)


def _guess(stage: Stage, strain: Array, near: Response | None) -> Array | None:
    """Multiplier to start from, by the tangent within a stage, by flow time across. [1/Pa]"""
    if near is None or near.slope is None or near.creep_multiplier is None:
        return None
    known = near.creep_multiplier
    if near.stage is not stage:
        return known * (stage.flow_time / near.stage.flow_time) if known.any() else None
    if near.plastic_multiplier is not None:
        known = known + near.plastic_multiplier
    change = total_of(near.slope * (strain - near.mode_strain))
    return np.asarray(np.maximum(known + change, 0.1 * known))


def _creep_multiplier(
    stage: Stage, log_creep: Array, strain: Array, near: Response | None
) -> Array | None:
    """λ with λ = Δt A σ_eq(λ)^(n−1), or None where the relief would be negligible. [1/Pa]

    Newton's method in x = ln λ on x − ln(Δt A) − (n−1) ln σ_eq, from a guess or from the lower
    of the two straight lines that bound the equation from below.
    """
    weight, half_power = stage.weight, 0.5 * stage.stress_power
    guess = _guess(stage, strain, near)
    if guess is not None:
        x = np.log(np.maximum(guess, 1.0e-300))
    else:
        stress = strain / stage.compliance
        slow = log_creep + half_power * np.log(_squared(weight * stress * stress))
        stiffest = float(stage.compliance.min())
        if float(slow.max()) < np.log(_NEGLIGIBLE_RELIEF * stiffest):
            return None
        moving = weight > 0.0
        relaxed = np.where(moving, strain, 0.0) / np.where(moving, weight, 1.0) / stiffest
        fast = log_creep + half_power * np.log(_squared(weight * relaxed * relaxed))
        fast += 2.0 * half_power * np.log(stiffest)
        x = np.minimum(slow, fast / (1.0 + stage.stress_power))
    for _ in range(_MOST_ITERATIONS):
        multiplier = np.exp(x)
        flow = weight * multiplier
        compliance = stage.compliance + flow
        stress = strain / compliance
        energy = weight * stress
        energy *= stress
        squared = _squared(energy)
        energy *= flow
        energy /= compliance
        step = x - log_creep
        step -= half_power * np.log(squared)
        step /= 1.0 + stage.stress_power * (total_of(energy) / squared)
        x -= step
        if max(float(step.max()), -float(step.min())) < _SETTLED:
            return np.asarray(np.exp(x))
    message = "creep at a point did not converge; check creep factor and exponent"
    raise ModelError(message)


def _plastic_multiplier(
    stage: Stage, yield_stress: Array, strain: Array, creep: Array | None, near: Response | None
) -> tuple[Array | None, Array | None]:
    """Creep and yield together, and yield alone, with σ_eq down to the yield stress. [1/Pa]

    Where it yields a point creeps at its yield stress, and yield takes what is left. Newton's
    method on 1/σ_eq, which is concave in λ.
    """
    weight, whole = stage.weight, strain
    compliance = stage.compliance if creep is None else stage.compliance + weight * creep
    stress = strain / compliance
    over = total_of(weight * stress * stress) > yield_stress * yield_stress
    where = np.flatnonzero(over)
    if not where.size:
        return creep, None
    strain, weight, limit = strain[:, where], weight[:, where], yield_stress[where]
    base = stage.compliance[:, where]
    if stage.log_creep is None:
        least = np.zeros(where.size)
    else:
        least = np.exp(stage.log_creep[where] + stage.stress_power[where] * np.log(limit))
    guess = _guess(stage, whole, near)
    found = least if guess is None else np.maximum(guess[where], least)
    for _ in range(_MOST_ITERATIONS):
        total = base + weight * found
        stress = strain / total
        energy = weight * stress * stress
        squared = total_of(energy)
        slope = total_of(energy * weight / total) / squared
        step = (np.sqrt(squared) / limit - 1.0) / slope
        found = np.maximum(found + step, least)
        if float(np.abs(step * slope).max()) < _SETTLED:
            break
    else:
        message = "yield at a point did not converge; check yield stress and modulus"
        raise ModelError(message)
    both = np.zeros(over.shape) if creep is None else creep.copy()
    plastic = np.zeros(over.shape)
    both[where], plastic[where] = found, found - least
    return both, plastic


def _softness(
    stage: Stage,
    compliance: Array,
    stress: Array,
    direction: Array,
    rate: Array,
    creep: Array,
    plastic: Array | None,
) -> Array:
    """Growth of the multiplier per work of a strain on the flow direction, (n,). [1/Pa³]"""
    give = total_of(direction * rate)
    softness = stage.stress_power * creep
    softness /= _squared(direction * stress) + softness * give
    if plastic is not None:
        kept = np.minimum(_TANGENT_FLOOR * compliance[-1] / stage.compliance[-1], 1.0)
        full = (1.0 - kept) / np.maximum(give, np.finfo(float).tiny)
        softness = np.where(plastic > 0.0, full, softness)
    return softness
