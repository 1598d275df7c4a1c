"""The whole plan for one vessel: check as given, layers, schedule, designs, check, alternatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

from cofire.assessment.chance import cracking
from cofire.assessment.check import Check, check_vessel
from cofire.assessment.crack_rules import FAILURE_CAUTION
from cofire.assessment.draws import Factor
from cofire.assessment.response import meshed
from cofire.assessment.rule import GO, NO
from cofire.assessment.verdict import Verdict
from cofire.assessment.windows import ceiling
from cofire.design.alternatives import Alternative, alternatives
from cofire.design.apart import Apart, propose_apart
from cofire.design.at_hand import cards_at_hand, known_materials, outside
from cofire.design.candidates import ROUGH, Bench, firing_key, shape_key
from cofire.design.constraints import broken, fitted, refuse_without_place, with_room
from cofire.design.fired_size import in_fired_size, with_roads
from cofire.design.firings import USUAL, Frame, Setting, frame
from cofire.design.grid import layouts
from cofire.design.layers import (
    LayerSearch,
    Trial,
    leaders,
    propose_layers,
    try_layouts,
)
from cofire.design.margins import SAMPLES, Margins, Relaxed, freer_firings, margins
from cofire.design.objective import (
    ASKED,
    SOUGHT,
    Outcome,
    Swing,
    chances,
    deciding,
    draw,
    foretold,
    nominal,
    odds,
)
from cofire.design.recipe import Recipe, propose_recipes
from cofire.design.schedule import Schedule, propose_schedule
from cofire.design.search import FINAL, DesignSearch, search_designs, searched
from cofire.design.settling import (
    FURTHEST,
    far_apart,
    odds_by_solid,
    ratios_by_solid,
    settle,
    together,
)
from cofire.design.space import Design
from cofire.design.space import laid as laid_design
from cofire.design.starting import started
from cofire.design.taper import Tapered, propose_taper
from cofire.design.transition import ALIKE, LOWER, UPPER, Layout, as_vessel, given_layout, zones
from cofire.firing.controller import too_late, unset
from cofire.firing.program import Firing
from cofire.materials.card import Card
from cofire.materials.catalogue import load_fillers
from cofire.mechanics.shell_march import made_ready
from cofire.units import celsius, counted
from cofire.vessel import Vessel
from cofire.workers import each

TENFOLD = 10.0
"""A plan that lowers the probability of a crack less than this says what nothing within the limits
brings it below. [-]"""
INTERRUPTED = "interrupted"
"""First word of the line that says what is kept."""
FIRST = "first answer"
"""First words of the line that says what layers and firing come to before designs are searched."""
LAST = 48
"""Samples of the chances that a plan ends with. [-]"""
SCHEDULES = 3
"""Most schedules of the proposed design, each put right by the solid of the one before. [-]"""
BELIEVED = 1.05
"""Utilisation by the solid over that of the search from which a schedule is sought anew. [-]"""
AGAIN = 0.4
"""Of the effort of a search, that goes on from where the first one was found to be out, or at one
of two joints. [-]"""
TURNS = (LOWER, UPPER, LOWER)
"""Two joints are designed alike first, then each with the other held; the lower one again where the
upper one has changed."""
HALF = 0.5
"""A plan that keeps fewer of its pots says which pastes would keep more: our choice. [-]"""
EVEN = 0.01
"""Chances that differ by no more count as even. [-]"""
SAME_DEAD = 1e-9
"""Dead volumes that differ by less are one: a design's is rounded to it. [m³]"""
DOUBT = 0.95
"""Of a utilisation, where a scan says what nothing goes below: its coarse mesh is on the low side
already. [-]"""


@dataclass(frozen=True)
class Scan:
    """How low anything within the limits gets.

    Attributes
    ----------
    layouts
        How many were fired: all that the search for designs tried, or every count, height, skew and
        place of a coarse grid. [-]
    least
        Least utilisation of the flags that layers can change. [-]
    probability
        Below which none of them brings the probability of a crack, 5 % of stress allowed for. [-]
    """

    layouts: int
    least: float
    probability: float


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
        How the proposal bears shifts of the print; where it is a no, also which limit to relax.
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


