"""Stress and camber of a flat tile of layers, free to bend or held flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.structures.constitutive import PLATE, STRIP, StressState
from cofire.structures.marching import Control, Mechanisms, Record, march

if TYPE_CHECKING:
    from cofire.physics.history import Array, History

Shape = Literal["strip", "plate"]


@dataclass(frozen=True)
class Tile:
    """N layers bonded over each other, points through each; a structure for `march`.

    Strain is ε0 + κ y with y from the bottom face (Kirchhoff). Good away from the edges, from
    about one thickness inwards.

    Attributes
    ----------
    state
        STRIP (narrow, uniaxial stress) or PLATE (wide, equal stress in both directions).
    material
        Index of the material at each point, shape (*batch, N, P). [-]
    height
        y of each point, same shape. [m]
    share
        Thickness each point stands for, same shape. [m]
    thickness
        Of each layer, shape (*batch, N). [m]
    free_to_bend
        If False the tile stays flat (κ = 0).
    """

    state: StressState
    material: NDArray[np.intp]
    height: Array
    share: Array
    thickness: Array
    free_to_bend: bool

    @property
    def batch_axes(self) -> int:
        """Leading axes of the points that are candidates. [-]"""
        return self.material.ndim - 2

    def start(self) -> Array:
        """Mid-strain and curvature before the firing, zero, shape (2, *batch). [-], [1/m]"""
        return np.zeros((2, *self.material.shape[:-2]))

    def strains(self, unknowns: Array) -> Array:
        """Total strain at the points, shape (1, *batch, N, P). [-]

        Parameters
        ----------
        unknowns
            Strain at the bottom face [-] and curvature [1/m], shape (2, *batch).
        """
        base, curvature = unknowns[..., None, None]
        return np.asarray(base + curvature * self.height)[None]

    def corrections(self, stress: Array, tangent: Array) -> Array:
        """Change of base strain and curvature that balances force and moment.

        Parameters
        ----------
        stress, tangent
            Shapes (1, *batch, N, P) and (1, 1, *batch, N, P). [Pa]
        """
        force, moment = self.resultants(stress)
        stiffness = tangent[0, 0] * self.share
        first = stiffness * self.height
        a = stiffness.sum(axis=(-2, -1))
        if not self.free_to_bend:
            return np.stack([-force / a, np.zeros_like(force)])
        b = first.sum(axis=(-2, -1))
        d = (first * self.height).sum(axis=(-2, -1))
        determinant = a * d - b * b
        return np.stack(
            [(b * moment - d * force) / determinant, (b * force - a * moment) / determinant]
        )

    def resultants(self, stress: Array) -> tuple[Array, Array]:
        """Force and moment about the bottom face per width, each of shape (*batch). [N/m], [N]

        Parameters
        ----------
        stress
            Shape (1, *batch, N, P). [Pa]
        """
        load = stress[0] * self.share
        return load.sum(axis=(-2, -1)), (load * self.height).sum(axis=(-2, -1))
