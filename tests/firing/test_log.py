"""Logs as loggers write them: read right and reported, or refused with the line."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from cofire.assessment.check import check_vessel
from cofire.cli import app
from cofire.errors import InputError
from cofire.evidence.replay import Replay, find_crack, pace, replay
from cofire.firing.kiln import END, GRID, Trace, trace
from cofire.firing.log import FiringLog, begins_late, read_firing_log, straightened
from cofire.firing.sheets import parse_number, read_sheet
from cofire.firing.stamps import read_times
from cofire.numerics import Array
from cofire.report.replay import as_json, as_text
from cofire.units import HOUR, ROOM, celsius
from tests.fired import CARDS, COARSE, TEA_LIGHT, tea_light, written_vessel
from tests.strategies import few, firings

pytestmark = pytest.mark.usefixtures("solids_are_rough")

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "silver_foot_log.csv"
BEGIN = datetime(2026, 3, 1, 18, 0, 0)
LAST = 17.5 * HOUR


def kiln(step: float = 60.0) -> tuple[Array, Array]:
    """Times in s and temperatures in °C: two ramps, two holds, Newton's cooling."""
    time = np.arange(0.0, LAST, step)
    value = np.interp(
        time, [0.0, 6 * HOUR, 7 * HOUR, 10 * HOUR, 11 * HOUR], [22, 420, 420, 860, 860]
    )
    late = time > 11 * HOUR
    value[late] = 22.0 + 838.0 * np.exp(-(time[late] - 11 * HOUR) / 4500.0)
    return time, value


def at(seconds: float) -> datetime:
    return BEGIN + timedelta(seconds=float(seconds))


def rows(write: Callable[[float, float], str], step: float = 60.0) -> str:
    """One line for each reading."""
    return "".join(write(t, v) + "\n" for t, v in zip(*kiln(step), strict=True))


def comma(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def fahrenheit(value: float) -> float:
    return 1.8 * value + 32.0


def logged(folder: Path, text: str | bytes, **options: object) -> FiringLog:
    path = folder / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_firing_log(path, **options)  # type: ignore[arg-type]


STYLES: dict[str, tuple[str | bytes, str]] = {
    "seconds and °C, named": (
        "time_s,temperature_C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}"),
        "°C by its name",
    ),
    "semicolons, decimal commas, noise lines, western code page": (
        (
            "Kiln logger v2;;\nSerial;123;\n\nZeit (min);Temperatur (°C);Soll\n"
            + rows(lambda t, v: f"{comma(t / 60, 2)};{comma(v)};900,0")
        ).encode("cp1252"),
        "time in min",
    ),
    "ISO times, tabs, °F, a second thermocouple": (
        "Timestamp\tTC1 (°F)\tTC2\n"
        + rows(lambda t, v: f"{at(t).isoformat()}Z\t{fahrenheit(v):.1f}\t20.5"),
        "date and time (ISO)",
    ),
    "time of day past midnight, whole degrees, no unit": (
        "Time,Temp\n" + rows(lambda t, v: f"{at(t):%H:%M},{v:.0f}"),
        "HH:MM, past midnight",
    ),
    "date and time apart, months first, twelve hours, °F": (
        "Date,Time,Kiln F\n"
        + rows(lambda t, v: f"{at(t):%m/%d/%Y,%I:%M:%S %p},{fahrenheit(v):.1f}"),
        "month/day",
    ),
    "days first with points, UTF-16": (
        ("time;T [C]\n" + rows(lambda t, v: f"{at(t):%d.%m.%Y %X};{comma(v)}")).encode("utf-16"),
        "day/month",
    ),
    "epoch and kelvin in quotes": (
        '"epoch","value"\n' + rows(lambda t, v: f'"{1.77e9 + t:.0f}","{v + 273.15:.2f}"'),
        "K by its range",
    ),
    "no header, hours": (
        rows(lambda t, v: f"{comma(t / 3600, 4)};{comma(v)}"),
        "time taken to be in h by its length",
    ),
    "samples, controller's set point and output beside": (
        "sample,elapsed (s),PV,SP,output %\n"
        + rows(lambda t, v: f"{t / 60:.0f},{t:.0f},{v:.1f},{v + 3:.1f},55.0"),
        "temperature from 'PV'",
    ),
    "thousands and units in the cells": (
        "time_h\tkiln\n" + rows(lambda t, v: f"{t / 3600:.4f}\t{fahrenheit(v):,.1f} °F"),
        "°F by its cells",
    ),
    "elapsed beyond a day, spaces": (
        rows(lambda t, v: f"{int(t // 3600) + 20}:{int(t % 3600 // 60):02d}:00   {v:.1f}"),
        "HH:MM:SS",
    ),
    "days of a spreadsheet": (
        "date;oven °C\n" + rows(lambda t, v: f"{comma(46082.75 + t / 86400, 6)};{comma(v)}"),
        "days of a spreadsheet",
    ),
}


def test_minutes_and_seconds_are_known_by_the_length_of_the_firing(tmp_path: Path) -> None:
    text = "time,T °C\n" + rows(lambda t, v: f"{t // 60:.0f}:{t % 60:02.0f},{v:.1f}", 90.0)
    log = logged(tmp_path, text)
    assert "taken to be MM:SS by its length" in "; ".join(log.found)
    assert log.time[-1] == pytest.approx(LAST, abs=90.0)

    def length(cells: list[str], unit: str | None = None) -> float:
        return float(read_times(cells, range(len(cells)), "time", ".", "log", unit)[0][-1] / HOUR)

    cells = [f"{minute}:00" for minute in range(661)]
    assert length(cells) == 11.0
    assert length(cells, "h") == 660.0  # as stated
    # a week in days and hours, and one in hours that are a firing's, stay what they are
    days = [f"{h // 24}.{h % 24}:00" for h in range(168)]
    assert length(days) == 167.0
    assert length(cells[:101]) == 100.0


