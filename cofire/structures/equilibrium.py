"""Which strains balance a structure at one instant, its points flowing as the law says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from cofire.structures.constitutive import (
    Response,
    StressState,
    prepare,
    respond,
)
from cofire.structures.point_properties import MaterialTable

if TYPE_CHECKING:
    from cofire.physics.history import Array

_SHARE = 1.0e-3  # what equilibrium may be out by, over the error allowed in a step
_NEARLY = 100.0  # times that share within which Newton's own rate is trusted for the last step
_MOST_ITERATIONS = 16


class Structure(Protocol):
    """What the march must know of a body: points, and how its unknowns strain and balance them."""

    @property
    def state(self) -> StressState:
        """Stress components, C of them."""
        ...

    @property
    def material(self) -> NDArray[np.intp]:
        """Index into the history's materials at each point, shape (points). [-]"""
        ...

    @property
    def batch_axes(self) -> int:
        """How many leading axes of the points are a batch of candidates. [-]"""
        ...

    def start(self) -> Array:
        """Unknowns before the firing, all zero, any shape."""
        ...

    def strains(self, unknowns: Array) -> Array:
        """Total strain at the points, linear in the unknowns, shape (C, *points). [-]

        Parameters
        ----------
        unknowns
            Of the structure, any shape. [m], [-]
        """
        ...

    def corrections(self, stress: Array, tangent: Array) -> Array:
        """Change of the unknowns that restores equilibrium, by one step of Newton's method.

        Parameters
        ----------
        stress, tangent
            At the points, shapes (C, *points) and (C, C, *points). [Pa]
        """
        ...


class NoEquilibriumError(Exception):
    """Newton's method does not settle; a shorter step may."""


@dataclass(frozen=True)
class Balance:
    """A structure in equilibrium at a stage.

    Attributes
    ----------
    unknowns
        Of the structure.
    strain
        Total strain, shape (C, *points). [-]
    response
        Answer of the law there.
    iterations
        Evaluations of the law. [-]
    """

    unknowns: Array
    strain: Array
    response: Response
    iterations: int


@dataclass(frozen=True)
class Equilibrium:
    """A structure, its materials, and how closely stress is to be followed.

    Attributes
    ----------
    structure
        The body.
    table
        Its materials.
    relative_tolerance
        Error allowed in a step over the largest stress of a candidate. [-]
    stress_tolerance
        Error always allowed in a step. [Pa]
    added_strain
        Free strain beyond that of the materials, as a function of time, or None. [-]
    """

    structure: Structure
    table: MaterialTable
    relative_tolerance: float
    stress_tolerance: float
    added_strain: Callable[[float], Array] | None = None

    def largest(self, stress: Array) -> Array:
        """Largest magnitude in each candidate, shape (batch). [Pa]

        Parameters
        ----------
        stress
            Shape (C, *points). [Pa]
        """
        own = (0, *range(1 + self.structure.batch_axes, stress.ndim))
        return np.asarray(np.abs(stress).max(axis=own))

    def allowed(self, stress: Array) -> Array:
        """Error of stress allowed in a step, shape (batch). [Pa]

        Parameters
        ----------
        stress
            Shape (C, *points). [Pa]
        """
        return self.stress_tolerance + self.relative_tolerance * self.largest(stress)

    def balance(
        self,
        time: float,
        flow_time: float,
        inelastic: Array,
        guess: Array,
        near: Response | None = None,
    ) -> Balance:
        """The structure in equilibrium at one instant.

        Parameters
        ----------
        time
            Within the history. [s]
        flow_time
            For which the rates at this instant act; zero for an instantaneous answer. [s]
        inelastic
            Inelastic strain known before, shape (C, *points). [-]
        guess
            Unknowns to start from. [m], [-]
        near
            Answer of the law at an instant close by, to start from.

        Raises
        ------
        NoEquilibriumError
            If Newton's method does not settle.
        """
        structure = self.structure
        properties = self.table.at(time, structure.material)
        stage = prepare(properties, structure.state, flow_time)
        direction = structure.state.free_direction.reshape((-1,) + (1,) * structure.material.ndim)
        known = inelastic + direction * properties.free_strain
        if self.added_strain is not None:
            known = known + self.added_strain(time)
        unknowns, strain = guess, structure.strains(guess)
        settled = was_linear = False
        before, share = np.inf, 1.0
        for iteration in range(1, _MOST_ITERATIONS + 1):
            response = near = respond(stage, strain - known, near)
            if settled or (was_linear and response.linear):
                return Balance(unknowns, strain, response, iteration)
            change = structure.corrections(response.stress, response.tangent)
            strain_change = structure.strains(change)
            stress_change = self.largest(contract(response.tangent, strain_change))
            if not np.isfinite(stress_change).all():
                break
            over = float((stress_change / self.allowed(response.stress)).max()) / _SHARE
            if over <= 1.0:
                return Balance(unknowns, strain, response, iteration)
            good = over <= (1.0 - 0.5 * share) * before
            share = min(2.0 * share, 1.0) if good else max(0.5 * share, 0.125)
            unknowns, strain = unknowns + share * change, strain + share * strain_change
            was_linear = response.linear and share == 1.0
            settled = over <= min(_NEARLY, before / over) and iteration > 1 and share == 1.0
            before = over
        raise NoEquilibriumError


def contract(tangent: Array, strain: Array) -> Array:
    """Stress change for a strain change, shape (C, *points). [Pa]

    Parameters
    ----------
    tangent
        Shape (C, C, *points). [Pa]
    strain
        Shape (C, *points). [-]
    """
    return np.asarray(np.add.reduce(tangent * strain, axis=1))
