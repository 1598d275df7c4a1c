"""The metal that a firing makes: how dense, how strong, how far it stretches before it tears."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cofire.assessment.response import Response
from cofire.materials.card import Card
from cofire.physics.porosity import anchored_strength, haynes_elongation


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
    """

    zone: str
    density: float
    strength: float | None
    bending: float | None
    elongation: float | None
    source: str

    def text(self) -> str:
        """As "fine silver: 91 % dense, 110 MPa in tension, 12 % elongation"."""
        parts = [f"{100.0 * self.density:.0f} % dense"]
        if self.strength is not None:
            parts.append(f"{float(f'{1e-6 * self.strength:.2g}'):g} MPa in tension")
        if self.bending is not None:
            parts.append(f"{1e-6 * self.bending:.3g} MPa in bending")
        if self.elongation is not None:
            parts.append(f"{100.0 * self.elongation:.2g} % elongation")
        return f"{self.zone}: {', '.join(parts)}"


def strength_at(card: Card, name: str, density: float) -> float | None:
    """A strength of a metal at the density it reached.

    Parameters
    ----------
    card : Card
        A metal.
    name : str
        "tensile_strength", or "strength" for bending.
    density : float
        Relative. [-]

    Returns
    -------
    float or None
        As `anchored_strength` between the brown body and the one measured; None without. [Pa]
    """
    if name not in card:
        return None
    strength, green = card[name], card["green_density"].scalar
    weak = min(card["brown_strength"].scalar, strength.scalar)
    return float(
        anchored_strength(max(density, green), green, weak, strength.at_density, strength.scalar)
    )


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
        told = next((card[n] for n in ("tensile_strength", "strength") if n in card), None)
        source = f"{told.source[0]} ({told.basis[0]})" if told is not None and told.source else ""
        found[card.name] = FiredMetal(
            card.name, density, strength_at(card, "tensile_strength", density),
            strength_at(card, "strength", density), elongation_at(card, density), source,
        )  # fmt: skip
    return list(found.values())
