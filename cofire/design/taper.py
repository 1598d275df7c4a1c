"""The proposal with its metal thinned towards the joint: a feather edge, judged by the solid.

A metal that is thin beside a joint gives way there (Housekeeper's seal of copper on glass: common
knowledge), and the ceramic behind it keeps its wall. It pays where a thick wall meets a soft metal
and the pastes change without mixing. Where they mix in the chamber, what is thin is a blend that
hardly yields; there a thin wall helps as a larger chamber does, by spreading the mix over more
height, most with both sides thinned. Beside a joint that is graded already neither brings much.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.check import Check
from cofire.design.candidates import ROUGH, Bench
from cofire.design.constraints import allowed
from cofire.design.fired_size import decay_length, in_fired_size, linear
from cofire.design.margins import SAMPLES, SEED, Shift, print_shifts
from cofire.design.objective import Outcome, Sample, draw, nominal, odds
from cofire.design.settling import odds_by_solid, ratios_by_solid
from cofire.design.transition import Layout
from cofire.errors import CofireError, InputError
from cofire.materials.card import Card
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.vessel import THINNEST, Taper, Vessel

ROADS = (1, 2)
"""Breadths of the wall at the joint that are tried. [roads]"""
LENGTHS = (1.0, 2.0, 4.0)
"""Lengths over which the metal thins that are tried. [decay lengths]"""
SHOULDER = 1.05
"""Least height over which the ceramic comes back to its wall: shorter, lines of the solid square to
the wall would cross where it bends. [walls]"""
OVERHANG = 1.8
"""Of the difference between the walls, where the ceramic is laid over the thin metal: its inside
then leans out by no more than 45° (common practice; 16/9 is the steepest of the taper). [-]"""
WAIST = 2.0
"""Least length of a taper of which the ceramic's side is tried as long as the metal's: where pastes
mix in the chamber, a thin wall spreads them over more height. [decay lengths]"""
WORTH = 0.03
"""Gain of the chance below which a taper is not offered: our choice. [-]"""
LIGHTER = 0.9
"""Of the proposal's load with the cards as they stand: tapers that come to more are left. [-]"""
JUDGED = 2
"""Most tapers that are asked for their chance; the best of them is fired as a solid. [-]"""
TOLD = 2
"""Times the samples of shells, over which the chances of solids are told. [-]"""
MIXED = "the pastes mix at the change"
"""Last words of the shift that tells what a chamber would do."""


@dataclass(frozen=True)
class Tapered:
    """The proposal with its metal thinned towards the joint.

    Attributes
    ----------
    taper
        Its form.
    roads
        Of the nozzle at the joint. [-]
    decays
        Length of the taper in decay lengths of the wall at the joint. [-]
    wall
        At the joint as proposed. [m]
    metal
        Fired volume of metal in the vessel over that of the proposal. [-]
    vessel
        In the proposal's firing.
    check
        Of it, on a solid.
    before, after
        Of the proposal and of it, each put right by its own solid, over the same samples.
    shifts
        What the print may do to it, the one that costs most first; last what the usual chamber
        would do, where the file gives no printer.
    """

    taper: Taper
    roads: int
    decays: float
    wall: float
    metal: float
    vessel: Vessel
    check: Check
    before: Outcome
    after: Outcome
    shifts: tuple[Shift, ...]


def tapers(
    vessel: Vessel, layout: Layout, metal: Card, below: bool
) -> list[tuple[int, float, Taper]]:
    """Tapers to try: roads at the joint, length in decay lengths, and form.

    First those of the metal, then waists, whose ceramic thins over as much height.

    Parameters
    ----------
    vessel : Vessel
        The proposal.
    layout : Layout
        Its transition; the wall is thinnest at its middle.
    metal : Card
        Of its metal zone.
    below : bool
        Whether the metal stands below.

    Returns
    -------
    list of tuple
        None where the wall is no thicker than a road.
    """
    at = layout.middle
    wall = float(np.interp(at, vessel.height, vessel.wall))
    decay, road = decay_length(vessel, at), vessel.printer.nozzle * linear(metal)
    found = []
    for roads in ROADS:
        least = max(roads * road, THINNEST)
        if least >= wall:
            continue
        shoulder = max(SHOULDER * wall, OVERHANG * (wall - least) if below else 0.0)
        for decays in LENGTHS:
            found.append((roads, decays, Taper(at, least, decays * decay, shoulder, below)))
    waists = [(roads, decays, replace(f, shoulder=f.length)) for roads, decays, f in found]
    return found + [w for w in waists if w[0] == ROADS[0] and w[1] >= WAIST]


