"""Flags of a blend's fabric: do its metal grains stay bonded, do its powders sinter together."""

from __future__ import annotations

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import BLENDS, FIRING, Flag, Rule
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics import grains
from cofire.physics.blends import bulk_density
from cofire.physics.history import History
from cofire.physics.mixing import CRITICAL_VOLUME
from cofire.physics.rheology import viscosity_at

BONDED_CAUTION = 0.45
"""Share of the misfit stress at which grains can part from which it is a caution: a bond a fifth as
tough as the ceramic, and cracks from half the size of the energy bound, are both within it. The
utilisation is the root of size over critical size: a factor of two in the bond's toughness moves
it by 1.4. Estimate. [-]"""
SPARED = 0.9
"""Share of the ceramic's strength that a blend keeps though all its grains have parted, above which
it is not asked (under 3 % of metal): bars of one body differ by more, 12 % for a Weibull modulus of
10. Our choice. [-]"""
LEAST_WAY = 0.5
"""Share of its way to density, of what its two powders would go apart, that a blend must go at
least: estimate; half the necks, so half the strength, that the other rules take it to have. The
utilisation is inverse to the way gone: a factor of two in this limit is a factor of two in it.
[-]"""
FULL_WAY = 0.8
"""Share of the same way below which it is a caution: estimate. [-]"""
UNTOLD = 1e-3
"""Way that nobody can weigh, of full density, and that is none: our choice. [-]"""


def grain_misfit(card: Card, alone: History, rows: tuple[int, int]) -> tuple[Array, Array]:
    """Radial stress on the metal grains of a blend along its firing, and their misfit.

    Thermal strains and transformations of each phase alone; the ceramic round the grains relaxes
    by its own viscosity. Positive where the grain pulls away from its hole.

    Parameters
    ----------
    card : Card
        A blend.
    alone : History
        Its phases, each alone.
    rows : pair of int
        Of the metal and of the ceramic in it. [-]

    Returns
    -------
    tuple of array
        Stress and strain, shape (M,) each. [Pa], [-]
    """
    m, k = rows
    reversible = alone.free_strain - alone.shrinkage
    thermal = [reversible[r] for r in rows]
    young = alone.young_modulus
    stiffness = grains.misfit_stiffness(
        card.metal_share, (young[m], alone.poisson_ratio[m]), (young[k], alone.poisson_ratio[k])
    )
    flows = viscosity_at(0.0, alone.viscosity[k], 0.0, 1.0) / young[k]
    return grains.misfit_stress(alone.time, thermal[1] - thermal[0], stiffness, flows)


def grain_flags(response: Response) -> list[Flag]:
    """Size of each blend's metal grains over the size at which they part, after sintering.

    Blends in which the ceramic can be continuous; in others the metal holds itself. Where parted
    grains would cost next to nothing (`SPARED`) none is asked. The bond is taken as tough as the
    ceramic. A grain that has parted is a pore: the blend then has the
    ceramic's expansion and less stiffness and strength than the other rules give it.

    Returns
    -------
    list of Flag
        One a blend.
    """
    alone, cards = response.substances
    place = {card.name: row for row, card in enumerate(cards)}
    found = []
    for card in response.blends:
        (metal, share), (ceramic, left) = card.parts
        stiff, strong = grains.parted_factors(share)
        if left < CRITICAL_VOLUME or strong > SPARED:
            continue
        stress, strain = grain_misfit(card, alone, (place[metal.name], place[ceramic.name]))
        tough = ceramic["fracture_toughness"].scalar ** 2 / ceramic["young_modulus"].value[0]
        hottest = int(np.argmax(alone.temperature))
        size = grains.critical_grain_size(stress, strain, tough)
        worst = hottest + int(np.argmin(size[hottest:]))
        own = metal["particle_size"].scalar
        found.append(
            Flag(
                zone=card.name,
                utilisation=float(np.sqrt(own / size[worst])),
                caution=BONDED_CAUTION,
                figure=(1e6 * own),
                limit=min(1e6 * float(size[worst]), 1e6),
                unit="µm grain of metal",
                note=(
                    f"{abs(stress[worst]) / 1e6:.0f} MPa of "
                    + ("tension on the bond" if stress[worst] > 0.0 else "pressure on the grain")
                    + f"; parted grains leave {100 * float(stiff):.0f} % of the ceramic's "
                    "stiffness, "
                    f"{100 * float(strong):.0f} % of its strength, and its expansion"
                ),
                time=float(alone.time[worst]),
                temperature=float(alone.temperature[worst]),
            )
        )
    return found


def blend_density_flags(response: Response) -> list[Flag]:
    """How far the powders of each blend sinter together, over how far they would apart.

    The sum of both alone is the best a blend can do; the other end is that each holds the other
    back by its own viscosity (`grains.hindered_strain`).

    Returns
    -------
    list of Flag
        One a blend.
    """
    alone, cards = response.substances
    place = {card.name: row for row, card in enumerate(cards)}
    found = []
    for card in response.blends:
        share = card.metal_share
        m, k = (place[part.name] for part, _ in card.parts)
        volume = [np.log(alone.relative_density[r, 0] / alone.relative_density[r]) for r in (m, k)]
        held = grains.hindered_strain(
            share, volume[0], volume[1], (alone.viscosity[m], alone.viscosity[k])
        )
        green, free = (
            float(bulk_density(share, alone.relative_density[m, t], alone.relative_density[k, t]))
            for t in (0, -1)
        )
        reached = min(green * float(np.exp(-held[-1])), free)
        alone_too = free - green > UNTOLD  # else neither holds back what stays as it was
        way = (reached - green) / (free - green) if alone_too else 1.0
        found.append(
            Flag(
                zone=card.name,
                utilisation=(LEAST_WAY / max(way, 1e-3)),
                caution=(LEAST_WAY / FULL_WAY),
                figure=reached,
                limit=(green + LEAST_WAY * (free - green)),
                unit="of full density",
                note=(f"density if each powder holds the other back; {free:.2f} if neither does"),
            )
        )
    return found


GRAINS = Rule(
    name="grains",
    loses=False,
    harm="grains of a blend part and leave it weaker",
    asks="Do the metal grains of a blend stay bonded to its ceramic?",
    find=grain_flags,
    sees=frozenset({FIRING, BLENDS}),
    green=True,
    source="Davidge & Green 1968, with the ceramic's toughness for the bond's (estimate)",
    remedy="A finer metal powder, or a ceramic that contracts more like the metal; bend a bar "
    "of the blend and of the body and look at the break.",
    piece="shrinkage bar",
    sign="grains that pull out of the broken face",
)
BLEND_DENSITY = Rule(
    name="blend density",
    loses=False,
    harm="a blend stays porous and weaker",
    asks="Do the powders of a blend sinter together?",
    find=blend_density_flags,
    sees=frozenset({FIRING, BLENDS}),
    green=True,
    source="half the way its powders would go apart (estimate)",
    remedy="Powders that sinter at the same temperature, fewer steps near half and half, or "
    "a hotter firing; fire a bar of the blend and measure its shrinkage.",
    piece="shrinkage bar",
)

RULES = (GRAINS, BLEND_DENSITY)
"""Rules of a blend's fabric."""
