"""Which shape to print so that drying and firing give the shape wanted.

Every point of the wall moves twice: while it dries and while it is fired. Each band shrinks as its
card and its history say, more along the height than along the ring; near a joint the bands pull on
each other, and the wall settles between them. Drying is taken as a shell of one stiffness
everywhere, since that of wet pastes is not known; firing is the shell of the response, with its
flow, creep and yield. Weight is left out: what flows under it is the sag flag's.

Valid for walls that a shell describes, and for differences between bands of a few per cent. A ring
that is stretched thins its wall by half as much: it keeps its volume.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError
from cofire.inputs.cards import Card
from cofire.planning.printing.wall import (
    Wall,
    heights,
    mesh_of_wall,
    motion,
    moved,
    shortened,
    wall_of_mesh,
)
from cofire.planning.ware.response import Response
from cofire.structures.marching import Control
from cofire.structures.meridian import Meridian
from cofire.structures.shell import elastic_response, shells
from cofire.structures.shell_firing import fire_shells

Array = NDArray[np.float64]

WET_POISSON_RATIO = 0.3
"""Of a drying wall; any stiffness gives the same shape while it is one for all. Estimate. [-]"""
TO_SIZE = 5e-5
"""Miss that is let pass: a layer or a road of a paste printer shows no less. Estimate. [m]"""


@dataclass(frozen=True)
class Green:
    """The vessel as it is to be printed, and as it is wanted, at the same P points of the wall.

    Attributes
    ----------
    wall
        As printed. Its edges lie on whole layers.
    fired
        As wanted.
    ring
        Natural strain from printed to fired along the ring, shape (P,). [-]
    settled
        The part of it that comes from the pull of the bands on each other, shape (P,). [-]
    materials
        Of the bands, from the foot up.
    layer
        Height of layer to set, so that a whole number reaches the rim. [m]
    layers
        Of each band.
    """

    wall: Wall
    fired: Wall
    ring: Array
    settled: Array
    materials: tuple[str, ...]
    layer: float
    layers: tuple[int, ...]


@dataclass(frozen=True)
class Refired:
    """A green vessel dried and fired by the model.

    Attributes
    ----------
    wall
        What comes out.
    miss
        Largest distance between its faces and those wanted, at one height, and of the rim. [m]
    edge_miss
        Of each joint's height from that wanted, mostly the rounding to layers, (bands - 1,). [m]
    """

    wall: Wall
    miss: float
    edge_miss: Array


def kept(card: Card, free_strain: float, sintering: float) -> tuple[float, float, float]:
    """Natural strains of a material alone: drying, then firing along the ring and the height.

    Parameters
    ----------
    card : Card
        Of the band.
    free_strain, sintering : float
        At the end of the firing, along the ring. [-]

    Returns
    -------
    tuple of float
        Drying, firing along the ring, firing along the height. [-]
    """
    dry = float(np.log1p(-card["drying_shrinkage"].scalar))
    parts = card.parts or ((card, 1.0),)
    factor = sum(p.scalar("height_shrinkage_factor", 1.0) * share for p, share in parts)
    return dry, free_strain, free_strain + (factor - 1.0) * sintering


def band_strains(response: Response) -> Array:
    """Free natural strains of each band: drying, firing along the ring, along the height.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    array
        Shape (bands, 3). [-]
    """
    free = response.history.free_strain[:, -1]
    sintered = response.history.strain["sintering"][:, -1]
    return np.array(
        [
            kept(card, float(free[row]), float(sintered[row]))
            for card, row in zip(response.cards, response.material, strict=True)
        ]
    )


def _drying(mesh: Meridian, strain: Array) -> Array:
    """Displacements of a wall of one stiffness whose bands dry by their own strains."""
    body = shells([mesh], [np.arange(strain.size)])
    moduli = np.full(strain.size, 1e6)
    poisson = np.full(strain.size, WET_POISSON_RATIO)
    return np.asarray(elastic_response(body, moduli, poisson, strain[body.material])[0][0])


def green_vessel(response: Response) -> Green:
    """The shape to print, continuous through every joint, and its layers.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; its vessel is in the size wanted.

    Returns
    -------
    Green
        Steps between bands on whole layers.

    Raises
    ------
    InputError
        A band lower than one layer.
    ModelError
        A wall that cannot be printed as rings.
    """
    vessel, mesh = response.vessel, response.shell.meridian
    dry, ring, up = band_strains(response).T
    edges = np.array([0.0, *vessel.steps, float(vessel.height[-1])])
    wanted = _checked(wall_of_mesh(mesh, edges), vessel.name)
    first = motion(mesh, _drying(mesh, dry), dry, dry)
    second = motion(mesh, response.shell.displacement[-1], ring, up)
    # the way back: both stages undone at once, seen from the fired shape
    lost = shortened(wanted, first.turn + second.turn)
    straight = np.diff(wanted.height) - first.lift - second.lift - lost
    height = heights(np.exp(-first.up - second.up) * straight, vessel.name)
    wall = Wall(
        height,
        wanted.radius * np.exp(-first.ring - second.ring),
        wanted.width * np.exp(-first.thick - second.thick),
        np.interp(wanted.edges, wanted.height, height),
        wanted.base * float(np.exp(-dry[0] - up[0])),
    )
    return _layered(wall, wanted, first.settled + second.settled, response)


def _checked(wall: Wall, name: str) -> Wall:
    """The wall, or a complaint where its inner face meets the axis."""
    if np.any(wall.inside <= 0.0):
        at = float(wall.height[int(np.argmin(wall.inside))])
        raise ModelError(
            f"{name}: at {1e3 * at:.1f} mm the leaning wall closes over the axis; thin it, or "
            "make it steeper"
        )
    return wall


def _layered(wall: Wall, wanted: Wall, settled: Array, response: Response) -> Green:
    """The print with its joints moved to whole layers."""
    name = response.vessel.name
    layer, counts = _layers(wall.edges, response.vessel.printer.layer, name)
    moved = replace(wall, edges=layer * np.concatenate([[0], np.cumsum(counts)]))
    return Green(
        _checked(moved, name), wanted, np.log(wanted.radius / wall.radius), settled,
        tuple(card.name for card in response.cards), layer, counts,
    )  # fmt: skip


def _layers(edges: Array, layer: float, name: str) -> tuple[float, tuple[int, ...]]:
    """Height of layer that divides the whole, and the layers of each band."""
    total = max(round(float(edges[-1]) / layer), 1)
    fitted = float(edges[-1]) / total
    counts = np.diff(np.round(edges / fitted)).astype(int)
    if np.any(counts < 1):
        band = int(np.argmin(counts))
        raise InputError(
            f"{name}: band {band + 1} is {1e3 * (edges[band + 1] - edges[band]):.2f} mm high as "
            f"printed; allowed: one layer of {1e3 * fitted:.2f} mm or more"
        )
    return fitted, tuple(int(n) for n in counts)


def fired_again(green: Green, response: Response, control: Control | None = None) -> Refired:
    """The green vessel dried and fired by the model, from its own shape and its whole layers.

    Nothing of the way back is used: the printed and the dried wall are meshed and solved anew.

    Parameters
    ----------
    green : Green
        From `green_vessel`.
    response : Response
        Its histories count.
    control : Control, optional
        Tolerances and steps.

    Returns
    -------
    Refired
        What comes out, and how far it is from what was wanted.

    Raises
    ------
    CofireError
        The printed wall cannot be meshed.
    """
    dry, ring, up = band_strains(response).T
    mesh = mesh_of_wall(green.wall)
    stage = motion(mesh, _drying(mesh, dry), dry, dry)
    dried = moved(green.wall, mesh, stage, green.wall.base * float(np.exp(dry[0])))
    mesh = mesh_of_wall(dried)
    (fired,) = fire_shells([mesh], response.history, [response.material], control=control)
    stage = motion(mesh, fired.displacement[-1], ring, up)
    found = moved(dried, mesh, stage, dried.base * float(np.exp(up[0])))
    want = green.fired
    faces = [
        np.abs(found.at(getattr(found, face), want.height) - getattr(want, face)).max()
        for face in ("inside", "outside")
    ]
    rim = abs(float(found.height[-1] - want.height[-1]))
    edges = found.edges[1:-1] - want.edges[1:-1]
    return Refired(found, float(max(*faces, rim)), edges)


def green_to_size(response: Response, control: Control | None = None) -> tuple[Green, Refired]:
    """The shape to print, mended by its own firing until that comes out to size.

    The first guess misses by the rounding to layers and by what is of second order in the pull of
    the bands; each place is then made larger by what it comes out too small.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    control : Control, optional
        Tolerances and steps.

    Returns
    -------
    tuple of Green and Refired
        Mended twice at most; its `miss` says what is left.

    Raises
    ------
    CofireError
        As `green_vessel` and `fired_again`.
    """
    green = green_vessel(response)
    found = fired_again(green, response, control)
    for _ in range(2):
        if found.miss <= TO_SIZE:
            break
        want, got, old = green.fired, found.wall, green.wall
        rise = float(want.height[-1] / got.height[-1])
        wall = replace(
            old,
            height=old.height * rise,
            radius=old.radius * want.radius / got.at(got.radius, want.height),
            width=old.width * want.width / got.at(got.width, want.height),
            edges=old.edges * rise,
        )
        green = _layered(wall, want, green.settled, response)
        found = fired_again(green, response, control)
    return green, found