def grouped(value: float, mark: str) -> str:
    return f"{value:,.0f}".replace(",", mark)


@pytest.mark.parametrize("mark", [",", "."])
@pytest.mark.parametrize("time", [lambda t: f"{at(t):%H:%M}", lambda t: f"{t:.0f}"])
@pytest.mark.parametrize("units", [1.8, 1.0])
def test_thousands_in_groups_are_no_decimals(
    tmp_path: Path, mark: str, time: Callable[[float], str], units: float
) -> None:
    """A degree sign in the name; whole degrees up to 1,580 °F or 1,290 °C."""
    name, hot = ("T °F", fahrenheit) if units > 1.0 else ("T °C", lambda v: 1.5 * v)
    log = logged(
        tmp_path,
        f"time_s;{name}\n" + rows(lambda t, v: f"{time(t)};{grouped(hot(v), mark)}", 150.0),
    )
    assert celsius(log.trace.peak) == pytest.approx(860.0 * (1.0 if units > 1.0 else 1.5), abs=2.0)
    assert f"decimal {'point' if mark == ',' else 'comma'}" in log.found


def test_thousands_first_met_late_in_a_log_are_found(tmp_path: Path) -> None:
    text = "time_s;T °C\n" + rows(lambda t, v: f"{t:.0f};{grouped(1.5 * v, '.')}", 20.0)
    assert text.splitlines().index(next(x for x in text.splitlines() if "." in x)) > 1000
    assert celsius(logged(tmp_path, text).trace.peak) == pytest.approx(1290.0, abs=2.0)


def test_steps_of_half_an_hour_written_in_groups_are_seconds(tmp_path: Path) -> None:
    text = "time;T °C\n" + rows(lambda t, v: f"{grouped(t, ',')};{v:.0f}", 1800.0)
    assert logged(tmp_path, text).time[-1] == pytest.approx(17 * HOUR)


def test_three_decimals_stay_decimals(tmp_path: Path) -> None:
    """Written in full, or without their last noughts; even next to a whole number."""
    full = "time_s;T °C\n" + rows(lambda t, v: f"{t:.0f};{comma(v, 3)}")
    short = "time_s;T °C\n" + rows(lambda t, v: f"{t:.0f};{round(v, 3):g}".replace(".", ","))
    whole = "time_s;T °C\n" + rows(
        lambda t, v: f"{t:.0f};{v // 1:.0f},125" if t % 600 else f"{t:.0f};{v:.0f}"
    )
    for text in (full, short, whole):
        log = logged(tmp_path, text)
        assert "decimal comma" in log.found
        assert celsius(log.trace.peak) == pytest.approx(860.0, abs=1.0)


def against(log: FiringLog) -> Array:
    """Differences of the ware from the truth, in K, at the readings after the first."""
    time, value = kiln()
    seen = np.interp(time + log.lead, log.trace.time, celsius(log.trace.ware))
    return np.asarray((seen - value)[1:])


def mended(log: FiringLog) -> tuple[str, ...]:
    """Notes but for the last two degrees of the truth's cooling, which are always added."""
    assert log.notes[-1].startswith("ends at 27 °C; cooled on as it was to 25 °C, ")
    return log.notes[:-1]


@pytest.mark.parametrize("style", STYLES)
def test_a_log_is_read_whatever_its_form(tmp_path: Path, style: str) -> None:
    text, word = STYLES[style]
    log = logged(tmp_path, text)
    assert word in "; ".join(log.found), log.found
    # readings rounded to 1 °C at worst, nodes within 1 K of them
    assert np.abs(against(log)).max() < 2.0
    assert not mended(log)


def test_the_trace_goes_from_cold_to_cold_with_close_nodes_and_few_corners(tmp_path: Path) -> None:
    log = logged(tmp_path, STYLES["seconds and °C, named"][0])
    curve = log.trace
    assert curve.time[0] == 0.0
    assert np.all(np.diff(curve.time) > 0.0)
    assert curve.ware[0] == ROOM
    assert curve.ware[-1] == pytest.approx(END, abs=0.1)
    assert np.abs(np.diff(curve.ware)).max() <= GRID + 1e-9
    hours = (curve.time[curve.breakpoints] - log.lead) / HOUR
    for end in (6.0, 7.0, 10.0, 11.0):  # ends of ramps and holds
        assert np.abs(hours - end).min() < 0.05
    assert curve.breakpoints[0] == 0
    assert curve.breakpoints[-1] == curve.time.size - 1
    assert curve.breakpoints.size < 30


def test_the_kilns_thermocouple_leaves_the_ware_behind_by_its_lag(tmp_path: Path) -> None:
    text = STYLES["seconds and °C, named"][0]
    curve = logged(tmp_path, text, thermocouple="kiln", lag=900.0).trace
    middle = np.searchsorted(curve.time, 4 * HOUR)  # far along the first ramp: rate × lag behind
    rate = (420.0 - 22.0) / (6 * HOUR)
    assert curve.kiln[middle] - curve.ware[middle] == pytest.approx(rate * 900.0, abs=0.6)
    assert np.array_equal(logged(tmp_path, text).trace.ware, logged(tmp_path, text).trace.kiln)


