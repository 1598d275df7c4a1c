"""What printer, user and vessel allow of a transition, and the transitions that can be laid.

Everything here is asked of a vessel from `in_fired_size`, whose dead volume is in the same size as
its wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.design.transition import Layout
from cofire.errors import ModelError
from cofire.materials.card import Card
from cofire.physics.changeover import smear, volume_for_share
from cofire.vessel import FIXED, Vessel

# ----------------------------------------------------------------------------------------------
# What printer, user and vessel allow of a transition, in whole layers of the printer

IMPURE = 0.05
"""Of the other paste in a zone that counts as pure: our choice. [-]"""
TOLD_APART = 5
"""By how much two pastes that lie beside each other differ at least, pure ones among them: nearer
ones a maker does not tell apart, by weighing or by what they do. Our choice. [% of volume]"""
LEAST_LAYERS = 2
"""A band or a pure zone has at least as many layers of the printer. [-]"""
ROAD_SLACK = 2e-6
"""By which a wall may miss whole roads: a file has its tenths of a micrometre. [m]"""
SLACK = 1e-9
"""Rounding of lengths, far below a layer. [m]"""


def decay_length(vessel: Vessel, height: float, poisson_ratio: float = 0.25) -> float:
    """Length over which an edge disturbance of the wall dies away by e.

    √(r h) / [3 (1 − ν²)]^¼ (Timoshenko & Woinowsky-Krieger 1959, ch. 15).

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
    return float(np.sqrt(radius * wall) / (3.0 * (1.0 - poisson_ratio**2)) ** 0.25)


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


def least_height(vessel: Vessel, low: float, high: float | None = None) -> float:
    """Least height of a band: two layers, and where no printer is given the smear of a change.

    Where the printer is given its smear is part of every verdict, so that a band may be lower.

    Parameters
    ----------
    vessel : Vessel
        With its printer, from `in_fired_size`.
    low, high : float
        Between which heights; the smallest section there counts. [m]

    Returns
    -------
    float
        A multiple of the layer. [m]
    """
    high = low if high is None else high
    inside = vessel.height[(vessel.height > low) & (vessel.height < high)]
    places = np.concatenate([[low, high], inside])
    radius = np.interp(places, vessel.height, vessel.radius)
    wall = np.interp(places, vessel.height, vessel.wall)
    printer = vessel.printer
    if printer.given:
        return LEAST_LAYERS * printer.layer
    section = float((2.0 * np.pi * radius * wall).min())
    smeared = smear(printer.dead_volume, printer.tanks) / section
    return whole(max(smeared, LEAST_LAYERS * printer.layer), printer.layer, up=True)


def keep(vessel: Vessel) -> float:
    """Least height of either pure zone. [m]

    Parameters
    ----------
    vessel : Vessel
        With its limits and its printer.
    """
    return max(vessel.joint.keep, LEAST_LAYERS * vessel.printer.layer)


def least_ends(vessel: Vessel) -> tuple[float, float]:
    """Least height of the lower and of the upper pure zone, as kept or as written. [m]

    Parameters
    ----------
    vessel : Vessel
        With its limits and its printer.
    """
    least = keep(vessel)
    return max(vessel.joint.foot_height, least), max(vessel.joint.rim_height, least)


def pure_ends(vessel: Vessel, layout: Layout) -> bool:
    """Whether each zone is laid of its own paste alone, to 5 %, over the height that is kept pure.

    A change is timed so that half of the new paste comes at its joint. With nothing to be kept, a
    pot may fade from foot to rim. Without a printer nothing is known of its changes, and bands are
    no lower than a usual smear instead (`least_height`).

    Parameters
    ----------
    vessel : Vessel
        With its limits, from `in_fired_size`.
    layout : Layout
        The layout.

    Returns
    -------
    bool
        True where the first change begins above what is kept below, and the last is over below
        what is kept above.
    """
    printer = vessel.printer
    if not printer.given or vessel.joint.keep <= 0.0:
        return True
    early, half, late = (
        float(volume_for_share(share, printer.dead_volume, printer.tanks))
        for share in (IMPURE, 0.5, 1.0 - IMPURE)
    )
    chord = np.hypot(np.diff(vessel.radius), np.diff(vessel.height))
    ring = 2.0 * np.pi * vessel.radius * vessel.wall
    below = np.concatenate([[0.0], np.cumsum(0.5 * (ring[1:] + ring[:-1]) * chord)])
    top, least = float(vessel.height[-1]), keep(vessel)
    foot, rim = layout.foot, layout.foot + layout.total
    first, low, high, last = np.interp([least, foot, rim, top - least], vessel.height, below)
    return bool(low - first >= half - early and last - high >= late - half)