@dataclass
class _Draft:
    """The best so far, kept where an interrupt can find it, and what is known beside it.

    `tried` counts firings; `given` is the check of the vessel as its file has it, `checked` that of
    the best so far where it is known.
    """

    vessel: Vessel
    layout: Layout
    layers: LayerSearch | None = None
    schedule: Schedule | None = None
    designs: DesignSearch | None = None
    given: Check | None = None
    checked: Check | None = None
    tried: int = 0


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
    draft = _Draft(vessel, given_layout(vessel, cards))
    finished = True
    try:
        _search(draft, vessel, bench, whole, say, effort)
    except KeyboardInterrupt:
        finished = False
        say(_kept(draft))
    if draft.checked is None:
        say("solid of the plan")
    check = partial(check_vessel, cards=cards, extend=extend)
    try:
        best, given = _both_checks(check, draft, vessel, executor)
    except KeyboardInterrupt:
        if not finished:
            raise
        finished = False
        say(_kept(draft))
        best, given = _both_checks(check, draft, vessel, executor)
    layout = draft.layout
    schedule = draft.schedule and replace(draft.schedule, tried=draft.tried)
    breaks, own = _own_limits(vessel, bench)
    nearer = given.verdict.utilisation < best.verdict.utilisation
    if not finished and own is not None and nearer:
        moved = check(own)
        if _better(moved, best, bench):
            best, layout, schedule = moved, given_layout(own, cards), None
    scan: Scan | None = None
    others: tuple[Alternative, ...] = ()
    both: tuple[Outcome | None, Outcome | None] = (None, None)
    mixes: tuple[Recipe, ...] = ()
    decide: tuple[tuple[Factor, float], ...] = ()
    room: Margins | None = None
    thin: Tapered | None = None
    apart: Apart | None = None
    try:
        if finished:
            say("chances")
            asked = _Asked(bench.on(ROUGH), vessel, check, _asked(effort))
            first = Rival(best, asked.outcome(best), layout, schedule)
            before = asked.outcome(given)
            as_given: Rival | None = None
            if own is not None:
                drawn = given_layout(own, cards)
                as_given = (
                    asked.rival(own, drawn, None) if breaks else Rival(given, before, drawn, None)
                )
            found = _likeliest(asked, first, as_given, vessel, whole)
            best, layout, schedule = found.check, found.layout, found.schedule
            both = (before, found.outcome)
            decide = () if both[1] is None else tuple(deciding(asked.samples, both[1]))
            say("margins")
            bench.on(ROUGH).correct(best.vessel, best, FURTHEST)
            proposed, hopeless = best.vessel, best.verdict.grade >= NO
            freer: list[tuple[str, Firing]] = []
            if hopeless and schedule is not None:
                freer = freer_firings(proposed, cards, schedule.setting, extend)
            room = margins(
                bench.on(ROUGH), proposed, layout, relax=hopeless, samples=_few(effort),
                freer=freer, check=check,
            )  # fmt: skip
            kept = both[1]
            if kept is not None and kept.chance < HALF and draft.designs is not None:
                say("recipes")
                fillers = load_fillers()
                some = cards_at_hand(vessel, fillers, fillers=True)
                mixes = _recipes(bench.on(ROUGH), best.vessel, layout, some)
                more = outside(vessel, fillers)
                if hopeless and more and room is not None:
                    beyond = _recipes(bench.on(ROUGH), best.vessel, layout, more)
                    room = room.with_relaxed(_by_materials(beyond[:1]))
        if finished and best.verdict.grade > GO:
            if stays(given.verdict.crack_probability, best.verdict.crack_probability):
                scan = _scanned(draft, bench.on(ROUGH), best, say)
            say("alternatives")
            others = alternatives(bench, best.vessel, layout, best)
            one = best.vessel
            thin = propose_taper(bench, one, layout, best, check, _few(effort))
            if both[1] is not None:
                drawn, count = given_layout(vessel, cards), _asked(effort)
                apart = propose_apart(bench, one, drawn, both[1], check, count)
    except KeyboardInterrupt:
        finished = False
        say(_kept(draft))
    return Plan(
        given, breaks, best, layout, draft.layers, schedule, scan, others, finished, draft.designs,
        both, mixes, decide, room, thin, apart,
    )  # fmt: skip


def _both_checks(
    check: Callable[[Vessel], Check], draft: _Draft, given: Vessel, executor: Executor | None
) -> tuple[Check, Check]:
    """Checks of the best so far and of the vessel as given, which may be known."""
    if draft.given is not None:
        return draft.checked or check(draft.vessel), draft.given
    best, first = each(check, [draft.vessel, given], executor)
    return best, first


