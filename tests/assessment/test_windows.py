"""Which peaks and holds a card allows, and which two cards share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.own_weight import sagged
from cofire.assessment.windows import (
    EASY_RANGE,
    HOLDS,
    PEAKS,
    RATE,
    SOLIDUS_MARGIN,
    Windows,
    best_gas,
    ceiling,
    firing_windows,
    gas_grade,
    grade_in_turn,
    shared_window,
)
from cofire.firing.kiln import trace
from cofire.firing.program import simple_firing
from cofire.materials.card import Card
from cofire.physics.blends import blend
from cofire.physics.history import Along
from cofire.physics.sintering import relative_density
from cofire.units import HOUR, MINUTE, kelvin
from tests.histories import held
from tests.strategies import CARDS, KILNS, METALS, cards, ceramics, few, kilns, metals, some

STUDIO = KILNS["small studio kiln"]
LABORATORY = KILNS["laboratory furnace"]


def made(
    matures: list[list[list[bool]]],
    tops: list[float],
    peaks: list[float],
    sag: list[list[float]] | None = None,
) -> Windows:
    """Windows written down by hand: cards, peaks in °C, two holds; one sag for all cards."""
    grid = np.array(matures)
    return Windows(
        kelvin(np.array(peaks)),
        np.array([10.0, 60.0]) * MINUTE,
        grid * 1.0,
        grid,
        np.zeros(grid.shape),
        kelvin(np.array(tops)),
        lambda _: np.zeros(grid.shape[1:]) if sag is None else np.array(sag),
    )


@few
@given(cards(), st.floats(600.0, 1150.0), st.floats(10.0, 240.0))
def test_the_grid_gives_the_density_of_the_whole_firing(
    card: Card, peak: float, hold: float
) -> None:
    """Against the history along the trace: heating, hold and free cooling.

    Within 0.001: between nodes 4 K apart the clock of the grid is read off a chord, 1 % at worst.
    """
    top, seconds = kelvin(peak), hold * MINUTE
    windows = firing_windows([card], STUDIO, "carbon", np.array([top]), np.array([seconds]))
    curve = trace(simple_firing(STUDIO, top, seconds, RATE, gas="carbon", lag=0.0))
    density = relative_density(card, curve, extend=True)[-1]
    assert windows.density[0, 0, 0] == pytest.approx(density, abs=0.001)


@pytest.mark.parametrize("name", ["soda-lime powder body", "leucite porcelain", "fritted body"])
@pytest.mark.parametrize("hold", [10.0, 240.0])
def test_the_grid_gives_the_sag_of_the_whole_firing(name: str, hold: float) -> None:
    """Against the history along the trace, which also flows by what sinters (`sagged`).

    Expected: the difference is a stress of some hundred Pa over a sintering potential of some
    10 kPa times its shrinkage, the same after any firing that makes it dense: below 0.8 % here.
    """
    card, seconds = CARDS[name], hold * MINUTE
    top = ceiling(card, "air")
    curve = trace(simple_firing(STUDIO, top, seconds, RATE, "air", lag=0.0))
    along = Along(curve, extend=True)
    whole = sagged([card], along.of([card]), along)[0]
    windows = firing_windows([card], STUDIO, "air", np.array([top]), np.array([seconds]))
    found = windows.sag(0)[0, 0]
    assert 0.0 <= whole - found < 0.008 + 0.01 * whole


def test_a_ring_of_soft_glass_flows_as_by_hand() -> None:
    """Soda-lime at 795 °C for four hours: 10^5.5 Pa s on its card, uniaxial three times that.

    2500 kg/m³ and 15 mm above the middle are 368 Pa: times 14400 s over 9.5e5 Pa s makes 5.6,
    without what the ramp adds, some 20 to 30 %.
    """
    card, top = CARDS["soda-lime powder body"], kelvin(795.0)
    windows = firing_windows([card], STUDIO, "air", np.array([top]), np.array([4.0 * HOUR]))
    glass = 3.0 * 10.0 ** card["glass_viscosity"].at(np.array([top]))[0]
    own = card["theoretical_density"].scalar * windows.density[0, 0, 0]
    by_hand = own * 9.81 * 0.015 * 4.0 * HOUR / glass
    assert by_hand == pytest.approx(5.6, rel=0.05)
    assert 1.05 * by_hand < windows.sag(0)[0, 0] < 1.4 * by_hand


def test_a_blend_sags_less_than_its_body_and_a_metal_not_at_all() -> None:
    """The metal taken as rigid: 1/(1 - 2.5 c) as stiff, locked at 40 %; the load is the blend's."""
    metal, body = CARDS["fine silver"], CARDS["soda-lime powder body"]
    tenth, half = blend(metal, body, 0.1), blend(metal, body, 0.5)
    grid = np.array([kelvin(750.0)]), np.array([HOUR])
    windows = firing_windows([metal, body, tenth, half], STUDIO, "air", *grid)
    silver, glass, thin, thick = (windows.sag(n)[0, 0] for n in range(4))
    assert silver == thick == 0.0
    heavier = tenth["theoretical_density"].scalar / body["theoretical_density"].scalar
    assert thin == pytest.approx(glass * heavier * 0.75, rel=1e-6)


