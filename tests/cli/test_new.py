"""`cofire new`: what it writes is read at once, and explains every field that may be freed."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from cofire.cli import app
from cofire.cli.common import DEFECT, INPUT_WRONG
from cofire.design.fired_size import in_fired_size
from cofire.design.grid import layouts
from cofire.design.transition import zones
from cofire.errors import LONGEST
from cofire.fields import FORMATS
from cofire.firing.program import Space, load_kilns, read_firing, read_kiln
from cofire.materials.catalogue import load_cards
from cofire.report.forms import FORMS, Wish, format_markdown, format_text, new_vessel
from cofire.vessel_file import read_vessel
from tests.guide import GUIDE, with_fields

pytestmark = pytest.mark.usefixtures("solids_are_rough")

CARDS, KILNS = load_cards(), load_kilns()
SILVER = ["--below", "fine silver", "--above", "fritted body"]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(app, list(words))

    return invoke


def freed(text: str) -> dict[str, object]:
    """Each commented field of a file with the value that stands behind its #."""
    found = {}
    for line in text.splitlines():
        if match := re.match(r"# (\w+) = (.+)$", line):
            found[match[1]] = tomllib.loads(f"x = {match[2]}")["x"]
    return found


@pytest.mark.parametrize(
    ("form", "floor"),
    [
        ("bowl", ["--floor"]),
        *(pytest.param(form, [], marks=pytest.mark.long) for form in FORMS),
    ],
)
def test_check_of_a_new_vessel_works_at_once(run, form: str, floor: list[str]):
    made = run("new", "vessel", *SILVER, "--form", form, "--layer-mm", "0.4", *floor)
    assert made.exit_code == 0, made.output
    assert made.stdout == ""
    told = run("check", "vessel.toml", "--quick")
    assert told.exit_code in (0, DEFECT), told.output
    assert "taken from the window" in " ".join(told.stdout.split())


def test_a_new_vessel_has_what_was_asked_for(run):
    made = run(
        "new", "vessel", "--below", "talc body", "--above", "copper", "--form", "cone",
        "--height-mm", "90", "--radius-mm", "40", "--rim-radius-mm", "55", "--wall-mm", "4",
        "--joint-mm", "60", "--nozzle-mm", "0.8", "--dead-volume-ml", "1.5", "--gas", "inert",
        "--kiln", "laboratory furnace", "--name", "my cup", "--out", "cup.toml",
    )  # fmt: skip
    assert made.exit_code == 0, made.output
    vessel = read_vessel(Path("cup.toml"), KILNS)
    assert vessel.name == "my cup"
    assert [b.material for b in vessel.bands] == ["talc body", "copper"]
    assert vessel.height[-1] == pytest.approx(0.09)
    assert vessel.steps == pytest.approx([0.06])
    assert vessel.wall == pytest.approx([0.004, 0.004], rel=0.02)
    assert (vessel.printer.given, vessel.printer.nozzle) == (True, pytest.approx(0.8e-3))
    assert vessel.printer.dead_volume == pytest.approx(1.5e-6)
    assert vessel.left_open is not None
    assert vessel.left_open.gas == "inert"
    assert vessel.firing.kiln.name == "laboratory furnace"


def test_without_a_printer_no_changeover_counts(run):
    run("new", "vessel", *SILVER)
    assert not read_vessel(Path("vessel.toml"), KILNS).printer.given


def test_the_metal_has_a_quarter_wherever_it_stands(run):
    for below, above, joint in (
        ("fine silver", "fritted body", 0.02),
        ("fritted body", "fine silver", 0.06),
    ):
        run("new", "vessel", "--below", below, "--above", above, "--force")
        assert read_vessel(Path("vessel.toml"), KILNS).steps == pytest.approx([joint])


def test_every_field_of_a_vessel_stands_in_the_file_with_its_unit_and_default(run):
    run("new", "vessel", *SILVER)
    text = Path("vessel.toml").read_text(encoding="utf-8")
    for section in FORMATS["vessel"]:
        for name, field in section.fields.items():
            if name in ("profile", "band", "printer", "joint", "paste", "prices", "free", "firing"):
                assert f"[{name}]" in text
                continue
            assert re.search(rf"^(# )?{name} = ", text, re.MULTILINE), name
            words = " ".join(line.lstrip("# ") for line in text.splitlines())
            assert field.meaning[1:] in words, name
            assert field.allowed in words


