"""One vessel checked: the verdict is of what the printer will lay, judged on a solid wall.

The shell fires first and lends the solid its times; the solid decides. Where no solid can be cut,
or where it is not wanted, the shell decides and the check says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from cofire.assessment.printed import as_printed
from cofire.assessment.response import Response, cards_of, fire_vessel, meshed, solid_or_shell
from cofire.assessment.rule import NEIGHBOUR, STRESS, Flag, joint_name
from cofire.assessment.verdict import Verdict, judge, rule_of
from cofire.errors import InputError
from cofire.firing.kiln import Trace, trace
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.numerics import one_thread
from cofire.physics.history import Along
from cofire.vessel import Vessel

QUICK = "asked for: a shell, quickly"
"""Why a shell decided, where it was asked to."""


@dataclass(frozen=True)
class Check:
    """A vessel fired and judged.

    Attributes
    ----------
    vessel
        With the bands as drawn.
    cards
        Of those, one a band, from the lowest.
    printed
        Fired with the bands that the changeovers leave, or as drawn where no printer is given:
        as a solid, unless `why` says otherwise.
    verdict
        The verdict: on `printed`.
    why
        Why no solid decided; empty where one did.
    control
        Tolerances and steps of the march; None for the usual ones.
    """

    vessel: Vessel
    cards: tuple[Card, ...]
    printed: Response
    verdict: Verdict
    why: str = ""
    control: Control | None = None

    @property
    def smeared(self) -> bool:
        """Whether changeovers were taken into account."""
        return self.printed.vessel is not self.vessel

    @cached_property
    def designed(self) -> Response:
        """Fired with the bands as drawn, each joint sharp: as a shell where there are changeovers.

        No verdict reads it: it lends its shape to prints and pictures, and is worked out when
        first asked for.
        """
        if not self.smeared:
            return self.printed
        named = zip((band.material for band in self.vessel.bands), self.cards, strict=True)
        return fire_vessel(
            self.vessel, dict(named), control=self.control, along=self.printed.along,
        )  # fmt: skip

    @property
    def word(self) -> str:
        """Go, caution or no, of the vessel as it will be printed."""
        return self.verdict.word


@one_thread
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
    along = Along(trace(vessel.firing) if curve is None else curve, extend=extend)
    own = cards_of(vessel, cards)
    laid = laid_vessel(vessel, own, along)
    if laid is not vessel:
        _refuse_uncut(laid, vessel)
    fired = fire_vessel(laid, cards, control=control, along=along)
    printed, why = (fired, QUICK) if quick else solid_or_shell(fired)
    return Check(vessel, own, printed, judge(printed), why, control)


def laid_vessel(vessel: Vessel, cards: Sequence[Card], along: Along) -> Vessel:
    """The vessel with the bands that its changeovers leave; itself where no printer is given.

    Parameters
    ----------
    vessel : Vessel
        With sharp joints.
    cards : sequence of Card
        One a band.
    along : Along
        Their histories along the firing.

    Returns
    -------
    Vessel
        As `as_printed`, with the densities of this firing.
    """
    kinds = list({card.name: card for card in cards}.values())
    dense = along.of(kinds).relative_density[:, -1]
    density = {card.name: float(d) for card, d in zip(kinds, dense, strict=True)}
    return as_printed(vessel, cards, density)


def _refuse_uncut(laid: Vessel, drawn: Vessel) -> None:
    """Say of a step that no mesh can cut that the smear put it there, and not the file."""
    try:
        meshed(laid)
    except InputError as error:
        meshed(drawn)  # what the file itself cannot be cut at is told as it is
        raise InputError(
            f"{error}. No joint of the file, but a step of the smear that "
            f"{1e6 * laid.printer.dead_volume:.3g} ml of paste before the nozzle leave: a "
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
    printed = check.printed
    for cards, steps in (
        (check.cards, check.vessel.steps),
        (printed.cards, printed.vessel.steps),
    ):
        for (low, high), step in zip(pairwise(cards), steps, strict=True):
            if at is None and flag.zone == joint_name(low.name, high.name):
                at = float(step)
    drawn = check.vessel.steps
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
    found: list[list[Flag]] = [[] for _ in check.vessel.steps]
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
