"""Screening, samples and a check against an earlier commit, in one run.

Run by hand: git worktree add --detach BEFORE COMMIT
             python -m tests.benchmarks.bench_before BEFORE [--rows 1000000] [--samples 256]
Every figure is the processor time of whole processes on one thread, that of the earlier commit and
of this one in turn, so that both see the same load. The two do not do the same: this one judges by
more rules, and a check fires the vessel as printed too. `--quick` is what both have in common, a
shell.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

ROOT = Path(__file__).resolve().parents[2]
SCREEN = """
import sys
sys.argv = ["x"]
sys.path.insert(0, "tests/benchmarks")
from bench_screening import PEAKS, write_rows
from {units} import kelvin
print(write_rows(kelvin(PEAKS).tolist(), {count}, "/dev/null"))
"""
SAMPLES = """
from pathlib import Path
from {catalogue} import load_cards
from {firing} import load_kilns
from {vessel} import read_vessel
from {response} import fire_vessel
from {uncertainty} import sample_verdicts
cards = load_cards()
response = fire_vessel(read_vessel(Path("examples/silver_foot_vessel.toml"), load_kilns()), cards)
print(len(sample_verdicts(response, {count}).worst))
"""
CALLED = {
    "units": "kelvin",
    "catalogue": "load_cards",
    "firing": "load_kilns",
    "vessel": "read_vessel",
    "response": "fire_vessel",
    "uncertainty": "sample_verdicts",
}


def homes(tree: Path) -> dict[str, str]:
    """Modules of a tree that define what is called here, wherever that stood at the time."""
    texts = {path: path.read_text() for path in sorted((tree / "cofire").rglob("*.py"))}
    found = {}
    for key, name in CALLED.items():
        home = next(path for path, text in texts.items() if f"\ndef {name}(" in text)
        found[key] = ".".join(home.relative_to(tree).with_suffix("").parts)
    return found


def spent(tree: Path, command: list[str], kept: str, repeats: int = 1) -> float:
    """Least processor time of a few runs of a process in a tree. [s]

    Compiled modules are kept in a folder, as they are where cofire is installed.
    """
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    cache = {"PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": kept}
    environment = {**os.environ, **threads, **cache, "PYTHONPATH": str(tree)}
    found = []
    for _ in range(repeats):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        run = subprocess.run(
            [sys.executable, *command], cwd=tree, env=environment, capture_output=True, text=True
        )
        if run.returncode not in (0, 4):  # 4: a defect is predicted
            sys.exit(f"{tree}: {run.stderr}")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


def main() -> None:
    """Print processor times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("before", type=Path)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--samples", type=int, default=256)
    given = parser.parse_args()
    before, count = given.before.resolve(), round((given.rows / 10) ** 0.5)
    earlier, present = homes(before), homes(ROOT)
    print(f"load {os.getloadavg()[0]:.1f}; processor time before, now, and now over before")
    check, other = (
        ["-m", "cofire", "check", f"examples/{name}.toml"]
        for name in ("silver_foot_vessel", "copper_foot_tumbler")
    )
    works = (
        ("check --quick", check, [*check, "--quick"], 5),
        ("check", check, check, 5),
        ("check, tumbler", other, other, 5),
        (
            f"{given.samples} samples",
            ["-c", SAMPLES.format(count=given.samples, **earlier)],
            ["-c", SAMPLES.format(count=given.samples, **present)],
            1,
        ),
        (
            f"{10 * count**2} rows of screening",
            ["-c", SCREEN.format(count=count, **earlier)],
            ["-c", SCREEN.format(count=count, **present)],
            1,
        ),
    )
    with TemporaryDirectory() as kept:
        for what, then, now, repeats in works:
            clock = perf_counter()
            old, new = spent(before, then, kept, repeats), spent(ROOT, now, kept, repeats)
            took = perf_counter() - clock
            print(f"{what:28} {old:8.2f} {new:8.2f} s  {new / old:5.2f}   ({took:.0f} s)")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
