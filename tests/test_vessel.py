"""Vessel files: what good ones mean, and what bad ones are told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from cofire.errors import InputError
from cofire.firing.program import load_kilns
from cofire.vessel import Taper, Vessel
from cofire.vessel_file import mid_surface, read_vessel

KILNS = load_kilns()
EXAMPLES = [
    path
    for path in sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))
    if "[profile]" in path.read_text(encoding="utf-8")
]
CYLINDER = """
name = "pot"
firing = "firing.toml"
[profile]
shape = "cylinder"
radius_mm = 35
height_mm = 60
wall_mm = 4
[[band]]
material = "fine silver"
to_mm = 18
[[band]]
material = "fritted body"
"""
FIRING = """
name = "short"
[[segment]]
to_C = 850
rate_C_per_h = 150
hold_min = 30
"""
CSV = "z_mm,r_mm,wall_mm\n0,30,5\n20,36,4\n40,34,3\n"
POINTS = 'points_mm = [[0, 30], [20, 36], [40, 34]]\nwall_mm = 4\nsurface = "middle"\n'


@pytest.fixture
def written(tmp_path: Path) -> Callable[..., Path]:
    """Writes a vessel, the firing and the profile that lie beside it; gives the vessel's path."""

    def write(vessel: str = CYLINDER, firing: str = FIRING, profile: str = CSV) -> Path:
        (tmp_path / "firing.toml").write_text(firing, encoding="utf-8")
        (tmp_path / "profile.csv").write_text(profile, encoding="utf-8")
        path = tmp_path / "vessel.toml"
        path.write_text(vessel, encoding="utf-8")
        return path

    return write


def profiled(profile: str) -> str:
    """The cylinder's file with another [profile] and one band."""
    return f'name = "pot"\nfiring = "firing.toml"\n[profile]\n{profile}\n[[band]]\nmaterial = "x"\n'


def read(path: Path) -> Vessel:
    return read_vessel(path, KILNS)


def test_an_outside_cylinder_has_its_middle_half_a_wall_inside(written: Callable[..., Path]):
    vessel = read(written())
    assert vessel.radius == pytest.approx([33e-3, 33e-3])
    assert vessel.height == pytest.approx([0.0, 60e-3])
    assert vessel.wall == pytest.approx([4e-3, 4e-3])
    assert vessel.corners == ()
    assert vessel.firing.gas == "air"


def test_a_middle_surface_is_taken_as_it_stands(written: Callable[..., Path]):
    vessel = read(written(CYLINDER.replace("wall_mm = 4", 'wall_mm = 4\nsurface = "middle"')))
    assert vessel.radius == pytest.approx([35e-3, 35e-3])


def test_bands_reach_from_the_foot_to_the_rim(written: Callable[..., Path]):
    vessel = read(written())
    assert [(b.material, b.low, b.high) for b in vessel.bands] == [
        ("fine silver", 0.0, pytest.approx(18e-3)),
        ("fritted body", pytest.approx(18e-3), pytest.approx(60e-3)),
    ]
    assert vessel.steps == pytest.approx([18e-3])


def test_an_outside_cone_has_its_middle_half_a_ring_inwards_at_the_same_height(
    written: Callable[..., Path],
):
    cone = 'shape = "cone"\nradius_mm = 40\nrim_radius_mm = 70\nheight_mm = 40\nwall_mm = 5\n'
    vessel = read(written(profiled(cone)))
    # a slope of 3:4 leans by asin 3/5: a level ring of a wall of 5 mm is 5 / (4/5) = 6.25 mm wide
    assert vessel.radius == pytest.approx([36.875e-3, 66.875e-3])
    assert vessel.height == pytest.approx([0.0, 40e-3])
    assert vessel.wall == pytest.approx([5e-3, 5e-3])


