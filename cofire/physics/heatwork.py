"""Which pyrometric cone a firing brings down: heat work, which is no temperature.

A cone bends when its clock Θ = ∫ exp(−Q/RT)/T dt is full, the same clock as that of the master
sintering curve (Su & Johnson 1996, J. Am. Ceram. Soc. 79, 3211). The chart tells the full clock of
each cone, from a steady rise, and the energy Q, from its columns at two rates (Kissinger 1957,
Anal. Chem. 29, 1702, in exact form). So a firing with holds gets the cone it equals.

Range of validity: rises of about 15 to 300 °C/h and holds of some hours at the top, which is where
charts and practice meet (common practice). Cones from 03 up share an energy of about 1050 kJ/mol,
the fluxed ones below 011 one of about 530 kJ/mol (columns at 20 and 150 °C/h of Fairchild & Peters
1926, J. Am. Ceram. Soc. 9, 700, recalled), so one energy for all would be up to 10 K wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import exp1

from cofire.errors import InputError, OutOfRange
from cofire.numerics import Array
from cofire.physics.sintering import GAUSS_POINTS, GAUSS_WEIGHTS, master_clock_rate
from cofire.units import GAS_CONSTANT, HOUR

NEIGHBOURS = 2
"""Cones on either side whose energies count in a cone's own (a running median of five)."""

CHART_ROUNDING = 0.5
"""A firing this near to a row of the chart ends on it: half a degree. [K]"""


@dataclass(frozen=True)
class ConeEquivalent:
    """The heat work of a firing, told in cones. It is not a temperature and converts to none.

    Attributes
    ----------
    below, above
        The last cone down and the first one standing; the same cone where the firing ends on it.
    fraction
        How far from `below` to `above`, in the logarithm of the clock, from 0 to 1. [-]
    rate
        Column of the chart: 'heat work equal to this cone in a steady rise of this rate'. [K/s]
    interpolated
        True where the firing ends between two cones, by more than the chart's rounding.
    """

    below: str
    above: str
    fraction: float
    rate: float
    interpolated: bool

    @property
    def cone(self) -> str:
        """The nearer of the two cones."""
        return self.below if self.fraction < 0.5 else self.above


def heat_work(time: ArrayLike, temperature: ArrayLike, activation_energy: ArrayLike) -> Array:
    """Reading of the clock ∫ exp(−Q/RT)/T dt after a trace that is linear between its nodes.

    Exact for any spacing of the nodes: ∫ exp(−Q/RT)/T dT = E1(Q/RT) on a rise, three-point Gauss
    quadrature where the rate hardly changes within an interval.

    Parameters
    ----------
    time : array_like
        Rising, shape (M,). [s]
    temperature : array_like
        Shape (M,). [K]
    activation_energy : array_like
        Q, scalar or shape (N,). [J/mol]

    Returns
    -------
    array
        Shape of the energy. [s/K]

    Raises
    ------
    InputError
        Fewer than two nodes, shapes that differ, a time that falls, or a temperature not above 0 K.
    """
    t = np.asarray(time, dtype=np.float64)
    T = np.asarray(temperature, dtype=np.float64)
    if t.ndim != 1 or t.size < 2 or t.shape != T.shape:
        raise InputError(f"trace: time {t.shape} and temperature {T.shape}; two nodes or more each")
    step = np.diff(t)
    if not (np.all(step >= 0.0) and np.all(T > 0.0) and np.all(np.isfinite(t + T))):
        raise InputError("trace: time must not fall, and temperatures are absolute and finite")
    Q = np.asarray(activation_energy, dtype=np.float64)[..., None]
    start, end = T[:-1], T[1:]
    inside = start[:, None] + (end - start)[:, None] * GAUSS_POINTS
    gauss = master_clock_rate(inside, Q[..., None]) @ GAUSS_WEIGHTS
    steep = Q / GAS_CONSTANT * np.abs(1.0 / start - 1.0 / end) > 0.5
    change = np.where(steep, end - start, 1.0)
    rise = (exp1(Q / (GAS_CONSTANT * end)) - exp1(Q / (GAS_CONSTANT * start))) / change
    return np.asarray(np.sum(np.where(steep, rise, gauss) * step, axis=-1))


def steady_heat_work(
    temperature: ArrayLike, rate: ArrayLike, activation_energy: ArrayLike
) -> Array:
    """Reading of the clock after a steady rise from the cold to a temperature: E1(Q/RT)/rate.

    Parameters
    ----------
    temperature : array_like
        At the end. [K]
    rate : array_like
        Of the rise. [K/s]
    activation_energy : array_like
        Q. [J/mol]

    Returns
    -------
    array
        Broadcast shape. [s/K]
    """
    u = np.asarray(activation_energy) / (GAS_CONSTANT * np.asarray(temperature, dtype=np.float64))
    return np.asarray(exp1(u) / np.asarray(rate), dtype=np.float64)


