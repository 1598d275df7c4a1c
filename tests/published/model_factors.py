"""Spread of each rule's model factor from the published pairs, one source left out at a time.

    python -m tests.published.model_factors

A rule says that a piece fails where utilisation × factor passes 1, the factor log-normal about 1. A
rule that gives a probability by Weibull's law, of exponent m, breaks a share 1 - exp(-c (u f)^m) of
the pieces at a factor f, c being the risk at its limit. A pair fails if any rule breaks it:

    P(sound) = product over rules of P(rule does not break it)

Left out: failures in sintering, since no pair is sintered here; pairs that are weak, which is not
broken, and that lie on a printed limit, which is no piece. Rules of the time after the kiln count
where a pair was seen to fail on standing. What the inputs of a pair leave open (`input_spread`) is
no error of a rule and goes off its spread. The prior of ln(spread) is log-normal with median ln 2
and a factor of 2 either way: what stays where no pair says anything. Posteriors by grid, one rule
after the other with the others at their means, three rounds.

Expected, before the first run: the cooling rule, asked of all pairs, gets a spread near 2 with an
interval of a factor of 2 in its logarithm; the metal rule, whose utilisations are near zero
throughout, keeps its prior.
Found: see `report`; a first run without `input_spread`, and with weak pairs and limits in it, gave
the cooling rule 5.9 (3.6 to 17), most of it from pairs the rule does not speak of.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import cache

import numpy as np
from scipy.special import ndtr

from cofire.assessment.crack_rules import FAILURE_CAUTION, FAILURE_NO
from cofire.assessment.rule import NO, STRESS
from cofire.assessment.verdict import RULES
from cofire.numerics import Array
from tests.published.as_firings import Judged
from tests.published.evidence_set import failed, source_of
from tests.published.outcomes import decided, judge_open

GRID = np.exp(np.linspace(np.log(0.05), np.log(3.0), 60))
"""Standard deviations of the logarithm of the factor. [-]"""
PRIOR_MIDDLE, PRIOR_SPREAD = float(np.log(np.log(2.0))), float(np.log(2.0))
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
LIMIT_RISK = float(-np.log1p(-FAILURE_NO))
CAUTION_RISK = float(-np.log1p(-FAILURE_CAUTION))


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


def broken(result: Judged, rule: str) -> Array:
    """Probability that a rule breaks a pair, for each standard deviation of `GRID`. [-]"""
    flags = [f for f in result.verdict.flags if f.rule == rule and f.utilisation == f.utilisation]
    if not flags or (rule in AFTER and "after" not in result.pair):
        return np.zeros(GRID.size)
    worst = max(flags, key=lambda f: f.utilisation)
    size = np.log(max(worst.utilisation, 1e-9))
    spread = np.hypot(GRID, input_spread(result))
    if not worst.unit.startswith("% probability"):
        return np.asarray(ndtr(size / spread))
    m = np.log(CAUTION_RISK / LIMIT_RISK) / np.log(worst.caution)
    risk = LIMIT_RISK * np.exp(np.minimum(m * (size + spread[:, None] * NODES), 50.0))
    return np.asarray(-np.expm1(-risk) @ (WEIGHTS / WEIGHTS.sum()))


def fit(results: Sequence[Judged]) -> dict[str, tuple[float, float, float, int]]:
    """Spread, its 90 % interval, and pairs with a say, by rule; spreads as factors."""
    names = fitted_rules()
    prior = np.exp(-0.5 * ((np.log(GRID) - PRIOR_MIDDLE) / PRIOR_SPREAD) ** 2)
    table = np.array([[broken(r, name) for name in names] for r in results])  # pair, rule, grid
    bad = np.array([failed(r.pair) for r in results])
    posterior = np.tile(prior / prior.sum(), (len(names), 1))
    for _ in range(3):
        for k in range(len(names)):
            mean = 1.0 - (table * posterior).sum(axis=-1)
            others = np.delete(mean, k, axis=1).prod(axis=1)
            sound = np.clip(others[:, None] * (1.0 - table[:, k]), 1e-3, 1.0 - 1e-3)
            log = np.where(bad[:, None], np.log1p(-sound), np.log(sound)).sum(axis=0)
            new = prior * np.exp(log - log.max())
            posterior[k] = new / new.sum()
    found = {}
    for k, name in enumerate(names):
        low, middle, high = np.interp([0.05, 0.5, 0.95], posterior[k].cumsum(), GRID)
        says = int((np.ptp(table[:, k], axis=-1) > 0.02).sum())
        found[name] = (*(float(np.exp(x)) for x in (middle, low, high)), says)
    return found


@cache
def shipped_fit() -> dict[str, tuple[float, float, float, int]]:
    """The fit to all open pairs that can be used."""
    return fit(usable(judge_open()))


def foretold(result: Judged, spreads: dict[str, float]) -> float:
    """Probability that a pair fails by some rules with these spreads. [-]"""
    sound = 1.0
    for name, spread in spreads.items():
        sound *= 1.0 - float(np.interp(np.log(spread), GRID, broken(result, name)))
    return 1.0 - sound


def left_out() -> tuple[float, float, float, dict[str, tuple[float, float]]]:
    """Brier scores of pairs whose source was left out; range of each spread over those fits.

    With the fitted spreads, with none (the rules as they are), and of always saying the share.
    """
    results = usable(judge_open())
    sources = [tuple(source_of(r.pair)["match"]) for r in results]
    bad = np.array([failed(r.pair) for r in results], float)
    told, bare, share = np.zeros((3, len(results)))
    fits = []
    for source in dict.fromkeys(sources):
        out = np.array([s == source for s in sources])
        rest = [r for r, o in zip(results, out, strict=True) if not o]
        spreads = {name: row[0] for name, row in fit(rest).items()}
        fits.append(spreads)
        for k in np.flatnonzero(out):
            told[k] = foretold(results[k], spreads)
            bare[k] = foretold(results[k], dict.fromkeys(spreads, float(np.exp(GRID[0]))))
            share[k] = bad[~out].mean()
    ranges = {n: (min(f[n] for f in fits), max(f[n] for f in fits)) for n in fits[0]}
    scores = [float(np.mean((p - bad) ** 2)) for p in (told, bare, share)]
    return scores[0], scores[1], scores[2], ranges


def report() -> str:
    """Spreads and what they are worth, as printed."""
    told, bare, share, ranges = left_out()
    lines = [f"{'rule':16}{'spread':>8}{'90 % interval':>18}{'pairs':>7}  one source left out"]
    for name, (middle, low, high, says) in shipped_fit().items():
        least, most = ranges[name]
        lines.append(
            f"{name:16}{middle:8.2f}{low:9.2f} to {high:5.2f}{says:7}  {least:.2f} to {most:.2f}"
        )
    count = len(usable(judge_open()))
    lines.append(
        f"Brier score of {count} pairs, their source left out: {told:.3f}; without factors "
        f"{bare:.3f}; always saying the share {share:.3f}"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
