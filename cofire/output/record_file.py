"""The record of a workshop: a text file that only grows, and that no crash or writer harms.

Format 1: one JSON object a line, UTF-8, each line ended by a new line. Besides the fields of
`planning.evidence.record` every entry has "record" (the format, 1), "written" (time, UTC) and,
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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cofire.errors import InputError
from cofire.planning.evidence.record import KINDS

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

FORMAT = 1
USUAL = "cofire-record.jsonl"
"""Name of the record in the folder one works in."""
MARK = b',"check":"'
OURS = ("record", "written", "check")
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
        raise InputError(f"entry: kind = {entry.get('kind')!r}; allowed: {', '.join(KINDS)}")
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
        entry = json.loads(line)
    except ValueError:
        return None
    return entry if isinstance(entry, dict) and entry.get("kind") in KINDS else None


def append_many(path: Path, entries: Sequence[Mapping[str, Any]]) -> None:
    """Add entries to a record; returns once all of them are on the disk.

    Parameters
    ----------
    path : Path
        The record; made where there is none. A link stays, what it points to is written.
    entries : sequence of mapping
        In order; they stand together, whoever else writes.

    Raises
    ------
    InputError
        A wrong entry, or a file that cannot be written; then none is added.
    """
    lines = b"".join(encoded(entry) for entry in entries)
    if not lines:
        return
    try:
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
        raise InputError(f"{path}: cannot be written ({error.strerror})") from None


def read_record(path: Path) -> Kept:
    """All entries of a record.

    Parameters
    ----------
    path : Path
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
    try:
        with path.open("rb") as stream, _locked(stream.fileno(), shared=True):
            raw = stream.read()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from None
    _refuse_other(raw[: len(START)], path)
    *lines, tail = raw.split(b"\n")
    if tail and decoded(tail) is not None:  # only its new line is missing
        lines, tail = [*lines, tail], b""
    entries, changed = [], []
    for number, line in enumerate(lines, 1):
        entry = decoded(line)
        if entry is not None:
            if entry.get("record") != FORMAT:
                raise InputError(
                    f"{path}: line {number}: record = {entry.get('record')!r}; allowed: {FORMAT}. "
                    "A later cofire wrote it"
                )
            entries.append(entry)
        elif line.strip():
            changed.append(number)
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
        raise InputError(f"{path}: cannot be written whole (is the disk full?); nothing was added")
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
