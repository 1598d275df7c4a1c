"""What printer and kiln take: solids per paste, a 3MF package, pauses, the firing in numbers."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from hypothesis import given
from typer.testing import CliRunner

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from cofire.firing.kiln import trace
from cofire.firing.program import Controller, Firing, Segment
from cofire.production import job as module
from cofire.production.job import Job, job_for, kiln_steps
from cofire.production.printed_solid import band_volumes, paste_solids, skin, volume_below
from cofire.report.firing import kiln_csv
from cofire.report.job import job_text
from cofire.report.job_files import CORE, MODEL, pause_gcode, pauses, pauses_csv, stl, threemf
from cofire.report.sheet_firing import programme
from cofire.report.sheet_print import print_line
from cofire.units import HOUR, MINUTE, kelvin
from tests.fired import sharply
from tests.made import BLEND, FRIT, SILVER, cylinder, fired, foot, graded
from tests.strategies import KILNS, firings, some

pytestmark = pytest.mark.usefixtures("solids_are_rough")

NAMESPACE = {"c": CORE}


@cache
def both_ends():
    """Silver at foot and rim, the body between: one paste in two bands."""
    from cofire.production.green import green_vessel

    response = fired(cylinder([(SILVER, 0.012), (FRIT, 0.035), (SILVER, 0.05)]))
    return response, green_vessel(response)


@cache
def job(made) -> Job:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "pieces_for", lambda *_: [])
        patch.setattr(module, "green_to_size", lambda response, **_: (made()[1], None))
        return job_for(sharply(made()[0]))


def package(made) -> tuple[zipfile.ZipFile, ElementTree.Element]:
    solids = paste_solids(made()[1])
    colours = np.linspace(0.0, 1.0, 3 * len(solids)).reshape(-1, 3)
    archive = zipfile.ZipFile(io.BytesIO(threemf(solids, colours, 'pot <1> & "2"')))
    return archive, ElementTree.fromstring(archive.read(MODEL))


def meshes(model: ElementTree.Element) -> dict[str, trimesh.Trimesh]:
    found = {}
    for one in model.iterfind(".//c:object[c:mesh]", NAMESPACE):
        corners = [
            [float(v.get(a, "")) for a in "xyz"] for v in one.iterfind(".//c:vertex", NAMESPACE)
        ]
        faces = [
            [int(t.get(a, "")) for a in ("v1", "v2", "v3")]
            for t in one.iterfind(".//c:triangle", NAMESPACE)
        ]
        found[one.get("name", "")] = trimesh.Trimesh(corners, faces, process=False)
    return found


@pytest.mark.parametrize("made", [foot, graded, both_ends])
def test_each_paste_is_one_closed_solid_of_its_own_volume(made):
    green = made()[1]
    solids = paste_solids(green)
    assert [s.material for s in solids] == list(dict.fromkeys(green.materials))
    volumes = band_volumes(green.wall)
    corners, faces = skin(green.wall)
    whole = trimesh.Trimesh(1e3 * corners, faces, process=False).volume
    total = 0.0
    for solid in solids:
        read = io.BytesIO(stl(solid.corners, solid.triangles))
        mesh = trimesh.load_mesh(read, file_type="stl")
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume == pytest.approx(1e9 * volumes[list(solid.bands)].sum(), rel=1e-2)
        assert mesh.body_count == len(solid.bands)
        total += mesh.volume
    assert total == pytest.approx(whole, rel=1e-5)


@pytest.mark.parametrize(
    "made", [graded, *(pytest.param(one, marks=pytest.mark.long) for one in (foot, both_ends))]
)
def test_the_package_has_a_closed_part_for_each_paste_that_fill_the_whole(made):
    _, model = package(made)
    parts = meshes(model)
    assert list(parts) == list(dict.fromkeys(made()[1].materials))
    corners, faces = skin(made()[1].wall)
    whole = trimesh.Trimesh(1e3 * corners, faces, process=False)
    assert all(p.is_watertight and p.is_winding_consistent for p in parts.values())
    assert sum(p.volume for p in parts.values()) == pytest.approx(whole.volume, rel=1e-6)


def test_the_package_is_what_the_standard_asks_for():
    archive, model = package(graded)
    assert archive.testzip() is None
    assert set(archive.namelist()) == {"[Content_Types].xml", "_rels/.rels", MODEL}
    (link,) = ElementTree.fromstring(archive.read("_rels/.rels"))
    assert link.get("Target") == f"/{MODEL}"
    types = {
        e.get("Extension") for e in ElementTree.fromstring(archive.read("[Content_Types].xml"))
    }
    assert types == {"rels", "model"}
    assert model.tag == f"{{{CORE}}}model"
    assert model.get("unit") == "millimeter"
    ids = [e.get("id") for e in model.find("c:resources", NAMESPACE) or ()]
    assert len(ids) == len(set(ids))
    bases = model.findall(".//c:base", NAMESPACE)
    assert [b.get("name") for b in bases] == list(dict.fromkeys(graded()[1].materials))
    assert all(re.fullmatch("#[0-9A-F]{6}", b.get("displaycolor", "")) for b in bases)
    for n, one in enumerate(model.iterfind(".//c:object[c:mesh]", NAMESPACE)):
        assert (one.get("pid"), one.get("pindex")) == ("1", str(n))
    (item,) = model.findall("c:build/c:item", NAMESPACE)
    whole = model.find(f".//c:object[@id='{item.get('objectid')}']", NAMESPACE)
    assert whole is not None
    assert whole.get("name") == 'pot <1> & "2"'
    held = [c.get("objectid") for c in whole.iterfind(".//c:component", NAMESPACE)]
    assert held == [o.get("id") for o in model.iterfind(".//c:object[c:mesh]", NAMESPACE)]


def test_the_build_lies_in_the_positive_octant():
    _, model = package(foot)
    item = model.find("c:build/c:item", NAMESPACE)
    assert item is not None
    shift = np.array([float(x) for x in item.get("transform", "").split()][9:])
    for part in meshes(model).values():
        assert (part.bounds[0] + shift >= -1e-6).all()


def test_the_same_print_gives_the_same_package():
    solids = paste_solids(foot()[1])
    colours = np.zeros((len(solids), 3))
    assert threemf(solids, colours, "a") == threemf(solids, colours, "a")


# ----------------------------------------------------------------------------------------------
# Pauses


@pytest.mark.parametrize("made", [foot, graded, both_ends])
def test_each_change_has_a_stop_at_the_layer_nearest_to_it(made):
    m = job(made)
    stops = pauses(m)
    assert [s.change for s in stops] == list(m.changeovers)
    ends = volume_below(m.green.wall, m.green.layer * np.arange(sum(m.green.layers) + 1))
    for stop in stops:
        assert stop.height == pytest.approx(m.green.layer * stop.layers)
        due = max(stop.change.extruded, 0.0)  # what is run out first makes up for the rest
        assert stop.late == pytest.approx(ends[stop.layers] - due)
        assert abs(stop.late) <= 0.5 * np.diff(ends).max() + 1e-15
        assert stop.height < stop.change.step


def test_the_table_and_the_lines_say_the_same_layer_and_height():
    m = job(graded)
    rows = list(csv.DictReader(io.StringIO(pauses_csv(m))))
    for n, (row, stop) in enumerate(zip(rows, pauses(m), strict=True), 1):
        text = pause_gcode(n, len(rows), stop)
        assert f"before layer {row['before_layer']}," in text
        assert f"{row['at_height_mm']} mm" in text
        assert f"pause {n} of {len(rows)}" in text
        assert row["to"] in text


def test_the_lines_are_comments_and_one_standard_stop_in_ascii():
    m = job(foot)
    (stop,) = pauses(m)
    odd = replace(stop, change=replace(stop.change, above="grès (neuf); M104 S900\nG28"))
    text = pause_gcode(1, 1, odd)
    assert text.isascii()
    commands = [line for line in text.splitlines() if not line.startswith(";")]
    assert commands == ["M0"]
    for line in text.splitlines()[:-1]:
        assert not set("()") & set(line)
        assert line.count(";") == 1


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("Möwen silver clay", "Mowen silver clay"),
        ("weißer Ton, Ø 3 µm", "weisser Ton, O 3 um"),
        ("pâte n° 2 (neuve)", "pate n_ 2 _neuve_"),
        ("銀 クレイ", "_ ___"),
    ],
)
def test_a_name_keeps_its_letters_without_their_marks_in_the_lines(name: str, plain: str):
    (stop,) = pauses(job(foot))
    text = pause_gcode(1, 1, replace(stop, change=replace(stop.change, above=name)))
    assert f"; to: {plain}\n" in text


def test_a_change_that_is_due_before_the_print_says_how_much_to_run_out_first():
    m = job(foot)
    early = replace(m.changeovers[0], extruded=-0.4e-6, run_out=0.4e-6, layer=0)
    (stop,) = pauses(replace(m, changeovers=(early,)))
    assert (stop.layers, stop.height) == (0, 0.0)
    assert stop.late == 0.0
    (row,) = csv.DictReader(io.StringIO(pauses_csv(replace(m, changeovers=(early,)))))
    assert (row["late_ml"], row["run_out_ml"]) == ("0.00", "0.40")
    text = pause_gcode(1, 1, stop)
    assert "before layer 1" in text
    told = "after the change run 0.40 ml out beside the print, then begin it"
    assert told in text
    # and so does everything else that is read before the print begins
    both = replace(m, changeovers=(early,))
    assert told in " ".join(job_text(both).split())
    assert told in "".join(print_line(both))


def test_of_two_changes_before_the_print_each_says_what_to_run_out_after_it():
    m = job(graded)
    first, second = (
        replace(c, extruded=v, run_out=out, layer=0)
        for c, v, out in zip(m.changeovers, (-2.9e-6, -0.4e-6), (2.5e-6, 0.4e-6), strict=True)
    )
    texts = [pause_gcode(n, 2, p) for n, p in enumerate(
        pauses(replace(m, changeovers=(first, second))), 1)]  # fmt: skip
    assert "run 2.50 ml out beside the print, then change again" in texts[0]
    assert "run 0.40 ml out beside the print, then begin it" in texts[1]


def test_a_paste_that_never_comes_pure_says_so():
    m = job(foot)
    late = replace(m.changeovers[0], done=sum(m.green.layers) + 1)
    (stop,) = pauses(replace(m, changeovers=(late,)))
    assert "not pure before the rim" in pause_gcode(1, 1, stop)


# ----------------------------------------------------------------------------------------------
# The firing in whole numbers


def read_back(text: str, firing: Firing, degrees: str) -> Firing:
    """The firing that a controller with these numbers does."""
    size, zero = (1.0, 0.0) if degrees == "C" else (1.8, 32.0)
    segments = []
    for row in csv.DictReader(io.StringIO(text)):
        target = kelvin((float(row[f"to_{degrees}"]) - zero) / size)
        rate = float(row[f"rate_{degrees}_per_h"]) / size / HOUR
        segments.append(Segment(target, rate, float(row["hold_min"]) * MINUTE))
    return replace(firing, segments=tuple(segments))


@pytest.mark.parametrize("degrees", ["C", "F"])
@given(firing=firings())
@some
def test_the_numbers_do_what_the_firing_does(firing: Firing, degrees: str):
    whole = tuple(
        Segment(
            kelvin(float(np.round(s.target - 273.15))),
            s.rate if not np.isfinite(s.rate) else max(round(s.rate * HOUR), 10) / HOUR,
            MINUTE * round(s.hold / MINUTE),
        )
        for s in firing.segments
    )
    firing = replace(firing, segments=whole)
    back = read_back(kiln_csv(firing, degrees), firing, degrees)
    one, two = trace(firing), trace(back)
    assert two.peak == pytest.approx(one.peak, abs=0.6)
    # a rate in whole °F/h is at most 0.56 °C/h slower: at 10 °C/h a twentieth of the time
    assert two.time[-1] == pytest.approx(one.time[-1], rel=0.06)
    for asked, done in zip(firing.segments, back.segments, strict=True):
        if not np.isfinite(asked.rate):
            continue
        assert asked.rate - 0.56 / HOUR < done.rate < asked.rate * (1.0 + 1e-5)
        assert done.target == pytest.approx(asked.target, abs=0.3)
        assert done.hold == asked.hold


def test_full_is_a_number_that_the_kiln_cannot_keep_so_the_trace_is_the_same():
    kiln = KILNS["small studio kiln"]
    segments = (Segment(kelvin(900.0), np.inf, 600.0), Segment(kelvin(500.0), np.inf))
    firing = Firing("fast", kiln, segments)
    text = kiln_csv(firing)
    assert text.count("yes") == 2
    assert "inf" not in text
    back = read_back(text, firing, "C")
    assert trace(back).time[-1] == pytest.approx(trace(firing).time[-1], rel=1e-9)


def test_celsius_and_fahrenheit_are_the_published_pairs():
    segments = (Segment(kelvin(100.0), 100.0 / HOUR, 60.0), Segment(kelvin(1000.0), 150.0 / HOUR))
    text = kiln_csv(Firing("", KILNS["small studio kiln"], segments), "F")
    assert text.splitlines() == [
        "segment,rate_F_per_h,to_F,hold_min,full,gas", "1,180,212,1,no,air",
        "2,270,1832,0,no,air",
    ]  # fmt: skip


BETWEEN = Segment(kelvin(100.4), 149.7 / HOUR, 29.6 * MINUTE)
SLOW = Segment(kelvin(850.6), 0.5 / HOUR, 29.6 * MINUTE)


@pytest.mark.parametrize(
    ("controller", "degrees", "rows"),
    [
        (Controller(), "C", ["1,149,100,30,no,air", "2,1,851,30,no,air"]),
        (Controller(), "F", ["1,269,213,30,no,air", "2,1,1563,30,no,air"]),
        (
            Controller(temperature=0.1, rate=5.0 / HOUR, time=0.5 * MINUTE, given=True),
            "C",
            ["1,145,100.4,30,no,air", "2,5,850.6,30,no,air"],
        ),
        (
            Controller(temperature=0.1, rate=0.1 / HOUR, time=6.0, given=True),
            "C",
            ["1,149.7,100.4,29.6,no,air", "2,0.5,850.6,29.6,no,air"],
        ),
        (
            Controller(temperature=0.1, rate=0.1 / HOUR, time=6.0, given=True),
            "F",
            ["1,269,213,29.6,no,air", "2,1,1563,29.6,no,air"],
        ),
    ],
)
def test_what_lies_between_the_steps_of_a_controller_is_set_on_one(
    controller: Controller, degrees: str, rows: list[str]
):
    """Whole numbers, unless the kiln's file says of finer ones; the sheet has the same."""
    kiln = replace(KILNS["small studio kiln"], controller=controller)
    firing = Firing("between", kiln, (BETWEEN, SLOW))
    table = kiln_csv(firing, degrees).splitlines()[1:]
    assert table == rows
    if degrees == "C":
        shown = programme(kiln_steps(firing.segments, trace(firing)), controller).rows
        assert [row[1:4] for row in shown[:2]] == [row.split(",")[1:4] for row in table]


