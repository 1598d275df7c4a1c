"""Iron above 912 °C: gamma iron diffuses slower, so it sinters slower."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.firing.kiln import Trace
from cofire.materials.catalogue import load_cards
from cofire.physics.sintering import (
    BOUNDARY_SLOWING,
    VOLUME_SLOWING,
    austenite_slowing,
    clock_rate,
    relative_density,
)

CARDS = load_cards()
R = 8.314


def held(celsius: float, hours: float = 1.0) -> Trace:
    peak = celsius + 273.15
    T = np.append(np.linspace(293.15, peak, 800), peak)
    t = np.append((T[:-1] - 293.15) / (150.0 / 3600.0), 0.0)
    t[-1] = t[-2] + 3600.0 * hours
    return Trace(t, T, T, np.array([0]))


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
        found = relative_density(card, held(fired.peak - 273.15, fired.hold / 3600.0))[-1]
        assert found == pytest.approx(card["fired_density"].scalar, abs=0.005)


def test_metals_that_do_not_turn_are_left_alone():
    T = np.array([1100.0, 1250.0])
    for name in ("copper", "titanium", "316L stainless"):
        energy = CARDS[name]["sintering_energy"].scalar
        assert clock_rate(CARDS[name], True)(T) == pytest.approx(
            np.exp(-energy / 8.314462618 / T) / T
        )
