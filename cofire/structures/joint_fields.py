"""Where the joints of a batch of shells lie, and the stress on and beside them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.structures import joint
from cofire.structures.reading import STATIONS, shares
from cofire.structures.shell import Shells
from cofire.structures.shell_geometry import RESULTANT_STRESS

if TYPE_CHECKING:
    from cofire.physics.history import Array

BESIDE = np.array([0.0, 0.05, 0.1, 0.125, 0.15, 0.25, 0.4, 0.6, 0.8, 1.0])
"""Distances from a step, over the wall, at which it is read; at 0 the shell alone. Below
`joint.CUT_OFF` they share one window, which slides from there on. [-]"""

PLACES = np.array([-1.0, -0.9, -0.7, -0.45, 0.0, 0.45, 0.7, 0.9, 1.0])
"""Places through the wall, inside to outside, at which it is read there. [-]"""

SLANT = 1.7
"""What a lean of the wall may add beside a step, over tanφ times M d of `joint`. [-]

Where the joint makes the sharper corner with a face, stress rises; the opposite face is relieved.
Against axisymmetric solids leaning 5°, 14° and 25° either way, moduli 1:1 and 2:1, walls of 1/10
and 1/20 of the radius, shell + local field + this is at most 3 % below the largest stress in the
first tenth of a wall and up to 60 % above it: an upper estimate.
"""


_Near = tuple[int, int, NDArray[np.intp], joint.LocalField]


@dataclass(frozen=True)
class JointState:
    """What `JointFields` finds at T states of stress, for J steps of B vessels.

    Attributes
    ----------
    hoop
        Wall mean of the shell's hoop stress below and above each step, (T, J, 2). [Pa]
    mismatch
        How much more the band below wants to thicken, shape (T, J). [-]
    local
        Meridional and hoop stress to add at the points, shape (T, 2, B, P, 2E). [Pa]
    shell_beside, beside
        The shell alone, and with the local field, at the distances `BESIDE` below and above each
        step and at the Q `PLACES`; meridional and hoop, (T, 2, Q, J, 2, D). [Pa]
    slant
        What the lean of the wall may add to the largest stress beside, shape (T, J). [Pa]
    normal, shear
        Local field on the joint itself, see `StepStress`, shape (T, J). [Pa]
    """

    hoop: Array
    mismatch: Array
    local: Array
    shell_beside: Array
    beside: Array
    slant: Array
    normal: Array
    shear: Array


@dataclass(frozen=True)
class JointFields:
    """The local fields of all J steps of a batch, ready for any state of stress.

    Attributes
    ----------
    body
        The vessels.
    vessel, upper
        Vessel and the element above each step, shape (J,). [-]
    """

    body: Shells
    vessel: NDArray[np.intp]
    upper: NDArray[np.intp]

    @classmethod
    def of(cls, body: Shells) -> JointFields:
        """The fields of every step between bands of different material or not.

        Parameters
        ----------
        body
            The vessels.
        """
        counts = [m.step_node.size for m in body.meridians]
        nodes = np.concatenate([m.step_node for m in body.meridians])
        return cls(body, np.repeat(np.arange(len(counts)), counts), nodes // 2)

    def at(self, stress: Array, young_modulus: Array, poisson_ratio: Array) -> JointState:
        """The fields at T states.

        Parameters
        ----------
        stress
            Of the shells, shape (T, 3, B, P, 2E). [Pa]
        young_modulus
            Of each material, shape (T, N). [Pa]
        poisson_ratio
            Of each material, shape (N,). [-]
        """
        mean = np.einsum("p,tbpg->tbg", self.body.geometry.through_weight, stress[:, 1])
        at, share = (part[:, :, 0] for part in self._beside[1:])
        hoop = np.einsum("jsk,tjsk->tjs", share, mean[:, self.vessel[:, None, None], at])
        young = young_modulus[:, self._material]
        poisson = np.broadcast_to(poisson_ratio[self._material], young.shape)
        e, nu = (np.moveaxis(v, -1, 0) for v in (young, poisson))
        mismatch = joint.thickness_mismatch(
            hoop[..., 0], hoop[..., 1], (e[0], e[1]), (nu[0], nu[1])
        )
        weights = (
            joint.pair_weights((e[0], e[1]), (nu[0], nu[1]), mismatch),
            joint.pair_weights((e[1], e[0]), (nu[1], nu[0]), -mismatch),
        )
        times = stress.shape[0]
        ratio = poisson_ratio[self.body.material[:, 0]]
        local = self._added(self._near_stations, weights, self.body.geometry.through.size, ratio)
        local = np.moveaxis(local.reshape(times, 2, -1, *ratio.shape), 2, 3)
        _, at, share = self._beside
        own = stress[:, :2, self.vessel[:, None, None, None], :, at]
        read = share[..., None, :] @ own.reshape(*share.shape, 2 * times * own.shape[-1])
        shell = read.reshape(*share.shape[:-1], times, 2, own.shape[-1]) @ self._between.T
        shell = np.moveaxis(shell, (3, 4, 5), (0, 1, 2))
        each = np.broadcast_to(poisson_ratio[self._material][..., None], share.shape[:-1])
        added = self._added(self._near_beside, weights, PLACES.size, each)
        normal, shear = joint.traction_field().at(weights[0])[..., 0]
        return JointState(
            hoop=hoop,
            mismatch=mismatch,
            local=local,
            shell_beside=shell,
            beside=shell + added.reshape(shell.shape),
            slant=SLANT * np.abs(np.tan(self._lean) * weights[0].sum(axis=-1)),
            normal=normal,
            shear=-shear,
        )

    @cached_property
    def _stations(self) -> NDArray[np.intp]:
        """Stations of the elements below and above each step, the nearer first, (J, 2, 2)."""
        return np.asarray(2 * self.upper[:, None, None] + np.array([[-1, -2], [0, 1]]))

    @cached_property
    def _material(self) -> NDArray[np.intp]:
        """Of the bands below and above each step, shape (J, 2)."""
        return np.asarray(self.body.material[self.vessel[:, None], 0, self._stations[:, :, 0]])

    @cached_property
    def _wall(self) -> Array:
        """At each step, shape (J,). [m]"""
        return np.stack([m.wall for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _lean(self) -> Array:
        """Of the wall at each step, from the vertical, shape (J,). [rad]"""
        slopes = self.body.geometry.slope[self.vessel[:, None], self._stations[:, :, 0]]
        return np.asarray(slopes.mean(axis=1))

    @cached_property
    def _place(self) -> Array:
        """Arc length of each step, shape (J,). [m]"""
        return np.stack([m.arc_length for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _beside(self) -> tuple[Array, NDArray[np.intp], Array]:
        """Arc length of places beside steps, stations of the band to read them from, and shares.

        Shapes (J, 2, D), (J, 2, D, K), (J, 2, D, K). Places stay in the nearer half of a band
        between two steps, and within a band at an end.
        """
        meshes = self.body.meridians
        ends = [np.concatenate([[0], m.step_node, [2 * m.elements]]) for m in meshes]
        length = [m.arc_length[end] for m, end in zip(meshes, ends, strict=True)]
        room = [0.5 * np.diff(one) for one in length]
        for one in room:
            one[[0, -1]] *= 2.0
        # the bands below and above each step: first and last station, and how far to read
        first, last, reach = (
            np.concatenate([np.stack([one[:-1], one[1:]], axis=1) for one in each])
            for each in ([e[:-1] for e in ends], [e[1:] for e in ends], room)
        )
        away = np.minimum(BESIDE * self._wall[:, None, None], reach[..., None])
        place = self._place[:, None, None] + np.array([[-1.0], [1.0]]) * away
        index = np.zeros((*place.shape, STATIONS), dtype=np.intp)
        share = np.zeros(index.shape)
        for number, arc in enumerate(self.body.geometry.arc_length):
            own = self.vessel == number
            index[own], share[own] = shares(place[own], arc, first[own], last[own])
        return place, index, share

    def _added(
        self, near: list[_Near], weights: tuple[Array, Array], places: int, ratio: Array
    ) -> Array:
        """Sum of the local fields, meridional and hoop, shape (T, 2, places, samples). [Pa]"""
        times = weights[0].shape[0]
        total = np.zeros((times, 2, places, ratio.size))
        for number, side, samples, field in near:
            added = field.at(weights[side][:, number]).reshape(2, times, places, -1)
            total[..., samples] += added.swapaxes(0, 1)
        total[:, 1] = ratio.ravel() * (total[:, 0] + total[:, 1])
        return total

    @cached_property
    def _near_stations(self) -> list[_Near]:
        """Stations within reach of each step."""
        g = self.body.geometry
        owner = np.repeat(np.arange(len(g.arc_length)), g.arc_length.shape[1])
        return self._near(g.arc_length.ravel(), owner, g.through)

    @cached_property
    def _near_beside(self) -> list[_Near]:
        """Places beside steps within reach of each step."""
        place = self._beside[0]
        owner = np.repeat(self.vessel, place.shape[1] * place.shape[2])
        return self._near(place.ravel(), owner, PLACES)

    def _near(self, place: Array, owner: NDArray[np.intp], through: Array) -> list[_Near]:
        """Step, side, samples within reach, and the field there."""
        near = []
        for number, vessel in enumerate(self.vessel):
            distance = (place - self._place[number]) / self._wall[number]
            here = (owner == vessel) & (np.abs(distance) < joint.REACH)
            for side, sign in enumerate((-1.0, 1.0)):
                samples = np.flatnonzero(here & (sign * distance > 0.0))
                field = joint.local_field(np.abs(distance[samples]), through)
                near.append((number, side, samples, field))
        return near

    @cached_property
    def _between(self) -> Array:
        """Shares of the points through the wall at `PLACES`, along straight lines, (Q, P)."""
        through = self.body.geometry.through
        return np.stack([np.interp(PLACES, through, one) for one in np.eye(through.size)], axis=1)


def joint_forces(body: Shells, fields: JointFields, stress: Array) -> Array:
    """Radial and axial force and moment on each joint, from above, (T, J, 3). [N/m], [N/m], [N]

    Taken from the work of the stresses in the elements below and above, so that they balance
    exactly; where the wall bears its weight, the mean of the two.

    Parameters
    ----------
    body
        The vessels.
    fields
        Their joints.
    stress
        Shape (T, 3, B, P, 2E). [Pa]
    """
    g, owner = body.geometry, fields.vessel[:, None]
    ring = np.stack([m.radius for m in body.meridians])[fields.vessel, 2 * fields.upper]
    total = np.zeros((stress.shape[0], fields.vessel.size, 3))
    for element, node, sign in ((fields.upper - 1, 6, 0.5), (fields.upper, 0, -0.5)):
        pair = 2 * element[:, None] + np.arange(2)
        share = g.share[:, owner, :, pair]
        work = stress[:, RESULTANT_STRESS][:, :, owner, :, pair]
        section = np.einsum("jxcp,jxtcp->tjxc", share, work)
        section = section.reshape(*section.shape[:2], 10)
        rows = g.transposed[fields.vessel, element, node : node + 3]
        total += sign * np.einsum("jux,tjx->tju", rows, section)
    return np.asarray(total / (2.0 * np.pi * ring[:, None]))
