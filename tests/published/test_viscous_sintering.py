"""Viscous sintering of glass powder: Frenkel, then Mackenzie and Shuttleworth.

Frenkel 1945, J. Phys. (USSR) 9, 385; Mackenzie & Shuttleworth 1949, Proc. Phys. Soc. B 62, 833.
Citations seen in reference lists; the formulas are from memory, their worked numbers derived.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cofire.firing.kiln import Trace
from cofire.materials.catalogue import load_cards
from cofire.physics.sintering import (
    relative_density,
    run_clock,
    sintering_strain,
    viscous_clock_rate,
    viscous_curve,
)

TENSION, VISCOSITY = 0.3, 1e8


def held(seconds: float, radius: float) -> float:
    """Reading of the viscous clock after a hold with a viscosity of 1e8 Pa s."""
    time = np.linspace(0.0, seconds, 7)
    rate = float(viscous_clock_rate(VISCOSITY, TENSION, radius))
    return float(run_clock(time, np.full(7, 1000.0), lambda T: np.full(T.shape, rate))[-1])


def test_frenkels_shrinkage_is_three_eighths_of_the_clock() -> None:
    """ΔL/L = 3 γ t/(8 η r): 0.3 N/m, 20 µm, 1e8 Pa s, 600 s give 0.03375; exact."""
    for green in (0.50, 0.60):
        density = viscous_curve(held(600.0, 20e-6), green, 1.0)
        assert -np.expm1(sintering_strain(density, green)) == pytest.approx(0.03375, rel=1e-12)


def test_mackenzie_and_shuttleworth_close_the_pores_exponentially() -> None:
    """1 − ρ = (1 − ρ0) exp(−3 γ t/(2 a η)): ρ0 0.6, pores of 20 µm, 3600 s: 0.82206; last digit.

    A powder of 25 µm that has shrunk its first 10 % by Frenkel's law, from 0.4374 to 0.6, goes
    on at the rate of such pores.
    """
    radius, green = 25e-6, 0.6 * 0.9**3
    first = 8.0 / 3.0 * 0.10 * VISCOSITY * radius / TENSION
    assert viscous_curve(held(first, radius), green, 1.0) == pytest.approx(0.6, rel=1e-9)
    density = viscous_curve(held(first + 3600.0, radius), green, 1.0)
    assert density == pytest.approx(0.82206, abs=5e-6)


@pytest.mark.parametrize("green", [0.45, 0.55, 0.65, 0.75])
def test_the_two_laws_meet_with_one_density_and_one_rate(green: float) -> None:
    clock = np.linspace(0.0, 2.0, 200001)
    density = viscous_curve(clock, green, 1.0)
    rate = np.diff(density) / np.diff(clock)
    assert np.all(rate >= 0.0)
    assert np.abs(np.diff(rate)).max() < 1e-3 * rate.max()  # no jump between steps of 1e-5
    assert density[-1] < 1.0


@pytest.mark.parametrize("green", [0.55, 0.60, 0.65])
def test_constant_pore_number_closes_a_little_sooner(green: float) -> None:
    """Their own equation, dρ/dτ ~ (1−ρ)^(2/3) ρ^(1/3) with a constant number of pores.

    It is integrated from where Frenkel ends, at his rate. The exponential form lags behind it by
    at most 0.03 in density, since in it the pores keep their radius: the model is the slower.
    """
    clock = np.linspace(0.0, 3.0, 3001)
    model = viscous_curve(clock, green, 1.0)
    first = 8.0 / 3.0 * 0.1
    start = green / 0.9**3
    if start > green + 0.6 * (1.0 - green):  # Frenkel ends at 60 % of the way
        start = green + 0.6 * (1.0 - green)
        first = 8.0 / 3.0 * (1.0 - (green / start) ** (1.0 / 3.0))
    slope = 9.0 / 8.0 * start / (1.0 - 3.0 / 8.0 * first)

    def shape(density: float) -> float:
        return max(1.0 - density, 0.0) ** (2.0 / 3.0) * density ** (1.0 / 3.0)

    late = clock[clock > first]
    law = solve_ivp(
        lambda _, y: [slope / shape(start) * shape(y[0])],
        (first, 3.0),
        [start],
        t_eval=late,
        rtol=1e-7,
        atol=1e-9,
        max_step=0.02,
    )
    behind = law.y[0] - model[clock > first]
    assert behind.min() > -1e-4
    assert behind.max() < 0.03


def test_time_scales_with_particle_size_and_viscosity() -> None:
    """Twice the radius or the viscosity takes twice the time: exact for both laws."""
    once = viscous_curve(held(1000.0, 20e-6), 0.6, 1.0)
    assert viscous_curve(held(2000.0, 40e-6), 0.6, 1.0) == pytest.approx(once, rel=1e-12)
    slower = viscous_clock_rate(2.0 * VISCOSITY, TENSION, 20e-6) * 2000.0
    assert viscous_curve(slower, 0.6, 1.0) == pytest.approx(once, rel=1e-12)


def test_a_glass_powder_card_sinters_by_the_law_of_its_own_numbers() -> None:
    """Soda-lime powder body held at 700 °C: Frenkel's law written out with the card's values."""
    card = load_cards()["soda-lime powder body"]
    assert card.densification == "viscous"
    T = 700.0 + 273.15
    glass = 10.0 ** float(card["glass_viscosity"].at(T))
    crystals = card.scalar("crystal_fraction", 0.0)
    assert crystals == 0.0
    assert "sag_viscosity" not in card
    radius = card["particle_size"].scalar / 2.0
    seconds = 0.05 * 8.0 / 3.0 * glass * radius / card["surface_tension"].scalar
    time = np.linspace(0.0, seconds, 20)
    still = np.full(20, T)
    density = relative_density(card, Trace(time, still, still, np.array([0, 19])))
    green = card["green_density"].scalar
    assert density[-1] == pytest.approx(green / 0.95**3, rel=1e-9)  # 5 % linear
