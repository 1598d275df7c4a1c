"""Files that a person writes: read whole, every field checked, complaints with place and remedy."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import stat
import sys
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path, PurePath
from typing import Any, TypeAlias, TypeGuard, TypeVar

import numpy as np

from cofire.errors import LONGEST, InputError, UnknownName
from cofire.fields import SLOWEST, Field, Table
from cofire.numerics import Array
from cofire.units import HOUR, kelvin

# ----------------------------------------------------------------------------------------------
# Files that a person writes: read them, or say in one line what is wrong

LARGEST_FILE = 1_000_000
"""A card, kiln, firing or vessel larger than this is not one. [bytes]"""
HIDDEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]")
"""Characters that a terminal or a reader of text obeys instead of showing."""
_NAME = r"""(?:"[^"\n]*"|'[^'\n]*'|[^\s.,=\n"']+)"""
DEEP = re.compile(rf"(?:\.[ \t]*{_NAME}[ \t]*){{100}}")
"""A dotted name of a hundred parts: the TOML reader takes minutes over longer ones."""
DECIMAL = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?")
"""A number as a person or a program writes it."""


Place: TypeAlias = str | os.PathLike[str] | Traversable
"""Where a file or folder is, however it is given."""


FILE_OR_TABLE = "a name or a path, or a dict of what the file would hold"
"""How a thing that a file holds may be given."""


def located(
    place: Place, where: str = "path", allowed: str = "a text or a path"
) -> Traversable | Path:
    """The place as an object that can be opened.

    Parameters
    ----------
    place : str, path or Traversable
        A file or a folder.
    where : str
        What messages call it.
    allowed : str
        How it may be given.

    Raises
    ------
    InputError
        It is given as something else.
    """
    if isinstance(place, str | os.PathLike):
        return Path(place)
    if not isinstance(place, Traversable):
        raise InputError(f"{where}: {show(place)}; allowed: {allowed}")
    return place


def bundled_tables() -> Traversable:
    """Folder of the material tables shipped with cofire."""
    installed = resources.files("cofire").joinpath("material_tables")
    if installed.is_dir():
        return installed
    return Path(__file__).resolve().parents[1] / "material_tables"


def folded(name: str) -> str:
    """A name as it is compared: without case, underscores or doubled spaces.

    Parameters
    ----------
    name : str
        As written in a file or typed.

    Returns
    -------
    str
        Equal for names that mean the same.
    """
    return " ".join(name.replace("_", " ").split()).casefold()


def table_of(
    source: Place | Mapping[str, Any], where: str, allowed: str = FILE_OR_TABLE
) -> tuple[dict[str, Any], str, Path]:
    """A table as its file holds it, or as it is given, with its place and its folder.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or what it would hold; rows may be tuples or arrays.
    where : str
        What messages call a table that is given.
    allowed : str
        How it may be given, for the messages.

    Returns
    -------
    tuple of dict, str and Path
        The table, its place for the messages, and the folder of the files it names.

    Raises
    ------
    InputError
        As `read_toml`.
    """
    if isinstance(source, Mapping):
        try:
            table: dict[str, Any] = _on_one_line(_as_written(source), where)
        except RecursionError:
            raise InputError(f"{where}: nested too deeply to be a table") from None
        return table, where, Path()
    path = located(source, where, allowed)
    return read_toml(path), str(path), path.parent if isinstance(path, Path) else Path()


