"""Histories and bodies simple enough to have closed answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.firing.kiln import Trace
from cofire.mechanics.law import StressState
from cofire.numerics import Array
from cofire.physics.history import History
from cofire.units import HOUR, ROOM, kelvin


def made_history(
    time: npt.ArrayLike,
    free_strain: npt.ArrayLike,
    *,
    young_modulus: npt.ArrayLike = 1e11,
    poisson_ratio: npt.ArrayLike = 0.3,
    viscosity: npt.ArrayLike = np.inf,
    viscous_poisson_ratio: npt.ArrayLike = 0.25,
    creep_factor: npt.ArrayLike = 0.0,
    creep_exponent: npt.ArrayLike = 1.0,
    yield_stress: npt.ArrayLike = np.inf,
    breakpoints: tuple[int, ...] = (),
) -> History:
    """History of N materials: a number for all, one for each, or a trace for each (N, M)."""
    t = np.asarray(time, float)
    strain = np.atleast_2d(np.asarray(free_strain, float))
    count = strain.shape[0]

    def traces(value: npt.ArrayLike) -> Array:
        given = np.asarray(value, float)
        given = given[:, None] if given.ndim == 1 else given
        return np.broadcast_to(given, (count, t.size)).copy()

    def numbers(value: npt.ArrayLike) -> Array:
        return np.broadcast_to(np.asarray(value, float), (count,)).copy()

    return History(
        names=tuple(f"material {i}" for i in range(count)),
        time=t,
        temperature=np.full(t.size, 1000.0),
        breakpoints=np.array(breakpoints, dtype=np.intp),
        strain={"made": strain},
        relative_density=np.ones((count, t.size)),
        mass_fraction=np.ones((count, t.size)),
        water_lost=np.zeros((count, t.size)),
        young_modulus=traces(young_modulus),
        poisson_ratio=numbers(poisson_ratio),
        viscosity=traces(viscosity),
        viscous_poisson_ratio=traces(viscous_poisson_ratio),
        creep_factor=traces(creep_factor),
        creep_exponent=numbers(creep_exponent),
        yield_stress=traces(yield_stress),
        strength=np.full((count, t.size), 1e8),
    )


def jumps(time: npt.ArrayLike, strain: npt.ArrayLike, **properties: npt.ArrayLike) -> History:
    """History of materials whose free strain grows along straight lines from zero."""
    t = np.asarray(time, float)
    return made_history(t, np.outer(np.atleast_1d(strain), t / t[-1]), **properties)  # type: ignore[arg-type]


@dataclass(frozen=True)
class HeldPoints:
    """Points that cannot strain at all: their free strain turns into stress."""

    state: StressState
    material: NDArray[np.intp] = field(default_factory=lambda: np.zeros(1, dtype=np.intp))
    batch_axes: int = 0

    def start(self) -> Array:
        """One unknown that does nothing."""
        return np.zeros(1)

    def strains(self, unknowns: Array) -> Array:
        """No strain."""
        return np.zeros((len(self.state.components), *self.material.shape))

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """No change."""
        return lambda force: force

    def unbalanced(self, stress: Array) -> Array:
        """No force."""
        return np.zeros(1)


@dataclass(frozen=True)
class LoadedPoint:
    """A point under given stresses, free to strain in every component."""

    state: StressState
    load: Array
    material: NDArray[np.intp] = field(default_factory=lambda: np.zeros(1, dtype=np.intp))
    batch_axes: int = 0

    def start(self) -> Array:
        """No strain."""
        return np.zeros((len(self.state.components), 1))

    def strains(self, unknowns: Array) -> Array:
        """The unknowns themselves."""
        return unknowns

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Towards the load."""
        return lambda force: np.linalg.solve(tangent[:, :, 0], force)

    def unbalanced(self, stress: Array) -> Array:
        """What of the load the stress leaves."""
        return self.load[:, None] - stress


def held(turns: Sequence[tuple[str, float]], hours: float = 1.0) -> Trace:
    """Ware that is held at a temperature [°C] in each gas, cold when it changes, ramps of 1 s."""
    leg = np.array([0.0, 1.0, 1.0 + hours * HOUR])
    ends = [n * (leg[-1] + 1.0) for n in range(len(turns) + 1)]
    time = np.concatenate([*(end + leg for end in ends[:-1]), [ends[-1]]])
    levels = [(ROOM, kelvin(to), kelvin(to)) for _, to in turns]
    ware = np.concatenate([*levels, [ROOM]])
    changes = tuple((3 * n, gas) for n, (gas, _) in enumerate(turns))
    one = changes[1:] and changes
    return Trace(time, ware, ware, np.arange(ware.size), turns[0][0], one)
