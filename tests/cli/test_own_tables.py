"""Cards of one's own that a command writes into a folder of tables, and what it says comes next."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from cofire.materials.catalogue import load_cards

LIKE = """name = "mine"
like = "fritted body"
[firing_shrinkage]
value = 9.5
uncertainty = "+- 0.3"
"""


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


@pytest.fixture
def bars(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of tables with a card that has no sources, and bars of it beside."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "T" / "ceramics"
    folder.mkdir(parents=True)
    (folder / "mine.toml").write_text(LIKE, encoding="utf-8")
    given = ("--material", "mine", "--tables", "T", "--bar", "100.1, 95.5, 86.2")
    assert run("new", "measured", *given, "--bar", "95.6, 86.4").exit_code == 0
    return folder


def test_a_card_without_sources_is_calibrated_and_its_copy_has_one(bars: Path) -> None:
    """Once refused, with nothing printed of the fit."""
    done = run("calibrate", "measured.toml", "--tables", "T", "--out", "new/ceramics/own.toml")
    assert done.exit_code == 0, done.output
    assert "from 2 bars (1 firing)" in done.stdout
    assert "heat work in all, no cooling beside it" in " ".join(done.stdout.split())
    table = tomllib.loads(Path("new/ceramics/own.toml").read_text(encoding="utf-8"))
    assert table["sources"] == {"measured": "measured: measured.toml"}
    assert table["firing_shrinkage"]["source"] == "measured"
    assert "next: --tables new with every command" in done.stderr
    assert load_cards([Path("new")])["mine"].like == "fritted body"
    assert bars.exists()


def test_a_fit_is_printed_though_its_card_cannot_be_written(bars: Path) -> None:
    text = 'sources = { bars = "my bars" }\n' + LIKE
    (bars / "mine.toml").write_text(text, encoding="utf-8")
    done = run("calibrate", "measured.toml", "--tables", "T", "--out", "own.toml")
    assert done.exit_code == INPUT_WRONG
    assert "[sources] is not a table of its own" in done.stderr
    assert "from 2 bars (1 firing)" in done.stdout
    assert not Path("own.toml").exists()


@pytest.mark.parametrize(
    ("out", "folder"),
    [("T/ceramics/x.toml", "T"), ("T/x.toml", "T"), ("metals/x.toml", "."), ("x.toml", ".")],
)
def test_a_card_in_a_folder_of_tables_is_read_by_the_folder_around_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, out: str, folder: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("new", "material", "--like", "fritted body", "--name", "other", "--out", out)
    assert done.exit_code == 0, done.output
    assert f"next: cofire materials --tables {folder} 'other'" in done.stderr
    assert "other" in load_cards([Path(folder)])


def test_a_card_written_within_metals_is_read_by_the_folder_above(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "metals"
    folder.mkdir()
    monkeypatch.chdir(folder)
    done = run("new", "material", "--like", "fritted body", "--name", "other", "--out", "x.toml")
    assert f"next: cofire materials --tables {tmp_path} 'other'" in done.stderr
