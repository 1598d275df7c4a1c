"""Flags of a zone that cracks: in tension while half sintered, and on the way to cold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.physics.sintering import sintering_potential
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength
from cofire.planning.flags import Flag, not_computed
from cofire.planning.ware.response import Response

Array = NDArray[np.float64]

FAILURE_CAUTION, FAILURE_NO = 0.01, 0.10
"""Probability of a crack on cooling that is a caution, and a no: our choice for a firing that
cannot be repeated. [-]"""
TEST_BAR = 3e-3 * 4e-3 * 40e-3
"""Volume between the supports of the bar a card's strength is taken to come from: 3 × 4 × 40 mm
in quarter-point bending (size B of ASTM C1161). [m³]"""
SINTERED = 0.9
"""Share of its densification after which a zone counts as sintered. [-]"""
BEGUN = 0.02
"""Share of its densification after which a zone counts as sintering. [-]"""


def progress(response: Response) -> Array:
    """Share of its densification that each material has done at the shell's times.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    array
        Shape (N, T). [-]
    """
    density = response.at_times(response.history.relative_density)
    start, end = density[:, :1], density[:, -1:]
    return np.asarray((density - start) / np.maximum(end - start, 1e-12))


def brittle(card: Card) -> Card | None:
    """The ceramic that gives a zone its scatter of strength, or None for a metal.

    Parameters
    ----------
    card : Card
        Of the zone.

    Returns
    -------
    Card or None
        The card itself, or the ceramic part of a blend.
    """
    if card.parts:
        return card.parts[1][0]
    return card if card.kind == "ceramic" else None


def sintering_flags(response: Response) -> list[Flag]:
    """Tension in a half-sintered band against what it then bears.

    Below the sintering potential the tension only slows its densification (Chang & Jean 2005, J.
    Am. Ceram. Soc. 88, 1165); above that, and above the strength of the moment, it opens flaws
    that later cooling finds, or cracks.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a band.
    """
    done = progress(response)
    strength = response.at_times(response.history.strength)
    total = response.total
    shell = response.shell
    found = []
    for band, card in enumerate(response.cards):
        row = response.material[band]
        during = np.flatnonzero((done[row] > BEGUN) & (done[row] < SINTERED))
        if during.size == 0:
            found.append(
                not_computed(
                    "sintering", card.name, "it does not sinter in this firing",
                    "Fire hotter or hold longer.",
                )
            )  # fmt: skip
            continue
        part = brittle(card) or card
        potential = sintering_potential(part)
        here = np.flatnonzero(shell.band == band)
        tension = total[np.ix_(during, here)].max(axis=(2, 3))
        bears = np.maximum(strength[row, during], potential)
        load = tension / bears[:, None]
        t, g = np.unravel_index(int(np.argmax(load)), load.shape)
        limit = float(bears[t])
        found.append(
            Flag(
                "sintering", card.name, max(float(load[t, g]), 0.0),
                0.5, float(tension[t, g]) / 1e6, limit / 1e6, "MPa",
                "its sintering potential, or its strength at that moment if more",
                "Bring the two zones' sintering together: other powder size, other ramp, "
                "or a graded joint.",
                "tension while half sintered", float(shell.time[during[t]]),
                float(response.temperature[during[t]]), float(shell.height[here[g]]),
            )
        )  # fmt: skip
    return found


def failure_risks(response: Response) -> tuple[Array, list[int]]:
    """Weibull risk of rupture of each brittle band at each time, once it has sintered.

    Principle of independent action over volume flaws, two-parameter, with the strength of the
    moment (porosity); local fields of the steps included. No slow crack growth.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple
        Risks, shape (K, T) [-], and the K bands they belong to.
    """
    shell = response.shell
    done = progress(response)
    strength = response.at_times(response.history.strength)
    total = response.total
    risks, bands = [], []
    for band, card in enumerate(response.cards):
        ceramic = brittle(card)
        if ceramic is None:
            continue
        row = response.material[band]
        m = ceramic["weibull_modulus"].scalar
        bar = bar_effective_volume(TEST_BAR, m, 0.5)
        characteristic = strength[row] * np.log(2.0) ** (-1.0 / m)  # the card's is the median
        unit = unit_strength(characteristic, m, bar)
        here = shell.band == band
        stress = total[:, here].reshape(shell.time.size, -1, 2)
        risk = rupture_risk(stress, shell.volume[here].ravel(), unit[:, None], m)
        risks.append(np.where(done[row] >= SINTERED, risk, 0.0))
        bands.append(band)
    return np.array(risks).reshape(len(bands), shell.time.size), bands


def cooling_flags(response: Response) -> list[Flag]:
    """Probability that a brittle band cracks at its worst moment, and any of them.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a brittle band, and one for all together where there are several.
    """
    risks, bands = failure_risks(response)
    shell = response.shell
    limit = -np.log1p(-FAILURE_NO)
    found = []
    rows = [(risks[k], response.cards[b].name, b) for k, b in enumerate(bands)]
    if len(rows) > 1:
        rows.append((risks.sum(axis=0), "all brittle bands", -1))
    for risk, zone, band in rows:
        worst = int(np.argmax(risk))
        height = None
        if band >= 0:
            here = np.flatnonzero(shell.band == band)
            tension = response.total[worst, here].max(axis=(1, 2))
            height = float(shell.height[here[np.argmax(tension)]])
        m = brittle(response.cards[band if band >= 0 else bands[0]])
        assert m is not None
        # the load is of stress: risk grows with its m-th power
        power = 1.0 / m["weibull_modulus"].scalar
        found.append(
            Flag(
                "cooling", zone, float((risk[worst] / limit) ** power),
                float((-np.log1p(-FAILURE_CAUTION) / limit) ** power),
                100.0 * float(-np.expm1(-risk[worst])), 100.0 * FAILURE_NO, "% chance of a crack",
                "Weibull survival, strength and scatter of the card",
                "Grade the joint over more height, cool slower through the set point, or choose "
                "a closer pair.",
                "probability of a crack at the worst moment", float(shell.time[worst]),
                float(response.temperature[worst]), height,
            )
        )  # fmt: skip
    return found
