"""How sure a verdict is: the same vessel with its cards as they might also be, many times over.

One factor a property and material: the rows of a table move together, and properties move
independently of each other, as do materials. Neither is quite true (a fritted body that is denser
is also stronger), but cards state no correlations. Geometry, kiln, burnout kinetics and the
model itself are not moved.

All samples share one mesh and one trace, and are fired in batches: their materials are rows of
one history. They are fired coarsely. What the coarse mesh and steps do to each flag is taken from
the cards as they stand, fired both ways, and put right by that ratio in every sample.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.crack_rules import JOINT_ENERGY, UNSTARTED
from cofire.assessment.draws import REACH as REACH
from cofire.assessment.draws import Factor as Factor
from cofire.assessment.draws import bounds as bounds
from cofire.assessment.draws import design as design
from cofire.assessment.draws import factors_of as factors_of
from cofire.assessment.draws import moved as moved
from cofire.assessment.draws import normal as normal
from cofire.assessment.draws import pure as pure
from cofire.assessment.draws import varied as varied
from cofire.assessment.response import Response
from cofire.assessment.rule import CAUTION, GO, NO
from cofire.assessment.verdict import RULES, judge
from cofire.design.workers import in_pairs
from cofire.errors import CofireError, InputError, ModelError
from cofire.evidence.sensitivity import wilson
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell_firing import fire_shells
from cofire.numerics import Array
from cofire.physics.blends import find_material
from cofire.physics.history import histories

# ----------------------------------------------------------------------------------------------
# How sure a verdict is: the same vessel with its cards as they might also be, many times over

Key = tuple[str, str]
"""Rule and zone of a flag."""

COARSE = Control(
    relative_tolerance=0.2,
    stress_tolerance=1.5e4,
    imbalance=1e-2,
    breakpoint_tolerance=5e-4,
)
FINENESS = 0.2
"""With these, put right, the largest utilisation of a sample of three examples is within 2 to 6 %
(root of mean square; one of 72 by 28 %) of what `cofire check` finds with the same cards; a
sintering utilisation within 2 to 70 %, against a spread over samples of a factor of ten and
more."""
POINTS = 3
BATCH = 32
TELLING = ("yield_stress", "sintering_energy", "sintering_exponent")
"""Properties by which samples are put into like batches: a fifth fewer turns of the solver."""
SAMPLES = 256
MOST_SAMPLES = 4096
FLOOR = 0.05
"""Utilisations below this never decide, and count as this. [-]"""
FURTHEST = 3.0
"""Most that a utilisation is put right by: the coarse sintering utilisation of a zone that bears a
tenth of its limit comes out at less than half. [-]"""
ABSENT = (0.0, 1.0)
"""Utilisation and caution of a flag that a sample does not have. [-]"""
SURE = 1.0 - 1e-15
"""Probability of a crack beyond which it is certain. [-]"""
LOST = 0.1
"""Share of the samples that may fail before there is no answer. [-]"""


@dataclass(frozen=True)
class Probability:
    """A probability with its 95 % interval from the number of samples. [-]"""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Samples:
    """Verdicts on N samples of a vessel's d uncertain properties.

    Attributes
    ----------
    factors
        What was moved.
    deviates
        How far, in standard uncertainties, shape (N, d). [-]
    flags
        Rule and zone of each of F flags.
    utilisation, caution
        Of each flag in each sample: share of its limit, put right for the coarse firing; not a
        number where it could not be computed, 0 where the sample has no such flag; and the
        utilisation from which it is a caution, shape (N, F). [-]
    crack
        Probability that a brittle zone cracks on cooling, shape (N,). [-]
    seed
        Of the design.
    clipped
        How often each property had to be held within its bounds.
    failed
        Samples that could not be fired; they are left out.
    """

    factors: tuple[Factor, ...]
    deviates: Array
    flags: tuple[Key, ...]
    utilisation: Array
    caution: Array
    crack: Array
    seed: int
    clipped: Mapping[Factor, int]
    failed: int

    @cached_property
    def worst(self) -> Array:
        """Largest utilisation of each sample, one not computed counting as 1, shape (N,). [-]"""
        return np.asarray(self.known.max(axis=1))

    @cached_property
    def known(self) -> Array:
        """Utilisations, what could not be computed counting as 1, shape (N, F). [-]"""
        return np.where(np.isnan(self.utilisation), 1.0, self.utilisation)

    @cached_property
    def grade(self) -> NDArray[np.intp]:
        """0, 1 or 2 for go, caution, no, shape (N,)."""
        unknown = np.isnan(self.utilisation)
        with np.errstate(invalid="ignore"):
            of_flag = np.where(
                self.utilisation > 1.0, NO, np.where(self.utilisation > self.caution, CAUTION, GO)
            )
        return np.asarray(np.where(unknown, CAUTION, of_flag).max(axis=1), dtype=np.intp)

    def probability(self, shares: Array) -> Probability:
        """Mean of a probability over the samples.

        Parameters
        ----------
        shares : array
            One a sample, 0 to 1, shape (N,). [-]

        Returns
        -------
        Probability
            Its interval is on the wide side (see `wilson`).
        """
        value = float(np.mean(shares))
        return Probability(value, *wilson(value, len(shares)))

    @property
    def go(self) -> Probability:
        """That the verdict is go."""
        return self.probability(self.grade == GO)

    @property
    def no(self) -> Probability:
        """That the verdict is no."""
        return self.probability(self.grade == NO)

    @property
    def survival(self) -> Probability:
        """That no brittle zone cracks on cooling."""
        return self.probability(1.0 - self.crack)

    @property
    def sound(self) -> Probability:
        """That no brittle zone cracks on cooling and no other flag passes its limit."""
        probable = {rule.name for rule in RULES if rule.probable}
        others = [k for k, (rule, _) in enumerate(self.flags) if rule not in probable]
        kept = np.all(self.known[:, others] <= 1.0, axis=1)
        return self.probability(np.where(kept, 1.0 - self.crack, 0.0))

    @property
    def decided(self) -> dict[Key, float]:
        """Share of the samples in which each flag is used up most, largest first. [-]"""
        counts = Counter(np.argmax(self.known, axis=1).tolist())
        return {self.flags[k]: n / len(self.utilisation) for k, n in counts.most_common()}


@dataclass(frozen=True)
class _Judged:
    """One sample: utilisation and caution by flag, and the probability of a crack."""

    flags: dict[Key, tuple[float, float]]
    crack: float


def sample_verdicts(
    response: Response,
    count: int = SAMPLES,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
) -> Samples:
    """Verdicts on a vessel whose cards move within their stated uncertainties.

    Parameters
    ----------
    response : Response
        The vessel fired with the cards as they stand.
    count : int
        Samples; a power of two spreads best. [-]
    seed : int
        The same one gives the same answer.
    progress : callable, optional
        Is told how many are done, of how many.

    Returns
    -------
    Samples
        All of them.

    Raises
    ------
    InputError
        A count out of bounds, or cards that state no uncertainty.
    ModelError
        Too many samples could not be fired.
    """
    if not 8 <= count <= MOST_SAMPLES:
        raise InputError(f"{count} samples; allowed: 8 to {MOST_SAMPLES}")
    if seed < 0:
        raise InputError(f"seed {seed}; allowed: 0 or more")
    factors = factors_of(response.cards)
    if not factors:
        raise InputError(f"{response.vessel.name}: its cards state no uncertainty")
    deviates = design(count, len(factors), seed)
    points = np.vstack([np.zeros(len(factors)), deviates])  # the first: the cards as they stand
    places = _alike(points, factors)
    judged: list[_Judged | None] = [None] * len(points)
    clipped: Counter[Factor] = Counter()
    done = 0
    jobs = [points[place] for place in places]
    for place, (some, held) in zip(
        places, in_pairs(lambda job: _judge_batch(response, factors, job), jobs), strict=True
    ):
        for k, one in zip(place, some, strict=True):
            judged[k] = one
        clipped.update(held)
        done += len(some)
        if progress:
            progress(min(done, count), count)
    centre, *rest = judged
    good = [j for j in rest if j is not None]
    if centre is None or len(good) < (1.0 - LOST) * count:
        lost = (
            "the cards as they stand"
            if centre is None
            else f"{count - len(good)} of {count} samples"
        )
        raise ModelError(
            f"{response.vessel.name}: {lost} could not be fired as coarsely as that; "
            "no say on uncertainty"
        )
    fine = _judged(response)
    keys = tuple(dict.fromkeys(key for j in (centre, *good) for key in j.flags))
    table = np.array([[j.flags.get(key, ABSENT) for key in keys] for j in good])
    return Samples(
        factors=factors,
        deviates=deviates[np.array([j is not None for j in rest])],
        flags=keys,
        utilisation=_put_right(fine, centre, keys, table[..., 0]),
        caution=table[..., 1],
        crack=_cracks(fine, centre, good, response.cards),
        seed=seed,
        clipped=dict(clipped),
        failed=count - len(good),
    )


def _alike(points: Array, factors: Sequence[Factor]) -> list[NDArray[np.intp]]:
    """Samples in batches of like ones: all of a batch wait for its most demanding one.

    Halved along one after the other of the factors that say when and how a body moves.
    """
    columns = [k for name in TELLING for k, f in enumerate(factors) if f.name == name] or [0]
    parts = [np.arange(len(points))]
    depth = 0
    while len(parts) < 2 or max(map(len, parts)) > 1.25 * BATCH:
        column = points[:, columns[depth % len(columns)]]
        ordered = [part[np.argsort(column[part], kind="stable")] for part in parts]
        parts = [half for part in ordered for half in np.array_split(part, 2)]
        depth += 1
    return parts


def _put_right(fine: _Judged, coarse: _Judged, keys: Sequence[Key], utilisations: Array) -> Array:
    """Utilisations as the finer firing would have them, shape (N, F). [-]"""
    found = utilisations.copy()
    for k, key in enumerate(keys):
        right, wrong = (j.flags.get(key, ABSENT)[0] for j in (fine, coarse))
        found[:, k] *= _ratio(right, wrong, FURTHEST)
        if key[0] == JOINT_ENERGY.name:
            capped = utilisations[:, k] <= UNSTARTED
            found[capped, k] = np.minimum(found[capped, k], UNSTARTED)
    return found


def _cracks(
    fine: _Judged, coarse: _Judged, judged: Sequence[_Judged], cards: Sequence[Card]
) -> Array:
    """Probability of a crack as the finer firing would have it, shape (N,). [-]"""
    bodies = [card for card in pure(cards) if card.kind == "ceramic"]
    steepest = max((card["weibull_modulus"].scalar for card in bodies), default=1.0)
    risks = -np.log1p(-np.minimum([j.crack for j in (fine, coarse, *judged)], SURE))
    ratio = _ratio(float(risks[0]), float(risks[1]), FURTHEST**steepest)
    return np.asarray(-np.expm1(-ratio * risks[2:]))


def _ratio(fine: float, coarse: float, furthest: float) -> float:
    """What a coarse figure is to be multiplied with; 1 where either says nothing."""
    if not (fine > 0.0 and coarse > 0.0) or max(fine, coarse) == np.inf:
        return 1.0
    return float(np.clip(fine / coarse, 1.0 / furthest, furthest))


def _judge_batch(
    response: Response, factors: Sequence[Factor], points: Array
) -> tuple[list[_Judged | None], Counter[Factor]]:
    """One batch of samples, fired together and judged one by one."""
    held: Counter[Factor] = Counter()
    base = pure(response.cards)
    cards = []
    for point in points:
        known = varied(base, factors, point, held)
        cards.append([find_material(band.material, known) for band in response.vessel.bands])
    return [None if r is None else _judged(r) for r in _fired(response, cards)], held


def _fired(response: Response, cards: Sequence[Sequence[Card]]) -> list[Response | None]:
    """The vessel with each sample's cards, as one batch; None for those that cannot be fired."""
    try:
        return list(_fired_together(response, cards))
    except CofireError:
        if len(cards) == 1:
            return [None]
    half = len(cards) // 2
    return _fired(response, cards[:half]) + _fired(response, cards[half:])


