"""What a flag is: a figure held against a limit, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass

GO, CAUTION, NO = 0, 1, 2
VERDICTS = ("go", "caution", "no")
UNKNOWN = "unknown"
GRADE = "grade"
"""Unit of a figure that is itself a verdict: 0, 1 or 2."""


@dataclass(frozen=True)
class Flag:
    """One rule applied to one place of the vessel.

    Attributes
    ----------
    rule
        Name of the rule.
    zone
        Material, or pair of materials, it is about.
    utilisation
        How much of the limit is used up: 1 at the limit. Not finite where it could not be
        computed. [-]
    caution
        Utilisation from which the flag is a caution; from 1 on it is a no. [-]
    figure, limit, unit
        As a person reads them.
    source
        Where the limit comes from.
    remedy
        What would mend it, in one sentence.
    note
        What the figure is, or why it could not be computed.
    time, temperature, height
        When, at which temperature of the ware and where, where that has a meaning.
        [s], [K], [m]
    """

    rule: str
    zone: str
    utilisation: float
    caution: float
    figure: float
    limit: float
    unit: str
    source: str
    remedy: str
    note: str
    time: float | None = None
    temperature: float | None = None
    height: float | None = None

    @property
    def grade(self) -> int:
        """0, 1 or 2 for go, caution, no; what could not be computed is no better than caution."""
        if not self.utilisation < float("inf"):
            return CAUTION if self.utilisation != self.utilisation else NO
        return NO if self.utilisation > 1.0 else CAUTION if self.utilisation > self.caution else GO

    @property
    def margin(self) -> float:
        """Limit over figure in the direction that harms: 1 at the limit, more is safer. [-]"""
        return 1.0 / self.utilisation if self.utilisation > 0.0 else float("inf")

    @property
    def verdict(self) -> str:
        """In words; "unknown" where it could not be computed."""
        return UNKNOWN if self.utilisation != self.utilisation else VERDICTS[self.grade]


def joint_name(below: str, above: str) -> str:
    """The zone of a flag that is about the step between two bands.

    Parameters
    ----------
    below, above : str
        Names of their materials.

    Returns
    -------
    str
        Both, from the lower one up.
    """
    return f"{below} | {above}"


def not_computed(rule: str, zone: str, why: str, remedy: str) -> Flag:
    """A flag that cannot pass because its figure could not be computed.

    Parameters
    ----------
    rule, zone : str
        Which.
    why : str
        The reason.
    remedy : str
        What is needed.

    Returns
    -------
    Flag
        With a utilisation that is not a number.
    """
    nan = float("nan")
    return Flag(rule, zone, nan, 0.5, nan, nan, "", "", remedy, f"could not be computed: {why}")
