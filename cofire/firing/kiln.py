"""What kiln and ware really do under a firing, and how hard the kiln works for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.firing.program import Firing, Kiln
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, ROOM, celsius

# ----------------------------------------------------------------------------------------------
# What kiln and ware really do under a firing: temperature against time

GRID = 4.0
"""Nodes lie no further apart than this in temperature. [K]"""
USUAL_STEP = 5.0 * MINUTE
"""Nodes of a hold of usual length lie no further apart than this. [s]"""
INSTANT = 1e-3
"""A hold or a lag no longer than this is none. [s]"""
END = ROOM + 5.0
"""A firing ends when kiln and ware have cooled to 25 °C. [K]"""


@dataclass(frozen=True)
class Stretch:
    """One gas for as long as it surrounds the ware.

    Attributes
    ----------
    first, last
        Nodes of the trace at which it comes and goes.
    peak
        Hottest temperature of the ware meanwhile. [K]
    """

    gas: str
    first: int
    last: int
    peak: float


@dataclass(frozen=True)
class Trace:
    """Temperature of ware and kiln over time, linear between nodes.

    Attributes
    ----------
    time
        Strictly increasing from zero, shape (M,). [s]
    ware, kiln
        Temperatures at those times, shape (M,). [K]
    breakpoints
        Indices of the ends of ramps and holds, first and last node included.
    gas
        What surrounds the ware: one of the gases; where it changes, that of the hottest segment.
    turns
        Node from which each gas surrounds the ware, and the gas, the first at node 0; empty where
        it is one throughout.
    segments
        Nodes at which each segment of its firing begins, reaches its target and ends; empty where
        it is no firing that was written.
    """

    time: Array
    ware: Array
    kiln: Array
    breakpoints: NDArray[np.intp]
    gas: str = "air"
    turns: tuple[tuple[int, str], ...] = ()
    segments: tuple[tuple[int, int, int], ...] = ()

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Each gas in turn, from the node where it comes to the one where it goes."""
        turns = self.turns or ((0, self.gas),)
        ends = [node for node, _ in turns[1:]] + [self.time.size - 1]
        return tuple(
            Stretch(gas, first, last, float(self.ware[first : last + 1].max()))
            for (first, gas), last in zip(turns, ends, strict=True)
        )

    @property
    def hottest_in(self) -> dict[str, int]:
        """Node at which the ware is hottest in each gas, in the order in which they come."""
        found: dict[str, int] = {}
        for s in self.stretches:
            node = s.first + int(np.argmax(self.ware[s.first : s.last + 1]))
            if s.gas not in found or self.ware[node] > self.ware[found[s.gas]]:
                found[s.gas] = node
        return found

    def steps_in(self, gas: str) -> NDArray[np.bool_]:
        """Which steps between nodes lie in a gas, shape (M-1,).

        Parameters
        ----------
        gas : str
            One of the gases.
        """
        within = np.zeros(self.time.size - 1, dtype=np.bool_)
        for s in self.stretches:
            within[s.first : s.last] |= s.gas == gas
        return within

    @property
    def peak(self) -> float:
        """Hottest temperature of the ware. [K]"""
        return float(self.ware.max())

    def __repr__(self) -> str:
        return (
            f"<Trace: {self.time[-1] / HOUR:.1f} h in "
            f"{', then '.join(s.gas for s in self.stretches)}, ware to "
            f"{celsius(self.peak):.0f} °C, {self.time.size} nodes>"
        )


def _limits(kiln: Kiln, rising: bool) -> tuple[Array, Array]:
    if rising:
        return kiln.heating_temperature, kiln.heating_rate
    return kiln.cooling_temperature, kiln.cooling_rate


