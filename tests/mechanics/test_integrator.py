"""Steps in time: order, error control, landing, and reading histories between nodes."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.errors import InputError, ModelError
from cofire.mechanics.integrator import Control, march
from cofire.mechanics.law import STRIP, WALL
from cofire.mechanics.properties import Mechanisms, breakpoints, material_table
from tests.closed_forms import dissipated_energy
from tests.histories import HeldPoints, made_history

QUARTER_HOUR = 900.0


def softening_glass(nodes: int = 2001):
    """A glass that contracts, softens and stiffens again, smooth in time."""
    time = np.linspace(0.0, QUARTER_HOUR, nodes)
    phase = time / QUARTER_HOUR
    return made_history(
        time,
        -1e-3 * np.sin(2.0 * phase) ** 2,
        young_modulus=(60e9 + 10e9 * phase)[None],
        viscosity=10.0 ** (12.0 + 8.0 * (phase - 0.5) ** 2)[None],
    )


def creeping_metal(nodes: int = 2001):
    """A metal that creeps by a power law whose factor changes, smooth in time."""
    time = np.linspace(0.0, QUARTER_HOUR, nodes)
    phase = time / QUARTER_HOUR
    return made_history(
        time,
        -1e-3 * phase * (1.0 + phase),
        young_modulus=(120e9 - 40e9 * phase)[None],
        creep_factor=1e-34 * np.exp(3.0 * phase)[None],
        creep_exponent=4.0,
    )


@pytest.mark.parametrize(
    "history",
    [
        pytest.param(softening_glass(), id="glass"),
        pytest.param(creeping_metal(), id="metal", marks=pytest.mark.long),
    ],
)
def test_halving_the_step_divides_the_error_by_four(history):
    def end(count: int) -> float:
        control = Control(1e-9, 1e-3, fixed_step=QUARTER_HOUR / count)
        return float(march(HeldPoints(STRIP), history, control=control).stress[-1, 0, 0])

    exact = end(1600)
    errors = [abs(end(count) - exact) for count in (100, 200, 400)]
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders == pytest.approx(2.0, abs=0.15)


def test_stress_is_of_second_order_where_a_body_flows_as_fast_as_it_is_strained():
    """σ = −η ε̇: relaxation takes 10 ms, a step 25 s or more; order one if a stage is backward."""
    time = np.linspace(0.0, QUARTER_HOUR, 2001)
    phase = time / QUARTER_HOUR
    history = made_history(time, -1e-3 * phase**4, viscosity=1e9)
    exact = 1e9 * 4e-3 / QUARTER_HOUR

    def end(count: int) -> float:
        control = Control(1e-9, 1e-3, fixed_step=QUARTER_HOUR / count)
        return float(march(HeldPoints(STRIP), history, control=control).stress[-1, 0, 0])

    errors = [abs(end(count) - exact) for count in (9, 18, 36)]
    assert errors[0] < 0.02 * exact
    assert np.log2(errors[0] / errors[1]) > 1.7
    assert np.log2(errors[1] / errors[2]) > 1.7


def test_a_given_step_in_doubt_is_cut_and_the_middle_of_a_bowed_one_is_kept():
    """Read along straight lines, no moment is out by more than three times what is borne."""
    history, given = softening_glass(), (300.0, 600.0, QUARTER_HOUR)
    exact = march(HeldPoints(STRIP), history, control=Control(1e-6, 1.0))
    largest = np.abs(exact.stress).max()

    def wrong(borne: float | None) -> tuple[float, int]:
        control = Control(times=given, borne=None if borne is None else (borne,) * 3)
        record = march(HeldPoints(STRIP), history, control=control)
        assert set(given) <= set(record.time)
        assert (np.diff(record.time) > 0.0).all()
        assert record.step_error.shape == record.time.shape
        line = np.interp(exact.time, record.time, record.stress[:, 0, 0])
        return float(np.abs(line - exact.stress[:, 0, 0]).max() / largest), record.time.size

    (plain, few), (loose, some), (close, many) = (
        wrong(b) for b in (None, 0.2 * largest, 0.05 * largest)
    )
    assert few == 4
    assert few < some < many
    assert close < loose < plain
    assert close < 0.15


@pytest.mark.parametrize("history", [softening_glass(), creeping_metal()], ids=["glass", "metal"])
def test_error_stays_within_what_was_asked(history):
    exact = march(HeldPoints(STRIP), history, control=Control(1e-7, 1.0))
    for tolerance in (1e-2, 1e-3, 1e-4):
        record = march(HeldPoints(STRIP), history, control=Control(tolerance, 1.0))
        largest = np.abs(exact.stress).max()
        wrong = np.interp(record.time, exact.time, exact.stress[:, 0, 0]) - record.stress[:, 0, 0]
        assert np.abs(wrong).max() <= 5.0 * tolerance * largest
        assert np.abs(wrong).max() <= record.error_bound


def test_tighter_control_takes_more_steps():
    counts = [
        march(HeldPoints(STRIP), softening_glass(), control=Control(t, 1.0)).steps
        for t in (1e-2, 1e-3, 1e-4)
    ]
    assert counts == sorted(counts)
    assert counts[-1] > 3 * counts[0]


def test_a_body_that_cannot_flow_goes_from_landmark_to_landmark():
    time = np.linspace(0.0, 36000.0, 601)
    strain = 1e-3 * np.array([np.zeros(601), np.clip((time - 20000.0) / 500.0, 0.0, 1.0)])
    history = made_history(time, strain)
    record = march(HeldPoints(STRIP, np.array([0, 1])), history)
    assert record.steps < 60
    assert record.step_error.max() == 0.0
    assert record.stress[-1, 0] == pytest.approx([0.0, -1e8])
    drawn = np.interp(time, record.time, record.stress[:, 0, 1])
    assert drawn == pytest.approx(-1e11 * strain[1], abs=1e11 * 5e-5)


def test_the_march_lands_on_every_corner():
    time = np.linspace(0.0, 3600.0, 361)
    history = made_history(
        time, 1e-4 * np.sin(time / 300.0), viscosity=1e12, breakpoints=(17, 200, 301)
    )
    for control in (Control(), Control(fixed_step=77.0)):
        record = march(HeldPoints(STRIP), history, control=control)
        assert set(time[[0, 17, 200, 301, 360]]) <= set(record.time)


def test_no_step_is_longer_than_the_longest_allowed():
    history = made_history([0.0, 1800.0, 3600.0], np.zeros(3), viscosity=1e12)
    record = march(HeldPoints(STRIP), history, control=Control(longest_step=100.0))
    assert np.diff(record.time).max() <= 100.0 * (1 + 1e-9)


def test_between_nodes_moduli_are_linear_and_viscosity_log_linear():
    history = made_history(
        [0.0, 10.0],
        np.array([[0.0, 1e-3]]),
        young_modulus=np.array([[100e9, 60e9]]),
        viscosity=np.array([[1e14, 1e10]]),
        creep_factor=np.array([[1e-30, 1e-34]]),
        creep_exponent=3.0,
        yield_stress=np.array([[50e6, 10e6]]),
    )
    here = material_table(history).at(5.0)
    assert here.free_strain == pytest.approx(0.5e-3)
    assert here.young_modulus == pytest.approx(80e9)
    assert 1.0 / here.fluidity == pytest.approx(1e12)
    assert np.exp(here.log_creep_rate) / 1e27 == pytest.approx(1e-32)
    assert here.yield_stress == pytest.approx(30e6)


def test_free_strain_passes_its_nodes_without_overshoot():
    time = np.linspace(0.0, 10.0, 11)
    strain = np.where(time < 5, 0.0, 1e-3)
    table = material_table(made_history(time, strain, breakpoints=(3,)))
    assert [table.at(t).free_strain[0] for t in time] == pytest.approx(strain)
    dense = [table.at(t).free_strain[0] for t in np.linspace(0.0, 10.0, 301)]
    assert min(dense) >= -1e-18
    assert max(dense) <= 1e-3 + 1e-18


def test_landmarks_follow_a_mismatch_and_ignore_what_bodies_share():
    time = np.linspace(0.0, 10.0, 101)
    shared = 0.1 * np.sin(time)
    history = made_history(
        time, np.array([shared, shared + 1e-3 * (time > 5.0)]), breakpoints=(20,)
    )
    marks = breakpoints(history)
    assert {0, 20, 50, 51, 100} == set(marks.tolist())


def test_free_strain_at_the_start_is_answered_at_once():
    history = made_history([0.0, 1.0], [-1e-3, -1e-3], yield_stress=40e6)
    record = march(HeldPoints(STRIP), history)
    assert record.stress[0, 0, 0] == pytest.approx(40e6)
    assert record.inelastic[0, 2, 0, 0] == pytest.approx(1e-3 - 40e6 / 1e11)


def test_added_strain_acts_as_free_strain():
    time = np.linspace(0.0, 100.0, 11)
    plain = march(HeldPoints(STRIP), made_history(time, -1e-5 * time, viscosity=1e12))
    added = march(
        HeldPoints(STRIP),
        made_history(time, 0.0 * time, viscosity=1e12),
        added_strain=lambda t: np.array([[-1e-5 * t]]),
    )
    assert added.stress[-1] == pytest.approx(plain.stress[-1], rel=1e-3)


def test_watching_sees_every_instant_and_nothing_need_be_kept():
    seen = []
    history = softening_glass(101)
    whole = march(HeldPoints(STRIP), history)
    last = march(HeldPoints(STRIP), history, watch=seen.append, keep=False)
    assert last.time.tolist() == [QUARTER_HOUR]
    assert last.stress[-1] == pytest.approx(whole.stress[-1])
    assert [i.time for i in seen] == whole.time.tolist()


def test_energy_put_in_is_stored_or_dissipated():
    """Held point, constant modulus: −∫σ dε_free = σ²/2E + ∫σ dε_inelastic."""
    time = np.linspace(0.0, 3600.0, 361)
    history = made_history(
        time,
        -1e-3 * np.sin(time / 500.0),
        viscosity=2e14,
        creep_factor=1e-35,
        creep_exponent=4.0,
        yield_stress=2e7,
    )
    body = HeldPoints(STRIP)
    record = march(body, history, control=Control(1e-5, 1e2))
    free = -1e-3 * np.sin(record.time / 500.0)
    stress = record.stress[:, 0, 0]
    work = -np.sum(0.5 * (stress[1:] + stress[:-1]) * np.diff(free))
    lost = dissipated_energy(record, body)[:, :, 0]
    assert (np.diff(lost, axis=0) >= -1e-9 * lost[-1]).all()
    assert (lost[-1] > 1.0).all()
    assert work == pytest.approx(stress[-1] ** 2 / 2e11 + lost[-1].sum(), rel=2e-4)


def test_an_unknown_material_index_is_refused():
    with pytest.raises(InputError, match="indices 3 to 3; the history has 0 to 0"):
        march(HeldPoints(WALL, np.array([3])), made_history([0.0, 1.0], [0.0, 0.0]))


@pytest.mark.parametrize("exponent", [0.9, 20.5])
def test_a_creep_exponent_that_no_ware_has_is_refused_with_the_range(exponent: float):
    history = made_history([0.0, 1.0], [0.0, 1e-3], creep_factor=1e-60, creep_exponent=exponent)
    with pytest.raises(InputError, match=r"creep exponent is .*; allowed: from 1 to 20"):
        march(HeldPoints(WALL), history)


def test_a_body_that_never_balances_is_reported():
    class Wild(HeldPoints):
        def strains(self, unknowns):
            return unknowns.reshape(1, 1) * np.ones((1, 1))

        def solver(self, tangent):
            return lambda force: np.ones(1)

    history = made_history([0.0, 1.0], [0.0, 1e-3], yield_stress=1e6)
    with pytest.raises(ModelError, match="no equilibrium"):
        march(Wild(STRIP), history, mechanisms=Mechanisms())


@pytest.mark.parametrize(
    ("viscosity", "factor", "yielding", "relief"),
    [
        (1e11 * 900.0, 0.0, np.inf, 1.0),  # a relaxation time of the whole history
        (np.inf, 1e-45, np.inf, 1e11 * 1e-45 * 2e9**3 * 900.0),  # at a strain of 2 %
        (np.inf, 1e-40, 5e7, 1e11 * 1e-40 * 5e7**3 * 900.0),  # no more stress than it yields at
    ],
)
def test_what_relieves_less_than_a_ten_thousandth_of_a_stress_does_not_flow(
    viscosity: float, factor: float, yielding: float, relief: float
) -> None:
    """Relief is E σ^(n-1) A t of a power law, E t / η of a liquid, in all of the history."""
    for times, flows in ((1.1e-4 / relief, True), (0.9e-4 / relief, False)):
        history = made_history(
            np.array([0.0, 450.0, 900.0]), np.zeros(3), viscosity=viscosity / times,
            creep_factor=factor * times, creep_exponent=4.0, yield_stress=yielding,
        )  # fmt: skip
        table = material_table(history)
        assert table.flows_between(0.0, 900.0) == flows
        assert table.flows_beside().all() == flows


def test_three_nodes_are_joined_by_a_curve_and_two_by_a_line() -> None:
    """Between breakpoints the free strain keeps its shape: a convex one lies below its chords."""
    time, strain = np.array([0.0, 1.0, 2.0]), np.array([0.0, 1e-4, 4e-4])
    curve = material_table(made_history(time, strain))
    lines = material_table(made_history(time, strain, breakpoints=(1,)))
    for middle, chord in ((0.5, 0.5e-4), (1.5, 2.5e-4)):
        assert float(curve.at(middle).free_strain[0]) < 0.95 * chord
        assert float(lines.at(middle).free_strain[0]) == pytest.approx(chord, rel=1e-12)
