"""Progress: a total and the time left on a terminal, nothing at all in a pipe."""

from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.cli.progress import BEGINS, CALIBRATE, MAKE, PLAN, Progress
from tests.strategies import some

pytestmark = pytest.mark.usefixtures("solids_are_rough")

ROOT = Path(__file__).parents[2]


class Terminal(io.StringIO):
    """A stream that is a terminal."""

    def isatty(self) -> bool:
        """Whether it is one: yes."""
        return True


class Clock:
    """Seconds that go on by themselves."""

    def __init__(self, step: float) -> None:
        self.now, self.step = 0.0, step

    def __call__(self) -> float:
        """Seconds at this call. [s]"""
        self.now += self.step
        return self.now


def test_a_pipe_gets_nothing():
    stream = io.StringIO()
    progress = Progress(PLAN, stream)
    for line in ("layers: 1 of 2", "solid of the plan", ""):
        progress(line)
    assert stream.getvalue() == ""


def test_a_steady_count_tells_the_true_time_left():
    progress = Progress(stream=Terminal(), clock=Clock(1.0))  # a step takes a second
    told = [progress.shown(f"samples: {n} of 100") for n in range(1, 101)]
    assert told[0] == "  1 %  samples: 1 of 100"
    assert told[39] == " 40 %  samples: 40 of 100, about 60 s left"
    assert told[94].endswith("a few seconds left")
    assert told[99] == "100 %  samples: 100 of 100"


def test_minutes_are_told_as_such():
    progress = Progress(stream=Terminal(), clock=Clock(10.0))
    told = [progress.shown(f"samples: {n} of 100") for n in range(1, 21)]
    assert told[-1].endswith("about 13 min left")


def test_no_time_is_told_before_there_is_one_to_tell():
    progress = Progress(stream=Terminal(), clock=Clock(0.1 * BEGINS))
    assert "left" not in progress.shown("samples: 50 of 100")


@pytest.mark.parametrize("stages", [PLAN, MAKE, CALIBRATE])
def test_the_stages_make_up_the_whole(stages: dict[str, float]):
    assert sum(stages.values()) == pytest.approx(1.0)


@given(st.lists(st.tuples(st.sampled_from([*PLAN, "own words"]), st.integers(0, 40)), max_size=30))
@some
def test_the_share_done_never_falls_and_never_passes_the_whole(told: list[tuple[str, int]]):
    progress = Progress(PLAN, Terminal())
    before = 0.0
    for stage, n in told:
        progress.shown(f"{stage}: {min(n, 30)} of 30" if n % 2 else f"{stage}: {n}")
        assert before <= progress.done <= 1.0 + 1e-12
        before = progress.done


def test_a_line_takes_the_last_one_away_and_fits_the_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "30")
    stream = Terminal()
    progress = Progress(stream=stream)
    progress("a stage with a very long name: 1 of 2")
    progress("short")
    progress("")
    lines = stream.getvalue().split("\r")
    assert max(map(len, lines)) <= 29
    assert lines[2].rstrip() == " 50 %  short"
    assert lines[-2].strip() == lines[-1] == ""


@pytest.mark.skipif(os.name != "posix", reason="needs a terminal")
def test_a_terminal_sees_a_total_and_stdout_stays_clean(tmp_path: Path):
    ours, theirs = pty.openpty()
    line = [sys.executable, "-m", "cofire", "calibrate", "examples/measured_fritted_body.toml"]
    done = subprocess.run(line, cwd=ROOT, stdout=subprocess.PIPE, stderr=theirs, check=True)
    os.close(theirs)
    printed = done.stdout.decode()
    seen = os.read(ours, 65536).decode()
    os.close(ours)
    assert " %  expansion" in seen
    assert seen.endswith("\r")
    assert "\r" not in printed
    assert " %  expansion" not in printed
