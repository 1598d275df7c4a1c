"""Expansion of a fired body, from dilatometer curves."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.evidence.findings import (
    NORMAL,
    WORTH,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    card_rows_spread,
)
from cofire.evidence.fitting import (
    STATED_FREEDOM,
    Fit,
    Problem,
    numerical_jacobian,
    pooled_spread,
    solve,
    threshold,
)
from cofire.evidence.measured import Curve, Measured
from cofire.materials.card import Card, Property
from cofire.numerics import Array
from cofire.physics.expansion import thermal_strains
from cofire.physics.rheology import shear_viscosity
from cofire.units import ROOM, celsius

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
    the length changes from row to row beyond, which the card knows as well as its rows: all of a
    size of one.

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

        return Problem(residual, numerical_jacobian(residual, 1.0))

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
    value = b.changed(fit.values).value
    sure = spread <= WORTH * own[rows]
    told = np.isin(np.arange(value.size), rows[sure] if sure.any() else rows)
    half = NORMAL * own
    half[rows] = np.where(told[rows], threshold(freedom) * spread, half[rows])
    half = _above(b, value, half, NORMAL * own / np.abs(table.value))
    note = "rows that the curve does not tell by the old card's length change from row to row"
    found = Value(
        "thermal_expansion", value, value - half, value + half, what,
        temperature=None if single_row else table.temperature,
        seen=tuple(bool(t) for t in told), note="" if told.all() else note,
    )  # fmt: skip
    if not sure.any():
        why = f"{what} tell it no better than the card does"
        remedy = "calibrate the dilatometer with a known bar"
        untold = Untold("thermal_expansion", why, remedy, found)
        return Findings(untold=(untold,), panels=(panel,))
    return Findings((found,), panels=(panel,))


def _above(b: _Bench, value: Array, half: Array, old: Array) -> Array:
    """Half-widths of rows, those above the told ones by the told length and the card's steps.

    Both err independently; `old` is the relative half-width of each row of the card. A row that
    kept its old one would make the step to it as doubtful as the whole length once was.
    """
    T, last = b.table.temperature, int(b.rows[-1])
    assert T is not None
    strain = np.log1p(value * (T - ROOM))
    below = half[last] / value[last] * strain[last]
    found = half.copy()
    above = slice(last + 1, None)
    step = old[above] * (strain[above] - strain[last])
    found[above] = np.abs(value[above] / strain[above]) * np.hypot(below, step)
    return found


def _series(curve: Curve, model: Array) -> Series:
    measured, fitted = (100.0 * np.expm1(values) for values in (curve.strain, model))
    return Series(curve.name, celsius(curve.temperature), measured, fitted, line=True)
