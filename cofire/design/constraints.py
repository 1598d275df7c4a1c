"""What printer, user and vessel allow of a transition, in whole layers of the printer.

Everything here is asked of a vessel from `in_fired_size`, whose dead volume is in the same size as
its wall. A joint keeps its limits within a stretch of the vessel (`Vessel.stretch`): all of it
where there is one joint. Of two, a joint may be planned from its end of the vessel to where the
other begins, which is held (`beside`); or both at once, each in its half (`halves`).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.design.fired_size import decay_length, in_fired_size, whole, whole_roads
from cofire.design.transition import LOWER, UPPER, Layout
from cofire.errors import InputError, ModelError
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.changeover import smear, volume_for_share
from cofire.vessel import FIXED, JointLimits, Vessel, is_blend

IMPURE = 0.05
"""Of the other paste in a zone that counts as pure: our choice. [-]"""
TOLD_APART = 5
"""By how much two pastes that lie beside each other differ at least, pure ones among them: nearer
ones a maker does not tell apart, by weighing or by what they do. Our choice. [% of volume]"""
LEAST_LAYERS = 2
"""A band or a pure zone has at least as many layers of the printer. [-]"""
SMALLER, CHAMBERS = 0.8, 25
"""Of a chamber that leaves no zone pure the next that is tried, and how many: to a 200th. [-]"""
HALVINGS = 16
"""Of the range in which the largest chamber is sought that leaves each zone pure. [-]"""
SLACK = 1e-9
"""Rounding of lengths, far below a layer. [m]"""


def beside(vessel: Vessel, layout: Layout, which: str) -> Vessel:
    """One of two joints to be planned while the other stays as it is.

    Parameters
    ----------
    vessel : Vessel
        With the limits of two joints.
    layout : Layout
        With the transition of each.
    which : str
        The joint to be planned.

    Returns
    -------
    Vessel
        For the limits of that joint alone: its stretch ends where the other transition begins, or
        with a band between that is fixed, which stays where it is whatever the other does.
    """
    if vessel.joint.rim == FIXED:
        return halves(vessel)[which == UPPER]
    name = f"{vessel.name}, {which}"
    if which == LOWER:
        assert layout.upper is not None
        return replace(
            vessel, name=name, joint=replace(vessel.joint, high=layout.upper.foot), upper=None
        )
    assert vessel.upper is not None
    own = replace(vessel.upper, low=layout.foot + layout.total)
    return replace(vessel, name=name, joint=own, upper=None)


def halves(vessel: Vessel) -> tuple[Vessel, ...]:
    """Each joint with its own part of the vessel, so that two can be planned at once.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    tuple of Vessel
        For limits alone: itself where it has one joint; else one a joint, from below, parted at the
        middle of the band between, of which each leaves pure half of what is to stay.
    """
    upper = vessel.upper
    if upper is None:
        return (vessel,)
    band = next(band for band in vessel.bands[1:-1] if not is_blend(band.material))
    part = 0.5 * (band.low + band.high)
    half = 0.5 * max(keep(vessel), vessel.joint.rim_height)
    limits = (
        replace(vessel.joint, high=part + half, highest=min(vessel.joint.highest, part)),
        replace(upper, low=part - half, lowest=max(upper.lowest, part)),
    )
    return tuple(
        replace(
            vessel,
            name=f"{vessel.name}, {which}",
            joint=replace(
                own, lowest=min(own.lowest, own.highest), highest=max(own.lowest, own.highest)
            ),
            upper=None,
        )
        for which, own in zip((LOWER, UPPER), limits, strict=True)
    )


def alike(vessel: Vessel, layout: Layout) -> Layout | None:
    """The same transition at each joint, as far up its place as the other is down.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        Of one joint, the lower one where there are two.

    Returns
    -------
    Layout or None
        The layout itself where the vessel has one joint; None where the upper one has no place
        for it.
    """
    both = _mirrored(vessel, layout)
    return both if both is None or vessel.upper is None or allowed(vessel, both) else None


def _mirrored(vessel: Vessel, layout: Layout) -> Layout | None:
    """As `alike`, where only the place of the upper joint is asked for."""
    if vessel.upper is None:
        return layout
    lower, upper = halves(vessel)
    (low, high), (least, most) = place_range(lower), place_range(upper)
    part = (high - layout.middle) / (high - low)
    middle = least + min(max(part, 0.0), 1.0) * (most - least)
    one = replace(layout, upper=None)
    other = placed(upper, replace(one, middle=middle))
    return None if other is None else replace(one, upper=other)


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
    (bottom, top), least = vessel.stretch, keep(vessel)
    foot, rim = layout.foot, layout.foot + layout.total
    first, low, high, last = np.interp(
        [bottom + least, foot, rim, top - least], *_laid_below(vessel)
    )
    return bool(low - first >= half - early and last - high >= late - half)


def _laid_below(vessel: Vessel) -> tuple[Array, Array]:
    """Heights from foot to rim, no farther apart than a layer [m], and the wall below each. [m³]

    Of a cone, between two points of its profile, the wall is no straight line over the height.
    """
    chord = vessel.chord
    place = np.union1d(chord, np.arange(0.0, float(chord[-1]), vessel.printer.layer))
    below = np.concatenate([[0.0], np.cumsum(vessel.volumes(place))])
    return np.interp(place, chord, vessel.height), below


def pure_between(vessel: Vessel, layout: Layout) -> bool:
    """The same of the band in the middle: what two changes leave of it is as high as is kept.

    Parameters
    ----------
    vessel : Vessel
        With its limits, from `in_fired_size`.
    layout : Layout
        Of two joints.

    Returns
    -------
    bool
        True where the change below is over, and the one above has not begun, over the height that
        is kept.
    """
    printer, upper = vessel.printer, layout.upper
    if upper is None or not printer.given or vessel.joint.keep <= 0.0:
        return True
    early, half, late = (
        float(volume_for_share(share, printer.dead_volume, printer.tanks))
        for share in (IMPURE, 0.5, 1.0 - IMPURE)
    )
    height, below = _laid_below(vessel)
    rim, foot = np.interp([layout.foot + layout.total, upper.foot], height, below)
    over, begun = np.interp([rim + late - half, foot - half + early], below, height)
    return bool(begun - over >= keep(vessel) - SLACK)


def _held(vessel: Vessel, total: float) -> tuple[float, float]:
    """Lowest and highest foot that the ends' heights allow; a fixed end is met to half a layer."""
    joint, layer, (bottom, top) = vessel.joint, vessel.printer.layer, vessel.stretch
    below, above = least_ends(vessel)
    low, high = bottom + below, top - above - total
    foot = layer * round((bottom + joint.foot_height) / layer)
    rim = layer * round((top - joint.rim_height - total) / layer)
    half = 0.5 * layer + SLACK
    if joint.foot == FIXED:
        low = foot if bottom + keep(vessel) <= foot + half else low
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
    """Tallest transition that the user's limit, the pure zones and the place allow, at any joint.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    float
        A whole number of layers. [m]
    """
    if vessel.upper is not None:
        return min(tallest(view) for view in halves(vessel))
    (bottom, top), (below, above) = vessel.stretch, least_ends(vessel)
    below = bottom + below
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
    if layout.upper is not None:
        lower = placed(beside(vessel, layout, LOWER), replace(layout, upper=None))
        if lower is None:
            return None
        upper = placed(beside(vessel, replace(lower, upper=layout.upper), UPPER), layout.upper)
        return None if upper is None else replace(lower, upper=upper)
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

    def rounded(one: Layout) -> Layout:
        each = tuple(layer * round(height / layer) for height in one.heights)
        return replace(one, height=layer * round(one.height / layer), heights=each)

    upper = None if layout.upper is None else rounded(layout.upper)
    at = placed(vessel, replace(rounded(layout), upper=upper))
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
        Their names, as `bounds` has them; empty where all are kept. Of two joints with that of the
        joint; blends that both have are mixed once.
    """
    if layout.upper is not None:
        found = [
            f"{name} ({which})"
            for which, one in layout.named
            for name in broken(beside(vessel, layout, which), one)
        ]
        pastes = {share for one in layout.joints for share in one.shares}
        found += ["blends"] * (len(pastes) > vessel.joint.blends)
        return found + ["pure (middle)"] * (not pure_between(vessel, layout))
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


def end_names(joint: JointLimits) -> tuple[str, str]:
    """Which bands of the vessel a joint has below and above it: lowest, middle or highest.

    Parameters
    ----------
    joint : JointLimits
        With its stretch.
    """
    below = "lowest" if joint.low <= 0.0 else "middle"
    return below, "highest" if joint.high == float("inf") else "middle"


def refuse_without_place(vessel: Vessel) -> None:
    """Complain where no joint at all keeps the limits, naming the one that binds.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Raises
    ------
    InputError
        A band in the middle, and limits of one joint.
    ModelError
        Pure zones and place exclude each other.
    """
    all_of_it = vessel.stretch == (0.0, float(vessel.height[-1]))
    banded = any(not is_blend(band.material) for band in vessel.bands[1:-1])
    if banded and all_of_it and vessel.upper is None:
        raise InputError(
            f"{vessel.name}: a band stands in the middle, and [joint] holds no limits of two "
            "joints; read the vessel anew with its bands"
        )
    if vessel.upper is not None:
        top, least = 1e3 * float(vessel.height[-1]), 1e3 * keep(vessel)
        if 3.0 * least > top:
            raise ModelError(
                f"{vessel.name}: keep: three pure zones of keep_mm = {least:g} do not fit into a "
                f"vessel {top:g} mm tall"
            )
        for view in halves(vessel):
            refuse_without_place(view)
        return
    joint, layer, (bottom, rim) = vessel.joint, vessel.printer.layer, vessel.stretch
    gap = rim - bottom - joint.foot_height - joint.rim_height
    between = layer * round(gap / layer) if joint.foot == joint.rim == FIXED else 0.0
    shares = (50,) if between > 0.0 else ()
    if between >= 0.0 and placed(vessel, Layout(shares, between, joint.lowest)) is not None:
        return
    top, least = 1e3 * (rim - bottom), 1e3 * keep(vessel)
    low, high = 1e3 * vessel.joint.lowest, 1e3 * vessel.joint.highest
    if joint.foot_height or joint.rim_height:
        foot, top_one = end_names(joint)
        ends = [
            f"the {end} band {how} at {1e3 * height:g} mm"
            for end, how, height in (
                (foot, joint.foot, joint.foot_height),
                (top_one, joint.rim, joint.rim_height),
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
        f"{least:g} leave {1e3 * bottom + least:g} to {1e3 * rim - least:g} mm"
    )


def places(vessel: Vessel, count: int = 20) -> list[float]:
    """Places of a (lower) transition's middle, evenly from the lowest allowed to the highest. [m]

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    count : int
        How many. [-]
    """
    return [float(middle) for middle in np.linspace(*place_range(halves(vessel)[0]), count)]


def _pure_somewhere(vessel: Vessel) -> bool:
    """Whether direct changes of paste leave each zone pure somewhere that they may lie."""
    first = halves(vessel)[0]
    tried = [placed(first, Layout((), 0.0, middle)) for middle in places(vessel)]
    some = [_mirrored(vessel, one) for one in tried if one is not None]
    known = [one for one in some if one is not None]
    return not known or any(leaves_pure(vessel, one) for one in known)


def leaves_pure(vessel: Vessel, layout: Layout) -> bool:
    """Whether each zone of a vessel is pure over the height that is kept.

    Parameters
    ----------
    vessel : Vessel
        From `in_fired_size`.
    layout : Layout
        Of one joint or of two.
    """
    if layout.upper is None:
        return pure_ends(vessel, layout)
    views = [(beside(vessel, layout, which), one) for which, one in layout.named]
    return pure_between(vessel, layout) and all(pure_ends(view, one) for view, one in views)


def room_for(vessel: Vessel, layout: Layout, most: float) -> float:
    """By which factor its dead volume may grow while a layout leaves each zone pure. [-]

    Parameters
    ----------
    vessel : Vessel
        From `in_fired_size`; it leaves each zone pure as it is.
    layout : Layout
        Of one joint or of two.
    most : float
        Largest factor, 1 at least. [-]
    """

    def pure(factor: float) -> bool:
        printer = replace(vessel.printer, dead_volume=factor * vessel.printer.dead_volume)
        return leaves_pure(replace(vessel, printer=printer), layout)

    low, high = 1.0, most
    if pure(high):
        return high
    for _ in range(HALVINGS):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if pure(middle) else (low, middle)
    return low


def most_kept(vessel: Vessel, layout: Layout) -> float:
    """How much of each zone a layout leaves pure, up to what is to be kept. [m]

    In whole tenths of a millimetre where it is less than that; 0 where the pot fades throughout.

    Parameters
    ----------
    vessel : Vessel
        From `in_fired_size`.
    layout : Layout
        Of one joint or of two.
    """
    kept = vessel.joint.keep
    less = 1e-4 * np.arange(np.ceil(1e4 * kept - 1e-6) - 1.0, 0.0, -1.0)
    some = (kept, *map(float, less))
    return next((one for one in some if leaves_pure(keeping(vessel, one), layout)), 0.0)


def keeping(vessel: Vessel, kept: float) -> Vessel:
    """The vessel with another least height of its pure zones.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    kept : float
        Of each zone. [m]
    """
    upper = vessel.upper and replace(vessel.upper, keep=kept)
    return replace(vessel, joint=replace(vessel.joint, keep=kept), upper=upper)


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
        where = "foot and rim" if vessel.upper is None else "foot, rim or middle"
        most = _largest_chamber(small, metal, ceramic)
        smaller = f"take a smaller chamber (dead_volume_ml = {most:g}), " if most else "take "
        raise ModelError(
            f"{vessel.name}: pure: {1e6 * least:.3g} ml of paste before the nozzle leave no pure "
            f"zone of keep_mm = {1e3 * keep(vessel):g} at {where}; {smaller}a thicker wall or a "
            "smaller keep_mm"
        )
    return small


def _largest_chamber(vessel: Vessel, metal: Card, ceramic: Card) -> float:
    """A dead volume below the printer's that leaves zones pure, to a fifth; 0 if none. [ml]"""
    dead = vessel.printer.dead_volume
    for count in range(1, CHAMBERS):
        told = float(f"{1e6 * dead * SMALLER**count:.2g}")
        printer = replace(vessel.printer, dead_volume=told / 1e6)
        if _pure_somewhere(in_fired_size(replace(vessel, printer=printer), metal, ceramic)):
            return told
    return 0.0


def bounds(vessel: Vessel) -> list[str]:
    """What the limits rule out, one sentence each, with the limit that binds named first.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    list of str
        Empty where blends fit and the transition may be taller than the wall forgets. Of two
        joints with its name, where they differ.
    """
    if vessel.upper is not None:
        lower, upper = (Layout((), 0.0, sum(place_range(view)) / 2.0) for view in halves(vessel))
        direct = replace(lower, upper=upper)
        each = [bounds(beside(vessel, direct, which)) for which in (LOWER, UPPER)]
        if each[0] == each[1]:
            return each[0]
        named = zip((LOWER, UPPER), each, strict=True)
        return [f"{which}, {line}" for which, lines in named for line in lines]
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
