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
The series of both sides meet at the joint by least squares, weighted towards the corners.

The corner at the face may be singular (D. B. Bogy, J. Appl. Mech. 38, 1971, 377). So no stress is
reported at a point there: stress is the mean over a window of `CUT_OFF` walls along the wall
(about one printed layer), and tractions at the faces of the joint are means over the outer
`CUT_OFF` of the wall. Against plane solids the former are within 0.02 M d, the latter 0.05 M d.

Where it is true: an elastic field. Driven by the stress of the shell as it is at the time, it
relaxes and yields as the shell's hoop stress does, but no point of it is checked against yield. A
step is taken to stand alone in a wall of even thickness and square to it. Fields of several steps
may be added: with nine steps one wall apart the sum is within 1 % of E times the whole mismatch.
A slant moves stress to the face where the joint makes the sharper corner (see `joint_fields`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from cofire.physics.interface import dundurs

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


@dataclass(frozen=True)
class LocalField:
    """Two components of g at K places of one side of a joint, for any pair of materials.

    Attributes
    ----------
    components
        Over M d, at W pairs of α and 4β − α, shape (2, W, K). [-]
    """

    components: Array

    def at(self, weights: Array) -> Array:
        """Both components as stress, shape (2, ..., K). [Pa]

        Parameters
        ----------
        weights
            From `pair_weights`, shape (..., W). [Pa]
        """
        return np.stack([weights @ self.components[0], weights @ self.components[1]])


def pair_weights(
    young_modulus: tuple[npt.ArrayLike, npt.ArrayLike],
    poisson_ratio: tuple[npt.ArrayLike, npt.ArrayLike],
    mismatch: npt.ArrayLike,
) -> Array:
    """M d shared out over the pairs of α and 4β − α at which g is known, shape (..., W). [Pa]

    α beyond ±0.95 counts as that (a body 40 times softer than its neighbour).

    Parameters
    ----------
    young_modulus
        Of this side and of the other. [Pa]
    poisson_ratio
        Of this side and of the other. [-]
    mismatch
        How much more this side wants to thicken. [-]
    """
    (e1, e2), (n1, n2) = (
        [np.asarray(v, dtype=float) for v in pair] for pair in (young_modulus, poisson_ratio)
    )
    alpha, beta = dundurs(e1, n1, e2, n2)
    joint = 1.0 / ((1.0 - n1 * n1) / e1 + (1.0 - n2 * n2) / e2)
    first = _lagrange(_ALPHA_NODES, np.clip(alpha, -0.95, 0.95))
    second = _lagrange(_SKEW_NODES, np.clip(4.0 * beta - alpha, -0.8, 0.8))
    weights = first[..., :, None] * second[..., None, :]
    weights = weights.reshape(*alpha.shape, _ALPHA_NODES.size * _SKEW_NODES.size)
    return np.asarray(weights * (joint * np.asarray(mismatch, dtype=float))[..., None])


def local_field(distance: npt.ArrayLike, place: npt.ArrayLike) -> LocalField:
    """Meridional and thickness stress beside the joint, at K = P × D places, places outermost.

    Parameters
    ----------
    distance
        From the joint over the wall, shape (D,). [-]
    place
        Through the wall, -1 inside to 1 outside, shape (P,). [-]
    """
    rate, amplitude = _series()
    away = np.asarray(distance, dtype=float)[:, None]
    start = np.where(away < CUT_OFF, 0.0, away - 0.5 * CUT_OFF)
    faded = np.exp(-rate * start) * -np.expm1(-rate * CUT_OFF) / (rate * CUT_OFF)
    along, across, *_ = _fields_at(tuple(np.asarray(place, dtype=float).tolist()))
    pairs = [(shape[:, None] * faded).reshape(-1, rate.size) for shape in (along, across)]
    return _of_series(amplitude, (pairs[0], pairs[1]))


@lru_cache(maxsize=16)
def _fields_at(place: tuple[float, ...]) -> list[npt.NDArray[np.complex128]]:
    """Fields of the series at places through the wall, -1 to 1, see `_strip_fields`."""
    return _strip_fields(_series()[0], 0.5 * np.array(place)[:, None])


def traction_field() -> LocalField:
    """Normal and shear stress on the joint, mean over the outer `CUT_OFF` of the wall.

    The normal stress is the same at both faces. The shear stress is that at the outer face, on
    the side that wants to thicken; it is opposite at the inner face.
    """
    rate, amplitude = _series()
    edge = 0.5 - CUT_OFF
    *_, slope, function = _strip_fields(rate, np.array([[edge]]))
    return _of_series(amplitude, (-slope / CUT_OFF, -rate * function / CUT_OFF))


def _of_series(
    amplitude: npt.NDArray[np.complex128], shapes: tuple[npt.NDArray[np.complex128], ...]
) -> LocalField:
    flat = amplitude.reshape(-1, amplitude.shape[-1])
    return LocalField(
        np.stack([flat.real @ shape.T.real - flat.imag @ shape.T.imag for shape in shapes])
    )


def _strip_fields(rate: npt.NDArray[np.complex128], x: Array) -> list[npt.NDArray[np.complex128]]:
    """Decaying fields of a strip |x| ≤ 1/2 with free faces, each of shape (K, N).

    For the stress function F(x) exp(−λz): σ_z, σ_x, τ, ∂σ_z/∂x, ∂σ_x/∂x, then F′ and F, at z = 0.
    """
    half, turn = 0.5 * rate, rate * x
    scale = np.exp(half.imag) * np.abs(rate) ** 3
    a, b = -half * np.sin(half) / scale, np.cos(half) / scale
    cosine, sine = np.cos(turn), np.sin(turn)
    function = a * cosine + b * turn * sine
    slope = rate * ((b - a) * sine + b * turn * cosine)
    bend = rate**2 * ((2.0 * b - a) * cosine - b * turn * sine)
    third = rate**3 * ((a - 3.0 * b) * sine - b * turn * cosine)
    return [bend, rate**2 * function, rate * slope, third, rate**2 * slope, slope, function]


@lru_cache(maxsize=1)
def _series() -> tuple[npt.NDArray[np.complex128], npt.NDArray[np.complex128]]:
    """Decay rates (N,), and amplitudes on the nodes of α and 4β − α, shape (A, S, N).

    Unknowns are the amplitudes of both sides, z running away from the joint on each. Traction is
    continuous; displacement jumps by the mismatch. 2G u = (1−ν) p − q for two shapes p, q; with
    M/Ē = (1 ∓ α)/2 and M/(2G) = 1 ∓ (α−β) (up to a part common to both sides, which continuity
    of traction cancels) the equations are linear in α and in α − β.
    """
    count = np.arange(1, _TERMS + 1)
    rate = (2.0 * count - 0.5) * np.pi + 1j * np.log((4.0 * count - 1.0) * np.pi)
    for _ in range(8):
        rate = rate - (np.sin(rate) + rate) / (np.cos(rate) + 1.0)
    points, weights = np.polynomial.legendre.leggauss(2 * _TERMS)
    x = 0.25 * (points[:, None] + 1.0)
    along, across, shear, along_x, across_x, *_ = _strip_fields(rate, x)
    p_z, q_z = -(along + across) / rate, -across / rate
    p_x = -(along_x + across_x) / rate**2
    q_x = (2.0 * shear - across_x / rate) / rate

    def both(own: npt.NDArray[np.complex128], sign: float, shift: float = 0.0) -> Array:
        real = np.hstack([own.real, -own.imag])
        return np.hstack([real, sign * real, np.full((x.size, 1), shift)])

    closer = 1.0 / weights[:, None]  # the corner, where the points crowd, counts most
    idle = np.zeros((2 * x.size, 4 * _TERMS + 1))
    stress = np.vstack([both(along, -1.0), both(shear, 1.0)]) * closer[[*range(x.size)] * 2]
    move = 5.0 * np.vstack([closer, closer])
    parts = [
        np.vstack([stress, move * np.vstack([both(p_x / 2 - q_x, -1), both(p_z / 2 - q_z, 1, 1)])]),
        np.vstack([idle, move * np.vstack([both(-p_x / 2, 1), both(-p_z / 2, -1)])]),
        np.vstack([idle, move * np.vstack([both(q_x, 1), both(q_z, -1)])]),
    ]
    right = np.vstack([0.0 * x, 0.0 * x, -5.0 * closer * x, 0.0 * x])
    scale = np.linalg.norm(parts[0], axis=0)
    parts = [part / scale for part in parts]
    squares = [[one.T @ two for two in parts] for one in parts]
    loads = [(part.T @ right)[:, 0] for part in parts]
    amplitude = np.empty((_ALPHA_NODES.size, _SKEW_NODES.size, _TERMS), dtype=np.complex128)
    for i, alpha in enumerate(_ALPHA_NODES):
        for j, skew in enumerate(_SKEW_NODES):
            factor = (1.0, alpha, alpha - 0.25 * (alpha + skew))
            terms = [
                (f * g, squares[m][n]) for m, f in enumerate(factor) for n, g in enumerate(factor)
            ]
            matrix = np.sum([f * s for f, s in terms], axis=0)
            load = np.sum([f * v for f, v in zip(factor, loads, strict=True)], axis=0)
            found = cho_solve(cho_factor(matrix, check_finite=False), load) / scale
            amplitude[i, j] = found[:_TERMS] + 1j * found[_TERMS : 2 * _TERMS]
    return rate, amplitude


def _lagrange(nodes: Array, at: Array) -> Array:
    """Weights of the values at `nodes` for the polynomial through them, shape (*at, nodes)."""
    gap = nodes[:, None] - nodes + np.eye(nodes.size)
    lever = np.asarray(at)[..., None, None] - nodes + 0.0 * gap
    lever = np.where(np.eye(nodes.size, dtype=bool), 1.0, lever)
    return np.asarray(np.prod(lever / gap, axis=-1))
