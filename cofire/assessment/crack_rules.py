"""Rules of cracks: in a zone while it sinters and cools, and at the joints between bands."""

from __future__ import annotations

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import Flag, joint_name, not_computed
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.interface import parting_energy
from cofire.physics.mixing import OVERLAPPING_SPHERES
from cofire.physics.sintering import sintering_potential
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
        utilisation = tension / bears[:, None]
        t, g = np.unravel_index(int(np.argmax(utilisation)), utilisation.shape)
        limit = float(bears[t])
        found.append(
            Flag(
                "sintering", card.name, max(float(utilisation[t, g]), 0.0),
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
        # the utilisation is of stress: risk grows with its m-th power
        power = 1.0 / m["weibull_modulus"].scalar
        found.append(
            Flag(
                "cooling", zone, float((risk[worst] / limit) ** power),
                float((-np.log1p(-FAILURE_CAUTION) / limit) ** power),
                100.0 * float(-np.expm1(-risk[worst])), 100.0 * FAILURE_NO,
                "% probability of a crack",
                "Weibull survival, strength and scatter of the card",
                "Grade the joint over more height, cool slower through the set point, or choose "
                "a closer pair.",
                "probability of a crack at the worst moment", float(shell.time[worst]),
                float(response.temperature[worst]), height,
            )
        )  # fmt: skip
    return found


# ----------------------------------------------------------------------------------------------
# Flags of the joints between bands: stress to start a crack, and energy to drive it

POOR_BOND = 0.2
"""Share of the ceramic's own toughness that a poor bond may have: estimate, since no toughness of
such a joint was found. [-]"""
STARTS = 0.5
"""Share of the strength from which a crack may start at a flaw of the joint: common practice.
[-]"""


def metal_share(card: Card) -> float:
    """Metal in a zone, of its solid volume.

    Parameters
    ----------
    card : Card
        Of the zone.

    Returns
    -------
    float
        1 for a metal, 0 for a ceramic. [-]
    """
    return card.parts[0][1] if card.parts else float(card.kind == "metal")


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


def joint_flags(response: Response) -> list[Flag]:
    """Each step between bands: normal stress against strength, and energy against toughness.

    Stress does not know the size of the vessel, energy does (it grows as the root of radius times
    wall): both are shown. A joint that lacks the stress to start a crack (half of the strength)
    is at most a caution by energy: both must be met (Leguillon 2002, Eur. J. Mech. A 21, 61, from
    memory). No toughness of such joints was found; the limit is the ceramic's own,
    with a caution from a fifth of it. Where metal runs through both sides (29 % or more of each)
    only stress is judged: the energy to tear it is far above the ceramic's.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        Two a step: "joint stress" and "joint energy".
    """
    shell, steps = response.shell, response.shell.steps
    h = response.history
    strength = response.at_times(h.strength)
    young = response.at_times(h.young_modulus)
    done = progress(response)
    found = []
    for s, height in enumerate(steps.height):
        pair = (response.cards[s], response.cards[s + 1])
        rows = (response.material[s], response.material[s + 1])
        zone = joint_name(pair[0].name, pair[1].name)
        joined = np.minimum(*(done[r] for r in rows)) >= SINTERED
        if not joined.any():
            found.append(
                not_computed("joint stress", zone, "the bands do not both sinter", "Fire hotter.")
            )
            continue
        normal = steps.normal[:, s].max(axis=1) + np.maximum(steps.local_normal[:, s], 0.0)
        weak = [strength[r] for r, c in zip(rows, pair, strict=True) if brittle(c) is not None]
        bond = np.min(weak or [strength[r] for r in rows], axis=0)
        utilisation = np.where(joined, np.maximum(normal, 0.0) / bond, 0.0)
        worst = int(np.argmax(utilisation))
        found.append(
            Flag(
                "joint stress", zone, float(utilisation[worst]), 0.5, float(normal[worst]) / 1e6,
                float(bond[worst]) / 1e6, "MPa",
                "strength of the weaker brittle side (common practice)",
                "Grade the joint over more height, or thicken it.",
                "normal stress on the joint, mean over the outer tenth of the wall",
                float(shell.time[worst]), float(response.temperature[worst]), float(height),
            )
        )  # fmt: skip
        station = int(np.argmin(np.abs(shell.height - height)))
        wall, radius = float(shell.wall[station]), float(shell.radius[station])
        moment = 0.5 * (steps.normal[:, s, 1] - steps.normal[:, s, 0]) * wall**2 / 6.0
        energy = parting_energy(
            radius, wall, (young[rows[0]], young[rows[1]]),
            (h.poisson_ratio[rows[0]], h.poisson_ratio[rows[1]]),
            steps.shear[:, s] * wall, moment,
        )  # fmt: skip
        ceramics = [c for c in map(brittle, pair) if c is not None]
        if min(map(metal_share, pair)) >= OVERLAPPING_SPHERES:
            continue  # metal runs through both sides and tears before they part
        tough = min(
            c["fracture_toughness"].scalar ** 2 / c["young_modulus"].value[0] for c in ceramics
        )
        worst_energy = int(np.argmax(np.where(joined, energy, 0.0)))
        used = energy_utilisation(float(energy[worst_energy]), tough)
        beside = np.where(joined, steps.peak[:, s].max(axis=1) / bond, 0.0)
        starts = max(float(utilisation[worst]), float(beside.max())) >= STARTS
        found.append(
            Flag(
                "joint energy", zone, used if starts else min(used, 0.99),
                energy_utilisation(POOR_BOND * tough, tough), float(energy[worst_energy]), tough,
                "J/m²", "toughness of the ceramic; caution from a fifth of it (estimate)",
                "Grade the joint over more height; a smaller or thinner vessel stores less.",
                "energy released if the joint parts all round"
                + ("" if starts else ", though the stress there is too low to start it"),
                float(shell.time[worst_energy]), float(response.temperature[worst_energy]),
                float(height),
            )
        )  # fmt: skip
    return found
