"""The coupled criterion on arrays: limits, arrest, and the closed forms of its energies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cofire.errors import InputError, OutOfRange
from cofire.physics import fracture

E, NU, H = 70e9, 0.2, 6e-3
PLANE = E / (1 - NU**2)


def edge(stress, strength=40e6, toughness=15.0, wall=H, count=60):
    """Edge crack in a strip under a stress from face to face."""
    a = fracture.crack_lengths(wall, count=count)
    x = np.linspace(0.0, wall, len(stress))
    K = np.concatenate([np.zeros((1, x.size)), fracture.edge_crack_operator(a[1:], x, wall)])
    W = fracture.freed_energy(a, K @ np.asarray(stress), PLANE)
    use = fracture.use_along(a, np.interp(a, x, stress), 0.0, strength)
    return fracture.coupled_criterion(a, use, W, toughness * a)


def test_no_stress_never_cracks():
    found = edge(np.zeros(5))

    assert np.isinf(found.start)
    assert np.isinf(found.through)
    assert not found.runs


def test_pressed_more_than_pulled_never_cracks():
    assert np.isinf(edge([-60e6, -10e6, 40e6]).start)


def test_a_face_pressed_to_a_hundredth_of_the_wall_stops_no_crack():
    """As above a floor, where one point at the corner of a joint stopped every crack below it.

    The skin holds back a tenth by its energy, as a finer path finds again.
    """
    x = np.linspace(0.0, 1.0, 2001)
    pulled = 60e6 * (1.0 - x)
    skin = np.where(x < 0.003, -80e6, pulled)
    coarse, fine = (float(edge(skin, count=n).start) for n in (60, 200))

    assert coarse == pytest.approx(fine, rel=2e-3)
    assert 1.0 < fine / float(edge(pulled).start) < 1.1


def test_even_tension_breaks_at_its_strength_and_runs_through():
    found = edge([20e6, 20e6])

    assert found.start == pytest.approx(2.0)
    assert found.runs
    assert found.arrest_length == pytest.approx(fracture.THROUGH * H)


def test_without_toughness_strength_decides():
    found = edge([20e6, -20e6], toughness=1e-9)

    assert found.start == pytest.approx(2.0, rel=1e-3)


def test_without_strength_energy_decides():
    """Griffith: the least load at which the mean of K²/E' over a crack reaches the toughness."""
    stress = np.array([20e6, 1e6])
    a = fracture.crack_lengths(H)
    K = fracture.edge_crack_operator(a[1:], np.array([0.0, H]), H) @ stress
    W = fracture.freed_energy(a, np.concatenate([[0.0], K]), PLANE)
    least = np.sqrt(np.min(15.0 * a[1:] / W[1:]))

    assert edge(stress, strength=1.0).start == pytest.approx(least, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_start_rises_with_strength_and_toughness_and_falls_with_load(strength, toughness):
    stress = np.array([20e6, -20e6])
    one = edge(stress).start
    more = edge(stress, 40e6 * max(strength, 1.0), 15.0 * max(toughness, 1.0)).start
    less = edge(stress, 40e6 * min(strength, 1.0), 15.0 * min(toughness, 1.0)).start

    assert less <= one * (1 + 1e-12)
    assert more >= one * (1 - 1e-12)
    assert edge(2 * stress).start == pytest.approx(0.5 * one)


def test_scaling_all_lengths_with_the_irwin_length_changes_nothing():
    """Only wall over E' G/strength² counts."""
    one, other = edge([20e6, -20e6]), edge([20e6, -20e6], toughness=30.0, wall=2 * H)

    assert other.start == pytest.approx(one.start)
    assert other.start_length == pytest.approx(2 * one.start_length)


def test_a_shallow_peak_of_stress_starts_a_crack_that_stops():
    x = np.linspace(0.0, 1.0, 200)
    found = edge(60e6 * np.exp(-x / 0.03) - 8e6)

    assert found.start_length < found.arrest_length < 0.5 * H
    assert found.through > 1.5 * found.start
    assert not found.runs


def test_load_states_in_a_batch_are_as_alone():
    x = np.linspace(0.0, 1.0, 50)
    states = np.stack([20e6 * (1 - 2 * x), 60e6 * np.exp(-x / 0.05) - 3e6, 0 * x])
    a = fracture.crack_lengths(H)
    K = np.concatenate([np.zeros((1, 50)), fracture.edge_crack_operator(a[1:], x * H, H)])
    W = fracture.freed_energy(a, states @ K.T, PLANE)
    use = np.stack([np.interp(a, x * H, s) for s in states]) / 40e6
    batch = fracture.coupled_criterion(a, np.maximum(use, 0.0), W, 15.0 * a)

    for number, one in enumerate(states):
        alone = edge(one)
        for name in ("start", "start_length", "arrest_length", "through"):
            assert getattr(batch, name)[number] == pytest.approx(getattr(alone, name))


def test_lengths_that_do_not_rise_are_refused():
    with pytest.raises(InputError, match="rising from 0"):
        fracture.coupled_criterion([0.0, 2.0, 1.0], 1.0, [0.0, 1.0, 2.0], [0.0, 1.0, 2.0])


def test_toughness_is_finite_at_pure_shear_and_even():
    phase = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 21)
    found = fracture.mode_mix_toughness(15.0, phase)

    np.testing.assert_allclose(found, found[::-1])
    assert found.min() == pytest.approx(15.0)
    assert found[-1] == pytest.approx(15.0 * (1 + np.tan(0.35 * np.pi) ** 2))
    np.testing.assert_allclose(fracture.mode_mix_toughness(15.0, phase, 1.0), 15.0)
    with pytest.raises(InputError, match="sensitivity"):
        fracture.mode_mix_toughness(15.0, 0.0, 0.0)


