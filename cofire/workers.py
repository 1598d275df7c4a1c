"""Work spread over an executor: the same results in the same order on any, or on none.

An executor is anything with the `submit` of `concurrent.futures`: threads, processes, joblib's
loky, or what `get_executor` of a Dask client gives. What is submitted is a function of a module and
a job that can be pickled, and it never submits anything itself, so pools do not nest. How jobs are
cut does not depend on how many workers there are, and neither does any result.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing.connection import wait
from multiprocessing.process import BaseProcess
from typing import TypeVar

from cofire.errors import ModelError

J = TypeVar("J")
R = TypeVar("R")

PATIENCE = 0.5
"""How long a process that is asked to end, or a pool's thread, is waited for. [s]"""
AHEAD = 512
"""Most jobs that are handed out and not yet answered. [-]"""


def each(
    work: Callable[[J], R], jobs: Iterable[J], executor: Executor | None = None
) -> Iterator[R]:
    """Results of jobs in their order.

    Whoever stops listening, by an interrupt or otherwise, takes back what has not begun.

    Parameters
    ----------
    work : callable
        Turns a job into a result; a function of a module where the executor needs to pickle it.
    jobs : iterable
        Taken as they are needed, a bounded number ahead.
    executor : Executor, optional
        Who works; by default the caller, one job after the other.

    Yields
    ------
    any
        One result a job.

    Raises
    ------
    ModelError
        A worker ended without a result.
    """
    if executor is None:
        yield from map(work, jobs)
        return
    waiting: deque[Future[R]] = deque()
    try:
        for job in jobs:
            waiting.append(executor.submit(work, job))
            if len(waiting) >= AHEAD:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    except BrokenExecutor:
        raise ModelError("a worker process ended without a result") from None
    finally:
        for future in waiting:
            future.cancel()


def cores() -> int:
    """Cores that this process may use. [-]"""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def local_processes(count: int | None = None) -> Iterator[Executor | None]:
    """Processes on this machine, for a command: they never see its interrupts and die with it.

    They are born when first needed, as copies of this process where that is safe (Linux, no
    threads), and are stopped at the end even if they still work.

    Parameters
    ----------
    count : int, optional
        How many; by default one a core. [-]

    Yields
    ------
    Executor or None
        None for one: then the caller works itself.
    """
    number = cores() if count is None else count
    if number < 2:
        yield None
        return
    copies = sys.platform == "linux" and threading.active_count() == 1
    context = multiprocessing.get_context("fork" if copies else None)
    before = set(multiprocessing.active_children())
    pool = _Deaf(number, context, _begin)
    try:
        yield pool
    finally:
        pool.stop(set(multiprocessing.active_children()) - before)


class _Deaf(ProcessPoolExecutor):
    """Processes born with interrupts and requests to end held back, while they are begun."""

    def stop(self, processes: Iterable[BaseProcess]) -> None:
        """End everything now, whatever is half done, and wait for it.

        What is not begun is given up first: the pool's thread fails on a job that was cancelled
        under it when it finds its processes gone. A process that is stopped in the middle of a
        result leaves half of it in its pipe, and whoever reads it waits for the rest as long as
        anyone could still write; so does a thread that writes jobs into a full pipe, as long as
        anyone could still read: then this process's own ends of both are closed.

        Parameters
        ----------
        processes
            Those of the pool.
        """
        thread = getattr(self, "_executor_manager_thread", None)
        ends = [
            getattr(getattr(self, queue, None), end, None)
            for queue, end in (("_result_queue", "_writer"), ("_call_queue", "_reader"))
        ]
        self.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(PATIENCE)
            process.kill()
            process.join()
        if thread is not None:
            thread.join(PATIENCE)
            for end in ends:  # those that the thread has not closed, as it waits or failed
                if end is not None and not end.closed:
                    with suppress(OSError):
                        end.close()
            thread.join()  # at exit it may find no pipe

    def submit(self, fn: Callable[..., R], /, *args: object, **kwargs: object) -> Future[R]:
        """As any executor's."""
        if not hasattr(signal, "pthread_sigmask"):
            return super().submit(fn, *args, **kwargs)
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
        try:
            return super().submit(fn, *args, **kwargs)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)


def _begin() -> None:
    """First act of a process: deaf to interrupts, it ends when whoever started it has ended.

    A request to end is obeyed at once and without a word: what the parent answers it with, which a
    copy of it has too, would unwind through whatever is being begun.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
