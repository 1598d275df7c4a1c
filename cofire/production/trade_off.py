"""What each design of a plan costs, where the vessel's file gives prices."""

from __future__ import annotations

from dataclasses import replace

from cofire.assessment.response import SEARCH_STEPS, fire_vessel
from cofire.design.candidates import Bench
from cofire.design.plan import Plan
from cofire.design.space import laid
from cofire.materials.card import pure_cards
from cofire.production.green import green_vessel
from cofire.production.paste import Cost, batches, cost

PROPOSED = 0
"""Under which the cost of the proposal itself stands: a vessel of two zones has one change or more.
"""
FINENESS = 0.5
"""Of the mesh from which the print is worked out: a cost hangs on volumes alone. [-]"""


def costs_of(plan: Plan) -> dict[int, Cost]:
    """What the proposal costs, and the best design of each number of changes, in its firing.

    Parameters
    ----------
    plan : Plan
        From `propose`.

    Returns
    -------
    dict
        By number of changes of paste, the proposal itself under `PROPOSED`; empty where the file
        gives no prices.

    Raises
    ------
    CofireError
        A price for something the vessel does not hold, or a design that cannot be printed.
    """
    base = plan.given.vessel
    if base.prices is None:
        return {}
    base = replace(base, firing=plan.vessel.firing, left_open=None)
    cards = pure_cards(plan.proposal.cards)
    metal, ceramic, below = Bench(cards).zones(base)
    responses = {PROPOSED: plan.proposal.designed}
    for choice in plan.designs.choices if plan.designs is not None else ():
        vessel = laid(base, metal.name, ceramic.name, below, choice.design)
        responses[choice.design.changes] = fire_vessel(
            vessel, cards, extend=True, control=SEARCH_STEPS, fineness=FINENESS
        )
    priced = {n: cost(r, batches(r, green_vessel(r))) for n, r in responses.items()}
    return {n: price for n, price in priced.items() if price is not None}
