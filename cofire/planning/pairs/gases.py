"""Which gas suits a card, and a pair of them."""

from __future__ import annotations

from collections.abc import Sequence

from cofire.errors import OutOfRange
from cofire.inputs.cards import Card
from cofire.inputs.units import celsius
from cofire.physics.atmosphere import oxidation_margins, oxidised_elements, oxygen_potential
from cofire.planning.flags import CAUTION, GO, NO


def gas_grade(card: Card, gas: str, peak: float) -> tuple[int, str]:
    """How a card takes a gas at its peak: its own remark, and oxidation of its metal.

    Parameters
    ----------
    card : Card
        Metal, ceramic or blend.
    gas : str
        One of the gases.
    peak : float
        Of the ware. [K]

    Returns
    -------
    tuple of int and str
        Grade, and the reason where it is not "go".
    """
    if card.parts:
        return max((gas_grade(part, gas, peak) for part, _ in card.parts), key=lambda g: g[0])
    remark = card.atmosphere[gas]
    word, _, why = remark.partition(": ")
    grade = {"good": GO, "caution": CAUTION, "refused": NO}[word]
    reason = f"{card.name} in {gas}: {why}" if why else ""
    if card.kind == "metal" and grade < NO:
        try:
            margins = oxidation_margins(card.elements, oxygen_potential(gas, peak), peak)
        except OutOfRange as error:
            return max(grade, CAUTION), reason or f"{card.name} in {gas}: unknown, {error}"
        if oxidised := oxidised_elements(margins):
            size = -float(margins[oxidised[0]])
            return NO, (
                f"{card.name} in {gas}: {oxidised[0]} oxidises at {celsius(peak):.0f} °C, "
                f"{size:.0f} decades of oxygen too much"
            )
    return grade, reason


def best_gas(metal: Card, ceramic: Card, peak: float, gases: Sequence[str]) -> tuple[str, int, str]:
    """The gas that suits both best, the first of equals.

    Parameters
    ----------
    metal, ceramic : Card
        The pair.
    peak : float
        Of the ware. [K]
    gases : sequence of str
        Those at hand, in order of preference.

    Returns
    -------
    tuple of str, int and str
        Gas, grade, and reason where the grade is not "go".
    """
    found = []
    for gas in gases:
        grade, reason = max(
            (gas_grade(card, gas, peak) for card in (metal, ceramic)), key=lambda g: g[0]
        )
        found.append((gas, grade, reason))
    best = min(found, key=lambda f: f[1])
    if best[1] == NO and len(found) > 1:
        return best[0], NO, "; ".join(dict.fromkeys(f[2] for f in found))
    return best
