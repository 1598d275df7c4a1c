"""How sure a verdict is, as a person reads it, and as JSON."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cofire.assessment.draws import REACH, Factor
from cofire.assessment.model_factors import RECORD, factor_of
from cofire.evidence.advice import DOUBTFUL, Advice
from cofire.evidence.measure_next import Influence, Ranking
from cofire.evidence.uncertainty import Key, Probability, Samples
from cofire.report.verdict import called, number, unknown_line
from cofire.report.writing import wrapped
from cofire.units import counted

SHOWN = 4
"""Limits that are used up most, as the text lists them. [-]"""
ASSUMED = (
    "Each property moves within the uncertainty that its card states, the rows of a table "
    "together, cut off at {reach:g} standard uncertainties and where no paste could be so; a "
    "denser green body has dried further, sinters denser and bears more, all else moves "
    "independently. "
    "Each rule may be wrong by a factor, those of stress by one they share "
    "(cofire/assessment/model_factors: a standard deviation of two up or down for most). Kiln, "
    "geometry and the kinetics of burnout are not in it. {record}."
)


def percent(share: float) -> str:
    """A share in per cent, never 0 or 100 unless it is.

    Parameters
    ----------
    share : float
        0 to 1. [-]

    Returns
    -------
    str
        With its sign.
    """
    if 0.0 < share < 0.005:
        return "< 1 %"
    if 0.995 < share < 1.0:
        return "> 99 %"
    return f"{100.0 * share:.0f} %"


def interval(probability: Probability) -> str:
    """A probability with its 95 % interval.

    Parameters
    ----------
    probability : Probability
        From the samples.

    Returns
    -------
    str
        As "12 % (8 to 17)".
    """
    low, high = 100 * probability.low, 100 * probability.high
    return f"{percent(probability.value)} ({low:.0f} to {high:.0f})"


def property_name(factor: Factor) -> str:
    """A property and its material, in words.

    Parameters
    ----------
    factor : Factor
        The property.

    Returns
    -------
    str
        As "yield stress, fine silver".
    """
    return f"{factor.name.replace('_', ' ')}, {factor.material}"


def uncertainty_text(
    samples: Samples, ranking: Ranking, width: int = 100, advice: Advice | None = None
) -> str:
    """Whether the pot is kept, chances of each verdict, limits used up most, what to measure next.

    Parameters
    ----------
    samples : Samples
        From `sample_verdicts`.
    ranking : Ranking
        From `measure_next`.
    width : int
        Columns. [-]
    advice : Advice, optional
        Which pieces to fire first.

    Returns
    -------
    str
        Ends in a new line.
    """
    count, moved = len(samples.utilisation), len(samples.factors)
    low, middle, high = np.percentile(samples.worst, [5.0, 50.0, 95.0])
    most = list(samples.most_used.items())[:SHOWN]
    named = "; ".join(f"{rule}, {zone}: {percent(share)}" for (rule, zone), share in most)
    taught = [f"  {line}" for line in samples.taught]
    paragraphs = [
        f"With {moved} properties moved within their uncertainties, {count} samples, seed "
        f"{samples.seed} (in brackets the 95 % interval that this number of samples leaves):",
        f"  not lost {interval(samples.not_lost)}, counted as in a plan, but kiln and print are as "
        f"they stand: {called(samples.not_lost.value)}; all well {interval(samples.all_well)}",
        f"  sound when the kiln is opened (no crack, no slump; what a record compares) "
        f"{interval(samples.sound)}; no crack on cooling {interval(samples.survival)}",
        *([f"  {unknown_line(samples.unknown)}"] if samples.unknown else []),
        f"  verdict, were all as it truly is: go {interval(samples.go)}, no {interval(samples.no)}",
        f"  of all limits, largest utilisation {number(middle)}, nine times in ten {number(low)} "
        f"to {number(high)}",
        f"  used up most (in so many of the samples): {named}",
        *([advice.text()] if advice is not None else []),
        *(["What fired pieces taught:", *taught] if taught else []),
        "",
    ]
    lines = []
    for text in paragraphs:
        lines += wrapped(text, 4 if text.startswith("  ") else 0, width)
    return (
        "\n".join([*lines, *_table(ranking, width), "", *_remarks(samples, ranking, width)]) + "\n"
    )


def _table(ranking: Ranking, width: int) -> list[str]:
    """Properties by their share of the spread, with what own bars would buy."""
    if ranking.spread < 1.0 + 1e-6:
        return ["What loses the pot does not hang on any of these properties."]
    listed = _told_apart(ranking)
    if not listed:
        return wrapped(
            "No property's share of the spread of what loses the pot is told from noise: of "
            "samples that it was not fitted to, the fit of all properties foretells "
            f"{percent(ranking.explained)} of it, and shares below {percent(ranking.noise)} may "
            "be chance with so few. More of them tell more (--samples).",
            width=width,
        )
    shown = ranking.doubt >= DOUBTFUL
    names = [property_name(i.factor) for i in listed]
    wide = max(*map(len, names), len("measure this next"))

    def row(name: str, share: str, spread: str, doubt: str, last: str) -> list[str]:
        start = f"{name:{wide}} {share:>8} {spread:>7} " + (f"{doubt:>11} " if shown else "")
        room = max(width - len(start) - 1, 20)
        first, *more = wrapped(last, width=room)
        return [f"{start} {first}", *(" " * (len(start) + 1) + line for line in more)]

    rows = row("measure this next", "share of", "utilisation", "wrong call", "with")
    rows += row("", "spread", _times(ranking.spread), percent(ranking.doubt), "<- as it is")
    for name, i in zip(names, listed, strict=True):
        rows += row(name, percent(i.total), _times(i.spread), percent(i.doubt), i.piece)
    return rows


def _told_apart(ranking: Ranking) -> list[Influence]:
    """Properties whose share of the spread is more than noise."""
    return [i for i in ranking.influences if i.total >= ranking.noise]


def _times(spread: float) -> str:
    return f"×÷{spread:.2f}"


def _remarks(samples: Samples, ranking: Ranking, width: int) -> list[str]:
    """What the columns mean, what was assumed, and what was clipped or left out."""
    lines = []
    if _told_apart(ranking):
        call = (
            "; wrong call: the probability that the likelier of lost and not lost is wrong"
            if ranking.doubt >= DOUBTFUL
            else ""
        )
        lines.append(
            "Share of spread: of the logarithm of the largest utilisation of a limit that loses "
            "the pot, what would stay if all other "
            f"properties were known. {percent(ranking.explained)} of the spread is accounted for; "
            "shares are of all of it, add to more than that where properties act together, and are "
            f"left out below {percent(ranking.noise)}, where {len(samples.utilisation)} samples do "
            "not tell them from noise. "
            f"Utilisation: one standard deviation up or down{call}; both as they would be once "
            "own bars have told that property, which leave what differs from batch to batch."
        )
    lines.append(ASSUMED.format(reach=REACH, record=RECORD))
    if samples.clipped:
        most = sorted(samples.clipped.items(), key=lambda item: -item[1])
        named = ", ".join(f"{property_name(f)} ({n})" for f, n in most[:SHOWN])
        rest = len(most) - SHOWN
        more = f" and {rest} more" if rest > 0 else ""
        lines.append(
            f"Held within what is possible in some samples: {named}{more}: nothing within "
            "reach of their uncertainty was."
        )
    if samples.failed:
        lines.append(f"Left out, as they could not be fired: {counted(samples.failed, 'sample')}.")
    return [row for line in lines for row in wrapped(line, width=width)]


def uncertainty_row(
    samples: Samples, ranking: Ranking, advice: Advice | None = None
) -> dict[str, object]:
    """The same, ready for JSON.

    Parameters
    ----------
    samples : Samples
        From `sample_verdicts`.
    ranking : Ranking
        From `measure_next`.
    advice : Advice, optional
        Which pieces to fire first.

    Returns
    -------
    dict
        Probabilities and shares from 0 to 1.
    """

    def short(value: float) -> float:
        return float(f"{value:.6g}")

    def probability(found: Probability) -> dict[str, float]:
        return {"p": short(found.value), "low": short(found.low), "high": short(found.high)}

    def of(factor: Factor) -> dict[str, str]:
        return {"material": factor.material, "property": factor.name}

    def flag(key: Key) -> dict[str, str]:
        return {"rule": key[0], "zone": key[1]}

    quantiles = np.percentile(samples.worst, [5.0, 50.0, 95.0])
    go, no = samples.go, samples.no
    between = samples.probability(np.array([max(1.0 - go.value - no.value, 0.0)]))
    between = replace(
        between, low=max(0.0, 1.0 - go.high - no.high), high=min(1.0, 1.0 - go.low - no.low)
    )
    return {
        "samples": len(samples.utilisation),
        "failed": samples.failed,
        "seed": samples.seed,
        "properties": len(samples.factors),
        "verdict": {"go": probability(go), "caution": probability(between),
                    "no": probability(no)},
        "model_factors": {rule: {"spread": short(factor_of(rule).spread),
                                 "low": factor_of(rule).low, "high": factor_of(rule).high,
                                 "pairs": factor_of(rule).pairs,
                                 "source": factor_of(rule).source}
                          for rule in samples.rules},
        "taught": list(samples.taught),
        "fire_next": None if advice is None else {
            "wrong_call": short(advice.doubt), "wrong_call_after": short(advice.after),
            "pieces": [o.name for o in advice.chosen],
            "alone": [{"piece": o.name, "wrong_call": short(o.doubt)} for o in advice.options],
        },
        "unknown": [flag(key) for key in samples.unknown],
        "not_lost": probability(samples.not_lost),
        "call": called(samples.not_lost.value),
        "all_well": probability(samples.all_well),
        "no_crack_on_cooling": probability(samples.survival),
        "sound": probability(samples.sound),
        "utilisation": {f"p{p}": short(q) for p, q in zip((5, 50, 95), quantiles, strict=True)},
        "used_up_most": [flag(key) | {"share": short(s)} for key, s in samples.most_used.items()],
        "accounted_for": short(ranking.explained),
        "least_share_told": short(ranking.noise),
        "spread_factor": short(ranking.spread),
        "wrong_call": short(ranking.doubt),
        "measure_next": [
            of(i.factor) | flag(i.through) | {
                "first_order": short(i.first), "total": short(i.total),
                "rank_correlation": short(i.rank_correlation),
                "spread_factor_if_measured": short(i.spread),
                "wrong_call_if_measured": short(i.doubt), "piece": i.piece,
            }
            for i in ranking.influences
        ],
        "flags": [
            flag(key) | {
                "accounted_for": short(told),
                "total": [of(f) | {"share": short(s)}
                          for f, s in sorted(shares.items(), key=lambda item: -item[1])[:SHOWN]],
            }
            for key, (shares, told) in ranking.flags.items()
        ],
        "clipped": [of(f) | {"samples": n} for f, n in samples.clipped.items()],
        "assumed": ASSUMED.format(reach=REACH, record=RECORD),
    }  # fmt: skip
