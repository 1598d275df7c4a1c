"""Porous bodies: limits and bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.physics import mixing, porosity
from tests import closed_forms

POROSITY = np.linspace(0.0, 0.5, 26)
quickly = settings(max_examples=60, deadline=None)


def test_without_pores_nothing_is_lost():
    assert closed_forms.coble_kingery(0.0) == 1.0
    assert closed_forms.gibson_ashby(1.0) == 1.0
    assert porosity.hashin_shtrikman_upper(0.0) == 1.0
    assert porosity.ryshkewitch_duckworth(0.0, 5.0) == 1.0
    assert porosity.conductivity_factor(0.0) == 1.0
    assert porosity.sintering_modulus(0.95, 0.5, 0.95) == 1.0
    assert porosity.viscous_poisson_ratio(1.0) == 0.5
    assert porosity.porous_viscosity(1.0, 1e9) == 3e9  # Trouton
    assert porosity.rigid_inclusion_factor(0.0) == 1.0


@pytest.mark.parametrize("poisson", [0.15, 0.2, 0.25, 0.3, 0.35])
def test_the_upper_bound_is_the_blend_of_a_solid_with_nothing(poisson):
    nothing = (1e-9, 1e-9)
    solid = mixing.bulk_modulus(1.0, poisson), mixing.shear_modulus(1.0, poisson)
    (_, bulk), (_, shear) = mixing.elastic_bounds(1.0 - POROSITY, solid, nothing)
    bound = porosity.hashin_shtrikman_upper(POROSITY)

    exact = mixing.young_modulus(bulk, shear)
    np.testing.assert_allclose(bound, exact, atol=1e-7 if poisson == 0.2 else 2e-3)


def test_no_stiffness_law_passes_the_upper_bound():
    """Coble–Kingery does, by 0.25 % of the dense modulus below 11 % of pores: see there."""
    bound = porosity.hashin_shtrikman_upper(POROSITY)

    assert np.all(closed_forms.gibson_ashby(1.0 - POROSITY) <= bound)
    assert np.all(closed_forms.coble_kingery(POROSITY) <= bound + 2.5e-3)
    assert np.all(closed_forms.coble_kingery(POROSITY[POROSITY > 1 / 9]) <= bound[POROSITY > 1 / 9])
    solid = porosity.sintering_modulus(1.0 - POROSITY, 0.5, 1.0)
    assert np.all(solid <= bound + 1e-12)


def test_open_pores_conduct_less_than_closed_ones():
    closed = 2.0 * (1.0 - POROSITY) / (2.0 + POROSITY)  # Maxwell 1873, from memory

    assert np.all(porosity.conductivity_factor(POROSITY) <= closed)
    blend = mixing.conductivity(1.0 - POROSITY, 1.0, 1e-9)
    np.testing.assert_allclose(porosity.conductivity_factor(POROSITY), blend, atol=1e-7)


def test_a_porous_glass_is_softer_than_the_bound_for_its_pores():
    """Hashin–Shtrikman with an incompressible solid, stiffness read as viscosity."""
    P = np.linspace(0.0, 0.45, 10)
    (_, bulk), (_, shear) = mixing.elastic_bounds(1.0 - P, (1e9, 1.0), (1e-9, 1e-9))

    bound = mixing.young_modulus(bulk, shear)
    assert np.all(porosity.porous_viscosity(1.0 - P, 1.0) <= bound * (1.0 + 1e-6))


# ---- sintering body


def test_stiffness_vanishes_where_the_grains_only_touch():
    expected = [0.0, 0.5, 1.0]
    found = porosity.sintering_modulus([0.5, 0.7, 0.9], 0.5, 0.9)

    np.testing.assert_allclose(found, expected, atol=1e-12)


@quickly
@given(st.floats(0.4, 0.6), st.floats(0.05, 0.35), st.floats(1e5, 1e7), st.floats(1.0, 200.0))
def test_strength_passes_through_both_anchors_and_never_falls(green, gain, brown, ratio):
    fired, strong = green + gain, brown * ratio
    density = np.array([green, green + 0.5 * gain, fired, min(fired + 1e-9, 1.0), 1.0])
    strength = porosity.anchored_strength(density, green, brown, fired, strong)

    np.testing.assert_allclose(strength[[0, 2, 3]], [brown, strong, strong], rtol=1e-6)
    assert np.all(np.diff(strength) >= 0.0)
    assert strength[1] == pytest.approx(0.5 * (brown + strong))


def test_above_the_fired_anchor_the_exponent_is_limited_to_seven():
    dense = porosity.anchored_strength(1.0, 0.5, 1e6, 0.9, 50e6)

    assert dense == pytest.approx(50e6 * np.exp(0.7))  # two-anchor n would be 9.8
    gentle = porosity.anchored_strength(1.0, 0.5, 20e6, 0.9, 50e6)
    assert gentle == pytest.approx(50e6 * np.exp(0.1 * np.log(2.5) / 0.4))


# ---- crystals in glass


def test_few_grains_stiffen_as_einstein_says():
    assert porosity.rigid_inclusion_factor(1e-6) == pytest.approx(1.0 + 2.5e-6, abs=1e-11)


@quickly
@given(st.floats(0.0, 1.0), st.floats(0.3, 0.74))
def test_grains_stiffen_until_they_lock(fraction, packing):
    factor = porosity.rigid_inclusion_factor(fraction, packing)

    assert factor >= 1.0
    assert np.isinf(factor) == (fraction >= packing * (1.0 - 1e-12))


def test_a_packing_of_two_fifths_is_the_self_consistent_estimate():
    phi = np.linspace(0.0, 0.39, 14)

    np.testing.assert_allclose(porosity.rigid_inclusion_factor(phi, 0.4), 1.0 / (1.0 - 2.5 * phi))


@pytest.mark.parametrize(
    "call",
    [
        lambda: closed_forms.coble_kingery(0.6),
        lambda: closed_forms.coble_kingery(-0.01),
        lambda: closed_forms.gibson_ashby(1.1),
        lambda: porosity.ryshkewitch_duckworth(0.2, -1.0),
        lambda: porosity.sintering_modulus(0.49, 0.5, 0.9),
        lambda: porosity.sintering_modulus(0.6, 0.9, 0.9),
        lambda: porosity.anchored_strength(0.4, 0.5, 1e6, 0.9, 50e6),
        lambda: porosity.anchored_strength(0.6, 0.5, 1e6, 0.5, 50e6),
        lambda: porosity.anchored_strength(0.6, 0.5, 1e6, 0.9, 1e5),
        lambda: porosity.anchored_strength(0.6, 0.5, 0.0, 0.9, 1e6),
        lambda: porosity.porous_viscosity(0.9, -1.0),
        lambda: porosity.rigid_inclusion_factor(0.1, 0.0),
        lambda: porosity.conductivity_factor(0.7),
    ],
)
def test_impossible_inputs_are_refused_in_one_line(call):
    with pytest.raises(InputError) as refused:
        call()

    assert "\n" not in str(refused.value)


def test_a_body_below_its_green_density_is_named_with_its_lowest_value():
    with pytest.raises(InputError, match=r"relative density = 0\.3: below 0\.5"):
        porosity.sintering_modulus(np.array([0.9, 0.3, 0.4]), np.array([0.2, 0.35, 0.5]), 0.95)


def test_a_conductivity_counts_the_pores_of_the_body_it_was_measured_on_once():
    """Red earthenware: 0.8 W/(m K) is of a body of 28 % pores, its dried one has 31 to 36 %."""
    assert porosity.conductivity_at(0.8, 0.7, 0.7) == pytest.approx(0.8)
    dense = 0.8 / (1.0 - 1.5 * 0.3)
    assert porosity.conductivity_at(0.8, 0.7, 0.6) == pytest.approx(dense * (1.0 - 1.5 * 0.4))
    assert porosity.conductivity_at(0.8, 0.7, 1.0) == pytest.approx(dense)
    assert porosity.conductivity_at(1.0, 1.0, 0.3) == pytest.approx(0.1)  # no emptier than 60 %
