"""Which metals stay bright in which gas, and what the model refuses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.materials.properties import GASES
from cofire.physics.atmosphere import (
    AIR_FED_CARBON,
    FIRST_OXIDES,
    OXIDES,
    Oxide,
    carbon_monoxide_fraction,
    gibbs_energy,
    oxidation_margins,
    oxide_equilibrium,
    oxidised_elements,
    oxygen_potential,
    reduction_potential,
    water_pressure,
)
from cofire.units import kelvin

COLD, HOT = 273.15, 1644.0
temperatures = st.floats(COLD, HOT)
pressures = st.floats(0.01, 1.0)


def oxidised(elements: tuple[str, ...], gas: str, celsius: float) -> tuple[str, ...]:
    T = kelvin(celsius)
    return oxidised_elements(oxidation_margins(elements, oxygen_potential(gas, T), T))


def test_bronze_stays_bright_in_a_carbon_box() -> None:
    assert oxidised(("Cu", "Sn"), "carbon", 820.0) == ()


def test_bronze_loses_both_metals_in_air() -> None:
    assert oxidised(("Cu", "Sn"), "air", 820.0) == ("Sn", "Cu")


def test_technical_argon_does_not_spare_copper() -> None:
    assert oxidised(("Cu",), "inert", 820.0) == ("Cu",)


@pytest.mark.parametrize("celsius", [190.0, 500.0, 900.0])
def test_silver_stays_bright_in_air_above_190_celsius(celsius: float) -> None:
    assert oxidised(("Ag",), "air", celsius) == ()


def test_silver_tarnishes_in_cold_air() -> None:
    assert oxidised(("Ag",), "air", 100.0) == ("Ag",)


@pytest.mark.parametrize("gas", GASES)
def test_gold_never_oxidises(gas: str) -> None:
    T = np.linspace(COLD, HOT, 30)
    assert oxidised_elements(oxidation_margins(["Au"], oxygen_potential(gas, T), T)) == ()


@pytest.mark.parametrize("gas", GASES)
def test_titanium_always_oxidises(gas: str) -> None:
    T = np.linspace(COLD, HOT, 30)
    margin = oxidation_margins(["Ti"], oxygen_potential(gas, T), T)["Ti"]
    assert np.all(margin < 0.0)


def test_a_carbon_box_oxidises_the_chromium_of_stainless_steel_and_spares_the_rest() -> None:
    assert oxidised(("Fe", "Cr", "Ni", "Mo"), "carbon", 1000.0) == ("Cr",)


def test_dry_hydrogen_reduces_chromium_oxide_at_1000_celsius_but_not_at_800() -> None:
    assert oxidised(("Cr",), "hydrogen", 1000.0) == ()
    assert oxidised(("Cr",), "hydrogen", 800.0) == ("Cr",)


@pytest.mark.parametrize(("celsius", "expected"), [(650.0, ("Fe",)), (720.0, ()), (1000.0, ())])
def test_iron_is_safe_in_a_carbon_box_above_700_celsius(
    celsius: float, expected: tuple[str, ...]
) -> None:
    assert oxidised(("Fe",), "carbon", celsius) == expected


@pytest.mark.parametrize("formula", ["PbO", "Bi2O3", "Fe2O3", "CuO"])
def test_a_carbon_box_reduces_the_oxides_of_frits_and_red_bodies(formula: str) -> None:
    T = np.linspace(kelvin(700.0), kelvin(1000.0), 20)
    assert np.all(oxygen_potential("carbon", T) < reduction_potential(formula, T))


def test_iron_has_one_bound_where_its_first_oxide_changes() -> None:
    change = OXIDES["FeO"].temperature[0]
    below, above = oxide_equilibrium("Fe", [change - 1e-6, change])
    assert below == pytest.approx(above, abs=1e-3)


def test_the_worst_element_is_named_first() -> None:
    assert oxidised(("Cu", "Ni", "Fe", "Ti"), "air", 900.0) == ("Ti", "Fe", "Ni", "Cu")


def test_a_trace_counts_by_its_worst_moment() -> None:
    T = kelvin(np.array([600.0, 900.0]))
    margins = oxidation_margins(["Fe"], oxygen_potential("carbon", T), T)
    assert margins["Fe"].shape == (2,)
    assert oxidised_elements(margins) == ("Fe",)


@given(temperatures, temperatures, pressures)
def test_oxygen_in_a_carbon_box_rises_with_temperature(a: float, b: float, pressure: float) -> None:
    low, high = oxygen_potential("carbon", sorted((a, b)), carbon_pressure=pressure)
    assert high >= low - 1e-9


@given(temperatures, pressures, pressures)
def test_dilution_favours_carbon_monoxide_and_lowers_oxygen(T: float, a: float, b: float) -> None:
    thin, full = sorted((a, b))
    assert carbon_monoxide_fraction(T, thin) >= carbon_monoxide_fraction(T, full) - 1e-15
    diluted = oxygen_potential("carbon", T, carbon_pressure=thin)
    assert diluted <= oxygen_potential("carbon", T, carbon_pressure=full) + 1e-9


@given(temperatures, pressures)
def test_carbon_monoxide_obeys_the_law_of_mass_action(T: float, pressure: float) -> None:
    x = float(carbon_monoxide_fraction(T, pressure))
    assert 0.0 < x <= 1.0
    # C + CO2 = 2 CO and C + O2 = CO2 give the oxygen of 2 C + O2 = 2 CO
    through_monoxide = reduction_potential("CO", T) + 2.0 * np.log10(pressure * x)
    gas = oxygen_potential("carbon", T, carbon_pressure=pressure)
    assert gas == pytest.approx(float(through_monoxide), abs=1e-9)


@given(st.sampled_from(sorted(FIRST_OXIDES)), temperatures, st.floats(1e-6, 1.0))
def test_dissolving_an_element_protects_it(element: str, T: float, activity: float) -> None:
    assert oxide_equilibrium(element, T, activity) >= oxide_equilibrium(element, T)


@given(st.sampled_from(sorted(FIRST_OXIDES)), temperatures, temperatures)
def test_heat_loosens_every_oxide(element: str, a: float, b: float) -> None:
    low, high = oxide_equilibrium(element, sorted((a, b)))
    # gold's, which never forms, alone grows no looser; 0.01 where iron's first oxide changes
    assert high >= low - 0.01 or element == "Au"


@given(st.floats(180.0, 320.0), st.floats(180.0, 320.0))
def test_a_higher_dew_point_is_more_oxidising(a: float, b: float) -> None:
    dry, moist = sorted((a, b))
    assert water_pressure(dry) <= water_pressure(moist)
    assert oxygen_potential("hydrogen", 1200.0, dew_point=dry) <= oxygen_potential(
        "hydrogen", 1200.0, dew_point=moist
    )


def test_air_in_a_carbon_box_makes_this_much_monoxide() -> None:
    # 0.21 O2 + 0.79 N2 with all oxygen as CO: 0.42 of 1.21
    assert pytest.approx(0.42 / 1.21, abs=5e-4) == AIR_FED_CARBON


@pytest.mark.parametrize("gas", GASES)
def test_answers_keep_the_shape_of_the_temperature(gas: str) -> None:
    assert oxygen_potential(gas, 1000.0).shape == ()
    assert oxygen_potential(gas, np.full((2, 3), 1000.0)).shape == (2, 3)


@pytest.mark.parametrize("row", OXIDES.values(), ids=lambda row: row.formula)
def test_every_oxide_is_a_table_with_a_source(row: Oxide) -> None:
    nodes = np.array(row.temperature)
    assert np.all(np.diff(nodes) > 0.0)
    assert nodes.shape == np.array(row.gibbs_energy).shape
    assert len(row.source) > 20


def test_an_unknown_gas_lists_the_gases() -> None:
    with pytest.raises(UnknownName, match=r"no gas named 'argon'.*'inert'"):
        oxygen_potential("argon", 1000.0)


def test_an_unknown_element_lists_the_elements() -> None:
    with pytest.raises(UnknownName, match="no element named 'cu'; did you mean 'Cu'"):
        oxide_equilibrium("cu", 1000.0)


def test_an_unknown_oxide_lists_the_oxides() -> None:
    with pytest.raises(UnknownName, match="no oxide named 'SnO'"):
        gibbs_energy("SnO", 1000.0)


@pytest.mark.parametrize("celsius", [-20.0, 1500.0, np.nan])
def test_a_temperature_without_data_is_refused(celsius: float) -> None:
    with pytest.raises(OutOfRange, match=r"oxide of Cu: asked from .* known from 0 to 1400 °C"):
        oxide_equilibrium("Cu", kelvin(celsius))
    with pytest.raises(OutOfRange, match="known from 0 to 1400 °C"):
        oxygen_potential("carbon", kelvin(celsius))


def test_impossible_gases_are_refused() -> None:
    with pytest.raises(InputError, match="oxygen of 0 atm"):
        oxygen_potential("inert", 1000.0, oxygen_trace=0.0)
    with pytest.raises(InputError, match="pressure of -1 atm"):
        oxygen_potential("carbon", 1000.0, carbon_pressure=-1.0)
    with pytest.raises(OutOfRange, match="dew point: 76"):
        oxygen_potential("hydrogen", 1000.0, dew_point=349.15)
    with pytest.raises(InputError, match="Sn: an activity of 0"):
        oxide_equilibrium("Sn", 1000.0, 0.0)
