"""`cofire replay`: the firing a vessel really had, from a logger's file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.output.cli.check import Extend, Vessel
from cofire.output.cli.common import DEFECT, Tables, guarded


@guarded
def replay(
    vessel: Vessel,
    log: Annotated[
        Path,
        typer.Argument(metavar="LOG", help="Times and temperatures, as a logger wrote them."),
    ],
    thermocouple: Annotated[
        str, typer.Option(metavar="PLACE", help="Where it sat: kiln, or ware (beside the piece).")
    ] = "kiln",
    lag_min: Annotated[
        float | None,
        typer.Option(metavar="MIN", help="Lag of the ware behind the kiln; else the firing's."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="C, F or K, where the log does not tell.")
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="s, min or h, where the log does not tell.")
    ] = None,
    column: Annotated[
        str | None, typer.Option(metavar="NAME", help="Column of the temperature, or its number.")
    ] = None,
    time_column: Annotated[
        str | None, typer.Option(metavar="NAME", help="Column of the time, or its number.")
    ] = None,
    cracked_mm: Annotated[
        float | None, typer.Option(metavar="HEIGHT", help="Height of a crack on the fired piece.")
    ] = None,
    cracked_c: Annotated[
        float | None,
        typer.Option("--cracked-C", metavar="T", help="Temperature at which it was heard."),
    ] = None,
    tables: Tables = None,
    extend: Extend = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
) -> None:
    """Run the model on the firing that a vessel really had, and compare it with the plan.

    Status 4 where the verdict on the firing as logged is no.

    Example:  cofire replay examples/silver_foot_vessel.toml examples/silver_foot_log.csv
    """
    from cofire.errors import InputError
    from cofire.inputs.firing import load_kilns
    from cofire.inputs.firing_log import read_firing_log
    from cofire.inputs.log_times import UNITS
    from cofire.inputs.tables import load_cards
    from cofire.inputs.units import MINUTE, kelvin
    from cofire.inputs.vessel import read_vessel
    from cofire.output.replay_text import as_json, as_text
    from cofire.planning.evidence.replay import replay as replayed

    if time_unit is not None and time_unit not in UNITS:
        raise InputError(f"--time-unit: {time_unit}; allowed: {', '.join(UNITS)}")
    if lag_min is not None and not 0.0 <= lag_min <= 600.0:
        raise InputError(f"--lag-min: {lag_min:g}; allowed: 0 to 600")
    given = read_vessel(vessel, load_kilns(tables or []))
    lag = given.firing.lag if lag_min is None else lag_min * MINUTE
    seen = read_firing_log(
        log, thermocouple=thermocouple, lag=lag, gas=given.firing.gas, temperature_unit=unit,
        time_unit=time_unit, column=column, time_column=time_column,
    )  # fmt: skip
    found = replayed(
        given,
        seen,
        load_cards(tables or []),
        extend=extend,
        cracked=None if cracked_mm is None else cracked_mm / 1e3,
        cracked_at=None if cracked_c is None else kelvin(cracked_c),
    )
    typer.echo((as_json if json else as_text)(found), nl=False)
    if found.verdicts[1].word == "no":
        raise typer.Exit(DEFECT)
