"""The times of a log, however they are written, as seconds from its first row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from cofire.errors import InputError
from cofire.files import show
from cofire.firing.sheets import parse_number
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE

DAY = 24.0 * HOUR
UNITS = {"s": 1.0, "min": MINUTE, "h": HOUR, "days": DAY, "ms": 1e-3}
SHORTEST, LONGEST = 1.5 * HOUR, 120.0 * HOUR
"""A kiln's firing lasts between these (common practice): the test of numbers without unit, and of
HH:MM against MM:SS. [s]"""
FORMS = {
    "s": r"\b(s|sec|secs|second|seconds|sek|sekunden)\b",
    "min": r"\b(min|mins|minute|minutes|minuten)\b",
    "h": r"\b(h|hr|hrs|hour|hours|std|stunden)\b",
    "days": r"\b(d|day|days)\b",
    "ms": r"\b(ms|millis|milliseconds)\b",
}
EPOCH = 1e8
"""A number above it counts seconds since 1970 (1e11: milliseconds). [s]"""
SERIAL = (25_000.0, 80_000.0)
"""Days since 1900 as a spreadsheet counts them, for 1968 to 2119."""
TIME = re.compile(
    r"(?:(?P<days>\d+)(?:\.|\s*d(?:ays?)?,?)\s*)?(?P<a>\d{1,4}):(?P<b>\d{2})"
    r"(?::(?P<c>\d{2}(?:[.,]\d+)?))?\s*(?P<half>[AaPp])?(?:\.?[Mm]\.?)?$"
)
ELAPSED = re.compile(r"\d{1,4}:\d{2}")
"""Hours and minutes, or minutes and seconds."""
STAMP = re.compile(r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})(?:,?[T\s]+(.*))?$")
ORDERS = {"day/month": (2, 1, 0), "month/day": (2, 0, 1)}


def unit_of_title(title: str) -> str:
    """Unit of time that a column's name states.

    Parameters
    ----------
    title : str
        Such as "elapsed (min)".

    Returns
    -------
    str
        A key of UNITS, or "".
    """
    for unit in ("ms", "min", "s", "h", "days"):
        if re.search(FORMS[unit], title.replace("_", " "), re.IGNORECASE):
            return unit
    return ""


def read_times(
    cells: Sequence[str],
    lines: Sequence[int],
    title: str,
    decimal: str,
    where: str,
    unit: str | None = None,
) -> tuple[Array, str]:
    """Seconds from the first row, not yet sorted, and how the cells were read.

    Numbers in s, min, h or days (by the name of the column, else by the length of the firing),
    seconds since 1970, days of a spreadsheet; hours and minutes, with seconds or not, of the day or
    since the start; minutes and seconds where only these make a firing of a credible length; dates
    in the order of ISO 8601, of days first or months first.

    Parameters
    ----------
    cells : sequence of str
        One a row.
    lines : sequence of int
        Their line numbers, for the messages. [-]
    title : str
        Name of the column.
    decimal : str
        "." or ",".
    where : str
        File, for the messages.
    unit : str, optional
        Unit of plain numbers, a key of UNITS; overrides what is found.

    Returns
    -------
    tuple of array and str
        Shape (rows,) [s], and the form in words.

    Raises
    ------
    InputError
        With line, cell and what is allowed.
    """
    first = cells[0].strip()
    if STAMP.match(first):
        return _dates(cells, lines, where)
    if TIME.match(first):
        return _clock(cells, lines, where, unit)
    return _numbers(cells, lines, title, decimal, where, unit)


def _refuse(where: str, line: int, cell: str, allowed: str) -> InputError:
    return InputError(f"{where}: line {line}: time {show(cell)}; allowed: {allowed}")


MOSTLY = 0.95
"""Share of steps from row to row that go one way in a column of times. [-]"""


def newest_first(time: Array) -> bool:
    """Whether times fall from row to row.

    Parameters
    ----------
    time : array
        In the order of the rows, shape (R,). [any]
    """
    return bool(
        time.size > 1 and time[-1] < time[0] and float(np.mean(time[1:] <= time[:-1])) > MOSTLY
    )


def _credible(span: float) -> bool:
    """Whether a kiln's firing may last so long. [s]"""
    return SHORTEST <= span <= LONGEST


def _of_day(text: str) -> float | None:
    """Seconds of a clock's reading, or None."""
    found = TIME.match(text.strip())
    if found is None:
        return None
    hours, minutes = float(found["a"]), float(found["b"])
    seconds = float((found["c"] or "0").replace(",", "."))
    if minutes >= 60.0 or seconds >= 60.0:
        return None
    if found["half"]:
        if not 1.0 <= hours <= 12.0:
            return None
        hours = hours % 12.0 + 12.0 * (found["half"] in "Pp")
    return float(found["days"] or 0.0) * DAY + hours * HOUR + minutes * MINUTE + seconds


