"""How the dried pot stands in the kiln: the room it needs, its box, and what is packed around it.

Sizes only: how the bed delays the ware is the `lag` of its firing, and how fast carbon burns away
hangs on how tight the lid is, which nobody states.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import BLENDS, FIRING, GAS, LAYERS, SHAPE, Flag, Rule
from cofire.firing.program import Firing, Space
from cofire.physics.history import along_height

CLEAR = 25e-3
"""From bare ware, or from its box, to the walls and elements of a kiln: an inch, common practice.
[m]"""
BED = 25e-3
"""Of carbon under, around and above the ware, or of what it stands on where it is packed once it is
burnt out: an inch, common practice. [m]"""
BULK = (400.0, 550.0)
"""Bulk density of granular carbon, from memory of what activated carbon is sold at. [kg/m³]"""
SNUG = 1e-5
"""A thing counts as going in where it is wider than its room by no more: a hundredth of a
millimetre, which nobody reads. [m]"""
CARBON = "carbon"
Need: TypeAlias = tuple[str, float, float]
"""What of a box or kiln is asked for, how much is needed, and how much there is. [m]"""


@dataclass(frozen=True)
class Dried:
    """How large a pot is as it goes into the kiln.

    Attributes
    ----------
    across, high
        At its widest, and to the rim. [m]
    foot
        Outer radius of its foot. [m]
    """

    across: float
    high: float
    foot: float


@dataclass(frozen=True)
class Packing:
    """A dried pot, and the room it takes.

    Attributes
    ----------
    dried
        The pot.
    slides
        By which the foot's outside moves inward over the shelf until it is cold. [m]
    box
        Inside of the box that the kiln's file gives, else of the least one; None where it stands
        bare. [m]
    own
        Whether the kiln's file gives that box.
    later
        Whether carbon is filled in once it is burnt out: until then it stands in its open box.
    filled
        Carbon that this box takes, around and in the pot, and under it unless it comes later. [m³]
    needs
        What of kiln or box is held against the pot: its words, how much is needed, and how much
        there is. [m]
    """

    dried: Dried
    slides: float
    box: Space | None
    own: bool
    later: bool
    filled: float
    needs: tuple[Need, ...]


def packed(response: Response, dried: Dried | None = None) -> Packing:
    """How the dried pot stands in its kiln.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    dried : Dried, optional
        The pot as its print dries, where that is known: bands that pull on each other turn a wall
        that leans. By default, and for what it holds of carbon, every level is as large as its own
        material alone has it, along the ring and the height.

    Returns
    -------
    Packing
        In a bed of carbon where the firing is in carbon, from whatever moment on.
    """
    vessel, firing = response.vessel, response.vessel.firing
    chord = vessel.chord
    place = np.unique(np.concatenate([chord, np.interp(vessel.steps, vessel.height, chord)]))
    radius, height, wall = (
        np.interp(place, chord, row) for row in (vessel.radius, vessel.height, vessel.wall)
    )
    band = np.searchsorted(vessel.steps, 0.5 * (height[1:] + height[:-1]))
    history, rows = response.history, np.asarray(response.material)
    ring = history.free_strain[rows, -1]
    up = np.array(
        [
            along_height(card, free, shrunk)
            for card, free, shrunk in zip(
                response.cards, ring.tolist(), history.shrinkage[rows, -1].tolist(), strict=True
            )
        ]
    )
    size, taller = np.exp(-ring[band]), np.exp(-up[band])
    outside = radius + 0.5 * wall
    wider = np.maximum(np.append(size[:1], size), np.append(size, size[-1:]))
    foot = float(outside[height <= height[0]].max())
    dried = dried or Dried(
        across=2.0 * float((outside * wider).max()),
        high=float(np.diff(height) @ taller),
        foot=foot * float(size[0]),
    )
    solid = float(vessel.volumes(place) @ (size**2 * taller))
    box, needs = room_for(Space(dried.across, dried.across, dried.high, round=True), firing)
    later = box is not None and firing.gases[0] != CARBON
    held = 0.0 if box is None else box.volume * (1.0 - later * BED / box.height) - solid
    return Packing(
        dried=dried,
        slides=dried.foot - foot,
        box=box,
        own=box is not None and box is firing.kiln.box,
        later=later,
        filled=max(held, 0.0),
        needs=needs,
    )


def room_for(ware: Space, firing: Firing) -> tuple[Space | None, tuple[Need, ...]]:
    """The box that ware stands in, and what of box and kiln is held against it.

    Parameters
    ----------
    ware : Space
        As large as it is when it goes into the kiln.
    firing : Firing
        With its kiln; in a bed of carbon where it is in carbon, from whatever moment on.

    Returns
    -------
    tuple
        The kiln's own box, else the least one, None where the ware stands bare; and of each width
        and height that the kiln's file tells its words, how much is needed, and how much there is.
        [m]
    """
    needs: list[Need] = []
    box = None
    if CARBON in firing.gases:
        box = firing.kiln.box
        if box is None:
            width, depth, height = (side + 2.0 * BED for side in ware.sides)
            box = Space(width, depth, height, round=ware.round)
        else:
            needs += _beside(ware, box, "box", BED)
            needs.append(("height of the box", ware.height + 2.0 * BED, box.height))
    if (chamber := firing.kiln.chamber) is not None:
        inner = box or ware
        needs += _beside(inner, chamber, "kiln", CLEAR)
        needs.append(("height of the kiln", inner.height + CLEAR, chamber.height))
    return box, tuple(needs)


def lacking(needs: Iterable[Need]) -> list[Need]:
    """Those for which there is too little room.

    Parameters
    ----------
    needs : iterable of tuple
        From `room_for`.

    Returns
    -------
    list of tuple
        In their order.
    """
    return [(what, need, there) for what, need, there in needs if need > there + SNUG]


def need_words(need: Need) -> str:
    """What is asked for, how much is needed and how much there is, to a tenth where that tells.

    Parameters
    ----------
    need : tuple
        One of `lacking`.

    Returns
    -------
    str
        As "width of the box: 92 mm needed, 80 mm there".
    """
    what, *sizes = need
    needed, there = (f"{1e3 * size:.0f}" for size in sizes)
    if needed == there:
        needed, there = (f"{1e3 * size:.1f}" for size in sizes)
    return f"{what}: {needed} mm needed, {there} mm there"


def _beside(inner: Space, outer: Space, of: str, clear: float) -> list[Need]:
    """What must go beside what: words, how much is needed, and how much there is. [m]

    A corner is what touches a round wall; two rectangles are set square to each other.
    """
    if inner.round or outer.round:
        wide = inner.width if inner.round else float(np.hypot(inner.width, inner.depth))
        return [(f"width of the {of}", wide + 2.0 * clear, outer.least)]
    return [
        (f"width of the {of}", inner.least + 2.0 * clear, outer.least),
        (f"length of the {of}", inner.longest + 2.0 * clear, outer.longest),
    ]


def room_flags(response: Response) -> list[Flag]:
    """Where the dried pot, or its box, is larger than what it must go into.

    Returns
    -------
    list of Flag
        None where it goes in, or where the kiln's file says nothing of its size.
    """
    found = packed(response)
    stands = "the box, its own wall left out" if found.box is not None else "what stands in it"
    return [
        Flag(
            zone=what,
            utilisation=need / there,
            caution=1.0,
            figure=1e3 * need,
            limit=1e3 * there,
            unit="mm",
            note=f"the dried pot with {1e3 * BED:.0f} mm of carbon around it"
            if "box" in what
            else f"{stands}, with {1e3 * CLEAR:.0f} mm to its elements and roof",
        )
        for what, need, there in lacking(found.needs)
    ]


ROOM = Rule(
    name="room",
    loses=True,
    first=True,
    harm="it does not go into the kiln",
    asks="Does the pot, with what is packed around it, go into the kiln?",
    find=room_flags,
    sees=frozenset({FIRING, GAS, BLENDS, LAYERS, SHAPE}),
    source="common practice",
    remedy="A smaller pot, or a larger box or kiln.",
)
RULES = (ROOM,)
"""Rules of how the pot stands in the kiln."""
