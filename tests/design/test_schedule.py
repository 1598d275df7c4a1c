"""Schedules that the kiln can follow, below every limit, each segment with its reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment.rule import GO, Flag
from cofire.assessment.windows import SOLIDUS_MARGIN
from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import (
    BURNOUT_HOLDS,
    BURNOUT_RATES,
    COOLINGS,
    RAMPS,
    Setting,
    burnouts,
    frame,
    near,
    soaks,
)
from cofire.design.objective import Outcome
from cofire.design.programme import SLOW, SOAK, Part, followed
from cofire.design.schedule import Fired, _why, against, propose_schedule, shortest
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import trace
from cofire.firing.program import LAG, Segment
from cofire.report.plan import schedule_text
from cofire.report.read_again import firing_csv, firing_toml
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin
from cofire.vessel import Band, Vessel
from tests.fired import CARDS, KILNS
from tests.planned import (
    PAIRS,
    broken_firing,
    joined,
    limit,
    not_followed,
    random_firing,
    shares_a_window,
    tea_light_to_plan,
)

RANDOM = 100


def laid(metal: str, ceramic: str, share: int | None = None, **firing: object) -> Vessel:
    """The small vessel of another pair, with a blend between where a share is given."""
    vessel = joined(tea_light_to_plan(), metal, ceramic, share)
    return replace(vessel, firing=replace(vessel.firing, **firing))


def test_the_limit_here_is_that_of_the_windows() -> None:
    assert SOLIDUS_MARGIN == 15.0
    assert RAMPS[0] == 300.0 / HOUR


@pytest.mark.parametrize("count", [RANDOM // 4, pytest.param(RANDOM, marks=pytest.mark.long)])
def test_random_requests_give_firings_within_every_limit_or_name_the_window(count: int) -> None:
    draw = np.random.default_rng(3)
    refused = kept = 0
    for _ in range(count):
        vessel = random_firing(draw, tea_light_to_plan())
        if not shares_a_window(vessel):
            refused += 1
            with pytest.raises(ModelError, match="window"):
                soaks(vessel, CARDS, extend=True)
            continue
        whole = frame(vessel, CARDS, extend=True)
        kept += 1
        for ramp, cooling in ((0, 0), (len(RAMPS) - 1, len(COOLINGS) - 1)):
            setting = Setting(int(draw.integers(len(whole.soaks))), ramp, cooling)
            assert not broken_firing(vessel, whole.segments(setting)), (vessel.bands, setting)
            at, told = ROOM, []
            for segment in whole.segments(setting):
                told += followed(vessel.firing.kiln, at, segment)
                at = segment.target
            assert not not_followed(vessel, told)
            asked = trace(replace(vessel.firing, segments=tuple(whole.segments(setting))))
            meant = trace(replace(vessel.firing, segments=tuple(told)))
            assert meant.time[-1] == pytest.approx(asked.time[-1], rel=2e-3)
    assert kept > 0.2 * count
    assert refused > 0.05 * count


@pytest.mark.parametrize(("metal", "ceramic"), [PAIRS[0], PAIRS[1], PAIRS[2]])
def test_a_late_ware_in_carbon_gets_a_longer_hold_and_no_hotter_peak(metal, ceramic) -> None:
    bare = laid(metal, ceramic, lag=0.0)
    packed = laid(metal, ceramic, gas="carbon", lag=LAG["carbon"])
    quick, late = soaks(bare, CARDS), soaks(packed, CARDS)
    assert late[0].peak >= quick[0].peak  # six hours no longer do at the coolest
    assert late[-1].peak == quick[-1].peak
    assert late[-1].hold >= max(quick[-1].hold, 3.0 * LAG["carbon"])
    ware = trace(
        replace(packed.firing, segments=(Segment(late[-1].peak, RAMPS[0], late[-1].hold),))
    )
    assert late[-1].peak - ware.peak < 8.0
    for soak in late:
        assert not broken_firing(packed, [Segment(soak.peak, RAMPS[0], soak.hold)])
        assert soak.peak <= min(limit(CARDS[name], "carbon") for name in (metal, ceramic))


def test_a_blend_shares_the_window_of_its_two_materials() -> None:
    pair, blended = laid("fine silver", "fritted body"), laid("fine silver", "fritted body", 40)
    assert soaks(pair, CARDS) == soaks(blended, CARDS)


def test_one_material_alone_has_a_window_and_three_have_none() -> None:
    vessel = laid("fine silver", "fritted body")
    alone = replace(vessel, bands=(Band("fritted body", 0.0, 60e-3),))
    assert max(soak.peak for soak in soaks(alone, CARDS)) <= limit(
        CARDS["fritted body"], vessel.firing.gas
    )
    three = replace(vessel, bands=(*vessel.bands, Band("copper", 50e-3, 60e-3)))
    with pytest.raises(InputError, match="hold 3"):
        soaks(three, CARDS)


def test_zones_without_a_shared_window_are_told_how_far_apart_they_are() -> None:
    with pytest.raises(ModelError, match=r"window: .* K apart"):
        propose_schedule(laid("fine silver", "hard porcelain"), CARDS)


def test_peaks_stay_within_the_tables_unless_they_may_be_extended() -> None:
    vessel = laid("fine silver", "fritted body")
    short = CARDS["fritted body"]
    table = short["young_modulus"]
    cut = replace(table, temperature=np.minimum(table.temperature, kelvin(800.0)))
    last = int(np.flatnonzero(cut.temperature >= kelvin(800.0) - 1e-6)[0])
    cut = replace(cut, temperature=cut.temperature[: last + 1], value=cut.value[: last + 1])
    shortened = replace(short, properties={**short.properties, "young_modulus": cut})
    cards = {**CARDS, "fritted body": shortened}
    assert max(soak.peak for soak in soaks(vessel, cards)) <= kelvin(800.0) + 1e-6
    assert max(soak.peak for soak in soaks(vessel, cards, extend=True)) > kelvin(850.0)


def flag(utilisation: float, caution: float = 0.5) -> Flag:
    return Flag(
        rule="cooling", zone="body", utilisation=utilisation, caution=caution, figure=utilisation,
        limit=1.0, unit="-", note="",
    )  # fmt: skip


def test_the_shortest_that_keeps_every_flag_is_proposed_else_the_least_load() -> None:
    def fired(utilisation: float, hours: float, index: int) -> Fired:
        return Fired(Setting(0, index, 0), (flag(utilisation),), utilisation, utilisation, hours)

    good, quick_good, bad = fired(0.2, 30.0, 0), fired(0.4, 20.0, 1), fired(0.9, 5.0, 2)
    assert shortest([good, quick_good, bad]) is quick_good
    worse, worst = fired(1.2, 8.0, 3), fired(1.5, 2.0, 4)
    assert shortest([worse, worst]) is worse
    assert shortest([bad, fired(0.901, 4.0, 5)]).length == 4.0


def test_where_the_chance_is_foretold_it_leads_and_a_go_and_hours_count_beside_it() -> None:
    def fired(chance: float, hours: float, index: int, utilisation: float = 0.9) -> Fired:
        some = np.full(4, chance)
        own = (flag(utilisation),)
        outcome = Outcome(own, utilisation, some, some)
        setting = Setting(0, index, 0)
        return Fired(setting, own, utilisation, utilisation, hours * HOUR, outcome)

    likely, quick = fired(0.60, 40.0, 0), fired(0.50, 20.0, 1)
    assert shortest([likely, quick]) is likely
    assert shortest([likely, fired(0.595, 20.0, 2)]).length == 20.0 * HOUR
    go = fired(0.57, 40.0, 3, 0.2)
    assert shortest([likely, go]) is go
    assert shortest([likely, fired(0.50, 40.0, 4, 0.2)]) is likely
    assert "10 in a hundred pots fewer" in against(likely, quick, "faster", 1.0)
    assert "no longer be a go" in against(go, likely, "hotter", 1.0)
    assert "as many" in against(likely, fired(0.599, 50.0, 5), "slower", 1.0)


def test_of_several_flags_of_one_zone_the_worst_is_compared() -> None:
    """A liquid has one in each gas of a firing."""

    def fired(chance: float, *used: float) -> Fired:
        some = np.full(4, chance)
        own = tuple(flag(one) for one in used)
        outcome = Outcome(own, max(used), some, some)
        return Fired(Setting(0, 0, 0), own, max(used), max(used), HOUR, outcome)

    hot, cooler = fired(0.6, 0.94, 0.41), fired(0.5, 0.91, 0.41)
    assert against(hot, cooler, "990 °C", 1.0) == "990 °C would keep 10 in a hundred pots fewer"
    told = against(cooler, replace(hot, outcome=fired(0.4, 0.94).outcome), "hotter", 1.0)
    assert "0.41" not in told


def test_a_rate_that_the_kiln_nearly_keeps_still_tells_why_it_is_no_faster() -> None:
    whole = frame(laid("fine silver", "fritted body", 30), CARDS)
    slow = Segment(kelvin(196.0), 29.0 / HOUR)
    part = Part(slow, (SLOW,), kelvin(882.0), 30.0 / HOUR)
    ways = {SLOW: "past the set points: faster would crack it"}
    assert _why(part, ways, whole).startswith("past the set points: faster would crack it; a ")
    lame = replace(part, segment=replace(slow, rate=20.0 / HOUR))
    assert _why(lame, ways, whole) == "as fast as the kiln can, which is slower"


def test_a_ramp_set_to_full_is_not_told_as_a_little_slower() -> None:
    """Full is as fast as the kiln can; once it counted as nine tenths of the wish and more."""
    whole = frame(laid("fine silver", "fritted body", 30), CARDS)
    full = Part(Segment(kelvin(960.0), np.inf), (SOAK,), kelvin(876.0), 300.0 / HOUR)
    told = _why(full, {SOAK: "ramp: as fast as was tried"}, whole)
    assert told == "ramp: as fast as the kiln can, which is slower"


@pytest.fixture(scope="module")
def schedule():
    return propose_schedule(
        laid("fine silver", "fritted body", 30), CARDS, bench=Bench(CARDS, fineness=ROUGH)
    )


def test_a_schedule_keeps_the_limits_and_gives_every_segment_a_reason(schedule) -> None:
    vessel = laid("fine silver", "fritted body", 30)
    assert not broken_firing(vessel, list(schedule.firing.segments))
    assert not not_followed(vessel, list(schedule.firing.segments))
    assert [c.segment for c in schedule.choices] == list(schedule.firing.segments)
    assert all(choice.reason for choice in schedule.choices)
    soak = " ".join(choice.reason for choice in schedule.choices[2:])
    assert all(word in soak for word in ("ramp:", "peak:", "hold:"))
    text = schedule_text(schedule)
    assert f"{schedule.tried} firings tried" in text
    assert schedule.hours == pytest.approx(trace(schedule.firing).time[-1] / HOUR, rel=1e-3)


def test_a_schedule_is_no_worse_than_its_neighbours(schedule) -> None:
    vessel = laid("fine silver", "fritted body", 30)
    whole = frame(vessel, CARDS)
    again = propose_schedule(
        vessel, CARDS, bench=Bench(CARDS, fineness=ROUGH), whole=whole, start=schedule.setting
    )
    assert again.setting == schedule.setting
    assert again.utilisation == pytest.approx(schedule.utilisation, rel=0.02)
    assert schedule.setting in near(schedule.setting, whole)


def test_burnout_slows_where_the_wall_is_thick_and_the_powder_fine() -> None:
    vessel = laid("fine silver", "fritted body")
    cards = {
        **CARDS,
        "fritted body": CARDS["fritted body"].scaled("particle_size", 0.005).scaled("binder", 3.0),
    }
    thick = replace(vessel, wall=4.0 * vessel.wall)
    slow, usual = frame(thick, cards).burnout, frame(vessel, CARDS).burnout
    assert slow.rate < usual.rate
    assert "burnout of fritted body" in frame(thick, cards).burnout_reason


def test_a_burnout_that_nothing_mends_is_not_drawn_out() -> None:
    """In carbon some char of the binder stays, however slow the ramp and however long the hold."""
    whole = frame(laid("copper", "talc body", gas="carbon"), CARDS)
    assert whole.burnout == burnouts([whole.burnout.target])[0]
    assert "core of copper" in whole.burnout_reason  # the metal's paste holds more binder
    assert "no slower ramp and no longer hold" in whole.burnout_reason


def test_a_hold_burns_out_where_it_takes_less_time_than_a_slower_ramp() -> None:
    slow = CARDS["fritted body"].scaled("binder", 6.0)
    whole = frame(laid("fine silver", "fritted body"), {**CARDS, "fritted body": slow})
    assert whole.burnout.hold in BURNOUT_HOLDS
    some = burnouts([whole.burnout.target])
    lengths = [(s.target - kelvin(110.0)) / s.rate + s.hold for s in some]
    assert lengths == sorted(lengths)
    assert len(some) == len(set(some)) == len(BURNOUT_RATES) * len(BURNOUT_HOLDS)


def test_a_ramp_that_the_kiln_cannot_keep_is_told_as_full_from_there() -> None:
    kiln = KILNS["small studio kiln"]  # 350 °C/h at 800 °C, 220 at 1000; cools by 120 at 600
    up = followed(kiln, kelvin(550.0), Segment(kelvin(1055.0), 300.0 / HOUR, 90.0 * MINUTE))
    assert [round(celsius(s.target)) for s in up] == [876, 1055]
    assert [s.rate for s in up] == [300.0 / HOUR, np.inf]
    assert [s.hold for s in up] == [0.0, 90.0 * MINUTE]
    down = followed(kiln, kelvin(900.0), Segment(kelvin(300.0), 100.0 / HOUR))
    assert [round(celsius(s.target)) for s in down] == [520, 300]
    assert [s.rate for s in down] == [100.0 / HOUR, np.inf]
    kept = Segment(kelvin(600.0), 60.0 / HOUR)
    assert followed(kiln, kelvin(900.0), kept) == [kept]
    free = Segment(kelvin(100.0), np.inf)
    assert followed(kiln, kelvin(900.0), free) == [free]
    level = followed(kiln, kelvin(550.0), Segment(kelvin(1150.0), 150.0 / HOUR))
    assert [(round(celsius(s.target)), s.rate) for s in level] == [
        (1100, 150.0 / HOUR), (1150, np.inf),
    ]  # fmt: skip
    valley = replace(kiln, heating_rate=kiln.heating_rate * np.array([1, 1, 0.1, 0.1, 1, 1, 1, 1]))
    rates = [s.rate for s in followed(valley, ROOM, Segment(kelvin(800.0), 200.0 / HOUR))]
    assert rates == [200.0 / HOUR, np.inf, 200.0 / HOUR]


def test_a_kiln_that_falls_behind_on_the_last_degrees_gets_one_slower_ramp_and_no_stub() -> None:
    kiln = KILNS["small studio kiln"]  # 300 °C/h up to 876 °C, and 294 at 885
    up = followed(kiln, kelvin(550.0), Segment(kelvin(885.0), 300.0 / HOUR, 90.0 * MINUTE))
    assert up == [Segment(kelvin(885.0), 294.0 / HOUR, 90.0 * MINUTE)]
    far = followed(kiln, kelvin(550.0), Segment(kelvin(905.0), 300.0 / HOUR))
    assert [round(celsius(s.target)) for s in far] == [876, 905]


def test_a_firing_that_counts_is_only_longer_and_any_other_has_a_flag_against_it() -> None:
    def fired(utilisation: float, hours: float) -> Fired:
        return Fired(Setting(0, 0, 0), (flag(utilisation),), utilisation, utilisation, hours * HOUR)

    best, near_it, far = fired(4.52, 20.0), fired(4.50, 21.0), fired(4.58, 9.0)
    enough = 1.02 * 4.45  # the least of all; `far` is within the tie of the best, not of that
    assert against(best, near_it, "faster", enough) == (
        "nothing forbids it, but faster is 1.0 h longer"
    )
    assert "from 4.5 to 4.6 of its limit" in against(best, far, "faster", enough)
    assert against(best, None, "faster", enough) == "as fast as was tried"
    good, quicker = fired(0.3, 20.0), fired(0.7, 10.0)
    assert "from 0.3 to 0.7 of its limit" in against(good, quicker, "faster", enough)


def test_an_interrupt_keeps_the_best_so_far() -> None:
    def stop(tried: int) -> None:
        if tried == 3:
            raise KeyboardInterrupt

    vessel = laid("fine silver", "fritted body")
    found = propose_schedule(
        vessel, CARDS, progress=stop, bench=Bench(CARDS, fineness=ROUGH)
    )  # fmt: skip
    assert not found.finished
    assert found.tried == 3
    assert "Interrupted" in schedule_text(found)


def test_a_schedule_is_written_as_a_file_that_is_read_back(schedule, tmp_path) -> None:
    from cofire.firing.program import read_firing

    for known in (KILNS, {}):  # by name, and with its kiln written out
        path = tmp_path / "firing.toml"
        path.write_text(firing_toml(schedule.firing, known), encoding="utf-8")
        back = read_firing(path, known)
        assert back.gas == schedule.firing.gas
        assert back.lag == pytest.approx(schedule.firing.lag)
        one, two = trace(back), trace(schedule.firing)
        assert one.time[-1] == pytest.approx(two.time[-1], rel=1e-4)
        assert one.peak == pytest.approx(two.peak, abs=0.01)
    rows = firing_csv(schedule.firing, {0: 'say "why"'}).splitlines()
    assert len(rows) == 1 + len(schedule.firing.segments)
    assert '"say ""why"""' in rows[1]
    assert GO == 0
