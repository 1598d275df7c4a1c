"""A card like another one that says only what it shrinks in the kiln."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.firing.kiln import trace
from cofire.firing.program import simple_firing
from cofire.materials.card import Card
from cofire.materials.catalogue import read_card
from cofire.physics.history import Along
from tests.fired import CARDS, KILNS

PARENT = CARDS["fritted body"]
OWN = '[firing_shrinkage]\nvalue = {}\nuncertainty = "+- 0.2"\n'


def mine(folder: Path, text: str) -> Card:
    path = folder / "ceramics" / "mine.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(f'name = "mine"\nlike = "fritted body"\n{text}', encoding="utf-8")
    return read_card(path)


@pytest.mark.parametrize("percent", [8.4, 13.5])
def test_a_measured_firing_shrinkage_is_what_the_body_shrinks_by(
    tmp_path: Path, percent: float
) -> None:
    card = mine(tmp_path, OWN.format(percent))
    assert card.fired_at is not None
    at = card.fired_at
    curve = trace(simple_firing(next(iter(KILNS.values())), at.peak, at.hold, at.rate, "air", 0.0))
    found = -100.0 * float(np.expm1(Along(curve).of([card]).shrinkage[0, -1]))
    assert found == pytest.approx(percent, abs=0.2)  # cooling sinters a little more
    green = card["green_density"]
    assert green.basis == ("derived",)
    assert green.source == ("from its firing shrinkage and the fired density of fritted body",)
    # three per cent of density, or a little more, for one of shrinkage
    height = card.scalar("height_shrinkage_factor", 1.0)
    expected = (2.0 + height) * 0.002 / (1.0 - percent / 100.0)
    assert green.uncertainty[0].relative(green.value)[0] == pytest.approx(expected, rel=1e-2)
    assert card["fired_density"].scalar == PARENT["fired_density"].scalar


def test_a_shrinkage_beside_a_density_of_its_own_moves_no_other_density(tmp_path: Path) -> None:
    fired = '[fired_density]\nvalue = 0.93\nuncertainty = "+- 0.01"\n'
    fired += "fired_at = { rate_C_per_h = 150, peak_C = 850, hold_min = 30 }\n"
    card = mine(tmp_path, OWN.format(11.0) + fired)
    assert card["green_density"].scalar == PARENT["green_density"].scalar


@pytest.mark.parametrize("percent", [0.5, 34.0])
def test_a_shrinkage_for_which_the_fired_density_leaves_no_room_is_refused(
    tmp_path: Path, percent: float
) -> None:
    with pytest.raises(InputError) as found:
        mine(tmp_path, OWN.format(percent))
    said = str(found.value)
    assert f"mine.toml: firing_shrinkage: {percent:g} %; allowed: " in said
    assert "\n" not in said
