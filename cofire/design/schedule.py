"""Ramps, holds and cooling: the shortest firing that keeps every flag at its target.

Burnout follows from the flags that need no stress; peak, hold, ramp and cooling are tried on the
vessel itself, many firings at once. Every choice keeps the flag that forbids the next faster one.
Where it is known what samples do to the vessel, the chance that it is kept leads instead, as each
firing foretells it, and of firings that keep as many the shortest is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np

from cofire.assessment.rule import FIRING, GO, NO, Flag
from cofire.assessment.verdict import Verdict, rule_of
from cofire.design.candidates import Bench, batches, fire_candidates
from cofire.design.firings import (
    COOLINGS,
    TIE,
    USUAL_RATE,
    Frame,
    Setting,
    frame,
    near,
    too_late_line,
    with_segments_spared,
)
from cofire.design.objective import Outcome, Swing, foretold
from cofire.design.programme import (
    BURNING,
    CLOSING,
    DOWN,
    DRYING,
    LITTLE_SLOWER,
    SLOW,
    SOAK,
    Part,
    behind_words,
    merged_words,
)
from cofire.errors import ModelError
from cofire.firing.controller import changes_at, degrees
from cofire.firing.kiln import trace
from cofire.firing.program import Firing, Segment
from cofire.materials.card import Card
from cofire.units import HOUR, MINUTE
from cofire.vessel import Vessel
from cofire.workers import each

ROUNDS = 3
"""Of the search, each around the best so far. [-]"""
TELLS = 0.3
"""Utilisation below which a flag that rises is not what a slower or faster firing fails by. [-]"""
DAY = 0.02
"""Of an outcome's cost, what a firing that is a day longer must gain: two pots in a hundred, our
choice. [-]"""
FIRST = ((0, 0), (USUAL_RATE, 0), (2 * USUAL_RATE, 0), (USUAL_RATE, 2))
"""Ramps and holds with which every soak is tried first (indices). [-]"""
GO_IS_WORTH = 0.05
"""Of the chance that the pot is kept: a firing that keeps every flag at its target is proposed
unless another keeps so much more; as for a change of paste, our choice. [-]"""
RISES = 1.05
"""Factor from which a flag is named as what another firing does worse: our choice. [-]"""


@dataclass(frozen=True)
class Choice:
    """One segment of the schedule, and the flag that forbids a faster one.

    Attributes
    ----------
    segment
        As the kiln is told.
    reason
        One sentence for the sheet.
    """

    segment: Segment
    reason: str


@dataclass(frozen=True)
class Schedule:
    """A proposed firing.

    Attributes
    ----------
    choices
        Its segments with their reasons.
    utilisation
        Largest share of a limit used up in the search's own coarse check, over the flags that
        a schedule can change. [-]
    overall
        The same over all flags. [-]
    hours
        Until the ware is cold. [h]
    tried
        How many firings were tried on the vessel. [-]
    setting
        Where a further search starts.
    reached
        Whether it keeps every flag at its target.
    finished
        False where the search was interrupted.
    outcome
        What it is foretold to come to; None where it is not known what samples do.
    """

    firing: Firing
    choices: tuple[Choice, ...]
    utilisation: float
    overall: float
    hours: float
    tried: int
    setting: Setting
    reached: bool
    finished: bool = True
    outcome: Outcome | None = None


@dataclass(frozen=True)
class Fired:
    """What one setting scored.

    Attributes
    ----------
    flags, utilisation
        Those a schedule can change, and the largest of their utilisations. [-]
    overall
        Largest utilisation of all flags. [-]
    length
        Until the ware is cold. [s]
    outcome
        What it is foretold to come to; None where it is not known what samples do.
    """

    setting: Setting
    flags: tuple[Flag, ...]
    utilisation: float
    overall: float
    length: float
    outcome: Outcome | None = None

    @property
    def good(self) -> bool:
        """Whether every flag is at its target."""
        return all(flag.grade == GO for flag in self.flags)


def propose_schedule(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    progress: Callable[[int], None] | None = None,
    bench: Bench | None = None,
    start: Setting | None = None,
    whole: Frame | None = None,
    executor: Executor | None = None,
    swings: Sequence[Swing] = (),
) -> Schedule:
    """The shortest firing of this vessel that keeps every flag at its target, or comes nearest.

    Deterministic. An interrupt ends the search with what it has.

    Parameters
    ----------
    vessel : Vessel
        With its bands, kiln, gas and lag; the segments of its firing are replaced, and keep the
        gases (see `cofire.design.firings.packing`).
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    progress : callable, optional
        Is told how many firings have been tried.
    bench : Bench, optional
        What is known already.
    start : Setting, optional
        From an earlier search of a like vessel: only what lies near it is tried.
    whole : Frame, optional
        From `frame`, where it is known already.
    executor : Executor, optional
        Who fires (see `cofire.workers`), where no bench says so.
    swings : sequence of Swing, optional
        What samples do to this vessel in a firing of its own; the chance leads then.

    Returns
    -------
    Schedule
        Segments within what the kiln can do, never above a zone's limit.

    Raises
    ------
    InputError
        A change of gas that a search does not keep.
    ModelError
        The zones share no window.
    """
    bench = bench or Bench(cards, extend, executor=executor)
    whole = whole or frame(vessel, cards, extend)
    done: dict[Setting, Fired] = {}
    finished = True
    if start is None:
        candidates = [
            Setting(soak, ramp, USUAL_RATE, longer)
            for soak in range(len(whole.soaks))
            for ramp, longer in FIRST
        ]
        if not any(map(whole.in_time, candidates)):  # drying and burnout, joined, may take too long
            candidates = with_segments_spared(candidates, whole)
    else:
        candidates = near(start, whole)
    try:
        for _ in range(ROUNDS):
            new = [s for s in candidates if s not in done and whole.in_time(s)]
            if not new:
                break
            for result in try_firings(bench, vessel, whole, new, swings):
                done[result.setting] = result
                if progress:
                    progress(len(done))
            best = shortest(done.values())
            candidates = near(best.setting, whole)
            if start is None and len(done) == len(new):
                candidates += [replace(best.setting, cooling=k) for k in range(len(COOLINGS))]
    except KeyboardInterrupt:
        finished = False
        if not done:
            raise
    if not done:
        raise ModelError(f"{vessel.name}: {too_late_words(whole, candidates)}")
    best = shortest(done.values())
    choices = _choices(whole, best, done)
    firing = replace(
        vessel.firing, name="proposed", segments=tuple(choice.segment for choice in choices)
    )
    return Schedule(
        firing, choices, best.utilisation, best.overall, best.length / HOUR, len(done),
        best.setting, best.good, finished, best.outcome,
    )  # fmt: skip


def too_late_words(whole: Frame, settings: Sequence[Setting]) -> str:
    """How much later someone would have to be there, where the gas of no firing changes in time.

    Parameters
    ----------
    whole : Frame
        With its firing.
    settings : sequence of Setting
        None of them in time.

    Returns
    -------
    str
        Without a full stop.
    """
    firings = [whole.fired(setting) for setting in settings]
    soonest = min(max(changes_at(firing, trace(firing))) for firing in firings)
    return too_late_line(whole.firing.latest, soonest)


def try_firings(
    bench: Bench,
    vessel: Vessel,
    whole: Frame,
    settings: Sequence[Setting],
    swings: Sequence[Swing] = (),
) -> Iterator[Fired]:
    """Fire a vessel in many ways and judge it.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        The vessel.
    whole : Frame
        What the firings have in common.
    settings : sequence of Setting
        The firings.
    swings : sequence of Swing, optional
        What samples do to it.

    Yields
    ------
    Fired
        One a setting that finds its equilibrium, in order.

    Raises
    ------
    ModelError
        None of them does.
    """
    lost: ModelError | None = None
    found = 0
    jobs = [(bench, vessel, whole, some, swings) for some in batches(settings)]
    for results in each(_try, jobs, bench.executor):
        for result in results:
            if isinstance(result, ModelError):
                lost = result
                continue
            found += 1
            yield result
    if lost is not None and found == 0:
        raise lost


def _try(
    job: tuple[Bench, Vessel, Frame, Sequence[Setting], Sequence[Swing]],
) -> list[Fired | ModelError]:
    """One batch of firings, from anywhere."""
    bench, vessel, whole, some, swings = job
    vessels = [replace(vessel, firing=whole.fired(setting)) for setting in some]
    return [
        r
        if isinstance(r, ModelError)
        else _scored(s, bench.judge(r), float(r.trace.time[-1]), swings)
        for s, r in zip(some, fire_candidates(bench, vessels), strict=True)
    ]


def _scored(setting: Setting, verdict: Verdict, length: float, swings: Sequence[Swing]) -> Fired:
    flags = tuple(flag for flag in verdict.flags if FIRING in rule_of(flag).sees)
    overall = verdict.utilisation
    outcome: Outcome | None = None
    if swings:
        bare = Outcome(verdict.flags, overall, np.empty(0), np.empty(0))
        outcome = foretold(bare, swings)
    return Fired(setting, flags, max(flag.counted for flag in flags), overall, length, outcome)


def shortest(fired: Iterable[Fired]) -> Fired:
    """The shortest of those whose flags are all go; else of those that tie for least utilisation.

    Where outcomes are foretold, the one of least cost, its length counted in; of those whose flags
    are all go, if one of them keeps about as many pots as any.

    Parameters
    ----------
    fired : iterable of Fired
        At least one.

    Returns
    -------
    Fired
        The one to propose.
    """
    some = list(fired)
    known = [(f, f.outcome) for f in some if f.outcome is not None]
    if len(known) == len(some):
        most = max(outcome.chance for _, outcome in known)
        sure = [f for f, outcome in known if f.good and outcome.chance >= most - GO_IS_WORTH]
        return min(sure or some, key=lambda f: (_dear(f), f.length))
    good = [f for f in some if f.good]
    if not good:
        least = min(f.utilisation for f in some)
        good = [f for f in some if f.utilisation <= TIE * least]
    return min(good, key=lambda f: (f.length, f.utilisation))


def _dear(fired: Fired) -> float:
    """Cost of what a firing is foretold to come to, and of its length. [-]"""
    assert fired.outcome is not None
    return fired.outcome.cost + DAY * fired.length / (24.0 * HOUR)


def _choices(whole: Frame, best: Fired, done: Mapping[Setting, Fired]) -> tuple[Choice, ...]:
    """Segments of the best setting as the kiln can follow them, with their reasons."""
    setting, enough = best.setting, TIE * min(fired.utilisation for fired in done.values())
    soak = whole.soaks[setting.soak]
    hold = (
        f"shorter would leave {soak.asks} porous (density)"
        if soak.asks
        else "until the ware has come up to the kiln"
    )
    if setting.longer:
        shorter = f"{soak.lasting(setting.longer - 1) / MINUTE:.0f} min"
        hold = against(best, _stepped(best, done, "longer", -1), shorter, enough)
    faster = against(best, _stepped(best, done, "ramp", -1), "faster", enough)
    quicker = against(best, _stepped(best, done, "cooling", -1), "faster", enough)
    ways = {  # why a segment is no faster
        DRYING: "common practice: the last water leaves without steam",
        BURNING: whole.burnout_reason,
        CLOSING: "as given: cold before the gas changes",
        SOAK: "ramp: " + faster,
        DOWN: "both zones still flow: as fast as the kiln cools",
        SLOW: f"past {whole.slow_reason}: {quicker}",
    }
    peak = f"peak: {_peak_reason(whole, best, done, enough)}; hold: {hold}"
    kiln = whole.firing.kiln
    told = [
        (part, (_why(part, ways, whole), behind_words(kiln, part), peak if _soaks(part) else ""))
        for part in whole.told(setting)
    ]
    return tuple(Choice(part.segment, "; ".join(filter(None, some))) for part, some in told)


def _soaks(part: Part) -> bool:
    """Whether a segment ends in the soak."""
    return part.last and part.stages[-1] == SOAK


def _why(part: Part, ways: Mapping[str, str], whole: Frame) -> str:
    """Why a segment is no faster, or goes as one with its neighbour."""
    controller = whole.firing.kiln.controller
    if merged := merged_words(part, controller.segments):
        return merged
    way = ways[part.stages[0]]
    if part.segment.rate == part.wished:
        return way
    if LITTLE_SLOWER * part.wished <= part.segment.rate < part.wished:
        return f"{way}; a little slower still, which the kiln keeps up to its end"
    named = "ramp: " * way.startswith("ramp: ")
    if part.wished < np.inf:
        return f"{named}as fast as the kiln can, which is slower"
    return "as fast as the kiln keeps up with: its controller takes numbers only"


def _peak_reason(whole: Frame, best: Fired, done: Mapping[Setting, Fired], enough: float) -> str:
    """Why neither a cooler nor a hotter peak."""
    at = best.setting.soak
    told = []
    for other, word in ((at - 1, "cooler"), (at + 1, "hotter")):
        fired = _stepped(best, done, "soak", other - at)
        if fired is not None:
            peak = degrees(whole.firing.kiln.controller, whole.soaks[other].peak)
            told.append(against(best, fired, peak, enough))
        elif not 0 <= other < len(whole.soaks):
            told.append(f"{word} is outside what both zones allow")
    return ", ".join(dict.fromkeys(told)) or "the only one tried"


def _stepped(best: Fired, done: Mapping[Setting, Fired], choice: str, step: int) -> Fired | None:
    """The setting one step away in one choice; else the best that was tried with that choice."""
    index = getattr(best.setting, choice) + step
    exact = replace(best.setting, **{choice: index})
    if exact in done:
        return done[exact]
    others = [fired for setting, fired in done.items() if getattr(setting, choice) == index]
    return min(others, key=lambda fired: fired.utilisation, default=None)


def against(best: Fired, other: Fired | None, what: str, enough: float) -> str:
    """What another firing would do: the flag that forbids it, or only its length.

    Parameters
    ----------
    best, other : Fired
        The proposed one and another, None where there is none.
    what : str
        What is other about it.
    enough : float
        Utilisation up to which a firing counts where none keeps every flag. [-]

    Returns
    -------
    str
        Without a full stop.
    """
    if other is None:
        return "as fast as was tried"
    if best.outcome is not None and other.outcome is not None:
        fewer = round(100.0 * (best.outcome.chance - other.outcome.chance))
        if fewer > 0:
            return f"{what} would keep {fewer} in a hundred pots fewer{_by(best, other)}"
        if best.good and not other.good:
            worse = max((f for f in other.flags if f.grade > GO), key=attrgetter("counted"))
            return f"{what} would no longer be a go ({worse.rule} of {worse.zone})"
        worse_off = best.outcome.good - other.outcome.good
        if round(100.0 * worse_off) > 0:
            return f"{what} would leave fewer of them all well{_by(best, other)}"
        kept = "more" if fewer < 0 else "about as many"
        return f"{what} would keep {kept}, and is {_longer(best, other)}"
    if other.good if best.good else other.utilisation <= enough:
        return (
            f"nothing forbids it, but {what} is {(other.length - best.length) / HOUR:.1f} h longer"
        )
    forbidding = [flag for flag in other.flags if flag.grade > GO or not best.good]
    worse = max(forbidding, key=attrgetter("counted"))
    before, after = told_apart(_counted_in(best, worse), worse.counted)
    found = f"{what} would bring {worse.rule} of {worse.zone} from {before} to {after} of its limit"
    near = GO < worse.grade < NO and worse.utilisation >= worse.caution
    return f"{found}, a caution from {worse.caution:.2g} on" if near else found


def _longer(best: Fired, other: Fired) -> str:
    """By how much another firing is longer, in words."""
    more = (other.length - best.length) / HOUR
    if not round(abs(more), 1):
        return "as long"
    return f"{abs(more):.1f} h {'longer' if more > 0 else 'shorter'}"


def _by(best: Fired, other: Fired) -> str:
    """The flag that rises most where another firing does worse, in brackets; empty without one."""
    now = {id(f): max(_counted_in(best, f), TELLS) for f in other.flags}
    rising = [f for f in other.flags if f.counted > RISES * now[id(f)]]
    if not rising:
        return ""
    worse = max(rising, key=lambda f: f.counted / now[id(f)])
    before, after = told_apart(_counted_in(best, worse), worse.counted)
    return f" ({worse.rule} of {worse.zone} from {before} to {after} of its limit)"


def _counted_in(fired: Fired, flag: Flag) -> float:
    """What a flag of another firing counts in this one; another zone's where it has not that one.

    A paste's way through the nozzle is cut into blends by what each firing makes of them. Where a
    zone has several flags of the rule, as of a liquid in each gas, the worst of them counts.
    """
    own: dict[str, float] = {}
    for f in fired.flags:
        if f.rule == flag.rule:
            own[f.zone] = max(own.get(f.zone, 0.0), f.counted)
    return own.get(flag.zone, max(own.values(), default=0.0))


def told_apart(before: float, after: float) -> tuple[str, str]:
    """Two shares of a limit in as many digits as tell them apart, two at least.

    Parameters
    ----------
    before, after : float
        [-]

    Returns
    -------
    tuple of str
        Alike only where four digits do not tell them apart.

    Examples
    --------
    >>> told_apart(1.601, 1.634), told_apart(0.0, 0.63)
    (('1.60', '1.63'), ('0', '0.63'))
    """
    if f"{before:.2g}" != f"{after:.2g}":
        return f"{before:.2g}", f"{after:.2g}"
    for digits in (3, 4):
        one, other = f"{before:#.{digits}g}", f"{after:#.{digits}g}"
        if one != other:
            break
    return one, other
