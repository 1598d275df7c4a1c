"""Which graded layers a joint should have: how many, of which blends, how tall, and where.

The search owns no physics: it lays out candidates that the printer can lay and the user will mix,
fires them in batches, and ranks them by the flags' worst load.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cofire.errors import ModelError
from cofire.inputs.cards import Card
from cofire.inputs.vessel import Vessel
from cofire.planning.candidates import Bench, batches, fire_candidates
from cofire.planning.flags import Flag
from cofire.planning.layouts import (
    SHARE_STEP,
    SKEWS,
    Layout,
    allowed,
    as_vessel,
    bounds,
    decay_length,
    layouts,
    least_height,
    neighbours,
    placed,
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
LOWER = (0.5,)
"""Heights tried next, of the tallest, and for how many of the best counts other skews are. [-]"""
BETTER = 3
TIE = 1.02
"""Candidates within this factor of the best load count as equal. [-]"""
ROUNDS = 5
"""Most rounds of refinement. [-]"""
SHARPNESS = 8
"""Power with which loads are added where a change is weighed. [-]"""
MOST_TOGETHER = 6
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
    strain
        Loads of all rules taken together, the larger ones counting most: falls also where a
        change eases a flag that is not yet the worst. [-]
    verdict
        Over all flags.
    """

    layout: Layout
    load: float
    worst: Flag
    floor: Flag
    cooling: float
    strain: float
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
    metal, ceramic, below = bench.zones(vessel)

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
    own = [flag for flag in verdict.flags if not fixed(flag, pure)]
    floor = max((f for f in verdict.flags if fixed(f, pure)), key=load_of)
    worst = max(own, key=load_of)
    loads: dict[str, float] = {}
    for flag in own:
        loads[flag.rule] = max(load_of(flag), loads.get(flag.rule, 0.0))
    strain = sum(load**SHARPNESS for load in loads.values()) ** (1.0 / SHARPNESS)
    return Trial(
        layout, load_of(worst), worst, floor, loads.get("cooling", 0.0), strain, verdict.word
    )


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
    start: Sequence[Layout] | None = None,
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
    start : sequence of Layout, optional
        Instead of the coarse grid; the neighbours of the best are then nearer ones.

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
        if start is None:
            run(layouts(vessel, (1.0,), FIRST_SKEWS, [middle]))
            run(second(vessel, done.values(), middle))
        else:
            run(start)
        refine(vessel, done, run, rounds, 2 * SHARE_STEP if start is None else SHARE_STEP)
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
    gains = sorted((t for t in near if t.strain < best.strain), key=lambda t: t.strain)
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


def merge(base: Layout, one: Layout, other: Layout) -> Layout | None:
    """Two changes of one layout made both.

    Parameters
    ----------
    base : Layout
        Which both change.
    one, other : Layout
        The changes.

    Returns
    -------
    Layout or None
        None where both change the same thing, or the shares no longer fall.
    """
    pairs = [
        *zip(base.shares, one.shares, other.shares, strict=True),
        (base.height, one.height, other.height),
    ]
    if any(a != b and a != c for a, b, c in pairs):
        return None
    shares = tuple(b + c - a for a, b, c in zip(base.shares, one.shares, other.shares, strict=True))
    if any(a <= b for a, b in pairwise((100, *shares, 0))):
        return None
    middle = one.middle if one.middle != base.middle else other.middle
    return Layout(shares, one.height + other.height - base.height, middle)


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
