"""The evaluation of `outcomes.toml` by the product: complete, repeatable, not below its floor.

The score is what `python -m tests.published.outcomes` prints. No limit is moved to pass a floor.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from cofire.assessment.rule import Flag, Rule
from cofire.assessment.verdict import RULES, judge
from tests.published import as_firings, outcomes
from tests.published.as_firings import Judged, judged, layers_of, response_of
from tests.published.evidence_set import open_pairs, sealed_pairs
from tests.published.outcomes import (
    area_under_curve,
    by_rule,
    decided,
    drawn_weights,
    judge_open,
    of_the_day,
    score,
    without,
)

PAIRS = {p["id"]: p for p in open_pairs()}
DAY = 20
"""Told right of the day it was cold, likewise."""
RIGHT, AREA = 20, 0.77
"""Of the 29 open pairs that are more than whole: told right, and area under the curve, when a
person last looked. A change that lowers either fails until a person sets it anew,
with the reason here.

- 17 and 0.65: the first run of the product's own verdict; calling every pair sound gives 18.
- 20 and 0.79: rods and discs as solids (16 and 0.64 by that alone), joints of tiles and sleeves
  asked from their edges and ends, thin layers bounded by energy.
- 19 and 0.75: strain of a metal as a mean over a tenth of the wall: at a point it grew by three
  with elements half as large, and with it the alumina and nickel pair had been told right. March
  of second order in flow.
