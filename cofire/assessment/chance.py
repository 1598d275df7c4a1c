"""How probably limits are kept: the one reckoning of a plan's chance and of `--uncertainty`.

A state is one way in which what all pieces share may be: the cards, and what each rule is wrong by
(`model_factors`). What is left is the scatter from piece to piece and, where a rule foretells the
probability of a crack, Weibull's law. A plan takes the mean over even steps of a factor
(`STEPS`); `--uncertainty` draws factors and cards together, since pieces fired weigh such states.

A limit that could not be computed is as likely passed as kept, in every state: nothing is known of
it, and a piece that held or broke tells nothing of a factor by it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from cofire.assessment.crack_rules import risk_at_log
from cofire.assessment.model_factors import factor_of
from cofire.numerics import Array, normal_points

UNKNOWN_KEPT = 0.5
"""Chance that a limit is kept which could not be computed: our choice. [-]"""
STEPS = np.linspace(-5.0, 5.0, 101)
"""Values of a factor, in its standard deviations: even, since with a Weibull modulus of 9 or more a
crack comes nearly at a step, which the nodes of Gauss and Hermite miss by up to 0.06; these are
within 2e-6 of ever finer ones up to a modulus of 15, within 2e-4 up to 40. [-]"""
SHARES = np.exp(-0.5 * STEPS**2) / np.exp(-0.5 * STEPS**2).sum()
"""Their weights. [-]"""
NODES = 7
"""Of what scatters from piece to piece, once a mean over the factor has smoothed the step. [-]"""
LEAST, MOST = 1e-9, 1e9
"""Between which utilisations are told apart. [-]"""


def rather_kept(chance: float) -> bool:
    """Whether a pot is likelier kept than lost; a plan, its sheet and `--uncertainty` go by it.

    Parameters
    ----------
    chance : float
        That it is not lost. [-]
    """
    return chance > 0.5


def passing(excess: Array, scatter: float) -> Array:
    """Probability that a piece stays below a level of a rule, given the factor all pieces share.

    Parameters
    ----------
    excess : array
        Logarithm of utilisation times factor over the level. [-]
    scatter : float
        Standard deviation of the logarithm from piece to piece; zero is a sharp step. [-]

    Returns
    -------
    array
        Same shape. [-]

    Examples
    --------
    >>> passing(np.array([0.0]), 0.2).tolist(), passing(np.array([-9.0]), 0.0).tolist()
    ([0.5], [1.0])
    """
    from scipy.special import ndtr

    if scatter <= 0.0:
        return np.asarray(excess <= 0.0, dtype=float)
    return np.asarray(ndtr(-excess / scatter))


def chance_kept(rule: str, used: Array, common: Array, modulus: Array | None = None) -> Array:
    """Chance that a piece passes no limit of one rule, in each state.

    Parameters
    ----------
    rule : str
        Its name.
    used : array
        Utilisations of its F flags in N samples, shape (N, F); not a number where it could not be
        computed. [-]
    common : array
        Logarithm of the factor that all pieces share, in K states, shape (K,). [-]
    modulus : array, optional
        Weibull's m of each flag, where the rule foretells the probability of a crack: its limit is
        then that none comes. Broadcast to (N, F). [-]

    Returns
    -------
    array
        Shape (N, K). [-]

    Examples
    --------
    >>> known, unknown = np.array([[0.0]]), np.array([[np.nan]])
    >>> [chance_kept("steam", used, np.zeros(1)).item() for used in (known, unknown)]
    [1.0, 0.5]
    """
    log, least, m = _worst(used, modulus)
    return np.minimum(_kept_at(factor_of(rule).scatter, log + common, m), least)


def mean_kept(rule: str, used: Array, modulus: Array | None = None) -> Array:
    """Chance that a piece passes no limit of one rule, over all that the rule may be wrong by.

    Parameters
    ----------
    rule, used, modulus
        As of `chance_kept`.

    Returns
    -------
    array
        Shape (N,). [-]

    Examples
    --------
    >>> mean_kept("steam", np.array([[1.0], [2.0]])).round(3).tolist()
    [0.5, 0.159]
    """
    factor = factor_of(rule)
    if modulus is not None or np.isnan(used).any():
        return np.asarray(chance_kept(rule, used, factor.common * STEPS, modulus) @ SHARES)
    log, _, _ = _worst(used, None)
    # the common part and the scatter are two normal deviates: so is their sum
    return passing(log[:, 0], float(np.log(factor.spread)))


def _worst(used: Array, modulus: Array | None) -> tuple[Array, Array, Array | None]:
    """Logarithm of the worst utilisation, the most that is kept, and its Weibull m, each (N, 1)."""
    unknown = np.isnan(used)
    told = np.clip(np.where(unknown, 0.0, used), LEAST, MOST)
    worst = np.argmax(told, axis=1)[:, None]
    log = np.log(np.take_along_axis(told, worst, axis=1))
    least = np.where(unknown, UNKNOWN_KEPT, 1.0).min(axis=1)[:, None]
    if modulus is None:
        return log, least, None
    return log, least, np.take_along_axis(np.broadcast_to(modulus, used.shape), worst, axis=1)


def _kept_at(scatter: float, log: Array, modulus: Array | None) -> Array:
    """Chance that a piece passes no limit, by the logarithm of its utilisation. [-]"""
    if modulus is None:
        return passing(log, scatter)
    found = np.zeros_like(log)
    for node, share in zip(*normal_points(NODES), strict=True):
        bounded = np.minimum(log + scatter * node, 200.0 / modulus)
        found += share * np.exp(-risk_at_log(bounded, modulus))
    return found


def together(by_rule: Mapping[str, Array], cracks: Collection[str]) -> Array:
    """Chance that no limit of several rules is passed, in each state.

    In a state rules fail independently of each other, but of those that foretell the probability of
    a crack, which read one stress, the likeliest counts.

    Parameters
    ----------
    by_rule : mapping
        From `chance_kept`, by name of the rule; shapes broadcast. [-]
    cracks : collection of str
        Rules that foretell the probability of a crack.

    Returns
    -------
    array
        Broadcast shape; 1 without rules. [-]
    """
    found, spared = np.ones(()), np.ones(())
    for name, one in by_rule.items():
        if name in cracks:
            spared = np.minimum(spared, one)
        else:
            found = found * one
    return np.asarray(found * spared)


def cracking(used: float, modulus: float, rule: str) -> float:
    """Probability of a crack by Weibull's law, the rule's own error in it.

    Parameters
    ----------
    used : float
        Utilisation: 1 where the probability by the rule as it stands is that of its limit. [-]
    modulus : float
        Weibull's m. [-]
    rule : str
        Name of the rule.

    Returns
    -------
    float
        Mean over what the rule may be wrong by. [-]

    Examples
    --------
    >>> round(cracking(1.0, 8.0, "cooling"), 2), round(cracking(1.0, 8.0, "atmosphere"), 2)
    (0.4, 0.1)
    """
    (kept,) = mean_kept(rule, np.array([[used]]), np.array([[modulus]]))
    return 1.0 - float(kept)
