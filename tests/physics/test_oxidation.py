"""How much of a metal's grains turns to oxide in hot air, against tables and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.errors import UnknownName
from cofire.physics.oxidation import (
    GROWTH,
    oxide_swelling,
    oxidised_depth,
    oxidised_share,
    parabolic_rate,
)
from cofire.units import GAS_CONSTANT, HOUR, kelvin

CALORIE = 4.184
G2_CM4 = 100.0
"""g²/cm⁴ in kg²/m⁴."""
# mass per mole [g], density [g/cm³] (CRC Handbook)
METAL = {"Cu": (63.546, 8.94), "Fe": (55.845, 7.87), "Ni": (58.693, 8.90)}
OXIDE = {"Cu": (2, 1, 6.0), "Fe": (3, 4, 5.17), "Ni": (1, 1, 6.72)}
OXYGEN = 15.999


@pytest.mark.parametrize("temperature", [500.0, 700.0, 900.0])
def test_iron_grows_as_the_abstract_prints_it(temperature: float):
    T = kelvin(temperature)
    printed = 0.37 * np.exp(-33000.0 * CALORIE / (GAS_CONSTANT * T))
    assert parabolic_rate("Fe", T) / G2_CM4 == pytest.approx(printed, rel=0.01)


def test_copper_grows_at_600_by_the_recalled_law_and_with_the_energies_of_two_abstracts():
    T = kelvin(600.0)
    recalled = 0.266 * np.exp(-37700.0 * CALORIE / (GAS_CONSTANT * T))
    assert parabolic_rate("Cu", T) / G2_CM4 == pytest.approx(recalled, rel=0.1)
    for low, high, energy in ((350.0, 490.0, 40e3), (510.0, 700.0, 91e3)):
        rates = parabolic_rate("Cu", kelvin(np.array([low, high])))
        slope = np.diff(np.log(rates)) / np.diff(1.0 / kelvin(np.array([low, high])))
        assert -GAS_CONSTANT * slope[0] == pytest.approx(energy)


@pytest.mark.parametrize("metal", sorted(GROWTH))
def test_metal_used_and_volume_follow_from_masses_and_densities(metal: str):
    mass, density = METAL[metal]
    metals, oxygens, oxide_density = OXIDE[metal]
    used = metals * mass / (oxygens * OXYGEN) / density  # cm³ of metal per g of oxygen
    assert GROWTH[metal].metal_used == pytest.approx(1e-3 * used, rel=0.01)
    oxide = (metals * mass + oxygens * OXYGEN) / oxide_density
    ratio = oxide / (metals * mass / density)
    assert GROWTH[metal].volume_ratio == pytest.approx(ratio, rel=0.01)


@pytest.mark.parametrize("metal", sorted(GROWTH))
def test_a_hold_oxidises_by_the_root_of_its_time_and_a_trace_by_the_sum_of_its_parts(metal: str):
    T = kelvin(500.0)
    time = np.array([0.0, 1.0, 4.0]) * HOUR
    depth = oxidised_depth(metal, time, np.full(3, T))
    assert depth[2] == pytest.approx(2.0 * depth[1])
    closed = np.sqrt(parabolic_rate(metal, T) * HOUR) * GROWTH[metal].metal_used
    assert depth[1] == pytest.approx(float(closed))
    steps = oxidised_depth(metal, np.array([0.0, 1.0, 1.0 + 1e-9, 2.0]) * HOUR,
                           np.array([T - 50.0, T - 50.0, T, T]))  # fmt: skip
    parts = [oxidised_depth(metal, time[:2], np.full(2, t))[-1] for t in (T - 50.0, T)]
    assert steps[-1] == pytest.approx(np.hypot(*parts), rel=1e-6)


def test_a_share_is_that_of_a_shell_and_swelling_that_of_the_oxides_volume():
    assert oxidised_share([0.0, 2e-6, 4e-6, 9e-6], 8e-6) == pytest.approx([0.0, 0.875, 1.0, 1.0])
    assert float(oxide_swelling("Cu", 0.0)) == 0.0
    assert float(oxide_swelling("Cu", 1.0)) == pytest.approx(1.68 ** (1 / 3) - 1)
    assert float(oxide_swelling("Fe", 0.5)) == pytest.approx(1.55 ** (1 / 3) - 1)


def test_a_metal_of_which_no_rate_is_known_is_named_with_those_that_are():
    for asked in (
        lambda: parabolic_rate("Ti", 800.0),
        lambda: oxidised_depth("Ti", np.array([0.0, 1.0]), np.full(2, 800.0)),
        lambda: oxide_swelling("Ti", 0.1),
    ):
        with pytest.raises(UnknownName, match=r"Ti.*Cu.*Fe.*Ni"):
            asked()
