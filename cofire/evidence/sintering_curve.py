"""The master sintering curve of a card along firings, fitted to bars and dilatometer curves.

Unknowns: activation energy, steepness, where the curve lies, the two densities it joins, the height
factor; and nuisances: how far each firing's temperature was off, how far the card's theoretical
density is, and what its dried bars lose, where they were weighed, and how far its expansion is,
where curves were measured hot. What the measurements do not tell keeps the card's value with
the card's uncertainty, so that an interval holds what is not known. All derivatives are closed, but
for how much austenite there is and how much it slows, which are differences.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.evidence.curve_readings import own_zero
from cofire.evidence.findings import card_spread, dried_share, substance_spread
from cofire.evidence.fitting import Problem
from cofire.evidence.measured import Measured
from cofire.firing.kiln import Trace
from cofire.materials.card import Card, FiredAt
from cofire.numerics import Array
from cofire.physics.expansion import thermal_strains
from cofire.physics.history import burnout, contracted, height_factor
from cofire.physics.porosity import densified
from cofire.physics.sintering import (
    GAUSS_POINTS,
    GAUSS_WEIGHTS,
    austenite_share,
    austenite_slowing,
    master_rate,
)
from cofire.units import GAS_CONSTANT, HOUR, MINUTE, ROOM, celsius, kelvin

# ----------------------------------------------------------------------------------------------
# Clock of the master sintering curve along firings, and the plain firing that equals another

LONGEST_HOLD = 6000.0 * MINUTE
"""As a card may state it. [s]"""
SLOWEST, FASTEST = 5.0 / HOUR, 1000.0 / HOUR
"""Ramps among which that of a log is sought. [K/s]"""
ASIDE, ASIDE_OF = 0.1, 1e-4
"""Steps of temperature [K] and of energy, over itself [-], for what austenite's derivatives are."""


class Clock:
    """Logarithm of a card's master clock at chosen nodes of a trace, and its derivatives.

    The clock is that of `physics.sintering.master_rate`, for any activation energy.
    """

    def __init__(
        self, card: Card, time: Array, temperature: Array, nodes: NDArray[np.intp]
    ) -> None:
        inside = temperature[:-1, None] + np.diff(temperature)[:, None] * GAUSS_POINTS
        slowed = austenite_share(card, inside)
        turning = austenite_share(card, inside + ASIDE) - austenite_share(card, inside - ASIDE)
        self.inverse = 1.0 / (inside + card.matures_lower)
        self.weight = np.diff(time)[:, None] * GAUSS_WEIGHTS * self.inverse
        self.hottest = float(self.inverse.min())
        powers = np.stack([np.ones_like(inside), self.inverse, self.inverse**2])
        self.parts = np.concatenate([powers, slowed * powers, turning[None] / (2.0 * ASIDE)])
        self.temperature = temperature + card.matures_lower
        self.nodes = nodes
        self.at_end = nodes.size == 1 and int(nodes[0]) == temperature.size - 1
        self._last: tuple[float, tuple[Array, Array, Array]] | None = None

    def read(self, energy: float) -> tuple[Array, Array, Array]:
        """Logarithm of Θ at the nodes, its derivative by ln Q, and by a shift of temperature.

        Parameters
        ----------
        energy : float
            Q. [J/mol]

        Returns
        -------
        tuple of array
            ln of [s/K], [-], [1/K].
        """
        if self._last is not None and self._last[0] == energy:
            return self._last[1]
        reduced = energy / GAS_CONSTANT
        rate = self.weight * np.exp(reduced * (self.hottest - self.inverse))
        if self.at_end:
            sums = (self.parts.reshape(7, -1) @ rate.ravel())[:, None]
        else:
            sums = np.cumsum((self.parts * rate).sum(axis=2), axis=1)[:, self.nodes - 1]
        slow, up, down = (
            austenite_slowing(energy * by) for by in (1.0, 1.0 + ASIDE_OF, 1.0 - ASIDE_OF)
        )
        whole, first, second = sums[:3] - (1.0 - slow) * sums[3:6]
        whole = np.maximum(whole, np.finfo(np.float64).tiny)
        mean, square = first / whole, second / whole
        by_slowing = (up - down) / (2.0 * ASIDE_OF) * sums[3] / whole
        by_turning = (1.0 - slow) * sums[6] / whole
        found = (
            np.log(whole) - reduced * self.hottest,
            by_slowing - reduced * mean,
            reduced * square - mean - by_turning,
        )
        self._last = (energy, found)
        return found


