"""Shares of variance, intervals and rank correlation against functions whose answer is known."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc

from cofire.assessment.draws import normal
from cofire.evidence.sensitivity import (
    candidate_terms,
    explained,
    fitted_surface,
    likelihood_of,
    polynomials,
    rank_correlation,
    sobol_indices,
    wilson,
)
from cofire.numerics import Array

# Ishigami & Homma 1990 (Proc. 1st Int. Symp. Uncertainty Modeling and Analysis, IEEE, 398):
# sin x1 + a sin² x2 + b x3⁴ sin x1, x uniform on (−π, π). Partial variances as in Saltelli et al.
# 2010 (Comput. Phys. Commun. 181, 259) and elsewhere, derived there by integration.
A, B = 7.0, 0.1
V1, V2, V13 = 0.5 * (1 + B * np.pi**4 / 5) ** 2, A**2 / 8, B**2 * np.pi**8 * 8 / 225
ISHIGAMI_FIRST = np.array([V1, V2, 0.0]) / (V1 + V2 + V13)
ISHIGAMI_TOTAL = np.array([V1 + V13, V2, V13]) / (V1 + V2 + V13)

# The g-function of Sobol' (Saltelli & Sobol' 1995, Reliab. Eng. Syst. Saf. 50, 225; constants of
# Saltelli et al. 2010): Π (|4u − 2| + a)/(1 + a); partial variances 1/3/(1 + a)².
G = np.array([0.0, 0.5, 3.0, 9.0, 99.0, 99.0])
G_PART = 1.0 / (3.0 * (1.0 + G) ** 2)
G_WHOLE = np.prod(1.0 + G_PART) - 1.0
G_FIRST = G_PART / G_WHOLE
G_TOTAL = G_PART * np.prod(1.0 + G_PART) / (1.0 + G_PART) / G_WHOLE


def ishigami(share: Array) -> Array:
    """Of shares 0 to 1, shape (N, 3)."""
    x = np.pi * (2.0 * share - 1.0)
    whole = np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])
    return np.asarray(whole)


def g_function(share: Array) -> Array:
    """Of shares 0 to 1, shape (N, 6)."""
    return np.asarray(np.prod((np.abs(4.0 * share - 2.0) + G) / (1.0 + G), axis=1))


def even(factors: int, power: int) -> Array:
    """Evenly spread shares, shape (2^power, factors)."""
    return qmc.Sobol(factors, scramble=True, seed=np.random.default_rng(7)).random_base2(power)


# --- indices from two designs ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("function", "first", "total"),
    [(ishigami, ISHIGAMI_FIRST, ISHIGAMI_TOTAL), (g_function, G_FIRST, G_TOTAL)],
)
def test_indices_of_two_designs_are_the_known_ones(function, first, total):
    count = len(first)
    points = even(2 * count, 13)
    found = sobol_indices(function, points[:, :count], points[:, count:])
    # 8192 points: a few standard errors of the estimators, 0.005
    np.testing.assert_allclose(found[0], first, atol=0.015)
    np.testing.assert_allclose(found[1], total, atol=0.015)


def test_indices_of_two_designs_are_those_of_a_general_library():
    one, other = np.split(even(6, 8), 2, axis=1)
    mixed = []
    for k in range(3):
        both = one.copy()
        both[:, k] = other[:, k]
        mixed.append(ishigami(both)[None])
    values = {"f_A": ishigami(one)[None], "f_B": ishigami(other)[None], "f_AB": np.stack(mixed)}
    theirs = stats.sobol_indices(func=values, n=256)  # scipy's own estimators of the same paper
    first, total = sobol_indices(ishigami, one, other)
    np.testing.assert_allclose(total, theirs.total_order, rtol=1e-9)
    np.testing.assert_allclose(first, theirs.first_order, atol=1e-9)


# --- indices from a few samples -------------------------------------------------------------------


@pytest.mark.parametrize("count", [256, 512])
def test_a_polynomial_of_256_samples_knows_the_indices_of_ishigami(count: int):
    share = even(3, 9)[:count]
    basis = polynomials(lambda u: u, 10)
    surface = fitted_surface(candidate_terms(share, basis, 10), ishigami(share))
    first, total = surface.shares(3)
    np.testing.assert_allclose(first, ISHIGAMI_FIRST, atol=1e-3)  # polynomials of degree 10
    np.testing.assert_allclose(total, ISHIGAMI_TOTAL, atol=1e-3)
    assert explained(ishigami(share), surface.left) > 0.9999


def test_a_polynomial_comes_near_the_indices_of_the_kinked_g_function():
    share = even(6, 9)
    basis = polynomials(lambda u: u, 8)
    surface = fitted_surface(candidate_terms(share, basis, 8), g_function(share))
    first, total = surface.shares(6)
    # a polynomial of degree 8 rounds the kinks of |4u − 2| off: 1 % of the variance
    np.testing.assert_allclose(first, G_FIRST, atol=0.02)
    np.testing.assert_allclose(total, G_TOTAL, atol=0.02)


def test_a_polynomial_of_256_samples_finds_five_factors_of_fifty():
    factors = normal(even(50, 8))
    weight = np.zeros(50)
    weight[[3, 10, 20, 30, 40]] = 1.0, 0.7, 0.4, 0.2, 0.1
    figure = factors @ weight + 0.3 * factors[:, 3] * factors[:, 10]
    figure = figure + 0.05 * np.random.default_rng(1).standard_normal(256)
    surface = fitted_surface(candidate_terms(factors, polynomials(normal, 3)), figure)
    assert set(surface.factors) >= {3, 10, 20, 30, 40}
    variance = float(normal(np.linspace(0.0005, 0.9995, 1000)).var())  # of a cut-off normal
    parts = np.append(variance * weight**2, (0.3 * variance) ** 2)
    total = parts[:50] / parts.sum()
    total[[3, 10]] += parts[50] / parts.sum()
    np.testing.assert_allclose(surface.shares(50)[1], total, atol=0.01)
    assert np.std(surface.left) < 0.08  # the noise put in is 0.05


# --- intervals and correlation --------------------------------------------------------------------

# Newcombe 1998 (Stat. Med. 17, 857), table I, score method without continuity correction: from
# memory, four decimals.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("yes", "of", "low", "high"), NEWCOMBE)
def test_intervals_of_a_share_are_the_printed_ones(yes: int, of: int, low: float, high: float):
    assert wilson(yes / of, of) == pytest.approx((low, high), abs=5.1e-5)


def test_intervals_of_a_share_are_those_of_a_general_library():
    for yes in range(13):
        theirs = stats.binomtest(yes, 12).proportion_ci(method="wilson")
        assert wilson(yes / 12, 12) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_rank_correlation_is_that_of_a_general_library_with_ties():
    rng = np.random.default_rng(5)
    factors = np.round(rng.standard_normal((40, 3)), 1)
    figure = np.round(factors @ [1.0, -0.5, 0.0] + rng.standard_normal(40), 1)
    theirs = [stats.spearmanr(column, figure).statistic for column in factors.T]
    np.testing.assert_allclose(rank_correlation(factors, figure), theirs, atol=1e-12)
    assert rank_correlation(np.ones((4, 1)), np.arange(4.0)) == [0.0]


def test_likelihood_of_an_event_has_the_odds_of_two_groups():
    """With two values of the figure the logistic line passes through the log odds of each group."""
    figure = np.repeat([0.0, 1.0], [40, 60])
    happened = np.concatenate([np.arange(40) < 10, np.arange(60) < 45])
    a, b = likelihood_of(figure, happened)
    assert (a, a + b) == pytest.approx((np.log(10 / 30), np.log(45 / 15)), abs=0.01)  # faint pull


def test_likelihood_of_an_event_that_the_figure_tells_wholly_stays_finite():
    figure = np.linspace(-1.0, 1.0, 50)
    a, b = likelihood_of(figure, figure > 0.0)
    probability = 1.0 / (1.0 + np.exp(-(a + b * figure)))
    assert np.isfinite([a, b]).all()
    assert np.mean((probability > 0.5) == (figure > 0.0)) == 1.0
    assert all(x < y for x, y in pairwise(probability[20:30]))
