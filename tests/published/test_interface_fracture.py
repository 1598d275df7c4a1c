"""Corner, crack and ring joint against printed figures and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.physics import interface
from tests import closed_forms

# ---- Dundurs' parameters and the corner

# Young's modulus [GPa] and Poisson's ratio of two bodies, alpha, beta, exponent; evaluated by hand
# from Suo & Hutchinson 1990, eq. 2.1 and Bogy 1971 (formulas from memory)
PAIRS = [
    ((100.0, 0.34, 60.0, 0.20), 0.2880, 0.1552, 1.0),  # copper on stoneware: no singularity
    ((193.0, 0.30, 60.0, 0.20), 0.5448, 0.2246, 0.955202),
    ((380.0, 0.25, 130.0, 0.34), 0.4677, 0.0892, 0.905952),
    ((70.0, 0.22, 138.0, 0.317), -0.3518, -0.1558, 0.988034),
]


@pytest.mark.parametrize(("bodies", "alpha", "beta", "exponent"), PAIRS)
def test_dundurs_parameters_and_corner_exponent_of_four_pairs(bodies, alpha, beta, exponent):
    found = interface.dundurs(*bodies)

    np.testing.assert_allclose(found, (alpha, beta), atol=5e-5)
    assert interface.corner_exponent(*map(float, found)) == pytest.approx(exponent, abs=1e-6)


# order of the singularity, 1 - exponent: Bogy 1971, worked out apart to the last digit given
ORDERS_BETA_0 = {
    0.1: 0.00795, 0.2: 0.03013, 0.3: 0.06287, 0.4: 0.10259, 0.5: 0.1468, 0.6: 0.19403,
    0.8: 0.29516, 0.9: 0.34895,
}  # fmt: skip
ORDERS_BETA_QUARTER_ALPHA = {
    0.1: 0.00403, 0.2: 0.01584, 0.3: 0.03471, 0.4: 0.05975, 0.5: 0.09012, 0.6: 0.1252,
    0.8: 0.20837, 0.9: 0.25663,
}  # fmt: skip


@pytest.mark.parametrize(
    ("share", "orders"), [(0.0, ORDERS_BETA_0), (0.25, ORDERS_BETA_QUARTER_ALPHA)]
)
def test_the_order_of_the_corner_by_dundurs_parameters(share, orders):
    found = [1.0 - interface.corner_exponent(alpha, share * alpha) for alpha in orders]

    np.testing.assert_allclose(found, list(orders.values()), atol=5.1e-6)


def test_plane_stress_alpha_compares_youngs_moduli():
    """Hutchinson & Suo 1992: alpha = (E1 - E2)/(E1 + E2) with E in plane stress (from memory)."""
    alpha, _ = interface.dundurs(120e9, 0.34, 60e9, 0.2, plane_stress=True)
    plane_strain, _ = interface.dundurs(120e9, 0.34, 60e9, 0.2)
    wide = 120 / (1 - 0.34**2), 60 / (1 - 0.2**2)

    assert alpha == pytest.approx(1 / 3)
    assert plane_strain == pytest.approx((wide[0] - wide[1]) / (wide[0] + wide[1]))


def test_bogys_rigid_limit():
    """Williams 1952, right angle with one face clamped and one free (from memory).

    sin²(l pi/2) = [4 (1 - nu)² - l²]/(3 - 4 nu) in plane strain.
    """
    nu = 1.0 / 3.0
    alpha, beta = interface.dundurs(1e9, nu, 1e-3, nu)  # body 1 as good as rigid
    exponent = interface.corner_exponent(float(alpha), float(beta))

    left = np.sin(0.5 * np.pi * exponent) ** 2
    assert left == pytest.approx((4 * (1 - nu) ** 2 - exponent**2) / (3 - 4 * nu), abs=1e-6)


# ---- crack between layers


def test_thin_film_energy():
    """Hutchinson & Suo 1992, Z = 1/2 (from memory): 100 MPa, 1 mm, 70 GPa, 0.22, by hand."""
    assert closed_forms.film_energy(100e6, 1e-3, 70e9, 0.22) == pytest.approx(67.97, abs=0.005)


@pytest.mark.parametrize("eta", [0.001, 0.01, 0.1, 0.5, 1.0])
def test_layers_of_equal_modulus(eta):
    """Laminate energy in closed form: (1 - eta + eta²)/(2 (1 + eta)³) E h strain² (derived)."""
    found = closed_forms.separation_energy(eta, 1.0, 1.0, 1.0, 1.0) / eta

    assert found == pytest.approx(0.5 * (1 - eta + eta**2) / (1 + eta) ** 3)


@pytest.mark.parametrize(
    ("layers", "mismatch", "printed", "digit"),
    [
        ((0.001, 1.0, 1.0, 1.0), 1000**0.5, 0.49800, 1e-5),
        ((0.01, 1.0, 1.0, 1.0), 10.0, 0.48049, 1e-5),
        ((0.1, 1.0, 1.0, 1.0), 10**0.5, 0.34185, 1e-5),
        ((0.5, 1.0, 1.0, 1.0), 2**0.5, 0.11111, 1e-5),
        ((1.0, 1.0, 1.0, 1.0), 1.0, 0.06250, 1e-5),
        ((3e-3, 60e9, 3e-3, 100e9), 4.4e-3, 285.64, 0.01),
    ],
)
def test_separation_energy_in_figures(layers, mismatch, printed, digit):
    """Energy integral of the laminate, worked out apart (derived); like layers over E h strain²."""
    found = closed_forms.separation_energy(*layers, mismatch)

    assert found == pytest.approx(printed, abs=0.51 * digit)


@pytest.mark.parametrize(("eta", "alpha"), [(0.05, 0.3), (0.3, -0.5), (1.0, 0.4)])
def test_separation_energy_is_suo_and_hutchinsons(eta, alpha):
    """Int. J. Fract. 43, 1, energy by force and moment of the upper layer (form from memory)."""
    S = (1 + alpha) / (1 - alpha)
    U = 1 / (1 + S * eta * (4 + 6 * eta + 3 * eta**2))
    V = 1 / (12 * (1 + S * eta**3))
    coupling = 6 * S * eta**2 * (1 + eta)  # sin(gamma)/sqrt(U V)
    H, h = 1.0 / eta, 1.0
    bending = (S * h**3 + H**3) / 12
    P = 1 / (1 / S + 1 / H + (h + H) ** 2 / (4 * bending))
    M = -P * (h + H) / 2 / bending * S * h**3 / 12
    energy = (P**2 / U + M**2 / V + 2 * P * M * coupling) / (2 * S)

    assert closed_forms.separation_energy(h, S, H, 1.0, 1.0) == pytest.approx(energy)


def test_phase_angle_of_a_thin_film_and_of_equal_layers():
    """Suo & Hutchinson 1990: 52.07° for like film and body (from memory); 90° by symmetry."""
    film = np.degrees(closed_forms.mode_mix(1e-6, 1.0, 1.0, 1.0, -1.0))

    assert film == pytest.approx(52.07, abs=0.1)  # finite elements to 0.05°
    assert np.degrees(closed_forms.mode_mix(1.0, 1.0, 1.0, 1.0, -1.0)) == pytest.approx(
        90.0, abs=0.01
    )


# ---- rings


def edge_loaded(moment, force, beta, stiffness):
    """Deflection and slope at the end of a long cylinder.

    Timoshenko & Woinowsky-Krieger 1959, eqs. 279–280 (from memory): moment bending the end, force
    inward positive, deflection inward positive.
    """
    deflection = -(beta * moment + force) / (2 * beta**3 * stiffness)
    return deflection, (2 * beta * moment + force) / (2 * beta**2 * stiffness)


def test_ring_joint_satisfies_timoshenkos_edge_formulas():
    R, t, (E1, n1), (E2, n2), mismatch = 0.05, 0.006, (120e9, 0.34), (60e9, 0.2), 3e-3
    joint = closed_forms.ring_joint(R, t, E1, n1, E2, n2, mismatch)
    ends = []
    for E, nu, outward in ((E1, n1, joint.radial_force), (E2, n2, -joint.radial_force)):
        beta = (3 * (1 - nu**2)) ** 0.25 / np.sqrt(R * t)
        ends.append(edge_loaded(-joint.moment, outward, beta, E * t**3 / (12 * (1 - nu**2))))
    (inward_1, slope_1), (inward_2, slope_2) = ends

    assert inward_1 - inward_2 == pytest.approx(R * mismatch, rel=1e-9)
    assert slope_1 == pytest.approx(-slope_2, rel=1e-9)


@pytest.mark.parametrize(("nu", "bending"), [(0.3, 0.292685), (0.2, 0.284961)])
def test_equal_rings(nu, bending):
    """Closed form (derived): hoop ±1/2, bending (√3/2)(1-nu²)^(-1/2) e^(-π/4) sin(π/4), at π/4."""
    R, t = 0.05, 0.006
    joint = closed_forms.ring_joint(R, t, 1.0, nu, 1.0, nu, 1.0)
    beta = (3 * (1 - nu**2)) ** 0.25 / np.sqrt(R * t)
    energy = np.sqrt(R * t) * (3 * (1 - nu**2)) ** 0.75 / (24 * (1 - nu**2))

    np.testing.assert_allclose(joint.hoop_stress, (-0.5, 0.5))
    np.testing.assert_allclose(joint.bending_stress, bending, atol=1e-6)
    np.testing.assert_allclose(joint.bending_distance, np.pi / 4 / beta)
    assert joint.moment == pytest.approx(0.0, abs=1e-15)
    assert joint.energy == pytest.approx(energy)
    if nu == 0.3:
        assert energy == pytest.approx(0.0972455 * np.sqrt(R * t), rel=1e-6)


# E1/E2, hoop 1 and 2, bending 1 and 2 over E2 and mismatch, moment over E2 t² and mismatch; nu 0.3.
# A separate solve of the two continuity equations (derived).
UNEQUAL_RINGS = [
    (1.5, -0.6735, 0.5510, 0.4334, 0.2905, 0.018527),
    (2.0, -0.8235, 0.5882, 0.5612, 0.2883, 0.035602),
    (5.0, -1.4286, 0.7143, 1.1013, 0.6485, 0.108076),
    (10.0, -1.9255, 0.8075, 1.5569, 1.0150, 0.169163),
]


@pytest.mark.parametrize("row", UNEQUAL_RINGS)
def test_unequal_rings(row):
    ratio, hoop_1, hoop_2, bending_1, bending_2, moment = row
    joint = closed_forms.ring_joint(0.05, 0.006, ratio, 0.3, 1.0, 0.3, 1.0)

    np.testing.assert_allclose(joint.hoop_stress, (hoop_1, hoop_2), atol=5e-5)
    np.testing.assert_allclose(joint.bending_stress, (bending_1, bending_2), atol=5e-5)
    assert joint.moment / 0.006**2 == pytest.approx(moment, abs=5e-7)


# ---- grains


def test_quartz_grain_in_a_porcelain_glass():
    """Selsing 1961 (formula from memory), cooled 600 K at 20e-6/K mismatch: 704.5 MPa, by hand."""
    found = closed_forms.grain_stress(-20e-6 * 600, 78e9, 0.17, 70e9, 0.20)

    assert found == pytest.approx(704.5e6, abs=0.05e6)