@few
@given(st.lists(cards(), min_size=1, max_size=3), kilns())
def test_hotter_or_longer_is_denser_and_mature_stays_mature(many: list[Card], kiln: object) -> None:
    """Hotter, but for iron, whose gamma form above 912 °C diffuses slower."""
    windows = firing_windows(many, kiln, "carbon", PEAKS[::10])  # type: ignore[arg-type]
    plain = [card.elements != ("Fe",) for card in many]
    for axis, rows in ((1, plain), (2, [True] * len(many))):
        if any(rows):
            assert np.diff(windows.density[rows], axis=axis).min() >= -1e-12
            assert np.diff(windows.matures[rows].astype(int), axis=axis).min() >= 0
    assert windows.density.shape == (len(many), PEAKS[::10].size, HOLDS.size)
    assert np.all(windows.allowed <= windows.matures)


@few
@given(st.lists(cards(), min_size=2, max_size=4))
def test_windows_of_many_equal_windows_one_by_one(many: list[Card]) -> None:
    together = firing_windows(many, STUDIO, "carbon", PEAKS[::20])
    for row, card in enumerate(many):
        alone = firing_windows([card], STUDIO, "carbon", PEAKS[::20])
        assert np.array_equal(together.density[row], alone.density[0])
        assert np.array_equal(together.matures[row], alone.matures[0])
        assert together.ceiling[row] == alone.ceiling[0]


def test_a_metal_stays_below_its_solidus_and_a_ceramic_below_its_own_limit() -> None:
    copper, talc = CARDS["copper"], CARDS["talc body"]
    for gas in ("air", "carbon"):
        metal, body = ceiling(copper, gas), ceiling(talc, gas)
        assert metal == pytest.approx(kelvin(1084.62) - SOLIDUS_MARGIN, abs=0.01)
        assert body == talc["firing_ceiling"].scalar
        assert ceiling(blend(copper, talc, 0.4), gas) == min(metal, body)


def test_a_body_whose_iron_is_reduced_overfires_lower() -> None:
    red, stoneware = CARDS["red earthenware"], CARDS["mid-fire stoneware"]
    for gas, lower in (("air", 0.0), ("inert", 0.0), ("carbon", 1.0), ("hydrogen", 1.0)):
        own = red["firing_ceiling"].scalar - lower * (1120.0 - 1050.0)
        assert ceiling(red, gas) == pytest.approx(own)
        # where no ceiling is stated it lies as much lower as the body matures
        own = stoneware["firing_ceiling"].scalar - lower * 30.0
        assert ceiling(stoneware, gas) == pytest.approx(own)
        mixed = blend(CARDS["iron"], red, 0.3)
        assert ceiling(mixed, gas) == ceiling(red, gas)
    air, carbon = (firing_windows([red], LABORATORY, gas) for gas in ("air", "carbon"))
    assert air.lowest[0] - carbon.lowest[0] == pytest.approx(40.0, abs=5.0)  # steps of 5 K
    assert air.ceiling[0] - carbon.ceiling[0] == pytest.approx(70.0)


@some
@given(metals(), ceramics(), st.floats(0.05, 0.95))
def test_a_blend_matures_where_both_its_phases_do(
    metal: Card, ceramic: Card, fraction: float
) -> None:
    mixed = blend(metal, ceramic, fraction)
    windows = firing_windows([metal, ceramic, mixed], LABORATORY, "carbon", PEAKS[::10])
    assert np.array_equal(windows.matures[2], windows.matures[0] & windows.matures[1])
    assert np.array_equal(windows.density[2], windows.density[:2].min(axis=0))


