"""What bars, strips and dilatometer curves say of a card: a value with its interval, or why not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from cofire.assessment.crack_rules import TEST_BAR
from cofire.assessment.mismatch import zone_set_points
from cofire.errors import InputError
from cofire.evidence.fitting import (
    LEVEL,
    STATED_FREEDOM,
    Fit,
    Problem,
    mean_interval,
    numerical_jacobian,
    pooled_spread,
    solve,
    threshold,
)
from cofire.evidence.measured import Bending, Curve, FiredPieces, Measured, SagBar, Strip
from cofire.materials.card import NOUGHT, Card, FiredAt, Property
from cofire.materials.properties import SPECS
from cofire.mechanics.tile import fired_sag
from cofire.numerics import Array
from cofire.physics.blends import find_material
from cofire.physics.expansion import thermal_strains
from cofire.physics.history import histories
from cofire.physics.porosity import porous_viscosity
from cofire.physics.rheology import shear_viscosity
from cofire.physics.sintering import relative_density, sintering_strain
from cofire.physics.strength import (
    FEWEST_BARS,
    bar_effective_volume,
    chord_curvature,
    fit_weibull,
    strength_at_risk,
    strip_mismatch,
    strip_stress,
)
from cofire.units import ROOM, celsius, counted, kelvin

# ----------------------------------------------------------------------------------------------
# What measurements say of a card: a value with its interval, or why there is none

NORMAL = float(norm.ppf(0.5 + 0.5 * LEVEL))
"""Half-width of a nominal interval over the standard uncertainty that a card states. [-]"""
WORTH = 0.9
"""A measured interval wider than this share of the card's own says less than the card. [-]"""


@dataclass(frozen=True)
class Value:
    """One property as measured, in SI; arrays of shape (R,), one row for a single number.

    Attributes
    ----------
    value, low, high
        Most likely value, and the ends of its nominal 90 % interval. [SI unit of the property]
    told_by
        Which measurements tell it, in words.
    basis
        "measured" where they alone do; "derived" where the card's own uncertainty had a share.
    temperature
        Of the rows of a table; None for a single number. [K]
    at_density
        Relative density of the pieces, where the property states one. [-]
    fired_at
        The firing a fired density belongs to.
    seen
        Which rows were measured; all, where it is empty.
    note
        For the card.
    """

    name: str
    value: Array
    low: Array
    high: Array
    told_by: str
    basis: str = "measured"
    temperature: Array | None = None
    at_density: float | None = None
    fired_at: FiredAt | None = None
    seen: tuple[bool, ...] = ()
    note: str = ""

    @property
    def uncertainty(self) -> Array:
        """Standard uncertainty of each row. [SI unit of the property]"""
        return np.asarray((self.high - self.low) / (2.0 * NORMAL))

    @property
    def logarithmic(self) -> bool:
        """Whether the property is itself a logarithm, or an offset scale: no per cent of it."""
        return any(unit in ("log10(Pa s)", "C") for unit in SPECS[self.name].units)


@dataclass(frozen=True)
class Untold:
    """A property that the measurements do not tell, why, and what would."""

    name: str
    why: str
    remedy: str


@dataclass(frozen=True)
class Series:
    """Readings of one kind and what the fitted card gives for them, shape (n,) each.

    Attributes
    ----------
    line
        Whether the fit runs from reading to reading, as along a curve.
    """

    label: str
    place: Array
    measured: Array
    fitted: Array
    line: bool = False


@dataclass(frozen=True)
class Panel:
    """One kind of measurement, drawn: axes named with their units."""

    title: str
    across: str
    up: str
    series: tuple[Series, ...]


@dataclass(frozen=True)
class Findings:
    """What one kind of test tells."""

    values: tuple[Value, ...] = ()
    untold: tuple[Untold, ...] = ()
    panels: tuple[Panel, ...] = ()
    notes: tuple[str, ...] = field(default=())

    def __add__(self, other: Findings) -> Findings:
        """Both together."""
        return Findings(
            self.values + other.values,
            self.untold + other.untold,
            self.panels + other.panels,
            self.notes + other.notes,
        )


