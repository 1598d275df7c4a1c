"""The whole plan for one vessel: check as given, layers, schedule, check again, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from cofire.errors import CofireError
from cofire.inputs.cards import Card
from cofire.inputs.firing import LAG, simple_firing
from cofire.inputs.vessel import Vessel
from cofire.planning.flags import GO, Flag
from cofire.planning.layers import (
    COARSE,
    COARSE_FINENESS,
    LayerSearch,
    Layout,
    as_vessel,
    neighbours,
    propose_layers,
    ranked,
    try_layouts,
    zones,
)
from cofire.planning.response import Response, fire_vessel
from cofire.planning.schedule import Schedule, propose_schedule
from cofire.planning.screening import STUDIO_GASES, screen
from cofire.planning.verdict import Verdict, judge
from cofire.planning.windows import RATE
from cofire.structures.marching import Control

FINE = Control(relative_tolerance=2e-3, stress_tolerance=2e3)
FINE_FINENESS = 1.5
ROUNDS = 2
THINNER = 0.7
PARTNERS = 2


@dataclass(frozen=True)
class Alternative:
    """Something else to try, and the load its worst flag would reach.

    `load` is the largest share of a limit used up, not finite where it cannot be had. [-]
    """

    what: str
    load: float
    worst: Flag | None
    note: str = ""


@dataclass(frozen=True)
class Plan:
    """A plan: as given, as proposed, and what else there is.

    Attributes
    ----------
    given, given_verdict
        The vessel as its file has it.
    response, verdict
        The proposal, on a finer mesh and finer steps than the search used.
    layout
        Its transition.
    layers, schedule
        The two searches.
    alternatives
        Best first; empty where the proposal is a go.
    finished
        False where a search was interrupted: the best so far.
    """

    given: Response
    given_verdict: Verdict
    response: Response
    verdict: Verdict
    layout: Layout
    layers: LayerSearch
    schedule: Schedule | None
    alternatives: tuple[Alternative, ...]
    finished: bool


def propose(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    tell: Callable[[str], None] | None = None,
) -> Plan:
    """Plan one vessel: layers and schedule in turn until neither changes the verdict.

    Deterministic. An interrupt ends the search with the best so far, marked as unfinished.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic zone.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    tell : callable, optional
        Is given one line about each stage.

    Returns
    -------
    Plan
        The proposal is never worse than the vessel as given, by the flags' worst load.

    Raises
    ------
    CofireError
        The vessel cannot be planned: the message names what binds.
    """
    say = tell or (lambda line: None)
    metal, ceramic, below = zones(vessel, cards)
    given = fire_vessel(vessel, cards, extend=extend)
    given_verdict = judge(given)
    say(f"as given: {given_verdict.word}, {given_verdict.worst.rule}")
    layers = propose_layers(
        vessel, cards, extend=extend, progress=lambda n, of: say(f"layers: {n} of {of}")
    )
    layout, schedule = layers.best.layout, None
    finished = layers.finished
    best = as_vessel(vessel, metal.name, ceramic.name, below, layout)
    try:
        load = layers.best.load
        for _ in range(ROUNDS):
            found = propose_schedule(
                best, cards, extend=extend, progress=lambda n: say(f"schedule: {n}")
            )
            if schedule is not None and found.load > 0.99 * load:
                break
            if found.load <= 1.02 * load or schedule is None:
                schedule, load = found, min(found.load, load)
                best = replace(best, firing=found.firing)
            near = [layout, *neighbours(best, layout)]
            top = ranked(list(try_layouts(best, cards, near, extend)))[0]
            if top.layout == layout:
                break
            layout, load = top.layout, top.load
            best = as_vessel(best, metal.name, ceramic.name, below, layout)
    except KeyboardInterrupt:
        finished = False
    response = fire_vessel(best, cards, extend=extend, control=FINE, fineness=FINE_FINENESS)
    verdict = judge(response)
    if given_verdict.load < verdict.load:
        response, verdict, layout, schedule = given, given_verdict, _as_given(vessel), None
    others: tuple[Alternative, ...] = ()
    if verdict.grade > GO and finished:
        say("alternatives")
        others = alternatives(best, cards, layout, extend)
    return Plan(given, given_verdict, response, verdict, layout, layers, schedule, others, finished)


def _as_given(vessel: Vessel) -> Layout:
    return Layout((), 0.0, vessel.bands[0].high)


def alternatives(
    vessel: Vessel, cards: Mapping[str, Card], layout: Layout, extend: bool
) -> tuple[Alternative, ...]:
    """Other partners, a thinner wall, the other order: the load that each would reach.

    Each keeps the proposal's transition and its kind of firing; a partner is fired at the middle
    of its own window.

    Parameters
    ----------
    vessel : Vessel
        The proposal.
    cards : mapping
        Materials by name.
    layout : Layout
        Its transition.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    tuple of Alternative
        Best first.
    """
    metal, ceramic, below = zones(vessel, cards)
    found = [
        _try(
            f"a wall of {1e3 * THINNER * float(vessel.wall.max()):.1f} mm",
            replace(vessel, wall=THINNER * vessel.wall), cards, extend,
        ),
        _try(
            "the zones in the other order",
            as_vessel(vessel, metal.name, ceramic.name, not below, layout), cards, extend,
        ),
    ]  # fmt: skip
    metals = [c for c in cards.values() if c.kind == "metal"]
    bodies = [c for c in cards.values() if c.kind == "ceramic"]
    gases = tuple(dict.fromkeys([vessel.firing.gas, *STUDIO_GASES]))
    for one, other in (([metal], bodies), (metals, [ceramic])):
        pairs = [
            p
            for p in screen(one, other, vessel.firing.kiln, gases)
            if p.verdict != "no" and (p.metal, p.ceramic) != (metal.name, ceramic.name)
        ]
        for pair in pairs[:PARTNERS]:
            assert pair.window is not None
            hold = pair.window.hold + 4.0 * LAG[pair.gas]
            firing = simple_firing(vessel.firing.kiln, pair.window.peak, hold, RATE, pair.gas)
            new = replace(as_vessel(vessel, pair.metal, pair.ceramic, below, layout), firing=firing)
            found.append(_try(f"{pair.metal} with {pair.ceramic}, in {pair.gas}", new, cards, True))
    return tuple(sorted(found, key=lambda a: (not np.isfinite(a.load), a.load)))


def _try(what: str, vessel: Vessel, cards: Mapping[str, Card], extend: bool) -> Alternative:
    """The load that one alternative reaches, or why it cannot be had."""
    try:
        response = fire_vessel(
            vessel, cards, extend=extend, control=COARSE, fineness=COARSE_FINENESS
        )
        verdict = judge(response)
    except CofireError as error:
        return Alternative(what, float("nan"), None, str(error))
    worst = max(verdict.flags, key=lambda f: 1.0 if f.load != f.load else f.load)
    return Alternative(what, verdict.load, worst)
