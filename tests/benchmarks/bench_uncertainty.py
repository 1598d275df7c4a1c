"""What model factors cost: the samples of `check --uncertainty` with and without them.

    python -m tests.benchmarks.bench_uncertainty [SAMPLES]

Processor time of one process, both ways in one run. The samples themselves are fired once for both;
factors come in where a probability is asked. Without them: one draw, all factors 1.
Allowed by the acceptance: 1.3 times.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from cofire.assessment.response import fire_vessel
from cofire.evidence.measure_next import measure_next
from cofire.evidence.uncertainty import Samples, sample_verdicts
from cofire.firing.program import load_kilns
from cofire.materials.catalogue import load_cards
from cofire.vessel_file import read_vessel

VESSEL = Path(__file__).parents[2] / "examples" / "silver_foot_vessel.toml"


def processor(call: Callable[[], object]) -> tuple[float, object]:
    """Processor time of a call, and what it gave. [s]"""
    start = time.process_time()
    found = call()
    return time.process_time() - start, found


def asked(samples: Samples) -> list[float]:
    """The probabilities that a check prints, and the ranking."""
    told = [p.value for p in (samples.go, samples.no, samples.survival, samples.sound)]
    measure_next(samples)
    return told


def plain(samples: Samples) -> list[float]:
    """The same shares by counting samples, no rule ever wrong, and the ranking."""
    told = [float(np.mean(samples.grade == k)) for k in (0, 2)]
    told += [float(np.mean(samples.worst <= 1.0))]
    measure_next(samples)
    return told


def main(count: int) -> str:
    """Times and their ratio, as printed."""
    response = fire_vessel(read_vessel(VESSEL, load_kilns()), load_cards(), extend=True)
    fired, samples = processor(lambda: sample_verdicts(response, count))
    assert isinstance(samples, Samples)
    without, _ = processor(lambda: plain(replace(samples)))
    with_them, _ = processor(lambda: asked(replace(samples)))
    ratio = (fired + with_them) / (fired + without)
    return (
        f"{count} samples: fired {fired:.1f} s; asked without factors {without:.2f} s, with "
        f"{with_them:.2f} s; ratio of the whole {ratio:.3f} (allowed 1.3)"
    )


if __name__ == "__main__":
    sys.stdout.write(main(int(sys.argv[1]) if len(sys.argv) > 1 else 256) + "\n")
