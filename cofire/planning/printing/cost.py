"""What powders and firing cost, where the vessel's file gives prices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cofire.errors import UnknownName
from cofire.inputs.workshop import BINDER
from cofire.physics.kiln_power import firing_energy
from cofire.planning.printing.paste import Batch
from cofire.planning.ware.response import Response


@dataclass(frozen=True)
class Cost:
    """What the print and its firing cost, in the file's currency.

    Attributes
    ----------
    powders
        Name and price of what is weighed of each.
    energy
        Current for the firing. [J]
    firing
        Its price; None where the file does not say.
    unpriced
        Powders without a price.
    """

    powders: tuple[tuple[str, float], ...]
    energy: float | None
    firing: float | None
    unpriced: tuple[str, ...]

    @property
    def total(self) -> float:
        """Of all that has a price."""
        return sum(price for _, price in self.powders) + (self.firing or 0.0)


def cost(response: Response, made: Sequence[Batch]) -> Cost | None:
    """What powders and firing cost, or None where the vessel's file gives no prices.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    made : sequence of Batch
        From `batches`.

    Returns
    -------
    Cost or None
        Powders as weighed; the kiln's current by `firing_energy`.

    Raises
    ------
    UnknownName
        A price for something the vessel does not hold.
    """
    prices = response.vessel.prices
    if prices is None:
        return None
    used: dict[str, float] = {}
    for batch in made:
        for name, mass in (*batch.powders, (BINDER, batch.binder)):
            used[name] = used.get(name, 0.0) + mass
    listed = dict(prices.powders)
    for name in listed:
        if name not in used:
            raise UnknownName("powder", name, used, f"{response.vessel.name}: [prices.per_kg]")
    energy = firing = None
    if prices.kiln_power > 0.0:
        trace = response.trace
        energy = firing_energy(
            response.vessel.firing.kiln, trace.time, trace.kiln, prices.kiln_power
        )
        firing = energy * prices.energy
    return Cost(
        tuple((name, used[name] * price) for name, price in listed.items()),
        energy,
        firing,
        tuple(name for name in used if name not in listed),
    )
