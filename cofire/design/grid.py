"""Which transitions a search tries: a coarse grid, and what lies one step from a layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.design.constraints import (
    SLACK,
    TOLD_APART,
    alike,
    allowed,
    beside,
    halves,
    placed,
    tallest,
)
from cofire.design.fired_size import whole
from cofire.design.transition import Layout
from cofire.vessel import Vessel

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
        Middles of the (lower) transition; by default the lowest, the highest and between. [m]

    Returns
    -------
    list of Layout
        At each place the direct joint first, then those with blends; two joints are alike.
    """
    first = halves(vessel)[0]
    limits, layer = first.joint, vessel.printer.layer
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
            at = placed(first, layout)
            at = alike(vessel, at) if at is not None and allowed(first, at) else None
            if at is not None:
                found[at] = None
    return list(found)


def neighbours(vessel: Vessel, layout: Layout, step: int = 2 * SHARE_STEP) -> list[Layout]:
    """Layouts one step away: one share, the height, the place; of two joints of either or both.

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
    if layout.upper is not None:
        both: dict[Layout | None, None] = {}
        if layout.alike:
            near = neighbours(halves(vessel)[0], replace(layout, upper=None), step)
            both |= dict.fromkeys(alike(vessel, one) for one in near)
        for which, one in layout.named:
            near = neighbours(beside(vessel, layout, which), one, step)
            both |= dict.fromkeys(layout.having(which, new) for new in near)
        return [one for one in both if one and one != layout and allowed(vessel, one)]
    limits, layer = vessel.joint, vessel.printer.layer
    moved = []
    for k in range(len(layout.shares)):
        for change in (-step, step):
            new = list(layout.shares)
            new[k] += change
            if all(a - b >= TOLD_APART for a, b in pairwise([100, *new, 0])):
                moved.append(replace(layout, shares=tuple(new)))
    for factor in (0.85, 1.15):
        height = layer * round(factor * layout.height / layer)
        each = tuple(layer * round(factor * one / layer) for one in layout.heights)
        new_layout = replace(layout, height=height, heights=each)
        if layout.shares and new_layout.total <= tallest(vessel) + SLACK:
            moved.append(new_layout)
    for reach in (0.25 * (limits.highest - limits.lowest), 4.0 * layer):
        moved += [replace(layout, middle=layout.middle + shift) for shift in (-reach, reach)]
    found = dict.fromkeys(placed(vessel, new) for new in moved)
    return [new for new in found if new and new != layout and allowed(vessel, new)]


def shared(own: tuple[int, ...], held: tuple[int, ...], most: int) -> tuple[int, ...] | None:
    """Shares of one joint moved to those of the other, until both together are few enough.

    Parameters
    ----------
    own, held : tuple of int
        Falling. [%]
    most : int
        Blends of both together, each counted once. [-]

    Returns
    -------
    tuple of int or None
        None where they do not fall any longer, or the other joint alone has too many.

    Examples
    --------
    >>> shared((80, 50), (60,), 2), shared((80,), (60, 30), 2), shared((80, 50), (60,), 1)
    ((80, 60), (60,), None)
    """
    while len({*own, *held}) > most:
        moves = [
            (abs(share - other), k, other)
            for k, share in enumerate(own)
            for other in held
            if share not in held and other not in own
        ]
        if not moves:
            return None
        _, k, other = min(moves)
        own = (*own[:k], other, *own[k + 1 :])
        if any(a <= b for a, b in pairwise(own)):
            return None
    return own


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
        None where both change the same thing, or the shares no longer fall; nor are bands of
        unlike heights merged.
    """
    if base.upper is not None and one.upper is not None and other.upper is not None:
        lower = merge(*(replace(each, upper=None) for each in (base, one, other)))
        upper = merge(base.upper, one.upper, other.upper)
        return None if lower is None or upper is None else replace(lower, upper=upper)
    if base.heights or one.heights or other.heights:
        return None
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
