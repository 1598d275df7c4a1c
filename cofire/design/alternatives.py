"""What else could be done where no plan reaches go: other joints, partners, walls, firings.

Each alternative is fired in the search's coarse way and tells the utilisation that its worst flag
would reach; some only tell why they cannot be had. The proposal stands among them, fired as
coarsely.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from cofire.assessment import verdict as table
from cofire.assessment.brown_rules import BROWN, BROWN_CAUTION, borne_strain
from cofire.assessment.check import Check
from cofire.assessment.crack_rules import (
    COOLING,
    CRACK_CAUTION,
    FAILURE_CAUTION,
    FAILURE_NO,
    THROUGH_CRACK,
    body_strength,
    share_at,
)
from cofire.assessment.cracks import SINTERED, toughness_of
from cofire.assessment.firing_rules import ATMOSPHERE, CORE
from cofire.assessment.later_rules import LATER, TEST_TIME, YEAR, later_exponent
from cofire.assessment.layer_cracks import Body, Joint, end_limit
from cofire.assessment.response import SEARCH_STEPS, Response, meshed
from cofire.assessment.rule import GO, PER_CENT_CRACK, STRESS, Flag, Rule
from cofire.assessment.screening import screen
from cofire.assessment.steam_rules import OXYGEN
from cofire.assessment.verdict import Verdict, worst_first
from cofire.assessment.windows import STUDIO_GASES
from cofire.design.at_hand import cards_at_hand
from cofire.design.candidates import (
    POINTS,
    ROUGH,
    Bench,
    batches,
    fire_candidates,
)
from cofire.design.fired_size import in_fired_size
from cofire.design.firings import USUAL_RATE, Setting, frame, open_burnout, risen
from cofire.design.settling import FURTHEST
from cofire.design.transition import Layout, as_vessel, given_layout, zones
from cofire.errors import CofireError, ModelError
from cofire.firing.program import LAG
from cofire.materials.card import Card
from cofire.materials.pairs import joint_resistance
from cofire.mechanics.shell_firing import fire_shells
from cofire.mechanics.sleeve import FiredSleeve, Sleeve, fire_sleeve, nested_rings
from cofire.numerics import Array
from cofire.physics.history import SINTERING, WATER, History
from cofire.physics.slow_crack_growth import aged_factor
from cofire.physics.strength import rupture_risk
from cofire.units import celsius
from cofire.vessel import Vessel
from cofire.workers import each

# ----------------------------------------------------------------------------------------------
# Two other ways to join the zones: one as a sleeve in the other, and fired one after the other

RING_POINTS = 5
LARGEST_STRAIN = 0.03
"""Mismatch above which the shell's small strains give only a first figure. [-]"""


def sleeve(bench: Bench, vessel: Vessel) -> tuple[str, Verdict, str]:
    """One zone inside the other, as two rings of the same wall over the whole height.

    Long rings in the vessel's firing, either zone inside. Compared are the ceramic ring's
    survival in the kiln and within a year (Weibull, over its volume), its strain while brown, and
    the crack that runs between the rings from an end, by stress and energy together
    (`cofire.assessment.layer_cracks.end_limit`): rings pressed on each other stay. The metal's
    plastic strain is not.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        With its firing.

    Returns
    -------
    tuple of str, Verdict and str
        What was tried in the better order, its flags, and what was compared.
    """
    metal, ceramic, _ = bench.zones(vessel)
    history = bench.history(vessel.firing, [metal, ceramic])
    middle = 0.5 * (vessel.bands[0].high + vessel.bands[-1].low)
    radius = float(np.interp(middle, vessel.height, vessel.radius))
    wall = float(np.interp(middle, vessel.height, vessel.wall))
    faces = radius + wall * np.array([-0.5, 0.0, 0.5])
    rings = nested_rings(np.stack([faces, faces]), [[0, 1], [1, 0]], points=RING_POINTS)
    fired = fire_sleeve(rings, history, control=SEARCH_STEPS)
    tall = float(vessel.height[-1])
    note = (
        f"rings of {wall * 1e3 / 2:.1f} mm; compared are the ceramic ring's survival in the kiln "
        "and within a year, its strain while it is brown, and the crack between the rings from an "
        "end, by stress and energy"
    )
    found = []
    for order, place in ((0, "inside"), (1, "outside")):
        volume = 2.0 * np.pi * tall * rings.share[order, 1 - order]
        ends = _ends((metal, ceramic), history, rings, fired, order)
        flags = _ring_flags(ceramic, history, fired, order, volume, *ends)
        found.append((f"a sleeve: {metal.name} {place} {ceramic.name}", worst_first(flags)))
    what, verdict = min(found, key=lambda pair: pair[1].utilisation)
    return what, verdict, note


