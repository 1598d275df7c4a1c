"""Flags that need no stress of the vessel: window, gas, drying, burnout, sag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.own_weight import SAG_CAUTION, SAG_NO, SLUMP_NO, flowed, viscosity_of
from cofire.assessment.response import Response
from cofire.assessment.rule import (
    BLENDS,
    FIRING,
    GAS,
    GRADE,
    LAYERS,
    NEIGHBOUR,
    SHAPE,
    SUBSTANCES,
    Flag,
    Rule,
    joint_name,
    not_computed,
)
from cofire.assessment.windows import (
    SOLIDUS_MARGIN,
    STUDIO_GASES,
    ceiling,
    gas_grade,
    grade_in_turn,
)
from cofire.materials.binders import ash_share
from cofire.materials.card import Card
from cofire.mechanics.standing import VISCOUS, Standing, stand
from cofire.numerics import Array
from cofire.physics.burnout import (
    STEAM_MOLAR_MASS,
    gas_overpressure,
    gas_viscosity,
    hydraulic_grain,
    open_pores,
    steam_viscosity,
)
from cofire.physics.cylinder import SHARP_BENDING, SHARP_HOOP, left_by_steps
from cofire.physics.history import History
from cofire.units import GRAVITY, celsius, kelvin

DRYING_CAUTION, DRYING_NO = 0.005, 0.02
"""Difference of drying shrinkage across a sharp joint: common practice. [-]"""
DRYING_PLACES, BESIDE_STEP = 0.05, 1e-9
"""Between places at which drying is asked, and of those beside a step. [decay lengths]"""
BY_FLOOR = 0.5
"""How much more a step leaves at the top of a floor than in the wall; it fades by e² in a decay
length. Solids of revolution with floors of one and two walls: 1.42 to 1.47 at the floor, 1.3 a
fifth of a decay length above it, 1.05 at four fifths. [-]"""
CHAR_CAUTION, CHAR_NO = 0.001, 0.005
"""Char left, of the dried mass, when a body's pores begin to close: common practice. [-]"""
KEEPS_CHAR = frozenset({"Ag", "Au", "Cu"})
"""Bases of metals that dissolve next to no carbon, some thousandths of a per cent even when molten:
char stays between their grains. Iron, nickel and steels dissolve it, titanium makes carbide of it.
From memory."""
PORES_CLOSE = 0.5
"""Share of its densification after which a body's pores count as closing: common practice. [-]"""
VAPOUR_MOLAR_MASS = 0.030
"""Of the gases of a binder, between water and carbon dioxide: common practice. [kg/mol]"""
STEEPEST = 45.05
"""Lean of a wall from upright beyond which the sag rule says nothing: 45° to the tenth as told.
Points that are written to a file and read again turn a wall by some hundredths. [°]"""
PEAK_CAUTION = 10.0
"""Closer than this to a zone's limit a kiln's unevenness decides: common practice. [K]"""


def peak_flags(response: Response) -> list[Flag]:
    """Peak of the ware over the limit of each substance: neither molten nor overfired.

    Where gases follow each other, each over the moments in which it is there.

    Returns
    -------
    list of Flag
        One a substance.
    """
    curve = response.trace
    found = []
    for card in response.substances[1]:
        peaks = [
            (float(curve.ware[k]), ceiling(card, gas), k, gas)
            for gas, k in curve.hottest_in.items()
        ]
        peak, top, node, gas = max(peaks, key=lambda p: celsius(p[0]) / celsius(p[1]))
        reduced = "" if top == ceiling(card, "air") else f" in {gas}, where its iron fluxes it"
        metal = card.kind == "metal"
        found.append(
            Flag(
                zone=card.name,
                utilisation=celsius(peak) / celsius(top),
                caution=celsius(top - PEAK_CAUTION) / celsius(top),
                figure=celsius(peak),
                limit=celsius(top),
                unit="°C",
                note="peak of the ware",
                source=f"solidus less {SOLIDUS_MARGIN:.0f} K"
                if metal
                else f"the body's firing ceiling{reduced}",
                remedy=f"Lower the peak to {celsius(top) - PEAK_CAUTION:.0f} °C or less.",
                time=float(curve.time[node]),
                temperature=peak,
            )
        )
    return found


