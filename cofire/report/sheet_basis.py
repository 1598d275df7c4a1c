"""What the firing sheet rests on: cards, kiln, vessel file, and what was read beyond a table."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from cofire.report.html import Name, Strong, Text
from cofire.report.sheet_table import Table
from cofire.units import HOUR, celsius, counted, kelvin
from cofire.vessel import Printer

if TYPE_CHECKING:
    from cofire.materials.card import Card, Property
    from cofire.production.job import Job

WARM = kelvin(500.0)
"""Mean expansion is shown from 20 °C up to here: common practice. [K]"""
NUMBERS = (
    ("drying_shrinkage", "drying shrinkage, %"),
    ("green_density", "density, burnt out"),
    ("fired_density", "density, fired"),
    ("thermal_expansion", "expansion, 1e-6/K"),
    ("young_modulus", "Young's modulus, GPa"),
    ("strength", "strength, MPa"),
    ("weibull_modulus", "Weibull modulus"),
    ("fracture_toughness", "toughness, MPa m^0.5"),
    ("yield_stress", "yield stress, MPa"),
    ("solidus", "first liquid, °C"),
    ("stable_time", "crystals last, h"),
    ("firing_ceiling", "firing ceiling, °C"),
    ("reduced_ceiling", "the same in carbon or hydrogen, °C"),
    ("reduced_maturing", "matures lower there by, K"),
)
"""Properties on which print, stress and limits hang most, and their names and units here."""
UNITS = {"%": 0.01, "h": HOUR, "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "MPa m^0.5": 1e6}


def _value(p: Property, unit: str, sources: list[str]) -> str:
    """A number with its uncertainty, how it is known, and the number of its source."""
    row = 0
    if p.temperature is not None and p.name == "thermal_expansion":
        row = int(np.argmin(np.abs(p.temperature - WARM)))
    if p.name == "stable_time":  # at the heat where they turn fastest
        row = int(np.argmin(p.value))
    factor = UNITS.get(unit, 1.0)
    value = celsius(float(p.value[row])) if unit == "°C" else float(p.value[row]) / factor
    u = p.uncertainty[row]
    spread = {
        "%": f"± {100 * u.size:.2g} %",
        "factor": f"factor {u.size:.2g}",
        "+-": f"± {u.size / factor:.2g}",
    }[u.form]
    if p.source[row] not in sources:
        sources.append(p.source[row])
    where = sources.index(p.source[row]) + 1
    figure = f"{value:.0f}" if unit == "°C" else f"{value:.3g}"
    return f"{figure} {spread}, {p.basis[row]} [{where}]"


def cards_table(cards: list[Card]) -> tuple[Table, list[str]]:
    """The numbers of the cards on which most hangs, and the sources their brackets name.

    Parameters
    ----------
    cards : list of Card
        Pure materials.

    Returns
    -------
    tuple of Table and list of str
        The table, and the sources.
    """
    sources: list[str] = []
    rows = []
    for key, name in NUMBERS:
        unit = name.rpartition(", ")[2] if ", " in name else ""
        if any(key in card for card in cards):
            cells = (_value(card[key], unit, sources) if key in card else "" for card in cards)
            rows.append([name, *cells])
    whole = Table(
        key="cards",
        caption="Numbers on which most hangs, ± one standard uncertainty [source]",
        head=["Property", *(Name(card.name) for card in cards)],
        rows=rows,
        kinds=dict.fromkeys(range(1, len(cards) + 1), "text"),
    )
    return whole, sources


def _printer(printer: Printer) -> str:
    """What the printer is taken to do, usual values marked."""
    usual = Printer()

    def told(text: str, value: float, as_usual: float, mark: str = "common practice") -> str:
        return f"{text} ({mark})" if math.isclose(value, as_usual) else text

    return ", ".join(
        (
            told(f"layers of {1e3 * printer.layer:g} mm", printer.layer, usual.layer),
            told(f"roads of {1e3 * printer.nozzle:g} mm", printer.nozzle, usual.nozzle),
            told(
                f"{1e6 * printer.dead_volume:g} ml from the change to the nozzle",
                printer.dead_volume, usual.dead_volume, "estimate",
            ),
            told(
                f"mixing as {counted(printer.tanks, 'tank')}",
                printer.tanks, usual.tanks, "estimate",
            ) + ": measure both with a coloured paste",
        )
    )  # fmt: skip


def input_lines(m: Job) -> list[Text]:
    """Kiln and printer, and what is missing or beyond a table.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    list of text
        One a line.
    """
    vessel = m.response.vessel
    kiln, printer = vessel.firing.kiln, vessel.printer
    source = f" ({kiln.source})" if kiln.source else ""
    return [
        ("Kiln: ", Name(kiln.name), f", at most {celsius(kiln.max_temperature):.0f} °C{source}."),
        f"Printer: {_printer(printer)}.",
        *((Strong("Beyond its table:"), f" {line}.") for line in m.response.history.extended),
        *((Strong("Not computed:"), f" {line}") for line in m.missing),
    ]
