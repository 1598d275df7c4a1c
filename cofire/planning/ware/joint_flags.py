"""Flags of the joints between bands: stress to start a crack, and energy to drive it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.physics.interface import parting_energy
from cofire.physics.mixing import OVERLAPPING_SPHERES
from cofire.planning.flags import Flag, joint_name, not_computed
from cofire.planning.ware.crack_flags import SINTERED, brittle, progress
from cofire.planning.ware.response import Response

Array = NDArray[np.float64]

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


def energy_load(energy: float, toughness: float) -> float:
    """Share of the limit that an energy uses up, in terms of stress as the other loads are.

    Energy grows as the square of stress, so the load is the root of the ratio.

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
        load = np.where(joined, np.maximum(normal, 0.0) / bond, 0.0)
        worst = int(np.argmax(load))
        found.append(
            Flag(
                "joint stress", zone, float(load[worst]), 0.5, float(normal[worst]) / 1e6,
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
        used = energy_load(float(energy[worst_energy]), tough)
        beside = np.where(joined, steps.peak[:, s].max(axis=1) / bond, 0.0)
        starts = max(float(load[worst]), float(beside.max())) >= STARTS
        found.append(
            Flag(
                "joint energy", zone, used if starts else min(used, 0.99),
                energy_load(POOR_BOND * tough, tough), float(energy[worst_energy]), tough,
                "J/m²", "toughness of the ceramic; caution from a fifth of it (estimate)",
                "Grade the joint over more height; a smaller or thinner vessel stores less.",
                "energy released if the joint parts all round"
                + ("" if starts else ", though the stress there is too low to start it"),
                float(shell.time[worst_energy]), float(response.temperature[worst_energy]),
                float(height),
            )
        )  # fmt: skip
    return found
