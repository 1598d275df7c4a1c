"""What a person sees of the command line: help, streams, statuses, files, and hostile names."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from cofire.assessment.mismatch import mismatch
from cofire.assessment.screening import stream
from cofire.cli import app
from cofire.files import bundled_tables
from cofire.firing.kiln import trace
from cofire.firing.program import Kiln, load_kilns, read_firing, simple_firing
from cofire.materials.catalogue import load_cards, load_fillers
from cofire.physics.blends import blend
from cofire.report.figures import mismatch_csv, mismatch_figure, save, spread
from cofire.report.pairs import COLUMNS, STREAMED, stream_csv
from cofire.report.writing import one_line, printed
from cofire.units import HOUR, kelvin

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"
FIRING = EXAMPLES / "silver_on_frit_firing.toml"
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
QUOTED = shlex.quote(str(FIRING))
TABLES = Path(str(bundled_tables()))
COPPER = (TABLES / "metals" / "copper.toml").read_text(encoding="utf-8")
COMMANDS = sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
DRAWN = ["mismatch", "copper + talc body = 40", "talc body", "--gas", "carbon"]
PAIR = ["--metal", "copper", "--ceramic", "talc body", "--gas", "carbon"]


def run(*arguments: str | Path, width: int | None = None) -> Result:
    """The command in this process, at a width of the terminal."""
    columns = {} if width is None else {"COLUMNS": str(width)}
    return CliRunner().invoke(app, [str(a) for a in arguments], env=columns)


def command_of_this_checkout(line: str) -> str:
    """The line with `cofire` as this checkout's where it is the command, and paths left alone."""
    command = f"{shlex.quote(sys.executable)} -m cofire "
    return re.sub(r"(^|[;|&] )cofire ", lambda found: found[1] + command, line)


def shell(line: str, **more: str) -> subprocess.CompletedProcess[str]:
    """A line of the shell in which `cofire` is this checkout's."""
    line = command_of_this_checkout(line)
    return subprocess.run(
        ["/bin/sh", "-c", line],
        capture_output=True,
        text=True,
        env={**os.environ, **more},
        cwd=ROOT,
        check=False,
        encoding="utf-8",
    )


def test_a_clone_named_as_the_command_keeps_its_paths() -> None:
    path = shlex.quote("/home/some one/cofire/examples/cofire .toml")
    line = command_of_this_checkout(f"cofire firing {path} || true; cofire screen | cofire sheet")
    words = shlex.split(line)
    assert words.count("-m") == words.count(sys.executable) == 3
    assert shlex.split(path)[0] in words


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    """One pair drawn by the command: what it said, and its folder."""
    folder = tmp_path_factory.mktemp("drawn") / "out"
    return run(*DRAWN, "--out", folder), folder


@pytest.fixture
def little_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """For a test that looks at no figure: its files are written, and nothing is drawn in them."""
    monkeypatch.setattr("cofire.report.figures.mismatch_figure", lambda _: None)
    monkeypatch.setattr("cofire.report.figures.save", lambda _, stream, form: stream.write(b"-"))


# --- help -----------------------------------------------------------------------------------------


def helped(command: str) -> str:
    """Help of a command, after its usage line."""
    result = run(command, "--help")
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout.split("\n", 2)[2]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_says_what_the_command_does_and_gives_an_example(command: str) -> None:
    text = helped(command)
    assert re.match(r"  [A-Z][a-z]+ ", text), "begins with a verb"
    assert re.search(rf"Example:  cofire {command}\b", text)
    assert run(command, "-h").stdout == run(command, "--help").stdout


def test_the_whole_help_names_every_command_and_the_statuses() -> None:
    text = run("--help").stdout
    for word in (*COMMANDS, "Status: 0 done", "1 a fault", "130 interrupted"):
        assert word in text
    assert run("--version").stdout.startswith("cofire ")


def example(command: str) -> list[str]:
    """Words of the example in a command's help."""
    found = re.search(r"Example:  cofire (.+?)\n\n", helped(command), re.DOTALL)
    assert found is not None
    return shlex.split(" ".join(found[1].split()))


