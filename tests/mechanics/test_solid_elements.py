"""Rows of unlike elements: what follows what, and what is read of it."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.mechanics.solid import elastic_solid, solid
from cofire.mechanics.solid_elements import (
    elements_of,
    gauss_places,
    solid_geometry,
    volumes,
)
from cofire.mechanics.solid_mesh import SolidMesh, cut_in_two, merged_edges, mesh_solid
from cofire.mechanics.solid_reading import Lines, by_station
from cofire.numerics import line_shape
from cofire.units import GRAVITY

PROFILES = {
    "tube": ([0.05, 0.05], [0.0, 0.08], 0.005, [0.03]),
    "bowl": ([0.0, 0.03, 0.045], [0.0, 0.0, 0.06], 0.004, [0.02, 0.035]),
    "belly": ([0.03, 0.045, 0.04], [0.0, 0.04, 0.07], 0.006, [0.03]),
}


@pytest.fixture(params=PROFILES, scope="module")
def mesh(request: pytest.FixtureRequest) -> SolidMesh:
    """A section with a joint."""
    return mesh_solid(*PROFILES[request.param])


def test_rows_far_from_joints_are_coarser_and_those_beside_it_as_the_grid(mesh: SolidMesh) -> None:
    some = elements_of(mesh, merged=True)
    beside = mesh.step_row[0] // 2
    grid = mesh.place[::2]
    assert np.array_equal(some.edges[beside - 1], grid)
    assert np.array_equal(some.edges[beside], grid)
    assert min(edges.size for edges in some.edges) == 5
    assert some.radius.size < 0.8 * mesh.radius.size
    assert some.following.size > 0


def test_elements_of_the_whole_grid_are_the_grid(mesh: SolidMesh) -> None:
    whole = elements_of(mesh, merged=False)
    assert np.array_equal(whole.nodes, mesh.nodes)
    np.testing.assert_allclose(whole.radius, mesh.radius.ravel(), rtol=1e-13, atol=1e-16)
    np.testing.assert_allclose(whole.height, mesh.height.ravel(), rtol=1e-13, atol=1e-16)
    assert whole.following.size == 0


def test_a_body_stretched_alike_everywhere_is_strained_so_at_every_point(mesh: SolidMesh) -> None:
    """u_r = a r, u_z = b z + c r: exact in every element, those that follow others too."""
    a, b, c = 2e-3, -1e-3, 5e-4
    body = solid(mesh, [0] * (int(mesh.band.max()) + 1), merged=True)
    own = body.elements
    strain = body.strains(np.stack([a * own.radius, b * own.height + c * own.radius], axis=1))
    wanted = np.array([a, a, b, c])[:, None, None]
    np.testing.assert_allclose(strain, np.broadcast_to(wanted, strain.shape), atol=1e-13)


def test_nothing_gapes_where_rows_of_unlike_elements_meet(mesh: SolidMesh) -> None:
    """Any displacement of the nodes is the same from below and from above along every edge."""
    some = elements_of(mesh, merged=True)
    moved = some.own(np.random.default_rng(3).normal(size=some.radius.size)).reshape(-1, 3, 3)
    place = np.linspace(-0.999, 0.999, 301)

    def along(row: int, edge: int) -> np.ndarray:
        edges = some.edges[row]
        k = np.searchsorted(edges, place) - 1
        x = (2.0 * place - edges[k] - edges[k + 1]) / (edges[k + 1] - edges[k])
        return np.sum(moved[some.start[row] + k, edge] * line_shape(x), axis=1)

    for row in range(mesh.rows - 1):
        np.testing.assert_allclose(along(row, 2), along(row + 1, 0), atol=1e-12)


def test_forces_on_elements_do_the_same_work_on_the_nodes(mesh: SolidMesh) -> None:
    some, draw = elements_of(mesh, merged=True), np.random.default_rng(5)
    force, moved = draw.normal(size=some.nodes.shape), draw.normal(size=some.radius.size)
    assert some.summed(force) @ moved == pytest.approx(np.sum(force * some.own(moved)), rel=1e-12)


def test_a_vessel_weighs_what_its_volume_does_and_stands_still(mesh: SolidMesh) -> None:
    bands = int(mesh.band.max()) + 1
    body = solid(mesh, [0] * bands, weight_density=[2000.0] * bands, merged=True)
    whole = solid(mesh, [0] * bands, weight_density=[2000.0] * bands)
    pull = 2000.0 * GRAVITY * body.geometry.weight[~mesh.lying[body.elements.row]].sum()
    above = body.elements.height > mesh.height.min() + 0.02
    hanging = whole.elements.height > mesh.height.min() + 0.02
    assert body.load[:, 1].sum() == pytest.approx(0.0, abs=1e-9 * pull)
    assert body.load[above, 1].sum() == pytest.approx(whole.load[hanging, 1].sum(), rel=0.02)


def test_stress_of_the_merged_is_that_of_the_whole(mesh: SolidMesh) -> None:
    """Elastic, two bodies of unlike expansion: within 0.5 % of the largest on every line and face.

    Nearer to the joint than a quarter of a wall only means are read.
    """
    bands = [k % 2 for k in range(int(mesh.band.max()) + 1)]
    lines, found = Lines.of(mesh), []
    for merged in (False, True):
        body = solid(mesh, bands, merged=merged)
        free = np.array([0.0, 1e-3])[body.material]
        stress = elastic_solid(body, [60e9, 90e9], [0.25, 0.3], free)[1]
        found.append(by_station(body.elements, lines.through, stress))
    edges = mesh.meridian.arc_length[[*mesh.step_row, *mesh.corner_row]]
    far = np.abs(mesh.meridian.arc_length[1::2, None] - edges).min(axis=1) > 0.25 * mesh.wall.max()
    scale = np.abs(found[0][:, far]).max()
    assert np.abs(found[1] - found[0])[:, far].max() < 0.005 * scale


def test_a_field_of_second_degree_is_read_as_it_is_on_every_line(mesh: SolidMesh) -> None:
    some, lines = elements_of(mesh, merged=True), Lines.of(mesh)
    place = np.concatenate([gauss_places(edges) for edges in some.edges]).reshape(-1, 3)
    values = np.tile(1.0 + place - 2.0 * place**2, (1, 3))
    x = lines.through
    np.testing.assert_allclose(
        by_station(some, x, values),
        np.broadcast_to(1.0 + x - 2.0 * x**2, (mesh.rows, 3, x.size)),
        atol=1e-11,
    )


def test_volumes_of_the_points_are_those_of_the_operators(mesh: SolidMesh) -> None:
    for merged in (False, True):
        some = elements_of(mesh, merged=merged)
        np.testing.assert_allclose(volumes(some), solid_geometry(some).weight, rtol=1e-12)
    whole = (volumes(elements_of(mesh, merged=k)).sum() for k in (False, True))
    assert next(whole) == pytest.approx(next(whole), rel=1e-4)


def test_rows_cut_in_two_still_lie_one_within_the_other(mesh: SolidMesh) -> None:
    finer = mesh.finer()
    finest = finer.place[::2]
    before = [edges for edges in mesh.through for _ in (0, 1)]
    for edges, coarser in zip(finer.through, before, strict=True):
        assert np.isin(coarser, edges).all()
        assert edges.size == 2 * coarser.size - 1
    least = min(finer.through, key=len)
    for edges in finer.through:
        assert np.isin(least, edges).all()
        assert edges.size <= finest.size
    assert cut_in_two(np.array([-1.0, 1.0]), np.array([-1.0, 0.5, 1.0])).tolist() == [-1, 0.5, 1]


def test_only_thin_elements_at_the_faces_are_merged() -> None:
    edges = np.array([-1.0, -0.98, -0.9, -0.5, 0.0, 0.5, 0.9, 0.98, 1.0])
    assert merged_edges(edges, 0.049).size == 9
    assert merged_edges(edges, 0.051).size == 7
    assert merged_edges(edges, 10.0).size == 5
