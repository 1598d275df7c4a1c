"""The evaluation of `outcomes.toml`: complete, repeatable, and no worse than its floors.

The score is what `python -m tests.published.outcomes` prints. Its floors are what probability, or
the plain difference of contraction, reaches, and what it was when a person last looked; no limit
may be moved to pass them.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from cofire.assessment.crack_rules import TEST_BAR
from cofire.assessment.rule import VERDICTS
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.physics.interface import ring_joint, separation_energy
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength
from cofire.units import kelvin
from tests.published import outcome_pairs, outcomes
from tests.published.outcome_pairs import SIZE, Result, bodies, history, judge, judge_all, table
from tests.published.outcomes import REASONS, area_under_curve, contrasts, score, wilson

PAIRS = {pair["id"]: pair for pair in table()["pair"]}


def flag(result: Result, rule: str, zone: str = ""):
    """First flag of that rule whose zone contains the text."""
    return next(f for f in result.flags if f.rule == rule and zone in f.zone)


def test_every_pair_gets_a_verdict_and_a_finite_load():
    results = judge_all()
    assert [r.pair["id"] for r in results] == [pair["id"] for pair in table()["pair"]]
    assert len(PAIRS) == len(results) == 76
    for r in results:
        assert VERDICTS[r.grade] in ("go", "caution", "no")
        assert np.isfinite(r.utilisation)
        assert r.utilisation >= 0.0


def test_only_sintering_without_a_printed_shrinkage_is_left_uncomputed():
    for r in judge_all():
        unknown = [f.rule for f in r.flags if f.utilisation != f.utilisation]
        together = r.pair["family"] in outcome_pairs.SINTERED_TOGETHER
        expected = ["sintering"] if together and "shrinkage_percent" not in r.pair else []
        assert unknown == expected


def test_the_evaluation_gives_the_same_figures_each_time():
    for name in ("graded-zirconia-410", "crown-zirconia-porcelain", "tube-copper-thick-soda-lime"):
        once, again = judge(PAIRS[name]), judge(PAIRS[name])
        np.testing.assert_array_equal(
            [f.utilisation for f in once.flags], [f.utilisation for f in again.flags]
        )


def test_no_change_lowers_the_score_without_a_persons_reason():
    """Where it fails: see which pairs changed, then set `outcomes.RIGHT` and `AREA` anew."""
    found = score(judge_all())
    assert found.caught + found.passed >= outcomes.RIGHT
    assert found.area >= outcomes.AREA


def test_loads_rank_the_outcomes_better_than_chance_does():
    """0.19 is what one shuffled table of 76 in twenty reaches: 1.645/√75, one-sided 5 %."""
    assert score(judge_all()).spearman > 1.645 / np.sqrt(len(PAIRS) - 1)


def test_loads_rank_the_outcomes_better_than_the_difference_of_contraction():
    alone = score(judge_all(), rank_by=outcomes.contraction_difference)
    assert score(judge_all()).area > alone.area


def test_more_contrasts_are_ordered_right_than_chance_would_order():
    """Sign test over those that do not tie, one-sided 1 %."""
    words = [word for word, *_ in contrasts(judge_all())]
    right, count = words.count("right"), len(words) - words.count("tied")
    assert binom.sf(right - 1, count, 0.5) < 0.01


def test_contrasts_tie_only_where_the_inputs_are_the_same():
    for word, better, worse in contrasts(judge_all()):
        same = all(
            better.pair.get(key) == worse.pair.get(key)
            for key in ("layers", "set_point_C", "expansion_1e6_per_K", "geometry", "bending")
        )
        assert (word == "tied") == same


def test_every_reason_for_a_miss_names_a_pair_once():
    names = [name for group in REASONS.values() for name in group]
    assert len(set(names)) == len(names)
    assert set(names) <= set(PAIRS)


def test_every_miss_has_a_reason():
    missed = {r.pair["id"] for r in judge_all() if r.failed != r.predicted_failed}
    assert missed <= {name for group in REASONS.values() for name in group}


def test_the_print_holds_every_pair_and_the_score():
    text = outcomes.report()
    assert all(name in text for name in PAIRS)
    assert f"accuracy {score(judge_all()).accuracy:.3f}" in text


def test_wilson_interval_of_ten_in_ten_and_five_in_ten():
    """Roots of (p - k/n)² = z² p (1 - p)/n by hand: n/(n + z²), and 1/2 ± z/[2 √(n + z²)]."""
    z2 = 1.96**2
    assert wilson(10, 10) == pytest.approx((10.0 / (10.0 + z2), 1.0))
    half = 0.5 * np.sqrt(z2 / (10.0 + z2))
    assert wilson(5, 10) == pytest.approx((0.5 - half, 0.5 + half))


def test_area_under_the_curve_counts_ties_half():
    failed = np.array([True, True, False, False])
    assert area_under_curve(np.array([3.0, 1.0, 1.0, 2.0]), failed) == pytest.approx(2.5 / 4.0)
    doubled = np.array([2.0, 1.0, 1.0, 1.0])
    assert area_under_curve(np.array([3.0, 1.0, 1.0, 2.0]), failed, doubled) == pytest.approx(
        4.5 / 6
    )


def test_parting_two_elastic_layers_releases_the_separation_energy():
    """Closed form of two layers (`separation_energy`), equal Poisson's ratios."""
    one, two = (
        outcome_pairs._pure(name, strain)
        for name, strain in (("stoneware glaze", 0.0), ("vitreous enamel", -1e-3))
    )
    pair = {"layers": [{"thickness_mm": 1.0}, {"thickness_mm": 3.0}], "bending": "free"}
    flags = outcome_pairs._tile_flags(pair, [one, two], history([one, two], 800.0), SIZE)
    energy = next(f for f in flags if f.rule == "joint energy").figure
    nu = one.poisson
    modulus = one.young / (1.0 - nu**2)
    expected = separation_energy(1e-3, modulus, 3e-3, modulus, (1.0 + nu) * 1e-3)
    assert energy == pytest.approx(float(expected), rel=1e-6)


