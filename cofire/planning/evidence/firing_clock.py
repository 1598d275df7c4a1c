"""Clock of the master sintering curve along firings, and the plain firing that equals another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import FiredAt
from cofire.inputs.trace import Trace
from cofire.inputs.units import HOUR, MINUTE, ROOM, celsius, kelvin
from cofire.physics.densification import (
    GAS_CONSTANT,
    GAUSS_POINTS,
    GAUSS_WEIGHTS,
    master_clock_rate,
)

Array = NDArray[np.float64]

LONGEST_HOLD = 6000.0 * MINUTE
"""As a card may state it. [s]"""
SLOWEST, FASTEST = 5.0 / HOUR, 1000.0 / HOUR
"""Ramps among which that of a log is sought. [K/s]"""


class Clock:
    """Logarithm of the master clock at chosen nodes of a trace, and its derivatives."""

    def __init__(self, time: Array, temperature: Array, nodes: NDArray[np.intp]) -> None:
        inside = temperature[:-1, None] + np.diff(temperature)[:, None] * GAUSS_POINTS
        self.weight = np.diff(time)[:, None] * GAUSS_WEIGHTS / inside
        self.inverse = 1.0 / inside
        self.hottest = float(self.inverse.min())
        self.powers = np.stack([np.ones_like(inside), self.inverse, self.inverse**2])
        self.temperature = temperature
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
            sums = (self.powers.reshape(3, -1) @ rate.ravel())[:, None]
        else:
            sums = np.cumsum((self.powers * rate).sum(axis=2), axis=1)[:, self.nodes - 1]
        whole = np.maximum(sums[0], np.finfo(np.float64).tiny)
        mean, square = sums[1] / whole, sums[2] / whole
        found = np.log(whole) - reduced * self.hottest, -reduced * mean, reduced * square - mean
        self._last = (energy, found)
        return found


def plain_clock(fired: FiredAt) -> Clock:
    """Clock of the firing that a card states: one ramp, one hold, cooling left out.

    Parameters
    ----------
    fired : FiredAt
        Ramp, peak, hold.

    Returns
    -------
    Clock
        Read at its end.
    """
    ramp = np.linspace(ROOM, fired.peak, 400)
    time = (ramp - ROOM) / fired.rate
    if fired.hold > 0.0:
        time, ramp = np.append(time, time[-1] + fired.hold), np.append(ramp, fired.peak)
    return Clock(time, ramp, np.array([ramp.size - 1]))


def trace_clock(trace: Trace) -> Clock:
    """Clock of what pieces saw, read at the end.

    Parameters
    ----------
    trace : Trace
        Of the pieces.

    Returns
    -------
    Clock
        Read at its end.
    """
    return Clock(trace.time, trace.ware, np.array([trace.time.size - 1]))


def equivalent(trace: Trace, rate: float | None, energy: float) -> FiredAt:
    """One ramp and one hold with the heat work of a trace.

    Parameters
    ----------
    trace : Trace
        What pieces saw.
    rate : float, optional
        Of the ramp; by default that of the last 100 K to the peak. [K/s]
    energy : float
        Q. [J/mol]

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
    plain = FiredAt(round(rate * HOUR, 1) / HOUR, kelvin(round(celsius(peak), 1)), 0.0)
    whole = float(np.exp(trace_clock(trace).read(energy)[0][0]))
    ramp = float(np.exp(plain_clock(plain).read(energy)[0][0]))
    if whole < ramp:
        return replace(plain, rate=max(round(rate * HOUR * ramp / whole, 1), 1.0) / HOUR)
    hold = (whole - ramp) / float(master_clock_rate(plain.peak, energy))
    return replace(plain, hold=round(min(hold, LONGEST_HOLD) / MINUTE, 1) * MINUTE)
