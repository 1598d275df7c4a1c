"""Joints whose materials change through the wall, against rings, films and a level joint."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from cofire.mechanics.parting import Parting
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.solid import elastic_solid
from cofire.mechanics.solid_reading import joint_forces
from tests.closed_forms import film_energy
from tests.histories import jumps
from tests.other_joints import Form, Interface, body_of, forms, means, meshed

RADIUS, WALL, HEIGHT = 20e-3, 2e-3, 40e-3
VESSEL = SimpleNamespace(
    radius=np.array([RADIUS] * 2), height=np.array([0.0, HEIGHT]), wall=np.array([WALL] * 2),
    corners=(),
)  # fmt: skip
YOUNG, POISSON, FREE = np.array([2e11, 1e11]), np.array([0.3, 0.2]), np.array([-1e-3, 0.0])
ALL = {
    form.name: form
    for form in forms(height=HEIGHT, wall=WALL, decay=4e-3, at=16e-3, road=WALL / 4, below=True)
}


def loaded(form, young=YOUNG, poisson=POISSON, free=FREE, vessel=VESSEL):
    """A form that stays elastic: body and stress."""
    body = body_of(*meshed(form, vessel))
    return body, elastic_solid(body, young, poisson, free[body.material])[1]


def coat(share: float, side: float) -> Form:
    """Metal all the way up, outside (1) or inside (-1), as a share of the wall or beyond it."""
    if side > 1.0:
        return Form("", (), (-1.0, 1.0, 1.0 + 2.0 * share), lambda _, x: x > 1.0)
    face = side * (1.0 - 2.0 * share)
    return Form("", (), tuple(sorted((-1.0, face, 1.0))), lambda _, x: side * (x - face) > 0.0)


@pytest.mark.parametrize(("share", "side"), [(0.3, 1.0), (0.3, -1.0), (0.4, 2.0)])
def test_far_from_its_ends_a_skin_or_collar_is_a_ring_round_another(share, side):
    """Ten decay lengths from either end, so that no bending is left."""
    form, tall = coat(share, side), 100e-3
    vessel = SimpleNamespace(**{**vars(VESSEL), "height": np.array([0.0, tall])})
    body, stress = loaded(form, vessel=vessel)
    faces = RADIUS + 0.5 * WALL * np.array(form.edges)
    order = [0, 1] if side == -1.0 else [1, 0]
    history = jumps([0.0, 1.0], FREE, young_modulus=YOUNG, poisson_ratio=POISSON)
    rings = fire_sleeve(nested_rings(faces, order), history)
    scale = np.abs(rings.stress[-1]).max()
    row = int(np.argmin(np.abs(body.mesh.height[1::2, 0] - 0.5 * tall)))
    own = slice(row * body.mesh.across, (row + 1) * body.mesh.across)
    for place, kind in enumerate(order):
        here = body.material[own] == kind
        radius = body.geometry.radius[own][here]
        for c in range(3):
            known = np.interp(radius, rings.radius[place], rings.stress[-1, c, place])
            assert stress[c][own][here] == pytest.approx(known, abs=5e-3 * scale)
    joint = Interface.of(body)
    pull = joint.pulls(stress, 0.1 * WALL)
    pressed = rings.interface_stress[-1, 0]
    assert pull[joint.length.size // 2] == pytest.approx(pressed, abs=2e-3 * scale)
    assert np.sign(pressed) == (1.0 if side == -1.0 else -1.0)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_skin_that_grows_thin_bears_the_whole_mismatch_and_strains_nothing(side):
    """σ = E Δε/(1 − ν), less by the stiffness of skin over wall.

    Apart, one inside keeps no stress; one outside still sits on the wall, and keeps its strain
    round the ring as a film does along a crack's front.
    """
    share = 5e-3
    body, stress = loaded(coat(share, side))
    metal = body.material[:, 0] == 0
    middle = np.abs(body.geometry.height[:, 4] - 0.5 * HEIGHT) < 0.1 * HEIGHT
    whole = -FREE[0] * YOUNG[0] / (1.0 - POISSON[0])
    less = share * (YOUNG / (1.0 - POISSON))[0] / (YOUNG / (1.0 - POISSON))[1]
    for c in (1, 2):
        assert stress[c][metal & middle] == pytest.approx(whole * (1.0 - less), rel=5e-3)
        assert stress[c][~metal & middle].mean() == pytest.approx(-share * whole, rel=0.1)
    released, _ = Interface.of(body).energies(stress, YOUNG, POISSON, WALL)
    bare = whole**2 * (1.0 - less) * (1.0 - POISSON[0]) / YOUNG[0] * share * WALL
    sits = film_energy(whole * (1.0 - less), share * WALL, YOUNG[0], POISSON[0])
    assert released == pytest.approx(float(sits) if side > 0.0 else bare, rel=0.02)


@pytest.mark.parametrize("name", ALL)
def test_equal_materials_bear_nothing_in_any_joint(name):
    _, stress = loaded(ALL[name], YOUNG[[0, 0]], POISSON[[0, 0]], FREE[[0, 0]])
    assert np.abs(stress).max() < 1e-7 * YOUNG[0] * abs(FREE[0])


def test_a_butt_that_parts_releases_what_parting_says():
    body, stress = loaded(ALL["butt"])
    forces = joint_forces(body, stress[None])
    known = Parting(body, forces, YOUNG[None], POISSON).energy()[0, 0]
    whole, most = Interface.of(body).energies(stress, YOUNG, POISSON, WALL, contacts=0)
    assert whole == pytest.approx(known, rel=1e-5)
    assert most >= whole
    apart, _ = Interface.of(body).energies(stress, YOUNG, POISSON, WALL)
    assert apart == pytest.approx(whole, rel=1e-9)  # its faces part everywhere
    pressed, _ = Interface.of(body).energies(-stress, YOUNG, POISSON, WALL)
    assert 0.5 * known < pressed < (1.0 - 1e-6) * known  # faces that press keep some of it


@pytest.mark.parametrize("name", ["lap 1, metal outside", "scarf 1, metal inside"])
def test_a_lap_or_scarf_of_next_to_nothing_is_a_butt(name):
    short = {
        form.name: form
        for form in forms(
            height=HEIGHT, wall=WALL, decay=1e-2 * WALL, at=16e-3, road=WALL / 4, below=True
        )
    }
    found = []
    for form in (ALL["butt"], short[name]):
        body, stress = loaded(form)
        far, level = np.unique(np.round(body.geometry.height - 16e-3, 9), return_inverse=True)
        beyond = np.linspace(WALL, 4 * WALL, 50)
        largest = np.zeros((2, far.size))
        for own, c in zip(largest, (1, 2), strict=True):
            np.maximum.at(own, level.ravel(), np.abs(stress[c]).ravel())
        found.append(
            [
                Interface.of(body).energies(stress, YOUNG, POISSON, WALL, contacts=0)[0],
                *(np.interp(beyond, far, own).max() for own in largest),
            ]
        )
    assert found[1] == pytest.approx(found[0], rel=0.02)


def test_means_keep_within_one_body_and_are_those_of_a_straight_line():
    """A mean over a length that begins at a point lies half as far up."""
    body = body_of(*meshed(ALL["collar 5 mm, 1 road"], VESSEL))
    share = means(body, 0.1 * WALL)
    height = body.geometry.height.ravel()
    found = share @ height
    begins, ends = found[: height.size], found[height.size :]
    inside = (height > 0.2 * WALL) & (height < 5e-3 - 0.2 * WALL)
    assert begins[inside] == pytest.approx(height[inside] + 0.05 * WALL, abs=1e-9)
    assert ends[inside] == pytest.approx(height[inside] - 0.05 * WALL, abs=1e-9)
    metal = (body.material.ravel() == 0).astype(float)
    assert share @ metal == pytest.approx(np.tile(metal, 2))


def test_a_collar_ends_where_it_ends_and_what_is_not_there_does_not_move():
    body = body_of(*meshed(ALL["collar 10 mm, 2 roads"], VESSEL))
    metal = body.material == 0
    volume = np.pi * ((RADIUS + 1.5 * WALL / 2 + WALL / 4) ** 2 - (RADIUS + WALL / 2) ** 2) * 10e-3
    assert body.geometry.weight[metal].sum() == pytest.approx(volume, rel=1e-6)
    assert body.geometry.height[metal].max() < 10e-3
    used = np.unique(body.mesh.nodes)
    assert body.held.all(axis=1).sum() == body.mesh.radius.size - used.size


def test_metal_above_is_the_same_joint_upside_down():
    lower, upper = (
        {
            form.name: form
            for form in forms(
                height=HEIGHT, wall=WALL, decay=4e-3, at=at, road=WALL / 4, below=below
            )
        }
        for at, below in ((16e-3, True), (HEIGHT - 16e-3, False))
    )
    for name in ("lap 1, metal outside", "collar 5 mm, 1 road", "skin inside"):
        both = [Interface.of(body_of(*meshed(forms[name], VESSEL))) for forms in (lower, upper)]
        assert both[0].area.sum() == pytest.approx(both[1].area.sum(), rel=1e-6)
        volumes = [j.body.geometry.weight[j.body.material == 0].sum() for j in both]
        assert volumes[0] == pytest.approx(volumes[1], rel=1e-6)
