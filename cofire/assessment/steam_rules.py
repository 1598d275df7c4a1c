"""Flags of what must pass through the wall on the first heating: steam out, oxygen in."""

from __future__ import annotations

import numpy as np

from cofire.assessment.firing_rules import CHAR_CAUTION, CHAR_NO, PORES_CLOSE
from cofire.assessment.response import Response
from cofire.assessment.rule import FIRING, GAS, SHAPE, SUBSTANCES, Flag, Rule
from cofire.firing.kiln import Trace
from cofire.materials.card import Card
from cofire.physics.burnout import (
    STEAM_MOLAR_MASS,
    evaporation_rate,
    gas_overpressure,
    holds_clay,
    hydraulic_grain,
    moisture_left,
    open_pores,
    oxygen_depth,
    steam_viscosity,
)
from cofire.physics.porosity import conductivity_at
from cofire.units import GAS_CONSTANT, celsius

AIR_DRY = 0.02
"""Water that air-dry clay ware still holds, of its mass: common practice, 1 to 3 %. Pressure grows
slower than its root. [-]"""
PASTE_MOISTURE = 0.06
"""Water that dried binder holds, of its mass: ethers 4 %, gums 10 % (the binder table). [-]"""
MOISTURE_DIFFUSIVITY, MOISTURE_ENERGY = 3e-9, 40e3
"""Of moisture in clay at 90 °C, and its activation energy: estimates, 1e-10 to 1e-8 m²/s from
memory. It decides only how long a hold below the boil must be. [m²/s], [J/mol]"""
STEAM_TEMPERATURE = 383.0
"""Of steam where a wall boils. [K]"""
BOILS, BOILED = 373.0, 423.0
"""Ware between these boils: the fastest ramp there counts. [K]"""
STEAM_CAUTION = 0.3
"""Share of the dry strength from which steam is a caution: as for burnout, our choice; damp clay is
weaker than dry. [-]"""
CHAR_YIELD = 0.132
"""Char of the binder without air, of its mass (the binder table). [-]"""
BURNS_FROM = 673.0
"""Below it carbon does not burn: common practice. [K]"""
BLACK_CORE = 0.1
"""Share of the wall that may keep its carbon when the pores close: our choice. [-]"""


def steam_pressure(card: Card, curve: Trace, wall: float) -> tuple[float, float, float]:
    """Steam pressure in the middle of a wall that goes through the boil, and when.

    A dried metal paste is taken to conduct as grains that are joined would: on the safe side.

    Parameters
    ----------
    card : Card
        Not a blend.
    curve : Trace
        What the ware sees.
    wall : float
        Thickness. [m]

    Returns
    -------
    tuple of float
        Pressure above the kiln's [Pa], water left at the boil, of the dry mass [-], and the time
        of the fastest ramp. [s]
    """
    green = card["green_density"].scalar
    solid = card["theoretical_density"].scalar * green
    water = AIR_DRY if holds_clay(card) else PASTE_MOISTURE * card["binder"].scalar
    T, t = curve.ware, curve.time
    first = int(np.argmax(T >= BOILS)) if np.any(T >= BOILS) else T.size - 1
    dries = MOISTURE_DIFFUSIVITY * np.exp(
        -MOISTURE_ENERGY / GAS_CONSTANT * (1.0 / T - 1.0 / 363.15)
    )
    steps = 0.5 * (dries[1:] + dries[:-1]) * np.diff(t)
    left = water * float(moisture_left(np.sum(steps[:first]) / wall**2))
    boiling = np.flatnonzero((T[:-1] >= BOILS - 10.0) & (T[:-1] <= BOILED) & (np.diff(T) > 0.0))
    if boiling.size == 0:
        return 0.0, left, float(t[first])
    rates = np.diff(T)[boiling] / np.diff(t)[boiling]
    fastest = int(np.argmax(rates))
    known = card["thermal_conductivity"]
    conducts = float(conductivity_at(known.value[0], known.at_density, green))
    release = evaporation_rate(left * solid, rates[fastest], wall, max(conducts, 0.1))
    pressure = gas_overpressure(
        release, wall, hydraulic_grain(card), open_pores(card, green, 0.0), STEAM_TEMPERATURE,
        steam_viscosity(STEAM_TEMPERATURE), STEAM_MOLAR_MASS,
    )  # fmt: skip
    return float(pressure), left, float(t[boiling[fastest]])


