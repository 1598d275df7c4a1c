"""Energy that cracks across a wall free, for every depth and load state, from one elastic solid.

A wall of revolution as an elastic solid, nine nodes an element, is condensed once from below and
once from above on each crack plane: a joint, level as bands are laid, or a cut through a band,
square to the wall as ring cracks run. What joins the two halves
is a stiffness against the jump of displacement across the plane. A load state only supplies the
tractions on the plane before it cracked (Bueckner 1958, from memory): plastic and residual strains
are in them, unloading is elastic. Factored in order from a face, the stiffness of every depth is a
leading block, and the energy of all depths a running sum.

What is expected of the result stands in `cofire.physics.fracture`.

Left out: friction of faces that press (they slide freely, so more energy than there is), cracks
that leave the plane, and change of the elastic moduli by the crack's own plasticity.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.linalg import cholesky, solve, solve_triangular
from scipy.linalg.lapack import dposv, dpotrf, dtrtri, dtrtrs

from cofire.errors import InputError, ModelError
from cofire.numerics import Array, gauss_points, line_shape, line_slope, one_thread
from cofire.physics.fracture import (
    MODE_SENSITIVITY,
    CrackLimit,
    coupled_criterion,
    mode_mix_toughness,
    use_along,
)
from cofire.physics.interface import dundurs

Face = Literal["inner", "outer"]

FINEST = 3e-3
"""Smallest element beside a face and beside a plane, in walls: against half of it and a growth of
1.3 no load of four vessels moves by more than 1.3 %."""
AT_STEP = 0.03
"""Smallest element beside a step between bands that is no crack plane, in walls."""
GROWTH = 1.8
"""Ratio of neighbouring elements."""
TIP = 0.08
"""A crack through whole elements acts as one shorter by this share of its last element: measured on
edge cracks in strips in tension, 0.06 to 0.13 at all depths and grades. Without it energies are
4 to 8 % low. [-]"""
WIDEST = 0.07
"""Widest element across the wall, in walls."""
COARSEST = 0.35
"""Tallest element, in decay lengths of bending."""
BESIDE = (0.1, 0.15, 0.25)
"""Where a ring crack beside a step is tried, in walls from it."""
CLEAR = 0.85
"""How much of its middle's way to a level edge the end of a slanting cut may take. [-]"""
REFERENCE = 1e-2
"""Distance from the tip at which the mode mix of a joint of two stiffnesses is stated, in walls."""
ON_AXIS = 1e6
"""Stiffness that holds the axis of a rod, over the largest of its row. [-]"""
OPEN = -1e-6
"""Share of the largest opening by which faces may cross before contact is solved for. [-]"""
_ROUNDS = 20  # of closing nodes and letting them go; it takes a handful


# ---- elements: nine nodes, 3 × 3 points, displacements (radial, axial)

_GAUSS, _WEIGHT = gauss_points(3)


def _elements(radius: Array, height: Array, young: Array, poisson: Array) -> tuple[Array, Array]:
    """Stiffness (m, 18, 18) and load by unit free strain (m, 18) of elements, per radian.

    Nodes (m, 3, 3): second axis up, third outwards; unknowns radial, axial of each node in turn.
    """
    value, slope = line_shape(_GAUSS), line_slope(_GAUSS)
    shape = np.einsum("ai,bj->abij", value, value).reshape(9, 9)
    by_up = np.einsum("ai,bj->abij", slope, value).reshape(9, 9)
    by_out = np.einsum("ai,bj->abij", value, slope).reshape(9, 9)
    weight = np.einsum("a,b->ab", _WEIGHT, _WEIGHT).ravel()
    r, z = radius.reshape(-1, 9), height.reshape(-1, 9)
    r_out, r_up, z_out, z_up = r @ by_out.T, r @ by_up.T, z @ by_out.T, z @ by_up.T
    area = r_out * z_up - r_up * z_out
    r_out, r_up, z_out, z_up = ((v / area)[..., None] for v in (r_out, r_up, z_out, z_up))
    ring = r @ shape.T
    each = np.zeros((r.shape[0], 9, 4, 9, 2))  # strains rr, zz, hoop, rz
    each[:, :, 0, :, 0] = each[:, :, 3, :, 1] = by_out * z_up - by_up * z_out
    each[:, :, 1, :, 1] = each[:, :, 3, :, 0] = by_up * r_out - by_out * r_up
    each[:, :, 2, :, 0] = shape / ring[..., None]
    B = each.reshape(r.shape[0], 9, 4, 18)
    mu = young / (2.0 * (1.0 + poisson))
    lam = young * poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    share = weight * area * ring
    volume = B[:, :, :3].sum(axis=2)
    DB = B * ((mu[:, None] * share)[..., None] * np.array([2.0, 2.0, 2.0, 1.0]))[..., None]
    DB[:, :, :3] += (volume * (lam[:, None] * share)[..., None])[:, :, None]
    rows = B.shape[0]
    stiffness = B.reshape(rows, 36, 18).swapaxes(1, 2) @ DB.reshape(rows, 36, 18)
    pressure = 3.0 * lam + 2.0 * mu
    load = pressure[:, None] * np.einsum("mgu,mg->mu", volume, share)
    return stiffness, load


