"""Shells far from any sensible vessel: finite, and where there is a closed form, close to it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from cofire.assessment.response import CHECK_STEPS, Response, band_stresses, fire_vessel
from cofire.assessment.rule import CAUTION
from cofire.assessment.verdict import judge
from cofire.design import candidates
from cofire.design.candidates import Bench
from cofire.errors import InputError, ModelError
from cofire.mechanics import equilibrium
from cofire.mechanics import integrator as marching
from cofire.mechanics.integrator import Control
from cofire.mechanics.meridian import Meridian, mesh_meridian
from cofire.mechanics.shell_firing import THINNEST_RATIO, ShellFiring, fire_shells
from cofire.report.stress import as_text, fields_csv
from cofire.vessel import Band, Vessel
from tests.fired import CARDS, FRIT, SILVER, TEA_LIGHT, written_vessel
from tests.histories import Array, jumps, made_history

HOUR = 3600.0
YOUNG, POISSON, MISMATCH = 1e11, 0.3, 1e-3
CLOSELY = Control()
OUT_OF_BALANCE = CLOSELY.imbalance * CLOSELY.stress_tolerance
"""What a march leaves of a stress that ought to vanish. [Pa]"""
JOINT_BENDING = np.exp(-np.pi / 4) * np.sqrt(0.5) * np.sqrt(0.75 / (1.0 - POISSON**2))
"""Largest bending stress beside a joint of two long, equal cylinders over E times their mismatch,
and that of a cylinder on a rigid end: beam on an elastic foundation (S. Timoshenko and S.
Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, chapter 15; from memory). [-]"""
CLAMPED_BENDING = np.sqrt(3.0 / (1.0 - POISSON**2))


def tube(
    radius: float, height: float, wall: float, steps: tuple[float, ...] | Array, rim: float = 0.0
) -> Meridian:
    """A cylinder, or a cone if its rim has another radius."""
    return mesh_meridian([radius, rim or radius], [0.0, height], wall, steps)


def made(
    mesh: Meridian,
    strain: tuple[float, ...] | Array = (0.0, MISMATCH),
    control: Control = CHECK_STEPS,
    **properties: object,
) -> ShellFiring:
    """Bands of materials whose free strain grows for an hour, one after another up the wall."""
    time = properties.pop("time", np.linspace(0.0, HOUR, 61))
    history = jumps(time, strain, **properties)  # type: ignore[arg-type]
    band = np.arange(mesh.step_node.size + 1) % len(history.names)
    (fired,) = fire_shells([mesh], history, [band], control=control)
    return finite(fired)


def finite(fired: ShellFiring) -> ShellFiring:
    """The same, every number of it finite."""
    for part in (fired, fired.steps):
        for name, value in vars(part).items():
            if isinstance(value, np.ndarray):
                assert np.isfinite(value).all(), name
    assert np.isfinite(fired.mesh_error)
    return fired


def tea_light(**changes: object) -> Vessel:
    """The tea-light vessel with some fields replaced."""
    return replace(written_vessel(TEA_LIGHT), **changes)  # type: ignore[arg-type]


def fired_and_judged(vessel: Vessel) -> Response:
    """Its response, finite, each flag of it with a figure."""
    response = fire_vessel(vessel, CARDS)
    finite(response.fired)
    for found in band_stresses(response):
        assert np.isfinite([found.worst.tension, found.cold.tension, found.bending]).all()
    assert np.isfinite([flag.utilisation for flag in judge(response).flags]).all()
    return response


def with_segments(kiln_rate: float | None = None, **changes: float) -> Vessel:
    """The tea-light vessel, each segment changed; in a kiln that can follow, if a rate is given."""
    vessel = tea_light()
    firing = vessel.firing
    segments = tuple(replace(segment, **changes) for segment in firing.segments)
    if kiln_rate is not None:
        kiln = replace(
            firing.kiln,
            heating_rate=np.full_like(firing.kiln.heating_rate, kiln_rate),
            cooling_rate=np.full_like(firing.kiln.cooling_rate, kiln_rate),
        )
        firing = replace(firing, kiln=kiln, lag=0.0)
    return replace(vessel, firing=replace(firing, segments=segments))


# soft zones


@pytest.mark.parametrize("rim", [0.03, 0.05])
@pytest.mark.parametrize("viscosity", [1e3, 1e6])
def test_a_liquid_zone_carries_no_stress_and_gives_none(viscosity: float, rim: float):
    mesh = tube(0.03, 0.06, 0.003, (0.03,), rim)
    fired = made(mesh, control=CLOSELY, viscosity=[viscosity, np.inf])
    flow = 3.0 * viscosity * MISMATCH / HOUR
    assert np.abs(fired.stress).max() < flow + OUT_OF_BALANCE
    assert np.abs(fired.steps.peak).max() < flow + 2.0 * OUT_OF_BALANCE  # read from both sides


def test_a_zone_that_freezes_from_a_liquid_keeps_only_what_comes_after():
    time = np.linspace(0.0, HOUR, 61)
    freezing = np.where(time < 0.5 * HOUR, 1e3, 1e20)
    fired = made(tube(0.03, 0.06, 0.003, (0.03,)), viscosity=[freezing, np.full(61, np.inf)])
    late = made(tube(0.03, 0.06, 0.003, (0.03,)), (0.0, 0.5 * MISMATCH))
    assert fired.stress[-1] == pytest.approx(late.stress[-1], abs=0.03 * late.stress.max())


@pytest.mark.parametrize("soft", [0, 1])
def test_a_zone_a_million_times_softer_bends_as_on_a_rigid_end(soft: int):
    young = np.full(2, YOUNG)
    young[soft] *= 1e-6
    # radius over wall of 100: the closed form leaves out what is of the order of wall over radius
    mesh = tube(0.03, 0.06, 0.3e-3, (0.03,))
    fired = made(mesh, control=CLOSELY, young_modulus=young)  # its stress is 200 Pa
    bending = fired.bending_tension[-1, soft]
    assert bending == pytest.approx(CLAMPED_BENDING * young[soft] * MISMATCH, rel=0.02)
    # three times the hoop stress of the soft zone: its shear force and its moment on the stiff one
    hoop = fired.steps.hoop[-1, 0, 1 - soft]
    assert abs(hoop) == pytest.approx(3.0 * young[soft] * MISMATCH, rel=0.02)


@pytest.mark.parametrize("strain", [6e-3, 3e-2])
@pytest.mark.parametrize("yields", [(1e6, 1e6), (1e6, 2e6), (1.5e6, 1e6)])
def test_two_zones_that_yield_and_do_not_flow_find_a_balance(strain: float, yields: tuple):
    fired = made(
        tube(0.048, 0.085, 0.001, (0.026,)),
        (0.0, strain),
        young_modulus=1e10,
        yield_stress=np.array(yields),
    )
    up, round_ = np.moveaxis(fired.stress[-1], -1, 0)
    equivalent = np.sqrt(up**2 - up * round_ + round_**2)
    limit = np.array(yields)[fired.band][:, None]
    assert (equivalent < 1.001 * limit + CHECK_STEPS.stress_tolerance).all()
    assert (equivalent > 0.99 * limit).mean() > 0.2


# holds and ramps


@pytest.mark.parametrize("viscosity", [1e14, 1e17])
def test_a_hold_of_a_hundred_hours_relaxes_as_a_maxwell_body(viscosity: float):
    time = np.concatenate([np.linspace(0.0, HOUR, 11), np.linspace(2.0 * HOUR, 101.0 * HOUR, 100)])
    strain = np.stack([0.0 * time, MISMATCH * np.minimum(time / HOUR, 1.0)])
    history = made_history(
        time, strain, viscosity=viscosity, viscous_poisson_ratio=POISSON, breakpoints=(10,)
    )
    (fired,) = fire_shells(
        [tube(0.03, 0.06, 0.003, (0.03,))], history, [[0, 1]], control=CHECK_STEPS
    )
    most = np.abs(finite(fired).stress).max(axis=(1, 2, 3))
    start = most[np.argmin(np.abs(fired.time - HOUR))]
    left = start * np.exp(-100.0 * HOUR * YOUNG / viscosity)
    assert most[-1] == pytest.approx(left, rel=2e-3, abs=OUT_OF_BALANCE)


@pytest.mark.parametrize("rate", [0.1, 150.0, 5000.0])
def test_a_body_that_flows_bears_stress_in_proportion_to_the_ramp(rate: float):
    viscosity, duration = 1e12, 900.0 / rate * HOUR
    mesh, time = tube(0.03, 0.06, 0.003, (0.03,)), np.linspace(0.0, duration, 61)
    flowing = made(mesh, (0.0, 1e-2), time=time, viscosity=viscosity, viscous_poisson_ratio=POISSON)
    elastic = made(mesh, (0.0, 1e-2)).stress[-1] * viscosity / (YOUNG * duration)
    within = 1e-3 * np.abs(elastic).max() + OUT_OF_BALANCE
    assert flowing.stress[-1] == pytest.approx(elastic, abs=within)


def test_a_vessel_held_for_a_hundred_hours_is_judged():
    response = fired_and_judged(with_segments(hold=100.0 * HOUR))
    assert response.trace.time[-1] > 300.0 * HOUR


def test_a_vessel_fired_at_a_tenth_of_a_degree_an_hour_is_judged():
    response = fired_and_judged(with_segments(rate=0.1 / HOUR))
    assert response.trace.time[-1] > 840.0 / 0.1 * HOUR


def test_a_vessel_fired_at_five_thousand_degrees_an_hour_is_judged():
    rate = 5000.0 / HOUR
    response = fired_and_judged(with_segments(rate, rate=rate, hold=0.0))
    steepest = np.abs(np.diff(response.trace.ware) / np.diff(response.trace.time)).max()
    assert steepest == pytest.approx(rate, rel=1e-6)


# walls


@pytest.mark.parametrize(("radius", "wall"), [(0.03, 0.5e-3), (0.3, 0.5e-3), (0.3, 40e-3)])
def test_the_thinnest_and_the_thickest_wall_bend_as_long_cylinders(radius: float, wall: float):
    half = 6.0 * np.sqrt(radius * wall)
    fired = made(tube(radius, 2.0 * half, wall, (half,)))
    thin = JOINT_BENDING * YOUNG * MISMATCH
    # the closed form leaves out that the faces lie half a wall further in and out
    assert fired.bending_tension[-1] == pytest.approx(thin, rel=0.01 + 0.5 * wall / radius)
    assert fired.trusted.any()


def test_a_wall_too_thick_for_a_shell_is_finite_and_nowhere_trusted():
    for radius, wall in ((0.1, 40e-3), (0.035, 40e-3), (0.03, 0.03 / THINNEST_RATIO * 1.001)):
        assert not made(tube(radius, 0.2, wall, (0.1,))).trusted.any()


def test_a_vessel_too_thick_for_a_shell_says_so_and_cannot_pass():
    response = fire_vessel(written_vessel(TEA_LIGHT.replace("wall_mm = 4", "wall_mm = 12")), CARDS)
    finite(response.fired)
    assert not response.fired.trusted.any()
    (flag,) = (flag for flag in judge(response).flags if flag.rule == "shell")
    assert flag.grade == CAUTION
    assert "wall of 12 mm" in flag.note
    assert "stress is rough in 100 % of the wall" in flag.note
    assert f"beyond a shell: {response.beyond_shell[:30]}" in as_text(
        response, band_stresses(response)
    )
    rows = csv.DictReader(io.StringIO(fields_csv(response)))
    assert {row["trusted"] for row in rows} == {"0"}
    thin = fire_vessel(written_vessel(TEA_LIGHT), CARDS)
    assert not thin.beyond_shell
    assert "shell" not in {flag.rule for flag in judge(thin).flags}


# bands


def test_a_band_of_one_layer_is_held_by_its_neighbours():
    fired = made(tube(0.03, 0.06, 0.002, (0.03, 0.0304)), (0.0, MISMATCH, 0.0))
    layer = fired.band == 1
    hoop = fired.stress[-1, layer, :, 1]
    assert hoop == pytest.approx(-YOUNG * MISMATCH, rel=0.06)
    assert not fired.trusted[layer].any()
    assert fired.steps.peak.max() < YOUNG * MISMATCH / (1.0 - POISSON)


def test_a_vessel_with_a_band_of_one_layer_is_judged():
    bands = [("fine silver", 0.0, 0.018), ("fine silver + fritted body = 50", 0.018, 0.0184)]
    vessel = tea_light(
        bands=tuple(Band(*band) for band in (*bands, ("fritted body", 0.0184, 0.06))),
        wall=np.full(2, 0.002),
    )
    response = fired_and_judged(vessel)
    assert response.fired.steps.height == pytest.approx([0.018, 0.0184])


def test_two_hundred_bands_of_two_materials_share_their_mismatch():
    fired = made(tube(0.03, 0.2, 0.003, np.linspace(0.0, 0.2, 201)[1:-1]))
    inner = np.abs(fired.height - 0.1) < 0.05
    hoop = np.abs(fired.membrane[-1, inner, 1])
    assert hoop == pytest.approx(0.5 * YOUNG * MISMATCH, rel=0.02)
    assert not fired.trusted.any()


def test_two_hundred_bands_of_an_even_grading_carry_hardly_anything():
    # a free cylinder whose free strain grows evenly with height turns into a cone without stress
    strain = np.linspace(0.0, MISMATCH, 200)
    fired = made(tube(0.03, 0.2, 0.003, np.linspace(0.0, 0.2, 201)[1:-1]), strain)
    step = YOUNG * MISMATCH / 199
    assert np.abs(fired.stress).max() < step
    assert np.abs(fired.steps.peak).max() < 2.0 * step


def test_a_vessel_of_as_many_bands_as_a_file_may_have_is_judged():
    edges = np.linspace(0.0, 0.06, 61).tolist()
    names = ("fine silver", "fritted body") * 30
    bands = tuple(
        Band(name, low, high) for name, (low, high) in zip(names, pairwise(edges), strict=True)
    )
    response = fired_and_judged(tea_light(bands=bands))
    assert response.material[:2] == (SILVER, FRIT)
    assert len(band_stresses(response)) == 60


def thin_one() -> Vessel:
    """The tea light with a band of a millionth of a millimetre in its joint."""
    vessel = written_vessel(TEA_LIGHT)
    below, above = vessel.bands
    middle = Band("fine silver + fritted body = 50", below.high, below.high + 1e-9)
    bands = (below, middle, replace(above, low=middle.high))
    return replace(vessel, name="thin one", bands=bands)


LOST = (
    r"thin one: finds no equilibrium [\d.]+ h into the firing, \d+ °C; its lowest band is 2, "
    r"'fine silver \+ fritted body = 50', 1e-06 mm: make it higher"
)


def test_a_solve_that_fails_names_vessel_band_and_time(monkeypatch: pytest.MonkeyPatch):
    def never(*_: object) -> None:
        raise equilibrium.NoEquilibriumError

    monkeypatch.setattr(marching, "_step", never)
    with pytest.raises(ModelError, match=LOST) as caught:
        fire_vessel(thin_one(), CARDS)
    assert len(str(caught.value)) <= 300


def test_a_candidate_that_finds_no_equilibrium_is_put_aside_and_the_others_go_on(
    monkeypatch: pytest.MonkeyPatch,
):
    cut, fire = candidates.meshed, candidates.fire_shells
    thin: list[Meridian] = []

    def remembered(vessel: Vessel, fineness: float):
        mesh = cut(vessel, fineness)
        if vessel.name == "thin one":
            thin.append(mesh)
        return mesh

    def fails_with_the_thin_one(meshes: list[Meridian], *rest: object, **named: object):
        if any(mesh is meshes[0] for mesh in thin):
            raise marching.UnbalancedError("no equilibrium", HOUR)
        return fire(meshes, *rest, **named)

    monkeypatch.setattr(candidates, "meshed", remembered)
    monkeypatch.setattr(candidates, "fire_shells", fails_with_the_thin_one)
    sound = written_vessel(TEA_LIGHT)
    found = candidates.fire_candidates(Bench(CARDS), [sound, thin_one(), sound])
    assert [isinstance(r, ModelError) for r in found] == [False, True, False]
    assert re.match(LOST, str(found[1]))


@pytest.mark.parametrize("to", ["18.000000001", "18.000001", "18.009"])
def test_a_band_lower_than_any_layer_is_refused_with_its_place(to: str):
    thin = f'to_mm = 18\n[[band]]\nmaterial = "fine silver + fritted body = 50"\nto_mm = {to}\n'
    with pytest.raises(InputError, match=r"band 2: .* mm high; allowed: 0\.01 mm or more"):
        written_vessel(TEA_LIGHT.replace("to_mm = 18\n", thin))
