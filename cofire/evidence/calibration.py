"""A card made to fit a person's own measurements: values, intervals, and what is still not told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cofire.assessment.rule import NO
from cofire.assessment.windows import gas_grade
from cofire.errors import InputError
from cofire.evidence.bar_readings import (
    bending_findings,
    drying_findings,
    green_findings,
    sag_findings,
)
from cofire.evidence.curve_readings import expansion_findings
from cofire.evidence.findings import Findings, Value, card_rows_spread, contradiction, single
from cofire.evidence.measured import Measured
from cofire.evidence.sintering_findings import sintering_findings
from cofire.evidence.strip_readings import strip_findings
from cofire.materials.card import Card, Property, Uncertainty
from cofire.materials.card_file import contradictions
from cofire.materials.properties import AFTER_BARS, SPECS
from cofire.physics.history import height_factor
from cofire.physics.paste import dried_solid
from cofire.physics.sintering import sintering_strain


@dataclass(frozen=True)
class Calibration:
    """A card and what measurements say of it.

    Attributes
    ----------
    old, card
        The card as it was, and with the values told.
    findings
        Values with intervals, what is not told, readings for the figure, notes.
    source
        Text that stands in the new card as the source of each changed value.
    """

    old: Card
    card: Card
    measured: Measured
    findings: Findings
    source: str


def source_text(measured: Measured) -> str:
    """The source that a new card names: the data file.

    Parameters
    ----------
    measured : Measured
        Its measurements.

    Returns
    -------
    str
        One line.
    """
    return f"measured: {Path(measured.where).name}"


def spread_form(value: Value, unit: str, old: Property | None) -> list[Uncertainty]:
    """Uncertainty of each row as a card states it: per cent, or absolute.

    The pot is of another batch than the bars: what batches differ by (`AFTER_BARS`) is in it beside
    what the bars leave of their own mean, but no more than the old card allowed for.

    Parameters
    ----------
    value : Value
        Measured.
    unit : str
        Of the card.
    old : Property, optional
        As the card had it.

    Returns
    -------
    list of Uncertainty
        One a row.
    """
    absolute = value.logarithmic or unit in ("-", "%")
    form, batch = AFTER_BARS.get(value.name, ("+-", 0.0))
    batches = batch * np.abs(value.value) if form == "%" else np.full_like(value.value, batch)
    whole = np.hypot(value.uncertainty, batches)
    if old is not None and old.value.size == value.value.size:
        whole = np.minimum(whole, card_rows_spread(old))
    found = []
    for number, size in zip(value.value, np.maximum(whole, value.uncertainty), strict=True):
        if absolute or number == 0.0:
            found.append(Uncertainty("+-", float(size)))
        else:
            found.append(Uncertainty("%", float(abs(size / number))))
    return found


def updated(card: Card, values: tuple[Value, ...], source: str) -> Card:
    """The card with values replaced.

    Parameters
    ----------
    card : Card
        The old card.
    values : tuple of Value
        Measured.
    source : str
        Their source.

    Returns
    -------
    Card
        A copy.
    """
    properties = dict(card.properties)
    fired_at = card.fired_at
    for value in values:
        old = card.properties.get(value.name)
        unit = old.unit if old is not None else next(iter(SPECS[value.name].units))
        count = value.value.size
        spread, sources = spread_form(value, unit, old), [source] * count
        basis = [value.basis] * count
        for row, seen in enumerate(value.seen):
            if not seen and old is not None:
                sources[row], basis[row] = old.source[row], "derived"
        density = value.at_density
        if density is None:
            density = old.at_density if old is not None else 1.0
        properties[value.name] = Property(
            name=value.name,
            owner=card.name,
            temperature=value.temperature,
            value=value.value,
            uncertainty=tuple(spread),
            source=tuple(sources),
            basis=tuple(basis),
            at_density=density,
            unit=unit,
        )
        fired_at = value.fired_at or fired_at
    return replace(card, properties=properties, fired_at=fired_at)


def _firing_shrinkage(card: Card, values: tuple[Value, ...]) -> tuple[Value, ...]:
    """The firing shrinkage that goes with a green density weighed alone, where the card has one."""
    told = {v.name: v for v in values}
    one = told.get("green_density")
    if one is None or "fired_density" in told or "firing_shrinkage" not in card:
        return ()
    dense, factor = card["fired_density"].scalar, height_factor(card)
    ends = [
        -float(np.expm1(sintering_strain(max(dense, float(g)), float(g), factor)))
        for g in (one.value[0], one.high[0], one.low[0])
    ]
    note = "that of the measured green density and the card's fired one"
    found = (ends[0], ends[1], ends[2])
    return (single("firing_shrinkage", found, one.told_by, basis="derived", note=note),)


def calibrate(
    card: Card,
    measured: Measured,
    cards: Mapping[str, Card],
    tell: Callable[[str], None] | None = None,
) -> Calibration:
    """Fit a card to measurements on its material.

    The sintering curve first; then, with it, expansion, strength and viscosity. A value that the
    measurements tell no better than the card keeps the card's.

    Parameters
    ----------
    card : Card
        One material, not a blend.
    measured : Measured
        From `cofire.evidence.measured`.
    cards : mapping
        Materials by name, for the partners of strips.
    tell : callable, optional
        Is given the name of each stage.

    Returns
    -------
    Calibration
        With the new card.

    Raises
    ------
    InputError
        The new card would contradict itself, or a piece is denser than its substance.
    ModelError
        A fit does not settle.
    """
    if card.parts:
        raise InputError(f"{card.name}: a blend follows from its parts; measure those")
    _refuse_denser(card, measured)
    say = tell or (lambda line: None)
    source = source_text(measured)
    say("sintering")
    found = drying_findings(card, measured) + sintering_findings(card, measured)
    spoken_of = {v.name for v in found.values} | {u.name for u in found.untold}
    if "green_density" not in spoken_of:
        found += green_findings(card, measured)
    new = _checked(updated(card, found.values, source), measured)
    found += Findings(values=_firing_shrinkage(new, found.values))
    new = updated(card, found.values, source)
    say("expansion")
    found += expansion_findings(new, measured)
    new = updated(card, found.values, source)
    say("bars, sag and strips")
    for more in (
        bending_findings(new, measured),
        sag_findings(new, measured),
        strip_findings(new, measured, cards),
    ):
        found += more
    said = (*found.values, *(u.value for u in found.untold if u.value is not None))
    apart = tuple(note for value in said if (note := contradiction(card, value)))
    logs = tuple(line for pieces in measured.firings for line in pieces.log)
    found += Findings(notes=logs + apart + _spoilt(card, measured))
    new = _checked(updated(card, found.values, source), measured)
    return Calibration(card, new, measured, found, source)


def _spoilt(card: Card, measured: Measured) -> tuple[str, ...]:
    """Firings in a gas that the card says spoils its sintering: more often a slip than a bar."""
    found = []
    for pieces in measured.firings:
        grade, why = gas_grade(card, pieces.trace.gas, pieces.trace.peak)
        if grade >= NO:
            found.append(
                f"{pieces.name}: counted as fired in {pieces.trace.gas}, which the file or its "
                f"default says ({why}); if it was not, write its gas and run again"
            )
    return tuple(found)


SURELY = 3.0
"""Standard uncertainties of a density by which it may seem to pass that of its substance. [-]"""


def _refuse_denser(card: Card, measured: Measured) -> None:
    """Refuse bulk densities above that of the solid: a fired piece, or dried bars on average."""
    theoretical, own = card["theoretical_density"].scalar, f"the theoretical density of {card.name}"
    found = [
        (f"firing {pieces.name!r}: fired_kg_m3", pieces.density.max(), 1.0, theoretical, own)
        for pieces in measured.firings
        if pieces.density.size
    ]
    if (count := measured.dried_density.size) > 0:
        solid = dried_solid(theoretical, card.scalar("binder", 0.0))
        what = f"that of its powder and binder without a pore, by {own}"
        found.append(("dried_kg_m3", measured.dried_density.mean(), count**-0.5, solid, what))
    for where, bulk, share, most, what in found:
        if bulk > most * (1.0 + SURELY * share * measured.density_uncertainty):
            raise InputError(
                f"{measured.where}: {where}: {bulk:.4g}; allowed: up to {most:.4g}, {what}; if "
                "yours is denser, give its card your own theoretical_density first"
            )


def _checked(card: Card, measured: Measured) -> Card:
    """The card itself, unless it contradicts itself."""
    wrong = next(contradictions(card.properties, card.densification), None)
    if wrong is not None:
        raise InputError(
            f"{measured.where}: the card that fits it contradicts itself: {wrong}. Check the "
            "measurements, or give the card's own limits (least_density, full_density) anew"
        )
    return card
