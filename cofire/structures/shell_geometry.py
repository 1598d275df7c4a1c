"""What shape and mesh alone say of a vessel's wall: how unknowns strain it, where its points lie.

Strain at a point ζ outside the mid-surface, for membrane strain e, curvature change χ and shear
angle γ of the section there:

    meridional   e_s + ζ χ_s / (1 + ζ/R_s) + γ′ w(ζ)        hoop   e_θ + ζ χ_θ / (1 + ζ/R_θ)

with R the radii of curvature. The wall thickens as it stretches, which is why the membrane part
has no such divisor: a vessel that only swells stays free of stress. Volume does count
(1 + ζ/R_s)(1 + ζ/R_θ). Shear is spread as the parabola 5/4 (1 − 4 ζ²/h²); the section warps by the
cubic that goes with it, less its share of straight line, w = 5/4 ζ (1/5 − 4 ζ²/(3 h²)), as in the
higher-order theory of M. Levinson (J. Sound Vib. 74, 1981, 81; from memory). Warping adds to the
stress at the faces; as it carries neither force nor moment it is left out of the equilibrium.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire.structures.through_thickness import lobatto

if TYPE_CHECKING:
    from cofire.physics.history import Array
    from cofire.structures.meridian import Meridian

_GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3.0)
STATION_SHAPE = np.stack(
    [0.5 * _GAUSS * (_GAUSS - 1.0), 1.0 - _GAUSS**2, 0.5 * _GAUSS * (_GAUSS + 1.0)], axis=1
)
"""Shares of the three nodes of an element at its two stations. [-]"""

_STATION_SLOPE = np.stack([_GAUSS - 0.5, -2.0 * _GAUSS, _GAUSS + 0.5], axis=1)

TO_END = np.array([1.0 + np.sqrt(3.0), 1.0 - np.sqrt(3.0)]) / 2.0
"""Weights of the two stations of an element, the nearer first, for a value at its end. [-]"""

LOW, HIGH = np.tril_indices(9)
"""Rows and columns of the lower triangle of an element's stiffness. [-]"""

RESULTANT_STRESS = np.array([0, 1, 0, 1, 2])
"""Stress component behind each section force: membrane and moment (s, θ each), shear. [-]"""


@dataclass(frozen=True)
class Jump:
    """Rotation jumps at slanting joints, J of them over the whole batch.

    Attributes
    ----------
    vessel, upper
        Vessel and the element above each joint, shape (J,). [-]
    rank
        Place among the joints of its vessel, shape (J,). [-]
    from_below, from_above
        Jump for the unknowns of the elements below and above, shape (J, 9). [1/m], [-]
    """

    vessel: NDArray[np.intp]
    upper: NDArray[np.intp]
    rank: NDArray[np.intp]
    from_below: Array
    from_above: Array

    def repeated(self, count: int) -> Jump:
        """The jumps of one vessel for several alike.

        Parameters
        ----------
        count
            Number of vessels. [-]
        """
        joints = self.vessel.size
        return Jump(
            vessel=np.repeat(np.arange(count), joints),
            upper=np.tile(self.upper, count),
            rank=np.tile(self.rank, count),
            from_below=np.tile(self.from_below, (count, 1)),
            from_above=np.tile(self.from_above, (count, 1)),
        )


@dataclass(frozen=True)
class Geometry:
    """Operators of B meshes with E elements, 2E stations and P points through the wall.

    Attributes
    ----------
    operator
        For the nine unknowns of an element: membrane strain (s, θ), curvature change (s, θ), shear
        and its gradient at both stations, shape (B, E, 12, 9).
    transposed
        The same without the shear gradient, transposed, shape (B, E, 9, 10).
    factor
        Strain of a point for each of these six, shape (6, B, P, 2E).
    share
        Work of stress at a point on each of the first five, shape (5, B, P, 2E). [m³]
    component, moment
        Which tangent component, with what weight, makes each of the 15 section stiffnesses.
    stiffness_map
        From these at both stations to the lower triangle of the stiffness, (B, E, 30, 45).
    offset
        Of the points from the mid-surface, outside positive, shape (B, P, 2E). [m]
    weight
        Volume that each point stands for, shape (B, P, 2E). [m³]
    radius, height, slope, wall, arc_length
        Of the stations, shape (B, 2E); slope from the vertical, outward leaning positive. [rad]
    through, through_weight
        Place of the points through the wall, -1 to 1, and weights that sum to one, shape (P,). [-]
    jump
        Rotation jumps.
    """

    operator: Array
    transposed: Array
    factor: Array
    share: Array
    component: NDArray[np.intp]
    moment: Array
    stiffness_map: Array
    offset: Array
    weight: Array
    radius: Array
    height: Array
    slope: Array
    wall: Array
    arc_length: Array
    through: Array
    through_weight: Array
    jump: Jump

    def repeated(self, count: int) -> Geometry:
        """The same for several vessels of one mesh, without a copy. [-]

        Parameters
        ----------
        count
            Number of vessels; this one has one. [-]
        """
        whole: dict[str, Any] = {"jump": self.jump.repeated(count)}
        for names, axis in ((_OF_VESSEL, 0), (("factor", "share", "moment"), 1)):
            for name in names:
                shape = list(getattr(self, name).shape)
                shape[axis] = count
                whole[name] = np.broadcast_to(getattr(self, name), shape)
        return replace(self, **whole)


_OF_VESSEL = (
    "operator", "transposed", "stiffness_map", "offset", "weight", "radius", "height", "slope",
    "wall", "arc_length",
)  # fmt: skip
"""Fields of `Geometry` whose first axis is the vessel."""


