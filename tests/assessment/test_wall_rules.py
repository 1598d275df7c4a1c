"""Chance that a wall cracks because its inside is late, against closed forms and conduction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cofire.assessment.cautions import cautions
from cofire.assessment.response import Response
from cofire.assessment.rule import Flag
from cofire.assessment.wall_rules import OPENED, cooling_limit, gradient_flags
from cofire.numerics import Array
from cofire.physics.history import SINTERING, WATER, histories
from cofire.physics.porosity import conductivity_factor
from tests import fired
from tests.fired import CARDS, FRIT, changed, flags_of

HOUR = 3600.0
YOUNG, STRENGTH, M = 50e9, 20e6, 9.0
BARS = 3e-3 * 4e-3 * 40e-3 * (M + 2.0) / (4.0 * (M + 1.0) ** 2)
"""Volume in uniform tension as likely to break as a bar. [m³]"""
SOLID = 1.2 / float(conductivity_factor(1.0 - 0.941))
"""Conductivity of a fritted body without pores, from its card, of a body that dense. [W/(m K)]"""
KAPPA = SOLID * float(conductivity_factor(0.2)) / (2550.0 * 0.8 * 870.0)


@pytest.fixture(scope="module")
def tea_light() -> Response:
    return fired.tea_light()


def quartz(temperature: Array) -> Array:
    """Free strain of a body whose quartz inverts within some 20 K of 846 K."""
    return np.asarray(8e-6 * temperature + 0.8e-3 / (1.0 + np.exp((846.0 - temperature) / 5.0)))


def late(response: Response, temperature: Array, **strain: Array) -> Response:
    """The body elastic, of one density and strength, with free strains given by name."""
    body = changed(
        response, young_modulus=np.array(YOUNG), relative_density=np.array(0.8),
        strength=np.array(STRENGTH),
    )  # fmt: skip
    h = body.history
    turns = {name: np.zeros_like(v) for name, v in h.strain.items()}
    for name, values in strain.items():
        turns[name.replace("_", " ")][FRIT] = values
    return replace(body, history=replace(h, strain=turns, temperature=temperature))


def cooled(response: Response, rate: float) -> Response:
    """From 1100 K at a steady rate in K/h, its expansion and inversion in one."""
    temperature = 1100.0 - np.linspace(0.0, 800.0, response.history.time.size)
    body = late(response, temperature, expansion=quartz(temperature))
    time = (1100.0 - temperature) / rate * HOUR
    return replace(body, history=replace(body.history, time=time))


def gradient(response: Response) -> Flag:
    (flag,) = flags_of(response, "gradient")
    return flag


def used(risk: float) -> float:
    """Share of the load at which one in ten breaks."""
    return float((risk / -np.log(0.9)) ** (1.0 / M))


def thick(response: Response, *walls: float) -> Response:
    """The same volumes with the body's wall of other thicknesses, one a station in turn."""
    shell = response.fired
    return replace(response, fired=replace(shell, wall=np.resize(walls, shell.wall.shape)))


@pytest.mark.parametrize(("base", "depth"), [(False, 2e-3), (True, 4e-3)])
def test_gradient_on_a_steady_ramp_is_the_slabs_by_weibull(
    tea_light: Response, base: bool, depth: float
):
    """Face of a plate on a ramp φ: E α φ depth²/[3 (1 − ν) κ] (Kingery et al. 1976, ch. 16,

    from memory); the full wall is the depth where one side only is heated. The stress is a
    parabola, -1/2 of that in the middle, alike in both directions of the plane.
    """
    h = tea_light.history
    alpha, rate = 8e-6, -200.0 / HOUR
    body = late(tea_light, h.temperature, expansion=alpha * rate * h.time)
    if base:
        vessel = replace(body.vessel, radius=np.array([0.0, 0.033, 0.033]))
        body = replace(body, vessel=vessel)
    flag = gradient(body)
    nu = float(h.poisson_ratio[FRIT])
    face = YOUNG * alpha * -rate * depth**2 / (3.0 * (1.0 - nu) * KAPPA)
    across = np.clip(1.5 * np.linspace(0.0, 1.0, 100_001) ** 2 - 0.5, 0.0, None)
    volume = 2.0 * np.pi * 0.033 * 0.004 * 0.042
    risk = 2.0 * volume / BARS * np.log(2.0) * np.mean((face / STRENGTH * across) ** M)
    assert flag.figure == pytest.approx(face / 1e6, rel=1e-3)
    assert flag.utilisation == pytest.approx(used(risk), rel=2e-3)
    assert flag.limit == pytest.approx(flag.figure / flag.utilisation)
    assert flag.caution == pytest.approx((np.log(0.99) / np.log(0.9)) ** (1.0 / M))


