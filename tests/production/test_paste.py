"""Pastes: that they fill their volume, dry to their density, and are weighed without loss."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.response import Response
from cofire.errors import InputError, UnknownName
from cofire.firing.kiln import duty, firing_energy, trace
from cofire.firing.program import load_kilns, simple_firing
from cofire.physics.blends import find_material
from cofire.physics.changeover import volume_for_share
from cofire.physics.paste import BINDER_DENSITY, WATER_DENSITY, paste_of
from cofire.production.changeovers import paste_shares
from cofire.production.paste import band_pastes, batches, cost, weighed
from cofire.production.printed_solid import band_volumes, printed_layers, volume_below
from cofire.report.job import cost_line
from cofire.vessel import Mixing, Prices
from cofire.vessel_file import read_vessel
from tests.made import BLEND, CARDS, FRIT, SILVER, foot, graded, plain
from tests.strategies import some

KILN = load_kilns()["small studio kiln"]
FULL = 3000.0


def unmixed(response: Response) -> Response:
    """Its printer changes paste at the nozzle itself."""
    plug = replace(response.vessel.printer, dead_volume=1e-12, tanks=1000.0)
    return replace(response, vessel=replace(response.vessel, printer=plug))


@given(
    st.lists(st.floats(0.0, 2.0), min_size=1, max_size=6),
    st.sampled_from([1e-6, 1e-5, 1e-4, 1e-3, 5e-3]),
)
@some
def test_each_part_is_weighed_to_its_own_nearest_step(masses: list[float], scale: float):
    """Once the sum was kept, by a step more of a little binder: 0.3 g for 0.241 g."""
    found = weighed(masses, scale)
    steps = np.array(found) / scale
    assert steps == pytest.approx(np.round(steps), abs=1e-6)
    assert np.abs(np.array(found) - masses).max() < 0.5001 * scale


@pytest.mark.parametrize("name", CARDS)
def test_a_paste_has_no_air_and_dries_to_its_green_density(name: str):
    card, paste = CARDS[name], paste_of(CARDS[name])
    (powder,) = (mass for _, mass in paste.powders)
    density = card["theoretical_density"].scalar
    filled = powder / density + paste.binder / BINDER_DENSITY + paste.water / WATER_DENSITY
    assert filled == pytest.approx(1.0, rel=1e-12)
    # what is left after burnout, over the dried volume
    dried = (1.0 - card["drying_shrinkage"].scalar) ** 3
    assert paste.burnt / dried / density == pytest.approx(card["green_density"].scalar, rel=1e-12)
    assert paste.binder / paste.dry == pytest.approx(card["binder"].scalar, rel=1e-12)
    lost = card["binder"].scalar + card.scalar("loss_on_ignition", 0.0)
    assert paste.burnt / paste.dry == pytest.approx(1.0 - lost, rel=1e-12)


def test_printed_pastes_hold_as_much_water_as_such_pastes_do():
    # common practice: plastic clays 18 to 30 % of water by wet mass; metal pastes some 90 % metal
    clay, metal = paste_of(CARDS[FRIT]), paste_of(CARDS[SILVER])
    assert 0.18 < clay.water / clay.wet < 0.30
    assert 0.85 < metal.powders[0][1] / metal.wet < 0.95


def test_a_blend_holds_its_metal_by_volume_of_the_solids():
    card = find_material(f"{SILVER} + {FRIT} = 30", CARDS)
    paste = paste_of(card)
    volume = {}
    for name, mass in paste.powders:
        kept = 1.0 - CARDS[name].scalar("loss_on_ignition", 0.0) / (
            1.0 - CARDS[name]["binder"].scalar
        )
        volume[name] = mass * kept / CARDS[name]["theoretical_density"].scalar
    assert volume[SILVER] / sum(volume.values()) == pytest.approx(0.3, rel=1e-12)
    # the card's own rules, bulk volumes that add and mean drying, give the same solids
    dried = (1.0 - card["drying_shrinkage"].scalar) ** 3
    assert paste.solids == pytest.approx(card["green_density"].scalar * dried, rel=1e-3)


@given(st.floats(0.02, 0.98))
@some
def test_a_blend_lies_between_its_pastes(share: float):
    card = find_material(f"{SILVER} + {FRIT} = {100 * share}", CARDS)
    low, high = sorted([paste_of(CARDS[FRIT]).wet, paste_of(CARDS[SILVER]).wet])
    assert low < paste_of(card).wet < high


def test_a_card_that_leaves_no_room_for_its_binder_is_refused():
    card = CARDS[FRIT].scaled("green_density", 1.48)
    with pytest.raises(InputError, match=r"binder = \d.* has room"):
        paste_of(card)


@pytest.mark.parametrize("name", [FRIT, SILVER])
def test_the_fired_vessel_weighs_what_its_paste_leaves(name: str):
    response, green = plain(name)
    (band,) = band_pastes(response, green)
    density = response.history.relative_density[0, -1] * CARDS[name]["theoretical_density"].scalar
    fired = density * float(volume_below(green.fired, 1.0))
    # the cold wall is smaller than its density says by what the model leaves of thermal strain
    left = response.history.free_strain[0, -1] - response.history.shrinkage[0, -1]
    # the lean of the wall is read from a spline, which waves by 1.3e-5 of this volume
    assert band.fired == pytest.approx(fired * np.exp(-3.0 * left), rel=2e-5)
    assert band.dry < band.wet


@pytest.mark.parametrize("made", [foot, graded])
def test_bands_that_pull_on_each_other_keep_their_mass(made):
    response, green = made()
    response = unmixed(response)
    edges = np.interp(green.wall.edges, green.wall.height, green.fired.height)
    volume = np.diff(volume_below(green.fired, edges))
    density = response.history.relative_density[:, -1]
    for band, v, card, row in zip(
        band_pastes(response, green), volume, response.cards, response.material, strict=True
    ):
        # a porous body that is pulled also grows a little lighter, which its own density lacks
        fired = v * density[row] * card["theoretical_density"].scalar
        assert band.fired == pytest.approx(fired, rel=1e-2)


@pytest.mark.parametrize("made", [foot, graded])
def test_batches_fill_wall_waste_and_feed(made):
    response, green = made()
    printer = response.vessel.printer
    found = batches(response, green, Mixing(waste=0.2))
    assert sum(b.wall for b in found) == pytest.approx(band_volumes(green.wall).sum())
    assert sum(b.dead for b in found) == pytest.approx(printer.dead_volume)
    # what fills the feed at the start is pushed into the wall, and the last paste is left there
    assert found[0].dead == pytest.approx(0.0, abs=1e-9)
    assert found[-1].dead == pytest.approx(printer.dead_volume, abs=1e-9)
    for batch in found:
        assert batch.volume == pytest.approx(1.2 * batch.wall + batch.dead)


@pytest.mark.parametrize("dead", [2e-6, 20e-6, 80e-6])
@pytest.mark.parametrize("made", [foot, graded])
def test_bands_weigh_what_their_layers_hold(made, dead: float):
    """As `green.csv` has it: each layer's volume, and the shares of pastes half-way up it."""
    response, green = made()
    printer = replace(response.vessel.printer, dead_volume=dead)
    response = replace(response, vessel=replace(response.vessel, printer=printer))
    layers = printed_layers(green)
    held = paste_shares(response, green, layers.height) * layers.volume[:, None]
    each = np.array([held[layers.band == n].sum(axis=0) for n in range(len(response.cards))])
    pastes = [paste_of(card) for card in response.cards]
    found = band_pastes(response, green)
    whole = held.sum()
    for n, band in enumerate(found):
        # the shares bend within a layer, most in the first after a change
        assert band.volume == pytest.approx(each[n].sum(), rel=1e-9)
        assert band.own == pytest.approx(each[n, n], abs=1e-4 * whole)
        for mass, name in ((band.wet, "wet"), (band.dry, "dry"), (band.fired, "burnt")):
            dense = np.array([getattr(p, name) for p in pastes])
            assert mass == pytest.approx(each[n] @ dense, abs=1e-4 * whole * dense.max())
    # no paste comes from nowhere: as much stands in the bands as of the batches in the wall
    walls = [b.wall for b in batches(response, green)]
    assert walls == pytest.approx(each.sum(axis=0), abs=1e-4 * whole)
    assert all(b.dead > -1e-12 for b in batches(response, green))


