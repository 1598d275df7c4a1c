"""What one material does alone along a firing: free strain, density, stiffness, flow, strength."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class History:
    """Histories of N materials along one trace of M times.

    Strains are natural (logarithmic) strains relative to the dried body at 20 °C, so that
    contributions add exactly. Arrays have the material first and the time last.

    Attributes
    ----------
    names
        Names of the N materials.
    time
        Times of the trace, strictly increasing, shape (M,). [s]
    temperature
        Temperature of the ware, shape (M,). [K]
    corners
        Indices into `time` on which an integrator must land (segment ends, transformations).
    strain
        Free strain by named contribution, each of shape (N, M). [-]
    relative_density, mass_fraction
        Bulk over theoretical density, and mass over dried mass, shape (N, M). [-]
    young_modulus
        Of the porous body at temperature, shape (N, M). [Pa]
    poisson_ratio
        Elastic, shape (N,). [-]
    viscosity
        Uniaxial viscosity (stress over strain rate), infinite where nothing flows, (N, M). [Pa s]
    viscous_poisson_ratio
        Lateral over axial strain rate in viscous flow, shape (N, M). [-]
    creep_factor
        A in strain rate = A stress^n, zero where nothing creeps, shape (N, M). [1/(s Pa^n)]
    creep_exponent
        n of the same law, shape (N,). [-]
    yield_stress
        Of the porous metal, infinite for a body that does not yield, shape (N, M). [Pa]
    strength
        Tensile (flexural) strength of the porous body, shape (N, M). [Pa]
    """

    names: tuple[str, ...]
    time: Array
    temperature: Array
    corners: NDArray[np.intp]
    strain: dict[str, Array]
    relative_density: Array
    mass_fraction: Array
    young_modulus: Array
    poisson_ratio: Array
    viscosity: Array
    viscous_poisson_ratio: Array
    creep_factor: Array
    creep_exponent: Array
    yield_stress: Array
    strength: Array

    @property
    def free_strain(self) -> Array:
        """Sum of all contributions, shape (N, M). [-]"""
        return np.sum(list(self.strain.values()), axis=0, dtype=np.float64)
