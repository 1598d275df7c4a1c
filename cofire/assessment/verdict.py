"""The verdict on one vessel: every flag, the worst first."""

from __future__ import annotations

from dataclasses import dataclass

from cofire.assessment import crack_rules as crack_flags
from cofire.assessment import crack_rules as joint_flags
from cofire.assessment import firing_rules as firing_flags
from cofire.assessment import wall_rules as wall_flags
from cofire.assessment.response import Response
from cofire.assessment.rule import VERDICTS, Flag

RULES = (
    firing_flags.window_flags,
    firing_flags.atmosphere_flags,
    firing_flags.drying_flags,
    firing_flags.burnout_flags,
    crack_flags.sintering_flags,
    crack_flags.cooling_flags,
    joint_flags.joint_flags,
    wall_flags.gradient_flags,
    firing_flags.sag_flags,
    wall_flags.metal_flags,
    wall_flags.shape_flags,
)


@dataclass(frozen=True)
class Verdict:
    """All flags of a vessel, worst first; the first one decides."""

    flags: tuple[Flag, ...]

    @property
    def worst(self) -> Flag:
        """The flag that decides."""
        return self.flags[0]

    @property
    def grade(self) -> int:
        """0, 1 or 2 for go, caution, no."""
        return self.worst.grade

    @property
    def word(self) -> str:
        """Go, caution or no."""
        return VERDICTS[self.grade]

    @property
    def utilisation(self) -> float:
        """Largest share of a limit that is used up; what could not be computed counts as 1. [-]"""
        return max(
            1.0 if flag.utilisation != flag.utilisation else flag.utilisation for flag in self.flags
        )


def _order(flag: Flag) -> tuple[int, float]:
    known = flag.utilisation == flag.utilisation
    return -flag.grade, -(flag.utilisation if known else 1.0)


def judge(response: Response) -> Verdict:
    """Apply every rule to a fired vessel.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    Verdict
        Worst flag first: by grade, then by the share of its limit that is used up.
    """
    flags = [flag for rule in RULES for flag in rule(response)]
    return Verdict(tuple(sorted(flags, key=_order)))
