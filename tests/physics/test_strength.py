"""Weibull strength: limits, scaling, and the fit against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import weibull_min

from cofire.errors import InputError
from cofire.physics import strength
from tests import closed_forms

MODULUS = st.floats(3.0, 30.0)
quickly = settings(max_examples=50, deadline=None)


def test_one_in_e_survives_the_characteristic_strength():
    """One m3 in uniform tension."""
    assert strength.survival([[80e6]], 1.0, 80e6, 12.0) == pytest.approx(np.exp(-1.0))


def test_compression_does_no_harm():
    assert strength.survival([[-500e6, -20e6, 0.0]], 1e-3, 1e6, 10.0) == 1.0


@quickly
@given(st.lists(st.floats(-1e8, 1e8), min_size=3, max_size=3), MODULUS)
def test_directions_act_alone_and_parts_add_up(stress, modulus):
    body = np.array([stress, stress])
    whole = strength.rupture_risk(body, [2e-6, 3e-6], 2e6, modulus)
    alone = [strength.rupture_risk([[s]], 5e-6, 2e6, modulus) for s in stress]

    assert whole == pytest.approx(sum(float(a) for a in alone), rel=1e-9)


def test_bodies_of_two_materials_and_many_times_are_one_call():
    stress = np.full((7, 4, 3), 30e6)  # times, points, directions
    unit, modulus = [1e6, 1e6, 2e6, 2e6], [10.0, 10.0, 8.0, 8.0]
    found = strength.survival(stress, np.full(4, 1e-6), unit, modulus)

    assert found.shape == (7,)
    expected = 3e-6 * (2 * 30.0**10 + 2 * 15.0**8)
    assert strength.rupture_risk(stress[0], 1e-6, unit, modulus) == pytest.approx(expected)


def test_a_hopeless_stress_is_no_error():
    assert strength.survival([[1e12]], 1.0, 1e-3, 40.0) == 0.0


@quickly
@given(MODULUS, st.floats(0.0, 1.0))
def test_the_effective_volume_of_a_bar_is_the_integral_over_its_tension(modulus, ratio):
    """Stress falls linearly to the neutral axis and, outside the inner span, to the supports."""
    depth = 0.5 * quad(lambda y: y**modulus, 0.0, 1.0)[0]
    length = ratio + (1.0 - ratio) * quad(lambda x: x**modulus, 0.0, 1.0)[0]

    found = strength.bar_effective_volume(2e-6, modulus, ratio)
    assert found == pytest.approx(2e-6 * depth * length, rel=1e-6)


@quickly
@given(MODULUS, st.floats(1e6, 1e9), st.floats(1e-9, 1e-3), st.floats(1e-9, 1e-3))
def test_strength_carries_over_between_volumes(modulus, bar, small, large):
    unit = strength.unit_strength(bar, modulus, small)

    assert closed_forms.strength_of_volume(unit, modulus, small) == pytest.approx(bar)
    scaled = closed_forms.strength_of_volume(unit, modulus, large)
    assert scaled == pytest.approx(bar * (small / large) ** (1.0 / modulus))
    assert strength.survival([[scaled]], large, unit, modulus) == pytest.approx(np.exp(-1.0))


def test_the_mean_of_simulated_bars_gives_their_characteristic_strength():
    bars = weibull_min.rvs(9.0, scale=60e6, size=40_000, random_state=3)

    found = strength.characteristic_strength(bars.mean(), 9.0)
    assert found == pytest.approx(60e6, rel=0.003)  # three standard errors of the mean


# ---- fit


@quickly
@given(st.integers(0, 10_000), st.sampled_from([5, 12, 40]), st.floats(2.0, 25.0))
def test_the_fit_maximises_the_likelihood(seed, count, modulus):
    bars = weibull_min.rvs(modulus, scale=50e6, size=count, random_state=seed)
    fit = strength.fit_weibull(bars)
    best = weibull_min.logpdf(bars, fit.modulus, scale=fit.characteristic_strength).sum()

    for m, s in ((0.999, 1.0), (1.001, 1.0), (1.0, 0.999), (1.0, 1.001)):
        near = fit.modulus * m, fit.characteristic_strength * s
        assert weibull_min.logpdf(bars, near[0], scale=near[1]).sum() < best
    assert fit.modulus_interval[0] < fit.modulus < fit.modulus_interval[1]
    assert fit.characteristic_interval[0] < fit.characteristic_strength
    assert fit.characteristic_strength < fit.characteristic_interval[1]
    assert fit.unbiased_modulus < fit.modulus


def test_the_unit_of_strength_does_not_matter():
    bars = np.array([38.0, 45.0, 51.0, 52.0, 60.0, 66.0])
    one, other = strength.fit_weibull(bars), strength.fit_weibull(bars * 1e6)

    assert other.modulus == pytest.approx(one.modulus)
    np.testing.assert_allclose(
        other.characteristic_interval, np.multiply(1e6, one.characteristic_interval)
    )


@pytest.mark.parametrize("count", [6, 20])
def test_intervals_hold_the_true_values_as_often_as_they_say(count):
    """200 samples at 90 %: 180, give or take four standard deviations."""
    rng = np.random.default_rng(11)
    held = np.zeros(2)
    for _ in range(200):
        fit = strength.fit_weibull(40e6 * rng.weibull(7.0, count), confidence=0.9)
        held[0] += fit.modulus_interval[0] < 7.0 < fit.modulus_interval[1]
        held[1] += fit.characteristic_interval[0] < 40e6 < fit.characteristic_interval[1]

    np.testing.assert_allclose(held, 180, atol=17)


@pytest.mark.parametrize("count", [5, 20])
def test_the_unbiased_modulus_is_right_on_average(count):
    rng = np.random.default_rng(12)
    found = [strength.fit_weibull(rng.weibull(9.0, count)).unbiased_modulus for _ in range(400)]

    standard_error = np.std(found) / np.sqrt(len(found))
    assert np.mean(found) == pytest.approx(9.0, abs=3.5 * standard_error)


@pytest.mark.parametrize(
    "call",
    [
        lambda: strength.rupture_risk([1e6, 2e6], 1.0, 1e6, 10.0),
        lambda: strength.rupture_risk([[np.nan]], 1.0, 1e6, 10.0),
        lambda: strength.rupture_risk([[1e6]], -1.0, 1e6, 10.0),
        lambda: strength.rupture_risk([[1e6]], 1.0, 0.0, 10.0),
        lambda: strength.rupture_risk([[1e6]], 1.0, 1e6, 0.0),
        lambda: strength.bar_effective_volume(1e-6, 10.0, 1.5),
        lambda: strength.unbiasing_factor(4),
        lambda: strength.fit_weibull([50.0, 51.0, 52.0, 53.0]),
        lambda: strength.fit_weibull([50.0] * 8),
        lambda: strength.fit_weibull([50.0, 51.0, 52.0, -53.0, 54.0]),
        lambda: strength.fit_weibull([50.0, 51.0, 52.0, 53.0, 54.0], confidence=95.0),
    ],
)
def test_impossible_inputs_are_refused_in_one_line(call):
    with pytest.raises(InputError) as refused:
        call()

    assert "\n" not in str(refused.value)


def test_a_strip_carries_no_force_and_no_moment_and_its_mismatch():
    """Each part has a stress linear through its thickness: P over t, and E κ from its middle."""
    top, bottom, stiff, soft, mismatch = 2.0e-3, 3.0e-3, 90e9, 40e9, 1e-3
    curvature = mismatch / float(strength.strip_mismatch(1.0, top, bottom, stiff, soft))
    above, below = map(float, strength.strip_stress(mismatch, top, bottom, stiff, soft))
    push = top * (above - 0.5 * stiff * top * curvature)
    pull = bottom * (below - 0.5 * soft * bottom * curvature)

    assert push == pytest.approx(pull, rel=1e-9)
    moment = curvature * (stiff * top**3 + soft * bottom**3) / 12.0
    assert push * 0.5 * (top + bottom) == pytest.approx(moment, rel=1e-9)
    strains = push / (top * stiff) + pull / (bottom * soft) + 0.5 * (top + bottom) * curvature
    assert strains == pytest.approx(mismatch, rel=1e-9)
    turned = strength.strip_stress(-mismatch, top, bottom, stiff, soft)
    np.testing.assert_allclose(turned, (above, below))


@pytest.mark.parametrize("angle", [0.01, 0.5, 1.2])
def test_the_curvature_of_an_arc_is_exact(angle):
    """Half an arc of a circle of 80 mm: rise R (1 - cos), chord 2 R sin."""
    rise, chord = 0.08 * (1.0 - np.cos(angle)), 0.16 * np.sin(angle)

    assert strength.chord_curvature(rise, chord) == pytest.approx(12.5, rel=1e-9)
    assert strength.chord_curvature(-rise, chord) == pytest.approx(-12.5, rel=1e-9)
