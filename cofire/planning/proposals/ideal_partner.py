"""A partner that fits a zone in every way, and partners that differ from it in one property."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card, Property
from cofire.inputs.units import ROOM
from cofire.physics.history import History
from cofire.planning.pairs.pairing import zone_set_points

Array = NDArray[np.float64]

EXPANDS = ("thermal_expansion", "free_quartz", "cristobalite")
SINTERS = (
    "green_density", "fired_density", "full_density", "sintering_energy", "sintering_exponent",
    "height_shrinkage_factor",
)  # fmt: skip
GLASSY = (
    "surface_tension",
    "particle_size",
    "glass_viscosity",
    "sag_viscosity",
    "crystal_fraction",
)
"""What drives the clock of a zone that sinters by flow."""
DENSITIES = ("green_density", "fired_density", "full_density")
FLOWS = ("glass_viscosity", "sag_viscosity", "body_viscosity", "creep_stress")
"""Tables by which a material flows, and thereby sets."""
HALF = 0.5


@dataclass(frozen=True)
class Figures:
    """What a partner is judged by, in one firing.

    Attributes
    ----------
    expansion
        Mean from 20 °C to the temperature from which mismatch is stored. [1/K]
    shrinkage
        Dried to fired, along the ring. [-]
    half_way
        Temperature at which half of its densification is done. [K]
    set_point
        Below it, mismatch is stored. [K]
    """

    expansion: float
    shrinkage: float
    half_way: float
    set_point: float


def ideal_partner(zone: Card, template: Card, name: str) -> Card:
    """A material of the template's kind that dries, shrinks and expands as a zone does.

    Stiffness, strength, flow and all else stay the template's. Its densities are the zone's times
    one factor, so that the shrinkage is the same and the fired density is the template's.

    Parameters
    ----------
    zone : Card
        That it is to fit.
    template : Card
        The partner that the vessel has.
    name : str
        Of the new card.

    Returns
    -------
    Card
        With no table that either lacked.
    """
    glassy = zone.densification == "viscous"
    taken = (*EXPANDS, "drying_shrinkage", *SINTERS, *(GLASSY if glassy else ()))
    own = {key: value for key, value in template.properties.items() if key not in taken}
    own |= {key: replace(zone[key], owner=name) for key in taken if key in zone}
    denser = template["fired_density"].scalar / zone["fired_density"].scalar
    denser = min(denser, 1.0 / zone["full_density"].scalar)
    card = replace(
        template, name=name, properties=own, densification=zone.densification,
        fired_at=zone.fired_at, transformations=zone.transformations,
    )  # fmt: skip
    for key in DENSITIES:
        card = card.scaled(key, denser)
    return card


def with_expansion(card: Card, more: float) -> Card:
    """The card with all its mean expansion coefficients raised. [1/K]

    Parameters
    ----------
    card : Card
        The card.
    more : float
        [1/K]
    """
    table = card["thermal_expansion"]
    return _with(card, replace(table, value=table.value + more))


def with_shrinkage(card: Card, more: float) -> Card:
    """The card printed less dense, so that it shrinks by so much more to the same density.

    Parameters
    ----------
    card : Card
        The card.
    more : float
        Linear shrinkage to add. [-]

    Returns
    -------
    Card
        With another green density.
    """
    green, fired = card["green_density"].scalar, card["fired_density"].scalar
    length = (green / fired) ** (1.0 / 3.0) - more
    lowest, highest = 0.2, card["full_density"].scalar - 0.01
    wanted = min(max(fired * length**3, lowest), min(highest, fired - 0.002))
    return card.scaled("green_density", wanted / green)


def with_timing(card: Card, later: float) -> Card:
    """The card that reaches the same density in a firing hotter by so much.

    Parameters
    ----------
    card : Card
        The card.
    later : float
        [K]

    Returns
    -------
    Card
        Its sintering shifted.
    """
    if card.densification == "viscous":
        return _shifted(card, ("glass_viscosity", "sag_viscosity"), later)
    assert card.fired_at is not None
    return replace(card, fired_at=replace(card.fired_at, peak=card.fired_at.peak + later))


def with_set_point(card: Card, higher: float) -> Card:
    """The card whose tables of flow lie so much higher in temperature.

    Parameters
    ----------
    card : Card
        The card.
    higher : float
        [K]

    Returns
    -------
    Card
        The same where it does not flow.
    """
    return _shifted(card, FLOWS, higher)


def _with(card: Card, changed: Property) -> Card:
    return replace(card, properties={**card.properties, changed.name: changed})


def _shifted(card: Card, names: tuple[str, ...], higher: float) -> Card:
    for name in names:
        if name in card:
            table = card[name]
            assert table.temperature is not None
            card = _with(card, replace(table, temperature=table.temperature + higher))
    return card


def figures(history: History, row: int, stored_from: float) -> Figures:
    """What a material does alone in a firing, in the figures of a partner.

    Parameters
    ----------
    history : History
        With the material.
    row : int
        Its row.
    stored_from : float
        Temperature to which the mean expansion is taken. [K]

    Returns
    -------
    Figures
        Expansion on the way down, inversions included.
    """
    warm, hot = history.temperature, int(np.argmax(history.temperature))
    thermal = sum(
        (values[row] for name, values in history.strain.items() if name != "sintering"),
        np.zeros_like(warm),
    )
    last = int(warm.size - 1 - np.argmax(warm[::-1]))
    at = np.interp([-stored_from], -warm[last:], thermal[last:])[0]
    sinter = history.strain["sintering"][row]
    done = sinter / min(float(sinter[-1]), -1e-12)
    half = (
        float(np.interp(HALF, done[: hot + 1], warm[: hot + 1])) if done[hot] > HALF else warm[hot]
    )
    sets, _ = zone_set_points(history.rows([row]))
    return Figures(
        float(np.expm1(at - thermal[-1]) / (stored_from - ROOM)),
        float(-np.expm1(sinter[-1])),
        float(half),
        float(sets[0]),
    )
