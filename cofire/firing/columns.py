"""Columns of numbers as instruments write them, and which of them are time and temperature."""

from __future__ import annotations

import csv
import functools
import io
import math
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from cofire.errors import InputError
from cofire.files import Place, read_bytes, show, shown_path
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, ZERO_CELSIUS

# ----------------------------------------------------------------------------------------------
# Columns of numbers as instruments write them: encoding, delimiter, decimal mark, header lines

LARGEST_LOG = 50_000_000
"""A week at one reading a second is 20 MB. [bytes]"""
DELIMITERS = {"\t": "tab", ";": "semicolon", ",": "comma", " ": "space"}
MISSING = ("", "-", "--", "---", "----", "nan", "n/a", "na", "#n/a", "null", "none", "open")
"""What instruments write where there is no reading."""
LONGEST_LINE = 2000
"""A row of a hundred columns is shorter. [characters]"""
LONGEST_CELL = 60
"""No number, time or date is longer. [characters]"""
PLAIN = {
    ".": re.compile(r"[-+]?[0-9]{1,15}(?:\.[0-9]{0,15})?"),
    ",": re.compile(r"[-+]?[0-9]{1,15}(?:,[0-9]{0,15})?"),
}
"""What nearly all cells hold, by the decimal mark."""
NUMBER = re.compile(r"[-+]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][-+]?\d+)?")
DEGREES = ("°", "º", "deg.", "deg")
CLOCK = re.compile(r"\d{1,4}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s*[AaPp]\.?[Mm]\.?)?$")
DATE = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}")
SAMPLE = 400
"""Lines looked at to find the delimiter and the decimal mark. [-]"""
_UNIT = r"(?:[^\S\n]*[^\s\d.,]{1,3})?$"
DECIMAL = {
    mark: re.compile(rf"[-+]?(?:\d{{1,3}}(?:\{other}\d{{3}})+|\d*)\{mark}\d+(?:\s*\S{{1,3}})?")
    for mark, other in (".,", ",.")
}
"""Numbers that may have the mark as decimal mark."""
EITHER = {
    mark: re.compile(rf"^([-+]?[1-9]\d{{0,2}}\{mark}\d{{3}}){_UNIT}", re.MULTILINE) for mark in ".,"
}
"""Those among them in which it may group thousands as well."""
BELOW = re.compile(rf"^([-+]?\d{{1,3}}){_UNIT}", re.MULTILINE)
"""Whole numbers below a thousand."""
LEAP = 1000.0**0.5
"""Two neighbours further apart than this, one of them whole and the other before three digits, lie
nearer in thousands: half-way between by their ratio. [-]"""


@dataclass(frozen=True)
class Sheet:
    """Cells of a file, row by row, and what was found out about its form.

    Attributes
    ----------
    header
        Name of each column, empty where there is none.
    lines
        Line number of each row of data.
    rows
        Cells of each row, all of one length.
    decimal
        "." or ",".
    found
        The form, in words.
    """

    where: str
    header: tuple[str, ...]
    lines: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]
    decimal: str
    found: tuple[str, ...]

    def column(self, index: int) -> list[str]:
        """Cells of one column.

        Parameters
        ----------
        index : int
            From 0. [-]

        Returns
        -------
        list of str
            One a row.
        """
        return [row[index] for row in self.rows]

    def title(self, index: int) -> str:
        """What to call a column in a message.

        Parameters
        ----------
        index : int
            From 0. [-]

        Returns
        -------
        str
            Its name, or its number from 1; of a long name its two ends.
        """
        name = self.header[index] or f"column {index + 1}"
        return name if len(name) <= 80 else f"{name[:50]}...{name[-25:]}"

    def find(self, wanted: str) -> int:
        """Index of a column that a person names.

        Parameters
        ----------
        wanted : str
            Its name in the header, whatever its case, or its number from 1.

        Returns
        -------
        int
            From 0.

        Raises
        ------
        InputError
            No such column.
        """
        names = [name.casefold() for name in self.header]
        if wanted.strip().casefold() in names:
            return names.index(wanted.strip().casefold())
        number = wanted.strip()
        if number.isdecimal() and len(number) <= 6 and 1 <= int(number) <= len(names):
            return int(number) - 1
        raise InputError(f"{self.where}: no column {show(wanted)}; it has {self.listed()}")

    def listed(self, columns: Sequence[int] | None = None) -> str:
        """Numbers and names of columns, as many as a message holds.

        Parameters
        ----------
        columns : sequence of int, optional
            From 0; by default all. [-]

        Returns
        -------
        str
            Such as "1 'time', 2 'kiln'".
        """
        found: list[str] = []
        left = range(len(self.header)) if columns is None else columns
        for j in left:
            found.append(f"{j + 1} {show(self.header[j])}")
            if sum(map(len, found)) > 120 and len(found) < len(left):
                return ", ".join([*found, "..."])
        return ", ".join(found)


