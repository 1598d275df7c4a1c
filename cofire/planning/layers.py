"""Which graded layers a joint should have: how many, of which blends, how tall, and where.

The search owns no physics: it lays out candidates that the printer can lay and the user will mix,
fires them in batches, and ranks them by the flags' worst load.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from cofire.errors import ModelError
from cofire.inputs.cards import Card
from cofire.inputs.vessel import Vessel
from cofire.planning.candidates import Bench, batches, fire_candidates
from cofire.planning.flags import Flag
from cofire.planning.layouts import (
    SHARE_STEP,
    SKEWS,
    Layout,
    as_vessel,
    bounds,
    decay_length,
    layouts,
    least_height,
    neighbours,
    refuse_without_place,
    zones,
)
from cofire.planning.response import Response
from cofire.planning.verdict import Verdict
from cofire.planning.workers import in_pairs

__all__ = [
    "LayerSearch", "Trial", "chance", "decay_length", "fixed", "load_of", "propose_layers",
    "ranked", "trade_off", "trial", "try_layouts",
]  # fmt: skip

FIXED = ("peak", "density", "atmosphere", "core", "burnout")
"""Rules that see the firing and the two substances, whatever the layers."""
FIXED_IF_PURE = ("gradient", "transformation")
"""Rules that see one material alone."""
FIRST_SKEWS = (1.0, 1.7)
"""Tried first, at the tallest transition."""
LOWER = (0.75, 0.5)
"""Heights tried next, of the tallest, and for how many of the best counts other skews are. [-]"""
BETTER = 3
TIE = 1.02
"""Candidates within this factor of the best load count as equal. [-]"""
ROUNDS = 5
"""Most rounds of refinement. [-]"""
WORTH = 0.98
"""More blends or height are shown where they bring the load below this, of the simpler one."""


@dataclass(frozen=True)
class Trial:
    """A layout, what it scored, and the flag that set the score.

    Attributes
    ----------
    load
        Largest share of a limit used up, over the flags that layers can change. [-]
    worst, floor
        The flag that set it, and the worst flag that no layers change.
    cooling
        Largest load of a cooling flag. [-]
    verdict
        Over all flags.
    """

    layout: Layout
    load: float
    worst: Flag
    floor: Flag
    cooling: float
    verdict: str


@dataclass(frozen=True)
class LayerSearch:
    """Everything tried, best first, and why the limits are what they are.

    Attributes
    ----------
    trials
        Ordered by load, fewer blends, less height.
    decay_length
        √(r h)/[3(1−ν²)]^¼ at the joint: the length that a transition is measured by. [m]
    least_height
        Least height of a band from the smear of a change of paste. [m]
    bounds
        What the limits rule out, one sentence each.
    finished
        False where the search was interrupted.
    """

    trials: tuple[Trial, ...]
    decay_length: float
    least_height: float
    bounds: tuple[str, ...]
    finished: bool = True

    @property
    def best(self) -> Trial:
        """Least load; of equals, fewer blends, then less height."""
        return self.trials[0]


def try_layouts(bench: Bench, vessel: Vessel, candidates: Sequence[Layout]) -> Iterator[Trial]:
    """Fire and judge layouts in batches, coarsely enough for a search.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        With its firing.
    candidates : sequence of Layout
        To be tried.

    Yields
    ------
    Trial
        One a layout that finds its equilibrium, in order.

    Raises
    ------
    ModelError
        None of them does.
    """
    metal, ceramic, below = zones(vessel, bench.cards)

    def vessel_of(layout: Layout) -> Vessel:
        return as_vessel(vessel, metal.name, ceramic.name, below, layout)

    def work(some: Sequence[Layout]) -> list[Trial | ModelError]:
        fired = fire_candidates(bench, [vessel_of(layout) for layout in some])
        return [
            r if isinstance(r, ModelError) else trial(bench, layout, r)
            for layout, r in zip(some, fired, strict=True)
        ]

    if candidates:
        bench.history(vessel.firing, bench.used(map(vessel_of, candidates)))  # before a fork
    lost: ModelError | None = None
    found = 0
    for results in in_pairs(work, batches(candidates)):
        for result in results:
            if isinstance(result, ModelError):
                lost = result
                continue
            found += 1
            yield result
    if lost is not None and found == 0:
        raise lost


def fixed(flag: Flag, pure: Iterable[str]) -> bool:
    """Whether no layers change a flag: it sees the firing and a pure zone alone.

    Parameters
    ----------
    flag : Flag
        The flag.
    pure : iterable of str
        Names of the two zones' materials.

    Returns
    -------
    bool
        True where it is the same for every layout.
    """
    return flag.rule in FIXED or (flag.rule in FIXED_IF_PURE and flag.zone in pure)


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
        Load of the worst flag that layers can change.
    """
    verdict = bench.judge(response)
    pure = [card.name for card in response.cards if not card.parts]
    floor = max((f for f in verdict.flags if fixed(f, pure)), key=load_of)
    worst = max((f for f in verdict.flags if not fixed(f, pure)), key=load_of)
    cooling = max((load_of(f) for f in verdict.flags if f.rule == "cooling"), default=0.0)
    return Trial(layout, load_of(worst), worst, floor, cooling, verdict.word)


