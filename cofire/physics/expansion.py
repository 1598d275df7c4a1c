"""Thermal strain of a material along a trace, with each transformation named."""

from __future__ import annotations

import numpy as np

from cofire.materials.card import Card, Transformation, once_a_card
from cofire.numerics import Array, ShapePreserving
from cofire.units import ROOM


def smooth_step(temperature: Array, centre: float, width: float) -> Array:
    """Share transformed in equilibrium: 0 below, 1 above, smooth over a width.

    Parameters
    ----------
    temperature : array
        Any shape. [K]
    centre : float
        Half transformed. [K]
    width : float
        From none to all. [K]

    Returns
    -------
    array
        Share of the high-temperature form, same shape. [-]
    """
    x = np.clip((temperature - centre) / width + 0.5, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def transformed_share(temperature: Array, change: Transformation) -> Array:
    """Share of the high form along a trace, with hysteresis.

    The share cannot be less than heating demands nor more than cooling allows, and otherwise
    stays as it was (a play operator; rate-independent).

    Parameters
    ----------
    temperature : array
        Along the trace, shape (M,). [K]
    change : Transformation
        The transformation.

    Returns
    -------
    array
        Shape (M,). [-]
    """
    least = smooth_step(temperature, change.on_heating, change.width)
    if change.on_cooling == change.on_heating:
        return least
    most = smooth_step(temperature, change.on_cooling, change.width)
    now, share = 0.0, []
    for low, high in zip(least.tolist(), most.tolist(), strict=True):
        now = min(max(now, low), high)
        share.append(now)
    return np.array(share)


def transformation_strain(temperature: Array, share: Array, change: Transformation) -> Array:
    """Strain that a transformation adds to the low form's expansion.

    Parameters
    ----------
    temperature : array
        Any shape. [K]
    share : array
        Share of the high form, same shape. [-]
    change : Transformation
        The transformation.

    Returns
    -------
    array
        Same shape. [-]
    """
    slope = change.expansion_change * (temperature - change.on_heating)
    return share * (change.step + slope)


def smooth_expansion(card: Card, temperature: Array, extend: bool = False) -> Array:
    """Natural thermal strain from 20 °C without the transformations.

    The card's table holds mean coefficients. Inversions that its measured curve contains are
    taken out at its rows before interpolating, so that they can be added back sharply.

    Parameters
    ----------
    card : Card
        With `thermal_expansion`.
    temperature : array
        Any shape. [K]
    extend : bool
        Hold the last mean coefficient outside the table instead of refusing.

    Returns
    -------
    array
        Same shape. [-]

    Raises
    ------
    OutOfRange
        Outside the table.
    """
    table = card["thermal_expansion"]
    if not extend:
        table.refuse_outside(temperature)
    if table.temperature is None:
        return np.asarray(np.log1p(table.scalar * (temperature - ROOM)))
    known = _smooth_curve(card)
    if known is None:
        return np.asarray(np.log1p(table.value[0] * (temperature - ROOM)))
    curve, below, above = known
    bounded = np.clip(temperature, curve.knots[0], curve.knots[-1])
    ends = np.where(temperature < curve.knots[0], below, above)
    return np.asarray(
        curve.at(bounded) + np.where(bounded == temperature, 0.0, ends * (temperature - bounded))
    )


@once_a_card
def _smooth_curve(card: Card) -> tuple[ShapePreserving, float, float] | None:
    """Strain without transformations, and the mean coefficient below and above the rows. [1/K]

    None where the table says nothing but what holds at 20 °C.
    """
    table = card["thermal_expansion"]
    assert table.temperature is not None
    rows = table.temperature
    # A row at room temperature carries no length change; zero strain there is exact.
    keep = np.abs(rows - ROOM) > 1.0
    rows, mean = rows[keep], table.value[keep]
    if rows.size == 0:
        return None
    strain = np.log1p(mean * (rows - ROOM))
    for change in card.inversions:
        if change.in_table:
            strain = strain - transformation_strain(
                rows, smooth_step(rows, change.on_heating, change.width), change
            )
    order = np.searchsorted(rows, ROOM)
    knots, values = np.insert(rows, order, ROOM), np.insert(strain, order, 0.0)
    return ShapePreserving.through(knots, values), float(mean[0]), float(mean[-1])


def thermal_strains(card: Card, temperature: Array, extend: bool = False) -> dict[str, Array]:
    """Natural thermal strain along a trace by contribution.

    Parameters
    ----------
    card : Card
        One material (not a blend).
    temperature : array
        Along the trace, shape (M,). [K]
    extend : bool
        As in `smooth_expansion`.

    Returns
    -------
    dict
        "expansion" and one entry for each transformation, shape (M,) each. [-]
    """
    strains = {"expansion": smooth_expansion(card, temperature, extend)}
    for change in card.inversions:
        share = transformed_share(temperature, change)
        strains[change.name] = transformation_strain(temperature, share, change)
    return strains