@pytest.mark.parametrize("heading", ["printer", "joint", "paste", "prices", "free", "firing"])
def test_a_table_that_is_freed_whole_is_read(run, heading: str):
    run("new", "vessel", *SILVER)
    lines = Path("vessel.toml").read_text(encoding="utf-8").splitlines()
    for one in ("printer", heading) if heading == "free" else (heading,):  # a chamber needs one
        start = lines.index(f"# [{one}]")
        for n in range(start, len(lines)):
            if not lines[n]:
                break
            if n == start or re.match(r"# \w+ = ", lines[n]):
                lines[n] = lines[n][2:]
    Path("vessel.toml").write_text("\n".join(lines), encoding="utf-8")
    read_vessel(Path("vessel.toml"), KILNS)


def test_a_pair_that_shares_no_firing_is_written_with_a_warning(run):
    made = run("new", "vessel", "--below", "fine silver", "--above", "mullite")
    assert made.exit_code == 0
    assert "check will refuse it" in made.stderr
    assert "K apart" in made.stderr


@pytest.mark.parametrize(
    ("words", "bands"),
    [
        (
            ["--below", "talc body", "--middle", "Blend", "--above", "copper"],
            ["talc body", "Blend", "copper"],
        ),
        *(
            pytest.param(
                ["--below", below, "--above", above], [below, above], marks=pytest.mark.long
            )
            for below, above in (("Blend", "copper"), ("talc body", "Blend"))
        ),
    ],
)
def test_a_blend_is_written_as_it_is_read(run, words: list[str], bands: list[str]):
    given = "copper + talc body = 40"
    wish = [given if word == "Blend" else word for word in words]
    made = run("new", "vessel", *wish, "--gas", "carbon")
    assert made.exit_code == 0, made.output
    assert "no material named" not in made.stderr
    vessel = read_vessel(Path("vessel.toml"), KILNS)
    assert [b.material for b in vessel.bands] == [given if b == "Blend" else b for b in bands]
    assert run("check", "vessel.toml", "--quick").exit_code in (0, DEFECT)


def test_what_check_will_say_of_a_new_vessel_is_one_line_of_300_characters(run):
    words = ("--below", "copper + talc body = 40", "--above", "fritted body")
    made = run("new", "vessel", *words)
    assert made.exit_code == 0
    warned = [line for line in made.stderr.splitlines() if "check will refuse it" in line]
    assert [line for line in warned if len(line) > LONGEST] == []
    assert len(warned) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["vessel", "--below", "copper", "--above", "Copper"], "--above: copper on copper; give"),
        (
            ["vessel", "--below", "copper+talc body=40", "--above", "copper + talc body = 40 %"],
            "--above: 40 % copper / 60 % talc body on 40 % copper / 60 % talc body",
        ),
        (["vessel", *SILVER, "--middle", "fritted body"], "fritted body on fritted body"),
        (["vessel", *SILVER, "--form", "square"], "only round vessels"),
        (["vessel", *SILVER, "--middle", "gold", "--height-mm", "0"], "height_mm = 0; allowed: 5"),
        (["vessel", *SILVER, "--wall-mm", "60"], "half of the radius"),
        (["vessel", *SILVER, "--joint-mm", "90"], "to_mm = 90"),
        (["vessel", *SILVER, "--layer-mm", "0"], "layer_mm = 0"),
        (["vessel", *SILVER, "--gas", "steam"], "--gas: no gas named 'steam'"),
        (["vessel", "--below", "fine silvr", "--above", "x"], "did you mean 'fine silver'"),
        (["kiln", "--max-C", "1300"], "--max-C: 1300; allowed: 200 to 1200"),
        (["material", "--like", "copper", "--own", "strength"], "write it as"),
        (["material", "--like", "copper", "--own", "colour = 1, 5 %"], "no property named"),
        (["material", "--like", "copper", "--own", "yield_stress = -5, 5 %"], "yield_stress"),
        (["material", "--like", "copper", "--own", "strength = 5, 5"], "cofire: --own: strength"),
        (["material", "--like", "fritted body", "--own", "fired_density = 0.9, 5 %"], "firing"),
        (["firing", "--peak-C", "1500"], "reaches at most"),
    ],
)
def test_a_wrong_wish_is_refused_in_one_line_and_nothing_is_written(run, words, told: str):
    made = run("new", *words)
    assert made.exit_code == INPUT_WRONG
    assert told in made.stderr
    assert len(made.stderr.strip().splitlines()) == 1
    assert "/tmp/" not in made.stderr
    assert list(Path().rglob("*.toml")) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["vessel"], "--below is missing; material of the foot"),
        (["vessel", "--below", "fine silver"], "--above is missing"),
        (["material"], "--like is missing"),
        (["record"], "--piece is missing"),
        (["measured", "--unit", "mm"], "No such option"),
    ],
)
def test_a_command_line_that_lacks_something_is_wrong_with_status_2(run, words, told: str):
    made = run("new", *words)
    assert made.exit_code == 2
    assert told in " ".join(made.stderr.split())
    assert list(Path().rglob("*.toml")) == []


