"""Rings one inside the other: balance, limits, batches, and plastic and viscous answers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError
from cofire.mechanics.integrator import Control
from cofire.mechanics.law import SOLID
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.numerics import lobatto
from tests.closed_forms import equivalent_stress
from tests.histories import jumps, made_history

CLOSE = Control(relative_tolerance=1e-5, stress_tolerance=10.0)
RADII = [10e-3, 14e-3, 20e-3]


@given(st.floats(1e9, 4e11), st.floats(0.0, 0.45), st.floats(-0.1, 0.1), st.booleans())
@settings(max_examples=20, deadline=None)
def test_equal_rings_carry_no_stress(young, poisson, strain, long):
    history = jumps([0.0, 1.0], strain, young_modulus=young, poisson_ratio=poisson)
    fired = fire_sleeve(nested_rings(RADII, [0, 0], long=long), history)
    balance = 10.0 + 1e-11 * young  # Pa, what equilibrium may be out by
    assert np.abs(fired.stress).max() <= balance
    if long:
        assert fired.axial_strain[-1] == pytest.approx(strain, abs=balance / young)


@given(st.floats(1e-3, 1e3), st.floats(-1e-3, 1e-3))
@settings(max_examples=15, deadline=None)
def test_size_does_not_change_elastic_stress(size, mismatch):
    history = jumps([0.0, 1.0], [mismatch, 0.0], young_modulus=[120e9, 60e9])
    small = fire_sleeve(nested_rings(RADII), history)
    large = fire_sleeve(nested_rings(size * np.array(RADII)), history)
    assert large.stress[-1] == pytest.approx(small.stress[-1], abs=1.0)


@given(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3))
@settings(max_examples=15, deadline=None)
def test_elastic_stress_adds_up(first, second):
    def stress(one, other):
        history = jumps([0.0, 1.0], [one, other], young_modulus=[120e9, 60e9])
        return fire_sleeve(nested_rings(RADII), history).stress[-1]

    assert stress(first, second) == pytest.approx(stress(first, 0) + stress(0, second), abs=10.0)


def everything(**changes):
    """A core and a sleeve that flow, creep and yield."""
    time = np.linspace(0.0, 3600.0, 61)
    strain = np.array([-2e-3 * time / 3600.0, 0.0 * time])
    properties = {
        "young_modulus": [120e9, 60e9],
        "poisson_ratio": [0.34, 0.2],
        "viscosity": [np.inf, 5e14],
        "creep_factor": [1e-38, 0.0],
        "creep_exponent": [4.0, 1.0],
        "yield_stress": [3e7, np.inf],
    } | changes
    return made_history(time, strain, **properties)


@pytest.mark.parametrize("core", [0.0, 5e-3])
def test_rings_balance_at_all_times(core):
    """Radial equilibrium d(rσ_r)/dr = σ_θ, free faces, no axial force."""
    sleeve = nested_rings([core, 14e-3, 20e-3], points=11)
    fired = fire_sleeve(sleeve, everything(), control=CLOSE)
    assert (np.abs(fired.record.inelastic[-1]).max(axis=(1, 2, 3)) > 1e-6).all()
    largest = np.abs(fired.stress).max()
    for stress in fired.stress:
        force = (stress[2] * sleeve.share).sum() / sleeve.share.sum()
        assert abs(force) <= 1e-5 * largest
        hoop = 2.0 * (stress[1] * sleeve.stretch) @ lobatto(11)[1]
        ends = stress[0, :, -1] * sleeve.radius[:, -1] - stress[0, :, 0] * sleeve.radius[:, 0]
        assert hoop == pytest.approx(ends, abs=2e-3 * largest * 20e-3)
        assert abs(stress[0, 1, -1]) <= 2e-3 * largest
        assert stress[0, 0, -1] == pytest.approx(stress[0, 1, 0], abs=2e-3 * largest)


def test_the_metal_never_passes_its_yield_stress():
    fired = fire_sleeve(nested_rings([0.0, 14e-3, 20e-3]), everything(yield_stress=[3e7, np.inf]))
    core = np.moveaxis(fired.stress, 1, 0)[:, :, 0]
    assert equivalent_stress(core, SOLID).max() <= 3e7 * (1 + 1e-6)
    assert fired.record.inelastic[-1, 2, :, 0].sum() == pytest.approx(0.0, abs=1e-12)


def test_a_viscous_pair_stretches_as_the_elastic_pair_by_analogy():
    """With E for η, ν for its viscous twin and strain for rate, stress is the same.

    T. Alfrey 1944, Q. Appl. Math. 2, 113 (from memory).
    """
    elastic = fire_sleeve(
        nested_rings(RADII),
        jumps([0.0, 1.0], [1e-6, 0.0], young_modulus=[2e10, 1e10], poisson_ratio=[0.4, 0.2]),
    )
    viscous = fire_sleeve(
        nested_rings(RADII),
        jumps(
            [0.0, 50.0, 100.0],
            [1e-4, 0.0],
            young_modulus=1e12,
            viscosity=[2e10, 1e10],
            viscous_poisson_ratio=[0.4, 0.2],
        ),
        control=Control(1e-6, 1e-3),
    )
    assert viscous.stress[-1] == pytest.approx(elastic.stress[-1], rel=1e-5, abs=1.0)


def test_rings_in_a_batch_answer_as_they_do_alone():
    radii = np.array([RADII, [0.0, 8e-3, 9e-3], [20e-3, 21e-3, 40e-3]])
    together = fire_sleeve(nested_rings(radii), everything(), control=Control(1e-4, 1e2))
    for k in range(3):
        alone = fire_sleeve(nested_rings(radii[k]), everything(), control=Control(1e-4, 1e2))
        largest = np.abs(alone.stress).max()
        assert together.stress[-1][:, k] == pytest.approx(alone.stress[-1], abs=2e-3 * largest)
        assert together.interface_stress[-1, k] == pytest.approx(
            alone.interface_stress[-1], abs=2e-3 * largest
        )


def test_cutting_a_ring_in_two_changes_nothing():
    history = everything()
    whole = fire_sleeve(nested_rings([5e-3, 14e-3, 20e-3], [0, 1]), history, control=CLOSE)
    cut = fire_sleeve(nested_rings([5e-3, 9e-3, 14e-3, 20e-3], [0, 0, 1]), history, control=CLOSE)
    assert cut.interface_stress[-1, 1] == pytest.approx(whole.interface_stress[-1, 0], rel=1e-3)


def test_held_rings_keep_their_length_and_push():
    history = jumps([0.0, 1.0], [1e-3, 1e-3], young_modulus=100e9, poisson_ratio=0.25)
    fired = fire_sleeve(nested_rings(RADII, held=True), history)
    assert (fired.axial_strain == 0.0).all()
    assert fired.stress[-1, 2] == pytest.approx(-1e8 * np.ones((2, 9)))
    assert fired.stress[-1, :2] == pytest.approx(np.zeros((2, 2, 9)), abs=1.0)


def test_a_thin_ring_is_a_hoop_in_tension():
    """Membrane: a thin outer ring that wants to be shorter by Δε round a rigid core, σ = EΔε."""
    history = jumps([0.0, 1.0], [0.0, -1e-4], young_modulus=[1e14, 1e11], poisson_ratio=0.3)
    fired = fire_sleeve(nested_rings([0.0, 1.0, 1.0001], long=False), history)
    assert fired.stress[-1, 1, 1] == pytest.approx(1e7 * np.ones(9), rel=2e-3)
    assert fired.interface_stress[-1, 0] == pytest.approx(-1e7 * 1e-4, rel=2e-3)


@pytest.mark.parametrize("radii", [[1.0, 1.0], [-1.0, 1.0], [2.0, 1.0], [1.0]])
def test_impossible_rings_are_refused(radii):
    with pytest.raises(InputError, match="radii"):
        nested_rings(radii)


def test_rings_and_materials_must_agree():
    with pytest.raises(InputError, match="materials"):
        nested_rings(RADII, [0, 1, 2])
    with pytest.raises(InputError, match="points"):
        nested_rings(RADII, points=2)