def test_spikes_noise_gaps_and_clocks_are_mended_and_told(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    time, value = kiln(5.0)
    value = value + rng.normal(0.0, 1.5, value.size)
    value[1000], value[5000:5002] = 1300.0, 0.0
    lines = [f"{t:.0f},{v:.1f}" for t, v in zip(time, value, strict=True)]
    del lines[6000:6300]
    lines[200] = f"{time[200]:.0f},---"
    log = logged(tmp_path, "time_s,T_C\n" + "\n".join(lines) + "\n")
    told = "; ".join(log.notes)
    assert "1 spike put out (line 1002)" in told
    assert "2 readings of an open thermocouple (0) left out as a gap (line 5002, 5003)" in told
    assert "no readings for 25 min" in told
    assert "line 6002" in told
    assert "1 row without a temperature left out (line 202)" in told
    assert "noise of" in told
    assert (
        np.abs(against(log)).max() < 5.0
    )  # breakpoints rounded by a mean over a minute, and noise
    assert celsius(log.trace.peak) == pytest.approx(860.0, abs=1.5)


def test_a_clock_set_back_is_continued_and_told(tmp_path: Path) -> None:
    text = "time,T °C\n" + rows(
        lambda t, v: f"{at(t - 3600.0 * (t > 36000.0)):%Y-%m-%d %H:%M:%S},{v:.1f}"
    )
    log = logged(tmp_path, text)
    assert mended(log) == ("line 603: clock set back by 60 min; continued after 60 s",)
    assert np.abs(against(log)).max() < 1.5


def test_a_clock_set_on_is_told_as_one(tmp_path: Path) -> None:
    text = "time,T °C\n" + rows(
        lambda t, v: f"{at(t + 3600.0 * (t > 10800.0)):%Y-%m-%d %H:%M:%S},{v:.1f}"
    )
    (note,) = mended(logged(tmp_path, text))
    assert note.startswith("line 183: clock set on, or no readings for 61 min")


def test_a_log_that_begins_or_ends_warm_is_completed_and_told(tmp_path: Path) -> None:
    text = "time_s,T_C\n" + "".join(
        f"{t:.0f},{v:.1f}\n" for t, v in zip(*kiln(), strict=True) if 3 * HOUR < t < 13.5 * HOUR
    )
    log = logged(tmp_path, text)
    assert log.notes[0].startswith("begins at 222 °C")
    assert log.notes[0].endswith(f"{log.lead / HOUR:.1f} h added")
    assert log.notes[1].startswith("ends at 137 °C")
    added = log.trace.time[-1] - log.lead - log.time[-1]
    assert log.notes[1].endswith(f"to 25 °C, {added / HOUR:.1f} h added")
    assert log.trace.ware[0] == ROOM
    assert log.trace.ware[-1] == pytest.approx(END, abs=0.1)


@pytest.mark.parametrize(("room", "noise"), [(26.5, 0.0), (30.0, 0.0), (32.0, 0.6), (45.0, 0.0)])
def test_a_log_that_levels_off_in_a_warm_room_has_ended(tmp_path: Path, room: float, noise: float):
    """Its plateau is no slow cooling to 25 °C, which would take days."""
    time = np.arange(0.0, 38.25 * HOUR, 300.0)
    value = np.interp(time, [0.0, 5.0 * HOUR], [20.0, 850.0])
    cooling = time > 5.0 * HOUR
    value[cooling] = room + (850.0 - room) * np.exp(-(time[cooling] / HOUR - 5.0) / 2.5)
    value += noise * np.random.default_rng(3).standard_normal(value.size)
    text = "time_s,T_C\n" + "".join(f"{t:.0f},{v:.1f}\n" for t, v in zip(time, value, strict=True))
    log = logged(tmp_path, text)
    assert log.trace.time[-1] - log.lead == pytest.approx(log.time[-1])
    assert log.notes[-1].startswith("stays at ")
    assert log.notes[-1].endswith("°C in the end; taken as that of its room, nothing added")


def test_what_is_added_to_a_log_that_ends_hand_warm_is_told(tmp_path: Path) -> None:
    """Cut on its way to 20 °C it goes on as it was, however little."""
    time = np.arange(0.0, 20.0 * HOUR, 300.0)
    value = np.interp(time, [0.0, 5.0 * HOUR], [20.0, 850.0])
    cooling = time > 5.0 * HOUR
    value[cooling] = 20.0 + 830.0 * np.exp(-(time[cooling] / HOUR - 5.0) / 2.5)
    cut = np.flatnonzero(cooling & (value < 32.0))[0]
    text = "time_s,T_C\n" + "".join(
        f"{t:.0f},{v:.1f}\n" for t, v in zip(time[:cut], value[:cut], strict=True)
    )
    (note,) = logged(tmp_path, text).notes
    assert note == "ends at 32 °C; cooled on as it was to 25 °C, 2.2 h added"


def test_noise_in_the_last_readings_makes_no_other_end_of_the_cooling(tmp_path: Path) -> None:
    """Half an hour of a slow kiln falls by less than its thermocouple is out by."""
    draw, lengths = np.random.default_rng(5), []
    time = np.arange(0.0, 40.0 * HOUR, 300.0)
    value = np.interp(time, [0.0, 4.0 * HOUR], [20.0, 800.0])
    slow = time > 4.0 * HOUR
    value[slow] = 20.0 + 780.0 * np.exp(-(time[slow] / HOUR - 4.0) / 8.0)
    keep = value[slow].size - int((value[slow] < 45.0).sum()) + int((~slow).sum())
    for noise in (0.0, 0.8, 0.8, 0.8):
        told = value[:keep] + noise * draw.standard_normal(keep)
        text = "time_s,T_C\n" + "".join(
            f"{t:.0f},{v:.1f}\n" for t, v in zip(time[:keep], told, strict=True)
        )
        lengths.append(logged(tmp_path, text).trace.time[-1] / HOUR)
    true = 4.0 + 8.0 * np.log(780.0 / (END - ROOM))
    assert lengths[0] == pytest.approx(true, abs=0.2)
    assert lengths == pytest.approx([true] * 4, abs=1.5)


@pytest.mark.parametrize(("room", "told"), [(19.2, False), (7.0, True), (-12.0, True)])
def test_a_log_of_a_cold_studio_counts_from_20_degrees(tmp_path: Path, room: float, told: bool):
    time, value = kiln()
    value = np.where(value < 24.0, room, value)
    text = "time_s,T_C\n" + "".join(f"{t:.0f},{v:.1f}\n" for t, v in zip(time, value, strict=True))
    log = logged(tmp_path, text)
    assert log.trace.ware.min() == ROOM
    assert log.trace.peak == pytest.approx(860.0 + 273.15, abs=1.0)
    assert any(f"as cold as {room:.0f} °C; taken as 20 °C" in note for note in log.notes) == told


WRONG: dict[str, tuple[str, tuple[str, ...], dict[str, object]]] = {
    "a letter for a digit": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{'8O0' if t == 2400 else f'{v:.1f}'}"),
        ("line 42, T_C: '8O0' is not a number",), {},
    ),
    "a log that never gets hot": (
        "time_s,T_C\n" + "".join(f"{60 * n},{20 + n}\n" for n in range(40)),
        ("no column of temperatures, which would pass 150", "2 'T_C'", "(column)"), {},
    ),
    "a time that is none": (
        "time,T_C\n" + rows(lambda t, v: f"{'25:99' if t == 2400 else f'{at(t):%H:%M}'},{v:.1f}"),
        ("line 42: time '25:99'; allowed: HH:MM",), {},
    ),
    "a date that is none": (
        "time,T_C\n" + rows(
            lambda t, v: f"{'31.02.2026 10:00' if t == 2400 else f'{at(t):%d.%m.%Y %H:%M}'},{v:.1f}"
        ),
        ("line 42: time '31.02.2026 10:00'; allowed: a day of the calendar",), {},
    ),
    "a short row": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f}" if t == 2400 else f"{t:.0f},{v:.1f}"),
        ("line 42: 1 cells, where line 2 has 2",), {},
    ),
    "commas for both": (
        "min,T\n" + rows(lambda t, v: f"{comma(t / 60)},{comma(v)}"),
        ("line 2: 4 cells under 2 names", "semicolons"), {},
    ),
    "too hot for a thermocouple": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{2500.0 if t == 2400 else v:.1f}"),
        ("line 42, T_C: 2500 °C", "-60 to 2300 °C"), {},
    ),
    "a thermocouple open most of the time": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{9999.0 if t > 2399 else v:.1f}"),
        ("line 42, T_C: 9999", "more than half"), {},
    ),
    "two logs in one": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}") + "0,22.0\n60,23.0\n",
        ("line 1052: time begins anew", "a second log"), {},
    ),
    "a clock set back in another firing": (
        "time,T_C\n"
        + rows(lambda t, v: f"{at(t - 7200 * (t > 36e3)):%F %H:%M},{v + 90 * (t > 36e3):.0f}"),
        ("line 603: the clock goes back by 2.0 h", "jumps by"), {},
    ),
    "no unit that fits": (
        "time_s,T\n" + rows(lambda t, v: f"{t:.0f},{v + 120:.1f}"),
        ("no unit given", "say which: C, F or K"), {},
    ),
    "begun hot, broken off hot, no unit": (
        "t,T\n" + "".join(f"{t:.0f},{v:.1f}\n" for t, v in zip(*kiln(), strict=True) if v > 300),
        ("no unit given",), {},
    ),
    "begun and ended on a warm kiln, no unit": (
        "time_min,temp\n" + rows(lambda t, v: f"{t / 60:.0f},{max(v, 58.0):.1f}"),
        ("no unit given, and 58 to 860 may be °C or °F; say which",), {},
    ),
    "no unit of time": (
        "t,T °C\n" + rows(lambda t, v: f"{t / 10:.0f},{v:.1f}"),
        ("no unit of time given", "say which: s, min or h"), {},
    ),
    "two kilns": (
        "time_s,kiln 1 °C,kiln 2 °C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f},{v - 20:.1f}"),
        ("several columns may be the temperature", "2 'kiln 1 °C', 3 'kiln 2 °C'"), {},
    ),
    "no such column": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}"),
        ("no column 'ware'; it has 1 'time_s', 2 'T_C'",), {"column": "ware"},
    ),
    "not the whole firing": (
        "time_s,T_C\n"
        + "".join(f"{t:.0f},{v:.1f}\n" for t, v in zip(*kiln(), strict=True) if t < 11 * HOUR),
        ("ends at 860 °C and is not cooling",), {},
    ),
    "°F read as °C": (
        "time_s,T\n" + rows(lambda t, v: f"{t:.0f},{fahrenheit(max(v, 40.0)):.1f}"),
        ("ends at 104 °C and is not cooling", "read in °C as stated, its numbers look like °F"),
        {"temperature_unit": "C"},
    ),
    "nothing": ("", ("the file is empty",), {}),
    "words": ("a letter\nto a friend\nof three lines\n", ("no columns of numbers",), {}),
    "few readings": ("time_s,T_C\n0,20\n60,300\n120,400\n", ("3 readings with rising times",), {}),
    "a year typed wrong": (
        "time,T_C\n" + rows(
            lambda t, v: f"{'2062' if t == 2400 else '2026'}-{at(t):%m-%d %H:%M},{v:.1f}"
        ),
        ("line 42: 315576.0 h after the row before; allowed: 48.0 h",), {},
    ),
    "a clock that jumps by three hundred thousand years": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t + 1e13 * (t > 2400):.0f},{v:.1f}"),
        ("line 43: 2.8e+09 h after the row before", "a wrong date"), {},
    ),
    "seconds called hours": (
        "time_h,T_C\n" + rows(lambda t, v: f"{t / 60:.0f},{v:.1f}"),
        ("line 723: 721.0 h after the first row; allowed: 720.0 h",), {},
    ),
    "a number too large to be one": (
        "time_s,T_C\n" + rows(lambda t, v: f"{'1e999' if t == 2400 else f'{t:.0f}'},{v:.1f}"),
        ("line 42: time '1e999'; allowed: a number",), {},
    ),
    "thousands in groups by the decimal mark": (
        "min;T °C\n" + rows(lambda t, v: f"{t / 60 + 0.5:.1f};{grouped(1.5 * v, '.')}"),
        ("line 523, column 2: '1.000'", "thousands in groups, by what is the decimal mark"), {},
    ),
    "a line of a megabyte": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{'1,' * 500_000 if t == 2400 else v}"),
        ("line 42: 1000005 characters; allowed: 2000 in a line",), {},
    ),
    "a column of thousands of digits": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}"),
        ("no column '1111", "it has 1 'time_s', 2 'T_C'"), {"column": "1" * 5000},
    ),
    "an unknown place": (
        "time_s,T_C\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}"),
        ("thermocouple = 'lid'", "'ware' or 'kiln'"), {"thermocouple": "lid"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_read_is_refused_with_its_place(tmp_path: Path, case: str) -> None:
    text, words, options = WRONG[case]
    with pytest.raises(InputError) as found:
        logged(tmp_path, text, **options)
    message = str(found.value)
    assert message.startswith(str(tmp_path / "log.csv"))
    assert "\n" not in message
    assert len(message) <= 300 + len(str(tmp_path))
    for word in words:
        assert word in message


LONG = 40_000


@pytest.mark.parametrize(
    "cell", ["1" + " " * LONG + "x", "1" * LONG + "x", "1 " * LONG + "x", "°" * LONG, "1." * LONG]
)
def test_a_long_cell_that_is_no_number_is_none(cell: str) -> None:
    """Blanks between a digit and a letter took seconds for a thousand of them: hours here."""
    assert parse_number(cell) is None
    assert parse_number(cell, ",") is None


@pytest.mark.parametrize("every", [20, pytest.param(1, marks=pytest.mark.long)])
def test_a_week_read_at_every_second_or_nearly_is_thinned_to_what_its_curve_needs(
    tmp_path: Path, every: int
) -> None:
    seconds = np.arange(0, 7 * 24 * 3600, every)
    value = np.interp(seconds, [0, 5e4, 2e5, 5e5, 6.1e5], [22.0, 420.0, 860.0, 860.0, 21.0])
    lines = [f"{t},{v:.1f}" for t, v in zip(seconds.tolist(), value.tolist(), strict=True)]
    (tmp_path / "week.csv").write_text("time_s,T_C\n" + "\n".join(lines), encoding="utf-8")
    log = read_firing_log(tmp_path / "week.csv")
    assert log.time.size == 604_800 // every
    assert log.trace.time.size < 10_000


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_or_a_device_is_no_log(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "log.csv")
    for path in (tmp_path / "log.csv", Path(os.devnull)):
        with pytest.raises(InputError, match=f"{path}: a pipe or a device; allowed: a regular"):
            read_firing_log(path)


def test_what_no_kiln_reaches_in_celsius_is_fahrenheit_without_a_word(tmp_path: Path) -> None:
    text = "time_min,temp\n" + rows(lambda t, v: f"{t / 60:.0f},{fahrenheit(v):.1f}")
    log = logged(tmp_path, text)
    assert "°F by its range" in log.found[-1]
    assert celsius(log.trace.peak) == pytest.approx(860.0, abs=1.0)


def test_a_person_may_say_unit_and_column(tmp_path: Path) -> None:
    two = "t;one;two\n" + rows(lambda t, v: f"{t / 10:.0f};{v - 20:.1f};{v + 273.15:.1f}", 60.0)
    log = logged(tmp_path, two, column="3", temperature_unit="K", time_unit="s", time_column="t")
    assert celsius(log.trace.peak) == pytest.approx(860.0, abs=1.0)
    assert log.time[-1] == pytest.approx(LAST / 10, abs=12.0)
    assert not any("as stated" in note for note in log.notes)


def test_a_unit_that_is_not_the_columns_own_is_read_and_said(tmp_path: Path) -> None:
    """Once 'replay --unit F' won over "(°C)" without a word."""
    text = "time_s,kiln (°C)\n" + rows(lambda t, v: f"{t:.0f},{v:.1f}", 60.0)
    log = logged(tmp_path, text, temperature_unit="F")
    assert celsius(log.trace.peak) == pytest.approx((880.0 - 32.0) / 1.8, abs=15.0)
    (note,) = (note for note in log.notes if "as stated" in note)
    assert "°C by its name, but read in °F as stated" in note
    assert not any("as stated" in note for note in logged(tmp_path, text).notes)


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1050.5", ".", (1050.5, "")), ("1,050.5", ".", (1050.5, "")),
        ("1.050,5", ",", (1050.5, "")), ("1 050,5 °C", ",", (1050.5, "C")),
        ("-12.5F", ".", (-12.5, "F")), (".5", ".", (0.5, "")),
        ("850 degC", ".", (850.0, "C")), ("1e3", ".", (1000.0, "")), ("12:30", ".", None),
        ("1,05,0", ".", None), ("8O0", ".", None), ("", ".", None), ("1.2.3", ".", None),
    ],
)  # fmt: skip
def test_numbers_of_the_trade(text: str, decimal: str, value: tuple[float, str] | None) -> None:
    assert parse_number(text, decimal) == value


