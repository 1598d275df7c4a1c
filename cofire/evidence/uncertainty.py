"""How sure a verdict is: the same vessel with its cards as they might also be, many times over.

One factor a property and material: the rows of a table move together, and properties move
independently of each other, as do materials. Neither is quite true (a fritted body that is denser
is also stronger), but cards state no correlations. Geometry, kiln and burnout kinetics are not
moved.

The model's own error is in every probability: each rule has a factor (`model_factors`), drawn
`DRAWS` times for all samples alike, and every sample with every draw is one state of the world.
What pieces fired have taught (`learning`) weighs these states.

All samples share one mesh and one trace, and are fired in batches: their materials are rows of
one history. They are fired coarsely. What the coarse mesh and steps do to each flag is taken from
the cards as they stand, fired both ways, and put right by that ratio in every sample.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from cofire.assessment.crack_rules import (
    FAILURE_CAUTION,
    FAILURE_NO,
    JOINT_ENERGY,
    UNSTARTED,
)
from cofire.assessment.model_factors import drawn_factors, factor_of, passing
from cofire.assessment.response import Response
from cofire.assessment.rule import CAUTION, GO, NO
from cofire.assessment.verdict import RULES, judge
from cofire.design.workers import in_pairs
from cofire.errors import CofireError, InputError, ModelError
from cofire.evidence.sensitivity import wilson
from cofire.materials.card import Card, Property, Uncertainty, pure_cards
from cofire.materials.library import FROZEN, VISCOSITIES
from cofire.materials.properties import CELSIUS, LOG_VISCOSITY, SPECS
from cofire.mechanics.integrator import Control
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell_firing import fire_shells
from cofire.numerics import Array
from cofire.physics.blends import find_material
from cofire.physics.history import histories
from cofire.physics.porosity import CRYSTAL_PACKING
from cofire.units import kelvin

# ----------------------------------------------------------------------------------------------
# Cards as they might also be: every property moved within the uncertainty that its card states

REACH = 3.0
"""Factors are cut off this many standard uncertainties from the card's value. [-]"""
UNUSED = ("firing_shrinkage", "tensile_strength")
"""Properties that no flag reads: the model's own shrinkage is only held against it."""
APART = 0.005
"""Least distance between green, fired and full density. [-]"""


@dataclass(frozen=True)
class Factor:
    """One uncertain property of one material."""

    material: str
    name: str


def factors_of(cards: Iterable[Card]) -> tuple[Factor, ...]:
    """Every uncertain property of some materials, those of a blend's parts included.

    Parameters
    ----------
    cards : iterable of Card
        In use.

    Returns
    -------
    tuple of Factor
        Once each, by material, in the order of the card.
    """
    found: dict[Factor, None] = {}
    for card in pure(cards):
        for name, values in card.properties.items():
            if name not in UNUSED and any(_states_spread(u) for u in values.uncertainty):
                found[Factor(card.name, name)] = None
    return tuple(found)


def pure(cards: Iterable[Card]) -> list[Card]:
    """The metals and ceramics that some materials are or are blended of, once each.

    Parameters
    ----------
    cards : iterable of Card
        In use.

    Returns
    -------
    list of Card
        In order of appearance.
    """
    parts = pure_cards(cards).values()
    return list({part.name: part for part in parts}.values())


def _states_spread(uncertainty: Uncertainty) -> bool:
    return uncertainty.size > (1.0 if uncertainty.form == "factor" else 0.0)


def design(count: int, factors: int, seed: int) -> Array:
    """Where each sample stands in each factor: scrambled Sobol' points, evenly spread.

    Scrambled by random linear matrices and a random shift (Matoušek 1998, J. Complexity 14, 527),
    which makes each point uniform, and the average over the points unbiased.

    Parameters
    ----------
    count : int
        Samples; a power of two spreads best. [-]
    factors : int
        Uncertain properties, 1 or more. [-]
    seed : int
        The same one gives the same points.

    Returns
    -------
    array
        Standard normal, cut off at `REACH`, shape (count, factors). [-]
    """
    from scipy.stats import qmc

    points = qmc.Sobol(factors, scramble=True, seed=np.random.default_rng(seed))
    whole = points.random_base2(max(count - 1, 1).bit_length())
    return normal(whole[:count])


def normal(share: Array) -> Array:
    """Standard normal deviates, cut off at `REACH`, at given shares of their distribution.

    Parameters
    ----------
    share : array
        Between 0 and 1, any shape. [-]

    Returns
    -------
    array
        Same shape. [-]
    """
    low = ndtr(-REACH)
    return np.asarray(ndtri(low + share * (1.0 - 2.0 * low)))


