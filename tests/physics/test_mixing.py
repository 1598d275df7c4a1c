"""Blends: limits, symmetry and bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from cofire.errors import InputError
from cofire.physics import mixing
from tests import closed_forms

FRACTION = st.floats(0.0, 1.0)
MODULUS = st.floats(1e8, 1e12)
RATIO = st.floats(0.0, 0.45)
STRAIN = st.floats(-0.02, 0.02)
FLOW = st.floats(1e4, 1e16)
quickly = settings(max_examples=60, deadline=None)

COPPER = (mixing.bulk_modulus(120e9, 0.34), mixing.shear_modulus(120e9, 0.34))
STONEWARE = (mixing.bulk_modulus(60e9, 0.20), mixing.shear_modulus(60e9, 0.20))
phases = st.tuples(MODULUS, RATIO).map(
    lambda p: (mixing.bulk_modulus(*p), mixing.shear_modulus(*p))
)


def within(value, low, high):
    slack = 1e-9 * np.maximum(np.abs(low), np.abs(high))
    return np.all((value >= low - slack) & (value <= high + slack))


# ---- elasticity


@quickly
@given(MODULUS, RATIO)
def test_moduli_convert_there_and_back(young, poisson):
    bulk, shear = mixing.bulk_modulus(young, poisson), mixing.shear_modulus(young, poisson)

    assert mixing.young_modulus(bulk, shear) == pytest.approx(young)
    assert mixing.poisson_ratio(bulk, shear) == pytest.approx(poisson, abs=1e-12)


@quickly
@given(FRACTION, phases, phases)
def test_a_blend_lies_within_the_bounds_at_any_fraction(fraction, metal, ceramic):
    bulk, shear = mixing.elastic_bounds(fraction, metal, ceramic)
    estimate = mixing.elastic_moduli(fraction, metal, ceramic)

    assert within(estimate[0], *bulk)
    assert within(estimate[1], *shear)
    for (low, high), m, c in zip((bulk, shear), metal, ceramic, strict=True):
        assert within(low, 1 / (fraction / m + (1 - fraction) / c), high)  # not below series
        assert within(high, low, fraction * m + (1 - fraction) * c)  # not above parallel


@quickly
@given(FRACTION, phases, phases)
def test_it_does_not_matter_which_phase_is_called_the_metal(fraction, metal, ceramic):
    one = mixing.elastic_moduli(fraction, metal, ceramic)
    other = mixing.elastic_moduli(1.0 - fraction, ceramic, metal)

    np.testing.assert_allclose(one, other, rtol=1e-9)


@quickly
@given(phases, phases, STRAIN, STRAIN, FLOW, FLOW)
def test_pure_ends_are_exact(metal, ceramic, strain_m, strain_c, flow_m, flow_c):
    ends = np.array([1.0, 0.0])
    bulk, shear = mixing.elastic_moduli(ends, metal, ceramic)

    np.testing.assert_allclose(bulk, [metal[0], ceramic[0]], rtol=1e-12)
    np.testing.assert_allclose(shear, [metal[1], ceramic[1]], rtol=1e-12)
    free = mixing.free_strain(ends, strain_m, strain_c, metal[0], ceramic[0], bulk)
    np.testing.assert_allclose(free, [strain_m, strain_c], atol=1e-12)
    np.testing.assert_allclose(mixing.viscosity(ends, flow_m, flow_c), [flow_m, flow_c])
    np.testing.assert_allclose(mixing.conductivity(ends, flow_m, flow_c), [flow_m, flow_c])
    np.testing.assert_allclose(mixing.strength(ends, flow_m, flow_c), [flow_m, flow_c])
    np.testing.assert_allclose(mixing.creep_factor(ends, 3e-9, 4.0), [3e-9, 0.0])
    np.testing.assert_allclose(mixing.yield_stress(ends, 40e6), [40e6, np.inf])


def test_the_estimate_solves_the_self_consistent_equations():
    c = np.linspace(0.05, 0.95, 10)
    (Km, Gm), (Kc, Gc) = COPPER, STONEWARE
    K, G = mixing.elastic_moduli(c, COPPER, STONEWARE)
    F = G / 6 * (9 * K + 8 * G) / (K + 2 * G)

    bulk = c * (Km - K) / (Km + 4 / 3 * G) + (1 - c) * (Kc - K) / (Kc + 4 / 3 * G)
    shear = c * (Gm - G) / (Gm + F) + (1 - c) * (Gc - G) / (Gc + F)
    np.testing.assert_allclose(bulk, 0.0, atol=1e-13)
    np.testing.assert_allclose(shear, 0.0, atol=1e-13)


def test_a_few_grains_act_as_in_either_matrix():
    """First order in the fraction: both bounds and the estimate share Eshelby's slope."""
    few = 1e-6
    for fraction, matrix in ((few, STONEWARE), (1.0 - few, COPPER)):
        K, _ = mixing.elastic_moduli(fraction, COPPER, STONEWARE)
        (low, high), _ = mixing.elastic_bounds(fraction, COPPER, STONEWARE)
        of_matrix = low if matrix is STONEWARE else high

        assert K - matrix[0] == pytest.approx(of_matrix - matrix[0], rel=1e-4)