@pytest.mark.parametrize("command", ["screen", "mismatch", "materials", "firing"])
def test_the_example_of_the_help_runs(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "examples").symlink_to(EXAMPLES)
    monkeypatch.chdir(tmp_path)
    result = run(*example(command))
    assert (result.exit_code, result.exception) == (0, None)
    assert result.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_the_files_that_an_example_names_exist(command: str) -> None:
    for word in example(command):
        assert not word.startswith("examples/") or (ROOT / word).is_file()


def test_nothing_given_shows_the_help_with_status_2() -> None:
    result = run()
    assert result.exit_code == 2
    assert "Commands:" in result.stdout + result.stderr


# --- streams --------------------------------------------------------------------------------------


def test_results_go_to_standard_output_and_all_else_to_standard_error(
    drawn: tuple[Result, Path],
) -> None:
    result, folder = drawn
    assert result.exit_code == 0
    first, hold = result.stdout.split("\n", 1)
    assert re.fullmatch(r"40 % copper / .* ppm stored below .*\.", first)
    assert hold.startswith("The kiln's hold: ")
    assert result.stderr == f"written: {folder}/mismatch.png, .svg, .csv\n"


@pytest.mark.usefixtures("little_drawn")
@pytest.mark.parametrize("gas", [pytest.param("air", marks=pytest.mark.long), "carbon"])
def test_a_mismatch_tells_why_it_holds_longer_than_the_screen_says(gas: str, tmp_path: Path):
    pair = ["gold", "leucite porcelain"]
    listed = run("screen", "--metal", pair[0], "--ceramic", pair[1], "--gas", gas).stdout
    wanted = re.search(r"°C, (\d+) min", listed)
    drawn = " ".join(run("mismatch", *pair, "--gas", gas, "--out", tmp_path).stdout.split())
    fired = re.search(r"°C, (\d+) min in", drawn)
    told = re.search(r"the (\d+) min of the ware that .* and (\d+) min by which", drawn)
    assert wanted
    assert fired
    assert told
    assert told[1] == wanted[1]
    assert int(fired[1]) == int(told[1]) + int(told[2])


def test_json_on_standard_output_is_one_object_with_a_schema() -> None:
    result = run("screen", "--json", "-")
    whole = json.loads(result.stdout, parse_constant=lambda word: pytest.fail(word))
    assert (whole["schema"], whole["gases"]) == (1, ["air", "carbon", "inert"])
    assert (result.exit_code, result.stderr) == (0, "")
    assert all(tuple(pair) == COLUMNS for pair in whole["pairs"])
    assert {pair["verdict"] for pair in whole["pairs"]} <= {"go", "caution", "no"}
    without = [pair for pair in whole["pairs"] if pair["peak_C"] is None]
    assert all(pair["reason"] for pair in without)


def test_the_header_of_the_pairs_is_stable() -> None:
    result = run("screen", *PAIR, "--csv", "-")
    rows = list(csv.reader(io.StringIO(result.stdout)))
    assert rows[0] == [
        "metal", "ceramic", "verdict", "reason", "gas", "window_low_C", "window_high_C", "peak_C",
        "hold_min", "metal_density", "ceramic_density", "solidus_margin_K", "end_mismatch_percent",
        "worst_mismatch_percent", "worst_mismatch_at_C", "set_point_C", "cooled_mismatch_ppm",
        "tile_tension_MPa", "strength_MPa", "beyond_tables", "metal_sag_percent",
        "ceramic_sag_percent",
    ]  # fmt: skip
    assert [len(row) for row in rows] == [22, 22]
    assert rows[1][:2] == ["copper", "talc body"]


def test_the_header_of_a_trace_is_stable() -> None:
    lines = run("firing", FIRING, "--csv", "-").stdout.splitlines()
    assert lines[0] == "time_h,kiln_C,ware_C"
    assert lines[1] == "0.00000,20.00,20.00"