def test_rings_release_the_energy_of_the_closed_form():
    """`ring_joint` at a radius of 200 walls, where shear and thickness are worth below 0.5 %."""
    pair = {**PAIRS["tube-fe-ni-co-borosilicate"], "radius_mm": 1000.0, "wall_mm": 5.0}
    metal, glass = bodies(pair)
    closed = ring_joint(
        1.0, 5e-3, metal.young, metal.poisson, glass.young, glass.poisson,
        metal.strain - glass.strain,
    )  # fmt: skip
    found = flag(judge(pair, size=0.6), "joint energy").figure
    assert found == pytest.approx(float(closed.energy), rel=5e-3)


def test_all_three_stresses_of_a_sleeve_enter_its_risk():
    pair = PAIRS["crown-zirconia-porcelain"]
    pieces = bodies(pair)
    sleeve = nested_rings([3.5e-3, 4e-3, 5e-3])
    fired = fire_sleeve(sleeve, history(pieces, kelvin(pair["set_point_C"])))
    m = pieces[1].card["weibull_modulus"].scalar
    bar = pieces[1].strength * np.log(2.0) ** (-1.0 / m)
    unit = unit_strength(bar, m, bar_effective_volume(TEST_BAR, m, 0.5))
    volume = 2.0 * np.pi * sleeve.share[1] * SIZE
    risk = rupture_risk(np.moveaxis(fired.stress[:, :, 1], 1, -1), volume, unit, m).max()
    figure = flag(judge(pair), "cooling", "dental porcelain").figure
    assert figure == pytest.approx(-100.0 * np.expm1(-risk), rel=1e-9)


def test_a_blend_of_three_keeps_the_metal_apart_from_the_mixed_ceramics():
    pieces = bodies(PAIRS["graded-alumina-316l-19-zirconia"])
    strains = [b.strain for b in pieces]
    assert all(np.diff(strains) > 0.0)  # contracts less and less towards the alumina
    assert np.isfinite(pieces[7].yield_stress)
    assert np.isinf(pieces[9].yield_stress)


def test_a_printed_differential_goes_before_the_coefficients():
    metal, glass = bodies(PAIRS["bead-300-ppm"])
    assert abs(metal.strain - glass.strain) == pytest.approx(300e-6)
    assert metal.strain < glass.strain
