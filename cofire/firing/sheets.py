"""Tables of numbers as instruments write them: encoding, delimiter, decimal mark, header lines."""

from __future__ import annotations

import csv
import io
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from cofire.errors import InputError
from cofire.files import Place, read_bytes, show, shown_path

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
