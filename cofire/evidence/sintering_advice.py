"""What bars leave open of a card's sintering, and which firing would tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from cofire.assessment.draws import normal
from cofire.assessment.rule import NO
from cofire.assessment.windows import best_gas, ceiling, gas_grade
from cofire.evidence.findings import (
    NORMAL,
    Untold,
    card_spread,
    substance_spread,
)
from cofire.evidence.fitting import covariance
from cofire.evidence.measured import Measured
from cofire.evidence.sintering_curve import (
    ALONG,
    DRIED_DENSITY,
    ENERGY,
    EXPONENT,
    FIRED_DENSITY,
    FIXED,
    HOT,
    NAMES,
    PLACE,
    UPRIGHT,
    Bench,
    Clock,
    Readings,
    admissible,
    done,
    predict,
    problem,
    trace_clock,
)
from cofire.evidence.sintering_fit import TELLS, UNDECIDED, CurveFit
from cofire.firing.controller import able, at_kiln, longer, on_step, rate_at_kiln, slower
from cofire.firing.kiln import trace
from cofire.firing.program import Controller, simple_firing
from cofire.materials.card import Card, FiredAt
from cofire.materials.properties import GASES
from cofire.numerics import Array, sobol_points
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin

NEXT_BARS, MOST_FIRINGS = 3, 3
BEGUN = 0.1
"""Share of its way that a body has gone in any firing that is advised. [-]"""
CURVES = 16
"""Curves that fit as well, over which what a firing would tell is averaged. [-]"""
NEXT_STEP = 20.0
"""Steps of peak among which the next firing is chosen. [K]"""
HOTTER = 200.0
"""Most by which the next firing is hotter than any so far. [K]"""
NEXT_RATES = np.array([150.0, 60.0, 400.0]) / HOUR
NEXT_HOLDS = np.array([30.0, 0.0, 240.0]) * MINUTE
NEARLY = 1.1
"""A firing as good as the best within this factor is taken if it is more usual. [-]"""
ONLY_RATIO = "shrinkage tells only the ratio of densities"
ASKED = {
    "fired_density": (ONLY_RATIO, "bulk density of the fired bars: fired_kg_m3"),
    "green_density": (ONLY_RATIO, "weigh and measure a few dried bars: dried_kg_m3"),
    "full_density": (
        "no piece was weighed that was dense to the end",
        "bulk density of bars fired until they shrink no more: fired_kg_m3",
    ),
    "height_shrinkage_factor": (
        "no bars were measured along the printed height",
        "measure the same bars along the printed height: upright_mm",
    ),
}
"""What has readings of its own: why nothing tells it where there are none, and what to read."""
MORE = "more of them, or read more surely"
"""What to read where there are some."""
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


def _read(c: CurveFit, name: str) -> bool:
    """Whether some readings are of the very thing that the card states."""
    r = c.bench.readings
    kind = {"green_density": DRIED_DENSITY, "height_shrinkage_factor": UPRIGHT}
    own = r.kind == kind.get(name, FIRED_DENSITY)
    if name == "full_density":
        own = own & (done(c.bench, c.fit.values)[0][r.clock] > 1.0 - UNDECIDED)
    return bool(own.any())


def untold(c: CurveFit, card: Card, name: str, advised: str) -> Untold:
    """Why the readings do not tell a value, and what would.

    Parameters
    ----------
    c : CurveFit
        The fit.
    card : Card
        The card.
    name : str
        The value.
    advised : str
        Which firing is worth most for it; counts where a firing would tell it.

    Returns
    -------
    Untold
        With that firing, or what else to measure.
    """
    peaks = np.array([float(1.0 / k.hottest) for k in c.bench.clocks[:-1]])
    weighed = _read(c, "fired_density") or _read(c, "green_density")
    why = f"{told_by(c)} tell it no better than the card does"
    if name == "sintering_energy" and (peaks.size < 2 or np.ptp(peaks) < 15.0):
        why = "all pieces saw one peak: time and temperature cannot be told apart"
    elif name == "sintering_exponent" and len(c.bench.names) < 2:
        why = "one firing gives one point of the curve, not its slope"
    elif name in ("fired_density", "green_density") and weighed:
        doubt = substance_spread(card)
        if doubt * card[name].scalar > TELLS * card_spread(card, name):
            why += f"; bulk densities are over a theoretical one known to {100.0 * doubt:.2g} %"
            return Untold(name, why, "give the card your own theoretical_density")
    elif name in ASKED and not _read(c, name):
        why = ASKED[name][0]
    if name not in ASKED:
        return Untold(name, why, advised)
    remedy = ASKED[name][1]
    if _read(c, name):
        remedy = f"{MORE}: {remedy.rpartition(': ')[2]}"
    return Untold(name, why, remedy)


def next_firings(
    c: CurveFit, card: Card, names: Sequence[str], gas: str, measured: Measured
) -> dict[str, str]:
    """The plain firings of three bars each, three at most, that would tell each value best.

    Every peak from where the body has gone a tenth of its way to its ceiling, three rates and three
    holds, in steps of the controller, are tried as kiln and bars make them, by the variance they
    would leave; one after another until the value would count as told. The curve may lie elsewhere
    than it was fitted, and a firing that is best on the one tells little on another: variances are
    means over curves that fit the bars as well, with what the card says of the value.

    Parameters
    ----------
    c : CurveFit
        The fit.
    card : Card
        The card, for the hottest peak it allows in that gas.
    names : sequence of str
        Values to be told.
    gas : str
        In which the bars are to be fired; in none where it is empty.
    measured : Measured
        With the kiln, of which no rate is tried that it does not keep, and how far the bars are
        behind it.

    Returns
    -------
    dict
        An instruction for each name, with the uncertainty it promises.
    """
    if not gas:
        return dict.fromkeys(names, f"none: {card.name} bears no gas at such heat")
    tried = _tried(c, card, gas, measured) if names else []
    if not tried:
        able_to = f"what {measured.kiln.name} can do"
        hotter = f"fire bars hotter, within the card's ceiling in {gas} and {able_to}"
        return dict.fromkeys(names, hotter)
    controller, where = measured.kiln.controller, ""
    if measured.lag:
        where = f", the kiln set to what follows and they {measured.lag / MINUTE:.0f} min behind it"
    curves = _also_fitting(c)
    rows = [_rows(c, [clock for _, clock in tried], x) for x in curves]
    found = {}
    for name in names:
        i = NAMES[name]
        own = float(c.bench.prior[i])
        held = problem(c.bench, c.weights, tuple(n for n in c.free if n != i))
        spreads = [covariance(held.jacobian(x)) for x in curves]
        chosen: list[FiredAt] = []
        left = own**2
        while len(chosen) < MOST_FIRINGS and 1.0 / left - 1.0 / own**2 < (TELLS * own) ** -2.0:
            each = [_left(spread, *row)[:, i] for spread, row in zip(spreads, rows, strict=True)]
            mean = np.mean(each, axis=0)
            best = int(np.argmax(mean <= NEARLY**2 * mean.min()))
            chosen.append(tried[best][0])
            left = min(float(mean[best]), own**2)
            spreads = [
                _with_firing(spread, slope[best], float(noise[best]))
                for spread, (slope, noise) in zip(spreads, rows, strict=True)
            ]
        promised = c.threshold / NORMAL * np.sqrt(left)
        found[name] = (
            f"fire {NEXT_BARS} bars each in {gas}{where}: "
            f"{'; '.join(_told(fired, controller) for fired in chosen)} "
            f"(to about ± {100.0 * promised:.0f} %)"
        )
    return found


def _tried(c: CurveFit, card: Card, gas: str, measured: Measured) -> list[tuple[FiredAt, Clock]]:
    """Plain firings that body, gas and kiln bear, as set, and the clock of each as bars see it."""
    b, x = c.bench, c.fit.values
    kiln, controller = measured.kiln, measured.kiln.controller
    lower = card.in_gas(gas).matures_lower  # clocks are as hot as they would be in air
    seen = max(float(1.0 / k.hottest) for k in b.clocks) - lower
    top = min(ceiling(card, gas), seen + HOTTER, kiln.max_temperature)
    peaks = np.arange(kelvin(NEXT_STEP * (celsius(top) // NEXT_STEP)), kelvin(400.0), -NEXT_STEP)
    rates = [slower(controller, rate) for rate in NEXT_RATES.tolist()]
    holds = [longer(controller, hold) for hold in NEXT_HOLDS.tolist()]
    found = []
    for peak in (on_step(controller, float(p), -1) for p in peaks):
        if gas_grade(card, gas, peak)[0] >= NO:
            continue
        fastest = able(kiln, ROOM, peak)
        for n, (rate, hold) in enumerate(product(rates, holds)):
            if rate > fastest:
                continue
            curve = trace(simple_firing(kiln, peak, hold, rate, gas, measured.lag))
            found.append((n, FiredAt(rate, peak, hold, gas), trace_clock(curve, card)))
    found.sort(key=lambda each: each[0])
    share, _ = done(_with_clocks(b, [clock for _, _, clock in found]), x)
    begun = share[share.size - len(found) :] > BEGUN
    return [(fired, clock) for (_, fired, clock), on in zip(found, begun, strict=True) if on]


def _with_clocks(b: Bench, clocks: Sequence[Clock]) -> Bench:
    """The bench with firings that are tried in the place of the card's own."""
    return replace(b, clocks=(*b.clocks[:-1], *clocks))


