"""A paste worked out by hand from the numbers of its card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.materials.card import Card
from cofire.materials.catalogue import load_cards
from cofire.physics.blends import blend
from cofire.physics.paste import BINDER_DENSITY, WATER_DENSITY, paste_of

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


def test_a_paste_without_room_for_the_water_it_loses_is_refused() -> None:
    card = CARDS["talc body"]
    dense = card.scaled("green_density", 0.92 / card["green_density"].scalar)
    wide = replace(dense.scaled("drying_shrinkage", 2.5), origin="")
    with pytest.raises(InputError, match="talc body: its green_density and binder leave"):
        paste_of(wide)
    lost = 100.0 * (1.0 - (1.0 - wide["drying_shrinkage"].scalar) ** 3)
    with pytest.raises(InputError, match=f"its drying_shrinkage needs {np.round(lost):.0f} %"):
        paste_of(wide)
