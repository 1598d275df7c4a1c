"""Flags that need no stress of the vessel: window, gas, drying, burnout, sag."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import GRADE, Flag, joint_name, not_computed
from cofire.assessment.windows import SOLIDUS_MARGIN, ceiling, gas_grade
from cofire.materials.card import Card
from cofire.physics import mixing
from cofire.physics.burnout import gas_viscosity, permeability, wall_overpressure
from cofire.physics.history import History, histories
from cofire.physics.rheology import viscosity_at
from cofire.units import GAS_CONSTANT, GRAVITY, celsius

DRYING_CAUTION, DRYING_NO = 0.005, 0.02
"""Difference of drying shrinkage between neighbouring bands: common practice. [-]"""
CHAR_CAUTION, CHAR_NO = 0.001, 0.005
"""Char left, of the dried mass, when a body's pores begin to close: common practice. [-]"""
PORES_CLOSE = 0.5
"""Share of its densification after which a body's pores count as closing: common practice. [-]"""
VAPOUR_MOLAR_MASS = 0.030
"""Of the burnout gases, between water and carbon dioxide: common practice. [kg/mol]"""
SAG_CAUTION, SAG_NO = 0.01, 0.05
"""Height lost to flow under own weight, of the band's height: common practice. [-]"""
STEEPEST = 45.0
"""Lean of a wall from upright beyond which the column of the sag rule says nothing. [°]"""
PEAK_CAUTION = 10.0
"""Closer than this to a zone's limit a kiln's unevenness decides: common practice. [K]"""


def materials(response: Response) -> list[tuple[int, Card]]:
    """Row in the history and card of each material of the vessel, once each.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of tuple
        In the order of the history.
    """
    return sorted(dict(zip(response.material, response.cards, strict=True)).items())


def substances(response: Response) -> tuple[History, list[Card]]:
    """Every metal and ceramic of the vessel, those that only stand in a blend included.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple of History and list of Card
        What each does alone, row by row, and its card.
    """
    rows = {card.name: row for row, card in materials(response) if not card.parts}
    cards = {
        part.name: part
        for _, card in materials(response)
        for part in ([p for p, _ in card.parts] or [card])
    }
    if rows.keys() == cards.keys():
        return response.history.rows([rows[name] for name in cards]), list(cards.values())
    alone = histories(list(cards.values()), response.trace, extend=True)
    return alone, list(cards.values())


def window_flags(response: Response) -> list[Flag]:
    """Dense enough, and neither molten nor overfired; one of each a substance.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        Density reached over density wanted, and peak of the ware over its limit.
    """
    found = []
    peak = response.trace.peak
    hottest = float(response.trace.time[np.argmax(response.trace.ware)])
    history, cards = substances(response)
    for card, density in zip(cards, history.relative_density[:, -1], strict=True):
        top = ceiling(card)
        metal = card.kind == "metal"
        found.append(
            Flag(
                "peak", card.name, celsius(peak) / celsius(top),
                celsius(top - PEAK_CAUTION) / celsius(top), celsius(peak), celsius(top), "°C",
                f"solidus less {SOLIDUS_MARGIN:.0f} K" if metal else "the body's firing ceiling",
                f"Lower the peak to {celsius(top) - PEAK_CAUTION:.0f} °C or less.",
                "peak of the ware", hottest, peak,
            )
        )  # fmt: skip
        green, least = card["green_density"].scalar, card["least_density"].scalar
        # the way wanted over the way gone: 1 where the wanted density is just reached
        utilisation = (least - green) / max(float(density) - green, 1e-9)
        found.append(
            Flag(
                "density", card.name, utilisation, 0.97, float(density), least, "of full density",
                "least density wanted on the card",
                "Fire hotter or hold longer, within the other zone's limit.",
                "relative density after the firing",
            )
        )  # fmt: skip
    return found


def atmosphere_flags(response: Response) -> list[Flag]:
    """What the gas does to each substance, and the char a body closes in.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        Utilisations 0, 0.75 and 2 stand for good, caution and refused.
    """
    found = []
    gas = response.vessel.firing.gas
    history, cards = substances(response)
    for card in cards:
        grade, reason = gas_grade(card, gas, response.trace.peak)
        utilisation = (0.0, 0.75, 2.0)[grade]
        found.append(
            Flag(
                "atmosphere", card.name, utilisation, 0.5, float(grade), 1.0, GRADE,
                "oxide equilibria at the peak, and the card's remarks",
                f"Fire in a gas that suits both zones; {gas} does not." if grade else "",
                reason or f"{card.name} is at home in {gas}",
                temperature=response.trace.peak,
            )
        )  # fmt: skip
    return found + core_of(history, cards)