def single(
    name: str,
    found: tuple[float, float, float],
    told_by: str,
    *,
    basis: str = "measured",
    note: str = "",
    at_density: float | None = None,
    fired_at: FiredAt | None = None,
) -> Value:
    """A value of one row.

    Parameters
    ----------
    name : str
        A name of SPECS.
    found : tuple of float
        Value, lower and upper end. [SI unit of the property]
    told_by, basis, note, at_density, fired_at
        As in `Value`.

    Returns
    -------
    Value
        Without temperature.
    """
    value, low, high = (np.array([number]) for number in found)
    return Value(
        name, value, low, high, told_by, basis, note=note, at_density=at_density, fired_at=fired_at
    )


def card_spread(card: Card, name: str) -> float:
    """Standard uncertainty that the card states for a single number, infinite where it has none.

    Parameters
    ----------
    card : Card
        The card.
    name : str
        A name of SPECS.

    Returns
    -------
    float
        [SI unit of the property]
    """
    if name not in card:
        return np.inf
    return float(card_rows_spread(card[name])[0])


def card_rows_spread(table: Property) -> Array:
    """Standard uncertainty of each row of a property.

    Parameters
    ----------
    table : Property
        Of a card.

    Returns
    -------
    array
        Shape (R,). [SI unit of the property]
    """
    sizes = np.maximum(np.abs(table.value), NOUGHT)
    relative = [u.relative(v) for u, v in zip(table.uncertainty, sizes, strict=True)]
    return np.asarray(sizes * np.array(relative))


def dried_share(card: Card) -> tuple[float, float]:
    """Share of a dried bar's mass that the firing leaves, and its relative standard uncertainty.

    Parameters
    ----------
    card : Card
        Its binder and loss on ignition go.

    Returns
    -------
    tuple of float
        [-]
    """
    left, spread = 1.0, 0.0
    for name in ("binder", "loss_on_ignition"):
        if name in card:
            left -= card[name].scalar
            spread = float(np.hypot(spread, card_spread(card, name)))
    return left, spread / left


def substance_spread(card: Card) -> float:
    """Relative standard uncertainty of what a bulk density is divided by. [-]

    Parameters
    ----------
    card : Card
        Its theoretical density counts.
    """
    return card_spread(card, "theoretical_density") / card["theoretical_density"].scalar


def worth_having(card: Card, value: Value, remedy: str) -> Findings:
    """The value, or the finding that the card already says as much.

    The card's uncertainty is that which it would state of the value found: what scatters in
    proportion to itself, as a Weibull modulus, would else be told only where it comes out low.

    Parameters
    ----------
    card : Card
        The card.
    value : Value
        Of one row.
    remedy : str
        What would tell more.

    Returns
    -------
    Findings
        With the one or the other.
    """
    own, found = np.inf, float(value.uncertainty[0])
    if value.name in card:
        row = card[value.name]
        stated = replace(row, value=value.value, uncertainty=row.uncertainty[:1])
        own = float(card_rows_spread(stated)[0])
    if found <= WORTH * own:
        return Findings(values=(value,))
    why = f"{value.told_by} tell it no better than the card does"
    return Findings(untold=(Untold(value.name, why, remedy),))


# ----------------------------------------------------------------------------------------------
# What bars say directly: drying, green density, strength and its scatter, sagging

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
    value = replace(value, temperature=np.array([at]))
    number = np.arange(1.0, len(shifts) + 1.0)
    series = Series("bars", number, own + np.array(shifts), np.full(number.size, own + shift))
    panel = Panel(
        "sag bars", "bar", f"log10 of viscosity at {celsius(at):.0f} °C (Pa s)", (series,)
    )
    found = worth_having(card, value, "more bars, in two firings")
    return found + Findings(panels=(panel,), notes=tuple(left_out))