def test_what_a_new_kiln_may_say_beyond_its_rates_is_freed_whole_and_read(run):
    assert run("new", "kiln", "--out", "kilns/own.toml").exit_code == 0
    text = Path("kilns/own.toml").read_text(encoding="utf-8")
    assert not read_kiln(tomllib.loads(text)).controller.given
    start = text.index("# [controller]")
    own = re.sub(r"(?m)^# (?=\w+ = |\[)", "", text[start:])
    kiln = read_kiln(tomllib.loads(text[:start] + own))
    assert kiln.controller.given
    assert kiln.controller.segments == 8
    assert (kiln.chamber, kiln.box) == (Space(0.18, 0.18, 0.22), Space(0.12, 0.12, 0.15))


def test_a_file_that_exists_is_kept_unless_forced(run):
    Path("vessel.toml").write_text("mine", encoding="utf-8")
    made = run("new", "vessel", *SILVER)
    assert made.exit_code == INPUT_WRONG
    assert "--force" in made.stderr
    assert Path("vessel.toml").read_text(encoding="utf-8") == "mine"
    assert run("new", "vessel", *SILVER, "--force").exit_code == 0


def test_at_a_terminal_what_is_missing_is_asked_for(tmp_path: Path):
    ours, theirs = pty.openpty()
    answers = ["bowl", "fritted body", "fine silver", "70", "30", "3.5", "50", "0.5", "0.9", "1"]
    os.write(ours, ("\n".join(answers) + "\n").encode())
    done = subprocess.run(
        [sys.executable, "-m", "cofire", "new", "vessel"], stdin=theirs, capture_output=True,
        cwd=tmp_path, timeout=120, env={**os.environ, "PYTHONPATH": str(GUIDE.parent)}, check=False,
    )  # fmt: skip
    os.close(ours)
    os.close(theirs)
    assert done.returncode == 0, done.stderr.decode()
    assert done.stdout.strip() == b""
    asked = done.stderr.decode()
    for words in ("form: cylinder, cone", "material of the foot", "height, fired, mm", "printer:"):
        assert words in asked
    vessel = read_vessel(tmp_path / "vessel.toml", KILNS)
    assert vessel.height[-1] == pytest.approx(0.07)
    assert vessel.steps == pytest.approx([0.05])
    assert vessel.printer.layer == pytest.approx(0.5e-3)
    assert vessel.printer.dead_volume == pytest.approx(1e-6)


