"""How far the inside of a wall lags behind its faces, and the stress that gives.

One-dimensional conduction with constant diffusivity. A wall heated on both faces is a slab
with its middle as the mirror plane; a wall heated from one side only is a slab of twice the
thickness, its cold face the mirror plane. `depth` below is that distance from the heated face
to the mirror plane: half the wall, or all of it. Good for walls thin against the radius of the
vessel (a tenth or less) and where height matters little.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from cofire.numerics import gauss_points

if TYPE_CHECKING:
    from cofire.numerics import Array


def diffusivity(
    conductivity: npt.ArrayLike, density: npt.ArrayLike, heat_capacity: npt.ArrayLike
) -> Array:
    """Thermal diffusivity. [m²/s]

    Parameters
    ----------
    conductivity
        Thermal conductivity. [W/(m K)]
    density
        Bulk density. [kg/m³]
    heat_capacity
        Specific heat. [J/(kg K)]
    """
    capacity = np.asarray(density, float) * np.asarray(heat_capacity, float)
    return np.asarray(np.asarray(conductivity, float) / capacity, np.float64)


def ramp_lag(depth: float, thermal_diffusivity: float, place: npt.ArrayLike) -> Array:
    """Time by which each place is behind the face on a steady ramp, shape (X,). [s]

    Parameters
    ----------
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    place
        0 at the mirror plane, 1 at the heated face, shape (X,). [-]
    """
    return 0.5 * depth**2 / thermal_diffusivity * (1.0 - np.asarray(place, float) ** 2)


def wall_places(count: int) -> tuple[Array, Array]:
    """Places across a wall, and the share of it that each stands for, by Gauss and Legendre's rule.

    Parameters
    ----------
    count
        Of the places. [-]

    Returns
    -------
    tuple of array
        0 at the mirror plane, 1 at the heated face, and shares that add up to 1, shape (count,).
        [-]
    """
    spread, weight = gauss_points(count)
    return 0.5 * (1.0 + spread), 0.5 * weight


def delayed(time: npt.ArrayLike, values: npt.ArrayLike, lag: npt.ArrayLike) -> Array:
    """Values of a trace as each place sees them, late by its lag, shape (M, X).

    Parameters
    ----------
    time
        Nodes of the trace, shape (M,). [s]
    values
        What the face goes through, a free strain for instance, shape (M,). [-]
    lag
        Of each place, shape (X,); see `ramp_lag`. [s]
    """
    t = np.asarray(time, float)
    late = np.interp(t[:, None] - np.asarray(lag, float), t, np.asarray(values, float))
    return np.asarray(late, np.float64)


def through_wall_stress(
    time: npt.ArrayLike,
    free_strain: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: float,
    depth: float,
    thermal_diffusivity: float,
    place: npt.ArrayLike,
    share: npt.ArrayLike | None = None,
) -> Array:
    """Elastic stress across a wall because its inside goes through the firing late, (M, X). [Pa]

    Every place goes through what the face went through, later by its lag on a steady ramp. So
    ramps, transformations and shrinkage are all in: a transformation sweeps the wall as a
    front. The wall cannot bend (both faces alike, or a closed ring). True where the rate of the
    face changes little within the time depth²/κ (a minute for 10 mm of ceramic), and where the
    body does not flow; a flowing one carries less: give `delayed` strain to a structure then.

    Parameters
    ----------
    time
        Nodes of the trace, shape (M,). [s]
    free_strain
        Of the body at the face, shape (M,). [-]
    young_modulus
        Of the body at the face, shape (M,) or a number. [Pa]
    poisson_ratio
        Elastic. [-]
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    place
        0 at the mirror plane, 1 at the heated face, shape (X,). [-]
    share
        Of the wall that each place stands for in the mean, together 1, shape (X,); by default the
        mean is over 16 places of its own. [-]
    """
    own = np.asarray(place, float)
    count = own.size
    if share is None:
        inside, weight = wall_places(16)
        own, share = np.concatenate([own, inside]), np.concatenate([np.zeros(count), weight])
    strain = delayed(time, free_strain, ramp_lag(depth, thermal_diffusivity, own))
    mean = strain @ np.asarray(share, float)
    stiffness = np.asarray(young_modulus, float) / (1.0 - poisson_ratio)
    return np.asarray(
        np.broadcast_to(stiffness, mean.shape)[:, None] * (mean[:, None] - strain[:, :count])
    )
