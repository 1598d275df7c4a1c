"""How sure a verdict is: sampled cards, batches, probabilities, and what to measure next."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr
from typer.testing import CliRunner

from cofire.assessment.chance import cracking
from cofire.assessment.draws import REACH, Factor, bounds, design, factors_of, moved, normal, varied
from cofire.assessment.model_factors import ModelFactor, factor_of
from cofire.assessment.rule import CAUTION, GO, NO, Flag
from cofire.assessment.verdict import LOSING, SEEN, crack_chance, judge, worst_first
from cofire.cli import app
from cofire.cli.common import DEFECT, INPUT_WRONG
from cofire.design.objective import chances
from cofire.errors import InputError, ModelError
from cofire.evidence import uncertainty
from cofire.evidence.measure_next import MEASURED_BY, measure_next
from cofire.evidence.uncertainty import Samples, sample_verdicts
from cofire.materials.card import Card, Property, Uncertainty, pure_cards
from cofire.materials.card_file import contradictions
from cofire.materials.properties import SPECS
from cofire.numerics import Array
from cofire.physics.paste import paste_of
from cofire.report.uncertainty import percent, uncertainty_row, uncertainty_text
from cofire.report.verdict import as_stress
from tests.executors import NO_CLUSTER, an_executor
from tests.fired import CARDS, TEA_LIGHT, tea_light

pytestmark = pytest.mark.usefixtures("solids_are_rough")

SILVER, BODY = "fine silver", "fritted body"
deviates = st.floats(-REACH, REACH)


def stated(name: str, value: list[float], uncertainty: Uncertainty) -> Property:
    """A property whose rows all state the same uncertainty."""
    rows = np.array(value)
    return Property(name, "x", None, rows, (uncertainty,) * rows.size, ("",), ("",))


@cache
def few(seed: int = 0) -> Samples:
    """Eight samples of the tea-light vessel, coarse as its response is."""
    return sample_verdicts(tea_light(), 8, seed)


# --- cards ----------------------------------------------------------------------------------------


@given(z=deviates)
def test_a_card_moves_as_its_uncertainty_says(z: float):
    """Lognormal for per cent and factors, with the card's value the median; normal for "+-"."""
    strength = stated("strength", [50e6], Uncertainty("factor", 2.0))
    assert moved(strength, z) == pytest.approx([50e6 * 2.0**z])
    modulus = stated("young_modulus", [60e9, 50e9], Uncertainty("%", 0.1))
    assert np.log(moved(modulus, z) / modulus.value) == pytest.approx(
        z * np.sqrt(np.log(1.01)), abs=1e-12
    )
    density = stated("green_density", [0.6], Uncertainty("+-", 0.03))
    assert moved(density, z) == pytest.approx([0.6 + 0.03 * z])


@given(z=deviates)
def test_a_viscosity_moves_in_decades(z: float):
    table = [16.0, 9.0, 4.0]
    shifted = moved(stated("glass_viscosity", table, Uncertainty("+-", 0.8)), z)
    assert shifted - table == pytest.approx(0.8 * z)
    tenfold = moved(stated("glass_viscosity", table, Uncertainty("factor", 10.0)), z)
    assert tenfold - table == pytest.approx(z)


def test_one_standard_uncertainty_is_one_standard_deviation():
    z = design(1024, 1, 3)[:, 0]
    assert abs(z).max() <= REACH
    assert z.mean() == pytest.approx(0.0, abs=1e-3)
    assert z.std() == pytest.approx(0.987, abs=2e-3)  # of a normal cut off at 3: √0.9733
    values = np.array([moved(stated("strength", [1.0], Uncertainty("%", 0.3)), d)[0] for d in z])
    assert values.std() / values.mean() == pytest.approx(0.3, rel=0.05)  # the cut takes 2 %


def test_a_design_is_even_in_every_factor_and_known_by_its_seed():
    points = design(64, 5, 1)
    share = (ndtr(points) - ndtr(-REACH)) / (1.0 - 2.0 * ndtr(-REACH))
    for column in share.T:  # each 64th of the distribution holds one point
        assert sorted((column * 64).astype(int)) == list(range(64))
    assert np.array_equal(points, design(64, 5, 1))
    assert not np.array_equal(points, design(64, 5, 2))
    assert np.array_equal(design(40, 5, 1), points[:40])
    assert normal(np.array([0.5])) == pytest.approx([0.0], abs=1e-12)


