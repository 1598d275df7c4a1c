"""Will a brittle body hold: Weibull survival of a stressed body, and what test bars tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import gamma

from cofire.errors import InputError
from cofire.numerics import Array
from cofire.physics.porosity import between, positive
from cofire.units import counted

# ----------------------------------------------------------------------------------------------
# Will a brittle body hold: Weibull survival of a stressed body, and what test bars tell of it

FEWEST_BARS = 5  # fewer say next to nothing of the modulus
SIMULATED_SAMPLES = 20_000  # puts about 1 % on the ends of an interval


@dataclass(frozen=True)
class WeibullFit:
    """Two-parameter Weibull distribution fitted to the strengths of like bars.

    Attributes
    ----------
    count
        Number of bars. [-]
    modulus
        Weibull modulus, maximum likelihood. [-]
    unbiased_modulus
        The modulus with its small-sample bias taken out: the one to report. [-]
    characteristic_strength
        Strength that 1 - 1/e (63.2 %) of the bars do not reach. [Pa]
    modulus_interval, characteristic_interval
        Lower and upper confidence limits. [-], [Pa]
    confidence
        Share of such intervals that hold the true value. [-]
    """

    count: int
    modulus: float
    unbiased_modulus: float
    characteristic_strength: float
    modulus_interval: tuple[float, float]
    characteristic_interval: tuple[float, float]
    confidence: float


def rupture_risk(
    principal_stress: npt.ArrayLike,
    volume: npt.ArrayLike,
    unit_strength: npt.ArrayLike,
    weibull_modulus: npt.ArrayLike,
) -> Array:
    """Risk of rupture B of a body; it survives with the probability exp(-B). [-]

    Principle of independent action: each tension in a principal direction acts as if alone, and
    compression does no harm (Barnett et al. 1967 and Freudenthal 1968, from memory). Models of
    cracks that feel shear are more cautious. Flaws in the volume only, and no slow crack growth.

    Parameters
    ----------
    principal_stress : array_like
        Shape (..., points, directions). [Pa]
    volume : array_like
        Volume that each point stands for, broadcast to (..., points). [m3]
    unit_strength : array_like
        Characteristic strength of 1 m3 in uniform tension, broadcast likewise. [Pa m^(3/m)]
    weibull_modulus : array_like
        m, broadcast likewise: bodies of several materials add up. [-]

    Returns
    -------
    array
        Shape (...). [-]
    """
    stress = np.asarray(principal_stress, dtype=np.float64)
    if stress.ndim < 2 or not np.all(np.isfinite(stress)):
        msg = "principal stress: must be finite, with points and directions as its last two axes"
        raise InputError(msg)
    part = between("volume", volume, 0.0, 1e6)
    strength = positive("unit strength", unit_strength)[..., None]
    m = positive("Weibull modulus", weibull_modulus)[..., None]
    tension = np.maximum(stress, 0.0)
    pulls = tension > 0.0
    power = m * (np.log(np.where(pulls, tension, 1.0)) - np.log(strength))
    risk = np.where(pulls, np.exp(np.minimum(power, 500.0)), 0.0).sum(axis=-1)
    return np.asarray((part * risk).sum(axis=-1), dtype=np.float64)


def survival(
    principal_stress: npt.ArrayLike,
    volume: npt.ArrayLike,
    unit_strength: npt.ArrayLike,
    weibull_modulus: npt.ArrayLike,
) -> Array:
    """Probability that a body survives its stresses. [-]

    Model and shapes as `rupture_risk`.

    Parameters
    ----------
    principal_stress : array_like
        Shape (..., points, directions). [Pa]
    volume : array_like
        Volume that each point stands for. [m3]
    unit_strength : array_like
        Characteristic strength of 1 m3 in uniform tension. [Pa m^(3/m)]
    weibull_modulus : array_like
        m. [-]
    """
    return np.exp(-rupture_risk(principal_stress, volume, unit_strength, weibull_modulus))


def bar_effective_volume(
    volume: npt.ArrayLike, weibull_modulus: npt.ArrayLike, inner_over_outer: npt.ArrayLike = 0.0
) -> Array:
    """Volume in uniform tension as likely to break as a rectangular bar in bending. [m3]

    V (1 + m s)/(2 (m + 1)²), s the ratio of the spans; integrated from the bending stress. It
    covers the printed forms for 3-point, quarter-point and third-point bars (Quinn 2003, Ceram.
    Eng. Sci. Proc. 24(4), from memory).

    Parameters
    ----------
    volume : array_like
        Of the bar between the outer supports. [m3]
    weibull_modulus : array_like
        m. [-]
    inner_over_outer : array_like
        Inner over outer span: 0 for three points, 1/2 for quarter points, 1/3 for third points. [-]
    """
    V, m = positive("volume", volume), positive("Weibull modulus", weibull_modulus)
    s = between("inner over outer span", inner_over_outer, 0.0, 1.0)
    return V * (1.0 + m * s) / (2.0 * (m + 1.0) ** 2)


def characteristic_strength(mean_strength: npt.ArrayLike, weibull_modulus: npt.ArrayLike) -> Array:
    """Characteristic strength of bars of which the mean strength is known. [Pa]

    Parameters
    ----------
    mean_strength : array_like
        Of like bars. [Pa]
    weibull_modulus : array_like
        m. [-]
    """
    m = positive("Weibull modulus", weibull_modulus)
    return np.asarray(positive("mean strength", mean_strength) / gamma(1.0 + 1.0 / m), np.float64)


def unit_strength(
    bar_strength: npt.ArrayLike, weibull_modulus: npt.ArrayLike, effective_volume: npt.ArrayLike
) -> Array:
    """Characteristic strength of 1 m3 in uniform tension, from that of test bars. [Pa m^(3/m)]

    Parameters
    ----------
    bar_strength : array_like
        Characteristic strength of the bars. [Pa]
    weibull_modulus : array_like
        m. [-]
    effective_volume : array_like
        Of one bar. [m3]
    """
    V, m = positive("effective volume", effective_volume), positive("modulus", weibull_modulus)
    return positive("bar strength", bar_strength) * V ** (1.0 / m)


def unbiasing_factor(count: npt.ArrayLike) -> Array:
    """True over expected maximum-likelihood modulus of that many bars. [-]

    Depends on the count alone (Thoman, Bain & Antle 1969, Technometrics 11, 445; the factor that
    ASTM C1239 tabulates). Fitted to half a million simulated samples or more at each of eight
    counts from 5 to 60: within 0.001 of them, and it tends to one as 1.41/count.

    Parameters
    ----------
    count : array_like
        Number of bars, at least 5. [-]
    """
    n = between("number of bars", count, FEWEST_BARS, np.inf)
    return 1.0 / (1.0 + 1.412 / n + 1.600 / n**2 + 11.89 / n**3)


def fit_weibull(strengths: npt.ArrayLike, confidence: float = 0.9) -> WeibullFit:
    """Weibull modulus and characteristic strength of like bars, with confidence intervals.

    Maximum likelihood for a complete sample with one kind of flaw. Intervals from the two pivots of
    Thoman, Bain & Antle (1969), which do not depend on the true values; their distribution is
    simulated with a fixed seed, so the same bars always give the same figures.

    Parameters
    ----------
    strengths : array_like
        Strengths of the bars, at least 5, not all alike. [Pa]
    confidence : float
        Two-sided, 0.5 to 0.999. [-]

    Raises
    ------
    InputError
        If there are too few bars, or they do not scatter.
    """
    sample = positive("strength", strengths).ravel()
    level = float(between("confidence", confidence, 0.5, 0.999))
    if sample.size < FEWEST_BARS:
        msg = f"strengths: {counted(sample.size, 'bar')}, at least {FEWEST_BARS} are needed"
        raise InputError(msg)
    logs = np.log(sample)
    if np.ptp(logs) < 1e-6:
        msg = "strengths: all bars alike, a Weibull modulus needs scatter"
        raise InputError(msg)
    shape, log_scale = (float(value[0]) for value in _most_likely(logs[None, :]))
    ends = (0.5 * (1.0 - level), 0.5 * (1.0 + level))
    shape_pivot, scale_pivot = (np.quantile(p, ends) for p in _pivots(sample.size))
    return WeibullFit(
        count=sample.size,
        modulus=shape,
        unbiased_modulus=shape * float(unbiasing_factor(sample.size)),
        characteristic_strength=float(np.exp(log_scale)),
        modulus_interval=(shape / float(shape_pivot[1]), shape / float(shape_pivot[0])),
        characteristic_interval=(
            float(np.exp(log_scale - scale_pivot[1] / shape)),
            float(np.exp(log_scale - scale_pivot[0] / shape)),
        ),
        confidence=level,
    )


def strength_at_risk(
    fit: WeibullFit, risk: float | Callable[[Array], Array]
) -> tuple[float, float, float]:
    """Strength at which the risk of rupture is as given, with its confidence limits. [Pa]

    σ0 B^(1/m), at the level of the fit; B = ln 2 is the median. From the same pivots: m̂ ln(σ̂/σ) is
    that of the characteristic strength plus ln B − (m̂/m) ln B; where B is that of a body of another
    shape, the second is B at the modulus m.

    Parameters
    ----------
    fit : WeibullFit
        From `fit_weibull`.
    risk : float or callable
        B, positive; a volume V times as large as the bars' has V times their risk. Or from moduli,
        any shape, to B: a volume that counts by the modulus. [-]

    Returns
    -------
    tuple of float
        Most likely value, lower and upper limit. [Pa]
    """

    def log_risk(modulus: Array) -> Array:
        return np.log(positive("risk", risk(modulus) if callable(risk) else risk))

    shape, scale = _pivots(fit.count)
    ends = (0.5 * (1.0 - fit.confidence), 0.5 * (1.0 + fit.confidence))
    own = float(log_risk(np.array(fit.unbiased_modulus)))
    low, high = np.quantile(scale + own - shape * log_risk(fit.modulus / shape), ends)
    found = np.log(fit.characteristic_strength) + own / fit.modulus
    return (
        float(np.exp(found)),
        float(np.exp(found - high / fit.modulus)),
        float(np.exp(found - low / fit.modulus)),
    )


def _most_likely(logs: Array) -> tuple[Array, Array]:
    """Maximum-likelihood modulus and log of the characteristic strength of each row."""
    centred = logs - logs.mean(axis=1, keepdims=True)
    m = np.pi / np.sqrt(6.0) / centred.std(axis=1)  # by the moments of the logarithm
    top = centred.max(axis=1, keepdims=True)
    for _ in range(50):
        weight = np.exp(m[:, None] * (centred - top))
        whole = weight.sum(axis=1)
        mean = (weight * centred).sum(axis=1) / whole
        spread = (weight * centred**2).sum(axis=1) / whole - mean**2
        step = (mean - 1.0 / m) / (spread + 1.0 / m**2)  # Newton on a rising function
        m = np.maximum(m - step, 0.5 * m)
        if np.all(np.abs(step) <= 1e-12 * m):
            break
    whole = np.exp(m[:, None] * (centred - top)).mean(axis=1)
    return m, logs.mean(axis=1) + top[:, 0] + np.log(whole) / m


@lru_cache(maxsize=16)
def _pivots(count: int) -> tuple[Array, Array]:
    """Modulus over its true value, and modulus times log error of the strength, as simulated."""
    samples = max(2_000, min(SIMULATED_SAMPLES, 2_000_000 // count))
    draws = np.random.default_rng(1939).standard_exponential((samples, count))
    shape, log_scale = _most_likely(np.log(draws))
    return shape, shape * log_scale


# ----------------------------------------------------------------------------------------------
# What a bowed strip says of its materials


def chord_curvature(rise: npt.ArrayLike, chord: npt.ArrayLike) -> Array:
    """Curvature of an arc from the rise of its middle above the line between its ends. [1/m]

    Exact for a circle: κ = 8 s/(c² + 4 s²).

    Parameters
    ----------
    rise : array_like
        s, of either sign. [m]
    chord : array_like
        c, straight between the ends. [m]
    """
    s, c = np.asarray(rise, dtype=np.float64), positive("chord", chord)
    return np.asarray(8.0 * s / (c**2 + 4.0 * s**2))


def strip_mismatch(
    curvature: npt.ArrayLike,
    top_thickness: npt.ArrayLike,
    bottom_thickness: npt.ArrayLike,
    top_modulus: npt.ArrayLike,
    bottom_modulus: npt.ArrayLike,
) -> Array:
    """Free strain of the top of a narrow strip minus that of its bottom, from its curvature. [-]

    S. Timoshenko 1925, J. Opt. Soc. Am. 11, 233: κ = 6 Δε (1+m)²/(h [3(1+m)² + (1+mn)(m² +
    1/(mn))]), solved for Δε; m and n are the ratios of thickness and modulus, top over bottom, h is
    the whole thickness. Elastic, bonded, narrow (width below some five thicknesses), length many
    times the thickness. A metal that yields bends the strip less: the figure is then a lower bound.

    Parameters
    ----------
    curvature : array_like
        Positive where the top is the longer. [1/m]
    top_thickness, bottom_thickness : array_like
        [m]
    top_modulus, bottom_modulus : array_like
        Young's moduli. [Pa]
    """
    top, bottom = positive("thickness", top_thickness), positive("thickness", bottom_thickness)
    m = top / bottom
    n = positive("modulus", top_modulus) / positive("modulus", bottom_modulus)
    square = (1.0 + m) ** 2
    bracket = 3.0 * square + (1.0 + m * n) * (m**2 + 1.0 / (m * n))
    return np.asarray(np.asarray(curvature) * (top + bottom) * bracket / (6.0 * square))


def strip_stress(
    mismatch: npt.ArrayLike,
    top_thickness: npt.ArrayLike,
    bottom_thickness: npt.ArrayLike,
    top_modulus: npt.ArrayLike,
    bottom_modulus: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Largest stress by size in the top and in the bottom of a strip free to bend. [Pa]

    Force and moment balance of the same elastic strip as in `strip_mismatch`.

    Parameters
    ----------
    mismatch : array_like
        Free strain of the top minus that of the bottom. [-]
    top_thickness, bottom_thickness : array_like
        [m]
    top_modulus, bottom_modulus : array_like
        Young's moduli. [Pa]
    """
    e = np.asarray(mismatch, dtype=np.float64)
    t, b = positive("thickness", top_thickness), positive("thickness", bottom_thickness)
    E, F = positive("modulus", top_modulus), positive("modulus", bottom_modulus)
    unit = strip_mismatch(1.0, t, b, E, F)
    curvature = e / unit
    # force that each part carries, tension in the bottom: P (t + b)/2 = κ (E t³ + F b³)/12
    force = curvature * (E * t**3 + F * b**3) / (6.0 * (t + b))
    return (
        np.asarray(np.abs(force) / t + 0.5 * E * t * np.abs(curvature)),
        np.asarray(np.abs(force) / b + 0.5 * F * b * np.abs(curvature)),
    )