def _without_centre(stiffness: Array, load: Array) -> tuple[Array, Array]:
    """The same on the outer eight nodes, the ninth free of outer forces, (m, 16, 16), (m, 16)."""
    centre, outer = np.arange(8, 10), np.concatenate([np.arange(8), np.arange(10, 18)])
    across = stiffness[:, outer[:, None], centre]
    both = np.concatenate([across.swapaxes(1, 2), load[:, centre, None]], axis=2)
    back = across @ np.linalg.solve(stiffness[:, centre[:, None], centre], both)
    own = stiffness[:, outer[:, None], outer] - back[..., :-1]
    return own, load[:, outer] - back[..., -1]


# ---- mesh


def graded(first: float, last: float, near: Array, finest: Array, coarsest: float) -> Array:
    """Lines from first to last through each of `near`, finest there and growing away. [m]

    Parameters
    ----------
    first, last : float
        Ends. [m]
    near : array
        Places within the ends. [m]
    finest : array
        Size of an element at each of them. [m]
    coarsest : float
        Largest size. [m]
    """
    slope = 2.0 * (GROWTH - 1.0) / (GROWTH + 1.0)
    stops = np.unique(np.concatenate([[first], near, [last]]))
    lines = [stops[:1]]
    for low, high in pairwise(stops):
        # number of elements up to a place: integral of 1/size, size = finest + slope × distance
        fine = low + (high - low) * 0.5 * (1.0 - np.cos(np.pi * np.linspace(0.0, 1.0, 3001)))
        size = np.min(finest + slope * np.abs(fine[:, None] - near), axis=1)
        size = np.minimum(size, coarsest)
        count = np.concatenate([[0.0], np.cumsum(2.0 * np.diff(fine) / (size[1:] + size[:-1]))])
        wanted = np.linspace(0.0, count[-1], max(int(np.ceil(count[-1])), 1) + 1)
        lines.append(np.interp(wanted[1:], count, fine))
    return np.concatenate(lines)


