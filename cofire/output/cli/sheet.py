"""`cofire sheet`: the firing sheet of one vessel."""

from __future__ import annotations

from typing import Annotated

import typer

from cofire.output.cli.check import Extend, Vessel, fired
from cofire.output.cli.common import DEFECT, Force, Tables, guarded
from cofire.output.cli.plan import tell


@guarded
def sheet(
    vessel: Vessel,
    out: Annotated[
        str, typer.Option(metavar="FILE", help="The HTML file; - for stdout.")
    ] = "sheet.html",
    tables: Tables = None,
    extend: Extend = False,
    force: Force = False,
) -> None:
    """Write the firing sheet of a vessel as its file has it: one HTML file, two pages on paper.

    Print, pastes, programme, test pieces and cautions, for the printer and the kiln. Status 4
    where the verdict is no.

    Example:  cofire sheet examples/silver_foot_vessel.toml --out sheet.html
    """
    from cofire.output.sheet import write_sheet
    from cofire.output.writing import check_targets, write_text
    from cofire.planning.making import making

    check_targets([out], force)
    found = making(fired(vessel, tables, extend), tell=tell)
    tell("")
    write_text(out, write_sheet(found), force)
    typer.echo(f"{found.verdict.word}; written: {out}", err=True)
    if found.verdict.word == "no":
        raise typer.Exit(DEFECT)
