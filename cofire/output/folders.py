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
        It is a file, holds something else, or holds a plan and `force` is not given.
    """
    if not path.exists():
        if not path.parent.is_dir():
            raise InputError(f"{path}: its folder {path.parent} does not exist")
        return
    if not path.is_dir():
        raise InputError(f"{path}: is a file; name a folder")
    if any(path.iterdir()):
        if not (path / mark).is_file():
            raise InputError(f"{path}: holds other files and no {mark}; name a new folder")
        if not force:
            raise InputError(f"{path}: holds {mark} already; give --force, or another name")


def replace_folder(path: Path, fill: Callable[[Path], None], mark: str, force: bool) -> None:
    """Fill a folder beside and put it in place whole: a kill leaves the old one or the new one.

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
        As `check_plan_folder`, or it cannot be written.
    """
    check_plan_folder(path, force, mark)
    try:
        new = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}."))
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from None
    try:
        fill(new)
        umask = os.umask(0)
        os.umask(umask)
        new.chmod(0o777 & ~umask)
        if path.exists() and any(path.iterdir()):
            _exchange(new, path)
        else:
            os.replace(new, path)
    finally:
        shutil.rmtree(new, ignore_errors=True)


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
    os.replace(new, old)
    shutil.rmtree(aside, ignore_errors=True)
