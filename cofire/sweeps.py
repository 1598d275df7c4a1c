"""A table of cases in, a table of verdicts out: appended as it goes, taken up again after a stop.

Each row of the table is one case: a vessel file, and what is changed about it. Verdicts are written
in the order of the rows, so what is written is always the beginning of the whole table. Each line
carries a mark of all that went into it; a run that finds lines with the right marks goes on after
them, and one that finds others says so and stops. The lines do not depend on who works.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from cofire import __version__
from cofire.assessment.rule import UNKNOWN
from cofire.cases import TOLD, Case, evaluate, needed, told, with_hold, with_peak, with_wall
from cofire.design.partner import renamed
from cofire.design.starting import started
from cofire.design.transition import zones
from cofire.errors import CofireError, InputError, UnknownName
from cofire.files import (
    ANOTHER,
    cell_number,
    inputs_kept,
    refuse_endless,
    show,
    shown_path,
)
from cofire.given import cards_for
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.shell_march import made_ready
from cofire.physics.blends import find_material
from cofire.report.writing import check_targets, write_file
from cofire.units import MINUTE, kelvin
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from cofire.workers import each

TOGETHER = 4
"""Rows of one job: what a kill may lose, a worker. [-]"""
NUMBERS = ("peak_C", "hold_min", "wall_mm", "sample")
GIVEN = ("vessel", "firing", *NUMBERS[:3], "metal", "ceramic", "sample", "label")
"""Columns that a table may have; only the first is needed."""
FILES = ("vessel", "firing", "metal", "ceramic")
FOUND = (*TOLD, "inputs")
"""Columns that are added."""
LONGEST_HEADER = 1000
"""No sweep writes a longer one. [bytes]"""

Row = dict[str, str]


@dataclass(frozen=True)
class Swept:
    """What a sweep has done.

    Attributes
    ----------
    rows
        Of the table. [-]
    before
        That were there already. [-]
    words
        How many came out as go, caution, no or unknown, those of before included.
    """

    rows: int
    before: int
    words: Mapping[str, int]


def sweep_table(
    table: Path,
    out: Path,
    *,
    parquet: Path | None = None,
    cards: Mapping[str, Card] | None = None,
    tables: Iterable[Path] = (),
    seed: int = 0,
    extend: bool = False,
    quick: bool = False,
    anew: bool = False,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Swept:
    """Verdicts on every row of a table, appended to a file as they are found.

    Parameters
    ----------
    table : Path
        CSV with the columns `GIVEN`. Files are looked for beside the table. `metal` and `ceramic`
        stand in place of the vessel's own; `sample`, a number from 1, draws every uncertain
        property of the cards anew, empty or 0 takes them as they stand.
    out : Path
        CSV of the same columns and `FOUND`. If it is there it is gone on with.
    parquet : Path, optional
        The same as Parquet, once all rows are done. Verdicts of an earlier sweep are replaced,
        anything else only with `anew`.
    cards : mapping, optional
        Materials by name, used alone; by default the shipped ones and each vessel's own.
    tables : iterable of Path
        Folders of material tables beside those that a vessel's file names.
    seed : int
        Of the samples: sample 7 of the same seed is the same in any table.
    extend : bool
        Hold tables' last values beyond their rows.
    quick : bool
        Let the shell decide, in a tenth of the time.
    anew : bool
        Begin at the first row, whatever verdicts `out` holds.
    executor : Executor, optional
        Who works (see `cofire.workers`).
    progress : callable, optional
        Is told how many rows are done, of how many.

    Returns
    -------
    Swept
        Counts.

    Raises
    ------
    InputError
        A table that cannot be read, an `out` that comes from other inputs or is in use, or an
        output in the place of a file that is read or that no sweep has made.
    """
    columns, count, named = _looked_at(table)
    asked = _Asked(table.parent, columns, cards, tables, seed, extend, quick)
    with inputs_kept((table, *asked.tables)):
        for names in named:  # all files that any row reads are known before one is written
            with suppress(CofireError):  # which that row will say
                asked.read(*names)
        check_targets([out, parquet], force=True)
    if parquet is not None:
        _check_parquet(parquet, anew)
    if quick and executor is not None:
        made_ready(executor)
    with _locked(out) as stream:
        words = _taken_up(stream, out, asked, table, anew)
        before = done = sum(words.values())
        rows = islice(_rows(table), before, None)
        some = iter(lambda: list(islice(rows, TOGETHER)), [])
        jobs = (list(map(asked.job, few)) for few in some)
        if progress:
            progress(done, count)
        for lines in each(_lines, jobs, executor):
            stream.write("".join(text for _, text in lines).encode())
            stream.flush()
            words.update(word for word, _ in lines)
            done += len(lines)
            if progress:
                progress(done, count)
    if parquet is not None:
        as_parquet(out, parquet)
    return Swept(count, before, dict(words))


def _arrow() -> Any:
    """What reads CSV and writes Parquet, or how to get it."""
    try:
        import pyarrow.csv
        import pyarrow.parquet
    except ImportError:
        raise InputError("Parquet needs pyarrow: pip install 'cofire[cluster]'") from None
    return pyarrow


def _of_a_sweep(columns: Collection[str]) -> bool:
    """Whether a file with these columns holds verdicts, of this sweep or another."""
    return {"vessel", FOUND[0], FOUND[-1]} <= set(columns)


def _check_parquet(target: Path, anew: bool) -> None:
    """Refuse to replace what no sweep has made, unless told to."""
    arrow = _arrow()
    if anew or not target.is_file():
        return
    try:
        columns = arrow.parquet.read_schema(target).names
    except (OSError, ValueError):  # none, or a broken one
        columns = ()
    if not _of_a_sweep(columns):
        raise InputError(
            f"{shown_path(target)}: exists, and holds no verdicts of a sweep; give --force to "
            "replace it and begin anew, or another name"
        )


def as_parquet(out: Path, target: Path) -> None:
    """Write a finished table of verdicts as Parquet, numbers as numbers.

    Parameters
    ----------
    out : Path
        From `sweep_table`.
    target : Path
        Replaced.

    Raises
    ------
    InputError
        pyarrow is not installed, or the target is `out` itself or cannot be written.
    """
    arrow = _arrow()
    check_targets([out, target], force=True)
    numbers = (*NUMBERS, "utilisation", "crack_probability")
    kinds = {
        name: arrow.float64() if name in numbers else arrow.string() for name in (*GIVEN, *FOUND)
    }
    options = arrow.csv.ConvertOptions(
        column_types=kinds,
        strings_can_be_null=True,
        null_values=[""],  # "NA" is a label
    )
    found = arrow.csv.read_csv(out, convert_options=options)
    write_file(target, lambda stream: arrow.parquet.write_table(found, stream), force=True)


# ----------------------------------------------------------------------------------------------
# The table of cases


def _rows(table: Path) -> Iterator[Row]:
    """Rows of a table, its cells without space around them."""
    with table.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.DictReader(file, restval="")
        for number, row in enumerate(reader, 1):
            if None in row:
                raise InputError(f"{shown_path(table)}: row {number} has more cells than columns")
            yield {name.strip(): (cell or "").strip() for name, cell in row.items() if name}


def _looked_at(table: Path) -> tuple[tuple[str, ...], int, set[tuple[str, str]]]:
    """Columns and number of rows of a table, and all pairs of vessel and firing in them."""
    where = shown_path(table)
    try:
        refuse_endless(table)
        with table.open(encoding="utf-8-sig", newline="") as file:
            columns = tuple(name.strip() for name in next(csv.reader(file), []))
        for name in columns:
            if name not in GIVEN:
                raise UnknownName("column", name, GIVEN, where)
        if "vessel" not in columns or len(set(columns)) < len(columns):
            raise InputError(f"{where}: needs a column 'vessel', and each column once")
        count, named = 0, set[tuple[str, str]]()
        for count, row in enumerate(_rows(table), 1):
            named.add((row["vessel"], row.get("firing", "")))
            place = f"{where}: row {count}"
            if not row["vessel"]:
                raise InputError(f"{place}: vessel is empty; a file name is needed")
            for name, cell in row.items():
                if "\n" in cell or "\r" in cell:
                    raise InputError(f"{place}: {name} has a line break; allowed: one line")
                if name in NUMBERS and cell:
                    _check_number(row, name, place)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{where}: cannot be read ({reason})") from None
    if count == 0:
        raise InputError(f"{where}: has no rows")
    return columns, count, named


def _check_number(row: Row, name: str, place: str) -> None:
    value = cell_number(row, name, place)
    if name == "sample" and not (value >= 0.0 and value.is_integer()):
        allowed = "a whole number, 0 or more"
        raise InputError(f"{place}, column {name}: {show(row[name])}; allowed: {allowed}")


@dataclass(frozen=True)
class _Job:
    """One row with all that its verdict needs, or why it has none."""

    cells: tuple[str, ...]
    mark: str
    case: Case | None
    why: str = ""


class _Asked:
    """What is common to all rows of a sweep, and what the files beside its table hold."""

    def __init__(
        self, folder: Path, columns: Sequence[str], cards: Mapping[str, Card] | None,
        tables: Iterable[Path], seed: int, extend: bool, quick: bool,
    ) -> None:  # fmt: skip
        self.folder, self.columns, self.given, self.tables = folder, columns, cards, tuple(tables)
        self.seed, self.extend, self.quick = seed, extend, quick
        self.common = mark_of((__version__, seed, extend, quick))
        self.cards = lru_cache(maxsize=64)(self._cards)
        self.vessel = lru_cache(maxsize=64)(self._vessel)
        self.content = lru_cache(maxsize=None)(self._content)

    def _cards(self, tables: tuple[Path, ...]) -> tuple[dict[str, Card], str]:
        """Materials by name that vessels of some tables are judged by, and their mark."""
        cards = dict(cards_for(tables, self.given))
        return cards, mark_of(sorted(cards.items()))

    def _content(self, *texts: str) -> str:
        """Of a vessel and its cards as their files have them, or of why there is none."""
        try:
            vessel = self.vessel(*texts)
            return mark_of((replace(vessel, tables=()), self.cards(vessel.tables)[1]))
        except CofireError as error:
            return mark_of(str(error))

    def mark(self, row: Row) -> str:
        """Of all that goes into a row's verdict."""
        content = self.content(*(row.get(name, "") for name in FILES))
        return mark_of((self.common, content, sorted(row.items())))

    def read(self, name: str, firing: str) -> Vessel:
        """The vessel of a row as its files have it, and its cards."""
        own = self.folder / firing if firing else None
        vessel = read_vessel(self.folder / name, firing=own, tables=self.tables)
        self.cards(vessel.tables)
        return vessel

    def _vessel(self, name: str, firing: str, metal: str, ceramic: str) -> Vessel:
        vessel = self.read(name, firing)
        cards, _ = self.cards(vessel.tables)
        if not (metal or ceramic):
            return started(vessel, cards, self.extend)
        for new, old in zip((metal, ceramic), zones(vessel, cards)[:2], strict=True):
            if new:
                find_material(new, cards)
                bands = tuple(
                    replace(band, material=renamed(band.material, old.name, new))
                    for band in vessel.bands
                )
                vessel = replace(vessel, bands=bands)
        return started(vessel, cards, self.extend)

    def job(self, row: Row) -> _Job:
        cells = tuple(row[name] for name in self.columns)
        try:
            return _Job(cells, self.mark(row), self.case(row))
        except CofireError as error:
            return _Job(cells, self.mark(row), None, str(error))

    def case(self, row: Row) -> Case:
        vessel = self.vessel(*(row.get(name, "") for name in FILES))
        firing = vessel.firing
        if cell := row.get("peak_C"):
            firing = with_peak(firing, kelvin(float(cell)))
        if cell := row.get("hold_min"):
            firing = with_hold(firing, float(cell) * MINUTE)
        if cell := row.get("wall_mm"):
            vessel = with_wall(vessel, float(cell) / 1e3)
        vessel = replace(vessel, firing=firing)
        deviates: dict[tuple[str, str], float] = {}
        known, _ = self.cards(vessel.tables)
        if number := int(float(row.get("sample") or 0)):
            deviates = drawn(needed(vessel, known), number, self.seed)
        shipped_alone = self.given is None and not vessel.tables  # which any worker has
        cards = None if shipped_alone else needed(vessel, known)
        return Case(vessel, cards=cards, deviates=deviates, extend=self.extend, quick=self.quick)


