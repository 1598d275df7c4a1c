"""What every command does alike: errors as one line, shared options, tables and pairs of cards."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ParamSpec, TypeVar

import typer

from cofire.errors import CofireError, InputError

if TYPE_CHECKING:
    from cofire.inputs.cards import Card

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


def split_blend(text: str) -> tuple[str, str, float]:
    """The parts of a blend as written on the command line.

    Parameters
    ----------
    text : str
        "METAL + CERAMIC = SHARE", the metal's share of the solid volume in per cent.

    Returns
    -------
    tuple of str, str, float
        Names, and the share. [-]

    Raises
    ------
    InputError
        Another form.
    """
    names, equals, share = text.rpartition("=")
    metal, plus, ceramic = names.partition("+")
    try:
        percent = float(share.strip().removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not equals or not plus or not 0.0 < percent < 100.0:
        raise InputError(
            f"blend {text[:80]!r}: write it as 'METAL + CERAMIC = 40' (per cent metal by volume, "
            "above 0 and below 100)"
        )
    return metal.strip(), ceramic.strip(), percent / 100.0


def named_card(text: str, cards: dict[str, Card]) -> Card:
    """The card, or the blend of two cards, that a person named.

    Parameters
    ----------
    text : str
        A material's name, or a blend as in `split_blend`.
    cards : dict
        Of the tables.

    Returns
    -------
    Card
        The card.
    """
    from cofire.inputs.tables import find_card

    if "+" in text and "=" in text:
        from cofire.physics.blends import blend

        metal, ceramic, share = split_blend(text)
        return blend(find_card(metal, cards), find_card(ceramic, cards), share)
    return find_card(text, cards)
