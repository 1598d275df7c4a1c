"""Cards of one's own that a command writes into a folder of tables, and what it says comes next."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import cofire as cf
from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from cofire.materials.catalogue import load_cards
from cofire.report.read_again import planned_vessel
from cofire.sweeps import sweep_table
from tests.fired import TEA_LIGHT

pytestmark = pytest.mark.usefixtures("solids_are_rough")

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


def test_a_card_beside_other_files_is_to_be_moved_before_its_folder_is_given(bars: Path) -> None:
    """Once --tables . was advised, where measured.toml was then refused as a card."""
    assert bars.exists()
    calibrated = run("calibrate", "measured.toml", "--tables", "T", "--out", "fit.toml")
    like = run("new", "material", "--like", "fritted body", "--name", "o", "--out", "o.toml")
    for done, name in ((calibrated, "fit"), (like, "o")):
        assert done.exit_code == 0, done.output
        assert f"next: move it into a folder of its own, {name}_tables, as here" in done.stderr
        assert "cannot be read (measured.toml: " in done.stderr
        assert f"--tables {name}_tables " in done.stderr
        assert "--tables ." not in done.stderr


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


SOFT = """name = "fine silver"
like = "fine silver"
[solidus]
value = 800
uncertainty = "+- 3"
"""


@pytest.fixture
def named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A vessel whose file names tables in which its metal melts before the peak."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine" / "metals").mkdir(parents=True)
    (tmp_path / "mine" / "metals" / "soft.toml").write_text(SOFT, encoding="utf-8")
    (tmp_path / "pots").mkdir()
    vessel = tmp_path / "pots" / "light.toml"
    vessel.write_text('tables = "../mine"\n' + TEA_LIGHT, encoding="utf-8")
    return vessel


def test_a_vessel_is_judged_by_the_tables_that_its_file_names(named: Path) -> None:
    """Once only by those that each command was given, so that one left out went unsaid."""
    found = cf.evaluate(cf.Case(cf.read_vessel(named), quick=True))
    assert found.deciding.rule == "liquid"
    assert found.deciding.utilisation > 1.0
    bare = named.with_name("bare.toml")
    bare.write_text(TEA_LIGHT, encoding="utf-8")
    assert cf.evaluate(cf.Case(cf.read_vessel(bare), quick=True)).deciding.rule != "liquid"
    given = run("check", "pots/bare.toml", "--tables", "mine", "--quick", "--json").stdout
    assert given == run("check", "pots/light.toml", "--quick", "--json").stdout.replace(
        "pots/light.toml", "pots/bare.toml"
    )


def test_a_row_of_a_sweep_is_judged_by_its_own_vessels_tables(named: Path) -> None:
    named.with_name("bare.toml").write_text(TEA_LIGHT, encoding="utf-8")
    table = named.with_name("table.csv")
    table.write_text("vessel\nlight.toml\nbare.toml\n", encoding="utf-8")
    sweep_table(table, Path("out.csv"), quick=True)
    soft, plain = Path("out.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert ",liquid," in soft
    assert ",liquid," not in plain
    card = Path("mine/metals/soft.toml")
    card.write_text(SOFT.replace("800", "801"), encoding="utf-8")
    assert run("sweep", "pots/table.csv", "--out", "out.csv", "--quick").exit_code == INPUT_WRONG


def test_a_plan_names_the_tables_it_was_judged_by_wherever_it_lies(named: Path) -> None:
    """Once `sheet` and `make` read a plan of own cards by the shipped ones, unsaid."""
    bare = named.with_name("bare.toml")
    bare.write_text(TEA_LIGHT, encoding="utf-8")
    out = Path("done/plan")
    for source, tables in ((named, []), (bare, [Path("mine")])):
        given = cf.read_vessel(source)
        judged = cf.vessel_file.read_vessel(source, tables=tables)
        assert len(judged.tables) == 1
        assert given.bands == judged.bands
        text = planned_vessel(source, judged, out)["vessel.toml"]
        assert tomllib.loads(text)["tables"] == ["../../mine"]


def test_a_new_vessel_names_the_tables_that_it_was_made_with(named: Path) -> None:
    pair = ("--below", "fine silver", "--above", "leucite porcelain", "--form", "cylinder")
    done = run("new", "vessel", *pair, "--tables", "mine", "--out", "pots/new.toml")
    assert done.exit_code == 0, done.output
    assert "next: cofire check pots/new.toml\n" in done.stderr
    assert cf.read_vessel("pots/new.toml").tables == (Path("pots/../mine"),)
