"""`cofire check`: the verdict on one vessel."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.output.cli.common import DEFECT, Tables, guarded

if TYPE_CHECKING:
    from cofire.planning.ware.response import Response


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
    from cofire.planning.ware.response import fire_vessel

    vessel = read_vessel(file, load_kilns(tables or []))
    return fire_vessel(vessel, load_cards(tables or []), extend=extend)


@guarded
def check(
    vessel: Vessel,
    tables: Tables = None,
    extend: Extend = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
    uncertainty: Annotated[
        bool,
        typer.Option("--uncertainty", help="Say how sure the verdict is, and what to measure."),
    ] = False,
    samples: Annotated[
        int, typer.Option(metavar="N", help="How many, with --uncertainty; a power of two.")
    ] = 256,
    seed: Annotated[
        int, typer.Option(metavar="N", help="Of the samples: the same one, the same answer.")
    ] = 0,
) -> None:
    """Say whether a vessel will survive its firing: go, caution or no, and why.

    Status 4 where the verdict is no.

    Example:  cofire check examples/silver_foot_vessel.toml --uncertainty
    """
    from cofire.output.verdict_text import as_json, as_text
    from cofire.planning.ware.cautions import cautions
    from cofire.planning.ware.verdict import judge

    response = fired(vessel, tables, extend)
    verdict = judge(response)
    write = as_json if json else as_text
    text = write(response, verdict, cautions(response))
    if uncertainty:
        text = _with_uncertainty(text, response, samples, seed, json)
    typer.echo(text, nl=False)
    if verdict.word == "no":
        raise typer.Exit(DEFECT)


def _with_uncertainty(text: str, response: Response, count: int, seed: int, json: bool) -> str:
    """The verdict as written, and how sure it is."""
    from json import dumps, loads

    from cofire.output.uncertainty_text import uncertainty_row, uncertainty_text
    from cofire.planning.evidence.measure_next import measure_next
    from cofire.planning.evidence.uncertainty import sample_verdicts

    def tell(line: str) -> None:
        if sys.stderr.isatty():
            typer.echo(f"\r{line:<60}", nl=False, err=True)

    found = sample_verdicts(response, count, seed, lambda n, of: tell(f"{n} of {of} samples"))
    ranking = measure_next(found)
    tell("")
    if not json:
        return f"{text}\n{uncertainty_text(found, ranking)}"
    whole = loads(text) | {"uncertainty": uncertainty_row(found, ranking)}
    return dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