def test_a_firing_is_drawn_as_a_plan_draws_it(tmp_path: Path) -> None:
    out = tmp_path / "new"
    result = run("firing", FIRING, "--out", out)
    assert result.exit_code == 0
    assert {path.name for path in out.iterdir()} == {"firing.png", "firing.svg", "firing.csv"}
    assert (out / "firing.csv").read_text("utf-8") == run("firing", FIRING, "--csv", "-").stdout
    assert (out / "firing.png").read_bytes().startswith(b"\x89PNG")
    svg = (out / "firing.svg").read_text("utf-8")
    for words in ("binder begins to leave", "binder gone", "hottest", "off: cools shut"):
        assert words in svg
    again = run("firing", FIRING, "--out", out)
    assert again.exit_code == 3
    assert "--force" in again.stderr


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")
def test_a_browser_opens_the_figures_without_a_fault(
    drawn: tuple[Result, Path], tmp_path: Path
) -> None:
    run("firing", FIRING, "--out", tmp_path)
    for figure in (tmp_path / "firing.svg", drawn[1] / "mismatch.svg"):
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
        place = figure.as_uri()
        command = [str(BROWSER), *options, f"--user-data-dir={tmp_path / 'browser'}", place]
        shown = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
        assert "parsererror" not in shown.stdout
        assert "<svg" in shown.stdout
        assert shown.stdout.count("<text") > 20


@pytest.mark.usefixtures("little_drawn")
def test_a_drawing_beside_csv_leaves_standard_output_to_the_csv(tmp_path: Path) -> None:
    result = run("screen", *PAIR, "--csv", "-", "--draw", tmp_path / "out")
    assert result.exit_code == 0
    assert len(list(csv.reader(io.StringIO(result.stdout)))) == 2
    assert (tmp_path / "out" / "mismatch.png").is_file()


def test_csv_and_json_go_to_files_and_the_table_to_the_screen(tmp_path: Path) -> None:
    files = ["--csv", tmp_path / "a.csv", "--json", tmp_path / "a.json"]
    result = run("screen", *PAIR, *files)
    assert "1 pair (kiln: small studio kiln)" in result.stdout
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["schema"] == 1
    assert (tmp_path / "a.csv").read_text(encoding="utf-8").startswith("metal,ceramic")


# --- processes ------------------------------------------------------------------------------------


@pytest.mark.skipif(os.name != "posix", reason="needs a shell")
@pytest.mark.parametrize("reader", [pytest.param("head -1", marks=pytest.mark.long), "true"])
def test_a_reader_that_leaves_early_is_no_fault(reader: str) -> None:
    result = shell(f"cofire materials zirconia || true; cofire screen --csv - | {reader}")
    assert "Traceback" not in result.stderr
    assert "BrokenPipe" not in result.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a full device")
def test_a_full_disk_is_one_line() -> None:
    result = shell("cofire materials > /dev/full")
    assert result.returncode == 3
    assert result.stderr == "cofire: standard output: cannot be written (No space left on device)\n"


@pytest.mark.skipif(os.name != "posix", reason="needs a shell")
def test_the_module_runs_as_the_command_does_without_colours() -> None:
    plain = shell(
        f"cofire firing {QUOTED}",
        NO_COLOR="",
        TERM="xterm-256color",
        FORCE_COLOR="1",
    )
    dumb = shell(f"cofire firing {QUOTED}", NO_COLOR="1", TERM="dumb")
    assert (plain.returncode, plain.stderr) == (0, "")
    assert plain.stdout == dumb.stdout
    assert "\x1b" not in plain.stdout
    refusal = shell("cofire screen --metal '\x1b[31mred'", FORCE_COLOR="1")
    assert refusal.returncode == 3
    assert "\x1b" not in refusal.stderr


@pytest.mark.skipif(os.name != "posix", reason="needs a shell")
def test_a_terminal_without_the_characters_shows_their_codes() -> None:
    result = shell(f"cofire firing {QUOTED}", PYTHONIOENCODING="iso8859-5")
    assert (result.returncode, result.stderr) == (0, "")
    assert "\\xb0C" in result.stdout


