"""Metal grains in a blend: bonded or parted, and powders that hold each other back."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from cofire.assessment.grain_rules import grain_flags, grain_misfit
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.rule import GO, NO, Flag
from tests.fired import CARDS, COARSE, TEA_LIGHT, flags_of, written_vessel

METAL, BODY = "fine silver", "fritted body"


@cache
def response(
    share: float = 25.0, body: str = BODY, scaled: tuple[tuple[str, str, float], ...] = ()
):
    """A foot of a blend under its body."""
    cards = dict(CARDS)
    for name, prop, factor in scaled:
        cards[name] = cards[name].scaled(prop, factor)
    text = TEA_LIGHT.replace('"fine silver"', f'"fine silver + {body} = {share}"')
    text = text.replace(f'material = "{BODY}"', f'material = "{body}"')
    return fire_vessel(written_vessel(text), cards, control=COARSE, fineness=0.5, extend=True)


def one(flags: list[Flag]) -> Flag:
    (found,) = flags
    return found


def test_coarse_silver_grains_part_from_a_frit_and_fine_ones_stay():
    coarse = one(grain_flags(response(scaled=((METAL, "particle_size", 3.0),))))
    fine = one(grain_flags(response(scaled=((METAL, "particle_size", 0.2),))))
    assert coarse.grade == NO
    assert fine.grade == GO
    assert coarse.utilisation / fine.utilisation == pytest.approx(np.sqrt(15.0), rel=1e-3)
    assert "tension on the bond" in coarse.note


def test_a_body_that_contracts_like_its_metal_keeps_the_grains():
    assert (
        one(grain_flags(response(body="leucite porcelain"))).utilisation
        < 0.75 * one(grain_flags(response())).utilisation
    )


def test_the_pull_is_nearly_selsings_and_gone_while_the_frit_flows():

    fired: Response = response()
    alone, cards = fired.substances
    names = [c.name for c in cards]
    mixed = fired.cards[0]
    stress, strain = grain_misfit(mixed, alone, (names.index(METAL), names.index(BODY)))
    hot = int(np.argmax(alone.temperature))
    assert abs(strain[hot]) < 1e-5
    assert 200e6 < stress[-1] < 600e6
    assert 4e-3 < strain[-1] < 9e-3


def test_a_tougher_bond_or_body_bears_larger_grains():
    tough = one(grain_flags(response(scaled=((BODY, "fracture_toughness", 1.5),))))
    assert tough.utilisation == pytest.approx(
        one(grain_flags(response())).utilisation / 1.5, rel=1e-6
    )


def test_pure_zones_and_blends_of_nearly_all_metal_are_not_its_matter():
    assert grain_flags(response(90.0)) == []


def test_the_last_of_a_smear_is_not_refused_for_grains_that_it_hardly_has():
    # 1 % of metal, all of it parted, leaves 96 % of the strength: once a no of the whole vessel
    coarse = ((METAL, "particle_size", 3.0),)
    assert grain_flags(response(1.0, scaled=coarse)) == []
    assert one(grain_flags(response(4.0, scaled=coarse))).grade == NO


def test_powders_that_sinter_apart_hold_each_other_back():
    together = one(flags_of(response(25.0), "blend density"))
    # a body far too refractory for the firing: its grains are a rigid network
    late = one(flags_of(response(25.0, scaled=((BODY, "sintering_energy", 1.6),)), "blend density"))
    assert together.grade == GO
    assert late.utilisation > 1.02 * together.utilisation
    assert together.figure <= together.limit * 2.0
    assert late.remedy


def test_what_parted_grains_leave_is_told_in_per_cent_of_the_ceramics():
    flag = one(grain_flags(response()))
    parts = re.search(
        r"leave (\d+) % of the ceramic's stiffness, (\d+) % of its strength", flag.note
    )
    assert parts is not None
    assert all(5 <= int(part) <= 99 for part in parts.groups())