@pytest.mark.parametrize("card", CARDS.values(), ids=lambda card: card.name)
def test_every_shipped_card_stays_possible_however_its_properties_move(card: Card):
    """As a card reader would take it, but that the density wanted may be missed."""
    factors = factors_of([card])
    rng = np.random.default_rng(len(card.name))
    for _ in range(12):
        held: Counter[Factor] = Counter()
        z = REACH * rng.choice([-1.0, -0.5, 0.0, 0.5, 1.0], len(factors))
        new = varied([card], factors, z, held)[card.name]
        wrong = [w for w in contradictions(new.properties, card.densification)
                 if not w.startswith("densities")]  # fmt: skip
        assert wrong == []
        assert paste_of(new).water > -1e-9
        assert new.scalar("green_density") < new.scalar("fired_density")
        assert new.scalar("fired_density") < new.scalar("full_density") <= 1.0
        for name, values in new.properties.items():
            least, most = bounds(name)
            assert np.all((values.value >= least) & (values.value <= most))


def test_a_card_at_its_own_values_is_the_card():
    for card in CARDS.values():
        factors = factors_of([card])
        held: Counter[Factor] = Counter()
        new = varied([card], factors, np.zeros(len(factors)), held)[card.name]
        assert not held
        for name, values in new.properties.items():
            np.testing.assert_allclose(values.value, card[name].value, rtol=1e-12)


def test_bounds_of_a_temperature_are_in_kelvin_as_the_card_is():
    assert bounds("firing_ceiling") == (400.0 + 273.15, 2000.0 + 273.15)
    assert bounds("strength") == (SPECS["strength"].least, SPECS["strength"].most)


def test_a_property_ends_at_its_bound_and_is_spread_up_to_it():
    body = CARDS[BODY]
    factors = (Factor(BODY, "free_quartz"), Factor(BODY, "strength"))
    held: Counter[Factor] = Counter()
    drawn = [varied([body], factors, np.array([z, z]), held)[BODY].scalar("free_quartz")
             for z in (-3.0, -2.0, -1.0, 0.0)]  # fmt: skip
    assert drawn[0] == pytest.approx(0.0, abs=1e-12)  # 8 % less three times 6 %
    assert drawn[-1] == pytest.approx(0.08)
    assert np.all(np.diff(drawn) > 0.005)
    assert not held


def test_what_cannot_be_within_reach_is_held_and_counted():
    body = CARDS[BODY]
    dense = body["green_density"]
    body = replace(body, properties={**body.properties, "green_density": replace(
        dense, value=np.array([0.99]), uncertainty=(Uncertainty("+-", 0.001),))})  # fmt: skip
    held: Counter[Factor] = Counter()
    new = varied([body], (Factor(BODY, "green_density"),), np.array([0.5]), held)[BODY]
    assert new.scalar("green_density") < new.scalar("fired_density")
    assert held == {Factor(BODY, "green_density"): 1}


def test_a_body_measured_as_fired_stays_so_when_its_fired_density_moves():
    body = CARDS[BODY]
    factors = (Factor(BODY, "fired_density"),)
    new = varied([body], factors, np.array([-1.0]), Counter())[BODY]
    assert new["strength"].at_density == new.scalar("fired_density") == pytest.approx(0.921)


def test_the_parts_of_a_blend_move_and_nothing_twice():
    blend = CARDS[SILVER], CARDS[BODY]
    named = factors_of([*blend, *blend])
    assert len(named) == len(set(named))
    assert {f.material for f in named} == {SILVER, BODY}
    assert Factor(BODY, "firing_shrinkage") not in named  # no flag reads it
    assert [*pure_cards([*blend, *blend])] == [SILVER, BODY]


def test_every_property_says_what_measures_it():
    assert MEASURED_BY.keys() == SPECS.keys()


# --- batches --------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_answer_and_another_another():
    again = sample_verdicts(tea_light(), 8, 0)
    assert np.array_equal(again.utilisation, few().utilisation, equal_nan=True)
    assert not np.array_equal(few(1).utilisation, few().utilisation)


