"""The verdict: what it says, and that it moves the way the trade expects."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pytest

from cofire.inputs.firing import with_gas
from cofire.inputs.vessel import read_vessel
from cofire.output.verdict_text import as_json, as_text, number
from cofire.physics.blends import find_material
from cofire.planning.cautions import cautions
from cofire.planning.flags import CAUTION, GO, NO, Flag, not_computed
from cofire.planning.response import Response, fire_vessel
from cofire.planning.verdict import Verdict, judge
from tests.fired import CARDS, COARSE, KILNS, tea_light, written_vessel

EXAMPLES = {
    path.stem: path
    for path in sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))
    if "[profile]" in path.read_text(encoding="utf-8")
}
RULE_NAMES = {
    "peak", "density", "atmosphere", "core", "drying", "burnout", "sintering", "cooling",
    "joint stress", "joint energy", "gradient", "transformation", "sag", "metal",
}  # fmt: skip


@dataclass(frozen=True)
class Pot:
    """A small pot of two zones, and its firing: one field a thing that a potter changes."""

    low: str = "fine silver"
    high: str = "fritted body"
    step: float = 18.0
    blends: tuple[int, ...] = ()
    transition: float = 36.0
    walls: tuple[float, float] = (4.0, 4.0)
    size: float = 1.0
    gas: str = "air"
    binder_ramp: float = 60.0
    peak: float = 860.0
    hold: float = 75.0
    past_set_point: float = 100.0
    scaled: tuple[tuple[str, str, float], ...] = ()

    def profile(self) -> str:
        """The table of its middle surface, in mm; the wall may change at the step."""
        k = self.size
        lower, upper = (k * wall for wall in self.walls)
        edges = ((0, lower), (self.step - 1, lower), (self.step + 1, upper), (60, upper))
        return "z_mm,r_mm,wall_mm\n" + "".join(f"{k * z},{k * 33},{w}\n" for z, w in edges)

    def text(self) -> str:
        """The vessel's file: heights in mm, rates in °C/h."""
        bands = [(self.low, self.step)]
        for n, share in enumerate(self.blends, 1):
            top = self.step + self.transition * n / len(self.blends)
            bands.append((f"{self.low} + {self.high} = {share}", top))
        listed = "".join(
            f'[[band]]\nmaterial = "{m}"\nto_mm = {self.size * z}\n' for m, z in bands
        )
        segments = (
            (420.0, self.binder_ramp, 60.0), (self.peak, 150.0, self.hold), (650.0, 150.0, 0.0),
            (400.0, self.past_set_point, 0.0),
        )  # fmt: skip
        rows = ", ".join(f"{{to_C={t}, rate_C_per_h={r}, hold_min={h}}}" for t, r, h in segments)
        return (
            'name = "pot"\n[profile]\ncsv = "profile.csv"\nsurface = "middle"\n'
            f'{listed}[[band]]\nmaterial = "{self.high}"\n'
            f'[firing]\ngas = "{self.gas}"\nlag_min = 8\nsegment = [{rows}]\n'
        )


@cache
def judged(pot: Pot) -> Verdict:
    """Fired coarsely: the direction of a change is asked for, not its last digit."""
    cards = dict(CARDS)
    for name, prop, factor in pot.scaled:
        cards[name] = cards[name].scaled(prop, factor)
    vessel = written_vessel(pot.text(), pot.profile())
    return judge(fire_vessel(vessel, cards, control=COARSE, fineness=0.5))


def load(pot: Pot, rule: str, zone: str = "") -> float:
    """Largest load of a rule, in one zone or in all."""
    return max(f.load for f in judged(pot).flags if f.rule == rule and zone in (f.zone, ""))


BASE = Pot()
GRADED = Pot(blends=(75, 50, 25))
THIN, LARGE = Pot(walls=(3.0, 3.0)), Pot(walls=(3.0, 3.0), size=2.0)
BODY = "fritted body"

