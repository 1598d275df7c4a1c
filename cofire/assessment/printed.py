"""The vessel as its printer lays it: every change of paste smeared over a height.

Extrusion cannot stop, so a change of paste comes out of the nozzle mixed, over the volume that
lies between the place of the changeover and the nozzle. Each changeover is so timed that the
nozzle gives half of each paste at its joint. What counts is volume of wet paste; here it is read
off the fired wall, whose solids tell how much wet paste they came from.

What is laid has no steps: a wall whose free strain changes along a straight line bears nothing of
it, where steps of δ would pull with about half of δ of the whole difference however long they
are. So bands only name what stands where, and stress is that of the share as it changes along
them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from cofire.errors import InputError
from cofire.materials.card import Card, pure_cards
from cofire.numerics import Array
from cofire.physics.changeover import new_share, volume_for_share
from cofire.physics.paste import paste_of
from cofire.vessel import Band, Vessel

FINEST = 0.25
"""Least height of a band of the smear, in walls. [-]"""
STEP = 0.05
"""Most by which the metal's share differs between neighbouring bands of a smear where they are not
as low as `FINEST`. [-]"""
HAIR = 5e-4
"""Of metal's share, by which its straight lines along a band may be out. [-]"""
PLACES = 4000
"""Along the meridian, between which volumes are summed. [-]"""


@dataclass(frozen=True)
class Laid:
    """Wet paste along a fired wall, and what the nozzle makes of its changeovers.

    Attributes
    ----------
    height
        Along the meridian from foot or axis to rim, shape (K,). [m]
    wet
        Wet paste that stands below, shape (K,). [m³]
    share
        Metal of the solid volume there, after the smear, shape (K,). [-]
    """

    height: Array
    wet: Array
    share: Array


def laid(vessel: Vessel, cards: Sequence[Card], density: Mapping[str, float]) -> Laid:
    """What the printer lays along the wall of a vessel in fired size.

    Parameters
    ----------
    vessel : Vessel
        With its bands, in fired size, and its printer.
    cards : sequence of Card
        One a band.
    density : mapping
        Relative density of each band's material when fired, by name. [-]

    Returns
    -------
    Laid
        At places along the meridian, the joints among them.
    """
    chord = vessel.chord
    place = np.unique(np.concatenate([np.linspace(0.0, chord[-1], PLACES), chord]))
    height = np.interp(place, chord, vessel.height)
    band = np.searchsorted(vessel.steps, 0.5 * (height[1:] + height[:-1]))
    pastes = [paste_of(card) for card in cards]
    swell = np.array([density[c.name] / p.solids for c, p in zip(cards, pastes, strict=True)])
    wet = np.concatenate([[0.0], np.cumsum(vessel.volumes(place) * swell[band])])
    printer = vessel.printer
    half = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
    at = np.interp(vessel.steps, height, wet)
    come = new_share(wet[:, None] - at + half, printer.dead_volume, printer.tanks)
    ones = np.ones((wet.size, 1))
    own = -np.diff(np.concatenate([ones, come, 0.0 * ones], axis=1), axis=1)
    solids = own * np.array([p.solids for p in pastes])
    share = solids @ np.array([c.metal_share for c in cards]) / solids.sum(axis=1)
    return Laid(height, wet, np.asarray(share))


def as_printed(
    vessel: Vessel,
    cards: Sequence[Card],
    density: Mapping[str, float],
    step: float = STEP,
    finest: float = FINEST,
) -> Vessel:
    """The vessel with the bands that its changeovers leave, in fired size.

    Each band is cut where the share of metal has moved by a step, but no finer than a share of a
    wall, and named by the mean of its share, to a per cent. Along it the share changes as it is
    laid: that is what stress is worked out of (`Band.fade`), and the names are what rules go by.

    Parameters
    ----------
    vessel : Vessel
        With its bands, in fired size, and its printer.
    cards : sequence of Card
        One a band.
    density : mapping
        Relative density of each band's material when fired, by name. [-]
    step : float
        Most by which the metal's share may differ between neighbours. [-]
    finest : float
        Least height of a band, in walls. [-]

    Returns
    -------
    Vessel
        To be given to `fire_vessel`; itself if it has one band or no printer is given.

    Raises
    ------
    InputError
        Bands that are not of one metal, one ceramic and their blends.
    """
    if len(vessel.bands) == 1 or not vessel.printer.given:
        return vessel
    metal, ceramic = _pair(vessel, cards)
    found = laid(vessel, cards, density)
    cuts = _cuts(vessel, found, step, finest)
    bands: list[Band] = []
    rising = np.flatnonzero(np.diff(found.height, prepend=-1.0) > 0.0)  # of a floor only its middle
    along, share = found.height[rising], found.share[rising]
    for low, high in pairwise(cuts):
        inside = (found.height >= low) & (found.height <= high)
        mean = float(np.trapezoid(found.share[inside], found.wet[inside]))
        percent = round(100.0 * mean / float(np.ptp(found.wet[inside])))
        name = {0: ceramic, 100: metal}.get(percent, f"{metal} + {ceramic} = {percent}")
        if bands and bands[-1].material == name:
            bands[-1] = replace(bands[-1], high=float(high))
        else:
            bands.append(Band(name, float(low), float(high)))
    bands = [replace(band, fade=_fade(band, along, share)) for band in bands]
    return replace(vessel, bands=tuple(bands))


def _fade(band: Band, height: Array, share: Array) -> tuple[tuple[float, float], ...]:
    """Share of metal along a band, by as few places as keep it within `HAIR`."""
    inside = (height > band.low) & (height < band.high)
    z = np.concatenate([[band.low], height[inside], [band.high]])
    s = np.interp(z, height, share)
    kept, todo = {0, z.size - 1}, [(0, z.size - 1)]
    while todo:
        first, last = todo.pop()
        chord = np.interp(z[first : last + 1], z[[first, last]], s[[first, last]])
        off = np.abs(s[first : last + 1] - chord)
        worst = first + int(off.argmax())
        if off.max() > HAIR:
            kept.add(worst)
            todo += [(first, worst), (worst, last)]
    places = sorted(kept)
    return tuple(zip(z[places].tolist(), s[places].tolist(), strict=True))


def _cuts(vessel: Vessel, found: Laid, step: float, finest: float) -> Array:
    """Heights between which the share is averaged, both ends included. [m]"""
    low, high = vessel.bands[0].low, vessel.bands[-1].high
    least = finest * float(vessel.wall.max())
    cuts, at, inner = [low], 0, high - found.height >= least
    while True:
        moved = np.abs(found.share - found.share[at]) >= step
        ready = inner & moved & (found.height - cuts[-1] >= least)
        ready[: at + 1] = False
        if not ready.any():
            break
        at = int(ready.argmax())
        cuts.append(float(found.height[at]))
    return np.array([*cuts, high])


def _pair(vessel: Vessel, cards: Sequence[Card]) -> tuple[str, str]:
    """Names of the one metal and the one ceramic of the vessel."""
    pure = pure_cards(cards)
    names = [[n for n, card in pure.items() if card.kind == k] for k in ("metal", "ceramic")]
    if any(len(some) != 1 for some in names):
        raise InputError(
            f"{vessel.name}: the smear is known for one metal, one ceramic and their blends; the "
            f"bands hold {', '.join(pure)}. Without [printer] it is taken as drawn, every "
            "joint sharp"
        )
    return names[0][0], names[1][0]
