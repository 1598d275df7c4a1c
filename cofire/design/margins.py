"""How a proposal bears what a print does to it, and which limit it would pay to relax first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from cofire.assessment.check import Check
from cofire.design.candidates import Bench
from cofire.design.constraints import (
    SLACK,
    allowed,
    beside,
    end_names,
    keeping,
    leaves_pure,
    most_kept,
    place_range,
    placed,
)
from cofire.design.fired_size import in_fired_size
from cofire.design.firings import Setting, frame, near
from cofire.design.objective import Outcome, Sample, draw, nominal, odds
from cofire.design.search import split
from cofire.design.settling import odds_by_solid
from cofire.design.space import Design, laid
from cofire.design.transition import Layout
from cofire.errors import CofireError
from cofire.firing.controller import changes_at, programmes, switched_off
from cofire.firing.kiln import trace
from cofire.firing.program import Firing, Segment
from cofire.materials.card import Card
from cofire.units import HOUR
from cofire.vessel import FREE, JointLimits, Printer, Vessel
from cofire.workers import each

LAYER, ROAD, DEAD = 1.0, 0.5, 0.2
"""By how much a change of paste comes out too high or low [layers], the wall too thick or thin
[roads], and the dead volume too large or small, of itself [-]."""
TALLER, NEARER, THINNER, THICKER, LARGER = 1.5, 0.5, 0.7, 1.3, 2.0
"""Of what a file allows: the transition's height, the ends' least heights, the wall each way, and
the dead volume each way, where a limit is relaxed: our choice. [-]"""
PLACES = 24
"""That a joint is tried at between an end of its stretch and where it is, furthest first, where a
band's height is freed. [-]"""
LESS = 0.995
"""Of a load: one that is less is told as less, with three digits. [-]"""
SEEN = 0.005
"""Gain of chance below which a limit is not worth relaxing unless the load falls too: our choice.
[-]"""
JUDGED = 6
"""Limits whose gain is judged by a check, those that gain most by their shells. [-]"""
SAMPLES = 8
"""Over which chances are asked. [-]"""
SEED = 2
"""Of samples that no search has seen."""


@dataclass(frozen=True)
class Shift:
    """What a print may do to a proposal, and what that does to the chance that the pot is kept.

    Attributes
    ----------
    what
        A few words.
    change
        Of the chance. [-]
    """

    what: str
    change: float


@dataclass(frozen=True)
class Relaxed:
    """A limit of the file that stands in the way, and what the proposal gains without it.

    Attributes
    ----------
    what
        Which limit, from and to what.
    load
        Of the best of the few designs tried: it gains at least so much. [-]
    change
        Of the chance that the pot is kept. [-]
    """

    what: str
    load: float
    change: float


@dataclass(frozen=True)
class Margins:
    """Both, over the same few samples.

    Attributes
    ----------
    chance
        That the proposal is kept, over these samples. [-]
    load
        Of the proposal. [-]
    shifts
        The one that costs most first.
    relaxed
        The one that gains most first; only those that gain.
    samples
        How many. [-]
    """

    chance: float
    load: float
    shifts: tuple[Shift, ...]
    relaxed: tuple[Relaxed, ...]
    samples: int

    def with_relaxed(self, more: Iterable[Relaxed]) -> Margins:
        """The same with more limits to relax, the one that gains most first.

        Parameters
        ----------
        more : iterable of Relaxed
            Of limits that were asked otherwise.
        """
        return replace(self, relaxed=_first_first([*self.relaxed, *more]))


def _first_first(some: Iterable[Relaxed]) -> tuple[Relaxed, ...]:
    """Limits to relax, the one that gains most first."""
    return tuple(sorted(some, key=lambda r: (-r.change, r.load)))


