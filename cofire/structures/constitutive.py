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
ν = 1/2, with weight w_k = 1 + p_k/2. The local problem has one unknown, the flow multiplier λ
(see `flow`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.structures.flow import creep_multiplier, equivalent_squared, yield_multiplier
from cofire.structures.point_properties import NO_YIELD, REFERENCE_STRESS, PointProperties
from cofire.structures.stress_state import (
    PLATE,
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

_NO_CREEP = -60.0  # logarithm of a rate at the reference stress that counts as none
_TANGENT_FLOOR = 1.0e-6  # stiffness kept along a yielding direction, over the elastic one


@dataclass(frozen=True)
class Stage:
    """The law made ready for one instant and one flow time; arrays are flat over n points.

    Attributes
    ----------
    state
        Stress components.
    shape
        Of the points.
    flow_time
        For which the stage's own rates act. [s]
    weight
        w_k, shape (C, n). [-]
    compliance
        Elastic plus viscous compliance of each mode, shape (C, n). [1/Pa]
    viscous_compliance
        The viscous part of it, or None where nothing flows. [1/Pa]
    log_creep
        Logarithm of flow time × creep factor, so that λ = exp(this) σ_eq^(n−1), or None. [-]
    stress_power
        Creep exponent less one, shape (n,). [-]
    creeps
        Points whose material creeps, shape (n,).
    yield_stress
        Shape (n,), or None where nothing yields. [Pa]
    creep_at_yield
        λ of creep at the yield stress, shape (n,). [1/Pa]
    """

    state: StressState
    shape: tuple[int, ...]
    flow_time: float
    weight: Array
    compliance: Array
    viscous_compliance: Array | None
    log_creep: Array | None
    stress_power: Array
    creeps: NDArray[np.bool_]
    yield_stress: Array | None
    creep_at_yield: Array


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
    weight = np.empty_like(compliance)
    weight[:] = 1.0 + 0.5 * factor
    viscous: Array | None = None
    log_creep: Array | None = None
    power = flat.creep_exponent - 1.0
    creeps = flat.log_creep_rate > _NO_CREEP
    if flow_time > 0.0:
        if flat.fluidity.any():
            viscous = (1.0 + factor * flat.viscous_poisson_ratio) * (flow_time * flat.fluidity)
            compliance += viscous
        if creeps.any():
            log_creep = flat.log_creep_rate - flat.creep_exponent * np.log(REFERENCE_STRESS)
            log_creep += np.log(flow_time)
    yields = flat.yield_stress.min() < NO_YIELD
    at_yield = np.zeros_like(power)
    if yields and log_creep is not None:
        at_yield = np.exp(log_creep + power * np.log(flat.yield_stress)) * creeps
    return Stage(
        state=state,
        shape=shape,
        flow_time=flow_time,
        weight=weight,
        compliance=compliance,
        viscous_compliance=viscous,
        log_creep=log_creep,
        stress_power=power,
        creeps=creeps,
        yield_stress=flat.yield_stress if yields else None,
        creep_at_yield=at_yield,
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
    creep, plastic = _multipliers(stage, strain, near)
    multiplier = creep if plastic is None or creep is None else creep + plastic
    if multiplier is not None:
        compliance = compliance + weight * multiplier
    stress = strain / compliance
    tangent = state.stiffness_map @ (1.0 / compliance)
    slope: Array | None = None
    if creep is not None:
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


def _multipliers(
    stage: Stage, strain: Array, near: Response | None
) -> tuple[Array | None, Array | None]:
    """Multipliers of creep and of yield, both or the second None if idle, shape (n,). [1/Pa]

    A point yields if creep at the yield stress leaves it above; yield then takes what is left.
    """
    guess = _guess(stage, strain, near)
    creeping, yielding = stage.creeps, None
    if stage.yield_stress is not None:
        stress = strain / (stage.compliance + stage.weight * stage.creep_at_yield)
        over = total_of(stage.weight * stress * stress) > stage.yield_stress * stage.yield_stress
        if over.any():
            yielding = np.flatnonzero(over)
            creeping = creeping & ~over
    creep: Array | None = None
    if stage.log_creep is not None and creeping.any():
        where = np.flatnonzero(creeping)
        found = creep_multiplier(
            strain[:, where],
            stage.compliance[:, where],
            stage.weight[:, where],
            stage.log_creep[where],
            stage.stress_power[where],
            None if guess is None else guess[where],
        )
        if found is not None:
            creep = np.zeros(strain.shape[1])
            creep[where] = found
    if yielding is None or stage.yield_stress is None:
        return creep, None
    creep = np.zeros(strain.shape[1]) if creep is None else creep
    creep[yielding] = least = stage.creep_at_yield[yielding]
    both = yield_multiplier(
        strain[:, yielding],
        stage.compliance[:, yielding],
        stage.weight[:, yielding],
        stage.yield_stress[yielding],
        least,
        None if guess is None else guess[yielding],
    )
    plastic = np.zeros(strain.shape[1])
    plastic[yielding] = both - least
    return creep, plastic


def _guess(stage: Stage, strain: Array, near: Response | None) -> Array | None:
    """Sum of both multipliers to start from: by the tangent, or by flow time, (n,). [1/Pa]"""
    if near is None or near.slope is None or near.creep_multiplier is None:
        return None
    if near.stage is not stage:
        if near.stage.flow_time <= 0.0:
            return None
        return near.creep_multiplier * (stage.flow_time / near.stage.flow_time)
    known = near.creep_multiplier
    if near.plastic_multiplier is not None:
        known = known + near.plastic_multiplier
    change = total_of(near.slope * (strain - near.mode_strain))
    return np.asarray(np.maximum(known + change, 0.1 * known))


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
    softness /= equivalent_squared(direction * stress) + softness * give
    if plastic is not None:
        kept = np.minimum(_TANGENT_FLOOR * compliance[-1] / stage.compliance[-1], 1.0)
        full = (1.0 - kept) / np.maximum(give, np.finfo(float).tiny)
        softness = np.where(plastic > 0.0, full, softness)
    return softness