def stays(before: float, after: float) -> bool:
    """Whether cracks threaten a vessel and a plan lowers their probability less than tenfold.

    Parameters
    ----------
    before, after : float
        Probability of a crack as given and as proposed. [-]

    Examples
    --------
    >>> stays(0.8, 0.3), stays(0.8, 0.02), stays(0.001, 0.001)
    (True, False, False)
    """
    return before > FAILURE_CAUTION and before < TENFOLD * after


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


def _asked(effort: float) -> int:
    """Samples over which the chances of a plan are asked."""
    return max(round(LAST * effort), 4)


def _few(effort: float) -> int:
    """Samples over which margins are asked."""
    return max(round(SAMPLES * effort), 4)


@dataclass(frozen=True)
class Rival:
    """What a plan may end with.

    Attributes
    ----------
    outcome
        Its chances over the samples that all share; None where its shell cannot be fired.
    layout
        Its transition.
    schedule
        Of its firing; None where it is fired as given.
    """

    check: Check
    outcome: Outcome | None
    layout: Layout
    schedule: Schedule | None


class _Asked:
    """Chances over the same samples of whatever a plan may end with."""

    def __init__(
        self, bench: Bench, vessel: Vessel, check: Callable[[Vessel], Check], count: int
    ) -> None:
        self.bench, self.check = bench, check
        self.samples = draw(bench, vessel, count, ASKED)

    def outcome(self, check: Check) -> Outcome | None:
        """Of a vessel put right by its own solid; None where its shell cannot be fired."""
        return odds_by_solid(self.samples, self.bench, check.vessel, check)

    def rival(self, vessel: Vessel, layout: Layout, schedule: Schedule | None) -> Rival:
        """A vessel, checked and asked."""
        check = self.check(vessel)
        return Rival(check, self.outcome(check), layout, schedule)


@dataclass(frozen=True)
class _Crossed:
    """One's bands in the other's firing."""

    vessel: Vessel
    layout: Layout
    schedule: Schedule | None


def _likeliest(
    asked: _Asked, first: Rival, as_given: Rival | None, vessel: Vessel, whole: Frame
) -> Rival:
    """The proposal, or the vessel's own bands or its own firing where these keep more pots."""
    if as_given is None or as_given.outcome is None or first.outcome is None:
        return first
    bench, rivals = asked.bench, [first, as_given]
    own = as_given.check.vessel
    schedule = propose_schedule(
        own, bench.cards, bench=bench, whole=whole, swings=as_given.outcome.swings
    )
    if not schedule.finished:
        raise KeyboardInterrupt
    fired = replace(own, firing=schedule.firing, left_open=None)
    crossed = [(as_given.outcome, _Crossed(fired, as_given.layout, schedule))]
    if vessel.left_open is None:
        mixed = replace(first.check.vessel, firing=vessel.firing)
        crossed.append((first.outcome, _Crossed(mixed, first.layout, None)))
    for like, one in crossed:
        (rough,) = nominal(bench, [one.vessel])
        most = max(r.outcome.chance for r in rivals if r.outcome is not None)
        if rough is not None and foretold(rough, like.swings).chance > most + EVEN:
            rivals.append(asked.rival(one.vessel, one.layout, one.schedule))
    return chosen_rival(rivals)


def chosen_rival(rivals: Sequence[Rival]) -> Rival:
    """Of those that keep as many pots as any, up to `EVEN`, the one of least cost.

    Loss leads, quality follows.

    Parameters
    ----------
    rivals : sequence of Rival
        One at least whose chances are known.
    """
    known = [(r, r.outcome) for r in rivals if r.outcome is not None]
    most = max(outcome.chance for _, outcome in known)
    likely = [(r, outcome) for r, outcome in known if outcome.chance >= most - EVEN]
    return min(likely, key=lambda row: row[1].cost)[0]


def _kept(draft: _Draft) -> str:
    """What an interrupt finds and keeps, in a line."""
    layout, layers = draft.layout, draft.layers
    told = [
        f"{which}{': ' * bool(which)}{counted(len(one.shares), 'blend')} over "
        f"{1e3 * one.total:.1f} mm"
        if one.shares
        else f"{which}{': ' * bool(which)}a direct joint"
        for which, one in layout.named
    ]
    what = ", ".join(told)
    tried = counted(len(layers.trials), "layout") if layers is not None else "no layouts"
    firing = "the firing as given" if layers is None else "the usual firing of the pair"
    firing = "a firing of its own" if draft.schedule is not None else firing
    return (
        f"{INTERRUPTED} after {tried} and {counted(draft.tried, 'firing')}: kept {what}, "
        f"in {firing}"
    )


