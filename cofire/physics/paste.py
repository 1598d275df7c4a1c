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


def most_binder(green_density: float, density: float, loss: float = 0.0) -> float:
    """Binder that fills the pores of a dried body, as a share of its mass.

    Powder and binder of the dried body fill at most its volume: with g the green density, b the
    binder, l the structural water and d, c the densities of powder and binder, a dried mass m
    leaves g d = m (1 − b − l), and m (1 − b) / d + m b / c <= 1.

    Parameters
    ----------
    green_density : float
        Volume of what is left after the kiln, of the dried body. [-]
    density : float
        Of the powder without pores. [kg/m³]
    loss : float
        Structural water, of the dried mass. [-]

    Returns
    -------
    float
        Negative where the powder with its water alone has no room. [-]
    """
    return (1.0 - loss - green_density) / (
        1.0 - green_density + green_density * density / BINDER_DENSITY
    )


def dried_solid(density: float, binder: float) -> float:
    """Density of a dried body without a pore: powder and binder fill it.

    Parameters
    ----------
    density : float
        Of the powder without pores. [kg/m³]
    binder : float
        Share of the dried mass. [-]

    Returns
    -------
    float
        [kg/m³]

    Examples
    --------
    >>> round(dried_solid(2600.0, 0.03))
    2524
    """
    return 1.0 / ((1.0 - binder) / density + binder / BINDER_DENSITY)


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
        The dried body's pores have no room for its binder.
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
    most = most_binder(card["green_density"].scalar, density, card.scalar("loss_on_ignition", 0.0))
    if bound > most * (1.0 + 1e-9):
        raise InputError(
            f"{card.origin or card.name}: binder = {100 * bound:.3g} %; between powder of its "
            f"green_density {100 * max(most, 0.0):.3g} % of the dried mass has room"
        )
    return Paste(((card.name, powder),), binder, water * WATER_DENSITY, solids * density, solids)


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
