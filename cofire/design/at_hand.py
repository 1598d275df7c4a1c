"""Only these materials: what a vessel's file lets partners, alternatives and recipes offer."""

from __future__ import annotations

from collections.abc import Mapping

from cofire.errors import UnknownName
from cofire.files import folded
from cofire.materials.card import Card, pure_cards
from cofire.materials.catalogue import load_fillers
from cofire.physics.blends import find_material
from cofire.vessel import Vessel


def known_materials(vessel: Vessel, cards: Mapping[str, Card]) -> None:
    """Refuse a name of the vessel's list that neither a card nor a filler has.

    Parameters
    ----------
    vessel : Vessel
        With its list, or none.
    cards : mapping
        Materials by name.

    Raises
    ------
    UnknownName
        With the nearest that there is.
    """
    if not vessel.free.materials:
        return
    known = [*cards, *load_fillers()]
    there = {folded(name) for name in known}
    for name in vessel.free.materials:
        if folded(name) not in there:
            raise UnknownName("material", name, known, f"{vessel.name}: [free]: materials")


def cards_at_hand(
    vessel: Vessel, cards: Mapping[str, Card], fillers: bool = False
) -> dict[str, Card]:
    """Those cards that the vessel's file lets a plan offer.

    Parameters
    ----------
    vessel : Vessel
        With its list, or none.
    cards : mapping
        Materials, or fillers, by name.
    fillers : bool
        Whether they are fillers: of these the vessel's own bands hold none.

    Returns
    -------
    dict
        All of them where there is no list; else those on it, and those of the bands.
    """
    if not vessel.free.materials:
        return dict(cards)
    listed = {folded(name) for name in vessel.free.materials}
    if not fillers:
        own = [find_material(band.material, dict(cards)) for band in vessel.bands]
        listed |= {folded(name) for name in pure_cards(own)}
    return {name: card for name, card in cards.items() if folded(name) in listed}


def outside(vessel: Vessel, fillers: Mapping[str, Card]) -> dict[str, Card]:
    """Those fillers that the vessel's file does not let a plan offer; none without a list.

    Parameters
    ----------
    vessel : Vessel
        With its list, or none.
    fillers : mapping
        By name.
    """
    own = cards_at_hand(vessel, fillers, fillers=True)
    return {name: card for name, card in fillers.items() if name not in own}
