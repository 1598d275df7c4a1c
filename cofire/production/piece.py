"""What a test piece is, and how a bar of one material is printed.

Bars are printed lying down, their length along the roads and their thickness in layers, as thick
when fired as the vessel's wall.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from cofire.assessment.packing import Need, lacking, room_for
from cofire.assessment.response import Response
from cofire.assessment.rule import Flag
from cofire.design.ladder import LADDER, RING
from cofire.firing.program import Firing, Space
from cofire.materials.card import Card, pure_cards
from cofire.physics.history import History, histories
from cofire.production.green import kept

COUNT = 2
"""Pieces of each kind: the second tells the scatter. Common practice."""
WIDTH = 0.012
"""Of a fired bar: common practice. [m]"""


@dataclass(frozen=True)
class Reading:
    """Something to measure or look at: what the model expects, and what stops the plan.

    Attributes
    ----------
    what
        To measure.
    value, unit
        As a person reads it; no unit for what is only looked at.
    stop
        What would stop the plan; empty where it only corrects a card.
    """

    what: str
    value: float
    unit: str
    stop: str = ""


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A test piece.

    Attributes
    ----------
    kind, material
        What it is, and of what, from below.
    count
        How many.
    length, width, thickness
        As printed; of a ring its outer diameter, its wall and its height. [m]
    dries
        Dried over printed length. [-]
    layers
        It is printed in.
    pastes
        Name and volume of each paste that stands in one; of a ladder's rings their mean. [m³]
    beside
        Name and volume of each paste that printing all of them takes besides, from a feed that
        holds another: run out, or left in the feed; none where the paste does not change. [m³]
    readings
        In the order in which they are taken.
    decides
        Rule and zone of the flags it speaks to.
    note
        How to make it, where the sizes do not say.
    """

    kind: str
    material: str
    count: int
    length: float
    width: float
    thickness: float
    dries: float
    layers: int
    pastes: tuple[tuple[str, float], ...]
    readings: tuple[Reading, ...]
    beside: tuple[tuple[str, float], ...] = ()
    decides: tuple[str, ...] = ()
    note: str = ""

    @property
    def volume(self) -> float:
        """Of paste that stands in one. [m³]"""
        return sum(volume for _, volume in self.pastes)

    @property
    def space(self) -> Space:
        """Room that one takes as it goes into the kiln: dried, lying; a ring is round."""
        ring = self.kind in (RING, LADDER)
        long, high = self.dries * self.length, self.dries * self.thickness
        return Space(long, long if ring else self.dries * self.width, high, round=ring)

    @property
    def paste(self) -> float:
        """Of paste that all of them take, with what is run out and left in the feed. [m³]"""
        return self.count * self.volume + sum(volume for _, volume in self.beside)


@dataclass(frozen=True)
class Sample:
    """A material alone: its card, and its history in the first row."""

    card: Card
    history: History

    @property
    def strains(self) -> tuple[float, float, float]:
        """Natural strains: drying, firing along the road, firing along the height. [-]"""
        h = self.history
        return kept(self.card, float(h.free_strain[0, -1]), float(h.shrinkage[0, -1]))


def sample(response: Response, name: str) -> Sample:
    """A material of the vessel, or one that only stands in a blend of it.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    name : str
        Of a band's material or of a part of it.

    Returns
    -------
    Sample
        Its card and history.
    """
    for card, row in zip(response.cards, response.material, strict=True):
        if card.name == name:
            return Sample(card, response.history.rows([row]))
    part = pure_cards(response.cards)[name]
    return Sample(part, histories([part], response.trace, extend=True))


def as_dried(cards: Iterable[Card]) -> float:
    """Dried over printed length of a piece: that of its paste that dries least.

    Parameters
    ----------
    cards : iterable of Card
        Of its pastes, at least one.

    Returns
    -------
    float
        [-]
    """
    return 1.0 - min(card["drying_shrinkage"].scalar for card in cards)


def bar(
    response: Response,
    of: Sample,
    kind: str,
    length: float,
    readings: tuple[Reading, ...],
    width: float = WIDTH,
) -> Piece:
    """A bar as thick when fired as the wall, of a length as printed.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    kind : str
        Its name.
    length : float
        As printed. [m]
    readings : tuple of Reading
        What to take from it.
    width : float
        When fired. [m]

    Returns
    -------
    Piece
        In whole layers.
    """
    dry, ring, up = of.strains
    layer = response.vessel.printer.layer
    layers = max(round(wall_of(response) * float(np.exp(-dry - up)) / layer), 1)
    wide = width * float(np.exp(-dry - ring))
    thickness = layers * layer
    return Piece(
        kind=kind,
        material=of.card.name,
        count=COUNT,
        length=length,
        width=wide,
        thickness=thickness,
        dries=as_dried([of.card]),
        layers=layers,
        pastes=((of.card.name, length * wide * thickness),),
        readings=readings,
    )


def fitting(
    firing: Firing, longest: float, least: float, width: float, thickness: float, dries: float
) -> float:
    """Printed length of a bar that goes dried into the box and the kiln that it is fired in.

    Parameters
    ----------
    firing : Firing
        With its kiln.
    longest, least : float
        Wanted, and not shorter than. [m]
    width, thickness : float
        Of the bar as printed. [m]
    dries : float
        Dried over printed length. [-]

    Returns
    -------
    float
        By whole centimetres shorter than wanted. [m]
    """
    lengths = np.arange(longest, least, -0.01).tolist()
    w, t = dries * width, dries * thickness
    return next((x for x in lengths if not short_of(Space(dries * x, w, t), firing)), least)


def short_of(ware: Space, firing: Firing) -> list[Need]:
    """What of box and kiln is too small for a piece.

    Parameters
    ----------
    ware : Space
        The piece.
    firing : Firing
        With its kiln.

    Returns
    -------
    list of tuple
        Words, how much is needed, and how much there is. [m]
    """
    return lacking(room_for(ware, firing)[1])


def wall_of(response: Response) -> float:
    """Thickest place of the standing wall.

    Returns
    -------
    float
        [m]
    """
    return float(response.fired.wall[~response.fired.lying].max())


def decided(flags: Sequence[Flag]) -> tuple[str, ...]:
    """Rule and zone of flags, as the piece names them that decides them.

    Parameters
    ----------
    flags : sequence of Flag
        Of the vessel.

    Returns
    -------
    tuple of str
        As "cooling, fritted body".
    """
    return tuple(f"{flag.rule}, {flag.zone}" for flag in flags)
