"""Work over executors: order, errors, interrupts, and nothing left running."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future

import pytest

from cofire.errors import ModelError
from cofire.workers import AHEAD, each, local_processes
from tests.executors import EXECUTORS, an_executor


def square(job: int) -> int:
    return job * job


def refuses_three(job: int) -> int:
    if job == 3:
        raise ModelError("job 3")
    return job


def dies(job: int) -> int:
    os._exit(7)


@pytest.mark.parametrize("kind", EXECUTORS)
def test_results_keep_the_order_of_their_jobs_on_any_executor(kind) -> None:
    with an_executor(kind) as executor:
        assert list(each(square, range(20), executor)) == [square(job) for job in range(20)]


@pytest.mark.parametrize("kind", EXECUTORS)
def test_the_results_before_a_refused_job_come_first_and_then_its_reason(kind) -> None:
    with an_executor(kind) as executor:
        results = each(refuses_three, range(8), executor)
        assert [next(results) for _ in range(3)] == [0, 1, 2]
        with pytest.raises(ModelError, match="job 3"):
            next(results)


class Recorder:
    """An executor that never works by itself, and keeps what it was given."""

    def __init__(self) -> None:
        self.given: list[Future] = []

    def submit(self, work, job) -> Future:
        """Keep what is to be done."""
        future: Future = Future()
        self.given.append(future)
        if len(self.given) <= AHEAD:
            future.set_result(work(job))
        return future


def test_no_more_than_a_bounded_number_of_jobs_is_handed_out_ahead() -> None:
    recorder = Recorder()
    results = each(square, range(10**9), recorder)
    assert next(results) == 0
    assert len(recorder.given) == AHEAD


def test_who_stops_listening_takes_back_what_has_not_begun() -> None:
    recorder = Recorder()
    results = each(square, range(10**9), recorder)
    for _ in range(5):
        next(results)
    results.close()
    assert [future.cancelled() for future in recorder.given[AHEAD:]] == [True] * 4


def test_a_process_that_dies_is_an_error_in_one_line() -> None:
    with local_processes(2) as executor, pytest.raises(ModelError, match="without a result"):
        list(each(dies, [1], executor))


def test_one_worker_is_no_pool_at_all() -> None:
    with local_processes(1) as executor:
        assert executor is None


SLEEPER = """
import os, time
from cofire.workers import each, local_processes
def sleep(job):
    time.sleep(60)
with local_processes(2) as executor:
    executor.submit(os.getpid).result()
    print(*executor._processes, flush=True)
    list(each(sleep, [0, 1, 2], executor))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_processes_end_with_the_command_that_started_them(number) -> None:
    """An interrupt goes to the whole group, as from a terminal; a kill to the parent alone."""
    parent = subprocess.Popen(
        [sys.executable, "-c", SLEEPER], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, start_new_session=True,
    )  # fmt: skip
    assert parent.stdout is not None
    children = [int(word) for word in parent.stdout.readline().split()]
    assert children
    time.sleep(0.3)
    if number == signal.SIGINT:
        os.killpg(parent.pid, number)
    else:
        parent.kill()
    _, errors = parent.communicate(timeout=20)
    assert "BrokenProcessPool" not in errors
    until = time.monotonic() + 10.0
    while any(map(_lives, children)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(_lives, children))


HALF_SAID = """
import os, struct, sys, time
from cofire.workers import local_processes
def half(told):
    frame = sys._getframe()
    while "result_queue" not in frame.f_locals:
        frame = frame.f_back
    os.write(frame.f_locals["result_queue"]._writer.fileno(), struct.pack("!i", 10**6) + b"begun")
    os.write(told, b"!")
    time.sleep(60)
came, told = os.pipe()
os.set_inheritable(told, True)
with local_processes(2) as executor:
    executor.submit(half, told)
    os.read(came, 1)
"""


UNREAD = """
import os, time
from cofire.workers import local_processes
def sleep(told, ballast):
    os.write(told, b"!")
    time.sleep(60)
came, told = os.pipe()
os.set_inheritable(told, True)
with local_processes(2) as executor:
    jobs = [executor.submit(sleep, told, bytes(10**6)) for _ in range(8)]
    os.read(came, 1)
    time.sleep(0.3)
    for job in jobs:
        job.cancel()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="looks into a copy of the process")
@pytest.mark.parametrize("code", [HALF_SAID, UNREAD])
def test_a_process_stopped_with_a_result_half_said_or_jobs_unread_is_not_waited_for(code) -> None:
    """Seen in one of ten interrupts of a plan: a thread read, or wrote, the other half for ever."""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=20, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return not _is_zombie(process)


def _is_zombie(process: int) -> bool:
    try:
        with open(f"/proc/{process}/stat") as file:
            return file.read().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return False
