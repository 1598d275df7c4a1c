"""Vessels through the whole firing: stress everywhere, on the joints, and the local field there.

    vessels = fire_shells([mesh], history, [[0, 1]])
    vessels[0].stress[-1]            # (station, point through the wall, meridional and hoop)
    vessels[0].steps.normal[-1]      # on each joint, inner and outer face

Stress comes in two parts. `stress` is the shell's and is good away from steps: its meridional
tension is the bending that the *height* of a transition rules. `local` is the field within a wall
of each step, ruled by the *number* of bands. Beside a step the sum counts; see `joint` for what it
is worth. `trusted` marks the stations where the shell alone is enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.structures import joint
from cofire.structures.marching import Control, march
from cofire.structures.shell import TO_END, Shells, elastic_response, shells

if TYPE_CHECKING:
    from cofire.physics.history import Array, History
    from cofire.structures.marching import Record
    from cofire.structures.meridian import Meridian
    from cofire.structures.point_properties import Mechanisms

THINNEST_RATIO = 5.0
"""Radius over wall below which a shell is not trusted. [-]"""


@dataclass(frozen=True)
class StepStress:
    """Stress on and beside the S steps of one vessel at T times.

    Attributes
    ----------
    height
        Of each step, shape (S,). [m]
    normal
        Normal stress on the joint at the inner and outer face, tension positive, without the
        local field, shape (T, S, 2). [Pa]
    shear
        Mean shear stress on the joint, positive where the band above is drawn outwards,
        shape (T, S). [Pa]
    local_normal, local_shear
        To add at the faces, mean over the outer tenth of the wall: normal at both, shear at the
        outer face (opposite at the inner), shape (T, S). [Pa]
    hoop
        Wall mean of the shell's hoop stress just below and above, shape (T, S, 2). [Pa]
    mismatch
        How much more the band below wants to thicken, shape (T, S). [-]
    peak
        Largest tension in any direction within one wall below and above, local field included,
        shape (T, S, 2). [Pa]
    """

    height: Array
    normal: Array
    shear: Array
    local_normal: Array
    local_shear: Array
    hoop: Array
    mismatch: Array
    peak: Array


@dataclass(frozen=True)
class ShellFiring:
    """One vessel at T times, G stations along the wall and P points through it.

    Attributes
    ----------
    meridian
        Mesh.
    radius, height, slope, wall, arc_length
        Of the stations, shape (G,); slope from the vertical, outward leaning positive.
        [m], [m], [rad], [m], [m]
    band
        Band of each station, shape (G,). [-]
    through
        Place through the wall, -1 inside to 1 outside, shape (P,). [-]
    volume
        That each point stands for, shape (G, P). [m³]
    trusted
        Stations more than one wall from every step and corner, where radius over wall is at
        least 5, shape (G,). [-]
    time
        Shape (T,). [s]
    displacement
        Radial, axial [m], rotation [-] of the nodes, shape (T, nodes, 3).
    stress, local
        Of the shell, and what each step adds near it; meridional and hoop, (T, G, P, 2). [Pa]
    shear
        Transverse shear stress of the shell, shape (T, G, P). [Pa]
    inelastic
        Viscous, creep and plastic strain, meridional and hoop, shape (T, 3, G, P, 2). [-]
    membrane, bending
        Mean over the wall, and at the outer face of the straight line through the wall that
        carries the same moment; meridional and hoop, shape (T, G, 2). [Pa]
    steps
        Stress at the steps between bands.
    mesh_error
        Change of the elastic peaks at the end of the firing if each element is cut in two, over
        the peak. [-]
    step_error
        See `marching.Record`. [Pa]
    """

    meridian: Meridian
    radius: Array
    height: Array
    slope: Array
    wall: Array
    arc_length: Array
    band: NDArray[np.intp]
    through: Array
    volume: Array
    trusted: NDArray[np.bool_]
    time: Array
    displacement: Array
    stress: Array
    local: Array
    shear: Array
    inelastic: Array
    membrane: Array
    bending: Array
    steps: StepStress
    mesh_error: float
    step_error: Array

    @property
    def bending_tension(self) -> Array:
        """Largest meridional tension of the shell alone in each band, shape (T, bands). [Pa]"""
        faces = self.stress[:, :, [0, -1], 0].max(axis=2)
        bands = range(int(self.band.max()) + 1)
        return np.stack([faces[:, self.band == b].max(axis=1) for b in bands], axis=1)


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

    @cached_property
    def material(self) -> NDArray[np.intp]:
        """Of the bands below and above each step, shape (J, 2). [-]"""
        below = self.body.material[self.vessel, 0, 2 * self.upper - 1]
        return np.stack([below, self.body.material[self.vessel, 0, 2 * self.upper]], axis=1)

    @cached_property
    def wall(self) -> Array:
        """At each step, shape (J,). [m]"""
        pairs = zip(self.vessel, self.upper, strict=True)
        return np.array([self.body.meridians[v].wall[2 * u] for v, u in pairs])

    @cached_property
    def _near(self) -> list[tuple[int, int, NDArray[np.intp], joint.LocalField]]:
        """Step, side, samples within reach, and the field there."""
        g = self.body.geometry
        vessels, _, stations = self.body.material.shape
        arc = np.stack([m.arc_length for m in self.body.meridians])
        at_step = arc[self.vessel, 2 * self.upper]
        beside = np.stack([at_step, at_step], axis=1)
        beside += 0.5 * joint.CUT_OFF * self.wall[:, None] * np.array([-1.0, 1.0])
        place = np.concatenate([g.arc_length.ravel(), beside.ravel()])
        owner = np.concatenate([np.repeat(np.arange(vessels), stations), np.repeat(self.vessel, 2)])
        near = []
        for number in range(self.vessel.size):
            distance = (place - at_step[number]) / self.wall[number]
            here = (owner == self.vessel[number]) & (np.abs(distance) < joint.REACH)
            for side, sign in enumerate((-1.0, 1.0)):
                samples = np.flatnonzero(here & (sign * distance > 0.0))
                away = np.abs(distance[samples])
                through = np.repeat(g.through, samples.size)
                field = joint.local_field(np.tile(away, g.through.size), through)
                near.append((number, side, samples, field))
        return near

    def hoop(self, stress: Array) -> Array:
        """Wall mean of hoop stress below and above each step, shape (T, J, 2). [Pa]

        Parameters
        ----------
        stress
            Shape (T, 3, B, P, 2E). [Pa]
        """
        mean = np.einsum("p,tbpg->tbg", self.body.geometry.through_weight, stress[:, 1])
        sides = [
            mean[:, self.vessel, 2 * self.upper + shift] * TO_END[0, ::order]
            + mean[:, self.vessel, 2 * self.upper + shift] * 0.0
            for shift, order in ()
        ]
        del sides
        below = mean[:, self.vessel[:, None], 2 * self.upper[:, None] + np.array([-1, -2])]
        above = mean[:, self.vessel[:, None], 2 * self.upper[:, None] + np.array([0, 1])]
        return np.stack([below @ TO_END[0], above @ TO_END[0]], axis=-1)
