"""The reckoning of the simulated studios, on utilisations that need no firing."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from cofire.assessment.draws import Factor, design
from cofire.evidence.advice import options_for
from cofire.evidence.uncertainty import Samples
from tests.simulated_studios import Design, Tally, brier, studios, table, true_soundness

RULE = "metal"


def one(seed: int, middle: float, count: int = 128) -> Samples:
    """The logarithm of one utilisation sums two properties."""
    z = design(count, 2, seed)
    used = np.exp(z @ np.array([0.6, 0.3]) + middle)
    factors = (Factor("body", "strength"), Factor("body", "young_modulus"))
    return Samples(
        factors, z, ((RULE, "zone"),), used[:, None], np.full((count, 1), 0.5), 0, {}, 0,
    )  # fmt: skip


@cache
def run(count: int = 256) -> Tally:
    rings = [{RULE: r} for r in (0.5, 0.7, 1.0, 1.4, 2.0)]
    designs = []
    for middle in (0.6, 0.0, -0.6):
        planner = one(1, middle)
        designs.append(Design(planner, one(2, middle), tuple(options_for(planner.factors, rings))))
    tally = Tally([], [], {}, {}, [])
    studios(designs, count, np.random.default_rng(3), tally)
    return tally


def test_probabilities_come_true_and_pieces_make_them_sharper():
    """Planner and world draw from one distribution: any gap is an error of the reckoning."""
    tally = run()
    for pairs in (tally.before, tally.after):
        told, came, _ = (np.array(x, float) for x in zip(*pairs, strict=True))
        for low in np.arange(0.0, 1.0, 0.25):
            here = (told >= low) & (told < low + 0.25)
            if here.sum() >= 40:
                spread = np.sqrt(0.25 / here.sum())
                assert abs(told[here].mean() - came[here].mean()) < 3.0 * spread
    assert brier(tally.after) < 0.8 * brier(tally.before)
    assert 0.83 < np.mean(tally.covered) < 0.97


def test_advised_pieces_leave_fewer_wrong_calls_than_none():
    tally = run()
    assert np.mean(tally.wrong["advised pieces"]) < np.mean(tally.wrong["planned, no pieces"])
    assert np.mean(tally.lost["advised pieces"]) <= np.mean(tally.lost["as given"])


def test_the_brier_score_of_saying_a_half_is_a_quarter():
    assert brier([(0.5, True, 0), (0.5, False, 1)]) == pytest.approx(0.25)
    lines = table([(0.05, False, 0), (0.95, True, 1), (0.95, True, 2)])
    assert len(lines) == 3
    assert "1.00" in lines[-1]


def test_pots_of_one_studio_are_one_trial_in_an_interval():
    many = table([(0.55, True, k) for k in range(20)])
    same = table([(0.55, True, k // 4) for k in range(20)])
    lows = [float(lines[1].removesuffix("  outside").split()[-3]) for lines in (many, same)]
    assert lows[0] > 0.8 > lows[1]


class _Told:
    """Rows of the worlds that were asked for."""

    def __init__(self) -> None:
        self.rows: list[int] = []


def test_every_kiln_is_drawn_alike_often(monkeypatch: pytest.MonkeyPatch):
    """Worlds stand kiln after kiln: taken in their order, few studios would see the last."""
    told = _Told()

    def noted(world: Samples, row: int, log: dict[str, float]) -> float:
        told.rows.append(row)
        return true_soundness(world, row, log)

    monkeypatch.setattr("tests.simulated_studios.true_soundness", noted)
    planner = one(1, 0.0)
    design_of = Design(planner, one(2, 0.0), tuple(options_for(planner.factors)))
    studios([design_of], 64, np.random.default_rng(3), Tally([], [], {}, {}, []))
    thirds = np.histogram(told.rows, bins=[0, 43, 86, 128])[0]
    assert thirds.min() > 0.15 * thirds.sum()
