"""Which unknowns of a sintering curve the readings tell, and the curve they make most likely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.evidence import fitting
from cofire.evidence.curve_readings import MOST_ALIKE
from cofire.evidence.fitting import Figure, Fit, covariance, pooled_spread, solve
from cofire.evidence.sintering_curve import (
    ALONG,
    DRIED_DENSITY,
    FIRED_DENSITY,
    FIXED,
    GREEN,
    HEIGHT,
    HOT,
    NAMES,
    PLACE,
    UPRIGHT,
    Bench,
    Weights,
    admissible,
    done,
    own_density,
    plain_clock,
    predict,
    problem,
)
from cofire.materials.card import FiredAt
from cofire.numerics import Array

TELLS = 0.5
"""Readings tell an unknown where they cut the card's own uncertainty to this share or less: they
then weigh three times as much as the card. [-]"""
STILL_TELLS = 0.8
"""And where, left to themselves, they stay below this share of it. [-]"""
UNDECIDED = 0.005
"""Share done, or still to do, below which a reading says only that it is early, or late. [-]"""
ROUNDS = 4


@dataclass(frozen=True)
class CurveFit:
    """A sintering curve as fitted.

    Attributes
    ----------
    free
        Unknowns that the readings alone decide.
    """

    bench: Bench
    weights: Weights
    free: tuple[int, ...]
    fit: Fit

    @property
    def threshold(self) -> float:
        """Student's t of the intervals. [-]"""
        return fitting.threshold(self.weights.freedom)


def told(b: Bench, w: Weights, x: Array) -> tuple[int, ...]:
    """Unknowns that the readings tell better than the card.

    Parameters
    ----------
    b : Bench
        Readings.
    w : Weights
        How much each counts.
    x : array
        Unknowns at which it is asked, shape (P,).

    Returns
    -------
    tuple of int
        Rising.
    """
    own = b.prior.copy()
    own[PLACE] = b.anchor[1]

    def left(free: Sequence[int]) -> Array:
        """Share of the card's uncertainty that is left of each unknown."""
        spread = covariance(problem(b, w, free).jacobian(x))
        size = np.sqrt(np.diag(spread))
        by = own_density(b, x)[1]
        size[PLACE] = np.sqrt(by @ spread @ by)
        return np.asarray(size / own)

    share = left(())
    kinds = set(b.readings.kind.tolist())
    free = [i for i in NAMES.values() if share[i] < TELLS]
    if UPRIGHT not in kinds and HEIGHT in free:
        free.remove(HEIGHT)
    if PLACE in free and _all_done(b, x):
        free.remove(PLACE)
    while free:
        share = left(free)
        worst = max(free, key=lambda i: share[i])
        if share[worst] <= STILL_TELLS:
            break
        free.remove(worst)
    return tuple(sorted(free))


def _all_done(b: Bench, x: Array) -> bool:
    """Whether every reading is that of an unsintered or a finished body: no place of the curve."""
    share = done(b, x)[0][:-1]
    return bool(np.minimum(share, 1.0 - share).max() < UNDECIDED)


