"""`cofire new`: a file to begin with, every field of it explained."""

from __future__ import annotations

import re
import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from cofire.cli.common import OWN_TABLES, Force, Tables, as_tables, aside, guarded
from cofire.errors import CofireError, InputError, UnknownName
from cofire.report.forms import FORMS, format_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from cofire.firing.program import Kiln
    from cofire.materials.card import Card

T = TypeVar("T")

new = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help=(
        "Write a file to begin with: a vessel, firing, kiln, material, what you measured on bars, "
        "or an entry of the record. Every field stands in it with its unit, its default and what "
        "it does.\n\n"
        'Example:  cofire new vessel --below "fine silver" --above "fritted body"'
    ),
)


def epilog(kind: str) -> str:
    """The fields of a kind of file, as the end of a command's help.

    Parameters
    ----------
    kind : str
        A name of FORMATS.

    Returns
    -------
    str
        Each paragraph marked to keep its lines.
    """
    blocks = format_text(kind).strip().split("\n\n")
    return f"Fields of a {kind} file:\n\n" + "\n\n".join(f"\b\n{block}" for block in blocks)


def _asked(value: T | None, usual: T | None, question: str, option: str) -> T:
    """The option as given, or asked for at a terminal, or the usual value in a pipe."""
    if value is not None:
        return value
    if sys.stdin.isatty():
        answer: Any = typer.prompt(question, default=usual, err=True, type=type(usual or ""))
        return answer  # type: ignore[no-any-return]
    if usual is None:
        raise typer.BadParameter(f"{option} is missing; {question}")
    return usual


def _free(out: Path, force: bool) -> None:
    """Refuse a file that exists, before anything is asked or computed."""
    from cofire.files import shown_path

    if out.is_dir():
        raise InputError(f"{shown_path(out)}: a folder; give the name of a file")
    if out.exists() and not force:
        raise InputError(f"{shown_path(out)}: exists already; give --force, or another --out")


def _write(out: Path, text: str, force: bool, then: str) -> None:
    from cofire.report.writing import make_folder, one_line, write_file

    make_folder(out.parent)
    write_file(out, lambda stream: stream.write(text.encode()), force)
    typer.echo(f"written: {one_line(str(out))}; next: {one_line(then)}", err=True)


def _quoted(path: Path) -> str:
    from shlex import quote

    return quote(str(path))


def _own(tables: list[Path] | None) -> str:
    """The tables of one's own, as the next command needs them."""
    return "".join(f" --tables {_quoted(folder)}" for folder in tables or [])


def _slug(name: str) -> str:
    return re.sub(r"\W+", "_", name).strip("_").lower() or "own"


