"""`cofire screen`: rank material pairs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.errors import InputError
from cofire.output.cli.common import Force, Kiln, Tables, guarded

if TYPE_CHECKING:
    from cofire.inputs.cards import Card


@guarded
def screen(
    metal: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", help="Only this metal, or a blend 'METAL + CERAMIC = 40'; repeatable."
        ),
    ] = None,
    ceramic: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Only this ceramic, or a blend; repeatable."),
    ] = None,
    gas: Annotated[
        list[str] | None,
        typer.Option(
            metavar="GAS",
            help="Gas at hand: air, inert, carbon or hydrogen; repeatable. "
            "By default air, carbon, inert.",
        ),
    ] = None,
    kiln: Kiln = "small studio kiln",
    tables: Tables = None,
    every: Annotated[
        bool, typer.Option("--all", help="Also list the pairs that share no firing.")
    ] = False,
    csv: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all pairs as CSV; - for stdout.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all pairs as JSON; - for stdout.")
    ] = None,
    draw: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Also draw the mismatch of the best pair into this folder."
        ),
    ] = None,
    force: Force = False,
) -> None:
    """Rank pairs of metal and ceramic: can they share a firing, and how far apart are they then?

    Example:  cofire screen --gas carbon --metal copper --all
    """
    from cofire.inputs.firing import find_kiln, known_gas, load_kilns
    from cofire.inputs.tables import load_cards
    from cofire.output import pairs as table
    from cofire.output.cli.mismatch import DRAWN, draw_best
    from cofire.output.writing import STANDARD_OUTPUT, check_folder, check_targets, write_text
    from cofire.planning.pairs import screening

    check_targets([csv, json], force)
    if draw is not None:
        check_folder(draw, DRAWN, force)
    gases = tuple(known_gas(name, "--gas") for name in gas or screening.STUDIO_GASES)
    cards = load_cards(tables or [])
    found = find_kiln(kiln, load_kilns(tables or []))
    metals = side("metal", metal, cards)
    ceramics = side("ceramic", ceramic, cards)
    pairs = screening.screen(metals, ceramics, found, gases)
    if draw is not None:
        draw_best(pairs, {c.name: c for c in [*metals, *ceramics]}, found, draw, force)
    if csv is not None:
        write_text(csv, table.as_csv(pairs), force)
    if json is not None:
        write_text(json, table.as_json(pairs, found.name, gases), force)
    if STANDARD_OUTPUT not in (csv, json):
        typer.echo(table.as_text(pairs, found.name, every=every), nl=False)


def side(kind: str, names: Sequence[str] | None, cards: dict[str, Card]) -> list[Card]:
    """The cards of one side of the pairs: those named, or all of the kind.

    Parameters
    ----------
    kind : str
        "metal" or "ceramic".
    names : sequence of str, optional
        As given; a blend may stand on either side.
    cards : dict
        Of the tables.

    Returns
    -------
    list of Card
        Each once.

    Raises
    ------
    InputError
        No such material, or one of the other kind.
    """
    from cofire.physics.blends import find_material

    if not names:
        return [card for card in cards.values() if card.kind == kind]
    found = {card.name: card for card in (find_material(name, cards) for name in names)}
    for card in found.values():
        if card.kind not in (kind, "blend"):
            raise InputError(f"--{kind}: {card.name!r} is a {card.kind}; give a {kind} or a blend")
    return list(found.values())
