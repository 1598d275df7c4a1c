"""A vessel as a solid through the whole firing, read so that every figure converges.

    fired = fire_solid(mesh_solid(r, z, h, steps), history, [0, 1], times=shell.time)
    fired.steps.tenth[-1]      # means over a tenth of a wall beside each joint
    fired.band_tension         # largest tension of each band over time

Beside joints and sharp corners stress is read in windows (`solid_reading`). What a band bears is
the largest of them and of the stress farther away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.parting import Parting
from cofire.mechanics.properties import of_points
from cofire.mechanics.shell_firing import bending_tensions
from cofire.mechanics.solid import Solid, elastic_solid, solid
from cofire.mechanics.solid_elements import (
    GAUSS,
    elements_of,
    gauss_places,
    volumes,
)
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.mechanics.solid_reading import (
    ONE,
    TENTH,
    Beside,
    Lines,
    SolidSteps,
    by_station,
    joint_forces,
    principal,
    read_beside,
    read_corners,
    read_section,
    read_steps,
    turned,
)
from cofire.numerics import line_shape, line_slope, one_thread, peaks_along
from cofire.physics.conduction import ramp_lag

if TYPE_CHECKING:
    from cofire.mechanics.meridian import Meridian
    from cofire.mechanics.properties import Fade, Mechanisms
    from cofire.numerics import Array
    from cofire.physics.history import History

AS_FIRED = Control(relative_tolerance=3e-2, stress_tolerance=4e4, imbalance=1e-2, reuse=0.3)
"""How closely the solid is balanced at given times; own steps are as long as this allows.

