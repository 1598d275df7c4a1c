"""Small vessels to plan, random requests, and an independent check that every limit is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache, partial

import numpy as np
import pytest
from scipy.stats import gamma

from cofire.design import drafting, schedule, search
from cofire.design.transition import Layout
from cofire.firing.kiln import trace
from cofire.firing.program import LAG, Segment
from cofire.materials.card import Card
from cofire.physics.paste import paste_of
from cofire.physics.sintering import relative_density
from cofire.units import HOUR, MINUTE, ROOM, kelvin
from cofire.vessel import Band, JointLimits, Vessel
from tests.fired import CARDS, KILNS, TEA_LIGHT, rough_solids, written_vessel

CONE = """
name = "cone"
[profile]
shape = "cone"
radius_mm = 30
rim_radius_mm = 45
height_mm = 70
wall_mm = 4
[[band]]
material = "fritted body"
to_mm = 35
[[band]]
material = "fine silver"
[firing]
segment = [ { to_C = 860, rate_C_per_h = 150, hold_min = 60 } ]
"""
PAIRS = [
    ("fine silver", "fritted body"),
    ("copper", "talc body"),
    ("iron", "leucite porcelain"),
    ("copper", "red earthenware"),
    ("gold", "fritted body"),
    ("fine silver", "talc body"),
    ("tin bronze 90/10", "talc body"),
    ("nickel", "fritted body"),
    ("fine silver", "mid-fire stoneware"),
]


@cache
def tea_light_to_plan() -> Vessel:
    """60 mm tall, silver below; at most two blends over at most 30 mm."""
    vessel = written_vessel(TEA_LIGHT)
    return replace(vessel, joint=JointLimits(2, 30e-3, 18e-3, 30e-3, 6e-3))


@cache
def cone_to_plan() -> Vessel:
    """70 mm tall, leaning by 12°, the frit below; at most three blends over at most 36 mm."""
    return replace(written_vessel(CONE), joint=JointLimits(3, 36e-3, 30e-3, 42e-3, 8e-3))


def _polish_once(
    polish: Callable[..., None], trials: search.Trials, _: int = 1, step: float = search.POLISH_STEP
) -> None:
    polish(trials, 1, step)


@contextmanager
def little_tried() -> Iterator[pytest.MonkeyPatch]:
    """Searches of fewer designs, samples and firings than `effort` gives, and rough solids."""
    with rough_solids() as patch:
        for name, value in (("A_CHOICE", 1), ("LEAST_POPULATION", 5), ("LOCAL_ROUNDS", 1)):
            patch.setattr(search, name, value)
        patch.setattr(search, "polish", partial(_polish_once, search.polish))
        for module in (drafting, search):
            patch.setattr(module, "searched", lambda effort: 4)
        patch.setattr(schedule, "ROUNDS", 1)
        yield patch


def joined(vessel: Vessel, metal: str, ceramic: str, share: int | None = None) -> Vessel:
    """A vessel of another pair, with a blend from 30 to 50 % of its height where one is given."""
    top = float(vessel.height[-1])
    bands = [Band(metal, 0.0, 0.3 * top), Band(ceramic, 0.3 * top, top)]
    if share is not None:
        blend = Band(f"{metal} + {ceramic} = {share}", 0.3 * top, 0.5 * top)
        bands = [bands[0], blend, replace(bands[1], low=0.5 * top)]
    return replace(vessel, bands=tuple(bands))


def random_vessel(draw: np.random.Generator) -> Vessel:
    """A cylinder or a cone with random limits and a random printer."""
    vessel = written_vessel(TEA_LIGHT if draw.random() < 0.5 else CONE)
    top = float(vessel.height[-1])
    ends = np.sort(draw.uniform(0.0, top, 2))
    if draw.random() < 0.3:
        ends[1] = ends[0]  # one place
    limits = JointLimits(
        blends=int(draw.integers(0, 9)),
        height=float(draw.choice([0.0, draw.uniform(1e-3, top)])),
        lowest=float(ends[0]),
        highest=float(ends[1]),
        keep=float(draw.uniform(0.0, 0.3 * top)),
    )
    printer = replace(
        vessel.printer,
        layer=float(draw.uniform(0.1e-3, 1.5e-3)),
        dead_volume=float(10.0 ** draw.uniform(-7.0, -5.3)),
        tanks=float(draw.uniform(1.0, 12.0)),
    )
    return replace(vessel, joint=limits, printer=printer)


def random_firing(draw: np.random.Generator, vessel: Vessel) -> Vessel:
    """The vessel of a random pair in a random kiln, stronger or weaker, with any gas and lag."""
    metal, ceramic = PAIRS[draw.integers(len(PAIRS))]
    kiln = KILNS[sorted(KILNS)[draw.integers(len(KILNS))]]
    heat, cool = draw.uniform(0.5, 2.0, 2)
    kiln = replace(
        kiln, heating_rate=kiln.heating_rate * heat, cooling_rate=kiln.cooling_rate * cool
    )
    lag = float(draw.choice([0.0, LAG["air"], LAG["carbon"], draw.uniform(0.0, 60.0 * MINUTE)]))
    share = None if draw.random() < 0.5 else int(draw.integers(1, 10)) * 10
    gas = str(draw.choice(["air", "carbon"]))
    laid = joined(vessel, metal, ceramic, share)
    return replace(laid, firing=replace(vessel.firing, kiln=kiln, lag=lag, gas=gas))


def pure_cards(vessel: Vessel) -> list[Card]:
    """The two materials that its bands name."""
    names = {name.strip() for b in vessel.bands for name in b.material.split("=")[0].split("+")}
    return [CARDS[name] for name in sorted(names)]


def layout_of(vessel: Vessel) -> Layout:
    """The transition as its bands have it, read from their names and edges."""
    inner = vessel.bands[1:-1]
    shares = tuple(int(band.material.split("=")[1]) for band in inner)
    low, high = vessel.bands[0].high, vessel.bands[-1].low
    heights = tuple(band.high - band.low for band in inner)
    rising = CARDS[vessel.bands[0].material].kind == "ceramic"
    middle = 0.5 * (low + high)
    least = min(heights, default=0.0)
    if rising:
        shares, heights = shares[::-1], heights[::-1]
    return Layout(shares, least, middle, heights)


def alone(vessel: Vessel, foot: float, rim: float, left: float) -> bool:
    """Whether the nozzle gives 95 % of its own paste at both ends over the height kept pure.

    Worked out from the mix that has left the nozzle, at the two heights.
    """
    n, dead = vessel.printer.tanks, left * vessel.printer.dead_volume
    z = np.linspace(0.0, float(vessel.height[-1]), 4001)
    slant = np.hypot(1.0, np.gradient(np.interp(z, vessel.height, vessel.radius), z))
    section = 2.0 * np.pi * np.interp(z, vessel.height, vessel.radius)
    section = section * np.interp(z, vessel.height, vessel.wall) * slant
    out = np.concatenate([[0.0], np.cumsum(0.5 * (section[1:] + section[:-1]) * np.diff(z))])
    kept = max(vessel.joint.keep, 2 * vessel.printer.layer)

    def new(at: float, joint: float) -> float:
        since = np.interp(at, z, out) - np.interp(joint, z, out) + dead / n * gamma.ppf(0.5, n)
        return float(gamma.cdf(max(since, 0.0) * n / dead, n))

    return new(kept, foot) <= 0.0501 and new(z[-1] - kept, rim) >= 0.9499


def broken_limits(vessel: Vessel, layout: Layout) -> list[str]:
    """Which limits a layout breaks, worked out anew from the vessel's own numbers."""
    joint, layer, hair = vessel.joint, vessel.printer.layer, 1e-8
    top = float(vessel.height[-1])
    whole = sum(layout.each)
    foot, rim = layout.middle - 0.5 * whole, layout.middle + 0.5 * whole
    range_slack = 0.5 * max(layer - (joint.highest - joint.lowest), 0.0)  # one place: half a layer
    # smear: volume between 5 and 95 % of new paste behind n stirred tanks in series
    n, dead = vessel.printer.tanks, vessel.printer.dead_volume
    smeared = dead / n * (gamma.ppf(0.95, n) - gamma.ppf(0.05, n))
    # of a wet volume the solids are left, at least as dense as the card wants them
    left = [paste_of(card).solids / card["least_density"].scalar for card in pure_cards(vessel)]
    z = np.linspace(foot, rim, 50)
    section = 2.0 * np.pi * np.interp(z, vessel.height, vessel.radius)
    section = section * np.interp(z, vessel.height, vessel.wall)
    fits = layout.height * section.min() >= smeared * max(left) * (1.0 - 1e-6)
    checks = {
        "blends": len(layout.shares) <= joint.blends,
        "shares fall": all(
            a > b for a, b in zip((100, *layout.shares), (*layout.shares, 0), strict=True)
        ),
        "pastes told apart": not layout.shares
        or min(a - b for a, b in zip((100, *layout.shares), (*layout.shares, 0), strict=True)) >= 5,
        "height": rim - foot <= joint.height + hair,
        "position": joint.lowest - range_slack - hair
        <= layout.middle
        <= joint.highest + range_slack + hair,
        "keep": foot >= joint.keep - hair and rim <= top - joint.keep + hair,
        "a zone at each end": foot > 0.0 and rim < top,
        "foot on a layer": abs(foot / layer - round(foot / layer)) < 1e-5,
        "whole layers": all(abs(h / layer - round(h / layer)) < 1e-5 for h in layout.each),
        "pure": not vessel.printer.given
        or joint.keep == 0.0
        or alone(vessel, foot, rim, max(left)),
        "smear": not layout.shares or fits or vessel.printer.given,  # else its smear is judged
    }
    return [name for name, kept in checks.items() if not kept]