def _ring_flags(
    ceramic: Card, history: History, fired: FiredSleeve, order: int, volume: Array, parts: Array,
    apart: Array,
) -> list[Flag]:  # fmt: skip
    """Flags of the ceramic ring, which is the outer one in order 0.

    `parts` is the share of the load at which the rings part, `apart` the stress behind it, (S,).
    """
    time = fired.time
    stress = np.moveaxis(fired.stress[:, :, order, 1 - order], 1, 2)  # (S, P, C)
    done, strength, temperature = (
        np.interp(time, history.time, row)
        for row in (history.progress[1], history.strength[1], history.temperature)
    )
    sintered = done >= SINTERED
    unit, m = body_strength(ceramic, strength)
    risk = np.where(sintered, rupture_risk(stress, volume, unit[:, None], m), 0.0)
    tension = np.clip(stress.max(axis=(1, 2)), 0.0, None)
    density, young = (
        np.interp(time, history.time, row)
        for row in (history.relative_density[1], history.young_modulus[1])
    )
    strain = np.where(sintered, 0.0, tension / young)
    borne = borne_strain(ceramic, density, strength, young)

    def flag(
        rule: Rule, utilisation: Array, caution: float, figure: Array, most: Array, note: str,
        unit: str = "MPa", scale: float = 1e6,
    ) -> Flag:  # fmt: skip
        t = int(np.argmax(utilisation))
        return rule.named(
            Flag(
                zone=ceramic.name,
                utilisation=float(utilisation[t]),
                caution=caution,
                figure=float(figure[t]) / scale,
                limit=float(most[t]) / scale,
                unit=unit,
                note=note,
                time=float(time[t]),
                temperature=float(temperature[t]),
            )
        )

    grade = float(share_at(-np.log1p(-FAILURE_CAUTION), m))
    n, threshold, _ = later_exponent(ceramic)
    within = np.where(time == time[-1], risk, 0.0)
    within = within * float(aged_factor(YEAR, TEST_TIME, n, threshold)) ** m
    return [
        flag(
            LATER,
            share_at(within, m),
            grade,
            -np.expm1(-within),
            np.full(time.size, FAILURE_NO),
            "ceramic ring, within a year in humid air",
            PER_CENT_CRACK,
            1e-2,
        ),
        flag(COOLING, share_at(risk, m), grade, tension, strength, "ceramic ring"),
        flag(
            BROWN,
            strain / borne,
            BROWN_CAUTION,
            strain,
            borne,
            "ceramic ring, not yet sintered",
            "per mille strain",
            1e-3,
        ),
        flag(
            THROUGH_CRACK,
            parts,
            CRACK_CAUTION,
            apart,
            apart / np.maximum(parts, 1e-9),
            "between the rings, by stress and energy together",
        ),
    ]


