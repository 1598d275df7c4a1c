"""Which properties a material card may carry, in which units and between which bounds."""

from __future__ import annotations

from dataclasses import dataclass

from cofire.fields import GASES as GASES
from cofire.fields import MATERIAL, PROPERTY

PERCENT = {"%": 0.01}
RATIO = {"-": 1.0, "%": 0.01}
STRESS = {"MPa": 1e6, "kPa": 1e3, "GPa": 1e9}
MODULUS = {"GPa": 1e9, "MPa": 1e6}
LOG_VISCOSITY = {"log10(Pa s)": 1.0}
ENERGY = {"kJ/mol": 1e3}
CELSIUS = {"C": 1.0}

KINDS = MATERIAL["kind"].words
ELEMENTS = (
    "Ag", "Al", "Au", "Bi", "Cr", "Cu", "Fe", "Mn", "Mo", "Nb", "Ni", "Pb", "Si", "Sn", "Ti", "W",
    "Zn",
)  # fmt: skip
"""Elements whose oxide equilibria `cofire.physics.atmosphere` holds."""
KERNELS = MATERIAL["densification"].words
BASES = PROPERTY["basis"].words
"""How a number is known: read in its source; computed from numbers read in it; a handbook value
recalled; common practice in the trade; an estimate of ours by a rule that the source names;
measured by the user whose card it is."""


@dataclass(frozen=True)
class Spec:
    """One property: what it means, its units (factor to SI), its plausible bounds in SI.

    `needed` names the kinds of card that must carry it; `tabulated` says it may depend on
    temperature; `anchored` says it was measured at a stated relative density (`at_density`).
    """

    meaning: str
    units: dict[str, float]
    least: float
    most: float
    needed: tuple[str, ...] = ()
    tabulated: bool = False
    anchored: bool = False


ALONG_THE_FIRING = ("thermal_expansion", "young_modulus", "yield_stress")
"""Read at every temperature of a firing: one number, or one row, speaks for no other temperature
unless the card states the range in which it holds (`valid_C`)."""

VISCOSITIES = ("glass_viscosity", "body_viscosity")
"""Tables of flow over temperature, of which a ceramic needs one."""

BOTH = KINDS
METAL = ("metal",)
CERAMIC = ("ceramic",)

