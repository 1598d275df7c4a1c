"""Kiln and ware against Newton's law of cooling, first-order response, and a kiln's own log."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.firing.kiln import END, ramp, trace
from cofire.firing.program import Firing, Kiln, Segment
from cofire.units import HOUR, MINUTE, ROOM, kelvin

RATE = 150.0 / HOUR


def newton_kiln(time_constant: float) -> Kiln:
    """A kiln that heats evenly and cools by Newton's law: two rows, nothing at 20 °C."""
    rows = kelvin(np.array([20.0, 1300.0]))
    return Kiln(
        "Newton's kiln",
        float(rows[1]),
        rows,
        np.full(2, 600.0 / HOUR),
        rows,
        np.array([0.0, 1280.0 / time_constant]),
    )


@pytest.mark.parametrize("hours", [1.5, 4.0, 9.0])
def test_two_rows_of_a_cooling_table_are_newtons_law(hours: float) -> None:
    """T − T0 = (T1 − T0) exp(−t/τ): Newton 1701, any text on heat; exact at every node."""
    constant = hours * HOUR
    time, temperature = ramp(newton_kiln(constant), kelvin(1050.0), END, np.inf)
    assert temperature - ROOM == pytest.approx(1030.0 * np.exp(-time / constant), rel=1e-10)
    assert time[-1] == pytest.approx(constant * np.log(1030.0 / 5.0), rel=1e-10)


def test_free_cooling_after_the_last_segment_is_newtons_law_too() -> None:
    constant = 5.0 * HOUR
    curve = trace(Firing("cooling", newton_kiln(constant), (Segment(kelvin(900.0), RATE, 600.0),)))
    start = curve.breakpoints[2]
    since = curve.time[start:] - curve.time[start]
    assert curve.kiln[start:] - ROOM == pytest.approx(880.0 * np.exp(-since / constant), rel=1e-9)


def test_the_ware_trails_a_steady_ramp_by_rate_times_lag() -> None:
    """First-order lag on a ramp: T = T0 + r t − r τ (1 − exp(−t/τ)); exact at every node."""
    lag = 12.0 * MINUTE
    curve = trace(Firing("ramp", newton_kiln(5.0 * HOUR), (Segment(kelvin(900.0), RATE),), lag=lag))
    rise = slice(0, int(curve.breakpoints[1]) + 1)
    time = curve.time[rise]
    expected = ROOM + RATE * time - RATE * lag * (1.0 - np.exp(-time / lag))
    assert curve.ware[rise] == pytest.approx(expected, abs=1e-8)
    assert curve.kiln[rise][-1] - curve.ware[rise][-1] == pytest.approx(RATE * lag, rel=1e-6)


def test_the_ware_follows_a_step_exponentially() -> None:
    """First-order lag on a hold: the gap falls as exp(−t/τ); exact at every node."""
    lag = 25.0 * MINUTE
    hold = Segment(kelvin(900.0), RATE, 4.0 * HOUR)
    curve = trace(Firing("step", newton_kiln(5.0 * HOUR), (hold,), lag=lag))
    held = slice(int(curve.breakpoints[1]), int(curve.breakpoints[2]) + 1)
    since = curve.time[held] - curve.time[held][0]
    gap = kelvin(900.0) - curve.ware[held]
    assert gap == pytest.approx(gap[0] * np.exp(-since / lag), abs=1e-8)


def test_the_ware_of_a_cooling_kiln_falls_as_two_exponentials() -> None:
    """dT/dt = (Tk − T)/τ with Tk − T0 = A exp(−t/τk), solved by hand.

    T − T0 = A τk/(τk − τ) [exp(−t/τk) − exp(−t/τ)] + (T1 − T0) exp(−t/τ). Between its nodes, 4 K
    apart, the kiln is taken as straight: within 0.02 K above 150 °C, 0.15 K where 4 K are most of
    what is left.
    """
    constant, lag = 4.0 * HOUR, 30.0 * MINUTE
    hold = Segment(kelvin(1000.0), RATE, 2.0 * HOUR)
    curve = trace(Firing("two", newton_kiln(constant), (hold,), lag=lag))
    free = slice(int(curve.breakpoints[2]), int(curve.breakpoints[3]) + 1)
    since = curve.time[free] - curve.time[free][0]
    kiln, ware = np.exp(-since / constant), np.exp(-since / lag)
    above = curve.ware[free][0] - ROOM
    expected = 980.0 * constant / (constant - lag) * (kiln - ware) + above * ware
    error = np.abs(curve.ware[free] - ROOM - expected)
    assert error.max() < 0.15
    assert error[expected > 130.0].max() < 0.02


def test_a_kiln_log_turned_into_a_table_gives_the_log_back() -> None:
    """A glass fuser's worked example, "Finding your kiln's natural cooling rate" (weblog, 2019).

    Readings in °C at minutes; its table of rates, each written at the middle of its interval, as
    the kiln file asks. Tolerance: half the 5 °C to which the readings are given; the last reading
    is reached after 270 minutes, give or take what 2.5 °C take at the last 10 °C/h: 15 minutes.
    """
    minutes = np.array([0.0, 15.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 270.0])
    celsius = np.array([370.0, 310.0, 265.0, 230.0, 200.0, 160.0, 140.0, 125.0, 110.0])
    rates = np.array([240.0, 180.0, 140.0, 120.0, 80.0, 40.0, 15.0, 10.0])
    middle = 0.5 * (celsius[1:] + celsius[:-1])
    rows = kelvin(np.append(20.0, middle[::-1]))
    cooling = np.append(0.0, rates[::-1]) / HOUR
    kiln = Kiln("logged", rows[-1], rows, np.full(rows.shape, 0.1), rows, cooling)
    time, temperature = ramp(kiln, kelvin(370.0), kelvin(110.0), np.inf)
    found = np.interp(minutes[1:-1] * MINUTE, time, temperature)
    assert found == pytest.approx(kelvin(celsius[1:-1]), abs=2.5)
    assert time[-1] / MINUTE == pytest.approx(270.0, abs=15.0)
