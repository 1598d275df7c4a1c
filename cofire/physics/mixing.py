"""What a blend of metal and ceramic is like, from its two phases and the metal's share of volume.

One picture throughout: a blend of two powders in which neither is the matrix. Its estimate is the
self-consistent one (Bruggeman 1935; Hill 1965, J. Mech. Phys. Solids 13, 213; Budiansky 1965,
ibid. 223), which treats both phases alike, is exact at either end and for a few grains of one phase
in the other, and lies within the Hashin–Shtrikman bounds. Porosity is left to `porosity`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError
from cofire.numerics import Array
from cofire.physics.porosity import between, positive, rigid_inclusion_factor

Pair = tuple[npt.ArrayLike, npt.ArrayLike]

# Volume fraction from which a phase is continuous: grains that touch (Scher & Zallen 1970, J. Chem.
# Phys. 53, 3759, from memory), grains that overlap (Consiglio et al. 2003, Physica A 319, 49)
CRITICAL_VOLUME = 0.16
OVERLAPPING_SPHERES = 0.2895
FLOW_THRESHOLD = 0.6  # below this the self-consistent blend is locked by its rigid grains
STEPS = 100
"""Most steps of Newton's method; 10 are enough for moduli in a ratio of 1e4. [-]"""
SETTLED = 4e-15
"""Fall of a modulus in a step that is none, over the modulus. [-]"""


def bulk_modulus(young_modulus: npt.ArrayLike, poisson_ratio: npt.ArrayLike) -> Array:
    """Bulk modulus of an isotropic solid. [Pa]

    Parameters
    ----------
    young_modulus : array_like
        Positive. [Pa]
    poisson_ratio : array_like
        From -0.99 to 0.499. [-]
    """
    ratio = between("Poisson's ratio", poisson_ratio, -0.99, 0.499)
    return positive("Young's modulus", young_modulus) / (3.0 * (1.0 - 2.0 * ratio))


def shear_modulus(young_modulus: npt.ArrayLike, poisson_ratio: npt.ArrayLike) -> Array:
    """Shear modulus of an isotropic solid. [Pa]

    Parameters
    ----------
    young_modulus : array_like
        Positive. [Pa]
    poisson_ratio : array_like
        From -0.99 to 0.499. [-]
    """
    ratio = between("Poisson's ratio", poisson_ratio, -0.99, 0.499)
    return positive("Young's modulus", young_modulus) / (2.0 * (1.0 + ratio))


def young_modulus(bulk_modulus: npt.ArrayLike, shear_modulus: npt.ArrayLike) -> Array:
    """Young's modulus of an isotropic solid. [Pa]

    Parameters
    ----------
    bulk_modulus, shear_modulus : array_like
        Positive. [Pa]
    """
    K, G = positive("bulk modulus", bulk_modulus), positive("shear modulus", shear_modulus)
    return 9.0 * K * G / (3.0 * K + G)


def poisson_ratio(bulk_modulus: npt.ArrayLike, shear_modulus: npt.ArrayLike) -> Array:
    """Poisson's ratio of an isotropic solid. [-]

    Parameters
    ----------
    bulk_modulus, shear_modulus : array_like
        Positive. [Pa]
    """
    K, G = positive("bulk modulus", bulk_modulus), positive("shear modulus", shear_modulus)
    return (3.0 * K - 2.0 * G) / (2.0 * (3.0 * K + G))


