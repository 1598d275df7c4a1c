"""How often the nominal 90 % intervals of `cofire calibrate` hold the true value.

Two hundred cards drawn from what shipped cards state of themselves, what densities are worked out
by included, bars of each fired in three to six firings and measured with known errors, fitted with
the shipped card as the only knowledge. It fails where nothing was told.
Run:  python tests/benchmarks/coverage_of_intervals.py [cards]
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from cofire.evidence.sintering_findings import sintering_findings
from tests.measured_pieces import (
    CARDS,
    bars,
    density_after,
    dilatometer,
    true_card,
    true_substance,
    with_curves,
)

OF = ("fritted body", "copper", "talc body", "fine silver", "mid-fire stoneware", "alumina")


def measured_once(seed: int) -> dict[str, tuple[float, float, float]]:
    """True value and interval of every value that the readings of one drawn card tell."""
    rng = np.random.default_rng(seed)
    card = CARDS[OF[seed % len(OF)]]
    truth = true_substance(true_card(card, rng), rng)
    assert card.fired_at is not None
    top = card.fired_at.peak - 273.15
    plan = [(150.0, top, 30.0), (150.0, top - 60.0, 30.0), (150.0, top - 30.0, 240.0)]
    plan += [
        (float(rng.choice([60.0, 150.0, 300.0])), top - rng.uniform(0.0, 90.0), 60.0)
        for _ in range(rng.integers(0, 4))
    ]
    upright, weighed, dried = (int(n) for n in rng.integers(0, [2, 3, 3]))
    count = int(rng.integers(2, 6))
    pieces = bars(
        truth, plan, count, rng, upright=bool(upright), weighed=weighed, dried=dried
    )  # fmt: skip
    if rng.integers(0, 3) == 0:
        pieces = with_curves(pieces, [dilatometer(truth, 300.0, top, rng)])
    found = {}
    for value in sintering_findings(card, pieces).values:
        if value.basis != "measured":
            continue
        true = truth[value.name].scalar
        if value.fired_at is not None:
            true = density_after(truth, value.fired_at)
        found[value.name] = (true, float(value.low[0]), float(value.high[0]))
    return found


def main(count: int) -> None:
    """Print the share of intervals that hold the truth, by value."""
    held: dict[str, list[bool]] = defaultdict(list)
    start = time.perf_counter()
    for seed in range(count):
        for name, (true, low, high) in measured_once(seed).items():
            held[name].append(low <= true <= high)
            held["all"].append(held[name][-1])
    if not held:
        sys.exit("no value was told: nothing was counted")
    print(f"{count} cards, {time.perf_counter() - start:.0f} s")
    for name, hits in held.items():
        n, share = len(hits), float(np.mean(hits))
        error = np.sqrt(0.9 * 0.1 / n)
        print(f"{name:26} {100 * share:5.1f} % of {n:4d} intervals hold it (± {100 * error:.1f})")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
