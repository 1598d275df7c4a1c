"""What bars and curves tell of a card's sintering: values, intervals, and what to fire next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card, FiredAt
from cofire.inputs.measured import Measured
from cofire.inputs.properties import SPECS
from cofire.inputs.trace import Trace
from cofire.inputs.units import HOUR, MINUTE, ROOM, celsius, kelvin
from cofire.planning.firing_clock import equivalent, plain_clock
from cofire.planning.fitting import covariance, profile
from cofire.planning.measured_values import NORMAL, Findings, Panel, Series, Untold, Value, single
from cofire.planning.sintering_fit import CurveFit, fit_curve
from cofire.planning.sintering_model import (
    ALONG,
    DRIED_DENSITY,
    ENERGY,
    EXPONENT,
    FIRED_DENSITY,
    FIXED,
    FULL,
    GREEN,
    HEIGHT,
    HOT,
    NAMES,
    PLACE,
    UPRIGHT,
    Readings,
    bench,
    predict,
    problem,
)
from cofire.planning.windows import ceiling

Array = NDArray[np.float64]

MOVED = 0.1
"""Share of the card's uncertainty by which an untold unknown must move to be written. [-]"""
NEXT_BARS = 3
NEXT_STEP = 20.0
"""Steps of peak among which the next firing is chosen. [K]"""
NEXT_RATES = np.array([150.0, 60.0, 400.0]) / HOUR
NEXT_HOLDS = np.array([30.0, 0.0, 240.0]) * MINUTE
NEARLY = 1.1
"""A firing as good as the best within this factor is taken if it is more usual. [-]"""
REMEDIES = {
    "green_density": "weigh and measure a few dried bars: dried_kg_m3",
    "full_density": "bulk density of bars fired until they shrink no more: fired_kg_m3",
    "height_shrinkage_factor": "measure the same bars along the printed height: upright_mm",
}
KINDS = {
    ALONG: "bars", UPRIGHT: "bars upright", FIRED_DENSITY: "fired densities",
    DRIED_DENSITY: "dried densities", HOT: "dilatometer",
}  # fmt: skip


def density_in(c: CurveFit, fired: FiredAt) -> Callable[[Array], float]:
    """Relative density after a plain firing, as a function of the unknowns.

    Parameters
    ----------
    c : CurveFit
        Whose centre counts.
    fired : FiredAt
        The firing.

    Returns
    -------
    callable
        From unknowns to density. [-]
    """
    clock, own = plain_clock(fired), c.bench.clocks[:-1]

    def density(x: Array) -> float:
        energy, n = float(np.exp(x[ENERGY])), float(np.exp(x[EXPONENT]))
        centre = float(np.mean([o.read(energy)[0].mean() for o in own]))
        score = n * (float(clock.read(energy)[0][0]) - centre) + x[PLACE]
        return float(x[GREEN] + (x[FULL] - x[GREEN]) / (1.0 + np.exp(-score)))

    return density


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
    for hotter in np.arange(0.0, 300.0, 10.0):
        for hold in np.arange(0.0, 600.0, 10.0) * MINUTE:
            tried = replace(best, peak=best.peak + float(hotter), hold=float(hold))
            if density_in(c, tried)(x) >= 0.5 * (least + most):
                return tried
    return card.fired_at


# -- values ------------------------------------------------------------------------------------


def _figure(c: CurveFit, name: str, fired: FiredAt) -> Callable[[Array], float]:
    """The property as a function of the unknowns."""
    i = NAMES[name]
    if i == PLACE:
        return density_in(c, fired)
    if i in (GREEN, FULL):
        return lambda x: float(x[i])
    return lambda x: float(np.exp(x[i]))


def _told_by(c: CurveFit) -> str:
    kinds = [k for k in KINDS if (c.bench.readings.kind == k).any()]
    counts = [f"{int((c.bench.readings.kind == k).sum())} {KINDS[k]}" for k in kinds if k != HOT]
    count = len(c.bench.names)
    curves = len(np.unique(c.bench.readings.group[c.bench.readings.kind == HOT]))
    if curves:
        counts.append(f"{curves} dilatometer curve{'s' if curves > 1 else ''}")
    return f"{', '.join(counts)} ({count} firing{'s' if count > 1 else ''})"


def _intervals(c: CurveFit, fired: FiredAt) -> tuple[dict[str, tuple[float, float, float]], int]:
    """Intervals of the free unknowns; and the unknown that stays open, or -1."""
    p = problem(c.bench, c.weights, c.free)
    found = {}
    for name, i in NAMES.items():
        if i not in c.free:
            continue
        figure, spec = _figure(c, name, fired), SPECS[name]
        low, high = profile(p, c.fit, figure, c.threshold, spec.least, spec.most)
        if low <= spec.least or (high >= spec.most and spec.most > 1.0) or not low < high:
            return found, i
        found[name] = (figure(c.fit.values), low, high)
    return found, -1