@new.command(epilog=epilog("vessel"))
@guarded
def vessel(
    below: Annotated[
        str | None, typer.Option(metavar="NAME", help="Material of the foot, or a blend.")
    ] = None,
    above: Annotated[
        str | None, typer.Option(metavar="NAME", help="Material of the rim, or a blend.")
    ] = None,
    middle: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Material of a band between the two, or a blend."),
    ] = None,
    middle_mm: Annotated[float | None, typer.Option(help="Its height; else a quarter.")] = None,
    form: Annotated[str | None, typer.Option(help="cylinder, cone, bowl or belly.")] = None,
    height_mm: Annotated[float | None, typer.Option(help="Foot to rim, fired: 80.")] = None,
    radius_mm: Annotated[float | None, typer.Option(help="Outside of the foot, fired: 35.")] = None,
    rim_radius_mm: Annotated[
        float | None, typer.Option(help="Outside of the rim, fired; else usual for the form.")
    ] = None,
    wall_mm: Annotated[float | None, typer.Option(help="Thickness, fired: 3.")] = None,
    joint_mm: Annotated[
        float | None,
        typer.Option(
            help="Height of the lower band; else the metal has a quarter, or the middle is midway."
        ),
    ] = None,
    floor: Annotated[bool, typer.Option("--floor", help="A floor closes the foot.")] = False,
    layer_mm: Annotated[float | None, typer.Option(help="The printer's layer.")] = None,
    nozzle_mm: Annotated[float | None, typer.Option(help="Width of one road.")] = None,
    dead_volume_ml: Annotated[
        float | None, typer.Option(help="Paste from the change to the nozzle.")
    ] = None,
    kiln: Annotated[str | None, typer.Option(metavar="NAME", help="A kiln of the tables.")] = None,
    gas: Annotated[
        str | None, typer.Option(help="air, inert, carbon or hydrogen; else what suits both.")
    ] = None,
    name: Annotated[str | None, typer.Option(help="Of the vessel.")] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file.")] = Path("vessel.toml"),
    tables: Tables = None,
    force: Force = False,
) -> None:
    """Write a vessel file for a form, two materials and a printer, every field explained.

    At a terminal what is missing is asked for. The file needs no firing: check and plan begin from
    the window that the two materials share.

    Example:  cofire new vessel --form bowl --below "fritted body" --above "fine silver"
    """
    from cofire.files import seen_from
    from cofire.firing.program import find_kiln, known_gas, load_kilns
    from cofire.materials.catalogue import load_cards
    from cofire.physics.blends import find_material
    from cofire.report.forms import Wish, new_vessel

    _free(out, force)
    cards, kilns = load_cards(tables or []), load_kilns(tables or [])

    if middle is not None and above is None:
        above = below

    def material(given: str | None, which: str) -> tuple[str, Card]:
        """As the file names it, and its card: a blend is written as given, not as it is shown."""
        question = f"material of the {which} (cofire materials lists them)"
        option = "--below" if which == "foot" else "--above"
        text = _asked(given, None, question, option)
        card = find_material(text, cards)
        return text.strip() if card.parts else card.name, card

    shape = _asked(form, FORMS[0], f"form: {', '.join(FORMS)}", "--form")
    if shape not in FORMS:
        from cofire.vessel_file import ROUND_ONLY

        near = UnknownName("form", shape, FORMS, "--form")
        raise InputError(f"{near}. {ROUND_ONLY}")
    if rim_radius_mm is not None and shape == "cylinder":
        raise InputError("--rim-radius-mm: of a cylinder it is that of the foot; give --form too")
    if middle_mm is not None and middle is None:
        raise InputError("--middle-mm: of which band? give --middle too")
    foot, rim = material(below, "foot"), material(above, "rim")
    band = [] if middle is None else [material(middle, "band between")]
    stacked = [foot, *band, rim]
    share = 0.75 if rim[1].kind == "metal" else 0.25
    height = _asked(height_mm, 80.0, "height, fired, mm", "--height-mm")
    tall = 0.25 * height if middle_mm is None else middle_mm
    if band and height > 0.0:
        share = 0.5 * (1.0 - tall / height)
    shown = [card.name for _, card in stacked]
    alike = next((a for a, b in pairwise(shown) if a == b), None)
    if alike is not None:
        raise InputError(
            f"--above: {alike} on {alike}; give two materials, one a metal and one a ceramic or a "
            "blend of both"
        )
    printer = {
        key: value
        for key, value in (
            ("layer_mm", layer_mm), ("nozzle_mm", nozzle_mm), ("dead_volume_ml", dead_volume_ml),
        )
        if value is not None
    }  # fmt: skip
    listed = " and ".join(dict.fromkeys(shown))
    wish = Wish(
        name or f"{shape} of {listed}"[:80],
        shape,
        foot[0],
        rim[0],
        height,
        _asked(radius_mm, 35.0, "outside radius of the foot, fired, mm", "--radius-mm"),
        _asked(wall_mm, 3.0, "wall, fired, mm", "--wall-mm"),
        rim_radius_mm,
        _asked(joint_mm, share * height, "height of the lower band, mm", "--joint-mm"),
        printer or _asked_printer(),
        find_kiln(kiln, kilns, "--kiln").name if kiln else "",
        known_gas(gas, "--gas") if gas else "",
        floor,
        band[0][0] if band else "",
        tall,
        [seen_from(out.parent, folder) for folder in tables or []],
    )
    text = new_vessel(wish)
    _refuse_vessel(text, cards, kilns)
    _write(out, text, force, f"cofire check {_quoted(out)}")