SPECS: dict[str, Spec] = {
    # expansion and elasticity
    "thermal_expansion": Spec(
        "mean linear expansion coefficient from 20 °C to the row's temperature",
        {"1e-6/K": 1e-6},
        -5e-6,
        60e-6,
        BOTH,
        tabulated=True,
    ),
    "young_modulus": Spec(
        "Young's modulus", MODULUS, 1e7, 1e12, BOTH, tabulated=True, anchored=True
    ),
    "poisson_ratio": Spec("Poisson's ratio", RATIO, 0.0, 0.495, BOTH),
    "theoretical_density": Spec("density without pores", {"kg/m3": 1.0}, 1000.0, 25000.0, BOTH),
    "thermal_conductivity": Spec(
        "thermal conductivity", {"W/(m K)": 1.0}, 0.05, 600.0, BOTH, tabulated=True, anchored=True
    ),
    "specific_heat": Spec("specific heat", {"J/(kg K)": 1.0}, 50.0, 3000.0, BOTH, tabulated=True),
    # drying and burnout
    "drying_shrinkage": Spec(
        "linear, printed to dried, of the printed length", PERCENT, 0.0, 0.2, BOTH
    ),
    "binder": Spec("organic binder, of the dried mass", PERCENT, 0.0, 0.25, BOTH),
    "loss_on_ignition": Spec("mass lost by the body itself, of the dried mass", PERCENT, 0.0, 0.4),
    "water_contraction": Spec(
        "linear contraction while bound water leaves, over loss_on_ignition; the first part of the "
        "firing shrinkage; of a card that has that loss and does not say, as kaolin's",
        RATIO,
        0.0,
        0.3,
    ),
    "green_strength": Spec("tensile strength of the dried body", STRESS, 1e3, 5e7, BOTH),
    "brown_strength": Spec("tensile strength after burnout", STRESS, 1e2, 2e7, BOTH),
    "brown_strain": Spec(
        "tensile strain to failure after burnout, before the body sinters", RATIO, 1e-5, 5e-2
    ),
    "particle_size": Spec("median particle diameter", {"um": 1e-6}, 1e-8, 1e-3, BOTH),
    # densification
    "green_density": Spec("relative density after burnout", RATIO, 0.3, 0.95, BOTH),
    "fired_density": Spec(
        "relative density reached in the firing `fired_at`", RATIO, 0.4, 1.0, BOTH
    ),
    "full_density": Spec("relative density it tends to", RATIO, 0.5, 1.0, BOTH),
    "least_density": Spec("lowest relative density wanted after firing", RATIO, 0.4, 1.0, BOTH),
    "firing_shrinkage": Spec(
        "linear, dried to fired, as reported; the model's own is checked against it",
        PERCENT,
        0.0,
        0.35,
    ),
    "height_shrinkage_factor": Spec(
        "firing shrinkage along the height over that along the ring", RATIO, 0.5, 2.5
    ),
    "sintering_energy": Spec("apparent activation energy of densification", ENERGY, 3e4, 1.5e6),
    "sintering_exponent": Spec("steepness n of the master sintering curve", RATIO, 0.1, 5.0),
    "surface_tension": Spec("of the glass", {"N/m": 1.0}, 0.05, 2.5),
    # flow
    "glass_viscosity": Spec(
        "shear viscosity of the glass phase", LOG_VISCOSITY, 0.0, 25.0, tabulated=True
    ),
    "crystal_fraction": Spec("rigid crystals, of the solid volume", RATIO, 0.0, 0.95),
    "sag_viscosity": Spec(
        "uniaxial viscosity of the dense body at the row's temperature, as a sag bar gives it; "
        "it says how much its crystals stiffen the glass, instead of crystal_fraction",
        LOG_VISCOSITY,
        4.0,
        16.0,
        tabulated=True,
    ),
    "body_viscosity": Spec(
        "uniaxial viscosity of the dense crystalline body", LOG_VISCOSITY, 5.0, 30.0, tabulated=True
    ),
    "creep_stress": Spec(
        "stress that creeps the dense metal at 1e-6 per second at the row's temperature",
        STRESS,
        1e4,
        2e9,
        METAL,
        tabulated=True,
    ),
    "creep_exponent": Spec("stress exponent of creep", RATIO, 1.0, 12.0, METAL),
    "creep_energy": Spec("activation energy of creep", ENERGY, 5e4, 8e5, METAL),
    "yield_stress": Spec(
        "0.2 % yield stress, annealed, near 1e-4 per second",
        STRESS,
        1e5,
        2e9,
        METAL,
        tabulated=True,
        anchored=True,
    ),
    "tensile_strength": Spec(
        "tensile strength of the annealed or sintered metal at 20 °C",
        STRESS,
        1e6,
        3e9,
        anchored=True,
    ),
    "ductility": Spec("strain to fracture of the sintered metal at 20 °C", PERCENT, 0.0, 1.0),
    # strength
    "strength": Spec(
        "flexural strength (median) at 20 °C", STRESS, 1e6, 3e9, CERAMIC, anchored=True
    ),
    "weibull_modulus": Spec("scatter of strength", RATIO, 1.0, 60.0, CERAMIC),
    "fracture_toughness": Spec("mode I toughness", {"MPa m^0.5": 1e6}, 5e4, 2e7, CERAMIC),
    "crack_growth_exponent": Spec(
        "n of slow crack growth in humid air at 20 °C, v = A (K/K_Ic)^n", RATIO, 5.0, 200.0
    ),
    "crack_growth_threshold": Spec(
        "stress intensity below which no crack grows in humid air, over toughness", RATIO, 0.0, 0.95
    ),
    # limits of the firing
    "solidus": Spec("first liquid in the metal", CELSIUS, 200.0, 3500.0, METAL),
    "premixed_solidus": Spec(
        "first liquid where the powder is cored or mixed from elements", CELSIUS, 200.0, 3000.0
    ),
    "firing_ceiling": Spec(
        "above it the body bloats, slumps or decomposes", CELSIUS, 400.0, 2000.0, CERAMIC
    ),
    "stable_time": Spec(
        "how long, at the row's temperature, the crystals last that give it its expansion; outside "
        "its rows they are taken to stay",
        {"h": 3600.0, "min": 60.0},
        60.0,
        3.6e7,
        tabulated=True,
    ),
    "reduced_maturing": Spec(
        "how far lower the body matures in carbon or hydrogen, which reduce its iron to a flux",
        {"K": 1.0},
        0.0,
        200.0,
    ),
    "reduced_ceiling": Spec(
        "its firing_ceiling in carbon or hydrogen; else that of air, less reduced_maturing",
        CELSIUS,
        400.0,
        2000.0,
    ),
    # phases that invert
    "carburised_at": Spec(
        "temperature, slowly reached in a gas of carbon, from which the metal has taken up enough "
        "of it to turn to austenite; not before the transformation's own",
        CELSIUS,
        600.0,
        912.0,
    ),
    "free_quartz": Spec("of the solids of the fired body, by volume", PERCENT, 0.0, 0.9),
    "cristobalite": Spec("of the solids of the fired body, by volume", PERCENT, 0.0, 0.9),
}

