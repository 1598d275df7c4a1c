"""A blend of a metal and a ceramic card is a card."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from cofire.errors import InputError
from cofire.files import number_in
from cofire.materials.card import Card, Property, Uncertainty
from cofire.materials.catalogue import find_card
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.expansion import smooth_expansion, smooth_step, transformation_strain
from cofire.physics.porosity import sintering_modulus
from cofire.units import ROOM

BROWN_STRAIN = 1e-3
"""Strain at which a powder skeleton without binder breaks where its card gives none: estimate, a
factor of three. Laminates of alumina and zirconia powder and metal pairs of injection moulding
come whole through burnout with mismatches of 2e-3 to 4e-3 before they sinter, half of it in each;
brittle contacts alone would bear a tenth of it. The load of brown ware is inverse to it. [-]"""
RULE = "blend of {metal} and {ceramic} at {share:g} % metal by volume, {rule}"


def brown_modulus(card: Card) -> float:
    """Stiffness of a body after burnout: its brown strength over its brown strain. [Pa]

    A secant: what matters of brown ware is the strain it bears. Powders held by adhesion alone are
    stiffer at small strain (Kendall, Alford & Birchall 1987, Proc. R. Soc. A 412, 269: in the order
    of 1 GPa for 10 µm).

    Parameters
    ----------
    card : Card
        One material.
    """
    return card["brown_strength"].scalar / card.scalar("brown_strain", BROWN_STRAIN)


def neck(card: Card, density: Array | float, reference: float) -> Array:
    """Area of the necks between grains over that at the density a property was measured at.

    One measure for stiffness, yield, creep and strength: linear in the density, with the brown
    body's own at the green density (`porosity.sintering_modulus`).

    Parameters
    ----------
    card : Card
        One material.
    density : array
        Relative density now. [-]
    reference : float
        Relative density of the measured body. [-]

    Returns
    -------
    array
        Same shape as `density`. [-]
    """
    green, measured = card["green_density"].scalar, card["young_modulus"].at_density
    first = min(brown_modulus(card) / float(card["young_modulus"].value[0]), 0.5)
    vanishing = (green - first * measured) / (1.0 - first)
    return sintering_modulus(density, max(vanishing, 0.0), reference)


def dense_moduli(card: Card, temperature: Array) -> tuple[Array, Array]:
    """Bulk and shear modulus of the material without pores, ends of its table held.

    Parameters
    ----------
    card : Card
        One material.
    temperature : array
        Any shape. [K]

    Returns
    -------
    tuple of array
        Same shape each. [Pa]
    """
    modulus = card["young_modulus"]
    young = modulus.at(temperature, extend=True) * neck(card, 1.0, modulus.at_density)
    nu = card["poisson_ratio"].scalar
    return mixing.bulk_modulus(young, nu), mixing.shear_modulus(young, nu)


def heated_strain(card: Card, temperature: Array) -> Array:
    """Thermal strain from 20 °C on first heating, transformations in equilibrium, ends held.

    Parameters
    ----------
    card : Card
        One material.
    temperature : array
        Any shape. [K]

    Returns
    -------
    array
        Natural strain, same shape. [-]
    """
    strain = smooth_expansion(card, temperature, extend=True)
    for change in card.inversions:
        share = smooth_step(temperature, change.on_heating, change.width)
        strain = strain + transformation_strain(temperature, share, change)
    return strain


@dataclass(frozen=True)
class _Phases:
    """What two materials are by themselves at the temperatures of their blends' tables.

    Attributes
    ----------
    pair
        Metal and ceramic.
    rows
        Temperatures, shape (R,). [K]
    moduli
        Bulk and shear modulus of each at `rows`. [Pa]
    strains
        Thermal strain of each at `rows`. [-]
    heat, conduct
        Specific heat [J/(kg K)] and thermal conductivity [W/(m K)] of each at all rows but the
        first.
    """

    pair: tuple[Card, Card]
    rows: Array
    moduli: list[tuple[Array, Array]]
    strains: list[Array]
    heat: list[Array]
    conduct: list[Array]


_LATEST: deque[_Phases] = deque(maxlen=8)
"""Pairs whose blends were last made: a vessel has many blends of one pair."""


def _phases(pair: tuple[Card, Card]) -> _Phases:
    """What is the same for all blends of two materials, worked out once for the latest pairs."""
    for known in tuple(_LATEST):
        if known.pair[0] is pair[0] and known.pair[1] is pair[1]:
            return known
    metal, ceramic = pair
    tables = [p[key] for p in pair for key in ("thermal_expansion", "young_modulus")]
    ends = [table.reach[1] for table in tables if table.valid or not table.single]
    top = min(ends, default=min(metal.scalar("solidus"), ceramic.scalar("firing_ceiling")))
    rows = np.unique(np.append(np.arange(ROOM, top, 40.0), top))
    found = _Phases(
        pair,
        rows,
        [dense_moduli(p, rows) for p in pair],
        [heated_strain(p, rows) for p in pair],
        [p["specific_heat"].at(rows[1:], extend=True) for p in pair],
        [p["thermal_conductivity"].at(rows[1:], extend=True) for p in pair],
    )
    _LATEST.append(found)
    return found


def blend(metal: Card, ceramic: Card, metal_fraction: float) -> Card:
    """The card of a blend, by volume of solids.

    Moduli are self-consistent and expansion follows from the bulk modulus (Levin); conductivity,
    density and specific heat as `cofire.physics.mixing` says. Its history is mixed from the
    histories of its parts, not from this card's tables, so that each phase keeps its own
    transformations and its own densification.

    Parameters
    ----------
    metal, ceramic : Card
        The phases.
    metal_fraction : float
        Of the solid volume, above 0 and below 1. [-]

    Returns
    -------
    Card
        Of kind "blend", valid where both its parts are.

    Raises
    ------
    InputError
        A fraction outside 0 to 1, or phases that are not a metal and a ceramic.
    """
    if metal.kind != "metal" or ceramic.kind != "ceramic":
        raise InputError(
            f"blend of {metal.name!r} ({metal.kind}) and {ceramic.name!r} ({ceramic.kind}): "
            "a blend is of one metal and one ceramic, in this order"
        )
    if not 0.0 < metal_fraction < 1.0:
        raise InputError(
            f"blend of {metal.name!r} and {ceramic.name!r}: metal fraction {metal_fraction:g}; "
            "allowed: above 0 and below 1"
        )
    c, parts = metal_fraction, (metal, ceramic)
    share = 100.0 * c
    name = f"{share:.4g} % {metal.name} / {100 - share:.4g} % {ceramic.name}"

    def entry(key: str, value: Array, rows: Array | None, rule: str, spread: float) -> Property:
        rule = RULE.format(metal=metal.name, ceramic=ceramic.name, share=share, rule=rule)
        count = value.size
        return Property(
            key,
            name,
            rows,
            value,
            (Uncertainty("%", spread),) * count,
            (rule,) * count,
            ("derived",) * count,
        )

    def number(key: str, value: float, rule: str, spread: float) -> Property:
        return entry(key, np.array([value]), None, rule, spread)

    def scalars(key: str, default: float | None = None) -> tuple[float, float]:
        return metal.scalar(key, default), ceramic.scalar(key, default)

    known = _phases(parts)
    rows, moduli, strains = known.rows, known.moduli, known.strains
    bulk, shear = mixing.elastic_moduli(c, *moduli)
    strain = mixing.free_strain(c, strains[0], strains[1], moduli[0][0], moduli[1][0], bulk)
    young = mixing.young_modulus(bulk, shear)
    densities = scalars("theoretical_density")
    warm = rows[1:]
    masses = np.array([c * densities[0], (1.0 - c) * densities[1]])
    masses /= masses.sum()
    properties = {
        "young_modulus": entry("young_modulus", young, rows, "self-consistent", 0.1),
        "poisson_ratio": number(
            "poisson_ratio", float(mixing.poisson_ratio(bulk, shear)[0]), "self-consistent", 0.05
        ),
        "thermal_expansion": entry(
            "thermal_expansion", np.expm1(strain[1:]) / (warm - ROOM), warm, "Levin", 0.05
        ),
        "theoretical_density": number(
            "theoretical_density", float(mixing.density(c, *densities)), "by volume", 0.02
        ),
        "specific_heat": entry(
            "specific_heat",
            mixing.specific_heat(c, known.heat[0], known.heat[1], *densities),
            warm,
            "by mass",
            0.05,
        ),
        "thermal_conductivity": entry(
            "thermal_conductivity",
            mixing.conductivity(c, *known.conduct),
            warm,
            "self-consistent",
            0.3,
        ),
        "binder": number("binder", float(masses @ scalars("binder")), "by mass", 0.1),
        "loss_on_ignition": number(
            "loss_on_ignition", float(masses @ scalars("loss_on_ignition", 0.0)), "by mass", 0.1
        ),
        "drying_shrinkage": number(
            "drying_shrinkage",
            c * scalars("drying_shrinkage")[0] + (1.0 - c) * scalars("drying_shrinkage")[1],
            "by volume",
            0.2,
        ),
        "green_density": number(
            "green_density",
            float(bulk_density(c, *scalars("green_density"))),
            "bulk volumes add",
            0.05,
        ),
    }
    return Card(
        name,
        "blend",
        f"blend; continuous: {mixing.continuity(c)}",
        properties,
        elements=metal.elements,
        refused=metal.refused or ceramic.refused,
        parts=((metal, c), (ceramic, 1.0 - c)),
        origin=f"blend of {metal.origin} and {ceramic.origin}",
    )


def bulk_density(metal_fraction: float, metal: Array | float, ceramic: Array | float) -> Array:
    """Relative density of a blend in which each phase keeps its own: their bulk volumes add.

    A stated rule, exact at either end. Real blends densify less than this, since each phase is
    held by the other where both are continuous (Bordia & Scherer 1988, Acta Metall. 36, 2393).

    Parameters
    ----------
    metal_fraction : float
        Of the solid volume. [-]
    metal, ceramic : array
        Relative densities of the phases. [-]

    Returns
    -------
    array
        Relative density of the blend. [-]
    """
    return np.asarray(1.0 / (metal_fraction / metal + (1.0 - metal_fraction) / ceramic))


def find_material(text: str, cards: dict[str, Card]) -> Card:
    """The card of that name, or the blend that a text describes.

    Parameters
    ----------
    text : str
        A card's name, or "METAL + CERAMIC = SHARE", the metal's share of the solid volume in
        per cent.
    cards : dict
        Of the tables.

    Returns
    -------
    Card
        The card.

    Raises
    ------
    InputError
        No such card, or a blend written in another form.
    """
    known = {name.casefold() for name in cards}
    if text.strip().casefold() in known or ("+" not in text and "=" not in text):
        return find_card(text, cards)
    names, equals, share = text.rpartition("=")
    metal, plus, ceramic = names.partition("+")
    # a name may hold a plus sign of its own: the split that gives two known names is meant
    for at in (k for k, sign in enumerate(names) if sign == "+"):
        pair = names[:at], names[at + 1 :]
        if all(name.strip().casefold() in known for name in pair):
            metal, ceramic = pair
    percent = number_in(share.strip().removesuffix("%").rstrip())
    if not equals or not plus or not 0.0 < percent < 100.0:
        raise InputError(
            f"blend {text[:80]!r}: write it as 'METAL + CERAMIC = 40' (per cent metal by volume, "
            "above 0 and below 100)"
        )
    return blend(find_card(metal, cards), find_card(ceramic, cards), percent / 100.0)