@given(st.lists(st.floats(0.0, 1200.0), min_size=3, max_size=60), st.floats(0.1, 50.0))
def test_straight_lines_pass_all_readings_within_the_tolerance(
    values: list[float], tolerance: float
) -> None:
    value = np.array(values)
    time = np.arange(value.size, dtype=float)
    kept = straightened(time, value, tolerance)
    off = np.abs(np.interp(time, time[kept], value[kept]) - value)
    assert off.max() <= tolerance + 1e-9


@few
@given(firings(hottest=1300.0), st.sampled_from(["s", "min", "h"]))
def test_any_firing_written_down_is_read_back(firing, unit: str) -> None:
    curve = trace(firing)
    time = np.arange(0.0, curve.time[-1], max(curve.time[-1] / 2000.0, 10.0))
    scale = {"s": 1.0, "min": 60.0, "h": 3600.0}[unit]
    cells = [f"{t / scale:.5f}" for t in time]
    seconds, form = read_times(cells, range(len(cells)), f"time ({unit})", ".", "log", None)
    assert form == f"time in {unit}"
    np.testing.assert_allclose(seconds, time, atol=0.05)


def test_the_sheet_keeps_line_numbers_over_blank_and_noted_lines(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("name of it\n\n# a note\ntime_s,T_C\n0,20\n\n60,30\n")
    sheet = read_sheet(path)
    assert sheet.lines == (5, 7)
    assert sheet.header == ("time_s", "T_C")


def test_the_example_is_read_with_its_gap_and_its_spike() -> None:
    log = read_firing_log(EXAMPLE, thermocouple="kiln", lag=480.0)
    gap, spike = log.notes
    assert gap.startswith("line 74: no readings for 24 min")
    assert spike.startswith("1 spike put out (line 148)")
    assert celsius(log.trace.peak) == pytest.approx(871.0, abs=1.0)


PRINTED = "\n[printer]\nlayer_mm = 0.3\ndead_volume_ml = 1\n"

# -- replay ------------------------------------------------------------------------------------


def as_log(curve: Trace) -> FiringLog:
    return FiringLog("made.csv", curve.time, curve.kiln, curve, ("made",), ())


def again(curve: Trace, **options: Any) -> Replay:
    return replay(
        written_vessel(TEA_LIGHT), as_log(curve), CARDS, control=COARSE, fineness=0.5, **options
    )


def hotter(curve: Trace, by: float) -> Trace:
    """The same with all above 400 °C stretched to a peak so much hotter."""
    share = np.clip((curve.ware - 673.15) / (curve.peak - 673.15), 0.0, 1.0)
    return Trace(curve.time, curve.ware + by * share, curve.kiln + by * share, curve.breakpoints)


@cache
def too_hot() -> Replay:
    """The planned curve, 66 K hotter, and a crack found beside the joint."""
    return again(hotter(tea_light().trace, 66.0), cracked=0.020)


def test_the_planned_curve_replayed_changes_no_flag() -> None:
    r = again(tea_light().trace, quick=True)
    assert r.changed == r.moved == ()
    assert r.paces[0] == r.paces[1]
    assert "No flag changes its verdict." in as_text(r)


def test_a_replay_judges_the_pot_as_it_was_printed_as_a_check_does() -> None:
    # its changeovers take much off a sharp joint: a replay that left them out would contradict
    # the check of the same file and the same firing
    vessel = written_vessel(TEA_LIGHT + PRINTED)
    found = check_vessel(vessel, CARDS, control=COARSE, quick=True)
    r = replay(vessel, as_log(found.designed.trace), CARDS, control=COARSE, quick=True)
    assert found.smeared
    assert r.why == found.why
    assert r.verdicts[0] == found.verdict
    assert r.verdicts[1].deciding.rule == found.verdict.deciding.rule
    assert r.planned.vessel.bands == found.printed.vessel.bands
    assert len({flag.zone for flag in r.verdicts[0].flags}) > len(vessel.bands) + 2


def test_a_kiln_too_hot_changes_the_flag_of_the_peak() -> None:
    r = too_hot()
    assert r.why == ""  # solids decided
    names = {(before.rule, before.zone, after.verdict) for before, after in r.changed}
    assert ("peak", "fritted body", "caution") in names
    assert r.paces[1].peak - r.paces[0].peak == pytest.approx(66.0)
    assert r.paces[1].above[0] > r.paces[0].above[0]
    assert r.crack is not None
    assert r.crack.material == "fritted body"
    text = as_text(r)
    assert "peak, fritted body: planned go" in text
    assert "Cracked 20 mm up, in fritted body." in text
    assert '"schema": 1' in as_json(r)


def test_what_a_replay_prints_as_an_object_reads_back_as_the_figures_of_its_text() -> None:
    r = too_hot()
    whole, lines = json.loads(as_json(r)), as_text(r).splitlines()
    for column, name in ((33, "plan"), (58, "fired")):
        cells = {line[:32].strip(): line[column : column + 25].strip() for line in lines}
        told = whole[name]
        numbers = {
            "peak of the ware": (told["peak_C"],),
            "fastest heating, half an hour": (told["heating_C_per_h"], told["heating_at_C"]),
            "fastest cooling, half an hour": (told["cooling_C_per_h"], told["cooling_at_C"]),
            **{f"time above {t['above_C']:.0f} °C": (t["min"],) for t in told["time_above"]},
        }
        for row, values in numbers.items():
            found = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", cells[row])]
            assert found == pytest.approx(values, abs=0.56), row
        assert float(cells["cold to cold"].split()[0]) == pytest.approx(told["length_h"], abs=0.051)
        cones = told["between_cones"]
        assert cells["heat work, cone"] in (told["cone"], " to ".join(cones))
        assert cells["verdict"] == told["verdict"]
        assert cells["decided by"] == told["decided_by"]
    assert len(whole["changed"]) == len(r.changed) > 0
    text = " ".join(" ".join(lines).split())
    for change in whole["changed"]:
        after = change["fired"]
        assert f"{after['rule']}, {after['zone']}: planned {change['planned']['verdict']}" in text


def test_rates_and_times_of_a_curve_are_what_was_drawn() -> None:
    time = np.array([0.0, 8.0, 9.0, 13.0]) * HOUR
    ware = np.array([20.0, 820.0, 820.0, 20.0]) + 273.15
    curve = Trace(time, ware, ware, np.arange(4))
    p = pace(curve, (720.0 + 273.15,))
    assert p.heating * HOUR == pytest.approx(100.0)
    assert p.cooling * HOUR == pytest.approx(200.0)
    assert p.above[0] == pytest.approx((1.0 + 1.0 + 0.5) * HOUR)


def test_a_crack_is_held_against_the_models_worst_place_and_moment() -> None:
    response = tea_light()
    crack = find_crack(response, 0.018, 300.0)
    assert abs(crack.worst.height - 0.018) < crack.reach  # the joint is at 18 mm
    assert crack.same_place
    assert crack.here.utilisation <= crack.worst.utilisation
    assert [m.rising for m in crack.heard] == [True, False]
    far = find_crack(response, 0.058)
    assert not far.same_place
    assert far.same_moment is None


def test_a_crack_is_heard_at_what_the_log_shows_while_the_ware_lags_behind() -> None:
    response = tea_light()
    late = replace(response.trace, kiln=response.trace.ware - 40.0)
    shown, own = (
        find_crack(one, 0.018, at)
        for one, at in ((replace(response, trace=late), 300.0 + 273.15 - 40.0),
                        (replace(response, trace=replace(late, kiln=late.ware)), 300.0 + 273.15))
    )  # fmt: skip
    assert shown.heard == own.heard
    assert shown.same_moment == own.same_moment
    assert shown.temperature != own.temperature


def test_a_crack_outside_the_vessel_or_never_so_hot_is_refused() -> None:
    vessel, log = written_vessel(TEA_LIGHT), as_log(tea_light().trace)
    with pytest.raises(InputError, match="cracked at 80 mm; allowed: 0 to 60"):
        replay(vessel, log, CARDS, cracked=0.080)
    with pytest.raises(InputError, match="give both"):
        replay(vessel, log, CARDS, cracked_at=500.0)
    with pytest.raises(InputError, match="a crack at 1127 °C; the log shows"):
        find_crack(tea_light(), 0.02, 1400.0)


def test_the_command_refuses_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "vessel.toml").write_text(TEA_LIGHT)
    (tmp_path / "log.csv").write_text(WRONG["a letter for a digit"][0])
    arguments = ["replay", str(tmp_path / "vessel.toml"), str(tmp_path / "log.csv")]
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "line 42, T_C: '8O0'" in result.stderr
    assert CliRunner().invoke(app, [*arguments, "--time-unit", "weeks"]).exit_code == 3


