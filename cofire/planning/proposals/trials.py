"""Layouts fired and judged: what each one scores, and which is best."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from cofire.errors import ModelError
from cofire.inputs.vessel import Vessel
from cofire.planning.flags import Flag
from cofire.planning.proposals.candidates import Bench, batches, fire_candidates
from cofire.planning.proposals.transition import Layout, as_vessel
from cofire.planning.ware.response import Response
from cofire.planning.ware.verdict import Verdict
from cofire.planning.workers import in_pairs

FIXED = ("peak", "density", "atmosphere", "core", "burnout")
"""Rules that see the firing and the two substances, whatever the layers."""
FIXED_IF_PURE = ("gradient", "transformation")
"""Rules that see one material alone."""
TIE = 1.02
"""Candidates within this factor of the best load count as equal. [-]"""
SHARPNESS = 8
"""Power with which loads are added where a change is weighed. [-]"""


@dataclass(frozen=True)
class Trial:
    """A layout, what it scored, and the flag that set the score.

    Attributes
    ----------
    load
        Largest share of a limit used up, over the flags that layers can change. [-]
    worst, floor
        The flag that set it, and the worst flag that no layers change.
    cooling
        Largest load of a cooling flag. [-]
    strain
        Loads of all rules taken together, the larger ones counting most: falls also where a
        change eases a flag that is not yet the worst. [-]
    verdict
        Over all flags.
    """

    layout: Layout
    load: float
    worst: Flag
    floor: Flag
    cooling: float
    strain: float
    verdict: str


def try_layouts(
    bench: Bench,
    vessel: Vessel,
    candidates: Sequence[Layout],
    lose: Callable[[ModelError], None] | None = None,
) -> Iterator[Trial]:
    """Fire and judge layouts in batches, coarsely enough for a search.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        With its firing.
    candidates : sequence of Layout
        To be tried.
    lose : callable, optional
        Is told why, for each layout that cannot be meshed or solved.

    Yields
    ------
    Trial
        One a layout that can be meshed and finds its equilibrium, those of fewer blends first, so
        that the meshes of a batch are alike.

    Raises
    ------
    ModelError
        None of them does.
    """
    metal, ceramic, below = bench.zones(vessel)

    def vessel_of(layout: Layout) -> Vessel:
        return as_vessel(vessel, metal.name, ceramic.name, below, layout)

    def work(some: Sequence[Layout]) -> list[Trial | ModelError]:
        fired = fire_candidates(bench, [vessel_of(layout) for layout in some])
        return [
            r if isinstance(r, ModelError) else trial(bench, layout, r)
            for layout, r in zip(some, fired, strict=True)
        ]

    if candidates:
        bench.history(vessel.firing, bench.used(map(vessel_of, candidates)))  # before a fork
    lost: ModelError | None = None
    found = 0
    rising = sorted(candidates, key=lambda layout: len(layout.shares))
    for results in in_pairs(work, batches(rising)):
        for result in results:
            if isinstance(result, ModelError):
                lost = result
                if lose:
                    lose(result)
                continue
            found += 1
            yield result
    if lost is not None and found == 0:
        raise lost


def fixed(flag: Flag, pure: Iterable[str]) -> bool:
    """Whether no layers change a flag: it sees the firing and a pure zone alone.

    Parameters
    ----------
    flag : Flag
        The flag.
    pure : iterable of str
        Names of the two zones' materials.

    Returns
    -------
    bool
        True where it is the same for every layout.
    """
    return flag.rule in FIXED or (flag.rule in FIXED_IF_PURE and flag.zone in pure)


def trial(bench: Bench, layout: Layout, response: Response) -> Trial:
    """What a fired layout scored.

    Parameters
    ----------
    bench : Bench
        Shared flags.
    layout : Layout
        The layout.
    response : Response
        Its vessel, fired.

    Returns
    -------
    Trial
        Load of the worst flag that layers can change.
    """
    verdict = bench.judge(response)
    pure = [card.name for card in response.cards if not card.parts]
    own = [flag for flag in verdict.flags if not fixed(flag, pure)]
    floor = max((f for f in verdict.flags if fixed(f, pure)), key=load_of)
    worst = max(own, key=load_of)
    loads: dict[str, float] = {}
    for flag in own:
        loads[flag.rule] = max(load_of(flag), loads.get(flag.rule, 0.0))
    strain = sum(load**SHARPNESS for load in loads.values()) ** (1.0 / SHARPNESS)
    return Trial(
        layout, load_of(worst), worst, floor, loads.get("cooling", 0.0), strain, verdict.word
    )


def load_of(flag: Flag) -> float:
    """Load of a flag; what could not be computed counts as 1. [-]

    Parameters
    ----------
    flag : Flag
        The flag.
    """
    return 1.0 if flag.load != flag.load else flag.load


def chance(verdict: Verdict) -> float:
    """Largest chance of a crack on cooling that a verdict holds. [-]

    Parameters
    ----------
    verdict : Verdict
        Of a vessel.
    """
    return max((f.figure / 100.0 for f in verdict.flags if f.rule == "cooling"), default=0.0)


def ranked(trials: Iterable[Trial]) -> list[Trial]:
    """Trials by load; those within the tie of the best by fewer blends, then less height.

    Parameters
    ----------
    trials : iterable of Trial
        In any order.

    Returns
    -------
    list of Trial
        Best first.
    """
    some = sorted(trials, key=lambda t: t.load)
    best = some[0].load
    equal = [t for t in some if t.load <= TIE * best]
    equal.sort(key=lambda t: (len(t.layout.shares), t.layout.total, t.load))
    return [*equal, *(t for t in some if t.load > TIE * best)]
