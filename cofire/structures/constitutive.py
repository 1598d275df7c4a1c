"""The one law: stress at a point for a total strain, with viscous flow, creep and yield.

total strain = elastic + viscous + creep + plastic + free, everywhere and at all times:

- elastic: isotropic, E(t) and Poisson's ratio; stress = stiffness(t) × elastic strain;
- viscous: isotropic Maxwell flow, uniaxial viscosity and viscous Poisson's ratio;
- creep: Norton, rate = A σ_eq^n, von Mises, incompressible;
- plastic: von Mises, perfectly plastic; the equivalent stress never passes the yield stress.

How the pieces are used, once a stage of a time step:

    stage = prepare(table.at(time, material), WALL, flow_time)
    response = respond(stage, trial_strain)
    response.stress, response.tangent, inelastic_increments(stage, response)

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
from numpy.typing import NDArray

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
    equivalent_squared,
    mapped,
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


@dataclass(frozen=True)
class Stage:
    """The law made ready for one instant and one flow time.

    Attributes
    ----------
    state
        Stress components.
    compliance
        Elastic plus viscous compliance of each mode, shape (C, *points). [1/Pa]
    viscous_compliance
        The viscous part of it, or None where nothing flows. [1/Pa]
    log_creep
        Logarithm of flow time × creep rate / stress at the reference stress, or None. [ln(1/Pa)]
    stress_power
        Creep exponent less one, shape (points). [-]
    yield_stress
        Shape (points), or None where nothing yields. [Pa]
    weight
        w_k, shaped to broadcast over points. [-]
    """

    state: StressState
    compliance: Array
    viscous_compliance: Array | None
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
    mode_stress
        Stress in principal modes, shape (C, *points). [Pa]
    creep_multiplier, plastic_multiplier
        Strain increment over stress of each mechanism, shape (points), or None if idle. [1/Pa]
    linear
        Whether stress is linear in the strain, so that one Newton step is exact.
    """

    stress: Array
    tangent: Array
    mode_stress: Array
    creep_multiplier: Array | None
    plastic_multiplier: Array | None
    linear: bool


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
    factor = state.poisson_factor.reshape((-1,) + (1,) * properties.young_modulus.ndim)
    compliance = (1.0 + factor * properties.poisson_ratio) / properties.young_modulus
    viscous: Array | None = None
    log_creep: Array | None = None
    if flow_time > 0.0:
        if properties.fluidity.any():
            viscous = 1.0 + factor * properties.viscous_poisson_ratio
            viscous *= flow_time * properties.fluidity
            compliance += viscous
        if properties.log_creep_rate.max() > -60.0:
            log_creep = properties.log_creep_rate + np.log(flow_time / REFERENCE_STRESS)
    return Stage(
        state=state,
        compliance=compliance,
        viscous_compliance=viscous,
        log_creep=log_creep,
        stress_power=properties.creep_exponent - 1.0,
        yield_stress=properties.yield_stress if properties.yield_stress.min() < NO_YIELD else None,
        weight=1.0 + 0.5 * factor,
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
        Answer of the same stage to a strain close by, a first guess.

    Raises
    ------
    ModelError
        If the local iteration fails.
    """
    count = len(stage.state.components)
    strain = mapped(stage.state.strain_to_mode, trial_strain)
    stress = strain / stage.compliance
    creep: Array | None = None
    plastic: Array | None = None
    if stage.log_creep is not None or stage.yield_stress is not None:
        squared = equivalent_squared(stage.weight, stress)
        if stage.log_creep is not None:
            creep = _creep_multiplier(stage, strain, squared, near)
            if creep is not None:
                stress = strain / (stage.compliance + stage.weight * creep)
                squared = equivalent_squared(stage.weight, stress)
        if stage.yield_stress is not None:
            over = squared > stage.yield_stress * stage.yield_stress
            if over.any():
                plastic = _plastic_multiplier(stage, strain, creep, over)
    compliance = stage.compliance
    if creep is None and plastic is None:
        flat = 1.0 / compliance.reshape(count, -1)
        tangent = (stage.state.stiffness_map @ flat).reshape(count, count, *trial_strain.shape[1:])
    else:
        for multiplier in (creep, plastic):
            if multiplier is not None:
                compliance = compliance + stage.weight * multiplier
        stress = strain / compliance
        tangent = _tangent(stage, compliance, stress, creep, plastic)
    return Response(
        stress=mapped(stage.state.mode_to_stress, stress),
        tangent=tangent,
        mode_stress=stress,
        creep_multiplier=creep,
        plastic_multiplier=plastic,
        linear=creep is None and plastic is None,
    )


def inelastic_increments(stage: Stage, response: Response) -> Array:
    """Inelastic strain gained in the stage by each mechanism, shape (3, C, *points). [-]

    Parameters
    ----------
    stage
        The law at this instant.
    response
        Its answer.
    """
    increments = np.zeros((3, *response.stress.shape))
    back = stage.state.mode_to_strain
    if stage.viscous_compliance is not None:
        increments[0] = mapped(back, stage.viscous_compliance * response.mode_stress)
    for place, multiplier in ((1, response.creep_multiplier), (2, response.plastic_multiplier)):
        if multiplier is not None:
            increments[place] = mapped(back, stage.weight * multiplier * response.mode_stress)
    return increments


def _creep_multiplier(
    stage: Stage, strain: Array, squared: Array, near: Response | None
) -> Array | None:
    """λ with λ = Δt A σ_eq(λ)^(n−1), or None where the relief would be negligible. [1/Pa]

    Newton's method in x = ln λ on x − ln(Δt A) − (n−1) ln σ_eq, from the lower of the two
    straight lines that bound the equation from below.
    """
    assert stage.log_creep is not None
    log_reference = np.log(REFERENCE_STRESS)
    base = stage.log_creep - stage.stress_power * log_reference
    half_power = 0.5 * stage.stress_power
    slow = base + half_power * np.log(squared)
    stiffest = float(stage.compliance.min())
    if float(slow.max()) < np.log(_NEGLIGIBLE_RELIEF * stiffest):
        return None
    if near is not None and near.creep_multiplier is not None:
        x = np.log(np.maximum(near.creep_multiplier, 1.0e-300))
    else:
        moving = stage.weight > 0.0
        relaxed = np.where(moving, strain, 0.0) / np.where(moving, stage.weight, 1.0) / stiffest
        fast = base + half_power * np.log(equivalent_squared(stage.weight, relaxed))
        fast += 2.0 * half_power * np.log(stiffest)
        x = np.minimum(slow, fast / (1.0 + stage.stress_power))
    for _ in range(60):
        multiplier = np.exp(x)
        compliance = stage.compliance + stage.weight * multiplier
        stress = strain / compliance
        energy = stage.weight * stress * stress
        squared = np.maximum(total_of(energy), SMALLEST_STRESS**2)
        share = multiplier * total_of(energy * stage.weight / compliance) / squared
        step = x - base - half_power * np.log(squared)
        step /= 1.0 + stage.stress_power * share
        x -= step
        if float(np.abs(step).max()) < 1.0e-6:
            return np.asarray(np.exp(x))
    message = "creep at a point did not converge in 60 iterations; check creep factor and exponent"
    raise ModelError(message)


def _plastic_multiplier(
    stage: Stage, strain: Array, creep: Array | None, over: NDArray[np.bool_]
) -> Array:
    """λ that brings σ_eq down to the yield stress at the points over it, else zero. [1/Pa]

    Newton's method on 1/σ_eq, which is concave in λ, from below.
    """
    assert stage.yield_stress is not None
    strain, limit = strain[:, over], stage.yield_stress[over]
    weight = stage.weight.reshape(-1, 1)
    compliance = stage.compliance[:, over]
    if creep is not None:
        compliance = compliance + weight * creep[over]
    found = np.zeros_like(limit)
    for _ in range(60):
        total = compliance + weight * found
        stress = strain / total
        energy = weight * stress * stress
        squared = total_of(energy)
        slope = total_of(energy * weight / total) / squared
        step = (np.sqrt(squared) / limit - 1.0) / slope
        found += step
        if (np.abs(step) * weight.max() < 1.0e-12 * total.max(axis=0)).all():
            multiplier = np.zeros(over.shape)
            multiplier[over] = np.maximum(found, 0.0)
            return multiplier
    message = "yield at a point did not converge in 60 iterations; check yield stress and modulus"
    raise ModelError(message)


def _tangent(
    stage: Stage, compliance: Array, stress: Array, creep: Array | None, plastic: Array | None
) -> Array:
    """Consistent tangent: isotropic part less what the multiplier gives way. [Pa]"""
    count, shape = stress.shape[0], stress.shape[1:]
    rate = stage.weight * stress / compliance
    give = total_of(rate * stage.weight * stress)
    give = np.maximum(give, np.finfo(float).tiny)
    softness = np.zeros(shape)
    if creep is not None:
        squared = equivalent_squared(stage.weight, stress)
        softness = stage.stress_power * creep / squared
        softness = softness / (1.0 + softness * give)
    if plastic is not None:
        kept = np.minimum(_TANGENT_FLOOR * compliance[-1] / stage.compliance[-1], 1.0)
        softness = np.where(plastic > 0.0, (1.0 - kept) / give, softness)
    flat = (1.0 / compliance).reshape(count, -1)
    tangent = (stage.state.stiffness_map @ flat).reshape(count, count, *shape)
    left = mapped(stage.state.mode_to_stress, rate)
    right = mapped(stage.state.strain_to_mode.T, rate)
    return np.asarray(tangent - softness * left[:, None] * right[None, :])
