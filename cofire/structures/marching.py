"""Stress of any structure through a firing: steps in time under error control.

A structure is anything with the members of `Structure` (see `equilibrium`). It knows its
points, how its unknowns (strains, displacements) strain them, and which change of the unknowns
restores equilibrium. It knows nothing of time, and the march knows nothing of shapes:

    record = march(structure, history)
    record.time, record.stress          # (S,), (S, C, *points)

Inelastic strain follows ė = f(σ, t) with equilibrium as an algebraic condition. The method is
the two-stage, stiffly accurate, L-stable diagonally implicit Runge–Kutta method of order 2,
γ = 1 − 1/√2 (Alexander 1977, SIAM J. Numer. Anal. 14, 1006). Its error is estimated from the
second difference of the rates at the start and at both stages, scaled to be exact for Maxwell
relaxation, and turned into stress with the consistent tangent, so that a body which flows
freely does not hold the step down. Where nothing flows one stage is exact, and the step goes
from landmark to landmark.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from cofire.errors import InputError, ModelError
from cofire.structures.constitutive import Response, inelastic_increments
from cofire.structures.equilibrium import Equilibrium, NoEquilibriumError, Structure, contract
from cofire.structures.point_properties import Mechanisms, landmarks, material_table
from cofire.structures.stress_state import energy_density

if TYPE_CHECKING:
    from cofire.physics.history import Array, History

__all__ = ["Control", "Instant", "Mechanisms", "Record", "Structure", "dissipated_energy", "march"]

_GAMMA = 1.0 - np.sqrt(0.5)
_ERROR_SCALE = (np.sqrt(0.5) * _GAMMA**2 + _GAMMA / 2 - 1 / 6) / (_GAMMA / 2 - _GAMMA**2)
_SHORTEST_STEP = 1.0e-9  # over the whole time
_FLOWING_DEPARTURE = 30.0  # of landmarks where something flows: there each step's error is known


@dataclass(frozen=True)
class Control:
    """How closely the march follows the firing.

    Attributes
    ----------
    relative_tolerance
        Error allowed in a step over the largest stress of the structure at that time. [-]
    stress_tolerance
        Error always allowed in a step. [Pa]
    imbalance
        What equilibrium may be out by, over the error allowed in a step. [-]
    longest_step
        Upper limit of a step. [s]
    fixed_step
        If given, the step (shortened to land on corners), without error control. [s]
    landmark_tolerance
        See `point_properties.landmarks`; thirty times this where something flows. [-]
    """

    relative_tolerance: float = 5.0e-3
    stress_tolerance: float = 5.0e3
    imbalance: float = 1.0e-3
    longest_step: float = np.inf
    fixed_step: float | None = None
    landmark_tolerance: float = 3.0e-5


class UnbalancedError(ModelError):
    """No step however short finds equilibrium; `time` is where the march stood. [s]"""

    def __init__(self, message: str, time: float) -> None:
        super().__init__(message)
        self.time = time

    def __reduce__(self) -> tuple[type[UnbalancedError], tuple[str, float]]:
        """How a worker hands it to its parent."""
        return type(self), (str(self), self.time)


@dataclass(frozen=True)
class Instant:
    """State of the structure at one time.

    Attributes
    ----------
    time
        Since the start of the trace. [s]
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
    steps, rejected
        Steps accepted and thrown away. [-]
    iterations
        Evaluations of the law at all points in accepted steps. [-]
    """

    time: Array
    unknowns: Array
    strain: Array
    stress: Array
    inelastic: Array
    step_error: Array
    steps: int
    rejected: int
    iterations: int

    @property
    def error_bound(self) -> float:
        """Sum of the errors of all recorded steps, as if none of them ever relaxed. [Pa]"""
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
        shape that broadcasts with (C, *points): a temperature difference through the wall. Where
        nothing flows no step looks for its turns; set `longest_step`. [-]
    watch
        Called at the start and after every accepted step.
    keep
        If False only the last instant is recorded; use `watch` to reduce large batches.

    Raises
    ------
    InputError
        If the history cannot be used or a material index is not in it.
    UnbalancedError
        If no step however short satisfies equilibrium.
    """
    control = control or Control()
    table = material_table(history, mechanisms)
    lowest, highest = int(structure.material.min()), int(structure.material.max())
    if lowest < 0 or highest >= len(history.names):
        message = (
            f"structure: material indices {lowest} to {highest}; "
            f"the history has 0 to {len(history.names) - 1}"
        )
        raise InputError(message)
    equilibrium = Equilibrium(
        structure,
        table,
        control.relative_tolerance,
        control.stress_tolerance,
        control.imbalance,
        added_strain,
    )
    corners = {0, *history.corners.tolist(), table.time.size - 1}
    marks = corners
    if not control.fixed_step:
        departure = np.where(table.flows_beside(), _FLOWING_DEPARTURE, 1.0)
        marks = {*landmarks(history, control.landmark_tolerance * departure)}
    stops = [(float(table.time[mark]), mark in corners) for mark in sorted(marks)]
    kept, errors = [_begin(equilibrium, stops[0][0])], [0.0]
    if watch is not None:
        watch(kept[0])
    steps = rejected = iterations = 0
    for trial in _accepted_steps(equilibrium, control, kept[0], stops[1:]):
        if watch is not None:
            watch(trial.instant)
        if not keep:
            kept.clear()
            errors.clear()
        kept.append(trial.instant)
        errors.append(trial.error)
        steps += 1
        rejected += trial.rejected
        iterations += trial.iterations
    return Record(
        time=np.array([i.time for i in kept]),
        unknowns=np.stack([i.unknowns for i in kept]),
        strain=np.stack([i.strain for i in kept]),
        stress=np.stack([i.stress for i in kept]),
        inelastic=np.stack([i.inelastic for i in kept]),
        step_error=np.array(errors),
        steps=steps,
        rejected=rejected,
        iterations=iterations,
    )


