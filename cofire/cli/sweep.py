"""`cofire sweep`: a table of vessels, firings, materials and samples to a table of verdicts."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from cofire.cli.common import INTERRUPTED, Tables, Workers, aside, guarded
from cofire.cli.vessel import Extend


@guarded
def sweep(
    table: Annotated[
        Path,
        typer.Argument(
            help="CSV: vessel, and as you like firing, peak_C, hold_min, wall_mm, metal, ceramic, "
            "sample, label."
        ),
    ],
    out: Annotated[Path, typer.Option(help="CSV of verdicts; gone on with if it is there.")] = Path(
        "verdicts.csv"
    ),
    parquet: Annotated[
        Path | None, typer.Option(help="Also as Parquet, once all rows are done (pyarrow).")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Of a Dask scheduler, instead of this machine."),
    ] = None,
    seed: Annotated[int, typer.Option(metavar="N", min=0, help="Of the samples.")] = 0,
    tables: Tables = None,
    extend: Extend = False,
    quick: Annotated[
        bool, typer.Option(help="Let a shell decide: ten times the rows in the same time.")
    ] = False,
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            help="Begin at the first row again. What is at --parquet is replaced without it where "
            "it holds verdicts of a sweep, and with it whatever it holds.",
        ),
    ] = False,
    workers: Workers = None,
) -> None:
    """Judge every row of a table, on all cores or a cluster; stopped, it goes on where it was.

    Ctrl-C keeps the rows that are done, status 130.

    Example:  cofire sweep examples/sweep.csv --out verdicts.csv
    """
    from cofire.sweeps import sweep_table
    from cofire.units import counted

    def tell(done: int, of: int) -> None:
        if sys.stderr.isatty():
            typer.echo(f"\r{done} of {counted(of, 'row')}", nl=False, err=True)

    with _executor(workers, cluster) as executor:
        try:
            found = sweep_table(
                table, out, parquet=parquet, tables=tables or [], seed=seed, extend=extend,
                quick=quick, anew=force, executor=executor, progress=tell,
            )  # fmt: skip
        except KeyboardInterrupt:
            aside(f"cofire: stopped; the same command goes on after what {out} holds")
            raise typer.Exit(INTERRUPTED) from None
    tell_end = "\n" if sys.stderr.isatty() else ""
    typer.echo(tell_end, nl=False, err=True)
    words = ", ".join(f"{found.words.get(w, 0)} {w}" for w in ("go", "caution", "no", "unknown"))
    typer.echo(f"{counted(found.rows, 'row')} ({found.before} of them done before): {words}")
    aside(f"written: {out}")
    if parquet is not None:
        aside(f"written: {parquet}")


@contextmanager
def _executor(workers: int | None, cluster: str | None) -> Iterator[Executor | None]:
    """Who works: processes of this machine, or those of a Dask cluster."""
    from cofire.errors import InputError
    from cofire.workers import local_processes

    if cluster is None:
        with local_processes(workers) as executor:
            yield executor
        return
    try:
        from distributed import Client
    except ImportError:
        raise InputError("--cluster needs Dask: pip install 'cofire[cluster]'") from None
    try:
        client = Client(cluster)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise InputError(f"--cluster {cluster}: no scheduler answers ({reason})") from None
    with client:
        executor = client.get_executor()
        try:
            yield executor
        finally:
            executor.shutdown(wait=False)
