"""What else could be done where no plan reaches go: another partner, wall, order, sleeve, firing.

Each alternative is fired in the search's coarse way and tells the load that its worst flag would
reach; some only tell why they cannot be had. The proposal stands among them, fired as coarsely.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from cofire.errors import CofireError, ModelError
from cofire.inputs.cards import Card
from cofire.inputs.firing import LAG
from cofire.inputs.vessel import Vessel
from cofire.planning.pairs.screening import STUDIO_GASES, screen
from cofire.planning.proposals.candidates import ROUGH, Bench, batches, fire_candidates
from cofire.planning.proposals.other_joints import sleeve, two_firings
from cofire.planning.proposals.settings import USUAL, Setting, frame
from cofire.planning.proposals.transition import Layout, as_vessel, zones
from cofire.planning.ware.verdict import Verdict
from cofire.planning.workers import in_pairs

THINNER = 0.7
PARTNERS = 2
"""Other partners shown for either zone. [-]"""
PROPOSED = "as proposed, on the same coarse mesh"


@dataclass(frozen=True)
class Alternative:
    """Something else to try, and the load its worst flag would reach.

    Attributes
    ----------
    what
        A few words.
    verdict
        Its flags; None where it cannot be had.
    note
        What is compared, or why it cannot be had.
    """

    what: str
    verdict: Verdict | None
    note: str = ""

    @property
    def load(self) -> float:
        """Largest share of a limit used up, infinite where it cannot be had. [-]"""
        return self.verdict.load if self.verdict else float("inf")


def alternatives(bench: Bench, vessel: Vessel, layout: Layout) -> tuple[Alternative, ...]:
    """Other partners, a thinner wall, the other order, a sleeve, two firings: what each reaches.

    The proposal itself is among them, to compare with. Wall and order keep its transition and
    firing; a partner keeps the transition and gets the usual firing of its own window; sleeve and
    two firings keep the firing alone.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        The proposal.
    layout : Layout
        Its transition.

    Returns
    -------
    tuple of Alternative
        Best first; those that cannot be had last.
    """
    metal, ceramic, below = bench.zones(vessel)
    wide = Bench(bench.cards, extend=True, fineness=ROUGH)
    wall = THINNER * vessel.wall
    tries: list[tuple[str, Callable[[], Vessel]]] = [
        (PROPOSED, lambda: vessel),
        (f"a wall of {1e3 * float(wall.max()):.1f} mm", lambda: replace(vessel, wall=wall)),
        (
            "the zones in the other order",
            lambda: as_vessel(vessel, metal.name, ceramic.name, not below, layout),
        ),
        *_partners(vessel, bench.cards, layout),
    ]
    ready: list[tuple[str, Vessel]] = []
    found: list[Alternative] = []
    for what, make in tries:
        try:
            one = make()
            wide.history(one.firing, wide.used([one]))
            ready.append((what, one))
        except CofireError as error:
            found.append(Alternative(what, None, str(error)))

    def fired(some: Sequence[tuple[str, Vessel]]) -> list[Alternative]:
        return [
            Alternative(what, None, str(result))
            if isinstance(result, ModelError)
            else Alternative(what, wide.judge(result))
            for (what, _), result in zip(
                some, fire_candidates(wide, [one for _, one in some]), strict=True
            )
        ]

    for some in in_pairs(fired, batches(ready)):
        found += some
    for what, work in (("sleeve", sleeve), ("two firings", two_firings)):
        try:
            found.append(Alternative(*work(wide, vessel)))
        except CofireError as error:
            found.append(Alternative(what, None, str(error)))
    return tuple(sorted(found, key=lambda a: a.load))


def _partners(
    vessel: Vessel, cards: Mapping[str, Card], layout: Layout
) -> list[tuple[str, Callable[[], Vessel]]]:
    """The nearest other partners of either zone, each in the usual firing of its own window."""
    metal, ceramic, below = zones(vessel, cards)
    metals = [card for card in cards.values() if card.kind == "metal"]
    bodies = [card for card in cards.values() if card.kind == "ceramic"]
    gases = tuple(dict.fromkeys([vessel.firing.gas, *STUDIO_GASES]))
    found: list[tuple[str, Callable[[], Vessel]]] = []
    for one, other in (([metal], bodies), (metals, [ceramic])):
        pairs = [
            pair
            for pair in screen(one, other, vessel.firing.kiln, gases)
            if pair.verdict != "no" and (pair.metal, pair.ceramic) != (metal.name, ceramic.name)
        ]
        for pair in pairs[:PARTNERS]:
            lag = vessel.firing.lag if pair.gas == vessel.firing.gas else LAG[pair.gas]
            firing = replace(vessel.firing, gas=pair.gas, lag=lag)
            bands = as_vessel(vessel, pair.metal, pair.ceramic, below, layout)
            make = partial(_usually_fired, replace(bands, firing=firing), cards)
            found.append((f"{pair.metal} with {pair.ceramic}, in {pair.gas}", make))
    return found


def _usually_fired(vessel: Vessel, cards: Mapping[str, Card]) -> Vessel:
    """The vessel in the usual firing of its own zones."""
    whole = frame(vessel, cards, extend=True)
    middle = Setting(len(whole.tops) // 2, USUAL, USUAL)
    return replace(vessel, firing=whole.fired(middle))
