"""A finished text with °F and inches in the place of °C and mm, for reading.

Only what is shown is changed: files, tables and JSON stay as they are, and so does all that is
computed. A length or temperature is known by the unit after it, or by the unit in the heading of
its column. What is set on a controller stays in its own degrees.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection

from cofire.firing.program import Firing

INCH = 25.4
"""By definition. [mm]"""
_NUMBER = r"(?<![\w.])[-+]?\d+(?:\.\d+)?"
_JOINED = r"\s*(?:×|-|–|\bby\b|\bto\b|\band\b|\bor\b)\s*"
_LIST = rf"{_NUMBER}(?:{_JOINED}\d+(?:\.\d+)?)*"
MEASURE = re.compile(rf"( *)({_LIST})(\*?\s+)(°C/h|°C|mm|K)(?![\w/²³])( {{3,}})?")
ONE = re.compile(r"(?<![\d.])[-+]?\d+(?:\.\d+)?|\d+(?:\.\d+)?")
ROUND = re.compile(r"(⌀\s+)(\d+(?:\.\d+)?(?:,\s+\d+(?:\.\d+)?)+)(\s+)mm(?![\w/²³])")
"""Several diameters with one unit after the last, on one line or more."""
BOTH = re.compile(r"[-+]?\d+\s°C(?:/h)?\s\((-?\d+\s°F(?:/h)?)\)")
"""A temperature or a rate at a kiln that counts in °F, with those beside it (see `at_kiln` and
`rate_at_kiln`), also over the end of a line."""
HEADING = re.compile(r"(?<=[a-z] )mm(?= |$)")
CELL = re.compile(r"( +)(\d+\.\d+)$")
SHORT = {"°C": "°F", "°C/h": "°F/h", "mm": "in", "K": "°F"}


def _fahrenheit(value: float) -> float:
    return 32.0 + 1.8 * value


def _degrees(value: float) -> float:
    return 1.8 * value


def _inches(value: float) -> float:
    return value / INCH


TURNED: dict[str, tuple[Callable[[float], float], int]] = {
    "°C": (_fahrenheit, 0),
    "°C/h": (_degrees, 0),
    "K": (_degrees, 0),
    "mm": (_inches, 2),
}
"""Function and how many more decimals; K stands for differences alone."""


def imperial(text: str, kept: Collection[str] = ()) -> str:
    """A text with °F and inches in the place of °C and mm.

    Parameters
    ----------
    text : str
        Finished.
    kept : collection of str
        Parts of it that stay, however their lines are broken (see `as_set`).

    Returns
    -------
    str
        As many lines; a number takes spaces before it where it has grown.

    Examples
    --------
    >>> print(imperial("From 20 to 500 °C at 150 °C/h, 25 °C, 25.4 mm up"))
    From 68 to 932 °F at 270 °F/h, 77 °F, 1.000 in up
    >>> print(imperial("stopped with the kiln at 943 °C (1730 °F)"))
    stopped with the kiln at 1730 °F
    >>> print(imperial("the kiln to 979 °C (1795 °F) at 56 °C/h (100 °F/h)"))
    the kiln to 1795 °F at 100 °F/h
    >>> print(imperial("rings of ⌀ 11, 17, 25 mm"))
    rings of ⌀ 0.43, 0.67, 0.98 in
    >>> print(imperial("110.0 × 14.1 × 2.10 mm, at most 20 K apart"))
    4.331 × 0.555 × 0.0827 in, at most 36 °F apart
    """
    if kept:
        parts = "|".join(r"\s+".join(map(re.escape, part.split())) for part in kept)
        pieces = re.split(f"({parts})", text)
        pieces[::2] = map(imperial, pieces[::2])
        return "".join(pieces)
    return MEASURE.sub(_measure, ROUND.sub(_rounds, _columns(BOTH.sub(r"\1", text))))


def as_set(firing: Firing, *texts: str) -> tuple[str, ...]:
    """Of texts that tell what is set on a kiln, those that stay in any units of the rest.

    Parameters
    ----------
    firing : Firing
        Of which they tell, in the degrees of its kiln's controller.
    texts : str
        Finished.

    Returns
    -------
    tuple of str
        All where the kiln's file says of its controller; else none.
    """
    return texts if firing.kiln.controller.given else ()


class Exact(str):
    """A number as it is shown, with the number itself: other units are worked out from that.

    Parameters
    ----------
    value : float
        In the unit of the heading above it.
    places : int
        Decimals that are shown. [-]

    Examples
    --------
    >>> shown = Exact(28.447, 1)
    >>> shown, in_unit(shown, "mm"), in_unit("28.4", "mm")
    ('28.4', '1.120', '1.118')
    """

    value: float

    def __new__(cls, value: float, places: int) -> Exact:
        """The text of the number, which it keeps."""
        found = super().__new__(cls, f"{value:.{places}f}")
        found.value = value
        return found


def in_unit(number: str, unit: str) -> str:
    """A number of a column whose heading tells its unit.

    Parameters
    ----------
    number : str
        As written, `Exact` where more of it is known; what is no number stays.
    unit : str
        One of SHORT; a °C stands for a temperature, never for a difference.

    Returns
    -------
    str
        With the decimals that it needs.

    Examples
    --------
    >>> in_unit("840", "°C"), in_unit("46.2", "mm"), in_unit("full", "°C/h")
    ('1544', '1.819', 'full')
    """
    return _turned(number, unit) if ONE.fullmatch(number) else number


def _rounds(found: re.Match[str]) -> str:
    return found[1] + ONE.sub(lambda one: _turned(one[0], "mm"), found[2]) + found[3] + "in"


def _turned(number: str, unit: str) -> str:
    turn, more = TURNED[unit]
    places = len(number.partition(".")[2]) + more
    sign = "+" if number.startswith("+") else ""
    value = number.value if isinstance(number, Exact) else float(number)
    return f"{sign}{turn(value):.{places}f}"


def _measure(found: re.Match[str]) -> str:
    """One measure, or several joined ones, with its unit."""
    spaces, numbers, gap, unit, after = found.groups(default="")
    new = ONE.sub(lambda one: _turned(one[0], unit), numbers)
    spare = max(len(spaces) - 1, 0) if _in_table(found) else 0
    grown = len(new) - len(numbers) + len(SHORT[unit]) - len(unit)
    if grown < 0 and spare:
        spaces += " " * -grown
    else:
        before = min(max(grown, 0), spare)
        spaces, after = spaces[before:], after[max(grown, 0) - before :]
    return f"{spaces}{new}{gap}{SHORT[unit]}{after}"


def _in_table(found: re.Match[str]) -> bool:
    """Whether a measure stands in a column: not behind the indent of a line of words."""
    text, start = found.string, found.start()
    if start > 0 and text[start - 1] != "\n":
        return True
    line = text[start:].split("\n", 1)[0].strip()
    return re.search(r" {2,}", line) is not None


def _columns(text: str) -> str:
    """Columns whose heading ends in mm, down to the next blank line."""
    lines = text.split("\n")
    ends: list[int] = []
    for n, line in enumerate(lines):
        if not line.strip():
            ends = []
        elif not re.search(r"\d\.\d|\d\s*mm", line) and HEADING.search(line):
            ends = [found.end() for found in HEADING.finditer(line)]
            lines[n] = HEADING.sub("in", line)
        elif ends:
            lines[n] = _row(line, ends)
    return "\n".join(lines)


def _row(line: str, ends: list[int]) -> str:
    """A row of a table with its lengths in inches; a line that is none stays as it is."""
    cells = [CELL.search(line[:end]) for end in ends]
    follows = (line[end : end + 1] in ("", " ") for end in ends)
    if None in cells or not all(follows):
        return line
    for cell, end in zip(cells, ends, strict=True):
        assert cell is not None  # checked above
        new = _turned(cell[2], "mm").rjust(len(cell[0]))
        line = line[: cell.start()] + new + line[end:]
    return line
