"""Readings of a log made usable: clocks, gaps, spikes and noise, each told with its line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.inputs.units import HOUR, MINUTE

Array = NDArray[np.float64]

FEWEST = 10
GAP = 4.0
"""A step longer than this many usual ones, and than five minutes, is a gap. [-]"""
JUMP = 30.0
"""Change between readings across which a clock that was set back can be mended. [K]"""
SPIKE = 8.0
"""Least height of a reading that is put out as a spike: no ware moves so for one reading. [K]"""
WINDOW = 5
"""Readings of the running median. [-]"""
SMOOTHED = 0.3
"""Noise above which readings are averaged. [K]"""
LONGEST_MEAN = 3.0 * MINUTE
LONGEST_GAP = 48.0 * HOUR
"""No logger is silent for longer within one firing (estimate): a clock is wrong. [s]"""
LONGEST_LOG = 30.0 * 24.0 * HOUR
"""A studio's firing lasts a week at most (common practice); four are allowed. [s]"""
STILL = 5.0 * MINUTE
"""No shorter step is a gap. [s]"""


def _clock_text(seconds: float) -> str:
    if abs(seconds) < 2.0 * MINUTE:
        return f"{seconds:.0f} s"
    if abs(seconds) < 2.0 * HOUR:
        return f"{seconds / MINUTE:.0f} min"
    return f"{seconds / HOUR:.1f} h" if abs(seconds) < 1e10 else f"{seconds / HOUR:.1e} h"


def in_order(
    time: Array, temperature: Array, lines: Sequence[int], where: str
) -> tuple[Array, Array, list[int], list[str]]:
    """Readings with rising times: clocks set back are mended, readings of one time averaged.

    Parameters
    ----------
    time, temperature : array
        As read, shape (R,). [s], [K]
    lines : sequence of int
        Line of each reading. [-]
    where : str
        File, for the messages.

    Returns
    -------
    tuple
        Times from zero, temperatures, lines, and what was mended.

    Raises
    ------
    InputError
        Too few readings, a second log in the file, a clock set back over a jump, or a gap or a log
        longer than any firing.
    """
    step = np.diff(time)
    rising = step[step > 0.0]
    if rising.size < FEWEST - 1:
        raise InputError(
            f"{where}: {rising.size + 1} readings with rising times; allowed: {FEWEST} or more"
        )
    usual = float(np.median(rising))
    late = np.flatnonzero(step > LONGEST_GAP)
    if late.size:
        i = int(late[0])
        raise InputError(
            f"{where}: line {lines[i + 1]}: {_clock_text(float(step[i]))} after the row before; "
            f"allowed: {_clock_text(LONGEST_GAP)} (a wrong date, or another unit of time?)"
        )
    notes = []
    for i in map(int, np.flatnonzero(step < 0.0)):
        back, moved = usual - float(step[i]), float(temperature[i + 1] - temperature[i])
        place = f"line {lines[i + 1]}"
        if time[i + 1] <= time[0] + 2.0 * usual:
            raise InputError(
                f"{where}: {place}: time begins anew; a second log in the file? Keep one"
            )
        if abs(moved) > JUMP:
            raise InputError(
                f"{where}: {place}: the clock goes back by {_clock_text(back)} and the "
                f"temperature jumps by {moved:+.0f} K; two logs in one file? Keep one"
            )
        notes.append(
            f"{place}: clock set back by {_clock_text(back)}; continued after {_clock_text(usual)}"
        )
        step[i] = usual
    time = np.concatenate([[0.0], np.cumsum(step)])
    if time[-1] > LONGEST_LOG:
        i = int(np.argmax(time > LONGEST_LOG))
        raise InputError(
            f"{where}: line {lines[i]}: {_clock_text(float(time[i]))} after the first row; "
            f"allowed: {_clock_text(LONGEST_LOG)}, one firing (another unit of time?)"
        )
    first = np.append(True, np.diff(time) > 0.0)
    if not first.all():
        group = np.cumsum(first) - 1
        count = np.bincount(group)
        temperature = np.bincount(group, temperature) / count
        time = time[first]
        twice = int((~first).sum())
        notes.append(
            f"{twice} reading{'s' if twice > 1 else ''} at the same time as another, averaged"
        )
        lines = [n for n, keep in zip(lines, first, strict=True) if keep]
    return time, temperature, list(lines), notes


