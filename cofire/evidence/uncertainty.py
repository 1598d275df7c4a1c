"""How sure a verdict is: the same vessel with its cards as they might also be, many times over.

One factor a property and material, moved as `assessment/draws` says: the rows of a table together,
what follows from a paste's packing with its green density, all else by itself. Geometry, kiln and
burnout kinetics are not moved.

The model's own error is in every probability: each rule has a factor (`model_factors`), drawn
`DRAWS` times for all samples alike, and every sample with every draw is one state of the world.
What pieces fired have taught (`learning`) weighs these states.
What scatters from piece to piece is drawn apart for each rule, as in a plan: a piece that several
rules of stress bring to their limit reads lost a little too often, on the safe side.

All samples share one mesh and one trace, and are fired in batches: their materials are rows of
one history. They are fired coarsely. What the coarse mesh and steps do to each flag is taken from
the cards as they stand, fired both ways, and put right by that ratio in every sample.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.chance import chance_kept, rather_kept, together
from cofire.assessment.crack_rules import modulus_of
from cofire.assessment.draws import Factor, design, factors_of, varied
from cofire.assessment.model_factors import drawn_factors
from cofire.assessment.response import SEARCH_STEPS, Response, fire_vessel
from cofire.assessment.rule import CAUTION, GO, NO
from cofire.assessment.verdict import LOSING, PROBABLE, RULES, SEEN, judge
from cofire.errors import CofireError, InputError, ModelError
from cofire.evidence.sensitivity import wilson
from cofire.firing.kiln import Trace
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.shell_march import made_ready
from cofire.numerics import Array
from cofire.vessel import Vessel
from cofire.workers import each

# ----------------------------------------------------------------------------------------------
# How sure a verdict is: the same vessel with its cards as they might also be, many times over

Key = tuple[str, str]
"""Rule and zone of a flag."""

FINENESS = 0.2
"""With this mesh and `SEARCH_STEPS`, put right, the largest utilisation of a sample of three
examples is within 2 to 6 % (root of mean square; one of 72 by 28 %) of what `cofire check` finds
with the same cards."""
POINTS = 3
TOGETHER = 4
"""Samples of one job: work for half a second. [-]"""
SAMPLES = 256
MOST_SAMPLES = 4096
FLOOR = 0.05
"""Utilisations below this count as this. [-]"""
FURTHEST = 3.0
"""Most that a utilisation is put right by: the coarse sintering utilisation of a zone that bears a
tenth of its limit comes out at less than half. [-]"""
ABSENT = (0.0, 1.0)
"""Utilisation and caution of a flag that a sample does not have. [-]"""
DRAWS = 128
"""Of the factors of all rules. [-]"""
LOST = 0.1
"""Share of the samples that may fail before there is no answer. [-]"""

ON_COOLING = frozenset(rule.name for rule in RULES if rule.probable and not rule.after)
"""Rules of a crack while it cools."""
HARDEST = {rule.name: rule.hardest for rule in RULES}


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
    seed
        Of the design.
    clipped
        How often each property had to be held within its bounds.
    failed
        Samples that could not be fired; they are left out.
    kept
        Which of the design's points the samples are, shape (N,); all where empty. [-]
    weight
        Of each sample with each draw of the factors, shape (N, `DRAWS`), adding up to 1; alike
        for all where none. [-]
    taught
        What pieces that were fired have taught, one line each.
    left
        Share of each factor's uncertainty that own bars would leave, one a factor; a half where it
        is not said. [-]
    """

    factors: tuple[Factor, ...]
    deviates: Array
    flags: tuple[Key, ...]
    utilisation: Array
    caution: Array
    seed: int
    clipped: Mapping[Factor, int]
    failed: int
    kept: tuple[int, ...] = ()
    weight: Array | None = None
    taught: tuple[str, ...] = ()
    left: tuple[float, ...] = ()

    @cached_property
    def after_bars(self) -> Array:
        """Share of each factor's uncertainty that own bars would leave, shape (d,). [-]"""
        return np.array(self.left or [0.5] * len(self.factors))

    @property
    def doubt(self) -> float:
        """Probability that the likelier of "lost" and "not lost" is wrong. [-]"""
        kept = self.not_lost.value
        return min(kept, 1.0 - kept)

    @property
    def fire(self) -> bool:
        """Whether the pot is to be fired: it is more probably kept than lost."""
        return rather_kept(self.not_lost.value)

    def of(self, rules: Collection[str]) -> Samples:
        """The same with the flags of some rules alone.

        Parameters
        ----------
        rules : collection of str
            Their names; all are kept where none of them has a flag.
        """
        columns = [k for k, (rule, _) in enumerate(self.flags) if rule in rules]
        return self if not columns else replace(
            self, flags=tuple(self.flags[k] for k in columns),
            utilisation=self.utilisation[:, columns], caution=self.caution[:, columns],
        )  # fmt: skip

    def scaled(self, ratio: Mapping[str, float]) -> Samples:
        """A like piece at the same points: each rule's utilisation by its ratio to this one's.

        Parameters
        ----------
        ratio : mapping
            By rule; 1 where it says nothing. [-]

        Returns
        -------
        Samples
            Its probabilities of a crack follow by Weibull's law.
        """
        scale = np.array([ratio.get(rule, 1.0) for rule, _ in self.flags])
        return replace(self, utilisation=self.utilisation * scale)

    @cached_property
    def rules(self) -> tuple[str, ...]:
        """Names of the rules that gave a flag, R of them."""
        return tuple(dict.fromkeys(rule for rule, _ in self.flags))

    @cached_property
    def log_factors(self) -> Array:
        """Logarithm of each rule's factor in each draw, shape (`DRAWS`, R). [-]"""
        names = list(dict.fromkeys([*(rule.name for rule in RULES), *self.rules]))
        whole = drawn_factors(names, DRAWS, self.seed)  # alike for all pieces of one seed
        return whole[:, [names.index(rule) for rule in self.rules]]

    @cached_property
    def weights(self) -> Array:
        """Of each sample with each draw, shape (N, `DRAWS`). [-]"""
        if self.weight is not None:
            return self.weight
        shape = (len(self.utilisation), DRAWS)
        return np.full(shape, 1.0 / (shape[0] * shape[1]))

    def keeps(self, rule: str, level: Array | float = 1.0, cracks: bool = False) -> Array:
        """Probability that no flag of a rule passes its level, in each state, (N, `DRAWS`).

        Parameters
        ----------
        rule : str
            Its name.
        level : array, optional
            Shape (N, F) or one for all. [-]
        cracks : bool
            Whether the limit of a rule that foretells the probability of a crack is that none
            comes; else its figure is held against its level as any other.

        Returns
        -------
        array
            A half where it could not be computed (`chance`). [-]
        """
        own = [k for k, (name, _) in enumerate(self.flags) if name == rule]
        modulus = modulus_of(self.caution[:, own]) if cracks and rule in PROBABLE else None
        common = self.log_factors[:, self.rules.index(rule)]
        return chance_kept(rule, (self.utilisation / level)[:, own], common, modulus)

    def within(self, rules: Collection[str]) -> Array:
        """Probability that no limit of some rules is passed, in each state, (N, `DRAWS`). [-]

        Where a rule foretells the probability of a crack, its limit is that none comes. So a plan
        counts too (`chance`).

        Parameters
        ----------
        rules : collection of str
            Their names.
        """
        asked = {rule: self.keeps(rule, cracks=True) for rule in self.rules if rule in rules}
        return np.broadcast_to(together(asked, PROBABLE), self.weights.shape)

    @property
    def unknown(self) -> tuple[Key, ...]:
        """Flags that could not be computed in some sample."""
        columns = np.flatnonzero(np.isnan(self.utilisation).any(axis=0))
        return tuple(self.flags[k] for k in columns)

    @cached_property
    def worst(self) -> Array:
        """Largest utilisation of each sample, one not computed counting as 1, shape (N,). [-]"""
        return np.asarray(self.known.max(axis=1))

    @cached_property
    def known(self) -> Array:
        """Utilisations as they count, shape (N, F): see `Flag.counted`. [-]"""
        used = np.where(np.isnan(self.utilisation), 1.0, self.utilisation)
        return np.where(self.hardest < NO, np.minimum(used, 1.0), used)

    @property
    def hardest(self) -> NDArray[np.intp]:
        """Worst grade that passing each flag's limit can give, shape (F,)."""
        return np.array([HARDEST.get(rule, NO) for rule, _ in self.flags], dtype=np.intp)

    @cached_property
    def grade(self) -> NDArray[np.intp]:
        """0, 1 or 2 for go, caution, no, shape (N,)."""
        unknown = np.isnan(self.utilisation)
        with np.errstate(invalid="ignore"):
            of_flag = np.where(
                self.utilisation > 1.0,
                self.hardest,
                np.where(self.utilisation > self.caution, CAUTION, GO),
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

    def chance(self, states: Array) -> Probability:
        """Mean of a probability over all states, by their weights.

        Parameters
        ----------
        states : array
            0 to 1, shape (N, `DRAWS`). [-]

        Returns
        -------
        Probability
            Its interval goes by the samples that the weights leave.
        """
        value = float(np.clip((self.weights * states).sum(), 0.0, 1.0))
        return Probability(value, *wilson(value, max(round(self.effective), 1)))

    @cached_property
    def effective(self) -> float:
        """Samples that the weights leave: the square of their sum over the sum of squares. [-]"""
        each = self.weights.sum(axis=1)
        return float(each.sum() ** 2 / (each**2).sum())

    @property
    def go(self) -> Probability:
        """That the verdict is go, were all as it truly is; never where a limit is unknown."""
        known = np.isfinite(self.utilisation.sum(axis=1, keepdims=True))
        asked = {rule: self.keeps(rule, self.caution) for rule in self.rules}
        return self.chance(together(asked, ()) * known)

    @property
    def no(self) -> Probability:
        """That the verdict is no, were all as it truly is."""
        hard = [rule for rule in self.rules if HARDEST.get(rule, NO) >= NO]
        return self.chance(1.0 - together({rule: self.keeps(rule) for rule in hard}, ()))

    @cached_property
    def lost(self) -> Array:
        """Probability that the pot is lost, in each sample, factors averaged, shape (N,). [-]"""
        states = (self.weights * (1.0 - self.within(LOSING))).sum(axis=1)
        return np.asarray(states / np.maximum(self.weights.sum(axis=1), 1e-300))

    @property
    def survival(self) -> Probability:
        """That no brittle zone cracks on cooling."""
        return self.chance(self.within(ON_COOLING))

    @property
    def not_lost(self) -> Probability:
        """That the pot is not lost: no limit passed that loses it, as a plan counts."""
        return self.chance(self.within(LOSING))

    @property
    def all_well(self) -> Probability:
        """That nothing at all fails."""
        return self.chance(self.within(self.rules))

    @property
    def sound(self) -> Probability:
        """That nothing is seen on it once the kiln is open: no crack, no slump, no burst."""
        return self.chance(self.within(SEEN))

    @property
    def most_used(self) -> dict[Key, float]:
        """Share of the samples in which each flag is used up most, largest first. [-]"""
        counts = Counter(np.argmax(self.known, axis=1).tolist())
        return {self.flags[k]: n / len(self.utilisation) for k, n in counts.most_common()}


_Judged = dict[Key, tuple[float, float]]
"""One sample: utilisation and caution by flag. [-]"""


def sample_verdicts(
    response: Response,
    count: int = SAMPLES,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
    like: Samples | None = None,
    executor: Executor | None = None,
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
    like : Samples, optional
        Of another piece of the same materials: its points are taken, its seed and its count.
    executor : Executor, optional
        Who fires the samples (see `cofire.workers`).

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
    factors = factors_of(response.cards) if like is None else like.factors
    if not factors:
        raise InputError(f"{response.vessel.name}: its cards state no uncertainty")
    if like is None:
        deviates = design(count, len(factors), seed)
        numbers = np.arange(count)
    else:
        deviates, seed, count = like.deviates, like.seed, len(like.deviates)
        numbers = np.array(like.kept or range(count))
    points = np.vstack([np.zeros(len(factors)), deviates])  # the first: the cards as they stand
    judged: list[_Judged | None] = []
    clipped: Counter[Factor] = Counter()
    fixed = (response.vessel, response.cards, response.trace, factors)
    jobs = [(*fixed, points[k : k + TOGETHER]) for k in range(0, len(points), TOGETHER)]
    if executor is not None:
        made_ready(executor)
    for some, held in each(_judge_some, jobs, executor):
        judged += some
        clipped.update(held)
        if progress:
            progress(min(len(judged), count), count)
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
    fine, pure = _judged(response), pure_cards(response.cards)
    keys = tuple(dict.fromkeys(key for j in (centre, *good) for key in j))
    table = np.array([[j.get(key, ABSENT) for key in keys] for j in good])
    return Samples(
        factors=factors,
        deviates=deviates[np.array([j is not None for j in rest])],
        flags=keys,
        utilisation=_put_right(fine, centre, keys, table[..., 0]),
        caution=table[..., 1],
        seed=seed,
        clipped=dict(clipped),
        failed=count - len(good),
        kept=tuple(int(numbers[k]) for k, j in enumerate(rest) if j is not None),
        left=tuple(pure[f.material][f.name].left_by_bars for f in factors),
    )


def _put_right(fine: _Judged, coarse: _Judged, keys: Sequence[Key], utilisations: Array) -> Array:
    """Utilisations as the finer firing would have them, shape (N, F). [-]"""
    found = utilisations.copy()
    for k, key in enumerate(keys):
        right, wrong = (j.get(key, ABSENT)[0] for j in (fine, coarse))
        found[:, k] *= _ratio(right, wrong)
    return found


def _ratio(fine: float, coarse: float) -> float:
    """What a coarse figure is to be multiplied with; 1 where either says nothing."""
    if not (fine > 0.0 and coarse > 0.0) or max(fine, coarse) == np.inf:
        return 1.0
    return float(np.clip(fine / coarse, 1.0 / FURTHEST, FURTHEST))


def _judge_some(
    job: tuple[Vessel, Sequence[Card], Trace, Sequence[Factor], Array],
) -> tuple[list[_Judged | None], Counter[Factor]]:
    """A few samples fired, each alone, and judged, from anywhere; None for what cannot be fired."""
    vessel, originals, curve, factors, points = job
    held: Counter[Factor] = Counter()
    base = [*pure_cards(originals).values()]
    judged: list[_Judged | None] = []
    for point in points:
        known = varied(base, factors, point, held)
        try:
            fired = fire_vessel(
                vessel, known, extend=True, control=SEARCH_STEPS, fineness=FINENESS, points=POINTS,
                curve=curve,
            )  # fmt: skip
        except CofireError:
            judged.append(None)
        else:
            judged.append(_judged(fired))
    return judged, held


def _judged(response: Response) -> _Judged:
    """Utilisation and caution of every flag."""
    return {(f.rule, f.zone): (f.utilisation, f.caution) for f in judge(response).flags}