def drawn(cards: Mapping[str, Card], number: int, seed: int = 0) -> dict[tuple[str, str], float]:
    """How far each uncertain property lies from its card's value in one sample. [-]

    Parameters
    ----------
    cards : mapping
        Metals, ceramics and blends by name.
    number : int
        Of the sample, from 1. [-]
    seed : int
        Of all samples.

    Returns
    -------
    dict
        Standard normal, drawn anew beyond `REACH`, each property on its own; the same for a
        property whatever other cards there are.
    """
    from cofire.assessment.draws import REACH, factors_of

    found = {}
    for factor in factors_of(list(pure_cards(cards.values()).values())):
        key = int(mark_of((factor.material, factor.name)), 16)
        random = np.random.default_rng([seed, number, key])
        value = random.standard_normal()
        while abs(value) > REACH:
            value = random.standard_normal()
        found[factor.material, factor.name] = float(value)
    return found


def mark_of(value: object) -> str:
    """Sixteen hexadecimal digits that stand for a value, the same in any process.

    Parameters
    ----------
    value : object
        Made of dataclasses, arrays, tuples, lists, dicts, texts and numbers.
    """
    digest = hashlib.blake2b(digest_size=8)
    todo: list[object] = [value]
    while todo:
        one = todo.pop()
        if isinstance(one, np.ndarray):
            digest.update(f"array {one.shape} ".encode() + np.ascontiguousarray(one).tobytes())
        elif isinstance(one, Mapping):
            digest.update(f"mapping {len(one)} ".encode())
            todo += [part for pair in one.items() for part in pair]
        elif isinstance(one, tuple | list):
            digest.update(f"several {len(one)} ".encode())
            todo += one
        elif is_dataclass(one):
            digest.update(f"{type(one).__name__} ".encode())
            todo += [getattr(one, f.name) for f in fields(one)]
        else:
            digest.update(f"{one!r} ".encode())
    return digest.hexdigest()