def test_samples_at_the_cards_own_values_have_the_loads_of_the_check(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setattr(uncertainty, "design", lambda count, d, seed: np.zeros((count, d)))
    samples = sample_verdicts(tea_light(), 8)
    verdict = judge(tea_light())
    for flag in verdict.flags:
        column = samples.utilisation[:, samples.flags.index((flag.rule, flag.zone))]
        np.testing.assert_allclose(column, flag.utilisation, rtol=1e-6)
    assert np.all(samples.grade == verdict.grade)
    assert samples.go.value < 0.05
    assert samples.no.value > 0.9


def test_a_sample_finds_the_same_alone_and_beside_others():
    fixed = (tea_light().vessel, tea_light().cards, tea_light().trace, few().factors)
    ((alone,), _) = uncertainty._judge_some((*fixed, few().deviates[[5]]))
    ((_, _, among), _) = uncertainty._judge_some((*fixed, few().deviates[[1, 2, 5]]))
    assert alone is not None
    assert alone == among


@pytest.mark.parametrize("kind", NO_CLUSTER)
def test_samples_are_the_same_whoever_fires_them(kind):
    with an_executor(kind) as executor:
        found = sample_verdicts(tea_light(), 8, executor=executor)
    assert np.array_equal(found.utilisation, few().utilisation, equal_nan=True)


def test_a_sample_that_cannot_be_fired_is_left_out_and_counted(monkeypatch: pytest.MonkeyPatch):
    fire = uncertainty.fire_vessel

    def stubborn(vessel, known, **named):
        if np.isclose(known[SILVER]["poisson_ratio"].scalar, bad):
            raise ModelError("no equilibrium")
        return fire(vessel, known, **named)

    place = few().factors.index(Factor(SILVER, "poisson_ratio"))
    bad = moved(CARDS[SILVER]["poisson_ratio"], few().deviates[3, place])[0]
    monkeypatch.setattr(uncertainty, "fire_vessel", stubborn)
    monkeypatch.setattr(uncertainty, "LOST", 0.2)
    samples = sample_verdicts(tea_light(), 8)
    assert samples.failed == 1
    kept = [0, 1, 2, 4, 5, 6, 7]
    assert np.array_equal(samples.deviates, few().deviates[kept])
    strong = few().flags.index(("drying", f"{SILVER} | {BODY}"))
    own = samples.flags.index(("drying", f"{SILVER} | {BODY}"))
    np.testing.assert_allclose(samples.utilisation[:, own], few().utilisation[kept, strong])
    monkeypatch.setattr(uncertainty, "LOST", 0.1)
    with pytest.raises(ModelError, match="1 of 8 samples"):
        sample_verdicts(tea_light(), 8)


@pytest.mark.parametrize("count", [7, 5000])
def test_too_few_or_too_many_samples_are_refused(count: int):
    with pytest.raises(InputError, match="allowed: 8 to 4096"):
        sample_verdicts(tea_light(), count)


def test_a_negative_seed_is_refused():
    with pytest.raises(InputError, match="seed -1"):
        sample_verdicts(tea_light(), 8, -1)


# --- probabilities
# --------------------------------------------------------------------------------------


def made(utilisation: Array, caution: float = 0.5, **more: object) -> Samples:
    """Samples of two flags, "drying" and "cooling", and as many factors as deviates have."""
    z = more.pop("deviates", np.zeros((len(utilisation), 1)))
    assert isinstance(z, np.ndarray)
    names = list(SPECS)[: z.shape[1]]
    whole = Samples(
        tuple(Factor(BODY, name) for name in names), z, (("drying", BODY), ("cooling", BODY)),
        utilisation, np.full(utilisation.shape, caution), 0, {}, 0,
    )  # fmt: skip
    return replace(whole, **more)  # type: ignore[arg-type]


@pytest.fixture
def exact(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rules that are never wrong."""
    right = ModelFactor(1.0, 1.0, 1.0, "made up")
    both = {"drying": right, "cooling": right}
    monkeypatch.setattr("cofire.assessment.model_factors.MODEL_FACTORS", both)


@pytest.mark.usefixtures("exact")
def test_verdicts_are_graded_as_flags_are():
    samples = made(np.array([[0.4, 0.1], [0.6, 0.1], [0.1, 1.1], [np.nan, 0.1], [np.nan, 1.2]]))
    assert samples.grade.tolist() == [GO, CAUTION, NO, CAUTION, NO]
    assert samples.worst.tolist() == [0.4, 0.6, 1.1, 1.0, 1.2]
    assert samples.go.value == pytest.approx(0.2)
    assert samples.no.value == pytest.approx(0.5)  # of an unknown limit as likely as not
    assert samples.most_used == {("drying", BODY): 0.6, ("cooling", BODY): 0.4}


@pytest.mark.usefixtures("exact")
def test_a_piece_is_sound_if_nothing_cracks_and_no_other_limit_is_passed():
    """The cooling flag itself does not count twice: it is in the probability of a crack.

    By Weibull's law a crack comes with 1 - 0.9^(u^m), at u = 1 one in ten.
    """
    m = 10.0
    utilisation = np.array([[0.4, 1.1], [1.1, 0.0], [0.4, 1.0], [0.2, 0.0]])
    samples = made(utilisation, (np.log(0.99) / np.log(0.9)) ** (1.0 / m))
    whole = 0.9 ** (1.1**m)
    assert samples.survival.value == pytest.approx((whole + 1.0 + 0.9 + 1.0) / 4)
    for told in (samples.sound, samples.not_lost, samples.all_well):
        assert told.value == pytest.approx((whole + 0.0 + 0.9 + 1.0) / 4)
        assert told.low < told.value < told.high


def test_a_rule_that_may_be_wrong_moves_a_sure_go_and_a_sure_no_towards_the_middle():
    """Φ(ln(1/u) / ln spread) for one sample and one rule, its scatter and common part together."""
    own = np.log(factor_of("drying").spread)
    for used in (0.7, 1.4):
        samples = made(np.array([[used, 1e-6]]))
        assert samples.no.value == pytest.approx(float(ndtr(np.log(used) / own)), abs=0.02)


def test_a_probability_of_a_crack_holds_the_error_of_its_rule():
    """Mean over the factor f of 1 - exp(-R f^m), by a fine sum over f."""
    risk, m = 0.03, 8.0
    caution = (np.log(0.99) / np.log(0.9)) ** (1.0 / m)
    used = (risk / -np.log1p(-0.1)) ** (1.0 / m)
    samples = made(np.array([[1e-6, used]]), caution)
    z = np.linspace(-6.0, 6.0, 4001)
    weight = np.exp(-0.5 * z**2)
    factor = np.exp(np.log(factor_of("cooling").spread) * z)
    mean = float((-np.expm1(-risk * factor**m) * weight).sum() / weight.sum())
    assert 1.0 - samples.survival.value == pytest.approx(mean, abs=0.01)
    assert cracking(used, m, "cooling") == pytest.approx(mean, abs=0.005)


@pytest.mark.parametrize("factor", [0.05, 0.3, 1.0])
def test_samples_of_a_firing_hold_the_error_of_a_rule_once(
    monkeypatch: pytest.MonkeyPatch, factor: float
):
    """From the verdict on a fired vessel to the chance that no body cracks on cooling.

    Expected: with cards at their own values that of `cracking`, to what 128 draws leave. With the
    factor in twice a safe pot read far worse, a hopeless one better.
    """
    monkeypatch.setattr(uncertainty, "design", lambda count, d, seed: np.zeros((count, d)))

    def scaled(response):
        return worst_first(
            replace(f, utilisation=factor * f.utilisation) if f.rule == "cooling" else f
            for f in judge(response).flags
        )

    monkeypatch.setattr(uncertainty, "judge", scaled)
    samples = sample_verdicts(tea_light(), 8)
    m = CARDS[BODY]["weibull_modulus"].scalar
    used = max(f.utilisation for f in scaled(tea_light()).flags if f.rule == "cooling")
    told = cracking(used, m, "cooling")
    assert 1.0 - samples.survival.value == pytest.approx(told, abs=0.01)


def test_not_lost_is_asked_as_in_a_plan(monkeypatch: pytest.MonkeyPatch):
    """With cards at their own values, that of `objective.chances`, for rules of every kind.

    Expected to what 128 draws of the factors leave; one limit could not be computed.
    """
    monkeypatch.setattr(uncertainty, "design", lambda count, d, seed: np.zeros((count, d)))
    for scale, unknown in ((0.1, ""), (0.3, "metal"), (0.1, "drying")):
        flags = [
            replace(f, utilisation=(np.nan if f.rule == unknown else scale) * f.utilisation)
            for f in judge(tea_light()).flags
        ]
        monkeypatch.setattr(uncertainty, "judge", lambda response, f=flags: worst_first(f))
        samples = sample_verdicts(tea_light(), 8)
        told = chances(flags, CARDS[BODY]["weibull_modulus"].scalar)
        assert samples.not_lost.value == pytest.approx(told.kept, abs=0.02)
        assert samples.all_well.value == pytest.approx(told.sound, abs=0.02)
        assert samples.sound.value == pytest.approx(told.opened, abs=0.02)


@pytest.mark.usefixtures("exact")
def test_what_only_spoils_a_pot_does_not_lose_it_and_what_nobody_sees_is_no_crack():
    """One pot too porous, one with a shallow crack, one that sags, one that grows a crack later."""
    rules = ("density", "surface crack", "sag", "later", "through crack")
    samples = replace(
        made(np.ones((5, 2))), flags=tuple((rule, BODY) for rule in rules),
        utilisation=1e-3 + 9.0 * np.eye(5), caution=np.full((5, 5), 0.77),
    )  # fmt: skip
    assert samples.within(LOSING)[:, 0] == pytest.approx([1.0, 1.0, 1.0, 0.0, 0.0], abs=0.02)
    assert samples.within(SEEN)[:, 0] == pytest.approx([1.0, 0.0, 0.0, 1.0, 0.0], abs=0.02)
    assert samples.grade.tolist() == [NO, CAUTION, NO, NO, NO]
    assert samples.no.value == pytest.approx(0.8, abs=0.02)
    assert samples.not_lost.value == pytest.approx(0.6, abs=0.02)
    assert samples.fire
    assert samples.doubt == pytest.approx(0.4, abs=0.02)
    row = uncertainty_row(samples, measure_next(samples))
    text = uncertainty_text(samples, measure_next(samples))
    assert row["not_lost"]["p"] == pytest.approx(samples.not_lost.value)  # type: ignore[index]
    assert row["call"] == "fire it"
    assert f"not lost {percent(samples.not_lost.value)}" in text
    assert ": fire it;" in text


def test_what_is_used_up_most_is_not_said_to_decide():
    """A verdict is decided by what comes first, be it used up less: one word for each."""
    samples = made(np.array([[0.4, 0.1], [0.6, 0.1], [0.1, 1.1], [0.7, 0.1]]))
    row = uncertainty_row(samples, measure_next(samples))
    text = uncertainty_text(samples, measure_next(samples))
    assert row["used_up_most"] == [
        {"rule": "drying", "zone": BODY, "share": 0.75},
        {"rule": "cooling", "zone": BODY, "share": 0.25},
    ]
    assert f"used up most (in so many of the samples): drying, {BODY}: 75 %" in text
    assert "decided" not in text
    assert "decided_by" not in row


def test_a_limit_that_could_not_be_computed_is_not_surely_kept_and_the_text_says_so():
    samples = made(np.array([[np.nan, 1e-3]] * 8))
    for told in (samples.not_lost, samples.sound, samples.all_well, samples.no):
        assert told.value == pytest.approx(0.5, abs=0.01)
    row = uncertainty_row(samples, measure_next(samples))
    assert row["unknown"] == [{"rule": "drying", "zone": BODY}]
    text = " ".join(uncertainty_text(samples, measure_next(samples)).split())
    assert f"not computed, each counted as likely passed as kept: drying, {BODY}" in text


@pytest.mark.parametrize("m", [5.0, 9.0, 20.0])
@pytest.mark.parametrize("used", [0.8, 1.0, 3.0, 5.0, 10.0])
def test_the_chance_of_a_flag_is_the_mean_over_its_factor_however_far_off_the_limit(
    used: float, m: float
):
    """By a fine sum over the factor; also where the risk is so large that a crack is certain."""
    flag = Flag(
        zone=BODY, utilisation=used, caution=(np.log(0.99) / np.log(0.9)) ** (1.0 / m),
        figure=100.0 * (1.0 - 0.9 ** (used**m)), limit=10.0, unit="% probability of a crack",
        note="", rule="cooling",
    )  # fmt: skip
    z = np.linspace(-7.0, 7.0, 20_001)
    weight = np.exp(-0.5 * z**2)
    log = m * (np.log(used) + np.log(factor_of("cooling").spread) * z) + np.log(-np.log(0.9))
    exact = float((-np.expm1(-np.exp(np.minimum(log, 300.0))) * weight).sum() / weight.sum())
    assert crack_chance(flag) == pytest.approx(exact, abs=0.001)


def test_every_probability_of_a_check_holds_the_error_of_its_rule():
    """No flag with a probability is printed without it."""
    verdict = judge(tea_light())
    told = [f for f in verdict.flags if f.unit.startswith("% probability")]
    assert told
    for flag in told:
        chance = crack_chance(flag)
        assert chance is not None
        assert "may be wrong by" in as_stress(flag)
        assert abs(chance - flag.figure / 100.0) < 1.0
    cooling = max(crack_chance(f) or 0.0 for f in told if f.rule == "cooling")
    assert verdict.crack_probability == cooling


def test_intervals_shrink_as_the_root_of_the_number_of_samples():
    widths = []
    for count in (64, 256):
        utilisation = np.where(np.arange(count)[:, None] % 4 == 0, 1.5, 0.2) * np.ones(2)
        probability = made(utilisation).no
        widths.append(probability.high - probability.low)
    assert widths[0] / widths[1] == pytest.approx(2.0, rel=0.05)


# --- what to measure next -------------------------------------------------------------------------

WEIGHT = np.array([0.6, 0.3, 0.0, 0.1])


def linear(count: int = 256) -> Samples:
    """The logarithm of drying's utilisation sums three of four factors; cooling never decides."""
    z = design(count, 4, 0)
    utilisation = np.stack([np.exp(z @ WEIGHT - 0.2), np.full(count, 0.06)], axis=1)
    return made(utilisation, deviates=z)


def test_properties_are_ranked_by_their_share_of_the_variance():
    ranking = measure_next(linear())
    share = WEIGHT**2 / np.sum(WEIGHT**2)
    names = list(SPECS)
    assert [i.factor.name for i in ranking.influences] == [names[0], names[1], names[3]]
    assert [i.total for i in ranking.influences] == pytest.approx(share[[0, 1, 3]], abs=0.005)
    assert [i.first for i in ranking.influences] == pytest.approx(share[[0, 1, 3]], abs=0.01)
    assert ranking.explained > 0.999
    assert ranking.influences[0].through == ("drying", BODY)
    assert ranking.influences[0].rank_correlation > 0.8


def test_halving_an_uncertainty_buys_what_the_formula_of_a_sum_says():
    """A sum of normals: its variance loses three quarters of the part of the one measured."""
    ranking = measure_next(linear())
    variance = np.log(ranking.spread) ** 2
    assert variance == pytest.approx(np.sum(WEIGHT**2), rel=0.05)  # cut off at 3
    for found, weight in zip(ranking.influences, WEIGHT[[0, 1, 3]], strict=True):
        left = np.sum(WEIGHT**2) - 0.75 * weight**2
        assert np.log(found.spread) ** 2 == pytest.approx(left, rel=0.05)


@pytest.mark.usefixtures("exact")
def test_a_measurement_makes_the_wrong_call_rarer_as_much_as_the_normal_law_says():
    """Probability of the less likely side of 0 for a normal of mean −0.2, before and after."""
    ranking = measure_next(linear())
    deviation = float(np.sqrt(np.sum(WEIGHT**2)))
    assert ranking.doubt == pytest.approx(ndtr(-0.2 / deviation), abs=0.02)
    left = float(np.sqrt(np.sum(WEIGHT**2) - 0.75 * WEIGHT[0] ** 2))
    middle = np.sqrt(0.75) * WEIGHT[0] * np.random.default_rng(0).standard_normal(20_000) - 0.2
    expected = float(np.mean(ndtr(-np.abs(middle) / left)))
    assert ranking.influences[0].doubt == pytest.approx(expected, abs=0.02)
    doubts = [i.doubt for i in ranking.influences]
    assert doubts == sorted(doubts)
    assert doubts[-1] <= ranking.doubt + 1e-3


def test_a_property_that_only_another_flag_feels_is_named_with_that_flag():
    z = design(256, 2, 0)
    samples = made(np.exp(np.stack([0.5 * z[:, 0], 0.5 * z[:, 1]], axis=1)), deviates=z)
    ranking = measure_next(samples)
    through = {i.factor.name: i.through[0] for i in ranking.influences}
    names = list(SPECS)
    assert through == {names[0]: "drying", names[1]: "cooling"}
    first, second = (i.total for i in ranking.influences)
    assert first == pytest.approx(second, abs=0.05)


def test_shares_are_of_the_whole_spread_of_which_a_part_is_foretold():
    """Half the variance is that of one property, half is chance."""
    z, chance = design(256, 3, 0), np.random.default_rng(2).standard_normal(256)
    samples = made(np.exp(0.4 * np.stack([z[:, 0] + chance, z[:, 0] + chance], 1)), deviates=z)
    ranking = measure_next(samples)
    assert ranking.spread == pytest.approx(np.exp(np.log(samples.worst).std()), rel=1e-9)
    assert ranking.explained == pytest.approx(0.5, abs=0.1)
    first = ranking.influences[0]
    assert first.factor == samples.factors[0]
    assert first.total == pytest.approx(ranking.explained, abs=0.05)
    assert first.first <= first.total + 0.02
    left = np.log(ranking.spread) ** 2 * (1.0 - 0.75 * ranking.explained)  # bars leave a half
    assert np.log(first.spread) ** 2 == pytest.approx(left, rel=0.05)
    shares, told = ranking.flags[("drying", BODY)]
    assert shares[first.factor] == pytest.approx(told, abs=0.05)
    assert ranking.noise == pytest.approx(9.0 / 256)


@pytest.mark.parametrize("seed", range(4))
def test_no_share_is_told_where_it_is_not_told_from_noise(seed: int):
    """Few samples of many properties that all do nothing: a fit of them finds shares."""
    z, chance = design(32, 20, seed), np.random.default_rng(seed).standard_normal((32, 1))
    samples = made(np.exp(0.3 * np.repeat(chance, 2, axis=1)), deviates=z)
    text = " ".join(uncertainty_text(samples, measure_next(samples)).split())
    assert "No property's share of the spread of what loses the pot is told from" in text
    assert "More of them tell more (--samples)." in text
    assert "measure this next" not in text
    assert "is accounted for" not in text


@pytest.mark.usefixtures("exact")
def test_where_nothing_spreads_there_is_nothing_to_measure():
    samples = made(np.tile([0.4, 0.0], (32, 1)), deviates=design(32, 3, 0))
    ranking = measure_next(samples)
    assert ranking.influences == ()
    assert (ranking.spread, ranking.doubt) == (1.0, 0.0)
    assert "does not hang on any" in uncertainty_text(samples, ranking)


def test_the_text_says_what_it_assumes_and_what_it_held():
    samples = replace(linear(), clipped={Factor(BODY, "free_quartz"): 9}, failed=2)
    text = " ".join(uncertainty_text(samples, measure_next(samples)).split())
    for said in (
        "256 samples, seed 0", "rows of a table together", "may be wrong by a factor",
        "free quartz, fritted body (9)", "could not be fired: 2 samples",
        "thermal expansion, fritted body", "an expansion bar",
    ):  # fmt: skip
        assert said in text, said
    assert max(map(len, uncertainty_text(samples, measure_next(samples)).splitlines())) <= 100


def test_the_rows_for_json_hold_numbers_only_json_can():
    samples = linear(64)
    row = uncertainty_row(samples, measure_next(samples))
    whole = json.loads(json.dumps(row, allow_nan=False))
    assert whole["verdict"].keys() == {"go", "caution", "no"}
    assert sum(v["p"] for v in whole["verdict"].values()) == pytest.approx(1.0)
    assert whole["sound"]["low"] <= whole["sound"]["p"] <= whole["sound"]["high"]


@pytest.mark.parametrize(
    ("share", "said"), [(0.0, "0 %"), (0.001, "< 1 %"), (0.5, "50 %"), (0.999, "> 99 %")]
)
def test_a_share_is_nought_or_all_only_where_it_is(share: float, said: str):
    assert percent(share) == said


# --- the command ----------------------------------------------------------------------------------


def test_the_command_adds_how_sure_it_is_to_the_verdict(tmp_path: Path):
    file = tmp_path / "tea_light.toml"
    file.write_text(TEA_LIGHT, encoding="utf-8")
    words = ["check", str(file), "--uncertainty", "--samples", "8", "--seed", "4", "--json",
             "--workers", "1"]  # fmt: skip
    result = CliRunner().invoke(app, words)
    assert result.exit_code == DEFECT, result.output
    whole = json.loads(result.stdout)
    assert whole["verdict"] == "no"
    told = whole["uncertainty"]
    assert (told["samples"], told["seed"]) == (8, 4)
    assert told["verdict"]["no"]["p"] > 0.5
    refused = CliRunner().invoke(app, [*words[:4], "3"])
    assert refused.exit_code == INPUT_WRONG
    assert "3 samples" in refused.stderr
