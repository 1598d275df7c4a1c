"""The sintering clocks, and density over them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import exp1

from cofire.errors import ModelError, OutOfRange
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing, Segment
from cofire.materials.card import Card
from cofire.physics.sintering import (
    clock_rate,
    density_at,
    half_way,
    master_clock_rate,
    master_curve,
    master_reference,
    relative_density,
    run_clock,
    sintering_strain,
    viscous_curve,
)
from cofire.units import GAS_CONSTANT, HOUR, MINUTE, ROOM, kelvin
from tests.strategies import CARDS, CERAMICS, KILNS, METALS, cards, firings, some, traces

MASTER = tuple(n for n in METALS + CERAMICS if CARDS[n].densification == "master curve")
VISCOUS = tuple(n for n in CERAMICS if CARDS[n].densification == "viscous")
ENERGIES = st.floats(8e4, 1.2e6)


def own_firing(card: Card) -> Trace:
    """The firing that the card's fired density belongs to: a ramp and a hold."""
    fired = card.fired_at
    assert fired is not None
    up = np.linspace(ROOM, fired.peak, 500)
    still = np.full(20, fired.peak)
    time = (up - ROOM) / fired.rate
    held = time[-1] + fired.hold * np.linspace(0.0, 1.0, 21)[1:]
    ware = np.concatenate([up, still]) if fired.hold > 0.0 else up
    time = np.concatenate([time, held]) if fired.hold > 0.0 else time
    return Trace(time, ware, ware, np.array([0, time.size - 1]), fired.gas or "air")


# -- clocks ----------------------------------------------------------------------------------


@some
@given(traces(), ENERGIES)
def test_the_clock_only_runs_forward(curve: Trace, energy: float) -> None:
    clock = run_clock(curve.time, curve.ware, lambda T: master_clock_rate(T, energy))
    assert clock[0] == 0.0
    assert np.all(np.diff(clock) >= 0.0)


@some
@given(traces(), ENERGIES, st.floats(0.1, 0.9))
def test_a_trace_may_be_cut_anywhere_and_the_parts_added(
    curve: Trace, energy: float, share: float
) -> None:
    """Splitting an interval changes nothing but the rounding of the quadrature."""

    def rate(T: np.ndarray) -> np.ndarray:
        return master_clock_rate(T, energy)

    whole = run_clock(curve.time, curve.ware, rate)[-1]
    cut = int(share * curve.time.size)
    parts = (
        run_clock(curve.time[: cut + 1], curve.ware[: cut + 1], rate)[-1]
        + run_clock(curve.time[cut:], curve.ware[cut:], rate)[-1]
    )
    assert parts == pytest.approx(whole, rel=1e-12)
    middle = 0.5 * (curve.time[cut] + curve.time[cut + 1])
    finer = np.insert(curve.time, cut + 1, middle)
    again = run_clock(finer, np.interp(finer, curve.time, curve.ware), rate)[-1]
    assert again == pytest.approx(whole, rel=1e-4)


@pytest.mark.parametrize("energy", [8e4, 3e5, 1.2e6])
def test_nodes_four_kelvin_apart_are_close_enough(energy: float) -> None:
    """Against the exponential integral, from where the fastest powders begin to sinter, 300 °C."""
    ware = np.arange(ROOM, kelvin(1500.0), 4.0)
    clock = run_clock(ware - ROOM, ware, lambda T: master_clock_rate(T, energy))
    exact = exp1(energy / (GAS_CONSTANT * ware)) - exp1(energy / (GAS_CONSTANT * ROOM))
    warm = ware > kelvin(300.0)
    assert clock[warm] == pytest.approx(exact[warm], rel=2e-5)


def test_several_clocks_run_at_once() -> None:
    energies = np.array([[2e5], [4e5], [6e5]])
    T = np.linspace(ROOM, kelvin(1000.0), 200)
    together = run_clock(T * 10.0, T, lambda x: master_clock_rate(x, energies))
    assert together.shape == (3, 200)
    for row, energy in zip(together, energies[:, 0], strict=True):
        alone = run_clock(T * 10.0, T, lambda x, Q=energy: master_clock_rate(x, Q))
        assert np.array_equal(row, alone)


