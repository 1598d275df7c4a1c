"""The shipped fillers and frits against numbers printed elsewhere, and what they do in a blend."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from chemicals import CAS_from_any, Tm
from chemicals.heat_capacity import CRC_standard_data

from cofire.files import bundled_tables
from cofire.firing.kiln import trace
from cofire.firing.program import load_kilns, simple_firing
from cofire.materials.card import Card
from cofire.materials.catalogue import (
    card_files,
    check_files,
    load_cards,
    load_fillers,
)
from cofire.physics.blends import blend
from cofire.physics.history import histories
from cofire.units import HOUR, MINUTE, kelvin

CARDS = load_cards()
FILLERS = load_fillers()


def expansion(card: Card, celsius: float) -> float:
    """Mean from 20 °C. [1e-6/K]"""
    return 1e6 * float(card["thermal_expansion"].at(kelvin(celsius)))


def between(card: Card, low: float, high: float) -> float:
    """Mean between two temperatures, of the card's table. [1e-6/K]"""
    strain = [expansion(card, t) * (t - 20.0) for t in (low, high)]
    return (strain[1] - strain[0]) / (high - low)


def bulk(card: Card) -> float:
    return float(card["young_modulus"].value[0]) / (3 - 6 * card["poisson_ratio"].scalar)


def turner(shares: Mapping[str, float], cards: Mapping[str, Card], celsius: float) -> float:
    """Expansion of a dense mixture by volume, all grains at one pressure (Turner 1946). [1e-6/K]"""
    weight = {name: share * bulk(cards[name]) for name, share in shares.items()}
    total = sum(weight.values())
    return sum(w * expansion(cards[name], celsius) for name, w in weight.items()) / total


def test_no_filler_file_has_a_complaint_and_none_is_taken_for_a_body() -> None:
    files = card_files(bundled_tables().joinpath("fillers"))
    assert check_files(files) == []
    assert len(files) == len(FILLERS) >= 9
    assert not set(FILLERS) & set(CARDS)


def test_every_number_of_a_filler_says_how_it_is_known() -> None:
    """An estimate names its rule; what was not read is marked as recalled."""
    for card in FILLERS.values():
        for found in card.properties.values():
            for source, basis in zip(found.source, found.basis, strict=True):
                assert "withheld" not in source
                if basis == "estimate":
                    told = source.startswith("our estimate") or "recalled" in source
                    assert told or "memory" in source or len(source) > 40, (card.name, found.name)


def test_leucite_expands_between_the_two_powders_read() -> None:
    """22.7e-6/K (20-620 °C) and 25.9e-6/K (30-642 °C); then 9.3e-6/K from 642 to 947 °C, 10 %."""
    card = FILLERS["leucite powder"]
    assert 22.7 < expansion(card, 620.0) < 25.9
    assert between(card, 660.0, 947.0) == pytest.approx(9.3, rel=0.1)


def test_leucite_raises_a_glass_by_as_much_as_was_read() -> None:
    """10-30 % in a matrix glass: up to 44 % more (Kloužková et al. 2012, abstract).

    By Turner's rule 30 % in a glass of 9e-6/K; 8 %, the spread of leucite's own expansion.
    """
    glass, leucite = CARDS["soda-lime powder body"], FILLERS["leucite powder"]
    cards = {"glass": glass, "leucite": leucite}
    mixed = turner({"glass": 0.7, "leucite": 0.3}, cards, 500.0)
    assert mixed / expansion(glass, 500.0) == pytest.approx(1.44, rel=0.08)


def test_tungsten_lowers_copper_as_measured() -> None:
    """20 % by mass in copper: 14.9 to 17.4e-6/K over 100 to 400 °C.

    Abstract of doi 10.19591/j.cnki.cn11-1974/tf.2023050001.
    """
    copper, tungsten = CARDS["copper"], FILLERS["tungsten powder"]
    volume = {
        "tungsten": 0.2 / tungsten["theoretical_density"].scalar,
        "copper": 0.8 / copper["theoretical_density"].scalar,
    }
    shares = {name: v / sum(volume.values()) for name, v in volume.items()}
    mixed = turner(shares, {"copper": copper, "tungsten": tungsten}, 300.0)
    assert 14.5 < mixed < 17.4