@pytest.mark.parametrize("rate", [600.0, 3000.0])
def test_the_chance_is_that_of_conduction_in_steps_and_weibull(tea_light: Response, rate: float):
    """Sixty layers between a heated face and an insulated one, with nothing of the rule's."""
    wall, layers = 8e-3, 60
    step = wall / 2.0 / layers

    def flows(time: float, warm: Array) -> Array:
        outside = 1100.0 - rate / HOUR * time
        left = np.concatenate([[0.0], np.diff(warm)])
        right = np.concatenate([np.diff(warm), [2.0 * (outside - warm[-1])]])
        return np.asarray(KAPPA / step**2 * (right - left))

    last = 500.0 / rate * HOUR
    times = np.linspace(0.0, last, 800)
    field = solve_ivp(
        flows, (0.0, last), np.full(layers, 1100.0), method="BDF", t_eval=times, rtol=1e-6,
        atol=1e-3,
    ).y  # fmt: skip
    strain = quartz(field)
    nu = float(tea_light.history.poisson_ratio[FRIT])
    stress = YOUNG / (1.0 - nu) * (strain.mean(axis=0) - strain)
    volume = 2.0 * np.pi * 0.033 * 0.004 * 0.042
    mean = np.mean(np.clip(stress / STRENGTH, 0.0, None) ** M, axis=0).max()
    found = gradient(thick(cooled(tea_light, rate), wall))
    assert found.utilisation == pytest.approx(
        used(2.0 * volume / BARS * np.log(2.0) * mean), rel=0.02
    )


def test_expansion_inversion_and_water_are_judged_as_one_sum_and_sintering_is_not(
    tea_light: Response,
):
    h = tea_light.history
    whole = -24e-6 * 200.0 / HOUR * h.time
    parts = {"expansion": whole / 6.0, "quartz_inversion": whole / 2.0, "bound_water": whole / 3.0}
    assert WATER == "bound water"
    one = gradient(late(tea_light, h.temperature, expansion=whole))
    three = gradient(late(tea_light, h.temperature, **parts, **{SINTERING: 5.0 * whole}))
    assert three.utilisation == pytest.approx(one.utilisation, rel=1e-9)
    assert "expansion" in one.note
    assert "quartz inversion" in three.note


def test_free_quartz_adds_to_what_the_wall_bears_and_is_named(tea_light: Response):
    body = CARDS["fritted body"]
    told = {}
    for share in (0.0, 1.0, 2.0):
        cards = (CARDS["fine silver"], body.scaled("free_quartz", share))
        history = histories(list(cards), tea_light.trace)
        told[share] = gradient(replace(tea_light, history=history, cards=cards))
    assert told[0.0].utilisation < told[1.0].utilisation < told[2.0].utilisation
    assert "quartz inversion" in told[2.0].note
    assert "quartz" not in told[0.0].note


def test_what_is_used_up_grows_smoothly_with_the_rate(tea_light: Response):
    rates = np.geomspace(100.0, 4000.0, 25)
    walls = thick(tea_light, 6e-3)
    share = np.log([gradient(cooled(walls, rate)).utilisation for rate in rates])
    slope = np.diff(share) / np.diff(np.log(rates))
    assert slope.min() > 0.0
    assert slope.max() < 1.01  # never more than the rate
    assert np.abs(np.diff(slope)).max() < 0.25


def test_a_larger_pot_of_the_same_wall_is_weaker_and_thin_parts_hardly_count(tea_light: Response):
    body = cooled(tea_light, 600.0)
    shell = body.fired
    twice = replace(body, fired=replace(shell, volume=2.0 * shell.volume))
    one = gradient(body).utilisation
    assert gradient(twice).utilisation == pytest.approx(2.0 ** (1.0 / M) * one, rel=1e-6)
    thin, mixed, whole = (
        gradient(thick(body, *w)).utilisation for w in ((4e-3,), (4e-3, 8e-3), (8e-3,))
    )
    assert thin < 0.5 * whole
    assert 0.5 ** (1.0 / M) * whole * 0.98 < mixed < whole


def test_a_pot_cooled_at_its_limit_uses_up_all_of_it_and_the_caution_says_so(tea_light: Response):
    body = thick(cooled(tea_light, 100.0), 12e-3)
    limit = cooling_limit(body)
    assert limit is not None
    again = gradient(thick(cooled(tea_light, limit.rate * HOUR), 12e-3))
    assert again.utilisation == pytest.approx(1.0, abs=0.02)
    assert limit.temperature == pytest.approx(again.temperature, abs=15.0)
    (told,) = (c for c in cautions(body) if c.hazard == "opened hot")
    assert f"faster than {float(f'{limit.rate * HOUR:.2g}'):.0f} °C/h" in told.text


def test_a_thin_wall_raises_no_caution_against_opening(tea_light: Response):
    assert cooling_limit(thick(cooled(tea_light, 100.0), 2e-3)) is None
    (flag,) = gradient_flags(thick(cooled(tea_light, OPENED * HOUR), 2e-3))
    assert flag.utilisation < 1.0
