"""Rules of liquids and reactions: a zone that melts, alone, by its neighbour or by the gas.

Such a flag comes before any stress: a molten zone bears none. Its utilisation is therefore put far
above that of every other rule once the peak reaches the liquid (`MOLTEN`), and only there; in the
margin below the liquid it is the peak over its limit, as for the flag "peak".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from cofire.assessment.response import Response
from cofire.assessment.rule import BLENDS, FIRING, GAS, LAYERS, NEIGHBOUR, Flag, Rule, not_computed
from cofire.assessment.windows import SOLIDUS_MARGIN
from cofire.materials.card import Card, pure_cards
from cofire.materials.pairs import (
    HARMS,
    MARKS,
    MELTS,
    MELTS_ITSELF,
    SWEATS,
    FirstLiquid,
    first_liquid,
    liquids,
)
from cofire.units import celsius

MOLTEN = 1000.0
"""Utilisation of a zone that melts: above any share of a limit of stress, so that it is named
first. [-]
"""
HARM_CAUTION = 20.0
"""A reaction that harms is a caution from this far below its temperature: the spread of such
temperatures in the table. Estimate. [K]"""
HARMED, MARKED = 0.75, 0.25
"""Utilisations that stand for caution and for go with a remark. [-]"""


def touching(cards: Sequence[Card]) -> list[tuple[Card, ...]]:
    """Groups of materials that touch: each band alone, and each with the next one up.

    Parameters
    ----------
    cards : sequence of Card
        One a band, from the lowest.

    Returns
    -------
    list of tuple of Card
        Blends as they are; their phases touch.
    """
    alone = dict.fromkeys((card.name,) for card in cards)
    by_name = {card.name: card for card in cards}
    both = dict.fromkeys(
        (below.name, above.name) for below, above in pairwise(cards) if below.name != above.name
    )
    return [tuple(by_name[name] for name in names) for names in (*alone, *both)]


def melting_utilisation(temperature: float, peak: float) -> float:
    """Share of the limit that a peak uses up, the limit being a liquid less its margin.

    Parameters
    ----------
    temperature : float
        From which the liquid begins. [K]
    peak : float
        Of the ware. [K]

    Returns
    -------
    float
        1 at the margin; `MOLTEN` and more from the liquid on. [-]
    """
    if peak >= temperature:
        return MOLTEN * peak / temperature
    return celsius(peak) / celsius(temperature - SOLIDUS_MARGIN)


def met(
    groups: Iterable[Sequence[Card]], gas: str, peak: float
) -> tuple[list[FirstLiquid], dict[tuple[str, str], str]]:
    """Liquids and reactions that materials which touch can make, and pairs nothing is known of.

    The lowest liquid of each group counts at every peak, a reaction from `HARM_CAUTION` below its
    temperature on.

    Parameters
    ----------
    groups : iterable of sequence of Card
        Materials that touch each other, from `touching`.
    gas : str
        Around the ware.
    peak : float
        Of the ware. [K]

    Returns
    -------
    tuple
        Each liquid once, whichever groups make it; and for each pair of metals of which the table
        knows nothing the zone in which they meet.
    """
    found: dict[tuple[str, tuple[str, ...]], FirstLiquid] = {}
    unknown: dict[tuple[str, str], str] = {}
    seen: set[tuple[int, ...]] = set()
    for group in groups:
        substances = tuple(id(card) for card in pure_cards(group).values())
        if substances in seen:  # what they make has been found
            continue
        seen.add(substances)
        lowest = first_liquid(group, gas)
        for pair in lowest.unknown if lowest else ():
            unknown.setdefault(pair, " | ".join(card.name for card in group))
        reached = [
            f
            for f in liquids(group, gas)
            if (f.severity == HARMS and peak >= f.temperature - HARM_CAUTION)
            or (f.severity == MARKS and peak >= f.temperature)
        ]
        for liquid in (*((lowest,) if lowest else ()), *reached):
            found.setdefault((liquid.name, liquid.zones), liquid)
    return list(found.values()), unknown


def liquid_flags(response: Response) -> list[Flag]:
    """Liquids that a zone makes alone, with its neighbour or with the gas.

    Returns
    -------
    list of Flag
        A zone that melts has a utilisation of `MOLTEN` or more; one that cannot pass for each
        pair of metals of which the table knows nothing.
    """
    found, unknown = _met_in_turn(response)
    flags = [_flag(liquid, gas, response) for liquid, gas in found if liquid.severity == MELTS]
    return flags + [
        not_computed(
            zone,
            f"nothing is known of liquids between {' and '.join(pair)}",
            "Fire a crumb of one on the other, or part them with a band of another material.",
        )
        for pair, zone in unknown.items()
    ]


def reaction_flags(response: Response) -> list[Flag]:
    """Reactions that a zone has with its neighbour or with the gas, near the peak reached.

    Returns
    -------
    list of Flag
        One a reaction.
    """
    found, _ = _met_in_turn(response)
    return [_flag(liquid, gas, response) for liquid, gas in found if liquid.severity != MELTS]


def _met_in_turn(
    response: Response,
) -> tuple[list[tuple[FirstLiquid, str]], dict[tuple[str, str], str]]:
    """What `met` finds in each gas at the peak that the ware has in it, once, where it is worst."""
    groups, curve = touching(response.cards), response.trace
    found: dict[tuple[str, tuple[str, ...]], tuple[float, FirstLiquid, str]] = {}
    unknown: dict[tuple[str, str], str] = {}
    for gas, node in curve.hottest_in.items():
        peak = float(curve.ware[node])
        here, some = met(groups, gas, peak)
        unknown |= some
        for liquid in here:
            key = liquid.name, liquid.zones
            over = peak - liquid.temperature
            if key not in found or over > found[key][0]:
                found[key] = over, liquid, gas
    return [(liquid, gas) for _, liquid, gas in found.values()], unknown


def _flag(liquid: FirstLiquid, gas: str, response: Response) -> Flag:
    node = response.trace.hottest_in[gas]
    peak = float(response.trace.ware[node])
    melts = liquid.severity == MELTS
    limit = liquid.temperature - (SOLIDUS_MARGIN if melts else HARM_CAUTION)
    utilisation = melting_utilisation(liquid.temperature, peak) if melts else HARMED
    remedy = f"Fire below {celsius(limit):.0f} °C"
    if len(liquid.zones) > 1:
        remedy += ", or keep the two apart with a band of another material"
    elif liquid.name == SWEATS:  # in every gas
        remedy += ", or print a prealloyed, even powder"
    elif liquid.name != MELTS_ITSELF:
        remedy += f", or in another gas than {gas}"
    return Flag(
        zone=" | ".join(liquid.zones),
        utilisation=MARKED if liquid.severity == MARKS else utilisation,
        caution=celsius(limit - 10.0) / celsius(limit) if melts else 0.5,
        figure=celsius(peak),
        limit=celsius(limit),
        unit="°C",
        note=f"{liquid.text(gas, peak)}; {liquid.consequence}",
        source=f"{liquid.source} ({liquid.basis})",
        remedy=remedy + ".",
        time=float(response.trace.time[node]),
        temperature=peak,
    )


LIQUID = Rule(
    name="liquid",
    loses=True,
    harm="a zone melts",
    first=True,
    asks="Does a zone melt, alone, by its neighbour or by the gas?",
    find=liquid_flags,
    sees=frozenset({FIRING, GAS, BLENDS, LAYERS, NEIGHBOUR}),
    source="table of pairs",
    remedy="Fire below the liquid.",
)
REACTION = Rule(
    name="reaction",
    loses=False,
    harm="it sweats, or a skin of another substance forms",
    asks="Does a zone react with its neighbour or the gas?",
    find=reaction_flags,
    sees=frozenset({FIRING, GAS, BLENDS, LAYERS, NEIGHBOUR}),
    source="table of pairs",
    remedy="Fire below the reaction.",
)

RULES = (LIQUID, REACTION)
"""Rules of what two materials, or one and the gas, make together."""
