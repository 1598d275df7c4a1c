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
