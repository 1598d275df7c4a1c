"""The notice of a firing of cofire's own comes when nothing is refused any more."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG, INTERRUPTED, System
from cofire.cli.vessel import Begun
from cofire.vessel_file import read_vessel
from tests.fired import KILNS

OPEN = """name = "own cup"
[profile]
shape = "cylinder"
radius_mm = 25
height_mm = 50
wall_mm = 3
[[band]]
material = "fine silver"
to_mm = 15
[[band]]
material = "{rim}"
[joint]
{joint}
"""
NOWHERE = "lowest_mm = 10\nhighest_mm = 11\nkeep_mm = 25"


LIST = '[free]\nmaterials = ["fine silvr"]\n'


@pytest.mark.parametrize(
    ("command", "rim", "joint", "more"),
    [
        ("plan", "fine silver", "", ""),
        ("partner", "fine silver", "", ""),
        ("plan", "fritted body", NOWHERE, ""),
        ("layers", "fritted body", NOWHERE, ""),
        ("schedule", "fritted body", "", LIST),
        ("check", "fritted body", "", LIST),
    ],
)
def test_what_is_refused_stands_alone(tmp_path: Path, command, rim, joint, more) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OPEN.format(rim=rim, joint=joint) + more, encoding="utf-8")
    words = [command, str(path), "--workers", "1"]
    words = words[:2] if command == "check" else words
    words += ["--out", str(tmp_path / "out")] if command == "plan" else []
    told = CliRunner().invoke(app, words)
    assert told.exit_code == INPUT_WRONG, told.output
    assert len(told.stderr.strip().splitlines()) == 1, told.stderr
    assert "names no firing" not in told.stderr


def test_a_file_in_the_way_of_a_plan_is_told_alone(tmp_path: Path) -> None:
    path, out = tmp_path / "own.toml", tmp_path / "out"
    path.write_text(OPEN.format(rim="fritted body", joint=""), encoding="utf-8")
    out.mkdir()
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    told = CliRunner().invoke(app, ["plan", str(path), "--out", str(out)])
    assert told.exit_code == INPUT_WRONG
    assert len(told.stderr.strip().splitlines()) == 1


def test_the_notice_comes_once_before_the_first_line(tmp_path: Path, capsys) -> None:
    from cofire.design.starting import started
    from tests.fired import CARDS

    path = tmp_path / "own.toml"
    path.write_text(OPEN.format(rim="fritted body", joint=""), encoding="utf-8")
    lines: list[str] = []
    tell = Begun(started(read_vessel(path, KILNS), CARDS), lines.append)
    assert capsys.readouterr().err == ""
    tell("layouts: 1 of 2")
    assert capsys.readouterr().err.count("names no firing") == 1
    tell("layouts: 2 of 2")
    assert capsys.readouterr().err == ""
    assert lines == ["layouts: 1 of 2", "layouts: 2 of 2"]
    Begun(started(read_vessel(path, KILNS), CARDS), lines.append, System.imperial)("again")
    told = capsys.readouterr().err
    assert ("°F" in told, "°C" in told) == (True, False)


def test_a_plan_leaves_the_notice_to_its_own_text(tmp_path: Path, monkeypatch) -> None:
    """There it stands in the units asked for; said before as well, it stood twice."""

    def stopped(*_: object, tell, **__: object) -> None:
        tell("layers")
        raise KeyboardInterrupt

    monkeypatch.setattr("cofire.design.plan.propose", stopped)
    path = tmp_path / "own.toml"
    path.write_text(OPEN.format(rim="fritted body", joint=""), encoding="utf-8")
    told = CliRunner().invoke(app, ["plan", str(path), "--out", str(tmp_path / "out")])
    assert told.exit_code == INTERRUPTED
    assert "nothing was written" in told.stderr
    assert "names no firing" not in told.stderr
