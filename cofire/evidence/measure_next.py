"""What to measure next: which property's uncertainty moves the verdict most, and what a test buys.

Asked of the limits that lose the pot. The logarithm of the utilisation of each such flag that
is ever used up most is fitted by a polynomial of the properties (see `sensitivity`); the largest of
them is what the call hangs on. It foretells only a part of
the spread of samples that it was not fitted to, and its shares are shares of that part. "What a
test buys" supposes own bars, which leave what differs from batch to batch
(`Property.left_by_bars`). Where they will come out is not known beforehand, so the figure is the
mean over what they may find.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from cofire.assessment.draws import REACH, Factor, design, normal
from cofire.assessment.verdict import LOSING
from cofire.evidence.sensitivity import (
    DEGREE,
    Surface,
    candidate_terms,
    explained,
    fitted_surface,
    likelihood_of,
    polynomials,
    rank_correlation,
    sobol_indices,
)
from cofire.evidence.uncertainty import FLOOR, Key, Samples
from cofire.numerics import Array, normal_points

POINTS = 1024
"""At which the polynomials are asked. [-]"""
MOST = 8
LEAST = 0.02
"""Properties listed: at most that many, and with at least this share of the spread. [-]"""
TOLD_APART = 3.0
"""A share is told from noise where its root, a correlation, is that many standard errors. [-]"""
SELDOM = 0.02
"""A flag that is used up most in fewer samples than this is not fitted. [-]"""

BURNT = "a bar weighed dry and after a firing to 500 °C"
SHRINKAGE = "shrinkage bars, measured and weighed wet, dry and fired"
PEAKS = "shrinkage bars fired to three peaks or more"
EXPANSION = "an expansion bar, or a camber strip with a paste of known expansion"
SAG = "a sag bar through the firing"
BENT = "bend bars, ten or more of one batch"
BENT_UNFIRED = "bend bars, ten or more, {state}"
TABLE = "a laboratory, or a better source; no simple piece tells it"
MEASURED_BY = {
    "thermal_expansion": EXPANSION,
    "young_modulus": "the ring of a struck bar, or a bend bar with its deflection",
    "poisson_ratio": TABLE,
    "theoretical_density": "a fired piece ground and weighed in water",
    "thermal_conductivity": TABLE,
    "specific_heat": TABLE,
    "drying_shrinkage": SHRINKAGE,
    "binder": BURNT,
    "loss_on_ignition": BURNT,
    "water_contraction": "a dried bar measured again after a firing to 700 °C, or a raw one in a "
    "dilatometer",
    "green_strength": BENT_UNFIRED.format(state="dried"),
    "brown_strength": BENT_UNFIRED.format(state="burnt out"),
    "brown_strain": "brown bars bent with their deflection, ten or more",
    "particle_size": "settling in a cylinder, or sieves",
    "green_density": SHRINKAGE,
    "fired_density": SHRINKAGE,
    "full_density": PEAKS,
    "least_density": "fired bars boiled in water: the density at which they take up none",
    "firing_shrinkage": SHRINKAGE,
    "height_shrinkage_factor": "shrinkage bars printed lying and standing",
    "sintering_energy": "shrinkage bars fired to three peaks or more at two rates",
    "sintering_exponent": PEAKS,
    "surface_tension": TABLE,
    "glass_viscosity": "sag bars at two peaks",
    "crystal_fraction": SAG,
    "sag_viscosity": SAG,
    "body_viscosity": SAG,
    "creep_stress": "a sag bar of the sintered metal, loaded",
    "creep_exponent": "sag bars of the sintered metal under two utilisations",
    "creep_energy": "sag bars of the sintered metal at two peaks",
    "yield_stress": "a sintered metal bar bent until it stays bent",
    "tensile_strength": "a sintered metal bar pulled until it tears",
    "ductility": "a sintered metal bar bent until it tears",
    "strength": BENT,
    "weibull_modulus": "bend bars, thirty or more of one batch",
    "fracture_toughness": "notched bend bars",
    "crack_growth_exponent": "bend bars of one batch, half of them a thousand times slower, damp",
    "crack_growth_threshold": "bend bars loaded for weeks in damp air",
    "solidus": TABLE,
    "premixed_solidus": "bars fired in steps until an edge rounds",
    "firing_ceiling": "bars fired in steps until one bloats or slumps",
    "stable_time": "bars held at the peak for longer and longer, their expansion measured again",
    "reduced_maturing": "shrinkage bars fired in carbon and in air to the same peak",
    "reduced_ceiling": "bars packed in carbon, fired in steps until one bloats or slumps",
    "free_quartz": EXPANSION,
    "cristobalite": EXPANSION,
    "carburised_at": "bars packed in carbon, held at 740 to 850 °C: where they stop shrinking",
}
"""The simplest piece that tells each property: common practice."""


@dataclass(frozen=True)
class Influence:
    """What one property's uncertainty does to the verdict's utilisation.

    Attributes
    ----------
    first, total
        Share of the whole spread that would go if it alone were known, and that would stay if all
        else were, of what the polynomials foretell. [-]
    rank_correlation
        With the utilisation over the samples: positive where more of it is worse. [-]
    through
        The flag that it moves most.
    spread, doubt
        As in `Ranking`, once own bars have told it. [-]
    piece
        What measures it.
    """

    factor: Factor
    first: float
    total: float
    rank_correlation: float
    through: Key
    spread: float
    doubt: float
    piece: str


@dataclass(frozen=True)
class Ranking:
    """Properties by their share in the spread of the verdict's utilisation.

    Attributes
    ----------
    influences
        Largest total share first.
    explained
        Share of the spread that the polynomials foretell of samples they were not fitted to. [-]
    spread
        One standard deviation of the utilisation, as a factor up or down; 1 where nothing spreads.
        [-]
    doubt
        Probability that the likelier of "lost" and "not lost" is wrong. [-]
    flags
        For each flag that was fitted, total shares of its spread by property, and what share of
        it the polynomial foretells.
    noise
        Shares below this are not told from noise by so many samples. [-]
    """

    influences: tuple[Influence, ...]
    explained: float
    spread: float
    doubt: float
    flags: dict[Key, tuple[dict[Factor, float], float]]
    noise: float


@dataclass(frozen=True)
class _Emulator:
    """Logarithm of the verdict's utilisation, as the largest of the fitted flags, and what it says.

    `likelihood` are a and b of the probability that the pot is lost.
    """

    surfaces: tuple[Surface, ...]
    likelihood: tuple[float, float]

    def __call__(self, points: Array) -> Array:
        return np.asarray(np.max([surface(points) for surface in self.surfaces], axis=0))

    def outlook(self, points: Array) -> tuple[float, float]:
        """Variance of the logarithm, and probability that the pot is lost."""
        value = self(points)
        a, b = self.likelihood
        return float(value.var()), float(np.mean(expit(a + b * value)))


def measure_next(samples: Samples) -> Ranking:
    """Which property to measure next.

    Parameters
    ----------
    samples : Samples
        From `sample_verdicts`.

    Returns
    -------
    Ranking
        No influences where the utilisation does not spread.
    """
    samples = samples.of(LOSING)
    fitted = _fitted(samples)
    keys, surfaces = list(fitted), tuple(fitted.values())
    worst = np.log(np.maximum(samples.worst, FLOOR))
    told = np.max([_figure(samples, key) - s.left for key, s in fitted.items()], axis=0)
    accounted = explained(worst, worst - told)
    count = len(samples.factors)
    shares = np.array([surface.shares(count)[1] for surface in surfaces])
    flags = {}
    for (key, surface), own in zip(fitted.items(), shares, strict=True):
        of_flag = explained(_figure(samples, key), surface.left)
        moved = {samples.factors[k]: of_flag * float(own[k]) for k in np.flatnonzero(own)}
        flags[key] = (moved, of_flag)
    spread, least = float(worst.var()), TOLD_APART**2 / len(worst)
    active = sorted({factor for surface in surfaces for factor in surface.factors})
    if not active:
        return Ranking((), accounted, _as_factor(spread), samples.doubt, flags, least)
    emulator = _Emulator(surfaces, likelihood_of(told, samples.lost))
    points = design(POINTS, 2 * len(active), samples.seed)
    one, other = (_among(half, active, count) for half in np.split(points, 2, axis=1))
    first, total = sobol_indices(emulator, one, other, active)
    weight = np.array([samples.most_used[key] * s.variance for key, s in fitted.items()])
    through = np.argmax(weight[:, None] * shares, axis=0)
    correlation = rank_correlation(samples.deviates, worst)
    now, no = emulator.outlook(one)
    scale = samples.doubt / max(min(no, 1.0 - no), 1e-12)  # what the polynomials misjudge in all
    found = []
    for k in np.argsort(-total, kind="stable")[:MOST]:
        if total[k] < LEAST:
            break
        later, doubt = measured(emulator, one, int(k), float(samples.after_bars[k]))
        factor = samples.factors[k]
        found.append(
            Influence(
                factor=factor,
                first=accounted * float(first[k]),
                total=accounted * float(total[k]),
                rank_correlation=float(correlation[k]),
                through=keys[through[k]],
                spread=_as_factor(spread * (1.0 - accounted * (1.0 - later / now))),
                doubt=scale * doubt,
                piece=MEASURED_BY[factor.name],
            )
        )
    return Ranking(tuple(found), accounted, _as_factor(spread), samples.doubt, flags, least)


def _figure(samples: Samples, key: Key) -> Array:
    """Logarithm of one flag's utilisation, shape (N,). [-]"""
    return np.log(np.maximum(samples.known[:, samples.flags.index(key)], FLOOR))


