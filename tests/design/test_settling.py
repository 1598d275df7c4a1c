"""Leaders of a search judged by the solid before one of them is proposed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from cofire.assessment.check import Check, check_vessel
from cofire.assessment.rule import NO, Flag
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.drafting import Settled, best_settled
from cofire.design.objective import draw
from cofire.design.search import DesignSearch, knee, preferred, search_designs
from cofire.design.settling import (
    far_apart,
    odds_by_solid,
    ratios_by_solid,
    settle,
    solid_and_odds,
    together,
)
from cofire.design.space import laid
from cofire.errors import ModelError
from cofire.sweeps import mark_of
from cofire.vessel import Vessel
from tests.fired import CARDS, rough_solids
from tests.planned import little_tried, tea_light_to_plan


@cache
def searched() -> tuple[Vessel, Bench, DesignSearch]:
    """A small search with little effort, of sharp joints."""
    vessel = tea_light_to_plan()
    vessel = replace(vessel, joint=replace(vessel.joint, blends=1))
    bench = Bench(CARDS, fineness=ROUGH)
    with little_tried():
        found = search_designs(vessel, bench, effort=0.02, final=4)
    assert found is not None
    return vessel, bench, found


KNOWN: dict[str, Check] = {}


def solids(some: list[Vessel]) -> list[Check]:
    """Checks of some vessels, each fired once."""
    marks = [mark_of(vessel) for vessel in some]
    with rough_solids():
        KNOWN.update({m: check_vessel(v, CARDS) for m, v in zip(marks, some, strict=True)
                      if m not in KNOWN})  # fmt: skip
    return [KNOWN[mark] for mark in marks]


def worst(flags: tuple[Flag, ...], rule: str) -> float:
    """The largest utilisation of a rule."""
    return max((f.utilisation for f in flags if f.rule == rule), default=0.0)


def test_what_is_proposed_is_asked_with_the_shell_put_right_by_its_own_solid() -> None:
    # whatever ratio the search had: the outcome of each choice now tells what its solid found, on
    # every rule that uses up half of its limit, but for a tenth
    vessel, bench, found = searched()
    metal, ceramic, below = bench.zones(vessel)
    wrong = replace(bench, ratios={"later": 0.4, "brown": 0.4, "cooling": 0.4})
    again, last = settle(found, wrong, vessel, solids)
    assert again.chosen in again.choices
    for choice in again.choices:
        one = laid(vessel, metal.name, ceramic.name, below, choice.design)
        (check,) = solids([one])
        if choice == again.chosen:
            assert last.verdict.flags == check.verdict.flags
        for rule in ("later", "brown", "cooling"):
            told = worst(choice.outcome.flags, rule)
            solid = worst(check.verdict.flags, rule)
            assert max(told, solid) < 0.5 or abs(told - solid) <= 0.11 * solid


def test_a_ratio_counts_only_where_the_rule_decides_something() -> None:
    vessel, bench, found = searched()
    metal, ceramic, below = bench.zones(vessel)
    one = laid(vessel, metal.name, ceramic.name, below, found.chosen.design)
    (check,) = solids([one])
    ratios = ratios_by_solid(bench, one, check)
    (shell,) = fire_candidates(bench, [one])
    assert not isinstance(shell, ModelError)
    flags = bench.judge(shell).flags
    for rule in ("later", "cooling"):
        told = worst(flags, rule) * ratios[rule]
        assert abs(told - worst(check.verdict.flags, rule)) < 1e-9 * told + 1e-12
    assert not bench.ratios  # the search's own stay
    assert not far_apart(ratios, ratios, check)
    assert far_apart({**ratios, "later": 2.0 * ratios["later"]}, ratios, check)
    little = replace(check.verdict, flags=tuple(
        replace(f, utilisation=1e-3 * f.utilisation) for f in check.verdict.flags
    ))  # fmt: skip
    faint = replace(check, verdict=little)
    assert not far_apart({**ratios, "later": 2.0 * ratios["later"]}, ratios, faint)


def test_a_solid_and_its_shells_fired_beside_each_other_are_those_fired_in_turn() -> None:
    vessel, bench, found = searched()
    metal, ceramic, below = bench.zones(vessel)
    one = laid(vessel, metal.name, ceramic.name, below, found.chosen.design)
    (check,) = solids([one])
    samples = draw(bench, vessel, 3, 5)
    wrong = replace(bench, ratios={"later": 0.4})  # the search's, which the solid's own replace
    in_turn = odds_by_solid(samples, wrong, one, check)
    with ThreadPoolExecutor(2) as pool:
        beside = solid_and_odds(
            samples, replace(wrong, executor=pool), one, lambda v: solids([v])[0]
        )
    assert in_turn is not None
    assert beside[0] is check
    assert beside[1] is not None
    for name in ("flags", "load", "lost_by", "swings"):
        assert getattr(beside[1], name) == getattr(in_turn, name)
    assert np.array_equal(beside[1].kept, in_turn.kept)


def test_two_searches_together_hold_the_better_design_of_each_number() -> None:
    _, _, found = searched()
    first = found.choices[0]
    better = replace(first, outcome=replace(first.outcome, load=0.01 * first.outcome.load))
    both = together(found, replace(found, choices=(better,), chosen=better))
    assert [c.design.changes for c in both.choices] == [c.design.changes for c in found.choices]
    assert both.choices[0] == better
    assert both.choices[1:] == found.choices[1:]
    assert both.fired == 2 * found.fired


def test_two_searches_together_still_prefer_a_choice_that_passes() -> None:
    """Once what a solid had said of each was lost there, and the knee alone was taken."""
    _, _, found = searched()
    first, second = found.choices
    bad = replace(
        first, grade=NO, outcome=replace(first.outcome, kept=0.0 * first.outcome.kept + 0.60)
    )
    good = replace(second, grade=NO - 1, outcome=replace(bad.outcome, load=0.99 * bad.outcome.load))
    assert knee((bad, good)) is bad
    assert preferred((bad, good)) is good
    one = replace(found, choices=(bad, good), chosen=good, placeless=(4,))
    other = replace(found, choices=(good,), chosen=good, placeless=(1, 4))
    both = together(one, other)
    assert both.chosen is good
    assert both.placeless == (4,)
    far = replace(good, outcome=replace(bad.outcome, kept=0.0 * bad.outcome.kept + 0.50))
    assert preferred((bad, far)) is bad


def settled(thought: float, found: float, cost: float) -> Settled:
    """A schedule that a search and a solid judged so."""
    verdict = SimpleNamespace(utilisation=found, grade=NO if found >= 1.0 else NO - 1)
    plain: Any = SimpleNamespace(overall=thought, verdict=verdict)
    return Settled(plain, cast(Vessel, None), plain, cost)


def test_a_schedule_is_sought_anew_where_its_solid_alone_says_no() -> None:
    # once up to 1.05 of what the search thought was believed: a caution of 0.96 that was a no
    assert settled(0.96, 0.99, 0.0).believed
    assert not settled(0.96, 1.007, 0.0).believed
    assert settled(1.2, 1.25, 0.0).believed
    assert not settled(0.5, 0.6, 0.0).believed


def test_of_schedules_of_one_design_one_that_is_no_no_is_taken_where_it_keeps_nearly_as_many() -> (
    None
):
    refused, near, far = (settled(0.96, u, c) for u, c in ((1.007, 0.30), (0.98, 0.34), (0.9, 0.4)))
    assert best_settled([refused, near, far]) is near
    assert best_settled([refused, far]) is refused
    assert best_settled([refused]) is refused
    assert best_settled([near, far]) is near