def _ends(
    cards: tuple[Card, Card], history: History, rings: Sleeve, fired: FiredSleeve, order: int
) -> tuple[Array, Array]:
    """Share of the load at which the rings part from an end, and the stress behind it, (S,) each.

    Once both have sintered; cards are metal and ceramic, as the rows of the history.
    """
    resistance = joint_resistance(*cards)
    joint = Joint(resistance.toughness, resistance.shear_strength)
    own = replace(
        rings, material=rings.material[order], radius=rings.radius[order],
        stretch=rings.stretch[order], share=rings.share[order],
    )  # fmt: skip
    rows = [0, 1] if order == 0 else [1, 0]
    both = np.min([np.interp(fired.time, history.time, row) for row in history.progress], axis=0)
    strength = np.interp(fired.time, history.time, history.strength[1])
    found = np.zeros((2, fired.time.size))
    for t in np.flatnonzero(both >= SINTERED):
        bodies = [
            Body(
                float(history.young_modulus[row, -1]),
                float(history.poisson_ratio[row]),
                *((float(strength[t]), toughness_of(cards[1])) if row else ()),
            )
            for row in rows
        ]
        limit = end_limit(own, fired.stress[t, :, order], bodies, 0, joint)
        found[:, t] = limit.through, limit.tension
    return found[0], found[1]


def two_firings(bench: Bench, vessel: Vessel) -> tuple[str, Verdict, str]:
    """The ceramic fired alone first, then the metal sintered onto it, joined edge to edge.

    In the second firing the ceramic only expands and flows as fired; the metal's whole shrinkage
    is mismatch.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        With its firing, which is also the second one.

    Returns
    -------
    tuple of str, Verdict and str
        What was tried, its flags, and the mismatch.
    """
    metal, ceramic, below = bench.zones(vessel)
    drawn = given_layout(vessel, bench.cards)
    direct = [Layout((), 0.0, one.middle) for one in drawn.joints]
    joints = replace(direct[0], upper=direct[-1] if drawn.upper is not None else None)
    joined = as_vessel(vessel, metal.name, ceramic.name, below, joints)
    history = already_fired(bench.history(vessel.firing, [metal, ceramic]), 1)
    rows = tuple(0 if band.material == metal.name else 1 for band in joined.bands)
    (shell,) = fire_shells(
        [meshed(joined, bench.fineness)], history, [rows], points=POINTS, control=SEARCH_STEPS
    )
    cards = tuple((metal, ceramic)[row] for row in rows)
    curve = bench.trace(vessel.firing)
    ware = np.interp(shell.time, curve.time, curve.ware)
    response = Response(joined, cards, rows, curve, history, shell, ware)
    flags = [
        flag
        for rule in table.RULES
        if STRESS in rule.sees
        for flag in rule.flags(response)
        if rule is not BROWN or flag.zone == metal.name
    ]
    shrinks = -float(np.expm1(history.shrinkage[0, -1]))
    note = f"{metal.name} shrinks {100 * shrinks:.0f} % on a body that no longer does"
    if shrinks > LARGEST_STRAIN:
        note += "; strains beyond the shell's, a first figure"
    what = (
        f"two firings: {ceramic.name} first, {metal.name} onto it at {celsius(curve.peak):.0f} °C"
    )
    return what, worst_first(flags), note


def already_fired(history: History, row: int) -> History:
    """A history in which one material was fired before: it keeps the body it had on cooling.

    Parameters
    ----------
    history : History
        Of a first firing.
    row : int
        Of the material.

    Returns
    -------
    History
        That material no longer densifies; stiffness, flow and strength are those that it has at
        each temperature on the way down.
    """
    down = int(history.temperature.size - 1 - np.argmax(history.temperature[::-1]))
    cold, hot = history.temperature[down:][::-1], history.temperature

    def on_cooling(values: Array) -> Array:
        whole = values.copy()
        whole[row] = np.interp(hot, cold, values[row, down:][::-1])
        return whole

    with np.errstate(divide="ignore"):
        viscosity = 1.0 / on_cooling(1.0 / history.viscosity)
        yields = 1.0 / on_cooling(1.0 / history.yield_stress)
    density, mass = history.relative_density.copy(), history.mass_fraction.copy()
    water = history.water_lost.copy()
    strain = {name: values.copy() for name, values in history.strain.items()}
    density[row] = density[row, -1]
    density[row, 0] -= 1e-6  # done from the start, as the flags count progress
    mass[row], water[row] = mass[row, -1], water[row, -1]
    for name in (WATER, SINTERING):
        if name in strain:
            strain[name][row] = 0.0
    return replace(
        history,
        strain=strain,
        relative_density=density,
        mass_fraction=mass,
        water_lost=water,
        young_modulus=on_cooling(history.young_modulus),
        viscosity=viscosity,
        viscous_poisson_ratio=on_cooling(history.viscous_poisson_ratio),
        creep_factor=on_cooling(history.creep_factor),
        yield_stress=yields,
        strength=on_cooling(history.strength),
    )


