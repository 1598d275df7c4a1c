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
from cofire.structures.shell import Shells, elastic_response, shells
from cofire.structures.shell_geometry import RESULTANT_STRESS, TO_END

if TYPE_CHECKING:
    from cofire.physics.history import Array, History
    from cofire.structures.marching import Record
    from cofire.structures.meridian import Meridian
    from cofire.structures.point_properties import Mechanisms

THINNEST_RATIO = 5.0
"""Radius over wall below which a shell is not trusted. [-]"""


BESIDE = np.array([0.0, 0.5 * joint.CUT_OFF, 0.15, 0.25, 0.4, 0.6, 0.8, 1.0])
"""Distances from a step, over the wall, at which it is read; at 0 the shell alone. [-]"""


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
        Largest tension, meridional or hoop, within one wall below and above (half the band, if that
        is less), local field included,
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
    bending_tension
        Largest meridional tension of the shell alone in each band, shape (T, bands). [Pa]
    membrane, bending
        Mean over the wall, and at the outer face of the straight line through the wall that
        carries the same moment; meridional and hoop, shape (T, G, 2). [Pa]
    steps
        Stress at the steps between bands.
    mesh_error
        Change of the elastic peaks, at the largest mismatch of the firing, if each element is cut in
        two, over the peak. [-]
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
    bending_tension: Array
    membrane: Array
    bending: Array
    steps: StepStress
    mesh_error: float
    step_error: Array



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
        step; meridional and hoop, shape (T, 2, P, J, 2, D). [Pa]
    normal, shear
        Local field on the joint itself, see `StepStress`, shape (T, J). [Pa]
    """

    hoop: Array
    mismatch: Array
    local: Array
    shell_beside: Array
    beside: Array
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
        below, above = self._stations.transpose(1, 0, 2)
        mean = np.einsum("p,tbpg->tbg", self.body.geometry.through_weight, stress[:, 1])
        owner = self.vessel[:, None]
        hoop = np.stack([mean[:, owner, below], mean[:, owner, above]], axis=-2) @ TO_END
        young = young_modulus[:, self._material]
        poisson = np.broadcast_to(poisson_ratio[self._material], young.shape)
        e, nu = (np.moveaxis(v, -1, 0) for v in (young, poisson))
        mismatch = joint.thickness_mismatch(hoop[..., 0], hoop[..., 1], (e[0], e[1]), (nu[0], nu[1]))
        weights = (
            joint.pair_weights((e[0], e[1]), (nu[0], nu[1]), mismatch),
            joint.pair_weights((e[1], e[0]), (nu[1], nu[0]), -mismatch),
        )
        times, points = stress.shape[0], stress.shape[3]
        stations = self.body.material[:, 0].size
        local = np.zeros((times, 2, points, stations + self._beside[0].size))
        for number, side, samples, field in self._near:
            added = field.at(weights[side][:, number]).reshape(2, times, points, -1)
            local[..., samples] += added.swapaxes(0, 1)
        each = np.repeat(nu[:, 0].T.ravel(), BESIDE.size)
        ratio = np.concatenate([poisson_ratio[self.body.material[:, 0]].ravel(), each])
        local[:, 1] = ratio * (local[:, 0] + local[:, 1])
        _, pair, share = self._beside
        own = stress[:, :2, self.vessel[:, None, None, None], :, pair]
        shell = np.einsum("jsdx,jsdxtcp->tcpjsd", share, own)
        grid = local[..., :stations].reshape(times, 2, points, *self.body.material[:, 0].shape)
        normal, shear = joint.traction_field().at(weights[0])[..., 0]
        return JointState(
            hoop=hoop,
            mismatch=mismatch,
            local=np.moveaxis(grid, 2, 3),
            shell_beside=shell,
            beside=shell + local[..., stations:].reshape(shell.shape),
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
        return self.body.material[self.vessel[:, None], 0, self._stations[:, :, 0]]

    @cached_property
    def _wall(self) -> Array:
        """At each step, shape (J,). [m]"""
        return np.stack([m.wall for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _place(self) -> Array:
        """Arc length of each step, shape (J,). [m]"""
        return np.stack([m.arc_length for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _beside(self) -> tuple[Array, NDArray[np.intp], Array]:
        """Arc length of places beside steps, two stations of the band each, and their shares.

        Shapes (J, 2, D), (J, 2, D, 2), (J, 2, D, 2). Places stay in the nearer half of a band
        between two steps, and within a band at an end.
        """
        arc, joints = self.body.geometry.arc_length, self.vessel.size
        place = np.zeros((joints, 2, BESIDE.size))
        pair = np.zeros((*place.shape, 2), dtype=np.intp)
        share = np.zeros((*place.shape, 2))
        for j, vessel in enumerate(self.vessel):
            mesh = self.body.meridians[vessel]
            for side, element in enumerate((self.upper[j] - 1, self.upper[j])):
                same = np.flatnonzero(np.repeat(mesh.band, 2) == mesh.band[element])
                ends = np.array([same[0] // 2 * 2, same[-1] // 2 * 2 + 2])
                far = mesh.arc_length[ends[side]] - self._place[j]
                far *= 0.5 if np.isin(ends[side], mesh.step_node) else 1.0
                reach = np.minimum(BESIDE * self._wall[j], abs(far))
                place[j, side] = self._place[j] + (2 * side - 1) * reach
                last = np.searchsorted(arc[vessel, same], place[j, side]).clip(1, same.size - 1)
                pair[j, side] = np.stack([same[last - 1], same[last]], axis=1)
        span = arc[self.vessel[:, None, None, None], pair]
        share[..., 1] = (place - span[..., 0]) / (span[..., 1] - span[..., 0])
        share[..., 0] = 1.0 - share[..., 1]
        return place, pair, share

    @cached_property
    def _near(self) -> list[tuple[int, int, NDArray[np.intp], joint.LocalField]]:
        """Step, side, samples within reach (stations, then places beside steps), field there."""
        g = self.body.geometry
        vessels, stations = g.arc_length.shape
        beside = self._beside[0]
        place = np.concatenate([g.arc_length.ravel(), beside.ravel()])
        each = np.repeat(self.vessel, beside[0].size) if beside.size else self.vessel
        owner = np.concatenate([np.repeat(np.arange(vessels), stations), each])
        near = []
        for number, vessel in enumerate(self.vessel):
            distance = (place - self._place[number]) / self._wall[number]
            here = (owner == vessel) & (np.abs(distance) < joint.REACH)
            for side, sign in enumerate((-1.0, 1.0)):
                samples = np.flatnonzero(here & (sign * distance > 0.0))
                away = np.tile(np.abs(distance[samples]), g.through.size)
                field = joint.local_field(away, np.repeat(g.through, samples.size))
                near.append((number, side, samples, field))
        return near


def fire_shells(
    meridians: Sequence[Meridian],
    history: History,
    material_of_band: Sequence[npt.ArrayLike],
    *,
    points: int = 5,
    weight_density: Sequence[npt.ArrayLike] | None = None,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
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
    weight_density
        For each vessel, the bulk density of each band if it is to bear its own weight. [kg/m³]
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps.
    """
    body = shells(meridians, material_of_band, points=points, weight_density=weight_density)
    record = march(body, history, mechanisms=mechanisms, control=control)
    young = np.stack(
        [np.interp(record.time, history.time, e) for e in history.young_modulus], axis=1
    )
    fields = JointFields.of(body)
    state = fields.at(record.stress, young, np.asarray(history.poisson_ratio, dtype=float))
    force = joint_forces(body, fields, record.stress)
    worst = int(np.ptp(history.free_strain, axis=0).argmax())
    error = mesh_errors(
        body,
        history.young_modulus[:, worst],
        np.asarray(history.poisson_ratio, dtype=float),
        history.free_strain[:, worst],
    )
    return [
        _one_vessel(number, body, record, fields, state, force, error[number])
        for number in range(len(body.meridians))
    ]


