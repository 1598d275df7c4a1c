"""What bars say of a card: drying, green density, strength and its scatter, sagging."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cofire.assessment.crack_rules import TEST_BAR
from cofire.errors import InputError
from cofire.evidence.findings import (
    NORMAL,
    Findings,
    Panel,
    Series,
    Untold,
    dried_share,
    single,
    substance_spread,
    worth_having,
)
from cofire.evidence.fitting import LEVEL, mean_interval
from cofire.evidence.measured import Bending, FiredPieces, Measured, SagBar
from cofire.materials.card import Card
from cofire.mechanics.tile import fired_sag
from cofire.numerics import Array
from cofire.physics.history import histories
from cofire.physics.porosity import anchored_strength, porous_viscosity
from cofire.physics.rheology import shear_viscosity
from cofire.physics.sintering import relative_density, sintering_strain
from cofire.physics.strength import (
    FEWEST_BARS,
    bar_effective_volume,
    fit_weibull,
    strength_at_risk,
)
from cofire.units import celsius, counted, kelvin

TEST_SPANS = 0.5
"""Inner over outer span of the bar a card's strength comes from. [-]"""
LEAST_SAG = 2.0
"""A sag below this many times what densification alone gives tells no viscosity. [-]"""


def drying_findings(card: Card, measured: Measured) -> Findings:
    """Drying shrinkage from printed and dried lengths.

    Parameters
    ----------
    card : Card
        The card.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Empty where no bar was measured as printed.
    """
    pairs = measured.dried
    if pairs.size == 0:
        return Findings()
    shrunk = 1.0 - pairs[:, 1] / pairs[:, 0]
    stated = float(np.sqrt(2.0)) * measured.length_uncertainty / float(pairs[:, 0].mean())
    middle, low, high = mean_interval(shrunk, stated)
    if high <= 0.0:
        raise InputError(
            f"{measured.where}: bars dried longer than printed, by {-100.0 * middle:.2g} % on "
            "average; allowed: at most as long, lengths in the order printed, dried"
        )
    found = (max(middle, 0.0), max(low, 0.0), high)
    what = f"{len(pairs)} bar{'s' if len(pairs) > 1 else ''}"
    number = np.arange(1.0, len(pairs) + 1.0)
    series = Series("bars", number, 100.0 * shrunk, np.full(number.size, 100.0 * found[0]))
    panel = Panel("drying shrinkage", "bar", "printed to dried (%)", (series,))
    value = single("drying_shrinkage", found, what)
    return worth_having(card, value, "measure more bars, longer ones") + Findings(panels=(panel,))


def green_findings(card: Card, measured: Measured) -> Findings:
    """Green density from the bulk density of dried bars, where no sintering curve is fitted.

    Parameters
    ----------
    card : Card
        The card; theoretical density, binder and loss on ignition are taken from it, and are as
        uncertain as it says.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Empty where no dried bar was weighed.
    """
    if measured.dried_density.size == 0:
        return Findings()
    left, shaky = dried_share(card)
    density = measured.dried_density * left / card["theoretical_density"].scalar
    mean, low, high = mean_interval(density, measured.density_uncertainty * float(density.mean()))
    shared = NORMAL * mean * float(np.hypot(shaky, substance_spread(card)))
    half = float(np.hypot(0.5 * (high - low), shared))
    what = f"{density.size} dried densities"
    value = single("green_density", (mean, mean - half, mean + half), what)
    remedy = "weigh more dried bars, and give the card your own theoretical_density"
    return worth_having(card, value, remedy)


def _larger(bending: Bending, modulus: Array) -> Array:
    """Effective volume of a person's bars over that of the standard bar; one where not told. [-]"""
    if bending.volume is None:
        return np.ones_like(modulus)
    own = bar_effective_volume(bending.volume, modulus, bending.load_over_support)
    return np.asarray(own / bar_effective_volume(TEST_BAR, modulus, TEST_SPANS))