def _own_scatter(b: Bench, off: Array, here: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Sum of squares of readings of one kind in one firing about their mean, and its freedom.

    Last what it would be by the uncertainties stated.
    """
    keys = b.readings.group[here] * 8 + b.readings.kind[here]
    _, group = np.unique(keys, return_inverse=True)
    count = np.bincount(group)
    means = np.bincount(group, off[here]) / count
    by_stated = ((1.0 - 1.0 / count[group]) * b.readings.size[here] ** 2).sum()
    return (
        float(((off[here] - means[group]) ** 2).sum()), float(here.sum() - count.size),
        float(by_stated),
    )  # fmt: skip


def with_scatter(stated: Array, typical: float, seen: float) -> Array:
    """Uncertainty of readings that scatter by more, or less, than what was stated of them.

    What is beyond the errors of reading differs from piece to piece, and is alike for all whatever
    their length; where less is seen, the errors of reading are smaller in proportion.

    Parameters
    ----------
    stated : array
        Standard uncertainty of each, any shape. [-]
    typical, seen : float
        Root of the mean square as stated, and as seen. [-]

    Returns
    -------
    array
        Same shape. [-]

    Examples
    --------
    >>> with_scatter(np.array([3.0, 4.0]), 3.0, 5.0).round(2).tolist()
    [5.0, 5.66]
    """
    if seen < typical:
        return np.asarray(stated * (seen / typical))
    return np.sqrt(stated**2 + seen**2 - typical**2)


def reweighted(b: Bench, w: Weights, free: Sequence[int], fit: Fit) -> Weights:
    """Weights from the scatter of the readings about a fit.

    Bars of one firing scatter about their mean; firings lie apart from the curve by more, since
    their temperatures are off: where by significantly more than stated, what they show counts.
    Neighbours along a curve err alike (Cochrane & Orcutt 1949, J. Am. Stat. Assoc. 44, 32).

    Parameters
    ----------
    b : Bench
        Readings.
    w : Weights
        Of that fit.
    free : sequence of int
        Its free unknowns. [-]
    fit : Fit
        The fit.

    Returns
    -------
    Weights
        For the next fit.
    """
    r = b.readings
    off = predict(b, fit.values).value - r.value
    slope = problem(b, w, free).jacobian(fit.values)[: r.kind.size]
    taken = np.einsum("ij,jk,ik->i", slope, fit.covariance, slope)
    spread, freedom, alike = r.size.copy(), [], 0.0
    for kinds in ((ALONG, UPRIGHT), (FIRED_DENSITY, DRIED_DENSITY), (HOT,)):
        here = np.isin(r.kind, kinds)
        if not here.any():
            continue
        typical = float(np.sqrt(np.mean(r.size[here] ** 2)))
        if kinds == (HOT,):
            pair = here[1:] & here[:-1] & (r.group[1:] == r.group[:-1])
            squares = float((off[here] ** 2).sum())
            product = float((off[1:] * off[:-1])[pair].sum())
            alike = float(np.clip(product / max(squares, 1e-300), 0.0, MOST_ALIKE))
            share = (1.0 - alike) / (1.0 + alike)
            squares, left = squares * share, float(here.sum()) * share - float(taken[here].sum())
        else:
            squares, left, by_stated = _own_scatter(b, off, here)
            typical = float(np.sqrt(by_stated / left)) if left > 0.0 else typical
        seen, of_it = pooled_spread(typical, squares, max(left, 0.0))
        spread[here] = with_scatter(r.size[here], typical, seen)
        freedom.append(of_it)
    shaky, of_firings = _firings_apart(b, w, fit)
    return Weights(spread, alike, min(*freedom, of_firings), shaky)


def _firings_apart(b: Bench, w: Weights, fit: Fit) -> tuple[float, float]:
    """Temperatures of the firings over what was stated, 1 or more, and its degrees of freedom."""
    off, stated = fit.values[FIXED:], b.prior[FIXED:]
    variance = np.diag(fit.covariance)[FIXED:] / (w.shaky * stated) ** 2
    told = float(np.sum(1.0 - np.clip(variance, 0.0, 1.0)))
    squares = float(np.sum((off / stated) ** 2))
    if told <= 0.0:
        return 1.0, np.inf
    size, freedom = pooled_spread(1.0, squares, told)
    return (size, freedom) if freedom == told and size > 1.0 else (1.0, np.inf)


def fit_curve(b: Bench, dropped: Sequence[int] = ()) -> CurveFit:
    """The curve that the readings and the card's uncertainties make most likely.

    Parameters
    ----------
    b : Bench
        Readings.
    dropped : sequence of int
        Unknowns not to be left free. [-]

    Returns
    -------
    CurveFit
        Weights and free unknowns settled in a few rounds.
    """
    w = Weights(b.readings.size, 0.0, fitting.STATED_FREEDOM)
    first = solve(problem(b, w, ()), b.start).values
    x, free, barred = first, tuple[int, ...](), set(dropped)
    for _ in range(ROUNDS):
        if _all_done(b, x):  # from there no derivative leads back
            barred, x = barred | {PLACE}, first
        free = tuple(i for i in told(b, w, x) if i not in barred)
        fit = solve(problem(b, w, free), x)
        x, w = fit.values, reweighted(b, w, free, fit)
    return CurveFit(b, w, free, solve(problem(b, w, free), x))


def density_in(c: CurveFit, fired: FiredAt) -> Figure:
    """Relative density after a plain firing, as a function of the unknowns.

    Parameters
    ----------
    c : CurveFit
        Whose centre counts.
    fired : FiredAt
        The firing.

    Returns
    -------
    callable
        From unknowns, shape (P,), to density [-] and its derivatives, shape (P,).
    """
    clock = plain_clock(fired, c.bench.card)
    b = replace(c.bench, clocks=(*c.bench.clocks[:-1], clock))

    def density(x: Array) -> tuple[float, Array]:
        if not admissible(x):
            return float(x[GREEN]), np.eye(x.size)[GREEN]
        return own_density(b, x)

    return density