def moved(values: Property, deviate: float) -> Array:
    """The rows of a property, each as many standard uncertainties from its value.

    "%" and "factor" are taken as lognormal, with the card's value the median, so that no modulus
    turns negative; "+-" as normal. Of a logarithmic table "+-" is in decades, the others are of
    the viscosity itself.

    Parameters
    ----------
    values : Property
        As on the card.
    deviate : float
        How many. [-]

    Returns
    -------
    array
        Shape (R,). [SI unit of the property]
    """
    logarithmic = SPECS[values.name].units is LOG_VISCOSITY
    found = values.value.copy()
    for row, uncertainty in enumerate(values.uncertainty):
        size = uncertainty.size
        if uncertainty.form == "+-":
            found[row] += size * deviate
            continue
        spread = np.log(size) if uncertainty.form == "factor" else np.sqrt(np.log1p(size**2))
        if logarithmic:
            found[row] += spread * deviate / np.log(10.0)
        else:
            found[row] *= np.exp(spread * deviate)
    return found


def varied(
    cards: Iterable[Card], factors: Sequence[Factor], deviates: Array, clipped: Counter[Factor]
) -> dict[str, Card]:
    """The materials with their properties moved, and kept possible.

    Parameters
    ----------
    cards : iterable of Card
        Pure materials.
    factors : sequence of Factor
        K uncertain properties.
    deviates : array
        One a factor, shape (K,). [-]
    clipped : Counter
        Counts each property that had to be brought back within its bounds.

    Returns
    -------
    dict
        New cards by name.
    """
    found = {}
    for card in cards:
        own = {f.name: float(d) for f, d in zip(factors, deviates, strict=True)
               if f.material == card.name}  # fmt: skip
        found[card.name], held = _varied(card, own)
        clipped.update(Factor(card.name, name) for name in held)
    return found


def bounds(name: str) -> tuple[float, float]:
    """Least and largest plausible value of a property.

    Parameters
    ----------
    name : str
        A name of SPECS.

    Returns
    -------
    tuple of float
        [SI unit of the property]
    """
    spec = SPECS[name]
    if spec.units is CELSIUS:
        return kelvin(spec.least), kelvin(spec.most)
    return spec.least, spec.most


def _varied(card: Card, deviates: dict[str, float]) -> tuple[Card, set[str]]:
    """One card moved, and the names of what had to be held."""
    rows = {name: moved(card[name], deviate) for name, deviate in deviates.items()}
    held = set()
    for name, wanted in rows.items():
        kept = np.clip(wanted, *bounds(name))
        if name == "crystal_fraction":
            kept = np.minimum(kept, CRYSTAL_PACKING - 0.01)  # grains must not lock
        if name in VISCOSITIES:
            fall = 0.01 * np.arange(kept.size)
            kept = np.minimum.accumulate(kept + fall) - fall
        if (np.abs(kept - wanted) > 1e-12 * np.abs(wanted)).any():
            held.add(name)
        rows[name] = kept
    held |= _order_densities(card, rows)
    fired = card.scalar("fired_density", 1.0)
    properties = dict(card.properties)
    for name, old in card.properties.items():
        new = replace(old, value=rows[name]) if name in rows else old
        if "fired_density" in rows and abs(old.at_density - fired) < APART:
            new = replace(new, at_density=float(rows["fired_density"][0]))
        properties[name] = _frozen_when_cold(new) if name in VISCOSITIES else new
    return replace(card, properties=properties), held


def _order_densities(card: Card, rows: dict[str, Array]) -> set[str]:
    """Keep green < fired < full density, and stiffness and strength measured on denser bodies.

    The fired density is the one that was measured; the others give way to it. What was measured
    on the body as fired goes with it.
    """
    names = ("green_density", "fired_density", "full_density")
    if any(name not in card for name in names):
        return set()
    wanted = [float(rows[n][0]) if n in rows else card[n].scalar for n in names]
    others = [p.at_density for p in card.properties.values()
              if abs(p.at_density - card["fired_density"].scalar) >= APART]  # fmt: skip
    fired = min(wanted[1], SPECS["full_density"].most - APART)
    green = min(wanted[0], min([fired, *others]) - 2.0 * APART)
    full = max(wanted[2], fired + APART)
    held = set()
    for name, old, new in zip(names, wanted, (green, fired, full), strict=True):
        if new != old:
            held.add(name)
            rows[name] = np.array([new])
    return held


