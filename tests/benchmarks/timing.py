"""How long a piece of work takes."""

from __future__ import annotations

from collections.abc import Callable
from time import process_time
from typing import TypeVar

T = TypeVar("T")


def timed(work: Callable[[], T], repeats: int = 3) -> tuple[float, T]:
    """Shortest processor time of a few runs, and the last answer. [s]"""
    times = []
    for _ in range(repeats):
        start = process_time()
        answer = work()
        times.append(process_time() - start)
    return min(times), answer
