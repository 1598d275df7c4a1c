"""Flags of the wall itself: its lag on ramps, the strain of its metal, and its thickness."""

from __future__ import annotations

import numpy as np

from cofire.assessment.cracks import SINTERED
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
    not_computed,
)
from cofire.assessment.strained import strained_along
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.conduction import diffusivity, through_wall_stress
from cofire.physics.history import SINTERING, WATER
from cofire.physics.mixing import FLOW_THRESHOLD, ductility_factor
from cofire.physics.porosity import conductivity_at
from cofire.units import celsius

GRADIENT_CAUTION = 0.3
"""Share of the strength from which tension across the wall is a caution: our choice. [-]"""
DUCTILITY = 0.05
"""Strain to fracture of a sintered metal where its card gives none: estimate. [-]"""


def gradient_flags(response: Response) -> list[Flag]:
    """Stress because the inside of the wall follows late on ramps.

    Elastic, on thermal strain alone; one side heated where the vessel has a base.

    Returns
    -------
    list of Flag
        One a brittle material.
    """
    strain = response.history.strain["expansion"]
    return [_lagging(response, row, card, strain[row]) for row, card in _brittle(response)]


def transformation_flags(response: Response) -> list[Flag]:
    """Stress because the inside of the wall follows late through an inversion.

    Returns
    -------
    list of Flag
        One a brittle material that inverts.
    """
    h = response.history
    turns = [v for k, v in h.strain.items() if k not in ("expansion", WATER, SINTERING)]
    strain = sum(turns, np.zeros_like(h.relative_density))
    return [
        _lagging(response, row, card, strain[row])
        for row, card in _brittle(response)
        if np.any(strain[row])
    ]


def _brittle(response: Response) -> list[tuple[int, Card]]:
    """Row and card of each material that is not a metal."""
    return [(row, card) for row, card in response.materials if card.kind != "metal"]


def _lagging(response: Response, row: int, card: Card, strain: Array) -> Flag:
    """Tension across the wall because its inside strains late, against the strength."""
    h = response.history
    wall = float(response.fired.wall.max())
    depth = wall if response.vessel.radius[0] == 0.0 else 0.5 * wall
    green, known = float(h.relative_density[row, 0]), card["thermal_conductivity"]
    slow = diffusivity(
        float(conductivity_at(known.value.min(), known.at_density, green)),
        card["theoretical_density"].scalar * green,
        float(card["specific_heat"].value.mean()),
    )
    stress = through_wall_stress(
        h.time, strain, h.young_modulus[row], float(h.poisson_ratio[row]), depth,
        float(slow), np.array([0.0, 1.0]),
    ).max(axis=1)  # fmt: skip
    utilisation = np.maximum(stress, 0.0) / h.strength[row]
    worst = int(np.argmax(utilisation))
    hot = celsius(float(h.temperature[worst]))
    return Flag(
        zone=card.name,
        utilisation=float(utilisation[worst]),
        caution=GRADIENT_CAUTION,
        figure=float(stress[worst]) / 1e6,
        limit=float(h.strength[row, worst]) / 1e6,
        unit="MPa",
        note="tension across the wall from its own lag",
        remedy=f"Go slower around {hot:.0f} °C.",
        time=float(h.time[worst]),
        temperature=float(h.temperature[worst]),
    )


def metal_flags(response: Response) -> list[Flag]:
    """Plastic strain of each zone whose metal yields after it has sintered, against its ductility.

    That is a metal, or a blend whose ceramic is no more than grains in it
    (`mixing.FLOW_THRESHOLD`): those leave it less ductile, see `mixing.ductility_factor`.

    The strain of any one moment less that at which it counted as sintered, as the mean over
    `STRAINED_LENGTH` along each line through the wall. Creep is left out: a metal hot enough to
    creep heals as it strains. The ductility is that of the cold metal, which is on the safe side
    while it is hot.

    Returns
    -------
    list of Flag
        One a band that yields.
    """
    shell = response.fired
    done = response.progress
    found = []
    for band, card in enumerate(response.cards):
        if card.metal_share < FLOW_THRESHOLD:
            continue
        metal = card.parts[0][0] if card.parts else card
        row = response.material[band]
        after = np.flatnonzero(done[row] >= SINTERED)
        if after.size == 0:
            found.append(
                not_computed(
                    card.name, "it does not sinter in this firing", "Fire hotter or hold longer."
                )
            )
            continue
        here = np.flatnonzero(shell.band == band)
        plastic = shell.plastic[:, here]
        grown = plastic[after] - plastic[after[0]]
        grown, here = strained_along(response, grown, here)
        size = np.abs(grown).max(axis=(2, 3))
        t, g = np.unravel_index(int(np.argmax(size)), size.shape)
        limit = metal.scalar("ductility", DUCTILITY) * float(ductility_factor(card.metal_share))
        found.append(
            Flag(
                zone=card.name,
                utilisation=float(size[t, g]) / limit,
                caution=0.3,
                figure=100 * float(size[t, g]),
                limit=100 * limit,
                unit="% plastic strain",
                note="plastic strain of the metal after sintering, mean over a tenth of the wall",
                time=float(shell.time[after[t]]),
                temperature=float(response.temperature[after[t]]),
                height=float(shell.height[here[g]]),
            )
        )
    return found


def shape_flags(response: Response) -> list[Flag]:
    """A wall too thick for its ring: the stress of all other flags is rough there.

    Returns
    -------
    list of Flag
        One that cannot pass, or none.
    """
    if not response.beyond_shell:
        return []
    return [not_computed("vessel", response.beyond_shell)]


RULES = (
    Rule(
        name="gradient",
        loses=True,
        harm="the wall cracks on a ramp",
        asks="Does the wall crack because its inside is late on a ramp?",
        find=gradient_flags,
        sees=frozenset({FIRING, BLENDS, SHAPE}),
        source="strength of the body at that moment (card)",
        remedy="Go slower.",
        piece="shrinkage bar",
        sign="a crack, or a dull sound when struck",
    ),
    Rule(
        name="transformation",
        loses=True,
        harm="the wall cracks at an inversion",
        asks="Does the wall crack because its inside is late through an inversion?",
        find=transformation_flags,
        sees=frozenset({FIRING, BLENDS, SHAPE}),
        source="strength of the body at that moment (card)",
        remedy="Go slower through the inversion.",
        piece="shrinkage bar",
        sign="a crack, or a dull sound when struck",
    ),
    Rule(
        name="metal",
        loses=True,
        harm="the metal tears",
        asks="Is the sintered metal strained beyond its ductility?",
        find=metal_flags,
        sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS}),
        source="ductility of the sintered metal (card), less for grains in it (Nielsen 1966)",
        remedy="A closer pair or a graded joint; fire denser, porous metal tears early.",
        piece="joint ring",
    ),
    Rule(
        name="shell",
        loses=False,
        harm="the stress is only roughly known",
        asks="Is the wall thin enough to be worked out as a shell?",
        find=shape_flags,
        sees=frozenset({SHAPE}),
        source="",
        remedy="A thinner wall or a wider ring; or fire a ring of this wall and radius first.",
    ),
)
"""Rules of the wall itself."""
