"""Peaks and holds at which both zones of a vessel become dense and neither melts or overfires."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError
from cofire.inputs.cards import Card
from cofire.inputs.firing import Segment
from cofire.inputs.trace import Trace, trace
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.inputs.vessel import Vessel
from cofire.physics.blends import find_material
from cofire.physics.sintering import relative_density
from cofire.planning.pairs.screening import no_window_reason
from cofire.planning.pairs.windows import HOLDS, Windows, firing_windows
from cofire.planning.ware.firing_flags import PEAK_CAUTION

Array = NDArray[np.float64]

FASTEST = 300.0 / HOUR
"""Ramp for which a hold is found: slower ones make the ware denser. [K/s]"""
DENSE = 0.97
"""Load of the density flag below which it is a go. [-]"""
TABLES = ("thermal_expansion", "young_modulus", "yield_stress", "glass_viscosity", "body_viscosity")
"""What a history reads at the peak, and refuses beyond its rows."""
EVEN = 3.0
"""Lags that a hold lasts at least, so that the ware comes within a few K of the kiln. [-]"""
FIVE_MINUTES = 5.0 * MINUTE
LENGTHS = tuple(m * MINUTE for m in (10, 15, 20, 30, 45, 60, 90, 120, 150, 180, 240, 300, 360))
"""Holds of the kiln that are tried, the shortest first. [s]"""


@dataclass(frozen=True)
class Top:
    """The top of a firing: what the kiln is set to, and which zone asks for the hold.

    Attributes
    ----------
    peak, hold
        Of the kiln. [K], [s]
    asks
        Name of the zone that a shorter hold would leave porous; empty at the shortest hold, three
        lags, in which the ware comes up to the kiln.
    """

    peak: float
    hold: float
    asks: str


def pure_parts(vessel: Vessel, cards: Mapping[str, Card]) -> list[Card]:
    """The metals and ceramics of a vessel, those that only stand in a blend included.

    Parameters
    ----------
    vessel : Vessel
        Its bands.
    cards : mapping
        Materials by name.

    Returns
    -------
    list of Card
        From the foot up, once each.
    """
    known = dict(cards)
    chosen = [find_material(band.material, known) for band in vessel.bands]
    pure = {p.name: p for c in chosen for p in ([q for q, _ in c.parts] or [c])}
    return list(pure.values())


def tops(
    vessel: Vessel, cards: Mapping[str, Card], extend: bool = False, count: int = 3
) -> list[Top]:
    """Tops over the range of peaks that all zones share, each with its shortest hold.

    The hold is that of the kiln: it lasts three lags or more, and makes the ware dense with the
    margin of a go, or at least dense where no hold gives that margin. The ware is never hotter
    than the kiln, and the kiln stays below every zone's limit, with the margin of a go where
    there is room.

    Parameters
    ----------
    vessel : Vessel
        Its bands, kiln, gas and lag.
    cards : mapping
        Materials by name.
    extend : bool
        Whether peaks beyond the cards' tables are allowed.
    count : int
        How many, evenly spread from the coolest to the hottest.

    Returns
    -------
    list of Top
        From the coolest.

    Raises
    ------
    ModelError
        The zones share no window; the message says how far they are apart.
    InputError
        More than two materials.
    """
    parts = pure_parts(vessel, cards)
    if len(parts) > 2:
        raise InputError(
            f"{vessel.name}: a schedule is proposed for two materials and their blends; the bands "
            f"hold {len(parts)}"
        )
    if len(parts) == 1:
        parts = parts * 2
    kiln = vessel.firing.kiln
    windows = firing_windows(parts, kiln, hold=np.append(HOLDS, LENGTHS[-1]))
    reachable = windows.peak <= kiln.max_temperature + 1e-9
    shared = np.any(np.all(windows.allowed, axis=0), axis=1) & reachable
    if not shared.any():
        reason = _apart(windows, parts, vessel)
        raise ModelError(f"{vessel.name}: window: {reason}; see cofire screen --all")
    peaks = windows.peak[shared]
    if not extend:
        peaks = _within_tables(vessel, parts, peaks)
    roomy = peaks[peaks <= windows.ceiling.min() - PEAK_CAUTION + 1e-9]
    peaks = roomy if roomy.size else peaks
    coolest = _coolest(vessel, parts, peaks)
    if coolest is None:
        raise ModelError(
            f"{vessel.name}: window: no hold of up to {LENGTHS[-1] / HOUR:.0f} h makes both "
            f"{parts[0].name} and {parts[1].name} dense with a lag of "
            f"{vessel.firing.lag / MINUTE:.0f} min"
        )
    chosen = np.unique(np.linspace(coolest, peaks.size - 1, count).round().astype(int))
    found = (_held(vessel, parts, float(p)) for p in peaks[chosen])
    return [top for top in found if top is not None]


def peak_and_hold(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[float, float]:
    """Peak of the kiln and its hold in the middle of the range that all zones share.

    Parameters
    ----------
    vessel : Vessel
        Its bands, kiln and lag.
    cards : mapping
        Materials by name.

    Returns
    -------
    tuple of float
        Peak [K] and hold [s].

    Raises
    ------
    ModelError
        The zones share no window below the kiln's limit.
    """
    found = tops(vessel, cards)
    middle = found[len(found) // 2]
    return middle.peak, middle.hold


def _coolest(vessel: Vessel, parts: list[Card], peaks: Array) -> int | None:
    """The first of rising peaks at which the longest hold makes the ware dense, by halving."""
    for enough in (DENSE, 1.0):
        low, high = 0, peaks.size - 1
        if _worst_load(vessel, parts, float(peaks[high]), LENGTHS[-1])[0] > enough:
            continue
        while low < high:
            middle = (low + high) // 2
            if _worst_load(vessel, parts, float(peaks[middle]), LENGTHS[-1])[0] > enough:
                low = middle + 1
            else:
                high = middle
        return low
    return None


def _worst_load(vessel: Vessel, parts: list[Card], peak: float, hold: float) -> tuple[float, str]:
    """Largest load of density after one ramp and hold, and whose it is."""
    curve = trace(replace(vessel.firing, segments=(Segment(peak, FASTEST, hold),)))
    loads = [_density_load(card, curve) for card in parts]
    worst = int(np.argmax(loads))
    return loads[worst], parts[worst].name


def _held(vessel: Vessel, parts: list[Card], peak: float) -> Top | None:
    """The shortest hold at a peak that makes the ware dense, or None."""
    asks, enough = "", None
    first = FIVE_MINUTES * float(np.ceil(EVEN * vessel.firing.lag / FIVE_MINUTES - 1e-9))
    first = max(first, LENGTHS[0])
    for hold in (first, *(length for length in LENGTHS if length > first)):
        load, name = _worst_load(vessel, parts, peak, hold)
        if load <= DENSE:
            return Top(peak, hold, asks)
        if load <= 1.0 and enough is None:
            enough = Top(peak, hold, asks)
        asks = name
    return enough


def _within_tables(vessel: Vessel, parts: list[Card], peaks: Array) -> Array:
    """Those peaks that all tables cover, or a complaint."""
    tables = [card[name] for card in parts for name in TABLES if name in card]
    shortest = min(tables, key=lambda table: table.reach[1])
    within = peaks[peaks <= shortest.reach[1] + 1e-6]
    if within.size == 0:
        raise ModelError(
            f"{vessel.name}: window: it begins at {celsius(float(peaks[0])):.0f} °C, and "
            f"{shortest.name} of {shortest.owner} ends at {celsius(shortest.reach[1]):.0f} °C; "
            "add a row with its source, or extend the tables"
        )
    return within


def _density_load(card: Card, curve: Trace) -> float:
    """The way wanted over the way gone from green density, as the density flag has it. [-]"""
    green = card["green_density"].scalar
    gained = float(relative_density(card, curve, extend=True)[-1]) - green
    return (card["least_density"].scalar - green) / max(gained, 1e-9)


def _apart(windows: Windows, parts: list[Card], vessel: Vessel) -> str:
    """Why the two parts share no firing, the metal named as such."""
    metal = next((k for k, card in enumerate(parts) if card.kind == "metal"), 0)
    return no_window_reason(windows, metal, 1 - metal, parts, vessel.firing.kiln)
