"""A vessel as a solid through the whole firing, read so that every figure converges.

    fired = fire_solid(mesh_solid(r, z, h, steps), history, [0, 1], times=shell.time)
    fired.steps.tenth[-1]      # means over a tenth of a wall beside each joint
    fired.band_tension         # largest tension of each band over time

At the edge of a joint and in an inside corner the stress of an elastic solid may have no bound (see
`corner_exponent`), and a finer mesh then only shows more of it. So beside joints and sharp corners
stress is read as the mean along the wall over a tenth and a quarter of a wall, on both faces and on
every line of points between them, and at exactly half a wall and one wall away. Those means
converge. What a band bears is the largest of them and of the stress farther away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.shell_firing import bending_tensions
from cofire.mechanics.solid import (
    GAUSS,
    GAUSS_WEIGHT,
    Solid,
    elastic_solid,
    line_shape,
    line_slope,
    solid,
)
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.numerics import one_thread, peaks_along
from cofire.physics.conduction import ramp_lag
from cofire.physics.interface import corner_exponent, dundurs

if TYPE_CHECKING:
    from cofire.mechanics.meridian import Meridian
    from cofire.mechanics.properties import Mechanisms
    from cofire.numerics import Array
    from cofire.physics.history import History

TENTH, QUARTER = 0.1, 0.25
"""Lengths of the windows beside a joint or corner, over the wall. [-]"""

HALF, ONE = 0.5, 1.0
"""Distances at which stress is read beside it, over the wall. [-]"""

SLIDING = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95])
"""Middles of the windows of a tenth of a wall among which a peak is sought, over the wall. [-]"""

AS_FIRED = Control(relative_tolerance=3e-2, stress_tolerance=4e4, imbalance=1e-2, follow=np.inf)
"""How closely the solid is balanced at given times; own steps are as long as this allows.

