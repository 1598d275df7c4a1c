"""What one material does alone along a firing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from cofire.assessment.screening import screen
from cofire.errors import InputError, OutOfRange
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing, Segment, simple_firing
from cofire.materials.card import Card
from cofire.physics.blends import BROWN_STRAIN, blend, neck
from cofire.physics.history import KEPT, Along, History, histories
from cofire.physics.porosity import rigid_inclusion_factor
from cofire.physics.rheology import (
    CREEP_RATE,
    creep_factor,
    relaxation_time,
    set_point,
    shear_viscosity,
    tabulated_viscosity,
)
from cofire.physics.sintering import half_way, sintering_potential
from cofire.units import GAS_CONSTANT, HOUR, MINUTE, ROOM, kelvin
from tests.strategies import (
    CARDS,
    CERAMICS,
    KILNS,
    TABLES,
    cards,
    ceramics,
    few,
    firings,
    metals,
    reach,
    some,
)

ROWS = (
    "relative_density",
    "mass_fraction",
    "young_modulus",
    "poisson_ratio",
    "viscosity",
    "viscous_poisson_ratio",
    "creep_factor",
    "creep_exponent",
    "yield_stress",
    "strength",
)
STUDIO = KILNS["small studio kiln"]
WITHIN = [name for name, card in CARDS.items() if reach(card) < kelvin(1680.0)]
"""Cards whose tables the laboratory furnace can leave behind."""


def plain(peak: float, hold: float = 60.0, gas: str = "air") -> Trace:
    """A plain firing of the ware: peak in °C, hold in minutes."""
    kiln = KILNS["laboratory furnace"]
    return trace(simple_firing(kiln, kelvin(peak), hold * MINUTE, 150.0 / HOUR, gas=gas, lag=0.0))


def one_row(history: History, row: int) -> dict[str, np.ndarray]:
    return {name: getattr(history, name)[row] for name in ROWS}


@few
@given(st.lists(cards(), min_size=2, max_size=5), firings())
def test_the_history_of_many_equals_the_histories_one_by_one(
    many: list[Card], firing: Firing
) -> None:
    curve = trace(firing)
    together = histories(many, curve, extend=True)
    assert together.names == tuple(card.name for card in many)
    for row, card in enumerate(many):
        alone = histories([card], curve, extend=True)
        assert np.array_equal(together.free_strain[row], alone.free_strain[0])
        for name, value in one_row(alone, 0).items():
            assert np.array_equal(getattr(together, name)[row], value)
        for name, strain in together.strain.items():
            expected = alone.strain[name][0] if name in alone.strain else np.zeros(curve.time.size)
            assert np.array_equal(strain[row], expected)


@some
@given(cards(), firings())
def test_contributions_sum_to_the_free_strain(card: Card, firing: Firing) -> None:
    history = histories([card], trace(firing), extend=True)
    assert history.free_strain == pytest.approx(sum(history.strain.values()), abs=1e-15)
    assert {"expansion", "sintering"} <= set(history.strain)
    assert {change.name for change in card.inversions} <= set(history.strain)


@some
@given(cards(), firings())
def test_every_row_is_finite_where_it_must_be_and_of_one_sign(card: Card, firing: Firing) -> None:
    curve = trace(firing)
    history = histories([card], curve, extend=True)
    for name in ROWS:
        assert not np.any(np.isnan(getattr(history, name)))
    for strain in history.strain.values():
        assert strain.shape == (1, curve.time.size)
        assert strain[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(history.young_modulus > 0.0)
    assert np.all(history.strength > 0.0)
    assert np.all(history.viscosity > 0.0)
    assert np.all(history.yield_stress > 0.0)
    assert np.all(history.creep_factor >= 0.0)
    assert np.all((history.viscous_poisson_ratio > 0.0) & (history.viscous_poisson_ratio <= 0.5))
    assert np.all(np.diff(history.mass_fraction) <= 1e-15)
    assert np.all(history.mass_fraction > 0.0)
    assert np.array_equal(history.temperature, curve.ware)


@some
@given(metals(), ceramics(), firings())
def test_metals_creep_and_yield_and_ceramics_flow(
    metal: Card, ceramic: Card, firing: Firing
) -> None:
    """A metal powder flows like a viscous body only while it densifies or its binder burns."""
    history = histories([metal, ceramic], trace(firing), extend=True)
    still = np.gradient(history.strain["sintering"][0], history.time) >= -1e-14
    whole = np.gradient(history.mass_fraction[0], history.time) >= -1e-14
    moving = np.convolve(~(still & whole), np.ones(5), mode="same") > 0.0  # differences reach over
    relief = np.where(moving, 0.0, history.young_modulus[0] / history.viscosity[0])
    assert float(np.trapezoid(relief, history.time)) < 0.05  # of a stress, in the whole firing
    assert not np.any(np.isinf(history.viscosity[0])[~still])
    assert np.all(np.isfinite(history.yield_stress[0]))
    assert np.all(history.creep_factor[0] > 0.0)
    assert np.all(history.creep_factor[1] == 0.0)
    assert np.all(np.isinf(history.yield_stress[1]))


def test_the_sintering_potential_just_stops_a_powder_metal() -> None:
    """Equal tension Σ in all directions, strain rate (1 − 2ν) Σ/η, against its free shrinkage."""
    silver = CARDS["fine silver"]
    history = histories([silver], plain(880.0))
    shrinking = np.gradient(history.strain["sintering"][0], history.time)
    moving = (shrinking < -1e-9) & (np.gradient(history.mass_fraction[0], history.time) > -1e-12)
    pull = sintering_potential(silver) * (1.0 - 2.0 * history.viscous_poisson_ratio[0])
    assert (pull / history.viscosity[0])[moving] == pytest.approx(-shrinking[moving])
    assert sintering_potential(silver) == pytest.approx(2.0 * 1.0 / 10e-6)  # 20 µm powder


@few
@given(cards(), firings(), st.floats(0.05, 0.95), st.data())
def test_splitting_a_segment_changes_no_state(
    card: Card, firing: Firing, share: float, data: st.DataObject
) -> None:
    """Ramp and hold alike: strain within 1e-5 and the rest within 1e-3 of itself at the end."""
    number = data.draw(st.integers(0, len(firing.segments) - 1))
    segment = firing.segments[number]
    start = [ROOM, *(s.target for s in firing.segments)][number]
    parts = (
        Segment(start + share * (segment.target - start), segment.rate),
        replace(segment, hold=share * segment.hold),
        replace(segment, hold=(1.0 - share) * segment.hold),
    )
    split = (*firing.segments[:number], *parts, *firing.segments[number + 1 :])
    whole, parted = (
        histories([card], trace(f), extend=True) for f in (firing, replace(firing, segments=split))
    )
    assert parted.free_strain[0, -1] == pytest.approx(whole.free_strain[0, -1], abs=1e-5)
    for name in ROWS:
        ends = [np.ravel(getattr(h, name)[0])[-1] for h in (parted, whole)]
        assert ends[0] == pytest.approx(ends[1], rel=1e-3)


# -- range -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", WITHIN)
def test_a_firing_hotter_than_a_cards_tables_is_refused(name: str) -> None:
    card = CARDS[name]
    hot = reach(card) + 15.0
    with pytest.raises(OutOfRange, match=f"^{name}: "):
        histories([card], plain(hot - 273.15))


@pytest.mark.parametrize("name", WITHIN)
def test_a_table_held_beyond_its_rows_is_marked(name: str) -> None:
    card = CARDS[name]
    inside, beyond = reach(card) - 0.1, reach(card) + 10.0
    assert histories([card], plain(inside - 273.15), extend=True).extended == ()
    history = histories([card], plain(beyond - 273.15), extend=True)
    ends = {t: card[t].reach[1] for t in TABLES if t in card}
    short = [t for t, end in ends.items() if end < beyond]
    assert len(history.extended) == len(short)
    for line, table in zip(history.extended, short, strict=True):
        assert line.startswith(f"{name}: {table} held at its {ends[table] - 273.15:.0f} °C value")


def with_rows(name: str, table: str, rows: list[float], values: list[float]) -> Card:
    """A shipped card with other rows of one table, in °C; none are a number without temperature."""
    card = CARDS[name]
    old = card[table]
    new = replace(
        old,
        temperature=kelvin(np.array(rows)) if rows else None,
        value=np.array(values),
        uncertainty=old.uncertainty[:1] * len(values),
        source=old.source[:1] * len(values),
        basis=old.basis[:1] * len(values),
    )
    return replace(card, properties={**card.properties, table: new})


HOT_ONLY = [
    ("thermal_expansion", [800.0, 930.0], [10e-6, 10.2e-6]),
    ("young_modulus", [480.0, 930.0], [50e9, 40e9]),
]


@pytest.mark.parametrize(("table", "rows", "values"), HOT_ONLY)
def test_a_table_that_begins_hot_is_refused_below_its_rows_or_marked(
    table: str, rows: list[float], values: list[float]
) -> None:
    card = with_rows("fritted body", table, rows, values)
    with pytest.raises(OutOfRange, match=rf"^fritted body: {table} asked at 20 °C"):
        histories([card], plain(885.0))
    expected = f"fritted body: {table} held at its {rows[0]:.0f} °C value down to 20 °C"
    assert histories([card], plain(885.0), extend=True).extended == (expected,)
    mixed = blend(CARDS["fine silver"], card, 0.4)
    with pytest.raises(OutOfRange):
        histories([mixed], plain(885.0))
    assert histories([mixed], plain(885.0), extend=True).extended == (expected,)


@pytest.mark.parametrize("rows", [[], [600.0]])
def test_a_single_number_is_no_table_and_is_marked_where_it_is_held(rows: list[float]) -> None:
    card = with_rows("fritted body", "thermal_expansion", rows, [9e-6])
    with pytest.raises(OutOfRange, match=r"thermal_expansion asked at .* it is a single number"):
        histories([card], plain(885.0))
    told = "fritted body: thermal_expansion is a single number, taken to hold from 20 to 885 °C"
    assert histories([card], plain(885.0), extend=True).extended == (told,)
    stated = replace(card["thermal_expansion"], valid=(ROOM, kelvin(900.0)))
    card = replace(card, properties={**card.properties, "thermal_expansion": stated})
    assert histories([card], plain(885.0)).extended == ()
    assert np.isfinite(blend(CARDS["fine silver"], card, 0.4)["thermal_expansion"].value).all()


def test_a_pair_whose_table_begins_hot_is_marked_in_the_list() -> None:
    bodies = [with_rows("fritted body", *HOT_ONLY[0]), CARDS["leucite porcelain"]]
    found = screen([CARDS["fine silver"]], bodies, STUDIO)
    marked = {pair.ceramic: pair.extended for pair in found if pair.window is not None}
    assert marked["fritted body"]
    assert not marked.get("leucite porcelain", False)


def test_a_blend_marks_which_of_its_parts_is_extended() -> None:
    """Also where the part stands beside the blend on its own: one line each."""
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    mixed = blend(silver, frit, 0.5)
    history = histories([mixed, silver], plain(940.0), extend=True)
    named = [line.split(":")[0] for line in history.extended]
    assert named == ["fritted body"] * len(named)
    assert named
    assert len(set(history.extended)) == len(named)


def test_a_card_that_lacks_a_property_says_what_it_is_needed_for() -> None:
    card = CARDS["copper"]
    bare = {k: v for k, v in card.properties.items() if k != "creep_exponent"}
    with pytest.raises(InputError, match=r"creep_exponent: missing; needed .*stress exponent"):
        histories([replace(card, properties=bare)], plain(900.0))


# -- strength, stiffness, mass ---------------------------------------------------------------


def test_a_body_is_weakest_between_burnout_and_sintering() -> None:
    for name in ("fine silver", "fritted body"):
        card = CARDS[name]
        history = histories([card], plain(880.0))
        strength = history.strength[0]
        assert strength[0] == pytest.approx(card["green_strength"].scalar, rel=1e-6)
        assert card["brown_strength"].scalar <= strength.min() < 0.5 * strength[0]
        assert strength[-1] > 10.0 * card["green_strength"].scalar


@pytest.mark.parametrize("name", CERAMICS)
def test_stiffness_and_strength_grow_with_density_to_the_measured_ones(name: str) -> None:
    """Stiffness and strength linearly from those of the brown body: one neck for both.

    Both laws written out, at the cold end of the firing that the card was measured in.
    """
    card = CARDS[name]
    fired = card.fired_at
    assert fired is not None
    ware = np.append(np.linspace(ROOM, fired.peak, 500), [fired.peak, ROOM])
    ramp = (fired.peak - ROOM) / fired.rate
    time = np.append(np.linspace(0.0, ramp, 500), ramp + fired.hold + np.array([1.0, 2.0]))
    history = histories([card], Trace(time, ware, ware, np.array([0])))
    density, green = history.relative_density[0, -1], card["green_density"].scalar
    stiff, strong = card["young_modulus"], card["strength"]
    share = (density - green) / (stiff.at_density - green)
    loose = card["brown_strength"].scalar / BROWN_STRAIN
    expected = loose + (stiff.value[0] - loose) * share
    assert history.young_modulus[0, -1] == pytest.approx(expected, rel=1e-6)
    assert density <= strong.at_density + 0.002
    brown = card["brown_strength"].scalar
    way = (density - green) / (strong.at_density - green)
    expected = brown + (strong.scalar - brown) * way
    assert history.strength[0, -1] == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("gas", ["air", "inert"])
def test_binder_and_bound_water_are_lost_from_the_dried_mass(gas: str) -> None:
    card = CARDS["mid-fire stoneware"]
    history = histories([card], plain(1200.0, gas=gas))
    lost = 1.0 - history.mass_fraction[0, -1]
    binder, water = card["binder"].scalar, card["loss_on_ignition"].scalar
    assert 0.8 * binder + 0.95 * water < lost < binder + water


def test_a_metal_softens_while_hot_and_hardens_on_cooling() -> None:
    history = histories([CARDS["copper"]], plain(1000.0))
    hot = int(np.argmax(history.temperature))
    assert history.yield_stress[0, hot] < 0.1 * history.yield_stress[0, -1]
    assert history.young_modulus[0, hot] < history.young_modulus[0, -1]


# -- flow ------------------------------------------------------------------------------------


@some
@given(metals(), st.floats(1e5, 1e8))
def test_creep_at_the_cards_own_stress_is_one_in_a_million_per_second(
    metal: Card, stress: float
) -> None:
    """And elsewhere follows Norton in stress and Arrhenius in temperature."""
    row, n = metal["creep_stress"], metal["creep_exponent"].scalar
    assert row.temperature is not None
    at, energy = float(row.temperature[0]), metal["creep_energy"].scalar
    own = creep_factor(at, row.scalar, at, n, energy)
    assert own * row.scalar**n == pytest.approx(CREEP_RATE)
    hotter = creep_factor(at + 50.0, row.scalar, at, n, energy)
    faster = np.exp(-energy / GAS_CONSTANT * (1.0 / (at + 50.0) - 1.0 / at))
    assert hotter / own == pytest.approx(faster)
    assert own * stress**n == pytest.approx(CREEP_RATE * (stress / row.scalar) ** n)


@pytest.mark.parametrize("name", CERAMICS)
def test_a_ceramic_flows_less_the_colder_it_is_and_not_at_all_when_frozen(name: str) -> None:
    card = CARDS[name]
    table = card["glass_viscosity" if "glass_viscosity" in card else "body_viscosity"]
    assert table.temperature is not None
    ware = np.linspace(table.temperature[0], table.temperature[-1], 200)
    viscosity = shear_viscosity(card, ware)
    assert np.all(np.diff(viscosity) < 0.0)
    assert np.isinf(shear_viscosity(card, table.temperature[:1] - 1.0)[0])
    assert np.log10(tabulated_viscosity(table, table.temperature)) == pytest.approx(table.value)


def test_crystals_stiffen_a_glass_or_the_sag_bar_says_how_much() -> None:
    card = CARDS["fritted body"]
    bare = {k: v for k, v in card.properties.items() if k != "sag_viscosity"}
    ware = kelvin(np.array([600.0, 700.0]))
    glass = tabulated_viscosity(card["glass_viscosity"], ware)
    stiffened = shear_viscosity(replace(card, properties=bare), ware)
    factor = float(rigid_inclusion_factor(card["crystal_fraction"].scalar))
    assert stiffened == pytest.approx(factor * glass)
    if "sag_viscosity" in card:
        sag = card["sag_viscosity"]
        assert sag.temperature is not None
        dense = 3.0 * shear_viscosity(card, sag.temperature)
        assert np.log10(dense) == pytest.approx([sag.scalar])


def test_relaxation_is_stiffness_against_the_sum_of_flows() -> None:
    E, eta, A = np.array([50e9]), np.array([1e14]), np.array([1e-21])
    viscous = relaxation_time(E, eta, 0.0 * A, 1.0, 10e6)
    assert viscous == pytest.approx(eta / E)
    creeping = relaxation_time(E, np.array([np.inf]), A, 3.0, 10e6)
    assert creeping == pytest.approx(1.0 / (E * A * 10e6**2))
    assert 1.0 / relaxation_time(E, eta, A, 3.0, 10e6) == pytest.approx(
        1.0 / viscous + 1.0 / creeping
    )
    assert np.isinf(relaxation_time(E, np.array([np.inf]), 0.0 * A, 3.0, 10e6))


@pytest.mark.parametrize("rate", [20.0, 100.0, 500.0])
@pytest.mark.parametrize("energy", [300e3, 500e3])
def test_the_set_point_is_where_relaxation_grows_as_fast_as_time(
    rate: float, energy: float
) -> None:
    """Steady cooling in K/h: τ (Q/RT²) × rate = 1, solved for T; within 0.2 K on a 4 K grid."""
    ware = np.arange(kelvin(900.0), ROOM, -4.0)
    time = (ware[0] - ware) / rate * HOUR

    def tau(T: np.ndarray | float) -> np.ndarray:
        return np.asarray(
            3600.0 * np.exp(energy / GAS_CONSTANT * (1.0 / np.asarray(T) - 1.0 / 873.15))
        )

    def growth(T: float) -> float:
        return float(np.log(tau(T) * energy / (GAS_CONSTANT * T**2) * rate / HOUR))

    expected = brentq(growth, kelvin(300.0), kelvin(890.0))
    assert set_point(time, ware, tau(ware)) == pytest.approx(expected, abs=0.2)


def test_a_body_that_never_flows_sets_at_the_peak_and_a_liquid_never() -> None:
    ware = np.concatenate([np.linspace(ROOM, 1000.0, 50), np.linspace(1000.0, ROOM, 50)])
    time = np.linspace(0.0, 1e5, 100)
    assert set_point(time, ware, np.full(100, np.inf)) == 1000.0
    assert set_point(time, ware, np.full(100, 1e-3)) == ROOM


def test_slower_cooling_sets_colder() -> None:
    card = CARDS["fritted body"]

    def sets(rate: float) -> float:
        down = (Segment(kelvin(880.0), np.inf, HOUR), Segment(kelvin(300.0), rate / HOUR))
        history = histories([card], trace(Firing("down", STUDIO, down)))
        relaxation = relaxation_time(
            history.young_modulus,
            history.viscosity,
            history.creep_factor,
            history.creep_exponent[:, None],
            10e6,
        )
        return set_point(history.time, history.temperature, relaxation[0])

    found = [sets(rate) for rate in (100.0, 30.0, 10.0)]
    assert np.all(np.diff(found) < -2.0)


def test_a_porous_metal_creeps_faster_than_a_dense_one_by_its_necks() -> None:
    """Stress in the necks is larger by their share, and a power law takes it to the n."""
    copper = CARDS["copper"]
    n = copper["creep_exponent"].scalar
    curve = trace(simple_firing(STUDIO, kelvin(950.0), HOUR, 150.0 / HOUR, "carbon"))
    found = histories([copper], curve, extend=True)
    row = copper["creep_stress"]
    assert row.temperature is not None
    dense = creep_factor(
        curve.ware, row.scalar, row.temperature[0], n, copper["creep_energy"].scalar
    )
    share = (found.creep_factor[0] / dense) ** (-1.0 / n)
    assert np.all((share > 0.0) & (share < 1.0))
    assert np.all(np.diff(share) >= -1e-9)  # necks only grow
    assert share[-1] == pytest.approx(float(neck(copper, found.relative_density[0, -1], 1.0)))


def test_of_many_blends_the_latest_are_kept_and_all_come_out_the_same() -> None:
    curve = trace(simple_firing(STUDIO, kelvin(850.0), HOUR, 100.0 / HOUR))
    metal, body = CARDS["fine silver"], CARDS["fritted body"]
    blends = [blend(metal, body, 0.1 + 0.01 * k) for k in range(KEPT + 5)]
    along = Along(curve)
    first = along.of(blends).young_modulus
    kept = [card for card, *_ in along._known.values()]
    assert sum(bool(card.parts) for card in kept) == KEPT
    assert {metal.name, body.name} <= {card.name for card in kept}
    assert (along.of(blends).young_modulus == first).all()


def test_iron_burnt_out_in_air_and_packed_after_it_turns_as_in_the_pack() -> None:
    """The form is that of the gas of the hot part, whatever stood round the binder."""
    burnt = (Segment(kelvin(480.0), 100.0 / HOUR, HOUR, "air"), Segment(kelvin(40.0), np.inf))
    hot = Segment(kelvin(940.0), 120.0 / HOUR, HOUR, "carbon")
    turned = histories([CARDS["iron"]], trace(Firing("packed late", STUDIO, (*burnt, hot))))
    assert "ferrite to austenite" in turned.strain
    assert "alpha to gamma iron" not in turned.strain
    assert turned.strain["carbon taken up"][0, -1] == pytest.approx(0.0036)


def test_the_half_way_mark_does_not_move_with_the_gas_of_the_day() -> None:
    """It was measured in one gas: in another the clock runs otherwise to the same mark."""
    iron = CARDS["iron"]
    assert half_way(iron.in_gas("hydrogen")) == half_way(iron.in_gas("carbon"))
    plain = [
        simple_firing(STUDIO, kelvin(900.0), HOUR, 150.0 / HOUR, g) for g in ("carbon", "hydrogen")
    ]
    pack, bare = (histories([iron], trace(f)).relative_density[0, -1] for f in plain)
    assert bare > pack + 0.03


# -- bound water -----------------------------------------------------------------------------

CLAYS = [name for name in CERAMICS if CARDS[name].scalar("loss_on_ignition", 0.0) > 0.0]


def rising(history: History, temperature: float, row: int = 0) -> tuple[float, float]:
    """Free strain, and that of expansion and inversions alone, where the ware first is so hot."""
    node = int(np.argmax(history.temperature >= kelvin(temperature)))
    free, shrunk = history.free_strain[row, node], history.shrinkage[row, node]
    return float(free), float(free - shrunk)


@pytest.mark.parametrize("name", ["hard porcelain", "mid-fire stoneware", "high-fire stoneware"])
def test_a_raw_clay_is_shorter_once_its_bound_water_has_left(name: str) -> None:
    """Between 430 and 750 °C a body of half kaolin contracts by 0.3 to 0.5 % beside expansion."""
    history = histories([CARDS[name]], plain(750.0, hold=10.0))
    (cold, grown), (hot, grown_hot) = rising(history, 430.0), rising(history, 745.0)
    assert hot < cold  # in spite of its expansion, quartz and all
    assert 0.003 < (cold - grown) - (hot - grown_hot) < 0.005
    stays = history.shrinkage[0, -1]  # it does not come back on cooling
    assert stays == pytest.approx(history.shrinkage[0].min(), abs=1e-12)
    assert stays == pytest.approx(history.free_strain[0, -1], abs=3e-5)  # read at 25 °C


@pytest.mark.parametrize("name", sorted(CLAYS))
def test_the_firing_shrinkage_of_a_clay_is_all_that_its_densities_say(name: str) -> None:
    """Dried to fired in the card's own firing: bound water is a part of it, not more."""
    card = CARDS[name]
    assert card.fired_at is not None
    assert "water_contraction" in card
    kiln = KILNS["laboratory furnace"]
    fired = simple_firing(kiln, card.fired_at.peak, card.fired_at.hold, card.fired_at.rate, lag=0.0)
    history = histories([card], trace(fired), extend=True)
    factor = card.scalar("height_shrinkage_factor", 1.0)
    way = np.log(history.relative_density[0, 0] / history.relative_density[0, -1])
    assert history.shrinkage[0, -1] == pytest.approx(way / (2.0 + factor), abs=1e-12)
    stated = card["firing_shrinkage"]
    shrunk = -np.expm1(history.shrinkage[0, -1])
    assert shrunk == pytest.approx(stated.scalar, abs=stated.uncertainty[0].size)
    assert history.strain["bound water"][0, -1] < 0.0
    assert np.all(np.diff(history.shrinkage[0]) <= 1e-15)


