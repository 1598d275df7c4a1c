"""What bars and curves tell of a card's sintering: values, intervals, and what to fire next."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from cofire.assessment.windows import ceiling
from cofire.errors import InputError, ModelError
from cofire.evidence.findings import (
    FAR,
    NORMAL,
    WORTH,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    contradiction,
    over_card,
    single,
)
from cofire.evidence.fitting import Figure, profile
from cofire.evidence.measured import Measured
from cofire.evidence.sintering_advice import (
    ASKED,
    KINDS,
    gas_of_next,
    next_firings,
    told_by,
    untold,
)
from cofire.evidence.sintering_curve import (
    ALONG,
    ENERGY,
    FIRED_DENSITY,
    FIXED,
    FULL,
    GREEN,
    HEIGHT,
    HOT,
    NAMES,
    PLACE,
    UPRIGHT,
    Bench,
    bench,
    equivalent,
    own_density,
    plain_clock,
    predict,
    problem,
)
from cofire.evidence.sintering_fit import CurveFit, density_in, fit_curve
from cofire.firing.kiln import Trace
from cofire.materials.card import Card, FiredAt
from cofire.materials.properties import SPECS
from cofire.numerics import Array
from cofire.physics.sintering import sintering_strain
from cofire.units import ROOM, celsius, kelvin

Ends = tuple[float, float, float]

MOVED = 0.1
"""Share of the card's uncertainty by which an untold unknown must move to be written. [-]"""
FURTHER = 400.0
"""From the person's hottest firing, peaks among which that of a new fired density is sought. [K]"""
ILL_SHAPED = 0.005
"""Strain between measured curves and the fitted one, root of mean square, from which it is told:
published curves of alumina and zirconia lie 0.0007 and 0.003 apart, two steps 0.01 (our choice).
[-]"""


def _firings(measured: Measured, energy: float, card: Card) -> list[FiredAt]:
    """Plain firings that equal the person's."""
    found = [
        equivalent(p.trace, p.plain.rate if p.plain else None, energy, card)
        for p in measured.firings
        if p.sintered
    ]
    for curve in (k for k in measured.curves if not k.fired):
        ware = np.append(ROOM, curve.temperature)
        time = np.append(min(0.0, curve.time[0] - 1.0), curve.time)
        found.append(equivalent(Trace(time, ware, ware, np.zeros(0, np.intp)), None, energy, card))
    return found


def anchor(c: CurveFit, measured: Measured, card: Card) -> FiredAt:
    """The firing in which the new card states its fired density.

    Of the person's firings and the card's own, the one nearest the middle of the readings in which
    the body becomes as dense as the card wants it; there the density is known best.

    Parameters
    ----------
    c : CurveFit
        The fit.
    measured : Measured
        The firings.
    card : Card
        The old card.

    Returns
    -------
    FiredAt
        Found, or else a firing hot enough, below the card's ceiling, or else the card's own.
    """
    x = c.fit.values
    energy = float(np.exp(x[ENERGY]))
    assert card.fired_at is not None
    given = [*_firings(measured, energy, card), card.fired_at]
    least, most = card["least_density"].scalar, float(x[FULL]) - 2e-3

    def reading(fired: FiredAt) -> float:
        return float(plain_clock(fired, card).read(energy)[0][0])

    dense = [f for f in given if least + 1e-4 < density_in(c, f)(x)[0] < most]
    if dense:
        centre = float(np.mean([k.read(energy)[0].mean() for k in c.bench.clocks[:-1]]))
        return min(dense, key=lambda f: abs(reading(f) - centre))
    best = max(given, key=reading)
    wanted = 0.5 * (least + most)
    cold = best.peak - FURTHER
    hot = min(best.peak + FURTHER, ceiling(card, best.gas or "air"))

    def density(peak: float) -> float:
        return density_in(c, replace(best, peak=peak))(x)[0]

    if cold >= hot or density(cold) >= wanted or density(hot) <= least + 1e-4:
        return card.fired_at
    if density(hot) > wanted:
        hot = float(brentq(lambda peak: density(peak) - wanted, cold, hot))
    return replace(best, peak=kelvin(round(celsius(hot), 1)))


# -- values ------------------------------------------------------------------------------------


def _figure(c: CurveFit, name: str, fired: FiredAt) -> Figure:
    """The property as a function of the unknowns."""
    i = NAMES[name]
    if i == PLACE:
        return density_in(c, fired)
    own = np.eye(c.bench.start.size)[i]
    if i in (GREEN, FULL):
        return lambda x: (float(x[i]), own)

    def figure(x: Array) -> tuple[float, Array]:
        value = float(np.exp(np.clip(x[i], -50.0, 50.0)))
        return value, value * own

    return figure


