"""Fired pieces teach cards and rules: Bayes over the states, held against closed forms."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from cofire.assessment.draws import Factor, design
from cofire.assessment.model_factors import factor_of
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import Verdict, worst_first
from cofire.cli import app
from cofire.design.ladder import rung_vessel, sizes_for
from cofire.evidence.learning import (
    FiredPiece,
    Seen,
    _other_pieces,
    learn_from,
    learned,
    likelihood,
    no_piece,
    outcomes_of,
    size_of,
    soundness,
)
from cofire.evidence.uncertainty import Samples
from tests.fired import TEA_LIGHT, tea_light

pytestmark = pytest.mark.usefixtures("solids_are_rough")

RULE = "metal"
"""A rule of stress, not green, not probable: any would do."""


def of_one_rule(used: np.ndarray, deviates: np.ndarray | None = None) -> Samples:
    """Samples of one flag."""
    z = np.zeros((len(used), 1)) if deviates is None else deviates
    return Samples(
        (Factor("fritted body", "strength"),) * z.shape[1], z, ((RULE, "zone"),), used[:, None],
        np.full((len(used), 1), 0.5), 0, {}, 0,
    )  # fmt: skip


def ladder_of(count: int, broken: int) -> Samples:
    """A pot at its limit, after rings at 0.5 to 2 of which the heaviest broke."""
    pot = of_one_rule(np.ones(8))
    used = np.geomspace(0.5, 2.0, count)
    pieces = [
        FiredPiece(f"rung {u:.2f}", "cracked" if k >= count - broken else "sound",
                   of_one_rule(np.full(8, u)))
        for k, u in enumerate(used)
    ]  # fmt: skip
    return learned(pot, pieces)


def test_rings_that_all_hold_make_a_pot_at_its_limit_safer_and_rings_that_part_less_safe():
    doubt = [ladder_of(5, broken).no.value for broken in range(6)]
    assert doubt == sorted(doubt)
    assert doubt[0] < 0.15 < 0.5 < 0.85 < doubt[5]


def test_the_factor_learned_from_a_long_ladder_is_the_one_that_was_true():
    """Half of the rungs break at a utilisation of 1 over the factor."""
    true = 0.7
    used = np.geomspace(0.5, 3.0, 15)
    pot = of_one_rule(np.ones(8))
    pieces = [
        FiredPiece(str(k), "cracked" if u * true > 1.0 else "sound", of_one_rule(np.full(8, u)))
        for k, u in enumerate(used)
    ]
    after = learned(pot, pieces)
    log = after.log_factors[:, after.rules.index(RULE)]
    assert float(after.weights.sum(axis=0) @ log) == pytest.approx(np.log(true), abs=0.08)
    assert "factor of the rule metal 0.6" in after.taught[0]


def test_a_sound_piece_weighs_a_state_by_how_probably_it_stays_whole():
    """P(whole) by the normal law of what scatters, and the share that is misread."""
    from scipy.special import ndtr

    piece = FiredPiece("ring", "sound", of_one_rule(np.array([0.9, 1.4])))
    log = piece.samples.log_factors[:, 0]
    expected = ndtr(-(np.log([[0.9], [1.4]]) + log) / factor_of(RULE).scatter)
    np.testing.assert_allclose(soundness(piece.samples), expected, atol=1e-12)
    np.testing.assert_allclose(likelihood(piece, 2), 0.02 + 0.96 * expected, atol=1e-12)
    broke = replace(piece, outcome="cracked")
    np.testing.assert_allclose(likelihood(broke, 2) + likelihood(piece, 2), 1.0, atol=1e-12)


def test_cards_under_which_a_broken_ring_would_have_held_lose_weight():
    z = design(256, 1, 0)
    ring = of_one_rule(np.exp(0.8 * z[:, 0]), z)
    after = learned(of_one_rule(np.exp(0.8 * z[:, 0] - 0.5), z), [FiredPiece("r", "cracked", ring)])
    assert float(after.weights.sum(axis=1) @ z[:, 0]) > 0.3
    assert "strength of fritted body by +" in after.taught[0]


def test_a_piece_that_slumped_teaches_nothing_and_that_is_said():
    pot = of_one_rule(np.ones(8))
    after = learned(pot, [FiredPiece("bar", "slumped", pot)])
    assert after.weight is None
    assert "not used" in after.taught[0]
    assert after.no.value == pot.no.value


def test_outcomes_no_sample_foretold_are_said_to_leave_few_of_them():
    z = design(64, 1, 0)
    used = np.exp(3.0 * z[:, 0])
    pieces = [FiredPiece(str(k), "cracked", of_one_rule(1e-4 * used, z)) for k in range(3)]
    after = learned(of_one_rule(used, z), pieces)
    assert after.effective < 20.0
    assert "samples still count" in after.taught[-1]


def test_a_sample_that_a_ring_could_not_be_fired_with_keeps_its_weight():
    piece = FiredPiece("r", "sound", replace(of_one_rule(np.array([0.01, 0.01])), kept=(0, 2)))
    found = likelihood(piece, 3)
    assert (found[1] == 0.5).all()
    assert (found[[0, 2]] > 0.9).all()


def test_a_record_knows_the_rings_of_a_vessel_and_the_last_word_on_each():
    entries = [
        {"kind": "outcome", "piece": "bowl, rung 0.50", "outcome": "cracked"},
        {"kind": "outcome", "piece": "bowl, rung 0.50 (2)", "outcome": "sound"},
        {"kind": "outcome", "piece": "bowl, rung 0.50", "outcome": "sound"},
        {"kind": "prediction", "piece": "bowl"},
        {"kind": "outcome", "piece": "jar, rung 0.50", "outcome": "cracked"},
        {"kind": "outcome", "piece": "bowl", "outcome": "debonded"},
    ]
    assert outcomes_of(entries, "bowl") == [
        Seen("bowl, rung 0.50", 0.5, "sound", {}), Seen("bowl, rung 0.50 (2)", 0.5, "sound", {}),
        Seen("bowl", 0.0, "debonded", {}),
    ]  # fmt: skip
    assert size_of("bowl, rung nine", "bowl") is None


def foretold(used: float, piece: str = "tea-light") -> dict[str, object]:
    """A prediction that says what the rule uses up."""
    flags = [{"rule": RULE, "zone": "zone", "utilisation": used}, {"rule": "sag"}]
    return {"kind": "prediction", "piece": piece, "vessel": "tea-light", "flags": flags}


def came(outcome: str, piece: str = "tea-light") -> dict[str, object]:
    return {"kind": "outcome", "piece": piece, "outcome": outcome}


def today(used: float) -> Verdict:
    flag = Flag(zone="zone", utilisation=used, caution=0.5, figure=1.0, limit=1.0, unit="MPa",
                note="", rule=RULE)  # fmt: skip
    return worst_first([flag])


def test_a_crack_of_an_older_design_counts_as_one_of_that_design():
    """Given four times its limit, planned a half: that the first broke says next to nothing.

    Both at today's limit would be as a crack of the planned pot itself.
    """
    pot, vessel = of_one_rule(np.full(8, 0.5)), tea_light().vessel
    entries = [foretold(4.0), came("cracked"), foretold(0.5)]
    after = learn_from(pot, vessel, {}, entries, today(0.5))
    as_now = learned(pot, [FiredPiece("tea-light", "cracked", pot)])
    as_then = learned(pot, [FiredPiece("tea-light", "cracked", of_one_rule(np.full(8, 4.0)))])
    assert after.not_lost.value == pytest.approx(as_then.not_lost.value)
    assert as_now.not_lost.value < after.not_lost.value - 0.2
    assert "read as another design than today's (metal 4 of its limit then, 0.5 now)" in " ".join(
        after.taught
    )
    alike = learn_from(pot, vessel, {}, [foretold(0.51), came("cracked")], today(0.5))
    assert alike.not_lost.value == pytest.approx(as_now.not_lost.value)
    blind = learn_from(pot, vessel, {}, [came("cracked")], today(0.5))
    assert blind.not_lost.value == pytest.approx(as_now.not_lost.value)
    assert any("without a prediction before" in line for line in blind.taught)


def test_a_second_prediction_makes_the_next_outcome_one_of_another_piece():
    """As the comparison counts them."""
    entries = [foretold(4.0), came("cracked"), foretold(0.5), came("cracked"), came("sound")]
    assert outcomes_of(entries, "tea-light") == [
        Seen("tea-light", 0.0, "cracked", {RULE: 4.0}),
        Seen("tea-light", 0.0, "sound", {RULE: 0.5}),
    ]
    again = [foretold(4.0), came("cracked"), foretold(4.0), came("sound")]
    assert len(outcomes_of(again, "tea-light")) == 1  # the same prediction given twice


def test_a_piece_of_any_name_is_of_the_vessel_that_its_prediction_names():
    entries = [foretold(1.0, "bowl 3"), came("cracked", "bowl 3"), came("cracked", "bowl 4")]
    assert [one.piece for one in outcomes_of(entries, "tea-light")] == ["bowl 3"]


@pytest.mark.parametrize("name", ["thimble cup (gold)", "cup (2)", "cup"])
def test_a_vessel_with_a_bracket_in_its_name_learns(name: str):
    pieces = (name, f"{name} (2)", f"{name}, rung 0.50 (3)")
    assert [size_of(piece, name) for piece in pieces] == [0.0, 0.0, 0.5]
    assert size_of(f"{name} (blue)", name) is None


def test_factors_that_hardly_any_draw_reaches_are_said_to_be_few():
    """Three pieces at a tenth of their limit that all crack: by hand 87 % of the pot to fail too.

    One draw of 128 carries nearly all of it, so the figure is rough; two at a fifth are not.
    """
    pot = of_one_rule(np.full(8, 0.1))
    after = learned(pot, [FiredPiece(str(k), "cracked", pot) for k in range(3)])
    assert any("draws of what rules may be wrong by still count" in line for line in after.taught)
    sound = learned(pot, [FiredPiece(str(k), "sound", pot) for k in range(3)])
    assert not any("draws" in line for line in sound.taught)


def test_a_rung_is_the_vessel_at_its_joint_in_another_size():
    vessel = tea_light().vessel
    half, whole = rung_vessel(vessel, 0.5), rung_vessel(vessel, 1.0)
    assert half.wall[0] == pytest.approx(0.5 * vessel.wall[0])
    assert half.radius[0] == pytest.approx(0.5 * vessel.radius[0])
    np.testing.assert_allclose(half.steps, 0.5 * whole.steps)
    assert [b.material for b in half.bands] == [b.material for b in vessel.bands]


def test_the_sizes_of_a_ladder_straddle_the_doubt_and_can_be_printed():
    vessel = tea_light().vessel
    sizes = sizes_for(vessel, 1.0)
    assert sizes == tuple(sorted(sizes))
    assert sizes[0] >= 0.99 * vessel.printer.nozzle / vessel.wall.min()
    used = np.sqrt(sizes)
    assert used[0] < 0.75 < 1.1 < used[-1]


def test_a_check_says_what_the_rings_of_its_record_taught(tmp_path):
    file, record = tmp_path / "tea_light.toml", tmp_path / "record.jsonl"
    file.write_text(TEA_LIGHT, encoding="utf-8")
    run = CliRunner()
    for rung, outcome in (("0.25", "sound"), ("0.50", "sound")):
        words = ["record", "add", "--piece", f"tea-light, rung {rung}", "--outcome", outcome,
                 "--record", str(record)]  # fmt: skip
        result = run.invoke(app, words)
        assert result.exit_code == 0, result.output
    words = ["check", str(file), "--uncertainty", "--samples", "8", "--json", "--workers", "1",
             "--quick"]  # fmt: skip
    bare, told = (
        json.loads(run.invoke(app, [*words, *more]).stdout)["uncertainty"]
        for more in ([], ["--record", str(record)])
    )
    assert bare["taught"] == []
    assert told["taught"][0].startswith("0 of 2 fired pieces broke; factor of the rule")
    assert told["sound"]["p"] >= bare["sound"]["p"]
    assert told["fire_next"]["wrong_call"] >= 0.0


def test_a_record_without_a_piece_of_the_vessel_is_said_to_teach_nothing():
    """A piece is known by its vessel's name: one of another name is not passed over in silence."""
    vessel, pot = tea_light().vessel, of_one_rule(np.ones(4), np.zeros((4, 1)))
    entries = [{"kind": "outcome", "piece": f"pot {n}", "outcome": "cracked"} for n in "abcdef"]
    found = learn_from(pot, vessel, {}, entries, today(1.0))
    (line,) = found.taught
    assert line.startswith("nothing: no outcome of a piece named 'tea-light'")
    assert line.endswith("the record has 'pot a', 'pot b', 'pot c', 'pot d' and 2 more")
    assert found.weight is pot.weight
    assert no_piece([], "bowl").endswith("the record has none")


def test_a_piece_of_another_name_is_told_where_a_record_teaches() -> None:
    record = [{"kind": "outcome", "piece": name, "outcome": "sound"} for name in ("bowl", "bwol")]
    assert _other_pieces(record, {"bowl"}) == "'bwol'"
    assert _other_pieces(record, {"bowl", "bwol"}) == ""
