"""A transition between the two zones of a vessel: its blends, and the bands it makes.

A vessel of two joints, with a band in the middle or the same material at both ends, has one at
each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from cofire.errors import InputError
from cofire.materials.card import Card
from cofire.physics.blends import find_material
from cofire.vessel import Band, Vessel

LOWER, UPPER = "lower joint", "upper joint"
"""Names of two joints; one alone has none."""
ALIKE = 1e-6
"""Heights of bands that differ by less count as alike, far below a layer. [m]"""


@dataclass(frozen=True)
class Layout:
    """A transition: blends from the metal side on, their common height, and its middle.

    Lengths are those of the fired vessel; the printing sheet counts layers again in the green
    size. Of two joints it is that of the lower one, and holds the upper one's.

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
    upper
        The transition of the upper joint where there are two, else None.
    """

    shares: tuple[int, ...]
    height: float
    middle: float
    heights: tuple[float, ...] = ()
    upper: Layout | None = None

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

    @property
    def joints(self) -> tuple[Layout, ...]:
        """The transition of each joint alone, from below."""
        return (self,) if self.upper is None else (replace(self, upper=None), self.upper)

    @property
    def named(self) -> tuple[tuple[str, Layout], ...]:
        """The same with the names of the joints; one alone has an empty name."""
        names = ("",) if self.upper is None else (LOWER, UPPER)
        return tuple(zip(names, self.joints, strict=True))

    def having(self, which: str, one: Layout) -> Layout:
        """The layout with the transition of one joint exchanged.

        Parameters
        ----------
        which : str
            Its name, as `named` has it.
        one : Layout
            Of that joint alone.
        """
        return replace(self, upper=one) if which == UPPER else replace(one, upper=self.upper)

    @property
    def blends(self) -> int:
        """Pastes between the zones, of all joints. [-]"""
        return sum(len(one.shares) for one in self.joints)

    @property
    def changes(self) -> int:
        """Changes of paste while printing. [-]"""
        return self.blends + len(self.joints)

    @property
    def tall(self) -> float:
        """Height of all transitions together. [m]"""
        return sum(one.total for one in self.joints) if self.upper else self.total

    @property
    def alike(self) -> bool:
        """Whether all joints have the same blends of the same heights."""
        return _alike(self.joints[0], self.joints[-1])

    def same(self, other: Layout) -> bool:
        """Whether another one has the same blends of the same heights in the same places.

        Parameters
        ----------
        other : Layout
            Of the same vessel.
        """
        return all(
            _alike(a, b) and abs(a.middle - b.middle) < ALIKE
            for a, b in zip(self.joints, other.joints, strict=True)
        )


def _alike(one: Layout, other: Layout) -> bool:
    """Whether two joints have the same blends of the same heights."""
    return one.shares == other.shares and all(
        abs(a - b) < ALIKE for a, b in zip(one.each, other.each, strict=True)
    )


def zones(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[Card, Card, bool]:
    """The metal and the ceramic that the vessel joins, and whether the metal stands below.

    Parameters
    ----------
    vessel : Vessel
        Its lowest and highest band must be a pure metal and a pure ceramic, in any order, and
        all between them blends of the two; or both the same, with one band of the other between
        and all else blends.
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
    pure = [card for card in chosen if not card.parts]
    names = {card.name for card in pure}
    foreign = [
        card for card in chosen if card.parts and {part.name for part, _ in card.parts} != names
    ]
    kinds = [card.kind for card in pure]
    if chosen[0].parts or chosen[-1].parts or foreign or len(names) != 2 or kinds not in JOINED:
        raise InputError(
            f"{name}: a plan takes one metal and one ceramic, at one joint or two, with nothing "
            f"but blends of them between; the bands are {', '.join(card.name for card in chosen)}. "
            "What takes them as they are: check, schedule, make and sheet"
        )
    below = pure[0].kind == "metal"
    return (pure[0], pure[1], True) if below else (pure[1], pure[0], False)


JOINED = [
    [one, other, *more]
    for one, other in (("metal", "ceramic"), ("ceramic", "metal"))
    for more in ([], [one])
]
"""Kinds of the pure zones from below that a plan takes."""


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
    names, tops = [], []
    for one in layout.joints:
        order = one.shares if below else one.shares[::-1]
        rising = one.heights if below else one.heights[::-1]
        names += [metal if below else ceramic]
        names += [f"{metal} + {ceramic} = {share}" for share in order]
        tops += [
            one.foot + (sum(rising[:k]) if rising else one.height * k)
            for k in range(len(order) + 1)
        ]
        below = not below
    names += [metal if below else ceramic]
    edges = [0.0, *tops, float(vessel.height[-1])]
    bands = tuple(
        Band(name, low, high) for name, low, high in zip(names, edges[:-1], edges[1:], strict=True)
    )
    return replace(vessel, bands=bands)


def given_layout(vessel: Vessel, cards: Mapping[str, Card]) -> Layout:
    """The transition of the vessel as its file has it, its bands' heights too.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic, at one joint or two.
    cards : mapping
        Materials by name.

    Returns
    -------
    Layout
        Shares to the nearest per cent.
    """
    _, _, below = zones(vessel, cards)
    chosen = [find_material(band.material, dict(cards)) for band in vessel.bands]
    pure = [k for k, card in enumerate(chosen) if not card.parts]
    found = []
    for first, last in pairwise(pure):
        blends = [round(100.0 * card.metal_share) for card in chosen[first + 1 : last]]
        found.append(_drawn(vessel.bands[first : last + 1], tuple(blends), below))
        below = not below
    return replace(found[0], upper=found[1]) if len(found) > 1 else found[0]


def _drawn(bands: Sequence[Band], found: tuple[int, ...], below: bool) -> Layout:
    """One transition of a vessel; `bands` are those from pure zone to pure zone."""
    low, high = bands[0].high, bands[-1].low
    height = (high - low) / len(found) if found else 0.0
    own = tuple(band.high - band.low for band in bands[1:-1])
    alike = all(abs(h - height) < ALIKE for h in own)
    own = () if alike else (own if below else own[::-1])
    return Layout(
        found if below else found[::-1], min(own, default=height), 0.5 * (low + high), own
    )