def plain_clock(fired: FiredAt, card: Card) -> Clock:
    """Clock of the firing that a card states: one ramp, one hold, cooling left out.

    Parameters
    ----------
    fired : FiredAt
        Ramp, peak, hold.
    card : Card
        Of what is fired; how much lower it matures in the firing's gas counts.

    Returns
    -------
    Clock
        Read at its end.
    """
    ramp = np.linspace(ROOM, fired.peak, 400)
    time = (ramp - ROOM) / fired.rate
    if fired.hold > 0.0:
        time, ramp = np.append(time, time[-1] + fired.hold), np.append(ramp, fired.peak)
    return Clock(card.in_gas(fired.gas), time, ramp, np.array([ramp.size - 1]))


def trace_clock(trace: Trace, card: Card) -> Clock:
    """Clock of what pieces saw, read at the end.

    Parameters
    ----------
    trace : Trace
        Of the pieces.
    card : Card
        As in `plain_clock`.
    """
    return Clock(card.in_gas(trace.gas), trace.time, trace.ware, np.array([trace.time.size - 1]))


def equivalent(trace: Trace, rate: float | None, energy: float, card: Card) -> FiredAt:
    """One ramp and one hold with the heat work of a trace.

    Parameters
    ----------
    trace : Trace
        What pieces saw.
    rate : float, optional
        Of the ramp; by default that of the last 100 K to the peak. [K/s]
    energy : float
        Q. [J/mol]
    card : Card
        As in `plain_clock`.

    Returns
    -------
    FiredAt
        Same peak; rounded as a card writes it.
    """
    top = int(np.argmax(trace.ware))
    peak = float(trace.ware[top])
    if rate is None:
        start = int(np.flatnonzero(trace.ware[: top + 1] <= max(peak - 100.0, trace.ware[0]))[-1])
        span = max(float(trace.time[top] - trace.time[start]), 60.0)
        rate = float(np.clip((peak - trace.ware[start]) / span, SLOWEST, FASTEST))
    plain = FiredAt(round(rate * HOUR, 1) / HOUR, kelvin(round(celsius(peak), 1)), 0.0, trace.gas)
    whole = float(np.exp(trace_clock(trace, card).read(energy)[0][0]))
    ramp = float(np.exp(plain_clock(plain, card).read(energy)[0][0]))
    if whole < ramp:
        return replace(plain, rate=max(round(rate * HOUR * ramp / whole, 1), 1.0) / HOUR)
    hold = (whole - ramp) / float(master_rate(card.in_gas(plain.gas), energy)(np.array(plain.peak)))
    return replace(plain, hold=round(min(hold, LONGEST_HOLD) / MINUTE, 1) * MINUTE)


# ----------------------------------------------------------------------------------------------
# The master sintering curve of a card, fitted to bars, bulk densities and dilatometer curves