def test_badly_ordered_phases_still_have_sorted_bounds():
    bulk, shear = mixing.elastic_bounds(0.5, (9e9, 1e9), (3e9, 5e9))

    assert bulk[0] < bulk[1]
    assert shear[0] < shear[1]


def test_arrays_broadcast():
    K, G = mixing.elastic_moduli(np.linspace(0, 1, 3)[:, None], COPPER, STONEWARE)

    assert K.shape == G.shape == (3, 1)
    assert mixing.free_strain(0.5, np.zeros(7), 1e-3, *np.ones(3)).shape == (7,)


# ---- free strain


@quickly
@given(FRACTION, STRAIN, STRAIN, phases, phases)
def test_the_free_strain_of_a_blend_lies_within_schaperys_bounds(fraction, sm, sc, metal, ceramic):
    low, high = closed_forms.free_strain_bounds(fraction, sm, sc, metal, ceramic)
    bulk, _ = mixing.elastic_moduli(fraction, metal, ceramic)
    blend = mixing.free_strain(fraction, sm, sc, metal[0], ceramic[0], bulk)

    assert within(blend, low - 1e-9, high + 1e-9)
    assert within(low, min(sm, sc) - 1e-12, max(sm, sc) + 1e-12)


@quickly
@given(FRACTION, STRAIN, STRAIN, MODULUS)
def test_equal_bulk_moduli_give_the_rule_of_mixtures(fraction, metal, ceramic, bulk):
    rule = fraction * metal + (1.0 - fraction) * ceramic
    for nearly in (bulk, bulk * (1.0 + 1e-15), bulk * (1.0 + 3e-8)):
        blend = mixing.free_strain(fraction, metal, ceramic, bulk, nearly, bulk)

        assert blend == pytest.approx(rule, abs=1e-8)


@pytest.mark.parametrize("core", ["metal", "ceramic"])
def test_a_coated_sphere_expands_as_levin_says(core):
    """Hashin's composite sphere, solved: exact bulk modulus (one of the bounds) and free strain."""
    fraction = 0.35
    phase = {"metal": (*COPPER, 17e-6), "ceramic": (*STONEWARE, 6.5e-6)}
    shell = "ceramic" if core == "metal" else "metal"
    (Ki, _, ai), (Ko, Go, ao) = phase[core], phase[shell]
    inner = fraction if core == "metal" else 1.0 - fraction
    # u = Ai r inside; Ao r + B/r² outside, with b = 1 and a³ = inner
    equations = [[1.0, -1.0, -1.0 / inner], [3 * Ki, -3 * Ko, 4 * Go / inner], [0, 3 * Ko, -4 * Go]]
    heated = np.linalg.solve(equations, [0.0, 3 * Ki * ai - 3 * Ko * ao, 3 * Ko * ao])
    pulled = np.linalg.solve(equations, [0.0, 0.0, 1.0])
    bulk = 1.0 / (3.0 * (pulled[1] + pulled[2]))
    bounds, _ = mixing.elastic_bounds(fraction, COPPER, STONEWARE)

    assert bulk == pytest.approx(bounds[0 if shell == "ceramic" else 1])
    blend = mixing.free_strain(fraction, 17e-6, 6.5e-6, COPPER[0], STONEWARE[0], bulk)
    assert blend == pytest.approx(heated[1] + heated[2])


