"""Files and streams: never half written, never overwritten unasked."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

from cofire.errors import InputError


def write_file(path: Path, write: Callable[[IO[bytes]], object], force: bool) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : Path
        Where; its folder must exist.
    write : callable
        Is given the open binary file.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        The file exists, or its folder does not or cannot be written.
    """
    if path.exists() and not force:
        raise InputError(f"{path}: exists already; give --force to replace it, or another name")
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from None
    try:
        with os.fdopen(handle, "wb") as stream:
            write(stream)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def make_folder(path: Path) -> None:
    """Make a folder and those above it, where missing.

    Parameters
    ----------
    path : Path
        The folder.

    Raises
    ------
    InputError
        It cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{path}: cannot be made ({error.strerror})") from None


def write_text(target: str, text: str, force: bool) -> None:
    """Write text to a file, or to standard output where the target is "-".

    Parameters
    ----------
    target : str
        Path or "-".
    text : str
        Contents.
    force : bool
        Whether an existing file may be replaced.
    """
    if target == "-":
        sys.stdout.write(text)
    else:
        write_file(Path(target), lambda stream: stream.write(text.encode()), force)
