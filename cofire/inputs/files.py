"""Files that a person writes: read them, or say in one line what is wrong."""

from __future__ import annotations

import os
import re
import stat
import sys
import tomllib
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeGuard

from cofire.errors import InputError

LARGEST_FILE = 1_000_000
"""A card, kiln, firing or vessel larger than this is not one. [bytes]"""
HIDDEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]")
"""Characters that a terminal or a reader of text obeys instead of showing."""
DEEP = re.compile(r"(?:\.[^.,=\n]+){100}")
"""A dotted name of a hundred parts: the TOML reader takes minutes over longer ones."""


def read_bytes(path: Traversable | Path, most: int) -> bytes:
    """Bytes of a regular file, and never more than one beyond the most allowed.

    Parameters
    ----------
    path : Traversable or Path
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
    where = shown_path(path)
    try:
        mode = os.stat(path).st_mode if isinstance(path, Path) else stat.S_IFREG
        if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
            with path.open("rb") as stream:
                return stream.read(most + 1)
    except OSError as error:
        raise InputError(f"{where}: cannot be read ({error.strerror})") from None
    except ValueError:  # a null character in the name
        raise InputError(f"{where}: no name of a file") from None
    raise InputError(f"{where}: a pipe or a device; allowed: a regular file, save it as one first")


def read_text(path: Traversable | Path) -> str:
    """Text of a file that a person wrote, or one clear line why not.

    Parameters
    ----------
    path : Traversable or Path
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


def read_toml(path: Traversable | Path) -> dict[str, Any]:
    """Contents of a TOML file that a person wrote, or one clear line why not.

    Parameters
    ----------
    path : Traversable or Path
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


def _not_toml(complaint: str, text: str) -> str:
    """The complaint of the TOML reader, with the line it is about."""
    found = re.search(r" \(at line (\d+), column \d+\)", complaint)
    if found is None:
        return f"not TOML ({complaint[:100]})"
    line = text.split("\n")[int(found[1]) - 1]
    return f"line {found[1]}: {show(line.strip())} is not TOML: {complaint[: found.start()][:100]}"


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


def show(value: object) -> str:
    """A value as an error message shows it: short, on one line; what is not there is missing."""
    if value is None:
        return "missing"
    try:
        text = " ".join(repr(value).split())
    except (ValueError, RecursionError):  # a number of thousands of digits; lists in lists
        return "an unreadable value"
    return text if len(text) <= 60 else text[:57] + "..."


def is_number(value: object) -> TypeGuard[float]:
    """Whether it is a finite number (a truth value is none)."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and abs(value) <= sys.float_info.max
    )
