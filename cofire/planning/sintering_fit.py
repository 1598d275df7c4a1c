"""Which unknowns of the sintering curve the readings tell, and the curve they make most likely."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import FiredAt
from cofire.planning import fitting
from cofire.planning.firing_clock import plain_clock
from cofire.planning.fitting import Fit, covariance, pooled_spread, solve
from cofire.planning.sintering_model import (
    ALONG,
    CURVE_UNCERTAINTY,
    DRIED_DENSITY,
    ENERGY,
    EXPONENT,
    FIRED_DENSITY,
    FULL,
    GREEN,
    HEIGHT,
    HOT,
    MOST_ALIKE,
    NAMES,
    PLACE,
    UPRIGHT,
    Bench,
    Weights,
    own_density,
    predict,
    problem,
)

Array = NDArray[np.float64]

TELLS = 0.5
"""Readings tell an unknown where they cut the card's own uncertainty to this share or less: they
then weigh three times as much as the card. [-]"""
STILL_TELLS = 0.8
"""And where, left to themselves, they stay below this share of it. [-]"""
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
    while free:
        share = left(free)
        worst = max(free, key=lambda i: share[i])
        if share[worst] <= STILL_TELLS:
            break
        free.remove(worst)
    return tuple(sorted(free))


def reweighted(b: Bench, w: Weights, free: Sequence[int], fit: Fit) -> Weights:
    """Weights from the scatter of the readings about a fit.

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
        With the correlation along curves (Cochrane & Orcutt 1949, J. Am. Stat. Assoc. 44, 32).
    """
    r = b.readings
    off = predict(b, fit.values).value - r.value
    slope = problem(b, w, free).jacobian(fit.values)[: r.kind.size]
    taken = np.einsum("ij,jk,ik->i", slope, fit.covariance, slope)
    stated = (*b.stated, CURVE_UNCERTAINTY)
    spread, freedom, alike = [], [], 0.0
    for kinds, sure in zip(((ALONG, UPRIGHT), (FIRED_DENSITY, DRIED_DENSITY), (HOT,)), stated,
                           strict=True):  # fmt: skip
        here = np.isin(r.kind, kinds)
        if not here.any():
            spread.append(sure)
            continue
        count, squares = float(here.sum()), float((off[here] ** 2).sum())
        if kinds == (HOT,):
            pair = here[1:] & here[:-1] & (r.group[1:] == r.group[:-1])
            product = float((off[1:] * off[:-1])[pair].sum())
            alike = float(np.clip(product / max(squares, 1e-300), 0.0, MOST_ALIKE))
            count *= (1.0 - alike) / (1.0 + alike)
            squares *= (1.0 - alike) / (1.0 + alike)
        left = count - float(taken[here].sum())
        size, free_of_it = pooled_spread(sure, squares, max(left, 0.0))
        spread.append(size)
        freedom.append(free_of_it)
    return Weights((spread[0], spread[1], spread[2]), alike, min(freedom))


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
    w = Weights((*b.stated, CURVE_UNCERTAINTY), 0.0, fitting.STATED_FREEDOM)
    x, free = solve(problem(b, w, ()), b.start).values, tuple[int, ...]()
    for _ in range(ROUNDS):
        free = tuple(i for i in told(b, w, x) if i not in dropped)
        fit = solve(problem(b, w, free), x)
        x, w = fit.values, reweighted(b, w, free, fit)
    return CurveFit(b, w, free, solve(problem(b, w, free), x))


def density_in(c: CurveFit, fired: FiredAt) -> Callable[[Array], float]:
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
        From unknowns to density. [-]
    """
    clock, own = plain_clock(fired), c.bench.clocks[:-1]

    def density(x: Array) -> float:
        energy, n = float(np.exp(x[ENERGY])), float(np.exp(x[EXPONENT]))
        centre = float(np.mean([o.read(energy)[0].mean() for o in own]))
        score = n * (float(clock.read(energy)[0][0]) - centre) + float(x[PLACE])
        return float(
            x[GREEN] + (x[FULL] - x[GREEN]) / (1.0 + np.exp(-np.clip(score, -500.0, 500.0)))
        )

    return density
