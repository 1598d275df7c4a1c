"""`cofire plan` as a process: stopped at any moment, and silent in a pipe."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import pytest

from cofire.design.drafting import FIRST

ROOT = Path(__file__).parents[2]
VESSEL = """
name = "{name}"
[profile]
shape = "cylinder"
radius_mm = 30
height_mm = 40
wall_mm = 3
[[band]]
material = "fine silver"
to_mm = 15
[[band]]
material = "fritted body"
[joint]
blends = 0
height_mm = 0
lowest_mm = 15
highest_mm = 15
keep_mm = 8
[firing]
segment = [ {{ to_C = 860, rate_C_per_h = 150, hold_min = 60 }} ]
"""
ROUGHLY = """
import functools, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # which a suite in the background ignores
import cofire.design.plan as plan
import cofire.production.job as job
job.pieces_for = lambda *_: []
plan.propose = functools.partial(plan.propose, effort=0.02)
plan.check_vessel = functools.partial(plan.check_vessel, quick=True)
plan.far_apart = lambda *_: False
plan.propose_taper = plan.propose_apart = lambda *_: None
plan.alternatives = plan.propose_recipes = lambda *_: ()
plan.margins = lambda *_, **__: None
from cofire.__main__ import main
sys.exit(main())
"""
"""The command, with a fiftieth of the samples, judged by shells and nothing beside its plan:
stopped, not believed.
That it is killed at any moment `python -m tests.kills` tries, and of a folder `test_writing`."""
WRITTEN = {
    "plan.json", "plan.txt", "bands.csv", "firing.csv", "firing.toml", "vessel.toml",
    "stress.json", "sheet.html", "stress.png", "trade_off.png", "kiln_C.csv", "kiln_F.csv",
    "plan.png", "firing.png",
}  # fmt: skip


def started(
    folder: Path, name: str, out: Path, stderr: int = subprocess.DEVNULL
) -> subprocess.Popen[bytes]:
    """`cofire plan` of a small vessel in a process group of its own."""
    file = folder / f"{name}.toml"
    file.write_text(VESSEL.format(name=name), encoding="utf-8")
    line = [sys.executable, "-c", ROUGHLY, "plan", str(file), "--out", str(out), "--force"]
    return subprocess.Popen(
        line, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=stderr,
        start_new_session=True,
    )  # fmt: skip


def whole_plan(out: Path) -> dict[str, object]:
    """The object of a plan folder whose files all tell of one vessel."""
    assert {path.name for path in out.iterdir()} == WRITTEN
    told = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    for name in ("plan.txt", "vessel.toml", "sheet.html", "stress.json"):
        assert told["vessel"] in (out / name).read_text(encoding="utf-8"), name
    return told


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="sends signals to a group")
@pytest.mark.parametrize("share", [0.3, 0.7, 0.9])
def test_a_command_interrupted_at_any_moment_leaves_its_best_so_far_marked(
    undisturbed: float, tmp_path: Path, share: float
) -> None:
    out = tmp_path / "some"
    child = started(tmp_path, "some", out)
    time.sleep(share * undisturbed)
    os.killpg(child.pid, signal.SIGINT)
    status = child.wait()
    if out.exists():
        # 130 with a finished plan: it was put in place, and the interrupt met its last words
        assert whole_plan(out)["finished"] or status == 130
    else:
        assert status == 130  # before anything was found


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> float:
    """What a plan takes that is not disturbed, and whose folder is whole. [s]"""
    folder = tmp_path_factory.mktemp("first")
    begun = time.monotonic()
    assert started(folder, "first", folder / "plan").wait() in (0, 4)
    assert whole_plan(folder / "plan")["finished"] is True
    return time.monotonic() - begun


@contextmanager
def interrupted(
    folder: Path, out: Path
) -> Iterator[tuple[subprocess.Popen[bytes], IO[bytes], float]]:
    """A plan interrupted once it has told its first answer, and how soon it answered. [s]"""
    child = started(folder, "stopped", out, subprocess.PIPE)
    assert child.stderr is not None
    with child, child.stderr as told:
        try:
            assert told.readline().decode().startswith(FIRST)
            os.killpg(child.pid, signal.SIGINT)
            begun = time.monotonic()
            answer = told.readline().decode()
            waited = time.monotonic() - begun
            searching = r"interrupted after \d+ layouts? and \d+ firings?: kept .*Ctrl-C again"
            assert re.match(searching, answer)
            yield child, told, waited
        finally:
            if child.poll() is None:
                os.killpg(child.pid, signal.SIGKILL)


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="sends signals to a group")
def test_an_interrupted_command_writes_its_best_so_far_whole_and_marked(tmp_path: Path) -> None:
    with interrupted(tmp_path, tmp_path / "some") as (child, told, _):
        told.read()
        assert child.wait() == 130
    assert whole_plan(tmp_path / "some")["finished"] is False


@pytest.mark.skipif(sys.platform != "linux", reason="sends signals to a group")
def test_an_interrupt_is_answered_within_two_seconds_and_a_second_one_stops_at_once(
    tmp_path: Path,
) -> None:
    with interrupted(tmp_path, tmp_path / "stopped") as (child, told, waited):
        assert waited < 2.0
        os.killpg(child.pid, signal.SIGINT)
        begun = time.monotonic()
        assert child.wait() == 130
        assert time.monotonic() - begun < 2.0
        assert "nothing was written" in told.read().decode()
    assert not (tmp_path / "stopped").exists()


def test_progress_is_silent_where_nobody_watches(capsys) -> None:
    from cofire.cli.progress import PLAN, running

    running(PLAN)("layers: 1 of 2")
    assert capsys.readouterr() == ("", "")