def energy_from_two_rates(temperatures: ArrayLike, rates: ArrayLike) -> Array:
    """Energy with which a body reaches the same heat work at two rates, each at its temperature.

    Parameters
    ----------
    temperatures : array_like
        At the lower and the higher rate, rising, shape (..., 2). [K]
    rates : array_like
        The two rates, rising, shape (2,). [K/s]

    Returns
    -------
    array
        Q, shape (...). [J/mol]
    """
    T = np.asarray(temperatures, dtype=np.float64)
    ratio = np.log(rates)[1] - np.log(rates)[0]
    log_rise = np.log(T[..., 1] / T[..., 0])
    reciprocal = 1.0 / T[..., 0] - 1.0 / T[..., 1]
    Q = np.asarray(GAS_CONSTANT * (ratio - log_rise) / reciprocal)
    for _ in range(20):  # E1(u) = g(u) exp(−u)/u with g close to 1: converges fast
        u = Q[..., None] / (GAS_CONSTANT * T)
        g = np.log(u * exp1(u)) + u
        Q = np.asarray(GAS_CONSTANT * (ratio - log_rise - g[..., 1] + g[..., 0]) / reciprocal)
    return Q


def cone_energies(bending_temperature: ArrayLike, rates: ArrayLike) -> Array:
    """Energy of each cone of a chart, from its columns at the lowest and the highest rate.

    A running median of five cones, since a degree of rounding in one cone's temperatures is worth
    5 to 10 % of its energy.

    Parameters
    ----------
    bending_temperature : array_like
        Coolest cone first, shape (N, R) with R at least 2. [K]
    rates : array_like
        Rising, shape (R,). [K/s]

    Returns
    -------
    array
        Q, shape (N,). [J/mol]

    Raises
    ------
    InputError
        A chart with one rate only: it holds no energy.
    """
    T, rate = np.asarray(bending_temperature, dtype=np.float64), np.asarray(rates)
    if rate.size < 2 or T.ndim != 2 or T.shape[1] != rate.size:
        raise InputError(
            f"cone chart: {rate.size} rate(s), temperatures {T.shape}; needs two rates"
        )
    own = energy_from_two_rates(T[:, [0, -1]], rate[[0, -1]])
    windows = [own[max(0, i - NEIGHBOURS) : i + NEIGHBOURS + 1] for i in range(own.size)]
    return np.array([np.median(window) for window in windows])


def cone_equivalent(
    time: ArrayLike,
    temperature: ArrayLike,
    cones: Sequence[str],
    rates: ArrayLike,
    bending_temperature: ArrayLike,
    rate: float | None = None,
) -> ConeEquivalent:
    """The cone whose heat work, in a steady rise, a firing equals.

    Each cone runs its own clock along the firing, so the answer holds for ramps and holds alike.

    Parameters
    ----------
    time : array_like
        Of the trace of the ware, shape (M,). [s]
    temperature : array_like
        Shape (M,). [K]
    cones : sequence of str
        Labels of the chart, coolest first, N of them.
    rates : array_like
        Of the chart, rising, shape (R,). [K/s]
    bending_temperature : array_like
        Of the chart, shape (N, R). [K]
    rate : float, optional
        Column of the chart to speak in, by default its slowest. [K/s]

    Returns
    -------
    ConeEquivalent
        Cones and fraction, never a temperature.

    Raises
    ------
    OutOfRange
        Less heat work than the chart's first cone, or more than its last.
    InputError
        A rate that is no column of the chart.
    """
    bending, columns = np.asarray(bending_temperature, dtype=np.float64), np.asarray(rates)
    wanted = float(columns[0]) if rate is None else rate
    column = int(np.argmin(np.abs(columns - wanted)))
    if not np.isclose(columns[column], wanted, rtol=1e-6, atol=0.0):
        known = ", ".join(f"{value * HOUR:g}" for value in columns)
        raise InputError(f"cone chart: no column at {wanted * HOUR:g} °C/h; it has {known}")
    energy = cone_energies(bending, columns)
    full = steady_heat_work(bending[:, column], columns[column], energy)
    tiny = np.finfo(np.float64).tiny
    progress = np.log(np.maximum(heat_work(time, temperature, energy), tiny)) - np.log(full)
    rounding = CHART_ROUNDING * energy / (GAS_CONSTANT * bending[:, column] ** 2)

    speak = f"at {columns[column] * HOUR:g} °C/h"
    if progress[0] < -rounding[0]:
        raise OutOfRange(f"heat work below cone {cones[0]} {speak}, the chart's first")
    if progress[-1] > rounding[-1]:
        raise OutOfRange(f"heat work above cone {cones[-1]} {speak}, the chart's last")
    down = np.flatnonzero(progress >= 0.0)
    i = int(down[-1]) if down.size else 0
    j = i + 1 if down.size and i + 1 < len(cones) else i
    fraction = float(progress[i] / (progress[i] - progress[j])) if j > i else 0.0
    on_a_cone = abs(progress[i]) <= rounding[i] or abs(progress[j]) <= rounding[j]
    return ConeEquivalent(
        below=cones[i],
        above=cones[j],
        fraction=fraction,
        rate=float(columns[column]),
        interpolated=not on_a_cone,
    )
