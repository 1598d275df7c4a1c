"""How a proposal bears what a print does to it, and which limit it would pay to relax first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from cofire.design.candidates import Bench
from cofire.design.constraints import (
    SLACK,
    allowed,
    beside,
    keep,
    leaves_pure,
    place_range,
    placed,
)
from cofire.design.fired_size import in_fired_size
from cofire.design.firings import Setting, frame, near
from cofire.design.objective import Outcome, Sample, draw, nominal, odds
from cofire.design.search import Design, laid, split
from cofire.design.transition import Layout
from cofire.errors import CofireError
from cofire.firing.controller import changes_at, programmes, switched_off
from cofire.firing.kiln import trace
from cofire.firing.program import Firing, Segment
from cofire.materials.card import Card
from cofire.units import HOUR
from cofire.vessel import JointLimits, Printer, Vessel

LAYER, ROAD, DEAD = 1.0, 0.5, 0.2
"""By how much a change of paste comes out too high or low [layers], the wall too thick or thin
[roads], and the dead volume too large or small, of itself [-]."""
TALLER, NEARER, THINNER, THICKER, LARGER = 1.5, 0.5, 0.7, 1.3, 2.0
"""Of what a file allows: the transition's height, the ends' least heights, the wall each way, and
the dead volume each way, where a limit is relaxed: our choice. [-]"""
LESS = 0.995
"""Of a load: one that is less is told as less, with three digits. [-]"""
SEEN = 0.005
"""Gain of chance below which a limit is not worth relaxing unless the load falls too: our choice.
[-]"""
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
) -> Margins | None:
    """What shifts of the print cost a proposal, and what relaxed limits would bring it.

    Only a few designs are tried beyond each limit, straight along it, so a gain is at least that.

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
    found = odds(luck, draw(bench, vessel, samples, SEED), vessels, nominal(luck, vessels))
    own, rest = found[0], found[1:]
    if own is None:
        return None
    shifts = [
        Shift(what, _chance(outcome) - own.chance)
        for (what, _), outcome in zip(moved, rest[: len(moved)], strict=True)
    ]
    relaxed = [
        Relaxed(what, outcome.load, outcome.chance - own.chance)
        for (what, _), outcome in zip(chosen, rest[len(moved) :], strict=True)
        if outcome is not None
        and outcome.cost < own.cost
        and (outcome.load < LESS * own.load or outcome.chance > own.chance + SEEN)
    ]
    shifts.sort(key=lambda s: s.change)
    return Margins(own.chance, own.load, tuple(shifts), _first_first(relaxed), samples)


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
    wall = float(vessel.wall[-1])
    free = vessel.free
    if free.roads:
        metal, ceramic, _ = bench.zones(vessel)
        road = in_fired_size(vessel, metal, ceramic).printer.nozzle
        count = round(wall / road)
        for step, what in ((-1.0, "wall_mm"), (1.0, "wall_mm"), (-0.5, "roads"), (0.5, "roads")):
            other_wall = wall + step * road
            if other_wall > 0.5 * road and (
                what == "roads" or _beyond_range(other_wall, free.wall)
            ):
                told = f"from {1e3 * wall:.3g} to {1e3 * other_wall:.3g}"
                if what == "roads":
                    told = f'from "whole" to "any", wall_mm {told}'
                else:
                    told += f" ({count + round(step)} roads)"
                yield f"{what} {told}", vessel.with_wall(other_wall)
    for factor in () if free.roads else (THINNER, THICKER):
        if not _beyond_range(factor * wall, free.wall):
            continue
        told = f"wall_mm from {1e3 * wall:.2g} to {1e3 * factor * wall:.2g}"
        yield told, vessel.with_wall(factor * wall)
    dead = printer.dead_volume
    for factor in (LARGER, 1.0 / LARGER):
        if not _beyond_range(factor * dead, free.dead_volume):
            continue
        chamber = replace(vessel, printer=replace(printer, dead_volume=factor * dead))
        what = f"dead_volume_ml from {1e6 * dead:.2g} to {1e6 * factor * dead:.2g}"
        metal, ceramic, _ = bench.zones(chamber)
        if not leaves_pure(in_fired_size(chamber, metal, ceramic), layout):
            what += f" and keep_mm from {1e3 * keep(vessel):.3g} to 0"
        yield what, chamber


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

    def fitting(limits: JointLimits, wanted: Layout) -> Iterator[tuple[Vessel, Layout]]:
        """A vessel within other limits, and its transition."""
        sized = in_fired_size(replace(view, joint=limits), metal, ceramic)
        found = placed(sized, wanted)
        if found is not None and allowed(sized, found) and found != own:
            design = Design(layout.having(which, found), printer.dead_volume)
            yield laid(vessel, metal.name, ceramic.name, below, design), found

    n = len(own.shares)
    if 0 < n == joint.blends:
        for one, _ in fitting(replace(joint, blends=n + 1), split(own, n + 1, printer.layer)):
            yield f"{at}blends from {n} to {n + 1}", one
    tall = TALLER * joint.height
    stretched = tuple(TALLER * height for height in own.each)
    if stretched:
        wanted = replace(own, height=min(stretched), heights=stretched)
        for one, _ in fitting(replace(joint, height=tall), wanted):
            yield f"{at}height_mm from {1e3 * joint.height:.3g} to {1e3 * tall:.3g}", one
    least = NEARER * joint.keep
    low = max(joint.lowest - joint.keep, bottom + least)
    high = min(joint.highest + joint.keep, top - least)
    wider = replace(joint, lowest=low, highest=high, keep=least)
    anywhere = replace(joint, lowest=bottom, highest=top)  # so far as what is kept leaves it
    given, placeless = (
        in_fired_size(replace(view, joint=limits), metal, ceramic) for limits in (joint, anywhere)
    )
    first, last = place_range(view)
    for limits, middle in (
        *((wider, middle) for middle in (low, high)),
        *((anywhere, middle) for middle in (bottom, 0.5 * (bottom + top), top)),
    ):
        for one, found in fitting(limits, replace(own, middle=middle)):
            if allowed(given, found):
                continue
            tenths = 1e4 * found.middle
            asked = {
                "lowest_mm": (np.floor(tenths + 1e-6) / 10.0, found.middle < first - SLACK),
                "highest_mm": (np.ceil(tenths - 1e-6) / 10.0, found.middle > last + SLACK),
                "keep_mm": (1e3 * limits.keep, not allowed(placeless, found)),
            }
            told = (f"{key} to {to:.4g}" for key, (to, past) in asked.items() if past)
            yield f"{at}{', '.join(told)}", one