The shape does not follow the shrinkage: a vessel is given in its fired size and the print makes up
for what the firing does to it, so the shape given is that of the cold vessel. What all bands shrink
alike does not change stress; on the way there the shape is out by as much as the bands differ.
A `follow` of 0.01 starts from the shape given as the dried one instead.
"""

_IN_DOUBT = 0.15  # error of a step over what is allowed, from where the solid takes two for it
_RATIO_STEP = 0.2  # change of the logarithm of a ratio of moduli after which compliance is anew


@runtime_checkable
class FiredWall(Protocol):
    """What all that reads a response may ask, whichever structure answered.

    G stations along the wall, P places through it, T times, S steps, C corners.
    """

    @property
    def structure(self) -> str:
        """Which structure answered: "shell" or "solid"."""
        ...

    @property
    def time(self) -> Array:
        """Shape (T,). [s]"""
        ...

    @property
    def radius(self) -> Array:
        """Of the stations, shape (G,). [m]"""
        ...

    @property
    def height(self) -> Array:
        """Of the stations, shape (G,). [m]"""
        ...

    @property
    def slope(self) -> Array:
        """Lean of the stations from the vertical, outward positive, shape (G,). [rad]"""
        ...

    @property
    def wall(self) -> Array:
        """At the stations, shape (G,). [m]"""
        ...

    @property
    def arc_length(self) -> Array:
        """Of the stations from foot or axis, shape (G,). [m]"""
        ...

    @property
    def band(self) -> NDArray[np.intp]:
        """Of the stations, shape (G,). [-]"""
        ...

    @property
    def lying(self) -> NDArray[np.bool_]:
        """Stations of a floor that lies on the shelf, shape (G,)."""
        ...

    @property
    def through(self) -> Array:
        """Places through the wall, -1 inside to 1 outside, shape (P,). [-]"""
        ...

    @property
    def volume(self) -> Array:
        """That each point stands for, zero where it is only read, shape (G, P). [m³]"""
        ...

    @property
    def total(self) -> Array:
        """Meridional and hoop stress, all that is known of it, shape (T, G, P, 2). [Pa]"""
        ...

    @property
    def principal(self) -> Array:
        """Largest tension in any direction, shape (T, G, P). [Pa]"""
        ...

    @property
    def trusted(self) -> NDArray[np.bool_]:
        """Stations a wall or more from steps and corners: elsewhere read windows, (G,)."""
        ...

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Stations whose stress stands by itself, outside the windows of steps and corners."""
        ...

    @property
    def inelastic(self) -> Array:
        """Viscous, creep, plastic strain, meridional and hoop, shape (T, 3, G, P, 2). [-]"""
        ...

    @property
    def membrane(self) -> Array:
        """Mean stress of the section, meridional and hoop, shape (T, G, 2). [Pa]"""
        ...

    @property
    def bending(self) -> Array:
        """Stress at the outer face by the moment of the section, shape (T, G, 2). [Pa]"""
        ...

    @property
    def bending_tension(self) -> Array:
        """Largest tension up the wall by force and moment of the section, (T, bands). [Pa]"""
        ...

    @property
    def band_tension(self) -> Array:
        """Largest tension of each band, windowed beside steps and corners, (T, bands). [Pa]"""
        ...

    @property
    def step_height(self) -> Array:
        """Of each step, shape (S,). [m]"""
        ...

    @property
    def step_peak(self) -> Array:
        """Largest windowed tension within a wall below and above each step, (T, S, 2). [Pa]"""
        ...

    @property
    def corner_height(self) -> Array:
        """Of each sharp corner, shape (C,). [m]"""
        ...

    @property
    def corner_peak(self) -> Array:
        """Largest windowed tension within a wall below and above each corner, (T, C, 2). [Pa]"""
        ...

    @property
    def parting_energy(self) -> Array:
        """Released per area if a joint parts all round, shape (T, S). [J/m²]"""
        ...

    @property
    def mesh_error(self) -> float:
        """Change of elastic stress with a finer mesh, over the largest. [-]"""
        ...

    @property
    def step_error(self) -> Array:
        """Estimated error of stress made in the step that ends at each time, (T,). [Pa]"""
        ...


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
    radius, cut
        Of the middle of each joint, and its breadth, shape (S,). [m]
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
    cut: Array
    normal: Array
    shear: Array
    tension: Array
    sliding: Array
    hoop: Array

    @property
    def local_normal(self) -> Array:
        """To add to the larger of `normal` for the larger of `tension`, shape (T, S). [Pa]"""
        return np.asarray(self.tension.max(axis=2) - self.normal.max(axis=2))


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
    inelastic
        Viscous, creep and plastic strain, meridional and hoop, shape (T, 3, G, P, 2). [-]
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
        See `marching.Record`. [Pa]
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
    inelastic: Array
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


