"""The record of a workshop: the file that holds it, and its text, tables and figure.

Format 1: one JSON object a line, UTF-8, each line ended by a new line. Besides the fields of
`cofire.evidence.record` every entry has "record" (the format, 1), "written" (time, UTC) and,
last, "check": the number of bytes before it and their CRC-32 in hexadecimal, as
`"check":"152-9ae3f06b"`. The bytes are those from the opening brace to the last one before
`,"check"`. Any editor shows it, and
`pandas.read_json(path, lines=True)` reads it.

An entry is acknowledged (the call returns) only once it is on the disk. Entries are added by one
write at the end of the file under a lock of the whole file, and synced together: give many at once
to `append_many` where a sync for each would be slow. A writer that died in the midst leaves a torn
last line; the next writer moves it to a file beside, with ".torn" at its end, and goes on. Nothing
is deleted, and what was acknowledged is never touched.

The lock is `flock` on POSIX, released when a process dies, also by SIGKILL; on network file
systems it is as good as the server's. On Windows it is a byte-range lock far beyond the end of the
file (not tried there). Where neither exists, or the file system refuses, only one process may
write at a time: then nothing warns.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cofire.assessment.rule import VERDICTS
from cofire.errors import InputError
from cofire.evidence.record import (
    FIRING,
    KINDS,
    OUTCOME,
    OUTCOMES,
    PREDICTION,
    TOO_FEW,
    Comparison,
    Entry,
    of_piece,
)
from cofire.files import is_number, read_json, refuse_endless, show, shown_path
from cofire.report.figures import FIRST, LIMIT, SECOND, literal, settle
from cofire.report.verdict import number
from cofire.report.writing import table_text, wrapped
from cofire.units import counted

if TYPE_CHECKING:
    from matplotlib.figure import Figure


# ----------------------------------------------------------------------------------------------
# The record of a workshop: a text file that only grows, and that no crash or writer harms

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

FORMAT = 1
MARK = b',"check":"'
START = b'{"record":'
TORN = ".torn"
LARGEST_LINE = 1_000_000
"""An entry is never larger. [bytes]"""
_FAR = 1 << 40


@dataclass(frozen=True)
class Kept:
    """A record as it was read.

    Attributes
    ----------
    entries
        In order.
    changed
        Numbers of lines that were changed after they were written, or harmed; left out.
    torn
        Bytes of a torn last line. [-]
    """

    entries: tuple[dict[str, Any], ...]
    changed: tuple[int, ...]
    torn: int


def encoded(entry: Mapping[str, Any], now: datetime | None = None) -> bytes:
    """An entry as its line in the file.

    Parameters
    ----------
    entry : mapping
        Of one of KINDS.
    now : datetime, optional
        When it is written.

    Returns
    -------
    bytes
        Ends in a new line.

    Raises
    ------
    InputError
        No entry of the record, one that is too large, or one that holds what JSON cannot.
    """
    if entry.get("kind") not in KINDS:
        raise InputError(f"entry: kind = {show(entry.get('kind'))}; allowed: {', '.join(KINDS)}")
    stamp = (now or datetime.now(UTC)).isoformat(timespec="seconds")
    own = {
        name: value for name, value in entry.items() if name not in ("record", "written", "check")
    }
    first = {"record": FORMAT, "written": stamp, "kind": entry["kind"], "piece": entry.get("piece")}
    whole = first | own
    try:
        text = json.dumps(whole, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        body = text.encode()[:-1]
    except (TypeError, ValueError) as error:
        raise InputError(f"entry: cannot be written as JSON ({error})") from None
    if len(body) > LARGEST_LINE:
        raise InputError(f"entry: {len(body)} bytes; allowed: up to {LARGEST_LINE}")
    return body + MARK + f'{len(body)}-{zlib.crc32(body):08x}"}}\n'.encode()


def decoded(line: bytes) -> dict[str, Any] | None:
    """The entry in a line, or None where it is not as it was written.

    Parameters
    ----------
    line : bytes
        Without its new line.

    Returns
    -------
    dict or None
        With all its fields.
    """
    body, mark, check = line.rpartition(MARK)
    if not mark or check != f'{len(body)}-{zlib.crc32(body):08x}"}}'.encode():
        return None
    try:
        entry = read_json(line)
    except ValueError:
        return None
    return entry if isinstance(entry, dict) and entry.get("kind") in KINDS else None


def append_many(path: str | os.PathLike[str], entries: Sequence[Mapping[str, Any]]) -> None:
    """Add entries to a record; returns once all of them are on the disk.

    Parameters
    ----------
    path : path
        The record; made where there is none. A link stays, what it points to is written.
    entries : sequence of mapping
        In order; they stand together, whoever else writes.

    Raises
    ------
    InputError
        A wrong entry, or a file that cannot be written; then none is added.
    """
    path, lines = Path(path), b"".join(encoded(entry) for entry in entries)
    if not lines:
        return
    try:
        refuse_endless(path)
        new = not path.exists()
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
        handle = os.open(path, flags, 0o666)
        try:
            with _locked(handle, shared=False):
                _add(handle, path, lines)
        finally:
            os.close(handle)
        if new:
            _sync_folder(path)
    except OSError as error:
        raise InputError(f"{shown_path(path)}: cannot be written ({error.strerror})") from None


def read_record(path: str | os.PathLike[str]) -> Kept:
    """All entries of a record.

    Parameters
    ----------
    path : path
        The file. It is not changed.

    Returns
    -------
    Kept
        Entries, and the lines that are not as they were written.

    Raises
    ------
    InputError
        It cannot be read, or is of a later format.
    """
    path = Path(path)
    try:
        refuse_endless(path)
        with path.open("rb") as stream, _locked(stream.fileno(), shared=True):
            raw = stream.read()
    except OSError as error:
        raise InputError(f"{shown_path(path)}: cannot be read ({error.strerror})") from None
    _refuse_other(raw[: len(START)], path)
    *lines, tail = raw.split(b"\n")
    if tail and decoded(tail) is not None:  # only its new line is missing
        lines, tail = [*lines, tail], b""
    entries, changed = [], []
    for row, line in enumerate(lines, 1):
        entry = decoded(line)
        if entry is not None:
            if entry.get("record") != FORMAT:
                raise InputError(
                    f"{path}: line {row}: record = {entry.get('record')!r}; allowed: {FORMAT}. "
                    "A later cofire wrote it"
                )
            entries.append(entry)
        elif line.strip():
            changed.append(row)
    return Kept(tuple(entries), tuple(changed), len(tail))


def _add(handle: int, path: Path, lines: bytes) -> None:
    """Write at the end, all or nothing, and wait for the disk."""
    end = _mended(handle, path)
    try:
        whole = os.write(handle, lines) == len(lines)
    except OSError:
        os.ftruncate(handle, end)
        raise
    if not whole:
        os.ftruncate(handle, end)
        raise InputError(
            f"{shown_path(path)}: cannot be written whole (is the disk full?); nothing was added"
        )
    os.fsync(handle)


def _mended(handle: int, path: Path) -> int:
    """Size of the file once its last line is whole: a torn one is moved aside. [bytes]"""
    size = os.lseek(handle, 0, os.SEEK_END)
    os.lseek(handle, 0, os.SEEK_SET)
    _refuse_other(_read(handle, len(START)), path)
    start, tail = size, b""
    while start > 0 and b"\n" not in tail:
        step = min(start, 65536)
        start -= step
        os.lseek(handle, start, os.SEEK_SET)
        tail = _read(handle, step) + tail
    tail = tail.rpartition(b"\n")[2]
    if not tail:
        return size
    if decoded(tail) is not None:
        os.write(handle, b"\n")
        return size + 1
    aside = path.with_name(path.name + TORN)
    with aside.open("ab") as stream:
        stream.write(tail + b"\n")
        stream.flush()
        os.fsync(stream.fileno())
    _sync_folder(aside)
    os.ftruncate(handle, size - len(tail))
    return size - len(tail)


def _refuse_other(start: bytes, path: Path) -> None:
    """Refuse a file that is no record: it must not be mended."""
    if not START.startswith(start):
        raise InputError(
            f"{path}: not a record of cofire: it does not begin with {START.decode()}; give "
            "another name"
        )


def _read(handle: int, count: int) -> bytes:
    """So many bytes from where the file stands."""
    parts = []
    while count > 0 and (part := os.read(handle, count)):
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


def _sync_folder(path: Path) -> None:
    """Wait until the name of a new file is on the disk, where the system can."""
    if sys.platform != "win32":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


@contextlib.contextmanager
def _locked(handle: int, shared: bool) -> Iterator[None]:
    """Alone with the file, or with other readers only, until the end."""
    if sys.platform == "win32":
        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_LOCK, 1)
        try:
            os.lseek(handle, 0, os.SEEK_SET)
            yield
        finally:
            os.lseek(handle, _FAR, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
    else:
        with contextlib.suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_SH if shared else fcntl.LOCK_EX)
        yield  # the lock goes with the handle


# ----------------------------------------------------------------------------------------------
# A record as a person reads it, and what it says of the predictions, as text, JSON and CSV

SCHEMA = 1


def outcome_words(kept: Sequence[Entry], entry: Entry) -> str:
    """What an outcome changes, or why nothing will be made of it.

    Parameters
    ----------
    kept : sequence of mapping
        What stands in the record.
    entry : mapping
        The outcome, not yet among them.

    Returns
    -------
    str
        A line; empty where it is the first of a piece that the record knows.
    """
    own = of_piece(kept, str(entry["piece"]))
    before: list[str] = []
    for one in own:  # a new prediction begins another piece of the name
        before = [*before, str(one["outcome"])] if one["kind"] == OUTCOME else before
        before = [] if one["kind"] == PREDICTION else before
    if before:
        return f"cofire: {entry['piece']}: it stood as {before[-1]}; the last outcome counts"
    if not own:
        return (
            f"cofire: {entry['piece']}: nothing was foretold of a piece of this name; compare "
            "leaves it out, and check --record reads it only for a vessel of this name"
        )
    return ""


def entry_line(entry: Mapping[str, Any]) -> str:
    """One entry in a line: when, which piece, what.

    Parameters
    ----------
    entry : mapping
        Of the record.

    Returns
    -------
    str
        Without new line.
    """
    kind = entry["kind"]
    if kind == PREDICTION:
        what = f"{entry.get('verdict')}, decided by {entry.get('decided_by')}"
        for name, word in (("sound", "sound"), ("not_lost", "not lost")):
            if is_number(entry.get(name)):
                what += f"; {word} with {100 * entry[name]:.0f} %"
    elif kind == FIRING:
        parts = [str(entry.get("firing", ""))]
        whose = " at the logged thermocouple" if entry.get("logged") else " in the ware"
        if is_number(entry.get("peak_C")):
            parts.append(f"{entry['peak_C']:.0f} °C{whose}")
        if is_number(entry.get("peak_at_least_C")):
            parts.append(f"{entry['peak_at_least_C']:.0f} °C or more{whose}")
        if is_number(entry.get("hours")):
            parts.append(f"{entry['hours']:.1f} h")
        if "gas" in entry:
            parts.append(str(entry["gas"]))
        what = ", ".join(parts)
    else:
        parts = [str(entry.get("outcome"))]
        parts += [str(entry[name]) for name in ("where", "when") if name in entry]
        what = ", ".join(parts) + (f": {entry['note']}" if "note" in entry else "")
    when = str(entry.get("written", ""))[:16].replace("T", " ")
    return f"{when}  {kind:<10}  {entry.get('piece')}: {what}"


def show_text(entries: Iterable[Mapping[str, Any]], width: int = 100) -> str:
    """Entries, one a line or two.

    Parameters
    ----------
    entries : iterable of mapping
        In order.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    rows = [row for entry in entries for row in wrapped(entry_line(entry), 30, width)]
    return "\n".join(rows or ["no entries"]) + "\n"