def test_a_pressed_joint_uses_its_shear_strength_only_and_friction_helps():
    assert fracture.strength_use(-50e6, 0.0, 40e6, 40e6) == 0.0
    assert fracture.strength_use(-50e6, 20e6, 40e6, 40e6) == pytest.approx(0.5)
    assert fracture.strength_use(-50e6, 20e6, 40e6, 40e6, friction=0.2) == pytest.approx(0.25)
    assert fracture.strength_use(30e6, 40e6, 100e6, 100e6) == pytest.approx(0.5)


def test_a_ring_crack_in_a_wide_tube_is_that_of_a_free_strip():
    """The restraint falls with the root of the radius."""
    a, x = fracture.crack_lengths(H), np.array([0.0, H])
    s = np.array([20e6, -20e6])
    wide = fracture.ring_crack_energy(a, x, s, wall=H, radius=1e12, young=E, poisson=NU)
    K = np.concatenate([[0.0], fracture.edge_crack_operator(a[1:], x, H) @ s])

    np.testing.assert_allclose(wide, fracture.freed_energy(a, K, PLANE), rtol=2e-3)


def test_a_ring_crack_cannot_free_more_than_the_tubes_bending_can_give():
    """Through the wall by bending alone, the moment M falls to nothing on a stiffness D beta/2."""
    a, x = fracture.crack_lengths(H), np.array([0.0, H])
    s, radius = np.array([20e6, -20e6]), 0.05
    found = fracture.ring_crack_energy(a, x, s, wall=H, radius=radius, young=E, poisson=NU)
    stiffness = 0.5 * PLANE * H**3 / 12 * (3 * (1 - NU**2)) ** 0.25 / np.sqrt(radius * H)
    bound = 0.5 * (20e6 * H**2 / 6) ** 2 / stiffness

    assert 0.9 * bound < found[-1] < bound


def test_an_axial_crack_is_refused_beyond_its_range():
    y = fracture.crack_lengths(0.05)
    with pytest.raises(OutOfRange, match="at most"):
        fracture.axial_crack_energy(y, 1e6, wall=2e-3, radius=0.05, young=E)
    y = fracture.crack_lengths(5e-3)
    with pytest.raises(OutOfRange, match="ratio"):
        fracture.axial_crack_energy(y, 1e6, wall=2e-3, radius=0.05, young=E, beyond=10 * E)


def test_a_stiffer_body_beyond_the_joint_holds_an_axial_crack():
    y = fracture.crack_lengths(5e-3)
    hoop = np.full(y.size, 20e6)
    soft, alike, stiff, rim = (
        fracture.axial_crack_energy(y, hoop, wall=2e-3, radius=0.05, young=E, beyond=b)[-1]
        for b in (0.5 * E, E, 3 * E, 0.0)
    )

    assert stiff < alike < soft < rim