# ----------------------------------------------------------------------------------------------
# Cooled mismatch of a material with its partner, from strips that bowed on cooling

SET_ERROR = 30.0
"""How far off the set point of a strip may be: estimate. [K]"""


def strip_findings(card: Card, measured: Measured, cards: Mapping[str, Card]) -> Findings:
    """Cooled mismatch that bowed strips show, and the factor on the card's expansion that gives it.

    The strip was flat when the second of its layers set, and elastic below. One whose metal yields
    on the way bows no further whatever the mismatch: it tells the least that this can be, and no
    factor. A curve of a fired bar tells more, and then the strip is only compared.

    Parameters
    ----------
    card : Card
        The card, of the top layer.
    measured : Measured
        Its measurements.
    cards : mapping
        Materials by name, for the partners.

    Returns
    -------
    Findings
        Empty where no strip was measured.
    """
    bows = [
        _strip(card, pieces, strip, measured, cards)
        for pieces in measured.firings
        for strip in pieces.strips
    ]
    if not bows:
        return Findings()
    place = np.arange(1.0, len(bows) + 1.0)
    given, by_card = (1e6 * np.array(k) for k in zip(*(b.shown for b in bows), strict=True))
    panel = Panel(
        "strips, top minus bottom", "strip", "cooled mismatch (ppm)",
        (Series("strips", place, given, by_card),),
    )  # fmt: skip
    shown = Findings(panels=(panel,), notes=tuple(b.note for b in bows))
    if any(k.fired for k in measured.curves):
        return shown
    elastic = [b for b in bows if not b.yields]
    if not elastic:
        why = "the metal yields as the strip cools: no further mismatch would bow it more"
        remedy = "a dilatometer curve of a fired bar, or a partner that does not yield"
        return shown + Findings(untold=(Untold("thermal_expansion", why, remedy),))
    factors = np.array([b.factor for b in elastic])
    factor, low, high = mean_interval(factors, float(np.mean([b.stated for b in elastic])))
    half = np.hypot(0.5 * (high - low), NORMAL * float(np.mean([b.shaky for b in elastic])))
    table = card["thermal_expansion"]
    what = counted(len(elastic), "strip")
    if half / NORMAL > WORTH * float(np.min(card_rows_spread(table) / np.abs(table.value))):
        why = f"{what}, with the partner's expansion and the set point as uncertain as they are, "
        why += "tell it no better than the card does"
        remedy = "a dilatometer curve of a fired bar, or a partner whose expansion is known"
        return shown + Findings(untold=(Untold("thermal_expansion", why, remedy),))
    value = table.value * factor
    wide = np.abs(table.value) * half
    note = f"all rows times {factor:.3f}, from the bow of {what} on cooling"
    found = Value(
        "thermal_expansion", value, value - wide, value + wide, what, "derived",
        temperature=table.temperature, note=note,
    )  # fmt: skip
    return Findings((found,)) + shown


@dataclass(frozen=True)
class _Bow:
    """What one strip says.

    Attributes
    ----------
    shown
        Cooled mismatch, measured and by the card. [-]
    factor
        On the card's expansion, that gives the measured one. [-]
    stated, shaky
        Standard uncertainty of it from the readings; and from partner and set point. [-]
    yields
        Whether a layer yields on cooling.
    """

    shown: tuple[float, float]
    factor: float
    stated: float
    shaky: float
    yields: bool
    note: str


def _strip_error(strip: Strip, mismatch: float, reading: float) -> float:
    """Standard uncertainty of a mismatch from the readings of rise and thickness."""
    rise = max(abs(strip.rise - strip.rise_hot), 1e-9)
    parts = (np.sqrt(2.0) * reading / rise, np.sqrt(2.0) * reading / sum(strip.thickness))
    return float(abs(mismatch) * np.hypot(*parts))


