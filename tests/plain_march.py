"""Stress of a structure through a firing the plain way: fixed steps, one point after another.

Backward Euler in time, Newton's method for the unknowns, and at each point a scalar Newton for
creep and yield, written in the components of stress rather than in modes. It shares with cofire
the strains and forces of the structure (each point's rows are read off with unit unknowns and unit
stresses) and the nodes of the history, and nothing else: neither the law, nor the stepping, nor
the solver.

    plain = PlainStructure.of(body)
    stress = plain_march(plain, history, plain_times(history, 600.0))
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from cofire.mechanics.shell import Shells
from cofire.numerics import Array
from cofire.physics.history import History

_MOST_ITERATIONS = 100
_PERFECTLY_PLASTIC = 1.0 - 1e-6  # a trace of stiffness along the yielding direction
_UNSTRESSED = 1e-6  # [Pa]


@dataclass(frozen=True)
class PlainPoint:
    """One point: its material and the unknowns that strain it.

    Attributes
    ----------
    material
        Row of the history. [-]
    columns, strain
        Unknowns that strain it, and strain for one of each, shapes (k,) and (3, k). [-], [1/m]
    rows, force
        Unknowns it pulls at, and force for one of each stress, shapes (j,) and (j, 3). [-], [m²]
    """

    material: int
    columns: NDArray[np.intp]
    strain: Array
    rows: NDArray[np.intp]
    force: Array


@dataclass(frozen=True)
class PlainStructure:
    """One vessel as a list of points.

    Attributes
    ----------
    points
        In the order of the structure's own points, flattened.
    held
        Unknowns that stay zero, shape (N,).
    below, above
        Diagonals of the stiffness on either side of the main one. [-]
    """

    points: list[PlainPoint]
    held: NDArray[np.bool_]
    below: int
    above: int

    @classmethod
    def of(cls, body: Shells) -> PlainStructure:
        """The single vessel of a batch of one, without load."""
        zero = body.start()
        count, points = zero.size, body.material.size
        strain = np.zeros((count, 3, points))
        for k in range(count):
            one = zero.copy()
            one.flat[k] = 1.0
            strain[k] = body.strains(one).reshape(3, points)
        force = np.zeros((3, points, count))
        for c in range(3):
            for k in range(points):
                stress = np.zeros((3, points))
                stress[c, k] = 1.0
                force[c, k] = -body.unbalanced(stress.reshape(3, *body.material.shape)).ravel()
        found, below, above = [], 0, 0
        for k, material in enumerate(body.material.ravel()):
            columns = np.flatnonzero(np.abs(strain[:, :, k]).max(axis=1) > 0.0)
            rows = np.flatnonzero(np.abs(force[:, k]).max(axis=0) > 0.0)
            below = max(below, int(rows.max() - columns.min()))
            above = max(above, int(columns.max() - rows.min()))
            found.append(
                PlainPoint(
                    int(material), columns, strain[columns, :, k].T, rows, force[:, k, rows].T
                )
            )
        return cls(found, body.held.ravel(), below, above)


@dataclass(frozen=True)
class PlainMaterial:
    """A material at one instant: what the law asks for, as plain numbers in SI units."""

    free_strain: float
    young_modulus: float
    poisson_ratio: float
    fluidity: float
    viscous_poisson_ratio: float
    log_creep: float
    creep_exponent: float
    yield_stress: float

    @classmethod
    def at(cls, history: History, row: int, time: float) -> PlainMaterial:
        """At any time: viscosity and creep factor log-linear between nodes, the rest linear."""

        def between(values: Array) -> float:
            return float(np.interp(time, history.time, values))

        viscosity = np.log(np.minimum(history.viscosity[row], 1e25))
        creep = np.log(np.maximum(history.creep_factor[row], 1e-300))
        fluidity = math.exp(-between(viscosity))
        return cls(
            between(history.free_strain[row]),
            between(history.young_modulus[row]),
            float(history.poisson_ratio[row]),
            fluidity if fluidity > 1e-24 else 0.0,
            between(history.viscous_poisson_ratio[row]),
            between(creep),
            float(history.creep_exponent[row]),
            between(np.minimum(history.yield_stress[row], 1e15)),
        )


def plain_point(
    material: PlainMaterial, strain: tuple[float, float, float], step: float
) -> tuple[Array, Array, Array]:
    """Stress, tangent and inelastic strain gained at a point after one step.

    `strain` is meridional, hoop and shear: total less free less inelastic before the step. The
    compliance of a step is

        direct 1/E + Δt/η + λ     cross ν/E + ν_v Δt/η + λ/2     shear 2 (direct + cross)

    with λ = Δt A σ_eq^(n−1), or whatever brings σ_eq down to the yield stress.
    """
    m, (along, around, angle) = material, strain
    viscous = step * m.fluidity
    direct = 1.0 / m.young_modulus + viscous
    cross = m.poisson_ratio / m.young_modulus + m.viscous_poisson_ratio * viscous

    def stress_for(multiplier: float) -> tuple[float, ...]:
        """Stresses, square of σ_eq, its half-gradient, that over the compliance, their product."""
        a, b = direct + multiplier, cross + 0.5 * multiplier
        over = 1.0 / (a * a - b * b)
        s, t = (a * along + b * around) * over, (a * around + b * along) * over
        q = angle / (2.0 * (a + b))
        ds, dt, dq = s - 0.5 * t, t - 0.5 * s, 3.0 * q
        vs, vt = (a * ds + b * dt) * over, (a * dt + b * ds) * over
        vq = dq / (2.0 * (a + b))
        squared = s * ds + t * dt + q * dq
        return s, t, q, squared, ds, dt, dq, vs, vt, vq, ds * vs + dt * vt + dq * vq

    multiplier, softening = 0.0, 0.0
    now = stress_for(0.0)
    power = m.creep_exponent - 1.0
    if step > 0.0 and now[3] > _UNSTRESSED**2:
        log_creep = m.log_creep + math.log(step)
        x = log_creep + 0.5 * power * math.log(now[3])  # too much: it relaxes as it flows
        if x > math.log(1e-15 * direct):
            for _ in range(_MOST_ITERATIONS):
                now = stress_for(math.exp(x))
                off = x - log_creep - 0.5 * power * math.log(now[3])
                change = off / (1.0 + power * math.exp(x) * now[10] / now[3])
                x -= change
                if abs(change) < 1e-10:
                    break
            multiplier = math.exp(x)
            now = stress_for(multiplier)
            softening = power * multiplier / (now[3] + power * multiplier * now[10])
    if now[3] > m.yield_stress**2:
        for _ in range(_MOST_ITERATIONS):
            size = math.sqrt(now[3])
            change = (1.0 / m.yield_stress - 1.0 / size) * size**3 / now[10]
            multiplier += change
            now = stress_for(multiplier)
            if change <= 1e-12 * multiplier:
                break
        softening = _PERFECTLY_PLASTIC / now[10]
    s, t, q, _, ds, dt, dq, vs, vt, vq, _ = now
    a, b = direct + multiplier, cross + 0.5 * multiplier
    over = 1.0 / (a * a - b * b)
    tangent = np.array([[a * over, b * over, 0.0], [b * over, a * over, 0.0], [0.0, 0.0, 0.0]])
    tangent[2, 2] = 0.5 / (a + b)
    gradient = np.array([vs, vt, vq])
    tangent -= softening * np.outer(gradient, gradient)
    nu = m.viscous_poisson_ratio
    gained = np.array(
        [
            viscous * (s - nu * t) + multiplier * ds,
            viscous * (t - nu * s) + multiplier * dt,
            viscous * 2.0 * (1.0 + nu) * q + multiplier * dq,
        ]
    )
    return np.array([s, t, q]), tangent, gained


def plain_times(history: History, longest: float) -> Array:
    """Equal steps of at most `longest` seconds between breakpoints of the history. [s]"""
    ends = np.unique(
        np.concatenate([[0], history.breakpoints, [history.time.size - 1]]).astype(int)
    )
    parts = [
        np.linspace(start, end, math.ceil((end - start) / longest - 1e-9) + 1)[1:]
        for start, end in pairwise(history.time[ends])
    ]
    return np.concatenate([history.time[:1], *parts])


def plain_march(
    structure: PlainStructure, history: History, times: Array, tolerance: float = 1e-5
) -> Array:
    """Stress at all points at the given times, shape (times, 3, points). [Pa]

    Equilibrium is found to `tolerance` of the largest stress, and to 1 Pa.
    """
    inelastic = np.zeros((3, len(structure.points)))
    unknowns = np.zeros(structure.held.size)
    before = unknowns
    found = []
    for number, time in enumerate(times):
        step = float(time - times[number - 1]) if number else 0.0
        run = float(times[number - 1] - times[number - 2]) if number > 1 else 1.0
        guess = unknowns + (unknowns - before) * step / run
        before = unknowns
        unknowns, stress, gained = _balanced(
            structure, history, float(time), step, inelastic, guess, tolerance
        )
        inelastic = inelastic + gained
        found.append(stress)
    return np.stack(found)


def _balanced(
    structure: PlainStructure,
    history: History,
    time: float,
    step: float,
    inelastic: Array,
    unknowns: Array,
    tolerance: float,
) -> tuple[Array, Array, Array]:
    """Unknowns, stress and inelastic strain gained, in equilibrium at one time."""
    materials = [PlainMaterial.at(history, row, time) for row in range(len(history.names))]

    def evaluated(x: Array) -> tuple[Array, Array, Array, Array]:
        """Force left over, stiffness in bands, stress, and inelastic strain gained."""
        force = np.zeros(x.size)
        band = np.zeros((structure.below + structure.above + 1, x.size))
        stress, gained = np.zeros_like(inelastic), np.zeros_like(inelastic)
        for k, point in enumerate(structure.points):
            material = materials[point.material]
            strain = point.strain @ x[point.columns] - inelastic[:, k]
            along, around, angle = strain.tolist()
            free = material.free_strain
            stress[:, k], tangent, gained[:, k] = plain_point(
                material, (along - free, around - free, angle), step
            )
            force[point.rows] -= point.force @ stress[:, k]
            place = structure.above + point.rows[:, None] - point.columns
            band[place, point.columns] += point.force @ tangent @ point.strain
        force[structure.held] = 0.0
        band[structure.above, structure.held] = 1.0
        return force, band, stress, gained

    force, band, stress, gained = evaluated(unknowns)
    for _ in range(_MOST_ITERATIONS):
        change = solve_banded((structure.below, structure.above), band, force)
        change[structure.held] = 0.0
        work, share = float(change @ force), 1.0
        while True:  # no further than to where the forces pull back
            new = evaluated(unknowns + share * change)
            if float(change @ new[0]) >= -0.5 * work or share < 0.01:
                break
            share *= 0.5
        moved = float(np.abs(new[2] - stress).max())
        unknowns = unknowns + share * change
        force, band, stress, gained = new
        if share == 1.0 and moved <= tolerance * float(np.abs(stress).max()) + 1.0:
            return unknowns, stress, gained
    raise RuntimeError(f"no equilibrium at {time:g} s")
