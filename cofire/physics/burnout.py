"""Mass lost to heat: binder, and the water bound in a clay."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.binders import Reaction
from cofire.physics.densification import GAS_CONSTANT, run_clock

Array = NDArray[np.float64]


def conversion(time: Array, temperature: Array, reaction: Reaction) -> Array:
    """Share of a reaction done along a trace, in closed form over its own clock.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    reaction : Reaction
        Kinetics.

    Returns
    -------
    array
        From 0 towards 1, shape (M,). [-]
    """
    clock = run_clock(
        time,
        temperature,
        lambda T: reaction.frequency * np.exp(-reaction.activation_energy / (GAS_CONSTANT * T)),
    )
    n = reaction.order
    if abs(n - 1.0) < 1e-9:
        return -np.expm1(-clock)
    left = np.maximum(1.0 - (1.0 - n) * clock, 0.0)
    return np.asarray(1.0 - left ** (1.0 / (1.0 - n)), dtype=np.float64)


def mass_lost(time: Array, temperature: Array, reactions: Sequence[Reaction]) -> Array:
    """Share of a substance's mass lost by parallel reactions.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    temperature : array
        Shape (M,). [K]
    reactions : sequence of Reaction
        Their shares may sum to less than one: the rest stays as char or ash.

    Returns
    -------
    array
        Shape (M,). [-]
    """
    lost = np.zeros_like(time)
    for reaction in reactions:
        lost = lost + reaction.share * conversion(time, temperature, reaction)
    return lost
