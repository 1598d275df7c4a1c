"""Weibull statistics against printed figures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gamma

from cofire.physics import strength
from tests import closed_forms

# Lieblein & Zelen 1956, J. Res. Natl. Bur. Stand. 57, 273: life of 23 ball bearings, 1e6 turns
# (as shipped with several statistics packages; the seventh is 48.40 or 48.48 in different prints)
BEARINGS = (
    "17.88 28.92 33.00 41.52 42.12 45.60 48.48 51.84 51.96 54.12 55.56 67.80 "
    "68.64 68.64 68.88 84.12 93.12 98.64 105.12 105.84 127.92 128.04 173.40"
)


def test_maximum_likelihood_of_the_ball_bearings():
    """Modulus 2.102, scale 81.88 in the textbooks (from memory)."""
    fit = strength.fit_weibull([float(life) for life in BEARINGS.split()])

    assert fit.modulus == pytest.approx(2.102, abs=5e-4)
    assert fit.characteristic_strength == pytest.approx(81.88, abs=5e-3)


@pytest.mark.parametrize(
    ("count", "ross"), [(6, 4 / 5.32), (10, 8 / 9.32), (20, 18 / 19.32), (50, 48 / 49.32)]
)
def test_unbiasing_factor_against_ross(count, ross):
    """Ross 1994, IEEE Trans. Dielectr. Electr. Insul. 1, 247: (n-2)/(n-0.68), from memory.

    Tolerance 0.004: both are fits to simulations.
    """
    assert strength.unbiasing_factor(count) == pytest.approx(ross, abs=0.004)


# Modulus over its true value at 5 and 95 %: Thoman, Bain & Antle 1969, table 1 (from memory)
PIVOTS = {5: (0.683, 2.779), 10: (0.738, 1.807)}


@pytest.mark.parametrize("count", PIVOTS)
def test_modulus_interval_against_thoman_bain_and_antle(count):
    """Tolerance 2.5 %: both sides are simulated, theirs with fewer samples."""
    fit = strength.fit_weibull(np.linspace(40e6, 60e6, count), confidence=0.9)
    found = fit.modulus / np.array(fit.modulus_interval[::-1])

    np.testing.assert_allclose(found, PIVOTS[count], rtol=0.025)


# effective over real volume: m, 3-point, quarter-point, third-point, evaluated by hand from the
# forms of Quinn 2003 (from memory): 1/[2(m+1)²], (m+2)/[4(m+1)²], (m+3)/[6(m+1)²]
EFFECTIVE = [
    (5.0, 0.0138889, 0.0486111, 0.0370370),
    (10.0, 0.0041322, 0.0247934, 0.0179063),
    (20.0, 0.0011338, 0.0124717, 0.0086924),
]


@pytest.mark.parametrize("row", EFFECTIVE)
def test_effective_volume_of_bars(row):
    modulus, *printed = row
    found = strength.bar_effective_volume(1.0, modulus, [0.0, 1 / 2, 1 / 3])

    np.testing.assert_allclose(found, printed, atol=5e-8)


@pytest.mark.parametrize(("modulus", "ratio"), [(5.0, 1.28474), (10.0, 1.19623), (20.0, 1.12738)])
def test_three_points_show_more_strength_than_four(modulus, ratio):
    """[(m+2)/2]^(1/m) for quarter points on the same bar (derived)."""
    volume = strength.bar_effective_volume(1.0, modulus, [0.0, 0.5])
    three, four = closed_forms.strength_of_volume(1.0, modulus, volume)

    assert three / four == pytest.approx(ratio, abs=5e-6)


@pytest.mark.parametrize(("modulus", "cv"), [(5.0, 0.229053), (10.0, 0.120310), (20.0, 0.061976)])
def test_scatter_of_a_modulus(modulus, cv):
    """CV² = Γ(1+2/m)/Γ²(1+1/m) - 1, with the mean that `characteristic_strength` inverts."""
    mean = 1.0 / float(strength.characteristic_strength(1.0, modulus))

    assert np.sqrt(gamma(1 + 2 / modulus) / mean**2 - 1) == pytest.approx(cv, abs=5e-7)


def test_a_ring_is_less_than_half_as_strong_as_its_test_bar():
    """Derived: 3 x 4 x 40 mm quarter-point bar, 50 MPa, m 10; ring 50 x 6 x 20 mm in tension."""
    bar = strength.bar_effective_volume(3e-3 * 4e-3 * 40e-3, 10.0, 0.5)
    unit = strength.unit_strength(50e6, 10.0, bar)
    ring = 2 * np.pi * 50e-3 * 6e-3 * 20e-3
    characteristic = closed_forms.strength_of_volume(unit, 10.0, ring)

    assert characteristic / 50e6 == pytest.approx(0.44661, abs=5e-6)
    median = characteristic * np.log(2.0) ** 0.1
    assert median == pytest.approx(21.53e6, abs=0.005e6)
    assert strength.survival([[median]], ring, unit, 10.0) == pytest.approx(0.5)
