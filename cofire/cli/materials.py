"""`cofire materials` and `firing`: the tables, and what kiln and ware do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.cli.common import INPUT_WRONG, Force, System, Tables, Units, guarded, show
from cofire.errors import InputError, UnknownName

if TYPE_CHECKING:
    from cofire.materials.card import Card, Property


# ----------------------------------------------------------------------------------------------
# `cofire materials`: list the cards, show one with its sources, or check table files


@guarded
def materials(
    name: Annotated[
        str | None,
        typer.Argument(metavar="[NAME]", help="Show this card with every number's source."),
    ] = None,
    tables: Tables = None,
    check: Annotated[
        Path | None,
        typer.Option(
            metavar="PATH",
            help="Check a card file, a pairs.toml or a folder of tables; says what is wrong where.",
        ),
    ] = None,
) -> None:
    """List the material cards and what is mixed into pastes, show one, or check your own.

    Example:  cofire materials copper
    """
    from cofire.materials.catalogue import load_cards, load_fillers
    from cofire.physics.blends import find_material
    from cofire.report.writing import wrapped

    if check is not None:
        if name is not None:
            raise InputError(f"--check: {name!r} is one thing too many; leave the name out")
        checked(check)
        return
    cards, fillers = load_cards(tables or []), load_fillers()
    if name is None:
        rows = [(card.kind, card) for card in cards.values()]
        for kind, card in [*rows, *(("filler", card) for card in fillers.values())]:
            line = f"{kind:8} {card.name:26} {card.summary}"
            typer.echo("\n".join(wrapped(line, 36)))
    else:
        typer.echo(describe(find_material(name, fillers | cards)), nl=False)


def checked(path: Path) -> None:
    """Say what is wrong or unusual in a file or a folder of tables, a line each on stderr.

    Parameters
    ----------
    path : Path
        The file or folder.
    """
    from cofire.firing.program import check_kilns
    from cofire.materials.catalogue import (
        KILN_FOLDER,
        card_files,
        check_files,
        kiln_files,
        pair_files,
        remarks_on_files,
    )
    from cofire.report.writing import complaint

    if path.is_dir():
        cards, kilns, pairs = card_files(path), kiln_files(path), pair_files(path)
    else:
        kiln = path.absolute().parent.name == KILN_FOLDER
        cards, kilns, pairs = ([], [path], []) if kiln else ([path], [], [])
    problems = [*check_files([*cards, *pairs]), *check_kilns(kilns)]
    for line in problems:
        typer.echo(complaint(line), err=True)
    if problems:
        raise typer.Exit(INPUT_WRONG)
    for line in remarks_on_files(cards):
        typer.echo(complaint(f"unusual: {line}"), err=True)
    typer.echo(f"files without a problem: {len(cards) + len(kilns) + len(pairs)}")


def describe(card: Card) -> str:
    """A card as a person reads it: each number with unit, uncertainty and source.

    Parameters
    ----------
    card : Card
        The card.

    Returns
    -------
    str
        Ends in a new line.
    """
    from cofire.materials.card_file import remarks
    from cofire.materials.pairs import table_of_pairs
    from cofire.materials.properties import SPECS
    from cofire.report.writing import one_line, wrapped
    from cofire.units import celsius

    lines = [
        *wrapped(f"{card.name} ({card.kind}): {card.summary}", 4),
        f"file: {one_line(card.origin)}",
    ]
    if card.like:
        own = [key for key, p in card.properties.items() if "measured" in p.basis]
        lines += wrapped(
            f"like: {card.like}; measured by its user: {', '.join(own) or 'nothing'}", 4
        )
    if card.refused:
        lines += wrapped(f"refused: {card.refused}", 4)
    for gas, remark in card.atmosphere.items():
        lines += wrapped(f"in {gas}: {remark}", 4)
    for line in remarks(card) if not card.parts else ():
        lines += wrapped(f"unusual: {line}", 4)
    for key, p in card.properties.items():
        values, unit = p.written
        lines += ["", *wrapped(f"{key} [{unit}]: {SPECS[key].meaning}", 4)]
        if p.valid is not None:
            low, high = (celsius(end) for end in p.valid)
            lines.append(f"  taken to hold from {low:.0f} to {high:.0f} °C")
        for i, shown in enumerate(values):
            at = "" if p.temperature is None else f" at {celsius(float(p.temperature[i])):.0f} °C"
            u = p.uncertainty[i]
            spread = {
                "%": f"{100 * u.size:g} %",
                "factor": f"factor {u.size:g}",
                "+-": f"+- {u.size / SPECS[key].units.get(unit, 1.0):g}",
            }[u.form]
            lines += wrapped(f"  {shown:.6g}{at}  ({spread}; {p.basis[i]}: {p.source[i]})", 6)
        lines += wrapped(f"  {kept(p)}", 6) if not card.parts else ()
    for change in card.transformations:
        at = f"{celsius(change.on_heating):.0f} °C on heating, {celsius(change.on_cooling):.0f} °C"
        line = f"{change.name}: {100 * change.step:+.2f} % at {at} on cooling"
        if not change.comes_back:
            at = f"{celsius(change.on_heating):.0f} °C"
            line = f"{change.name}: {100 * change.step:+.2f} % at {at} on heating, and stays"
        line += f", in {' and '.join(change.gases)}" if change.gases else ""
        lines += ["", *wrapped(f"{line} ({change.basis}: {change.source})", 6)]
    for joint in table_of_pairs([card]).joints:
        if joint.own and card.name in joint.between:
            lines += ["", *wrapped(f"joint {joint.told()}", 4)]
    return "\n".join(lines) + "\n"


def kept(values: Property) -> str:
    """What own bars would take of a property's uncertainty, and what stays, in words.

    Parameters
    ----------
    values : Property
        Of a card.

    Returns
    -------
    str
        Without a full stop.
    """
    from cofire.evidence.measure_next import MEASURED_BY
    from cofire.materials.properties import AFTER_BARS, FROM_PASTES

    if set(values.basis) == {"measured"}:
        return "measured by its user: what is left is the batch and the reading"
    if values.name not in AFTER_BARS:
        return f"no bar of yours tells it: {MEASURED_BY[values.name]}"
    if values.left_by_bars == 1.0:
        return "own bars make it no surer: they too differ by as much, from batch to batch"
    whose = "makers" if values.name in FROM_PASTES else "sources"
    return (
        f"unsure as {whose} differ; of that {100 * values.left_by_bars:.0f} % stays, from batch to "
        f"batch, after {MEASURED_BY[values.name]}"
    )


# ----------------------------------------------------------------------------------------------
# `cofire firing`: what kiln and ware really do under a firing file

DRAWN = ("firing.png", "firing.svg", "firing.csv")


@guarded
def firing(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Firing file.")],
    tables: Tables = None,
    csv: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the trace as CSV; - for stdout.")
    ] = None,
    kiln_csv: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help=(
                "Write the segments for a controller, in whole numbers or the steps of its kiln's "
                "file: the next rate down, but a step at least, the next hold up; - for stdout."
            ),
        ),
    ] = None,
    degrees: Annotated[
        str | None,
        typer.Option(help="Of --kiln-csv: C or F; else as the kiln's controller counts."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Folder for firing.png, .svg and .csv (the trace)."),
    ] = None,
    units: Units = System.metric,
    force: Force = False,
) -> None:
    """Show what kiln and ware really do under a firing, and the heat work of the ware.

    The figure is that of a plan, without a vessel: its limit is the kiln's.

    Example:  cofire firing examples/silver_on_frit_firing.toml --out try
    """
    from cofire.firing.controller import unset
    from cofire.firing.kiln import trace
    from cofire.firing.program import load_kilns, read_firing
    from cofire.report import firing as told
    from cofire.report.writing import (
        STANDARD_OUTPUT,
        check_folder,
        check_targets,
        make_folder,
        one_line,
        write_file,
        write_text,
    )

    check_targets([csv, kiln_csv], force)
    if out is not None:
        check_folder(out, DRAWN, force)
    if degrees is not None and degrees not in told.DEGREES:
        raise UnknownName("unit", degrees, told.DEGREES, "--degrees")
    programme = read_firing(file, load_kilns(tables or []))
    curve = trace(programme)
    if csv is not None:
        write_text(csv, told.as_csv(curve), force)
    if kiln_csv is not None:
        write_text(kiln_csv, told.kiln_csv(programme, degrees), force)
        for clause in unset(programme) if STANDARD_OUTPUT in (csv, kiln_csv) else ():
            typer.echo(f"! cannot be set on its controller: {clause}", err=True)
    if out is not None:
        from cofire.report.figures import save
        from cofire.report.job_figures import firing_alone

        figure = firing_alone(programme, curve)
        make_folder(out)
        png, svg, numbers = (out / name for name in DRAWN)
        write_file(png, lambda s: save(figure, s, "png"), force)
        write_file(svg, lambda s: save(figure, s, "svg"), force)
        write_text(str(numbers), told.as_csv(curve), force)
        typer.echo(f"written: {one_line(str(png))}, .svg, .csv", err=True)
    if STANDARD_OUTPUT not in (csv, kiln_csv):
        show(told.as_text(programme, curve), units)