def test_level_rings_of_a_sphere_reach_its_outside_and_are_as_wide_as_its_wall_asks():
    # a sphere of 50 mm: a ring at height z leans by asin z/R, and is h / cos wide
    angle = np.linspace(-0.6, 0.9, 40)
    middle, height, wall = mid_surface(
        0.05 * np.cos(angle), 0.05 * np.sin(angle), np.full(angle.shape, 4e-3)
    )
    outside = np.sqrt(0.05**2 - height**2)
    width = 4e-3 * 0.05 / outside
    assert height[[0, -1]] == pytest.approx(0.05 * np.sin([-0.6, 0.9]), abs=1e-12)
    assert middle + 0.5 * width == pytest.approx(outside, abs=1e-6)
    slope = -height / outside - 2e-3 * 0.05 * height / outside**3
    assert wall == pytest.approx(width / np.sqrt(1.0 + slope**2), abs=1e-5)


def test_an_outside_curve_that_turns_back_is_refused_with_its_height(written: Callable[..., Path]):
    steep = "points_mm = [[0, 30], [10, 60], [11, 30], [60, 31]]\nwall_mm = 4"
    with pytest.raises(InputError, match=r"folds back or runs level just above (0|10) mm"):
        read(written(profiled(steep)))


def test_points_run_from_the_foot_up(written: Callable[..., Path]):
    vessel = read(written(profiled(POINTS)))
    assert vessel.radius == pytest.approx([30e-3, 36e-3, 34e-3])
    assert vessel.height == pytest.approx([0.0, 20e-3, 40e-3])


def test_a_profile_may_come_from_a_csv_with_its_wall(written: Callable[..., Path]):
    vessel = read(written(profiled('csv = "profile.csv"\nsurface = "middle"')))
    assert vessel.radius == pytest.approx([30e-3, 36e-3, 34e-3])
    assert vessel.wall == pytest.approx([5e-3, 4e-3, 3e-3])


def test_csv_columns_may_stand_in_any_order_among_others(written: Callable[..., Path]):
    table = "note,wall_mm,z_mm,r_mm\nfoot,5,0,30\n,,,\nbelly, 4 ,20,36\n"
    vessel = read(
        written(profiled('csv = "profile.csv"\nsurface = "middle"'), profile="\ufeff" + table)
    )
    assert vessel.radius == pytest.approx([30e-3, 36e-3])
    assert vessel.wall == pytest.approx([5e-3, 4e-3])


def test_heights_count_from_the_first_point(written: Callable[..., Path]):
    raised = POINTS.replace("[0, 30], [20, 36], [40, 34]", "[7, 30], [27, 36], [47, 34]")
    assert read(written(profiled(raised))).height == pytest.approx([0.0, 20e-3, 40e-3])


def test_a_flat_base_closes_the_foot_with_a_corner(written: Callable[..., Path]):
    vessel = read(written(CYLINDER.replace("wall_mm = 4", 'wall_mm = 4\nbase = "flat"')))
    assert vessel.radius == pytest.approx([0.0, 33e-3, 33e-3])
    assert vessel.height == pytest.approx([0.0, 0.0, 60e-3])
    assert vessel.wall == pytest.approx([4e-3, 4e-3, 4e-3])
    assert vessel.corners == (1,)


def test_a_base_may_have_its_own_thickness(written: Callable[..., Path]):
    thick = 'wall_mm = 4\nbase = "flat"\nbase_mm = 7'
    assert read(written(CYLINDER.replace("wall_mm = 4", thick))).wall[0] == pytest.approx(7e-3)


def test_a_firing_may_stand_in_the_same_file(written: Callable[..., Path]):
    inline = CYLINDER.replace('firing = "firing.toml"', "") + (
        '[firing]\nname = "inside"\ngas = "carbon"\n'
        "[[firing.segment]]\nto_C = 900\nrate_C_per_h = 100\n"
    )
    firing = read(written(inline)).firing
    assert (firing.name, firing.gas) == ("inside", "carbon")
    assert firing.peak == pytest.approx(1173.15)


def test_printer_and_joint_have_defaults_and_may_be_given(written: Callable[..., Path]):
    usual = read(written())
    assert usual.printer.layer == pytest.approx(0.3e-3)
    assert usual.joint.lowest <= 18e-3 <= usual.joint.highest
    tables = "[printer]\nlayer_mm = 1\n[joint]\nblends = 2\nlowest_mm = 10\nhighest_mm = 30\n"
    own = read(written(CYLINDER + tables))
    assert own.printer.layer == pytest.approx(1e-3)
    assert (own.joint.blends, own.joint.lowest, own.joint.highest) == (
        2, pytest.approx(10e-3), pytest.approx(30e-3),
    )  # fmt: skip


