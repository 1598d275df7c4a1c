"""`cofire materials`: list the cards, show one with its sources, or check table files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.output.cli.common import INPUT_WRONG, Tables, guarded

if TYPE_CHECKING:
    from cofire.inputs.cards import Card


@guarded
def materials(
    name: Annotated[
        str | None, typer.Argument(help="Show this card with every number's source.")
    ] = None,
    tables: Tables = None,
    check: Annotated[
        Path | None,
        typer.Option(help="Check a card file or a folder of them; says what is wrong where."),
    ] = None,
) -> None:
    """List the material cards, show one, or check your own.

    Example:  cofire materials copper
    """
    from cofire.inputs.tables import card_files, check_files, find_card, load_cards

    if check is not None:
        files = card_files(check) if check.is_dir() else [check]
        problems = check_files(files)
        for line in problems:
            typer.echo(line, err=True)
        typer.echo(f"{len(files)} files, {len(problems)} problems")
        if problems:
            raise typer.Exit(INPUT_WRONG)
        return
    cards = load_cards(tables or [])
    if name is None:
        for card in cards.values():
            typer.echo(f"{card.kind:8} {card.name:26} {card.summary}")
    else:
        typer.echo(describe(find_card(name, cards)), nl=False)


def describe(card: Card) -> str:
    """A card as a person reads it: each number with unit, uncertainty and source.

    Parameters
    ----------
    card : Card
        The card.

    Returns
    -------
    str
        Ends in a new line.
    """
    from cofire.inputs.properties import SPECS
    from cofire.inputs.units import celsius

    lines = [f"{card.name} ({card.kind}): {card.summary}", f"file: {card.origin}"]
    if card.refused:
        lines.append(f"refused: {card.refused}")
    lines += [f"in {gas}: {remark}" for gas, remark in card.atmosphere.items()]
    for key, p in card.properties.items():
        spec = SPECS[key]
        lines.append(f"\n{key} [{p.unit}]: {spec.meaning}")
        for i, value in enumerate(p.value):
            shown = celsius(float(value)) if p.unit == "C" else value / spec.units[p.unit]
            at = "" if p.temperature is None else f" at {celsius(float(p.temperature[i])):.0f} °C"
            u = p.uncertainty[i]
            spread = {
                "%": f"{100 * u.size:g} %",
                "factor": f"factor {u.size:g}",
                "+-": f"+- {u.size / (1.0 if p.unit == 'C' else spec.units[p.unit]):g}",
            }[u.form]
            lines.append(f"  {shown:.6g}{at}  ({spread}; {p.basis[i]}: {p.source[i]})")
    return "\n".join(lines) + "\n"
