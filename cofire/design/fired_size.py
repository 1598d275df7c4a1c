"""Lengths of a print as they are when fired: roads, dead volume, whole layers, and decay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cofire.errors import ModelError
from cofire.materials.card import Card
from cofire.physics import cylinder
from cofire.vessel import Vessel

ROAD_SLACK = 2e-6
"""By which a wall may miss whole roads: a file has its tenths of a micrometre. [m]"""


def decay_length(vessel: Vessel, height: float, poisson_ratio: float = 0.25) -> float:
    """Length over which an edge disturbance of the wall dies away by e.

    That of `cylinder.decay_length` at the radius and wall there.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    height : float
        Where. [m]
    poisson_ratio : float
        [-]

    Returns
    -------
    float
        [m]
    """
    radius = float(np.interp(height, vessel.height, vessel.radius))
    wall = float(np.interp(height, vessel.height, vessel.wall))
    return float(cylinder.decay_length(radius, wall, poisson_ratio))


def whole(height: float, layer: float, up: bool) -> float:
    """The next whole number of layers up or down.

    Parameters
    ----------
    height, layer : float
        [m]
    up : bool
        Or down.

    Returns
    -------
    float
        [m]
    """
    count = height / layer
    return layer * float(np.ceil(count - 1e-6) if up else np.floor(count + 1e-6))


def in_fired_size(vessel: Vessel, metal: Card, ceramic: Card) -> Vessel:
    """The vessel with the dead volume and the roads of its printer as they are when fired.

    Wet paste dries by (1 − s)³ and sinters from its green to at least its least density. Of the
    two pastes the one that loses less of its volume counts, so that no band of either, or of a
    blend of them, is lower than its smear. What else a paste loses (bound water, more along the
    height) is left out: on the safe side too. A road of the nozzle becomes narrower by drying and
    by the way from green to the density of the card; of the two pastes the mean counts, so that a
    wall of whole roads is off by half of what they differ, in either.

    Parameters
    ----------
    vessel : Vessel
        With its printer; its sizes are those wanted after firing.
    metal, ceramic : Card
        Of its two zones.

    Returns
    -------
    Vessel
        For the limits of a transition alone: its printer is not the real one.
    """
    left = max(
        (1.0 - card["drying_shrinkage"].scalar) ** 3
        * min(card["green_density"].scalar / card["least_density"].scalar, 1.0)
        for card in (metal, ceramic)
    )
    dead = left * vessel.printer.dead_volume
    road = vessel.printer.nozzle * float(np.mean([linear(card) for card in (metal, ceramic)]))
    return replace(vessel, printer=replace(vessel.printer, dead_volume=dead, nozzle=road))


def linear(card: Card) -> float:
    """Width of a fired road over that of a wet one, by drying and to the card's fired density. [-]

    Parameters
    ----------
    card : Card
        Of a paste.
    """
    sintered = min(card["green_density"].scalar / card["fired_density"].scalar, 1.0)
    return float((1.0 - card["drying_shrinkage"].scalar) * np.cbrt(sintered))


def road_walls(vessel: Vessel) -> list[float]:
    """Walls of a whole number of roads within what the file frees, thinnest first. [m]

    Parameters
    ----------
    vessel : Vessel
        From `in_fired_size`.
    """
    (thin, thick), road = vessel.free.wall, vessel.printer.nozzle
    first, last = np.ceil(thin / road - 1e-6), np.floor(thick / road + 1e-6)
    return [round(n * road, 7) for n in range(max(int(first), 1), int(last) + 1)]


def whole_roads(vessel: Vessel) -> bool:
    """Whether the wall is of a whole number of roads, or need not be.

    Parameters
    ----------
    vessel : Vessel
        From `in_fired_size`.
    """
    if not vessel.free.roads:
        return True
    wall, road = float(vessel.wall[-1]), vessel.printer.nozzle
    return abs(wall - max(round(wall / road), 1) * road) <= ROAD_SLACK


def with_roads(vessel: Vessel, metal: Card, ceramic: Card) -> Vessel:
    """The vessel, with the nearest wall of whole roads where its file asks for that.

    Parameters
    ----------
    vessel : Vessel
        With its printer and what its file frees.
    metal, ceramic : Card
        Of its two zones.

    Raises
    ------
    ModelError
        No whole number of roads lies within the walls that it may have.
    """
    sized = in_fired_size(vessel, metal, ceramic)
    if not vessel.free.roads or (whole_roads(sized) and _within(vessel)):
        return vessel
    walls = road_walls(sized)
    if not walls:
        (thin, thick), road = vessel.free.wall, sized.printer.nozzle
        count = max(round(0.5 * (thin + thick) / road), 1)
        raise ModelError(
            f"{vessel.name}: roads: wall_mm = {1e3 * thin:g} to {1e3 * thick:g} holds no whole "
            f"number of roads: one of {1e3 * vessel.printer.nozzle:g} mm is {1e3 * road:.2f} mm "
            f"wide when fired, and {count} of them are {1e3 * count * road:.2f} mm; allow that, or "
            "take another nozzle"
        )
    drawn = float(vessel.wall[-1])
    return vessel.with_wall(min(walls, key=lambda wall: abs(wall - drawn)))


def _within(vessel: Vessel) -> bool:
    """Whether the wall is one that the file frees."""
    thin, thick = vessel.free.wall
    return thin - ROAD_SLACK <= float(vessel.wall[-1]) <= thick + ROAD_SLACK
