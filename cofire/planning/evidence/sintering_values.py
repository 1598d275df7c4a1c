"""What bars and curves tell of a card's sintering: values, intervals, and what to fire next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from cofire.errors import InputError, ModelError
from cofire.inputs.cards import Card, FiredAt
from cofire.inputs.measured import Measured
from cofire.inputs.properties import SPECS
from cofire.inputs.trace import Trace
from cofire.inputs.units import ROOM, celsius, kelvin
from cofire.planning.evidence.firing_clock import equivalent, plain_clock
from cofire.planning.evidence.fitting import profile
from cofire.planning.evidence.measured_values import (
    NORMAL,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    single,
)
from cofire.planning.evidence.sintering_advice import KINDS, told_by, untold
from cofire.planning.evidence.sintering_fit import CurveFit, density_in, fit_curve
from cofire.planning.evidence.sintering_model import (
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
    predict,
    problem,
)

Array = NDArray[np.float64]

Ends = tuple[float, float, float]

MOVED = 0.1
"""Share of the card's uncertainty by which an untold unknown must move to be written. [-]"""
ILL_SHAPED = 0.005
"""Strain between measured curves and the fitted one, root of mean square, from which it is told:
published curves of alumina and zirconia lie 0.0007 and 0.003 apart, two steps 0.01 (our choice).
[-]"""


def _firings(measured: Measured, energy: float) -> list[FiredAt]:
    """Plain firings that equal the person's."""
    found = [
        equivalent(p.trace, p.plain.rate if p.plain else None, energy)
        for p in measured.firings
        if p.bars.size or p.upright.size or p.density.size
    ]
    for curve in (k for k in measured.curves if not k.fired):
        ware = np.append(ROOM, curve.temperature)
        time = np.append(min(0.0, curve.time[0] - 1.0), curve.time)
        found.append(equivalent(Trace(time, ware, ware, np.zeros(0, np.intp)), None, energy))
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
        Found, or else a firing long or hot enough.
    """
    x = c.fit.values
    energy = float(np.exp(x[ENERGY]))
    assert card.fired_at is not None
    given = [*_firings(measured, energy), card.fired_at]
    least, most = card["least_density"].scalar, float(x[FULL]) - 2e-3

    def reading(fired: FiredAt) -> float:
        return float(plain_clock(fired).read(energy)[0][0])

    dense = [f for f in given if least + 1e-4 < density_in(c, f)(x) < most]
    if dense:
        centre = float(np.mean([k.read(energy)[0].mean() for k in c.bench.clocks[:-1]]))
        return min(dense, key=lambda f: abs(reading(f) - centre))
    best = max(given, key=reading)
    wanted = 0.5 * (least + most)

    def off(peak: float) -> float:
        return density_in(c, replace(best, peak=peak))(x) - wanted

    cold, hot = kelvin(300.0), best.peak + 400.0
    if off(cold) >= 0.0 or off(hot) <= 0.0:
        return card.fired_at
    return replace(best, peak=kelvin(round(celsius(float(brentq(off, cold, hot))), 1)))


# -- values ------------------------------------------------------------------------------------


def _figure(c: CurveFit, name: str, fired: FiredAt) -> Callable[[Array], float]:
    """The property as a function of the unknowns."""
    i = NAMES[name]
    if i == PLACE:
        return density_in(c, fired)
    if i in (GREEN, FULL):
        return lambda x: float(x[i])
    return lambda x: float(np.exp(np.clip(x[i], -50.0, 50.0)))


def _intervals(c: CurveFit, fired: FiredAt) -> tuple[dict[str, Ends], int]:
    """Intervals of the free unknowns; and the unknown that stays open, or -1."""
    p = problem(c.bench, c.weights, c.free)
    found: dict[str, Ends] = {}
    for name, i in NAMES.items():
        if i not in c.free:
            continue
        figure, spec = _figure(c, name, fired), SPECS[name]
        low, high = profile(p, c.fit, figure, c.threshold, spec.least, spec.most)
        if low <= spec.least or (high >= spec.most and spec.most > 1.0) or not low < high:
            return found, i
        middle = figure(c.fit.values)
        found[name] = (min(middle, spec.most), low, min(high, spec.most))
    return found, -1


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
    sintered = any(p.bars.size or p.upright.size or p.density.size for p in measured.firings)
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
            raise InputError(f"{measured.where}: {_furthest(b)}") from None
        fired = anchor(c, measured, card)
        found, still_open = _intervals(c, fired)
        if still_open < 0:
            break
        dropped = (*dropped, still_open)
    values = [
        single(name, ends, told_by(c), fired_at=fired if name == "fired_density" else None)
        for name, ends in found.items()
    ]
    values += _moved(c, fired)
    left = tuple(
        untold(c, card, name) for name, i in NAMES.items()
        if i not in c.free and not (i == HEIGHT and name not in card)
    )  # fmt: skip
    return Findings(tuple(values), left, _panels(c), _notes(c))


def _furthest(b: Bench) -> str:
    """The complaint that no curve fits, with the firing that lies furthest from the card's."""
    r = b.readings
    off = np.abs(predict(b, b.start).value - r.value)
    means = [float(off[r.group == n].mean()) for n in range(len(b.names))]
    return (
        f"no sintering curve fits the pieces; furthest from the card are those of "
        f"{b.names[int(np.argmax(means))]!r}: check their lengths, densities and temperatures"
    )


def _moved(c: CurveFit, fired: FiredAt) -> list[Value]:
    """Unknowns left to the card that the readings have moved within its uncertainty.

    They are written too: the curve fits the bars only with all of them. The fired density always
    is, as it moves with its firing.
    """
    x, b = c.fit.values, c.bench
    spread = np.sqrt(np.diag(c.fit.covariance))
    note = "the card's own value, moved within its uncertainty so that the curve fits the bars"
    found = []
    for name, i in NAMES.items():
        if i in c.free:
            continue
        moved = abs(x[i] - b.start[i]) > MOVED * b.prior[i]
        if i == PLACE or moved:
            figure = _figure(c, name, fired)
            middle = figure(x)
            if i == PLACE:
                p, spec = problem(b, c.weights, c.free), SPECS[name]
                low, high = profile(p, c.fit, figure, NORMAL, spec.least, spec.most)
            else:
                step = NORMAL * spread[i] * (np.arange(x.size) == i)
                low, high = figure(x - step), figure(x + step)
            at = fired if i == PLACE else None
            most = SPECS[name].most
            ends = (min(middle, most), min(low, most), min(high, most))
            found.append(single(name, ends, told_by(c), basis="derived", note=note, fired_at=at))
    return found


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
    notes = []
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
    if (b.readings.kind == ALONG).any() and c.weights.spread[0] > 2.0 * b.stated[0]:
        notes.append(
            f"bars scatter by {100 * c.weights.spread[0]:.2f} % of their length, "
            f"{c.weights.spread[0] / b.stated[0]:.1f} times what the reading alone would"
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
