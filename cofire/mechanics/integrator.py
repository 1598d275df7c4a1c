"""Stress of any structure through a firing: steps in time under error control.

A structure (see `equilibrium`) knows nothing of time, and the march knows nothing of shapes:

    record = march(structure, history)
    record.time, record.stress          # (S,), (S, C, *points)

Inelastic strain follows ė = f(σ, t) with equilibrium as an algebraic condition. The method is the
trapezium to 0.586 of the step and then the second backward difference (R. E. Bank et al., IEEE
Trans. Electron Devices 32, 1985, 1992; M. E. Hosea and L. F. Shampine, Appl. Numer. Math. 20, 1996,
21; both from memory): two implicit stages of one diagonal, γ = 1 − 1/√2, L-stable, of order 2. Its
middle is of order 2 as well, and so is stress where a body flows as fast as it is strained, where
stress is only a viscosity times a rate; a method whose first stage is a backward step (Alexander
1977) is of order 1 there. Yield has no rate: it goes backwards to the middle. The error is
estimated from the second difference of the rates at the start and at both stages, and turned into
stress with the consistent tangent, so that a body which flows freely does not hold the step down.
Where nothing flows one stage is exact, and the step goes from breakpoint to breakpoint.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError
from cofire.mechanics.equilibrium import (
    Equilibrium,
    Factored,
    NoEquilibriumError,
    Origin,
    Structure,
)
from cofire.mechanics.law import Response, inelastic_increments, total_of
from cofire.mechanics.properties import (
    Levels,
    MaterialTable,
    Mechanisms,
    breakpoints,
    material_table,
)
from cofire.numerics import one_thread

if TYPE_CHECKING:
    from cofire.numerics import Array
    from cofire.physics.history import History

_GAMMA = 1.0 - np.sqrt(0.5)
_ONWARD = 0.25 * np.sqrt(2.0) / _GAMMA  # of what the first stage gained, into the second
_DOUBT = np.array([-(np.sqrt(2.0) - 1.0) / 3.0, 1.0 / 3.0, -(2.0 - np.sqrt(2.0)) / 3.0])
_SHORTEST_STEP = 1.0e-9  # over the whole time
_MOST_CUT = 8.0  # of a step between two given times
_BORNE = 0.02  # error of a given step over the stress of the moment, from where it may be cut
_BOWED = 1.0  # of what is borne, by which a straight line may miss the middle
_FLOWING_DEPARTURE = 30.0  # of breakpoints where something flows: there each step's error is known


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
        If given, the step (shortened to land on turns), without error control. [s]
    breakpoint_tolerance
        See `properties.breakpoints`; thirty times this where something flows. [-]
    times
        If given, the ends of all steps after the start, rising, to the end of the history: no
        error control but `borne`. A step that finds no equilibrium is cut. [s]
    borne
        If given, for each of `times` the error that a step may always have; one with more, and with
        more than 2 % of the largest stress of the moment, is cut, to no less than an eighth of what
        lies between two of the times. The middle of a step is recorded too, where a straight line
        between its ends misses it by more than that. [Pa]
    follow
        Change of size, as strain, from which a structure that can follow its own shrinkage does
        so; by default none does. [-]
    reuse
        Change of the tangent at any point up to which the stiffness of a stage before is solved
        for again, where a stage of its own costs more than the iterations it saves. [-]
    compiled
        Whether a shell that is fired alone is marched by compiled code, where there is a compiler:
        for whoever fires many, as it takes most of a second to load. See `shell_march`.
    """

    relative_tolerance: float = 5.0e-3
    stress_tolerance: float = 5.0e3
    imbalance: float = 1.0e-3
    longest_step: float = np.inf
    fixed_step: float | None = None
    breakpoint_tolerance: float = 3.0e-5
    times: tuple[float, ...] | None = None
    borne: tuple[float, ...] | None = None
    follow: float = np.inf
    reuse: float = 0.0
    compiled: bool = False


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
        Total strain, shape (S, C, *points); none if brief. [-]
    stress
        Shape (S, C, *points). [Pa]
    inelastic
        Strain by mechanism (viscous, creep, plastic), shape (S, 3, C, *points); the last alone if
        brief. [-]
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


