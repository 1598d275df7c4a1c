"""The search for designs against a plain global optimiser given ten times its evaluations.

    python -m tests.global_search [--effort 0.2] [--final 16] [vessel or number ...]

prints, for shipped vessels and random requests (by number) in their usual firing, the best design
of the plan's search and that of a differential evolution of its own, with no known layouts to start
from and no stages, one number of pastes after the other. Both are asked for their chance over the
same samples, and at the end again over samples that neither has seen. It takes minutes a vessel;
the tests do it for a small one with few evaluations.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.optimize import differential_evolution

from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import USUAL, Setting, frame
from cofire.design.objective import Outcome, draw, nominal, odds
from cofire.design.search import Design, DesignSearch, Space, Trials, ask, laid, search_designs
from cofire.errors import CofireError
from cofire.vessel import Vessel, read_vessel
from tests.fired import CARDS, KILNS
from tests.random_plans import drawn_request

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
    anew: tuple[float, float]
    """Chances of ours and of the plain one's over samples that neither has seen."""


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


def compare(
    vessel: Vessel, effort: float = 1.0, final: int = 48, more: int = MORE
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
    each = more * search.tried // len(numbers)
    found: dict[Design, Outcome] = {}
    fired = 0
    for n in numbers:
        trials = Trials(bench, Space(vessel, metal, ceramic, below, n))
        plain_search(trials, each, 77 + n)
        fired += len(trials.known)
        found |= ask(trials, samples, trials.best(2))
    best = min(found, key=lambda design: found[design].cost)
    ours = min(search.choices, key=lambda choice: choice.outcome.cost)
    others = [ours.design, best]
    unseen = draw(bench, vessel, final, 1234)
    vessels = [laid(vessel, metal.name, ceramic.name, below, design) for design in others]
    again = odds(bench, unseen, vessels, nominal(bench, vessels))
    assert again[0] is not None
    assert again[1] is not None
    anew = (again[0].chance, again[1].chance)
    return Compared(search, best, found[best], fired, ours.outcome, anew)


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
    asked = parser.parse_args()
    for name in asked.names:
        start = time.process_time()
        try:
            c = compare(usual(asked_for(name)), asked.effort, asked.final)
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
        print(f"  over unseen samples: ours {c.anew[0]:.3f}, plain {c.anew[1]:.3f}")
        print("  proposed", c.search.chosen.design.layout)
        print("  plain   ", c.plain.layout, flush=True)


if __name__ == "__main__":
    main()
