"""Ramps, holds and cooling: the shortest firing that keeps every flag at its target.

Burnout follows from the flags that need no stress; peak, hold, ramp and cooling are tried on the
vessel itself, many firings at once. Every choice keeps the flag that forbids the next faster one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.errors import ModelError
from cofire.inputs.cards import Card
from cofire.inputs.firing import Firing, Segment
from cofire.inputs.units import HOUR, MINUTE, celsius, kelvin
from cofire.inputs.vessel import Vessel
from cofire.planning import firing_flags
from cofire.planning.candidates import Bench, batches, fire_candidates
from cofire.planning.flags import GO, Flag
from cofire.planning.layers import load_of
from cofire.planning.pairing import zone_set_points
from cofire.planning.peaks import Top, pure_parts, tops
from cofire.planning.verdict import Verdict
from cofire.planning.workers import in_pairs

DRY = Segment(kelvin(110.0), 60.0 / HOUR, 60.0 * MINUTE)
"""Last water of the paste leaves below the boiling of pores: common practice."""
BURNOUT_RATES = tuple(rate / HOUR for rate in (250.0, 150.0, 100.0, 60.0, 40.0, 25.0))
BURNOUT_END = kelvin(550.0)
BURNOUT_HOLD = 30.0 * MINUTE
RAMPS = tuple(rate / HOUR for rate in (300.0, 200.0, 150.0, 100.0, 60.0))
COOLINGS = tuple(rate / HOUR for rate in (np.inf, 100.0, 60.0, 30.0, 15.0))
USUAL = 2
"""Index of the usual ramp and cooling. [-]"""
SLOW_ABOVE, SLOW_BELOW = 60.0, 80.0
"""The slow zone reaches this far above the higher set point and below the lower one. [K]"""
PAST_INVERSION = 30.0
"""Slow cooling goes on this far below an inversion. [K]"""
OTHERS = ("drying", "atmosphere")
"""Rules that no schedule changes: they see the pastes and the gas."""
TIE = 1.01
"""Where no firing keeps every flag: loads within this of the least count as equal. [-]"""
ROUNDS = 3
"""Of the search, each around the best so far. [-]"""


@dataclass(frozen=True)
class Setting:
    """A firing by its choices: which top, which ramp, which cooling (indices). [-]"""

    top: int
    ramp: int
    cooling: int


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
    load
        Largest share of a limit used up in the search's own coarse check, over the flags that
        a schedule can change. [-]
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
    """

    firing: Firing
    choices: tuple[Choice, ...]
    load: float
    hours: float
    tried: int
    setting: Setting
    reached: bool
    finished: bool = True


@dataclass(frozen=True)
class Fired:
    """What one setting scored: the flags a schedule can change, and its length. [s]"""

    setting: Setting
    flags: tuple[Flag, ...]
    load: float
    length: float

    @property
    def good(self) -> bool:
        """Whether every flag is at its target."""
        return all(flag.grade == GO for flag in self.flags)


@dataclass(frozen=True)
class Frame:
    """What all settings of one search have in common.

    Attributes
    ----------
    burnout, burnout_reason
        The segment that burns the binder out, and why it is no faster.
    tops
        From the coolest peak to the hottest.
    slow_from, slow_to
        Where cooling may be slowed. [K]
    slow_reason
        What lies between.
    """

    firing: Firing
    burnout: Segment
    burnout_reason: str
    tops: tuple[Top, ...]
    slow_from: float
    slow_to: float
    slow_reason: str

    def segments(self, setting: Setting) -> list[Segment]:
        """Segments of a setting; free cooling is spelt out too, so that all have as many.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        top = self.tops[setting.top]
        return [
            DRY,
            self.burnout,
            Segment(top.peak, RAMPS[setting.ramp], top.hold),
            Segment(self.slow_from, np.inf),
            Segment(self.slow_to, COOLINGS[setting.cooling]),
        ]

    def fired(self, setting: Setting) -> Firing:
        """The firing of a setting.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        return replace(self.firing, name="proposed", segments=tuple(self.segments(setting)))


