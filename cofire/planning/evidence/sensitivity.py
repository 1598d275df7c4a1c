"""Figures of samples: intervals, shares of a variance by factor, and what goes along with what.

Shares of a variance are Sobol' indices: `first` is what would go if the factor alone were known,
`total` what would stay if all others were.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Array = NDArray[np.float64]

WILSON = 1.959963984540054
"""Normal deviate of a 95 % interval. [-]"""


def wilson(share: float, count: float) -> tuple[float, float]:
    """95 % interval of a probability, from the share found in independent samples.

    Wilson 1927, J. Am. Stat. Assoc. 22, 209. Where each sample gives a probability instead of yes
    or no, or the samples are spread evenly, the interval is on the wide side.

    Parameters
    ----------
    share : float
        0 to 1. [-]
    count : float
        Samples, above 0. [-]

    Returns
    -------
    tuple of float
        Lower and upper end. [-]
    """
    square = WILSON**2 / count
    middle = (share + 0.5 * square) / (1.0 + square)
    half = np.sqrt(square * share * (1.0 - share) + 0.25 * square**2) / (1.0 + square)
    low = 0.0 if share <= 0.0 else max(float(middle - half), 0.0)
    high = 1.0 if share >= 1.0 else min(float(middle + half), 1.0)
    return low, high


def explained(figure: Array, left: Array) -> float:
    """Share of a figure's variance that is accounted for.

    Parameters
    ----------
    figure : array
        Shape (N,). [any]
    left : array
        What is not foretold of each, shape (N,). [as the figure]

    Returns
    -------
    float
        0 to 1; 1 where nothing varies. [-]
    """
    spread = float(np.var(figure))
    return max(1.0 - float(np.mean(np.square(left))) / spread, 0.0) if spread > 0.0 else 1.0


def likelihood_of(figure: Array, happened: NDArray[np.bool_]) -> tuple[float, float]:
    """How an event's probability follows a figure: 1 / (1 + exp(−(a + b figure))).

    Logistic regression by Newton's method (Cox 1958, J. R. Stat. Soc. B 20, 215). A faint pull of
    the slope towards zero, as of one sample, keeps it finite where the figure tells all.

    Parameters
    ----------
    figure : array
        Shape (N,). [any]
    happened : array
        Shape (N,).

    Returns
    -------
    tuple of float
        a [-] and b [1 over the figure's unit].
    """
    middle, scale = float(np.mean(figure)), max(float(np.std(figure)), 1e-12)
    columns = np.stack([np.ones(len(figure)), (figure - middle) / scale], axis=1)
    seen = happened.astype(np.float64)
    pull = np.diag([1e-3, 1e-2])
    found = np.zeros(2)
    for _ in range(50):
        chance = expit(columns @ found)
        slope = columns.T @ (seen - chance) - pull @ found
        bend = (columns * (chance * (1.0 - chance))[:, None]).T @ columns + pull
        step = np.linalg.solve(bend, slope)
        step *= min(1.0, 2.0 / float(np.abs(step).max() + 1e-300))
        found = found + step
        if np.abs(step).max() < 1e-10:
            break
    return float(found[0] - found[1] * middle / scale), float(found[1] / scale)


def sobol_indices(
    function: Callable[[Array], Array],
    one: Array,
    other: Array,
    active: Sequence[int] | None = None,
) -> tuple[Array, Array]:
    """First-order and total Sobol' indices of a function, from two designs.

    First order after Saltelli et al. 2010 (Comput. Phys. Commun. 181, 259, table 2, b), total
    after Jansen 1999 (Comput. Phys. Commun. 117, 35; the same table, f). Costs N values a factor,
    and 2 N.

    Parameters
    ----------
    function : callable
        From points, shape (N, d), to figures, shape (N,).
    one, other : array
        Independent points, shape (N, d). [as the factors]
    active : sequence of int, optional
        Factors that the function depends on; by default all.

    Returns
    -------
    tuple of array
        First and total, shape (d,) each; zeros where the function is constant. [-]
    """
    at_one, at_other = function(one), function(other)
    both = np.concatenate([at_one, at_other])
    middle, variance = float(both.mean()), float(both.var())
    count = one.shape[1]
    first, total = np.zeros(count), np.zeros(count)
    if variance <= 1e-18 * (1.0 + middle**2):
        return first, total
    for k in range(count) if active is None else active:
        mixed = one.copy()
        mixed[:, k] = other[:, k]
        at_mixed = function(mixed)
        first[k] = np.mean((at_other - middle) * (at_mixed - at_one)) / variance
        total[k] = 0.5 * np.mean((at_one - at_mixed) ** 2) / variance
    return first, total


def rank_correlation(factors: Array, figure: Array) -> Array:
    """Spearman's rank correlation of each factor with a figure.

    Spearman 1904, Am. J. Psychol. 15, 72. Ties share their mean rank. Its standard error where
    there is no relation is 1/√(N − 1).

    Parameters
    ----------
    factors : array
        Shape (N, d). [any]
    figure : array
        Shape (N,). [any]

    Returns
    -------
    array
        From −1 to 1, 0 where either is constant, shape (d,). [-]
    """
    ranks = np.stack([_ranks(column) for column in (*factors.T, figure)])
    ranks -= ranks.mean(axis=1, keepdims=True)
    length = np.linalg.norm(ranks, axis=1)
    scale = length[:-1] * length[-1]
    return np.asarray(np.where(scale > 0.0, ranks[:-1] @ ranks[-1] / np.maximum(scale, 1.0), 0.0))


def _ranks(values: Array) -> Array:
    """Rank of each value, equal ones at their mean."""
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts).astype(np.float64)
    return np.asarray((last - 0.5 * (counts - 1))[place])
