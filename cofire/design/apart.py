"""The zones printed apart, one standing free on the other in the same firing: no joint at all.

What is not joined cannot pull: each zone shrinks and cools as it likes, and the upper one slides on
the lower. What is left to ask is whether it still stands on it at every moment, what friction pulls
while both are brown, how the lower part bears the upper, and what needs no neighbour at all:
window, gas, burnout. Sag is that of both as they are written, the upper part's whole weight on the
lower. What the two do to each other where they touch (a liquid, a reaction) is asked as if they
were joined, on the safe side, though a wash lies between. The price is a vessel of two pieces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np

from cofire.assessment import verdict as table
from cofire.assessment.brown_rules import BROWN, BROWN_CAUTION, UNMEASURED, borne_strain
from cofire.assessment.check import Check
from cofire.assessment.cracks import SINTERED
from cofire.assessment.firing_rules import DRYING, SAG, SLUMP
from cofire.assessment.response import Response
from cofire.assessment.rule import SHAPE, STRESS, Flag, Rule
from cofire.assessment.verdict import Verdict, rule_of, worst_first
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.fired_size import decay_length
from cofire.design.objective import Chances, Outcome, Sample, chances, draw, load_of
from cofire.design.transition import Layout
from cofire.errors import CofireError, ModelError
from cofire.files import LONGEST_NAME
from cofire.materials.card import Card
from cofire.numerics import Array, chord_lengths
from cofire.physics.history import Along, History
from cofire.units import GRAVITY
from cofire.vessel import Band, Vessel, curve_through
from cofire.workers import each

if TYPE_CHECKING:
    from cofire.mechanics.shell_firing import ShellFiring

FRICTION = 0.6
"""Of dry ware on a wash of alumina: estimate; dry mineral on mineral has 0.4 to 0.8 (from memory).
[-]"""
BEARS = 0.5
"""Of the drawn wall, at least so much of the upper part has the lower one under it at any moment:
our choice. Of an upper wall made thicker it is less: no thickness lets half of that bear where the
slides both ways come to more than the drawn wall. [-]"""
FURTHEST = 0.95
"""Quantile of the furthest slide over the samples that the wall is made for. [-]"""
STEP = 1e-4
"""To which a wall made thicker is rounded up. [m]"""
POINTS = 40
"""Of a curved profile's part, besides its own. [-]"""
WORTH = 0.03
"""Gain of the chance below which it is not offered: our choice. [-]"""
ROLES = ("lower part, to carry the upper", "upper part, to stand free on the lower")
"""What each is called after the vessel's name: the head of its sheet."""
SEED = 5
"""Of its samples: none that a search has seen. [-]"""


@dataclass(frozen=True)
class Apart:
    """A vessel whose zones are printed apart and seated free, one on the other.

    Attributes
    ----------
    at
        Height where they meet. [m]
    lower, upper
        Each a vessel of one paste that stands at height 0, in the proposal's firing.
    checks
        Of lower and upper, each on a solid of its own.
    verdict
        Of both together: stress and wall of each alone, friction between them, sag and slump of the
        two as they stand on each other, and what they do to each other as if joined.
    friction
        Flags of what friction pulls, lower and upper; also in the verdict.
    inwards, outwards
        Furthest that the lower part's top moves under the upper one's foot, against where it is to
        be after firing: at the cards as they stand, and what nineteen in twenty draws stay within.
        [m]
    moment
        Temperature of the ware at the furthest slide. [K]
    thicker
        By how much the shorter part's wall is thicker than drawn, inwards and outwards, so that
        half of the drawn wall always bears. [m]
    before, after
        Of the proposal, put right by its solid, and of the parts.
    """

    at: float
    lower: Vessel
    upper: Vessel
    checks: tuple[Check, Check]
    verdict: Verdict
    friction: tuple[Flag, Flag]
    inwards: tuple[float, float]
    outwards: tuple[float, float]
    moment: float
    thicker: tuple[float, float]
    before: Outcome
    after: Outcome


