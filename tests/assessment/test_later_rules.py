"""After the kiln: a year of damp air against the tension that stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment import later_rules as later_flags
from cofire.assessment.response import Response
from cofire.assessment.rule import GO, NO
from tests import fired
from tests.fired import CARDS, changed, flags_of, only, pulled

BODY = "fritted body"


def held(stress_mpa: float) -> Response:
    """The tea-light, cold under one tension everywhere."""
    return pulled(changed(fired.tea_light(), strength=np.array(55e6)), np.array(1e6 * stress_mpa))


def test_a_body_that_holds_on_cooling_can_break_in_a_year():
    response = held(13.0)
    now = only(flags_of(response, "cooling"), "cooling", BODY)
    later = only(flags_of(response, "later"), "later", BODY)
    assert now.grade == GO
    assert later.grade == NO
    n = CARDS[BODY]["crack_growth_exponent"].scalar
    grown = ((n + 1.0) * later_flags.YEAR / 10.0) ** (1.0 / n)
    assert later.utilisation / now.utilisation == pytest.approx(grown, rel=1e-6)


def test_a_body_without_an_exponent_of_its_own_carries_what_it_may_be():
    response = held(13.0)
    own = only(flags_of(response, "later"), "later", BODY)
    assert (own.low, own.high) == (None, None)
    body = CARDS[BODY]
    bare = {k: v for k, v in body.properties.items() if k != "crack_growth_exponent"}
    response = replace(response, cards=(response.cards[0], replace(body, properties=bare)))
    flag = only(flags_of(response, "later"), "later", BODY)
    ends = [((n + 1.0) * later_flags.YEAR / 10.0) ** (1.0 / n) for n in (40.0, 20.0, 12.0)]
    assert flag.low == pytest.approx(flag.utilisation * ends[0] / ends[1], rel=1e-6)
    assert flag.high == pytest.approx(flag.utilisation * ends[2] / ends[1], rel=1e-6)


def test_a_body_in_compression_lasts():
    flag = only(flags_of(held(-40.0), "later"), "later", BODY)
    assert flag.utilisation == 0.0
    assert flag.grade == GO


def test_a_threshold_and_a_larger_exponent_lower_the_chance():
    response = held(13.0)
    base = only(flags_of(response, "later"), "later", BODY).utilisation

    def with_card(**numbers: float) -> float:
        card = CARDS[BODY]
        row = card["crack_growth_exponent"]
        held_rows = {k: replace(row, name=k, value=np.array([v])) for k, v in numbers.items()}
        card = replace(card, properties={**card.properties, **held_rows})
        again = replace(response, cards=(response.cards[0], card))
        return only(flags_of(again, "later"), "later", BODY).utilisation

    assert with_card(crack_growth_exponent=40.0) < 0.75 * base
    assert with_card(crack_growth_threshold=0.6) < 0.75 * base
    assert with_card(crack_growth_threshold=0.1) == pytest.approx(base)


def test_only_the_tension_left_when_cold_counts():
    response = held(13.0)
    stress = response.fired.stress.copy()
    stress[:-1] = 1e9
    flag = only(flags_of(pulled(response, stress), "later"), "later", BODY)
    assert flag.utilisation == only(flags_of(response, "later"), "later", BODY).utilisation


def test_more_tension_and_longer_standing_are_worse():
    _, year, _ = later_flags.later_risks(held(10.0))
    _, more, _ = later_flags.later_risks(held(12.0))
    _, decade, _ = later_flags.later_risks(held(10.0), 10.0 * later_flags.YEAR)
    assert more[0] > year[0]
    assert decade[0] > year[0]
    assert only(flags_of(held(10.0), "later"), "later", BODY).remedy


def test_figures_of_the_chance_are_per_cent_of_the_risks_and_all_bands_add_up():
    response = held(10.0)
    _, by_then, bands = later_flags.later_risks(response)
    (flag,) = later_flags.later_flags(response)  # one brittle band has no sum of bands beside it
    assert len(bands) == 1
    assert flag.figure == pytest.approx(-100.0 * np.expm1(-by_then[0]))
    assert flag.limit == pytest.approx(100.0 * later_flags.FAILURE_NO)
    assert "none below" not in flag.source
    both = replace(
        response, cards=(response.cards[1],) * 2, material=np.array([response.material[1]] * 2)
    )
    _, by_then, bands = later_flags.later_risks(both)
    flags = later_flags.later_flags(both)
    assert [f.zone for f in flags] == [BODY, BODY, "all brittle bands"]
    assert flags[2].figure == pytest.approx(-100.0 * np.expm1(-by_then.sum()))
    row = CARDS[BODY]["crack_growth_exponent"]
    rows = {"crack_growth_threshold": replace(row, value=np.array([0.4]))}
    card = replace(CARDS[BODY], properties={**CARDS[BODY].properties, **rows})
    (flag,) = later_flags.later_flags(replace(response, cards=(response.cards[0], card)))
    assert "none below 40 % of toughness" in flag.source
