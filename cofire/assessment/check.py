"""One vessel checked: the verdict is of what the printer will lay, judged on a solid wall.

The shell fires first and lends the solid its times; the solid decides. Where no solid can be cut,
or where it is not wanted, the shell decides and the check says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cofire.assessment.printed import as_printed
from cofire.assessment.response import Response, fire_vessel, meshed, solid_or_shell
from cofire.assessment.rule import NEIGHBOUR, STRESS, Flag, joint_name
from cofire.assessment.verdict import Verdict, judge, rule_of
from cofire.errors import InputError
from cofire.firing.kiln import Trace
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.numerics import one_thread
from cofire.vessel import Vessel

QUICK = "asked for: a shell, quickly"
"""Why a shell decided, where it was asked to."""


@dataclass(frozen=True)
class Check:
    """A vessel fired and judged.

    Attributes
    ----------
    designed
        Fired as a shell with the bands as drawn, each joint sharp.
    sharp
        The verdict on that; `verdict` where no changeover is taken into account.
    printed
        Fired with the bands that the changeovers leave, or as drawn where no printer is given:
        as a solid, unless `why` says otherwise.
    verdict
        The verdict: on `printed`.
    why
        Why no solid decided; empty where one did.
    """

    designed: Response
    sharp: Verdict
    printed: Response
    verdict: Verdict
    why: str = ""

    @property
    def smeared(self) -> bool:
        """Whether changeovers were taken into account."""
        return self.printed.vessel is not self.designed.vessel

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
    quick: bool = False,
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
    quick : bool
        Whether the shell shall decide.

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
    return checked(designed, cards, control, quick)


def laid_vessel(designed: Response) -> Vessel:
    """The vessel with the bands that its changeovers leave; itself where no printer is given.

    Parameters
    ----------
    designed : Response
        From `fire_vessel`, with sharp joints.

    Returns
    -------
    Vessel
        As `as_printed`, with the densities of this firing.
    """
    density = {
        card.name: float(designed.history.relative_density[row, -1])
        for row, card in designed.materials
    }
    return as_printed(designed.vessel, designed.cards, density)


@one_thread
def checked(
    designed: Response,
    cards: Mapping[str, Card],
    control: Control | None = None,
    quick: bool = False,
) -> Check:
    """A vessel that was fired with sharp joints, judged as it will be printed.

    Parameters
    ----------
    designed : Response
        From `fire_vessel`.
    cards : mapping
        Materials by name.
    control : Control, optional
        Tolerances and steps.
    quick : bool
        Whether the shell shall decide.

    Returns
    -------
    Check
        As `check_vessel`.
    """
    vessel = laid_vessel(designed)
    printed = designed
    if vessel is not designed.vessel:
        _refuse_uncut(vessel)
        printed = fire_vessel(
            vessel,
            cards,
            extend=bool(designed.history.extended),
            control=control,
            curve=designed.trace,
            along=designed.along,
        )
    printed, why = (printed, QUICK) if quick else solid_or_shell(printed)
    verdict = judge(printed)
    sharp = verdict if vessel is designed.vessel else judge(designed)
    return Check(designed, sharp, printed, verdict, why)


def _refuse_uncut(printed: Vessel) -> None:
    """Say of a step that no mesh can cut that the smear put it there, and not the file."""
    try:
        meshed(printed)
    except InputError as error:
        raise InputError(
            f"{error}. No joint of the file, but a step of the smear that "
            f"{1e6 * printed.printer.dead_volume:.3g} ml of paste before the nozzle leave: a "
            "smaller chamber (dead_volume_ml) smears less"
        ) from None


def drawn_joint(check: Check, flag: Flag) -> int | None:
    """The joint as drawn that lies nearest to the place of a flag.

    A changeover leaves many small steps where one joint was drawn.

    Parameters
    ----------
    check : Check
        From `check_vessel`.
    flag : Flag
        Of the vessel as printed or as designed.

    Returns
    -------
    int or None
        From the foot up; None where the flag has no place or the vessel no joint. [-]
    """
    at = flag.height
    for fired in (check.designed, check.printed):
        for (low, high), step in zip(pairwise(fired.cards), fired.vessel.steps, strict=True):
            if at is None and flag.zone == joint_name(low.name, high.name):
                at = float(step)
    drawn = check.designed.vessel.steps
    return None if at is None or not drawn.size else int(np.argmin(np.abs(drawn - at)))


def worst_by_joint(check: Check) -> list[Flag | None]:
    """Of each joint as drawn, the flag nearest to it that uses up most of its limit.

    Only rules that see what zones do to each other count; each flag belongs to its `drawn_joint`.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    list of Flag or None
        One a joint, from the foot up; None where no rule says anything of it.
    """
    found: list[list[Flag]] = [[] for _ in check.designed.vessel.steps]
    for flag in check.verdict.flags:
        joint = drawn_joint(check, flag)
        if joint is not None and rule_of(flag).sees & {NEIGHBOUR, STRESS}:
            found[joint].append(flag)
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
    flag = check.verdict.deciding
    own = (f for f in check.verdict.flags if f.rule == flag.rule and f.height is not None)
    return flag if flag.height is not None else next(own, flag)
