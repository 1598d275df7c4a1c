"""`cofire make`: the folder for the printer, as people and programs read it."""

from __future__ import annotations

import csv
import io
import re
import shlex
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from matplotlib.image import imread
from typer.testing import CliRunner

from cofire.assessment.mismatch import mismatch
from cofire.assessment.packing import packed
from cofire.assessment.verdict import judge
from cofire.cli import app
from cofire.cli.common import DEFECT, INPUT_WRONG
from cofire.design.ladder import Rung
from cofire.errors import ModelError
from cofire.production import job as module
from cofire.production import joint_pieces
from cofire.production.green import fired_again
from cofire.production.job import Job, happenings, job_for
from cofire.report.figures import save
from cofire.report.job import expected, grams, job_text
from cofire.report.job_figures import (
    CLAY,
    METAL,
    apart,
    bands_mismatch,
    before_and_after,
    colour,
    largest_steps,
    letter,
    section_figure,
)
from cofire.report.job_files import stl, write_making
from cofire.units import celsius
from tests.fired import sharply
from tests.made import COARSE, FRIT, SILVER, cylinder, fired, foot, graded, plain, shaped

pytestmark = pytest.mark.usefixtures("solids_are_rough")

FILES = {
    "green.csv", "green.svg", "green.stl", "bands.csv", "batches.csv", "changeovers.csv",
    "test_pieces.csv", "before_and_after.svg", "before_and_after.png", "job.txt",
    "mismatch.csv", "mismatch.svg", "mismatch.png", "green.3mf", "paste_1.stl", "paste_2.stl",
    "pauses.csv", "pause_1.gcode", "kiln_C.csv", "kiln_F.csv",
}  # fmt: skip
VESSEL = """name = "short <$tube$>"
[profile]
shape = "cylinder"
radius_mm = 22
height_mm = 30
wall_mm = 3
[[band]]
material = "fine silver"
to_mm = 12
[[band]]
material = "fritted body"
[paste]
scale_g = 0.01
[prices]
currency = "EUR"
per_kWh = 0.3
kiln_kW = 2.5
[prices.per_kg]
"fine silver" = 1000
[firing]
name = "quick"
gas = "air"
[[firing.segment]]
to_C = 850
rate_C_per_h = 200
hold_min = 30
"""
LAYERS = 0.3


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str, int]:
    """Folder, stdout, stderr and status of one run."""
    folder = tmp_path_factory.mktemp("make")
    (folder / "vessel.toml").write_text(VESSEL, encoding="utf-8")
    out = folder / "out"
    result = CliRunner().invoke(app, ["make", str(folder / "vessel.toml"), "--out", str(out)])
    return out, result.stdout, result.stderr, result.exit_code


@pytest.fixture(scope="module")
def rows(made) -> Callable[[str], list[dict[str, str]]]:
    """Rows of a table of the run, by column."""
    return lambda name: list(csv.DictReader(io.StringIO((made[0] / name).read_text("utf-8"))))


@pytest.fixture(scope="module")
def quick() -> Job:
    """The silver foot made, its slow parts coarse."""
    response, _ = foot()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "pieces_for", lambda *_: [])
        patch.setattr(
            module, "green_to_size", lambda r, **_: (foot()[1], fired_again(foot()[1], r, COARSE))
        )
        return job_for(sharply(response))


def test_the_folder_holds_every_file_whole(made):
    out, _, stderr, status = made
    assert {path.name for path in out.iterdir()} == FILES
    assert all(path.stat().st_size > 0 for path in out.iterdir())
    assert status == DEFECT
    assert str(out) in stderr


def test_the_summary_says_what_to_print_weigh_changeover_and_test(made):
    out, stdout, _, _ = made
    assert stdout == (out / "job.txt").read_text("utf-8")
    for told in (
        "short <$tube$>: no", "mm high", "a whole number reaches the rim", "weigh, to 0.01 g:",
        "change pastes", "2 × joint ring", "STOP:", "EUR", "kWh",
        "without a price: binder, fritted body",
    ):  # fmt: skip
        assert told in " ".join(stdout.split()), told
    assert max(map(len, stdout.splitlines())) <= 100
    assert "nan" not in stdout


