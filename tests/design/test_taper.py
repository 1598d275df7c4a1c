"""A metal thinned towards the joint: what is tried, what decides, and what a maker gets."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest

from cofire.assessment.check import Check, check_vessel
from cofire.design import taper
from cofire.design.candidates import ROUGH, Bench
from cofire.design.fired_size import linear
from cofire.design.taper import MIXED, Tapered, propose_taper, tapers
from cofire.design.transition import Layout, given_layout
from cofire.production.green import green_vessel
from cofire.report.designs import TAPER_FILE, taper_lines, taper_row
from cofire.report.job import roads_line
from cofire.report.read_again import firing_toml, tapered_vessel
from cofire.vessel import THINNEST, Printer, Taper, Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS, TEA_LIGHT, rough_solids, written_vessel
from tests.made import FRIT, SILVER, cylinder, fired

if TYPE_CHECKING:
    from cofire.production.job import Job

DIRECT = written_vessel(TEA_LIGHT)
LAYOUT = given_layout(DIRECT, CARDS)


def used(check: Check, rule: str) -> float:
    return max(f.counted for f in check.verdict.flags if f.rule == rule)


def checked(vessel: Vessel) -> Check:
    with rough_solids():
        return check_vessel(vessel, CARDS)


@cache
def direct() -> Check:
    return checked(DIRECT)


def found(samples: int = 2) -> Tapered | None:
    bench = Bench(CARDS, fineness=ROUGH)
    return propose_taper(bench, DIRECT, LAYOUT, direct(), checked, samples)


@cache
def tea_light_tapered() -> Tapered:
    """One taper of the tea-light, whatever it gains."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(taper, "ROADS", (1,))
        patch.setattr(taper, "LENGTHS", (4.0,))
        patch.setattr(taper, "WORTH", -1.0)
        patch.setattr(taper, "print_shifts", _one)
        one = found()
    assert one is not None
    return one


def _one(bench: Bench, printer: Printer) -> list[tuple[str, taper.Sample]]:
    assert not printer.given
    return [("a layer higher", taper.Sample(bench, 0.0, 1.0, 1.0, 0.0, {}))]


@pytest.mark.long
def test_a_sharp_joint_of_a_thick_wall_bears_more_with_its_metal_thinned() -> None:
    # a metal edge that yields pulls the ceramic less; wrong if thinner metal pulled it more
    one = tea_light_tapered()
    assert not one.check.why  # a solid decided
    for rule in ("later", "cooling", "brown"):
        assert used(one.check, rule) < 0.8 * used(direct(), rule)
    assert one.after.chance > one.before.chance
    assert 0.2 < one.metal < 0.7


def test_without_a_printer_the_mixing_of_the_usual_chamber_stands_last_among_the_shifts() -> None:
    shifts = tea_light_tapered().shifts
    assert [s.what for s in shifts] == ["a layer higher", f"2 ml in which {MIXED}"]
    assert shifts[-1].change < 0.0


def test_what_a_maker_reads_of_a_taper_holds_its_wall_its_height_its_roads_and_its_cost() -> None:
    one = tea_light_tapered()
    text = " ".join(taper_lines(one))
    for words in (
        f"wall of {1e3 * one.taper.least:.2f} mm at the joint (1 road) instead of 4.0",
        f"over {1e3 * one.taper.length:.0f} mm",
        f"{100 * (1 - one.metal):.0f} % less fine silver",
        "without mixing",
        "a layer higher",
        TAPER_FILE,
    ):
        assert words in text
    row = taper_row(one)
    assert row is not None
    assert row["verdict"] == one.check.word
    assert taper_lines(None) == []
    assert taper_row(None) is None


def test_the_file_of_a_taper_is_read_back_as_the_vessel_that_was_judged(tmp_path: Path) -> None:
    one = tea_light_tapered()
    (tmp_path / "own.toml").write_text(TEA_LIGHT + "[free]\nwall_mm = [2, 4]\n", encoding="utf-8")
    files = tapered_vessel(tmp_path / "own.toml", one.vessel, TAPER_FILE, tmp_path)
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "firing.toml").write_text(firing_toml(DIRECT.firing, KILNS), encoding="utf-8")
    back = read_vessel(tmp_path / TAPER_FILE, KILNS)
    z = np.linspace(0.0, 0.06, 400)
    for name, within in (("wall", 0.03e-3), ("radius", 0.015e-3)):
        ours, theirs = (np.interp(z, v.height, getattr(v, name)) for v in (one.vessel, back))
        assert np.abs(ours - theirs).max() < within
    assert back.bands == one.vessel.bands
    assert back.firing.segments == DIRECT.firing.segments


def test_no_taper_is_tried_of_a_wall_of_one_road_and_none_is_thinner_than_a_road() -> None:
    metal = CARDS["fine silver"]
    road = 0.6e-3 * linear(metal)
    assert 0.8 * 0.6e-3 < road < 0.6e-3  # it dries and sinters
    forms = tapers(DIRECT, LAYOUT, metal, below=True)
    assert {roads for roads, _, _ in forms} == {1, 2}
    assert min(form.least for _, _, form in forms) == pytest.approx(max(road, THINNEST))
    assert all(form.at == LAYOUT.middle for _, _, form in forms)
    thin = replace(DIRECT, wall=np.full(2, 0.5e-3))
    assert tapers(thin, LAYOUT, metal, below=True) == []


def test_a_ceramic_laid_over_thin_metal_leans_out_by_no_more_than_half_a_right_angle() -> None:
    # below 45°, common practice; where the metal stands above, the ceramic leans in instead
    forms = tapers(DIRECT, Layout((), 0.0, 0.02), CARDS["fine silver"], below=True)
    z = np.linspace(0.02, 0.04, 4001)
    waists = [form for _, _, form in forms if form.shoulder == form.length]
    assert waists  # whose ceramic thins as the metal does
    for _, _, form in forms:
        inside = form.least + (4e-3 - form.least) * form.left(z)
        assert np.diff(inside).max() <= np.diff(z)[0]


def test_a_taper_that_keeps_hardly_more_is_not_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taper, "ROADS", (1,))
    monkeypatch.setattr(taper, "LENGTHS", (4.0,))
    assert found() is None  # of two pots in a hundred three are asked for


def test_a_taper_is_printed_one_road_wide_and_the_job_says_in_which_layer() -> None:
    straight = cylinder([(SILVER, 0.018), (FRIT, 0.05)])
    road = straight.printer.nozzle * linear(CARDS[SILVER])
    form = Taper(0.018, road, length=0.012, shoulder=6e-3, below=True)
    response = fired(straight.with_taper(form))
    green = green_vessel(response)
    job = cast("Job", SimpleNamespace(green=green, response=response))
    joint = green.layers[0]
    at = int(np.argmin(green.wall.width))
    # the least density on the card is a few per cent below that of this firing
    assert green.wall.width[at] == pytest.approx(straight.printer.nozzle, rel=0.04)
    assert abs(green.wall.height[at] / green.layer - joint) < 1.0
    told = roads_line(job)
    assert ": 1 to 8 roads of " in told
    assert f"thinnest in layer {joint}:" in told or f"thinnest in layer {joint + 1}:" in told
    even = fired(straight)
    plain = SimpleNamespace(green=green_vessel(even), response=even)
    assert "thinnest" not in roads_line(cast("Job", plain))