- 20 and 0.78: cracks along joints by the forces on the joint itself.
- 20 and 0.77: a path from a pressed face by the mean along it: one point at the corner decided, and
  said how fine the mesh is."""


FEW = ("bridge-nickel-chromium-porcelain-minus-1.7", "bead-300-ppm", "cofired-tungsten-alumina",
       "laminate-alumina-zirconia-slow", "coat-titanium-alloy-45s5-glass",
       "crown-zirconia-porcelain")  # fmt: skip
"""Cracked, sound and whole, told right and wrong, with and without an `after` and their ends."""


@cache
def judge_few() -> tuple[Judged, ...]:
    """A few open pairs."""
    return tuple(judged(PAIRS[name]) for name in FEW)


SOME_OR_ALL = pytest.mark.parametrize(
    "judge_pairs", [judge_few, pytest.param(judge_open, marks=pytest.mark.long)]
)


@SOME_OR_ALL
def test_every_open_pair_is_judged_by_rules_of_the_table_and_by_no_other(judge_pairs):
    known = {rule.name for rule in RULES}
    results = judge_pairs()
    assert len(PAIRS) == 40
    assert len(results) in (40, len(FEW))
    for r in results:
        assert {flag.rule for flag in r.verdict.flags} <= known
        assert r.verdict.word in ("go", "caution", "no")
        assert np.isfinite(r.verdict.utilisation)


def test_a_rule_added_to_the_table_is_asked_of_the_pairs(monkeypatch: pytest.MonkeyPatch):
    def find(response):
        return [Flag(zone="all", utilisation=9.0, caution=0.5, figure=9.0, limit=1.0, unit="",
                     note="")]  # fmt: skip

    rule = Rule(name="made up", asks="?", find=find, sees=frozenset(), source="", remedy="")
    monkeypatch.setattr("cofire.assessment.verdict.RULES", (*RULES, rule))
    assert judged(PAIRS["foil-molybdenum-silica"]).verdict.worst.rule == "made up"


def test_rules_of_green_ware_are_not_asked_of_bodies_that_arrive_dense():
    green = {rule.name for rule in RULES if rule.green}
    assert green >= {"density", "brown", "burnout"}
    response = response_of(PAIRS["alumina-niobium-alumina"])
    assert not green & {flag.rule for flag in judge(response).flags}
    assert (response.progress == 1.0).all()


@pytest.mark.long
def test_the_scores_do_not_fall_below_their_floors():
    found = score(decided(judge_open()))
    assert found.count == 29
    assert found.caught + found.passed >= RIGHT
    assert found.area >= AREA - 0.005


@SOME_OR_ALL
def test_the_verdict_of_the_day_leaves_out_what_comes_after_and_nothing_else(judge_pairs):
    results = decided(judge_pairs())
    day = [of_the_day(r) for r in results]
    after = {rule.name for rule in RULES if rule.after}
    told = [r for r in results if "after" in r.pair]
    assert told
    for before, now in zip(results, day, strict=True):
        left = {f.rule for f in before.verdict.flags} - {f.rule for f in now.verdict.flags}
        assert left <= after
        assert not left or "after" not in before.pair


@pytest.mark.long
def test_the_score_of_the_day_does_not_fall_below_its_floor():
    found = score([of_the_day(r) for r in decided(judge_open())])
    assert found.caught + found.passed >= DAY


def test_the_evaluation_gives_the_same_figures_each_time():
    for name in ("crown-zirconia-porcelain", "graded-zirconia-410"):
        once, again = judged(PAIRS[name]), judged(PAIRS[name])
        assert once.verdict.utilisation == again.verdict.utilisation


def test_layers_of_one_material_pass_every_rule_of_stress():
    pair = PAIRS["laminate-alumina-zirconia-slow"]
    layers = [{"material": "alumina", "thickness_mm": 1.0}] * 3
    same = {**pair, "layers": layers, "expansion_1e6_per_K": {"alumina": 8.0}}
    found = judged(same)
    assert found.apart == 0.0
    assert found.utilisations["cooling"] < 1e-6


def test_twice_the_difference_of_contraction_is_never_judged_milder():
    pair = PAIRS["strip-titanium-leucite-porcelain"]
    expansion = dict(pair["expansion_1e6_per_K"])
    nearer = {**pair, "expansion_1e6_per_K": {**expansion, "dental porcelain": 11.6}}
    far, near = (judged(p).utilisations["cooling"] for p in (pair, nearer))
    assert far > near > 0.0


def test_a_blend_of_three_keeps_the_metal_apart_from_the_mixed_ceramics():
    three = next(p for p in [*PAIRS.values(), *sealed_pairs()] if "19-zirconia" in p["id"])
    past, cards = layers_of(three)
    assert np.isfinite(past.yield_stress[6, -1])
    blends = [card for card in cards if card.parts]
    assert all(len(card.parts) == 2 and card.ceramic is not None for card in blends)
    strain = past.free_strain[:, -1]
    assert all(np.diff(strain) > 0.0)  # contracts less and less towards the alumina


def test_area_under_the_curve_counts_ties_half():
    failed = np.array([True, True, False, False])
    assert area_under_curve(np.array([3.0, 1.0, 1.0, 2.0]), failed) == pytest.approx(2.5 / 4.0)
    doubled = np.array([2.0, 1.0, 1.0, 1.0])
    assert area_under_curve(np.array([3.0, 1.0, 1.0, 2.0]), failed, doubled) == pytest.approx(
        4.5 / 6
    )


def test_pairs_of_one_source_are_drawn_together():
    both = [PAIRS[f"bridge-nickel-chromium-porcelain-minus-{d}"] for d in ("1.7", "2.2")]
    weight = drawn_weights([*both, PAIRS["crown-zirconia-porcelain"]], 50)
    np.testing.assert_array_equal(weight[:, 0], weight[:, 1])
    assert (weight[:, 0] != weight[:, 2]).any()


@SOME_OR_ALL
def test_a_verdict_without_its_worst_rule_uses_less(judge_pairs):
    worst = max(judge_pairs(), key=lambda r: r.verdict.utilisation)
    name = worst.verdict.worst.rule
    less = without(worst, name)
    assert less.verdict.utilisation < worst.verdict.utilisation
    assert by_rule(name)(less) == 0.0


@SOME_OR_ALL
def test_calling_all_sound_ranks_nothing(judge_pairs):
    found = score(decided(judge_pairs()), lambda _: False, lambda _: 0.0)
    assert found.area == 0.5
    assert found.caught == found.alarms == 0


@SOME_OR_ALL
def test_the_print_shows_open_pairs_only_and_marks_what_is_fired_without_its_ends(judge_pairs):
    text = outcomes.report(judge_pairs())
    assert "its ends are not in it" in text
    assert not any(p["id"] in text for p in sealed_pairs() if len(p["id"]) > 30)


def test_a_dense_body_that_is_half_porous_counts_as_unsintered():
    past = response_of(PAIRS["alumina-niobium-alumina"]).history
    green = replace(past, relative_density=0.5 * past.relative_density)
    assert (green.progress[:, 0] == 0.0).all()
    assert as_firings.DENSE == "dense"