def _frozen_when_cold(table: Property) -> Property:
    """The table with a colder row where it no longer begins frozen, on its first rows' slope."""
    assert table.temperature is not None
    first, second = table.value[:2]
    if first >= FROZEN:
        return table
    slope = (second - first) / (table.temperature[1] - table.temperature[0])
    colder = table.temperature[0] + (FROZEN - first) / slope
    return replace(
        table,
        temperature=np.insert(table.temperature, 0, colder),
        value=np.insert(table.value, 0, FROZEN),
        uncertainty=table.uncertainty[:1] + table.uncertainty,
        source=table.source[:1] + table.source,
        basis=table.basis[:1] + table.basis,
    )


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
DRAWS = 128
"""Of the factors of all rules. [-]"""
SURE = 1.0 - 1e-15
"""Probability of a crack beyond which it is certain. [-]"""
LOST = 0.1
"""Share of the samples that may fail before there is no answer. [-]"""


PROBABLE = frozenset(rule.name for rule in RULES if rule.probable)
CAUTION_POWER = float(np.log(np.log1p(-FAILURE_CAUTION) / np.log1p(-FAILURE_NO)))


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
    kept
        Which of the design's points the samples are, shape (N,); all where empty. [-]
    weight
        Of each sample with each draw of the factors, shape (N, `DRAWS`), adding up to 1; alike
        for all where none. [-]
    taught
        What pieces that were fired have taught, one line each.
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
    kept: tuple[int, ...] = ()
    weight: Array | None = None
    taught: tuple[str, ...] = ()

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

    def excess(self, level: Array | float = 1.0) -> Array:
        """Logarithm of each rule's largest utilisation over a level, shape (N, R). [-]

        Parameters
        ----------
        level : array, optional
            Shape (N, F) or one for all. [-]
        """
        with np.errstate(invalid="ignore"):
            over = np.log(np.maximum(self.utilisation / level, 1e-9))
        over = np.where(np.isnan(over), -np.inf, over)
        of = np.array([self.rules.index(rule) for rule, _ in self.flags])
        return np.stack([over[:, of == k].max(axis=1) for k in range(len(self.rules))], axis=1)

    def below(self, excess: Array, leave: Iterable[str] = ()) -> Array:
        """Probability that no rule passes its level, in each state, shape (N, `DRAWS`). [-]

        Parameters
        ----------
        excess : array
            From `excess`. [-]
        leave : iterable of str
            Rules that do not count.
        """
        found = np.ones((len(excess), DRAWS))
        for k, rule in enumerate(self.rules):
            if rule not in leave:
                scatter = np.array(factor_of(rule).scatter)
                found *= passing(excess[:, k, None] + self.log_factors[:, k], scatter)
        return found

    def cracks(self) -> Array:
        """Probability that a brittle band cracks on cooling, in each state, (N, `DRAWS`). [-]

        Weibull's law: the risk grows with the factor to the power of the modulus.
        """
        columns = [k for k, (rule, _) in enumerate(self.flags) if rule in PROBABLE]
        risk = -np.log1p(-np.minimum(self.crack, SURE))
        if not columns:
            return np.repeat(-np.expm1(-risk)[:, None], DRAWS, axis=1)
        worst = np.take(columns, np.argmax(self.known[:, columns], axis=1))
        caution = np.clip(self.caution[np.arange(len(worst)), worst], 0.05, 0.99)
        power = CAUTION_POWER / np.log(caution)
        rule = self.flags[columns[0]][0]
        log = self.log_factors[:, self.rules.index(rule)]
        nodes, shares = np.polynomial.hermite_e.hermegauss(7)
        found = np.zeros((len(risk), DRAWS))
        for node, share in zip(nodes, shares / shares.sum(), strict=True):
            moved = np.minimum(power[:, None] * (log + factor_of(rule).scatter * node), 200.0)
            found -= share * np.expm1(-risk[:, None] * np.exp(moved))
        return found

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
        """That the verdict is go, were all as it truly is."""
        known = np.isfinite(self.utilisation.sum(axis=1, keepdims=True))
        return self.chance(self.below(self.excess(self.caution)) * known)

    @property
    def no(self) -> Probability:
        """That a limit is passed."""
        return self.chance(1.0 - self.below(self.excess()))

    @cached_property
    def lost(self) -> Array:
        """Probability that a limit is passed, in each sample, factors averaged, shape (N,). [-]"""
        states = (self.weights * (1.0 - self.below(self.excess()))).sum(axis=1)
        return np.asarray(states / np.maximum(self.weights.sum(axis=1), 1e-300))

    @property
    def survival(self) -> Probability:
        """That no brittle zone cracks on cooling."""
        return self.chance(1.0 - self.cracks())

    @property
    def sound(self) -> Probability:
        """That no brittle zone cracks on cooling and no other flag passes its limit."""
        kept = self.below(self.excess(), PROBABLE)
        return self.chance(kept * (1.0 - self.cracks()))

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
    like: Samples | None = None,
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
        kept=tuple(int(numbers[k]) for k, j in enumerate(rest) if j is not None),
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
