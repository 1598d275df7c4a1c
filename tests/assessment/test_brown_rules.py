"""Between burnout and sintering: strain against what a skeleton of grains bears."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment import brown_rules as brown_flags
from cofire.assessment.response import Response, fire_vessel, times_for_solid
from cofire.assessment.rule import CAUTION, GO, NO
from cofire.mechanics.solid_firing import fire_solid
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.physics.blends import BROWN_STRAIN
from cofire.physics.history import histories
from cofire.physics.rheology import binder_relief
from cofire.report.verdict import as_text, number
from cofire.units import kelvin
from tests import fired
from tests.fired import CARDS, COARSE, TEA_LIGHT, flags_of, only, pulled, sharply, written_vessel

BODY, METAL = "fritted body", "fine silver"


def brown_time(response: Response) -> int:
    """The moment at which the body is weakest."""
    return int(np.argmin(response.at_times(response.history.strength)[fired.FRIT]))


def strained(strain: float) -> Response:
    """The tea-light with one elastic strain of the body at its weakest moment, and none else."""
    response = fired.tea_light()
    t = brown_time(response)
    young = response.at_times(response.history.young_modulus)[fired.FRIT, t]
    stress = np.zeros(response.fired.stress.shape)
    stress[t] = strain * young
    return pulled(response, stress)


def test_brown_ware_breaks_at_its_brown_strain_whatever_its_strength():
    """At its weakest a body bears what its card says: 1e-3 where it says nothing."""
    for strain, grade in ((0.2, GO), (0.5, CAUTION), (1.3, NO)):
        flag = only(flags_of(strained(strain * BROWN_STRAIN), "brown"), "brown", BODY)
        assert flag.grade == grade
        assert flag.utilisation == pytest.approx(strain, rel=0.12)


def test_a_limit_that_nobody_measured_carries_its_interval_and_a_measured_one_none():
    """Three either way while brown, less as necks grow; none where the card has bent brown bars."""
    guessed = only(flags_of(strained(0.5 * BROWN_STRAIN), "brown"), "brown", BODY)
    assert guessed.low is not None
    assert guessed.high is not None
    assert guessed.low < 0.5 < guessed.high
    assert 0.9 * 3.0 < guessed.high / guessed.utilisation <= 3.0
    assert guessed.high * guessed.low == pytest.approx(guessed.utilisation**2)
    check = sharply(strained(0.5 * BROWN_STRAIN))
    assert f"to {number(guessed.high)} of the limit" in as_text(check, [])
    response = strained(0.5 * BROWN_STRAIN)
    known = replace(CARDS[BODY]["free_quartz"], name="brown_strain", value=np.array([BROWN_STRAIN]))
    body = CARDS[BODY]
    body = replace(body, properties={**body.properties, "brown_strain": known})
    response = replace(response, cards=(response.cards[0], body))
    measured = only(flags_of(response, "brown"), "brown", BODY)
    assert (measured.low, measured.high) == (None, None)
    assert measured.utilisation == pytest.approx(guessed.utilisation)


def test_a_body_that_is_pressed_is_not_its_matter():
    assert only(flags_of(strained(-5e-3), "brown"), "brown", BODY).utilisation == 0.0


def test_strength_and_stiffness_of_brown_ware_cancel():
    def utilisation(of: str = BODY, **factors: float) -> float:
        card = CARDS[of]
        for name, factor in factors.items():
            card = card.scaled(name, factor)
        cards = {**CARDS, of: card}
        response = fire_vessel(written_vessel(TEA_LIGHT), cards, fineness=0.5)
        return only(flags_of(response, "brown"), "brown", BODY).utilisation

    usual = utilisation()
    # twice the strength, hence twice the stiffness: the strain moves by the other zone's give only
    assert utilisation(brown_strength=1.3, green_strength=1.3) == pytest.approx(usual, rel=0.25)
    # a metal that has less to shrink strains it less: the trade's expectation
    assert utilisation(METAL, green_density=1.15) < 0.8 * usual
    # a body that still expands while the metal shrinks is strained no less for expanding more: by
    # solids 1.99 of the limit, and 2.10 with half as much again
    assert utilisation(thermal_expansion=1.5) == pytest.approx(1.06 * usual, rel=0.06)


@pytest.mark.long
def test_brown_strain_beside_a_joint_does_not_hang_on_the_mesh():
    """Marched closely until the body sinters. Wrong if the two differ by more than 3 %.

    With six elements across it is 7 % lower than with twelve, with the usual eight 2 %.
    """
    vessel = written_vessel(TEA_LIGHT)
    shell = fire_vessel(vessel, CARDS)
    hot = float(shell.trace.time[np.argmax(shell.trace.ware > kelvin(600.0))])
    close, _ = times_for_solid(shell)
    times = np.concatenate([close[close < hot], close[close >= hot][::-4][::-1]])
    told = []
    for across in (8, 12):
        mesh = mesh_solid(vessel.radius, vessel.height, vessel.wall, vessel.steps, across=across)
        solid = fire_solid(mesh, shell.history, shell.material, times=times)
        ware = np.interp(solid.time, shell.trace.time, shell.trace.ware)
        response = replace(shell, fired=solid, temperature=ware)
        told.append(only(flags_of(response, "brown"), "brown", BODY))
    assert told[1].utilisation == pytest.approx(told[0].utilisation, rel=0.03)
    assert told[0].height is not None
    assert told[0].height == pytest.approx(18e-3, abs=4e-4)  # beside the joint, where it matters


def test_no_beginning_of_sintering_is_asked_for():
    """The old rule moved from 2.2 to 0.08 with its threshold; here the worst moment is before."""
    response = fired.tea_light()
    largest = brown_flags.brown_utilisations(response).max()
    ends = [brown_flags.brown_utilisations(response, s).max() for s in (0.8, 0.9, 0.95)]
    assert ends == pytest.approx([largest] * 3, rel=1e-6)


def test_a_metal_that_yields_is_strained_past_one():
    """Stress of a metal zone ends at its yield, its strain does not: there is no ceiling."""
    response = fired.tea_light()
    shell = response.fired
    plastic = shell.plastic.copy()
    plastic[brown_time(response) :] += 0.05
    drawn = replace(response, fired=replace(shell, plastic=plastic))
    assert only(flags_of(drawn, "brown"), "brown", METAL).utilisation > 3.0


def test_what_a_metal_bears_grows_to_its_ductility():
    card = CARDS[METAL]
    green, done = card["green_density"].scalar, card["fired_density"].scalar
    density = np.linspace(green, done, 30)
    borne = brown_flags.borne_strain(card, density, 1e5 + 0.0 * density, 1e8 + 0.0 * density)
    assert borne[0] == pytest.approx(BROWN_STRAIN)
    assert borne[-1] == pytest.approx(card["ductility"].scalar)
    assert np.all(np.diff(borne) > 0.0)


def test_a_blend_bears_what_its_ceramic_bears_until_the_metal_is_nearly_all():
    text = TEA_LIGHT.replace(
        'material = "fine silver"', 'material = "fine silver + fritted body = 50"'
    )
    response = fire_vessel(written_vessel(text), CARDS, control=COARSE, fineness=0.5)
    mixed, body = brown_flags.zone_strains(response)
    assert mixed == pytest.approx(body)
    nearly = text.replace("= 50", "= 98")
    response = fire_vessel(written_vessel(nearly), CARDS, control=COARSE, fineness=0.5)
    mixed, body = brown_flags.zone_strains(response)
    assert np.any(np.abs(mixed / body - 1.0) > 0.1)


def test_what_the_binder_carried_goes_with_it():
    """A stretched bar held while nine tenths of its bonds burn keeps a tenth of its stress."""
    time = np.linspace(0.0, 3600.0, 4001)
    strength = 1e6 * (1.0 - 0.9 * time / 3600.0)
    young = np.full_like(time, 3e8)
    rate = binder_relief(time, strength, young) * young
    assert np.exp(-np.trapezoid(rate, time)) == pytest.approx(0.1, rel=1e-3)
    assert not np.any(binder_relief(time, strength[::-1], young))


@pytest.mark.parametrize("name", [METAL, BODY])
def test_stiffness_strength_and_yield_share_one_neck(name: str):
    """Over the burnt-out body all three are linear in the density, from the brown body's own."""
    response = fired.tea_light()
    card = CARDS[name]
    history = histories([card], response.trace, extend=True)
    stiff = history.young_modulus[0] / card["young_modulus"].at(history.temperature)
    stiff = stiff * card["young_modulus"].value[0]
    loose = history.mass_fraction[0] < history.mass_fraction[0].min() + 1e-4
    rising = loose & (history.relative_density[0] <= card["fired_density"].scalar)
    for values in (stiff, history.strength[0]):
        line = np.polyfit(history.relative_density[0][rising], values[rising], 1)
        fit = np.polyval(line, history.relative_density[0][rising])
        assert fit == pytest.approx(
            values[rising], rel=0.02, abs=2e4 if values is not stiff else 1e8
        )