def test_kerner_is_levin_with_the_bound_of_that_matrix():
    """Kerner 1956, Proc. Phys. Soc. B 69, 808, ceramic matrix (from memory)."""
    c = np.linspace(0.0, 1.0, 11)
    (Km, _), (Kc, Gc) = COPPER, STONEWARE
    kerner = c * 17e-6 + (1 - c) * 6.5e-6
    kerner += (
        c
        * (1 - c)
        * (17e-6 - 6.5e-6)
        * (Km - Kc)
        / ((1 - c) * Kc + c * Km + 3 * Kc * Km / (4 * Gc))
    )
    (low, _), _ = mixing.elastic_bounds(c, COPPER, STONEWARE)

    np.testing.assert_allclose(mixing.free_strain(c, 17e-6, 6.5e-6, Km, Kc, low), kerner)


def test_the_blend_lies_between_the_rule_of_mixtures_and_turner():
    """Turner 1946, J. Res. NBS 37, 239 (from memory): equal dilation, no shear."""
    c = np.linspace(0.1, 0.9, 9)
    (Km, _), (Kc, _) = COPPER, STONEWARE
    rule = c * 17e-6 + (1 - c) * 6.5e-6
    turner = (c * Km * 17e-6 + (1 - c) * Kc * 6.5e-6) / (c * Km + (1 - c) * Kc)
    K, _ = mixing.elastic_moduli(c, COPPER, STONEWARE)
    blend = mixing.free_strain(c, 17e-6, 6.5e-6, Km, Kc, K)

    assert np.all((rule < blend) & (blend < turner))


def test_pores_do_not_change_the_expansion():
    nothing = 1e-6
    K, _ = mixing.elastic_moduli(0.7, STONEWARE, (nothing, nothing))

    blend = mixing.free_strain(0.7, 6.5e-6, 0.0, STONEWARE[0], nothing, K)
    assert blend == pytest.approx(6.5e-6)


# ---- conduction, density, heat


@quickly
@given(FRACTION, st.floats(0.1, 400.0), st.floats(0.1, 400.0))
def test_conductivity_lies_within_its_bounds_and_knows_no_order(fraction, metal, ceramic):
    blend = mixing.conductivity(fraction, metal, ceramic)

    assert within(blend, *closed_forms.conductivity_bounds(fraction, metal, ceramic))
    assert blend == pytest.approx(float(mixing.conductivity(1.0 - fraction, ceramic, metal)))


def test_density_goes_by_volume_and_heat_by_mass():
    assert mixing.density(0.25, 8000.0, 2400.0) == pytest.approx(3800.0)
    expected = (0.25 * 8000 * 400 + 0.75 * 2400 * 900) / 3800
    assert mixing.specific_heat(0.25, 400.0, 900.0, 8000.0, 2400.0) == pytest.approx(expected)


# ---- continuity


def test_continuity_names_the_phases_that_run_through():
    named = mixing.continuity([0.0, 0.28, 0.30, 0.70, 0.72, 1.0])

    assert list(named) == ["ceramic", "ceramic", "both", "both", "metal", "metal"]
    assert mixing.continuity(0.2, mixing.CRITICAL_VOLUME) == "both"


# ---- flow


@quickly
@given(FRACTION, FLOW, FLOW)
def test_viscosity_lies_between_the_iso_stress_and_the_iso_strain_bound(fraction, metal, ceramic):
    blend = mixing.viscosity(fraction, metal, ceramic)

    series = 1.0 / (fraction / metal + (1.0 - fraction) / ceramic)
    assert within(blend, series, fraction * metal + (1.0 - fraction) * ceramic)
    assert blend == pytest.approx(float(mixing.viscosity(1.0 - fraction, ceramic, metal)))


def test_viscosity_is_the_incompressible_limit_of_the_elastic_estimate():
    c = np.linspace(0.0, 1.0, 11)
    shear = 5.0, 1.0
    _, G = mixing.elastic_moduli(c, (1e9, shear[0]), (1e9, shear[1]))

    np.testing.assert_allclose(mixing.viscosity(c, *shear), G, rtol=1e-6)