def _also_fitting(c: CurveFit) -> list[Array]:
    """Unknowns of the fit, and others drawn from what it leaves open."""
    x = c.fit.values
    value, axis = np.linalg.eigh(c.fit.covariance)
    drawn = normal(sobol_points(CURVES, x.size, 0)) * np.sqrt(np.maximum(value, 0.0))
    return [x, *(each for each in x + drawn @ axis.T if admissible(each))]


def _told(fired: FiredAt, controller: Controller) -> str:
    held = f"hold {fired.hold / MINUTE:.0f} min" if fired.hold else "no hold"
    return f"{at_kiln(controller, fired.peak)} at {rate_at_kiln(controller, fired.rate)}, {held}"


def _rows(c: CurveFit, clocks: Sequence[Clock], x: Array) -> tuple[Array, Array]:
    """Derivatives of a bar in each firing, shape (F, P), and the variance of the mean of three.

    Over the uncertainty of one bar; the variance holds the error of the firing's temperature.
    """
    b, count = c.bench, len(clocks)
    first, none = sum(k.nodes.size for k in b.clocks[:-1]), np.zeros(count)
    bar = Readings(
        np.full(count, ALONG), first + np.arange(count), none, none, none,
        np.full(count, -1), np.full(count, b.bar),
    )  # fmt: skip
    along = c.weights.spread[b.readings.kind == ALONG]
    size = float(along.mean()) if along.size else b.bar
    slope = predict(_with_clocks(b, clocks), x, bar).slope / size
    energy, exponent = np.exp(x[[ENERGY, EXPONENT]])
    warm = np.array([float(clock.read(float(energy))[2][0]) for clock in clocks])
    off = slope[:, PLACE] * exponent * warm
    shaky = c.weights.shaky * float(b.prior[FIXED])
    return slope, 1.0 / NEXT_BARS + (off * shaky) ** 2


