"""Cards as they might also be: every property moved within the uncertainty that its card states.

One factor a property and material: the rows of a table move together, and properties move
independently of each other, as do materials.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from cofire.materials.card import Card, Property, Uncertainty, pure_cards
from cofire.materials.card_file import FROZEN
from cofire.materials.properties import CELSIUS, LOG_VISCOSITY, SPECS, VISCOSITIES
from cofire.numerics import Array
from cofire.physics.paste import most_binder
from cofire.physics.porosity import CRYSTAL_PACKING
from cofire.units import kelvin

REACH = 3.0
"""Factors are cut off this many standard uncertainties from the card's value. [-]"""
UNUSED = ("firing_shrinkage", "tensile_strength")
"""Properties that no flag reads: the model's own shrinkage is only held against it."""
FILLED = 0.98
"""Most of the dried body's room that its binder may fill: our choice. [-]"""
APART = 0.005
"""Least distance between green, fired and full density. [-]"""


@dataclass(frozen=True)
class Factor:
    """One uncertain property of one material."""

    material: str
    name: str


def factors_of(cards: Iterable[Card]) -> tuple[Factor, ...]:
    """Every uncertain property of some materials, those of a blend's parts included.

    Parameters
    ----------
    cards : iterable of Card
        In use.

    Returns
    -------
    tuple of Factor
        Once each, by material, in the order of the card.
    """
    found: dict[Factor, None] = {}
    for card in pure_cards(cards).values():
        for name, values in card.properties.items():
            if name not in UNUSED and any(_states_spread(u) for u in values.uncertainty):
                found[Factor(card.name, name)] = None
    return tuple(found)


def _states_spread(uncertainty: Uncertainty) -> bool:
    return uncertainty.size > (1.0 if uncertainty.form == "factor" else 0.0)


def design(count: int, factors: int, seed: int) -> Array:
    """Where each sample stands in each factor: scrambled Sobol' points, evenly spread.

    Scrambled by random linear matrices and a random shift (Matoušek 1998, J. Complexity 14, 527),
    which makes each point uniform, and the average over the points unbiased.

    Parameters
    ----------
    count : int
        Samples; a power of two spreads best. [-]
    factors : int
        Uncertain properties, 1 or more. [-]
    seed : int
        The same one gives the same points.

    Returns
    -------
    array
        Standard normal, cut off at `REACH`, shape (count, factors). [-]
    """
    from scipy.stats import qmc

    points = qmc.Sobol(factors, scramble=True, seed=np.random.default_rng(seed))
    whole = points.random_base2(max(count - 1, 1).bit_length())
    return normal(whole[:count])


def normal(share: Array) -> Array:
    """Standard normal deviates, cut off at `REACH`, at given shares of their distribution.

    Parameters
    ----------
    share : array
        Between 0 and 1, any shape. [-]

    Returns
    -------
    array
        Same shape. [-]
    """
    low = ndtr(-REACH)
    return np.asarray(ndtri(low + share * (1.0 - 2.0 * low)))


def moved(values: Property, deviate: float) -> Array:
    """The rows of a property, each as many standard uncertainties from its value.

    "%" and "factor" are taken as lognormal, with the card's value the median, so that no modulus
    turns negative; "+-" as normal. Of a logarithmic table "+-" is in decades, the others are of
    the viscosity itself.

    Parameters
    ----------
    values : Property
        As on the card.
    deviate : float
        How many. [-]

    Returns
    -------
    array
        Shape (R,). [SI unit of the property]
    """
    logarithmic = SPECS[values.name].units is LOG_VISCOSITY
    found = values.value.copy()
    for row, uncertainty in enumerate(values.uncertainty):
        size = uncertainty.size
        if uncertainty.form == "+-":
            found[row] += size * deviate
            continue
        spread = np.log(size) if uncertainty.form == "factor" else np.sqrt(np.log1p(size**2))
        if logarithmic:
            found[row] += spread * deviate / np.log(10.0)
        else:
            found[row] *= np.exp(spread * deviate)
    return found


