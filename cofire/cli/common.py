"""What every command does alike: errors as one line, shared options."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable, Collection, Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, ParamSpec, TypeVar

import typer

from cofire.errors import CofireError, UnknownName

P = ParamSpec("P")
R = TypeVar("R")

OWN_TABLES = Path("my_tables")
"""Where `cofire new` writes kilns and cards."""

WRITTEN = ("out", "draw", "parquet")
"""Parameters of the commands that name what is written; other paths are read."""
INPUT_WRONG = 3
DEFECT = 4
INTERRUPTED = 130

Tables = Annotated[
    list[Path] | None,
    typer.Option(
        "--tables",
        metavar="FOLDER",
        help="Folder of your own tables (cards, kilns, pairs.toml); repeatable, may override.",
    ),
]
Kiln = Annotated[str, typer.Option("--kiln", metavar="NAME", help="Name of a kiln of the tables.")]


def as_tables(card: Path) -> tuple[str, str]:
    """What is done first with a card that is written, and the folder then given as --tables.

    Parameters
    ----------
    card : Path
        Its file, written or yet to be.

    Returns
    -------
    tuple of str
        A clause, empty unless other files than tables lie beside it, which would be read as cards;
        and the folder as a shell takes it.
    """
    from shlex import quote

    from cofire.materials.catalogue import stranger_in, tables_of

    folder, first = tables_of(card), ""
    if why := stranger_in(folder):
        folder = card.parent / f"{card.stem}_tables"
        first = f"move it into a folder of its own, {folder}, as here it cannot be read ({why}), "
        first += "then "
    return first, quote(str(folder))


class System(StrEnum):
    """Units in which a text is shown."""

    metric = "metric"
    imperial = "imperial"


Units = Annotated[
    System,
    typer.Option(help="imperial shows °F and inches; files, JSON and CSV stay metric."),
]
UnitsOfPage = Annotated[
    System,
    typer.Option(help="imperial shows °F and inches, also on the sheet; other files stay metric."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace files that exist.")]

Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        min=1,
        help="Processes at work; by default one a core. The answer does not depend on it.",
    ),
]


def guarded(command: Callable[P, R]) -> Callable[P, R]:
    """A command that keeps its inputs, and reports what cofire refuses as one line with its status.

    Parameters
    ----------
    command : callable
        The command's function.

    Returns
    -------
    callable
        The same, to be registered.
    """

    @functools.wraps(command)
    def wrapper(*args: P.args, **kwargs: P.kwargs) -> R:
        from cofire.files import inputs_kept

        try:
            with inputs_kept(_given(kwargs)):
                return command(*args, **kwargs)
        except CofireError as error:
            _complain(str(_hinted(error, kwargs)))
            raise typer.Exit(INPUT_WRONG) from None
        except KeyboardInterrupt:
            _complain("stopped")
            raise typer.Exit(INTERRUPTED) from None
        except BrokenPipeError:  # who reads has seen enough
            _drop_output()
            raise typer.Exit from None
        except OSError as error:
            from cofire.files import shown_path

            if error.filename is not None:  # a name no file can have, a folder that has gone
                _complain(f"{shown_path(error.filename)}: cannot be used ({error.strerror})")
                raise typer.Exit(INPUT_WRONG) from None
            unwritten(error)
            raise typer.Exit(INPUT_WRONG) from None

    return wrapper


def _given(options: Mapping[str, object]) -> list[Path]:
    """Files and folders that a command is given to read."""
    read = [value for name, value in options.items() if name not in WRITTEN]
    every = [one for value in read for one in (value if isinstance(value, list) else [value])]
    return [one for one in every if isinstance(one, Path)]


def in_units(text: str, units: System, kept: Collection[str] = ()) -> str:
    """A finished text in the units asked for.

    Parameters
    ----------
    text : str
        In °C and mm.
    units : System
        Of the command's option.
    kept : collection of str
        Parts of it that stay as they are.

    Returns
    -------
    str
        The same words.
    """
    if units == System.metric:
        return text
    from cofire.report.imperial import imperial

    return imperial(text, kept)


def show(text: str, units: System = System.metric, kept: Collection[str] = ()) -> None:
    """Print a finished text in the units asked for.

    Parameters
    ----------
    text : str
        In °C and mm.
    units : System
        Of the command's option.
    kept : collection of str
        Parts of it that stay as they are.
    """
    typer.echo(in_units(text, units, kept), nl=False)


def aside(text: str) -> None:
    """Say on stderr, on one line, what is no answer: what was written, what comes next.

    Parameters
    ----------
    text : str
        With paths and names as they are; hidden characters in them are written out.
    """
    from cofire.report.writing import one_line

    typer.echo(one_line(text), err=True)


def _hinted(error: CofireError, options: Mapping[str, object]) -> CofireError:
    """The error, with the vessel's file where it has no place, and a hint at tables not given."""
    if not isinstance(error, UnknownName) or error.asked[0] not in ("kiln", "material"):
        return error
    given = options.get("vessel")
    if isinstance(given, Path) and not error.asked[3]:
        from cofire.files import shown_path

        error = error.at(shown_path(given))
    if options.get("tables", True) or not OWN_TABLES.is_dir():
        return error
    return error.and_then(f"; yours? give --tables {OWN_TABLES}")


def unwritten(error: OSError) -> None:
    """Say that standard output takes nothing more.

    Parameters
    ----------
    error : OSError
        Why.
    """
    _drop_output()
    _complain(f"standard output: cannot be written ({error.strerror})")


def _complain(message: str) -> None:
    from cofire.report.writing import complaint

    typer.echo(complaint(f"cofire: {message}"), err=True)


def _drop_output() -> None:
    """Send what is still to be written nowhere, so that closing the stream cannot fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
