"""When a crack appears, where it stops, and when it runs through: stress and energy together.

The coupled criterion (Leguillon 2002, Eur. J. Mech. A 21, 61, doi 10.1016/S0997-7538(01)01184-6,
from memory): a crack of length l appears when stress exceeds strength over l *and* the energy freed
over l exceeds the toughness summed over l. Stress falls along the paths he looks at, so that its
value at l decides. Where it does not, its mean over l is to reach the strength too (as that alone
is asked by Cornetti, Pugno, Carpinteri & Taylor 2006, Eng. Fract. Mech. 73, 2021, from memory): a
face that is pressed for a hundredth of the wall, with tension behind, stops no crack, and a crack
jumps over what is pressed only as far as what pulls bears it. Pure formulas on arrays; a load state
is a row.

What is expected, and what would show an error
----------------------------------------------
* No stress never cracks. Strength -> 0 leaves energy alone (Griffith), toughness -> 0 strength.
* An edge crack in a strip follows Tada, Paris & Irwin within 1 % in stress intensity.
* Where the metal contracts more the joint's faces press: first comes a shallow ring crack in the
  ceramic, a tenth to a quarter of a wall from the joint, that stops at about a quarter of the wall;
  at 1.2 to 1.7 times that mismatch a ring crack at the peak of bending runs through.
* Where the ceramic contracts more: along the joint or at the peak; below both the axial crack by
  hoop tension, at about half the mismatch.
* The first-crack mismatch falls from 5.3e-3 to 1.7e-3 from a wall of 0.5 to one of 16 mm (40 MPa,
  15 J/m²) and hardly knows the radius.

What was found (ceramic 70 GPa, nu 0.2, metal 0.3; `python -m tests.crack_limits`)
--------------------------------------------------------------------------------
* Metal contracts more, alike in stiffness: 3.8e-3 at 0.5 mm to 1.3e-3 at 16 mm; radius 20 or 50 mm
  within 5 %. In thick walls (6 mm; 2 mm on a radius of 20) the ring crack beside the step comes
  first, in thin ones the peak. Whether the one beside the step stops hangs on shear at its tip. If
  that hinders it, it stops at a third of the wall; the peak follows at 1.3 times the load. A
  body gives way to both modes alike, as its crack turns: through at 1.0 to 1.2 times the start.
* Ceramic contracts more: the peak in thin walls, the joint in thick ones and on a stiff metal. The
  axial crack comes at 0.3 to 0.7 of that; on a metal three times as stiff at 0.5 to 0.9 up to 2 mm,
  and from 6 mm on the joint parts before it.

Every load state is proportional: at factor f stresses are f times and energies f² times those
given. A factor below one says that the crack comes before the state is reached; 1/factor is a load.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from cofire.errors import InputError, OutOfRange
from cofire.numerics import Array, StraightLines, gauss_points
from cofire.physics.porosity import positive

THROUGH = 0.9
"""Share of the path past which a crack counts as through: a ring crack under restrained bending
frees ever less in the last ligament, which no vessel lives on (estimate). [-]"""
MODE_SENSITIVITY = 0.3
"""Lambda of the mode-mix law: Hutchinson & Suo 1992 show 0.3 as a strong influence; toughness at
pure shear is then 4.9 times that of opening (from memory). [-]"""
FINER = 12
"""Points between two given lengths at which the criterion is read."""
REACH = 1e-3
"""Shortest crack read, as a share of the first given length."""

# Fett & Munz 1997, Stress Intensity Factors and Weight Functions: edge crack in a strip, A[nu, mu]
# (from memory; tension within 1 % of Tada, bending within 2 % of Brown & Srawley, see the tests)
EDGE_COEFFICIENTS = (
    (0.4980, 2.4463, 0.0700, 1.3187, -3.067),
    (0.5416, -5.0806, 24.3447, -32.7208, 18.1214),
    (-0.19277, 2.55863, -12.6415, 19.7630, -10.986),
)


@dataclass(frozen=True)
class CrackLimit:
    """Load factors of one path; leading axes are load states.

    Attributes
    ----------
    start
        Factor at which a crack appears; infinite if never. [-]
    start_length
        Length that appears at once. [m]
    arrest_length
        Where that crack stops at the same load; the whole path if it runs through. [m]
    through
        Factor at which it has run through; infinite if never. [-]
    """

    start: Array
    start_length: Array
    arrest_length: Array
    through: Array

    def of(self, path: int) -> CrackLimit:
        """Those of one of several paths, along the first axis.

        Parameters
        ----------
        path : int
            Which.
        """
        return CrackLimit(
            self.start[path],
            self.start_length[path],
            self.arrest_length[path],
            self.through[path],
        )

    @property
    def runs(self) -> npt.NDArray[np.bool_]:
        """Whether the first crack runs through at the load at which it appears."""
        return np.isfinite(self.start) & (self.through <= self.start * (1.0 + 1e-9))


def mode_mix_toughness(
    toughness: npt.ArrayLike, phase: npt.ArrayLike, sensitivity: float = MODE_SENSITIVITY
) -> Array:
    """Toughness of a joint for a crack that opens and slides, finite at pure shear. [J/m2]

    Hutchinson & Suo 1992, Adv. Appl. Mech. 29, 63: G_c = G_Ic [1 + tan²((1 - lambda) psi)] (from
    memory). Past pure shear the faces press: the value at pure shear.

    Parameters
    ----------
    toughness : array_like
        For a crack that only opens. [J/m2]
    phase : array_like
        Of shear to opening at the tip. [rad]
    sensitivity : float
        Lambda: 1 for none; above 0. [-]

    Raises
    ------
    InputError
        If lambda is not above 0 and at most 1.

    Examples
    --------
    >>> float(mode_mix_toughness(15.0, 0.0))
    15.0
    """
    if not 0.0 < sensitivity <= 1.0:
        msg = f"mode sensitivity = {sensitivity:g}: must be above 0 and at most 1"
        raise InputError(msg)
    angle = np.minimum(np.abs(np.asarray(phase, np.float64)), 0.5 * np.pi)
    return np.asarray(
        positive("toughness", toughness) * (1.0 + np.tan((1 - sensitivity) * angle) ** 2)
    )


def kink_gain(phase: npt.ArrayLike) -> Array:
    """Largest energy release rate of a short kink over that of the crack it turns out of. [-]

    K_t = cos(w/2) [K_I cos²(w/2) - 3/2 K_II sin w], the largest over the angle w (Cotterell & Rice
    1980, Int. J. Fract. 16, 155, from memory): one body, or two of like stiffness. A crack in a
    joint turns into a body whose toughness is less than that many times the joint's at its phase
    (He & Hutchinson 1989, J. Appl. Mech. 56, 270, from memory). Past pure shear the value there.

    Parameters
    ----------
    phase : array_like
        Of shear to opening at the tip. [rad]

    Examples
    --------
    >>> [round(float(g), 3) for g in kink_gain([0.0, 0.5 * np.pi])]
    [1.0, 1.333]
    """
    angle = np.minimum(np.abs(np.asarray(phase, np.float64)), 0.5 * np.pi)[..., None]
    w = np.linspace(0.0, 0.5 * np.pi, 361)
    K = np.cos(0.5 * w) * (np.cos(angle) * np.cos(0.5 * w) ** 2 + 1.5 * np.sin(angle) * np.sin(w))
    return np.asarray(np.max(K, axis=-1) ** 2)


def strength_use(
    normal: npt.ArrayLike,
    shear: npt.ArrayLike,
    strength: npt.ArrayLike,
    shear_strength: float = np.inf,
    friction: float = 0.0,
) -> Array:
    """Share of the strength that stress on a plane uses up; below zero nowhere. [-]

    An ellipse in tension and shear; where the plane is pressed, shear alone, less friction (common
    practice for joints).

    Parameters
    ----------
    normal, shear : array_like
        Stress on the plane, tension positive. [Pa]
    strength : array_like
        In tension, broadcastable to the stress. [Pa]
    shear_strength : float
        In shear; infinite where shear alone parts nothing. [Pa]
    friction : float
        Of faces that press; 0 is on the safe side. [-]

    Examples
    --------
    >>> float(strength_use(20e6, 0.0, 40e6))
    0.5
    """
    if not shear_strength > 0.0:
        msg = f"shear strength = {shear_strength:g} Pa: must be positive"
        raise InputError(msg)
    n, t = np.asarray(normal, np.float64), np.abs(np.asarray(shear, np.float64))
    sliding = np.maximum(t - friction * np.maximum(-n, 0.0), 0.0)
    opening = np.maximum(n, 0.0) / positive("strength", strength)
    return np.asarray(np.hypot(opening, sliding / shear_strength))


def use_along(
    path: Array,
    normal: Array,
    shear: npt.ArrayLike,
    strength: npt.ArrayLike,
    shear_strength: float = np.inf,
    friction: float = 0.0,
) -> Array:
    """Share of the strength that stress over each length of a path uses, shape (..., N). [-]

    The less of what it uses at the end of the length and what its mean over the length uses; where
    stress falls along the path, that at the end.

    Parameters
    ----------
    path : array
        Length, or area of a ring, from 0, rising, shape (N,). [m] or [m²]
    normal, shear : array_like
        On the path, read along straight lines between, shape (..., N). [Pa]
    strength, shear_strength, friction
        As in `strength_use`. [Pa], [Pa], [-]

    Examples
    --------
    >>> path = np.array([0.0, 1.0, 2.0, 3.0])
    >>> use_along(path, np.array([30e6, 20e6, 10e6, -10e6]), 0.0, 40e6).tolist()
    [0.75, 0.5, 0.25, 0.0]
    >>> use_along(path, np.array([-10e6, 30e6, 30e6, 30e6]), 0.0, 40e6).round(3).tolist()
    [0.0, 0.25, 0.5, 0.583]
    """
    pull, slide = np.broadcast_arrays(normal, np.asarray(shear, np.float64))
    use = strength_use(pull, slide, strength, shear_strength, friction)
    step = np.diff(path)
    both = np.stack([pull, slide])
    mean = np.cumsum(0.5 * (both[..., 1:] + both[..., :-1]) * step, axis=-1) / path[1:]
    over = strength_use(mean[0], mean[1], strength, shear_strength, friction)
    return np.concatenate([use[..., :1], np.minimum(use[..., 1:], over)], axis=-1)


def coupled_criterion(
    length: npt.ArrayLike,
    use: npt.ArrayLike,
    energy: npt.ArrayLike,
    resistance: npt.ArrayLike,
    through: float = THROUGH,
) -> CrackLimit:
    """Load factors at which a crack starts from an end of a path, where it stops and runs through.

    Start: the least factor at which, for some l, `use` is at least 1 and `energy` reaches
    `resistance` (Leguillon 2002). It then grows while the energy of the next piece exceeds
    its resistance. Between given lengths energy and resistance are read as powers of the length.

    Parameters
    ----------
    length : array_like
        From 0, rising, shape (N,). [m]
    use : array_like
        Share of the strength used over each length before the crack is there, from `use_along`,
        shape (..., N). [-]
    energy : array_like
        Freed by a crack of each length, never falling, 0 at first, shape (..., N). [J/m or J/rad]
    resistance : array_like
        Toughness summed over the area of each length, 0 at first, shape (..., N) or (N,).
        [J/m or J/rad]
    through : float
        Share of the last length past which the crack is through. [-]

    Raises
    ------
    InputError
        If lengths do not rise from zero.
    """
    place = np.asarray(length, np.float64)
    if place.ndim != 1 or place.size < 3 or place[0] != 0.0 or np.any(np.diff(place) <= 0.0):
        msg = f"lengths of a crack path = {place!r}: at least three, rising from 0"
        raise InputError(msg)
    taken, freed, needed = np.broadcast_arrays(
        *(np.asarray(v, np.float64) for v in (use, energy, resistance))
    )
    grid = _finer(place.tobytes())
    fine = grid.length
    log_freed = grid.powers(np.maximum(freed[..., 1:], 1e-300), 2.0)
    log_needed = grid.powers(needed[..., 1:], 1.0)
    along = grid.between.of(taken)
    with np.errstate(divide="ignore", over="ignore"):
        by_stress = np.where(along > 0.0, 1.0 / np.maximum(along, 1e-300), np.inf)
        by_energy = np.exp(np.minimum(0.5 * (log_needed - log_freed), 300.0))
        both = np.maximum(by_stress, by_energy)
        both[by_energy > 1e100] = np.inf
    least = both.min(axis=-1, keepdims=True)
    first = np.argmax(both <= least * (1.0 + 1e-9), axis=-1)
    start = np.take_along_axis(both, first[..., None], -1)[..., 0]
    # growth: energy over resistance of each piece, read at its middle
    piece = np.diff(freed, axis=-1) / np.diff(needed, axis=-1)
    log_ratio = grid.middles.of(np.log(np.maximum(piece, 1e-300)))
    log_ratio += grid.short  # a short crack frees energy in proportion to its length
    grows = np.exp(np.minimum(-0.5 * log_ratio, 300.0))  # factor at which it grows there
    ahead = np.arange(fine.size) > first[..., None]
    inside = fine <= through * place[-1]
    needs = np.max(np.where(ahead & inside, grows, 0.0), axis=-1)
    stopped = ahead & (grows > start[..., None] * (1.0 + 1e-9))
    stop = np.where(stopped.any(axis=-1), np.argmax(stopped, axis=-1) - 1, fine.size - 1)
    arrest = fine[np.maximum(stop, first)]
    arrest = np.where(arrest >= through * place[-1], place[-1], arrest)
    never = ~np.isfinite(start)
    runs = np.where(never, np.inf, np.maximum(start, needs))
    runs = np.where(runs > 1e100, np.inf, runs)
    return CrackLimit(
        np.asarray(start),
        np.where(never, 0.0, fine[first]),
        np.where(never, 0.0, arrest),
        np.asarray(runs),
    )


@dataclass(frozen=True)
class _Grid:
    """Lengths between those given and down to a small share of the first, and how to read there.

    `middles` reads from the middles of the pieces between given lengths; `short` is the logarithm
    of a length over the first of these, zero beyond it; `below` the same of the first length.
    """

    length: Array
    between: StraightLines
    middles: StraightLines
    short: Array
    logs: StraightLines
    below: Array

    def powers(self, values: Array, exponent: float) -> Array:
        """Logarithm of values at all lengths given but 0, as powers of the length between them."""
        return self.logs.of(np.log(values)) + exponent * self.below


@lru_cache(maxsize=64)
def _finer(place: bytes) -> _Grid:
    """Of a path by its lengths; the same few paths are asked for again and again."""
    known = np.frombuffer(place)
    steps = np.arange(FINER) / FINER
    low = known[1] * REACH ** (1.0 - np.arange(3 * FINER) / (3 * FINER))
    inner = known[1:-1, None] * (known[2:] / known[1:-1])[:, None] ** steps
    fine = np.concatenate([low, inner.ravel(), known[-1:]])
    middle, logs, x = 0.5 * (known[1:] + known[:-1]), np.log(fine), np.log(known[1:])
    return _Grid(
        fine,
        StraightLines.between(known, fine),
        StraightLines.between(middle, fine),
        np.minimum(logs - np.log(middle[0]), 0.0),
        StraightLines.between(x, logs),
        np.minimum(logs - x[0], 0.0),
    )


def edge_crack_operator(depth: npt.ArrayLike, position: npt.ArrayLike, thickness: float) -> Array:
    """Matrix that gives stress intensity of edge cracks in a strip from the stress on their line.

    K = A stress, shape (N, P), by the weight function of Fett & Munz 1997, Stress Intensity
    Factors and Weight Functions (from memory): free ends, plane. Within 1 % of Tada, Paris & Irwin
    in tension, 2 % of Brown & Srawley in bending, for depths of 0.01 to 0.6. [m^0.5]

    Parameters
    ----------
    depth : array_like
        Of the cracks, within the strip, shape (N,). [m]
    position : array_like
        Distance from the cracked face at which stress will be given, rising from 0, read along
        straight lines between, shape (P,). [m]
    thickness : float
        Of the strip; infinite for a half plane. [m]

    Raises
    ------
    InputError
        If a depth is not inside the strip.
    """
    a, x = np.asarray(depth, np.float64), np.asarray(position, np.float64)
    if np.any(a <= 0.0) or np.any(a >= thickness):
        msg = f"crack depths = {a!r} m: must lie inside the strip of {thickness:g} m"
        raise InputError(msg)
    return _edge_cracks(a.tobytes(), x.tobytes(), float(thickness)).copy()


@lru_cache(maxsize=128)
def _edge_cracks(depth: bytes, position: bytes, thickness: float) -> Array:
    """`edge_crack_operator`, kept: the same walls come back with every sample and candidate."""
    a, x = np.frombuffer(depth), np.frombuffer(position)
    node, weight = gauss_points(24)
    u = 0.5 * (node + 1.0)  # x = a (1 - u²) takes the root at the tip away
    share = a / thickness
    rest = (1.0 - share) ** 1.5
    total = np.repeat(rest[:, None], u.size, axis=1)
    for nu, row in enumerate(EDGE_COEFFICIENTS):
        total += u ** (2 * nu + 2) * np.polynomial.polynomial.polyval(share, row)[:, None]
    density = np.sqrt(2.0 * a / np.pi)[:, None] * total / rest[:, None] * weight
    return _to_positions(density, a[:, None] * (1.0 - u**2), x)


def inner_crack_operator(length: npt.ArrayLike, position: npt.ArrayLike) -> Array:
    """Matrix that gives stress intensity at the far tip of cracks from 0 to `length` in a plane.

    K = A stress, shape (N, P): 1/sqrt(pi c) times the integral of stress sqrt((c+x)/(c-x)), crack
    from -c to c (Tada, Paris & Irwin, from memory). Infinite plane, of one stiffness. [m^0.5]

    Parameters
    ----------
    length : array_like
        Whole length of the cracks, shape (N,). [m]
    position : array_like
        Distance from the fixed tip, rising from 0, shape (P,). [m]
    """
    c = 0.5 * positive("length", length)
    node, weight = gauss_points(32)
    angle = 0.5 * np.pi * node  # x = c sin(angle): sqrt((c+x)/(c-x)) dx = c (1 + sin) d angle
    density = np.sqrt(c / np.pi)[:, None] * (1.0 + np.sin(angle)) * 0.5 * np.pi * weight
    return _to_positions(density, c[:, None] * (1.0 + np.sin(angle)), np.asarray(position))


def _to_positions(density: Array, place: Array, position: Array) -> Array:
    """Weights at `place`, handed on to the positions between which they lie."""
    cell = np.clip(np.searchsorted(position, place, side="right") - 1, 0, position.size - 2)
    share = np.clip((place - position[cell]) / (position[cell + 1] - position[cell]), 0.0, 1.0)
    matrix = np.zeros((place.shape[0], position.size))
    row = np.broadcast_to(np.arange(place.shape[0])[:, None], place.shape)
    np.add.at(matrix, (row, cell), density * (1.0 - share))
    np.add.at(matrix, (row, cell + 1), density * share)
    return matrix


def freed_energy(length: npt.ArrayLike, intensity: npt.ArrayLike, modulus: float) -> Array:
    """Energy freed by cracks of each length, from their stress intensity: sum of K²/E'. [J/m]

    Parameters
    ----------
    length : array_like
        Rising from 0, shape (N,). [m]
    intensity : array_like
        At each length, 0 at first; negative ones are closed and free nothing, shape (..., N).
        [Pa m^0.5]
    modulus : float
        E in plane stress, E/(1 - nu²) in plane strain. [Pa]
    """
    a = np.asarray(length, np.float64)
    rate = np.maximum(np.asarray(intensity, np.float64), 0.0) ** 2 / modulus
    steps = 0.5 * (rate[..., 1:] + rate[..., :-1]) * np.diff(a)
    return np.concatenate([np.zeros_like(rate[..., :1]), np.cumsum(steps, axis=-1)], axis=-1)


def crack_lengths(path: float, finest: float = 1e-3, count: int = 60) -> Array:
    """Lengths from 0 to `THROUGH` of a path, close at its beginning, shape (count,). [m]

    Parameters
    ----------
    path : float
        Its length. [m]
    finest : float
        First length, as a share of the path. [-]
    count : int
        How many.
    """
    return np.asarray(path * np.concatenate([[0.0], np.geomspace(finest, THROUGH, count - 1)]))


def ring_crack_energy(
    depth: npt.ArrayLike,
    position: npt.ArrayLike,
    stress: npt.ArrayLike,
    *,
    wall: float,
    radius: float,
    young: float,
    poisson: float,
) -> Array:
    """Energy freed by a ring crack from one face of a long tube, per length of that face. [J/m]

    Strip under the stress of the uncracked wall; the crack turns its faces by theta, and the tube
    answers with a moment -D beta theta/2 (Timoshenko & Woinowsky-Krieger 1959 for each half; the
    strip's turn by reciprocity, derived). For pure bending this is 1/(1 + k theta)². Against a
    solid within 2 % at all depths, radius over wall 3 and more, see the tests; not for a
    plane that carries much shear, as a joint.

    Parameters
    ----------
    depth : array_like
        Rising from 0, below the wall, shape (N,). [m]
    position : array_like
        Distance from the cracked face, from 0 to `wall`, shape (P,). [m]
    stress : array_like
        Along the meridian before the crack, shape (..., P). [Pa]
    wall, radius : float
        Thickness, and radius of the middle; no band step within 1/beta. [m]
    young, poisson : float
        Young's modulus [Pa] and Poisson's ratio. [-]
    """
    a, x, h = np.asarray(depth, np.float64), np.asarray(position, np.float64), wall
    plane = young / (1.0 - poisson**2)
    stiffness = plane * h**3 / 12.0
    restraint = 0.5 * stiffness * (3.0 * (1.0 - poisson**2)) ** 0.25 / np.sqrt(radius * h)
    operator = np.concatenate([np.zeros((1, x.size)), edge_crack_operator(a[1:], x, h)])
    by_moment = operator @ (6.0 / h**2 * (1.0 - 2.0 * x / h))
    alone = np.asarray(stress, np.float64) @ operator.T

    def turn(K: Array) -> Array:
        rate = 2.0 / plane * K * by_moment
        steps = 0.5 * (rate[..., 1:] + rate[..., :-1]) * np.diff(a)
        return np.concatenate([np.zeros_like(rate[..., :1]), np.cumsum(steps, axis=-1)], axis=-1)

    theta = turn(alone) / (1.0 + restraint * turn(by_moment))
    return freed_energy(a, alone - restraint * theta * by_moment, plane)


def _from_both_faces(
    place: Array, field: Array, wall: float
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Distances from the inner face and the stress there; the same from the outer one."""
    inner, outer = 0.5 * wall * (1.0 + place), 0.5 * wall * (1.0 - place)
    return (inner, field), (outer[::-1], field[..., ::-1])


def ring_limits(
    position: npt.ArrayLike,
    stress: npt.ArrayLike,
    *,
    wall: float,
    radius: float,
    young: float,
    poisson: float,
    strength: npt.ArrayLike,
    toughness: float,
) -> tuple[CrackLimit, CrackLimit]:
    """Load factors of ring cracks from the inner and from the outer face, by `ring_crack_energy`.

    Parameters
    ----------
    position : array_like
        Through the wall from -1 at the inner to 1 at the outer face, shape (P,). [-]
    stress : array_like
        Along the meridian before the crack, shape (..., P). [Pa]
    wall, radius : float
        Thickness, and radius of curvature of the ring: that of the middle over the cosine of the
        wall's lean. [m]
    young, poisson : float
        Young's modulus [Pa] and Poisson's ratio. [-]
    strength : array_like
        One, or one a load state, shape (...). [Pa]
    toughness : float
        [J/m2]

    Examples
    --------
    >>> inner, outer = ring_limits([-1, 1], [[-30e6, 30e6]], wall=4e-3, radius=0.05, young=70e9,
    ...                            poisson=0.2, strength=40e6, toughness=15.0)
    >>> bool(inner.start[0] > 1e6), round(float(outer.start[0]), 2)
    (True, 1.55)
    """
    place, field = np.asarray(position, np.float64), np.asarray(stress, np.float64)
    a = crack_lengths(wall)
    pulls, energy = [], []
    for x, seen in _from_both_faces(place, field, wall):
        pulls.append(StraightLines.between(x, a).of(seen))
        energy.append(
            ring_crack_energy(a, x, seen, wall=wall, radius=radius, young=young, poisson=poisson)
        )
    use = use_along(a, np.stack(pulls), 0.0, np.asarray(strength)[..., None])
    both = coupled_criterion(a, use, np.stack(energy), toughness * a, through=0.999 * THROUGH)
    return both.of(0), both.of(1)


def axial_crack_energy(
    length: npt.ArrayLike,
    hoop: npt.ArrayLike,
    *,
    wall: float,
    radius: float,
    young: float,
    beyond: float = 0.0,
) -> Array:
    """Energy freed by a crack through the wall that runs along the meridian from an edge. [J]

    Plane sheet under the mean hoop stress of the wall before the crack, times Folias' factor
    1 + 1.255 s² - 0.0135 s⁴, s = half length/sqrt(radius wall) (from memory; made for a crack far
    from ends). From a rim: edge crack of a half plane, s with the whole length. From a joint: the
    body beyond holds the mouth shut; its stiffness counts as 1/(1 + 0.45 (Y - E)/(Y + E)) (by
    three-dimensional finite elements). Against those, radius over wall 10 and 25, Y/E 0.5 to 3:
    load within 2 % up to 0.3 sqrt(radius wall), 5 % to 0.6, 9 % to 1; see the tests.

    Parameters
    ----------
    length : array_like
        From the edge, rising from 0, at most 1.5 sqrt(radius wall), shape (N,). [m]
    hoop : array_like
        Mean over the wall at each length, shape (..., N). [Pa]
    wall, radius : float
        [m]
    young : float
        Young's modulus. [Pa]
    beyond : float
        That of the body beyond the joint, between a third and three times `young`; 0 for a rim.
        [Pa]

    Raises
    ------
    OutOfRange
        If the crack is too long or the stiffnesses too unlike.
    """
    y = np.asarray(length, np.float64)
    if y[-1] > 1.5 * np.sqrt(radius * wall):
        msg = f"axial crack of {y[-1]:g} m: at most 1.5 sqrt(radius wall)"
        raise OutOfRange(msg)
    if beyond and not 0.33 <= beyond / young <= 3.01:
        msg = f"moduli in a ratio of {beyond / young:g}: 1/3 to 3 for an axial crack at a joint"
        raise OutOfRange(msg)
    if beyond:
        operator, half = inner_crack_operator(y[1:], y), 0.5 * y
    else:
        operator, half = edge_crack_operator(y[1:], y, np.inf), y
    held = 1.0 + 0.45 * (beyond - young) / (beyond + young) if beyond else 1.0
    K = np.asarray(hoop, np.float64) @ np.concatenate([np.zeros((1, y.size)), operator]).T
    s = half / np.sqrt(radius * wall)
    bulge = np.sqrt(1.0 + 1.255 * s**2 - 0.0135 * s**4)
    return wall / held * freed_energy(y, K * bulge, young)


@dataclass(frozen=True)
class AxialLimits:
    """Load factors of cracks in the meridian plane from one edge; leading axes are load states.

    Attributes
    ----------
    inner, outer
        Into the wall from each face, close to the edge.
    along
        Through the wall at once and along the meridian; its `arrest_length` says how far.
    """

    inner: CrackLimit
    outer: CrackLimit
    along: CrackLimit

    @property
    def start(self) -> Array:
        """Factor of the first crack. [-]"""
        return np.minimum(np.minimum(self.inner.start, self.outer.start), self.along.start)

    @property
    def through(self) -> Array:
        """Factor of the first crack through the wall. [-]"""
        return np.minimum(np.minimum(self.inner.through, self.outer.through), self.along.start)


def axial_limits(
    height: npt.ArrayLike,
    position: npt.ArrayLike,
    hoop: npt.ArrayLike,
    *,
    wall: float,
    radius: float,
    young: float,
    poisson: float,
    strength: npt.ArrayLike,
    toughness: float,
    beyond: float = 0.0,
) -> AxialLimits:
    """Load factors of axial cracks by hoop tension from a rim or joint, into the wall and along it.

    Into the wall as an edge crack of a strip in plane strain, without restraint by the ring, under
    the mean stress of a height of four depths: an upper bound, near where the crack is four times
    as high as deep and no deeper than a fifth of the wall (estimate). Along the wall by
    `axial_crack_energy`.

    Parameters
    ----------
    height : array_like
        Distance along the wall from the edge into the brittle body, rising from 0, shape (Y,). [m]
    position : array_like
        Through the wall from -1 at the inner to 1 at the outer face, shape (P,). [-]
    hoop : array_like
        Stress in the ring direction, shape (..., Y, P). [Pa]
    wall, radius : float
        Thickness, and radius of curvature of the ring, at the edge. [m]
    young, poisson : float
        Young's modulus [Pa] and Poisson's ratio. [-]
    strength : array_like
        One, or one a load state, shape (...). [Pa]
    toughness : float
        [J/m2]
    beyond : float
        Young's modulus beyond a joint; 0 for a rim. [Pa]

    Examples
    --------
    >>> even = np.full((2, 2), 20e6)
    >>> found = axial_limits([0.0, 0.05], [-1, 1], even, wall=2e-3, radius=0.05, young=70e9,
    ...                      poisson=0.2, strength=40e6, toughness=15.0)
    >>> round(float(found.start), 3)
    2.0
    """
    y, place = np.asarray(height, np.float64), np.asarray(position, np.float64)
    bears = np.asarray(strength, np.float64)[..., None]
    field = np.asarray(hoop, np.float64)
    a = crack_lengths(wall)
    # mean over four depths: integral of straight lines, exact
    reach = np.minimum(4.0 * np.maximum(a, 1e-3 * a[1]), y[-1])
    share, weight = gauss_points(12)
    at = 0.5 * reach[:, None] * (share + 1.0)
    mean = _to_positions(np.broadcast_to(0.5 * weight, at.shape), at, y)
    pulls, freed = [], []
    for x, seen in _from_both_faces(place, field, wall):
        at_depth = mean @ seen
        operator = np.concatenate([np.zeros((1, x.size)), edge_crack_operator(a[1:], x, wall)])
        K = np.einsum("np,...np->...n", operator, at_depth)
        read = StraightLines.between(x, a).of(np.eye(x.size)).T
        pulls.append(np.einsum("np,...np->...n", read, at_depth))
        freed.append(freed_energy(a, K, young / (1.0 - poisson**2)))
    use = use_along(a, np.stack(pulls), 0.0, bears)
    faces = coupled_criterion(a, use, np.stack(freed), toughness * a, through=0.999 * THROUGH)
    length = crack_lengths(min(float(y[-1]), 1.5 * float(np.sqrt(radius * wall))) * 0.999 / THROUGH)
    across = 0.5 * np.diff(place, prepend=place[0]) + 0.5 * np.diff(place, append=place[-1])
    middle = field @ (across / across.sum())
    there = StraightLines.between(y, length).of(middle)
    energy = axial_crack_energy(length, there, wall=wall, radius=radius, young=young, beyond=beyond)
    use = use_along(length, there, 0.0, bears)
    along = coupled_criterion(length, use, energy, toughness * wall * length)
    return AxialLimits(faces.of(0), faces.of(1), along)
