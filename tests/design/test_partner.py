"""Which partner a zone would need, its ranges, and what comes nearest."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from cofire.assessment.check import check_vessel
from cofire.assessment.rule import NO, Flag
from cofire.assessment.verdict import Verdict
from cofire.design.candidates import Bench
from cofire.design.partner import (
    CHANGES,
    FARTHEST,
    Range,
    Wanted,
    figures,
    ideal_partner,
    nearest,
    renamed,
    wanted_partner,
    with_expansion,
    with_set_point,
    with_shrinkage,
    with_timing,
)
from cofire.design.starting import started
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import trace
from cofire.physics.history import histories
from cofire.report.partner import apart, partner_json, partner_text
from cofire.vessel import Band
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.planned import tea_light_to_plan

pytestmark = pytest.mark.usefixtures("solids_are_rough")

EXAMPLES = Path(__file__).parents[2] / "examples"
SILVER, FRIT = CARDS["fine silver"], CARDS["fritted body"]


@pytest.fixture(scope="module")
def wanted():
    return wanted_partner(tea_light_to_plan(), CARDS)


@pytest.fixture
def ends_are_rough(monkeypatch: pytest.MonkeyPatch) -> None:
    """For what is no matter of where a range ends."""
    monkeypatch.setattr("cofire.design.partner.HALVINGS", 0)


def alone(*cards, warm: float = 700.0):
    """Figures of cards in the small vessel's firing."""
    history = Bench({c.name: c for c in cards}, True).history(
        tea_light_to_plan().firing, list(cards)
    )
    return [figures(history, row, warm) for row in range(len(cards))]


def test_an_ideal_partner_shrinks_and_expands_as_the_zone_but_keeps_its_own_strength() -> None:
    ideal = ideal_partner(SILVER, FRIT, "ideal")
    zone, own = alone(SILVER, ideal)
    assert own.expansion == pytest.approx(zone.expansion, rel=1e-6)
    assert own.shrinkage == pytest.approx(zone.shrinkage, rel=1e-6)
    assert own.half_way == pytest.approx(zone.half_way, abs=0.5)
    assert ideal.kind == "ceramic"
    assert ideal["strength"] == FRIT["strength"]
    assert ideal["drying_shrinkage"].scalar == SILVER["drying_shrinkage"].scalar
    assert ideal["full_density"].scalar <= 1.0
    assert SILVER["fired_density"].scalar < ideal["fired_density"].scalar
    assert ideal["fired_density"].scalar <= FRIT["fired_density"].scalar


@pytest.mark.parametrize("zone", ["soda-lime powder body", "talc body", "leucite porcelain"])
def test_a_metal_can_be_made_to_fit_any_body(zone) -> None:
    body = CARDS[zone]
    ideal = ideal_partner(body, CARDS["copper"], "ideal")
    one, two = alone(body, ideal)
    assert two.expansion == pytest.approx(one.expansion, rel=1e-6)
    assert two.shrinkage == pytest.approx(one.shrinkage, rel=1e-6, abs=1e-9)
    curve = trace(tea_light_to_plan().firing)
    water = [histories([c], curve, extend=True).strain.get("bound water") for c in (body, ideal)]
    assert np.array_equal(*water)  # also while the water of a clay leaves
    assert ideal.kind == "metal"


def test_each_property_changes_alone_and_by_what_was_asked() -> None:
    ideal = ideal_partner(SILVER, FRIT, "a")
    named = [
        ideal,
        replace(with_expansion(ideal, 1e-6), name="b"),
        replace(with_shrinkage(ideal, 0.02), name="c"),
        replace(with_timing(ideal, 40.0), name="d"),
    ]
    base, wider, shorter, later = alone(*named)
    assert wider.expansion - base.expansion == pytest.approx(1e-6, rel=0.03)
    assert wider.shrinkage == pytest.approx(base.shrinkage)
    assert shorter.shrinkage - base.shrinkage == pytest.approx(0.02, abs=0.003)
    assert shorter.expansion == pytest.approx(base.expansion)
    # half of a smaller shrinkage, as the later one is cut short by the end of the hold
    assert 15.0 < later.half_way - base.half_way < 50.0
    stiff = with_set_point(FRIT, 50.0)
    frit, later_frit = alone(FRIT, replace(stiff, name="stiff"))
    # less than its glass is stiffened: the last of its densification softens it too
    assert 20.0 < later_frit.set_point - frit.set_point < 51.0


