"""Published pairs that came out sound or failed, against what cofire says of them.

    python -m tests.published.outcomes

The pairs, their sources and the rules by which their inputs were chosen are in `outcomes.toml`.
The rules below, and all limits, stood before the table was first run; none is fitted to it. (The
product has since dropped the energy limit of joints with metal in both sides. That is followed
here; it changed no prediction.) Limits and their code are those of `planning.ware`, but
for what is said under 5 and 6.

 1. A pair cools from its set point to 20 °C. Free strain is linear in temperature; a printed
    differential goes before the coefficients. Room-temperature constants throughout; ceramics are
    elastic, metals elastic and perfectly plastic; no creep, no viscosity.
 2. Blends follow `physics.mixing`. A blend of three is a metal and a blend of ceramics. The
    ceramic of a blend gives its scatter and toughness; of several ceramics the least counts.
 3. Every piece is 20 mm: side of a square tile, length of a sleeve, height of each ring. Tiles
    are plates (`layered_tile`), sleeves long (`nested_rings`), rings a shell (`fire_shells`).
 4. Every ceramic and blend, and all of them together: probability of a crack, `cooling_flags`.
    Every metal: plastic strain, `metal_flags`, with the ductility of sintered metal that it takes
    for a card that gives none.
 5. Joints. Rings: `joint_flags`. Tiles: energy released if an interface parts all along, force
    and moment as yield has left them, elastic unloading (for an elastic pair
    `separation_energy`), against the ceramic's K1c²/E, as in `joint_flags`. Sleeves: radial
    tension on an interface against the strength of its weaker brittle side, as `joint_flags` does
    with normal stress; they have no energy rule.
 6. Parts sintered together (families "cosintered" and "graded"): difference of shrinkage against
    `pairing.SINTERING_GO` and `SINTERING_NO`. All but one source print no shrinkage; there the
    flag cannot be computed and counts as a caution, as the product has it, so that such pairs are
    judged by their cooling alone.
 7. The worst flag decides. "No" predicts failed, "go" and "caution" predict sound; the stricter
    reading, in which caution predicts failed, is scored beside it. The utilisation by which pairs
    are ranked is the largest share of a limit used up, of the flags that could be computed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import kendalltau, spearmanr

from cofire.assessment.mismatch import SEAL_LIMIT
from cofire.assessment.rule import VERDICTS
from tests.published.outcome_pairs import Result, contraction_difference, judge_all, table

Array = NDArray[np.float64]
RESAMPLES = 2000


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22, 209)."""
    z, p = 1.96, hits / count
    middle, spread = p + z**2 / (2 * count), z * np.sqrt(p * (1 - p) / count + (z / count / 2) ** 2)
    return float((middle - spread) / (1 + z**2 / count)), float(
        (middle + spread) / (1 + z**2 / count)
    )


def area_under_curve(
    utilisation: Array, failed: NDArray[np.bool_], weight: Array | None = None
) -> Array:
    """Probability that a failed pair uses up more than a sound one; ties count half.

    `weight` of shape (..., pairs) gives how often each pair counts.
    """
    gap = utilisation[failed][:, None] - utilisation[~failed]
    wins = 0.5 * (1.0 + np.sign(gap))
    w = np.ones(utilisation.size) if weight is None else weight
    bad, good = w[..., failed], w[..., ~failed]
    return np.asarray(((bad @ wins) * good).sum(-1) / (bad.sum(-1) * good.sum(-1)))


@dataclass(frozen=True)
class Score:
    """How predictions and ranking agree with the outcomes of some pairs."""

    caught: int
    missed: int
    false_alarms: int
    passed: int
    spearman: float
    kendall: float
    area: float

    @property
    def count(self) -> int:
        """Number of pairs."""
        return self.caught + self.missed + self.false_alarms + self.passed

    @property
    def accuracy(self) -> float:
        """Share of pairs told right."""
        return (self.caught + self.passed) / self.count

    @property
    def balanced(self) -> float:
        """Mean of the shares told right of the failed and of the sound."""
        failed, sound = self.caught + self.missed, self.passed + self.false_alarms
        return 0.5 * (self.caught / failed + self.passed / sound)


