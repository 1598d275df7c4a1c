"""The metal that a firing makes: how dense, how strong, how far it stretches before it tears."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from cofire.assessment.response import Response
from cofire.materials.card import Card, Property
from cofire.numerics import Array
from cofire.physics.porosity import anchored_strength, haynes_elongation

FIGURES = {"strength": "tensile_strength", "bending": "strength", "elongation": "ductility"}
"""Property of a card that each figure of a fired metal comes from."""
NINETY = 1.645
"""Standard deviations to either side that hold nine in ten of a normal spread. [-]"""


@dataclass(frozen=True)
class FiredMetal:
    """One metal zone when cold.

    Attributes
    ----------
    zone
        Its material.
    density
        Relative. [-]
    strength
        Tensile; none where the card has no strength. [Pa]
    bending
        Flexural; none where the card has none. [Pa]
    elongation
        To fracture; none where the card has no ductility. [-]
    source
        Of the strength on the card, and how it is known.
    doubt
        Standard uncertainty of the logarithm of each of the three, from the card's own and from
        that of the density it reaches; empty where the card states none. [-]
    """

    zone: str
    density: float
    strength: float | None
    bending: float | None
    elongation: float | None
    source: str
    doubt: Mapping[str, float] = field(default_factory=dict)

    def likely(self, name: str) -> tuple[float, float] | None:
        """Range that holds nine in ten.

        Parameters
        ----------
        name : str
            "strength", "bending" or "elongation".

        Returns
        -------
        tuple of float or None
            None where it is not known, or no doubt is stated. [Pa] or [-]
        """
        value, doubt = getattr(self, name), self.doubt.get(name, 0.0)
        if value is None or doubt == 0.0:
            return None
        reach = float(np.exp(NINETY * doubt))
        return value / reach, value * reach

    def text(self) -> str:
        """As "fine silver: 91 % dense, 110 MPa in tension (84 to 140), 20 % elongation"."""
        parts = [f"{100.0 * self.density:.0f} % dense"]
        for name, factor, after in (
            ("strength", 1e-6, "MPa in tension"),
            ("bending", 1e-6, "MPa in bending"),
            ("elongation", 100.0, "% elongation"),
        ):
            value, likely = getattr(self, name), self.likely(name)
            if value is None:
                continue
            span = f" ({' to '.join(_two(factor * end) for end in likely)})" if likely else ""
            parts.append(f"{_two(factor * value)} {after}{span}")
        return f"{self.zone}: {', '.join(parts)}"


def _two(value: float) -> str:
    """In two digits."""
    return f"{float(f'{value:.2g}'):g}"


def strength_at(card: Card, name: str, density: float | Array) -> Array | None:
    """A strength of a metal at the density it reached, as cold.

    Parameters
    ----------
    card : Card
        A metal.
    name : str
        "tensile_strength", or "strength" for bending.
    density : float or array
        Relative. [-]

    Returns
    -------
    array or None
        As `anchored_strength` between the brown body and the one measured; None without. [Pa]
    """
    if name not in card:
        return None
    strength, green = card[name], card["green_density"].scalar
    weak = min(card["brown_strength"].scalar, strength.scalar)
    dense = np.maximum(density, green)
    return anchored_strength(dense, green, weak, strength.at_density, strength.scalar)


def elongation_at(card: Card, density: float) -> float | None:
    """Elongation of a metal at the density it reached, from that of its card as fired.

    Parameters
    ----------
    card : Card
        A metal.
    density : float
        Relative. [-]

    Returns
    -------
    float or None
        None where the card has no ductility. [-]
    """
    if "ductility" not in card:
        return None
    known, here = haynes_elongation(1.0 - np.array([card["fired_density"].scalar, density]))
    return float(min(card["ductility"].scalar * here / known, 1.0))


def fired_metals(response: Response) -> list[FiredMetal]:
    """Each metal of a vessel as its firing leaves it.

    Returns
    -------
    list of FiredMetal
        Once a metal zone, from the lowest; metals that stand in blends alone are left out.
    """
    found = {}
    for card, row in zip(response.cards, response.material, strict=True):
        if card.kind != "metal" or card.name in found:
            continue
        density = float(response.history.relative_density[row, -1])
        known = card["fired_density"]
        denser = min(density + _doubt(known) * known.scalar, 1.0)
        told = next((card[n] for n in ("tensile_strength", "strength") if n in card), None)
        source = f"{told.source[0]} ({told.basis[0]})" if told is not None and told.source else ""
        values = {name: _figure_at(card, own, density) for name, own in FIGURES.items()}
        doubt = {
            name: float(np.hypot(_doubt(card[own]), np.log(ahead / here)))
            for name, own in FIGURES.items()
            if (here := values[name]) and (ahead := _figure_at(card, own, denser))
        }
        found[card.name] = FiredMetal(card.name, density, **values, source=source, doubt=doubt)
    return list(found.values())


def _figure_at(card: Card, name: str, density: float) -> float | None:
    """A property of a metal at the density it reached."""
    if name == "ductility":
        return elongation_at(card, density)
    strength = strength_at(card, name, density)
    return None if strength is None else float(strength)


def _doubt(known: Property) -> float:
    """Relative standard uncertainty of a single number. [-]"""
    return float(known.uncertainty[0].relative(known.scalar))
