"""The metal a firing makes, against the printed bronze it is anchored to and against limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment.check import Check
from cofire.assessment.fired_metal import FiredMetal, elongation_at, fired_metals, strength_at
from cofire.materials.catalogue import load_cards
from cofire.physics.porosity import haynes_elongation
from cofire.report.verdict import as_json, as_text
from tests.fired import sharply, tea_light

CARDS = load_cards()
METALS = [c for c in CARDS.values() if c.kind == "metal"]


def test_printed_bronze_has_its_printed_strengths_at_its_printed_density():
    """CuSn10 by extrusion, 840 °C, 90 min, hydrogen, 0.98 dense: 286.5 and 313.6 MPa."""
    bronze = CARDS["tin bronze 90/10"]
    assert strength_at(bronze, "tensile_strength", 0.98) == pytest.approx(286.5e6)
    assert strength_at(bronze, "strength", 0.98) == pytest.approx(313.6e6)
    assert strength_at(bronze, "tensile_strength", 0.90) < 0.9 * 286.5e6


@pytest.mark.parametrize("card", METALS, ids=lambda c: c.name)
def test_a_denser_metal_is_stronger_and_stretches_further(card):
    at = np.linspace(card["green_density"].scalar + 0.01, 0.99, 6)
    strong = [strength_at(card, "tensile_strength", d) for d in at]
    long = [elongation_at(card, d) for d in at]
    assert None not in strong
    assert strong == sorted(strong)
    assert long == sorted(long)


@pytest.mark.parametrize("card", METALS, ids=lambda c: c.name)
def test_a_metal_without_pores_does_not_yield_above_what_it_bears(card):
    assert strength_at(card, "tensile_strength", 1.0) > card["yield_stress"].value[0]


def test_elongation_falls_to_a_quarter_at_a_tenth_of_pores():
    assert float(haynes_elongation(0.1)) == pytest.approx(0.9**1.5 / np.sqrt(11.0))
    assert float(haynes_elongation(0.0)) == 1.0


def test_a_check_tells_of_each_metal_zone_in_text_and_json():
    (metal,) = fired_metals(tea_light())
    check: Check = sharply(tea_light())
    assert metal.zone == "fine silver"
    assert 0.5 < metal.density < 1.0
    assert "the metal when cold" in as_text(check, [])
    assert '"tensile_MPa"' in as_json(check, [])


def test_a_card_without_strength_says_so_by_leaving_it_out():
    response = tea_light()
    silver = response.cards[0]
    kept = {k: v for k, v in silver.properties.items() if k not in ("tensile_strength", "strength")}
    bare = replace(response, cards=(replace(silver, properties=kept), *response.cards[1:]))
    (metal,) = fired_metals(bare)
    assert metal.strength is None
    assert "tension" not in metal.text()


@pytest.mark.parametrize(
    ("strength", "told"),
    [(1.74e8, "170 MPa"), (9.16e7, "92 MPa"), (3.1e6, "3.1 MPa"), (1.21e9, "1200 MPa")],
)
def test_a_strength_of_hundreds_is_told_in_hundreds(strength: float, told: str):
    text = FiredMetal("copper", 0.9, strength, None, None, "").text()
    assert text == f"copper: 90 % dense, {told} in tension"


def test_a_figure_is_told_with_the_range_that_its_card_and_density_leave_it():
    """15 % of the strength and what 4 % of density moves, in quadrature; nine in ten in 1.645."""
    bronze = CARDS["tin bronze 90/10"]
    response = tea_light()
    kept = replace(bronze, name="fine silver")
    (metal,) = fired_metals(replace(response, cards=(kept, *response.cards[1:])))
    spread = bronze["fired_density"].uncertainty[0].size
    here, there = (
        strength_at(bronze, "tensile_strength", d) for d in (metal.density, metal.density + spread)
    )
    doubt = np.hypot(0.15, np.log(there / here))
    assert metal.doubt["strength"] == pytest.approx(doubt, rel=1e-6)
    low, high = metal.likely("strength")
    assert (low, high) == pytest.approx(
        (here / np.exp(1.645 * doubt), here * np.exp(1.645 * doubt))
    )
    assert f" MPa in tension ({float(f'{1e-6 * low:.2g}'):g} to " in metal.text()
    assert FiredMetal("copper", 0.9, 1e8, None, None, "").likely("strength") is None
