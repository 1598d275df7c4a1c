"""The command line: one file a command; only here are results printed and statuses set.

Statuses: 0 done; 1 a fault in cofire; 2 wrong command line; 3 a material, kiln, firing or vessel
is wrong or missing; 4 done, and a defect is predicted; 130 interrupted.
"""

from __future__ import annotations

import io
import os
import signal
import sys
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

# Read when numpy is first imported, inside a command: this process is ours, and needs no threads of
# the linear algebra at all (see `cofire.numerics.one_thread`).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS = {
    "screen": ("pairs", "Rank pairs of metal and ceramic that can share a firing."),
    "mismatch": ("pairs", "Draw how far apart two zones are along a firing."),
    "stress": ("vessel", "Show the largest tension in each band of a vessel."),
    "check": ("vessel", "Say whether a vessel will survive: go, caution or no."),
    "sweep": ("sweep", "Judge every row of a table of vessels and firings."),
    "plan": ("plan", "Plan one vessel: layers, firing, alternatives, files."),
    "layers": ("plan", "Propose graded layers for a vessel's joint."),
    "schedule": ("plan", "Propose ramps, holds and cooling for a vessel."),
    "partner": ("pairs", "Say which partner one zone of a vessel would need."),
    "make": ("job", "Say what to print, weigh and change, and in what size."),
    "sheet": ("job", "Write the sheet for printer and kiln, for phone or A4."),
    "materials": ("materials", "List material cards, show one, or check your own."),
    "calibrate": ("evidence", "Fit a material card to your own measurements."),
    "replay": ("evidence", "Run the model on the firing a vessel really had."),
    "firing": ("materials", "Show what kiln and ware really do under a firing."),
    "new": ("new", "Write a file to begin with, every field explained."),
    "record": ("evidence", "Keep predictions, firings and outcomes, and compare."),
}
"""Name of each command: its file, and what it does in the words that fit a line of --help. A
command is loaded when it is asked for."""


class _Later(TyperGroup):
    """Commands by name, each loaded when it is asked for."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        names: dict[str, Any] = dict.fromkeys(COMMANDS)
        self.commands = names  # where the names near a mistyped one are looked up

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        found = getattr(import_module(f"cofire.cli.{COMMANDS[cmd_name][0]}"), cmd_name)
        if not isinstance(found, typer.Typer):
            alone = typer.Typer(
                rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False
            )
            alone.command(cmd_name)(found)
            found = alone
        command = typer.main.get_command(found)
        command.name = cmd_name
        return command

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


app = typer.Typer(
    name="cofire",
    cls=_Later,
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=(
        "Plan how a metal-clay zone and a ceramic zone of one vessel survive one shared firing.\n\n"
        "Begin with:  cofire screen, then cofire new vessel\n\n"
        "Status: 0 done, 1 a fault in cofire, 2 wrong command line, 3 wrong or missing input, 4 a "
        "defect is predicted, 130 interrupted."
    ),
)


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
    try:
        app()
    except OSError as error:  # of a help or a version; commands say their own
        from cofire.cli.common import INPUT_WRONG, unwritten

        unwritten(error)
        raise SystemExit(INPUT_WRONG) from None


def _ended(number: int, frame: object) -> None:
    """A request to end is answered as an interrupt is: nothing half is left, nor a child."""
    raise SystemExit(128 + number)
