"""Cooled mismatch of a material with its partner, from strips that bowed on cooling."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from cofire.errors import InputError
from cofire.inputs.cards import Card
from cofire.inputs.measured import FiredPieces, Measured, Strip
from cofire.inputs.units import ROOM, celsius
from cofire.physics.bar_tests import chord_curvature, strip_mismatch, strip_stress
from cofire.physics.blends import find_material
from cofire.physics.history import histories
from cofire.planning.evidence.fitting import mean_interval
from cofire.planning.evidence.measured_values import (
    NORMAL,
    WORTH,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    card_rows_spread,
)
from cofire.planning.pairs.pairing import zone_set_points

SET_ERROR = 30.0
"""How far off the set point of a strip may be: estimate. [K]"""


def strip_findings(card: Card, measured: Measured, cards: Mapping[str, Card]) -> Findings:
    """Cooled mismatch that bowed strips show, and the factor on the card's expansion that gives it.

    The strip was flat when the second of its layers set, and elastic below. A curve of a fired bar
    tells more, and then the strip is only compared.

    Parameters
    ----------
    card : Card
        The card, of the top layer.
    measured : Measured
        Its measurements.
    cards : mapping
        Materials by name, for the partners.

    Returns
    -------
    Findings
        Empty where no strip was measured.
    """
    strips = [(pieces, strip) for pieces in measured.firings for strip in pieces.strips]
    if not strips:
        return Findings()
    factors, stated, shared, notes, shown = [], [], [], [], []
    for pieces, strip in strips:
        found, own, other, shaky, note = _strip(card, pieces, strip, measured, cards)
        factors.append((found + other) / own)
        stated.append(_strip_error(strip, found, measured.length_uncertainty) / abs(own))
        shared.append(shaky / abs(own))
        notes.append(note)
        shown.append((found, own - other))
    factor, low, high = mean_interval(np.array(factors), float(np.mean(stated)))
    half = np.hypot(0.5 * (high - low), NORMAL * float(np.mean(shared)))
    table = card["thermal_expansion"]
    what = f"{len(strips)} strip{'s' if len(strips) > 1 else ''}"
    place = np.arange(1.0, len(strips) + 1.0)
    given, by_card = (1e6 * np.array(column) for column in zip(*shown, strict=True))
    panel = Panel(
        "strips, top minus bottom", "strip", "cooled mismatch (ppm)",
        (Series("strips", place, given, by_card),),
    )  # fmt: skip
    if any(k.fired for k in measured.curves):
        return Findings(panels=(panel,), notes=tuple(notes))
    if half / NORMAL > WORTH * float(np.min(card_rows_spread(table) / np.abs(table.value))):
        why = f"{what}, with the partner's expansion and the set point as uncertain as they are, "
        why += "tell it no better than the card does"
        remedy = "a dilatometer curve of a fired bar, or a partner whose expansion is known"
        return Findings(
            untold=(Untold("thermal_expansion", why, remedy),), panels=(panel,), notes=tuple(notes)
        )
    value = table.value * factor
    wide = np.abs(table.value) * half
    note = f"all rows times {factor:.3f}, from the bow of {what} on cooling"
    found_value = Value(
        "thermal_expansion", value, value - wide, value + wide, what, "derived",
        temperature=table.temperature, note=note,
    )  # fmt: skip
    return Findings((found_value,), panels=(panel,), notes=tuple(notes))


def _strip_error(strip: Strip, mismatch: float, reading: float) -> float:
    """Standard uncertainty of a mismatch from the readings of rise and thickness."""
    rise = max(abs(strip.rise - strip.rise_hot), 1e-9)
    parts = (np.sqrt(2.0) * reading / rise, np.sqrt(2.0) * reading / sum(strip.thickness))
    return float(abs(mismatch) * np.hypot(*parts))


def _strip(
    card: Card, pieces: FiredPieces, strip: Strip, measured: Measured, cards: Mapping[str, Card]
) -> tuple[float, float, float, float, str]:
    """Measured mismatch, own and partner's length change on cooling, their uncertainty, a note."""
    try:
        partner = find_material(strip.partner, dict(cards))
    except InputError as error:
        raise InputError(f"{measured.where}: {pieces.name}: strip: {error}") from None
    history = histories([card, partner], pieces.trace, extend=True)
    points, index = zone_set_points(history)
    node = int(max(index))
    change = history.free_strain[:, -1] - history.free_strain[:, node]
    moduli = history.young_modulus[:, -1]
    curvature = chord_curvature(strip.rise, strip.length) - chord_curvature(
        strip.rise_hot, strip.length
    )
    mismatch = float(strip_mismatch(curvature, *strip.thickness, *moduli))
    set_at = float(min(points))
    below = max(set_at - ROOM, 1.0)
    relative = np.array([_relative(part) for part in (partner.parts or ((partner, 1.0),))]).mean()
    shaky = np.hypot(relative * change[1], SET_ERROR * (change[0] - change[1]) / below)
    stress = strip_stress(mismatch, *strip.thickness, *moduli)
    yields = history.yield_stress[:, -1]
    note = (
        f"strip with {partner.name}: {1e6 * mismatch:+.0f} ppm below {celsius(set_at):.0f} °C; the "
        f"card gives {1e6 * (change[0] - change[1]):+.0f}"
    )
    if any(float(s) > float(y) for s, y in zip(stress, yields, strict=True)):
        note += "; the metal has yielded, so the figure is a lower bound"
    return mismatch, float(change[0]), float(change[1]), float(shaky), note


def _relative(part: tuple[Card, float]) -> float:
    table = part[0]["thermal_expansion"]
    return float(np.max(card_rows_spread(table) / np.abs(table.value)))