def parse_number(text: str, decimal: str = ".") -> tuple[float, str] | None:
    """The number in a cell and the unit behind it.

    Parameters
    ----------
    text : str
        Such as "1 050,5 °C".
    decimal : str
        "." or ","; the other one then groups thousands.

    Returns
    -------
    tuple of float and str, or None
        Value and "C", "F", "K" or ""; None where the cell holds no number.
    """
    if PLAIN[decimal].fullmatch(text) is not None:
        return float(text if decimal == "." else text.replace(",", ".")), ""
    text = text.strip()
    if len(text) > LONGEST_CELL:
        return None
    bare, unit = _unit_behind(re.sub(r"(?<=\d)[\s'\u00a0\u202f](?=\d{3})", "", text))
    if NUMBER.fullmatch(bare) is None:
        return None
    other = "," if decimal == "." else "."
    whole = bare.split(decimal)[0]
    if other in whole:
        if re.fullmatch(rf"[-+]?\d{{1,3}}(?:\{other}\d{{3}})+", whole) is None:
            return None
        bare = bare.replace(other, "")
    try:
        value = float(bare.replace(decimal, "."))
    except ValueError:
        return None
    return (value, unit) if math.isfinite(value) else None


def _unit_behind(text: str) -> tuple[str, str]:
    """What stands before a unit, and the unit: "C", "F", "K" or ""."""
    unit = text[-1:].upper()
    if unit not in ("C", "F", "K"):
        return text, ""
    bare = text[:-1].rstrip()
    for sign in DEGREES:
        if bare.casefold().endswith(sign):
            return bare[: -len(sign)].rstrip(), unit
    return bare, unit


def is_missing(text: str) -> bool:
    """Whether a cell says that there was no reading.

    Parameters
    ----------
    text : str
        The cell.

    Returns
    -------
    bool
        True for blanks, dashes and words such as "nan".
    """
    return text.strip().casefold() in MISSING


def is_time(text: str) -> bool:
    """Whether a cell is a time of day, a date, or both.

    Parameters
    ----------
    text : str
        The cell.

    Returns
    -------
    bool
        By its form alone.
    """
    bare = text.strip()
    if len(bare) > LONGEST_CELL:
        return False
    return CLOCK.match(bare) is not None or DATE.match(bare) is not None


def read_sheet(path: Place) -> Sheet:
    """The table in a file that an instrument wrote.

    Finds the encoding (UTF-8, UTF-16 with its mark, else a western code page), the delimiter
    (tab, semicolon, comma, spaces), the decimal mark, where the header ends, and the names of the
    columns. Blank lines and lines that begin with '#' are passed over.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    Sheet
        Its cells.

    Raises
    ------
    InputError
        Not readable, or no two rows of numbers in it; a row that differs from the others.
    """
    where = shown_path(path)
    text = _decoded(path, where)
    lines = text.splitlines()
    numbered = [
        (n, line.rstrip())
        for n, line in enumerate(lines, 1)
        if line.strip().strip(';,\t"') and not line.lstrip().startswith("#")
    ]
    for n, line in numbered:
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"{where}: line {n}: {len(line)} characters; allowed: {LONGEST_LINE} in a line"
            )
    delimiter = _delimiter([line for _, line in numbered], where)
    table = [(n, _cells(line, delimiter)) for n, line in numbered]
    first = _first_row(table, where)
    count = len(table[first][1])
    rows = table[first:]
    for n, cells in rows:
        if len(cells) != count:
            raise InputError(
                f"{where}: line {n}: {len(cells)} cells, where line {rows[0][0]} has {count}; "
                "allowed: as many in every row, a decimal comma only with another delimiter"
            )
    header = _header([cells for _, cells in table[:first]], count)
    if header is None:
        wide = max((len(cells) for _, cells in table[:first]), default=0)
        if delimiter == "," and wide > 1 and 2 * wide == count:
            raise InputError(
                f"{where}: line {rows[0][0]}: {count} cells under {wide} names; commas cannot be "
                "delimiter and decimal mark at once, save it with semicolons"
            )
        header = ("",) * count
    decimal = _decimal(rows, count, where)
    found = [
        f"delimiter {DELIMITERS[delimiter]}",
        f"decimal {'comma' if decimal == ',' else 'point'}",
    ]
    if first:
        found.append(f"{first} header line{'s' if first > 1 else ''}")
    return Sheet(
        where, header, tuple(n for n, _ in rows), tuple(cells for _, cells in rows), decimal,
        tuple(found),
    )  # fmt: skip