# ----------------------------------------------------------------------------------------------
# What else could be done where no plan reaches go: another partner, wall, order, sleeve, firing

THINNER = 0.7
OPENED = "open to air"
CLOSED = "carbon"
"""Pack that is offered where a firing in air oxidises the metal."""
OF_GAS = frozenset({CORE.name, OXYGEN.name, ATMOSPHERE.name})
"""Rules that another gas may mend."""
PARTNERS = 2
"""Other partners shown for either zone. [-]"""
PROPOSED = "as proposed, worked out as roughly as these"


@dataclass(frozen=True)
class Alternative:
    """Something else to try, and the utilisation its worst flag would reach.

    Attributes
    ----------
    what
        A few words.
    verdict
        Its flags; None where it cannot be had.
    note
        What is compared, or why it cannot be had.
    """

    what: str
    verdict: Verdict | None
    note: str = ""

    @property
    def utilisation(self) -> float:
        """Largest share of a limit used up, infinite where it cannot be had. [-]"""
        return self.verdict.utilisation if self.verdict else float("inf")


def alternatives(
    bench: Bench, vessel: Vessel, layout: Layout, last: Check
) -> tuple[Alternative, ...]:
    """Other partners, a thinner wall, the other order, a sleeve, two firings: what each reaches.

    The proposal itself is among them, to compare with; its last check puts all right for the coarse
    shell that they are fired on. Wall and order keep its transition and
    firing; a partner keeps the transition and gets the usual firing of its own window; sleeve and
    two firings keep the firing alone. Where char, oxygen or the gas limits the proposal, it is also
    fired with its binder burnt out in air and closed after it.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        The proposal.
    layout : Layout
        Its transition.
    last : Check
        Of the proposal.

    Returns
    -------
    tuple of Alternative
        Best first; those that cannot be had last.
    """
    metal, ceramic, below = bench.zones(vessel)
    wide = Bench(bench.cards, extend=True, fineness=ROUGH)
    wide.correct(vessel, last, FURTHEST)
    tries: list[tuple[str, Callable[[], Vessel]]] = [
        (PROPOSED, lambda: vessel),
        *_thinner(vessel, metal, ceramic),
        (
            "the zones in the other order",
            lambda: as_vessel(vessel, metal.name, ceramic.name, not below, layout),
        ),
        *_other_gases(vessel, bench.cards, last.verdict.flags),
        *_partners(vessel, bench.cards, layout),
    ]
    ready: list[tuple[str, Vessel]] = []
    found: list[Alternative] = []
    for what, make in tries:
        try:
            one = make()
            wide.history(one.firing, wide.used([one]))
            ready.append((what, one))
        except CofireError as error:
            found.append(Alternative(what, None, str(error)))

    for some in each(_try, [(wide, some) for some in batches(ready)], bench.executor):
        found += some
    for what, work in (("sleeve", sleeve), ("two firings", two_firings)):
        try:
            found.append(Alternative(*work(wide, vessel)))
        except CofireError as error:
            found.append(Alternative(what, None, str(error)))
    own = next((a.verdict for a in found if a.what == PROPOSED), None)
    found = [replace(a, note=_eased(a, own)) if OPENED in a.what else a for a in found]
    return tuple(sorted(found, key=lambda a: a.utilisation))


def _thinner(vessel: Vessel, metal: Card, ceramic: Card) -> list[tuple[str, Callable[[], Vessel]]]:
    """A thinner wall: by one road where the file wants whole ones; none where there is no other."""
    wall = THINNER * float(vessel.wall[-1])
    if vessel.free.roads:
        road = in_fired_size(vessel, metal, ceramic).printer.nozzle
        wall = (round(float(vessel.wall[-1]) / road) - 1) * road
    return [(f"a wall of {1e3 * wall:.2g} mm", lambda: vessel.with_wall(wall))] if wall > 0 else []


