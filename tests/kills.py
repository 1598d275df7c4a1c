"""Stops at random moments: what a kill, an impatient hand, a full disk or a twin leaves behind.

`python -m tests.kills --moments 100 --seed 1` starts `plan`, `make`, `record add` and `sweep` on a
small vessel, sends SIGKILL, SIGTERM or SIGINT at a random moment, and looks: every folder and file
is the old one or the new one, whole; a table of verdicts is a beginning of the whole one, and the
same command goes on to the whole; nothing else has changed; no process is left; and what a signal
that can be answered leaves hidden is nothing. Of the moments `--late` (half, unless told) fall
while files are being written, which is made slow enough for it; the others anywhere from the start
of the process to its end. `--disks` fills a small disk (a tmpfs: root only) and tries a
read-only one; `--twins` lets two processes write one folder. Prints what broke, with the moment,
and counts.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from cofire.firing.program import load_kilns, read_firing
from cofire.report.record import read_record
from cofire.vessel_file import read_vessel

ROOT = Path(__file__).resolve().parents[1]
POT = """
name = "small pot"
[profile]
shape = "cylinder"
radius_mm = 30
height_mm = 40
wall_mm = 4
[[band]]
material = "fine silver"
to_mm = 14
[[band]]
material = "fritted body"
[joint]
blends = 1
height_mm = 6
lowest_mm = 14
highest_mm = 14
keep_mm = 8
[firing]
segment = [ { to_C = 860, rate_C_per_h = 150, hold_min = 60 } ]
"""
TABLE = "vessel,peak_C,wall_mm\n" + "".join(
    f"pot.toml,{peak},{wall}\n" for peak in (840, 860) for wall in (3, 4, 5)
)
NOTES = "what the user wrote beside it\n"
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
ANSWER = 20.0
"""A signal that can be answered is, within this time. [s]"""
Contents = dict[str, bytes]


@dataclass(frozen=True)
class Command:
    """A command that writes.

    Attributes
    ----------
    arguments
        After `cofire`.
    target
        The folder or file it writes.
    whole
        What is missing of a target that it wrote, or None.
    """

    arguments: tuple[str, ...]
    target: str
    whole: Callable[[Path], str | None]


def _png(path: Path) -> bool:
    return path.read_bytes()[-8:-4] == b"IEND"


def whole_plan(folder: Path) -> str | None:
    """What a plan's folder lacks, or None."""
    names = {"plan.json", "plan.txt", "bands.csv", "firing.csv", "firing.toml", "vessel.toml"}
    if missing := names - {f.name for f in folder.iterdir()}:
        return f"lacks {sorted(missing)}"
    json.loads((folder / "plan.json").read_text())
    read_vessel(folder / "vessel.toml", load_kilns())
    read_firing(folder / "firing.toml", load_kilns())
    sheet, drawn = folder / "sheet.html", folder / "stress.png"
    if sheet.exists() and not sheet.read_text().rstrip().endswith("</html>"):
        return "a torn sheet"
    return "a torn figure" if drawn.exists() and not _png(drawn) else None


def whole_making(folder: Path) -> str | None:
    """What the printer's folder lacks, or None."""
    names = {"green.csv", "green.stl", "green.svg", "job.txt", "batches.csv", "test_pieces.csv"}
    if missing := names - {f.name for f in folder.iterdir()}:
        return f"lacks {sorted(missing)}"
    surface = (folder / "green.stl").read_bytes()
    if len(surface) != 84 + 50 * struct.unpack("<I", surface[80:84])[0]:
        return "a torn surface"
    return None if _png(folder / "before_and_after.png") else "a torn figure"


def whole_record(path: Path) -> str | None:
    """What is wrong with a record, or None; a torn last line is mended by the next writer."""
    kept = read_record(path)
    return f"lines {kept.changed} harmed" if kept.changed else None


