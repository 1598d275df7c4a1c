"""What a thermocouple saw: a logger's file as a trace that the model can be run on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.files import Place
from cofire.firing.columns import chosen_columns, temperatures
from cofire.firing.kiln import END, GRID, Trace, follow
from cofire.firing.sheets import read_sheet
from cofire.firing.stamps import newest_first, read_times
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, ROOM, celsius

# ----------------------------------------------------------------------------------------------
# Readings of a log made usable: clocks, gaps, spikes and noise, each told with its line

FEWEST = 10
GAP = 4.0
"""A step longer than this many usual ones, and than five minutes, is a gap. [-]"""
DISORDER = 0.25
"""Share of rows before the row above them from which a file is in no order: a clock is not set back
so often. [-]"""
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
BESIDE, HIDES = 15.0 * MINUTE, 10.0
"""Readings so long before and after a gap tell how fast the ware was; a controller's swing carried
on through a gap stays below so many kelvin. Estimates. [s], [K]"""
HIDING = "the peak may lie"
STILL = 5.0 * MINUTE
"""No shorter step is a gap; readings that stay level for so long are of a hold. [s]"""


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
        Times in no order, too few readings, a second log in the file, a clock set back over a jump,
        or a gap or a log longer than any firing.
    """
    step = np.diff(time)
    if float(np.mean(step < 0.0)) > DISORDER:
        raise InputError(f"{where}: times rise and fall from row to row; sort the rows by time")
    rising = step[step > SHORTEST]
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
    first = np.append(True, np.diff(time) > SHORTEST)
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


def hiding_steps(time: Array, smooth: Array) -> list[int]:
    """Gaps in which the ware may have been hotter than all readings: entered rising, left falling.

    The rise before and the fall after, each carried on into the gap, meet above all readings. In a
    hold nothing rises, however short it is; where it is left hotter, it went on at a usual rate.

    Parameters
    ----------
    time, smooth : array
        In order, and without spikes and noise, shape (R,). [s], [K]

    Returns
    -------
    list of int
        Reading before each such gap. [-]
    """
    ends = np.r_[-1, _gap_steps(time), time.size - 1]
    found = []
    for n, i in enumerate(ends[1:-1].tolist(), 1):
        before = np.arange(ends[n - 1] + 1, i + 1)
        after = np.arange(i + 1, ends[n + 1] + 1)
        before = before[time[before] >= time[i] - BESIDE]
        after = after[time[after] <= time[i + 1] + BESIDE]
        if min(before.size, after.size) < 2:
            continue
        rise, fall = (float(np.polyfit(time[at], smooth[at], 1)[0]) for at in (before, after))
        moved, width = float(smooth[i + 1] - smooth[i]), float(time[i + 1] - time[i])
        last = before[time[before] >= time[i] - STILL]
        if last.size > 2 and float(np.ptp(smooth[last])) <= SHAPE:
            rise = 0.0
        if moved > HIDES:
            rise = max(rise, USUAL_RATE)
        if rise > 0.0 > fall:
            meet = (moved - fall * width) / (rise - fall)
            top = float(smooth[i]) + rise * min(max(meet, 0.0), width)
            if top > float(smooth.max()) + HIDES:
                found.append(i)
    return found


def begins_late(time: Array, smooth: Array) -> bool:
    """Whether a log begins on cooling, so that the ware may have been hotter before it.

    It begins warm and falls, by more in a quarter of an hour than a hold does that swings, and
    nothing in it is hotter: a kiln that is still warm from the firing before falls too, but this
    firing then passes that.

    Parameters
    ----------
    time, smooth : array
        In order, and without spikes and noise, shape (R,). [s], [K]
    """
    first = np.flatnonzero(time <= max(time[0] + BESIDE, *time[1:3]))
    fall = float(np.polyfit(time[first], smooth[first], 1)[0])
    first_is_top = float(smooth.max()) <= float(smooth[first].max()) + HIDES
    return bool(smooth[0] > COOL and fall * BESIDE < -0.5 * HIDES and first_is_top)