def seen_from(folder: Path, target: Path) -> str:
    """A path as a file in a folder names it.

    Parameters
    ----------
    folder : Path
        Of the file.
    target : Path
        What it names, seen from the working folder.

    Returns
    -------
    str
        With forward slashes; whole where the two lie on different drives.

    Examples
    --------
    >>> seen_from(Path("pots/plan"), Path("my_tables"))
    '../../my_tables'
    """
    try:
        return Path(os.path.relpath(target.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return target.resolve().as_posix()


def _as_written(value: Any) -> Any:
    """A value as a TOML reader would give it."""
    if isinstance(value, Mapping):
        return {str(key): _as_written(v) for key, v in value.items()}
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    if isinstance(value, PurePath):
        return str(value)
    return [_as_written(v) for v in value] if isinstance(value, list | tuple) else value


def refuse_endless(path: Path) -> None:
    """Nothing, of a regular file, of a folder and where there is nothing; all else is refused.

    Parameters
    ----------
    path : Path
        What is to be read or written.

    Raises
    ------
    InputError
        A pipe, which may never speak, or a device, which may never end.
    OSError
        It cannot be asked what it is.
    """
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        return
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise InputError(
            f"{shown_path(path)}: a pipe or a device; allowed: a regular file, save it as one first"
        )


ANOTHER = "give the output another name"
"""What to do where an output has the place of something else."""
_INPUTS: ContextVar[list[Path] | None] = ContextVar("inputs", default=None)
"""What a command was given and has read so far; nothing is kept outside of one."""


@contextmanager
def inputs_kept(given: Iterable[Path]) -> Iterator[None]:
    """Within, what was given to a command and every file that it reads is not to be replaced.

    What is read within another such block is of that one too.

    Parameters
    ----------
    given : iterable of Path
        Files and folders, before any is read.
    """
    if (kept := _INPUTS.get()) is not None:
        kept.extend(given)
        yield
        return
    before = _INPUTS.set(list(given))
    try:
        yield
    finally:
        _INPUTS.reset(before)


def inputs() -> list[Path]:
    """Files and folders that the command at work has been given or has read, where they exist."""
    return [path for path in dict.fromkeys(_INPUTS.get() or ()) if os.path.exists(path)]


def read_bytes(path: Place, most: int) -> bytes:
    """Bytes of a regular file, and never more than one beyond the most allowed.

    Parameters
    ----------
    path : str, path or Traversable
        The file.
    most : int
        The caller refuses what is larger. [bytes]

    Returns
    -------
    bytes
        All of it, or `most` + 1 of them.

    Raises
    ------
    InputError
        Missing, not readable, or no regular file: a pipe may never speak, a device never end.
    """
    path = located(path)
    where = shown_path(path)
    try:
        if isinstance(path, Path):
            refuse_endless(path)
            if (kept := _INPUTS.get()) is not None:
                kept.append(path)
        with path.open("rb") as stream:
            return stream.read(most + 1)
    except InputError:
        raise
    except IsADirectoryError:
        planned = path / "vessel.toml"
        name = shown_path(planned) if planned.is_file() else "a file in it"
        raise InputError(f"{where}: cannot be read (a folder); give {name}") from None
    except OSError as error:
        raise InputError(f"{where}: cannot be read ({error.strerror})") from None
    except ValueError:  # a null character in the name
        raise InputError(f"{where}: no name of a file") from None


def read_text(path: Place) -> str:
    """Text of a file that a person wrote, or one clear line why not.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    str
        Without a byte-order mark.

    Raises
    ------
    InputError
        Missing, too large, empty, or not UTF-8 text.
    """
    where = shown_path(path)
    raw = read_bytes(path, LARGEST_FILE)
    if len(raw) > LARGEST_FILE:
        raise InputError(
            f"{where}: over {LARGEST_FILE} bytes, more than any table holds. Is it the right file?"
        )
    if not raw.strip():
        raise InputError(f"{where}: the file is empty; copy a shipped one and change it")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(f"{where}: line {line}: not UTF-8 text; save the file as UTF-8") from None


def read_rows(path: Place, columns: Sequence[str]) -> Iterator[tuple[str, dict[str, str]]]:
    """Rows of a small table with a header: the place of each, and its cells by column.

    Parameters
    ----------
    path : path
        Comma-separated values.
    columns : sequence of str
        Those it needs; it may have others.

    Yields
    ------
    tuple
        "FILE: row N", counted as an editor does where no cell holds a line break, and the cells;
        rows without any are passed over.

    Raises
    ------
    InputError
        Not such a table, a column missing, or a row with fewer cells than columns.
    """
    try:
        table = list(csv.reader(io.StringIO(read_text(path))))
    except csv.Error as error:
        raise InputError(f"{path}: not a table of comma-separated values ({error})") from None
    header = [cell.strip() for cell in table[0]] if table else []
    if missing := [column for column in columns if column not in header]:
        listed = ", ".join(columns)
        raise InputError(f"{path}: row 1: no column {', '.join(missing)}; it needs {listed}")
    for number, cells in enumerate(table[1:], 2):
        if any(cell.strip() for cell in cells):
            row = dict(zip(header, map(str.strip, cells), strict=False))
            if absent := [column for column in columns if column not in row]:
                last = f"none for column {absent[0]}"
                raise InputError(f"{path}: row {number}: fewer cells than columns, {last}")
            yield f"{path}: row {number}", row


def number_in(text: str) -> float:
    """The finite number that a text is, else NaN.

    Written as any program reads it, in digits with a point: Python would take 1_000 for one too.

    Examples
    --------
    >>> number_in("-1.5e3"), number_in("1_000"), number_in("1e999")
    (-1500.0, nan, nan)
    """
    value = float(text) if DECIMAL.fullmatch(text) else math.nan
    return value if math.isfinite(value) else math.nan


def cell_number(row: Mapping[str, str], column: str, place: str) -> float:
    """The number in a cell of a row.

    Raises
    ------
    InputError
        With row and column, where it is none or not finite.
    """
    value = number_in(row[column])
    if math.isnan(value):
        raise InputError(f"{place}, column {column}: {show(row[column])} is not a number")
    return value


def read_toml(path: Place) -> dict[str, Any]:
    """Contents of a TOML file that a person wrote, or one clear line why not.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    dict
        Its tables; every text stands on one line, each run of white space as one space.

    Raises
    ------
    InputError
        As `read_text`, or not TOML, or with a hidden character in a text.
    """
    where = str(path)
    text = read_text(path)
    try:
        if DEEP.search(text):
            raise RecursionError
        table: dict[str, Any] = _on_one_line(tomllib.loads(text), where)
    except RecursionError:
        raise InputError(f"{where}: nested too deeply to be a table") from None
    except InputError:
        raise
    except ValueError as error:  # tomllib.TOMLDecodeError, or an integer of thousands of digits
        raise InputError(f"{where}: {_not_toml(str(error), text)}") from None
    return table


def read_json(text: str | bytes) -> Any:
    """What a text says in JSON, all of its numbers such as a computer can hold.

    Parameters
    ----------
    text : str or bytes
        One value.

    Returns
    -------
    any
        Dicts, lists, texts, numbers.

    Raises
    ------
    ValueError
        Not JSON, nested too deeply, or with a number beyond 1e308, NaN or Infinity.
    """

    def whole(digits: str) -> int:
        if not math.isfinite(float(digits)):
            raise ValueError(f"a number of {len(digits)} digits")
        return int(digits)

    def broken(digits: str) -> float:
        if not math.isfinite(float(digits)):
            raise ValueError(f"the number {digits[:20]}")
        return float(digits)

    def no_number(word: str) -> float:
        raise ValueError(f"{word}, which is no number")

    try:
        return json.loads(text, parse_int=whole, parse_float=broken, parse_constant=no_number)
    except RecursionError:
        raise ValueError("nested too deeply") from None


def _not_toml(complaint: str, text: str) -> str:
    """The complaint of the TOML reader, with the line it is about."""
    found = re.search(r" \(at line (\d+), column \d+\)", complaint)
    if found is None:
        return f"not TOML ({complaint[:100]})"
    line = text.split("\n")[int(found[1]) - 1].strip()
    where = f"line {found[1]}: {show(line)}"
    if re.fullmatch(r"[\w-]+\s*=\s*[+-]?\d+,\d+\s*(#.*)?", line):
        return f"{where}: a number has a decimal point, no comma"
    if re.match(r"Cannot (overwrite|declare|mutate)", complaint):
        return f"{where}: that name stands above already, as a line or as a table; keep one of them"
    return f"{where} is not TOML: {complaint[: found.start()][:100]}"


def _on_one_line(value: Any, place: str) -> Any:
    """The same value with every text in it on one line."""
    if isinstance(value, str):
        text = " ".join(value.split())
        if found := HIDDEN.search(text):
            raise InputError(
                f"{place}: {show(value)} holds the hidden character U+{ord(found[0]):04X}; "
                "allowed: characters that can be seen"
            )
        return text
    if isinstance(value, dict):
        return {
            _on_one_line(k, f"{place}: a field's name"): _on_one_line(v, f"{place}: {k}")
            for k, v in value.items()
        }
    return [_on_one_line(v, place) for v in value] if isinstance(value, list) else value


def shown_path(path: object) -> str:
    """A path as an error message shows it: whole, unless it is too long for one line."""
    text = str(path)
    return text if len(text) <= 160 else f"{text[:60]}...{text[-60:]}"


def show(value: object, most: int = 60) -> str:
    """A value as an error message shows it: short, on one line; what is not there is missing."""
    if value is None:
        return "missing"
    try:
        text = " ".join(repr(value).split())
    except (ValueError, RecursionError):  # a number of thousands of digits; lists in lists
        return "an unreadable value"
    return text if len(text) <= most else text[: most - 3] + "..."


def unquoted(value: object) -> str:
    """How a number is written, where a text stands in its place; else nothing.

    Examples
    --------
    >>> unquoted("2,2"), unquoted(2.2)
    (', a number with a point and without quotes or a unit', '')
    """
    return ", a number with a point and without quotes or a unit" if isinstance(value, str) else ""


def first_of(problems: Sequence[str]) -> str:
    """The first of several complaints, and how many more there are, on one line."""
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    room = LONGEST - len(more)
    first = problems[0]
    return (first if len(first) <= room else f"{first[: room - 4]} ...") + more


def is_number(value: object) -> TypeGuard[float]:
    """Whether it is a finite number, of Python or numpy (a truth value is none)."""
    plain = value.item() if isinstance(value, np.generic) else value
    return (
        isinstance(plain, int | float)
        and not isinstance(plain, bool)
        and abs(plain) <= sys.float_info.max
    )


# ----------------------------------------------------------------------------------------------
# Checked fields of one table of a file, with the place in every complaint

T = TypeVar("T")

LONGEST_NAME = 80


class Fields:
    """Reads checked fields of one TOML table and names the place of each complaint.

    Where the fields known are given as a table of `cofire.fields`, bounds, words and defaults are
    taken from there.
    """

    def __init__(self, table: object, where: str, known: Iterable[str] | Table) -> None:
        self.spec: Table = {}
        if isinstance(known, Mapping):
            self.spec = {key: one for key, one in known.items() if isinstance(one, Field)}
        known = tuple(known)
        if not isinstance(table, dict):
            raise InputError(f"{where}: {show(table)}; give a table with {', '.join(known)}")
        self.table: dict[str, Any] = table
        self.where = where
        for key in table:
            if key not in known:
                raise UnknownName("field", key, known, where)

    def refuse(self, key: str, value: object, allowed: str) -> InputError:
        """The complaint about one field."""
        return self.complain(key, value, f"; allowed: {allowed}")

    def complain(self, key: str, value: object, rest: str) -> InputError:
        """A field, its value and what is said of it; where a line is short the value gives way.

        A list of what is allowed that fits no line is cut at its end.
        """
        place, least = f"{self.where}: {key}", 20
        room = LONGEST - len(f"cofire: {place} = ") - least
        if len(rest) > room:
            rest = f"{rest[: max(room, 60) - 4]} ..."
        if value is None:
            return InputError(f"{place} is missing{rest}")
        room = LONGEST - len(f"{place} = {rest}")
        return InputError(f"{place} = {show(value, min(max(room, least), 60))}{rest}")

    def number(
        self,
        key: str,
        least: float | None = None,
        most: float | None = None,
        default: float | None = None,
    ) -> float:
        """A number between two bounds."""
        known = self.spec.get(key) or Field("")
        least = known.least if least is None else least
        most = known.most if most is None else most
        value = self.table.get(key, known.default if default is None else default)
        if not is_number(value) or not least <= float(value) <= most:
            raise self.refuse(key, value, f"{least:g} to {most:g}{unquoted(value)}")
        return float(value)

    def numbers(self, key: str, least: float, most: float, unit: str = "") -> Array:
        """One number, or a list of them, each between two bounds."""
        value = self.table.get(key)
        listed = value if isinstance(value, list) else [value]
        allowed = f"{least:g} to {most:g} {unit}".rstrip()
        if not listed:
            raise self.refuse(key, value, f"one number or more, {allowed}")
        for row, item in enumerate(listed, 1):
            if not is_number(item) or not least <= float(item) <= most:
                place = f"{key} row {row}" if isinstance(value, list) else key
                raise self.refuse(place, item, allowed + unquoted(item))
        return np.array(listed, dtype=np.float64)

    def rising(self, key: str, least: float, most: float) -> Array:
        """A list of numbers, each above the one before."""
        values = self.numbers(key, least, most)
        falls = np.flatnonzero(np.diff(values) <= 0.0)
        if falls.size:
            row = int(falls[0]) + 2
            raise InputError(
                f"{self.where}: {key} row {row}: {values[row - 1]:g} is not above the row before "
                f"({values[row - 2]:g}); sort the rows"
            )
        return values

    def per_row(self, key: str, rows: int, read: Callable[[str, object], T]) -> tuple[T, ...]:
        """A field given once for all rows, or as a list with one entry a row."""
        value = self.table.get(key)
        if not isinstance(value, list):
            return (read(key, value),) * rows
        if len(value) != rows:
            raise InputError(f"{self.where}: {key} has {len(value)} entries for {rows} rows")
        return tuple(read(f"{key} row {row}", item) for row, item in enumerate(value, 1))

    def text(self, key: str, default: str | None = None) -> str:
        """A text, not blank unless it may be left out."""
        if default is None and key in self.spec:
            usual = self.spec[key].default
            default = usual if isinstance(usual, str) else None
        value = self.table.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise self.refuse(key, value, "a text")
        return value

    def name(self, key: str = "name", default: str | None = None) -> str:
        """A text short enough for a table and a figure."""
        value = self.text(key, default)
        if len(value) > LONGEST_NAME:
            raise self.refuse(key, value, f"1 to {LONGEST_NAME} characters, not {len(value)}")
        return value

    def choice(
        self, key: str, choices: Sequence[str] | None = None, default: str | None = None
    ) -> str:
        """One of a few words."""
        known = self.spec.get(key) or Field("")
        choices = known.words if choices is None else choices
        value = self.table.get(key, known.default if default is None else default)
        if value not in choices:
            raise self.refuse(key, value, " or ".join(repr(c) for c in choices))
        return str(value)

    def rows(self, key: str, known: Table) -> tuple[Array, Array]:
        """Rates over temperature, in K and K/s; only the first row's rate may be 0."""
        table = Fields(self.table.get(key), f"{self.where}: [{key}]", known)
        allowed, most = known["temperature_C"], known["rate_C_per_h"].most
        temperature = table.rising("temperature_C", allowed.least, allowed.most)
        rate = table.numbers("rate_C_per_h", 0.0, most)
        if len(temperature) != len(rate) or len(rate) < 2:
            raise InputError(
                f"{table.where}: {len(temperature)} temperatures for {len(rate)} rates; "
                "allowed: as many of either, 2 or more"
            )
        slow = np.flatnonzero(rate[1:] < SLOWEST)
        if slow.size:
            row = int(slow[0]) + 2
            raise table.refuse(
                f"rate_C_per_h row {row}", float(rate[row - 1]), f"{SLOWEST:g} to {most:g}"
            )
        return kelvin(temperature), rate / HOUR
