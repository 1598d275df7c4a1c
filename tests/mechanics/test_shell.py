"""The shell of revolution: what must hold for every vessel, and how fast it converges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, march
from cofire.mechanics.joint import JointFields, joint_forces
from cofire.mechanics.meridian import Meridian, mesh_meridian
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell import Shells, _without_line, elastic_response, shells
from cofire.mechanics.shell_firing import fire_shells
from tests.histories import jumps, made_history

YOUNG, POISSON = np.array([80e9, 60e9, 50e9]), np.array([0.34, 0.27, 0.2])
FREE = np.array([2e-3, 0.5e-3, -1e-3])
HOUR = 3600.0


@st.composite
def vessels(draw) -> Meridian:
    """Three bands in a cylinder, cone or belly, open or on a flat or domed base."""
    radius = draw(st.floats(0.03, 0.15))
    wall = radius / draw(st.floats(6.0, 25.0))
    lean = draw(st.floats(-0.3, 0.3))
    belly = draw(st.floats(-0.2, 0.2))
    level = np.linspace(0.0, 1.0, 13)
    r = radius * (1.0 + lean * level + 4.0 * belly * level * (1.0 - level))
    z = 2.0 * radius * level
    base = draw(st.sampled_from(["open", "flat", "domed"]))
    if base == "flat":
        r, z = np.concatenate([[0.0], r]), np.concatenate([[0.0], z])
    if base == "domed":
        turn = np.linspace(0.0, np.pi / 2, 9)[:-1]
        r = np.concatenate([r[0] * np.sin(turn), r])
        z = np.concatenate([-0.4 * r[-1] * np.cos(turn), z])
    first = draw(st.floats(0.3, 0.5))
    steps = np.array([first, first + draw(st.floats(0.05, 0.3))]) * 2.0 * radius
    return mesh_meridian(r, z, wall, steps)


def elastic(body: Shells, free=FREE, young=YOUNG, poisson=POISSON):
    return elastic_response(body, young, poisson, np.asarray(free)[body.material])


def cylinder(fineness: float = 1.0, steps=(0.04, 0.05), bands=(0, 1, 2)) -> Shells:
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, steps, fineness=fineness)
    return shells([mesh], [bands])


@settings(max_examples=15, deadline=None)
@given(vessels())
def test_one_material_that_shrinks_carries_no_stress(mesh):
    body = shells([mesh], [[1, 1, 1]])
    _, stress = elastic(body, [0.0, -0.15, 0.0])
    assert np.abs(stress).max() < 1e-7 * 0.15 * YOUNG[1]


@settings(max_examples=15, deadline=None)
@given(vessels())
def test_a_vessel_that_is_lifted_does_not_strain(mesh):
    body = shells([mesh], [[0, 1, 2]])
    lifted = body.start()
    lifted[..., 1] = 0.01
    assert np.abs(body.strains(lifted)).max() < 1e-12


@settings(max_examples=15, deadline=None)
@given(vessels())
def test_every_cut_of_a_free_vessel_carries_no_axial_force(mesh):
    body = shells([mesh], [[0, 1, 2]])
    _, stress = elastic(body)
    forces = body.forces(stress)[0]
    axial = np.concatenate([forces[:, 1], forces[:, 7]])
    assert np.abs(axial).max() < 1e-8 * np.abs(forces).max()
    joint_axial = joint_forces(body, JointFields.of(body), stress[None])[0, :, 1]
    assert np.abs(joint_axial).max() < 1e-7 * np.abs(stress).max() * mesh.wall.max()


@settings(max_examples=10, deadline=None)
@given(vessels(), st.floats(0.01, 100.0))
def test_stress_does_not_depend_on_size(mesh, size):
    larger = replace(
        mesh, radius=mesh.radius * size, height=mesh.height * size, wall=mesh.wall * size
    )
    one, other = (elastic(shells([m], [[0, 1, 2]]))[1] for m in (mesh, larger))
    assert other == pytest.approx(one, abs=1e-7 * np.abs(one).max())


def test_a_shape_without_its_line_has_neither_force_nor_moment():
    """Whatever the shape, and however unevenly the points are weighed."""
    draw = np.random.default_rng(6)
    shape, line = draw.normal(size=(2, 5, 7))
    weight = draw.uniform(0.2, 2.0, (5, 7))
    left = _without_line(shape, line, weight)
    assert (left * weight).sum(axis=1) == pytest.approx(0.0, abs=1e-12)
    assert (left * line * weight).sum(axis=1) == pytest.approx(0.0, abs=1e-12)
    assert _without_line(2.0 - 3.0 * line, line, weight) == pytest.approx(0.0, abs=1e-12)


def test_a_cylinder_turned_over_carries_the_same_stress():
    up = cylinder()
    down = shells([mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, [0.05, 0.06])], [[2, 1, 0]])
    one, other = (elastic(body)[1] for body in (up, down))
    sign = np.array([1.0, 1.0, -1.0]).reshape(3, 1, 1, 1)
    assert other[..., ::-1] * sign == pytest.approx(one, abs=1e-6 * np.abs(one).max())


def test_a_leaning_wall_turned_over_carries_the_same_stress():
    steps = np.array([0.04, 0.05])
    up = mesh_meridian([0.04, 0.06], [0.0, 0.1], 0.006, steps)
    down = mesh_meridian([0.06, 0.04], [0.0, 0.1], 0.006, 0.1 - steps[::-1])
    one = elastic(shells([up], [[0, 1, 2]]))[1]
    other = elastic(shells([down], [[2, 1, 0]]))[1]
    sign = np.array([1.0, 1.0, -1.0]).reshape(3, 1, 1, 1)
    assert other[..., ::-1] * sign == pytest.approx(one, abs=2e-3 * np.abs(one).max())


def test_a_batch_gives_what_its_vessels_give_alone():
    profiles = [([0.05, 0.05], [0.0, 0.1]), ([0.04, 0.06], [0.0, 0.09])]
    steps = [[0.04, 0.05], [0.03, 0.06]]
    count = max(
        mesh_meridian(r, z, 0.006, s).elements for (r, z), s in zip(profiles, steps, strict=True)
    )
    meshes = [
        mesh_meridian(r, z, 0.006, s, elements=count)
        for (r, z), s in zip(profiles, steps, strict=True)
    ]
    history = jumps(
        [0.0, HOUR],
        FREE,
        young_modulus=YOUNG,
        poisson_ratio=POISSON,
        yield_stress=[30e6, np.inf, np.inf],
        viscosity=[np.inf, np.inf, 1e14],
    )
    control = Control(fixed_step=HOUR / 8)
    bands = [[0, 1, 2], [0, 1, 2]]
    together = fire_shells(meshes, history, bands, control=control)
    for mesh, band, whole in zip(meshes, bands, together, strict=True):
        alone = fire_shells([mesh], history, [band], control=control)[0]
        # Newton's iteration stops for both at once, so the last digits differ
        close = 1e-4 * np.abs(alone.stress).max()
        assert whole.stress == pytest.approx(alone.stress, abs=close)
        assert whole.local == pytest.approx(alone.local, abs=close)
        assert whole.steps.normal == pytest.approx(alone.steps.normal, abs=close)
        assert whole.steps.peak == pytest.approx(alone.steps.peak, abs=2 * close)


def test_halving_the_elements_divides_the_error_by_sixteen():
    """Turning and moment at the joints; nodal values of quadratic elements gain four orders."""
    coarse = cylinder(0.35).meridians[0]
    meshes = [coarse]
    for _ in range(4):
        meshes.append(meshes[-1].split())
    values = []
    for mesh in meshes:
        body = shells([mesh], [[0, 1, 2]])
        move, stress = elastic(body)
        forces = joint_forces(body, JointFields.of(body), stress[None])[0]
        values.append([move[0, mesh.step_node[0], 2], forces[0, 0], forces[0, 2]])
    errors = np.abs(np.array(values[:3]) - values[-1])
    orders = np.log2(errors[:-1] / errors[1:])
    assert (orders > 3.5).all()


@pytest.mark.parametrize("ratio", [10.0, 1000.0, 1e5])
def test_thin_walls_do_not_lock(ratio):
    wall = 1.0 / ratio
    reach = 8.0 / np.sqrt(ratio)
    mesh = mesh_meridian([1.0, 1.0], [-reach, reach], wall, [0.0])
    _, stress = elastic(shells([mesh], [[0, 1]]), [0.5, -0.5], np.ones(2), np.full(2, 0.3))
    known = 0.2927 * (1.0 - 0.2 / ratio)  # see the published cylinders; thick walls bend less
    assert np.abs(stress[0][:, [0, -1]]).max() == pytest.approx(known, rel=0.02)


def flowing_history():
    """A metal that yields and creeps, a blend and a body of glass and crystals, cooling."""
    time = np.linspace(0.0, 8 * HOUR, 81)
    kelvin = np.interp(time, [0.0, HOUR, 8 * HOUR], [1173.0, 1173.0, 293.0])
    expansion = np.array([[17e-6], [12e-6], [6.5e-6]])
    softness = np.exp(45e3 * (1.0 / kelvin - 1.0 / 1173.0))
    creep = np.exp(-24e3 * (1.0 / kelvin - 1.0 / 1173.0))
    factor = np.array([[1e-33], [1e-34], [0.0]]) * creep
    return made_history(
        time,
        expansion * (kelvin - 1173.0),
        young_modulus=YOUNG[:, None] * np.interp(kelvin, [293.0, 1173.0], [1.0, 0.5]),
        poisson_ratio=POISSON,
        viscosity=np.array([[1e30], [3e10], [1e10]]) * softness,
        viscous_poisson_ratio=0.4,
        creep_factor=factor,
        creep_exponent=[4.0, 4.0, 1.0],
        yield_stress=np.array([[1.0], [2.0], [1e4]])
        * np.interp(kelvin, [293.0, 1173.0], [80e6, 15e6]),
        breakpoints=(10,),
    )


def test_default_mesh_and_steps_hold_every_peak_to_one_percent():
    """Against elements and steps four times finer and nine points through the wall."""
    history, steps = flowing_history(), [0.04, 0.05]
    coarse, fine = (
        mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, steps, fineness=f) for f in (1.0, 4.0)
    )
    (found,) = fire_shells([coarse], history, [[0, 1, 2]])
    count = found.time.size - 1
    control = Control(fixed_step=8 * HOUR / (4 * count))
    (known,) = fire_shells([fine], history, [[0, 1, 2]], points=9, control=control)
    assert known.time.size > 3 * count
    largest = float(known.bending_tension.max())
    for name in ("bending_tension", "peak", "hoop"):
        mine, its = (
            (f.bending_tension if name == "bending_tension" else getattr(f.steps, name))[-1]
            for f in (found, known)
        )
        assert mine == pytest.approx(its, rel=0.01, abs=0.005 * largest)
    assert found.mesh_error < 0.01
    assert found.plastic[-1, found.band == 0].any()


def test_a_vessel_that_relaxes_evenly_keeps_the_pattern_of_its_stress():
    """Equal moduli and viscosities: the elastic answer times exp(−E t/η), local field too."""
    time = np.linspace(0.0, HOUR, 13)
    free = np.outer(FREE, np.minimum(time / time[1], 1.0) * (time > 0))
    history = made_history(
        time,
        free,
        young_modulus=60e9,
        poisson_ratio=0.25,
        viscosity=np.where(time > time[1], 1e14, np.inf) * np.ones((3, 1)),
        viscous_poisson_ratio=0.25,
        breakpoints=(1,),
    )
    mesh = cylinder().meridians[0]
    (vessel,) = fire_shells([mesh], history, [[0, 1, 2]], control=Control(1e-5, 1.0))
    start = int(np.searchsorted(vessel.time, time[1]))
    assert vessel.time[start] == time[1]
    # viscosity falls along a straight line in its logarithm within one interval, then holds
    left = np.searchsorted(vessel.time, time[2])
    fade = np.exp(-60e9 / 1e14 * (vessel.time[-1] - vessel.time[left]))
    for field in (vessel.stress, vessel.local, vessel.steps.normal, vessel.steps.peak):
        assert field[-1] == pytest.approx(fade * field[left], abs=1e-3 * np.abs(field[left]).max())


def test_yield_caps_the_metal_and_eases_the_joint_but_hardly_the_bending():
    history = flowing_history()
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, [0.05])
    elastic_only = Mechanisms(viscous=False, creep=False, plastic=False)
    plastic_only = Mechanisms(viscous=False, creep=False)
    bare, capped = (
        fire_shells([mesh], history, [[0, 2]], mechanisms=m)[0]
        for m in (elastic_only, plastic_only)
    )
    s = capped.stress[-1][capped.band == 0]
    shear = capped.shear[-1][capped.band == 0]
    mises = np.sqrt(s[..., 0] ** 2 - s[..., 0] * s[..., 1] + s[..., 1] ** 2 + 3 * shear**2)
    assert mises.max() < 80e6 * 1.001
    at_joint = capped.steps.hoop[-1, 0, 1] / bare.steps.hoop[-1, 0, 1]
    in_bending = capped.bending_tension[-1, 1] / bare.bending_tension[-1, 1]
    assert at_joint < 0.9
    assert 0.95 < in_bending < 1.05


def test_a_watched_march_gives_the_local_field_without_a_record():
    history = flowing_history()
    mesh = cylinder().meridians[0]
    (vessel,) = fire_shells([mesh], history, [[0, 1, 2]])
    body = shells([mesh], [[0, 1, 2]])
    fields = JointFields.of(body)
    seen = []

    def watch(instant):
        young = [[np.interp(instant.time, history.time, e) for e in history.young_modulus]]
        seen.append(fields.at(instant.stress[None], np.array(young), POISSON).local[0, :, 0])

    march(body, history, watch=watch, keep=False)
    known = vessel.local[-1].transpose(2, 1, 0)
    assert len(seen) == vessel.time.size
    assert seen[-1] == pytest.approx(known, abs=1e-9 * np.abs(known).max())


def test_own_weight_is_borne_by_every_cut():
    density = np.array([5000.0, 3000.0, 2000.0])
    mesh = mesh_meridian([0.04, 0.06], [0.0, 0.1], 0.006, [0.04, 0.05])
    body = shells([mesh], [[0, 1, 2]], weight_density=[density])
    _, stress = elastic(body, np.zeros(3))
    axial = joint_forces(body, JointFields.of(body), stress[None])[0, :, 1]
    ring = 2.0 * np.pi * mesh.radius[mesh.step_node]
    volume = body.geometry.weight[0].sum(axis=0)
    band = np.repeat(mesh.band, 2)
    above = [sum(density[b] * volume[band == b].sum() for b in range(k, 3)) for k in (1, 2)]
    assert axial * ring == pytest.approx(-9.80665 * np.array(above), rel=0.01)


def test_sag_follows_the_elastic_analogy():
    """Steady flow of an incompressible body moves as an elastic one of modulus η/t would."""
    viscosity, time = 1e9, np.linspace(0.0, HOUR, 7)
    history = made_history(
        time,
        np.zeros((1, 7)),
        young_modulus=5e10,
        poisson_ratio=0.49,
        viscosity=viscosity,
        viscous_poisson_ratio=0.49,
    )
    angle = np.linspace(0.15, 0.45, 12) * np.pi
    mesh = mesh_meridian(0.08 * np.sin(angle), 0.08 * np.cos(angle), 0.006)
    body = shells([mesh], [[0]], weight_density=[[2000.0]])
    record = march(body, history)
    move, _ = elastic_response(body, [1.0 / (1.0 / 5e10 + HOUR / viscosity)], [0.49], np.zeros(1))
    assert record.unknowns[-1] == pytest.approx(move, abs=1e-3 * np.abs(move).max())


def test_a_gradient_through_the_wall_can_be_added_in_time():
    body_history = made_history([0.0, HOUR], np.zeros((1, 2)), young_modulus=60e9)
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006)
    through = shells([mesh], [[0]]).geometry.through[:, None]
    shape = np.array([1.0, 1.0, 0.0]).reshape(3, 1, 1, 1)

    def added(time: float):
        return 1e-4 * shape * through * time / HOUR

    (vessel,) = fire_shells([mesh], body_history, [[0]], added_strain=added)
    middle = np.argmin(np.abs(vessel.height - 0.05))
    assert vessel.stress[-1, middle, -1] == pytest.approx(-60e9 * 1e-4 / 0.7, rel=0.05)


def test_stations_near_joints_corners_and_in_thick_rings_are_not_trusted():
    history = jumps([0.0, HOUR], FREE[:2], young_modulus=YOUNG[:2], poisson_ratio=POISSON[:2])
    mesh = mesh_meridian([0.0, 0.05, 0.05], [0.0, 0.0, 0.1], 0.006, [0.05])
    (vessel,) = fire_shells([mesh], history, [[0, 1]])
    away = np.abs(vessel.height - 0.05) > 0.0061
    corner = np.hypot(vessel.radius - 0.05, vessel.height) > 0.0061
    assert (vessel.trusted == (away & corner)).all()
    thick = mesh_meridian([0.02, 0.02], [0.0, 0.1], 0.006, [0.05])
    assert not fire_shells([thick], history, [[0, 1]])[0].trusted.any()


def test_a_mesh_ends_elements_at_steps_and_corners_and_is_finest_at_steps():
    mesh = mesh_meridian([0.0, 0.05, 0.05], [0.0, 0.0, 0.1], 0.006, [0.03, 0.07])
    assert mesh.height[mesh.step_node] == pytest.approx([0.03, 0.07])
    assert mesh.radius[mesh.corner_node] == pytest.approx([0.05])
    assert mesh.on_axis
    assert mesh.support_node == mesh.corner_node[0]
    assert mesh.lying.sum() == mesh.corner_node[0] // 2
    length = np.diff(mesh.arc_length[::2])
    beside = np.concatenate([mesh.step_node // 2, mesh.step_node // 2 - 1])
    assert length[beside] == pytest.approx(length.min(), rel=0.15)
    assert length.min() < np.sqrt(0.05 * 0.006) / 8


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0.05], [0.0], 0.006), "two or more points"),
        (([0.05, 0.05], [0.0, 0.1], -0.006), "wall is -6 mm; allowed: above 0"),
        (([0.05, -0.05], [0.0, 0.1], 0.006), "radius is -50 mm"),
        (([0.05, 0.05], [0.0, 0.1], 0.006, [0.2]), "allowed: between 0 and 100 mm"),
        (([0.05, 0.05], [0.0, 0.1], 0.006, [0.06, 0.04]), "must rise"),
        (([0.05, 0.05], [0.0, np.nan], 0.006), "not finite"),
        (([0.05, 0.05], [0.1, 0.1], 0.006), "the same"),
        (([0.03, 0.05, 0.05, 0.06], [0.05, 0.05, 0.0, 0.1], 0.006, [0.05]), "level part"),
        (([0.02, 0.06], [0.0, 0.02], 0.006, [0.01]), "leans 63.4°; allowed: up to 45°"),
    ],
)
def test_a_meridian_that_cannot_be_cut_is_refused_with_its_value(arguments, words):
    with pytest.raises(InputError, match=words):
        mesh_meridian(*arguments)


def test_a_joint_in_a_wall_that_leans_by_45_degrees_is_cut_however_the_sum_is_rounded():
    z = np.linspace(0.0, 0.03, 9)
    assert mesh_meridian(0.02 + z, z, 0.003, [0.012]).step_node.size == 1
    with pytest.raises(InputError, match=r"leans 45\.1°; allowed: up to 45°"):
        mesh_meridian(0.02 + 1.003 * z, z, 0.003, [0.012])


def test_vessels_that_do_not_fit_each_other_are_refused():
    one, other = cylinder().meridians[0], cylinder(2.0).meridians[0]
    with pytest.raises(InputError, match="one number of elements"):
        shells([one, other], [[0, 1, 2], [0, 1, 2]])
    with pytest.raises(InputError, match="2 values of material; the vessel has 3 bands"):
        shells([one], [[0, 1]])
    with pytest.raises(InputError, match="allowed: 3 to 9"):
        shells([one], [[0, 1, 2]], points=2)


def test_a_band_lower_than_an_element_has_one():
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, [0.05, 0.0505])
    low, high = mesh.step_node
    assert high - low == 2  # its two ends and the node between


def test_elements_asked_for_are_spread_as_those_needed():
    plain = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, [0.02])
    more = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.006, [0.02], elements=5 * plain.elements)
    assert more.elements == 5 * plain.elements
    below, above = plain.step_node[0] // 2, plain.elements - plain.step_node[0] // 2
    assert more.step_node[0] // 2 / below == pytest.approx(5.0, abs=0.7)
    assert (more.elements - more.step_node[0] // 2) / above == pytest.approx(5.0, abs=0.7)
