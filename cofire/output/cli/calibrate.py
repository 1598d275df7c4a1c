"""`cofire calibrate`: a card fitted to your own bars, curves and strengths."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.errors import InputError
from cofire.output.cli.common import Force, Tables, guarded

FORMS = (".png", ".svg")


@guarded
def calibrate(
    measured: Annotated[Path, typer.Argument(metavar="MEASURED", help="File of measurements.")],
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the new card; a copy of the old one.")
    ] = None,
    draw: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Draw data, fit and residuals (.png or .svg), and a .csv."
        ),
    ] = None,
    tables: Tables = None,
    force: Force = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
) -> None:
    """Fit a material card to your own measurements, with confidence intervals.

    Says which values the measurements cannot tell, and what to fire next. The new card is a copy of
    the old one with the measured values; put it into a folder of your own tables.

    Example:  cofire calibrate examples/measured_fritted_body.toml --out frit.toml
    """
    from cofire.inputs.firing import load_kilns
    from cofire.inputs.measured import read_measured
    from cofire.inputs.tables import find_card, load_cards
    from cofire.output import calibration_figures
    from cofire.output.calibration_text import as_json, as_text
    from cofire.output.card_text import card_text
    from cofire.output.figures import save
    from cofire.output.writing import check_targets, one_line, write_file, write_text
    from cofire.planning.evidence.calibration import calibrate as fitted

    if draw is not None and draw.suffix not in FORMS:
        raise InputError(f"--draw: {draw}; allowed: a name that ends in {' or '.join(FORMS)}")
    numbers = None if draw is None else draw.with_suffix(".csv")
    check_targets([out, draw, numbers], force)
    given = read_measured(measured, load_kilns(tables or []))
    cards = load_cards(tables or [])
    found = fitted(find_card(given.material, cards), given, cards)
    text = None if out is None else card_text(found)
    if draw is not None:
        figure = calibration_figures.calibration_figure(found)
        write_file(draw, lambda s: save(figure, s, draw.suffix[1:]), force)
        write_text(str(numbers), calibration_figures.calibration_csv(found), force)
    if out is not None and text is not None:
        write_file(out, lambda s: s.write(text.encode()), force)
        typer.echo(f"written: {one_line(str(out))}", err=True)
    write = as_json if json else as_text
    typer.echo(write(found), nl=False)
