"""Test pieces to fire before the vessel: bars, strips and rings, and the fewest that decide.

Bars are printed lying down, their length along the roads and their thickness in layers, as thick
when fired as the vessel's wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from cofire.assessment.firing_rules import DRYING_NO
from cofire.assessment.response import Response, as_solid, fire_vessel, meshed
from cofire.assessment.rule import GO, Flag, joint_name
from cofire.assessment.verdict import Verdict, judge, rule_of
from cofire.design.constraints import LEAST_LAYERS, decay_length
from cofire.design.ladder import LADDER, RING, ladder
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import INSTANT, Trace, trace
from cofire.firing.program import Firing
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.integrator import Control
from cofire.mechanics.tile import fire_tile, fired_sag, layered_tile, sagitta
from cofire.numerics import Array
from cofire.physics.history import History, histories
from cofire.physics.paste import paste_of
from cofire.production.green import Green, green_vessel, kept
from cofire.production.printed_solid import volume_below
from cofire.units import ROOM, celsius
from cofire.vessel import Band, Vessel

# ----------------------------------------------------------------------------------------------
# What a test piece is, and how a bar of one material is printed

COUNT = 2
"""Pieces of each kind: the second tells the scatter. Common practice."""
WIDTH = 0.012
"""Of a fired bar: common practice. [m]"""


@dataclass(frozen=True)
class Reading:
    """Something to measure or look at: what the model expects, and what stops the plan.

    Attributes
    ----------
    what
        To measure.
    value, unit
        As a person reads it; no unit for what is only looked at.
    stop
        What would stop the plan; empty where it only corrects a card.
    """

    what: str
    value: float
    unit: str
    stop: str = ""


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A test piece.

    Attributes
    ----------
    kind, material
        What it is, and of what, from below.
    count
        How many.
    length, width, thickness
        As printed; of a ring its outer diameter, its wall and its height. [m]
    layers
        It is printed in.
    volume
        Of paste for one. [m³]
    readings
        In the order in which they are taken.
    decides
        Rule and zone of the flags it speaks to.
    note
        How to make it, where the sizes do not say.
    """

    kind: str
    material: str
    count: int
    length: float
    width: float
    thickness: float
    layers: int
    volume: float
    readings: tuple[Reading, ...]
    decides: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Sample:
    """A material alone: its card, and its history in the first row."""

    card: Card
    history: History

    @property
    def strains(self) -> tuple[float, float, float]:
        """Natural strains: drying, firing along the road, firing along the height. [-]"""
        h = self.history
        return kept(self.card, float(h.free_strain[0, -1]), float(h.strain["sintering"][0, -1]))


def sample(response: Response, name: str) -> Sample:
    """A material of the vessel, or one that only stands in a blend of it.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    name : str
        Of a band's material or of a part of it.

    Returns
    -------
    Sample
        Its card and history.
    """
    for card, row in zip(response.cards, response.material, strict=True):
        if card.name == name:
            return Sample(card, response.history.rows([row]))
    part = pure_cards(response.cards)[name]
    return Sample(part, histories([part], response.trace, extend=True))


def bar(
    response: Response, of: Sample, kind: str, length: float, readings: tuple[Reading, ...]
) -> Piece:
    """A bar as thick when fired as the wall, of a length as printed.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    kind : str
        Its name.
    length : float
        As printed. [m]
    readings : tuple of Reading
        What to take from it.

    Returns
    -------
    Piece
        In whole layers.
    """
    dry, ring, up = of.strains
    layer = response.vessel.printer.layer
    layers = max(round(wall_of(response) * float(np.exp(-dry - up)) / layer), 1)
    width = WIDTH * float(np.exp(-dry - ring))
    thickness = layers * layer
    return Piece(
        kind=kind,
        material=of.card.name,
        count=COUNT,
        length=length,
        width=width,
        thickness=thickness,
        layers=layers,
        volume=length * width * thickness,
        readings=readings,
    )


def wall_of(response: Response) -> float:
    """Thickest place of the standing wall.

    Returns
    -------
    float
        [m]
    """
    return float(response.fired.wall[~response.fired.lying].max())


# ----------------------------------------------------------------------------------------------
# Bars of one material to fire before the vessel: how long, what to read, what is expected

MARKS = 0.1
"""Distance of the marks on a wet shrinkage bar. [m]"""
DILATOMETER = 0.05
"""Length of a fired expansion bar: common practice. [m]"""
WARM = ROOM + 480.0
"""Expansion is read from room temperature to 500 °C. [K]"""
SPANS = np.array([10, 12, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 120, 150]) / 1e3
"""Spans of a sag bar. [m]"""
SLENDER = 4.0
"""Least span of a sag bar, in its thickness. [-]"""
READABLE = 1e-3
"""Sag that can be read with a caliper to a tenth: common practice. [m]"""
BEAM = 0.1
"""Sag over span up to which a bar counts as a beam. [-]"""