def ramp(kiln: Kiln, start: float, stop: float, rate: float) -> tuple[Array, Array]:
    """Times and temperatures of one ramp, exact for limits that are linear in temperature.

    Parameters
    ----------
    kiln : Kiln
        Its limits; beyond their last row they are held.
    start, stop : float
        Temperatures. [K]
    rate : float
        Asked for; infinite means as fast as the kiln can. [K/s]

    Returns
    -------
    tuple of array
        Times after the start and the temperatures then, without the start itself. [s], [K]

    Raises
    ------
    InputError
        The kiln cannot get past some temperature.
    """
    low, high = min(start, stop), max(start, stop)
    rows, limit = _limits(kiln, stop > start)
    points = [np.array([low, high]), np.arange(np.ceil(low / GRID), high / GRID) * GRID, rows]
    if np.isfinite(rate):  # temperatures at which the limit crosses the rate asked for
        below = limit < rate
        for i in np.flatnonzero(below[:-1] != below[1:]):
            share = (rate - limit[i]) / (limit[i + 1] - limit[i])
            points.append(np.array([rows[i] + share * (rows[i + 1] - rows[i])]))
    grid = np.unique(np.concatenate(points))
    grid = grid[(grid >= low) & (grid <= high)]
    keep = np.append(True, np.diff(grid) > 1e-9)
    if not keep[-1]:  # a node within rounding of the end gives way to it
        keep[-2:] = False, True
    grid = grid[keep]
    allowed = np.minimum(rate, np.interp(grid, rows, limit))
    if np.any(allowed <= 0.0):
        stuck = celsius(float(grid[np.argmax(allowed <= 0.0)]))
        raise InputError(f"{kiln.name}: its rate at {stuck:.0f} °C is 0; it never gets past that")
    left, right = allowed[:-1], allowed[1:]
    ratio = right / left
    near = np.abs(ratio - 1.0) < 1e-6
    log_mean = np.where(
        near, 0.5 * (left + right), (right - left) / np.log(np.where(near, 2.0, ratio))
    )
    duration = np.diff(grid) / log_mean
    if stop < start:
        grid, duration = grid[::-1], duration[::-1]
    return np.cumsum(duration), grid[1:]


def _hold(start: float, length: float, lag: float) -> Array:
    """Times through a hold: dense while the ware approaches the kiln, a few hundred after that."""
    settling = length if length - 12.0 * lag <= INSTANT else 12.0 * lag
    dense = min(USUAL_STEP, max(lag / 12.0, 15.0))
    even = max(USUAL_STEP, (length - settling) / 200.0)
    nodes = [np.empty(0)]
    for low, high, step in ((0.0, settling, dense), (settling, length, even)):
        if high > low:
            count = max(1, int(np.ceil((high - low) / step - 1e-9)))
            nodes.append(start + low + (high - low) * np.arange(1, count + 1) / count)
    return np.concatenate(nodes)


def follow(time: Array, kiln: Array, lag: float, start: float) -> Array:
    """First-order response of the ware to a kiln that is linear between nodes (exact).

    Parameters
    ----------
    time : array
        Strictly increasing, shape (M,). [s]
    kiln : array
        Shape (M,). [K]
    lag : float
        Time constant; 0 means that the ware is as hot as the kiln. [s]
    start : float
        Of the ware. [K]

    Returns
    -------
    array
        Ware, shape (M,). [K]
    """
    if lag <= 0.0:
        return kiln.copy()
    step = np.diff(time)
    slope = np.diff(kiln) / step
    decay = np.exp(-step / lag)
    ware = np.empty_like(kiln)
    ware[0] = value = start
    trail = slope * lag
    for i in range(step.size):
        value = kiln[i + 1] - trail[i] + (value - kiln[i] + trail[i]) * decay[i]
        ware[i + 1] = value
    return ware