def test_below_the_first_length_energy_goes_with_its_square_and_resistance_with_it():
    """Even tension, energy A a² against G a: the crack that appears is G / (A factor²) long."""
    place = np.array([0.0, 1e-3, 2e-3, 4e-3])
    A, G = 18750.0, 15.0
    found = fracture.coupled_criterion(place, np.full(4, 0.5), A * place**2, G * place)

    assert found.start == pytest.approx(2.0)
    step = fracture.REACH ** (-1.0 / (3 * fracture.FINER))  # between lengths that are looked at
    assert 1.0 <= found.start_length / (G / (A * 2.0**2)) < step


AXIAL = {
    "wall": 3e-3, "radius": 0.05, "young": E, "poisson": NU, "strength": 40e6, "toughness": 15.0
}  # fmt: skip
PLACES = np.array([-1.0, -0.7, 0.1, 0.4, 1.0])


def test_stress_that_only_bends_the_wall_lengthens_no_axial_crack():
    """Straight lines between places have the mean of their ends, however the places lie."""
    height = np.array([0.0, 0.01, 0.03])
    even = np.full((3, 5), 20e6)
    bent = even + 15e6 * PLACES

    along = [fracture.axial_limits(height, PLACES, s, **AXIAL).along for s in (even, bent)]
    assert along[1].start == pytest.approx(along[0].start, rel=1e-12)
    assert along[1].arrest_length == pytest.approx(along[0].arrest_length, rel=1e-12)
    assert fracture.axial_limits(height, PLACES, bent - even, **AXIAL).along.start > 1e6


def test_a_wall_turned_inside_out_has_its_axial_cracks_on_the_other_face():
    height = np.array([0.0, 0.01, 0.03])
    stress = np.array([1.0, 0.8, 0.3])[:, None] * (20e6 + 15e6 * PLACES)
    one = fracture.axial_limits(height, PLACES, stress, **AXIAL)
    other = fracture.axial_limits(height, -PLACES[::-1], stress[:, ::-1], **AXIAL)

    assert one.inner.start > 1.2 * one.outer.start
    for this, that in ((one.inner, other.outer), (one.outer, other.inner)):
        assert this.start == pytest.approx(that.start, rel=1e-12)
        assert this.through == pytest.approx(that.through, rel=1e-12)


def test_hoop_stress_that_falls_evenly_with_height_counts_at_the_middle_of_four_depths():
    """The mean of a straight line over a reach is its value at the middle of the reach."""
    top, wall = 0.2, 3e-3
    height, weak = np.array([0.0, 0.5 * top, top]), {**AXIAL, "strength": 1e3}
    stress = 20e6 * (1.0 - height / top)[:, None] * np.ones(2)
    found = fracture.axial_limits(height, [-1.0, 1.0], stress, **weak).inner

    a, x = fracture.crack_lengths(wall), np.array([0.0, wall])
    K = fracture.edge_crack_operator(a[1:], x, wall) @ np.full(2, 20e6) * (1.0 - 2.0 * a[1:] / top)
    energy = fracture.freed_energy(a, np.concatenate([[0.0], K]), PLANE)
    least = np.sqrt(np.min(15.0 * a[1:] / energy[1:]))
    assert found.start == pytest.approx(least, rel=1e-3)


def test_a_shallow_axial_crack_by_even_hoop_tension_is_that_of_a_half_plane():
    """K = 1.1215 s √(π a) (Tada, Paris & Irwin); it frees G a at a = 2 G E'/(1.1215² π s²)."""
    height, thick = np.array([0.0, 0.05]), {**AXIAL, "wall": 0.05}
    found = fracture.axial_limits(height, [-1.0, 1.0], np.full((2, 2), 20e6), **thick)
    known = 2 * 15.0 * PLANE / (np.pi * (1.1215 * 40e6) ** 2)

    for face in (found.inner, found.outer):
        assert face.start == pytest.approx(2.0)
        assert known < 0.01 * thick["wall"]
        assert face.start_length == pytest.approx(known, rel=0.05)
