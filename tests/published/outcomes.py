"""Published pairs judged by the product's own table of rules, against what became of them.

    python -m tests.published.outcomes            # the open two thirds of the sources
    python -m tests.published.outcomes --sealed   # the third that is held back
    python -m tests.published.outcomes --fresh    # sources found after the rules stood still

A pair is fired and judged by `as_firings.judged`: material cards, a structure, a cooling from where
it was bonded, `cofire.assessment.verdict.judge`. No rule lives here, and none is known here by
name: what is asked is what the table asks.

 1. "No" predicts failed, "go" and "caution" predict sound.
 2. Pairs of which is only known that they were whole enough to be tested are neither; they are
    counted apart.
 3. Pairs are ranked by the largest utilisation of any flag, one not computed counting as 1.
 4. Scores are printed apart for pairs that somebody tested and whose outcome was read, those of
    them of whose inputs any is printed, and the rest; and by mechanism, against all sound ones.
 5. Intervals resample sources: pairs of one source are no independent trials.
 6. Held against: calling every pair sound; the difference of contraction alone (failed above what
    sealed glass bears); each rule alone, and the verdict without it.

Outcomes are those of the day the piece was cold, while some rules ask what happens within a year: a
row judges without those where the outcome is of that day.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.mismatch import SEAL_LIMIT
from cofire.assessment.verdict import RULES, worst_first
from cofire.numerics import Array
from tests.published.as_firings import Entry, Judged, judged, without_ends
from tests.published.evidence_set import (
    MECHANISMS,
    failed,
    fresh_pairs,
    open_pairs,
    sealed_pairs,
    source_of,
    well_known,
)
from tests.published.outcome_pairs import table

Bools = NDArray[np.bool_]
RESAMPLES = 2000


@dataclass(frozen=True)
class Score:
    """How a saying and a ranking agree with the outcomes of some pairs.

    Attributes
    ----------
    caught, missed, alarms, passed
        Failed pairs said to fail and to be sound; sound pairs said to fail and to be sound. [-]
    accuracy, area
        Share told right, and probability that a failed pair ranks above a sound one. [-]
    accuracy_interval, area_interval
        95 %, by resampling sources. [-]
    """

    caught: int
    missed: int
    alarms: int
    passed: int
    accuracy: float
    accuracy_interval: tuple[float, float]
    area: float
    area_interval: tuple[float, float]

    @property
    def count(self) -> int:
        """Number of pairs."""
        return self.caught + self.missed + self.alarms + self.passed

    @property
    def balanced(self) -> float:
        """Mean of the shares told right of the failed and of the sound. [-]"""
        bad, good = self.caught + self.missed, self.passed + self.alarms
        return 0.5 * (self.caught / max(bad, 1) + self.passed / max(good, 1))


def area_under_curve(utilisation: Array, bad: Bools, weight: Array | None = None) -> Array:
    """Probability that a failed pair uses up more than a sound one; ties count half.

    `weight` of shape (..., pairs) gives how often each pair counts.
    """
    gap = utilisation[bad][:, None] - utilisation[~bad]
    wins = 0.5 * (1.0 + np.sign(gap))
    w = np.ones(utilisation.size) if weight is None else weight
    some, others = w[..., bad], w[..., ~bad]
    with np.errstate(invalid="ignore"):
        return np.asarray(((some @ wins) * others).sum(-1) / (some.sum(-1) * others.sum(-1)))


def drawn_weights(pairs: Sequence[Entry], count: int = RESAMPLES) -> Array:
    """How often each pair counts when its sources are drawn anew, shape (count, pairs)."""
    names = [tuple(source_of(p)["match"]) for p in pairs]
    place = {name: k for k, name in enumerate(dict.fromkeys(names))}
    drawn = np.random.default_rng(1).multinomial(
        len(place), np.ones(len(place)) / len(place), count
    )
    return np.asarray(drawn[:, [place[name] for name in names]], np.float64)


def _interval(values: Array) -> tuple[float, float]:
    """95 % of the resamples that have both outcomes in them."""
    kept = values[np.isfinite(values)]
    low, high = np.quantile(kept, [0.025, 0.975]) if kept.size else (0.0, 1.0)
    return float(low), float(high)


def score(
    results: Sequence[Judged],
    says: Callable[[Judged], bool] = lambda r: r.says_failed,
    rank: Callable[[Judged], float] = lambda r: r.verdict.utilisation,
) -> Score:
    """Score of some pairs."""
    bad = np.array([failed(r.pair) for r in results])
    said = np.array([says(r) for r in results])
    by = np.array([rank(r) for r in results])
    weight = drawn_weights([r.pair for r in results])
    right = (bad == said).astype(float)
    cells = [int((bad == b)[said == s].sum()) for b, s in ((1, 1), (1, 0), (0, 1), (0, 0))]
    both = bad.any() and not bad.all()
    return Score(
        *cells,
        float(right.mean()),
        _interval((weight @ right) / weight.sum(axis=1)),
        float(area_under_curve(by, bad)) if both else float("nan"),
        _interval(area_under_curve(by, bad, weight)) if both else (0.0, 1.0),
    )


@cache
def judge_open() -> tuple[Judged, ...]:
    """Every pair that may be looked at."""
    return tuple(judged(p) for p in open_pairs())


@cache
def judge_sealed() -> tuple[Judged, ...]:
    """Every pair of the sealed third."""
    return tuple(judged(p) for p in sealed_pairs())


@cache
def judge_fresh() -> tuple[Judged, ...]:
    """Every pair of the sources found after the rules stood still."""
    return tuple(judged(p) for p in fresh_pairs())


def decided(results: Sequence[Judged]) -> list[Judged]:
    """Those of which more is known than that they were whole."""
    return [r for r in results if r.pair["outcome_label"] != "whole"]


def known_best(result: Judged) -> bool:
    """Whether it was tested, its outcome read, and any of its inputs printed."""
    return well_known(result.pair) and result.pair["printed_share"] > 0.0


def by_rule(rule: str) -> Callable[[Judged], float]:
    """Utilisation of one rule alone; 0 where it was not asked."""
    return lambda result: result.utilisations.get(rule, 0.0)


def without(result: Judged, rule: str) -> Judged:
    """The pair as judged if one rule did not exist."""
    kept = [flag for flag in result.verdict.flags if flag.rule != rule]
    return replace(result, verdict=worst_first(kept)) if kept else result


def of_the_day(result: Judged) -> Judged:
    """As judged for the day the piece was cold: rules of the time after it only where that is told.

    A label is of that day unless the pair has an `after`.
    """
    if "after" in result.pair:
        return result
    for rule in RULES:
        if rule.after:
            result = without(result, rule.name)
    return result


def contrasts(results: Sequence[Judged]) -> list[tuple[str, str, str]]:
    """Each contrast of the pairs: right, tied (same inputs) or wrong, by utilisation."""
    known = {r.pair["id"]: r.verdict.utilisation for r in results}
    found = []
    for entry in table()["contrast"]:
        names = entry["better"], entry["worse"]
        if not known.keys() >= set(names):
            continue
        better, worse = (known[name] for name in names)
        tied = abs(better - worse) <= 1e-6 * worse
        found.append(("tied" if tied else "right" if better < worse else "wrong", *names))
    return found


def _row(name: str, found: Score) -> str:
    spans = [f"({low:.2f} to {high:.2f})" for low, high in
             (found.accuracy_interval, found.area_interval)]  # fmt: skip
    return (
        f"  {name:36}{found.count:4}{found.caught:7}{found.missed:8}{found.alarms:8}"
        f"{found.passed:8}{found.accuracy:8.2f} {spans[0]}{found.balanced:7.2f}"
        f"{found.area:7.2f} {spans[1]}"
    )


def rows_of(results: Sequence[Judged], each: bool = True) -> list[str]:
    """Scores of some pairs by the verdict, by what it is held against, and by each rule."""
    asked = {name for r in results for name in r.utilisations}
    rows = {
        "verdict": score(results),
        "verdict of the day it was cold": score([of_the_day(r) for r in results]),
        "calling all sound": score(results, lambda _: False, lambda _: 0.0),
        "difference of contraction alone": score(
            results, lambda r: r.apart > SEAL_LIMIT, lambda r: r.apart
        ),
    }
    for rule in RULES:
        if not each or rule.name not in asked:
            continue
        alone = by_rule(rule.name)
        rows[f"{rule.name} alone"] = score(results, lambda r, a=alone: a(r) > 1.0, alone)
        rows[f"  without {rule.name}"] = score([without(r, rule.name) for r in results])
    return [_row(name, found) for name, found in rows.items()]


def _line(result: Judged) -> str:
    flag, pair = result.verdict.worst, result.pair
    whole = pair["outcome_label"] == "whole"
    mark = " " if whole or failed(pair) == result.says_failed else "*"
    edge = " (its ends are not in it)" if without_ends(pair) else ""
    return (
        f"{mark} {pair['id']:43} {pair['outcome_label']:8}{result.verdict.word:8}"
        f"{result.verdict.utilisation:8.2f}  {flag.rule}, {flag.zone[:50]}{edge}"
    )


def report(results: Sequence[Judged]) -> str:
    """Table and scores, as printed."""
    sure = decided(results)
    whole = [r for r in results if r.pair["outcome_label"] == "whole"]
    lines = ["  pair (* miss)                               outcome says    utilised  decided by"]
    lines += [_line(r) for r in results]
    head = (
        f"  {'':36}{'n':>4}{'caught':>7}{'missed':>8}{'alarms':>8}{'passed':>8}{'right':>8}"
        f"{'':15}{'even':>7}{'area':>7}"
    )
    tested = [r for r in sure if well_known(r.pair)]
    groups = {
        "more than whole": (sure, True),
        "tested and read": (tested, True),
        "tested and read, any input printed": ([r for r in tested if known_best(r)], False),
        "the rest": ([r for r in sure if not well_known(r.pair)], True),
    }
    for name, (some, each) in groups.items():
        sources = len({tuple(source_of(r.pair)["match"]) for r in some})
        lines += ["", f"{name}: {len(some)} of {len(results)} pairs, {sources} sources", head]
        lines += rows_of(some, each) if some else []
    lines += ["", "by mechanism, against all sound pairs", head]
    for mechanism in MECHANISMS:
        some = [r for r in sure if r.pair.get("mechanism", mechanism) == mechanism]
        count = sum(failed(r.pair) for r in some)
        row = _row(f"{mechanism} ({count})", score(some)) if count else f"  {mechanism}: none"
        lines.append(row)
    said = sum(r.says_failed for r in whole)
    compared = contrasts(results)
    count = {word: sum(w == word for w, *_ in compared) for word in ("right", "tied", "wrong")}
    lines += [
        "",
        f"whole enough to be tested, no more known: {len(whole)}, of which {said} are called no",
        "contrasts: " + ", ".join(f"{n} {word}" for word, n in count.items()),
        *(f"  {w}: {a} better than {b}" for w, a, b in compared if w != "right"),
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    parts = {"--sealed": judge_sealed, "--fresh": judge_fresh}
    part = next((parts[word] for word in sys.argv[1:] if word in parts), judge_open)
    sys.stdout.write(report(part()) + "\n")
