"""Two thousand quick checks over processes and over a Dask cluster, each killed in the middle.

Run by hand: python -m tests.benchmarks.bench_sweep [--rows 2000] [--workers 2] [--folder DIR]
The same table is swept twice, by local processes and by a `LocalCluster` of as many worker
processes. Each sweep is a process of its own that is killed (SIGKILL) once a third of its rows are
written, and begun again. Told are how many rows were there when it went on, and processor time and
clock of what followed; the two tables must be the same bytes, every row once and in order.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter, sleep

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

from cofire.sweeps import sweep_table  # noqa: E402
from cofire.workers import cores, local_processes  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
VESSEL = "silver_foot_vessel.toml"
KINDS = ("processes", "dask")


def write_table(path: Path, rows: int) -> None:
    """A table of the shipped vase: peaks, walls and samples, no row like another."""
    (path.parent / VESSEL).write_bytes((ROOT / "examples" / VESSEL).read_bytes())
    for other in (ROOT / "examples").glob("*firing*.toml"):
        (path.parent / other.name).write_bytes(other.read_bytes())
    lines = ["vessel,peak_C,wall_mm,sample,label"]
    for k in range(rows):
        peak, wall, sample = 840 + 5 * (k % 6), 1.4 + 0.1 * (k // 6 % 5), k // 30
        lines.append(f"{VESSEL},{peak},{wall:.1f},{sample},row {k}")
    path.write_text("\n".join(lines) + "\n")


@contextmanager
def executor(kind: str, workers: int) -> Iterator[Executor | None]:
    """Processes of this machine, by themselves or as the workers of a Dask cluster."""
    if kind == "processes":
        with local_processes(workers) as found:
            yield found
        return
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
    ):
        yield client.get_executor()


def work(kind: str, table: Path, out: Path, workers: int) -> None:
    """What the process that is killed does."""
    with executor(kind, workers) as found:
        start = perf_counter()
        swept = sweep_table(table, out, quick=True, executor=found)
        took = perf_counter() - start
    spent = sum(os.times()[:4])
    done = swept.rows - swept.before
    print(
        f"  went on after {swept.before} of {swept.rows} rows: {done} in {took:.0f} s by the clock"
    )
    print(f"  {spent:.0f} s of processor, {1e3 * spent / max(done, 1):.0f} ms a row, start and all")
    print("  " + ", ".join(f"{n} {word}" for word, n in sorted(swept.words.items())), flush=True)


def killed(kind: str, table: Path, out: Path, workers: int, rows: int) -> None:
    """Begin a sweep, and end its process and those it began once a third of the rows are there."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_sweep", "--work", kind]
    command += ["--folder", str(table.parent), "--workers", str(workers)]
    run = subprocess.Popen(command, cwd=ROOT, start_new_session=True)
    while run.poll() is None and (not out.exists() or out.read_bytes().count(b"\n") < rows // 3):
        sleep(0.2)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    print(f"{kind}: killed with {out.read_bytes().count(chr(10).encode()) - 1} rows written")
    subprocess.run(command, cwd=ROOT, check=True)


def main() -> None:
    """Print both sweeps and compare their tables; status 1 where these differ."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=cores())
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--only", choices=KINDS, help="one of the two, and nothing compared")
    parser.add_argument("--work", choices=KINDS, help=argparse.SUPPRESS)
    given = parser.parse_args()
    folder = given.folder or Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    table = folder / "table.csv"
    if given.work:
        work(given.work, table, folder / f"{given.work}.csv", given.workers)
        return
    write_table(table, given.rows)
    print(
        f"{given.rows} rows on {given.workers} workers, load {os.getloadavg()[0]:.1f}", flush=True
    )
    for kind in (given.only,) if given.only else KINDS:
        killed(kind, table, folder / f"{kind}.csv", given.workers, given.rows)
    if given.only:
        return
    one, other = ((folder / f"{kind}.csv").read_bytes() for kind in KINDS)
    labels = [f"row {k}" for k in range(given.rows)]
    order = [line.split(",")[4] for line in one.decode().splitlines()[1:]]
    if one != other or order != labels:
        sys.exit("the tables differ, or a row is missing or there twice")
    print("the same bytes from both, every row once")


if __name__ == "__main__":
    main()
