"""Designs within the limits of a vessel's file: free shares and heights, chamber and wall.

One design is fired over samples, and tells what each sample does to each rule. With that, a firing
of any other design with the cards as they stand foretells its chance (`objective.foretold`). For
each number of pastes between the zones, none among them, a global stage (differential evolution
over Sobol' points and what is known already) and a compass make the chance of loss small that is so
foretold; the best of the best numbers are fired over the samples, foretell their neighbours better,
and are refined; the best of each number is asked over samples drawn anew, so that luck is not
mistaken for merit. Seeds are fixed: the same request gives the same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from cofire.assessment.crack_rules import COOLING
from cofire.assessment.rule import NO
from cofire.design.candidates import Bench
from cofire.design.constraints import (
    LEAST_LAYERS,
)
from cofire.design.objective import (
    ASKED,
    SOUGHT,
    Outcome,
    Sample,
    Swing,
    as_they_come,
    draw,
    foretold,
    nominal,
    odds,
)
from cofire.design.space import Design, Space
from cofire.design.transition import Layout, given_layout
from cofire.numerics import Array, sobol_points
from cofire.vessel import Vessel, is_blend

IMPOSSIBLE = 10.0
"""Cost of a point that is no design; the largest cost of one is below 2. [-]"""
POPULATION, GENERATIONS = 20, 5
"""Most of the global stage, for each number of pastes. [-]"""
LEAST_POPULATION, A_CHOICE = 8, 3
"""Fewest points of the global stage, and how many it has for each free choice. [-]"""
GAIN, PATIENCE = 1e-4, 2
"""A global stage ends where so many generations on end lower the cost by less. [-]"""
POLISH_STEP, POLISH_ROUNDS = 0.1, 3
"""First step of the compass that follows it, in the unit cube, and its rounds. [-]"""
LOCAL_STEP, LOCAL_ROUNDS = 0.05, 2
"""First step of the local stage, in the unit cube, and its rounds. [-]"""
REFINED = 2
"""Numbers of pastes whose best design is fired over the samples and refined by them. [-]"""
SEARCHED = 64
"""Samples over which chances are foretold: over 16 a search ran after luck, and its design kept a
fifth fewer over others. [-]"""
FINAL = 24
"""Samples over which the best of each number are told apart. [-]"""
COUNTS = (0, 1, 2, 3)
"""Numbers of pastes that are searched, and the most that the file allows besides. [-]"""
NEAR = 1
"""By how many pastes one of two joints may differ from what it has, each time that it is designed
with the other held. [-]"""
KNEE = 0.05
"""A design of more pastes is proposed where it keeps so much more of the pots: our choice. [-]"""
LITTLE = 0.05
"""Of a cost: a choice that is no no is proposed though another costs so much less: our choice.
[-]"""
WORTH = 0.95
"""And where no chance differs, one whose load is below this share of the simpler one's. [-]"""
MARGIN = 0.9
"""Share of a limit that a proposal should leave alone at the cards' values: our choice. [-]"""


@dataclass(frozen=True)
class Choice:
    """The best design of one number of changes of paste, and what it came to.

    Attributes
    ----------
    outcome
        Over the samples of the last say.
    least
        Volume of its smallest band between the zones, fired; that of none is 0. [m³]
    grade
        Of its verdict by its own solid; None until that is asked.
    """

    design: Design
    outcome: Outcome
    least: float
    grade: int | None = None


@dataclass(frozen=True)
class DesignSearch:
    """What a search found.

    Attributes
    ----------
    choices
        By number of changes of paste, each the best of its number.
    chosen
        The simplest beyond which more changes buy little.
    given
        The vessel as its file has it, in the same firing, over the same samples; None where it
        breaks the limits of a plan or cannot be fired.
    tried, fired
        Designs with the cards as they stand, and firings in all. [-]
    samples
        Of the last say. [-]
    least_load, least_cooling
        Of all designs tried: the least load, and the least of what each uses up of its worst limit
        of a crack on cooling. [-]
    placeless
        Numbers of changes of paste for which no place within the limits was found.
    """

    choices: tuple[Choice, ...]
    chosen: Choice
    given: Choice | None
    tried: int
    fired: int
    samples: int
    least_load: float = float("inf")
    least_cooling: float = float("inf")
    placeless: tuple[int, ...] = ()

    @property
    def over(self) -> tuple[str, ...]:
        """Rules that leave less than the margin in the proposal."""
        return tuple(flag.rule for flag in self.chosen.outcome.over(MARGIN))


