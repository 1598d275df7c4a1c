"""A firing as a person writes it, and the kiln that must follow it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cofire.errors import InputError, UnknownName
from cofire.firing.kiln import trace
from cofire.firing.program import (
    LAG,
    Firing,
    Segment,
    find_kiln,
    load_kilns,
    read_firing,
    read_kiln,
    simple_firing,
)
from cofire.materials.properties import GASES
from cofire.units import HOUR, MINUTE, kelvin
from tests.strategies import KILNS

STUDIO = KILNS["small studio kiln"]
EXAMPLES = Path(__file__).parents[2] / "examples"
STEP: dict[str, Any] = {"to_C": 900, "rate_C_per_h": 150, "hold_min": 30}


def kiln_table(**changes: object) -> dict[str, Any]:
    table: dict[str, Any] = {
        "name": "test kiln",
        "max_temperature_C": 1000,
        "heating": {"temperature_C": [20, 1000], "rate_C_per_h": [600, 200]},
        "cooling": {"temperature_C": [20, 1000], "rate_C_per_h": [0, 300]},
    }
    return {**table, **changes}


def test_a_firing_is_read_into_si() -> None:
    table = {"name": "mine", "gas": "carbon", "lag_min": 20, "segment": [STEP]}
    found = read_firing(table, KILNS, "here")
    assert found.name == "mine"
    assert found.kiln is STUDIO
    assert (found.gas, found.lag) == ("carbon", 20.0 * MINUTE)
    assert found.segments == (Segment(kelvin(900.0), 150.0 / HOUR, 30.0 * MINUTE),)
    assert found.peak == kelvin(900.0)


def test_what_is_not_said_has_a_stated_default() -> None:
    found = read_firing({"segment": [{"to_C": 500, "rate_C_per_h": "full"}]}, KILNS, "here")
    assert (found.gas, found.lag, found.kiln) == ("air", LAG["air"], STUDIO)
    assert found.segments == (Segment(kelvin(500.0), np.inf, 0.0),)
    boxed = read_firing({"gas": "carbon", "segment": [STEP]}, KILNS, "here")
    assert boxed.lag == LAG["carbon"] > LAG["air"]


def test_a_firing_may_bring_its_own_kiln() -> None:
    found = read_firing({"kiln": kiln_table(), "segment": [STEP]}, KILNS, "here")
    assert found.kiln.name == "test kiln"
    assert found.kiln.max_temperature == kelvin(1000.0)
    assert found.kiln.heating_rate == pytest.approx(np.array([600.0, 200.0]) / HOUR)
    assert found.kiln.cooling_temperature == pytest.approx([293.15, 1273.15])


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*firing*.toml")), ids=lambda p: p.name)
def test_every_example_firing_runs(path: Path) -> None:
    curve = trace(read_firing(path, KILNS))
    assert curve.peak > kelvin(500.0)


@pytest.mark.parametrize("name", KILNS)
def test_every_shipped_kiln_heats_to_its_limit_and_cools(name: str) -> None:
    kiln = KILNS[name]
    curve = trace(simple_firing(kiln, kiln.max_temperature, 0.0, np.inf, lag=0.0))
    assert curve.peak == pytest.approx(kiln.max_temperature)
    assert "common practice" in kiln.source


def test_a_kiln_is_found_whatever_its_case() -> None:
    assert find_kiln("Small_Studio kiln", KILNS) is STUDIO
    with pytest.raises(UnknownName, match="here: no kiln named 'small stdio kiln'; did you mean"):
        find_kiln("small stdio kiln", KILNS, "here")


def test_a_users_kiln_joins_the_shipped_ones(tmp_path: Path) -> None:
    (tmp_path / "kilns").mkdir()
    text = (
        'name = "mine"\nmax_temperature_C = 1000\n'
        "[heating]\ntemperature_C = [20, 1000]\nrate_C_per_h = [500, 100]\n"
        "[cooling]\ntemperature_C = [20, 1000]\nrate_C_per_h = [0, 250]\n"
    )
    (tmp_path / "kilns" / "mine.toml").write_text(text, encoding="utf-8")
    assert set(load_kilns([tmp_path])) == {*KILNS, "mine"}


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        ({"segment": [{**STEP, "to_C": 1250}]}, r"here: segment 1: to_C = 1250; small studio kiln"),
        ({"segment": [STEP, {**STEP, "to_C": 20}]}, r"segment 2: to_C = 20; allowed: 25 °C"),
        ({"segment": [{**STEP, "rate_C_per_h": 0}]}, r"segment 1: rate_C_per_h = 0; allowed"),
        ({"segment": [{**STEP, "ramp": 3}]}, r"segment 1: no field named 'ramp'"),
        ({"segment": []}, r"segment"),
        ({"segment": 3}, r"here: \[\[segment\]\]: 3; allowed: 1 to 60 segments"),
        ({"segment": [STEP] * 61}, r"here: \[\[segment\]\]: 61 of them; allowed: 1 to 60 segments"),
        ({"gas": "argon", "segment": [STEP]}, r"here: no gas named 'argon'"),
        ({"lag_min": -1, "segment": [STEP]}, r"here: lag_min = -1; allowed: 0 to 600"),
    ],
)
def test_a_wrong_firing_is_refused_with_its_place(table: dict[str, Any], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        read_firing(table, KILNS, "here")


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"max_temperature_C": 5000}, r"here: max_temperature_C = 5000; allowed: 200 to 2200"),
        (
            {"heating": {"temperature_C": [20, 800], "rate_C_per_h": [600, 200]}},
            r"here: \[heating\]: .* must cover 20 to max_temperature_C",
        ),
        (
            {"cooling": {"temperature_C": [20, 500, 1000], "rate_C_per_h": [0, 0, 300]}},
            r"\[cooling\]",
        ),
        ({"heating": {"temperature_C": [20, 20], "rate_C_per_h": [1, 1]}}, r"\[heating\]"),
        ({"volume": 3}, r"here: no field named 'volume'"),
    ],
)
def test_a_wrong_kiln_is_refused_with_its_place(changes: dict[str, Any], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        read_kiln(kiln_table(**changes), "here")


@pytest.mark.parametrize("gas", GASES)
def test_a_simple_firing_has_the_lag_of_its_gas(gas: str) -> None:
    found = simple_firing(STUDIO, kelvin(900.0), HOUR, 150.0 / HOUR, gas)
    assert found.lag == LAG[gas]
    assert found.name == "900 °C, 60 min"


def test_a_simple_firing_hotter_than_its_kiln_is_refused() -> None:
    with pytest.raises(InputError, match=r"to_C = 1201; small studio kiln reaches at most 1200 °C"):
        simple_firing(STUDIO, kelvin(1201.0), 0.0, 150.0 / HOUR)


def test_the_peak_is_the_hottest_of_all_segments() -> None:
    targets = (kelvin(400.0), kelvin(900.0), kelvin(600.0))
    assert Firing("f", STUDIO, tuple(Segment(t, 0.04) for t in targets)).peak == targets[1]


def test_a_firing_has_at_most_sixty_segments_as_the_guide_says() -> None:
    row = {"to_C": 300.0, "rate_C_per_h": 100.0}
    many = {"name": "steps", "segment": [row | {"to_C": 300.0 + n} for n in range(61)]}
    assert len(read_firing(many | {"segment": many["segment"][:60]}, KILNS).segments) == 60
    with pytest.raises(InputError, match="60"):
        read_firing(many, KILNS)
