"""Flags that need no stress of the vessel: window, gas, drying, burnout, sag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

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
from cofire.assessment.windows import SOLIDUS_MARGIN, ceiling, grade_in_turn
from cofire.materials.binders import ash_share
from cofire.materials.card import Card
from cofire.physics import mixing
from cofire.physics.burnout import gas_viscosity, permeability, wall_overpressure
from cofire.physics.history import History
from cofire.physics.paste import BINDER_DENSITY
from cofire.physics.rheology import viscosity_at
from cofire.units import GAS_CONSTANT, GRAVITY, celsius

DRYING_CAUTION, DRYING_NO = 0.005, 0.02
"""Difference of drying shrinkage between neighbouring bands: common practice. [-]"""
CHAR_CAUTION, CHAR_NO = 0.001, 0.005
"""Char left, of the dried mass, when a body's pores begin to close: common practice. [-]"""
KEEPS_CHAR = frozenset({"Ag", "Au", "Cu"})
"""Bases of metals that dissolve next to no carbon, some thousandths of a per cent even when molten:
char stays between their grains. Iron, nickel and steels dissolve it, titanium makes carbide of it.
From memory."""
PORES_CLOSE = 0.5
"""Share of its densification after which a body's pores count as closing: common practice. [-]"""
VAPOUR_MOLAR_MASS = 0.030
"""Of the burnout gases, between water and carbon dioxide: common practice. [kg/mol]"""
SAG_CAUTION, SAG_NO = 0.01, 0.05
"""Height lost to flow under own weight, of the band's height: common practice. [-]"""
SLUMP_NO = 1.0
"""Natural strain of flow under own weight at which a wall has gone down to a third of its height
and stands no more. Estimate: flow grows by a power of ten in some 50 K, so a factor of two is 15 K.
[-]"""
STEEPEST = 45.0
"""Lean of a wall from upright beyond which the column of the sag rule says nothing. [°]"""
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


