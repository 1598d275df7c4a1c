"""`cofire mismatch`: draw the mismatch of one pair over its firing curve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.errors import InputError
from cofire.output.cli.common import Force, Kiln, Tables, guarded

if TYPE_CHECKING:
    from cofire.inputs.cards import Card
    from cofire.inputs.firing import Firing
    from cofire.inputs.firing import Kiln as KilnCard
    from cofire.planning.pairs.screening import Pair

DRAWN = ("mismatch.png", "mismatch.svg", "mismatch.csv")


@guarded
def mismatch(
    first: Annotated[
        str, typer.Argument(metavar="FIRST", help="Metal, or a blend 'METAL + CERAMIC = 40'.")
    ],
    second: Annotated[str, typer.Argument(metavar="SECOND", help="Ceramic, or a blend.")],
    firing: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Firing file; else the middle of the shared window."),
    ] = None,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder for mismatch.png, .svg and .csv.")
    ] = Path("cofire-out"),
    gas: Annotated[
        list[str] | None,
        typer.Option(metavar="GAS", help="Gas at hand, where no firing file is given; repeatable."),
    ] = None,
    kiln: Kiln = "small studio kiln",
    tables: Tables = None,
    extend: Annotated[
        bool, typer.Option(help="Hold a table's last value beyond its rows; the figure says so.")
    ] = False,
    force: Force = False,
) -> None:
    """Draw how far apart two zones are along a firing, and write the same numbers as CSV.

    Example:  cofire mismatch copper "talc body" --gas carbon --out cofire-out
    """
    from cofire.inputs.firing import find_kiln, known_gas, load_kilns, read_firing
    from cofire.inputs.tables import load_cards
    from cofire.output.writing import check_folder
    from cofire.physics.blends import find_material

    check_folder(out, DRAWN, force)
    if gas and firing is not None:
        raise InputError(f"--gas: {firing} names its own gas; leave --gas or --firing out")
    gases = [known_gas(name, "--gas") for name in gas or ()]
    cards = load_cards(tables or [])
    kilns = load_kilns(tables or [])
    one, other = find_material(first, cards), find_material(second, cards)
    if firing is not None:
        curve = read_firing(firing, kilns)
    else:
        curve = shared_firing(one, other, find_kiln(kiln, kilns), gases)
    typer.echo(draw(one, other, curve, out, force, extend))


def shared_firing(one: Card, other: Card, kiln: KilnCard, gases: Sequence[str]) -> Firing:
    """A firing at the middle of the window that two cards share.

    Parameters
    ----------
    one, other : Card
        The pair.
    kiln : Kiln
        The kiln.
    gases : sequence of str
        Gases at hand; those of a studio where there are none.

    Returns
    -------
    Firing
        Its hold is lengthened by four times the lag of the pack, so that the ware gets its own.

    Raises
    ------
    InputError
        They share none; the message says why.
    """
    from cofire.inputs.firing import LAG, simple_firing
    from cofire.planning.pairs.screening import STUDIO_GASES, screen
    from cofire.planning.pairs.windows import RATE

    metal, ceramic = (other, one) if one.kind == "ceramic" else (one, other)
    if metal.kind == "ceramic":
        raise InputError(f"{one.name} and {other.name} are two ceramics; give a --firing for them")
    (pair,) = screen([metal], [ceramic], kiln, tuple(gases or STUDIO_GASES))
    if pair.window is None:
        raise InputError(
            f"{one.name} and {other.name} share no firing: {pair.reason}. Give one with --firing"
        )
    hold = pair.window.hold + 4.0 * LAG[pair.gas]
    return simple_firing(kiln, pair.window.peak, hold, RATE, pair.gas)


def draw(
    one: Card, other: Card, firing: Firing, out: Path, force: bool, extend: bool = False
) -> str:
    """What mismatch.png, mismatch.svg and mismatch.csv show, once they are written.

    Parameters
    ----------
    one, other : Card
        The pair.
    firing : Firing
        Its firing.
    out : Path
        Folder, made where missing.
    force : bool
        Whether existing files may be replaced.
    extend : bool
        Whether tables may be held beyond their rows.

    Returns
    -------
    str
        One sentence.
    """
    from cofire.inputs.units import celsius
    from cofire.output import figures
    from cofire.output.writing import make_folder, one_line, write_file, write_text
    from cofire.planning.pairs.mismatch import mismatch as along

    m = along(one, other, firing, extend)
    figure = figures.mismatch_figure(m)
    make_folder(out)
    png, svg, csv = (out / name for name in DRAWN)
    write_file(png, lambda s: figures.save(figure, s, "png"), force)
    write_file(svg, lambda s: figures.save(figure, s, "svg"), force)
    write_text(str(csv), figures.mismatch_csv(m), force)
    for line in m.history.extended:
        typer.echo(f"beyond its table: {line}", err=True)
    typer.echo(f"written: {one_line(str(png))}, .svg, .csv", err=True)
    worst = int(abs(m.difference).argmax())
    return (
        f"{one.name} with {other.name}, {firing.name} in {firing.gas}: "
        f"{100 * m.difference[worst]:+.1f} % apart at {celsius(m.trace.ware[worst]):.0f} °C, "
        f"{1e6 * m.cooled:+.0f} ppm stored below {celsius(m.set_temperature):.0f} °C "
        f"({one.name} minus {other.name})."
    )


def draw_best(
    pairs: Sequence[Pair],
    cards: Mapping[str, Card],
    kiln: KilnCard,
    out: Path,
    force: bool,
) -> None:
    """Draw the first pair of a ranking that shares a firing, and say so on standard error.

    Parameters
    ----------
    pairs : sequence of Pair
        Best first.
    cards : mapping
        By name.
    kiln : Kiln
        The kiln.
    out : Path
        Folder.
    force : bool
        Whether existing files may be replaced.

    Raises
    ------
    InputError
        No pair shares a firing.
    """
    best = next((p for p in pairs if p.window is not None), None)
    if best is None:
        raise InputError("no pair shares a firing, so there is none to draw; see --all for why")
    one, other = cards[best.metal], cards[best.ceramic]
    firing = shared_firing(one, other, kiln, [best.gas])
    typer.echo(draw(one, other, firing, out, force, extend=True), err=True)