@dataclass(frozen=True)
class Wall:
    """An elastic wall of revolution in bands, upright or leaning.

    Cuts through it are square to its middle; those at some heights are level, and beside them, and
    where the wall has a corner, the others turn, so that none crosses another. A band that begins
    where no cut is level takes rows by their middle.

    Attributes
    ----------
    height
        Along the middle of the wall, rising, shape (K,). [m]
    radius
        Of the middle, shape (K,). [m]
    thickness
        Square to the middle, shape (K,). [m]
    edges
        Heights at which bands begin and end, shape (B + 1,); the first and last are the wall's
        ends. [m]
    young, poisson
        Of each band, shape (B,). [Pa], [-]
    held
        Whether the foot is held (else free, save for its axial place). The rim is free.
    level
        Heights where the cut is level, shape (L,); all edges if not given. [m]
    """

    height: Array
    radius: Array
    thickness: Array
    edges: Array
    young: Array
    poisson: Array
    held: bool = False
    level: Array | None = None

    @property
    def solid(self) -> bool:
        """Whether the inner face is the axis: a rod or a disc, whose "inner" cracks are round."""
        return bool(np.any(self.thickness >= 2.0 * self.radius * (1.0 - 1e-12)))

    def __post_init__(self) -> None:
        """Refuse what is no wall."""
        if np.any(np.diff(self.edges) <= 0.0) or len(self.young) != len(self.edges) - 1:
            msg = f"band edges = {self.edges!r} m: must rise, one more than there are bands"
            raise InputError(msg)
        if np.any(self.thickness > 2.0 * self.radius * (1.0 + 1e-12)):
            msg = "wall thickness: must not exceed twice the radius of its middle anywhere"
            raise InputError(msg)

    def at(self, height: Array) -> tuple[Array, Array]:
        """Radius of the middle and thickness at heights. [m], [m]

        Parameters
        ----------
        height : array
            [m]
        """
        return (
            np.interp(height, self.height, self.radius),
            np.interp(height, self.height, self.thickness),
        )

    @cached_property
    def _lean(self) -> Array:
        """Of the middle from the vertical, outwards positive, shape (K,). [rad]"""
        return np.asarray(np.arctan(np.gradient(self.radius, self.height)), np.float64)

    def lean(self, height: Array) -> Array:
        """Of the middle from the vertical at heights, outwards positive. [rad]

        Parameters
        ----------
        height : array
            [m]
        """
        return np.asarray(np.interp(height, self.height, self._lean))

    @cached_property
    def _drop(self) -> Array:
        """Of the outer end of a square cut below the middle, shape (K,); at a corner it turns. [m]

        The nearest that changes with height by no more than `CLEAR`: halfway between the least such
        line above what is wanted and the most below it. A cut in a corner is then as long as the
        wall is thick, a twelfth too short in the middle of one of 45°.
        """
        wanted = 0.5 * self.thickness * np.sin(self._lean)
        room = CLEAR * np.abs(self.height[:, None] - self.height)
        return np.asarray(0.5 * ((wanted + room).min(axis=1) + (wanted - room).max(axis=1)))

    def cut(self, height: Array) -> tuple[Array, Array]:
        """Slant from the level, outer end down, and length of the cut through the middle there.

        Parameters
        ----------
        height : array
            Of the middle. [m]

        Returns
        -------
        tuple of array
            Same shape. [rad], [m]
        """
        level = self.edges if self.level is None else self.level
        thickness = self.at(height)[1]
        square = np.interp(height, self.height, self._drop)
        lean = np.arcsin(np.clip(2.0 * square / thickness, -1.0, 1.0))
        away = np.abs(np.asarray(height)[..., None] - level).min(axis=-1, initial=np.inf)
        drop = np.clip(square, -CLEAR * away, CLEAR * away)
        slant = np.arctan2(2.0 * drop * np.cos(lean), thickness - 2.0 * drop * np.sin(lean))
        return slant, thickness / np.cos(lean - slant)

    def decay(self, height: float) -> float:
        """1/beta, over which bending decays, as height. [m]

        Parameters
        ----------
        height : float
            Place. [m]
        """
        radius, thickness = (float(v) for v in self.at(np.array(height)))
        band = int(np.clip(np.searchsorted(self.edges, height) - 1, 0, len(self.young) - 1))
        nu = float(self.poisson[band])
        upright = float(np.cos(self.lean(np.array(height))))
        return float(np.sqrt(radius * thickness * upright) / (3.0 * (1.0 - nu**2)) ** 0.25)


def tube(radius: float, thickness: float, edges: Array, young: Array, poisson: Array) -> Wall:
    """A straight wall with free ends.

    Parameters
    ----------
    radius, thickness : float
        Of the middle. [m]
    edges : array
        Of the bands, from the foot up. [m]
    young : array
        Of the bands. [Pa]
    poisson : array
        Of the bands. [-]
    """
    ends = np.array([edges[0], edges[-1]], dtype=np.float64)
    return Wall(
        ends,
        np.full(2, radius),
        np.full(2, thickness),
        np.asarray(edges, np.float64),
        np.asarray(young, np.float64),
        np.asarray(poisson, np.float64),
    )


# ---- cracks on a plane


@dataclass(frozen=True)
class Growth:
    """Cracks of every depth from one face of a plane; leading axes are load states.

    Attributes
    ----------
    length
        From the face, from 0 to the wall, shape (N,). [m]
    area
        Of the crack, per radian of the ring, shape (N,). [m2]
    energy
        Freed, per radian, shape (..., N). [J]
    phase
        Of shear to opening at the tip, pi/2 where faces press, 0 at depth 0, shape (..., N). [rad]
    normal, shear
        Stress on the plane before it cracks, shape (..., N). [Pa]
    """

    length: Array
    area: Array
    energy: Array
    phase: Array
    normal: Array
    shear: Array

    def limit(
        self,
        *,
        strength: npt.ArrayLike,
        toughness: float,
        shear_strength: float = np.inf,
        sensitivity: float = MODE_SENSITIVITY,
        friction: float = 0.0,
    ) -> CrackLimit:
        """Load factors at which a crack starts here, where it stops, and when it runs through.

        Parameters
        ----------
        strength : array_like
            Of the plane in tension, one or one a load state. [Pa]
        shear_strength : float
            Of the plane in shear. [Pa]
        toughness : float
            For opening. [J/m2]
        sensitivity : float
            Lambda of `mode_mix_toughness`. [-]
        friction : float
            Of faces that press. [-]
        """
        bears = np.asarray(strength, np.float64)[..., None]
        use = use_along(self.area, self.normal, self.shear, bears, shear_strength, friction)
        needed = mode_mix_toughness(toughness, self.phase[..., 1:], sensitivity)
        steps = needed * np.diff(self.area)
        summed = np.concatenate([np.zeros_like(steps[..., :1]), np.cumsum(steps, axis=-1)], -1)
        return coupled_criterion(self.length, use, self.energy, summed)


