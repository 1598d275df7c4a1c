"""Material tables: the folders of cards and kilns, found, read, checked and asked by name."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

from cofire.errors import InputError, UnknownName
from cofire.files import (
    FILE_OR_TABLE,
    Fields,
    Place,
    bundled_tables,
    first_of,
    folded,
    located,
    read_toml,
    table_of,
)
from cofire.materials.card import Card
from cofire.materials.card_file import CardReader, inherited, remarks
from cofire.materials.pairs import (
    PAIRS_FILE,
    Pairs,
    check_pairs,
    extended_pairs,
    read_pairs,
    shipped_pairs,
)

T = TypeVar("T")

NOT_CARDS = ("binders.toml", PAIRS_FILE)
CARD_FOLDERS = ("metals", "ceramics")
KILN_FOLDER = "kilns"


def read_card(source: Place | Mapping[str, Any], where: str = "card") -> Card:
    """The card in a file, or as its file would have it.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or what it would hold.
    where : str
        Place for the messages, where no file is given.

    Returns
    -------
    Card
        With every value in SI.

    Raises
    ------
    InputError
        With the first complaint, and how many more there are.
    """
    if isinstance(source, Mapping):
        table, where, _ = table_of(source, where)
        return _card(_whole(where, {where: table}, _shipped()), where)
    path = located(source, where, FILE_OR_TABLE)
    return _card(alone(path, read_toml(path)), path)


def _whole(
    path: object,
    here: Mapping[Any, dict[str, Any]],
    known: Mapping[str, dict[str, Any]],
    chain: tuple[object, ...] = (),
) -> dict[str, Any]:
    """One of the tables of a folder, filled in from its parents: beside it, or known already."""
    table, where = here[path], str(path)
    if "like" not in table:
        return table
    name = Fields(table, where, table).text("like")
    beside = {
        str(other["name"]): there
        for there, other in here.items()
        if there != path and isinstance(other.get("name"), str)
    }
    for title, there in beside.items():
        if folded(title) == folded(name):
            if there in chain:
                raise InputError(f"{where}: like = {name!r}: two cards are like each other")
            return inherited(table, _whole(there, here, known, (*chain, path)), where)
    parents = {str(one["name"]): one for one in known.values()}
    parent = find_named("material", name, parents, f"{where}: like")
    return inherited(table, parent, where)


def alone(path: Traversable | Path, table: dict[str, Any]) -> dict[str, Any]:
    """The table of one file, filled in from the files beside it and the shipped ones.

    Parameters
    ----------
    path : Traversable or Path
        The card's file.
    table : dict
        As parsed; itself, where it is like no other card.

    Returns
    -------
    dict
        As if the file had said all of it.

    Raises
    ------
    InputError
        There is no card of the name it is like.
    """
    if "like" not in table:
        return table
    folder = path.parent if isinstance(path, Path) else bundled_tables()
    beside = [other for other in _toml_files(folder) if other.name not in (path.name, *NOT_CARDS)]
    here: dict[Any, dict[str, Any]] = {path: table}
    for other in beside:
        with suppress(InputError):  # a broken neighbour is told of when it is read itself
            here[other] = read_toml(other)
    return _whole(path, here, _shipped())


@functools.cache
def _shipped() -> dict[str, dict[str, Any]]:
    """Tables of the shipped cards by folded name."""
    tables = (read_toml(path) for path in card_files(bundled_tables()))
    return {folded(str(table["name"])): table for table in tables}


def _card(table: dict[str, Any], path: object) -> Card:
    """The card of a whole table, or its first complaint and how many more there are."""
    reader = CardReader(table, str(path))
    card = reader.card()
    if card is None:
        raise InputError(first_of(reader.problems))
    return card


def _toml_files(folder: Traversable | Path) -> list[Traversable | Path]:
    """Files of one folder by name, hidden ones left out; none where there is no such folder."""
    if not folder.is_dir():
        return []
    try:
        found = [f for f in folder.iterdir() if f.name.lower().endswith(".toml")]
    except OSError as error:
        raise InputError(f"{folder}: cannot be read ({error.strerror})") from None
    return sorted((f for f in found if not f.name.startswith(".")), key=lambda f: f.name)


def _checked_folder(place: Place) -> Traversable | Path:
    """The folder itself, where it is one and holds tables."""
    folder = located(place)
    if not folder.is_dir():
        what = "a file, not a folder" if folder.is_file() else "no such folder"
        raise InputError(f"{folder}: {what}; give a folder of material tables")
    places = (folder, *(folder.joinpath(place) for place in (*CARD_FOLDERS, KILN_FOLDER)))
    if not any(map(_toml_files, places)):
        raise InputError(
            f"{folder}: no tables in it; allowed: cards as *.toml in it or in its "
            f"{' or '.join(CARD_FOLDERS)}, kilns in its {KILN_FOLDER}, pairs in its {PAIRS_FILE}"
        )
    return folder


def card_files(folder: Place) -> list[Traversable | Path]:
    """Card files of a folder: its own *.toml, and those in its metals/ and ceramics/.

    Parameters
    ----------
    folder : Traversable or Path
        A folder of material tables.

    Returns
    -------
    list
        Files, by name.

    Raises
    ------
    InputError
        No such folder, or no tables in it.
    """
    folder = _checked_folder(folder)
    places = (folder, *(folder.joinpath(place) for place in CARD_FOLDERS))
    return [f for place in places for f in _toml_files(place) if f.name not in NOT_CARDS]


def tables_of(place: Path) -> Path:
    """The folder to give as one's own tables for a file to be read.

    Parameters
    ----------
    place : Path
        A card's or a kiln's file, written or yet to be.

    Returns
    -------
    Path
        Its own, or the one around metals/, ceramics/ or kilns/.
    """
    home = place.absolute().parent
    if home.name not in (*CARD_FOLDERS, KILN_FOLDER):
        return place.parent
    return place.parent.parent if place.parent.name else home.parent


def stranger_in(folder: Path) -> str:
    """Why a folder cannot be given as one's own tables: the first complaint about a card in it.

    Parameters
    ----------
    folder : Path
        From `tables_of`.

    Returns
    -------
    str
        Without a full stop; empty where every card can be read, or none lies there yet.
    """
    try:
        files = card_files(folder)
    except InputError:
        return ""
    return next(iter(check_files(files)), "")


def kiln_files(folder: Place) -> list[Traversable | Path]:
    """Kiln files of a folder of material tables: those in its kilns/.

    Parameters
    ----------
    folder : Traversable or Path
        A folder of material tables.

    Returns
    -------
    list
        Files, by name.

    Raises
    ------
    InputError
        No such folder, or no tables in it.
    """
    return _toml_files(_checked_folder(folder).joinpath(KILN_FOLDER))


def pair_files(folder: Place) -> list[Traversable | Path]:
    """The file of pairs of a folder of material tables, where it has one.

    Parameters
    ----------
    folder : Traversable or Path
        A folder of material tables.

    Returns
    -------
    list
        One file or none.

    Raises
    ------
    InputError
        No such folder, or no tables in it.
    """
    return [file for file in _toml_files(_checked_folder(folder)) if file.name == PAIRS_FILE]


class Named(dict[str, T]):
    """Things by name; a name that none has is refused with the nearest one that there is.

    Parameters
    ----------
    kind : str
        What a message calls one of them.
    """

    def __init__(self, kind: str, things: Mapping[str, T] | None = None) -> None:
        super().__init__(things or {})
        self.kind = kind

    def __missing__(self, name: str) -> T:
        """Refuse the name."""
        raise UnknownName(self.kind, str(name), self)

    def __reduce__(self) -> tuple[Any, ...]:
        return Named, (self.kind, dict(self))


def override(known: dict[str, T], here: Iterable[tuple[str, T, str]]) -> None:
    """Add the things of one folder to those known; they take the place of what has their name.

    Parameters
    ----------
    known : dict
        Things by name, changed in place.
    here : iterable of tuple
        Name, thing and file of each thing of the folder.

    Raises
    ------
    InputError
        The same name twice in the folder.
    """
    files: dict[str, str] = {}
    for name, thing, path in here:
        key = folded(name)
        if key in files:
            raise InputError(_twice(name, path, files[key]))
        files[key] = path
        for old in [n for n in known if folded(n) == key]:
            del known[old]
        known[name] = thing


_TITLE = re.compile(r'^name\s*=\s*"([^"]*)"', re.MULTILINE)


def shipped_cards_in(texts: Iterable[str]) -> dict[str, Card]:
    """Those of the shipped cards whose names occur in some texts; the others are not read.

    Parameters
    ----------
    texts : iterable of str
        Materials and blends, as a vessel names them.

    Returns
    -------
    dict
        Name to card, in the order of the files.
    """
    wanted = [folded(text) for text in texts]
    cards: dict[str, Card] = Named("material")
    for path in card_files(bundled_tables()):
        title = _TITLE.search(path.read_text(encoding="utf-8"))
        if title is not None and any(folded(title[1]) in text for text in wanted):
            card = read_card(path)
            cards[card.name] = card
    return cards


def load_cards(folders: Iterable[Place] = (), bundled: bool = True) -> dict[str, Card]:
    """All cards by name: the shipped ones, then the user's folders, which may override.

    Where a folder holds pairs of the user's own, each card carries the table with them.

    Parameters
    ----------
    folders : iterable of path
        The user's folders, later ones first in right.
    bundled : bool
        Whether to begin with the shipped tables.

    Returns
    -------
    dict
        Name to card, in the order read.

    Raises
    ------
    InputError
        A wrong file, a missing folder, or the same name twice in one folder.
    """
    folders = list(folders)
    cards: dict[str, Card] = Named("material")
    cards.update(_shipped_cards() if bundled else {})
    known = dict(_shipped())
    for folder in folders:
        here: dict[Any, dict[str, Any]] = {path: read_toml(path) for path in card_files(folder)}
        whole = {path: _whole(path, here, known) for path in here}
        read = [_card(table, path) for path, table in whole.items()]
        override(cards, ((card.name, card, card.origin) for card in read))
        known |= {folded(str(table.get("name"))): table for table in whole.values()}
    pairs: Pairs | None = None
    for file in (file for folder in folders for file in pair_files(folder)):
        pairs = extended_pairs(pairs or shipped_pairs(), read_pairs(file, cards))
    if pairs is not None:
        for name, card in cards.items():
            cards[name] = replace(card, pairs=pairs)
    return cards


def load_fillers() -> dict[str, Card]:
    """Cards of the shipped fillers and frits by name: what is mixed into a paste, not fired alone.

    They stand apart from `load_cards`, so that no screening or search takes a filler for a body.

    Returns
    -------
    dict
        Name to card, in the order of the files.

    Raises
    ------
    InputError
        A wrong file, or the same name twice.
    """
    return dict(_shipped_cards("fillers"))


@functools.cache
def _shipped_cards(*folder: str) -> dict[str, Card]:
    """Cards of the shipped tables by name, in the order of the files: read once, they stay."""
    cards: dict[str, Card] = {}
    here = (read_card(path) for path in card_files(bundled_tables().joinpath(*folder)))
    override(cards, ((card.name, card, card.origin) for card in here))
    return cards


def check_files(paths: Iterable[Traversable | Path]) -> list[str]:
    """Every complaint about the given files of cards and pairs, one line each.

    Joints of a file of pairs may name the shipped cards and those beside it.

    Parameters
    ----------
    paths : iterable of Traversable or Path
        Card files, and files named pairs.toml.

    Returns
    -------
    list of str
        Empty where all is well.
    """
    problems: list[str] = []
    files: dict[str, Traversable | Path] = {}
    here: dict[Any, dict[str, Any]] = {}
    pairs = []
    for path in paths:
        if path.name == PAIRS_FILE:
            pairs.append(path)
            continue
        try:
            here[path] = read_toml(path)
        except InputError as error:
            problems.append(str(error))
    for path in here:
        try:
            reader = CardReader(_whole(path, here, _shipped()), str(path))
        except InputError as error:
            problems.append(str(error))
            continue
        card = reader.card()
        problems += reader.problems
        if card is not None:
            first = files.setdefault(folded(card.name), path)
            if first is not path:
                problems.append(_twice(card.name, path, first))
    for path in pairs:
        beside = path.parent.rglob("*.toml") if isinstance(path, Path) else ()
        titles = [str(_title(other)) for other in beside if other.name not in NOT_CARDS]
        shipped = [str(table["name"]) for table in _shipped().values()]
        problems += check_pairs(path, [*shipped, *filter(None, titles)])
    return problems


def _title(path: Path) -> str:
    """Name of the card in a file; empty where it cannot be read, which is told elsewhere."""
    with suppress(InputError):
        return str(read_toml(path).get("name", ""))
    return ""


def remarks_on_files(paths: Iterable[Traversable | Path]) -> list[str]:
    """What is unusual in sound card files, one line each; files with a problem are passed over.

    Parameters
    ----------
    paths : iterable of Traversable or Path
        Card files.

    Returns
    -------
    list of str
        With the file in front.
    """
    found = []
    for path in paths:
        try:
            card = read_card(path)
        except InputError:
            continue
        found += [f"{path}: {line}" for line in remarks(card)]
    return found


def _twice(name: str, path: object, first: object) -> str:
    return f"{path}: name = {name!r} is also the name in {first}; rename one"


def find_named(kind: str, name: str, known: Mapping[str, T], where: str = "") -> T:
    """The thing of that name, whatever its case.

    Parameters
    ----------
    kind : str
        What the message calls it.
    name : str
        As a person types it.
    known : mapping
        Things by name.
    where : str
        File for the message.

    Raises
    ------
    UnknownName
        With the nearest name and all there are.
    """
    found = {folded(key): thing for key, thing in known.items()}
    if folded(name) not in found:
        raise UnknownName(kind, name, known, where)
    return found[folded(name)]


def find_card(name: str, cards: dict[str, Card]) -> Card:
    """The card of that name, whatever its case.

    Parameters
    ----------
    name : str
        As a person types it.
    cards : dict
        From `load_cards`.

    Raises
    ------
    UnknownName
        With the nearest name and all there are.
    """
    return find_named("material", name, cards)