ENERGY, EXPONENT, PLACE, GREEN, FULL, HEIGHT, EXPANSION, SUBSTANCE, LEFT = range(9)
"""Unknowns: ln Q, ln n, logit of the share done at the centre, ρ0, ρ∞, ln of the height factor,
factor on the thermal strain, ln of the true theoretical density and of the true share of a dried
bar's mass that stays, both over the card's; then one temperature error a firing."""
NAMES = {
    "sintering_energy": ENERGY,
    "sintering_exponent": EXPONENT,
    "fired_density": PLACE,
    "green_density": GREEN,
    "full_density": FULL,
    "height_shrinkage_factor": HEIGHT,
}
FIXED = 9
ALONG, UPRIGHT, FIRED_DENSITY, DRIED_DENSITY, HOT = range(5)
"""Kinds of reading: ln(fired/dried) along the ring and upright, ln of relative density fired and
dried, natural strain of a dilatometer."""
CURVE_POINTS = 40
"""Points kept of a curve: more of them would only repeat each other. [-]"""
CURVE_UNCERTAINTY = 5e-4
"""Of one point of a curve, before its own scatter is known: common practice. [-]"""
LIMITS = np.array([
    (np.log(1e4), np.log(3e6)), (np.log(0.02), np.log(20.0)), (-60.0, 60.0), (0.1, 1.0),
    (0.2, 1.2), (np.log(0.2), np.log(5.0)), (-1.0, 3.0), (-1.0, 1.0), (-1.0, 1.0),
])  # fmt: skip
"""Beyond these the unknowns mean nothing; a trial step there is turned back. In order of ENERGY to
LEFT."""
FURTHEST = 300.0
"""The same for a firing's temperature. [K]"""
TURNED_BACK = 1e6
"""Residual of such a trial. [-]"""
SATURATED = 1e-9
"""Share done, or still to do, below which its derivatives are zero: by what is left of them every
trial step would go beyond the limits. [-]"""
STEADIEST = 0.5
"""No firing's temperature is known better than that: common practice. [K]"""
SUREST = 1e-6
"""What a card states more surely, down to no uncertainty at all, counts as sure as this. [-]"""
DENSE = 1e-3
"""How far a full density may lie above 1, where bulk densities scatter. [-]"""


@dataclass(frozen=True)
class Readings:
    """All readings of a fit, one row each, shape (R,).

    Attributes
    ----------
    kind
        One of ALONG, UPRIGHT, FIRED_DENSITY, DRIED_DENSITY, HOT.
    clock
        Which reading of the clocks belongs to it.
    value
        Logarithm of a ratio of lengths or densities, or natural strain. [-]
    thermal
        Thermal strain in it, by the card. [-]
    water
        What its bound water has contracted it by, by the card; of curves, else zero. [-]
    group
        Its firing or curve.
    size
        Standard uncertainty as stated: of a ratio of lengths by the bar's own length. [-]
    """

    kind: NDArray[np.intp]
    clock: NDArray[np.intp]
    value: Array
    thermal: Array
    water: Array
    group: NDArray[np.intp]
    size: Array


@dataclass(frozen=True)
class Bench:
    """Everything that a fit of one card is made from.

    Attributes
    ----------
    clocks
        One a firing or curve; last that of the card's own firing.
    start
        The card's own unknowns, shape (P,).
    prior
        Standard uncertainty of each unknown by the card, infinite for PLACE, shape (P,).
    anchor
        The card's fired density, and its standard uncertainty. [-]
    bar
        Stated standard uncertainty of one more bar along the ring. [-]
    """

    card: Card
    readings: Readings
    clocks: tuple[Clock, ...]
    names: tuple[str, ...]
    start: Array
    prior: Array
    anchor: tuple[float, float]
    bar: float


def _kept(curve_temperature: Array, strain: Array) -> NDArray[np.intp]:
    """Points of a curve spread evenly over its length in temperature and strain."""
    spread = np.abs(np.diff(curve_temperature)) / max(float(np.ptp(curve_temperature)), 1e-9)
    spread = spread + np.abs(np.diff(strain)) / max(float(np.ptp(strain)), 1e-9)
    along = np.concatenate([[0.0], np.cumsum(spread)])
    wanted = np.linspace(0.0, along[-1], min(CURVE_POINTS, along.size))
    return np.unique(np.searchsorted(along, wanted - 1e-12)).astype(np.intp)


