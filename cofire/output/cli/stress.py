"""`cofire stress`: stress of one vessel through its firing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.output.cli.check import Extend, Vessel, fired
from cofire.output.cli.common import Force, Tables, guarded

DRAWN = ("stress.png", "stress.svg", "stress.json", "fields.csv")


@guarded
def stress(
    vessel: Vessel,
    out: Annotated[
        Path | None, typer.Option(help="Folder for stress.png, .svg, .json and fields.csv.")
    ] = None,
    relief: Annotated[
        bool,
        typer.Option(help="Also switch viscosity, creep and yield off in turn (three more runs)."),
    ] = False,
    tables: Tables = None,
    extend: Extend = False,
    force: Force = False,
) -> None:
    """Show the largest tension in each band of a vessel: how much, when, and where.

    Example:  cofire stress examples/silver_foot_vessel.toml --out cofire-out
    """
    from cofire.output import stress_text
    from cofire.output.writing import check_folder, columns
    from cofire.planning.ware.response import band_stresses

    if out is not None:
        check_folder(out, DRAWN, force)
    response = fired(vessel, tables, extend)
    bands = band_stresses(response)
    relieved = None
    if relief:
        from cofire.inputs.tables import load_cards
        from cofire.planning.ware.response import relief as switched_off

        relieved = switched_off(response.vessel, load_cards(tables or []), extend)
    typer.echo(stress_text.as_text(response, bands, relieved, columns()), nl=False)
    if out is not None:
        from cofire.output.figures import save
        from cofire.output.vessel_figures import stress_figure
        from cofire.output.writing import make_folder, write_file, write_text

        figure = stress_figure(response, bands)
        make_folder(out)
        png, svg, numbers, fields = (out / name for name in DRAWN)
        write_file(png, lambda s: save(figure, s, "png"), force)
        write_file(svg, lambda s: save(figure, s, "svg"), force)
        write_text(str(numbers), stress_text.as_json(response, bands), force)
        write_text(str(fields), stress_text.fields_csv(response), force)
        typer.echo(f"written: {out / 'stress.png'}, .svg, .json, fields.csv", err=True)
