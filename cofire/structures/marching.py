"""Stress of any structure through a firing: steps in time under error control.

A structure is anything with the members of `Structure`. It knows its points, how its
unknowns (strains, displacements) strain them, and which change of the unknowns restores
equilibrium. It knows nothing of time, and the march knows nothing of shapes:

    record = march(structure, history)
    record.time, record.stress          # (S,), (S, C, *points)

Inelastic strain follows ė = f(σ, t) with equilibrium as an algebraic condition. The method is
the two-stage, stiffly accurate, L-stable diagonally implicit Runge–Kutta method of order 2,
γ = 1 − 1/√2 (Alexander 1977, SIAM J. Numer. Anal. 14, 1006). Its error is estimated from the
second difference of the rates at the start and at both stages, scaled to be exact for Maxwell
relaxation, and turned into stress with the consistent tangent, so that a body which flows
freely does not hold the step down. Where nothing can flow one stage is exact and the step
goes from landmark to landmark.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError
from cofire.structures.constitutive import (
    Response,
    Stage,
    StressState,
    inelastic_increments,
    prepare,
    respond,
)
from cofire.structures.point_properties import (
    MaterialTable,
    Mechanisms,
    landmarks,
    material_table,
)

if TYPE_CHECKING:
    from cofire.physics.history import Array, History

_GAMMA = 1.0 - np.sqrt(0.5)
_ERROR_SCALE = (np.sqrt(0.5) * _GAMMA**2 + _GAMMA / 2 - 1 / 6) / (_GAMMA / 2 - _GAMMA**2)
_NEWTON_SHARE = 1.0e-2  # equilibrium tolerance over the tolerance of a step
_MOST_NEWTON = 12
_SHORTEST_STEP = 1.0e-9  # over the whole time


class Structure(Protocol):
    """What the march must know of a body.

    Attributes
    ----------
    state
        Stress components at its C-component points.
    material
        Index into the history's materials at each point, shape (points). [-]
    batch_axes
        How many leading axes of the points are a batch of candidates. [-]
    """

    @property
    def state(self) -> StressState: ...

    @property
    def material(self) -> NDArray[np.intp]: ...

    @property
    def batch_axes(self) -> int: ...

    def start(self) -> Array:
        """Unknowns before the firing, all zero, any shape."""
        ...

    def strains(self, unknowns: Array) -> Array:
        """Total strain at the points, linear in the unknowns, shape (C, *points). [-]"""
        ...

    def corrections(self, stress: Array, tangent: Array) -> Array:
        """Change of the unknowns that restores equilibrium, by Newton's method.

        Parameters
        ----------
        stress, tangent
            At the points, shapes (C, *points) and (C, C, *points). [Pa]
        """
        ...


@dataclass(frozen=True)
class Control:
    """How closely the march follows the firing.

    Attributes
    ----------
    relative_tolerance
        Error allowed in a step over the largest stress of the structure at that time. [-]
    stress_tolerance
        Error always allowed in a step. [Pa]
    longest_step
        Upper limit of a step. [s]
    fixed_step
        If given, the step (shortened to land on corners), without error control. [s]
    landmark_tolerance
        See `point_properties.landmarks`. [-]
    """

    relative_tolerance: float = 1.0e-3
    stress_tolerance: float = 1.0e3
    longest_step: float = np.inf
    fixed_step: float | None = None
    landmark_tolerance: float = 0.02


@dataclass(frozen=True)
class Instant:
    """State of the structure at one time.

    Attributes
    ----------
    time
        [s]
    unknowns, speed
        Of the structure, and their rate of change, a guess for the next step.
    strain
        Total strain, shape (C, *points). [-]
    stress
        Shape (C, *points). [Pa]
    inelastic
        Strain by mechanism (viscous, creep, plastic), shape (3, C, *points). [-]
    """

    time: float
    unknowns: Array
    speed: Array
    strain: Array
    stress: Array
    inelastic: Array


@dataclass(frozen=True)
class Record:
    """The whole march, one entry for each of S accepted times, the start included.

    Attributes
    ----------
    time
        Shape (S,). [s]
    unknowns
        Of the structure, shape (S, ...).
    strain
        Total strain, shape (S, C, *points). [-]
    stress
        Shape (S, C, *points). [Pa]
    inelastic
        Strain by mechanism (viscous, creep, plastic), shape (S, 3, C, *points). [-]
    step_error
        Estimated error of stress made in the step that ends at each time, shape (S,). [Pa]
    rejected
        Steps thrown away. [-]
    iterations
        Evaluations of the law at all points. [-]
    """

    time: Array
    unknowns: Array
    strain: Array
    stress: Array
    inelastic: Array
    step_error: Array
    rejected: int
    iterations: int

    @property
    def steps(self) -> int:
        """Number of accepted steps. [-]"""
        return self.time.size - 1

    @property
    def error_bound(self) -> float:
        """Sum of the errors of all steps, as if none of them ever relaxed. [Pa]"""
        return float(self.step_error.sum())


def march(
    structure: Structure,
    history: History,
    *,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
    watch: Callable[[Instant], None] | None = None,
    keep: bool = True,
) -> Record:
    """Record of a structure through the whole trace.

    Parameters
    ----------
    structure
        The body.
    history
        Histories of its materials.
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps.
    added_strain
        Free strain at the points beyond that of the history, as a function of time, of a
        shape that broadcasts with (C, *points); a temperature difference through the wall. [-]
    watch
        Called at the start and after every accepted step.
    keep
        If False only the last instant is recorded; use `watch` to reduce large batches.

    Raises
    ------
    InputError
        If the history cannot be used or a material index is not in it.
    ModelError
        If no step however short satisfies equilibrium.
    """
    control = control or Control()
    table = material_table(history, mechanisms)
    if structure.material.size and not (
        0 <= structure.material.min() and structure.material.max() < len(history.names)
    ):
        message = (
            f"structure: material indices {structure.material.min()} to "
            f"{structure.material.max()}; the history has 0 to {len(history.names) - 1}"
        )
        raise InputError(message)
    solver = _Solver(structure, table, control, added_strain)
    corners = np.unique(np.concatenate([[0], history.corners, [table.time.size - 1]]))
    stops = corners if control.fixed_step else landmarks(history, control.landmark_tolerance)
    now = solver.begin(float(table.time[0]))
    record = _Recorder(watch, keep)
    record.add(now, 0.0)
    rate: Array | None = None
    wanted = control.fixed_step or (table.time[-1] - table.time[0]) / 100.0
    shortest = _SHORTEST_STEP * (table.time[-1] - table.time[0])
    for stop in stops[1:]:
        end = float(table.time[stop])
        while now.time < end:
            left = end - now.time
            step = min(wanted, control.longest_step)
            step = left if step > 0.999 * left else min(step, 0.5 * left)
            if control.fixed_step:
                step = left if control.fixed_step > 0.999 * left else control.fixed_step
            try:
                new, new_rate, error, ratio = solver.step(now, step, rate, end)
            except _NoEquilibriumError:
                ratio = 64.0
            factor = min(max(0.9 * max(ratio, 1.0e-9) ** (-1.0 / 3.0), 0.2), 5.0)
            if ratio > 1.0 and not (control.fixed_step and ratio < 64.0):
                record.rejected += 1
                wanted = step * factor
                if wanted < shortest or control.fixed_step:
                    message = f"no equilibrium at {now.time:g} s with a step of {step:g} s"
                    raise ModelError(message)
                continue
            if not control.fixed_step:
                wanted = max(step * factor, wanted if factor >= 1.0 else 0.0)
            now, rate = new, new_rate
            record.add(now, error)
        if rate is not None and stop in history.corners:
            rate[2] = np.nan
    return record.close(solver.iterations)


class _NoEquilibriumError(Exception):
    """The step is too long for Newton's method."""