def gap_notes(
    time: Array, temperature: Array, lines: Sequence[int], hiding: Sequence[int] = ()
) -> list[str]:
    """Where readings are missing, or the clock was set on.

    Parameters
    ----------
    time, temperature : array
        In order, shape (R,). [s], [K]
    lines : sequence of int
        Line of each reading. [-]
    hiding : sequence of int
        From `hiding_steps`. [-]

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
            + (f", but {HIDING} in this gap" if i in hiding else "")
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


# ----------------------------------------------------------------------------------------------
# What a thermocouple saw: a logger's file as a trace that the model can be run on

PLACES = ("ware", "kiln")
"""Where the thermocouple sat: beside the ware, or elsewhere in the kiln."""
SHORTEST = 1e-3
"""Readings no further apart were taken at the same time: no thermocouple answers sooner. [s]"""
SHAPE, CORNER = 1.0, 4.0
"""How far a straight line may pass from the readings: nodes, and ends of ramps and holds. [K]"""
MOST_CORNERS = 40
COOL = ROOM + 40.0
"""A log that begins or ends no warmer than 60 °C is taken to begin or end cold. [K]"""
COLD_STUDIO = 40.0
"""A log this far below 20 °C is that of a cold studio: cards speak from 20 °C on. Estimate. [K]"""
USUAL_RATE = 150.0 / HOUR
SHOWING = 0.05 * HOUR
"""What is added to a log is told from here on: less does not show in hours to a tenth. [s]"""
LEVEL_TIME, LEVEL_RATE = 2.0 * HOUR, 1.0 / HOUR
"""A cool log that fell more slowly over its last two hours is as warm as its room: a kiln that is
still 10 K above its room cools so only if it takes 10 h for two thirds of the way. Estimate. [s],
[K/s]"""


@dataclass(frozen=True)
class FiringLog:
    """A log as it was understood.

    Attributes
    ----------
    time, temperature
        Readings in order, spikes still in, shape (R,). [s], [K]
    trace
        The readings without spikes and noise, from cold to cold, few nodes; time counts from its
        own first node.
    lead
        Time of the trace at the first reading. [s]
    hidden
        Time of the trace from which a gap may hide the peak, 0 where the log begins on cooling;
        None where nothing does. [s]
    found
        How the file was read: delimiter, columns, units.
    notes
        What was mended or left out, each with its line.
    """

    where: str
    time: Array
    temperature: Array
    trace: Trace
    found: tuple[str, ...]
    notes: tuple[str, ...]
    lead: float = 0.0
    hidden: float | None = None


def read_firing_log(
    path: Place,
    *,
    thermocouple: str = "ware",
    lag: float = 0.0,
    gas: str = "air",
    temperature_unit: str | None = None,
    time_unit: str | None = None,
    column: str | None = None,
    time_column: str | None = None,
) -> FiringLog:
    """The firing in a file of times and temperatures, as any logger writes it.

    The form is found and reported, not asked for: see `firing.sheets` for encodings,
    delimiters and decimal marks, `stamps` for times, `columns` for columns and °C, °F or K. Rows
    may stand newest first.
    Spikes are found with a running median of five readings. What cannot be read is refused with its
    line.

    Parameters
    ----------
    path : path
        The file.
    thermocouple : str
        One of PLACES.
    lag : float
        Time constant of the ware behind the kiln; counts where the thermocouple is the kiln's. [s]
    gas : str
        Around the ware.
    temperature_unit, time_unit : str, optional
        "C", "F" or "K", and a key of `stamps.UNITS`, where the file does not tell.
    column, time_column : str, optional
        Name or number of the column, where there are several.

    Returns
    -------
    FiringLog
        With the trace of the ware.

    Raises
    ------
    InputError
        With the line, what stands there, and what is allowed.
    """
    if thermocouple not in PLACES:
        raise InputError(f"{path}: thermocouple = {thermocouple!r}; allowed: 'ware' or 'kiln'")
    sheet = read_sheet(path)
    when, what = chosen_columns(sheet, column, time_column)
    temperature, kept, unit, notes, other = temperatures(sheet, what, temperature_unit)
    cells = [" ".join(sheet.rows[i][j] for j in when) for i in kept]
    lines = [sheet.lines[i] for i in kept]
    title = sheet.title(when[0])
    seconds, form = read_times(cells, lines, title, sheet.decimal, sheet.where, time_unit)
    found = (
        *sheet.found,
        f"time from {' and '.join(repr(sheet.title(j)) for j in when)}: {form}",
        f"temperature from {sheet.title(what)!r}: {unit}",
    )
    if newest_first(seconds):
        seconds, temperature, lines = seconds[::-1], temperature[::-1], lines[::-1]
        notes.append("its newest reading stands first; read from its last row up")
    time, temperature, lines, mended = in_order(seconds, temperature, lines, sheet.where)
    smooth, told = smoothed(time, temperature, lines)
    hiding, late = hiding_steps(time, smooth), begins_late(time, smooth)
    if late:
        notes.append(f"line {lines[0]}: begins on cooling: {HIDING} before it")
    notes += mended + gap_notes(time, temperature, lines, hiding) + told
    try:
        curve, lead, ends = logged_trace(time, smooth, thermocouple, lag, gas, sheet.where)
    except InputError as error:
        if other:
            raise InputError(f"{error}; read in {unit}, its numbers look like {other}") from None
        raise
    hidden = lead + float(time[hiding[0]]) if hiding else None
    return FiringLog(
        where=sheet.where,
        time=time,
        temperature=temperature,
        trace=curve,
        found=found,
        notes=(*notes, *ends),
        lead=lead,
        hidden=0.0 if late else hidden,
    )


def straightened(time: Array, value: Array, tolerance: float) -> NDArray[np.intp]:
    """Fewest readings, ends included, whose straight joins pass all others closely.

    Douglas & Peucker 1973, Cartographica 10, 112, with the distance taken along the value.

    Parameters
    ----------
    time : array
        Rising, shape (R,). [s]
    value : array
        Shape (R,). [any]
    tolerance : float
        In the unit of the values. [any]

    Returns
    -------
    array of int
        Their indices, rising.
    """
    kept = np.zeros(time.size, dtype=bool)
    kept[[0, -1]] = True
    parts = [(0, time.size - 1)]
    while parts:
        a, b = parts.pop()
        if b - a < 2:
            continue
        share = (time[a + 1 : b] - time[a]) / (time[b] - time[a])
        off = np.abs(value[a + 1 : b] - value[a] - share * (value[b] - value[a]))
        worst = int(np.argmax(off))
        if off[worst] > tolerance:
            middle = a + 1 + worst
            kept[middle] = True
            parts += [(a, middle), (middle, b)]
    return np.flatnonzero(kept)


def logged_trace(
    time: Array, temperature: Array, thermocouple: str, lag: float, gas: str, where: str
) -> tuple[Trace, float, list[str]]:
    """Readings as a trace from cold to cold, with as few nodes as they need.

    Parameters
    ----------
    time : array
        Rising from zero, shape (R,). [s]
    temperature : array
        Without noise, shape (R,). [K]
    thermocouple : str
        One of PLACES.
    lag : float
        Of the ware behind the kiln. [s]
    gas : str
        Around the ware.
    where : str
        File, for the messages.

    Returns
    -------
    tuple
        The trace, its time at the first reading [s], and what was added at its ends.

    Raises
    ------
    InputError
        The log ends hot and not cooling.
    """
    notes, lead = [], 0.0
    coldest = float(temperature.min())
    if ROOM - COLD_STUDIO <= coldest < ROOM:
        temperature = np.maximum(temperature, ROOM)
        if coldest < ROOM - 2.0:
            notes.append(f"is as cold as {celsius(coldest):.0f} °C; taken as 20 °C wherever below")
    if temperature[0] > ROOM + 0.5:
        lead = max((float(temperature[0]) - ROOM) / USUAL_RATE, 1.0)
        if lead > SHOWING:
            notes.append(
                f"begins at {celsius(float(temperature[0])):.0f} °C; taken to have come there at "
                f"{USUAL_RATE * HOUR:.0f} °C/h, {lead / HOUR:.1f} h added"
            )
        time = np.concatenate([[0.0], time + lead])
        temperature = np.concatenate([[ROOM], temperature])
    last = f"{celsius(float(temperature[-1])):.0f} °C"
    if temperature[-1] > END and _levelled_off(time, temperature):
        notes.append(f"stays at {last} in the end; taken as that of its room, nothing added")
    elif temperature[-1] > END:
        whole = time[-1]
        time, temperature = _cooled(time, temperature, where)
        added = float(time[-1] - whole)
        if added > SHOWING:
            notes.append(
                f"ends at {last}; cooled on as it was to {celsius(END):.0f} °C, "
                f"{added / HOUR:.1f} h added"
            )
    nodes = straightened(time, temperature, SHAPE)
    tolerance, breakpoints = CORNER, straightened(time, temperature, CORNER)
    while breakpoints.size > MOST_CORNERS:
        tolerance *= 1.5
        breakpoints = straightened(time, temperature, tolerance)
    nodes = np.union1d(nodes, breakpoints)
    at = time[nodes]
    step = np.maximum(np.abs(np.diff(temperature[nodes])) / GRID, np.diff(at) / STILL)
    count = np.maximum(np.ceil(step - 1e-9).astype(int), 1)
    ends = np.concatenate([[0], np.cumsum(count)])
    fine = np.interp(np.arange(ends[-1] + 1), ends, at)
    kiln = np.interp(fine, at, temperature[nodes])
    ware = follow(fine, kiln, lag, float(kiln[0])) if thermocouple == "kiln" else kiln.copy()
    at_corners = ends[np.searchsorted(nodes, breakpoints)].astype(np.intp)
    return Trace(fine, ware, kiln, at_corners, gas), lead, notes


TELLING = 10.0
"""Fall from which a rate of cooling is read: a reading is out by a degree. Our choice. [K]"""


def _levelled_off(time: Array, temperature: Array) -> bool:
    """Whether a log ends cool and no longer cools: its room is that warm."""
    end = time >= time[-1] - LEVEL_TIME
    if temperature[-1] > COOL or np.ptp(temperature[end]) > TELLING:
        return False
    rate = float(np.polyfit(time[end] - time[-1], temperature[end], 1)[0]) if end.sum() > 1 else 0.0
    return rate > -LEVEL_RATE


def _cooled(time: Array, temperature: Array, where: str) -> tuple[Array, Array]:
    """The readings with the rest of the cooling, by Newton's law from its own last stretch."""
    last = time[-1] - max(0.5 * HOUR, 4.0 * float(np.median(np.diff(time))))
    if temperature[-1] > COOL and temperature[time >= last][0] - temperature[-1] < 2.0:
        raise InputError(
            f"{where}: ends at {celsius(float(temperature[-1])):.0f} °C and is not cooling there; "
            "allowed: the whole firing, down to 60 °C or on its way"
        )
    hotter = time[temperature >= temperature[-1] + TELLING]
    begin = int(np.flatnonzero(time >= min(last, hotter[-1] if hotter.size else last))[0])
    span = float(time[-1] - time[begin])
    above = np.log(np.maximum(temperature[begin:] - ROOM, END - ROOM))
    fall = -float(np.polyfit((time[begin:] - time[begin]) / span, above, 1)[0])
    constant = span / fall if fall > 1e-3 else 6.0 * HOUR
    left = constant * np.log((temperature[-1] - ROOM) / (END - ROOM))
    after = np.linspace(0.0, max(left, 1.0), 60)[1:]
    tail = ROOM + (temperature[-1] - ROOM) * np.exp(-after / constant)
    return np.concatenate([time, time[-1] + after]), np.concatenate([temperature, tail])
