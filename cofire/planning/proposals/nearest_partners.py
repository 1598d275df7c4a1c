"""Which cards, and which mixtures of two bodies, come nearest to the partner a zone would need."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, dataclass
from itertools import combinations

import numpy as np

from cofire.inputs.cards import Card
from cofire.inputs.vessel import Vessel
from cofire.planning.pairs.windows import ceiling, firing_windows
from cofire.planning.proposals.candidates import Bench
from cofire.planning.proposals.ideal_partner import Figures, figures
from cofire.planning.proposals.partner import Range, Wanted

SHARES = (0.25, 0.5, 0.75)
"""Mixtures of two bodies that are weighed, by volume. [-]"""
WINDOW_SCALE = 25.0
"""Gap of maturing that weighs as much as a property one width outside its range. [K]"""


@dataclass(frozen=True)
class Near:
    """A material, or a mixture of two bodies, and what still separates it.

    Attributes
    ----------
    name
        Of the card, or of both with their shares.
    mixed
        Whether its figures are means by volume of two bodies: an estimate, to be fired as a bar.
    apart
        Distance outside each range, in the property's unit; 0 within.
    too_hot
        How far above the zone's limit it matures, 0 where it does not. [K]
    too_weak
        How far below what the zone needs it overfires or melts, 0 where it does not. [K]
    distance
        All together, in widths of the ranges. [-]
    """

    name: str
    mixed: bool
    figures: Figures
    apart: Mapping[str, float]
    too_hot: float
    too_weak: float
    distance: float


@dataclass(frozen=True)
class _Known:
    """A card's figures, lowest maturing peak and ceiling. [K]"""

    name: str
    figures: Figures
    lowest: float
    most: float


def nearest(
    wanted: Wanted, vessel: Vessel, cards: Mapping[str, Card], count: int = 5
) -> tuple[list[Near], list[Near]]:
    """The nearest cards, and the mixtures of two bodies that come nearer than either.

    Each card is taken through the vessel's firing alone; tables that end below its peak are held.

    Parameters
    ----------
    wanted : Wanted
        From `wanted_partner`.
    vessel : Vessel
        With its firing.
    cards : mapping
        Materials by name.
    count : int
        Of cards; of mixtures half as many.

    Returns
    -------
    tuple of list of Near
        Nearest first; no mixtures of metals, whose properties do not add by volume.
    """
    some = [
        card
        for card in cards.values()
        if card.kind == wanted.template.kind and not card.refused and card.name != wanted.zone.name
    ]
    history = Bench(cards, extend=True).history(vessel.firing, some)
    windows = firing_windows(some, vessel.firing.kiln)
    known = [
        _Known(card.name, figures(history, row, wanted.stored_from), float(low), ceiling(card))
        for row, (card, low) in enumerate(zip(some, windows.lowest, strict=True))
    ]
    alone = sorted((_near(wanted, one, False) for one in known), key=lambda n: n.distance)
    if wanted.template.kind == "metal":
        return alone[:count], []
    by_name = {near.name: near.distance for near in alone}
    mixtures = []
    for one, other in combinations(known, 2):
        ends = min(by_name[one.name], by_name[other.name])
        best = min(
            (_near(wanted, _mixture(one, other, share), True) for share in SHARES),
            key=lambda n: n.distance,
        )
        if best.distance < ends:
            mixtures.append(best)
    mixtures.sort(key=lambda n: n.distance)
    return alone[:count], mixtures[: max(count // 2, 1)]


def _mixture(one: _Known, other: _Known, share: float) -> _Known:
    """Means by volume; dense only where both are, and no stronger in fire than the weaker."""
    mean = [
        share * a + (1.0 - share) * b
        for a, b in zip(astuple(one.figures), astuple(other.figures), strict=True)
    ]
    return _Known(
        f"{100 * share:.0f} % {one.name} / {100 - 100 * share:.0f} % {other.name}",
        Figures(*mean),
        max(one.lowest, other.lowest),
        min(one.most, other.most),
    )


def _near(wanted: Wanted, known: _Known, mixed: bool) -> Near:
    apart = {r.name: r.apart(getattr(known.figures, r.name)) for r in wanted.ranges}
    hot = max(known.lowest - wanted.matures_below, 0.0)
    weak = max(wanted.stands - known.most, 0.0)
    steps = [apart[r.name] / max(_width(r), 1e-12) for r in wanted.ranges]
    steps += [min(hot, 2000.0) / WINDOW_SCALE, weak / WINDOW_SCALE]
    distance = float(np.sqrt(np.sum(np.square(steps))))
    return Near(known.name, mixed, known.figures, apart, hot, weak, distance)


def _width(some: Range) -> float:
    return some.high - some.low