def test_a_body_without_loss_on_ignition_has_no_bound_water() -> None:
    card = CARDS["hard porcelain"]
    dry = {n: p for n, p in card.properties.items() if n != "loss_on_ignition"}
    history = histories([replace(card, properties=dry)], plain(1300.0))
    assert "bound water" not in history.strain
    path = np.log(history.relative_density[0, 0] / history.relative_density[0])
    ring = path / (2.0 + card.scalar("height_shrinkage_factor"))
    assert history.strain["sintering"][0] == pytest.approx(ring, abs=1e-15)
    assert "bound water" not in histories([CARDS["copper"], CARDS["alumina"]], plain(900.0)).strain


def test_a_card_that_does_not_say_contracts_as_kaolin_does() -> None:
    card = CARDS["mid-fire stoneware"]
    silent = {n: p for n, p in card.properties.items() if n != "water_contraction"}
    curve = plain(750.0)
    water = [
        histories([c], curve).strain["bound water"]
        for c in (card, replace(card, properties=silent), card.scaled("loss_on_ignition", 2.0))
    ]
    assert np.array_equal(water[0], water[1])
    assert np.expm1(water[2]) == pytest.approx(2.0 * np.expm1(water[0]), rel=1e-12)


def test_in_a_blend_bound_water_contracts_by_the_ceramics_share() -> None:
    metal, body = CARDS["fine silver"], CARDS["fritted body"]
    mixed = [blend(metal, body, share) for share in (0.0001, 0.3, 0.9999)]
    history = histories([body, *mixed], plain(600.0))
    whole, few_grains, some_metal, little = history.strain["bound water"][:, -1]
    assert few_grains == pytest.approx(whole, rel=1e-3)
    assert whole < some_metal < little < 0.0
    assert abs(little) < 1e-3 * abs(whole)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("tin bronze 90/10", r"tin bronze 90/10: melts from 840 °C, and the ware reaches 1150 °C"),
        ("fritted body", r"fritted body: overfires from \d+ °C, and the ware reaches 1150 °C"),
    ],
)
def test_a_firing_above_melting_is_not_mended_by_a_row(name: str, words: str) -> None:
    """Once "its rows cover 20-830 °C. Add a row with its source" of a metal that melts at 840."""
    with pytest.raises(OutOfRange, match=words + ".*--extend"):
        histories([CARDS[name]], plain(1150.0))
    assert histories([CARDS[name]], plain(1150.0), extend=True).extended
