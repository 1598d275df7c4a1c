"""What a studio has and does: only these materials, whole roads, pastes that can be told apart."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from cofire.design.alternatives import _partners, _thinner
from cofire.design.at_hand import cards_at_hand, known_materials, outside
from cofire.design.candidates import Bench
from cofire.design.constraints import TOLD_APART, broken
from cofire.design.fired_size import in_fired_size, linear, road_walls, whole_roads, with_roads
from cofire.design.firings import Setting
from cofire.design.margins import _beyond, freer_firings
from cofire.design.partner import Figures, Range, Wanted, nearest
from cofire.design.space import Design
from cofire.design.transition import Layout, given_layout
from cofire.errors import InputError, ModelError, UnknownName
from cofire.firing.program import Controller, read_firing
from cofire.materials.catalogue import load_fillers
from cofire.report.imperial import imperial
from cofire.report.job import roads_line
from cofire.report.partner import partner_text
from cofire.report.plan import roads_words
from cofire.units import HOUR, kelvin
from cofire.vessel import Freedom, Vessel
from cofire.vessel_file import read_vessel
from tests.design.test_search import TABLE, printed, space
from tests.fired import CARDS, KILNS
from tests.planned import joined, tea_light_to_plan

FILLERS = load_fillers()


def listing(*names: str) -> Vessel:
    vessel = tea_light_to_plan()
    return replace(vessel, free=Freedom(materials=names))


def roads(thin: float = 1.5e-3, thick: float = 3.2e-3) -> Vessel:
    vessel = printed()
    return replace(vessel, free=replace(vessel.free, wall=(thin, thick), roads=True))


def test_a_list_holds_cards_and_fillers_and_a_wrong_name_is_told_with_the_nearest():
    known_materials(listing("Fine Silver", "high-expansion frit"), CARDS)
    with pytest.raises(UnknownName, match="did you mean 'high-expansion frit'"):
        known_materials(listing("fine silver", "high expansion fritt"), CARDS)
    known_materials(tea_light_to_plan(), {})
    for wrong in ("copper", [], ["copper", 3], [" "]):
        with pytest.raises(InputError, match=r"\[free\]: materials"):
            read_vessel({**TABLE, "free": {"materials": wrong}}, KILNS)
    read = read_vessel({**TABLE, "free": {"materials": ["copper", "gold"]}}, KILNS)
    assert read.free.materials == ("copper", "gold")


def test_nothing_else_is_offered_but_the_bands_own_always_are():
    vessel = listing("copper", "quartz flour")
    assert set(cards_at_hand(vessel, CARDS)) == {"copper", "fine silver", "fritted body"}
    assert set(cards_at_hand(vessel, FILLERS, fillers=True)) == {"quartz flour"}
    assert set(outside(vessel, FILLERS)) == set(FILLERS) - {"quartz flour"}
    free = tea_light_to_plan()
    assert cards_at_hand(free, CARDS) == dict(CARDS)
    assert outside(free, FILLERS) == {}
    blended = replace(joined(free, "copper", "talc body", 40), free=vessel.free)
    assert set(cards_at_hand(blended, CARDS)) == {"copper", "talc body"}


def test_partners_are_those_of_the_list():
    vessel = listing("copper", "talc body")
    wide = [what for what, _ in _partners(tea_light_to_plan(), CARDS, Layout((), 0.0, 24e-3))]
    few = [what for what, _ in _partners(vessel, CARDS, Layout((), 0.0, 24e-3))]
    assert any("copper" not in what and "talc body" not in what for what in wide)
    assert all("copper" in what or "talc body" in what for what in few)
    some = Figures(8e-6, 0.1, 1000.0, 900.0)
    ranges = tuple(
        Range(name, getattr(some, name), 0.9 * getattr(some, name), 1.1 * getattr(some, name),
              None, None) for name in ("expansion", "shrinkage", "half_way", "set_point")
    )  # fmt: skip
    wanted = Wanted(
        CARDS["fine silver"], CARDS["fritted body"], kelvin(500.0), kelvin(900.0), kelvin(700.0),
        ranges, (), None, 0,
    )  # fmt: skip
    alone, mixtures = nearest(wanted, vessel, CARDS)
    assert {near.name for near in alone} == {"fritted body", "talc body"}
    assert len(mixtures) <= 1
    metal = replace(wanted, zone=CARDS["fritted body"], template=CARDS["fine silver"])
    assert {near.name for near in nearest(metal, vessel, CARDS)[0]} == {"copper", "fine silver"}
    text = partner_text(wanted, [], [], "cup", (), listed=True)
    assert "[free] materials names no other ceramic" in text


def test_a_road_is_as_narrow_as_both_pastes_leave_it_in_the_mean():
    vessel = roads()
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    sized = in_fired_size(vessel, silver, frit)
    each = [
        (1 - card["drying_shrinkage"].scalar)
        * (card["green_density"].scalar / card["fired_density"].scalar) ** (1 / 3)
        for card in (silver, frit)
    ]
    assert [linear(silver), linear(frit)] == pytest.approx(each)
    assert sized.printer.nozzle == pytest.approx(vessel.printer.nozzle * np.mean(each))
    walls = road_walls(sized)
    counts = np.array(walls) / sized.printer.nozzle
    assert counts == pytest.approx(np.round(counts), abs=1e-3)
    assert 1.5e-3 <= min(walls) <= max(walls) <= 3.2e-3


def test_a_wall_of_whole_roads_is_told_to_digits_in_which_they_add_up(monkeypatch):
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    monkeypatch.setattr("cofire.report.plan.pure_materials", lambda _: [silver, frit])
    vessel = roads()
    wall = road_walls(in_fired_size(vessel, silver, frit))[-1]
    plan = SimpleNamespace(
        vessel=replace(vessel, wall=np.full(2, wall)), proposal=SimpleNamespace(designed=None)
    )
    for turn, last in ((str, 0.5e-3), (imperial, 0.5e-3 / 25.4 + 0.5e-5)):
        told = turn(roads_words(plan))
        ((whole, count, each),) = re.findall(
            r"wall of ([\d.]+) \w+ is (\d+) whole.* each ([\d.]+)", told
        )
        assert float(whole) == pytest.approx(int(count) * float(each), abs=last * (1 + int(count)))


def test_every_wall_of_a_search_is_of_whole_roads_and_others_break_a_limit():
    vessel = roads()
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    moved = with_roads(vessel, silver, frit)
    assert not whole_roads(in_fired_size(vessel, silver, frit))
    assert whole_roads(in_fired_size(moved, silver, frit))
    assert with_roads(moved, silver, frit) is moved
    cube = space(moved, 1)
    walls = road_walls(in_fired_size(vessel, silver, frit))
    seen = set()
    for point in np.random.default_rng(1).random((40, cube.size)):
        design = cube.design(point)
        if design is not None:
            seen.add(design.wall)
            again = cube.design(cube.point(design))
            assert again is None or again.wall == design.wall
    assert seen == set(walls)
    layout = given_layout(vessel, CARDS)
    assert "roads" in broken(in_fired_size(vessel, silver, frit), layout)
    assert "roads" not in broken(in_fired_size(moved, silver, frit), layout)
    ((_, thinner),) = _thinner(moved, silver, frit)
    road = in_fired_size(moved, silver, frit).printer.nozzle
    assert moved.wall[-1] - thinner().wall[-1] == pytest.approx(road, abs=3e-6)
    with pytest.raises(ModelError, match=r"roads: wall_mm = 1.6 to 1.7 holds no whole number"):
        with_roads(roads(1.6e-3, 1.7e-3), silver, frit)
    told = [what for what, _ in _beyond(Bench(CARDS), moved, layout)]
    (thicker,) = [what for what in told if what.startswith("wall_mm from")]  # thinner is free
    assert thicker.endswith(f"({round(float(moved.wall[-1]) / road) + 1} roads)")
    assert sum(what.startswith('roads from "whole" to "any"') for what in told) == 2


def test_roads_are_read_with_a_wall_to_choose_and_written_with_the_plan():
    with pytest.raises(InputError, match=r'roads = "whole": only with wall_mm'):
        read_vessel({**TABLE, "free": {"roads": "whole"}}, KILNS)
    free = {"roads": "whole", "wall_mm": [1, 3]}
    assert read_vessel({**TABLE, "free": free}, KILNS).free.roads


def test_the_print_says_how_many_roads_its_wall_is():
    from types import SimpleNamespace

    def told(low: float, high: float, nozzle: float = 0.6e-3) -> str:
        wall = SimpleNamespace(width=np.array([low, high]), height=np.array([0.0, 0.02]), base=0.0)
        vessel = SimpleNamespace(printer=SimpleNamespace(nozzle=nozzle))
        green = SimpleNamespace(wall=wall, fired=wall, layer=0.3e-3, layers=(67,))
        job = SimpleNamespace(green=green, response=SimpleNamespace(vessel=vessel))
        return roads_line(job)

    assert told(1.78e-3, 1.84e-3) == (
        "The wall is 1.78 to 1.84 mm wide as laid: 3 roads of 0.59 to 0.61 mm with a nozzle of "
        "0.60 mm."
    )
    assert "1 road of 0.90 mm" in told(0.9e-3, 0.9e-3, 0.9e-3)
    assert "25 % off the nozzle" in told(0.75e-3, 0.75e-3)
    # in inches too by what is shown: 0.0331 is 16 % off 0.0394, and was 17 % off 0.04
    inches = imperial(told(0.84e-3, 0.84e-3, 1e-3))
    assert "16 % off" in inches
    road, nozzle = (
        float(re.findall(rf"{word} ([\d.]+) in", inches)[0]) for word in ("road of", "nozzle of")
    )
    assert 1.0 - road / nozzle == pytest.approx(0.16, abs=0.005)


def test_pastes_beside_each_other_can_be_told_apart():
    vessel = tea_light_to_plan()
    vessel = replace(vessel, joint=replace(vessel.joint, blends=4))
    for blends in (1, 2, 3, 4):
        cube = space(vessel, blends)
        points = np.random.default_rng(2).random((50, cube.size))
        points[:10, :blends] = np.linspace(0.0, 1.0, 10)[:, None]  # all shares alike
        found = [d for d in map(cube.design, points) if d is not None]
        assert len(found) > 10
        for design in found:
            steps = -np.diff([100, *design.layout.shares, 0])
            assert steps.min() >= TOLD_APART
    near = Layout((83, 82), 6e-3, 24e-3)
    metal, ceramic, _ = Bench(CARDS).zones(vessel)
    assert "apart" in broken(in_fired_size(vessel, metal, ceramic), near)
    assert space(vessel, 2).moved_in(Design(near, 2e-6)) is None


def test_at_most_so_many_changes_of_paste():
    vessel = tea_light_to_plan()  # two blends: three changes
    metal, ceramic, _ = Bench(CARDS).zones(vessel)
    sized = in_fired_size(vessel, metal, ceramic)
    assert "blends" in broken(sized, Layout((75, 50, 25), 3e-3, 24e-3))
    assert "blends" not in broken(sized, Layout((60, 30), 3e-3, 24e-3))
    assert Design(Layout((60, 30), 3e-3, 24e-3), 2e-6).changes == 3


def test_limits_of_the_kiln_that_bind_are_told_with_what_they_would_have_to_be():
    vessel = joined(tea_light_to_plan(), "fine silver", "fritted body")
    kiln = replace(vessel.firing.kiln, controller=Controller(2, True, given=True))
    bound = replace(vessel, firing=replace(vessel.firing, kiln=kiln))
    told = {what for what, _ in freer_firings(bound, CARDS, Setting(1, 2, 2))}
    assert "segments of the controller from 2 to 5" in told
    assert all(what.startswith("segments of the controller from 2 to") for what in told)
    kiln = replace(kiln, controller=Controller(6, True, given=True))
    wide = replace(vessel, firing=replace(vessel.firing, kiln=kiln))
    told = {what for what, _ in freer_firings(wide, CARDS, Setting(1, 2, 2))}
    assert told == {'rates of the controller from "numbers" to "full"'}
    assert freer_firings(vessel, CARDS, Setting(1, 2, 2)) == []


def test_the_latest_hour_is_told_where_a_later_one_would_let_more_burn():
    vessel = joined(tea_light_to_plan(), "copper", "talc body")
    firing = read_firing([(500, 60, 60, "air"), (950, 150, 60, "carbon")], KILNS)
    body = CARDS["talc body"].scaled("particle_size", 0.005).scaled("binder", 3.0)
    slow = {**CARDS, "talc body": body}
    bound = replace(vessel, firing=replace(firing, latest=5.0 * HOUR))
    told = {what for what, _ in freer_firings(bound, slow, Setting(1, 2, 2))}
    assert len(told) == 1
    assert next(iter(told)).startswith("latest_h from 5 to ")
    late = replace(vessel, firing=replace(firing, latest=500.0 * HOUR))
    assert freer_firings(late, slow, Setting(1, 2, 2)) == []


def test_a_planned_vessel_keeps_its_list_and_its_roads(tmp_path: Path):
    from cofire.report.read_again import planned_vessel

    source = tmp_path / "cup.toml"
    source.write_text(
        'name = "cup"\n[profile]\nshape = "cylinder"\nradius_mm = 35\nheight_mm = 80\nwall_mm = 4\n'
        '[[band]]\nmaterial = "copper"\nto_mm = 20\n[[band]]\nmaterial = "talc body"\n'
        '[free]\nwall_mm = [1, 3]\nroads = "whole"\nmaterials = ["copper", "talc body"]\n'
        "[prices]\nper_hour = 3\n",
        encoding="utf-8",
    )
    vessel = read_vessel(source, KILNS)
    moved = with_roads(vessel, CARDS["copper"], CARDS["talc body"])
    text = planned_vessel(source, moved, tmp_path)["vessel.toml"].replace('"firing.toml"', "{}")
    (tmp_path / "again.toml").write_text(text, encoding="utf-8")
    back = read_vessel(tmp_path / "again.toml", KILNS)
    assert back.free == vessel.free
    assert back.prices is not None
    assert back.prices.time == pytest.approx(3.0 / HOUR)
    sized = in_fired_size(back, CARDS["copper"], CARDS["talc body"])
    assert whole_roads(sized)