def _first(draft: _Draft) -> str:
    """What layers and firing come to before designs are searched, in a few words."""
    layout, schedule = draft.layout, draft.schedule
    assert schedule is not None
    pastes = ", ".join(f"{share} %" for share in layout.shares)
    joint = f"pastes of {pastes} metal over {1e3 * layout.total:.0f} mm" if pastes else "no blend"
    joint += " at each joint" * (layout.upper is not None)
    return (
        f"{joint}, fired to {celsius(schedule.firing.peak):.0f} °C in {schedule.hours:.0f} h; on a "
        f"coarse mesh {schedule.overall:.2g} of the limit that it uses up most"
    )


def _scanned(draft: _Draft, bench: Bench, best: Check, say: Callable[[str], None]) -> Scan:
    """How low anything within the limits gets: of all designs tried, else of a grid."""
    if draft.designs is None:
        return scan_layouts(bench, best.vessel, say)
    ceramic = bench.zones(best.vessel)[1]
    least = draft.designs.least_cooling
    probability = min(_crack(least, ceramic), best.verdict.crack_probability)
    return Scan(draft.designs.tried, draft.designs.least_load, probability)


def _crack(utilisation: float, ceramic: Card) -> float:
    """Probability of a crack at a utilisation of cooling, 5 % of stress allowed for. [-]

    The rule's own error is in it, as in the `crack_probability` of a verdict.
    """
    modulus = ceramic["weibull_modulus"].scalar
    return cracking(DOUBT * utilisation, modulus, "cooling")


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


