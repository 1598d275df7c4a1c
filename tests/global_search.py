"""The search for designs against a plain global optimiser given ten times its evaluations.

    python -m tests.global_search [--effort 0.2] [--final 16] [--by-chance] [vessel or number ...]

prints, for shipped vessels and random requests (by number) in their usual firing, the best design
of the plan's search and that of a differential evolution of its own, with no known layouts to start
from and no stages, one number of pastes after the other. Both are asked for their chance over the
same samples, and at the end again over more samples, that neither has seen. The plain one makes the
load small, as the search's global stage does, in ten times the designs; or, asked to, the chance
itself over 16 samples, in ten times the firings. It takes minutes a vessel;
the tests do it for a small one with few evaluations.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution

from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import USUAL_RATE, Setting, frame
from cofire.design.objective import Outcome, Sample, draw, nominal, odds
from cofire.design.search import IMPOSSIBLE, DesignSearch, Trials, ask, search_designs
from cofire.design.space import Design, Space, laid
from cofire.design.starting import started
from cofire.errors import CofireError
from cofire.numerics import Array
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.random_plans import drawn_request

EXAMPLES = Path(__file__).parents[1] / "examples"
SHIPPED = ("copper_foot_tumbler", "iron_foot_bowl", "silver_rim_vessel", "silver_foot_vessel")
MORE = 10
POPULATION = 40
UNSEEN = 256
FEW = 16


@dataclass(frozen=True)
class Compared:
    """The search's choice, the plain optimiser's best, and how often each fired a design."""

    search: DesignSearch
    plain: Design
    outcome: Outcome
    evaluations: int
    ours: Outcome
    anew: tuple[float, float]
    """Chances of ours and of the plain one's over samples that neither has seen."""
    given: float
    """That of the vessel as given, over the same."""


def usual(vessel: Vessel) -> Vessel:
    """The vessel in the usual firing of its zones."""
    vessel = started(vessel, CARDS)
    whole = frame(vessel, CARDS)
    firing = whole.fired(Setting(len(whole.soaks) // 2, USUAL_RATE, USUAL_RATE))
    return replace(vessel, firing=firing, left_open=None)


def plain_search(
    space: Space, costs: Callable[[Array], Array], evaluations: int, seed: int
) -> None:
    """A differential evolution of its own, over a cost of points."""
    population = min(POPULATION, max(evaluations // 4, 5))
    points = np.random.default_rng(seed).random((population, space.size))
    differential_evolution(
        lambda x: costs(np.atleast_2d(x.T)), [(0.0, 1.0)] * space.size, init=points,
        maxiter=max(evaluations // population - 1, 1), tol=0.0, polish=False,
        updating="deferred", vectorized=True, seed=seed,
    )  # fmt: skip


@dataclass
class ByChance:
    """Costs of points by the chance over samples, each design asked once."""

    trials: Trials
    samples: Sequence[Sample]
    asked: dict[Design, Outcome] = field(default_factory=dict)

    def costs(self, points: Array) -> Array:
        """Cost of each point, shape (S,)."""
        designs = [self.trials.space.design(point) for point in points]
        new = list(dict.fromkeys(d for d in designs if d is not None and d not in self.asked))
        self.asked.update(ask(self.trials, self.samples, new))
        return np.array(
            [self.asked[d].cost if d in self.asked else IMPOSSIBLE for d in designs]
        )  # a design of None is in no dict

    def best(self, count: int) -> list[Design]:
        """The designs of least cost so far."""
        return sorted(self.asked, key=lambda d: self.asked[d].cost)[:count]


def compare(
    vessel: Vessel,
    effort: float = 1.0,
    final: int = 48,
    more: int = MORE,
    unseen: int = UNSEEN,
    by_chance: bool = False,
) -> Compared | None:
    """Both searches on one vessel in its firing; the plain one's best of each number is asked.

    None where no design fits the printer and the vessel.
    """
    bench = Bench(CARDS, fineness=ROUGH)
    search = search_designs(vessel, bench, effort=effort, final=final)
    if search is None:
        return None
    metal, ceramic, below = bench.zones(vessel)
    samples = draw(bench, vessel, final, 1)
    numbers = [len(choice.design.layout.shares) for choice in search.choices]
    few = draw(bench, vessel, FEW, 0)
    found: dict[Design, Outcome] = {}
    fired = 0
    for n in numbers:
        trials = Trials(bench, Space(vessel, metal, ceramic, below, n))
        if by_chance:
            one = ByChance(trials, few)
            each = more * search.fired // (len(numbers) * (1 + len(few)))
            plain_search(trials.space, one.costs, each, 77 + n)
            fired += len(trials.known) * (1 + len(few))
            found |= ask(trials, samples, one.best(2))
        else:
            plain_search(trials.space, trials.costs, more * search.tried // len(numbers), 77 + n)
            fired += len(trials.known)
            found |= ask(trials, samples, trials.best(2))
    best = min(found, key=lambda design: found[design].cost)
    ours = min(search.choices, key=lambda choice: choice.outcome.cost)
    others = [ours.design, best]
    anew = draw(bench, vessel, unseen, 1234)
    vessels = [
        *(laid(vessel, metal.name, ceramic.name, below, design) for design in others), vessel,
    ]  # fmt: skip
    again = [
        0.0 if o is None else o.chance for o in odds(bench, anew, vessels, nominal(bench, vessels))
    ]
    return Compared(search, best, found[best], fired, ours.outcome, (again[0], again[1]), again[2])


def asked_for(name: str) -> Vessel:
    """A shipped vessel by its name or a random request by its number."""
    if name.isdecimal():
        return drawn_request(int(name))
    return read_vessel(EXAMPLES / f"{name}.toml", KILNS)


def main() -> None:
    """Print one line a vessel and search."""
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", default=SHIPPED)
    parser.add_argument("--effort", type=float, default=1.0)
    parser.add_argument("--final", type=int, default=48)
    parser.add_argument("--by-chance", action="store_true")
    asked = parser.parse_args()
    for name in asked.names:
        start = time.process_time()
        try:
            c = compare(
                usual(asked_for(name)), asked.effort, asked.final, by_chance=asked.by_chance
            )
        except CofireError as error:
            print(f"{name}: {error}", flush=True)
            continue
        if c is None:
            print(f"{name}: no design fits", flush=True)
            continue
        print(f"{name}: {time.process_time() - start:.0f} s of this process")
        for word, o, count in (
            ("search, best", c.ours, c.search.tried),
            ("search, proposed", c.search.chosen.outcome, c.search.tried),
            ("plain", c.outcome, c.evaluations),
        ):
            print(
                f"  {word:<18} {count:>6} designs  not lost {o.chance:.3f}  all well {o.good:.3f}  "
                f"load {o.load:.3f}"
            )
        print(
            f"  over unseen samples: ours {c.anew[0]:.3f}, plain {c.anew[1]:.3f}, "
            f"as given {c.given:.3f}; {c.search.fired} firings of ours"
        )
        print("  proposed", c.search.chosen.design.layout)
        print("  plain   ", c.plain.layout, flush=True)


if __name__ == "__main__":
    main()