# ----------------------------------------------------------------------------------------------
# The table of verdicts


def _lines(jobs: Iterable[_Job]) -> list[tuple[str, str]]:
    """Word and line of each row, from anywhere."""
    found = []
    for job in jobs:
        answer = _answer(job)
        found.append((answer[0], _line([*job.cells, *answer, job.mark])))
    return found


def _answer(job: _Job) -> tuple[str, ...]:
    """Cells of `FOUND` without the mark."""
    why = job.why
    if job.case is not None:
        try:
            verdict = evaluate(job.case)
        except CofireError as error:
            why = str(error)
        else:
            return tuple(_cell(value) for value in told(verdict))
    return UNKNOWN, *[""] * (len(TOLD) - 2), _cell(why)


def _cell(value: str | float) -> str:
    """A text on one line, a number in full, nothing for what is not a number."""
    if isinstance(value, str):
        return " ".join(value.split())
    return "" if np.isnan(value) else repr(float(value))


def _line(cells: Iterable[str]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue()


_HELD: set[int] = set()
"""Descriptors of files that this process has locked."""


def _let_go() -> None:
    """In a worker that was forked off: a lock stays for as long as any copy of it is open."""
    while _HELD:
        os.close(_HELD.pop())


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_let_go)


@contextmanager
def _locked(out: Path) -> Iterator[BinaryIO]:
    """The file of verdicts, open for one sweep alone where the system can say so."""
    where = shown_path(out)
    try:
        refuse_endless(out)
        stream = out.open("a+b")
    except OSError as error:
        raise InputError(f"{where}: cannot be written ({error.strerror})") from None
    with stream:
        lock = None
        try:
            import fcntl

            # a descriptor of its own, which workers can close and the stream cannot miss
            lock = os.open(out, os.O_RDWR)
            _HELD.add(lock)
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:  # no such locks on this system
            pass
        except OSError:
            _HELD.discard(lock or -1)
            if lock is not None:
                os.close(lock)
            raise InputError(f"{where}: another sweep is writing it") from None
        try:
            yield stream
        finally:
            if lock is not None:
                _HELD.discard(lock)
                os.close(lock)


