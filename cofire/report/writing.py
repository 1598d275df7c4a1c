"""Files, streams and folders: never half written, never overwritten unasked."""

from __future__ import annotations

import csv
import ctypes
import errno
import io
import os
import re
import shutil
import signal
import tempfile
import textwrap
import threading
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import typer

from cofire.errors import LONGEST, InputError
from cofire.files import ANOTHER, HIDDEN, inputs, shown_path

# ----------------------------------------------------------------------------------------------
# Files and streams: never half written, never overwritten unasked

STANDARD_OUTPUT = "-"
BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°C|°F|%|mm|in|min|MPa|kPa|J/m²|ml|h|g|K)(?![A-Za-z]))")
"""A space that keeps a number with its unit."""


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


def complaint(text: str) -> str:
    """A complaint on one line that a person reads: where it is too long its middle is left out.

    Parameters
    ----------
    text : str
        Place, field, value, what is allowed.

    Returns
    -------
    str
        At most `errors.LONGEST` characters, the place first and what is allowed last.
    """
    line = one_line(text)
    if len(line) <= LONGEST:
        return line
    tail = LONGEST // 3
    return f"{line[: LONGEST - tail - 5]} ... {line[-tail:]}"


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
    """A text in lines that fit the terminal, a number with its unit; later lines are indented.

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
    rows = textwrap.wrap(
        BEFORE_UNIT.sub("\u00a0", text), width or columns(), subsequent_indent=" " * indent,
        break_on_hyphens=False,
    )  # fmt: skip
    return [row.replace("\u00a0", " ") for row in rows] or [""]


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


def table_text(columns: Mapping[str, Iterable[object]]) -> str:
    """Columns as comma-separated text with a header, numbers to six digits.

    Parameters
    ----------
    columns : mapping
        Values by name, which holds the unit; all of one length. Texts stay as they are.

    Returns
    -------
    str
        One row a line; an empty cell where there is no value.

    Examples
    --------
    >>> print(table_text({"height_mm": [1.0, 2.5], "of": ["a, b", None]}), end="")
    height_mm,of
    1,"a, b"
    2.5,
    """
    stream = io.StringIO()
    rows = csv.writer(stream, lineterminator="\n")
    rows.writerow(columns)
    cells = [[_cell(value) for value in column] for column in columns.values()]
    rows.writerows(zip(*cells, strict=True))
    return stream.getvalue()


def _cell(value: object) -> object:
    """What a table says of a value: six digits of a number, nothing where there is none."""
    if value is None or value != value:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else value


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
        A file that exists, a folder, a missing one or one that may not be written to, one place
        twice, or an input.
    """
    before: list[str | Path] = []
    for target in targets:
        if target is None:
            continue
        place = shown_path(target)
        try:
            if any(_one_place(target, other) for other in before):
                raise InputError(f"{place}: named twice; each output needs its own place")
            before.append(target)
            if target != STANDARD_OUTPUT:
                _check_target(Path(target), place, force)
        except OSError as error:
            raise InputError(f"{place}: cannot be written ({error.strerror})") from None


def _one_place(one: str | Path, other: str | Path) -> bool:
    """Whether two outputs are one file or stream, however they are written."""
    if STANDARD_OUTPUT in (one, other):
        return one == other
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    return os.path.exists(one) and os.path.exists(other) and os.path.samefile(one, other)