def _fitted(samples: Samples) -> dict[Key, Surface]:
    """The logarithm of the utilisation of each flag that is often used up most, a polynomial."""
    often = [key for key, share in samples.most_used.items() if share >= SELDOM]
    candidates = candidate_terms(samples.deviates, polynomials(normal, DEGREE))
    return {
        key: fitted_surface(candidates, _figure(samples, key))
        for key in often or list(samples.most_used)[:1]
    }


def _among(points: Array, active: Sequence[int], count: int) -> Array:
    """Points of some factors as points of all, the others at their card's value."""
    whole = np.zeros((len(points), count))
    whole[:, active] = points
    return whole


def _as_factor(variance: float) -> float:
    """One standard deviation of a logarithm, as a factor. [-]"""
    return float(np.exp(np.sqrt(variance)))


def measured(emulator: _Emulator, points: Array, factor: int, left: float) -> tuple[float, float]:
    """What is left once own bars have told one property.

    Bars that take a standard deviation of 1 to q move the middle by a normal deviate of variance
    1 − q²; the mean over it is taken by Gauss–Hermite quadrature.

    Parameters
    ----------
    emulator : callable
        The verdict.
    points : array
        Of all factors, shape (N, d). [-]
    factor : int
        Which.
    left : float
        Share q of its uncertainty that the bars leave. [-]

    Returns
    -------
    tuple of float
        Variance of the logarithm of the utilisation, and the probability of a wrong call, both as
        expected. [-]
    """
    variance = doubt = 0.0
    for node, weight in zip(*normal_points(7), strict=True):
        narrowed = points.copy()
        middle = np.sqrt(1.0 - left**2) * node
        narrowed[:, factor] = np.clip(middle + left * points[:, factor], -REACH, REACH)
        spread, no = emulator.outlook(narrowed)
        variance += weight * spread
        doubt += weight * min(no, 1.0 - no)
    return float(variance), float(doubt)