def _held(vessel: Vessel, total: float) -> tuple[float, float]:
    """Lowest and highest foot that the ends' heights allow; a fixed end is met to half a layer."""
    joint, layer, top = vessel.joint, vessel.printer.layer, float(vessel.height[-1])
    below, above = least_ends(vessel)
    low, high = below, top - above - total
    foot = layer * round(joint.foot_height / layer)
    rim = layer * round((top - joint.rim_height - total) / layer)
    half = 0.5 * layer + SLACK
    if joint.foot == FIXED:
        low = foot if keep(vessel) <= foot + half else below
        high = foot if foot <= high + (half if joint.rim == FIXED else SLACK) else foot - layer
    elif joint.rim == FIXED:
        fits = low <= rim + SLACK and rim + total <= top - keep(vessel) + half
        low, high = rim, (rim if fits else rim - layer)
    return low, high


def place_range(vessel: Vessel) -> tuple[float, float]:
    """Where the middle of a transition may lie.

    A range narrower than a layer names one place, which the printer meets to half a layer.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    tuple of float
        Lowest and highest. [m]
    """
    limits, layer = vessel.joint, vessel.printer.layer
    missing = max(layer - (limits.highest - limits.lowest), 0.0)
    return limits.lowest - 0.5 * missing, limits.highest + 0.5 * missing


def tallest(vessel: Vessel) -> float:
    """Tallest transition that the user's limit, the pure zones and the place allow.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    float
        A whole number of layers. [m]
    """
    top, (below, above) = float(vessel.height[-1]), least_ends(vessel)
    low, high = place_range(vessel)
    middle = min(max(0.5 * (top - above + below), low), high)
    room = 2.0 * min(middle - below, top - above - middle)
    return max(whole(min(vessel.joint.height, room), vessel.printer.layer, up=False), 0.0)


def placed(vessel: Vessel, layout: Layout) -> Layout | None:
    """The layout with its foot on a layer and within all limits, its middle as near as may be.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    layout : Layout
        The layout.

    Returns
    -------
    Layout or None
        A copy; None where no place is allowed.
    """
    layer, half = vessel.printer.layer, 0.5 * layout.total
    low, high = place_range(vessel)
    lowest, highest = _held(vessel, layout.total)
    if FIXED in (vessel.joint.foot, vessel.joint.rim):  # its height says where
        first, last = lowest, highest
    else:
        first = whole(max(low - half, lowest), layer, up=True)
        last = whole(min(high - half, highest), layer, up=False)
    if first > last + SLACK:
        return None
    foot = layer * round((layout.middle - half) / layer)
    return replace(layout, middle=min(max(foot, first), last) + half)


def fitted(vessel: Vessel, layout: Layout) -> Layout | None:
    """A layout drawn by hand, in whole layers and moved into the limits.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        As drawn.

    Returns
    -------
    Layout or None
        None where it breaks a limit wherever it stands.
    """
    layer = vessel.printer.layer
    rounded = tuple(layer * round(height / layer) for height in layout.heights)
    height = layer * round(layout.height / layer)
    at = placed(vessel, replace(layout, height=height, heights=rounded))
    return at if at is not None and allowed(vessel, at) else None


def broken(vessel: Vessel, layout: Layout) -> list[str]:
    """Which limits of printer, user and vessel a layout breaks.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        The layout.

    Returns
    -------
    list of str
        Their names, as `bounds` has them; empty where all are kept.
    """
    low, high = place_range(vessel)
    foot, rim = layout.foot, layout.foot + layout.total
    least = least_height(vessel, foot, rim) if layout.shares else 0.0
    first, last = _held(vessel, layout.total)
    fixed = FIXED in (vessel.joint.foot, vessel.joint.rim)
    slack = 0.5 * vessel.printer.layer + SLACK if fixed else SLACK
    kept = {
        "blends": len(layout.shares) <= vessel.joint.blends,
        "apart": told_apart(layout),
        "roads": whole_roads(vessel),
        "height": layout.total <= vessel.joint.height + SLACK,
        "position": fixed or low - SLACK <= layout.middle <= high + SLACK,
        "keep": first - slack <= foot <= last + slack,
        "smear": layout.height >= least - SLACK,
        "pure": pure_ends(vessel, layout),
    }
    return [name for name, held in kept.items() if not held]


def told_apart(layout: Layout) -> bool:
    """Whether a maker tells each paste from the one that it lies on.

    Parameters
    ----------
    layout : Layout
        The layout.
    """
    return all(a - b >= TOLD_APART for a, b in pairwise((100, *layout.shares, 0)) if layout.shares)


def allowed(vessel: Vessel, layout: Layout) -> bool:
    """Whether a layout keeps every limit of printer, user and vessel.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        The layout.

    Returns
    -------
    bool
        True where all are kept.
    """
    return not broken(vessel, layout)