def _strip(
    card: Card, pieces: FiredPieces, strip: Strip, measured: Measured, cards: Mapping[str, Card]
) -> _Bow:
    """Mismatch that a strip shows, elastic below the set point of the second of its layers."""
    try:
        partner = find_material(strip.partner, dict(cards))
    except InputError as error:
        raise InputError(f"{measured.where}: {pieces.name}: strip: {error}") from None
    history = histories([card, partner], pieces.trace, extend=True)
    points, index = zone_set_points(history)
    node = int(max(index))
    cooled = history.free_strain[:, node:] - history.free_strain[:, node, None]
    own, other = (float(end) for end in cooled[:, -1])
    moduli = history.young_modulus[:, node:]
    curvature = chord_curvature(strip.rise, strip.length) - chord_curvature(
        strip.rise_hot, strip.length
    )
    mismatch = float(strip_mismatch(curvature, *strip.thickness, *moduli[:, -1]))
    factor = (mismatch + other) / own
    set_at = float(min(points))
    below = max(set_at - ROOM, 1.0)
    relative = np.array([_relative(part) for part in partner.constituents]).mean()
    shaky = np.hypot(relative * other, SET_ERROR * (own - other) / below)
    stress = strip_stress(factor * cooled[0] - cooled[1], *strip.thickness, *moduli)
    yields = bool(np.any(np.array(stress) > history.yield_stress[:, node:]))
    note = (
        f"strip with {partner.name}: {1e6 * mismatch:+.0f} ppm below {celsius(set_at):.0f} °C; the "
        f"card gives {1e6 * (own - other):+.0f}"
    )
    if yields:
        note += "; the metal yields as it cools, so the figure is a lower bound"
    return _Bow(
        shown=(mismatch, own - other),
        factor=factor,
        stated=_strip_error(strip, mismatch, measured.length_uncertainty) / abs(own),
        shaky=float(shaky) / abs(own),
        yields=yields,
        note=note,
    )


def _relative(part: tuple[Card, float]) -> float:
    table = part[0]["thermal_expansion"]
    return float(np.max(card_rows_spread(table) / np.abs(table.value)))


# ----------------------------------------------------------------------------------------------
# Expansion of a fired body, from dilatometer curves

CURVE_POINTS = 80
FEWEST = 4
ROUNDS = 4
MOST_ALIKE = 0.98
"""Largest correlation of neighbouring residuals of a curve that is reckoned with. [-]"""
SCATTER = 2e-5
"""Of one point of a curve before its own scatter is known: common practice. [-]"""
ZERO = 2e-5
"""Error of a curve's zero: common practice. [-]"""
GAIN = 0.01
"""Error of a dilatometer's calibration, the same all along a curve: common practice. [-]"""
SOFT = 12.0
"""Logarithm of the shear viscosity, in Pa s, below which a glassy bar gives way to the push rod:
common practice. [-]"""
NEAR = 0.5
"""A row beyond the end of a curve is fitted where the curve covers this share of the way to it."""


def own_zero(card: Card, curve: Curve) -> float:
    """Strain by the card at a curve's first row, where the curve is zero there and not at 20 °C.

    Which of the two, its first reading tells: whether it lies nearer to zero than to the card's.

    Parameters
    ----------
    card : Card
        The card.
    curve : Curve
        Of a bar of it.

    Returns
    -------
    float
        Zero for a curve from 20 °C. [-]
    """
    parts = thermal_strains(card, curve.temperature[:1], extend=True)
    strain = float(np.sum(list(parts.values())))
    return strain if abs(curve.strain[0]) < abs(curve.strain[0] - strain) else 0.0


def _usable(card: Card, curve: Curve) -> Curve:
    """The curve without the part in which the bar softens, few points evenly spread."""
    stiff = np.ones(curve.temperature.size, dtype=bool)
    if "glass_viscosity" in card:
        stiff = np.log10(shear_viscosity(card, curve.temperature, extend=True)) > SOFT
    if not stiff.all():  # up to where it first softens, and on cooling from where it sets
        soft = np.flatnonzero(~stiff)
        stiff[: soft[0]] = True
        stiff[soft[0] :] = False
    kept = np.flatnonzero(stiff)
    kept = (
        kept[np.unique(np.linspace(0, kept.size - 1, CURVE_POINTS).astype(int))]
        if kept.size
        else kept
    )
    return replace(
        curve, time=curve.time[kept], temperature=curve.temperature[kept], strain=curve.strain[kept]
    )