def test_a_new_kiln_is_found_by_its_name_and_does_what_the_one_it_is_like_does(run):
    made = run("new", "kiln", "--name", "garage kiln", "--max-C", "1150")
    assert made.exit_code == 0, made.output
    kiln = load_kilns([Path("my_tables")])["garage kiln"]
    parent = KILNS["small studio kiln"]
    assert kiln.max_temperature == pytest.approx(1150 + 273.15)
    assert kiln.heating_rate[:4] == pytest.approx(parent.heating_rate[:4])
    assert kiln.heating_temperature[-1] == pytest.approx(kiln.max_temperature)
    assert run("materials", "--check", "my_tables").exit_code == 0
    assert (
        run("new", "vessel", *SILVER, "--kiln", "garage kiln", "--tables", "my_tables").exit_code
        == 0
    )


def test_the_next_steps_of_a_new_kiln_work_wherever_it_is_written(run):
    told = run("new", "kiln", "--name", "garage", "--out", "kx.toml").stderr
    assert "next: move it into my_tables/kilns, then cofire materials --check my_tables, " in told
    lost = run("materials", "--check", ".")
    assert lost.exit_code == INPUT_WRONG
    assert lost.stderr.splitlines() == [
        "kx.toml: a kiln, no material card; kilns are read from a folder named kilns: move it there"
    ]
    assert "folder named kilns" in run("screen", "--tables", ".").stderr
    Path("my_tables/kilns").mkdir(parents=True)
    Path("kx.toml").rename("my_tables/kilns/kx.toml")
    for place in ("my_tables", "my_tables/kilns/kx.toml"):
        assert run("materials", "--check", place).stdout == "files without a problem: 1\n"
    kept = ("--out", "x.toml", "--tables", "my_tables")
    assert run("new", "firing", "--kiln", "garage", *kept).exit_code == 0
    other = run("new", "kiln", "--name", "garage", "--out", "tables of mine/kilns/k.toml").stderr
    assert (
        "next: cofire materials --check 'tables of mine', then --tables 'tables of mine'" in other
    )


def test_a_new_firing_is_the_window_of_its_vessel(run):
    run("new", "vessel", *SILVER)
    made = run("new", "firing", "--vessel", "vessel.toml")
    assert made.exit_code == 0, made.output
    firing = read_firing(Path("firing.toml"), KILNS)
    assert 800 < firing.peak - 273.15 < 930
    assert len(firing.segments) == 5
    text = Path("vessel.toml").read_text(encoding="utf-8")
    text = text.replace("# firing = ", "firing = ", 1)
    Path("vessel.toml").write_text(text, encoding="utf-8")
    assert read_vessel(Path("vessel.toml"), KILNS).firing == firing
    assert run("check", "vessel.toml", "--quick").exit_code in (0, DEFECT)


@pytest.mark.parametrize("name", ["shed", "small studio kiln"])
def test_a_new_firing_keeps_a_kiln_that_stands_in_the_vessels_own_file(run, name: str):
    run("new", "vessel", *SILVER)
    own = f"[firing.kiln]\nname = {name!r}\nmax_temperature_C = 1000\n" + "".join(
        f"[firing.kiln.{way}]\ntemperature_C = [20, 1000]\nrate_C_per_h = [{first}, {last}]\n"
        for way, first, last in (("heating", 200, 60), ("cooling", 0, 300))
    )
    with Path("vessel.toml").open("a", encoding="utf-8") as file:
        file.write(own)
    assert run("new", "firing", "--vessel", "vessel.toml").exit_code == 0
    kiln = read_firing(Path("firing.toml"), KILNS).kiln
    assert (kiln.name, kiln.max_temperature) == (name, pytest.approx(1273.15))
    assert kiln.heating_rate[-1] == pytest.approx(60.0 / 3600.0)


def test_a_new_firing_says_of_each_segment_what_it_is_for_on_any_controller(run):
    """What is joined, or left out for want of segments, takes its words along."""
    run("new", "vessel", *SILVER)
    notes = []
    for most in (None, 3):
        run("new", "kiln", "--name", "shed", "--force")
        file = Path("my_tables/kilns/shed.toml")
        text = file.read_text(encoding="utf-8").replace("# [controller]", "[controller]")
        if most:
            text = text.replace("# segments = 8", f"segments = {most}")
        file.write_text(text, encoding="utf-8")
        made = run("new", "firing", "--vessel", "vessel.toml", "--kiln", "shed", "--tables",
                   "my_tables", "--force")  # fmt: skip
        assert made.exit_code == 0, made.output
        rows = tomllib.loads(Path("firing.toml").read_text(encoding="utf-8"))["segment"]
        assert "the soak" in max(rows, key=lambda row: row["to_C"])["note"]
        notes.append([row.get("note", "") for row in rows])
    assert notes[0] == ["the last water leaves", "the binder leaves", "the soak", "",
                        "past the set points"]  # fmt: skip
    assert notes[1] == ["the last water leaves, the binder leaves", "the soak",
                        "past the set points"]  # fmt: skip


