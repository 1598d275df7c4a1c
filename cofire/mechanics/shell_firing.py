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

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.mechanics.integrator import Control
from cofire.mechanics.joint import BESIDE, JointFields, JointState, joint_forces
from cofire.mechanics.properties import of_points
from cofire.mechanics.shell import Shells, elastic_response, shells
from cofire.mechanics.shell_march import marched
from cofire.numerics import one_thread, peaks_along

if TYPE_CHECKING:
    from cofire.mechanics.integrator import Record
    from cofire.mechanics.meridian import Meridian
    from cofire.mechanics.properties import Fade, Mechanisms
    from cofire.numerics import Array
    from cofire.physics.history import History

THINNEST_RATIO = 5.0
"""Radius of curvature of the ring over wall below which a shell is not trusted. [-]"""


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
        Mean shear stress on the joint, positive where the upper band pulls the lower outwards,
        shape (T, S). [Pa]
    local_normal
        To add to the normal stress at both faces, mean over the outer tenth of the wall, (T, S).
        [Pa]
    hoop
        Wall mean of the shell's hoop stress just below and above, shape (T, S, 2). [Pa]
    mismatch
        How much more the band below wants to thicken, shape (T, S). [-]
    peak
        Largest tension, meridional or hoop, within one wall below and above (half the band, if
        that is less), local field and `slant` included, shape (T, S, 2). [Pa]
    slant
        Upper estimate of what a leaning wall adds beside a step, zero in an upright one, shape
        (T, S). [Pa]
    """

    height: Array
    normal: Array
    shear: Array
    local_normal: Array
    hoop: Array
    mismatch: Array
    peak: Array
    slant: Array


@dataclass(frozen=True)
class Near:
    """What one vessel of a batch has beside its steps, each worked out once, when asked for.

    Attributes
    ----------
    batch
        It was fired in.
    number
        Of the vessel in it. [-]
    """

    batch: Batch
    number: int

    @cached_property
    def local(self) -> Array:
        """What each step adds near it, meridional and hoop, shape (T, G, P, 2). [Pa]"""
        return self.batch.near[1].local[:, :, self.number].transpose(0, 3, 2, 1)

    @cached_property
    def steps(self) -> StepStress:
        """Stress at the steps."""
        return _steps(*self.batch.near, self.number)

    @property
    def mesh_error(self) -> float:
        """See `ShellFiring.mesh_error`. [-]"""
        return float(self.batch.mesh_errors[self.number])


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
        Stations more than one wall from every step and corner, where the radius of curvature of
        the ring is at least 5 walls, shape (G,). [-]
    time
        Shape (T,). [s]
    displacement
        Radial, axial [m], rotation [-] of the nodes, shape (T, nodes, 3).
    stress
        Of the shell, meridional and hoop, shape (T, G, P, 2). [Pa]
    shear
        Transverse shear stress of the shell, shape (T, G, P). [Pa]
    plastic
        Strain by yielding, meridional and hoop, shape (T, G, P, 2). [-]
    bending_tension
        Largest meridional tension of each band from the force and moment of the shell's section
        alone, shape (T, bands): more than a face that yields bears. [Pa]
    membrane, bending
        Mean over the wall, and at the outer face of the straight line through the wall that
        carries the same moment; meridional and hoop, shape (T, G, 2). [Pa]
    step_error
        See `integrator.Record`. [Pa]
    near
        What is worked out when it is asked for: `local`, `steps`, `mesh_error`.
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
    shear: Array
    plastic: Array
    bending_tension: Array
    membrane: Array
    bending: Array
    step_error: Array
    near: Near

    @property
    def structure(self) -> str:
        """What answered."""
        return "shell"

    @property
    def lying(self) -> NDArray[np.bool_]:
        """Stations of a floor that lies on the shelf, shape (G,)."""
        return np.repeat(self.meridian.lying, 2)

    @property
    def local(self) -> Array:
        """What each step adds near it, shape (T, G, P, 2). [Pa]"""
        return self.near.local

    @property
    def steps(self) -> StepStress:
        """Stress at the steps between bands."""
        return self.near.steps

    @property
    def mesh_error(self) -> float:
        """Change of the elastic peaks if each element is cut in two, over the peak. [-]

        At the largest mismatch of the firing.
        """
        return self.near.mesh_error

    @property
    def total(self) -> Array:
        """Shell's stress with the local field of the steps, shape (T, G, P, 2). [Pa]"""
        return self.stress + self.local

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Stations whose stress stands by itself: farther from steps than their windows, (G,)."""
        edges = self.meridian.arc_length[self.meridian.step_node]
        away = np.abs(self.arc_length[:, None] - edges).min(axis=1, initial=np.inf)
        return np.asarray(away > BESIDE[-1] * self.wall)

    @property
    def step_height(self) -> Array:
        """Of each step, shape (S,). [m]"""
        return self.steps.height

    @property
    def step_peak(self) -> Array:
        """Largest windowed tension within a wall below and above each step, (T, S, 2). [Pa]"""
        return self.steps.peak

    @property
    def corner_height(self) -> Array:
        """Of corners with windows of their own: a shell has none, shape (0,). [m]"""
        return np.zeros(0)

    @property
    def corner_peak(self) -> Array:
        """Shape (T, 0, 2). [Pa]"""
        return np.zeros((self.time.size, 0, 2))

    @property
    def ring_over_wall(self) -> Array:
        """Radius of curvature of the ring over the wall at the stations, shape (G,). [-]"""
        return _ring_over_wall(self.radius, self.wall, self.slope)


def _ring_over_wall(radius: Array, wall: Array, slope: Array) -> Array:
    """Radius of curvature of the ring over the wall, any shape. [-]"""
    return np.asarray(radius / np.maximum(wall * np.cos(slope), 1e-9 * radius))


def fire_shells(
    meridians: Sequence[Meridian],
    history: History,
    material_of_band: Sequence[npt.ArrayLike],
    *,
    points: int = 5,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
    fade: Fade | None = None,
) -> list[ShellFiring]:
    """Each of B vessels through one firing, solved as one batch.

    For large searches use `shells`, `march` with `watch`, and `JointFields`, and keep only what
    is needed.

    Parameters
    ----------
    meridians
        One a vessel; all must have the same number of elements.
    history
        Histories of the materials.
    material_of_band
        For each vessel, the index into the history of the material of each band. [-]
    points
        Through the wall, faces included. [-]
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps.
    added_strain
        Free strain beyond that of the history as a function of time, of a shape that broadcasts
        with (3, B, P, 2E), zero for the shear: a temperature difference through the wall. [-]
    fade
        As in `shells`.
    """
    body = shells(meridians, material_of_band, points=points, fade=fade)
    record = marched(
        body, history, mechanisms=mechanisms, control=control, added_strain=added_strain
    )
    batch = Batch(body, record, history)
    return [_one_vessel(batch, number) for number in range(len(body.meridians))]


@dataclass(frozen=True)
class Batch:
    """Vessels fired together, and what is worked out of them only when it is asked for.

    Attributes
    ----------
    body
        The B vessels.
    record
        Their march.
    history
        Histories of their materials.
    """

    body: Shells
    record: Record
    history: History

    @cached_property
    def near(self) -> tuple[JointFields, JointState, Array]:
        """Fields of the steps, their state, and the forces on the joints."""
        return _near(self)

    @cached_property
    def mesh_errors(self) -> Array:
        """See `mesh_errors`, at the largest mismatch of the firing, shape (B,). [-]"""
        history = self.history
        worst = int(np.ptp(history.free_strain, axis=0).argmax())
        poisson = np.asarray(history.poisson_ratio, dtype=float)
        young, free = history.young_modulus[:, worst], history.free_strain[:, worst]
        return mesh_errors(self.body, young, poisson, free)


@one_thread
def _near(batch: Batch) -> tuple[JointFields, JointState, Array]:
    body, record, history = batch.body, batch.record, batch.history
    young = np.stack(
        [np.interp(record.time, history.time, e) for e in history.young_modulus], axis=1
    )
    fields = JointFields.of(body)
    heating = record.time <= history.time[np.argmax(history.temperature)]
    flowed = record.inelastic[heating, :, 1].sum(axis=1)
    poisson = np.asarray(history.poisson_ratio, dtype=float)
    state = fields.at(record.stress, young, poisson, flowed)
    return fields, state, joint_forces(body, fields, record.stress)


@one_thread
def mesh_errors(
    body: Shells, young_modulus: Array, poisson_ratio: Array, free_strain: Array
) -> Array:
    """Change of elastic peaks if every element is cut in two, over the largest, shape (B,). [-]

    Compared is the bending tension of every band.

    Parameters
    ----------
    body
        The vessels.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    free_strain
        Of each material. [-]
    """
    coarser = replace(body, load=np.zeros(body.held.shape))
    peaks = []
    for shape in (coarser, body.split()):
        free = of_points(free_strain - free_strain.mean(), shape.levels)[shape.material]
        stress = elastic_response(shape, young_modulus, poisson_ratio, free)[1][None]
        arc = shape.geometry.arc_length
        peaks.append(
            [
                bending_tensions(*_section_stress(shape, stress, k), mesh, arc[k])[0]
                for k, mesh in enumerate(shape.meridians)
            ]
        )
    floor = 1e-9 * float(np.max(young_modulus)) * (1e-12 + float(np.ptp(free_strain)))
    return np.array(
        [
            np.abs(fine - coarse).max() / max(np.abs(fine).max(), floor)
            for coarse, fine in zip(*peaks, strict=True)
        ]
    )


def _one_vessel(batch: Batch, number: int) -> ShellFiring:
    """The part of a batch that belongs to one vessel, points ordered as users read them."""
    body, record = batch.body, batch.record
    g, mesh = body.geometry, body.meridians[number]
    band = np.repeat(mesh.band, 2)
    stress = record.stress[:, :, number]
    arc, wall = g.arc_length[number], g.wall[number]
    edges = mesh.arc_length[np.concatenate([mesh.step_node, mesh.corner_node])]
    clear = (np.abs(arc[:, None] - edges) > wall[:, None]).all(axis=1)
    mean, slope = _section_stress(body, record.stress, number)
    return ShellFiring(
        meridian=mesh,
        radius=g.radius[number],
        height=g.height[number],
        slope=g.slope[number],
        wall=wall,
        arc_length=arc,
        band=band,
        through=g.through,
        volume=g.weight[number].T,
        trusted=clear
        & (_ring_over_wall(g.radius[number], wall, g.slope[number]) >= THINNEST_RATIO),
        time=record.time,
        displacement=record.unknowns[:, number],
        stress=stress[:, :2].transpose(0, 3, 2, 1),
        shear=stress[:, 2].transpose(0, 2, 1),
        plastic=record.inelastic[:, 2, :2, number].transpose(0, 3, 2, 1),
        bending_tension=bending_tensions(mean, slope, mesh, arc),
        membrane=mean,
        bending=slope,
        step_error=record.step_error,
        near=Near(batch, number),
    )


def _section_stress(body: Shells, stress: Array, number: int) -> tuple[Array, Array]:
    """Membrane and bending stress of one vessel, shape (T, 2E, 2) each. [Pa]"""
    g = body.geometry
    own = stress[:, :2, number]
    shares = (g.through_weight, 3.0 * g.through_weight * g.through)
    mean, slope = (np.einsum("p,tcpg->tgc", share, own) for share in shares)
    return mean, slope


def bending_tensions(membrane: Array, bending: Array, mesh: Meridian, arc: Array) -> Array:
    """Largest membrane and bending tension up the wall in each band, (T, bands). [Pa]

    Force and moment pass through a step without a jump, so it is read there too.

    Parameters
    ----------
    membrane, bending
        Of the sections, meridional first, shape (T, G, 2). [Pa]
    mesh
        Mid-surface.
    arc
        Arc length of the stations, shape (G,). [m]
    """
    tension = membrane[..., 0] + np.abs(bending[..., 0])
    steps = mesh.arc_length[mesh.step_node]
    after = np.searchsorted(arc, steps)
    share = (steps - arc[after - 1]) / (arc[after] - arc[after - 1])
    at_steps = (1.0 - share) * tension[:, after - 1] + share * tension[:, after]
    line, values = np.insert(arc, after, steps), np.insert(tension, after, at_steps, axis=1)
    ends = [0, *(after + np.arange(steps.size)).tolist(), line.size - 1]
    parts = [slice(first, last + 1) for first, last in pairwise(ends)]
    return np.stack([peaks_along(values[:, part], line[part])[0] for part in parts], axis=1)


def _steps(fields: JointFields, state: JointState, force: Array, number: int) -> StepStress:
    """Stress at the steps of one vessel."""
    mesh = fields.body.meridians[number]
    own = fields.vessel == number
    node = mesh.step_node
    dr = mesh.radius[node + 1] - mesh.radius[node - 1]
    dz = mesh.height[node + 1] - mesh.height[node - 1]
    cosine = np.abs(dz) / np.hypot(dr, dz)
    cut = mesh.wall[node] / cosine
    radial, axial, moment = np.moveaxis(force[:, own], 2, 0)
    bending = 6.0 * moment / cut**2
    slant = state.slant[:, own]
    beside = state.beside if own.all() else state.beside[:, :, :, own]
    return StepStress(
        height=mesh.height[node],
        normal=np.stack([axial / cut - bending, axial / cut + bending], axis=-1),
        shear=radial / cut,
        local_normal=state.normal[:, own],
        hoop=state.hoop[:, own],
        mismatch=state.mismatch[:, own],
        peak=beside.max(axis=(1, 2)).max(axis=-1) + slant[..., None],
        slant=slant,
    )