def test_the_lowest_peak_is_the_first_at_which_any_hold_matures() -> None:
    windows = made(
        [[[False, False], [False, True], [True, True]], [[False] * 2] * 3],
        [1000.0, 1000.0],
        [800.0, 810.0, 820.0],
    )
    assert windows.lowest[0] == pytest.approx(kelvin(810.0))
    assert windows.lowest[1] == np.inf


@some
@given(metals(), ceramics())
def test_a_shared_window_suits_both_and_does_not_depend_on_their_order(
    metal: Card, ceramic: Card
) -> None:
    windows = firing_windows([metal, ceramic], LABORATORY, "carbon", PEAKS[::4])
    shared = shared_window(windows, 0, 1, LABORATORY.max_temperature)
    assert shared == shared_window(windows, 1, 0, LABORATORY.max_temperature)
    both = windows.allowed[0] & windows.allowed[1]
    if shared is None:
        assert not np.any(both & (windows.peak[:, None] <= LABORATORY.max_temperature))
        return
    hold = int(np.flatnonzero(windows.hold == shared.hold)[0])
    for peak in (shared.low, shared.peak, shared.high):
        assert both[int(np.flatnonzero(windows.peak == peak)[0]), hold]
    assert shared.low <= shared.peak <= shared.high
    assert shared.high <= min(ceiling(metal, "carbon"), ceiling(ceramic, "carbon")) + 1e-9


def test_the_shortest_comfortable_hold_is_chosen_else_the_widest() -> None:
    peaks = [800.0, 810.0, 820.0, 830.0, 840.0, 850.0]
    every, late = [[True, True]] * 6, [[p >= 820.0, p >= 810.0] for p in peaks]
    comfortable = made([every, late], [900.0, 900.0], peaks)
    shared = shared_window(comfortable, 0, 1, 2000.0)
    assert shared is not None
    assert shared.high - shared.low + 10.0 >= EASY_RANGE
    assert shared.hold == 10.0 * MINUTE
    tight = [[p >= 840.0, p >= 830.0] for p in peaks]
    shared = shared_window(made([every, tight], [900.0, 900.0], peaks), 0, 1, 2000.0)
    assert shared is not None
    assert (shared.hold, shared.low) == (60.0 * MINUTE, pytest.approx(kelvin(830.0)))


def test_where_the_usual_firing_sags_the_comfortable_one_of_least_sag_is_taken() -> None:
    """Not the least of all: at the edge of the range a small kiln leaves some of it porous."""
    peaks = [800.0 + 5.0 * n for n in range(12)]
    every = [[True, True]] * 12
    sag = [[0.1 + 0.01 * n, 0.02 + 0.001 * n] for n in range(12)]
    shared = shared_window(made([every] * 2, [900.0] * 2, peaks, sag), 0, 1, 2000.0)
    assert shared is not None
    assert (shared.peak, shared.hold) == (pytest.approx(kelvin(810.0)), 60.0 * MINUTE)
    assert shared.sag == pytest.approx(0.022)
    assert (shared.low, shared.high) == (pytest.approx(kelvin(800.0)), pytest.approx(kelvin(855.0)))
    little = [[0.009, 0.0]] * 12
    shared = shared_window(made([every] * 2, [900.0] * 2, peaks, little), 0, 1, 2000.0)
    assert shared is not None
    assert (shared.peak, shared.hold) == (pytest.approx(kelvin(825.0)), 10.0 * MINUTE)


def test_a_window_with_a_hole_ends_where_the_hole_begins() -> None:
    """Steel sinters slower just above its transformation than below: the longest run counts."""
    peaks = [800.0 + 5.0 * n for n in range(20)]
    holed = [[n < 6 or n > 10] * 2 for n in range(20)]
    shared = shared_window(made([holed] * 2, [1000.0] * 2, peaks), 0, 1, 2000.0)
    assert shared is not None
    assert shared.low == pytest.approx(kelvin(855.0))
    assert shared.high == pytest.approx(kelvin(895.0))
    assert shared.peak == pytest.approx(kelvin(875.0))


def test_the_kilns_limit_cuts_the_window() -> None:
    every = made([[[True, True]] * 2] * 2, [2000.0, 2000.0], [1190.0, 1210.0])
    shared = shared_window(every, 0, 1, kelvin(1200.0))
    assert shared is not None
    assert shared.high == pytest.approx(kelvin(1190.0))
    assert shared_window(every, 0, 1, kelvin(1000.0)) is None