def test_a_new_firing_of_a_vessel_can_be_set_on_its_kiln_that_counts_in_fahrenheit(run):
    """Once rounded to a tenth of °C: the kiln took steps of 10 °F/h and was to be set to 100.08."""
    run("new", "vessel", *SILVER)
    run("new", "kiln", "--name", "shed")
    file = Path("my_tables/kilns/shed.toml")
    text = file.read_text(encoding="utf-8").replace("# [controller]", "[controller]")
    for was, now in {
        'degrees = "C"': 'degrees = "F"',
        "step_degrees = 1": "step_degrees = 5",
        "step_per_h = 1": "step_per_h = 10",
    }.items():
        assert f"# {was}" in text
        text = text.replace(f"# {was}", now)
    file.write_text(text, encoding="utf-8")
    own = ("--tables", "my_tables")
    assert run("new", "firing", "--vessel", "vessel.toml", "--kiln", "shed", *own).exit_code == 0
    told = run("firing", "firing.toml", "--kiln-csv", "-", *own)
    assert told.exit_code == 0
    assert "cannot be set" not in told.stderr + told.stdout
    assert told.stdout.startswith("segment,rate_F_per_h,to_F,")  # once °C, which it cannot take
    other = run("firing", "firing.toml", "--kiln-csv", "-", "--degrees", "C", *own)
    assert other.stdout.startswith("segment,rate_C_per_h,to_C,")


def test_a_programme_that_no_controller_takes_is_written_and_said_to_be_so(run):
    run("new", "kiln", "--name", "shed")
    file = Path("my_tables/kilns/shed.toml")
    text = file.read_text(encoding="utf-8").replace("# [controller]", "[controller]")
    text = text.replace('# degrees = "C"', 'degrees = "F"')
    file.write_text(text.replace("# step_degrees = 1", "step_degrees = 5"), encoding="utf-8")
    own = ("--kiln", "shed", "--tables", "my_tables")
    assert run("new", "firing", "--peak-C", "863", *own).exit_code == 0
    told = run("firing", "firing.toml", "--kiln-csv", "-", "--degrees", "F", *own[2:])
    assert told.exit_code == 0
    assert told.stdout.splitlines()[-1].startswith("3,")
    assert "cannot be set on its controller: segment 3: 1585.4 °F, it takes steps of 5" in (
        told.stderr
    )


def test_a_new_firing_without_a_vessel_goes_where_it_is_told(run):
    made = run("new", "firing", "--peak-C", "900", "--hold-min", "20", "--rate-C-per-h", "120",
               "--gas", "carbon", "--name", "second try")  # fmt: skip
    assert made.exit_code == 0, made.output
    firing = read_firing(Path("firing.toml"), KILNS)
    assert (firing.name, firing.gas) == ("second try", "carbon")
    assert firing.peak == pytest.approx(900 + 273.15)
    assert firing.segments[-1].hold == pytest.approx(1200.0)
    assert run("firing", "firing.toml").exit_code == 0


@pytest.mark.parametrize(
    ("peak", "kept", "told"),
    [
        ("500", 3, ""),
        ("300", 2, "left out, as hotter than --peak-C = 300: burnout at 500 °C\n"),
        ("100", 1, "left out, as hotter than --peak-C = 100: drying at 110 °C and burnout at 5"),
    ],
)
def test_a_new_firing_gets_no_hotter_than_its_peak(run, peak: str, kept: int, told: str):
    made = run("new", "firing", "--peak-C", peak)
    assert made.exit_code == 0
    assert made.stderr.startswith(told or "written: ")
    firing = read_firing(Path("firing.toml"), KILNS)
    assert len(firing.segments) == kept
    assert firing.peak == firing.segments[-1].target == pytest.approx(float(peak) + 273.15)
    text = run("firing", "firing.toml").stdout
    assert f"Ware peaks at {peak} °C" in text
    assert "Heat work of the ware: below cone 018 at 60 °C/h, the chart's first." in text