def _rows(table: Property, hottest: float) -> NDArray[np.intp]:
    """Rows of an expansion table that curves up to a temperature can tell."""
    assert table.temperature is not None
    T = table.temperature
    before = np.append(ROOM, T[:-1])
    told = (hottest >= before + NEAR * (T - before)) & (np.abs(T - ROOM) > 1.0)
    return np.flatnonzero(told).astype(np.intp)


@dataclass(frozen=True)
class _Bench:
    """Curves of fired bars, and the rows of the table they tell.

    Unknowns: the told rows in 1e-6/K, of each curve its zero in 1e-5 and its gain, and a factor on
    the length changes from row to row beyond, which the card knows as well as its rows.

    Attributes
    ----------
    given
        Zero of each curve by the card, shape (K,); not nothing where it is that of its first row.
    """

    card: Card
    table: Property
    curves: tuple[Curve, ...]
    rows: NDArray[np.intp]
    given: Array

    @property
    def start(self) -> Array:
        """The card's own rows and zeros, unit gain and factor."""
        own = self.table.value[self.rows] * 1e6
        return np.concatenate([own, self.given * 1e5, np.ones(len(self.curves) + 1)])

    @property
    def drift(self) -> float:
        """Relative uncertainty of the card's expansion. [-]"""
        return float(np.max(card_rows_spread(self.table) / np.abs(self.table.value)))

    @property
    def strain(self) -> Array:
        """All points, shape (n,). [-]"""
        return np.concatenate([k.strain for k in self.curves])

    @property
    def follows(self) -> NDArray[np.intp]:
        """Points that have one before them in their curve."""
        first = np.cumsum([0, *(k.time.size for k in self.curves)])
        return np.setdiff1d(np.arange(first[-1]), first).astype(np.intp)

    def nuisances(self, x: Array) -> tuple[Array, Array]:
        """Zero [-] and gain [-] of each curve."""
        n, count = self.rows.size, len(self.curves)
        return x[n : n + count] * 1e-5, x[n + count : -1]

    def changed(self, x: Array) -> Property:
        """The table with these rows; those beyond follow by the old changes times the factor."""
        T, old = self.table.temperature, self.table.value
        assert T is not None
        value = old.copy()
        value[self.rows] = x[: self.rows.size] * 1e-6
        last = int(self.rows[-1])
        step = np.log1p(old * (T - ROOM))
        beyond = slice(last + 1, None)
        strain = np.log1p(value[last] * (T[last] - ROOM)) + x[-1] * (step[beyond] - step[last])
        value[beyond] = np.expm1(strain) / (T[beyond] - ROOM)
        return replace(self.table, value=value)

    def model(self, x: Array) -> list[Array]:
        """Strain of each curve by the card."""
        new = self.changed(x)
        properties = {**self.card.properties, "thermal_expansion": new}
        card = replace(self.card, properties=properties)
        found = []
        for k, zero, gain in zip(self.curves, *self.nuisances(x), strict=True):
            parts = thermal_strains(card, k.temperature, extend=True)
            found.append(gain * np.sum(list(parts.values()), axis=0) + zero)
        return found

    def problem(self, size: float, alike: float) -> Problem:
        """Residuals for a scatter and a correlation of neighbours."""
        after = self.follows

        def residual(x: Array) -> Array:
            off = (np.concatenate(self.model(x)) - self.strain) / size
            out = off.copy()
            out[after] = (off[after] - alike * off[after - 1]) / np.sqrt(1.0 - alike**2)
            zero, gain = self.nuisances(x)
            off_zero = (zero - self.given) / np.hypot(ZERO, self.drift * self.given)
            beyond = [(x[-1] - 1.0) / self.drift]
            return np.concatenate([out, off_zero, (gain - 1.0) / GAIN, beyond])

        return Problem(residual, numerical_jacobian(residual))

    def fitted(self) -> tuple[Fit, float]:
        """The rows that fit best, and the degrees of freedom of the scatter."""
        x, size, alike, freedom = self.start, SCATTER, 0.0, STATED_FREEDOM
        after = self.follows
        for _ in range(ROUNDS):
            x = solve(self.problem(size, alike), x).values
            off = np.concatenate(self.model(x)) - self.strain
            squares = float(off @ off)
            alike = float(np.clip((off[after] @ off[after - 1]) / squares, 0.0, MOST_ALIKE))
            share = (1.0 - alike) / (1.0 + alike)
            left = max(off.size * share - self.rows.size, 0.0)
            size, freedom = pooled_spread(SCATTER, squares * share, left)
        return solve(self.problem(size, alike), x), freedom


