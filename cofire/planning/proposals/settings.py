"""Firings as choices of a kiln: burnout, top, ramp and cooling of one vessel, before any stress."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from cofire.inputs.cards import Card
from cofire.inputs.firing import Firing, Kiln, Segment
from cofire.inputs.units import HOUR, MINUTE, celsius, kelvin
from cofire.inputs.vessel import Vessel
from cofire.planning.flags import GO, Flag
from cofire.planning.pairs.pairing import zone_set_points
from cofire.planning.proposals.candidates import Bench
from cofire.planning.proposals.peaks import Top, pure_parts, tops
from cofire.planning.proposals.trials import load_of
from cofire.planning.ware import firing_flags

DRY = Segment(kelvin(110.0), 60.0 / HOUR, 60.0 * MINUTE)
"""Last water of the paste leaves below the boiling of pores: common practice."""
BURNOUT_RATES = tuple(rate / HOUR for rate in (250.0, 150.0, 100.0, 60.0, 40.0, 25.0))
BURNOUT_END = kelvin(550.0)
BURNOUT_HOLDS = tuple(hold * MINUTE for hold in (30.0, 60.0, 120.0, 240.0))
TIE = 1.02
"""Where no firing keeps every flag: loads within this of the least count as equal. [-]"""
RAMPS = tuple(rate / HOUR for rate in (300.0, 200.0, 150.0, 100.0, 60.0))
COOLINGS = tuple(rate / HOUR for rate in (np.inf, 100.0, 60.0, 30.0, 15.0))
USUAL = 2
"""Index of the usual ramp and cooling. [-]"""
SLOW_ABOVE, SLOW_BELOW = 60.0, 80.0
"""The slow zone reaches this far above the higher set point and below the lower one. [K]"""
PAST_INVERSION = 30.0
"""Slow cooling goes on this far below an inversion. [K]"""


@dataclass(frozen=True)
class Setting:
    """A firing by its choices: which top, which ramp, which cooling (indices). [-]"""

    top: int
    ramp: int
    cooling: int


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


def followed(kiln: Kiln, start: float, segment: Segment) -> list[Segment]:
    """A segment in parts that the kiln can keep up with: "full" where the rate is too fast for it.

    The kiln goes the same way in the same time.

    Parameters
    ----------
    kiln : Kiln
        Its limits count.
    start : float
        Where the segment begins. [K]
    segment : Segment
        As it is wanted.

    Returns
    -------
    list of Segment
        One where the kiln keeps up all the way; the hold is that of the last.
    """
    rows, limit = kiln.heating_temperature, kiln.heating_rate
    if segment.target < start:
        rows, limit = kiln.cooling_temperature, kiln.cooling_rate
    if not np.isfinite(segment.rate):
        return [segment]
    ahead = limit - segment.rate
    behind = ahead < 0.0
    turns = np.flatnonzero(behind[:-1] != behind[1:])
    share = ahead[turns] / (ahead[turns] - ahead[turns + 1])
    cuts = celsius(rows[turns] + share * (rows[turns + 1] - rows[turns]))
    # to whole degrees, away from where the kiln falls behind
    cuts = kelvin(np.where(behind[turns], np.ceil(cuts - 1e-6), np.floor(cuts + 1e-6)))
    low, high = sorted((start, segment.target))
    ends = np.sort(np.append(cuts[(cuts > low) & (cuts < high)], [low, high]))
    if segment.target < start:
        ends = ends[::-1]
    parts = []
    for begin, end in pairwise(ends):
        slowest = np.interp([begin, 0.5 * (begin + end), end], rows, limit).min()
        keeps = slowest >= segment.rate * (1.0 - 1e-6)
        parts.append(Segment(float(end), segment.rate if keeps else np.inf))
    return [*parts[:-1], replace(parts[-1], hold=segment.hold)]


def frame(vessel: Vessel, cards: Mapping[str, Card], extend: bool = False) -> Frame:
    """Burnout, tops and the slow zone of cooling, which need no stress.

    Parameters
    ----------
    vessel : Vessel
        With its bands, kiln, gas and lag.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    Frame
        Ready for settings.

    Raises
    ------
    ModelError
        The zones share no window.
    """
    found = tuple(tops(vessel, cards, extend))
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
    """Shortest burnout that the flags of binder and char allow, why, and the firing.

    Where none does: the shortest of those that come nearest.
    """
    tried: list[tuple[Segment, Flag, Firing]] = []
    for segment in burnouts(min(BURNOUT_END, rest.target - 5.0)):
        firing = replace(vessel.firing, segments=(DRY, segment, rest))
        history = bench.history(firing, pure)
        flags = firing_flags.burnout_of(history, pure, float(vessel.wall.max()))
        flags += firing_flags.core_of(history, pure)
        tried.append((segment, max(flags, key=load_of), firing))
        if tried[-1][1].grade == GO:
            return segment, _burnout_reason(tried), firing
    least = min(load_of(flag) for _, flag, _ in tried)
    segment, flag, firing = next(one for one in tried if load_of(one[1]) <= TIE * least)
    reason = (
        f"{flag.rule} of {flag.zone}: {load_of(flag):.2g} of its limit, go is up to "
        f"{flag.caution:.2g}; no slower ramp and no longer hold that was tried brings it lower"
    )
    return segment, reason, firing


def burnouts(target: float) -> list[Segment]:
    """Ramps and holds by which the binder may be burnt out, the shortest first.

    Parameters
    ----------
    target : float
        Where they hold. [K]

    Returns
    -------
    list of Segment
        Of equal length the one of the slower ramp first: most of a binder goes on the way.
    """
    some = [Segment(target, rate, hold) for rate in BURNOUT_RATES for hold in BURNOUT_HOLDS]
    return sorted(some, key=lambda s: ((s.target - DRY.target) / s.rate + s.hold, s.rate))


def _burnout_reason(tried: Sequence[tuple[Segment, Flag, Firing]]) -> str:
    """What the next shorter burnout would do."""
    if len(tried) == 1:
        return "burnout: as fast as was tried"
    segment, flag, _ = tried[-2]
    return (
        f"{flag.rule} of {flag.zone}: {segment.rate * HOUR:.0f} °C/h and "
        f"{segment.hold / MINUTE:.0f} min would use up {load_of(flag):.2g} of its limit, go is "
        f"up to {flag.caution:.2g}"
    )
