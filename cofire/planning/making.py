"""What the printer needs: green profile, layers, paste, batches, swaps, and test pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.physics.change_over import new_share, volume_for_share
from cofire.planning.response import Response

Array = NDArray[np.float64]

BINDER_DENSITY = 1300.0
"""Of cellulose ether: handbook, from memory. [kg/m³]"""
WATER_DENSITY = 998.0
SWAP_DONE = 0.95
"""Share of the new paste at which a change counts as done. [-]"""


@dataclass(frozen=True)
class Green:
    """The vessel as it must be printed.

    Attributes
    ----------
    height, radius, wall
        Of the mid-surface at the same points as the fired profile, shape (P,). [m]
    fired_height, fired_radius, fired_wall
        The profile wanted, shape (P,). [m]
    ring_factor, height_factor
        Green over fired length along the ring and along the wall, at the points, (P,). [-]
    band_edges
        Green heights of the bands' ends, from the foot to the rim, (bands + 1,). [m]
    layers
        Of each band, (bands,).
    """

    height: Array
    radius: Array
    wall: Array
    fired_height: Array
    fired_radius: Array
    fired_wall: Array
    ring_factor: Array
    height_factor: Array
    band_edges: Array
    layers: tuple[int, ...]


@dataclass(frozen=True)
class Batch:
    """Paste of one band: volume, and what to weigh. Volumes in m³, masses in kg.

    Attributes
    ----------
    material
        Name of the band's material.
    volume
        Wet paste in the wall.
    extra
        Wet paste for the dead volume and for waste.
    powders
        Name and dry mass of each powder.
    binder, water
        Mass to add.
    dry
        Dried mass of the band's wall, without the extra.
    """

    material: str
    volume: float
    extra: float
    powders: tuple[tuple[str, float], ...]
    binder: float
    water: float
    dry: float


@dataclass(frozen=True)
class Swap:
    """When to change the paste on the way up.

    Attributes
    ----------
    layer
        Layer, counted from the foot, in which to swap.
    before
        Paste still to pass between the swap and the height of the step. [m³]
    pure_after
        Layers after the step until the new paste is 95 % pure.
    """

    material: str
    layer: int
    before: float
    pure_after: int


def shrinkages(response: Response) -> tuple[Array, Array]:
    """Length kept from printed to fired, along the ring and along the height, of each band.

    Drying (of the printed length) times firing (of the dried length); firing as the history ends,
    its height factor from the card.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple of array
        Fired over green length, shape (bands,) each. [-]
    """
    ring, up = [], []
    for card, row in zip(response.cards, response.material, strict=True):
        dried = 1.0 - card["drying_shrinkage"].scalar
        fired = float(response.history.free_strain[row, -1])
        sintered = float(response.history.strain["sintering"][row, -1])
        parts = card.parts or ((card, 1.0),)
        factor = sum(p.scalar("height_shrinkage_factor", 1.0) * share for p, share in parts)
        ring.append(dried * np.exp(fired))
        up.append(dried * np.exp(fired + (factor - 1.0) * sintered))
    return np.array(ring), np.array(up)


def band_blend(response: Response, height: Array) -> Array:
    """Weight of each band at fired heights: one inside a band, shared near a step.

    Over a wall's thickness about each step the bands pull on each other, so the factors change
    there linearly and the profile stays continuous.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    height : array
        Fired heights, shape (P,). [m]

    Returns
    -------
    array
        Rows sum to one, shape (P, bands). [-]
    """
    bands = len(response.cards)
    steps = response.vessel.steps
    weight = np.zeros((height.size, bands))
    edges = np.concatenate([[-np.inf], steps, [np.inf]])
    wall = float(response.vessel.wall.max())
    for b in range(bands):
        low, high = edges[b], edges[b + 1]
        rise = np.ones(height.size) if b == 0 else np.clip((height - low) / wall + 0.5, 0.0, 1.0)
        fall = (
            np.ones(height.size)
            if b == bands - 1
            else 1.0 - np.clip((height - high) / wall + 0.5, 0.0, 1.0)
        )
        weight[:, b] = np.minimum(rise, fall)
    return weight / weight.sum(axis=1, keepdims=True)


def green_profile(response: Response, points: int = 400) -> Green:
    """The profile to print so that firing gives the profile wanted.

    dz_green = dz / (1 − s_z), r_green = r / (1 − s_r), wall with the ring's factor; free
    shrinkage of each band, so that near a joint the fired shape also bends (see the stress
    figure), by a few hundredths of the mismatch.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    points : int
        Along the meridian. [-]

    Returns
    -------
    Green
        Continuous through the transition.
    """
    v = response.vessel
    chord = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(v.radius), np.diff(v.height)))])
    steps = np.interp(v.steps, v.height, chord) if v.radius[0] > 0 else _chord_at(v, chord)
    place = np.unique(np.concatenate([np.linspace(0.0, chord[-1], points), chord, steps]))
    r, z = np.interp(place, chord, v.radius), np.interp(place, chord, v.height)
    wall = np.interp(place, chord, v.wall)
    ring, up = shrinkages(response)
    weight = band_blend(response, z)
    ring_factor, up_factor = 1.0 / (weight @ ring), 1.0 / (weight @ up)
    middle = 0.5 * (up_factor[1:] + up_factor[:-1])
    height = np.concatenate([[0.0], np.cumsum(np.diff(z) * middle)])
    layer = v.printer.layer
    edges = np.interp(np.concatenate([[0.0], v.steps, [z[-1]]]), z, height)
    edges[1:-1] = layer * np.round(edges[1:-1] / layer)
    counts = np.round(np.diff(edges) / layer).astype(int)
    return Green(
        height, r * ring_factor, wall * ring_factor, z, r, wall, ring_factor, up_factor, edges,
        tuple(int(n) for n in counts),
    )  # fmt: skip


def _chord_at(vessel: object, chord: Array) -> Array:
    """Chord lengths of the steps on a profile that begins with a flat base."""
    v = vessel
    rising = np.flatnonzero(np.diff(v.height) > 0.0)  # type: ignore[attr-defined]
    first = int(rising[0])
    return np.interp(v.steps, v.height[first:], chord[first:])  # type: ignore[attr-defined,no-any-return]


def fired_profile(green: Green) -> tuple[Array, Array]:
    """Radius and height that the green profile takes when each place shrinks freely.

    Parameters
    ----------
    green : Green
        From `green_profile`.

    Returns
    -------
    tuple of array
        Shape (P,) each. [m]
    """
    middle = 0.5 * (green.height_factor[1:] + green.height_factor[:-1])
    height = np.concatenate([[0.0], np.cumsum(np.diff(green.height) / middle)])
    return green.radius / green.ring_factor, height


def band_volumes(green: Green) -> Array:
    """Wet volume of the wall in each band, by Pappus. [m³]

    Parameters
    ----------
    green : Green
        From `green_profile`.

    Returns
    -------
    array
        Shape (bands,).
    """
    length = np.hypot(np.diff(green.radius), np.diff(green.height))
    ring = 0.5 * (green.radius[1:] + green.radius[:-1])
    wall = 0.5 * (green.wall[1:] + green.wall[:-1])
    piece = 2.0 * np.pi * ring * wall * length
    total = np.concatenate([[0.0], np.cumsum(piece)])
    at = np.interp(green.band_edges, green.height, total)
    at[0], at[-1] = 0.0, total[-1]
    return np.diff(at)


def batches(
    response: Response, green: Green, waste: float = 0.15, resolution: float = 1e-4
) -> list[Batch]:
    """What to weigh for each band, to the resolution of the scale.

    The wet wall holds its powders at their green density after drying; binder is the card's share
    of the dried mass; water fills what is left, so the paste has no air.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_profile`.
    waste : float
        Paste lost in mixing and at the start, of the wall's. [-]
    resolution : float
        Of the scale. [kg]

    Returns
    -------
    list of Batch
        From the foot up.
    """
    found = []
    dead = response.vessel.printer.dead_volume
    for card, volume in zip(response.cards, band_volumes(green), strict=True):
        extra = waste * float(volume) + dead
        solids, binder, water = paste(card)
        whole = float(volume) + extra
        powders = tuple((name, _weighed(mass * whole, resolution)) for name, mass in solids)
        found.append(
            Batch(
                card.name, float(volume), extra, powders, _weighed(binder * whole, resolution),
                _weighed(water * whole, resolution),
                (sum(m for _, m in solids) + binder) * float(volume),
            )
        )  # fmt: skip
    return found


def paste(card: Card) -> tuple[list[tuple[str, float]], float, float]:
    """Mass of each powder, of binder and of water in a volume of wet paste.

    Parameters
    ----------
    card : Card
        Of the band.

    Returns
    -------
    tuple
        Powders by name, binder, water. [kg/m³]
    """
    parts = card.parts or ((card, 1.0),)
    density = sum(share * p["theoretical_density"].scalar for p, share in parts)
    dried = 1.0 - card["drying_shrinkage"].scalar
    solid_volume = card["green_density"].scalar * dried**3
    solid = solid_volume * density
    share = card["binder"].scalar
    binder = solid * share / (1.0 - share)
    water = max(1.0 - solid_volume - binder / BINDER_DENSITY, 0.0) * WATER_DENSITY
    powders = [
        (p.name, solid * part * p["theoretical_density"].scalar / density) for p, part in parts
    ]
    return powders, binder, water


def _weighed(mass: float, resolution: float) -> float:
    return round(mass / resolution) * resolution


def swaps(response: Response, green: Green) -> list[Swap]:
    """Layers in which to change the paste, so that the middle of the smear lies on each step.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_profile`.

    Returns
    -------
    list of Swap
        One a step, from below.
    """
    printer = response.vessel.printer
    found = []
    half = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
    done = float(volume_for_share(SWAP_DONE, printer.dead_volume, printer.tanks))
    for n, edge in enumerate(green.band_edges[1:-1]):
        radius = float(np.interp(edge, green.height, green.radius))
        wall = float(np.interp(edge, green.height, green.wall))
        of_layer = 2.0 * np.pi * radius * wall * printer.layer
        layer = round(edge / printer.layer)
        found.append(
            Swap(
                response.cards[n + 1].name,
                max(layer - round(half / of_layer), 1),
                half,
                int(np.ceil((done - half) / of_layer)),
            )
        )
    return found


def smeared_shares(response: Response, green: Green, height: Sequence[float] | Array) -> Array:
    """Metal share of the paste at green heights, after the smear of every change. [-]

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_profile`.
    height : array
        Green heights, shape (K,). [m]

    Returns
    -------
    array
        Of the solid volume, shape (K,).
    """
    printer = response.vessel.printer
    own = [c.parts[0][1] if c.parts else float(c.kind == "metal") for c in response.cards]
    length = np.hypot(np.diff(green.radius), np.diff(green.height))
    ring = 0.5 * (green.radius[1:] + green.radius[:-1])
    wall = 0.5 * (green.wall[1:] + green.wall[:-1])
    volume = np.concatenate([[0.0], np.cumsum(2.0 * np.pi * ring * wall * length)])
    at = np.interp(np.asarray(height, np.float64), green.height, volume)
    half = float(volume_for_share(0.5, printer.dead_volume, printer.tanks))
    share = np.full(at.shape, own[0])
    for n, edge in enumerate(green.band_edges[1:-1]):
        passed = at - float(np.interp(edge, green.height, volume)) + half
        share = share + (own[n + 1] - own[n]) * new_share(
            passed, printer.dead_volume, printer.tanks
        )
    return share
