"""Shells of revolution against closed forms for thin cylinders, plates and domes.

S. P. Timoshenko and S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., 1959, chapters 3,
14 and 15 (from memory): a cylinder of radius a and wall h bends as a beam on an elastic foundation,
with 1/β = √(ah)/[3(1−ν²)]^¼ and D = Eh³/12(1−ν²). Joints are made of its edge-load solution,

    w = (βM + Q)/(2β³D),   w′ = −(2βM + Q)/(2β²D),   outward, moments and forces per length,

solved for continuity in each test. The cylinders here have a/h = 2000, where the terms a shell with
shear and a thick wall adds are below 0.1 %; tolerances are 0.3 % unless they say otherwise.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.mechanics.joint import BESIDE, PLACES, JointFields, joint_forces
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell import STATION_SHAPE, Shells, elastic_response, shells
from cofire.mechanics.shell_firing import mesh_errors
from tests.solid_reference import Solid, solve_solid

RADIUS, WALL = 1.0, 5e-4


def beta(poisson: float) -> float:
    return (3.0 * (1.0 - poisson**2)) ** 0.25 / np.sqrt(RADIUS * WALL)


def rigidity(young: float, poisson: float) -> float:
    return young * WALL**3 / (12.0 * (1.0 - poisson**2))


def cylinder(steps: list[float], length: float, fineness: float = 2.0) -> Shells:
    """A cylinder from -length to length, in units of 1/β at ν = 0.3, one material a band."""
    unit = 1.0 / beta(0.3)
    ends = [-length * unit, length * unit]
    mesh = mesh_meridian([RADIUS] * 2, ends, WALL, np.array(steps) * unit, fineness=fineness)
    return shells([mesh], [np.arange(len(steps) + 1)])


def solved(body: Shells, young, poisson, free_strain):
    """Meridional stress at the outer face, mean hoop stress, and distance in 1/β."""
    free = np.asarray(free_strain, dtype=float)[body.material]
    stress = elastic_response(body, young, poisson, free)[1]
    hoop = body.geometry.through_weight @ stress[1, 0]
    return stress[:, 0], hoop, body.geometry.height[0] * beta(0.3)


def two_cylinders(ratio: float, poisson: float) -> tuple[float, float]:
    """M and Q at the joint of cylinders of moduli `ratio` (below) and 1, free strain ±1/2."""
    b, d1, d2 = beta(poisson), rigidity(ratio, poisson), rigidity(1.0, poisson)
    # Q acts outwards on the upper edge of the lower cylinder; distance runs away from the joint
    displace = [(1 / d1 - 1 / d2) * b / (2 * b**3), (1 / d1 + 1 / d2) / (2 * b**3)]
    rotate = [(1 / d1 + 1 / d2) * 2 * b / (2 * b**2), (1 / d1 - 1 / d2) / (2 * b**2)]
    moment, force = np.linalg.solve([displace, rotate], [-RADIUS, 0.0])
    return float(moment), float(force)


@pytest.mark.parametrize("poisson", [0.2, 0.3])
def test_two_like_cylinders_share_the_mismatch_and_bend_at_a_quarter_wave(poisson):
    body = cylinder([0.0], 6.0)
    stress, _, place = solved(body, [1.0, 1.0], [poisson] * 2, [0.5, -0.5])
    top = stress[0].max(axis=0)
    peak = np.sqrt(0.75 / (1 - poisson**2)) * np.exp(-np.pi / 4) * np.sin(np.pi / 4)
    assert top.max() == pytest.approx(peak, rel=3e-3)
    turn = beta(poisson) / beta(0.3)
    assert abs(place[top.argmax()]) * turn == pytest.approx(np.pi / 4, abs=0.05)
    fields = JointFields.of(body)
    state = fields.at(stress[None, :, None], np.ones((1, 2)), np.full(2, poisson))
    assert state.hoop[0, 0] == pytest.approx([-0.5, 0.5], rel=3e-3)
    radial, axial, moment = joint_forces(body, fields, stress[None, :, None])[0, 0]
    shear = beta(poisson) ** 3 * rigidity(1.0, poisson) * RADIUS
    assert radial == pytest.approx(-shear, rel=3e-3)
    assert axial == pytest.approx(0.0, abs=1e-9 * shear)
    assert moment == pytest.approx(0.0, abs=2e-3 * peak * WALL**2 / 6)
    # energy per area of joint when the rings part: half the force times the gap it closes
    energy = 0.5 * abs(radial) * RADIUS / WALL
    known = np.sqrt(RADIUS * WALL) * (3 * (1 - poisson**2)) ** 0.75 / (24 * (1 - poisson**2))
    assert energy == pytest.approx(known, rel=3e-3)


@pytest.mark.parametrize("ratio", [1.5, 2.0, 5.0, 10.0])
def test_two_cylinders_of_unlike_stiffness_follow_the_continuity_equations(ratio):
    poisson = 0.3
    body = cylinder([0.0], 6.0)
    stress, _, place = solved(body, [ratio, 1.0], [poisson] * 2, [0.5, -0.5])
    moment, force = two_cylinders(ratio, poisson)
    fields = JointFields.of(body)
    state = fields.at(stress[None, :, None], np.array([[ratio, 1.0]]), np.full(2, poisson))
    b, d1 = beta(poisson), rigidity(ratio, poisson)
    at_joint = 0.5 + (b * moment + force) / (2 * b**3 * d1 * RADIUS)
    known = [ratio * (at_joint - 0.5), at_joint + 0.5]
    assert state.hoop[0, 0] == pytest.approx(known, rel=3e-3)
    radial, _, bending = joint_forces(body, fields, stress[None, :, None])[0, 0]
    assert radial == pytest.approx(force, rel=3e-3)
    assert bending == pytest.approx(-moment, rel=5e-3)  # positive with the outer face in tension
    x = np.linspace(0.0, 5.0, 5001)
    for side, sign in ((place < 0, 1.0), (place > 0, -1.0)):
        wave = moment * (np.cos(x) + np.sin(x)) + sign * force / b * np.sin(x)
        largest = 6.0 * np.abs(wave * np.exp(-x)).max() / WALL**2
        found = np.abs(stress[0][:, side][[0, -1]]).max()
        assert found == pytest.approx(largest, rel=5e-3)


def test_edge_loads_move_and_turn_the_edge_of_a_long_cylinder():
    poisson = 0.3
    body = cylinder([], 6.0)
    b, d = beta(poisson), rigidity(1.0, poisson)
    load = body.load.copy()
    force, moment = 2e-9, 3e-12
    load[0, -1] = np.array([force, 0.0, moment]) * 2 * np.pi * RADIUS
    move, _ = elastic_response(replace(body, load=load), [1.0], [poisson], np.zeros(1))
    # the moment that opens the top edge outwards turns the director downwards along the wall
    assert move[0, -1, 0] == pytest.approx((force - b * moment) / (2 * b**3 * d), rel=3e-3)
    turned = (2 * b * moment - force) / (2 * b**2 * d)
    assert move[0, -1, 2] == pytest.approx(turned, rel=3e-3)


def test_a_clamped_end_of_a_heated_cylinder_carries_1_82_of_the_held_stress():
    poisson = 0.3
    body = cylinder([], 6.0, fineness=4.0)
    held = body.held.copy()
    held[0, 0] = True
    held[0, body.meridians[0].support_node, 1] = True
    fixed = Shells(body.meridians, body.material, body.load, held)
    _, stress = elastic_response(fixed, [1.0], [poisson], np.ones(1))
    ends = stress[0, 0, 0, :2]  # inner face, the two stations next to the clamp
    place = body.geometry.arc_length[0, :2]
    at_clamp = ends[0] - place[0] * (ends[1] - ends[0]) / (place[1] - place[0])
    assert abs(at_clamp) == pytest.approx(np.sqrt(3.0 / (1 - poisson**2)), rel=0.01)


@pytest.mark.parametrize("poisson", [0.2, 0.3])
def test_a_hot_inside_stresses_a_free_end_more_than_the_middle(poisson):
    """Chapter 15, thermal stress with a gradient through the wall: 25 % more at ν = 0.3."""
    body = cylinder([], 10.0, fineness=4.0)
    through = -0.5 * body.geometry.through[:, None] * np.ones(body.material.shape[2])
    _, stress = elastic_response(body, [1.0], [poisson], through[None])
    middle = np.argmin(np.abs(body.geometry.height[0]))
    assert stress[:2, 0, -1, middle] == pytest.approx(0.5 / (1 - poisson), rel=3e-3)
    factor = (1 - poisson + np.sqrt((1 - poisson**2) / 3.0)) / (2 * (1 - poisson))
    hoop = stress[1, 0, -1]
    place = body.geometry.arc_length[0]
    edge = hoop[0] - place[0] * (hoop[1] - hoop[0]) / (place[1] - place[0])
    assert edge == pytest.approx(factor, rel=0.01)


def superposed(steps: np.ndarray, heights: np.ndarray, place: np.ndarray) -> tuple[float, float]:
    """Largest hoop stress and bending of like cylinders with several steps, by adding them."""
    x = place[:, None] - steps
    wave = np.exp(-np.abs(x))
    hoop = np.sign(x) * 0.5 * wave * np.cos(x)
    bending = 3.0 / (2.0 * np.sqrt(3 * (1 - 0.09))) * wave * np.sin(x)
    return float(np.abs(hoop @ heights).max()), float(np.abs(bending @ heights).max())


@pytest.mark.parametrize(("length", "rings"), [(0.5, 1), (4.0, 1), (4.0, 3), (8.0, 3), (8.0, 7)])
def test_rings_between_two_cylinders_add_up(length, rings):
    steps = np.linspace(-length / 2, length / 2, rings + 1)
    body = cylinder(list(steps), 10.0)
    share = np.linspace(0.5, -0.5, rings + 2)
    poisson = np.full(rings + 2, 0.3)
    stress, _, _ = solved(body, np.ones(rings + 2), poisson, share)
    state = JointFields.of(body).at(stress[None, :, None], np.ones((1, rings + 2)), poisson)
    fine = np.unique(np.concatenate([np.linspace(-6, 6, 24001), steps - 1e-9, steps + 1e-9]))
    hoop, bending = superposed(steps, np.full(rings + 1, 1.0 / (rings + 1)), fine)
    assert np.abs(state.hoop).max() == pytest.approx(hoop, rel=3e-3)
    assert np.abs(stress[0][[0, -1]]).max() == pytest.approx(bending, rel=5e-3)


@pytest.mark.parametrize("length", [1.0, 4.0, 8.0])
def test_an_even_grade_lowers_hoop_stress_as_its_length_in_units_of_the_shell(length):
    """Hoop stress in a linear grade: [F(x + L/2) − F(L/2 − x)]/L, F = [1 + e⁻ᵗ(sin t − cos t)]/4.

    F integrates the answer to one step; at the end of the grade it is the peak, F(L)/L. In the
    middle of each ring a staircase of rings has the free strain of the grade.
    """
    rings = 47
    steps = np.linspace(-length / 2, length / 2, rings + 1)
    body = cylinder(list(steps), 10.0, fineness=1.0)
    heights = np.concatenate([[0.5], np.ones(rings - 1), [0.5]]) / rings
    share = 0.5 - np.concatenate([[0.0], np.cumsum(heights)])
    _, hoop, place = solved(body, np.ones(rings + 2), np.full(rings + 2, 0.3), share)

    def integral(t):
        return 0.25 * (1.0 + np.exp(-t) * (np.sin(t) - np.cos(t)))

    band = np.repeat(body.meridians[0].band, 2)
    middle = 0.5 * (steps[1:] + steps[:-1])
    found = [np.interp(x, place[band == k], hoop[band == k]) for k, x in enumerate(middle, 1)]
    known = (integral(middle + length / 2) - integral(length / 2 - middle)) / length
    # the staircase is the trapezium rule: wrong by (L/rings)²/(24 L), 0.5 % of the peak at L = 8
    assert found == pytest.approx(known, abs=0.008 * integral(length) / length)


@pytest.mark.parametrize(
    ("length", "hoop", "bending"),
    [
        (0.25, 0.438, 0.2912),
        (0.5, 0.379, 0.2867),
        (1.0, 0.2777, 0.2697),
        (2.0, 0.1474, 0.2149),
        (4.0, 0.0624, 0.1164),
        (8.0, 0.0313, 0.0567),
        (12.0, 0.0208, 0.0378),
    ],
)
def test_an_even_grade_eases_bending_only_where_it_is_longer_than_a_decay_length(
    length, hoop, bending
):
    """Hoop stress at the end of the grade and largest bending over EΔε, worked out apart: 1 %.

    The rings are a staircase under the grade; what they leave is below 0.7 % at the tallest.
    """
    rings = 63
    steps = np.linspace(-length / 2, length / 2, rings + 1)
    body = cylinder(list(steps), 0.5 * length + 6.0, fineness=1.0)
    heights = np.concatenate([[0.5], np.ones(rings - 1), [0.5]]) / rings
    share = 0.5 - np.concatenate([[0.0], np.cumsum(heights)])
    young, poisson = np.ones(rings + 2), np.full(rings + 2, 0.3)
    stress, _, _ = solved(body, young, poisson, share)
    state = JointFields.of(body).at(stress[None, :, None], young[None], poisson)
    assert abs(state.hoop[0, 0, 0]) == pytest.approx(hoop, rel=0.01)
    assert np.abs(stress[0][[0, -1]]).max() == pytest.approx(bending, rel=0.01)


def two_thick_cylinders(ratio: float, poisson: float) -> Solid:
    """Two like rings of a wall of 1 and a radius of `ratio`, solved as a solid."""
    place = 3.75 * np.sqrt(ratio) * np.linspace(-1.0, 1.0, 301)
    like = np.ones(2), np.full(2, poisson)
    return solve_solid(ratio + 0.0 * place, place, 1.0, np.zeros(1), *like, np.array([0.5, -0.5]))


HELD_BY_THE_NEIGHBOUR = {
    0.3: [(0.02, 0.669), (0.05, 0.621), (0.1, 0.565), (0.25, 0.466), (0.49, 0.385), (0.97, 0.286),
          (1.48, 0.198), (2.0, 0.124)],
    0.2: [(0.02, 0.597), (0.05, 0.566), (0.1, 0.528), (0.25, 0.456), (0.51, 0.381)],
}  # fmt: skip


@pytest.mark.parametrize("poisson", HELD_BY_THE_NEIGHBOUR)
def test_beside_the_joint_hoop_stress_is_held_by_the_neighbour_as_in_another_solid(poisson):
    """Wall mean over EΔε, ν and distances in walls as listed, radius of 8.3 walls: 2 %.

    The list is of another solid, of eight-node elements (derived). At the joint it tends to
    1/[2(1−ν)], the shell alone to 1/2; the local field is read from 0.05 to 1 wall.
    """
    away, known = np.array(HELD_BY_THE_NEIGHBOUR[poisson]).T
    solid = two_thick_cylinders(8.3, poisson)
    mean = np.trapezoid(solid.stress[..., 2], solid.position, axis=1) / 2
    assert np.interp(away, solid.height, mean) == pytest.approx(known, rel=0.02)
    body = shells([mesh_meridian([8.3] * 2, [-11.0, 11.0], 1.0, [0.0])], [[0, 1]])
    like = np.ones(2), np.full(2, poisson)
    stress = elastic_response(body, *like, np.array([0.5, -0.5])[body.material])[1]
    state = JointFields.of(body).at(stress[None], like[0][None], like[1])
    above = np.trapezoid(state.beside[0, 1, :, 0, 1], PLACES, axis=0) / 2
    # at 0.1 the window at the joint gives way to those that slide, which round-off decides
    window = np.flatnonzero((BESIDE > 0.0) & (BESIDE != 0.1))
    read = (away >= 0.05) & (away <= 1.0)
    found = np.interp(away[read], BESIDE[window], above[window])
    assert found == pytest.approx(known[read], rel=0.02)


@pytest.mark.parametrize(
    ("ratio", "known"), [(3.33, 0.2756), (8.33, 0.2849), (16.7, 0.2887), (50.0, 0.2915)]
)
def test_thick_rings_bend_less_than_thin_ones(ratio, known):
    """Largest bending part of the axial stress over EΔε, ν = 0.3, in two solids: 1 %.

    Ours is what the shell is checked against; the figures are of another, of eight-node elements
    (derived).
    """
    solid = two_thick_cylinders(ratio, 0.3)
    bent = 1.5 * np.trapezoid(solid.stress[..., 1] * solid.position, solid.position, axis=1)
    assert np.abs(bent[np.abs(solid.height) > 0.3]).max() == pytest.approx(known, rel=0.01)


def test_a_plate_held_at_its_rim_sags_as_the_closed_form():
    """Chapter 3: w = (5 + ν) q a⁴ / 64 (1 + ν) D for a simply supported plate, plus shear."""
    poisson, side, wall, pressure = 0.25, 1.0, 0.01, 1e-7
    mesh = mesh_meridian([0.0, side], [0.0, 0.0], wall)
    body = shells([mesh], [[0]])
    area = body.geometry.weight.sum(axis=1).reshape(1, -1, 2) / wall
    parts = np.zeros((1, mesh.elements, 9))
    parts[:, :, 1::3] = -pressure * area @ STATION_SHAPE
    move, _ = elastic_response(
        replace(body, load=body.gathered(parts)), [1.0], [poisson], np.zeros(1)
    )
    d = wall**3 / (12 * (1 - poisson**2))
    bent = (5 + poisson) * pressure * side**4 / (64 * (1 + poisson) * d)
    sheared = pressure * side**2 / (4 * 5 / 6 * wall / (2 * (1 + poisson)))
    assert move[0, 0, 1] == pytest.approx(-(bent + sheared), rel=1e-4)


def test_a_dome_carries_its_weight_as_a_membrane():
    """Chapter 14: N = −a q/(1 + cosφ) along, a q [1/(1 + cosφ) − cosφ] around, q weight by area."""
    radius, wall, density = 1.0, 2e-3, 2000.0
    angle = np.linspace(0.0, np.radians(80.0), 60)
    mesh = mesh_meridian(radius * np.sin(angle), radius * np.cos(angle), wall)
    body = shells([mesh], [[0]], weight_density=[[density]])
    _, stress = elastic_response(body, [1e9], [0.2], np.zeros(1))
    along, around = np.einsum("p,cpg->cg", body.geometry.through_weight, stress[:2, 0])
    place = np.arcsin(body.geometry.radius[0] / radius)
    far = (place > np.radians(5.0)) & (place < np.radians(60.0))
    weight = density * 9.80665 * radius
    cosine = np.cos(place)
    assert along[far] == pytest.approx(-weight / (1 + cosine[far]), rel=0.01)
    assert around[far] == pytest.approx(
        weight * (1 / (1 + cosine[far]) - cosine[far]), abs=0.01 * weight
    )


def test_the_mesh_error_is_the_distance_to_the_closed_form():
    body = cylinder([0.0], 6.0, fineness=1.0)
    error = mesh_errors(body, np.ones(2), np.full(2, 0.3), np.array([0.5, -0.5]))
    stress, _, _ = solved(body, [1.0, 1.0], [0.3] * 2, [0.5, -0.5])
    assert error[0] < 5e-3
    assert stress[0].max() == pytest.approx(0.29268, rel=5e-3)
