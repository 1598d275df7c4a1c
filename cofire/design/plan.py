"""The whole plan for one vessel: check as given, layers, schedule, designs, check, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

from cofire.assessment.chance import rather_kept
from cofire.assessment.check import Check, check_vessel
from cofire.assessment.draws import Factor
from cofire.assessment.response import meshed
from cofire.assessment.rule import GO
from cofire.assessment.verdict import Verdict
from cofire.assessment.windows import ceiling
from cofire.design.alternatives import Alternative, alternatives
from cofire.design.apart import Apart, propose_apart
from cofire.design.at_hand import cards_at_hand, known_materials, outside
from cofire.design.candidates import ROUGH, Bench
from cofire.design.constraints import broken, fitted, refuse_without_place, with_room
from cofire.design.drafting import Draft, Drafting
from cofire.design.fired_size import in_fired_size, with_roads
from cofire.design.firings import Frame, frame
from cofire.design.layers import (
    LayerSearch,
)
from cofire.design.margins import SAMPLES, Margins, Relaxed, freer_firings, margins
from cofire.design.objective import (
    Outcome,
    chances,
    deciding,
)
from cofire.design.recipe import Recipe, propose_recipes
from cofire.design.rivals import EVEN, Asked, Rival, likeliest
from cofire.design.scan import Scan, scanned, stays
from cofire.design.schedule import Schedule
from cofire.design.search import DesignSearch
from cofire.design.settling import (
    FURTHEST,
)
from cofire.design.space import Design
from cofire.design.starting import started
from cofire.design.taper import Tapered, propose_taper
from cofire.design.transition import ALIKE, Layout, as_vessel, given_layout, zones
from cofire.firing.controller import too_late, unset
from cofire.firing.program import Firing
from cofire.materials.card import Card
from cofire.materials.catalogue import load_fillers
from cofire.mechanics.shell_march import made_ready
from cofire.vessel import Vessel
from cofire.workers import each

LAST = 48
"""Samples of the chances that a plan ends with. [-]"""
SAME_DEAD = 1e-9
"""Dead volumes that differ by less are one: a design's is rounded to it. [m³]"""


@dataclass(frozen=True)
class Plan:
    """A plan: as given, as proposed, and what else there is.

    Attributes
    ----------
    given
        The vessel as its file has it, checked.
    given_breaks
        Limits that it does not keep as it is drawn.
    proposal
        Checked on a finer mesh and finer steps than the search used.
    layout
        Its transition, or both of them.
    layers, schedule
        The two searches; None where an interrupt came before them.
    scan
        Of all designs tried, where the probability of a crack as given is no go and the proposal
        lowers it less than tenfold; of a whole grid, where no designs were searched.
    alternatives
        Best first; empty where the proposal is a go.
    finished
        False where a search was interrupted: the best so far.
    designs
        The search over shares, heights, chamber and wall; None where an interrupt came before it.
    odds
        Chances of the vessel as given and as proposed, each in its own firing, over the same
        samples; None where an interrupt came before them, or a vessel cannot be fired.
    recipes
        Pastes that would keep more, best first; empty where the proposal keeps more than half.
    margins
        How the proposal bears shifts of the print; where it is no go, also which limit to relax.
    decide
        Properties that decide whether the proposal is kept, most first, and their shares. [-]
    taper
        The proposal with its metal thinned towards the joint; None where that brings little.
    apart
        The zones printed apart and seated free, one on the other; None where that brings little.
    """

    given: Check
    given_breaks: tuple[str, ...]
    proposal: Check
    layout: Layout
    layers: LayerSearch | None
    schedule: Schedule | None
    scan: Scan | None
    alternatives: tuple[Alternative, ...]
    finished: bool
    designs: DesignSearch | None = None
    odds: tuple[Outcome | None, Outcome | None] = (None, None)
    recipes: tuple[Recipe, ...] = ()
    decide: tuple[tuple[Factor, float], ...] = ()
    margins: Margins | None = None
    taper: Tapered | None = None
    apart: Apart | None = None

    @property
    def verdict(self) -> Verdict:
        """On the proposal as it will be printed."""
        return self.proposal.verdict

    @property
    def vessel(self) -> Vessel:
        """As proposed, with the bands as designed."""
        return self.proposal.vessel

    @property
    def as_designed(self) -> bool:
        """Whether the design that the search chose is proposed; else the vessel as drawn is."""
        if self.designs is None:
            return False
        design, vessel = self.designs.chosen.design, self.vessel
        return (
            self.layout.same(design.layout)
            and abs(vessel.printer.dead_volume - design.dead_volume) < SAME_DEAD
            and (not design.wall or abs(float(vessel.wall[-1]) - design.wall) < ALIKE)
        )

    @property
    def probabilities(self) -> tuple[float, float]:
        """Probability of a crack on cooling as given and as proposed. [-]"""
        return self.given.verdict.crack_probability, self.verdict.crack_probability