def propose_apart(
    bench: Bench,
    vessel: Vessel,
    drawn: Layout,
    before: Outcome,
    check: Callable[[Vessel], Check],
    samples: int,
) -> Apart | None:
    """The zones apart, in the proposal's firing, where that keeps enough more pots.

    Parameters
    ----------
    bench : Bench
        With the cards as they stand.
    vessel : Vessel
        The proposal, in its firing.
    drawn : Layout
        Transition of the vessel as given: the parts meet at its middle, as nothing asks otherwise.
    before : Outcome
        Of the proposal, over samples.
    check : callable
        Gives the check of a vessel.
    samples : int
        Over which the parts are asked. [-]

    Returns
    -------
    Apart or None
        None where it keeps less than `WORTH` more, at two joints, or where a part cannot be fired.
    """
    if drawn.upper is not None:
        return None
    metal, ceramic, below = bench.zones(vessel)
    lower, upper = (metal, ceramic) if below else (ceramic, metal)
    rough, at = replace(bench.on(ROUGH), ratios={}), drawn.middle
    ways = draw(rough, vessel, samples, SEED)
    try:
        now = slide(rough, vessel, (lower, upper), at)
        others = [slide(s.bench, s.vessel(vessel), (lower, upper), at, now.printed) for s in ways]
    except CofireError:
        return None
    inwards = now.inwards, float(np.quantile([one.inwards for one in others], FURTHEST))
    outwards = now.outwards, float(np.quantile([one.outwards for one in others], FURTHEST))
    wall = float(np.interp(at, vessel.height, vessel.wall))
    thicker = thickened(wall, max(inwards), max(outwards), at <= 0.5 * float(vessel.height[-1]))
    parts = seated(vessel, at, (lower.name, upper.name), thicker)
    try:
        checks = check(parts[0]), check(parts[1])
        own = _flags(rough, parts, checks)
    except CofireError:
        return None
    if own is None:
        return None
    flags, friction = own
    after = _over(rough, ways, parts, ceramic.name, flags)
    if not after.chance >= before.chance + WORTH:
        return None
    return Apart(
        at, *parts, checks, worst_first(flags), friction, inwards, outwards, now.moment, thicker,
        before, after,
    )  # fmt: skip


@dataclass(frozen=True)
class Slide:
    """How far the lower part's top moves under the upper one's foot.

    Attributes
    ----------
    inwards, outwards
        Furthest either way, against where they meet after firing. [m]
    moment
        Temperature of the ware at the further of the two. [K]
    printed
        Of lower and upper: natural strain from its dried size to the fired one that its print was
        scaled for. [-]
    """

    inwards: float
    outwards: float
    moment: float
    printed: tuple[float, float]


def slide(
    bench: Bench,
    vessel: Vessel,
    cards: tuple[Card, Card],
    at: float,
    printed: tuple[float, float] | None = None,
) -> Slide:
    """How far two rings of one radius slide past each other in a firing.

    A ring that is not held has the radius R exp(e − e₁), e being its free natural strain from the
    dried size and e₁ that at the end for which its print was scaled.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        With its firing.
    cards : tuple of Card
        Of the lower and the upper part.
    at : float
        Height where they meet. [m]
    printed : tuple of float, optional
        What the prints were scaled for; by default what comes out. [-]
    """
    names = [bench.material(card.name) for card in cards]
    history = bench.history(vessel.firing, names)
    strain = history.free_strain
    ends = printed or (float(strain[0, -1]), float(strain[1, -1]))
    radius = float(np.interp(at, vessel.height, vessel.radius))
    size = radius * np.exp(strain - np.array(ends)[:, None])
    moved = size[0] - size[1]
    far = int(np.argmax(np.abs(moved)))
    return Slide(
        abs(min(float(moved.min()), 0.0)),
        max(float(moved.max()), 0.0),
        float(history.temperature[far]),
        ends,
    )


def thickened(wall: float, inwards: float, outwards: float, lower: bool) -> tuple[float, float]:
    """By how much a part's wall must be thicker, inwards and outwards, for half a wall to bear. [m]

    Half of the wall as drawn, whichever part is made thicker.

    Parameters
    ----------
    wall : float
        As drawn, where the parts meet. [m]
    inwards, outwards : float
        Furthest slide of the lower part. [m]
    lower : bool
        Whether the lower part is made thicker; else the upper one is.

    Examples
    --------
    >>> [round(1e3 * float(w), 1) for w in thickened(2e-3, 1.53e-3, 0.4e-3, True)]
    [0.0, 0.6]
    """
    lacks = [max(slid - (1.0 - BEARS) * wall, 0.0) for slid in (outwards, inwards)]
    inside, outside = (float(np.ceil(round(lack / STEP, 6))) * STEP for lack in lacks)
    return (inside, outside) if lower else (outside, inside)


