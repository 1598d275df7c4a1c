"""Cost of screening 400 metals × 400 bodies at 10 peaks as CSV, on two cores.

Run by hand: python tests/benchmarks/bench_screening.py [--count 400] [--out FILE]
Cards are shipped ones with a few properties changed, always the same. Two processes share the
peaks and write 1.6 million rows of text. On a sample the same figures are then computed pair by
pair from the same histories, once in plain Python loops and once with pandas; answers are compared
before times are. A plain program would also make both histories anew for each pair: that is timed
apart. Wanted: under 60 s and 2 GiB.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from time import perf_counter, process_time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # two processes on two cores

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402

from cofire.assessment.mismatch import Fired, PairBlock, compare, fire  # noqa: E402
from cofire.assessment.screening import stream  # noqa: E402
from cofire.firing.program import load_kilns  # noqa: E402
from cofire.materials.card import Card  # noqa: E402
from cofire.materials.library import load_cards  # noqa: E402
from cofire.report.pairs import stream_csv  # noqa: E402
from cofire.units import kelvin  # noqa: E402

SEED = 20
PEAKS = np.arange(780.0, 1051.0, 30.0)
HOLD = 3600.0
GAS = "carbon"
VARIED = ("thermal_expansion", "young_modulus", "sintering_energy", "surface_tension", "strength")
MOST_SECONDS, MOST_GIBIBYTES = 60.0, 2.0
Figures = tuple[float, float, float, float]
"""End mismatch, worst mismatch, the temperature of the worst [K], cooled mismatch."""


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


def plain(fired: Fired, one: int, other: int) -> Figures:
    """Figures of one pair in plain loops."""
    first, second = fired.free_strain[one].tolist(), fired.free_strain[other].tolist()
    temperature = fired.history.temperature.tolist()
    sintered = fired.history.strain["sintering"]
    worst, hot = 0.0, temperature[0]
    for n in range(fired.until):
        apart = first[n] - second[n]
        if abs(apart) > abs(worst):
            worst, hot = apart, temperature[n]
    stored = max(int(fired.set_index[one]), int(fired.set_index[other]))
    cooled = first[-1] - second[-1] - (first[stored] - second[stored])
    end = float(np.exp(sintered[one, -1])) - float(np.exp(sintered[other, -1]))
    return end, worst, hot, cooled


def tabular(fired: Fired) -> Callable[[Fired, int, int], Figures]:
    """The same with a table library: columns are materials, rows are times."""
    free = pd.DataFrame(fired.free_strain.T)
    sintered = pd.DataFrame(fired.history.strain["sintering"].T)
    temperature = pd.Series(fired.history.temperature)

    def figures(fired: Fired, one: int, other: int) -> Figures:
        apart = free[one] - free[other]
        worst = apart.iloc[: fired.until].abs().idxmax()
        stored = max(fired.set_index[one], fired.set_index[other])
        end = np.exp(sintered[one].iloc[-1]) - np.exp(sintered[other].iloc[-1])
        return end, apart[worst], temperature[worst], apart.iloc[-1] - apart.iloc[stored]

    return figures


def seconds_a_pair(
    figures: Callable[[Fired, int, int], Figures], fired: Fired, blocks: list[PairBlock]
) -> float:
    """Processor time of one pair done alone, once its figures are those of the blocks."""
    count = blocks[0].strength.size
    for one, block in enumerate(blocks):
        wanted = (
            block.end_mismatch, block.worst_mismatch, block.worst_temperature, block.cooled_mismatch
        )  # fmt: skip
        found = np.array([figures(fired, one, len(blocks) + k) for k in range(count)]).T
        assert np.allclose(found, wanted, rtol=1e-9, atol=1e-12), "the answers differ"
    began = process_time()
    for one in range(len(blocks)):
        for k in range(count):
            figures(fired, one, len(blocks) + k)
    return (process_time() - began) / (len(blocks) * count)


def compare_on_a_sample(size: int = 40) -> dict[str, float]:
    """Seconds a pair: its two histories made anew; and with them given, its figures three ways."""
    cards = [*varied("metal", size), *varied("ceramic", size)]
    fired = fire(cards, load_kilns()["laboratory furnace"], kelvin(PEAKS[4]), HOLD, GAS)
    bodies = np.arange(size, 2 * size)
    began = process_time()
    blocks = [compare(fired, one, bodies) for one in range(size)]
    ours = (process_time() - began) / size**2
    began = process_time()
    for one, other in zip(cards[:20], cards[size:], strict=False):
        fire([one, other], load_kilns()["laboratory furnace"], kelvin(PEAKS[4]), HOLD, GAS)
    anew = (process_time() - began) / 20
    return {
        "fired anew": anew,
        "plain loops": seconds_a_pair(plain, fired, blocks),
        "pandas": seconds_a_pair(tabular(fired), fired, blocks),
        "cofire": ours,
    }


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
    times = compare_on_a_sample()
    for name, seconds in times.items():
        scaled = seconds * rows
        ratio = seconds / times["cofire"]
        print(
            f"{name:12} {seconds * 1e6:8.1f} µs a row; all {scaled:8.1f} s; {ratio:7.1f} × cofire"
        )
    plainly = (times["fired anew"] + times["plain loops"]) * rows
    print(f"plain and each pair fired anew: {plainly:.0f} s, {plainly / wall:.0f} times as long")
    if wall > MOST_SECONDS or memory > MOST_GIBIBYTES:
        sys.exit(f"over the limit of {MOST_SECONDS:.0f} s or {MOST_GIBIBYTES:.0f} GiB")


if __name__ == "__main__":
    main()
