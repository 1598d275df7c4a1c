"""Small vessels, fired once and shared by the tests of making."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from cofire.assessment.response import Response, fire_vessel
from cofire.firing.program import Firing, load_kilns, simple_firing
from cofire.materials.card import Card
from cofire.materials.catalogue import load_cards
from cofire.mechanics.integrator import Control
from cofire.production.green import Green, green_vessel
from cofire.vessel import Band, JointLimits, Printer, Vessel

CARDS = load_cards()
SILVER, FRIT = "fine silver", "fritted body"
BLEND = f"{SILVER} + {FRIT} = 50"
COARSE = Control(relative_tolerance=0.1, stress_tolerance=2e5, compiled=True)
FIRING: Firing = simple_firing(
    load_kilns()["small studio kiln"], 850 + 273.15, 1800.0, 150 / 3600, "air"
)


def shaped(
    radius: Sequence[float],
    height: Sequence[float],
    wall: Sequence[float],
    bands: Sequence[tuple[str, float]],
    base: float = 0.0,
    printer: Printer | None = None,
) -> Vessel:
    """A vessel from its mid-surface, with (material, upper end) of each band. [m]"""
    r, z, h = (np.asarray(v, dtype=float) for v in (radius, height, wall))
    corners: tuple[int, ...] = ()
    if base > 0.0:
        r, z, h = np.insert(r, 0, 0.0), np.insert(z, 0, 0.0), np.insert(h, 0, base)
        corners = (1,)
    ends = [0.0, *(top for _, top in bands)]
    listed = tuple(
        Band(name, low, high) for (name, high), low in zip(bands, ends[:-1], strict=True)
    )
    limits = JointLimits(3, 0.5 * ends[-1], 0.0, ends[-1], 0.0)
    return Vessel("pot", r, z, h, corners, listed, FIRING, printer or Printer(), limits)


def cylinder(
    bands: Sequence[tuple[str, float]], radius: float = 0.025, wall: float = 0.004, **more: object
) -> Vessel:
    """A straight one. [m]"""
    top = bands[-1][1]
    return shaped([radius] * 2, [0.0, top], [wall] * 2, bands, **more)  # type: ignore[arg-type]


def fired(vessel: Vessel, cards: dict[str, Card] | None = None) -> Response:
    """Its response, coarse."""
    return fire_vessel(vessel, cards or CARDS, control=COARSE, fineness=0.6)


@cache
def foot() -> tuple[Response, Green]:
    """Fritted body on a silver foot, joined edge to edge."""
    response = fired(cylinder([(SILVER, 0.018), (FRIT, 0.05)]))
    return response, green_vessel(response)


@cache
def graded() -> tuple[Response, Green]:
    """A bellied pot with a base, a blend between body and silver rim."""
    z = np.linspace(0.0, 0.05, 11)
    r = 0.02 + 0.006 * np.sin(np.pi * z / 0.05)
    bands = [(FRIT, 0.026), (BLEND, 0.036), (SILVER, 0.05)]
    response = fired(shaped(r, z, np.full(11, 0.004), bands, base=0.005))
    return response, green_vessel(response)


@cache
def plain(material: str = FRIT) -> tuple[Response, Green]:
    """A cylinder of one material."""
    response = fired(cylinder([(material, 0.05)]))
    return response, green_vessel(response)


def with_drying(card: Card, shrinkage: float, name: str) -> Card:
    """A copy of a card that shrinks otherwise as it dries."""
    old = card["drying_shrinkage"].scalar
    return replace(card.scaled("drying_shrinkage", shrinkage / old), name=name)
