"""How much paste stands in a wall, layer by layer, and its skin as triangles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.assessment.response import Response
from cofire.design.fired_size import decay_length
from cofire.numerics import Array
from cofire.production.green import Green, Wall

OVERHANG = 0.5
"""Share of a road's width that may lie over nothing: common practice. [-]"""
CHORD = 2e-5
"""Farthest that the skin's flat sides lie inside the round vessel. [m]"""


@dataclass(frozen=True)
class Layers:
    """The N layers of a print, from the foot up; radii at half their height.

    Attributes
    ----------
    height
        Of the middle of each, shape (N,). [m]
    inside, outside
        Radii of the faces, shape (N,). [m]
    band
        Shape (N,). [-]
    volume
        Shape (N,). [m³]
    overhang
        How far the worse face lies outside the layer below; 0 on the bed, shape (N,). [m]
    base
        Layers that also fill the base. [-]
    """

    height: Array
    inside: Array
    outside: Array
    band: NDArray[np.intp]
    volume: Array
    overhang: Array
    base: int


@dataclass(frozen=True)
class Overhang:
    """The steepest place of a stretch of the green wall.

    Attributes
    ----------
    where
        A joint, or the whole wall.
    layer
        Counted from 1.
    height
        Of it. [m]
    offset, limit
        How far it lies outside the layer below, and how far it may. [m]
    lean
        Of the mid-surface there, outward positive. [rad]
    wanted
        Lean of the same place as wanted after firing. [rad]
    """

    where: str
    layer: int
    height: float
    offset: float
    limit: float
    lean: float
    wanted: float

    @property
    def over(self) -> bool:
        """Whether the wall leans too much for fresh paste."""
        return self.offset > self.limit