@dataclass(frozen=True)
class CrackPlane:
    """One plane across the wall, condensed.

    Attributes
    ----------
    height
        Of its middle. [m]
    slant
        From the level, outer end down. [rad]
    radius, place
        Of its nodes from the inner face out, every second the end of an element, and their
        distance along it from that face, shape (n,). [m]
    mass
        Integral of pairs of shape functions over the plane, per radian, shape (n, n). [m2]
    stiffness
        Against the jump (along the plane outwards, and square to it upwards, of each node in turn;
        above minus below), (2n, 2n). [N/m]
    oscillation
        Epsilon of a crack between bodies of two stiffnesses, upper body first. [-]
    elastic
        Forces between below and above, before cracking, by a unit free strain of each band,
        shape (2n, B). [N]
    """

    height: float
    slant: float
    radius: Array
    place: Array
    mass: Array
    stiffness: Array
    oscillation: float
    elastic: Array

    @property
    def wall(self) -> float:
        """Thickness across the plane. [m]"""
        return float(self.place[-1])

    def forces(self, position: Array, normal: Array, shear: Array) -> Array:
        """Forces on the nodes, shape (..., 2n), from stress at places through the wall. [N]

        They do the same work as the stress does on any jump between the nodes.

        Parameters
        ----------
        position : array
            From -1 at the inner to 1 at the outer face, rising, read along straight lines between,
            shape (P,). [-]
        normal, shear : array
            Square to the plane and along it outwards before the crack, tension positive; on a level
            one zz and rz, shape (..., P). [Pa]
        """
        ends = self.place[0::2]
        given = 0.5 * (1.0 + np.asarray(position)) * self.wall
        cuts = np.unique(np.concatenate([ends, given.clip(ends[0], ends[-1])]))
        half = 0.5 * np.diff(cuts)[:, None]
        x = (0.5 * (cuts[1:] + cuts[:-1])[:, None] + half * _GAUSS).ravel()
        weight = (half * _WEIGHT).ravel() * np.interp(x, self.place, self.radius)
        own = np.clip(np.searchsorted(ends, x) - 1, 0, ends.size - 2)
        value = line_shape((2.0 * x - ends[own] - ends[own + 1]) / (ends[own + 1] - ends[own]))
        share = np.zeros((self.radius.size, x.size))
        share[2 * own[:, None] + np.arange(3), np.arange(x.size)[:, None]] = value * weight[:, None]
        read = np.stack([np.interp(x, given, one) for one in np.eye(given.size)], axis=-1)
        onto = share @ read
        pair = np.stack([np.asarray(shear) @ onto.T, np.asarray(normal) @ onto.T], axis=-1)
        return np.asarray(pair.reshape(*pair.shape[:-2], -1))

    def mismatch_forces(self, free_strain: Array) -> Array:
        """Forces on the nodes by elastic mismatch alone, shape (..., 2n). [N]

        Parameters
        ----------
        free_strain : array
            Of each band, shape (..., B). [-]
        """
        return np.asarray(np.asarray(free_strain, np.float64) @ self.elastic.T)

    def stress(self, forces: Array) -> tuple[Array, Array]:
        """Normal and shear stress at the nodes from forces, each (..., n). [Pa], [Pa]

        Parameters
        ----------
        forces : array
            Shape (..., 2n). [N]
        """
        pair = forces.reshape(*forces.shape[:-1], -1, 2)
        found = np.einsum("ij,...jc->...ic", self._inverse_mass, pair)
        return found[..., 1], found[..., 0]

    @cached_property
    def _inverse_mass(self) -> Array:
        return np.asarray(np.linalg.inv(self.mass))

    @cached_property
    def _order(self) -> dict[str, npt.NDArray[np.intp]]:
        """Unknowns from each face on, without those of the last node."""
        node = np.arange(self.radius.size)
        faces = {"inner": node, "outer": node[::-1]}
        return {face: (2 * o[:, None] + np.arange(2)).ravel()[:-2] for face, o in faces.items()}

    @cached_property
    def _factors(self) -> dict[str, tuple[Array, Array]]:
        """Cholesky factor of all but the last node, nodes in order from each face, and its inverse.

        A leading part of the inverse is that of the same part of the factor.
        """
        found = {}
        for face, index in self._order.items():
            factor = cholesky(self.stiffness[np.ix_(index, index)], lower=True)
            found[face] = factor, dtrtri(factor, lower=1)[0]
        return found

    def growth(self, forces: Array, face: Face, *, contact: bool = True) -> Growth:
        """Cracks of every depth from a face.

        Where faces would cross, contact without friction is solved exactly for that depth.

        Parameters
        ----------
        forces : array
            On the nodes before the crack, from `forces` or `mismatch_forces`, (..., 2n). [N]
        face : str
            "inner" or "outer".
        contact : bool
            Without, faces cross freely: at least the energy, in a twentieth of the time.
        """
        n = self.radius.size
        order = np.arange(n) if face == "inner" else np.arange(n)[::-1]
        pair = np.asarray(forces, np.float64).reshape(-1, n, 2)
        right = pair[:, order].reshape(-1, 2 * n)[:, :-2]
        L, inverse = self._factors[face]
        stiffness = self.stiffness[np.ix_(self._order[face], self._order[face])]
        y = right @ inverse.T
        energy = 0.5 * np.cumsum(y**2, axis=1)
        fronts = np.arange(2, n, 2)  # node of each tip: all before it are open
        freed = energy[:, 2 * fronts - 1]
        angle = np.empty_like(freed)
        along = np.abs(self.place[order] - self.place[order][0])
        away = np.diff(along)
        for number, front in enumerate(fronts):
            size = 2 * front
            opening = (y[:, :size] @ inverse[:size, :size]).reshape(len(y), front, 2)
            largest = np.abs(opening).max(axis=(1, 2))
            crossed = opening[..., 1].min(axis=1) < OPEN * largest
            for state in np.flatnonzero(crossed) if contact else ():
                opening[state], freed[state, number] = _pressed(
                    stiffness[:size, :size], right[state, :size], L[:size, :size]
                )
            mouth = opening[:, -1]  # middle node of the element at the tip
            turn = self.oscillation * np.log(REFERENCE * self.wall / away[front - 1])
            sign = 1.0 if face == "inner" else -1.0
            shift = turn + np.arctan(2.0 * self.oscillation)
            phase = np.arctan2(sign * mouth[:, 0], np.maximum(mouth[:, 1], 0.0)) + shift
            angle[:, number] = np.minimum(np.abs(phase), 0.5 * np.pi)
        lead = np.shape(forces)[:-1]
        length = along[fronts] + TIP * (along[fronts - 2] - along[fronts])
        length = np.concatenate([along[:1], length])
        ring = np.interp(length, along, self.radius[order])
        normal, shear = self.stress(np.asarray(forces, np.float64))

        def tips(values: Array) -> Array:
            line = values[..., order]
            end = line[..., fronts] * (1.0 - 2.0 * TIP) + 2.0 * TIP * line[..., fronts - 1]
            return np.concatenate([line[..., :1], end], axis=-1)

        def whole(values: Array) -> Array:
            start = np.zeros_like(values[:, :1])
            return np.concatenate([start, values], axis=1).reshape(*lead, -1)

        return Growth(
            length=length,
            area=0.5 * length * (ring + ring[0]),
            energy=whole(np.maximum.accumulate(freed, axis=1)),
            phase=whole(angle),
            normal=tips(normal),
            shear=tips(shear),
        )


