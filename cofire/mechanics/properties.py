"""What every material of a structure is like at any instant between two nodes of its history."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.numerics import shape_preserving_cubics

if TYPE_CHECKING:
    from cofire.numerics import Array
    from cofire.physics.history import History

REFERENCE_STRESS = 1.0e9
"""Stress at which the creep rate is tabulated, so that any exponent stays in range. [Pa]"""

NO_YIELD = 1.0e12
"""Yield stress that stands for a body which does not yield. [Pa]"""

_LARGEST_VISCOSITY = 1.0e25
_SLOWEST_CREEP = 1.0e-30
_BEYOND = 0.5  # of the way between two materials, by which a level may lie beyond them
_FREE, _YOUNG, _POISSON, _LOG_FLUIDITY, _VISCOUS_POISSON, _LOG_CREEP, _EXPONENT, _YIELD = range(8)


@dataclass(frozen=True)
class Mechanisms:
    """Which ways of relief the law may use; one switched off contributes exactly zero.

    Attributes
    ----------
    viscous, creep, plastic
        Viscous flow, power-law creep and yield.
    """

    viscous: bool = True
    creep: bool = True
    plastic: bool = True


class PointProperties(NamedTuple):
    """Properties at one instant, each array of one shape (materials or points).

    Attributes
    ----------
    free_strain
        Sum of all free strains. [-]
    young_modulus
        Young's modulus. [Pa]
    poisson_ratio
        Elastic. [-]
    fluidity
        One over the uniaxial viscosity. [1/(Pa s)]
    viscous_poisson_ratio
        Lateral over axial rate in viscous flow. [-]
    log_creep_rate
        Natural logarithm of the creep rate (in 1/s) at `REFERENCE_STRESS`. [-]
    creep_exponent
        Power of the stress in that rate. [-]
    yield_stress
        1e12 Pa where nothing yields. [Pa]
    """

    free_strain: Array
    young_modulus: Array
    poisson_ratio: Array
    fluidity: Array
    viscous_poisson_ratio: Array
    log_creep_rate: Array
    creep_exponent: Array
    yield_stress: Array


@dataclass(frozen=True)
class Levels:
    """L materials in and between those of a history: what a wall that fades is made of.

    Attributes
    ----------
    lower, upper
        The two that each lies between, shape (L,). [-]
    share
        Way from the first to the second, shape (L,); a little beyond either, the line is drawn
        on. [-]
    """

    lower: NDArray[np.intp]
    upper: NDArray[np.intp]
    share: Array

    @cached_property
    def inside(self) -> Levels:
        """The same, those beyond two materials at the nearer one."""
        return replace(self, share=np.clip(self.share, 0.0, 1.0))

    def of(self, values: Array) -> Array:
        """Values of the levels, shape (..., L), along straight lines between the materials.

        Parameters
        ----------
        values
            Of the materials, shape (..., N). [any]
        """
        low = values.take(self.lower, axis=-1)
        return np.asarray(low + self.share * (values.take(self.upper, axis=-1) - low))


def of_points(values: Array, levels: Levels | None) -> Array:
    """Values of what a structure's points count: levels between the materials, or these themselves.

    Parameters
    ----------
    values
        Of the materials of the history, shape (..., N). [any]
    levels
        Of the structure; None where its points are of the materials.
    """
    return values if levels is None else levels.of(values)


@dataclass(frozen=True)
class Fade:
    """How the materials of a wall follow one another where they do not change at a step.

    Attributes
    ----------
    height, share
        Along the wall, rising, and how much is of one of two substances, shape (K,). [m], [-]
    rows, shares
        Materials of a history that are mixed of the two, by their share of it, rising, shape (R,).
        [-], [-]
    """

    height: Array
    share: Array
    rows: NDArray[np.intp]
    shares: Array

    def at(self, height: Array) -> tuple[Levels, NDArray[np.intp]]:
        """What stands at some heights: levels, each once, and the index of each place's.

        Parameters
        ----------
        height
            Shape (S,). [m]
        """
        share, index = np.unique(np.interp(height, self.height, self.share), return_inverse=True)
        last = self.rows.size - 1
        low = np.clip(np.searchsorted(self.shares, share, side="right") - 1, 0, max(last - 1, 0))
        high = np.minimum(low + 1, last)
        gap = self.shares[high] - self.shares[low]
        way = (share - self.shares[low]) / np.where(gap > 0.0, gap, 1.0)
        way = np.clip(way, -_BEYOND, 1.0 + _BEYOND)
        return Levels(self.rows[low], self.rows[high], way), np.asarray(index, dtype=np.intp)


@dataclass(frozen=True)
class MaterialTable:
    """The histories of N materials made ready to be read at any time.

    Free strain follows a monotone cubic between breakpoints, so that its rate, and with it the
    stress of a body that flows, does not jump at every node. Moduli and yield stress are
    linear, viscosity and creep factor log-linear. An infinite viscosity is held as 1e25 Pa s, a
    creep factor of zero as 1e-30 1/s at 1 GPa, an infinite yield stress as 1 TPa.

    Attributes
    ----------
    time
        Nodes, shape (M,). [s]
    values, slopes
        Eight properties at each node and their slopes after it, shapes (M, 8, N), (M-1, 8, N).
    bends
        Quadratic and cubic coefficients of the free strain, shape (M-1, 2, N).
    flowing
        Count of the intervals before each node in which something flows, shape (M,).
    mechanisms
        Ways of relief in use.
    levels
        In and between the materials, if it is these that are asked for.
    """

    time: Array
    values: Array
    slopes: Array
    bends: Array
    flowing: NDArray[np.intp]
    mechanisms: Mechanisms
    levels: Levels | None = None

    def at(self, time: float) -> PointProperties:
        """Properties of the materials, or of the levels, at one time, arrays of shape (N,) or (L,).

        Parameters
        ----------
        time
            Within the history. [s]
        """
        last = self.time.size - 2
        j = min(max(int(self.time.searchsorted(time, side="right")) - 1, 0), last)
        x = time - self.time[j]
        row = self.values[j] + x * self.slopes[j]
        row[_FREE] += x * x * (self.bends[j, 0] + x * self.bends[j, 1])
        if (levels := self.levels) is not None:
            free, row[_YIELD] = levels.of(row[_FREE]), 1.0 / row[_YIELD]
            row = levels.inside.of(row)
            row[_FREE], row[_YIELD] = free, 1.0 / row[_YIELD]
        fluidity = np.exp(row[_LOG_FLUIDITY])
        fluid = fluidity > 1.001 / _LARGEST_VISCOSITY if self.mechanisms.viscous else False
        row[_LOG_FLUIDITY] = np.where(fluid, fluidity, 0.0)
        return PointProperties(*row)

    def between(self, levels: Levels | None) -> MaterialTable:
        """The same for levels between the materials; itself without any.

        Straight lines in what is held of each property, but for the yield stress, whose inverse is
        taken: half of what does not yield leaves the other half's doubled. A level beyond two
        materials has the free strain of the line drawn on, and else what the nearer one has.

        Parameters
        ----------
        levels
            Between these materials.
        """
        return self if levels is None else replace(self, levels=levels)

    def flows_beside(self) -> NDArray[np.bool_]:
        """Whether any material flows or creeps measurably just before or after each node, (M,)."""
        flows = np.diff(self.flowing) > 0
        return np.append(flows, False) | np.insert(flows, 0, False)

    def flows_between(self, start: float, end: float) -> bool:
        """Whether any material flows or creeps measurably between two times.

        Parameters
        ----------
        start, end
            Within the history, end after start. [s]
        """
        first = max(int(self.time.searchsorted(start, side="right")) - 1, 0)
        last = min(int(self.time.searchsorted(end, side="left")), self.time.size - 1)
        return bool(self.flowing[last] > self.flowing[first])


def material_table(history: History, mechanisms: Mechanisms | None = None) -> MaterialTable:
    """Histories made ready to be read at any time.

    Parameters
    ----------
    history
        Histories of N materials along one trace.
    mechanisms
        Ways of relief in use; all of them if not given.

    Raises
    ------
    InputError
        If a property is not a number or lies outside what the law can take.
    """
    mechanisms = mechanisms or Mechanisms()
    time = np.asarray(history.time, float)
    free = history.free_strain
    _check(history, free)
    count = free.shape[0]

    def steady(value: Array) -> Array:
        return np.broadcast_to(np.asarray(value, float)[:, None], free.shape)

    exponent = steady(history.creep_exponent)
    with np.errstate(divide="ignore"):
        log_creep = np.log(history.creep_factor) + exponent * np.log(REFERENCE_STRESS)
    viscosity = np.minimum(history.viscosity, _LARGEST_VISCOSITY)
    plastic_limit = history.yield_stress if mechanisms.plastic else np.full(free.shape, np.inf)
    stacked = np.stack(
        [
            free,
            history.young_modulus,
            steady(history.poisson_ratio),
            -np.log(viscosity),
            history.viscous_poisson_ratio,
            np.maximum(log_creep, np.log(_SLOWEST_CREEP)),
            exponent,
            np.minimum(plastic_limit, NO_YIELD),
        ]
    )
    if not mechanisms.creep:
        stacked[_LOG_CREEP] = np.log(_SLOWEST_CREEP)
    values = np.ascontiguousarray(np.moveaxis(stacked, (0, 1, 2), (1, 2, 0)))
    slopes = np.diff(values, axis=0) / np.diff(time)[:, None, None]
    bends = np.zeros((time.size - 1, 2, count))
    ends = np.unique(np.concatenate([[0], history.breakpoints, [time.size - 1]]))
    for first, last in itertools.pairwise(ends):
        if last - first >= 2:
            piece = slice(first, last + 1)
            with np.errstate(over="ignore"):  # slopes next to nothing
                third, second, one = shape_preserving_cubics(time[piece], free[:, piece])
            slopes[first:last, _FREE] = one.T
            bends[first:last, 0], bends[first:last, 1] = second.T, third.T
    return MaterialTable(
        time=time,
        values=values,
        slopes=slopes,
        bends=bends,
        flowing=_flowing_intervals(values, time, mechanisms),
        mechanisms=mechanisms,
    )


def breakpoints(history: History, tolerance: float | Array = 3.0e-5) -> NDArray[np.intp]:
    """Nodes, breakpoints included, between which straight lines follow the free-strain mismatch.

    Parameters
    ----------
    history
        Histories of N materials along one trace.
    tolerance
        Largest departure from the straight lines, as strain, one or one a node. [-]
    """
    time = np.asarray(history.time, float)
    free = history.free_strain
    mismatch = free - free.mean(axis=0)
    allowed = np.broadcast_to(tolerance, time.shape)
    ends = np.unique(np.concatenate([[0], history.breakpoints, [time.size - 1]]).astype(np.intp))
    kept = set(ends.tolist())
    todo = list(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True))
    while todo:
        first, last = todo.pop()
        if last - first < 2:
            continue
        share = (time[first + 1 : last] - time[first]) / (time[last] - time[first])
        rise = (mismatch[:, last] - mismatch[:, first])[:, None]
        chord = mismatch[:, first, None] + rise * share
        departure = np.abs(mismatch[:, first + 1 : last] - chord).max(axis=0)
        departure /= allowed[first + 1 : last]
        worst = int(departure.argmax())
        if departure[worst] > 1.0:
            middle = first + 1 + worst
            kept.add(middle)
            todo += [(first, middle), (middle, last)]
    return np.array(sorted(kept), dtype=np.intp)


def _flowing_intervals(values: Array, time: Array, mechanisms: Mechanisms) -> NDArray[np.intp]:
    """Number of intervals before each node in which the relief could reach 1e-4 of a stress."""
    young, duration = values[:, _YOUNG], time[-1] - time[0]
    relief = np.zeros_like(young)
    if mechanisms.viscous:
        relief += young * np.exp(values[:, _LOG_FLUIDITY])
    if mechanisms.creep:
        stress = np.minimum(values[:, _YIELD], 0.02 * young)
        with np.errstate(over="ignore"):
            power = (values[:, _EXPONENT] - 1.0) * np.log(stress / REFERENCE_STRESS)
            relief += young / REFERENCE_STRESS * np.exp(values[:, _LOG_CREEP] + power)
    node = (relief.max(axis=1) * duration) > 1.0e-4
    return np.concatenate([[0], np.cumsum(node[:-1] | node[1:])]).astype(np.intp)


def _check(history: History, free: Array) -> None:
    """Refuse what the law cannot take, naming property, material and time."""
    shape = free.shape
    poisson = np.broadcast_to(np.asarray(history.poisson_ratio, float)[:, None], shape)
    exponent = np.broadcast_to(np.asarray(history.creep_exponent, float)[:, None], shape)
    rules = (
        ("free strain", free, np.isfinite(free), "finite"),
        ("Young's modulus [Pa]", history.young_modulus, history.young_modulus > 0, "above 0"),
        ("Poisson's ratio", poisson, (poisson > -1) & (poisson < 0.5), "from -1 to below 0.5"),
        ("viscosity [Pa s]", history.viscosity, history.viscosity > 0, "above 0"),
        (
            "viscous Poisson's ratio",
            history.viscous_poisson_ratio,
            (history.viscous_poisson_ratio > -1) & (history.viscous_poisson_ratio <= 0.5),
            "from -1 to 0.5",
        ),
        ("creep factor", history.creep_factor, history.creep_factor >= 0, "0 or more"),
        ("creep exponent", exponent, (exponent >= 1) & (exponent <= 20), "from 1 to 20"),
        ("yield stress [Pa]", history.yield_stress, history.yield_stress > 0, "above 0"),
    )
    for name, value, good, allowed in rules:
        if not np.all(good):
            i, j = np.argwhere(~good)[0]
            message = (
                f"history of {history.names[i]!r}: {name} is {value[i, j]:g} "
                f"at {history.time[j]:g} s; allowed: {allowed}"
            )
            raise InputError(message)
