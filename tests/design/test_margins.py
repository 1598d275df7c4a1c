"""Shifts of the print, and limits that it would pay to relax."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from cofire.assessment.check import Check
from cofire.design.candidates import ROUGH, Bench
from cofire.design.constraints import keeping, leaves_pure, with_room
from cofire.design.fired_size import in_fired_size
from cofire.design.margins import (
    JUDGED,
    Margins,
    Relaxed,
    Shift,
    _beyond,
    _chance,
    margins,
    print_shifts,
)
from cofire.design.objective import nominal
from cofire.design.transition import Layout, as_vessel, given_layout, zones
from cofire.errors import ModelError
from cofire.report.designs import margins_lines, margins_row
from cofire.vessel import AT_LEAST, FIXED, Freedom, Printer, Vessel
from tests.fired import CARDS, TEA_LIGHT, written_vessel
from tests.planned import tea_light_to_plan

pytestmark = pytest.mark.usefixtures("solids_are_rough")


def proposal(share: int):
    """A tea light of one blend on a bench, and its layout."""
    vessel = tea_light_to_plan()
    metal, ceramic, below = Bench(CARDS).zones(vessel)
    layout = replace(given_layout(vessel, CARDS), shares=(share,), height=6e-3, middle=20e-3)
    joint = replace(vessel.joint, blends=1)
    vessel = as_vessel(
        replace(vessel, joint=joint), metal.name, ceramic.name, below, layout
    )  # fmt: skip
    return vessel, layout


@cache
def by_shells() -> Margins:
    """What relaxed limits bring the proposal, as shells say."""
    vessel, layout = proposal(50)
    found = margins(Bench(CARDS, fineness=ROUGH), vessel, layout, relax=True, samples=2)
    assert found is not None
    return found


def test_a_proposal_that_is_a_no_names_limits_to_relax_and_each_gains() -> None:
    found = by_shells()
    assert len(found.shifts) == 4  # no printer is given
    changes = [shift.change for shift in found.shifts]
    assert changes == sorted(changes)
    assert all(-found.chance <= change <= 1.0 - found.chance for change in changes)
    assert found.relaxed
    assert any("height_mm" in r.what or "blends" in r.what for r in found.relaxed)
    for r in found.relaxed:
        assert f"{r.load:#.3g}" != f"{found.load:#.3g}" or r.change > 0.005
    gains = [r.change for r in found.relaxed]
    assert gains == sorted(gains, reverse=True)


def fading(keep: float, dead: float = 8e-6, **free: tuple[float, float]) -> tuple[Vessel, Layout]:
    """The proposal with a printer whose smear leaves little pure; `keep` of the lower end. [-]"""
    vessel, layout = proposal(50)
    printer = replace(vessel.printer, dead_volume=dead, given=True)
    joint = replace(vessel.joint, keep=keep * layout.foot)
    return replace(vessel, joint=joint, printer=printer, free=Freedom(**free)), layout


def beyond(vessel: Vessel, layout: Layout, key: str) -> dict[str, Vessel]:
    """Limits whose words begin so, and vessels beyond them, each of which can be planned anew."""
    silver, frit, _ = zones(vessel, CARDS)
    seen = {w: v for w, v in _beyond(Bench(CARDS), vessel, layout) if w.startswith(key)}
    for one in seen.values():
        assert leaves_pure(in_fired_size(one, silver, frit), layout)
        assert with_room(one, silver, frit) is one
    return seen


def test_a_larger_chamber_that_leaves_no_zone_pure_asks_for_less_to_be_kept() -> None:
    """With the chamber alone the same plan would be refused."""
    vessel, layout = fading(0.6)
    silver, frit, _ = zones(vessel, CARDS)
    (larger, one), (smaller, _) = beyond(vessel, layout, "dead_volume_ml").items()
    kept = one.joint.keep
    assert larger.endswith(f"and keep_mm from {600 * layout.foot:.3g} to {1e3 * kept:.3g}")
    more = in_fired_size(keeping(one, kept + 1e-4), silver, frit)
    assert not leaves_pure(more, layout)
    assert "keep_mm" not in smaller


def test_a_thinner_wall_takes_a_freed_chamber_with_it_and_else_asks_for_less_to_be_kept() -> None:
    """Once it was named alone, and a request with that wall was refused at once."""
    for free, asks in (((1e-6, 9e-6), False), ((), True), ((8e-6, 9e-6), True)):
        vessel, layout = fading(0.75, 8e-6, dead_volume=free)
        (thin, one), (thick, _) = beyond(vessel, layout, "wall_mm").items()
        assert thin.startswith("wall_mm from 4 to 2.8")
        assert ("keep_mm" in thin) is asks
        assert "keep_mm" not in thick
        assert one.printer.dead_volume == pytest.approx(8e-6 if asks else 0.7 * 8e-6)


def test_what_is_kept_is_named_where_it_forbids_a_chamber_that_the_file_frees() -> None:
    vessel, layout = fading(0.6, 8e-6, dead_volume=(1e-6, 30e-6))
    told = beyond(vessel, layout, "keep_mm from")
    assert [one.printer.dead_volume for one in told.values()] == pytest.approx([16e-6, 30e-6])
    assert [what.rpartition(" (")[2] for what in told] == [
        "dead_volume_ml = 16)", "dead_volume_ml = 30)"
    ]  # fmt: skip
    assert not beyond(vessel, layout, "dead_volume_ml")  # both ways lie within what is freed
    assert not beyond(*fading(0.0, 8e-6, dead_volume=(1e-6, 30e-6)), "keep_mm from")


def test_a_taller_transition_that_the_limits_allow_is_no_limit_to_relax() -> None:
    vessel, layout = proposal(50)
    assert not beyond(vessel, layout, "height_mm")  # 9 mm of 30
    tight = replace(vessel, joint=replace(vessel.joint, height=8e-3))
    ((what, one),) = beyond(tight, layout, "height_mm").items()
    assert what == "height_mm from 8 to 9"
    assert 1e3 * (one.bands[1].high - one.bands[1].low) == pytest.approx(9.0)


def test_a_height_that_is_held_is_among_the_limits_to_relax() -> None:
    vessel, layout = proposal(50)
    for end, name in (("foot", "lowest"), ("rim", "highest")):
        for word in (FIXED, AT_LEAST):
            tall = {"foot": layout.foot, "rim": 60e-3 - layout.foot - layout.total}[end]
            limits = {end: word, f"{end}_height": tall}
            held = replace(vessel, joint=replace(vessel.joint, **limits))
            told = beyond(held, layout, f'height of the {name} band from "{word}" to "free"')
            assert told
            for what, one in told.items():
                own = one.bands[0].high if end == "foot" else 60e-3 - one.bands[-1].low
                assert own != pytest.approx(tall)
                assert word == FIXED or own < tall
                middle = 500.0 * (one.bands[1].low + one.bands[1].high)
                first = numbers(what)[0] if "lowest_mm" in what else 18.0
                last = numbers(what)[0] if "highest_mm" in what else 30.0
                assert first <= middle <= last
    assert not beyond(vessel, layout, "height of")


def test_what_a_limit_brings_is_judged_by_a_check_of_the_vessel_beyond_it() -> None:
    """A shell put right for the proposal may be far out where more is mixed."""
    vessel, layout = proposal(50)
    bench = Bench(CARDS, fineness=ROUGH)
    asked: list[Vessel] = []

    def none(one: Vessel) -> Check:
        asked.append(one)
        raise ModelError("it cannot be fired")

    found = margins(bench, vessel, layout, relax=True, samples=2, check=none)
    assert found is not None
    assert len(asked) == min(len(by_shells().relaxed), JUDGED) > 0
    assert not found.relaxed
    assert found.shifts == by_shells().shifts


def numbers(what: str) -> list[float]:
    """Figures of a limit's words."""
    return [float(word) for word in re.findall(r"[\d.]+", what)]


