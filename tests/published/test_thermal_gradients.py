"""Stress of walls whose inside lags behind, against closed forms and series."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.physics.conduction import through_wall_stress
from tests.closed_forms import allowed_rate, ramp_difference, ramp_stress, slab_temperature

WALL = {
    "thermal_diffusivity": 5e-7,
    "expansion": 6e-6,
    "young_modulus": 60e9,
    "poisson_ratio": 0.2,
}
COOLING = -100.0 / 3600.0


@pytest.mark.parametrize(
    ("solid", "face", "middle"),
    [
        ("plate", 0.20833, -0.10417),
        ("cylinder", 0.07813, -0.07813),
        ("sphere", 0.04167, -0.04167),
    ],
)
def test_bodies_cooled_at_100_kelvin_an_hour(solid, face, middle):
    """EαφL²/[3(1−ν)κ], /8, /15, with L = 5 mm, in MPa.

    W. D. Kingery, H. K. Bowen and D. R. Uhlmann, Introduction to Ceramics, 2nd ed. 1976,
    chapter 16 (from memory).
    """
    found = np.array(ramp_stress(COOLING, 5e-3, **WALL, solid=solid)) / 1e6
    assert found == pytest.approx([face, middle], abs=5.1e-6)


def test_temperature_across_half_a_wall_of_10_mm():
    """φL²/(2κ) = 0.6944 K (H. S. Carslaw and J. C. Jaeger 1959, section 3.3, from memory)."""
    assert ramp_difference(-COOLING, 5e-3, 5e-7) == pytest.approx(0.6944, abs=5e-5)


def test_a_wall_cooled_from_one_side_carries_four_times_as_much():
    """Same formula, bending restrained, depth the whole wall: 0.83333 MPa."""
    face, _ = ramp_stress(COOLING, 10e-3, **WALL)
    assert face / 1e6 == pytest.approx(0.83333, abs=5e-6)


@pytest.mark.parametrize(("depth", "expected"), [(5e-3, 9600.0), (10e-3, 2400.0)])
def test_rates_that_give_20_mpa_in_a_wall_of_10_mm(depth, expected):
    """φ = 3σ(1−ν)κ/(EαL²), in K/h, from both sides and from one."""
    assert allowed_rate(20e6, depth, **WALL) * 3600.0 == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("biot", "exact"),
    [(0.1, 0.0309), (1.0, 0.2083), (5.0, 0.4778), (10.0, 0.5935), (20.0, 0.6928), (50.0, 0.7943)],
)
def test_a_plate_shocked_by_convection(biot, exact):
    """Largest face stress over EαΔT/(1−ν), by the eigenfunction series.

    Within 6 % of the fit 1/σ* = 1.5 + 3.25/Bi − 0.5 exp(−16/Bi) of S. S. Manson 1954, NACA TN 2933
    (from memory).
    """
    time = np.concatenate([[0.0], np.geomspace(1e-4, 3.0, 600)])
    spread, weight = np.polynomial.legendre.leggauss(24)
    place = np.concatenate([0.5 * (1.0 + spread), [1.0]])
    field = slab_temperature(time, 0.0 * time, 1.0, 1.0, place, biot=biot, start=1.0, modes=200)
    largest = (field[:, :-1] @ (0.5 * weight) - field[:, -1]).max()
    fit = 1.0 / (1.5 + 3.25 / biot - 0.5 * np.exp(-16.0 / biot))
    assert largest == pytest.approx(exact, abs=1e-4)
    assert fit == pytest.approx(largest, rel=0.06)


def test_a_quartz_step_spread_over_ten_kelvin_acts_as_a_large_expansion():
    """20 vol % of free quartz steps by 0.45 % × 0.2 = 900 ppm at 573 °C.

    Figures quoted from H. Fraser 1986 by an encyclopaedia page. Spread over 10 K it acts as an
    expansion of 90e-6/K: the ramp formula of the plate, two thirds of E' × strain across the half
    wall.
    """
    time = np.linspace(0.0, 7200.0, 3601)
    share = np.clip((time - 3600.0) / 360.0, 0.0, 1.0)
    stress = through_wall_stress(time, 900e-6 * share, 60e9, 0.2, 5e-3, 5e-7, [1.0])
    span = ramp_difference(100.0 / 3600.0, 5e-3, 5e-7) / 10.0
    assert np.abs(stress).max() == pytest.approx(75e9 * 900e-6 * span * 2 / 3, rel=1e-3)