def test_rigid_metal_grains_stiffen_the_ceramic_until_they_lock():
    c = np.array([0.0, 0.2, 0.39, 0.4, 0.9, 1.0])

    expected = [1.0, 2.0, 40.0, np.inf, np.inf, np.inf]
    np.testing.assert_allclose(mixing.viscosity(c, np.inf, 1.0), expected, rtol=1e-9)


def test_flow_has_no_jump_anywhere():
    c = np.linspace(0.0, 1.0, 100_001)
    for metal in (np.inf, 1e3, 1e-3):
        assert np.max(np.abs(np.diff(1.0 / mixing.viscosity(c, metal, 1.0)))) < 0.05 / min(metal, 1)
    assert np.max(np.abs(np.diff(mixing.creep_factor(c, 1.0, 5.0)))) < 1e-4
    assert np.max(np.abs(np.diff(1.0 / mixing.yield_stress(c, 1.0)))) < 0.01


@quickly
@given(FRACTION, FLOW, FLOW)
def test_adding_the_two_flows_never_overstates_relief(fraction, metal, ceramic):
    """Linear pair: each mechanism with the other phase rigid, against both phases flowing."""
    apart = 1.0 / mixing.viscosity(fraction, np.inf, ceramic)
    apart += mixing.creep_factor(fraction, 1.0 / metal, 1.0)

    assert apart <= 1.0 / mixing.viscosity(fraction, metal, ceramic) * (1.0 + 1e-9)


@pytest.mark.parametrize("threshold", [0.6, 0.2895])
@pytest.mark.parametrize("exponent", [1.0, 3.0, 5.0])
def test_the_creep_factor_is_the_best_linear_comparison(exponent, threshold):
    """The bound minimised numerically over the viscosity of the linear comparison blend."""
    c, m, r = 0.8, 1.0 / exponent, 7.0  # r strain_rate^m is the stress of the metal
    packing = 1.0 - threshold
    g = (1.0 - (1.0 - c) / packing) ** (-2.5 * packing)

    def dissipation(log_viscosity):  # at unit strain rate of the blend
        eta = np.exp(log_viscosity)
        if m == 1.0:
            return 0.5 * g * r
        rate = (r / eta) ** (1.0 / (1.0 - m))
        rest = r * rate ** (1.0 + m) / (1.0 + m) - 0.5 * eta * rate**2
        return 0.5 * g * eta + c * rest

    least = minimize_scalar(dissipation, bounds=(-20.0, 20.0), method="bounded").fun
    stress = least * (1.0 + m)  # at unit strain rate, so A = stress^-n

    blend = mixing.creep_factor(c, r**-exponent, exponent, threshold)
    assert blend == pytest.approx(stress**-exponent, rel=1e-5)


def test_yield_is_the_limit_of_a_steep_creep_law():
    c, n = np.array([0.65, 0.8, 0.95, 1.0]), 20.0
    creep = mixing.creep_factor(c, 1.0, n) ** (-1.0 / n)

    np.testing.assert_allclose(mixing.yield_stress(c, 1.0), creep, rtol=0.08)


def test_yield_grows_without_bound_and_without_end_below_the_threshold():
    c = np.array([1.0, 0.9, 0.8, 0.7, 0.65, 0.61, 0.6001, 0.6, 0.5, 0.0])
    blend = mixing.yield_stress(c, 40e6)

    assert np.all(np.diff(blend[:7]) > 0.0)
    assert blend[6] > 1e9
    assert np.all(np.isinf(blend[7:]))
    assert np.isfinite(mixing.yield_stress(0.3, 40e6, threshold=mixing.OVERLAPPING_SPHERES))
    assert mixing.yield_stress(0.9, np.inf) == np.inf


# ---- strength


@quickly
@given(FRACTION, st.floats(1e5, 1e9), st.floats(1e5, 1e9))
def test_a_blend_is_as_strong_as_its_ceramic_where_that_can_be_continuous(fraction, metal, ceramic):
    blend = mixing.strength(fraction, metal, ceramic)

    assert within(blend, min(metal, ceramic), max(metal, ceramic))
    if fraction <= 0.84:
        assert blend == pytest.approx(ceramic)


# ---- refusals


