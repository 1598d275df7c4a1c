"""What a rule is, and a flag: one rule's figure at one place, held against its limit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cofire.assessment.response import Response

GO, CAUTION, NO = 0, 1, 2
VERDICTS = ("go", "caution", "no")
UNKNOWN = "unknown"
GRADE = "grade"
"""Unit of a figure that is itself a verdict: 0, 1 or 2."""

FIRING = "firing"
"""A rule sees the ramps, peak and holds."""
GAS = "gas"
"""A rule sees what surrounds the ware."""
SUBSTANCES = "substances"
"""A rule sees the metals and ceramics, whatever blends they stand in."""
BLENDS = "blends"
"""A rule sees each material as it is laid, blends too."""
LAYERS = "layers"
"""A rule sees which material stands where."""
SHAPE = "shape"
"""A rule sees the profile and the wall."""
NEIGHBOUR = "neighbour"
"""A rule sees what zones do to each other."""
STRESS = "stress"
"""A rule sees the stress that zones set up in each other."""
SEEN = (FIRING, GAS, SUBSTANCES, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS)


PER_CENT_CRACK = "% probability of a crack"
"""Unit of a figure that is the probability of a crack, by the rule as it stands."""


@dataclass(frozen=True, kw_only=True)
class Flag:
    """One rule applied to one place of the vessel.

    Attributes
    ----------
    rule
        Name of the rule; filled in by the rule itself, as are `source` and `remedy` where empty.
    zone
        Material, or pair of materials, it is about.
    utilisation
        How much of the limit is used up: 1 at the limit. Not finite where it could not be
        computed. [-]
    caution
        Utilisation from which the flag is a caution; above 1 it is a no. [-]
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
    low, high
        Between which the utilisation lies where it hangs on a number nobody measured. [-]
    hardest
        Worst grade that passing the limit can give; filled in by the rule.

    Examples
    --------
    >>> import cofire as cf
    >>> flag = cf.Flag(
    ...     zone="foot", utilisation=0.8, caution=0.5, figure=8.0, limit=10.0, unit="MPa", note=""
    ... )
    >>> flag.verdict, flag.margin
    ('caution', 1.25)
    """

    zone: str
    utilisation: float
    caution: float
    figure: float
    limit: float
    unit: str
    note: str
    rule: str = ""
    source: str = ""
    remedy: str = ""
    time: float | None = None
    temperature: float | None = None
    height: float | None = None
    low: float | None = None
    high: float | None = None
    hardest: int = NO

    @property
    def grade(self) -> int:
        """0, 1 or 2 for go, caution, no; what could not be computed is no better than caution."""
        if not self.utilisation < float("inf"):
            return CAUTION if self.utilisation != self.utilisation else self.hardest
        if self.utilisation > 1.0:
            return self.hardest
        return CAUTION if self.utilisation > self.caution else GO

    @property
    def counted(self) -> float:
        """Utilisation as it weighs in a search. [-]

        What could not be computed counts as 1, what is a caution at most as no more than 1.
        """
        value = 1.0 if self.utilisation != self.utilisation else self.utilisation
        return min(value, 1.0) if self.hardest < NO else value

    @property
    def margin(self) -> float:
        """Limit over figure in the direction that harms: 1 at the limit, more is safer. [-]"""
        return 1.0 / self.utilisation if self.utilisation > 0.0 else float("inf")

    @property
    def verdict(self) -> str:
        """In words; "unknown" where it could not be computed."""
        return UNKNOWN if self.utilisation != self.utilisation else VERDICTS[self.grade]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One question asked of every fired vessel: the only place where it is known by name.

    Check, search, schedule, partner, test pieces, uncertainty and text read these fields, and
    nothing else says what a rule is like.

    Attributes
    ----------
    name
        Short, as verdicts print it.
    asks
        The question, in one sentence.
    find
        Function of a fired vessel that gives its flags.
    sees
        What the answer depends on, out of `SEEN`.
    source
        Where the limit comes from.
    remedy
        What mends it, in one sentence, where the flag does not know better.
    piece
        Kind of test piece that decides it, empty where none does.
    sign
        What is seen on that piece where the rule would be broken, beyond what is measured on it.
    probable
        Whether its figure is the probability of a crack, in per cent.
    loses
        Whether passing its limit loses the pot (cracks through, parts, melts, bursts); else it
        makes it less good. A rule that does not say counts as one that loses.
    harm
        What happens beyond its limit, a clause of a sentence: the reason for `loses`.
    doubt
        What a caution means, such a clause, where it is more than coming near to that.
    hardest
        Worst grade its flags can have: `CAUTION` for what a vessel may live with.
    green
        Whether it asks of ware that goes into the kiln unfired: of drying, burnout, sintering, the
        gas that a powder feels. Not asked where every body arrives dense.
    after
        Whether it asks of the time after the kiln.
    shows
        Whether passing its limit is seen on the cold piece though it need not lose it: a shallow
        crack, a lean.
    first
        Whether beyond its limit a zone is no longer what its card says (molten, burnt, flowed
        flat), so that nothing else is worth asking.

    Examples
    --------
    >>> import cofire as cf
    >>> joint = next(rule for rule in cf.RULES if rule.name == "through crack")
    >>> joint.asks
    'Would a crack run through the wall?'
    >>> joint.of_substances  # the layers count, not only what they are made of
    False
    """

    name: str
    asks: str
    find: Callable[[Response], Iterable[Flag]]
    sees: frozenset[str]
    source: str
    remedy: str
    piece: str = ""
    sign: str = ""
    probable: bool = False
    loses: bool = True
    harm: str = ""
    doubt: str = ""
    hardest: int = NO
    green: bool = False
    after: bool = False
    shows: bool = False
    first: bool = False

    def __post_init__(self) -> None:
        unknown = self.sees - set(SEEN)
        if unknown:
            message = f"rule {self.name}: sees {', '.join(sorted(unknown))}; allowed: {SEEN}"
            raise ValueError(message)

    @property
    def seen(self) -> bool:
        """Whether passing its limit is seen once the kiln is open: a crack, a slump, a burst."""
        return self.shows or (self.loses and not self.after)

    @property
    def of_substances(self) -> bool:
        """Whether all layouts of the same substances get the same answer."""
        return not self.sees & {BLENDS, LAYERS}

    @property
    def of_material(self) -> bool:
        """Whether each material, blend or not, gets its answer alone."""
        return BLENDS in self.sees and not self.sees & {LAYERS, NEIGHBOUR}

    def happens(self, grade: int) -> str:
        """What a flag of it warns of, a clause of a sentence; empty where the rule does not say.

        Parameters
        ----------
        grade : int
            Of the flag: 0, 1 or 2 for go, caution, no.
        """
        return self.doubt if grade == CAUTION and self.doubt else self.harm

    def flags(self, response: Response) -> list[Flag]:
        """The rule's flags of a fired vessel.

        Returns
        -------
        list of Flag
            With the rule's name, and its source and remedy where a flag has none of its own.
        """
        return [self.named(flag) for flag in self.find(response)]

    def named(self, flag: Flag) -> Flag:
        """A flag of this rule, with what the rule knows filled in.

        Parameters
        ----------
        flag : Flag
            Without a name.

        Returns
        -------
        Flag
            Complete.
        """
        return replace(
            flag,
            rule=self.name,
            source=flag.source or self.source,
            remedy=flag.remedy or self.remedy,
            hardest=self.hardest,
        )


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


def not_computed(zone: str, why: str, remedy: str = "") -> Flag:
    """A flag that cannot pass because its figure could not be computed.

    Parameters
    ----------
    zone : str
        Which.
    why : str
        The reason.
    remedy : str
        What is needed, if not what the rule says.

    Returns
    -------
    Flag
        With a utilisation that is not a number.
    """
    nan = float("nan")
    return Flag(
        zone=zone, utilisation=nan, caution=0.5, figure=nan, limit=nan, unit="",
        note=f"could not be computed: {why}", remedy=remedy,
    )  # fmt: skip
