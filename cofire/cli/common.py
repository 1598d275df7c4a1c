"""What every command does alike: errors as one line, shared options."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, ParamSpec, TypeVar

import typer

from cofire.errors import CofireError

P = ParamSpec("P")
R = TypeVar("R")

INPUT_WRONG = 3
DEFECT = 4
INTERRUPTED = 130

Tables = Annotated[
    list[Path] | None,
    typer.Option(
        "--tables",
        metavar="FOLDER",
        help="Folder of your own material tables; repeatable, may override.",
    ),
]
Kiln = Annotated[str, typer.Option("--kiln", metavar="NAME", help="Name of a kiln of the tables.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files that exist.")]


def guarded(command: Callable[P, R]) -> Callable[P, R]:
    """A command that reports what cofire refuses as one line on stderr, with its status.

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
        try:
            return command(*args, **kwargs)
        except CofireError as error:
            _complain(str(error))
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
            _drop_output()
            _complain(f"standard output: cannot be written ({error.strerror})")
            raise typer.Exit(INPUT_WRONG) from None

    return wrapper


def _complain(message: str) -> None:
    from cofire.report.writing import complaint

    typer.echo(complaint(f"cofire: {message}"), err=True)


def _drop_output() -> None:
    """Send what is still to be written nowhere, so that closing the stream cannot fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
