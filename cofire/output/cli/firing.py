"""`cofire firing`: what kiln and ware really do under a firing file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cofire.output.cli.common import Force, Tables, guarded


@guarded
def firing(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Firing file.")],
    tables: Tables = None,
    csv: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the trace as CSV; - for stdout.")
    ] = None,
    force: Force = False,
) -> None:
    """Show what kiln and ware really do under a firing, and the heat work of the ware.

    Example:  cofire firing examples/silver_on_frit_firing.toml
    """
    from cofire.inputs.firing import load_kilns, read_firing
    from cofire.inputs.trace import trace
    from cofire.output.firing_table import as_csv, as_text
    from cofire.output.writing import STANDARD_OUTPUT, check_targets, write_text

    check_targets([csv], force)
    programme = read_firing(file, load_kilns(tables or []))
    curve = trace(programme)
    if csv is not None:
        write_text(csv, as_csv(curve), force)
    if csv != STANDARD_OUTPUT:
        typer.echo(as_text(programme, curve), nl=False)