def sintering_findings(card: Card, measured: Measured) -> Findings:
    """Sintering values that the measurements tell, with what they leave open and what would mend it.

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
        c = fit_curve(b, dropped)
        fired = anchor(c, measured, card)
        found, still_open = _intervals(c, fired)
        if still_open < 0:
            break
        dropped = (*dropped, still_open)
    values = [
        single(name, ends, _told_by(c), fired_at=fired if name == "fired_density" else None)
        for name, ends in found.items()
    ]
    values += _moved(c, fired)
    untold = tuple(
        _untold(c, card, name) for name, i in NAMES.items()
        if i not in c.free and not (i == HEIGHT and name not in card)
    )  # fmt: skip
    return Findings(tuple(values), untold, _panels(c), _notes(c))


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
                low, high = profile(problem(b, c.weights, c.free), c.fit, figure, NORMAL)
            else:
                step = NORMAL * spread[i] * (np.arange(x.size) == i)
                low, high = figure(x - step), figure(x + step)
            at = fired if i == PLACE else None
            ends = (middle, low, high)
            found.append(single(name, ends, _told_by(c), basis="derived", note=note, fired_at=at))
    return found


# -- what is not told --------------------------------------------------------------------------


def _untold(c: CurveFit, card: Card, name: str) -> Untold:
    peaks = np.array([float(1.0 / k.inverse.min()) for k in c.bench.clocks[:-1]])
    why = f"{_told_by(c)} tell it no better than the card does"
    if name == "sintering_energy" and (peaks.size < 2 or np.ptp(peaks) < 15.0):
        why = "all pieces saw one peak: time and temperature cannot be told apart"
    elif name == "sintering_exponent" and len(c.bench.names) < 2:
        why = "one firing gives one point of the curve, not its slope"
    elif name == "full_density":
        why = "shrinkage tells only ratios of densities, and no piece was dense to the end"
    elif name == "height_shrinkage_factor":
        why = "no bars were measured along the printed height"
    remedy = REMEDIES.get(name) or next_firing(c, card, name)
    return Untold(name, why, remedy)


def next_firing(c: CurveFit, card: Card, name: str) -> str:
    """The plain firing of three bars that would tell a value best.

    Every peak from where the body has gone a tenth of its way to its ceiling, three rates and three
    holds are tried on the fitted curve, by the covariance they would leave.

    Parameters
    ----------
    c : CurveFit
        The fit.
    card : Card
        The card, for the hottest peak it allows.
    name : str
        Value to be told.

    Returns
    -------
    str
        An instruction with the uncertainty it promises.
    """
    b, x, i = c.bench, c.fit.values, NAMES[name]
    top = min(ceiling(card), max(float(1.0 / k.inverse.min()) for k in b.clocks) + 200.0)
    free = tuple(sorted({*c.free, i}))
    known = problem(b, c.weights, free).jacobian(x)
    size = c.weights.spread[0]
    best: list[tuple[float, FiredAt]] = []
    for rate in NEXT_RATES:
        for hold in NEXT_HOLDS:
            for peak in np.arange(
                kelvin(20.0 * round(celsius(top) / 20.0)), kelvin(400.0), -NEXT_STEP
            ):
                if peak > top:
                    continue
                fired = FiredAt(float(rate), float(peak), float(hold))
                if density_in(c, fired)(x) < x[GREEN] + 0.1 * (x[FULL] - x[GREEN]):
                    break
                best.append((_left(c, fired, known, i) / size * size, fired))
    if not best:
        return "fire bars hotter, within the card's ceiling"
    least = min(left for left, _ in best)
    left, fired = next(pair for pair in best if pair[0] <= NEARLY * least)
    held = f", hold {fired.hold / MINUTE:.0f} min" if fired.hold else ", no hold"
    promise = f"± {100.0 * left:.0f} %" if i in (ENERGY, EXPONENT) else f"± {left:.3f}"
    return (
        f"fire {NEXT_BARS} bars to {celsius(fired.peak):.0f} °C at {fired.rate * HOUR:.0f} °C/h"
        f"{held}: would tell it to about {promise}"
    )


def _left(c: CurveFit, fired: FiredAt, known: Array, i: int) -> float:
    """Standard uncertainty of an unknown after three more bars in a firing."""
    b, x = c.bench, c.fit.values
    # the firing takes the place of the card's own, which is read last
    count = sum(k.nodes.size for k in b.clocks[:-1])
    other = replace(b, clocks=(*b.clocks[:-1], plain_clock(fired)))
    one = Readings(np.array([ALONG]), np.array([count]), np.zeros(1), np.zeros(1), np.array([-1]))
    row = predict(other, x, one).slope[0] / c.weights.spread[0]
    shaky = b.prior[FIXED] if b.prior.size > FIXED else 1.0
    warm = float(plain_clock(fired).read(float(np.exp(x[ENERGY])))[2][0])
    off = row[PLACE] * float(np.exp(x[EXPONENT])) * warm
    wide = np.zeros((known.shape[0] + NEXT_BARS + 1, x.size + 1))
    wide[: known.shape[0], :-1] = known
    wide[known.shape[0] : -1, :-1] = row
    wide[known.shape[0] : -1, -1] = off
    wide[-1, -1] = 1.0 / shaky
    return float(np.sqrt(covariance(wide)[i, i]))


# -- for the eye -------------------------------------------------------------------------------


def _panels(c: CurveFit) -> tuple[Panel, ...]:
    """Readings and fit over the peak for bars, over temperature for curves."""
    r, b = c.bench.readings, c.bench
    model = predict(b, c.fit.values).value
    peaks = np.array([celsius(float(1.0 / k.inverse.min())) for k in b.clocks])
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
            hot.append(
                Series(name, place, 100 * np.expm1(r.value[here]), 100 * np.expm1(model[here]))
            )
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
        if abs(off) > 2.0 * prior:
            notes.append(
                f"{name}: fits best as if it had been {off:+.0f} K from what was written "
                f"(stated: {prior:.0f} K); check the thermocouple, or the bars"
            )
    if (b.readings.kind == ALONG).any() and c.weights.spread[0] > 2.0 * b.stated[0]:
        notes.append(
            f"bars scatter by {100 * c.weights.spread[0]:.2f} % of their length, "
            f"{c.weights.spread[0] / b.stated[0]:.1f} times what the reading alone would"
        )
    return tuple(notes)