def _intervals(c: CurveFit, fired: FiredAt) -> tuple[dict[str, Ends], int]:
    """Intervals of the free unknowns; and the unknown that stays open, or -1.

    Open is one whose interval ends at a bound, or which the card says as surely.
    """
    card, worst = c.bench.card, (WORTH, -1)
    p = problem(c.bench, c.weights, c.free)
    found: dict[str, Ends] = {}
    for name, i in NAMES.items():
        if i not in c.free:
            continue
        figure, spec = _figure(c, name, fired), SPECS[name]
        low, high = profile(p, c.fit, figure, c.threshold, spec.least, spec.most)
        if low <= spec.least or (high >= spec.most and spec.most > 1.0) or not low < high:
            return found, i
        middle, _ = figure(c.fit.values)
        found[name] = (min(middle, spec.most), low, min(high, spec.most))
        worst = max(worst, (over_card(card, single(name, found[name], told_by(c))), i))
    return found, worst[1]


def sintering_findings(card: Card, measured: Measured) -> Findings:
    """Sintering values that the measurements tell, and what they leave open.

    Parameters
    ----------
    card : Card
        The card.
    measured : Measured
        Its measurements.

    Returns
    -------
    Findings
        Empty where no piece sintered.
    """
    sintered = any(p.sintered for p in measured.firings)
    sintered = sintered or any(not k.fired for k in measured.curves)
    if card.densification != "master curve":
        if not sintered:
            return Findings()
        why = "its densification is 'viscous': it follows glass_viscosity, surface_tension, size"
        return Findings(untold=(Untold("fired_density", why, "measure these instead"),))
    b = bench(card, measured)
    if b is None:
        return Findings()
    dropped: tuple[int, ...] = ()
    while True:
        try:
            c = fit_curve(b, dropped)
        except ModelError:
            raise InputError(f"{measured.where}: no sintering curve {_furthest(b)}") from None
        fired = anchor(c, measured, card)
        found, still_open = _intervals(c, fired)
        if still_open < 0:
            break
        dropped = (*dropped, still_open)
    name, off = _most_moved(c)
    if off > FAR:
        raise InputError(
            f"{measured.where}: no sintering curve near the card's {_furthest(b)}; or give the "
            f"card your own {name}, which would lie {off:.1f} times its uncertainty off"
        )
    values = [
        single(name, ends, told_by(c), fired_at=fired if name == "fired_density" else None)
        for name, ends in found.items()
    ]
    values += _moved(c, fired)
    if "firing_shrinkage" in card:
        values.append(_firing_shrinkage(c, fired))
    gas = gas_of_next(card, measured)
    open_names = [
        name for name, i in NAMES.items()
        if i not in c.free and not (i == HEIGHT and name not in card)
    ]  # fmt: skip
    fireable = [name for name in open_names if name not in ASKED]
    advised = next_firings(c, card, fireable, gas, measured)
    left = tuple(untold(c, card, name, advised.get(name, "")) for name in open_names)
    return Findings(tuple(values), left, _panels(c), _notes(c))


def _furthest(b: Bench) -> str:
    """What a complaint that no curve fits names: the firing that lies furthest from the card's."""
    r = b.readings
    off = np.abs(predict(b, b.start).value - r.value)
    means = [float(off[r.group == n].mean()) for n in range(len(b.names))]
    return (
        f"fits the pieces; furthest from the card are those of "
        f"{b.names[int(np.argmax(means))]!r}: check their lengths, densities and temperatures"
    )


def _moves(c: CurveFit) -> dict[str, float]:
    """How far the fit has moved unknowns that the card states, over its uncertainty. [-]"""
    off = np.abs(c.fit.values - c.bench.start) / c.bench.prior
    return {name: float(off[i]) for name, i in NAMES.items() if i != PLACE}


def _most_moved(c: CurveFit) -> tuple[str, float]:
    """The unknown left to the card that lies furthest from it, and how far."""
    left = {name: off for name, off in _moves(c).items() if NAMES[name] not in c.free}
    return max(left.items(), key=lambda each: each[1], default=("", 0.0))


def _moved(c: CurveFit, fired: FiredAt) -> list[Value]:
    """Unknowns left to the card that the readings have moved within its uncertainty.

    They are written too: the curve fits the bars only with all of them. The fired density always
    is, as it moves with its firing.
    """
    x, b = c.fit.values, c.bench
    spread = np.sqrt(np.diag(c.fit.covariance))
    moves, found = _moves(c), []
    for name, i in NAMES.items():
        if i in c.free:
            continue
        if i == PLACE or moves[name] > MOVED:
            note = "by the card's own value and the bars, in this firing"
            if i != PLACE:
                note = f"the card's own value, moved by {moves[name]:.1f} times its uncertainty "
                note += "so that the curve fits the bars"
            figure = _figure(c, name, fired)
            middle, _ = figure(x)
            if i == PLACE:
                p, spec = problem(b, c.weights, c.free), SPECS[name]
                low, high = profile(p, c.fit, figure, NORMAL, spec.least, spec.most)
            else:
                step = NORMAL * spread[i] * (np.arange(x.size) == i)
                low, high = figure(x - step)[0], figure(x + step)[0]
            at = fired if i == PLACE else None
            most = SPECS[name].most
            ends = (min(middle, most), min(low, most), min(high, most))
            found.append(single(name, ends, told_by(c), basis="derived", note=note, fired_at=at))
    return found