def limit(card: Card, gas: str) -> float:
    """The hottest a material may get in a gas, from its card alone. [K]"""
    if card.kind == "metal":
        return card["solidus"].scalar - 15.0
    most = card["firing_ceiling"].scalar
    if gas in ("carbon", "hydrogen"):
        lower = card.scalar("reduced_maturing", 0.0)
        most = min(most, card.scalar("reduced_ceiling", most - lower))
    return most


def broken_firing(vessel: Vessel, segments: list[Segment]) -> list[str]:
    """What a firing breaks, worked out anew: kiln, limits of the zones, density."""
    kiln = vessel.firing.kiln
    curve = trace(replace(vessel.firing, segments=tuple(segments)))
    heating = np.diff(curve.kiln) / np.diff(curve.time)
    middle = 0.5 * (curve.kiln[1:] + curve.kiln[:-1])
    most = np.interp(middle, kiln.heating_temperature, kiln.heating_rate)
    least = -np.interp(middle, kiln.cooling_temperature, kiln.cooling_rate)
    found = []
    if max(s.target for s in segments) > kiln.max_temperature + 1e-6:
        found.append("kiln's limit")
    if np.any(heating > 1.001 * most + 1e-9) or np.any(heating < 1.001 * least - 1e-9):
        found.append("kiln's rates")
    for card in pure_cards(vessel):
        if max(s.target for s in segments) > limit(card, curve.gas) + 1e-6:
            found.append(f"kiln above the limit of {card.name}")
        if curve.peak > limit(card, curve.gas) + 1e-6:
            found.append(f"ware above the limit of {card.name}")
        if relative_density(card, curve, extend=True)[-1] < card["least_density"].scalar - 1e-6:
            found.append(f"{card.name} stays porous")
    return found