def test_help_needs_none_of_the_heavy_packages() -> None:
    code = "import sys, cofire.cli as c; c.app(['--help'], standalone_mode=False);"
    code += "print(*(m for m in ('numpy', 'scipy', 'pandas', 'matplotlib') if m in sys.modules))"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert result.stdout.splitlines()[-1] == ""


# --- files ----------------------------------------------------------------------------------------


def test_a_second_run_writes_the_same_bytes(drawn: tuple[Result, Path], tmp_path: Path) -> None:
    _, first = drawn
    assert run(*DRAWN, "--out", tmp_path).exit_code == 0
    names = ["mismatch.csv", "mismatch.png", "mismatch.svg"]
    assert [sorted(f.name for f in place.iterdir()) for place in (first, tmp_path)] == [names] * 2
    for name in names:
        assert (first / name).read_bytes() == (tmp_path / name).read_bytes()


def test_the_table_of_a_figure_has_no_empty_cell_and_no_number_that_is_none(
    drawn: tuple[Result, Path],
) -> None:
    text = (drawn[1] / "mismatch.csv").read_text(encoding="utf-8")
    names = next(csv.reader(io.StringIO(text)))
    assert names[:3] == ["time_h", "kiln_C", "ware_C"]
    assert names[-2:] == ["mismatch_percent", "stored_mismatch_ppm"]
    numbers = np.loadtxt(io.StringIO(text), delimiter=",", skiprows=1)
    assert np.all(np.isfinite(numbers))
    assert np.all(np.diff(numbers[:, 0]) > 0.0)


FIRINGS = [f for f in sorted(EXAMPLES.glob("*.toml")) if "segment" in tomllib.loads(f.read_text())]


@pytest.mark.parametrize("file", FIRINGS, ids=lambda file: file.name)
def test_every_shipped_firing_runs(file: Path) -> None:
    result = run("firing", file)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Heat work of the ware" in result.stdout


def test_the_shipped_tables_pass_their_own_check() -> None:
    result = run("materials", "--check", TABLES)
    assert (result.exit_code, result.stderr) == (0, "")
    assert re.fullmatch(r"files without a problem: \d+\n", result.stdout)


@pytest.mark.parametrize("name", ["copper", "talc body", "titanium", "iron"])
def test_a_card_is_shown_with_the_source_of_every_number(name: str) -> None:
    text = run("materials", name).stdout
    assert text.startswith(f"{name} (")
    assert "thermal_expansion [1e-6/K]" in text
    assert re.search(
        r"\((\d+\.?\d* %|factor [\d.]+|\+- [\d.e-]+); (seen|derived|memory|estimate)", text
    )
    assert ("transform" in text or "alpha to" in text) == (name in ("iron", "titanium"))


def test_what_a_plan_may_mix_into_a_paste_is_listed_and_shown() -> None:
    """Once a filler that a plan recommended was answered with "did you mean" another body."""
    listed = run("materials", width=300).stdout.splitlines()
    fillers = [line for line in listed if line.startswith("filler ")]
    assert [line[9:35].strip() for line in fillers] == list(load_fillers())
    shown = run("materials", "fused silica powder")
    assert (shown.exit_code, shown.stderr) == (0, "")
    assert shown.stdout.startswith("fused silica powder (")


# --- the user's own tables ------------------------------------------------------------------------


def test_a_copied_card_with_a_new_name_is_one_more_material(tmp_path: Path) -> None:
    card = tmp_path / "mine.toml"
    card.write_text(COPPER.replace('name = "copper"', 'name = "my_own copper"'), encoding="utf-8")
    result = run("screen", "--metal", "My own  COPPER", *PAIR[2:], "--tables", tmp_path)
    assert result.exit_code == 0
    assert "my_own copper" in result.stdout
    assert len(run("materials", "--tables", tmp_path).stdout.splitlines()) > len(
        run("materials").stdout.splitlines()
    )