def bench(card: Card, measured: Measured) -> Bench | None:
    """Readings and clocks of a card's measurements; None where no piece sintered.

    Parameters
    ----------
    card : Card
        A master-curve card.
    measured : Measured
        Its measurements.

    Returns
    -------
    Bench or None
        Ready to fit.
    """
    rows: list[tuple[int, int, float, float, float, int, float]] = []
    clocks: list[Clock] = []
    names: list[str] = []
    reading = 0
    theoretical = card["theoretical_density"].scalar
    both_ends, bulk = np.sqrt(2.0) * measured.length_uncertainty, measured.density_uncertainty
    for pieces in measured.firings:
        found = [
            (kind, np.log(after / before), both_ends / before)
            for kind, bars in ((ALONG, pieces.bars), (UPRIGHT, pieces.upright))
            for before, after in bars
        ]
        found += [(FIRED_DENSITY, x, bulk) for x in np.log(pieces.density / theoretical)]
        if found:
            rows += [
                (kind, reading, float(x), 0.0, 0.0, len(clocks), float(u)) for kind, x, u in found
            ]
            clocks.append(trace_clock(pieces.trace, card))
            names.append(pieces.name)
            reading += 1
    for curve in measured.curves:
        if curve.fired:
            continue
        kept = _kept(curve.temperature, curve.strain)
        kept = kept[curve.time[kept] > 0.0]
        time, hot = curve.time, curve.temperature
        if time[0] > 0.0:
            time, hot, lead = np.insert(time, 0, 0.0), np.insert(hot, 0, ROOM), 1
        else:
            lead = 0
        parts = thermal_strains(card, curve.temperature, extend=True)
        thermal = np.sum(list(parts.values()), axis=0)
        _, lost = burnout(Trace(time, hot, hot, np.zeros(0, np.intp)))
        water, zero = contracted(card, lost[lead:]), own_zero(card, curve)
        rows += [
            (HOT, reading + k, float(curve.strain[i]) + zero, float(thermal[i]), float(water[i]),
             len(clocks), CURVE_UNCERTAINTY)
            for k, i in enumerate(kept)
        ]  # fmt: skip
        clocks.append(Clock(card, time, hot, kept + lead))
        names.append(curve.name)
        reading += kept.size
    if not rows:
        return None
    left, _ = dried_share(card)
    for told in np.log(measured.dried_density * left / theoretical):
        rows.append((DRIED_DENSITY, 0, float(told), 0.0, 0.0, -1, bulk))
    kind, clock, value, thermal_part, wet, group, size = (
        np.array(c) for c in zip(*rows, strict=True)
    )
    assert card.fired_at is not None
    clocks.append(plain_clock(card.fired_at, card))
    start, prior = _from_card(card, clocks, measured.temperature_uncertainty)
    dried = np.concatenate([p.bars[:, 0] for p in measured.firings] + [np.zeros(0)])
    length = float(dried.mean()) if dried.size else 0.05
    return Bench(
        card=card,
        readings=Readings(kind, clock, value, thermal_part, wet, group, size),
        clocks=tuple(clocks),
        names=tuple(names),
        start=start,
        prior=prior,
        anchor=(card["fired_density"].scalar, card_spread(card, "fired_density")),
        bar=float(both_ends / length),
    )


def _from_card(card: Card, clocks: Sequence[Clock], shaky: float) -> tuple[Array, Array]:
    """The card's own unknowns and their uncertainties."""
    energy, exponent = card["sintering_energy"], card["sintering_exponent"]
    green, full = card["green_density"].scalar, card["full_density"].scalar
    height = height_factor(card)
    relative = [p.uncertainty[0].relative(p.value[:1])[0] for p in (energy, exponent)]
    expansion = card["thermal_expansion"]
    drift = max(u.relative(v) for u, v in zip(expansion.uncertainty, expansion.value, strict=True))
    fired = card["fired_density"].scalar
    log_clock = [clock.read(energy.scalar)[0] for clock in clocks]
    centre = np.mean([reading.mean() for reading in log_clock[:-1]])
    share = float(np.clip(densified(fired, green, full), 1e-3, 1.0 - 1e-3))
    place = np.log(share / (1.0 - share)) - exponent.scalar * float(log_clock[-1][0] - centre)
    count = len(clocks) - 1
    start = np.array(
        [np.log(energy.scalar), np.log(exponent.scalar), place, green, full, np.log(height), 1.0]
        + [0.0] * (FIXED - EXPANSION - 1 + count)
    )
    prior = np.array(
        [*relative, np.inf, card_spread(card, "green_density"),
         card_spread(card, "full_density"),
         min(card_spread(card, "height_shrinkage_factor"), 0.1) / height, float(drift),
         substance_spread(card), dried_share(card)[1]]
        + [max(shaky, STEADIEST)] * count
    )  # fmt: skip
    return start, np.maximum(prior, SUREST)


@dataclass(frozen=True)
class Predicted:
    """Readings by the model, shape (R,), and their derivatives, shape (R, P)."""

    value: Array
    slope: Array