@dataclass
class Trials:
    """Designs tried so far, each once.

    Attributes
    ----------
    bench
        With the cards as they stand.
    space
        Whose designs.
    known
        Outcomes with the cards as they stand.
    """

    bench: Bench
    space: Space
    progress: Callable[[int], None] | None = None
    known: dict[Design, Outcome | None] = field(default_factory=dict)
    swings: tuple[Swing, ...] = ()
    _costs: dict[Design, float] = field(default_factory=dict)

    def run(self, designs: Iterable[Design | None]) -> None:
        """Fire those designs that are not known yet.

        Parameters
        ----------
        designs : iterable of Design or None
            To be known afterwards.
        """
        new = list(dict.fromkeys(d for d in designs if d is not None and d not in self.known))
        self.known.update(dict.fromkeys(new))  # their order is not that in which they are fired
        vessels = [self.space.laid(d) for d in new]
        for k, outcome in as_they_come(self.bench, vessels, self.progress):
            self.known[new[k]] = outcome
            self.cost(new[k])

    def anchor(self, swings: tuple[Swing, ...]) -> None:
        """Foretell all chances anew.

        Parameters
        ----------
        swings : tuple of Swing
            Of a design near those of interest.
        """
        self.swings = swings
        self._costs.clear()

    def cost(self, design: Design | None) -> float:
        """Cost of a known design: as foretold, or with the cards as they stand. [-]

        Parameters
        ----------
        design : Design or None
            None is no design.
        """
        if design is None:
            return IMPOSSIBLE
        if design not in self._costs:
            outcome = self.known[design]
            if outcome is not None and self.swings:
                outcome = foretold(outcome, self.swings)
            self._costs[design] = IMPOSSIBLE if outcome is None else outcome.cost
        return self._costs[design]

    def costs(self, points: Array) -> Array:
        """Cost of each point, shape (S,). [-]

        Parameters
        ----------
        points : array
            Shape (S, size). [-]
        """
        designs = [self.space.design(point) for point in points]
        self.run(designs)
        return np.array([self.cost(design) for design in designs])

    def best(self, count: int) -> list[Design]:
        """The designs of least cost so far.

        Parameters
        ----------
        count : int
            How many. [-]
        """
        order = sorted((d for d, o in self.known.items() if o is not None), key=self.cost)
        return order[:count]