def propose_taper(
    bench: Bench,
    vessel: Vessel,
    layout: Layout,
    last: Check,
    check: Callable[[Vessel], Check],
    samples: int = SAMPLES,
) -> Tapered | None:
    """The taper that keeps most pots, where one keeps enough more and bears what a print does.

    Shells find the best; its solid decides, over samples that no search has seen.

    Parameters
    ----------
    bench : Bench
        With the cards as they stand.
    vessel : Vessel
        The proposal, in its firing.
    layout : Layout
        Its transition.
    last : Check
        Of the proposal.
    check : callable
        Gives the check of a vessel.
    samples : int
        Over which shells are asked; solids, over `TOLD` times as many. [-]

    Returns
    -------
    Tapered or None
        None where none keeps `WORTH` more by its own solid, or where half a road, a layer or a
        fifth of the dead volume takes the gain away; none is tried at two joints.
    """
    if layout.upper is not None:
        return None
    metal, ceramic, below = bench.zones(vessel)
    rough = bench.on(ROUGH)
    own = replace(rough, ratios=ratios_by_solid(rough, vessel, last))
    forms, vessels = [], [vessel]
    held = allowed(in_fired_size(vessel, metal, ceramic), layout)
    for tried in tapers(vessel, layout, metal, below):
        thin = vessel.with_taper(tried[2])
        keeps = not held or allowed(in_fired_size(thin, metal, ceramic), layout)
        if keeps and _can_be_cut(thin, tried[2].at):
            forms.append(tried)
            vessels.append(thin)
    likely = _likely(own, vessels, samples)
    if not likely:
        return None
    ways = draw(own, vessel, TOLD * samples, SEED + 1)
    before = odds_by_solid(ways, own, vessel, last)
    if before is None:
        return None
    (roads, decays, form), one = forms[likely[0] - 1], vessels[likely[0]]
    try:
        checked = check(one)
    except CofireError:
        return None
    # where no solid could be cut a shell does not decide
    after = None if checked.why else odds_by_solid(ways, own, one, checked)
    if after is None or not _gains(after, before):
        return None
    wall = float(np.interp(form.at, vessel.height, vessel.wall))
    left = _metal(one, form) / _metal(vessel, form)
    best = Tapered(form, roads, decays, wall, left, one, checked, before, after, ())
    shifts = _shifted(own, best, ways)
    printed = [s for s in shifts if not s.what.endswith(MIXED)]
    if best.after.chance + min(s.change for s in printed) < best.before.chance:
        return None
    return replace(best, shifts=shifts)


def _can_be_cut(vessel: Vessel, at: float) -> bool:
    """Whether a solid can be cut: not where a thick ring would fold or pass the axis."""
    try:
        mesh_solid(vessel.radius, vessel.height, vessel.wall, [at], corners=vessel.corners or None)
    except InputError:
        return False
    return True


def _likely(bench: Bench, vessels: Sequence[Vessel], samples: int) -> list[int]:
    """Which of some vessels keep enough more than the first by their shells, the best first."""
    known = nominal(bench, vessels)
    loads = [np.inf if o is None else o.load for o in known]
    lighter = [k for k in range(1, len(known)) if loads[k] <= LIGHTER * loads[0]]
    some = [0, *sorted(lighter, key=loads.__getitem__)[:JUDGED]]
    if known[0] is None or len(some) == 1:
        return []
    ways = draw(bench, vessels[0], samples, SEED)
    first, *rest = odds(bench, ways, [vessels[k] for k in some], [known[k] for k in some])
    assert first is not None
    found = [
        (o.cost, k)
        for k, o in zip(some[1:], rest, strict=True)
        if o is not None and _gains(o, first)
    ]
    return [k for _, k in sorted(found)]


def _gains(after: Outcome, before: Outcome) -> bool:
    """Whether a taper keeps enough more."""
    return after.chance >= before.chance + WORTH


def _metal(vessel: Vessel, form: Taper) -> float:
    """Fired volume of the wall on the metal's side of the joint. [m³]"""
    z = (
        np.linspace(0.0, form.at, 400)
        if form.below
        else np.linspace(form.at, vessel.height[-1], 400)
    )
    side = slice(1, None) if vessel.radius[0] == 0.0 else slice(None)
    radius, wall = (
        np.interp(z, vessel.height[side], v[side]) for v in (vessel.radius, vessel.wall)
    )
    return float(np.trapezoid(2.0 * np.pi * radius * wall, z))


def _shifted(bench: Bench, found: Tapered, samples: Sequence[Sample]) -> tuple[Shift, ...]:
    """What the print may do to it, over samples put right by its solid."""
    vessel, printer = found.vessel, found.vessel.printer
    ratios = ratios_by_solid(bench, vessel, found.check)
    own = replace(bench, ratios=ratios, drawn=True)
    moved = [(what, shift.vessel(vessel)) for what, shift in print_shifts(own, printer)]
    mixed = f"{1e6 * printer.dead_volume:.2g} ml in which {MIXED}"
    if not printer.given:
        moved.append((mixed, replace(vessel, printer=replace(printer, given=True))))
    vessels = [one for _, one in moved]
    outcomes = odds(own, samples, vessels, nominal(own, vessels))
    shifts = [
        Shift(what, (0.0 if o is None else o.chance) - found.after.chance)
        for (what, _), o in zip(moved, outcomes, strict=True)
    ]
    return tuple(sorted(shifts, key=lambda s: (s.what == mixed, s.change)))