class _Solver:
    """Equilibrium at a stage, and steps made of stages."""

    def __init__(
        self,
        structure: Structure,
        table: MaterialTable,
        control: Control,
        added_strain: Callable[[float], Array] | None,
    ) -> None:
        self.structure, self.table, self.control = structure, table, control
        self.added_strain = added_strain
        axes = structure.material.ndim
        self.direction = structure.state.free_direction.reshape((-1,) + (1,) * axes)
        self.own_axes = (0, *range(1 + structure.batch_axes, 1 + axes))
        self.iterations = 0

    def largest(self, stress: Array) -> Array:
        """Largest magnitude in each candidate, shape (batch). [Pa]"""
        return np.asarray(np.abs(stress).max(axis=self.own_axes))

    def allowed(self, stress: Array) -> Array:
        """Error of stress allowed in a step, shape (batch). [Pa]"""
        control = self.control
        return control.stress_tolerance + control.relative_tolerance * self.largest(stress)

    def solve(
        self, time: float, flow_time: float, inelastic: Array, guess: Array
    ) -> tuple[Array, Array, Stage, Response]:
        """Unknowns, total strain, stage and response in equilibrium."""
        properties = self.table.at(time, self.structure.material)
        stage = prepare(properties, self.structure.state, flow_time)
        known = inelastic + self.direction * properties.free_strain
        if self.added_strain is not None:
            known = known + self.added_strain(time)
        unknowns, strain = guess, self.structure.strains(guess)
        was_linear, before, share = False, np.inf, 1.0
        response = None
        for _ in range(_MOST_NEWTON):
            self.iterations += 1
            response = respond(stage, strain - known, response)
            if was_linear and response.linear:
                return unknowns, strain, stage, response
            change = self.structure.corrections(response.stress, response.tangent)
            strain_change = self.structure.strains(change)
            stress_change = self.largest(contract(response.tangent, strain_change))
            if not np.isfinite(stress_change).all():
                break
            if (stress_change <= _NEWTON_SHARE * self.allowed(response.stress)).all():
                return unknowns, strain, stage, response
            share = max(0.5 * share, 0.25) if stress_change.max() > 0.5 * before else 1.0
            unknowns, strain = unknowns + share * change, strain + share * strain_change
            was_linear, before = response.linear and share == 1.0, float(stress_change.max())
        raise _NoEquilibriumError

    def begin(self, time: float) -> Instant:
        """State at the start: no inelastic strain but what yields at once."""
        guess = self.structure.start()
        inelastic = np.zeros((3, *self.structure.strains(guess).shape))
        try:
            unknowns, strain, stage, response = self.solve(time, 0.0, inelastic[0], guess)
        except _NoEquilibriumError:
            message = f"no equilibrium at the start ({time:g} s): mismatch beyond the yield stress"
            raise ModelError(message) from None
        inelastic += inelastic_increments(stage, response)
        return Instant(time, unknowns, 0.0 * unknowns, strain, response.stress, inelastic)

    def step(
        self, now: Instant, step: float, rate: Array | None, stop: float
    ) -> tuple[Instant, Array, float, float]:
        """New instant, rates there, error of stress and its ratio to what is allowed."""
        end = stop if now.time + step > stop - 1.0e-9 * step else now.time + step
        known = now.inelastic.sum(axis=0)
        if not self.table.flows_between(now.time, end):
            unknowns, strain, _, response = self.solve(end, 0.0, known, now.unknowns)
            if response.plastic_multiplier is None:
                speed = (unknowns - now.unknowns) / step
                new = Instant(end, unknowns, speed, strain, response.stress, now.inelastic)
                return new, np.zeros_like(now.inelastic), 0.0, 0.0
        flow_time = _GAMMA * step
        middle, _, stage, response = self.solve(
            now.time + flow_time, flow_time, known, now.unknowns + flow_time * now.speed
        )
        first = inelastic_increments(stage, response)
        inelastic = now.inelastic + (1.0 / _GAMMA - 1.0) * first
        guess = now.unknowns + (middle - now.unknowns) / _GAMMA
        unknowns, strain, stage, response = self.solve(
            end, flow_time, inelastic.sum(axis=0), guess
        )
        second = inelastic_increments(stage, response)
        speed = (unknowns - middle) / (step - flow_time)
        new = Instant(end, unknowns, speed, strain, response.stress, inelastic + second)
        before = first / flow_time if rate is None else rate
        if rate is not None and np.isnan(rate[2]).any():
            before = np.concatenate([rate[:2], first[2:] / flow_time])
        doubt = _ERROR_SCALE * ((_GAMMA - 1.0) * step * before + first / _GAMMA - second)
        error = self.largest(contract(response.tangent, doubt.sum(axis=0)))
        ratio = float((error / self.allowed(response.stress)).max())
        return new, second / flow_time, float(error.max()), ratio


