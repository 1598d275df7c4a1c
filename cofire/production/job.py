"""What the user takes to printer and kiln for one fired vessel, and what the kiln does when."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from cofire.assessment.check import Check
from cofire.assessment.mismatch import (
    BEGUN,
    BINDER_GONE,
    BINDER_LEAVES,
    DONE,
    HOTTEST,
    WATER_GONE,
    Event,
    hottest,
    mismatch,
)
from cofire.assessment.packing import Packing, packed
from cofire.assessment.response import Response
from cofire.assessment.verdict import Verdict
from cofire.errors import CofireError
from cofire.firing.kiln import Trace
from cofire.firing.program import Segment
from cofire.materials.card import Card, pure_cards
from cofire.physics.history import burnout
from cofire.production.changeovers import Changeover, changeovers, purity
from cofire.production.green import Green, Refired, green_to_size, green_vessel
from cofire.production.paste import (
    BandPaste,
    Batch,
    Cost,
    band_pastes,
    batches,
    cost,
    piece_batches,
)
from cofire.production.piece import Piece
from cofire.production.pieces import pieces_for
from cofire.production.printed_solid import Overhang, overhangs
from cofire.units import kelvin

# ----------------------------------------------------------------------------------------------
# What the kiln does segment by segment, and what happens to the ware when

BEHIND = 0.99
"""A kiln slower than this share of the rate asked for counts as behind. [-]"""
TOGETHER = 300.0
"""Events of one name closer than this are told as one. [s]"""
BURNOUT = (BINDER_LEAVES, BINDER_GONE, WATER_GONE)
"""Events told once for all materials: the kiln is vented from the first to the last of them."""
COLD = "below 100 °C"
OPEN = kelvin(100.0)
"""A kiln is opened with its ware below this: common practice. [K]"""


@dataclass(frozen=True)
class Step:
    """One segment as the kiln does it; the last step has none and is the shut kiln's cooling.

    Attributes
    ----------
    segment
        As asked.
    start, reached, end
        Of the ramp, of the hold, and of both. [s]
    ware
        At the end. [K]
    asked
        Time that the ramp should take; 0 where it is to be as fast as the kiln can. [s]
    behind
        Kiln temperature from which it is slower than asked; None where it never is. [K]
    """

    segment: Segment | None
    start: float
    reached: float
    end: float
    ware: float
    asked: float
    behind: float | None


CHANGE = re.compile(r"(\w+) to (\w+)( \w+)?")
"""A change of phase as a card names it: from, to, and of what where it says so."""
GAS_COMES = {
    "air": "open to air from here",
    "carbon": "fill carbon round the pot where it stands, close the box here",
    "inert": "inert gas from here",
    "hydrogen": "hydrogen from here, purge first",
}
"""What is done at the kiln where a gas comes, by gas."""


@dataclass(frozen=True)
class Happening:
    """An event of the firing: its materials, and how hot ware and kiln are then. [s], [K], [K]

    Attributes
    ----------
    earliest
        How hot the kiln is when binder would begin to leave ware that does not lag behind it, as
        none may that stands bare; `kiln` of any other event. [K]
    """

    name: str
    zones: tuple[str, ...]
    time: float
    ware: float
    kiln: float
    earliest: float


def kiln_steps(segments: tuple[Segment, ...], curve: Trace) -> list[Step]:
    """The segments of a firing as its kiln follows them, and the cooling after the last.

    Parameters
    ----------
    segments : tuple of Segment
        As asked.
    curve : Trace
        From `trace`, of the same firing.

    Returns
    -------
    list of Step
        One more than there are segments.
    """
    last = curve.time.size - 1
    found = [_step(s, curve, *nodes) for s, nodes in zip(segments, curve.segments, strict=True)]
    return [*found, _step(None, curve, curve.segments[-1][-1], last, last)]


def _step(segment: Segment | None, curve: Trace, start: int, reached: int, end: int) -> Step:
    """One step between three nodes of a trace."""
    asked, behind = 0.0, None
    if segment is not None and np.isfinite(segment.rate):
        kiln = curve.kiln[start : reached + 1]
        asked = abs(float(kiln[-1] - kiln[0])) / segment.rate
        rate = np.abs(np.diff(kiln)) / np.diff(curve.time[start : reached + 1])
        slow = np.flatnonzero(rate < BEHIND * segment.rate)
        behind = float(kiln[slow[0]]) if slow.size else None
    first, second, third = (float(curve.time[k]) for k in (start, reached, end))
    return Step(segment, first, second, third, float(curve.ware[end]), asked, behind)


def pure_materials(response: Response) -> list[Card]:
    """Every metal and ceramic of the vessel, those that only stand in a blend included.

    Returns
    -------
    list of Card
        From the foot up.
    """
    return list(pure_cards(response.cards).values())


def happenings(response: Response) -> list[Happening]:
    """What happens to the vessel's materials along its firing, until it may be opened.

    Returns
    -------
    list of Happening
        In order of time; events of one name that coincide are one, and so is burnout.
    """
    curve, firing = response.trace, response.vessel.firing
    first, *others = pure_materials(response)
    events = {
        event
        for other in others or [first]
        for event in mismatch(first, other, firing, extend=True).events
    }
    return _in_order(events, curve)


def firing_happenings(curve: Trace) -> list[Happening]:
    """What happens along a firing whatever stands in the kiln: binder, gases, the hottest, the end.

    Parameters
    ----------
    curve : Trace
        What kiln and ware do.

    Returns
    -------
    list of Happening
        In order of time.
    """
    nodes = {HOTTEST: hottest(curve.ware)}
    if burnout(curve)[0][-1] > 0.0:
        nodes[BINDER_LEAVES] = _burnt(curve, BEGUN)
        nodes[BINDER_GONE] = _burnt(curve, DONE)
    events = {
        Event(name, "", float(curve.time[node]), float(curve.ware[node]))
        for name, node in nodes.items()
    }
    return _in_order(events, curve)


def _burnt(curve: Trace, share: float) -> int:
    """Node at which a share of the binder that leaves has left."""
    binder, _ = burnout(curve)
    return int(np.argmax(binder > share * binder[-1]))


def _in_order(events: set[Event], curve: Trace) -> list[Happening]:
    """Events of materials with those of the kiln, by time, those of one name that coincide as one.

    The kiln's are its changes of gas and that the ware may be taken out.
    """
    top = int(np.argmax(curve.ware))
    cold = top + int(np.argmax(curve.ware[top:] < OPEN))
    if curve.ware[top] > OPEN:
        events.add(Event(COLD, "", float(curve.time[cold]), float(curve.ware[cold])))
    for s in curve.stretches[1:]:
        events.add(
            Event(GAS_COMES[s.gas], "", float(curve.time[s.first]), float(curve.ware[s.first]))
        )
    groups: list[list[Event]] = []
    for event in sorted(events, key=lambda e: (e.time, e.zone, e.name)):
        same = [group for group in groups if group[0].name == event.name]
        if same and (event.name in BURNOUT or event.time - same[-1][0].time < TOGETHER):
            same[-1].append(event)
        else:
            groups.append([event])
    return sorted((_happening(group, curve) for group in groups), key=lambda h: h.time)


def _happening(group: list[Event], curve: Trace) -> Happening:
    """Events of one name as one: the first of them, or the last of what has gone.

    A card names a change of phase as it goes on heating ("alpha to gamma iron"); on cooling it is
    told the other way round.
    """
    event = group[-1] if group[0].name in BURNOUT[1:] else group[0]
    zones = tuple(dict.fromkeys(e.zone for e in group if e.zone))
    name, hottest = event.name, float(curve.time[int(np.argmax(curve.ware))])
    if event.time > hottest and (way := CHANGE.fullmatch(name)):
        name = f"{way[2]} to {way[1]}{way[3] or ''}"
    kiln = earliest = float(np.interp(event.time, curve.time, curve.kiln))
    if name == BINDER_LEAVES:
        earliest = float(curve.kiln[_burnt(replace(curve, ware=curve.kiln), BEGUN)])
    return Happening(name, zones, event.time, event.temperature, kiln, earliest)


# ----------------------------------------------------------------------------------------------
# Everything the user takes to the printer, for one fired vessel

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Job:
    """What to print, weigh, change and test.

    Attributes
    ----------
    check
        The vessel as wanted, fired and judged as it will be printed.
    green
        What to print, shaped for the pastes as their changes mix them.
    refired
        That print as it is laid, dried and fired again by the model; None where it could not be.
    overhangs
        Steepest places, joint by joint, then of the whole wall.
    bands, batches
        Paste that stands in each band, and what to weigh for each paste.
    cost
        None where the vessel's file has no prices.
    changeovers
        One a joint.
    purity
        Most of its own paste that any layer of each band gets. [-]
    pieces, piece_batches
        Test pieces, and what to weigh for them.
    missing
        What could not be computed, and why.
    """

    check: Check
    green: Green
    refired: Refired | None
    overhangs: tuple[Overhang, ...]
    bands: tuple[BandPaste, ...]
    batches: tuple[Batch, ...]
    cost: Cost | None
    changeovers: tuple[Changeover, ...]
    purity: tuple[float, ...]
    pieces: tuple[Piece, ...]
    piece_batches: tuple[Batch, ...]
    missing: tuple[str, ...]

    @property
    def response(self) -> Response:
        """The vessel as wanted, with the bands as designed."""
        return self.check.designed

    @property
    def packing(self) -> Packing:
        """How the pot stands in its kiln: as its print dries, where the model could fire that."""
        return packed(self.check.printed, self.refired.dried if self.refired else None)

    @property
    def verdict(self) -> Verdict:
        """On the vessel as it will be printed."""
        return self.check.verdict


def job_for(check: Check, tell: Callable[[str], None] | None = None) -> Job:
    """Print, pastes, changeovers and test pieces of a vessel.

    Parameters
    ----------
    check : Check
        From `check_vessel`.
    tell : callable, optional
        Is given one line about each stage.

    Returns
    -------
    Job
        What cannot be computed is left out and named.

    Raises
    ------
    CofireError
        The vessel cannot be printed, or a card lacks what a paste needs.
    """
    say = tell or (lambda line: None)
    missing: list[str] = []

    def tried(what: str, compute: Callable[[], T]) -> T | None:
        say(what)
        try:
            return compute()
        except CofireError as error:
            missing.append(f"{what}: {error}")
            return None

    response, laid = check.designed, check.printed
    sized = tried("firing the print", lambda: green_to_size(laid, drawn=response))
    green, refired = sized or (green_vessel(laid, response), None)
    made = batches(response, green)
    pieces = tried("test pieces", lambda: pieces_for(check, green)) or []
    tested = piece_batches(response, pieces)
    return Job(
        check=check,
        green=green,
        refired=refired,
        overhangs=tuple(overhangs(green, response)),
        bands=tuple(band_pastes(response, green)),
        batches=tuple(made),
        cost=cost(response, made, tested),
        changeovers=tuple(changeovers(response, green)),
        purity=tuple(float(p) for p in purity(response, green)),
        pieces=tuple(pieces),
        piece_batches=tuple(tested),
        missing=tuple(missing),
    )
