"""The search behind a plan: layers, a firing, designs, their solids, and the firing again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter

from cofire.assessment.check import Check, check_vessel
from cofire.assessment.rule import NO
from cofire.design.candidates import ROUGH, Bench, Key, firing_key, shape_key
from cofire.design.constraints import with_room
from cofire.design.fired_size import with_roads
from cofire.design.firings import USUAL_RATE, Frame, Setting
from cofire.design.layers import LayerSearch, leaders, propose_layers
from cofire.design.objective import ASKED, Outcome, Sample, Swing, draw, swings_of
from cofire.design.schedule import Schedule, propose_schedule
from cofire.design.search import FINAL, LITTLE, DesignSearch, search_designs, searched
from cofire.design.settling import (
    far_apart,
    odds_by_solid,
    ratios_by_solid,
    settle,
    solid_and_odds,
    together,
)
from cofire.design.space import Design
from cofire.design.space import laid as laid_design
from cofire.design.transition import LOWER, UPPER, Layout, as_vessel
from cofire.firing.program import Firing
from cofire.units import celsius, counted
from cofire.vessel import Vessel
from cofire.workers import each

INTERRUPTED = "interrupted"
"""First word of the line that says what is kept."""
FIRST = "first answer"
"""First words of the line that says what layers and firing come to before designs are searched."""
SCHEDULES = 3
"""Most schedules of the proposed design, each put right by the solid of the one before. [-]"""
BELIEVED = 1.05
"""Utilisation by the solid over that of the search from which a schedule is sought anew, as it is
where the solid alone says no. [-]"""
AGAIN = 0.4
"""Of the effort of a search, that goes on from where the first one was found to be out, or at one
of two joints. [-]"""
TURNS = (LOWER, UPPER, LOWER)
"""Two joints are designed alike first, then each with the other held; the lower one again where the
upper one has changed."""


@dataclass
class Draft:
    """The best so far, kept where an interrupt can find it, and what is known beside it.

    Attributes
    ----------
    vessel, layout
        As laid so far, and its transition.
    layers, schedule, designs
        The searches; None until there is one.
    given, checked
        Checks of the vessel as its file has it and of the best so far, where they are known.
    tried
        Firings.
    """

    vessel: Vessel
    layout: Layout
    layers: LayerSearch | None = None
    schedule: Schedule | None = None
    designs: DesignSearch | None = None
    given: Check | None = None
    checked: Check | None = None
    tried: int = 0

    def kept(self) -> str:
        """What an interrupt finds and keeps, in a line."""
        layout, layers = self.layout, self.layers
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
        firing = "a firing of its own" if self.schedule is not None else firing
        return (
            f"{INTERRUPTED} after {tried} and {counted(self.tried, 'firing')}: kept {what}, "
            f"in {firing}"
        )

    def first(self) -> str:
        """What layers and firing come to before designs are searched, in a few words."""
        layout, schedule = self.layout, self.schedule
        assert schedule is not None
        pastes = ", ".join(f"{share} %" for share in layout.shares)
        joint = (
            f"pastes of {pastes} metal over {1e3 * layout.total:.0f} mm" if pastes else "no blend"
        )
        joint += " at each joint" * (layout.upper is not None)
        return (
            f"{joint}, fired to {celsius(schedule.firing.peak):.0f} °C in {schedule.hours:.0f} h; "
            f"on a coarse mesh {schedule.overall:.2g} of the limit that it uses up most"
        )


class Drafting:
    """Layers under the usual firing of these zones, a schedule, then designs and a schedule.

    Two joints are alike until the best of their designs is known, then each is designed alone.

    Parameters
    ----------
    draft : Draft
        Holds what is found as soon as it is.
    vessel : Vessel
        As given.
    bench : Bench
        What is known already.
    whole : Frame
        Within which firings are sought.
    say : callable
        Is given one line about each stage.
    effort : float
        As in `propose`. [-]
    """

    def __init__(
        self,
        draft: Draft,
        vessel: Vessel,
        bench: Bench,
        whole: Frame,
        say: Callable[[str], None],
        effort: float,
    ) -> None:
        self.draft, self.drawn, self.whole = draft, vessel, whole
        self.say, self.effort = say, effort
        self.rough = bench.on(ROUGH)
        self.metal, self.ceramic, self.below = bench.zones(vessel)
        self.vessel = with_roads(
            with_room(vessel, self.metal, self.ceramic), self.metal, self.ceramic
        )
        self.check = partial(check_vessel, cards=bench.cards, extend=bench.extend)
        self.checked: dict[Key, Check] = {}
        self.swings: tuple[Swing, ...] = ()

    def run(self) -> None:
        """Search until neither layers nor firing change.

        Raises
        ------
        KeyboardInterrupt
            The draft holds the best so far.
        """
        leading = self._first_answer()
        settled = self.draft.schedule
        assert settled is not None
        self.say("solid of the best so far")
        best, self.draft.given = each(
            self.check, [self.draft.vessel, self.drawn], self.rough.executor
        )
        self.rough.correct(self.draft.vessel, best)
        found = self._designs(settled, [self.draft.layout, *leading])
        if found is not None:
            self._last_schedule(settled, *found)

    def _first_answer(self) -> list[Layout]:
        """Layers and a firing, before designs are searched; gives the layouts that lead.

        A direct joint and a graded one ask for different firings, so both get their own before one
        of them is dropped.
        """
        usual = self.whole.fired(Setting(len(self.whole.soaks) // 2, USUAL_RATE, USUAL_RATE))
        found = propose_layers(
            replace(self.vessel, firing=usual), self.rough.cards, rounds=0, bench=self.rough,
            progress=lambda n, of: self.say(f"layers: {n} of {of}"),
        )  # fmt: skip
        self.draft.layers, self.draft.layout = found, found.best.layout
        self.draft.vessel = self._laid(self.draft.layout, usual)
        if not found.finished:
            raise KeyboardInterrupt
        leading, best = leaders(found.trials), found.best.layout
        self.swings = swings_of(self.rough, self._laid(best, usual), searched(self.effort))
        self._schedule(best)
        for rival in [other for other in leading if bool(other.shares) != bool(best.shares)][:1]:
            self._schedule(rival)
        self.say(f"{FIRST}: {self.draft.first()}")
        return leading

    def _laid(self, layout: Layout, firing: Firing) -> Vessel:
        bands = as_vessel(self.vessel, self.metal.name, self.ceramic.name, self.below, layout)
        return replace(bands, firing=firing, left_open=None)

    def _schedule(self, layout: Layout) -> None:
        """A firing for a layout, kept with it where it is the best so far."""
        draft = self.draft
        found = propose_schedule(
            self._laid(layout, self.vessel.firing), self.rough.cards, bench=self.rough,
            whole=self.whole, progress=lambda n: self.say(f"schedule: {n}"), swings=self.swings,
        )  # fmt: skip
        draft.tried += found.tried
        known = draft.schedule
        if known is None or layout == draft.layout or _cheaper(found, known):
            draft.schedule, draft.layout = found, layout
            draft.vessel = self._laid(layout, found.firing)
        if not found.finished:
            raise KeyboardInterrupt

    def _solids(self, some: list[Vessel]) -> list[Check]:
        """Checks of some vessels, each fired once in a plan."""
        keys = [_key(one) for one in some]
        new = {key: v for key, v in zip(keys, some, strict=True) if key not in self.checked}
        found = each(self.check, list(new.values()), self.rough.executor)
        self.checked.update(zip(new, found, strict=True))
        return [self.checked[key] for key in keys]

    def _asked(self, one: Vessel, samples: Sequence[Sample]) -> tuple[Check, Outcome | None]:
        """The check of a vessel, fired once in a plan, and its chances by it."""
        known = self.checked.get(_key(one))
        if known is not None:
            return known, odds_by_solid(samples, self.rough, one, known)
        found, outcome = solid_and_odds(samples, self.rough, one, self.check)
        self.checked[_key(one)] = found
        return found, outcome

    def _settled(
        self,
        base: Vessel,
        start: list[Layout],
        what: str,
        share: float = AGAIN,
        which: str = "",
        held: Design | None = None,
    ) -> tuple[DesignSearch, Check] | None:
        """Designs searched, and their best as solids; None where there is none."""
        found = search_designs(
            base, self.rough, start, effort=share * self.effort,
            final=max(round(FINAL * self.effort), 4),
            progress=lambda n, of: self.say(f"{what}: {n} of {max(n, of)}"), which=which, held=held,
        )  # fmt: skip
        if found is None:
            return None
        self.say("solids of the best designs")
        return settle(found, self.rough, base, self._solids)

    def _designs(self, settled: Schedule, start: list[Layout]) -> tuple[DesignSearch, Check] | None:
        """Designs in the firing of the first answer, with the solid of the chosen one."""
        base = replace(self.vessel, firing=settled.firing)
        begun = self._settled(base, start, "designs", 1.0)
        if begun is None:
            return None
        found, last = begun
        first = found.chosen.design
        if far_apart(
            ratios_by_solid(self.rough, self._as_designed(base, first), last),
            self.rough.ratios,
            last,
        ):
            self.rough.correct(self._as_designed(base, first), last)
            again = self._settled(base, _layouts(found), "designs again")
            if again is not None:
                found = together(found, again[0])
        before: Design | None = None
        for turn, which in enumerate(TURNS if self.vessel.upper is not None else ()):
            if turn > 1 and found.chosen.design == before:
                break  # the other joint is as it was
            before = found.chosen.design
            what = f"designs of the {which}"
            alone = self._settled(base, _layouts(found), what, AGAIN, which, before)
            if alone is not None:
                found = together(found, alone[0])
        if found.chosen.design != first:
            (last,) = self._solids([self._as_designed(base, found.chosen.design)])
        return found, last

    def _as_designed(self, base: Vessel, design: Design) -> Vessel:
        one = laid_design(base, self.metal.name, self.ceramic.name, self.below, design)
        return replace(one, left_open=None)  # the firing is the plan's now

    def _last_schedule(self, settled: Schedule, found: DesignSearch, last: Check) -> None:
        """A firing for the chosen design, sought anew while its solid contradicts the search."""
        draft, rough, design = self.draft, self.rough, found.chosen.design
        base = self._as_designed(self.vessel, design)
        draft.designs, draft.layout = found, design.layout
        draft.vessel = replace(base, firing=settled.firing)
        own = ratios_by_solid(rough, draft.vessel, last)
        samples = draw(rough, base, found.samples, ASKED)
        swings = swings_of(rough, draft.vessel, searched(self.effort)) or self.swings
        start, tried = settled.setting, list[Settled]()
        for _ in range(SCHEDULES):
            anew = propose_schedule(
                base, rough.cards, bench=replace(rough, ratios=own), whole=self.whole, start=start,
                progress=lambda n: self.say(f"schedule: {n}"), swings=swings,
            )  # fmt: skip
            draft.tried += anew.tried
            if not anew.finished:
                raise KeyboardInterrupt
            one = replace(base, firing=anew.firing)
            if draft.checked is None:
                draft.schedule, draft.vessel = anew, one
            self.say("solid of the plan")
            last, outcome = self._asked(one, samples)
            cost = float("inf") if outcome is None else outcome.cost
            tried.append(Settled(anew, one, last, cost))
            best = best_settled(tried)
            draft.schedule, draft.vessel, draft.checked = best.schedule, best.vessel, best.check
            if tried[-1].believed:
                return
            own, start = ratios_by_solid(rough, one, last), anew.setting


def _key(vessel: Vessel) -> Key:
    """What the check of a vessel follows from, in a plan."""
    return vessel.bands, vessel.printer.dead_volume, shape_key(vessel), firing_key(vessel.firing)


@dataclass(frozen=True)
class Settled:
    """A schedule of the proposed design, and what its solid says of it.

    Attributes
    ----------
    schedule, vessel, check
        As sought, the vessel in it, and its check.
    cost
        Of its outcome over samples, put right by that solid; infinite where none could be had. [-]
    """

    schedule: Schedule
    vessel: Vessel
    check: Check
    cost: float

    @property
    def believed(self) -> bool:
        """Whether the solid bears out what the search thought: its word too where that is a no."""
        found, thought = self.check.verdict, self.schedule.overall
        no_as_thought = found.grade < NO or thought >= 1.0
        return found.utilisation <= BELIEVED * thought and no_as_thought


def best_settled(tried: Sequence[Settled]) -> Settled:
    """That of least cost; where it is a no, the least of those that are none if not much dearer.

    Parameters
    ----------
    tried : sequence of Settled
        One or more, of one design.
    """
    best = min(tried, key=attrgetter("cost"))
    passes = [one for one in tried if one.check.verdict.grade < NO]
    if not passes or best in passes:
        return best
    other = min(passes, key=attrgetter("cost"))
    return other if other.cost <= best.cost + LITTLE else best


def _layouts(found: DesignSearch) -> list[Layout]:
    return [choice.design.layout for choice in found.choices]


def _cheaper(one: Schedule, other: Schedule) -> bool:
    """Whether a schedule comes to less, by its chance where that is foretold."""
    if one.outcome is not None and other.outcome is not None:
        return one.outcome.cost < other.outcome.cost
    return one.overall < other.overall
