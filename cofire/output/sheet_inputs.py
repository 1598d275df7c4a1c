"""What the firing sheet rests on: cards, kiln, vessel file, and what was read beyond a table."""

from __future__ import annotations

import math

import numpy as np

from cofire.inputs.cards import Card, Property
from cofire.inputs.units import celsius, kelvin
from cofire.inputs.workshop import Printer
from cofire.output.html_parts import listed, named, shown, table
from cofire.planning.printing.making import Making

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
    ("firing_ceiling", "firing ceiling, °C"),
)
"""Properties on which print, stress and limits hang most, and their names and units here."""
UNITS = {"%": 0.01, "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "MPa m^0.5": 1e6}


def _value(p: Property, unit: str, sources: list[str]) -> str:
    """A number with its uncertainty, how it is known, and the number of its source."""
    row = 0
    if p.temperature is not None and p.name == "thermal_expansion":
        row = int(np.argmin(np.abs(p.temperature - WARM)))
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


def cards_table(cards: list[Card]) -> tuple[str, list[str]]:
    """The numbers of the cards on which most hangs, and the sources their brackets name.

    Parameters
    ----------
    cards : list of Card
        Pure materials.

    Returns
    -------
    tuple of str and list of str
        HTML of the table, and the sources as text.
    """
    sources: list[str] = []
    rows = []
    for key, name in NUMBERS:
        unit = name.rpartition(", ")[2] if ", " in name else ""
        if any(key in card for card in cards):
            cells = (_value(card[key], unit, sources) if key in card else "" for card in cards)
            rows.append([shown(name), *cells])
    head = ("Property", *(named(card.name) for card in cards))
    told = "Numbers on which most hangs, ± one standard uncertainty [source]"
    whole = table("cards", told, head, rows, kinds=dict.fromkeys(range(1, len(head)), "text"))
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
                f"{1e6 * printer.dead_volume:g} ml from the swap to the nozzle",
                printer.dead_volume, usual.dead_volume, "estimate",
            ),
            told(
                f"mixing as {printer.tanks:g} tanks", printer.tanks, usual.tanks, "estimate"
            ) + ": measure both with a coloured paste",
        )
    )  # fmt: skip


def input_lines(m: Making) -> str:
    """Kiln and printer, and what is missing or beyond a table.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    vessel = m.response.vessel
    kiln, printer = vessel.firing.kiln, vessel.printer
    source = f" ({shown(kiln.source)})" if kiln.source else ""
    lines = [
        f"Kiln: {named(kiln.name)}, at most {celsius(kiln.max_temperature):.0f} °C{source}.",
        f"Printer: {_printer(printer)}.",
        *(f"<b>Beyond its table:</b> {shown(line)}." for line in m.response.history.extended),
        *(f"<b>Not computed:</b> {shown(line)}" for line in m.missing),
    ]
    return listed(lines, look="small")