def test_a_weaker_kiln_gives_more_heat_work_at_the_same_peak() -> None:
    """It creeps towards the peak: what a person sees as a lower peak that suffices."""
    weak = replace(LABORATORY, heating_rate=LABORATORY.heating_rate * 0.05)
    card = CARDS["copper"]
    strong, slow = (firing_windows([card], kiln, "carbon").lowest[0] for kiln in (LABORATORY, weak))
    assert slow < strong


def test_a_hold_no_longer_than_allowed_by_the_grid_is_what_a_pair_gets() -> None:
    assert HOLDS.max() == 4.0 * HOUR
    assert np.all(np.diff(PEAKS) == pytest.approx(5.0))


def test_where_no_gas_will_do_the_first_is_named_with_every_reason() -> None:
    refusing = {gas: f"refused: it is {gas}" for gas in ("air", "inert", "carbon", "hydrogen")}
    body = replace(CARDS["talc body"], atmosphere=refusing)
    gas, grade, reason = best_gas(CARDS["gold"], body, kelvin(900.0), ("carbon", "air"))
    assert (gas, grade) == ("carbon", 2)
    assert reason == "talc body in carbon: it is carbon; talc body in air: it is air"
    kind = replace(body, atmosphere=refusing | {"air": "good"})
    assert best_gas(CARDS["gold"], kind, kelvin(900.0), ("carbon", "air")) == ("air", 0, "")


@pytest.mark.parametrize(
    ("metal", "gas", "peak"),
    [("iron", "air", 1380.0), ("low-carbon steel", "air", 1450.0), ("nickel", "air", 1420.0),
     ("iron", "inert", 1450.0), ("nickel", "inert", 1420.0)],
)  # fmt: skip
def test_what_oxidises_where_the_data_of_its_oxide_end_oxidises_beyond(
    metal: str, gas: str, peak: float
) -> None:
    """Expected of nickel at 1420 °C: -471.2 + 0.172 T kJ are log pO2 of -5.6; air has -0.7.

    Iron's data end at 1371, nickel's at 1400 °C; technical inert gas has -5.
    """
    grade, reason = gas_grade(CARDS[metal], gas, kelvin(peak))
    assert grade == 2
    assert "oxidises at 1371 °C" in reason or "oxidises at 1400 °C" in reason


def test_what_is_bright_where_the_data_end_is_unknown_beyond_and_both_are_told() -> None:
    nickel = CARDS["nickel"]
    grade, reason = gas_grade(nickel, "carbon", kelvin(1420.0))
    assert grade == 1
    assert "graphite" in reason
    assert "unknown above 1400 °C" in reason
    grade, reason = gas_grade(nickel, "hydrogen", kelvin(1420.0))
    assert (grade, reason[:33]) == (1, "nickel in hydrogen: unknown above")
    best = best_gas(nickel, CARDS["3Y zirconia"], kelvin(1420.0), ("air", "inert", "hydrogen"))
    assert best[:2] == ("hydrogen", 1)


def test_an_oxide_that_hydrogen_takes_back_on_its_way_beyond_the_data_is_taken_back() -> None:
    grade, reason, _ = grade_in_turn(CARDS["nickel"], held([("air", 500), ("hydrogen", 1420)]))
    assert grade == 1
    assert "takes it back" in reason


@pytest.mark.parametrize("name", METALS)
def test_a_gas_that_a_card_calls_good_is_not_refused_by_its_oxides(name: str) -> None:
    """At the card's own firing: who buys argon for iron by its card would lose the piece."""
    card = CARDS[name]
    assert card.fired_at is not None
    for gas, word in card.atmosphere.items():
        if word == "good":
            assert gas_grade(card, gas, card.fired_at.peak)[0] < 2, gas


def test_brass_is_refused_in_carbon_for_its_zinc_that_evaporates() -> None:
    """Zinc in 70/30 has an activity of some 0.1, so of its oxide carbon is not far from keeping it.

    0.059 atm over the alloy at 850 °C is what counts.
    """
    grade, reason = gas_grade(CARDS["brass 70/30"], "carbon", kelvin(850.0))
    assert grade == 2
    assert "zinc evaporates" in reason
    assert "oxidises" not in reason
