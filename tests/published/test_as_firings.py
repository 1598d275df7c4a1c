"""Published pairs as cards, structures and coolings: what is known before anything is judged."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

import numpy as np
import pytest

from cofire.mechanics.solid_firing import AS_FIRED
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.units import ROOM, kelvin
from tests.published import as_firings, outcome_pairs
from tests.published.as_firings import (
    card_of,
    cards_of,
    contraction,
    cooling,
    dense_history,
    handbook,
    is_cylinder,
    response_of,
    stressed,
    without_ends,
)
from tests.published.evidence_set import fresh_pairs, open_pairs

PAIRS = {p["id"]: p for p in outcome_pairs.table()["pair"]}


def between(name: str, bonding: float, hot: float, cold: float) -> float:
    """Strain gained by cooling from one temperature to another. [°C] -> [-]"""
    _, temperature = cooling(kelvin(bonding))
    strain = contraction(card_of(name), kelvin(bonding))
    at = np.interp([-kelvin(hot), -kelvin(cold)], -temperature, strain)
    return float(at[1] - at[0])


def test_every_material_of_the_table_has_a_card_that_can_cool():
    assert set(handbook()["materials"]) == set(outcome_pairs.table()["materials"])
    for name in handbook()["materials"]:
        assert np.isfinite(contraction(card_of(name), kelvin(900.0))).all(), name


@pytest.mark.parametrize("nth", [12, pytest.param(4, marks=pytest.mark.long)])
def test_pairs_can_be_cooled(nth: int):
    """Every so manieth; the others are where they are judged (`test_outcomes`)."""
    for name, pair in list(PAIRS.items())[::nth]:
        found = stressed(pair)
        assert np.isfinite(found.tension).all(), name
        assert (found.tension >= found.cold).all(), name


def test_the_sealing_alloy_contracts_mostly_above_its_curie_point():
    """Mean 30-400 °C 4.6-5.2e-6/K, above 450 °C some 15e-6/K a degree (ASTM F15, from memory)."""
    above = between("Fe-29Ni-17Co", 800.0, 750.0, 500.0) / 250.0
    below = between("Fe-29Ni-17Co", 800.0, 400.0, 25.0) / 375.0
    assert above < 2.5 * below < 0.0


def test_martensite_swells_on_cooling_through_its_range_and_nowhere_else():
    assert between("martensitic stainless steel", 1000.0, 360.0, 200.0) > 2e-3
    assert between("martensitic stainless steel", 1000.0, 900.0, 400.0) < -5e-3


def test_nothing_is_stored_while_the_glass_is_fluid():
    """100 K more above the working point leaves the cold stress of a bead as it was."""
    pair = deepcopy(PAIRS["bead-fe-51ni-soda-lime"])
    once = stressed(pair).cold
    pair["bonding_C"] += 100.0
    np.testing.assert_allclose(stressed(pair).cold, once, rtol=0.02, atol=1e4)


def test_alumina_bears_less_from_a_metal_that_is_softer_when_hot():
    """All contraction above the Curie point is borne at the hot yield stress."""
    pair = PAIRS["alumina-fe-ni-co"]
    cards = list(cards_of(pair).values())
    tile = layered_tile([1e-3 * layer["thickness_mm"] for layer in pair["layers"]])

    def cold(metal):
        past = dense_history([metal, cards[1]], kelvin(pair["bonding_C"]))
        return fire_tile(tile, past).stress[-1, 1].max()

    limit = cards[0]["yield_stress"]
    hot = limit.temperature > kelvin(450.0)
    softer = replace(limit, value=np.where(hot, 0.3, 1.0) * limit.value)
    soft = replace(cards[0], properties={**cards[0].properties, "yield_stress": softer})
    assert cold(soft) < cold(cards[0])


@pytest.mark.parametrize("name", ["bead-fe-ni-co-borosilicate", "tube-fe-ni-co-borosilicate"])
def test_matched_seals_stay_below_20_mpa_in_the_glass(name):
    assert stressed(PAIRS[name]).tension[1] < 20e6


def test_a_printed_coefficient_goes_before_the_curve():
    pair = PAIRS["crown-zirconia-porcelain"]
    for name, card in cards_of(pair).items():
        mean = float(card["thermal_expansion"].at(kelvin(pair["set_point_C"]), extend=True))
        assert mean == pytest.approx(1e-6 * pair["expansion_1e6_per_K"][name])


def test_a_printed_differential_goes_before_all():
    pair = PAIRS["bead-300-ppm"]
    set_point = kelvin(pair["set_point_C"])
    metal, glass = (
        float(c["thermal_expansion"].at(set_point, extend=True)) for c in cards_of(pair).values()
    )
    assert (metal - glass) * (set_point - ROOM) == pytest.approx(300e-6)


def test_a_glass_of_lower_transition_flows_at_lower_temperature():
    low, usual = (
        cards_of(PAIRS[name])["dental porcelain"]["glass_viscosity"]
        for name in ("strip-titanium-low-fusing-porcelain", "strip-titanium-leucite-porcelain")
    )
    assert float(low.at(kelvin(500.0), extend=True)) < float(usual.at(kelvin(500.0), extend=True))
    assert low.temperature[1] == pytest.approx(usual.temperature[1] - 85.0)


def test_layers_of_one_material_carry_nothing():
    pair = deepcopy(PAIRS["alumina-steel"])
    pair["layers"] = [{"material": "alumina", "thickness_mm": t} for t in (1.0, 3.0)]
    bound = AS_FIRED.imbalance * AS_FIRED.stress_tolerance  # 400 Pa, to which it is balanced
    assert stressed(pair).tension == pytest.approx(np.zeros(2), abs=bound)


def test_glass_is_liquid_where_it_was_sealed_and_frozen_when_cold():
    past = dense_history([card_of("soda-lime glass")], kelvin(1000.0))
    assert past.viscosity[0, 0] < 1e7
    assert np.isinf(past.viscosity[0, -1])


def test_rods_discs_and_blocks_are_fired_as_solids_about_their_axis():
    first = [name for name in PAIRS if PAIRS[name] not in fresh_pairs()]
    solids = [name for name in first if is_cylinder(PAIRS[name])]
    assert "disc-opaque-body-porcelain-plus-3.2" in solids
    assert "ring-alumina-fe-ni-co" not in solids
    assert len(solids) == 33
    for name in ("strip-titanium-leucite-porcelain", "zirconia-titanium"):
        fired = response_of(PAIRS[name]).fired
        assert fired.structure == "solid"
        assert fired.radius == pytest.approx(0.5 * fired.wall)  # from axis to rim


def test_beads_are_told_as_fired_without_their_ends():
    beads = [name for name, p in PAIRS.items() if without_ends(p)]
    assert "wire-platinum-soda-lime" in beads
    assert all(response_of(PAIRS[name]).fired.structure == "sleeve" for name in beads[:2])


def test_a_joint_made_by_a_liquid_is_cooled_from_where_it_froze():
    pair = PAIRS["alumina-copper-direct-bond"]
    assert response_of(pair).history.temperature[0] == pytest.approx(kelvin(pair["frozen_C"]))
    assert pair["frozen_C"] < pair["bonding_C"]


def test_the_print_shows_open_pairs_only():
    every = 12
    told = [line.split(" [")[0] for line in as_firings.report(every).splitlines()]
    assert told == [pair["id"] for pair in open_pairs()][::every]
    assert "graded-alumina-316l-9" not in {pair["id"] for pair in open_pairs()}
