"""Metal grains in a ceramic: the stress round them, the size at which they part, what is then left.

Mixed powders also hold each other back while they sinter: `hindered_strain`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.mixing import bulk_modulus, shear_modulus
from cofire.physics.porosity import between, hashin_shtrikman_upper, positive, ryshkewitch_duckworth

PARTED_EXPONENT = 4.0
"""n of Ryshkewitch and Duckworth for the pores that parted grains are: round ones, the lower end of
4 to 7 (1953, from memory). [-]"""


def misfit_stiffness(
    volume_fraction: npt.ArrayLike, grain: mixing.Pair, matrix: mixing.Pair
) -> Array:
    """Radial stress on a grain per strain by which it wants to be smaller than its hole. [Pa]

    Lamé's sphere in a shell of matrix whose outside is free, the shell as thick as the fraction
    says: 1/(1/(3 K_g) + (1/(4 G) + c/(3 K))/(1 − c)). For a lone grain it is Selsing's (1961, J.
    Am. Ceram. Soc. 44, 419). Elastic; grains in hydrostatic tension do not yield.

    Parameters
    ----------
    volume_fraction : array_like
        Of the grains, below 1. [-]
    grain, matrix : pair of array_like
        Young's modulus [Pa] and Poisson's ratio. [-]
    """
    c = between("volume fraction of grains", volume_fraction, 0.0, 0.999)
    own = 1.0 / (3.0 * bulk_modulus(*grain))
    shell = 1.0 / (4.0 * shear_modulus(*matrix)) + c / (3.0 * bulk_modulus(*matrix))
    return np.asarray(1.0 / (own + shell / (1.0 - c)))


def misfit_stress(
    time: Array, misfit: Array, stiffness: Array, relaxation_time: Array
) -> tuple[Array, Array]:
    """Radial stress round a grain along a firing, and the strain it comes from. [Pa], [-]

    dε/dt = dm/dt − ε/τ, exact for steady rates between the times: the matrix that flows lets the
    grain be. Stress is stiffness × ε.

    Parameters
    ----------
    time : array
        Shape (M,). [s]
    misfit : array
        Free strain of the matrix less that of the grain, shape (M,). [-]
    stiffness : array
        From `misfit_stiffness`, shape (M,). [Pa]
    relaxation_time : array
        Of the matrix, may be infinite, shape (M,). [s]
    """
    rate = 1.0 / relaxation_time
    turns = 0.5 * np.diff(time) * (rate[1:] + rate[:-1])
    decay = np.exp(-np.minimum(turns, 700.0))
    mean = np.where(turns > 1e-9, (1.0 - decay) / np.where(turns > 1e-9, turns, 1.0), 1.0)
    gained = (np.diff(misfit) * mean).tolist()
    found = [0.0]
    for kept, more in zip(decay.tolist(), gained, strict=True):
        found.append(found[-1] * kept + more)
    strain = np.array(found)
    return np.asarray(stiffness * strain), strain


def critical_grain_size(
    stress: npt.ArrayLike, strain: npt.ArrayLike, toughness: npt.ArrayLike
) -> Array:
    """Diameter above which a misfitting grain can part from its matrix: 4 G_c/(σ ε). [m]

    The elastic energy of grain and matrix, 3/2 σ ε of the grain's volume, pays for its surface
    (Davidge & Green 1968, J. Mater. Sci. 3, 629, from memory: radius 8 γ/(σ² [(1 + ν_m)/E_m +
    2 (1 − 2 ν_g)/E_g]), the same for a lone grain with G_c = 2 γ). Necessary, not sufficient:
    cracks are seen from about half this size where flaws are large. It serves tension along the
    surface and, to the same order, hoop tension that cracks the matrix outward.

    Parameters
    ----------
    stress, strain : array_like
        Radial stress and the misfit strain left, of one sign. [Pa], [-]
    toughness : array_like
        Of the bond of grain and matrix, or of the matrix. [J/m²]

    Returns
    -------
    array
        Infinite where there is no misfit. [m]
    """
    work = np.maximum(np.asarray(stress) * np.asarray(strain), 0.0)
    with np.errstate(divide="ignore", over="ignore"):  # as good as no misfit is none
        return np.asarray(4.0 * positive("toughness", toughness) / work)


def parted_factors(volume_fraction: npt.ArrayLike) -> tuple[Array, Array]:
    """Stiffness and strength of a ceramic whose metal grains have parted, over its own. [-], [-]

    Parted grains are pores: Hashin & Shtrikman's bound, and Ryshkewitch's exponential with
    `PARTED_EXPONENT`. Its expansion is then the ceramic's own.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    """
    c = between("volume fraction of grains", volume_fraction, 0.0, 1.0)
    return hashin_shtrikman_upper(c), ryshkewitch_duckworth(c, PARTED_EXPONENT)


def hindered_strain(
    volume_fraction: float, metal: Array, ceramic: Array, viscosity: tuple[Array, Array]
) -> Array:
    """Sintering strain of a blend whose two powders hold each other back. [-]

    Rates mix by Levin's rule with viscosities for moduli (the self-consistent sintering of
    Scherer 1987, J. Am. Ceram. Soc. 70, 719, from memory; the bulk viscosities taken in the ratio
    of the uniaxial ones). A few rigid grains c slow the rest by 1 − 2.5 c, and from 40 % on a
    network of what does not sinter stops it: the strong retardation that is seen (Rahaman & De
    Jonghe 1990, Weiser & De Jonghe 1988, J. Am. Ceram. Soc., abstracts; smaller grains hinder more
    still, which this does not know).

    Parameters
    ----------
    volume_fraction : float
        Of the metal. [-]
    metal, ceramic : array
        Sintering strains of each powder alone, shape (M,). [-]
    viscosity : pair of array
        Of the metal and of the ceramic, infinite where it does not flow, shape (M,) each. [Pa s]

    Returns
    -------
    array
        Shape (M,). [-]
    """
    c = float(between("volume fraction of the metal", volume_fraction, 0.0, 1.0))
    stiffest = 1e25
    m, k = (np.clip(v, 1.0, stiffest) for v in viscosity)
    mixed = np.clip(mixing.viscosity(c, m, k), np.minimum(m, k), np.maximum(m, k))
    apart = np.abs(m - k) > 1e-6 * k
    weight = np.where(apart, m * (k - mixed) / (mixed * np.where(apart, k - m, 1.0)), c)
    weight = np.clip(weight, 0.0, 1.0)
    middle = 0.5 * (weight[1:] + weight[:-1])
    steps = np.diff(ceramic) + middle * (np.diff(metal) - np.diff(ceramic))
    return np.append(0.0, np.cumsum(steps))
