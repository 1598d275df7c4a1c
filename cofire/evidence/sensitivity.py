"""Shares of a figure's variance by factor, from polynomials fitted to samples of it.

Shares of a variance are Sobol' indices: `first` is what would go if the factor alone were known,
`total` what would stay if all others were.

A few terms are picked one by one from thousands, as many as cross-validation bears out (a sparse
polynomial chaos; Blatman & Sudret 2011, J. Comput. Phys. 230, 2345, with another way to pick).
Under the distribution of the factors its terms are orthonormal, so that the variance is the sum
of their squares.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from cofire.numerics import Array

# ----------------------------------------------------------------------------------------------
# Figures of samples: intervals, shares of a variance by factor, and what goes along with what

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


def likelihood_of(figure: Array, happened: Array | NDArray[np.bool_]) -> tuple[float, float]:
    """How an event's probability follows a figure: 1 / (1 + exp(−(a + b figure))).

    Logistic regression by Newton's method (Cox 1958, J. R. Stat. Soc. B 20, 215). A faint pull of
    the slope towards zero, as of one sample, keeps it finite where the figure tells all.

    Parameters
    ----------
    figure : array
        Shape (N,). [any]
    happened : array
        Whether, or how probably, shape (N,).

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
        probability = expit(columns @ found)
        slope = columns.T @ (seen - probability) - pull @ found
        bend = (columns * (probability * (1.0 - probability))[:, None]).T @ columns + pull
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


# ----------------------------------------------------------------------------------------------
# A figure of many factors as a polynomial, fitted to a few hundred samples of it

Term = tuple[tuple[int, int], ...]
"""Product of polynomials: pairs of a factor and a degree, by factor; empty for the constant."""

DEGREE = 3
MOST_TERMS = 40
FOLDS = 8
PATIENCE = 8
"""Terms tried without a smaller error before no more are. [-]"""
WORTH = 1.02
"""Fewer terms are taken where their error is within this factor of the least. [-]"""


def polynomials(law: Callable[[Array], Array], degree: int) -> Array:
    """Polynomials that are orthonormal under a distribution.

    By a QR factorisation of powers at 128 Gauss points.

    Parameters
    ----------
    law : callable
        From shares of the distribution, 0 to 1, to its values.
    degree : int
        Highest, up to 10. [-]

    Returns
    -------
    array
        Coefficients of rising powers, one polynomial a row, shape (degree + 1, degree + 1). [-]
    """
    nodes, weights = np.polynomial.legendre.leggauss(128)
    values = law(0.5 * (nodes + 1.0))
    powers = np.vander(values, degree + 1, increasing=True) * np.sqrt(0.5 * weights)[:, None]
    upper = np.linalg.qr(powers, mode="r")
    upper *= np.sign(np.diag(upper))[:, None]
    return np.asarray(np.linalg.inv(upper).T)


@dataclass(frozen=True)
class Surface:
    """A figure as a polynomial of its factors.

    Attributes
    ----------
    terms, weight
        T products and what each is multiplied with, shape (T,).
    basis
        From `polynomials`.
    left
        Of each sample, what a polynomial fitted to the other samples does not foretell, shape
        (N,). [unit of the figure]
    """

    terms: tuple[Term, ...]
    weight: Array
    basis: Array
    left: Array

    def __call__(self, factors: Array) -> Array:
        """The figure at points of the factors.

        Parameters
        ----------
        factors : array
            Shape (N, d). [as the factors]

        Returns
        -------
        array
            Shape (N,). [unit of the figure]
        """
        used = {pair for term in self.terms for pair in term}
        values = {(f, d): np.polynomial.polynomial.polyval(factors[:, f], self.basis[d])
                  for f, d in used}  # fmt: skip
        total = np.zeros(len(factors))
        for term, weight in zip(self.terms, self.weight, strict=True):
            product = np.full(len(factors), weight)
            for pair in term:
                product *= values[pair]
            total += product
        return total

    @property
    def factors(self) -> tuple[int, ...]:
        """Factors that it depends on."""
        return tuple(sorted({factor for term in self.terms for factor, _ in term}))

    @property
    def variance(self) -> float:
        """Of the polynomial. [square of the figure's unit]"""
        moving = [w for t, w in zip(self.terms, self.weight, strict=True) if t]
        return float(np.sum(np.square(moving)))

    def shares(self, count: int) -> tuple[Array, Array]:
        """First-order and total share of each factor in the polynomial's variance.

        Parameters
        ----------
        count : int
            Number of factors d. [-]

        Returns
        -------
        tuple of array
            First and total, shape (d,) each; zeros where nothing moves. [-]
        """
        first, total = np.zeros(count), np.zeros(count)
        for term, weight in zip(self.terms, self.weight, strict=True):
            for factor, _ in term:
                total[factor] += weight**2
                if len(term) == 1:
                    first[factor] += weight**2
        whole = max(self.variance, np.finfo(float).tiny)
        return first / whole, total / whole


@dataclass(frozen=True)
class Candidates:
    """Every term that a polynomial may have, at the samples.

    Attributes
    ----------
    terms
        One factor, or products of two, up to a degree; M of them.
    columns
        Their values, shape (M, N). [-]
    basis
        From `polynomials`.
    """

    terms: tuple[Term, ...]
    columns: Array
    basis: Array