def test_ranges_hold_the_ideal_and_end_where_a_flag_forbids_more(wanted) -> None:
    assert wanted.zone.name == "fine silver"
    assert wanted.template.name == "fritted body"
    assert not wanted.forbids
    assert {r.name for r in wanted.ranges} == set(CHANGES)
    for r in wanted.ranges:
        assert r.low <= r.ideal <= r.high
        for flag in (r.low_set_by, r.high_set_by):
            assert flag is None or flag.utilisation > flag.caution
    expansion = wanted.ranges[0]
    assert expansion.name == "expansion"
    assert expansion.low_set_by is not None
    assert expansion.high_set_by is not None
    assert 0.05e-6 < expansion.high - expansion.low < 2.0 * FARTHEST["expansion"]
    assert wanted.stands < wanted.matures_below


def test_just_outside_a_range_is_no_go_and_inside_is(wanted) -> None:
    """Found again by firing two partners, a twentieth of the range either side of its end."""
    vessel, expansion = tea_light_to_plan(), wanted.ranges[0]
    assert expansion.high_set_by is not None
    width = expansion.high - expansion.ideal
    ideal = ideal_partner(SILVER, FRIT, "x")
    grades = []
    for share in (0.93, 1.10):
        partner = replace(with_expansion(ideal, share * width), name="x")
        cards = {**CARDS, "x": partner}
        bands = tuple(
            replace(b, material=renamed(b.material, FRIT.name, "x")) for b in vessel.bands
        )
        from cofire.design.candidates import ROUGH, fire_candidates

        bench = Bench(cards, True, ROUGH)
        (fired,) = fire_candidates(bench, [replace(vessel, bands=bands)])
        flags = [f for f in bench.judge(fired).flags if f.rule == expansion.high_set_by.rule]
        grades.append(max(flag.grade for flag in flags))
    assert grades == [0, 1]


def test_a_value_is_apart_only_outside_a_closed_end() -> None:
    flag = Flag(
        rule="cooling",
        zone="x",
        utilisation=1.0,
        caution=0.5,
        figure=0.0,
        limit=0.0,
        unit="",
        note="",
    )
    closed = Range("expansion", 5.0, 4.0, 6.0, flag, flag)
    assert [closed.apart(v) for v in (3.0, 4.5, 8.0)] == [-1.0, 0.0, 2.0]
    assert replace(closed, high_set_by=None).apart(8.0) == 0.0


def test_the_nearest_come_first_and_the_given_partner_is_where_its_expansion_puts_it(
    wanted,
) -> None:
    cards, mixtures = nearest(wanted, tea_light_to_plan(), CARDS, count=20)
    order = [(bool(near.forbids), near.distance) for near in cards]
    assert order == sorted(order)
    names = [near.name for near in cards]
    assert "fritted body" in names
    assert "fine silver" not in names
    frit = cards[names.index("fritted body")]
    expansion = wanted.ranges[0]
    assert frit.apart["expansion"] == pytest.approx(frit.figures.expansion - expansion.low)
    assert "expansion -" in apart(frit)
    alumina = cards[names.index("alumina")]
    assert alumina.too_hot > 300.0
    for mixture in mixtures:
        ends = mixture.name.split(" / ")
        assert len(ends) == 2


def test_a_mixture_of_two_bodies_bridges_a_range_that_neither_meets(wanted) -> None:
    low = with_expansion(ideal_partner(SILVER, FRIT, "low"), -3e-6)
    high = with_expansion(ideal_partner(SILVER, FRIT, "high"), 3e-6)
    cards = {"fine silver": SILVER, "low": low, "high": high}
    _, mixtures = nearest(wanted, tea_light_to_plan(), cards)
    assert mixtures[0].name == "50 % low / 50 % high"
    assert mixtures[0].apart["expansion"] == 0.0
    assert mixtures[0].distance < 1e-9


@pytest.mark.usefixtures("ends_are_rough")
def test_a_flag_that_even_the_ideal_partner_fails_is_named() -> None:
    vessel = tea_light_to_plan()
    top = vessel.firing.segments[1]
    long = replace(vessel.firing, segments=(*vessel.firing.segments[:1],
                                            replace(top, hold=40.0 * 3600.0)))  # fmt: skip
    wanted = wanted_partner(replace(vessel, firing=long), CARDS, of="ceramic")
    assert "sag" in {flag.rule for flag in wanted.forbids}
    text = partner_text(wanted, [], [], vessel.name)
    assert "Even the ideal partner does not reach go" in text
    assert "sag of fritted body" in text


@pytest.mark.usefixtures("ends_are_rough")
def test_a_blend_that_fails_is_named_without_the_number_of_its_trial() -> None:
    vessel = read_vessel(EXAMPLES / "silver_foot_vessel.toml", KILNS)
    wanted = wanted_partner(vessel, CARDS)
    assert any("ideal partner" in flag.zone for flag in wanted.forbids)
    text = " ".join(partner_text(wanted, [], [], vessel.name).split())
    told = partner_json(wanted, [], [], vessel.name)
    assert "sag of 17 % fine silver / 83 % ideal partner at" in text
    assert "17 % fine silver / 83 % ideal partner" in told
    assert not re.search(r"ideal partner \d", text + told)