def harm_text(kept: Kept, name: str) -> list[str]:
    """What of a record could not be counted, one line each.

    Parameters
    ----------
    kept : Kept
        As it was read.
    name : str
        Of its file.

    Returns
    -------
    list of str
        Empty where all is whole.
    """
    found = []
    if kept.changed:
        lines = ", ".join(map(str, kept.changed[:10])) + (" ..." if len(kept.changed) > 10 else "")
        found.append(
            f"{name}: line {lines}: changed since it was written, and left out; add a new entry "
            "instead"
        )
    if kept.torn:
        found.append(
            f"{name}: a torn last line of {kept.torn} bytes is left out; the next entry moves it "
            f"to {name}{TORN}"
        )
    return found


def compare_text(found: Comparison, width: int = 100) -> str:
    """How often the predictions were right.

    Parameters
    ----------
    found : Comparison
        From `compare`.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    told = found.told
    well, planned = sum(pair.well for pair in told), sum(pair.planned for pair in told)
    lines = []
    if not told:
        lines.append(
            "No piece yet with both a probability and an outcome. Add a plan's folder, or what "
            "'cofire check --uncertainty --json' printed, before the firing, and the outcome after "
            "it."
        )
    else:
        assert found.brier is not None
        assert found.brier_of_share is not None
        lines.append(
            f"{counted(len(told), 'piece')} of {counted(found.designs, 'design')} with a "
            f"probability and an outcome: {well} came out well; the probabilities add up to "
            f"{found.expected:.1f}, give or take {found.expected_spread:.1f} by probability, pots "
            "of one design standing or falling together."
        )
        if planned:
            lines.append(
                f"Well is sound; of the {planned} foretold by a plan of an older cofire it is not "
                "lost: neither cracked, debonded nor slumped. Its chance counts the year after the "
                "kiln too, and no shallow crack, which an outcome may be."
            )
        lines.append(
            f"Brier score {number(found.brier)} (0 is perfect; {number(found.brier_of_share)} for "
            f"one who always foretells the share seen, {well} of {len(told)})."
        )
        lines.append(_judgement(found, well))
        lines += ["", f"{'foretold':>13} {'pieces':>7} {'mean':>6} {'well':>6}  95 % interval"]
        lines += [
            f"{100 * c.low:5.0f} to {100 * c.high:3.0f} % {c.count:6d} {100 * c.predicted:5.0f} % "
            f"{100 * c.observed:4.0f} %  {100 * c.observed_low:.0f} to {100 * c.observed_high:.0f}"
            for c in found.classes
        ]
    if found.pairs:
        lines += ["", f"{'verdict':<9}" + "".join(f"{o:>10}" for o in OUTCOMES)]
        lines += [
            f"{verdict:<9}" + "".join(f"{found.table.get((verdict, o), 0):10d}" for o in OUTCOMES)
            for verdict in VERDICTS
        ]
    lines += [""] * bool(found.unseen or found.unforetold or found.older)
    if found.unseen:
        lines.append(f"Without an outcome yet: {counted(found.unseen, 'prediction')}.")
    if found.unforetold:
        lines.append(f"Without a prediction before it: {counted(found.unforetold, 'outcome')}.")
    if found.older:
        lines.append(
            f"Not compared: {counted(found.older, 'piece')} of which an older cofire foretold that "
            "no limit at all is passed; an outcome does not tell that."
        )
    return "\n".join(_wrapped(lines, width)) + "\n"


def _judgement(found: Comparison, well: int) -> str:
    """Whether the pieces bear the probabilities out, in a sentence."""
    apart = abs(well - found.expected)
    if found.too_few:
        return (
            f"Too few to judge by: with fewer than {TOO_FEW} designs the share that comes out well "
            "is not known well enough, since pots of one design stand or fall together."
        )
    if apart <= 2.0 * found.expected_spread:
        return "As many came out well as probability allows if the probabilities are right."
    way = "fewer" if well < found.expected else "more"
    if way == "more" and any(pair.planned for pair in found.told):
        return (
            "More came out well than the probabilities say, which tells nothing: those of an older "
            "plan count the year after the kiln too, and a pot that cracks in it comes out well."
        )
    return (
        f"Clearly {way} came out well than the probabilities say, if designs were independent; "
        "those of the same pastes are not quite. Measure your own materials, or "
        f"take the probabilities as too {'high' if way == 'fewer' else 'low'} here."
    )


def _wrapped(lines: list[str], width: int) -> list[str]:
    """Sentences wrapped, rows of tables as they are."""
    return [
        row for line in lines for row in ([line] if "  " in line else wrapped(line, width=width))
    ]


def compare_json(found: Comparison) -> str:
    """The comparison as one JSON object with its schema number.

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    str
        Ends in a new line.
    """
    whole = {
        "schema": SCHEMA,
        "pieces": len(found.pairs),
        "pieces_with_probability": len(found.told),
        "designs": found.designs,
        "planned": sum(pair.planned for pair in found.told),
        "well": sum(pair.well for pair in found.told),
        "expected_well": round(found.expected, 6),
        "expected_spread": round(found.expected_spread, 6),
        "brier": None if found.brier is None else round(found.brier, 6),
        "brier_of_share": None if found.brier_of_share is None else round(found.brier_of_share, 6),
        "too_few": found.too_few,
        "classes": [
            {name: round(value, 6) for name, value in vars(c).items()} for c in found.classes
        ],
        "table": [
            {"verdict": verdict, "outcome": outcome, "pieces": count}
            for (verdict, outcome), count in sorted(found.table.items())
        ],
        "waiting": found.unseen,
        "without_prediction": found.unforetold,
        "of_older_kind": found.older,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def classes_csv(found: Comparison) -> str:
    """The numbers of the calibration figure, one row a class.

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    str
        Shares from 0 to 1.
    """
    every = found.classes
    return table_text(
        {
            "foretold_low": [c.low for c in every],
            "foretold_high": [c.high for c in every],
            "pieces": [c.count for c in every],
            "foretold_mean": [f"{c.predicted:.4f}" for c in every],
            "well": [f"{c.observed:.4f}" for c in every],
            "well_low": [f"{c.observed_low:.4f}" for c in every],
            "well_high": [f"{c.observed_high:.4f}" for c in every],
        }
    )


# ----------------------------------------------------------------------------------------------
# Predicted probability against what came of it, drawn


@literal
def calibration_figure(found: Comparison) -> Figure:
    """Share that came out well against the probability foretold, with 95 % intervals.

    Single pieces are ticks above (well) and below (not).

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    Figure
        One panel.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.0, 6.0), layout="constrained")
    axes = figure.subplots()
    axes.plot([0, 100], [0, 100], color="0.6", lw=1.0, ls="--", label="if foretold rightly")
    for c in found.classes:
        x, y = 100.0 * c.predicted, 100.0 * c.observed
        axes.plot(
            [x, x], [100.0 * c.observed_low, 100.0 * c.observed_high], color=FIRST, lw=1.2, zorder=2
        )
        for end in (c.observed_low, c.observed_high):
            axes.plot([x - 1.0, x + 1.0], [100.0 * end] * 2, color=FIRST, lw=1.2, zorder=2)
        axes.plot(x, y, "o", ms=7, color=FIRST, zorder=3)
        side = -1.0 if x > 90.0 else 1.0
        axes.annotate(
            counted(c.count, "piece"), (x, y), xytext=(8.0 * side, 0),
            textcoords="offset points", ha="left" if side > 0 else "right", va="center", fontsize=8,
            bbox={"fc": "white", "ec": "none", "pad": 0.5},
        )  # fmt: skip
    for well, at, colour, name in (
        (True, 104.0, SECOND, "one that came out well"),
        (False, -4.0, LIMIT, "one that was not"),
    ):
        places = np.array([100.0 * (p.probability or 0.0) for p in found.told if p.well == well])
        axes.plot(places, np.full(places.size, at), "|", ms=9, mew=1.3, color=colour, label=name)
    axes.set_xlim(-3, 103)
    axes.set_ylim(-8, 108)
    axes.set_aspect("equal")
    axes.set_xlabel("probability that it comes out well, as foretold (%)")
    axes.set_ylabel("share that came out well (%)")
    axes.grid(color="0.92", lw=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(fontsize=8, loc="outside lower center", ncols=3, frameon=False)
    title = counted(len(found.told), "piece")
    if found.brier is not None:
        title += f", Brier score {found.brier:.2f} (0 is best, 0.25 a coin); bars: 95 % intervals"
    if found.too_few:
        title += " (too few to judge by)"
    axes.set_title(title, fontsize=10, loc="left")
    settle(figure)
    return figure