@pytest.mark.parametrize("code", [9999.0, -32768.0, 99999.9])
@pytest.mark.parametrize("unit", ["C", "F"])
def test_an_open_thermocouple_is_a_gap_and_told(tmp_path: Path, code: float, unit: str):
    def text(broken: bool) -> str:
        def row(t: float, v: float) -> str:
            shown = 1.8 * v + 32.0 if unit == "F" else v
            return f"{t:.0f},{code if broken and 12000 <= t <= 13200 else shown:.1f}"

        return f"time_s,T_{unit}\n" + rows(row)

    found = []
    for broken in (False, True):
        path = tmp_path / f"{broken}.csv"
        path.write_text(text(broken), encoding="utf-8")
        found.append(read_firing_log(path))
    sound, torn = found
    said = "; ".join(torn.notes)
    assert "21 readings of an open thermocouple" in said
    assert f"({code:g}) left out as a gap (line 202, 203, 204, 205, ...)" in said
    assert "no readings for 22 min" in said
    assert torn.trace.peak == pytest.approx(sound.trace.peak, abs=2.0)
    straight = np.interp(torn.trace.time, sound.trace.time, sound.trace.ware)
    assert np.abs(torn.trace.ware - straight).max() < 10.0


@pytest.mark.parametrize("gap", ["2.2e-311", "1e-7", "0.0009"])
def test_readings_closer_than_a_thermocouple_answers_are_one(gap: str, tmp_path: Path) -> None:
    late = "".join(f"{600 * n},{20 + 8 * min(n, 200 - n)}\n" for n in range(1, 201))
    text = f"time_s,temperature_C\n0,0\n{gap},20\n{late}"
    log = logged(tmp_path, text, thermocouple="kiln", lag=600.0)
    assert np.isfinite(log.trace.ware).all()
    assert log.temperature[0] == pytest.approx(283.15)
    assert "1 reading at the same time as another, averaged" in " ".join(log.notes)


