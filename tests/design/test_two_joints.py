"""A band in the middle, or one material at both ends: two joints, each with its own transition."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from functools import cache, partial
from itertools import product
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cofire.assessment.check import check_vessel
from cofire.design import drafting, margins, search
from cofire.design import plan as planning
from cofire.design.alternatives import two_firings
from cofire.design.candidates import ROUGH, Bench
from cofire.design.constraints import (
    SMALLER,
    allowed,
    broken,
    fitted,
    refuse_without_place,
    with_room,
)
from cofire.design.fired_size import in_fired_size
from cofire.design.grid import layouts, neighbours, shared
from cofire.design.layers import propose_layers
from cofire.design.objective import nominal
from cofire.design.plan import Plan, propose
from cofire.design.rivals import EVEN
from cofire.design.search import search_designs
from cofire.design.space import Design, Space, laid
from cofire.design.transition import LOWER, UPPER, Layout, as_vessel, given_layout, zones
from cofire.errors import InputError, ModelError
from cofire.physics.blends import find_material
from cofire.production.changeovers import changeovers
from cofire.production.green import green_vessel
from cofire.production.paste import band_pastes
from cofire.report.plan import holds, layers_text, plan_text
from cofire.report.plan_numbers import plan_json
from cofire.report.read_again import firing_toml, planned_vessel, toml
from cofire.report.sheet_print import bands_table
from cofire.report.stress import designs_figure, trade_off_figure
from cofire.report.verdict import ends_line
from cofire.vessel import FIXED, FREE, Band, Printer, Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.made import fired
from tests.planned import broken_limits, little_tried

CERAMIC, METAL = "leucite porcelain", "gold"
FIRING = {
    "segment": [
        {"to_C": 550, "rate_C_per_h": 150, "hold_min": 30},
        {"to_C": 860, "rate_C_per_h": 150, "hold_min": 120},
        {"to_C": 350, "rate_C_per_h": 60},
    ]
}


def table(middle: str = METAL, ends: str = CERAMIC, **more: Any) -> dict[str, Any]:
    """A small cup, 36 mm tall, as a file has it, with a band from 12 to 24 mm."""
    return {
        "name": "banded cup",
        "profile": {"shape": "cylinder", "radius_mm": 20, "height_mm": 36, "wall_mm": 4},
        "band": [
            {"material": ends, "to_mm": 12},
            {"material": middle, "to_mm": 24},
            {"material": ends},
        ],
        "joint": {"blends": 1, "keep_mm": 1.5},
        "firing": FIRING,
    } | more


def cup(*words: str | None, **more: Any) -> Vessel:
    """The same as a vessel; `words` say what a plan may do to the height of each band."""
    whole = table(**more)
    for band, word in zip(whole["band"], words, strict=False):
        if word is not None:
            band["height"] = word
    return read_vessel(whole)


def sized(vessel: Vessel) -> Vessel:
    metal, ceramic, _ = zones(vessel, CARDS)
    return in_fired_size(vessel, metal, ceramic)


def quiet(vessel: Vessel) -> Printer:
    """A printer in which pastes hardly mix."""
    return replace(vessel.printer, given=True, dead_volume=1e-8)


def laid_in(vessel: Vessel, layout: Layout) -> Vessel:
    metal, ceramic, below = zones(vessel, CARDS)
    return as_vessel(vessel, metal.name, ceramic.name, below, layout)


def cut(vessel: Vessel, low: float, high: float, which: str) -> Vessel:
    """The piece of a vessel between two heights, as a vessel of one joint."""
    joint = vessel.joint if which == LOWER else vessel.upper
    assert joint is not None
    inside = vessel.height[(vessel.height > low) & (vessel.height < high)]
    z = np.concatenate([[low], inside, [high]])
    radius, wall = (np.interp(z, vessel.height, v) for v in (vessel.radius, vessel.wall))
    joint = replace(joint, lowest=joint.lowest - low, highest=joint.highest - low)
    return replace(vessel, height=z - low, radius=radius, wall=wall, joint=joint, upper=None)


def broken_at_either(vessel: Vessel, layout: Layout) -> list[str]:
    """Which limits two transitions break, each asked of the piece that the other one leaves."""
    lower, upper = layout.joints
    top = float(vessel.height[-1])
    end, begin = upper.foot, lower.foot + lower.total
    moved = replace(upper, middle=upper.middle - begin)
    found = broken_limits(cut(vessel, 0.0, end, LOWER), lower)
    found += broken_limits(cut(vessel, begin, top, UPPER), moved)
    if len({*lower.shares, *upper.shares}) > vessel.joint.blends:
        found.append("pastes")
    return found


# ----------------------------------------------------------------------------------------------
# What the file says of the bands


def held(vessel: Vessel) -> list[str]:
    """What a plan may do to the heights of foot, band in the middle and rim."""
    assert vessel.upper is not None
    assert vessel.joint.rim == vessel.upper.foot
    return [vessel.joint.foot, vessel.joint.rim, vessel.upper.rim]


def test_a_band_in_the_middle_is_fixed_unless_it_or_a_place_says_otherwise() -> None:
    drawn = cup()
    assert held(drawn) == [FREE, FIXED, FREE]
    assert drawn.joint.rim_height == pytest.approx(12e-3)
    assert held(cup("free")) == [FREE, FIXED, FREE]
    assert held(cup(None, "at least")) == [FREE, "at least", FREE]
    tall = table(middle=CERAMIC, ends=METAL)
    tall["band"][1]["to_mm"] = 26
    assert held(read_vessel(tall)) == [FIXED, FREE, FIXED]
    assert drawn.joint.keep == 1.5e-3
    assert cup(joint={}).joint.keep == pytest.approx(0.3 * 12e-3)
    moving = cup(None, "free")
    assert held(moving) == [FREE, FREE, FREE]
    assert moving.upper is not None
    assert moving.joint.lowest < 12e-3 < moving.joint.highest
    assert moving.upper.lowest < 24e-3 < moving.upper.highest
    foot = cup("fixed")  # the transition above it lies in the band, the upper one where it is drawn
    assert held(foot) == [FIXED, FREE, FREE]
    assert foot.upper is not None
    assert (foot.upper.lowest, foot.upper.highest) == pytest.approx((24e-3, 24e-3))
    ranged = cup(joint={"lowest_mm": 10, "highest_mm": 30})
    assert held(ranged) == [FREE, FREE, FREE]
    assert ranged.upper is not None
    for limits in (ranged.joint, ranged.upper):
        assert (limits.lowest, limits.highest) == pytest.approx((10e-3, 30e-3))


def test_every_layout_leaves_a_fixed_band_its_height_and_its_place() -> None:
    vessel = cup(joint={"blends": 1, "height_mm": 6, "keep_mm": 1.5})
    given = replace(vessel, printer=quiet(vessel))
    grid = layouts(sized(given))
    assert {len(layout.shares) for layout in grid} == {0, 1}
    for layout in grid:
        laid_bands = [b for b in laid_in(given, layout).bands if b.material == METAL]
        assert [(b.low, b.high) for b in laid_bands] == [pytest.approx((12e-3, 24e-3), abs=1.6e-4)]
    assert holds(laid_in(given, grid[-1])) == ["free", "free", "fixed at 12 mm", "free", "free"]


def test_a_fixed_band_that_is_no_whole_number_of_layers_is_met_to_half_a_layer() -> None:
    for low, high in ((12.1, 22.1), (12.2, 22.0), (11.9, 22.3)):
        whole = table()
        whole["band"][0]["to_mm"], whole["band"][1]["to_mm"] = low, high
        vessel = read_vessel(whole)
        given = sized(replace(vessel, printer=quiet(vessel)))
        grid = layouts(given)
        assert {len(layout.shares) for layout in grid} == {0, 1}
        for layout in grid:
            assert not broken(given, layout)
            assert fitted(given, layout) == layout
            (band,) = [b for b in laid_in(given, layout).bands if b.material == METAL]
            assert (band.low, band.high) == pytest.approx((1e-3 * low, 1e-3 * high), abs=1.6e-4)


def test_words_on_a_blend_are_refused_and_a_middle_band_of_pure_paste_takes_them() -> None:
    whole = table()
    whole["band"].insert(1, {"material": f"{METAL} + {CERAMIC} = 50", "to_mm": 14})
    whole["band"][1]["height"] = "fixed"
    with pytest.raises(InputError, match="band 2: height: only for the lowest and the highest"):
        read_vessel(whole)
    del whole["band"][1]["height"]
    whole["band"][2]["height"] = "at least"
    vessel = read_vessel(whole)
    assert vessel.joint.rim_height == pytest.approx(10e-3)
    assert given_layout(vessel, CARDS).named[0][1].shares == (50,)


# ----------------------------------------------------------------------------------------------
# Limits and layouts of a stretch


@pytest.mark.parametrize("metal_ends", [False, True])
def test_bands_of_two_transitions_are_read_back_whichever_material_is_in_the_middle(
    metal_ends: bool,
) -> None:
    vessel = cup(middle=CERAMIC, ends=METAL) if metal_ends else cup()
    upper = Layout((40,), 3e-3, 24.9e-3)
    layout = Layout((70, 30), 2.1e-3, 10.35e-3, (2.1e-3, 3e-3), upper)
    one = laid_in(vessel, layout)
    assert [b.material for b in one.bands if "=" not in b.material] == [
        b.material for b in vessel.bands
    ]
    shares = [int(b.material.split("=")[1]) for b in one.bands if "=" in b.material]
    assert shares == ([70, 30, 40] if metal_ends else [30, 70, 40])
    assert all(a.high == b.low for a, b in zip(one.bands, one.bands[1:], strict=False))
    back = given_layout(one, CARDS)
    for read, made in zip(back.joints, layout.joints, strict=True):
        assert read.shares == made.shares
        assert read.each == pytest.approx(made.each)
        assert read.middle == pytest.approx(made.middle)
    assert layout.changes == 5
    assert layout.tall == pytest.approx(8.1e-3)


def drawn_at_random(draw: np.random.Generator) -> Vessel:
    """A cup of two joints with random limits and a random printer."""
    top = 60.0
    joints = np.sort(draw.uniform(0.15 * top, 0.85 * top, 2))
    joints[1] = max(joints[1], joints[0] + 6.0)
    joint = {
        "blends": int(draw.integers(0, 4)),
        "height_mm": float(draw.uniform(0.0, 0.5 * top)),
        "keep_mm": float(draw.uniform(0.0, 0.15 * top)),
    }
    if draw.random() < 0.5:
        joint |= {"lowest_mm": 0.5 * float(joints[0]), "highest_mm": 0.5 * float(joints[1] + top)}
    whole = table(joint=joint)
    if "lowest_mm" not in joint:
        whole["band"][1]["height"] = "free"
    whole["profile"] |= {"height_mm": top}
    whole["band"][0]["to_mm"], whole["band"][1]["to_mm"] = map(float, joints)
    vessel = read_vessel(whole)
    printer = replace(
        vessel.printer,
        layer=float(draw.uniform(0.1e-3, 1.0e-3)),
        dead_volume=float(10.0 ** draw.uniform(-7.5, -6.3)),
        given=bool(draw.random() < 0.5),
    )
    return replace(vessel, printer=printer)


@pytest.mark.parametrize("count", [8, pytest.param(30, marks=pytest.mark.long)])
def test_random_requests_are_kept_at_both_joints_or_refused_by_name(count: int) -> None:
    draw = np.random.default_rng(7)
    refused = blended = 0
    for _ in range(count):
        vessel = drawn_at_random(draw)
        own = sized(vessel)
        grid = layouts(own)
        if not grid:
            refused += 1
            continue
        refuse_without_place(own)
        for layout in grid:
            assert layout.alike
            assert not broken_at_either(vessel, layout), (vessel.joint, vessel.printer, layout)
            assert not broken(own, layout)
            blended += bool(layout.shares)
        for layout in grid[:: max(1, len(grid) // 2)]:
            for near in neighbours(own, layout):
                assert not broken_at_either(vessel, near)
    assert refused < count / 2
    assert blended > count * 10 / 3


@pytest.mark.parametrize("which", [LOWER, UPPER])
def test_every_point_of_a_held_search_is_a_design_that_leaves_the_other_joint_alone(which) -> None:
    vessel = cup(None, "free", joint={"blends": 2, "keep_mm": 1.5})
    vessel = replace(vessel, printer=replace(vessel.printer, given=True, dead_volume=1e-7))
    metal, ceramic, below = zones(vessel, CARDS)
    twin = Space(vessel, metal, ceramic, below, 1)
    start = twin.design(np.full(twin.size, 0.5))
    assert start is not None
    held = start.layout
    other = {LOWER: UPPER, UPPER: LOWER}[which]
    for blends in (0, 1, 2):
        cube = Space(vessel, metal, ceramic, below, blends, which, held)
        points = np.random.default_rng(3).random((40, cube.size))
        found = [d for d in map(cube.design, points) if d is not None]
        assert len(found) > 10
        for design in found:
            joints = dict(design.layout.named)
            assert joints[other] == dict(held.named)[other]
            assert len(joints[which].shares) == blends
            assert design.changes == 3 + blends
            assert not broken_at_either(vessel, design.layout)
            assert len({*joints[LOWER].shares, *joints[UPPER].shares}) <= 2
            again = cube.design(cube.point(design))
            assert again is not None
            assert dict(again.layout.named)[which].total == pytest.approx(
                joints[which].total, abs=2.1 * vessel.printer.layer
            )


def test_blends_of_two_joints_are_counted_once_where_they_are_the_same() -> None:
    vessel = sized(cup())
    same = Layout((50,), 3e-3, 10.5e-3, (), Layout((50,), 3e-3, 25.5e-3))
    other = replace(same, upper=Layout((40,), 3e-3, 25.5e-3))
    given = replace(vessel, printer=quiet(vessel))
    assert broken(given, same) == []
    assert broken(given, other) == ["blends"]
    assert shared((40,), (50,), 1) == (50,)


def test_two_transitions_drawn_by_hand_are_moved_into_their_limits() -> None:
    vessel = sized(cup(joint={"lowest_mm": 12, "highest_mm": 24, "keep_mm": 1.5}))
    given = replace(vessel, printer=quiet(vessel))
    drawn = Layout((50,), 3.05e-3, 10e-3, (), Layout((), 0.0, 26e-3))
    assert set(broken(given, drawn)) == {"position (lower joint)", "position (upper joint)"}
    moved = fitted(given, drawn)
    assert moved is not None
    assert not broken(given, moved)
    assert [one.middle for one in moved.joints] == pytest.approx([12e-3, 24e-3], abs=1.6e-4)


def test_a_band_of_which_nothing_stays_pure_is_refused_by_its_middle() -> None:
    vessel = cup(printer={"dead_volume_ml": 7, "layer_mm": 0.3})
    with pytest.raises(ModelError, match=r"no pure zone of keep_mm = 1\.5 at foot, rim or middle"):
        propose_layers(vessel, CARDS)
    with pytest.raises(ModelError) as refused:
        propose_layers(vessel, CARDS)
    (named,) = re.findall(r"a smaller chamber \(dead_volume_ml = ([\d.]+)\)", str(refused.value))
    silver, frit, _ = zones(vessel, CARDS)
    for factor, kept in ((1.0, True), (1.0 / SMALLER, False)):
        printer = replace(vessel.printer, dead_volume=factor * float(named) / 1e6)
        changed = replace(vessel, printer=printer)
        if kept:
            assert with_room(changed, silver, frit) is changed
        else:
            with pytest.raises(ModelError, match="no pure zone"):
                with_room(changed, silver, frit)
    near = Layout((), 0.0, 12e-3, (), Layout((), 0.0, 24e-3))
    little = replace(vessel, printer=replace(vessel.printer, dead_volume=5e-7))
    assert "pure (middle)" in broken(sized(vessel), near)
    assert "pure (middle)" not in broken(sized(little), near)


@pytest.mark.parametrize(
    ("bands", "told"),
    [
        ([CERAMIC, METAL, CERAMIC, METAL], "one metal and one ceramic, at one joint or two"),
        ([CERAMIC, METAL, "fritted body"], "one metal and one ceramic, at one joint or two"),
        ([CERAMIC, "fritted body", CERAMIC], "one metal and one ceramic, at one joint or two"),
    ],
)
def test_more_joints_or_materials_are_refused_in_a_line_with_what_takes_them(bands, told) -> None:
    height = 36.0 / len(bands)
    listed = [{"material": m, "to_mm": height * (k + 1)} for k, m in enumerate(bands)]
    del listed[-1]["to_mm"]
    vessel = read_vessel(table(band=listed))
    for refuse in (propose, propose_layers):
        with pytest.raises(InputError, match=told) as error:
            refuse(vessel, CARDS)
        assert "check, schedule, make and sheet" in str(error.value)
        assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("joint", "told"),
    [
        ({"keep_mm": 14}, "three pure zones of keep_mm = 14 do not fit into a vessel 36 mm tall"),
        ({"keep_mm": 10, "blends": 1, "lowest_mm": 2, "highest_mm": 4}, "joint: position: .*4"),
    ],
)
def test_limits_that_leave_no_two_joints_are_refused_with_the_one_that_binds(joint, told) -> None:
    with pytest.raises(ModelError, match=told):
        propose_layers(cup(joint=joint), CARDS)


def test_a_vessel_whose_limits_know_one_joint_is_refused_in_a_line() -> None:
    with pytest.raises(InputError, match="limits of two joints"):
        propose_layers(replace(cup(), upper=None), CARDS)


# ----------------------------------------------------------------------------------------------
# Searches and a plan


def small(**more: Any) -> Vessel:
    """Pastes that mix little, and transitions of up to 6 mm."""
    vessel = cup(**({"joint": {"blends": 1, "keep_mm": 1.5, "height_mm": 6}} | more))
    return replace(vessel, printer=replace(vessel.printer, layer=1.5e-3, dead_volume=2e-7))


def test_neighbours_of_two_joints_change_both_or_either() -> None:
    vessel = sized(small(joint={"blends": 2, "keep_mm": 1.5, "height_mm": 6}))
    both = Layout((50,), 3e-3, 10.5e-3, (), Layout((50,), 3e-3, 25.5e-3))
    near = neighbours(vessel, both, step=10)
    assert all(not broken(vessel, one) for one in near)
    told = {tuple(one.shares for one in layout.joints) for layout in near}
    assert {((60,), (60,)), ((60,), (50,)), ((50,), (60,))} <= told


def test_layers_of_metal_at_both_ends_are_searched_and_told_by_joint() -> None:
    vessel = small(middle=CERAMIC, ends=METAL)
    found = propose_layers(vessel, CARDS, rounds=1, bench=Bench(CARDS, fineness=ROUGH))
    assert {len(trial.layout.shares) for trial in found.trials} == {0, 1}
    for trial in found.trials:
        assert not broken_at_either(vessel, trial.layout)
    text = " ".join(layers_text(found).split())
    assert "proposed: lower joint: " in text
    assert "; upper joint: " in text
    assert "both transitions" in trade_off_figure(found).axes[0].get_ylabel()


@pytest.mark.long
def test_a_joint_comes_near_the_best_of_all_its_designs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every share in steps of 16 % and every height at one joint, the other held: no search."""
    monkeypatch.setattr(search, "NEAR", 0)  # of one number of pastes
    vessel = small(joint={"blends": 2, "keep_mm": 1.5, "height_mm": 6})
    bench = Bench(CARDS, fineness=ROUGH)
    held = Design(Layout((50,), 3e-3, 10.5e-3, (), Layout((50,), 3e-3, 25.5e-3)), 2e-7)
    base = laid(vessel, METAL, CERAMIC, False, held)
    found = search_designs(base, bench, effort=0.02, final=2, which=LOWER, held=held)
    assert found is not None
    for choice in found.choices:
        assert choice.design.layout.upper is not None
        assert choice.design.layout.upper.shares == (50,)
        assert choice.design.layout.upper.middle == pytest.approx(25.5e-3)
    grid = [
        replace(held.layout, shares=(share,), height=height, middle=12e-3 - 0.5 * height)
        for share, height in product(range(10, 95, 16), (3e-3, 6e-3))
    ]
    grid = [layout for layout in grid if allowed(sized(base), layout)]
    assert len(grid) > 8
    outcomes = nominal(bench, [laid_in(base, layout) for layout in grid])
    least = min(o.load for o in outcomes if o is not None)
    assert found.least_load <= 1.02 * least