def margins(
    bench: Bench,
    vessel: Vessel,
    layout: Layout,
    *,
    relax: bool,
    samples: int = SAMPLES,
    freer: Iterable[tuple[str, Firing]] = (),
    check: Callable[[Vessel], Check] | None = None,
) -> Margins | None:
    """What shifts of the print cost a proposal, and what relaxed limits would bring it.

    Only a few designs are tried beyond each limit, straight along it, so a gain is at least that.
    Shells say which limits gain; a check of each says what, as the plan judges its proposal: shells
    put right for the proposal may be far out for a pot that mixes more.

    Parameters
    ----------
    bench : Bench
        With the cards as they stand, coarse.
    vessel : Vessel
        The proposal, in its firing.
    layout : Layout
        Its transition.
    relax : bool
        Whether to look beyond the limits.
    samples : int
        Over which chances are asked, the same for all. [-]
    freer : iterable of (str, Firing)
        Limits of the kiln that may be relaxed, and firings beyond them, from `freer_firings`.
    check : callable, optional
        Gives the check of a vessel; without it shells say what a limit gains.

    Returns
    -------
    Margins or None
        None where the proposal itself cannot be fired on the coarse mesh.
    """
    moved = [(what, shift.vessel(vessel)) for what, shift in print_shifts(bench, vessel.printer)]
    beyond = list(_beyond(bench, vessel, layout)) if relax else []
    if relax:
        beyond += [(what, replace(vessel, firing=firing)) for what, firing in freer]
    tried = nominal(bench, [one for _, one in beyond])
    best: dict[str, tuple[float, int]] = {}
    for k, ((what, _), outcome) in enumerate(zip(beyond, tried, strict=True)):
        if outcome is not None:
            best[what] = min(best.get(what, (float("inf"), k)), (outcome.load, k))
    chosen = [(what, beyond[k][1]) for what, (_, k) in best.items()]
    vessels = [vessel, *(one for _, one in (*moved, *chosen))]
    luck = replace(bench, drawn=True)  # as a shift of the print is, and no design
    ways = draw(bench, vessel, samples, SEED)
    found = odds(luck, ways, vessels, nominal(luck, vessels))
    own, rest = found[0], found[1:]
    if own is None:
        return None
    shifts = [
        Shift(what, _chance(outcome) - own.chance)
        for (what, _), outcome in zip(moved, rest[: len(moved)], strict=True)
    ]
    likely = [
        (what, one, outcome)
        for (what, one), outcome in zip(chosen, rest[len(moved) :], strict=True)
        if outcome is not None and _gains(outcome, own)
    ]
    if check is not None:
        likely.sort(key=lambda row: row[2].cost)
        likely = likely[:JUDGED]
        solids = each(partial(_checked, check), [one for _, one, _ in likely], bench.executor)
        asked = [
            (what, one, None if solid is None else odds_by_solid(ways, luck, one, solid))
            for (what, one, _), solid in zip(likely, solids, strict=True)
        ]
        likely = [(what, one, outcome) for what, one, outcome in asked if outcome is not None]
    relaxed = [
        Relaxed(what, outcome.load, outcome.chance - own.chance)
        for what, _, outcome in likely
        if _gains(outcome, own)
    ]
    shifts.sort(key=lambda s: s.change)
    return Margins(own.chance, own.load, tuple(shifts), _first_first(relaxed), samples)


def _gains(outcome: Outcome, own: Outcome) -> bool:
    """Whether a relaxed limit brings the proposal enough to be named."""
    return outcome.cost < own.cost and (
        outcome.load < LESS * own.load or outcome.chance > own.chance + SEEN
    )


def _checked(check: Callable[[Vessel], Check], vessel: Vessel) -> Check | None:
    """The check of a vessel; None where it cannot be cut or fired."""
    try:
        return check(vessel)
    except CofireError:
        return None


def _chance(outcome: Outcome | None) -> float:
    """That a pot is kept; none is where it cannot be fired. [-]"""
    return 0.0 if outcome is None else outcome.chance


def print_shifts(bench: Bench, printer: Printer) -> list[tuple[str, Sample]]:
    """One shift at a time, as a sample that moves nothing else.

    The dead volume only of a printer that is given: else pastes change without mixing.

    Parameters
    ----------
    bench : Bench
        Of the samples.
    printer : Printer
        Of the vessel.
    """
    still = Sample(bench, 0.0, 1.0, 0.0, 0.0, {})
    shifts = [
        ("changes of paste a layer higher", replace(still, place=LAYER)),
        ("changes of paste a layer lower", replace(still, place=-LAYER)),
        ("wall half a road thicker", replace(still, wall=ROAD)),
        ("wall half a road thinner", replace(still, wall=-ROAD)),
    ]
    if printer.given:
        shifts += [
            ("20 % more paste before the nozzle", replace(still, dead=1.0 + DEAD)),
            ("20 % less paste before the nozzle", replace(still, dead=1.0 - DEAD)),
        ]
    return shifts


