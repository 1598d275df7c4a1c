"""Which strains balance a structure at one instant, its points flowing as the law says.

A structure is anything with the members of `Structure`. It knows its points, how its unknowns
(strains, displacements) strain them, and which change of the unknowns restores equilibrium. Balance
is found by Newton's method, no further along a change than to where the forces pull back, and with
the stiffness of an instant close by as long as it will do (`Equilibrium.solve`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from cofire.mechanics.law import Response, StressState, prepare, respond, respond_linear
from cofire.mechanics.properties import MaterialTable

if TYPE_CHECKING:
    from cofire.numerics import Array

_FAR = 1.0e4  # times that, from where the first guess is given up
_OVERSHOT = 0.5  # work past the balance, over the work to reach it, that is taken back
_SMALLEST_SHARE = 0.02
_MOST_EVALUATIONS = 60
_ITERATIONS_MORE = (1, 3)  # for which a stiffness is kept: of the moment, and reused
_LEFT = 0.25  # of the imbalance allowed, that all further changes at the rate seen may come to
_UNSEEN = 0.1  # of it, that the first change by the stiffness of another instant may come to
_SECANT = 0.8  # of its work that a change may leave, for a secant through both


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


@dataclass(frozen=True)
class Origin:
    """A state from which a structure counts strain, once its operators have moved with it.

    Attributes
    ----------
    unknowns
        Of the structure.
    strain
        Total natural strain there, shape (C, *points). [-]
    """

    unknowns: Array
    strain: Array


@runtime_checkable
class Following(Protocol):
    """A structure whose operators can follow its own shrinkage, so that strains are natural."""

    @property
    def origin(self) -> Origin | None:
        """Where strain is counted from; None from the start, with unknowns zero."""
        ...

    def followed(self, now: Origin, ahead: Array, limit: float) -> Structure:
        """The same body on the geometry of a moment to come, or itself if that is near enough.

        Parameters
        ----------
        now
            State at the start of the step.
        ahead
            Unknowns expected in the middle of the step. [m], [-]
        limit
            Change of size, as strain, from which operators follow. [-]
        """
        ...


@runtime_checkable
class Sized(Protocol):
    """A structure whose operators are a plain function of the free strain of the moment."""

    def sized(self, free_strain: Array) -> Structure:
        """The same body as large as its free strain makes it.

        Parameters
        ----------
        free_strain
            At the points, shape (points). [-]
        """
        ...


class NoEquilibriumError(Exception):
    """Newton's method does not settle; a shorter step may."""


@dataclass(frozen=True)
class Factored:
    """A stiffness solved for, and what it was made of.

    Attributes
    ----------
    structure
        The body, with its operators.
    first_tangent
        First entry of the tangent at the points, shape (*points). [Pa]
    solve
        See `Structure.solver`.
    """

    structure: Structure
    first_tangent: Array
    solve: Callable[[Array], Array]

    def serves(self, structure: Structure, response: Response, change: float) -> bool:
        """Whether the first entry of the tangent has changed by no more than a share at any point.

        Parameters
        ----------
        structure
            The body of the moment.
        response
            Of the moment.
        change
            The share. [-]
        """
        if structure is not self.structure:
            return False
        now, then = response.first_tangent, self.first_tangent
        return bool((np.abs(now - then) <= change * then).all())


