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

Tables = Annotated[
    list[Path] | None,
    typer.Option("--tables", help="Folder of your own material tables; repeatable, may override."),
]
Kiln = Annotated[str, typer.Option("--kiln", help="Name of a kiln of the tables.")]
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
            typer.echo(f"cofire: {' '.join(str(error).split())}", err=True)
            raise typer.Exit(INPUT_WRONG) from None
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit from None

    return wrapper