def test_the_print_lies_in_equal_layers_that_hold_the_paste(rows):
    table, bands = rows("green.csv"), rows("bands.csv")
    low, high = (np.array([float(r[c]) for r in table]) for c in ("from_mm", "to_mm"))
    assert low[1:] == pytest.approx(high[:-1])
    assert high - low == pytest.approx(high[0], abs=2e-4)
    assert high[0] == pytest.approx(LAYERS, rel=0.01)
    paste = np.array([float(r["paste_ml"]) for r in table])
    by_band = [paste[[r["band"] == b["band"] for r in table]].sum() for b in bands]
    assert by_band == pytest.approx([float(b["paste_ml"]) for b in bands], abs=0.02)
    assert [int(b["last_layer"]) for b in bands][-1] == len(table)
    metal = [float(r["metal_percent"]) for r in table]
    assert metal[0] == 100.0
    assert metal[-1] == pytest.approx(0.0, abs=0.1)
    assert (np.diff(metal) <= 0.0).all()
    assert {r["over"] for r in table} == {"no"}


def test_batches_hold_the_bands_the_waste_and_the_feed(rows):
    parts = rows("batches.csv")
    assert all(re.fullmatch(r"\d+\.\d\d", r["mass_g"]) for r in parts)
    assert {r["for"] for r in parts} == {"the vessel", "test pieces"}
    parts = [r for r in parts if r["for"] == "the vessel"]
    wet = {b["material"]: float(b["wet_g"]) for b in rows("bands.csv")}
    for paste, mass in wet.items():
        total = sum(float(r["mass_g"]) for r in parts if r["paste"] == paste)
        assert 1.15 * mass < total < 1.15 * mass + 2.0 * 6.6  # 2 ml of the heavier paste


def test_swaps_and_pieces_are_told_in_the_same_layers(rows):
    (changeover,) = rows("changeovers.csv")
    assert (changeover["from"], changeover["to"]) == (SILVER, FRIT)
    joint = int(changeover["joint_above_layer"])
    assert joint == int(rows("bands.csv")[0]["last_layer"])
    assert int(changeover["changeover_in_layer"]) < joint < int(changeover["pure_from_layer"])
    pieces = rows("test_pieces.csv")
    assert {"joint ring", "expansion bar"} <= {r["piece"] for r in pieces}
    assert all(r["decides"] for r in pieces)
    assert all(float(r["expected"]) > 0.0 for r in pieces if r["unit"])


def test_the_mesh_file_is_the_print_in_millimetres(made, rows):
    content = (made[0] / "green.stl").read_bytes()
    (count,) = struct.unpack("<I", content[80:84])
    assert len(content) == 84 + 50 * count
    assert not content.startswith(b"solid")
    mesh = trimesh.load_mesh(io.BytesIO(content), file_type="stl")
    assert mesh.is_watertight
    paste = sum(float(b["paste_ml"]) for b in rows("bands.csv"))
    # flat sides: 0.1 %; rounding of the table
    assert mesh.volume / 1e3 == pytest.approx(paste, rel=2e-3)
    assert mesh.extents[2] == pytest.approx(float(rows("green.csv")[-1]["to_mm"]), abs=1e-3)


def test_a_triangle_file_says_which_way_is_out():
    corners = 1e-3 * np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    content = stl(corners, np.array([[0, 1, 2]]))
    assert struct.unpack("<3f", content[84:96]) == pytest.approx((0.0, 0.0, 1.0))
    assert struct.unpack("<9f", content[96:132]) == pytest.approx((0, 0, 0, 1, 0, 0, 0, 1, 0))


def test_the_section_is_drawn_at_true_scale(quick: Job):
    figure = section_figure(quick)
    (axes,) = figure.axes
    per_mm = figure.get_size_inches()[0] * 25.4 / np.ptp(axes.get_xlim())
    assert per_mm == pytest.approx(1.0)
    upright = figure.get_size_inches()[1] * 25.4 / np.ptp(axes.get_ylim())
    assert upright == pytest.approx(1.0)
    assert any("true scale" in text.get_text() for text in axes.texts)