def contract(tangent: Array, strain: Array) -> Array:
    """Stress change for a strain change, shape (C, *points). [Pa]

    Parameters
    ----------
    tangent
        Shape (C, C, *points). [Pa]
    strain
        Shape (C, *points). [-]
    """
    return np.asarray(np.add.reduce(tangent * strain, axis=1))


class _Recorder:
    """Instants kept on the way."""

    def __init__(self, watch: Callable[[Instant], None] | None, keep: bool) -> None:
        self.watch, self.keep = watch, keep
        self.instants: list[Instant] = []
        self.errors: list[float] = []
        self.rejected = 0

    def add(self, instant: Instant, error: float) -> None:
        """Keep an accepted instant."""
        if self.watch is not None:
            self.watch(instant)
        if not self.keep:
            self.instants.clear()
        self.instants.append(instant)
        self.errors.append(error)

    def close(self, iterations: int) -> Record:
        """The record of all that was kept."""
        kept = self.instants
        return Record(
            time=np.array([i.time for i in kept]),
            unknowns=np.stack([i.unknowns for i in kept]),
            strain=np.stack([i.strain for i in kept]),
            stress=np.stack([i.stress for i in kept]),
            inelastic=np.stack([i.inelastic for i in kept]),
            step_error=np.array(self.errors),
            rejected=self.rejected,
            iterations=iterations,
        )