# -- curves ----------------------------------------------------------------------------------


@some
@given(st.floats(0.1, 5.0), st.floats(0.3, 0.8), st.floats(0.81, 1.0), st.floats(1e-30, 1e-3))
def test_the_master_curve_runs_from_green_to_full_through_half_way(
    exponent: float, green: float, full: float, reference: float
) -> None:
    clock = reference * np.logspace(-300.0 / exponent / 10.0, 300.0 / exponent / 10.0, 101)
    density = master_curve(clock, reference, exponent, green, full)
    assert np.all(np.diff(density) >= 0.0)
    assert density[0] == pytest.approx(green)
    assert density[50] == pytest.approx(0.5 * (green + full))
    assert density[-1] == pytest.approx(full)
    assert master_curve(0.0, reference, exponent, green, full) == pytest.approx(green, abs=1e-6)


@some
@given(st.floats(0.1, 5.0), st.floats(0.01, 0.99), st.floats(1e-30, 1e-3))
def test_one_measured_density_places_the_curve(exponent: float, done: float, clock: float) -> None:
    density = 0.55 + done * (0.98 - 0.55)
    reference = master_reference(clock, density, exponent, 0.55, 0.98)
    assert master_curve(clock, reference, exponent, 0.55, 0.98) == pytest.approx(density)


@some
@given(st.floats(0.35, 0.85), st.floats(0.05, 0.99))
def test_the_viscous_curve_runs_from_green_to_full(green: float, share: float) -> None:
    full = green + share * (1.0 - green)
    density = viscous_curve(np.linspace(0.0, 50.0, 2001), green, full)
    assert density[0] == pytest.approx(green)
    assert np.all(np.diff(density) >= -1e-15)
    assert np.all(density <= full + 1e-15)
    assert density[-1] == pytest.approx(full, abs=1e-6)


@some
@given(st.floats(0.4, 0.95), st.floats(0.5, 2.5), st.floats(1.0, 1.8))
def test_shrinkage_along_ring_thickness_and_height_makes_up_the_volume(
    green: float, factor: float, ratio: float
) -> None:
    density = min(green * ratio, 1.0)
    ring = float(sintering_strain(density, green, factor))
    assert np.exp(2.0 * ring + factor * ring) == pytest.approx(green / density)
    assert ring <= 0.0


# -- cards -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MASTER)
def test_a_card_fired_as_it_was_measured_gives_its_measured_density(name: str) -> None:
    card = CARDS[name]
    density = relative_density(card, own_firing(card))
    assert density[-1] == pytest.approx(card["fired_density"].scalar, abs=1e-5)


@pytest.mark.parametrize("name", VISCOUS)
def test_a_glass_powder_fired_as_it_was_measured_comes_near(name: str) -> None:
    """Nothing is fitted there: within the card's own uncertainty of its fired density."""
    card = CARDS[name]
    fired = card["fired_density"]
    allowed = float(fired.uncertainty[0].relative(fired.value)[0]) * fired.scalar
    assert relative_density(card, own_firing(card))[-1] == pytest.approx(fired.scalar, abs=allowed)


@some
@given(cards(), firings())
def test_density_never_falls_and_stays_between_green_and_full(card: Card, firing: Firing) -> None:
    density = relative_density(card, trace(firing), extend=True)
    assert density[0] == pytest.approx(card["green_density"].scalar)
    assert np.all(np.diff(density) >= -1e-15)
    assert density[-1] <= card["full_density"].scalar + 1e-12