def test_a_new_material_is_like_its_parent_but_for_what_was_measured(run):
    made = run("new", "material", "--like", "fritted body", "--name", "my frit", "--own",
               "strength = 62, 10 %", "--own", "weibull modulus=12,factor 1.2")  # fmt: skip
    assert made.exit_code == 0, made.output
    mine = load_cards([Path("my_tables")])["my frit"]
    measured = {key for key, p in mine.properties.items() if "measured" in p.basis}
    assert measured == {"strength", "weibull_modulus"}
    told = run("materials", "--tables", "my_tables", "my frit")
    assert "measured by its user: strength, weibull_modulus" in told.stdout
    parent = load_cards()["fritted body"]
    text = Path("my_tables/my_frit.toml").read_text(encoding="utf-8")
    for name in set(parent.properties) - measured:
        assert f"# [{name}]" in text


def test_every_number_of_a_new_material_may_be_freed(run):
    run("new", "material", "--like", "fritted body", "--name", "my frit")
    path = Path("my_tables/my_frit.toml")
    lines = path.read_text(encoding="utf-8").splitlines()
    begin = next(n for n, line in enumerate(lines) if line.startswith("# [thermal_expansion]"))
    for n in range(begin, len(lines)):
        if re.match(r"# (\w+ = |\[\w+\]$)", lines[n]):
            lines[n] = lines[n][2:]
    path.write_text("\n".join(lines), encoding="utf-8")
    mine, parent = load_cards([Path("my_tables")])["my frit"], load_cards()["fritted body"]
    for name, p in mine.properties.items():
        assert set(p.basis) == {"measured"}, name
        assert p.value.tolist() == parent[name].value.tolist()


def test_a_record_is_filled_in_and_added_once(run):
    run("new", "firing")
    made = run("new", "record", "--piece", "bowl 3", "--firing", "firing.toml")
    assert made.exit_code == 0, made.output
    first = run("record", "add", "record.toml")
    assert first.exit_code == 0, first.output
    assert len(first.stdout.splitlines()) == 1
    text = Path("record.toml").read_text(encoding="utf-8")
    text = text.replace('# outcome = "sound"', 'outcome = "cracked"')
    Path("record.toml").write_text(text, encoding="utf-8")
    second = run("record", "add", "record.toml")
    assert "not added again" in second.stderr
    assert "cracked" in second.stdout
    third = run("record", "add", "record.toml")  # once the outcome was written again
    assert "this outcome stands in the record already; not added again" in third.stderr
    shown = run("record", "show").stdout
    assert shown.count("bowl 3") >= 1
    assert shown.count("cracked") == 1
    Path("record.toml").write_text(f'{text}\nnote = "from the rim"\n', encoding="utf-8")
    assert "from the rim" in run("record", "add", "record.toml").stdout  # another look


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('piece = "a"\n', "nothing to add"),
        ('piece = "a"\noutcome = "fine"\n', "outcome = 'fine'"),
        ('piece = "a"\nfiring = "x.csv"\nwhere = "foot"\n', "give outcome"),
        ('piece = "a"\nweather = "rain"\n', "no field named 'weather'"),
        ('piece = ""\noutcome = "sound"\n', "piece"),
    ],
)
def test_a_wrong_record_is_refused(run, text: str, told: str):
    Path("r.toml").write_text(text, encoding="utf-8")
    done = run("record", "add", "r.toml")
    assert done.exit_code == INPUT_WRONG
    assert told in done.stderr
    assert not Path("cofire-record.jsonl").exists()