@dataclass(frozen=True)
class Equilibrated:
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
    factored
        The last stiffness solved for, or None if none is to be reused.
    """

    unknowns: Array
    strain: Array
    response: Response
    iterations: int
    factored: Factored | None


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
    follow, reuse
        See `integrator.Control`. [-]
    """

    structure: Structure
    table: MaterialTable
    relative_tolerance: float
    stress_tolerance: float
    imbalance: float
    added_strain: Callable[[float], Array] | None = None
    follow: float = np.inf
    reuse: float = 0.0

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

    def followed(self, now: Origin, ahead: Array) -> Equilibrium:
        """The same with its structure on the geometry of a moment to come.

        Parameters
        ----------
        now
            State at the start of a step.
        ahead
            Unknowns expected in the middle of it. [m], [-]
        """
        if self.follow == np.inf or not isinstance(self.structure, Following):
            return self
        moved = self.structure.followed(now, ahead, self.follow)
        return self if moved is self.structure else replace(self, structure=moved)

    def solve(
        self,
        time: float,
        flow_time: float,
        inelastic: Array,
        guess: Array,
        near: Response | None = None,
        factored: Factored | None = None,
        guess_strain: Array | None = None,
    ) -> Equilibrated:
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
        factored
            A stiffness of an instant close by, to be used again where it will do.
        guess_strain
            Total strain that goes with the guess, where it is known, shape (C, *points). [-]

        Raises
        ------
        NoEquilibriumError
            If Newton's method does not settle.
        """
        structure, properties = self.structure, self.table.at(time)
        stage = prepare(properties, structure.state, flow_time, structure.material)
        direction = structure.state.free_direction.reshape((-1,) + (1,) * structure.material.ndim)
        free = properties.free_strain.take(structure.material)
        if self.follow < np.inf and isinstance(structure, Sized):
            structure = structure.sized(free)
        known = inelastic + direction * free
        if self.added_strain is not None:
            known = known + self.added_strain(time)
        unknowns = guess
        strain = _total_strain(structure, guess) if guess_strain is None else guess_strain
        first, reused = True, self.reuse > 0.0
        # points no further off than the least that is asked of their balance
        close = self.imbalance * self.relative_tolerance * (_UNSEEN if reused else 1.0)
        response, evaluations = respond(stage, strain - known, near, close), 1
        more = _ITERATIONS_MORE[reused]

        def found(last: Response) -> Equilibrated:
            return Equilibrated(unknowns, strain, last, evaluations, factored if reused else None)

        if factored and not factored.serves(structure, response, self.reuse):
            factored = None
        while evaluations < _MOST_EVALUATIONS:
            part = 1.0 if factored is None else _UNSEEN
            if factored is None:
                solver = structure.solver(response.tangent)
                factored = Factored(structure, response.first_tangent, solver)
            force = structure.unbalanced(response.stress)
            change = factored.solve(force)
            strain_change = structure.strains(change)
            limit = self.imbalance * self.allowed(response.stress)
            size = self.largest(response.stress_change(strain_change))
            if first and not response.linear and not (size <= _FAR * limit).all():
                first, factored = False, None
                # start from where nothing crept or yielded, whatever the guess
                plain = respond_linear(stage, strain - known)
                change = structure.solver(plain.tangent)(structure.unbalanced(plain.stress))
                unknowns, strain = unknowns + change, strain + structure.strains(change)
                response = respond(stage, strain - known, near, close)
                continue
            if not np.isfinite(size).all():
                break
            if (size <= part * limit).all():
                return found(response)
            work, share = float((change * force).sum()), 1.0
            if work <= 0.0:  # nothing but round-off is left to balance
                break
            while True:  # no further than to where the forces pull back
                new = respond(stage, strain + share * strain_change - known, response, close)
                evaluations += 1
                force = structure.unbalanced(new.stress)
                left = float((change * force).sum())
                if not left < -_OVERSHOT * work or share < _SMALLEST_SHARE:  # or not a number
                    break
                share *= max(work / (work - left), 0.1)
            unknowns, strain = unknowns + share * change, strain + share * strain_change
            while True:  # the same stiffness again, as long as it will do
                change = factored.solve(force)
                if reused and left <= _SECANT * work:
                    change *= work / (work - left)
                    work = float((change * force).sum())
                strain_change = structure.strains(change)
                before, size = size, self.largest(response.stress_change(strain_change))
                rate = size / before
                limit = self.imbalance * self.allowed(new.stress)  # not that of a wild guess
                enough = limit * (_LEFT * (1.0 - rate) if reused else 1.0)
                if (size <= enough).all():
                    return found(new)
                if not (size * rate**more <= enough).all():
                    break
                unknowns, strain = unknowns + change, strain + strain_change
                new = respond(stage, strain - known, new, close)
                evaluations += 1
                if (size * rate <= _LEFT * (1.0 - rate) * limit).all():
                    return found(new)
                force = structure.unbalanced(new.stress)
                left = float((change * force).sum())
            response, factored = new, None
        raise NoEquilibriumError


def _total_strain(structure: Structure, unknowns: Array) -> Array:
    """Total strain at the points, shape (C, *points). [-]"""
    origin: Origin | None = getattr(structure, "origin", None)  # a `Following` has one
    if origin is None:
        return structure.strains(unknowns)
    return origin.strain + structure.strains(unknowns - origin.unknowns)
