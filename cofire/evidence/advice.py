"""Which pieces to fire first: those expected to make the wrong call on the pot rarest.

The call is to fire the pot or not: whether it is likelier kept than lost, as a plan counts. Many
truths are drawn from the states of `Samples`; for each the pieces are "fired", the other states
weighed by what came out, and the call taken from them. Its probability of being wrong, by those
weights, is what is averaged: the smaller of the two chances, never above a half. (To hold
the call against the very truth that was left out of the weights is no better: at even chances
leaving it out tips the call against it, so that a doubt of a half read up to 1.0 and an idle piece
seemed to help.) Bars leave of an uncertainty what differs from batch to batch; rings of a ladder
break as the rules say, with their utilisations to the pot's as with the cards as they stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.draws import Factor
from cofire.assessment.verdict import LOSING
from cofire.design.ladder import LADDER
from cofire.evidence.learning import MISREAD, soundness
from cofire.evidence.measure_next import MEASURED_BY
from cofire.evidence.uncertainty import Samples
from cofire.numerics import Array
from cofire.units import counted

DOUBTFUL = 0.02
"""A probability to call it wrongly below this is not worth a piece. [-]"""
TRUTHS = 96
"""Drawn for each set of pieces. [-]"""
SHUFFLES = 16
"""Of the deviates among the samples, to tell what pieces that tell nothing seem to spare. [-]"""
TINY = 1e-300
LUCK = 3.0
"""Standard deviations of what those spare, beyond which a piece is told from them. [-]"""
SETTLES = 0.75
"""A piece settles the call if it leaves at most this share of the wrong ones: our choice. [-]"""
HELPS = 0.01
"""Wrong calls that a piece must spare to be in a set: luck of the truths can feign less. [-]"""
MOST = 3
"""Kinds of piece in the set that is proposed. [-]"""
BAR_PASTE, BARS = 10e-6, 2
"""Paste of a bar, and bars of a kind: common sizes. [m³], [-]"""


@dataclass(frozen=True)
class Option:
    """Something that can be fired.

    Attributes
    ----------
    name
        What, and of which material.
    pieces
        How many there are to print. [-]
    paste
        Volume of paste. [m³]
    factors
        Properties that it tells; none for a ladder.
    rings
        Utilisation of each ring over the pot's, by rule. [-]
    doubt
        Expected probability of a wrong call once it is fired. [-]
    """

    name: str
    pieces: int
    paste: float
    factors: tuple[Factor, ...] = ()
    rings: tuple[Mapping[str, float], ...] = ()
    doubt: float = 1.0


@dataclass(frozen=True)
class Advice:
    """What to fire first.

    Attributes
    ----------
    doubt
        Probability of a wrong call as things stand. [-]
    options
        Each alone, the one that leaves least doubt first.
    chosen
        The piece that settles it, else the best set within the limits; empty where nothing helps.
    after
        Expected probability of a wrong call once those are fired. [-]
    """

    doubt: float
    options: tuple[Option, ...]
    chosen: tuple[Option, ...]
    after: float

    @property
    def settled_by_one(self) -> bool:
        """Whether one kind of piece settles it."""
        return len(self.chosen) == 1 and self.after <= SETTLES * self.doubt

    def text(self) -> str:
        """The advice, in words."""
        now, then = 100.0 * self.doubt, 100.0 * self.after
        if self.doubt < DOUBTFUL:
            return f"Fire next: no piece; the call is wrong in {now:.1f} % as it is."
        names = " and ".join(f"{o.name} ({counted(o.pieces, 'piece')})" for o in self.chosen)
        if self.settled_by_one:
            return f"Fire next: {names}: wrong calls {now:.0f} % -> {then:.0f} % expected."
        if not self.chosen:
            return f"Fire next: nothing on the list makes wrong calls ({now:.0f} %) rarer."
        word = "does" if then <= 100.0 * SETTLES * self.doubt else "goes furthest"
        return (
            f"Fire next: no single piece settles it; this set {word}: {names}: wrong calls "
            f"{now:.0f} % -> {then:.0f} % expected."
        )


def options_for(
    factors: Sequence[Factor], rings: Sequence[Mapping[str, float]] = (), paste: float = 0.0
) -> list[Option]:
    """What can be fired to learn of some properties and of the joint.

    Parameters
    ----------
    factors : sequence of Factor
        Properties that matter.
    rings : sequence of mapping
        Of a ladder: utilisation over the pot's, by rule; none without joints. [-]
    paste : float
        Of the ladder. [m³]

    Returns
    -------
    list of Option
        Properties told by the same piece of the same material stand together.
    """
    groups: dict[str, list[Factor]] = {}
    for factor in factors:
        piece = MEASURED_BY[factor.name]
        groups.setdefault(f"{piece}, of {factor.material}", []).append(factor)
    found = [Option(n, BARS, BARS * BAR_PASTE, tuple(some)) for n, some in groups.items()]
    if rings:
        found.append(Option(LADDER, len(rings), paste, rings=tuple(rings)))
    return found


def reading(samples: Samples, factor: Factor) -> tuple[int, float]:
    """Which factor bars tell, and how far off they are: a normal deviate of so much.

    A prior of one and a reading of r leave q² = r² / (1 + r²).

    Parameters
    ----------
    samples : Samples
        Of the pot.
    factor : Factor
        One of them.

    Returns
    -------
    tuple
        Its column, and r in standard uncertainties; infinite where bars tell nothing. [-]
    """
    k = samples.factors.index(factor)
    left = float(samples.after_bars[k])
    return k, left / np.sqrt(1.0 - left**2) if left < 1.0 else np.inf


class _Game:
    """Truths drawn once, so that options are compared on the same ones."""

    def __init__(self, samples: Samples, seed: int) -> None:
        rng = np.random.default_rng([seed, 7])
        self.samples = samples
        self.lost = 1.0 - samples.within(LOSING)
        weights, count = samples.weights, len(samples.deviates)
        flat = rng.choice(weights.size, TRUTHS, p=weights.ravel())
        self.sample, self.draw = np.unravel_index(flat, weights.shape)
        self.noise = rng.standard_normal((TRUTHS, len(samples.factors)))
        self.luck = rng.random((TRUTHS, 64))
        self.shuffles: list[NDArray[np.intp]] = [
            np.arange(count), *(rng.permutation(count) for _ in range(SHUFFLES))
        ]  # fmt: skip
        self.ringed: dict[tuple[int, ...], tuple[Array, Array]] = {}
        now = float(_wrong(self._lost((), self.shuffles[0])))
        self.scale = samples.doubt / now if now > 0.0 else 1.0

    def _rings(self, rings: Sequence[Mapping[str, float]]) -> tuple[Array, Array]:
        """Weight of each sample once rings showed what they would under each truth, (T, N).

        Alone, and times the probability that the pot is lost with that sample. [-]
        """
        key = tuple(map(id, rings))
        if key not in self.ringed:
            whole = [soundness(self.samples.scaled(ratio)) for ratio in rings]
            sound = [MISREAD + (1.0 - 2.0 * MISREAD) * w for w in whole]
            shape = (TRUTHS, len(self.samples.deviates))
            weight, lost = np.empty(shape), np.empty(shape)
            for t, (i, d) in enumerate(zip(self.sample, self.draw, strict=True)):
                states = self.samples.weights.copy()
                for j, one in enumerate(sound):
                    states *= one if self.luck[t, j] < one[i, d] else 1.0 - one
                weight[t], lost[t] = states.sum(axis=1), (states * self.lost).sum(axis=1)
            rows = np.arange(TRUTHS), self.sample  # the truth has no say in what it would show
            weight[rows] = lost[rows] = 0.0
            self.ringed[key] = weight, lost
        return self.ringed[key]

    def doubt(self, options: Sequence[Option]) -> float:
        """Expected probability of a wrong call once some pieces are fired. [-]

        In proportion to that of all samples, of which the truths are a few. Bars leave few samples
        with any weight, and a call by few reads too sure: their luck adds to the variance of the
        chance of loss about a half. How much is seen where the same bars tell nothing, the deviates
        shuffled among the samples; that is taken off (the root of the variance, as of a normal
        law), and all is luck that is not beyond what those spare. Where bars tell much beside much
        that is idle it errs on the safe side.
        """
        bare = self._lost([replace(o, factors=()) for o in options], self.shuffles[0])
        left = float(_wrong(bare))
        if not any(option.factors for option in options):
            return self.scale * left
        found, *shuffled = (self._lost(options, shuffle) for shuffle in self.shuffles)
        idle = _wrong(np.array(shuffled))
        if _wrong(found) > idle.mean() - LUCK * idle.std():
            return self.scale * left
        lucky = np.mean((np.array(shuffled) - 0.5) ** 2) - np.mean((bare - 0.5) ** 2)
        true = np.clip(1.0 - lucky / np.mean((found - 0.5) ** 2), 0.0, 1.0)
        return self.scale * min(0.5 - float(np.sqrt(true) * np.abs(found - 0.5).mean()), left)

    def speaking(self, option: Option) -> Option:
        """A piece with those of its properties that spare wrong calls, and its doubt.

        A piece tells no less by a property more; but each leaves fewer samples.
        """
        known = replace(option, factors=())
        known = replace(known, doubt=self.doubt((known,)))
        rest = list(option.factors)
        while rest:
            more = [replace(known, factors=(*known.factors, factor)) for factor in rest]
            best = min((replace(o, doubt=self.doubt((o,))) for o in more), key=lambda o: o.doubt)
            if best.doubt > known.doubt - HELPS:
                break
            known = best
            rest.remove(known.factors[-1])
        return known

    def _lost(self, options: Sequence[Option], shuffle: NDArray[np.intp]) -> Array:
        """Chance of loss after the pieces under each truth, deviates in some order, (T,). [-]"""
        log = np.zeros((TRUTHS, len(self.samples.deviates)))
        for factor in dict.fromkeys(factor for option in options for factor in option.factors):
            k, off = reading(self.samples, factor)
            if off < np.inf:
                z = self.samples.deviates[shuffle, k]
                seen = z[self.sample] + off * self.noise[:, k]
                log -= 0.5 * ((z - seen[:, None]) / off) ** 2
        weight, lost = self._rings([ratio for option in options for ratio in option.rings])
        bars = np.exp(log - log.max(axis=1, keepdims=True))
        return np.asarray((bars * lost).sum(axis=1) / np.maximum((bars * weight).sum(axis=1), TINY))


def _wrong(lost: Array) -> Array:
    """Mean probability of a wrong call, of chances of loss along the last axis. [-]"""
    return np.asarray(np.minimum(lost, 1.0 - lost).mean(axis=-1))


def advise(
    samples: Samples,
    options: Sequence[Option],
    most: int = MOST,
    pieces: int | None = None,
    paste: float | None = None,
) -> Advice:
    """What to fire first, alone or as a set.

    Parameters
    ----------
    samples : Samples
        Of the pot.
    options : sequence of Option
        From `options_for`.
    most : int
        Kinds of piece in the set. [-]
    pieces : int, optional
        Most pieces to print. [-]
    paste : float, optional
        Most paste for them. [m³]

    Returns
    -------
    Advice
        The set is grown by whatever helps most, as long as it helps.
    """
    game = _Game(samples, samples.seed)
    now = game.doubt(())

    def affordable(some: Sequence[Option]) -> bool:
        return (pieces is None or sum(o.pieces for o in some) <= pieces) and (
            paste is None or sum(o.paste for o in some) <= paste
        )

    told = {o.name: game.speaking(o) for o in options if affordable((o,))}
    alone = sorted(
        (replace(o, doubt=told[o.name].doubt) for o in options if o.name in told),
        key=lambda o: o.doubt,
    )
    chosen: list[Option] = []
    after = now
    while len(chosen) < most and after > SETTLES * now:
        sets = [[*chosen, o] for o in alone if o not in chosen and affordable([*chosen, o])]
        doubts = [game.doubt([told[o.name] for o in some]) for some in sets]
        if not doubts or min(doubts) > after - HELPS:
            break
        after = min(doubts)
        chosen = sets[int(np.argmin(doubts))]
    return Advice(now, tuple(alone), tuple(chosen), after)