def _asked_printer() -> dict[str, float]:
    """Numbers of [printer], asked for at a terminal; none in a pipe."""
    from cofire.fields import PRINTER

    if not sys.stdin.isatty():
        return {}
    found = {}
    for key, usual in (("layer_mm", 0.3), ("nozzle_mm", 0.6), ("dead_volume_ml", 2.0)):
        question = f"printer: {PRINTER[key].meaning}, {PRINTER[key].unit}"
        found[key] = _asked(None, usual, question, key)
    return found


def _refuse_vessel(text: str, cards: dict[str, Card], kilns: dict[str, Kiln]) -> None:
    """Refuse a vessel that could not be read; say so where its materials share no firing."""
    import tomllib

    from cofire.design.starting import started
    from cofire.report.writing import complaint
    from cofire.vessel_file import read_vessel

    table = tomllib.loads(text)
    table.pop("tables", None)  # seen from where the file will lie; read already
    try:
        found = read_vessel(table, kilns)
    except CofireError as error:
        raise InputError(str(error).replace("vessel: ", "", 1)) from None
    try:
        started(found, cards)
    except CofireError as error:
        typer.echo(complaint(f"cofire: check will refuse it: {error}"), err=True)


@new.command(epilog=epilog("firing"))
@guarded
def firing(
    vessel: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Begin from the window that its materials share."),
    ] = None,
    peak_c: Annotated[float, typer.Option("--peak-C", help="Hottest, where no vessel.")] = 850.0,
    hold_min: Annotated[float, typer.Option(help="Time there.")] = 30.0,
    rate: Annotated[float, typer.Option("--rate-C-per-h", help="Ramp to it.")] = 150.0,
    kiln: Annotated[str | None, typer.Option(metavar="NAME", help="A kiln of the tables.")] = None,
    gas: Annotated[str | None, typer.Option(help="air, inert, carbon or hydrogen.")] = None,
    name: Annotated[str | None, typer.Option(help="Of the firing.")] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file.")] = Path("firing.toml"),
    tables: Tables = None,
    force: Force = False,
) -> None:
    """Write a firing file with drying, burnout and a hold, every field explained.

    Example:  cofire new firing --vessel vessel.toml --out firing.toml
    """
    from dataclasses import replace

    from cofire.design.firings import DRY
    from cofire.design.programme import BURNING, DRYING, SLOW, SOAK
    from cofire.design.starting import started, started_in
    from cofire.firing.program import Firing, Segment, checked, find_kiln, known_gas, load_kilns
    from cofire.materials.catalogue import load_cards
    from cofire.report.forms import new_firing
    from cofire.report.read_again import kiln_rows, known_kiln, segment_row, toml_value
    from cofire.units import HOUR, MINUTE, celsius, kelvin
    from cofire.vessel import OpenFiring
    from cofire.vessel_file import read_vessel

    _free(out, force)
    given = None if vessel is None else read_vessel(vessel, tables=tables or [])
    folders = (tables or []) if given is None else list(given.tables)
    kilns = load_kilns(folders)
    given_gas = known_gas(gas, "--gas") if gas else ""
    if given is not None:
        wanted = given.left_open or OpenFiring(given.firing.gas, given.firing.lag)
        wanted = OpenFiring(given_gas or wanted.gas, None if given_gas else wanted.lag)
        kept = find_kiln(kiln, kilns, "--kiln") if kiln else given.firing.kiln
        asked = replace(
            given, left_open=wanted, firing=replace(given.firing, kiln=kept, segments=())
        )
        cards = load_cards(folders)
        found = started(asked, cards).firing
        stages = [part.stages for part in started_in(asked, cards)]
    else:
        burnt = Segment(kelvin(500.0), 60.0 / HOUR, 60.0 * MINUTE)
        top = Segment(kelvin(peak_c), rate / HOUR, hold_min * MINUTE)
        chosen = find_kiln(kiln or "small studio kiln", kilns, "--kiln")
        before = {DRYING: DRY, BURNING: burnt}
        cooler = {stage: s for stage, s in before.items() if s.target <= top.target}
        found = Firing(f"{peak_c:g} °C, {hold_min:g} min", chosen, (*cooler.values(), top))
        checked(found, "--peak-C")
        stages = [*((stage,) for stage in cooler), (SOAK,)]
        hotter = [f"{stage} at {celsius(before[stage].target):.0f} °C"
                  for stage in before if stage not in cooler]  # fmt: skip
        if hotter:
            aside(f"left out, as hotter than --peak-C = {peak_c:g}: {' and '.join(hotter)}")
    notes = {DRYING: "the last water leaves", BURNING: "the binder leaves", SOAK: "the soak",
             SLOW: "past the set points"}  # fmt: skip
    segments = []
    after = [*stages[1:], ()]  # of a ramp in parts the last one tells
    for stage, others, s in zip(stages, after, found.segments, strict=True):
        note = ", ".join(notes[one] for one in stage if one in notes and one not in others)
        segments.append(segment_row(s) | ({"note": f'"{note}"'} if note else {}))
    written = [] if known_kiln(found.kiln, kilns) else kiln_rows(found.kiln)
    text = new_firing(
        name or found.name,
        segments,
        "" if written else found.kiln.name,
        given_gas or (found.gas if vessel is not None else ""),
        f"{found.lag / MINUTE:.6g}" if vessel is not None else "",
        f"{found.latest / HOUR:g}" if found.latest < float("inf") else "",
        written,
    )
    _refuse_firing(text, kilns)
    then = f"cofire firing {_quoted(out)}{_own(folders)}"
    if vessel is not None:
        own = re.search(r"(?m)^\s*\[+firing\b", vessel.read_text(encoding="utf-8-sig"))
        place = "in the place of its table [firing], " if own else ""
        line = f"firing = {toml_value(out.name)}"
        then += f", and in {vessel.name}, {place}above all tables: {line}"
    _write(out, text, force, then)