def shrinkage_bar(response: Response, of: Sample, flags: list[Flag]) -> Piece:
    """A bar with two marks: what it loses in drying and firing, and how dense it gets.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    flags : list of Flag
        It is to decide.

    Returns
    -------
    Piece
        Marks 100 mm apart, and 5 mm beyond either.
    """
    dry, ring, up = of.strains
    dried, paste = MARKS * float(np.exp(dry)), paste_of(of.card)
    fired = dried * float(np.exp(ring))
    whole = bar(response, of, "shrinkage bar", MARKS + 0.01, ())
    rules = {flag.rule for flag in flags}
    apart = 1e3 * DRYING_NO * MARKS
    shrunk = float(of.history.mass_fraction[0, -1])
    density = float(of.history.relative_density[0, -1]) * of.card["theoretical_density"].scalar
    readings = [
        Reading(
            "between the marks, dry", 1e3 * dried, "mm",
            f"more than {apart:.1f} mm from the other paste's" if "drying" in rules else "",
        ),
        Reading("mass, dry", 1e3 * paste.dry * whole.volume, "g"),
        Reading(
            "between the marks, fired", 1e3 * fired, "mm",
            f"above {1e3 * dried * _longest(of):.1f} mm: less dense than wanted"
            if "density" in rules else "",
        ),
        Reading("thickness, fired", 1e3 * whole.thickness * float(np.exp(dry + up)), "mm"),
        Reading("mass, fired", 1e3 * paste.dry * whole.volume * shrunk, "g"),
        Reading("bulk density, fired", density, "kg/m³"),
    ]  # fmt: skip
    stops = dict.fromkeys(sign for flag in flags if (sign := rule_of(flag).sign))
    if stops:
        readings.append(Reading("skin, sound and broken face", 0.0, "", "; ".join(stops)))
    return bar(response, of, "shrinkage bar", MARKS + 0.01, tuple(readings))


def _longest(of: Sample) -> float:
    """Fired over dried length at which the least density wanted is just reached."""
    if "least_density" not in of.card:
        return float(np.exp(of.strains[1]))
    h = of.history
    wanted = np.log(of.card["green_density"].scalar / of.card["least_density"].scalar)
    factor = of.card.scalar("height_shrinkage_factor", 1.0)
    other = float(h.free_strain[0, -1] - h.strain["sintering"][0, -1])
    return float(np.exp(wanted / (2.0 + factor) + other))


def mean_expansion(of: Sample) -> tuple[float, float]:
    """Mean expansion of the fired bar from room temperature, as it cools.

    Parameters
    ----------
    of : Sample
        Its material.

    Returns
    -------
    tuple of float
        Coefficient [1/K], and the temperature it reaches up to, 500 °C where the firing does [K].
    """
    h = of.history
    top = min(WARM, float(h.temperature.max()) - 1.0)
    last = int(np.flatnonzero(h.temperature >= top)[-1])
    thermal = h.free_strain[0] - h.strain["sintering"][0]
    ends = slice(last + 1, last - 1, -1) if last > 0 else slice(last + 1, None, -1)
    warm = float(np.interp(top, h.temperature[ends], thermal[ends]))
    change = warm - float(thermal[-1])
    return float(np.expm1(change) / (top - h.temperature[-1])), top


def expansion_bar(response: Response, of: Sample, partner: Sample, flags: list[Flag]) -> Piece:
    """A bar for a dilatometer, and how far its expansion may be from its partner's.

    Stress is taken to grow as the difference of the two expansions: the flag's utilisation then
    says what difference it bears.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of, partner : Sample
        The two materials.
    flags : list of Flag
        It is to decide.

    Returns
    -------
    Piece
        50 mm long when fired.
    """
    dry, ring, _ = of.strains
    own, warm = mean_expansion(of)
    other, _ = mean_expansion(partner)
    worst = max((f.utilisation for f in flags if np.isfinite(f.utilisation)), default=0.0)
    stop = ""
    if worst > 0.0 and partner.card.name != of.card.name:
        stop = (
            f"more than {1e6 * abs(own - other) / worst:.1f} from that of {partner.card.name}, "
            f"for which {1e6 * other:.1f} is expected"
        )
    length = DILATOMETER * float(np.exp(-dry - ring))
    reading = Reading(f"mean expansion, 20 to {celsius(warm):.0f} °C", 1e6 * own, "1e-6/K", stop)
    return bar(response, of, "expansion bar", length, (reading,))


