"""The campaign: `python -m tests.fuzz --minutes 60 --seed 1` prints counts and minimal inputs.

Each round draws some hundred inputs of one kind of file; what breaks a property is made as small as
hypothesis can, printed with the bytes, and not looked for again in this run.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.fuzz.readers import ACCEPTED, Kind, Wrong, inputs, kinds, violation

ROUND = 200
"""Inputs of one kind before the next has its turn. [-]"""
Found = tuple[str, bytes, str]
"""File, content, and what it breaks."""


def one_round(kind: Kind, first: int, folder: Path, known: set[str]) -> tuple[int, Found | None]:
    """How many inputs were tried, and the smallest that breaks a property not yet known."""
    count, smallest = 0, None

    @seed(first)
    @settings(
        max_examples=max(1, int(ROUND * kind.share)), deadline=None, database=None,
        report_multiple_bugs=False,
        phases=(Phase.generate, Phase.shrink), suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(inputs(kind))
    def holds(drawn: tuple[str, bytes]) -> None:
        nonlocal count, smallest
        count += 1
        found = violation(kind, folder, {**kind.whole, drawn[0]: drawn[1]})
        if found and found not in known:
            smallest = (*drawn, found)
            raise Wrong(found)

    try:
        holds()
    except Wrong:
        return count, smallest
    return count, None


def campaign(minutes: float, first: int, names: list[str], folder: Path) -> int:
    """How many different violations were found; counts and inputs are printed."""
    counts: Counter[str] = Counter()
    spent: Counter[str] = Counter()
    known: dict[str, set[str]] = {name: set() for name in names}
    begun, before, number = time.monotonic(), time.process_time(), 0
    while time.monotonic() - begun < 60.0 * minutes:
        name = names[number % len(names)]
        place = folder / name.replace(" ", "_")
        place.mkdir(exist_ok=True)
        start = time.process_time()
        count, found = one_round(kinds()[name], first * 1_000_003 + number, place, known[name])
        spent[name] += time.process_time() - start
        counts[name] += count
        if found is not None:
            file, content, what = found
            known[name].add(what)
            print(f"\n{name}: {what}\n  {file} = {content[:4000]!r}", flush=True)
            (folder / f"{name}-{len(known[name])}-{file}").write_bytes(content)
        number += 1
    wall, used = time.monotonic() - begun, time.process_time() - before
    total = sum(counts.values())
    print(
        f"\nseed {first}: {total} inputs in {wall / 60:.1f} min, {used:.0f} s of one core: "
        f"{3600 * total / used:.0f} an hour of it"
    )
    for name in names:
        if counts[name]:
            each = 1e3 * spent[name] / counts[name]
            read = 100.0 * ACCEPTED[kinds()[name].name] / counts[name]
            print(f"{name:14} {counts[name]:8} inputs, {each:7.1f} ms each, {read:3.0f} % read")
    violations = sum(map(len, known.values()))
    print(f"{violations} violations")
    return violations


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", action="append", choices=list(kinds()), help="repeatable")
    parser.add_argument("--keep", type=Path, help="folder for the minimal inputs")
    given_ = parser.parse_args()
    shm = Path("/dev/shm")
    with tempfile.TemporaryDirectory(
        dir=shm if shm.is_dir() else None, prefix="fuzz-"
    ) as temporary:
        folder = given_.keep or Path(temporary)
        folder.mkdir(exist_ok=True, parents=True)
        found = campaign(given_.minutes, given_.seed, given_.kind or list(kinds()), folder)
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
