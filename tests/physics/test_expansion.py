"""Thermal strain of a card along a trace, and its transformations."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import OutOfRange
from cofire.materials.card import Card, Transformation
from cofire.physics.expansion import (
    smooth_expansion,
    smooth_step,
    thermal_strains,
    transformation_strain,
    transformed_share,
)
from cofire.units import ROOM, kelvin
from tests.strategies import CARDS, cards, some

LAGGING = Transformation("made", kelvin(912.0), kelvin(880.0), 12.0, -0.0035, 6.5e-6)


def total(card: Card, temperature: np.ndarray) -> np.ndarray:
    return np.sum(list(thermal_strains(card, temperature).values()), axis=0)


@some
@given(cards())
def test_strain_at_the_rows_is_what_the_table_says(card: Card) -> None:
    """Mean coefficient times distance from 20 °C; a metal's table is that of its low form."""
    table = card["thermal_expansion"]
    assert table.temperature is not None
    inside = thermal_strains(card, table.temperature)
    for change in card.inversions:
        if not change.in_table:
            inside.pop(change.name)
    measured = table.value * (table.temperature - ROOM)
    assert np.expm1(np.sum(list(inside.values()), axis=0)) == pytest.approx(measured, abs=1e-14)


@pytest.mark.parametrize("name", CARDS)
def test_strain_is_nothing_at_room_temperature(name: str) -> None:
    assert total(CARDS[name], np.array([ROOM])) == pytest.approx([0.0], abs=1e-18)


@some
@given(cards())
def test_the_smooth_part_never_bends_more_than_its_rows(card: Card) -> None:
    """Shape-preserving interpolation: between two rows the strain stays between theirs."""
    table = card["thermal_expansion"]
    assert table.temperature is not None
    rows = np.append(ROOM, table.temperature[table.temperature > ROOM + 1.0])
    at_rows = smooth_expansion(card, rows)
    for low, high, start, stop in zip(rows, rows[1:], at_rows, at_rows[1:], strict=False):
        between = smooth_expansion(card, np.linspace(low, high, 21))
        assert between.min() >= min(start, stop) - 1e-15
        assert between.max() <= max(start, stop) + 1e-15


@pytest.mark.parametrize("name", CARDS)
def test_a_card_asked_above_its_table_refuses_with_the_temperature(name: str) -> None:
    card = CARDS[name]
    hottest = card["thermal_expansion"].reach[1]
    with pytest.raises(OutOfRange, match=f"{name}: thermal_expansion asked at"):
        thermal_strains(card, np.array([ROOM, hottest + 1.0]))


def test_below_room_temperature_a_card_refuses_too() -> None:
    with pytest.raises(OutOfRange, match=r"copper: thermal_expansion asked at -40 °C"):
        thermal_strains(CARDS["copper"], np.array([kelvin(-40.0)]))


@some
@given(cards(), st.floats(1.0, 200.0))
def test_an_extended_table_holds_its_last_mean_coefficient(card: Card, beyond: float) -> None:
    table = card["thermal_expansion"]
    assert table.temperature is not None
    hot = table.temperature[-1] + np.array([0.0, beyond])
    smooth = smooth_expansion(card, hot, extend=True)
    assert smooth[1] - smooth[0] == pytest.approx(table.value[-1] * beyond, rel=1e-9)


def test_a_single_coefficient_gives_a_straight_line() -> None:
    card = CARDS["copper"]
    single = replace(card["thermal_expansion"], temperature=None, value=np.array([17e-6]))
    single = replace(single, valid=(ROOM, kelvin(1020.0)))
    card = replace(card, properties={**card.properties, "thermal_expansion": single})
    hot = kelvin(np.array([20.0, 520.0, 1020.0]))
    assert np.expm1(smooth_expansion(card, hot)) == pytest.approx([0.0, 0.0085, 0.017])


# -- transformations -------------------------------------------------------------------------


@some
@given(st.floats(200.0, 1500.0), st.floats(1.0, 200.0))
def test_a_step_runs_smoothly_from_none_to_all_over_its_width(centre: float, width: float) -> None:
    temperature = centre + width * np.linspace(-1.0, 1.0, 41)
    share = smooth_step(temperature, centre, width)
    assert np.all(np.diff(share) >= 0.0)
    assert share[:11] == pytest.approx(np.zeros(11), abs=1e-15)
    assert share[-11:] == pytest.approx(np.ones(11), abs=1e-15)
    assert share[20] == pytest.approx(0.5)
    assert share + share[::-1] == pytest.approx(np.ones(41))


def test_a_lagging_transformation_comes_back_colder_than_it_went() -> None:
    up = kelvin(np.linspace(800.0, 1000.0, 2001))
    share = transformed_share(np.concatenate([up, up[::-1]]), LAGGING)
    heating, cooling = share[:2001], share[2001:]
    assert up[np.argmax(heating > 0.5)] == pytest.approx(LAGGING.on_heating, abs=0.2)
    assert up[::-1][np.argmax(cooling < 0.5)] == pytest.approx(LAGGING.on_cooling, abs=0.2)
    assert share[0] == share[-1] == 0.0
    assert share.max() == 1.0


def test_a_turn_inside_the_loop_keeps_what_has_transformed() -> None:
    """Between the two branches nothing moves: the share waits."""
    part = LAGGING.on_heating + 1.0
    back = LAGGING.on_cooling + 10.0
    share = transformed_share(np.array([kelvin(800.0), part, back, part, back]), LAGGING)
    assert 0.0 < share[1] < 1.0
    assert np.all(share[1:] == share[1])


@some
@given(st.lists(st.floats(kelvin(700.0), kelvin(1100.0)), min_size=2, max_size=30))
def test_the_transformed_share_does_not_depend_on_how_fast_or_how_finely(path: list[float]) -> None:
    """A play operator: nodes between the turning points change nothing."""
    coarse = np.array([kelvin(20.0), *path])
    fine = np.interp(
        np.linspace(0.0, 1.0, 8 * (coarse.size - 1) + 1), np.linspace(0, 1, coarse.size), coarse
    )
    assert transformed_share(fine, LAGGING)[::8] == pytest.approx(
        transformed_share(coarse, LAGGING), abs=1e-12
    )
    share = transformed_share(fine, LAGGING)
    assert np.all(share >= smooth_step(fine, LAGGING.on_heating, LAGGING.width) - 1e-15)
    assert np.all(share <= smooth_step(fine, LAGGING.on_cooling, LAGGING.width) + 1e-15)


def test_a_transformed_body_expands_at_its_own_rate() -> None:
    hot = LAGGING.on_heating + np.array([50.0, 150.0])
    strain = transformation_strain(hot, np.ones(2), LAGGING)
    assert strain[0] == pytest.approx(-0.0035 + 50.0 * 6.5e-6)
    assert strain[1] - strain[0] == pytest.approx(100.0 * 6.5e-6)


def test_iron_shrinks_on_heating_through_its_transformation() -> None:
    """Once and back: in between, gamma iron expands faster."""
    iron = CARDS["iron"]
    (change,) = iron.inversions
    around = change.on_heating + np.array([-10.0, 10.0, 200.0])
    strain = total(iron, around)
    assert strain[1] < strain[0]
    gamma = (strain[2] - strain[1]) / 190.0
    alpha = float(np.diff(smooth_expansion(iron, around[1:]))[0]) / 190.0
    assert gamma == pytest.approx(alpha + change.expansion_change, rel=1e-9)
