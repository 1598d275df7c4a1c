"""Bodies whose crystals turn in the heat: shares of their time, flags, recipes and windows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment.crystal_rules import KEPT_CAUTION
from cofire.assessment.rule import GO, NO
from cofire.design.recipe import mixed_card
from cofire.firing.program import Segment
from cofire.materials.catalogue import load_fillers
from cofire.physics.blends import blend
from cofire.physics.stability import turned, turning_rate
from cofire.report.sheet_basis import cards_table
from cofire.units import HOUR, kelvin
from tests.fired import CARDS, flags_of, written_vessel
from tests.made import fired

FILLERS = load_fillers()
PORCELAIN = CARDS["leucite porcelain"]
POT = """
name = "cup"
profile = {shape = "cylinder", radius_mm = 25, height_mm = 40, wall_mm = 2}
band = [{material = "gold", to_mm = 15}, {material = "leucite porcelain"}]
firing = {kiln = "small studio kiln", segment = [{to_C = 850, rate_C_per_h = 300, hold_min = 30}]}
"""


def test_shares_of_the_time_at_each_heat_add_up_to_one():
    time = np.array([0.0, 1.5, 1.5 + 1e-6, 3.0]) * HOUR
    heat = kelvin(np.array([820.0, 820.0, 930.0, 930.0]))
    np.testing.assert_allclose(turned(PORCELAIN, time, heat), [0.0, 0.5, 0.5, 1.0], rtol=1e-5)


def test_crystals_stay_outside_the_rows_of_the_card_and_where_it_says_nothing():
    rates = turning_rate(PORCELAIN, kelvin(np.array([20.0, 690.0, 960.0])))
    assert np.all(rates == 0.0)
    assert np.all(turning_rate(CARDS["fritted body"], kelvin(np.array([850.0]))) == 0.0)


def test_below_its_fastest_heat_it_turns_as_much_slower_as_its_glass_is_stiffer():
    """268 kJ/mol between 700 and 800 °C, as the card's own viscosity has it, within a tenth."""
    low, high = kelvin(np.array([700.0, 800.0]))
    glass = PORCELAIN["glass_viscosity"].at(np.array([low, high]))
    rates = turning_rate(PORCELAIN, np.array([low, high]))
    assert np.log10(rates[1] / rates[0]) == pytest.approx(glass[0] - glass[1], abs=0.05)


@pytest.mark.parametrize(("hours", "grade"), [(0.5, GO), (4.0, NO)])
def test_a_soak_longer_than_crystals_last_is_a_no(hours: float, grade: int):
    pot = written_vessel(POT)
    soak = Segment(kelvin(850.0), 300.0 / HOUR, hours * HOUR)
    held = replace(pot, firing=replace(pot.firing, segments=(soak,)))
    (flag,) = flags_of(fired(held), "crystals")
    assert flag.zone == "leucite porcelain"
    assert flag.grade == grade
    assert hours < flag.figure < hours + 1.5  # and the ways up and down
    assert flag.utilisation == pytest.approx(flag.figure / flag.limit)
    assert flag.caution == KEPT_CAUTION


def test_a_blend_and_a_recipe_turn_as_the_body_in_them_does():
    heat = kelvin(np.array([850.0]))
    grade = blend(CARDS["gold"], PORCELAIN, 0.3)
    assert turning_rate(grade, heat) == turning_rate(PORCELAIN, heat)
    powder = FILLERS["leucite powder"]
    body = mixed_card(CARDS["fritted body"], [(powder, 0.2)])
    assert turning_rate(body, heat) == turning_rate(powder, heat) > 0.0
    assert turning_rate(mixed_card(CARDS["fritted body"], [(powder, 0.01)]), heat) == 0.0


def test_the_sheet_tells_how_long_the_crystals_last_where_they_turn_fastest():
    table, sources = cards_table([CARDS["gold"], PORCELAIN])
    (row,) = (row for row in table.rows if row[0] == "crystals last, h")
    assert row[1] == ""
    assert str(row[2]).startswith("3 factor 3, derived")
    assert any("geometric mean of 1 h and 10 h" in source for source in sources)