def steam_flags(response: Response) -> list[Flag]:
    """Steam in the middle of the wall against the strength of the dried body: blown-up ware.

    Water left at the boil after what the ramp and any hold below it have dried; the core stays at
    the boil while the faces run ahead.

    Returns
    -------
    list of Flag
        One a substance; a blend lies between its parts.
    """
    wall = float(response.fired.wall.max())
    found = []
    for card in response.substances[1]:
        pressure, left, time = steam_pressure(card, response.trace, wall)
        strength = card["green_strength"].scalar
        found.append(
            Flag(
                zone=card.name,
                utilisation=(pressure / strength),
                caution=STEAM_CAUTION,
                figure=(pressure / 1e3),
                limit=(strength / 1e3),
                unit="kPa",
                note=(f"steam in the wall; {100.0 * left:.2g} % water left at the boil"),
                time=time,
                temperature=float(np.interp(time, response.trace.time, response.trace.ware)),
            )
        )
    return found


def oxygen_flags(response: Response) -> list[Flag]:
    """Carbon that oxygen has not reached when the pores close: black core of thick walls.

    The kinetics of burnout alone are `core_of`; here the carbon is the binder's char, and oxygen
    must come through the pores already burnt. Only while there is air, else no oxygen comes at
    all and `core_of` tells it. Where another gas follows or goes before, the rule is no stricter
    than `core_of` would be on that char: an open burnout is never worse than none.

    Returns
    -------
    list of Flag
        One a substance, none where air never reaches hot carbon.
    """
    curve = response.trace
    always = not curve.turns
    in_air = curve.hottest_in.get("air")
    if in_air is None or (not always and curve.ware[in_air] < BURNS_FROM):
        return []
    wall = float(response.fired.wall.max())
    history, cards = response.substances
    found = []
    for row, card in enumerate(cards):
        density = history.relative_density[row]
        closes = np.flatnonzero(history.progress[row] > PORES_CLOSE)
        closing = int(closes[0]) if closes.size else density.size - 1
        carbon = (
            CHAR_YIELD * card["binder"].scalar * card["theoretical_density"].scalar * density[0]
        )
        depths = oxygen_depth(
            history.time,
            history.temperature,
            carbon,
            1.0 - float(density[0]),
            BURNS_FROM,
            None if always else curve.steps_in("air"),
        )
        depth = float(depths[closing])
        # the depth oxygen must reach, over the depth it has
        utilisation = 0.5 * wall * (1.0 - BLACK_CORE) / max(depth, 1e-9)
        hot = celsius(float(history.temperature[closing]))
        kept = CHAR_YIELD * card["binder"].scalar * max(1.0 - depth / (0.5 * wall), 0.0)
        if not always and kept / CHAR_NO < utilisation:
            found.append(
                Flag(
                    zone=card.name,
                    utilisation=kept / CHAR_NO,
                    caution=CHAR_CAUTION / CHAR_NO,
                    figure=100 * kept,
                    limit=100 * CHAR_NO,
                    unit="% of dried mass",
                    note="char that oxygen does not reach while there is air",
                    time=float(history.time[closing]),
                    temperature=float(history.temperature[closing]),
                )
            )
            continue
        found.append(
            Flag(
                zone=card.name,
                utilisation=utilisation,
                caution=0.5,
                figure=(5e2 * wall * (1.0 - BLACK_CORE)),
                limit=min(1e3 * depth, 1e4),
                unit="mm from each face",
                note=(f"depth that must burn before the pores close at {hot:.0f} °C"),
                time=float(history.time[closing]),
                temperature=float(history.temperature[closing]),
            )
        )
    return found


STEAM = Rule(
    name="steam",
    loses=True,
    harm="steam bursts the wall",
    asks="Does the last water leave the wall without bursting it?",
    find=steam_flags,
    sees=frozenset({FIRING, SUBSTANCES, SHAPE}),
    green=True,
    source="strength of the dried body (card)",
    remedy="Hold at 80 to 95 °C until the ware is dry, then slowly to 150 °C; weigh a piece "
    "before and after a night at 90 °C.",
    piece="shrinkage bar",
    sign="a bar that burst or lost a flake at the boil",
)
OXYGEN = Rule(
    name="oxygen",
    loses=False,
    harm="a dark core stays in the wall",
    asks="Does oxygen reach the middle of the wall before the pores close?",
    find=oxygen_flags,
    sees=frozenset({FIRING, GAS, SUBSTANCES, SHAPE}),
    green=True,
    source="oxygen diffusing through the pores (shrinking core)",
    remedy="Hold in air between 450 and 600 °C, four times as long for twice the wall; break "
    "a piece of that wall and look for a black core.",
    piece="shrinkage bar",
    sign="a dark core on the broken face",
)

RULES = (STEAM, OXYGEN)
"""Rules of what must pass through the wall on the first heating."""
