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
relaxes and yields as the shell's hoop stress does, but no point of it is checked against yield. On
heating both sides count with the secant of what they have flowed (`secant_moduli`): against ten
marched solids the largest stress beside a joint is then 18 to 30 % out instead of 39 to 80 % (one,
of iron, 53 for 37). On cooling what flowed before counts as shape, and that is 5 to 70 % out: most
above the set point and where a metal yields. A
step is taken to stand alone in a wall of even thickness and square to it. Fields of several steps
may be added: with nine steps one wall apart the sum is within 1 % of E times the whole mismatch.
A slant moves stress to the face where the joint makes the sharper corner (see `JointFields`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.polynomial.chebyshev import chebvander
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from cofire.mechanics.properties import of_points
from cofire.mechanics.shell import RESULTANT_STRESS, Shells
from cofire.numerics import STATIONS, shares
from cofire.physics.interface import dundurs

if TYPE_CHECKING:
    from cofire.numerics import Array


# ----------------------------------------------------------------------------------------------
# The local stress at a step between two bands, within about one wall of it

CUT_OFF = 0.1
"""Length of the window over which local stress is averaged, over the wall. [-]"""

REACH = 2.0
"""Distance beyond which the local field is left out, over the wall. [-]"""

_SOFTEST = 1e-4  # secant modulus over the elastic one
_TERMS = 40
_ALPHA_MOST, _SKEW_MOST = 0.95, 0.8  # of α, and of 4β − α
_ALPHA_NODES = _ALPHA_MOST * np.cos(np.pi * (np.arange(13) + 0.5) / 13.0)
_SKEW_NODES = _SKEW_MOST * np.cos(np.pi * (np.arange(5) + 0.5) / 5.0)


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


def secant_moduli(young_modulus: Array, hoop: Array, flowed: Array) -> Array:
    """Stress over elastic and flowed strain since the stress last changed its sign.

    A metal that sinters beside brown ware has flowed by a hundred times its elastic strain: to what
    it meets it is the softer side, however stiff it is at the moment.

    Parameters
    ----------
    young_modulus
        At T moments, shape (T, ...). [Pa]
    hoop
        Stress, same shape. [Pa]
    flowed
        Inelastic strain, same shape; what goes against the stress does not count. [-]

    Returns
    -------
    array
        Same shape, never above the elastic one. [Pa]

    Examples
    --------
    >>> young, stress = np.full((3, 1), 1e9), np.array([[1e6], [1e6], [-1e6]])
    >>> (secant_moduli(young, stress, np.array([[0.0], [9e-3], [9e-3]])) / 1e9).ravel().round(3)
    array([1. , 0.1, 1. ])
    """
    sign = np.sign(hoop)
    before = np.concatenate([np.zeros((1, *flowed.shape[1:])), flowed])
    turned = np.zeros(flowed.shape, dtype=np.intp)
    turned[1:] = np.arange(1, len(flowed)).reshape(-1, *[1] * (flowed.ndim - 1))
    turned[1:][sign[1:] == sign[:-1]] = 0
    since = np.take_along_axis(before, np.maximum.accumulate(turned), axis=0)
    elastic = np.abs(hoop) / young_modulus
    whole = elastic + np.maximum(sign * (flowed - since), 0.0)
    share = np.divide(elastic, whole, out=np.ones(whole.shape), where=whole > 0.0)
    return np.asarray(young_modulus * np.maximum(share, _SOFTEST))


@dataclass(frozen=True)
class LocalField:
    """Two components of g at K places of one side of a joint, for any pair of materials.

    Attributes
    ----------
    components
        Over M d, at W pairs of α and 4β − α, or at R mixtures of them, shape (2, R, K). [-]
    mixtures
        Share of each pair in each mixture, shape (W, R), or None where they are the pairs. [-]
    """

    components: Array
    mixtures: Array | None = None

    def at(self, weights: Array) -> Array:
        """Both components as stress, shape (2, ..., K). [Pa]

        Parameters
        ----------
        weights
            From `pair_weights`, shape (..., W). [Pa]
        """
        shares = weights if self.mixtures is None else weights @ self.mixtures
        found = shares.reshape(-1, shares.shape[-1]) @ self.components
        return np.asarray(found.reshape(2, *shares.shape[:-1], self.components.shape[-1]))


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
    skew = (4.0 * beta - alpha) / _SKEW_MOST
    first = _chebyshev(_ALPHA_NODES.size, np.clip(alpha / _ALPHA_MOST, -1.0, 1.0))
    second = _chebyshev(_SKEW_NODES.size, np.clip(skew, -1.0, 1.0))
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


FIELD_STEP = 0.01
"""Distance between the places at which fields are worked out before they are read, over the wall.
Cubics between them are within 1.2e-4 of M d of the series, whose largest is near four. [-]"""
LEAST_MIXTURE = 1e-6
"""Of the largest singular value of the table: mixtures of pairs below it are left out, so that some
fourteen of 65 are read; what is left out is a hundredth of what the cubics miss. [-]"""


def read_field(distance: Array, place: npt.ArrayLike) -> LocalField:
    """The same as `local_field` within `REACH`, read from a table that is worked out once.

    Parameters
    ----------
    distance
        From the joint over the wall, 0 to `REACH`, shape (D,). [-]
    place
        Through the wall, -1 inside to 1 outside, shape (P,). [-]
    """
    table, mixtures = _field_table(tuple(np.asarray(place, dtype=float).tolist()))
    at = np.maximum(distance - CUT_OFF, 0.0) / FIELD_STEP
    first = np.clip(np.floor(at).astype(np.intp) - 1, 0, len(table) - 5)
    x = (at - first)[:, None]
    # Lagrange's cubic through four neighbours at 0, 1, 2, 3
    cubic = (
        -(x - 1.0) * (x - 2.0) * (x - 3.0) / 6.0,
        x * (x - 2.0) * (x - 3.0) / 2.0,
        -x * (x - 1.0) * (x - 3.0) / 2.0,
        x * (x - 1.0) * (x - 2.0) / 6.0,
    )
    read = cubic[0] * table[1 + first]
    for k in (1, 2, 3):
        read += cubic[k] * table[1 + first + k]
    read[distance < CUT_OFF] = table[0]  # they share one window
    fields = read.reshape(distance.size, 2, mixtures.shape[1], -1).transpose(1, 2, 3, 0)
    return LocalField(fields.reshape(*fields.shape[:2], -1), mixtures)


@lru_cache(maxsize=16)
def _field_table(place: tuple[float, ...]) -> tuple[Array, Array]:
    """Fields beside the joint, then from `CUT_OFF` to beyond `REACH`, and mixtures. [-]

    Shapes (distances, 2 R P) and (W, R).
    """
    steps = np.arange(int((REACH - CUT_OFF) / FIELD_STEP) + 4)
    away = np.concatenate([[0.0], CUT_OFF + FIELD_STEP * steps])
    field = local_field(away, np.array(place)).components
    pairs = field.reshape(2, -1, len(place), away.size).transpose(3, 0, 2, 1)
    _, sizes, mixtures = np.linalg.svd(pairs.reshape(-1, pairs.shape[-1]), full_matrices=False)
    told = mixtures[sizes > LEAST_MIXTURE * sizes[0]].T
    mixed = (pairs @ told).transpose(0, 1, 3, 2)
    return np.ascontiguousarray(mixed.reshape(away.size, -1)), told


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


def _chebyshev(count: int, at: Array) -> Array:
    """Weights of the values at Chebyshev's points of -1 to 1 for the polynomial through them.

    Shape (*at, count): by the discrete orthogonality of his polynomials at these points.
    """
    order = np.arange(count)
    table = np.cos(order[:, None] * np.pi * (order + 0.5) / count) * 2.0 / count
    table[0] *= 0.5
    return np.asarray(chebvander(at, count - 1) @ table)


# ----------------------------------------------------------------------------------------------
# Where the joints of a batch of shells lie, and the stress on and beside them

BESIDE = np.array([0.0, 0.05, 0.1, 0.125, 0.15, 0.25, 0.4, 0.6, 0.8, 1.0])
"""Distances from a step, over the wall, at which it is read; at 0 the shell alone. Below
`joint.CUT_OFF` they share one window, which slides from there on. [-]"""

PLACES = np.array([-1.0, -0.9, -0.7, -0.45, 0.0, 0.45, 0.7, 0.9, 1.0])
"""Places through the wall, inside to outside, at which it is read there. [-]"""

SLANT = 1.7
"""What a lean of the wall may add beside a step, over tanφ times M d of `joint`. [-]

Where the joint makes the sharper corner with a face, stress rises; the opposite face is relieved.
Against axisymmetric solids leaning 5°, 14° and 25° either way, moduli 1:1 and 2:1, walls of 1/10
and 1/20 of the radius, shell + local field + this is at most 3 % below the largest stress in the
first tenth of a wall and up to 60 % above it: an upper estimate.
"""


_Near = tuple[int, int, slice, LocalField]


@dataclass(frozen=True)
class JointState:
    """What `JointFields` finds at T states of stress, for J steps of B vessels.

    Attributes
    ----------
    hoop
        Wall mean of the shell's hoop stress below and above each step, (T, J, 2). [Pa]
    mismatch
        How much more the band below wants to thicken, shape (T, J). [-]
    local
        Meridional and hoop stress to add at the points, shape (T, 2, B, P, 2E). [Pa]
    shell_beside, beside
        The shell alone, and with the local field, at the distances `BESIDE` below and above each
        step and at the Q `PLACES`; meridional and hoop, (T, 2, Q, J, 2, D). [Pa]
    slant
        What the lean of the wall may add to the largest stress beside, shape (T, J). [Pa]
    normal
        Local field on the joint itself, see `StepStress`, shape (T, J). [Pa]
    """

    hoop: Array
    mismatch: Array
    local: Array
    shell_beside: Array
    beside: Array
    slant: Array
    normal: Array


@dataclass(frozen=True)
class JointFields:
    """The local fields of all J steps of a batch, ready for any state of stress.

    Attributes
    ----------
    body
        The vessels.
    vessel, upper
        Vessel and the element above each step, shape (J,). [-]
    """

    body: Shells
    vessel: NDArray[np.intp]
    upper: NDArray[np.intp]

    @classmethod
    def of(cls, body: Shells) -> JointFields:
        """The fields of every step between bands of different material or not.

        Parameters
        ----------
        body
            The vessels.
        """
        counts = [m.step_node.size for m in body.meridians]
        nodes = np.concatenate([m.step_node for m in body.meridians])
        return cls(body, np.repeat(np.arange(len(counts)), counts), nodes // 2)

    def at(
        self,
        stress: Array,
        young_modulus: Array,
        poisson_ratio: Array,
        flowed: Array | None = None,
    ) -> JointState:
        """The fields at T states.

        Parameters
        ----------
        stress
            Of the shells, shape (T, 3, B, P, 2E). [Pa]
        young_modulus
            Of each material, shape (T, N). [Pa]
        poisson_ratio
            Of each material, shape (N,). [-]
        flowed
            Inelastic hoop strain of the first H states, those of heating, (H, B, P, 2E). [-]
        """
        hoop = self._at_steps(stress[:, 1])
        poisson_ratio = of_points(poisson_ratio, self.body.levels)
        young = of_points(young_modulus, self.body.levels)[:, self._material]
        if flowed is not None:
            hot = len(flowed)
            softened = secant_moduli(young[:hot], hoop[:hot], self._at_steps(flowed))
            young = np.concatenate([softened, young[hot:]])
        poisson = np.broadcast_to(poisson_ratio[self._material], young.shape)
        e, nu = (np.moveaxis(v, -1, 0) for v in (young, poisson))
        mismatch = thickness_mismatch(hoop[..., 0], hoop[..., 1], (e[0], e[1]), (nu[0], nu[1]))
        weights = (
            pair_weights((e[0], e[1]), (nu[0], nu[1]), mismatch),
            pair_weights((e[1], e[0]), (nu[1], nu[0]), -mismatch),
        )
        times = stress.shape[0]
        ratio = poisson_ratio[self.body.material[:, 0]]
        local = self._added(self._near_stations, weights, self.body.geometry.through.size, ratio)
        local = np.moveaxis(local.reshape(times, 2, -1, *ratio.shape), 2, 3)
        _, at, share = self._beside
        own = stress[:, :2, self.vessel[:, None, None, None], :, at]
        read = share[..., None, :] @ own.reshape(*share.shape, 2 * times * own.shape[-1])
        shell = read.reshape(-1, own.shape[-1]) @ self._between.T
        shell = shell.reshape(*share.shape[:-1], times, 2, PLACES.size)
        shell = np.moveaxis(shell, (3, 4, 5), (0, 1, 2))
        each = np.broadcast_to(poisson_ratio[self._material][..., None], share.shape[:-1])
        order, near = self._near_beside
        added = self._added(near, weights, PLACES.size, each.ravel()[order])
        added = added[..., np.argsort(order)]
        normal = traction_field().at(weights[0])[0, ..., 0]
        return JointState(
            hoop=hoop,
            mismatch=mismatch,
            local=local,
            shell_beside=shell,
            beside=shell + added.reshape(shell.shape),
            slant=SLANT * np.abs(np.tan(self._lean) * weights[0].sum(axis=-1)),
            normal=normal,
        )

    def _at_steps(self, values: Array) -> Array:
        """Means over the wall just below and above each step, (T, J, 2), of (T, B, P, 2E)."""
        mean = np.einsum("p,tbpg->tbg", self.body.geometry.through_weight, values)
        at, share = (part[:, :, 0] for part in self._beside[1:])
        own = mean[:, self.vessel[:, None, None], at]
        return np.asarray(np.einsum("jsk,tjsk->tjs", share, own))

    @cached_property
    def _stations(self) -> NDArray[np.intp]:
        """Stations of the elements below and above each step, the nearer first, (J, 2, 2)."""
        return np.asarray(2 * self.upper[:, None, None] + np.array([[-1, -2], [0, 1]]))

    @cached_property
    def _material(self) -> NDArray[np.intp]:
        """Of the bands below and above each step, shape (J, 2)."""
        return np.asarray(self.body.material[self.vessel[:, None], 0, self._stations[:, :, 0]])

    @cached_property
    def _wall(self) -> Array:
        """At each step, shape (J,). [m]"""
        return np.stack([m.wall for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _lean(self) -> Array:
        """Of the wall at each step, from the vertical, shape (J,). [rad]"""
        slopes = self.body.geometry.slope[self.vessel[:, None], self._stations[:, :, 0]]
        return np.asarray(slopes.mean(axis=1))

    @cached_property
    def _place(self) -> Array:
        """Arc length of each step, shape (J,). [m]"""
        return np.stack([m.arc_length for m in self.body.meridians])[self.vessel, 2 * self.upper]

    @cached_property
    def _beside(self) -> tuple[Array, NDArray[np.intp], Array]:
        """Arc length of places beside steps, stations of the band to read them from, and shares.

        Shapes (J, 2, D), (J, 2, D, K), (J, 2, D, K). Places stay in the nearer half of a band
        between two steps, and within a band at an end.
        """
        meshes = self.body.meridians
        ends = [np.concatenate([[0], m.step_node, [2 * m.elements]]) for m in meshes]
        length = [m.arc_length[end] for m, end in zip(meshes, ends, strict=True)]
        room = [0.5 * np.diff(one) for one in length]
        for one in room:
            one[[0, -1]] *= 2.0
        # the bands below and above each step: first and last station, and how far to read
        first, last, reach = (
            np.concatenate([np.stack([one[:-1], one[1:]], axis=1) for one in each])
            for each in ([e[:-1] for e in ends], [e[1:] for e in ends], room)
        )
        away = np.minimum(BESIDE * self._wall[:, None, None], reach[..., None])
        place = self._place[:, None, None] + np.array([[-1.0], [1.0]]) * away
        index = np.zeros((*place.shape, STATIONS), dtype=np.intp)
        share = np.zeros(index.shape)
        for number, arc in enumerate(self.body.geometry.arc_length):
            own = self.vessel == number
            index[own], share[own] = shares(place[own], arc, first[own], last[own])
        return place, index, share

    def _added(
        self, near: list[_Near], weights: tuple[Array, Array], places: int, ratio: Array
    ) -> Array:
        """Sum of the local fields, meridional and hoop, shape (T, 2, places, samples). [Pa]"""
        times = weights[0].shape[0]
        total = np.zeros((times, 2, places, ratio.size))
        for number, side, samples, field in near:
            added = field.at(weights[side][:, number]).reshape(2, times, places, -1)
            total[..., samples] += added.swapaxes(0, 1)
        total[:, 1] = ratio.ravel() * (total[:, 0] + total[:, 1])
        return total

    @cached_property
    def _near_stations(self) -> list[_Near]:
        """Stations within reach of each step."""
        g = self.body.geometry
        owner = np.repeat(np.arange(len(g.arc_length)), g.arc_length.shape[1])
        return self._near(g.arc_length.ravel(), owner, g.through)

    @cached_property
    def _near_beside(self) -> tuple[NDArray[np.intp], list[_Near]]:
        """Places beside steps in the order of their place, and those within reach of each step."""
        place = self._beside[0]
        owner = np.repeat(self.vessel, place.shape[1] * place.shape[2])
        order = np.lexsort((place.ravel(), owner))
        return order, self._near(place.ravel()[order], owner[order], PLACES)

    def _near(self, place: Array, owner: NDArray[np.intp], through: Array) -> list[_Near]:
        """Step, side, samples within reach, and the field there; samples rise in every vessel."""
        where: list[tuple[int, int, slice]] = []
        away: list[Array] = []
        for number, vessel in enumerate(self.vessel.tolist()):
            first, last = np.searchsorted(owner, [vessel, vessel + 1]).tolist()
            distance = (place[first:last] - self._place[number]) / self._wall[number]
            low, above = np.searchsorted(distance, [-REACH, 0.0], "right").tolist()
            below, high = np.searchsorted(distance, [0.0, REACH], "left").tolist()
            for side, (a, b) in enumerate(((low, below), (above, high))):
                where.append((number, side, slice(first + a, first + b)))
                away.append(np.abs(distance[a:b]))
        if not where:
            return []
        field = read_field(np.concatenate(away), through)
        components = field.components.reshape(*field.components.shape[:2], through.size, -1)
        ends = np.cumsum([one.size for one in away])[:-1]
        parts = np.split(components, ends, axis=-1)
        return [
            (*at, LocalField(part.reshape(*part.shape[:2], -1), field.mixtures))
            for at, part in zip(where, parts, strict=True)
        ]

    @cached_property
    def _between(self) -> Array:
        """Shares of the points through the wall at `PLACES`, along straight lines, (Q, P)."""
        through = self.body.geometry.through
        return np.stack([np.interp(PLACES, through, one) for one in np.eye(through.size)], axis=1)


def joint_forces(body: Shells, fields: JointFields, stress: Array) -> Array:
    """Radial and axial force and moment on each joint, from above, (T, J, 3). [N/m], [N/m], [N]

    Taken from the work of the stresses in the elements below and above, so that they balance
    exactly; where the wall bears its weight, the mean of the two.

    Parameters
    ----------
    body
        The vessels.
    fields
        Their joints.
    stress
        Shape (T, 3, B, P, 2E). [Pa]
    """
    g, owner = body.geometry, fields.vessel[:, None]
    ring = np.stack([m.radius for m in body.meridians])[fields.vessel, 2 * fields.upper]
    total = np.zeros((stress.shape[0], fields.vessel.size, 3))
    for element, node, sign in ((fields.upper - 1, 6, 0.5), (fields.upper, 0, -0.5)):
        pair = 2 * element[:, None] + np.arange(2)
        share = g.share[:, owner, :, pair]
        work = stress[:, RESULTANT_STRESS][:, :, owner, :, pair]
        section = np.einsum("jxcp,jxtcp->tjxc", share, work)
        section = section.reshape(*section.shape[:2], 10)
        rows = g.transposed[fields.vessel, element, node : node + 3]
        total += sign * np.einsum("jux,tjx->tju", rows, section)
    return np.asarray(total / (2.0 * np.pi * ring[:, None]))
