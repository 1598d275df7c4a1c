"""Ramps, holds and cooling: the shortest firing that keeps every flag at its target.

Segments are settled from cold to cold. Peak and hold follow from the window both zones share,
burnout from the flags that need no stress; the ramp to the peak and the cooling are tried on the
vessel itself. Every choice keeps the flag that forbids the next faster one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.errors import InputError, ModelError
from cofire.inputs.cards import Card
from cofire.inputs.firing import Firing, Segment
from cofire.inputs.trace import trace
from cofire.inputs.units import HOUR, MINUTE, celsius, kelvin
from cofire.inputs.vessel import Vessel
from cofire.physics.blends import find_material
from cofire.physics.history import histories
from cofire.planning import firing_flags
from cofire.planning.flags import GO, Flag
from cofire.planning.layers import COARSE, COARSE_FINENESS
from cofire.planning.pairing import zone_set_points
from cofire.planning.response import Response, fire_vessel
from cofire.planning.verdict import Verdict, judge
from cofire.planning.windows import firing_windows, shared_window

DRY = Segment(kelvin(110.0), 60.0 / HOUR, 60.0 * MINUTE)
"""Last water of the paste leaves below the boiling of pores: common practice."""
BURNOUT_RATES = tuple(rate / HOUR for rate in (250.0, 150.0, 100.0, 60.0, 40.0, 25.0))
BURNOUT_END = kelvin(550.0)
BURNOUT_HOLD = 30.0 * MINUTE
RAMPS = tuple(rate / HOUR for rate in (300.0, 200.0, 150.0, 100.0, 60.0))
COOLINGS = tuple(rate / HOUR for rate in (np.inf, 100.0, 60.0, 30.0, 15.0))
SLOW_ABOVE, SLOW_BELOW = 60.0, 80.0
"""The slow zone reaches this far above the higher set point and below the lower one. [K]"""
TIE = 1.01


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
        Largest share of a limit used up in the search's own coarse check. [-]
    hours
        Until the ware is cold. [h]
    tried
        How many firings were tried on the vessel. [-]
    """

    firing: Firing
    choices: tuple[Choice, ...]
    load: float
    hours: float
    tried: int


def _worst(flags: Sequence[Flag]) -> Flag | None:
    bad = [f for f in flags if f.grade > GO]
    return max(bad, key=lambda f: 2.0 if f.load != f.load else f.load, default=None)


def _why(flag: Flag | None, faster: str) -> str:
    if flag is None:
        return "as fast as is usual"
    return f"{faster} would bring {flag.rule} of {flag.zone} to {flag.load:.2g} of its limit"


