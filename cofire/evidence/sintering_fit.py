"""What readings tell of a card's sintering: values, intervals, and what to fire next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from cofire.assessment.draws import normal
from cofire.assessment.rule import NO
from cofire.assessment.windows import best_gas, ceiling, gas_grade
from cofire.errors import InputError, ModelError
from cofire.evidence import fitting
from cofire.evidence.curve_readings import MOST_ALIKE
from cofire.evidence.findings import (
    FAR,
    NORMAL,
    WORTH,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    card_spread,
    contradiction,
    over_card,
    single,
    substance_spread,
)
from cofire.evidence.fitting import Fit, covariance, pooled_spread, profile, solve
from cofire.evidence.measured import Measured
from cofire.evidence.sintering_curve import (
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
    Bench,
    Clock,
    Readings,
    Weights,
    admissible,
    bench,
    done,
    equivalent,
    own_density,
    plain_clock,
    predict,
    problem,
    trace_clock,
)
from cofire.firing.controller import able, at_kiln, longer, on_step, rate_at_kiln, slower
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Controller, simple_firing
from cofire.materials.card import Card, FiredAt
from cofire.materials.properties import GASES, SPECS
from cofire.numerics import Array, sobol_points
from cofire.physics.sintering import sintering_strain
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin

# ----------------------------------------------------------------------------------------------
# Which unknowns of the sintering curve the readings tell, and the curve they make most likely

TELLS = 0.5
"""Readings tell an unknown where they cut the card's own uncertainty to this share or less: they
then weigh three times as much as the card. [-]"""
STILL_TELLS = 0.8
"""And where, left to themselves, they stay below this share of it. [-]"""
UNDECIDED = 0.005
"""Share done, or still to do, below which a reading says only that it is early, or late. [-]"""
ROUNDS = 4


@dataclass(frozen=True)
class CurveFit:
    """A sintering curve as fitted.

    Attributes
    ----------
    free
        Unknowns that the readings alone decide.
    """

    bench: Bench
    weights: Weights
    free: tuple[int, ...]
    fit: Fit

    @property
    def threshold(self) -> float:
        """Student's t of the intervals. [-]"""
        return fitting.threshold(self.weights.freedom)


def told(b: Bench, w: Weights, x: Array) -> tuple[int, ...]:
    """Unknowns that the readings tell better than the card.

    Parameters
    ----------
    b : Bench
        Readings.
    w : Weights
        How much each counts.
    x : array
        Unknowns at which it is asked, shape (P,).

    Returns
    -------
    tuple of int
        Rising.
    """
    own = b.prior.copy()
    own[PLACE] = b.anchor[1]

    def left(free: Sequence[int]) -> Array:
        """Share of the card's uncertainty that is left of each unknown."""
        spread = covariance(problem(b, w, free).jacobian(x))
        size = np.sqrt(np.diag(spread))
        by = own_density(b, x)[1]
        size[PLACE] = np.sqrt(by @ spread @ by)
        return np.asarray(size / own)

    share = left(())
    kinds = set(b.readings.kind.tolist())
    free = [i for i in NAMES.values() if share[i] < TELLS]
    if UPRIGHT not in kinds and HEIGHT in free:
        free.remove(HEIGHT)
    if PLACE in free and _all_done(b, x):
        free.remove(PLACE)
    while free:
        share = left(free)
        worst = max(free, key=lambda i: share[i])
        if share[worst] <= STILL_TELLS:
            break
        free.remove(worst)
    return tuple(sorted(free))


def _all_done(b: Bench, x: Array) -> bool:
    """Whether every reading is that of an unsintered or a finished body: no place of the curve."""
    share = done(b, x)[0][:-1]
    return bool(np.minimum(share, 1.0 - share).max() < UNDECIDED)


