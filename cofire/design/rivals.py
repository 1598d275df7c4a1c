"""What a plan may end with: as designed, as given, or one's bands in the other's firing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from cofire.assessment.check import Check
from cofire.design.candidates import Bench
from cofire.design.firings import Frame
from cofire.design.objective import ASKED, Outcome, draw, foretold, nominal
from cofire.design.schedule import Schedule, propose_schedule
from cofire.design.settling import odds_by_solid, solid_and_odds
from cofire.design.transition import Layout
from cofire.vessel import Vessel

EVEN = 0.01
"""Chances that differ by no more count as even. [-]"""


@dataclass(frozen=True)
class Rival:
    """What a plan may end with.

    Attributes
    ----------
    outcome
        Its chances over the samples that all share; None where its shell cannot be fired.
    layout
        Its transition.
    schedule
        Of its firing; None where it is fired as given.
    """

    check: Check
    outcome: Outcome | None
    layout: Layout
    schedule: Schedule | None


class Asked:
    """Chances over the same samples of whatever a plan may end with.

    Parameters
    ----------
    bench : Bench
        Of the search.
    vessel : Vessel
        Whose uncertainties are drawn.
    check : callable
        Fires a vessel as a solid and judges it.
    count : int
        How many samples.
    """

    def __init__(
        self, bench: Bench, vessel: Vessel, check: Callable[[Vessel], Check], count: int
    ) -> None:
        self.bench, self.check = bench, check
        self.samples = draw(bench, vessel, count, ASKED)

    def outcome(self, check: Check) -> Outcome | None:
        """Of a vessel put right by its own solid; None where its shell cannot be fired."""
        return odds_by_solid(self.samples, self.bench, check.vessel, check)

    def rival(self, vessel: Vessel, layout: Layout, schedule: Schedule | None) -> Rival:
        """A vessel, checked and asked."""
        check, outcome = solid_and_odds(self.samples, self.bench, vessel, self.check)
        return Rival(check, outcome, layout, schedule)


@dataclass(frozen=True)
class _Crossed:
    """One's bands in the other's firing."""

    vessel: Vessel
    layout: Layout
    schedule: Schedule | None


def likeliest(
    asked: Asked, first: Rival, as_given: Rival | None, vessel: Vessel, whole: Frame
) -> Rival:
    """The proposal, or the vessel's own bands or its own firing where these keep more pots.

    Parameters
    ----------
    asked : Asked
        Who asks chances.
    first, as_given : Rival
        As designed, and as given and moved into its limits; None where it cannot be.
    vessel : Vessel
        As given.
    whole : Frame
        Within which a firing for the vessel's own bands is sought.

    Raises
    ------
    KeyboardInterrupt
        That search was interrupted.
    """
    if as_given is None or as_given.outcome is None or first.outcome is None:
        return first
    bench, rivals = asked.bench, [first, as_given]
    own = as_given.check.vessel
    schedule = propose_schedule(
        own, bench.cards, bench=bench, whole=whole, swings=as_given.outcome.swings
    )
    if not schedule.finished:
        raise KeyboardInterrupt
    fired = replace(own, firing=schedule.firing, left_open=None)
    crossed = [(as_given.outcome, _Crossed(fired, as_given.layout, schedule))]
    if vessel.left_open is None:
        mixed = replace(first.check.vessel, firing=vessel.firing)
        crossed.append((first.outcome, _Crossed(mixed, first.layout, None)))
    for like, one in crossed:
        (rough,) = nominal(bench, [one.vessel])
        most = max(r.outcome.chance for r in rivals if r.outcome is not None)
        if rough is not None and foretold(rough, like.swings).chance > most + EVEN:
            rivals.append(asked.rival(one.vessel, one.layout, one.schedule))
    return chosen_rival(rivals)


def chosen_rival(rivals: Sequence[Rival]) -> Rival:
    """Of those that keep as many pots as any, up to `EVEN`, the one of least cost.

    Loss leads, quality follows.

    Parameters
    ----------
    rivals : sequence of Rival
        One at least whose chances are known.
    """
    known = [(r, r.outcome) for r in rivals if r.outcome is not None]
    most = max(outcome.chance for _, outcome in known)
    likely = [(r, outcome) for r, outcome in known if outcome.chance >= most - EVEN]
    return min(likely, key=lambda row: row[1].cost)[0]
