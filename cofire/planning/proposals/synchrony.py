"""Several firings on one clock, so that vessels of different firings can be solved as one batch.

The clock of each firing is stretched between its corners to that of the others. Strain, moduli and
yield do not know of time; rates of flow do, and are multiplied by how fast the firing's own time
passes on the common clock. Within the few minutes between two nodes at a corner the factor is
blended, which a search does not feel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.physics.history import PER_MATERIAL, History

Array = NDArray[np.float64]

NEAR_PEAK = 20.0
"""Firings of unlike corners are matched where they come within this of their peaks. [K]"""


@dataclass(frozen=True)
class Clock:
    """A firing's own time on the common clock, straight between anchors.

    Attributes
    ----------
    common, own
        Times of the anchors, shape (A,) each. [s]
    """

    common: Array
    own: Array

    def own_time(self, common: Array) -> Array:
        """The firing's own time. [s]

        Parameters
        ----------
        common : array
            Times on the common clock, any shape. [s]
        """
        return np.asarray(np.interp(common, self.common, self.own))


def in_step(firings: Sequence[History], corners: Sequence[Array]) -> tuple[History, list[Clock]]:
    """The materials of several firings as one history, and the clock of each firing.

    Parameters
    ----------
    firings : sequence of History
        One a firing; materials may repeat.
    corners : sequence of array
        Times of the ends of each firing's ramps and holds. [s]

    Returns
    -------
    tuple of History and list of Clock
        Rows in the order given. Of its strains only the sum is kept; its temperature is that of
        the first firing.
    """
    alike = len({ends.size for ends in corners}) == 1
    anchors = list(corners) if alike else [_turns(h) for h in firings]
    lengths = np.exp(np.mean([np.log(np.diff(a)) for a in anchors], axis=0))
    common = np.concatenate([[0.0], np.cumsum(lengths)])
    clocks = [Clock(common, own) for own in anchors]
    landings = np.concatenate(
        [np.interp(h.time[h.corners], c.own, common) for h, c in zip(firings, clocks, strict=True)]
    )
    time = _ticks(firings, clocks, landings)
    at = np.unique(np.searchsorted(time, landings * (1.0 - 1e-9)))
    interval = np.clip(np.searchsorted(common, time, side="left") - 1, 0, lengths.size - 1)
    parts = [
        _resampled(h, c.own_time(time), (np.diff(c.own) / lengths)[interval])
        for h, c in zip(firings, clocks, strict=True)
    ]
    first = firings[0]
    rows = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return (
        History(
            names=tuple(name for h in firings for name in h.names),
            time=time,
            temperature=np.interp(clocks[0].own_time(time), first.time, first.temperature),
            corners=at.astype(np.intp),
            strain={"free": rows.pop("free")},
            **rows,  # type: ignore[arg-type]
        ),
        clocks,
    )


def _turns(history: History) -> Array:
    """Start, reaching and leaving the peak, and end of a firing. [s]"""
    hot = np.flatnonzero(history.temperature > history.temperature.max() - NEAR_PEAK)
    return history.time[[0, hot[0], hot[-1], -1]]


def _ticks(firings: Sequence[History], clocks: Sequence[Clock], corners: Array) -> Array:
    """Nodes of the common clock: between two anchors those of the firing that has most."""
    common = clocks[0].common
    found = [common, corners]
    for k in range(common.size - 1):
        shares = []
        for h, c in zip(firings, clocks, strict=True):
            first, last = c.own[k], c.own[k + 1]
            inside = h.time[(h.time > first) & (h.time < last)]
            shares.append((inside - first) / (last - first))
        most = max(shares, key=len)
        found.append(common[k] + most * (common[k + 1] - common[k]))
    ticks = np.unique(np.concatenate(found))
    apart = np.append(True, np.diff(ticks) > 1e-9 * ticks[-1])
    return np.asarray(ticks[apart])


def _resampled(history: History, time: Array, speed: Array) -> dict[str, Array]:
    """Rows of a history at its own times, rates of flow times the speed of its clock."""

    def at(values: Array) -> Array:
        return np.stack([np.interp(time, history.time, row) for row in values])

    rows = {"free": at(history.free_strain)}
    for name in PER_MATERIAL:
        values = getattr(history, name)
        if values.ndim == 1:
            rows[name] = values
        elif name == "viscosity":
            with np.errstate(divide="ignore"):
                rows[name] = 1.0 / (at(1.0 / values) * speed)
        elif name == "creep_factor":
            rows[name] = at(values) * speed
        elif name == "yield_stress":
            with np.errstate(divide="ignore"):
                rows[name] = 1.0 / at(1.0 / values)
        else:
            rows[name] = at(values)
    return rows