@pytest.mark.parametrize(
    "call",
    [
        lambda: mixing.density(1.2, 1.0, 1.0),
        lambda: mixing.density(-0.1, 1.0, 1.0),
        lambda: mixing.density(np.nan, 1.0, 1.0),
        lambda: mixing.elastic_moduli(0.5, (-1.0, 1.0), (1.0, 1.0)),
        lambda: mixing.bulk_modulus(1e9, 0.5),
        lambda: mixing.young_modulus(0.0, 1.0),
        lambda: mixing.free_strain(0.5, 0.0, 1e-3, 1.0, 2.0, 3.0),
        lambda: mixing.conductivity(0.5, np.inf, 1.0),
        lambda: mixing.viscosity(0.5, 0.0, 1.0),
        lambda: mixing.creep_factor(0.5, -1.0, 3.0),
        lambda: mixing.creep_factor(0.5, 1.0, 0.5),
        lambda: mixing.continuity(0.5, threshold=0.7),
        lambda: mixing.strength(0.5, 0.0, 1.0),
    ],
)
def test_impossible_inputs_are_refused_in_one_line(call):
    with pytest.raises(InputError) as refused:
        call()

    assert "\n" not in str(refused.value)


@quickly
@given(FRACTION, phases, phases)
def test_moduli_solve_their_own_equation_as_halving_a_bracket_does(fraction, metal, ceramic):
    """Newton's method against 200 halvings between the bounds: two ways to one root."""
    (Km, Gm), (Kc, Gc), c = metal, ceramic, fraction

    def backed(m, k, backing):
        return 1.0 / (c / (m + backing) + (1.0 - c) / (k + backing)) - backing

    _, (low, high) = mixing.elastic_bounds(fraction, metal, ceramic)
    for _ in range(200):
        G = 0.5 * (low + high)
        K = backed(Km, Kc, 4.0 / 3.0 * G)
        stiffer = backed(Gm, Gc, G / 6.0 * (9.0 * K + 8.0 * G) / (K + 2.0 * G)) > G
        low, high = np.where(stiffer, G, low), np.where(stiffer, high, G)
    bulk, shear = mixing.elastic_moduli(fraction, metal, ceramic)
    assert shear == pytest.approx(float(G), rel=1e-9)  # ratios up to 1e4 near the critical share
    assert bulk == pytest.approx(float(K), rel=1e-9)


def test_a_blend_stiffer_or_softer_than_its_phases_allow_is_refused():
    series, parallel = 1.0 / (0.5 / 100e9 + 0.5 / 50e9), 75e9
    for bulk in (0.95 * series, 1.05 * parallel):
        with pytest.raises(InputError, match="outside the series and parallel means"):
            mixing.free_strain(0.5, 1e-3, 0.0, 100e9, 50e9, bulk)
    for bulk in (series, parallel):
        assert 0.0 < float(mixing.free_strain(0.5, 1e-3, 0.0, 100e9, 50e9, bulk)) < 1e-3


@pytest.mark.parametrize("ratio", [-1.2, -1.0, 0.5])
def test_a_ratio_no_solid_has_is_refused(ratio):
    for modulus in (mixing.bulk_modulus, mixing.shear_modulus):
        with pytest.raises(InputError, match="Poisson's ratio"):
            modulus(1e9, ratio)


def test_metal_holds_a_crack_from_where_it_runs_through_up_to_all_that_it_bears():
    c = np.linspace(0.0, 1.0, 201)
    share = mixing.bridging_share(c)
    assert (share[c <= mixing.OVERLAPPING_SPHERES] == 0.0).all()
    assert share[-1] == 1.0
    assert (np.diff(share) >= 0.0).all()
    assert (share <= c).all()  # never more than the area of metal that a cut plane meets
    assert np.abs(np.diff(share)).max() < 0.01  # and without a jump


@pytest.mark.parametrize("grains", [0.0, 0.01, 0.16, 0.4])
def test_metal_between_hard_grains_takes_up_all_of_the_strain(grains: float):
    # a row through a cubic cell: grain of edge V^(1/3) that is rigid, metal the rest of the way
    edge = grains ** (1.0 / 3.0)
    metal_strain = 1.0 / (1.0 - edge)  # of a cell strained by one
    assert float(mixing.ductility_factor(1.0 - grains)) == pytest.approx(1.0 / metal_strain)
