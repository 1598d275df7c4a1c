"""Values read between stations against the polynomials and waves they are exact or close for."""

import numpy as np
import pytest

from cofire.numerics import STATIONS, peaks_along, shares

PLACE = np.cumsum(np.random.default_rng(4).uniform(0.5, 1.5, 30))


def read(function, places, first=0, last=PLACE.size):
    at, share = shares(np.array([places]), PLACE, np.array([first]), np.array([last]))
    assert share.sum(axis=-1) == pytest.approx(1.0)
    assert (at >= first).all()
    assert (at < last).all()
    return (share * function(PLACE)[at]).sum(axis=-1)[0]


def test_a_cubic_is_read_exactly_between_stations_and_at_them():
    places = np.array([PLACE[0], 0.5 * (PLACE[3] + PLACE[4]), PLACE[7], PLACE[-1]])
    cubic = np.polynomial.Polynomial([1.0, -2.0, 0.5, 3.0])
    assert read(cubic, places) == pytest.approx(cubic(places))


def test_beyond_the_stations_a_line_through_the_last_two_is_read():
    places = np.array([PLACE[5] - 0.3, PLACE[12] + 0.4])
    square = np.square(PLACE)
    ends = [square[5] - 0.3 * np.diff(square[5:7])[0] / np.diff(PLACE[5:7])[0]]
    ends += [square[12] + 0.4 * np.diff(square[11:13])[0] / np.diff(PLACE[11:13])[0]]
    assert read(np.square, places, 5, 13) == pytest.approx(ends)


@pytest.mark.parametrize("stations", range(2, STATIONS + 2))
def test_only_the_stations_allowed_are_read_however_few(stations):
    line = np.polynomial.Polynomial([1.0, 2.0])
    places = np.array([PLACE[4] - 0.1, 0.5 * (PLACE[4] + PLACE[5]), PLACE[3 + stations] + 0.1])
    assert read(line, places, 4, 4 + stations) == pytest.approx(line(places))


def test_the_crest_of_a_parabola_is_exact_and_of_a_wave_of_fourth_order():
    top = 0.4 * PLACE[8] + 0.6 * PLACE[9]
    parabola = 7.0 - 0.1 * (PLACE - top) ** 2
    assert peaks_along(parabola, PLACE)[0] == pytest.approx(7.0)
    errors = []
    for count in (20, 40):
        place = np.linspace(0.0, 1.0, count + 1) + 0.2 / count
        errors.append(abs(peaks_along(np.sin(3.0 * place), place)[0] - 1.0))
    assert errors[0] < 1e-4
    assert errors[1] < errors[0] / 6.0


def test_a_crest_at_an_end_is_the_value_there():
    value = np.stack([PLACE, -PLACE])
    high, at = peaks_along(value, PLACE)
    assert high == pytest.approx([PLACE[-1], -PLACE[0]])
    assert at.tolist() == [PLACE.size - 1, 0]
    assert peaks_along(np.array([1.0, 2.0]), PLACE[:2])[0] == 2.0