def elastic_bounds(
    volume_fraction: npt.ArrayLike, metal: Pair, ceramic: Pair
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Lowest and highest bulk, lowest and highest shear modulus of an isotropic blend. [Pa]

    Hashin & Shtrikman 1963, J. Mech. Phys. Solids 11, 127; for a pair in which one phase has the
    larger bulk and the other the larger shear modulus, Walpole 1966, ibid. 14, 151 (from memory).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : pair of array_like
        Bulk and shear modulus of the phase. [Pa]
    """
    c, Km, Gm, Kc, Gc = _phases(volume_fraction, metal, ceramic)
    by_bulk = _Backed.of(c, Km, Kc)
    low, high = (by_bulk.mean(4.0 / 3.0 * G) for G in (np.minimum(Gm, Gc), np.maximum(Gm, Gc)))
    return (low, high), _shear_bounds(_Backed.of(c, Gm, Gc), (Km, Kc), (Gm, Gc))


def elastic_moduli(
    volume_fraction: npt.ArrayLike, metal: Pair, ceramic: Pair
) -> tuple[Array, Array]:
    """Bulk and shear modulus of a blend, self-consistent estimate for round grains. [Pa]

    Each is the Hashin–Shtrikman expression with the blend itself as the comparison medium (Hill
    1965; Budiansky 1965; this form Berryman 1980, J. Acoust. Soc. Am. 68, 1820, from memory).
    Within about 1 % of the mean of the bounds for moduli in a ratio of 2, 3 % for 3, 8 % for 5.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : pair of array_like
        Bulk and shear modulus of the phase. [Pa]
    """
    c, Km, Gm, Kc, Gc = _phases(volume_fraction, metal, ceramic)
    by_bulk, by_shear = _Backed.of(c, Km, Kc), _Backed.of(c, Gm, Gc)
    low, high = _shear_bounds(by_shear, (Km, Kc), (Gm, Gc))
    G = high
    for _ in range(STEPS):  # Newton from above: both sides are concave, so no step overshoots
        K, K_slope = by_bulk.mean_and_slope(4.0 / 3.0 * G)
        backing = _shear_backing(K, G)
        mean, slope = by_shear.mean_and_slope(backing)
        # growth of the backing with G: 4/3 of its growth with K times that of K, and its own
        own = 8.0 * K_slope * (1.5 * G - backing) + 9.0 * K + 16.0 * G - 12.0 * backing
        slope *= own / (6.0 * (K + 2.0 * G))
        new = np.clip(G - (mean - G) / (slope - 1.0), low, high)
        settled = (new >= (1.0 - SETTLED) * G).all()  # what falls no more is round-off
        G = new
        if settled:
            break
    return by_bulk.mean(4.0 / 3.0 * G), G


def free_strain(
    volume_fraction: npt.ArrayLike,
    metal: npt.ArrayLike,
    ceramic: npt.ArrayLike,
    bulk_metal: npt.ArrayLike,
    bulk_ceramic: npt.ArrayLike,
    bulk_blend: npt.ArrayLike,
) -> Array:
    """Free strain of a blend whose phases have any free strains of their own. [-]

    Levin 1967, Mech. Solids 2, 58 (from memory; it follows from the work theorem for two phases).
    Exact for the bulk modulus given, while both phases are elastic and bonded. Where both flow the
    same rule holds in rates, with bulk viscosities for bulk moduli; between the two regimes it is
    an approximation.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Free strains of the phases, or their rates, or their expansion coefficients. [-]
    bulk_metal, bulk_ceramic, bulk_blend : array_like
        Bulk moduli of the phases and of the blend; equal ones give the rule of mixtures. [Pa]

    Raises
    ------
    InputError
        If the blend's bulk modulus is below the series or above the parallel mean of its phases.
    """
    c = _fraction(volume_fraction)
    Km, Kc = positive("bulk modulus", bulk_metal), positive("bulk modulus", bulk_ceramic)
    K = positive("bulk modulus", bulk_blend)
    series, parallel = 1.0 / (c / Km + (1.0 - c) / Kc), c * Km + (1.0 - c) * Kc
    if np.any((series > K * (1.0 + 1e-6)) | (parallel < K * (1.0 - 1e-6))):
        msg = "bulk modulus of the blend: outside the series and parallel means of its phases"
        raise InputError(msg)
    equal = Km == Kc
    weight = Km * (Kc - K) / (K * np.where(equal, 1.0, Kc - Km))  # of the metal's strain
    stiff = c * Km / parallel  # Turner's weight; clipping tames the quotient of near-equal moduli
    weight = np.clip(weight, np.minimum(c, stiff), np.maximum(c, stiff))
    metal, ceramic = np.asarray(metal, np.float64), np.asarray(ceramic, np.float64)
    return np.asarray(ceramic + weight * (metal - ceramic), np.float64)


def conductivity(
    volume_fraction: npt.ArrayLike, metal: npt.ArrayLike, ceramic: npt.ArrayLike
) -> Array:
    """Conductivity of a blend, self-consistent estimate for round grains. [W/(m K)]

    Bruggeman 1935, Ann. Phys. 416, 636; Landauer 1952, J. Appl. Phys. 23, 779 (from memory). No
    resistance between the grains.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Conductivities of the phases. [W/(m K)]
    """
    c = _fraction(volume_fraction)
    km, kc = positive("conductivity", metal), positive("conductivity", ceramic)
    return 1.0 / _self_consistent_inverse(c, 1.0 / km, 1.0 / kc, 2.0)


def density(volume_fraction: npt.ArrayLike, metal: npt.ArrayLike, ceramic: npt.ArrayLike) -> Array:
    """Density of a blend, by volume. [kg/m3]

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Densities of the phases. [kg/m3]
    """
    c = _fraction(volume_fraction)
    return c * positive("density", metal) + (1.0 - c) * positive("density", ceramic)


def specific_heat(
    volume_fraction: npt.ArrayLike,
    metal: npt.ArrayLike,
    ceramic: npt.ArrayLike,
    density_metal: npt.ArrayLike,
    density_ceramic: npt.ArrayLike,
) -> Array:
    """Specific heat of a blend, by mass. [J/(kg K)]

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Specific heats of the phases. [J/(kg K)]
    density_metal, density_ceramic : array_like
        Densities of the phases. [kg/m3]
    """
    cm, cc = positive("specific heat", metal), positive("specific heat", ceramic)
    rm, rc = positive("density", density_metal), positive("density", density_ceramic)
    return density(volume_fraction, rm * cm, rc * cc) / density(volume_fraction, rm, rc)


def continuity(
    volume_fraction: npt.ArrayLike, threshold: float = OVERLAPPING_SPHERES
) -> npt.NDArray[np.str_]:
    """Which phases run through the whole of a blend: 'metal', 'both' or 'ceramic'.

    The default is for like-sized round grains that sinter into each other; packed grains that only
    touch connect from `CRITICAL_VOLUME`, and a powder much finer than the other connects sooner
    than either figure. Measure the electrical resistance of a fired blend if it matters.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    threshold : float
        Volume fraction from which a phase is continuous, below one half. [-]
    """
    c = _fraction(volume_fraction)
    limit = float(between("percolation threshold", threshold, 0.0, 0.5))
    names = np.where(1.0 - c < limit, "metal", "both")
    return np.where(c < limit, "ceramic", names)


def viscosity(
    volume_fraction: npt.ArrayLike, metal: npt.ArrayLike, ceramic: npt.ArrayLike
) -> Array:
    """Viscosity of a blend of two phases that flow at constant volume. [Pa s]

    The self-consistent estimate of the incompressible shear modulus, read for viscosities, shear
    or uniaxial. It lies between the series and the parallel mean. A metal that flows by power law
    only is rigid here (infinite): the ceramic's viscosity is then multiplied by 1/(1 - 2.5 c), up
    to the locking at c = 0.4. Krieger & Dougherty (1959) with a packing of 0.6 stiffen it less, so
    relief is understated.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Viscosities of the phases, infinite where a phase is rigid. [Pa s]
    """
    c = _fraction(volume_fraction)
    fluid_metal = 1.0 / positive("viscosity", metal, infinite=True)
    fluid_ceramic = 1.0 / positive("viscosity", ceramic, infinite=True)
    fluidity = _self_consistent_inverse(c, fluid_metal, fluid_ceramic, 1.5)
    rigid = fluidity <= 0.0
    return np.where(rigid, np.inf, 1.0 / np.where(rigid, 1.0, fluidity))


def creep_factor(
    volume_fraction: npt.ArrayLike,
    creep_factor_metal: npt.ArrayLike,
    creep_exponent: npt.ArrayLike,
    threshold: npt.ArrayLike = FLOW_THRESHOLD,
) -> Array:
    """A in strain rate = A stress^n of a blend whose metal creeps and whose ceramic is rigid.

    With g the stiffening of a linear matrix by rigid grains (`rigid_inclusion_factor`), the mean
    square strain rate of the metal is g/c of the blend's, and the metal's secant viscosity there
    gives A_blend = A g^(-(n+1)/2) c^(-(n-1)/2): the linear comparison of Ponte Castañeda 1991,
    J. Mech. Phys. Solids 39, 45 (from memory), a lower bound of A for the grains that have that g.
    The ceramic's own flow belongs in `viscosity`, and the two rates add: each takes the other phase
    as rigid, so for a linear pair the sum never exceeds the rate of `viscosity` with both flowing
    (at the default threshold).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    creep_factor_metal : array_like
        A of the metal, zero where it does not creep. [1/(s Pa^n)]
    creep_exponent : array_like
        n of the metal, also that of the blend, at least 1. [-]
    threshold : array_like
        Metal fraction at which the ceramic grains lock; the default is the self-consistent one. [-]
    """
    c = _fraction(volume_fraction)
    A = between("creep factor", creep_factor_metal, 0.0, np.finfo(np.float64).max)
    n = between("creep exponent", creep_exponent, 1.0, 20.0)
    flows, g = _stiffening(c, threshold)
    share = np.where(flows, c, 1.0)
    return np.where(flows, A * g ** (-(n + 1.0) / 2.0) * share ** (-(n - 1.0) / 2.0), 0.0)


def yield_stress(
    volume_fraction: npt.ArrayLike,
    yield_metal: npt.ArrayLike,
    threshold: npt.ArrayLike = FLOW_THRESHOLD,
) -> Array:
    """Yield stress of a blend: the metal's at pure metal, infinite once the ceramic locks. [Pa]

    The limit of `creep_factor` for a large exponent: the metal's times sqrt(g c). Infinite below
    the threshold: there the ceramic carries the load whether or not the metal is continuous, and
    the blend cracks before it yields.

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    yield_metal : array_like
        Infinite for a metal that does not yield. [Pa]
    threshold : array_like
        Metal fraction at which the ceramic grains lock; `OVERLAPPING_SPHERES` would let the blend
        yield as long as the metal is continuous, which is less safe. [-]
    """
    c = _fraction(volume_fraction)
    limit = positive("yield stress", yield_metal, infinite=True)
    flows, g = _stiffening(c, threshold)
    return np.where(flows, limit * np.sqrt(g * c), np.inf)


def strength(volume_fraction: npt.ArrayLike, metal: npt.ArrayLike, ceramic: npt.ArrayLike) -> Array:
    """Strength of a blend: the ceramic's wherever the ceramic can be continuous. [Pa]

    From the metal's linearly to the ceramic's at the ceramic's `CRITICAL_VOLUME`. A metal that
    yields has not broken, so its yield stress takes nothing from a blend that is ceramic
    throughout. Common practice; it does not know of cracks that misfit between the grains may
    have opened (Selsing 1961, J. Am. Ceram. Soc. 44, 419).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    metal, ceramic : array_like
        Strengths of the phases. [Pa]
    """
    c = _fraction(volume_fraction)
    sm, sc = positive("strength", metal), positive("strength", ceramic)
    share = np.minimum((1.0 - c) / CRITICAL_VOLUME, 1.0)
    return np.asarray(share * sc + (1.0 - share) * sm, np.float64)


def bridging_share(volume_fraction: npt.ArrayLike, threshold: float = OVERLAPPING_SPHERES) -> Array:
    """Share of the metal's tensile strength that holds a crack through a blend's ceramic. [-]

    A cut plane meets as much metal by area as the blend has by volume, but metal pulls only where
    it runs on to both sides: none at the percolation threshold, all of it in pure metal, and
    linear between (our estimate; on the safe side of the area met). That metal between ceramic
    necks under constraint, at up to six times its yield stress before it parts (Ashby, Blunt &
    Bannister 1989, Acta Metall. 37, 1847, from memory), is left out. Where all of a load is held
    like this, a ceramic that cracks does not part the wall (as the fibres of Aveston, Cooper &
    Kelly 1971, from memory).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    threshold : float
        Metal fraction from which the metal is continuous. [-]
    """
    c = _fraction(volume_fraction)
    return np.maximum((c - threshold) / (1.0 - threshold), 0.0)


def ductility_factor(volume_fraction: npt.ArrayLike) -> Array:
    """Elongation of a metal with hard grains in it over that of the metal. [-]

    1 less the cube root of the grains' volume: the metal between them strains by as much more as
    its gaps are shorter than the whole (Nielsen 1966, J. Appl. Polym. Sci. 10, 97, from memory,
    for grains that stay bound).

    Parameters
    ----------
    volume_fraction : array_like
        Of the metal. [-]
    """
    return np.asarray(1.0 - np.cbrt(1.0 - _fraction(volume_fraction)), np.float64)


def _fraction(volume_fraction: npt.ArrayLike) -> Array:
    """The checked volume fraction of the metal."""
    return between("volume fraction of the metal", volume_fraction, 0.0, 1.0)


def _phases(volume_fraction: npt.ArrayLike, metal: Pair, ceramic: Pair) -> list[Array]:
    """The checked fraction of the metal and the four moduli, broadcast together."""
    moduli = [positive("modulus of the metal", value) for value in metal]
    moduli += [positive("modulus of the ceramic", value) for value in ceramic]
    return list(np.broadcast_arrays(_fraction(volume_fraction), *moduli))


@dataclass(frozen=True)
class _Backed:
    """Series mean of two phases, each stiffened by the backing of the comparison medium.

    Of 1/(c/(metal + backing) + (1-c)/(ceramic + backing)) - backing, without the difference:
    (product + backing parallel)/(crossed + backing), and it grows with spread/(crossed + backing)².
    """

    product: Array
    parallel: Array
    crossed: Array
    spread: Array

    @classmethod
    def of(cls, c: Array, metal: Array, ceramic: Array) -> _Backed:
        """For a share of the metal and a modulus of each phase."""
        rest = 1.0 - c
        return cls(
            metal * ceramic,
            c * metal + rest * ceramic,
            c * ceramic + rest * metal,
            c * rest * (metal - ceramic) ** 2,
        )

    def mean(self, backing: Array) -> Array:
        """For one backing."""
        return np.asarray((self.product + backing * self.parallel) / (self.crossed + backing))

    def mean_and_slope(self, backing: Array) -> tuple[Array, Array]:
        """For one backing, and its growth with it."""
        under = self.crossed + backing
        mean = (self.product + backing * self.parallel) / under
        return mean, self.spread / (under * under)


def _shear_bounds(
    by_shear: _Backed, bulk: tuple[Array, Array], shear: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Lowest and highest shear modulus of an isotropic blend, see `elastic_bounds`."""
    low = _shear_backing(np.minimum(*bulk), np.minimum(*shear))
    high = _shear_backing(np.maximum(*bulk), np.maximum(*shear))
    return by_shear.mean(low), by_shear.mean(high)


def _shear_backing(bulk: Array, shear: Array) -> Array:
    """Backing that a medium gives to a round grain in shear."""
    return shear / 6.0 * (9.0 * bulk + 8.0 * shear) / (bulk + 2.0 * shear)


def _self_consistent_inverse(c: Array, metal: Array, ceramic: Array, backing: float) -> Array:
    """Resistivity or fluidity y of the blend: sum of c_i (y - y_i)/(y + backing y_i) = 0."""
    b = c * (metal - backing * ceramic) + (1.0 - c) * (ceramic - backing * metal)
    product = backing * metal * ceramic
    root = np.sqrt(b**2 + 4.0 * product)
    safe = np.where(b < 0.0, root - b, 1.0)  # avoids the difference of two near-equal numbers
    return np.where(b < 0.0, 2.0 * product / safe, 0.5 * (b + root))


def _stiffening(c: Array, threshold: npt.ArrayLike) -> tuple[npt.NDArray[np.bool_], Array]:
    """Whether the metal can still flow, and by how much rigid ceramic grains stiffen it."""
    g = rigid_inclusion_factor(1.0 - c, 1.0 - between("flow threshold", threshold, 0.0, 0.9))
    flows = np.isfinite(g) & (c > 0.0)
    return flows, np.where(flows, g, 1.0)