def global_stage(
    trials: Trials, start: Sequence[Design], population: int, generations: int, seed: int
) -> None:
    """Differential evolution from Sobol' points and what is known; fills the trials.

    It ends early where `PATIENCE` generations on end gain next to nothing.

    Parameters
    ----------
    trials : Trials
        Of one space.
    start : sequence of Design
        Known to be good.
    population, generations : int
        [-]
    seed : int
        Of points and moves.
    """
    from scipy.optimize import differential_evolution

    space = trials.space
    points = sobol_points(population, space.size, seed)
    known = [space.point(design) for design in start[: population // 2]]
    points[: len(known)] = np.array(known).reshape(len(known), space.size)
    reached: list[float] = []

    def settled(x: Array, convergence: float) -> bool:
        best = trials.best(1)
        reached.append(trials.cost(best[0]) if best else IMPOSSIBLE)
        before = reached[-1 - PATIENCE :]
        return len(before) > PATIENCE and before[0] - before[-1] < GAIN

    differential_evolution(
        lambda x: trials.costs(np.atleast_2d(x.T)),
        [(0.0, 1.0)] * space.size,
        init=points,
        callback=settled,
        maxiter=generations,
        tol=0.0,
        polish=False,
        updating="deferred",
        vectorized=True,
        mutation=(0.4, 0.9),
        seed=seed,
    )


def polish(trials: Trials, rounds: int = POLISH_ROUNDS, step: float = POLISH_STEP) -> None:
    """A compass search by cost: a step in each choice, then all that gained together.

    Parameters
    ----------
    trials : Trials
        Of one space, with designs known; filled with more.
    rounds : int
        [-]
    step : float
        The first, in the unit cube. [-]
    """
    for _ in range(rounds):
        best = trials.best(1)
        if not best:
            return
        middle = trials.space.point(best[0])
        before = trials.cost(best[0])
        ways = [(k, way) for k in range(trials.space.size) for way in (-step, step)]
        points = np.array([_moved(middle, [one]) for one in ways])
        costs = trials.costs(points)
        gains = sorted(
            (float(cost), way) for cost, way in zip(costs, ways, strict=True) if cost < before
        )
        first: dict[int, float] = {}
        for _, (k, way) in gains:
            first.setdefault(k, way)
        together = list(first.items())
        if len(together) > 1:
            some = [together[:2], together[:3], together]
            some.append([(k, 2.0 * way) for k, way in together])
            trials.costs(np.array([_moved(middle, one) for one in some]))
        if not gains:
            step *= 0.5


def _moved(point: Array, ways: Iterable[tuple[int, float]]) -> Array:
    """A point moved in some choices, within the cube."""
    moved = point.copy()
    for k, way in ways:
        moved[k] += way
    return np.asarray(np.clip(moved, 0.0, 1.0))


def split(layout: Layout, count: int, layer: float) -> Layout:
    """A layout of more pastes near one of fewer: the widest step gets one between, time and again.

    Parameters
    ----------
    layout : Layout
        Of fewer pastes, one at least.
    count : int
        Of pastes wanted. [-]
    layer : float
        Of the printer. [m]

    Returns
    -------
    Layout
        As tall; it may break limits.
    """
    shares, heights = list(layout.shares), list(layout.each)
    while len(shares) < count:
        steps = np.diff([-100, *(-share for share in shares), 0])
        k = int(np.argmax(steps))  # the step above paste k
        new = round(0.5 * ((100, *shares)[k] + (*shares, 0)[k]))
        tall = max((j for j in (k - 1, k) if 0 <= j < len(heights)), key=lambda j: heights[j])
        half = layer * max(round(0.5 * heights[tall] / layer), LEAST_LAYERS)
        heights[tall] = max(heights[tall] - half, LEAST_LAYERS * layer)
        shares.insert(k, new)
        heights.insert(k, half)
    return Layout(tuple(shares), min(heights), layout.middle, tuple(heights))


def ask(
    trials: Trials,
    samples: Sequence[Sample],
    designs: Sequence[Design],
    progress: Callable[[int], None] | None = None,
) -> dict[Design, Outcome]:
    """Chances of designs over samples.

    Parameters
    ----------
    trials : Trials
        Which know the designs, or will.
    samples : sequence of Sample
        From `draw`.
    designs : sequence of Design
        Any.
    progress : callable, optional
        Is told how many more are done.

    Returns
    -------
    dict
        Outcome by design, without those that cannot be fired.
    """
    trials.run(designs)
    vessels = [trials.space.laid(design) for design in designs]
    known = [trials.known[design] for design in designs]
    found = odds(trials.bench, samples, vessels, known, progress)
    return {d: o for d, o in zip(designs, found, strict=True) if o is not None}


def local_stage(
    trials: Trials,
    samples: Sequence[Sample],
    rounds: int = LOCAL_ROUNDS,
    progress: Callable[[int], None] | None = None,
) -> None:
    """The best so far is fired over the samples, foretells its neighbours, and they are searched.

    Parameters
    ----------
    trials : Trials
        Of one space, with a design known; filled with more.
    samples : sequence of Sample
        The same for all designs.
    rounds : int
        Of the compass. [-]
    progress : callable, optional
        Is told how many more are done.
    """
    for outcome in ask(trials, samples, trials.best(1), progress).values():
        trials.anchor(outcome.swings)
        polish(trials, rounds, LOCAL_STEP)


def searched(effort: float) -> int:
    """Samples over which chances are foretold: all from a tenth of the effort on. [-]

    Parameters
    ----------
    effort : float
        Of a search. [-]
    """
    return max(min(round(10.0 * SEARCHED * effort), SEARCHED), 16)


def search_designs(
    vessel: Vessel,
    bench: Bench,
    start: Sequence[Layout] = (),
    *,
    effort: float = 1.0,
    final: int = FINAL,
    progress: Callable[[int, int], None] | None = None,
    which: str = "",
    held: Design | None = None,
) -> DesignSearch | None:
    """The best designs of each number of changes of paste, in the vessel's firing.

    Two joints are designed alike, or one is held as the vessel has it: while one of them is far
    past its limits, nothing tells what the other gains.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic, at one joint or two, with limits and firing.
    bench : Bench
        With the cards as they stand.
    start : sequence of Layout
        Known to be good.
    effort : float
        Factor on the generations of the global stage; below a tenth fewer samples too. [-]
    final : int
        Samples of the last say. [-]
    progress : callable, optional
        Is told how many firings are done, of about how many.
    which : str
        The joint that is designed where the other is held; empty for all.
    held : Design, optional
        With the joint that is held; its chamber and wall may change where the file frees them.

    Returns
    -------
    DesignSearch or None
        None where the limits leave no design at all.
    """
    metal, ceramic, below = bench.zones(vessel)
    most = vessel.joint.blends
    counts = [n for n in dict.fromkeys((*COUNTS, most)) if n <= most]
    refined = REFINED
    if held is not None:
        pastes = len(dict(held.layout.named)[which].shares)
        counts = [n for n in range(pastes - NEAR, pastes + NEAR + 1) if 0 <= n <= most]
        refined = 1
    generations = max(round(GENERATIONS * effort), 1)
    count = searched(effort)
    rough = count * (1 + refined) + 20 * LOCAL_ROUNDS * refined
    last = final * (len(counts) + 2)
    whole = len(counts) * (POPULATION * (generations + 1) + 40) + rough + last
    done = 0

    def tell(more: int) -> None:
        nonlocal done
        done += more
        if progress:
            progress(done, max(whole, done))

    dead = vessel.printer.dead_volume
    wall = float(vessel.wall[-1]) if vessel.free.roads else 0.0  # else as drawn
    own = held or Design(given_layout(vessel, bench.cards), dead, wall)
    begun = [own, *(Design(layout, dead, wall) for layout in start)]
    other = None if held is None else held.layout
    spaces = {n: Space(vessel, metal, ceramic, below, n, which, other) for n in counts}
    samples = draw(bench, vessel, count, SOUGHT)
    swings = _swings(bench, [spaces[counts[0]].laid(d) for d in begun], samples, tell)
    some: dict[int, Trials] = {}
    placeless: list[int] = []
    mine: Design | None = None  # the vessel as given, within the limits
    for n in counts:
        space = spaces[n]
        trials = some[n] = Trials(bench, space, tell, swings=swings)
        inside = [space.moved_in(d) for d in begun if space.holds(d.layout)]
        known = [d for d in inside if d is not None]
        if space.holds(own.layout):
            mine = inside[0]
        trials.run(known)
        if n > 1 and n - 1 >= min(some, default=n):
            fewer = some[max(m for m in some if m < n)].best(1)[0]
            if (one := space.own(fewer.layout)).shares:
                more = split(one, n, vessel.printer.layer)
                known.insert(0, replace(fewer, layout=_with(fewer.layout, which, more)))
        known = known or space.lowest()
        size = min(max(A_CHOICE * space.size, LEAST_POPULATION), POPULATION)
        global_stage(trials, known, size, generations, SOUGHT + n)
        polish(trials)
        if not trials.best(1):
            del some[n]
            if not trials.known:
                placeless.append(space.changes)
    if not some:
        return None
    leading = sorted(some, key=lambda n: some[n].cost(some[n].best(1)[0]))
    for n in leading[:refined]:
        local_stage(some[n], samples, LOCAL_ROUNDS, tell)
    again = draw(bench, vessel, final, ASKED)
    choices = []
    for trials in some.values():
        best = trials.best(1)
        if mine is not None and mine in trials.known and mine not in best:
            best.append(mine)
        found = ask(trials, again, best, tell)
        if found:
            design = min(found, key=lambda d: found[d].cost)
            choices.append(Choice(design, found[design], _least(trials.space.laid(design))))
    if not choices:
        return None
    given = None
    trials = Trials(bench, spaces[counts[0]])
    for design, outcome in ask(trials, again, [own], tell).items():
        given = Choice(design, outcome, _least(trials.space.laid(design)))
    tried = sum(len(t.known) for t in some.values())
    all_known = [o for t in some.values() for o in t.known.values() if o is not None]
    return DesignSearch(
        tuple(choices), preferred(choices, given), given, tried, done, final,
        min(o.load for o in all_known), min(map(_cooling, all_known)), tuple(placeless),
    )  # fmt: skip


def _with(layout: Layout, which: str, one: Layout) -> Layout:
    """A layout with the transition of one joint exchanged, or of all."""
    if which or layout.upper is None:
        return layout.having(which, one)
    return replace(one, upper=replace(one, middle=layout.upper.middle))


def _swings(
    bench: Bench, vessels: list[Vessel], samples: Sequence[Sample], tell: Callable[[int], None]
) -> tuple[Swing, ...]:
    """What samples do to the one of least load; none where no vessel can be fired."""
    known = nominal(bench, vessels, tell)
    fired = [k for k, outcome in enumerate(known) if outcome is not None]
    if not fired:
        return ()
    k = min(fired, key=lambda k: _load(known[k]))
    (outcome,) = odds(bench, samples, [vessels[k]], [known[k]], tell)
    return outcome.swings if outcome is not None else ()


def _load(outcome: Outcome | None) -> float:
    return float("inf") if outcome is None else outcome.load


def _cooling(outcome: Outcome) -> float:
    """What a design uses up of its worst limit of a crack on cooling. [-]"""
    return max((f.utilisation for f in outcome.flags if f.rule == COOLING.name), default=0.0)


def _least(vessel: Vessel) -> float:
    """Fired volume of the smallest band between the zones; 0 without one. [m³]"""
    found = [
        (band.high - band.low)
        * 2.0
        * np.pi
        * float(np.interp(0.5 * (band.low + band.high), vessel.height, vessel.radius))
        * float(np.interp(0.5 * (band.low + band.high), vessel.height, vessel.wall))
        for band in vessel.bands[1:-1]
        if is_blend(band.material)
    ]
    return float(min(found, default=0.0))


def preferred(choices: Sequence[Choice], given: Choice | None = None) -> Choice:
    """The choice to propose: the knee, or where that is a no the knee of those that are none.

    Parameters
    ----------
    choices : sequence of Choice
        Each the best of its number.
    given : Choice, optional
        As in `knee`.

    Returns
    -------
    Choice
        One that is no no only where it costs little more.
    """
    chosen = knee(choices, given)
    passes = [c for c in choices if c.grade is not None and c.grade < NO]
    if not passes or chosen in passes:
        return chosen
    other = knee(passes, given)
    return other if other.outcome.cost <= chosen.outcome.cost + LITTLE else chosen


def knee(choices: Sequence[Choice], given: Choice | None = None) -> Choice:
    """The fewest changes of paste beyond which more buy little.

    Parameters
    ----------
    choices : sequence of Choice
        Each the best of its number.
    given : Choice, optional
        The vessel as given: none is taken that keeps fewer, where there is one that does not.

    Returns
    -------
    Choice
        Where all chances are alike, by load.
    """
    best = max(c.outcome.chance for c in choices)
    least_kept = best - KNEE
    if given is not None:
        least_kept = max(least_kept, min(given.outcome.chance, best))
    good = [c for c in choices if c.outcome.chance >= least_kept]
    least = min(c.outcome.load for c in good)
    near = [c for c in good if WORTH * c.outcome.load <= least]
    if best > KNEE:
        near = good
    return min(near, key=lambda c: (c.design.changes, c.outcome.cost))
