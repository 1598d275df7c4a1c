"""Heat work of a firing, told in cones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from cofire.errors import InputError, OutOfRange
from cofire.firing.cones import ConeChart, read_cones
from cofire.physics.heatwork import (
    ConeEquivalent,
    cone_energies,
    cone_equivalent,
    energy_from_two_rates,
    heat_work,
    steady_heat_work,
)
from cofire.units import GAS_CONSTANT, HOUR, kelvin
from tests.closed_forms import temperature_at_rate

Trace = tuple[NDArray[np.float64], NDArray[np.float64]]
SLOW, FAST = 60.0 / HOUR, 150.0 / HOUR
CHART = read_cones()


def firing(*segments: tuple[float, float, float]) -> Trace:
    """A trace from 20 °C of segments: rate in °C/h, target in °C, hold in h."""
    time, temperature = [0.0], [kelvin(20.0)]
    for rate, target, hold in segments:
        temperature.append(kelvin(target))
        time.append(time[-1] + abs(temperature[-1] - temperature[-2]) / rate * HOUR)
        if hold:
            temperature.append(kelvin(target))
            time.append(time[-1] + hold * HOUR)
    return np.array(time), np.array(temperature)


def equivalent(trace: Trace, rate: float | None = None) -> ConeEquivalent:
    return cone_equivalent(*trace, CHART.cones, CHART.rates, CHART.bending_temperature, rate)


def height(trace: Trace) -> float:
    """Place on the chart as a number, for comparing two firings."""
    found = equivalent(trace)
    return CHART.cones.index(found.below) + found.fraction


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    number = draw(st.integers(2, 6))
    steps = draw(st.lists(st.floats(60.0, 4e4), min_size=number - 1, max_size=number - 1))
    top = draw(st.lists(st.floats(600.0, 1600.0), min_size=number, max_size=number))
    return np.concatenate([[0.0], np.cumsum(steps)]), np.array(top)


@pytest.mark.parametrize("energy", [105e3, 440e3, 800e3])
def test_the_clock_on_a_rise_agrees_with_adaptive_quadrature(energy: float) -> None:
    # 10 K/min from 298 to 1673 K, in two nodes only.
    time, temperature = np.array([0.0, 1375.0 * 6.0]), np.array([298.0, 1673.0])
    peak = np.exp(-energy / (GAS_CONSTANT * 1673.0))
    exact, _ = quad(
        lambda t: (
            np.exp(energy / GAS_CONSTANT * (1 / 1673.0 - 1 / (298.0 + t / 6.0))) / (298.0 + t / 6.0)
        ),
        0.0,
        time[-1],
        epsrel=1e-11,
        points=[0.8 * time[-1], 0.95 * time[-1]],
    )
    assert heat_work(time, temperature, energy) == pytest.approx(exact * peak, rel=1e-8)


def test_a_hold_counts_by_its_length_over_temperature() -> None:
    found = heat_work([0.0, 3600.0], [1473.0, 1473.0], 440e3)
    assert found == pytest.approx(3600.0 / 1473.0 * np.exp(-440e3 / (GAS_CONSTANT * 1473.0)))


@pytest.mark.parametrize(("energy", "hours"), [(300e3, 2.2845), (440e3, 3.4138), (620e3, 5.7215)])
def test_one_hour_at_1473_kelvin_equals_this_long_at_1423(energy: float, hours: float) -> None:
    # Closed form: t2/t1 = (T2/T1) exp[Q/R (1/T2 − 1/T1)].
    hot = heat_work([0.0, HOUR], [1473.0, 1473.0], energy)
    cool = heat_work([0.0, hours * HOUR], [1423.0, 1423.0], energy)
    assert cool == pytest.approx(hot, rel=5e-5)


@pytest.mark.parametrize(("energy", "shift"), [(300e3, 41.21), (440e3, 28.19), (620e3, 20.05)])
def test_doubling_the_rate_asks_for_this_much_more(energy: float, shift: float) -> None:
    # Closed form: E1(Q/RT2)/E1(Q/RT1) = 2 at 1473 K; about R T² ln 2 / Q.
    assert temperature_at_rate(1473.0, 1.0, 2.0, energy) - 1473.0 == pytest.approx(shift, abs=0.005)


@given(st.floats(900.0, 1600.0), st.floats(0.1, 10.0), st.floats(250e3, 1200e3))
def test_energy_and_temperature_at_a_rate_are_inverse(T: float, rate: float, energy: float) -> None:
    new = float(temperature_at_rate(T, 1.0, 1.0 + rate, energy))
    found = energy_from_two_rates([T, new], [1.0, 1.0 + rate])
    assert found == pytest.approx(energy, rel=1e-6)
    assert steady_heat_work(new, 1.0 + rate, energy) == pytest.approx(
        float(steady_heat_work(T, 1.0, energy)), rel=1e-6
    )


@given(traces(), st.floats(0.01, 0.99), st.floats(200e3, 1000e3))
def test_splitting_a_trace_changes_nothing(trace: Trace, place: float, energy: float) -> None:
    time, temperature = trace
    cuts = time[:-1] + place * np.diff(time)
    every = np.sort(np.concatenate([time, cuts]))
    split = heat_work(every, np.interp(every, time, temperature), energy)
    assert split == pytest.approx(heat_work(time, temperature, energy), rel=1e-7)


@given(traces(), st.floats(0.0, 200.0), st.integers(0, 5))
def test_a_hotter_trace_never_has_less_heat_work(trace: Trace, more: float, where: int) -> None:
    time, temperature = trace
    hotter = temperature.copy()
    hotter[where % hotter.size] += more
    energies = np.array([300e3, 500e3, 800e3])
    assert np.all(
        heat_work(time, hotter, energies) >= heat_work(time, temperature, energies) * (1 - 1e-8)
    )


@given(st.floats(900.0, 1190.0), st.floats(0.0, 3.0), st.floats(0.0, 30.0), st.floats(0.0, 1.0))
def test_a_hotter_or_longer_firing_never_reaches_a_lower_cone(
    target: float, hold: float, more: float, longer: float
) -> None:
    base = height(firing((120.0, target, hold)))
    assert height(firing((120.0, target + more, hold))) >= base - 1e-9
    assert height(firing((120.0, target, hold + longer))) >= base - 1e-9


@pytest.mark.parametrize(("column", "rate"), [(0, 60.0), (1, 150.0)])
@pytest.mark.parametrize("cone", ["018", "013", "04", "6", "12"])
def test_a_steady_rise_to_the_chart_ends_on_its_cone(cone: str, column: int, rate: float) -> None:
    target = CHART.bending_temperature[CHART.cones.index(cone), column]
    found = equivalent(firing((rate, target - 273.15, 0.0)), rate / HOUR)
    assert found.cone == cone
    assert not found.interpolated


def test_the_early_rise_does_not_matter() -> None:
    steady = height(firing((60.0, 1100.0, 0.0)))
    quick = height(firing((300.0, 1000.0, 0.0), (60.0, 1100.0, 0.0)))
    assert quick == pytest.approx(steady, abs=0.02)


def test_a_hold_brings_down_a_higher_cone() -> None:
    found = equivalent(firing((150.0, 1200.0, 1.0)), FAST)
    assert CHART.cones.index(found.below) > CHART.cones.index("4")


def test_two_hours_at_820_celsius_are_worth_about_cone_012() -> None:
    # Between the chart's 820 °C at no hold (below cone 015 at 150 °C/h) and its cone 011.
    found = equivalent(firing((150.0, 820.0, 2.0)), FAST)
    assert found.cone in ("013", "012", "011")


def test_between_two_cones_the_answer_says_so() -> None:
    found = equivalent(firing((60.0, 1077.5, 0.0)))
    assert (found.below, found.above) == ("04", "03")
    assert 0.4 < found.fraction < 0.6
    assert found.interpolated
    assert found.cone == ("04" if found.fraction < 0.5 else "03")
    assert found.rate == pytest.approx(SLOW)


def test_within_the_rounding_of_the_chart_a_cone_is_a_cone() -> None:
    assert not equivalent(firing((60.0, 1055.3, 0.0))).interpolated
    assert not equivalent(firing((60.0, 1054.7, 0.0))).interpolated
    assert equivalent(firing((60.0, 1054.7, 0.0))).cone == "04"
    assert equivalent(firing((60.0, 1056.0, 0.0))).interpolated


@pytest.mark.parametrize(("target", "word"), [(600.0, "below cone 018"), (1340.0, "above cone 12")])
def test_heat_work_outside_the_chart_is_refused(target: float, word: str) -> None:
    with pytest.raises(OutOfRange, match=f"{word} at 60 °C/h"):
        equivalent(firing((60.0, target, 0.0)))


def test_a_rate_without_a_column_is_refused() -> None:
    with pytest.raises(InputError, match="no column at 100 °C/h; it has 60, 150"):
        equivalent(firing((60.0, 1060.0, 0.0)), 100.0 / HOUR)


def test_a_chart_with_one_rate_holds_no_energy() -> None:
    with pytest.raises(InputError, match="needs two rates"):
        cone_energies([[1300.0], [1320.0]], [SLOW])


@pytest.mark.parametrize(
    ("time", "temperature"),
    [([0.0], [300.0]), ([0.0, 1.0], [300.0]), ([1.0, 0.0], [300.0, 400.0]), ([0, 1], [0.0, 300])],
)
def test_a_trace_that_is_none_is_refused(time: list[float], temperature: list[float]) -> None:
    with pytest.raises(InputError, match="trace:"):
        heat_work(time, temperature, 440e3)


HEADER = "cone,rate_C_per_h,temperature_C,chart,seen\n"
GOOD = "04,60,1060,x,yes\n04,150,1070,x,yes\n03,60,1086,x,yes\n03,150,1101,x,no\n"


def read(folder: Path, text: str) -> ConeChart:
    path = folder / "cones.csv"
    path.write_text(text, encoding="utf-8")
    return read_cones(path)


def test_a_chart_of_ones_own_is_read(tmp_path: Path) -> None:
    chart = read(tmp_path, HEADER + GOOD)
    assert chart.cones == ("04", "03")
    assert chart.seen == (True, False)
    assert chart.bending_temperature[1, 1] == pytest.approx(kelvin(1101.0))


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("cone,rate_C_per_h\n04,60\n", "no column temperature_C, chart, seen"),
        (HEADER, "no cones"),
        (HEADER + "04,60,1O60,x,yes\n", "row 2, column temperature_C: '1O60' is not a number"),
        (HEADER + "04,60,nan,x,yes\n", "'nan' is not a number"),
        (HEADER + "04,0,1060,x,yes\n", "column rate_C_per_h: 0; a rate is positive"),
        (HEADER + "04,60,1060,x,maybe\n", "column seen: 'maybe'; allowed are 'yes' and 'no'"),
        (HEADER + "04,60,1060\n", "row 2: fewer cells than columns"),
        (HEADER + GOOD + "04,60,1061,x,yes\n", "cone 04 at 60 °C/h stands here a second time"),
        (HEADER + GOOD + "02,60,1101,y,yes\n", "2 charts in one table"),
        (HEADER + GOOD + "02,60,1101,x,yes\n", "cone 02: no temperature at 150 °C/h"),
        (HEADER + "04,60,1060,x,yes\n03,60,1050,x,yes\n", "do not rise from cone to cone"),
        (HEADER + "04,60,1060,x,yes\n04,150,1050,x,yes\n", "do not rise with the rate"),
    ],
)
def test_a_faulty_chart_is_refused(tmp_path: Path, text: str, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        read(tmp_path, text)


def test_a_missing_chart_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_cones(tmp_path / "none.csv")