def _refuse_firing(text: str, kilns: dict[str, Kiln]) -> None:
    import tomllib

    from cofire.firing.program import read_firing

    read_firing(tomllib.loads(text), kilns, "the firing")


@new.command(epilog=epilog("kiln"))
@guarded
def kiln(
    name: Annotated[str, typer.Option(help="By which firings name it.")] = "my kiln",
    max_c: Annotated[
        float | None, typer.Option("--max-C", help="Hottest it may be set; else as --like.")
    ] = None,
    like: Annotated[
        str, typer.Option(metavar="NAME", help="Kiln whose rates stand in it until you measure.")
    ] = "small studio kiln",
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The file; else my_tables/kilns/NAME.toml."),
    ] = None,
    tables: Tables = None,
    force: Force = False,
) -> None:
    """Write a kiln file with the rates of a kiln like it, every field explained.

    Example:  cofire new kiln --name "garage kiln" --max-C 1150
    """
    import numpy as np

    from cofire.firing.program import find_kiln, load_kilns
    from cofire.materials.catalogue import KILN_FOLDER, tables_of
    from cofire.report.forms import new_kiln
    from cofire.units import HOUR, celsius

    place = out or OWN_TABLES / KILN_FOLDER / f"{_slug(name)}.toml"
    _free(place, force)
    parent = find_kiln(like, load_kilns(tables or []), "--like")
    limit = celsius(parent.max_temperature)
    highest = limit if max_c is None else max_c
    if not 200.0 <= highest <= limit:
        raise InputError(
            f"--max-C: {highest:g}; allowed: 200 to {limit:g}, as far as the rates of "
            f"{parent.name} go; give another kiln with --like"
        )

    def rows(temperature: Any, rate: Any) -> list[tuple[float, float]]:
        below = celsius(temperature) < highest - 1e-9
        kept = np.append(celsius(temperature)[below], highest)
        rates = np.interp(kept, celsius(temperature), rate * HOUR)
        return [(float(t), float(r)) for t, r in zip(kept, rates, strict=True)]

    text = new_kiln(
        name, highest, rows(parent.heating_temperature, parent.heating_rate),
        rows(parent.cooling_temperature, parent.cooling_rate), parent.name,
    )  # fmt: skip
    _refuse(text, _kiln_reader(place))
    first, folder = "", tables_of(place)
    if place.absolute().parent.name != KILN_FOLDER:
        first, folder = f"move it into {OWN_TABLES / KILN_FOLDER}, then ", OWN_TABLES
    _write(
        place, text, force,
        f"{first}cofire materials --check {_quoted(folder)}, then --tables {_quoted(folder)} with "
        "every command that is to know it",
    )  # fmt: skip