def test_a_floor_is_as_thick_all_over_whatever_the_wall_on_it(written: Callable[..., Path]):
    """Its thickness once went over into that of the wall, from the axis out."""
    floor = CYLINDER.replace("wall_mm = 4", 'wall_mm = 4\nbase = "flat"\nbase_mm = 6')
    vessel = read(written(floor))
    place = np.linspace(0.0, 33e-3 + 60e-3, 32)  # of which the corner is one
    volumes = vessel.volumes(place)
    assert volumes[:11].sum() == pytest.approx(np.pi * 33e-3**2 * 6e-3)
    assert volumes[11:].sum() == pytest.approx(2.0 * np.pi * 33e-3 * 4e-3 * 60e-3)
    assert read(written()).volumes(np.array([0.0, 60e-3])) == pytest.approx(volumes[11:].sum())


@pytest.mark.parametrize(
    ("foot", "rim", "held", "place"),
    [  # a foot of 18 mm, the less tall of the two; transitions of at most 10 mm
        ("", "", ("fixed", "free"), (18, 23)),
        ("free", "free", ("free", "free"), (13, 23)),
        ("free", "", ("free", "free"), (13, 23)),
        ("", "free", ("fixed", "free"), (18, 23)),
        ("", "at least", ("free", "at least"), (13, 18)),
        ("at least", "", ("at least", "free"), (18, 23)),
    ],
)
def test_a_freed_band_never_pins_the_joint_and_frees_no_other(
    written: Callable[..., Path],
    foot: str,
    rim: str,
    held: tuple[str, str],
    place: tuple[float, float],
):
    """Both free once left a joint where it was drawn, with less room than without a word."""
    first, last = (f'height = "{word}"\n' if word else "" for word in (foot, rim))
    text = CYLINDER.replace("to_mm = 18\n", f"to_mm = 18\n{first}")
    joint = read(written(f"{text}{last}[joint]\nheight_mm = 10\n")).joint
    assert (joint.foot, joint.rim) == held
    assert (1e3 * joint.lowest, 1e3 * joint.highest) == pytest.approx(place)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_shipped_vessels_are_read(path: Path):
    assert len(read(path).bands) >= 2


def swap(old: str, new: str) -> str:
    """The cylinder's file with one piece changed."""
    assert old in CYLINDER
    return CYLINDER.replace(old, new, 1)