def dissipated_energy(record: Record, structure: Structure) -> Array:
    """Energy lost to each mechanism per volume since the start, (S, 3, *points). [J/m³]

    Trapezium rule over the recorded times.

    Parameters
    ----------
    record
        The whole march.
    structure
        The body.
    """
    mean = 0.5 * (record.stress[1:] + record.stress[:-1])
    gained = np.diff(record.inelastic, axis=0)
    lost = [
        energy_density(np.moveaxis(mean, 1, 0), np.moveaxis(gained[:, k], 1, 0), structure.state)
        for k in range(3)
    ]
    total = np.cumsum(np.stack(lost, axis=1), axis=0)
    return np.concatenate([np.zeros_like(total[:1]), total])


@dataclass(frozen=True)
class _Trial:
    """A step that found equilibrium, to be accepted or not."""

    instant: Instant
    response: Response
    rates: Array
    error: float
    error_ratio: float
    iterations: int
    rejected: int = 0


def _begin(equilibrium: Equilibrium, time: float) -> Instant:
    """State at the start: no inelastic strain but what yields at once."""
    guess = equilibrium.structure.start()
    inelastic = np.zeros((3, *equilibrium.structure.strains(guess).shape))
    try:
        found = equilibrium.balance(time, 0.0, inelastic[0], guess)
    except NoEquilibriumError:
        message = f"no equilibrium at the start ({time:g} s): mismatch beyond the yield stress"
        raise UnbalancedError(message, time) from None
    inelastic += inelastic_increments(found.response)
    stress = found.response.stress
    return Instant(time, found.unknowns, 0.0 * guess, found.strain, stress, inelastic)


