"""Designs of one vessel, and all of one number of pastes as a unit cube within its limits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cofire.design.constraints import (
    LEAST_LAYERS,
    TOLD_APART,
    alike,
    allowed,
    beside,
    fitted,
    halves,
    least_height,
    place_range,
    placed,
    room_for,
    tallest,
)
from cofire.design.fired_size import in_fired_size, road_walls
from cofire.design.grid import shared
from cofire.design.transition import Layout, as_vessel
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.vessel import Vessel

LEAST_SHARE = TOLD_APART
"""Metal, or ceramic, of a blend that is told from a pure paste. [% of volume]"""
EVENNESS = 0.1
"""Added to each band's free height, so that none vanishes beside the others. [-]"""
PLACES = 7
"""That the lowest designs are tried at, where none is known. [-]"""


@dataclass(frozen=True)
class Design:
    """What a maker chooses.

    Attributes
    ----------
    layout
        Pastes between the zones and where they lie.
    dead_volume
        Between the changeover and the nozzle. [m³]
    wall
        Of the side; 0 where it is as drawn. [m]
    """

    layout: Layout
    dead_volume: float
    wall: float = 0.0

    @property
    def changes(self) -> int:
        """Changes of paste while printing. [-]"""
        return self.layout.changes


@dataclass(frozen=True)
class Space:
    """All designs of one number of pastes, as a unit cube.

    A chamber that is freed is drawn between the least and the largest that leaves each zone pure
    in that layout and wall: a step in one of them takes it along.

    Of a vessel of two joints both are alike, or one is held.

    Attributes
    ----------
    vessel
        With its limits and its firing.
    metal, ceramic, below
        Its zones, and whether the metal stands below.
    blends
        Pastes between them, at each joint that is not held. [-]
    which
        The joint that is designed where the other is held; empty where it is all joints.
    held
        With the transition that is held; None where none is.
    """

    vessel: Vessel
    metal: Card
    ceramic: Card
    below: bool
    blends: int
    which: str = ""
    held: Layout | None = None

    def own(self, layout: Layout) -> Layout:
        """The transition of the joint that is designed; of two alike the lower one.

        Parameters
        ----------
        layout : Layout
            Of all joints.
        """
        return dict(layout.named)[self.which] if self.which else layout.joints[0]

    def holds(self, layout: Layout) -> bool:
        """Whether a layout has as many pastes as the designs, at each joint that is not held.

        Parameters
        ----------
        layout : Layout
            Of all joints.
        """
        some = [self.own(layout)] if self.which else layout.joints
        return all(len(one.shares) == self.blends for one in some)

    def view(self, sized: Vessel) -> Vessel:
        """The vessel with the limits of the joint that is designed, and of the one like it.

        Parameters
        ----------
        sized : Vessel
            From `in_fired_size`.
        """
        if self.held is not None:
            return beside(sized, self.held, self.which)
        if sized.upper is None:
            return sized
        first = halves(sized)[0]
        return replace(first, joint=replace(first.joint, height=tallest(sized)))

    def whole(self, sized: Vessel, own: Layout) -> Layout | None:
        """All joints of a vessel, of the joint that is designed; None where limits are broken.

        Parameters
        ----------
        sized : Vessel
            From `in_fired_size`.
        own : Layout
            Of that joint.
        """
        found = alike(sized, own) if self.held is None else self.beside_held(own)
        return found if found is not None and allowed(sized, found) else None

    def beside_held(self, own: Layout) -> Layout:
        """All joints, of the joint that is designed.

        Parameters
        ----------
        own : Layout
            Of that joint; of all joints where none is held.
        """
        return own if self.held is None else self.held.having(self.which, own)

    @property
    def changes(self) -> int:
        """Changes of paste of each design, at all joints. [-]"""
        mine = self.blends + 1
        if self.held is None:
            return mine * (1 if self.vessel.upper is None else 2)
        return mine + sum(len(one.shares) + 1 for w, one in self.held.named if w != self.which)

    @property
    def size(self) -> int:
        """Free choices: shares, heights, their sum, place, chamber, wall. [-]"""
        free = self.vessel.free
        shaped = 2 * self.blends + 1 if self.blends else 0
        return shaped + 1 + bool(free.dead_volume) + bool(free.wall)

    def laid(self, design: Design) -> Vessel:
        """The vessel of a design.

        Parameters
        ----------
        design : Design
            The choices.
        """
        return laid(self.vessel, self.metal.name, self.ceramic.name, self.below, design)

    def design(self, point: Array) -> Design | None:
        """The design at a point, None where the limits leave no place for it.

        Parameters
        ----------
        point : array
            In the unit cube, shape (size,). [-]
        """
        n = self.blends
        rest = point[2 * n + 1 :] if n else point
        wall = self._wall(float(rest[-1])) if self.vessel.free.wall else 0.0
        sized = self._sized(wall)
        view = self.view(sized)
        low, high = place_range(view)
        middle = low + float(rest[0]) * (high - low)
        shares, heights = self._bands(view, point, middle)
        if len(shares) < n:
            return None
        if self.held is not None:
            (other,) = (one for name, one in self.held.named if name != self.which)
            moved = shared(shares, other.shares, view.joint.blends)
            if moved is None:
                return None
            shares = moved
        layout = Layout(shares, min(heights, default=0.0), middle, heights)
        if len(set(heights)) <= 1:
            layout = replace(layout, heights=())
        own = placed(view, layout)
        found = None if own is None else self.whole(sized, own)
        if found is None:
            return None
        place = float(rest[1]) if self.vessel.free.dead_volume else 0.0
        return Design(found, self._chamber(sized, found, place), wall)

    def lowest(self) -> list[Design]:
        """Evenly graded designs as low as may be, where smear and wall leave most room for them.

        With the smallest chamber and the thickest wall, at a few places; none where they have none.
        """
        n, free = self.blends, self.vessel.free
        span = 100 - 2 * LEAST_SHARE
        shares = [(100.0 * (n - k) / (n + 1) - LEAST_SHARE) / span for k in range(n)]
        shaped = [*shares, *n * [0.5], 0.0] if n else []
        others = [0.0] * bool(free.dead_volume) + [1.0] * bool(free.wall)
        places = np.linspace(0.0, 1.0, PLACES)
        found = (self.design(np.array([*shaped, place, *others])) for place in places)
        return list(dict.fromkeys(d for d in found if d is not None))

    def _sized(self, wall: float) -> Vessel:
        """The vessel with a wall and the smallest chamber that it may have, in fired size."""
        vessel = self.vessel.with_wall(wall) if wall else self.vessel
        printer = vessel.printer
        least = (*vessel.free.dead_volume, printer.dead_volume)[0]
        vessel = replace(vessel, printer=replace(printer, dead_volume=least))
        return in_fired_size(vessel, self.metal, self.ceramic)

    def _chamber(self, sized: Vessel, layout: Layout, place: float) -> float:
        """The chamber at a place, 0 to 1, between the least and the most that leaves zones pure."""
        least, most = self._chambers(sized, layout)
        dead = least * (most / least) ** place
        return max(round(float(np.floor(1e9 * dead + 1e-6)) / 1e9, 9), round(least, 9))

    def _chambers(self, sized: Vessel, layout: Layout) -> tuple[float, float]:
        """The least and the largest chamber for a layout; `sized` has the least. [m³]"""
        if not self.vessel.free.dead_volume:
            return (self.vessel.printer.dead_volume,) * 2
        least, most = self.vessel.free.dead_volume
        return least, least * room_for(sized, layout, most / least)

    @property
    def _roads(self) -> list[float]:
        """Walls of whole roads. [m]"""
        return road_walls(in_fired_size(self.vessel, self.metal, self.ceramic))

    def _wall(self, place: float) -> float:
        """The wall at a place in what the file frees, 0 to 1; of whole roads where it asks so."""
        free = self.vessel.free
        if free.roads:
            some = self._roads
            return some[min(int(place * len(some)), len(some) - 1)]
        wall = free.wall[0] + place * (free.wall[1] - free.wall[0])
        return max(round(wall, 4), free.wall[0])

    def moved_in(self, design: Design) -> Design | None:
        """A design in whole layers and moved into the limits; None where it breaks one anywhere.

        A chamber that is freed is no larger than leaves each zone pure.

        Parameters
        ----------
        design : Design
            Of as many pastes, its chamber and wall within what the file frees.
        """
        sized = self._sized(design.wall)
        own = design.layout if self.held is None else self.own(design.layout)
        layout = fitted(sized, self.beside_held(own))
        if layout is None:
            return None
        dead = min(design.dead_volume, self._chamber(sized, layout, 1.0))
        return replace(design, layout=layout, dead_volume=dead)

    def _bands(
        self, sized: Vessel, point: Array, middle: float
    ) -> tuple[tuple[int, ...], tuple[float, ...]]:
        """Shares and heights at a point; none where they do not fit."""
        n, layer = self.blends, sized.printer.layer
        if not n:
            return (), ()
        span = 100 - 2 * LEAST_SHARE
        shares = [LEAST_SHARE + round(span * float(x)) for x in sorted(point[:n], reverse=True)]
        for k in range(1, n):
            shares[k] = min(shares[k], shares[k - 1] - TOLD_APART)
        shares = [max(share, LEAST_SHARE + TOLD_APART * (n - 1 - k)) for k, share in
                  enumerate(shares)]  # fmt: skip
        least = max(round(least_height(sized, middle) / layer), LEAST_LAYERS)
        most = round(tallest(sized) / layer)
        if most < n * least:
            return (), ()
        total = n * least + round(float(point[2 * n]) * (most - n * least))
        parts = EVENNESS + np.clip(point[n : 2 * n], 0.0, 1.0)
        ends = np.round(np.cumsum(parts) / parts.sum() * (total - n * least)).astype(int)
        counts = least + np.diff(np.concatenate([[0], ends]))
        return tuple(shares), tuple(layer * int(c) for c in counts)

    def point(self, design: Design) -> Array:
        """A point whose design is near the one given.

        Parameters
        ----------
        design : Design
            Of as many pastes.
        """
        n, layout = self.blends, self.own(design.layout)
        sized = self.view(in_fired_size(self.vessel, self.metal, self.ceramic))
        layer = sized.printer.layer
        found: list[float] = []
        if n:
            span = 100 - 2 * LEAST_SHARE
            found += [(share - LEAST_SHARE) / span for share in layout.shares]
            least = max(round(least_height(sized, layout.middle) / layer), LEAST_LAYERS)
            counts = np.array([round(h / layer) - least for h in layout.each], dtype=float)
            parts = np.maximum(counts, 0.0) / max(float(counts.max()), 1.0)
            found += [float((1.0 + EVENNESS) * p - EVENNESS) for p in parts]
            most = round(tallest(sized) / layer)
            found.append(float(counts.sum()) / max(most - n * least, 1))
        low, high = place_range(sized)
        found.append((layout.middle - low) / (high - low) if high > low else 0.5)
        free = self.vessel.free
        if free.dead_volume:
            small, large = self._chambers(self._sized(design.wall), design.layout)
            room = np.log(large / small)
            found.append(float(np.log(design.dead_volume / small) / room) if room > 0.0 else 0.0)
        if free.wall:
            wall = design.wall or float(self.vessel.wall[-1])
            if free.roads:
                some = self._roads
                at = min(range(len(some)), key=lambda k: abs(some[k] - wall))
                found.append((at + 0.5) / len(some))
            else:
                found.append((wall - free.wall[0]) / (free.wall[1] - free.wall[0]))
        return np.asarray(np.clip(np.array(found), 0.0, 1.0))


def laid(vessel: Vessel, metal: str, ceramic: str, below: bool, design: Design) -> Vessel:
    """The vessel of a design.

    Parameters
    ----------
    vessel : Vessel
        To be changed.
    metal, ceramic : str
        Names of its zones' materials.
    below : bool
        Whether the metal stands below.
    design : Design
        The choices.

    Returns
    -------
    Vessel
        A copy.
    """
    if design.wall:
        vessel = vessel.with_wall(design.wall)
    printer = replace(vessel.printer, dead_volume=design.dead_volume)
    return as_vessel(replace(vessel, printer=printer), metal, ceramic, below, design.layout)
