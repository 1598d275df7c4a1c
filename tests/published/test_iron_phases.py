"""Iron as ferrite and as austenite, bare and in carbon: how fast it sinters, and its length.

What was expected before: in a carbon pack iron has steel's transformation, so on cooling it grows
near 700 °C and not at 900, by a third of what pure iron does, and has contracted some 0.3 % more
by then; alpha iron's quick sintering ends where the carbon comes, so nothing matures at 770 to
835 °C. Wrong, if densities of another source gave the card's steps another sign or size, or if a
body of iron in carbon still lengthened at 900 °C.
"""

from __future__ import annotations

import numpy as np
import pytest

from cofire.assessment.draws import Factor, factors_of
from cofire.assessment.windows import firing_windows
from cofire.firing.kiln import Trace
from cofire.firing.program import load_kilns
from cofire.materials.catalogue import load_cards
from cofire.physics.expansion import thermal_strains
from cofire.physics.sintering import (
    BOUNDARY_SLOWING,
    VOLUME_SLOWING,
    austenite_slowing,
    clock_rate,
    relative_density,
)

CARDS = load_cards()
R = 8.314


def held(celsius: float, hours: float = 1.0, gas: str = "hydrogen") -> Trace:
    peak = celsius + 273.15
    T = np.append(np.linspace(293.15, peak, 800), peak)
    t = np.append((T[:-1] - 293.15) / (150.0 / 3600.0), 0.0)
    t[-1] = t[-2] + 3600.0 * hours
    return Trace(t, T, T, np.array([0]), gas)


def test_the_ratios_are_those_of_the_self_diffusion_data():
    """Heumann & Imm 1968 over Iijima et al. 1988; Frost & Ashby 1982 (all from memory)."""
    T = 1185.0
    gamma, alpha = 4.9e-5 * np.exp(-284.1e3 / R / T), 2.76e-4 * np.exp(-250.6e3 / R / T)
    assert gamma / alpha == pytest.approx(VOLUME_SLOWING, rel=0.03)
    boundary = 7.5e-14 / 1.1e-12 * np.exp(15e3 / R / T)
    assert boundary == pytest.approx(BOUNDARY_SLOWING, rel=0.03)


def test_slowing_lies_between_its_two_paths():
    found = [austenite_slowing(e) for e in (150e3, 174e3, 205e3, 239e3, 300e3)]
    assert found[0] == found[1] == pytest.approx(BOUNDARY_SLOWING)
    assert found[3] == found[4] == pytest.approx(VOLUME_SLOWING)
    assert found[1] > found[2] > found[3]


def test_iron_sinters_denser_just_below_912_than_just_above():
    """Trade and textbooks of powder metallurgy: shrinkage stops as iron turns (from memory)."""
    iron = CARDS["iron"]
    below, above, far = (float(relative_density(iron, held(c))[-1]) for c in (905, 935, 1080))
    assert below > above + 0.01
    assert far > above


def test_the_card_still_reaches_its_density_in_its_own_firing():
    for name in ("iron", "low-carbon steel"):
        card = CARDS[name]
        fired = card.fired_at
        assert fired is not None
        own = held(fired.peak - 273.15, fired.hold / 3600.0, fired.gas)
        found = relative_density(card, own)[-1]
        assert found == pytest.approx(card["fired_density"].scalar, abs=0.005)


def test_metals_that_do_not_turn_are_left_alone():
    T = np.array([1100.0, 1250.0])
    for name in ("copper", "titanium", "316L stainless"):
        energy = CARDS[name]["sintering_energy"].scalar
        assert clock_rate(CARDS[name], True)(T) == pytest.approx(
            np.exp(-energy / 8.314462618 / T) / T
        )


EUTECTOID, IN_FERRITE, IN_CEMENTITE = 0.77, 0.02, 6.69
"""Carbon of pearlite and of its two phases at 727 °C (phase diagram, from memory). [% by mass]"""


def austenite(celsius: float, carbon: float) -> float:
    """Density by Miettinen 1997 (from memory; formula read in a public code). [kg/m3]"""
    return 8099.79 - 0.5060 * celsius + (-118.26 + 0.00739 * celsius) * carbon


def ferrite(celsius: float, carbon: float = 0.0) -> float:
    """Density by the same. [kg/m3]"""
    pure = 7875.96 - 0.297 * celsius - 5.62e-5 * celsius**2
    return pure + (-206.35 + 0.00778 * celsius + 1.472e-6 * celsius**2) * carbon


def cementite(celsius: float) -> float:
    """Density by Qiu & van der Zwaag 1997 (molar volume read in a public code). [kg/m3]"""
    T = celsius + 273.15
    return 179.55e-3 / (23.39e-6 * np.exp(-1.36e-5 * T + 0.5 * 8.0e-8 * T**2))


def pearlite(celsius: float) -> float:
    """Density by the lever rule. [kg/m3]"""
    share = (EUTECTOID - IN_FERRITE) / (IN_CEMENTITE - IN_FERRITE)
    return 1.0 / (share / cementite(celsius) + (1.0 - share) / ferrite(celsius, IN_FERRITE))


def longer(before: float, after: float) -> float:
    """Natural linear strain of one mass from one density to another. [-]"""
    return float(np.log(before / after)) / 3.0