def atmosphere_flags(response: Response) -> list[Flag]:
    """What the gas does to each substance, each gas over the moments in which it is there.

    Returns
    -------
    list of Flag
        Utilisations 0, 0.75 and 2 stand for good, caution and refused.
    """
    found = []
    gas = response.vessel.firing.gas_words
    turns = [(s.gas, s.peak) for s in response.trace.stretches]
    remedy = f"Fire in a gas that suits both zones; {gas} does not."
    if len(turns) > 1:
        remedy = (
            "Keep it open no hotter than burnout needs, then closed in a gas that suits both zones."
        )
    for card in response.substances[1]:
        grade, reason, peak = grade_in_turn(card, turns)
        found.append(
            Flag(
                zone=card.name,
                utilisation=(0.0, 0.75, 2.0)[grade],
                caution=0.5,
                figure=float(grade),
                limit=1.0,
                unit=GRADE,
                note=reason or f"{card.name} is at home in {gas}",
                remedy=remedy if grade else "",
                temperature=peak,
            )
        )
    return found


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
    """Bands that shrink differently while they dry as one piece.

    Returns
    -------
    list of Flag
        One a step between bands.
    """
    found = []
    for below, above, height in zip(
        response.cards[:-1], response.cards[1:], response.vessel.steps, strict=True
    ):
        apart = abs(below["drying_shrinkage"].scalar - above["drying_shrinkage"].scalar)
        found.append(
            Flag(
                zone=joint_name(below.name, above.name),
                utilisation=apart / DRYING_NO,
                caution=DRYING_CAUTION / DRYING_NO,
                figure=100 * apart,
                limit=100 * DRYING_NO,
                unit="% of length",
                note="difference of drying shrinkage",
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

    Darcy flow out of both faces of a slab with uniform release (a quasi-steady estimate: true
    while the release changes slowly against the time gas needs to leave, seconds here);
    permeability after Kozeny and Carman for grains of one size, the binder still in the pores.

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
        release = -np.gradient(h.mass_fraction[row], h.time) * solid
        lost = 1.0 - h.mass_fraction[row]
        filled = np.clip(card["binder"].scalar - lost, 0.0, None) * solid / BINDER_DENSITY
        pores = np.clip(1.0 - h.relative_density[row] - filled, 0.02, None)
        gas = 101325.0 * VAPOUR_MOLAR_MASS / (GAS_CONSTANT * h.temperature)
        pressure = wall_overpressure(
            np.clip(release, 0.0, None), gas_viscosity(h.temperature), wall,
            permeability(card["particle_size"].scalar, pores), gas,
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


def sag_flags(response: Response) -> list[Flag]:
    """Height that each band loses by flowing under the weight above it.

    The band's most loaded level carries all that stands above, as a column: its foot, or where it
    is thinned above that, its thin part. True for walls within about 20° of upright. Leaning walls
    sag more, by bending. A base that lies on the shelf does not sag. A blend flows as the
    self-consistent mixture of its phases, each as stiff as it is at this stress, whatever else the
    vessel has: continuous from the pure metal to the pure body.

    Returns
    -------
    list of Flag
        One a band.
    """
    h, shell = response.history, response.fired
    alone, pure = response.substances
    place = {card.name: row for row, card in enumerate(pure)}
    stands = ~shell.lying
    volume = np.where(stands, shell.volume.sum(axis=1), 0.0)
    found = []
    for band, card in enumerate(response.cards):
        here = np.flatnonzero((shell.band == band) & stands)
        lean = float(np.degrees(np.abs(shell.slope[here]).max()))
        if lean > STEEPEST:
            found.append(
                not_computed(
                    card.name,
                    f"the wall leans by {lean:.0f}°, and the column model ends at {STEEPEST:.0f}°",
                    "Fire a test piece with this lean.",
                )
            )
            continue
        above = [
            volume[shell.band == b].sum()
            * response.cards[b]["theoretical_density"].scalar
            * h.relative_density[response.material[b]]
            for b in range(band, len(response.cards))
        ]
        own = card["theoretical_density"].scalar * h.relative_density[response.material[band]]
        below = np.concatenate([[0.0], np.cumsum(volume[here])[:-1]])
        sections = 2.0 * np.pi * shell.radius[here] * shell.wall[here]
        weight = np.sum(above, axis=0)
        most = int(np.argmax((weight[-1] - own[-1] * below) / sections))
        low, section = int(here[most]), float(sections[most])
        stress = (weight - own * below[most]) * GRAVITY / section
        phases = [
            viscosity_at(
                stress, alone.viscosity[row], alone.creep_factor[row], alone.creep_exponent[row]
            )
            for row in (place[c.name] for c in (p for p, _ in card.constituents))
        ]
        eta = mixing.viscosity(card.metal_share, *phases) if card.parts else phases[0]
        rate = stress / eta
        strain = float(np.trapezoid(rate, h.time))
        worst = int(np.argmax(rate))
        found.append(
            Flag(
                zone=card.name,
                utilisation=strain / SAG_NO,
                caution=SAG_CAUTION / SAG_NO,
                figure=100 * strain,
                limit=100 * SAG_NO,
                unit="% of its height",
                note="height lost to flow under own weight",
                time=float(h.time[worst]),
                temperature=float(h.temperature[worst]),
                height=float(shell.height[low]),
            )
        )
    return found


def slump_flags(response: Response) -> list[Flag]:
    """Bands that flow so far that they stand no more: what is a sag up to there is then a puddle.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a band that sags beyond the limit of a sag; none else.
    """
    return [
        replace(
            flag,
            utilisation=flag.figure / (100 * SLUMP_NO),
            caution=SAG_NO / SLUMP_NO,
            limit=100 * SLUMP_NO,
            note="flow under own weight, summed over a wall that would keep its shape",
        )
        for flag in sag_flags(response)
        if flag.figure > 100 * SAG_NO
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
    first=True,
    asks="Does the gas suit every substance?",
    find=atmosphere_flags,
    sees=frozenset({GAS, SUBSTANCES}),
    green=True,
    source="oxide equilibria at the peak, and the card's remarks",
    remedy="",
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
    asks="Do neighbouring bands shrink alike while they dry?",
    find=drying_flags,
    sees=frozenset({BLENDS, LAYERS, NEIGHBOUR}),
    green=True,
    source="common practice",
    remedy="Bring the water of both pastes together, dry slowly under cover, joint last.",
    piece="shrinkage bar",
)
BURNOUT = Rule(
    name="burnout",
    loses=True,
    harm="the gas of the binder bursts the wall",
    asks="Does the gas of the binder leave the wall without bursting it?",
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
