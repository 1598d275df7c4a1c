"""How probably limits are kept, against finer sums and closed forms."""

import numpy as np
import pytest

from cofire.assessment.chance import SHARES, STEPS, chance_kept, mean_kept
from cofire.assessment.model_factors import factor_of

USED = np.geomspace(0.05, 20.0, 600)[:, None]


@pytest.mark.parametrize(("modulus", "error"), [(4.0, 2e-6), (15.0, 2e-6), (40.0, 2e-4)])
def test_the_steps_of_a_factor_are_fine_enough_for_a_sharp_crack(modulus: float, error: float):
    """Against 6401 steps; over four standard deviations it would be out by 6e-5."""
    steps = np.linspace(-8.0, 8.0, 6401)
    shares = np.exp(-0.5 * steps**2) / np.exp(-0.5 * steps**2).sum()
    of = np.full(USED.shape, modulus)
    fine = chance_kept("cooling", USED, factor_of("cooling").common * steps, of) @ shares
    assert mean_kept("cooling", USED, of) == pytest.approx(fine, abs=error)


@pytest.mark.parametrize("rule", ["metal", "burnout", "sag", "a rule of tomorrow"])
def test_the_mean_over_a_factor_in_closed_form_is_that_of_its_steps(rule: str):
    """Common part and scatter are normal deviates: their sum is one of the whole spread."""
    used = np.hstack([USED, 0.5 * USED])
    steps = chance_kept(rule, used, factor_of(rule).common * STEPS) @ SHARES
    assert mean_kept(rule, used) == pytest.approx(steps, abs=1e-6)


def test_beside_a_known_limit_an_unknown_one_counts_in_every_state():
    """Half of the states keep the known one rather; of the others by the angle of two deviates."""
    used = np.array([[1.0, np.nan], [1e-6, np.nan]])
    of = factor_of("steam")
    exact = 0.25 + np.arctan(of.scatter / of.common) / (2.0 * np.pi)
    assert mean_kept("steam", used) == pytest.approx([exact, 0.5], abs=1e-3)


def test_a_word_of_a_table_has_no_spread():
    used = np.array([[0.999], [1.0], [1.001], [np.nan]])
    assert mean_kept("atmosphere", used).tolist() == [1.0, 1.0, 0.0, 0.5]
