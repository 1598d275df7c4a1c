"""The law at a point: closed answers, limits, and what must hold for any numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, march
from cofire.mechanics.law import (
    PLATE,
    SOLID,
    STRIP,
    WALL,
    WALL_WITH_SHEAR,
    Stage,
    StressState,
    flow,
    inelastic_increments,
    prepare,
    respond,
)
from cofire.mechanics.properties import NO_YIELD, REFERENCE_STRESS, Mechanisms, PointProperties
from tests.closed_forms import equivalent_stress
from tests.histories import HeldPoints, LoadedPoint, made_history

STATES = {"strip": STRIP, "plate": PLATE, "wall": WALL, "shear": WALL_WITH_SHEAR, "solid": SOLID}
LIKE_A_WALL = ("strip", "plate", "shear")
CLOSE = Control(relative_tolerance=1e-6, stress_tolerance=1.0)


def point(
    young: float = 1e11,
    poisson: float = 0.3,
    viscosity: float = np.inf,
    viscous_poisson: float = 0.25,
    creep_rate: float = 0.0,
    exponent: float = 1.0,
    yield_stress: float = np.inf,
    count: int = 1,
) -> PointProperties:
    """Properties of `count` like points; creep rate in 1/s at 1 GPa."""
    with np.errstate(divide="ignore"):
        log_rate = max(float(np.log(np.float64(creep_rate))), np.log(1e-30))
    limit = min(yield_stress, NO_YIELD)
    numbers = (0.0, young, poisson, 1 / viscosity, viscous_poisson, log_rate, exponent, limit)
    return PointProperties(*(np.full(count, number) for number in numbers))


def elastic_compliance(state: StressState, properties: PointProperties) -> NDArray[np.float64]:
    """Textbook compliance matrices."""
    E, nu = properties.young_modulus[0], properties.poisson_ratio[0]
    count = len(state.components)
    if state is PLATE:
        return np.array([[(1 - nu) / E]])
    matrix = (np.eye(count) * (1 + nu) - nu) / E
    if state is WALL_WITH_SHEAR:
        matrix[2] = matrix[:, 2] = 0.0
        matrix[2, 2] = 2 * (1 + nu) / E
    return matrix


@st.composite
def stages(draw: st.DrawFn) -> tuple[Stage, NDArray[np.float64], PointProperties]:
    """Any stage and trial strain the firing of a vessel could meet, and far beyond."""
    state = STATES[draw(st.sampled_from(sorted(STATES)))]
    viscosity = draw(st.one_of(st.just(np.inf), st.floats(3, 20).map(lambda x: 10.0**x)))
    creep = draw(st.one_of(st.just(0.0), st.floats(-20, 15).map(lambda x: 10.0**x)))
    properties = point(
        young=10.0 ** draw(st.floats(5, 11.6)),
        poisson=draw(st.floats(0.0, 0.45)),
        viscosity=viscosity,
        viscous_poisson=draw(st.floats(0.0, 0.5)),
        creep_rate=creep,
        exponent=draw(st.floats(1.0, 10.0)),
        yield_stress=draw(st.one_of(st.just(np.inf), st.floats(4, 9).map(lambda x: 10.0**x))),
    )
    flow_time = draw(st.one_of(st.just(0.0), st.floats(-3, 4).map(lambda x: 10.0**x)))
    size = 10.0 ** draw(st.floats(-8, -1))
    strain = size * np.array([[draw(st.floats(-1, 1))] for _ in state.components])
    return prepare(properties, state, flow_time), strain, properties


@given(stages())
@settings(max_examples=150, deadline=None)
def test_trial_strain_is_elastic_strain_plus_what_flowed(case):
    stage, trial, properties = case
    response = respond(stage, trial)
    elastic = elastic_compliance(stage.state, properties) @ response.stress
    flowed = inelastic_increments(response).sum(axis=0)
    largest = np.abs(trial).max() + 1e-30
    assert np.abs(elastic + flowed - trial).max() <= 1e-9 * largest


@given(stages())
@settings(max_examples=150, deadline=None)
def test_stress_never_passes_the_yield_stress_and_flow_dissipates(case):
    stage, trial, properties = case
    response = respond(stage, trial)
    stress = equivalent_stress(response.stress, stage.state)
    assert stress[0] <= properties.yield_stress[0] * (1 + 1e-9)
    for gained in inelastic_increments(response):
        assert (response.stress * gained).sum() >= 0.0


@given(stages())
@settings(max_examples=150, deadline=None)
def test_tangent_is_the_derivative_of_stress(case):
    stage, trial, properties = case
    response = respond(stage, trial)
    near_yield = stage.law.ceiling is not None and np.isclose(
        equivalent_stress(response.stress, stage.state)[0], properties.yield_stress[0], rtol=1e-3
    )
    size = np.abs(trial).max()
    if size < 1e-12 or (near_yield and not response.yields):
        return  # unstrained, or at the kink where yield begins
    if equivalent_stress(response.stress, stage.state)[0] < 1e-3:
        return  # logarithms are cut off below a micropascal
    step = 1e-5 * size
    stiffest = 1.0 / stage.law.compliance.min()
    for j in range(trial.shape[0]):
        moved = np.zeros_like(trial)
        moved[j] = step
        change = respond(stage, trial + moved).stress - respond(stage, trial - moved).stress
        expected = change[:, 0] / (2 * step)
        assert response.tangent[:, j, 0] == pytest.approx(expected, abs=2e-4 * stiffest)


@given(stages())
@settings(max_examples=50, deadline=None)
def test_a_first_guess_does_not_change_the_answer(case):
    stage, trial, _ = case
    first = respond(stage, 1.3 * trial)
    assert respond(stage, trial, first).stress == pytest.approx(respond(stage, trial).stress)


def test_a_guess_just_below_yield_does_not_hide_it():
    law = prepare(point(yield_stress=1e7), STRIP, 60.0).law
    assert law.ceiling is not None
    for below in (0.5, 1e-9, -0.5):
        found = flow(law, np.array([[1e-3]]), law.ceiling - below, 1e-10)
        assert found.stress[0, 0] == pytest.approx(1e7)
        assert found.yielding is not None


def test_a_point_that_stops_yielding_is_elastic_again():
    stage = prepare(point(yield_stress=1e8, count=2), STRIP, 0.0)
    both = respond(stage, np.array([[1.001e-3, 1.001e-3]]))
    one = respond(stage, np.array([[0.99e-3, 1.001e-3]]), both, 1e-6)
    assert one.tangent[0, 0] == pytest.approx([1e11, 1e5], rel=1e-3)


@pytest.mark.parametrize("name", STATES)
def test_elastic_tangent_is_the_textbook_stiffness(name):
    properties = point(young=70e9, poisson=0.22)
    state = STATES[name]
    tangent = respond(prepare(properties, state, 0.0), np.ones((len(state.components), 1))).tangent
    expected = np.linalg.inv(elastic_compliance(state, properties))
    assert tangent[:, :, 0] == pytest.approx(expected, abs=1e-3)


def test_all_stress_states_agree_where_they_overlap():
    numbers = {"viscosity": 1e13, "creep_rate": 1e-2, "exponent": 4.0, "yield_stress": 3e7}
    properties = point(**numbers)
    plate = respond(prepare(properties, PLATE, 60.0), np.array([[1e-3]]))
    wall = respond(prepare(properties, WALL, 60.0), np.array([[1e-3], [1e-3]]))
    sheared = respond(prepare(properties, WALL_WITH_SHEAR, 60.0), np.array([[1e-3], [1e-3], [0]]))
    assert wall.stress[:, 0] == pytest.approx(plate.stress[0, 0] * np.ones(2))
    assert sheared.stress[:, 0] == pytest.approx([*wall.stress[:, 0], 0.0])
    elastic = -0.3 / 1e11 * wall.stress.sum()
    viscous = -0.25 * 60.0 / 1e13 * wall.stress.sum()
    gained = inelastic_increments(wall)
    across = elastic + viscous - gained[1:].sum()
    solid = respond(prepare(properties, SOLID, 60.0), np.array([[across], [1e-3], [1e-3]]))
    assert solid.stress[:, 0] == pytest.approx([0.0, *wall.stress[:, 0]], abs=10.0)


def test_pure_shear_yields_at_one_over_root_three():
    """Von Mises."""
    properties = point(yield_stress=30e6)
    response = respond(prepare(properties, WALL_WITH_SHEAR, 0.0), np.array([[0], [0], [0.01]]))
    assert response.stress[2, 0] == pytest.approx(30e6 / np.sqrt(3))


def test_maxwell_bar_held_at_length_relaxes_exponentially():
    time = np.linspace(1.0, 3001.0, 31)
    history = made_history(time, np.full(31, -1e-4), young_modulus=60e9, viscosity=6e13)
    record = march(HeldPoints(STRIP), history, control=CLOSE)
    expected = 6e6 * np.exp(-(record.time - 1.0) / 1000.0)
    assert record.stress[:, 0, 0] == pytest.approx(expected, abs=200.0)
    assert record.step_error.max() <= 1e-6 * 6e6 + 1.0


def test_norton_bar_held_at_length_relaxes_as_the_closed_form():
    """σ = σ0 [1 + (n−1) E A σ0^(n−1) t]^(−1/(n−1)), by integration of σ̇ = −E A σ^n."""
    E, A, n, start = 120e9, 1e-36, 4.0, 60e6
    time = np.linspace(0.0, 3600.0, 31)
    history = made_history(
        time, np.full(31, -start / E), young_modulus=E, creep_factor=A, creep_exponent=n
    )
    record = march(HeldPoints(STRIP), history, control=CLOSE)
    growth = 1.0 + (n - 1.0) * E * A * start ** (n - 1.0) * record.time
    assert growth[-1] > 100.0
    assert record.stress[:, 0, 0] == pytest.approx(start * growth ** (-1 / (n - 1)), rel=1e-4)


@pytest.mark.parametrize("exponent", [1.0, 3.0, 7.5])
def test_norton_bar_under_constant_load_creeps_at_a_constant_rate(exponent):
    E, stress, rate = 120e9, 20e6, 1e-6
    time = np.linspace(0.0, 3600.0, 11)
    history = made_history(
        time,
        np.zeros(11),
        young_modulus=E,
        creep_factor=rate / stress**exponent,
        creep_exponent=exponent,
    )
    record = march(LoadedPoint(STRIP, np.array([stress])), history, control=CLOSE)
    assert record.strain[:, 0, 0] == pytest.approx(stress / E + rate * record.time, rel=1e-6)
    assert record.inelastic[-1, 1, 0, 0] == pytest.approx(rate * 3600.0, rel=1e-6)


def test_a_yielding_bar_creeps_at_its_yield_stress_and_yields_the_rest():
    E, A, n, limit, rate = 100e9, 1e-36, 4.0, 20e6, 1e-6
    time = np.linspace(0.0, 1000.0, 11)
    history = made_history(
        time, -rate * time, young_modulus=E, creep_factor=A, creep_exponent=n, yield_stress=limit
    )
    record = march(HeldPoints(STRIP), history, control=CLOSE)
    late = np.searchsorted(record.time, 500.0)
    creep, plastic = (
        np.diff(record.inelastic[[late, -1], place, 0, 0])[0] / np.diff(record.time[[late, -1]])[0]
        for place in (1, 2)
    )
    assert record.stress[-1, 0, 0] == pytest.approx(limit)
    assert creep == pytest.approx(A * limit**n, rel=1e-6)
    assert plastic == pytest.approx(rate - A * limit**n, rel=1e-6)


@pytest.mark.parametrize("load", [(20e6, 0.0), (20e6, 20e6), (20e6, -20e6), (-5e6, 15e6)])
def test_plane_creep_follows_the_flow_rule(load):
    """Rates A σ_eq^(n−1) (σ1 − σ2/2, σ2 − σ1/2)."""
    A, n = 1e-34, 4.0
    history = made_history([0.0, 1.0, 2.0], np.zeros(3), creep_factor=A, creep_exponent=n)
    record = march(LoadedPoint(WALL, np.array(load)), history, control=CLOSE)
    first, second = load
    equivalent = np.sqrt(first**2 - first * second + second**2)
    rate = A * equivalent ** (n - 1) * np.array([first - second / 2, second - first / 2])
    assert record.inelastic[-1, 1, :, 0] == pytest.approx(2.0 * rate, rel=1e-6)


def test_viscous_plate_flows_with_its_own_poisson_ratio():
    history = made_history([0.0, 1.0, 2.0], np.zeros(3), viscosity=1e9, viscous_poisson_ratio=0.4)
    record = march(LoadedPoint(WALL, np.array([1e5, 0.0])), history)
    assert record.inelastic[-1, 0, :, 0] == pytest.approx([2e-4, -0.8e-4], rel=1e-6)


@pytest.mark.parametrize(
    "name", ["wall", "solid", *(pytest.param(n, marks=pytest.mark.long) for n in LIKE_A_WALL)]
)
def test_flow_agrees_with_a_general_purpose_stiff_solver(name):
    """Viscous and creep flow together, properties changing; Radau on the plain equations."""
    state = STATES[name]
    time = np.linspace(0.0, 2000.0, 41)
    free = -2e-4 * np.sin(time / 400.0)
    E = np.linspace(120e9, 80e9, 41)
    eta = np.exp(np.linspace(np.log(1e15), np.log(1e13), 41))
    A, n, nu, viscous_nu = 1e-34, 4.0, 0.3, 0.2
    history = made_history(
        time,
        free,
        young_modulus=E[None],
        poisson_ratio=nu,
        viscosity=eta[None],
        viscous_poisson_ratio=viscous_nu,
        creep_factor=A,
        creep_exponent=n,
    )
    record = march(HeldPoints(state), history, control=CLOSE)
    count = len(state.components)
    unit = point(young=1.0, poisson=nu)
    soft = point(young=1.0, poisson=viscous_nu)
    rigid = point(young=1.0, poisson=0.5)
    compliance, viscous, creep = (elastic_compliance(state, p) for p in (unit, soft, rigid))
    exact_free = PchipInterpolator(time, free)

    def stress(t, inelastic):
        elastic = -exact_free(t) * state.free_direction - inelastic
        return np.linalg.solve(compliance, elastic) * np.interp(t, time, E)

    def rate(t, inelastic):
        s = stress(t, inelastic)
        flow = viscous @ s / np.exp(np.interp(t, time, np.log(eta)))
        return flow + A * equivalent_stress(s[:, None], state)[0] ** (n - 1) * (creep @ s)

    answer = solve_ivp(
        rate, (0.0, 2000.0), np.zeros(count), method="Radau", rtol=1e-9, atol=1e-13, max_step=50.0
    )
    assert answer.success
    assert record.inelastic[-1].sum(axis=0)[:, 0] == pytest.approx(answer.y[:, -1], rel=2e-5)
    assert record.stress[-1, :, 0] == pytest.approx(
        stress(2000.0, answer.y[:, -1]), abs=1e-5 * np.abs(record.stress).max()
    )


def test_stiffest_and_softest_bodies_settle_in_one_stage():
    """Viscosity of 1e3 Pa s under a modulus of 400 GPa: relaxation in 2.5 ns, step of a day."""
    properties = point(young=4e11, viscosity=1e3, creep_rate=1e12, exponent=10.0, yield_stress=1e4)
    stage = prepare(properties, WALL, 86400.0)
    response = respond(stage, np.array([[0.1], [-0.05]]))
    assert np.isfinite(response.stress).all()
    assert equivalent_stress(response.stress, WALL)[0] <= 1e4


def test_mechanisms_switched_off_contribute_exactly_zero():
    time = np.linspace(0.0, 3600.0, 21)
    history = made_history(
        time,
        np.linspace(0.0, -2e-3, 21),
        viscosity=1e14,
        creep_factor=1e-36,
        creep_exponent=4.0,
        yield_stress=1.5e7,
    )
    everything = march(HeldPoints(WALL), history)
    assert (np.abs(everything.inelastic[-1]).max(axis=(1, 2)) > 1e-6).all()
    for place, name in enumerate(("viscous", "creep", "plastic")):
        record = march(HeldPoints(WALL), history, mechanisms=Mechanisms(**{name: False}))
        assert (record.inelastic[:, place] == 0.0).all()
        assert np.abs(record.stress[-1]).max() > 0.999 * np.abs(everything.stress[-1]).max()


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("young_modulus", -1.0, "Young's modulus"),
        ("poisson_ratio", 0.5, "Poisson's ratio is 0.5"),
        ("viscosity", 0.0, "viscosity"),
        ("creep_exponent", 0.5, "creep exponent"),
        ("yield_stress", 0.0, "yield stress"),
        ("viscosity", np.nan, "viscosity"),
    ],
)
def test_a_history_the_law_cannot_take_is_named(field, value, words):
    history = made_history([0.0, 1.0], [0.0, 0.0], **{field: value})
    with pytest.raises(InputError, match=words):
        march(HeldPoints(STRIP), history)


def test_the_reference_stress_of_creep_is_a_gigapascal():
    assert REFERENCE_STRESS == 1e9
