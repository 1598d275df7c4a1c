"""Files and streams: never half written, never overwritten unasked."""

from __future__ import annotations

import io
import os
import shutil
import tempfile
import textwrap
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO

import typer

from cofire.errors import InputError
from cofire.inputs.files import HIDDEN

STANDARD_OUTPUT = "-"


def one_line(text: str) -> str:
    """The text on one line, hidden characters written out so that no terminal obeys them.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str
        The same words.
    """
    return HIDDEN.sub(lambda found: f"\\u{ord(found[0]):04x}", " ".join(text.split()))


def columns(least: int = 80) -> int:
    """Width of the terminal, or a usual one where there is none.

    Parameters
    ----------
    least : int
        Never less than that. [-]

    Returns
    -------
    int
        Columns. [-]
    """
    return max(shutil.get_terminal_size((110, 24)).columns, least)


def wrapped(text: str, indent: int = 0, width: int | None = None) -> list[str]:
    """A text in lines that fit the terminal; lines after the first are indented.

    Parameters
    ----------
    text : str
        One line.
    indent : int
        Spaces before all lines but the first. [-]
    width : int, optional
        Columns; by default those of the terminal. [-]

    Returns
    -------
    list of str
        Its lines.
    """
    pad = " " * indent
    return textwrap.wrap(
        text, width or columns(), subsequent_indent=pad, break_on_hyphens=False
    ) or [""]


def printed(text: str) -> int:
    """Columns a text takes on a terminal, where a wide character takes two and an accent none.

    Parameters
    ----------
    text : str
        One line.

    Returns
    -------
    int
        Columns. [-]
    """
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def check_targets(targets: Sequence[str | Path | None], force: bool) -> None:
    """Refuse what could not be written, before anything is computed or written.

    Parameters
    ----------
    targets : sequence of str or Path
        Files to be; "-" is standard output; None is left out.
    force : bool
        Whether existing files may be replaced.

    Raises
    ------
    InputError
        A file that exists, a folder, a missing folder, or the same target twice.
    """
    given = [t for t in targets if t is not None]
    for n, target in enumerate(given):
        if target in given[:n]:
            raise InputError(f"{target}: named twice; each output needs its own place")
        if target == STANDARD_OUTPUT:
            continue
        path = Path(target)
        if path.is_dir():
            raise InputError(f"{path}: a folder; give the name of a file")
        if not force and os.path.lexists(path) and not _is_stream(path):
            raise InputError(f"{path}: exists already; give --force to replace it, or another name")
        if not path.parent.is_dir():
            raise InputError(f"{path}: cannot be written (no folder {path.parent}); make it first")


def check_folder(folder: Path, names: Sequence[str], force: bool) -> None:
    """Refuse a folder whose files could not be written, before anything is computed.

    Parameters
    ----------
    folder : Path
        It need not exist yet.
    names : sequence of str
        Files to be written into it.
    force : bool
        Whether existing files may be replaced.

    Raises
    ------
    InputError
        A file that exists, or a file in the folder's place.
    """
    if folder.is_dir():
        check_targets([folder / name for name in names], force)
    elif os.path.lexists(folder):
        raise InputError(f"{folder}: a file, not a folder; give another name")


def _is_stream(path: Path) -> bool:
    """Whether it is a device or a pipe, such as /dev/null, which must not be replaced by a file."""
    return path.exists() and not path.is_file() and not path.is_dir()


def write_file(path: Path, write: Callable[[IO[bytes]], object], force: bool) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : Path
        Where; its folder must exist. A link stays, what it points to is written.
    write : callable
        Is given the open binary file.
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        The file exists, or its folder does not or cannot be written.
    """
    check_targets([path], force)
    content = io.BytesIO()
    write(content)
    try:
        if _is_stream(path):
            path.write_bytes(content.getvalue())
        else:
            _replace(Path(os.path.realpath(path)), content.getvalue())
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from None


def _replace(path: Path, content: bytes) -> None:
    """Put a new file in the place of an old one, which stays whole until then."""
    umask = os.umask(0)
    os.umask(umask)
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~umask
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".cofire-")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        os.chmod(name, mode)
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
    if target == STANDARD_OUTPUT:
        typer.echo(text.encode(), nl=False)  # UTF-8 whatever the terminal speaks
    else:
        write_file(Path(target), lambda stream: stream.write(text.encode()), force)