def _check_target(path: Path, place: str, force: bool) -> None:
    if str(path) == STANDARD_OUTPUT:
        raise InputError(f"{place}: standard output cannot hold it; give the name of a file")
    if path.is_dir():
        raise InputError(f"{place}: a folder; give the name of a file")
    if path.is_file() and any(os.path.samefile(path, own) for own in inputs()):
        raise InputError(f"{place}: is read by this command, and stays as it is; {ANOTHER}")
    if not force and os.path.lexists(path) and not _is_stream(path):
        raise InputError(f"{place}: exists already; give --force to replace it, or another name")
    if not path.parent.is_dir():
        folder = shown_path(path.parent)
        raise InputError(f"{place}: cannot be written (no folder {folder}); make it first")
    if not _is_stream(path) and not os.access(os.path.dirname(os.path.realpath(path)), os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


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
    place = shown_path(folder)
    try:
        if folder.is_dir():
            check_targets([folder / name for name in names], force)
        elif os.path.lexists(folder):
            raise InputError(f"{place}: a file, not a folder; give another name")
    except OSError as error:
        raise InputError(f"{place}: cannot be made ({error.strerror})") from None


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
            with undisturbed():
                _replace(Path(os.path.realpath(path)), content.getvalue())
    except OSError as error:
        raise InputError(f"{shown_path(path)}: cannot be written ({error.strerror})") from None


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


# ----------------------------------------------------------------------------------------------
# A folder of results: put in place whole, or not at all

LONGEST_NAME = 255
"""Name of a file or folder on the usual file systems. [bytes]"""


@contextmanager
def undisturbed() -> Iterator[None]:
    """Interrupts are ignored within: what took long to find is written, whoever is impatient.

    For what takes a moment only. In a thread, to which no interrupt comes, nothing is changed.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    stops = (signal.SIGINT, signal.SIGTERM)
    before = {number: signal.signal(number, signal.SIG_IGN) for number in stops}
    try:
        yield
    finally:
        for number, answer in before.items():
            signal.signal(number, answer)


def check_plan_folder(path: Path, force: bool, mark: str = "plan.json") -> None:
    """Refuse a folder that must not be replaced, before the work is done.

    Parameters
    ----------
    path : Path
        The folder.
    force : bool
        Whether a folder that holds `mark` may be replaced.
    mark : str
        The file by which a folder of ours is known.

    Raises
    ------
    InputError
        It is a file, holds something else, holds a plan and `force` is not given, is the folder one
        stands in, or nothing can be put in its place.
    """
    place = shown_path(path)
    try:
        real = _allowed(path, place, force, mark)
        trial = tempfile.mkdtemp(dir=real.parent, prefix=_hidden(real))
        os.rmdir(trial)
    except OSError as error:
        raise InputError(f"{place}: cannot be written ({error.strerror})") from None


def _allowed(path: Path, place: str, force: bool, mark: str) -> Path:
    """The folder itself, links followed, once it may be replaced."""
    real = Path(os.path.realpath(path))
    if not real.exists():
        if not real.parent.is_dir():
            raise InputError(f"{place}: its folder {shown_path(real.parent)} does not exist")
        return real
    if not real.is_dir():
        raise InputError(f"{place}: is a file; name a folder")
    if any(real.iterdir()):
        if not (real / mark).is_file():
            raise InputError(f"{place}: holds other files and no {mark}; name a new folder")
        if not force:
            raise InputError(f"{place}: holds {mark} already; give --force, or another name")
    for own in inputs():
        if real in (there := Path(os.path.realpath(own)), *there.parents):
            what = f"would be replaced whole, and this command reads {shown_path(own)}"
            raise InputError(f"{place}: {what}; {ANOTHER}")
    if real == Path.cwd() or real in Path.cwd().parents:
        raise InputError(
            f"{place}: is the folder you stand in, which would be replaced; name a new folder in it"
        )
    if os.path.ismount(real):
        raise InputError(f"{place}: a disk of its own cannot be replaced; name a folder on it")
    return real


def _hidden(path: Path) -> str:
    """Begin of the name under which a folder is filled beside its place, short enough to be one."""
    name = path.name
    while len(os.fsencode(name)) > LONGEST_NAME - 20:
        name = name[:-1]
    return f".{name}."


def replace_folder(path: Path, fill: Callable[[Path], None], mark: str, force: bool) -> None:
    """Fill a folder beside and put it in place whole: a kill leaves the old one or the new one.

    What cannot be put in place stays where it was written, and the message says where.

    Parameters
    ----------
    path : Path
        The folder.
    fill : callable
        Is given the empty folder to write into.
    mark : str
        The file by which a folder of ours is known.
    force : bool
        Whether a folder that holds `mark` may be replaced.

    Raises
    ------
    InputError
        As `check_plan_folder`, or it cannot be written; with the folder where it lies instead.
    """
    with undisturbed():
        _replaced(path, fill, mark, force)


def _replaced(path: Path, fill: Callable[[Path], None], mark: str, force: bool) -> None:
    real, place = Path(os.path.realpath(path)), shown_path(path)
    try:
        new = _filled(fill, real.parent, _hidden(real))
    except OSError as error:
        new = _filled(fill, None, _hidden(real))
        raise _kept(place, error.strerror or str(error), new) from None
    try:
        _allowed(path, place, force, mark)
        if real.exists() and any(real.iterdir()):
            _exchange(new, real)
        else:
            os.replace(new, real)
    except InputError as error:
        raise _kept(place, str(error).removeprefix(f"{place}: "), new) from None
    except OSError as error:
        raise _kept(place, error.strerror or str(error), new) from None
    shutil.rmtree(new, ignore_errors=True)


def _filled(fill: Callable[[Path], None], where: Path | None, prefix: str) -> Path:
    """A new folder with what it is filled with, or none at all; where None, among the temporary."""
    new = Path(tempfile.mkdtemp(dir=where, prefix=prefix))
    try:
        fill(new)
        umask = os.umask(0)
        os.umask(umask)
        new.chmod(0o777 & ~umask)
    except BaseException:
        shutil.rmtree(new, ignore_errors=True)
        raise
    return new


def _kept(place: str, reason: str, new: Path) -> InputError:
    return InputError(f"{place}: cannot be put in place ({reason}); it lies whole in {new}")


def _exchange(new: Path, old: Path) -> None:
    """Changeover two folders in one step where the system can (Linux), else in two renames."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        renameat2 = None
    here, exchange = -100, 2  # AT_FDCWD, RENAME_EXCHANGE of linux/fs.h
    if renameat2 is not None:
        ends = (os.fsencode(new.absolute()), os.fsencode(old.absolute()))
        if renameat2(here, ends[0], here, ends[1], exchange) == 0:
            return
    aside = new.with_name(new.name + ".old")
    os.replace(old, aside)
    try:
        os.replace(new, old)
    except OSError:
        os.replace(aside, old)
        raise
    shutil.rmtree(aside, ignore_errors=True)
