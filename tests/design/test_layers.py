"""Layouts keep every limit, and the search finds what a scan of the grid finds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.check import check_vessel
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.verdict import RULES, judge
from cofire.design.candidates import (
    FINENESS,
    FIRINGS,
    ROUGH,
    TOGETHER,
    Bench,
    batches,
    fire_candidates,
)
from cofire.design.constraints import (
    bounds,
    broken,
    fitted,
    least_height,
    placed,
    refuse_without_place,
    room_for,
)
from cofire.design.fired_size import decay_length, in_fired_size
from cofire.design.grid import layouts, merge, neighbours, shares
from cofire.design.layers import (
    LayerSearch,
    Trial,
    propose_layers,
    ranked,
    trade_off,
    try_layouts,
)
from cofire.design.layers import trial as scored
from cofire.design.plan import propose
from cofire.design.transition import Layout, as_vessel, given_layout, zones
from cofire.errors import InputError, ModelError
from cofire.mechanics.integrator import Control
from cofire.physics.changeover import smear, volume_for_share
from cofire.production.green import green_vessel
from cofire.production.printed_solid import band_volumes
from cofire.report.plan import holds, layers_text, layout_words, no_gain
from cofire.report.stress import trade_off_figure
from cofire.units import HOUR
from cofire.vessel import Band, JointLimits, Printer, Vessel
from cofire.vessel_file import read_vessel
from tests.executors import NO_CLUSTER, an_executor
from tests.fired import CARDS, KILNS, TEA_LIGHT, written_vessel
from tests.made import cylinder
from tests.planned import (
    broken_limits,
    cone_to_plan,
    joined,
    random_firing,
    random_vessel,
    tea_light_to_plan,
)
from tests.strategies import some

RANDOM = 100


def fired_size(vessel: Vessel) -> Vessel:
    """The vessel as its limits are asked of it."""
    metal, ceramic, _ = zones(vessel, CARDS)
    return in_fired_size(vessel, metal, ceramic)


EXAMPLES = Path(__file__).parents[2] / "examples"
OF_PAIR = {
    ("fine silver", "fritted body"): "silver_foot_vessel",
    ("copper", "talc body"): "copper_foot_tumbler",
    ("iron", "leucite porcelain"): "iron_foot_bowl",
}
CLOSE = Control(relative_tolerance=1e-2, stress_tolerance=5e3)


@pytest.mark.parametrize("count", [RANDOM // 4, pytest.param(RANDOM, marks=pytest.mark.long)])
def test_random_requests_are_kept_to_the_letter_or_refused_by_name(count: int) -> None:
    draw = np.random.default_rng(20)
    refused = 0
    for _ in range(count):
        vessel = random_firing(draw, random_vessel(draw))
        sized = fired_size(vessel)
        grid = layouts(sized)
        if not grid:
            refused += 1
            with pytest.raises(ModelError, match=r"keep|position"):
                refuse_without_place(vessel)
            assert placed(vessel, Layout((), 0.0, vessel.joint.lowest)) is None
            continue
        refuse_without_place(vessel)
        for layout in grid:
            assert not broken_limits(vessel, layout), (vessel.joint, vessel.printer, layout)
            assert not broken(sized, layout)
        for layout in grid[:: max(1, len(grid) // 5)]:
            for near in neighbours(sized, layout):
                assert not broken_limits(vessel, near)
        if not any(layout.shares for layout in grid):
            assert any(line.startswith(("blends", "height", "keep")) for line in bounds(sized))
    assert 0 < refused < 0.7 * count


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"keep": 31e-3}, "keep"),
        ({"keep": 25e-3, "lowest": 5e-3, "highest": 12e-3}, "position.*keep_mm = 25"),
    ],
)
def test_limits_that_leave_no_joint_are_refused_with_the_one_that_binds(change, names) -> None:
    vessel = tea_light_to_plan()
    vessel = replace(vessel, joint=replace(vessel.joint, **change))
    with pytest.raises(ModelError, match=names):
        propose_layers(vessel, CARDS)


def test_a_cone_of_two_points_keeps_as_much_pure_as_the_same_cone_of_many() -> None:
    """Once its wall was spread evenly over the height, where most of it stands at the wide end."""
    cone = cone_to_plan()
    cone = replace(
        cone,
        joint=replace(cone.joint, keep=6e-3),
        printer=replace(cone.printer, dead_volume=2e-7, given=True),
    )
    many = np.linspace(0.0, cone.height[-1], 400)
    radius, wall = (np.interp(many, cone.height, row) for row in (cone.radius, cone.wall))
    fine = replace(cone, height=many, radius=radius, wall=wall)
    layout = Layout((), 0.0, 20e-3)
    # by hand: the change that leaves 6 mm pure, in wall on the slant from there to the joint
    slant = float(np.hypot(1.0, (cone.radius[-1] - cone.radius[0]) / cone.height[-1]))
    part = np.linspace(6e-3, 20e-3, 4001)
    ring = 2.0 * np.pi * np.interp(part, many, radius) * np.interp(part, many, wall) * slant
    half, early = (volume_for_share(share, 2e-7, cone.printer.tanks) for share in (0.5, 0.05))
    by_hand = float(np.trapezoid(ring, part) / (half - early))
    assert room_for(cone, layout, 300.0) == pytest.approx(by_hand, rel=1e-3)
    assert room_for(fine, layout, 300.0) == pytest.approx(by_hand, rel=1e-3)


def test_what_a_vessel_has_no_room_for_is_told_in_its_own_sizes() -> None:
    vessel = tea_light_to_plan()  # 60 mm tall
    vessel = replace(vessel, joint=replace(vessel.joint, keep=31e-3))
    with pytest.raises(ModelError, match=r"keep_mm = 31 do not fit into a vessel 60 mm tall"):
        refuse_without_place(fired_size(vessel))
    near = replace(vessel.joint, keep=25e-3, lowest=5e-3, highest=12e-3)
    with pytest.raises(ModelError, match=r"lowest_mm = 5 to highest_mm = 12 .* leave 25 to 35 mm"):
        refuse_without_place(fired_size(replace(vessel, joint=near)))


def test_the_wall_forgets_an_edge_within_the_closed_length() -> None:
    # Timoshenko & Woinowsky-Krieger 1959, ch. 15: 1/β = √(r h) / [3 (1 − ν²)]^¼
    vessel = tea_light_to_plan()
    radius, wall = float(vessel.radius[0]), float(vessel.wall[0])
    for nu, said in ((0.25, {}), (0.3, {"poisson_ratio": 0.3})):
        length = (radius * wall) ** 0.5 / (3.0 * (1.0 - nu**2)) ** 0.25
        assert decay_length(vessel, 30e-3, **said) == pytest.approx(length, rel=1e-9)


def test_neighbours_of_a_layout_change_each_share_both_ways_while_shares_fall() -> None:
    vessel = fired_size(tea_light_to_plan())
    base = placed(vessel, Layout((60, 45), 5e-3, 24e-3))
    assert base is not None
    near = neighbours(vessel, base, step=10)
    assert {one.shares for one in near} == {(60, 45), (70, 45), (50, 45), (60, 55), (60, 35)}
    assert all(broken(vessel, one) == [] for one in near)
    assert {one.shares for one in neighbours(vessel, base, step=20)} == {
        (60, 45), (80, 45), (60, 25)
    }  # fmt: skip


def test_limits_that_leave_only_a_direct_joint_are_told() -> None:
    vessel = fired_size(tea_light_to_plan())
    none = replace(vessel, joint=replace(vessel.joint, blends=0))
    assert bounds(none)[0].startswith("blends")
    low = replace(vessel, joint=replace(vessel.joint, height=2e-3))
    assert bounds(low)[0].startswith("height")
    assert "smear" in bounds(low)[0]
    assert {layout.shares for layout in layouts(low)} == {()}


def test_a_height_too_short_to_matter_is_told_in_decay_lengths() -> None:
    vessel = tea_light_to_plan()
    short = replace(vessel, joint=replace(vessel.joint, height=7.5e-3, blends=1))
    told = [line for line in bounds(short) if "too short to matter" in line]
    assert len(told) == 1
    share = 7.5e-3 / decay_length(short, 24e-3)
    assert f"{share:.2f}" in told[0]
    assert not any("too short" in line for line in bounds(vessel))


@pytest.mark.parametrize(
    ("layout", "names"),
    [
        (Layout((75, 50, 25), 9e-3, 24e-3), {"blends"}),
        (Layout((50,), 33e-3, 24e-3), {"height"}),
        (Layout((50,), 12e-3, 33e-3), {"position"}),
        (Layout((66, 33), 15e-3, 18e-3), {"keep"}),
        (Layout((50,), 0.6e-3, 24e-3), {"smear"}),
        (Layout((50,), 36e-3, 15e-3), {"height", "position", "keep"}),
    ],
)
def test_a_layout_drawn_by_hand_is_told_which_limits_it_breaks(layout, names) -> None:
    sized = fired_size(tea_light_to_plan())
    assert set(broken(sized, layout)) == names
    moved = fitted(sized, layout)
    assert (moved is None) == bool(names & {"blends", "height", "smear"})
    if moved is not None:
        assert moved.shares == layout.shares
        assert not broken(sized, moved)


@pytest.mark.parametrize(
    "pair",
    [("fine silver", "fritted body"), ("copper", "talc body"), ("iron", "leucite porcelain")],
)
def test_the_least_band_once_printed_holds_the_smear_of_the_wet_paste(pair) -> None:
    """Its green volume by the shape to print, not by the shrinkages that set its least height."""
    firing = read_vessel(EXAMPLES / f"{OF_PAIR[pair]}.toml", KILNS).firing
    base = joined(tea_light_to_plan(), *pair)
    dead = 4.0 * base.printer.dead_volume  # bands of many layers, so that rounding counts little
    fine = replace(base.printer, layer=0.1e-3, dead_volume=dead)
    base = replace(base, firing=firing, printer=fine, joint=replace(base.joint, height=58e-3))
    sized = fired_size(base)
    layout = Layout((50,), least_height(sized, 30e-3), 30e-3)
    assert broken(sized, replace(layout, height=layout.height - fine.layer)) == ["smear"]
    metal, ceramic, below = zones(base, CARDS)
    laid = as_vessel(base, metal.name, ceramic.name, below, layout)
    printed = band_volumes(green_vessel(fire_vessel(laid, CARDS)).wall)[1]
    needed = smear(dead, fine.tanks)
    assert needed < printed < 1.3 * needed


def test_the_least_band_holds_the_smear_in_whole_layers() -> None:
    vessel = fired_size(tea_light_to_plan())
    least = least_height(vessel, 20e-3)
    assert least / vessel.printer.layer == pytest.approx(round(least / vessel.printer.layer))
    wide = replace(vessel, radius=2.0 * vessel.radius)
    assert least_height(wide, 20e-3) < least


@pytest.mark.parametrize("blends", [1, 2, 3, 5, 8])
@pytest.mark.parametrize("skew", [0.6, 1.0, 2.5])
def test_shares_fall_from_the_metal_in_steps_that_can_be_mixed(blends, skew) -> None:
    some = shares(blends, skew)
    assert all(a > b for a, b in pairwise((100, *some, 0)))
    assert all(share % 5 == 0 for share in some)


def test_two_changes_of_a_layout_are_made_both_unless_they_touch_the_same_thing() -> None:
    base = Layout((75, 50, 25), 6e-3, 30e-3)
    one, other = replace(base, shares=(80, 50, 25)), replace(base, shares=(75, 50, 20))
    assert merge(base, one, other) == replace(base, shares=(80, 50, 20))
    assert merge(base, one, replace(base, shares=(70, 50, 25))) is None
    assert merge(base, replace(base, shares=(75, 60, 25)), one) is not None


def test_bands_of_a_layout_are_read_back_from_its_vessel() -> None:
    vessel = tea_light_to_plan()
    metal, ceramic, below = zones(vessel, CARDS)
    for layout in layouts(vessel)[::7]:
        for order in (below, not below):
            laid = as_vessel(vessel, metal.name, ceramic.name, order, layout)
            back = given_layout(laid, CARDS)
            assert back.shares == layout.shares
            assert back.middle == pytest.approx(layout.middle)
            assert back.height == pytest.approx(layout.height)


def test_a_vessel_of_other_bands_is_refused_with_their_names() -> None:
    vessel = tea_light_to_plan()
    bands = (replace(vessel.bands[0], material="copper + talc body = 50"), vessel.bands[1])
    with pytest.raises(InputError, match="one metal and one ceramic"):
        zones(replace(vessel, bands=bands), CARDS)
    foreign = (
        replace(vessel.bands[0], high=10e-3),
        replace(vessel.bands[0], material="copper + talc body = 50", low=10e-3, high=20e-3),
        replace(vessel.bands[1], low=20e-3),
    )
    with pytest.raises(InputError, match="nothing but blends"):
        zones(replace(vessel, bands=foreign), CARDS)


@pytest.fixture(scope="module")
def searched():
    return propose_layers(tea_light_to_plan(), CARDS, bench=Bench(CARDS, fineness=ROUGH))


@pytest.mark.long
def test_no_layout_of_the_whole_grid_is_five_per_cent_better_than_the_proposal(searched) -> None:
    vessel = tea_light_to_plan()
    grid = layouts(fired_size(vessel))
    grid = list(try_layouts(Bench(CARDS, fineness=ROUGH), vessel, grid))
    assert len(grid) > 30
    assert searched.best.utilisation <= 1.05 * min(trial.utilisation for trial in grid)


def test_all_that_was_searched_keeps_the_limits(searched) -> None:
    for trial in searched.trials:
        assert not broken_limits(tea_light_to_plan(), trial.layout)


def test_the_trade_off_rises_in_effort_and_falls_in_load(searched) -> None:
    kept = trade_off(searched)
    assert kept[0].layout.shares == ()
    for simple, more in pairwise(kept):
        assert (len(simple.layout.shares), simple.layout.total) < (
            len(more.layout.shares), more.layout.total,
        )  # fmt: skip
    assert min(trial.utilisation for trial in kept) <= 1.02 * searched.best.utilisation
    assert trade_off_figure(searched).axes
    text = layers_text(searched)
    assert "in 1/β" in text
    assert f"{searched.best.layout.total * 1e3:.1f}" in text


def test_what_a_plan_keeps_is_told_as_proposed_and_not_what_the_search_found_best(searched) -> None:
    best = searched.best.layout
    other = next(t for t in searched.trials if t.layout.changes != best.changes)
    text = " ".join(layers_text(searched, other.layout).split())
    words, least = (layout_words(one, searched.decay_length) for one in (other.layout, best))
    assert f"its own firing: {words}; here {other.utilisation:.3g}" in text
    assert f"in one firing for all: {least}; utilisation {searched.best.utilisation:.3g}" in text
    assert "proposed: " not in text
    assert f"proposed: {least}; utilisation" in " ".join(layers_text(searched, best).split())

    def ring(*kept: Layout) -> list[float]:
        lines = trade_off_figure(searched, *kept).axes[0].lines
        return [line.get_xdata()[0] for line in lines if line.get_markersize() == 22]

    assert ring(other.layout) == [other.layout.changes]
    assert ring() == [best.changes]
    untried = Layout((50,), 1.0, 30e-3)
    assert ring(untried) == []
    assert "; here" not in layers_text(searched, untried)


def test_numbers_of_blends_that_buy_nothing_are_told_with_what_they_reach() -> None:
    def scored(shares: tuple[int, ...], utilisation: float) -> Trial:
        layout = Layout(shares, 6e-3, 30e-3)
        return Trial(layout, utilisation, None, None, utilisation, utilisation, "no")  # type: ignore[arg-type]

    some = [scored((), 2.0), scored((50,), 2.5), scored((45,), 2.4), scored((60, 30), 1.0)]
    search = LayerSearch(tuple(ranked(some)), 9e-3, 3e-3, ())
    assert no_gain(search) == ["no gain over fewer: 1 at 2.4"]
    assert no_gain(replace(search, trials=(some[0],))) == []


def test_equals_go_to_fewer_blends_then_less_height() -> None:
    def scored(shares: tuple[int, ...], height: float, utilisation: float) -> Trial:
        layout = Layout(shares, height, 30e-3)
        return Trial(layout, utilisation, None, None, utilisation, utilisation, "no")  # type: ignore[arg-type]

    tall, low = scored((50,), 9e-3, 1.00), scored((50,), 6e-3, 1.01)
    more, bad = scored((60, 30), 3e-3, 1.00), scored((), 0.0, 1.5)
    assert ranked([bad, more, tall, low])[0] is low
    assert ranked([more, bad])[0] is more


def test_an_interrupt_keeps_what_was_found() -> None:
    def stop(done: int, of: int) -> None:
        if done == 4:
            raise KeyboardInterrupt

    bench = Bench(CARDS, fineness=ROUGH)
    found = propose_layers(tea_light_to_plan(), CARDS, progress=stop, bench=bench)
    assert not found.finished
    assert len(found.trials) == 4
    assert "Interrupted" in layers_text(found)


@pytest.mark.parametrize("kind", NO_CLUSTER)
def test_the_same_layouts_come_out_the_same_whoever_fires_them(kind) -> None:
    vessel = tea_light_to_plan()
    some = layouts(vessel)[:6]
    alone = list(try_layouts(Bench(CARDS, fineness=ROUGH), vessel, some))
    with an_executor(kind) as executor:
        bench = Bench(CARDS, fineness=ROUGH, executor=executor)
        assert list(try_layouts(bench, vessel, some)) == alone
        again = list(try_layouts(bench, vessel, some[::-1]))  # with what the workers remember
    assert {t.layout: t for t in again} == {t.layout: t for t in alone}


def test_jobs_are_complete_and_do_not_depend_on_who_works() -> None:
    for count in (0, 1, 5, 6, 17, 80):
        parts = batches(range(count))
        assert [x for part in parts for x in part] == list(range(count))
        assert all(0 < len(part) <= TOGETHER for part in parts)


def test_a_vessel_fares_the_same_alone_and_among_others_in_other_firings() -> None:
    base = tea_light_to_plan()
    metal, ceramic, below = zones(base, CARDS)
    laid = as_vessel(base, metal.name, ceramic.name, below, Layout((60, 25), 9e-3, 24e-3))
    slow = replace(laid.firing.segments[-1], rate=15.0 / HOUR)
    firings = [
        laid.firing,
        replace(laid.firing, segments=(*laid.firing.segments[:-1], slow)),
        replace(
            laid.firing, lag=30.0 * 60.0, segments=laid.firing.segments[:-1]
        ),  # other breakpoints
    ]
    vessels = [replace(laid, firing=firing) for firing in firings]
    bench = Bench(CARDS)
    together = fire_candidates(bench, vessels)
    for vessel, mixed in zip(vessels, together, strict=True):
        (alone,) = fire_candidates(Bench(CARDS), [vessel])
        assert np.array_equal(mixed.fired.time, alone.fired.time)
        assert np.array_equal(mixed.total, alone.total)
        assert bench.judge(mixed).flags == judge(alone).flags


def test_a_search_sees_the_largest_utilisation_within_two_per_cent_of_close_steps() -> None:
    """Expected: half a per cent, as `SEARCH_STEPS` says; a step too long would show here."""
    vessel = tea_light_to_plan()
    metal, ceramic, below = zones(vessel, CARDS)
    some = [
        as_vessel(vessel, metal.name, ceramic.name, below, layout)
        for layout in layouts(vessel)[::40]
    ]
    bench = Bench(CARDS, fineness=ROUGH)
    layout = Layout((), 0.0, 0.0)
    for coarse, close in zip(
        fire_candidates(bench, some), fire_candidates(bench, some, CLOSE), strict=True
    ):
        one, two = (scored(bench, layout, r).utilisation for r in (coarse, close))
        assert one == pytest.approx(two, rel=0.02)


def test_shared_flags_are_those_that_judge_gives() -> None:
    vessel = tea_light_to_plan()
    metal, ceramic, below = zones(vessel, CARDS)
    bench = Bench(CARDS, fineness=ROUGH)
    laid = [
        as_vessel(vessel, metal.name, ceramic.name, below, layout) for layout in layouts(vessel)[:5]
    ]
    for fired in fire_candidates(bench, laid):
        assert bench.judge(fired).flags == judge(fired).flags
    assert bench.on(FINENESS).fineness == FINENESS


def test_a_bench_knows_kilns_apart_that_share_a_name() -> None:
    firing = tea_light_to_plan().firing
    slow = replace(firing.kiln, heating_rate=0.1 * firing.kiln.heating_rate)
    bench = Bench(CARDS)
    hours = [bench.trace(f).time[-1] for f in (firing, replace(firing, kiln=slow))]
    assert hours[1] > 1.1 * hours[0]


def test_a_bench_judges_a_narrow_ring_though_a_wide_one_of_the_same_wall_passed() -> None:
    bands = [("fine silver", 0.018), ("fritted body", 0.05)]
    wide, narrow = (cylinder(bands, radius=r, wall=0.004) for r in (0.04, 0.006))
    bench, rules = Bench(CARDS), [rule for rule in RULES if rule.name == "shell"]
    found = [bench.judge(r, rules).flags for r in fire_candidates(bench, [wide, narrow])]
    assert [len(flags) for flags in found] == [0, 1]


def test_a_bench_forgets_all_of_a_firing_at_once() -> None:
    """At most eight firings a bench: their traces, histories and shared flags."""
    vessel = tea_light_to_plan()
    bench = Bench(CARDS)
    for hold in range(2 * FIRINGS):
        segments = (*vessel.firing.segments[:-1], replace(vessel.firing.segments[-1], hold=hold))
        bench.trace(replace(vessel.firing, segments=segments))
    kept = [value for value in vars(bench).values() if isinstance(value, dict)]
    assert {len(value) for value in kept} == {len(CARDS), 0, FIRINGS}


def test_a_default_file_can_be_planned_at_the_place_it_names() -> None:
    vessel = written_vessel(TEA_LIGHT)
    grid = layouts(vessel)
    assert {len(layout.shares) for layout in grid} == {0, 1, 2, 3}
    for layout in grid:  # the lower zone, a foot of 18 mm, keeps the height that is written
        assert abs(layout.foot - 18e-3) <= 0.5 * vessel.printer.layer + 1e-9
    free = replace(vessel, joint=JointLimits(0, 30e-3, 18e-3, 18e-3, 5e-3))
    for layout in layouts(free):
        assert abs(layout.middle - 18e-3) <= 0.5 * vessel.printer.layer + 1e-9
    one = replace(vessel, joint=JointLimits(0, 0.0, 18e-3, 18e-3, 5e-3))
    assert layouts(one)[0].middle == pytest.approx(18e-3, abs=0.5 * one.printer.layer)


def wide_bowl() -> Vessel:
    """A bowl that leans by more than 45° below some 13 mm, joined where it stands steeper."""
    z = np.linspace(0.0, 50e-3, 26)
    radius = 20e-3 + 46e-3 * np.sqrt(1.0 - (1.0 - z / 52e-3) ** 2)
    bands = (Band("fine silver", 0.0, 26e-3), Band("fritted body", 26e-3, 50e-3))
    return replace(
        tea_light_to_plan(), name="bowl", radius=radius, height=z, wall=np.full(26, 4e-3),
        bands=bands, joint=JointLimits(1, 36e-3, 16e-3, 28e-3, 4e-3),
    )  # fmt: skip


def test_a_layout_that_no_mesh_can_cut_is_left_out_counted_and_told() -> None:
    bench, vessel = Bench(CARDS, fineness=ROUGH), wide_bowl()
    found = propose_layers(vessel, CARDS, bench=bench, rounds=0)
    assert found.trials
    assert found.lost
    assert all("leans" in why and "to_mm = " in why and "°" in why for why in found.lost)
    text = " ".join(layers_text(found).split())
    assert f"{len(found.lost)} layouts left out of {len(found.lost) + len(found.trials)}" in text
    assert "bowl: the joint at to_mm = " in text
    # one alone, and one beside another, fare alike
    low = (Band("fine silver", 0.0, 4e-3), replace(vessel.bands[1], low=4e-3))
    steep = replace(vessel, bands=low)
    error, response = fire_candidates(bench, [steep, vessel])
    assert isinstance(error, ModelError)
    assert not isinstance(response, ModelError)
    assert np.array_equal(
        response.fired.displacement, fire_candidates(bench, [vessel])[0].fired.displacement
    )


def test_what_a_check_cannot_cut_is_no_candidate_though_fewer_bands_could_be() -> None:
    bench, vessel = Bench(CARDS, fineness=ROUGH), wide_bowl()
    smeared = replace(
        vessel, printer=Printer(dead_volume=15e-6, given=True),
        bands=(Band("fine silver", 0.0, 16e-3), replace(vessel.bands[1], low=16e-3)),
    )  # fmt: skip
    higher = replace(
        smeared, bands=(replace(smeared.bands[0], high=19e-3), replace(smeared.bands[1], low=19e-3))
    )
    error, response = fire_candidates(bench, [smeared, higher])
    assert isinstance(response, Response)
    assert "leans 45" in str(error)
    (drawn,) = fire_candidates(replace(bench, drawn=True), [smeared])  # luck is not held against it
    assert isinstance(drawn, Response)
    with pytest.raises(InputError, match=r"smear that 15 ml of paste before the nozzle leave"):
        check_vessel(smeared, CARDS, quick=True)


def test_a_joint_of_the_file_itself_that_no_mesh_can_cut_is_refused_in_its_own_words() -> None:
    vessel = wide_bowl()
    low = (Band("fine silver", 0.0, 4e-3), replace(vessel.bands[1], low=4e-3))
    with pytest.raises(InputError, match=r"bowl: the joint at to_mm = 4 crosses a wall that leans"):
        propose(replace(vessel, bands=low), CARDS)


@given(
    st.floats(10.0, 44.0), st.floats(0.1, 0.6),
    st.sampled_from(["", "fixed", "at least", "free"]), st.sampled_from(["", "fixed", "at least"]),
)  # fmt: skip
@some
def test_no_layout_changes_a_height_that_was_written_unless_it_was_freed(
    foot_mm: float, layer_mm: float, foot: str, rim: str
) -> None:
    first, last = (f'height = "{how}"\n' if how else "" for how in (foot, rim))
    text = TEA_LIGHT.replace("to_mm = 18\n", f"to_mm = {foot_mm!r}\n{first}").replace(
        'material = "fritted body"\n', f'material = "fritted body"\n{last}'
    )
    vessel = written_vessel(f"{text}\n[printer]\nlayer_mm = {layer_mm!r}\nnozzle_mm = 1.2\n")
    joint, half = vessel.joint, 0.5 * vessel.printer.layer + 1e-9
    written = foot_mm / 1e3, 60e-3 - foot_mm / 1e3
    usual = ("fixed", "free") if written[0] <= written[1] else ("free", "fixed")
    if {foot, rim} & {"fixed", "at least"}:
        usual = "free", "free"
    assert (joint.foot, joint.rim) == (foot or usual[0], rim or usual[1])
    sized = fired_size(vessel)
    grid = layouts(sized)
    near = [new for layout in grid[:: max(1, len(grid) // 4)] for new in neighbours(sized, layout)]
    for layout in [*grid, *near]:
        ends = layout.foot, 60e-3 - layout.foot - layout.total
        for how, height, end in zip((joint.foot, joint.rim), written, ends, strict=True):
            assert how != "fixed" or abs(end - height) <= half
            assert how != "at least" or end >= height - half
    if (joint.foot, joint.rim) in (("fixed", "free"), ("free", "fixed"), ("free", "free")):
        assert grid


def test_a_plan_says_of_every_band_whether_it_was_fixed_at_least_or_free() -> None:
    vessel = written_vessel(TEA_LIGHT)
    assert holds(vessel) == ["fixed at 18 mm", "free"]
    free = TEA_LIGHT.replace("to_mm = 18\n", 'to_mm = 18\nheight = "at least"\n')
    assert holds(written_vessel(free)) == ["at least 18 mm", "free"]
    with pytest.raises(InputError, match="band 1: height = 'low'; allowed: 'fixed'"):
        written_vessel(free.replace("at least", "low"))
    wide = free.replace("at least", "fixed").replace(
        'material = "fritted body"\n', 'material = "fritted body"\nheight = "at least"\n'
    )
    two = written_vessel(wide)
    refuse_without_place(two)  # a direct joint, where it is drawn
    with pytest.raises(ModelError, match=r"lowest band fixed at 18 mm.*free a band"):
        refuse_without_place(replace(two, joint=replace(two.joint, rim_height=50e-3)))


def test_a_height_that_was_written_is_kept_however_little_a_zone_may_be_left() -> None:
    """`keep_mm` says nothing of a place; its default behind a # and the same without it are one."""
    printer = "[printer]\nlayer_mm = 0.3\nnozzle_mm = 1.2\n"
    bare = written_vessel(f"{TEA_LIGHT}\n{printer}").joint
    said = written_vessel(f"{TEA_LIGHT}\n[joint]\nkeep_mm = {1e3 * bare.keep!r}\n{printer}").joint
    assert (said.foot, said.rim, said.keep) == (bare.foot, bare.rim, pytest.approx(bare.keep))
    assert (said.foot, said.foot_height) == ("fixed", pytest.approx(18e-3))
