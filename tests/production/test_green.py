"""The print: that it fires to size, in whole layers, with the volume it should have."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cofire.assessment.check import Check, check_vessel
from cofire.assessment.packing import packed
from cofire.assessment.response import Response, as_solid, fire_vessel, meshed
from cofire.design.fired_size import decay_length
from cofire.errors import InputError, ModelError
from cofire.firing.program import load_kilns, simple_firing
from cofire.materials.card import pure_cards
from cofire.production.changeovers import metal_shares
from cofire.production.green import (
    TO_SIZE,
    Green,
    Refired,
    Wall,
    band_strains,
    carried,
    fired_again,
    green_to_size,
    green_vessel,
    wall_of_vessel,
)
from cofire.production.printed_solid import (
    CHORD,
    band_volumes,
    overhangs,
    printed_layers,
    sides_for,
    skin,
    slice_skin,
    volume_below,
)
from cofire.report.job_files import stl
from cofire.vessel import Band, Printer, Vessel
from cofire.vessel_file import read_vessel
from tests.made import (
    BLEND,
    CARDS,
    COARSE,
    FRIT,
    SILVER,
    cylinder,
    fired,
    foot,
    graded,
    plain,
    shaped,
    with_drying,
)
from tests.strategies import few, some

pytestmark = pytest.mark.usefixtures("solids_are_rough")


@st.composite
def vessels(draw: st.DrawFn) -> Vessel:
    """Straight, leaning or bellied, open or with a base, with one joint or a blend between two."""
    height, wall = draw(st.floats(0.03, 0.08)), draw(st.floats(0.0025, 0.006))
    radius = draw(st.floats(4.0 * wall, 0.05))
    lean, belly = draw(st.floats(-0.3, 0.4)), draw(st.floats(-0.2, 0.3))
    z = np.linspace(0.0, height, 9)
    r = np.maximum(radius + lean * z + belly * radius * np.sin(np.pi * z / height) * 0.5, 3 * wall)
    if draw(st.booleans()):
        r = np.full(9, radius)
    step = height * draw(st.floats(0.25, 0.6))
    order = draw(st.permutations([SILVER, FRIT]))
    bands = [(order[0], step), (order[1], height)]
    if draw(st.booleans()):
        bands.insert(1, (BLEND, step + 0.2 * height))
    thick = wall * (1.0 - 0.3 * z / height)
    return shaped(r, z, thick, bands, base=draw(st.sampled_from([0.0, wall])))


@given(vessels())
@settings(few, max_examples=5)
def test_a_print_dried_and_fired_by_the_model_has_the_size_wanted(vessel: Vessel):
    response = fired(vessel)
    green, again = green_to_size(response, COARSE)
    assert again.miss <= TO_SIZE == 5e-5
    # held against the vessel as it was asked for, and not only against its mesh
    standing = slice(len(vessel.corners), None)
    at = vessel.height[standing]
    found = again.wall.at(again.wall.radius, at)
    assert found == pytest.approx(vessel.radius[standing], abs=5e-5)
    found = again.wall.at(again.wall.thickness, at)
    assert found == pytest.approx(vessel.wall[standing], abs=5e-5)
    assert again.wall.height[-1] == pytest.approx(at[-1], abs=5e-5)
    wanted = vessel.wall[0] if vessel.corners else 0.0  # the base is a whole number of layers
    assert again.wall.base == pytest.approx(wanted, abs=0.5 * vessel.printer.layer)
    assert green.floor_layers * green.layer == pytest.approx(green.wall.base)
    assert_joints_lie_on_the_nearest_layer(green, again)


def assert_joints_lie_on_the_nearest_layer(green: Green, again: Refired) -> None:
    """Each joint within half a layer as high as that is when fired beside it, and 10 µm.

    Those are what a last mend of the curve moves it beyond what was foreseen.
    """
    left = np.diff(again.wall.edges) / np.diff(green.wall.edges)
    half = 0.5 * green.layer * np.maximum(left[1:], left[:-1])
    assert (np.abs(again.edge_miss) <= half + 1e-5).all()


@st.composite
def copper_vessels(draw: st.DrawFn) -> Vessel:
    """Copper and talc body, which shrink unlike: one joint, blends between, or two joints."""
    metal, body = "copper", "talc body"
    height, wall = draw(st.floats(0.02, 0.07)), draw(st.floats(0.002, 0.005))
    radius = draw(st.floats(max(4.0 * wall, 0.012), 0.055))
    below, above = draw(st.permutations([metal, body]))
    step, rise = height * draw(st.floats(0.25, 0.5)), 0.06 * height
    shares = [75, 50, 25] if below == metal else [25, 50, 75]
    blends = [(f"{metal} + {body} = {p}", step + n * rise) for n, p in enumerate(shares, 1)]
    bands = draw(
        st.sampled_from(
            [
                [(below, step), (above, height)],
                [(below, step), *blends, (above, height)],
                [(below, step), (above, 0.75 * height), (below, height)],
            ]
        )
    )
    lean = draw(st.floats(-0.1, 0.4))
    ends = [radius, max(radius + lean * height, 3.0 * wall)]
    printer = Printer(layer=draw(st.sampled_from([0.3e-3, 0.8e-3])))
    base = draw(st.sampled_from([0.0, wall]))
    drawn = shaped(ends, [0.0, height], [wall] * 2, bands, base=base, printer=printer)
    return replace(drawn, firing=COPPER_FIRING)


LEANING = shaped(
    [0.055, 0.0726], [0.0, 0.042], [0.0047] * 2,
    [("copper", 0.0105), ("talc body", 0.0252), ("copper", 0.042)],
    printer=Printer(layer=0.8e-3),
)  # fmt: skip
COPPER_FIRING = simple_firing(
    load_kilns()["small studio kiln"], 1050 + 273.15, 1800.0, 150 / 3600, "carbon"
)


@given(copper_vessels())
@example(replace(LEANING, firing=COPPER_FIRING))
@settings(few, max_examples=2)
def test_joints_come_out_where_they_are_wanted_but_for_half_a_layer(vessel: Vessel):
    response = fire_vessel(vessel, CARDS, control=COARSE, fineness=0.6, extend=True)
    green, again = green_to_size(response, COARSE)
    assert_joints_lie_on_the_nearest_layer(green, again)
    assert again.wall.height[-1] == pytest.approx(vessel.height[-1], abs=1e-4)
    assert green.wall.edges[1:] == pytest.approx(green.layer * np.cumsum(green.layers))
    assert green.layer == pytest.approx(vessel.printer.layer, rel=1.0 / sum(green.layers))


@st.composite
def outsides(draw: st.DrawFn) -> tuple[str, np.ndarray]:
    """The [profile] of a cylinder, a cone, a belly, a bowl or a flare, and its outside points."""
    height, wall = draw(st.floats(30.0, 90.0)), draw(st.floats(2.0, 5.0))
    radius = draw(st.floats(6.0 * wall, 50.0))
    lean = draw(st.floats(-0.25, 0.9))  # a bowl: up to 60° with what the curve adds
    curve = draw(st.floats(-0.5, 0.5))
    form = draw(st.sampled_from(["cylinder", "cone", "curve"]))
    rim = max(radius + (0.0 if form == "cylinder" else lean * height), 5.0 * wall)
    if form != "curve":
        more = f"rim_radius_mm = {rim!r}\n" if form == "cone" else ""
        text = f'shape = "{form}"\nheight_mm = {height!r}\nradius_mm = {radius!r}\n{more}'
        return text + f"wall_mm = {wall!r}\n", np.array([[0.0, radius], [height, rim]])
    x = np.linspace(0.0, 1.0, 7)
    r = radius + (rim - radius) * x + curve * height * 0.5 * np.sin(np.pi * x)
    points = np.stack([x * height, np.maximum(r, 4.0 * wall)], axis=1)
    return f"points_mm = {points.tolist()}\nwall_mm = {wall!r}\n", points


@given(outsides(), st.sampled_from(["open", "flat"]))
@few
def test_the_outside_fires_to_what_the_file_says(tmp_path_factory, outside, base: str):
    profile, points = outside
    path = tmp_path_factory.mktemp("outside") / "vessel.toml"
    path.write_text(
        f'name = "pot"\n[profile]\nbase = "{base}"\n{profile}[[band]]\nmaterial = "{FRIT}"\n'
        '[firing]\nname = "one"\nkiln = "small studio kiln"\ngas = "air"\n'
        "[[firing.segment]]\nto_C = 850\nrate_C_per_h = 150\nhold_min = 30\n",
        encoding="utf-8",
    )
    response = fire_vessel(read_vessel(path, load_kilns()), CARDS, control=COARSE)
    wall = green_to_size(response, COARSE)[1].wall
    assert 1e3 * wall.height[-1] == pytest.approx(points[-1, 0], abs=0.05)
    found = 1e3 * wall.at(wall.outside, 1e-3 * points[:, 0])
    assert found == pytest.approx(points[:, 1], abs=0.05)


@pytest.mark.parametrize(
    ("foot_mm", "rim_mm", "height_mm"), [(24.0, 33.1, 84.0)], ids=["silver rim vessel"]
)
def test_the_shipped_bellied_pot_fires_to_its_foot_rim_and_height(foot_mm, rim_mm, height_mm):
    # its outside was once moved along the normal and set down again: 25.2, 33.2 and 82.6 mm
    path = Path(__file__).parents[2] / "examples" / "silver_rim_vessel.toml"
    vessel = read_vessel(path, load_kilns())
    wanted = wall_of_vessel(vessel)
    found = 1e3 * np.array([wanted.outside[0], wanted.outside[-1], wanted.height[-1]])
    assert found == pytest.approx([foot_mm, rim_mm, height_mm], abs=0.05)


def test_a_floor_costs_the_print_nothing_of_its_height_whoever_worked_out_the_stress():
    # the mesh of a shell or a solid has its floor at its middle, and no wall beside its lower half
    vessel = cylinder([(SILVER, 0.02), (FRIT, 0.05)], base=0.006)
    shell = fired(vessel)
    solid = as_solid(shell)
    wall = wall_of_vessel(vessel)
    assert shell.fired.meridian.height[0] == solid.fired.meridian.height[0] == 0.003
    assert [wall.height[0], wall.height[-1], wall.base] == pytest.approx([0.0, 0.05, 0.006])
    prints = [green_vessel(response) for response in (shell, solid)]
    for green in prints:
        assert green.fired.height[-1] == pytest.approx(0.05)
        assert green.fired.outside == pytest.approx(wall.outside)
    assert prints[0].wall.outside == pytest.approx(prints[1].wall.outside, abs=5e-5)


def test_what_moves_as_one_is_carried_over_exactly_also_below_the_middle_of_the_floor():
    vessel = cylinder([(SILVER, 0.02), (FRIT, 0.05)], base=0.006)
    mesh, outline = meshed(vessel, fineness=1.3), meshed(vessel, raised=False)

    def field(m):  # swollen by 3 %, leaning by 2 % and lifted by a millimetre
        return np.stack([0.03 * m.radius + 0.02 * m.height, 1e-3 + 0.03 * m.height], axis=1)

    standing = np.unique(outline.nodes[~outline.lying])
    found = carried(mesh, field(mesh), outline)[standing]
    assert found == pytest.approx(field(outline)[standing], abs=1e-12)


def test_a_floor_is_printed_in_whole_layers_and_its_fired_thickness_is_theirs():
    """Of 4 mm in layers of 0.5 mm: once 9.4 layers were printed, of which a slicer lays 9 or 10.

    By hand: fired over printed thickness is exp(dry + up) of the floor's own band.
    """
    bands = [(SILVER, 0.02), (FRIT, 0.05)]
    response = fired(cylinder(bands, base=0.004, printer=Printer(layer=0.5e-3)))
    green = green_vessel(response)
    count = green.wall.base / green.layer
    assert count == pytest.approx(round(count), abs=1e-9)
    dry, _, up = band_strains(response)[0]
    assert count == round(0.004 * float(np.exp(-dry - up)) / green.layer)
    again = fired_again(green, response, COARSE)
    assert again.wall.base == pytest.approx(green.wall.base * float(np.exp(dry + up)), rel=1e-6)
    layers = printed_layers(green)
    assert layers.base == round(count)
    disc = np.pi * layers.outside[layers.base - 1] ** 2 * green.layer
    assert layers.volume[layers.base - 1] == pytest.approx(disc, rel=1e-3)


def as_its_nozzle_lays_it(check: Check, green: Green, came: np.ndarray, count: int) -> Response:
    """The vessel fired in bands of what the changeovers of its print give there, by volume."""
    pure = pure_cards(check.cards)
    metal, ceramic = (
        next(n for n, card in pure.items() if card.kind == kind) for kind in ("metal", "ceramic")
    )
    within = np.linspace(0.0, 1.0, 21)
    cuts = np.linspace(0.0, green.wall.height[-1], count + 1)
    ends = np.interp(cuts, green.wall.height, came)
    bands = []
    for n, (low, high) in enumerate(pairwise(cuts)):
        share = metal_shares(check.designed, green, low + (high - low) * within).mean()
        percent = round(100.0 * float(share))
        name = {0: ceramic, 100: metal}.get(percent, f"{metal} + {ceramic} = {percent}")
        bands.append(Band(name, float(ends[n]), float(ends[n + 1])))
    vessel = replace(check.vessel, bands=tuple(bands))
    return fire_vessel(vessel, pure, control=COARSE, fineness=0.6, extend=True)


def test_what_is_printed_with_a_long_smear_fires_to_the_size_told():
    """The gold cup's change takes half its height. Once shaped for sharp joints: 0.21 mm off.

    The bands fired here come from the volumes of the print and its changeovers, not from those of
    the verdict: both are one smear, so the miss told is that of what is printed, to 0.02 mm.
    """
    vessel = read_vessel(Path(__file__).parents[2] / "examples/gold_foot_cup.toml", load_kilns())
    check = check_vessel(vessel, CARDS, extend=True, control=COARSE, quick=True)
    green, told = green_to_size(check.printed, COARSE, check.designed)
    assert told.miss < TO_SIZE
    laid = as_its_nozzle_lays_it(check, green, told.came, 20)
    cuts = np.linspace(0.0, green.wall.height[-1], 21)
    found = fired_again(replace(green, laid=cuts), laid, COARSE)
    assert found.miss == pytest.approx(told.miss, abs=2e-5)
    sharp, _ = green_to_size(check.designed, COARSE)
    ends = np.linspace(0.0, sharp.wall.height[-1], 21)
    assert fired_again(replace(sharp, laid=ends), laid, COARSE).miss > 1.5e-4


def test_free_shrinkage_alone_would_miss_the_size_where_the_bands_pull():
    response, green = foot()
    free = green.wall.radius * np.exp(green.ring - green.settled)
    assert np.abs(free - green.fired.radius).max() > 4 * TO_SIZE
    assert fired_again(green, response, COARSE).miss < TO_SIZE


def test_a_vessel_of_one_paste_is_printed_larger_by_its_own_shrinkage():
    response, green = plain()
    card = CARDS[FRIT]
    dried = 1.0 - card["drying_shrinkage"].scalar
    ring = dried * np.exp(response.history.free_strain[0, -1])
    factor = card["height_shrinkage_factor"].scalar
    more = (factor - 1.0) * response.history.shrinkage[0, -1]
    # residual stress of the coarse firing leaves some 1e-7
    assert green.wall.radius == pytest.approx(0.025 / ring, rel=1e-5)
    assert green.wall.width == pytest.approx(0.004 / ring, rel=1e-5)
    assert green.wall.height[-1] == pytest.approx(0.05 / (ring * np.exp(more)), rel=1e-5)
    assert green.wall.height[-1] / 0.05 > green.wall.radius[0] / 0.025  # higher than wide


def test_what_goes_into_the_kiln_is_the_print_without_its_water():
    """Of one paste exactly; of a wall that leans, as the bands turn it when they dry.

    In the firing they turn it again: so it is neither as high as each level alone would be, nor as
    each band of the print dried by itself, but between.
    """
    response, green = plain()
    dry = 1.0 - CARDS[FRIT]["drying_shrinkage"].scalar
    dried = fired_again(green, response, COARSE).dried
    assert dried.high == pytest.approx(dry * green.wall.height[-1], rel=1e-9)
    assert dried.across == pytest.approx(dry * 2.0 * green.wall.outside.max(), rel=1e-9)
    assert dried.foot == pytest.approx(dry * green.wall.outside[0], rel=1e-9)
    z = np.linspace(0.0, 0.03, 9)
    response = fired(shaped(0.02 + 0.9 * z, z, 0.003 + 0.0 * z, [(SILVER, 0.012), (FRIT, 0.03)]))
    green = green_vessel(response)
    alone, dried = packed(response).dried.high, fired_again(green, response, COARSE).dried.high
    printed = float(np.diff(green.wall.edges) @ np.exp(band_strains(response)[:, 0]))
    assert abs(alone - printed) > 5e-4
    assert min(alone, printed) + 1e-4 < dried < max(alone, printed) - 1e-4


def test_firing_keeps_the_solids():
    response, green = plain()
    dry, ring, up = band_strains(response)[0]
    shrunk = volume_below(green.fired, 1.0) / volume_below(green.wall, 1.0)
    assert shrunk == pytest.approx(np.exp(3 * dry + 2 * ring + up), rel=1e-5)
    # what heat alone leaves of strain aside, volume goes as one over density
    density = response.history.relative_density[0]
    rest = response.history.free_strain[0, -1] - response.history.shrinkage[0, -1]
    assert 2 * ring + up == pytest.approx(np.log(density[0] / density[-1]) + 3 * rest, abs=1e-12)


def test_the_wall_is_continuous_through_its_joints():
    for _, green in (foot(), graded()):
        rise = np.diff(green.wall.height)
        for face in ("inside", "outside"):
            jump = np.abs(np.diff(getattr(green.wall, face)))
            assert (jump < 1.2 * rise + 1e-5).all()


def test_while_drying_a_joint_settles_halfway_and_forgets_within_a_few_decay_lengths():
    # two half-infinite cylinders of one stiffness: w = Δ/2 at the joint, and Δ/2 e^(-βx) cos βx
    # on from either side's own (Timoshenko & Woinowsky-Krieger 1959, ch. 15)
    wet = with_drying(CARDS[FRIT], 0.04, "wet")
    cards = {"wet": wet, "dry": with_drying(CARDS[FRIT], 0.03, "dry")}
    response = fired(cylinder([("wet", 0.04), ("dry", 0.08)]), cards)
    green = green_vessel(response)
    ring = green.ring - response.history.free_strain[0, -1]
    own = np.log1p([-0.04, -0.03])
    x = green.fired.height - 0.04
    # the shell's own Poisson ratio; 0.3 while wet
    beta = 1.0 / decay_length(response.vessel, 0.04, 0.3)
    fade = 0.5 * np.exp(-beta * np.abs(x)) * np.cos(beta * x)
    exact = np.where(x < 0.0, own[0] + np.ptp(own) * fade, own[1] - np.ptp(own) * fade)
    # a/h of 6: shear deformation, which the closed form lacks
    assert ring == pytest.approx(exact, abs=0.04 * np.ptp(own))
    assert float(np.interp(0.0, x, ring)) == pytest.approx(own.mean(), abs=0.02 * np.ptp(own))


@given(st.floats(0.5, 2.0))
@settings(max_examples=5, deadline=None)
def test_more_drying_asks_for_a_larger_print(factor: float):
    response, green = plain()
    card = CARDS[FRIT].scaled("drying_shrinkage", factor)
    other = green_vessel(replace(response, cards=(card,)))
    ratio = (1 - CARDS[FRIT]["drying_shrinkage"].scalar) / (1 - card["drying_shrinkage"].scalar)
    assert other.wall.outside == pytest.approx(green.wall.outside * ratio, rel=1e-9)
    assert other.wall.height == pytest.approx(green.wall.height * ratio, rel=1e-9)


@pytest.mark.parametrize("made", [foot, graded])
def test_layers_are_whole_and_reach_the_rim(made):
    response, green = made()
    wanted = response.vessel.printer.layer
    assert green.layer == pytest.approx(wanted, rel=0.5 / sum(green.layers))
    assert green.layer * sum(green.layers) == pytest.approx(green.wall.height[-1], rel=1e-12)
    assert green.wall.edges[1:] == pytest.approx(green.layer * np.cumsum(green.layers))
    layers = printed_layers(green)
    assert layers.volume.sum() == pytest.approx(volume_below(green.wall, 1.0), rel=1e-12)
    assert np.bincount(layers.band).tolist() == list(green.layers)
    assert layers.base == green.floor_layers
    assert layers.base * green.layer == pytest.approx(green.wall.base)


def test_a_band_thinner_than_a_layer_is_refused_with_its_number():
    response, _ = foot()
    coarse = replace(response.vessel.printer, layer=10e-3)
    vessel = replace(response.vessel, printer=coarse)
    low = replace(vessel, bands=tuple(replace(b) for b in vessel.bands))
    steps = replace(
        low, bands=(replace(low.bands[0], high=0.004), replace(low.bands[1], low=0.004))
    )
    with pytest.raises(
        InputError, match=r"band 1 is \d\.\d+ mm high as printed; allowed: one layer"
    ):
        green_vessel(replace(response, vessel=steps))


def pappus(wall: Wall) -> float:
    """Volume of the turned cross-section by centroid and area (shoelace). [m³]"""
    inner = wall.height > wall.base
    r = np.concatenate([wall.outside, wall.inside[inner][::-1]])
    z = np.concatenate([wall.height, wall.height[inner][::-1]])
    if wall.base > 0.0:
        r = np.concatenate([[0.0], r, [wall.at(wall.inside, wall.base), 0.0]])
        z = np.concatenate([[0.0], z, [wall.base, wall.base]])
    else:
        r, z = np.append(r, wall.inside[0]), np.append(z, 0.0)
    cross = r * np.roll(z, -1) - np.roll(r, -1) * z
    area = 0.5 * cross.sum()
    centroid = ((r + np.roll(r, -1)) * cross).sum() / (6.0 * area)
    return float(2.0 * np.pi * centroid * area)


@st.composite
def walls(draw: st.DrawFn) -> Wall:
    """Any profile and thickness, open or with a base, in up to four bands."""
    rises = draw(st.lists(st.floats(2e-3, 2e-2), min_size=2, max_size=12))
    z = np.concatenate([[0.0], np.cumsum(rises)])
    some_radii = st.lists(st.floats(0.01, 0.08), min_size=z.size, max_size=z.size)
    parts = st.lists(st.floats(0.05, 0.9), min_size=z.size, max_size=z.size)
    r = np.array(draw(some_radii))
    cuts = sorted(draw(st.sets(st.floats(0.1, 0.9), max_size=3)))
    edges = np.array([0.0, *(cut * z[-1] for cut in cuts), z[-1]])
    base = draw(st.one_of(st.just(0.0), st.floats(1e-3, 0.5).map(lambda part: part * z[-1])))
    if base > 0.0 and np.abs(z - base).min() < 1e-4:
        base = 0.0
    return Wall(z, r, r * np.array(draw(parts)), edges, base)


@given(walls())
@some
def test_any_profile_holds_what_pappus_says(wall: Wall):
    assert band_volumes(wall).sum() == pytest.approx(pappus(wall), rel=1e-9)


@given(walls())
@some
def test_the_skin_of_any_profile_is_closed_and_holds_its_volume(wall: Wall):
    mesh = trimesh.load_mesh(io.BytesIO(stl(*skin(wall, 64))), file_type="stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == (0 if wall.base == 0.0 else 2)
    polygon = 64 / (2.0 * np.pi) * np.sin(2.0 * np.pi / 64)
    assert mesh.volume == pytest.approx(pappus(wall) * polygon * 1e9, rel=1e-4)


@given(walls())
@some
def test_the_slices_of_any_profile_are_closed_and_fill_the_whole(wall: Wall):
    tall = np.append(True, np.diff(wall.edges) > 1e-5)  # no band is lower than a layer
    tall[-2:] = tall[-1], True
    wall = replace(wall, edges=wall.edges[tall])
    volumes = []
    for low, high in pairwise(wall.edges):
        corners, faces = slice_skin(wall, float(low), float(high), 64)
        mesh = trimesh.Trimesh(1e3 * corners, faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0.0
        filled = low < wall.base
        assert mesh.euler_number == (2 if filled else 0)
        assert mesh.bounds[:, 2] == pytest.approx([1e3 * low, 1e3 * high])
        volumes.append(mesh.volume)
    corners, faces = skin(wall, 64)
    whole = trimesh.Trimesh(1e3 * corners, faces, process=False).volume
    assert sum(volumes) == pytest.approx(whole, rel=1e-9)
    polygon = 64 / (2.0 * np.pi) * np.sin(2.0 * np.pi / 64)
    assert volumes == pytest.approx(band_volumes(wall) * polygon * 1e9, rel=1e-4)


@pytest.mark.parametrize("made", [foot, graded])
def test_bands_hold_what_pappus_says(made):
    wall = made()[1].wall
    assert band_volumes(wall).sum() == pytest.approx(pappus(wall), rel=1e-12)
    whole = volume_below(wall, np.linspace(0.0, wall.height[-1], 7))
    assert (np.diff(whole) > 0.0).all()
    assert whole[0] == 0.0


def test_a_tube_with_a_base_has_the_volume_of_its_cylinders():
    z = np.array([0.0, 0.02, 0.05])
    wall = Wall(z, np.full(3, 0.03), np.full(3, 0.004), np.array([0.0, 0.05]), 0.006)
    tube = np.pi * (0.032**2 - 0.028**2) * 0.05
    base = np.pi * 0.028**2 * 0.006
    assert volume_below(wall, 0.05) == pytest.approx(tube + base, rel=1e-12)
    # half-way through the base
    assert volume_below(wall, 0.003) == pytest.approx(np.pi * 0.032**2 * 0.003, rel=1e-12)


@pytest.mark.parametrize(("made", "holes"), [(foot, 1), (graded, 0)])
def test_the_skin_is_closed_and_holds_the_paste(made, holes: int):
    green: Green = made()[1]
    mesh = trimesh.load_mesh(io.BytesIO(stl(*skin(green.wall))), file_type="stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == 2 - 2 * holes
    sides = sides_for(float(green.wall.outside.max()))
    polygon = sides / (2.0 * np.pi) * np.sin(2.0 * np.pi / sides)
    # the file holds single precision: 1e-7 of each length
    assert mesh.volume == pytest.approx(pappus(green.wall) * polygon * 1e9, rel=1e-5)
    top = [2e3 * green.wall.outside.max()] * 2 + [1e3 * green.wall.height[-1]]
    assert mesh.extents == pytest.approx(top, rel=1e-5)
    assert mesh.bounds[0, 2] == 0.0


@given(st.floats(1e-3, 1.0))
@settings(max_examples=25, deadline=None)
def test_the_flat_sides_of_the_skin_stay_within_a_chord_of_the_round(radius: float):
    sides = sides_for(radius)
    assert sides % 4 == 0
    assert sides == 64 or radius * (1.0 - np.cos(np.pi / sides)) <= CHORD


@pytest.mark.parametrize(("lean", "over"), [(40.0, False), (52.0, True)])
def test_a_wall_that_leans_more_than_half_a_road_a_layer_is_marked(lean: float, over: bool):
    z = np.array([0.0, 0.02])
    r = 0.02 + z * np.tan(np.radians(lean))
    response = fired(shaped(r, z, [0.003] * 2, [(FRIT, 0.02)]))
    (whole,) = overhangs(green_vessel(response), response)
    assert whole.limit == pytest.approx(0.3e-3)
    assert whole.over is over
    assert np.degrees(whole.wanted) == pytest.approx(lean, abs=0.01)
    # it shrinks more along its height than its ring: printed, it stands steeper
    assert whole.lean < whole.wanted


def test_the_joint_says_how_much_of_its_lean_its_shrinkage_adds():
    response, green = foot()
    joint, whole = overhangs(green, response)
    assert joint.where == f"{SILVER} | {FRIT}"
    assert abs(joint.wanted) < 1e-6
    assert 0.5 < np.degrees(abs(joint.lean)) < 10.0
    assert not joint.over
    assert whole.offset >= joint.offset


def test_a_wall_that_closes_over_the_axis_is_refused():
    z = np.array([0.0, 0.01])
    with pytest.raises(ModelError, match="closes over the axis"):
        green_vessel(fired(shaped([0.009, 0.06], z, [0.004] * 2, [(FRIT, 0.01)])))