def density_flags(response: Response) -> list[Flag]:
    """Density that each substance reaches, over the density wanted of it.

    Returns
    -------
    list of Flag
        One a substance: the way wanted over the way gone, 1 where the density is just reached.
    """
    found = []
    history, cards = response.substances
    for card, density in zip(cards, history.relative_density[:, -1], strict=True):
        green, least = card["green_density"].scalar, card["least_density"].scalar
        found.append(
            Flag(
                zone=card.name,
                utilisation=(least - green) / max(float(density) - green, 1e-9),
                caution=0.97,
                figure=float(density),
                limit=least,
                unit="of full density",
                note="relative density after the firing",
            )
        )
    return found


def _better_gas(response: Response) -> str:
    """Gas of a studio that grades better than that of the hottest part; empty where none does."""
    curve, cards = response.trace, response.substances[1]

    def worst(gas: str) -> int:
        return max(gas_grade(card, gas, curve.peak)[0] for card in cards)

    best = min(STUDIO_GASES, key=worst)
    return best if worst(best) < worst(curve.gas) else ""


def _gas_remedy(response: Response, better: str, peak: float) -> str:
    """What mends a gas that does not suit a substance where the ware reaches a peak in it. [K]

    Where gases follow each other one that is there already is no other to close the ware in.
    """
    firing, curve = response.vessel.firing, response.trace
    if curve.turns and better not in firing.gases:
        if peak < curve.peak:
            closed = f", then closed in {better}" if better else ""
            return f"Keep it open no hotter and no longer than burnout needs{closed}."
        if better:
            return f"Close it in {better}: it suits the zones better than {curve.gas}."
    if not better:
        return "No other gas of a studio suits the zones better."
    return f"Fire in {better}: it suits the zones better than {firing.gas_words}."


def atmosphere_flags(response: Response) -> list[Flag]:
    """What the gas does to each substance, each gas over the moments in which it is there.

    Returns
    -------
    list of Flag
        Utilisations 0, 0.75 and 2 stand for good, caution and refused.
    """
    found = []
    better = _better_gas(response)
    for card in response.substances[1]:
        grade, reason, peak = grade_in_turn(card, response.trace)
        found.append(
            Flag(
                zone=card.name,
                utilisation=(0.0, 0.75, 2.0)[grade],
                caution=0.5,
                figure=float(grade),
                limit=1.0,
                unit=GRADE,
                note=reason or f"{card.name} is at home in {response.vessel.firing.gas_words}",
                remedy=_gas_remedy(response, better, peak) if grade else "",
                temperature=peak,
            )
        )
    return found


BURNOUT_END = kelvin(550.0)
"""Where a binder is held until it has burnt out: common practice. [K]"""
OPEN_ENDS = (BURNOUT_END, kelvin(500.0), kelvin(450.0), kelvin(425.0))
"""Where a burnout may hold that is open to one gas before another: the cooler, the less oxide a
metal grows. Below the last, char hardly burns (`materials.binders`). [K]"""
METAL_OPEN = (
    "Burn out open to air, or loosely packed, with a hold between 250 and 550 °C; then close it."
)
CORE_IN_AIR = "Burn out slower between 250 and 550 °C, with a hold."


def core_flags(response: Response) -> list[Flag]:
    """Char left when pores begin to close: black core and bloating, or grains that do not join.

    Returns
    -------
    list of Flag
        One a body, or metal that keeps it.
    """
    flags = core_of(*response.substances)
    if set(response.vessel.firing.gases) == {"air"}:  # there is no pack that could be left open
        return [replace(flag, remedy=CORE_IN_AIR) for flag in flags]
    return flags


