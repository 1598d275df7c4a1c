"""Least squares with known uncertainties, and how far each figure may move: profile likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from cofire.errors import ModelError
from cofire.numerics import Array

STATED_FREEDOM = 8.0
"""Degrees of freedom with which a stated uncertainty counts: one that is itself known to about a
quarter (Guide to the expression of uncertainty in measurement, JCGM 100:2008, G.4.2). [-]"""
LEVEL = 0.90
"""Nominal confidence of every interval. [-]"""
PULL = 3.0
"""Pull of a profile towards its point, over that of the data. [-]"""
MOST_STEPS = 200
MOST_POINTS = 40
FURTHEST = 60.0
"""An end is not sought further out than this many times where a straight line would put it. [-]"""
NEAR = 0.1
"""No further point is tried so near one whose fit does not settle, over the figure's spread. [-]"""
CLOSE = 5e-4
"""Share of the threshold within which an end of an interval is found. [-]"""


@dataclass(frozen=True)
class Problem:
    """What is to be made small: residuals over their uncertainties, and their derivatives.

    Attributes
    ----------
    residual
        From parameters, shape (P,), to residuals, shape (R,). [-]
    jacobian
        From parameters to the derivatives of the residuals, shape (R, P).
    """

    residual: Callable[[Array], Array]
    jacobian: Callable[[Array], Array]


@dataclass(frozen=True)
class Fit:
    """Where the sum of squares is least.

    Attributes
    ----------
    values
        Parameters, shape (P,).
    covariance
        Of the parameters, for residuals of unit uncertainty, shape (P, P).
    residual
        Shape (R,). [-]
    """

    values: Array
    covariance: Array
    residual: Array

    @property
    def sum_of_squares(self) -> float:
        """Of the residuals. [-]"""
        return float(self.residual @ self.residual)


STEP = float(np.cbrt(np.finfo(np.float64).eps))
"""Of a central difference, over the size of what is moved: there the errors of truncation and of
rounding are of one size (Press et al., Numerical Recipes, 5.7, from memory). [-]"""

Figure = Callable[[Array], tuple[float, Array]]
"""From parameters, shape (P,), to a figure and its derivatives by them, shape (P,)."""


def numerical_jacobian(
    residual: Callable[[Array], Array], scale: ArrayLike
) -> Callable[[Array], Array]:
    """Derivatives by central differences, where there is no closed form.

    Parameters
    ----------
    residual : callable
        From parameters to residuals.
    scale : array_like
        Size of each parameter where it matters, one for all or shape (P,): a parameter that is
        smaller is moved by as much as one of that size. [as the parameters]

    Returns
    -------
    callable
        From parameters to an array of shape (R, P).

    Examples
    --------
    >>> slope = numerical_jacobian(lambda x: 1000.0 + 3.0 * x, 1.0)(np.zeros(1))
    >>> round(slope.item(), 6)
    3.0
    """

    def jacobian(values: Array) -> Array:
        step = STEP * np.maximum(np.abs(values), scale)
        columns = []
        for i, h in enumerate(step):
            up, down = values.copy(), values.copy()
            up[i] += h
            down[i] -= h
            columns.append((residual(up) - residual(down)) / (up[i] - down[i]))
        return np.stack(columns, axis=1)

    return jacobian


def solve(problem: Problem, start: Array) -> Fit:
    """The parameters that make the sum of squares least.

    Levenberg–Marquardt (MINPACK, by `scipy.optimize.least_squares`); where that does not settle,
    from the same start with its slower trust-region method.

    Parameters
    ----------
    problem : Problem
        As many residuals as parameters, or more.
    start : array
        First guess, shape (P,). [as the parameters]

    Returns
    -------
    Fit
        The solution.

    Raises
    ------
    ModelError
        It does not settle.
    """
    for method in ("lm", "trf"):
        found = least_squares(
            problem.residual, start, jac=problem.jacobian, method=method, x_scale="jac",
            ftol=1e-12, xtol=1e-10, gtol=1e-12, max_nfev=MOST_STEPS,
        )  # fmt: skip
        if found.status > 0:
            break
    if found.status <= 0 or not np.all(np.isfinite(found.fun)):
        raise ModelError("the fit does not settle; the measurements contradict each other?")
    return Fit(np.asarray(found.x), covariance(found.jac), np.asarray(found.fun))


def covariance(jacobian: Array) -> Array:
    """Covariance of the parameters from the derivatives of residuals of unit uncertainty.

    Parameters
    ----------
    jacobian : array
        Shape (R, P). [1/parameter]

    Returns
    -------
    array
        Shape (P, P); huge, not infinite, along what the residuals do not tell.
    """
    scale = np.linalg.norm(jacobian, axis=0)
    scale = np.where(scale > 0.0, scale, 1.0)
    _, singular, rows = np.linalg.svd(jacobian / scale, full_matrices=False)
    singular = np.maximum(singular, 1e-9 * max(float(singular[0]), 1e-300))
    inner = (rows.T / singular**2) @ rows
    return np.asarray(inner / np.outer(scale, scale))