def _left(spread: Array, slope: Array, noise: Array) -> Array:
    """Variances of the unknowns that each firing more would leave, shape (F, P)."""
    along = slope @ spread
    whole = noise + (along * slope).sum(axis=1)
    return np.asarray(np.diag(spread) - along**2 / whole[:, None])


def _with_firing(spread: Array, slope: Array, noise: float) -> Array:
    """Covariance of the unknowns with a firing more."""
    along = spread @ slope
    return np.asarray(spread - np.outer(along, along) / (noise + float(slope @ along)))


def gas_of_next(card: Card, measured: Measured) -> str:
    """That of the person's bars; of several the one that bears the least heat.

    Where the card bears none of them, or there are none, the one that suits it best; empty where it
    bears no gas.

    Parameters
    ----------
    card : Card
        With a firing of its own.
    measured : Measured
        With its firings.
    """
    assert card.fired_at is not None
    fired = [p.trace for p in measured.firings if p.sintered]
    peak = max((t.peak for t in fired), default=card.fired_at.peak)
    borne = sorted({t.gas for t in fired if gas_grade(card, t.gas, peak)[0] < NO})
    if borne:
        return min(borne, key=lambda gas: ceiling(card, gas))
    gas, grade, _ = best_gas(card, card, peak, GASES)
    return gas if grade < NO else ""