@one_thread
def march(
    structure: Structure,
    history: History,
    *,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
    levels: Levels | None = None,
    watch: Callable[[Instant], None] | None = None,
    keep: bool = True,
    brief: bool = False,
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
    levels
        In and between the materials of the history, where it is these that the structure's points
        are of.
    watch
        Called at the start and after every accepted step.
    keep
        If False only the last instant is recorded; use `watch` to reduce large batches.
    brief
        Whether to leave total strain out of the record, and of inelastic strain all but that of
        yielding: a solid's would fill hundreds of megabytes.

    Raises
    ------
    InputError
        If the history cannot be used or a material index is not in it.
    UnbalancedError
        If no step however short satisfies equilibrium.
    """
    control = control or Control()
    table = material_table(history, mechanisms).between(levels)
    if levels is None:
        refuse_unknown(structure.material, history)
    equilibrium = Equilibrium(
        structure,
        table,
        control.relative_tolerance,
        control.stress_tolerance,
        control.imbalance,
        added_strain,
        control.follow,
        control.reuse,
    )
    stops = stops_of(history, table, control)
    begun = _begin(equilibrium, stops[0][0])
    kept, errors = [_briefly(begun) if brief else begun], [0.0]
    if watch is not None:
        watch(begun)
    steps = rejected = iterations = 0
    for trial in _accepted_steps(equilibrium, control, begun, stops[1:]):
        if watch is not None:
            watch(trial.instant)
        if not keep:
            kept.clear()
            errors.clear()
        reached = [trial.instant]
        if trial.middle is not None and keep:
            reached.insert(0, trial.middle)
        kept += [_briefly(instant) for instant in reached] if brief else reached
        errors += [trial.error] * len(reached)
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


def _briefly(instant: Instant) -> Instant:
    """Without total strain, and with the inelastic strain of yielding alone."""
    plastic = instant.inelastic[-1:].copy()
    return replace(instant, strain=np.zeros(0), inelastic=plastic)


def refuse_unknown(material: NDArray[np.intp], history: History) -> None:
    """Nothing, where every point is of a material that the history has.

    Parameters
    ----------
    material
        Index at each point, any shape. [-]
    history
        Of the materials.

    Raises
    ------
    InputError
        An index is not in it.
    """
    lowest, highest = int(material.min()), int(material.max())
    if lowest < 0 or highest >= len(history.names):
        message = (
            f"structure: material indices {lowest} to {highest}; "
            f"the history has 0 to {len(history.names) - 1}"
        )
        raise InputError(message)


def no_start(time: float) -> UnbalancedError:
    """What is raised where a body finds no equilibrium at the start.

    Parameters
    ----------
    time
        Of the start. [s]
    """
    message = f"no equilibrium at the start ({time:g} s): mismatch beyond the yield stress"
    return UnbalancedError(message, time)


def no_equilibrium(time: float, step: float) -> UnbalancedError:
    """What is raised where no step however short finds equilibrium.

    Parameters
    ----------
    time
        At the start of the step. [s]
    step
        The last one tried. [s]
    """
    return UnbalancedError(f"no equilibrium at {time:g} s with a step of {step:g} s", time)


def stops_of(history: History, table: MaterialTable, control: Control) -> list[tuple[float, bool]]:
    """Times to land on, the start first, and whether each is a turn of the history.

    Parameters
    ----------
    history
        Of the materials.
    table
        The same, ready to be read.
    control
        Which turns, or which times.
    """
    turns = {0, *history.breakpoints.tolist(), table.time.size - 1}
    if control.times is not None:
        given, start, end = np.array(control.times), table.time[0], table.time[-1]
        if not ((np.diff(given, prepend=start) > 0.0).all() and given[-1] == end):
            message = f"march: times must rise from after {start:g} s and end at {end:g} s"
            raise InputError(message)
        sharp = np.isin(given, table.time[sorted(turns)])
        return [(float(start), True), *zip(given.tolist(), sharp.tolist(), strict=True)]
    marks = turns
    if not control.fixed_step:
        departure = np.where(table.flows_beside(), _FLOWING_DEPARTURE, 1.0)
        marks = {*breakpoints(history, control.breakpoint_tolerance * departure)}
    return [(float(table.time[mark]), mark in turns) for mark in sorted(marks)]


@dataclass(frozen=True)
class _Trial:
    """A step that found equilibrium, to be accepted or not."""

    instant: Instant
    response: Response
    factored: Factored | None
    rates: Array
    error: float
    error_ratio: float
    iterations: int
    rejected: int = 0
    middle: Instant | None = None


def _begin(equilibrium: Equilibrium, time: float) -> Instant:
    """State at the start: no inelastic strain but what yields at once."""
    guess = equilibrium.structure.start()
    inelastic = np.zeros((3, *equilibrium.structure.strains(guess).shape))
    try:
        found = equilibrium.solve(time, 0.0, inelastic[0], guess)
    except NoEquilibriumError:
        raise no_start(time) from None
    inelastic += inelastic_increments(found.response)
    stress = found.response.stress
    return Instant(time, found.unknowns, 0.0 * guess, found.strain, stress, inelastic)


def _accepted_steps(
    equilibrium: Equilibrium, control: Control, now: Instant, stops: list[tuple[float, bool]]
) -> Iterator[_Trial]:
    """Steps of the length the error allows, landing on every stop (time, whether a at_turn)."""
    duration = stops[-1][0] - now.time
    given = control.times is not None
    borne = None if control.borne is None else np.array(control.borne)
    watched = not (control.fixed_step or given)  # errors set the step
    wanted = control.fixed_step or duration / 100.0
    before: _Trial | None = None
    at_turn, rejected = True, 0
    for end, next_corner in stops:
        least, lost = (end - now.time) / _MOST_CUT, False
        while now.time < end:
            still = not rejected and watched
            still = still and _is_still(equilibrium, before, now.time, end)
            free = still or (given and not rejected and not lost)
            step = _next_step(np.inf if free else wanted, end - now.time, control)
            ahead = now.unknowns + 0.5 * step * now.speed
            equilibrium = equilibrium.followed(Origin(now.unknowns, now.strain), ahead)
            try:
                trial = _step(equilibrium, now, step, end, before, at_turn)
            except NoEquilibriumError:
                trial = None
            ratio = 64.0 if trial is None else max(trial.error_ratio, 1.0e-9)
            if trial is not None and borne is not None and control.times is not None:
                limit = float(np.interp(trial.instant.time, control.times, borne))
                of_moment = np.abs([now.stress, trial.instant.stress]).max()
                limit = max(limit, _BORNE * float(of_moment))
                if trial.error > limit and step > least * (1.0 + 1e-9):
                    rejected += 1
                    wanted = max(step * max(0.8 * (limit / trial.error) ** 0.5, 0.25), least)
                    continue
                trial = _with_middle(trial, now, limit)
            lost = lost or trial is None
            factor = min(max(0.8 * ratio ** (-1.0 / 3.0), 0.33), 2.0)
            if trial is None or (ratio > 1.0 and watched):
                rejected += 1
                wanted = factor * step
                if wanted < _SHORTEST_STEP * duration or control.fixed_step:
                    raise no_equilibrium(now.time, step)
                continue
            if lost and given:
                wanted = 2.0 * step
            elif watched and not still:
                wanted = max(step * factor, wanted if factor >= 1.0 else 0.0)
            before, now, at_turn = trial, trial.instant, False
            if borne is None:
                trial = replace(trial, middle=None)
            yield replace(trial, rejected=rejected)
            rejected = 0
        at_turn = next_corner


def _with_middle(trial: _Trial, now: Instant, limit: float) -> _Trial:
    """The step, its middle left out where a straight line between its ends would do."""
    middle, new = trial.middle, trial.instant
    if middle is None:
        return trial
    share = (middle.time - now.time) / (new.time - now.time)
    line = (1.0 - share) * now.stress + share * new.stress
    bowed = float(np.abs(middle.stress - line).max())
    return trial if bowed > _BOWED * limit else replace(trial, middle=None)


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
    at_turn: bool,
) -> _Trial:
    """One step from a state and the step before it."""
    end = stop if now.time + step > stop - 1.0e-9 * step else now.time + step
    reached, factored = total_of(now.inelastic), None if before is None else before.factored
    if _is_still(equilibrium, before, now.time, end):
        guess = now.unknowns + step * now.speed
        one = equilibrium.solve(end, 0.0, reached, guess, factored=factored)
        if not one.response.yields:
            speed = (one.unknowns - now.unknowns) / step
            stress = one.response.stress
            new = Instant(end, one.unknowns, speed, one.strain, stress, now.inelastic)
            still = np.zeros_like(now.inelastic)
            return _Trial(new, one.response, one.factored, still, 0.0, 0.0, one.iterations)
    flow_time, reach = _GAMMA * step, 2.0 * _GAMMA * step
    guess = now.unknowns + reach * now.speed
    near, own_time = None, reach
    if before is not None:  # first half of the trapezium; yield has no rate
        near, own_time = before.response, flow_time
        reached = reached + flow_time * (before.rates[0] + before.rates[1])
    middle = equilibrium.solve(now.time + reach, own_time, reached, guess, near, factored)
    gained = inelastic_increments(middle.response)
    first = gained.copy()
    if before is not None:
        first[:2] += flow_time * before.rates[:2]
    inelastic = now.inelastic + _ONWARD * first
    onward = (step - reach) / reach
    guess = middle.unknowns + onward * (middle.unknowns - now.unknowns)
    strain = None  # that of the guess, where strain is linear because no shape follows
    if equilibrium.follow == np.inf:
        strain = middle.strain + onward * (middle.strain - now.strain)
    last = equilibrium.solve(
        end, flow_time, total_of(inelastic), guess, middle.response, middle.factored, strain
    )
    second = inelastic_increments(last.response)
    rates = second / flow_time
    at_middle = [gained[0] / own_time, gained[1] / own_time, gained[2] / reach]
    at_start = at_middle  # where nothing better is known: at the start, yield at turns
    if before is not None:
        at_start = [*before.rates[:2], at_middle[2] if at_turn else before.rates[2]]
    doubt = np.zeros_like(last.strain)
    for share, at in zip(_DOUBT, (at_start, at_middle, rates), strict=True):
        doubt += (step * share) * total_of(at)
    error = equilibrium.largest(last.response.stress_change(doubt))
    ratio = float((error / equilibrium.allowed(last.response.stress)).max())
    speed = (last.unknowns - middle.unknowns) / (step - reach)
    between = Instant(
        now.time + reach, middle.unknowns, speed, middle.strain, middle.response.stress,
        now.inelastic + first,
    )  # fmt: skip
    stress = last.response.stress
    new = Instant(end, last.unknowns, speed, last.strain, stress, inelastic + second)
    iterations = middle.iterations + last.iterations
    most = float(error.max())
    return _Trial(new, last.response, last.factored, rates, most, ratio, iterations, middle=between)
