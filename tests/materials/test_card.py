"""What a card answers: properties over temperature, uncertainties, inversions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.materials.card import Card, Property, Uncertainty
from cofire.materials.card_file import remarks
from cofire.materials.properties import GASES
from cofire.physics.blends import blend
from cofire.units import ROOM, celsius, kelvin
from tests.strategies import CARDS, cards, some


def made(rows: list[float], values: list[float]) -> Property:
    """A table of Young's modulus over °C."""
    count = len(rows)
    return Property(
        "young_modulus",
        "made",
        kelvin(np.array(rows)),
        np.array(values),
        (Uncertainty("%", 0.1),) * count,
        ("made",) * count,
        ("estimate",) * count,
    )


def test_a_missing_property_says_what_it_means_and_an_unknown_one_what_there_is() -> None:
    copper = CARDS["copper"]
    assert "weibull_modulus" not in copper
    with pytest.raises(InputError, match=r"copper\.toml: weibull_modulus: missing; .*scatter"):
        copper["weibull_modulus"]
    with pytest.raises(UnknownName, match="no property named 'yeild_stress'; did you mean"):
        copper["yeild_stress"]
    assert copper.scalar("free_quartz", 0.0) == 0.0
    assert copper.scalar("poisson_ratio", 0.9) == copper["poisson_ratio"].scalar


@some
@given(cards(), st.floats(0.5, 2.0))
def test_a_scaled_card_differs_in_one_property_only(card: Card, factor: float) -> None:
    changed = card.scaled("thermal_expansion", factor)
    assert changed["thermal_expansion"].value == pytest.approx(
        factor * card["thermal_expansion"].value
    )
    for key, entry in card.properties.items():
        if key != "thermal_expansion":
            assert changed[key] is entry
    hot = np.array([kelvin(300.0)])
    assert changed["thermal_expansion"].at(hot) == pytest.approx(
        factor * card["thermal_expansion"].at(hot)
    )


def test_free_silica_inverts_in_proportion_to_its_share() -> None:
    stoneware = CARDS["mid-fire stoneware"]
    twice = stoneware.scaled("free_quartz", 2.0)
    steps = {change.name: change.step for change in stoneware.inversions}
    assert set(steps) == {"quartz inversion", "cristobalite inversion"}
    assert {c.name: c.step for c in twice.inversions}["quartz inversion"] == pytest.approx(
        2.0 * steps["quartz inversion"]
    )
    assert stoneware.scaled("free_quartz", 0.0).inversions[0].name == "cristobalite inversion"
    assert all(change.in_table for change in stoneware.inversions)
    assert not any(change.in_table for change in CARDS["iron"].inversions)


# -- tables ----------------------------------------------------------------------------------


@some
@given(
    st.lists(st.floats(20.0, 1500.0), min_size=2, max_size=8, unique=True).map(sorted),
    st.data(),
)
def test_a_table_goes_through_its_rows_and_never_beyond_their_neighbours(
    rows: list[float], data: st.DataObject
) -> None:
    rows = [r for i, r in enumerate(rows) if i == 0 or r - rows[i - 1] > 1.0]
    if len(rows) < 2:
        return
    values = data.draw(st.lists(st.floats(1e9, 4e11), min_size=len(rows), max_size=len(rows)))
    table = made(rows, values)
    assert table.at(kelvin(np.array(rows))) == pytest.approx(values)
    for i in range(len(rows) - 1):
        between = table.at(kelvin(np.linspace(rows[i], rows[i + 1], 9)))
        low, high = sorted(values[i : i + 2])
        assert np.all(between >= low * (1.0 - 1e-12))
        assert np.all(between <= high * (1.0 + 1e-12))


def test_a_table_is_asked_within_its_rows_and_down_to_room_temperature_if_near() -> None:
    warm, hot = made([100.0, 800.0], [100e9, 60e9]), made([300.0, 800.0], [100e9, 60e9])
    assert warm.reach == (ROOM, kelvin(800.0))
    assert hot.reach == (kelvin(300.0), kelvin(800.0))
    assert warm.at(np.array([ROOM])) == pytest.approx([100e9])  # its first row is held
    for table, asked in ((warm, -10.0), (warm, 801.0), (hot, 250.0)):
        with pytest.raises(OutOfRange, match=rf"made: young_modulus asked at {asked:.0f} °C"):
            table.at(np.array([kelvin(asked)]))
        held = table.at(np.array([kelvin(asked)]), extend=True)
        assert held == pytest.approx([100e9 if asked < 500.0 else 60e9])