PLAN = Command(("plan", "pot.toml", "--out", "out", "--force"), "out", whole_plan)
MAKE = Command(("make", "pot.toml", "--out", "out", "--force"), "out", whole_making)
RECORD = Command(
    ("record", "add", "--piece", "bowl", "--outcome", "sound", "--record", "r.jsonl"),
    "r.jsonl", whole_record,
)  # fmt: skip


def whole_verdicts(path: Path) -> str | None:
    """What a table of verdicts lacks, or None."""
    rows, wanted = path.read_text().count("\n"), TABLE.count("\n")
    return None if rows == wanted else f"{rows} lines of {wanted}"


SWEEP = Command(("sweep", "table.csv", "--out", "v.csv"), "v.csv", whole_verdicts)
COMMANDS = {"plan": PLAN, "make": MAKE, "record": RECORD, "sweep": SWEEP}
"""Those that are tried."""


def contents(place: Path) -> Contents:
    """Bytes of a file, or of the files of a folder, by name."""
    if place.is_file():
        return {"": place.read_bytes()}
    return {str(f.relative_to(place)): f.read_bytes() for f in place.rglob("*") if f.is_file()}


def watched() -> None:
    """In the child: work slowly enough to be seen while it writes, and hear an interrupt.

    A shell lets what it starts in the background ignore interrupts, and its children too.
    """
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    os.nice(max(5 - os.nice(0), 0))


effort = 1.0
"""Of a plan's search; below 1 it also asks for no recipes and no alternatives. [-]"""
WAIT = 0.02
"""What each opening, renaming and removing of what is written waits, so that moments fall there:
all files of a plan are written within a few ms. [s]"""
SLOWLY = """
import functools, runpy, sys, time
effort, wait = float(sys.argv.pop(1)), float(sys.argv.pop(1))

def slow(event, arguments):
    if event in ("open", "os.rename", "os.remove", "os.rmdir", "shutil.rmtree"):
        named = str(arguments[:2])
        if any(mark in named for mark in ("/.out.", "r.jsonl", "v.csv", "/.cofire-")):
            time.sleep(wait)

sys.addaudithook(slow)
if effort < 1.0:
    from cofire.design import plan
    plan.propose = functools.partial(plan.propose, effort=effort)
    plan.alternatives = plan._recipes = lambda *_: ()
    plan.propose_taper = lambda *_: None
runpy.run_module("cofire", run_name="__main__", alter_sys=True)
"""


def started(folder: Path, command: Command) -> subprocess.Popen[str]:
    """The command at work in a folder, in a session of its own."""
    inside = os.environ | {
        "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1", "TMPDIR": str(folder / "tmp"),
    }  # fmt: skip
    (folder / "tmp").mkdir(exist_ok=True)
    rough = effort if command is PLAN else 1.0
    begin = [sys.executable, "-c", SLOWLY, f"{rough:g}", f"{WAIT:g}"]
    return subprocess.Popen(
        [*begin, *command.arguments], cwd=folder, env=inside, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True, preexec_fn=watched,
    )  # fmt: skip


