"""What the bars leave open, and which firing would tell it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card, FiredAt
from cofire.inputs.units import HOUR, MINUTE, celsius, kelvin
from cofire.planning.evidence.firing_clock import plain_clock
from cofire.planning.evidence.fitting import covariance
from cofire.planning.evidence.measured_values import Untold
from cofire.planning.evidence.sintering_fit import TELLS, CurveFit, density_in
from cofire.planning.evidence.sintering_model import (
    ALONG,
    DRIED_DENSITY,
    ENERGY,
    EXPONENT,
    FIRED_DENSITY,
    FIXED,
    FULL,
    GREEN,
    HOT,
    NAMES,
    PLACE,
    UPRIGHT,
    Readings,
    predict,
    problem,
)
from cofire.planning.pairs.windows import ceiling

Array = NDArray[np.float64]

NEXT_BARS, MOST_FIRINGS = 3, 3
NEXT_STEP = 20.0
"""Steps of peak among which the next firing is chosen. [K]"""
NEXT_RATES = np.array([150.0, 60.0, 400.0]) / HOUR
NEXT_HOLDS = np.array([30.0, 0.0, 240.0]) * MINUTE
NEARLY = 1.1
"""A firing as good as the best within this factor is taken if it is more usual. [-]"""
REMEDIES = {
    "fired_density": "bulk density of the fired bars: fired_kg_m3",
    "green_density": "weigh and measure a few dried bars: dried_kg_m3",
    "full_density": "bulk density of bars fired until they shrink no more: fired_kg_m3",
    "height_shrinkage_factor": "measure the same bars along the printed height: upright_mm",
}
KINDS = {
    ALONG: "bars", UPRIGHT: "bars upright", FIRED_DENSITY: "fired densities",
    DRIED_DENSITY: "dried densities", HOT: "dilatometer",
}  # fmt: skip


def told_by(c: CurveFit) -> str:
    """The readings behind a fit, in words.

    Parameters
    ----------
    c : CurveFit
        The fit.

    Returns
    -------
    str
        Kinds, counts, and number of firings.
    """
    kinds = [k for k in KINDS if (c.bench.readings.kind == k).any()]
    counts = [f"{int((c.bench.readings.kind == k).sum())} {KINDS[k]}" for k in kinds if k != HOT]
    count = len(c.bench.names)
    curves = len(np.unique(c.bench.readings.group[c.bench.readings.kind == HOT]))
    if curves:
        counts.append(f"{curves} dilatometer curve{'s' if curves > 1 else ''}")
    return f"{', '.join(counts)} ({count} firing{'s' if count > 1 else ''})"


def untold(c: CurveFit, card: Card, name: str) -> Untold:
    """Why the readings do not tell a value, and what would.

    Parameters
    ----------
    c : CurveFit
        The fit.
    card : Card
        The card.
    name : str
        The value.

    Returns
    -------
    Untold
        With a firing that is worth most, where a firing would tell it.
    """
    peaks = np.array([float(1.0 / k.hottest) for k in c.bench.clocks[:-1]])
    weighed = bool((c.bench.readings.kind == FIRED_DENSITY).any())
    why = f"{told_by(c)} tell it no better than the card does"
    if name == "sintering_energy" and (peaks.size < 2 or np.ptp(peaks) < 15.0):
        why = "all pieces saw one peak: time and temperature cannot be told apart"
    elif name == "sintering_exponent" and len(c.bench.names) < 2:
        why = "one firing gives one point of the curve, not its slope"
    elif name in ("fired_density", "green_density") and not weighed:
        why = "shrinkage tells only the ratio of densities"
    elif name == "full_density":
        why = "no piece was weighed that was dense to the end"
    elif name == "height_shrinkage_factor":
        why = "no bars were measured along the printed height"
    by_firing = name not in REMEDIES or (name == "fired_density" and weighed)
    remedy = next_firing(c, card, name) if by_firing else REMEDIES[name]
    return Untold(name, why, remedy)


def next_firing(c: CurveFit, card: Card, name: str) -> str:
    """The plain firings of three bars each, three at most, that would tell a value best.

    Every peak from where the body has gone a tenth of its way to its ceiling, three rates and three
    holds are tried on the fitted curve, by the covariance they would leave; one after another until
    the value would count as told.

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
    top = min(ceiling(card), max(float(1.0 / k.hottest) for k in b.clocks) + 200.0)
    known = problem(b, c.weights, tuple(sorted({*c.free, i}))).jacobian(x)
    peaks = np.arange(kelvin(NEXT_STEP * (celsius(top) // NEXT_STEP)), kelvin(400.0), -NEXT_STEP)
    begun = float(x[GREEN] + 0.1 * (x[FULL] - x[GREEN]))
    tried = [
        FiredAt(float(rate), float(peak), float(hold))
        for rate in NEXT_RATES
        for hold in NEXT_HOLDS
        for peak in peaks
    ]
    tried = [fired for fired in tried if density_in(c, fired)(x) > begun]
    if not tried:
        return "fire bars hotter, within the card's ceiling"
    rows = [_rows(c, fired) for fired in tried]
    chosen: list[FiredAt] = []
    left = np.inf
    while len(chosen) < MOST_FIRINGS and left > TELLS * b.prior[i]:
        spreads = np.array([np.sqrt(covariance(_joined(known, new))[i, i]) for new in rows])
        best = int(np.argmax(spreads <= NEARLY * spreads.min()))
        left, known = float(spreads[best]), _joined(known, rows[best])
        chosen.append(tried[best])
    return (
        f"fire {NEXT_BARS} bars each: {'; '.join(map(_told, chosen))} (to about {_size(left, i)})"
    )


def _told(fired: FiredAt) -> str:
    held = f"hold {fired.hold / MINUTE:.0f} min" if fired.hold else "no hold"
    return f"{celsius(fired.peak):.0f} °C at {fired.rate * HOUR:.0f} °C/h, {held}"


def _size(left: float, i: int) -> str:
    return f"± {100.0 * left:.0f} %" if i in (ENERGY, EXPONENT) else f"± {left:.3f}"


def _joined(known: Array, new: Array) -> Array:
    """Residuals' derivatives with those of a firing more, which brings its own unknown."""
    wide = np.zeros((known.shape[0] + new.shape[0], known.shape[1] + 1))
    wide[: known.shape[0], :-1] = known
    wide[known.shape[0] :, : new.shape[1] - 1] = new[:, :-1]
    wide[known.shape[0] :, -1] = new[:, -1]
    return wide


def _rows(c: CurveFit, fired: FiredAt) -> Array:
    """Derivatives of three bars in a firing; last column and row are its temperature's error."""
    b, x = c.bench, c.fit.values
    clock = plain_clock(fired)
    other = replace(b, clocks=(*b.clocks[:-1], clock))  # in the place of the card's own firing
    last = np.array([sum(k.nodes.size for k in b.clocks[:-1])])
    bar = Readings(np.array([ALONG]), last, np.zeros(1), np.zeros(1), np.array([-1]))
    row = predict(other, x, bar).slope[0] / c.weights.spread[0]
    warm = float(clock.read(float(np.exp(x[ENERGY])))[2][0])
    off = row[PLACE] * float(np.exp(x[EXPONENT])) * warm
    rows = np.tile(np.append(row, off), (NEXT_BARS + 1, 1))
    rows[-1] = 0.0
    rows[-1, -1] = 1.0 / b.prior[FIXED]
    return np.asarray(rows)
