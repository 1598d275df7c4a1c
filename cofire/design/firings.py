"""Firings as choices of a kiln: peaks and holds that suit both zones, burnout, ramps, cooling."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np

from cofire.assessment.brown_rules import BROWN
from cofire.assessment.firing_rules import (
    BURNOUT,
    BURNOUT_END,
    CORE,
    OPEN_ENDS,
    PEAK_CAUTION,
    burnout_of,
    core_of,
)
from cofire.assessment.mismatch import zone_set_points
from cofire.assessment.rule import GO, NO, Flag
from cofire.assessment.screening import no_window_reason
from cofire.assessment.verdict import worst_by_rule
from cofire.assessment.windows import HOLDS, Windows, firing_windows, grade_in_turn
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.programme import (
    BURNING,
    CLOSING,
    DOWN,
    DRYING,
    ORDERS,
    SLOW,
    SOAK,
    Part,
    Wish,
    told,
)
from cofire.errors import InputError, ModelError
from cofire.firing.controller import (
    HAND_WARM,
    changes_at,
    degrees,
    degrees_per_hour,
    longer,
    on_step,
    too_late,
)
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import LAG, Firing, Segment
from cofire.materials.card import Card, pure_cards
from cofire.numerics import Array
from cofire.physics.blends import find_material
from cofire.physics.sintering import relative_density
from cofire.physics.stability import turned
from cofire.units import HOUR, MINUTE, celsius, kelvin
from cofire.vessel import Vessel

# ----------------------------------------------------------------------------------------------
# Peaks and holds at which both zones of a vessel become dense and neither melts or overfires

FASTEST = 300.0 / HOUR
"""Ramp for which a hold is found: slower ones make the ware denser. [K/s]"""
DENSE = 0.97
"""Utilisation of the density flag below which it is a go. [-]"""
TABLES = ("thermal_expansion", "young_modulus", "yield_stress", "glass_viscosity", "body_viscosity")
"""What a history reads at the peak, and refuses beyond its rows."""
EVEN = 3.0
"""Lags that a hold of a search lasts at least, so that the ware comes within a few K of the kiln
(5 % of what it was behind): our choice. `come_up` is no such limit: it is the time that the ware is
short of in a table of windows, where no trace of the ware is asked, and that is one lag. [-]"""
FIVE_MINUTES = 5.0 * MINUTE
HOLDS_OVER = (1.0, 1.4, 2.0)
"""Holds that are tried at a peak, over the shortest that makes the ware dense: a blend, whose
powders hold each other back, may ask for more. Our choice. [-]"""
LENGTHS = tuple(m * MINUTE for m in (10, 15, 20, 30, 45, 60, 90, 120, 150, 180, 240, 300, 360))
"""Holds of the kiln that are tried, the shortest first. [s]"""


@dataclass(frozen=True)
class Soak:
    """The soak of a firing: what the kiln is set to, and which zone asks for the hold.

    Attributes
    ----------
    peak, hold
        Of the kiln. [K], [s]
    asks
        Name of the zone that a shorter hold would leave porous; empty at the shortest hold, three
        lags, in which the ware comes up to the kiln.
    """

    peak: float
    hold: float
    asks: str

    def lasting(self, longer: int) -> float:
        """Hold of the kiln, to five minutes. [s]

        Parameters
        ----------
        longer : int
            Which of `HOLDS_OVER`. [-]
        """
        return FIVE_MINUTES * round(self.hold * HOLDS_OVER[longer] / FIVE_MINUTES)


def pure_parts(vessel: Vessel, cards: Mapping[str, Card]) -> list[Card]:
    """The metals and ceramics of a vessel, those that only stand in a blend included.

    Parameters
    ----------
    vessel : Vessel
        Its bands.
    cards : mapping
        Materials by name.

    Returns
    -------
    list of Card
        From the foot up, once each.
    """
    known = dict(cards)
    chosen = [find_material(band.material, known) for band in vessel.bands]
    pure = pure_cards(chosen)
    return list(pure.values())


def soaks(
    vessel: Vessel, cards: Mapping[str, Card], extend: bool = False, count: int = 5
) -> list[Soak]:
    """Tops over the range of peaks that all zones share, each with its shortest hold.

    The hold is that of the kiln: it lasts three lags or more, and makes the ware dense with the
    margin of a go, or at least dense where no hold gives that margin and keeps the crystals. The
    ware is never hotter than the kiln, and the kiln stays below every zone's limit, with the margin
    of a go where there is room.

    Parameters
    ----------
    vessel : Vessel
        Its bands, kiln, gas and lag.
    cards : mapping
        Materials by name.
    extend : bool
        Whether peaks beyond the cards' tables are allowed.
    count : int
        How many, evenly spread from the coolest to the hottest.

    Returns
    -------
    list of Soak
        From the coolest.

    Raises
    ------
    ModelError
        The zones share no window; the message says how far they are apart.
    InputError
        More than two materials.
    """
    parts = pure_parts(vessel, cards)
    if len(parts) > 2:
        raise InputError(
            f"{vessel.name}: a schedule is proposed for two materials and their blends; the bands "
            f"hold {len(parts)}"
        )
    if len(parts) == 1:
        parts = parts * 2
    kiln = vessel.firing.kiln
    windows = firing_windows(parts, kiln, vessel.firing.gas, hold=np.append(HOLDS, LENGTHS[-1]))
    reachable = windows.peak <= kiln.max_temperature + 1e-9
    shared = np.any(np.all(windows.allowed, axis=0), axis=1) & reachable
    if not shared.any():
        reason = _apart(windows, parts, vessel)
        raise ModelError(f"{vessel.name}: window: {reason}; see cofire screen --all")
    peaks = windows.peak[shared]
    if not extend:
        peaks = _within_tables(vessel, parts, peaks)
    controller = kiln.controller
    if controller.given:  # no hotter than it can be set
        peaks = np.unique([on_step(controller, float(peak), -1) for peak in peaks])
    roomy = peaks[peaks <= windows.ceiling.min() - PEAK_CAUTION + 1e-9]
    peaks = roomy if roomy.size else peaks
    coolest = _coolest(vessel, parts, peaks)
    if coolest is None:
        raise ModelError(
            f"{vessel.name}: window: no hold of up to {LENGTHS[-1] / HOUR:.0f} h makes both "
            f"{parts[0].name} and {parts[1].name} dense with a lag of "
            f"{vessel.firing.lag / MINUTE:.0f} min"
        )
    chosen = np.unique(np.linspace(coolest, peaks.size - 1, count).round().astype(int))
    found = (_held(vessel, parts, float(p)) for p in peaks[chosen])
    return [soak for soak in found if soak is not None]


def _coolest(vessel: Vessel, parts: list[Card], peaks: Array) -> int | None:
    """The first of rising peaks at which the longest hold makes the ware dense, by halving."""
    for enough in (DENSE, 1.0):
        low, high = 0, peaks.size - 1
        if _soaked(vessel, parts, float(peaks[high]), LENGTHS[-1]).used > enough:
            continue
        while low < high:
            middle = (low + high) // 2
            if _soaked(vessel, parts, float(peaks[middle]), LENGTHS[-1]).used > enough:
                low = middle + 1
            else:
                high = middle
        return low
    return None


@dataclass(frozen=True)
class _Soaked:
    """Zones after one ramp and hold. [-]

    The largest utilisation of density, whose it is, and whether all keep their crystals.
    """

    used: float
    name: str
    keeps: bool


def _soaked(vessel: Vessel, parts: list[Card], peak: float, hold: float) -> _Soaked:
    """What one ramp and hold make of zones."""
    curve = trace(replace(vessel.firing, segments=(Segment(peak, FASTEST, hold),)))
    utilisations = [_density_load(card, curve) for card in parts]
    worst = int(np.argmax(utilisations))
    keeps = all(turned(card, curve.time, curve.ware)[-1] <= 1.0 for card in parts)
    return _Soaked(utilisations[worst], parts[worst].name, keeps)


def _held(vessel: Vessel, parts: list[Card], peak: float) -> Soak | None:
    """The shortest hold at a peak that makes the ware dense, or None.

    With the margin of a go, unless it turns crystals that a shorter one keeps.
    """
    asks, enough, kept = "", None, False
    first = FIVE_MINUTES * float(np.ceil(EVEN * vessel.firing.lag / FIVE_MINUTES - 1e-9))
    first = longer(vessel.firing.kiln.controller, max(first, LENGTHS[0]))
    for hold in (first, *(length for length in LENGTHS if length > first)):
        found = _soaked(vessel, parts, peak, hold)
        if enough is not None and kept and not found.keeps:
            return enough
        if found.used <= DENSE:
            return Soak(peak, hold, asks)
        if found.used <= 1.0 and enough is None:
            enough, kept = Soak(peak, hold, asks), found.keeps
        asks = found.name
    return enough


def _within_tables(vessel: Vessel, parts: list[Card], peaks: Array) -> Array:
    """Those peaks that all tables cover, or a complaint."""
    tables = [card[name] for card in parts for name in TABLES if name in card]
    shortest = min(tables, key=lambda table: table.reach[1])
    within = peaks[peaks <= shortest.reach[1] + 1e-6]
    if within.size == 0:
        raise ModelError(
            f"{vessel.name}: window: it begins at {celsius(float(peaks[0])):.0f} °C, and "
            f"{shortest.name} of {shortest.owner} ends at {celsius(shortest.reach[1]):.0f} °C; "
            "add a row with its source, or extend the tables"
        )
    return within


def _density_load(card: Card, curve: Trace) -> float:
    """The way wanted over the way gone from green density, as the density flag has it. [-]"""
    green = card["green_density"].scalar
    gained = float(relative_density(card, curve, extend=True)[-1]) - green
    return (card["least_density"].scalar - green) / max(gained, 1e-9)


def _apart(windows: Windows, parts: list[Card], vessel: Vessel) -> str:
    """Why the two parts share no firing, the metal named as such."""
    metal = next((k for k, card in enumerate(parts) if card.kind == "metal"), 0)
    return no_window_reason(windows, metal, 1 - metal, parts, vessel.firing.kiln, vessel.firing.gas)


# ----------------------------------------------------------------------------------------------
# Firings as choices of a kiln: burnout, soak, ramp and cooling of one vessel, before any stress

DRY = Segment(kelvin(110.0), 60.0 / HOUR, 60.0 * MINUTE)
"""Last water of the paste leaves below the boiling of pores: common practice."""
BURNOUT_RATES = tuple(rate / HOUR for rate in (250.0, 150.0, 100.0, 60.0, 40.0, 25.0))
COLD = kelvin(40.0)
"""To which a kiln cools where a pack is to be closed: well below `HAND_WARM`, the most at which
anybody closes one. [K]"""
BURNOUT_HOLDS = tuple(hold * MINUTE for hold in (30.0, 60.0, 120.0, 240.0))
TIE = 1.02
"""Utilisations of layouts or firings within this factor of the least count as equal. [-]"""
RAMPS = tuple(rate / HOUR for rate in (300.0, 200.0, 150.0, 100.0, 60.0))
COOLINGS = tuple(rate / HOUR for rate in (np.inf, 100.0, 60.0, 30.0, 15.0))
USUAL_RATE, FREE = 2, 0
"""Index of the usual ramp and cooling, and of a cooling that the kiln does by itself. [-]"""
SLOW_ABOVE, SLOW_BELOW = 60.0, 80.0
"""The slow zone reaches this far above the higher set point and below the lower one. [K]"""
PAST_INVERSION = 30.0
"""Slow cooling goes on this far below an inversion. [K]"""


@dataclass(frozen=True)
class Packing:
    """How the gas changes once, after burnout and before the soak.

    Attributes
    ----------
    opened, closed
        Gas until then and from then on.
    cold
        The segment that ends hand-warm before the change; None where the pack is closed hot.
    """

    opened: str
    closed: str
    cold: Segment | None


def packing(firing: Firing) -> Packing | None:
    """How a firing changes its gas, as a search keeps it: burnout before, all else after.

    Parameters
    ----------
    firing : Firing
        As given.

    Returns
    -------
    Packing or None
        None where it has one gas.

    Raises
    ------
    InputError
        The gas changes more than once, or after the hottest segment has begun.
    """
    gases, segments = firing.gases, firing.segments
    changes = [n for n in range(1, len(gases)) if gases[n] != gases[n - 1]]
    if not changes:
        return None
    hottest = max(range(len(segments)), key=lambda n: segments[n].target)
    if len(changes) > 1 or changes[0] > hottest:
        raise InputError(
            f"{firing.name}: {firing.gas_words}; a search keeps one change of gas, before the "
            "hottest segment; check this firing as it is"
        )
    last = segments[changes[0] - 1]
    cold = last if changes[0] > 1 and last.target <= HAND_WARM else None
    return Packing(gases[0], gases[-1], cold)


def _packed(how: Packing | None, burnout: Segment, then: Sequence[Wish]) -> list[Wish]:
    """Wishes before and after the change of gas, each saying its own; as they are without one."""
    first = [Wish(DRYING, DRY), Wish(BURNING, burnout)]
    if how is None:
        return [*first, *then]
    before = [*first, *([Wish(CLOSING, how.cold)] if how.cold else [])]
    return [*(w.within(how.opened) for w in before), *(w.within(how.closed) for w in then)]


@dataclass(frozen=True)
class Setting:
    """A firing by its choices (indices). [-]

    Which soak, ramp, cooling, and hold of the soak; and, where the controller takes fewer segments,
    which of `ORDERS` they are joined in.
    """

    soak: int
    ramp: int
    cooling: int
    longer: int = 0
    joined: int = 0


@dataclass(frozen=True)
class Frame:
    """What all settings of one search have in common.

    Attributes
    ----------
    burnout, burnout_reason
        The segment that burns the binder out, and why it is no faster.
    soaks
        From the coolest peak to the hottest.
    slow_from, slow_to
        Where cooling may be slowed. [K]
    slow_reason
        What lies between.
    packing
        How the gas changes after burnout.
    """

    firing: Firing
    burnout: Segment
    burnout_reason: str
    soaks: tuple[Soak, ...]
    slow_from: float
    slow_to: float
    slow_reason: str
    packing: Packing | None = None

    def wishes(self, setting: Setting) -> list[Wish]:
        """What is wished of a setting; free cooling is spelt out too.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        soak = self.soaks[setting.soak]
        return _packed(
            self.packing,
            self.burnout,
            [
                Wish(
                    SOAK,
                    Segment(soak.peak, RAMPS[setting.ramp], soak.lasting(setting.longer)),
                ),
                Wish(DOWN, Segment(self.slow_from, np.inf)),
                Wish(SLOW, Segment(self.slow_to, COOLINGS[setting.cooling])),
            ],
        )

    def segments(self, setting: Setting) -> list[Segment]:
        """Segments as they are wished, whatever kiln and controller can do.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        return [wish.segment for wish in self.wishes(setting)]

    def told(self, setting: Setting) -> list[Part]:
        """The segments of a setting as they are set: as kiln and controller take them.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        return told(self.firing.kiln, self.wishes(setting), setting.joined)

    def fired(self, setting: Setting) -> Firing:
        """The firing of a setting: judged is what is set.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        segments = tuple(part.segment for part in self.told(setting))
        return replace(self.firing, name="proposed", segments=segments)

    def in_time(self, setting: Setting) -> bool:
        """Whether someone is there when the gas of a setting is changed.

        Parameters
        ----------
        setting : Setting
            The choices.
        """
        if self.packing is None or not np.isfinite(self.firing.latest):
            return True
        firing = self.fired(setting)
        return too_late(firing, trace(firing)) is None


def near(setting: Setting, whole: Frame) -> list[Setting]:
    """A setting and those one step away in one choice.

    Parameters
    ----------
    setting : Setting
        The middle.
    whole : Frame
        With its soaks.

    Returns
    -------
    list of Setting
        Within the tables of choices.
    """
    sizes = {
        "soak": len(whole.soaks),
        "ramp": len(RAMPS),
        "cooling": len(COOLINGS),
        "longer": len(HOLDS_OVER),
        "joined": _orders(whole),
    }
    found = [replace(setting, soak=min(setting.soak, sizes["soak"] - 1))]
    for name, size in sizes.items():
        for step in (-1, 1):
            index = getattr(found[0], name) + step
            if 0 <= index < size:
                found.append(replace(found[0], **{name: index}))
    return found


def with_segments_spared(settings: Sequence[Setting], whole: Frame) -> list[Setting]:
    """Settings that may leave a controller of few segments one for drying and one for burnout.

    Joined in each order, and cooled as the kiln cools by itself, which asks for no segment.

    Parameters
    ----------
    settings : sequence of Setting
        In one order.
    whole : Frame
        With its kiln.

    Returns
    -------
    list of Setting
        The given ones among them.
    """
    return [
        replace(setting, joined=order, cooling=cooling)
        for setting in settings
        for order in range(_orders(whole))
        for cooling in dict.fromkeys((setting.cooling, FREE))
    ]


def _orders(whole: Frame) -> int:
    """In how many orders segments may be joined. [-]"""
    return len(ORDERS) if whole.firing.kiln.controller.segments else 1


def frame(vessel: Vessel, cards: Mapping[str, Card], extend: bool = False) -> Frame:
    """Burnout, soaks and the slow zone of cooling, chosen without stress.

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
    InputError
        A change of gas that a search does not keep.
    ModelError
        The zones share no window.
    """
    found = tuple(soaks(vessel, cards, extend))
    pure = pure_parts(vessel, cards)
    middle = found[len(found) // 2]
    rest = Segment(middle.peak, RAMPS[USUAL_RATE], middle.hold)
    bench = Bench({card.name: card for card in pure}, extend=True)
    burnout, reason, firing = _burnout(vessel, bench, pure, rest, packing(vessel.firing))
    history = bench.history(firing, pure)
    sets, _ = zone_set_points(history)
    coolest = min(soak.peak for soak in found)
    high = min(float(sets.max()) + SLOW_ABOVE, coolest - 5.0)
    low = max(float(sets.min()) - SLOW_BELOW, kelvin(60.0))
    inversions = {
        change.name: change.on_cooling - PAST_INVERSION
        for card in pure
        for change in card.in_gas(vessel.firing.gas).inversions
        if change.comes_back and change.on_cooling < high
    }
    past = "the set points"
    for name, level in inversions.items():
        if level < low:
            low, past = max(level, kelvin(60.0)), f"the set points and the {name}"
    bottom = max(high, low + 5.0)
    return Frame(vessel.firing, burnout, reason, found, bottom, low, past, packing(vessel.firing))


def _burnout(
    vessel: Vessel, bench: Bench, pure: Sequence[Card], rest: Segment, how: Packing | None
) -> tuple[Segment, str, Firing]:
    """Shortest burnout that the flags of binder and char allow, why, and the firing.

    Where none does: the shortest of those that come nearest. One whose gases in turn are refused
    for a metal is taken only where all are.
    """
    tried: list[tuple[Segment, Flag, Firing]] = []
    oxidised: list[tuple[Segment, Flag, Firing]] = []
    late: list[tuple[float, Flag]] = []  # of those that nobody would be there for: when
    kiln, wall = vessel.firing.kiln, float(vessel.wall.max())
    ends = (BURNOUT_END,) if how is None else OPEN_ENDS
    for segment in burnouts(dict.fromkeys(min(end, rest.target - 5.0) for end in ends)):
        if late and late[-1][1].grade == GO:
            break
        parts = told(kiln, _packed(how, segment, [Wish(SOAK, rest)]))
        firing = replace(vessel.firing, segments=tuple(part.segment for part in parts))
        history = bench.history(firing, pure)
        flags = [BURNOUT.named(flag) for flag in burnout_of(history, pure, wall)]
        flags += [CORE.named(flag) for flag in core_of(history, pure)]
        worst = max(flags, key=attrgetter("counted"))
        curve = bench.trace(firing)
        if too_late(firing, curve) is not None:
            late.append((max(changes_at(firing, curve)), worst))
            continue
        if how is not None and _refused(pure, curve):
            oxidised.append((segment, worst, firing))
            continue
        tried.append((segment, worst, firing))
        if worst.grade == GO:
            return segment, _burnout_reason(tried, bool(oxidised)), firing
    tried = tried or oxidised
    if not tried:
        line = too_late_line(vessel.firing.latest, min(when for when, _ in late))
        raise ModelError(f"{vessel.name}: {line}")
    for n, (segment, flag, firing) in enumerate(tried):
        if flag.grade == GO:  # but refused for its gases
            return segment, _burnout_reason(tried[: n + 1]), firing
    least = min(flag.counted for _, flag, _ in tried)
    segment, flag, firing = next(one for one in tried if one[1].counted <= TIE * least)
    reason = (
        f"{flag.rule} of {flag.zone}: {flag.counted:.2g} of its limit, go is up to "
        f"{flag.caution:.2g}; "
    )
    most = min((other.counted for _, other in late), default=np.inf)
    if TIE * most < flag.counted:
        when, other = next(one for one in late if one[1].counted <= TIE * most)
        reason += (
            f"someone is there until {vessel.firing.latest / HOUR:g} h after the start (latest_h), "
            f"and closed after {when / HOUR:.1f} h it would be {other.counted:.2g}"
        )
    else:
        reason += "no slower ramp and no longer hold that was tried brings it lower"
    if how is None:  # an open burnout is not compared with itself
        reason += opened_reason(replace(vessel, firing=firing), pure, rest, flag)
    return segment, reason, firing


def _refused(pure: Sequence[Card], curve: Trace) -> bool:
    """Whether a substance does not bear the gases of a firing in turn."""
    return any(grade_in_turn(card, curve)[0] >= NO for card in pure)


def too_late_line(latest: float, soonest: float) -> str:
    """Why no gas is changed in time, and which hour would do.

    Parameters
    ----------
    latest, soonest : float
        Hour until which someone is there, and at which the gas could change. [s]

    Returns
    -------
    str
        Without a full stop.
    """
    wanted = np.ceil(10.0 * soonest / HOUR - 1e-6) / 10.0
    return (
        f"latest_h: someone is there until {latest / HOUR:g} h after the start; dried and burnt "
        f"out as fast as may be, the gas can change after {soonest / HOUR:.1f} h: give "
        f"latest_h = {wanted:g} or more"
    )


def open_burnout(vessel: Vessel, cards: Mapping[str, Card], closed: str) -> Firing:
    """A vessel's firing with its binder burnt out in air, cooled, and all else in another gas.

    What comes before the binder has gone, up to `BURNOUT_END`, gives way to drying and the shortest
    burnout in air that the flags of binder and char allow; the rest stays, from cold.

    Parameters
    ----------
    vessel : Vessel
        With its bands, wall and firing of one gas.
    cards : mapping
        Materials by name.
    closed : str
        Gas from the second heating on; the ware lags as in the slower of the two.

    Returns
    -------
    Firing
        As a search keeps it (see `packing`).
    """
    firing = vessel.firing
    segments = firing.segments
    hottest = max(range(len(segments)), key=lambda n: segments[n].target)
    burnt = [n for n in range(hottest) if segments[n].target <= BURNOUT_END + 1.0]
    rest = segments[burnt[-1] + 1 :] if burnt else segments[hottest:]
    how = Packing("air", closed, Segment(COLD, np.inf))
    lag = firing.lag if closed == firing.gas else max(firing.lag, LAG[closed])
    one = replace(firing, lag=lag)
    pure = pure_parts(vessel, cards)
    bench = Bench({card.name: card for card in pure}, extend=True)
    asked = replace(vessel, firing=one)
    burnout, _, _ = _burnout(asked, bench, pure, rest[0], how)
    name = f"open burnout, then {closed}"
    wishes = _packed(how, burnout, [Wish(f"segment {n}", s) for n, s in enumerate(rest)])
    if not firing.kiln.controller.given:
        return replace(one, name=name, segments=tuple(wish.segment for wish in wishes))
    parts = told(firing.kiln, wishes)
    return replace(one, name=name, segments=tuple(part.segment for part in parts))


def opened_reason(vessel: Vessel, pure: Sequence[Card], rest: Segment, reached: Flag) -> str:
    """What an open burnout would bring where char limits a closed one; empty where nothing.

    Parameters
    ----------
    vessel : Vessel
        As drawn, with the closed firing to the soak, of one gas.
    pure : sequence of Card
        Its substances.
    rest : Segment
        To the soak.
    reached : Flag
        Of char, in the closed firing.

    Returns
    -------
    str
        A clause; also what it costs the powder before it sinters, where that is more than before.
    """
    gas = vessel.firing.gas
    if reached.rule != CORE.name or gas == "air" or packing(vessel.firing) is not None:
        return ""
    bench = Bench({card.name: card for card in pure}, extend=True)
    how = Packing("air", gas, Segment(COLD, np.inf))
    try:
        segment, _, firing = _burnout(vessel, bench, pure, rest, how)
    except ModelError:  # nobody is there, or the controller takes too few segments
        return ""
    if _refused(pure, bench.trace(firing)):
        return ""
    flags = [CORE.named(flag) for flag in core_of(bench.history(firing, pure), pure)]
    left, controller = max(flags, key=attrgetter("counted")), firing.kiln.controller
    if left.counted >= TIE * reached.counted:
        return ""
    return (
        f"; open to air until then (to {degrees(controller, segment.target)} by "
        f"{degrees_per_hour(controller, segment.rate)}, {segment.hold / MINUTE:.0f} min), "
        f"cooled, then closed in {gas}: {left.counted:.2g}, by gas in its segments"
        f"{_brown_rise(bench.on(ROUGH), vessel, firing)}"
    )


WORSE = 0.1
"""Of its limit: what a remedy adds to another rule's share, and is told. Our choice. [-]"""


