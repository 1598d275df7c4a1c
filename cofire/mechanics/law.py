"""The one law: stress at a point for a total strain, with viscous flow, creep and yield.

Strain in mode k is (c_k + w_k λ) S_k, with c_k the elastic and viscous compliance and λ the
multiplier of creep and yield, and σ_eq² = Σ w_k S_k². Creep asks λ = Δt A σ_eq(λ)^(n−1), yield
σ_eq(λ) = σ_y. The first is convex in x = ln λ, the second, as 1/σ_eq, concave in λ: Newton's
method from the right side cannot overshoot, whatever the viscosity, exponent or step.

A point yields if creep at the yield stress leaves it above; that λ of creep alone, the ceiling,
parts the two equations. A point at the ceiling goes to the side its stress says, and stays there.

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

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.errors import ModelError
from cofire.mechanics.properties import NO_YIELD, REFERENCE_STRESS, PointProperties

if TYPE_CHECKING:
    from cofire.numerics import Array


# ----------------------------------------------------------------------------------------------
# Which stresses a structure carries, and the principal modes in which the law is diagonal

SMALLEST_STRESS = 1.0e-6
"""Equivalent stress below which a point counts as unstressed. [Pa]"""


@dataclass(frozen=True)
class StressState:
    """The stress components a structure carries, and their principal modes.

    Attributes
    ----------
    components
        Names of the C components.
    strain_to_mode, mode_to_stress
        Linear maps into and out of the modes, shapes (C, C). [-]
    poisson_factor
        p_k of each mode, shape (C,). [-]
    free_direction
        Share of the free strain in each component, shape (C,). [-]
    kind_factor
        p of each of the K kinds of modes: modes of one p share compliance and weight, (K,). [-]
    kind
        Of each mode, shape (C,). [-]
    """

    components: tuple[str, ...]
    strain_to_mode: Array
    mode_to_stress: Array
    poisson_factor: Array
    free_direction: Array
    mode_to_strain: Array = field(init=False)
    stress_to_mode: Array = field(init=False)
    kind_factor: Array = field(init=False)
    kind: NDArray[np.intp] = field(init=False)
    stiffness_map: Array = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.components)
        factors, kind = np.unique(self.poisson_factor, return_inverse=True)
        object.__setattr__(self, "kind_factor", factors)
        object.__setattr__(self, "kind", kind)
        outer = self.mode_to_stress[:, None, :] * self.strain_to_mode.T[None, :, :]
        by_kind = outer.reshape(count * count, count) @ np.eye(factors.size)[kind]
        object.__setattr__(self, "stiffness_map", by_kind)
        object.__setattr__(self, "mode_to_strain", np.linalg.inv(self.strain_to_mode))
        object.__setattr__(self, "stress_to_mode", np.linalg.inv(self.mode_to_stress))


_HALF, _THIRD, _SIXTH = np.sqrt([1 / 2, 1 / 3, 1 / 6])
_PLANE = np.array([[_HALF, _HALF], [_HALF, -_HALF]])
_PLANE_AND_SHEAR = np.array([[_HALF, _HALF, 0], [_HALF, -_HALF, 0], [0, 0, _HALF]])
_TRIAXIAL = np.array([[_THIRD, _THIRD, _THIRD], [_HALF, -_HALF, 0], [_SIXTH, _SIXTH, -2 * _SIXTH]])

STRIP = StressState(("axial",), np.eye(1), np.eye(1), np.array([0.0]), np.ones(1))
"""A narrow strip: one stress along it."""

PLATE = StressState(
    ("in-plane",), np.eye(1) / _HALF, np.eye(1) * _HALF, np.array([-1.0]), np.ones(1)
)
"""A wide plate: the same stress in every direction of its plane."""

WALL = StressState(("meridional", "hoop"), _PLANE, _PLANE.T, np.array([-1.0, 1.0]), np.ones(2))
"""A thin wall: two normal stresses in its plane, none across it."""

WALL_WITH_SHEAR = StressState(
    ("meridional", "hoop", "shear"),
    _PLANE_AND_SHEAR,
    _PLANE_AND_SHEAR.T,
    np.array([-1.0, 1.0, 1.0]),
    np.array([1.0, 1.0, 0.0]),
)
"""A thin wall with transverse shear stress; its strain is the engineering angle."""

SOLID = StressState(
    ("radial", "hoop", "axial"), _TRIAXIAL, _TRIAXIAL.T, np.array([-2.0, 1.0, 1.0]), np.ones(3)
)
"""A solid of revolution without shear: three normal stresses."""

SOLID_WITH_SHEAR = StressState(
    ("radial", "hoop", "axial", "shear"),
    np.block([[_TRIAXIAL, np.zeros((3, 1))], [np.zeros((1, 3)), np.full((1, 1), _HALF)]]),
    np.block([[_TRIAXIAL.T, np.zeros((3, 1))], [np.zeros((1, 3)), np.full((1, 1), _HALF)]]),
    np.array([-2.0, 1.0, 1.0, 1.0]),
    np.array([1.0, 1.0, 1.0, 0.0]),
)
"""A solid of revolution: three normal stresses and the shear in the plane of the axis; its strain
is the engineering angle."""


def mapped(matrix: Array, vectors: Array) -> Array:
    """Product of a small matrix with vectors whose components lie along the first axis.

    Parameters
    ----------
    matrix
        Shape (C, C). [-]
    vectors
        Shape (C, *points). [-]
    """
    if matrix.shape == (1, 1):
        return np.asarray(vectors * matrix[0, 0], np.float64)
    flat = matrix @ vectors.reshape(vectors.shape[0], -1)
    return np.asarray(flat.reshape(vectors.shape), np.float64)


def total_of(modes: Array | Sequence[Array]) -> Array:
    """Sum over the first axis, quick for the few modes there are.

    Parameters
    ----------
    modes
        Shape (C, *points). [-]
    """
    total: Array = modes[0].copy() if len(modes) == 1 else modes[0] + modes[1]
    for mode in modes[2:]:
        total += mode
    return total


# ----------------------------------------------------------------------------------------------
# How much a point must flow in a stage: the one scalar unknown of the law

_TANGENT_FLOOR = 1.0e-6  # stiffness kept along a yielding direction, over the elastic one
_MOST_ITERATIONS = 60
_LEAST_GIVE = 1.0e-200  # of a point without stress
_AT_CEILING = 1.0e-6  # below it, at most, for a point that goes on to yield
_LEAST_CHANGE = -0.9  # of λ in one guess, relative
UNSETTLED = "flow at a point did not converge; check creep factor, exponent and yield stress"
"""What is raised where no multiplier is found."""


@dataclass(frozen=True)
class FlowLaw:
    """Creep and yield of n points in a stage.

    Attributes
    ----------
    kind
        Of each mode, which share what follows, shape (C,). [-]
    weight
        w of each kind of modes, shape (K, 1). [-]
    compliance
        c of each kind, shape (K, n). [1/Pa]
    log_creep
        ln(Δt A), so that λ = exp(this) σ_eq^(n−1), shape (n,). [-]
    stress_power
        Creep exponent less one, shape (n,). [-]
    ceiling
        ln λ of creep at the yield stress, shape (n,), or None where nothing yields. [-]
    yield_squared
        Square of the yield stress, shape (n,), or None. [Pa²]
    """

    kind: NDArray[np.intp]
    weight: Array
    compliance: Array
    log_creep: Array
    stress_power: Array
    ceiling: Array | None
    yield_squared: Array | None

    def moving(self, squared: Array) -> list[tuple[float, Array, Array]]:
        """Of the kinds that creep and yield: weight, compliance, and sum over their modes.

        Parameters
        ----------
        squared
            Of each mode, shape (C, n). [any]
        """
        return [
            (weight, self.compliance[k], total_of(squared[self.kind == k]))
            for k, weight in enumerate(self.weight[:, 0].tolist())
            if weight > 0.0
        ]


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
        c + w λ of each kind of modes, shape (K, n). [1/Pa]
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
    power = law.stress_power
    half_power = 0.5 * power
    moving = law.moving(np.square(strain))
    x = guess
    for _ in range(_MOST_ITERATIONS):
        multiplier = np.exp(x)
        stress_squared, give = np.zeros((2, x.size))
        for weight, unrelieved, strain_squared in moving:
            relief = weight * multiplier
            soft = unrelieved + relief
            part = weight * strain_squared
            part /= soft
            part /= soft
            stress_squared += part
            part *= relief
            part /= soft
            give += part
        np.maximum(stress_squared, SMALLEST_STRESS**2, out=stress_squared)
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
                kept = _TANGENT_FLOOR * soft[at] / unrelieved[at]
                softness[at] = (1.0 - np.minimum(kept, 1.0)) / give[at]
                yielding = at if at.size else None
        change = new - x
        if float(change.max()) > 1.0:
            np.expm1(np.minimum(change, 100.0), out=change)
        change *= relief
        change /= soft
        if max(float(change.max()), -float(change.min())) <= within:
            compliance = law.compliance + law.weight * multiplier
            own = compliance[law.kind]
            stress = strain / own
            rate = law.weight[law.kind] * stress
            rate /= own
            return Flow(new, multiplier, compliance, stress, rate, softness, yielding)
        x = new
    raise ModelError(UNSETTLED)


def first_guess(law: FlowLaw, strain: Array) -> Array:
    """Lower of the two straight lines that bound ln λ of creep from above, shape (n,). [-]

    Parameters
    ----------
    law
        Of the stage.
    strain
        Trial strain by mode, shape (C, n). [-]
    """

    def line(stress_squared: Array) -> Array:
        squared = np.maximum(stress_squared, SMALLEST_STRESS**2)
        return np.asarray(law.log_creep + 0.5 * law.stress_power * np.log(squared))

    moving, unit = law.moving(np.square(strain)), law.compliance[-1]
    slow = line(total_of(np.stack([w * e / np.square(c) for w, c, e in moving])))
    relaxed = total_of(np.stack([e / (w * np.square(unit)) for w, _, e in moving]))
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


# ----------------------------------------------------------------------------------------------
# The one law: stress at a point for a total strain, with viscous flow, creep and yield

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
        Of each kind of modes, shape (K, n), or None where nothing flows. [1/Pa]
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
        """One over the compliance of each kind of modes, shape (K, n). [Pa]"""
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
        tangent = state.stiffness_map @ self._stiffness
        give = self.flow.rate * self._give
        left, right = state.mode_to_stress @ self.flow.rate, state.strain_to_mode.T @ give
        tangent -= (left[:, None] * right).reshape(tangent.shape)
        return np.asarray(tangent.reshape(count, count, *stage.shape))

    @cached_property
    def first_tangent(self) -> Array:
        """First entry of the tangent, without the others, shape (*points). [Pa]"""
        state = self.stage.state
        first = state.stiffness_map[0] @ self._stiffness
        if self.flow is not None:
            along = state.mode_to_stress[0] @ self.flow.rate
            along *= state.strain_to_mode[:, 0] @ self.flow.rate
            along *= self._give
            first -= along
        return np.asarray(first.reshape(self.stage.shape))

    def stress_change(self, strain: Array) -> Array:
        """The tangent times a strain, shape (C, *points), without the tangent. [Pa]

        Parameters
        ----------
        strain
            Shape (C, *points). [-]
        """
        state = self.stage.state
        modes = state.strain_to_mode @ strain.reshape(len(strain), -1)
        change = modes * self._stiffness[state.kind]
        if self.flow is not None:
            change -= self.flow.rate * (self._give * total_of(self.flow.rate * modes))
        return np.asarray((state.mode_to_stress @ change).reshape(strain.shape))

    @cached_property
    def _stiffness(self) -> Array:
        """One over the compliance of each kind of modes with its flow, shape (K, n). [Pa]"""
        return self.stage.stiffness if self.flow is None else 1.0 / self.flow.compliance

    @cached_property
    def _give(self) -> Array:
        """Growth of the multiplier per work of a strain on the rate, shape (n,). [1/Pa³]"""
        assert self.flow is not None
        return np.asarray(self.flow.softness * self.flow.multiplier)


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
    factor = state.kind_factor[:, None]
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
            kind=state.kind,
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
    stress = strain * stage.stiffness[state.kind]
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
    back, kind = stage.state.mode_to_strain, stage.state.kind
    gained = np.zeros((3, *response.mode_stress.shape))
    if stage.viscous_compliance is not None:
        gained[0] = back @ (stage.viscous_compliance[kind] * response.mode_stress)
    if flows is not None:
        whole = stage.law.weight[kind] * response.mode_stress
        whole *= flows.multiplier
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
    squared = law.weight[law.kind] * np.square(stress)
    return bool((total_of(squared) > law.yield_squared).any())


def _guess(stage: Stage, strain: Array, near: Response | None) -> Array:
    """Logarithm of λ to start from: by the tangent, or by the flow time, shape (n,). [-]"""
    if near is None or near.flow is None:
        return first_guess(stage.law, strain)
    if near.stage is stage:
        return next_guess(near.flow, strain - near.mode_strain)
    if near.stage.flow_time <= 0.0:
        return first_guess(stage.law, strain)
    return np.asarray(near.flow.log_multiplier + np.log(stage.flow_time / near.stage.flow_time))
