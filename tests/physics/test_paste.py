"""A paste worked out by hand from the numbers of its card."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cofire.errors import InputError
from cofire.materials.card import Card
from cofire.materials.catalogue import load_cards
from cofire.physics.blends import blend
from cofire.physics.paste import BINDER_DENSITY, WATER_DENSITY, most_binder, paste_of

CARDS = load_cards()


def by_hand(card: Card) -> tuple[float, float, float]:
    """Powder, binder and water in a cubic metre of wet paste. [kg/m³]

    One cubic metre of dried body was 1 / (1 - s)³ cubic metres of paste. It holds green density
    times theoretical density of what remains after the kiln; what was weighed is that, the binder
    and the bound water, as shares of the dried mass. The rest of the paste is water.
    """
    paste_volume = 1.0 / (1.0 - card["drying_shrinkage"].scalar) ** 3
    fired = card["green_density"].scalar * card["theoretical_density"].scalar
    loss = card["loss_on_ignition"].scalar if "loss_on_ignition" in card else 0.0
    dried = fired / (1.0 - card["binder"].scalar - loss)
    binder = card["binder"].scalar * dried
    powder = dried - binder
    water = paste_volume - powder / card["theoretical_density"].scalar - binder / BINDER_DENSITY
    return powder / paste_volume, binder / paste_volume, water / paste_volume * WATER_DENSITY


@pytest.mark.parametrize("name", ["fine silver", "talc body", "hard porcelain", "copper"])
def test_a_paste_holds_what_its_dried_body_holds_and_water(name: str) -> None:
    card = CARDS[name]
    assert ("loss_on_ignition" in card) == (card.kind == "ceramic")
    paste = paste_of(card)
    ((powder_of, powder),) = paste.powders
    assert powder_of == name
    assert (powder, paste.binder, paste.water) == pytest.approx(by_hand(card), rel=1e-12)
    assert paste.burnt == pytest.approx(paste.solids * card["theoretical_density"].scalar)
    assert paste.wet == pytest.approx(powder + paste.binder + paste.water)


def test_a_blend_is_its_two_pastes_by_volume() -> None:
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    one, other = paste_of(silver), paste_of(frit)
    both = paste_of(blend(silver, frit, 0.4))
    share = 0.4 / one.solids / (0.4 / one.solids + 0.6 / other.solids)
    for name in ("binder", "water", "burnt", "solids"):
        mean = share * getattr(one, name) + (1.0 - share) * getattr(other, name)
        assert getattr(both, name) == pytest.approx(mean)
    assert dict(both.powders)["fine silver"] == pytest.approx(share * one.powders[0][1])


def test_a_paste_without_room_for_its_binder_is_refused() -> None:
    """Powder and water leave the shrinking paste alike: what fills the dried body filled it wet."""
    card = CARDS["talc body"]
    dense = replace(card.scaled("green_density", 0.92 / card["green_density"].scalar), origin="")
    loss = dense.scalar("loss_on_ignition")
    most = most_binder(0.92, dense["theoretical_density"].scalar, loss)
    with pytest.raises(InputError, match=f"talc body: binder = .*{100 * max(most, 0):.3g} % of"):
        paste_of(dense)


@pytest.mark.parametrize("name", ["gold", "fine silver", "hard porcelain"])
def test_a_dried_body_full_of_binder_has_no_pores_left(name: str) -> None:
    card = CARDS[name]
    loss = card.scalar("loss_on_ignition", 0.0)
    density = card["theoretical_density"].scalar
    most = most_binder(card["green_density"].scalar, density, loss)
    full = paste_of(card.scaled("binder", most / card["binder"].scalar))
    shrunk = (1.0 - card["drying_shrinkage"].scalar) ** 3
    assert full.water / WATER_DENSITY == pytest.approx(1.0 - shrunk)
    with pytest.raises(InputError, match="has room"):
        paste_of(card.scaled("binder", 1.001 * most / card["binder"].scalar))