def _decoded(path: Place, where: str) -> str:
    raw = read_bytes(path, LARGEST_LOG)
    if len(raw) > LARGEST_LOG:
        raise InputError(f"{where}: over {LARGEST_LOG} bytes; allowed: a log of one firing")
    if not raw.strip():
        raise InputError(f"{where}: the file is empty; allowed: rows of time and temperature")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        coding = "utf-16"
    elif b"\x00" in raw[:1000]:
        raise InputError(f"{where}: not a text file; export it as CSV")
    else:
        coding = "utf-8-sig"
    try:
        return raw.decode(coding)
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _cells(line: str, delimiter: str) -> tuple[str, ...]:
    if delimiter == " ":
        return tuple(line.split())
    if '"' not in line:
        return tuple(map(str.strip, line.split(delimiter)))
    try:
        return tuple(map(str.strip, next(csv.reader(io.StringIO(line), delimiter=delimiter))))
    except (csv.Error, StopIteration):
        return (line,)


def _readable(cell: str) -> bool:
    return is_time(cell) or any(parse_number(cell, mark) is not None for mark in ".,")


def _delimiter(lines: Sequence[str], where: str) -> str:
    """The delimiter under which most lines hold two readable cells or more, as many in each."""
    middle = len(lines) // 2
    sample = [*lines[: SAMPLE // 2], *lines[middle : middle + SAMPLE // 2]]
    best, most = "", 0
    for delimiter in DELIMITERS:
        split = [_cells(line, delimiter) for line in sample]
        counts = Counter(
            len(cells) for cells in split if len(cells) > 1 and sum(map(_readable, cells)) > 1
        )
        if counts and counts.most_common(1)[0][1] > most:
            best, most = delimiter, counts.most_common(1)[0][1]
    if most < min(2, len(sample)):
        first = show(sample[-1]) if sample else "nothing"
        raise InputError(f"{where}: no columns of numbers found; a line of it: {first}")
    return best


def _holds_data(cells: Sequence[str]) -> bool:
    """Whether a row holds two readable cells, or one and nothing else but missing readings."""
    readable = sum(map(_readable, cells))
    if readable == 1:
        return len(cells) > 1 and readable + sum(map(is_missing, cells)) == len(cells)
    return readable > 1


def _first_row(table: Sequence[tuple[int, Sequence[str]]], where: str) -> int:
    """Index of the first row of data: it and the few that follow are readable and as wide."""
    for i, (_, cells) in enumerate(table[:-1]):
        following = [later for _, later in table[i : i + 4]]
        if all(_holds_data(row) and len(row) == len(cells) for row in following):
            return i
    raise InputError(f"{where}: no two rows of numbers follow each other in it")


def _header(above: Sequence[Sequence[str]], count: int) -> tuple[str, ...] | None:
    """Names of the columns: the last line above the data that has one for each.

    A line of units below the names (such as "s" and "°C") is joined to them.
    """
    fitting = [cells for cells in above if len(cells) == count and not any(map(_readable, cells))]
    if not fitting:
        return None
    names = list(fitting[-1])
    if (
        len(fitting) > 1
        and all(len(cell) <= 8 for cell in names)
        and fitting[-2:] == list(above[-2:])
    ):
        names = [f"{a} {b}".strip() for a, b in zip(fitting[-2], names, strict=True)]
    return tuple(names)


def _decimal(rows: Sequence[tuple[int, Sequence[str]]], count: int, where: str) -> str:
    """Decimal comma, where more numbers are written with one than with a point.

    A column in which a mark groups thousands speaks for the other mark.
    """
    votes = {".": 0, ",": 0}
    leaps: dict[str, str] = {}
    for j in range(count):
        cells = [row[j] for _, row in rows]
        sample = [cell for cell in cells[:SAMPLE] if not is_time(cell)]
        for mark, other in (".,", ",."):
            written = sum(DECIMAL[mark].fullmatch(cell) is not None for cell in sample)
            groups, leap = _grouping(cells, mark)
            votes[other if groups else mark] += max(written, groups)
            if leap is not None:
                leaps[mark] = f"line {rows[leap][0]}, column {j + 1}: {show(cells[leap])}"
    decimal = "," if votes[","] > votes["."] else "."
    if decimal in leaps:
        raise InputError(
            f"{where}: {leaps[decimal]} beside whole numbers has its thousands in groups, by what "
            "is the decimal mark elsewhere; write it without"
        )
    return decimal


def _grouping(cells: Sequence[str], mark: str) -> tuple[bool, int | None]:
    """Whether a mark groups thousands in a column, and the row where the numbers say so.

    Before exactly three digits it may do either. It groups where a whole number below a thousand
    stands beside it and the two lie nearer so; also, without such a row, where all whole numbers
    are zero and no other cell has it as a decimal mark: such decimals would be written alike.
    """
    text = "\n".join(cells)
    if mark not in text or not (EITHER[mark].search(text) and BELOW.search(text)):
        return False, None
    zeros, before = True, (0.0, False)
    for row, cell in enumerate(cells):
        found = EITHER[mark].fullmatch(cell) or BELOW.fullmatch(cell)
        if found is None:
            continue
        now = abs(float(found[1].replace(mark, "."))), found.re is not BELOW
        (whole, beside), (marked, either) = sorted((before, now), key=lambda one: one[1])
        if either > beside and whole > LEAP * marked:
            return True, row
        zeros &= now[1] or now[0] == 0.0
        before = now
    decimals = any(DECIMAL[mark].fullmatch(c) and not EITHER[mark].fullmatch(c) for c in cells)
    return zeros and not decimals, None


# ----------------------------------------------------------------------------------------------
# The times of a log, however they are written, as seconds from its first row

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
    """Hours, minutes and perhaps seconds; a fall by most of a day is midnight."""
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
    midnight = np.concatenate([[0.0], np.cumsum(np.diff(time) < -0.5 * DAY)])
    if midnight[-1]:
        form += (
            f", past midnight {int(midnight[-1])} times" if midnight[-1] > 1 else ", past midnight"
        )
    return time + DAY * midnight, form


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


# ----------------------------------------------------------------------------------------------
# Which columns of a log hold time and temperature, and whether that is °C, °F or K

TIME_WORDS = re.compile(
    r"time|zeit|date|datum|elapsed|stamp|heure|hora|tijd|epoch|unix|\bt\b", re.IGNORECASE
)
COUNT_WORDS = re.compile(r"^(no|nr|#|n|index|sample|record|row|reading|id)\.?$", re.IGNORECASE)
HOT_WORDS = re.compile(
    r"temp|°|º|\bdeg|\b[CFK]\b|_[CFK]\b|celsius|fahrenheit|kelvin|\btc\b|thermocouple|\bpv\b|actual|"
    r"kiln|ware|furnace|oven|process", re.IGNORECASE,
)  # fmt: skip
OTHER_WORDS = re.compile(
    r"set|\bsp\b|target|soll|output|power|duty|volt|batter|ambient|cold|junction|humid|error|"
    r"current|amp|rate|segment|step|alarm|internal|board", re.IGNORECASE,
)  # fmt: skip
UNIT_WORDS = {"C": "celsius|centigrade", "F": "fahrenheit", "K": "kelvin"}
NAMES = {"C": "°C", "F": "°F", "K": "K"}
RANGES = {"C": (-20.0, 45.0, 300.0, 1500.0), "F": (46.0, 113.0, 572.0, 2732.0),
          "K": (268.0, 318.0, 573.0, 1773.0)}  # fmt: skip
"""Coldest reading between the first two, hottest between the last two: one firing in each unit."""
AT_REST = 0.015
"""Most that the last twentieth of a log taken to be in K may change, of its range: a log in °C that
was begun late and broken off hot looks the same but for that. [-]"""
ONLY_F = 1500.0
"""A log that begins cold and exceeds it is in °F; one that does not may be in °C from a kiln that
was still warm. [any]"""
HOTTEST = 150.0
"""A column that never exceeds it is not a kiln's temperature, in no unit. [any]"""
LEAST, MOST = ZERO_CELSIUS - 60.0, ZERO_CELSIUS + 2300.0
"""A thermocouple reads nothing beyond these. [K]"""
NEVER = (-76.0, 4172.0)
"""Numbers beyond these are no temperature of a kiln in °C, °F or K: what loggers write for an open
thermocouple, such as 9999 or -32768. [any]"""


def _kind(cells: Sequence[str], decimal: str) -> str:
    """What most cells of a column are: stamp, date, clock, number or text."""
    seen = [cell for cell in cells[:200] if not is_missing(cell)]
    counts = dict.fromkeys(("stamp", "date", "clock", "number", "text"), 0)
    for cell in seen:
        if DATE.match(cell):
            counts["stamp" if ":" in cell else "date"] += 1
        elif CLOCK.match(cell) or re.match(r"\d+[.d ]+\d+:\d\d", cell):
            counts["clock"] += 1
        elif parse_number(cell, decimal) is not None:
            counts["number"] += 1
        else:
            counts["text"] += 1
    return max(counts, key=lambda kind: counts[kind]) if seen else "text"


def _values(sheet: Sheet, index: int) -> Array:
    """Numbers of a column, those that are none left out."""
    read = (parse_number(cell, sheet.decimal) for cell in sheet.column(index))
    return np.array([pair[0] for pair in read if pair is not None])


def chosen_columns(
    sheet: Sheet, column: str | None = None, time_column: str | None = None
) -> tuple[tuple[int, ...], int]:
    """Columns of the time (two, where date and time of day stand apart) and of the temperature.

    Parameters
    ----------
    sheet : Sheet
        The file.
    column, time_column : str, optional
        Name or number of a column, where the person says it.

    Returns
    -------
    tuple
        Indices of time, index of temperature.

    Raises
    ------
    InputError
        None fits, or several do, with the columns there are.
    """
    kinds = [_kind(sheet.column(j), sheet.decimal) for j in range(len(sheet.header))]
    values = functools.cache(functools.partial(_values, sheet))
    when = (sheet.find(time_column),) if time_column else _time_columns(sheet, kinds, values)
    if column:
        return when, sheet.find(column)
    numbers = [
        j
        for j, kind in enumerate(kinds)
        if kind == "number" and j not in when and not OTHER_WORDS.search(sheet.header[j])
    ]
    hot = [j for j in numbers if HOT_WORDS.search(sheet.header[j])] or numbers
    fitting = [j for j in hot if (v := values(j)).size and float(v.max()) > HOTTEST]
    if len(fitting) == 1:
        return when, fitting[0]
    listed = sheet.listed(fitting or None)
    what = "several columns may be the temperature"
    if not fitting:
        what = f"no column of temperatures, which would pass {HOTTEST:g}"
    raise InputError(f"{sheet.where}: {what}: {listed}; name the one to use (column)")


def _time_columns(
    sheet: Sheet, kinds: Sequence[str], values: Callable[[int], Array]
) -> tuple[int, ...]:
    for kind in ("stamp", "date", "clock"):
        if kind in kinds:
            first = kinds.index(kind)
            if kind == "date":
                if "clock" in kinds:
                    return first, kinds.index("clock")
                continue
            return (first,)
    numbers = [j for j, kind in enumerate(kinds) if kind == "number"]
    rising = []
    for j in numbers:
        v = values(j)
        if v.size > 1 and v[-1] > v[0] and float(np.mean(v[1:] >= v[:-1])) > 0.95:
            rising.append(j)
    named = [
        j for j in rising if TIME_WORDS.search(sheet.header[j]) or unit_of_title(sheet.header[j])
    ]
    left = named or [j for j in rising if not COUNT_WORDS.match(sheet.header[j].strip())]
    if not left:
        raise InputError(
            f"{sheet.where}: no column of times: {sheet.listed()}; name the one to use "
            "(time_column)"
        )
    return (left[0],)


def temperatures(
    sheet: Sheet, index: int, unit: str | None = None
) -> tuple[Array, list[int], str, list[str]]:
    """Temperatures of a column in K, the rows that have one, their unit in words, and notes.

    The unit is the person's, else that of the column's name or of its cells, else the only one in
    which the log is a firing that begins cold.

    Parameters
    ----------
    sheet : Sheet
        The file.
    index : int
        Column. [-]
    unit : str, optional
        "C", "F" or "K".

    Returns
    -------
    tuple
        Temperatures, shape (K,) [K]; rows they stand in; unit in words; notes.

    Raises
    ------
    InputError
        With the line of a cell that is no number, or where no one unit fits.
    """
    if unit is not None and unit not in NAMES:
        raise InputError(f"{sheet.where}: temperature unit {unit!r}; allowed: C, F or K")
    values, kept, missing, seen, broken = [], [], [], "", {}
    for i, (line, cell) in enumerate(zip(sheet.lines, sheet.column(index), strict=True)):
        if is_missing(cell):
            missing.append(line)
            continue
        read = parse_number(cell, sheet.decimal)
        if read is None:
            raise InputError(
                f"{sheet.where}: line {line}, {sheet.title(index)}: {show(cell)} is not a number; "
                "mend it or delete the line"
            )
        if not NEVER[0] <= read[0] <= NEVER[1]:
            broken[line] = read[0]
            continue
        values.append(read[0])
        kept.append(i)
        seen = seen or read[1]
    array = np.array(values)
    if len(broken) > array.size:
        line, value = next(iter(broken.items()))
        raise InputError(
            f"{sheet.where}: line {line}, {sheet.title(index)}: {value:g} and {len(broken) - 1} "
            "more like it are no temperatures (an open thermocouple?); more than half are none"
        )
    if array.size == 0:
        raise InputError(f"{sheet.where}: {sheet.title(index)}: no readings in it")
    notes = []
    if missing:
        listed = ", ".join(map(str, missing[:4])) + (", ..." if len(missing) > 4 else "")
        rows = "1 row" if len(missing) == 1 else f"{len(missing)} rows"
        notes.append(f"{rows} without a temperature left out (line {listed})")
    if broken:
        listed = ", ".join(map(str, list(broken)[:4])) + (", ..." if len(broken) > 4 else "")
        codes = ", ".join(f"{v:g}" for v in sorted(set(broken.values()))[:3])
        rows = "1 reading" if len(broken) == 1 else f"{len(broken)} readings"
        notes.append(f"{rows} of an open thermocouple ({codes}) left out as a gap (line {listed})")
    told, how = seen, "by its cells"
    if not told:
        told, how = _unit_by_name(sheet.header[index]), "by its name"
    if unit and told not in ("", unit):
        title = sheet.title(index)
        notes.append(f"{title}: {NAMES[told]} {how}, but read in {NAMES[unit]} as stated")
    found, how = (unit, "as stated") if unit else (told, how)
    if not found:
        found, how = _unit_by_range(array, sheet, index), "by its range"
    kelvins = {
        "C": array + ZERO_CELSIUS,
        "F": (array - 32.0) / 1.8 + ZERO_CELSIUS,
        "K": array,
    }[found]
    wrong = (kelvins < LEAST) | (kelvins > MOST)
    if wrong.any():
        row = int(np.argmax(wrong))
        raise InputError(
            f"{sheet.where}: line {sheet.lines[kept[row]]}, {sheet.title(index)}: {array[row]:g} "
            f"{NAMES[found]}; allowed: -60 to 2300 °C (an open thermocouple? delete the line)"
        )
    return kelvins, kept, f"{NAMES[found]} {how}", notes


def _unit_by_name(name: str) -> str:
    for unit, words in UNIT_WORDS.items():
        sign = rf"(?:°|º|[Dd]eg(?:rees)?\.?)[\s_]*{unit}\b|(?:^|[\s_.(\[]){unit}[)\]]?$"
        if re.search(sign, name.strip()) or re.search(words, name, re.IGNORECASE):
            return unit
    return ""


def _unit_by_range(values: Array, sheet: Sheet, index: int) -> str:
    low, high = float(np.quantile(values, 0.001)), float(np.quantile(values, 0.999))
    fitting = [u for u, (a, b, c, d) in RANGES.items() if a <= low <= b and c <= high <= d]
    if 20.0 <= low <= RANGES["F"][1] and ONLY_F < high <= RANGES["F"][3]:
        fitting = ["F"]
    elif fitting == ["F"]:  # or a kiln that was still warm, in °C
        fitting = ["C", "F"]
    last = values[-max(values.size // 20, 2) :]
    if fitting == ["K"] and float(np.ptp(last)) > AT_REST * (high - low):
        fitting = []
    if len(fitting) == 1:
        return fitting[0]
    raise InputError(
        f"{sheet.where}: {sheet.title(index)}: no unit given, and {low:.0f} to {high:.0f} "
        f"may be {' or '.join(NAMES[u] for u in fitting) or 'none of °C, °F, K from cold to hot'}; "
        "say which: C, F or K"
    )
