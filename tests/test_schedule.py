"""Schedules that the kiln can follow, below every limit, each segment with its reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.errors import InputError, ModelError
from cofire.inputs.firing import LAG, Segment
from cofire.inputs.trace import trace
from cofire.inputs.units import HOUR, MINUTE, kelvin
from cofire.inputs.vessel import Band, Vessel
from cofire.output.plan_tables import firing_csv, firing_toml
from cofire.output.plan_text import schedule_text
from cofire.physics.sintering import relative_density
from cofire.planning.candidates import ROUGH, Bench
from cofire.planning.flags import GO, Flag
from cofire.planning.peaks import peak_and_hold, pure_parts, tops
from cofire.planning.schedule import Fired, propose_schedule, shortest
from cofire.planning.settings import (
    COOLINGS,
    RAMPS,
    Setting,
    frame,
    near,
)
from cofire.planning.windows import SOLIDUS_MARGIN
from tests.fired import CARDS, KILNS
from tests.planned import tea_light_to_plan

RANDOM = 100


def joined(metal: str, ceramic: str, share: int | None = None, **firing: object) -> Vessel:
    """The small vessel of another pair, with a blend between where a share is given."""
    vessel = tea_light_to_plan()
    bands = [Band(metal, 0.0, 18e-3), Band(ceramic, 18e-3, 60e-3)]
    if share is not None:
        blend = Band(f"{metal} + {ceramic} = {share}", 18e-3, 30e-3)
        bands = [bands[0], blend, replace(bands[1], low=30e-3)]
    return replace(vessel, bands=tuple(bands), firing=replace(vessel.firing, **firing))


def limit(name: str) -> float:
    """The hottest a material may get, from its card alone. [K]"""
    card = CARDS[name]
    return card["solidus"].scalar - 15.0 if card.kind == "metal" else card["firing_ceiling"].scalar


def test_the_limit_here_is_that_of_the_windows() -> None:
    assert SOLIDUS_MARGIN == 15.0


PAIRS = [
    ("fine silver", "fritted body"),
    ("copper", "talc body"),
    ("iron", "leucite porcelain"),
    ("copper", "red earthenware"),
    ("gold", "fritted body"),
    ("fine silver", "talc body"),
    ("tin bronze 90/10", "talc body"),
    ("nickel", "fritted body"),
    ("fine silver", "mid-fire stoneware"),
]


def broken(vessel: Vessel, segments: list[Segment]) -> list[str]:
    """What a firing breaks, worked out anew: kiln, limits of the zones, density."""
    kiln = vessel.firing.kiln
    curve = trace(replace(vessel.firing, segments=tuple(segments)))
    heating = np.diff(curve.kiln) / np.diff(curve.time)
    middle = 0.5 * (curve.kiln[1:] + curve.kiln[:-1])
    most = np.interp(middle, kiln.heating_temperature, kiln.heating_rate)
    least = -np.interp(middle, kiln.cooling_temperature, kiln.cooling_rate)
    names = {part.name for part in pure_parts(vessel, CARDS)}
    found = []
    if max(s.target for s in segments) > kiln.max_temperature + 1e-6:
        found.append("kiln's limit")
    if np.any(heating > 1.02 * most + 1e-9) or np.any(heating < 1.02 * least - 1e-9):
        found.append("kiln's rates")
    for name in names:
        if max(s.target for s in segments) > limit(name) + 1e-6:
            found.append(f"kiln above the limit of {name}")
        if curve.peak > limit(name) + 1e-6:
            found.append(f"ware above the limit of {name}")
        card = CARDS[name]
        if relative_density(card, curve, extend=True)[-1] < card["least_density"].scalar - 1e-6:
            found.append(f"{name} stays porous")
    return found


def shares_a_window(vessel: Vessel) -> bool:
    """Whether six hours at the hottest that zones and kiln allow make both zones dense."""
    parts = pure_parts(vessel, CARDS)
    hottest = min(vessel.firing.kiln.max_temperature, *(limit(part.name) for part in parts))
    hottest = kelvin(550.0) + 5.0 * np.floor((hottest - kelvin(550.0)) / 5.0 + 1e-9)
    return not broken(vessel, [Segment(float(hottest), RAMPS[0], 6.0 * HOUR)])


def test_a_hundred_random_requests_give_firings_within_every_limit_or_name_the_window() -> None:
    draw = np.random.default_rng(3)
    refused = kept = 0
    for _ in range(RANDOM):
        metal, ceramic = PAIRS[draw.integers(len(PAIRS))]
        kiln = KILNS[sorted(KILNS)[draw.integers(len(KILNS))]]
        heat, cool = draw.uniform(0.5, 2.0, 2)
        kiln = replace(
            kiln, heating_rate=kiln.heating_rate * heat, cooling_rate=kiln.cooling_rate * cool
        )
        lag = float(draw.choice([0.0, LAG["air"], LAG["carbon"], draw.uniform(0.0, 60.0 * MINUTE)]))
        share = None if draw.random() < 0.5 else int(draw.integers(1, 10)) * 10
        vessel = joined(metal, ceramic, share, kiln=kiln, lag=lag)
        if not shares_a_window(vessel):
            refused += 1
            with pytest.raises(ModelError, match="window"):
                tops(vessel, CARDS, extend=True)
            continue
        found = tops(vessel, CARDS, extend=True)
        kept += 1
        top = found[draw.integers(len(found))]
        ramp = RAMPS[draw.integers(len(RAMPS))]
        cooling = COOLINGS[draw.integers(len(COOLINGS))]
        segments = [
            Segment(top.peak, ramp, top.hold),
            Segment(min(kelvin(600.0), top.peak - 10.0), np.inf),
            Segment(kelvin(300.0), cooling),
        ]
        assert not broken(vessel, segments), (vessel.bands, top)
    assert kept > 20
    assert refused > 5


@pytest.mark.parametrize(("metal", "ceramic"), [PAIRS[0], PAIRS[1], PAIRS[2]])
def test_a_late_ware_in_carbon_gets_a_longer_hold_and_no_hotter_peak(metal, ceramic) -> None:
    bare = joined(metal, ceramic, lag=0.0)
    packed = joined(metal, ceramic, gas="carbon", lag=LAG["carbon"])
    quick, late = tops(bare, CARDS), tops(packed, CARDS)
    assert late[0].peak >= quick[0].peak  # six hours no longer do at the coolest
    assert late[-1].peak == quick[-1].peak
    assert late[-1].hold >= max(quick[-1].hold, 3.0 * LAG["carbon"])
    ware = trace(
        replace(packed.firing, segments=(Segment(late[-1].peak, RAMPS[0], late[-1].hold),))
    )
    assert late[-1].peak - ware.peak < 8.0
    peak, hold = peak_and_hold(packed, CARDS)
    assert not broken(packed, [Segment(peak, RAMPS[0], hold)])
    assert peak <= min(limit(metal), limit(ceramic))


def test_a_blend_shares_the_window_of_its_two_materials() -> None:
    pair, blended = joined("fine silver", "fritted body"), joined("fine silver", "fritted body", 40)
    assert tops(pair, CARDS) == tops(blended, CARDS)


def test_one_material_alone_has_a_window_and_three_have_none() -> None:
    vessel = joined("fine silver", "fritted body")
    alone = replace(vessel, bands=(Band("fritted body", 0.0, 60e-3),))
    assert peak_and_hold(alone, CARDS)[0] <= limit("fritted body")
    three = replace(vessel, bands=(*vessel.bands, Band("copper", 50e-3, 60e-3)))
    with pytest.raises(InputError, match="hold 3"):
        peak_and_hold(three, CARDS)


def test_zones_without_a_shared_window_are_told_how_far_apart_they_are() -> None:
    with pytest.raises(ModelError, match=r"window: .* K apart"):
        propose_schedule(joined("fine silver", "hard porcelain"), CARDS)


def test_peaks_stay_within_the_tables_unless_they_may_be_extended() -> None:
    vessel = joined("fine silver", "fritted body")
    short = CARDS["fritted body"]
    table = short["young_modulus"]
    cut = replace(table, temperature=np.minimum(table.temperature, kelvin(800.0)))
    last = int(np.flatnonzero(cut.temperature >= kelvin(800.0) - 1e-6)[0])
    cut = replace(cut, temperature=cut.temperature[: last + 1], value=cut.value[: last + 1])
    shortened = replace(short, properties={**short.properties, "young_modulus": cut})
    cards = {**CARDS, "fritted body": shortened}
    assert max(top.peak for top in tops(vessel, cards)) <= kelvin(800.0) + 1e-6
    assert max(top.peak for top in tops(vessel, cards, extend=True)) > kelvin(850.0)


def flag(load: float, caution: float = 0.5) -> Flag:
    return Flag("cooling", "body", load, caution, load, 1.0, "-", "", "", "")


def test_the_shortest_that_keeps_every_flag_is_proposed_else_the_least_load() -> None:
    def fired(load: float, hours: float, index: int) -> Fired:
        return Fired(Setting(0, index, 0), (flag(load),), load, hours)

    good, quick_good, bad = fired(0.2, 30.0, 0), fired(0.4, 20.0, 1), fired(0.9, 5.0, 2)
    assert shortest([good, quick_good, bad]) is quick_good
    worse, worst = fired(1.2, 8.0, 3), fired(1.5, 2.0, 4)
    assert shortest([worse, worst]) is worse
    assert shortest([bad, fired(0.901, 4.0, 5)]).length == 4.0


@pytest.fixture(scope="module")
def schedule():
    return propose_schedule(
        joined("fine silver", "fritted body", 30), CARDS, bench=Bench(CARDS, fineness=ROUGH)
    )


def test_a_schedule_keeps_the_limits_and_gives_every_segment_a_reason(schedule) -> None:
    vessel = joined("fine silver", "fritted body", 30)
    assert not broken(vessel, list(schedule.firing.segments))
    assert [c.segment for c in schedule.choices] == list(schedule.firing.segments)
    assert all(choice.reason for choice in schedule.choices)
    top = schedule.choices[2].reason
    assert all(word in top for word in ("ramp:", "peak:", "hold:"))
    text = schedule_text(schedule)
    assert f"{schedule.tried} firings tried" in text
    assert schedule.hours == pytest.approx(trace(schedule.firing).time[-1] / HOUR, rel=1e-3)


def test_a_schedule_is_no_worse_than_its_neighbours(schedule) -> None:
    vessel = joined("fine silver", "fritted body", 30)
    whole = frame(vessel, CARDS)
    again = propose_schedule(
        vessel, CARDS, bench=Bench(CARDS, fineness=ROUGH), whole=whole, start=schedule.setting
    )
    assert again.setting == schedule.setting
    assert again.load == pytest.approx(schedule.load, rel=0.02)
    assert schedule.setting in near(schedule.setting, whole)


def test_burnout_slows_where_the_wall_is_thick_and_the_powder_fine() -> None:
    vessel = joined("fine silver", "fritted body")
    cards = {
        **CARDS,
        "fritted body": CARDS["fritted body"].scaled("particle_size", 0.005).scaled("binder", 3.0),
    }
    thick = replace(vessel, wall=4.0 * vessel.wall)
    slow, usual = frame(thick, cards).burnout, frame(vessel, CARDS).burnout
    assert slow.rate < usual.rate
    assert "burnout of fritted body" in frame(thick, cards).burnout_reason


def test_an_interrupt_keeps_the_best_so_far() -> None:
    def stop(tried: int) -> None:
        if tried == 3:
            raise KeyboardInterrupt

    vessel = joined("fine silver", "fritted body")
    found = propose_schedule(
        vessel, CARDS, progress=stop, bench=Bench(CARDS, fineness=ROUGH)
    )  # fmt: skip
    assert not found.finished
    assert found.tried == 3
    assert "Interrupted" in schedule_text(found)


def test_a_schedule_is_written_as_a_file_that_is_read_back(schedule, tmp_path) -> None:
    from cofire.inputs.firing import read_firing

    for names in (KILNS, ()):  # by name, and with its kiln written out
        path = tmp_path / "firing.toml"
        path.write_text(firing_toml(schedule.firing, names), encoding="utf-8")
        back = read_firing(path, KILNS if names else {})
        assert back.gas == schedule.firing.gas
        assert back.lag == pytest.approx(schedule.firing.lag)
        one, two = trace(back), trace(schedule.firing)
        assert one.time[-1] == pytest.approx(two.time[-1], rel=1e-4)
        assert one.peak == pytest.approx(two.peak, abs=0.01)
    rows = firing_csv(schedule.firing, {0: 'say "why"'}).splitlines()
    assert len(rows) == 1 + len(schedule.firing.segments)
    assert "say 'why'" in rows[1]
    assert GO == 0
