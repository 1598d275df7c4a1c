"""The best design of each number of pastes judged by the solid, before one of them is proposed.

A search fires shells, put right by the solid of one candidate. How far a shell is out hangs on the
joint: on its rough mesh the powder beside a sharp joint is strained up to twice as much as a shell
tells, beside a graded one 1.2 times (nine designs of one request: 1.9 with no blend, 1.6 with one
of half and half, 1.2 with three). So each leader is fired as a solid too, its chance is asked again
where its own ratio is another one, and the search goes on once from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from cofire.assessment.check import Check
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import worst_by_rule
from cofire.design.candidates import Bench, judged, ratios_between
from cofire.design.objective import Outcome, Sample, by_ratios, nominal, odds, of_shells
from cofire.design.search import Choice, DesignSearch, preferred
from cofire.design.space import laid
from cofire.vessel import Vessel
from cofire.workers import each

FAR = 1.1
"""Factor between two ratios from which a chance is asked again. [-]"""
TELLS = 0.5
"""Utilisation below which a rule decides nothing, whatever its ratio: our choice. [-]"""
FURTHEST = 30.0
"""Most by which the shell of a design is put right by a solid of the same design. [-]"""


def ratios_by_solid(bench: Bench, vessel: Vessel, found: Check) -> dict[str, float]:
    """What the solid of a design finds over its coarse shell, by rule.

    Parameters
    ----------
    bench : Bench
        Of the search.
    vessel : Vessel
        The design.
    found : Check
        Of it.
    """
    own = replace(bench, ratios={})
    own.correct(vessel, found, FURTHEST)
    return own.ratios


def far_apart(one: Mapping[str, float], other: Mapping[str, float], found: Check) -> bool:
    """Whether two sets of ratios differ on a rule that uses up much of its limit.

    Parameters
    ----------
    one, other : mapping
        By rule.
    found : Check
        Of the design.
    """
    for rule, flag in worst_by_rule(found.verdict.flags).items():
        a, b, used = one.get(rule, 1.0), other.get(rule, 1.0), flag.counted
        if max(a, b) > FAR * min(a, b) and max(used, used * b / a) > TELLS:
            return True
    return False


def odds_by_solid(
    samples: Sequence[Sample], bench: Bench, vessel: Vessel, found: Check
) -> Outcome | None:
    """What a design comes to over samples, its shells put right by its own solid.

    Parameters
    ----------
    samples : sequence of Sample
        From `draw`.
    bench : Bench
        Of the search.
    vessel : Vessel
        The design.
    found : Check
        Of it.

    Returns
    -------
    Outcome or None
        None where the shell cannot be fired.
    """
    (known,) = nominal(bench, [vessel])
    if known is None:
        return None
    own = _put_right(bench, found, known.shell)
    (outcome,) = odds(own, samples, [vessel], [by_ratios(own, vessel, known)])
    return outcome


def solid_and_odds(
    samples: Sequence[Sample], bench: Bench, vessel: Vessel, check: Callable[[Vessel], Check]
) -> tuple[Check, Outcome | None]:
    """A design's check, and its chances as `odds_by_solid`: the shells fired beside the solid.

    Parameters
    ----------
    samples : sequence of Sample
        From `draw`.
    bench : Bench
        Of the search.
    vessel : Vessel
        The design.
    check : callable
        Gives the check of a vessel.

    Returns
    -------
    tuple of Check and Outcome or None
        None where the shell cannot be fired.
    """
    jobs: Iterator[tuple[Callable[[Any], Any], Any]] = chain(
        [(check, vessel), (judged, (replace(bench, ratios={}), [vessel]))],
        ((judged, sample.job([vessel])) for sample in samples),
    )
    found, (shell,), *shells = each(_answered, jobs, bench.executor)
    if shell is None:
        return found, None
    body = bench.zones(vessel)[1].name
    rows = [(one, sample.modulus(body)) for (one,), sample in zip(shells, samples, strict=True)]
    return found, of_shells(_put_right(bench, found, shell), vessel, shell, rows)


def _answered(job: tuple[Callable[[Any], Any], Any]) -> Any:
    """One question of several kinds, from anywhere."""
    work, of = job
    return work(of)


def _put_right(bench: Bench, found: Check, shell: Sequence[Flag]) -> Bench:
    """The bench with the ratios of a design's solid over its shell."""
    return replace(bench, ratios=ratios_between(found.verdict.flags, shell, FURTHEST))


def settle(
    search: DesignSearch, bench: Bench, vessel: Vessel, check: Callable[[list[Vessel]], list[Check]]
) -> tuple[DesignSearch, Check]:
    """The same choices, each put right by its own solid, and the one to propose.

    Parameters
    ----------
    search : DesignSearch
        What was found.
    bench : Bench
        Of the search.
    vessel : Vessel
        With its limits and firing.
    check : callable
        Gives the checks of some vessels.

    Returns
    -------
    tuple of DesignSearch and Check
        The choices anew, and the check of the chosen one. Where that is a no and another choice,
        that keeps nearly as many, is none, the other is chosen.
    """
    metal, ceramic, below = bench.zones(vessel)
    vessels = [laid(vessel, metal.name, ceramic.name, below, c.design) for c in search.choices]
    checks = check(vessels)
    choices: list[Choice] = []
    for choice, one, found in zip(search.choices, vessels, checks, strict=True):
        own, outcome = _put_right(bench, found, choice.outcome.shell), choice.outcome
        if far_apart(own.ratios, bench.ratios, found):
            outcome = by_ratios(own, one, outcome)
        choices.append(replace(choice, grade=found.verdict.grade, outcome=outcome))
    chosen = preferred(choices, search.given)
    return (
        replace(search, choices=tuple(choices), chosen=chosen),
        checks[choices.index(chosen)],
    )


def together(one: DesignSearch, other: DesignSearch) -> DesignSearch:
    """Two searches of one vessel in one firing as one: of each number of pastes the better design.

    Parameters
    ----------
    one, other : DesignSearch
        Each settled, over the same samples.
    """
    best: dict[int, Choice] = {}
    for choice in (*one.choices, *other.choices):
        n = choice.design.changes
        if n not in best or choice.outcome.cost < best[n].outcome.cost:
            best[n] = choice
    choices = tuple(best[n] for n in sorted(best))
    return replace(
        one,
        choices=choices,
        chosen=preferred(choices, one.given),
        tried=one.tried + other.tried,
        fired=one.fired + other.fired,
        least_load=min(one.least_load, other.least_load),
        least_cooling=min(one.least_cooling, other.least_cooling),
        placeless=tuple(sorted({*one.placeless, *other.placeless} - set(best))),
    )
