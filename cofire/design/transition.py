"""A transition between the two zones of a vessel: its blends, and the bands it makes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cofire.errors import InputError
from cofire.materials.card import Card
from cofire.physics.blends import find_material
from cofire.vessel import Band, Vessel

ALIKE = 1e-6
"""Heights of bands that differ by less count as alike, far below a layer. [m]"""


@dataclass(frozen=True)
class Layout:
    """A transition: blends from the metal side on, their common height, and its middle.

    Lengths are those of the fired vessel; the printing sheet counts layers again in the green
    size.

    Attributes
    ----------
    shares
        Metal of each blend, by solid volume, falling. [%]
    height
        Of each blend's band, a multiple of the printer's layer; of the lowest one where they are
        not alike. [m]
    middle
        Of the whole transition. [m]
    heights
        Of each blend's band where they are not alike, else empty. [m]
    """

    shares: tuple[int, ...]
    height: float
    middle: float
    heights: tuple[float, ...] = ()

    @property
    def each(self) -> tuple[float, ...]:
        """Height of each blend's band, in the order of `shares`. [m]"""
        return self.heights or (self.height,) * len(self.shares)

    @property
    def total(self) -> float:
        """Height of the whole transition. [m]"""
        return sum(self.heights) if self.heights else self.height * len(self.shares)

    @property
    def foot(self) -> float:
        """Where the transition begins. [m]"""
        return self.middle - 0.5 * self.total


def zones(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[Card, Card, bool]:
    """The metal and the ceramic that the vessel joins, and whether the metal stands below.

    Parameters
    ----------
    vessel : Vessel
        Its lowest and highest band must be a pure metal and a pure ceramic, in any order, and
        all between them blends of the two.
    cards : mapping
        Materials by name.

    Returns
    -------
    tuple of Card, Card and bool
        Metal, ceramic, metal below.

    Raises
    ------
    InputError
        Another arrangement of bands.
    """
    known = dict(cards)
    return zones_of(vessel.name, [find_material(band.material, known) for band in vessel.bands])


def zones_of(name: str, chosen: Sequence[Card]) -> tuple[Card, Card, bool]:
    """The same of bands whose cards are known.

    Parameters
    ----------
    name : str
        Of the vessel, for the message.
    chosen : sequence of Card
        One a band, from the lowest.

    Returns
    -------
    tuple of Card, Card and bool
        Metal, ceramic, metal below.

    Raises
    ------
    InputError
        Another arrangement of bands.
    """
    ends = [chosen[0], chosen[-1]]
    names = {card.name for card in ends}
    between = [card for card in chosen[1:-1] if {part.name for part, _ in card.parts} != names]
    if sorted(card.kind for card in ends) != ["ceramic", "metal"] or between:
        raise InputError(
            f"{name}: a plan needs one metal and one ceramic zone with nothing but blends "
            f"of them between; the bands are {', '.join(card.name for card in chosen)}. What "
            "takes them as they are: check, schedule, make and sheet"
        )
    below = ends[0].kind == "metal"
    return (ends[0], ends[1], True) if below else (ends[1], ends[0], False)


def as_vessel(vessel: Vessel, metal: str, ceramic: str, below: bool, layout: Layout) -> Vessel:
    """The vessel with a layout's bands.

    Parameters
    ----------
    vessel : Vessel
        To be changed.
    metal, ceramic : str
        Names of the zones' materials.
    below : bool
        Whether the metal stands below.
    layout : Layout
        The transition.

    Returns
    -------
    Vessel
        A copy.
    """
    order = layout.shares if below else layout.shares[::-1]
    names = [f"{metal} + {ceramic} = {share}" for share in order]
    ends = (metal, ceramic) if below else (ceramic, metal)
    start = layout.foot
    if layout.heights:
        rising = layout.heights if below else layout.heights[::-1]
        inner = [start + sum(rising[:k]) for k in range(len(names) + 1)]
    else:
        inner = [start + layout.height * k for k in range(len(names) + 1)]
    edges = [0.0, *inner, float(vessel.height[-1])]
    bands = tuple(
        Band(name, low, high)
        for name, low, high in zip([ends[0], *names, ends[1]], edges[:-1], edges[1:], strict=True)
    )
    return replace(vessel, bands=bands)


def given_layout(vessel: Vessel, cards: Mapping[str, Card]) -> Layout:
    """The transition of the vessel as its file has it, its bands' heights too.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic zone.
    cards : mapping
        Materials by name.

    Returns
    -------
    Layout
        Shares to the nearest per cent.
    """
    _, _, below = zones(vessel, cards)
    blends = [find_material(band.material, dict(cards)) for band in vessel.bands[1:-1]]
    found = tuple(round(100.0 * card.metal_share) for card in blends)
    low, high = vessel.bands[0].high, vessel.bands[-1].low
    height = (high - low) / len(found) if found else 0.0
    own = tuple(band.high - band.low for band in vessel.bands[1:-1])
    alike = all(abs(h - height) < ALIKE for h in own)
    own = () if alike else (own if below else own[::-1])
    return Layout(
        found if below else found[::-1], min(own, default=height), 0.5 * (low + high), own
    )
