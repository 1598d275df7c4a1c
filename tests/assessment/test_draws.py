"""Cards as they might also be: possible ones, whatever the draw."""

from __future__ import annotations

from collections import Counter

import numpy as np

from cofire.assessment.draws import Factor, design, factors_of, varied
from cofire.physics.paste import BINDER_DENSITY, most_binder, paste_of
from tests.fired import CARDS


def test_every_drawn_card_leaves_a_paste_that_can_be_mixed() -> None:
    # gold weighs fifteen times its binder: a few per cent more of it by mass would not fit between
    # its grains, and 3 of 48 samples of a gold vessel were lost for that alone
    base = [CARDS[name] for name in ("gold", "leucite porcelain", "fine silver", "copper")]
    factors = factors_of(base)
    clipped: Counter[Factor] = Counter()
    for point in design(128, len(factors), 1):
        for card in varied(base, factors, point, clipped).values():
            assert paste_of(card).water > -1e-9
    assert 0 < clipped[Factor("gold", "binder")] < 32


def test_the_most_binder_fills_the_pores_of_the_dried_body() -> None:
    green, density, lost = 0.6, 4000.0, 0.05
    most = most_binder(green, density, lost)
    dry = green * density / (1.0 - most - lost)  # with what burns, before it has burnt
    filled = dry * (1.0 - most) / density + dry * most / BINDER_DENSITY
    assert np.isclose(filled, 1.0, rtol=1e-12)
