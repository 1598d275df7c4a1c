"""Cost of screening 400 metals × 400 bodies at 10 peaks as CSV, on two processes.

Run by hand: python tests/benchmarks/bench_screening.py [--count 400] [--out FILE]
Cards are shipped ones with a few properties changed, always the same. Two processes share the
peaks and write 1.6 million rows of text. Wanted: under 60 s and 2 GiB. Compared with nothing: no
compiled program of the same task is at hand.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from time import perf_counter

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # two processes on two cores

import numpy as np  # noqa: E402

from cofire.assessment.screening import stream  # noqa: E402
from cofire.firing.program import load_kilns  # noqa: E402
from cofire.materials.card import Card  # noqa: E402
from cofire.materials.catalogue import load_cards  # noqa: E402
from cofire.report.pairs import stream_csv  # noqa: E402
from cofire.units import kelvin  # noqa: E402

SEED = 20
PEAKS = np.arange(780.0, 1051.0, 30.0)
HOLD = 3600.0
GAS = "carbon"
VARIED = ("thermal_expansion", "young_modulus", "sintering_energy", "surface_tension", "strength")
MOST_SECONDS, MOST_GIBIBYTES = 60.0, 2.0


def varied(kind: str, count: int) -> list[Card]:
    """Cards of one kind: the shipped ones in turn, some properties up to 10 % off."""
    random = np.random.default_rng(SEED)
    shipped = [card for card in load_cards().values() if card.kind == kind]
    cards = []
    for number in range(count):
        card = shipped[number % len(shipped)]
        for name in VARIED:
            factor = random.uniform(0.9, 1.1)
            card = card.scaled(name, factor) if name in card else card
        cards.append(replace(card, name=f"{card.name} {number}"))
    return cards


def write_rows(peaks: list[float], count: int, path: str) -> int:
    """Write every pair at every given peak as text, and count the rows."""
    kiln = load_kilns()["laboratory furnace"]
    metals, ceramics = varied("metal", count), varied("ceramic", count)
    names = [[card.name for card in side] for side in (metals, ceramics)]
    rows = -1  # the header is none
    with open(path, "w", encoding="utf-8") as file:
        for text in stream_csv(stream(metals, ceramics, kiln, peaks, HOLD, GAS), *names):
            file.write(text)
            rows += text.count("\n")
    return rows


def main() -> None:
    """Print wall time, rows a second, memory and ratios; status 1 where a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=400, help="metals, and as many bodies")
    parser.add_argument("--out", default=os.devnull, help="file; each process adds its number")
    given = parser.parse_args()
    halves = [kelvin(PEAKS[0::2]).tolist(), kelvin(PEAKS[1::2]).tolist()]
    paths = [given.out if given.out == os.devnull else f"{given.out}.{n}" for n in (1, 2)]
    began = perf_counter()
    with ProcessPoolExecutor(2) as pool:
        rows = sum(pool.map(write_rows, halves, [given.count] * 2, paths))
    wall = perf_counter() - began
    assert rows == given.count**2 * PEAKS.size
    own, child = (
        resource.getrusage(who).ru_maxrss / 2**20  # kibibytes on Linux
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    memory = own + 2.0 * child
    print(f"{rows} rows in {wall:.1f} s on two processes: {rows / wall:.0f} rows a second")
    print(f"memory at most {memory:.2f} GiB (this process {own:.2f}, each of two {child:.2f})")
    if wall > MOST_SECONDS or memory > MOST_GIBIBYTES:
        sys.exit(f"over the limit of {MOST_SECONDS:.0f} s or {MOST_GIBIBYTES:.0f} GiB")


if __name__ == "__main__":
    main()
