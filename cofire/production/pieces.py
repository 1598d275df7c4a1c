"""Which test pieces to fire before the vessel: the fewest that speak to its riskiest flags."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import GO, Flag, joint_name
from cofire.assessment.verdict import Verdict, rule_of
from cofire.design.ladder import RING
from cofire.materials.card import pure_cards
from cofire.production.bars import expansion_bar, sag_bar, shrinkage_bar
from cofire.production.green import Green
from cofire.production.joint_pieces import camber_strip, joint_ring, ladder_of_rings
from cofire.production.piece import Piece, sample


def riskiest(response: Response, verdict: Verdict) -> list[Flag]:
    """The worst flag of each rule, where it is no go, and can be told one place of the vessel.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    verdict : Verdict
        Of it.

    Returns
    -------
    list of Flag
        Worst first.
    """
    names = {card.name for card in response.cards} | {*pure_cards(response.cards)}
    found: dict[str, Flag] = {}
    for flag in verdict.flags:
        if flag.grade > GO and (flag.zone in names or flag.zone in _joints(response)):
            found.setdefault(flag.rule, flag)
    return list(found.values())


def _joints(response: Response) -> list[str]:
    """Names of the joints as flags give them, from below."""
    return [joint_name(a.name, b.name) for a, b in pairwise(response.cards)]


def pieces_for(response: Response, verdict: Verdict, green: Green) -> list[Piece]:
    """The test pieces, each as a printer makes it, with what the model expects of it.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    verdict : Verdict
        Of it.
    green : Green
        Its print.

    Returns
    -------
    list of Piece
        None for a flag that needs none; one piece for all flags it can speak to.
    """
    wanted: dict[tuple[str, str | int], list[Flag]] = {}
    for flag in riskiest(response, verdict):
        if kind := rule_of(flag).piece:
            for place in _places(response, kind, flag):
                wanted.setdefault((kind, place), []).append(flag)
    found = []
    for (kind, place), flags in wanted.items():
        decides = tuple(f"{flag.rule}, {flag.zone}" for flag in flags)
        found.append(replace(_made(response, green, kind, place, flags), decides=decides))
        if kind == RING:
            found += [replace(p, decides=decides) for p in ladder_of_rings(response)]
    return found


def _places(response: Response, kind: str, flag: Flag) -> Sequence[str | int]:
    """Material, or number of the joint, of each piece of a kind that speaks to a flag."""
    joints = _joints(response)
    if kind == "joint ring":
        return [""] if joints else []
    if kind == "camber strip":
        return [_nearest_joint(response, flag)] if joints else []
    if kind == "shrinkage bar" and flag.zone in joints:
        n = joints.index(flag.zone)
        return list(pure_cards(response.cards[n : n + 2]))  # a blend lies between its parts
    if kind == "expansion bar":
        other = _partner(response, flag.zone)
        return [flag.zone, other] if other else [flag.zone]
    if kind == "sag bar":
        return [_flowing(response, flag.zone)]
    return [flag.zone]


def _flowing(response: Response, zone: str) -> str:
    """What flows where a band sags: of a blend its ceramic, which its flag goes by."""
    found = next((c.ceramic for c in response.cards if c.name == zone), None)
    ceramic = found.name if found else zone
    return ceramic if ceramic in response.history.names else zone


def _made(
    response: Response, green: Green, kind: str, place: str | int, flags: list[Flag]
) -> Piece:  # fmt: skip
    """One piece with its forecast."""
    if kind == "joint ring":
        return joint_ring(response, green, flags)
    if isinstance(place, int):
        return camber_strip(response, place, flags)
    of = sample(response, place)
    if kind == "expansion bar":
        zones = [flag.zone for flag in flags]
        other = _partner(response, place) if place in zones else zones[0]
        return expansion_bar(response, of, sample(response, other or place), flags)
    if kind == "sag bar":
        return sag_bar(response, of, flags)
    return shrinkage_bar(response, of, flags)


def _partner(response: Response, zone: str) -> str | None:
    """The neighbour of a band whose metal share differs most from its own."""
    names = [card.name for card in response.cards]
    shares = [card.metal_share for card in response.cards]
    beside = {
        k
        for n, name in enumerate(names)
        if name == zone
        for k in (n - 1, n + 1)
        if 0 <= k < len(names)
    }
    if not beside:
        return None
    own = shares[names.index(zone)]
    return names[max(sorted(beside), key=lambda k: abs(shares[k] - own))]


def _nearest_joint(response: Response, flag: Flag) -> int:
    """The joint nearest to where a flag has its worst place, at an end of its own band."""
    names = [card.name for card in response.cards]
    own = {n for n, name in enumerate(names) if name == flag.zone}
    steps: Sequence[float] = [float(s) for s in response.vessel.steps]
    ends = [n for n in range(len(steps)) if n in own or n + 1 in own]
    height = flag.height if flag.height is not None else steps[ends[0]]
    return min(ends, key=lambda n: float(np.abs(steps[n] - height)))
