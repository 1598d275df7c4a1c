"""Firings as choices of a kiln: burnout, top, ramp and cooling of one vessel, before any stress."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.inputs.cards import Card
from cofire.inputs.firing import Firing, Segment
from cofire.inputs.units import HOUR, MINUTE, kelvin
from cofire.inputs.vessel import Vessel
from cofire.planning import firing_flags
from cofire.planning.candidates import Bench
from cofire.planning.flags import GO, Flag
from cofire.planning.pairing import zone_set_points
from cofire.planning.peaks import Top, pure_parts, tops
from cofire.planning.trials import load_of

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