@pytest.mark.parametrize("rows", [None, np.array([kelvin(700.0)])])
def test_a_single_number_read_along_a_firing_holds_where_the_card_says(
    rows: np.ndarray | None,
) -> None:
    """One number is no table: at other temperatures it is refused, or the range is stated."""
    number = replace(made([700.0, 800.0], [50e9, 40e9]), temperature=rows, value=np.array([60e9]))
    assert number.reach == ((ROOM, ROOM) if rows is None else (rows[0], rows[0]))
    with pytest.raises(OutOfRange, match=r"asked at [78][05]0 °C; it is a single number.* valid_C"):
        number.at(kelvin(np.array([700.0, 850.0])))
    assert number.at(np.array([kelvin(850.0)]), extend=True) == pytest.approx([60e9])
    stated = replace(number, valid=(ROOM, kelvin(900.0)))
    assert stated.at(kelvin(np.array([20.0, 850.0]))) == pytest.approx([60e9, 60e9])
    with pytest.raises(OutOfRange, match=r"asked at 901 °C; its rows cover 20-900 °C"):
        stated.at(np.array([kelvin(901.0)]))


def test_a_single_number_holds_at_every_temperature() -> None:
    ratio = CARDS["copper"]["poisson_ratio"]
    assert ratio.reach == (0.0, np.inf)
    anywhere = ratio.at(np.array([[10.0, 300.0], [3000.0, 5.0]]))
    assert anywhere.shape == (2, 2)
    assert np.all(anywhere == ratio.scalar)


@pytest.mark.parametrize(
    ("uncertainty", "value", "expected"),
    [
        (Uncertainty("%", 0.05), 200.0, 0.05),
        (Uncertainty("+-", 0.02), 0.5, 0.04),
        (Uncertainty("+-", 1.0), -20.0, 0.05),
        (Uncertainty("factor", 2.0), 3.0, np.log(2.0)),
    ],
)
def test_uncertainties_of_all_kinds_become_relative(
    uncertainty: Uncertainty, value: float, expected: float
) -> None:
    assert float(uncertainty.relative(value)) == pytest.approx(expected)


def test_an_uncertainty_of_nought_is_a_number():
    """Once infinite, with a warning, wherever its user had not thought of it."""
    assert np.isfinite(Uncertainty("+-", 0.3).relative(0.0))
    assert Uncertainty("+-", 0.3).absolute(np.array([0.0, -2.0])) == pytest.approx([0.3, 0.3])
    assert Uncertainty("%", 0.3).absolute(np.array([0.0, -2.0])) == pytest.approx([0.0, 0.6])


def test_temperatures_and_differences_are_not_mixed() -> None:
    assert kelvin(0.0) == 273.15
    assert celsius(kelvin(573.0)) == pytest.approx(573.0)
    assert kelvin(np.array([20.0]))[0] == ROOM


def test_a_card_turns_as_its_gas_says_and_a_blend_with_it() -> None:
    iron = CARDS["iron"]
    names = {g: {c.name for c in iron.in_gas(g).inversions} for g in GASES}
    assert names["carbon"] == {"ferrite to austenite", "carbon taken up"}
    assert names["hydrogen"] == names["air"] == names["inert"] == {"alpha to gamma iron"}
    assert {c.name for c in iron.inversions} == names["inert"]  # as a handbook has it
    mixed = blend(iron, CARDS["talc body"], 0.5).in_gas("carbon")
    assert {c.name for c in mixed.parts[0][0].inversions} == names["carbon"]
    copper = CARDS["copper"]
    assert copper.in_gas("carbon").inversions == copper.inversions == ()


def test_stainless_steel_is_not_said_to_turn_in_any_gas() -> None:
    # refused in carbon (chromium takes it up), and austenite or martensite by its own alloy
    for name in ("316L stainless", "17-4PH stainless"):
        assert not any(c.gases for c in CARDS[name].transformations)
        assert CARDS[name].atmosphere["carbon"].startswith("refused")


@pytest.mark.parametrize("kind", ["fine silver", "fritted body"])
@pytest.mark.parametrize("name", ["drying_shrinkage", "firing_shrinkage"])
def test_a_fraction_where_per_cent_belong_is_told_as_unusual(kind: str, name: str) -> None:
    """`drying_shrinkage = 0.04` for 4 % was once accepted in silence."""
    card = CARDS[kind].scaled(name, 0.01)
    (told,) = remarks(card)
    assert told.startswith(f"{name} = 0.")
    assert " %; usual for a " in told
    assert remarks(CARDS[kind]) == []