def _taken_up(stream: BinaryIO, out: Path, asked: _Asked, table: Path, anew: bool) -> Counter[str]:
    """How many verdicts of each word stand in the file; a half-written last line is cut off."""
    where, names = shown_path(out), [*asked.columns, *FOUND]
    header = _line(names).encode()
    words: Counter[str] = Counter()
    stream.seek(0)
    first = stream.readline(LONGEST_HEADER)
    half = not first.endswith(b"\n") and header.startswith(first)
    if not half and not _of_a_sweep(first.decode(errors="replace").strip().split(",")):
        raise InputError(f"{where}: exists, and holds no verdicts of a sweep; {ANOTHER}")
    if half or anew:
        stream.truncate(0)
        stream.write(header)
        return words
    if first != header:
        raise InputError(f"{where}: has other columns than this sweep; --force begins anew")
    kept, place = len(first), names.index("verdict")
    rows = _rows(table)
    for number, line in enumerate(stream, 1):
        if not line.endswith(b"\n"):
            break
        cells, row = _cells(line), next(rows, None)
        if row is None or len(cells) != len(names) or cells[-1] != asked.mark(row):
            raise InputError(
                f"{where}: row {number} comes from other inputs than this sweep's; "
                "--force begins anew"
            )
        words[cells[place]] += 1
        kept += len(line)
    stream.truncate(kept)
    return words


def _cells(line: bytes) -> list[str]:
    """Cells of one line; none of a line that no sweep has written."""
    try:
        return next(csv.reader([line.decode()]), [])
    except (UnicodeDecodeError, csv.Error):
        return []