# Vessels that differ in one thing each, and how their verdict must move: before, after, the flag,
# its zone ("" for the worst of all), the way, and why the trade expects it (common practice where
# no source is named).
EXPECTED: dict[str, tuple[Pot, Pot, str, str, str, str]] = {
    "zones swapped": (
        BASE, Pot(low=BODY, high="fine silver", step=42.0), "sag", BODY, "up",
        "a metal rim weighs four times as much on the softened body below it",
    ),
    "wall twice as thick": (
        BASE, Pot(walls=(8.0, 8.0)), "gradient", BODY, "up",
        "the inside of a thick wall follows late, by the square of its thickness",
    ),
    "wall twice as thick, its binder": (
        BASE, Pot(walls=(8.0, 8.0)), "burnout", BODY, "up",
        "twice the gas has twice the way out",
    ),
    "metal side thicker than the body": (
        BASE, Pot(walls=(8.0, 4.0)), "cooling", BODY, "up",
        "the stiffer side bends the other: metal is thinned beside a ceramic, not thickened",
    ),
    "partner that contracts more alike": (
        BASE, Pot(high="leucite porcelain"), "cooling", "", "down",
        "a body whose contraction is nearer to the metal's is under less tension when cold",
    ),
    "taller transition": (
        Pot(blends=(75, 50, 25), transition=12.0), GRADED, "cooling", BODY, "down",
        "the same steps over more height bend the wall less; one decay length is 9 mm here",
    ),
    "graded over 36 mm": (
        BASE, GRADED, "cooling", BODY, "down",
        "blends between the zones take the mismatch in smaller steps",
    ),
    "graded over 36 mm, its parting": (
        BASE, GRADED, "joint energy", "", "down",
        "each of several steps stores less than one",
    ),
    "slower through the set point": (
        BASE, Pot(past_set_point=5.0), "cooling", BODY, "down",
        "glass and metal have time to give: annealing",
    ),
    "carbon pack": (
        BASE, Pot(gas="carbon"), "core", BODY, "up",
        "without air the binder's char stays in the body: black core",
    ),
    "copper in air": (
        Pot(low="copper", gas="carbon"), Pot(low="copper"), "atmosphere", "copper", "up",
        "copper burns to oxide outside a pack",
    ),
    "more free quartz": (
        BASE, Pot(scaled=((BODY, "free_quartz", 2.0),)), "transformation", BODY, "up",
        "quartz inverts at 573 °C, inside and outside at different times: dunting",
    ),
    "hotter by 40 K, density": (
        BASE, Pot(peak=900.0), "density", "fine silver", "down", "hotter sinters denser",
    ),
    "hotter by 40 K, sag": (
        BASE, Pot(peak=900.0), "sag", BODY, "up", "hotter glass is softer: slumping",
    ),
    "burnout four times as fast": (
        BASE, Pot(binder_ramp=240.0), "burnout", BODY, "up", "the gas comes off faster: bloating",
    ),
    "drier paste of the body": (
        BASE, Pot(scaled=((BODY, "drying_shrinkage", 0.75),)), "drying", "", "down",
        "pastes that shrink alike dry without a crack at the joint",
    ),
    "softer metal": (
        BASE, Pot(scaled=(("fine silver", "yield_stress", 0.5),)), "cooling", BODY, "down",
        "what yields cannot pull: Kovalev et al. 1998, J. Am. Ceram. Soc. 81, 2342",
    ),
    "twice as large": (
        THIN, LARGE, "joint energy", "", "up",
        "large ware parts where small ware holds: energy grows as the root of radius times wall",
    ),
    "twice as large, its stress": (
        THIN, LARGE, "joint stress", "", "same", "stress of a joint knows no size",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", EXPECTED)
def test_the_verdict_moves_the_way_the_trade_expects(what: str):
    before, after, rule, zone, way, _ = EXPECTED[what]
    old, new = load(before, rule, zone), load(after, rule, zone)
    if way == "same":
        assert new == pytest.approx(old, rel=0.02)
    else:
        assert (new > 1.005 * old) if way == "up" else (new < 0.995 * old)
