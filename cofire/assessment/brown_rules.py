"""Flags of ware that is no longer bound and not yet dense: does its skeleton bear its strain."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.cracks import SINTERED
from cofire.assessment.response import Response
from cofire.assessment.rule import BLENDS, FIRING, LAYERS, NEIGHBOUR, SHAPE, STRESS, Flag, Rule
from cofire.assessment.strained import strained_along
from cofire.assessment.wall_rules import DUCTILITY
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.blends import BROWN_STRAIN
from cofire.physics.mixing import CRITICAL_VOLUME
from cofire.physics.porosity import densified

UNMEASURED = 3.0
"""Factor by which a brown strain that nobody measured may be wrong, either way (`BROWN_STRAIN`).
[-]"""
BROWN_CAUTION = 0.3
"""Share of the strain a skeleton bears from which it is a caution: our choice, the factor of three
by which a brown strain that nobody measured is uncertain. [-]"""


def borne_strain(card: Card, density: Array, strength: Array, young_modulus: Array) -> Array:
    """Tensile strain at which a metal or ceramic breaks while it sinters. [-]

    A ceramic's is strength over stiffness: both grow with the same necks, so it goes from the bound
    body's over the brown one's to the fired one's. A metal goes on past its yield: from the brown
    strain to its ductility, linearly in the density, as necks that grow are drawn out further.

    Parameters
    ----------
    card : Card
        Not a blend.
    density : array
        Relative density. [-]
    strength, young_modulus : array
        Of it at the same times. [Pa]
    """
    elastic = strength / young_modulus
    if card.kind == "ceramic":
        return np.asarray(elastic)
    green, fired = card["green_density"].scalar, card["fired_density"].scalar
    least = card.scalar("brown_strain", BROWN_STRAIN)
    most = max(card.scalar("ductility", DUCTILITY), least)
    joined = np.clip(densified(density, green, fired), 0.0, 1.0)
    return np.maximum(elastic, least + (most - least) * joined)


def zone_strains(response: Response) -> list[Array]:
    """Strain that each band bears at the shell's times.

    In a blend each phase is strained as the whole: the ceramic's counts wherever it can be
    continuous, and from there it goes linearly to the metal's, as its strength does
    (`mixing.strength`).

    Returns
    -------
    list of array
        Shape (T,) a band. [-]
    """
    alone, cards = response.substances
    rows = [
        response.at_times(values)
        for values in (alone.relative_density, alone.strength, alone.young_modulus)
    ]
    each = {c.name: borne_strain(c, *(r[k] for r in rows)) for k, c in enumerate(cards)}
    found = []
    for card in response.cards:
        if not card.parts:
            found.append(each[card.name])
            continue
        (metal, _), (ceramic, left) = card.parts
        share = min(left / CRITICAL_VOLUME, 1.0)
        found.append(share * each[ceramic.name] + (1.0 - share) * each[metal.name])
    return found


def brown_utilisations(response: Response, sintered: float = SINTERED) -> Array:
    """Strain at every station over what its band then bears, until that counts as sintered.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    sintered : float
        Share of its densification at which a zone is done. [-]

    Returns
    -------
    array
        The worst mean that begins or ends at each station, zero once its band has sintered;
        shape (T, G). [-]
    """
    found = np.zeros((response.fired.time.size, response.fired.band.size))
    for used, place in _used(response, sintered):
        for k, station in enumerate(place):
            np.maximum(found[:, station], used[:, k], out=found[:, station])
    return found


def _used(response: Response, sintered: float) -> list[tuple[Array, NDArray[np.intp]]]:
    """Share of what each band bears, (T, K), and the station that each of the K belongs to."""
    history, shell = response.history, response.fired
    young, done = response.at_times(history.young_modulus), response.progress
    total, borne = response.total, zone_strains(response)
    found = []
    for band, card in enumerate(response.cards):
        row = response.material[band]
        here, raw = np.flatnonzero(shell.band == band), np.flatnonzero(done[row] < sintered)
        strain = total[np.ix_(raw, here)] / young[row][raw, None, None, None]
        if card.ceramic is None:  # a metal that yields is strained further at the same stress
            strain = strain + shell.plastic[np.ix_(raw, here)]
        strain, place = strained_along(response, strain, here)
        used = np.zeros((young.shape[1], place.size))
        used[raw] = np.maximum(strain.max(axis=(2, 3)), 0.0) / borne[band][raw, None]
        found.append((used, place))
    return found


def brown_flags(response: Response) -> list[Flag]:
    """Strain of each zone over what its skeleton bears, from the dried body to the sintered one.

    One rule without a beginning: stiffness and strength grow with the same necks, so it matters
    little when a zone "begins" to sinter, and the stiffness of brown ware, which nobody knows,
    cancels. Local fields of the steps included, as means over a tenth of the wall. Powders that
    slide past each other bear more.

    Returns
    -------
    list of Flag
        One a band; its figure and limit are strains.
    """
    shell, borne, used_by_band = response.fired, zone_strains(response), _used(response, SINTERED)
    found = []
    for band, card in enumerate(response.cards):
        utilisation, place = used_by_band[band]
        t, g = np.unravel_index(int(np.argmax(utilisation)), utilisation.shape)
        limit = float(borne[band][t])
        own = all("brown_strain" in part for part in (p for p, _ in card.constituents))
        used = float(utilisation[t, g])
        # necks that grow take over from the brown skeleton, and with them what the card knows
        grown = min(max(float(response.progress[response.material[band], t]), 0.0), 1.0)
        unsure = 1.0 if own else UNMEASURED ** (1.0 - grown)
        found.append(
            Flag(
                zone=card.name,
                utilisation=used,
                low=used / unsure if unsure > 1.0 else None,
                high=used * unsure if unsure > 1.0 else None,
                caution=BROWN_CAUTION,
                figure=(1e3 * used * limit),
                limit=(1e3 * limit),
                unit="per mille strain",
                source=(
                    "strain the powder skeleton bears (card)"
                    if own
                    else "strain the powder skeleton bears (brown strain: estimate, a factor of 3)"
                ),
                note="tensile strain before the zone has sintered, mean over a tenth of the wall",
                time=float(shell.time[t]),
                temperature=float(response.temperature[t]),
                height=float(shell.height[place[g]]),
            )
        )
    return found


BROWN = Rule(
    name="brown",
    loses=True,
    harm="the powder cracks before it sinters",
    asks="Does the powder skeleton bear its strain until it has sintered?",
    find=brown_flags,
    sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS}),
    green=True,
    source="strain the powder skeleton bears",
    remedy="Bring the two zones' expansion and the start of their sintering together, or "
    "grade the joint; bend brown bars to measure what they bear.",
    piece="camber strip",
)

RULES = (BROWN,)
"""Rules of ware that is no longer bound and not yet dense."""