def test_a_large_vessel_is_drawn_at_a_whole_fraction():
    response, _ = plain()
    large = replace(making_of_plain(response), green=scaled(plain()[1], 12.0), refired=None)
    figure = section_figure(large)
    (axes,) = figure.axes
    part = np.ptp(axes.get_xlim()) / (figure.get_size_inches()[0] * 25.4)
    assert part == pytest.approx(round(part))
    assert part > 1.5
    assert any(f"scale 1:{round(part)}" in text.get_text() for text in axes.texts)


def making_of_plain(response) -> Job:
    """A vessel of one paste, without the slow parts."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "pieces_for", lambda *_: [])
        patch.setattr(module, "green_to_size", lambda r, **_: (plain()[1], None))
        return job_for(sharply(response))


def scaled(green, factor: float):
    """A print some times as large, in as many layers."""

    def larger(wall):
        lengths = ("height", "radius", "width", "edges", "base")
        return replace(wall, **{name: factor * getattr(wall, name) for name in lengths})

    return replace(
        green, wall=larger(green.wall), fired=larger(green.fired), layer=factor * green.layer
    )


def test_the_figure_tells_metal_from_ceramic_in_grey(quick: Job):
    weights = np.array([0.2126, 0.7152, 0.0722])  # luminance, ITU-R BT.709
    light = colour(np.linspace(0.0, 1.0, 11)) @ weights
    assert (np.diff(light) < -0.03).all()
    assert CLAY @ weights - METAL @ weights > 0.5
    stream = io.BytesIO()
    save(before_and_after(quick), stream, "png")
    stream.seek(0)
    grey = imread(stream)[..., :3] @ weights
    assert (grey < 0.45).mean() > 0.02
    assert grey[0].min() > 0.99  # nothing is cut off at the edges
    assert grey[:, [0, -1]].min() > 0.99


def test_a_long_name_stays_on_the_page(quick: Job):
    vessel = replace(quick.response.vessel, name="a long name of a vase " * 3)
    long = replace(quick, check=sharply(replace(quick.response, vessel=vessel)))
    for drawing in (section_figure, before_and_after, lambda m: bands_mismatch(m.response)):
        stream = io.BytesIO()
        save(drawing(long), stream, "png")
        stream.seek(0)
        assert imread(stream)[:, -1, :3].min() > 0.99


def test_figures_are_the_same_bytes_every_time(quick: Job):
    for drawing in (section_figure, before_and_after, lambda m: bands_mismatch(m.response)):
        twice = []
        for _ in range(2):
            stream = io.BytesIO()
            save(drawing(quick), stream, "svg")
            twice.append(stream.getvalue())
        assert twice[0] == twice[1]


def test_the_mismatch_of_neighbours_adds_up_to_that_of_metal_and_ceramic():
    response, _ = graded()
    found = apart(response)
    pair = mismatch(response.cards[2], response.cards[0], response.vessel.firing)
    assert not found[0].any()
    assert found[2] == pytest.approx(pair.difference, abs=1e-12)
    told = largest_steps(response)
    worst = np.abs(np.diff(found, axis=0)).max()
    assert f"at most {100 * np.abs(pair.difference).max():.2f} %" in told
    assert f"at one joint at most {100 * worst:.2f} %" in told


def test_a_band_between_two_ends_alike_is_told_as_the_farthest():
    # metal at both ends: from end to end there is none, the body between lies far beyond both
    response = fired(cylinder([(SILVER, 0.015), (FRIT, 0.035), (SILVER, 0.05)]))
    told = largest_steps(response)
    span = np.ptp(apart(response), axis=0).max()
    assert told.startswith(f"Between bands 1 and 2 at most {100 * span:.2f} %")
    assert "0.00 %" not in told


def test_the_mismatch_figure_fills_a_gap_a_joint_and_names_every_band_and_event():
    response, _ = graded()
    upper, lower = bands_mismatch(response).axes
    assert len(lower.collections) == len(response.vessel.steps)
    names = {text.get_text() for text in lower.texts}
    assert names == {f"1  {FRIT}", "2  50 % metal", f"3  {SILVER}"}
    letters = [text.get_text() for text in upper.texts]
    assert letters == [letter(n) for n in range(len(happenings(response)))]
    key = " ".join(t.get_text() for t in bands_mismatch(response).texts).replace("\u00a0", " ")
    assert all(f"{celsius(event.ware):.0f} °C" in key for event in happenings(response))


def test_the_table_of_the_mismatch_holds_what_is_drawn(rows):
    table = rows("mismatch.csv")
    (name,) = (column for column in table[0] if column.startswith("band 2"))
    assert name == f"band 2, {FRIT}: beyond band 1_percent"
    assert all(float(row[f"band 1, {SILVER}: beyond band 1_percent"]) == 0.0 for row in table)
    assert float(table[0][name]) == 0.0
    assert max(abs(float(row[name])) for row in table) > 1.0
    assert float(table[-1]["ware_C"]) < 100.0


def test_one_paste_has_no_mismatch_to_draw(tmp_path: Path):
    write_making(making_of_plain(plain()[0]), tmp_path / "out", False)
    assert {p.name for p in (tmp_path / "out").iterdir()} == {
        name for name in FILES - {"pause_1.gcode", "paste_2.stl"} if not name.startswith("mismatch")
    }


def test_the_figure_shows_both_sizes(quick: Job):
    texts = {t.get_text() for axes in before_and_after(quick).axes for t in axes.texts}
    green, again = quick.green.wall, quick.refired.wall
    for wall in (green, again):
        assert f"{1e3 * wall.height[-1]:.1f} mm" in texts
        assert f"{2e3 * wall.outside.max():.1f} mm" in texts
    assert {"as printed", "as fired", FRIT, SILVER} <= texts


def test_the_pot_is_packed_as_its_print_dries_where_that_is_known(quick: Job):
    assert quick.packing.dried == quick.refired.dried
    tall = replace(quick.refired, dried=replace(quick.refired.dried, high=0.0774))
    assert "77 mm high" in " ".join(job_text(replace(quick, refired=tall)).split())
    assert replace(quick, refired=None).packing == packed(quick.check.printed)


def test_what_cannot_be_computed_is_named_and_the_rest_is_made(monkeypatch: pytest.MonkeyPatch):
    def fail(*_: object, **__: object) -> None:
        raise ModelError("too steep to mesh")

    for name in ("green_to_size", "pieces_for"):
        monkeypatch.setattr(module, name, fail)
    found = job_for(sharply(foot()[0]))
    assert (found.refired, found.pieces) == (None, ())
    text = job_text(found)
    assert text.count("not computed: ") == 2
    assert "too steep to mesh" in text
    assert before_and_after(found).axes


def test_what_is_too_little_for_the_scale_is_told(quick: Job):
    few = tuple(replace(batch, off=0.004) for batch in quick.batches)
    assert "too little for the scale" not in job_text(replace(quick, batches=few))
    few = (replace(few[0], off=0.26, worst="binder"), *few[1:])
    told = job_text(replace(quick, batches=few))
    assert told.count("too little for the scale: binder is off by 26 %") == 1


def test_the_feed_that_the_swaps_rest_on_is_stated(quick: Job):
    told = " ".join(job_text(quick).split())
    assert "2 ml from the change to the nozzle, mixing as 3 stirred tanks in series" in told
    vessel = quick.response.vessel
    wholly = replace(vessel, printer=replace(vessel.printer, tanks=1.0))
    one = replace(quick, check=sharply(replace(quick.response, vessel=wholly), quick.verdict))
    assert "mixing as 1 stirred tank in series" in " ".join(job_text(one).split())


def test_joints_that_lean_alike_are_told_in_one_line(quick: Job):
    *_, whole = quick.overhangs
    one = replace(whole, where="a | b", lean=whole.wanted + 0.1)
    three = replace(quick, overhangs=(one, replace(one, where="b | c"), whole))
    assert "Beside the joint of bands 1|2, 2|3: leans" in job_text(three)


def test_a_band_too_low_for_the_feed_is_named(quick: Job):
    assert "is never pure" not in job_text(quick)
    told = " ".join(job_text(replace(quick, purity=(1.0, 0.6))).split())
    assert "Band 2, fritted body, is never pure" in told
    assert "more than 60 % of its own paste" in told


def test_one_paste_needs_no_changeover():
    found = making_of_plain(plain()[0])
    assert (found.changeovers, found.missing) == ((), ())
    assert "changeover" not in job_text(found)
    assert "test pieces: none" in job_text(found)


def test_a_wall_that_leans_too_far_is_marked_in_text_and_section(monkeypatch: pytest.MonkeyPatch):
    z = np.array([0.0, 0.02])
    r = 0.02 + z * np.tan(np.radians(52.0))
    response = fired(shaped(r, z, [0.003] * 2, [(FRIT, 0.02)]))
    monkeypatch.setattr(module, "pieces_for", lambda *_: [])
    monkeypatch.setattr(module, "green_to_size", lambda r, **_: (module.green_vessel(r), None))
    found = job_for(sharply(response))
    assert "TOO FAR" in job_text(found)
    (axes,) = section_figure(found).axes
    assert any("leans too far" in text.get_text() for text in axes.texts)


@pytest.mark.parametrize(
    ("mass", "scale", "text"),
    [(0.12345, 1e-4, "123.5"), (0.12345, 1e-3, "123"), (1e-3, 1e-6, "1.000")],
)
def test_masses_show_the_digits_of_the_scale(mass: float, scale: float, text: str):
    assert grams(mass, scale) == text


def test_what_is_only_looked_at_has_no_figure():
    assert (expected(0.0, ""), expected(86.04, "mm"), expected(2440.6, "kg/m³")) == (
        "", "86.0", "2441",
    )  # fmt: skip


def test_the_command_replaces_only_its_own_folder_and_only_when_told(made, tmp_path: Path):
    vessel = str(made[0].parent / "vessel.toml")
    run = CliRunner().invoke
    again = run(app, ["make", vessel, "--out", str(made[0])])
    assert again.exit_code == INPUT_WRONG
    assert "--force" in again.stderr
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("keep me", encoding="utf-8")
    foreign = run(app, ["make", vessel, "--out", str(tmp_path / "other"), "--force"])
    assert foreign.exit_code == INPUT_WRONG
    assert "holds other files and no green.csv" in foreign.stderr
    nowhere = run(app, ["make", vessel, "--out", str(tmp_path / "no" / "folder")])
    assert nowhere.exit_code == INPUT_WRONG
    for result in (again, foreign, nowhere):
        assert result.stdout == ""
        assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("name", ["short tube", 'a "rim" of $5'])
def test_the_commands_on_a_ladders_note_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """It once named 'cofire check --uncertainty --record', without a vessel and without a file."""
    monkeypatch.chdir(tmp_path)
    text = VESSEL.replace('"short <$tube$>"', f"'{name}'")
    (tmp_path / "tube.toml").write_text(text, encoding="utf-8")
    response, _ = foot()
    sizes = {0.25: 0.8, 0.5: 1.2}
    rungs = [
        Rung(f"{name}, rung {size:.2f}", size, response.vessel, used, 1e-6, {"through crack": used})
        for size, used in sizes.items()
    ]
    flags = [f for f in judge(response).flags if f.rule == "through crack"]
    monkeypatch.setattr(joint_pieces, "ladder", lambda *_: rungs)
    (piece,) = joint_pieces.ladder_of_rings(response, 3e-4, flags)
    start, end = (piece.note.index(f"cofire {word}") for word in ("record", "check"))
    add, check = piece.note[start:end], piece.note[end:]
    add, check = add[: add.index("' (or")], check[: check.index("', VESSEL")]
    told = CliRunner().invoke(app, shlex.split(add)[1:])
    assert told.exit_code == 0, told.stderr
    words = [word.replace("VESSEL", "tube.toml") for word in shlex.split(check)[1:]]
    kept = []

    def learned(*given: object) -> str:
        kept.extend(given[5].entries)  # type: ignore[attr-defined]
        return ""

    monkeypatch.setattr("cofire.cli.vessel._with_uncertainty", learned)
    told = CliRunner().invoke(app, [*words, "--quick"])
    assert told.exit_code in (0, DEFECT), told.stderr
    assert [entry["piece"] for entry in kept] == [f"{name}, rung 0.50"]
