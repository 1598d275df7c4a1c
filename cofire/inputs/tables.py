"""Material tables: find them, read them, and say per file and field what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TypeVar

from cofire.errors import InputError, UnknownName
from cofire.inputs.card_reader import CardReader, remarks
from cofire.inputs.cards import Card
from cofire.inputs.files import read_toml

T = TypeVar("T")

NOT_CARDS = ("binders.toml",)
CARD_FOLDERS = ("metals", "ceramics")


def bundled_tables() -> Traversable:
    """Folder of the material tables shipped with cofire."""
    installed = resources.files("cofire").joinpath("material_tables")
    if installed.is_dir():
        return installed
    return Path(__file__).resolve().parents[2] / "material_tables"


def read_card(path: Traversable | Path) -> Card:
    """The card in a file.

    Parameters
    ----------
    path : Traversable or Path
        A TOML file.

    Returns
    -------
    Card
        With every value in SI.

    Raises
    ------
    InputError
        With the first complaint, and how many more there are.
    """
    reader = CardReader(read_toml(path), str(path))
    card = reader.card()
    if card is None:
        more = f" (and {len(reader.problems) - 1} more)" if len(reader.problems) > 1 else ""
        raise InputError(reader.problems[0] + more)
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


def _checked_folder(folder: Traversable | Path) -> Traversable | Path:
    """The folder itself, where it is one and holds tables."""
    if not folder.is_dir():
        what = "a file, not a folder" if folder.is_file() else "no such folder"
        raise InputError(f"{folder}: {what}; give a folder of material tables")
    places = (folder, *(folder.joinpath(place) for place in (*CARD_FOLDERS, "kilns")))
    if not any(map(_toml_files, places)):
        raise InputError(
            f"{folder}: no tables in it; allowed: cards as *.toml in it or in its "
            f"{' or '.join(CARD_FOLDERS)}, kilns in its kilns"
        )
    return folder


def card_files(folder: Traversable | Path) -> list[Traversable | Path]:
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
    places = (folder, *(_checked_folder(folder).joinpath(place) for place in CARD_FOLDERS))
    return [f for place in places for f in _toml_files(place) if f.name not in NOT_CARDS]


def kiln_files(folder: Traversable | Path) -> list[Traversable | Path]:
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
    return _toml_files(_checked_folder(folder).joinpath("kilns"))


def folded(name: str) -> str:
    """A name as it is compared: without case, underscores or doubled spaces.

    Parameters
    ----------
    name : str
        As written in a file or typed.

    Returns
    -------
    str
        Equal for names that mean the same.
    """
    return " ".join(name.replace("_", " ").split()).casefold()


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


def load_cards(folders: Iterable[Path] = (), bundled: bool = True) -> dict[str, Card]:
    """All cards by name: the shipped ones, then the user's folders, which may override.

    Parameters
    ----------
    folders : iterable of Path
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
    cards: dict[str, Card] = {}
    places = ([bundled_tables()] if bundled else []) + list(folders)
    for folder in places:
        here = (read_card(path) for path in card_files(folder))
        override(cards, ((card.name, card, card.origin) for card in here))
    return cards


def check_files(paths: Iterable[Traversable | Path]) -> list[str]:
    """Every complaint about the given card files, one line each.

    Parameters
    ----------
    paths : iterable of Traversable or Path
        Card files.

    Returns
    -------
    list of str
        Empty where all is well.
    """
    problems: list[str] = []
    files: dict[str, Traversable | Path] = {}
    for path in paths:
        try:
            reader = CardReader(read_toml(path), str(path))
        except InputError as error:
            problems.append(str(error))
            continue
        card = reader.card()
        problems += reader.problems
        if card is not None:
            first = files.setdefault(folded(card.name), path)
            if first is not path:
                problems.append(_twice(card.name, path, first))
    return problems


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

    Returns
    -------
    T
        The thing.

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

    Returns
    -------
    Card
        The card.

    Raises
    ------
    UnknownName
        With the nearest name and all there are.
    """
    return find_named("material", name, cards)