def _shrinkage(c: CurveFit, fired: FiredAt) -> Figure:
    """What the curve shrinks in a firing, as a function of the unknowns."""
    density = density_in(c, fired)

    def figure(x: Array) -> tuple[float, Array]:
        (dense, by_dense), green, factor = density(x), float(x[GREEN]), float(np.exp(x[HEIGHT]))
        if dense <= green:
            return 0.0, np.zeros(x.size)
        strain = float(sintering_strain(dense, green, factor))
        by = -by_dense / dense
        by[GREEN] += 1.0 / green
        by[HEIGHT] -= factor * strain
        return -float(np.expm1(strain)), -np.exp(strain) * by / (2.0 + factor)

    return figure


def _firing_shrinkage(c: CurveFit, fired: FiredAt) -> Value:
    """What the fitted curve shrinks in the firing of the fired density.

    Bars tell the ratio of the two densities, whatever either may be.
    """
    figure, spec = _shrinkage(c, fired), SPECS["firing_shrinkage"]
    p = problem(c.bench, c.weights, c.free)
    low, high = profile(p, c.fit, figure, c.threshold, spec.least, spec.most)
    ends = (min(figure(c.fit.values)[0], spec.most), low, high)
    note = "that of the fitted curve in the firing of fired_density"
    return single("firing_shrinkage", ends, told_by(c), basis="derived", note=note)


# -- for the eye -------------------------------------------------------------------------------


def _panels(c: CurveFit) -> tuple[Panel, ...]:
    """Readings and fit over the peak for bars, over temperature for curves."""
    r, b = c.bench.readings, c.bench
    model = predict(b, c.fit.values).value
    peaks = np.array([celsius(float(1.0 / k.hottest)) for k in b.clocks])
    panels = []
    for kinds, title, up, turn in (
        ((ALONG, UPRIGHT), "firing shrinkage of bars", "dried to fired (%)",
         lambda v: -100.0 * np.expm1(v)),
        ((FIRED_DENSITY,), "bulk density", "relative density", np.exp),
    ):  # fmt: skip
        series = []
        for kind in kinds:
            here = r.kind == kind
            if here.any():
                series.append(
                    Series(
                        KINDS[kind], peaks[r.group[here]], turn(r.value[here]), turn(model[here])
                    )
                )
        if series:
            panels.append(Panel(title, "peak of the pieces (°C)", up, tuple(series)))
    hot = []
    for n, name in enumerate(b.names):
        here = (r.kind == HOT) & (r.group == n)
        if here.any():
            clock = b.clocks[n]
            place = celsius(clock.temperature[clock.nodes])
            strain, fitted = (100.0 * np.expm1(v[here]) for v in (r.value, model))
            hot.append(Series(name, place, strain, fitted, line=True))
    if hot:
        panels.append(
            Panel("dilatometer, raw bars", "temperature (°C)", "length change (%)", tuple(hot))
        )
    return tuple(panels)


def _notes(c: CurveFit) -> tuple[str, ...]:
    """Firings whose temperature the fit had to move, and scatter beyond what was stated."""
    b, x = c.bench, c.fit.values
    own, by = own_density(b, x)
    half = NORMAL * float(np.sqrt(by @ c.fit.covariance @ by))
    ends = (own, own - half, own + half)
    told = contradiction(
        b.card, single("fired_density", ends, told_by(c), fired_at=b.card.fired_at)
    )
    notes = [told] if told else []
    for name, off, prior in zip(b.names, x[FIXED:], b.prior[FIXED:], strict=True):
        if abs(off) > 2.0 * prior * c.weights.shaky:
            notes.append(
                f"{name}: fits best as if it had been {off:+.0f} K from what was written; check "
                "the thermocouple, or the bars"
            )
    if c.weights.shaky > 1.0:
        size = c.weights.shaky * float(b.prior[FIXED])
        notes.append(
            f"firings lie apart from any curve as if their temperatures were off by {size:.0f} K, "
            f"not {b.prior[FIXED]:.0f}; the intervals allow for it"
        )
    along = b.readings.kind == ALONG
    size, stated = (
        float(one[along].sum() / max(along.sum(), 1)) for one in (c.weights.spread, b.readings.size)
    )
    if size > 2.0 * stated:
        notes.append(
            f"bars scatter by {100 * size:.2f} % of their length, {size / stated:.1f} times what "
            "the reading alone would"
        )
    hot = b.readings.kind == HOT
    apart = (predict(b, x).value - b.readings.value)[hot]
    if hot.any() and (size := float(np.sqrt(np.mean(apart**2)))) > ILL_SHAPED:
        notes.append(
            "the curve of the card cannot take the shape of the dilatometer curves, "
            f"{100 * size:.1f} % of length apart: does it sinter in two steps, or lose binder "
            "there? An energy read off them may be wrong by more than its interval"
        )
    return tuple(notes)