def seated(
    vessel: Vessel, at: float, materials: tuple[str, str], thicker: tuple[float, float]
) -> tuple[Vessel, Vessel]:
    """The two parts of a vessel, each standing at height 0.

    Parameters
    ----------
    vessel : Vessel
        To be cut.
    at : float
        Where. [m]
    materials : tuple of str
        Of the lower and the upper part.
    thicker : tuple of float
        By how much the shorter part's wall is thicker inwards and outwards. [m]
    """
    whole = float(vessel.height[-1])
    short = 0 if at <= 0.5 * whole else 1
    found = []
    for k, (low, high) in enumerate(((0.0, at), (at, whole))):
        base = int(k == 0 and vessel.radius[0] == 0.0)  # a floor stays with the lower part
        side = slice(int(vessel.radius[0] == 0.0), None)
        r, z, wall = vessel.radius[side], vessel.height[side], vessel.wall[side]
        if r.size == 2:
            inner = np.empty(0)
        else:
            inner = np.concatenate([z[(z > low) & (z < high)], np.linspace(low, high, POINTS)])
        cut = np.unique(np.concatenate([[max(low, z[0]), high], inner[inner > z[0]]]))
        cut = cut[np.concatenate([[True], np.diff(cut) > 1e-3 * (high - low)])]
        cut[-1] = high
        chord = chord_lengths(r, z)
        fine = np.linspace(0.0, chord[-1], 4000)
        curve = curve_through(chord, r, z)(fine)
        radius = np.interp(cut, curve[:, 1], curve[:, 0])
        thick = np.interp(cut, z, wall)
        if k == short:
            radius, thick = radius + 0.5 * (thicker[1] - thicker[0]), thick + sum(thicker)
        one = replace(
            vessel,
            name=f"{vessel.name[: LONGEST_NAME - len(ROLES[k]) - 2].rstrip()}, {ROLES[k]}",
            radius=np.concatenate([vessel.radius[:base], radius]),
            height=np.concatenate([vessel.height[:base], cut - low]),
            wall=np.concatenate([vessel.wall[:base], thick]),
            corners=vessel.corners if base else (),
            bands=(Band(materials[k], 0.0, high - low),),
            printer=replace(vessel.printer, given=False),
        )
        found.append(one)
    return found[0], found[1]


def standing(lower: Response, upper: Response) -> Response:
    """Both parts as they stand on each other, for rules that read no stress: a wall of two bands.

    Stations, volumes and cards are those of both; of the stress of either nothing is kept.

    Parameters
    ----------
    lower, upper : Response
        Of the parts, each fired alone.
    """
    cards = lower.cards + upper.cards
    along = Along(lower.trace, extend=True) if lower.along is None else lower.along
    history = along.of(list(cards))
    below, above = (cast("ShellFiring", one.fired) for one in (lower, upper))
    at, none = float(lower.vessel.height[-1]), np.empty(0)
    top = replace(upper.vessel.bands[0], low=at, high=at + upper.vessel.bands[0].high)
    lying = np.concatenate([below.meridian.lying, above.meridian.lying])
    fired = replace(
        below,
        meridian=replace(below.meridian, lying=lying),
        radius=np.concatenate([below.radius, above.radius]),
        height=np.concatenate([below.height, at + above.height]),
        slope=np.concatenate([below.slope, above.slope]),
        arc_length=np.concatenate(
            [below.arc_length, below.meridian.arc_length[-1] + above.arc_length]
        ),
        wall=np.concatenate([below.wall, above.wall]),
        volume=np.concatenate([below.volume, above.volume]),
        band=np.repeat([0, 1], [below.band.size, above.band.size]),
        stress=none, shear=none, plastic=none, bending_tension=none, membrane=none, bending=none,
    )  # fmt: skip
    return replace(
        lower,
        vessel=replace(lower.vessel, bands=(*lower.vessel.bands, top)),
        cards=cards,
        material=tuple(history.names.index(card.name) for card in cards),
        history=history,
        fired=fired,
    )


