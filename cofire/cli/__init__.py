"""The command line: one file a command; only here are results printed and statuses set.

Statuses: 0 done; 1 a fault in cofire; 2 wrong command line; 3 a material, kiln, firing or vessel
is wrong or missing; 4 done, and a defect is predicted; 130 interrupted.
"""

from __future__ import annotations

import io
import os
import signal
import sys

import typer

from cofire.cli import evidence, job, materials, new, pairs, plan, sweep, vessel

# Read when numpy is first imported, inside a command. Every matrix here is small: more threads
# of the linear algebra would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    name="cofire",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=(
        "Plan how a metal-clay zone and a ceramic zone of one vessel survive one shared firing.\n\n"
        "Begin with:  cofire screen, then cofire new vessel\n\n"
        "Status: 0 done, 2 wrong command line, 3 wrong or missing input, 4 a defect is predicted."
    ),
)
app.command()(pairs.screen)
app.command()(pairs.mismatch)
app.command()(vessel.stress)
app.command()(vessel.check)
app.command()(sweep.sweep)
app.command()(plan.plan)
app.command()(plan.layers)
app.command()(plan.schedule)
app.command()(pairs.partner)
app.command()(job.make)
app.command()(job.sheet)
app.command()(materials.materials)
app.command()(evidence.calibrate)
app.command()(evidence.replay)
app.command()(materials.firing)
app.add_typer(new.new, name="new")
app.add_typer(evidence.record, name="record")


@app.callback(invoke_without_command=True)
def main(
    context: typer.Context,
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    """Print the version, or go on to the command."""
    if version:
        from cofire import __version__

        typer.echo(f"cofire {__version__}")
        raise typer.Exit


def run() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a character shows its code
            stream.reconfigure(errors="backslashreplace")
    signal.signal(signal.SIGTERM, _ended)
    app()


def _ended(number: int, frame: object) -> None:
    """A request to end is answered as an interrupt is: nothing half is left, nor a child."""
    raise SystemExit(128 + number)
