"""Lives under permanent tension against published load-duration factors and a grown crack."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cofire.errors import InputError
from cofire.physics.slow_crack_growth import aged_factor, equivalent_test_stress
from tests.closed_forms import lifetime, strength_at_rate

DAY = 86400.0
# ASTM E1300, appendix on load duration, annealed glass, n = 16: strength for that long over that
# for 3 s (from memory). Ratios of constant loads: test and service differ in time alone.
DURATIONS = {
    10.0: 0.93, 60.0: 0.83, 600.0: 0.72, 3600.0: 0.64, 12 * 3600.0: 0.55, DAY: 0.53,
    7 * DAY: 0.47, 30 * DAY: 0.43, 365 * DAY: 0.36,
}  # fmt: skip


@pytest.mark.parametrize(("time", "factor"), DURATIONS.items())
def test_annealed_glass_loses_what_the_building_standard_says(time: float, factor: float):
    inert, B, n = 200e6, 1e13, 16.0  # any: the ratio does not know them well below inert strength

    def bears(seconds: float) -> float:
        low, high = 1e6, inert
        for _ in range(80):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if lifetime(middle, inert, n, B) > seconds else (low, middle)
        return low

    assert bears(time) / bears(3.0) == pytest.approx(factor, abs=0.006)


# Griggs et al. 2011, Dent. Mater. 27, 364, abstract: n and ln B (MPa² s) of two dental ceramics.
GRIGGS = {"veneer": (35.9, -11.1), "framework": (12.4, 9.61)}


@pytest.mark.parametrize("ceramic", GRIGGS)
def test_the_closed_forms_are_those_of_a_crack_that_grows(ceramic: str):
    """The crack itself, by an ODE: dS/dt of its inert strength is -σ^n S^(3-n)/(B (n-2))."""
    n, log_b = GRIGGS[ceramic]
    B, inert = float(np.exp(log_b)), 100.0  # in MPa² s and MPa, as printed

    def fails(stress_of, longest):  # type: ignore[no-untyped-def]
        def slope(t, y):  # type: ignore[no-untyped-def]
            return [-(stress_of(t) ** n) / B]  # of S^(n-2), scaled

        def broken(t, y):  # type: ignore[no-untyped-def]
            return y[0] * scale - stress_of(t) ** (n - 2.0)

        broken.terminal = True
        scale = 1.0
        start = inert ** (n - 2.0)
        found = solve_ivp(
            slope, (0.0, longest), [start], events=broken, rtol=1e-10, atol=start * 1e-12,
            max_step=longest / 2000,
        )  # fmt: skip
        return float(found.t_events[0][0])

    stress = 45.0
    life = float(lifetime(stress * 1e6, inert * 1e6, n, B * 1e12))
    assert fails(lambda t: stress, 2.0 * life) == pytest.approx(life, rel=1e-3)
    rate = 1e-2
    strong = float(strength_at_rate(rate * 1e6, inert * 1e6, n, B * 1e12)) / 1e6
    assert strong < inert
    broke = rate * fails(lambda t: rate * t, 1.3 * strong / rate)
    # the bracket left out by the standard is worth (σ/S)^(n-2), small at these rates
    assert broke == pytest.approx(strong, rel=0.02)


def test_a_decade_of_rate_is_worth_the_printed_slope():
    """ASTM C1368: log strength over log rate has the slope 1/(n + 1)."""
    slow, fast = (strength_at_rate(r, 150e6, 12.4, 1.5e16) for r in (1e3, 1e4))
    assert np.log10(fast / slow) == pytest.approx(1.0 / 13.4)


def test_quick_test_and_constant_stress_use_up_the_same():
    n, B, inert, rate = 20.0, 1e14, 300e6, 1e5
    tested = float(strength_at_rate(rate, inert, n, B))
    stress = tested / float(equivalent_test_stress(3e7, tested / rate, n))
    assert float(lifetime(stress, inert, n, B)) == pytest.approx(3e7, rel=1e-6)


def test_a_threshold_ends_the_loss_of_strength():
    without, held = (aged_factor(3e7, 10.0, 12.0, k) for k in (0.0, 0.4))
    assert held == pytest.approx(2.5)
    assert without > 4.0
    assert aged_factor(3e7, 10.0, 40.0, 0.4) < 2.5


def test_more_exponent_lasts_longer():
    factors = aged_factor(3e7, 10.0, np.array([12.0, 20.0, 36.0, 60.0]))
    assert np.all(np.diff(factors) < 0.0)
    assert 1.5 < factors[2] < 1.8


@pytest.mark.parametrize("bad", [(2e8, 1e8, 20, 1e14), (1e7, 1e8, 1.5, 1e14), (1e7, 1e8, 20, 0.0)])
def test_what_is_no_life_is_refused(bad: tuple[float, float, float, float]):
    with pytest.raises(InputError):
        lifetime(*bad)


def test_a_time_shorter_than_the_test_is_refused():
    with pytest.raises(InputError):
        equivalent_test_stress(1.0, 10.0, 20.0)


def test_a_body_under_its_whole_strength_lives_no_time():
    assert float(lifetime(80e6, 80e6, 20.0, 1e13)) == 0.0
    near = float(lifetime(79e6, 80e6, 20.0, 1e13))
    assert near == pytest.approx(1e13 / 80e6**2 * ((80 / 79) ** 20 - (80 / 79) ** 2), rel=1e-9)
