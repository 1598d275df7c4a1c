"""Most memory of a plan, of samples and of a sweep's rows, and how it grows with their number.

Run by hand: python -m tests.benchmarks.bench_memory [--plan]
A worker holds one vessel at a time, and what its benches remember. Each line is a process of its
own: most memory (`ru_maxrss`) less that of the same process before its first vessel.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import numpy as np  # noqa: E402

from cofire.assessment.response import fire_vessel  # noqa: E402
from cofire.design.candidates import ROUGH, Bench, fire_candidates  # noqa: E402
from cofire.design.layers import layouts  # noqa: E402
from cofire.design.plan import propose  # noqa: E402
from cofire.design.transition import as_vessel  # noqa: E402
from cofire.evidence.uncertainty import sample_verdicts  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.vessel_file import read_vessel  # noqa: E402

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
MEBIBYTE = 2**10  # in the kibibytes of ru_maxrss on Linux
KINDS = ("candidates", "samples", "plan")


def most() -> float:
    """Of this process so far. [MiB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MEBIBYTE


def candidates(count: int) -> None:
    """So many layouts on one bench, judged and let go one after the other."""
    vessel, bench = read_vessel(EXAMPLE), Bench(load_cards(), fineness=ROUGH)
    metal, ceramic, below = bench.zones(vessel)
    every = layouts(vessel)
    for k in range(count):
        one = as_vessel(vessel, metal.name, ceramic.name, below, every[k * 7 % len(every)])
        share = replaced(one, 20 + k % 60)
        for found in fire_candidates(bench, [share]):
            if not isinstance(found, Exception):
                bench.judge(found)


def replaced(vessel, share: int):  # type: ignore[no-untyped-def]
    """The same with another blend in its first band between the zones."""
    from dataclasses import replace

    if len(vessel.bands) < 3:
        return vessel
    names = vessel.bands[1].material.rsplit("=", 1)
    bands = list(vessel.bands)
    bands[1] = replace(bands[1], material=f"{names[0]}= {share}")
    return replace(vessel, bands=tuple(bands))


def samples(count: int) -> None:
    """So many samples of a check's vessel."""
    response = fire_vessel(read_vessel(EXAMPLE), load_cards())
    assert np.isfinite(sample_verdicts(response, count).known).any()


def plan(count: int) -> None:
    """A whole plan by one process."""
    assert count == 1
    propose(read_vessel(EXAMPLE), load_cards())


def main() -> None:
    """Print most memory of each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", action="store_true", help="a whole plan too")
    parser.add_argument("--work", choices=KINDS, help=argparse.SUPPRESS)
    parser.add_argument("--count", type=int, default=1, help=argparse.SUPPRESS)
    given = parser.parse_args()
    works: dict[str, Callable[[int], None]] = dict(
        zip(KINDS, (candidates, samples, plan), strict=True)
    )
    if given.work:
        before = most()
        works[given.work](given.count)
        print(f"{given.count:5d} {given.work:12} {most() - before:6.0f} MiB over {before:.0f} MiB")
        return
    jobs = [("candidates", n) for n in (4, 32, 128)] + [("samples", n) for n in (8, 64)]
    for kind, count in [*jobs, *([("plan", 1)] if given.plan else [])]:
        command = [sys.executable, "-m", "tests.benchmarks.bench_memory", "--work", kind]
        subprocess.run([*command, "--count", str(count)], check=True)


if __name__ == "__main__":
    main()