def alive(session: int) -> list[int]:
    """Processes of a session that still run."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with contextlib.suppress(OSError, IndexError):
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
                if int(fields[3]) == session and fields[0] not in "ZX":
                    found.append(int(entry.name))
    return found


def hidden(folder: Path) -> list[str]:
    """Half-done things left beside the results, and in the folder of temporary files."""
    beside = [f.name for f in folder.iterdir() if f.name.startswith(".")]
    return beside + [f.name for f in (folder / "tmp").iterdir() if not f.name.startswith("mpl")]


@dataclass
class Bench:
    """A folder with a vessel and the user's own files, and what its commands give when let be.

    Attributes
    ----------
    folder
        Where it works.
    name, command
        What is stopped.
    old, new
        A result of last week, and the one it gives.
    seconds, wrote
        How long it takes undisturbed, and how long of that it writes. [s]
    """

    folder: Path
    name: str
    command: Command
    old: Contents
    new: Contents
    seconds: float
    wrote: float

    def laid_out(self, with_old: bool) -> None:
        """The folder as before the command."""
        for entry in self.folder.iterdir():
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry)
            else:
                entry.unlink()
        (self.folder / "pot.toml").write_text(POT)
        (self.folder / "table.csv").write_text(TABLE)
        (self.folder / "notes.txt").write_text(NOTES)
        if with_old:
            target = self.folder / self.command.target
            if "" in self.old:
                target.write_bytes(self.old[""])
            else:
                target.mkdir()
                for name, content in self.old.items():
                    (target / name).write_bytes(content)

    def writing(self) -> bool:
        """Whether files are being written just now."""
        with contextlib.suppress(FileNotFoundError):
            if self.name == "sweep":
                size = (self.folder / self.command.target).stat().st_size
                return size > len(self.old.get("", b""))
            return any(
                f.name.startswith(".out") and any(f.iterdir()) for f in self.folder.iterdir()
            )
        return False

    def faults(self, with_old: bool, sent: int) -> Iterator[str]:
        """What is not as it must be."""
        target = self.folder / self.command.target
        if (self.folder / "pot.toml").read_text() != POT:
            yield "the vessel's file has changed"
        if (self.folder / "notes.txt").read_text() != NOTES:
            yield "the user's notes have changed"
        if not target.exists():
            if with_old:
                yield "the old result has gone"
        else:
            found = contents(target)
            is_old = with_old and found == self.old
            if self.name == "record":
                if with_old and not found[""].startswith(self.old[""]):
                    yield "an entry of the record has gone"
                if found[""] and (fault := whole_record(target)):
                    yield fault
            elif self.name == "sweep":
                if with_old and not found[""].startswith(self.old[""]):
                    yield "a verdict has gone"
                if not self.new[""].startswith(found[""]):
                    yield "not a beginning of the whole table"
            elif not is_old and found != self.new:
                fault = self.command.whole(target)
                if fault or sent == signal.SIGKILL:
                    yield f"neither old nor new: {fault or 'other contents'}"
        if sent != signal.SIGKILL and (left := hidden(self.folder)):
            yield f"left behind: {left}"
        if self.name == "sweep":
            with started(self.folder, self.command) as process:
                _, complaint = process.communicate()
            if contents(target) != self.new:
                yield f"does not go on: status {process.returncode}: {complaint[-200:]!r}"


def bench(folder: Path, name: str) -> Bench:
    """A folder and the command's undisturbed result."""
    made = Bench(folder, name, COMMANDS[name], {}, {}, 0.0, 0.0)
    made.laid_out(False)
    begun, writes = time.monotonic(), None
    with started(folder, made.command) as process:
        while process.poll() is None:
            writes = writes or (time.monotonic() if made.writing() else None)
            time.sleep(0.0005)
        told, complaint = process.communicate()
    if process.returncode not in (0, 4):
        raise RuntimeError(f"{name}: status {process.returncode}: {told}{complaint}")
    ended = time.monotonic()
    made.seconds, made.wrote = ended - begun, ended - (writes or ended)
    print(f"{name}: {made.seconds:.1f} s, from the first file on {made.wrote:.2f} s", flush=True)
    made.new = contents(folder / made.command.target)
    if fault := made.command.whole(folder / made.command.target):
        raise RuntimeError(f"{name}: undisturbed: {fault}")
    made.old = dict(made.new)
    if "plan.txt" in made.old:
        made.old["plan.txt"] += b"of last week\n"
    elif "job.txt" in made.old:
        made.old["job.txt"] += b"of last week\n"
    elif name == "sweep":
        made.old[""] = b"".join(made.old[""].splitlines(True)[:4])
    return made