@one_thread
def fire_solid(
    mesh: SolidMesh,
    history: History,
    material_of_band: npt.ArrayLike,
    *,
    times: npt.ArrayLike | None = None,
    weight_density: npt.ArrayLike | None = None,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    diffusivity: npt.ArrayLike | None = None,
    heated_inside: bool = True,
    check_mesh: bool = True,
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
    weight_density
        Bulk density of each band if it is to bear its own weight. [kg/m³]
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
    """
    body = solid(mesh, material_of_band, weight_density=weight_density)
    control = control or AS_FIRED
    if times is not None:
        given = np.asarray(times, dtype=float)
        chosen = tuple(given[given > history.time[0]].tolist())
        control = replace(control, times=chosen)
    added = None
    if diffusivity is not None:
        added = late_strain(body, history, diffusivity, heated_inside=heated_inside)
    record = march(body, history, mechanisms=mechanisms, control=control, added_strain=added)
    errors = (0.0, 0.0)
    if check_mesh:
        worst = int(np.ptp(history.free_strain, axis=0).argmax())
        errors = mesh_errors(
            body,
            history.young_modulus[:, worst],
            np.asarray(history.poisson_ratio, dtype=float),
            history.free_strain[:, worst],
        )
    return _read(body, record, history, errors)


def times_of(
    time: npt.ArrayLike, stress: npt.ArrayLike, step_error: npt.ArrayLike, peak_time: float
) -> Array:
    """Times of a shell, steps in doubt cut in two, and the moment of its heating peak. [s]

    A step is cut where the shell puts its own error above 15 % of what `AS_FIRED` allows, and on
    both sides of the moment on heating when its stress is largest. What a step gets wrong while
    hot relaxes soon but is seen at its end: uncut, stress half a wall from a joint is out by 3.5 %
    of the largest while hot in one shipped vessel, all of it by two steps. The 15 % is an estimate.

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
    >>> times_of([0.0, 1.0, 2.0, 3.0], [0.0, 0.0, 0.0, 0.0], [0.0, 0.0, 2e4, 1e3], 0.0)
    array([0. , 0.5, 1. , 1.5, 2. , 3. ])
    """
    t, s, e = (np.asarray(v, dtype=float) for v in (time, stress, step_error))
    heating = np.flatnonzero(t <= peak_time)
    top = int(heating[np.argmax(s[heating])])
    around = [k for k in (top, top + 1) if 0 < k < t.size]
    allowed = AS_FIRED.stress_tolerance + AS_FIRED.relative_tolerance * s
    cut = np.union1d(around, np.flatnonzero(e[1:] > _IN_DOUBT * allowed[1:]) + 1).astype(np.intp)
    return np.union1d(t, 0.5 * (t[cut - 1] + t[cut]))


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
    mesh = body.mesh
    place = np.tile((0.5 * (mesh.place[:-2:2] + mesh.place[2::2]))[:, None], (mesh.rows, 3))
    spread = np.tile((0.5 * (mesh.place[2::2] - mesh.place[:-2:2]))[:, None], (mesh.rows, 3))
    x = np.tile(place + spread * GAUSS, (1, 3))
    wall = np.repeat(mesh.wall[1::2], mesh.across)[:, None]
    depth = (0.5 if heated_inside else 1.0) * wall
    share = x if heated_inside else 0.5 * (1.0 + x)
    lag = ramp_lag(1.0, 1.0, share) * depth**2 / kappa[body.material]
    free, time = history.free_strain, history.time

    def added(now: float) -> Array:
        out = np.zeros((4, *body.material.shape))
        for k, row in enumerate(free):
            own = body.material == k
            late = np.interp(now - lag[own], time, row) - np.interp(now, time, row)
            out[:3, own] = late
        return out

    return added


@dataclass(frozen=True)
class _Lines:
    """Lines of points along the wall: both faces and the Gauss points of each column between.

    Attributes
    ----------
    through
        Place of each, shape (P,). [-]
    radius, height
        Of the stations, shape (A, 3, P). [m]
    run
        Length along the line per η at the stations, shape (A, 3, P). [m]
    along_r, along_z
        Unit vectors along them, shape (A, 3, P). [-]
    """

    through: Array
    radius: Array
    height: Array
    run: Array
    along_r: Array
    along_z: Array

    @classmethod
    def of(cls, mesh: SolidMesh) -> _Lines:
        """The lines of a mesh."""
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
        return cls(share @ mesh.place, at_r, at_z, run, run_r / run, run_z / run)

    @cached_property
    def length(self) -> Array:
        """Of each row, shape (A, P). [m]"""
        return np.asarray(np.einsum("j,kjp->kp", GAUSS_WEIGHT, self.run))

    def windows(self, row: int, sign: int, low: Array, high: Array) -> tuple[slice, Array]:
        """Rows beside a row edge, and shares of their stations in means between W distances.

        Where both distances are the same, the value there; no distance goes beyond the wall's end.
        Shares (W, rows, 3, P).
        """
        there = (self.length[row:] if sign > 0 else self.length[:row]).sum(axis=0)
        low, high = (np.minimum(d[:, None], there) for d in (low, high))
        start = np.zeros(self.through.size)
        at_point = high - low < 1e-12
        shares: list[Array] = []
        k = row if sign > 0 else row - 1
        while 0 <= k < len(self.run) and not (
            shares and (start >= high).all() and (start > low).all()
        ):
            run = self.run[k] if sign > 0 else self.run[k, ::-1]
            length = self.length[k]
            c = _POWERS @ run
            a, b = (_place_at(np.clip(d - start, 0.0, length), c, length) for d in (low, high))
            middle, half = 0.5 * (a + b), 0.5 * (b - a)
            share = np.zeros((3, *low.shape))
            for g, w in zip(GAUSS, GAUSS_WEIGHT, strict=True):
                x = middle + g * half
                share += _between(x) * (w * half * (c[0] + x * (c[1] + x * c[2])))
            point = at_point & (low <= start + length * (1.0 + 1e-9))
            share = np.where(point, _between(a), share)
            at_point = at_point & ~point
            shares.append(share if sign > 0 else share[::-1])
            start = start + length
            k += sign
        stacked = np.stack(shares[::sign]).transpose(2, 0, 1, 3)
        stacked = stacked / stacked.sum(axis=(1, 2), keepdims=True)
        first = row if sign > 0 else row - len(shares)
        return slice(first, first + len(shares)), stacked


_POWERS = np.array([[0.0, 1.0, 0.0], [-0.5, 0.0, 0.5], [0.5, -1.0, 0.5]]) / np.array(
    [[1.0], [GAUSS[2]], [GAUSS[2] ** 2]]
)
"""From values at the three Gauss points to the parabola through them, by powers of η. [-]"""


def _between(place: Array) -> Array:
    """Shares of the three Gauss points for a value at places, shape (3, ...). [-]"""
    x = np.asarray(place) / GAUSS[2]
    return np.stack([0.5 * x * (x - 1.0), 1.0 - x * x, 0.5 * x * (x + 1.0)])


def _place_at(distance: Array, run: Array, length: Array) -> Array:
    """Place in a row, -1 to 1, at a distance along each line from its start. [-]

    `run` holds the length per η by powers of η.
    """
    c, x = run, 2.0 * distance / length - 1.0
    begin = -c[0] + 0.5 * c[1] - c[2] / 3.0
    for _ in range(3):
        gone = x * (c[0] + x * (0.5 * c[1] + x * c[2] / 3.0)) - begin
        x = x - (gone - distance) / (c[0] + x * (c[1] + x * c[2]))
    return np.clip(x, -1.0, 1.0)


def _by_station(mesh: SolidMesh, values: Array) -> Array:
    """Values at the points, (..., E, 9), by row, station and line with faces, (..., A, 3, P)."""
    grid = values.reshape(*values.shape[:-2], mesh.rows, mesh.across, 3, 3)
    grid = np.moveaxis(grid, -3, -2).reshape(*values.shape[:-2], mesh.rows, 3, 3 * mesh.across)
    inner, outer = (_between(np.array(at)) for at in (-1.0, 1.0))
    faces = [grid[..., :3] @ inner, grid[..., -3:] @ outer]
    return np.concatenate([faces[0][..., None], grid, faces[1][..., None]], axis=-1)


def _turned(tensor: Array, lines: _Lines, axis: int, angle: float = 1.0) -> Array:
    """Radial, hoop, axial, shear as meridional, hoop, through, shear; `angle` 1/2 for strain."""
    rr, hoop, zz, rz = np.moveaxis(tensor, axis, 0)
    s, c = lines.along_r, lines.along_z
    one = s * s * rr + c * c * zz + 2.0 * angle * s * c * rz
    two = c * c * rr + s * s * zz - 2.0 * angle * s * c * rz
    shear = s * c * (rr - zz) / angle + (c * c - s * s) * rz
    return np.stack([one, hoop, two, shear], axis=axis)


def _read(
    body: Solid, record: Record, history: History, errors: tuple[float, float]
) -> SolidFiring:
    """A march as users read it."""
    mesh, lines = body.mesh, _Lines.of(body.mesh)
    times, stations, places = record.time.size, 3 * mesh.rows, lines.through.size
    stress = _by_station(mesh, record.stress)
    tensor = _turned(stress, lines, 1)
    flat = tensor.reshape(times, 4, stations, places)
    strain = _turned(_by_station(mesh, record.inelastic), lines, 2, 0.5)[:, :, :2]
    volume = _by_station(mesh, body.geometry.weight).reshape(stations, places)
    volume[:, [0, -1]] = 0.0
    meridian = mesh.meridian
    three = 2 * np.arange(mesh.rows)[:, None] + np.arange(3)
    shape, slope = line_shape(GAUSS), line_slope(GAUSS)

    def at_stations(value: Array, share: Array) -> Array:
        return np.asarray((value[three] @ share.T).ravel(), np.float64)

    lean = np.arctan2(at_stations(meridian.radius, slope), at_stations(meridian.height, slope))
    arc = at_stations(meridian.arc_length, shape)
    membrane, bending = _section(mesh, lines, stress)
    moved = record.unknowns.reshape(times, *mesh.radius.shape, 2)
    middle = mesh.place.size // 2
    breadth = mesh.wall[None, :, None]
    across = (moved[:, :, -1] - moved[:, :, 0]) / breadth
    up_r, up_z = ((v[:, -1] - v[:, 0]) / mesh.wall for v in (mesh.radius, mesh.height))
    turn = (across[..., 0] * up_z - across[..., 1] * up_r) / (up_r**2 + up_z**2)
    young = np.stack([np.interp(record.time, history.time, e) for e in history.young_modulus], 1)
    poisson = np.asarray(history.poisson_ratio, dtype=float)
    forces = _joint_forces(body, record.stress)
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
        displacement=np.concatenate([moved[:, :, middle], turn[..., None]], axis=2),
        tensor=flat,
        inelastic=np.moveaxis(strain.reshape(times, 3, 2, stations, places), 2, -1),
        bending_tension=bending_tensions(membrane, bending, meridian, arc),
        membrane=membrane,
        bending=bending,
        steps=_steps(body, lines, tensor, forces, young, poisson),
        corners=_corners(mesh, lines, tensor),
        parting=Parting(body, forces, young, poisson),
        mesh_error=errors[0],
        window_error=errors[1],
        step_error=record.step_error,
    )


def _section(mesh: SolidMesh, lines: _Lines, stress: Array) -> tuple[Array, Array]:
    """Membrane and bending stress, meridional and hoop, shape (T, G, 2) each. [Pa]

    Meridional from the traction on the line through the wall at each station, so that force and
    moment balance whatever its slant; hoop as it is along the line. Stress radial, hoop, axial,
    shear, shape (T, 4, A, 3, P).
    """
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
    return mean.reshape(len(stress), -1, 2), bending.reshape(len(stress), -1, 2)


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


def _beside(
    mesh: SolidMesh, lines: _Lines, tensor: Array, rows: NDArray[np.intp], *, peaks: bool = True
) -> dict[str, Array]:
    """Fields of `Beside` at some rows of nodes; stress shape (T, 4, A, 3, P)."""
    times, count, places = len(tensor), rows.size, lines.through.size
    means = np.zeros((4, times, 4, places, count, 2))
    distance = np.zeros((2, count, 2))
    peak = np.full((times, count, 2), -np.inf)
    for k, row in enumerate(rows):
        for side, sign in enumerate((-1, 1)):
            room = _room(mesh, row)[side]
            wall = float(mesh.wall[row + sign])
            at = [min(d * wall, room) for d in (HALF, ONE)]
            distance[:, k, side] = at
            spans = [(0.0, TENTH * wall), (0.0, QUARTER * wall), *((d, d) for d in at)]
            slides = np.unique(np.minimum(SLIDING * wall, max(room, SLIDING[0] * wall)))
            slides = slides if peaks else slides[:0]
            spans += [(d - 0.5 * TENTH * wall, d + 0.5 * TENTH * wall) for d in slides]
            low, high = np.array(spans).T
            used, share = lines.windows(int(row) // 2, sign, low, high)
            near = tensor[:, :, used]
            mean = np.einsum("wkjp,tckjp->wtcp", share, near, optimize=True)
            means[..., k, side] = mean[:4]
            sought = np.moveaxis(np.delete(mean, (1, 2, 3), axis=0), 2, 0)
            peak[:, k, side] = principal(sought).max(axis=(0, 2))
    return {
        "height": mesh.height[rows, mesh.place.size // 2],
        "tenth": means[0],
        "quarter": means[1],
        "half": means[2],
        "one": means[3],
        "distance": distance,
        "peak": peak,
    }


def _corners(mesh: SolidMesh, lines: _Lines, tensor: Array) -> Beside:
    """Stress beside the sharp corners of one vessel."""
    rows = mesh.corner_row
    beside = _beside(mesh, lines, tensor, rows)
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
    low, high = 0.5 - 1e-9, 1.0
    if angle <= np.pi * (1.0 + 1e-9):
        return 1.0
    for _ in range(60):
        half = 0.5 * (low + high)
        above = np.sin(half * angle) + half * np.sin(angle) > 0.0
        low, high = (half, high) if above else (low, half)
    return 0.5 * (low + high)


def _joint_forces(body: Solid, stress: Array) -> Array:
    """Force of the upper part on the nodes of each joint, (T, S, 2C + 1, 2). [N]

    Mean of what the rows below and above say, which differ by the weight on the nodes.
    """
    mesh = body.mesh
    nodes = mesh.nodes.reshape(mesh.rows, mesh.across, 3, 3)
    first = mesh.place.size
    out = np.zeros((len(stress), mesh.step_row.size, first, 2))
    for s, row in enumerate(mesh.step_row):
        for element, edge, sign in ((row // 2 - 1, 2, 0.5), (row // 2, 0, -0.5)):
            own = slice(element * mesh.across, (element + 1) * mesh.across)
            points = np.ascontiguousarray(stress[:, :, own].transpose(2, 0, 3, 1))
            pulled = body.lumped[own] @ points.reshape(mesh.across, len(stress), 36).swapaxes(1, 2)
            pulled = pulled.reshape(mesh.across, 3, 3, 2, len(stress))[:, edge]
            at = nodes[element, :, edge] - row * first
            for e in range(mesh.across):
                out[:, s, at[e]] += sign * np.moveaxis(pulled[e], -1, 0)
    return out


def _steps(
    body: Solid, lines: _Lines, tensor: Array, forces: Array, young: Array, poisson: Array
) -> SolidSteps:
    """Stress at the steps of one vessel."""
    mesh = body.mesh
    rows = mesh.step_row
    beside = _beside(mesh, lines, tensor, rows)
    times, count = len(tensor), rows.size
    normal, tension, sliding = (np.zeros((times, count, 2)) for _ in range(3))
    shear, exponent = np.zeros((times, count)), np.ones((times, count))
    cut, middle = np.zeros(count), np.zeros(count)
    material = body.material[:: mesh.across, 0]
    for s, row in enumerate(rows):
        r, z = mesh.radius[row], mesh.height[row]
        cut[s] = np.hypot(r[-1] - r[0], z[-1] - z[0])
        middle[s] = r[mesh.place.size // 2]
        level_r, level_z = (r[-1] - r[0]) / cut[s], (z[-1] - z[0]) / cut[s]
        pull = forces[:, s, :, 1] * level_r - forces[:, s, :, 0] * level_z
        slide = forces[:, s, :, 0] * level_r + forces[:, s, :, 1] * level_z
        ring = 2.0 * np.pi * middle[s]
        x = 0.5 * cut[s] * mesh.place
        bending = 6.0 * (pull @ x) / (ring * cut[s] ** 2)
        mean = pull.sum(axis=1) / (ring * cut[s])
        normal[:, s] = np.stack([mean - bending, mean + bending], axis=1)
        shear[:, s] = slide.sum(axis=1) / (ring * cut[s])
        reader = _tenths(mesh.place, r, cut[s])
        tension[:, s], sliding[:, s] = pull @ reader, slide @ reader
        below, above = material[row // 2 - 1], material[row // 2]
        pair = dundurs(young[:, below], poisson[below], young[:, above], poisson[above])
        exponent[:, s] = [corner_exponent(float(a), float(b)) for a, b in zip(*pair, strict=True)]
    return SolidSteps(
        **beside,
        radius=middle,
        cut=cut,
        normal=normal,
        shear=shear,
        tension=tension,
        sliding=sliding,
        hoop=_wall_mean(mesh, beside["tenth"][:, 1]),
        exponent=exponent,
    )


def _wall_mean(mesh: SolidMesh, values: Array) -> Array:
    """Mean through the wall of values at the lines, (T, P, K, 2) to (T, K, 2)."""
    half = 0.5 * (mesh.place[2::2] - mesh.place[:-2:2])
    weight = 0.5 * (half[:, None] * GAUSS_WEIGHT).ravel()
    return np.asarray(np.einsum("p,tpks->tks", weight, values[:, 1:-1]))


def _tenths(place: Array, radius: Array, cut: float) -> Array:
    """From forces on the nodes of a joint to traction in its inner and outer tenth, (2C + 1, 2).

    The traction is the piecewise quadratic that does the same work.
    """
    size = place.size
    mass, mean = np.zeros((size, size)), np.zeros((size, 2))
    shape = line_shape(GAUSS)
    for k in range(0, size - 2, 2):
        low, high = place[k], place[k + 2]
        own = slice(k, k + 3)
        ring = 2.0 * np.pi * (shape @ radius[own]) * GAUSS_WEIGHT * 0.25 * cut * (high - low)
        mass[own, own] += shape.T @ (ring[:, None] * shape)
        for face, (first, last) in enumerate(((-1.0, -1.0 + 2 * TENTH), (1.0 - 2 * TENTH, 1.0))):
            a, b = max(first, low), min(last, high)
            if b > a:
                x = 0.5 * (a + b) + 0.5 * (b - a) * GAUSS
                at = line_shape((2.0 * x - low - high) / (high - low))
                mean[own, face] += (0.5 * (b - a) * GAUSS_WEIGHT) @ at
    return np.asarray(np.linalg.solve(mass, mean / (2 * TENTH)))


@dataclass(frozen=True)
class Parting:
    """What the joints of a vessel would release if they parted.

    Attributes
    ----------
    body
        The vessel.
    forces
        Of the upper part on the nodes of each joint, shape (T, S, 2C + 1, 2). [N]
    young
        Modulus of each material, shape (T, N). [Pa]
    poisson
        Ratio of each material, shape (N,). [-]
    """

    body: Solid
    forces: Array
    young: Array
    poisson: Array

    @one_thread
    def energy(self) -> Array:
        """Released per area, shape (T, S). [J/m²]"""
        mesh = self.body.mesh
        out = np.zeros(self.forces.shape[:2])
        for s, row in enumerate(mesh.step_row):
            force = self.forces[:, s].reshape(len(out), -1)
            ring = np.pi * (mesh.radius[row, 1:] + mesh.radius[row, :-1])
            area = ring @ np.hypot(np.diff(mesh.radius[row]), np.diff(mesh.height[row]))
            for first, last in ((0, row // 2), (row // 2, mesh.rows)):
                out[:, s] += self._work(force, first, last, int(row)) / (2.0 * area)
        return out

    def _work(self, force: Array, first: int, last: int, row: int) -> Array:
        """Of the joint's forces on the part from one row of elements to another, shape (T,). [J]

        Compliance times the modulus beside the joint is found anew where the ratio of moduli has
        changed by a fifth, and read along straight lines between.
        """
        part = _part(self.body, first, last)
        beside = self.body.material[(row // 2 - (first == 0)) * self.body.mesh.across, 0]
        inside = np.unique(part.material)
        reference = self.young[:, beside]
        ratio = np.log(self.young[:, inside] / reference[:, None])
        gone = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ratio, axis=0)).max(axis=1))])
        total = gone[-1]
        wanted = np.linspace(0.0, total, int(np.ceil(total / _RATIO_STEP)) + 1)
        knots = np.unique(np.searchsorted(gone, wanted - 1e-12).clip(0, gone.size - 1))
        nodes = np.arange(self.body.mesh.place.size)
        nodes = nodes + (part.mesh.radius.size - nodes.size if first == 0 else 0)
        works = np.stack(
            [
                np.einsum("ta,ab,tb->t", force, self._compliance(part, nodes, int(k)), force)
                * reference[k]
                for k in knots
            ]
        )
        at = np.interp(gone, gone[knots], np.arange(knots.size)) if knots.size > 1 else 0.0 * gone
        low = np.floor(at).astype(np.intp).clip(0, max(knots.size - 2, 0))
        high = np.minimum(low + 1, knots.size - 1)
        time = np.arange(len(force))
        share = at - low
        work = (1.0 - share) * works[low, time] + share * works[high, time]
        return np.asarray(work / reference, np.float64)

    def _compliance(self, part: Solid, nodes: NDArray[np.intp], time: int) -> Array:
        """Displacement of the nodes of a joint for each force on them, elastic. [m/N]"""
        tangent = part.elastic_tangent(self.young[time], self.poisson)
        unit = np.zeros((part.held.size, 2 * nodes.size))
        at = (2 * nodes[:, None] + np.arange(2)).ravel()
        unit[at, np.arange(at.size)] = 1.0
        unit[part.held.ravel()] = 0.0
        return np.asarray(part.solver(tangent)(unit)[at])


def _part(body: Solid, first: int, last: int) -> Solid:
    """Some rows of elements of a vessel as a body of their own, held axially far from the joint."""
    mesh = body.mesh
    rows, own = slice(2 * first, 2 * last + 1), slice(first * mesh.across, last * mesh.across)
    count = mesh.place.size
    support = (0, count // 2) if first == 0 else (2 * (last - first), count // 2)
    cut = SolidMesh(
        radius=mesh.radius[rows],
        height=mesh.height[rows],
        place=mesh.place,
        wall=mesh.wall[rows],
        band=mesh.band[first:last],
        step_row=np.zeros(0, dtype=np.intp),
        corner_row=np.zeros(0, dtype=np.intp),
        support=support,
        lying=mesh.lying[first:last],
    )
    held = np.zeros((cut.radius.size, 2), dtype=bool)
    held[cut.radius.ravel() == 0.0, 0] = True
    held[support[0] * count + support[1], 1] = True
    return Solid(
        mesh=cut,
        material=body.material[own],
        load=np.zeros(held.shape),
        held=held,
        geometry=body.geometry.rows(own),
    )


def mesh_errors(
    body: Solid, young_modulus: Array, poisson_ratio: Array, free_strain: Array
) -> tuple[float, float]:
    """Change of elastic stress if every element is cut in four, over the largest. [-]

    First that of the bending tension of every band and of all that is read half a wall and one
    wall from steps and corners; second that of the windows beside them.

    Parameters
    ----------
    body
        The vessel.
    young_modulus
        Of each material. [Pa]
    poisson_ratio
        Of each material. [-]
    free_strain
        Of each material. [-]
    """
    finer_mesh = body.mesh.finer()
    of_band = body.material[:: body.mesh.across, 0]
    band = [int(of_band[np.argmax(body.mesh.band == b)]) for b in range(body.mesh.band.max() + 1)]
    away, near = [], []
    for one in (solid(body.mesh, band), solid(finer_mesh, band)):
        free = (free_strain - free_strain.mean())[one.material]
        stress = elastic_solid(one, young_modulus, poisson_ratio, free)[1][None]
        mesh, lines = one.mesh, _Lines.of(one.mesh)
        whole = _by_station(mesh, stress)
        tensor = _turned(whole, lines, 1)
        arc = (mesh.meridian.arc_length[mesh.meridian.nodes] @ line_shape(GAUSS).T).ravel()
        rows = np.concatenate([mesh.step_row, mesh.corner_row])
        beside = _beside(mesh, lines, tensor, rows, peaks=False)
        faces = [0, -1]
        tensions = bending_tensions(*_section(mesh, lines, whole), mesh.meridian, arc)
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