def joint_forces(body: Shells, fields: JointFields, stress: Array) -> Array:
    """Radial and axial force and moment on each joint, from above, (T, J, 3). [N/m], [N/m], [N]

    Taken from the work of the stresses in the element below, so that they balance exactly.

    Parameters
    ----------
    body
        The vessels.
    fields
        Their joints.
    stress
        Shape (T, 3, B, P, 2E). [Pa]
    """
    g, element = body.geometry, fields.upper - 1
    pair = 2 * element[:, None] + np.arange(2)
    owner = fields.vessel[:, None]
    share = g.share[:, owner, :, pair]
    work = stress[:, RESULTANT_STRESS][:, :, owner, :, pair]
    section = np.einsum("jxcp,jxtcp->tjxc", share, work)
    section = section.reshape(*section.shape[:2], 10)
    rows = g.transposed[fields.vessel, element, 6:9]
    ring = np.stack([m.radius for m in body.meridians])[fields.vessel, 2 * fields.upper]
    return np.asarray(np.einsum("jux,tjx->tju", rows, section) / (2.0 * np.pi * ring[:, None]))


def mesh_errors(
    body: Shells, young_modulus: Array, poisson_ratio: Array, free_strain: Array
) -> Array:
    """Change of elastic peaks if every element is cut in two, over the largest, shape (B,). [-]

    Compared are the largest and smallest meridional stress at the faces and hoop stress at joints.

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
    vessels, _, stations = body.material.shape
    held = np.zeros((vessels, 2 * stations + 1, 3), dtype=bool)
    held[:, ::2] = body.held
    material = np.repeat(body.material, 2, axis=2)
    finer = Shells(tuple(m.split() for m in body.meridians), material, np.zeros(held.shape), held)
    coarser = Shells(body.meridians, body.material, np.zeros(body.held.shape), body.held)
    ends = []
    for shape in (coarser, finer):
        free = (free_strain - free_strain.mean())[shape.material]
        stress = elastic_response(shape, young_modulus, poisson_ratio, free)[1]
        faces = stress[0][:, [0, -1]]
        ends.append(np.stack([faces.max(axis=(1, 2)), faces.min(axis=(1, 2))]))
    largest = np.abs(ends[1]).max(axis=0)
    floor = 1e-9 * float(np.max(young_modulus)) * (1e-12 + float(np.ptp(free_strain)))
    return np.asarray(np.abs(ends[1] - ends[0]).max(axis=0) / np.maximum(largest, floor))


def _one_vessel(
    number: int,
    body: Shells,
    record: Record,
    fields: JointFields,
    state: JointState,
    force: Array,
    mesh_error: float,
) -> ShellFiring:
    """The part of a batch that belongs to one vessel, points ordered as users read them."""
    g, mesh = body.geometry, body.meridians[number]
    band = np.repeat(mesh.band, 2)
    stress = record.stress[:, :, number]
    local = state.local[:, :, number]
    arc, wall = g.arc_length[number], g.wall[number]
    edges = mesh.arc_length[np.concatenate([mesh.step_node, mesh.corner_node])]
    clear = (np.abs(arc[:, None] - edges) > wall[:, None]).all(axis=1)
    mean = np.einsum("p,tcpg->tgc", g.through_weight, stress[:, :2])
    shell_edges = state.shell_beside[:, 0, :, fields.vessel == number]
    slope = 3.0 * np.einsum("p,tcpg->tgc", g.through_weight * g.through, stress[:, :2])
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
        trusted=clear & (g.radius[number] >= THINNEST_RATIO * wall),
        time=record.time,
        displacement=record.unknowns[:, number],
        stress=stress[:, :2].transpose(0, 3, 2, 1),
        local=local.transpose(0, 3, 2, 1),
        shear=stress[:, 2].transpose(0, 2, 1),
        inelastic=record.inelastic[:, :, :2, number].transpose(0, 1, 4, 3, 2),
        bending_tension=_bending_tension(stress[:, 0], band, mesh, shell_edges),
        membrane=mean,
        bending=slope,
        steps=_steps(fields, state, force, number),
        mesh_error=float(mesh_error),
        step_error=record.step_error,
    )


def _bending_tension(
    meridional: Array, band: NDArray[np.intp], mesh: Meridian, edges: Array
) -> Array:
    """Largest meridional tension in each band, its ends at steps included, (T, bands). [Pa]"""
    faces = meridional[:, [0, -1]].max(axis=1)
    out = np.stack([faces[:, band == b].max(axis=1) for b in range(int(band.max()) + 1)], axis=1)
    for node, edge in zip(mesh.step_node, edges, strict=True):
        for side, element in enumerate((node // 2 - 1, node // 2)):
            own = out[:, mesh.band[element]]
            np.maximum(own, edge[:, [0, -1], side].max(axis=(1, 2)), out=own)
    return out


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
    peak = state.beside[:, :, :, own].max(axis=(1, 2, 5))
    return StepStress(
        height=mesh.height[node],
        normal=np.stack([axial / cut - bending, axial / cut + bending], axis=-1),
        shear=radial / cut,
        local_normal=state.normal[:, own],
        local_shear=state.shear[:, own],
        hoop=state.hoop[:, own],
        mismatch=state.mismatch[:, own],
        peak=peak,
    )
