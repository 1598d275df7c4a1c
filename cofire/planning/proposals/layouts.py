"""Which transitions a printer can lay and a user will mix: the candidates of the layer search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.inputs.vessel import Vessel
from cofire.planning.proposals.limits import SLACK, allowed, placed, tallest, whole
from cofire.planning.proposals.transition import Layout

SKEWS = (0.6, 1.0, 1.7, 2.5)
"""Powers p of the metal's share (1 − x)^p over the transition: rich, even and poor in metal."""
HEIGHT_STEPS = (0.5, 0.75, 1.0)
"""Transition heights of the coarse grid, of the tallest allowed. [-]"""
SHARE_STEP = 5
"""Blends are mixed in steps of this. [% of volume]"""


def shares(blends: int, skew: float) -> tuple[int, ...]:
    """Metal share of evenly spaced blends, bent by a power, in mixable steps.

    Parameters
    ----------
    blends : int
        How many.
    skew : float
        Power of (1 − x). [-]

    Returns
    -------
    tuple of int
        Falling, each different, between 5 and 95. [%]
    """
    x = np.arange(1, blends + 1) / (blends + 1)
    rounded = SHARE_STEP * np.round(100.0 * (1.0 - x) ** skew / SHARE_STEP)
    return tuple(dict.fromkeys(int(v) for v in np.clip(rounded, SHARE_STEP, 100 - SHARE_STEP)))


def layouts(
    vessel: Vessel,
    heights: Sequence[float] = HEIGHT_STEPS,
    skews: Sequence[float] = SKEWS,
    places: Sequence[float] | None = None,
) -> list[Layout]:
    """Every layout of a coarse grid that printer, user and vessel allow.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    heights : sequence of float
        Of the tallest transition. [-]
    skews : sequence of float
        Powers of the metal's share. [-]
    places : sequence of float, optional
        Middles of the transition; by default the lowest, the highest and between. [m]

    Returns
    -------
    list of Layout
        At each place the direct joint first, then those with blends.
    """
    limits, layer = vessel.joint, vessel.printer.layer
    if places is None:
        places = sorted({limits.lowest, 0.5 * (limits.lowest + limits.highest), limits.highest})
    most = tallest(vessel)
    found: dict[Layout, None] = {}
    for middle in places:
        some = [Layout((), 0.0, middle)]
        for blends in range(1, limits.blends + 1):
            each = dict.fromkeys(whole(part * most / blends, layer, up=False) for part in heights)
            kinds = dict.fromkeys(shares(blends, skew) for skew in skews)
            some += [
                Layout(kind, height, middle)
                for height in each
                for kind in kinds
                if len(kind) == blends
            ]
        for layout in some:
            at = placed(vessel, layout)
            if at is not None and allowed(vessel, at):
                found[at] = None
    return list(found)


def neighbours(vessel: Vessel, layout: Layout, step: int = 2 * SHARE_STEP) -> list[Layout]:
    """Layouts one step away: one share, the height, the place.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        The best so far.
    step : int
        Change of a share. [% of volume]

    Returns
    -------
    list of Layout
        Those that keep the limits.
    """
    limits, layer = vessel.joint, vessel.printer.layer
    moved = []
    for k in range(len(layout.shares)):
        for change in (-step, step):
            new = list(layout.shares)
            new[k] += change
            if all(a > b for a, b in pairwise([100, *new, 0])):
                moved.append(replace(layout, shares=tuple(new)))
    for factor in (0.85, 1.15):
        height = layer * round(factor * layout.height / layer)
        if layout.shares and height * len(layout.shares) <= tallest(vessel) + SLACK:
            moved.append(replace(layout, height=height))
    for reach in (0.25 * (limits.highest - limits.lowest), 4.0 * layer):
        moved += [replace(layout, middle=layout.middle + shift) for shift in (-reach, reach)]
    found = dict.fromkeys(placed(vessel, new) for new in moved)
    return [new for new in found if new and new != layout and allowed(vessel, new)]


def merge(base: Layout, one: Layout, other: Layout) -> Layout | None:
    """Two changes of one layout made both.

    Parameters
    ----------
    base : Layout
        Which both change.
    one, other : Layout
        The changes.

    Returns
    -------
    Layout or None
        None where both change the same thing, or the shares no longer fall.
    """
    pairs = [
        *zip(base.shares, one.shares, other.shares, strict=True),
        (base.height, one.height, other.height),
    ]
    if any(a != b and a != c for a, b, c in pairs):
        return None
    shares = tuple(b + c - a for a, b, c in zip(base.shares, one.shares, other.shares, strict=True))
    if any(a <= b for a, b in pairwise((100, *shares, 0))):
        return None
    middle = one.middle if one.middle != base.middle else other.middle
    return Layout(shares, one.height + other.height - base.height, middle)
