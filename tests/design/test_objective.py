"""The chance that a pot is kept, by hand and by its limits."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from scipy.stats import qmc, spearmanr

from cofire.assessment.draws import Factor
from cofire.assessment.model_factors import factor_of
from cofire.assessment.rule import Flag
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.layers import trial
from cofire.design.objective import (
    Outcome,
    Sample,
    Swing,
    by_ratios,
    chances,
    deciding,
    draw,
    foretold,
    load_of,
    nominal,
    odds,
    swing,
)
from cofire.design.space import Space
from cofire.design.transition import Layout
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.global_search import EXAMPLES, usual
from tests.made import cylinder
from tests.planned import tea_light_to_plan


def bowl() -> Vessel:
    """The shipped bowl in the usual firing of its zones, where load and chance part ways."""
    return usual(read_vessel(EXAMPLES / "iron_foot_bowl.toml", KILNS))


def flag(rule: str, utilisation: float, unit: str = "MPa", zone: str = "a") -> Flag:
    """A flag of a rule, made up."""
    return Flag(
        rule=rule, zone=zone, utilisation=utilisation, caution=0.5, figure=1.0, limit=1.0,
        unit=unit, note="",
    )  # fmt: skip


@pytest.mark.parametrize("rule", ["drying", "metal", "crystals", "liquid"])
def test_at_the_limit_half_are_kept_and_far_from_it_all_or_none(rule: str):
    """By Φ(−ln u / ln spread), rules that see no stress as those that do."""
    spread = np.log(factor_of(rule).spread)
    for used in (1.0, np.exp(-spread), np.exp(2.0 * spread)):
        expected = ndtr(-np.log(used) / spread)
        assert chances([flag(rule, used)], 8.0).kept == pytest.approx(expected, abs=0.01)
    assert (
        chances([flag(rule, 1e-3)], 8.0).kept > 0.999 > 0.001 > chances([flag(rule, 1e3)], 8).kept
    )


def test_a_word_of_a_table_is_kept_or_not():
    assert chances([flag("atmosphere", 0.999)], 8.0).kept == pytest.approx(1.0)
    assert chances([flag("atmosphere", 1.001)], 8.0).kept == 0.0


def test_the_chance_of_no_crack_is_its_mean_over_many_draws():
    m, u = 6.0, 0.5
    factor = np.exp(np.log(factor_of("cooling").spread) * ndtri((np.arange(4000) + 0.5) / 4000))
    told = chances([flag("cooling", u, "% probability of a crack")], m).kept
    assert told == pytest.approx(np.mean(0.9 ** ((u * factor) ** m)), abs=0.003)


def test_a_rule_that_only_spoils_the_pot_counts_for_soundness_and_not_for_loss():
    told = chances([flag("sag", 40.0), flag("steam", 1e-3)], 8.0)
    assert (told.kept, told.sound, told.loser) == pytest.approx((1.0, 0.0, ""), abs=1e-6)
    told = chances([flag("sag", 1e-3), flag("steam", 100.0)], 8.0)
    assert (told.kept, told.sound, told.loser) == pytest.approx((0.0, 0.0, "steam"), abs=1e-6)


def test_what_a_year_brings_loses_a_pot_and_is_not_seen_when_the_kiln_is_opened():
    later = chances([flag("later", 9.0), flag("sag", 1e-3)], 8.0)
    assert later.kept == pytest.approx(0.0, abs=0.01)
    assert later.opened == pytest.approx(1.0, abs=1e-6)
    lean = chances([flag("later", 1e-3), flag("surface crack", 40.0)], 8.0)
    assert lean.kept == pytest.approx(1.0, abs=0.01)
    assert lean.opened == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("rule", ["drying", "metal", "cooling", "atmosphere", "liquid"])
def test_a_limit_that_could_not_be_computed_is_as_likely_passed_as_kept(rule: str):
    """Whatever the rule; two zones of one rule count once, and a known one that fails decides."""
    nan = float("nan")
    assert chances([flag(rule, nan, "")], 8.0).kept == pytest.approx(0.5)
    zones = [flag(rule, nan, ""), flag(rule, nan, "", "b"), flag(rule, 1e-3, "", "c")]
    assert chances(zones, 8.0).kept == pytest.approx(0.5)
    assert chances([flag(rule, nan, ""), flag(rule, 1e3, "")], 8.0).kept == pytest.approx(0.0)


def test_cracks_of_one_stress_are_not_counted_twice():
    unit = "% probability of a crack"
    both = [flag("later", 0.9, unit), flag("cooling", 0.8, unit)]
    alone = [chances([one], 8.0)[0] for one in both]
    assert alone[0] < alone[1]
    assert chances(both, 8.0)[0] == pytest.approx(min(alone))


def test_rules_of_stress_share_their_factor_and_others_do_not():
    """Alike they fail together but for what scatters; apart they would be kept together by 1/4."""
    one, other = flag("through crack", 1.0), flag("metal", 1.0)
    assert chances([one], 8.0)[0] == pytest.approx(0.5, abs=0.01)
    draws = np.random.default_rng(0).standard_normal((3, 400_000))
    factor = factor_of("metal")
    log = factor.common * draws[0] + factor.scatter * draws[1:]
    told = chances([one, other], 8.0)
    both = float((log < 0.0).all(axis=0).mean())
    assert both > 0.4
    assert told.sound == pytest.approx(both, abs=0.01)
    assert told.kept == told.sound  # both lose the pot
    apart = [flag("brown", 1.0), flag("metal", 1.0)]
    assert chances(apart, 8.0)[0] == pytest.approx(0.25, abs=0.01)


def test_the_load_leaves_out_what_no_layers_change():
    flags = [flag("atmosphere", 5.0), flag("brown", 0.5), flag("brown", 0.7, zone="b")]
    assert load_of(flags, ("a", "b")) == pytest.approx(0.7)


def test_what_a_search_of_layers_weighs_is_the_load_of_a_design():
    """A rule that does not lose the pot counts for less there too."""
    vessel = cylinder([("fine silver", 0.018), ("fritted body", 0.05)])
    bench = Bench(CARDS)
    (response,) = fire_candidates(bench, [vessel])
    flags = bench.judge(response).flags
    found = trial(bench, Layout((), 0.0, 0.018), response)
    assert found.load == load_of(flags, ("fine silver", "fritted body"))


def test_a_greater_load_never_costs_less_and_a_chance_outweighs_any_load():
    none = np.empty(0)
    costs = [Outcome((), load, none, none).cost for load in (0.3, 1.0, 4.0)]
    assert costs == sorted(costs)
    sure = Outcome((), 3.0, np.ones(4), np.ones(4))
    doubtful = Outcome((), 0.1, np.full(4, 0.7), np.full(4, 0.7))
    assert sure.cost < doubtful.cost


def test_samples_are_the_same_for_whoever_asks_and_do_not_touch_the_cards():
    vessel, bench = tea_light_to_plan(), Bench(CARDS, fineness=ROUGH)
    one, other = (draw(bench, vessel, 4, 7) for _ in range(2))
    assert [s.kiln for s in one] == [s.kiln for s in other]
    assert len({s.kiln for s in one}) == 4
    moved = [s.bench.cards["fine silver"]["yield_stress"].value[0] for s in one]
    assert len(set(moved)) == 4
    assert bench.cards["fine silver"] is CARDS["fine silver"]
    sure = draw(bench, vessel, 4, 7, {"yield_stress": 0.0})
    same = {s.bench.cards["fine silver"]["yield_stress"].value[0] for s in sure}
    assert same == {CARDS["fine silver"]["yield_stress"].value[0]}


def test_a_vessel_asked_alone_or_beside_another_has_the_same_chance():
    vessel, bench = tea_light_to_plan(), Bench(CARDS, fineness=ROUGH)
    samples = draw(bench, vessel, 2, 0)
    (alone,) = odds(bench, samples, [vessel], nominal(bench, [vessel]))
    two = odds(bench, samples, [vessel, vessel], nominal(bench, [vessel, vessel]))
    assert alone is not None
    for found in two:
        assert found is not None
        assert found.kept == pytest.approx(alone.kept, abs=0.02)
    assert 0.0 <= alone.good <= alone.chance <= 1.0


def test_other_ratios_give_what_firing_again_with_them_gives():
    # a ratio multiplies what a rule of stress finds, and nothing else, in each sample too
    vessel, bench = tea_light_to_plan(), Bench(CARDS, fineness=ROUGH, ratios={"later": 0.7})
    samples = draw(bench, vessel, 3, 11)
    (first,) = odds(bench, samples, [vessel], nominal(bench, [vessel]))
    other = replace(bench, ratios={"later": 2.0, "cooling": 0.4, "brown": 3.0})
    (anew,) = odds(other, samples, [vessel], nominal(other, [vessel]))
    assert first is not None
    assert anew is not None
    told = by_ratios(other, vessel, first)
    assert abs(told.chance - first.chance) > 0.01  # they do count
    for name in ("flags", "load", "lost_by", "swings"):
        assert getattr(told, name) == getattr(anew, name)
    for name in ("kept", "sound", "opened"):
        assert np.array_equal(getattr(told, name), getattr(anew, name))
    rough = by_ratios(other, vessel, nominal(bench, [vessel])[0])
    assert rough.load == anew.load
    assert not rough.kept.size


def test_a_material_of_which_nothing_is_uncertain_stays_among_a_samples_cards():
    body = CARDS["fritted body"]
    sure = replace(body, properties={
        name: replace(p, uncertainty=tuple(
            replace(u, size=1.0 if u.form == "factor" else 0.0) for u in p.uncertainty
        ))
        for name, p in body.properties.items()
    })  # fmt: skip
    vessel = tea_light_to_plan()
    bench = Bench({**CARDS, body.name: sure}, fineness=ROUGH)
    (sample,) = draw(bench, vessel, 1, 3)
    assert {f.material for f in sample.deviates} == {"fine silver"}
    assert sample.bench.cards[body.name]["poisson_ratio"] == sure["poisson_ratio"]


def test_a_property_that_decides_is_told_and_luck_is_not():
    draws = np.random.default_rng(1).standard_normal((48, 30))
    factors = [Factor("a", f"p{k}") for k in range(30)]
    samples = [
        Sample(
            Bench(CARDS), 0.0, 1.0, 0.0, 0.0,
            {f: float(d) for f, d in zip(factors, row, strict=True)},
        )
        for row in draws
    ]  # fmt: skip
    kept = 1.0 / (1.0 + np.exp(-3.0 * draws[:, 4] + 0.5 * draws[:, 7]))
    told = deciding(samples, Outcome((), 1.0, kept, kept))
    assert told[0][0] == factors[4]
    assert told[0][1] > 0.5
    assert len(told) <= 2
    assert deciding(samples, Outcome((), 1.0, np.zeros(48), np.zeros(48))) == []


@pytest.mark.long
def test_what_samples_did_to_one_design_foretells_the_chance_of_others_better_than_their_load():
    # expected of what moves the cards: it does much the same to like designs; wrong if designs
    # fired over the samples rank no better by what is foretold than by their load
    vessel = bowl()
    bench = Bench(CARDS, fineness=ROUGH)
    metal, ceramic, below = bench.zones(vessel)
    space = Space(vessel, metal, ceramic, below, 2)
    points = qmc.Sobol(space.size, seed=3).random_base2(6)
    designs = [d for point in points if (d := space.design(point)) is not None]
    vessels = [space.laid(design) for design in designs]
    known = nominal(bench, vessels)
    some = sorted((k for k, o in enumerate(known) if o is not None), key=lambda k: known[k].load)
    some = some[:12]
    samples = draw(bench, vessel, 64, 6)  # of fewer the truth itself is luck
    fired = odds(bench, samples, [vessels[k] for k in some], [known[k] for k in some])
    truth = [outcome.chance for outcome in fired]
    told = [foretold(known[k], fired[-1].swings).chance for k in some]
    loads = [-known[k].load for k in some]
    assert spearmanr(told, truth).statistic > 0.9 > spearmanr(loads, truth).statistic
    assert np.abs(np.subtract(told, truth)).max() < 0.06


def test_a_design_foretells_its_own_chance_exactly_and_an_unfireable_sample_is_lost():
    vessel = tea_light_to_plan()
    bench = Bench(CARDS, fineness=ROUGH)
    known = nominal(bench, [vessel])
    samples = draw(bench, vessel, 4, 5)
    (fired,) = odds(bench, samples, [vessel], known)
    told = foretold(known[0], fired.swings)
    strong = [f.rule for f in known[0].flags if f.counted > 0.01]
    assert strong
    assert told.kept == pytest.approx(fired.kept, abs=1e-3)
    assert told.sound == pytest.approx(fired.sound, abs=1e-3)
    assert told.opened == pytest.approx(fired.opened, abs=1e-3)
    lost = foretold(known[0], (Swing(10.0, None), *fired.swings[1:]))
    assert lost.kept[0] == 0.0
    assert swing(known[0].flags, None, 10.0) == Swing(10.0, None)


def test_of_two_that_keep_as_many_the_better_word_costs_less():
    some = np.full(4, 0.7)
    good = flag("sag", 0.4)
    doubtful = replace(good, caution=0.3)
    go, caution = (Outcome((f,), 0.4, some, some).cost for f in (good, doubtful))
    assert go < caution < go + 0.02