def beyond(span: float) -> float:
    """Length of a fired sag bar beyond either rod, so that it stays up as it bows. [m]

    Parameters
    ----------
    span : float
        Between the rods. [m]
    """
    return 2e-3 + 0.05 * span


def bends_like(thickness: Array, over: Array, span: float) -> Array:
    """Weight of a thin bar without ends that sags as far as one of these does, over its own. [-]

    The ends beyond the rods hold it back, 24/5 (a/L)² (their moment w a²/2 at the rods); shear
    adds 48 E I/(5 κ G A L²) = 2.88 (h/L)², with E = 3 G and κ = 5/6 of the rectangle. Beam theory
    (S. Timoshenko), from memory; both are those of a viscous bar.

    Parameters
    ----------
    thickness, over : array
        h, and a beyond either rod, shape (M,). [m]
    span : float
        L between the rods. [m]
    """
    held = 4.8 * (over / span) ** 2
    shear = 2.88 * (thickness / span) ** 2
    return np.asarray(np.maximum(1.0 - held, 0.0) + shear)


def sag_of(of: Sample, thickness: float, span: float) -> float:
    """Sag of a bar of a material in its firing. [m]

    Parameters
    ----------
    of : Sample
        Its material.
    thickness : float
        As printed. [m]
    span : float
        Between the rods. [m]

    Returns
    -------
    float
        By beam theory; good up to a tenth of the span, from a span of four thicknesses on.
    """
    h = of.history
    dry, ring, up = of.strains
    shrunk = h.free_strain[0] + (up - ring) * _done(h.strain["sintering"][0])
    thick = thickness * np.exp(dry + shrunk)
    length = (span + 2.0 * beyond(span)) * np.exp(h.free_strain[0] - ring)
    weight = of.card["theoretical_density"].scalar * h.relative_density[0]
    weight = weight * bends_like(thick, 0.5 * (length - span), span)
    return fired_sag(
        h.time, weight, h.viscosity[0], h.creep_factor[0], float(h.creep_exponent[0]), thick, span
    )


def _done(sintering: Array) -> Array:
    """Share of the sintering strain reached."""
    end = float(sintering[-1])
    return sintering / end if end != 0.0 else np.zeros_like(sintering)


def sag_bar(response: Response, of: Sample, flags: list[Flag]) -> Piece:
    """A bar across two rods, fired with the vessel: how soft the wall gets.

    The sag grows with the flow of the flag. The span is the shortest at which the sag that just
    uses up the flag's limit can be read, where that is below a tenth of the span.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    flags : list of Flag
        It is to decide; without a utilisation, twice the sag expected is the limit.

    Returns
    -------
    Piece
        A little longer than its span when fired.
    """
    dry, ring, up = of.strains
    thickness = bar(response, of, "sag bar", 0.1, ()).thickness
    worst = max((f.utilisation for f in flags if np.isfinite(f.utilisation)), default=0.5)
    shortest = SLENDER * thickness * float(np.exp(dry + up))
    spans = SPANS[shortest <= SPANS]
    spans = spans if spans.size else SPANS[-1:]
    sags = np.array([sag_of(of, thickness, float(span)) for span in spans])
    limits = sags / worst
    beams = np.flatnonzero(limits < BEAM * spans)
    last = int(beams[-1]) if beams.size else 0
    chosen = min(int(np.searchsorted(limits, READABLE)), last)
    span, sag, limit = float(spans[chosen]), float(sags[chosen]), float(limits[chosen])
    what, most = f"sag between rods {1e3 * span:.0f} mm apart", BEAM * span
    readings = [Reading(what, 1e3 * sag, "mm", f"above {1e3 * limit:.1f} mm")]
    if max(sag, limit) > most:
        readings[0] = Reading(
            what + (", at least" if sag > most else ""), 1e3 * min(sag, most), "mm",
            f"above {1e3 * min(limit, most):.1f} mm",
        )  # fmt: skip
    length = (span + 2.0 * beyond(span)) * float(np.exp(-dry - ring))
    return bar(response, of, "sag bar", length, tuple(readings))


# ----------------------------------------------------------------------------------------------
# Pieces of two materials to fire before the vessel: the strip that bows, the ring that holds

