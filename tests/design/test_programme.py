"""What is set on a controller for what is wished: few segments, whole numbers, never faster."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment.cautions import cautions
from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import (
    COOLINGS,
    FREE,
    RAMPS,
    USUAL_RATE,
    Setting,
    frame,
    with_segments_spared,
)
from cofire.design.programme import (
    BURNING,
    DOWN,
    DRYING,
    SLOW,
    SOAK,
    Wish,
    behind_words,
    merged_words,
    told,
)
from cofire.design.schedule import Fired, _choices, propose_schedule
from cofire.design.starting import started
from cofire.errors import ModelError
from cofire.firing.controller import (
    changes_at,
    presence_words,
    programmes,
    switched_off,
    unset,
)
from cofire.firing.kiln import trace
from cofire.firing.program import Controller, Firing, Segment, read_firing
from cofire.report.firing import kiln_csv
from cofire.report.imperial import as_set, imperial
from cofire.report.plan import schedule_text, segments_text
from cofire.report.read_again import firing_csv, firing_toml
from cofire.units import HOUR, celsius, kelvin
from cofire.vessel import OpenFiring, Vessel
from tests.fired import CARDS, KILNS, tea_light
from tests.planned import joined, not_followed, tea_light_to_plan

pytestmark = pytest.mark.usefixtures("solids_are_rough")

NUMBERS = Controller(numbers=True, given=True)


def on(controller: Controller, vessel: Vessel | None = None) -> Vessel:
    """The small vessel, or another, in a kiln with that controller."""
    vessel = vessel or joined(tea_light_to_plan(), "fine silver", "fritted body")
    kiln = replace(vessel.firing.kiln, controller=controller)
    return replace(vessel, firing=replace(vessel.firing, kiln=kiln))


def closed(firing: Firing) -> list[float]:
    return changes_at(firing, trace(firing))


def packed(latest: float = np.inf) -> Vessel:
    """The small vessel of copper, open while its binder burns, closed hot in carbon."""
    vessel = joined(tea_light_to_plan(), "copper", "talc body")
    firing = read_firing([(500, 60, 60, "air"), (950, 150, 60, "carbon")], KILNS)
    return replace(vessel, firing=replace(firing, latest=latest))


@pytest.mark.parametrize("segments", [1, 2, 3, 4, 6])
@pytest.mark.parametrize("fahrenheit", [False, True])
def test_whatever_the_controller_takes_is_what_is_set(segments: int, fahrenheit: bool) -> None:
    size = 1.8 if fahrenheit else 1.0
    own = Controller(segments, True, fahrenheit, 5 / size, 1 / size / HOUR, 300.0, given=True)
    vessel = on(own)
    whole = frame(vessel, CARDS)
    hottest = max(soak.peak for soak in whole.soaks)
    for setting in (
        Setting(0, 0, 0), Setting(1, USUAL_RATE, USUAL_RATE),
        Setting(2, 0, len(COOLINGS) - 1, 1, 1),
    ):  # fmt: skip
        firing = whole.fired(setting)
        assert unset(firing) == []
        assert not not_followed(vessel, list(firing.segments))
        assert all(np.isfinite(s.rate) for s in firing.segments)
        wished = whole.segments(setting)
        assert firing.peak <= hottest
        soak = max(firing.segments, key=lambda s: s.target)
        assert soak.hold >= whole.soaks[setting.soak].lasting(setting.longer) - 1e-6
        assert soak.rate <= RAMPS[setting.ramp] + 1e-12
        assert firing.segments[0].rate <= wished[0].rate + 1e-12


def test_without_a_limit_nothing_is_joined_and_all_is_whole() -> None:
    whole = frame(on(replace(NUMBERS, numbers=False, given=False)), CARDS)
    setting = Setting(1, USUAL_RATE, USUAL_RATE)
    parts, wished = whole.told(setting), whole.segments(setting)
    assert [part.stages for part in parts] == [(w.stage,) for w in whole.wishes(setting)]
    for part, wish in zip(parts[:-1], wished[:-1], strict=True):  # the kiln is slower in the end
        assert part.segment.target == pytest.approx(wish.target, abs=0.5)
        assert (part.segment.rate, part.segment.hold) == (wish.rate, wish.hold)
    assert all(abs(p.segment.target % 1.0 - 0.15) < 1e-9 for p in parts)
    asked = trace(replace(whole.firing, segments=tuple(wished)))
    assert trace(whole.fired(setting)).time[-1] == pytest.approx(asked.time[-1], rel=2e-3)


def test_what_is_shorter_than_a_step_is_no_segment() -> None:
    coarse = Controller(temperature=20.0, given=True)
    kiln = replace(tea_light_to_plan().firing.kiln, controller=coarse)
    wishes = [
        Wish(SOAK, Segment(kelvin(900.0), 100.0 / HOUR, 600.0)),
        Wish(DOWN, Segment(kelvin(893.0), np.inf)),
        Wish(SLOW, Segment(kelvin(600.0), 60.0 / HOUR)),
    ]
    assert [part.stages for part in told(kiln, wishes)] == [(SOAK,), (SLOW,)]


def test_a_last_fall_at_full_that_is_held_is_set_with_its_hold() -> None:
    wishes = [
        Wish(SOAK, Segment(kelvin(866.0), 150.0 / HOUR, 4500.0)),
        Wish(SLOW, Segment(kelvin(560.0), np.inf, 7200.0)),
    ]
    kiln = tea_light_to_plan().firing.kiln
    for numbers in (False, True):
        own = replace(kiln, controller=Controller(numbers=numbers, given=True))
        parts = told(own, wishes)
        assert [part.segment.hold for part in parts] == [4500.0, 7200.0]
        assert np.isfinite(parts[1].segment.rate) == numbers


@pytest.mark.parametrize("before", [500.0, 871.0])
def test_no_step_is_hotter_than_the_hottest_wish_whatever_it_is_for(before: float) -> None:
    wishes = [
        Wish("segment 0", Segment(kelvin(before), 150.0 / HOUR, 600.0)),
        Wish("segment 1", Segment(kelvin(872.0), 60.0 / HOUR, 4500.0)),
        Wish("segment 2", Segment(kelvin(560.0), 60.0 / HOUR)),
    ]
    coarse = Controller(temperature=20.0, given=True)
    kiln = replace(tea_light_to_plan().firing.kiln, controller=coarse)
    parts = told(kiln, wishes)
    assert max(celsius(part.segment.target) for part in parts) == pytest.approx(860.0)
    assert sum(part.segment.hold for part in parts) >= 4500.0


def test_drying_and_burnout_go_first_or_both_coolings_whichever_the_search_takes() -> None:
    whole = frame(on(Controller(4, given=True)), CARDS)
    first, other = (whole.told(Setting(1, USUAL_RATE, USUAL_RATE, 0, order)) for order in (0, 1))
    assert first[0].stages[0] == DRYING
    assert len(first[0].stages) == 2
    assert first[0].segment.rate == whole.segments(Setting(1, USUAL_RATE, USUAL_RATE))[0].rate
    assert other[-1].stages == (DOWN, SLOW)
    assert other[-1].segment.rate == COOLINGS[USUAL_RATE]
    assert "the controller takes 4 segments" in merged_words(first[0], 4)
    assert merged_words(other[0], 4) == ""
    assert [p.stages for p in other if SOAK in p.stages] == [(SOAK,)]


@pytest.mark.parametrize(
    ("controller", "ramps", "said"),
    [
        (Controller(given=True), [60, 150, np.inf], ""),
        (Controller(2, given=True), [60, 150], "the kiln falls behind it, to 76 °C/h "),
        (
            Controller(2, False, True, given=True),
            [60, 150],
            "the kiln falls behind it, to 137 °F/h",
        ),
        (Controller(2, True, given=True), [60, 75], ""),
    ],
)
def test_a_joined_ramp_that_the_kiln_cannot_keep_says_how_slow_it_becomes(
    controller: Controller, ramps: list[float], said: str
) -> None:
    kiln = tea_light_to_plan().firing.kiln
    weak = replace(kiln, heating_rate=0.3 * kiln.heating_rate, controller=controller)
    wishes = [
        Wish(BURNING, Segment(kelvin(550.0), 60.0 / HOUR, 1800.0)),
        Wish(SOAK, Segment(kelvin(950.0), 150.0 / HOUR, 3600.0)),
    ]
    parts = told(weak, wishes)
    assert [p.segment.rate * HOUR for p in parts] == pytest.approx(ramps)
    first, last = behind_words(weak, parts[0]), behind_words(weak, parts[-1])
    assert first == ""
    assert last.startswith(said)
    assert bool(last) == bool(said)


def test_a_schedule_says_where_the_kiln_falls_behind_a_joined_ramp() -> None:
    vessel = on(Controller(3, given=True))
    kiln = replace(vessel.firing.kiln, heating_rate=0.3 * vessel.firing.kiln.heating_rate)
    whole = frame(replace(vessel, firing=replace(vessel.firing, kiln=kiln)), CARDS)
    setting = Setting(1, 2, USUAL_RATE)
    best = Fired(setting, (), 0.5, 0.5, 10.0 * HOUR)
    reasons = [choice.reason for choice in _choices(whole, best, {setting: best})]
    assert sum("the kiln falls behind it" in reason for reason in reasons) == 1


def test_what_is_judged_is_what_is_written_in_every_file() -> None:
    vessel = on(Controller(2, True, given=True))
    near = Setting(1, 1, 1)
    found = propose_schedule(vessel, CARDS, start=near)
    judged = frame(vessel, CARDS).fired(found.setting)
    assert found.firing.segments == judged.segments
    assert unset(found.firing) == []
    assert found.hours == pytest.approx(trace(judged).time[-1] / HOUR, rel=1e-12)
    rows = [
        (round(s.target - 273.15), round(s.rate * HOUR), round(s.hold / 60))
        for s in judged.segments
    ]
    text = firing_toml(found.firing)
    for csv, columns in (
        (kiln_csv(found.firing), (2, 1, 3)),
        (firing_csv(found.firing), (2, 1, 3)),
    ):
        told = [line.split(",") for line in csv.splitlines()[1:]]
        assert [tuple(int(row[k]) for k in columns) for row in told] == rows
    for to, rate, hold in rows:
        assert f"to_C = {to}\nrate_C_per_h = {rate}\nhold_min = {hold}\n" in text
    assert f"{len(rows)} segments of at most 2" in " ".join(schedule_text(found).split())
    assert any("one ramp at the slower rate" in c.reason for c in found.choices)


@pytest.mark.parametrize("fahrenheit", [pytest.param(False, marks=pytest.mark.long), True])
def test_a_row_of_a_schedule_has_one_unit(fahrenheit: bool) -> None:
    """What sets a segment is told in the degrees in which it is typed in, on the steps of those."""
    size, unit = (1.8, "°F") if fahrenheit else (1.0, "°C")
    vessel = on(Controller(6, True, fahrenheit, 5 / size, 10 / size / HOUR, 300.0, given=True))
    found = propose_schedule(vessel, CARDS, start=Setting(1, 1, 1))
    told = " ".join(choice.reason for choice in found.choices)
    assert {"°C", "°F"} & set(re.findall("°[CF]", told)) == {unit}
    named = re.findall(rf"(\d+) {unit}(/h)?", told)
    assert {int(number) % (10 if rate else 5) for number, rate in named} == {0}
    text, table = schedule_text(found), segments_text(found)
    for line in text.splitlines():
        assert ("°C" if fahrenheit else "°F") not in line
    assert imperial(text, as_set(found.firing, table)).startswith(table)  # set so in any units


def test_a_pack_that_is_closed_hand_warm_makes_two_programmes() -> None:
    rows = [(500, 60, 60, "air"), (40, "full", 0, "air"), (950, 150, 60, "carbon")]
    vessel = on(Controller(2, True, given=True), packed())
    vessel = replace(
        vessel, firing=replace(read_firing(rows, KILNS), kiln=vessel.firing.kiln)
    )  # fmt: skip
    firing = frame(vessel, CARDS).fired(Setting(1, USUAL_RATE, USUAL_RATE))
    assert unset(firing) == []
    assert [len(some) for some in programmes(firing.segments)] == [2, 2]
    assert sum(switched_off(firing.segments)) == 1
    hot = on(Controller(1, given=True), packed())
    with pytest.raises(ModelError, match=r"segments = 1; .* asks for 2 or more"):
        frame(hot, CARDS)


def test_a_pack_is_closed_while_someone_is_there_or_the_hours_are_named() -> None:
    free = frame(packed(), CARDS)
    setting = Setting(1, USUAL_RATE, USUAL_RATE)
    (when,) = closed(free.fired(setting))
    assert frame(packed(when + 60.0), CARDS).burnout == free.burnout
    body = CARDS["talc body"].scaled("particle_size", 0.005).scaled("binder", 3.0)
    slow = {**CARDS, "talc body": body}
    wide, tight = frame(packed(), slow), frame(packed(when + 60.0), slow)
    assert closed(wide.fired(setting))[0] > when + 60.0
    assert closed(tight.fired(setting))[0] <= when + 61.0
    assert tight.in_time(setting)
    assert "someone is there until" in tight.burnout_reason
    with pytest.raises(ModelError) as refused:
        frame(packed(2.0 * HOUR), CARDS)
    told = str(refused.value)
    hours = float(told.rsplit("latest_h = ", 1)[1].split()[0])
    assert frame(packed(hours * HOUR), CARDS).in_time(setting)
    with pytest.raises(ModelError, match="latest_h"):
        frame(packed((hours - 0.1) * HOUR), CARDS)
    assert "\n" not in told


def test_a_controller_of_few_segments_spares_them_for_a_change_of_gas_in_time() -> None:
    """Drying and burnout go as one slow ramp where a soak and a cooling take the other segments."""
    few = on(Controller(3, True, given=True), packed())
    whole = frame(few, CARDS)
    usual, spared = Setting(0, USUAL_RATE, USUAL_RATE), Setting(0, USUAL_RATE, FREE)
    (joined,), (alone,) = closed(whole.fired(usual)), closed(whole.fired(spared))
    assert alone < joined
    hours = 0.5 * (alone + joined)
    bound = replace(few, firing=replace(few.firing, latest=hours))
    tight = frame(bound, CARDS)
    assert not tight.in_time(usual)
    some = with_segments_spared([usual], tight)
    assert usual in some
    assert any(map(tight.in_time, some))
    found = propose_schedule(bound, CARDS, bench=Bench(CARDS, fineness=ROUGH))
    assert closed(found.firing)[0] <= hours
    assert len(found.firing.segments) <= 3


def test_a_firing_of_its_own_begins_as_the_controller_takes_it() -> None:
    vessel = on(Controller(3, True, given=True))
    asked = replace(
        vessel, left_open=OpenFiring(), firing=replace(vessel.firing, segments=())
    )  # fmt: skip
    assert unset(started(asked, CARDS).firing) == []


def test_check_says_what_cannot_be_set_and_who_is_missing() -> None:
    response = tea_light()
    assert not {"controller", "nobody there"} & {c.hazard for c in cautions(response)}
    kiln = replace(response.vessel.firing.kiln, controller=Controller(2, given=True))

    def hazards(firing: Firing) -> dict[str, str]:
        one = replace(response, trace=trace(firing))
        one = replace(one, vessel=replace(response.vessel, firing=firing))
        return {c.hazard: c.text for c in cautions(one)}

    few = hazards(replace(response.vessel.firing, kiln=kiln))
    assert "3 segments, it takes 2" in few["controller"]
    late = read_firing([(500, 60, 60, "air"), (860, 150, 75, "carbon")], KILNS)
    assert "changed 9.0 h after" in hazards(replace(late, latest=8.0 * HOUR))["nobody there"]
    curve = trace(late)
    assert presence_words(replace(late, latest=10.0 * HOUR), curve) == (
        "Someone is needed 9.0 h after the start, to change the gas; there until 10 h."
    )
    assert presence_words(late, curve) == presence_words(response.vessel.firing, curve) == ""
