"""Flags of what comes after the kiln: cracks that tension and damp air grow for years."""

from __future__ import annotations

import numpy as np

from cofire.assessment.crack_rules import (
    COLD,
    FAILURE_CAUTION,
    FAILURE_NO,
    body_strength,
    bridged,
    principal_stresses,
    risk_at,
    share_at,
)
from cofire.assessment.cracks import SINTERED, spreads
from cofire.assessment.response import Response
from cofire.assessment.rule import (
    BLENDS,
    FIRING,
    LAYERS,
    NEIGHBOUR,
    PER_CENT_CRACK,
    SHAPE,
    STRESS,
    Flag,
    Rule,
)
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.slow_crack_growth import aged_factor
from cofire.physics.strength import rupture_risk

YEAR = 365.25 * 86400.0
"""How long a fired vessel is asked to hold: our choice. Ten years ask for 10^(1/n) more, a seventh
for n = 17. [s]"""
TEST_TIME = 10.0
"""How long the bars behind a card's strength were loaded: ASTM C1161 asks for 10 to 15 s (from
memory). A factor of two moves the utilisation by 2^(1/n), a thirtieth for n = 20. [s]"""
GROWTH_EXTREMES = 40.0, 12.0
"""n between which that of a body lies whose card gives none, the safer first: extremes of what was
read. [-]"""
GROWTH_EXPONENT = 20.0
"""n of a body whose card gives none: estimate between 16 of soda-lime glass and 36 of a dental
porcelain, 12 to 40 as extremes. Half of it makes the utilisation
2.3 times as large. [-]"""


def later_exponent(card: Card) -> tuple[float, float, bool]:
    """Exponent and threshold of slow crack growth of a brittle body, and whether they are its own.

    Parameters
    ----------
    card : Card
        A ceramic.

    Returns
    -------
    tuple
        n [-], K_th over K_Ic, zero where none was measured [-], and whether n is on the card.
    """
    return (
        card.scalar("crack_growth_exponent", GROWTH_EXPONENT),
        card.scalar("crack_growth_threshold", 0.0),
        "crack_growth_exponent" in card,
    )


def later_risks(response: Response, time: float = YEAR) -> tuple[Array, Array, list[int]]:
    """Weibull risk of rupture of each brittle band under the tension left in it when cold.

    In a blend that metal runs through at most what that metal does not hold, today and in a year.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    time : float
        That it stands in humid air at room temperature. [s]

    Returns
    -------
    tuple
        Risk at once and risk by then, shape (K,) each [-], and the K bands they belong to.
    """
    shell, done = response.fired, response.progress
    at_once, by_then, bands = [], [], []
    for band, card in enumerate(response.cards):
        ceramic = card.ceramic
        row = response.material[band]
        if ceramic is None or done[row, -1] < SINTERED:
            continue
        unit, m = body_strength(ceramic, response.history.strength[row, -1])
        stress = principal_stresses(response, band, COLD)
        volume = shell.volume[shell.band == band].ravel()
        acting = stress.reshape(volume.size, -1)
        risk = float(rupture_risk(acting, volume, unit, m))
        n, threshold, _ = later_exponent(ceramic)
        bound = spreads(response, band)
        if bound is not None:
            risk = min(risk, float(risk_at(bound[-1], m)))
        aged = risk * float(aged_factor(time, TEST_TIME, n, threshold)) ** m
        bridges = bridged(response, band, COLD)
        parts = np.inf if bridges is None else float(risk_at(bridges[-1], m))
        at_once.append(min(risk, parts))
        by_then.append(min(aged, parts))
        bands.append(band)
    return np.array(at_once), np.array(by_then), bands


def later_flags(response: Response) -> list[Flag]:
    """Probability that a brittle band cracks within a year of standing in humid air.

    The tension left when cold, local fields of the steps included; each flaw grows by the power
    law of its ceramic (`cofire.physics.slow_crack_growth`). Tension that a metal's creep relieves
    after the kiln is kept: on the safe side. Glazed or always dry ware lasts longer.

    Returns
    -------
    list of Flag
        One a brittle band, and one for all together where there are several.
    """
    at_once, by_then, bands = later_risks(response)
    shell = response.fired
    rows = [(at_once[k], by_then[k], response.cards[b].name, b) for k, b in enumerate(bands)]
    if len(rows) > 1:
        rows.append((at_once.sum(), by_then.sum(), "all brittle bands", -1))
    found = []
    for now, then, zone, band in rows:
        first = response.cards[band if band >= 0 else bands[int(np.argmax(by_then))]].ceramic
        assert first is not None
        n, threshold, own = later_exponent(first)
        m = first["weibull_modulus"].scalar
        height = None
        if band >= 0:
            here = np.flatnonzero(shell.band == band)
            height = float(shell.height[here[np.argmax(response.total[-1, here].max(axis=(1, 2)))]])
        used = float(share_at(then, m))
        usual = aged_factor(YEAR, TEST_TIME, n, threshold)
        low, high = (
            None if own else used * float(aged_factor(YEAR, TEST_TIME, end, threshold) / usual)
            for end in GROWTH_EXTREMES
        )
        found.append(
            Flag(
                zone=zone,
                utilisation=used,
                low=low,
                high=high,
                caution=float(share_at(-np.log1p(-FAILURE_CAUTION), m)),
                figure=(100.0 * float(-np.expm1(-then))),
                limit=(100.0 * FAILURE_NO),
                unit=PER_CENT_CRACK,
                source=(
                    f"slow crack growth, n = {n:.3g}"
                    + (f", none below {100.0 * threshold:.0f} % of toughness" if threshold else "")
                    + (" (card)" if own else " (estimate: 12 to 40 by source)")
                ),
                note=(
                    "probability within a year in humid air; "
                    f"{100.0 * float(-np.expm1(-now)):.3g} % on the day it is cold"
                ),
                time=float(shell.time[-1]),
                temperature=float(response.temperature[-1]),
                height=height,
            )
        )
    return found


LATER = Rule(
    name="later",
    loses=True,
    harm="it cracks within a year",
    asks="How probably does a band crack within a year of standing in humid air?",
    find=later_flags,
    sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS}),
    source="slow crack growth",
    remedy="Leave the body less tension: a pair that contracts more alike, or a body that "
    "ends in compression. Rings kept under water for a week show what grows.",
    piece="joint ring",
    probable=True,
    after=True,
)

RULES = (LATER,)
"""Rules of what comes after the kiln."""
