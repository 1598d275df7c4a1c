"""A blend of two cards is a card, and its history a mixture of theirs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing, simple_firing
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.blends import BROWN_STRAIN, blend, bulk_density, dense_moduli, find_material
from cofire.physics.history import History, histories
from cofire.units import HOUR, MINUTE, ROOM, kelvin
from tests.strategies import CARDS, KILNS, METALS, ceramics, few, firings, metals, reach, some

FRACTIONS = st.floats(0.01, 0.99)
SILVER, FRIT = CARDS["fine silver"], CARDS["fritted body"]
COPPER, STONEWARE = CARDS["copper"], CARDS["mid-fire stoneware"]


def plain(peak: float, hold: float = 60.0) -> Trace:
    kiln = KILNS["small studio kiln"]
    return trace(simple_firing(kiln, kelvin(peak), hold * MINUTE, 150.0 / HOUR, lag=0.0))


def bulk_and_shear(history: History, row: int) -> tuple[Array, Array]:
    E, nu = history.young_modulus[row], history.poisson_ratio[row]
    return E / (3.0 * (1.0 - 2.0 * nu)), E / (2.0 * (1.0 + nu))


def thermal(history: History, row: int) -> Array:
    """Free strain without the sintering. [-]"""
    return history.free_strain[row] - history.strain["sintering"][row]


# -- limits ----------------------------------------------------------------------------------


@few
@given(metals(), ceramics(), firings(), st.booleans())
def test_a_trace_of_one_phase_leaves_the_history_of_the_other(
    metal: Card, ceramic: Card, firing: Firing, mostly_metal: bool
) -> None:
    """Fraction within 1e-12 of an end: every row within 1e-4 of the phase's own, strains 1e-6.

    What is rigid in the phase flows no faster than 1e18 Pa s: not within a firing.
    """
    tiny = 1e-12
    mixed = blend(metal, ceramic, 1.0 - tiny if mostly_metal else tiny)
    row = 0 if mostly_metal else 1
    curve = trace(firing)
    found = histories([mixed], curve, extend=True)
    pure = histories([metal, ceramic], curve, extend=True)
    assert found.free_strain[0] == pytest.approx(pure.free_strain[row], abs=1e-6)
    for name in ("relative_density", "mass_fraction", "young_modulus", "strength"):
        assert getattr(found, name)[0] == pytest.approx(getattr(pure, name)[row], rel=1e-4)
    assert found.poisson_ratio[0] == pytest.approx(pure.poisson_ratio[row], abs=1e-4)
    if mostly_metal:
        assert found.creep_factor[0] == pytest.approx(pure.creep_factor[0], rel=1e-4)
        assert found.yield_stress[0] == pytest.approx(pure.yield_stress[0], rel=1e-4)
    flows = np.isfinite(pure.viscosity[row])
    assert np.all(found.viscosity[0, ~flows] > 1e18)
    assert found.viscosity[0, flows] == pytest.approx(pure.viscosity[row, flows], rel=1e-4)


@some
@given(metals(), ceramics(), FRACTIONS, firings())
def test_free_thermal_strain_lies_within_schaperys_bounds(
    metal: Card, ceramic: Card, fraction: float, firing: Firing
) -> None:
    """Levin's weight with the Hashin-Shtrikman bulk moduli, in rates (Schapery 1968, from memory).

    K = 1/[c/(Km + 4G/3) + (1−c)/(Kc + 4G/3)] − 4G/3 with the lesser and the greater shear modulus
    G of the phases; weight of the metal's strain Km (Kc − K)/[K (Kc − Km)]. Written out here.
    """
    curve = trace(firing)
    pure = histories([metal, ceramic], curve, extend=True)
    found = thermal(histories([blend(metal, ceramic, fraction)], curve, extend=True), 0)
    (Km, Gm), (Kc, Gc) = (bulk_and_shear(pure, row) for row in (0, 1))
    Km = np.where(np.isclose(Km, Kc, rtol=1e-6), Kc * (1.0 + 1e-6), Km)
    weights = []
    for G in (np.minimum(Gm, Gc), np.maximum(Gm, Gc)):
        backing = 4.0 / 3.0 * G
        K = 1.0 / (fraction / (Km + backing) + (1.0 - fraction) / (Kc + backing)) - backing
        weights.append(Km * (Kc - K) / (K * (Kc - Km)))
    m, c = (np.diff(thermal(pure, row)) for row in (0, 1))
    steps = [c + 0.5 * (w[1:] + w[:-1]) * (m - c) for w in weights]
    low, high = (np.append(0.0, np.cumsum(f(*steps))) for f in (np.minimum, np.maximum))
    slack = 1e-9 + 1e-5 * np.abs(found)
    assert np.all(found >= low - slack)
    assert np.all(found <= high + slack)


@pytest.mark.parametrize(
    ("ceramic_share", "low", "high"),
    [(0.25, 15.170, 15.425), (0.50, 12.929, 13.365), (0.75, 10.121, 10.557)],
)
def test_a_copper_blend_expands_more_than_the_rule_of_mixtures_says(
    ceramic_share: float, low: float, high: float
) -> None:
    """Copper 120 GPa, 0.34, 17e-6/K and stoneware 60 GPa, 0.20, 6.5e-6/K, without pores.

    With the one or the other as the matrix (Hashin & Shtrikman 1963 with Levin 1967, derived);
    14.375, 11.75 and 9.125e-6 by the rule of mixtures. A blend without a matrix lies between.
    """

    def even(card: Card, young: float, nu: float, alpha: float) -> Card:
        values = {"young_modulus": young, "poisson_ratio": nu, "thermal_expansion": alpha}
        changed = {
            name: replace(card[name], temperature=None, value=np.array([v]), at_density=1.0)
            for name, v in values.items()
        }
        kept = {
            k: v for k, v in card.properties.items() if k not in ("free_quartz", "cristobalite")
        }
        return replace(card, properties={**kept, **changed})

    copper = even(COPPER, 120e9, 0.34, 17e-6)
    stoneware = even(STONEWARE, 60e9, 0.20, 6.5e-6)
    # a table that covers everything has no end; the blend's rows need one
    stoneware = replace(
        stoneware,
        properties={
            **stoneware.properties,
            "young_modulus": replace(
                STONEWARE["young_modulus"], value=np.full(3, 60e9), at_density=1.0
            ),
        },
    )
    mixed = blend(copper, stoneware, 1.0 - ceramic_share)
    alpha = mixed["thermal_expansion"].value * 1e6
    assert np.all((alpha > low) & (alpha < high))


# -- the card --------------------------------------------------------------------------------


@some
@given(metals(), ceramics(), FRACTIONS)
def test_a_blend_is_a_card_within_its_phases(metal: Card, ceramic: Card, fraction: float) -> None:
    mixed = blend(metal, ceramic, fraction)
    assert mixed.kind == "blend"
    assert mixed.parts == ((metal, fraction), (ceramic, pytest.approx(1.0 - fraction)))
    assert metal.name in mixed.name
    assert ceramic.name in mixed.name
    for name in ("theoretical_density", "binder", "drying_shrinkage", "green_density"):
        low, high = sorted([metal[name].scalar, ceramic[name].scalar])
        assert low - 1e-12 <= mixed[name].scalar <= high + 1e-12
    assert mixed["young_modulus"].reach[1] == pytest.approx(reach_of_elasticity(metal, ceramic))
    for entry in mixed.properties.values():
        assert np.all(np.isfinite(entry.value))
        assert all("blend of" in source for source in entry.source)


def reach_of_elasticity(*cards: Card) -> float:
    return min(c[n].reach[1] for c in cards for n in ("thermal_expansion", "young_modulus"))


@some
@given(metals(), ceramics(), FRACTIONS)
def test_masses_and_volumes_of_the_phases_add(metal: Card, ceramic: Card, fraction: float) -> None:
    mixed = blend(metal, ceramic, fraction)
    heavy = fraction * metal["theoretical_density"].scalar
    light = (1.0 - fraction) * ceramic["theoretical_density"].scalar
    assert mixed["theoretical_density"].scalar == pytest.approx(heavy + light)
    binder = heavy * metal["binder"].scalar + light * ceramic["binder"].scalar
    assert mixed["binder"].scalar == pytest.approx(binder / (heavy + light))
    green = fraction / metal["green_density"].scalar
    green += (1.0 - fraction) / ceramic["green_density"].scalar
    assert mixed["green_density"].scalar == pytest.approx(1.0 / green)


def test_bulk_volumes_add() -> None:
    """A litre of solids: 0.4 l of metal in 0.5 l of bulk, 0.6 l of ceramic in 1 l."""
    assert bulk_density(0.4, 0.8, 0.6) == pytest.approx(1.0 / 1.5)


def test_dense_moduli_undo_the_pores_of_the_measured_body() -> None:
    bulk, _ = dense_moduli(STONEWARE, np.array([ROOM]))
    porous = STONEWARE["young_modulus"].value[0] / (
        3.0 * (1.0 - 2.0 * STONEWARE["poisson_ratio"].scalar)
    )
    green, measured = STONEWARE["green_density"].scalar, STONEWARE["young_modulus"].at_density
    first = STONEWARE["brown_strength"].scalar / BROWN_STRAIN / STONEWARE["young_modulus"].value[0]
    dense = first + (1.0 - first) * (1.0 - green) / (measured - green)
    assert bulk[0] == pytest.approx(porous * dense)


@pytest.mark.parametrize("fraction", [0.0, 1.0, -0.2, 1.3])
def test_a_fraction_outside_nothing_and_all_is_refused(fraction: float) -> None:
    with pytest.raises(InputError, match=r"metal fraction .* allowed: above 0 and below 1"):
        blend(SILVER, FRIT, fraction)


@pytest.mark.parametrize("pair", [(FRIT, SILVER), (SILVER, COPPER), (FRIT, STONEWARE)])
def test_a_blend_is_of_one_metal_and_one_ceramic_in_this_order(pair: tuple[Card, Card]) -> None:
    with pytest.raises(InputError, match="a blend is of one metal and one ceramic"):
        blend(*pair, 0.5)


def test_a_blend_of_a_refused_metal_is_refused() -> None:
    assert "titanium" in blend(CARDS["titanium"], CARDS["3Y zirconia"], 0.3).refused
    assert blend(SILVER, FRIT, 0.3).refused == ""


def test_a_blend_is_found_by_its_text() -> None:
    found = find_material("Fine Silver + fritted_body = 40 %", CARDS)
    assert found.name == "40 % fine silver / 60 % fritted body"
    assert find_material("copper", CARDS) is CARDS["copper"]
    with pytest.raises(UnknownName, match="did you mean 'copper'"):
        find_material("coper", CARDS)
    for text in ("copper + talc body", "copper = 40", "copper + talc body = 100", "a + b = x"):
        with pytest.raises(InputError, match=r"write it as 'METAL \+ CERAMIC = 40'"):
            find_material(text, CARDS)


# -- the history -----------------------------------------------------------------------------


@few
@given(metals(), ceramics(), FRACTIONS, firings())
def test_density_and_mass_lie_between_those_of_the_phases(
    metal: Card, ceramic: Card, fraction: float, firing: Firing
) -> None:
    history = histories(
        [blend(metal, ceramic, fraction), metal, ceramic], trace(firing), extend=True
    )
    for name in ("relative_density", "mass_fraction"):
        mixed, *pure = getattr(history, name)
        assert np.all(mixed >= np.minimum(*pure) - 1e-12)
        assert np.all(mixed <= np.maximum(*pure) + 1e-12)
    assert np.all(np.diff(history.relative_density[0]) >= -1e-12)
    assert history.free_strain[0] == pytest.approx(
        sum(s[0] for s in history.strain.values()), abs=1e-12
    )


def test_each_phase_keeps_its_own_transformations() -> None:
    mixed = blend(CARDS["iron"], STONEWARE, 0.5)
    history = histories([mixed], plain(1150.0))
    assert {"alpha to gamma iron", "quartz inversion", "cristobalite inversion"} <= set(
        history.strain
    )
    iron = histories([CARDS["iron"]], plain(1150.0)).strain["alpha to gamma iron"][0]
    share = history.strain["alpha to gamma iron"][0].min() / iron.min()
    assert 0.4 < share < 0.9


def test_a_blend_hotter_than_either_phases_table_is_refused() -> None:
    hot = trace(
        simple_firing(KILNS["small studio kiln"], reach(SILVER) + 20.0, HOUR, 150.0 / HOUR, lag=0.0)
    )
    with pytest.raises(OutOfRange, match=r"^fine silver: "):
        histories([blend(SILVER, STONEWARE, 0.5)], hot)


@pytest.mark.parametrize("name", METALS)
def test_more_metal_always_means_more_contraction_on_cooling(name: str) -> None:
    """Metals expand more than cordierite: a grade runs one way from zone to zone."""
    curve = trace(
        simple_firing(KILNS["small studio kiln"], kelvin(700.0), HOUR, 150.0 / HOUR, lag=0.0)
    )
    grade = [blend(CARDS[name], CARDS["cordierite"], f) for f in (0.1, 0.3, 0.5, 0.7, 0.9)]
    history = histories(grade, curve, extend=True)
    top = int(np.argmax(history.temperature))
    heated = np.array([thermal(history, row)[top] for row in range(5)])
    assert np.all(np.diff(heated) > 0.0)