def test_a_column_with_a_long_name_is_named_by_its_ends(tmp_path: Path) -> None:
    name = "temperature of the " + "very " * 60 + "hot kiln in C"
    readings = "".join(f"{600 * n},{20 + 3 * n}\n" for n in range(99))
    cold = "".join(f"{600 * n},{n / 9}\n" for n in range(99))
    for rows_, word in ((readings + "59400,x\n", r"\.\.\..*hot kiln in C: 'x'"), (cold, "2 'temp")):
        with pytest.raises(InputError, match=word) as told:
            logged(tmp_path, f"time_s,{name}\n{rows_}")
        assert len(str(told.value)) - len(str(tmp_path)) < 200


def test_times_as_large_as_numbers_go_are_refused_without_a_warning(tmp_path: Path) -> None:
    # a difference of two of them overflows; warnings are errors here
    path = tmp_path / "log.csv"
    path.write_text("a\n-1.797693125e308,,0\n1e300,,\n")
    with pytest.raises(InputError, match=r"log\.csv"):
        read_firing_log(path)


REVERSED: dict[str, tuple[str, Callable[[float, float], str]]] = {
    "seconds": ("time_s,temperature_C", lambda t, v: f"{t:.0f},{v:.1f}"),
    "dates": ("when,temperature_C", lambda t, v: f"{at(t):%Y-%m-%d %H:%M:%S},{v:.1f}"),
    "time of day": ("when,temperature_C", lambda t, v: f"{at(t):%H:%M},{v:.1f}"),
}


