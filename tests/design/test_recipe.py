"""Pastes by recipe."""

import numpy as np
import pytest

from cofire.design.candidates import ROUGH, Bench
from cofire.design.recipe import (
    mean_expansion,
    mixed_card,
    propose_recipes,
    recipe_text,
    recipes_for,
    share_for,
)
from cofire.design.space import Design
from cofire.design.transition import given_layout
from cofire.errors import InputError
from cofire.firing.kiln import trace
from cofire.materials.catalogue import load_fillers
from cofire.physics.history import histories
from cofire.report.designs import percent, recipes_lines
from tests.fired import CARDS
from tests.planned import tea_light_to_plan

FILLERS = load_fillers()


def test_thirty_per_cent_of_silica_takes_a_fifth_of_a_metals_expansion():
    """Hand: Turner with K of 110 and 37 GPa gives about 16.5e-6/K for copper, by volume 12.8."""
    card = mixed_card(CARDS["copper"], [(FILLERS["fused silica powder"], 0.3)])
    ends = mean_expansion(CARDS["copper"]), mean_expansion(FILLERS["fused silica powder"])
    linear = 0.7 * ends[0] + 0.3 * ends[1]
    assert linear < mean_expansion(card) < 0.95 * ends[0]


@pytest.mark.parametrize("share", [0.1, 0.25, 0.4])
@pytest.mark.parametrize("filler", ["leucite powder", "quartz flour", "high-expansion frit"])
def test_a_body_with_a_filler_expands_between_the_two(filler, share):
    body = CARDS["talc body"]
    ends = sorted([mean_expansion(body), mean_expansion(FILLERS[filler])])
    mixed = mixed_card(body, [(FILLERS[filler], share)])
    assert ends[0] < mean_expansion(mixed) < ends[1]


def test_a_vanishing_share_leaves_the_body_as_it_was():
    body = CARDS["fritted body"]
    mixed = mixed_card(body, [(FILLERS["leucite powder"], 1e-6)])
    firing = tea_light_to_plan().firing
    one, other = (histories([card], trace(firing), extend=True) for card in (body, mixed))
    np.testing.assert_allclose(other.relative_density, one.relative_density, atol=2e-4)
    # rows of the mixed table stand 20 K apart
    np.testing.assert_allclose(
        other.strain["expansion"], one.strain["expansion"], atol=2e-4, rtol=0.02
    )


def test_a_filler_takes_from_the_shrinkage_and_a_frit_from_the_maturing():
    body = CARDS["talc body"]
    filled = mixed_card(body, [(FILLERS["leucite powder"], 0.3)])
    ratio = [c["green_density"].scalar / c["fired_density"].scalar for c in (body, filled)]
    assert ratio[0] < ratio[1] < 1.0
    fritted = mixed_card(body, [(FILLERS["high-expansion frit"], 0.3)])
    assert fritted.fired_at is not None
    assert body.fired_at is not None
    assert fritted.fired_at.peak < body.fired_at.peak - 50.0


def test_a_recipe_of_two_fillers_is_one_card_and_shares_have_bounds():
    body = CARDS["talc body"]
    both = [(FILLERS["leucite powder"], 0.3), (FILLERS["quartz flour"], 0.1)]
    assert mixed_card(body, both).name == "talc body with 30 % leucite powder and 10 % quartz flour"
    with pytest.raises(InputError, match="allowed"):
        mixed_card(body, [(FILLERS["leucite powder"], 0.5)])


def test_two_fillers_have_the_shares_of_the_name_in_either_order():
    """Density by volume has no rule in it; once the second filler had 43 % for its 30."""
    body = CARDS["leucite porcelain"]
    parts = [(body, 0.4), (FILLERS["leucite powder"], 0.3), (FILLERS["quartz flour"], 0.3)]
    by_volume = sum(share * card["theoretical_density"].scalar for card, share in parts)
    for added in (parts[1:], parts[:0:-1]):
        density = mixed_card(body, added)["theoretical_density"].scalar
        assert density == pytest.approx(by_volume, rel=1e-9)


def test_a_share_brings_a_body_to_the_expansion_that_is_asked_for():
    body, filler = CARDS["fritted body"], FILLERS["leucite powder"]
    share = share_for(body, filler, 11e-6)
    assert share is not None
    assert mean_expansion(mixed_card(body, [(filler, share)])) == pytest.approx(11e-6, rel=0.01)
    assert share_for(body, filler, 30e-6) is None
    assert share_for(body, filler, 5e-6) is None


def test_fillers_come_with_how_to_verify_them_and_none_that_leads_away():
    body = CARDS["fritted body"]
    found = recipes_for(body, 11e-6, FILLERS)
    assert "fused silica powder" not in {name for name, *_ in found}
    text = recipe_text(body.name, *found[0])
    assert "verify with one expansion bar" in text
    assert "± " in text
    metal = recipes_for(CARDS["copper"], 14e-6, FILLERS)
    assert metal
    assert "leucite powder" not in {name for name, *_ in metal}


def test_a_filler_that_does_nothing_keeps_as_many_pots_as_the_design_without_it():
    """Only the strength, of which a rule is less sure, scatters more."""
    vessel = tea_light_to_plan()
    design = Design(given_layout(vessel, CARDS), vessel.printer.dead_volume)
    few = {"leucite powder": FILLERS["leucite powder"]}
    bench = Bench(CARDS, fineness=ROUGH)
    (found,) = propose_recipes(vessel, bench, design, few, shares=[1e-6], samples=4)
    assert found.outcome.kept == pytest.approx(found.without.kept, abs=0.03)
    assert f"instead of {percent(found.without.chance)}" in recipes_lines([found])[0]