WRONG: dict[str, tuple[str, tuple[str, ...]]] = {
    # what is wrong: the vessel's file, and what the complaint must hold
    "no profile": (swap("[profile]", "[joint]"), ("[profile]", "missing", "shape")),
    "profile is a number": (
        'profile = 3\nname = "pot"\nfiring = "firing.toml"\n[[band]]\nmaterial = "x"\n',
        ("[profile]", "shape", "points_mm", "csv"),
    ),
    "no form": (swap('shape = "cylinder"', ""), ("[profile]", "shape, points_mm, csv")),
    "two forms": (
        swap('shape = "cylinder"', 'shape = "cylinder"\ncsv = "profile.csv"'),
        ("shape and csv", "one of"),
    ),
    "unknown shape": (swap("cylinder", "sphere"), ("shape", "'sphere'", "cone")),
    "misspelt field": (swap("radius_mm", "raduis_mm"), ("raduis_mm", "did you mean 'radius_mm'")),
    "field of another form": (
        profiled('csv = "profile.csv"\nheight_mm = 4'),
        ("height_mm", "not used with csv"),
    ),
    "rim of a cylinder": (swap("wall_mm = 4", "wall_mm = 4\nrim_radius_mm = 40"), ("cone",)),
    "cone without rim": (swap("cylinder", "cone"), ("rim_radius_mm", "missing", "5 to 2000")),
    "base thickness without base": (swap("wall_mm = 4", "wall_mm = 4\nbase_mm = 4"), ("base_mm",)),
    "unknown base": (swap("wall_mm = 4", 'wall_mm = 4\nbase = "round"'), ("'round'", "flat")),
    "unknown surface": (
        swap("wall_mm = 4", 'wall_mm = 4\nsurface = "inside"'),
        ("'inside'", "outside", "middle"),
    ),
    "height is text": (swap("= 60", '= "60"'), ("height_mm = '60'", "5 to 2000")),
    "height is negative": (swap("= 60", "= -60"), ("height_mm = -60", "5 to 2000")),
    "radius is not a number": (swap("= 35", "= nan"), ("radius_mm = nan", "5 to 2000")),
    "radius is true": (swap("= 35", "= true"), ("radius_mm = True", "5 to 2000")),
    "wall is endless": (swap("wall_mm = 4", "wall_mm = inf"), ("wall_mm = inf", "0.5 to 100")),
    "wall beyond half of the radius": (swap("wall_mm = 4", "wall_mm = 18"), ("18", "17.5 mm")),
    "one point": (profiled("points_mm = [[0, 30]]\nwall_mm = 4"), ("[[0, 30]]", "2 to 2000")),
    "point of three": (
        profiled("points_mm = [[0, 30], [5, 31, 4]]\nwall_mm = 4"),
        ("point 2", "[5, 31, 4]", "[height, radius]"),
    ),
    "points without wall": (profiled("points_mm = [[0, 30], [9, 30]]"), ("wall_mm", "missing")),
    "points that fall": (
        profiled("points_mm = [[0, 30], [20, 36], [10, 34]]\nwall_mm = 4"),
        ("point 3", "10 mm", "20 mm"),
    ),
    "point on the axis": (
        profiled("points_mm = [[0, 0], [20, 36]]\nwall_mm = 4"),
        ("radius 0 mm", "above 0"),
    ),
    "wall that folds": (
        profiled("points_mm = [[0, 60], [2, 80], [4, 60], [60, 60]]\nwall_mm = 25"),
        ("folds", "point"),
    ),
    "no bands": (CYLINDER[: CYLINDER.index("[[band]]")], ("[[band]]", "missing", "1 to 60")),
    "band without material": (swap('material = "fine silver"', ""), ("band 1", "material")),
    "band with a misspelt field": (swap("to_mm", "too_mm"), ("band 1", "too_mm", "'to_mm'")),
    "step above the rim": (swap("= 18", "= 75"), ("band 1", "to_mm = 75", "60")),
    "step at the foot": (swap("= 18", "= 0"), ("band 1", "to_mm = 0", "60")),
    "last band with a height": (CYLINDER + "to_mm = 60\n", ("band 2", "to_mm", "rim")),
    "no name": (swap('name = "pot"', ""), ("name", "missing", "a text")),
    "long name": (swap('"pot"', f'"{"pot " * 40}"'), ("name", "80")),
    "open firing, unknown gas": (
        swap('"firing.toml"', '{ gas = "steam" }'), ("[firing]", "steam", "inert"),
    ),
    "firing of a number": (swap('"firing.toml"', "3"), ("firing = 3", "a text")),
    "firing that is not there": (swap("firing.toml", "no.toml"), ("no.toml", "o such file")),
    "unknown table": (CYLINDER + "[kiln]\n", ("kiln",)),
    "printer of zero layers": (CYLINDER + "[printer]\nlayer_mm = 0\n", ("layer_mm = 0", "0.05")),
    "half a blend": (CYLINDER + "[joint]\nblends = 1.5\n", ("blends = 1.5", "whole number")),
    "joint above the rim": (CYLINDER + "[joint]\nhighest_mm = 70\n", ("highest_mm = 70", "60")),
    "not TOML": (swap("[profile]", "[profile"), ("line 4", "[profile")),
    "a floor above the rim": (
        swap("wall_mm = 4", 'wall_mm = 4\nbase = "flat"\nbase_mm = 70'), ("base_mm = 70", "at 60"),
    ),
    "decimal comma": (swap("wall_mm = 4", "wall_mm = 4,5 # thin"), ("4,5", "point, no comma")),
    "a firing twice": (
        CYLINDER + "[firing]\ngas = 'air'\n", ("'[firing]'", "stands above already", "keep one"),
    ),
    "tables that are none": ("tables = 3\n" + CYLINDER, ("tables = 3", 'as ["my_tables"]')),
    "tables that lie elsewhere": (
        'tables = "gone"\n' + CYLINDER, ("tables = 'gone'", "seen from this file"),
    ),
    "a field twice": (swap("wall_mm = 4", "wall_mm = 4\nwall_mm = 5"), ("wall_mm = 5", "already")),
}  # fmt: skip