def test_what_is_said_of_a_relaxed_limit_is_what_its_vessel_has() -> None:
    vessel, layout = proposal(50)
    vessel = replace(vessel, joint=replace(vessel.joint, height=layout.total))
    seen = list(_beyond(Bench(CARDS), vessel, layout))
    of = {key: [one for what, one in seen if what.startswith(key)] for key in
          ("wall_mm", "dead_volume_ml", "height_mm", "lowest_mm", "highest_mm")}  # fmt: skip
    told = {key: [numbers(what) for what, _ in seen if what.startswith(key)] for key in of}
    dead, wall = vessel.printer.dead_volume, float(vessel.wall[-1])
    assert [v.printer.dead_volume / dead for v in of["dead_volume_ml"]] == [2.0, 0.5]
    assert [float(v.wall[-1]) / wall for v in of["wall_mm"]] == pytest.approx([0.7, 1.3])
    for key, size, most in (("wall_mm", 1e3 * wall, 0.01), ("dead_volume_ml", 1e6 * dead, 0.05)):
        assert [pair[0] for pair in told[key]] == pytest.approx([size] * 2, rel=most)
    for pair, v in zip(told["dead_volume_ml"], of["dead_volume_ml"], strict=True):
        assert pair[1] == pytest.approx(1e6 * v.printer.dead_volume, rel=0.05)
    for pair, v in zip(told["wall_mm"], of["wall_mm"], strict=True):
        assert pair[1] == pytest.approx(1e3 * float(v.wall[-1]), rel=0.05)
    joint = vessel.joint
    (pair,), (tall,) = told["height_mm"], of["height_mm"]
    assert pair == pytest.approx([1e3 * joint.height, 1.5e3 * joint.height], rel=0.01)
    assert tall.bands[1].high - tall.bands[1].low == pytest.approx(
        1.5 * layout.height, abs=vessel.printer.layer
    )
    for key, sign in (("lowest_mm", -1.0), ("highest_mm", 1.0)):
        for (place,), moved in zip(told[key], of[key], strict=True):
            middle = 0.5 * (moved.bands[1].low + moved.bands[1].high)
            assert 1e3 * middle == pytest.approx(place, abs=1e3 * vessel.printer.layer)
            assert sign * (middle - layout.middle) > 0.0