def propose(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    tell: Callable[[str], None] | None = None,
    executor: Executor | None = None,
    effort: float = 1.0,
) -> Plan:
    """Plan one vessel: layers and schedule in turn until neither changes, then check.

    Deterministic. An interrupt ends the search with the best so far, marked as unfinished, and
    tells at once what is kept; a second one is let through.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic, at one joint or two; where its firing is left open, the search
        begins from the window of the two.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    tell : callable, optional
        Is given one line about each stage.
    executor : Executor, optional
        Who fires and checks (see `cofire.workers`): the plan is the same on any.
    effort : float
        Factor on generations and samples of the search for designs; less is rougher. [-]

    Returns
    -------
    Plan
        The proposal is never likelier to be lost than the vessel as given, moved into its limits
        where it breaks them, by more than `EVEN`. An interrupted one is no worse by the flags'
        worst utilisation.

    Raises
    ------
    CofireError
        The vessel cannot be planned: the message names what binds.
    """
    say = tell or (lambda line: None)
    if executor is not None:
        made_ready(executor)
    known_materials(vessel, cards)
    metal, ceramic, _ = zones(vessel, cards)
    vessel = started(vessel, cards, extend)
    refuse_without_place(vessel)
    with_room(vessel, metal, ceramic)  # refuses a change of paste that leaves no zone pure
    with_roads(vessel, metal, ceramic)  # refuses walls between which no road ends
    meshed(vessel)  # refuses a joint that cannot be cut, before the search
    bench = Bench(cards, extend, executor=executor)
    bench.history(vessel.firing, bench.used([vessel]))  # refuses what its tables do not cover
    whole = frame(vessel, cards, extend)
    draft = Draft(vessel, given_layout(vessel, cards))
    finished = True
    try:
        Drafting(draft, vessel, bench, whole, say, effort).run()
    except KeyboardInterrupt:
        finished = False
        say(draft.kept())
    if draft.checked is None:
        say("solid of the plan")
    check = partial(check_vessel, cards=cards, extend=extend)
    try:
        best, given = _both_checks(check, draft, vessel, executor)
    except KeyboardInterrupt:
        if not finished:
            raise
        finished = False
        say(draft.kept())
        best, given = _both_checks(check, draft, vessel, executor)
    schedule = draft.schedule and replace(draft.schedule, tried=draft.tried)
    breaks, own = _own_limits(vessel, bench)
    rival = Rival(best, None, draft.layout, schedule)
    if not finished and own is not None and given.verdict.utilisation < best.verdict.utilisation:
        moved = check(own)
        if _better(moved, best, bench):
            rival = Rival(moved, None, given_layout(own, cards), None)
    ending = _Ending(rival, given, vessel, bench, check, say, effort)
    if finished:
        try:
            ending.choose(own, not breaks, whole)
            ending.ask_margins()
            if draft.designs is not None:
                ending.ask_recipes()
            ending.ask_alternatives(draft.designs)
        except KeyboardInterrupt:
            finished = False
            say(draft.kept())
    rival = ending.rival
    return Plan(
        given, breaks, rival.check, rival.layout, draft.layers, rival.schedule, ending.scan,
        ending.alternatives, finished, draft.designs, (ending.before, rival.outcome),
        ending.recipes, ending.decide, ending.margins, ending.taper, ending.apart,
    )  # fmt: skip


