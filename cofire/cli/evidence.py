"""`cofire calibrate`, `replay` and `record`: what was measured and what came out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cofire.cli.common import DEFECT, Force, System, Tables, Units, as_tables, aside, guarded
from cofire.cli.common import show as told
from cofire.cli.progress import CALIBRATE, running
from cofire.cli.vessel import Extend, Vessel, begun, tell_own
from cofire.errors import InputError
from cofire.fields import RECORD_FILE

if TYPE_CHECKING:
    from cofire.report.record import Kept


# ----------------------------------------------------------------------------------------------
# `cofire calibrate`: a card fitted to your own bars, curves and strengths

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
    units: Units = System.metric,
) -> None:
    """Fit a material card to your own measurements, with confidence intervals.

    Says which values the measurements cannot tell, and what to fire next. The new card is a copy of
    the old one with the measured values; put it into a folder of your own tables.

    Example:  cofire calibrate examples/measured_fritted_body.toml --out frit.toml
    """
    from cofire.evidence.calibration import calibrate as fitted
    from cofire.evidence.measured import read_measured
    from cofire.firing.program import load_kilns
    from cofire.materials.catalogue import find_card, load_cards
    from cofire.report import calibration as calibration_figures
    from cofire.report.calibration import as_json, as_text, card_text
    from cofire.report.figures import save
    from cofire.report.writing import (
        check_targets,
        make_folder,
        one_line,
        write_file,
        write_text,
    )

    if draw is not None and draw.suffix not in FORMS:
        raise InputError(f"--draw: {draw}; allowed: a name that ends in {' or '.join(FORMS)}")
    numbers = None if draw is None else draw.with_suffix(".csv")
    new = out if out is not None and out.parent.exists() else None  # else its folder is made
    check_targets([new, draw, numbers], force)
    given = read_measured(measured, load_kilns(tables or []))
    cards = load_cards(tables or [])
    tell = running(CALIBRATE)
    found = fitted(find_card(given.material, cards), given, cards, tell)
    tell("")
    write = as_json if json else as_text
    told(write(found), System.metric if json else units)
    text = None if out is None else card_text(found)
    if draw is not None:
        figure = calibration_figures.calibration_figure(found)
        write_file(draw, lambda s: save(figure, s, draw.suffix[1:]), force)
        write_text(str(numbers), calibration_figures.calibration_csv(found), force)
    if out is not None and text is not None:
        make_folder(out.parent)
        write_file(out, lambda s: s.write(text.encode()), force)
        first, folder = as_tables(out)
        then = f"{first}--tables {folder} with every command that is to know it, or that folder"
        typer.echo(
            f"written: {one_line(str(out))}; next: {one_line(then)} as tables in a vessel's file",
            err=True,
        )


# ----------------------------------------------------------------------------------------------
# `cofire replay`: the firing a vessel really had, from a logger's file


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
        typer.Option(
            "--cracked-C", metavar="T", help="What the log's thermocouple showed when it was heard."
        ),
    ] = None,
    tables: Tables = None,
    extend: Extend = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
    units: Units = System.metric,
) -> None:
    """Run the model on the firing that a vessel really had, and compare it with the plan.

    Status 4 where the verdict on the firing as logged is no.

    Example:  cofire replay examples/silver_foot_vessel.toml examples/silver_foot_log.csv
    """
    from cofire.errors import InputError
    from cofire.evidence.replay import replay as replayed
    from cofire.firing.log import read_firing_log
    from cofire.firing.stamps import UNITS
    from cofire.materials.catalogue import load_cards
    from cofire.report.replay import as_json, as_text
    from cofire.units import MINUTE, kelvin
    from cofire.vessel_file import read_vessel

    if time_unit is not None and time_unit not in UNITS:
        raise InputError(f"--time-unit: {time_unit}; allowed: {', '.join(UNITS)}")
    if lag_min is not None and not 0.0 <= lag_min <= 600.0:
        raise InputError(f"--lag-min: {lag_min:g}; allowed: 0 to 600")
    given = read_vessel(vessel, tables=tables or [])
    cards = load_cards(given.tables)
    given = begun(given, cards, extend)
    if len(set(given.firing.gases)) > 1:
        raise InputError(
            f"{given.firing.name}: {given.firing.gas_words}; a log does not say when the gas "
            "changed, so it cannot be replayed"
        )
    lag = given.firing.lag if lag_min is None else lag_min * MINUTE
    seen = read_firing_log(
        log, thermocouple=thermocouple, lag=lag, gas=given.firing.gas, temperature_unit=unit,
        time_unit=time_unit, column=column, time_column=time_column,
    )  # fmt: skip
    tell_own(
        given, System.metric if json else units
    )  # once all that was given is known to be right
    found = replayed(
        given,
        seen,
        cards,
        extend=extend,
        cracked=None if cracked_mm is None else cracked_mm / 1e3,
        cracked_at=None if cracked_c is None else kelvin(cracked_c),
    )
    told((as_json if json else as_text)(found), System.metric if json else units)
    if found.verdicts[1].word == "no":
        raise typer.Exit(DEFECT)


# ----------------------------------------------------------------------------------------------
# `cofire record`: what was foretold, how it was fired, what came of it

record = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help=(
        "Keep a record of predictions, firings and outcomes, and compare them.\n\n"
        'Example:  cofire record add check.json --piece "bowl 3"'
    ),
)

Record = Annotated[
    Path, typer.Option("--record", metavar="FILE", help="The record; made where there is none.")
]
USUAL = Path(RECORD_FILE)
DRAWN = ("calibration.png", "calibration.svg", "calibration.csv", "comparison.json")


@record.command()
@guarded
def add(
    sources: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE]...",
            help="A plan's folder, what 'cofire check --json' printed, a firing file or a log; "
            "or a form of 'cofire new record' that names them.",
        ),
    ] = None,
    piece: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="The piece; by default its vessel's name. 'NAME (2)', 'NAME, rung 0.50' teach a "
            "check of that vessel too; any other name does after a prediction of it.",
        ),
    ] = None,
    outcome: Annotated[
        str | None,
        typer.Option(help="What came of it: sound, cracked, debonded, cambered or slumped."),
    ] = None,
    where: Annotated[str, typer.Option(help="Where on the piece, in words.")] = "",
    when: Annotated[str, typer.Option(help="When it was seen, in words.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    column: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Of a log: column of the temperature, or its number."),
    ] = None,
    time_column: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Of a log: column of the time, or its number."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="Of a log: C, F or K, if it does not tell.")
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="Of a log: s, min or h, likewise.")
    ] = None,
    file: Record = USUAL,
    tables: Tables = None,
) -> None:
    """Add a prediction, a firing or an outcome; nothing is ever changed or taken out.

    Example:  cofire record add --piece "bowl 3" --outcome cracked --where "20 mm up"
    """
    from cofire.errors import InputError
    from cofire.evidence.record import OUTCOME, outcome_entry, same
    from cofire.firing.stamps import UNITS
    from cofire.report.record import append_many, entry_line, outcome_words

    if outcome is None and (where or when or note):
        raise InputError("--where, --when and --note belong to an outcome; give --outcome too")
    if time_unit is not None and time_unit not in UNITS:
        raise InputError(f"--time-unit: {time_unit}; allowed: {', '.join(UNITS)}")
    log: dict[str, Any] = {
        "column": column, "time_column": time_column, "temperature_unit": unit,
        "time_unit": time_unit,
    }  # fmt: skip
    entries = [entry for source in sources or [] for entry in _entries(source, piece, tables, log)]
    pieces = {entry["piece"] for entry in entries if "piece" in entry}
    named = piece if piece is not None or len(pieces) != 1 else pieces.pop()
    if not entries and outcome is None:
        raise InputError("nothing to add; give files, or --piece and --outcome")
    if named is None and (outcome is not None or any("piece" not in e for e in entries)):
        raise InputError("--piece is missing; whose firing or outcome is it?")
    entries = [{"piece": named} | entry for entry in entries]
    if outcome is not None:
        entries.append(outcome_entry(named or "", outcome, where, when, note))
    kept = list(_read(file).entries) if file.exists() else []
    for entry in [*entries]:
        last = [old for old in kept if (old["kind"], old.get("piece")) == _whose(entry)][-1:]
        if last and same(last[0], entry):
            entries.remove(entry)
            aside(
                f"cofire: {entry['piece']}: this {entry['kind']} stands in the record already; "
                "not added again"
            )
        elif entry["kind"] == OUTCOME and (told := outcome_words(kept, entry)):
            aside(told)
        kept.append(entry)
    append_many(file, entries)
    for entry in entries:
        typer.echo(entry_line(entry).strip())


@record.command()
@guarded
def show(
    piece: Annotated[str | None, typer.Option(metavar="NAME", help="Only this piece.")] = None,
    file: Record = USUAL,
) -> None:
    """Show the entries of the record, oldest first.

    Example:  cofire record show --piece "bowl 3"
    """
    from cofire.errors import UnknownName
    from cofire.evidence.record import of_piece
    from cofire.report.record import show_text
    from cofire.report.writing import columns

    kept = _read(file)
    entries = kept.entries if piece is None else of_piece(kept.entries, piece)
    if piece is not None and not entries:
        raise UnknownName("piece", piece, {entry["piece"] for entry in kept.entries}, str(file))
    typer.echo(show_text(entries, columns()), nl=False)


@record.command()
@guarded
def compare(
    out: Annotated[
        Path | None, typer.Option(help="Folder for calibration.png, .svg, .csv, comparison.json.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
    file: Record = USUAL,
    force: Force = False,
) -> None:
    """Compare what was foretold with what came of it, over the whole record.

    Example:  cofire record compare --out cofire-out
    """
    from cofire.evidence.record import compare as compared
    from cofire.report.record import classes_csv, compare_json, compare_text
    from cofire.report.writing import check_folder, make_folder, write_file, write_text

    if out is not None:
        check_folder(out, DRAWN, force)
    found = compared(_read(file).entries)
    typer.echo(compare_json(found) if json else compare_text(found), nl=False)
    if out is not None and not found.told:
        make_folder(out)
        write_text(str(out / DRAWN[-1]), compare_json(found), force)
        aside(
            "no piece has both a foretold probability and an outcome: no calibration figure; "
            f"written: {out / DRAWN[-1]}"
        )
    elif out is not None:
        from cofire.report.figures import save
        from cofire.report.record import calibration_figure

        figure = calibration_figure(found)
        make_folder(out)
        png, svg, classes, whole = (out / name for name in DRAWN)
        write_file(png, lambda s: save(figure, s, "png"), force)
        write_file(svg, lambda s: save(figure, s, "svg"), force)
        write_text(str(classes), classes_csv(found), force)
        write_text(str(whole), compare_json(found), force)
        aside(f"written: {out / 'calibration.png'}, .svg, .csv, comparison.json")


def _whose(entry: dict[str, Any]) -> tuple[Any, Any]:
    return entry["kind"], entry.get("piece")


def _read(file: Path) -> Kept:
    """The record, with a word on stderr about what could not be counted."""
    from cofire.report.record import harm_text, read_record
    from cofire.report.writing import complaint

    kept = read_record(file)
    for line in harm_text(kept, str(file)):
        typer.echo(complaint(f"cofire: {line}"), err=True)
    return kept


def _entries(
    source: Path, piece: str | None, tables: list[Path] | None, log: dict[str, Any]
) -> list[dict[str, Any]]:
    """The entries of one file: one, or those that a form names."""
    from cofire.evidence.record import outcome_entry, read_form
    from cofire.files import read_toml

    if source.suffix.lower() != ".toml":
        return [_entry(source, piece, tables, log)]
    table = read_toml(source)
    if "piece" not in table:
        return [_entry(source, piece, tables, log)]
    form = read_form(table, str(source))
    name = piece or form["piece"]
    own = {"temperature_unit" if key == "unit" else key: form.get(key)
           for key in ("column", "time_column", "unit", "time_unit")}  # fmt: skip
    given = log | {key: value for key, value in own.items() if value is not None}
    found = [
        _entry(source.parent / form[key], name, tables, given)
        for key in ("prediction", "firing")
        if key in form
    ]
    if "outcome" in form:
        told = [form.get(key, "") for key in ("where", "when", "note")]
        found.append(outcome_entry(name, form["outcome"], *told))
    return found


def _entry(
    source: Path, piece: str | None, tables: list[Path] | None, log: dict[str, Any]
) -> dict[str, Any]:
    """The entry of one file, told by what it is."""
    from hashlib import sha256

    from cofire.evidence.record import FIRING, LONGEST_PIECE, words
    from cofire.files import read_bytes, read_text
    from cofire.firing.sheets import LARGEST_LOG

    path = source / "plan.json" if source.is_dir() else source
    if path.suffix.lower() == ".json":
        text = read_text(path)
        own = {"from": str(source), "sha256": sha256(text.encode()).hexdigest()}
        return _prediction(path, text, piece) | own
    raw = read_bytes(path, LARGEST_LOG)  # a log comes in any coding
    own = {"from": str(source), "sha256": sha256(raw).hexdigest()}
    entry: dict[str, Any] = {"kind": FIRING}
    if piece is not None:
        entry["piece"] = words(piece, "piece", LONGEST_PIECE)
    return entry | _firing(path, tables, log) | own


def _prediction(path: Path, text: str, piece: str | None) -> dict[str, Any]:
    from cofire.errors import InputError
    from cofire.evidence.record import prediction_entry
    from cofire.files import read_json

    try:
        whole = read_json(text)
    except ValueError as error:
        raise InputError(f"{path}: not JSON ({str(error)[:80]})") from None
    if not isinstance(whole, dict):
        raise InputError(f"{path}: not a JSON object; give what 'cofire check --json' printed")
    return prediction_entry(whole, piece, str(path))


def _firing(path: Path, tables: list[Path] | None, log: dict[str, Any]) -> dict[str, Any]:
    """Name, peak and length of a firing: planned in a TOML file, or logged."""
    from cofire.firing.kiln import trace
    from cofire.firing.log import read_firing_log
    from cofire.firing.program import load_kilns, read_firing
    from cofire.units import HOUR, celsius

    peak = "peak_C"
    if path.suffix.lower() == ".toml":
        firing = read_firing(path, load_kilns(tables or []))
        curve, name = trace(firing), firing.name
        more = {"gas": firing.gas_words, "kiln": firing.kiln.name, "logged": False}
    else:
        seen = read_firing_log(path, **log)
        curve, name = seen.trace, path.name
        more = {"logged": True, "notes": list(seen.notes)}
        if seen.hidden is not None:
            peak = "peak_at_least_C"
        for line in seen.notes:
            aside(f"cofire: {path}: {line}")
    hours = float(curve.time[-1] - curve.time[0]) / HOUR
    return {
        "firing": name, peak: round(celsius(curve.peak), 1), "hours": round(hours, 2),
    } | more  # fmt: skip
