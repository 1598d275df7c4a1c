"""Things as they are given: by name, path, dict, rows or object, each turned into the object."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

from cofire.errors import InputError
from cofire.files import Place, is_number, show
from cofire.firing.program import (
    Firing,
    Kiln,
    Rows,
    find_kiln,
    load_kilns,
    read_firing,
    read_kiln,
)
from cofire.materials.card import Card
from cofire.materials.catalogue import Named, load_cards, read_card
from cofire.physics.blends import blend as mixed
from cofire.physics.blends import find_material
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel

USUAL_KILN = "small studio kiln"
AnyCard: TypeAlias = Card | Place | Mapping[str, Any]
AnyKiln: TypeAlias = Kiln | Place | Mapping[str, Any]
AnyFiring: TypeAlias = Firing | Place | Mapping[str, Any] | Rows
AnyVessel: TypeAlias = Vessel | Place | Mapping[str, Any]


@cache
def shipped() -> dict[str, Card]:
    """The shipped cards, read once; not to be changed.

    Returns
    -------
    dict
        Name to card.
    """
    return load_cards()


def _is_name(source: object) -> bool:
    """Whether it is a name of the tables: a text that is no TOML file (names may hold a /)."""
    return isinstance(source, str) and not source.lower().endswith(".toml")


def cards(*folders: Place) -> dict[str, Card]:
    """All materials by name: the shipped ones, and those of your own folders.

    Parameters
    ----------
    folders : path
        Of material tables; a later one overrides what has the same name.

    Returns
    -------
    dict
        Name to card; a name that is not in it is refused with the nearest one.

    Raises
    ------
    InputError
        A wrong file or a missing folder.

    Examples
    --------
    >>> import cofire as cf
    >>> cards = cf.cards()
    >>> cards["fine silver"].kind
    'metal'
    >>> try:
    ...     cards["Copper"]
    ... except cf.CofireError as refused:
    ...     print(str(refused).split(" Known")[0])
    no material named 'Copper'; did you mean 'copper'?
    """
    return Named("material", load_cards(folders) if folders else shipped())


def card(source: AnyCard, cards: Mapping[str, Card] | None = None) -> Card:
    """One material: by name, as a blend in words, from a file, or from a dict.

    Parameters
    ----------
    source : str, path, mapping or Card
        A name, whatever its case; "METAL + CERAMIC = 40" (per cent metal of the solid volume);
        a .toml file; or what that would hold.
    cards : mapping, optional
        Materials by name, from `cofire.cards`; by default the shipped ones.

    Returns
    -------
    Card
        Every value in SI.

    Raises
    ------
    UnknownName
        No such material; the message has the nearest name.
    InputError
        A wrong file.

    Examples
    --------
    >>> import cofire as cf
    >>> cf.card("Fine Silver").name
    'fine silver'
    >>> cf.card("copper + talc body = 40").name
    '40 % copper / 60 % talc body'
    """
    if isinstance(source, Card):
        return source
    if _is_name(source):
        return find_material(str(source), dict(shipped() if cards is None else cards))
    return read_card(source)


def blend(metal: AnyCard, ceramic: AnyCard, share: float) -> Card:
    """A blend of two powders, which is a card too.

    Parameters
    ----------
    metal, ceramic : str, path, mapping or Card
        As for `cofire.card`.
    share : float
        Of metal, of the solid volume, above 0 and below 1. [-]

    Returns
    -------
    Card
        Valid where both its parts are.

    Raises
    ------
    InputError
        A share outside these bounds, or not a metal and a ceramic.

    Examples
    --------
    >>> import cofire as cf
    >>> cf.blend("copper", "talc body", 0.4).metal_share
    0.4
    """
    if not is_number(share):
        raise InputError(f"share = {show(share)}; allowed: a number above 0 and below 1")
    return mixed(card(metal), card(ceramic), float(share))


def kiln(source: AnyKiln = USUAL_KILN, *folders: Place) -> Kiln:
    """One kiln: by name, from a file, or from a dict.

    Parameters
    ----------
    source : str, path, mapping or Kiln
        A name, whatever its case; a .toml file; or what that would hold.
    folders : path
        Of your own material tables, with kilns in their kilns/.

    Returns
    -------
    Kiln
        Its limits in SI.

    Raises
    ------
    UnknownName
        No such kiln; the message has the nearest name.
    InputError
        A wrong file.

    Examples
    --------
    >>> import cofire as cf
    >>> cf.kiln("Small studio kiln")
    <Kiln 'small studio kiln': to 1200 °C>
    """
    return kiln_of(source, folders)


def kiln_of(source: AnyKiln, folders: Iterable[Place] = ()) -> Kiln:
    """The kiln, however it is given.

    Parameters
    ----------
    source : str, path, mapping or Kiln
        As for `cofire.kiln`.
    folders : iterable of path
        Of your own material tables.

    Returns
    -------
    Kiln
        Its limits in SI.
    """
    if isinstance(source, Kiln):
        return source
    if _is_name(source):
        return find_kiln(str(source), load_kilns(folders))
    return read_kiln(source)


def example_vessel() -> Vessel:
    """A vase of an invented scenario, to try things on: a silver foot on a fritted body.

    Returns
    -------
    Vessel
        As a dict in the form of a vessel file gives it; its joint may be graded.

    Examples
    --------
    >>> import cofire as cf
    >>> [band.material for band in cf.example_vessel().bands]
    ['fine silver', 'fritted body']
    """
    return read_vessel(
        {
            "name": "vase to try",
            "profile": {"shape": "cylinder", "radius_mm": 20, "height_mm": 110, "wall_mm": 1.8},
            "band": [{"material": "fine silver", "to_mm": 25}, {"material": "fritted body"}],
            "firing": {
                "name": "first try",
                "lag_min": 8,
                "segment": [
                    {"to_C": 110, "rate_C_per_h": 60, "hold_min": 60},
                    {"to_C": 420, "rate_C_per_h": 60, "hold_min": 60},
                    {"to_C": 860, "rate_C_per_h": 150, "hold_min": 75},
                    {"to_C": 560, "rate_C_per_h": 60, "hold_min": 30},
                ],
            },
        }
    )


def cards_for(
    tables: tuple[Path, ...], cards: Mapping[str, Card] | None = None
) -> Mapping[str, Card]:
    """The cards that a vessel is judged by.

    Parameters
    ----------
    tables : tuple of Path
        Of the vessel.
    cards : mapping, optional
        Materials by name, used alone; by default the shipped ones and those of these tables.

    Returns
    -------
    mapping
        Name to card.

    Raises
    ------
    InputError
        A wrong file in them.
    """
    if cards is not None:
        return cards
    return load_cards(tables) if tables else shipped()


def vessel_of(given: AnyVessel, firing: AnyFiring | None = None) -> Vessel:
    """The vessel, however it is given, with another firing where there is one.

    Parameters
    ----------
    given : path, mapping or Vessel
        As for `cofire.read_vessel`.
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`.

    Returns
    -------
    Vessel
        In SI.
    """
    if not isinstance(given, Vessel):
        return read_vessel(given, firing=firing)
    return given if firing is None else replace(given, firing=read_firing(firing))


def several(given: Any) -> list[Any]:
    """One or several as a list; a text, a path or a table is one, None is none.

    Parameters
    ----------
    given : any
        As a person gives it.

    Returns
    -------
    list
        Of whatever was given.
    """
    if given is None:
        return []
    if isinstance(given, str | Mapping | Card | Path) or not isinstance(given, Iterable):
        return [given]
    return list(given)