def _eased(one: Alternative, own: Verdict | None) -> str:
    """What another gas does to the rules that it may mend, and which others it makes worse."""
    if one.verdict is None or own is None:
        return one.note
    told = []
    for rule in sorted(OF_GAS):
        before, after = (
            max((f.counted for f in v.flags if f.rule == rule), default=0.0)
            for v in (own, one.verdict)
        )
        if before != after:
            told.append(f"{rule} from {before:.2g} to {after:.2g} of its limit")
    eased = "; ".join(told) or "neither char, oxygen nor the gas uses up less of its limits"
    worse = risen(own.flags, one.verdict.flags, OF_GAS)
    return f"{eased}; but {', '.join(worse)}" if worse else eased


def _try(job: tuple[Bench, Sequence[tuple[str, Vessel]]]) -> list[Alternative]:
    """One batch of vessels fired and judged, from anywhere."""
    bench, some = job
    return [
        Alternative(what, None, str(result))
        if isinstance(result, ModelError)
        else Alternative(what, bench.judge(result))
        for (what, _), result in zip(
            some, fire_candidates(bench, [one for _, one in some]), strict=True
        )
    ]


def _other_gases(
    vessel: Vessel, cards: Mapping[str, Card], flags: Sequence[Flag]
) -> list[tuple[str, Callable[[], Vessel]]]:
    """The proposal open while its binder burns and closed after it, and closed all the time.

    Only where char, oxygen or the gas is more than a go, and its firing has one gas.
    """
    firing = vessel.firing
    limits = {flag.rule for flag in flags if flag.grade > GO} & OF_GAS
    if not limits or len(set(firing.gases)) > 1:
        return []

    def opened() -> Vessel:
        return replace(vessel, firing=open_burnout(vessel, cards, closed))

    closed = CLOSED if firing.gas == "air" else firing.gas
    then = "packed in carbon" if closed == CLOSED else f"fired in {closed}"
    what = f"its binder burnt out {OPENED}, cooled, then {then}"
    found = [(what, opened)]
    if firing.gas == "air":
        packed = firing.in_one_gas(closed, max(firing.lag, LAG[closed]))
        found.append((f"packed in {closed} from the start", lambda: replace(vessel, firing=packed)))
    return found


def _partners(
    vessel: Vessel, cards: Mapping[str, Card], layout: Layout
) -> list[tuple[str, Callable[[], Vessel]]]:
    """The nearest other partners of either zone, each in the usual firing of its own window."""
    metal, ceramic, below = zones(vessel, cards)
    some = cards_at_hand(vessel, cards).values()
    metals = [card for card in some if card.kind == "metal"]
    bodies = [card for card in some if card.kind == "ceramic"]
    gases = tuple(dict.fromkeys([vessel.firing.gas, *STUDIO_GASES]))
    found: list[tuple[str, Callable[[], Vessel]]] = []
    for one, other in (([metal], bodies), (metals, [ceramic])):
        pairs = [
            pair
            for pair in screen(one, other, vessel.firing.kiln, gases)
            if pair.verdict != "no" and (pair.metal, pair.ceramic) != (metal.name, ceramic.name)
        ]
        for pair in pairs[:PARTNERS]:
            lag = vessel.firing.lag if pair.gas == vessel.firing.gas else LAG[pair.gas]
            firing = vessel.firing.in_one_gas(pair.gas, lag)
            bands = as_vessel(vessel, pair.metal, pair.ceramic, below, layout)
            make = partial(_usually_fired, replace(bands, firing=firing), cards)
            found.append((f"{pair.metal} with {pair.ceramic}, in {pair.gas}", make))
    return found


def _usually_fired(vessel: Vessel, cards: Mapping[str, Card]) -> Vessel:
    """The vessel in the usual firing of its own zones."""
    whole = frame(vessel, cards, extend=True)
    middle = Setting(len(whole.soaks) // 2, USUAL_RATE, USUAL_RATE)
    return replace(vessel, firing=whole.fired(middle))