def varied(
    cards: Iterable[Card], factors: Sequence[Factor], deviates: Array, clipped: Counter[Factor]
) -> dict[str, Card]:
    """The materials with their properties moved, and kept possible.

    Parameters
    ----------
    cards : iterable of Card
        Pure materials.
    factors : sequence of Factor
        K uncertain properties.
    deviates : array
        One a factor, shape (K,). [-]
    clipped : Counter
        Counts each property that had to be brought back within its bounds.

    Returns
    -------
    dict
        New cards by name.
    """
    found = {}
    for card in cards:
        own = {f.name: float(d) for f, d in zip(factors, deviates, strict=True)
               if f.material == card.name}  # fmt: skip
        found[card.name], held = _varied(card, own)
        clipped.update(Factor(card.name, name) for name in held)
    return found


def bounds(name: str) -> tuple[float, float]:
    """Least and largest plausible value of a property.

    Parameters
    ----------
    name : str
        A name of SPECS.

    Returns
    -------
    tuple of float
        [SI unit of the property]
    """
    spec = SPECS[name]
    if spec.units is CELSIUS:
        return kelvin(spec.least), kelvin(spec.most)
    return spec.least, spec.most


def _varied(card: Card, deviates: dict[str, float]) -> tuple[Card, set[str]]:
    """One card moved, and the names of what had to be held."""
    rows = {name: moved(card[name], deviate) for name, deviate in deviates.items()}
    held = set()
    for name, wanted in rows.items():
        kept = np.clip(wanted, *bounds(name))
        if name == "crystal_fraction":
            kept = np.minimum(kept, CRYSTAL_PACKING - 0.01)  # grains must not lock
        if name in VISCOSITIES:
            fall = 0.01 * np.arange(kept.size)
            kept = np.minimum.accumulate(kept + fall) - fall
        if (np.abs(kept - wanted) > 1e-12 * np.abs(wanted)).any():
            held.add(name)
        rows[name] = kept
    held |= _order_densities(card, rows)
    held |= _hold_binder(card, rows)
    fired = card.scalar("fired_density", 1.0)
    properties = dict(card.properties)
    for name, old in card.properties.items():
        new = replace(old, value=rows[name]) if name in rows else old
        if "fired_density" in rows and abs(old.at_density - fired) < APART:
            new = replace(new, at_density=float(rows["fired_density"][0]))
        properties[name] = _frozen_when_cold(new) if name in VISCOSITIES else new
    return replace(card, properties=properties), held


def _order_densities(card: Card, rows: dict[str, Array]) -> set[str]:
    """Keep green < fired < full density, and stiffness and strength measured on denser bodies.

    The fired density is the one that was measured; the others give way to it. What was measured
    on the body as fired goes with it.
    """
    names = ("green_density", "fired_density", "full_density")
    if any(name not in card for name in names):
        return set()
    wanted = [float(rows[n][0]) if n in rows else card[n].scalar for n in names]
    others = [p.at_density for p in card.properties.values()
              if abs(p.at_density - card["fired_density"].scalar) >= APART]  # fmt: skip
    fired = min(wanted[1], SPECS["full_density"].most - APART)
    green = min(wanted[0], min([fired, *others]) - 2.0 * APART)
    full = max(wanted[2], fired + APART)
    held = set()
    for name, old, new in zip(names, wanted, (green, fired, full), strict=True):
        if new != old:
            held.add(name)
            rows[name] = np.array([new])
    return held


def _hold_binder(card: Card, rows: dict[str, Array]) -> set[str]:
    """Keep room in the dried body's pores for its binder: else no paste dries to it.

    Else a drawn card could not be mixed, and a sample of it would count as a lost pot.
    """

    def now(name: str) -> float:
        return float(rows[name][0]) if name in rows else card.scalar(name, 0.0)

    most = FILLED * most_binder(
        now("green_density"), now("theoretical_density"), now("loss_on_ignition")
    )
    if "binder" not in rows or now("binder") <= most:
        return set()
    rows["binder"] = np.array([max(most, bounds("binder")[0])])
    return {"binder"}


def _frozen_when_cold(table: Property) -> Property:
    """The table with a colder row where it no longer begins frozen, on its first rows' slope."""
    assert table.temperature is not None
    first, second = table.value[:2]
    if first >= FROZEN:
        return table
    slope = (second - first) / (table.temperature[1] - table.temperature[0])
    colder = table.temperature[0] + (FROZEN - first) / slope
    return replace(
        table,
        temperature=np.insert(table.temperature, 0, colder),
        value=np.insert(table.value, 0, FROZEN),
        uncertainty=table.uncertainty[:1] + table.uncertainty,
        source=table.source[:1] + table.source,
        basis=table.basis[:1] + table.basis,
    )