def test_a_folder_of_tables_given_twice_is_one(written: Callable[..., Path], tmp_path: Path):
    """By the file and with the command; the one given last is first in right, and kept so."""
    for name in ("own", "other"):
        (tmp_path / name).mkdir()
    path = written('tables = ["own", "other"]\n' + CYLINDER)
    again = tmp_path / "other" / ".." / "own"
    found = read_vessel(path, KILNS, tables=[again]).tables
    assert found == (tmp_path / "other", tmp_path / "own")


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_vessel_is_refused_in_one_line_with_place_and_choice(
    case: str, written: Callable[..., Path]
):
    vessel, fragments = WRONG[case]
    with pytest.raises(InputError) as refused:
        read(written(vessel))
    message = str(refused.value)
    assert "\n" not in message
    assert "vessel.toml" in message or "no.toml" in message
    for fragment in fragments:
        assert fragment in message


BAD_CSV = {
    "a word for a number": ("z_mm,r_mm,wall_mm\n0,30,5\n20,wide,4\n", ("row 3", "r_mm", "'wide'")),
    "a short row": ("z_mm,r_mm,wall_mm\n0,30\n20,36,4\n", ("row 2", "fewer cells", "wall_mm")),
    "no such column": ("height,r_mm,wall_mm\n0,30,5\n", ("row 1", "z_mm, r_mm, wall_mm")),
    "an endless number": ("z_mm,r_mm,wall_mm\n0,30,5\n1e999,30,5\n", ("row 3", "z_mm")),
    "one row": ("z_mm,r_mm,wall_mm\n0,30,5\n", ("1 points", "2 to 2000")),
    "nothing": ("", ("empty",)),
    "one huge cell": ("z_mm,r_mm,wall_mm\n" + "1" * 200_000 + ",30,5\n", ("comma-separated",)),
    "a wall thinner than the nozzle": ("z_mm,r_mm,wall_mm\n0,30,5\n9,30,0.2\n", ("point 2", "0.2")),
}


@pytest.mark.parametrize("case", BAD_CSV)
def test_a_wrong_profile_is_refused_with_row_and_column(case: str, written: Callable[..., Path]):
    table, fragments = BAD_CSV[case]
    with pytest.raises(InputError) as refused:
        read(written(profiled('csv = "profile.csv"'), profile=table))
    message = str(refused.value)
    assert "\n" not in message
    for fragment in fragments:
        assert fragment in message


@pytest.mark.parametrize("case", ["misspelt field", "step above the rim", "not TOML"])
@pytest.mark.parametrize("command", ["check", "stress"])
def test_the_command_line_refuses_with_status_3_and_one_line(
    command: str, case: str, written: Callable[..., Path]
):
    result = CliRunner().invoke(app, [command, str(written(WRONG[case][0]))])
    assert result.exit_code == INPUT_WRONG
    assert result.stdout == ""
    assert result.stderr.startswith("cofire: ")
    assert result.stderr.count("\n") == 1
    assert "vessel.toml" in result.stderr


def test_an_unknown_material_is_named_with_its_band_and_the_nearest(
    written: Callable[..., Path],
):
    result = CliRunner().invoke(app, ["check", str(written(swap("fine silver", "fine silvr")))])
    assert result.exit_code == INPUT_WRONG
    for fragment in ("pot: band 1", "'fine silvr'", "did you mean 'fine silver'"):
        assert fragment in result.stderr


STRAIGHT = 'shape = "cylinder"\nradius_mm = 35\nheight_mm = 60\nwall_mm = 4\n'


