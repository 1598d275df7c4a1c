"""cofire's march against a plain one: fixed steps, point by point, its own law and solver."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell import Shells, shells
from cofire.numerics import Array
from cofire.physics.history import History
from tests.histories import made_history
from tests.plain_march import PlainStructure, plain_march, plain_times

HOUR = 3600.0
CLOSE = Control(relative_tolerance=1e-3, stress_tolerance=1e3)
"""Far finer steps (1e-6, 1 Pa) move the stress at the breakpoints by 3e-4 of the largest."""


def firing() -> History:
    """A metal that creeps and yields under a glass that softens, heated and cooled in two hours.

    Corners lie on nodes, and so do the steps of the plain march: what lies between nodes is read
    by cofire only.
    """
    time = np.linspace(0.0, 2 * HOUR, 961)
    heat = np.sin(np.pi * time / time[-1]) ** 2
    hot = 300.0 + 850.0 * heat
    return made_history(
        time,
        np.stack([0.0144 * heat, 0.0055 * heat]),
        young_modulus=np.stack([100e9 - 50e9 * heat, 60e9 + 0.0 * heat]),
        poisson_ratio=(0.34, 0.20),
        viscosity=np.stack([np.inf + heat, 10.0 ** (11.0 + 12.0 * (1.0 - heat))]),
        creep_factor=np.stack([1e-30 * np.exp(25000.0 * (1 / 1150.0 - 1 / hot)), 0.0 * heat]),
        creep_exponent=(4.0, 1.0),
        yield_stress=np.stack([90e6 - 50e6 * heat, np.inf + heat]),
        breakpoints=(240, 480, 720),
    )


@cache
def vessel() -> Shells:
    """A metal foot under a glass rim in a wall that leans 7°, so that the joint slants."""
    mesh = mesh_meridian([0.030, 0.034], [0.0, 0.032], 0.004, [0.014], fineness=0.3)
    return shells([mesh], [[0, 1]], points=3)


@cache
def followed(control: Control = CLOSE) -> Record:
    return march(vessel(), firing(), control=control)


def at_corners(time: Array, stress: Array) -> Array:
    """Stress at breakpoints and end, shape (4, 3, points). [Pa]"""
    history = firing()
    ends = history.time[[*history.breakpoints, -1]]
    return stress.reshape(time.size, 3, -1)[np.searchsorted(time, ends - 1e-6)]


@cache
def plainly(steps: int) -> Array:
    times = plain_times(firing(), 2 * HOUR / steps)
    return at_corners(times, plain_march(PlainStructure.of(vessel()), firing(), times))


def apart(one: Array, other: Array) -> float:
    """Largest difference over the largest stress. [-]"""
    return float(np.abs(one - other).max() / np.abs(one).max())


def test_every_way_of_relief_is_at_work_in_the_vessel():
    strain = np.abs(followed().inelastic).max(axis=(0, 2, 3, 4, 5))
    assert (strain > 1e-4).all()


def test_a_plain_march_comes_to_the_same_stress_as_its_steps_shrink():
    """Backward Euler is of order one: half the step halves the error.

    What is left after extrapolating two marches to no step is of higher order, raised by points
    that begin or cease to yield within a step: it falls by more than half as the step is halved,
    and is a quarter of the error of the finer march at most.
    """
    record = followed()
    ours = at_corners(record.time, record.stress)
    marches = [plainly(steps) for steps in (60, 120, 240)]
    errors = [apart(ours, stress) for stress in marches]
    left = [apart(ours, 2.0 * fine - coarse) for coarse, fine in pairwise(marches)]
    assert errors[0] / errors[1] == pytest.approx(2.0, abs=0.2)
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.2)
    assert left[1] < 0.5 * left[0]
    assert left[1] < 0.25 * errors[2] < 0.002
