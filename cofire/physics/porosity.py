"""What porosity leaves of a property: stiffness, strength, flow and conduction of a porous body."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError
from cofire.numerics import Array

STEEPEST_EXPONENT = 7.0  # upper end of Ryshkewitch's and Duckworth's 4–7 (1953, from memory)
INTRINSIC_VISCOSITY = 2.5  # rigid spheres, Einstein (1906)
CRYSTAL_PACKING = 0.6  # equant crystals in melts, Marsh (1981, from memory)


def between(name: str, value: npt.ArrayLike, low: float, high: float) -> Array:
    """The value as an array, every element from `low` to `high` or refused.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : array_like
        In the unit of the limits. [any]
    low, high : float
        Smallest and largest value allowed. [any]

    Raises
    ------
    InputError
        If an element lies outside, or is not a number.
    """
    array = np.asarray(value, dtype=np.float64)
    least, most = _ends(array)
    if low <= least and most <= high:  # what is not a number is neither
        return array
    wrong = ~((array >= low) & (array <= high))
    if wrong.any():
        msg = f"{name} = {array[wrong][0]:g}: must lie between {low:g} and {high:g}"
        raise InputError(msg)
    return array


def positive(name: str, value: npt.ArrayLike, *, infinite: bool = False) -> Array:
    """The value as an array, every element above zero or refused.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : array_like
        Any quantity. [any]
    infinite : bool
        Whether infinity is allowed, as for the viscosity of a body that does not flow.

    Raises
    ------
    InputError
        If an element is zero, negative, not a number, or infinite where that is not allowed.
    """
    array = np.asarray(value, dtype=np.float64)
    least, most = _ends(array)
    if least > 0.0 and (infinite or most < np.inf):
        return array
    wrong = ~(array > 0.0) | (np.isinf(array) & (not infinite))
    if wrong.any():
        msg = f"{name} = {array[wrong][0]:g}: must be positive" + (
            "" if infinite else " and finite"
        )
        raise InputError(msg)
    return array


def _ends(array: Array) -> tuple[float, float]:
    """Smallest and largest element; none of an empty array."""
    if array.ndim == 0:
        return float(array), float(array)
    return (float(array.min()), float(array.max())) if array.size else (np.nan, np.nan)


def hashin_shtrikman_upper(porosity: npt.ArrayLike) -> Array:
    """Most of the dense body's Young's modulus that any isotropic porous body can keep.

    Hashin & Shtrikman 1963, J. Mech. Phys. Solids 11, 127, with empty pores and a Poisson's ratio
    of 0.2, at which it is exactly (1 - P)/(1 + P). For ratios from 0.15 to 0.35 the bound moves by
    less than 0.2 % of the dense body's modulus.

    Parameters
    ----------
    porosity : array_like
        Volume of the pores over the whole. [-]
    """
    P = between("porosity", porosity, 0.0, 1.0)
    return (1.0 - P) / (1.0 + P)


def sintering_modulus(
    relative_density: npt.ArrayLike,
    vanishing_density: npt.ArrayLike,
    reference_density: npt.ArrayLike,
) -> Array:
    """Young's modulus of a sintering powder body, as a share of that at the reference density.

    Linear from nothing at the density where the grains only touch, close to the green density.
    Lam, Lange & Evans 1994, J. Am. Ceram. Soc. 77, 2113 (form from memory). Necks that grow by
    surface diffusion stiffen a body before it shrinks (Hardy & Green 1995, J. Eur. Ceram. Soc. 15,
    abstract), so a vanishing density a little below the green one is the usual fit. The area of a
    neck grows linearly with the density too (Helle, Easterling & Ashby 1985, Acta Metall. 33, 2163,
    from memory), so this is also the neck that yield, creep and strength go by.

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density, not below `vanishing_density`. [-]
    vanishing_density : array_like
        Relative density at which the stiffness is gone. [-]
    reference_density : array_like
        Relative density at which the modulus is known. [-]

    Raises
    ------
    InputError
        If the density is below the vanishing one, or the reference is not above it.
    """
    density = between("relative density", relative_density, 0.0, 1.0)
    vanishing = between("vanishing density", vanishing_density, 0.0, 1.0)
    reference = between("reference density", reference_density, 0.0, 1.0)
    if np.any(reference <= vanishing):
        msg = "reference density: must lie above the density at which the stiffness vanishes"
        raise InputError(msg)
    if np.any(density < vanishing):
        msg = (
            f"relative density = {np.min(density):g}: "
            f"below {np.max(vanishing):g}, where the stiffness vanishes"
        )
        raise InputError(msg)
    return (density - vanishing) / (reference - vanishing)


def ryshkewitch_duckworth(porosity: npt.ArrayLike, exponent: npt.ArrayLike) -> Array:
    """Strength of a porous body as a share of the dense body's.

    Ryshkewitch 1953, J. Am. Ceram. Soc. 36, 65; Duckworth 1953, ibid. 68 (from memory).

    Parameters
    ----------
    porosity : array_like
        Volume of the pores over the whole. [-]
    exponent : array_like
        n, 4 to 7 for sintered ceramics; 0 means that pores do no harm. [-]
    """
    P = between("porosity", porosity, 0.0, 1.0)
    return np.exp(-between("porosity exponent", exponent, 0.0, 100.0) * P)


def haynes_elongation(porosity: npt.ArrayLike, sensitivity: float = 1000.0) -> Array:
    """Elongation of a porous metal as a share of the dense metal's.

    (1 - p)^1.5 / (1 + c p²)^0.5 (R. Haynes 1977, Powder Metall. 20, 17; from memory).

    Parameters
    ----------
    porosity : array_like
        Volume of the pores over the whole. [-]
    sensitivity : float
        c, some hundreds for round pores to thousands for sharp ones; 1000 is the middle. [-]

    Returns
    -------
    array
        Same shape. [-]

    Raises
    ------
    InputError
        A porosity outside 0 to 1.

    Examples
    --------
    >>> haynes_elongation([0.0, 0.1]).round(2).tolist()
    [1.0, 0.26]
    """
    p = between("porosity", porosity, 0.0, 1.0)
    c = between("sensitivity", sensitivity, 0.0, 1e5)
    return np.asarray((1.0 - p) ** 1.5 / np.sqrt(1.0 + c * p**2))


def densified(
    relative_density: npt.ArrayLike, green_density: npt.ArrayLike, fired_density: npt.ArrayLike
) -> Array:
    """Share of the way from the green to a fired density that a body has come, not limited. [-]

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density. [-]
    green_density, fired_density : array_like
        Relative density of the two ends. [-]
    """
    green = np.asarray(green_density, np.float64)
    return np.asarray((np.asarray(relative_density) - green) / (np.asarray(fired_density) - green))


def anchored_strength(
    relative_density: npt.ArrayLike,
    green_density: npt.ArrayLike,
    brown_strength: npt.ArrayLike,
    fired_density: npt.ArrayLike,
    fired_strength: npt.ArrayLike,
) -> Array:
    """Strength of a body at any density from two measured strengths.

    Linear in the density between the anchors, as stiffness is (`sintering_modulus`): both grow with
    the area of the necks. Of partly sintered alumina modulus, strength and toughness showed alike
    behaviour (Hardy & Green 1995, J. Eur. Ceram. Soc. 15, 769, abstract), and the area of a neck
    grows linearly with the density (Helle, Easterling & Ashby 1985, Acta Metall. 33, 2163, from
    memory). Above the fired anchor exponential (Ryshkewitch–Duckworth) with n from the two
    strengths, at most 7: a brown body is weak because its grains are hardly joined, not because of
    its pores, and that slope must not be carried on. Common practice.

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density, from `green_density` to 1. [-]
    green_density, fired_density : array_like
        Relative density of the two anchors. [-]
    brown_strength, fired_strength : array_like
        Strength once the binder is gone, and strength of the fired body. [Pa]

    Raises
    ------
    InputError
        If the density is below the green one, or the fired anchor is not the denser and stronger.
    """
    density = between("relative density", relative_density, 0.0, 1.0)
    green = between("green density", green_density, 0.0, 1.0)
    fired = between("fired density", fired_density, 0.0, 1.0)
    weak = positive("brown strength", brown_strength)
    strong = positive("fired strength", fired_strength)
    if np.any(fired <= green) or np.any(strong < weak):
        msg = "fired anchor: must be denser and no weaker than the brown one"
        raise InputError(msg)
    if np.any(density < green - 1e-9):
        msg = f"relative density = {np.min(density):g}: below the green density"
        raise InputError(msg)
    exponent = np.minimum(np.log(strong / weak) / (fired - green), STEEPEST_EXPONENT)
    below = weak + (strong - weak) * np.clip(densified(density, green, fired), 0.0, 1.0)
    beyond = np.exp(exponent * np.maximum(density - fired, 0.0))
    return np.asarray(below * beyond, dtype=np.float64)


def viscous_poisson_ratio(relative_density: npt.ArrayLike) -> Array:
    """Lateral over axial strain rate of a porous glass that flows.

    Scherer 1979, J. Non-Cryst. Solids 34, 239; quoted in Bordia & Scherer 1988, Acta Metall. 36,
    2393 (both from memory). Cell model with open pores, derived for densities below 0.94; right at
    full density, where it gives one half. Measured on sintering alumina: 0.21 to 0.42 (Zuo, Aulbach
    & Rödel 2003, J. Mater. Res., abstract).

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density. [-]
    """
    density = between("relative density", relative_density, 0.0, 1.0)
    return 0.5 * np.sqrt(density / (3.0 - 2.0 * density))


def porous_viscosity(relative_density: npt.ArrayLike, shear_viscosity: npt.ArrayLike) -> Array:
    """Uniaxial viscosity (stress over strain rate) of a porous glass.

    Source and range as `viscous_poisson_ratio`; three times the shear viscosity at full density
    (Trouton).

    Parameters
    ----------
    relative_density : array_like
        Bulk over theoretical density. [-]
    shear_viscosity : array_like
        Of the glass itself, crystals included. [Pa s]
    """
    density = between("relative density", relative_density, 0.0, 1.0)
    viscosity = positive("shear viscosity", shear_viscosity, infinite=True)
    return 3.0 * viscosity * (density / (3.0 - 2.0 * density))


def rigid_inclusion_factor(
    volume_fraction: npt.ArrayLike, maximum_packing: npt.ArrayLike = CRYSTAL_PACKING
) -> Array:
    """How many times rigid grains multiply the viscosity of what they sit in.

    Krieger & Dougherty 1959, Trans. Soc. Rheol. 3, 137, with Einstein's 2.5 for dilute spheres.
    Infinite from the packing at which the grains lock. With a packing of 0.4 it is the
    self-consistent estimate 1/(1 - 2.5 phi) of Hill (1965) and Budiansky (1965) for an
    incompressible matrix. Long or flat crystals lock sooner (Mueller, Llewellin & Mader 2011,
    Geophys. Res. Lett. 38, L13316).

    Parameters
    ----------
    volume_fraction : array_like
        Of the rigid grains. [-]
    maximum_packing : array_like
        Fraction at which the grains lock. [-]
    """
    phi = between("fraction of rigid grains", volume_fraction, 0.0, 1.0)
    packing = positive("maximum packing", between("maximum packing", maximum_packing, 0.0, 1.0))
    free = 1.0 - phi / packing
    locked = free <= 1e-12  # rounding of the packing itself
    factor = np.where(locked, 1.0, free) ** (-INTRINSIC_VISCOSITY * packing)
    return np.where(locked, np.inf, factor)


def conductivity_factor(porosity: npt.ArrayLike) -> Array:
    """Thermal conductivity of a body with open pores, as a share of the dense body's.

    Landauer 1952, J. Appl. Phys. 23, 779 (from memory), with pores that do not conduct: below
    Maxwell's closed-pore figure 2(1 - P)/(2 + P). Gas and radiation in the pores are left out.
    Refused above 60 % porosity, short of the 2/3 at which the model's solid falls apart.

    Parameters
    ----------
    porosity : array_like
        Volume of the pores over the whole, 0 to 0.6. [-]
    """
    return 1.0 - 1.5 * between("porosity (conductivity)", porosity, 0.0, 0.6)


def conductivity_at(
    conductivity: npt.ArrayLike, at_density: npt.ArrayLike, relative_density: npt.ArrayLike
) -> Array:
    """Thermal conductivity of a body of another density than the one it was measured at.

    By `conductivity_factor` of both; what is more than 60 % porous counts as 60 %. Grains that only
    touch, as in a dried paste, conduct less than that: of a metal's far less.

    Parameters
    ----------
    conductivity : array_like
        As measured. [W/(m K)]
    at_density : array_like
        Relative density of the body measured. [-]
    relative_density : array_like
        Of the body asked for. [-]

    Returns
    -------
    array
        [W/(m K)]

    Examples
    --------
    Half of the pores of a body of 40 % filled:

    >>> round(float(conductivity_at(0.8, 0.6, 0.8)), 6)
    1.4
    """
    then, now = (
        conductivity_factor(np.minimum(1.0 - np.asarray(density, dtype=np.float64), 0.6))
        for density in (at_density, relative_density)
    )
    return np.asarray(np.asarray(conductivity, dtype=np.float64) * now / then)
