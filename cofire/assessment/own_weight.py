"""How far a material flows under its own weight: the limits, and a ring that bears only itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cofire.materials.card import Card, pure_cards
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.history import Along, History
from cofire.physics.rheology import viscosity_at
from cofire.units import GRAVITY

SAG_CAUTION, SAG_NO = 0.01, 0.05
"""Height lost to flow under own weight, of the band's height: common practice. [-]"""
SLUMP_NO = 1.0
"""Natural strain of flow under own weight at which a wall has gone down to a third of its height
and stands no more. Estimate: flow grows by a power of ten in some 50 K, so a factor of two is 15 K.
[-]"""
RING = 0.030
"""Height of the upright ring that materials without a vessel are asked for, of the size of a zone
of a small vessel; its wall does not matter, since weight and section grow alike. Our choice. [m]"""


def flowed(time: Array, stress: Array, viscosity: Array) -> Array:
    """Natural strain of flow at a stress that is not negative, over all times. [-]

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    stress, viscosity : array
        Uniaxial, shape (..., M). [Pa], [Pa s]
    """
    return np.asarray(np.trapezoid(stress / viscosity, time, axis=-1))


def viscosity_of(card: Card, alone: History, pure: Sequence[Card], stress: Array) -> Array:
    """Uniaxial viscosity of a material at a stress, of a blend as the mixture of its phases.

    Parameters
    ----------
    card : Card
        A material or blend.
    alone : History
        Of pure materials, its own among them.
    pure : sequence of Card
        Those, in the order of the history.
    stress : array
        Shape (..., M). [Pa]

    Returns
    -------
    array
        Same shape. [Pa s]
    """
    place = {one.name: row for row, one in enumerate(pure)}
    phases = [
        viscosity_at(
            stress, alone.viscosity[row], alone.creep_factor[row], alone.creep_exponent[row]
        )
        for row in (place[part.name] for part, _ in card.constituents)
    ]
    return mixing.viscosity(card.metal_share, *phases) if card.parts else phases[0]


def ring_stress(cards: Sequence[Card], history: History, height: float = RING) -> Array:
    """Mean stress over the height of an upright ring that bears only itself; its foot bears twice.

    Parameters
    ----------
    cards : sequence of Card
        N materials.
    history : History
        Theirs.
    height : float
        Of the ring. [m]

    Returns
    -------
    array
        Shape (N, M). [Pa]
    """
    solid = np.array([card["theoretical_density"].scalar for card in cards])
    return 0.5 * height * GRAVITY * solid[:, None] * history.relative_density


def sagged(
    cards: Sequence[Card], history: History, along: Along, stress: Array | None = None
) -> Array:
    """Height that rings of materials lose to flow over a firing, of their height.

    To first order, as in the rule of a vessel's bands. Walls that lean, or bear more, sag more.

    Parameters
    ----------
    cards : sequence of Card
        N materials.
    history : History
        Theirs.
    along : Along
        From which it is: a blend asks it for its phases.
    stress : array, optional
        Mean over the height, shape (N, M) or (M,); by default that of rings of `RING`, each
        bearing only itself. [Pa]

    Returns
    -------
    array
        Shape (N,). [-]
    """
    h = history
    pull = ring_stress(cards, h) if stress is None else np.broadcast_to(stress, h.viscosity.shape)
    flows = viscosity_at(pull, h.viscosity, h.creep_factor, h.creep_exponent[:, None])
    for row, card in enumerate(cards):
        if card.parts:
            pure = list(pure_cards([card]).values())
            flows[row] = viscosity_of(card, along.of(pure), pure, pull[row])
    return flowed(h.time, pull, flows)


def sag_grade(sag: ArrayLike) -> NDArray[np.intp]:
    """0, 1 or 2 for go, caution and no of a loss of height, as the sag rule has it.

    Parameters
    ----------
    sag : array_like
        Of the height. [-]
    """
    lost = np.asarray(sag, dtype=np.float64)
    return np.asarray((lost > SAG_CAUTION).astype(np.intp) + (lost > SAG_NO))


def sag_words(zone: str, sag: float) -> str:
    """What a loss of height of a ring that bears only itself is, in one phrase.

    Parameters
    ----------
    zone : str
        As the phrase names it.
    sag : float
        Above what a go bears. [-]
    """
    if 2.0 * sag > SLUMP_NO:  # its foot flows twice as far
        return f"{zone} flows flat under its own weight: its foot by {200 * sag:.0f} % strain " + (
            f"(limit {100 * SLUMP_NO:.0f} %)"
        )
    limit = SAG_NO if sag > SAG_NO else SAG_CAUTION
    return (
        f"{zone} sags by {100 * sag:.1f} % of its height under its own weight (limit "
        f"{100 * limit:.0f} %)"
    )