@some
@given(cards(), firings(), st.floats(0.0, 80.0), st.floats(0.0, 3.0))
def test_a_hotter_or_longer_firing_never_gives_less_density(
    card: Card, firing: Firing, hotter: float, longer: float
) -> None:
    segments = list(firing.segments)
    top = int(np.argmax([s.target for s in segments]))
    before = relative_density(card, trace(firing), extend=True)[-1]
    target = min(segments[top].target + hotter, firing.kiln.max_temperature)
    segments[top] = Segment(target, segments[top].rate, segments[top].hold + longer * HOUR)
    after = trace(replace(firing, segments=tuple(segments)))
    assert relative_density(card, after, extend=True)[-1] >= before - 1e-7


@some
@given(cards(), firings(), st.floats(0.05, 0.95), st.data())
def test_splitting_a_segment_changes_no_density(
    card: Card, firing: Firing, share: float, data: st.DataObject
) -> None:
    """Within 1e-4: the ware's chords run between other nodes."""
    number = data.draw(st.integers(0, len(firing.segments) - 1))
    segment = firing.segments[number]
    start = [ROOM, *(s.target for s in firing.segments)][number]
    middle = start + share * (segment.target - start)
    parts = (
        Segment(middle, segment.rate),
        replace(segment, hold=share * segment.hold),
        replace(segment, hold=(1.0 - share) * segment.hold),
    )
    split = replace(
        firing, segments=(*firing.segments[:number], *parts, *firing.segments[number + 1 :])
    )
    whole, parted = (relative_density(card, trace(f), extend=True)[-1] for f in (firing, split))
    assert parted == pytest.approx(whole, abs=1e-4)


def test_a_card_without_its_firing_cannot_be_placed() -> None:
    card = replace(CARDS["copper"], fired_at=None)
    with pytest.raises(ModelError, match="copper: fired_density has no fired_at"):
        half_way(card)


def test_a_glass_powder_hotter_than_its_viscosity_table_refuses() -> None:
    card = CARDS["soda-lime powder body"]
    hot = card["glass_viscosity"].reach[1] + 5.0
    with pytest.raises(OutOfRange, match="glass_viscosity asked at"):
        clock_rate(card)(np.array([hot]))
    held, top = clock_rate(card, extend=True)(np.array([hot, hot - 5.0]))
    assert held == pytest.approx(top)


def test_a_frozen_glass_does_not_sinter() -> None:
    card = CARDS["soda-lime powder body"]
    assert np.all(clock_rate(card)(kelvin(np.array([20.0, 200.0]))) == 0.0)
    cold = np.full(5, kelvin(200.0))
    curve = Trace(np.linspace(0.0, 1e9, 5), cold, cold, np.array([0, 4]))
    assert np.all(relative_density(card, curve) == card["green_density"].scalar)


def test_finer_glass_powder_sinters_sooner_in_proportion() -> None:
    card = CARDS["borosilicate powder body"]
    coarse, fine = (clock_rate(card.scaled("particle_size", f)) for f in (1.0, 0.5))
    T = kelvin(np.array([700.0, 800.0]))
    assert fine(T) == pytest.approx(2.0 * coarse(T))


def test_density_at_a_reading_needs_no_trace() -> None:
    card = CARDS["fine silver"]
    middle = 0.5 * (card["green_density"].scalar + card["full_density"].scalar)
    assert density_at(card, np.array([half_way(card)])) == pytest.approx([middle])


@pytest.mark.parametrize("minutes", [10.0, 120.0])
def test_a_hold_in_one_piece_equals_a_hold_in_many_nodes(minutes: float) -> None:
    card = CARDS["fritted body"]
    hold = Segment(kelvin(850.0), 150.0 / HOUR, minutes * MINUTE)
    kiln = KILNS["small studio kiln"]
    one = trace(Firing("one", kiln, (hold,)))
    parts = tuple(replace(hold, hold=hold.hold / 10.0) for _ in range(10))
    ten = trace(Firing("ten", kiln, parts))
    assert relative_density(card, ten)[-1] == pytest.approx(
        relative_density(card, one)[-1], abs=1e-12
    )


# -- bodies whose iron is reduced -------------------------------------------------------------