def risen(before: Sequence[Flag], after: Sequence[Flag], passed: Collection[str] = ()) -> list[str]:
    """Rules that come nearer to their limits by a tenth of those or more, a clause each.

    Parameters
    ----------
    before, after : sequence of Flag
        Of two firings of one vessel.
    passed : collection of str
        Rules that are passed over.

    Returns
    -------
    list of str
        Those that rise most first.
    """
    least, most = (
        {name: flag.counted for name, flag in worst_by_rule(flags).items()}
        for flags in (before, after)
    )
    rises = {name: used - least.get(name, 0.0) for name, used in most.items() if name not in passed}
    return [
        f"{name} from {least.get(name, 0.0):.2g} to {most[name]:.2g} of its limit"
        for name in sorted(rises, key=lambda name: -rises[name])
        if rises[name] >= WORSE
    ]


def _brown_rise(bench: Bench, vessel: Vessel, opened: Firing) -> str:
    """What another firing does to the powder of a vessel as drawn; empty where it does no harm."""
    before, after = fire_candidates(bench, [vessel, replace(vessel, firing=opened)])
    if isinstance(before, ModelError) or isinstance(after, ModelError):
        return ""
    worse = risen(bench.judge(before, (BROWN,)).flags, bench.judge(after, (BROWN,)).flags)
    return f"; as drawn it brings {worse[0]}" if worse else ""