def bending_findings(card: Card, measured: Measured) -> Findings:
    """Median strength and Weibull modulus from bending tests.

    Maximum likelihood, the modulus with its small-sample bias taken out; the strength is that of
    the card's test bar, by the effective volumes of the two bars, where the person's is known.

    Parameters
    ----------
    card : Card
        A ceramic.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Of the firing with most bars; the others are named.
    """
    tested = [p for p in measured.firings if p.bending is not None]
    if not tested:
        return Findings()
    best = max(tested, key=lambda p: p.bending.strength.size if p.bending else 0)
    bending = best.bending
    assert bending is not None
    count = bending.strength.size
    names = ("strength", "weibull_modulus")
    if card.kind != "ceramic":
        why = "a metal's card has no flexural strength or scatter; its yield stress counts"
        return Findings(untold=(Untold("strength", why, "a tensile or bending test to yield"),))
    if count < FEWEST_BARS or np.ptp(np.log(bending.strength)) < 1e-6:
        own = counted(count, "bar")
        why = f"{own} in one firing, or all alike; {FEWEST_BARS} that scatter are the least"
        more = f"break {30 - count if count < 30 else 10} more of the same firing"
        return Findings(untold=tuple(Untold(name, why, more) for name in names))
    fit = fit_weibull(bending.strength, LEVEL)
    m = fit.unbiased_modulus
    how = "the bars taken to be of the standard size"
    if bending.volume is not None:
        ratio = float(_larger(bending, np.array(m)))
        how = f"from bars of {ratio:.2g} times the effective volume of the standard bar"
    density = float(relative_density(card, best.trace, extend=True)[-1])
    if best.density.size:
        density = float(best.density.mean() / card["theoretical_density"].scalar)
    if density <= card["green_density"].scalar + 0.01:
        why = f"the bars of {best.name} have not sintered, by their density of {density:.3f}"
        return Findings(untold=tuple(Untold(n, why, "break bars fired hotter") for n in names))
    what = f"{count} bars broken ({best.name})"
    median = strength_at_risk(fit, lambda modulus: np.log(2.0) * _larger(bending, modulus))
    strength = single(
        "strength", median, what, at_density=round(min(density, 1.0), 3),
        note=f"median by Weibull statistics, {how}",
    )  # fmt: skip
    by_card = anchored_strength(
        min(density, 1.0), card["green_density"].scalar, card["brown_strength"].scalar,
        card["strength"].at_density, card["strength"].scalar,
    )  # fmt: skip
    strength = replace(strength, by_card=np.atleast_1d(by_card))
    modulus = single(
        "weibull_modulus", (m, *fit.modulus_interval), what, note="maximum likelihood, unbiased"
    )
    ordered = np.sort(bending.strength)
    probability = (np.arange(1, count + 1) - 0.5) / count
    scale = fit.characteristic_strength
    drawn = scale * (-np.log1p(-probability)) ** (1.0 / fit.modulus)
    series = Series(best.name, 100.0 * probability, ordered / 1e6, drawn / 1e6, line=True)
    panel = Panel("bending strength", "share of bars broken (%)", "strength (MPa)", (series,))
    more = f"break more bars of one firing, {2 * count} in all"
    notes = tuple(
        f"{p.name}: {p.bending.strength.size} bending tests not used; {best.name} has more"
        for p in tested
        if p is not best and p.bending is not None
    )
    found = worth_having(card, strength, more) + worth_having(card, modulus, more)
    return found + Findings(panels=(panel,), notes=notes)


# -- sag ---------------------------------------------------------------------------------------


