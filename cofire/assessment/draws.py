"""Cards as they might also be: every property moved within the uncertainty that its card states.

One factor a property and material: the rows of a table move together, and materials move
independently of each other. Of one material, what follows from how densely its powder packs moves
with the green density as far as physics says so (`follows`), within the uncertainties that the card
states; everything else moves by itself. Only pastes that could be are drawn: each property within
its bounds and what the others leave it, the card's value its median wherever that is possible.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from cofire.materials.card import Card, Property, Uncertainty, pure_cards
from cofire.materials.card_file import FROZEN
from cofire.materials.properties import CELSIUS, LOG_VISCOSITY, SPECS, VISCOSITIES
from cofire.numerics import Array, sobol_points
from cofire.physics.paste import most_binder
from cofire.physics.porosity import CRYSTAL_PACKING
from cofire.units import kelvin

REACH = 3.0
"""Factors are cut off this many standard uncertainties from the card's value. [-]"""
UNUSED = ("firing_shrinkage", "tensile_strength")
"""Properties that no flag reads: the model's own shrinkage is only held against it."""
APART = 0.005
"""Least distance between green, fired and full density. [-]"""
CLOSEST = 0.8
"""Most that a property follows the packing: pastes of one powder differ in water too, by some 2 in
50 of solids, which moves drying by 1.3 % where packing moves it by 1.7. Estimate. [-]"""


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
    return normal(sobol_points(count, factors, seed))


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
    logs, spread = spreads(values)
    shift = spread * deviate
    return np.where(logs, values.value * np.exp(shift), values.value + shift)


def spreads(values: Property) -> tuple[NDArray[np.bool_], Array]:
    """How each row of a property spreads, as `moved` moves it.

    Parameters
    ----------
    values : Property
        As on the card.

    Returns
    -------
    tuple of array
        Whether its logarithm is normal, else it is itself, shape (R,); and the standard deviation
        of that, shape (R,). [-] or [SI unit of the property]
    """
    decades = SPECS[values.name].units is LOG_VISCOSITY
    plain = np.array([u.form == "+-" for u in values.uncertainty])
    size = np.array([u.size if u.form == "+-" else _spread(u) for u in values.uncertainty])
    return ~plain & (not decades), np.where(plain | (not decades), size, size / np.log(10.0))


def _spread(uncertainty: Uncertainty) -> float:
    """Standard deviation of the logarithm, of "%" and "factor"."""
    size = uncertainty.size
    return float(np.log(size) if uncertainty.form == "factor" else np.sqrt(np.log1p(size**2)))


def follows(card: Card) -> dict[str, float]:
    """How far properties move with the green density of the same paste, as correlations.

    At the water of its paste a powder that packs to φ dries by s with (1 − s)³ = φ_wet / φ, so
    that ds = (1 − s)/3 dφ/φ: what packs closer has dried further, and shrinks as much in all. Along
    the master curve ρ − φ is a share of ρ_full − φ, so that dρ = (ρ_full − ρ)/(ρ_full − φ) dφ. What
    dried and burnt-out powder bears goes with φ/(1 − φ) (Rumpf 1962, from memory). Over the
    uncertainty that the card states these are correlations, at most `CLOSEST`.

    Parameters
    ----------
    card : Card
        A pure material.

    Returns
    -------
    dict
        Property to correlation; empty where no green density is uncertain. [-]
    """
    names = ("green_density", "fired_density", "full_density")
    if any(name not in card for name in names):
        return {}
    green, fired, full = (card[name].scalar for name in names)
    step = float(moved(card["green_density"], 1.0)[0]) - green
    moves = {
        "drying_shrinkage": (1.0 - card.scalar("drying_shrinkage", 0.0)) / 3.0 * step / green,
        "fired_density": (full - fired) / max(full - green, APART) * step,
    }
    for name in ("green_strength", "brown_strength"):
        moves[name] = card.scalar(name, 0.0) * np.expm1(step / (green * (1.0 - green)))
    found = {}
    for name, move in moves.items():
        own = float(moved(card[name], 1.0)[0]) - card[name].scalar if name in card else 0.0
        if own > 0.0 and move > 0.0:
            found[name] = float(min(move / own, CLOSEST))
    return found


def within(deviate: float, low: float, high: float) -> float | None:
    """A deviate brought between two, evenly: a share of what lies there, the median kept.

    Parameters
    ----------
    deviate, low, high : float
        Of a standard normal cut off at `REACH`. [-]

    Returns
    -------
    float or None
        Unchanged where neither bound is within reach; None where nothing lies between them. [-]
    """
    low, high = max(low, -REACH), min(high, REACH)
    if low <= -REACH and high >= REACH:
        return deviate
    if low >= high:
        return None
    if low <= 0.0 <= high:  # each half by itself, so that the card's value stays the median
        end = high if deviate > 0.0 else low
        share = (ndtr(deviate) - 0.5) / (ndtr(np.copysign(REACH, end)) - 0.5)
        return float(ndtri(0.5 + share * (ndtr(end) - 0.5)))
    share = (ndtr(deviate) - ndtr(-REACH)) / (1.0 - 2.0 * ndtr(-REACH))
    return float(ndtri(ndtr(low) + share * (ndtr(high) - ndtr(low))))


