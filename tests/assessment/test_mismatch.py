"""Mismatch of two zones along one firing, and the events that shape it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from cofire.assessment.mismatch import Mismatch, compare, fire, mismatch
from cofire.assessment.windows import RATE, ceiling
from cofire.errors import OutOfRange
from cofire.firing.program import Firing, Segment, read_firing, simple_firing, ware_firing
from cofire.materials.card import Card
from cofire.physics.blends import blend
from cofire.physics.history import histories
from cofire.units import HOUR, kelvin
from tests.strategies import CARDS, KILNS, cards, ceramics, few, firings, metals, some

STUDIO = KILNS["small studio kiln"]
SILVER, FRIT = CARDS["fine silver"], CARDS["fritted body"]


def plain(peak: float = 880.0, gas: str = "air") -> Firing:
    return simple_firing(STUDIO, kelvin(peak), HOUR, RATE, gas, lag=0.0)


def named(found: Mismatch, name: str, zone: str) -> list[float]:
    """Temperatures in °C of the events of that name in one zone."""
    return [e.temperature - 273.15 for e in found.events if (e.name, e.zone) == (name, zone)]


@some
@given(cards(), cards(), firings())
def test_swapping_a_pair_flips_the_sign_of_every_mismatch(
    one: Card, other: Card, firing: Firing
) -> None:
    there, back = (mismatch(*pair, firing, extend=True) for pair in ((one, other), (other, one)))
    assert np.array_equal(there.difference, -back.difference)
    assert np.array_equal(there.stored, -back.stored)
    assert there.cooled == -back.cooled
    assert there.set_time == back.set_time
    assert there.set_temperature == back.set_temperature
    assert there.ceilings == back.ceilings[::-1]


@some
@given(cards(), firings())
def test_a_material_against_itself_has_exactly_no_mismatch(card: Card, firing: Firing) -> None:
    found = mismatch(card, card, firing, extend=True)
    assert np.all(found.difference == 0.0)
    assert np.all(found.stored == 0.0)
    assert found.cooled == 0.0


@some
@given(metals(), ceramics(), firings())
def test_nothing_is_stored_before_both_have_set(metal: Card, ceramic: Card, firing: Firing) -> None:
    found = mismatch(metal, ceramic, firing, extend=True)
    before = found.trace.time <= found.set_time
    assert np.all(found.stored[before] == 0.0)
    after = found.difference[~before] - found.difference[before][-1]
    assert np.array_equal(found.stored[~before], after)
    assert found.cooled == found.stored[-1]
    hottest = int(np.flatnonzero(found.trace.ware == found.trace.peak)[-1])
    assert found.set_time >= found.trace.time[hottest]


@some
@given(metals(), ceramics(), firings())
def test_events_come_in_order_and_lie_on_the_trace(
    metal: Card, ceramic: Card, firing: Firing
) -> None:
    found = mismatch(metal, ceramic, firing, extend=True)
    times = [event.time for event in found.events]
    assert times == sorted(times)
    for event in found.events:
        node = np.flatnonzero(found.trace.time == event.time)
        assert node.size == 1
        assert event.temperature == found.trace.ware[node[0]]
        assert event.zone in ("", metal.name, ceramic.name)
    (peak,) = (e for e in found.events if e.name == "hottest")
    assert peak.zone == ""
    assert found.trace.peak - 0.5 <= peak.temperature <= found.trace.peak
    for card in (metal, ceramic):
        assert len(named(found, "sintering begins", card.name)) == 1
        assert len(named(found, "sets", card.name)) == 1


@few
@given(metals(), ceramics(), firings())
def test_the_difference_is_that_of_the_two_free_strains(
    metal: Card, ceramic: Card, firing: Firing
) -> None:
    found = mismatch(metal, ceramic, firing, extend=True)
    alone = [
        histories([card], found.trace, extend=True).free_strain[0] for card in (metal, ceramic)
    ]
    assert np.array_equal(found.difference, alone[0] - alone[1])
    assert found.ceilings == (ceiling(metal, firing.gas), ceiling(ceramic, firing.gas))


def test_the_curve_and_the_screen_tell_the_same_mismatch() -> None:
    """The same plain firing seen through a pair's figures and through its whole curve."""
    found = mismatch(SILVER, FRIT, ware_firing(STUDIO, kelvin(880.0), HOUR, RATE, "air"))
    block = compare(fire([SILVER, FRIT], STUDIO, kelvin(880.0), HOUR, "air"), 0, np.array([1]))
    assert found.cooled == pytest.approx(block.cooled_mismatch[0], abs=1e-15)
    assert found.set_temperature == block.set_point[0]


