"""`cofire screen`: rank material pairs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.output.cli.common import Force, Kiln, Tables, guarded


@guarded
def screen(
    metal: Annotated[
        list[str] | None,
        typer.Option(help="Only this metal, or a blend 'METAL + CERAMIC = 40'; repeatable."),
    ] = None,
    ceramic: Annotated[
        list[str] | None, typer.Option(help="Only this ceramic, or a blend; repeatable.")
    ] = None,
    gas: Annotated[
        list[str] | None,
        typer.Option(
            help="Gas at hand: air, inert, carbon or hydrogen; repeatable. "
            "By default air, carbon, inert."
        ),
    ] = None,
    kiln: Kiln = "small studio kiln",
    tables: Tables = None,
    every: Annotated[
        bool, typer.Option("--all", help="Also list the pairs that share no firing.")
    ] = False,
    csv: Annotated[str | None, typer.Option(help="Write all pairs as CSV; - for stdout.")] = None,
    json: Annotated[str | None, typer.Option(help="Write all pairs as JSON; - for stdout.")] = None,
    draw: Annotated[
        Path | None,
        typer.Option(help="Also draw the mismatch of the best pair into this folder."),
    ] = None,
    force: Force = False,
) -> None:
    """Rank pairs of metal and ceramic: can they share a firing, and how far apart are they then?

    Example:  cofire screen --gas carbon --metal copper --all
    """
    from cofire.errors import UnknownName
    from cofire.inputs.firing import find_kiln, load_kilns
    from cofire.inputs.properties import GASES
    from cofire.inputs.tables import load_cards
    from cofire.output import pairs as table
    from cofire.output.writing import write_text
    from cofire.physics.blends import find_material
    from cofire.planning import screening

    cards = load_cards(tables or [])
    found = find_kiln(kiln, load_kilns(tables or []))
    gases = tuple(gas or screening.STUDIO_GASES)
    for name in gases:
        if name not in GASES:
            raise UnknownName("gas", name, GASES, "--gas")
    metals = (
        [find_material(m, cards) for m in metal]
        if metal
        else [card for card in cards.values() if card.kind == "metal"]
    )
    ceramics = (
        [find_material(c, cards) for c in ceramic]
        if ceramic
        else [card for card in cards.values() if card.kind == "ceramic"]
    )
    pairs = screening.screen(metals, ceramics, found, gases)
    if csv:
        write_text(csv, table.as_csv(pairs), force)
    if json:
        write_text(json, table.as_json(pairs, found.name, gases), force)
    if "-" not in (csv, json):
        typer.echo(table.as_text(pairs, found.name, every=every), nl=False)
    if draw is not None:
        from cofire.output.cli.mismatch import draw_best

        draw_best(pairs, {c.name: c for c in [*metals, *ceramics]}, found, draw, force)