@pytest.mark.parametrize("name", ["copper", "Copper"])
def test_a_card_of_the_same_name_overrides_the_shipped_one(name: str, tmp_path: Path) -> None:
    (tmp_path / "metals").mkdir()
    card = tmp_path / "metals" / "any file name.TOML"
    mine = COPPER.replace('name = "copper"', f'name = "{name}"').replace("1084.62", "1050")
    card.write_text(mine, encoding="utf-8")
    shown = run("materials", "copper", "--tables", tmp_path, width=300).stdout
    assert str(card) in shown
    assert "  1050  " in shown
    listed = run("materials", "--tables", tmp_path, width=300).stdout.casefold()
    assert len(re.findall(r"(?m)^metal +copper ", listed)) == 1


def test_a_folder_may_hold_a_kiln_alone(tmp_path: Path) -> None:
    (tmp_path / "kilns").mkdir()
    kiln = (TABLES / "kilns" / "small_studio_kiln.toml").read_text(encoding="utf-8")
    kiln = kiln.replace("small studio kiln", "mine").replace(
        "max_temperature_C = 1200", "max_temperature_C = 850"
    )
    (tmp_path / "kilns" / "mine.toml").write_text(kiln, encoding="utf-8")
    result = run("screen", *PAIR, "--kiln", "MINE", "--tables", tmp_path, "--all", width=300)
    assert "at most 850 °C (mine)" in result.stdout


def test_a_later_folder_is_first_in_right(tmp_path: Path) -> None:
    for folder, solidus in (("one", "1040"), ("two", "1060")):
        (tmp_path / folder).mkdir()
        text = COPPER.replace("1084.62", solidus)
        (tmp_path / folder / "copper.toml").write_text(text, encoding="utf-8")
    both = ["--tables", tmp_path / "one", "--tables", tmp_path / "two"]
    assert "  1060  " in run("materials", "copper", *both).stdout


# --- names ----------------------------------------------------------------------------------------

HOSTILE = {
    "quotes": "it's \"copper\", 'mine'; a,b",
    "right to left": "נחושת של סבא",
    "a script": "<script>alert('&amp;')</script>",
    "white space": "two\n lines\tand\u2028more",
    "emoji": "🔥🏺 pot",
    "wide": "銅の粘土",
    "a formula": r"$x$ $\frac{1}{2}$ $",
    "a broken formula": r"$\frac",
    "a percentage": "100 %s %d {0} {name}",
    "an underscore": "_hidden_",
    "80 characters": "W" * 80,
    "a path": "../../etc/passwd",
    "an equation of a spreadsheet": "@sum(a1:a9)",
}


def toml(text: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False)


def shown(name: str) -> str:
    """A name as it is to be shown: on one line."""
    return " ".join(name.split())


def test_hostile_names_are_shown_as_text(tmp_path: Path) -> None:
    for number, name in enumerate(HOSTILE.values()):
        card = COPPER.replace('name = "copper"', f"name = {toml(name)}")
        (tmp_path / f"{number}.toml").write_text(card, encoding="utf-8")
    names = {shown(name) for name in HOSTILE.values()}
    ours = ["screen", "--ceramic", "talc body", "--tables", tmp_path]
    rows = list(csv.reader(io.StringIO(run(*ours, "--csv", "-").stdout)))
    assert names <= {row[0] for row in rows}
    assert {len(row) for row in rows} == {len(COLUMNS)}
    whole = json.loads(run(*ours, "--json", "-").stdout)
    assert names <= {pair["metal"] for pair in whole["pairs"]}
    table = run(*ours, width=250).stdout.splitlines()
    assert all(any(name in line for line in table) for name in names)
    one = run("screen", "--metal", HOSTILE["emoji"], *PAIR[2:], "--tables", tmp_path)
    assert HOSTILE["emoji"] in one.stdout