def core_of(history: History, cards: Sequence[Card]) -> list[Flag]:
    """Char left in given materials when their pores begin to close.

    In a metal that dissolves none it keeps the grains apart. Its limits are those of a body, by an
    estimate, and the binder's ash, which a body's glass takes up, does not count as char.

    Parameters
    ----------
    history : History
        Of the cards, in order.
    cards : sequence of Card
        Metals that dissolve carbon are passed over.

    Returns
    -------
    list of Flag
        One a body, or metal that keeps it.
    """
    found = []
    for row, card in enumerate(cards):
        metal = card.kind == "metal"
        if metal and not KEEPS_CHAR.intersection(card.elements[:1]):
            continue
        mass = history.mass_fraction[row]
        closes = np.flatnonzero(history.progress[row] > PORES_CLOSE)
        closing = int(closes[0]) if closes.size else -1
        burns = 1.0 - ash_share() if metal else 1.0
        bare = 1.0 - burns * card["binder"].scalar - card.scalar("loss_on_ignition", 0.0)
        char = max(float(mass[closing]) - bare, 0.0)
        found.append(
            Flag(
                zone=card.name,
                utilisation=char / CHAR_NO,
                caution=CHAR_CAUTION / CHAR_NO,
                figure=100 * char,
                limit=100 * CHAR_NO,
                unit="% of dried mass",
                note="char left between the metal's grains when its pores begin to close; the "
                "limits are those of a body (estimate)"
                if metal
                else "char left in the body when its pores begin to close",
                remedy=METAL_OPEN if metal else "",
                time=float(history.time[closing]),
                temperature=float(history.temperature[closing]),
            )
        )
    return found


def drying_flags(response: Response) -> list[Flag]:
    """What bands that shrink differently while they dry as one piece leave of it in the wall.

    Elasticity spreads a difference over the decay length 1/β of the wall, so blends across less
    height leave what one sharp joint would, however many they are, and blends over several leave
    little. The figure of a step is the difference of one sharp joint that strains some place
    nearer to it than to other steps as much, in the ring or up a face, whichever is more
    (`cylinder.left_by_steps`): a lone joint's own, which the limit was made for.

    True while pastes of one stiffness dry evenly and elastically, in thin walls within some 45° of
    upright. A rim is a free end, and an open foot on a board that lets it slide. A floor holds the
    ring above it: a step near it counts for more (`BY_FLOOR`). What is felt within a wall of a
    sharp joint, and fades over more height than a wall, counts as the limit has it: as beside a
    sharp joint.

    Returns
    -------
    list of Flag
        One a step between bands.
    """
    shrinks = np.array([card["drying_shrinkage"].scalar for card in response.cards])
    if shrinks.size == 1:
        return []
    mesh = response.fired.meridian
    along = mesh.decay_lengths
    steps, changes = along[mesh.step_node], np.diff(shrinks)
    foot, rim = 0.0, float(along[-1])
    if mesh.on_axis:
        top = np.interp(mesh.height[0] + 0.5 * mesh.wall[0], mesh.height, along)
        changes = changes * (1.0 + BY_FLOOR * np.exp(-2.0 * np.maximum(steps - top, 0.0)))
        foot = -np.inf
    asked = np.arange(max(steps[0] - 2.0, 0.0), min(steps[-1] + 2.0, rim), DRYING_PLACES)
    asked = np.concatenate([asked, steps - BESIDE_STEP, steps + BESIDE_STEP, [rim]])
    misfit, curvature = left_by_steps(asked, steps, changes, (foot, rim))
    sharp = np.maximum(np.abs(misfit) / SHARP_HOOP, np.abs(curvature) / SHARP_BENDING)
    nearest = np.searchsorted(0.5 * (steps[1:] + steps[:-1]), asked)
    found = []
    for step, height in enumerate(response.vessel.steps):
        apart = float(sharp[nearest == step].max())
        found.append(
            Flag(
                zone=joint_name(response.cards[step].name, response.cards[step + 1].name),
                utilisation=apart / DRYING_NO,
                caution=DRYING_CAUTION / DRYING_NO,
                figure=100 * apart,
                limit=100 * DRYING_NO,
                unit="% of length",
                note="difference of drying shrinkage, as of one sharp joint",
                height=float(height),
            )
        )
    return found


def burnout_flags(response: Response) -> list[Flag]:
    """Gas pressure in the middle of the wall against the strength of the moment.

    Returns
    -------
    list of Flag
        One a substance; a blend lies between its parts.
    """
    return burnout_of(*response.substances, float(response.fired.wall.max()))


