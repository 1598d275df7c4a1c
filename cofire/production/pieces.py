"""Which test pieces to fire before the vessel: the fewest that speak to its riskiest flags.

Flags are those of the verdict, on the vessel as it will be printed; pieces are of the pastes that
are weighed, so a flag at a step of a smear is tested at the joint as drawn that lies nearest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from cofire.assessment.check import Check, drawn_joint
from cofire.assessment.firing_rules import DENSITY
from cofire.assessment.packing import need_words
from cofire.assessment.response import Response
from cofire.assessment.rule import GO, Flag, joint_name
from cofire.assessment.verdict import rule_of
from cofire.design.ladder import RING
from cofire.firing.program import Firing
from cofire.materials.card import Card, pure_cards
from cofire.production.bars import SLIM, expansion_bar, marks_for, sag_bar, shrinkage_bar
from cofire.production.changeovers import DONE
from cofire.production.green import Green
from cofire.production.joint_pieces import camber_strip, joint_ring, ladder_of_rings
from cofire.production.paste import ready_pastes
from cofire.production.piece import Piece, Sample, decided, sample, short_of
from cofire.units import counted
from cofire.vessel import Mixing

Place = tuple[str, str] | str | int
"""A material, a material and its partner, or the number of a joint as drawn."""
SCALE = "scale of the print"
"""What a piece tells that no flag asks for."""


def riskiest(check: Check) -> list[Flag]:
    """The worst flag of each rule, where it is no go, and can be told one place of the vessel.

    Where the worst is of all places together, it is the worst place's, used up as far as all are.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    list of Flag
        Worst first.
    """
    cards = check.printed.cards
    names = {card.name for card in cards} | {*pure_cards(cards)} | {*_joints(check.printed)}
    found = []
    for rule in dict.fromkeys(flag.rule for flag in check.verdict.flags):
        flags = [flag for flag in check.verdict.flags if flag.rule == rule]
        placed = [flag for flag in flags if flag.zone in names]
        if flags[0].grade > GO and placed:
            worst = placed[0]
            if flags[0] is not worst:
                worst = replace(worst, utilisation=flags[0].utilisation)
            found.append(worst)
    return found


def _joints(response: Response) -> list[str]:
    """Names of the joints as flags give them, from below."""
    return [joint_name(a.name, b.name) for a, b in pairwise(response.cards)]


def pieces_for(check: Check, green: Green) -> list[Piece]:
    """The test pieces, each as a printer makes it, with what the model expects of it.

    Parameters
    ----------
    check : Check
        From `check_vessel`: what its verdict says of the vessel as printed stops a piece.
    green : Green
        The vessel's print.

    Returns
    -------
    list of Piece
        None for a flag that needs none; one piece for all flags it can speak to. Last, of each
        pure paste of which no flag asks for a shrinkage bar a small one: the scale of the print
        rests on what it shrinks.
    """
    wanted: dict[tuple[str, Place], list[Flag]] = {}
    for flag in riskiest(check):
        if kind := rule_of(flag).piece:
            for place in _places(check, kind, flag):
                wanted.setdefault((kind, place), []).append(flag)
    found = []
    for (kind, place), flags in wanted.items():
        piece = replace(_made(check, green, kind, place, flags), decides=decided(flags))
        if isinstance(place, str) and place and place not in _weighed(check):
            piece = _mixed(piece, _sample(check, place).card, check.vessel.mixing)
        found.append(piece)
        if kind == RING:
            found += ladder_of_rings(check.designed, green.layer, flags)
    found += [
        _scale_bar(check, green, name)
        for name in pure_cards(check.cards)
        if ("shrinkage bar", name) not in wanted
    ]
    return [_housed(piece, check.vessel.firing) for piece in found]


def _housed(piece: Piece, firing: Firing) -> Piece:
    """The piece, which says so where the box or the kiln is too small for it."""
    short = short_of(piece.space, firing)
    if not short:
        return piece
    told = f"fire it in another {short[0][0].split()[-1]} ({need_words(short[0])})"
    return replace(piece, note=f"{told}, {piece.note}" if piece.note else told)


def _scale_bar(check: Check, green: Green, name: str) -> Piece:
    """One small bar of a paste that tells the scale of the print as well as the vessel asks for."""
    dense = [f for f in check.verdict.flags if (f.rule, f.zone) == (DENSITY.name, name)]
    of = _sample(check, name)
    whole = shrinkage_bar(check.designed, of, dense, marks=marks_for(green), width=SLIM)
    return replace(whole, count=1, decides=(*decided(dense), SCALE))


def _mixed(piece: Piece, card: Card, mixing: Mixing) -> Piece:
    """A piece of a paste that no band has, from the two that it is mixed of, with what is lost."""
    parts, taken = ready_pastes(card, piece.volume), piece.count * (1.0 + mixing.waste)
    told = " and ".join(f"{1e3 * taken * mass:.1f} g of {name}" for name, _, mass in parts)
    note = f"as it stands where one paste changes into the other: of the ready pastes {told}"
    note += f", for {'both' if piece.count == 2 else counted(piece.count, 'piece')}"
    if mixing.waste > 0.0:
        note += f" with {100.0 * mixing.waste:.0f} % on top for waste"
    return replace(
        piece,
        pastes=tuple((name, volume) for name, volume, _ in parts),
        note=f"{piece.note}, {note}" if piece.note else note,
    )


def _places(check: Check, kind: str, flag: Flag) -> Sequence[Place]:
    """Material, or number of the joint, of each piece of a kind that speaks to a flag."""
    cards = check.cards
    joint = drawn_joint(check, flag)
    if kind == RING:
        return [""] if len(cards) > 1 else []
    if kind == "camber strip":
        return [_nearest_joint(check, flag)] if len(cards) > 1 else []
    if kind == "shrinkage bar" and flag.zone in _joints(check.printed) and joint is not None:
        return list(pure_cards(cards[joint : joint + 2]))  # a blend lies between its parts
    if kind == "expansion bar":
        pair = _apart(check, flag)
        return [pair] if pair[0] == pair[1] else [pair, pair[::-1]]
    if kind == "sag bar":
        return [_flowing(check, flag.zone)]
    return [_weighable(check, flag.zone)]


def _weighable(check: Check, zone: str) -> str:
    """The zone, or the paste as designed that a smear leaves there but for a twentieth."""
    if zone in _weighed(check):
        return zone
    share = next((c.metal_share for c in check.printed.cards if c.name == zone), None)
    near = {c.name: abs(c.metal_share - share) for c in check.cards} if share is not None else {}
    own = min(near, key=near.__getitem__, default=zone)
    return own if near.get(own, 1.0) <= 1.0 - DONE else zone


def _flowing(check: Check, zone: str) -> str:
    """What flows where a band sags: of a blend its ceramic, which its flag goes by."""
    cards = (*check.printed.cards, *check.cards)
    found = next((c.ceramic for c in cards if c.name == zone), None)
    ceramic = found.name if found else zone
    return ceramic if ceramic in check.designed.history.names else zone


def _weighed(check: Check) -> set[str]:
    """Names of the materials of the vessel as designed; others stand in a smear alone."""
    cards = check.cards
    return {card.name for card in cards} | {*pure_cards(cards)}


def _sample(check: Check, name: str) -> Sample:
    """A material of the vessel as designed, or of a smear."""
    return sample(check.designed if name in _weighed(check) else check.printed, name)


def _made(check: Check, green: Green, kind: str, place: Place, flags: list[Flag]) -> Piece:
    """One piece with its forecast."""
    response = check.designed
    if kind == RING:
        return joint_ring(check, green, flags)
    if isinstance(place, int):
        return camber_strip(response, place, flags)
    if isinstance(place, tuple):
        of, partner = (_sample(check, name) for name in place)
        return expansion_bar(response, of, partner, flags)
    if kind == "sag bar":
        return sag_bar(response, _sample(check, place), flags)
    joints = [drawn_joint(check, flag) for flag in flags if flag.zone in _joints(check.printed)]
    beside = [pure_cards(response.cards[n : n + 2]) for n in joints if n is not None]
    other = next((name for two in beside for name in two if name != place), None)
    return shrinkage_bar(
        response, _sample(check, place), flags, _sample(check, other) if other else None
    )


def _apart(check: Check, flag: Flag) -> tuple[str, str]:
    """The two materials of which one contracts against the other where a band cracks."""
    cards = check.cards
    names, shares = [card.name for card in cards], [card.metal_share for card in cards]
    if flag.zone not in names:  # in a smear
        n = _nearest_joint(check, flag)
        return names[n], names[n + 1]
    beside = {
        k
        for n, name in enumerate(names)
        if name == flag.zone
        for k in (n - 1, n + 1)
        if 0 <= k < len(names)
    }
    own = shares[names.index(flag.zone)]
    most = max(sorted(beside), key=lambda k: abs(shares[k] - own), default=None)
    return flag.zone, flag.zone if most is None else names[most]


def _nearest_joint(check: Check, flag: Flag) -> int:
    """The joint as drawn nearest to where a flag has its worst place, or at an end of its band."""
    if (near := drawn_joint(check, flag)) is not None:
        return near
    names = [card.name for card in check.cards]
    return max(names.index(flag.zone) - 1, 0) if flag.zone in names else 0
