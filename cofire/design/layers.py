"""Which graded layers a joint should have: how many, of which blends, how tall, and where.

The search owns no physics: it lays out candidates that the printer can lay and the user will mix,
fires them in batches, and ranks them by the flags' worst utilisation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from operator import attrgetter

from cofire.assessment.crack_rules import COOLING
from cofire.assessment.response import Response
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import worst_by_rule
from cofire.design.candidates import Bench, batches, fire_candidates
from cofire.design.constraints import (
    allowed,
    bounds,
    halves,
    least_height,
    placed,
    places,
    refuse_without_place,
    with_room,
)
from cofire.design.fired_size import decay_length, in_fired_size, with_roads
from cofire.design.firings import TIE
from cofire.design.grid import HEIGHT_STEPS, SHARE_STEP, SKEWS, layouts, merge, neighbours
from cofire.design.objective import fixed, load_of
from cofire.design.transition import Layout, as_vessel, zones
from cofire.errors import ModelError
from cofire.materials.card import Card
from cofire.vessel import Vessel
from cofire.workers import each

# ----------------------------------------------------------------------------------------------
# Layouts fired and judged: what each one scores, and which is best


@dataclass(frozen=True)
class Trial:
    """A layout, what it scored, and the flag that set the score.

    Attributes
    ----------
    utilisation
        Largest share of a limit used up, over the flags that layers can change. [-]
    worst, floor
        The flag that set it, and the worst flag that no layers change.
    cooling
        Largest utilisation of a cooling flag. [-]
    load
        Utilisations of all rules taken together (`load_of`): falls also where a change eases a flag
        that is not yet the worst. [-]
    verdict
        Over all flags.
    """

    layout: Layout
    utilisation: float
    worst: Flag
    floor: Flag
    cooling: float
    load: float
    verdict: str


def try_layouts(
    bench: Bench,
    vessel: Vessel,
    candidates: Sequence[Layout],
    lose: Callable[[ModelError], None] | None = None,
) -> Iterator[Trial]:
    """Fire and judge layouts in batches, coarsely enough for a search.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        With its firing.
    candidates : sequence of Layout
        To be tried.
    lose : callable, optional
        Is told why, for each layout that cannot be meshed or solved.

    Yields
    ------
    Trial
        One a layout that can be meshed and finds its equilibrium, those of fewer blends first, so
        that the meshes of a batch are alike.

    Raises
    ------
    ModelError
        None of them does.
    """
    lost: ModelError | None = None
    found = 0
    rising = sorted(candidates, key=lambda layout: layout.blends)
    jobs = [(bench, vessel, some) for some in batches(rising)]
    for results in each(_try, jobs, bench.executor):
        for result in results:
            if isinstance(result, ModelError):
                lost = result
                if lose:
                    lose(result)
                continue
            found += 1
            yield result
    if lost is not None and found == 0:
        raise lost


def _try(job: tuple[Bench, Vessel, Sequence[Layout]]) -> list[Trial | ModelError]:
    """One batch of layouts fired and judged, from anywhere."""
    bench, vessel, some = job
    metal, ceramic, below = bench.zones(vessel)
    vessels = [as_vessel(vessel, metal.name, ceramic.name, below, layout) for layout in some]
    return [
        r if isinstance(r, ModelError) else trial(bench, layout, r)
        for layout, r in zip(some, fire_candidates(bench, vessels), strict=True)
    ]


def trial(bench: Bench, layout: Layout, response: Response) -> Trial:
    """What a fired layout scored.

    Parameters
    ----------
    bench : Bench
        Shared flags.
    layout : Layout
        The layout.
    response : Response
        Its vessel, fired.

    Returns
    -------
    Trial
        Utilisation of the worst flag that layers can change.
    """
    verdict = bench.judge(response)
    pure = [card.name for card in response.cards if not card.parts]
    own = [flag for flag in verdict.flags if not fixed(flag, pure)]
    floor = max((f for f in verdict.flags if fixed(f, pure)), key=attrgetter("counted"))
    worst = max(own, key=attrgetter("counted"))
    cooling = worst_by_rule(own).get(COOLING.name)
    return Trial(
        layout,
        worst.counted,
        worst,
        floor,
        0.0 if cooling is None else cooling.counted,
        load_of(verdict.flags, pure),
        verdict.word,
    )


def ranked(trials: Iterable[Trial]) -> list[Trial]:
    """Trials by utilisation; those within the tie of the best by fewer blends, then less height.

    Parameters
    ----------
    trials : iterable of Trial
        In any order.

    Returns
    -------
    list of Trial
        Best first.
    """
    some = sorted(trials, key=lambda t: t.utilisation)
    best = some[0].utilisation
    equal = [t for t in some if t.utilisation <= TIE * best]
    equal.sort(key=lambda t: (t.layout.blends, t.layout.tall, t.utilisation))
    return [*equal, *(t for t in some if t.utilisation > TIE * best)]


# ----------------------------------------------------------------------------------------------
# Which graded layers a joint should have: how many, of which blends, how tall, and where

FIRST_SKEWS = (1.0, 1.7)
"""Tried first, at the tallest transition."""
LOWER = (0.5,)
"""Heights tried next, of the tallest. [-]"""
BETTER = 3
"""For how many of the best counts other skews are tried. [-]"""
ROUNDS = 5
"""Most rounds of refinement. [-]"""
MOST_TOGETHER = 6
"""Layouts of several changes at once that are tried a round. [-]"""
WORTH = 0.98
"""More blends or height are shown where they bring the utilisation below this share of that of the
simpler one. [-]"""


@dataclass(frozen=True)
class LayerSearch:
    """Everything tried, best first, and why the limits are what they are.

    Attributes
    ----------
    trials
        Ordered by utilisation, fewer blends, less height.
    decay_length
        √(r h)/[3(1−ν²)]^¼ at the joint: the length that a transition is measured by. [m]
    least_height
        Least height of a band from the smear of a change of paste, as fired. [m]
    bounds
        What the limits rule out, one sentence each.
    finished
        False where the search was interrupted.
    lost
        Why, for each layout that could not be meshed or solved and was left out.
    """

    trials: tuple[Trial, ...]
    decay_length: float
    least_height: float
    bounds: tuple[str, ...]
    finished: bool = True
    lost: tuple[str, ...] = ()

    @property
    def best(self) -> Trial:
        """Least utilisation; of equals, fewer blends, then less height."""
        return self.trials[0]


def propose_layers(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    rounds: int = ROUNDS,
    progress: Callable[[int, int], None] | None = None,
    bench: Bench | None = None,
    start: Sequence[Layout] | None = None,
    executor: Executor | None = None,
) -> LayerSearch:
    """Search the transition that uses up least of the flags' limits.

    A coarse grid over number, height and skew of the blends; then the neighbours of the best,
    round by round, until nothing improves. Two joints are alike in the grid, then changed together
    and each alone. Deterministic. An interrupt ends the search with what it has.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic, at one joint or two, with its limits and its firing.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    rounds : int
        Most rounds of refinement.
    progress : callable, optional
        Is told how many are done and how many there are so far.
    bench : Bench, optional
        What is known already.
    start : sequence of Layout, optional
        Instead of the coarse grid; the neighbours of the best are then nearer ones.
    executor : Executor, optional
        Who fires the layouts (see `cofire.workers`), where no bench says so.

    Returns
    -------
    LayerSearch
        All trials, best first.

    Raises
    ------
    ModelError
        No layout keeps the limits; the message names the one that binds.
    """
    metal, ceramic, _ = zones(vessel, cards)
    vessel = with_roads(with_room(vessel, metal, ceramic), metal, ceramic)
    sized = in_fired_size(vessel, metal, ceramic)
    refuse_without_place(sized)
    bench = bench or Bench(cards, extend, executor=executor)
    first_joint = halves(sized)[0].joint
    middle = 0.5 * (first_joint.lowest + first_joint.highest)
    done: dict[Layout, Trial] = {}
    seen: set[Layout] = set()
    lost: list[str] = []

    def run(candidates: Iterable[Layout]) -> None:
        new = [layout for layout in candidates if layout not in done and layout not in seen]
        whole = len(done) + len(new)
        seen.update(new)
        try:
            results = try_layouts(bench, vessel, new, lambda error: lost.append(str(error)))
            keep(results, whole)
        except ModelError:
            if not done:
                raise

    def keep(results: Iterable[Trial], whole: int) -> None:
        for result in results:
            done[result.layout] = result
            if progress:
                progress(len(done), whole)

    finished = True
    try:
        if start is None:
            first = layouts(sized, (1.0,), FIRST_SKEWS, [middle])
            if sized.upper is not None and not any(layout.shares for layout in first):
                first = layouts(sized, HEIGHT_STEPS, FIRST_SKEWS, [middle])  # less room for a smear
            run(first or layouts(sized, (1.0,), FIRST_SKEWS, places(sized)))
            run(second(sized, done.values(), middle))
        else:
            run(start)
        refine(sized, done, run, rounds, 2 * SHARE_STEP if start is None else SHARE_STEP)
    except KeyboardInterrupt:
        finished = False
        if not done:
            raise
    return LayerSearch(
        tuple(ranked(done.values())),
        decay_length(sized, middle),
        least_height(sized, middle),
        tuple(bounds(sized)),
        finished,
        tuple(lost),
    )


def refine(
    vessel: Vessel,
    done: Mapping[Layout, Trial],
    run: Callable[[Iterable[Layout]], None],
    rounds: int,
    step: int,
) -> None:
    """Rounds of neighbours of the best, and of their gains taken together.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    done : mapping
        Trials by layout; `run` adds to it.
    run : callable
        Tries layouts.
    rounds : int
        At most.
    step : int
        Change of a share in the first round. [% of volume]
    """
    before: Layout | None = None
    for _ in range(rounds):
        best = ranked(done.values())[0]
        if best.layout == before:
            if step == SHARE_STEP:
                return
            step = SHARE_STEP
        before = best.layout
        near = neighbours(vessel, before, step)
        run(near)
        run(together(vessel, best, [done[layout] for layout in near if layout in done]))


def together(vessel: Vessel, best: Trial, near: Iterable[Trial]) -> list[Layout]:
    """Several single changes at once, those that gain most first.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    best : Trial
        Which they change.
    near : iterable of Trial
        One change each.

    Returns
    -------
    list of Layout
        The two best changes together, the three best, and so on, as far as limits allow.
    """
    gains = sorted((t for t in near if t.load < best.load), key=lambda t: t.load)
    layout, changed, found = best.layout, 0, []
    for t in gains:
        merged = merge(best.layout, layout, t.layout)
        merged = placed(vessel, merged) if merged else None
        if merged is None or merged == layout or not allowed(vessel, merged):
            continue
        layout, changed = merged, changed + 1
        if changed > 1:
            found.append(layout)
    return found[:MOST_TOGETHER]


def second(vessel: Vessel, trials: Iterable[Trial], middle: float) -> list[Layout]:
    """After the tallest transitions: lower ones of the same blends, and other skews of the best.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    trials : iterable of Trial
        The tallest, in any order.
    middle : float
        Where. [m]

    Returns
    -------
    list of Layout
        The best blends of each count, lower; the best counts, more and less skewed.
    """
    best = {layout.blends: layout for layout in leaders(trials)}
    leading = [count for count in best if count][:BETTER]
    found = []
    for layout in layouts(vessel, (1.0, *LOWER), SKEWS, [middle]):
        known = best.get(layout.blends)
        if known is not None and (
            layout.shares == known.shares
            or (layout.tall == known.tall and layout.blends in leading)
        ):
            found.append(layout)
    return found


def leaders(trials: Iterable[Trial]) -> list[Layout]:
    """The best layout of each number of blends.

    Parameters
    ----------
    trials : iterable of Trial
        In any order.

    Returns
    -------
    list of Layout
        Best first.
    """
    best: dict[int, Layout] = {}
    for t in ranked(trials):
        best.setdefault(t.layout.blends, t.layout)
    return list(best.values())


def trade_off(search: LayerSearch) -> list[Trial]:
    """The best trial for each number of blends and each height: what more of either buys.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    list of Trial
        By number of blends, then height; only those that beat every simpler one.
    """
    kept: list[Trial] = []
    for t in sorted(search.trials, key=lambda t: (t.layout.blends, t.layout.tall, t.utilisation)):
        simpler = [
            k for k in kept if k.layout.blends <= t.layout.blends and k.layout.tall <= t.layout.tall
        ]
        if not simpler or t.utilisation < WORTH * min(k.utilisation for k in simpler):
            kept.append(t)
    return kept