def moment(at: Bench, draw: random.Random, late_share: float) -> tuple[str, list[str]]:
    """One signal at one moment: which, and what it broke."""
    sent = draw.choice(SIGNALS)
    group = sent == signal.SIGINT and draw.random() < 0.5
    with_old, late = draw.random() < 0.6, draw.random() < late_share
    at.laid_out(with_old)
    process = started(at.folder, at.command)
    begun = time.monotonic()
    if late and at.name != "record":
        while process.poll() is None and not at.writing():
            time.sleep(0.0002)
        time.sleep(draw.choice((0.0, 0.001, 0.01, at.wrote)) * draw.random())
    else:
        wait = at.seconds * draw.uniform(0.8 if late else 0.0, 1.05)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(wait)
    after, writing = time.monotonic() - begun, at.name != "record" and at.writing()
    what = f"{at.name} {sent.name}{' to all' if group else ''} after {after:.3f} s"
    what += " while it writes" if writing else ""
    what += " with an old result" if with_old else ""
    if process.poll() is not None:
        process.communicate()
        return f"{what}: too late", list(at.faults(with_old, 0))
    with contextlib.suppress(ProcessLookupError):
        if group:
            os.killpg(process.pid, sent)
        else:
            process.send_signal(sent)
    found: list[str] = []
    sent_at = time.monotonic()
    try:
        _, complaint = process.communicate(timeout=ANSWER + at.seconds)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        _, complaint = process.communicate()
        found.append(f"no answer within {ANSWER + at.seconds:.0f} s")
    if "Traceback" in complaint:
        found.append(f"a traceback: {complaint.splitlines()[-1][:100]}")
    if sent != signal.SIGKILL and process.returncode in (1, 2):
        found.append(f"status {process.returncode}: {complaint[-100:]!r}")
    if sent == signal.SIGINT and process.returncode in (0, 4) and at.name == "plan":
        # as the folder is put in place, a moment, nothing is said: it ends by itself, and whole
        found += [] if "being written" in complaint or writing else ["not answered"]
    what += f", status {process.returncode} {time.monotonic() - sent_at:.1f} s later"
    time.sleep(0.3)
    if left := alive(process.pid):
        found.append(f"{len(left)} processes left")
        os.killpg(process.pid, signal.SIGKILL)
    return what, found + list(at.faults(with_old, sent))


# -- disks and twins -------------------------------------------------------------------------------


@contextlib.contextmanager
def small_disk(where: Path, size: int) -> Iterator[Path]:
    """A disk of so many bytes; root only."""
    where.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", where], check=True)
    try:
        yield where
    finally:
        subprocess.run(["umount", where], check=True)


def on_a_full_disk(whole: Bench, disk: Path, draw: random.Random) -> tuple[str, list[str]]:
    """One run where the disk has room for the old result and a random part of the new one."""
    need = sum(len(content) + 4096 for content in whole.old.values())
    with_old = draw.random() < 0.7
    size = 40_960 + int(need * (with_old + draw.uniform(0.0, 1.1)))
    with small_disk(disk, size):
        at = Bench(disk, whole.name, whole.command, whole.old, whole.new, whole.seconds, 0.0)
        at.laid_out(with_old)
        if whole.name == "record":  # leave a few bytes
            with contextlib.suppress(OSError), (disk / "filler").open("wb") as filler:
                while True:
                    filler.write(b"x" * 4096)
                    filler.flush()
        return _complained(at, with_old, f"{whole.name} on a disk of {size} bytes")


def on_a_disk_for_reading(whole: Bench, disk: Path, with_old: bool) -> tuple[str, list[str]]:
    """One run where nothing can be written."""
    with small_disk(disk, 8 << 20):
        at = Bench(disk, whole.name, whole.command, whole.old, whole.new, whole.seconds, 0.0)
        at.laid_out(with_old)
        (disk / "tmp").mkdir()
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        return _complained(at, with_old, f"{whole.name} on a read-only disk")