The shape does not follow the shrinkage: a vessel is given in its fired size and the print makes up
for what the firing does to it, so the shape given is that of the cold vessel. What all bands shrink
alike does not change stress; on the way there the shape is out by as much as the bands differ.
A `follow` of 0.01 starts from the shape given as the dried one instead.
"""

_IN_DOUBT = 0.01  # error of a step over its scale, from where the solid takes two or more for it
_MOST_PARTS = 4
_BORNE = 0.03  # the same, from where it cuts a step of its own
_LEAST_SCALE = 1e4  # [Pa]


@dataclass(frozen=True)
class SolidFiring:
    """One vessel at T times, G stations along the wall and P places through it, faces included.

    Attributes
    ----------
    mesh
        Its section.
    radius, height, slope, wall, arc_length
        Of the stations on the mid-surface, shape (G,); slope from the vertical, outward leaning
        positive. [m], [m], [rad], [m], [m]
    band
        Band of each station, shape (G,). [-]
    lying
        Stations of a floor that lies on the shelf, shape (G,).
    through
        Place through the wall, -1 inside to 1 outside, shape (P,). [-]
    volume
        That each point stands for, zero on the faces, which are only read, shape (G, P). [m³]
    time
        Shape (T,). [s]
    displacement
        Radial, axial [m], rotation [-] of the mid-surface at `meridian`, shape (T, nodes, 3).
    tensor
        Meridional, hoop, through the wall, and shear between the first and the third, shape
        (T, 4, G, P). [Pa]
    plastic
        Strain by yielding, meridional and hoop, shape (T, G, P, 2). [-]
    bending_tension
        Largest meridional tension of each band from the force and moment of its section alone,
        shape (T, bands). [Pa]
    membrane, bending
        Mean over the wall, and at the outer face of the straight line through the wall that
        carries the same moment; meridional and hoop, shape (T, G, 2). [Pa]
    steps
        Stress at the steps between bands.
    corners
        Stress beside sharp corners; the first line is the inside of a floor and its wall.
    parting
        What `parting_energy` needs.
    mesh_error, window_error
        Change of elastic stress, at the largest mismatch of the firing, if each element is cut in
        four, over the largest: from half a wall away on, and in the windows. [-]
    step_error
        See `integrator.Record`. [Pa]
    """

    mesh: SolidMesh
    radius: Array
    height: Array
    slope: Array
    wall: Array
    arc_length: Array
    band: NDArray[np.intp]
    lying: NDArray[np.bool_]
    through: Array
    volume: Array
    time: Array
    displacement: Array
    tensor: Array
    plastic: Array
    bending_tension: Array
    membrane: Array
    bending: Array
    steps: SolidSteps
    corners: Beside
    parting: Parting
    mesh_error: float
    window_error: float
    step_error: Array

    @property
    def structure(self) -> str:
        """What answered."""
        return "solid"

    @property
    def meridian(self) -> Meridian:
        """The mid-surface, as a shell would have it. [-]"""
        return self.mesh.meridian

    @property
    def stress(self) -> Array:
        """Meridional and hoop stress, shape (T, G, P, 2). [Pa]"""
        return self.tensor[:, :2].transpose(0, 2, 3, 1)

    @property
    def total(self) -> Array:
        """The same: nothing is added to a solid's stress. [Pa]"""
        return self.stress

    @property
    def local(self) -> Array:
        """What is to be added to `stress` near steps: nothing, shape (T, G, P, 2). [Pa]"""
        return np.broadcast_to(0.0, self.stress.shape)

    @property
    def shear(self) -> Array:
        """Transverse shear stress, shape (T, G, P). [Pa]"""
        return self.tensor[:, 3]

    @property
    def principal(self) -> Array:
        """Largest tension in any direction, shape (T, G, P). [Pa]"""
        return principal(np.moveaxis(self.tensor, 1, 0))

    @cached_property
    def over_flaws(self) -> Array:
        """As `tensor`, with its mean over the tenth of a wall beside each sharp corner, there. [Pa]

        In a notch of one body stress goes as r^(λ − 1), and the m-th power of it that flaws are
        summed over has no bound from m (1 − λ) = 2 on: a right angle and m = 4.4. A flaw of some
        size sees a mean: critical distances (D. Taylor, The Theory of Critical Distances, 2007,
        from memory) take it over (2/π)(toughness/strength)², 0.1 to 0.3 mm of such bodies. Beside
        a joint the power is higher than -2/m, and the sum converges.
        """
        if not self.mesh.corner_row.size:
            return self.tensor
        found = self.tensor.copy()
        for k, row in enumerate(self.mesh.corner_row):
            away = self.arc_length - self.meridian.arc_length[row]
            for side, sign in enumerate((-1, 1)):
                wall = self.mesh.wall[row + sign]
                near = (sign * away > 0.0) & (sign * away < TENTH * wall)
                found[:, :, near] = self.corners.tenth[..., k, side][:, :, None]
        return found

    @property
    def trusted(self) -> NDArray[np.bool_]:
        """Stations where stress needs no window: a wall or more from steps and corners, (G,)."""
        edges = np.concatenate([self.mesh.step_row, self.mesh.corner_row])
        apart = np.abs(self.arc_length[:, None] - self.meridian.arc_length[edges])
        return np.asarray((apart > ONE * self.wall[:, None]).all(axis=1))

    @property
    def ring_over_wall(self) -> Array:
        """Radius of curvature of the ring over the wall at the stations, shape (G,). [-]"""
        return self.radius / np.maximum(self.wall * np.cos(self.slope), 1e-9 * self.radius)

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Stations whose stress stands by itself, (G,)."""
        return self.trusted

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
        """Of each sharp corner, shape (C,). [m]"""
        return self.corners.height

    @property
    def corner_peak(self) -> Array:
        """Largest windowed tension within a wall below and above each corner, (T, C, 2). [Pa]"""
        return self.corners.peak

    @cached_property
    def parting_energy(self) -> Array:
        """Released per area if a joint parts all round, shape (T, S). [J/m²]

        Half of what the forces on the joint do on the gap they open: parts unload elastically, and
        inelastic strain stays as it is.
        """
        return self.parting.energy()

    @cached_property
    def band_tension(self) -> Array:
        """Largest tension of each band in any direction, shape (T, bands). [Pa]

        Within a wall of a step or sharp corner the largest mean over a tenth of a wall.
        """
        bands = int(self.band.max()) + 1
        found = np.full((self.time.size, bands), -np.inf)
        away, stress = self.trusted, self.principal
        for band in range(bands):
            own = np.flatnonzero(away & (self.band == band))
            if own.size:
                high, _ = peaks_along(np.moveaxis(stress[:, own], 1, -1), self.arc_length[own])
                found[:, band] = high.max(axis=1)
        for row, beside in (
            (self.mesh.step_row, self.steps),
            (self.mesh.corner_row, self.corners),
        ):
            for k, node in enumerate(row):
                for side, element in enumerate((node // 2 - 1, node // 2)):
                    band = int(self.mesh.band[element])
                    found[:, band] = np.maximum(found[:, band], beside.peak[:, k, side])
        return found


@one_thread
def fire_solid(
    mesh: SolidMesh,
    history: History,
    material_of_band: npt.ArrayLike,
    *,
    times: npt.ArrayLike | None = None,
    borne: npt.ArrayLike | None = None,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    diffusivity: npt.ArrayLike | None = None,
    heated_inside: bool = True,
    check_mesh: bool = True,
    fade: Fade | None = None,
) -> SolidFiring:
    """One vessel as a solid through one firing.

    Parameters
    ----------
    mesh
        Its section.
    history
        Histories of the materials.
    material_of_band
        Index into the history of the material of each band. [-]
    times
        Ends of the steps, those of the shell that went before, see `times_of`; steps of its own if
        not given. [s]
    borne
        Error of stress from which a step between given times is cut, one or one a time, see
        `borne_of`; none is cut if not given. [Pa]
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps.
    diffusivity
        Thermal, of each material of the history, if the inside of the wall is to go through the
        firing late, see `conduction.ramp_lag`. [m²/s]
    heated_inside
        Whether heat reaches the inner face too.
    check_mesh
        If False, `mesh_error` and `window_error` are left at zero.
    fade
        As in `solid`.
    """
    body = solid(mesh, material_of_band, merged=True, fade=fade)
    control = control or AS_FIRED
    if times is not None:
        given = np.asarray(times, dtype=float)
        later = given > history.time[0]
        control = replace(control, times=tuple(given[later].tolist()))
        if borne is not None:
            most = np.broadcast_to(np.asarray(borne, dtype=float), given.shape)[later]
            control = replace(control, borne=tuple(most.tolist()))
    added = None
    if diffusivity is not None:
        added = late_strain(body, history, diffusivity, heated_inside=heated_inside)
    record = march(
        body, history, mechanisms=mechanisms, control=control, added_strain=added, brief=True,
        levels=body.levels,
    )  # fmt: skip
    errors, lines = (0.0, 0.0), Lines.of(mesh)
    if check_mesh:
        worst = int(np.ptp(history.free_strain, axis=0).argmax())
        errors = mesh_errors(
            body,
            lines,
            history.young_modulus[:, worst],
            np.asarray(history.poisson_ratio, dtype=float),
            history.free_strain[:, worst],
            fade,
        )
    return _read(body, lines, record, history, errors)


def scale_of(time: npt.ArrayLike, stress: npt.ArrayLike, peak_time: float) -> Array:
    """What an error in stress counts against at each time, shape (T,). [Pa]

    The largest stress of all heating until the ware is hottest; then the largest since, and no
    less than three tenths of that of heating (an estimate). Half-sintered ware breaks at a few
    hundredths of a MPa: an error small beside the cold stress may be all that it bears.

    Parameters
    ----------
    time
        Shape (T,). [s]
    stress
        Largest stress at each time, shape (T,). [Pa]
    peak_time
        When the ware is hottest. [s]

    Examples
    --------
    >>> scale_of([0.0, 1.0, 2.0, 3.0], [1.0, 2.0, 0.1, 5.0], 1.0)
    array([2. , 2. , 0.6, 5. ])
    """
    t, s = np.asarray(time, dtype=float), np.asarray(stress, dtype=float)
    heating = t <= peak_time
    top = float(s[heating].max(initial=0.0))
    later = np.maximum.accumulate(np.where(heating, 0.0, s))
    return np.where(heating, top, np.maximum(later, 0.3 * top))


def times_of(
    time: npt.ArrayLike, stress: npt.ArrayLike, step_error: npt.ArrayLike, peak_time: float
) -> Array:
    """Times of a shell, steps in doubt cut in two to four, and the moment of its heating peak. [s]

    A step is cut where the shell puts its own error above 1 % of `scale_of`, into as many parts as
    bring it there if error goes with the cube of the step, and in two on both sides of the moment
    on heating when its stress is largest. Over the scale of each, the errors of shell and solid
    agree within a factor of two in the shipped vessels; what the solid sees beyond that, its march
    cuts by itself (`borne_of`). The 1 % is an estimate (2 % left bending 4.7 % out in one of
    twenty drawn vessels, 1 % 1.7).

    Parameters
    ----------
    time
        Of the shell, shape (T,). [s]
    stress
        Its largest stress at each time, shape (T,). [Pa]
    step_error
        Its estimate of the error made in the step that ends at each time, shape (T,). [Pa]
    peak_time
        When the ware is hottest. [s]

    Examples
    --------
    >>> times_of([0.0, 1.0, 2.0, 3.0], [0.0, 1e6, 0.0, 1e6], [0.0, 0.0, 3e4, 1e3], 1.0)
    array([0.        , 0.5       , 1.        , 1.33333333, 1.66666667,
           2.        , 3.        ])
    """
    t, s, e = (np.asarray(v, dtype=float) for v in (time, stress, step_error))
    heating = np.flatnonzero(t <= peak_time)
    top = int(heating[np.argmax(s[heating])])
    allowed = _IN_DOUBT * np.maximum(scale_of(t, s, peak_time), _LEAST_SCALE)
    parts = np.clip(np.ceil(np.cbrt(e / allowed)), 1, _MOST_PARTS).astype(int)
    around = [k for k in (top, top + 1) if 0 < k < t.size]
    parts[around] = np.maximum(parts[around], 2)
    inner = [np.linspace(t[k - 1], t[k], parts[k] + 1)[1:] for k in range(1, t.size)]
    return np.concatenate([t[:1], *inner])


def borne_of(
    time: npt.ArrayLike, stress: npt.ArrayLike, times: npt.ArrayLike, peak_time: float
) -> Array:
    """Error of stress from which a solid at given times cuts a step, shape of `times`. [Pa]

    3 % of `scale_of` (an estimate; 15 % left one of twenty drawn vessels out by 14 % at the
    inversion of iron, 5 % a graded bowl by 2.6, 3 % by 2.0): the estimate of a step's error is
    several times the error itself where something flows as fast as it is strained.

    Parameters
    ----------
    time, stress
        Of a shell, and its largest stress, shape (T,). [s], [Pa]
    times
        Of the solid. [s]
    peak_time
        When the ware is hottest. [s]

    Examples
    --------
    >>> borne_of([0.0, 1.0], [0.0, 1e6], [0.0, 0.5, 1.0], 1.0)
    array([30000., 30000., 30000.])
    """
    scale = np.maximum(scale_of(time, stress, peak_time), _LEAST_SCALE)
    at, own = np.asarray(times, dtype=float), np.asarray(time, dtype=float)
    return np.asarray(_BORNE * np.interp(at, own, scale))


def late_strain(
    body: Solid, history: History, diffusivity: npt.ArrayLike, *, heated_inside: bool = True
) -> Callable[[float], Array]:
    """Free strain that each point lacks because heat reaches it late, (4, E, 9), by time. [-]

    Every point goes through what the face went through, later by the lag of a plate on a steady
    ramp; see `conduction.through_wall_stress` for what that is worth.

    Parameters
    ----------
    body
        The vessel.
    history
        Histories of the materials, as at the face.
    diffusivity
        Thermal, of each material. [m²/s]
    heated_inside
        Whether heat reaches the inner face too.

    Raises
    ------
    InputError
        If a diffusivity is not above zero.
    """
    kappa = np.broadcast_to(np.asarray(diffusivity, dtype=float), (len(history.names),))
    if not (kappa > 0.0).all():
        message = f"solid: diffusivity is {kappa.min():g} m²/s; allowed: above 0"
        raise InputError(message)
    place = np.concatenate([gauss_places(edges) for edges in body.elements.edges])
    x = np.tile(place.reshape(-1, 3), (1, 3))
    wall = body.mesh.wall[1::2][body.elements.row][:, None]
    depth = (0.5 if heated_inside else 1.0) * wall
    share = x if heated_inside else 0.5 * (1.0 + x)
    lag = ramp_lag(1.0, 1.0, share) * depth**2 / of_points(kappa, body.levels)[body.material]
    free, time = of_points(history.free_strain.T, body.levels).T, history.time

    def added(now: float) -> Array:
        out = np.zeros((4, *body.material.shape))
        for k, row in enumerate(free):
            own = body.material == k
            late = np.interp(now - lag[own], time, row) - np.interp(now, time, row)
            out[:3, own] = late
        return out

    return added


def _read(
    body: Solid, lines: Lines, record: Record, history: History, errors: tuple[float, float]
) -> SolidFiring:
    """A march as users read it."""
    mesh, elements = body.mesh, body.elements
    times, stations, places = record.time.size, 3 * mesh.rows, lines.through.size
    stress = by_station(elements, lines.through, record.stress)
    tensor = turned(stress, lines, 1)
    flat = tensor.reshape(times, 4, stations, places)
    plastic = np.zeros((times, mesh.rows, 3, places, 2))
    yielded = np.flatnonzero(record.inelastic[:, -1].any(axis=(0, 1, 3)))
    if yielded.size:
        first, last = int(elements.row[yielded[0]]), int(elements.row[yielded[-1]]) + 1
        own = slice(elements.start[first], elements.start[last])
        some = elements.rows(first, last)
        strain = by_station(some, lines.through, record.inelastic[:, -1, :, own])
        rr, hoop, zz, rz = np.moveaxis(strain, 1, 0)
        s, c = lines.along_r[first:last], lines.along_z[first:last]
        plastic[:, first:last, ..., 0] = s * s * rr + c * c * zz + s * c * rz
        plastic[:, first:last, ..., 1] = hoop
    grid = elements_of(mesh, merged=False)
    volume = np.zeros((stations, places))
    volume[:, 1:-1] = by_station(grid, lines.through[1:-1], volumes(grid)).reshape(stations, -1)
    meridian = mesh.meridian
    three = 2 * np.arange(mesh.rows)[:, None] + np.arange(3)
    shape, slope = line_shape(GAUSS), line_slope(GAUSS)

    def at_stations(value: Array, share: Array) -> Array:
        return np.asarray((value[three] @ share.T).ravel(), np.float64)

    lean = np.arctan2(at_stations(meridian.radius, slope), at_stations(meridian.height, slope))
    arc = at_stations(meridian.arc_length, shape)
    membrane, bending = read_section(lines, stress)
    inside, outside = elements.line[:-1], elements.line[1:] - 1
    moved = [record.unknowns[:, at] for at in (inside, (inside + outside) // 2, outside)]
    across = (moved[2] - moved[0]) / mesh.wall[:, None]
    up_r, up_z = ((v[:, -1] - v[:, 0]) / mesh.wall for v in (mesh.radius, mesh.height))
    turn = (across[..., 0] * up_z - across[..., 1] * up_r) / (up_r**2 + up_z**2)
    young = np.stack([np.interp(record.time, history.time, e) for e in history.young_modulus], 1)
    young, poisson = (of_points(np.asarray(v), body.levels) for v in (young, history.poisson_ratio))
    forces = joint_forces(body, record.stress)
    return SolidFiring(
        mesh=mesh,
        radius=at_stations(meridian.radius, shape),
        height=at_stations(meridian.height, shape),
        slope=lean,
        wall=at_stations(mesh.wall, shape),
        arc_length=arc,
        band=np.repeat(mesh.band, 3),
        lying=np.repeat(mesh.lying, 3),
        through=lines.through,
        volume=volume,
        time=record.time,
        displacement=np.concatenate([moved[1], turn[..., None]], axis=2),
        tensor=flat,
        plastic=plastic.reshape(times, stations, places, 2),
        bending_tension=bending_tensions(membrane, bending, meridian, arc),
        membrane=membrane,
        bending=bending,
        steps=read_steps(body, lines, tensor, forces, young, poisson),
        corners=read_corners(lines, tensor),
        parting=Parting(body, forces, young, poisson),
        mesh_error=errors[0],
        window_error=errors[1],
        step_error=record.step_error,
    )


def mesh_errors(
    body: Solid,
    lines: Lines,
    young_modulus: Array,
    poisson_ratio: Array,
    free_strain: Array,
    fade: Fade | None = None,
) -> tuple[float, float]:
    """Change of elastic stress if every element is cut in four, over the largest. [-]

    First that of the bending tension of every band and of all that is read half a wall and one
    wall from steps and corners; second that of the windows beside them.

    Parameters
    ----------
    body
        The vessel.
    lines
        Of its mesh.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    free_strain
        Of each material. [-]
    fade
        As in `solid`.
    """
    of_band = body.mesh.band
    band = [int(body.material_of_row[np.argmax(of_band == b)]) for b in range(of_band.max() + 1)]
    away, near = [], []
    finer = body.mesh.finer()
    halved = solid(finer, band, merged=True, fade=fade)
    for one, read in ((body, lines), (halved, Lines.of(finer, sliding=False))):
        free = of_points(free_strain - free_strain.mean(), one.levels)[one.material]
        stress = elastic_solid(one, young_modulus, poisson_ratio, free)[1][None]
        mesh = one.mesh
        whole = by_station(one.elements, read.through, stress)
        tensor = turned(whole, read, 1)
        arc = (mesh.meridian.arc_length[mesh.meridian.nodes] @ line_shape(GAUSS).T).ravel()
        rows = np.concatenate([mesh.step_row, mesh.corner_row])
        beside = read_beside(read, tensor, rows)
        faces = [0, -1]
        tensions = bending_tensions(*read_section(read, whole), mesh.meridian, arc)
        away.append(
            np.concatenate(
                [tensions.ravel(), *(beside[n][:, :2, faces].ravel() for n in ("half", "one"))]
            )
        )
        near.append(np.concatenate([beside[n][:, :2, faces].ravel() for n in ("tenth", "quarter")]))
    floor = 1e-9 * float(np.max(young_modulus)) * (1e-12 + float(np.ptp(free_strain)))
    scale = max(float(np.abs(away[1]).max()), floor)
    windows = max(float(np.abs(near[1]).max(initial=0.0)), floor)
    return (
        float(np.abs(away[1] - away[0]).max() / scale),
        float(np.abs(near[1] - near[0]).max(initial=0.0) / windows),
    )