@pytest.mark.parametrize(
    "pair",
    [
        ("a broken formula", "emoji"),
        ("a script", "80 characters"),
        pytest.param(("a formula", "right to left"), marks=pytest.mark.long),
        pytest.param(("an underscore", "wide"), marks=pytest.mark.long),
    ],
)
def test_hostile_names_break_no_figure(pair: tuple[str, str]) -> None:
    names = [shown(HOSTILE[key]) for key in pair]
    cards = load_cards()
    one, other = (
        replace(cards[card], name=name)
        for card, name in zip(("iron", "leucite porcelain"), names, strict=True)
    )
    kiln = load_kilns()["small studio kiln"]
    firing = simple_firing(kiln, kelvin(965.0), 3600.0, 150.0 / HOUR, "carbon")
    m = mismatch(one, other, firing)
    figure = mismatch_figure(m)
    png, svg = io.BytesIO(), io.BytesIO()
    save(figure, png, "png")
    save(figure, svg, "svg")
    assert png.getvalue().startswith(b"\x89PNG")
    texts = "".join("".join(ElementTree.fromstring(svg.getvalue()).itertext()).split())
    columns = next(csv.reader(io.StringIO(mismatch_csv(m))))
    for name in names:
        assert texts.count("".join(name.split())) >= 2, "in the title and in the legends"
        assert f"{name}: free strain_percent" in columns


def test_a_hostile_card_is_drawn_by_the_command(tmp_path: Path) -> None:
    name = HOSTILE["a broken formula"]
    card = COPPER.replace('name = "copper"', f"name = {toml(name)}")
    (tmp_path / "mine.toml").write_text(card, encoding="utf-8")
    pair = ["mismatch", name, "talc body", "--gas", "carbon", "--tables", tmp_path]
    result = run(*pair, "--out", tmp_path / "out")
    assert (result.exit_code, result.exception) == (0, None)
    assert result.stdout.startswith(f"{name} with talc body")


def test_hidden_characters_are_written_out() -> None:
    assert one_line("a\x1b[31m\u202eb\n c") == "a\\u001b[31m\\u202eb c"


def test_wide_characters_take_two_columns_and_accents_none() -> None:
    assert [printed(text) for text in ("copper", "銅", "e\u0301", "°C")] == [6, 2, 1, 2]


# --- width ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "width", [80, 200, *(pytest.param(w, marks=pytest.mark.long) for w in (100, 140))]
)
def test_every_line_fits_the_terminal(width: int) -> None:
    blend = ["--ceramic", "copper + talc body = 40", "--metal", "low-carbon steel"]
    for arguments in (
        ["screen", *PAIR, *blend, "--all"],
        ["materials"],
        ["materials", "iron"],
        ["firing", FIRING],
    ):
        lines = run(*arguments, width=width).stdout.splitlines()
        wide = [line for line in lines if printed(line) > width and not line.startswith("file: ")]
        assert wide == []


def test_a_narrow_terminal_tells_the_same_as_a_wide_one() -> None:
    words = [
        set(re.findall(r"[\w.]+", run("screen", *PAIR, width=width).stdout)) for width in (80, 250)
    ]
    assert words[1] - words[0] <= {"verdict", "metal", "ceramic", "gas", "peak", "why"}


# --- streams of pairs -----------------------------------------------------------------------------