USUAL_RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "metal": {
        "thermal_expansion": (4e-6, 30e-6),
        "young_modulus": (3e9, 420e9),
        "poisson_ratio": (0.2, 0.46),
        "theoretical_density": (1700.0, 22700.0),
        "thermal_conductivity": (5.0, 450.0),
        "specific_heat": (100.0, 2000.0),
        "particle_size": (1e-6, 1.5e-4),
        "green_density": (0.4, 0.75),
        "binder": (0.005, 0.15),
        "drying_shrinkage": (0.005, 0.12),
        "firing_shrinkage": (0.005, 0.3),
        "sintering_energy": (6e4, 6e5),
        "yield_stress": (2e5, 1.5e9),
        "creep_exponent": (1.0, 9.0),
    },
    "ceramic": {
        "thermal_expansion": (0.0, 22e-6),
        "young_modulus": (1e9, 450e9),
        "poisson_ratio": (0.08, 0.35),
        "theoretical_density": (2000.0, 6500.0),
        "thermal_conductivity": (0.2, 60.0),
        "specific_heat": (300.0, 1600.0),
        "particle_size": (1e-7, 1e-4),
        "green_density": (0.4, 0.8),
        "binder": (0.0, 0.15),
        "drying_shrinkage": (0.005, 0.12),
        "firing_shrinkage": (0.005, 0.3),
        "sintering_energy": (1.5e5, 1.2e6),
        "strength": (5e6, 1.5e9),
        "weibull_modulus": (3.0, 30.0),
        "fracture_toughness": (3e5, 1.2e7),
        "free_quartz": (0.0, 0.5),
        "cristobalite": (0.0, 0.4),
        "surface_tension": (0.15, 0.6),
    },
}
"""Between which a property of a metal or a ceramic usually lies, powders and bodies of a studio
included (estimate: the handbook range of the elements and oxides, widened). Outside it a number is
not wrong, but more often a slip of unit or place than a material. [SI]"""

AFTER_BARS: dict[str, tuple[str, float]] = {
    "thermal_expansion": ("%", 0.015),
    "young_modulus": ("%", 0.05),
    "theoretical_density": ("%", 0.005),
    "drying_shrinkage": ("+-", 0.003),
    "binder": ("%", 0.05),
    "loss_on_ignition": ("%", 0.05),
    "water_contraction": ("%", 0.15),
    "green_strength": ("%", 0.15),
    "brown_strength": ("%", 0.25),
    "brown_strain": ("%", 0.25),
    "particle_size": ("%", 0.1),
    "green_density": ("+-", 0.008),
    "fired_density": ("+-", 0.008),
    "full_density": ("+-", 0.005),
    "firing_shrinkage": ("%", 0.02),
    "height_shrinkage_factor": ("%", 0.02),
    "sintering_energy": ("%", 0.08),
    "sintering_exponent": ("%", 0.1),
    "glass_viscosity": ("+-", 0.1),
    "crystal_fraction": ("%", 0.1),
    "sag_viscosity": ("+-", 0.1),
    "body_viscosity": ("+-", 0.2),
    "creep_stress": ("%", 0.15),
    "creep_exponent": ("%", 0.08),
    "creep_energy": ("%", 0.05),
    "yield_stress": ("%", 0.08),
    "tensile_strength": ("%", 0.08),
    "ductility": ("%", 0.2),
    "strength": ("%", 0.08),
    "weibull_modulus": ("%", 0.15),
    "fracture_toughness": ("%", 0.06),
    "crack_growth_exponent": ("%", 0.15),
    "crack_growth_threshold": ("%", 0.15),
    "premixed_solidus": ("+-", 5.0),
    "firing_ceiling": ("+-", 10.0),
    "stable_time": ("factor", 1.3),
    "reduced_maturing": ("+-", 5.0),
    "reduced_ceiling": ("+-", 10.0),
    "carburised_at": ("+-", 10.0),
    "free_quartz": ("%", 0.1),
    "cristobalite": ("%", 0.15),
}
"""What a maker's own bars leave of an uncertainty: the batch, which the pot's is another one, and
the reading. Form and size as on a card; what is not here no bar tells. Estimate: two to ten bars of
one batch (thirty for the Weibull modulus, whose reading alone leaves √6/π/√n of it: Thoman, Bain &
Antle 1969, from memory), read with a calliper, a balance or a bent bar. [SI]"""
FROM_PASTES = (
    "drying_shrinkage", "binder", "loss_on_ignition", "water_contraction", "green_strength",
    "brown_strength", "brown_strain", "particle_size", "green_density", "fired_density",
    "full_density",
    "firing_shrinkage", "height_shrinkage_factor", "sintering_energy", "sintering_exponent",
    "ductility", "strength", "weibull_modulus", "premixed_solidus", "firing_ceiling", "stable_time",
    "reduced_maturing", "reduced_ceiling", "free_quartz", "cristobalite",
)  # fmt: skip
"""Properties in which makers differ by powder, paste and firing; in the others sources differ by
what they measured on the same substance."""
