"""Blends and porous bodies against printed figures."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.physics import mixing, porosity
from tests import closed_forms

COPPER = (mixing.bulk_modulus(120e9, 0.34), mixing.shear_modulus(120e9, 0.34))
STONEWARE = (mixing.bulk_modulus(60e9, 0.20), mixing.shear_modulus(60e9, 0.20))

# McCartney, Properties for Design of Composite Structures (Wiley), tables 3.1 and 3.2, Maxwell
# columns: silicon carbide spheres in aluminium. Moduli in GPa, expansion in 1e-6/K.
CARBIDE, ALUMINIUM = (259.68, 202.94), (80.56, 26.85)
MCCARTNEY = {  # volume fraction of spheres: bulk modulus, expansion
    0.1: (88.06, 20.13),
    0.2: (96.61, 17.87),
    0.5: (131.16, 11.76),
    0.6: (147.07, 9.91),
}


@pytest.mark.parametrize("fraction", MCCARTNEY)
def test_mccartney_tables_3_1_and_3_2_aluminium_with_silicon_carbide(fraction):
    """Tolerance 0.01 on the modulus: the inputs are printed rounded to as much."""
    bulk, expansion = MCCARTNEY[fraction]
    (low, _), _ = mixing.elastic_bounds(1.0 - fraction, ALUMINIUM, CARBIDE)

    assert low == pytest.approx(bulk, abs=0.01)
    found = mixing.free_strain(1.0 - fraction, 22.5, 3.3, ALUMINIUM[0], CARBIDE[0], low)
    assert found == pytest.approx(expansion, abs=0.005)  # 3.3 for the carbide: not in the excerpt


@pytest.mark.parametrize(
    ("ceramic", "young", "expansion"),
    [
        (0.25, (100.265, 101.861), (15.170, 15.425)),
        (0.50, (84.316, 86.137), (12.929, 13.365)),
        (0.75, (71.127, 72.321), (10.121, 10.557)),
    ],
)
def test_copper_and_stoneware_by_hand(ceramic, young, expansion):
    """Hashin–Shtrikman and Levin worked out separately from their printed forms (derived)."""
    bulk, shear = mixing.elastic_bounds(1.0 - ceramic, COPPER, STONEWARE)
    found = [float(mixing.young_modulus(K, G)) / 1e9 for K, G in zip(bulk, shear, strict=True)]
    free = closed_forms.free_strain_bounds(1.0 - ceramic, 17.0, 6.5, COPPER, STONEWARE)

    np.testing.assert_allclose(found, _pair_by_hand(1.0 - ceramic), rtol=1e-9)
    np.testing.assert_allclose(found, young, atol=1e-3)
    np.testing.assert_allclose(free, expansion, atol=1e-3)


def _pair_by_hand(c):
    """Both bounds of E in the form of Hashin & Shtrikman 1963, eqs. 4.1–4.4 (from memory)."""
    found = []
    for (K1, G1), (K2, G2), v2 in (
        (STONEWARE, COPPER, c),
        (COPPER, STONEWARE, 1.0 - c),
    ):
        v1 = 1.0 - v2
        K = K1 + v2 / (1.0 / (K2 - K1) + 3.0 * v1 / (3.0 * K1 + 4.0 * G1))
        G = G1 + v2 / (1.0 / (G2 - G1) + 6.0 * v1 * (K1 + 2 * G1) / (5 * G1 * (3 * K1 + 4 * G1)))
        found.append(9.0 * K * G / (3.0 * K + G) / 1e9)
    return found


def test_a_half_and_half_blend_expands_more_than_half_way():
    """The stiffer phase leads: copper with stoneware is not at 11.75 (derived)."""
    K, _ = mixing.elastic_moduli(0.5, COPPER, STONEWARE)

    assert mixing.free_strain(0.5, 17.0, 6.5, COPPER[0], STONEWARE[0], K) == pytest.approx(
        13.1, abs=0.1
    )


@pytest.mark.parametrize(
    ("fraction", "metal", "ceramic", "expansion", "rules", "digit"),
    [
        (0.5, ALUMINIUM, CARBIDE, (22.5, 3.298), (12.899, 11.760, 9.424, 7.845), 0.005),
        (0.75, COPPER, STONEWARE, (17.0, 6.5), (14.375, 15.170, 15.425, 16.143), 0.001),
        (0.50, COPPER, STONEWARE, (17.0, 6.5), (11.750, 12.929, 13.365, 14.790), 0.001),
        (0.25, COPPER, STONEWARE, (17.0, 6.5), (9.125, 10.121, 10.557, 12.333), 0.001),
    ],
)
def test_rules_for_the_expansion_of_a_blend(fraction, metal, ceramic, expansion, rules, digit):
    """Mixtures, Kerner (low bound of K), Schapery (high bound), Turner, in 1e-6/K (derived).

    Levin's rule is that of mixtures with the series mean of the bulk moduli, and Turner's with
    the parallel one. Citations in `test_mixing`, from memory.
    """
    Km, Kc = metal[0], ceramic[0]
    (low, high), _ = mixing.elastic_bounds(fraction, metal, ceramic)
    series = 1.0 / (fraction / Km + (1.0 - fraction) / Kc)
    bulk = [series, low, high, fraction * Km + (1.0 - fraction) * Kc]
    found = [float(mixing.free_strain(fraction, *expansion, Km, Kc, K)) for K in bulk]

    np.testing.assert_allclose(found, rules, atol=digit)


# lattice: filling factor of touching spheres, site percolation threshold (both from memory)
LATTICES = {
    "simple cubic": (np.pi / 6, 0.3116),
    "body-centred cubic": (np.pi * np.sqrt(3) / 8, 0.246),
    "face-centred cubic": (np.pi * np.sqrt(2) / 6, 0.199),
    "diamond": (np.pi * np.sqrt(3) / 16, 0.430),
}


@pytest.mark.parametrize("lattice", LATTICES)
def test_scher_and_zallens_critical_volume_hardly_depends_on_the_lattice(lattice):
    """Scher & Zallen 1970, J. Chem. Phys. 53, 3759: 0.16 within some 10 % in three dimensions."""
    filling, site = LATTICES[lattice]

    assert filling * site == pytest.approx(mixing.CRITICAL_VOLUME, rel=0.1)


def test_overlapping_spheres_percolate_where_consiglio_found():
    """Consiglio et al. 2003, Physica A 319, 49, abstract: 0.28955 ± 0.00007 for equal spheres."""
    assert pytest.approx(0.28955, abs=7e-5) == mixing.OVERLAPPING_SPHERES


POROSITY = [0.1, 0.2, 0.3, 0.4]


def test_stiffness_laws_at_round_porosities():
    """Formulas of 1956 and 1982 (from memory), evaluated by hand."""
    np.testing.assert_allclose(closed_forms.coble_kingery(POROSITY), [0.819, 0.656, 0.511, 0.384])
    dense = 1.0 - np.array(POROSITY)
    np.testing.assert_allclose(closed_forms.gibson_ashby(dense), [0.81, 0.64, 0.49, 0.36])
    bound = [0.8182, 0.6667, 0.5385, 0.4286]
    np.testing.assert_allclose(porosity.hashin_shtrikman_upper(POROSITY), bound, atol=5e-5)


def test_strength_of_a_fifth_of_pores():
    """Ryshkewitch 1953, Duckworth 1953: n from 4 to 7 (from memory), evaluated by hand."""
    found = porosity.ryshkewitch_duckworth(0.2, [4.0, 7.0])

    np.testing.assert_allclose(found, [0.4493, 0.2466], atol=5e-5)


def test_scherers_porous_glass():
    """Scherer 1979 as in Bordia & Scherer 1988 (from memory), evaluated by hand."""
    density = [0.6, 0.8, 0.9, 1.0]

    ratio = [0.288675, 0.377964, 0.433013, 0.5]
    np.testing.assert_allclose(porosity.viscous_poisson_ratio(density), ratio, atol=5e-7)
    viscosity = [1.0, 1.714286, 2.25, 3.0]
    np.testing.assert_allclose(porosity.porous_viscosity(density, 1.0), viscosity, atol=5e-7)