def core_of(history: History, cards: Sequence[Card]) -> list[Flag]:
    """Char left in each body when its pores begin to close: black core, bloating.

    Parameters
    ----------
    history : History
        Of the cards, in order.
    cards : sequence of Card
        Those that are not bodies are passed over.

    Returns
    -------
    list of Flag
        One a body.
    """
    found = []
    for row, card in enumerate(cards):
        if card.kind != "ceramic":
            continue
        density, mass = history.relative_density[row], history.mass_fraction[row]
        grown = (density - density[0]) / max(density[-1] - density[0], 1e-9)
        closes = np.flatnonzero(grown > PORES_CLOSE)
        closing = int(closes[0]) if closes.size else -1
        bare = 1.0 - card["binder"].scalar - card.scalar("loss_on_ignition", 0.0)
        char = max(float(mass[closing]) - bare, 0.0)
        found.append(
            Flag(
                "core", card.name, char / CHAR_NO, CHAR_CAUTION / CHAR_NO, 100 * char,
                100 * CHAR_NO, "% of dried mass", "common practice",
                "Burn out in air: slower between 250 and 550 °C, with a hold, before the pack is "
                "closed.",
                "char left in the body when its pores begin to close",
                float(history.time[closing]), float(history.temperature[closing]),
            )
        )  # fmt: skip
    return found


def drying_flags(response: Response) -> list[Flag]:
    """Bands that shrink differently while they dry as one piece.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

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
                "drying", joint_name(below.name, above.name), apart / DRYING_NO,
                DRYING_CAUTION / DRYING_NO, 100 * apart, 100 * DRYING_NO, "% of length",
                "common practice",
                "Bring the water of both pastes together, dry slowly under cover, joint last.",
                "difference of drying shrinkage", height=float(height),
            )
        )  # fmt: skip
    return found


def burnout_flags(response: Response) -> list[Flag]:
    """Gas pressure in the middle of the wall against the strength of the moment.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a substance; a blend lies between its parts.
    """
    history, cards = substances(response)
    return burnout_of(history, cards, float(response.shell.wall.max()))


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
        filled = np.clip(card["binder"].scalar - lost, 0.0, None) * solid / 1300.0
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
                "burnout", card.name, float(utilisation[worst]), 0.3, float(pressure[worst]) / 1e3,
                float(h.strength[row, worst]) / 1e3, "kPa",
                "strength of the body at that moment (card)",
                f"Slow the ramp around {celsius(float(h.temperature[worst])):.0f} °C, "
                "or hold below it.",
                "gas pressure in the middle of the wall",
                float(h.time[worst]), float(h.temperature[worst]),
            )
        )  # fmt: skip
    return found


def sag_flags(response: Response) -> list[Flag]:
    """Height that each band loses by flowing under the weight above it.

    The foot of the band carries all that stands above, as a column: true for walls within about
    20° of upright. Leaning walls sag more, by bending. A base that lies on the shelf does not sag.
    A blend flows as the self-consistent mixture of its phases, each as stiff as it is at this
    stress, whatever else the vessel has: continuous from the pure metal to the pure body.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a band.
    """
    h, shell = response.history, response.shell
    alone, pure = substances(response)
    place = {card.name: row for row, card in enumerate(pure)}
    stands = ~np.repeat(shell.meridian.lying, 2)
    volume = np.where(stands, shell.volume.sum(axis=1), 0.0)
    found = []
    for band, card in enumerate(response.cards):
        here = np.flatnonzero((shell.band == band) & stands)
        lean = float(np.degrees(np.abs(shell.slope[here]).max()))
        if lean > STEEPEST:
            found.append(
                not_computed(
                    "sag", card.name, f"the wall leans by {lean:.0f}°, and the column model ends "
                    f"at {STEEPEST:.0f}°", "Fire a test piece with this lean.",
                )
            )  # fmt: skip
            continue
        above = [
            volume[shell.band == b].sum()
            * response.cards[b]["theoretical_density"].scalar
            * h.relative_density[response.material[b]]
            for b in range(band, len(response.cards))
        ]
        low = int(here[0])
        section = 2.0 * np.pi * shell.radius[low] * shell.wall[low]
        stress = np.sum(above, axis=0) * GRAVITY / section
        phases = [
            viscosity_at(
                stress, alone.viscosity[row], alone.creep_factor[row], alone.creep_exponent[row]
            )
            for row in (place[c.name] for c in ([p for p, _ in card.parts] or [card]))
        ]
        eta = mixing.viscosity(card.parts[0][1], *phases) if card.parts else phases[0]
        rate = stress / eta
        strain = float(np.trapezoid(rate, h.time))
        worst = int(np.argmax(rate))
        found.append(
            Flag(
                "sag", card.name, strain / SAG_NO, SAG_CAUTION / SAG_NO, 100 * strain,
                100 * SAG_NO, "% of its height", "common practice",
                "Lower or shorten the top of the firing, thin the rim, or support the wall.",
                "height lost to flow under own weight", float(h.time[worst]),
                float(h.temperature[worst]), float(shell.height[low]),
            )
        )  # fmt: skip
    return found
