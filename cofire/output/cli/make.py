"""`cofire make`: what to take to the printer for one vessel, or for a plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.output.cli.check import Extend, fired
from cofire.output.cli.common import DEFECT, Force, Tables, guarded
from cofire.output.cli.plan import tell
from cofire.output.cli.sheet import Planned, vessel_file


@guarded
def make(
    vessel: Planned,
    out: Annotated[Path, typer.Option(help="Folder for the files; replaced whole.")] = Path(
        "cofire-making"
    ),
    tables: Tables = None,
    extend: Extend = False,
    force: Force = False,
) -> None:
    """Say what to print, weigh and swap so that a vessel fires to size, and what to test first.

    Writes green.csv, .svg (true scale) and .stl, bands, batches, swaps and test pieces as .csv, the
    vessel before and after its firing, and the mismatch of its bands over it. Status 4 where the
    verdict is no.

    Example:  cofire make examples/silver_foot_vessel.toml --out for-the-printer
    """
    from cofire.output.folders import check_plan_folder
    from cofire.output.making_files import MARK, write_making
    from cofire.output.making_text import making_text
    from cofire.planning.printing.making import making

    check_plan_folder(out, force, MARK)
    found = making(fired(vessel_file(vessel), tables, extend), tell=tell)
    tell("")
    write_making(found, out, force)
    typer.echo(making_text(found), nl=False)
    typer.echo(f"written: {out}", err=True)
    if found.verdict.word == "no":
        raise typer.Exit(DEFECT)