def _pressed(K: Array, force: Array, L: Array) -> tuple[Array, float]:
    """Opening (nodes, 2) and energy of a crack whose faces may touch but not cross.

    The least of ½ xᵀKx - forceᵀx, K = L Lᵀ, with no axial opening below zero. Nodes that would
    cross are closed, those that would be pulled are let go, until neither is asked for (primal-dual
    active set; M. Hintermüller, K. Ito and K. Kunisch, SIAM J. Optim. 13, 2002, 865, from memory).
    Where that goes round in circles sliding is taken out, and the rest is a least-squares problem
    in positive unknowns (Lawson & Hanson 1974, from memory).
    """
    axial = np.arange(force.size) % 2 == 1
    closed = np.zeros(force.size, bool)
    for _ in range(_ROUNDS):
        free = np.flatnonzero(~closed)
        x = np.zeros(force.size)
        _, x[free], failed = dposv(K[np.ix_(free, free)], force[free], lower=1)
        if failed:
            raise ModelError("a crack plane has no stiffness against a jump")
        asked = np.where(closed, K @ x > force, axial & (x < 0.0))
        if (asked == closed).all():
            break
        closed = asked
    else:
        x = _by_positive(L.T, solve_triangular(L, force, lower=True))
    return x.reshape(-1, 2), float(force @ x - 0.5 * x @ K @ x)


