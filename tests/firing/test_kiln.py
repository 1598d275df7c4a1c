"""What kiln and ware do under a firing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.firing.kiln import END, GRID, Trace, ramp, trace
from cofire.firing.program import Firing, Kiln, Segment, simple_firing
from cofire.units import HOUR, MINUTE, ROOM, kelvin
from tests.strategies import KILNS, firings, kilns, some

KILN = KILNS["small studio kiln"]


def even_kiln(heating: float = 400.0, cooling: float = 300.0) -> Kiln:
    """A kiln with the same limits at all temperatures, in °C/h."""
    rows = kelvin(np.array([20.0, 1300.0]))
    return Kiln(
        "even kiln",
        float(rows[1]),
        rows,
        np.full(2, heating / HOUR),
        rows,
        np.full(2, cooling / HOUR),
    )


def ware_at(curve: Trace, time: np.ndarray) -> np.ndarray:
    return np.interp(time, curve.time, curve.ware)


@some
@given(firings())
def test_a_valid_firing_gives_strictly_increasing_time_from_cold_to_cold(firing: Firing) -> None:
    curve = trace(firing)
    assert curve.time[0] == 0.0
    assert np.all(np.diff(curve.time) > 0.0)
    assert curve.kiln[0] == curve.ware[0] == ROOM
    assert curve.kiln[-1] == pytest.approx(END)
    assert curve.ware[-1] <= END + (curve.peak - END) / 100.0
    assert curve.time.shape == curve.ware.shape == curve.kiln.shape


@some
@given(firings())
def test_nodes_lie_no_further_apart_than_the_grid(firing: Firing) -> None:
    curve = trace(firing)
    assert np.abs(np.diff(curve.kiln)).max() <= GRID + 1e-6


@some
@given(firings())
def test_the_kiln_never_outruns_its_power_nor_the_rate_asked_for(firing: Firing) -> None:
    curve, kiln = trace(firing), firing.kiln
    rate = np.diff(curve.kiln) / np.diff(curve.time)
    low = np.minimum(curve.kiln[1:], curve.kiln[:-1])
    high = np.maximum(curve.kiln[1:], curve.kiln[:-1])

    def limit(rows: np.ndarray, rates: np.ndarray) -> np.ndarray:
        """Largest rate a table allows between two temperatures less than a grid step apart."""
        ends = np.maximum(np.interp(low, rows, rates), np.interp(high, rows, rates))
        for row, value in zip(rows, rates, strict=True):
            inside = (low < row) & (row < high)
            ends[inside] = np.maximum(ends[inside], value)
        return ends

    up = limit(kiln.heating_temperature, kiln.heating_rate)
    down = limit(kiln.cooling_temperature, kiln.cooling_rate)
    assert np.all(rate <= up * (1.0 + 1e-6))
    assert np.all(-rate <= down * (1.0 + 1e-6))
    asked = max((s.rate for s in firing.segments if s.target > ROOM), default=np.inf)
    assert np.all(rate <= asked * (1.0 + 1e-6))


@some
@given(firings())
def test_the_ware_stays_between_the_coldest_and_the_hottest_of_its_kiln(firing: Firing) -> None:
    curve = trace(firing)
    assert np.all(curve.ware >= ROOM - 1e-9)
    assert np.all(curve.ware <= np.maximum.accumulate(curve.kiln) + 1e-9)
    if firing.lag == 0.0:
        assert np.array_equal(curve.ware, curve.kiln)


@some
@given(firings())
def test_every_target_is_reached_and_held_as_long_as_asked(firing: Firing) -> None:
    curve = trace(firing)
    time, kiln = curve.time[curve.breakpoints], curve.kiln[curve.breakpoints]
    place = 0
    for segment in firing.segments:
        found = np.flatnonzero(np.abs(kiln[place:] - segment.target) < 1e-6)
        assert found.size, "the breakpoints hold every target"
        place += int(found[0])
        if segment.hold > 0.0:
            assert time[place + 1] - time[place] == pytest.approx(segment.hold, rel=1e-9)
            assert kiln[place + 1] == pytest.approx(segment.target)
            place += 1
    assert curve.breakpoints[0] == 0
    assert curve.breakpoints[-1] == curve.time.size - 1


@some
@given(firings(), st.floats(0.05, 0.95), st.data())
def test_splitting_a_ramp_changes_nothing(
    firing: Firing, share: float, data: st.DataObject
) -> None:
    """Within 0.02 K of the ware: chords of a curved ramp are drawn between other nodes."""
    number = data.draw(st.integers(0, len(firing.segments) - 1))
    before = [kelvin(20.0), *(s.target for s in firing.segments)][number]
    segment = firing.segments[number]
    middle = before + share * (segment.target - before)
    halves = (Segment(middle, segment.rate), segment)
    split = (*firing.segments[:number], *halves, *firing.segments[number + 1 :])
    whole, parted = trace(firing), trace(replace(firing, segments=split))
    assert parted.time[-1] == pytest.approx(whole.time[-1], rel=1e-9)
    assert parted.peak == pytest.approx(whole.peak, abs=0.02)
    assert ware_at(parted, whole.time) == pytest.approx(whole.ware, abs=0.02)


@some
@given(firings(), st.floats(0.05, 0.95), st.data())
def test_splitting_a_hold_changes_nothing(
    firing: Firing, share: float, data: st.DataObject
) -> None:
    """The kiln exactly; the ware at the nodes that both have, to rounding."""
    number = data.draw(st.integers(0, len(firing.segments) - 1))
    segment = firing.segments[number]
    halves = (
        replace(segment, hold=share * segment.hold),
        replace(segment, hold=segment.hold - share * segment.hold),
    )
    split = (*firing.segments[:number], *halves, *firing.segments[number + 1 :])
    whole, parted = trace(firing), trace(replace(firing, segments=split))
    assert parted.time[-1] == pytest.approx(whole.time[-1], rel=1e-12)
    breakpoints = whole.breakpoints
    assert ware_at(parted, whole.time[breakpoints]) == pytest.approx(
        whole.ware[breakpoints], abs=1e-6
    )


@some
@given(kilns(), st.floats(300.0, 1100.0), st.floats(60.0, 400.0))
def test_a_slow_kiln_stretches_the_ramp(kiln: Kiln, peak: float, rate: float) -> None:
    """It takes as long as the slower of kiln and programme at each temperature (quadrature)."""
    time, _ = ramp(kiln, ROOM, kelvin(peak), rate / HOUR)
    fine = np.linspace(ROOM, kelvin(peak), 20001)
    slower = np.minimum(rate / HOUR, np.interp(fine, kiln.heating_temperature, kiln.heating_rate))
    assert time[-1] == pytest.approx(np.trapezoid(1.0 / slower, fine), rel=1e-6)


def test_a_ramp_within_the_kilns_power_takes_its_own_time() -> None:
    curve = trace(simple_firing(even_kiln(), kelvin(900.0), 30.0 * MINUTE, 200.0 / HOUR, lag=0.0))
    rise = curve.time[curve.breakpoints[1]]
    assert rise == pytest.approx(880.0 / 200.0 * HOUR)
    assert curve.time[curve.breakpoints[3]] - curve.time[curve.breakpoints[2]] == pytest.approx(
        875.0 / 300.0 * HOUR
    )


def test_full_rate_means_as_fast_as_the_kiln_can_both_ways() -> None:
    firing = Firing("full", even_kiln(), (Segment(kelvin(500.0), np.inf),))
    curve = trace(firing)
    assert curve.time[curve.breakpoints[1]] == pytest.approx(480.0 / 400.0 * HOUR)
    assert curve.time[-1] == pytest.approx((480.0 / 400.0 + 475.0 / 300.0) * HOUR)


def test_a_controlled_cooling_slower_than_the_kilns_is_followed() -> None:
    down = Segment(kelvin(500.0), 50.0 / HOUR)
    firing = Firing("slow", even_kiln(), (Segment(kelvin(900.0), np.inf), down))
    curve = trace(firing)
    first, second = curve.time[curve.breakpoints[1]], curve.time[curve.breakpoints[2]]
    assert second - first == pytest.approx(400.0 / 50.0 * HOUR)


def test_a_kiln_that_stops_heating_is_refused_with_the_temperature() -> None:
    kiln = even_kiln()
    stuck = replace(
        kiln,
        heating_temperature=kelvin(np.array([20.0, 700.0, 1300.0])),
        heating_rate=np.array([400.0, 0.0, 0.0]) / HOUR,
    )
    firing = Firing("stuck", stuck, (Segment(kelvin(900.0), np.inf),))
    with pytest.raises(InputError, match=r"rate at 700 °C is 0; it never gets past"):
        trace(firing)


def test_a_longer_lag_never_makes_the_ware_hotter() -> None:
    def peak(lag: float) -> float:
        return trace(simple_firing(KILN, kelvin(900.0), 0.0, 200.0 / HOUR, lag=lag)).peak

    peaks = [peak(minutes * MINUTE) for minutes in (0.0, 1.0, 5.0, 20.0, 60.0)]
    assert peaks[0] == pytest.approx(kelvin(900.0))
    assert np.all(np.diff(peaks) < 0.0)


@pytest.mark.parametrize("off", [-1e-10, -1e-13, 1e-13, 1e-12, 1e-10])
def test_a_target_within_rounding_of_a_node_makes_no_double_node(off: float) -> None:
    """500 K is a node of the grid; after a long hold even a nanosecond is lost in rounding."""
    soak = Segment(900.0, 150.0 / HOUR, 1e6)
    curve = trace(Firing("near", KILN, (soak, Segment(500.0 + off, np.inf)), lag=300.0))
    assert np.diff(curve.time).min() > 1e-6
    assert np.all(np.isfinite(curve.ware))


def test_a_hold_too_short_to_notice_is_none() -> None:
    def with_hold(hold: float) -> Trace:
        return trace(Firing("brief", KILN, (Segment(900.0, 150.0 / HOUR, hold),), lag=300.0))

    assert np.array_equal(with_hold(1e-20).time, with_hold(0.0).time)


def test_the_ware_is_followed_closely_while_it_comes_up_to_its_kiln() -> None:
    """Through twelve lags of a hold, a twelfth of a lag apart; then once in a while."""
    firing = simple_firing(KILN, kelvin(900.0), 10.0 * HOUR, 100.0 / HOUR, lag=300.0)
    found = trace(firing)
    hold = found.time[np.isclose(found.kiln, kelvin(900.0), atol=1e-6)]
    gaps = np.diff(hold)
    assert gaps[hold[:-1] < hold[0] + 11.0 * 300.0].max() <= 300.0 / 12.0 + 1e-6
    assert gaps.max() > 60.0
