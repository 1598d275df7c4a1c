"""Tiles: balance at all times, symmetry, batches, and the law through the layers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.mechanics.integrator import Control
from cofire.mechanics.properties import Mechanisms, material_table
from cofire.mechanics.tile import fire_tile, layered_tile, sagitta
from cofire.numerics import lobatto
from tests.closed_forms import dissipated_energy
from tests.histories import jumps, made_history

HOUR = 3600.0
thicknesses = st.floats(0.2e-3, 5e-3)
moduli = st.floats(1e9, 4e11)
mismatches = st.floats(-5e-3, 5e-3)


def firing(scale: float = 1.0, **changes):
    """A metal and a glassy body through a firing in which everything happens at once."""
    time = np.linspace(0.0, 8 * HOUR, 241)
    heat = np.interp(time, [0.0, 3 * HOUR, 4 * HOUR, 8 * HOUR], [0.0, 1.0, 1.0, 0.0])
    hot = 300.0 + 850.0 * heat
    done = np.clip((time - 2.5 * HOUR) / HOUR, 0.0, 1.0)
    shrunk = 3.0 * done**2 - 2.0 * done**3
    properties = {
        "young_modulus": np.array([120e9 - 60e9 * heat, 60e9 + 0.0 * heat]),
        "poisson_ratio": [0.34, 0.20],
        "viscosity": np.array([np.full(241, np.inf), 10.0 ** (9.0 + 14.0 * (1 - heat))]),
        "creep_factor": np.array([1e-30 * np.exp(25000 * (1 / 1150.0 - 1 / hot)), 0.0 * heat]),
        "creep_exponent": [4.0, 1.0],
        "yield_stress": np.array([60e6 - 50e6 * heat, np.full(241, np.inf)]),
        "breakpoints": (90, 120),
    } | changes
    strain = np.array([0.0144 * heat - 0.021 * shrunk, 0.0055 * heat - 0.020 * shrunk])
    return made_history(time, scale * strain, **properties)


@given(moduli, st.floats(0.0, 0.45), st.lists(thicknesses, min_size=1, max_size=4), mismatches)
@settings(max_examples=25, deadline=None)
def test_equal_bodies_carry_no_stress_and_do_not_bend(young, poisson, layers, strain):
    history = jumps([0.0, 1.0, 2.0], strain, young_modulus=young, poisson_ratio=poisson)
    fired = fire_tile(layered_tile(layers, [0] * len(layers)), history)
    balance = 10.0  # Pa, what equilibrium may be out by under the usual control
    assert np.abs(fired.stress).max() <= balance
    assert np.abs(fired.curvature).max() * sum(layers) <= 10 * balance / young
    assert fired.bottom_strain[-1] == pytest.approx(strain, abs=balance / young)


@given(mismatches, mismatches)
@settings(max_examples=20, deadline=None)
def test_what_both_bodies_share_is_a_free_motion(mismatch, shared):
    tile = layered_tile([1e-3, 2e-3])
    alone = fire_tile(tile, jumps([0.0, 1.0], [mismatch, 0.0]))
    both = fire_tile(tile, jumps([0.0, 1.0], [mismatch + shared, shared]))
    assert both.stress[-1] == pytest.approx(alone.stress[-1], abs=1.0)
    assert both.bottom_strain[-1] - shared == pytest.approx(alone.bottom_strain[-1], abs=1e-11)


@given(thicknesses, thicknesses, moduli, moduli, mismatches)
@settings(max_examples=25, deadline=None)
def test_turning_the_tile_over_flips_its_camber(first, second, one, other, mismatch):
    history = jumps([0.0, 1.0], [mismatch, 0.0], young_modulus=[one, other])
    up = fire_tile(layered_tile([first, second], [0, 1]), history)
    down = fire_tile(layered_tile([second, first], [1, 0]), history)
    assert down.curvature[-1] == pytest.approx(-up.curvature[-1], rel=1e-6, abs=1e-9)
    scale = max(one, other) * 5e-3
    assert down.stress[-1, ::-1, ::-1] == pytest.approx(up.stress[-1], abs=1e-9 * scale)


@given(st.floats(1e-3, 1e3), mismatches)
@settings(max_examples=20, deadline=None)
def test_size_does_not_change_elastic_stress(size, mismatch):
    history = jumps([0.0, 1.0], [mismatch, 0.0], young_modulus=[120e9, 60e9])
    small = fire_tile(layered_tile([1e-3, 2e-3]), history)
    large = fire_tile(layered_tile([size * 1e-3, size * 2e-3]), history)
    assert large.stress[-1] == pytest.approx(small.stress[-1], abs=1.0)
    assert large.curvature[-1] * size == pytest.approx(small.curvature[-1], rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("wide", [True, False])
@pytest.mark.parametrize("free_to_bend", [True, False])
def test_force_and_moment_balance_at_all_times(wide, free_to_bend):
    tile = layered_tile([2e-3, 3e-3], wide=wide, free_to_bend=free_to_bend)
    fired = fire_tile(tile, firing())
    largest = np.abs(fired.stress).max(axis=(1, 2))
    assert largest.max() > 20e6
    assert (np.abs(fired.record.inelastic[-1]).max(axis=(1, 2, 3)) > 1e-5).all()
    for stress, limit in zip(fired.stress, 20.0 + 2e-5 * largest, strict=True):
        force, moment = tile.resultants(stress[None])
        assert abs(force) <= limit * 5e-3
        assert not free_to_bend or abs(moment) <= limit * 5e-3**2
    if not free_to_bend:
        assert (fired.curvature == 0.0).all()


def test_strain_is_elastic_plus_flow_plus_free_at_all_times():
    history = firing()
    fired = fire_tile(layered_tile([2e-3, 3e-3]), history)
    record, table = fired.record, material_table(history)
    for k, time in enumerate(record.time):
        young = [np.interp(time, history.time, e) for e in history.young_modulus]
        elastic = record.stress[k, 0] * ((1 - history.poisson_ratio) / young)[:, None]
        free = table.at(time).free_strain
        rest = record.strain[k, 0] - elastic - record.inelastic[k].sum(axis=0)[0]
        assert rest == pytest.approx(np.broadcast_to(free[:, None], rest.shape), abs=1e-9)


def test_yield_caps_the_metal_and_the_glass_flows_when_hot():
    history = firing()
    fired = fire_tile(layered_tile([2e-3, 3e-3]), history)
    limit = np.interp(fired.time, history.time, history.yield_stress[0])
    assert (np.abs(fired.stress[:, 0]).max(axis=1) <= limit * (1 + 1e-6)).all()
    assert np.abs(fired.record.inelastic[-1, 0, 0, 1]).max() > 1e-4
    assert (fired.record.inelastic[:, 0, 0, 0] == 0.0).all()


@pytest.mark.parametrize("name", ["viscous", "creep", "plastic"])
def test_a_mechanism_switched_off_gives_no_strain_at_all(name):
    tile = layered_tile([2e-3, 3e-3])
    fired = fire_tile(tile, firing(), mechanisms=Mechanisms(**{name: False}))
    place = ("viscous", "creep", "plastic").index(name)
    assert (fired.record.inelastic[:, place] == 0.0).all()


def test_without_relief_the_answer_is_elastic_at_the_end():
    off = Mechanisms(viscous=False, creep=False, plastic=False)
    history = firing()
    tile = layered_tile([2e-3, 3e-3])
    whole = fire_tile(tile, history, mechanisms=off)
    end = history.free_strain[:, -1]
    at_once = fire_tile(
        tile, jumps([0.0, 1.0], end, young_modulus=[120e9, 60e9], poisson_ratio=[0.34, 0.2])
    )
    assert whole.stress[-1] == pytest.approx(at_once.stress[-1])
    assert whole.record.inelastic[-1].max() == 0.0


@pytest.mark.long
def test_candidates_in_a_batch_answer_as_they_do_alone():
    history = firing()
    layers = np.array([[[2e-3, 3e-3]], [[2.5e-3, 0.3e-3]]])
    control = Control(1e-3, 1e3)
    together = fire_tile(layered_tile(layers), history, control=control)
    assert together.stress.shape[1:] == (2, 1, 2, 5)
    for i in range(2):
        alone = fire_tile(layered_tile(layers[i, 0]), history, control=control)
        largest = np.abs(alone.stress).max()
        assert together.stress[-1, i, 0] == pytest.approx(alone.stress[-1], abs=2e-3 * largest)
        assert together.curvature[-1, i, 0] == pytest.approx(alone.curvature[-1], rel=2e-3)


def test_a_layer_of_no_thickness_does_not_matter():
    history = firing()
    two = fire_tile(layered_tile([2e-3, 3e-3], [0, 1]), history)
    three = fire_tile(layered_tile([2e-3, 0.0, 3e-3], [0, 0, 1]), history)
    assert three.curvature[-1] == pytest.approx(two.curvature[-1], rel=1e-3)
    assert three.stress[-1, [0, 2]] == pytest.approx(two.stress[-1], abs=1e5)


@pytest.mark.long
def test_default_control_is_within_half_a_per_cent_of_the_peak():
    tile = layered_tile([2e-3, 3e-3])
    usual = fire_tile(tile, firing())
    close = fire_tile(tile, firing(), control=Control(3e-4, 3e2))
    ends = (np.abs(f.stress).max(axis=(0, 2)) for f in (usual, close))
    first, second = ends
    assert first == pytest.approx(second, rel=5e-3)
    assert usual.curvature[-1] == pytest.approx(close.curvature[-1], rel=5e-3)


def test_energy_of_a_free_tile_is_conserved():
    """−Σ∫σ dε_free dV = stored + dissipated, constant modulus; no work from outside."""
    history = firing(young_modulus=[120e9, 60e9])
    tile = layered_tile([2e-3, 3e-3], wide=False)
    fired = fire_tile(tile, history, control=Control(2e-4, 1e2))
    stress = fired.stress
    free = np.array([np.interp(fired.time, history.time, s) for s in history.free_strain])
    mean = 0.5 * (stress[1:] + stress[:-1])
    work = -np.sum(mean * np.diff(free.T, axis=0)[:, :, None] * tile.share)
    stored = np.sum(stress[-1] ** 2 / (2 * np.array([120e9, 60e9])[:, None]) * tile.share)
    lost = (dissipated_energy(fired.record, tile)[-1] * tile.share).sum()
    assert work == pytest.approx(stored + lost, rel=5e-3)


def test_sagitta_is_that_of_an_arc():
    curvature, length = 3.0, 0.1
    assert sagitta(curvature, length) == pytest.approx((1 - np.cos(0.15)) / 3.0)
    assert sagitta([0.0, 1e-9], length) == pytest.approx([0.0, 1e-9 * 0.01 / 8])


@pytest.mark.parametrize("points", [2, 3, 5, 6, 9])
def test_lobatto_points_integrate_polynomials_exactly(points):
    place, weight = lobatto(points)
    assert place[[0, -1]] == pytest.approx([-1.0, 1.0])
    for power in range(2 * points - 2):
        assert weight @ place**power == pytest.approx((1 + (-1) ** power) / 2 / (power + 1))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"thickness": [1e-3, -1e-3]}, "layer thickness"),
        ({"thickness": [0.0, 0.0]}, "not all 0"),
        ({"thickness": [1e-3, 1e-3], "material": [0, 1, 2]}, "3"),
        ({"thickness": [1e-3], "points": 2}, "3 or more"),
    ],
)
def test_impossible_tiles_are_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        layered_tile(**arguments)


def test_one_tile_of_a_batch_without_thickness_is_refused():
    with pytest.raises(InputError, match="not all 0"):
        layered_tile([[1e-3, 1e-3], [0.0, 0.0]])