def _accepted_steps(
    equilibrium: Equilibrium, control: Control, now: Instant, stops: list[tuple[float, bool]]
) -> Iterator[_Trial]:
    """Steps of the length the error allows, landing on every stop (time, whether a corner)."""
    duration = stops[-1][0] - now.time
    wanted = control.fixed_step or duration / 100.0
    before: _Trial | None = None
    corner, rejected = True, 0
    for end, next_corner in stops:
        while now.time < end:
            still = not (rejected or control.fixed_step)
            still = still and _is_still(equilibrium, before, now.time, end)
            step = _next_step(np.inf if still else wanted, end - now.time, control)
            try:
                trial = _step(equilibrium, now, step, end, before, corner)
            except NoEquilibriumError:
                trial = None
            ratio = 64.0 if trial is None else max(trial.error_ratio, 1.0e-9)
            factor = min(max(0.8 * ratio ** (-1.0 / 3.0), 0.33), 2.0)
            if trial is None or (ratio > 1.0 and control.fixed_step is None):
                rejected += 1
                wanted = factor * step
                if wanted < _SHORTEST_STEP * duration or control.fixed_step:
                    message = f"no equilibrium at {now.time:g} s with a step of {step:g} s"
                    raise UnbalancedError(message, now.time)
                continue
            if not (still or control.fixed_step):
                wanted = max(step * factor, wanted if factor >= 1.0 else 0.0)
            before, now, corner = trial, trial.instant, False
            yield replace(trial, rejected=rejected)
            rejected = 0
        corner = next_corner


def _is_still(equilibrium: Equilibrium, before: _Trial | None, start: float, end: float) -> bool:
    """Whether nothing flows between two times, nor yielded when last seen."""
    yielding = before is not None and before.response.yields
    return not (yielding or equilibrium.table.flows_between(start, end))


def _next_step(wanted: float, left: float, control: Control) -> float:
    """Step that lands on the stop without a splinter before it. [s]"""
    if control.fixed_step is not None:
        return left if wanted > 0.999 * left else wanted
    step = min(wanted, control.longest_step)
    return left if step > 0.999 * left else min(step, 0.5 * left)


def _step(
    equilibrium: Equilibrium,
    now: Instant,
    step: float,
    stop: float,
    before: _Trial | None,
    corner: bool,
) -> _Trial:
    """One step from a state and the step before it."""
    end = stop if now.time + step > stop - 1.0e-9 * step else now.time + step
    known = now.inelastic.sum(axis=0)
    if _is_still(equilibrium, before, now.time, end):
        one = equilibrium.balance(end, 0.0, known, now.unknowns + step * now.speed)
        if not one.response.yields:
            speed = (one.unknowns - now.unknowns) / step
            stress = one.response.stress
            new = Instant(end, one.unknowns, speed, one.strain, stress, now.inelastic)
            still = np.zeros_like(now.inelastic)
            return _Trial(new, one.response, still, 0.0, 0.0, one.iterations)
    flow_time = _GAMMA * step
    near = None if before is None else before.response
    guess = now.unknowns + flow_time * now.speed
    middle = equilibrium.balance(now.time + flow_time, flow_time, known, guess, near)
    first = inelastic_increments(middle.response)
    inelastic = now.inelastic + (1.0 / _GAMMA - 1.0) * first
    guess = now.unknowns + (middle.unknowns - now.unknowns) / _GAMMA
    known = inelastic.sum(axis=0)
    last = equilibrium.balance(end, flow_time, known, guess, middle.response)
    second = inelastic_increments(last.response)
    start_rates = first / flow_time  # where nothing better is known: at the start, yield at corners
    if before is not None:
        smooth = slice(2 if corner else 3)
        start_rates[smooth] = before.rates[smooth]
    doubt = (_GAMMA - 1.0) * step * start_rates + first / _GAMMA - second
    doubt_stress = contract(last.response.tangent, _ERROR_SCALE * doubt.sum(axis=0))
    error = equilibrium.largest(doubt_stress)
    ratio = float((error / equilibrium.allowed(last.response.stress)).max())
    speed = (last.unknowns - middle.unknowns) / (step - flow_time)
    stress = last.response.stress
    new = Instant(end, last.unknowns, speed, last.strain, stress, inelastic + second)
    iterations = middle.iterations + last.iterations
    rates = second / flow_time
    return _Trial(new, last.response, rates, float(error.max()), ratio, iterations)
