"""The one law: stress at a point for a total strain, with viscous flow, creep and yield.

total strain = elastic + viscous + creep + plastic + free, everywhere and at all times:

- elastic: isotropic, E(t) and Poisson's ratio; stress = stiffness(t) × elastic strain;
- viscous: isotropic Maxwell flow, uniaxial viscosity and viscous Poisson's ratio;
- creep: Norton, rate = A σ_eq^n, von Mises, incompressible;
- plastic: von Mises, perfectly plastic; the equivalent stress never passes the yield stress.

How the pieces are used, once a stage of a time step:

    stage = prepare(table.at(time), WALL, flow_time, material)
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
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.structures.flow import Flow, FlowLaw, first_guess, flow, next_guess
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

_NEGLIGIBLE_RELIEF = 1.0e-13  # stress relieved by creep in a stage that is dropped, over the stress
_NO_RELIEF = 1.0e-16  # what stands for none, over the compliance
_LARGEST_STRAIN = 0.2  # elastic, up to which creep is looked for


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
    viscous_compliance
        Viscous compliance of each mode, shape (C, n), or None where nothing flows. [1/Pa]
    creeps
        Whether any point creeps by more than 1e-13 of its stress.
    law
        Elastic and viscous compliance, creep and yield.
    """

    state: StressState
    shape: tuple[int, ...]
    flow_time: float
    viscous_compliance: Array | None
    creeps: bool
    law: FlowLaw

    @cached_property
    def stiffness(self) -> Array:
        """One over the compliance of each mode, shape (C, n). [Pa]"""
        return np.asarray(1.0 / self.law.compliance)

    @cached_property
    def tangent(self) -> Array:
        """Of points that neither creep nor yield, shape (C * C, n). [Pa]"""
        return np.asarray(self.state.stiffness_map @ self.stiffness)


@dataclass(frozen=True)
class Response:
    """What a point answers to a trial strain.

    Attributes
    ----------
    stress
        Shape (C, *points). [Pa]
    stage
        The law that answered.
    mode_strain, mode_stress
        Trial strain and stress in principal modes, flat, shape (C, n). [-], [Pa]
    flow
        Creep and yield, or None if both are idle.
    """

    stress: Array
    stage: Stage
    mode_strain: Array
    mode_stress: Array
    flow: Flow | None

    @property
    def linear(self) -> bool:
        """Whether stress is linear in the strain, so that one Newton step is exact."""
        return self.flow is None

    @property
    def yields(self) -> bool:
        """Whether any point yields."""
        return self.flow is not None and self.flow.yielding is not None

    @cached_property
    def tangent(self) -> Array:
        """Derivative of stress by strain, flow in the stage included, (C, C, *points). [Pa]"""
        stage, state = self.stage, self.stage.state
        count = len(state.components)
        if self.flow is None:
            return stage.tangent.reshape(count, count, *stage.shape)
        tangent = state.stiffness_map @ (1.0 / self.flow.compliance)
        give = self.flow.rate * (self.flow.softness * self.flow.multiplier)
        left, right = state.mode_to_stress @ self.flow.rate, state.strain_to_mode.T @ give
        tangent -= (left[:, None] * right).reshape(tangent.shape)
        return np.asarray(tangent.reshape(count, count, *stage.shape))


def prepare(
    properties: PointProperties,
    state: StressState,
    flow_time: float,
    material: NDArray[np.intp] | None = None,
) -> Stage:
    """The law at one instant for rates that act over a flow time.

    Parameters
    ----------
    properties
        Of each point, arrays of shape (points), or of each material, shape (N,).
    state
        Stress components the structure carries.
    flow_time
        Zero for an instantaneous answer (elastic and plastic only). [s]
    material
        Index of the material at each point, shape (points), if properties are of materials. [-]
    """
    flat = PointProperties(*(value.reshape(-1) for value in properties))
    factor = state.poisson_factor[:, None]
    compliance = (1.0 + factor * flat.poisson_ratio) / flat.young_modulus
    viscous: Array | None = None
    if flow_time > 0.0 and flat.fluidity.any():
        viscous = (1.0 + factor * flat.viscous_poisson_ratio) * (flow_time * flat.fluidity)
        compliance += viscous
    yields = bool(flat.yield_stress.min() < NO_YIELD)
    log_creep = np.log(_NO_RELIEF * compliance[-1])
    power = np.zeros(log_creep.shape)
    creeps = False
    if flow_time > 0.0:
        own = flat.log_creep_rate + np.log(flow_time)
        own -= flat.creep_exponent * np.log(REFERENCE_STRESS)
        most = np.minimum(flat.yield_stress, _LARGEST_STRAIN * flat.young_modulus)
        fastest = own + (flat.creep_exponent - 1.0) * np.log(most)
        moving = fastest > np.log(_NEGLIGIBLE_RELIEF * compliance[-1])
        creeps = bool(moving.any())
        log_creep = np.where(moving, own, log_creep)
        power = np.where(moving, flat.creep_exponent - 1.0, power)
    rows = [compliance, log_creep[None], power[None]]
    if viscous is not None:
        rows.append(viscous)
    if yields:
        ceiling = log_creep + power * np.log(flat.yield_stress)
        rows += [ceiling[None], np.square(flat.yield_stress)[None]]
    table = np.concatenate(rows)
    shape = properties.young_modulus.shape
    if material is not None:
        table, shape = table.take(material.reshape(-1), axis=1), material.shape
    count = len(compliance)
    return Stage(
        state=state,
        shape=shape,
        flow_time=flow_time,
        viscous_compliance=None if viscous is None else table[count + 2 : 2 * count + 2],
        creeps=creeps,
        law=FlowLaw(
            weight=1.0 + 0.5 * factor,
            compliance=table[:count],
            log_creep=table[count],
            stress_power=table[count + 1],
            ceiling=table[-2] if yields else None,
            yield_squared=table[-1] if yields else None,
        ),
    )