def test_the_text_and_the_object_say_the_same(wanted) -> None:
    cards, mixtures = nearest(wanted, tea_light_to_plan(), CARDS)
    text = partner_text(wanted, cards, mixtures, "tea-light")
    whole = json.loads(partner_json(wanted, cards, mixtures, "tea-light"))
    assert whole["nearest"][0]["name"] in text
    low = whole["ranges"]["expansion_1e-6_per_K"]["from"]
    assert f"{low:.1f}" in text
    assert whole["zone"] == "fine silver"
    assert whole["even_the_ideal_fails"] == []


def test_blends_arerenamed_with_their_zone() -> None:
    assert renamed("fine silver + Fritted Body = 40", "fritted body", "x") == "fine silver + x = 40"
    assert renamed("Fritted body", "fritted body", "x") == "x"
    assert renamed("fine silver", "fritted body", "x") == "fine silver"


def test_a_vessel_without_two_zones_and_a_zone_without_a_window_are_refused() -> None:
    vessel = tea_light_to_plan()
    with pytest.raises(InputError, match="one metal and one ceramic"):
        wanted_partner(replace(vessel, bands=(Band("fritted body", 0.0, 60e-3),)), CARDS)
    never = {**CARDS, "fine silver": SILVER.scaled("least_density", 0.979 / 0.85)}
    with pytest.raises(ModelError, match="window"):
        wanted_partner(vessel, never)


def test_figures_are_finite_for_every_shipped_card() -> None:
    some = alone(*CARDS.values())
    assert all(np.isfinite([f.expansion, f.shrinkage, f.half_way, f.set_point]).all() for f in some)


@pytest.mark.usefixtures("ends_are_rough")
def test_a_zone_held_beyond_its_table_is_said_and_the_ideal_partner_is_not() -> None:
    """The firing is 10 K hotter than the last row of the zone's modulus."""
    silver = CARDS["fine silver"]
    modulus = silver["young_modulus"]
    assert modulus.temperature is not None
    short = replace(modulus, temperature=modulus.temperature - 100.0)
    card = replace(silver, properties={**silver.properties, "young_modulus": short})
    wanted = wanted_partner(tea_light_to_plan(), {**CARDS, "fine silver": card})
    (line,) = wanted.extended
    assert line.startswith("fine silver: young_modulus held at its 850 °C value up to ")
    assert f"Beyond its table: {line}." in " ".join(partner_text(wanted, [], [], "v").split())
    assert json.loads(partner_json(wanted, [], [], "v"))["beyond_tables"] == [line]


def test_a_card_that_the_firing_itself_forbids_comes_after_those_it_does_not() -> None:
    """Copper turns to oxide in air, whatever its expansion: a check of it says so."""
    vessel = read_vessel(EXAMPLES / "gold_foot_cup.toml", KILNS)
    vessel = replace(vessel, firing=started(vessel, CARDS).firing, left_open=None)
    body = CARDS["leucite porcelain"]
    windows = Wanted(body, CARDS["gold"], 700.0, 2000.0, 300.0, (), (), None, 0)
    some = {name: CARDS[name] for name in ("copper", "gold", "leucite porcelain")}
    (gold, copper), _ = nearest(windows, vessel, some)
    assert (gold.name, copper.name) == ("gold", "copper")
    assert gold.forbids == ()
    assert "atmosphere" in {flag.rule for flag in copper.forbids}
    told = apart(copper)
    assert told.startswith("within every range; but no in this firing by its ")
    assert "grade" not in told
    foot = Band("copper", *(getattr(vessel.bands[0], end) for end in ("low", "high")))
    judged = check_vessel(replace(vessel, bands=(foot, *vessel.bands[1:])), CARDS, quick=True)
    assert {f.rule for f in judged.verdict.flags if f.zone == "copper" and f.grade == NO} >= {
        flag.rule for flag in copper.forbids
    }


def test_what_the_ideal_leaves_short_of_go_is_told_with_what_the_present_partner_makes() -> None:
    def sag(used: float) -> Flag:
        return Flag(
            zone="blend", utilisation=used, caution=0.2, figure=1.0, limit=5.0, unit="%",
            note="", rule="sag",
        )  # fmt: skip

    wanted = Wanted(
        CARDS["leucite porcelain"], CARDS["gold"], 700.0, 1200.0, 1000.0, (), (sag(0.23),),
        Verdict((sag(0.18),)), 1,
    )  # fmt: skip
    told = " ".join(partner_text(wanted, [], [], "cup").split())
    assert "leave it aside. With gold as it is, by that rule alone: go, 0.18 at most." in told