def _fired_together(response: Response, cards: Sequence[Sequence[Card]]) -> list[Response]:
    """As `_fired`, where nothing goes wrong: N samples are rows of one history."""
    vessel, curve = response.vessel, response.trace
    rows: list[Card] = []
    own: list[list[int]] = []
    for some in cards:
        names = list(dict.fromkeys(card.name for card in some))
        own.append([len(rows) + names.index(card.name) for card in some])
        rows += [next(card for card in some if card.name == name) for name in names]
    history = histories(rows, curve, extend=True)  # refused before, if not allowed
    mesh = mesh_meridian(
        vessel.radius, vessel.height, vessel.wall, vessel.steps, fineness=FINENESS,
        corners=vessel.corners,
    )  # fmt: skip
    fired = fire_shells(
        [mesh] * len(cards), history, own, points=POINTS, control=COARSE, check_mesh=False
    )
    found = []
    for some, places, shell in zip(cards, own, fired, strict=True):
        first = min(places)
        found.append(
            Response(
                vessel, tuple(some), tuple(k - first for k in places), curve,
                history.rows(range(first, max(places) + 1)), shell,
                np.interp(shell.time, curve.time, curve.ware),
            )
        )  # fmt: skip
    return found


def _judged(response: Response) -> _Judged:
    """Utilisations, and the probability that a brittle zone cracks on cooling."""
    verdict = judge(response)
    flags = {(f.rule, f.zone): (f.utilisation, f.caution) for f in verdict.flags}
    return _Judged(flags, verdict.crack_probability)