@pytest.mark.parametrize("form", REVERSED)
def test_a_log_whose_newest_reading_stands_first_is_read_from_its_end(
    tmp_path: Path, form: str
) -> None:
    head, write = REVERSED[form]
    lines = rows(write).splitlines()
    right = logged(tmp_path, "\n".join([head, *lines]))
    turned = logged(tmp_path, "\n".join([head, *lines[::-1]]))
    assert "its newest reading stands first; read from its last row up" in turned.notes
    assert "newest" not in " ".join(right.notes)
    np.testing.assert_array_equal(turned.trace.time, right.trace.time)
    np.testing.assert_array_equal(turned.trace.ware, right.trace.ware)


@pytest.mark.parametrize("form", REVERSED)
def test_a_log_in_no_order_is_to_be_sorted(tmp_path: Path, form: str) -> None:
    head, write = REVERSED[form]
    lines = rows(write).splitlines()
    np.random.default_rng(1).shuffle(lines)
    with pytest.raises(InputError, match=r"rise and fall from row to row; sort the rows by time"):
        logged(tmp_path, "\n".join([head, *lines]))


@pytest.mark.parametrize(("title", "form"), [("temp_C", float), ("temp", fahrenheit)])
def test_zeros_between_hot_readings_are_of_no_thermocouple(
    tmp_path: Path, title: str, form: Callable[[float], float]
) -> None:
    lines = rows(lambda t, v: f"{t:.0f},{form(v):.1f}").splitlines()
    right = logged(tmp_path, "\n".join([f"time_s,{title}", *lines]))
    for i in range(300, 306):
        lines[i] = f"{60 * i},0"
    lost = logged(tmp_path, "\n".join([f"time_s,{title}", *lines]))
    assert any("6 readings of an open thermocouple (0) left out" in note for note in lost.notes)
    assert lost.trace.ware[0] == right.trace.ware[0]
    here = np.interp(302.0 * 60.0, lost.trace.time, lost.trace.ware)
    assert here == pytest.approx(np.interp(302.0 * 60.0, right.trace.time, right.trace.ware), abs=3)


@pytest.mark.parametrize("every", [10.0, 60.0, 300.0, 600.0])
def test_a_log_that_begins_in_a_hold_which_swings_does_not_begin_on_cooling(every: float) -> None:
    """Once a fall of a kelvin an hour was enough, which any noise makes; a shut kiln falls more."""
    time = np.arange(0.0, 4.0 * HOUR, every)
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0.0, 1.0, time.size)
        held = 1173.15 - 150.0 / HOUR * np.maximum(time - HOUR, 0.0) + noise
        assert not begins_late(time, held)
        assert begins_late(time, 1173.15 - 60.0 / HOUR * time + 0.3 * noise)
