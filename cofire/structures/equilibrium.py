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
    respond_linear,
)
from cofire.structures.point_properties import MaterialTable

if TYPE_CHECKING:
    from cofire.physics.history import Array

_FAR = 1.0e4  # times that, from where the first guess is given up
_OVERSHOT = 0.5  # work past the balance, over the work to reach it, that is taken back
_SMALLEST_SHARE = 0.02
_MOST_EVALUATIONS = 60


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

    def unbalanced(self, stress: Array) -> Array:
        """Force on each unknown that the stress leaves unbalanced, in the unknowns' shape.

        Parameters
        ----------
        stress
            At the points, shape (C, *points). [Pa]
        """
        ...

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of the unknowns that would balance it.

        Parameters
        ----------
        tangent
            At the points, shape (C, C, *points). [Pa]
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
    imbalance
        What equilibrium may be out by, over the error allowed in a step. [-]
    added_strain
        Free strain beyond that of the materials, as a function of time, or None. [-]
    """

    structure: Structure
    table: MaterialTable
    relative_tolerance: float
    stress_tolerance: float
    imbalance: float
    added_strain: Callable[[float], Array] | None = None

    def largest(self, stress: Array) -> Array:
        """Largest magnitude in each candidate, shape (batch). [Pa]

        Parameters
        ----------
        stress
            Shape (C, *points). [Pa]
        """
        shape = stress.shape[1 : 1 + self.structure.batch_axes]
        return np.asarray(np.abs(stress).max(axis=0).reshape(*shape, -1).max(axis=-1))

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
        properties = self.table.at(time)
        stage = prepare(properties, structure.state, flow_time, structure.material)
        direction = structure.state.free_direction.reshape((-1,) + (1,) * structure.material.ndim)
        known = inelastic + direction * properties.free_strain.take(structure.material)
        if self.added_strain is not None:
            known = known + self.added_strain(time)
        unknowns, strain = guess, structure.strains(guess)
        close = self.imbalance * self.relative_tolerance
        response = respond(stage, strain - known, near, close)
        evaluations, first = 1, True
        while evaluations < _MOST_EVALUATIONS:
            solve = structure.solver(response.tangent)
            force = structure.unbalanced(response.stress)
            change = solve(force)
            strain_change = structure.strains(change)
            limit = self.imbalance * self.allowed(response.stress)
            size = self.largest(contract(response.tangent, strain_change)) / limit
            if first and not response.linear and not size.max() <= _FAR:
                first = False  # start from where nothing crept or yielded, whatever the guess
                plain = respond_linear(stage, strain - known)
                change = structure.solver(plain.tangent)(structure.unbalanced(plain.stress))
                unknowns, strain = unknowns + change, strain + structure.strains(change)
                response = respond(stage, strain - known, near, close)
                continue
            if not np.isfinite(size).all():
                break
            if size.max() <= 1.0:
                return Balance(unknowns, strain, response, evaluations)
            work, share = float((change * force).sum()), 1.0
            if work <= 0.0:  # nothing but round-off is left to balance
                break
            while True:  # no further than to where the forces pull back
                new = respond(stage, strain + share * strain_change - known, response, close)
                evaluations += 1
                force = structure.unbalanced(new.stress)
                left = float((change * force).sum())
                if left >= -_OVERSHOT * work or share < _SMALLEST_SHARE:
                    break
                share *= max(work / (work - left), 0.1)
            unknowns, strain = unknowns + share * change, strain + share * strain_change
            while True:  # the same tangent again, as long as it will do
                change = solve(force)
                strain_change = structure.strains(change)
                stress_change = contract(response.tangent, strain_change)
                before, size = size, self.largest(stress_change) / limit
                if size.max() <= 1.0:
                    return Balance(unknowns, strain, new, evaluations)
                if not (size * size <= before).all():
                    break
                unknowns, strain = unknowns + change, strain + strain_change
                new = respond(stage, strain - known, new, close)
                evaluations += 1
                force = structure.unbalanced(new.stress)
            response = new
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
