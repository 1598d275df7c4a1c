"""Cracks that grow below toughness: how long a body bears a permanent tension in humid air.

Power law v = A (K/K_Ic)^n at room temperature, for oxides and glass-bonded bodies, whose bonds
water breaks at the crack's tip. All forms are integrals of it (Munz & Fett 1999, Ceramics, ch. 8;
ASTM C1368 for a constant rate of stress, ASTM C1576 for constant stress; forms from memory, the
tests integrate the growth of a crack itself). A threshold below which no crack grows is known of
glasses and of porcelain, whose lives outlast this law (Applicability of Crack Propagation Data to
Failure Prediction in Porcelain, J. Am. Ceram. Soc., abstract): without it the law is on the safe
side.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.numerics import Array
from cofire.physics.porosity import between, positive

LEAST_EXPONENT, MOST_EXPONENT = 3.0, 300.0
"""Exponents the law is used for: above, growth cannot be told from none. [-]"""


def _exponent(value: npt.ArrayLike) -> Array:
    return between("crack growth exponent", value, LEAST_EXPONENT, MOST_EXPONENT)


def lifetime(
    stress: npt.ArrayLike,
    inert_strength: npt.ArrayLike,
    exponent: npt.ArrayLike,
    growth_parameter: npt.ArrayLike,
) -> Array:
    """Time to failure under a constant tension: B S^(n−2) σ^(−n) (1 − (σ/S)^(n−2)). [s]

    The bracket, which ASTM C1576 leaves out, takes it to zero at the inert strength.

    Parameters
    ----------
    stress : array_like
        At most the inert strength. [Pa]
    inert_strength : array_like
        S, of bars broken without water or very fast. [Pa]
    exponent : array_like
        n. [-]
    growth_parameter : array_like
        B = 2 K_Ic² / (A Y² (n − 2)). [Pa² s]

    Raises
    ------
    InputError
        A stress above the strength, or a value that is not positive.
    """
    n, S = _exponent(exponent), positive("inert strength", inert_strength)
    used = between("stress over inert strength", positive("stress", stress) / S, 0.0, 1.0)
    B = positive("crack growth parameter", growth_parameter)
    return np.asarray(B / S**2 * (used**-n - used**-2.0))


def strength_at_rate(
    stress_rate: npt.ArrayLike,
    inert_strength: npt.ArrayLike,
    exponent: npt.ArrayLike,
    growth_parameter: npt.ArrayLike,
) -> Array:
    """Strength in water or humid air at a constant rate of stress. [Pa]

    σ^(n+1) = B (n + 1) S^(n−2) σ̇ (ASTM C1368), for rates at which cracks grow a good deal: a
    result above four fifths of the inert strength is too high.

    Parameters
    ----------
    stress_rate : array_like
        [Pa/s]
    inert_strength : array_like
        S. [Pa]
    exponent : array_like
        n. [-]
    growth_parameter : array_like
        B. [Pa² s]
    """
    n, S = _exponent(exponent), positive("inert strength", inert_strength)
    B, rate = positive("crack growth parameter", growth_parameter), positive("rate", stress_rate)
    log = (np.log(B * (n + 1.0) * rate) + (n - 2.0) * np.log(S)) / (n + 1.0)
    return np.asarray(np.exp(log))


def equivalent_test_stress(
    time: npt.ArrayLike, test_time: npt.ArrayLike, exponent: npt.ArrayLike
) -> Array:
    """Stress a bar bears in a quick test over the one it bears for ever so long. [-]

    Neither inert strength nor B is needed where the quick test was made in the same air: both
    loadings use up the same ∫ σⁿ dt, tests at a constant rate t_test σⁿ/(n + 1). The flaw that
    fails after `time` under σ would have failed in the test at this many times σ.

    Parameters
    ----------
    time : array_like
        Under constant stress, not shorter than the test. [s]
    test_time : array_like
        From no load to failure at a constant rate. [s]
    exponent : array_like
        n. [-]

    Raises
    ------
    InputError
        A time shorter than the test.
    """
    n = _exponent(exponent)
    longer = between(
        "time over that of the test",
        positive("time", time) / positive("test time", test_time),
        1.0, np.inf,
    )  # fmt: skip
    return np.asarray(((n + 1.0) * longer) ** (1.0 / n))


def aged_factor(
    time: npt.ArrayLike,
    test_time: npt.ArrayLike,
    exponent: npt.ArrayLike,
    threshold: npt.ArrayLike = 0.0,
) -> Array:
    """How many times as strong a part must be in a quick test to outlive `time`. [-]

    `equivalent_test_stress`, but never more than 1/threshold: a flaw with K below K_th never
    grows. Weibull's risk of the same stress grows with its m-th power, which is the statement that
    the modulus of lifetimes is m/(n − 2) or so (ASTM C1576).

    Parameters
    ----------
    time, test_time : array_like
        As there. [s]
    exponent : array_like
        n. [-]
    threshold : array_like
        K_th over K_Ic; zero where none was measured. [-]
    """
    least = between("threshold over toughness", threshold, 0.0, 1.0)
    grown = equivalent_test_stress(time, test_time, exponent)
    with np.errstate(divide="ignore"):
        return np.minimum(grown, np.where(least > 0.0, 1.0 / least, np.inf))
