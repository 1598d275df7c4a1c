"""Flags that weigh the vessel's stress, each against a closed form or a limit."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.cracks import (
    SINTERED,
    Crack,
    _Search,
    cracks,
    toughness_of,
    worst_cracks,
)
from cofire.assessment.response import Response, band_stresses, band_tensions, fire_vessel
from cofire.assessment.rule import GRADE
from cofire.assessment.strained import mean_along
from cofire.assessment.verdict import Verdict, judge
from cofire.mechanics.crack_planes import crack_planes, plane_paths
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell_firing import fire_shells
from cofire.mechanics.solid_firing import fire_solid
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.physics.blends import blend
from cofire.physics.fracture import axial_limits
from cofire.physics.mixing import bridging_share, ductility_factor
from cofire.physics.porosity import conductivity_factor
from cofire.report.sheet import _limit_row
from cofire.report.verdict import as_json, as_text, number
from tests import fired
from tests.closed_forms import parting_energy, ring_joint
from tests.fired import (
    CARDS,
    COARSE,
    FRIT,
    TEA_LIGHT,
    changed,
    flags_of,
    only,
    pulled,
    retold,
    sharply,
    written_vessel,
)
from tests.histories import made_history

HOUR = 3600.0


@pytest.fixture(scope="module")
def tea_light() -> Response:
    return fired.tea_light()


# cooling


def test_cooling_risk_of_a_ring_in_uniform_tension_has_a_closed_form(tea_light: Response):
    """Weibull: median of the ring over median of the bars is (V_bar/V_ring)^(1/m)."""
    m = CARDS["fritted body"]["weibull_modulus"].scalar
    bar = 3e-3 * 4e-3 * 40e-3 * (m + 2.0) / (4.0 * (m + 1.0) ** 2)  # quarter-point bending
    ring = 2.0 * np.pi * 33e-3 * 4e-3 * 42e-3
    median = 50e6 * (bar / ring) ** (1.0 / m)
    cold = changed(tea_light, strength=np.array(50e6))
    flag = only(
        flags_of(pulled(cold, np.array([0.0, median])), "cooling"), "cooling", "fritted body"
    )
    assert flag.figure == pytest.approx(50.0, rel=1e-4)  # % of rings, by definition of the median
    # one in ten is the limit: the utilisation is the stress over that at which one in ten breaks
    assert flag.utilisation == pytest.approx((np.log(2.0) / -np.log(0.9)) ** (1.0 / m))
    both = flags_of(pulled(cold, np.array([median, median])), "cooling")
    survive = 1.0 - only(both, "cooling", "fritted body").figure / 100.0
    assert survive == pytest.approx(0.25, rel=1e-3)  # either direction acts alone


def test_compression_cracks_nothing(tea_light: Response):
    flags = flags_of(pulled(tea_light, np.array(-500e6)), "cooling")
    assert only(flags, "cooling", "fritted body").utilisation == 0.0


def test_risks_of_two_bodies_add(tea_light: Response):
    cold = changed(tea_light, strength=np.array(50e6))
    pair = replace(cold, cards=(CARDS["fritted body"],) * 2)
    flags = flags_of(pulled(pair, np.array([0.0, 20e6])), "cooling")
    *single, whole = flags
    assert whole.zone == "all brittle bands"
    survive = np.prod([1.0 - flag.figure / 100.0 for flag in single])
    assert 1.0 - whole.figure / 100.0 == pytest.approx(survive)


# joint


def test_parting_energy_of_equal_tubes_is_the_closed_form():
    """G = E Δε² √(R t) [3(1 − ν²)]^(3/4) / [24 (1 − ν²)]: edge utilisations of long cylinders

    (Timoshenko & Woinowsky-Krieger 1959, ch. 15, from memory), 0.0972455 for ν = 0.3.
    """
    E, nu, R, t, mismatch = 60e9, 0.3, 0.05, 0.006, 1e-3
    beta = (3.0 * (1.0 - nu**2)) ** 0.25 / np.sqrt(R * t)
    bending = E * t**3 / (12.0 * (1.0 - nu**2))
    force = beta**3 * bending * R * mismatch  # closes a gap of R Δε between two ends
    energy = parting_energy(R, t, (E, E), (nu, nu), force, 0.0)
    assert energy == pytest.approx(0.0972455 * E * mismatch**2 * np.sqrt(R * t), rel=1e-6)


@pytest.mark.parametrize("ratio", [1.0, 0.4, 2.5])
def test_parting_energy_is_that_stored_by_the_joined_rings(ratio: float):
    joint = ring_joint(0.04, 0.005, 60e9 * ratio, 0.35, 60e9, 0.22, 2e-3)
    parted = parting_energy(
        0.04, 0.005, (60e9 * ratio, 60e9), (0.35, 0.22), joint.radial_force, joint.moment
    )
    assert parted == pytest.approx(joint.energy, rel=1e-12)


ZONE = "fritted body | talc body"


def two_tubes(
    young: tuple[float, float], mismatch: float, radius: float, wall: float, lean: float = 0.0
) -> Response:
    """Two long elastic tubes, the lower one wanting to be wider by a mismatch once sintered."""
    top = 12.0 * np.sqrt(radius * wall)
    radii = radius + 0.5 * top * np.tan(lean) * np.array([-1.0, 1.0])
    strain = np.outer([mismatch, 0.0], [0.0, 0.0, 0.0, 1.0])
    return stacked(
        ("fritted body", "talc body"),
        young,
        strain,
        (0.5 * top,),
        radii,
        np.array([0.0, top]),
        wall,
    )


def stacked(
    materials: tuple[str, ...],
    young: tuple[float, ...],
    strain: np.ndarray,
    steps: tuple[float, ...],
    radius: np.ndarray,
    height: np.ndarray,
    wall: float,
    solid: bool = True,
) -> Response:
    """Elastic bands from the foot up, sintered from the second of the hours on."""
    time = np.arange(strain.shape[1]) * HOUR
    count = len(materials)
    history = made_history(time, strain, young_modulus=np.array(young), poisson_ratio=0.25)
    density = np.broadcast_to([0.6, *[0.9] * (time.size - 1)], (count, time.size)).copy()
    history = replace(history, relative_density=density)
    light = fired.tea_light()
    edges = [float(height[0]), *steps, float(height[-1])]
    vessel = replace(
        light.vessel, radius=radius, height=height, wall=np.full(height.size, wall),
        bands=tuple(
            replace(light.vessel.bands[0], low=edges[k], high=edges[k + 1]) for k in range(count)
        ),
    )  # fmt: skip
    if solid:
        whole = fire_solid(
            mesh_solid(radius, height, wall, steps), history, tuple(range(count)), times=time
        )
    else:
        mesh = mesh_meridian(radius, height, wall, list(steps))
        (whole,) = fire_shells([mesh], history, [tuple(range(count))], control=COARSE)
    return replace(
        light, vessel=vessel, history=history, fired=whole, material=tuple(range(count)),
        cards=tuple(CARDS[name] for name in materials),
        temperature=np.full(whole.time.size, 300.0),
    )  # fmt: skip


def worst(response: Response, rule: str) -> float:
    return max(flag.utilisation for flag in flags_of(response, rule))


def test_a_matched_pair_cracks_nowhere():
    response = two_tubes((60e9, 60e9), 1e-9, 0.05, 4e-3)
    assert worst(response, "through crack") < 1e-3
    assert worst(response, "surface crack") < 1e-3


def test_what_a_crack_uses_of_its_limit_goes_with_the_mismatch():
    one, two = (two_tubes((60e9, 60e9), k * 1e-3, 0.05, 4e-3) for k in (1.0, 2.0))
    assert worst(two, "through crack") == pytest.approx(2.0 * worst(one, "through crack"), rel=0.02)


@pytest.mark.parametrize("lean", [0.0, np.radians(3.0)])
@pytest.mark.parametrize("young", [(60e9, 60e9), (60e9, 180e9)])
def test_a_crack_along_a_joint_has_the_load_that_elasticity_gives_it(young, lean: float):
    """The plane's own mismatch forces against those that the fired solid has on its joint.

    Expected within 2 %. By the stress of stations beside the joint, square to the wall, the edge
    bore no shear, and 3° of lean read each face from the other body: 0.32 for 0.46, 0.17 for 0.67.
    """
    mismatch = 1e-3
    response = two_tubes(young, mismatch, 0.05, 4e-3, lean)
    search, joint = _Search(response), float(response.fired.step_height[0])
    at = joint + 0.3 * 4e-3
    plane, beside = crack_planes(search._wall, np.array([joint, at]))
    told = plane.forces(*search._tractions(joint))[-1]
    axial = told.reshape(-1, 2)[:, 1]
    assert abs(axial.sum()) < 1e-6 * np.abs(axial).sum() + 1e-6  # nothing stands on the upper part
    along, square = beside.forces(*search._tractions(at))[-1].reshape(-1, 2).T
    up = square * np.cos(beside.slant) - along * np.sin(beside.slant)
    assert abs(up.sum()) < 0.05 * np.abs(up).sum()
    bond = search._bond([0, 1])
    bond = replace(bond, strength=bond.strength[-1])
    exact = plane.mismatch_forces(np.array([mismatch, 0.0]))
    ours, known = (
        [path.limit for path in plane_paths(plane, f, [bond], np.array([joint]))[0]]
        for f in (told, exact)
    )
    for name in ("start", "through"):
        first, second = (1.0 / min(float(getattr(p, name)) for p in both) for both in (ours, known))
        assert first == pytest.approx(second, rel=0.02)


@pytest.mark.parametrize("lean", [0.0, np.radians(20.0), np.radians(40.0)])
def test_a_ring_crack_of_a_leaning_wall_is_pulled_by_all_of_its_tension(lean: float):
    """Square to the wall, not level: a level plane of a wall that leans by 40° saw 0.59 of it.

    Its share of the load is that of the plane's own mismatch forces within 2 %.
    """
    mismatch = 4e-3
    response = two_tubes((60e9, 60e9), mismatch, 0.15, 4e-3, lean)
    search, last = _Search(response), response.fired.time.size - 1
    along, wall = response.fired.arc_length[search.order], 4e-3
    joint = np.interp(response.fired.step_height[0], search.height, along)
    off = (np.abs(along - joint) > wall) & (response.fired.band == 1)
    pulled = np.where(off, response.fired.total[last, :, :, 0].max(axis=1), 0.0)
    most = int(np.argmax(pulled))
    crest = float(search.height[most])
    (plane,) = crack_planes(search._wall, np.array([crest]))
    place, normal, shear = search._tractions(crest)
    assert plane.slant == pytest.approx(lean, abs=1e-3)
    assert normal[last].max() == pytest.approx(pulled[most], rel=0.01)
    assert np.abs(shear[last]).max() < 0.2 * pulled[most]
    bond = search._bond([1])
    bond = replace(bond, strength=bond.strength[last])
    told, known = (
        max(
            1.0 / float(path.limit.through)
            for path in plane_paths(plane, force, [bond], np.array([0.0]))[0]
        )
        for force in (
            plane.forces(place, normal[last], shear[last]),
            plane.mismatch_forces(np.array([mismatch, 0.0])),
        )
    )
    assert told == pytest.approx(known, rel=0.02)
    rings = [c for c in cracks(response) if c.kind == "ring" and c.zone == "talc body"]
    assert max(c.through for c in rings) > 0.99 * told


def test_a_joint_of_two_ceramics_is_a_joint_and_each_may_split_up_the_wall():
    """Neither has metal in it, so no difference in metal share says so.

    The upper body is pulled round the ring; by long tubes half of the mismatch at the joint, less
    upwards as bending fades, and the sheet's own limit with that.
    """
    E, mismatch, radius, wall = 60e9, 1e-3, 0.05, 4e-3
    response = two_tubes((E, E), mismatch, radius, wall)
    found = cracks(response)
    assert [c.zone for c in found if c.kind == "joint"] == [ZONE]
    (axial,) = (c for c in found if c.kind == "axial" and c.zone == "talc body")
    assert not [
        c for c in found if c.kind == "axial" and c.zone == "fritted body" and c.surface > 0
    ]
    beta = (3.0 * (1.0 - 0.25**2)) ** 0.25 / np.sqrt(radius * wall)
    y = np.linspace(0.0, 1.5 * np.sqrt(radius * wall), 60)
    hoop = 0.5 * E * mismatch * np.exp(-beta * y) * np.cos(beta * y)
    known = axial_limits(
        y, [-1.0, 1.0], np.stack([hoop, hoop], axis=1), wall=wall, radius=radius, young=E,
        poisson=0.25, strength=float(_Search(response).strength[1, -1]),
        toughness=toughness_of(CARDS["talc body"]), beyond=E,
    )  # fmt: skip
    assert 0.95 < axial.through * float(known.along.start) < 1.3  # beside the joint a face has more


@pytest.mark.parametrize("walls", [0.9, 1.3])
def test_a_brittle_ring_lower_than_its_wall_is_thick_may_split(walls: float):
    """Held by stiff tubes above and below: E Δε round the ring, and energy to spare."""
    E, mismatch, wall, radius = 60e9, 1e-3, 5e-3, 0.03
    middle, top = walls * wall, 0.06
    low = 0.5 * (top - middle)
    response = stacked(
        ("fine silver", "talc body", "fine silver"), (3 * E, E, 3 * E),
        np.outer([0.0, -mismatch, 0.0], [0.0, 0.0, 0.0, 1.0]), (low, low + middle),
        np.full(2, radius), np.array([0.0, top]), wall,
    )  # fmt: skip
    (split,) = (c for c in cracks(response) if c.kind == "axial")
    own = response.fired.band == 1
    hoop = response.fired.total[-1, own][..., 1].mean()
    strength = float(_Search(response).strength[1, -1])
    assert hoop > 0.6 * E * mismatch
    assert 0.98 < split.through * strength / hoop < 1.25  # starts where there is more than the mean


def test_a_wall_too_steep_for_level_planes_is_searched_for_ring_cracks():
    """A dish that leans by 60° below its rim: the crest of bending lies where it is steep.

    By the strip with the shell's restraint within a tenth.
    """
    points = [[0, 25], [3, 30.2], [6, 35.4], [9, 40.6], [12, 45.0], [15, 47.6], [20, 49.5],
              [30, 51.5], [45, 53]]  # fmt: skip
    height, radius = 1e-3 * np.array(points).T
    response = stacked(
        ("talc body", "fine silver"), (60e9, 60e9), np.outer([0.0, -3e-3], [0.0, 0.0, 0.0, 1.0]),
        (0.017,), radius, height, 3e-3,
    )  # fmt: skip
    search = _Search(response)
    steep = np.flatnonzero(np.abs(response.fired.slope[search.order]) > np.radians(50.0))
    place = next(k for k in search._places(search._use()) if k in steep)
    plane = crack_planes(search._wall, search.height[[place]])[0]
    on = search._on_plane(plane.height, plane, [0.017])
    strip = search._strips([place], search._use())
    both = [max(c.through for c in found) for found in (on, strip)]
    assert both[0] > 0.1
    assert both[0] == pytest.approx(both[1], rel=0.1)
    assert max(c.through for c in cracks(response) if c.zone == "talc body") >= both[0]


def test_each_brittle_zone_is_asked_where_and_when_it_is_pulled_most():
    """A strongly pulled zone took all places, and its own worst hour was the only one asked."""
    top = 0.2
    strain = np.zeros((3, 5))
    strain[0, 2], strain[2, 3] = -8e-3, -2e-3  # frit at the second hour, talc at the third
    response = stacked(
        ("fritted body", "fine silver", "talc body"), (60e9, 60e9, 60e9), strain, (0.07, 0.13),
        np.full(2, 0.05), np.array([0.0, top]), 4e-3, solid=False,
    )  # fmt: skip
    rings = {c.zone: c for c in cracks(response) if c.kind == "ring"}
    assert set(rings) == {"fritted body", "talc body"}
    assert response.fired.time[rings["fritted body"].moment] == pytest.approx(2.0 * HOUR)
    assert response.fired.time[rings["talc body"].moment] == pytest.approx(3.0 * HOUR)


@pytest.mark.parametrize("lean", [0.0, np.radians(40.0)])
def test_an_axial_crack_is_as_long_as_the_wall_and_its_ring_curves_as_the_wall_leans(lean: float):
    """The sheet's limit on the fired hoop stress, by length along the wall and radius over cosine.

    By height it was 1.4 % less at 40°.
    """
    response = two_tubes((60e9, 60e9), 4e-3, 0.15, 4e-3, lean)
    (axial,) = (c for c in cracks(response) if c.kind == "axial" and c.zone == "talc body")
    fired = response.fired
    own = np.flatnonzero(fired.band == 1)
    y = fired.arc_length[own] - fired.arc_length[own[0]]
    ring = float(fired.radius[own[0]] / np.cos(lean))
    far = np.linspace(0.0, 1.5 * np.sqrt(ring * 4e-3), 24)
    hoop = np.stack([np.interp(far, y, line) for line in fired.total[-1, own][..., 1].T], axis=1)
    known = axial_limits(
        far, fired.through, hoop, wall=4e-3, radius=ring, young=60e9, poisson=0.25,
        strength=float(_Search(response).strength[1, -1]),
        toughness=toughness_of(CARDS["talc body"]), beyond=60e9,
    )  # fmt: skip
    assert axial.through == pytest.approx(1.0 / float(known.through), rel=2e-3)


def test_a_larger_vessel_of_the_same_shape_cracks_no_later():
    """Stress alone knows no size; where energy decides, the larger one parts first."""
    small, large = (two_tubes((60e9, 60e9), 2e-3, 0.05 * k, 4e-3 * k) for k in (1.0, 2.0))
    assert worst(large, "through crack") >= 0.999 * worst(small, "through crack")
    assert worst(large, "through crack") <= np.sqrt(2.0) * worst(small, "through crack") * 1.001


def test_figures_of_a_crack_that_runs_through_are_not_those_of_one_that_starts_sooner(
    tea_light: Response,
):
    """Two of a kind in one zone, neither through: each is told with its own place."""
    shallow = Crack(
        "ring", "fritted body", 0.9, 0.1, 0.1, 0.1, 3e-4, 50e6, 0.030, "inside", 4
    )  # fmt: skip
    deep = replace(shallow, surface=0.6, through=0.5, low=0.5, high=0.5, tension=30e6, height=0.04)
    told = replace(tea_light)
    told.memo["cracks"] = worst_cracks([shallow, deep])
    (surface,), (through,) = (flags_of(told, name) for name in ("surface crack", "through crack"))
    assert (surface.height, surface.utilisation, surface.figure) == (0.030, 0.9, 50.0)
    assert (through.height, through.utilisation, through.figure) == (0.04, 0.5, 30.0)
    assert through.limit == pytest.approx(60.0)
    assert worst_cracks([deep]) == (deep,)


@pytest.mark.parametrize(("joint", "told"), [(1.0, True), (3.0, True), (4.0, False)])
def test_a_joint_within_the_thickness_of_a_floor_is_not_judged_as_a_floor_of_one_material(
    joint: float, told: bool
):
    """Below and above the middle of a floor of 4 mm, and on its top."""
    text = TEA_LIGHT.replace("wall_mm = 4", 'wall_mm = 4\nbase = "flat"')
    vessel = written_vessel(text.replace("to_mm = 18", f"to_mm = {joint}"))
    cup = fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5)
    found = [f for f in flags_of(cup, "through crack") if "within the floor" in f.note]
    assert bool(found) == told
    assert all(f.verdict == "unknown" and f.zone == "fine silver | fritted body" for f in found)


def test_a_crack_of_the_surface_alone_loses_no_pot():
    response = two_tubes((60e9, 60e9), 8e-3, 0.05, 4e-3)
    assert worst(response, "surface crack") > 1.0
    assert {flag.verdict for flag in flags_of(response, "surface crack")} <= {"go", "caution"}
    assert "no" in {flag.verdict for flag in flags_of(response, "through crack")}


def test_what_has_not_sintered_cracks_by_another_rule():
    response = two_tubes((60e9, 60e9), 8e-3, 0.05, 4e-3)
    density = np.full_like(response.history.relative_density, 0.6)
    young = replace(response.history, relative_density=density)
    assert all(
        flag.verdict in ("go", "unknown")
        for flag in flags_of(replace(response, history=young), "through crack")
    )


# metal


def test_plastic_strain_of_a_held_metal_ring_is_the_mismatch_less_what_springs_back(
    tea_light: Response,
):
    """A low ring of soft metal between stiff tubes takes up its whole contraction by yielding."""
    time = np.array([0.0, 1.0, 2.0, 3.0]) * HOUR
    history = made_history(
        time, np.outer([0.0, -0.01, 0.0], [0.0, 0.0, 0.0, 1.0]),
        young_modulus=np.array([1e14, 1e11, 1e14]), poisson_ratio=0.3,
        yield_stress=np.array([np.inf, 20e6, np.inf]),
    )  # fmt: skip
    density = np.broadcast_to([0.6, 0.9, 0.9, 0.9], (3, 4)).copy()
    history = replace(history, relative_density=density)
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.08], 0.004, [0.039, 0.041])
    (shell,) = fire_shells([mesh], history, [(0, 1, 2)], control=COARSE)
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    held = replace(
        tea_light, history=history, fired=shell, material=(0, 1, 2), cards=(frit, silver, frit),
        temperature=np.full(shell.time.size, 300.0),
    )  # fmt: skip
    (flag,) = flags_of(held, "metal")
    # uniaxial round the ring: all of 1 % less σy/E = 0.02 %
    assert flag.figure == pytest.approx(100 * (0.01 - 20e6 / 1e11), rel=0.02)
    assert flag.utilisation == pytest.approx(flag.figure / 100.0 / 0.20)  # ductility on the card


def with_foot(response: Response, share: float) -> Response:
    """The tea-light with a foot of so much silver in the body."""
    foot = blend(CARDS["fine silver"], CARDS["fritted body"], share)
    return replace(response, cards=(foot, response.cards[1]))


@pytest.mark.parametrize("share", [0.35, 0.5, 0.75, 0.99])
def test_metal_that_runs_through_a_blend_holds_it_where_its_ceramic_cracks(
    tea_light: Response, share: float
):
    silver = CARDS["fine silver"]
    response = changed(
        with_foot(tea_light, share),
        strength=np.array(1e6),  # its ceramic cracks at once
        relative_density=np.array(silver["tensile_strength"].at_density),
    )
    bears = float(bridging_share(share)) * silver["tensile_strength"].scalar
    soft = silver["yield_stress"].at(response.temperature) / silver["yield_stress"].scalar
    half = 0.5 * bears * soft[:, None, None, None]
    for rule in ("cooling", "later"):  # no damp air grows a crack in metal
        flag = only(flags_of(pulled(response, half), rule), rule, response.cards[0].name)
        assert flag.utilisation == pytest.approx(0.5, rel=1e-6)


def test_a_trace_of_ceramic_in_a_metal_is_no_brittle_body():
    """99 % silver that yields was a crack for certain, pure silver none."""
    pot = """
        name = "cup"
        profile = {shape = "cylinder", radius_mm = 25, height_mm = 60, wall_mm = 2}
        band = [{material = "FOOT", to_mm = 30}, {material = "leucite porcelain"}]
        [firing]
        kiln = "small studio kiln"
        gas = "air"
        segment = [
          {to_C = 500, rate_C_per_h = 80, hold_min = 60},
          {to_C = 880, rate_C_per_h = 150, hold_min = 30},
          {to_C = 450, rate_C_per_h = 60},
        ]
    """
    used = {}
    for foot in ("fine silver", "fine silver + leucite porcelain = 99"):
        response = fire_vessel(written_vessel(pot.replace("FOOT", foot)), CARDS, control=COARSE)
        flags = flags_of(response, "cooling", "later", "metal")
        used[foot] = max(f.utilisation for f in flags if "fine silver" in f.zone)
        whole = [f.utilisation for f in flags if f.zone == "leucite porcelain"]
        used[foot, "body"] = max(whole)
    pure, mixed = "fine silver", "fine silver + leucite porcelain = 99"
    assert used[mixed] < 1.0
    assert used[mixed, "body"] == pytest.approx(used[pure, "body"], rel=0.1)


def test_grains_in_a_metal_leave_it_less_to_stretch(tea_light: Response):
    plastic = np.zeros_like(tea_light.fired.plastic)
    plastic[-1] = 0.01
    response = replace(tea_light, fired=replace(tea_light.fired, plastic=plastic))

    pure, mixed = (flags_of(r, "metal") for r in (response, with_foot(response, 0.9)))
    assert mixed[0].limit == pytest.approx(pure[0].limit * float(ductility_factor(0.9)))
    assert mixed[0].utilisation == pytest.approx(pure[0].utilisation / float(ductility_factor(0.9)))
    assert not flags_of(
        with_foot(response, 0.5), "metal"
    )  # locked by its ceramic: it does not yield


def test_plastic_strain_beside_a_joint_does_not_hang_on_the_mesh():
    """At a point it grows by half from six elements across to eight; over a length it stays.

    Wrong if the means of the two meshes differ by more than 3 %.
    """
    vessel = written_vessel(TEA_LIGHT)
    shell = fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5)
    told, at_a_point = [], []
    for across in (6, 8):
        mesh = mesh_solid(vessel.radius, vessel.height, vessel.wall, vessel.steps, across=across)
        solid = fire_solid(mesh, shell.history, shell.material, times=shell.fired.time)
        response = replace(
            shell,
            fired=solid,
            temperature=np.interp(solid.time, shell.trace.time, shell.trace.ware),
        )
        told.append(only(flags_of(response, "metal"), "metal", "fine silver").figure)
        plastic = solid.plastic[:, solid.band == fired.SILVER]
        done = np.flatnonzero(response.progress[shell.material[0]] >= SINTERED)
        at_a_point.append(100 * float(np.abs(plastic[done] - plastic[done[0]]).max()))
    assert told[1] == pytest.approx(told[0], rel=0.03)
    assert at_a_point[1] > 1.4 * at_a_point[0]  # else a point would do
    assert told[1] < at_a_point[1]


@given(
    st.lists(st.floats(0.1, 3.0), min_size=1, max_size=8),
    st.lists(st.floats(-2.0, 2.0), min_size=9, max_size=9),
    st.floats(0.05, 40.0),
)
def test_a_mean_along_a_line_is_between_its_ends_and_exact_for_a_straight_one(
    gaps: list[float], values: list[float], length: float
):
    place = np.cumsum([0.0, *gaps])
    some = np.array(values[: place.size])
    found = mean_along(some, place, length)
    assert found.shape == (2 * place.size,)
    assert found.min() >= some.min() - 1e-9
    assert found.max() <= some.max() + 1e-9
    span = min(length, place[-1])
    straight = mean_along(2.0 * place, place, length)
    assert straight.min() == pytest.approx(span, abs=1e-9)
    assert straight.max() == pytest.approx(2.0 * place[-1] - span, abs=1e-9)


def test_a_metal_that_never_sinters_is_unknown(tea_light: Response):
    (flag,) = flags_of(changed(tea_light, relative_density=np.array(0.6)), "metal")
    assert flag.verdict == "unknown"


# what is shown of every flag


def held() -> Response:
    """The tea light as if it had lived through round numbers, so that every flag can be worked out.

    Strength 50 MPa and E 50 GPa at all times, ν 0.3; both densities and the mass straight lines
    over the firing; 15 MPa of tension everywhere, 20 MPa on the joint, 30 MPa beside it; viscosity
    1e13 Pa s, no creep; the frit contracting by 8e-6/K at 200 K/h, half as much by its inversion;
    2 % of plastic strain in the metal at the end.
    """
    light = fired.tea_light()
    h, shell, steps = light.history, light.fired, light.fired.steps
    run = h.time / h.time[-1]
    body = changed(
        light, strength=np.array(50e6), young_modulus=np.array(50e9),
        poisson_ratio=np.array(0.3), viscosity=np.array(1e13), creep_factor=np.array(0.0),
        relative_density=np.stack([0.63 + 0.32 * run, 0.663 + 0.237 * run]),
        mass_fraction=1.0 - 0.033 * run,
    )  # fmt: skip
    strain = {name: np.zeros_like(v) for name, v in h.strain.items()}
    strain["expansion"][FRIT] = -8e-6 * 200.0 / HOUR * h.time
    strain["quartz inversion"][FRIT] = 0.5 * strain["expansion"][FRIT]
    history = replace(body.history, strain=strain, temperature=0.0 * h.time + 600.0)
    body = pulled(replace(body, history=history), np.array(15e6))
    plastic = np.zeros_like(shell.plastic)
    plastic[-1] = 0.02
    # the edge force that closes a gap of R Δε between two equal tubes, Δε = 2e-3
    stiff = 50e9 * 0.004**3 / (12.0 * 0.91)
    force = (2.73**0.25 / np.sqrt(0.033 * 0.004)) ** 3 * stiff * 0.033 * 2e-3
    joint = replace(
        steps, normal=np.full_like(steps.normal, 20e6), peak=np.full_like(steps.peak, 30e6),
        local_normal=np.zeros_like(steps.local_normal),
        shear=np.full_like(steps.shear, force / 0.004),
    )  # fmt: skip
    return replace(body, fired=retold(body.fired, steps=joint, plastic=plastic))


def by_hand(last: float) -> dict[tuple[str, str], tuple[float, float, str]]:
    """Figure, limit and unit of every flag of `held`, from its round numbers and the two cards.

    `last` is the length of the firing. [s]
    """
    solid = 2550.0 * 0.663
    # gas of 30 g/mol at 600 K, as viscous as nitrogen, expands on its way and slips along the pores
    air = 101325.0
    gas = air * 0.030 / (8.314462618 * 600.0)
    mu = 1.663e-5 * (600.0 / 273.0) ** 1.5 * 380.0 / 707.0
    path = mu / air * np.sqrt(np.pi * 8.314462618 * 600.0 / (2.0 * 0.030))

    def pressed(mass: float, grain: float, pores: float) -> float:
        bed = grain**2 * pores**3 / (180.0 * (1.0 - pores) ** 2)
        plain = 0.033 / last * mass * mu * 0.004**2 / (8.0 * bed * gas)
        slipped = air * (1.0 + 4.0 * path / (grain * pores / (3.0 * (1.0 - pores))))
        return float(np.sqrt(slipped**2 + 2.0 * air * plain) - slipped)

    # a bed of clay's fines, a twentieth of 6 µm, with 10 % of pores, and one of grains of 20 µm
    frit_gas = pressed(solid, 0.3e-6, 0.1)
    silver_gas = pressed(10500.0 * 0.63, 20e-6, 0.05)
    volume = 2.0 * np.pi * 0.033 * 0.004 * 0.042
    bars = 3e-3 * 4e-3 * 40e-3 * 11.0 / 400.0  # (m + 2)/[4 (m + 1)²], m = 9
    risk = 2.0 * volume / bars * np.log(2.0) * (15.0 / 50.0) ** 9.0
    # both weigh what has not burnt out; the frit shrinks by 12e-6/K, and so does what bears it
    run = np.linspace(0.0, 1.0, 100_001)
    left = (1.0 - 0.033 * run) / (1.0 - 0.033)
    narrow = np.exp(-2.0 * 12e-6 * 200.0 / HOUR * last * (1.0 - run))
    body, metal = 0.9 * 2550.0 * 9.80665 * 0.042, 0.95 * 10500.0 * 9.80665 * 0.018
    # half of its own weight on average
    upper, lower = 0.5 * body * np.mean(left * narrow), (body + 0.5 * metal) * np.mean(left)
    dense = 1.2 / float(conductivity_factor(1.0 - 0.941))
    kappa = dense * float(conductivity_factor(1.0 - 0.663)) / (solid * 870.0)
    face = 50e9 * 12e-6 * 200.0 / HOUR * 0.002**2 / (3.0 * 0.7 * kappa) / 1e6
    # a parabola, its power 9 over the wall in two directions, against one in ten
    across = np.clip(1.5 * np.linspace(0.0, 1.0, 100_001) ** 2 - 0.5, 0.0, None) ** 9.0
    lag_risk = 2.0 * volume * across.mean() / bars * np.log(2.0) * (face / 50.0) ** 9.0
    lagged = (lag_risk / -np.log(0.9)) ** (1.0 / 9.0)
    silver, frit, pair = "fine silver", "fritted body", "fine silver | fritted body"
    return {
        ("peak", silver): (860.0, 961.78 - 15.0, "°C"),
        ("peak", frit): (860.0, 930.0, "°C"),
        ("density", silver): (0.95, 0.85, "of full density"),
        ("density", frit): (0.9, 0.91, "of full density"),
        ("atmosphere", silver): (0.0, 1.0, "grade"),
        ("atmosphere", frit): (0.0, 1.0, "grade"),
        ("core", silver): (2.5 * (1.0 - 0.03) - 3.3 / 2.0, 0.5, "% of dried mass"),  # 3 % of it ash
        ("core", frit): (3.5 - 3.3 / 2.0, 0.5, "% of dried mass"),
        ("drying", pair): (1.031, 2.0, "% of length"),  # 1.9 decay lengths above a free foot
        ("burnout", silver): (silver_gas / 1e3, 50e3, "kPa"),
        ("burnout", frit): (frit_gas / 1e3, 50e3, "kPa"),
        ("sag", silver): (100.0 * lower * last / 1e13, 5.0, "% of its height"),
        ("sag", frit): (100.0 * upper * last / 1e13, 5.0, "% of its height"),
        ("cooling", frit): (-100.0 * np.expm1(-risk), 10.0, "% probability of a crack"),
        ("gradient", frit): (face, face / lagged, "MPa"),
        ("metal", silver): (2.0, 20.0, "% plastic strain"),
    }


ROUGHLY = {"core": 0.03, "sag": 0.015, "gradient": 2e-3}
"""The pores of the core close between two times of the trace; rings that flow apart pull on each
other beside the joint; a ramp takes a while to be steady."""


def test_figure_limit_and_unit_of_every_flag_are_those_worked_out_by_hand():
    response = held()
    flags = {(flag.rule, flag.zone): flag for flag in judge(response).flags}
    expected = by_hand(float(response.history.time[-1]))
    # steam, oxygen, brown, later, liquids and grains are held in the tests of their own rules
    assert flags.keys() >= expected.keys()
    assert {rule for rule, _ in flags.keys() - expected.keys()} <= {
        "steam", "oxygen", "brown", "later", "liquid", "reaction", "surface crack",
        "through crack",
    }  # fmt: skip
    for key, (figure, limit, unit) in expected.items():
        flag = flags[key]
        assert flag.unit == unit, key
        assert flag.figure == pytest.approx(figure, rel=ROUGHLY.get(key[0], 1e-3), abs=1e-12), key
        assert flag.limit == pytest.approx(limit, rel=1e-3), key


def test_the_load_of_a_flag_is_its_figure_over_its_limit_as_they_are_shown():
    """But where the way from green counts, and where stress enters by a power."""
    way = {"fine silver": (0.85 - 0.63) / 0.32, "fritted body": (0.91 - 0.663) / 0.237}
    told = by_hand(1.0)
    for flag in judge(held()).flags:
        if (flag.rule, flag.zone) not in told:
            continue
        share = flag.figure / flag.limit
        expected = {
            "density": way.get(flag.zone, np.nan),
            "atmosphere": 0.0,
            "cooling": (np.log1p(-min(flag.figure, 99.0) / 100.0) / np.log1p(-0.1)) ** (1.0 / 9.0),
        }.get(flag.rule, share)
        assert flag.utilisation == pytest.approx(expected, rel=1e-6), flag.rule


def test_text_json_and_sheet_show_figure_limit_and_unit_of_every_flag():
    response = held()
    flags = judge(response).flags
    raised = Verdict(tuple(replace(flag, utilisation=2.0) for flag in flags))
    text = " ".join(as_text(sharply(response, raised), []).split())
    rows = {
        (f["rule"], f["zone"]): f
        for f in json.loads(as_json(sharply(response, raised), []))["flags"]
    }
    for flag in flags:
        row = rows[flag.rule, flag.zone]
        assert (row["figure"], row["limit"]) == pytest.approx((flag.figure, flag.limit), rel=1e-5)
        assert row["unit"] == flag.unit
        if flag.unit == GRADE:
            continue
        told = f"{number(flag.figure)} against {number(flag.limit)} {flag.unit}"
        assert f"{flag.zone}: {told}" in text
        cells = (
            "".join(cell) if isinstance(cell, tuple) else cell
            for cell in _limit_row([flag], response, False)
        )
        assert told in " ".join(cells).replace("\u00a0", " ")


def test_the_tension_of_a_band_is_that_of_its_joints_where_they_are_worse(tea_light: Response):
    steps = tea_light.fired.steps
    for band, side in ((0, 0), (1, 1)):
        found, beside = band_tensions(tea_light, band), steps.peak[:, 0, side]
        assert np.all(found >= beside)
        worst = band_stresses(tea_light)[band].worst.tension
        assert found.max() == pytest.approx(max(beside.max(), worst))
    assert np.any(band_tensions(tea_light, 0) == steps.peak[:, 0, 0])


def test_away_from_the_joints_the_tension_of_a_band_is_that_of_its_stations(tea_light: Response):
    shell = tea_light.fired
    quiet = retold(shell, steps=replace(shell.steps, peak=0.0 * shell.steps.peak))
    for band in (0, 1):
        found = band_tensions(replace(tea_light, fired=quiet), band)
        here = tea_light.total[:, shell.band == band].reshape(shell.time.size, -1).max(axis=1)
        assert np.all(found <= 1.05 * np.maximum(here, 0.0) + 1e4)
        assert found.max() > 1e6
        hot = int(np.argmax(found))
        assert found[hot] > 0.2 * here[hot]
