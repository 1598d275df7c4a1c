"""Whether a firing leaves a body the crystals that its expansion rests on."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cofire.assessment.response import Response
from cofire.assessment.rule import FIRING, SUBSTANCES, Flag, Rule
from cofire.physics.stability import turned
from cofire.units import HOUR, celsius

KEPT_CAUTION = 0.5
"""Share of the crystals' time from which it is a caution: a body's glass, grain and seeds move that
time several times over. Estimate. [-]"""


def turned_grade(share: ArrayLike) -> NDArray[np.intp]:
    """0, 1 or 2 for go, caution and no of a share of the crystals' time, as the rule has it.

    Parameters
    ----------
    share : array_like
        Used up. [-]
    """
    used = np.asarray(share, dtype=np.float64)
    return np.asarray((used > KEPT_CAUTION).astype(np.intp) + (used > 1.0))


def turned_words(share: float) -> str:
    """What a share of the crystals' time is, in one phrase.

    Parameters
    ----------
    share : float
        Above what a go bears. [-]
    """
    return (
        f"{100 * share:.0f} % of the time used up after which the crystals turn that give the body "
        "its expansion"
    )


def crystal_flags(response: Response) -> list[Flag]:
    """Time in the heat at which crystals turn, over the time that they last there.

    Returns
    -------
    list of Flag
        One a substance whose card says how long its crystals last.
    """
    curve, found = response.trace, []
    for card in response.substances[1]:
        if "stable_time" not in card:
            continue
        lasts = card["stable_time"]
        low, high = (celsius(end) for end in lasts.reach)
        used = turned(card, curve.time, curve.ware)
        past = int(np.argmax(used >= min(1.0, float(used[-1]))))
        hours = float(lasts.value.min()) / HOUR
        found.append(
            Flag(
                zone=card.name,
                utilisation=float(used[-1]),
                caution=KEPT_CAUTION,
                figure=float(used[-1]) * hours,
                limit=hours,
                unit="h",
                note=f"between {low:.0f} and {high:.0f} °C the crystals turn that give the body "
                "its expansion: time as at the heat where they turn fastest; beyond it no figure "
                "of the joint can be trusted",
                time=float(curve.time[past]),
                temperature=float(curve.ware[past]),
            )
        )
    return found


CRYSTALS = Rule(
    name="crystals",
    loses=True,
    harm="its crystals turn, and the joint cracks",
    asks="Does the body keep the crystals that give it its expansion?",
    find=crystal_flags,
    sees=frozenset({FIRING, SUBSTANCES}),
    green=False,
    source="time that they last (card)",
    remedy="Shorten the soak, fire hotter for a shorter time, or ramp faster through that heat.",
    piece="expansion bar",
)

RULES = (CRYSTALS,)
"""Rules of what happens inside a body's matter while it is hot."""