@cache
def banded_plan() -> tuple[Plan, tuple[str, ...]]:
    """With little effort, and judged by shells: what a solid decides is tested of one joint.

    What comes beside a plan is left out, and fewer designs and firings are tried.
    """
    told: list[str] = []
    with little_tried() as patch:
        for module in (planning, drafting):
            patch.setattr(module, "check_vessel", partial(check_vessel, quick=True))
        patch.setattr(drafting, "far_apart", lambda *of: False)
        patch.setattr(planning, "_recipes", lambda *of: ())
        patch.setattr(planning, "alternatives", lambda *of: ())
        patch.setattr(planning, "margins", lambda *of, **how: None)
        return propose(small(), CARDS, effort=0.02, tell=told.append), tuple(told)


@pytest.mark.long
def test_a_band_in_the_middle_is_planned_with_two_transitions_within_the_limits() -> None:
    plan, told = banded_plan()
    assert plan.finished
    assert plan.given_breaks == ()
    assert plan.layout.upper is not None
    assert not broken_at_either(small(), plan.layout)
    assert not broken_at_either(small(), given_layout(plan.vessel, CARDS))
    before, after = plan.odds
    assert before is not None
    assert after is not None
    assert after.chance >= before.chance - EVEN
    stages = {line.partition(":")[0] for line in told}
    assert {f"designs of the {LOWER}", f"designs of the {UPPER}"} <= stages
    assert plan.designs is not None
    assert [c.design.changes for c in plan.designs.choices] == sorted(
        {c.design.changes for c in plan.designs.choices}
    )
    assert {2, 4} <= {c.design.changes for c in plan.designs.choices}
    assert plan.vessel.joint == small().joint