def _by_positive(A: Array, y: Array) -> Array:
    """Sliding and opening by turns, (2 nodes,), by positive unknowns."""
    from scipy.optimize import nnls  # slow to import, and hardly ever needed

    Q, R = np.linalg.qr(A[:, 0::2])
    scale = 1.0 / np.linalg.norm(A[:, 1::2], axis=0)
    beside = A[:, 1::2] * scale
    found, _ = nnls(beside - Q @ (Q.T @ beside), y - Q @ (Q.T @ y), maxiter=50 * y.size)
    x = np.empty(y.size)
    x[1::2] = found * scale
    x[0::2] = solve_triangular(R, Q.T @ (y - A[:, 1::2] @ x[1::2]))
    return x


@dataclass(frozen=True)
class Bond:
    """What a plane resists with: a body, or the joint of a pair.

    Attributes
    ----------
    strength
        In tension, one or one a load state, shape (...). [Pa]
    shear_strength
        In shear; shear alone parts no brittle body (infinite). [Pa]
    toughness
        For opening. [J/m2]
    sensitivity
        Lambda of `mode_mix_toughness`; 1 for a body, whose cracks turn until they open. [-]
    friction
        Of faces that press, in strength only; 0 is on the safe side. [-]
    """

    strength: npt.ArrayLike
    toughness: float
    shear_strength: float = np.inf
    sensitivity: float = 1.0
    friction: float = 0.0


@dataclass(frozen=True)
class CrackPath:
    """Load factors of a path.

    Attributes
    ----------
    kind
        "joint" or "ring".
    height
        Of its plane. [m]
    face
        From which it starts.
    wall
        Thickness there. [m]
    limit
        One value a load state.
    """

    kind: str
    height: float
    face: Face
    wall: float
    limit: CrackLimit


def plane_paths(
    plane: CrackPlane,
    force: Array,
    bonds: Sequence[Bond],
    joints: Array,
    beyond: float = np.inf,
) -> list[list[CrackPath]]:
    """Both paths of one plane, inner and outer face, for each of several bonds.

    Parameters
    ----------
    plane : CrackPlane
        From `crack_planes`.
    force : array
        Before cracking, from its `forces` or `mismatch_forces`, (..., 2n). [N]
    joints : array
        Heights of the band edges, to tell a joint from a ring crack. [m]
    beyond : float
        Factor above which faces may cross, which is quick and on the safe side. [-]
    bonds : sequence of Bond
        That it might have: what a crack sets free is the same for all.
    """
    kind = "joint" if np.any(np.abs(joints - plane.height) < 1e-9) else "ring"
    found: list[list[CrackPath]] = [[] for _ in bonds]
    for face in ("inner", "outer"):
        limits = _limits(plane, np.asarray(force, np.float64), face, bonds, beyond)
        for paths, limit in zip(found, limits, strict=True):
            paths.append(CrackPath(kind, plane.height, face, plane.wall, limit))
    return found


def _limits(
    plane: CrackPlane, force: Array, face: Face, bonds: Sequence[Bond], beyond: float
) -> list[CrackLimit]:
    """Limits of one path: contact is solved only where a crack could start below `beyond`."""

    def read(growth: Growth, bond: Bond, strength: Array) -> CrackLimit:
        return growth.limit(
            strength=strength,
            toughness=bond.toughness,
            shear_strength=bond.shear_strength,
            sensitivity=bond.sensitivity,
            friction=bond.friction,
        )

    free = plane.growth(force, face, contact=False)
    bears = [np.broadcast_to(bond.strength, force.shape[:-1]) for bond in bonds]
    quick = [read(free, bond, strength) for bond, strength in zip(bonds, bears, strict=True)]
    near = [np.isfinite(limit.start) & (limit.start < beyond) for limit in quick]
    some = np.any(near, axis=0)
    if not some.any():
        return quick
    exact = plane.growth(force[some], face)
    found = []
    for limit, own, bond, strength in zip(quick, near, bonds, bears, strict=True):
        closed, values = read(exact, bond, strength[some]), []
        for name in ("start", "start_length", "arrest_length", "through"):
            whole = np.array(getattr(limit, name))
            whole[own] = getattr(closed, name)[own[some]]
            values.append(whole)
        found.append(CrackLimit(*values))
    return found