def test_tungsten_melts_where_the_handbook_says() -> None:
    """CRC Handbook in `chemicals`; prints differ by 10 K."""
    solidus = FILLERS["tungsten powder"]["solidus"].scalar
    assert solidus == pytest.approx(Tm(CAS_from_any("W")), abs=10.0)


@pytest.mark.parametrize(
    ("name", "cas", "molar_mass", "tolerance"),
    [("quartz flour", "14808-60-7", 60.08, 0.02), ("tungsten powder", "7440-33-7", 183.84, 0.02)],
)
def test_specific_heat_at_room_temperature_is_the_handbooks(
    name: str, cas: str, molar_mass: float, tolerance: float
) -> None:
    """CRC Handbook standard heat capacities in `chemicals`; 2 %."""
    printed = CRC_standard_data.loc[cas, "Cps"] / molar_mass * 1e3
    card = float(FILLERS[name]["specific_heat"].at(kelvin(25.0)))
    assert card == pytest.approx(printed, rel=tolerance)


def test_silicas_step_at_their_inversions_and_hardly_expand_above() -> None:
    """Quartz 1.5 % to 600 °C; cristobalite about 1.1 % between 180 and 300 °C; glass none."""
    quartz, cristobalite = FILLERS["quartz flour"], FILLERS["cristobalite flour"]
    assert 1e-4 * expansion(quartz, 600.0) * 580.0 == pytest.approx(1.5, rel=0.03)
    assert abs(between(quartz, 650.0, 1000.0)) < 1.5
    step = 1e-4 * (expansion(cristobalite, 300.0) * 280.0 - expansion(cristobalite, 180.0) * 160.0)
    assert step == pytest.approx(1.2, rel=0.15)
    assert expansion(FILLERS["fused silica powder"], 500.0) < 0.7


def test_lithium_silicates_and_silica_glass_expand_least() -> None:
    low = ("beta-eucryptite powder", "beta-spodumene powder", "fused silica powder")
    assert all(abs(expansion(FILLERS[name], 500.0)) < 1.0 for name in low)
    assert expansion(FILLERS["beta-eucryptite powder"], 500.0) < 0.0


@pytest.mark.parametrize("name", [n for n, c in FILLERS.items() if c.kind == "ceramic"])
def test_a_filler_lowers_copper_and_the_blend_goes_through_a_firing(name: str) -> None:
    """15 % by volume in copper at 900 °C: a finite history, expansion below copper's own."""
    filled = blend(CARDS["copper"], FILLERS[name], 0.85)
    top = min(900.0, filled["thermal_expansion"].reach[1] - kelvin(0.0))
    kiln = load_kilns()["laboratory furnace"]
    firing = simple_firing(kiln, kelvin(top), 30 * MINUTE, 150 / HOUR, "carbon", lag=0.0)
    history = histories([filled], trace(firing), extend=True)
    assert np.all(np.isfinite(history.free_strain))
    if name not in ("cristobalite flour", "quartz flour", "leucite powder"):
        assert expansion(filled, 400.0) < expansion(CARDS["copper"], 400.0)


def test_of_two_fillers_that_hardly_expand_the_stiffer_lowers_copper_more() -> None:
    """Turner's trend: cordierite, dense some 130 GPa, against fused silica's 73; 20 % by volume."""
    copper = CARDS["copper"]
    cordierite, silica = CARDS["cordierite"], FILLERS["fused silica powder"]
    drop = [
        expansion(copper, 500.0) - expansion(blend(copper, card, 0.8), 500.0)
        for card in (cordierite, silica)
    ]
    assert drop[0] > drop[1] > 2.0
