"""Liquids of the shipped table against numbers from elsewhere: each check names where.

The melting points and heats of fusion of the CRC Handbook are read in the package `chemicals`, the
oxide equilibria in `cantera`'s NASA polynomials by way of `cofire.physics.atmosphere`, which has
its own published checks. Nothing here is fitted.
"""

import numpy as np
import pytest
from chemicals import CAS_from_any, Hfus, Tm
from scipy.optimize import brentq

from cofire.materials.catalogue import load_cards
from cofire.materials.pairs import MELTS, first_liquid, shipped_pairs
from cofire.physics.atmosphere import gibbs_energy, oxide_equilibrium, oxygen_potential
from cofire.units import kelvin

R = 8.314462618
CARDS = load_cards()
LIQUIDS = {liquid.name: liquid for liquid in shipped_pairs().liquids}


def first(*names, gas="carbon"):
    """Temperature of the first liquid of shipped cards. [°C]"""
    return first_liquid([CARDS[name] for name in names], gas).temperature - kelvin(0.0)


def ideal_eutectic(one, other):
    """Eutectic of two metals with an ideal liquid and pure solids: Schröder's equation. [K]"""
    a, b = CAS_from_any(one), CAS_from_any(other)

    def share(cas, T):
        return np.exp(-Hfus(cas) / R * (1.0 / T - 1.0 / Tm(cas)))

    return brentq(lambda T: share(a, T) + share(b, T) - 1.0, 300.0, min(Tm(a), Tm(b)))


def test_silver_and_copper_melt_where_the_phase_diagram_says():
    """Subramanian & Perepezko 1993 (J. Phase Equilibria 14, 62), 779.1 °C, from memory; 1 K."""
    assert first("fine silver", "copper") == pytest.approx(779.1, abs=1.0)
    assert first("sterling silver", "copper") == pytest.approx(779.1, abs=1.0)


def test_silver_and_copper_melt_between_an_ideal_eutectic_and_the_lower_melting_point():
    """Silver and copper repel each other, so the eutectic is above Schröder's; and below either.

    A bound only: a regular liquid with an
    interaction from memory misses the eutectic by 50 K and is no check.
    """
    table = LIQUIDS["silver and copper melt together"].temperature
    assert ideal_eutectic("Ag", "Cu") < table < Tm(CAS_from_any("Ag"))


def test_oxygen_of_the_air_lowers_silver_as_its_heat_of_fusion_says():
    """R T^2 x / L, 0.0215 mole of oxygen at 1 atm (from memory), Sieverts' root of 0.21; 2 K.

    Handbooks of thermometry print some 11 K, from memory.
    """
    cas = CAS_from_any("Ag")
    lowering = R * Tm(cas) ** 2 * 0.0215 * np.sqrt(0.21) / Hfus(cas)
    table = Tm(cas) - LIQUIDS["silver melts with the oxygen it takes up"].temperature
    assert table == pytest.approx(lowering, abs=2.0)
    assert (
        first("fine silver", gas="air")
        < first("fine silver", gas="carbon")
        == (pytest.approx(961.78, abs=0.1))
    )


def test_copper_oxide_lowers_copper_as_its_heat_of_fusion_says():
    """Ideal lowering by 1.7 atom % of oxygen (0.43 weight %, from memory), CRC heat: 3 K.

    The table's 1065 °C is Heyn's.
    """
    cas = CAS_from_any("Cu")
    lowering = R * Tm(cas) ** 2 * 0.017 / Hfus(cas)
    assert Tm(cas) - LIQUIDS["copper melts with its oxide"].temperature == pytest.approx(
        lowering, abs=3.0
    )


@pytest.mark.parametrize(
    ("metal", "published", "tolerance"),
    [
        # Fe-Fe3C, printed 1147 and 1148 °C in textbooks; below the stable 1153 °C.
        ("iron", 1147.5, 1.0),
        ("low-carbon steel", 1147.5, 1.0),
        # Ni-C, 1326.5 °C (Singleton & Nash 1989, from memory) beside the 1318 °C read; 9 K apart.
        ("nickel", 1326.5, 9.0),
    ],
)
def test_metals_that_take_up_carbon_melt_at_its_eutectic(metal, published, tolerance):
    assert first(metal) == pytest.approx(published, abs=tolerance)
    assert first(metal, gas="hydrogen") == pytest.approx(
        CARDS[metal]["solidus"].scalar - kelvin(0.0)
    )


@pytest.mark.parametrize(("element", "name"), [("Pb", "lead"), ("Bi", "bismuth")])
def test_metal_set_free_from_a_glass_is_liquid_from_its_melting_point(element, name):
    """CRC Handbook, in `chemicals`; the table's last digit."""
    liquid = LIQUIDS[f"{name} is set free from the body's glass"]
    assert liquid.temperature == pytest.approx(Tm(CAS_from_any(element)), abs=0.06)
    assert liquid.severity != MELTS


@pytest.mark.parametrize("element", ["Pb", "Bi"])
@pytest.mark.parametrize("gas", ["carbon", "hydrogen"])
def test_the_gases_that_set_metal_free_reduce_its_oxide(element, gas):
    """At 800 °C, where a body's glass flows; equilibria of `cofire.physics.atmosphere`."""
    T = kelvin(800.0)
    assert oxygen_potential(gas, T) < oxide_equilibrium(element, T)
    assert gas in LIQUIDS[f"{'lead' if element == 'Pb' else 'bismuth'} is set free from the "
                          "body's glass"].gases  # fmt: skip


