"""Spreads of the model factors: the table is what the published pairs give."""

from __future__ import annotations

import re

import numpy as np
import pytest

from cofire.assessment.model_factors import (
    MODEL_FACTORS,
    RECORD,
    UNKNOWN,
    drawn_factors,
    factor_of,
)
from cofire.assessment.verdict import RULES
from tests.published import model_factors
from tests.published.as_firings import judged
from tests.published.evidence_set import open_pairs
from tests.published.model_factors import (
    broken,
    fit,
    fitted_rules,
    left_out,
    never_fitted,
    shipped_fit,
    usable,
)
from tests.published.outcomes import judge_fresh, judge_open, judge_sealed

CRACKED = next(p for p in open_pairs() if p["id"] == "coat-titanium-alloy-45s5-glass")


@pytest.mark.long
def test_the_table_holds_what_the_open_pairs_give():
    """A rule that changes moves the spread: print it anew, set it, and say so in the commit."""
    middle, low, high, pairs = shipped_fit()
    for name in (*fitted_rules(), "surface crack"):
        if name not in MODEL_FACTORS:
            continue
        shipped = factor_of(name)
        assert shipped.shared
        assert shipped.pairs == pairs
        assert [shipped.spread, shipped.low, shipped.high] == pytest.approx(
            [middle, low, high], rel=0.03
        ), name


def test_rules_of_stress_have_one_factor_wide_and_of_many_pairs():
    """That it is what the pairs give is asked in a long run."""
    first, *others = (MODEL_FACTORS[name] for name in fitted_rules() if name in MODEL_FACTORS)
    assert others
    for one in others:
        assert one.shared
        assert (one.spread, one.low, one.high) == (first.spread, first.low, first.high)
        assert one.pairs == first.pairs
    assert np.log(first.high) / np.log(first.low) > 2.9


def test_a_pair_that_breaks_at_half_its_limit_asks_for_a_wider_spread_than_one_that_holds():
    """A limit that was never passed without a fault says that the rule is sure, and little else."""
    (result,) = usable([judged(CRACKED)])
    told = broken(result)[None]
    narrow, wide = fit(1.0 - told, np.ones(1)), fit(told, np.ones(1))
    for middle, low, high in (narrow, wide):
        assert 1.0 < low < middle < high
    assert narrow[0] > wide[0]


@pytest.mark.long
def test_little_is_known_of_the_spread_and_its_interval_is_wide():
    _, low, high, _ = shipped_fit()
    assert np.log(high) / np.log(low) > 3.0


@pytest.mark.long
def test_pairs_whose_source_was_left_out_are_foretold_better_with_the_factor_than_without():
    """The log score: 0.51 with it, 0.63 without, 0.62 by the share. Brier: 0.171, 0.170, 0.207.

    Expected of rules whose limits are often right: the square of a doubt costs where they are.
    """
    scores, _ = left_out()
    assert scores["told"][1] < min(scores["bare"][1], scores["share"][1])
    assert scores["told"][0] < scores["bare"][0] + 0.01
    assert scores["told"][0] < scores["share"][0]


@pytest.mark.long
def test_factors_drawn_apart_for_each_rule_foretell_worse_than_the_shared_one():
    """0.205: several rules that doubt a piece gave it several chances to fail."""
    for k in range(2):
        assert left_out(apart=True)[0]["told"][k] > left_out()[0]["told"][k]


@pytest.mark.long
def test_the_record_that_is_told_beside_a_probability_is_what_the_pairs_give():
    scores, _ = left_out()
    parts = [
        (len(usable(judge_open())), scores),
        *map(never_fitted, (judge_sealed(), judge_fresh())),
    ]
    count = sum(n for n, _ in parts)
    mean = {k: sum(n * s[k][0] for n, s in parts) / count for k in ("told", "bare", "share")}
    last = parts[-1][1]
    numbers = [float(x) for x in re.findall(r"0\.\d\d", RECORD)]
    assert numbers == pytest.approx(
        [*(mean[k] for k in ("told", "bare", "share")),
         *(last[k][0] for k in ("told", "bare", "share"))], abs=0.0051,
    )  # fmt: skip
    assert f"On {count} published" in RECORD
    assert f"{parts[0][0]} with" in RECORD
    assert f"{count - parts[0][0]} never fitted" in RECORD
    assert f"the {parts[2][0]} of them found last" in RECORD


def test_draws_of_the_rules_of_stress_are_one_and_others_are_their_own():
    log = drawn_factors(["cooling", "sag", "metal", "brown"], 256, 0)
    np.testing.assert_allclose(log[:, 0], log[:, 2])
    apart = np.corrcoef(log[:, [0, 1, 3]].T) - np.eye(3)
    assert np.abs(apart).max() < 0.2


def test_every_rule_has_a_factor_and_one_of_tomorrow_has_a_wide_one():
    assert all(factor_of(rule.name).spread >= 1.0 for rule in RULES)
    assert factor_of("a rule of tomorrow") is UNKNOWN
    assert set(fitted_rules()) <= {rule.name for rule in RULES}


def test_what_scatters_and_what_is_shared_add_up_to_the_spread():
    for factor in (*MODEL_FACTORS.values(), UNKNOWN):
        assert np.hypot(factor.scatter, factor.common) == pytest.approx(np.log(factor.spread))
        assert factor.low <= factor.spread <= factor.high


def test_inputs_printed_leave_less_open_than_inputs_recalled():
    (result,) = usable([judged(CRACKED)])
    assert result.pair["fields"]["expansion"] == "recalled"
    printed = {**result.pair, "fields": {**result.pair["fields"], "expansion": "printed"}}
    known = model_factors.input_spread(type(result)(printed, result.verdict, result.apart))
    assert known <= model_factors.input_spread(result)
