"""Joints of a solid: metal that yields, walls that change beside them, what parting releases."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from cofire.mechanics.solid import elastic_solid, solid
from cofire.mechanics.solid_firing import SolidFiring, fire_solid
from cofire.mechanics.solid_mesh import mesh_solid
from tests.histories import jumps
from tests.plastic_reference import Faces, yielding_butt

Array = NDArray[np.float64]
RADIUS, WALL, HALF_HEIGHT = 0.05, 0.005, 0.03
YOUNG, POISSON = (2e11, 1e11), (0.34, 0.2)
WINDOWS = ("tenth", "quarter", "half", "one")
SPANS = ((1e-6, 0.1), (1e-6, 0.25), (0.5, 0.5), (1.0, 1.0))


def of_faces(faces: Faces) -> Array:
    """Means on both faces, by side, window, component and face. [Pa]"""
    return np.array(
        [
            [faces.mean(*sorted((sign * WALL * low, sign * WALL * high))) for low, high in SPANS]
            for sign in (-1.0, 1.0)
        ]
    )


def of_solid(fired: SolidFiring) -> Array:
    """The same of ours. [Pa]"""
    windows = np.stack([getattr(fired.steps, n)[-1, :2][:, [0, -1], 0] for n in WINDOWS])
    return np.moveaxis(windows, -1, 0)


@pytest.mark.long
@pytest.mark.parametrize("limit", [33e6, 90e6, 150e6])
def test_where_the_metal_yields_the_ceramic_feels_what_a_fine_solid_says(limit):
    """Half a wall away within 1.5 % of the largest, tension beside the joint within 3.5 and 1.8 %.

    The return of the reference is of first order in its steps, and so extrapolated from two. Its
    own pressure keeps it from the metal beside the joint, and from compression there: it projects
    no volume strain, and stress through its free faces is 7 MPa at 12 across and 1.5 at 20 (0.6 in
    ours), while its metal comes from 33 to 27.6 MPa, ours being 26 at 8 across and 27 at 14.
    """
    coarse, fine = (
        of_faces(
            yielding_butt(
                RADIUS, WALL, YOUNG, POISSON, 3e-3, limit, half_height=HALF_HEIGHT, steps=n
            )
        )
        for n in (5, 10)
    )
    known = 2.0 * fine - coarse
    history = jumps(
        [0.0, 1.0], [3e-3, 0.0], young_modulus=YOUNG, poisson_ratio=POISSON,
        yield_stress=[limit, np.inf],
    )  # fmt: skip
    mesh = mesh_solid([RADIUS] * 2, [-HALF_HEIGHT, HALF_HEIGHT], WALL, [0.0])
    found = of_solid(
        fire_solid(mesh, history, [0, 1], times=np.linspace(0.125, 1.0, 8), check_mesh=False)
    )
    scale = np.abs(known[1]).max()
    assert np.abs(known[0]).max() < 1.3 * limit  # it does yield
    error = np.abs(found - known) / scale
    assert error[:, 2:].max() < 0.015
    pulled = known[1] > 0.3 * scale
    assert pulled[:2].any(axis=(1, 2)).all()
    assert error[1, 0][pulled[0]].max() < 0.035
    assert error[1, 1][pulled[1]].max() < 0.018


def shouldered(distance: float) -> SolidFiring:
    """A butt joint of two tubes, the upper thinning from 5 to 3.5 mm at a distance, elastic."""
    z = [-0.05, distance - 1.5e-4, distance + 1.5e-4, 0.05]
    mesh = mesh_solid([RADIUS] * 4, z, [WALL, WALL, 0.7 * WALL, 0.7 * WALL], [0.0])
    history = jumps([0.0, 1.0], [1e-3, 0.0], young_modulus=YOUNG, poisson_ratio=POISSON)
    return fire_solid(mesh, history, [0, 1], times=[1.0], check_mesh=False)


def test_a_shoulder_that_moves_by_a_fifth_of_a_millimetre_turns_nothing_over():
    """Also where, nearer than half a wall, the mesh becomes a finer one: between 2.5 and 2.7 mm."""
    for places in ((0.6, 0.8, 1.0, 1.2, 1.4), (2.3, 2.5, 2.7, 2.9)):
        fired = [shouldered(1e-3 * at) for at in places]
        for first, second in pairwise(fired):
            for name in ("band_tension", "parting_energy"):
                one, two = (getattr(f, name)[-1] for f in (first, second))
                assert two == pytest.approx(one, rel=0.04), name
    assert {f.mesh.across for f in fired} == {8, 10}


@pytest.mark.parametrize("joint", [0.0055, 0.003])
def test_in_the_notch_of_a_shoulder_stress_is_a_mean_that_a_finer_mesh_finds_again(joint):
    """Once a point, a third more on a mesh cut in four.

    An own solid with rows three times finer has 163 MPa over a tenth of a wall where that point had
    211. And half a wall from a joint beside it was read in the notch itself: an error of 28 %.
    """
    z, wall = [-0.05, 0.0, 0.0008, 0.04], [0.009, 0.009, 0.003, 0.003]
    mesh = mesh_solid([0.036] * 4, z, wall, [joint])
    history = jumps([0.0, 1.0], [0.0, 1e-3], young_modulus=YOUNG, poisson_ratio=POISSON)
    ours, finer = (
        fire_solid(one, history, [0, 1], times=[1.0], check_mesh=one is mesh)
        for one in (mesh, mesh.finer())
    )
    assert ours.corner_height == pytest.approx([0.0008], abs=1e-6)
    assert ours.mesh_error < 0.01
    assert ours.window_error < 0.03
    assert finer.band_tension[-1] == pytest.approx(ours.band_tension[-1], rel=0.03)
    notch = np.abs(ours.height - 0.0008) < 2e-4
    point, seen = (np.abs(one[-1, :, notch]).max() for one in (ours.tensor, ours.over_flaws))
    assert point > 1.5 * seen  # what flaws see has a bound
    again = np.abs(finer.over_flaws[-1, :, np.abs(finer.height - 0.0008) < 2e-4]).max()
    assert again == pytest.approx(seen, rel=0.03)


@pytest.mark.parametrize("height", [0.03, 0.006])
def test_parting_a_graded_joint_releases_what_the_whole_stores_more_than_its_parts(height):
    """Each joint of four, the tubes long and as short as six fifths of a wall."""
    steps = height * np.array([-0.5, 0.0, 0.5])
    young, poisson = np.linspace(2e11, 1e11, 4), np.full(4, 0.3)
    free = np.linspace(1e-3, 0.0, 4)

    def stored(low: int, high: int) -> float:
        edges = np.r_[-height, steps, height]
        mesh = mesh_solid(
            [RADIUS] * 2, [edges[low], edges[high]], WALL, steps[low : high - 1], across=12
        )
        body = solid(mesh, np.arange(low, high))
        own = free[body.material]
        _, (rr, tt, zz, rz) = elastic_solid(body, young, poisson, own)
        squared = rr**2 + tt**2 + zz**2 - 0.6 * (rr * tt + tt * zz + zz * rr) + 2.6 * rz**2
        energy = (0.5 * squared / young[body.material] * body.geometry.weight).sum()
        return float(energy)

    history = jumps([0.0, 1.0], free, young_modulus=young, poisson_ratio=poisson)
    mesh = mesh_solid([RADIUS] * 2, [-height, height], WALL, steps)
    fired = fire_solid(mesh, history, np.arange(4), times=[1.0], check_mesh=False)
    area = 2.0 * np.pi * RADIUS * WALL
    released = [stored(0, 4) - stored(0, k) - stored(k, 4) for k in (1, 2, 3)]
    assert fired.parting_energy[-1] * area == pytest.approx(released, rel=0.02)