def refuse_without_place(vessel: Vessel) -> None:
    """Complain where no joint at all keeps the limits, naming the one that binds.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Raises
    ------
    ModelError
        Pure zones and place exclude each other.
    """
    joint, layer = vessel.joint, vessel.printer.layer
    gap = float(vessel.height[-1]) - joint.foot_height - joint.rim_height
    between = layer * round(gap / layer) if joint.foot == joint.rim == FIXED else 0.0
    shares = (50,) if between > 0.0 else ()
    if between >= 0.0 and placed(vessel, Layout(shares, between, joint.lowest)) is not None:
        return
    top, least = 1e3 * float(vessel.height[-1]), 1e3 * keep(vessel)
    low, high = 1e3 * vessel.joint.lowest, 1e3 * vessel.joint.highest
    if joint.foot_height or joint.rim_height:
        ends = [
            f"the {end} band {how} at {1e3 * height:g} mm"
            for end, how, height in (
                ("lowest", joint.foot, joint.foot_height),
                ("highest", joint.rim, joint.rim_height),
            )
            if height
        ]
        raise ModelError(
            f"{vessel.name}: keep: {' and '.join(ends)} leaves no joint within lowest_mm = {low:g} "
            f"to highest_mm = {high:g}, keep_mm = {least:g} and {top:g} mm in all; change them, or "
            'free a band (height = "free")'
        )
    if 2.0 * least > top:
        raise ModelError(
            f"{vessel.name}: keep: two pure zones of keep_mm = {least:g} do not fit into a vessel "
            f"{top:g} mm tall"
        )
    raise ModelError(
        f"{vessel.name}: position: lowest_mm = {low:g} to highest_mm = {high:g} leaves no whole "
        f"layer of {1e3 * vessel.printer.layer:g} mm for a joint; pure zones of keep_mm = "
        f"{least:g} leave {least:g} to {top - least:g} mm"
    )


def places(vessel: Vessel, count: int = 20) -> list[float]:
    """Places of a transition's middle, evenly from the lowest allowed to the highest. [m]

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    count : int
        How many. [-]
    """
    return [float(middle) for middle in np.linspace(*place_range(vessel), count)]


def _pure_somewhere(vessel: Vessel) -> bool:
    """Whether a direct change of paste leaves both ends pure wherever it may lie."""
    tried = [placed(vessel, Layout((), 0.0, middle)) for middle in places(vessel)]
    some = [one for one in tried if one is not None]
    return not some or any(pure_ends(vessel, one) for one in some)


def with_room(vessel: Vessel, metal: Card, ceramic: Card) -> Vessel:
    """The vessel, with the smallest chamber it may have where its own leaves no zone pure.

    Parameters
    ----------
    vessel : Vessel
        With its printer.
    metal, ceramic : Card
        Of its two zones.

    Raises
    ------
    ModelError
        No chamber that it may have leaves both ends pure.
    """
    if _pure_somewhere(in_fired_size(vessel, metal, ceramic)):
        return vessel
    least = min((vessel.printer.dead_volume, *vessel.free.dead_volume))
    small = replace(vessel, printer=replace(vessel.printer, dead_volume=least))
    if not _pure_somewhere(in_fired_size(small, metal, ceramic)):
        raise ModelError(
            f"{vessel.name}: pure: {1e6 * least:.3g} ml of paste before the nozzle leave no pure "
            f"zone of keep_mm = {1e3 * keep(vessel):g} at foot and rim; take a smaller chamber "
            "(dead_volume_ml), a thicker wall or a smaller keep_mm"
        )
    return small


def bounds(vessel: Vessel) -> list[str]:
    """What the limits rule out, one sentence each, with the limit that binds named first.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    list of str
        Empty where blends fit and the transition may be taller than the wall forgets.
    """
    limits, most = vessel.joint, tallest(vessel)
    middle = 0.5 * (limits.lowest + limits.highest)
    least, decay = least_height(vessel, middle), decay_length(vessel, middle)
    found = []
    if limits.blends == 0:
        found.append("blends: none are to be mixed, so only a direct joint is possible.")
    elif most < least - SLACK:
        what = "height" if limits.height < least - SLACK else "keep and position"
        found.append(
            f"{what}: the tallest transition allowed, {most * 1e3:.1f} mm, is shorter than the "
            f"least band, {least * 1e3:.1f} mm (the smear of a change of paste), so only a direct "
            "joint is possible."
        )
    elif (fit := int(most / least + 1e-6)) < limits.blends:
        found.append(
            f"height: bands of {least * 1e3:.1f} mm or more leave room for {fit} of "
            f"{limits.blends} blends in {most * 1e3:.1f} mm."
        )
    if limits.blends and most < decay:
        found.append(
            f"height: a transition of {most * 1e3:.1f} mm is {most / decay:.2f} of the "
            f"{decay * 1e3:.1f} mm over which the wall forgets a joint (1/β): too short to matter "
            "for the bending, it only softens the step."
        )
    return found


# ----------------------------------------------------------------------------------------------
# Which transitions a printer can lay and a user will mix: the candidates of the layer search

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
