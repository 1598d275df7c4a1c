"""What to weigh of each paste, and what powders and firing cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cofire.assessment.response import Response
from cofire.errors import UnknownName
from cofire.firing.kiln import firing_energy
from cofire.materials.card import Card, pure_cards
from cofire.numerics import Array
from cofire.physics.changeover import volume_for_share
from cofire.physics.paste import paste_of
from cofire.production.changeovers import paste_volumes
from cofire.production.green import Green
from cofire.production.piece import Piece
from cofire.production.printed_solid import band_volumes
from cofire.vessel import BINDER, Mixing, Printer

# ----------------------------------------------------------------------------------------------
# What to weigh: powder, binder and water of each paste

COARSE_SCALE = 0.1
"""A scale that changes an ingredient by more than this is too coarse for it: estimate. [-]"""


@dataclass(frozen=True)
class BandPaste:
    """What stands in one band, as the changes of paste mix it.

    Attributes
    ----------
    material
        Its own paste.
    own, volume
        Of that paste, and of all, as printed. [m³]
    wet, dry, fired
        Mass. [kg]
    """

    material: str
    own: float
    volume: float
    wet: float
    dry: float
    fired: float

    @property
    def own_share(self) -> float:
        """Of its own paste, of the volume as printed. [-]"""
        return self.own / self.volume


@dataclass(frozen=True, kw_only=True)
class Batch:
    """What to weigh for one paste.

    Attributes
    ----------
    material
        Its name.
    volume
        Of paste to make. [m³]
    wall, waste, dead
        What of it stands in the wall, in whatever band, is lost, and is left in the feed or run out
        beside the print. [m³]
    powders
        Name and mass of each. [kg]
    binder, water
        Mass. [kg]
    ready
        The same blend from two pastes mixed alone: name and mass of each; empty for a pure
        paste. [kg]
    off
        Most by which the scale's step changes an ingredient, of its mass. [-]
    worst
        Name of that ingredient.
    """

    material: str
    volume: float
    wall: float
    waste: float
    dead: float
    powders: tuple[tuple[str, float], ...]
    binder: float
    water: float
    ready: tuple[tuple[str, float], ...]
    off: float
    worst: str

    @property
    def mass(self) -> float:
        """Of the whole batch. [kg]"""
        return sum(mass for _, mass in self.powders) + self.binder + self.water


def weighed(masses: Sequence[float], scale: float) -> list[float]:
    """Masses in whole steps of a scale, each the nearest.

    Their sum may be off by a step or two, which no one needs; a step more or less of a little
    binder would change the paste.

    Parameters
    ----------
    masses : sequence of float
        Not negative. [kg]
    scale : float
        Its step. [kg]

    Returns
    -------
    list of float
        In the same order. [kg]
    """
    return [round(mass / scale) * scale for mass in masses]


def band_pastes(response: Response, green: Green) -> list[BandPaste]:
    """What stands in each band, other bands' paste included where a change smears it in.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.

    Returns
    -------
    list of BandPaste
        From the foot up.
    """
    held = paste_volumes(response, green)
    pastes = [paste_of(card) for card in response.cards]
    masses = held @ np.array([(p.wet, p.dry, p.burnt) for p in pastes])
    same = np.array([[a.name == b.name for b in response.cards] for a in response.cards])
    return [
        BandPaste(card.name, float(own), float(volume), *(float(mass) for mass in row))
        for card, own, volume, row in zip(
            response.cards, (held * same).sum(axis=1), held.sum(axis=1), masses, strict=True
        )
    ]


def batches(response: Response, green: Green, mixing: Mixing | None = None) -> list[Batch]:
    """What to weigh for each paste, to the step of the scale.

    The first paste also fills the feed, and the last takes over half a change earlier than the
    wall alone would ask; what is lost counts on top, as a share of what stands in the wall.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.
    mixing : Mixing, optional
        Waste and scale; by default the vessel's.

    Returns
    -------
    list of Batch
        One a material, in the order in which they are first printed.
    """
    use, printer = mixing or response.vessel.mixing, response.vessel.printer
    volumes = band_volumes(green.wall)
    fill = feed_fill(volumes, printer, printer.dead_volume)
    stands = paste_volumes(response, green).sum(axis=0)
    found = []
    for card in {c.name: c for c in response.cards}.values():
        own = np.array([c.name == card.name for c in response.cards])
        wall = float(stands[own].sum())
        dead = float((volumes + fill)[own].sum()) - wall
        found.append(_batch(card, wall, use.waste * wall, dead, use.scale))
    return found


def feed_fill(volumes: Array, printer: Printer, first: float) -> Array:
    """What a print takes of each paste besides what stands in it: the feed, and changing early.

    Parameters
    ----------
    volumes : array
        Of each band, from the foot up, shape (bands,). [m³]
    printer : Printer
        Its dead volume, and how pastes mix in it.
    first : float
        Of the first paste until the nozzle gives it. [m³]

    Returns
    -------
    array
        Each change comes half a change before its joint, or before the first layer, (bands,). [m³]
    """
    fill = np.zeros(volumes.size)
    fill[0] = first
    if volumes.size > 1:
        early = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
        fill[0] -= min(early, float(volumes[0]))
        fill[-1] += early
    return fill


def ready_pastes(card: Card, volume: float) -> list[tuple[str, float, float]]:
    """The two pastes of which a blend is mixed.

    Parameters
    ----------
    card : Card
        Of the blend; none of a pure material.
    volume : float
        Of the blend's paste. [m³]

    Returns
    -------
    list of tuple
        Name, volume [m³] and mass [kg] of each; empty for a pure material.
    """
    solids = paste_of(card).solids if card.parts else 0.0
    pastes = [(part.name, paste_of(part), share) for part, share in card.parts]
    parts = [(name, p, share * solids / p.solids * volume) for name, p, share in pastes]
    return [(name, part, p.wet * part) for name, p, part in parts]


def piece_batches(response: Response, pieces: Sequence[Piece]) -> list[Batch]:
    """What to weigh for the test pieces, besides the vessel's own.

    Parameters
    ----------
    response : Response
        From `fire_vessel`, with the bands as drawn.
    pieces : sequence of Piece
        Of pastes that it holds.

    Returns
    -------
    list of Batch
        One a material; what the feed holds is the vessel's, but for pieces in which it changes.
    """
    use, cards = response.vessel.mixing, {c.name: c for c in response.cards}
    cards |= pure_cards(response.cards)
    stands, beside = dict.fromkeys(cards, 0.0), dict.fromkeys(cards, 0.0)
    for piece in pieces:
        for name, volume in piece.pastes:
            stands[name] += piece.count * volume
        for name, volume in piece.beside:
            beside[name] += volume
    return [
        _batch(card, stands[name], use.waste * stands[name], beside[name], use.scale)
        for name, card in cards.items()
        if stands[name] + beside[name] > 0.0
    ]


def _batch(card: Card, wall: float, waste: float, dead: float, scale: float) -> Batch:
    """One batch, weighed."""
    paste, whole = paste_of(card), wall + waste + dead
    names = [name for name, _ in paste.powders]
    parts = [*(mass for _, mass in paste.powders), paste.binder, paste.water]
    exact = [part * whole for part in parts]
    masses = weighed(exact, scale)
    called = [*names, "binder", "water"]
    off, worst = max(
        (abs(mass - want) / want, name)
        for mass, want, name in zip(masses, exact, called, strict=True)
        if want
    )
    *powders, binder, water = masses
    ready: tuple[tuple[str, float], ...] = ()
    if sides := ready_pastes(card, whole):
        halves = weighed([mass for _, _, mass in sides], scale)
        ready = tuple((name, m) for (name, _, _), m in zip(sides, halves, strict=True))
    pairs = tuple(zip(names, powders, strict=True))
    return Batch(
        material=card.name,
        volume=whole,
        wall=wall,
        waste=waste,
        dead=dead,
        powders=pairs,
        binder=binder,
        water=water,
        ready=ready,
        off=off,
        worst=worst,
    )


# ----------------------------------------------------------------------------------------------
# What powders and firing cost, where the vessel's file gives prices


@dataclass(frozen=True)
class Cost:
    """What the print and its firing cost, in the file's currency.

    Attributes
    ----------
    powders
        Name and price of what is weighed of each.
    energy
        Current for the firing. [J]
    firing
        Its price; None where the file does not say.
    unpriced
        Powders without a price.
    length
        Of the firing, until the ware is cold. [s]
    time
        Its price; None where the file does not say.
    pieces
        Price of the powders of the test pieces, which is no part of the total.
    """

    powders: tuple[tuple[str, float], ...]
    energy: float | None
    firing: float | None
    unpriced: tuple[str, ...]
    length: float = 0.0
    time: float | None = None
    pieces: float = 0.0

    @property
    def total(self) -> float:
        """Of all of the vessel that has a price."""
        return sum(price for _, price in self.powders) + (self.firing or 0.0) + (self.time or 0.0)


def cost(response: Response, made: Sequence[Batch], pieces: Sequence[Batch] = ()) -> Cost | None:
    """What powders and firing cost, or None where the vessel's file gives no prices.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    made : sequence of Batch
        From `batches`.
    pieces : sequence of Batch, optional
        From `piece_batches`.

    Returns
    -------
    Cost or None
        Powders as weighed; the kiln's current by `firing_energy`.

    Raises
    ------
    UnknownName
        A price for something the vessel does not hold.
    """
    prices = response.vessel.prices
    if prices is None:
        return None
    used, tested = _used(made), _used(pieces)
    listed = dict(prices.powders)
    for name in listed:
        if name not in used:
            raise UnknownName("powder", name, used, f"{response.vessel.name}: [prices.per_kg]")
    energy = firing = None
    length = float(response.trace.time[-1])
    if prices.kiln_power > 0.0:
        trace = response.trace
        energy = firing_energy(
            response.vessel.firing.kiln, trace.time, trace.kiln, prices.kiln_power
        )
        firing = energy * prices.energy
    return Cost(
        tuple((name, used[name] * price) for name, price in listed.items()),
        energy,
        firing,
        tuple(name for name in used if name not in listed),
        length,
        length * prices.time if prices.time > 0.0 else None,
        sum(tested.get(name, 0.0) * price for name, price in listed.items()),
    )


def _used(made: Sequence[Batch]) -> dict[str, float]:
    """Mass of each powder and of binder in some batches. [kg]"""
    used: dict[str, float] = {}
    for batch in made:
        for name, mass in (*batch.powders, (BINDER, batch.binder)):
            used[name] = used.get(name, 0.0) + mass
    return used