def score(
    results: Sequence[Result],
    says_failed: Callable[[Result], bool] = lambda r: r.predicted_failed,
    rank_by: Callable[[Result], float] = lambda r: r.utilisation,
) -> Score:
    """Score of some pairs."""
    failed = np.array([r.failed for r in results])
    said = np.array([says_failed(r) for r in results])
    utilisation = np.array([rank_by(r) for r in results])
    cells = [int((failed == f)[said == s].sum()) for f, s in ((1, 1), (1, 0), (0, 1), (0, 0))]
    rho, tau = spearmanr(utilisation, failed).statistic, kendalltau(utilisation, failed).statistic
    return Score(*cells, float(rho), float(tau), float(area_under_curve(utilisation, failed)))


def area_interval(results: Sequence[Result]) -> tuple[float, float, int]:
    """95 % interval of the area, and the number of sources, which are resampled.

    Pairs of one source are no independent trials.
    """
    names = {s: k for k, s in enumerate(dict.fromkeys(r.pair["source"] for r in results))}
    drawn = np.random.default_rng(1).multinomial(
        len(names), np.ones(len(names)) / len(names), RESAMPLES
    )
    weight = drawn[:, [names[r.pair["source"]] for r in results]].astype(float)
    utilisation, failed = (
        np.array([r.utilisation for r in results]),
        np.array([r.failed for r in results]),
    )
    low, high = np.quantile(area_under_curve(utilisation, failed, weight), [0.025, 0.975])
    return float(low), float(high), len(names)


def contrasts(results: Sequence[Result]) -> list[tuple[str, Result, Result]]:
    """Each contrast: right, tied (same inputs) or wrong, by utilisation."""
    known = {r.pair["id"]: r for r in results}
    found = []
    for entry in table()["contrast"]:
        better, worse = known[entry["better"]], known[entry["worse"]]
        tied = abs(better.utilisation - worse.utilisation) <= 1e-6 * worse.utilisation
        word = "tied" if tied else "right" if better.utilisation < worse.utilisation else "wrong"
        found.append((word, better, worse))
    return found


RIGHT, AREA = 49, 0.679
"""Pairs of the 76 judged right, and area under the curve, when a person last looked: a floor. A
change that lowers either fails a test until a person sets it anew here, with the reason beside it.

- 49 and 0.679: 16 failures and 33 sound pieces told right, 7 and 20 wrong; the first floor."""
REASONS = {
    "a block joint judged as a wide plate with a crack longer than the block is thick; no creep, "
    "and the cold yield stress from the set point on; sound means whole enough to be tested": (
        "silicon-nitride-steel", "silicon-nitride-copper-steel", "silicon-nitride-tungsten-316",
        "silicon-nitride-iron-tungsten-405", "alumina-niobium-molybdenum-steel",
        "alumina-titanium-304", "alumina-titanium-molybdenum-304", "alumina-titanium-copper-304",
        "alumina-copper-nickel-copper-superalloy", "aluminium-nitride-304",
    ),
    "most of the alloy's contraction comes above its Curie point, where it is soft; here it is as "
    "strong as when cold": ("alumina-fe-ni-co", "ring-alumina-fe-ni-co"),
    "the layer is pressed and holds the joint shut; its energy is held against the toughness in "
    "opening": ("sheet-steel-enamel", "copper-enamel-countered", "graded-alumina-316l-19-zirconia"),
    "inputs of its twin of the other outcome: what told them apart, sintering, is not printed": (
        "micro-moulded-zirconia-316l-nano", "graded-zirconia-steel-unadjusted",
        "laminate-alumina-zirconia-slow",
    ),
    "pressed round the ring, and pulled off the metal by far less than its strength: sleeves have "
    "no energy rule; corners of a crown and slow crack growth are left out": (
        "crown-gold-porcelain-minus-1.5", "bridge-nickel-chromium-porcelain-minus-1.7",
        "bridge-nickel-chromium-porcelain-minus-2.2",
    ),
    "just below the limit, and a limit of its source": ("crown-gold-porcelain-plus-1.7",),
    "the limit of a standard, not a piece; strength is of short time, no slow crack growth": (
        "bead-300-ppm",
    ),
    "the strength taken is that of glass with flaws of about 60 µm; the coat is 80 µm thick": (
        "coat-titanium-alloy-silica-rich-glass",
    ),
    "the blend is taken to be as weak as its weaker phase; no creep from 1200 °C down": (
        "laminate-alumina-zirconia-alumina-added",
    ),
    "gas in a fast firing, of which nothing is in the inputs": ("cofired-silver-tape-fast",),
    "not explained": ("disc-opaque-body-porcelain-plus-3.2",),
}  # fmt: skip
"""Why pairs were missed, as far as we can tell; read off afterwards."""