def predict(b: Bench, x: Array, readings: Readings | None = None) -> Predicted:
    """What a card with these unknowns would have shown.

    Parameters
    ----------
    b : Bench
        Clocks and readings.
    x : array
        Unknowns, shape (P,).
    readings : Readings, optional
        Others than those measured, of the same clocks.

    Returns
    -------
    Predicted
        Of the kinds of the readings.
    """
    r = b.readings if readings is None else readings
    share, rise = done(b, x)
    share, rise = share[r.clock], rise[r.clock]
    green, full, h = x[GREEN], x[FULL], np.exp(x[HEIGHT])
    rho = green + (full - green) * share
    log_rho = rise * ((full - green) / rho)[:, None]  # derivatives of ln ρ by all unknowns
    log_rho[:, GREEN] += (1.0 - share) / rho
    log_rho[:, FULL] += share / rho
    path = np.log(rho / green)
    by_path = log_rho.copy()
    by_path[:, GREEN] -= 1.0 / green
    value = np.empty(r.kind.size)
    slope = np.zeros_like(log_rho)
    strained = np.isin(r.kind, (ALONG, UPRIGHT, HOT))
    up = r.kind == UPRIGHT
    factor = np.where(up, h, 1.0) / (2.0 + h)
    value[strained] = -(path * factor)[strained]
    slope[strained] = -(by_path * factor[:, None])[strained]
    turn = np.where(up, 2.0 / (2.0 + h) ** 2, -1.0 / (2.0 + h) ** 2) * h
    slope[strained, HEIGHT] += -(path * turn)[strained]
    hot = r.kind == HOT
    early = np.flatnonzero(hot)[r.water[hot] < value[hot]]  # no shorter by sintering yet
    value[early], slope[early] = r.water[early], 0.0
    value[hot] += x[EXPANSION] * r.thermal[hot]
    slope[hot, EXPANSION] += r.thermal[hot]
    fired = r.kind == FIRED_DENSITY
    value[fired], slope[fired] = np.log(rho[fired]), log_rho[fired]
    dried = r.kind == DRIED_DENSITY
    value[dried], slope[dried, GREEN] = np.log(green) - x[LEFT], 1.0 / green
    slope[dried, LEFT] = -1.0
    value[fired | dried] += x[SUBSTANCE]
    slope[fired | dried, SUBSTANCE] = 1.0
    return Predicted(value, slope)


def done(b: Bench, x: Array) -> tuple[Array, Array]:
    """Share of the way done at each reading of the clocks, with its derivatives.

    Parameters
    ----------
    b : Bench
        Clocks: of the pieces, whose temperatures are unknowns, and of any firings beside them.
    x : array
        Unknowns, shape (P,).

    Returns
    -------
    tuple of array
        Shapes (C,) and (C, P); the last reading is that of the card's own firing.
    """
    energy, n = float(np.exp(x[ENERGY])), float(np.exp(x[EXPONENT]))
    reads = [clock.read(energy) for clock in b.clocks]
    own = reads[: x.size - FIXED]
    centre = np.mean([log.mean() for log, _, _ in own])
    drift = np.mean([by.mean() for _, by, _ in own])
    off = np.append(x[FIXED:], np.zeros(len(reads) - len(own)))
    log = np.concatenate([a + s * o for (a, _, s), o in zip(reads, off, strict=True)])
    by_energy = np.concatenate([d + s * o for (_, d, s), o in zip(reads, off, strict=True)])
    warm = np.concatenate([s for _, _, s in reads])
    group = np.repeat(np.arange(len(reads)), [a.size for a, _, _ in reads])
    score = n * (log - centre) + x[PLACE]
    share = 1.0 / (1.0 + np.exp(-np.clip(score, -500.0, 500.0)))
    bell = share * (1.0 - share)
    bell[bell < SATURATED] = 0.0
    slope = np.zeros((share.size, x.size))
    slope[:, ENERGY] = bell * n * (by_energy - drift)
    slope[:, EXPONENT] = bell * n * (log - centre)
    slope[:, PLACE] = bell
    inside = group < len(own)
    rows = np.flatnonzero(inside)
    slope[rows, FIXED + group[inside]] = (bell * n * warm)[inside]
    return share, slope