@pytest.mark.parametrize("fahrenheit", [False, True])
def test_a_row_of_the_programme_has_one_unit(fahrenheit: bool):
    kiln = replace(KILNS["small studio kiln"], controller=Controller(fahrenheit=fahrenheit))
    firing = Firing("too fast", kiln, (Segment(kelvin(1100.0), 600.0 / HOUR, 0.0),))
    row, _ = programme(kiln_steps(firing.segments, trace(firing)), kiln.controller).rows
    (said, _) = row[4]
    assert said.endswith("°F:" if fahrenheit else "°C:")
    assert said.startswith("cannot follow from ")


def test_the_command_writes_it(tmp_path):
    path = tmp_path / "f.toml"
    path.write_text("[[segment]]\nto_C = 850\nrate_C_per_h = 150\nhold_min = 30\n")
    run = CliRunner().invoke
    told = run(app, ["firing", str(path), "--kiln-csv", "-", "--degrees", "F"])
    assert told.stdout == "segment,rate_F_per_h,to_F,hold_min,full,gas\n1,270,1562,30,no,air\n"
    wrong = run(app, ["firing", str(path), "--kiln-csv", "-", "--degrees", "K"])
    assert wrong.exit_code == INPUT_WRONG
    assert "--degrees: no unit named 'K'" in wrong.stderr


def test_the_blend_is_among_the_pastes():
    assert BLEND.split(" + ")[0] == SILVER
    names = [s.material for s in paste_solids(graded()[1])]
    assert len(names) == 3
