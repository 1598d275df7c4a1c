"""Pieces of two materials to fire before the vessel: the strip that bows, the ring that holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.firing import Firing
from cofire.inputs.trace import trace
from cofire.inputs.units import celsius
from cofire.inputs.vessel import Band, Vessel
from cofire.physics.history import History, histories
from cofire.planning.flags import Flag
from cofire.planning.printing.green import Green, green_vessel
from cofire.planning.printing.green_solid import volume_below
from cofire.planning.printing.pieces import COUNT, WIDTH, Piece, Reading, Sample, wall_of
from cofire.planning.proposals.limits import LEAST_LAYERS, decay_length
from cofire.planning.ware.response import Response, fire_vessel
from cofire.planning.ware.verdict import judge
from cofire.structures.marching import Control
from cofire.structures.tile import fire_tile, layered_tile, sagitta

Array = NDArray[np.float64]

TURN = 0.5
"""Angle through which the strip should bow: enough to read, little enough to stay a strip. [rad]"""
SHORTEST, LONGEST = 0.03, 0.1
"""Of a fired strip: common practice. [m]"""
REACH = 2.0
"""Wall kept on either side of the joints, in decay lengths: the peak of bending lies within. [-]"""
CONFIDENCE = 0.95


def interrupted(firing: Firing, temperature: float) -> Firing:
    """The firing stopped, and left to cool, when its kiln first reaches a temperature.

    Parameters
    ----------
    firing : Firing
        The firing.
    temperature : float
        Of the kiln. [K]

    Returns
    -------
    Firing
        The firing itself where it never gets there.
    """
    for n, segment in enumerate(firing.segments):
        if segment.target > temperature + 1.0:
            last = replace(segment, target=temperature, hold=0.0)
            return replace(
                firing, name=f"{firing.name}, stopped", segments=(*firing.segments[:n], last)
            )
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
    whole = _bow(half, h.rows(rows))
    worst = max(flags, key=lambda f: f.load if np.isfinite(f.load) else 0.0)
    curve = response.trace
    reached = float(np.interp(worst.time or curve.time[-1], curve.time, curve.kiln))
    short = trace(interrupted(response.vessel.firing, reached))
    early = _bow(half, histories(list(cards), short, extend=True))
    length = float(np.clip(TURN / max(abs(whole), abs(early), 1e-9), SHORTEST, LONGEST))
    dry, ring, up = np.mean(strains, axis=0)
    layer = response.vessel.printer.layer
    layers = max(2 * round(half * float(np.exp(-dry - up)) / layer), 2)
    wet, wide = length * float(np.exp(-dry - ring)), WIDTH * float(np.exp(-dry - ring))
    thickness = layers * layer
    dried = 1.5 * (strains[1][0] - strains[0][0]) / (thickness * float(np.exp(dry)))
    stop = ""
    if np.isfinite(worst.load) and worst.load > 0.0:
        rise = 1e3 * abs(float(sagitta(early, length))) / worst.load
        stop = f"above {rise:.1f} mm"
    stopped = f"stopped with the kiln at {celsius(reached):.0f} °C"
    readings = (
        _camber("dry", dried, wet * float(np.exp(dry)), names, ""),
        _camber(stopped, early, length, names, stop),
        _camber("fired whole", whole, length, names, ""),
        Reading("edge of the strips", 0.0, "", "the layers have parted"),
    )
    return Piece(
        "camber strip", " under ".join(names), COUNT, wet, wide, thickness, layers,
        wet * wide * thickness, readings, note=f"one fired whole, one {stopped}",
    )  # fmt: skip


def _bow(half: float, history: History) -> float:
    """Curvature, when cold, of a strip of two layers of one thickness. [1/m]"""
    control = Control(relative_tolerance=5e-3, stress_tolerance=1e4)
    strip = layered_tile([half, half], [0, 1], wide=False)
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
    vessel, mesh = response.vessel, response.shell.meridian
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
    """Chance of failure that a number of pieces, all sound, cannot rule out.

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
    cards = {p.name: p for c in response.cards for p, _ in (c.parts or ((c, 1.0),))}
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
    loads = {(f.rule, f.zone): f.load for f in judge(fired).flags}
    carried = [
        f"{f.rule} {loads[f.rule, f.zone]:.2g} for {f.load:.2g}"
        for f in flags
        if np.isfinite(loads.get((f.rule, f.zone), np.nan)) and np.isfinite(f.load)
    ]
    chance = 100.0 * still_possible(COUNT)
    readings.append(
        Reading(
            "skin, sound, and dye drawn in at the joint", 0.0, "",
            f"a crack or a dull sound in either; {COUNT} sound ones still leave up to "
            f"{chance:.0f} % chance of a crack (95 % confidence)",
        )
    )  # fmt: skip
    ends = np.interp([low, low + top], green.fired.height, green.wall.height)
    first, last = (round(float(z) / green.layer) for z in ends)
    z = green.layer * np.array([first, last])
    within = (green.wall.height >= z[0]) & (green.wall.height <= z[1])
    note = f"layers {first + 1} to {last} of the vessel"
    if carried:
        note += f"; loads of the ring for those of the vessel: {', '.join(carried)}"
    return Piece(
        "joint ring", " | ".join(c.name for c in fired.cards), COUNT,
        2.0 * float(green.wall.outside[within].max()), float(green.wall.width[within].max()),
        float(z[1] - z[0]), last - first, float(np.diff(volume_below(green.wall, z))[0]),
        tuple(readings), note=note,
    )  # fmt: skip
