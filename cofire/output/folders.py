"""A folder of results: put in place whole, or not at all."""

from __future__ import annotations

import ctypes
import os
import shutil
import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from cofire.errors import InputError
from cofire.inputs.files import shown_path

LONGEST = 255
"""Name of a file or folder on the usual file systems. [bytes]"""


@contextmanager
def undisturbed() -> Iterator[None]:
    """Interrupts are ignored within: what took long to find is written, whoever is impatient."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


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
    while len(os.fsencode(name)) > LONGEST - 20:
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
    """Swap two folders in one step where the system can (Linux), else in two renames."""
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
