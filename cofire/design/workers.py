"""Two jobs at a time where the system can: every second one in a child that lives for one job."""

from __future__ import annotations

import contextlib
import ctypes
import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import Generic, TypeVar, cast

from cofire.errors import ModelError

J = TypeVar("J")
R = TypeVar("R")


def can_fork() -> bool:
    """Whether a child is safe and of use here: Linux, two cores, no threads of ours."""
    return (
        sys.platform == "linux"
        and len(os.sched_getaffinity(0)) > 1
        and threading.active_count() == 1
    )


def in_pairs(work: Callable[[J], R], jobs: Sequence[J]) -> Iterator[R]:
    """Results of jobs in their order, two worked at a time.

    The outcome does not depend on whether a child is used. An interrupt ends the child too, and a
    child whose parent was killed dies with it.

    Parameters
    ----------
    work : callable
        Turns a job into a result that can be pickled.
    jobs : sequence
        The jobs.

    Yields
    ------
    any
        One result a job.

    Raises
    ------
    ModelError
        A child ended without a result.
    """
    pairs = can_fork()
    for first in range(0, len(jobs), 2):
        two = jobs[first : first + 2]
        if not pairs or len(two) == 1:
            for job in two:
                yield work(job)
            continue
        child = _Child(work, two[1])
        try:
            yield work(two[0])
            yield child.result()
        finally:
            child.end()


def _dies_with(parent: int) -> None:
    """End this process when its parent ends, however that comes (Linux: prctl of sys/prctl.h)."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
    if os.getppid() != parent:  # it ended before
        os._exit(1)


class _Child(Generic[R]):
    """One job in a forked process."""

    def __init__(self, work: Callable[[J], R], job: J) -> None:
        self.reader, writer = os.pipe()
        parent = os.getpid()
        # an interrupt is the parent's: the child never sees one, not even while it is born
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        with warnings.catch_warnings():
            # of threads in other libraries, which hold no lock that the job needs
            warnings.simplefilter("ignore", DeprecationWarning)
            self.pid = os.fork()
        if self.pid == 0:
            code = 1
            try:
                _dies_with(parent)
                os.close(self.reader)
                with os.fdopen(writer, "wb") as stream:
                    try:
                        pickle.dump((True, work(job)), stream)
                    except Exception as error:
                        pickle.dump((False, error), stream)
                code = 0
            finally:
                os._exit(code)
        os.close(writer)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)

    def result(self) -> R:
        """What the child found; raises what it raised."""
        with os.fdopen(self.reader, "rb") as stream:
            self.reader = -1
            try:
                good, found = pickle.load(stream)
            except EOFError:
                raise ModelError("a worker process ended without a result") from None
        if not good:
            raise found
        return cast(R, found)

    def end(self) -> None:
        """Stop the child if it still works, and forget it."""
        if self.reader >= 0:
            os.close(self.reader)
            os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
