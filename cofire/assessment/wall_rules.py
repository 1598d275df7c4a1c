"""Flags of the wall itself: its lag on ramps, the strain of its metal, and its thickness."""

from __future__ import annotations

import numpy as np

from cofire.assessment.crack_rules import SINTERED, progress
from cofire.assessment.firing_rules import materials
from cofire.assessment.response import Response
from cofire.assessment.rule import Flag, not_computed
from cofire.physics.conduction import diffusivity, through_wall_stress
from cofire.physics.porosity import conductivity_factor
from cofire.units import celsius

GRADIENT_CAUTION = 0.3
"""Share of the strength from which tension across the wall is a caution: our choice. [-]"""
DUCTILITY = 0.05
"""Strain to fracture of a sintered metal where its card gives none: estimate. [-]"""


def gradient_flags(response: Response) -> list[Flag]:
    """Stress because the inside of the wall follows late: on ramps, and at inversions.

    Elastic, on thermal strain alone; one side heated where the vessel has a base.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        For each brittle material "gradient", and "transformation" where it inverts.
    """
    h = response.history
    wall = float(response.shell.wall.max())
    depth = wall if response.vessel.radius[0] == 0.0 else 0.5 * wall
    found = []
    for row, card in materials(response):
        if card.kind == "metal":
            continue
        porosity = min(1.0 - float(h.relative_density[row, 0]), 0.6)
        slow = diffusivity(
            card["thermal_conductivity"].value.min() * float(conductivity_factor(porosity)),
            card["theoretical_density"].scalar * float(h.relative_density[row, 0]),
            float(card["specific_heat"].value.mean()),
        )
        thermal = {
            "gradient": h.strain["expansion"][row],
            "transformation": sum(
                (v[row] for k, v in h.strain.items() if k not in ("expansion", "sintering")),
                np.zeros(h.time.size),
            ),
        }
        for rule, strain in thermal.items():
            if not np.any(strain):
                continue
            stress = through_wall_stress(
                h.time, strain, h.young_modulus[row], float(h.poisson_ratio[row]), depth,
                float(slow), np.array([0.0, 1.0]),
            ).max(axis=1)  # fmt: skip
            utilisation = np.maximum(stress, 0.0) / h.strength[row]
            worst = int(np.argmax(utilisation))
            hot = celsius(float(h.temperature[worst]))
            found.append(
                Flag(
                    rule, card.name, float(utilisation[worst]), GRADIENT_CAUTION,
                    float(stress[worst]) / 1e6, float(h.strength[row, worst]) / 1e6, "MPa",
                    "strength of the body at that moment (card)",
                    f"Go slower around {hot:.0f} °C.",
                    "tension across the wall from its own lag", float(h.time[worst]),
                    float(h.temperature[worst]),
                )
            )  # fmt: skip
    return found


def metal_flags(response: Response) -> list[Flag]:
    """Plastic strain of each metal zone after it has sintered, against its ductility.

    The strain of any one moment less that at which it counted as sintered. Creep is left out: a
    metal hot enough to creep heals as it strains. The ductility is that of the cold metal, which
    is on the safe side while it is hot.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a metal band.
    """
    shell = response.shell
    done = progress(response)
    found = []
    for band, card in enumerate(response.cards):
        if card.kind != "metal":
            continue
        row = response.material[band]
        after = np.flatnonzero(done[row] >= SINTERED)
        if after.size == 0:
            found.append(
                not_computed(
                    "metal", card.name, "it does not sinter in this firing",
                    "Fire hotter or hold longer.",
                )
            )  # fmt: skip
            continue
        here = np.flatnonzero(shell.band == band)
        plastic = shell.inelastic[:, 2][:, here]
        size = np.abs(plastic[after] - plastic[after[0]]).max(axis=(2, 3))
        t, g = np.unravel_index(int(np.argmax(size)), size.shape)
        limit = card.scalar("ductility", DUCTILITY)
        found.append(
            Flag(
                "metal", card.name, float(size[t, g]) / limit, 0.3, 100 * float(size[t, g]),
                100 * limit, "% plastic strain", "ductility of the sintered metal (card)",
                "A closer pair or a graded joint; fire denser, porous metal tears early.",
                "plastic strain of the metal after sintering", float(shell.time[after[t]]),
                float(response.temperature[after[t]]), float(shell.height[here[g]]),
            )
        )  # fmt: skip
    return found


def shape_flags(response: Response) -> list[Flag]:
    """A wall too thick for its ring: the stress of all other flags is rough there.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One that cannot pass, or none.
    """
    if not response.beyond_shell:
        return []
    remedy = "A thinner wall or a wider ring; or fire a ring of this wall and radius first."
    return [not_computed("shell", "vessel", response.beyond_shell, remedy)]
