"""A ladder of joint rings: the vessel's joint in sizes that straddle the doubt about it.

Rings of one shape in several sizes bear the same stress, but the energy that drives a crack grows
with their size, so utilisations of cracks go as the root of it. Where the first rung holds and the
last parts, the rungs between tell the factor between what a rule computes and what breaks, which a
ring of the vessel's own size tells only to one side. The joints of rings are sharp, each change run
out beside them: it takes the same volume in each size, and would leave a small ring no joint.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import Verdict, judge, rule_of, worst_by_rule
from cofire.design.constraints import LEAST_LAYERS
from cofire.design.fired_size import decay_length
from cofire.materials.card import Card
from cofire.vessel import Band, Vessel

REACH = 2.0
"""Of a ring beyond its joints, in decay lengths, where nothing more is felt of the joint. [-]"""
RUNGS = 5
"""Enough to tell a factor to about a fifth; more is paste. Estimate. [-]"""
LARGEST = 1.5
"""Largest ring over the vessel's own size: common practice, it must fit the kiln. [-]"""
LIGHT, HEAVY = 0.5, 2.0
"""Utilisations that the ends of a ladder aim at. [-]"""
RING, LADDER = "joint ring", "ladder of joint rings"


@dataclass(frozen=True)
class Rung:
    """One ring of a ladder.

    Attributes
    ----------
    name
        Of the piece, as a record is to know it.
    size
        Over that of the vessel. [-]
    vessel
        The ring.
    utilisation
        Of the rules that a joint ring decides, with the cards as they stand. [-]
    paste
        Volume of the wall as fired. [m³]
    by_rule
        Largest utilisation of each rule with the cards as they stand. [-]
    """

    name: str
    size: float
    vessel: Vessel
    utilisation: float
    paste: float
    by_rule: Mapping[str, float]


def by_rule(verdict: Verdict) -> dict[str, float]:
    """Largest utilisation of each rule.

    Parameters
    ----------
    verdict : Verdict
        From `judge`.

    Returns
    -------
    dict
        What could not be computed counts as 1. [-]
    """
    return {rule: flag.counted for rule, flag in worst_by_rule(verdict.flags).items()}


def rung_name(vessel: Vessel, size: float) -> str:
    """Name of a ring, by which an outcome is put down.

    Parameters
    ----------
    vessel : Vessel
        Whose joint it has.
    size : float
        Over that of the vessel. [-]

    Returns
    -------
    str
        As "vase to try, rung 0.50".
    """
    return f"{vessel.name}, rung {size:.2f}"


def rung_vessel(vessel: Vessel, size: float) -> Vessel:
    """A cylinder with the radius, wall and bands that the vessel has at its joints, scaled.

    Parameters
    ----------
    vessel : Vessel
        With at least one joint.
    size : float
        Over that of the vessel. [-]

    Returns
    -------
    Vessel
        From two decay lengths below the lowest joint to two above the highest, or its ends.
    """
    steps = np.asarray(vessel.steps)
    middle = float(0.5 * (steps[0] + steps[-1]))
    radius, wall = (
        float(np.interp(middle, vessel.height, values)) for values in (vessel.radius, vessel.wall)
    )
    sliver = LEAST_LAYERS * vessel.printer.layer / size
    low = max(float(steps[0]) - REACH * decay_length(vessel, float(steps[0])), 0.0)
    high = min(
        float(steps[-1]) + REACH * decay_length(vessel, float(steps[-1])), float(vessel.height[-1])
    )
    low, high = min(low, float(steps[0]) - sliver), max(high, float(steps[-1]) + sliver)
    bands = tuple(
        Band(b.material, size * (max(b.low, low) - low), size * (min(b.high, high) - low))
        for b in vessel.bands
        if b.low < high and b.high > low
    )
    return replace(
        vessel, name=rung_name(vessel, size), radius=np.full(2, size * radius),
        height=np.array([0.0, size * (high - low)]), wall=np.full(2, size * wall), corners=(),
        bands=bands,
    )  # fmt: skip


def ring_utilisation(verdict: Verdict) -> float:
    """Largest utilisation of the rules that a joint ring decides, in ware that is not green.

    Parameters
    ----------
    verdict : Verdict
        On a ring, or on a vessel.

    Returns
    -------
    float
        0 where none is asked. [-]
    """
    return max((f.counted for f in verdict.flags if by_ring(f)), default=0.0)


def by_ring(flag: Flag) -> bool:
    """Whether a joint ring decides a flag by the energy of its crack, which grows with its size.

    Parameters
    ----------
    flag : Flag
        Of a ring, or of a vessel.
    """
    rule = rule_of(flag)
    return rule.piece == RING and not rule.after


def bracketed(rungs: Sequence[Rung], flags: Sequence[Flag]) -> list[Flag]:
    """Of flags those whose rule the first rung is expected to keep and the last to break.

    A crack that grows in humid air after the kiln goes by stress, which is the same in each size.

    Parameters
    ----------
    rungs : sequence of Rung
        From `ladder`.
    flags : sequence of Flag
        Of the vessel.

    Returns
    -------
    list of Flag
        Those that a ladder decides.
    """
    found = []
    for flag in flags:
        used = [rung.by_rule.get(flag.rule, 0.0) for rung in rungs]
        if by_ring(flag) and used and min(used) < 1.0 <= max(used):
            found.append(flag)
    return found


def sizes_for(vessel: Vessel, utilisation: float) -> tuple[float, ...]:
    """Sizes of the rungs, so that utilisations run from `LIGHT` to `HEAVY` where they can.

    Parameters
    ----------
    vessel : Vessel
        Whose joint it is.
    utilisation : float
        Of a ring of the vessel's own size. [-]

    Returns
    -------
    tuple of float
        Rising; the wall of the least is one nozzle. [-]
    """
    wall = float(vessel.wall.min())
    least = min(vessel.printer.nozzle / wall, 1.0)
    used = max(utilisation, 1e-3)
    ends = np.clip([(LIGHT / used) ** 2, (HEAVY / used) ** 2], least, LARGEST)
    if ends[1] < 1.2 * ends[0]:
        ends = np.array([least, LARGEST])
    found = np.geomspace(ends[0], ends[1], RUNGS)
    return tuple(dict.fromkeys(round(float(size), 2) for size in found))


def ladder(response: Response, cards: Mapping[str, Card]) -> list[Rung]:
    """The rings of a ladder that straddle the doubt, each fired with the cards as they stand.

    Parameters
    ----------
    response : Response
        The vessel fired with its joints as drawn.
    cards : mapping
        Materials by name.

    Returns
    -------
    list of Rung
        From the least.
    """
    vessel = response.vessel
    if not len(vessel.steps):
        return []
    extend = bool(response.history.extended)

    def fired(size: float) -> Rung:
        ring = rung_vessel(vessel, size)
        answer = fire_vessel(ring, cards, extend=extend)
        paste = float(2.0 * np.pi * ring.radius[0] * ring.wall[0] * ring.height[-1])
        verdict = judge(answer)
        return Rung(ring.name, size, ring, ring_utilisation(verdict), paste, by_rule(verdict))

    return [fired(size) for size in sizes_for(vessel, fired(1.0).utilisation)]
