"""Spread of the model factor from the published pairs, one source left out at a time.

    python -m tests.published.model_factors

A rule says that a piece fails where utilisation × factor passes 1, the factor log-normal about 1. A
rule that gives a probability by Weibull's law, of exponent m, breaks a share 1 - exp(-c (u f)^m) of
the pieces at a factor f, c being the risk at its limit. A pair fails if any rule breaks it.

The rules of stress read one stress field and one strength: where it is wrong, by its inputs or by
itself, it is wrong for all of them together. So they share one factor, and pieces scatter about it
(`assessment/model_factors`):

    P(sound) = mean over the shared factor f of product over rules of P(rule does not break it | f)

Factors drawn apart for each rule, as they were before, give a piece that several rules find
doubtful several independent chances to fail: the mean of what is foretold rises with the number of
rules.

Left out: failures in sintering, since no pair is sintered here; pairs that are weak, which is not
broken, and that lie on a printed limit, which is no piece. Rules of the time after the kiln count
where a pair was seen to fail on standing. What the inputs of a pair leave open (`input_spread`) is
no error of a rule and goes off its spread; it too is shared. The prior of ln(spread) is log-normal
with median ln 2 and a factor of 2 either way. Posterior by grid, from the open pairs alone.

Expected, before the first run of the shared factor: if the reason why factors did not help is that
they were drawn apart, the shared one has a lower Brier score than none and than those drawn apart,
with a spread of about the same size; if it is that 24 pairs say nothing of a spread, it does not.
Found: see `report`. Each of the rules alone had given 1.8 (cooling), 2.4 (cracks), 1.9 (later: its
prior) and 1.8 (metal), and a Brier score of 0.20 against 0.19 without factors.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import cache

import numpy as np
from scipy.special import ndtr

from cofire.assessment.crack_rules import FAILURE_CAUTION, FAILURE_NO
from cofire.assessment.model_factors import ModelFactor
from cofire.assessment.rule import NO, STRESS
from cofire.assessment.verdict import RULES
from cofire.numerics import Array
from tests.published.as_firings import Judged
from tests.published.evidence_set import failed, source_of
from tests.published.outcomes import decided, judge_fresh, judge_open, judge_sealed

GRID = np.exp(np.linspace(np.log(0.05), np.log(3.0), 60))
"""Standard deviations of the logarithm of the factor. [-]"""
PRIOR_MIDDLE, PRIOR_SPREAD = float(np.log(np.log(2.0))), float(np.log(2.0))
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
FEW_NODES, FEW_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
LIMIT_RISK = float(-np.log1p(-FAILURE_NO))
CAUTION_RISK = float(-np.log1p(-FAILURE_CAUTION))
SURE = 1e-3
"""No pair is taken as surer than that: pieces crack for reasons that no rule knows. [-]"""


def fitted_rules() -> list[str]:
    """Rules of stress in ware that is not green that can say no.

    What is a caution at most breaks no piece: a crack that starts at a face and runs on is already
    the through crack's, and would count twice.
    """
    return [r.name for r in RULES if STRESS in r.sees and not r.green and r.hardest == NO]


AFTER = {r.name for r in RULES if r.after}


def usable(results: Sequence[Judged]) -> list[Judged]:
    """Pieces, not limits, that came out sound, cracked or parted, and not through sintering."""
    return [
        r
        for r in decided(results)
        if r.pair.get("mechanism") != "sintering"
        and r.pair["outcome_label"] != "weak"
        and not r.pair.get("border", False)
    ]


def input_spread(result: Judged) -> float:
    """Standard deviation of ln utilisation that a pair's own inputs leave. [-]

    Utilisation goes as the difference of two expansions over strength: each expansion is known to
    4 % from a handbook, 1 % where printed; strength to 30 % (estimates). At most 1.5.
    """
    pair = result.pair
    known = 0.01 if pair["fields"]["expansion"] == "printed" else 0.04
    sizes = 1e-6 * np.array(list(pair["expansion_1e6_per_K"].values()))
    drop = pair["bonding_C"] - 20.0
    apart = known * float(np.sqrt((sizes**2).sum())) * drop / max(result.apart, 1e-9)
    return float(min(np.hypot(apart, 0.3), 1.5))


def kept(result: Judged, rule: str) -> Array:
    """Probability that a rule does not break a pair at each factor, shape (GRID, NODES). [-]"""
    flags = [f for f in result.verdict.flags if f.rule == rule and f.utilisation == f.utilisation]
    if not flags or (rule in AFTER and "after" not in result.pair):
        return np.ones((GRID.size, NODES.size))
    worst = max(flags, key=lambda f: f.utilisation)
    parts = [ModelFactor(float(np.exp(s)), 1.0, 1.0, "") for s in GRID]
    common = np.array([np.hypot(p.common, input_spread(result)) for p in parts])
    scatter = np.array([p.scatter for p in parts])[:, None]
    log = np.log(max(worst.utilisation, 1e-9)) + common[:, None] * NODES
    if not worst.unit.startswith("% probability"):
        return np.asarray(ndtr(-log / scatter))
    m = np.log(CAUTION_RISK / LIMIT_RISK) / np.log(worst.caution)
    power = m * (log[..., None] + scatter[..., None] * FEW_NODES)
    whole = np.exp(-LIMIT_RISK * np.exp(np.minimum(power, 50.0)))
    return np.asarray(whole @ (FEW_WEIGHTS / FEW_WEIGHTS.sum()))


def broken(result: Judged, apart: bool = False) -> Array:
    """Probability that a pair fails by any rule, for each spread of `GRID`. [-]

    `apart`: with a factor of its own for each rule, as it was before.
    """
    rules = [kept(result, name) for name in fitted_rules()]
    if apart:
        return np.asarray(1.0 - np.prod([rule @ WEIGHTS for rule in rules], axis=0))
    return np.asarray(1.0 - np.prod(rules, axis=0) @ WEIGHTS)


def fit(table: Array, bad: Array) -> tuple[float, float, float]:
    """Spread as a factor, and its 90 % interval, from what each pair says by `broken`."""
    prior = np.exp(-0.5 * ((np.log(GRID) - PRIOR_MIDDLE) / PRIOR_SPREAD) ** 2)
    chance = np.clip(table, SURE, 1.0 - SURE)
    log = np.where(bad[:, None] > 0.5, np.log(chance), np.log1p(-chance)).sum(axis=0)
    posterior = prior * np.exp(log - log.max())
    share = posterior.cumsum() / posterior.sum()
    low, middle, high = np.interp([0.05, 0.5, 0.95], share, GRID)
    return float(np.exp(middle)), float(np.exp(low)), float(np.exp(high))


def outcomes_of(results: Sequence[Judged]) -> Array:
    """1 for a pair that failed, 0 for one that is sound. [-]"""
    return np.array([failed(r.pair) for r in results], float)


def at(table: Array, spread: float) -> Array:
    """What a table of `broken` says at one spread. [-]"""
    return np.array([np.interp(np.log(spread), GRID, row) for row in table])


@cache
def shipped_fit() -> tuple[float, float, float, int]:
    """The fit to all open pairs that can be used, and how many of them have a say."""
    results = usable(judge_open())
    table = np.array([broken(r) for r in results])
    says = int((np.ptp(table, axis=1) > 0.02).sum())
    return (*fit(table, outcomes_of(results)), says)


def brier(told: Array, bad: Array) -> float:
    """Mean square of what was said less what came. [-]"""
    return float(np.mean((told - bad) ** 2))


def log_score(told: Array, bad: Array) -> float:
    """Mean of minus the logarithm of what was said of what came. [-]"""
    told = np.clip(told, SURE, 1.0 - SURE)
    return float(-np.mean(np.where(bad > 0.5, np.log(told), np.log1p(-told))))


@cache
def left_out(apart: bool = False) -> tuple[dict[str, tuple[float, float]], tuple[float, float]]:
    """Brier and log score of open pairs whose source was left out; range of the spread over them.

    "told" with the fitted spread, "bare" with none, "share" by always saying the share that failed.
    """
    results = usable(judge_open())
    sources = [tuple(source_of(r.pair)["match"]) for r in results]
    bad = outcomes_of(results)
    table = np.array([broken(r, apart) for r in results])
    told, share = np.zeros((2, len(results)))
    spreads = []
    for source in dict.fromkeys(sources):
        out = np.array([s == source for s in sources])
        spread, *_ = fit(table[~out], bad[~out])
        spreads.append(spread)
        told[out] = at(table[out], spread)
        share[out] = bad[~out].mean()
    rows = {"told": told, "bare": table[:, 0], "share": share}
    scores = {name: (brier(row, bad), log_score(row, bad)) for name, row in rows.items()}
    return scores, (min(spreads), max(spreads))


def never_fitted(results: Sequence[Judged]) -> tuple[int, dict[str, tuple[float, float]]]:
    """How many pairs of a part to which nothing was fitted can be used, and the same scores."""
    some = usable(results)
    bad = outcomes_of(some)
    table = np.array([broken(r) for r in some])
    share = float(outcomes_of(usable(judge_open())).mean())
    rows = {"told": at(table, shipped_fit()[0]), "bare": table[:, 0],
            "share": np.full(len(some), share)}  # fmt: skip
    return len(some), {name: (brier(row, bad), log_score(row, bad)) for name, row in rows.items()}


def report() -> str:
    """The spread and what it is worth, as printed."""
    middle, low, high, says = shipped_fit()
    scores, (least, most) = left_out()
    apart, _ = left_out(apart=True)
    lines = [
        f"shared factor of the rules of stress: {middle:.2f} ({low:.2f} to {high:.2f}), {says} "
        f"pairs; one source left out {least:.2f} to {most:.2f}",
        f"{'Brier and log score':44}{'shared':>14}{'no factor':>14}{'share':>14}",
    ]

    def row(name: str, found: dict[str, tuple[float, float]]) -> str:
        cells = (found[key] for key in ("told", "bare", "share"))
        return f"{name:44}" + "".join(f"{f'{b:.3f} {s:.3f}':>14}" for b, s in cells)

    lines.append(row(f"{len(usable(judge_open()))} open pairs, their source left out", scores))
    lines.append(row("  the same, a factor for each rule", apart))
    for name, part in (("sealed", judge_sealed()), ("fresh", judge_fresh())):
        count, found = never_fitted(part)
        lines.append(row(f"{count} {name} pairs, nothing fitted to them", found))
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
