"""Mismatch of two zones along one firing, and the events that shape it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.inputs.firing import Firing
from cofire.inputs.trace import Trace, trace
from cofire.physics.history import History, histories
from cofire.planning.pairs.pairing import zone_set_points
from cofire.planning.pairs.windows import ceiling

Array = NDArray[np.float64]

SINTERING_STARTS = 0.05
"""Share of the densification still to come at which sintering counts as begun. [-]"""


@dataclass(frozen=True)
class Event:
    """Something that happens to a zone along the firing; time in s, temperature of the ware in K.

    `zone` is the material's name, or empty where both share it.
    """

    name: str
    zone: str
    time: float
    temperature: float


@dataclass(frozen=True)
class Mismatch:
    """Two zones along one firing.

    Attributes
    ----------
    trace
        What kiln and ware do.
    history
        Rows 0 and 1: the first and the second zone.
    difference
        Free strain of the first zone minus that of the second, shape (M,). [-]
    stored
        The same since both have set, zero before, shape (M,). [-]
    set_time, set_temperature
        When the second of the two zones sets. [s], [K]
    ceilings
        Hottest peak each zone allows. [K]
    events
        In order of time.
    """

    firing: Firing
    trace: Trace
    history: History
    difference: Array
    stored: Array
    set_time: float
    set_temperature: float
    ceilings: tuple[float, float]
    events: tuple[Event, ...]

    @property
    def cooled(self) -> float:
        """Mismatch stored from the set point to room temperature. [-]"""
        return float(self.stored[-1])


def _crossings(temperature: Array, level: float) -> list[int]:
    """Nodes just after the trace passes a temperature, either way."""
    above = temperature >= level
    return [int(i) + 1 for i in np.flatnonzero(above[1:] != above[:-1])]


def mismatch(first: Card, second: Card, firing: Firing, extend: bool = False) -> Mismatch:
    """How far apart two zones' free strains are along a firing.

    Parameters
    ----------
    first, second : Card
        By custom the metal first: then negative means that the metal is the shorter.
    firing : Firing
        Segments, kiln and pack.
    extend : bool
        Hold tables' end values beyond their rows, marked in `history.extended`.

    Returns
    -------
    Mismatch
        Strains, stored part, and events.

    Raises
    ------
    OutOfRange
        The firing is hotter than a card's tables, and `extend` is false.
    """
    curve = trace(firing)
    cards = (first, second)
    history = histories(cards, curve, extend=extend)
    time, ware = history.time, history.temperature
    free = history.free_strain
    difference = free[0] - free[1]
    set_points, set_index = zone_set_points(history)
    last = int(max(set_index))
    stored = np.where(np.arange(time.size) >= last, difference - difference[last], 0.0)
    events = [Event("peak", "", float(time[np.argmax(ware)]), float(ware.max()))]

    def mark(name: str, zone: str, node: int) -> None:
        events.append(Event(name, zone, float(time[node]), float(ware[node])))

    for n, card in enumerate(cards):
        lost = 1.0 - history.mass_fraction[n]
        if lost[-1] > 0.0:
            mark("burnout begins", card.name, int(np.argmax(lost > 0.05 * lost[-1])))
            mark("burnout ends", card.name, int(np.argmax(lost > 0.95 * lost[-1])))
        density = history.relative_density[n]
        grown = (density - density[0]) / max(density[-1] - density[0], 1e-12)
        mark("sintering begins", card.name, int(np.argmax(grown > SINTERING_STARTS)))
        mark("sets", card.name, int(set_index[n]))
        pure = [part for part, _ in card.parts] or [card]
        for change in (c for part in pure for c in part.inversions):
            for level, rising in ((change.on_heating, True), (change.on_cooling, False)):
                for node in _crossings(ware, level):
                    if (ware[node] > ware[node - 1]) == rising:
                        mark(change.name, card.name, node)
    return Mismatch(
        firing,
        curve,
        history,
        difference,
        stored,
        float(time[last]),
        float(min(set_points)),
        (ceiling(first), ceiling(second)),
        tuple(sorted(events, key=lambda e: (e.time, e.zone, e.name))),
    )
