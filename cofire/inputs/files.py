"""Files that a person writes: read them, or say in one line what is wrong."""

from __future__ import annotations

import math
import tomllib
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from cofire.errors import InputError

LARGEST_FILE = 1_000_000
"""A card, kiln, firing or vessel larger than this is not one. [bytes]"""


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
    where = str(path)
    try:
        if isinstance(path, Path) and path.stat().st_size > LARGEST_FILE:
            raise InputError(
                f"{where}: {path.stat().st_size} bytes; a table holds at most {LARGEST_FILE}. "
                "Is it the right file?"
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{where}: no such file") from None
    except OSError as error:
        raise InputError(f"{where}: cannot be read ({error.strerror})") from None
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
        Its tables.

    Raises
    ------
    InputError
        As `read_text`, or not TOML.
    """
    where = str(path)
    text = read_text(path)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{where}: {error}"[:300]) from None
    except RecursionError:
        raise InputError(f"{where}: nested too deeply to be a table") from None


def show(value: object) -> str:
    """A value as an error message shows it: short, on one line."""
    text = " ".join(repr(value).split())
    return text if len(text) <= 60 else text[:57] + "..."


def is_number(value: object) -> bool:
    """Whether it is a finite number (a truth value is none)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