def profile(
    problem: Problem,
    fit: Fit,
    figure: Figure,
    threshold: float,
    least: float = -np.inf,
    most: float = np.inf,
) -> tuple[float, float]:
    """Interval of a figure within which the sum of squares stays below a threshold.

    Profile likelihood (Bates & Watts 1988, Nonlinear Regression Analysis, ch. 6, from memory): at
    each value of the figure all parameters are fitted anew. Points of the profile are minima of the
    sum of squares with a pull of the figure towards a place; whatever the pull, such a minimum lies
    on the profile at its own figure.

    Parameters
    ----------
    problem : Problem
        As solved.
    fit : Fit
        Its solution.
    figure : callable
        From parameters to the figure and its derivatives, shape (P,).
    threshold : float
        Signed root of the rise of the sum of squares at the ends: a quantile of Student's t. [-]
    least, most : float
        Bounds beyond which an end is not sought. [as the figure]

    Returns
    -------
    tuple of float
        Lower and upper end; a bound, where the sum of squares stays below the threshold up to it.
        Where no fit settles beyond some point, the end lies on the straight line through that point
        and the middle, by the spread of the fit where there is none.
    """
    (middle, slope), lowest = figure(fit.values), fit.sum_of_squares
    spread = float(np.sqrt(slope @ fit.covariance @ slope))
    if not spread > 0.0:
        return middle, middle
    pull = PULL / spread

    def point(place: float, start: Array) -> tuple[float, float, Array]:
        """Figure, signed root of the rise, and parameters of a point of the profile."""

        def residual(x: Array) -> Array:
            return np.append(problem.residual(x), pull * (figure(x)[0] - place))

        def jacobian(x: Array) -> Array:
            return np.vstack([problem.jacobian(x), pull * figure(x)[1]])

        found = solve(Problem(residual, jacobian), start)
        own = found.residual[:-1]
        here, _ = figure(found.values)
        rise = np.sqrt(max(float(own @ own) - lowest, 0.0))
        return here, float(np.copysign(rise, here - middle)), found.values

    def end(sign: float, bound: float) -> float:
        """The figure where the root of the rise passes the threshold, between two pulls."""
        reached = (1.0 + 1.0 / PULL**2) * threshold * spread
        inner, outer, x = (0.0, 0.0), None, fit.values  # places from the middle, roots of the rise
        found, straight, barred = bound, middle + sign * threshold * spread, np.inf
        for _ in range(MOST_POINTS):
            if np.isfinite(barred):
                reached = min(reached, 0.5 * (inner[0] + barred))
                if barred - inner[0] < NEAR * spread:
                    found = straight
                    break
            try:
                here, root, new = point(middle + sign * reached, x)
            except ModelError:
                barred = reached
                continue
            root *= sign
            if root >= (1.0 - CLOSE) * threshold:
                outer, found = (reached, root), here
                if root <= (1.0 + CLOSE) * threshold:
                    break
            elif sign * (here - bound) >= 0.0:
                break
            else:
                before, inner, x = inner, (reached, root), new
                if root > 0.0:
                    straight = middle + (here - middle) * threshold / root
            if outer is None:
                growth = (inner[1] - before[1]) / (inner[0] - before[0])
                wanted = (threshold - root) / growth if growth > 0.0 else np.inf
                reached += min(wanted, 2.0 * reached)
                if reached > FURTHEST * threshold * spread:
                    break
            elif outer[0] - inner[0] < CLOSE * spread:
                break
            else:
                share = (threshold - inner[1]) / (outer[1] - inner[1])
                reached = inner[0] + float(np.clip(share, 0.1, 0.9)) * (outer[0] - inner[0])
        return min(max(found, min(bound, middle)), max(bound, middle))

    return end(-1.0, least), end(1.0, most)


def threshold(freedom: float, level: float = LEVEL) -> float:
    """Student's t beyond which an interval of this level ends, on either side. [-]

    Parameters
    ----------
    freedom : float
        Degrees of freedom. [-]
    level : float
        Confidence. [-]
    """
    return float(t_distribution.ppf(0.5 + 0.5 * level, freedom))


def pooled_spread(stated: float, squares: float, freedom: float) -> tuple[float, float]:
    """Standard uncertainty of one reading, and its degrees of freedom.

    A stated uncertainty and the scatter of the readings are pooled, unless the scatter is
    significantly larger (F test, 5 %): then it alone counts.

    Parameters
    ----------
    stated : float
        Standard uncertainty. [any]
    squares : float
        Sum of squares of the readings about what was fitted. [any²]
    freedom : float
        Readings less what was fitted to them. [-]

    Returns
    -------
    tuple of float
        Uncertainty [any] and degrees of freedom [-].
    """
    if freedom < 1.0:
        return stated, STATED_FREEDOM
    ratio = squares / freedom / stated**2
    if ratio > f_distribution.ppf(0.95, freedom, STATED_FREEDOM):
        return float(np.sqrt(squares / freedom)), freedom
    whole = STATED_FREEDOM + freedom
    return float(np.sqrt((STATED_FREEDOM * stated**2 + squares) / whole)), whole


def mean_interval(readings: Array, stated: float) -> tuple[float, float, float]:
    """Mean of readings and its interval.

    Parameters
    ----------
    readings : array
        Shape (n,), n at least 1. [any]
    stated : float
        Standard uncertainty of one reading. [any]

    Returns
    -------
    tuple of float
        Mean, lower and upper end. [any]
    """
    mean = float(readings.mean())
    spread, freedom = pooled_spread(
        stated, float(((readings - mean) ** 2).sum()), readings.size - 1
    )
    half = threshold(freedom) * spread / np.sqrt(readings.size)
    return mean, mean - half, mean + half