def trace(firing: Firing) -> Trace:
    """Temperature of kiln and ware from cold to cold again.

    The kiln follows each ramp as far as its heating rate at full power, or its cooling when
    shut, allows; the controller waits for the kiln, so a slow kiln stretches the firing. After
    the last segment it cools freely to 25 °C. The ware follows as one lump with time constant
    `firing.lag` (valid while its own Biot number is small; a thick carbon bed is only
    approximately first order). A segment's gas comes when the kiln begins the segment.

    Parameters
    ----------
    firing : Firing
        Segments, kiln and pack.

    Returns
    -------
    Trace
        Nodes at most 4 K apart.

    Raises
    ------
    InputError
        No segments, or the kiln cannot get past some temperature.
    """
    if not firing.segments:
        raise InputError(
            f"{firing.name}: it has no segments; write them, or choose a firing to begin from"
        )
    kiln = firing.kiln
    lag = firing.lag if firing.lag > INSTANT else 0.0
    times, temperatures = [np.array([0.0])], [np.array([ROOM])]
    stands = []  # when each segment begins, is at its target and ends
    now, here = 0.0, ROOM
    for target, rate, hold in [
        *((s.target, s.rate, s.hold) for s in firing.segments),
        (END, np.inf, 0.0),
    ]:
        begins = now
        if abs(target - here) > 1e-9:
            ramp_time, ramp_temperature = ramp(kiln, here, target, rate)
            times.append(now + ramp_time)
            temperatures.append(ramp_temperature)
            now, here = float(times[-1][-1]), target
        reached = now
        if hold > INSTANT:
            times.append(_hold(now, hold, lag))
            temperatures.append(np.full(times[-1].shape, here))
            now = float(times[-1][-1])
        stands.append((begins, reached, now))
    if lag > 0.0:  # the ware is still warmer when the kiln has cooled
        tail = lag * np.log(1.0 + 100.0)
        times.append(_hold(now, tail, lag))
        temperatures.append(np.full(times[-1].shape, here))
    time = np.concatenate(times)
    kiln_temperature = np.concatenate(temperatures)
    ware = follow(time, kiln_temperature, lag, ROOM)
    nodes = np.searchsorted(time, np.array(stands) * (1 - 1e-12))
    breakpoints = np.unique(np.append(nodes, time.size - 1))
    turns: list[tuple[int, str]] = []
    for node, gas in zip(nodes[:-1, 0].tolist(), firing.gases, strict=True):
        if turns and turns[-1][0] == node:  # a segment that takes no time
            turns.pop()
        if not turns or turns[-1][1] != gas:
            turns.append((node, gas))
    return Trace(
        time,
        ware,
        kiln_temperature,
        breakpoints.astype(np.intp),
        firing.gas,
        tuple(turns) if len(turns) > 1 else (),
        tuple((a, b, c) for a, b, c in nodes[:-1].tolist()),
    )


# ----------------------------------------------------------------------------------------------
# How hard a kiln works through a firing, and the current that takes


def duty(kiln: Kiln, temperature: Array, rate: Array) -> Array:
    """Share of full power that holds a rate at a temperature.

    The kiln as one lump: full power heats it at the rate of its table against losses that, with
    the power off, cool it at the rate of its other table. Both tables then give the share,
    (rate + cooling) / (heating + cooling), whatever the kiln weighs. Below 0 or above 1 where the
    kiln cannot do it. Good where walls and load follow the element; a cold kiln driven fast takes
    more.

    Parameters
    ----------
    kiln : Kiln
        Its rates at full power and shut.
    temperature : array
        Of the kiln; beyond the tables' rows their ends are held, shape (K,). [K]
    rate : array
        Of temperature, shape (K,). [K/s]

    Returns
    -------
    array
        Shape (K,). [-]
    """
    heats = np.interp(temperature, kiln.heating_temperature, kiln.heating_rate)
    cools = np.interp(temperature, kiln.cooling_temperature, kiln.cooling_rate)
    return np.asarray((rate + cools) / (heats + cools))


def firing_energy(kiln: Kiln, time: Array, temperature: Array, full_power: float) -> float:
    """Current that a firing takes, by `duty`. [J]

    Parameters
    ----------
    kiln : Kiln
        Its rates at full power and shut.
    time : array
        Shape (M,). [s]
    temperature : array
        Of the kiln, linear between these times, shape (M,). [K]
    full_power : float
        Of its elements. [W]
    """
    step = np.diff(time)
    middle = 0.5 * (temperature[1:] + temperature[:-1])
    share = np.clip(duty(kiln, middle, np.diff(temperature) / step), 0.0, 1.0)
    return float(full_power * np.sum(share * step))
