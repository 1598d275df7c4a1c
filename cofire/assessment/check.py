"""One vessel checked: the verdict is of what the printer will lay, not of what was drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cofire.assessment.printed import as_printed
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.rule import NEIGHBOUR, STRESS, Flag, joint_name
from cofire.assessment.verdict import Verdict, judge, rule_of
from cofire.firing.kiln import Trace
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.vessel import Vessel


@dataclass(frozen=True)
class Check:
    """A vessel fired and judged.

    Attributes
    ----------
    designed
        Fired with the bands as drawn, each joint sharp.
    sharp
        The verdict on that.
    printed
        Fired with the bands that the changeovers leave; the same as `designed` where no printer
        is given, or none of its pastes changes.
    verdict
        The verdict: on `printed`.
    """

    designed: Response
    sharp: Verdict
    printed: Response
    verdict: Verdict

    @property
    def smeared(self) -> bool:
        """Whether changeovers were taken into account."""
        return self.printed is not self.designed

    @property
    def word(self) -> str:
        """Go, caution or no, of the vessel as it will be printed."""
        return self.verdict.word


def check_vessel(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    control: Control | None = None,
    curve: Trace | None = None,
) -> Check:
    """A vessel fired and judged as it will be printed.

    Parameters
    ----------
    vessel : Vessel
        Profile, bands, printer, firing.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    control : Control, optional
        Tolerances and steps.
    curve : Trace, optional
        What the ware saw, where that is known.

    Returns
    -------
    Check
        Its word is that of every other output on the same vessel.

    Raises
    ------
    InputError
        As `fire_vessel` and `as_printed`.
    """
    designed = fire_vessel(vessel, cards, extend=extend, control=control, curve=curve)
    return checked(designed, cards, control)


def checked(designed: Response, cards: Mapping[str, Card], control: Control | None = None) -> Check:
    """A vessel that was fired with sharp joints, judged as it will be printed.

    Parameters
    ----------
    designed : Response
        From `fire_vessel`.
    cards : mapping
        Materials by name.
    control : Control, optional
        Tolerances and steps.

    Returns
    -------
    Check
        As `check_vessel`.
    """
    sharp = judge(designed)
    density = {
        card.name: float(designed.history.relative_density[row, -1])
        for row, card in designed.materials
    }
    vessel = as_printed(designed.vessel, designed.cards, density)
    if vessel is designed.vessel:
        return Check(designed, sharp, designed, sharp)
    printed = fire_vessel(
        vessel,
        cards,
        extend=bool(designed.history.extended),
        control=control,
        curve=designed.trace,
    )
    return Check(designed, sharp, printed, judge(printed))


def worst_by_joint(check: Check) -> list[Flag | None]:
    """Of each joint as drawn, the flag nearest to it that uses up most of its limit.

    Only rules that see what zones do to each other count. A changeover leaves many small steps
    where one joint was drawn: each flag belongs to the drawn joint that lies nearest.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    list of Flag or None
        One a joint, from the foot up; None where no rule says anything of it.
    """
    drawn = check.designed.vessel.steps
    bands = check.printed.cards
    steps = {
        joint_name(low.name, high.name): float(at)
        for (low, high), at in zip(pairwise(bands), check.printed.vessel.steps, strict=True)
    }
    found: list[list[Flag]] = [[] for _ in drawn]
    for flag in check.verdict.flags:
        at = steps.get(flag.zone) if flag.height is None else flag.height
        if at is not None and drawn.size and rule_of(flag).sees & {NEIGHBOUR, STRESS}:
            found[int(np.argmin(np.abs(drawn - at)))].append(flag)
    return [max(flags, key=lambda f: (f.grade, f.counted), default=None) for flags in found]


def worst_place(check: Check) -> Flag:
    """The flag that decides, or where it stands for the whole vessel, the worst one with a place.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    Flag
        Of the rule that decides; without a height where none of that rule has one.
    """
    worst = check.verdict.worst
    own = (f for f in check.verdict.flags if f.rule == worst.rule and f.height is not None)
    return worst if worst.height is not None else next(own, worst)
