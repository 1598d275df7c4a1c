"""What is left when a command is stopped; `python -m tests.kills` tries it at random moments."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cofire import __main__
from cofire.cli import app, run
from cofire.report.writing import replace_folder, undisturbed

ROOT = Path(__file__).resolve().parents[2]
PAIR = """
import sys, time
from cofire.workers import each, local_processes

def job(n):
    if n == 1:
        import os
        print(os.getpid(), flush=True)
    time.sleep(60.0)

with local_processes(2) as executor:
    list(each(job, [0, 1], executor))
"""


BEING_BORN = """
import multiprocessing, os, signal, sys, threading
from cofire.errors import ModelError
from cofire.workers import each, local_processes

start = threading.Thread.start

def ended(thread):
    if multiprocessing.parent_process() is not None:
        signal.raise_signal(signal.SIGTERM)
    start(thread)

signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))
threading.Thread.start = ended
with local_processes(2) as executor:
    try:
        list(each(abs, [0, 1], executor))
    except ModelError as error:
        print(error)
"""


def there(number: int) -> bool:
    """Whether a process runs."""
    try:
        return (Path("/proc") / str(number) / "stat").read_text().rpartition(")")[2].split()[
            0
        ] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or len(os.sched_getaffinity(0)) < 2, reason="no fork here"
)
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_no_worker_outlives_the_command_that_began_it(number: int) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", PAIR], cwd=ROOT, text=True, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    ) as parent:  # fmt: skip
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert there(child)
        parent.send_signal(number)
        parent.wait(20.0)
        end = time.monotonic() + 5.0
        while there(child) and time.monotonic() < end:
            time.sleep(0.02)
        assert not there(child)


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or len(os.sched_getaffinity(0)) < 2, reason="no fork here"
)
def test_a_worker_that_is_ended_while_it_is_born_ends_without_a_word() -> None:
    told = subprocess.run(
        [sys.executable, "-c", BEING_BORN], cwd=ROOT, text=True, capture_output=True, check=False
    )
    assert told.stderr == ""
    assert (told.returncode, told.stdout) == (0, "a worker process ended without a result\n")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_folder_that_is_being_written_is_written_whole(number: int, tmp_path: Path) -> None:
    def fill(folder: Path) -> None:
        (folder / "one").write_text("1")
        signal.raise_signal(number)
        (folder / "two").write_text("2")

    before = signal.getsignal(number)
    replace_folder(tmp_path / "out", fill, "one", force=False)
    assert sorted(f.name for f in (tmp_path / "out").iterdir()) == ["one", "two"]
    assert [f.name for f in tmp_path.iterdir()] == ["out"]
    assert signal.getsignal(number) is before


def test_an_error_within_gives_the_signals_back() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(ZeroDivisionError), undisturbed():
        raise ZeroDivisionError
    assert signal.getsignal(signal.SIGTERM) is before


def test_an_interrupt_ends_a_command_with_its_status_and_one_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cofire.materials.catalogue.load_cards", stopped)
    result = CliRunner().invoke(app, ["screen"])
    assert (result.exit_code, result.stdout, result.stderr) == (130, "", "cofire: stopped\n")


def test_an_interrupt_while_the_command_line_is_loaded_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cofire.cli.run", stopped)
    with pytest.raises(SystemExit) as end:
        __main__.main()
    assert (end.value.code, capsys.readouterr().err) == (130, "cofire: stopped\n")


def test_a_request_to_end_is_an_orderly_end(monkeypatch: pytest.MonkeyPatch) -> None:
    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr("cofire.cli.app", lambda: signal.raise_signal(signal.SIGTERM))
    try:
        with pytest.raises(SystemExit) as end:
            run()
    finally:
        signal.signal(signal.SIGTERM, before)
    assert end.value.code == 143
