"""No command writes over a file that it reads, whatever it is told."""

from __future__ import annotations

import os
from pathlib import Path
from shutil import copy

import pytest
from typer.testing import CliRunner

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from tests.fired import TEA_LIGHT

EXAMPLES = Path(__file__).parents[2] / "examples"
FIRING = """name = "own"
[[segment]]
to_C = 850
rate_C_per_h = 100
hold_min = 30
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a file of each kind, in which one stands."""
    monkeypatch.chdir(tmp_path)
    for name in ("measured_fritted_body.toml", "measured_fritted_body_curve.csv",
                 "silver_rim_vessel.toml", "silver_rim_profile.csv"):  # fmt: skip
        copy(EXAMPLES / name, tmp_path / name)
    (tmp_path / "pot.toml").write_text(TEA_LIGHT, encoding="utf-8")
    (tmp_path / "own.toml").write_text(FIRING, encoding="utf-8")
    (tmp_path / "rows.csv").write_text("vessel\npot.toml\n", encoding="utf-8")
    return tmp_path


def refused(words: list[str], kept: str) -> None:
    """The command ends with one line, and the file is as it was."""
    before = Path(kept).read_bytes()
    told = CliRunner().invoke(app, [*words, "--force"])
    assert (told.exit_code, told.stderr.count("\n")) == (INPUT_WRONG, 1), told.output
    assert "this command" in told.stderr
    assert Path(kept).read_bytes() == before


@pytest.mark.parametrize(
    "words",
    [
        "sweep rows.csv --out rows.csv",
        "sweep rows.csv --out pot.toml",
        "sweep rows.csv --out new.csv --parquet rows.csv",
        "sheet pot.toml --out pot.toml",
        "schedule pot.toml --out pot.toml",
        "calibrate measured_fritted_body.toml --out measured_fritted_body.toml",
        "firing own.toml --csv own.toml",
        "firing own.toml --kiln-csv own.toml",
        "new firing --vessel pot.toml --out pot.toml",
    ],
)
def test_no_output_takes_the_place_of_an_input(here: Path, words: str):
    """Once 'sweep t.csv --out t.csv --force' left a header, and 'sheet' a vessel of HTML."""
    given = words.split()
    refused(given, given[-1])


def test_a_file_that_only_another_names_is_an_input_too(here: Path):
    words = ["new", "firing", "--vessel", "silver_rim_vessel.toml", "--out"]
    refused([*words, "silver_rim_profile.csv"], "silver_rim_profile.csv")


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_link_to_an_input_is_that_input(here: Path):
    os.symlink("own.toml", "other.toml")
    refused(["firing", "own.toml", "--csv", "other.toml"], "own.toml")
    os.link("own.toml", "same.toml")
    refused(["firing", "same.toml", "--csv", "own.toml"], "own.toml")


def test_a_folder_that_holds_an_input_is_not_replaced(here: Path):
    (here / "plan").mkdir()
    (here / "plan" / "plan.json").write_text("{}", encoding="utf-8")
    (here / "plan" / "pot.toml").write_text(TEA_LIGHT, encoding="utf-8")
    refused(["plan", "plan/pot.toml", "--out", "plan"], "plan/pot.toml")


def test_a_command_after_another_may_write_what_that_one_read(here: Path):
    run = CliRunner().invoke
    assert run(app, ["firing", "own.toml"]).exit_code == 0
    told = run(app, ["new", "firing", "--out", "own.toml", "--force"])
    assert told.exit_code == 0, told.output
