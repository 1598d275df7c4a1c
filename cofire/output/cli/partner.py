"""`cofire partner`: which partner a zone would need, and what comes nearest."""

from __future__ import annotations

from typing import Annotated

import typer

from cofire.output.cli.check import Vessel
from cofire.output.cli.common import Tables, guarded
from cofire.output.cli.plan import read, tell

KINDS = ("metal", "ceramic")


@guarded
def partner(
    vessel: Vessel,
    of: Annotated[str, typer.Option(help="Zone that stays: metal or ceramic.")] = KINDS[0],
    tables: Tables = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
) -> None:
    """Say which partner one zone of a vessel would need for go, and which cards come nearest.

    Example:  cofire partner examples/silver_foot_vessel.toml --of metal
    """
    from cofire.errors import UnknownName
    from cofire.output.partner_text import partner_json, partner_text
    from cofire.planning.proposals.nearest_partners import nearest
    from cofire.planning.proposals.partner import wanted_partner

    if of not in KINDS:
        raise UnknownName("zone", of, KINDS, "--of")
    given, cards, _ = read(vessel, tables)
    tell("partners")
    wanted = wanted_partner(given, cards, of)
    near, mixtures = nearest(wanted, given, cards)
    tell("")
    form = partner_json if json else partner_text
    typer.echo(form(wanted, near, mixtures, given.name), nl=False)
