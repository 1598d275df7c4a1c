"""What a volume of wet paste holds: powder, binder and water that dry to the card's green body."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cofire.errors import InputError
from cofire.materials.card import Card

BINDER_DENSITY = 1300.0
"""Of cellulose ether: handbook, from memory. [kg/m³]"""
WATER_DENSITY = 998.0
"""At 20 °C: handbook, from memory. [kg/m³]"""


@dataclass(frozen=True)
class Paste:
    """What a volume of wet paste holds, without air.

    Attributes
    ----------
    powders
        Name and mass of each. [kg/m³]
    binder, water
        Mass. [kg/m³]
    burnt
        Mass left after binder and structural water have gone. [kg/m³]
    solids
        Volume of what is left. [-]
    """

    powders: tuple[tuple[str, float], ...]
    binder: float
    water: float
    burnt: float
    solids: float

    @property
    def dry(self) -> float:
        """Mass when dried. [kg/m³]"""
        return sum(mass for _, mass in self.powders) + self.binder

    @property
    def wet(self) -> float:
        """Mass as printed. [kg/m³]"""
        return self.dry + self.water


def paste_of(card: Card) -> Paste:
    """What a paste must hold to dry to its green density.

    The wet paste is its dried body before that shrank, with water in place of air. Powders are
    weighed with the structural water that they lose in the kiln, at their density without pores.
    A blend is made of its two pastes, whose volumes add.

    Parameters
    ----------
    card : Card
        Of the band.

    Returns
    -------
    Paste
        By volume.

    Raises
    ------
    InputError
        The card leaves no room for the water that its drying shrinkage needs.
    """
    if card.parts:
        sides = [(paste_of(part), share) for part, share in card.parts]
        volume = [share / side.solids for side, share in sides]
        weights = [v / sum(volume) for v in volume]
        return _mixed([side for side, _ in sides], weights)
    shrunk = (1.0 - card["drying_shrinkage"].scalar) ** 3
    solids = card["green_density"].scalar * shrunk
    density = card["theoretical_density"].scalar
    bound = card["binder"].scalar
    dry = solids * density / (1.0 - bound - card.scalar("loss_on_ignition", 0.0))
    powder, binder = dry * (1.0 - bound), dry * bound
    water = 1.0 - powder / density - binder / BINDER_DENSITY
    if water < 1.0 - shrunk:
        raise InputError(
            f"{card.origin or card.name}: its green_density and binder leave {100 * water:.0f} % "
            f"of the wet paste for water; its drying_shrinkage needs {100 * (1 - shrunk):.0f} %"
        )
    return Paste(((card.name, powder),), binder, water * WATER_DENSITY, solids * density, solids)


def most_binder(green: float, density: float, lost: float) -> float:
    """Largest share of binder, of the dried mass, for which the pores of a dried body have room.

    What `paste_of` refuses beyond: the room does not depend on the drying shrinkage, since the wet
    paste shrinks by just the water that leaves. With 1.3 g/cm³ for the binder.

    Parameters
    ----------
    green : float
        Relative density of the body without its binder. [-]
    density : float
        Of its solids. [kg/m³]
    lost : float
        Loss on ignition. [-]

    Examples
    --------
    >>> print(round(most_binder(0.6, 19300.0, 0.0), 3))
    0.043
    """
    return (1.0 - lost - green) / (1.0 + green * (density / BINDER_DENSITY - 1.0))


def _mixed(pastes: Sequence[Paste], weights: Sequence[float]) -> Paste:
    """Pastes put together by volume."""
    both = list(zip(pastes, weights, strict=True))
    return Paste(
        tuple((name, mass * w) for paste, w in both for name, mass in paste.powders),
        sum(paste.binder * w for paste, w in both),
        sum(paste.water * w for paste, w in both),
        sum(paste.burnt * w for paste, w in both),
        sum(paste.solids * w for paste, w in both),
    )