def own_density(b: Bench, x: Array) -> tuple[float, Array]:
    """Relative density in the firing that the card states, and its derivatives.

    Parameters
    ----------
    b : Bench
        Clocks.
    x : array
        Unknowns, shape (P,).

    Returns
    -------
    tuple of float and array
        [-], and shape (P,).
    """
    share, rise = done(b, x)
    way = float(x[FULL] - x[GREEN])
    by = way * rise[-1]
    by[GREEN] += 1.0 - share[-1]
    by[FULL] += share[-1]
    return float(x[GREEN] + way * share[-1]), by


@dataclass(frozen=True)
class Weights:
    """How much each reading counts.

    Attributes
    ----------
    spread
        Standard uncertainty of each reading, shape (R,). [-]
    alike
        Correlation of neighbouring residuals along a curve. [-]
    freedom
        Degrees of freedom of the least certain spread that counts. [-]
    shaky
        Standard uncertainty of each firing's temperature over that stated, 1 or more. [-]
    """

    spread: Array
    alike: float
    freedom: float
    shaky: float = 1.0


def whitened(b: Bench, w: Weights, rows: Array) -> Array:
    """Residuals, or their derivatives, over their uncertainty and without their correlation."""
    r = b.readings
    scaled = rows / (w.spread if rows.ndim == 1 else w.spread[:, None])
    if w.alike <= 0.0:
        return np.asarray(scaled)
    follows = (r.kind[1:] == HOT) & (r.group[1:] == r.group[:-1])
    out = scaled.copy()
    later = np.flatnonzero(follows) + 1
    out[later] = (scaled[later] - w.alike * scaled[later - 1]) / np.sqrt(1.0 - w.alike**2)
    return np.asarray(out)


def admissible(x: Array) -> bool:
    """Whether unknowns are such that a body could have them.

    Parameters
    ----------
    x : array
        Unknowns, shape (P,).

    Returns
    -------
    bool
        Within the limits, and with a full density above the green one.
    """
    inside = (x[:FIXED] > LIMITS[:, 0]) & (x[:FIXED] < LIMITS[:, 1])
    return bool(inside.all() and x[FULL] > x[GREEN] + 1e-3 and np.all(np.abs(x[FIXED:]) < FURTHEST))


def problem(b: Bench, w: Weights, free: Sequence[int]) -> Problem:
    """Residuals of readings and of what the card says of the unknowns that are not free.

    Parameters
    ----------
    b : Bench
        Readings.
    w : Weights
        How much each counts.
    free : sequence of int
        Unknowns that the readings alone decide. [-]

    Returns
    -------
    Problem
        To be solved.
    """
    held = np.array([i for i in range(b.start.size) if i not in free and np.isfinite(b.prior[i])])
    anchored = PLACE not in free
    prior = b.prior * np.where(np.arange(b.prior.size) < FIXED, 1.0, w.shaky)

    count = b.readings.kind.size + held.size + 1 + anchored

    def both(x: Array) -> tuple[Array, Array]:
        if not admissible(x):
            return np.full(count, TURNED_BACK), np.zeros((count, x.size))
        predicted = predict(b, x)
        residual = whitened(b, w, predicted.value - b.readings.value)
        slope = whitened(b, w, predicted.slope)
        pull = np.append((x[held] - b.start[held]) / prior[held], max(x[FULL] - 1.0, 0.0) / DENSE)
        pulled = np.zeros((held.size + 1, x.size))
        pulled[np.arange(held.size), held] = 1.0 / prior[held]
        pulled[-1, FULL] = (x[FULL] > 1.0) / DENSE
        parts, slopes = [residual, pull], [slope, pulled]
        if anchored:
            value, by = own_density(b, x)
            parts.append(np.array([(value - b.anchor[0]) / b.anchor[1]]))
            slopes.append(by[None] / b.anchor[1])
        return np.concatenate(parts), np.concatenate(slopes)

    last: dict[str, tuple[Array, tuple[Array, Array]]] = {}

    def cached(x: Array) -> tuple[Array, Array]:
        if "at" not in last or not np.array_equal(last["at"][0], x):
            last["at"] = (x.copy(), both(x))
        return last["at"][1]

    return Problem(lambda x: cached(x)[0], lambda x: cached(x)[1])
