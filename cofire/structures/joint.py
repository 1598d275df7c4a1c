"""The local stress at a step between two bands, within about one wall of it.

A shell lets the wall of each band take its own thickness. The two thicknesses cannot differ where
the bands meet: the faces pull in on one side and bulge on the other. This adds a bounded,
self-balanced field that no shell can carry. With d the mismatch of thickness left by the shell,

    stress = shell + M d g(distance, place in the wall; α, β),    1/M = 1/Ē₁ + 1/Ē₂,

Ē = E/(1−ν²) and α, β the two elastic mismatches of J. Dundurs (J. Appl. Mech. 36, 1969, 650),
on which alone a plane field with free faces depends. Along the ring the wall is held (plane
strain), so the hoop stress is ν times the sum of the other two.

g is found here, once, as a series of the decaying fields of a strip with free faces (P. F.
Papkovich 1940 and J. Fadle, Ingenieur-Archiv 11, 1940, 125; from memory), whose decay rates
solve sin λ + λ = 0: the slowest dies as exp(−4.2 distance/wall), so at one wall 2 % is left.
The series of both sides meet at the joint by least squares, weighted towards the corners. Against
a plane solid it is within 1 % from a twentieth of a wall outwards.

The corner at the face may be singular (D. B. Bogy, J. Appl. Mech. 38, 1971, 377). So no stress is
reported at a point there: stress is the mean over a window of `CUT_OFF` walls along the wall
that ends no nearer than the joint, and tractions at the faces of the joint are means over the
outer `CUT_OFF` of the wall. The windowed values are within 1 % of the solid's.

Where it is true: an elastic field. Driven by the stress of the shell as it is at the time, it
relaxes and yields as the shell's hoop stress does, but no point of it is checked against yield. A
step is taken to stand alone in a wall of even thickness and square to it: fields of several steps
are added, and a slant of the joint up to 25° changes little.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

if TYPE_CHECKING:
    from cofire.physics.history import Array

CUT_OFF = 0.1
"""Length of the window over which local stress is averaged, over the wall. [-]"""

REACH = 2.0
"""Distance beyond which the local field is left out, over the wall. [-]"""

_TERMS = 40
_ALPHA_NODES = 0.95 * np.cos(np.pi * (np.arange(13) + 0.5) / 13.0)
_SKEW_NODES = 0.8 * np.cos(np.pi * (np.arange(5) + 0.5) / 5.0)


def thickness_mismatch(
    hoop_below: npt.ArrayLike,
    hoop_above: npt.ArrayLike,
    young_modulus: tuple[npt.ArrayLike, npt.ArrayLike],
    poisson_ratio: tuple[npt.ArrayLike, npt.ArrayLike],
) -> Array:
    """How much more the wall below a step wants to thicken than the wall above it.

    Hoop strain is the same on both sides and so is meridional stress; then the thickness strain
    differs by the difference of (1 + ν)/E times hoop stress, whatever flow came before.

    Parameters
    ----------
    hoop_below, hoop_above
        Hoop stress of the shell at the step, mean over the wall. [Pa]
    young_modulus
        Below and above. [Pa]
    poisson_ratio
        Below and above. [-]
    """
    below, above = (
        (1.0 + np.asarray(nu, float)) / np.asarray(young, float) * np.asarray(hoop, float)
        for hoop, young, nu in zip(
            (hoop_below, hoop_above), young_modulus, poisson_ratio, strict=True
        )
    )
    return np.asarray(above - below)


def elastic_mismatch(
    young_modulus: tuple[npt.ArrayLike, npt.ArrayLike],
    poisson_ratio: tuple[npt.ArrayLike, npt.ArrayLike],
) -> tuple[Array, Array, Array]:
    """Dundurs' α and β in plane strain [-], and the joint modulus M [Pa].

    Parameters
    ----------
    young_modulus
        Of this side and of the other. [Pa]
    poisson_ratio
        Of this side and of the other. [-]
    """
    (e1, e2), (n1, n2) = (
        [np.asarray(v, dtype=float) for v in pair] for pair in (young_modulus, poisson_ratio)
    )
    soft1, soft2 = (1.0 - n1 * n1) / e1, (1.0 - n2 * n2) / e2
    joint = 1.0 / (soft1 + soft2)
    alpha = joint * (soft2 - soft1)
    beta = alpha - 0.5 * joint * ((1.0 + n2) / e2 - (1.0 + n1) / e1)
    return alpha, beta, joint


@dataclass(frozen=True)
class LocalField:
    """g at K places of one side of a joint, for any pair of materials.

    Attributes
    ----------
    along, across
        Meridional and thickness stress over M d at nodes of α and of 4β − α, shape (A, S, K).
    """

    along: Array
    across: Array

    def at(
        self,
        young_modulus: tuple[npt.ArrayLike, npt.ArrayLike],
        poisson_ratio: tuple[npt.ArrayLike, npt.ArrayLike],
        mismatch: npt.ArrayLike,
    ) -> Array:
        """Local stress, meridional and hoop, shape (2, T, K). [Pa]

        Parameters
        ----------
        young_modulus
            Of this side and of the other, shape (T,) each. [Pa]
        poisson_ratio
            Of this side and of the other. [-]
        mismatch
            How much more this side wants to thicken, shape (T,). [-]
        """
        alpha, beta, joint = elastic_mismatch(young_modulus, poisson_ratio)
        weight = _lagrange(_ALPHA_NODES, np.clip(alpha, -0.95, 0.95))[..., :, None]
        weight = weight * _lagrange(_SKEW_NODES, np.clip(4.0 * beta - alpha, -0.8, 0.8))[..., None, :]
        weight = weight * (joint * np.asarray(mismatch, float))[..., None, None]
        weight = weight.reshape(*alpha.shape, -1)
        along, across = (weight @ f.reshape(-1, f.shape[-1]) for f in (self.along, self.across))
        own = np.asarray(poisson_ratio[0], float)[..., None]
        return np.stack([along, own * (along + across)])


def local_field(distance: npt.ArrayLike, place: npt.ArrayLike) -> LocalField:
    """g at K places.

    Parameters
    ----------
    distance
        From the joint over the wall, shape (K,). [-]
    place
        Through the wall, -1 inside to 1 outside, shape (K,). [-]
    """
    rate, amplitude = _series()
    start = np.where(np.asarray(distance, float) < CUT_OFF, 0.0, distance - 0.5 * CUT_OFF)
    faded = np.exp(-rate * start[:, None]) * -np.expm1(-rate * CUT_OFF) / (rate * CUT_OFF)
    along, across, _, _, _ = _decaying_fields(rate, 0.5 * np.asarray(place, float))
    return LocalField(
        along=np.real(amplitude @ (faded * along).T), across=np.real(amplitude @ (faded * across).T)
    )


def face_tractions(
    young_modulus: tuple[npt.ArrayLike, npt.ArrayLike],
    poisson_ratio: tuple[npt.ArrayLike, npt.ArrayLike],
    mismatch: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Local normal and shear stress on the joint itself, mean over the outer `CUT_OFF`. [Pa]

    The normal stress is the same at both faces. The shear stress is that at the outer face, taken
    as the shell's: positive where the band above is drawn outwards; it is opposite inside.

    Parameters
    ----------
    young_modulus
        Below and above, shape (T,) each. [Pa]
    poisson_ratio
        Below and above. [-]
    mismatch
        How much more the band below wants to thicken, shape (T,). [-]
    """
    rate, amplitude = _series()
    edge = np.array([0.5 - CUT_OFF])
    half, turn = 0.5 * rate, rate * edge
    scale = np.exp(half.imag) * np.abs(rate) ** 3
    first, second = -half * np.sin(half) / scale, np.cos(half) / scale
    stress_function = first * np.cos(turn) + second * turn * np.sin(turn)
    gradient = rate * ((second - first) * np.sin(turn) + second * turn * np.cos(turn))
    field = LocalField(
        along=np.real(amplitude @ (-gradient / CUT_OFF))[..., None],
        across=np.real(amplitude @ (-rate * stress_function / CUT_OFF))[..., None],
    )
    alone = (young_modulus, (np.zeros_like(poisson_ratio[0], float), poisson_ratio[1]))
    del alone
    both = field.at(young_modulus, poisson_ratio, mismatch)
    own = np.asarray(poisson_ratio[0], float)
    normal = both[0, ..., 0]
    shear = both[1, ..., 0] / own - normal
    return normal, shear