def dragged(lower: Response, upper: Response) -> tuple[Flag, Flag]:
    """Strain that friction sets up at the seat in either part while it is brown.

    A ring of force μ q on the end of a long tube pulls its end with a hoop stress 2 β r μ q / h
    (Timoshenko & Woinowsky-Krieger 1959, art. 114), q being the upper part's dried weight over the
    length of the seat and 1/β the decay length.

    Parameters
    ----------
    lower, upper : Response
        Of the parts, each fired alone.
    """
    density = upper.cards[0]["theoretical_density"].scalar
    fired = upper.history.relative_density[upper.material[0], -1]
    lost = upper.history.mass_fraction[upper.material[0], -1]
    weight = float(upper.fired.volume.sum()) * density * float(fired / lost) * GRAVITY
    seat = upper.vessel.radius[0]
    drag = FRICTION * weight / (2.0 * np.pi * float(seat))
    found = []
    for part, height in ((lower, float(lower.vessel.height[-1])), (upper, 0.0)):
        vessel, card, row = part.vessel, part.cards[0], part.material[0]
        wall, radius = (
            float(np.interp(height, vessel.height, v)) for v in (vessel.wall, vessel.radius)
        )
        stress = 2.0 * radius * drag / (decay_length(vessel, height) * wall)
        found.append(_drag_flag(part.history, row, card, stress, height))
    return found[0], found[1]


def _drag_flag(history: History, row: int, card: Card, stress: float, height: float) -> Flag:
    """The brown flag of one part under a steady stress. [Pa]"""
    young, done = history.young_modulus[row], history.progress[row]
    borne = borne_strain(card, history.relative_density[row], history.strength[row], young)
    used: Array = np.where(done < SINTERED, stress / young / borne, 0.0)
    t = int(np.argmax(used))
    own = "brown_strain" in card
    return BROWN.named(
        Flag(
            zone=card.name,
            utilisation=float(used[t]),
            low=None if own else float(used[t]) / UNMEASURED,
            high=None if own else float(used[t]) * UNMEASURED,
            caution=BROWN_CAUTION,
            figure=1e3 * float(stress / young[t]),
            limit=1e3 * float(borne[t]),
            unit="per mille strain",
            source=f"friction of {FRICTION:g} at the seat (estimate) against the brown strain",
            note="friction at the seat, as the parts slide past each other",
            time=float(history.time[t]),
            temperature=float(history.temperature[t]),
            height=height,
        )
    )


def _of_one(rule: Rule) -> bool:
    """Whether a rule asks of one part whatever stands on it: of its stress, or of its own wall."""
    if rule.name in (SAG.name, SLUMP.name):
        return False
    return not rule.sees.isdisjoint({STRESS, SHAPE}) or rule.name == DRYING.name


def _flags(
    bench: Bench, parts: tuple[Vessel, Vessel], checks: tuple[Check, Check] | None = None
) -> tuple[tuple[Flag, ...], tuple[Flag, Flag]] | None:
    """Flags of the parts together, and those of friction; None where one cannot be fired.

    Stress is that of the solids where there are checks.
    """
    lower, upper = fire_candidates(bench, parts)
    if isinstance(lower, ModelError) or isinstance(upper, ModelError):
        return None
    friction = dragged(lower, upper)
    of_one = [rule for rule in table.RULES if _of_one(rule)]
    of_both = [rule for rule in table.RULES if rule not in of_one]
    found = [*bench.judge(standing(lower, upper), of_both).flags, *friction]
    if checks is None:
        found += [f for one in (lower, upper) for f in bench.judge(one, of_one).flags]
    else:
        found += [f for c in checks for f in c.verdict.flags if _of_one(rule_of(f))]
    return worst_first(found).flags, friction


def _sampled(job: tuple[Bench, tuple[Vessel, Vessel], str]) -> Chances:
    """Chances in one sample, and what loses it, from anywhere."""
    bench, parts, body = job
    try:
        found = _flags(bench, parts)
    except CofireError:
        found = None
    if found is None:
        return Chances(0.0, 0.0, 0.0, "it could not be worked out")
    return chances(found[0], bench.material(body)["weibull_modulus"].scalar)


def _over(
    bench: Bench,
    ways: Sequence[Sample],
    parts: tuple[Vessel, Vessel],
    body: str,
    flags: tuple[Flag, ...],
) -> Outcome:
    """What the parts come to over samples; their flags are those with the cards as they stand."""
    lower, upper = parts
    jobs = ((way.bench, (way.vessel(lower), way.vessel(upper)), body) for way in ways)
    rows = list(each(_sampled, jobs, bench.executor))
    kept, sound, opened, losers = zip(*rows, strict=True)
    load = load_of(flags, [part.bands[0].material for part in parts])
    return Outcome(flags, load, np.array(kept), np.array(sound), losers, opened=np.array(opened))
