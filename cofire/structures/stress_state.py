"""Which stresses a structure carries, and the principal modes in which the law is diagonal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from cofire.physics.history import Array

SMALLEST_STRESS = 1.0e-6
"""Equivalent stress below which a point counts as unstressed. [Pa]"""


@dataclass(frozen=True)
class StressState:
    """The stress components a structure carries, and their principal modes.

    Attributes
    ----------
    components
        Names of the C components.
    strain_to_mode, mode_to_stress
        Linear maps into and out of the modes, shapes (C, C). [-]
    poisson_factor
        p_k of each mode, shape (C,). [-]
    free_direction
        Share of the free strain in each component, shape (C,). [-]
    """

    components: tuple[str, ...]
    strain_to_mode: Array
    mode_to_stress: Array
    poisson_factor: Array
    free_direction: Array
    mode_to_strain: Array = field(init=False)
    stress_to_mode: Array = field(init=False)
    stiffness_map: Array = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.components)
        outer = self.mode_to_stress[:, None, :] * self.strain_to_mode.T[None, :, :]
        object.__setattr__(self, "stiffness_map", outer.reshape(count * count, count))
        object.__setattr__(self, "mode_to_strain", np.linalg.inv(self.strain_to_mode))
        object.__setattr__(self, "stress_to_mode", np.linalg.inv(self.mode_to_stress))


_HALF, _THIRD, _SIXTH = np.sqrt([1 / 2, 1 / 3, 1 / 6])
_PLANE = np.array([[_HALF, _HALF], [_HALF, -_HALF]])
_PLANE_AND_SHEAR = np.array([[_HALF, _HALF, 0], [_HALF, -_HALF, 0], [0, 0, _HALF]])
_TRIAXIAL = np.array([[_THIRD, _THIRD, _THIRD], [_HALF, -_HALF, 0], [_SIXTH, _SIXTH, -2 * _SIXTH]])

STRIP = StressState(("axial",), np.eye(1), np.eye(1), np.array([0.0]), np.ones(1))
"""A narrow strip: one stress along it."""

PLATE = StressState(
    ("in-plane",), np.eye(1) / _HALF, np.eye(1) * _HALF, np.array([-1.0]), np.ones(1)
)
"""A wide plate: the same stress in every direction of its plane."""

WALL = StressState(("meridional", "hoop"), _PLANE, _PLANE.T, np.array([-1.0, 1.0]), np.ones(2))
"""A thin wall: two normal stresses in its plane, none across it."""

WALL_WITH_SHEAR = StressState(
    ("meridional", "hoop", "shear"),
    _PLANE_AND_SHEAR,
    _PLANE_AND_SHEAR.T,
    np.array([-1.0, 1.0, 1.0]),
    np.array([1.0, 1.0, 0.0]),
)
"""A thin wall with transverse shear stress; its strain is the engineering angle."""

SOLID = StressState(
    ("radial", "hoop", "axial"), _TRIAXIAL, _TRIAXIAL.T, np.array([-2.0, 1.0, 1.0]), np.ones(3)
)
"""A solid of revolution without shear: three normal stresses."""


def energy_density(stress: Array, strain: Array, state: StressState) -> Array:
    """Work of a stress on a strain, all directions counted, shape (points). [J/m³]

    Parameters
    ----------
    stress
        Shape (C, *points). [Pa]
    strain
        Shape (C, *points). [-]
    state
        Stress components the structure carries.
    """
    return total_of(mapped(state.stress_to_mode, stress) * mapped(state.strain_to_mode, strain))


def equivalent_stress(stress: Array, state: StressState) -> Array:
    """Von Mises equivalent stress, shape (points). [Pa]

    Parameters
    ----------
    stress
        Shape (C, *points). [Pa]
    state
        Stress components the structure carries.
    """
    weight = 1.0 + 0.5 * state.poisson_factor.reshape((-1,) + (1,) * (stress.ndim - 1))
    modes = mapped(state.stress_to_mode, stress)
    equivalent: Array = np.sqrt(total_of(weight * modes * modes))
    return equivalent


def mapped(matrix: Array, vectors: Array) -> Array:
    """Product of a small matrix with vectors whose components lie along the first axis.

    Parameters
    ----------
    matrix
        Shape (C, C). [-]
    vectors
        Shape (C, *points). [-]
    """
    if matrix.shape == (1, 1):
        return np.asarray(vectors * matrix[0, 0], np.float64)
    flat = matrix @ vectors.reshape(vectors.shape[0], -1)
    return np.asarray(flat.reshape(vectors.shape), np.float64)


def total_of(modes: Array) -> Array:
    """Sum over the first axis, quick for the few modes there are.

    Parameters
    ----------
    modes
        Shape (C, *points). [-]
    """
    total: Array = modes[0].copy() if len(modes) == 1 else modes[0] + modes[1]
    for mode in modes[2:]:
        total += mode
    return total