def places(**limits: float) -> set[tuple[str, float]]:
    """Places beyond other limits of the joint, and where the transition then is. [mm]"""
    vessel, layout = proposal(50)
    given = replace(vessel, joint=replace(vessel.joint, **limits))
    return {
        (what, round(500.0 * (one.bands[1].low + one.bands[1].high), 3))
        for what, one in _beyond(Bench(CARDS), given, layout)
        if what.startswith(("lowest_mm", "highest_mm", "keep_mm"))
    }


def test_a_joint_is_asked_everywhere_that_what_is_kept_leaves_it() -> None:
    """Once only `keep_mm` away, and always with half of it, which stood in no place's way."""
    pinned = places(lowest=20e-3, highest=20e-3, keep=2e-3)
    assert pinned == {
        ("lowest_mm to 5.1", 5.1), ("lowest_mm to 18", 18.0), ("highest_mm to 21.9", 21.9),
        ("highest_mm to 30", 30.0), ("highest_mm to 54.9", 54.9),
    }  # fmt: skip
    wide = places(lowest=3e-3, highest=57e-3, keep=12e-3)
    assert wide == {("keep_mm to 6", 9.0), ("keep_mm to 6", 51.0)}
    assert places(lowest=10e-3, highest=50e-3, keep=12e-3) == {
        ("lowest_mm to 9, keep_mm to 6", 9.0), ("highest_mm to 51, keep_mm to 6", 51.0)
    }  # fmt: skip


def test_a_wall_beyond_its_limits_is_the_sides_as_its_file_would_have_it() -> None:
    """Once the floor changed with it, and the middle of the wall stayed for the outside."""
    cup = TEA_LIGHT.replace("wall_mm = 4", 'wall_mm = 4\nbase = "flat"\nbase_mm = 6')
    vessel = written_vessel(cup)
    seen = list(_beyond(Bench(CARDS), vessel, given_layout(vessel, CARDS)))
    for wall, told in ((2.8, "wall_mm from 4 to 2.8"), (5.2, "wall_mm from 4 to 5.2")):
        (moved,) = (one for what, one in seen if what == told)
        edited = written_vessel(cup.replace("wall_mm = 4", f"wall_mm = {wall}"))
        np.testing.assert_allclose(moved.wall, edited.wall)
        np.testing.assert_allclose(moved.radius, edited.radius)


def test_a_shift_moves_what_its_words_say_and_nothing_else() -> None:
    shifts = dict(print_shifts(Bench(CARDS), Printer(given=True)))
    assert [s.place for w, s in shifts.items() if "changes of paste" in w] == [1.0, -1.0]
    assert [s.wall for w, s in shifts.items() if w.startswith("wall")] == [0.5, -0.5]
    assert [s.dead for w, s in shifts.items() if w.startswith("20 %")] == [1.2, 0.8]
    for shift in shifts.values():
        assert (shift.kiln, dict(shift.deviates)) == (0.0, {})
        moved = (shift.place != 0.0) + (shift.wall != 0.0) + (shift.dead != 1.0)
        assert moved == 1


def test_without_a_printer_nothing_is_told_of_paste_before_the_nozzle() -> None:
    """Its pastes change without mixing, so the figure was "as many" whatever the vessel."""
    with_one, without = (
        [what for what, _ in print_shifts(Bench(CARDS), Printer(given=given))]
        for given in (True, False)
    )
    assert without == [what for what in with_one if "before the nozzle" not in what]
    assert len(with_one) == len(without) + 2


def test_what_cannot_be_fired_is_kept_by_no_chance() -> None:
    vessel, _ = proposal(50)
    bench = Bench(CARDS, fineness=ROUGH)
    (outcome,) = nominal(bench, [vessel])
    assert outcome is not None
    assert _chance(None) == 0.0
    kept = replace(outcome, kept=np.array([0.2, 0.4]))
    assert _chance(kept) == pytest.approx(0.3)


def test_margins_are_told_in_pots_of_a_hundred() -> None:
    shifts = (Shift("wall thinner", -0.123), Shift("wall thicker", 0.001))
    some = Margins(0.5, 1.2, shifts, (Relaxed("blends from 1 to 2", 0.9, 0.2),), 8)
    shifted, relaxed = margins_lines(some)
    assert "wall thinner: 12 fewer; wall thicker: as many" in shifted
    assert "blends from 1 to 2: 20 more, past limit 1.20 to 0.90" in relaxed
    assert margins_lines(None) == []
    row = margins_row(some)
    assert row is not None
    assert row["shifts"]["wall thinner"] == pytest.approx(-0.123)
