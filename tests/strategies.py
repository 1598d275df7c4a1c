"""Hypothesis strategies: kilns, firings, traces, and cards varied from the shipped ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from cofire.firing.kiln import GRID, Trace
from cofire.firing.program import FULL, Firing, Kiln, Segment, load_kilns
from cofire.materials.card import Card
from cofire.materials.catalogue import load_cards
from cofire.materials.properties import GASES
from cofire.units import HOUR, MINUTE, ROOM, kelvin

CARDS = load_cards()
KILNS = load_kilns()
METALS = tuple(name for name, card in CARDS.items() if card.kind == "metal")
CERAMICS = tuple(name for name, card in CARDS.items() if card.kind == "ceramic")

some = settings(max_examples=25, deadline=None)
"""For properties whose example costs milliseconds; no deadline, as the first one imports."""
few = settings(max_examples=10, deadline=None)
"""For properties whose example costs a tenth of a second."""

TABLES = ("thermal_expansion", "young_modulus", "yield_stress", "glass_viscosity", "body_viscosity")
VARIED = {
    "thermal_expansion": (0.8, 1.25),
    "young_modulus": (0.7, 1.4),
    "sintering_energy": (0.8, 1.25),
    "sintering_exponent": (0.7, 1.4),
    "particle_size": (0.5, 2.0),
    "free_quartz": (0.0, 2.0),
    "height_shrinkage_factor": (0.9, 1.2),
    "binder": (0.1, 1.5),  # what holds a green bar is there
}
"""Properties that `cards` multiplies, and between which factors."""


def reach(*cards: Card) -> float:
    """Hottest temperature of which the tables of all the cards speak. [K]"""
    pure = [part for card in cards for part in ([p for p, _ in card.parts] or [card])]
    return min(card[name].reach[1] for card in pure for name in TABLES if name in card)


@st.composite
def kilns(draw: st.DrawFn) -> Kiln:
    """A shipped kiln, faster or slower to heat and to cool."""
    kiln = KILNS[draw(st.sampled_from(sorted(KILNS)))]
    heat, cool = (draw(st.floats(0.4, 2.5)) for _ in range(2))
    return replace(
        kiln, heating_rate=kiln.heating_rate * heat, cooling_rate=kiln.cooling_rate * cool
    )


@st.composite
def segments(draw: st.DrawFn, hottest: float) -> Segment:
    """A ramp to between 30 °C and `hottest`, at 20 to 900 °C/h or full power, and a hold."""
    target = draw(st.floats(kelvin(30.0), hottest))
    rate = draw(st.one_of(st.floats(20.0, 900.0), st.just(FULL)))
    hold = draw(st.one_of(st.just(0.0), st.floats(1.0, 240.0)))
    return Segment(target, np.inf if rate == FULL else float(rate) / HOUR, hold * MINUTE)


@st.composite
def firings(draw: st.DrawFn, hottest: float | None = None, gas: str | None = None) -> Firing:
    """A firing of one to five segments, up and down, that its kiln can do."""
    kiln = draw(kilns())
    top = kiln.max_temperature if hottest is None else min(hottest, kiln.max_temperature)
    parts = draw(st.lists(segments(top), min_size=1, max_size=5))
    lag = draw(st.one_of(st.just(0.0), st.floats(1.0, 60.0))) * MINUTE
    around = draw(st.sampled_from(GASES)) if gas is None else gas
    return Firing("drawn", kiln, tuple(parts), around, lag)


@st.composite
def traces(draw: st.DrawFn, hottest: float = kelvin(900.0)) -> Trace:
    """A temperature curve of the ware from cold to cold, any shape, nodes as close as `trace`'s."""
    corners = draw(st.lists(st.floats(ROOM, hottest), min_size=1, max_size=6))
    steps = draw(
        st.lists(
            st.floats(2.0 * MINUTE, 6.0 * HOUR),
            min_size=len(corners) + 1,
            max_size=len(corners) + 1,
        )
    )
    levels = np.array([ROOM, *corners, ROOM])
    count = np.maximum(np.ceil(np.abs(np.diff(levels)) / GRID).astype(int), 10)
    ends = np.concatenate([[0], np.cumsum(count)])
    node = np.arange(ends[-1] + 1)
    time = np.interp(node, ends, np.concatenate([[0.0], np.cumsum(steps)]))
    ware = np.interp(node, ends, levels)
    return Trace(time, ware, ware.copy(), ends.astype(np.intp))


@st.composite
def cards(draw: st.DrawFn, names: tuple[str, ...] = METALS + CERAMICS) -> Card:
    """A shipped card whose properties are multiplied within their plausible spread."""
    card = CARDS[draw(st.sampled_from(names))]
    for name, (least, most) in VARIED.items():
        if name in card:
            card = card.scaled(name, draw(st.floats(least, most)))
    return card


def metals() -> st.SearchStrategy[Card]:
    """A varied metal."""
    return cards(METALS)


def ceramics() -> st.SearchStrategy[Card]:
    """A varied ceramic."""
    return cards(CERAMICS)
