"""Rules of cracks: in a zone while it sinters and cools, and at the joints between bands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.response import Response
from cofire.assessment.rule import (
    BLENDS,
    FIRING,
    LAYERS,
    NEIGHBOUR,
    SHAPE,
    STRESS,
    Flag,
    Rule,
    joint_name,
    not_computed,
)
from cofire.numerics import Array
from cofire.physics.interface import parting_energy
from cofire.physics.mixing import OVERLAPPING_SPHERES
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength

# ----------------------------------------------------------------------------------------------
# Flags of a zone that cracks: in tension while half sintered, and on the way to cold

FAILURE_CAUTION, FAILURE_NO = 0.01, 0.10
"""Probability of a crack on cooling that is a caution, and a no: our choice for a firing that
cannot be repeated. [-]"""
TEST_BAR = 3e-3 * 4e-3 * 40e-3
"""Volume between the supports of the bar a card's strength is taken to come from: 3 × 4 × 40 mm
in quarter-point bending (size B of ASTM C1161). [m³]"""
SINTERED = 0.9
"""Share of its densification after which a zone counts as sintered. [-]"""


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
    shell = response.fired
    done = response.progress
    strength = response.at_times(response.history.strength)
    total = response.total
    risks, bands = [], []
    for band, card in enumerate(response.cards):
        ceramic = card.ceramic
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
    shell = response.fired
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
        ceramic = response.cards[band if band >= 0 else bands[0]].ceramic
        assert ceramic is not None
        # the utilisation is of stress: risk grows with its m-th power
        power = 1.0 / ceramic["weibull_modulus"].scalar
        found.append(
            Flag(
                zone=zone,
                utilisation=float((risk[worst] / limit) ** power),
                caution=float((-np.log1p(-FAILURE_CAUTION) / limit) ** power),
                figure=100.0 * float(-np.expm1(-risk[worst])),
                limit=100.0 * FAILURE_NO,
                unit="% probability of a crack",
                note="probability of a crack at the worst moment",
                time=float(shell.time[worst]),
                temperature=float(response.temperature[worst]),
                height=height,
            )
        )
    return found


# ----------------------------------------------------------------------------------------------
# Flags of the joints between bands: stress to start a crack, and energy to drive it

POOR_BOND = 0.2
"""Share of the ceramic's own toughness that a poor bond may have: estimate, since no toughness of
such a joint was found. [-]"""
UNSTARTED = 0.99
"""Most that a joint without the stress to start a crack uses up of its energy. [-]"""
STARTS = 0.5
"""Share of the strength from which a crack may start at a flaw of the joint: common practice.
[-]"""


def energy_utilisation(energy: float, toughness: float) -> float:
    """Share of the limit that an energy uses up, in terms of stress as the other utilisations are.

    Energy grows as the square of stress, so the utilisation is the root of the ratio.

    Parameters
    ----------
    energy, toughness : float
        [J/m²]

    Returns
    -------
    float
        1 at the limit. [-]
    """
    return float(np.sqrt(max(energy, 0.0) / toughness))


def joint_stress_flags(response: Response) -> list[Flag]:
    """Normal stress on each step between bands against the strength of its weaker brittle side.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a step.
    """
    shell, steps = response.fired, response.fired.steps
    found = []
    for s, height in enumerate(steps.height):
        zone = _joint(response, s)
        joined = _joined(response, s)
        if not joined.any():
            found.append(not_computed(zone, "the bands do not both sinter", "Fire hotter."))
            continue
        normal, bond = _opening(response, s), _bond(response, s)
        utilisation = np.where(joined, np.maximum(normal, 0.0) / bond, 0.0)
        worst = int(np.argmax(utilisation))
        found.append(
            Flag(
                zone=zone,
                utilisation=float(utilisation[worst]),
                caution=0.5,
                figure=float(normal[worst]) / 1e6,
                limit=float(bond[worst]) / 1e6,
                unit="MPa",
                note="normal stress on the joint, mean over the outer tenth of the wall",
                time=float(shell.time[worst]),
                temperature=float(response.temperature[worst]),
                height=float(height),
            )
        )
    return found


def joint_energy_flags(response: Response) -> list[Flag]:
    """Energy released if a step between bands parts, against the ceramic's toughness.

    Stress does not know the size of the vessel, energy does (it grows as the root of radius times
    wall). A joint that lacks the stress to start a crack (half of the strength) is at most a
    caution by energy: both must be met (Leguillon 2002, Eur. J. Mech. A 21, 61, from
    memory). No toughness of such joints was found; the limit is the ceramic's own,
    with a caution from a fifth of it. Where metal runs through both sides (29 % or more of each)
    energy is not judged: what it takes to tear it is far above the ceramic's.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a step that sinters and is not metal through and through.
    """
    shell, steps = response.fired, response.fired.steps
    h = response.history
    young = response.at_times(h.young_modulus)
    found = []
    for s, height in enumerate(steps.height):
        pair = (response.cards[s], response.cards[s + 1])
        rows = (response.material[s], response.material[s + 1])
        joined = _joined(response, s)
        if not joined.any() or min(c.metal_share for c in pair) >= OVERLAPPING_SPHERES:
            continue
        station = int(np.argmin(np.abs(shell.height - height)))
        wall, radius = float(shell.wall[station]), float(shell.radius[station])
        moment = 0.5 * (steps.normal[:, s, 1] - steps.normal[:, s, 0]) * wall**2 / 6.0
        energy = parting_energy(
            radius, wall, (young[rows[0]], young[rows[1]]),
            (h.poisson_ratio[rows[0]], h.poisson_ratio[rows[1]]),
            steps.shear[:, s] * wall, moment,
        )  # fmt: skip
        ceramics = [c.ceramic for c in pair if c.ceramic is not None]
        tough = min(
            c["fracture_toughness"].scalar ** 2 / c["young_modulus"].value[0] for c in ceramics
        )
        worst = int(np.argmax(np.where(joined, energy, 0.0)))
        used = energy_utilisation(float(energy[worst]), tough)
        bond = _bond(response, s)
        opening = np.where(joined, np.maximum(_opening(response, s), 0.0) / bond, 0.0)
        beside = np.where(joined, steps.peak[:, s].max(axis=1) / bond, 0.0)
        starts = max(float(opening.max()), float(beside.max())) >= STARTS
        found.append(
            Flag(
                zone=_joint(response, s),
                utilisation=used if starts else min(used, UNSTARTED),
                caution=energy_utilisation(POOR_BOND * tough, tough),
                figure=float(energy[worst]),
                limit=tough,
                unit="J/m²",
                note="energy released if the joint parts all round"
                + ("" if starts else ", though the stress there is too low to start it"),
                time=float(shell.time[worst]),
                temperature=float(response.temperature[worst]),
                height=float(height),
            )
        )
    return found


def _joint(response: Response, step: int) -> str:
    """Name of the joint at a step."""
    return joint_name(response.cards[step].name, response.cards[step + 1].name)


def _joined(response: Response, step: int) -> NDArray[np.bool_]:
    """When both bands of a step have sintered, shape (T,)."""
    rows = response.material[step : step + 2]
    return np.asarray(response.progress[list(rows)].min(axis=0) >= SINTERED)


def _bond(response: Response, step: int) -> Array:
    """Strength of the weaker brittle side of a step, of the weaker side if none is, (T,). [Pa]"""
    strength = response.at_times(response.history.strength)
    rows, cards = response.material[step : step + 2], response.cards[step : step + 2]
    weak = [strength[r] for r, c in zip(rows, cards, strict=True) if c.ceramic is not None]
    return np.asarray(np.min(weak or [strength[r] for r in rows], axis=0))


def _opening(response: Response, step: int) -> Array:
    """Stress that opens a step, mean over the outer tenth of the wall, shape (T,). [Pa]"""
    steps = response.fired.steps
    return np.asarray(
        steps.normal[:, step].max(axis=1) + np.maximum(steps.local_normal[:, step], 0.0)
    )


_WEIGHED = frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS})

COOLING = Rule(
    name="cooling",
    loses=True,
    harm="it cracks while it cools",
    asks="How probably does a brittle band crack on the way to cold?",
    find=cooling_flags,
    sees=_WEIGHED,
    source="Weibull survival, strength and scatter of the card",
    remedy="Grade the joint over more height, cool slower through the set point, or choose "
    "a closer pair.",
    piece="expansion bar",
    probable=True,
)
JOINT_STRESS = Rule(
    name="joint stress",
    loses=True,
    harm="the joint is pulled apart",
    asks="Is a joint pulled apart?",
    find=joint_stress_flags,
    sees=_WEIGHED,
    source="strength of the weaker brittle side (common practice)",
    remedy="Grade the joint over more height, or thicken it.",
    piece="joint ring",
)
JOINT_ENERGY = Rule(
    name="joint energy",
    loses=True,
    harm="a crack runs round the joint",
    asks="Would a crack along a joint find the energy to run all round?",
    find=joint_energy_flags,
    sees=_WEIGHED,
    source="toughness of the ceramic; caution from a fifth of it (estimate)",
    remedy="Grade the joint over more height; a smaller or thinner vessel stores less.",
    piece="joint ring",
)

RULES = (COOLING, JOINT_STRESS, JOINT_ENERGY)
"""Rules of cracks, in a zone and at a joint."""