def expansion_findings(card: Card, measured: Measured) -> Findings:
    """Rows of the expansion table that curves of fired bars tell.

    Unknowns are the rows within reach of the curves, and of each curve its zero and its gain, known
    to a few 1e-5 and to one per cent; the zero of a curve that begins with it is where the card has
    its first row, as well as the card knows. Neighbouring points err alike (first-order
    correlation). Rows beyond keep the card's length change from row to row, as far as the curve
    does not say otherwise.

    Parameters
    ----------
    card : Card
        The card.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Empty where no fired bar was measured.
    """
    given = [k for k in measured.curves if k.fired]
    if not given:
        return Findings()
    curves = tuple(k for k in (_usable(card, k) for k in given) if k.time.size >= FEWEST)
    table = card["thermal_expansion"]
    hottest = max((float(k.temperature.max()) for k in curves), default=0.0)
    single_row = table.temperature is None
    if single_row:
        table = replace(table, temperature=np.array([max(hottest, ROOM + 100.0)]))
    rows = _rows(table, hottest)
    if rows.size == 0:
        why = "the curve ends, or the body softens, before the first row of the table"
        remedy = "measure to a higher temperature"
        return Findings(untold=(Untold("thermal_expansion", why, remedy),))
    b = _Bench(card, table, curves, rows, -np.array([own_zero(card, k) for k in curves]))
    fit, freedom = b.fitted()
    spread = np.sqrt(np.diag(fit.covariance))[: rows.size] * 1e-6
    panel = Panel(
        "dilatometer, fired bars", "temperature (°C)", "length change (%)",
        tuple(
            _series(k, m)
            for k, m in zip(curves, b.model(fit.values), strict=True)
        ),
    )  # fmt: skip
    what = f"{len(curves)} dilatometer curve{'s' if len(curves) > 1 else ''} of fired bars"
    own = card_rows_spread(table)
    if np.all(spread > WORTH * own[rows]):
        why = f"{what} tell it no better than the card does"
        untold = Untold("thermal_expansion", why, "calibrate the dilatometer with a known bar")
        return Findings(untold=(untold,), panels=(panel,))
    value = b.changed(fit.values).value
    half = NORMAL * own
    sure = spread <= WORTH * own[rows]
    half[rows[sure]] = threshold(freedom) * spread[sure]
    told = np.isin(np.arange(value.size), rows[sure])
    note = "rows that the curve does not tell by the old card's length change from row to row"
    found = Value(
        "thermal_expansion", value, value - half, value + half, what,
        temperature=None if single_row else table.temperature,
        seen=tuple(bool(t) for t in told), note="" if told.all() else note,
    )  # fmt: skip
    return Findings((found,), panels=(panel,))


def _series(curve: Curve, model: Array) -> Series:
    measured, fitted = (100.0 * np.expm1(values) for values in (curve.strain, model))
    return Series(curve.name, celsius(curve.temperature), measured, fitted, line=True)
