"""Crack planes of an elastic solid: energies against strips and finite-element cracks."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.mechanics.crack_planes import (
    Bond,
    Wall,
    _by_positive,
    _pressed,
    crack_planes,
    tube,
)
from cofire.physics import fracture
from tests import crack_limits
from tests.closed_forms import ring_joint
from tests.crack_limits import crack_paths, ring_heights
from tests.crack_reference import Cracked, Tube, axial_energy, release_rate
from tests.solid_reference import solve_solid

E, NU, METAL_NU = 70e9, 0.2, 0.3
R, H = 0.05, 6e-3
REACH = 6 * np.sqrt(R * H) / 1.3
CERAMIC = Bond(40e6, 15.0)
JOINT = Bond(40e6, 15.0, shear_strength=40e6, sensitivity=0.3)


@pytest.fixture(scope="module")
def joint():
    """Ceramic on a metal of the same stiffness: wall, and three planes."""
    wall = tube(R, H, [-REACH, 0.0, REACH], [E, E], [METAL_NU, NU])
    peak = 0.785 * wall.decay(1e-9)
    return wall, crack_planes(wall, np.array([0.0, 0.15 * H, peak]))


CONTRACTION = {"metal contracts": [-1e-3, 0.0], "ceramic contracts": [0.0, -1e-3]}

# plane, face, depth over wall, which contracts: four joints' worth of modes, contact among them
CRACKS = [
    (0, "outer", 0.2, "metal contracts"),  # pressed at the face: slides
    (1, "outer", 0.1, "metal contracts"),  # beside the step, opens
    (2, "inner", 0.5, "ceramic contracts"),  # peak of bending
    (0, "outer", 0.5, "ceramic contracts"),
]


@pytest.mark.parametrize(("plane", "face", "depth", "which"), CRACKS)
def test_energy_of_a_crack_is_that_of_split_finite_elements(joint, plane, face, depth, which):
    _, planes = joint
    strain = CONTRACTION[which]
    found = planes[plane].growth(planes[plane].mismatch_forces(np.array(strain)), face)
    body = Tube(R, H, REACH, (E, E), (METAL_NU, NU), tuple(strain))
    solved = Cracked(body, planes[plane].height, face, depth * H)
    here = np.interp(np.log(depth * H), np.log(found.length[1:]), np.log(found.energy[1:]))

    assert np.exp(here) == pytest.approx(solved.energy(), rel=0.02)


def test_critical_mismatch_of_a_joint_is_that_of_split_finite_elements():
    """One joint of the table of `tests.crack_limits`; the whole table takes minutes."""
    case = crack_limits.Case(2e-3, 0.02, 1.0, metal_contracts=False)
    _, paths = crack_limits.condensed(case)
    first = min(paths, key=lambda one: float(one.limit.start))
    solved = crack_limits.start_by_elements(case, first, shares=(0.6, 1.0, 1.4))

    assert float(first.limit.start) == pytest.approx(solved, rel=0.03)


def test_release_rate_is_that_of_two_cracks_an_element_apart(joint):
    _, planes = joint
    found = planes[2].growth(planes[2].mismatch_forces(np.array([0.0, -1e-3])), "inner")
    body = Tube(R, H, REACH, (E, E), (METAL_NU, NU), (0.0, -1e-3))
    middle = 0.5 * (found.length[1:] + found.length[:-1])
    rate = np.interp(0.4 * H, middle, np.diff(found.energy) / np.diff(found.area))

    assert rate == pytest.approx(release_rate(body, planes[2].height, "inner", 0.4 * H), rel=0.03)


def test_stress_on_a_plane_is_that_of_a_solid(joint):
    _, planes = joint
    place = np.array([-1.0, -0.9, -0.4, 0.0, 0.5, 1.0])
    body = Tube(R, H, REACH, (E, E), (METAL_NU, NU), (-1e-3, 0.0))
    for plane in planes[1:]:
        normal, shear = plane.stress(plane.mismatch_forces(np.array([-1e-3, 0.0])))
        there = 2.0 * (plane.radius - plane.radius[0]) / plane.wall - 1.0
        solved = Cracked(body, plane.height, "inner", 0.2 * H).stress(place)
        np.testing.assert_allclose(np.interp(place, there, normal), solved[0], atol=1.5e6)
        np.testing.assert_allclose(np.interp(place, there, shear), solved[1], atol=1.5e6)


@pytest.mark.parametrize("lean", [14.0, -14.0, 40.0])
def test_stress_on_a_plane_of_a_leaning_wall_is_that_of_a_solid(lean):
    """A cone cut square to its wall, nearer to the joint less so: no cut crosses the joint.

    A level plane of the cone of 40° saw 0.59 of the tension along the wall that opens a ring crack.
    """
    angle = np.radians(lean)
    height = np.linspace(-0.05, 0.05, 201)
    radius = R + 0.02 + height * np.tan(angle)
    strain = np.array([-1e-3, 0.0])
    solid = solve_solid(
        radius, height, H, np.array([0.0]), np.array([E, E]), np.array([METAL_NU, NU]), strain
    )
    wall = Wall(
        height,
        radius,
        np.full(height.size, H),
        np.array([-0.05, 0.0, 0.05]),
        np.array([E, E]),
        np.array([METAL_NU, NU]),
    )
    across = np.array([-0.9, -0.5, 0.0, 0.5, 0.9])
    away = (0.13 if lean < 30.0 else 0.25) * H
    near, far = crack_planes(wall, np.array([away, 0.012]), finest=1e-2)
    assert far.slant == pytest.approx(angle)
    assert far.wall == pytest.approx(H)
    assert 0.0 < near.slant / angle < 1.0
    assert abs(0.5 * near.wall * np.sin(near.slant)) < away
    for plane in (near, far):
        normal, shear = plane.stress(plane.mismatch_forces(strain))
        there = 0.5 * (1.0 + across) * plane.wall
        r = np.interp(there, plane.place, plane.radius)
        z = plane.height - (there - 0.5 * plane.wall) * np.sin(plane.slant)
        rr, zz, _, rz = solid.at(r, z).T
        s, c = np.sin(plane.slant), np.cos(plane.slant)
        square = rr * s * s + zz * c * c + 2.0 * rz * s * c
        along = (rr - zz) * s * c + rz * (c * c - s * s)
        np.testing.assert_allclose(np.interp(there, plane.place, normal), square, atol=7e5)
        np.testing.assert_allclose(np.interp(there, plane.place, shear), along, atol=7e5)


def test_stress_through_the_wall_and_forces_are_two_forms_of_one(joint):
    _, planes = joint
    there = 2.0 * (planes[0].radius - planes[0].radius[0]) / planes[0].wall - 1.0
    normal, shear = 1e6 * (1.0 + there), 2e6 * there
    back = planes[0].stress(planes[0].forces(there, normal, shear))

    np.testing.assert_allclose(back[0], normal, atol=1.0)
    np.testing.assert_allclose(back[1], shear, atol=1.0)


def test_parting_all_frees_what_shell_theory_says_and_the_last_ligament_holds_most_of_it():
    """Energy of `closed_forms.ring_joint`: a hair's breadth still carries the radial force.

    The solid adds the field beside the joint, which falls as the root of wall over radius.
    """
    thin = 5e-4
    reach = 5 * np.sqrt(R * thin)
    wall = tube(R, thin, [-reach, 0.0, reach], [E, E], [METAL_NU, NU])
    plane = crack_planes(wall, np.array([0.0]), finest=1e-2)[0]
    forces = plane.mismatch_forces(np.array([0.0, -1e-3]))
    found = plane.growth(forces, "inner")
    parted = 0.5 * forces @ np.linalg.pinv(plane.stiffness, rcond=1e-12) @ forces
    shell = ring_joint(R, thin, E, METAL_NU, E, NU, 1e-3).energy * found.area[-1]

    assert parted == pytest.approx(shell, rel=0.05)
    assert found.energy[-1] < 0.5 * parted
    assert np.all(np.diff(found.energy) >= 0.0)


def test_alike_bodies_without_mismatch_never_crack(joint):
    wall, planes = joint
    forces = [plane.mismatch_forces(np.array([-1e-3, -1e-3])) for plane in planes]
    tilted = [np.zeros_like(f) for f in forces]
    for one in crack_paths(planes, tilted, [CERAMIC] * 3, wall.edges[1:-1]):
        assert np.isinf(one.limit.start)
    # equal free strains of two bodies leave only rounding
    assert (
        max(np.abs(f).max() for f in forces)
        < 1e-6 * np.abs(planes[0].mismatch_forces(np.array([-1e-3, 0.0]))).max()
    )


def test_metal_that_contracts_more_cracks_beside_the_step_first(joint):
    """Expected: a tenth to a quarter of a wall from the joint, stopping at about a quarter.

    It stops so if shear at its tip hinders it; a body gives way to both alike, as the crack turns,
    and the load at which it runs through then lies between its start and that of the peak.
    """
    wall, planes = joint
    forces = [plane.mismatch_forces(np.array([-1e-3, 0.0])) for plane in planes]
    paths = crack_paths(planes, forces, [JOINT, CERAMIC, CERAMIC], wall.edges[1:-1])
    rings = [one for one in paths if one.kind == "ring"]
    first = min(rings, key=lambda one: float(one.limit.start))
    peak = min((o for o in rings if o.height > H), key=lambda one: float(one.limit.through))
    hindered = planes[1].growth(forces[1], first.face)
    stops = hindered.limit(strength=40e6, toughness=15.0, sensitivity=0.3)

    assert first.height == pytest.approx(0.15 * H)
    assert first.limit.start_length < 0.1 * H
    assert 0.15 * H < stops.arrest_length < 0.4 * H
    assert 1.2 < peak.limit.through / first.limit.start < 1.7
    assert first.limit.start <= first.limit.through < peak.limit.through
    assert peak.limit.runs


def test_a_joint_pressed_shut_does_not_open(joint):
    """Pressure and no shear: no use of strength, no energy, from either face."""
    _, planes = joint
    place = np.array([-1.0, 1.0])
    forces = planes[0].forces(place, np.full(2, -50e6), np.zeros(2))
    for face in ("inner", "outer"):
        found = planes[0].growth(forces, face)
        limit = found.limit(strength=1e6, toughness=0.1, shear_strength=1e6)
        assert np.isinf(limit.start)


def test_contact_frees_less_than_faces_that_cross(joint):
    """Tension at the face and pressure beyond: the pressed part stays shut."""
    _, planes = joint
    place = np.linspace(-1.0, 1.0, 41)
    stress = np.where(place < -0.6, 20e6, -60e6)
    plane = planes[2]
    forces = plane.forces(place, stress, 0.0 * place)
    found = plane.growth(forces, "inner")
    crossing = 0.5 * np.cumsum(
        np.linalg.solve(plane._factors["inner"][0], forces[: 2 * plane.radius.size - 2]) ** 2
    )

    assert np.all(found.energy >= 0.0)
    assert found.energy[-1] < 0.9 * crossing[-1]
    deep = found.length > 0.3 * H
    assert np.ptp(found.energy[deep]) < 0.05 * found.energy[-1]


@pytest.mark.parametrize("size", [8, 20, 48])
def test_faces_that_touch_are_those_that_positive_unknowns_find(joint, size: int):
    """Closed or open node by node; least squares in positive unknowns by scipy, as a check."""
    _, planes = joint
    L = planes[2]._factors["inner"][0][:size, :size]
    rng = np.random.default_rng(size)
    for _ in range(20):
        force = rng.normal(size=size)
        opening, freed = _pressed(L @ L.T, force, L)
        known = _by_positive(L.T, np.linalg.solve(L, force))
        assert opening.ravel() == pytest.approx(known, rel=1e-9, abs=1e-9 * np.abs(known).max())
        assert freed == pytest.approx(0.5 * np.sum((L.T @ known) ** 2), rel=1e-9)


def test_load_states_in_a_batch_are_as_alone(joint):
    _, planes = joint
    states = np.array([[-1e-3, 0.0], [0.0, -1e-3], [-2e-3, 0.0]])
    batch = planes[1].growth(planes[1].mismatch_forces(states), "outer")
    for number, one in enumerate(states):
        alone = planes[1].growth(planes[1].mismatch_forces(one), "outer")
        np.testing.assert_allclose(batch.energy[number], alone.energy, rtol=1e-9)
        np.testing.assert_allclose(batch.phase[number], alone.phase, atol=1e-9)
    np.testing.assert_allclose(batch.energy[2], 4.0 * batch.energy[0])


def test_limits_without_contact_where_none_is_near_are_as_with_it(joint):
    wall, planes = joint
    states = np.array([[-1e-3, 0.0], [0.0, -1e-3], [0.0, 0.0]])
    forces = [plane.mismatch_forces(states) for plane in planes]
    bonds = [JOINT, CERAMIC, CERAMIC]
    quick = crack_paths(planes, forces, bonds, wall.edges[1:-1], beyond=0.0)
    for one, safe in zip(crack_paths(planes, forces, bonds, wall.edges[1:-1]), quick, strict=True):
        assert np.all(np.isinf(one.limit.start) == np.isinf(safe.limit.start))
        assert np.all(safe.limit.start <= one.limit.start * (1 + 1e-9))


def test_turning_the_wall_over_changes_nothing():
    up = tube(R, H, [-REACH, 0.0, REACH], [3 * E, E], [METAL_NU, NU])
    down = tube(R, H, [-REACH, 0.0, REACH], [E, 3 * E], [NU, METAL_NU])
    one = crack_planes(up, np.array([0.0]), finest=1e-2)[0]
    other = crack_planes(down, np.array([0.0]), finest=1e-2)[0]
    found = one.growth(one.mismatch_forces(np.array([-1e-3, 0.0])), "outer")
    turned = other.growth(other.mismatch_forces(np.array([0.0, -1e-3])), "outer")

    np.testing.assert_allclose(found.energy, turned.energy, rtol=1e-6)
    np.testing.assert_allclose(found.phase, turned.phase, atol=1e-4)


def test_the_strip_with_the_tubes_restraint_is_the_solid_at_the_crest(joint):
    """Ring crack at the peak of bending: energy and load by the closed form."""
    _, planes = joint
    plane = planes[2]
    forces = plane.mismatch_forces(np.array([0.0, -1e-3]))
    found = plane.growth(forces, "inner")
    normal, _ = plane.stress(forces)
    a, x = fracture.crack_lengths(H), plane.radius - plane.radius[0]
    strip = fracture.ring_crack_energy(a, x, normal, wall=H, radius=R, young=E, poisson=NU)
    deep = a > 0.03 * H
    solid = np.interp(np.log(a[deep]), np.log(found.length[1:]), np.log(found.energy[1:]))
    solid = np.exp(solid) / plane.radius[0]
    use = np.interp(a, x, normal) / 40e6
    limit = fracture.coupled_criterion(a, np.maximum(use, 0.0), strip, 15.0 * a)

    np.testing.assert_allclose(strip[deep], solid, rtol=0.035)
    assert limit.start == pytest.approx(
        float(found.limit(strength=40e6, toughness=15.0).start), rel=0.02
    )


@pytest.mark.long
def test_an_axial_crack_from_a_joint_is_that_of_a_solid_in_three_dimensions():
    h, radius = 2e-3, 0.02
    reach = 3.0 * np.sqrt(radius * h)
    length = 0.6 * np.sqrt(radius * h)
    bands = [(reach, E, METAL_NU, 0.0), (2 * reach, E, NU, -1e-3)]
    freed, level, hoop = axial_energy(radius, h, bands, (reach, reach + length))
    y = fracture.crack_lengths(length / fracture.THROUGH)
    above = level > reach
    there = np.interp(reach + y, level[above], hoop[above])
    found = fracture.axial_crack_energy(y, there, wall=h, radius=radius, young=E, beyond=E)

    assert found[-1] == pytest.approx(freed, rel=0.08)


def test_where_a_joint_is_looked_through():
    wall = tube(R, H, [-REACH, 0.0, REACH], [E, E], [METAL_NU, NU])
    heights = ring_heights(wall, 0.0, (False, True))

    assert heights[0] == 0.0
    assert heights[1] == pytest.approx(0.1 * H)
    assert heights[-1] == pytest.approx(1.25 * wall.decay(1e-9))


def test_a_plane_outside_the_wall_is_refused():
    wall = tube(R, H, [-REACH, 0.0, REACH], [E, E], [METAL_NU, NU])
    with pytest.raises(InputError, match="crack planes"):
        crack_planes(wall, np.array([2 * REACH]))
    with pytest.raises(InputError, match="band edges"):
        tube(R, H, [0.0, 0.0, 1.0], [E, E], [NU, NU])


def test_two_planes_are_at_least_a_hundredth_of_the_wall_apart():
    wall = tube(R, H, [-REACH, 0.0, REACH], [E, E], [METAL_NU, NU])
    near, far = (crack_planes_of(wall, apart) for apart in (0.009 * H, 0.012 * H))
    with pytest.raises(InputError, match="a hundredth wall apart"):
        near()
    assert len(far()) == 2


def crack_planes_of(wall, apart):
    """Two planes above the joint, condensed when called."""
    return lambda: crack_planes(wall, H + np.array([0.0, apart]), finest=1e-2)


def test_a_held_foot_stiffens_a_plane_near_it():
    ends = np.array([0.0, 4 * H])
    plane = []
    for held in (False, True):
        wall = Wall(ends, np.full(2, R), np.full(2, H), ends, np.array([E]), np.array([NU]), held)
        plane.append(crack_planes(wall, np.array([H]), finest=1e-2)[0])
    place = np.array([-1.0, 1.0])
    freed = [
        one.growth(one.forces(place, np.array([1e6, -1e6]), np.zeros(2)), "inner").energy[-1]
        for one in plane
    ]

    assert freed[1] < 0.95 * freed[0]


def test_first_crack_comes_sooner_in_thick_walls_and_hardly_knows_the_radius():
    """Expected for 40 MPa and 15 J/m²: a third at 16 mm of what a wall of 0.5 mm bears."""
    found = {}
    for thickness, radius in ((0.5e-3, 0.05), (16e-3, 0.05), (16e-3, 0.02)):
        reach = 5 * np.sqrt(radius * thickness)
        wall = tube(radius, thickness, [-reach, 0.0, reach], [E, E], [METAL_NU, NU])
        peak = 0.785 * wall.decay(1e-9)
        planes = crack_planes(wall, np.array([0.1 * thickness, 0.15 * thickness, peak]))
        starts = [
            float(
                plane.growth(plane.mismatch_forces(np.array([-1e-3, 0.0])), face)
                .limit(strength=40e6, toughness=15.0, sensitivity=1.0)
                .start
            )
            for plane in planes
            for face in ("inner", "outer")
        ]
        found[thickness, radius] = min(starts)

    assert found[0.5e-3, 0.05] / found[16e-3, 0.05] == pytest.approx(3.1, rel=0.15)
    assert found[16e-3, 0.02] == pytest.approx(found[16e-3, 0.05], rel=0.05)


@pytest.mark.parametrize("to", [(60e-3, 60e-3), (31e-3, 40e-3)], ids=["a kink", "a shoulder"])
def test_a_corner_of_the_wall_far_away_changes_no_plane_and_none_cross_in_it(to) -> None:
    """Once cuts square to the wall crossed inside a corner, and the check ended in a traceback."""
    corner, thick = 30e-3, 3e-3
    points = np.array([(0.0, 30e-3), (corner, 30e-3), to, (62e-3, to[1])])
    near = corner + thick * np.array([-0.02, 0.02])  # as close as stations of a solid are
    height = np.union1d(np.linspace(0.0, 62e-3, 400), [*points[:, 0], *near])
    radius = np.interp(height, points[:, 0], points[:, 1])
    edges, young, poisson = np.array([0.0, 62e-3]), np.array([60e9]), np.array([0.2])
    bent = Wall(height, radius, np.full(height.size, thick), edges, young, poisson, level=edges[:1])
    straight = tube(30e-3, thick, edges, young, poisson)
    (one,), (other,) = (crack_planes(wall, np.array([8e-3])) for wall in (bent, straight))
    np.testing.assert_allclose(
        one.stiffness, other.stiffness, rtol=0.0, atol=2e-3 * np.abs(other.stiffness).max()
    )
    slant, length = bent.cut(height)
    for face in (-0.5, 0.5):
        assert np.all(np.diff(height - face * length * np.sin(slant)) > 0.0)
