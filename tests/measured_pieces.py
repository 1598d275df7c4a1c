"""Test pieces of a card that is known to be true, measured with errors that are known too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.evidence.measured import Curve, FiredPieces, Measured
from cofire.firing.kiln import trace
from cofire.firing.program import load_kilns, simple_firing
from cofire.materials.binders import shipped_reactions
from cofire.materials.card import Card, FiredAt
from cofire.materials.catalogue import load_cards
from cofire.numerics import Array
from cofire.physics.burnout import mass_lost
from cofire.physics.expansion import thermal_strains
from cofire.physics.sintering import (
    clock_rate,
    density_at,
    relative_density,
    run_clock,
    sintering_strain,
)
from cofire.units import HOUR, MINUTE, ROOM, kelvin

CARDS = load_cards()
KILN = load_kilns()["laboratory furnace"]
NO_PAIRS, NONE = np.zeros((0, 2)), np.zeros(0)


@dataclass(frozen=True)
class Errors:
    """Standard errors of measurements.

    Of one reading of a length [m], from bar to bar [-], of a firing's temperature [K], of a bulk
    density [-].
    """

    length: float = 5e-5
    scatter: float = 3e-4
    temperature: float = 3.0
    density: float = 0.01


EXACT = Errors(1e-9, 1e-9, 1e-6, 1e-7)


def with_value(card: Card, name: str, value: float) -> Card:
    """The card with one number replaced."""
    return card.scaled(name, value / card[name].scalar)


def true_card(card: Card, rng: np.random.Generator) -> Card:
    """A card drawn from what the given one states: its values within their uncertainties."""
    while True:
        truth = card
        for name in ("sintering_energy", "sintering_exponent", "green_density", "full_density",
                     "fired_density", "height_shrinkage_factor"):  # fmt: skip
            own = card[name]
            spread = float(own.uncertainty[0].relative(own.value[:1])[0])
            factor = rng.normal(0.0, spread)
            log = name in ("sintering_energy", "sintering_exponent", "height_shrinkage_factor")
            truth = truth.scaled(name, float(np.exp(factor)) if log else 1.0 + factor)
        green, fired, full = (
            truth[n].scalar for n in ("green_density", "fired_density", "full_density")
        )
        if green + 0.1 < fired < full - 0.005 and full <= 1.0:
            return truth


def true_substance(card: Card, rng: np.random.Generator) -> Card:
    """The card with what densities are worked out by drawn likewise: no curve hangs on it."""
    for name in ("theoretical_density", "binder", "loss_on_ignition"):
        if name in card:
            own = card[name]
            spread = float(own.uncertainty[0].relative(own.value[:1])[0])
            card = card.scaled(name, float(np.exp(rng.normal(0.0, spread))))
    return card


def density_after(card: Card, fired: FiredAt) -> float:
    """Relative density after a plain firing, cooling left out as cards do."""
    ramp = np.linspace(ROOM, fired.peak, 400)
    rate = clock_rate(card.in_gas(fired.gas))
    held = fired.hold * float(rate(np.array([fired.peak]))[0])
    whole = run_clock((ramp - ROOM) / fired.rate, ramp, rate)[-1] + held
    return float(density_at(card, np.array([whole]))[0])


def bars(
    truth: Card,
    plan: Sequence[tuple[float, float, float]],
    count: int,
    rng: np.random.Generator,
    errors: Errors = Errors(),
    upright: bool = False,
    weighed: int = 0,
    dried: int = 0,
) -> Measured:
    """Bars fired at (°C/h, °C, min), each firing off by a little that nobody noticed.

    Of each firing so many were weighed; so many more were only dried.
    """
    found = []
    factor = truth.scalar("height_shrinkage_factor", 1.0)
    for rate, peak, hold in plan:
        off = rng.normal(0.0, errors.temperature)
        seen, real = (
            trace(simple_firing(KILN, kelvin(p), hold * MINUTE, rate / HOUR, lag=0.0))
            for p in (peak, peak + off)
        )
        density = float(relative_density(truth, real, extend=True)[-1])
        strain = float(sintering_strain(density, truth["green_density"].scalar, factor))

        def measured(e: float, length: float) -> Array:
            dried = length * rng.uniform(0.98, 1.02, count)
            fired = dried * np.exp(e + rng.normal(0.0, errors.scatter, count))
            return np.stack([x + rng.normal(0.0, errors.length, count) for x in (dried, fired)], 1)

        bulk = density * truth["theoretical_density"].scalar
        found.append(
            FiredPieces(
                f"{peak:g} °C, {hold:g} min", seen,
                FiredAt(rate / HOUR, kelvin(peak), hold * MINUTE), measured(strain, 0.096),
                measured(factor * strain, 0.04) if upright else NO_PAIRS,
                bulk * np.exp(rng.normal(0.0, errors.density, weighed)),
            )
        )  # fmt: skip
    left = 1.0 - truth["binder"].scalar - truth.scalar("loss_on_ignition", 0.0)
    raw = truth["green_density"].scalar * truth["theoretical_density"].scalar / left
    return Measured(
        "bars.toml", truth.name, errors.length, errors.temperature, errors.density, NO_PAIRS,
        raw * np.exp(rng.normal(0.0, errors.density, dried)), tuple(found), (), KILN,
    )  # fmt: skip


def dilatometer(
    truth: Card,
    rate: float,
    top: float,
    rng: np.random.Generator,
    noise: float = 1e-4,
    errors: Errors = Errors(),
) -> Curve:
    """Length change of a raw bar heated at a rate in °C/h to a temperature in °C."""
    hot = np.arange(kelvin(25.0), kelvin(top), 2.0)
    time = (hot - ROOM) / (rate / HOUR)
    real = hot + rng.normal(0.0, errors.temperature)
    whole = np.append(0.0, time), np.append(ROOM, real)
    clock = run_clock(*whole, clock_rate(truth))[1:]
    strain = sintering_strain(
        density_at(truth, clock),
        truth["green_density"].scalar,
        truth.scalar("height_shrinkage_factor", 1.0),
    )
    dry = [r for r in shipped_reactions("air") if r.substance == "structural water"]
    lost = truth.scalar("loss_on_ignition", 0.0) * mass_lost(*whole, dry)[1:]
    water = np.log(1.0 - truth.scalar("water_contraction", 0.0) * lost)
    strain = np.minimum(strain, water)  # the further of the two: sintering goes on from there
    strain = strain + np.sum(list(thermal_strains(truth, real, extend=True).values()), axis=0)
    strain = strain + rng.normal(0.0, noise, hot.size)
    return Curve(f"{rate:g} °C/h", False, time, hot, strain)


def with_curves(measured: Measured, curves: Sequence[Curve]) -> Measured:
    """The same with dilatometer curves."""
    return replace(measured, curves=tuple(curves))
