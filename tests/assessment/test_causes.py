"""Each cause of loss: one pot where it tells, the same pot with one change where it does not.

The changes are those that the trade would make. Steam in thick walls and oxygen in the pores have
further cases beside their equations (`test_steam_rules`), iron above 912 °C in
`tests/published/test_iron_phases.py`, a measured joint in `tests/materials/test_pairs.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from cofire.assessment.response import as_solid, fire_vessel
from cofire.assessment.rule import CAUTION, GO, NO, Flag
from cofire.assessment.verdict import RULES, judge
from tests.assessment.test_verdict import BASE, BODY, GRADED, Pot
from tests.fired import CARDS, COARSE, written_vessel

pytestmark = pytest.mark.usefixtures("solids_are_rough")

SILVER = "fine silver"
FRIT_GLASS = "soda-lime powder body"
TAPE = "glass-ceramic tape body"


@dataclass(frozen=True)
class Cause:
    """A rule, a pot that it flags and what changes that.

    Attributes
    ----------
    rule, zone
        Of the flag; a part of the zone's name.
    told, spared
        Pot, and the pot with one change.
    worst, left
        Grades of the flag on both.
    why
        What the trade knows of it.
    solid
        Whether joints are looked through, which only a solid is.
    opened
        Whether the spared pot burns out open and is closed in its gas for the soak.
    """

    rule: str
    zone: str
    told: Pot
    spared: Pot
    worst: int
    left: int
    why: str
    solid: bool = False
    opened: bool = False


IRON_ON_FRIT = Pot(low="iron", gas="carbon", peak=895.0)
IRON_ON_STONEWARE = Pot(low="iron", high="mid-fire stoneware", gas="carbon", peak=1160.0)
COARSE_SILVER = Pot(blends=(20,), scaled=((SILVER, "particle_size", 3.0),))
GLASS = Pot(high=FRIT_GLASS, peak=780.0)
PACKED = Pot(low="copper", high=TAPE, gas="carbon", peak=880.0)
THICK_CLAY = Pot(high="red earthenware", walls=(15.0, 15.0), binder_ramp=1000.0, peak=900.0)
BLEND = "50 % fine silver / 50 %"

CAUSES = {
    "a joint cracks through": Cause(
        "through crack", " | ", IRON_ON_FRIT, replace(IRON_ON_FRIT, blends=(75, 50, 25)), NO, GO,
        "a graded joint bears what a sharp one does not", solid=True,
    ),
    "brown ware": Cause(
        "brown", BODY, BASE, GRADED, CAUTION, GO,
        "powder pulled by a metal that sinters first tears; blends take it in smaller steps",
    ),
    "grains of a blend": Cause(
        "grains", "20 % fine silver", COARSE_SILVER,
        replace(COARSE_SILVER, scaled=((SILVER, "particle_size", 0.1),)), NO, GO,
        "coarse grains tear out of what contracts less, fine ones stay (Davidge & Green 1968)",
    ),
    "powders of a blend": Cause(
        "blend density", BLEND, Pot(high="leucite porcelain", blends=(50,)), Pot(blends=(50,)),
        CAUTION, GO, "powders that sinter at the same heat do not hold each other back",
    ),
    "a pair melts": Cause(
        "liquid", "iron", IRON_ON_STONEWARE, replace(IRON_ON_STONEWARE, peak=1110.0), NO, GO,
        "iron in carbon turns to cast iron from 1147 °C and runs",
    ),
    "a blend sags": Cause(
        "sag", BLEND, Pot(blends=(50,), peak=930.0, size=2.0), Pot(blends=(50,), size=2.0),
        CAUTION, GO, "hotter glass between the grains is softer",
    ),
    "a glass flows flat": Cause(
        "slump", FRIT_GLASS, GLASS, replace(GLASS, peak=620.0), NO, GO,
        "soda-lime glass is cast at 780 °C",
    ),
    "a year later": Cause(
        "later", BODY, BASE, replace(BASE, scaled=((SILVER, "yield_stress", 0.1),)), NO, GO,
        "tension that stays grows cracks; a metal that yields leaves little of it",
    ),
    "steam": Cause(
        "steam", "red earthenware", THICK_CLAY, replace(THICK_CLAY, walls=(4.0, 4.0)), CAUTION, GO,
        "thick damp ware blows up where thin ware does not",
    ),
    "the core of a pack": Cause(
        "core", TAPE, PACKED, PACKED, NO, CAUTION,
        "what burns while the pack is open is gone before it is closed", opened=True,
    ),
    "the wrong gas": Cause(
        "atmosphere", "copper", Pot(low="copper"), Pot(low="copper", gas="carbon"), NO, GO,
        "copper burns to oxide outside a pack",
    ),
}  # fmt: skip
CLOSED_AT = 'gas="carbon", to_C=880.0'


def flags(cause: Cause, *, spared: bool) -> list[Flag]:
    """Flags of the cause's rule on one of its pots, in its zone."""
    pot = cause.spared if spared else cause.told
    cards = dict(CARDS)
    for name, prop, factor in pot.scaled:
        cards[name] = cards[name].scaled(prop, factor)
    text = pot.text()
    if cause.opened and spared:
        text = text.replace("to_C=420.0", 'gas="air", to_C=420.0').replace("to_C=880.0", CLOSED_AT)
        assert CLOSED_AT in text
    response = fire_vessel(
        written_vessel(text, pot.profile()), cards, control=COARSE, fineness=0.5
    )  # fmt: skip
    if cause.solid:
        response = as_solid(response)
    found = judge(response).flags
    return [flag for flag in found if flag.rule == cause.rule and cause.zone in flag.zone]


@pytest.mark.parametrize(
    "what",
    [pytest.param(w, marks=[pytest.mark.long] if c.solid else []) for w, c in CAUSES.items()],
)
def test_a_cause_tells_where_the_trade_would_and_one_change_spares_the_pot(what: str) -> None:
    cause = CAUSES[what]
    told, spared = flags(cause, spared=False), flags(cause, spared=True)
    assert max(flag.grade for flag in told) == cause.worst
    assert max((flag.grade for flag in spared), default=GO) == cause.left
    most = max(flag.utilisation for flag in told)
    assert max((flag.utilisation for flag in spared), default=0.0) < 0.9 * most
    assert all(flag.remedy and flag.source for flag in told)


NO_PIECE = {"liquid"}
"""A melting point is known or not: no piece tells it sooner than the table does."""


def test_each_cause_has_a_test_piece_and_a_remedy() -> None:
    rules = {rule.name: rule for rule in RULES}
    for cause in CAUSES.values():
        rule = rules[cause.rule]
        assert bool(rule.piece) == (rule.name not in NO_PIECE), rule.name
        assert rule.remedy or rule.name == "atmosphere"  # each of its flags has its own
