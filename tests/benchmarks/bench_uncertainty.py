"""Cost of many samples in batches against the same samples one by one.

Run by hand: python -m tests.benchmarks.bench_uncertainty [VESSEL.toml] [SAMPLES]
All times are processor time of one process, so that they can be compared on a busy machine; the
command uses two where there are two cores. Utilisations of both ways are compared before times are.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from time import perf_counter, process_time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from cofire.assessment.response import fire_vessel
from cofire.assessment.verdict import judge
from cofire.evidence.measure_next import measure_next
from cofire.evidence.uncertainty import (
    BATCH,
    SAMPLES,
    _judge_batch,
    design,
    factors_of,
    sample_verdicts,
)
from cofire.firing.program import load_kilns
from cofire.materials.library import load_cards
from cofire.vessel import read_vessel

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
ALONE = 6


def main() -> None:
    """Print each comparison."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else EXAMPLE
    count = int(sys.argv[2]) if len(sys.argv) > 2 else SAMPLES
    vessel, cards = read_vessel(path, load_kilns()), load_cards()
    start = process_time()
    response = fire_vessel(vessel, cards, extend=True)
    judge(response)
    check = process_time() - start
    factors = factors_of(response.cards)
    points = design(BATCH, len(factors), 0)

    start = process_time()
    together, _ = _judge_batch(response, factors, points)
    batch = (process_time() - start) / BATCH
    start = process_time()
    alone = [_judge_batch(response, factors, points[[k]])[0][0] for k in range(ALONE)]
    single = (process_time() - start) / ALONE
    apart = []
    for one, other in zip(alone, together, strict=False):
        if one is not None and other is not None:
            worst = [max(utilisation for utilisation, _ in j.flags.values()) for j in (one, other)]
            apart.append(abs(worst[0] / worst[1] - 1.0))
    print(f"{path.stem}, {len(factors)} uncertain properties, processor time a sample:")
    print(f"  as `cofire check` fires it          {1e3 * check:7.0f} ms")
    print(f"  coarsely, one by one                {1e3 * single:7.0f} ms (of {ALONE})")
    print(f"  coarsely, in a batch of {BATCH}          {1e3 * batch:7.0f} ms")
    print(f"  ratio {single / batch:.1f} to one by one, {check / batch:.0f} to `cofire check`;")
    print(f"  largest utilisations within {max(apart):.1e} of each other")

    wall = perf_counter()
    samples = sample_verdicts(response, count)
    fired = perf_counter() - wall
    wall = perf_counter()
    ranking = measure_next(samples)
    fitted = perf_counter() - wall
    spread = np.percentile(samples.worst, [5.0, 95.0])
    print(f"{count} samples: {fired:.1f} s, ranking {fitted:.1f} s by the clock, "
          f"utilisation average {os.getloadavg()[0]:.1f}")  # fmt: skip
    print(
        f"  utilisations {spread[0]:.2f} to {spread[1]:.2f}, {ranking.explained:.0%} accounted for"
    )


if __name__ == "__main__":
    main()
