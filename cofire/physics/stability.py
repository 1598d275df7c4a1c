"""How long the crystals that give a body its expansion last in the heat."""

from __future__ import annotations

import numpy as np

from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.sintering import run_clock


def turning_rate(card: Card, temperature: Array) -> Array:
    """Share of its crystals' time that a card uses up per second: 1/t of `stable_time`. [1/s]

    Zero outside the rows, where they are taken to stay, and for a card without the property; of a
    blend the largest of its parts.

    Parameters
    ----------
    card : Card
        Any.
    temperature : array
        Any shape. [K]
    """
    if card.parts:
        rates = [turning_rate(part, temperature) for part, _ in card.parts]
        return np.asarray(np.max(rates, axis=0))
    if "stable_time" not in card:
        return np.zeros(temperature.shape)
    lasts = card["stable_time"]
    low, high = lasts.reach
    inside = (temperature >= low) & (temperature <= high)
    return np.where(inside, 1.0 / lasts.at(temperature, extend=True), 0.0)


def turned(card: Card, time: Array, temperature: Array) -> Array:
    """Share of its crystals' time that a card has used up along a trace, shape (M,). [-]

    Shares of the times at single temperatures add up to one when the change begins: E. Scheil,
    Arch. Eisenhüttenwes. 8, 1935, 565 (from memory), right where nuclei form and grow by one law.

    Parameters
    ----------
    card : Card
        Any.
    time, temperature : array
        Of the ware, shape (M,). [s], [K]

    Examples
    --------
    >>> import cofire as cf
    >>> hours = np.array([0.0, 1.5]) * 3600.0
    >>> turned(cf.card("leucite porcelain"), hours, np.full(2, 850.0 + 273.15))
    array([0. , 0.5])
    """
    return run_clock(time, temperature, lambda T: turning_rate(card, T))
