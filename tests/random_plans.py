"""Random requests planned from end to end, and every limit checked again by other means.

    python -m tests.random_plans [how many] [first seed]

plans random requests until so many could be planned, and prints a row each: what came of it, and
what it breaks (nothing). A hundred take some minutes.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, fields

import numpy as np

from cofire.design.plan import Plan, propose
from cofire.design.rivals import EVEN
from cofire.errors import ModelError
from cofire.vessel import Vessel
from tests.fired import CARDS
from tests.planned import (
    broken_firing,
    broken_limits,
    layout_of,
    not_followed,
    pure_cards,
    random_firing,
    random_vessel,
    shares_a_window,
)

COUNT = 100


@dataclass(frozen=True)
class Outcome:
    """What came of a request: its verdict or why there is none, and what is wrong with that."""

    word: str
    wrong: list[str]


def drawn_request(seed: int) -> Vessel:
    """A small vessel with random limits, printer, pair, kiln and lag."""
    draw = np.random.default_rng(seed)
    return random_firing(draw, random_vessel(draw))


def fits(vessel: Vessel) -> bool:
    """Whether some layer boundary lies within the place wanted and leaves both zones."""
    joint, layer, top = vessel.joint, vessel.printer.layer, float(vessel.height[-1])
    least = max(joint.keep, 2.0 * layer)
    slack = 0.5 * max(layer - (joint.highest - joint.lowest), 0.0)
    edges = layer * np.arange(int(top / layer) + 2)
    low, high = max(joint.lowest - slack, least), min(joint.highest + slack, top - least)
    return bool(np.any((edges >= low - 1e-9) & (edges <= high + 1e-9)))


def planned(vessel: Vessel, effort: float = 1.0) -> Outcome:
    """Plan a request and hold the outcome against it."""
    possible = fits(vessel) and shares_a_window(vessel)
    try:
        plan = propose(vessel, CARDS, extend=True, effort=effort)
    except ModelError as error:
        names = [n for n in ("keep:", "position:", "window:") if n in str(error)]
        wrong = [] if names and not possible else [f"refused: {error}"]
        return Outcome(f"refused ({' '.join(names)})", wrong)
    wrong = breaks(vessel, plan) + ([] if possible else ["planned, though not possible"])
    return Outcome(plan.verdict.word, wrong)


def breaks(asked: Vessel, plan: Plan) -> list[str]:
    """What a plan breaks of a request."""
    made = plan.vessel
    segments = list(made.firing.segments)
    found = broken_limits(asked, layout_of(made))
    if plan.schedule is not None:  # else it is fired as given
        found += broken_firing(asked, segments) + not_followed(asked, segments)
    same = {
        "another profile": np.array_equal(made.radius, asked.radius)
        and np.array_equal(made.wall, asked.wall),
        "other materials": pure_cards(made) == pure_cards(asked),
        "another order": made.bands[0].material == asked.bands[0].material,
        "another kiln": all(
            np.array_equal(getattr(made.firing.kiln, f.name), getattr(asked.firing.kiln, f.name))
            for f in fields(asked.firing.kiln)
        ),
        "another gas or lag": (made.firing.gas, made.firing.lag)
        == (asked.firing.gas, asked.firing.lag),
        "unfinished": plan.finished,
        "worse than given": plan.given_breaks or not _fewer_kept(plan),
    }
    return found + [name for name, held in same.items() if not held]


def _fewer_kept(plan: Plan) -> bool:
    """Whether a plan keeps fewer pots than its vessel as given; by its load where unknown."""
    before, after = plan.odds
    if before is None or after is None:
        return plan.verdict.utilisation > plan.given.verdict.utilisation
    return after.chance < before.chance - EVEN


def main(count: int = COUNT, first: int = 0) -> None:
    """Plan requests and print what came of each."""
    start = time.perf_counter()
    words: dict[str, int] = {}
    planned_so_far = bad = 0
    seed = first
    while planned_so_far < count:
        begun = time.perf_counter()
        vessel = drawn_request(seed)
        found = planned(vessel)
        words[found.word] = words.get(found.word, 0) + 1
        planned_so_far += not found.word.startswith("refused")
        bad += bool(found.wrong)
        pair = " + ".join(card.name for card in pure_cards(vessel))
        took = time.perf_counter() - begun
        print(f"{seed:4} {took:5.1f} s  {pair:34} {found.word}  {'; '.join(found.wrong)}")
        seed += 1
    print(f"{seed - first} requests in {time.perf_counter() - start:.0f} s:")
    print(", ".join(f"{number} {word}" for word, number in sorted(words.items())))
    print(f"{bad} with something wrong")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