def test_a_band_that_a_long_feed_mixes_weighs_between_its_pastes():
    # once weighed as if it were pure: a thimble of 19.0 g where its own layers held 20.9 g
    response, green = foot()
    printer = replace(response.vessel.printer, dead_volume=80e-6)
    wide = replace(response, vessel=replace(response.vessel, printer=printer))
    (low, high), (own, other) = band_pastes(wide, green), (paste_of(c) for c in response.cards)
    for band in (low, high):
        assert other.burnt < band.fired / band.volume < own.burnt
        assert 0.0 < band.own_share < 1.0


def test_a_change_that_comes_before_the_first_layer_still_fills_the_feed():
    response, green = foot()
    chamber = 2.0 * float(band_volumes(green.wall)[0])
    printer = replace(response.vessel.printer, dead_volume=chamber, tanks=1)
    large = replace(response, vessel=replace(response.vessel, printer=printer))
    first = batches(large, green, Mixing(waste=0.0))[0]
    assert first.wall < float(volume_for_share(0.5, chamber, 1))
    assert first.volume == pytest.approx(chamber)


@given(st.sampled_from([1e-6, 1e-5, 1e-4, 1e-3]))
@some
def test_batches_conserve_mass_to_the_step_of_the_scale(scale: float):
    response, green = graded()
    for batch, card in zip(
        batches(response, green, Mixing(scale=scale)),
        {c.name: c for c in response.cards}.values(),
        strict=True,
    ):
        paste = paste_of(card)
        parts = len(paste.powders) + 2
        assert batch.mass == pytest.approx(paste.wet * batch.volume, abs=0.51 * parts * scale)
        for (_, mass), (_, dense) in zip(batch.powders, paste.powders, strict=True):
            assert mass == pytest.approx(dense * batch.volume, abs=0.51 * scale)
        exact = [*paste.powders, ("binder", paste.binder), ("water", paste.water)]
        weighed_out = [*batch.powders, ("binder", batch.binder), ("water", batch.water)]
        off = [
            abs(mass / (dense * batch.volume) - 1.0)
            for (_, mass), (_, dense) in zip(weighed_out, exact, strict=True)
        ]
        assert batch.off == pytest.approx(max(off))
        if batch.ready:
            assert sum(m for _, m in batch.ready) == pytest.approx(batch.mass, abs=3.1 * scale)