def burnout_of(history: History, cards: Sequence[Card], wall: float) -> list[Flag]:
    """Gas pressure of burnout in walls of given materials.

    The way out is `gas_overpressure`'s, between the grains of `hydraulic_grain`, with the binder
    still in the pores. Bound water leaves as steam, which is lighter and thinner than the gases of
    a binder; of both together the moles add, and the viscosity is the mean by moles (estimate:
    the two are within a third of each other).

    Parameters
    ----------
    history : History
        Of the cards, in order.
    cards : sequence of Card
        Pure materials.
    wall : float
        Thickness. [m]

    Returns
    -------
    list of Flag
        One a card.
    """
    h = history
    found = []
    for row, card in enumerate(cards):
        solid = card["theoretical_density"].scalar * card["green_density"].scalar
        water = np.clip(np.gradient(h.water_lost[row], h.time), 0.0, None) * solid
        release = np.clip(-np.gradient(h.mass_fraction[row], h.time), 0.0, None) * solid
        steam = water / STEAM_MOLAR_MASS
        moles = steam + np.clip(release - water, 0.0, None) / VAPOUR_MOLAR_MASS
        share = steam / np.maximum(moles, np.finfo(float).tiny)
        pores = open_pores(card, h.relative_density[row], 1.0 - h.mass_fraction[row])
        pressure = gas_overpressure(
            release, wall, hydraulic_grain(card), pores, h.temperature,
            share * steam_viscosity(h.temperature) + (1.0 - share) * gas_viscosity(h.temperature),
            share * STEAM_MOLAR_MASS + (1.0 - share) * VAPOUR_MOLAR_MASS,
        )  # fmt: skip
        utilisation = pressure / h.strength[row]
        worst = int(np.argmax(utilisation))
        found.append(
            Flag(
                zone=card.name,
                utilisation=float(utilisation[worst]),
                caution=0.3,
                figure=float(pressure[worst]) / 1e3,
                limit=float(h.strength[row, worst]) / 1e3,
                unit="kPa",
                note="gas pressure in the middle of the wall",
                remedy=f"Slow the ramp around {celsius(float(h.temperature[worst])):.0f} °C, "
                "or hold below it.",
                time=float(h.time[worst]),
                temperature=float(h.temperature[worst]),
            )
        )
    return found


@dataclass(frozen=True)
class Flow:
    """How far a band flows under its own weight and what stands on it.

    Attributes
    ----------
    lean
        Of its wall from upright, at most. [°]
    mean, most
        Flow over the firing, of a wall that would keep its shape: height that its levels lose, as
        a mean, and natural strain of its most loaded level; not a number beyond `STEEPEST`. [-]
    time
        Row of the history at which it flows fastest. [-]
    height
        Of its most loaded level. [m]
    """

    lean: float
    mean: float
    most: float
    time: int
    height: float


def flows(response: Response) -> list[Flow]:
    """How far each band flows under its own weight and all that stands on it.

    The wall is one of revolution that bears its own weight (`mechanics.standing`): a lean adds the
    pull round the ring, and what it shoves at its foot, which slides without friction unless a
    floor or a part that leans too far holds it. An upright wall is a column. What stands on a level
    weighs what has not burnt out yet, and the level is as wide as it is then. The most loaded level
    is the foot, or where the band is thinned above that, its thin part. A base that lies on the
    shelf does not flow. A blend flows as the self-consistent mixture of its phases, each as stiff
    as it is at this stress, whatever else the vessel has: continuous from the pure metal to the
    pure body.

    Bands that flow in turn share the thrusts of a lean by what each flows over the whole firing: a
    solid of iron on stoneware that leans by 15°, marched under its weight, lost 0.28 and 0.22 % of
    their heights where this says 0.28 and 0.19. (Standing anew in each of eight stages, with the
    other band as stiff as it is then, says 0.25 and 0.18, so that is not what is missing.)

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flow
        One a band.
    """
    known = response.memo.get("flows")
    if not isinstance(known, tuple):
        known = tuple(_flows(response))
        response.memo["flows"] = known
    return list(known)