def _complained(at: Bench, with_old: bool, what: str) -> tuple[str, list[str]]:
    with started(at.folder, at.command) as process:
        _, complaint = process.communicate()
    lines = [line for line in complaint.splitlines() if line.startswith("cofire: ")]
    what += f"{' with an old result' * with_old}: status {process.returncode}"
    found = list(at.faults(with_old, signal.SIGKILL))
    if process.returncode not in (0, 3, 4) or "Traceback" in complaint:
        found.append(f"status {process.returncode}: {complaint[-300:]!r}")
    if process.returncode == 3 and (len(lines) != 1 or len(lines[0]) > 300):
        found.append(f"no one line: {complaint[-300:]!r}")
    kept = "lies whole in" in complaint
    if left := [] if kept else hidden(at.folder):
        found.append(f"left behind: {left}")
    if kept:
        where = Path(complaint.strip().rpartition("lies whole in ")[2])
        if fault := at.command.whole(where):
            found.append(f"what is said to lie whole does not: {fault}")
        what += ", kept beside"
    return what, found


def twins(at: Bench, draw: random.Random) -> tuple[str, list[str]]:
    """Two processes on one target, the second a little later."""
    with_old = draw.random() < 0.5
    at.laid_out(with_old)
    later = draw.choice((0.0, 0.05, 0.3, 0.5 * at.seconds * draw.random()))
    first = started(at.folder, at.command)
    time.sleep(later)
    second = started(at.folder, at.command)
    told = [process.communicate()[1] for process in (first, second)]
    codes = [first.returncode, second.returncode]
    kept = any("lies whole in" in text for text in told)
    found = list(at.faults(with_old, signal.SIGKILL if kept else 0))
    if any(code not in (0, 3, 4) for code in codes) or any("Traceback" in text for text in told):
        found.append(f"statuses {codes}: {[text[-200:] for text in told]}")
    if at.name != "record" and 3 not in codes and contents(at.folder / "out") != at.new:
        found.append("not the new result")
    return f"{at.name} twice, {later:.2f} s apart, statuses {codes}", found


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--moments", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--late", type=float, default=0.5, metavar="SHARE",
        help="share of the moments that fall while files are being written (%(default)s)",
    )  # fmt: skip
    parser.add_argument(
        "--effort", type=float, default=1.0,
        help="of a plan's search; 0.05 stops a plan of the same stages in half the time, without "
        "recipes and alternatives",
    )  # fmt: skip
    parser.add_argument(
        "--only",
        choices=COMMANDS,
        action="append",
        help="repeatable; a command named twice has two turns in each round",
    )
    parser.add_argument("--disks", type=int, default=0, metavar="RUNS", help="root only")
    parser.add_argument("--twins", type=int, default=0, metavar="RUNS")
    given = parser.parse_args()
    global effort
    effort = given.effort
    draw = random.Random(given.seed)
    counts: Counter[str] = Counter()
    broken = 0

    def note(kind: str, result: tuple[str, list[str]]) -> None:
        nonlocal broken
        what, found = result
        ended = " too late" if what.endswith("too late") else ""
        counts[f"{kind}{ended or ' while it writes' * ('while it writes' in what)}"] += 1
        broken += bool(found)
        print(f"{'BROKEN' if found else 'held  '} {what}", *found, sep="\n       ", flush=True)

    with tempfile.TemporaryDirectory(prefix="kills-") as temporary:
        benches = []
        turns = given.only or list(COMMANDS)
        for name in dict.fromkeys(turns):
            (Path(temporary) / name).mkdir()
            benches.append(bench(Path(temporary) / name, name))
        named = {at.name: at for at in benches}
        for n in range(given.moments):
            note("moments", moment(named[turns[n % len(turns)]], draw, given.late))
        for n in range(given.disks):
            whole, disk = benches[n % len(benches)], Path(temporary) / "disk"
            note("full disks", on_a_full_disk(whole, disk, draw))
            if n < 2 * len(benches):
                late = n >= len(benches)
                note("read-only disks", on_a_disk_for_reading(whole, disk, late))
        for n in range(given.twins):
            note("twins", twins(benches[n % len(benches)], draw))
    print(f"seed {given.seed}: {dict(counts)}; {broken} broken")
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()