@one_thread
def crack_planes(wall: Wall, planes: Array, finest: float = FINEST) -> list[CrackPlane]:
    """Each plane condensed, by one sweep from the foot up and one from the rim down.

    Parameters
    ----------
    wall : Wall
        Elastic, with the moduli of the time when it cracks.
    planes : array
        Heights of their middles, inside the wall; a joint's is its band edge. [m]
    finest : float
        Smallest element, in walls. [-]

    Raises
    ------
    InputError
        If a plane is not inside the wall, or nearer than a hundredth of a wall to an end or plane.
    """
    level = np.unique(np.asarray(planes, np.float64))
    low, high = float(wall.edges[0]), float(wall.edges[-1])
    middle = level.mean()
    thick = float(np.interp(middle, wall.height, wall.thickness) * np.cos(wall.lean(middle)))
    edge = wall.edges[np.argmin(np.abs(level[:, None] - wall.edges), axis=1)]
    level = np.unique(np.where(np.abs(edge - level) < FINEST * thick, edge, level))
    gaps = np.diff(np.concatenate([[low], level, [high]]))
    if np.any(gaps < 0.01 * thick):
        msg = f"crack planes at {level!r} m: inside {low:g} to {high:g} m, a hundredth wall apart"
        raise InputError(msg)
    inside = np.unique(np.concatenate([wall.edges[1:-1], level]))
    beside = (level[:, None] + np.array([-1e-6, 1e-6]) * thick).ravel()
    size = COARSEST * min(wall.decay(float(one)) for one in beside)
    on_plane = np.min(np.abs(inside[:, None] - level), axis=1) < 1e-9 * thick
    small = np.where(on_plane, finest, max(finest, AT_STEP)) * thick
    lines = graded(low, high, inside, small, max(size, 0.2 * thick))
    across = graded(-0.5, 0.5, np.array([-0.5, 0.5]), np.full(2, finest), WIDEST)
    lines[np.argmin(np.abs(lines[:, None] - inside), axis=0)] = inside
    solid = _Sweep(wall, lines, across)
    at = np.argmin(np.abs(lines[:, None] - level), axis=0)
    below, above = solid.sweep(at, up=True), solid.sweep(at, up=False)
    return [
        solid.plane(float(z), line, below[int(line)], above[int(line)])
        for z, line in zip(level, at, strict=True)
    ]