def test_a_stream_of_pairs_is_the_same_figures_as_text() -> None:
    cards = load_cards()
    metals = [replace(cards["copper"], name='copper, "mine"'), cards["fine silver"]]
    ceramics = [cards["talc body"], cards["leucite porcelain"], cards["fritted body"]]
    peaks = [kelvin(900.0), kelvin(960.0)]
    kiln = load_kilns()["small studio kiln"]
    names = [[card.name for card in side] for side in (metals, ceramics)]
    text = "".join(stream_csv(stream(metals, ceramics, kiln, peaks), *names))
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == list(STREAMED)
    assert len(rows) == 12
    blocks = list(stream(metals, ceramics, kiln, peaks))
    for n, row in enumerate(rows):
        peak, metal, shared, block = blocks[n // 3]
        k = n % 3
        assert (row["metal"], row["ceramic"]) == (names[0][metal], names[1][k])
        assert float(row["peak_C"]) == pytest.approx(peak - 273.15)
        assert float(row["cooled_mismatch_ppm"]) == pytest.approx(
            block.cooled_mismatch[k] * 1e6, abs=0.51
        )
        assert (row["cause"] == "window") == (not shared[k])
        assert shared[k] or row["verdict"] == "no"
    assert {bool(shared[k]) for _, _, shared, _ in blocks for k in range(3)} == {True, False}


# --- blends and bounds ----------------------------------------------------------------------------


def test_materials_shows_a_blend_as_it_shows_a_card() -> None:
    told = run("materials", "copper + talc body = 40")
    assert told.exit_code == 0, told.output
    assert told.stdout.startswith("40 % copper / 60 % talc body (blend): ")
    cards = load_cards()
    density = blend(cards["copper"], cards["talc body"], 0.4)["theoretical_density"].scalar
    after = told.stdout[told.stdout.index("theoretical_density [kg/m3]") :].splitlines()[1]
    assert float(after.split()[0]) == pytest.approx(density, rel=1e-5)
    assert "write it as 'METAL + CERAMIC = 40'" in run("materials", "copper + talc body").stderr
    assert run("materials", "copper + talc body = 4_0").exit_code == 3


@pytest.mark.parametrize("words", ["--pieces -1", "--paste-ml nan", "--paste-ml -0.1"])
def test_no_sample_is_drawn_for_less_than_no_pieces(
    words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cofire.cli.vessel.checked", lambda *_, **__: pytest.fail("checked"))
    vessel = EXAMPLES / "silver_foot_vessel.toml"
    told = run("check", vessel, "--uncertainty", *words.split())
    assert told.exit_code == 3
    assert told.stderr == f"cofire: {words}; allowed: 0 or more\n"


# --- limits ---------------------------------------------------------------------------------------


def test_a_firing_of_seven_years_has_as_few_moments_as_another() -> None:
    """Every hold and ramp as long as a file may say."""
    kilns: dict[str, Kiln] = load_kilns()
    segment = {"to_C": 900, "rate_C_per_h": 0.1, "hold_min": 30000}
    segments = [{**segment, "to_C": 900 - 100 * (n % 2)} for n in range(60)]
    curve = trace(read_firing({"lag_min": 0.01, "segment": segments}, kilns, "here"))
    assert curve.time[-1] > 7 * 365 * 24 * 3600.0
    assert curve.time.size < 30_000


@pytest.mark.parametrize("lag", [0.0, 5e-324, 1e-6, 1e-3, 0.1, 5.0, 5.000001, 600.0])
@pytest.mark.parametrize("hold", [0.0, 1e-9, 1e-4, 1.0, 60.0, 60.000012, 30000.0])
def test_no_lag_or_hold_makes_time_stand_still(lag: float, hold: float) -> None:
    segment = {"to_C": 900, "rate_C_per_h": 150, "hold_min": hold}
    curve = trace(read_firing({"lag_min": lag, "segment": [segment]}, load_kilns(), "here"))
    assert np.all(np.diff(curve.time) > 0.0)
    assert np.all(np.isfinite(curve.ware))
    assert curve.time.size < 5_000


def test_marks_that_crowd_are_spread_and_others_stay() -> None:
    wanted = np.array([0.0, 0.1, 0.2, 5.0, 9.9, 10.0])
    found = spread(wanted, 1.0, 10.0)
    assert np.all(np.diff(found) >= 1.0 - 1e-12)
    assert found[0] >= 0.0
    assert found[-1] <= 10.0 + 1e-12
    assert found[3] == 5.0
    assert np.array_equal(spread(wanted[2:4], 1.0, 10.0), wanted[2:4])


def test_every_command_has_one_whole_line_in_the_help_and_loads_by_its_name() -> None:
    from cofire.cli import COMMANDS

    result = CliRunner().invoke(app, ["--help"])
    listed = result.output[result.output.index("Commands:") :].splitlines()[1:]
    assert [line.split()[0] for line in listed if line.strip()] == list(COMMANDS)
    assert not any(line.endswith("...") for line in listed)
    for name in COMMANDS:
        assert CliRunner().invoke(app, [name, "--help"]).exit_code == 0
    assert "Did you mean 'check'" in CliRunner().invoke(app, ["chekc"]).output