def _kiln_reader(place: Path) -> Callable[[dict[str, Any]], object]:
    from cofire.firing.program import read_kiln

    return lambda table: read_kiln(table, place.name)


def _refuse(text: str, read: Callable[[dict[str, Any]], object]) -> None:
    """Refuse a file that could not be read again, before it is written."""
    import tomllib

    read(tomllib.loads(text))


@new.command(epilog=epilog("material"))
@guarded
def material(
    like: Annotated[
        str | None, typer.Option(metavar="NAME", help="Card to begin from (cofire materials).")
    ] = None,
    name: Annotated[str | None, typer.Option(help="Of the new card; else 'my ...'.")] = None,
    own: Annotated[
        list[str] | None,
        typer.Option(
            "--own",
            metavar="'PROPERTY = VALUE, UNCERTAINTY'",
            help="A number you measured, in the unit of that card; repeatable.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The file; else my_tables/NAME.toml.")
    ] = None,
    tables: Tables = None,
    force: Force = False,
) -> None:
    """Write a card like another one, but for the numbers you measured; they stay marked so.

    Example:  cofire new material --like "fritted body" --own "strength = 62, 10 %"
    """
    from cofire.materials.card_file import CardReader, inherited
    from cofire.materials.catalogue import alone, find_card, load_cards
    from cofire.materials.properties import SPECS
    from cofire.report.forms import new_material
    from cofire.report.read_again import toml_value

    cards = load_cards(tables or [])
    question = "card to begin from (cofire materials lists them)"
    parent = find_card(_asked(like, None, question, "--like"), cards)
    title = name or f"my {parent.name}"
    place = out or OWN_TABLES / f"{_slug(title)}.toml"
    _free(place, force)
    numbers: dict[str, tuple[str, str]] = {}
    for given in own or []:
        found = re.fullmatch(r"\s*(\w+(?: +\w+)*)\s*=\s*([-+\d.eE]+)\s*,\s*(.+?)\s*", given)
        if found is None:
            raise InputError(
                f'--own: {given!r}; write it as "strength = 62, 10 %", with its uncertainty '
                '(or "+- 5", or "factor 1.2")'
            )
        value, spread = found.groups()[1:]
        key = re.sub(" +", "_", found[1])  # as outputs write it
        if key not in SPECS:
            raise UnknownName("property", key, SPECS, "--own")
        if key == "fired_density":
            raise InputError("--own: fired_density needs its firing; write it in the file")
        numbers[key] = (value, toml_value(spread))
    whole = alone(Path(parent.origin), _raw(parent))
    text = new_material(title, parent.name, whole, numbers)

    def read(table: dict[str, Any]) -> None:
        said = "--own" if numbers else place.name  # nothing is written yet
        reader = CardReader(inherited(table, whole, said), said)
        if reader.card() is None:
            raise InputError(reader.problems[0])

    _refuse(text, read)
    first, folder = as_tables(place)
    _write(place, text, force, f"{first}cofire materials --tables {folder} {title!r}")


