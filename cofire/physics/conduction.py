"""How far the inside of a wall lags behind its faces, and the stress that gives.

One-dimensional conduction with constant diffusivity. A wall heated on both faces is a slab
with its middle as the mirror plane; a wall heated from one side only is a slab of twice the
thickness, its cold face the mirror plane. `depth` below is that distance from the heated face
to the mirror plane: half the wall, or all of it. Good for walls thin against the radius of the
vessel (a tenth or less) and where height matters little.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError
from cofire.numerics import gauss_points

if TYPE_CHECKING:
    from cofire.numerics import Array

Solid = Literal["plate", "cylinder", "sphere"]

_RAMP_SURFACE = {"plate": 1.0 / 3.0, "cylinder": 1.0 / 8.0, "sphere": 1.0 / 15.0}
_RAMP_CENTRE = {"plate": 1.0 / 6.0, "cylinder": 1.0 / 8.0, "sphere": 1.0 / 15.0}
_RAMP_LAG = {"plate": 1.0 / 2.0, "cylinder": 1.0 / 4.0, "sphere": 1.0 / 6.0}


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


def lag_time(depth: float, thermal_diffusivity: float) -> float:
    """Time constant with which a slab forgets a step of its face temperature. [s]

    4 depth²/(π² κ), the slowest mode of a slab whose faces follow at once (H. S. Carslaw and
    J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 3.3, from memory).

    Parameters
    ----------
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall or pack. [m²/s]
    """
    return float(4.0 * depth**2 / (np.pi**2 * thermal_diffusivity))


def ramp_difference(
    rate: npt.ArrayLike, depth: float, thermal_diffusivity: float, solid: Solid = "plate"
) -> Array:
    """Temperature of the face over that of the middle, on a long steady ramp. [K]

    Parameters
    ----------
    rate
        Rate of the face temperature, positive on heating. [K/s]
    depth
        From heated face to mirror plane, or radius. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    solid
        Plate, long cylinder heated all round, or sphere.
    """
    return _RAMP_LAG[solid] * np.asarray(rate, float) * depth**2 / thermal_diffusivity


def ramp_stress(
    rate: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    expansion: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: float,
    solid: Solid = "plate",
) -> tuple[Array, Array]:
    """Stress at the face and in the middle on a long steady ramp, tension positive. [Pa]

    Face of a plate −Eαφ depth²/[3(1−ν)κ]: compression on heating, tension on cooling. (W. D.
    Kingery, H. K. Bowen and D. R. Uhlmann, Introduction to Ceramics, 2nd ed. 1976, chapter 16,
    from memory.) In the middle the largest component is given: all directions of a plate and a
    sphere, axial in a cylinder. Elastic, bending restrained if one side only is heated. True a
    few lag times after the ramp began.

    Parameters
    ----------
    rate
        Rate of the face temperature, positive on heating. [K/s]
    depth
        From heated face to mirror plane, or radius. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    expansion
        Linear expansion coefficient. [1/K]
    young_modulus
        Young's modulus. [Pa]
    poisson_ratio
        Elastic. [-]
    solid
        Plate, long cylinder heated all round, or sphere.
    """
    free = np.asarray(expansion, float) * np.asarray(rate) * depth**2 / thermal_diffusivity
    stress = np.asarray(young_modulus, float) * free / (1.0 - poisson_ratio)
    return -_RAMP_SURFACE[solid] * stress, _RAMP_CENTRE[solid] * stress


def allowed_rate(
    strength: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    expansion: npt.ArrayLike,
    young_modulus: npt.ArrayLike,
    poisson_ratio: float,
) -> Array:
    """Steady rate at which the face of a plate reaches a stress. [K/s]

    Parameters
    ----------
    strength
        Stress allowed. [Pa]
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall. [m²/s]
    expansion
        Linear expansion coefficient. [1/K]
    young_modulus
        Young's modulus. [Pa]
    poisson_ratio
        Elastic. [-]
    """
    face, _ = ramp_stress(1.0, depth, thermal_diffusivity, expansion, young_modulus, poisson_ratio)
    return np.asarray(strength, float) / np.abs(face)


def slab_temperature(
    time: npt.ArrayLike,
    outside: npt.ArrayLike,
    depth: float,
    thermal_diffusivity: float,
    place: npt.ArrayLike,
    *,
    biot: float = np.inf,
    start: float | None = None,
    modes: int = 40,
) -> Array:
    """Temperature inside a slab whose surroundings follow a trace, shape (M, X). [K]

    Exact, by modes, for a trace of straight pieces (Carslaw and Jaeger 1959, sections 3.3 and
    3.11, from memory); the modes left out are taken as settled.

    Parameters
    ----------
    time
        Nodes of the trace, shape (M,). [s]
    outside
        Temperature of the face (infinite Biot number) or of the gas, shape (M,). [K]
    depth
        From heated face to mirror plane. [m]
    thermal_diffusivity
        κ of the wall or pack. [m²/s]
    place
        0 at the mirror plane, 1 at the heated face, shape (X,). [-]
    biot
        Surface coefficient × depth / conductivity. [-]
    start
        Uniform temperature at the first time; that of the trace if not given. [K]
    modes
        How many to carry. [-]

    Raises
    ------
    InputError
        If times do not grow, or depth, diffusivity or Biot number are not above zero.
    """
    t, gas, x = (np.asarray(a, float) for a in (time, outside, place))
    if not (np.diff(t) > 0).all():
        message = "conduction: times of the trace must grow"
        raise InputError(message)
    for name, value in (
        ("depth [m]", depth),
        ("diffusivity [m²/s]", thermal_diffusivity),
        ("Biot number", biot),
    ):
        if not value > 0:
            message = f"conduction: {name} is {value:g}; allowed: above 0"
            raise InputError(message)
    wave = _wave_numbers(biot, modes)
    shape = 4.0 * np.sin(wave) / (2.0 * wave + np.sin(2.0 * wave)) * np.cos(np.outer(x, wave))
    decay = wave**2 * thermal_diffusivity / depth**2
    settled = (0.5 * (1.0 - x**2) + 1.0 / biot) * depth**2 / thermal_diffusivity
    behind = np.full(modes, gas[0] - (gas[0] if start is None else start))
    temperature = np.empty((t.size, x.size))
    temperature[0] = gas[0] if start is None else start
    for m in range(1, t.size):
        step = t[m] - t[m - 1]
        rate = (gas[m] - gas[m - 1]) / step
        fading = (behind - rate / decay) * np.exp(-decay * step)
        behind = rate / decay + fading
        temperature[m] = gas[m] - rate * settled - shape @ fading
    return temperature


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
    """
    spread, weight = gauss_points(16)
    inside = 0.5 * (1.0 + spread)
    lags = ramp_lag(depth, thermal_diffusivity, np.concatenate([np.asarray(place, float), inside]))
    strain = delayed(time, free_strain, lags)
    count = strain.shape[1] - inside.size
    mean = strain[:, count:] @ (0.5 * weight)
    stiffness = np.asarray(young_modulus, float) / (1.0 - poisson_ratio)
    return np.asarray(
        np.broadcast_to(stiffness, mean.shape)[:, None] * (mean[:, None] - strain[:, :count])
    )


def _wave_numbers(biot: float, modes: int) -> Array:
    """Roots of μ tan μ = Bi, one in each half period, by bisection."""
    first: Array = np.pi * np.arange(modes, dtype=np.float64)
    low: Array = first
    high: Array = first + 0.5 * np.pi
    if np.isinf(biot):
        return high
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = middle * np.sin(middle) * np.cos(first) < biot * np.cos(middle) * np.cos(first)
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high), np.float64)