class _Sweep:
    """Rows of elements, condensed one after another on their upper or lower line."""

    def __init__(self, wall: Wall, lines: Array, across: Array) -> None:
        self.wall, self.lines, self.solid = wall, lines, wall.solid
        self.node = np.empty(2 * across.size - 1)
        self.node[0::2], self.node[1::2] = across, 0.5 * (across[1:] + across[:-1])
        self.columns = across.size - 1
        slant, length = wall.cut(lines)
        r = wall.at(lines)[0][:, None] + (length * np.cos(slant))[:, None] * self.node
        z = lines[:, None] - (length * np.sin(slant))[:, None] * self.node
        out = 2 * np.arange(self.columns)[:, None] + np.arange(3)
        r, z = (_between_lines(v)[:, :, out].swapaxes(1, 2) for v in (r, z))
        band = np.searchsorted(wall.edges[1:-1], 0.5 * (lines[1:] + lines[:-1]), side="right")
        self.band = band
        owner = np.repeat(band, self.columns)
        K, load = _elements(
            r.reshape(-1, 3, 3),
            z.reshape(-1, 3, 3),
            np.asarray(wall.young)[owner],
            np.asarray(wall.poisson)[owner],
        )
        K, load = _without_centre(K, load)
        rows, n = lines.size - 1, self.node.size
        self.K = K.reshape(rows, self.columns, 16, 16)
        self.load = load.reshape(rows, self.columns, 16)
        edges = n + np.arange(self.columns)[:, None] + np.arange(2)
        place = np.concatenate([out, edges, n + self.columns + 1 + out], axis=1)
        self.place = (2 * place[..., None] + np.arange(2)).reshape(self.columns, 16)
        self.size = 2 * (2 * n + self.columns + 1)
        self.flat = (self.place[:, :, None] * self.size + self.place[:, None, :]).ravel()

    def _row(self, row: int) -> tuple[Array, Array]:
        """Stiffness and load of one row: lower line, edges of the middle, upper line."""
        size = self.size
        K = np.bincount(self.flat, self.K[row].ravel(), minlength=size * size)
        load = np.bincount(self.place.ravel(), self.load[row].ravel(), minlength=size)
        whole = np.asarray(K.reshape(size, size), np.float64)
        if self.solid:  # the axis does not move outwards
            n = self.node.size
            axis = 2 * np.array([0, n, n + self.columns + 1])
            whole[axis, axis] += ON_AXIS * np.abs(whole).max()
        return whole, np.asarray(load, np.float64)

    def sweep(self, at: npt.NDArray[np.intp], *, up: bool) -> dict[int, tuple[Array, Array]]:
        """Stiffness and load by unit strains, on each line of `at`, of all below or above it."""
        line, bands = 2 * self.node.size, len(self.wall.young)
        wanted = {int(one) for one in at}
        rows = range(max(wanted)) if up else range(self.lines.size - 2, min(wanted) - 1, -1)
        S, g = np.zeros((line, line)), np.zeros((line, bands))
        first, last = slice(0, line), slice(self.size - line, self.size)
        near, far = (first, last) if up else (last, first)
        ends = (0, self.size - line) if up else (line, self.size)  # one condensed, and the middle
        gone = slice(line, self.size - line) if up and self.wall.held else slice(*ends)
        found = {}
        for row in rows:
            K, load = self._row(row)
            K[near, near] += S
            G = np.zeros((self.size, bands))
            G[near] = g
            G[:, self.band[row]] += load
            # plainly: what scipy.linalg does around these takes as long as they do
            factor, failed = dpotrf(K[gone, gone].T, lower=1, clean=0)
            if failed:
                raise ModelError(f"row {row} of a crack plane's wall has no stiffness")
            both = np.concatenate([K[gone, far], G[gone]], axis=1)
            half = dtrtrs(factor, both, lower=1)[0]
            back = half[:, :line].T @ half
            S, g = K[far, far] - back[:, :line], G[far] - back[:, line:]
            gone = slice(*ends)
            reached = row + 1 if up else row
            if reached in wanted:
                found[reached] = (S, g)
        return found

    def plane(
        self, height: float, line: int, below: tuple[Array, Array], above: tuple[Array, Array]
    ) -> CrackPlane:
        """The two halves joined."""
        (S1, g1), (S2, g2) = below, above
        radius = float(self.wall.at(np.array(height))[0])
        slant, length = (float(v) for v in self.wall.cut(np.array(height)))
        place = length * (self.node - self.node[0])
        r = radius + length * self.node * np.cos(slant)
        whole = S1 + S2
        if not self.wall.held:  # neither half holds the other's axial place
            axial = np.tile([0.0, 1.0], self.node.size)
            whole = whole + np.outer(axial, axial) * np.trace(whole) / axial.size**2
        moved = solve(whole, np.concatenate([S2, g1 + g2], axis=1), assume_a="pos")
        n = r.size
        jump = S1 @ moved[:, : 2 * n]
        elastic = S1 @ moved[:, 2 * n :] - g1
        turn = np.array([[np.cos(slant), -np.sin(slant)], [np.sin(slant), np.cos(slant)]])
        jump = _turned(turn, _turned(turn, jump).T)
        elastic = _turned(turn, elastic)
        value = line_shape(_GAUSS)
        mass = np.zeros((n, n))
        for column in range(self.columns):
            here = slice(2 * column, 2 * column + 3)
            half = 0.5 * (place[2 * column + 2] - place[2 * column])
            ring = value @ r[here]
            mass[here, here] += np.einsum("gi,gj,g->ij", value, value, _WEIGHT * ring * half)
        low, high = self.band[line - 1], self.band[line]
        E, nu = self.wall.young, self.wall.poisson
        _, beta = dundurs(E[high], nu[high], E[low], nu[low])
        epsilon = float(np.log((1.0 - beta) / (1.0 + beta)) / (2.0 * np.pi))
        stiffness = 0.5 * (jump + jump.T)
        return CrackPlane(height, slant, r, place, mass, stiffness, epsilon, elastic)


def _between_lines(values: Array) -> Array:
    """Of each row, what its lower line, its middle and its upper line have, (rows, 3, nodes)."""
    low, high = values[:-1], values[1:]
    return np.stack([low, 0.5 * (low + high), high], axis=1)


def _turned(turn: Array, values: Array) -> Array:
    """Pairs of rows (2n, ...) as a rotation (2, 2) has them."""
    pairs = values.reshape(-1, 2, values.shape[1])
    return np.asarray((turn @ pairs).reshape(values.shape))
