"""What nothing within the limits of a plan goes below, where it leaves a crack likely."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cofire.assessment.chance import cracking
from cofire.assessment.check import Check
from cofire.assessment.crack_rules import COOLING, FAILURE_CAUTION
from cofire.design.candidates import Bench
from cofire.design.fired_size import in_fired_size
from cofire.design.grid import layouts
from cofire.design.layers import Trial, try_layouts
from cofire.design.search import DesignSearch
from cofire.materials.card import Card
from cofire.vessel import Vessel

TENFOLD = 10.0
"""A plan that lowers the probability of a crack less than this says what nothing within the limits
brings it below. [-]"""
DOUBT = 0.95
"""Of a utilisation, where a scan says what nothing goes below: its coarse mesh is on the low side
already. [-]"""


@dataclass(frozen=True)
class Scan:
    """How low anything within the limits gets.

    Attributes
    ----------
    layouts
        How many were fired: all that the search for designs tried, or every count, height, skew and
        place of a coarse grid. [-]
    least
        Least utilisation of the flags that layers can change. [-]
    probability
        Below which none of them brings the probability of a crack, 5 % of stress allowed for. [-]
    """

    layouts: int
    least: float
    probability: float


def stays(before: float, after: float) -> bool:
    """Whether cracks threaten a vessel and a plan lowers their probability less than tenfold.

    Parameters
    ----------
    before, after : float
        Probability of a crack as given and as proposed. [-]

    Examples
    --------
    >>> stays(0.8, 0.3), stays(0.8, 0.02), stays(0.001, 0.001)
    (True, False, False)
    """
    return before > FAILURE_CAUTION and before < TENFOLD * after


def scanned(
    designs: DesignSearch | None, bench: Bench, best: Check, say: Callable[[str], None]
) -> Scan:
    """How low anything within the limits gets: of all designs tried, else of a grid.

    Parameters
    ----------
    designs : DesignSearch or None
        What was searched.
    bench : Bench
        What is known already.
    best : Check
        Of the proposal.
    say : callable
        As in `scan_layouts`.

    Returns
    -------
    Scan
        Its probability is no more than the proposal's.
    """
    if designs is None:
        return scan_layouts(bench, best.vessel, say)
    ceramic = bench.zones(best.vessel)[1]
    probability = min(crack_at(designs.least_cooling, ceramic), best.verdict.crack_probability)
    return Scan(designs.tried, designs.least_load, probability)


def scan_layouts(bench: Bench, vessel: Vessel, say: Callable[[str], None]) -> Scan:
    """Every layout of the coarse grid, at every place, in the proposed firing.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessel : Vessel
        The proposal.
    say : callable
        Is told how many are done.

    Returns
    -------
    Scan
        Its least utilisation and probability.
    """
    metal, ceramic, _ = bench.zones(vessel)
    grid = layouts(in_fired_size(vessel, metal, ceramic))
    done: list[Trial] = []
    for trial in try_layouts(bench, vessel, grid):
        done.append(trial)
        say(f"scan: {len(done)} of {len(grid)}")
    probability = crack_at(min(t.cooling for t in done), ceramic)
    return Scan(len(done), min(t.utilisation for t in done), probability)


def crack_at(utilisation: float, ceramic: Card) -> float:
    """Probability of a crack at a utilisation of cooling, 5 % of stress allowed for.

    The rule's own error is in it, as in the `crack_probability` of a verdict.

    Parameters
    ----------
    utilisation : float
        By a coarse shell. [-]
    ceramic : Card
        Whose Weibull modulus counts.

    Returns
    -------
    float
        [-]
    """
    modulus = ceramic["weibull_modulus"].scalar
    return cracking(DOUBT * utilisation, modulus, COOLING.name)