REDUCED = {"red earthenware": 40.0, "mid-fire stoneware": 30.0}
"""Bodies that mature lower in carbon, and by how much. [K]"""


def held(peak: float, gas: str) -> Trace:
    """A ramp of 150 °C/h to a peak in °C, an hour there, and as fast down."""
    up, down = (kelvin(peak) - ROOM) / (150.0 / HOUR), 2.0 * HOUR
    time = np.cumsum([0.0, up, HOUR, down])
    ware = np.array([ROOM, kelvin(peak), kelvin(peak), ROOM])
    every = np.linspace(0.0, time[-1], 2000)
    ware = np.interp(every, time, ware)
    return Trace(every, ware, ware, np.array([0, every.size - 1]), gas)


@pytest.mark.parametrize("name", REDUCED)
@pytest.mark.parametrize("gas", ["carbon", "hydrogen"])
def test_a_body_whose_iron_is_reduced_is_as_dense_as_in_air_so_much_hotter(
    name: str, gas: str
) -> None:
    card, lower = CARDS[name], REDUCED[name]
    assert card["reduced_maturing"].scalar == lower
    peak = 1000.0 if name == "red earthenware" else 1180.0
    reduced = relative_density(card, held(peak, gas))[-1]
    hotter = relative_density(card, held(peak + lower, "air"))[-1]
    as_hot = relative_density(card, held(peak, "air"))[-1]
    assert reduced == pytest.approx(hotter, abs=3e-4)
    assert reduced > as_hot + 0.005
    assert relative_density(card, held(peak, "inert"))[-1] == as_hot


@pytest.mark.parametrize("name", REDUCED)
def test_its_curve_stays_where_its_own_firing_in_air_put_it(name: str) -> None:
    card = CARDS[name]
    bare = {n: p for n, p in card.properties.items() if not n.startswith("reduced")}
    plain = replace(card, properties=bare)
    assert half_way(card.in_gas("carbon")) == half_way(card) == half_way(plain)
    firing = held(1000.0, "air")
    assert np.array_equal(relative_density(card, firing), relative_density(plain, firing))
    others = [c for n, c in CARDS.items() if n not in REDUCED and c.kind == "ceramic"]
    assert all(c.in_gas("carbon").matures_lower == 0.0 for c in others)


@pytest.mark.parametrize("name", REDUCED)
def test_a_fired_density_measured_in_carbon_is_found_again_there(name: str) -> None:
    card = CARDS[name]
    assert card.fired_at is not None
    there = replace(card, fired_at=replace(card.fired_at, gas="carbon"))
    dense = [
        relative_density(there, replace(own_firing(card), gas=g))[-1] for g in ("carbon", "air")
    ]
    assert dense[0] == pytest.approx(card["fired_density"].scalar, abs=1e-3)
    assert dense[1] < dense[0] - 0.005


@pytest.mark.parametrize("name", REDUCED)
def test_the_remark_on_carbon_and_the_numbers_say_the_same(name: str) -> None:
    card = CARDS[name]
    remark = card.atmosphere["carbon"]
    low, high = map(float, re.findall(r"(\d+)-(\d+) °C lower", remark)[0])
    shift = card["reduced_maturing"]
    assert shift.scalar == 0.5 * (low + high)
    assert 1.5 < (high - low) / (2.0 * shift.uncertainty[0].size) < 2.5
    for bloats in re.findall(r"bloats from about (\d+) °C", remark):
        assert card["reduced_ceiling"].scalar == kelvin(float(bloats))


def test_a_glassy_powder_that_is_reduced_flows_as_in_air_so_much_hotter() -> None:
    card = CARDS[VISCOUS[0]]
    shift = replace(CARDS["red earthenware"]["reduced_maturing"], owner=card.name)
    card = replace(card, properties={**card.properties, "reduced_maturing": shift})
    hot = card["glass_viscosity"].reach[1] - 100.0
    T = np.array([hot - 80.0, hot])
    assert np.array_equal(clock_rate(card.in_gas("carbon"))(T), clock_rate(card)(T + 40.0))