def _clock(
    cells: Sequence[str], lines: Sequence[int], where: str, unit: str | None
) -> tuple[Array, str]:
    """Hours, minutes and perhaps seconds; a fall by most of a day is midnight.

    Where the newest reading stands first, a rise by most of a day is.
    """
    readings = []
    for cell, line in zip(cells, lines, strict=True):
        value = _of_day(cell)
        if value is None:
            raise _refuse(where, line, cell, "HH:MM or HH:MM:SS in every row")
        readings.append(value)
    time = np.array(readings)
    form = "HH:MM:SS" if cells[0].count(":") > 1 else "HH:MM"
    if unit == "min" and form == "HH:MM":
        return time / MINUTE, "MM:SS"
    plain = ELAPSED.fullmatch(cells[int(np.argmax(time))].strip()) is not None
    span = float(np.ptp(time))
    if unit is None and plain and not _credible(span) and _credible(span / MINUTE):
        return time / MINUTE, "taken to be MM:SS by its length"
    step = np.diff(time)
    way = -1.0 if float(np.mean(step <= 0.0)) > MOSTLY else 1.0
    midnight = np.concatenate([[0.0], np.cumsum(way * step < -0.5 * DAY)])
    if midnight[-1]:
        form += (
            f", past midnight {int(midnight[-1])} times" if midnight[-1] > 1 else ", past midnight"
        )
    return time + way * DAY * midnight, form


def _dates(cells: Sequence[str], lines: Sequence[int], where: str) -> tuple[Array, str]:
    """Dates with times, in the order of year, month and day that makes the shortest log."""
    try:
        stamps = [datetime.fromisoformat(cell.strip().replace(",", ".")) for cell in cells]
        zero = stamps[0]
        return np.array([(stamp - zero).total_seconds() for stamp in stamps]), "date and time (ISO)"
    except (ValueError, TypeError):
        pass
    year_first = len(STAMP.match(cells[0].strip())[1]) == 4  # type: ignore[index]
    orders = {"year/month/day": (0, 1, 2)} if year_first else ORDERS
    stamped = _stamped(cells, lines, where)
    found: dict[str, Array] = {}
    wrong: InputError | None = None
    for name, order in orders.items():
        try:
            found[name] = _ordered(stamped, cells, lines, where, order)
        except InputError as error:
            wrong = wrong or error
    if not found:
        assert wrong is not None
        raise wrong
    name = min(found, key=lambda n: float(np.abs(np.diff(found[n])).sum()))
    return found[name], f"date and time ({name})"


Parts = tuple[str, str, str]


def _stamped(
    cells: Sequence[str], lines: Sequence[int], where: str
) -> tuple[list[Parts], list[float]]:
    """The three numbers of each date as written, and the seconds of its day."""
    dates, seconds = [], []
    clocks: dict[str, float | None] = {}
    for cell, line in zip(cells, lines, strict=True):
        parts = STAMP.match(cell.strip())
        at = None
        if parts is not None:
            clock = parts[5] or "0:00"
            if clock not in clocks:
                clocks[clock] = _of_day(re.sub(r"(Z|[+-]\d\d:?\d\d)$", "", clock))
            at = clocks[clock]
        if parts is None or at is None:
            raise _refuse(where, line, cell, "a date and a time such as 2026-03-01 12:30:00")
        dates.append((parts[1], parts[3], parts[4]))
        seconds.append(at)
    return dates, seconds


def _ordered(
    stamped: tuple[list[Parts], list[float]],
    cells: Sequence[str],
    lines: Sequence[int],
    where: str,
    order: tuple[int, int, int],
) -> Array:
    days: dict[Parts, float] = {}
    zero = None
    for row, parts in enumerate(stamped[0]):
        if parts in days:
            continue
        year, month, day = (int(parts[i]) for i in order)
        try:
            found = datetime(year + 2000 * (year < 100), month, day)
        except ValueError:
            allowed = "a day of the calendar in every row"
            raise _refuse(where, lines[row], cells[row], allowed) from None
        zero = zero or found
        days[parts] = (found - zero) / timedelta(seconds=1)
    return np.array([days[p] + s for p, s in zip(*stamped, strict=True)], dtype=np.float64)


def _numbers(
    cells: Sequence[str],
    lines: Sequence[int],
    title: str,
    decimal: str,
    where: str,
    unit: str | None,
) -> tuple[Array, str]:
    """Plain numbers, in the unit stated, or the one that makes a firing of a credible length."""
    values = []
    for cell, line in zip(cells, lines, strict=True):
        read = parse_number(cell, decimal)
        if read is None:
            raise _refuse(where, line, cell, "a number, a time of day or a date in every row")
        values.append(read[0])
    time = np.array(values)
    low, span = float(time.min()), float(np.ptp(time))
    if unit is not None:
        return (time - time[0]) * UNITS[unit], f"time in {unit}"
    if low > EPOCH:
        scale, form = (1e-3, "milliseconds") if low > 1e3 * EPOCH else (1.0, "seconds")
        return (time - time[0]) * scale, f"{form} since 1970"
    named = unit_of_title(title)
    if named:
        return (time - time[0]) * UNITS[named], f"time in {named}"
    if SERIAL[0] < low and low + span < SERIAL[1] and span < 30.0:
        return (time - time[0]) * DAY, "days of a spreadsheet"
    fitting = [u for u in ("s", "min", "h") if _credible(span * UNITS[u])]
    if len(fitting) != 1:
        lasts = ", ".join(f"{span * UNITS[u] / HOUR:.3g} h in {u}" for u in ("s", "min", "h"))
        raise InputError(
            f"{where}: {title}: no unit of time given, and it would last {lasts}; "
            "say which: s, min or h"
        )
    return (time - time[0]) * UNITS[fitting[0]], f"time taken to be in {fitting[0]} by its length"
