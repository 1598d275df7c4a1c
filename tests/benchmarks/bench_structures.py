"""Cost of the vectorised law and march against a plain solver, point by point.

Run by hand: python -m tests.benchmarks.bench_structures
The plain solver is scipy's `solve_ivp` (Radau) on the textbook equations of one point at a time,
at the tolerance that gives the same error. Both answers are compared before times are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from cofire.mechanics.integrator import Control, march
from cofire.mechanics.law import WALL
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.physics.history import History
from tests.benchmarks.timing import timed
from tests.histories import HeldPoints, made_history

HOUR = 3600.0


def firing(count: int = 2, creep: float = 1.0) -> History:
    """Metals and glassy bodies, alternately, through an eight-hour firing."""
    time = np.linspace(0.0, 8 * HOUR, 481)
    heat = np.interp(time, [0.0, 3 * HOUR, 4 * HOUR, 8 * HOUR], [0.0, 1.0, 1.0, 0.0])
    hot = 300.0 + 850.0 * heat
    done = np.clip((time - 2.5 * HOUR) / HOUR, 0.0, 1.0)
    shrunk = 3.0 * done**2 - 2.0 * done**3
    metal = np.arange(count)[:, None] % 2 == 0
    scale = 1.0 + 0.02 * np.arange(count)[:, None]
    return made_history(
        time,
        scale * np.where(metal, 0.0144 * heat - 0.021 * shrunk, 0.0055 * heat - 0.020 * shrunk),
        young_modulus=np.where(metal, 120e9 - 60e9 * heat, 60e9),
        poisson_ratio=np.where(metal[:, 0], 0.34, 0.20),
        viscosity=np.where(metal, np.inf, 10.0 ** (9.0 + 14.0 * (1.0 - heat))),
        creep_factor=np.where(
            metal, creep * 1e-30 * np.exp(25000.0 * (1.0 / 1150.0 - 1.0 / hot)), 0.0
        ),
        creep_exponent=np.where(metal[:, 0], 4.0, 1.0),
        yield_stress=np.where(metal, 60e6 - 50e6 * heat, np.inf),
        breakpoints=(180, 240),
    )


def plain_point(history: History, which: int) -> NDArray[np.float64]:
    """Stress at the end at a point held in both directions, without yield, the plain way."""
    t = history.time
    free, E, eta, A = (
        value[which]
        for value in (
            history.free_strain,
            history.young_modulus,
            history.viscosity,
            history.creep_factor,
        )
    )
    nu, soft, n = (
        history.poisson_ratio[which],
        history.viscous_poisson_ratio[which, 0],
        history.creep_exponent[which],
    )
    log_eta = np.log(np.minimum(eta, 1e25))
    log_A = np.log(np.maximum(A, 1e-300))

    def stress(now: float, inelastic: NDArray[np.float64]) -> NDArray[np.float64]:
        e1, e2 = -np.interp(now, t, free) - inelastic
        factor = np.interp(now, t, E) / (1 - nu**2)
        return np.array([factor * (e1 + nu * e2), factor * (e2 + nu * e1)])

    def rate(now: float, inelastic: NDArray[np.float64]) -> NDArray[np.float64]:
        s1, s2 = stress(now, inelastic)
        viscosity = np.exp(np.interp(now, t, log_eta))
        flow = np.exp(np.interp(now, t, log_A)) * (s1 * s1 - s1 * s2 + s2 * s2) ** ((n - 1) / 2)
        return np.array(
            [
                (s1 - soft * s2) / viscosity + flow * (s1 - s2 / 2),
                (s2 - soft * s1) / viscosity + flow * (s2 - s1 / 2),
            ]
        )

    answer = solve_ivp(
        rate, (t[0], t[-1]), np.zeros(2), method="Radau", rtol=1e-4, atol=1e-8, max_step=600.0
    )
    return stress(t[-1], answer.y[:, -1])


def main() -> None:
    """Print each comparison."""
    few, points = 6, 360
    history = replace(firing(few), yield_stress=np.full((few, 481), np.inf))
    plain_time, plain = timed(lambda: [plain_point(history, k) for k in range(few)], 1)
    body = HeldPoints(WALL, np.arange(points) % few)
    control = Control(1e-3, 1e3)
    fast_time, record = timed(lambda: march(body, history, control=control, keep=False))
    error = max(
        np.abs(record.stress[-1, :, k] - plain[k]).max() / np.abs(plain[k]).max()
        for k in range(few)
    )
    plain_time *= points / few
    print(f"{points} held points, {record.steps} steps")
    print(f"  plain solver, point by point  {plain_time:8.2f} s (from {few} points)")
    print(f"  vectorised march              {fast_time:8.2f} s")
    print(f"  ratio {plain_time / fast_time:.0f}, answers within {error:.1e} of each other")

    history = firing()
    layers = np.full(60, 1e-4)
    tile = layered_tile(layers, np.arange(60) // 30, points=6)
    whole_time, fired = timed(lambda: fire_tile(tile, history))
    print(f"one tile of 60 layers × 6 points, {fired.record.steps} steps: {whole_time:.2f} s")
    batch = layered_tile(np.tile(layers, (64, 1)), np.arange(60) // 30, points=6)
    batch_time, fired = timed(lambda: march(batch, history, keep=False), 1)
    rate = 64 * 360 * fired.steps / batch_time
    print(f"64 such tiles in a batch: {batch_time:.2f} s, {rate / 1e6:.2f} million point steps a s")
    print(f"  one by one they would take {64 * whole_time / batch_time:.1f} times as long")
    rings = nested_rings([10e-3, 14e-3, 20e-3])
    ring_time, sleeve = timed(lambda: fire_sleeve(rings, history))
    print(f"one sleeve of two rings, {sleeve.record.steps} steps: {ring_time:.2f} s")


if __name__ == "__main__":
    main()