def _line(result: Result) -> str:
    flag = result.flags[0]
    held = f"{flag.figure:8.3g} / {flag.limit:<7.3g} {flag.unit}" if flag.unit else "  not printed"
    mark = " " if result.failed == result.predicted_failed else "*"
    return (
        f"{mark} {result.pair['id']:43} {result.pair['outcome']:7}{VERDICTS[result.grade]:8}"
        f"{result.utilisation:7.2f}  {flag.rule:13}{held:42}{flag.zone[:60]}"
    )


def report() -> str:
    """Table, score and misses, as printed."""
    results = judge_all()
    lines = [
        "  pair (* miss)                               outcome says    utilisation    deciding rule"
    ]
    lines += [_line(r) for r in results]
    whole = score(results)
    low, high = wilson(whole.caught + whole.passed, whole.count)
    sound = (whole.passed + whole.false_alarms) / whole.count
    lines += [
        "", "                says failed   says sound",
        f"was failed {whole.caught:12} {whole.missed:12}",
        f"was sound  {whole.false_alarms:12} {whole.passed:12}", "",
        f"accuracy {whole.accuracy:.3f}, Wilson 95 % {low:.3f} to {high:.3f}; "
        f"calling every pair sound would give {sound:.3f}",
        "area under the curve {:.3f} to {:.3f} (95 %, resampling {} sources)".format(
            *area_interval(results)
        ), "",
        f"{'':42}pairs  accuracy  balanced  Spearman  Kendall   area",
    ]  # fmt: skip
    cooling = [r for r in results if r.pair["stage"] == "cooling"]
    clear = [r for r in results if not r.pair.get("border", False)]
    sure = [r for r in results if r.pair["certainty"] == "high"]
    rows = {
        "all": whole,
        "all, caution counted as failed": score(results, lambda r: r.grade > 0),
        "cause in cooling": score(cooling),
        "cause in cooling, caution as failed": score(cooling, lambda r: r.grade > 0),
        "not on the border": score(clear),
        "certainty high": score(sure),
        "cooling, no border, certainty high": score(
            [r for r in cooling if r in clear and r in sure]
        ),
        "all but bonded blocks and plates": score(
            [r for r in results if r.pair["family"] != "bonded"]
        ),
        "all, by difference of contraction alone": score(
            results, lambda r: contraction_difference(r) > SEAL_LIMIT, contraction_difference
        ),
    }
    lines += [
        f"{name:42}{s.count:5}{s.accuracy:10.3f}{s.balanced:10.3f}{s.spearman:10.3f}"
        f"{s.kendall:9.3f}{s.area:7.3f}"
        for name, s in rows.items()
    ]
    compared = contrasts(results)
    count = {word: sum(w == word for w, *_ in compared) for word in ("right", "tied", "wrong")}
    lines += ["", "contrasts: " + ", ".join(f"{n} {word}" for word, n in count.items())]
    lines += [
        f"  {word}: {a.pair['id']} {a.utilisation:.3f}, worse {b.pair['id']} {b.utilisation:.3f}"
        for word, a, b in compared
        if word != "right"
    ]
    missed = {r.pair["id"]: r.pair["outcome"] for r in results if r.failed != r.predicted_failed}
    lines += ["", f"{len(missed)} misses"]
    known = {name for names in REASONS.values() for name in names}
    for why, names in {**REASONS, "no reason recorded": sorted(set(missed) - known)}.items():
        own = [f"    {name} (was {missed[name]})" for name in names if name in missed]
        lines += [f"  {why}:", *own] if own else []
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