def _raw(card: Card) -> dict[str, Any]:
    """The file of a card, as parsed."""
    from cofire.files import read_toml

    return read_toml(Path(card.origin))


@new.command(epilog=epilog("measured"))
@guarded
def measured(
    material: Annotated[
        str | None, typer.Option(metavar="NAME", help="Card that the bars are of.")
    ] = None,
    peak_c: Annotated[float, typer.Option("--peak-C", help="Where they were held.")] = 850.0,
    hold_min: Annotated[float, typer.Option(help="Time there.")] = 30.0,
    rate: Annotated[float, typer.Option("--rate-C-per-h", help="Ramp to it.")] = 150.0,
    bar: Annotated[
        list[str] | None,
        typer.Option(
            metavar="'PRINTED, DRIED, FIRED'",
            help="Lengths of one bar in mm, or dried and fired; repeatable.",
        ),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file.")] = Path("measured.toml"),
    tables: Tables = None,
    force: Force = False,
) -> None:
    """Write down what was measured on bars of one material, for cofire calibrate.

    Example:  cofire new measured --material "fritted body" --bar "100.1, 95.5, 87.2"
    """
    from cofire.assessment.rule import NO
    from cofire.assessment.windows import best_gas
    from cofire.evidence.measured import read_measured
    from cofire.firing.program import load_kilns
    from cofire.materials.catalogue import find_card, load_cards
    from cofire.materials.properties import GASES
    from cofire.report.forms import new_measured
    from cofire.units import kelvin

    _free(out, force)
    question = "card that the bars are of (cofire materials lists them)"
    card = find_card(_asked(material, None, question, "--material"), load_cards(tables or []))
    bars = []
    for given in bar or []:
        cells = [cell.strip() for cell in given.split(",")]
        if len(cells) not in (2, 3) or not all(re.fullmatch(r"\d+(\.\d+)?", c) for c in cells):
            raise InputError(f'--bar: {given!r}; write it as "100.1, 95.5, 87.2"')
        bars.append([float(cell) for cell in cells])
    firing = {"name": f'"{peak_c:g} °C, {hold_min:g} min"', "rate_C_per_h": f"{rate:g}",
              "peak_C": f"{peak_c:g}", "hold_min": f"{hold_min:g}"}  # fmt: skip
    gas, grade, _ = best_gas(card, card, kelvin(peak_c), GASES)
    if grade < NO:
        firing["gas"] = f'"{gas}"'
    text = new_measured(card.name, firing, bars)
    kilns = load_kilns(tables or [])
    _refuse(text, lambda table: read_measured(table, kilns))
    first = "" if bars else "write the bars into it, then "
    _write(out, text, force, f"{first}cofire calibrate {_quoted(out)}{_own(tables)}")


@new.command(epilog=epilog("record"))
@guarded
def record(
    piece: Annotated[str | None, typer.Option(help="Name of the piece.")] = None,
    prediction: Annotated[
        str | None, typer.Option(metavar="PATH", help="Folder of its plan, or a verdict as JSON.")
    ] = None,
    firing: Annotated[
        str | None, typer.Option(metavar="FILE", help="Firing file, or the kiln's log.")
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The file.")] = Path("record.toml"),
    force: Force = False,
) -> None:
    """Write the entry of one piece for the record, to be filled in and added.

    Example:  cofire new record --piece "bowl 3" --prediction cofire-plan
    """
    from cofire.evidence.record import LONGEST_PIECE, words
    from cofire.report.forms import new_record

    _free(out, force)
    name = words(_asked(piece, None, "name of the piece", "--piece"), "--piece", LONGEST_PIECE)
    given = {"piece": name}
    given |= {
        key: value for key, value in (("prediction", prediction), ("firing", firing)) if value
    }
    _write(out, new_record(given), force, f"cofire record add {_quoted(out)}")