def test_metal_that_expands_more_is_the_shorter_when_cold() -> None:
    found = mismatch(SILVER, FRIT, plain())
    assert found.cooled < 0.0
    expansion = found.history.strain["expansion"]
    since = found.trace.time >= found.set_time
    gap = (expansion[0] - expansion[1])[since]
    inversion = found.history.strain["quartz inversion"]
    jump = (inversion[0] - inversion[1])[since]
    assert found.cooled == pytest.approx(gap[-1] - gap[0] + jump[-1] - jump[0], abs=1e-6)


def test_burnout_comes_before_sintering_and_setting_last() -> None:
    found = mismatch(SILVER, FRIT, plain())
    for zone in (SILVER.name, FRIT.name):
        order = ("binder begins to leave", "binder gone", "sintering begins", "sets")
        times = [e.time for name in order for e in found.events if (e.name, e.zone) == (name, zone)]
        assert len(times) == 4
        assert times == sorted(times)
        begins, ends = (named(found, name, zone)[0] for name in order[:2])
        assert 200.0 < begins < 350.0
        assert 350.0 < ends < 600.0


def test_bound_water_leaves_a_clay_after_its_binder_and_a_metal_has_none() -> None:
    """Kaolinite gives its water off at 450 to 700 °C (common practice), cellulose below 500 °C."""
    found = mismatch(SILVER, FRIT, plain())
    assert named(found, "bound water gone", SILVER.name) == []
    (gone,) = named(found, "bound water gone", FRIT.name)
    assert named(found, "binder gone", FRIT.name)[0] < gone
    assert 500.0 < gone < 750.0


def test_quartz_is_marked_on_the_way_up_and_on_the_way_down() -> None:
    found = mismatch(SILVER, FRIT, plain())
    assert named(found, "quartz inversion", FRIT.name) == pytest.approx([573.0, 573.0], abs=4.0)
    assert named(found, "quartz inversion", SILVER.name) == []


def test_iron_is_marked_where_it_goes_and_where_it_comes_back() -> None:
    found = mismatch(CARDS["iron"], CARDS["talc body"], plain(1060.0, "hydrogen"))
    up, down = named(found, "alpha to gamma iron", "iron")
    assert up == pytest.approx(912.0, abs=4.0)
    assert down == pytest.approx(900.0, abs=4.0)


@pytest.mark.parametrize("name", ["iron", "low-carbon steel"])
def test_in_carbon_iron_comes_back_near_700_and_not_at_900(name: str) -> None:
    found = mismatch(CARDS[name], CARDS["talc body"], plain(1060.0, "carbon"))
    up, down = named(found, "ferrite to austenite", name)
    assert 727.0 <= up <= 850.0
    assert 680.0 <= down <= 727.0
    assert named(found, "alpha to gamma iron", name) == []
    assert len(named(found, "carbon taken up", name)) == 1


def test_a_dip_through_an_inversion_is_marked_each_time() -> None:
    twice = (
        Segment(kelvin(700.0), RATE),
        Segment(kelvin(500.0), RATE),
        Segment(kelvin(880.0), RATE, HOUR),
    )
    found = mismatch(SILVER, FRIT, Firing("twice", STUDIO, twice))
    assert len(named(found, "quartz inversion", FRIT.name)) == 4


def test_a_blend_shows_the_inversions_of_its_ceramic() -> None:
    mixed = blend(SILVER, FRIT, 0.3)
    found = mismatch(mixed, FRIT, plain())
    assert len(named(found, "quartz inversion", mixed.name)) == 2
    assert found.ceilings[0] == min(ceiling(SILVER, "air"), ceiling(FRIT, "air"))


def test_a_firing_hotter_than_a_table_is_refused_unless_extended() -> None:
    hot = plain(960.0)
    with pytest.raises(OutOfRange, match=r"asked at 960 °C"):
        mismatch(SILVER, FRIT, hot)
    found = mismatch(SILVER, FRIT, hot, extend=True)
    assert any(line.startswith("fine silver: ") for line in found.history.extended)


def test_a_firing_with_a_slow_cooling_runs_within_the_tables() -> None:
    table = {
        "gas": "air",
        "lag_min": 8,
        "segment": [
            {"to_C": 420, "rate_C_per_h": 60, "hold_min": 60},
            {"to_C": 860, "rate_C_per_h": 150, "hold_min": 75},
            {"to_C": 560, "rate_C_per_h": 60, "hold_min": 30},
        ],
    }
    found = mismatch(SILVER, FRIT, read_firing(table, KILNS, "here"))
    assert kelvin(850.0) < found.trace.peak < kelvin(860.0)
    assert found.history.extended == ()
