"""A dilatometer's curve: length change over temperature, as a natural strain."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.inputs.fields import Fields
from cofire.inputs.files import show
from cofire.inputs.logged_columns import Sheet, parse_number, read_sheet
from cofire.inputs.units import HOUR, MINUTE, ROOM, kelvin

Array = NDArray[np.float64]

STRAINS = {"strain_percent": 1e-2, "strain_ppm": 1e-6}
TIMES = {"time_s": 1.0, "time_min": MINUTE, "time_h": HOUR}
FEWEST = 8
LARGEST = 0.5
"""Length change. [-]"""
COLDEST, HOTTEST = kelvin(-80.0), kelvin(2400.0)


@dataclass(frozen=True)
class Curve:
    """Length change of one bar, from its length at 20 °C.

    Attributes
    ----------
    fired
        True where the bar was fired before, so that it expands but does not sinter.
    time
        Rising, shape (R,); whole numbers where no time is known. [s]
    temperature
        Shape (R,). [K]
    strain
        Natural, shape (R,). [-]
    """

    name: str
    fired: bool
    time: Array
    temperature: Array
    strain: Array


def _numbers(sheet: Sheet, title: str) -> Array:
    column = sheet.find(title)
    values = []
    for line, cell in zip(sheet.lines, sheet.column(column), strict=True):
        read = parse_number(cell, sheet.decimal)
        if read is None:
            raise InputError(f"{sheet.where}: line {line}, {title}: {show(cell)} is not a number")
        values.append(read[0])
    return np.array(values)


def _one_of(sheet: Sheet, known: dict[str, float]) -> str | None:
    found = [name for name in known if name.casefold() in {h.casefold() for h in sheet.header}]
    if len(found) > 1:
        raise InputError(f"{sheet.where}: columns {' and '.join(found)}; leave one of them out")
    return found[0] if found else None


def read_curve(entry: object, where: str, folder: Path) -> Curve:
    """The curve of one [[dilatometer]] entry.

    Parameters
    ----------
    entry : object
        What the file says: csv, body, and rate_C_per_h for a raw bar without times.
    where : str
        Place for the messages.
    folder : Path
        Where its file lies.

    Returns
    -------
    Curve
        In SI.

    Raises
    ------
    InputError
        With the file's line, or the field, and what is allowed.
    """
    fields = Fields(entry, where, ("csv", "body", "rate_C_per_h", "name"))
    sheet = read_sheet(folder / fields.text("csv"))
    fired = fields.choice("body", ("raw", "fired")) == "fired"
    strained = _one_of(sheet, STRAINS)
    if strained is None:
        raise InputError(
            f"{sheet.where}: columns {', '.join(map(repr, sheet.header))}; "
            f"needs temperature_C and {' or '.join(STRAINS)}"
        )
    temperature = kelvin(_numbers(sheet, "temperature_C"))
    change = _numbers(sheet, strained) * STRAINS[strained]
    for what, wrong, allowed in (
        ("temperature_C", (temperature < COLDEST) | (temperature > HOTTEST), "-80 to 2400"),
        (strained, np.abs(change) > LARGEST, f"a change by less than {100 * LARGEST:.0f} %"),
    ):
        if wrong.any():
            row = int(np.argmax(wrong))
            given = sheet.column(sheet.find(what))[row]
            raise InputError(
                f"{sheet.where}: line {sheet.lines[row]}, {what}: {given}; allowed: {allowed}"
            )
    if temperature.size < FEWEST:
        raise InputError(f"{sheet.where}: {temperature.size} rows; allowed: {FEWEST} or more")
    name = fields.name("name", str(fields.table["csv"]))
    timed = _one_of(sheet, TIMES)
    if timed is not None:
        time = _numbers(sheet, timed) * TIMES[timed]
        time = time - time[0]
        bad = np.diff(time, prepend=-1.0) <= 0.0
        if bad.any():
            line = sheet.lines[int(np.argmax(bad))]
            raise InputError(f"{sheet.where}: line {line}, {timed}: does not rise; sort the rows")
    elif fired:
        time = np.arange(temperature.size, dtype=np.float64)
    else:
        rate = fields.number("rate_C_per_h", 1.0, 20000.0) / HOUR
        bad = np.diff(temperature, prepend=0.0) <= 0.0
        if bad.any():
            line = sheet.lines[int(np.argmax(bad))]
            raise InputError(
                f"{sheet.where}: line {line}, temperature_C: does not rise, as it must without a "
                f"column {' or '.join(TIMES)}"
            )
        time = (temperature - temperature[0]) / rate
    if not fired and temperature[0] > ROOM + 1.0:  # how it came there matters little
        lead = (temperature[0] - ROOM) * max(
            (time[-1] - time[0]) / max(float(np.ptp(temperature)), 1.0), 1e-3
        )
        time = time + lead
    return Curve(name, fired, time, temperature, np.log1p(change))