def not_followed(vessel: Vessel, segments: list[Segment]) -> list[str]:
    """Segments whose rate the kiln does not keep all the way, and holds that are no holds."""
    kiln, here, found = vessel.firing.kiln, ROOM, []
    for n, s in enumerate(segments, 1):
        z = np.linspace(here, s.target, 200)
        rows = (kiln.heating_temperature, kiln.heating_rate)
        if s.target < here:
            rows = (kiln.cooling_temperature, kiln.cooling_rate)
        if np.isfinite(s.rate) and np.interp(z, *rows).min() < s.rate * (1.0 - 1e-5):
            found.append(f"segment {n}: {s.rate * HOUR:.0f} °C/h is more than the kiln can")
        if not (0.0 <= s.hold < np.inf and s.rate > 0.0):
            found.append(f"segment {n}: hold or rate")
        here = s.target
    return found


def shares_a_window(vessel: Vessel) -> bool:
    """Whether six hours at the hottest that zones and kiln allow make both zones dense."""
    cards = pure_cards(vessel)
    hottest = min(
        vessel.firing.kiln.max_temperature, *(limit(card, vessel.firing.gas) for card in cards)
    )
    hottest = kelvin(550.0) + 5.0 * np.floor((hottest - kelvin(550.0)) / 5.0 + 1e-9)
    return not broken_firing(vessel, [Segment(float(hottest), 300.0 / HOUR, 6.0 * HOUR)])
