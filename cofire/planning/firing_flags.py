"""Flags that need no stress of the vessel: window, gas, drying, burnout, sag."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.inputs.units import celsius
from cofire.physics.densification import GAS_CONSTANT
from cofire.physics.gas_flow import gas_viscosity, permeability, wall_overpressure
from cofire.physics.history import History
from cofire.planning.flags import Flag, not_computed
from cofire.planning.gases import gas_grade
from cofire.planning.response import Response
from cofire.planning.windows import SOLIDUS_MARGIN, ceiling

Array = NDArray[np.float64]

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


def window_flags(response: Response) -> list[Flag]:
    """Dense enough, and neither molten nor overfired; one of each a material.

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
    for row, card in materials(response):
        top = ceiling(card)
        metal = card.kind != "ceramic"
        found.append(
            Flag(
                "peak", card.name, (celsius(peak)) / celsius(top),
                celsius(top - PEAK_CAUTION) / celsius(top), celsius(peak), celsius(top), "°C",
                f"solidus less {SOLIDUS_MARGIN:.0f} K" if metal else "the body's firing ceiling",
                f"Lower the peak to {celsius(top) - PEAK_CAUTION:.0f} °C or less.",
                "peak of the ware",
                float(response.trace.time[np.argmax(response.trace.ware)]), peak,
            )
        )  # fmt: skip
        for part in [p for p, _ in card.parts] or [card]:
            if card.parts and any(part.name == c.name for _, c in materials(response)):
                continue
            density = _density_alone(response, row, part, card)
            green, least = part["green_density"].scalar, part["least_density"].scalar
            # how much of the way is missing: 1 where the wanted density is just reached
            load = (least - green) / max(density - green, 1e-9)
            found.append(
                Flag(
                    "density", part.name, load, 0.97, density, least, "of full density",
                    "least density wanted on the card",
                    "Fire hotter or hold longer, within the other zone's limit.",
                    "relative density after the firing",
                )
            )  # fmt: skip
    return found


def _density_alone(response: Response, row: int, part: Card, card: Card) -> float:
    """Density of a material, or of a blend's part that no band holds pure."""
    if not card.parts:
        return float(response.history.relative_density[row, -1])
    from cofire.physics.sintering import relative_density

    return float(relative_density(part, response.trace, extend=True)[-1])


def atmosphere_flags(response: Response) -> list[Flag]:
    """What the gas does to each material, and the char a body closes in.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        Loads 0, 0.75 and 2 stand for good, caution and refused.
    """
    found = []
    gas = response.vessel.firing.gas
    for _, card in materials(response):
        grade, reason = gas_grade(card, gas, response.trace.peak)
        load = (0.0, 0.75, 2.0)[grade]
        found.append(
            Flag(
                "atmosphere", card.name, load, 0.5, float(grade), 1.0, "grade",
                "oxide equilibria at the peak, and the card's remarks",
                f"Fire in a gas that suits both zones; {gas} does not." if grade else "",
                reason or f"{card.name} is at home in {gas}",
                temperature=response.trace.peak,
            )
        )  # fmt: skip
    return found + core_of(*_pure(response))


def _pure(response: Response) -> tuple[History, list[Card]]:
    """History and cards of the materials that are not blends."""
    rows = [(row, card) for row, card in materials(response) if not card.parts]
    return response.history.rows([row for row, _ in rows]), [card for _, card in rows]


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
        closing = int(np.argmax(grown > PORES_CLOSE))
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
                "drying", f"{below.name} / {above.name}", apart / DRYING_NO,
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
        One a material that is not a blend; a blend lies between its parts.
    """
    history, cards = _pure(response)
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
        load = pressure / h.strength[row]
        worst = int(np.argmax(load))
        found.append(
            Flag(
                "burnout", card.name, float(load[worst]), 0.3, float(pressure[worst]) / 1e3,
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
    20° of upright. Leaning walls sag more, by bending.

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
    volume = shell.volume.sum(axis=1)
    found = []
    leaning = float(np.max(np.abs(shell.slope[shell.radius > 2.0 * shell.wall])))
    for band, card in enumerate(response.cards):
        row = response.material[band]
        here = shell.band == band
        low = int(np.flatnonzero(here)[0])
        above = [
            volume[shell.band == b].sum()
            * response.cards[b]["theoretical_density"].scalar
            * h.relative_density[response.material[b]]
            for b in range(band, len(response.cards))
        ]
        section = 2.0 * np.pi * shell.radius[low] * shell.wall[low]
        stress = np.sum(above, axis=0) * 9.80665 / section
        rate = stress / h.viscosity[row] + h.creep_factor[row] * stress ** h.creep_exponent[row]
        strain = float(np.trapezoid(rate, h.time))
        worst = int(np.argmax(rate))
        place = {
            "time": float(h.time[worst]),
            "temperature": float(h.temperature[worst]),
            "height": float(shell.height[low]),
        }
        if np.degrees(leaning) > 45.0:
            found.append(
                not_computed(
                    "sag", card.name, f"the wall leans by {np.degrees(leaning):.0f}°, and the "
                    "column model ends at 45°", "Fire a test piece with this lean.",
                )
            )  # fmt: skip
            continue
        found.append(
            Flag(
                "sag", card.name, strain / SAG_NO, SAG_CAUTION / SAG_NO, 100 * strain,
                100 * SAG_NO, "% of its height", "common practice",
                "Lower or shorten the top of the firing, thin the rim, or support the wall.",
                "height lost to flow under own weight", **place,
            )
        )  # fmt: skip
    return found