class _Ending:
    """What a plan ends with, and what it says beside that: an interrupt keeps what is found."""

    def __init__(
        self,
        rival: Rival,
        given: Check,
        vessel: Vessel,
        bench: Bench,
        check: Callable[[Vessel], Check],
        say: Callable[[str], None],
        effort: float,
    ) -> None:
        self.rival, self.given, self.vessel, self.bench = rival, given, vessel, bench
        self.rough, self.check, self.say = bench.on(ROUGH), check, say
        self.asked = max(round(LAST * effort), 4)
        self.few = max(round(SAMPLES * effort), 4)
        self.before: Outcome | None = None
        self.scan: Scan | None = None
        self.alternatives: tuple[Alternative, ...] = ()
        self.recipes: tuple[Recipe, ...] = ()
        self.decide: tuple[tuple[Factor, float], ...] = ()
        self.margins: Margins | None = None
        self.taper: Tapered | None = None
        self.apart: Apart | None = None

    @property
    def _wanting(self) -> bool:
        return self.rival.check.verdict.grade > GO

    def choose(self, own: Vessel | None, as_drawn: bool, whole: Frame) -> None:
        """The likeliest: as designed, or the vessel's own bands within limits, or its firing."""
        self.say("chances")
        asked = Asked(self.rough, self.vessel, self.check, self.asked)
        first = replace(self.rival, outcome=asked.outcome(self.rival.check))
        before = asked.outcome(self.given)
        as_given: Rival | None = None
        if own is not None:
            drawn = given_layout(own, self.bench.cards)
            as_given = (
                Rival(self.given, before, drawn, None)
                if as_drawn
                else asked.rival(own, drawn, None)
            )
        self.rival = likeliest(asked, first, as_given, self.vessel, whole)
        self.before, outcome = before, self.rival.outcome
        self.decide = () if outcome is None else tuple(deciding(asked.samples, outcome))

    def ask_margins(self) -> None:
        """How it bears shifts of the print, and where it is no go, which limit to relax."""
        self.say("margins")
        rival, best = self.rival, self.rival.check
        self.rough.correct(best.vessel, best, FURTHEST)
        freer: list[tuple[str, Firing]] = []
        if self._wanting and rival.schedule is not None:
            setting = rival.schedule.setting
            freer = freer_firings(best.vessel, self.bench.cards, setting, self.bench.extend)
        self.margins = margins(
            self.rough, best.vessel, rival.layout, relax=self._wanting, samples=self.few,
            freer=freer, check=self.check,
        )  # fmt: skip

    def ask_recipes(self) -> None:
        """Pastes that would keep more, where the pot is rather lost than kept."""
        outcome = self.rival.outcome
        if outcome is None or rather_kept(outcome.chance):
            return
        self.say("recipes")
        fillers = load_fillers()
        vessel, layout = self.rival.check.vessel, self.rival.layout
        some = cards_at_hand(self.vessel, fillers, fillers=True)
        self.recipes = _recipes(self.rough, vessel, layout, some)
        more = outside(self.vessel, fillers)
        if self._wanting and more and self.margins is not None:
            beyond = _recipes(self.rough, vessel, layout, more)
            self.margins = self.margins.with_relaxed(_by_materials(beyond[:1]))

    def ask_alternatives(self, designs: DesignSearch | None) -> None:
        """What else there is, where the proposal is no go."""
        rival, best = self.rival, self.rival.check
        if not self._wanting:
            return
        if stays(self.given.verdict.crack_probability, best.verdict.crack_probability):
            self.scan = scanned(designs, self.rough, best, self.say)
        self.say("alternatives")
        one = best.vessel
        self.alternatives = alternatives(self.bench, one, rival.layout, best)
        self.taper = propose_taper(self.bench, one, rival.layout, best, self.check, self.few)
        if rival.outcome is not None:
            drawn = given_layout(self.vessel, self.bench.cards)
            self.apart = propose_apart(
                self.bench, one, drawn, rival.outcome, self.check, self.asked
            )


def _both_checks(
    check: Callable[[Vessel], Check], draft: Draft, given: Vessel, executor: Executor | None
) -> tuple[Check, Check]:
    """Checks of the best so far and of the vessel as given, which may be known."""
    if draft.given is not None:
        return draft.checked or check(draft.vessel), draft.given
    best, first = each(check, [draft.vessel, given], executor)
    return best, first


def _better(one: Check, other: Check, bench: Bench) -> bool:
    """Whether a check uses up less of its limits and is no likelier to be lost."""
    modulus = bench.zones(one.vessel)[1]["weibull_modulus"].scalar
    kept = [chances(c.verdict.flags, modulus).kept for c in (one, other)]
    return one.verdict.utilisation < other.verdict.utilisation and kept[0] >= kept[1] - EVEN


def _recipes(
    bench: Bench, vessel: Vessel, layout: Layout, some: Mapping[str, Card]
) -> tuple[Recipe, ...]:
    """Pastes of some fillers with which the same layout keeps more, and comes to less cost."""
    design = Design(layout, vessel.printer.dead_volume)
    found = propose_recipes(vessel, bench, design, some)
    return tuple(r for r in found if r.outcome.cost < r.without.cost and r.gain > 0.0)


def _by_materials(recipes: Sequence[Recipe]) -> list[Relaxed]:
    """What a filler that the file's list does not name would bring."""
    return [
        Relaxed(
            f"materials by {one.filler} ({100 * one.share:.0f} % in the {one.base})",
            one.outcome.load,
            one.gain,
        )
        for one in recipes
    ]


def _own_limits(vessel: Vessel, bench: Bench) -> tuple[tuple[str, ...], Vessel | None]:
    """Limits that a vessel breaks as it is drawn, and the vessel moved into them if it can be."""
    metal, ceramic, below = bench.zones(vessel)
    sized, drawn = in_fired_size(vessel, metal, ceramic), given_layout(vessel, bench.cards)
    breaks = tuple(broken(sized, drawn))
    if vessel.firing.peak > min(ceiling(card, vessel.firing.gas) for card in (metal, ceramic)):
        return (*breaks, "peak"), None
    if unset(vessel.firing):
        return (*breaks, "controller"), None
    if too_late(vessel.firing, bench.trace(vessel.firing)) is not None:
        return (*breaks, "latest hour"), None
    vessel = with_roads(vessel, metal, ceramic)
    own = fitted(in_fired_size(vessel, metal, ceramic), drawn)
    if own is None:
        return breaks, None
    return breaks, as_vessel(vessel, metal.name, ceramic.name, below, own)