def change(name: str, gas: str, what: str):
    return next(c for c in CARDS[name].in_gas(gas).inversions if c.name == what)


def test_densities_of_a_source_that_no_card_used_give_pure_irons_step():
    step = longer(ferrite(912.0), austenite(912.0, 0.0))
    assert change("iron", "hydrogen", "alpha to gamma iron").step == pytest.approx(step, rel=0.1)


@pytest.mark.parametrize("name", ["iron", "low-carbon steel"])
def test_steel_of_the_pack_changes_length_as_its_phases_densities_say(name):
    """Within the 40 % that the card states; a third of pure iron's step, and of the same sign."""
    turned = longer(pearlite(727.0), austenite(727.0, EUTECTOID))
    found = change(name, "carbon", "ferrite to austenite")
    at_727 = found.step - found.expansion_change * (found.on_heating - 1000.15)
    assert -0.0020 < turned < -0.0009
    assert at_727 == pytest.approx(turned, rel=0.4)


def test_iron_grows_by_the_carbon_that_it_takes_up():
    """One mass of iron, bare and in pearlite at 20 °C."""
    grown = longer(ferrite(20.0), pearlite(20.0) * (1.0 - EUTECTOID / 100.0))
    found = change("iron", "carbon", "carbon taken up")
    assert found.step == pytest.approx(grown, rel=0.1)
    assert not found.comes_back


def cooled(gas: str) -> tuple[np.ndarray, np.ndarray]:
    """°C and length on the way from 940 to 20 °C, once turned. [-]"""
    T = np.concatenate([np.linspace(20.0, 940.0, 921), np.linspace(940.0, 20.0, 921)])
    parts = thermal_strains(CARDS["iron"].in_gas(gas), T + 273.15)
    return T[921:], np.sum(list(parts.values()), axis=0)[921:]


@pytest.mark.parametrize(("gas", "low", "high"), [("hydrogen", 890, 912), ("carbon", 680, 727)])
def test_on_cooling_iron_lengthens_where_it_turns_back_and_nowhere_else(gas, low, high):
    T, length = cooled(gas)
    rising = T[1:][np.diff(length) > 0.0]
    assert rising.size
    assert low < rising.min()
    assert rising.max() < high


def test_from_940_steel_of_the_pack_contracts_as_the_densities_say_and_more_than_iron():
    """0.77 % C throughout, pure iron by the same rule; within the spread of the steel step."""
    for gas, hot, cold in (
        ("hydrogen", austenite(940.0, 0.0), ferrite(20.0)),
        ("carbon", austenite(940.0, EUTECTOID), pearlite(20.0)),
    ):
        _, length = cooled(gas)
        assert length[-1] - length[0] == pytest.approx(longer(hot, cold), abs=5e-4)
    more = cooled("hydrogen")[1], cooled("carbon")[1]
    assert (more[0][-1] - more[0][0]) - (more[1][-1] - more[1][0]) > 0.002


def test_austenite_of_the_pack_slows_sintering_from_some_760_on():
    iron = CARDS["iron"]
    T = np.array([700.0, 800.0, 880.0]) + 273.15
    ratio = clock_rate(iron.in_gas("carbon"))(T) / clock_rate(iron.in_gas("hydrogen"))(T)
    slow = austenite_slowing(iron["sintering_energy"].scalar)
    assert ratio == pytest.approx([1.0, slow, slow])
    above = T + 150.0
    assert clock_rate(iron.in_gas("carbon"))(above[1:]) == pytest.approx(
        clock_rate(iron.in_gas("hydrogen"))(above[1:])
    )


@pytest.mark.parametrize("name", ["iron", "low-carbon steel"])
def test_no_hold_of_iron_below_880_makes_it_dense_in_carbon(name):
    """Quick sintering of alpha iron at 770-835 °C is for gases without carbon."""
    kiln = load_kilns()["small studio kiln"]
    pack, bare = (firing_windows([CARDS[name]], kiln, gas) for gas in ("carbon", "hydrogen"))
    assert pack.lowest[0] >= 880.0 + 273.15
    assert bare.lowest[0] < 850.0 + 273.15


def test_how_late_the_carbon_comes_does_not_move_the_way_back():
    """What is not sure is when iron turns on heating; what steel does on cooling is."""
    at = CARDS["iron"]["carburised_at"].scalar
    late = CARDS["iron"].scaled("carburised_at", (at + 60.0) / at)
    usual, moved = (
        next(c for c in card.in_gas("carbon").inversions if c.name == "ferrite to austenite")
        for card in (CARDS["iron"], late)
    )
    assert moved.on_heating == usual.on_heating + 60.0
    assert moved.on_cooling == usual.on_cooling
    back = [c.step + c.expansion_change * (c.on_cooling - c.on_heating) for c in (usual, moved)]
    assert back[0] == pytest.approx(back[1], abs=1e-15)
    assert Factor("iron", "carburised_at") in factors_of([CARDS["iron"]])
    assert clock_rate(late.in_gas("carbon"))(np.array([1053.0])) > 3.0 * clock_rate(
        CARDS["iron"].in_gas("carbon")
    )(np.array([1053.0]))
