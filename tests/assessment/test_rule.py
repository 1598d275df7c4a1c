"""One table of rules: a rule that is added to it is taken up by all that ask, search and print."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cofire.assessment import verdict
from cofire.assessment.cautions import cautions
from cofire.assessment.response import Response
from cofire.assessment.rule import (
    BLENDS,
    FIRING,
    LAYERS,
    NEIGHBOUR,
    SHAPE,
    STRESS,
    Flag,
    Rule,
)
from cofire.assessment.verdict import RULES, judge, rule_of
from cofire.design.candidates import ROUGH, Bench
from cofire.design.layers import propose_layers
from cofire.design.partner import wanted_partner
from cofire.design.schedule import propose_schedule
from cofire.evidence.uncertainty import sample_verdicts
from cofire.production.job import job_for
from cofire.report.job import job_text
from cofire.report.sheet import write_sheet
from cofire.report.verdict import as_text
from tests.fired import CARDS, sharply, tea_light
from tests.planned import tea_light_to_plan

pytestmark = pytest.mark.usefixtures("solids_are_rough")


def toy_flags(response: Response) -> list[Flag]:
    """Wants two blends, and a firing of 30 hours: layers, schedule and partner can change it."""
    blends = sum(bool(card.parts) for card in response.cards)
    hours = float(response.trace.time[-1]) / 3600.0
    return [
        Flag(
            zone=response.cards[0].name,
            utilisation=1e3 * abs(2 - blends) + 60.0 + abs(hours - 30.0),
            caution=0.5,
            figure=float(blends),
            limit=2.0,
            unit="blends",
            note="what the toy counts",
        )
    ]


TOY = Rule(
    name="toy",
    asks="Are there two blends?",
    find=toy_flags,
    sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS}),
    source="made up",
    remedy="Take the toy out.",
    piece="shrinkage bar",
    sign="a painted face",
)


@pytest.fixture
def _with_toy(monkeypatch: pytest.MonkeyPatch) -> None:
    """The table with one rule more, in one place."""
    monkeypatch.setattr(verdict, "RULES", (*RULES, TOY))


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_decides_a_check_with_its_own_words():
    found = judge(tea_light())
    assert (found.worst.rule, found.worst.source, found.worst.remedy) == (
        "toy", "made up", "Take the toy out.",
    )  # fmt: skip
    text = as_text(sharply(tea_light(), found), cautions(tea_light()))
    assert "Decided by toy" in text
    assert "Take the toy out." in text


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_steers_the_search_for_layers():
    bench = Bench(CARDS, fineness=ROUGH)
    search = propose_layers(tea_light_to_plan(), CARDS, rounds=0, bench=bench)
    assert search.best.worst.rule == "toy"
    assert len(search.best.layout.shares) == 2
    assert {len(trial.layout.shares) for trial in search.trials} >= {0, 1, 2}


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_steers_the_search_for_a_firing():
    schedule = propose_schedule(tea_light_to_plan(), CARDS)
    assert schedule.utilisation == pytest.approx(2060.0 + abs(schedule.hours - 30.0), abs=0.1)


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_forbids_even_an_ideal_partner():
    wanted = wanted_partner(tea_light().vessel, CARDS)
    assert "toy" in {flag.rule for flag in wanted.forbids}


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_gets_its_test_piece_and_stands_on_the_sheet():
    job = job_for(sharply(tea_light()))
    (bar,) = (p for p in job.pieces if any(text.startswith("toy,") for text in p.decides))
    assert bar.kind == TOY.piece
    assert "a painted face" in job_text(job)
    page = write_sheet(job)
    assert "Take the toy out." in page
    assert "toy" in page


@pytest.mark.usefixtures("_with_toy")
def test_a_rule_added_to_the_table_decides_every_sample():
    samples = sample_verdicts(tea_light(), 8)
    assert {rule for rule, _ in samples.most_used} == {"toy"}


def test_each_rule_says_what_it_sees_and_why_no_layers_change_it():
    fixed = {rule.name for rule in RULES if rule.of_substances}
    assert fixed == {
        "peak", "density", "atmosphere", "core", "burnout", "shell", "steam", "oxygen", "crystals",
    }  # fmt: skip
    alone = {rule.name for rule in RULES if rule.of_material}
    assert alone == {"grains", "blend density"}
    unscheduled = {rule.name for rule in RULES if FIRING not in rule.sees}
    assert unscheduled == {"drying", "atmosphere", "shell"}


def test_rules_have_names_of_their_own_and_know_what_they_can_see():
    names = [rule.name for rule in RULES]
    assert len(names) == len(set(names))
    assert all(rule.asks.endswith("?") for rule in RULES)
    for flag in judge(tea_light()).flags:
        assert rule_of(flag).name == flag.rule
    with pytest.raises(ValueError, match="rule toy: sees moods"):
        replace(TOY, sees=frozenset({"moods"}))


def test_each_rule_says_whether_it_loses_the_pot_and_what_happens():
    assert all(rule.harm for rule in RULES)
    assert {rule.name for rule in RULES if not rule.loses} == {
        "density", "core", "sag", "oxygen", "reaction", "grains", "blend density", "shell",
        "surface crack",
    }  # fmt: skip
    assert TOY.loses  # one that does not say counts as one that loses