def _sag_by_card(card: Card, pieces: FiredPieces, bar: SagBar) -> tuple[float, float]:
    """Sag by the card's own viscosity, and that by densification alone. [m]"""
    trace = pieces.trace
    theoretical = card["theoretical_density"].scalar
    glass = shear_viscosity(card, trace.ware, extend=True)
    if bar.fired:
        density = np.full(trace.time.size, card["fired_density"].scalar)
        strain = np.zeros(trace.time.size)
    else:
        density = relative_density(card, trace, extend=True)
        strain = sintering_strain(density, card["green_density"].scalar)
    thickness = bar.thickness * np.exp(strain)
    flow = porous_viscosity(density, glass)

    def sag(viscosity: Array) -> float:
        bulk, creep = theoretical * density, np.zeros(trace.time.size)
        return fired_sag(trace.time, bulk, viscosity, creep, 1.0, thickness, bar.span)

    if bar.fired:
        return sag(flow), 0.0
    whole = histories([card], trace, extend=True).viscosity[0]
    return sag(flow), max(sag(whole) - sag(flow), 0.0)


def sag_findings(card: Card, measured: Measured) -> Findings:
    """Viscosity of the dense body at the top of the firing, from bars that sagged.

    The sag of a viscous beam along the whole firing by the card's own viscosity, less what the
    softness of a densifying body gives, is compared with the one measured: the ratio shifts the
    viscosity. Firings off by the stated temperature count with the slope of the glass.

    Parameters
    ----------
    card : Card
        A body with glass_viscosity.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Empty where no bar sagged.
    """
    bars = [(pieces, bar) for pieces in measured.firings for bar in pieces.sags]
    if not bars:
        return Findings()
    if "glass_viscosity" not in card:
        why = "the card flows by another law than a glass's; sag bars do not enter it"
        return Findings(untold=(Untold("sag_viscosity", why, "none with this card"),))
    peaks = np.array([pieces.trace.peak for pieces, _ in bars])
    at = kelvin(round(celsius(float(np.median(peaks)))))
    steep = shear_viscosity(card, np.array([at - 5.0, at, at + 5.0]), extend=True)
    slope = float(np.log10(steep[0] / steep[2])) / 10.0
    own = float(np.log10(3.0 * steep[1]))
    shifts, stated, left_out = [], [], []
    for pieces, bar in bars:
        flow, soft = _sag_by_card(card, pieces, bar)
        if bar.sag < LEAST_SAG * soft or flow <= 0.0:
            left_out.append(
                f"{pieces.name}: a raw bar that sagged by {1e3 * bar.sag:.2g} mm is not used: by "
                f"the card, {1e3 * soft:.2g} mm come of its softness while it densifies"
            )
            continue
        shifts.append(float(np.log10(flow / (bar.sag - soft))))
        reading = measured.length_uncertainty
        parts = (reading / bar.sag, 2.0 * reading / bar.thickness)
        stated.append(float(np.hypot(*parts) / np.log(10.0)))
    if not shifts:
        why = "raw bars sag because they densify, too; the rest is no viscosity"
        remedy = 'let bars sag that were fired before: body = "fired"'
        return Findings(untold=(Untold("sag_viscosity", why, remedy),), notes=tuple(left_out))
    shift, low, high = mean_interval(np.array(shifts), float(np.mean(stated)))
    firings = len({pieces.name for pieces, _ in bars})
    warm = NORMAL * slope * measured.temperature_uncertainty / np.sqrt(firings)
    half = float(np.hypot(0.5 * (high - low), warm))
    what = f"{len(shifts)} sag bar{'s' if len(shifts) > 1 else ''}"
    value = single("sag_viscosity", (own + shift, own + shift - half, own + shift + half), what)
    value = replace(value, temperature=np.array([at]), by_card=np.array([own]))
    number = np.arange(1.0, len(shifts) + 1.0)
    series = Series("bars", number, own + np.array(shifts), np.full(number.size, own + shift))
    panel = Panel(
        "sag bars", "bar", f"log10 of viscosity at {celsius(at):.0f} °C (Pa s)", (series,)
    )
    found = worth_having(card, value, "more bars, in two firings")
    return found + Findings(panels=(panel,), notes=tuple(left_out))
