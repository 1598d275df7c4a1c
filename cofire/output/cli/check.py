"""`cofire check`: the verdict on one vessel."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.output.cli.common import DEFECT, Tables, guarded

if TYPE_CHECKING:
    from cofire.planning.response import Response


Vessel = Annotated[Path, typer.Argument(help="Vessel file.")]
Extend = Annotated[
    bool, typer.Option(help="Hold a table's last value beyond its rows; the output says so.")
]


def fired(file: Path, tables: list[Path] | None, extend: bool) -> Response:
    """The vessel of a file through its firing.

    Parameters
    ----------
    file : Path
        Vessel file.
    tables : list of Path, optional
        The user's tables.
    extend : bool
        Whether tables may be held beyond their rows.

    Returns
    -------
    Response
        Histories and stress.
    """
    from cofire.inputs.firing import load_kilns
    from cofire.inputs.tables import load_cards
    from cofire.inputs.vessel import read_vessel
    from cofire.planning.response import fire_vessel

    vessel = read_vessel(file, load_kilns(tables or []))
    return fire_vessel(vessel, load_cards(tables or []), extend=extend)


@guarded
def check(
    vessel: Vessel,
    tables: Tables = None,
    extend: Extend = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
) -> None:
    """Say whether a vessel will survive its firing: go, caution or no, and why.

    Status 4 where the verdict is no.

    Example:  cofire check examples/silver_foot_vessel.toml
    """
    from cofire.output.verdict_text import as_json, as_text
    from cofire.output.writing import columns
    from cofire.planning.cautions import cautions
    from cofire.planning.verdict import judge

    response = fired(vessel, tables, extend)
    verdict = judge(response)
    hazards = cautions(response)
    if json:
        typer.echo(as_json(response, verdict, hazards), nl=False)
    else:
        typer.echo(as_text(response, verdict, hazards, min(columns(), 100)), nl=False)
    if verdict.word == "no":
        raise typer.Exit(DEFECT)
