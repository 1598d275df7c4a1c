"""A change of paste: closed forms of its smear, when to change over, the bands that it leaves."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cofire.assessment.check import check_vessel
from cofire.assessment.printed import FINEST, as_printed, laid
from cofire.assessment.response import Response, cards_of, fire_vessel
from cofire.assessment.verdict import judge
from cofire.errors import InputError
from cofire.firing.kiln import trace
from cofire.physics.changeover import new_share, new_volume, smear, volume_for_share
from cofire.physics.history import Along
from cofire.physics.paste import paste_of
from cofire.production.changeovers import (
    changeovers,
    paste_shares,
    purity,
)
from cofire.production.printed_solid import volume_below
from cofire.vessel import Printer
from tests.brute_force import example
from tests.made import BLEND, CARDS, COARSE, FRIT, SILVER, foot, graded
from tests.strategies import some

pytestmark = pytest.mark.usefixtures("solids_are_rough")

DEAD = 2e-6
VOLUME = np.linspace(0.0, 10e-6, 41)


def densities(response: Response) -> dict[str, float]:
    """Fired density of each material."""
    return {
        card.name: float(response.history.relative_density[row, -1])
        for row, card in response.materials
    }


def test_one_tank_changes_as_an_exponential():
    assert new_share(VOLUME, DEAD, 1.0) == pytest.approx(1.0 - np.exp(-VOLUME / DEAD), rel=1e-12)


def test_two_tanks_change_as_their_closed_form():
    # 1 - (1 + 2 v/V) exp(-2 v/V): two stirred tanks of half the volume, by hand
    x = 2.0 * VOLUME / DEAD
    assert new_share(VOLUME, DEAD, 2.0) == pytest.approx(1.0 - (1.0 + x) * np.exp(-x), rel=1e-12)


@pytest.mark.parametrize("tanks", [1, 2, 3, 5, 8, 20])
def test_a_step_leaves_tanks_in_series_as_their_closed_form(tanks: int):
    # 1 - exp(-n v/V) Σ (n v/V)^k / k!, k below n (Levenspiel, tanks-in-series model)
    x = tanks * VOLUME / DEAD
    old = np.exp(-x) * sum(x**k / math.factorial(k) for k in range(tanks))
    assert new_share(VOLUME, DEAD, tanks) == pytest.approx(1.0 - old, abs=1e-12)


@pytest.mark.parametrize("tanks", [1, 3, 6])
def test_a_step_leaves_as_the_balance_of_each_stirred_tank_says(tanks: int):
    # dc/dv = (c of the tank before - c) / (V/n), integrated
    def balance(_: float, c: np.ndarray) -> np.ndarray:
        return tanks / DEAD * (np.concatenate([[1.0], c[:-1]]) - c)

    found = solve_ivp(
        balance, (0.0, VOLUME[-1]), np.zeros(tanks), t_eval=VOLUME, rtol=1e-10, atol=1e-12
    )
    assert new_share(VOLUME, DEAD, tanks) == pytest.approx(found.y[-1], abs=1e-8)


@pytest.mark.parametrize("tanks", [100.0, 1e3, 1e4])
def test_plug_flow_is_the_limit_with_a_front_as_wide_as_one_over_the_root_of_the_tanks(
    tanks: float,
):
    # central limit theorem: mean V, deviation V/√n
    steps = np.array([-4.0, -1.0, 0.0, 1.0, 4.0])
    share = new_share(DEAD * (1.0 + steps / np.sqrt(tanks)), DEAD, tanks)
    assert share == pytest.approx([0.0, 0.1587, 0.5, 0.8413, 1.0], abs=0.2 / np.sqrt(tanks))


def test_many_tanks_tend_to_plug_flow():
    share = new_share(np.array([0.9, 0.99, 1.01, 1.1]) * DEAD, DEAD, 1e4)
    assert share[[0, 3]] == pytest.approx([0.0, 1.0], abs=1e-12)
    assert share[1] < 0.17 < 0.83 < share[2]  # one standard deviation, 1/√n = 1 %, either side
    assert smear(DEAD, 1e4) < 0.04 * DEAD < smear(DEAD, 1.0)


@given(st.floats(1.0, 60.0), st.floats(1e-7, 1e-4))
@some
def test_what_leaves_late_leaves_on_average_after_one_dead_volume(tanks: float, dead: float):
    # mean and variance of the residence volume of n tanks in series: V and V²/n
    v = np.linspace(0.0, 60.0 * dead, 60_001)
    old = 1.0 - new_share(v, dead, tanks)
    assert np.trapezoid(old, v) == pytest.approx(dead, rel=1e-4)
    variance = 2.0 * np.trapezoid(v * old, v) - dead**2
    assert variance == pytest.approx(dead**2 / tanks, rel=1e-3)


@given(st.floats(0.01, 0.99), st.floats(1.0, 100.0))
@some
def test_the_volume_for_a_share_gives_that_share(share: float, tanks: float):
    assert new_share(volume_for_share(share, DEAD, tanks), DEAD, tanks) == pytest.approx(share)


@given(st.floats(1.0, 100.0))
@some
def test_the_new_paste_only_grows(tanks: float):
    share = new_share(VOLUME, DEAD, tanks)
    assert share[0] == 0.0
    assert (np.diff(share) >= 0.0).all()
    assert (share <= 1.0).all()


@given(st.floats(1.0, 100.0))
@some
def test_the_new_volume_is_the_integral_of_the_new_share(tanks: float):
    passed = np.linspace(0.0, 4.0 * DEAD, 4001)
    share = new_share(passed, DEAD, tanks)
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * np.diff(passed))])
    assert new_volume(passed, DEAD, tanks) == pytest.approx(summed, abs=1e-5 * DEAD)
    # in the end all but one dead volume of the old has been pushed out
    assert float(new_volume(100.0 * DEAD, DEAD, tanks)) == pytest.approx(99.0 * DEAD)


def test_nothing_new_comes_before_the_changeover():
    assert new_share(-1e-6, DEAD, 3.0) == 0.0


@pytest.mark.parametrize(
    ("dead", "tanks"), [(0.0, 3.0), (-1e-6, 3.0), (1.2, 3.0), (1e-6, 0.9), (1e-6, 1e6)]
)
def test_impossible_feeds_are_refused(dead: float, tanks: float):
    with pytest.raises(InputError, match="allowed"):
        new_share(1e-6, dead, tanks)


@pytest.mark.parametrize("made", [foot, graded])
def test_shares_of_the_pastes_sum_to_one_and_are_halves_at_the_joints(made):
    response, green = made()
    height = np.linspace(0.0, green.wall.height[-1], 101)
    parts = paste_shares(response, green, height)
    assert parts.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
    assert (parts >= 0.0).all()
    at = paste_shares(response, green, green.wall.edges[1:2])[0]
    assert at[0] == pytest.approx(0.5, abs=1e-9)
    # whole bands away, each paste is alone
    ends = paste_shares(response, green, [0.0, green.wall.height[-1]])
    assert ends[[0, 1], [0, -1]] == pytest.approx(1.0, abs=1e-6)


def test_a_band_lower_than_the_smear_never_gets_its_own_paste_alone():
    response, green = graded()
    assert purity(response, green) == pytest.approx(1.0, abs=0.02)
    wide = replace(response.vessel, printer=Printer(dead_volume=20e-6))
    most = purity(replace(response, vessel=wide), green)
    assert most[1] < 0.7
    assert most[0] > 0.99


def test_a_plug_of_paste_leaves_the_bands_sharp():
    response, _ = graded()
    plug = replace(response.vessel, printer=Printer(tanks=1000.0, dead_volume=1e-8, given=True))
    vessel = as_printed(plug, response.cards, densities(response))
    assert (vessel.bands[0].material, vessel.bands[-1].material) == (FRIT, SILVER)
    assert BLEND in [b.material for b in vessel.bands]
    # each change is over within the least height of a band
    low = [b for b in vessel.bands if b.material not in (FRIT, BLEND, SILVER)]
    assert sum(b.high - b.low for b in low) < 4 * FINEST * float(vessel.wall.max())


def test_a_straight_wall_is_laid_alike_however_many_points_it_is_given_by():
    response, _ = foot()
    vessel = response.vessel
    top = float(vessel.height[-1])
    more = replace(
        vessel,
        **{
            name: np.interp([0.0, 0.1 * top, top], vessel.height, getattr(vessel, name))
            for name in ("radius", "height", "wall")
        },
    )
    height = np.linspace(0.0, top, 301)
    one, other = (laid(v, response.cards, densities(response)) for v in (vessel, more))
    shares = [np.interp(height, made.height, made.share) for made in (one, other)]
    assert shares[0] == pytest.approx(shares[1], abs=2e-3)
    # below a joint stands the fired volume of its bands, each as much larger as its wet paste is
    ring = 2 * np.pi * float(vessel.radius[0] * vessel.wall[0])
    below = 0.0
    for band, card in zip(vessel.bands, response.cards, strict=True):
        swell = densities(response)[card.name] / paste_of(card).solids
        below += ring * (band.high - band.low) * swell
        for made in (one, other):
            assert np.interp(band.high, made.height, made.wet) == pytest.approx(below, rel=1e-3)


def test_the_smear_moves_no_metal_but_across_its_own_skew():
    # the median of the change lies on the joint; its mean, one dead volume, a little above
    response, green = foot()
    printer = response.vessel.printer
    height = green.layer * (np.arange(sum(green.layers)) + 0.5)
    ends = volume_below(green.wall, green.layer * np.arange(sum(green.layers) + 1))
    solids = np.array([paste_of(c).solids for c in response.cards])
    metal = np.array([c.metal_share for c in response.cards])
    smeared = (paste_shares(response, green, height) * solids * metal).sum(axis=1) @ np.diff(ends)
    late = DEAD - float(volume_for_share(0.5, DEAD, printer.tanks))
    sharp = float(volume_below(green.wall, green.wall.edges[1])) + late
    assert printer.dead_volume == DEAD
    assert smeared / solids[0] == pytest.approx(sharp, rel=1e-3)


def test_the_changeover_comes_half_a_change_before_its_joint():
    response, green = foot()
    (changeover,) = changeovers(response, green)
    printer = response.vessel.printer
    half = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
    joint = float(volume_below(green.wall, green.wall.edges[1]))
    assert changeover.extruded == pytest.approx(joint - half)
    assert changeover.layer < changeover.begins < green.layers[0] < changeover.done
    # the nozzle has put out no more than that before the layer, and no less after it
    ends = volume_below(
        green.wall, green.layer * np.array([changeover.layer - 1, changeover.layer])
    )
    assert ends[0] <= changeover.extruded <= ends[1]
    for layer, share in ((changeover.begins, 0.05), (changeover.done, 0.95)):
        new = paste_shares(response, green, green.layer * np.array([layer - 1, layer]))[:, 1]
        assert new[0] <= share <= new[1]
    assert changeover.passes == pytest.approx(float(volume_for_share(0.95, DEAD, 3.0)))


def test_a_feed_larger_than_the_first_band_is_swapped_before_the_print():
    response, green = foot()
    wide = replace(response.vessel, printer=Printer(dead_volume=50e-6))
    (changeover,) = changeovers(replace(response, vessel=wide), green)
    assert changeover.layer == 0
    assert changeover.extruded < 0.0
    assert changeover.run_out == pytest.approx(-changeover.extruded)
    assert changeover.done == sum(green.layers) + 1 or changeover.done <= sum(green.layers)


def test_what_is_run_out_before_the_print_lies_between_its_changes():
    response, green = graded()
    wide = replace(response.vessel, printer=Printer(dead_volume=500e-6))
    found = changeovers(replace(response, vessel=wide), green)
    assert [c.layer for c in found] == [0, 0]
    apart = found[1].extruded - found[0].extruded
    assert [c.run_out for c in found] == pytest.approx([apart, -found[1].extruded])
    usual = changeovers(response, green)
    assert all(c.extruded > 0.0 for c in usual)
    assert [c.run_out for c in usual] == [0.0, 0.0]


def test_the_smeared_bands_follow_the_mixed_paste():
    response, _ = foot()
    given = replace(response.vessel, printer=replace(response.vessel.printer, given=True))
    vessel = as_printed(given, response.cards, densities(response))
    ends = {SILVER: "100", FRIT: "0"}
    shares = [float(ends.get(b.material) or b.material.rpartition("=")[2]) for b in vessel.bands]
    assert vessel.bands[0].material == SILVER
    assert vessel.bands[-1].material == FRIT
    assert (np.diff(shares) < 0.0).all()
    assert len(vessel.bands) >= 4
    assert vessel.bands[-1].high == pytest.approx(0.05)
    assert all(a.high == b.low for a, b in zip(vessel.bands[:-1], vessel.bands[1:], strict=True))


def test_along_a_smeared_band_the_share_changes_as_it_is_laid():
    response, _ = foot()
    given = replace(response.vessel, printer=replace(response.vessel.printer, given=True))
    vessel = as_printed(given, response.cards, densities(response))
    whole = laid(given, response.cards, densities(response))
    ends = {SILVER: "100", FRIT: "0"}
    for below, above in zip(vessel.bands[:-1], vessel.bands[1:], strict=True):
        assert below.fade[-1] == above.fade[0]
    for band in vessel.bands:
        z, share = np.array(band.fade).T
        assert (z[0], z[-1]) == (band.low, band.high)
        inside = (whole.height >= band.low) & (whole.height <= band.high)
        exact, along = whole.share[inside], np.interp(whole.height[inside], z, share)
        assert along == pytest.approx(exact, abs=1e-3)
        named = float(ends.get(band.material) or band.material.rpartition("=")[2])
        assert 100.0 * np.trapezoid(share, z) / (z[-1] - z[0]) == pytest.approx(named, abs=1.0)


def test_stress_does_not_hang_on_how_finely_a_smear_is_named():
    """Named in tenths of the share, or in three hundredths; cut into steps they change by twice.

    What is left is that a limit is that of a whole band.
    """
    vase = example("bronze_vase")
    cards, along = cards_of(vase, CARDS), Along(trace(vase.firing), extend=True)
    kinds = {card.name: card for card in cards}
    dense = along.of(list(kinds.values())).relative_density[:, -1]
    density = dict(zip(kinds, dense.tolist(), strict=True))

    def used(step: float, stepped: bool) -> dict[str, float]:
        vessel = as_printed(vase, cards, density, step, step)
        if stepped:
            bare = tuple(replace(band, fade=()) for band in vessel.bands)
            vessel = replace(vessel, bands=bare)
        flags = judge(fire_vessel(vessel, CARDS, control=COARSE, along=along)).flags
        rules = ("brown", "cooling")
        return {r: max(f.utilisation for f in flags if f.rule == r) for r in rules}

    coarse, fine = used(0.1, stepped=False), used(0.03, stepped=False)
    assert coarse == pytest.approx(fine, rel=0.2)
    coarse, fine = used(0.1, stepped=True), used(0.03, stepped=True)
    assert all(coarse[rule] > 1.7 * fine[rule] for rule in fine)


def test_the_verdict_is_of_the_smeared_bands():
    response, _ = foot()
    given = replace(response.vessel, printer=replace(response.vessel.printer, given=True))
    printed = check_vessel(given, CARDS, control=COARSE, quick=True)
    drawn = check_vessel(response.vessel, CARDS, control=COARSE, quick=True)
    assert printed.smeared
    assert not drawn.smeared
    assert (drawn.word, printed.word) == ("no", "no")
    # 4 mm of smear in a wall of 4 mm change little of what its height of 1/β = 8 mm rules
    sharp, smeared = (
        {f.zone: f.utilisation for f in verdict.flags if f.rule == "cooling"}
        for verdict in (drawn.verdict, printed.verdict)
    )
    assert sharp[FRIT] == pytest.approx(smeared[FRIT], rel=0.3)
    # but its blends are as brittle as the frit, and lie where the stress is largest
    assert len(smeared) > len(sharp)
    assert max(smeared, key=lambda zone: smeared[zone]) != FRIT
    # what is drawn is fired when it is asked for, along the histories of the check
    assert np.array_equal(printed.designed.fired.total, drawn.printed.fired.total)
    assert drawn.designed is drawn.printed


def test_the_smear_of_two_ceramics_is_refused_with_their_names():
    response, _ = foot()
    given = replace(response.vessel, printer=replace(response.vessel.printer, given=True))
    cards = (CARDS[FRIT], CARDS["talc body"])
    density = {FRIT: 0.9, "talc body": 0.9}
    with pytest.raises(InputError, match=r"one metal, one ceramic.*fritted body, talc body"):
        as_printed(given, cards, density)
    with pytest.raises(InputError, match=r"one metal, one ceramic.*talc body"):
        as_printed(given, (CARDS[SILVER], *cards), {**density, SILVER: 0.9})