def test_limits_to_relax_are_named_with_their_joint() -> None:
    vessel = small()
    layout = Layout((50,), 3e-3, 10.5e-3, (), Layout((50,), 3e-3, 25.5e-3))
    laid_vessel = laid_in(vessel, layout)
    beyond = list(margins._beyond(Bench(CARDS), laid_vessel, layout))
    told = {what.partition(" from ")[0] for what, _ in beyond}
    assert {f"{LOWER}: blends", f"{UPPER}: blends", "wall_mm", "dead_volume_ml"} <= told
    for what, one in beyond:
        drawn = given_layout(one, CARDS)
        if what.startswith(LOWER):
            assert drawn.upper == given_layout(laid_vessel, CARDS).upper
            assert drawn != given_layout(laid_vessel, CARDS)


def test_two_firings_of_a_banded_cup_join_each_zone_to_the_next() -> None:
    what, verdict, note = two_firings(Bench(CARDS, fineness=ROUGH), cup())
    assert what.startswith(f"two firings: {CERAMIC} first, {METAL} onto it")
    assert verdict.utilisation > 0.0
    assert METAL in note


@pytest.mark.long
def test_text_and_numbers_of_a_plan_say_which_joint_they_speak_of() -> None:
    plan, _ = banded_plan()
    row = json.loads(plan_json(plan))
    assert [one["joint"] for one in row["transitions"]] == [LOWER, UPPER]
    assert "transition" not in row
    assert all(len(one["joints"]) == 2 for one in row["designs"]["by_changes"])
    text = " ".join(plan_text(plan).split())
    assert "changes of paste at both joints together" in text
    assert f"at the {LOWER}" in text
    assert "the one in the middle is fixed as written" in text
    assert designs_figure(plan.designs).axes[0].get_ylabel() == "height of both transitions (mm)"