def _own_scatter(b: Bench, off: Array, here: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Sum of squares of readings of one kind in one firing about their mean, and its freedom.

    Last what it would be by the uncertainties stated.
    """
    keys = b.readings.group[here] * 8 + b.readings.kind[here]
    _, group = np.unique(keys, return_inverse=True)
    count = np.bincount(group)
    means = np.bincount(group, off[here]) / count
    by_stated = ((1.0 - 1.0 / count[group]) * b.readings.size[here] ** 2).sum()
    return (
        float(((off[here] - means[group]) ** 2).sum()), float(here.sum() - count.size),
        float(by_stated),
    )  # fmt: skip


def with_scatter(stated: Array, typical: float, seen: float) -> Array:
    """Uncertainty of readings that scatter by more, or less, than what was stated of them.

    What is beyond the errors of reading differs from piece to piece, and is alike for all whatever
    their length; where less is seen, the errors of reading are smaller in proportion.

    Parameters
    ----------
    stated : array
        Standard uncertainty of each, any shape. [-]
    typical, seen : float
        Root of the mean square as stated, and as seen. [-]

    Returns
    -------
    array
        Same shape. [-]

    Examples
    --------
    >>> with_scatter(np.array([3.0, 4.0]), 3.0, 5.0).round(2).tolist()
    [5.0, 5.66]
    """
    if seen < typical:
        return np.asarray(stated * (seen / typical))
    return np.sqrt(stated**2 + seen**2 - typical**2)


def reweighted(b: Bench, w: Weights, free: Sequence[int], fit: Fit) -> Weights:
    """Weights from the scatter of the readings about a fit.

    Bars of one firing scatter about their mean; firings lie apart from the curve by more, since
    their temperatures are off: where by significantly more than stated, what they show counts.
    Neighbours along a curve err alike (Cochrane & Orcutt 1949, J. Am. Stat. Assoc. 44, 32).

    Parameters
    ----------
    b : Bench
        Readings.
    w : Weights
        Of that fit.
    free : sequence of int
        Its free unknowns. [-]
    fit : Fit
        The fit.

    Returns
    -------
    Weights
        For the next fit.
    """
    r = b.readings
    off = predict(b, fit.values).value - r.value
    slope = problem(b, w, free).jacobian(fit.values)[: r.kind.size]
    taken = np.einsum("ij,jk,ik->i", slope, fit.covariance, slope)
    spread, freedom, alike = r.size.copy(), [], 0.0
    for kinds in ((ALONG, UPRIGHT), (FIRED_DENSITY, DRIED_DENSITY), (HOT,)):
        here = np.isin(r.kind, kinds)
        if not here.any():
            continue
        typical = float(np.sqrt(np.mean(r.size[here] ** 2)))
        if kinds == (HOT,):
            pair = here[1:] & here[:-1] & (r.group[1:] == r.group[:-1])
            squares = float((off[here] ** 2).sum())
            product = float((off[1:] * off[:-1])[pair].sum())
            alike = float(np.clip(product / max(squares, 1e-300), 0.0, MOST_ALIKE))
            share = (1.0 - alike) / (1.0 + alike)
            squares, left = squares * share, float(here.sum()) * share - float(taken[here].sum())
        else:
            squares, left, by_stated = _own_scatter(b, off, here)
            typical = float(np.sqrt(by_stated / left)) if left > 0.0 else typical
        seen, of_it = pooled_spread(typical, squares, max(left, 0.0))
        spread[here] = with_scatter(r.size[here], typical, seen)
        freedom.append(of_it)
    shaky, of_firings = _firings_apart(b, w, fit)
    return Weights(spread, alike, min(*freedom, of_firings), shaky)


def _firings_apart(b: Bench, w: Weights, fit: Fit) -> tuple[float, float]:
    """Temperatures of the firings over what was stated, 1 or more, and its degrees of freedom."""
    off, stated = fit.values[FIXED:], b.prior[FIXED:]
    variance = np.diag(fit.covariance)[FIXED:] / (w.shaky * stated) ** 2
    told = float(np.sum(1.0 - np.clip(variance, 0.0, 1.0)))
    squares = float(np.sum((off / stated) ** 2))
    if told <= 0.0:
        return 1.0, np.inf
    size, freedom = pooled_spread(1.0, squares, told)
    return (size, freedom) if freedom == told and size > 1.0 else (1.0, np.inf)


def fit_curve(b: Bench, dropped: Sequence[int] = ()) -> CurveFit:
    """The curve that the readings and the card's uncertainties make most likely.

    Parameters
    ----------
    b : Bench
        Readings.
    dropped : sequence of int
        Unknowns not to be left free. [-]

    Returns
    -------
    CurveFit
        Weights and free unknowns settled in a few rounds.
    """
    w = Weights(b.readings.size, 0.0, fitting.STATED_FREEDOM)
    first = solve(problem(b, w, ()), b.start).values
    x, free, barred = first, tuple[int, ...](), set(dropped)
    for _ in range(ROUNDS):
        if _all_done(b, x):  # from there no derivative leads back
            barred, x = barred | {PLACE}, first
        free = tuple(i for i in told(b, w, x) if i not in barred)
        fit = solve(problem(b, w, free), x)
        x, w = fit.values, reweighted(b, w, free, fit)
    return CurveFit(b, w, free, solve(problem(b, w, free), x))


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
    clock, own = plain_clock(fired, c.bench.card), c.bench.clocks[:-1]

    def density(x: Array) -> float:
        if not admissible(x):
            return float(x[GREEN])
        energy, n = float(np.exp(x[ENERGY])), float(np.exp(x[EXPONENT]))
        centre = float(np.mean([o.read(energy)[0].mean() for o in own]))
        score = n * (float(clock.read(energy)[0][0]) - centre) + float(x[PLACE])
        return float(
            x[GREEN] + (x[FULL] - x[GREEN]) / (1.0 + np.exp(-np.clip(score, -500.0, 500.0)))
        )

    return density


# ----------------------------------------------------------------------------------------------
# What the bars leave open, and which firing would tell it

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
            clock = trace_clock(curve, card)
            if done(replace(b, clocks=(*b.clocks[:-1], clock)), x)[0][-1] > BEGUN:
                found.append((n, FiredAt(rate, peak, hold, gas), clock))
    return [(fired, clock) for _, fired, clock in sorted(found, key=lambda each: each[0])]


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
    b = c.bench
    last = np.array([sum(k.nodes.size for k in b.clocks[:-1])])
    none = np.zeros(1)
    bar = Readings(np.array([ALONG]), last, none, none, none, np.array([-1]), np.array([b.bar]))
    along = c.weights.spread[b.readings.kind == ALONG]
    size = float(along.mean()) if along.size else b.bar
    slopes, off = [], []
    for clock in clocks:  # in the place of the card's own firing
        slope = predict(replace(b, clocks=(*b.clocks[:-1], clock)), x, bar).slope[0] / size
        warm = float(clock.read(float(np.exp(x[ENERGY])))[2][0])
        slopes.append(slope)
        off.append(slope[PLACE] * float(np.exp(x[EXPONENT])) * warm)
    shaky = c.weights.shaky * float(b.prior[FIXED])
    return np.array(slopes), 1.0 / NEXT_BARS + (np.array(off) * shaky) ** 2


def _left(spread: Array, slope: Array, noise: Array) -> Array:
    """Variances of the unknowns that each firing more would leave, shape (F, P)."""
    along = slope @ spread
    whole = noise + (along * slope).sum(axis=1)
    return np.asarray(np.diag(spread) - along**2 / whole[:, None])


def _with_firing(spread: Array, slope: Array, noise: float) -> Array:
    """Covariance of the unknowns with a firing more."""
    along = spread @ slope
    return np.asarray(spread - np.outer(along, along) / (noise + float(slope @ along)))


# ----------------------------------------------------------------------------------------------
# What bars and curves tell of a card's sintering: values, intervals, and what to fire next

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


def _gas_of_next(card: Card, measured: Measured) -> str:
    """That of the person's bars; of several the one that bears the least heat.

    Where the card bears none of them, or there are none, the one that suits it best; empty where it
    bears no gas.
    """
    assert card.fired_at is not None
    fired = [p.trace for p in measured.firings if p.sintered]
    peak = max((t.peak for t in fired), default=card.fired_at.peak)
    borne = sorted({t.gas for t in fired if gas_grade(card, t.gas, peak)[0] < NO})
    if borne:
        return min(borne, key=lambda gas: ceiling(card, gas))
    gas, grade, _ = best_gas(card, card, peak, GASES)
    return gas if grade < NO else ""


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

    dense = [f for f in given if least + 1e-4 < density_in(c, f)(x) < most]
    if dense:
        centre = float(np.mean([k.read(energy)[0].mean() for k in c.bench.clocks[:-1]]))
        return min(dense, key=lambda f: abs(reading(f) - centre))
    best = max(given, key=reading)
    wanted = 0.5 * (least + most)
    cold = best.peak - FURTHER
    hot = min(best.peak + FURTHER, ceiling(card, best.gas or "air"))

    def density(peak: float) -> float:
        return density_in(c, replace(best, peak=peak))(x)

    if cold >= hot or density(cold) >= wanted or density(hot) <= least + 1e-4:
        return card.fired_at
    if density(hot) > wanted:
        hot = float(brentq(lambda peak: density(peak) - wanted, cold, hot))
    return replace(best, peak=kelvin(round(celsius(hot), 1)))


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
        middle = figure(c.fit.values)
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
    gas = _gas_of_next(card, measured)
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


def _firing_shrinkage(c: CurveFit, fired: FiredAt) -> Value:
    """What the fitted curve shrinks in the firing of the fired density.

    Bars tell the ratio of the two densities, whatever either may be.
    """
    density, spec = density_in(c, fired), SPECS["firing_shrinkage"]

    def figure(x: Array) -> float:
        dense = max(density(x), float(x[GREEN]))
        return -float(np.expm1(sintering_strain(dense, x[GREEN], np.exp(x[HEIGHT]))))

    p = problem(c.bench, c.weights, c.free)
    low, high = profile(p, c.fit, figure, c.threshold, spec.least, spec.most)
    ends = (min(figure(c.fit.values), spec.most), low, high)
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