def _beyond(bench: Bench, vessel: Vessel, layout: Layout) -> Iterator[tuple[str, Vessel]]:
    """A limit's name and a vessel beyond it, a few for each."""
    printer = vessel.printer
    for which, one in layout.named:
        yield from _beyond_joint(bench, vessel, layout, which, one)
    wall, free = float(vessel.wall[-1]), vessel.free
    if free.roads:
        metal, ceramic, _ = bench.zones(vessel)
        road = in_fired_size(vessel, metal, ceramic).printer.nozzle
        count = round(wall / road)
        for step, what in ((-1.0, "wall_mm"), (1.0, "wall_mm"), (-0.5, "roads"), (0.5, "roads")):
            other = wall + step * road
            if other > 0.5 * road and (what == "roads" or _beyond_range(other, free.wall)):
                told = f"from {1e3 * wall:.3g} to {1e3 * other:.3g}"
                if what == "roads":
                    told = f'from "whole" to "any", wall_mm {told}'
                else:
                    told += f" ({count + round(step)} roads)"
                yield _kept_pure(bench, _walled(bench, vessel, layout, other), layout, what, told)
    for factor in () if free.roads else (THINNER, THICKER):
        other = factor * wall
        if _beyond_range(other, free.wall):
            told = f"from {1e3 * wall:.2g} to {1e3 * other:.2g}"
            yield _kept_pure(bench, _walled(bench, vessel, layout, other), layout, "wall_mm", told)
    dead = printer.dead_volume
    for other in dict.fromkeys((LARGER * dead, dead / LARGER, *free.dead_volume[1:])):
        chamber = replace(vessel, printer=replace(printer, dead_volume=other))
        if _beyond_range(other, free.dead_volume):
            told = f"from {1e6 * dead:.2g} to {1e6 * other:.2g}"
            yield _kept_pure(bench, chamber, layout, "dead_volume_ml", told)
        elif not _is_pure(bench, chamber, layout):
            what, fading = _kept_pure(bench, chamber, layout)
            yield f"{what} (dead_volume_ml = {1e6 * other:.2g})", fading


def _is_pure(bench: Bench, vessel: Vessel, layout: Layout) -> bool:
    """Whether each zone is pure over the height that is kept."""
    metal, ceramic, _ = bench.zones(vessel)
    return leaves_pure(in_fired_size(vessel, metal, ceramic), layout)


def _walled(bench: Bench, vessel: Vessel, layout: Layout, wall: float) -> Vessel:
    """With another wall; a chamber that is freed shrinks with it where no zone stayed pure else."""
    one, printer, free = vessel.with_wall(wall), vessel.printer, vessel.free.dead_volume
    if not free or _is_pure(bench, one, layout):
        return one
    dead = max(free[0], printer.dead_volume * wall / float(vessel.wall[-1]))
    return replace(one, printer=replace(printer, dead_volume=min(dead, printer.dead_volume)))


def _kept_pure(bench: Bench, vessel: Vessel, layout: Layout, *words: str) -> tuple[str, Vessel]:
    """A limit in words, and a vessel beyond it; less is kept pure where it leaves less pure."""
    metal, ceramic, _ = bench.zones(vessel)
    kept, most = vessel.joint.keep, most_kept(in_fired_size(vessel, metal, ceramic), layout)
    what = " ".join(words)
    if most == kept:
        return what, vessel
    less = f"keep_mm from {1e3 * kept:.3g} to {1e3 * most:.3g}"
    return " and ".join(filter(None, (what, less))), keeping(vessel, most)


def _beyond_range(value: float, freed: tuple[float, ...]) -> bool:
    """Whether a value lies outside what the file frees; where it frees nothing, any does."""
    return not freed or not freed[0] <= value <= freed[1]


def freer_firings(
    vessel: Vessel, cards: Mapping[str, Card], setting: Setting, extend: bool = False
) -> list[tuple[str, Firing]]:
    """Limits of kiln and presence that bind a firing, and firings near it that pass them.

    Parameters
    ----------
    vessel : Vessel
        The proposal, in its firing.
    cards : mapping
        Materials by name.
    setting : Setting
        Of its firing.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    list of (str, Firing)
        Each limit with what it would have to be, and a few firings for each; none where nothing
        binds.
    """
    firing, kiln = vessel.firing, vessel.firing.kiln
    controller, latest = kiln.controller, vessel.firing.latest
    asked: list[tuple[str, Firing]] = []
    if controller.segments:
        more = replace(kiln, controller=replace(controller, segments=0))
        asked.append(("segments", replace(firing, kiln=more)))
    if controller.numbers:
        full = replace(kiln, controller=replace(controller, numbers=False))
        asked.append(("rates", replace(firing, kiln=full)))
    if np.isfinite(latest):
        asked.append(("latest_h", replace(firing, latest=np.inf)))
    found: dict[tuple[str, tuple[Segment, ...]], Firing] = {}
    for which, one in asked:
        try:
            whole = frame(replace(vessel, firing=one), cards, extend)
            fired = [whole.fired(s) for s in near(replace(setting, joined=0), whole)]
        except CofireError:  # what is freed alone does not make it possible
            continue
        for free in fired:
            what = ""
            if which == "segments":
                count = max(map(len, programmes(free.segments)))
                if count > controller.segments:
                    what = f"segments of the controller from {controller.segments} to {count}"
            elif which == "rates":
                off = switched_off(free.segments)
                if any(s.rate == np.inf and not o for s, o in zip(free.segments, off, strict=True)):
                    what = 'rates of the controller from "numbers" to "full"'
            else:
                when = max(changes_at(free, trace(free)), default=0.0)
                if when > latest:
                    hours = np.ceil(10.0 * when / HOUR - 1e-6) / 10.0
                    what = f"latest_h from {latest / HOUR:g} to {hours:g}"
            if what:
                found[what, free.segments] = free
    return [(what, free) for (what, _), free in found.items()]