def _span(values: Property, low: float, high: float) -> tuple[float, float]:
    """Between which deviates every row of a property lies between two values."""
    logarithmic = SPECS[values.name].units is LOG_VISCOSITY
    ends = [-np.inf, np.inf]
    for row, uncertainty in enumerate(values.uncertainty):
        value = float(values.value[row])
        for side, bound in enumerate((low, high)):
            if uncertainty.form == "+-":
                one = uncertainty.size
                far = bound - value
            else:
                one = _spread(uncertainty)
                if logarithmic:
                    far = (bound - value) * np.log(10.0)
                else:
                    far = np.log(bound / value) if bound > 0.0 < value else -np.inf
            if one > 0.0:
                ends[side] = (max, min)[side](ends[side], far / one)
    return ends[0], ends[1]


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
    rows: dict[str, Array] = {}
    held: set[str] = set()

    def drawn(name: str, low: float = -np.inf, high: float = np.inf) -> None:
        least, most = bounds(name)
        least, most = max(least, low), min(most, high)
        deviate = within(deviates[name], *_span(card[name], least, most))
        if deviate is None:  # nothing that its uncertainty reaches is possible
            held.add(name)
            rows[name] = np.clip(moved(card[name], deviates[name]), least, most)
        else:
            rows[name] = np.clip(moved(card[name], deviate), least, most)

    def now(name: str, absent: float = 0.0) -> float:
        return float(rows[name][0]) if name in rows else card.scalar(name, absent)

    if "green_density" in deviates:
        common = deviates["green_density"]
        for name, share in follows(card).items():
            if name in deviates:
                deviates[name] = share * common + np.sqrt(1.0 - share**2) * deviates[name]
    last = ("green_density", "fired_density", "full_density", "binder")
    for name in deviates:
        if name not in last:
            drawn(name, high=CRYSTAL_PACKING - 0.01 if name == "crystal_fraction" else np.inf)
    ordered = all(name in card for name in last[:3])
    if "fired_density" in deviates:
        drawn("fired_density", high=SPECS["full_density"].most - APART if ordered else np.inf)
    if "green_density" in deviates:
        drawn("green_density", high=_most_green(card, now("fired_density")) if ordered else np.inf)
    if "full_density" in deviates:
        drawn("full_density", low=now("fired_density") + APART if ordered else -np.inf)
    if ordered:
        held |= _order_densities(card, rows)
    if "binder" in deviates:
        green, density = now("green_density"), now("theoretical_density")
        room = most_binder(green, density, now("loss_on_ignition")) if green and density else np.inf
        drawn("binder", high=max(room, 0.0))
    for name in VISCOSITIES:
        if name in rows:
            fall = 0.01 * np.arange(rows[name].size)
            kept = np.minimum.accumulate(rows[name] + fall) - fall
            if (np.abs(kept - rows[name]) > 1e-12 * np.abs(rows[name])).any():
                held.add(name)
            rows[name] = kept
    held |= _room_for_binder(card, rows)
    fired = card.scalar("fired_density", 1.0)
    properties = dict(card.properties)
    for name, old in card.properties.items():
        new = replace(old, value=rows[name]) if name in rows else old
        if "fired_density" in rows and abs(old.at_density - fired) < APART:
            new = replace(new, at_density=float(rows["fired_density"][0]))
        properties[name] = _frozen_when_cold(new) if name in VISCOSITIES else new
    return replace(card, properties=properties), held


def _most_green(card: Card, fired: float) -> float:
    """Largest green density below the fired one and every body that a number was measured on."""
    others = [p.at_density for p in card.properties.values()
              if abs(p.at_density - card["fired_density"].scalar) >= APART]  # fmt: skip
    return float(min([fired, *others]) - 2.0 * APART)


def _order_densities(card: Card, rows: dict[str, Array]) -> set[str]:
    """Keep green < fired < full density where the card's own numbers leave them no room.

    The fired density is the one that was measured; the others give way to it. What was measured
    on the body as fired goes with it.
    """
    names = ("green_density", "fired_density", "full_density")
    wanted = [float(rows[n][0]) if n in rows else card[n].scalar for n in names]
    fired = min(wanted[1], SPECS["full_density"].most - APART)
    kept = (min(wanted[0], _most_green(card, fired)), fired, max(wanted[2], fired + APART))
    held = set()
    for name, old, new in zip(names, wanted, kept, strict=True):
        if new != old:
            held.add(name)
            rows[name] = np.array([new])
    return held


def _room_for_binder(card: Card, rows: dict[str, Array]) -> set[str]:
    """Keep the binder within the pores of the dried body: no other paste can be mixed."""
    asked = ("green_density", "theoretical_density", "loss_on_ignition")
    if "binder" not in card or any(name not in card for name in asked[:2]):
        return set()
    green, density, loss = (
        float(rows[name][0]) if name in rows else card.scalar(name, 0.0) for name in asked
    )
    wanted = float(rows["binder"][0]) if "binder" in rows else card["binder"].scalar
    most = most_binder(green, density, loss)
    if wanted <= most:
        return set()
    rows["binder"] = np.array([max(most, 0.0)])
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
