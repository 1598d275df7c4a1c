"""Material tables: find them, read them, and say per file and field what is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from cofire.errors import InputError, UnknownName
from cofire.inputs.card_reader import CardReader
from cofire.inputs.cards import Card
from cofire.inputs.files import read_toml

NOT_CARDS = ("binders.toml",)


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
        No such folder.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder of material tables")
    files: list[Traversable | Path] = []
    for place in (folder, folder.joinpath("metals"), folder.joinpath("ceramics")):
        if place.is_dir():
            files += sorted(
                (
                    f
                    for f in place.iterdir()
                    if f.name.endswith(".toml") and f.name not in NOT_CARDS
                ),
                key=lambda f: f.name,
            )
    return files


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
        here: dict[str, Card] = {}
        for path in card_files(folder):
            card = read_card(path)
            if card.name in here:
                raise InputError(
                    f"{path}: name: {card.name!r} is also the name in {here[card.name].origin}; "
                    "rename one"
                )
            here[card.name] = card
        cards.update(here)
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
    names: dict[str, str] = {}
    for path in paths:
        try:
            reader = CardReader(read_toml(path), str(path))
        except InputError as error:
            problems.append(str(error))
            continue
        card = reader.card()
        problems += reader.problems
        if card is not None:
            if card.name in names:
                problems.append(
                    f"{path}: name: {card.name!r} is also the name in "
                    f"{names[card.name]}; rename one"
                )
            names[card.name] = str(path)
    return problems


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
    folded = {key.casefold(): card for key, card in cards.items()}
    wanted = " ".join(name.replace("_", " ").split()).casefold()
    if wanted not in folded:
        raise UnknownName("material", name, cards)
    return folded[wanted]