def test_a_band_between_two_stands_midway_or_where_it_is_put(run):
    body = ["--below", "fritted body", "--middle", "fine silver"]
    assert run("new", "vessel", *body, "--height-mm", "40").exit_code == 0
    vessel = read_vessel(Path("vessel.toml"), KILNS)
    assert vessel.name == "cylinder of fritted body and fine silver"
    assert [b.material for b in vessel.bands] == ["fritted body", "fine silver", "fritted body"]
    assert [1e3 * b.low for b in vessel.bands] == pytest.approx([0.0, 15.0, 25.0])
    metal, ceramic, _ = zones(vessel, CARDS)
    grid = layouts(in_fired_size(vessel, metal, ceramic))  # what a plan has to begin with
    assert {1, 2} <= {len(layout.shares) for layout in grid}
    assert all(layout.upper is not None for layout in grid)
    more = [*body, "--above", "leucite porcelain", "--joint-mm", "20", "--middle-mm", "8"]
    assert run("new", "vessel", *more, "--out", "w.toml").exit_code == 0
    vessel = read_vessel(Path("w.toml"), KILNS)
    assert vessel.bands[2].material == "leucite porcelain"
    assert [1e3 * b.low for b in vessel.bands] == pytest.approx([0.0, 20.0, 28.0])
    wrong = run("new", "vessel", *SILVER, "--middle-mm", "8", "--out", "x.toml")
    assert wrong.exit_code == INPUT_WRONG
    assert "give --middle too" in wrong.stderr


def test_a_rim_of_its_own_is_refused_where_the_form_has_none(run):
    """Once it was passed over, and the file had the radius of the foot."""
    wrong = run("new", "vessel", *SILVER, "--rim-radius-mm", "50", "--out", "x.toml")
    assert wrong.exit_code == INPUT_WRONG
    assert "give --form too" in wrong.stderr
    assert run("new", "vessel", *SILVER, "--rim-radius-mm", "50", "--form", "cone").exit_code == 0


def test_the_next_command_knows_the_tables_and_a_firing_is_led_into_its_vessel(run):
    assert run("new", "kiln", "--name", "barn").exit_code == 0
    assert "--tables my_tables" in run("new", "kiln", "--name", "shed").stderr
    own = ["--kiln", "barn", "--tables", "my_tables"]
    assert run("new", "vessel", *SILVER, *own).stderr.rstrip().endswith("cofire check vessel.toml")
    told = run("new", "firing", "--vessel", "vessel.toml").stderr
    assert "cofire firing firing.toml --tables my_tables" in told
    assert "in vessel.toml, in the place of its table [firing], above all tables" in told
    assert 'firing = "firing.toml"' in told
    assert run("new", "vessel", *SILVER, "--force").exit_code == 0
    told = run("new", "firing", "--vessel", "vessel.toml", "--force").stderr
    assert 'in vessel.toml, above all tables: firing = "firing.toml"' in told


def test_a_kiln_of_ones_own_that_was_forgotten_is_asked_for(run):
    assert "--tables" not in run("new", "vessel", *SILVER, "--kiln", "barn").stderr
    assert run("new", "kiln", "--name", "barn").exit_code == 0
    forgotten = run("new", "vessel", *SILVER, "--kiln", "barn")
    assert forgotten.exit_code == INPUT_WRONG
    assert forgotten.stderr.rstrip().endswith("yours? give --tables my_tables")
    material = run("check", "vessel.toml", "--tables", "my_tables")
    assert "yours?" not in material.stderr


def test_a_number_without_uncertainty_is_asked_for_it(run):
    told = run("new", "material", "--like", "fritted body", "--own", "strength = 62")
    assert told.exit_code == INPUT_WRONG
    assert "with its uncertainty" in told.stderr


