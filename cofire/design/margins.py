"""How a proposal bears what a print does to it, and which limit it would pay to relax first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from cofire.design.candidates import Bench
from cofire.design.constraints import allowed, in_fired_size, placed
from cofire.design.objective import Outcome, Sample, draw, nominal, odds
from cofire.design.search import Design, laid, split
from cofire.design.transition import Layout
from cofire.vessel import Vessel

LAYER, ROAD, DEAD = 1.0, 0.5, 0.2
"""By how much a change of paste comes out too high or low [layers], the wall too thick or thin
[roads], and the dead volume too large or small, of itself [-]."""
TALLER, NEARER, THINNER, THICKER, LARGER = 1.5, 0.5, 0.7, 1.3, 2.0
"""Of what a file allows: the transition's height, the ends' least heights, the wall each way, and
the dead volume each way, where a limit is relaxed: our choice. [-]"""
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


def margins(
    bench: Bench, vessel: Vessel, layout: Layout, *, relax: bool, samples: int = SAMPLES
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

    Returns
    -------
    Margins or None
        None where the proposal itself cannot be fired on the coarse mesh.
    """
    moved = [(what, shift.vessel(vessel)) for what, shift in print_shifts(bench)]
    beyond = list(_beyond(bench, vessel, layout)) if relax else []
    tried = nominal(bench, [one for _, one in beyond])
    best: dict[str, tuple[float, int]] = {}
    for k, ((what, _), outcome) in enumerate(zip(beyond, tried, strict=True)):
        if outcome is not None:
            best[what] = min(best.get(what, (float("inf"), k)), (outcome.load, k))
    chosen = [(what, beyond[k][1]) for what, (_, k) in best.items()]
    vessels = [vessel, *(one for _, one in (*moved, *chosen))]
    found = odds(bench, draw(bench, vessel, samples, SEED), vessels, nominal(bench, vessels))
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
        and (outcome.load < own.load or outcome.chance > own.chance + SEEN)
    ]
    shifts.sort(key=lambda s: s.change)
    relaxed.sort(key=lambda r: (-r.change, r.load))
    return Margins(own.chance, own.load, tuple(shifts), tuple(relaxed), samples)


def _chance(outcome: Outcome | None) -> float:
    """That a pot is kept; none is where it cannot be fired. [-]"""
    return 0.0 if outcome is None else outcome.chance


def print_shifts(bench: Bench) -> list[tuple[str, Sample]]:
    """One shift at a time, as a sample that moves nothing else."""
    still = Sample(bench, 0.0, 1.0, 0.0, 0.0, {})
    return [
        ("changes of paste a layer higher", replace(still, place=LAYER)),
        ("changes of paste a layer lower", replace(still, place=-LAYER)),
        ("wall half a road thicker", replace(still, wall=ROAD)),
        ("wall half a road thinner", replace(still, wall=-ROAD)),
        ("20 % more paste before the nozzle", replace(still, dead=1.0 + DEAD)),
        ("20 % less paste before the nozzle", replace(still, dead=1.0 - DEAD)),
    ]


def _beyond(bench: Bench, vessel: Vessel, layout: Layout) -> Iterator[tuple[str, Vessel]]:
    """A limit's name and a vessel beyond it, a few for each."""
    joint, printer = vessel.joint, vessel.printer
    metal, ceramic, below = bench.zones(vessel)

    def fitting(limits: Vessel, wanted: Layout) -> Iterator[Vessel]:
        sized = in_fired_size(limits, metal, ceramic)
        found = placed(sized, wanted)
        if found is not None and allowed(sized, found) and found != layout:
            design = Design(found, limits.printer.dead_volume)
            yield laid(limits, metal.name, ceramic.name, below, design)

    n = len(layout.shares)
    if 0 < n == joint.blends:
        more = replace(vessel, joint=replace(joint, blends=n + 1))
        for one in fitting(more, split(layout, n + 1, printer.layer)):
            yield f"blends from {n} to {n + 1}", one
    tall = TALLER * joint.height
    taller = replace(vessel, joint=replace(joint, height=tall))
    stretched = tuple(TALLER * height for height in layout.each)
    if stretched:
        wanted = replace(layout, height=min(stretched), heights=stretched)
        for one in fitting(taller, wanted):
            yield f"height_mm from {1e3 * joint.height:.3g} to {1e3 * tall:.3g}", one
    keep = NEARER * joint.keep
    low = max(joint.lowest - joint.keep, keep)
    high = min(joint.highest + joint.keep, float(vessel.height[-1]) - keep)
    wider = replace(vessel, joint=replace(joint, lowest=low, highest=high, keep=keep))
    for middle in (low, high):
        for one in fitting(wider, replace(layout, middle=middle)):
            word = "lowest_mm" if middle == low else "highest_mm"
            yield f"{word} to {1e3 * middle:.3g}, keep_mm to {1e3 * keep:.3g}", one
    wall = float(vessel.wall[-1])
    for factor in (THINNER, THICKER):
        other = replace(vessel, wall=factor * vessel.wall)
        yield f"wall_mm from {1e3 * wall:.2g} to {1e3 * factor * wall:.2g}", other
    dead = printer.dead_volume
    for factor in (LARGER, 1.0 / LARGER):
        chamber = replace(vessel, printer=replace(printer, dead_volume=factor * dead))
        what = f"dead_volume_ml from {1e6 * dead:.2g} to {1e6 * factor * dead:.2g}"
        yield what, chamber