TURN = 0.5
"""Angle through which the strip should bow: enough to read, little enough to stay a strip. [rad]"""
SHORTEST, LONGEST = 0.03, 0.1
"""Of a fired strip: common practice. [m]"""
REACH = 2.0
"""Wall kept on either side of the joints, in decay lengths: the peak of bending lies within. [-]"""
CONFIDENCE = 0.95
SEEN = 0.1
"""Least rise of a strip that a straight edge shows (estimate). [mm]"""


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
    ends = [float(curve.time[int(k)]) for k in curve.breakpoints[1:]]
    here, start = ROOM, 0.0
    for n, segment in enumerate(firing.segments):
        reached = ends.pop(0) if abs(segment.target - here) > 1e-9 else start
        end = ends.pop(0) if segment.hold > INSTANT else reached
        if moment < end:
            kiln = float(np.interp(moment, curve.time, curve.kiln))
            last = replace(segment, target=kiln, hold=max(moment - reached, 0.0))
            still = abs(kiln - here) < 1.0 and moment < reached
            kept = firing.segments[:n] if still else (*firing.segments[:n], last)
            return replace(firing, name=f"{firing.name}, stopped", segments=kept or firing.segments)
        here, start = segment.target, end
    return firing


def camber_strip(response: Response, joint: int, flags: list[Flag]) -> Piece:
    """Strips of the two pastes over each other, half a wall each: how their sintering differs.

    One is fired only as far as the moment that the flag warns of, the other whole. Fired camber is
    that of `structures.tile`; dried, that of two equal layers of one stiffness, 3/2 of the
    difference over the thickness (S. Timoshenko 1925, J. Opt. Soc. Am. 11, 233). The tension of
    the flag and the camber of its moment are taken to grow alike.

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
    half = 0.5 * wall_of(response)
    both = h.rows(rows)
    before = half * np.exp(-both.free_strain[:, -1])  # the wall is given as fired
    whole = _bow(before, both)
    worst = max(flags, key=lambda f: f.utilisation if np.isfinite(f.utilisation) else 0.0)
    curve = response.trace
    moment = worst.time or float(curve.time[-1])
    reached = float(np.interp(moment, curve.time, curve.kiln))
    cut = interrupted(response.vessel.firing, curve, moment)
    short = trace(cut)
    early = _bow(before, histories(list(cards), short, extend=True))
    length = float(np.clip(TURN / max(abs(whole), abs(early), 1e-9), SHORTEST, LONGEST))
    dry, ring, up = np.mean(strains, axis=0)
    layer = response.vessel.printer.layer
    layers = max(2 * round(half * float(np.exp(-dry - up)) / layer), 2)
    wet, wide = length * float(np.exp(-dry - ring)), WIDTH * float(np.exp(-dry - ring))
    thickness = layers * layer
    dried = 1.5 * (strains[1][0] - strains[0][0]) / (thickness * float(np.exp(dry)))
    stop = ""
    if np.isfinite(worst.utilisation) and worst.utilisation > 0.0:
        rise = 1e3 * abs(float(sagitta(early, length))) / worst.utilisation
        stop = f"above {max(rise, SEEN):.1f} mm"
    part = "" if len(curve.stretches) == 1 else f"in part {len(cut.segments)}, "
    stopped = f"stopped {part}with the kiln at {celsius(reached):.0f} °C"
    readings = (
        _camber("dry", dried, wet * float(np.exp(dry)), names, ""),
        _camber(stopped, early, length, names, stop),
        _camber("fired whole", whole, length, names, ""),
        Reading("edge of the strips", 0.0, "", "the layers have parted"),
    )
    return Piece(
        kind="camber strip",
        material=" under ".join(names),
        count=COUNT,
        length=wet,
        width=wide,
        thickness=thickness,
        layers=layers,
        volume=wet * wide * thickness,
        readings=readings,
        note=f"one fired whole, one {stopped}",
    )


def _bow(dried: Array, history: History) -> float:
    """Curvature, when cold, of a strip of two layers of given thickness when dried. [1/m]"""
    control = Control(relative_tolerance=5e-3, stress_tolerance=1e4, follow=0.01)
    strip = layered_tile(dried, [0, 1], wide=False)
    return float(fire_tile(strip, history, control=control).curvature[-1])


def _camber(state: str, curvature: float, length: float, names: list[str], stop: str) -> Reading:
    """Rise of the middle over the ends; the layer that has become the shorter is hollow."""
    shorter = names[0] if curvature > 0.0 else names[1]
    rise = 1e3 * abs(float(sagitta(curvature, length)))
    return Reading(f"camber, {state}, hollow on the side of {shorter}", rise, "mm", stop)


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


def _solid(response: Response) -> Response:
    """The response with its wall as a solid; as a shell where none can be cut."""
    try:
        return as_solid(response)
    except (InputError, ModelError):
        return response


SHARP = ", had every change of paste been sharp"


def joint_ring(response: Response, green: Green, flags: list[Flag]) -> Piece:
    """A ring cut out of the vessel around the joints in doubt: whether they hold.

    It has the vessel's radius, wall and layers, since the energy that parts a joint grows with
    radius and wall. It is fired by the model as the vessel is.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        The vessel's print, of which it is a part.
    flags : list of Flag
        It is to decide.

    Returns
    -------
    Piece
        `length` is the outer diameter, `width` the wall, `thickness` the height.
    """
    ring, low = ring_vessel(response, flags)
    cards = pure_cards(response.cards)
    fired = fire_vessel(ring, cards, extend=bool(response.history.extended))
    own = green_vessel(fired)
    top = float(ring.height[-1])
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
    utilisations = {(f.rule, f.zone): f.utilisation for f in judge(_solid(fired)).flags}
    carried = [
        f"{f.rule} {utilisations[f.rule, f.zone]:.2g} for {f.utilisation:.2g}"
        for f in flags
        if np.isfinite(utilisations.get((f.rule, f.zone), np.nan)) and np.isfinite(f.utilisation)
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
    note = f"layers {first + 1} to {last} of the vessel"
    if carried:
        smeared = response.vessel.printer.given  # as printed, both carry less
        note += f"; utilisations of the ring for those of the vessel{SHARP if smeared else ''}: "
        note += ", ".join(carried)
    return Piece(
        kind="joint ring",
        material=" | ".join(c.name for c in fired.cards),
        count=COUNT,
        length=2.0 * float(green.wall.outside[within].max()),
        width=float(green.wall.width[within].max()),
        thickness=float(z[1] - z[0]),
        layers=last - first,
        volume=float(np.diff(volume_below(green.wall, z))[0]),
        readings=tuple(readings),
        note=note,
    )


# ----------------------------------------------------------------------------------------------
# Which test pieces to fire before the vessel: the fewest that speak to its riskiest flags


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


def ladder_of_rings(response: Response) -> list[Piece]:
    """Rings of the vessel's joint in several sizes: they tell how far a rule is from what breaks.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.

    Returns
    -------
    list of Piece
        One, which stands for all rungs; its sizes are those of the largest, as printed.
    """
    rungs = ladder(response, pure_cards(response.cards))
    if not rungs:
        return []
    joint = response.material[:2]
    strains = [
        Sample(c, response.history.rows([row])).strains
        for c, row in zip(response.cards[:2], joint, strict=True)
    ]
    dry, ring, up = np.mean(strains, axis=0)
    wider, taller = float(np.exp(-dry - ring)), float(np.exp(-dry - up))
    sizes, told = [], []
    for rung in rungs:
        v = rung.vessel
        outer, wall = 2.0 * float(v.radius[0] + 0.5 * v.wall[0]), float(v.wall[0])
        sizes.append((outer * wider, wall * wider, float(v.height[-1]) * taller))
        told.append(
            f"{1e3 * sizes[-1][0]:.1f} mm wide, wall {1e3 * sizes[-1][1]:.2f} mm, "
            f"{1e3 * sizes[-1][2]:.1f} mm high (rung {rung.size:.2f}, utilisation "
            f"{rung.utilisation:.2g})"
        )
    length, width, height = sizes[-1]
    layers = max(round(height / response.vessel.printer.layer), 1)
    last = rungs[-1]
    paste = sum(r.paste for r in rungs) * wider**2 * taller / len(rungs)
    note = (
        f"⌀ {', '.join(f'{1e3 * size[0]:.0f}' for size in sizes)} mm, all in proportion; "
        f"one of each, as printed: {'; '.join(told)}. Put down what came of each with "
        f"'cofire record add --piece \"{last.name}\" --outcome sound' (or cracked, debonded), then "
        "run "
        "'cofire check --uncertainty --record'"
    )
    reading = Reading("which rings parted", 0.0, "")
    return [
        Piece(
            kind=LADDER, material=" | ".join(c.name for c in response.cards), count=len(rungs),
            length=length, width=width, thickness=height, layers=layers, volume=paste,
            readings=(reading,), note=note,
        )
    ]  # fmt: skip


def _places(response: Response, kind: str, flag: Flag) -> Sequence[str | int]:
    """Material, or number of the joint, of each piece of a kind that speaks to a flag."""
    joints = _joints(response)
    if kind == "joint ring":
        return [""] if joints else []
    if kind == "camber strip":
        return [_nearest_joint(response, flag)] if joints else []
    if kind == "shrinkage bar" and flag.zone in joints:
        n = joints.index(flag.zone)
        return [card.name for card in response.cards[n : n + 2]]
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
