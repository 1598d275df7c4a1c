"""The table of rules, and the verdict that they make on one vessel: every flag, the worst first.

Whatever asks which rules there are, or what a rule is like, reads `RULES`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from cofire.assessment import (
    brown_rules,
    crack_rules,
    crystal_rules,
    firing_rules,
    grain_rules,
    later_rules,
    packing,
    pair_rules,
    steam_rules,
    wall_rules,
)
from cofire.assessment.chance import cracking
from cofire.assessment.response import Response
from cofire.assessment.rule import GO, PER_CENT_CRACK, VERDICTS, Flag, Rule
from cofire.display import small_table
from cofire.materials.card import DENSE

RULES: tuple[Rule, ...] = (
    *pair_rules.RULES,
    *firing_rules.RULES,
    *crystal_rules.RULES,
    *steam_rules.RULES,
    *brown_rules.RULES,
    *grain_rules.RULES,
    *crack_rules.RULES,
    *later_rules.RULES,
    *wall_rules.RULES,
    *packing.RULES,
)
"""Every rule, in the order in which they are asked."""
PROBABLE = frozenset(rule.name for rule in RULES if rule.probable)
"""Rules that foretell the probability of a crack."""
LOSING = frozenset(rule.name for rule in RULES if rule.loses)
"""Rules whose limit, passed, loses the pot: those that "not lost" is of."""
SEEN = frozenset(rule.name for rule in RULES if rule.seen)
"""Rules whose limit, passed, is seen once the kiln is open: those that an outcome speaks of."""


def rule_of(flag: Flag) -> Rule:
    """The rule that a flag belongs to.

    Parameters
    ----------
    flag : Flag
        From `judge`.

    Returns
    -------
    Rule
        Out of the table.
    """
    return next(rule for rule in RULES if rule.name == flag.rule)


def _figure(value: float) -> str | None:
    """Three digits, or nothing where it could not be computed."""
    return f"{value:.3g}" if math.isfinite(value) else None


@dataclass(frozen=True)
class Verdict:
    """All flags of a vessel, worst first.

    Examples
    --------
    >>> import cofire as cf
    >>> verdict = cf.fire(cf.example_vessel()).check()
    >>> verdict.word, verdict.worst is verdict.flags[0]
    ('no', True)
    """

    flags: tuple[Flag, ...]

    def __repr__(self) -> str:
        flag = self.deciding
        return (
            f"<Verdict {self.word}: {flag.rule}, {flag.zone}, utilisation "
            f"{flag.utilisation:.3g}; {len(self.flags)} flags>"
        )

    def _repr_html_(self) -> str:
        """Every flag, worst first, with what would mend it."""
        head = ("verdict", "rule", "zone", "utilisation", "figure", "limit", "unit", "remedy")
        rows = (
            (f.verdict, f.rule, f.zone, *(_figure(v) for v in (f.utilisation, f.figure, f.limit)),
             f.unit, f.remedy if f.grade else None)
            for f in self.flags
        )  # fmt: skip
        return small_table(f"{self.word}: {self.deciding.rule}, {self.deciding.zone}", head, rows)

    @property
    def worst(self) -> Flag:
        """The flag with the largest share of its limit used up, of the worst grade."""
        return self.flags[0]

    @property
    def deciding(self) -> Flag:
        """The flag to tell first: worst of what melts, is lost in the kiln, after it, less good.

        A pot that has melted, burnt to oxide or flowed flat does not crack, and one that cracked
        on cooling has no year to come.
        """
        if self.grade == GO:
            return self.worst
        alike = [flag for flag in self.flags if flag.grade == self.grade]
        rules = [rule_of(flag) for flag in alike]
        order = [0 if r.first else 3 if not r.loses else 2 if r.after else 1 for r in rules]
        return alike[order.index(min(order))]

    @property
    def by_rule(self) -> dict[str, list[Flag]]:
        """Flags by rule: what decides first, then the worst; of each the worst place first."""
        found: dict[str, list[Flag]] = {self.deciding.rule: []}
        for flag in self.flags:
            found.setdefault(flag.rule, []).append(flag)
        return found

    @property
    def grade(self) -> int:
        """0, 1 or 2 for go, caution, no."""
        return self.worst.grade

    @property
    def word(self) -> str:
        """Go, caution or no."""
        return VERDICTS[self.grade]

    @property
    def most_used(self) -> Flag:
        """The flag with the largest share of its limit used up, of whatever grade.

        A caution may begin at a smaller share than a go ends at: it need not be `worst`.
        """
        return max(self.flags, key=lambda flag: flag.counted)

    @property
    def utilisation(self) -> float:
        """Largest share of a limit that is used up; what could not be computed counts as 1. [-]"""
        return self.most_used.counted

    @property
    def crack_probability(self) -> float:
        """Largest chance of a crack on cooling, the rule's own error in it; 0 without. [-]"""
        rules = ((f, rule_of(f)) for f in self.flags)
        chances = (crack_chance(f) for f, rule in rules if rule.probable and not rule.after)
        return max((c for c in chances if c is not None), default=0.0)


def crack_chance(flag: Flag) -> float | None:
    """Probability of a crack that a flag stands for, with what its rule itself may be wrong by.

    Parameters
    ----------
    flag : Flag
        From `judge`.

    Returns
    -------
    float or None
        None where its figure is no probability. [-]
    """
    if flag.unit != PER_CENT_CRACK or not math.isfinite(flag.figure):
        return None
    modulus = float(crack_rules.modulus_of(flag.caution))
    return cracking(flag.utilisation, modulus, flag.rule)


def worst_first(flags: Iterable[Flag]) -> Verdict:
    """A verdict of flags in any order.

    Parameters
    ----------
    flags : iterable of Flag
        At least one.

    Returns
    -------
    Verdict
        By grade, then by the share of its limit that is used up.
    """
    return Verdict(tuple(sorted(flags, key=lambda flag: (-flag.grade, -flag.counted))))


def worst_by_rule(
    flags: Iterable[Flag], counts: Callable[[Flag], Any] = attrgetter("counted", "utilisation")
) -> dict[str, Flag]:
    """The flag of each rule that counts most.

    Parameters
    ----------
    flags : iterable of Flag
        Of one vessel.
    counts : callable
        How much a flag counts; by default the share of its limit that is used up, 1 where it could
        not be computed, and a caution at most as no more than 1 but the worse one first. [-]

    Returns
    -------
    dict
        By the rules' names, in the order in which they come.
    """
    worst: dict[str, Flag] = {}
    for flag in flags:
        if flag.rule not in worst or counts(flag) > counts(worst[flag.rule]):
            worst[flag.rule] = flag
    return worst


def judge(response: Response) -> Verdict:
    """Apply every rule to a fired vessel; those of green ware not where all bodies arrive dense.

    Returns
    -------
    Verdict
        Worst flag first.
    """
    dense = all(card.arrives == DENSE for card in response.cards)
    asked = (rule for rule in RULES if not (dense and rule.green))
    return worst_first(flag for rule in asked for flag in rule.flags(response))