def test_a_blend_of_ready_pastes_is_the_blend_of_powders():
    response, green = graded()
    (batch,) = (b for b in batches(response, green, Mixing(scale=1e-9)) if b.ready)
    assert [name for name, _ in batch.ready] == [SILVER, FRIT]
    binder = 0.0
    for (name, mass), (_, powder) in zip(batch.ready, batch.powders, strict=True):
        paste = paste_of(CARDS[name])
        assert mass * paste.powders[0][1] / paste.wet == pytest.approx(powder, abs=1e-8)
        binder += mass * paste.binder / paste.wet
    assert binder == pytest.approx(batch.binder, abs=1e-8)


def test_bands_of_one_paste_are_mixed_in_one_batch():
    response, green = graded()
    silver = response.cards[2]
    cards = (silver, response.cards[1], silver)
    response = unmixed(replace(response, cards=cards))
    found = batches(response, green)
    assert [b.material for b in found] == [SILVER, response.cards[1].name]
    assert found[0].wall == pytest.approx(band_volumes(green.wall)[[0, 2]].sum())


def test_a_kiln_at_full_power_takes_all_of_it_and_a_shut_one_none():
    T = np.array([400.0, 700.0, 1000.0])
    heats = np.interp(T, KILN.heating_temperature, KILN.heating_rate)
    cools = np.interp(T, KILN.cooling_temperature, KILN.cooling_rate)
    assert duty(KILN, T, heats) == pytest.approx(1.0)
    assert duty(KILN, T, -cools) == pytest.approx(0.0, abs=1e-15)
    assert duty(KILN, T, 0.0 * T) == pytest.approx(cools / (heats + cools))


def test_a_hold_takes_what_the_walls_lose():
    short, long = (
        trace(simple_firing(KILN, 1100.0, hours * 3600.0, 200 / 3600, "air", 0.0))
        for hours in (1.0, 3.0)
    )
    more = firing_energy(KILN, long.time, long.kiln, FULL)
    more -= firing_energy(KILN, short.time, short.kiln, FULL)
    share = float(duty(KILN, np.array([1100.0]), np.array([0.0]))[0])
    assert more == pytest.approx(share * FULL * 2.0 * 3600.0, rel=1e-6)


def test_heating_at_full_power_takes_power_times_time():
    curve = trace(simple_firing(KILN, 1100.0, 0.0, np.inf, "air", 0.0))
    top = float(curve.time[np.argmax(curve.kiln)])
    # nodes of the trace are 4 K apart
    assert firing_energy(KILN, curve.time, curve.kiln, FULL) == pytest.approx(top * FULL, rel=1e-3)


def priced(**prices: object):
    response, green = foot()
    vessel = replace(response.vessel, prices=Prices(**prices))  # type: ignore[arg-type]
    return replace(response, vessel=vessel), batches(response, green)


