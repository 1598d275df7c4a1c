"""Pieces of two materials to fire first: strips that bow, rings that hold, ladders of rings."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.assessment.check import Check
from cofire.assessment.printed import FINEST
from cofire.assessment.response import Response, fire_vessel, meshed, solid_or_shell
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import judge
from cofire.design.constraints import LEAST_LAYERS
from cofire.design.fired_size import decay_length
from cofire.design.ladder import LADDER, bracketed, by_ring, by_rule, ladder
from cofire.fields import RECORD_FILE
from cofire.firing.controller import at_kiln
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing
from cofire.materials.card import pure_cards
from cofire.mechanics.integrator import Control
from cofire.mechanics.tile import fire_tile, layered_tile, sagitta
from cofire.numerics import Array
from cofire.physics.changeover import volume_for_share
from cofire.physics.history import History, histories
from cofire.production.bars import TENTH, most_used, readable_limit
from cofire.production.changeovers import DONE, run_outs
from cofire.production.green import Green, band_strains, green_vessel
from cofire.production.paste import feed_fill
from cofire.production.piece import (
    COUNT,
    WIDTH,
    Piece,
    Reading,
    Sample,
    as_dried,
    decided,
    fitting,
    wall_of,
)
from cofire.production.printed_solid import volume_below
from cofire.vessel import Band, Printer, Vessel

TURN = 0.5
"""Angle through which the strip should bow: enough to read, little enough to stay a strip. [rad]"""
SHORTEST, LONGEST = 0.03, 0.1
"""Of a fired strip: common practice. [m]"""
REACH = 2.0
"""Wall kept on either side of the joints, in decay lengths: the peak of bending lies within. [-]"""
CONFIDENCE = 0.95


def interrupted(firing: Firing, curve: Trace, moment: float) -> Firing:
    """The firing stopped, and left to cool, at a moment.

    A kiln that heats twice passes a temperature twice: it is the moment that counts.

    Parameters
    ----------
    firing : Firing
        The firing.
    curve : Trace
        As it goes.
    moment : float
        Since it was lit. [s]

    Returns
    -------
    Firing
        The firing itself where the kiln is off by then, or has only just been lit.
    """
    for n, (segment, nodes) in enumerate(zip(firing.segments, curve.segments, strict=True)):
        start, reached, end = (float(curve.time[k]) for k in nodes)
        if moment < end:
            kiln, here = (float(np.interp(t, curve.time, curve.kiln)) for t in (moment, start))
            last = replace(segment, target=kiln, hold=max(moment - reached, 0.0))
            still = abs(kiln - here) < 1.0 and moment < reached
            kept = firing.segments[:n] if still else (*firing.segments[:n], last)
            return replace(firing, name=f"{firing.name}, stopped", segments=kept or firing.segments)
    return firing


def camber_strip(response: Response, joint: int, flags: list[Flag]) -> Piece:
    """Strips of the two pastes over each other, half a wall each: how their sintering differs.

    Half a wall is laid in whole layers, and the camber is that of these.

    One is fired only as far as the moment that the flag warns of, the other whole. The camber that
    the firing adds is that of `mechanics.tile`; dried, that of two equal layers of one stiffness,
    3/2 of the difference over the thickness (S. Timoshenko 1925, J. Opt. Soc. Am. 11, 233), which
    shrinks with the strip. Both are expected as the change since it was dry, so that how pastes
    dried is no sign of how they sinter. The tension of the flag and the change up to its moment are
    taken to grow alike; no stop is told where what uses up its limit is less than can be read.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    joint : int
        Index of the step between the pair. [-]
    flags : list of Flag
        It is to decide.

    Returns
    -------
    Piece
        Its first material lies below.
    """
    h, rows = response.history, response.material[joint : joint + 2]
    cards = response.cards[joint : joint + 2]
    strains = [Sample(c, h.rows([row])).strains for c, row in zip(cards, rows, strict=True)]
    names = [card.name for card in cards]
    dry, ring, up = np.mean(strains, axis=0)
    layer, both = response.vessel.printer.layer, h.rows(rows)
    half = 0.5 * wall_of(response) * float(np.exp(-dry - up))  # the wall is given as fired
    layers = 2 * max(round(half / layer), 1)
    thickness = layers * layer
    before = 0.5 * thickness * np.exp([strain[0] for strain in strains])
    dried = 1.5 * (strains[1][0] - strains[0][0]) / (thickness * float(np.exp(dry)))
    worst = max(flags, key=lambda f: f.utilisation if np.isfinite(f.utilisation) else 0.0)
    curve = response.trace
    moment = worst.time or float(curve.time[-1])
    reached = float(np.interp(moment, curve.time, curve.kiln))
    cut = interrupted(response.vessel.firing, curve, moment)
    short = trace(cut)
    until = histories(list(cards), short, extend=True)
    shrunk = np.array([0.0, until.free_strain[:, -1].mean(), ring])  # dry, stopped, whole
    bows = dried * np.exp(-shrunk) + np.array([0.0, _bow(before, until), _bow(before, both)])
    most = max(float(np.abs(bows).max()), 1e-9)
    wider = float(np.exp(-dry - ring))
    fired, wide = float(np.clip(TURN / most, SHORTEST, LONGEST)), WIDTH * wider
    dries = as_dried(cards)
    wet = fitting(response.vessel.firing, fired * wider, SHORTEST * wider, wide, thickness, dries)
    lengths = (wet * np.exp(dry + shrunk)).tolist()
    rises = [1e3 * float(sagitta(bow, x)) for bow, x in zip(bows, lengths, strict=True)]
    early, whole = rises[1] - rises[0], rises[2] - rises[0]
    used = most_used(flags)
    limit = readable_limit(early, 0.0, used) if abs(early) >= TENTH * used else 0.0
    stop = f"above {limit:.1f} mm" if limit else ""
    part = "" if len(curve.stretches) == 1 else f"in part {len(cut.segments)}, "
    stopped = f"stopped {part}with the kiln at {at_kiln(cut.kiln.controller, reached)}"
    out = _passes(response.vessel.printer)
    readings = (
        _camber("camber, dry, hollow", rises[0], names, ""),
        _camber(f"change of camber since dry, {stopped}, towards hollow", early, names, stop),
        _camber("change of camber since dry, fired whole, towards hollow", whole, names, ""),
        Reading("edge of the strips", 0.0, "", "the layers have parted"),
    )
    return Piece(
        kind="camber strip",
        material=" under ".join(names),
        count=COUNT,
        length=wet,
        width=wide,
        thickness=thickness,
        dries=dries,
        layers=layers,
        pastes=tuple((name, 0.5 * wet * wide * thickness) for name in names),
        beside=tuple((name, out) for name in names),
        readings=readings,
        note=f"{_purged(out, names[0])}, lay the lower half of all, change, run {1e6 * out:.1f} ml "
        f"out beside them, lay the upper, one fired whole, one {stopped}; a change is from the "
        "strip's own camber when dry, both added where the hollow has changed sides",
    )


def _passes(printer: Printer) -> float:
    """What runs out from a change of paste until the nozzle gives the new one. [m³]"""
    return float(volume_for_share(DONE, printer.dead_volume, printer.tanks))


def _purged(out: float, paste: str) -> str:
    """What to do first where the feed may hold another paste than a piece begins with."""
    return f"run {1e6 * out:.1f} ml of {paste} out first"


def _bow(dried: Array, history: History) -> float:
    """Curvature, when cold, of a strip of two layers of given thickness when dried. [1/m]"""
    control = Control(relative_tolerance=5e-3, stress_tolerance=1e4, follow=0.01)
    strip = layered_tile(dried, [0, 1], wide=False)
    return float(fire_tile(strip, history, control=control).curvature[-1])


def _camber(what: str, rise: float, names: list[str], stop: str) -> Reading:
    """Rise of the middle over the ends, positive where the lower layer is hollow. [mm]"""
    shorter = names[0] if rise > 0.0 else names[1]
    return Reading(f"{what} on the side of {shorter}", abs(rise), "mm", stop)


def ring_vessel(response: Response, flags: Sequence[Flag] = ()) -> tuple[Vessel, float]:
    """The vessel's wall from two decay lengths below the joints in doubt to two above, or its ends.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.
    flags : sequence of Flag, optional
        Whose places are in doubt; by default every joint is.

    Returns
    -------
    tuple of Vessel and float
        In the fired size, and the height of its foot in the vessel. [m]
    """
    vessel = response.vessel
    mesh = meshed(vessel, raised=False)
    wall = mesh.nodes[~mesh.lying]
    nodes = np.arange(wall[0, 0], wall[-1, 2] + 1)
    r, z, h = (values[nodes] for values in (mesh.radius, mesh.height, mesh.wall))
    first, last = _in_doubt(vessel, flags)
    low = _clear(vessel, first - REACH * decay_length(vessel, first), first)
    high = _clear(vessel, last + REACH * decay_length(vessel, last), last)
    inner = (z > low + 1e-5) & (z < high - 1e-5)
    place = np.concatenate([[low], z[inner], [high]])
    bands = tuple(
        Band(b.material, max(b.low, low) - low, min(b.high, high) - low)
        for b in vessel.bands
        if b.low < high and b.high > low
    )
    ring = replace(
        vessel, name=f"joint ring of {vessel.name}", radius=np.interp(place, z, r),
        height=place - low, wall=np.interp(place, z, h), corners=(), bands=bands,
    )  # fmt: skip
    return ring, low


def _in_doubt(vessel: Vessel, flags: Sequence[Flag]) -> tuple[float, float]:
    """Heights of the lowest and of the highest joint that flags are about, or of all. [m]"""
    steps = np.asarray(vessel.steps)
    heights = [flag.height for flag in flags if flag.height is not None]
    near = [float(steps[np.argmin(np.abs(steps - height))]) for height in heights]
    return min(near, default=float(steps[0])), max(near, default=float(steps[-1]))


def _clear(vessel: Vessel, cut: float, joint: float) -> float:
    """A cut within the vessel, moved towards its joint where it would leave a sliver of a band."""
    cut = min(max(cut, 0.0), float(vessel.height[-1]))
    sliver = LEAST_LAYERS * vessel.printer.layer
    toward = np.sign(joint - cut) * (np.asarray(vessel.steps) - cut)
    near = np.flatnonzero((toward > 0.0) & (toward < sliver))
    return float(vessel.steps[near[0]]) if near.size and abs(joint - cut) > sliver else cut


def still_possible(count: int) -> float:
    """Probability of failure that a number of pieces, all sound, cannot rule out.

    1 − (1 − confidence)^(1/n), the exact one-sided bound for no failure in n trials at 95 %
    confidence (C. J. Clopper & E. S. Pearson 1934, Biometrika 26, 404).

    Parameters
    ----------
    count : int
        Pieces. [-]

    Returns
    -------
    float
        [-]
    """
    return float(1.0 - (1.0 - CONFIDENCE) ** (1.0 / count))


def _laid(vessel: Vessel, low: float, high: float) -> tuple[Band, ...]:
    """What is laid of a vessel between two heights; no band of a smear is cut lower than they are.

    Heights count from the lower one.
    """
    inside = [b for b in vessel.bands if b.low < high and b.high > low]
    least = FINEST * float(vessel.wall.max())
    for end in (0, -1):
        cut = min(inside[end].high, high) - max(inside[end].low, low)
        if len(inside) > 1 and vessel.printer.given and cut < least:
            del inside[end]
    ends = [low, *(b.high for b in inside[:-1]), high]
    return tuple(
        _cut(b, below, above, low) for b, (below, above) in zip(inside, pairwise(ends), strict=True)
    )


def _cut(band: Band, below: float, above: float, start: float) -> Band:
    """A band from one height to another, both counted from a start; its ends are drawn on."""
    heights, shares = zip(*band.fade, strict=True) if band.fade else ((), ())
    places = [below, *(z for z in heights if below < z < above), above]
    fade = [(z - start, float(np.interp(z, heights, shares))) for z in places if heights]
    return Band(band.material, below - start, above - start, tuple(fade))


def joint_ring(check: Check, green: Green, flags: list[Flag]) -> Piece:
    """A ring cut out of the vessel around the joints in doubt: whether they hold.

    It has the vessel's radius, wall and layers, since the energy that parts a joint grows with
    radius and wall, and its changes of paste, each as far below its joint. It is fired by the model
    as the vessel is.

    Parameters
    ----------
    check : Check
        Of the vessel.
    green : Green
        The vessel's print, of which it is a part.
    flags : list of Flag
        It is to decide: the worst of each rule, of the vessel as it will be printed.

    Returns
    -------
    Piece
        `length` is the outer diameter, `width` the wall, `thickness` the height.
    """
    response, laid = check.designed, check.printed
    ring, low = ring_vessel(response, flags)
    top = float(ring.height[-1])
    cards, extend = pure_cards(response.cards), bool(response.history.extended)
    whole = replace(ring, bands=_laid(laid.vessel, low, low + top))
    fired = fire_vessel(whole, cards, extend=extend)
    named = {b.material: c for b, c in zip(response.vessel.bands, response.cards, strict=True)}
    pastes = tuple(named[band.material] for band in ring.bands)
    own = green_vessel(fired, replace(fired, vessel=ring, cards=pastes))
    steps = [float(s) for s in ring.steps]
    places = {"foot": 0.0, "lowest joint": steps[0], "highest joint": steps[-1], "rim": top}
    if len(steps) == 1:
        places = {"foot": 0.0, "joint": steps[0], "rim": top}
    readings = []
    for name, at in places.items():
        # printed as a part of the vessel, it shrinks as a ring with free ends
        change = own.fired.at(own.ring, at) - green.fired.at(green.ring, low + at)
        outer = float(green.fired.at(green.fired.outside, low + at) * np.exp(change))
        readings.append(Reading(f"outer diameter at the {name}, fired", 2e3 * outer, "mm"))
    by = laid.fired.structure  # the ring is judged as the flags of the vessel are
    judged = solid_or_shell(fired)[0] if by == "solid" else fired
    verdict = judge(judged)
    known = {f.rule for f in verdict.flags if np.isfinite(f.utilisation)}
    largest = by_rule(verdict)
    carried = [
        f"{f.rule} {largest[f.rule]:.2g} for {f.utilisation:.2g}"
        for f in flags
        if f.rule in known and np.isfinite(f.utilisation)
    ]
    probability = 100.0 * still_possible(COUNT)
    readings.append(
        Reading(
            "skin, sound, and dye drawn in at the joint", 0.0, "",
            f"a crack or a dull sound in either; {COUNT} sound ones still leave up to "
            f"{probability:.0f} % probability of a crack (95 % confidence)",
        )
    )  # fmt: skip
    ends = np.interp([low, low + top], green.fired.height, green.wall.height)
    first, last = (round(float(z) / green.layer) for z in ends)
    z = green.layer * np.array([first, last])
    within = (green.wall.height >= z[0]) & (green.wall.height <= z[1])
    joints = [float(edge) for edge in green.wall.edges[1:-1] if z[0] < edge < z[1]]
    note = f"layers {first + 1} to {last} of the vessel"
    printer = response.vessel.printer
    note += _changes(green, printer, float(z[0]), joints)
    out = _passes(printer)
    note += f", for each {_purged(out, pastes[0].name)}"
    if carried:
        how = f"both as a {by}"
        if judged.fired.structure != by:
            how = f"the ring as a {judged.fired.structure}, the vessel as a {by}"
        note += f"; utilisations of the ring for those of the vessel, {how}: {', '.join(carried)}"
    stands = np.diff(volume_below(green.wall, [z[0], *joints, z[1]]))
    fill = COUNT * feed_fill(stands, printer, out)
    return Piece(
        kind="joint ring",
        material=" | ".join(c.name for c in pastes),
        count=COUNT,
        length=2.0 * float(green.wall.outside[within].max()),
        width=float(green.wall.width[within].max()),
        thickness=float(z[1] - z[0]),
        dries=as_dried(pastes),
        layers=last - first,
        pastes=tuple((c.name, float(v)) for c, v in zip(pastes, stands, strict=True)),
        beside=tuple((c.name, float(v)) for c, v in zip(pastes, fill, strict=True)),
        readings=tuple(readings),
        note=note,
    )


def _changes(green: Green, printer: Printer, foot: float, joints: Sequence[float]) -> str:
    """Where the joints of a ring of the print lie in it, and when to change for each."""
    half = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
    moments = volume_below(green.wall, joints) - volume_below(green.wall, foot) - half
    after = ", ".join(
        f"{1e6 * moment:.2f} ml" if moment >= 0.0 else f"0 ml ({1e6 * out:.2f} ml run out first)"
        for moment, out in zip(moments, run_outs(moments), strict=True)
    )
    layers = ", ".join(f"{round((joint - foot) / green.layer)}" for joint in joints)
    return f", joint above layer {layers} of it, change after {after}"


def _quoted(name: str) -> str:
    """A name as one word of a command line, in the quotation marks that every shell knows."""
    return shlex.quote(name) if set(name) & set('"$`\\!') else f'"{name}"'


def ladder_of_rings(response: Response, layer: float, flags: Sequence[Flag]) -> list[Piece]:
    """Rings of the vessel's joint in several sizes: they tell how far a rule is from what breaks.

    A change of paste takes the same volume in a small ring as in a large one and would leave the
    small ones without a joint: theirs are sharp, each change run out beside them. So they are
    forecast, so they are to be printed, and so they are fired again to learn from what came of
    them.

    Parameters
    ----------
    response : Response
        From `fire_vessel`, with the joints as drawn; at least one.
    layer : float
        Height of layer of the print. [m]
    flags : sequence of Flag
        In doubt.

    Returns
    -------
    list of Piece
        One, which stands for all rungs: a reading tells each; its own sizes are those of the
        largest, as printed. None where
        no size of ring is expected to keep, or none to break, the rule of any of the flags.
    """
    sized = [flag for flag in flags if by_ring(flag)]
    rungs = ladder(response, pure_cards(response.cards)) if sized else []
    decides = decided(bracketed(rungs, sized))
    if not decides:
        return []
    bands = zip(response.vessel.bands, response.cards, band_strains(response), strict=True)
    named = {band.material: (card.name, strain) for band, card, strain in bands}
    printer, readings, used = response.vessel.printer, [], []
    pastes: dict[str, float] = {}
    for rung in rungs:
        v = rung.vessel
        names, strains = zip(*(named[band.material] for band in v.bands), strict=True)
        dry, ring, up = np.transpose(strains)
        wider = float(np.exp(-(dry + ring).mean()))
        rises = np.diff([0.0, *v.steps, v.height[-1]]) * np.exp(-dry - up)
        tops = [max(round(float(z) / layer), 1) for z in np.cumsum(rises)]
        radius, width = wider * float(v.radius[0]), wider * float(v.wall[0])
        length, layers = 2.0 * radius + width, tops[-1]
        for name, count in zip(names, np.diff([0, *tops]), strict=True):
            paste = 2.0 * np.pi * radius * width * layer * float(count)
            pastes[name] = pastes.get(name, 0.0) + paste
        size = f"{1e3 * length:.1f} × {1e3 * width:.2f} mm"
        what = f"rung {rung.size:.2f}: {size}, to layer {', '.join(map(str, tops))}"
        readings.append(Reading(what, 0.0, ""))
        used.append(f"rung {rung.size:.2f} {rung.utilisation:.2g}")
    out = _passes(printer)
    note = (
        f"⌀ × wall, last layer of each paste, joints sharp: {_purged(out, names[0])}, lay the "
        f"lowest of all, change, run {1e6 * out:.1f} ml out beside them, lay the next. Note which "
        "part when fired"
        f"; utilisations as a shell: {', '.join(used)}. Put down what came "
        f"of each with 'cofire record add --piece {_quoted(rungs[-1].name)} --outcome sound "
        f"--record {RECORD_FILE}' (or cracked, debonded), then run 'cofire check VESSEL "
        f"--uncertainty --record {RECORD_FILE}', VESSEL being this vessel's file"
    )
    return [
        Piece(
            kind=LADDER, material=" | ".join(c.name for c in response.cards), count=len(rungs),
            length=length, width=width, thickness=layers * layer, layers=layers,
            dries=as_dried(response.cards),
            pastes=tuple((name, volume / len(rungs)) for name, volume in pastes.items()),
            beside=tuple((name, out) for name in names),
            readings=tuple(readings), decides=decides, note=note,
        )
    ]  # fmt: skip
