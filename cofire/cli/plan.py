"""`cofire plan`, `cofire layers` and `cofire schedule`: proposals for one vessel."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.cli.common import (
    DEFECT,
    INTERRUPTED,
    Force,
    System,
    Tables,
    Units,
    UnitsOfPage,
    Workers,
    aside,
    guarded,
    show,
)
from cofire.cli.progress import PLAN, TWO, running
from cofire.cli.vessel import Begun, Extend, Vessel, begun

if TYPE_CHECKING:
    from cofire.firing.program import Kiln
    from cofire.materials.card import Card
    from cofire.vessel import Vessel as VesselInput


def read(
    file: Path, tables: list[Path] | None, extend: bool = False
) -> tuple[VesselInput, dict[str, Card], dict[str, Kiln]]:
    """Vessel, cards and kilns of a command, which says itself when nothing is refused.

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
    tuple of Vessel, dict and dict
        The vessel, materials by name, and the kilns that files may name.
    """
    from cofire.design.at_hand import known_materials
    from cofire.firing.program import load_kilns
    from cofire.materials.catalogue import load_cards
    from cofire.vessel_file import read_vessel

    given = read_vessel(file, tables=tables or [])
    kilns, cards = load_kilns(given.tables), load_cards(given.tables)
    known_materials(given, cards)
    return begun(given, cards, extend), cards, kilns


@contextmanager
def second_stops(before: int) -> Iterator[None]:
    """While a plan is written, the first interrupt is answered and the second one stops.

    Parameters
    ----------
    before : int
        Interrupts so far. [-]
    """
    count = before

    def answer(number: int, frame: object) -> None:
        nonlocal count
        count += 1
        if count > 1:
            raise KeyboardInterrupt
        typer.echo("the plan is being written; Ctrl-C again stops without it", err=True)

    old = signal.signal(signal.SIGINT, answer)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, old)


@guarded
def layers(
    vessel: Vessel,
    tables: Tables = None,
    extend: Extend = False,
    units: Units = System.metric,
    workers: Workers = None,
) -> None:
    """Propose graded layers for a vessel's joint, or both, and show what more of them would buy.

    Ctrl-C shows the best so far, status 130.

    Example:  cofire layers examples/silver_foot_vessel.toml
    """
    from cofire.design.layers import propose_layers
    from cofire.report.plan import layers_text
    from cofire.workers import local_processes

    given, cards, _ = read(vessel, tables, extend)
    tell = Begun(given, running(), units)
    with local_processes(workers) as executor:
        found = propose_layers(
            given, cards, extend=extend, executor=executor,
            progress=lambda n, of: tell(f"layouts: {n} of {of}"),
        )  # fmt: skip
    tell("")
    show(layers_text(found), units)
    if not found.finished:
        raise typer.Exit(INTERRUPTED)


@guarded
def schedule(
    vessel: Vessel,
    out: Annotated[Path | None, typer.Option(help="Write the firing as a file.")] = None,
    tables: Tables = None,
    extend: Extend = False,
    units: Units = System.metric,
    force: Force = False,
    workers: Workers = None,
) -> None:
    """Propose the shortest firing of a vessel that keeps every flag at its target.

    Ctrl-C shows, and writes, the best so far, status 130.

    Example:  cofire schedule examples/silver_foot_vessel.toml --out firing.toml
    """
    from cofire.design.schedule import propose_schedule
    from cofire.report.imperial import as_set
    from cofire.report.plan import schedule_text, segments_text
    from cofire.report.read_again import firing_toml
    from cofire.report.writing import check_targets, write_file
    from cofire.workers import local_processes

    check_targets([out], force)
    given, cards, kilns = read(vessel, tables, extend)
    tell = Begun(given, running({"firings": 1.0}), units)
    with local_processes(workers) as executor:
        found = propose_schedule(
            given, cards, extend=extend, executor=executor,
            progress=lambda n: tell(f"firings: {n}"),
        )  # fmt: skip
    tell("")
    show(schedule_text(found), units, as_set(found.firing, segments_text(found)))
    if out is not None:
        write_file(out, lambda s: s.write(firing_toml(found.firing, kilns).encode()), force)
    if not found.finished:
        raise typer.Exit(INTERRUPTED)


@guarded
def plan(
    vessel: Vessel,
    out: Annotated[Path, typer.Option(help="Folder for the plan; replaced whole.")] = Path(
        "cofire-plan"
    ),
    tables: Tables = None,
    extend: Extend = False,
    units: UnitsOfPage = System.metric,
    force: Force = False,
    workers: Workers = None,
) -> None:
    """Plan one vessel: check it as given, propose layers and firing, check those, write it all.

    It has one joint, or two: a band in the middle, or one material at both ends.
    Status 4 where even the proposal is a no. Ctrl-C writes the best so far, status 130; a second
    one stops at once.

    Example:  cofire plan examples/silver_foot_vessel.toml --out my_plan
    """
    from cofire.design.plan import propose
    from cofire.report.plan_folder import write_plan
    from cofire.report.writing import check_plan_folder
    from cofire.workers import local_processes

    given, cards, kilns = read(vessel, tables, extend)
    check_plan_folder(out, force)
    tell = running(PLAN if given.upper is None else TWO)
    try:
        with local_processes(workers) as executor:
            found = propose(given, cards, extend=extend, tell=tell, executor=executor)
            tell("writing")
            with second_stops(0 if found.finished else 1):
                written = write_plan(found, out, force, vessel, kilns, executor, units=units.value)
    except KeyboardInterrupt:
        tell("")
        typer.echo("cofire: stopped; nothing was written", err=True)
        raise typer.Exit(INTERRUPTED) from None
    tell("")
    show(written.text, units, written.as_set)
    for line in written.missing:
        aside(f"left out: {line}")
    aside(f"written: {out}")
    if not found.finished:
        raise typer.Exit(INTERRUPTED)
    if found.verdict.word == "no":
        raise typer.Exit(DEFECT)
