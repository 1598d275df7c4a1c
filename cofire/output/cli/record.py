"""`cofire record`: what was foretold, how it was fired, what came of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cofire.output.cli.common import Force, Tables, guarded

if TYPE_CHECKING:
    from cofire.output.record_file import Kept

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
USUAL = Path("cofire-record.jsonl")
DRAWN = ("calibration.png", "calibration.svg", "calibration.csv", "comparison.json")


@record.command()
@guarded
def add(
    sources: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE]...",
            help="A plan's folder, what 'cofire check --json' printed, a firing file or a log.",
        ),
    ] = None,
    piece: Annotated[
        str | None, typer.Option(metavar="NAME", help="The piece; by default its vessel's name.")
    ] = None,
    outcome: Annotated[
        str | None,
        typer.Option(help="What came of it: sound, cracked, debonded, cambered or slumped."),
    ] = None,
    where: Annotated[str, typer.Option(help="Where on the piece, in words.")] = "",
    when: Annotated[str, typer.Option(help="When it was seen, in words.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    file: Record = USUAL,
    tables: Tables = None,
) -> None:
    """Add a prediction, a firing or an outcome; nothing is ever changed or taken out.

    Example:  cofire record add --piece "bowl 3" --outcome cracked --where "20 mm up"
    """
    from cofire.errors import InputError
    from cofire.output.record_file import append_many
    from cofire.output.record_text import entry_line
    from cofire.planning.evidence.record import outcome_entry

    if outcome is None and (where or when or note):
        raise InputError("--where, --when and --note belong to an outcome; give --outcome too")
    entries = [_entry(source, piece, tables) for source in sources or []]
    pieces = {entry["piece"] for entry in entries if "piece" in entry}
    named = piece if piece is not None or len(pieces) != 1 else pieces.pop()
    if not entries and outcome is None:
        raise InputError("nothing to add; give files, or --piece and --outcome")
    if named is None and (outcome is not None or any("piece" not in e for e in entries)):
        raise InputError("--piece is missing; whose firing or outcome is it?")
    entries = [{"piece": named} | entry for entry in entries]
    if outcome is not None:
        entries.append(outcome_entry(named or "", outcome, where, when, note))
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
    from cofire.output.record_text import show_text
    from cofire.output.writing import columns
    from cofire.planning.evidence.record import of_piece

    kept = _read(file)
    entries = kept.entries if piece is None else of_piece(kept.entries, piece)
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
    from cofire.output.record_text import classes_csv, compare_json, compare_text
    from cofire.output.writing import check_folder, make_folder, write_file, write_text
    from cofire.planning.evidence.record import compare as compared

    if out is not None:
        check_folder(out, DRAWN, force)
    found = compared(_read(file).entries)
    typer.echo(compare_json(found) if json else compare_text(found), nl=False)
    if out is not None:
        from cofire.output.figures import save
        from cofire.output.record_figures import calibration_figure

        figure = calibration_figure(found)
        make_folder(out)
        png, svg, classes, whole = (out / name for name in DRAWN)
        write_file(png, lambda s: save(figure, s, "png"), force)
        write_file(svg, lambda s: save(figure, s, "svg"), force)
        write_text(str(classes), classes_csv(found), force)
        write_text(str(whole), compare_json(found), force)
        typer.echo(f"written: {out / 'calibration.png'}, .svg, .csv, comparison.json", err=True)


def _read(file: Path) -> Kept:
    """The record, with a word on stderr about what could not be counted."""
    from cofire.output.record_file import read_record
    from cofire.output.record_text import harm_text

    kept = read_record(file)
    for line in harm_text(kept, str(file)):
        typer.echo(f"cofire: {line}", err=True)
    return kept


def _entry(source: Path, piece: str | None, tables: list[Path] | None) -> dict[str, Any]:
    """The entry of one file, told by what it is."""
    from hashlib import sha256

    from cofire.inputs.files import read_text
    from cofire.planning.evidence.record import FIRING, LONGEST_PIECE, words

    path = source / "plan.json" if source.is_dir() else source
    text = read_text(path)
    own = {"from": str(source), "sha256": sha256(text.encode()).hexdigest()}
    if path.suffix.lower() == ".json":
        return _prediction(path, text, piece) | own
    entry: dict[str, Any] = {"kind": FIRING}
    if piece is not None:
        entry["piece"] = words(piece, "piece", LONGEST_PIECE)
    return entry | _firing(path, tables) | own


def _prediction(path: Path, text: str, piece: str | None) -> dict[str, Any]:
    from json import loads

    from cofire.errors import InputError
    from cofire.planning.evidence.record import prediction_entry

    try:
        whole = loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not JSON ({str(error)[:80]})") from None
    if not isinstance(whole, dict):
        raise InputError(f"{path}: not a JSON object; give what 'cofire check --json' printed")
    return prediction_entry(whole, piece, str(path))


def _firing(path: Path, tables: list[Path] | None) -> dict[str, Any]:
    """Name, peak and length of a firing: planned in a TOML file, or logged."""
    from cofire.inputs.firing import load_kilns, read_firing
    from cofire.inputs.firing_log import read_firing_log
    from cofire.inputs.trace import trace
    from cofire.inputs.units import HOUR, celsius

    if path.suffix.lower() == ".toml":
        firing = read_firing(path, load_kilns(tables or []))
        curve, name = trace(firing), firing.name
        more = {"gas": firing.gas, "kiln": firing.kiln.name, "logged": False}
    else:
        curve, name = read_firing_log(path).trace, path.name
        more = {"logged": True}
    hours = float(curve.time[-1] - curve.time[0]) / HOUR
    return {
        "firing": name, "peak_C": round(celsius(curve.peak), 1), "hours": round(hours, 2),
    } | more  # fmt: skip
