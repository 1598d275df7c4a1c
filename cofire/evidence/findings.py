"""What measurements say of a card: a value with its interval, or why there is none."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.stats import norm

from cofire.assessment.draws import spreads
from cofire.evidence.fitting import LEVEL
from cofire.materials.card import Card, FiredAt, Property
from cofire.materials.properties import SPECS
from cofire.numerics import Array
from cofire.units import celsius

NORMAL = float(norm.ppf(0.5 + 0.5 * LEVEL))
"""Half-width of a nominal interval over the standard uncertainty that a card states. [-]"""
WORTH = 0.9
"""A measured interval wider than this share of the card's own says less than the card. [-]"""
FAR = 3.0
"""Times what card and pieces are uncertain by from which a value is said to contradict the card,
and times the card's uncertainty by which an untold unknown is moved no further (our choice). [-]"""
INSTEAD = {"sag_viscosity": "glass_viscosity"}
"""What a card without a property knows it by."""
FOLLOWING = frozenset({"firing_shrinkage"})
"""Follow from other values, which are held against the card themselves."""


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
    by_card
        What the card gives for the pieces, shape (R,), where that is not its own number: at their
        density, or at another temperature. [SI unit of the property]
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
    by_card: Array | None = None

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
    """A property that the measurements do not tell, why, and what would.

    Attributes
    ----------
    value
        What they say of it none the less, where they say less than the card.
    """

    name: str
    why: str
    remedy: str
    value: Value | None = None


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
    rows = zip(table.uncertainty, table.value, strict=True)
    return np.array([u.absolute(v) for u, v in rows])


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


def over_card(card: Card, value: Value) -> float:
    """Standard uncertainty of a value over the card's; worth telling up to `WORTH`. [-]

    The card's uncertainty is that which it would state of the value found: what scatters in
    proportion to itself, as a Weibull modulus, would else be told only where it comes out low.

    Parameters
    ----------
    card : Card
        The card.
    value : Value
        Of one row.
    """
    if value.name not in card:
        return 0.0
    row = card[value.name]
    stated = replace(row, value=value.value, uncertainty=row.uncertainty[:1])
    own = float(card_rows_spread(stated)[0])
    return float(value.uncertainty[0]) / max(own, np.finfo(np.float64).tiny)


def worth_having(card: Card, value: Value, remedy: str) -> Findings:
    """The value, or the finding that the card already says as much.

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
    if over_card(card, value) <= WORTH:
        return Findings(values=(value,))
    why = f"{value.told_by} tell it no better than the card does"
    return Findings(untold=(Untold(value.name, why, remedy, value),))


def contradiction(card: Card, value: Value) -> str:
    """That a value lies further from the card's than both are uncertain by, and what to check.

    The distance is taken where the card's uncertainty is normal, as draws are: in the logarithm
    where it is per cent or a factor.

    Parameters
    ----------
    card : Card
        As it was before.
    value : Value
        As measured, told or dropped.

    Returns
    -------
    str
        A line; empty where they agree within `FAR`, or cannot be compared.
    """
    old = card.properties.get(value.name, card.properties.get(INSTEAD.get(value.name, "")))
    if old is None or value.name in FOLLOWING or value.fired_at not in (None, card.fired_at):
        return ""
    given = old.value if value.by_card is None else value.by_card
    logs, spread = spreads(old)
    logs, spread = logs[: given.size], spread[: given.size]
    alike = logs & (value.value > 0.0) & (given > 0.0)
    ratio = np.where(alike, value.value, 1.0) / np.where(alike, given, 1.0)
    off = np.where(alike, np.log(ratio), value.value - given)
    own = np.where(logs & ~alike, spread * np.abs(given), spread)
    found = value.uncertainty / np.where(alike, value.value, 1.0)
    times = np.abs(off) / np.maximum(np.hypot(own, found), np.finfo(np.float64).tiny)
    row = int(np.argmax(np.where(value.seen or True, times, 0.0)))
    if times[row] <= FAR:
        return ""
    (now, unit), (then, _) = (replace(old, value=v).written for v in (value.value, given))
    hot = value.temperature
    at = "" if hot is None or hot.size < 2 else f" at {celsius(float(hot[row])):.0f} °C"
    of = "" if unit == "-" else f" {unit}"
    return (
        f"{value.name}{at}: {now[row]:.3g}{of} where the card has {then[row]:.3g}{of}, "
        f"{times[row]:.1f} times what both are uncertain by: check unit, place and pieces, and "
        "whether it is the same material"
    )
