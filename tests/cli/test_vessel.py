"""The commands `check` and `stress`: statuses, streams, and the files they write."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import fields
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from cofire.cli import app
from cofire.cli.common import DEFECT, INPUT_WRONG
from cofire.mechanics.solid_reading import SolidSteps
from cofire.report.stress import _edge_note, _relief_lines
from tests.fired import TEA_LIGHT

LONE = TEA_LIGHT.replace(
    '[[band]]\nmaterial = "fine silver"\nto_mm = 18\n', ""
)  # a body alone has no joint
DRAWN = ("stress.png", "stress.svg", "stress.json", "fields.csv")


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Holds the tea-light vessel, and what `stress` wrote of it."""
    place = tmp_path_factory.mktemp("ware")
    (place / "tea_light.toml").write_text(TEA_LIGHT, encoding="utf-8")
    (place / "lone.toml").write_text(LONE, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def drawn(folder: Path) -> Result:
    return run("stress", folder / "tea_light.toml", "--out", folder / "out")


def test_a_vessel_that_will_crack_is_status_4(folder: Path):
    result = run("check", folder / "tea_light.toml")
    assert result.exit_code == DEFECT
    assert result.stdout.startswith("NO: tea-light")
    assert result.stderr == ""


def test_a_body_alone_is_status_0(folder: Path):
    result = run("check", folder / "lone.toml")
    assert result.exit_code == 0
    assert result.stdout.split(":")[0] in ("GO", "CAUTION")


def test_json_is_the_whole_of_standard_output_and_its_status_the_same(folder: Path):
    result = run("check", folder / "tea_light.toml", "--json", "--quick")
    assert result.exit_code == DEFECT
    whole = json.loads(result.stdout)
    assert whole["verdict"] == "no"
    assert {"schema", "flags", "cautions", "beyond_tables"} <= whole.keys()


@pytest.mark.parametrize("command", ["check", "stress"])
def test_a_missing_file_is_status_3(command: str, folder: Path):
    result = run(command, folder / "no.toml")
    assert result.exit_code == INPUT_WRONG
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert "no.toml" in result.stderr


def test_a_firing_beyond_the_tables_is_refused_unless_it_may_be_extended(folder: Path):
    hot = folder / "hot.toml"
    hot.write_text(TEA_LIGHT.replace("860", "960"), encoding="utf-8")
    result = run("check", hot)
    assert result.exit_code == INPUT_WRONG
    assert "its rows cover" in result.stderr
    extended = run("check", hot, "--extend", "--quick")
    assert extended.exit_code == DEFECT
    assert "beyond its table: " in extended.stdout


def test_stress_lists_each_band_from_the_rim_down(drawn: Result):
    assert drawn.exit_code == 0
    rows = [line for line in drawn.stdout.splitlines() if " mm " in line and "°C" in line]
    assert rows[0].startswith("18-60 mm fritted body")
    assert rows[1].startswith("0-18 mm fine silver")


def test_stress_writes_figure_numbers_and_fields(drawn: Result, folder: Path):
    assert {path.name for path in (folder / "out").iterdir()} == set(DRAWN)
    assert "written" in drawn.stderr
    whole = json.loads((folder / "out" / "stress.json").read_text(encoding="utf-8"))
    assert whole["schema"] == 1
    silver, frit = whole["bands"]
    assert len(frit["tension_over_time_MPa"]) == len(whole["time_h"])
    assert frit["tension_MPa"] == pytest.approx(max(frit["tension_over_time_MPa"]), rel=1e-3)
    assert silver["high_mm"] == frit["low_mm"] == pytest.approx(18.0)
    (joint,) = whole["joints_when_cold"]
    assert joint["edge_exponent"] == 0.0  # as stiff on both sides: its edge is not singular
    assert "singular" not in drawn.stdout
    with (folder / "out" / "fields.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    heights = [float(row["height_mm"]) for row in rows]
    assert heights == sorted(heights)
    assert {row["trusted"] for row in rows} == {"0", "1"}
    up = [
        float(r["up_the_wall_MPa"]) + float(r["local_up_MPa"])
        for r in rows
        if r["band"] == "2" and float(r["height_mm"]) > 18.0 + 0.1 * float(r["wall_mm"])
    ]
    assert max(up) <= frit["tension_MPa"] + 1e-3


def test_a_second_run_draws_the_same_bytes(drawn: Result, folder: Path):
    again = run("stress", folder / "tea_light.toml", "--out", folder / "again")
    assert again.stdout == drawn.stdout
    for name in DRAWN:
        assert (folder / "again" / name).read_bytes() == (folder / "out" / name).read_bytes()


def test_files_are_not_replaced_unasked(drawn: Result, folder: Path):
    before = (folder / "out" / "stress.png").stat().st_mtime_ns
    result = run("stress", folder / "tea_light.toml", "--out", folder / "out")
    assert result.exit_code == INPUT_WRONG
    assert "--force" in result.stderr
    assert (folder / "out" / "stress.png").stat().st_mtime_ns == before


@pytest.mark.long
def test_relief_shows_what_each_way_of_flow_is_worth(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """With all ways at work it is the table above it, by the same solid; no line is too long."""
    monkeypatch.setenv("COLUMNS", "120")
    result = run("stress", folder / "tea_light.toml", "--relief")
    assert result.exit_code == 0
    table, _, below = result.stdout.partition("worst tension (MPa)")
    rows = re.findall(r"^  (all|without \w+) +([\d. ]+)$", below, re.MULTILINE)
    assert [way for way, _ in rows] == [
        "all",
        *(f"without {w}" for w in ("viscosity", "creep", "yield")),
    ]
    of_bands = re.findall(r": (\d+\.\d)\*? MPa at ", table)
    assert rows[0][1].split() == of_bands[::-1]
    assert max(map(len, result.stdout.splitlines())) <= 120


def test_relief_of_many_bands_stays_within_the_terminal():
    values = np.arange(1, 31) * 1e6
    lines = _relief_lines({"all": values, "without creep": 2.0 * values}, 80)
    assert max(map(len, lines)) <= 80
    told = " ".join(lines).partition("  all  ")[2].split()
    assert told[:30] == [f"{k:.1f}" for k in range(1, 31)]


def test_help_begins_with_what_it_does_and_shows_an_example():
    for command in ("check", "stress"):
        result = run(command, "--help")
        assert result.exit_code == 0
        assert f"cofire {command} examples/" in result.stdout


def test_a_stress_report_tells_of_an_edge_at_which_no_mesh_gives_a_stress():
    made = {one.name: np.full((1, 1), 0.7) for one in fields(SolidSteps)}
    steps = SolidSteps(**{**made, "height": np.array([0.018])})
    (note,) = _edge_note(SimpleNamespace(fired=SimpleNamespace(steps=steps)))
    assert note.startswith("the edge of the joint at 18 mm is singular")
    assert note.endswith("to the power of -0.30.")