def _flows(response: Response) -> list[Flow]:
    h, shell, cards = response.history, response.fired, response.cards
    volume = np.where(~shell.lying, shell.volume.sum(axis=1), 0.0)
    rows = np.array(response.material)
    full = np.array([card["theoretical_density"].scalar for card in cards])
    left = h.mass_fraction[rows] / h.mass_fraction[rows, -1:]
    bulk = (full * h.relative_density[rows, -1])[:, None] * left  # of the fired volume
    strain = h.free_strain[rows]
    wider = np.exp(2.0 * (strain - strain[:, -1:]))  # section of the moment over the fired one
    own = GRAVITY * volume[:, None] * bulk[shell.band]
    below = np.cumsum(own[::-1], axis=0)[::-1]  # what each level bears at its lower end
    leans = [
        float(np.degrees(np.abs(shell.slope[(shell.band == n) & ~shell.lying]).max()))
        for n in range(len(cards))
    ]
    upright = np.array(leans) <= STEEPEST
    here = np.flatnonzero(upright[shell.band] & ~shell.lying)
    if not here.size:
        return [Flow(lean, np.nan, np.nan, 0, np.nan) for lean in leans]
    radius, slope, wall = shell.radius[here], shell.slope[here], shell.wall[here]
    band = shell.band[here]
    length = volume[here] / (2.0 * np.pi * radius * wall)
    section = 2.0 * np.pi * radius * wall * np.cos(slope)
    middle = below[here] - 0.5 * own[here]

    def standing(compliance: Array, poisson_ratio: float) -> Standing:
        return stand(
            shell.arc_length[here], length, radius, slope, wall, middle[:, -1], compliance,
            held=bool(here[0] > 0), poisson_ratio=poisson_ratio,
        )  # fmt: skip

    # what the lean adds to the stress of each level (von Mises), whatever flows how fast
    up, round_ring = standing(np.ones(here.size), 0.0).stress
    raised = np.sqrt(up**2 - up * round_ring + round_ring**2) / np.abs(up)
    compliance, found = np.zeros(here.size), []
    for n, card in enumerate(cards):
        if not upright[n]:
            found.append(Flow(leans[n], np.nan, np.nan, 0, np.nan))
            continue
        levels = np.flatnonzero(band == n)
        ends = raised[levels] * below[here[levels], -1] / section[levels]
        worst = levels[int(np.argmax(ends))]
        # every level by what stands above its middle, and the most loaded one by all of its own too
        borne = np.concatenate([middle[levels], below[here[[worst]]]])
        on = np.append(levels, worst)
        stress = borne * (raised[on] / section[on])[:, None] / wider[n]
        viscosity = viscosity_of(card, *response.substances, stress)
        strain = flowed(h.time, stress, viscosity)
        compliance[levels] = strain[:-1] / stress[:-1, -1]
        found.append(
            Flow(
                lean=leans[n],
                mean=0.0,
                most=float(strain[-1]),
                time=int(np.argmax(stress[-1] / viscosity[-1])),
                height=float(shell.height[here[worst]]),
            )
        )
    if not compliance.any():
        return found
    lost, rise = np.abs(standing(compliance, VISCOUS).drop), length * np.cos(slope)
    return [
        replace(flow, mean=float(np.average(lost[band == n], weights=rise[band == n])))
        if upright[n]
        else flow
        for n, flow in enumerate(found)
    ]


def sag_flags(response: Response) -> list[Flag]:
    """Height that each band loses by flowing under the weight above it, of its own height.

    To first order: at the limit a twentieth less, as what sags grows thicker. See `flows`.

    Returns
    -------
    list of Flag
        One a band.
    """
    h = response.history
    found = []
    for card, flow in zip(response.cards, flows(response), strict=True):
        if flow.lean > STEEPEST:
            found.append(
                not_computed(
                    card.name,
                    f"the wall leans by {flow.lean:.1f}°, and what its weight does is known to "
                    f"{STEEPEST:.0f}°",
                    "Fire a test piece with this lean.",
                )
            )
            continue
        found.append(
            Flag(
                zone=card.name,
                utilisation=flow.mean / SAG_NO,
                caution=SAG_CAUTION / SAG_NO,
                figure=100 * flow.mean,
                limit=100 * SAG_NO,
                unit="% of its height",
                note="height lost to flow under own weight",
                time=float(h.time[flow.time]),
                temperature=float(h.temperature[flow.time]),
                height=flow.height,
            )
        )
    return found