def shell_geometry(meridians: tuple[Meridian, ...], points: int) -> Geometry:
    """Operators of a batch of meshes.

    Parameters
    ----------
    meridians
        All of one number of elements.
    points
        Through the wall. [-]
    """
    nodes = meridians[0].nodes
    r, z, h = (
        np.stack([getattr(m, name)[nodes] for m in meridians])
        for name in ("radius", "height", "wall")
    )
    vessels, elements = r.shape[:2]
    radius, wall = r @ STATION_SHAPE.T, h @ STATION_SHAPE.T
    slope_r, slope_z = r @ _STATION_SLOPE.T, z @ _STATION_SLOPE.T
    length = np.hypot(slope_r, slope_z)
    sine, cosine = slope_r / length, slope_z / length
    bend_r, bend_z = (v[..., [0]] - 2.0 * v[..., [1]] + v[..., [2]] for v in (r, z))
    curvature = (bend_z * sine - bend_r * cosine) / length**2

    shape = np.broadcast_to(STATION_SHAPE, (vessels, elements, 2, 3))
    slope = _STATION_SLOPE / length[..., None]
    operator = np.zeros((vessels, elements, 2, 6, 9))
    operator[..., 0, 0::3], operator[..., 0, 1::3] = (
        slope * sine[..., None],
        slope * cosine[..., None],
    )
    operator[..., 1, 0::3] = shape / radius[..., None]
    operator[..., 2, 2::3] = slope
    operator[..., 3, 2::3] = shape * (sine / radius)[..., None]
    operator[..., 4, 0::3], operator[..., 4, 1::3] = (
        slope * cosine[..., None],
        -slope * sine[..., None],
    )
    operator[..., 4, 2::3] = shape
    run = length.sum(axis=2, keepdims=True) / np.sqrt(3.0)
    operator[..., 5, :] = np.diff(operator[..., 4, :], axis=2) / run[..., None]

    def of_station(value: Array) -> Array:
        return np.asarray(value.reshape(vessels, 1, 2 * elements))

    through, through_weight = lobatto(points)
    x = through.reshape(1, points, 1)
    offset = 0.5 * x * of_station(wall)
    along = 1.0 + offset * of_station(curvature)
    around = 1.0 + offset * of_station(cosine / radius)
    weight = 2.0 * np.pi * of_station(radius * length * wall)
    weight = weight * through_weight.reshape(1, points, 1) * along * around
    bend = offset / along
    parabola = np.broadcast_to(1.25 * (1.0 - x * x), offset.shape)
    warp = _without_line(1.25 * offset * (0.2 - x * x / 3.0), bend, weight)
    one = np.ones_like(offset)
    factor = np.stack([one, one, bend, offset / around, parabola, warp])
    first, second = np.triu_indices(5)
    twice = operator[..., first, :, None] * operator[..., second, None, :]
    twice = twice + twice.swapaxes(-1, -2) * (first != second)[:, None, None]
    share = factor[:5] * weight
    arc = np.stack([m.arc_length[nodes] for m in meridians]) @ STATION_SHAPE.T
    flat = operator.reshape(vessels, elements, 12, 9)
    statical = operator[..., :5, :].reshape(vessels, elements, 10, 9)
    return Geometry(
        operator=flat,
        transposed=np.ascontiguousarray(statical.transpose(0, 1, 3, 2)),
        factor=factor,
        share=share,
        component=3 * RESULTANT_STRESS[first] + RESULTANT_STRESS[second],
        moment=factor[first] * share[second],
        stiffness_map=twice[..., LOW, HIGH].reshape(vessels, elements, 30, 45),
        offset=offset,
        weight=weight,
        radius=radius.reshape(vessels, -1),
        height=(z @ STATION_SHAPE.T).reshape(vessels, -1),
        slope=np.arctan2(sine, cosine).reshape(vessels, -1),
        wall=wall.reshape(vessels, -1),
        arc_length=arc.reshape(vessels, -1),
        through=through,
        through_weight=through_weight,
        jump=_jumps(meridians, flat),
    )


def _without_line(shape: Array, line: Array, weight: Array) -> Array:
    """A shape through the wall, less the straight line that has its force and moment."""
    force, moment = (np.sum(shape * v * weight, axis=1, keepdims=True) for v in (1.0, line))
    a, b, c = (np.sum(v * weight, axis=1, keepdims=True) for v in (1.0, line, line * line))
    determinant = a * c - b * b
    level, tilt = (c * force - b * moment) / determinant, (a * moment - b * force) / determinant
    return np.asarray(shape - level - tilt * line)


def _jumps(meridians: tuple[Meridian, ...], operator: Array) -> Jump:
    """Rotation jumps of all steps that lean, as operators on the elements next to them."""
    vessel: list[int] = []
    upper: list[int] = []
    rank: list[int] = []
    tangent: list[float] = []
    for number, m in enumerate(meridians):
        before = len(vessel)
        for node in m.step_node:
            dr = m.radius[node + 1] - m.radius[node - 1]
            dz = m.height[node + 1] - m.height[node - 1]
            if abs(dr) > 1e-6 * abs(dz):
                rank.append(len(vessel) - before)
                vessel.append(number)
                upper.append(node // 2)
                tangent.append(dr / dz)
    v, u = np.array(vessel, dtype=np.intp), np.array(upper, dtype=np.intp)
    t = np.array(tangent, dtype=np.float64)[:, None]
    rows = operator[:, :, [0, 6]]  # membrane strain along the meridian at both stations
    return Jump(
        vessel=v,
        upper=u,
        rank=np.array(rank, dtype=np.intp),
        from_below=t * (TO_END[::-1] @ rows[v, u - 1]),
        from_above=-t * (TO_END @ rows[v, u]),
    )
