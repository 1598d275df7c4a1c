"""What more workers bring to a plan and to samples: measured on a few, replayed on many.

Run by hand: python -m tests.benchmarks.bench_workers [VESSEL.toml] [--workers N]
The jobs of a plan and of 256 samples are timed one by one, and their answer is compared with that
of N processes before times are. For more workers than there are cores the measured times are
replayed: each job goes to whoever is free first, and a search waits for its round to end. That is
simulated: it knows nothing of memory, of the network or of what it takes to send a job.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse  # noqa: E402
import heapq  # noqa: E402
from collections.abc import Callable  # noqa: E402
from concurrent.futures import Executor, Future  # noqa: E402
from pathlib import Path  # noqa: E402
from time import perf_counter, process_time  # noqa: E402

from cofire.assessment.check import check_vessel  # noqa: E402
from cofire.design.plan import propose  # noqa: E402
from cofire.evidence.uncertainty import sample_verdicts  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.report.plan_numbers import plan_json  # noqa: E402
from cofire.vessel_file import read_vessel  # noqa: E402
from cofire.workers import cores, local_processes  # noqa: E402

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_vessel.toml"
REPLAYED = (1, 2, 4, 16, 64)


class Recorder(Executor):
    """Works at once, and keeps how long each job took: a list for each round waited for."""

    def __init__(self) -> None:
        self.rounds: list[list[float]] = []
        self.asked = True

    def submit(self, fn, /, *args, **kwargs) -> Future:  # type: ignore[no-untyped-def]
        """As any executor's."""
        if self.asked:
            self.rounds.append([])
            self.asked = False
        start = process_time()
        done = _Asked(self, fn(*args, **kwargs))
        self.rounds[-1].append(process_time() - start)
        return done


class _Asked(Future):  # type: ignore[type-arg]
    def __init__(self, recorder: Recorder, result: object) -> None:
        super().__init__()
        self.recorder = recorder
        self.set_result(result)

    def result(self, timeout: float | None = None) -> object:
        """What was found; whoever asks has handed out its round."""
        self.recorder.asked = True
        return super().result(timeout)


def replayed(rounds: list[list[float]], workers: int) -> float:
    """How long the rounds take so many workers. [s]"""
    whole = 0.0
    for jobs in rounds:
        free = [0.0] * workers
        for job in jobs:
            heapq.heappush(free, heapq.heappop(free) + job)
        whole += max(free)
    return whole


def measured(title: str, work: Callable[[Executor | None], object], count: int) -> None:
    """Time one piece of work alone and spread, and print what more workers would bring."""
    recorder = Recorder()
    start, clock = process_time(), perf_counter()
    answer = work(recorder)
    whole, alone = process_time() - start, perf_counter() - clock
    clock = perf_counter()
    with local_processes(count) as executor:
        assert work(executor) == answer, "the answers differ"
        spread = perf_counter() - clock
    jobs = sum(map(sum, recorder.rounds))
    number = sum(map(len, recorder.rounds))
    print(f"{title}: {number} jobs in {len(recorder.rounds)} rounds, {whole:.1f} s of processor,")
    print(f"  {whole - jobs:.1f} s of it between jobs")
    print(
        f"  by the clock alone {alone:.1f} s, on {count} processes {spread:.1f} s, the same answer"
    )
    for workers in REPLAYED:
        took = replayed(recorder.rounds, workers) + whole - jobs
        idle = 1.0 - whole / (workers * took)
        print(f"  {workers:3d} workers, simulated: {took:6.2f} s, {100 * idle:3.0f} % of them idle")


def main() -> None:
    """Print each piece of work."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("vessel", nargs="?", default=EXAMPLE, type=Path)
    parser.add_argument("--workers", type=int, default=cores())
    given = parser.parse_args()
    print(f"utilisation average {os.getloadavg()[0]:.1f} on {cores()} cores")
    vessel, cards = read_vessel(given.vessel), load_cards()
    measured("plan", lambda e: plan_json(propose(vessel, cards, executor=e)), given.workers)
    response = check_vessel(vessel, cards).printed
    measured(
        "256 samples",
        lambda e: sample_verdicts(response, executor=e).utilisation.tobytes(),
        given.workers,
    )


if __name__ == "__main__":
    main()