def slump_flags(response: Response) -> list[Flag]:
    """Bands that flow so far that they stand no more: what is a sag up to there is then a puddle.

    Asked of the most loaded level: a wall that goes down there goes down with all that it bears.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a band whose most loaded level flows beyond the limit of a sag; none else.
    """
    return [
        replace(
            flag,
            utilisation=flow.most / SLUMP_NO,
            caution=SAG_NO / SLUMP_NO,
            figure=100 * flow.most,
            limit=100 * SLUMP_NO,
            unit="% strain",
            note="flow under own weight where most is borne, summed over a wall that would keep "
            "its shape",
        )
        for flag, flow in zip(sag_flags(response), flows(response), strict=True)
        if flow.most > SAG_NO
    ]


PEAK = Rule(
    name="peak",
    loses=True,
    harm="it melts or slumps",
    first=True,
    asks="Does any substance melt, or overfire?",
    find=peak_flags,
    sees=frozenset({FIRING, SUBSTANCES}),
    green=True,
    source="solidus of the metal, firing ceiling of the body (card)",
    remedy="Lower the peak.",
)
DENSITY = Rule(
    name="density",
    loses=False,
    harm="it stays porous and weaker",
    asks="Does every substance become as dense as wanted?",
    find=density_flags,
    sees=frozenset({FIRING, SUBSTANCES}),
    green=True,
    source="least density wanted on the card",
    remedy="Fire hotter or hold longer, within the other zone's limit.",
    piece="shrinkage bar",
)
ATMOSPHERE = Rule(
    name="atmosphere",
    loses=True,
    harm="the gas keeps a zone from sintering",
    doubt="the gas may change a zone",
    first=True,
    asks="Does the gas suit every substance?",
    find=atmosphere_flags,
    sees=frozenset({GAS, SUBSTANCES}),
    green=True,
    source="oxide equilibria at the peak, and the card's remarks",
    remedy="",
    piece="shrinkage bar",
    sign="a broken face that is not bright metal, or clean body, to the middle",
)
CORE = Rule(
    name="core",
    loses=False,
    harm="char stays inside: a dark core, or metal that does not join",
    asks="Is the char gone before the pores close?",
    find=core_flags,
    sees=frozenset({FIRING, GAS, SUBSTANCES}),
    green=True,
    source="common practice",
    remedy="Burn out in air: slower between 250 and 550 °C, with a hold, before the pack is "
    "closed.",
    piece="shrinkage bar",
    sign="a dark core on the broken face",
)
DRYING = Rule(
    name="drying",
    loses=True,
    harm="it cracks while it dries",
    asks="Do bands shrink alike while they dry, or fade over enough height?",
    find=drying_flags,
    sees=frozenset({BLENDS, LAYERS, NEIGHBOUR, SHAPE}),
    green=True,
    source="common practice",
    remedy="Bring the water of both pastes together, dry slowly under cover, joint last.",
    piece="shrinkage bar",
)
BURNOUT = Rule(
    name="burnout",
    loses=True,
    harm="the gas of binder and bound water bursts the wall",
    asks="Does the gas of binder and bound water leave the wall without bursting it?",
    find=burnout_flags,
    sees=frozenset({FIRING, SUBSTANCES, SHAPE}),
    green=True,
    source="strength of the body at that moment (card)",
    remedy="Slow the ramp through burnout, or hold below it.",
    piece="shrinkage bar",
    sign="a blister, or a split along the layers",
)
SAG = Rule(
    name="sag",
    loses=False,
    harm="it sags out of shape",
    shows=True,
    asks="Does a band slump under its own weight?",
    find=sag_flags,
    sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE}),
    green=True,
    source="common practice",
    remedy="Lower or shorten the soak of the firing, thin the rim, or support the wall.",
    piece="sag bar",
)

SLUMP = Rule(
    name="slump",
    loses=True,
    harm="it flows flat",
    first=True,
    asks="Does a band flow so far that it stands no more?",
    find=slump_flags,
    sees=SAG.sees,
    green=True,
    source="a third of its height left (estimate)",
    remedy="Lower or shorten the soak of the firing, or fire the body in a mould.",
    piece="sag bar",
)

RULES = (PEAK, DENSITY, ATMOSPHERE, CORE, DRYING, BURNOUT, SAG, SLUMP)
"""Rules that need no stress of the vessel."""