def burnouts(targets: Iterable[float]) -> list[Segment]:
    """Ramps and holds by which the binder may be burnt out, the shortest first.

    Parameters
    ----------
    targets : iterable of float
        Where they may hold. [K]

    Returns
    -------
    list of Segment
        Of equal length the one of the slower ramp first: most of a binder goes on the way.
    """
    some = [
        Segment(target, rate, hold)
        for target in targets
        for rate in BURNOUT_RATES
        for hold in BURNOUT_HOLDS
    ]
    return sorted(some, key=lambda s: ((s.target - DRY.target) / s.rate + s.hold, s.rate))


def _burnout_reason(tried: Sequence[tuple[Segment, Flag, Firing]], oxidised: bool = False) -> str:
    """What the next shorter burnout would do; whether shorter, hotter ones oxidise too much."""
    if len(tried) == 1:
        least = " of those that oxidise no metal through" if oxidised else ""
        return f"burnout: as fast as was tried{least}"
    segment, flag, firing = tried[-2]
    controller = firing.kiln.controller
    return (
        f"{flag.rule} of {flag.zone}: {degrees_per_hour(controller, segment.rate)} to "
        f"{degrees(controller, segment.target)} and {segment.hold / MINUTE:.0f} min would use up "
        f"{flag.counted:.2g} of its limit, go is up to {flag.caution:.2g}"
    )
