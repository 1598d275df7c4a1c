"""The firing to begin from where a vessel names none."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cofire.assessment.check import check_vessel
from cofire.assessment.firing_rules import sag_flags
from cofire.assessment.response import fire_vessel
from cofire.assessment.screening import screen
from cofire.assessment.verdict import judge
from cofire.assessment.windows import ceiling
from cofire.cli import app
from cofire.cli.common import DEFECT
from cofire.design.firings import frame
from cofire.design.plan import propose
from cofire.design.starting import started
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import trace
from cofire.firing.program import LAG, Controller
from cofire.physics.history import histories
from cofire.physics.stability import turned
from cofire.report.imperial import imperial
from cofire.report.read_again import firing_toml, in_its_degrees, planned_vessel
from cofire.report.verdict import taken
from cofire.units import HOUR, MINUTE, celsius
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.made import COARSE

pytestmark = pytest.mark.usefixtures("solids_are_rough")

OPEN = """name = "own cup"
[profile]
shape = "cylinder"
radius_mm = 25
height_mm = 50
wall_mm = 3
[[band]]
material = "{low}"
to_mm = 15
[[band]]
material = "{high}"
"""
PAIRS = [
    ("fine silver", "fritted body", "air"),
    ("copper", "talc body", "carbon"),
    ("fritted body", "fine silver", "air"),
    ("iron", "leucite porcelain", "carbon"),
    ("fine silver", "fine silver + fritted body = 50", "air"),
]


def own(tmp_path: Path, low: str = "fine silver", high: str = "fritted body", more: str = ""):
    path = tmp_path / "own.toml"
    path.write_text(OPEN.format(low=low, high=high) + more)
    return read_vessel(path, KILNS)


def test_a_file_without_a_firing_is_left_open_and_is_not_fired_as_it_is(tmp_path: Path):
    vessel = own(tmp_path)
    assert vessel.left_open is not None
    assert vessel.firing.segments == ()
    with pytest.raises(InputError, match="no segments"):
        fire_vessel(vessel, CARDS, control=COARSE)


def test_a_hold_for_more_density_is_given_up_where_it_would_turn_the_crystals(tmp_path: Path):
    # four hours give bronze the margin of a go, and leucite has three
    vessel = started(own(tmp_path, "tin bronze 90/10", "leucite porcelain"), CARDS)
    curve = trace(vessel.firing)
    both = [CARDS["tin bronze 90/10"], CARDS["leucite porcelain"]]
    assert turned(both[1], curve.time, curve.ware)[-1] < 1.0
    reached = histories(both, curve, extend=True).relative_density[:, -1]
    assert all(d > card["least_density"].scalar for d, card in zip(reached, both, strict=True))


@pytest.mark.parametrize(("low", "high", "gas"), PAIRS)
def test_the_firing_taken_makes_both_dense_melts_neither_and_suits_the_gas(
    tmp_path: Path, low: str, high: str, gas: str
):
    vessel = started(own(tmp_path, low, high), CARDS)
    assert vessel.firing.gas == gas
    assert vessel.firing.lag == LAG[gas]
    zones = [CARDS[name] for name in {low, high} & set(CARDS)]
    assert vessel.firing.peak <= min(ceiling(card, gas) for card in zones)
    verdict = judge(fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5))
    grades = {flag.rule: flag.verdict for flag in verdict.flags}
    for rule in ("density", "peak"):
        assert grades[rule] != "no"


def test_what_the_file_says_of_kiln_gas_and_lag_is_kept(tmp_path: Path):
    more = '[firing]\nkiln = "laboratory furnace"\ngas = "inert"\nlag_min = 22\n'
    vessel = started(own(tmp_path, more=more), CARDS)
    assert vessel.firing.kiln.name == "laboratory furnace"
    assert vessel.firing.gas == "inert"
    assert vessel.firing.lag == pytest.approx(22 * MINUTE)
    assert "laboratory furnace" in taken(vessel.firing)
    assert f"{celsius(vessel.firing.peak):.0f} °C" in taken(vessel.firing)


def test_the_firing_taken_is_told_in_the_degrees_that_its_controller_takes(tmp_path: Path):
    vessel = own(tmp_path)
    steps = Controller(6, True, True, 5 / 1.8, 10 / 1.8 / HOUR, 300.0, given=True)
    kiln = replace(vessel.firing.kiln, controller=steps)
    firing = started(replace(vessel, firing=replace(vessel.firing, kiln=kiln)), CARDS).firing
    rows = [in_its_degrees(segment, steps) for segment in firing.segments]
    told = re.findall(r"(\d+) °F at (\d+) °F/h", imperial(taken(firing)))
    assert told == [(to, rate) for rate, to, _ in rows]
    assert firing.name.startswith(f"own window: {max(rows, key=lambda row: int(row[1]))[1]} °F")


def test_a_soft_body_is_fired_where_it_sags_least(tmp_path: Path):
    """A glass flows less in a long soak low in the window than in a short one in its middle.

    Expected of this cup: 28 % of a ring 30 mm high at 880 °C, 2 to 3 near 730, and more under the
    silver.
    """
    vessel = own(tmp_path, "borosilicate powder body", "fine silver")
    taken = started(vessel, CARDS)
    soaks = frame(replace(vessel, firing=taken.firing), CARDS).soaks
    middle = soaks[len(soaks) // 2]
    assert taken.firing.peak < middle.peak
    ramps = [
        replace(s, target=middle.peak, hold=middle.hold) if s.target == taken.firing.peak else s
        for s in taken.firing.segments
    ]
    usual = replace(taken, firing=replace(taken.firing, segments=tuple(ramps)))
    sags = []
    for one in (taken, usual):
        fired = fire_vessel(one, CARDS, control=COARSE, fineness=0.5)
        sags.append(sag_flags(fired)[0].figure)
    assert sags[0] < 0.75 * sags[1]


def test_a_body_that_the_screening_calls_flat_is_flat_in_its_own_window(tmp_path: Path):
    vessel = started(own(tmp_path, "soda-lime powder body", "gold"), CARDS)
    verdict = judge(fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5))
    assert any(flag.rule == "slump" and flag.verdict == "no" for flag in verdict.flags)
    (pair,) = screen([CARDS["gold"]], [CARDS["soda-lime powder body"]], vessel.firing.kiln)
    assert pair.verdict == "no"
    assert "the ceramic flows flat" in pair.reason


def test_a_firing_of_the_file_is_left_alone(tmp_path: Path):
    more = "[firing]\nsegment = [{ to_C = 850, rate_C_per_h = 150, hold_min = 30 }]\n"
    vessel = own(tmp_path, more=more)
    assert vessel.left_open is None
    assert started(vessel, CARDS) is vessel


def test_it_is_the_same_each_time(tmp_path: Path):
    vessel: Vessel = own(tmp_path)
    assert started(vessel, CARDS).firing == started(vessel, CARDS).firing


def test_materials_that_share_no_window_are_told_how_far_apart_they_are(tmp_path: Path):
    with pytest.raises(ModelError, match=r"mullite matures from .* K apart"):
        started(own(tmp_path, high="mullite"), CARDS)


def test_check_says_which_firing_it_took_in_text_and_in_json(tmp_path: Path):
    own(tmp_path)
    runner = CliRunner()
    file = str(tmp_path / "own.toml")
    told = runner.invoke(app, ["check", file, "--quick"])
    assert told.exit_code in (0, DEFECT)
    words = " ".join(told.stdout.split())
    assert "The file names no firing; taken from the window" in words
    assert words.count("names no firing") == 1
    assert told.stderr == ""
    told = runner.invoke(app, ["check", file, "--quick", "--json"])
    assert '"firing_from": "shared window"' in told.stdout


def test_a_vessel_whose_kiln_alone_was_named_is_read_back_from_its_plan(tmp_path: Path):
    vessel = started(own(tmp_path, more='[firing]\nkiln = "laboratory furnace"\n'), CARDS)
    files = planned_vessel(tmp_path / "own.toml", vessel, tmp_path)
    files["firing.toml"] = firing_toml(vessel.firing, KILNS)
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    back = read_vessel(tmp_path / "vessel.toml", KILNS)
    assert back.left_open is None
    assert back.firing.kiln.name == "laboratory furnace"
    assert [s.target for s in back.firing.segments] == pytest.approx(
        [s.target for s in vessel.firing.segments], abs=0.01
    )


def test_a_plan_that_chose_a_firing_leaves_nothing_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    for module in ("plan", "drafting"):
        quick = partial(check_vessel, quick=True)
        monkeypatch.setattr(f"cofire.design.{module}.check_vessel", quick)
    vessel = own(tmp_path)
    direct = replace(vessel, joint=replace(vessel.joint, blends=0, height=0.0))

    def stop(line: str) -> None:
        if line.startswith("designs"):  # a firing is chosen by then
            raise KeyboardInterrupt

    found = propose(direct, CARDS, tell=stop, effort=0.02)
    assert found.given.vessel.left_open is not None
    assert found.schedule is not None
    assert found.vessel.left_open is None