def load_of(flag: Flag) -> float:
    """Load of a flag; what could not be computed counts as 1. [-]

    Parameters
    ----------
    flag : Flag
        The flag.
    """
    return 1.0 if flag.load != flag.load else flag.load


def chance(verdict: Verdict) -> float:
    """Largest chance of a crack on cooling that a verdict holds. [-]

    Parameters
    ----------
    verdict : Verdict
        Of a vessel.
    """
    return max((f.figure / 100.0 for f in verdict.flags if f.rule == "cooling"), default=0.0)


def propose_layers(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    rounds: int = ROUNDS,
    progress: Callable[[int, int], None] | None = None,
    bench: Bench | None = None,
) -> LayerSearch:
    """Search the transition that uses up least of the flags' limits.

    A coarse grid over number, height and skew of the blends; then the neighbours of the best,
    round by round, until nothing improves. Deterministic. An interrupt ends the search with what
    it has.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic zone, with its limits and its firing.
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

    Returns
    -------
    LayerSearch
        All trials, best first.

    Raises
    ------
    ModelError
        No layout keeps the limits; the message names the one that binds.
    """
    zones(vessel, cards)
    refuse_without_place(vessel)
    bench = bench or Bench(cards, extend)
    middle = 0.5 * (vessel.joint.lowest + vessel.joint.highest)
    done: dict[Layout, Trial] = {}

    def run(candidates: Iterable[Layout]) -> None:
        new = [layout for layout in candidates if layout not in done]
        whole = len(done) + len(new)
        for result in try_layouts(bench, vessel, new):
            done[result.layout] = result
            if progress:
                progress(len(done), whole)

    finished = True
    try:
        run(layouts(vessel, (1.0,), FIRST_SKEWS, [middle]))
        run(second(vessel, done.values(), middle))
        step, before = 2 * SHARE_STEP, None
        for _ in range(rounds):
            best = ranked(done.values())[0].layout
            if best == before:
                if step == SHARE_STEP:
                    break
                step = SHARE_STEP
            before = best
            run(neighbours(vessel, best, step))
    except KeyboardInterrupt:
        finished = False
        if not done:
            raise
    return LayerSearch(
        tuple(ranked(done.values())),
        decay_length(vessel, middle),
        least_height(vessel, middle),
        tuple(bounds(vessel)),
        finished,
    )


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
    best: dict[int, Layout] = {}
    for t in ranked(trials):
        best.setdefault(len(t.layout.shares), t.layout)
    leading = [count for count in best if count][:BETTER]
    found = []
    for layout in layouts(vessel, (1.0, *LOWER), SKEWS, [middle]):
        known = best.get(len(layout.shares))
        if known is not None and (
            layout.shares == known.shares
            or (layout.total == known.total and len(layout.shares) in leading)
        ):
            found.append(layout)
    return found


def ranked(trials: Iterable[Trial]) -> list[Trial]:
    """Trials by load; those within the tie of the best by fewer blends, then less height.

    Parameters
    ----------
    trials : iterable of Trial
        In any order.

    Returns
    -------
    list of Trial
        Best first.
    """
    some = sorted(trials, key=lambda t: t.load)
    best = some[0].load
    equal = [t for t in some if t.load <= TIE * best]
    equal.sort(key=lambda t: (len(t.layout.shares), t.layout.total, t.load))
    return [*equal, *(t for t in some if t.load > TIE * best)]


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
    for t in sorted(search.trials, key=lambda t: (len(t.layout.shares), t.layout.total, t.load)):
        simpler = [
            k
            for k in kept
            if len(k.layout.shares) <= len(t.layout.shares) and k.layout.total <= t.layout.total
        ]
        if not simpler or t.load < WORTH * min(k.load for k in simpler):
            kept.append(t)
    return kept
