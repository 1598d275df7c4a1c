"""Which shape to print so that drying and firing give the shape wanted.

Every point of the wall moves twice: while it dries and while it is fired. Each band shrinks as its
card and its history say, more along the height than along the ring; near a joint the bands pull on
each other, and the wall settles between them. A change of paste smears over a height, and such a
wall shrinks as what stands in it: the shape is that of the vessel as it is laid, its joints those
that were drawn. Drying is taken as a shell of one stiffness everywhere, since that of wet pastes is
not known; firing is the shell of the response, with its flow, creep and yield. Weight is left out:
what flows under it is the sag flag's.

Valid for walls that a shell describes, and for differences between bands of a few per cent. A ring
that is stretched thins its wall by half as much: it keeps its volume.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.packing import Dried
from cofire.assessment.response import Response, meshed
from cofire.errors import InputError, ModelError
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.mechanics.meridian import Meridian, mesh_meridian
from cofire.mechanics.shell import elastic_response, shells
from cofire.mechanics.shell_firing import fire_shells
from cofire.numerics import Array
from cofire.physics.history import along_height
from cofire.vessel import Vessel

# ----------------------------------------------------------------------------------------------
# A wall as horizontal rings, and what a stage of drying or firing does to it

PARTS = 4
"""Pieces into which each element is cut. [-]"""
_PLACE = np.linspace(-1.0, 1.0, PARTS, endpoint=False)
_SHAPE = np.stack(
    [0.5 * _PLACE * (_PLACE - 1.0), 1.0 - _PLACE**2, 0.5 * _PLACE * (_PLACE + 1.0)], axis=1
)


@dataclass(frozen=True)
class Wall:
    """A standing wall as horizontal rings: the mid-surface from foot to rim, and its base.

    Attributes
    ----------
    height, radius
        Of the mid-surface, height rising from 0, shape (P,). [m]
    width
        Of the wall along the horizontal, shape (P,). [m]
    edges
        Heights of the bands' ends, the foot and the rim included, shape (bands + 1,). [m]
    base
        Thickness of a flat base within the wall, its lower face at the foot; 0 without. [m]
    """

    height: Array
    radius: Array
    width: Array
    edges: Array
    base: float

    @property
    def inside(self) -> Array:
        """Radius of the inner face, shape (P,). [m]"""
        return np.asarray(self.radius - 0.5 * self.width)

    @property
    def outside(self) -> Array:
        """Radius of the outer face, shape (P,). [m]"""
        return np.asarray(self.radius + 0.5 * self.width)

    @property
    def lean(self) -> Array:
        """Angle of the mid-surface from upright, outward positive, shape (P,). [rad]"""
        return np.asarray(np.arctan(np.gradient(self.radius, self.height, edge_order=2)))

    @property
    def thickness(self) -> Array:
        """Of the wall along its normal, shape (P,). [m]"""
        return np.asarray(self.width * np.cos(self.lean))

    def at(self, values: Array, height: float | Array) -> Array:
        """Values given at the points, read at other heights.

        Parameters
        ----------
        values : array
            Shape (P,). [any]
        height : array
            Any shape. [m]

        Returns
        -------
        array
            Shape of `height`. [as given]
        """
        return np.asarray(np.interp(height, self.height, values))


@dataclass(frozen=True)
class Motion:
    """What a stage does to a wall, at the points of its mesh and in the intervals between them.

    Attributes
    ----------
    ring, settled
        Natural strain of the ring, and its share from the bands' pull, shape (P,). [-]
    thick
        Strain of the width, shape (P,). [-]
    up
        Strain of the height of each band alone, shape (P - 1,). [-]
    lift, turn
        What the pull adds to the rise [m], and turns the wall by [rad], shape (P - 1,).
    """

    ring: Array
    settled: Array
    thick: Array
    up: Array
    lift: Array
    turn: Array


def at_points(mesh: Meridian, values: Array) -> Array:
    """Nodal values at the points of the standing wall: each element's, and three between.

    Parameters
    ----------
    mesh : Meridian
        Of the vessel.
    values : array
        Shape (2E + 1,). [any]

    Returns
    -------
    array
        Shape (P,). [as given]
    """
    standing = mesh.nodes[~mesh.lying]
    return np.append((values[standing] @ _SHAPE.T).ravel(), values[standing[-1, 2]])


def wall_of_mesh(mesh: Meridian, edges: Array) -> Wall:
    """The standing wall of a mesh, with its base.

    Parameters
    ----------
    mesh : Meridian
        Of the vessel.
    edges : array
        Heights of the bands' ends, shape (bands + 1,). [m]

    Returns
    -------
    Wall
        P points.
    """
    r, z, h = (at_points(mesh, v) for v in (mesh.radius, mesh.height, mesh.wall))
    from scipy.interpolate import CubicSpline  # slow to import

    nodes = np.unique(mesh.nodes[~mesh.lying])
    lean = np.arctan(CubicSpline(mesh.height[nodes], mesh.radius[nodes])(z, 1))
    base = float(mesh.wall[0]) if mesh.lying.any() else 0.0
    return Wall(z - z[0], r, h / np.cos(lean), edges, base)


def wall_of_vessel(vessel: Vessel) -> Wall:
    """The standing wall of a vessel in its fired size, with the ends of its bands.

    Taken from what its file says, and from no mesh that stress was worked out on: the floor of
    that lies at its middle, and its wall begins there.

    Parameters
    ----------
    vessel : Vessel
        The vessel.

    Returns
    -------
    Wall
        P points.
    """
    edges = np.array([0.0, *vessel.steps, float(vessel.height[-1])])
    return wall_of_mesh(meshed(vessel, raised=False), edges)


def mesh_of_wall(wall: Wall, raised: bool) -> Meridian:
    """A mesh of a wall and its base.

    Parameters
    ----------
    wall : Wall
        With its base.
    raised : bool
        As in `mesh_meridian`. [-]

    Returns
    -------
    Meridian
        With a node at every step between bands.
    """
    r, z, h = wall.radius, wall.height, wall.thickness
    corners: Sequence[int] = ()
    if wall.base > 0.0:
        r, z, h = np.insert(r, 0, 0.0), np.insert(z, 0, 0.0), np.insert(h, 0, wall.base)
        corners = (1,)
    return mesh_meridian(r, z, h, wall.edges[1:-1], corners=corners, raised=raised)


def carried(mesh: Meridian, displacement: Array, outline: Meridian) -> Array:
    """Displacements of a mesh at the nodes of the outline of the same wall.

    By the quadratic shapes of the mesh at the same height; below its lowest node, where the wall
    stands beside the lower half of the floor, on along the line there.

    Parameters
    ----------
    mesh : Meridian
        On which stress was worked out, shell or solid.
    displacement : array
        Radial and axial displacement of its nodes [m] and more, shape (2E + 1, 2 or more).
    outline : Meridian
        Of the same wall; its standing part counts.

    Returns
    -------
    array
        Radial and axial, shape (2F + 1, 2); of lying nodes 0. [m]
    """
    standing = mesh.nodes[~mesh.lying]
    wanted = np.unique(outline.nodes[~outline.lying])
    z = outline.height[wanted]
    own = np.searchsorted(mesh.height[standing[1:, 0]], z, side="right")
    low, middle, high = (mesh.height[standing[own, k]] for k in range(3))
    at = np.maximum(z, low)
    share = np.stack(
        [
            (at - middle) * (at - high) / ((low - middle) * (low - high)),
            (at - low) * (at - high) / ((middle - low) * (middle - high)),
            (at - low) * (at - middle) / ((high - low) * (high - middle)),
        ],
        axis=1,
    )
    below = np.stack(
        [
            (2.0 * at - middle - high) / ((low - middle) * (low - high)),
            (2.0 * at - low - high) / ((middle - low) * (middle - high)),
            (2.0 * at - low - middle) / ((high - low) * (high - middle)),
        ],
        axis=1,
    )
    share += below * (z - at)[:, None]
    found = np.zeros((outline.height.size, 2))
    found[wanted] = np.einsum("nk,nkd->nd", share, displacement[standing[own], :2])
    return found


def motion(mesh: Meridian, displacement: Array, ring: Array, up: Array) -> Motion:
    """What a stage does to the wall of a mesh.

    Parameters
    ----------
    mesh : Meridian
        Outline of the vessel before the stage, or after it where its displacements are those of
        that.
    displacement : array
        Radial and axial of the nodes, from `carried`, shape (2E + 1, 2). [m]
    ring, up : array
        Free natural strain of each band along the ring and the height, shape (bands,). [-]

    Returns
    -------
    Motion
        At P points.
    """
    r, z, h = (at_points(mesh, v) for v in (mesh.radius, mesh.height, mesh.wall))
    band = np.repeat(mesh.band[~mesh.lying], PARTS)
    rise = np.diff(z)
    total = np.concatenate([[0.0], np.cumsum(ring[band] * rise)])
    # one free strain across a step would be a step of the wall: shared over its thickness
    ends = np.concatenate([[z[0] - 1.0], z, [z[-1] + 1.0]])
    whole = np.concatenate([[-ring[band[0]]], total, [total[-1] + ring[band[-1]]]])
    free = (np.interp(z + 0.5 * h, ends, whole) - np.interp(z - 0.5 * h, ends, whole)) / h
    outward, upward = (at_points(mesh, displacement[:, k]) for k in (0, 1))
    out = np.diff(outward) - ring[band] * np.diff(r)
    lift = np.diff(upward) - ring[band] * rise
    turn = (out * rise - lift * np.diff(r)) / (rise**2 + np.diff(r) ** 2)
    settled = outward / r - free
    return Motion(outward / r, settled, free - 0.5 * settled, up[band], lift, turn)


def shortened(wall: Wall, turn: Array) -> Array:
    """Rise that a wall loses by turning, of which small displacements know nothing.

    Parameters
    ----------
    wall : Wall
        Before it turns.
    turn : array
        Angle, shape (P - 1,). [rad]

    Returns
    -------
    array
        Shape (P - 1,). [m]
    """
    rise, out = np.diff(wall.height), np.diff(wall.radius)
    return np.asarray(0.5 * turn**2 * (rise**2 + out**2) / rise)


def heights(rise: Array, name: str) -> Array:
    """Heights from the rises between points.

    Parameters
    ----------
    rise : array
        Shape (P - 1,). [m]
    name : str
        Of the vessel.

    Returns
    -------
    array
        From 0, shape (P,). [m]

    Raises
    ------
    ModelError
        A rise that is none.
    """
    if np.any(rise <= 0.0):
        raise ModelError(f"{name}: the printed wall folds; it leans too far for its shrinkage")
    return np.concatenate([[0.0], np.cumsum(rise)])


def moved(
    wall: Wall, mesh: Meridian, by: Motion, strain: Array, marks: Array
) -> tuple[Wall, Array]:
    """A wall after a stage.

    Parameters
    ----------
    wall : Wall
        Its edges and its base count.
    mesh : Meridian
        Its outline.
    by : Motion
        The stage.
    strain : array
        Free natural strain of each band along the height, shape (bands,). [-]
    marks : array
        Heights of the wall, any shape. [m]

    Returns
    -------
    tuple of Wall and array
        The wall at the points of the mesh, and where the marks then are.
    """
    old = wall_of_mesh(mesh, wall.edges)
    straight = np.diff(old.height) + by.lift - shortened(old, by.turn)
    height = heights(np.exp(by.up) * straight, "vessel")
    found = Wall(
        height,
        old.radius * np.exp(by.ring),
        old.width * np.exp(by.thick),
        np.interp(wall.edges, old.height, height),
        _floor(wall, strain),
    )
    return found, np.interp(marks, old.height, height)


def _floor(wall: Wall, strain: Array) -> float:
    """Thickness of a base whose bands each change their height by a natural strain. [m]"""
    return float(np.diff(np.minimum(wall.edges, wall.base)) @ np.exp(strain))


# ----------------------------------------------------------------------------------------------
# Which shape to print so that drying and firing give the shape wanted

WET_POISSON_RATIO = 0.3
"""Of a drying wall; any stiffness gives the same shape while it is one for all. Estimate. [-]"""
TO_SIZE = 5e-5
"""Miss that is let pass: a layer or a road of a paste printer shows no less. Estimate. [m]"""

MENDS = 4
"""Times that a print is mended by its own firing, where that misses by more: our choice. [-]"""


@dataclass(frozen=True)
class Green:
    """The vessel as it is to be printed, and as it is wanted, at the same P points of the wall.

    Attributes
    ----------
    wall
        As printed. Its edges are the joints as drawn; they and its base lie on whole layers.
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
    laid
        Heights in the print between which the changes of paste leave one mixture, the foot and the
        rim included; the edges where they are sharp, shape (laid bands + 1,). [m]
    """

    wall: Wall
    fired: Wall
    ring: Array
    settled: Array
    materials: tuple[str, ...]
    layer: float
    layers: tuple[int, ...]
    laid: Array

    @property
    def floor_layers(self) -> int:
        """Layers of the base; 0 without one."""
        return round(self.wall.base / self.layer)


@dataclass(frozen=True)
class Refired:
    """A green vessel dried and fired by the model.

    Attributes
    ----------
    wall
        What comes out.
    dried
        What goes into the kiln.
    miss
        Largest distance between its faces and those wanted, at one height, and of the rim. [m]
    edge_miss
        Of each joint's height from that wanted, the rounding to layers, shape (bands - 1,). [m]
    came
        Heights to which the points of the print come, shape (P,). [m]
    """

    wall: Wall
    dried: Dried
    miss: float
    edge_miss: Array
    came: Array


def kept(card: Card, free_strain: float, shrinkage: float) -> tuple[float, float, float]:
    """Natural strains of a material alone: drying, then firing along the ring and the height.

    Parameters
    ----------
    card : Card
        Of the band.
    free_strain, shrinkage : float
        All of it, and what is no expansion, at the end of the firing, along the ring. [-]

    Returns
    -------
    tuple of float
        Drying, firing along the ring, firing along the height. [-]
    """
    dry = float(np.log1p(-card["drying_shrinkage"].scalar))
    return dry, free_strain, along_height(card, free_strain, shrinkage)


def band_strains(response: Response) -> Array:
    """Free natural strains of each band: drying, firing along the ring, along the height.

    Returns
    -------
    array
        Shape (bands, 3). [-]
    """
    free = response.history.free_strain[:, -1]
    shrunk = response.history.shrinkage[:, -1]
    return np.array(
        [
            kept(card, float(free[row]), float(shrunk[row]))
            for card, row in zip(response.cards, response.material, strict=True)
        ]
    )


def _drying(mesh: Meridian, strain: Array, outline: Meridian) -> Array:
    """Displacements of a wall of one stiffness whose bands dry by their own strains."""
    body = shells([mesh], [np.arange(strain.size)])
    moduli = np.full(strain.size, 1e6)
    poisson = np.full(strain.size, WET_POISSON_RATIO)
    moved = elastic_response(body, moduli, poisson, strain[body.material])[0][0]
    return carried(mesh, moved, outline)


def green_vessel(response: Response, drawn: Response | None = None) -> Green:
    """The shape to print, continuous through every joint, and its layers.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; its vessel is in the size wanted, with the bands that will be laid.
    drawn : Response, optional
        The same vessel with its joints as drawn, where changes of paste smear them.

    Returns
    -------
    Green
        Joints and the top of the base on whole layers.

    Raises
    ------
    InputError
        A band lower than one layer.
    ModelError
        A wall that cannot be printed as rings.
    """
    vessel, fired = response.vessel, response.fired
    dry, ring, up = band_strains(response).T
    wanted = _checked(wall_of_vessel(vessel), vessel.name)
    outline = meshed(vessel, raised=False)
    first = motion(outline, _drying(meshed(vessel), dry, outline), dry, dry)
    second = motion(outline, carried(fired.meridian, fired.displacement[-1], outline), ring, up)
    # the way back: both stages undone at once, seen from the fired shape
    lost = shortened(wanted, first.turn + second.turn)
    straight = np.diff(wanted.height) - first.lift - second.lift - lost
    height = heights(np.exp(-first.up - second.up) * straight, vessel.name)
    wall = Wall(
        height,
        wanted.radius * np.exp(-first.ring - second.ring),
        wanted.width * np.exp(-first.thick - second.thick),
        np.interp(wanted.edges, wanted.height, height),
        _floor(wanted, -dry - up),
    )
    return _layered(wall, wanted, first.settled + second.settled, drawn or response)


def _checked(wall: Wall, name: str) -> Wall:
    """The wall, or a complaint where its inner face meets the axis."""
    if np.any(wall.inside <= 0.0):
        at = float(wall.height[int(np.argmin(wall.inside))])
        raise ModelError(
            f"{name}: at {1e3 * at:.1f} mm the leaning wall closes over the axis; thin it, or "
            "make it steeper"
        )
    return wall


def _layered(wall: Wall, wanted: Wall, settled: Array, drawn: Response) -> Green:
    """The print with its joints as drawn and its base on whole layers."""
    name = drawn.vessel.name
    joints = np.array([0.0, *drawn.vessel.steps, float(wanted.height[-1])])
    edges = np.interp(joints, wanted.height, wall.height)
    layer, counts = _layers(edges, np.ones(edges.size - 1), drawn.vessel.printer.layer, name)
    whole = layer * np.concatenate([[0], np.cumsum(counts)])
    moved = replace(wall, edges=whole, base=_on_layers(wall.base, layer))
    return Green(
        wall=_checked(moved, name),
        fired=replace(wanted, edges=joints),
        ring=np.log(wanted.radius / wall.radius),
        settled=settled,
        materials=tuple(card.name for card in drawn.cards),
        layer=layer,
        layers=counts,
        laid=np.interp(wall.edges, edges, whole),
    )


def _on_layers(base: float, layer: float) -> float:
    """The whole number of layers that is nearest to a base, one at least; 0 without one. [m]"""
    return layer * max(round(base / layer), 1) if base > 0.0 else 0.0


def _layers(edges: Array, left: Array, layer: float, name: str) -> tuple[float, tuple[int, ...]]:
    """Height of layer that divides the whole, and the layers of each band.

    Of bands that keep a share of their height, `left`, and then are to end at `edges`.
    """
    rises = np.diff(edges) / left
    fitted = float(rises.sum()) / max(round(float(rises.sum()) / layer), 1)
    counts: list[int] = []
    reached = 0.0
    for top, kept_share in zip(edges[1:], left, strict=True):
        counts.append(round(float((top - reached) / (kept_share * fitted))))
        reached += counts[-1] * kept_share * fitted
    if min(counts) < 1:
        band = int(np.argmin(counts))
        raise InputError(
            f"{name}: band {band + 1} is {1e3 * rises[band]:.2f} mm high as printed; allowed: one "
            f"layer of {1e3 * fitted:.2f} mm or more"
        )
    return float(edges[-1] / (left @ counts)), tuple(counts)


def fired_again(green: Green, response: Response, control: Control | None = None) -> Refired:
    """The green vessel dried and fired by the model, from its own shape and its whole layers.

    Nothing of the way back is used: the printed and the dried wall are meshed and solved anew.

    Parameters
    ----------
    green : Green
        From `green_vessel`.
    response : Response
        The vessel with the bands that will be laid; its histories count.
    control : Control, optional
        Tolerances and steps.

    Returns
    -------
    Refired
        What comes out, and how far it is from what was wanted; the base, which is a whole number of
        layers, counts for no miss.

    Raises
    ------
    CofireError
        The printed wall cannot be meshed.
    """
    dry, ring, up = band_strains(response).T
    printed = replace(green.wall, edges=green.laid)
    marks = np.concatenate([green.wall.edges, green.wall.height])
    outline = mesh_of_wall(printed, raised=False)
    stage = motion(outline, _drying(mesh_of_wall(printed, raised=True), dry, outline), dry, dry)
    dried, marks = moved(printed, outline, stage, dry, marks)
    outside = dried.outside
    size = Dried(2.0 * float(outside.max()), float(dried.height[-1]), float(outside[0]))
    outline, mesh = (mesh_of_wall(dried, raised) for raised in (False, True))
    (fired,) = fire_shells([mesh], response.history, [response.material], control=control)
    stage = motion(outline, carried(mesh, fired.displacement[-1], outline), ring, up)
    found, marks = moved(dried, outline, stage, up, marks)
    found = replace(found, edges=marks[: green.wall.edges.size])
    want = green.fired
    faces = [
        np.abs(found.at(getattr(found, face), want.height) - getattr(want, face)).max()
        for face in ("inside", "outside")
    ]
    rim = abs(float(found.height[-1] - want.height[-1]))
    edges = found.edges[1:-1] - want.edges[1:-1]
    return Refired(found, size, float(max(*faces, rim)), edges, marks[green.wall.edges.size :])


def _in_place(edges: Array, wanted: Array, layer: float, left: Array) -> bool:
    """Whether each joint is where it is wanted, but for half a layer as high as it is then."""
    half = 0.5 * layer * np.maximum(left[1:], left[:-1])
    return bool(np.all(np.abs(edges - wanted)[1:-1] <= half))


def _left(green: Green, found: Refired) -> Array:
    """Share of its printed height that each band keeps, shape (bands,). [-]"""
    return np.asarray(np.diff(found.wall.edges) / np.diff(green.wall.edges))


def _mended(green: Green, found: Refired, response: Response) -> Green:
    """The print made larger where it came out too small, each joint on the nearest whole layer.

    What is left of a band's height says how high it must be printed. Points keep their place
    between the joints, and so does the curve that the pull asks for there.
    """
    want, got, old = green.fired, found.wall, green.wall
    name, left = response.vessel.name, _left(green, found)

    def stacked(counts: tuple[int, ...], layer: float, share: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum(layer * share * counts)])

    layer, counts = _layers(want.edges, left, response.vessel.printer.layer, name)
    same = float(want.height[-1] / (left @ green.layers))
    still = _in_place(stacked(green.layers, same, left), want.edges, same, left)
    if still and sum(counts) == sum(green.layers):
        # a joint that moves to and fro between two layers would spoil the curve beside it
        layer, counts = same, green.layers
    edges = stacked(counts, layer, np.ones_like(left))
    height = np.interp(old.height, old.edges, edges)
    kept_share = np.diff(found.came) / np.diff(old.height)
    comes = np.concatenate([[0.0], np.cumsum(kept_share * np.diff(height))])
    wall = replace(
        old,
        height=height,
        radius=old.radius * want.at(want.radius, comes) / got.at(got.radius, found.came),
        width=old.width * want.at(want.width, comes) / got.at(got.width, found.came),
        edges=edges,
        base=_on_layers(old.base * want.base / got.base, layer) if old.base else 0.0,
    )
    laid = np.interp(green.laid, old.edges, edges)
    return replace(green, wall=_checked(wall, name), layer=layer, layers=counts, laid=laid)


def green_to_size(
    response: Response, control: Control | None = None, drawn: Response | None = None
) -> tuple[Green, Refired]:
    """The shape to print, mended by its own firing until that comes out to size.

    The first guess misses by the rounding to layers and by what is of second order in the pull of
    the bands; each place is then made larger by what it comes out too small, and each joint moved
    to the layer that comes out nearest to where it is wanted.

    Parameters
    ----------
    response : Response
        From `fire_vessel`, with the bands that will be laid.
    control : Control, optional
        Tolerances and steps.
    drawn : Response, optional
        As `green_vessel`.

    Returns
    -------
    tuple of Green and Refired
        Mended `MENDS` times at most; its `miss` says what is left.

    Raises
    ------
    CofireError
        As `green_vessel` and `fired_again`.
    """
    green = green_vessel(response, drawn)
    found = fired_again(green, response, control)
    for _ in range(MENDS):
        left = _left(green, found)
        near = _in_place(found.wall.edges, green.fired.edges, green.layer, left)
        if found.miss <= TO_SIZE and near:
            break
        green = _mended(green, found, response)
        found = fired_again(green, response, control)
    return green, found