def test_calibrate_reads_what_was_measured_at_once(run):
    bars = ["--bar", "100.1, 95.5, 87.2", "--bar", "95.6,87.4"]
    made = run("new", "measured", "--material", "fritted body", *bars, "--peak-C", "840")
    assert made.exit_code == 0, made.output
    told = run("calibrate", "measured.toml", "--out", "own/frit.toml")
    assert told.exit_code == 0, told.output
    assert "from 2 bars (1 firing)" in told.stdout
    assert "next: --tables own with every command" in told.stderr
    assert "own/frit.toml" in run("materials", "fritted body", "--tables", "own").stdout
    assert "from 1 bars" in told.stdout.replace("1 bar\n", "1 bars\n")
    wrong = run("new", "measured", "--material", "fritted body", "--bar", "100; 95", "--force")
    assert wrong.exit_code == INPUT_WRONG
    assert "--bar: '100; 95'" in wrong.stderr
    assert "840" in Path("measured.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("material", "gas"), [("copper", '"carbon"'), ("iron", '"hydrogen"'), ("fritted body", '"air"')]
)
def test_bars_are_written_down_in_a_gas_that_their_card_bears(run, material: str, gas: str):
    """Once in air, which spoils copper, where nobody thought of it."""
    made = run("new", "measured", "--material", material, "--bar", "100.1, 95.5, 87.2")
    assert made.exit_code == 0, made.output
    text = Path("measured.toml").read_text(encoding="utf-8")
    assert re.search(rf"^gas = {gas}", text, re.MULTILINE)


def test_every_field_of_what_was_measured_stands_in_the_file_and_may_be_freed(run):
    from cofire.evidence.measured import read_measured

    bars = ["--bar", "100.1, 95.5, 87.2"]
    assert run("new", "measured", "--material", "fritted body", *bars).exit_code == 0
    text = Path("measured.toml").read_text(encoding="utf-8")
    for section in FORMATS["measured"]:
        for name in section.fields:
            if name not in ("firing", "dilatometer", "bending", "sag", "strip"):
                assert re.search(rf"^(# )?{name} = ", text, re.MULTILINE), name
    for heading in ("[firing.bending]", "[[firing.sag]]", "[[firing.strip]]"):
        start = text.index(f"# {heading}")
        end = text.find("\n\n", start)
        part = re.sub(r"(?m)^# (?=\[{1,2}firing\.|\w+ = )", "", text[start:end])
        freed_part = text[:start] + part + text[end:]
        found = read_measured(tomllib.loads(freed_part), KILNS).firings[0]
        assert (found.bending is not None) + len(found.sags) + len(found.strips) == 1


@pytest.mark.parametrize("kind", FORMATS)
def test_the_help_holds_every_field_of_its_file(run, kind: str):
    told = " ".join(run("new", kind, "--help").stdout.split())
    for section in FORMATS[kind]:
        for name, field in section.fields.items():
            assert f"{name}: " in told
            assert field.meaning in told


@pytest.mark.parametrize("kind", FORMATS)
def test_the_help_fits_a_terminal(kind: str):
    assert max(map(len, format_text(kind).splitlines())) <= 78


def test_the_guide_holds_the_table_of_fields_as_it_stands():
    text = GUIDE.read_text(encoding="utf-8")
    assert with_fields(text) == text, "run `python -m tests.guide`"
    rows = format_markdown().count("\n| `")
    assert rows == sum(len(s.fields) for each in FORMATS.values() for s in each)


def test_a_name_with_quotes_and_other_letters_is_read_back(tmp_path: Path):
    for name in ('the "old" cup', "陶土 # 1", "it's = +"):
        path = tmp_path / "v.toml"
        wish = Wish(name, "belly", "fine silver", "fritted body")
        path.write_text(new_vessel(wish), encoding="utf-8")
        assert read_vessel(path, KILNS).name == name


@pytest.mark.parametrize(
    "words",
    [
        ["vessel", "--below", "copper", "--above", "talc body", "--name", "\udcff"],
        ["kiln", "--name", "\udcff"],
        ["material", "--like", "copper", "--name", "\udcff"],
        ["material", "--like", "copper", "--own", "strength = 62, \udcff"],
        ["firing", "--name", "\udcff"],
        ["record", "--piece", "a", "--prediction", "\udcff"],
    ],
)
def test_bytes_of_the_command_line_that_are_no_text_are_refused(run, words: list[str]):
    made = run("new", *words)
    assert made.exit_code == INPUT_WRONG, made.exception
    assert "allowed: UTF-8" in made.stderr
    assert len(made.stderr.splitlines()) == 1
    assert list(Path().rglob("*.toml")) == []