def _search(
    draft: _Draft,
    vessel: Vessel,
    bench: Bench,
    whole: Frame,
    say: Callable[[str], None],
    effort: float,
) -> None:
    """Layers under the usual firing of these zones, a schedule, then designs and a schedule.

    Two joints are alike until the best of their designs is known, then each is designed alone.

    A direct joint and a graded one ask for different firings, so both get their own before one
    of them is dropped.
    """
    metal, ceramic, below = bench.zones(vessel)
    drawn = vessel
    vessel = with_roads(with_room(vessel, metal, ceramic), metal, ceramic)
    rough = bench.on(ROUGH)

    def laid(layout: Layout, firing: Firing) -> Vessel:
        bands = as_vessel(vessel, metal.name, ceramic.name, below, layout)
        return replace(bands, firing=firing, left_open=None)

    def layers(
        firing: Firing, at: Bench, rounds: int, what: str, start: list[Layout] | None = None
    ) -> LayerSearch:
        found = propose_layers(
            replace(vessel, firing=firing), bench.cards, rounds=rounds, bench=at, start=start,
            progress=lambda n, of: say(f"{what}: {n} of {of}"),
        )  # fmt: skip
        draft.layers, draft.layout = found, found.best.layout
        draft.vessel = laid(draft.layout, firing)
        if not found.finished:
            raise KeyboardInterrupt
        return found

    def schedule(layout: Layout, start: Setting | None = None) -> Schedule:
        found = propose_schedule(
            laid(layout, vessel.firing), bench.cards, bench=rough, whole=whole, start=start,
            progress=lambda n: say(f"schedule: {n}"), swings=swings,
        )  # fmt: skip
        draft.tried += found.tried
        known = draft.schedule
        if known is None or layout == draft.layout or _cheaper(found, known):
            draft.schedule, draft.layout = found, layout
            draft.vessel = laid(layout, found.firing)
        if not found.finished:
            raise KeyboardInterrupt
        return found

    usual = whole.fired(Setting(len(whole.soaks) // 2, USUAL, USUAL))
    coarse = layers(usual, rough, 0, "layers")
    leading = leaders(coarse.trials)
    best = coarse.best.layout
    swings = _swings(rough, laid(best, usual), searched(effort))
    schedule(best)
    for rival in [other for other in leading if bool(other.shares) != bool(best.shares)][:1]:
        schedule(rival)
    settled = draft.schedule
    assert settled is not None
    say(f"{FIRST}: {_first(draft)}")
    say("solid of the best so far")
    check = partial(check_vessel, cards=bench.cards, extend=bench.extend)
    coarse_best, draft.given = each(check, [draft.vessel, drawn], bench.executor)
    rough.correct(draft.vessel, coarse_best)
    in_firing = replace(vessel, firing=settled.firing)

    def search(
        start: list[Layout], share: float, what: str, which: str = "", held: Design | None = None
    ) -> DesignSearch | None:
        return search_designs(
            in_firing, rough, start, effort=share * effort, final=max(round(FINAL * effort), 4),
            progress=lambda n, of: say(f"{what}: {n} of {max(n, of)}"), which=which,
            held=held,
        )  # fmt: skip

    checked: dict[tuple[object, ...], Check] = {}

    def solids(some: list[Vessel]) -> list[Check]:
        keys = [(v.bands, v.printer.dead_volume, shape_key(v), firing_key(v.firing)) for v in some]
        new = {key: v for key, v in zip(keys, some, strict=True) if key not in checked}
        checked.update(zip(new, each(check, list(new.values()), bench.executor), strict=True))
        return [checked[key] for key in keys]

    found = search([draft.layout, *leading], 1.0, "designs")
    if found is None:
        return
    say("solids of the best designs")
    found, last = settle(found, rough, in_firing, solids)
    first = found.chosen.design
    chosen = laid_design(in_firing, metal.name, ceramic.name, below, found.chosen.design)
    if far_apart(ratios_by_solid(rough, chosen, last), rough.ratios, last):
        rough.correct(chosen, last)
        again = search([c.design.layout for c in found.choices], AGAIN, "designs again")
        if again is not None:
            say("solids of the best designs")
            again, _ = settle(again, rough, in_firing, solids)
            found = together(found, again)
    before = found.chosen.design
    for turn, which in enumerate(TURNS if vessel.upper is not None else ()):
        if turn > 1 and found.chosen.design == before:
            break  # the other joint is as it was
        before = found.chosen.design
        some = [c.design.layout for c in found.choices]
        alone = search(some, AGAIN, f"designs of the {which}", which, before)
        if alone is not None:
            say("solids of the best designs")
            alone, _ = settle(alone, rough, in_firing, solids)
            found = together(found, alone)
    draft.designs = found
    design = found.chosen.design
    base = laid_design(vessel, metal.name, ceramic.name, below, design)
    base = replace(base, left_open=None)  # the firing is the plan's now
    if design != first:
        (last,) = solids([replace(base, firing=settled.firing)])
    own = ratios_by_solid(rough, replace(base, firing=settled.firing), last)
    draft.layout = design.layout
    draft.vessel = replace(base, firing=settled.firing)
    start = settled.setting
    samples = draw(rough, base, found.samples, ASKED)
    swings = _swings(rough, draft.vessel, searched(effort)) or swings
    least = float("inf")
    for _ in range(SCHEDULES):
        anew = propose_schedule(
            base, bench.cards, bench=replace(rough, ratios=own), whole=whole, start=start,
            progress=lambda n: say(f"schedule: {n}"), swings=swings,
        )  # fmt: skip
        draft.tried += anew.tried
        if not anew.finished:
            raise KeyboardInterrupt
        one = replace(base, firing=anew.firing)
        if draft.checked is None:
            draft.schedule, draft.vessel = anew, one
        say("solid of the plan")
        (last,) = solids([one])
        outcome = odds_by_solid(samples, rough, one, last)
        cost = float("inf") if outcome is None else outcome.cost
        if draft.checked is None or cost < least:
            draft.schedule, draft.vessel, draft.checked, least = anew, one, last, cost
        if last.verdict.utilisation <= BELIEVED * anew.overall:
            return
        own, start = ratios_by_solid(rough, one, last), anew.setting


def _swings(bench: Bench, vessel: Vessel, count: int) -> tuple[Swing, ...]:
    """What samples do to a vessel; none where it cannot be fired."""
    samples = draw(bench, vessel, count, SOUGHT)
    (outcome,) = odds(bench, samples, [vessel], nominal(bench, [vessel]))
    return () if outcome is None else outcome.swings


def _cheaper(one: Schedule, other: Schedule) -> bool:
    """Whether a schedule comes to less, by its chance where that is foretold."""
    if one.outcome is not None and other.outcome is not None:
        return one.outcome.cost < other.outcome.cost
    return one.overall < other.overall


def scan_layouts(bench: Bench, vessel: Vessel, say: Callable[[str], None]) -> Scan:
    """Every layout of the coarse grid, at every place, in the proposed firing.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        The proposal.
    say : callable
        Is told how many are done.

    Returns
    -------
    Scan
        Its least utilisation and probability.
    """
    metal, ceramic, _ = bench.zones(vessel)
    grid = layouts(in_fired_size(vessel, metal, ceramic))
    done: list[Trial] = []
    for trial in try_layouts(bench, vessel, grid):
        done.append(trial)
        say(f"scan: {len(done)} of {len(grid)}")
    probability = _crack(min(t.cooling for t in done), ceramic)
    return Scan(len(done), min(t.utilisation for t in done), probability)