def peak_and_hold(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[float, float]:
    """Peak of the kiln and its hold at the middle of the window that all zones share.

    Parameters
    ----------
    vessel : Vessel
        Its bands and kiln.
    cards : mapping
        Materials by name.

    Returns
    -------
    tuple of float
        Peak [K] and hold [s]; the hold is lengthened by four lags, so that the ware has its own.

    Raises
    ------
    ModelError
        The zones share no window below the kiln's limit.
    """
    known = dict(cards)
    chosen = [find_material(b.material, known) for b in vessel.bands]
    pure = {p.name: p for c in chosen for p in ([q for q, _ in c.parts] or [c])}
    parts = list(pure.values())
    kiln = vessel.firing.kiln
    windows = firing_windows(parts, kiln)
    if len(parts) == 1:
        parts, windows = parts * 2, firing_windows(parts * 2, kiln)
    if len(parts) > 2:
        raise InputError(
            f"{vessel.name}: a schedule is proposed for two materials and their blends; the bands "
            f"hold {len(parts)}"
        )
    shared = shared_window(windows, 0, 1, kiln.max_temperature)
    if shared is None:
        raise ModelError(
            f"{vessel.name}: {parts[0].name} and {parts[1].name} share no window of peak and hold "
            f"in the {kiln.name}; see cofire screen --all"
        )
    return shared.peak, shared.hold + 4.0 * vessel.firing.lag


def _with(firing: Firing, segments: Sequence[Segment]) -> Firing:
    return replace(firing, name="proposed", segments=tuple(segments))


def _burnout(vessel: Vessel, cards: Mapping[str, Card], rest: Segment) -> tuple[Segment, str]:
    """Fastest burnout ramp that the flags of binder and char allow, and why."""
    known = dict(cards)
    chosen = [find_material(b.material, known) for b in vessel.bands]
    pure = {p.name: p for c in chosen for p in ([q for q, _ in c.parts] or [c])}
    forbidden: Flag | None = None
    faster = ""
    segment = Segment(BURNOUT_END, BURNOUT_RATES[-1], BURNOUT_HOLD)
    for rate in BURNOUT_RATES:
        segment = Segment(min(BURNOUT_END, rest.target), rate, BURNOUT_HOLD)
        firing = _with(vessel.firing, [DRY, segment, rest])
        curve = trace(firing)
        history = histories(list(pure.values()), curve, extend=True)
        flags = firing_flags.burnout_of(
            history, list(pure.values()), float(vessel.wall.max())
        ) + firing_flags.core_of(history, list(pure.values()))
        worst = _worst(flags)
        if worst is None:
            break
        forbidden, faster = worst, f"{rate * HOUR:.0f} °C/h"
    return segment, _why(forbidden, faster)


def propose_schedule(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Schedule:
    """The shortest firing of this vessel that keeps every flag at its target, or comes nearest.

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

    Returns
    -------
    Schedule
        Segments within what the kiln can do, never above a zone's limit.

    Raises
    ------
    ModelError
        The zones share no window.
    """
    peak, hold = peak_and_hold(vessel, cards)
    top = Segment(peak, RAMPS[2], hold)
    burnout, burnout_why = _burnout(vessel, cards, top)
    tried = 0

    def judged(segments: Sequence[Segment]) -> tuple[Response, Verdict]:
        nonlocal tried
        candidate = replace(vessel, firing=_with(vessel.firing, segments))
        response = fire_vessel(
            candidate, cards, extend=extend, control=COARSE, fineness=COARSE_FINENESS
        )
        tried += 1
        if progress:
            progress(tried)
        return response, judge(response)

    best: tuple[float, float, Segment, Response, Verdict] | None = None
    results = []
    for ramp in RAMPS:
        segment = replace(top, rate=ramp)
        response, verdict = judged([DRY, burnout, segment])
        results.append((verdict.load, float(response.trace.time[-1]), segment, response, verdict))
    best = _shortest(results)
    ramp_why = _reason(results, best, "a ramp of")
    response = best[3]
    sets, _ = zone_set_points(response.history)
    high = min(float(sets.max()) + SLOW_ABOVE, peak - 5.0)
    low = max(float(sets.min()) - SLOW_BELOW, kelvin(60.0))
    cooled = [(best[0], best[1], Segment(low, np.inf), response, best[4])]
    for rate in COOLINGS[1:]:
        slow = Segment(low, rate)
        response, verdict = judged([DRY, burnout, best[2], Segment(high, np.inf), slow])
        cooled.append((verdict.load, float(response.trace.time[-1]), slow, response, verdict))
    chosen = _shortest(cooled)
    cool_why = _reason(cooled, chosen, "cooling at")
    choices = [
        Choice(DRY, "the last water leaves without steam"),
        Choice(burnout, burnout_why),
        Choice(best[2], ramp_why),
    ]
    segments = [DRY, burnout, best[2]]
    if np.isfinite(chosen[2].rate):
        gap = f"from {celsius(high):.0f} to {celsius(low):.0f} °C"
        down = Segment(high, np.inf)
        choices += [
            Choice(down, "both zones still flow; as the kiln cools"),
            Choice(chosen[2], f"slow {gap}: {cool_why}"),
        ]
        segments += [down, chosen[2]]
    firing = _with(vessel.firing, segments)
    return Schedule(firing, tuple(choices), chosen[0], chosen[1] / HOUR, tried)


_Result = tuple[float, float, Segment, Response, Verdict]


def _shortest(results: Sequence[_Result]) -> _Result:
    """Shortest of those whose flags are all go; else of those within the tie of the least load."""
    good = [r for r in results if r[4].grade == GO]
    if not good:
        least = min(r[0] for r in results)
        good = [r for r in results if r[0] <= TIE * least]
    return min(good, key=lambda r: r[1])


def _reason(results: Sequence[_Result], chosen: _Result, what: str) -> str:
    """Why not the next faster one: the flag whose load it raises most."""
    faster = [r for r in results if r[1] < chosen[1] - 1.0]
    if not faster:
        return "as fast as was tried; slower brings nothing"
    nearest = max(faster, key=lambda r: r[1])
    now = {(f.rule, f.zone): f.load for f in chosen[4].flags}
    worse = max(
        nearest[4].flags,
        key=lambda f: (f.load - now.get((f.rule, f.zone), f.load)) if f.load == f.load else 0.0,
    )
    rate = nearest[2].rate
    speed = f"{what} {rate * HOUR:.0f} °C/h" if np.isfinite(rate) else "free cooling"
    before = now.get((worse.rule, worse.zone), worse.load)
    return f"{speed} would bring {worse.rule} of {worse.zone} from {before:.2g} to {worse.load:.2g}"
