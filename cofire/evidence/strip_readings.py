"""Cooled mismatch of a material with its partner, from strips that bowed on cooling."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cofire.assessment.mismatch import zone_set_points
from cofire.errors import InputError
from cofire.evidence.findings import (
    FAR,
    NORMAL,
    WORTH,
    Findings,
    Panel,
    Series,
    Untold,
    Value,
    card_rows_spread,
)
from cofire.evidence.fitting import mean_interval
from cofire.evidence.measured import FiredPieces, Measured, Strip
from cofire.materials.card import Card
from cofire.physics.blends import find_material
from cofire.physics.history import histories
from cofire.physics.strength import chord_curvature, strip_mismatch, strip_stress
from cofire.units import ROOM, celsius, counted

SET_ERROR = 30.0
"""How far off the set point of a strip may be: estimate. [K]"""


def strip_findings(card: Card, measured: Measured, cards: Mapping[str, Card]) -> Findings:
    """Cooled mismatch that bowed strips show, and the factor on the card's expansion that gives it.

    The strip was flat when the second of its layers set, and elastic below. One whose metal yields
    on the way bows no further whatever the mismatch: it tells the least that this can be, and no
    factor. A curve of a fired bar tells more, and then the strip is only compared.

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
    bows = [
        _strip(card, pieces, strip, measured, cards)
        for pieces in measured.firings
        for strip in pieces.strips
    ]
    if not bows:
        return Findings()
    place = np.arange(1.0, len(bows) + 1.0)
    given, by_card = (1e6 * np.array(k) for k in zip(*(b.shown for b in bows), strict=True))
    panel = Panel(
        "strips, top minus bottom", "strip", "cooled mismatch (ppm)",
        (Series("strips", place, given, by_card),),
    )  # fmt: skip
    shown = Findings(panels=(panel,), notes=tuple(b.note for b in bows))
    if any(k.fired for k in measured.curves):
        return shown
    elastic = [b for b in bows if not b.yields]
    if not elastic:
        why = "the metal yields as the strip cools: no further mismatch would bow it more"
        remedy = "a dilatometer curve of a fired bar, or a partner that does not yield"
        return shown + Findings(untold=(Untold("thermal_expansion", why, remedy),))
    factors = np.array([b.factor for b in elastic])
    factor, low, high = mean_interval(factors, float(np.mean([b.stated for b in elastic])))
    half = np.hypot(0.5 * (high - low), NORMAL * float(np.mean([b.shaky for b in elastic])))
    table = card["thermal_expansion"]
    what = counted(len(elastic), "strip")
    value = table.value * factor
    wide = np.abs(table.value) * half
    note = f"all rows times {factor:.3f}, from the bow of {what} on cooling"
    found = Value(
        "thermal_expansion", value, value - wide, value + wide, what, "derived",
        temperature=table.temperature, note=note,
    )  # fmt: skip
    sure = np.hypot([b.stated for b in elastic], [b.shaky for b in elastic]).mean()
    if len(elastic) > 1 and (apart := float(factors.std(ddof=1) / sure)) > FAR:
        shown += Findings(notes=(
            f"{what} lie {apart:.1f} times as far apart as readings, partner and set point allow: "
            "check which face bowed, which layer is on top, and the pieces",
        ))  # fmt: skip
    if half / NORMAL > WORTH * float(np.min(card_rows_spread(table) / np.abs(table.value))):
        why = f"{what}, with the partner's expansion and the set point as uncertain as they are, "
        why += "tell it no better than the card does"
        remedy = "a dilatometer curve of a fired bar, or a partner whose expansion is known"
        return shown + Findings(untold=(Untold("thermal_expansion", why, remedy, found),))
    return Findings((found,)) + shown


@dataclass(frozen=True)
class _Bow:
    """What one strip says.

    Attributes
    ----------
    shown
        Cooled mismatch, measured and by the card. [-]
    factor
        On the card's expansion, that gives the measured one. [-]
    stated, shaky
        Standard uncertainty of it from the readings; and from partner and set point. [-]
    yields
        Whether a layer yields on cooling.
    """

    shown: tuple[float, float]
    factor: float
    stated: float
    shaky: float
    yields: bool
    note: str


def _strip_error(strip: Strip, mismatch: float, reading: float) -> float:
    """Standard uncertainty of a mismatch from the readings of rise and thickness."""
    rise = max(abs(strip.rise - strip.rise_hot), 1e-9)
    parts = (np.sqrt(2.0) * reading / rise, np.sqrt(2.0) * reading / sum(strip.thickness))
    return float(abs(mismatch) * np.hypot(*parts))


def _strip(
    card: Card, pieces: FiredPieces, strip: Strip, measured: Measured, cards: Mapping[str, Card]
) -> _Bow:
    """Mismatch that a strip shows, elastic below the set point of the second of its layers."""
    try:
        partner = find_material(strip.partner, dict(cards))
    except InputError as error:
        raise InputError(f"{measured.where}: {pieces.name}: strip: {error}") from None
    history = histories([card, partner], pieces.trace, extend=True)
    points, index = zone_set_points(history)
    node = int(max(index))
    cooled = history.free_strain[:, node:] - history.free_strain[:, node, None]
    own, other = (float(end) for end in cooled[:, -1])
    moduli = history.young_modulus[:, node:]
    curvature = chord_curvature(strip.rise, strip.length) - chord_curvature(
        strip.rise_hot, strip.length
    )
    mismatch = float(strip_mismatch(curvature, *strip.thickness, *moduli[:, -1]))
    factor = (mismatch + other) / own
    set_at = float(min(points))
    below = max(set_at - ROOM, 1.0)
    relative = np.array([_relative(part) for part in partner.constituents]).mean()
    shaky = np.hypot(relative * other, SET_ERROR * (own - other) / below)
    stress = strip_stress(factor * cooled[0] - cooled[1], *strip.thickness, *moduli)
    yields = bool(np.any(np.array(stress) > history.yield_stress[:, node:]))
    note = (
        f"strip with {partner.name}: {1e6 * mismatch:+.0f} ppm below {celsius(set_at):.0f} °C; the "
        f"card gives {1e6 * (own - other):+.0f}"
    )
    if yields:
        note += "; the metal yields as it cools, so the figure is a lower bound"
    return _Bow(
        shown=(mismatch, own - other),
        factor=factor,
        stated=_strip_error(strip, mismatch, measured.length_uncertainty) / abs(own),
        shaky=float(shaky) / abs(own),
        yields=yields,
        note=note,
    )


def _relative(part: tuple[Card, float]) -> float:
    table = part[0]["thermal_expansion"]
    return float(np.max(card_rows_spread(table) / np.abs(table.value)))