def test_the_sheet_shows_the_changes_of_paste_of_both_joints_in_order_of_height() -> None:
    layout = Layout((50,), 3e-3, 10.5e-3, (), Layout((50,), 3e-3, 25.5e-3))
    response = fired(laid_in(small(), layout))
    green = green_vessel(response)
    changes = tuple(changeovers(response, green))
    assert len(changes) == layout.changes == 4
    job = SimpleNamespace(
        green=green,
        refired=None,
        response=response,
        bands=tuple(band_pastes(response, green)),
        changeovers=changes,
    )
    rows = bands_table(job).rows[1:]
    assert [row[1] for row in rows] == [card.name for card in response.cards]
    layers = [int(row[3]) for row in rows[1:]]
    assert layers == sorted(set(layers))
    tops = [float(row[6]) for row in rows]
    assert tops == sorted(tops)


def test_a_planned_vessel_is_read_back_with_what_was_said_of_its_band(tmp_path: Path) -> None:
    whole = table()
    whole["band"][1] |= {"height": "fixed", "note": "burnish it"}
    source = tmp_path / "banded.toml"
    source.write_text(toml(whole), encoding="utf-8")
    vessel = read_vessel(source)
    laid_vessel = laid_in(vessel, Layout((34,), 3e-3, 10.5e-3, (), Layout((34,), 3e-3, 25.5e-3)))
    files = planned_vessel(source, laid_vessel, source.parent)
    bands = tomllib.loads(files["vessel.toml"])["band"]
    assert [(b.get("height"), b.get("note")) for b in bands] == [
        (None, None), (None, None), ("fixed", "burnish it"), (None, None), (None, None),
    ]  # fmt: skip
    (tmp_path / "vessel.toml").write_text(files["vessel.toml"], encoding="utf-8")
    (tmp_path / "firing.toml").write_text(firing_toml(vessel.firing, KILNS), encoding="utf-8")
    back = read_vessel(tmp_path / "vessel.toml", KILNS)
    assert held(back) == held(vessel)
    assert given_layout(back, CARDS).alike
    assert not broken(sized(replace(back, printer=quiet(back))), given_layout(back, CARDS))


@pytest.mark.long
def test_a_band_that_fades_is_told_by_what_is_left_of_it() -> None:
    plan, _ = banded_plan()
    check = plan.proposal
    blend = find_material(f"{METAL} + {CERAMIC} = 8", CARDS)
    faded = replace(check.printed, cards=(blend,), vessel=replace(
        check.printed.vessel, bands=(Band(blend.name, 0.0, 36e-3),)
    ))  # fmt: skip
    told = ends_line(replace(check, printed=faded))
    assert f"the band in the middle dissolves to {blend.name}" in told
    drawn = replace(check.designed, vessel=replace(check.vessel))
    alone = ends_line(replace(check, printed=drawn))
    assert f"{METAL} alone from 12.0 to 24.0 mm" in alone
