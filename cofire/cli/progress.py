"""Progress on a terminal: what is being done, how much of it, and about how long it takes yet."""

from __future__ import annotations

import re
import shutil
import sys
import time
from collections.abc import Callable, Mapping
from typing import IO

LINE = re.compile(r"(?P<stage>.*?)(?:: (?P<done>\d+)(?: of (?P<of>\d+))?)?")
"""What is told of a stage: its name, or how many of it are done, or of how many."""
UNCOUNTED = 18
"""Steps that a stage without a total takes, as often as not (estimate). [-]"""
BEGINS = 2.0
"""No time left is told before that: the first steps are not like the rest. [s]"""
PLAN = {
    "layers": 0.015,
    "schedule": 0.02,
    "solid of the best so far": 0.05,
    "designs": 0.42,
    "solids of the best designs": 0.06,
    "designs again": 0.1,
    "solid of the plan": 0.05,
    "chances": 0.08,
    "margins": 0.075,
    "recipes": 0.07,
    "scan": 0.01,
    "alternatives": 0.01,
    "writing": 0.04,
}
"""Shares of time of the stages of a plan: measured processor time of the vase on a silver foot,
halved where two processes share it. A scan comes only where no designs were searched: estimate.
[-]"""
_HEAD = list(PLAN)[: list(PLAN).index("solid of the plan")]
TWO = (
    {name: PLAN[name] for name in _HEAD}
    | {"designs of the lower joint": 0.2, "designs of the upper joint": 0.2}
    | {name: share for name, share in PLAN.items() if name not in _HEAD}
)
"""The same of a vessel of two joints: estimates from one with a gold band. [-]"""
MAKE = {"check": 0.25, "firing the print": 0.35, "test pieces": 0.25, "writing": 0.15}
CALIBRATE = {"sintering": 0.85, "expansion": 0.05, "bars, sag and strips": 0.1}


class Progress:
    """A line on stderr that renews itself on a terminal; nothing at all in a pipe.

    Parameters
    ----------
    stages : mapping, optional
        Share of time of each stage, in their order; one stage alone needs none. A stage may come
        again: the share that is done never falls. [-]
    stream : file, optional
        By default stderr.
    clock : callable, optional
        Seconds that rise. [s]
    """

    def __init__(
        self,
        stages: Mapping[str, float] | None = None,
        stream: IO[str] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.stages = dict(stages or {})
        self.stream = stream or sys.stderr
        self.clock = clock
        self.begun = clock()
        self.done = 0.0
        self.width = 0

    def __call__(self, line: str) -> None:
        """Show one line; an empty one takes the last away.

        Parameters
        ----------
        line : str
            "stage", "stage: done" or "stage: done of total".
        """
        if not self.stream.isatty():
            return
        shown = self.shown(line) if line else ""
        columns = shutil.get_terminal_size((80, 24)).columns - 1
        shown = shown[:columns]
        blank = " " * max(self.width - len(shown), 0)
        self.stream.write(f"\r{shown}{blank}" + ("" if shown else "\r"))
        self.stream.flush()
        self.width = len(shown)

    def shown(self, line: str) -> str:
        """A line with the share of the whole that is done and about how long it takes yet.

        Parameters
        ----------
        line : str
            As told.

        Returns
        -------
        str
            The line alone where neither is known.
        """
        found = LINE.fullmatch(line)
        assert found is not None  # every text is at least a stage's name
        self.done = max(self.done, self._share(found["stage"], found["done"], found["of"]))
        if self.done <= 0.0:
            return line
        return f"{100.0 * self.done:3.0f} %  {line}{self._left()}"

    def _share(self, stage: str, done: str | None, of: str | None) -> float:
        """Share of the whole that is done when this is told."""
        if done is None:
            part = 0.0
        elif of is None:
            part = int(done) / max(int(done) + 1, UNCOUNTED)
        else:
            part = int(done) / max(int(of), 1)
        if not self.stages:
            return part if of is not None else 0.0
        if stage not in self.stages:
            return 0.0
        names = list(self.stages)
        before = sum(self.stages[name] for name in names[: names.index(stage)])
        return (before + self.stages[stage] * part) / sum(self.stages.values())

    def _left(self) -> str:
        """About how long it takes yet, in round figures; empty where that is not known."""
        gone = self.clock() - self.begun
        if gone < BEGINS or not 0.05 <= self.done < 1.0:
            return ""
        left = gone * (1.0 - self.done) / self.done
        if left < 10.0:
            return ", a few seconds left"
        if left < 90.0:
            return f", about {10 * round(left / 10.0)} s left"
        return f", about {round(left / 60.0)} min left"


def running(stages: Mapping[str, float] | None = None) -> Callable[[str], None]:
    """A function to be told of progress, a first answer and what an interrupt keeps.

    The first answer goes to stderr whoever watches; progress to a terminal alone.

    Parameters
    ----------
    stages : mapping, optional
        As `Progress`. [-]

    Returns
    -------
    callable
        Takes one line.
    """
    progress = Progress(stages)

    def tell(line: str) -> None:
        from cofire.design.drafting import FIRST, INTERRUPTED

        if line.startswith(FIRST):
            progress("")
            sys.stderr.write(f"{line}; looking for better\n")
            sys.stderr.flush()
            return
        if not line.startswith(INTERRUPTED):
            progress(line)
            return
        progress("")
        sys.stderr.write(f"{line}; Ctrl-C again stops at once and writes nothing.\n")
        sys.stderr.flush()

    return tell
