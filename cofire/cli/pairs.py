"""`cofire screen`, `mismatch` and `partner`: questions about two materials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cofire.cli.common import Force, Kiln, System, Tables, Units, Workers, guarded, show
from cofire.cli.plan import read
from cofire.cli.progress import running
from cofire.cli.vessel import Vessel, tell_own
from cofire.errors import InputError

if TYPE_CHECKING:
    from cofire.assessment.screening import Pair
    from cofire.firing.program import Firing
    from cofire.firing.program import Kiln as KilnCard
    from cofire.materials.card import Card


# ----------------------------------------------------------------------------------------------
# `cofire screen`: rank material pairs


@guarded
def screen(
    metal: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", help="Only this metal, or a blend 'METAL + CERAMIC = 40'; repeatable."
        ),
    ] = None,
    ceramic: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Only this ceramic, or a blend; repeatable."),
    ] = None,
    gas: Annotated[
        list[str] | None,
        typer.Option(
            metavar="GAS",
            help="Gas at hand: air, inert, carbon or hydrogen; repeatable. "
            "By default air, carbon, inert.",
        ),
    ] = None,
    kiln: Kiln = "small studio kiln",
    tables: Tables = None,
    every: Annotated[
        bool, typer.Option("--all", help="Also list the pairs that share no firing.")
    ] = False,
    csv: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all pairs as CSV; - for stdout.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all pairs as JSON; - for stdout.")
    ] = None,
    draw: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Also draw the mismatch of the best pair into this folder."
        ),
    ] = None,
    units: Units = System.metric,
    force: Force = False,
) -> None:
    """Rank pairs of metal and ceramic: can they share a firing, and how far apart are they then?

    Example:  cofire screen --gas carbon --metal copper --all
    """
    from cofire.assessment import screening
    from cofire.assessment.windows import STUDIO_GASES
    from cofire.firing.program import find_kiln, known_gas, load_kilns
    from cofire.materials.catalogue import load_cards
    from cofire.report import pairs as table
    from cofire.report.writing import STANDARD_OUTPUT, check_folder, check_targets, write_text

    check_targets([csv, json], force)
    if draw is not None:
        check_folder(draw, DRAWN, force)
    gases = tuple(known_gas(name, "--gas") for name in gas or STUDIO_GASES)
    cards = load_cards(tables or [])
    found = find_kiln(kiln, load_kilns(tables or []))
    metals = side("metal", metal, cards)
    ceramics = side("ceramic", ceramic, cards)
    pairs = screening.screen(metals, ceramics, found, gases)
    if draw is not None:
        draw_best(pairs, {c.name: c for c in [*metals, *ceramics]}, found, draw, force)
    if csv is not None:
        write_text(csv, table.as_csv(pairs), force)
    if json is not None:
        write_text(json, table.as_json(pairs, found.name, gases), force)
    if STANDARD_OUTPUT not in (csv, json):
        show(table.as_text(pairs, found.name, every=every), units)


def side(kind: str, names: Sequence[str] | None, cards: dict[str, Card]) -> list[Card]:
    """The cards of one side of the pairs: those named, or all of the kind.

    Parameters
    ----------
    kind : str
        "metal" or "ceramic".
    names : sequence of str, optional
        As given; a blend may stand on either side.
    cards : dict
        Of the tables.

    Returns
    -------
    list of Card
        Each once.

    Raises
    ------
    InputError
        No such material, or one of the other kind.
    """
    from cofire.physics.blends import find_material

    if not names:
        return [card for card in cards.values() if card.kind == kind]
    found = {card.name: card for card in (find_material(name, cards) for name in names)}
    for card in found.values():
        if card.kind not in (kind, "blend"):
            raise InputError(f"--{kind}: {card.name!r} is a {card.kind}; give a {kind} or a blend")
    return list(found.values())


# ----------------------------------------------------------------------------------------------
# `cofire mismatch`: draw the mismatch of one pair over its firing curve

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
    units: Units = System.metric,
    force: Force = False,
) -> None:
    """Draw how far apart two zones are along a firing, and write the same numbers as CSV.

    Example:  cofire mismatch copper "talc body" --gas carbon --out cofire-out
    """
    from cofire.firing.program import find_kiln, known_gas, load_kilns, read_firing
    from cofire.materials.catalogue import load_cards
    from cofire.physics.blends import find_material
    from cofire.report.writing import check_folder

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
        from cofire.assessment.screening import shared_firing

        curve = shared_firing(one, other, find_kiln(kiln, kilns), gases)
    text = draw(one, other, curve, out, force, extend) + "\n"
    if firing is None:
        text += lag_line(curve)
    show(text, units)


def lag_line(firing: Firing) -> str:
    """Why a firing from the shared window holds longer than `screen` says.

    Parameters
    ----------
    firing : Firing
        From `shared_firing`.

    Returns
    -------
    str
        Ends in a new line.
    """
    from cofire.firing.program import come_up
    from cofire.report.writing import wrapped
    from cofire.units import MINUTE

    hold = firing.segments[0].hold
    late = come_up(firing.gas)
    return (
        "\n".join(
            wrapped(
                f"The kiln's hold: the {(hold - late) / MINUTE:.0f} min of the ware that cofire "
                f"screen names, and {late / MINUTE:.0f} min by which it comes up later."
            )
        )
        + "\n"
    )


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
    from cofire.assessment.mismatch import mismatch as along
    from cofire.report import figures
    from cofire.report.writing import make_folder, one_line, write_file, write_text
    from cofire.units import celsius

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
        f"{one.name} with {other.name}, {firing.name} in {firing.gas_words}: "
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
    from cofire.assessment.screening import shared_firing

    best = next((p for p in pairs if p.window is not None), None)
    if best is None:
        raise InputError("no pair shares a firing, so there is none to draw; see --all for why")
    one, other = cards[best.metal], cards[best.ceramic]
    firing = shared_firing(one, other, kiln, [best.gas])
    typer.echo(draw(one, other, firing, out, force, extend=True), err=True)


# ----------------------------------------------------------------------------------------------
# `cofire partner`: which partner a zone would need, and what comes nearest

KINDS = ("metal", "ceramic")


@guarded
def partner(
    vessel: Vessel,
    of: Annotated[str, typer.Option(help="Zone that stays: metal or ceramic.")] = KINDS[0],
    tables: Tables = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")] = False,
    workers: Workers = None,
    units: Units = System.metric,
) -> None:
    """Say which partner one zone of a vessel would need for go, and which cards come nearest.

    Example:  cofire partner examples/silver_foot_vessel.toml --of metal
    """
    from cofire.design.at_hand import cards_at_hand
    from cofire.design.partner import nearest, wanted_partner
    from cofire.design.recipe import wanted_recipes
    from cofire.errors import UnknownName
    from cofire.materials.catalogue import load_fillers
    from cofire.report.partner import partner_json, partner_text
    from cofire.workers import local_processes

    if of not in KINDS:
        raise UnknownName("zone", of, KINDS, "--of")
    given, cards, _ = read(vessel, tables)
    tell = running()
    tell("partners")
    with local_processes(workers) as executor:
        wanted = wanted_partner(given, cards, of, executor)
        near, mixtures = nearest(wanted, given, cards, executor=executor)
    tell("")
    tell_own(given, System.metric if json else units)
    recipes = wanted_recipes(wanted, cards_at_hand(given, load_fillers(), fillers=True))
    if json:
        text = partner_json(wanted, near, mixtures, given.name, recipes)
    else:
        listed = bool(given.free.materials)
        text = partner_text(wanted, near, mixtures, given.name, recipes, listed)
    show(text, System.metric if json else units)