def candidate_terms(factors: Array, basis: Array, degree: int = DEGREE) -> Candidates:
    """Every term of one or two factors up to a degree.

    Parameters
    ----------
    factors : array
        Where the samples lie, shape (N, d). [as the factors]
    basis : array
        From `polynomials`, of `degree` or higher.
    degree : int
        Highest degree of a term. [-]

    Returns
    -------
    Candidates
        To fit any number of figures of these samples.
    """
    values = np.polynomial.polynomial.polyval(factors.T, basis[: degree + 1].T)
    count = factors.shape[1]
    terms: list[Term] = [((f, d),) for f in range(count) for d in range(1, degree + 1)]
    columns = [values[d, f] for ((f, d),) in terms]
    for a, b in combinations(range(count), 2):
        for i in range(1, degree):
            for j in range(1, degree + 1 - i):
                terms.append(((a, i), (b, j)))
                columns.append(values[i, a] * values[j, b])
    return Candidates(tuple(terms), np.stack(columns), basis)


def fitted_surface(candidates: Candidates, figure: Array, most: int = MOST_TERMS) -> Surface:
    """The polynomial that foretells samples of a figure best.

    Terms enter one at a time, the one most correlated with what is left (orthogonal matching
    pursuit); a product only once one of its factors has entered. Their number is the least whose
    error over eight folds of cross-validation, terms picked anew in each, is within 2 % of the
    least.

    Parameters
    ----------
    candidates : Candidates
        Terms at the samples.
    figure : array
        Shape (N,). [any]
    most : int
        Terms, the constant left out; at most a quarter of the samples. [-]

    Returns
    -------
    Surface
        A constant where nothing helps.
    """
    basis, count = candidates.basis, len(figure)
    spread, middle = float(np.var(figure)), float(np.mean(figure))
    if spread <= 1e-18 * (1.0 + middle**2):
        return Surface(((),), np.array([middle]), basis, np.zeros(count))
    most = min(most, count // 4)
    fold = np.arange(count) % FOLDS
    walks = [_pursue(candidates, figure, fold != k) for k in range(FOLDS)]
    own = np.arange(count)
    lefts: list[Array] = []
    error: list[float] = []
    while len(error) <= most and len(error) - int(np.argmin(error or [0.0])) <= PATIENCE:
        steps = np.stack([next(walk)[1] for walk in walks])
        lefts.append(steps[fold, own])
        error.append(float(np.mean(lefts[-1] ** 2)))
    number = int(np.argmax(np.array(error) <= WORTH * min(error)))
    chosen = [term for term, _ in islice(_pursue(candidates, figure, fold >= 0), 1, number + 1)]
    columns = np.stack([np.ones(count), *candidates.columns[chosen]], axis=1)
    weight = np.linalg.lstsq(columns, figure, rcond=None)[0]
    terms = ((), *(candidates.terms[k] for k in chosen))
    return Surface(terms, weight, basis, lefts[number])


def _pursue(
    candidates: Candidates, figure: Array, train: NDArray[np.bool_]
) -> Iterator[tuple[int, Array]]:
    """Terms in the order they enter, each with what is then left of the figure, shape (N,).

    Fitted to the training rows; the other rows follow along. The first is the constant, as -1;
    once nothing new is left, the last is repeated.
    """
    columns, terms = candidates.columns, candidates.terms
    single = np.array([len(term) == 1 for term in terms])
    ends = np.array([(term[0][0], term[-1][0]) for term in terms])
    rows = np.flatnonzero(single)
    table, size = _centred(columns[rows][:, train], [])
    scale = size.copy()  # `size` is that of the part of each column that is new
    left = figure - figure[train].mean()
    entered: set[int] = set()
    kept: list[Array] = []
    term = -1
    while True:
        yield term, left
        usable = size > 1e-8 * scale
        if not usable.any():
            continue
        gain = np.where(usable, (table @ left[train]) ** 2 / np.maximum(size, 1e-300), -1.0)
        best = int(np.argmax(gain))
        term = int(rows[best])
        column = columns[term] - columns[term, train].mean()
        for old in kept:
            column = column - (old[train] @ column[train]) * old
        column = column / np.linalg.norm(column[train])
        left = left - (column[train] @ left[train]) * column
        size = size - (table @ column[train]) ** 2
        size[best] = 0.0
        kept.append(column)
        for factor in sorted({int(end) for end in ends[term]} - entered):
            known = list(entered)
            new = np.flatnonzero(~single & (ends == factor).any(axis=1)
                                 & ~np.isin(ends, known).any(axis=1))  # fmt: skip
            more, more_size = _centred(columns[new][:, train], [c[train] for c in kept])
            rows = np.concatenate([rows, new])
            table = np.concatenate([table, more])
            size = np.concatenate([size, more_size])
            scale = np.concatenate([scale, np.einsum("mn,mn->m", more, more)])
            entered.add(factor)


def _centred(columns: Array, kept: Sequence[Array]) -> tuple[Array, Array]:
    """Columns without their mean, and the square of what orthonormal ones leave of each."""
    table = columns - columns.mean(axis=1, keepdims=True)
    size = np.einsum("mn,mn->m", table, table)
    for old in kept:
        size = size - (table @ old) ** 2
    return table, size