def volume_below(wall: Wall, height: npt.ArrayLike) -> Array:
    """Paste of the wall and its base below given heights.

    By Pappus in slices, exact for faces that are straight between the points.

    Parameters
    ----------
    wall : Wall
        As printed.
    height : array_like
        Any shape. [m]

    Returns
    -------
    array
        Shape of `height`. [m³]
    """
    asked = np.clip(np.asarray(height, np.float64), 0.0, wall.height[-1])
    z = np.unique(np.concatenate([wall.height, asked.ravel(), [wall.base]]))
    r, w = wall.at(wall.radius, z), wall.at(wall.width, z)
    rise = np.diff(z)
    ring = (r[1:] * w[1:] + r[:-1] * w[:-1]) / 3.0 + (r[1:] * w[:-1] + r[:-1] * w[1:]) / 6.0
    piece = 2.0 * np.pi * rise * ring
    i = r - 0.5 * w
    disc = np.pi * rise * (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3.0
    piece += np.where(z[1:] <= wall.base, disc, 0.0)
    return np.asarray(np.interp(asked, z, np.concatenate([[0.0], np.cumsum(piece)])))


def band_volumes(wall: Wall) -> Array:
    """Paste in each band, the base in those it stands in.

    Parameters
    ----------
    wall : Wall
        As printed.

    Returns
    -------
    array
        Shape (bands,). [m³]
    """
    return np.diff(volume_below(wall, wall.edges))


def printed_layers(green: Green) -> Layers:
    """Every layer as it is to be laid.

    Parameters
    ----------
    green : Green
        From `green_vessel`.

    Returns
    -------
    Layers
        From the foot up.
    """
    wall, count = green.wall, sum(green.layers)
    ends = green.layer * np.arange(count + 1)
    middle = 0.5 * (ends[1:] + ends[:-1])
    inside, outside = wall.at(wall.inside, middle), wall.at(wall.outside, middle)
    over = np.maximum(np.diff(outside), -np.diff(inside))
    return Layers(
        middle,
        inside,
        outside,
        np.repeat(np.arange(len(green.layers)), green.layers),
        np.diff(volume_below(wall, ends)),
        np.concatenate([[0.0], np.maximum(over, 0.0)]),
        green.floor_layers,
    )


def overhangs(green: Green, response: Response) -> list[Overhang]:
    """The steepest place within a decay length of each joint, and of the whole wall.

    A face may lie outside the layer below by half of a road: 45° with a road of 0.6 mm and a
    layer of 0.3 mm (common practice; a soft paste bears less).

    Parameters
    ----------
    green : Green
        From `green_vessel`.
    response : Response
        Of the same vessel.

    Returns
    -------
    list of Overhang
        One a joint, from below, then the whole.
    """
    layers, limit = printed_layers(green), OVERHANG * response.vessel.printer.nozzle
    fired = np.interp(layers.height, green.wall.height, green.fired.height)
    lean = green.wall.at(green.wall.lean, layers.height)
    wanted = green.fired.at(green.fired.lean, fired)
    names = [f"{a} | {b}" for a, b in zip(green.materials[:-1], green.materials[1:], strict=True)]
    places = [
        (name, np.abs(fired - step) <= decay_length(response.vessel, float(step)))
        for name, step in zip(names, response.vessel.steps, strict=True)
    ]
    found = []
    for name, near in [*places, ("whole wall", np.ones(fired.size, dtype=bool))]:
        at = int(np.argmax(np.where(near, layers.overhang, -1.0)))
        found.append(
            Overhang(
                name, at + 1, float(layers.height[at]), float(layers.overhang[at]), limit,
                float(lean[at]), float(wanted[at]),
            )
        )  # fmt: skip
    return found


def sides_for(radius: float) -> int:
    """Flat sides of the skin, a multiple of 4, so that none lies deeper than `CHORD`.

    Parameters
    ----------
    radius : float
        Largest. [m]

    Returns
    -------
    int
        At least 64.
    """
    return max(4 * int(np.ceil(0.25 * np.pi / np.arccos(1.0 - min(CHORD / radius, 0.5)))), 64)


def skin(wall: Wall, sides: int | None = None) -> tuple[Array, NDArray[np.intp]]:
    """The closed surface of a wall and its base, turned about the axis.

    Parameters
    ----------
    wall : Wall
        As printed.
    sides : int, optional
        Flat sides around the axis; by default as many as the radius needs.

    Returns
    -------
    tuple of array
        Corners, shape (V, 3) [m], and triangles, corners anticlockwise from outside, (F, 3).
    """
    return slice_skin(wall, float(wall.height[0]), float(wall.height[-1]), sides)


def slice_skin(
    wall: Wall, low: float, high: float, sides: int | None = None
) -> tuple[Array, NDArray[np.intp]]:
    """The closed surface of what stands of a wall and its base between two heights.

    Slices that share a height share its flat sides too: together they fill the whole.

    Parameters
    ----------
    wall : Wall
        As printed.
    low, high : float
        Within the wall. [m]
    sides : int, optional
        Flat sides around the axis; by default as many as the whole wall needs.

    Returns
    -------
    tuple of array
        Corners, shape (V, 3) [m], and triangles, corners anticlockwise from outside, (F, 3).
    """
    count = sides or sides_for(float(wall.outside.max()))
    between = wall.height[(wall.height > low + 1e-9) & (wall.height < high - 1e-9)]
    out = np.concatenate([[low], between, [high]])
    floor = max(low, wall.base)
    r, z = wall.at(wall.outside, out), out
    if floor < high - 1e-9:
        inner = np.concatenate([[floor], between[between > floor + 1e-9], [high]])[::-1]
        r, z = np.append(r, wall.at(wall.inside, inner)), np.append(z, inner)
    return _turned(r, z, count, filled=low < wall.base - 1e-9)


def _turned(r: Array, z: Array, count: int, filled: bool) -> tuple[Array, NDArray[np.intp]]:
    """A line turned about the axis: a ring closed in itself, or filled up to the axis."""
    turn = 2.0 * np.pi * np.arange(count) / count
    flat = np.broadcast_to(z[:, None], (r.size, count))
    rows = np.stack([r[:, None] * np.cos(turn), r[:, None] * np.sin(turn), flat], axis=-1)
    corners = rows.reshape(-1, 3)
    here = np.arange(count)
    after = (here + 1) % count
    faces = []
    for low in range(r.size - (1 if filled else 0)):
        high = (low + 1) % r.size
        a, b = count * low + here, count * low + after
        c, d = count * high + here, count * high + after
        faces += [np.stack([a, b, d], axis=1), np.stack([a, d, c], axis=1)]
    if filled:
        last = count * (r.size - 1)
        corners = np.concatenate([corners, [[0.0, 0.0, z[0]], [0.0, 0.0, z[-1]]]])
        bottom, top = corners.shape[0] - 2, corners.shape[0] - 1
        faces += [
            np.stack([np.full(count, bottom), after, here], axis=1),
            np.stack([np.full(count, top), last + here, last + after], axis=1),
        ]
    return corners, np.concatenate(faces)


@dataclass(frozen=True)
class PasteSolid:
    """What is printed of one paste: one closed surface, or one for each of its bands.

    Attributes
    ----------
    material
        Name of the paste.
    bands
        Its bands, counted from 0 at the foot.
    corners
        Shape (V, 3). [m]
    triangles
        Corners anticlockwise from outside, shape (F, 3).
    """

    material: str
    bands: tuple[int, ...]
    corners: Array
    triangles: NDArray[np.intp]


def paste_solids(green: Green, sides: int | None = None) -> list[PasteSolid]:
    """The print cut at its joints, one solid a paste, as if every changeover were sharp.

    Parameters
    ----------
    green : Green
        From `green_vessel`.
    sides : int, optional
        As `skin`.

    Returns
    -------
    list of PasteSolid
        In the order in which the pastes are first laid; together they are the whole print.
    """
    found = []
    for material in dict.fromkeys(green.materials):
        bands = tuple(n for n, name in enumerate(green.materials) if name == material)
        ends = [(float(green.wall.edges[n]), float(green.wall.edges[n + 1])) for n in bands]
        parts = [slice_skin(green.wall, low, high, sides) for low, high in ends]
        starts = np.cumsum([0, *(len(corners) for corners, _ in parts[:-1])])
        found.append(
            PasteSolid(
                material,
                bands,
                np.concatenate([corners for corners, _ in parts]),
                np.concatenate([faces + at for (_, faces), at in zip(parts, starts, strict=True)]),
            )
        )
    return found