def _gap_steps(time: Array) -> NDArray[np.intp]:
    """Steps that are gaps: readings before and after have nothing to do with each other."""
    step = np.diff(time)
    return np.flatnonzero(step > max(GAP * float(np.median(step)), STILL)).astype(np.intp)


def gap_notes(time: Array, temperature: Array, lines: Sequence[int]) -> list[str]:
    """Where readings are missing, or the clock was set on.

    Parameters
    ----------
    time, temperature : array
        In order, shape (R,). [s], [K]
    lines : sequence of int
        Line of each reading. [-]

    Returns
    -------
    list of str
        One a gap.
    """
    step = np.diff(time)
    notes = []
    rate = np.abs(np.diff(temperature)) / step
    for i in map(int, _gap_steps(time)):
        moved = float(temperature[i + 1] - temperature[i])
        beside = np.r_[rate[max(i - 10, 0) : i], rate[i + 1 : i + 11]]
        jumped = beside.size > 0 and rate[i] < 0.2 * float(np.median(beside))
        notes.append(
            f"line {lines[i + 1]}: {'clock set on, or ' if jumped else ''}no readings for "
            f"{_clock_text(float(step[i]))} ({moved:+.0f} K); taken as a straight line"
        )
    return notes


def smoothed(time: Array, temperature: Array, lines: Sequence[int]) -> tuple[Array, list[str]]:
    """Readings without spikes, averaged where they are noisy, and what was done.

    Parameters
    ----------
    time, temperature : array
        In order, shape (R,). [s], [K]
    lines : sequence of int
        Line of each reading. [-]

    Returns
    -------
    tuple of array and list of str
        Temperatures, shape (R,) [K], and notes.
    """
    from scipy.ndimage import median_filter, uniform_filter1d

    ends = [0, *(int(i) + 1 for i in _gap_steps(time)), time.size]
    parts = [slice(a, b) for a, b in pairwise(ends)]

    def median(values: Array, width: int) -> Array:
        """Running median within each part between gaps."""
        found = [median_filter(values[part], width, mode="nearest") for part in parts]
        return np.concatenate(found)

    notes = []
    off = temperature - median(temperature, WINDOW)
    noise = 1.4826 * float(np.median(np.abs(off)))
    usual = median(np.abs(np.gradient(temperature)), 2 * WINDOW + 1)
    bad = np.abs(off) > np.maximum(SPIKE + 2.0 * usual, 6.0 * noise)
    clean = temperature.copy()
    if bad.any():
        good = ~bad
        clean[bad] = np.interp(time[bad], time[good], temperature[good])
        listed = ", ".join(str(lines[i]) for i in map(int, np.flatnonzero(bad)[:4]))
        more = ", ..." if bad.sum() > 4 else ""
        spikes = f"{int(bad.sum())} spike{'s' if bad.sum() > 1 else ''}"
        notes.append(f"{spikes} put out (line {listed}{more}), running median of {WINDOW}")
    if noise > SMOOTHED:
        step = float(np.median(np.diff(time)))
        wanted = int(np.ceil((noise / SMOOTHED) ** 2))
        width = max(min(wanted, int(LONGEST_MEAN / step)), 1) | 1
        clean = median(clean, WINDOW)
        if width > 1:
            means = [uniform_filter1d(clean[part], width, mode="nearest") for part in parts]
            clean = np.concatenate(means)
        notes.append(
            f"noise of {noise:.1f} K: running median of {WINDOW} readings"
            + (f", then mean of {width} ({_clock_text(width * step)})" if width > 1 else "")
        )
    return clean, notes
