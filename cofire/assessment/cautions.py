"""What in this plan can hurt someone: one sentence each, with the limit and who sets it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from cofire.assessment.response import Response
from cofire.assessment.wall_rules import cooling_limit
from cofire.firing.controller import HAND_WARM, too_late, unset
from cofire.firing.kiln import Trace
from cofire.firing.program import Firing
from cofire.materials.card import pure_cards
from cofire.units import HOUR, celsius

SHOWN = 3
"""Clauses of one caution. [-]"""
AT_THE_KILN = ("controller", "nobody there")
"""Hazards by which the firing is another one than was judged: told first."""
DEFER = "Local codes and licensed practice come first."


@dataclass(frozen=True)
class Caution:
    """A hazard that this plan raises, and the standard or agency its figure comes from."""

    hazard: str
    text: str
    source: str


def _changes(curve: Trace) -> list[Caution]:
    """Packs that would have to be closed or opened while they are hot, in the order of time."""
    found = []
    for before, after in pairwise(curve.stretches):
        hot = float(max(curve.ware[after.first], curve.kiln[after.first]))
        if "carbon" not in (before.gas, after.gas) or hot <= HAND_WARM:
            continue
        does = "closed in carbon" if after.gas == "carbon" else "opened"
        found.append(
            Caution(
                "hot pack",
                f"The pack is {does} at {celsius(hot):.0f} °C: to lift a pot or close a pack that "
                "hot burns you and may set the carbon alight. Cool to hand-warm, "
                + (
                    "pack in carbon, fire again: a segment that ends cold before the gas changes."
                    if after.gas == "carbon"
                    else "then open it: a segment that ends cold before the gas changes."
                ),
                "common practice",
            )
        )
    return found


def _weakest(firing: Firing) -> list[Caution]:
    """That a pot which is packed once it is burnt out must not be lifted for it."""
    if "carbon" not in firing.gases or firing.gases[0] == "carbon":
        return []
    return [
        Caution(
            "burnt-out pot",
            "Burnt out it bears next to nothing: do not lift it to pack it. Burn out with the pot "
            "standing in its open box on alumina or a tile, as carbon burns in air; when it is "
            "cold, fill carbon round and over it where it stands.",
            "common practice",
        )
    ]


def _at_the_kiln(firing: Firing, curve: Trace) -> list[Caution]:
    """What of a firing cannot be set on its controller, and who would have to be there too late."""
    found = []
    if clauses := unset(firing):
        more = f"; and {len(clauses) - SHOWN} more" if len(clauses) > SHOWN else ""
        found.append(
            Caution(
                AT_THE_KILN[0],
                "The firing as written cannot be set on its kiln's controller: "
                f"{'; '.join(clauses[:SHOWN])}{more}. Another one would be fired than was judged; "
                "cofire schedule proposes one that can be set.",
                f"[controller] of {firing.kiln.name}",
            )
        )
    if (late := too_late(firing, curve)) is not None:
        found.append(
            Caution(
                AT_THE_KILN[1],
                f"The gas is changed {late / HOUR:.1f} h after the start; someone is there until "
                f"{firing.latest / HOUR:g} h. Start later in the day, burn out faster, or cool at "
                '"full" until it is hand-warm: then it waits.',
                "latest_h of the firing",
            )
        )
    return found


def _opened(response: Response) -> list[Caution]:
    """How fast the pot may be cooled, where a kiln that is opened may take it faster."""
    limit = cooling_limit(response)
    if limit is None:
        return []
    rate = float(f"{limit.rate * HOUR:.2g}")
    return [
        Caution(
            "opened hot",
            f"Cooled faster than {rate:.0f} °C/h the {limit.zone} is likely to crack by itself, "
            f"first at {celsius(limit.temperature):.0f} °C: keep the kiln shut until it is well "
            "below.",
            "rule gradient; that an opened kiln cools faster, an estimate",
        )
    ]


def cautions(response: Response) -> list[Caution]:
    """Hazards that the vessel's materials, gas and firing raise.

    Returns
    -------
    list of Caution
        Only those that apply.
    """
    gases = [s.gas for s in response.trace.stretches]
    pure = pure_cards(response.cards)
    elements = {e for p in pure.values() for e in p.elements}
    names = " and ".join(p.name for p in pure.values() if p.kind == "metal")
    found = []
    if "carbon" in gases:
        since = "from burnout to cooling" if len(gases) == 1 else "while it is closed in carbon"
        found.append(
            Caution(
                "carbon monoxide",
                f"A packed firing gives off carbon monoxide {since}: outdoors or "
                "under extraction, with an alarm; 35 ppm over a working day, 200 ppm never, "
                "1200 ppm at once dangerous to life. Open the box below 100 °C: hot carbon "
                "re-ignites.",
                "NIOSH recommended limits and IDLH (secondary source)",
            )
        )
    found += _changes(response.trace)
    found += _weakest(response.vessel.firing)
    found += _at_the_kiln(response.vessel.firing, response.trace)
    found += _opened(response)
    if "hydrogen" in gases:
        found.append(
            Caution(
                "hydrogen",
                "Explosive from 4 % in air: only in a furnace built for it, purged before and "
                "after, with a burn-off.",
                "NFPA 497 (lower limit from memory)",
            )
        )
    if "inert" in gases:
        found.append(
            Caution(
                "suffocation",
                "Argon and nitrogen displace air without warning: ventilate, never put your head "
                "into the kiln.",
                "common practice",
            )
        )
    found.append(
        Caution(
            "burnout fumes",
            "Binder gives off carbon monoxide and smoke from 200 to 500 °C, also in air: vent the "
            "kiln.",
            "J. Loss Prev. Process Ind. 22 (2009) 182, abstract",
        )
    )
    found.append(
        Caution(
            "dust",
            "Mix and sand wet, with a fitted P100 respirator when dry: respirable crystalline "
            "silica 0.05 mg/m³ over 8 h"
            + (f"; dust of {names} may burn in a cloud." if names else "."),
            "OSHA 29 CFR 1910.1053; NFPA 484 (metal dust, secondary source)",
        )
    )
    if "Cu" in elements:
        found.append(
            Caution(
                "food",
                "Copper and its alloys dissolve in acid food and drink (pH below 6): no such inner "
                "surface on drinking or eating ware.",
                "FDA Food Code 4-101.14",
            )
        )
    if "Ni" in elements or "Cr" in elements:
        found.append(
            Caution(
                "nickel",
                "Nickel sensitises skin, and its compounds cause cancer when inhaled: no dust, no "
                "food ware.",
                "IARC group 1; NIOSH 0.015 mg/m³ (from memory)",
            )
        )
    if "Zn" in elements:
        found.append(
            Caution(
                "zinc fume",
                "Zinc evaporates from brass and burns to a fume that gives metal-fume fever.",
                "OSHA 5 mg/m³ zinc oxide fume (from memory)",
            )
        )
    found.append(
        Caution(
            "ware",
            "An unglazed, crazed or porous surface holds food and may leach: test before use.",
            "ISO 6486, ASTM C738 (from memory)",
        )
    )
    return found
