"""The search for designs against a plain global optimiser given ten times its evaluations.

    python -m tests.global_search [vessel ...]

prints, for the shipped vessels in their usual firing, the best design of the plan's search and that
of a differential evolution of its own: no known layouts to start from, no stages, one number of
pastes after the other. Both are asked for their chance over the same samples. It takes minutes a
vessel; the tests do it for a small one with few evaluations.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution

from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import USUAL, Setting, frame
from cofire.design.objective import Outcome, draw, warm
from cofire.design.search import Design, DesignSearch, Space, Trials, ask, search_designs
from cofire.vessel import Vessel, read_vessel
from tests.fired import CARDS, KILNS

EXAMPLES = Path(__file__).parents[1] / "examples"
SHIPPED = ("copper_foot_tumbler", "iron_foot_bowl", "silver_rim_vessel", "silver_foot_vessel")
MORE = 10
POPULATION = 40


@dataclass(frozen=True)
class Compared:
    """The search's choice, the plain optimiser's best, and how often each fired a design."""

    search: DesignSearch
    plain: Design
    outcome: Outcome
    evaluations: int
    ours: Outcome


def usual(vessel: Vessel) -> Vessel:
    """The vessel in the usual firing of its zones."""
    whole = frame(vessel, CARDS)
    return replace(vessel, firing=whole.fired(Setting(len(whole.soaks) // 2, USUAL, USUAL)))


def plain_search(trials: Trials, evaluations: int, seed: int) -> None:
    """A differential evolution of its own; fills the trials."""
    space = trials.space
    population = min(POPULATION, max(evaluations // 4, 5))
    points = np.random.default_rng(seed).random((population, space.size))
    differential_evolution(
        lambda x: trials.costs(np.atleast_2d(x.T)), [(0.0, 1.0)] * space.size, init=points,
        maxiter=max(evaluations // population - 1, 1), tol=0.0, polish=False,
        updating="deferred", vectorized=True, seed=seed,
    )  # fmt: skip


def compare(vessel: Vessel, effort: float = 1.0, final: int = 48, more: int = MORE) -> Compared:
    """Both searches on one vessel in its firing; the plain one's best of each number is asked."""
    bench = Bench(CARDS, fineness=ROUGH)
    search = search_designs(vessel, bench, effort=effort, final=final)
    assert search is not None
    metal, ceramic, below = bench.zones(vessel)
    warm(bench, vessel.firing, metal.name, ceramic.name)
    samples = draw(bench, vessel, final, 1)
    numbers = [len(choice.design.layout.shares) for choice in search.choices]
    each = more * search.tried // len(numbers)
    found: dict[Design, Outcome] = {}
    fired = 0
    for n in numbers:
        trials = Trials(bench, Space(vessel, metal, ceramic, below, n))
        plain_search(trials, each, 77 + n)
        fired += len(trials.known)
        found |= ask(trials, samples, trials.best(2))
    best = min(found, key=lambda design: found[design].cost)
    ours = min((choice.outcome for choice in search.choices), key=lambda o: o.cost)
    return Compared(search, best, found[best], fired, ours)


def main(names: list[str]) -> None:
    """Print one line a vessel and search."""
    for name in names or SHIPPED:
        vessel = usual(read_vessel(EXAMPLES / f"{name}.toml", KILNS))
        start = time.process_time()
        c = compare(vessel)
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
        print("  proposed", c.search.chosen.design.layout)
        print("  plain   ", c.plain.layout, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
