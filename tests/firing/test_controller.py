"""What can be set on a kiln's controller, and who is there when the gas changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.firing.controller import (
    able,
    changes_at,
    longer,
    on_step,
    programmes,
    set_words,
    slower,
    switched_off,
    too_late,
    unset,
)
from cofire.firing.kiln import trace
from cofire.firing.program import Controller, Firing, read_firing, read_kiln
from cofire.production.job import kiln_steps
from cofire.report.firing import as_text, kiln_csv
from cofire.report.read_again import firing_toml, in_its_degrees
from cofire.report.sheet_firing import programme
from cofire.units import HOUR, MINUTE, celsius, kelvin
from tests.fired import KILNS

STUDIO = KILNS["small studio kiln"]
KILN = {
    "name": "own kiln",
    "max_temperature_C": 1200,
    "heating": {"temperature_C": [20, 600, 1200], "rate_C_per_h": [850, 500, 90]},
    "cooling": {"temperature_C": [20, 600, 1200], "rate_C_per_h": [0, 120, 450]},
}


def read(*rows: tuple[object, ...]) -> Firing:
    return read_firing(list(rows), KILNS)


def with_controller(firing: Firing, **controller: object) -> Firing:
    kiln = replace(firing.kiln, controller=Controller(**controller, given=True))
    return replace(firing, kiln=kiln)


def test_a_controller_is_read_in_its_own_degrees_and_written_again(tmp_path):
    table = {"segments": 6, "rates": "numbers", "degrees": "F", "step_degrees": 5, "step_min": 15}
    kiln = read_kiln({**KILN, "controller": table})
    assert kiln.controller == Controller(
        6, True, True, 5 / 1.8, 1 / 1.8 / HOUR, 15 * MINUTE, given=True
    )
    assert not read_kiln(KILN).controller.given
    firing = replace(read((860, 150, 30)), kiln=kiln, latest=9.5 * HOUR)
    path = tmp_path / "firing.toml"
    path.write_text(firing_toml(firing), encoding="utf-8")
    back = read_firing(path)
    assert back.kiln.controller.segments == 6
    assert (back.kiln.controller.numbers, back.kiln.controller.fahrenheit) == (True, True)
    assert back.kiln.controller.temperature == pytest.approx(5 / 1.8, rel=1e-5)
    assert back.latest == 9.5 * HOUR


def test_a_firing_at_the_limit_of_its_own_kiln_is_read_back(tmp_path):
    own = {**KILN, "max_temperature_C": 1093.3334, "controller": {"degrees": "F"}}
    kiln, firing = read_kiln(own), read((860, 150, 30))
    top = on_step(kiln.controller, kiln.max_temperature, -1)  # 2000 °F
    firing = replace(firing, kiln=kiln, segments=(replace(firing.segments[0], target=top),))
    path = tmp_path / "firing.toml"
    path.write_text(firing_toml(firing), encoding="utf-8")
    back = read_firing(path)
    assert back.peak == pytest.approx(top, abs=1e-5)
    assert back.kiln.max_temperature == pytest.approx(kiln.max_temperature, abs=1e-6)
    assert back.kiln.controller.temperature == pytest.approx(1 / 1.8, rel=1e-8)


def test_a_target_a_hair_above_the_limit_is_at_it():
    own = {**KILN, "max_temperature_C": 1093.3333}
    assert read_firing({"kiln": own, "segment": [{"to_C": 1093.33333, "rate_C_per_h": 150}]})
    with pytest.raises(InputError, match="reaches at most"):
        read_firing({"kiln": own, "segment": [{"to_C": 1093.34, "rate_C_per_h": 150}]})


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ({"segments": 2.5}, "a whole number from 1 to 60"),
        ({"segments": 0}, "allowed: 1 to 60"),
        ({"rates": "fast"}, "'numbers' or 'full'"),
        ({"steps": 1}, "no field named 'steps'"),
    ],
)
def test_a_wrong_controller_is_refused_with_its_field(table, told: str):
    with pytest.raises(InputError, match=r"\[controller\].*") as refused:
        read_kiln({**KILN, "controller": table})
    assert told in str(refused.value)


def test_steps_go_to_whole_numbers_of_either_scale_and_never_faster_or_hotter():
    fahrenheit = Controller(fahrenheit=True, temperature=5 / 1.8, rate=1 / 1.8 / HOUR, given=True)
    for wanted in (548.3, 550.0, 876.9):
        low, near, high = (on_step(fahrenheit, kelvin(wanted), way) for way in (-1, 0, 1))
        assert low <= kelvin(wanted) + 1e-6 <= high + 2e-6
        assert min(abs(near - low), abs(near - high)) < 1e-9
        for one in (low, near, high):
            degrees = 1.8 * celsius(one) + 32.0
            assert degrees / 5.0 == pytest.approx(round(degrees / 5.0), abs=1e-9)
    assert 1.8 * HOUR * slower(fahrenheit, 60.0 / HOUR) == pytest.approx(108.0)
    assert 1.8 * HOUR * slower(fahrenheit, 60.4 / HOUR) == pytest.approx(108.0)
    assert slower(fahrenheit, np.inf) == np.inf
    quarters = Controller(time=15 * MINUTE)
    assert [longer(quarters, m * MINUTE) / MINUTE for m in (0, 15, 16)] == [0, 15, 30]


def test_a_kiln_that_is_off_is_no_segment_and_hand_warm_ends_a_programme():
    packed = read(
        (500, 60, 60), (40, "full"), (860, 150, 60), (600, "full"), (300, 60), (50, "full")
    )
    assert switched_off(packed.segments) == [False, True, False, False, False, True]
    assert programmes(packed.segments) == [[0], [2, 3, 4]]
    # held at 300 °C on the way down somebody's controller has to do it
    waits = read((860, 150, 60), (300, "full"), (250, 60))
    assert programmes(waits.segments) == [[0, 1, 2]]


def test_a_kiln_that_is_off_holds_nothing_above_hand_warm():
    held = read((420, 60, 60), (830, 150), (800, "full", 240))
    assert switched_off(held.segments) == [False, False, False]
    assert switched_off(read((830, 150), (800, "full", 240), (600, "full")).segments)[1:] == [
        False, True,
    ]  # fmt: skip
    assert switched_off(read((830, 150), (40, "full", 240)).segments) == [False, True]
    two = with_controller(held, segments=2, numbers=True)
    count, rate = unset(two)
    assert count == "3 segments, it takes 2"
    assert rate.startswith('segment 3: a rate of "full", it takes numbers only')
    assert set_words(two) == ""
    assert kiln_csv(two).splitlines()[3].endswith(",800,240,yes,air")
    steps = kiln_steps(held.segments, trace(held))
    assert programme(steps).rows[2][1:4] == ["full", "800", "240"]


def test_what_cannot_be_set_is_named_with_its_segment():
    firing = read((110.5, 62.5, 60), (860, "full", 20.5), (560, 60), (40, "full"))
    assert unset(firing) == []  # no file says anything of this controller
    told = unset(with_controller(firing, segments=2, numbers=True))
    assert told[0] == "3 segments, it takes 2"
    assert [line.split(":")[0] for line in told[1:]] == [
        "segment 1", "segment 1", "segment 2", "segment 2",
    ]  # fmt: skip
    assert "62.5 °C/h, it takes steps of 1" in told[1]
    assert "110.5 °C" in told[2]
    rate = int(HOUR * able(STUDIO, kelvin(110.5), kelvin(860.0)))
    assert f"numbers only; the kiln keeps up with {rate} °C/h" in told[3]
    assert "20.5 min" in told[4]
    whole = read((110, 62, 60), (860, rate, 20), (560, 60), (40, "full"))
    assert unset(with_controller(whole, segments=3, numbers=True)) == []


def test_a_rate_that_would_be_set_faster_than_it_is_judged_is_named():
    slow = read((860, 150), (840, 0.6, 0.4))
    assert kiln_csv(slow).splitlines()[2].startswith("2,1,840,")
    assert unset(slow) == ["segment 2: 0.6 °C/h, no file says that it takes less than 1"]
    assert "cannot be set on its controller: segment 2: 0.6 °C/h" in as_text(slow, trace(slow))
    assert unset(with_controller(read((860, 150), (840, 0.6)), rate=0.1 / HOUR)) == []
    assert "0.6 °C/h, it takes steps of 1" in unset(with_controller(slow))[0]


def test_what_the_ware_still_cools_when_its_kiln_is_cold_is_no_hold():
    for lag, ends in ((0.0, "°C/h"), (300.0, "ware cools")):
        for rows in ([(860, 150, 75)], [(860, 150, 75), (25, "full", 60)]):
            firing = replace(read(*rows), lag=lag)
            lines = as_text(firing, trace(firing)).split("\n\n")[1].splitlines()[1:]
            told = [line.split("   ")[-2].strip() for line in lines]
            assert told.count("hold") == len(rows)
            assert told[-1].endswith(ends) or (lag == 0.0 and len(rows) == 2)


def test_the_gas_changes_when_its_segment_begins():
    firing = read((500, 60, 60, "air"), (860, 150, 75, "carbon"))
    curve = trace(firing)
    (when,) = changes_at(firing, curve)
    assert when / HOUR == pytest.approx((500 - 20) / 60 + 1.0, rel=1e-6)
    assert too_late(replace(firing, latest=when + 1.0), curve) is None
    assert too_late(replace(firing, latest=when - 60.0), curve) == when
    assert too_late(read((860, 150, 75)), trace(read((860, 150, 75)))) is None
    waits = replace(read((500, 60, 60, "air"), (40, "full"), (860, 150, 75, "carbon")), latest=60.0)
    assert changes_at(waits, trace(waits)) == []  # the kiln is off until someone comes
    assert too_late(waits, trace(waits)) is None


def test_numbers_in_the_controllers_own_degrees_are_those_that_were_judged():
    own = Controller(fahrenheit=True, temperature=1 / 1.8, rate=1 / 1.8 / HOUR, given=True)
    target, rate = on_step(own, kelvin(871.0)), slower(own, 150.0 / HOUR)
    firing = read((860, 150, 75))
    segments = (replace(firing.segments[0], target=target, rate=rate),)
    kiln = replace(STUDIO, controller=own)
    row = kiln_csv(replace(firing, kiln=kiln, segments=segments), "F").splitlines()[1]
    assert row == "1,270,1600,75,no,air"
    assert in_its_degrees(segments[0], own) == ("270", "1600", "75")
    assert in_its_degrees(firing.segments[0], Controller()) == ("150", "860", "75")
    assert kelvin((1600 - 32) / 1.8) == pytest.approx(target, abs=1e-9)
    assert pytest.approx(rate * HOUR, abs=1e-6) == 270 / 1.8
