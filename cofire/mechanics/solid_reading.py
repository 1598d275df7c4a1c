"""Stress of a solid as a person may read it: by station, beside joints and corners, on joints.

At the edge of a joint and in an inside corner the stress of an elastic solid may have no bound (see
`corner_exponent`), and a finer mesh then only shows more of it. So beside joints and sharp corners
stress is read as the mean along the wall over a tenth and a quarter of a wall, on both faces and on
every line of points between them, and at exactly half a wall and one wall away. Those means
converge.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.mechanics.solid import Solid
from cofire.mechanics.solid_elements import (
    GAUSS,
    GAUSS_WEIGHT,
    Elements,
    point_shape,
    to_lines,
)
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.numerics import chord_lengths, crossing, line_shape, line_slope
from cofire.physics.interface import corner_exponent, dundurs

if TYPE_CHECKING:
    from cofire.numerics import Array

TENTH, QUARTER = 0.1, 0.25
"""Lengths of the windows beside a joint or corner, over the wall. [-]"""

HALF, ONE = 0.5, 1.0
"""Distances at which stress is read beside it, over the wall. [-]"""

SLIDING = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95])
"""Middles of the windows of a tenth of a wall among which a peak is sought, over the wall. [-]"""


@dataclass(frozen=True)
class Beside:
    """Stress beside K joints or sharp corners at T times, along P lines from inside to outside.

    The last axis is below and above. Components are meridional, hoop, through the wall, and shear
    between the first and the third.

    Attributes
    ----------
    height
        Of the middle of each, shape (K,). [m]
    tenth, quarter
        Means over a tenth and a quarter of a wall from it, shape (T, 4, P, K, 2). [Pa]
    half, one
        Half a wall and one wall away, same shape. [Pa]
    distance
        Where `half` and `one` are read: nearer where the next step or the end is, (2, K, 2). [m]
    peak
        Largest tension in any direction among windows of a tenth of a wall within one wall (half
        the band, if that is less), shape (T, K, 2). [Pa]
    exponent
        λ of the edge, where stress goes as r^(λ − 1): below one it has no bound as long as nothing
        flows or yields, and only means are worth anything. Of a joint as if its edges were square,
        of a sharp corner that of its notch on the inside, shape (T, K). [-]
    """

    height: Array
    tenth: Array
    quarter: Array
    half: Array
    one: Array
    distance: Array
    peak: Array
    exponent: Array


@dataclass(frozen=True)
class SolidSteps:
    """Stress on and beside the S steps of one vessel at T times.

    Attributes
    ----------
    height, tenth, quarter, half, one, distance, peak, exponent
        As in `Beside`, for K = S joints. [m], [Pa], [-]
    radius
        Of the middle of each joint, shape (S,). [m]
    normal
        Normal stress on the joint at the inner and outer face by force and moment alone, tension
        positive, shape (T, S, 2). [Pa]
    shear
        Mean shear stress on the joint, positive where the upper band pulls the lower outwards,
        shape (T, S). [Pa]
    tension, sliding
        Normal and shear stress on the joint, mean over its inner and outer tenth, (T, S, 2). [Pa]
    hoop
        Wall mean of the hoop stress in the tenth below and above, shape (T, S, 2). [Pa]
    """

    height: Array
    tenth: Array
    quarter: Array
    half: Array
    one: Array
    distance: Array
    peak: Array
    exponent: Array
    radius: Array
    normal: Array
    shear: Array
    tension: Array
    sliding: Array
    hoop: Array

    @property
    def local_normal(self) -> Array:
        """To add to the larger of `normal` for the larger of `tension`, shape (T, S). [Pa]"""
        return np.asarray(self.tension.max(axis=2) - self.normal.max(axis=2))


def principal(tensor: Array) -> Array:
    """Largest tension in any direction. [Pa]

    Parameters
    ----------
    tensor
        Meridional, hoop, through, shear along the first axis. [Pa]
    """
    one, hoop, two, shear = tensor
    in_section = 0.5 * (one + two) + np.hypot(0.5 * (one - two), shear)
    return np.asarray(np.maximum(in_section, hoop))


@dataclass(frozen=True)
class Reader:
    """What reads stress on one side of a step or corner, see `Beside`.

    Attributes
    ----------
    used
        Rows that are read.
    share
        Of their stations in the means over a tenth and a quarter of a wall, in the values half a
        wall and one wall away, and in sliding windows of a tenth, shape (W, rows, 3, P). [-]
    distance
        Where the two values are read, see `Beside`, shape (2,). [m]
    """

    used: slice
    share: Array
    distance: Array


@dataclass(frozen=True)
class Lines:
    """Lines of points along the wall: both faces and the Gauss points of each column between.

    Attributes
    ----------
    mesh
        Of the vessel.
    through
        Place of each, shape (P,). [-]
    radius, height
        Of the stations, shape (A, 3, P). [m]
    run
        Length along the line per η at the stations, shape (A, 3, P). [m]
    along_r, along_z
        Unit vectors along them, shape (A, 3, P). [-]
    sliding
        Whether sliding windows are read.
    """

    mesh: SolidMesh
    through: Array
    radius: Array
    height: Array
    run: Array
    along_r: Array
    along_z: Array
    sliding: bool = True

    @classmethod
    def of(cls, mesh: SolidMesh, *, sliding: bool = True) -> Lines:
        """The lines of a mesh.

        Parameters
        ----------
        mesh
            The mesh.
        sliding
            Whether a peak is to be sought among sliding windows.
        """
        rows, count = mesh.rows, mesh.across
        share = np.zeros((3 * count + 2, mesh.place.size))
        share[0, 0] = share[-1, -1] = 1.0
        for k in range(count):
            share[1 + 3 * k : 4 + 3 * k, 2 * k : 2 * k + 3] = line_shape(GAUSS)
        three = 2 * np.arange(rows)[:, None] + np.arange(3)
        r, z = mesh.radius[three] @ share.T, mesh.height[three] @ share.T
        shape, slope = line_shape(GAUSS), line_slope(GAUSS)
        run_r, run_z = (np.einsum("ja,kap->kjp", slope, v) for v in (r, z))
        run = np.hypot(run_r, run_z)
        at_r, at_z = (np.einsum("ja,kap->kjp", shape, v) for v in (r, z))
        return cls(mesh, share @ mesh.place, at_r, at_z, run, run_r / run, run_z / run, sliding)

    @cached_property
    def length(self) -> Array:
        """Of each row, shape (A, P). [m]"""
        return np.asarray(np.einsum("j,kjp->kp", GAUSS_WEIGHT, self.run))

    def windows(self, row: int, sign: int, low: Array, high: Array) -> tuple[slice, Array]:
        """Rows beside a row edge, and shares of their stations in means between W distances.

        Where both distances are the same, the value there; no distance goes beyond the wall's end.
        Shares (W, rows, 3, P).

        Parameters
        ----------
        row
            Of elements: the edge below it. [-]
        sign
            1 above the edge, -1 below. [-]
        low, high
            Distances from the edge along each line, shape (W,). [m]
        """
        rows = np.arange(row, len(self.run)) if sign > 0 else np.arange(row - 1, -1, -1)
        end = np.cumsum(self.length[rows], axis=0)
        low, high = (np.minimum(d[:, None], end[-1]) for d in (low, high))
        inside = (end < high.max(axis=0)) | (end <= low.max(axis=0))
        rows = rows[: min(int(inside.any(axis=1).sum()) + 2, rows.size)]
        end, length = end[: rows.size], self.length[rows]
        start = end - length
        c = np.moveaxis(_POWERS @ self.run[rows, ::sign], 1, 0)
        a, b = (_place_at(np.clip(d[:, None] - start, 0.0, length), c, length) for d in (low, high))
        middle, half = 0.5 * (a + b), 0.5 * (b - a)
        share = np.zeros((*half.shape, 3))
        for g, w in zip(GAUSS, GAUSS_WEIGHT, strict=True):
            x = middle + g * half
            share += point_shape(x) * (w * half * (c[0] + x * (c[1] + x * c[2])))[..., None]
        points = high - low < 1e-12
        if points.any():
            of, line = np.nonzero(points)
            own = _at_point(low[of, line], start[:, line], c[..., line])
            share[of, :, line] = own.swapaxes(0, 1)
        share = share[:, ::sign, :, ::sign]
        share = np.moveaxis(share, 3, 2)
        share = share / share.sum(axis=(1, 2), keepdims=True)
        return slice(int(rows.min()), int(rows.max()) + 1), share

    @cached_property
    def _readers(self) -> dict[tuple[int, int], Reader]:
        """Those made so far, by row of nodes and side."""
        return {}

    def reader(self, row: int, side: int) -> Reader:
        """What reads stress below (0) or above (1) a row of nodes.

        Parameters
        ----------
        row
            Of nodes. [-]
        side
            0 or 1. [-]
        """
        if (row, side) not in self._readers:
            self._readers[row, side] = self._reader(row, side)
        return self._readers[row, side]

    def _reader(self, row: int, side: int) -> Reader:
        sign = (-1, 1)[side]
        room = _room(self.mesh, row)[side]
        wall = float(self.mesh.wall[row + sign])
        at = [min(d * wall, room) for d in (HALF, ONE)]
        spans = [(0.0, TENTH * wall), (0.0, QUARTER * wall), *((d, d) for d in at)]
        slides = np.unique(np.minimum(SLIDING * wall, max(room, SLIDING[0] * wall)))
        slides = slides if self.sliding else slides[:0]
        spans += [(d - 0.5 * TENTH * wall, d + 0.5 * TENTH * wall) for d in slides]
        low, high = np.array(spans).T
        return Reader(*self.windows(row // 2, sign, low, high), np.array(at))

    @cached_property
    def restored(self) -> Array:
        """From values at the stations to what they are between the places where they are sure.

        Within each stretch between steps and corners, along the middle of the wall, see
        `_at_point`; shape (G, G). [-]
        """
        rows, middle = self.mesh.rows, self.through.size // 2
        inner = np.concatenate([self.mesh.step_row, self.mesh.corner_row])
        edges = np.unique(np.concatenate([[0], inner, [2 * rows]]) // 2)
        found = np.zeros((rows, 3, rows, 3))
        run = (_POWERS @ self.run)[..., middle].T
        for first, last in pairwise(edges.tolist()):
            own, c = slice(first, last), run[:, first:last, None]
            length = self.length[own, middle]
            start = np.cumsum(length) - length
            at = (start[:, None] + _distance_at(GAUSS, c)).ravel()
            share = _at_point(at, start[:, None], c)
            found[own, :, own] = np.moveaxis(share, 1, 0).reshape(last - first, 3, last - first, 3)
        return found.reshape(3 * rows, 3 * rows)


_POWERS = np.array([[0.0, 1.0, 0.0], [-0.5, 0.0, 0.5], [0.5, -1.0, 0.5]]) / np.array(
    [[1.0], [GAUSS[2]], [GAUSS[2] ** 2]]
)
"""From values at the three Gauss points to the parabola through them, by powers of η. [-]"""


_SURE = np.array([-1.0, 1.0]) / np.sqrt(3.0)
"""Places in a row where the stress of a nine-node element is right to one order more (J. Barlow,
Int. J. Numer. Methods Eng. 10, 1976, 243, from memory). [-]"""
_AT_SURE = 0.5 * GAUSS_WEIGHT * (1.0 + 3.0 * _SURE[:, None] * GAUSS)
"""Values there, of the straight line nearest to those at the three Gauss points, (2, 3). [-]"""


def _at_point(at: Array, start: Array, run: Array) -> Array:
    """Shares of the stations of R rows in the value at a distance along each of P lines, (R, P, 3).

    A cubic through the four nearest places where stress is known best, a line beyond the last of
    them. Within an element stress is a straight line along the wall; what it bends shows
    between neighbours.
    """
    known = start + _distance_at(_SURE[:, None, None], run)
    known = np.moveaxis(known, 1, 0).reshape(2 * len(start), -1)  # two a row
    known = np.broadcast_to(known, (len(known), at.size))
    share = np.zeros((len(start), at.size, 3))
    beyond = at > known[-1]
    for most, own in ((4, ~beyond), (2, beyond)):
        lines, count = np.flatnonzero(own), min(most, len(known))
        first = (known[:, own] < at[own]).sum(axis=0) - count // 2
        chosen = np.clip(first, 0, len(known) - count) + np.arange(count)[:, None]
        place = known[chosen, lines]
        for k in range(count):
            others = [j for j in range(count) if j != k]
            parts = [(at[own] - place[j]) / (place[k] - place[j]) for j in others]
            weight = np.prod(parts, axis=0)
            np.add.at(share, (chosen[k] // 2, lines), weight[:, None] * _AT_SURE[chosen[k] % 2])
    return share


def _distance_at(place: Array, run: Array) -> Array:
    """Length along each line from the start of a row to a place in it, -1 to 1. [m]

    `run` holds the length per η by powers of η.
    """
    x, c = place, run
    begin = -c[0] + 0.5 * c[1] - c[2] / 3.0
    return np.asarray(x * (c[0] + x * (0.5 * c[1] + x * c[2] / 3.0)) - begin)


def _place_at(distance: Array, run: Array, length: Array) -> Array:
    """Place in a row, -1 to 1, at a distance along each line from its start. [-]

    `run` holds the length per η by powers of η.
    """
    c, x = run, 2.0 * distance / length - 1.0
    for _ in range(3):
        x = x - (_distance_at(x, c) - distance) / (c[0] + x * (c[1] + x * c[2]))
    return np.clip(x, -1.0, 1.0)


def by_station(elements: Elements, through: Array, values: Array) -> Array:
    """Values at the points by row, station and line with faces, shape (..., A, 3, P). [any]

    Parameters
    ----------
    elements
        Of the vessel.
    through
        Places of the lines, shape (P,). [-]
    values
        At the points, shape (..., E, 9). [any]
    """
    out = np.empty((*values.shape[:-2], len(elements.edges), 3, through.size))
    for edges, rows, own in elements.kinds:
        cells = values[..., own, :].reshape(*values.shape[:-2], *own.shape, 3, 3)
        lines = cells.swapaxes(-3, -2).reshape(-1, 3 * own.shape[1])
        read = lines @ to_lines(edges, through)  # one product, not one a row and moment
        out[..., rows, :, :] = read.reshape(*values.shape[:-2], rows.size, 3, through.size)
    return out


def turned(tensor: Array, lines: Lines, axis: int, angle: float = 1.0) -> Array:
    """Radial, hoop, axial, shear as meridional, hoop, through, shear. [Pa] or [-]

    Parameters
    ----------
    tensor
        By row, station and line. [Pa] or [-]
    lines
        Of the same mesh.
    axis
        Of the components.
    angle
        1 for stress, 1/2 for strain, whose shear is the engineer's. [-]
    """
    out = np.empty_like(tensor)
    one, same, two, shear = np.moveaxis(out, axis, 0)
    rr, hoop, zz, rz = np.moveaxis(tensor, axis, 0)
    s, c = lines.along_r, lines.along_z
    np.multiply(s * s, rr, out=one)
    one += (c * c) * zz
    one += (2.0 * angle * s * c) * rz
    same[...] = hoop
    np.add(rr, zz, out=two)  # the sum of both does not turn
    two -= one
    np.subtract(rr, zz, out=shear)
    shear *= s * c / angle
    shear += (c * c - s * s) * rz
    return out


def read_section(lines: Lines, stress: Array) -> tuple[Array, Array]:
    """Membrane and bending stress, meridional and hoop, shape (T, G, 2) each. [Pa]

    Meridional from the traction on the line through the wall at each station, so that force and
    moment balance whatever its slant; hoop as it is along the line. Between steps and corners they
    are what the places where stress is known best say, see `_at_point`: the crest of bending lies
    in rows half a wall long.

    Parameters
    ----------
    lines
        Of the vessel.
    stress
        Radial, hoop, axial, shear, shape (T, 4, A, 3, P). [Pa]
    """
    mesh = lines.mesh
    half = 0.5 * (mesh.place[2::2] - mesh.place[:-2:2])
    middle = 0.5 * (mesh.place[2::2] + mesh.place[:-2:2])
    weight = 0.5 * (half[:, None] * GAUSS_WEIGHT).ravel()
    x = (middle[:, None] + half[:, None] * GAUSS).ravel()
    rr, hoop, zz, rz = np.moveaxis(stress[..., 1:-1], 1, 0)
    cut_r, cut_z = (v[..., -1] - v[..., 0] for v in (lines.radius, lines.height))
    along_r, along_z = (0.5 * (v[..., 0] + v[..., -1]) for v in (lines.along_r, lines.along_z))
    length = np.hypot(along_r, along_z)
    along_r, along_z = along_r / length, along_z / length
    wall = cut_r * along_z - cut_z * along_r  # of the line, square to the wall
    first = (cut_r * along_z / wall, -cut_z * along_r / wall)
    second = (cut_r * along_r - cut_z * along_z) / wall
    pull = zz * first[0][..., None] + rr * first[1][..., None] + rz * second[..., None]
    # force along the wall by the whole traction, moment by what is normal to the line
    n_r, n_z = (v[..., None] for v in (-cut_z / wall, cut_r / wall))
    normal = rr * n_r * n_r + zz * n_z * n_z + 2.0 * rz * n_r * n_z
    line = 3.0 * weight * x
    mean = np.stack([pull @ weight, hoop @ weight], axis=-1)
    bending = np.stack([normal @ line, hoop @ line], axis=-1)
    read = np.concatenate([mean, bending], axis=-1).reshape(len(stress), -1, 4)
    restored = lines.restored @ np.moveaxis(read, 1, 0).reshape(read.shape[1], -1)
    both = np.moveaxis(restored.reshape(-1, len(stress), 4), 0, 1)
    return both[..., :2], both[..., 2:]


def _room(mesh: SolidMesh, row: int) -> tuple[float, float]:
    """How far below and above a row of nodes stress is read: half of a band between two edges."""
    arc = mesh.meridian.arc_length
    edges = np.unique(np.concatenate([[0], mesh.step_row, mesh.corner_row, [arc.size - 1]]))
    k = int(np.searchsorted(edges, row))
    below = arc[row] - arc[edges[k - 1]]
    above = arc[edges[k + 1]] - arc[row]
    return (
        float(below if k == 1 else 0.5 * below),
        float(above if k == edges.size - 2 else 0.5 * above),
    )


def read_beside(lines: Lines, tensor: Array, rows: NDArray[np.intp]) -> dict[str, Array]:
    """Fields of `Beside`, but for the exponent, at some rows of nodes.

    Parameters
    ----------
    lines
        Of the vessel.
    tensor
        Meridional, hoop, through, shear, shape (T, 4, A, 3, P). [Pa]
    rows
        Rows of nodes, shape (K,). [-]
    """
    times, count, places = len(tensor), rows.size, lines.through.size
    means = np.zeros((4, times, 4, places, count, 2))
    distance = np.zeros((2, count, 2))
    peak = np.full((times, count, 2), -np.inf)
    for k, row in enumerate(rows.tolist()):
        for side in (0, 1):
            reader = lines.reader(row, side)
            near = tensor[:, :, reader.used]
            mean = np.einsum("wkjp,tckjp->wtcp", reader.share, near, optimize=True)
            means[..., k, side], distance[:, k, side] = mean[:4], reader.distance
            sought = np.moveaxis(np.delete(mean, (1, 2, 3), axis=0), 2, 0)
            peak[:, k, side] = principal(sought).max(axis=(0, 2))
    return {
        "height": lines.mesh.height[rows, lines.mesh.place.size // 2],
        "tenth": means[0],
        "quarter": means[1],
        "half": means[2],
        "one": means[3],
        "distance": distance,
        "peak": peak,
    }


def read_corners(lines: Lines, tensor: Array) -> Beside:
    """Stress beside the sharp corners of one vessel.

    Parameters
    ----------
    lines
        Of the vessel.
    tensor
        Meridional, hoop, through, shear, shape (T, 4, A, 3, P). [Pa]
    """
    mesh = lines.mesh
    rows = mesh.corner_row
    beside = read_beside(lines, tensor, rows)
    exponent = np.ones((len(tensor), rows.size))
    for k, row in enumerate(rows):
        turn = 0.0
        for face, sign in ((0, 1.0), (-1, -1.0)):
            r, z = mesh.radius[row - 2 : row + 3, face], mesh.height[row - 2 : row + 3, face]
            before, after = (
                np.arctan2(z[2] - z[0], r[2] - r[0]),
                np.arctan2(z[4] - z[2], r[4] - r[2]),
            )
            turn = max(turn, sign * float(np.angle(np.exp(1j * (after - before)))))
        exponent[:, k] = notch_exponent(np.pi + turn)
    return Beside(**beside, exponent=exponent)


def notch_exponent(angle: float) -> float:
    """Exponent λ at the tip of a notch, where stress goes as r^(λ − 1). [-]

    The root of sin λω = −λ sin ω that opens the notch (M. L. Williams, J. Appl. Mech. 19, 1952,
    526, from memory). Elastic, one body.

    Parameters
    ----------
    angle
        Of the body round the tip, up to 2π; at π or less nothing is singular. [rad]

    Examples
    --------
    >>> round(notch_exponent(1.5 * np.pi), 4)
    0.5445
    """
    if angle <= np.pi * (1.0 + 1e-9):
        return 1.0
    return float(crossing(lambda x: np.sin(x * angle) + x * np.sin(angle), 0.5 - 1e-9, 1.0))


def joint_forces(body: Solid, stress: Array) -> tuple[Array, ...]:
    """Force of the upper part on the nodes of each joint, S arrays (T, nodes, 2). [N]

    Mean of what the rows below and above say, which differ by the weight on the nodes.

    Parameters
    ----------
    body
        The vessel.
    stress
        Radial, hoop, axial, shear at the points, shape (T, 4, E, 9). [Pa]
    """
    elements, out = body.elements, []
    for line in body.mesh.step_row:
        first, last = elements.line[line], elements.line[line + 1]
        whole = np.zeros((len(stress), last - first, 2))
        for row, sign in ((line // 2 - 1, 0.5), (line // 2, -0.5)):
            for e in range(elements.start[row], elements.start[row + 1]):
                pulled = (stress[:, :, e] * body.geometry.weight[e]).swapaxes(1, 2)
                pulled = pulled.reshape(len(stress), 36) @ body.geometry.operator[e]
                pulled = pulled.reshape(len(stress), 9, 2)
                at = elements.nodes[e] - first
                there = (at >= 0) & (at < last - first)
                whole[:, at[there]] += sign * pulled[:, there]
        out.append(whole)
    return tuple(out)


def read_steps(
    body: Solid,
    lines: Lines,
    tensor: Array,
    forces: tuple[Array, ...],
    young: Array,
    poisson: Array,
) -> SolidSteps:
    """Stress at the steps of one vessel.

    Parameters
    ----------
    body
        The vessel.
    lines
        Of the same mesh.
    tensor
        Meridional, hoop, through, shear, shape (T, 4, A, 3, P). [Pa]
    forces
        From `joint_forces`. [N]
    young
        Modulus of each material, shape (T, N). [Pa]
    poisson
        Ratio of each material, shape (N,). [-]
    """
    mesh = body.mesh
    rows = mesh.step_row
    beside = read_beside(lines, tensor, rows)
    times, count = len(tensor), rows.size
    normal, tension, sliding = (np.zeros((times, count, 2)) for _ in range(3))
    shear = np.zeros((times, count))
    cut, middle = np.zeros(count), np.zeros(count)
    material = body.material_of_row
    for s, row in enumerate(rows):
        r, z = mesh.radius[row], mesh.height[row]
        cut[s] = np.hypot(r[-1] - r[0], z[-1] - z[0])
        middle[s] = r[mesh.place.size // 2]
        level_r, level_z = (r[-1] - r[0]) / cut[s], (z[-1] - z[0]) / cut[s]
        pull = forces[s][..., 1] * level_r - forces[s][..., 0] * level_z
        slide = forces[s][..., 0] * level_r + forces[s][..., 1] * level_z
        ring = 2.0 * np.pi * middle[s]
        nodes = slice(body.elements.line[row], body.elements.line[row + 1])
        line = body.elements.radius[nodes], body.elements.height[nodes]
        x = 0.5 * cut[s] * _along_cut(*line)
        bending = 6.0 * (pull @ x) / (ring * cut[s] ** 2)
        mean = pull.sum(axis=1) / (ring * cut[s])
        normal[:, s] = np.stack([mean - bending, mean + bending], axis=1)
        shear[:, s] = slide.sum(axis=1) / (ring * cut[s])
        reader = _tenths(*line)
        tension[:, s], sliding[:, s] = pull @ reader, slide @ reader
    below, above = material[rows // 2 - 1], material[rows // 2]
    pair = dundurs(young[:, below], poisson[below], young[:, above], poisson[above])
    return SolidSteps(
        **beside,
        radius=middle,
        normal=normal,
        shear=shear,
        tension=tension,
        sliding=sliding,
        hoop=_wall_mean(mesh, beside["tenth"][:, 1]),
        exponent=corner_exponent(*pair),
    )


def _wall_mean(mesh: SolidMesh, values: Array) -> Array:
    """Mean through the wall of values at the lines, (T, P, K, 2) to (T, K, 2)."""
    half = 0.5 * (mesh.place[2::2] - mesh.place[:-2:2])
    weight = 0.5 * (half[:, None] * GAUSS_WEIGHT).ravel()
    return np.asarray(np.einsum("p,tpks->tks", weight, values[:, 1:-1]))


def joint_traction(body: Solid, step: int, force: Array) -> tuple[Array, Array]:
    """Traction along a joint that has the force and moment of the forces on its nodes.

    Straight between the ends of elements, the nearest to the traction that does the same work: that
    itself goes up and down between ends and middles. At the edge, where there may be no bound, it
    is what an element of a three-hundredth of the wall has.

    Parameters
    ----------
    body
        The vessel.
    step
        Of the joint, from the foot.
    force
        From `joint_forces`, shape (..., nodes, 2). [N]

    Returns
    -------
    tuple of array
        Places of the ends across, -1 inside to 1 outside, shape (C + 1,) [-]; radial and axial
        traction there, shape (..., C + 1, 2) [Pa].
    """
    row = int(body.mesh.step_row[step])
    nodes = slice(body.elements.line[row], body.elements.line[row + 1])
    radius, height = body.elements.radius[nodes], body.elements.height[nodes]
    place = _along_cut(radius, height)
    straight = np.stack([np.interp(place, place[::2], one) for one in np.eye(place[::2].size)])
    mass = straight @ _traction_mass(radius, height) @ straight.T
    return place[::2], np.asarray(np.linalg.solve(mass, straight @ force), np.float64)


def _along_cut(radius: Array, height: Array) -> Array:
    """Places of the nodes of a joint by what of its breadth lies before them, -1 to 1. [-]"""
    run = chord_lengths(radius, height)
    return np.asarray(2.0 * run / run[-1] - 1.0)


def _traction_mass(radius: Array, height: Array) -> Array:
    """Forces on the nodes of a joint by unit tractions at them, round the ring, two axes alike."""
    mass, shape, slope = np.zeros((radius.size, radius.size)), line_shape(GAUSS), line_slope(GAUSS)
    for k in range(0, radius.size - 2, 2):
        own = slice(k, k + 3)
        run = np.hypot(slope @ radius[own], slope @ height[own])
        ring = 2.0 * np.pi * (shape @ radius[own]) * run * GAUSS_WEIGHT
        mass[own, own] += shape.T @ (ring[:, None] * shape)
    return mass


def _tenths(radius: Array, height: Array) -> Array:
    """From forces on the nodes of a joint to traction in its inner and outer tenth, (2C + 1, 2).

    The traction is the piecewise quadratic that does the same work.
    """
    place = _along_cut(radius, height)
    mean = np.zeros((place.size, 2))
    for k in range(0, place.size - 2, 2):
        low, high = place[k], place[k + 2]
        own = slice(k, k + 3)
        for face, (first, last) in enumerate(((-1.0, -1.0 + 2 * TENTH), (1.0 - 2 * TENTH, 1.0))):
            a, b = max(first, low), min(last, high)
            if b > a:
                x = 0.5 * (a + b) + 0.5 * (b - a) * GAUSS
                at = line_shape((2.0 * x - low - high) / (high - low))
                mean[own, face] += (0.5 * (b - a) * GAUSS_WEIGHT) @ at
    return np.asarray(np.linalg.solve(_traction_mass(radius, height), mean / (2 * TENTH)))
