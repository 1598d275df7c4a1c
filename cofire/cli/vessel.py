"""`cofire check` and `stress`: questions about one vessel."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.cli.common import (
    DEFECT,
    Force,
    System,
    Tables,
    Units,
    Workers,
    aside,
    guarded,
    in_units,
    show,
)
from cofire.cli.progress import running
from cofire.errors import CofireError

if TYPE_CHECKING:
    from cofire.assessment.check import Check
    from cofire.materials.card import Card
    from cofire.report.record import Kept
    from cofire.vessel import Vessel as VesselInput


# ----------------------------------------------------------------------------------------------
# `cofire check`: the verdict on one vessel

Vessel = Annotated[Path, typer.Argument(help="Vessel file.")]
Extend = Annotated[
    bool, typer.Option(help="Hold a table's last value beyond its rows; the output says so.")
]


def checked(
    file: Path,
    tables: list[Path] | None,
    extend: bool,
    quick: bool = False,
    say: bool = True,
    units: System = System.metric,
) -> Check:
    """The vessel of a file fired and judged as it will be printed.

    Parameters
    ----------
    file : Path
        Vessel file.
    tables : list of Path, optional
        The user's tables.
    extend : bool
        Whether tables may be held beyond their rows.
    quick : bool
        Whether a shell shall decide.
    say : bool
        Whether a firing that the file does not name is told on stderr.
    units : System
        In which it is told.

    Returns
    -------
    Check
        As designed and as printed.
    """
    from cofire.assessment.check import check_vessel
    from cofire.design.at_hand import known_materials
    from cofire.vessel_file import read_vessel

    given = read_vessel(file, tables=tables or [])
    cards = _cards_of(given)
    known_materials(given, cards)
    vessel = begun(given, cards, extend)
    found = check_vessel(vessel, cards, extend=extend, quick=quick)
    if say:
        tell_own(vessel, units)
    return found


def _cards_of(vessel: VesselInput) -> dict[str, Card]:
    """Its cards; all there are where a person chose among them, or one is not found."""
    from cofire.materials.catalogue import load_cards, shipped_cards_in
    from cofire.physics.blends import find_material

    if not vessel.tables and not vessel.free.materials:
        cards = shipped_cards_in(band.material for band in vessel.bands)
        with suppress(CofireError):
            for band in vessel.bands:
                find_material(band.material, cards)
            return cards
    return load_cards(vessel.tables)


def begun(vessel: VesselInput, cards: dict[str, Card], extend: bool = False) -> VesselInput:
    """The vessel with a firing; `tell_own` says where that was not the file's.

    Parameters
    ----------
    vessel : Vessel
        As read.
    cards : dict
        Materials by name.
    extend : bool
        Whether tables may be held beyond their rows.

    Returns
    -------
    Vessel
        Ready to be fired.
    """
    if vessel.left_open is None:
        return vessel
    from cofire.design.starting import started

    return started(vessel, cards, extend)


def tell_own(vessel: VesselInput, units: System = System.metric) -> None:
    """Say on stderr where a firing is not the file's own.

    Parameters
    ----------
    vessel : Vessel
        From `begun`.
    units : System
        Of the command's option.
    """
    if vessel.left_open is None:
        return
    from cofire.report.imperial import as_set
    from cofire.report.verdict import taken
    from cofire.report.writing import wrapped

    text = taken(vessel.firing)
    told = in_units(text, units, as_set(vessel.firing, text))
    typer.echo("\n".join(wrapped(told, 2)), err=True)


class Begun:
    """Progress that first says where the firing is not the file's own: nothing is refused any more.

    Parameters
    ----------
    vessel : Vessel
        From `begun`.
    tell : callable
        Is told each line of progress.
    units : System
        Of the command's option.
    """

    def __init__(
        self, vessel: VesselInput, tell: Callable[[str], None], units: System = System.metric
    ) -> None:
        self.vessel: VesselInput | None = vessel
        self.tell = tell
        self.units = units

    def __call__(self, line: str) -> None:
        """Say the notice once, then the line."""
        if self.vessel is not None:
            tell_own(self.vessel, self.units)
            self.vessel = None
        self.tell(line)


@guarded
def check(
    vessel: Vessel,
    tables: Tables = None,
    extend: Extend = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
    quick: Annotated[
        bool,
        typer.Option("--quick", help="Judge by a shell instead of a solid; the output says so."),
    ] = False,
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
    record: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="With --uncertainty: learn from the pieces in it."),
    ] = None,
    pieces: Annotated[
        int | None, typer.Option(metavar="N", help="With --uncertainty: most test pieces to print.")
    ] = None,
    paste_ml: Annotated[
        float | None, typer.Option(metavar="ML", help="With --uncertainty: most paste for them.")
    ] = None,
    workers: Workers = None,
    units: Units = System.metric,
) -> None:
    """Say whether a vessel will survive its firing: go, caution or no, and why.

    Status 4 where the verdict is no.

    Example:  cofire check examples/silver_foot_vessel.toml --uncertainty
    """
    from cofire.assessment.cautions import cautions
    from cofire.errors import InputError
    from cofire.report.imperial import as_set
    from cofire.report.verdict import as_json, as_text, taken

    needing = {"--record": record, "--pieces": pieces, "--paste-ml": paste_ml}
    idle = next((name for name, value in needing.items() if value is not None), None)
    if idle is not None and not uncertainty:
        raise InputError(f"{idle}: nothing is learned or advised without --uncertainty; give both")
    for name, value in (("--pieces", pieces), ("--paste-ml", paste_ml)):
        if value is not None and not value >= 0:
            raise InputError(f"{name} {value}; allowed: 0 or more")
    kept = None
    if record is not None:
        from cofire.report.record import read_record  # slow to import

        kept = read_record(record)
    found = checked(vessel, tables, extend, quick, say=json)
    write = as_json if json else as_text
    text = write(found, cautions(found.printed))
    if uncertainty:
        text = _with_uncertainty(
            text, found, samples, seed, json, kept, (pieces, paste_ml), workers
        )
    firing = found.vessel.firing
    show(text, System.metric if json else units, as_set(firing, taken(firing)))
    if found.word == "no":
        raise typer.Exit(DEFECT)


def _with_uncertainty(
    text: str,
    check: Check,
    count: int,
    seed: int,
    json: bool,
    kept: Kept | None,
    limits: tuple[int | None, float | None],
    workers: int | None,
) -> str:
    """The verdict as written, and how sure it is."""
    from json import dumps, loads

    from cofire.design.ladder import by_rule, ladder
    from cofire.evidence.advice import advise, options_for
    from cofire.evidence.learning import learn_from
    from cofire.evidence.measure_next import measure_next
    from cofire.evidence.uncertainty import sample_verdicts
    from cofire.materials.card import pure_cards
    from cofire.report.uncertainty import uncertainty_row, uncertainty_text
    from cofire.workers import local_processes

    tell, printed = running(), check.printed
    with local_processes(workers) as executor:
        found = sample_verdicts(
            printed, count, seed, lambda n, of: tell(f"samples: {n} of {of}"), executor=executor
        )
    drawn = check.designed  # rings of a ladder have its joints
    cards = pure_cards(drawn.cards)
    if kept is not None:
        tell("pieces of the record")
        found = learn_from(found, drawn.vessel, cards, kept.entries, check.verdict)
    ranking = measure_next(found)
    own, rungs = by_rule(check.verdict), ladder(drawn, cards)
    rings = [
        {rule: used / own[rule] for rule, used in rung.by_rule.items() if own.get(rule, 0.0) > 0.0}
        for rung in rungs
    ]
    options = options_for(
        [i.factor for i in ranking.influences], rings, sum(rung.paste for rung in rungs)
    )
    most, ml = limits
    advice = advise(found, options, pieces=most, paste=None if ml is None else 1e-6 * ml)
    tell("")
    if not json:
        return f"{text}\n{uncertainty_text(found, ranking, advice=advice)}"
    whole = loads(text) | {"uncertainty": uncertainty_row(found, ranking, advice)}
    return dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


# ----------------------------------------------------------------------------------------------
# `cofire stress`: stress of one vessel through its firing

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
    units: Units = System.metric,
    force: Force = False,
) -> None:
    """Show the largest tension in each band of a vessel: how much, when, and where.

    Example:  cofire stress examples/silver_foot_vessel.toml --out cofire-out
    """
    from cofire.assessment.response import band_stresses
    from cofire.report import stress as stress_text
    from cofire.report.writing import check_folder, columns

    if out is not None:
        check_folder(out, DRAWN, force)
    response = checked(vessel, tables, extend, units=units).printed
    bands = band_stresses(response)
    relieved = None
    if relief:
        from cofire.assessment.response import relief as switched_off
        from cofire.materials.catalogue import load_cards

        relieved = switched_off(response, load_cards(response.vessel.tables), extend)
    show(stress_text.as_text(response, bands, relieved, columns()), units)
    if out is not None:
        from cofire.report.figures import save
        from cofire.report.stress import stress_figure
        from cofire.report.writing import make_folder, write_file, write_text

        figure = stress_figure(response, bands)
        make_folder(out)
        png, svg, numbers, fields = (out / name for name in DRAWN)
        write_file(png, lambda s: save(figure, s, "png"), force)
        write_file(svg, lambda s: save(figure, s, "svg"), force)
        write_text(str(numbers), stress_text.as_json(response, bands), force)
        write_text(str(fields), stress_text.fields_csv(response), force)
        aside(f"written: {out / 'stress.png'}, .svg, .json, fields.csv")