def frame(vessel: Vessel, cards: Mapping[str, Card]) -> Frame:
    """Burnout, tops and the slow zone of cooling, which need no stress.

    Parameters
    ----------
    vessel : Vessel
        With its bands, kiln, gas and lag.
    cards : mapping
        Materials by name.

    Returns
    -------
    Frame
        Ready for settings.

    Raises
    ------
    ModelError
        The zones share no window.
    """
    found = tuple(tops(vessel, cards))
    pure = pure_parts(vessel, cards)
    middle = found[len(found) // 2]
    rest = Segment(middle.peak, RAMPS[USUAL], middle.hold)
    bench = Bench({card.name: card for card in pure}, extend=True)
    burnout, reason, firing = _burnout(vessel, bench, pure, rest)
    history = bench.history(firing, pure)
    sets, _ = zone_set_points(history)
    coolest = min(top.peak for top in found)
    high = min(float(sets.max()) + SLOW_ABOVE, coolest - 5.0)
    low = max(float(sets.min()) - SLOW_BELOW, kelvin(60.0))
    inversions = {
        change.name: change.on_cooling - PAST_INVERSION
        for card in pure
        for change in card.inversions
        if change.on_cooling < high
    }
    past = "the set points"
    for name, level in inversions.items():
        if level < low:
            low, past = max(level, kelvin(60.0)), f"the set points and the {name}"
    return Frame(vessel.firing, burnout, reason, found, max(high, low + 5.0), low, past)


def _burnout(
    vessel: Vessel, bench: Bench, pure: Sequence[Card], rest: Segment
) -> tuple[Segment, str, Firing]:
    """Fastest burnout ramp that the flags of binder and char allow, why, and the firing."""
    forbidden: Flag | None = None
    faster = ""
    for rate in BURNOUT_RATES:
        segment = Segment(min(BURNOUT_END, rest.target - 5.0), rate, BURNOUT_HOLD)
        firing = replace(vessel.firing, segments=(DRY, segment, rest))
        history = bench.history(firing, pure)
        flags = firing_flags.burnout_of(history, pure, float(vessel.wall.max()))
        flags += firing_flags.core_of(history, pure)
        worst = max(flags, key=load_of)
        if worst.grade == GO:
            break
        forbidden, faster = worst, f"{rate * HOUR:.0f} °C/h"
    if forbidden is None:
        return segment, "burnout: as fast as was tried", firing
    reason = (
        f"{forbidden.rule} of {forbidden.zone}: {faster} would use up {forbidden.load:.2g} of its "
        f"limit, go is up to {forbidden.caution:.2g}"
    )
    return segment, reason, firing


def propose_schedule(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    progress: Callable[[int], None] | None = None,
    bench: Bench | None = None,
    start: Setting | None = None,
    whole: Frame | None = None,
) -> Schedule:
    """The shortest firing of this vessel that keeps every flag at its target, or comes nearest.

    Deterministic. An interrupt ends the search with what it has.

    Parameters
    ----------
    vessel : Vessel
        With its bands, kiln, gas and lag; the segments of its firing are replaced.
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

    Returns
    -------
    Schedule
        Segments within what the kiln can do, never above a zone's limit.

    Raises
    ------
    ModelError
        The zones share no window.
    """
    bench = bench or Bench(cards, extend)
    whole = whole or frame(vessel, cards)
    done: dict[Setting, Fired] = {}
    finished = True
    if start is None:
        candidates = [
            Setting(top, ramp, USUAL)
            for top in range(len(whole.tops))
            for ramp in range(0, len(RAMPS), USUAL)
        ]
    else:
        candidates = near(start, whole)
    try:
        for _ in range(ROUNDS if start is None else 1):
            new = [s for s in candidates if s not in done]
            if not new:
                break
            for result in try_firings(bench, vessel, whole, new):
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
    best = shortest(done.values())
    choices = _choices(whole, best, done)
    firing = replace(
        vessel.firing, name="proposed", segments=tuple(choice.segment for choice in choices)
    )
    return Schedule(
        firing, choices, best.load, best.length / HOUR, len(done), best.setting, best.good,
        finished,
    )  # fmt: skip


def near(setting: Setting, whole: Frame) -> list[Setting]:
    """A setting and those one step away in one choice.

    Parameters
    ----------
    setting : Setting
        The middle.
    whole : Frame
        With its tops.

    Returns
    -------
    list of Setting
        Within the tables of choices.
    """
    sizes = {"top": len(whole.tops), "ramp": len(RAMPS), "cooling": len(COOLINGS)}
    found = [replace(setting, top=min(setting.top, sizes["top"] - 1))]
    for name, size in sizes.items():
        for step in (-1, 1):
            index = getattr(found[0], name) + step
            if 0 <= index < size:
                found.append(replace(found[0], **{name: index}))
    return found


def try_firings(
    bench: Bench, vessel: Vessel, whole: Frame, settings: Sequence[Setting]
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

    Yields
    ------
    Fired
        One a setting that finds its equilibrium, in order.

    Raises
    ------
    ModelError
        None of them does.
    """

    def work(some: Sequence[Setting]) -> list[Fired | ModelError]:
        vessels = [replace(vessel, firing=whole.fired(setting)) for setting in some]
        return [
            r if isinstance(r, ModelError) else _scored(s, bench.judge(r), float(r.trace.time[-1]))
            for s, r in zip(some, fire_candidates(bench, vessels), strict=True)
        ]

    lost: ModelError | None = None
    found = 0
    for results in in_pairs(work, batches(settings)):
        for result in results:
            if isinstance(result, ModelError):
                lost = result
                continue
            found += 1
            yield result
    if lost is not None and found == 0:
        raise lost


def _scored(setting: Setting, verdict: Verdict, length: float) -> Fired:
    flags = tuple(flag for flag in verdict.flags if flag.rule not in OTHERS)
    return Fired(setting, flags, max(map(load_of, flags)), length)


def shortest(fired: Iterable[Fired]) -> Fired:
    """The shortest of those whose flags are all go; else of those within the tie of the least load.

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
    good = [f for f in some if f.good]
    if not good:
        least = min(f.load for f in some)
        good = [f for f in some if f.load <= TIE * least]
    return min(good, key=lambda f: (f.length, f.load))


def _choices(whole: Frame, best: Fired, done: Mapping[Setting, Fired]) -> tuple[Choice, ...]:
    """Segments of the best setting with their reasons; free cooling needs none."""
    setting = best.setting
    _, burnout, ramp, down, slow = whole.segments(setting)
    top = whole.tops[setting.top]
    hold = f"hold: shorter would leave {top.asks} porous" if top.asks else "hold: the shortest"
    reasons = [
        "ramp: " + _against(best, done.get(replace(setting, ramp=setting.ramp - 1)), "faster"),
        "peak: " + _peak_reason(whole, best, done),
        hold,
    ]
    found = [
        Choice(DRY, "common practice, no flag sees it: the last water leaves without steam"),
        Choice(burnout, whole.burnout_reason),
        Choice(ramp, "; ".join(reasons)),
    ]
    if np.isfinite(slow.rate):
        quicker = done.get(replace(setting, cooling=setting.cooling - 1))
        found += [
            Choice(down, "no flag: both zones still flow, as fast as the kiln cools"),
            Choice(slow, f"past {whole.slow_reason}: " + _against(best, quicker, "faster")),
        ]
    return tuple(found)


def _peak_reason(whole: Frame, best: Fired, done: Mapping[Setting, Fired]) -> str:
    """Why neither a cooler nor a hotter peak."""
    at = best.setting.top
    told = []
    for other, word in ((at - 1, "cooler"), (at + 1, "hotter")):
        fired = done.get(replace(best.setting, top=other))
        if fired is not None:
            told.append(_against(best, fired, f"{celsius(whole.tops[other].peak):.0f} °C"))
        elif not 0 <= other < len(whole.tops):
            told.append(f"{word} is outside what both zones allow")
    return ", ".join(dict.fromkeys(told)) or "the only one tried"


def _against(best: Fired, other: Fired | None, what: str) -> str:
    """What another firing would do: the flag that forbids it, or only its length."""
    if other is None:
        return "as fast as was tried"
    if best.good and not other.good:
        worse = max((f for f in other.flags if f.grade > GO), key=load_of)
    else:
        now = {(f.rule, f.zone): load_of(f) for f in best.flags}
        worse = max(other.flags, key=lambda f: load_of(f) - now.get((f.rule, f.zone), load_of(f)))
        if other.load <= best.load:
            more = (other.length - best.length) / HOUR
            return f"{what} takes {more:.1f} h longer and no flag needs it"
    before = {(f.rule, f.zone): load_of(f) for f in best.flags}
    return (
        f"{what} would bring {worse.rule} of {worse.zone} from "
        f"{before.get((worse.rule, worse.zone), 0.0):.2g} to {load_of(worse):.2g} of its limit"
    )