def _beyond_joint(
    bench: Bench, vessel: Vessel, layout: Layout, which: str, own: Layout
) -> Iterator[tuple[str, Vessel]]:
    """The same of one joint, the other held where there are two."""
    printer = vessel.printer
    metal, ceramic, below = bench.zones(vessel)
    view = beside(vessel, layout, which) if which else vessel
    joint, (bottom, top) = view.joint, view.stretch
    at = f"{which}: " if which else ""

    def sized(limits: JointLimits) -> Vessel:
        return in_fired_size(replace(view, joint=limits), metal, ceramic)

    def fitting(limits: JointLimits, wanted: Layout) -> Iterator[tuple[Vessel, Layout]]:
        """A vessel within other limits, and its transition."""
        found = placed(sized(limits), wanted)
        if found is not None and allowed(sized(limits), found) and found != own:
            design = Design(layout.having(which, found), printer.dead_volume)
            yield laid(vessel, metal.name, ceramic.name, below, design), found

    n = len(own.shares)
    if 0 < n == joint.blends:
        for one, _ in fitting(replace(joint, blends=n + 1), split(own, n + 1, printer.layer)):
            yield f"{at}blends from {n} to {n + 1}", one
    tall = TALLER * joint.height
    stretched = tuple(TALLER * height for height in own.each)
    anywhere = replace(joint, lowest=bottom, highest=top)  # so far as what is kept leaves it
    given, placeless = sized(joint), sized(anywhere)
    if stretched:
        wanted = replace(own, height=min(stretched), heights=stretched)
        for one, found in fitting(replace(joint, height=tall), wanted):
            if not allowed(given, found):
                needed = np.ceil(1e4 * found.total - 1e-6) / 10.0
                yield f"{at}height_mm from {1e3 * joint.height:.4g} to {needed:.4g}", one
    least = NEARER * joint.keep
    low = max(joint.lowest - joint.keep, bottom + least)
    high = min(joint.highest + joint.keep, top - least)
    wider = replace(joint, lowest=low, highest=high, keep=least)
    freed = replace(anywhere, foot=FREE, rim=FREE, foot_height=0.0, rim_height=0.0)
    foot = replace(freed, foot=joint.foot, foot_height=joint.foot_height)
    rim = replace(freed, rim=joint.rim, rim_height=joint.rim_height)
    held = {
        f'height of the {end} band from "{word}" to "{FREE}"': limits
        for end, word, limits in zip(
            end_names(joint), (joint.foot, joint.rim), (foot, rim), strict=True
        )
        if word != FREE
    }
    aims = []
    for end in (bottom, top) if held else ():
        places = np.linspace(end, own.middle, PLACES, endpoint=False)
        reached = (fitting(freed, replace(own, middle=float(middle))) for middle in places)
        for _, furthest in next(filter(None, map(list, reached)), []):
            aims += [furthest.middle, 0.5 * (furthest.middle + own.middle)]
    first, last = place_range(view)
    for limits, middle in (
        *((wider, middle) for middle in (low, high)),
        *((anywhere, middle) for middle in (bottom, 0.5 * (bottom + top), top)),
        *((freed, middle) for middle in aims),
    ):
        for one, found in fitting(limits, replace(own, middle=middle)):
            if allowed(given, found):
                continue
            tenths = 1e4 * found.middle
            asked = {
                "lowest_mm": (np.floor(tenths + 1e-6) / 10.0, found.middle < first - SLACK),
                "highest_mm": (np.ceil(tenths - 1e-6) / 10.0, found.middle > last + SLACK),
                "keep_mm": (
                    1e3 * limits.keep,
                    limits.keep < joint.keep and not allowed(placeless, found),
                ),
            }
            told = [
                end
                for end, one_held in held.items()
                if limits is freed and not allowed(sized(one_held), found)
            ]
            told += [f"{key} to {to:.4g}" for key, (to, past) in asked.items() if past]
            yield f"{at}{', '.join(told)}", one