@pytest.mark.parametrize("form", [STRAIGHT, 'csv = "profile.csv"\n'], ids=["straight", "curved"])
def test_a_taper_thins_the_wall_to_the_joint_and_keeps_the_outside(
    written: Callable[..., Path], form: str
) -> None:
    given = read_vessel(written(CYLINDER.replace(STRAIGHT, form)), KILNS)
    taper = Taper(at=0.018, least=8e-4, length=0.012, shoulder=6e-3, below=True)
    thin = given.with_taper(taper)
    z, outside, normal = thin.drawn
    before = np.interp(z, given.drawn[0], given.drawn[1])
    if given.radius.size == 2:
        assert outside == pytest.approx(before, abs=1e-12)
    else:  # a curve, read off its own points
        assert outside == pytest.approx(before, abs=2e-5)
    lean = np.arctan(np.gradient(outside, z, edge_order=2))
    level = normal / np.cos(lean)
    at = int(np.argmin(np.abs(z - 0.018)))
    assert z[at] == pytest.approx(0.018, abs=1e-9)
    assert level[at] == pytest.approx(8e-4, rel=1e-2)
    assert level.min() == level[at]
    away = (z < 0.006 - 1e-9) | (z > 0.024 + 1e-9)
    wall = np.interp(z, *(given.drawn[k] for k in (0, 2)))
    assert normal[away] == pytest.approx(wall[away], rel=2e-3)
    own = level / np.interp(z, *(given.drawn[k] for k in (0, 2)))  # the curved one is thinner above
    assert np.all(np.diff(own[(z >= 0.006) & (z <= 0.018)]) < 1e-3)
    assert np.all(np.diff(own[(z >= 0.018) & (z <= 0.024)]) > -1e-3)
    assert np.diff(z).max() < 0.0055  # curves need points


@pytest.mark.parametrize(
    "shape",
    [
        'shape = "cone"\nradius_mm = 30\nrim_radius_mm = 45\nheight_mm = 60',
        "points_mm = [[0, 30], [20, 36], [40, 38], [60, 34]]",
        'points_mm = [[0, 30], [20, 36], [40, 38], [60, 34]]\nsurface = "middle"',
    ],
)
def test_another_wall_is_what_the_file_with_that_wall_gives(
    shape: str, written: Callable[..., Path]
) -> None:
    drawn = CYLINDER.replace('shape = "cylinder"\nradius_mm = 35\nheight_mm = 60', shape)
    based = drawn.replace("wall_mm = 4", 'wall_mm = 4\nbase = "flat"\nbase_mm = 6')
    given = read_vessel(written(based), KILNS)
    edited = read_vessel(written(based.replace("wall_mm = 4", "wall_mm = 2.8")), KILNS)
    thin = given.with_wall(float(edited.wall[-1]))
    for one, other in zip(thin.drawn, edited.drawn, strict=True):
        np.testing.assert_allclose(
            one, np.interp(thin.height[1:], edited.height[1:], other), atol=1e-5
        )
    assert (thin.wall[0], thin.radius[0]) == (given.wall[0], 0.0)


def test_a_taper_no_thinner_than_the_wall_changes_nothing(written: Callable[..., Path]) -> None:
    given = read_vessel(written(), KILNS)
    thin = given.with_taper(Taper(0.018, 4e-3, 0.012, 5e-3, below=True))
    assert thin.wall == pytest.approx(np.full(thin.wall.size, 4e-3), rel=1e-9)
    assert thin.radius == pytest.approx(np.full(thin.wall.size, 33e-3), rel=1e-9)


def test_a_taper_thinner_than_any_wall_is_refused(written: Callable[..., Path]) -> None:
    given = read_vessel(written(), KILNS)
    with pytest.raises(InputError, match=r"0.4 mm at 18 mm; allowed: 0.5 mm"):
        given.with_taper(Taper(0.018, 4e-4, 0.012, 5e-3, below=True))
    with pytest.raises(InputError, match=r"at 70 mm"):
        given.with_taper(Taper(0.070, 8e-4, 0.012, 5e-3, below=True))