def test_cost_is_what_is_weighed_times_its_price():
    response, made = priced(
        currency="EUR", powders=((SILVER, 1000.0), ("binder", 20.0)), energy=1e-7, kiln_power=FULL
    )
    found = cost(response, made)
    assert found is not None
    silver = next(b for b in made if b.material == SILVER)
    binder = sum(b.binder for b in made)
    assert dict(found.powders) == {
        SILVER: pytest.approx(1000.0 * silver.powders[0][1]),
        "binder": pytest.approx(20.0 * binder),
    }
    assert found.unpriced == (FRIT,)
    assert found.firing == pytest.approx(1e-7 * found.energy)
    assert found.total == pytest.approx(sum(p for _, p in found.powders) + found.firing)


def test_an_hour_of_the_kiln_has_its_price_until_the_ware_is_cold():
    response, made = priced(currency="EUR", powders=((SILVER, 1000.0),), time=2.0 / 3600.0)
    found = cost(response, made)
    assert found is not None
    hours = float(response.trace.time[-1]) / 3600.0
    assert found.time == pytest.approx(2.0 * hours)
    assert found.firing is None
    assert found.total == pytest.approx(found.powders[0][1] + 2.0 * hours)
    line = cost_line(found, response.vessel.prices)
    assert line.startswith(f"cost: {found.total:.2f} EUR (")
    assert f"time {2.0 * hours:.2f} ({hours:.1f} h)" in line
    free, made = priced(powders=((SILVER, 1000.0),))
    assert cost(free, made).time is None  # type: ignore[union-attr]


def test_without_prices_nothing_is_costed_and_a_wrong_name_is_told():
    response, green = foot()
    assert cost(response, batches(response, green)) is None
    wrong, made = priced(powders=(("fine silvr", 1.0),))
    with pytest.raises(UnknownName, match="did you mean 'fine silver'"):
        cost(wrong, made)


HEAD = """name = "pot"
[profile]
shape = "cylinder"
radius_mm = 35
height_mm = 60
wall_mm = 4
[[band]]
material = "fine silver"
[firing]
name = "short"
[[firing.segment]]
to_C = 850
rate_C_per_h = 150
"""


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a vessel file with some tables more."""

    def write(more: str) -> Path:
        path = tmp_path / "vessel.toml"
        path.write_text(HEAD + more, encoding="utf-8")
        return path

    return write


def test_paste_and_prices_are_read_in_si(written: Callable[[str], Path]):
    more = (
        "[printer]\nnozzle_mm = 0.8\n[paste]\nwaste_percent = 20\nscale_g = 0.01\n"
        '[prices]\ncurrency = "EUR"\nper_kWh = 0.36\nkiln_kW = 2.5\nper_hour = 3.6\n'
        '[prices.per_kg]\n"fine silver" = 1100\n'
    )
    vessel = read_vessel(written(more), load_kilns())
    assert vessel.mixing == Mixing(pytest.approx(0.2), pytest.approx(1e-5))
    assert vessel.printer.nozzle == pytest.approx(0.8e-3)
    assert vessel.prices == Prices(
        "EUR",
        (("fine silver", 1100.0),),
        pytest.approx(1e-7),
        pytest.approx(2500.0),
        pytest.approx(1e-3),
    )
    usual = read_vessel(written(""), load_kilns())
    assert (usual.mixing, usual.prices) == (Mixing(), None)


@pytest.mark.parametrize(
    ("more", "fragments"),
    [
        ("[paste]\nwaste = 3\n", ("[paste]", "waste", "waste_percent")),
        ("[paste]\nscale_g = 0\n", ("scale_g = 0", "0.0001 to 100")),
        ("[printer]\nlayer_mm = 1\nnozzle_mm = 0.5\n", ("nozzle_mm = 0.5", "1 to 20")),
        ("[prices]\nper_kWh = 0.3\n", ("per_kWh alone", "kiln_kW")),
        ("[prices]\nper_kg = 3\n", ("per_kg = 3", "fine silver")),
        ('[prices.per_kg]\n"fine silver" = "dear"\n', ("[prices.per_kg]", "'dear'")),
        ("[prices.per_kg]\nbinder = -1\n", ("binder = -1", "0 to")),
    ],
)
def test_wrong_workshops_are_refused_in_one_line(
    written: Callable[[str], Path], more: str, fragments: tuple[str, ...]
):
    with pytest.raises(InputError) as refused:
        read_vessel(written(more), load_kilns())
    message = str(refused.value)
    assert "\n" not in message
    assert all(fragment in message for fragment in (*fragments, "vessel.toml"))


def test_blends_in_the_shared_vessel_are_named_as_expected():
    assert find_material(BLEND, CARDS).name == graded()[0].cards[1].name