def respond(
    stage: Stage, trial_strain: Array, near: Response | None = None, within: float = 1.0e-10
) -> Response:
    """Stress and flow of every point for a trial elastic strain.

    Parameters
    ----------
    stage
        The law at this instant.
    trial_strain
        Total less free less known inelastic strain, shape (C, *points). [-]
    near
        An answer close by, of the same stage or the one before, for a first guess.
    within
        Relative error of stress that is good enough. [-]

    Raises
    ------
    ModelError
        If the local iteration fails.
    """
    if not stage.creeps:
        plain = respond_linear(stage, trial_strain)
        if not _any_yields(stage.law, plain.mode_stress):
            return plain
    state = stage.state
    strain = state.strain_to_mode @ trial_strain.reshape(len(state.components), -1)
    flows = flow(stage.law, strain, _guess(stage, strain, near), within)
    stress = (state.mode_to_stress @ flows.stress).reshape(trial_strain.shape)
    return Response(stress, stage, strain, flows.stress, flows)


def respond_linear(stage: Stage, trial_strain: Array) -> Response:
    """Stress of every point if nothing crept or yielded.

    Parameters
    ----------
    stage
        The law at this instant.
    trial_strain
        As in `respond`. [-]
    """
    state = stage.state
    strain = state.strain_to_mode @ trial_strain.reshape(len(state.components), -1)
    stress = strain * stage.stiffness
    whole = (state.mode_to_stress @ stress).reshape(trial_strain.shape)
    return Response(whole, stage, strain, stress, None)


def inelastic_increments(response: Response) -> Array:
    """Inelastic strain gained in the stage by each mechanism, shape (3, C, *points). [-]

    Parameters
    ----------
    response
        Answer of the law.
    """
    stage, flows = response.stage, response.flow
    back = stage.state.mode_to_strain
    gained = np.zeros((3, *response.mode_stress.shape))
    if stage.viscous_compliance is not None:
        gained[0] = back @ (stage.viscous_compliance * response.mode_stress)
    if flows is not None:
        whole = stage.law.weight * response.mode_stress * flows.multiplier
        plastic = np.zeros(flows.multiplier.shape)
        if flows.yielding is not None and stage.law.ceiling is not None:
            at = flows.yielding
            plastic[at] = 1.0 - np.exp(stage.law.ceiling[at]) / flows.multiplier[at]
            gained[2] = back @ (plastic * whole)
        if stage.creeps:
            gained[1] = back @ ((1.0 - plastic) * whole)
    return gained.reshape(3, *response.stress.shape)


def _any_yields(law: FlowLaw, stress: Array) -> bool:
    """Whether any point is above its yield stress."""
    if law.yield_squared is None:
        return False
    return bool((total_of(law.weight * stress * stress) > law.yield_squared).any())


def _guess(stage: Stage, strain: Array, near: Response | None) -> Array:
    """Logarithm of λ to start from: by the tangent, or by the flow time, shape (n,). [-]"""
    if near is None or near.flow is None:
        return first_guess(stage.law, strain)
    if near.stage is stage:
        return next_guess(near.flow, strain - near.mode_strain)
    if near.stage.flow_time <= 0.0:
        return first_guess(stage.law, strain)
    return np.asarray(near.flow.log_multiplier + np.log(stage.flow_time / near.stage.flow_time))
