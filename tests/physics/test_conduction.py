"""Lag and stress of a wall behind its faces."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.mechanics.integrator import Control
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.physics.conduction import delayed, diffusivity, ramp_lag, through_wall_stress
from tests.closed_forms import (
    allowed_rate,
    lag_time,
    ramp_difference,
    ramp_stress,
    slab_temperature,
)
from tests.histories import made_history

KAPPA = 5e-7
DEPTH = 5e-3
PLACES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


def test_diffusivity_of_a_brick():
    assert diffusivity(1.0, 2000.0, 1000.0) == pytest.approx(5e-7)


@given(st.floats(1e-3, 0.1), st.floats(1e-7, 1e-4), st.floats(-1.0, 1.0))
@settings(max_examples=30, deadline=None)
def test_a_long_ramp_settles_to_the_parabola(depth, kappa, rate):
    time = np.linspace(0.0, 20.0 * lag_time(depth, kappa), 7)
    inside = slab_temperature(time, 300.0 + rate * time, depth, kappa, PLACES)
    behind = inside[-1, -1] - inside[-1]
    largest = abs(ramp_difference(rate, depth, kappa))
    assert behind == pytest.approx(rate * ramp_lag(depth, kappa, PLACES), abs=1e-7 * largest + 1e-9)
    assert behind[0] == pytest.approx(ramp_difference(rate, depth, kappa), rel=1e-6, abs=1e-9)


def test_the_face_follows_the_trace_and_a_steady_wall_stays_even():
    time = np.linspace(0.0, 600.0, 61)
    face = 300.0 + 50.0 * np.sin(time / 40.0)
    inside = slab_temperature(time, face, DEPTH, KAPPA, PLACES)
    assert inside[:, -1] == pytest.approx(face, abs=1e-9)
    even = slab_temperature(time, np.full(61, 300.0), DEPTH, KAPPA, PLACES)
    assert even == pytest.approx(np.full((61, 5), 300.0))


def test_modes_agree_with_finite_differences():
    """Crank–Nicolson on 200 cells, the trace a sine."""
    time = np.linspace(0.0, 300.0, 1201)
    face = 300.0 + 80.0 * np.sin(time / 25.0)
    cells, step = 200, time[1]
    number = KAPPA * step * (cells / DEPTH) ** 2 / 2.0
    # node 0 is the mirror plane, node `cells` the face
    matrix = np.eye(cells) * (1 + 2 * number)
    matrix -= number * (np.eye(cells, k=1) + np.eye(cells, k=-1))
    matrix[0, 1] = -2 * number
    inverse = np.linalg.inv(matrix)
    backward = 2 * np.eye(cells) - matrix
    inside = np.full(cells, 300.0)
    kept = [inside[0]]
    for before, after in itertools.pairwise(face):
        load = backward @ inside
        load[-1] += number * (before + after)
        inside = inverse @ load
        kept.append(inside[0])
    modes = slab_temperature(time, face, DEPTH, KAPPA, [0.0])[:, 0]
    assert modes == pytest.approx(np.array(kept), abs=0.02)


def test_a_large_biot_number_is_a_given_face():
    time = np.linspace(0.0, 600.0, 61)
    face = 300.0 + time / 10.0
    given_face = slab_temperature(time, face, DEPTH, KAPPA, PLACES)
    convective = slab_temperature(time, face, DEPTH, KAPPA, PLACES, biot=1e5)
    assert convective == pytest.approx(given_face, abs=1e-3)


def test_a_small_biot_number_is_one_lump():
    """Exponential approach with time constant depth²/(κ Bi)."""
    time = np.linspace(0.0, 50000.0, 51)
    inside = slab_temperature(
        time, np.full(51, 400.0), DEPTH, KAPPA, PLACES, biot=1e-3, start=300.0
    )
    lump = 400.0 - 100.0 * np.exp(-time * KAPPA * 1e-3 / DEPTH**2)
    assert inside[:, 2] == pytest.approx(lump, abs=0.1)


def test_more_modes_change_nothing_after_the_first_moment():
    time = np.linspace(0.0, 100.0, 11)
    step = [
        slab_temperature(time, np.zeros(11), DEPTH, KAPPA, PLACES, start=1.0, modes=m)
        for m in (20, 80)
    ]
    assert step[0] == pytest.approx(step[1], abs=1e-9)


def test_heating_presses_the_face_and_cooling_pulls_it():
    heating, middle = ramp_stress(0.1, DEPTH, KAPPA, 6e-6, 60e9, 0.2)
    cooling, _ = ramp_stress(-0.1, DEPTH, KAPPA, 6e-6, 60e9, 0.2)
    assert heating < 0 < middle
    assert cooling == -heating


@pytest.mark.parametrize("solid", ["plate", "cylinder", "sphere"])
def test_ramp_stress_is_that_of_its_temperature_field(solid):
    """σ = Eα/(1−ν) × (weighted mean − local), integrals of T r^k dr."""
    r, weight = np.polynomial.legendre.leggauss(40)
    r, weight = 0.5 * (1 + r), 0.5 * weight
    power = {"plate": 0, "cylinder": 1, "sphere": 2}[solid]
    field = r**2 / (2 * (power + 1))  # over φ depth²/κ
    mean = (power + 1) * weight @ (field * r**power)
    face, middle = ramp_stress(1.0, 1.0, 1.0, 1.0, 1.0, 0.0, solid)
    assert face == pytest.approx(mean - 1 / (2 * (power + 1)))
    share = 2 / 3 if solid == "sphere" else 1.0
    assert middle == pytest.approx(share * mean)
    assert ramp_difference(1.0, 1.0, 1.0, solid) == pytest.approx(1 / (2 * (power + 1)))


def test_allowed_rate_gives_back_its_stress():
    rate = allowed_rate(20e6, DEPTH, KAPPA, 6e-6, 60e9, 0.2)
    assert ramp_stress(-rate, DEPTH, KAPPA, 6e-6, 60e9, 0.2)[0] == pytest.approx(20e6)


def test_late_places_see_what_the_face_saw():
    time = np.linspace(0.0, 100.0, 101)
    late = delayed(time, time**2, [0.0, 10.0])
    assert late[:, 0] == pytest.approx(time**2)
    assert late[20:, 1] == pytest.approx((time[20:] - 10.0) ** 2)
    assert late[:10, 1] == pytest.approx(np.zeros(10))


def test_wall_stress_on_a_ramp_is_the_closed_form():
    time = np.linspace(0.0, 3600.0, 37)
    strain = 6e-6 * 100.0 / 3600.0 * time
    stress = through_wall_stress(time, strain, 60e9, 0.2, DEPTH, KAPPA, [1.0, 0.0])
    expected = ramp_stress(100.0 / 3600.0, DEPTH, KAPPA, 6e-6, 60e9, 0.2)
    assert stress[-1] == pytest.approx(np.array(expected), rel=1e-9)


def test_a_transformation_sweeps_the_wall_as_conduction_says():
    """Lagged strain against the strain of the full temperature field, on a ramp through 573 °C."""
    time = np.arange(0.0, 1200.0, 2.0)
    face = 830.0 + 100.0 / 3600.0 * time

    def strain(temperature):
        return 6e-6 * (temperature - 830.0) + 450e-6 * (1 + np.tanh((temperature - 846.0) / 1.0))

    spread, weight = np.polynomial.legendre.leggauss(16)
    field = slab_temperature(
        time, face, DEPTH, KAPPA, np.concatenate([[1.0, 0.0], 0.5 * (1 + spread)])
    )
    exact = strain(field[:, 2:]) @ (0.5 * weight)
    full = 75e9 * (exact[:, None] - strain(field[:, :2]))
    lagged = through_wall_stress(time, strain(face), 60e9, 0.2, DEPTH, KAPPA, [1.0, 0.0])
    largest = np.abs(full).max()
    assert largest > 10 * abs(ramp_stress(100 / 3600, DEPTH, KAPPA, 6e-6, 60e9, 0.2)[0])
    settled = time > 300.0
    assert lagged[settled] == pytest.approx(full[settled], abs=2e-3 * largest)


def test_forces_through_the_wall_balance():
    time = np.linspace(0.0, 3600.0, 721)
    strain = 1e-3 * np.sin(time / 200.0)
    spread, weight = np.polynomial.legendre.leggauss(16)
    stress = through_wall_stress(time, strain, 60e9, 0.2, DEPTH, KAPPA, 0.5 * (1 + spread))
    assert stress @ weight == pytest.approx(np.zeros(721), abs=1e-3)


def test_a_flowing_wall_carries_less_than_the_elastic_one():
    """Delayed strain given to a flat tile: half the wall, from its middle to its face."""
    time = np.linspace(0.0, 3600.0, 361)
    strain = 6e-6 * 300.0 / 3600.0 * time
    tile = layered_tile([DEPTH], free_to_bend=False, points=7)
    place = tile.height[0] / DEPTH
    late = delayed(time, strain, ramp_lag(DEPTH, KAPPA, place)) - strain[:, None]

    def added(t):
        return np.array([np.interp(t, time, column) for column in late.T])[None, None]

    def face(viscosity):
        history = made_history(
            time, strain, young_modulus=60e9, poisson_ratio=0.2, viscosity=viscosity
        )
        return fire_tile(tile, history, added_strain=added, control=Control(1e-3, 1e1)).stress[
            -1, 0, -1
        ]

    elastic = through_wall_stress(time, strain, 60e9, 0.2, DEPTH, KAPPA, [1.0])[-1, 0]
    assert face(np.inf) == pytest.approx(elastic, rel=1e-3)
    assert abs(face(1e13)) < 0.02 * abs(elastic)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"depth": 0.0}, "depth"),
        ({"thermal_diffusivity": -1.0}, "diffusivity"),
        ({"biot": 0.0}, "Biot"),
        ({"time": [0.0, 0.0]}, "times"),
    ],
)
def test_impossible_walls_are_refused(changes, words):
    usual = {
        "time": [0.0, 1.0],
        "outside": [300.0, 301.0],
        "depth": DEPTH,
        "thermal_diffusivity": KAPPA,
        "place": [0.0],
    }
    with pytest.raises(InputError, match=words):
        slab_temperature(**(usual | changes))