@pytest.mark.parametrize(
    ("name", "element"),
    [
        ("copper melts with its oxide", "Cu"),
        ("copper oxide melts with silica", "Cu"),
        ("iron oxide melts with silica", "Fe"),
    ],
)
def test_liquids_of_an_oxide_are_listed_for_the_gases_that_oxidise_its_metal(name, element):
    """Gas against metal and oxide at the liquid's own temperature, NASA polynomials and O'Neill."""
    liquid = LIQUIDS[name]
    T = liquid.temperature
    for gas in ("air", "inert", "carbon", "hydrogen"):
        oxidises = oxygen_potential(gas, T) > oxide_equilibrium(element, T)
        assert (gas in liquid.gases) == oxidises, gas


def test_lower_liquids_come_from_more_elements():
    """A third element lowers the silver-copper eutectic: fillers BAg-18 (602) and BAg-5 (663)."""
    two = first("fine silver", "copper")
    assert first("fine silver", "tin bronze 90/10") == pytest.approx(602.0, abs=15.0)
    assert first("fine silver", "brass 70/30") == pytest.approx(663.0, abs=15.0)
    assert first("fine silver", "tin bronze 90/10") < two


# silicon that dry hydrogen sets free from silica, over its solid, and what a melt asks for


def freed(T, dew_point=-40.0):
    """Activity of silicon beside silica in hydrogen. [-]"""
    oxygen = oxygen_potential("hydrogen", T, dew_point=kelvin(dew_point))
    return float(np.exp(gibbs_energy("SiO2", T) / (R * T)) / 10.0**oxygen)


def over_solid(T):
    """Activity over the solid of silicon whose activity over its melt is 1; CRC heat. [-]"""
    cas = CAS_from_any("Si")
    return np.exp(Hfus(cas) / (R * T) * (1.0 - T / Tm(cas)))


def silicon_of_iron(T, x):
    """Activity in a melt of iron, over the melt: Lacaze & Sundman 1991, as in a public code. [-]"""
    L = (-164434.6 + 41.9773 * T, -21.523 * T, -18821.542 + 22.07 * T, 9695.8)

    def excess(x):
        return sum(x * (1.0 - x) * (1.0 - 2.0 * x) ** n * value for n, value in enumerate(L))

    slope = (excess(x + 1e-6) - excess(x - 1e-6)) / 2e-6
    return x * np.exp((excess(x) + (1.0 - x) * slope) / (R * T))


def begins(asked, dew_point=-40.0):
    """Temperature from which hydrogen frees as much silicon as a melt asks for. [°C]"""
    found = brentq(
        lambda T: np.log(freed(T, dew_point) / (asked(T) * over_solid(T))), 1100.0, 1673.0
    )
    return found - kelvin(0.0)


def regular(x, interaction):
    """Activity of silicon in a regular melt. [-]"""
    return lambda T: x * np.exp(interaction * (1.0 - x) ** 2 / (R * T))


def test_dry_hydrogen_frees_the_silicon_that_a_nickel_melt_asks_for():
    """Between interactions of -150 and -190 kJ/mol from memory, and not below the eutectic."""
    liquid = LIQUIDS["nickel takes up silicon of the body"]
    early, late = (begins(regular(0.21, w)) for w in (-190e3, -150e3))
    table, spread = liquid.temperature - kelvin(0.0), liquid.uncertainty.size
    assert max(early, 1143.0) - spread < table < late + spread
    assert late < table + spread
    wetter = begins(regular(0.21, -170e3), -20.0) - begins(regular(0.21, -170e3))
    assert wetter == pytest.approx(200.0, abs=30.0)  # as its consequence says
    assert freed(kelvin(1150.0)) == pytest.approx(1e-4, rel=0.3)


def test_dry_hydrogen_frees_the_silicon_that_an_iron_melt_asks_for():
    """Lacaze & Sundman's melt, and one of half its activity, of 27 at.% (liquidus, memory)."""
    liquid = LIQUIDS["iron takes up silicon of the body"]
    late = begins(lambda T: silicon_of_iron(T, 0.27))
    early = begins(lambda T: 0.5 * silicon_of_iron(T, 0.27))
    table, spread = liquid.temperature - kelvin(0.0), liquid.uncertainty.size
    assert table - spread < early < table < late < table + spread
    assert freed(kelvin(1300.0)) == pytest.approx(3e-3, rel=0.3)
    # its activity coefficient in much iron at 1600 °C: log -3.1 (abstract), within a factor of 3
    dilute = silicon_of_iron(kelvin(1600.0), 2e-6) / 2e-6
    assert abs(np.log10(dilute) + 3.1) < np.log10(4.0)
    drier = begins(lambda T: 0.5 * silicon_of_iron(T, 0.27), -50.0)
    assert early - drier == pytest.approx(100.0, abs=30.0)  # as its consequence says


def test_carbon_frees_hundreds_of_times_less_silicon_than_dry_hydrogen():
    for T in kelvin(np.array([1150.0, 1300.0])):
        carbon = np.exp(gibbs_energy("SiO2", T) / (R * T)) / 10.0 ** oxygen_potential("carbon", T)
        assert carbon < freed(T) / 50.0
