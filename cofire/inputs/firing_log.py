"""What a thermocouple saw: a logger's file as a trace that the model can be run on."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.inputs.log_cleaning import STILL, gap_notes, in_order, smoothed
from cofire.inputs.log_columns import chosen_columns, temperatures
from cofire.inputs.log_times import read_times
from cofire.inputs.logged_columns import read_sheet
from cofire.inputs.trace import END, GRID, Trace, follow
from cofire.inputs.units import HOUR, ROOM, celsius

Array = NDArray[np.float64]

PLACES = ("ware", "kiln")
"""Where the thermocouple sat: beside the ware, or elsewhere in the kiln."""
SHAPE, CORNER = 1.0, 4.0
"""How far a straight line may pass from the readings: nodes, and ends of ramps and holds. [K]"""
MOST_CORNERS = 40
COOL = ROOM + 40.0
"""A log that begins or ends no warmer than 60 °C is taken to begin or end cold. [K]"""
USUAL_RATE = 150.0 / HOUR


@dataclass(frozen=True)
class FiringLog:
    """A log as it was understood.

    Attributes
    ----------
    time, temperature
        Readings in order, spikes still in, shape (R,). [s], [K]
    smooth
        The readings without spikes and noise, shape (R,). [K]
    trace
        The same from cold to cold, few nodes; time counts from its own first node.
    lead
        Time of the trace at the first reading. [s]
    found
        How the file was read: delimiter, columns, units.
    notes
        What was mended or left out, each with its line.
    """

    where: str
    time: Array
    temperature: Array
    smooth: Array
    trace: Trace
    found: tuple[str, ...]
    notes: tuple[str, ...]
    lead: float = 0.0


def read_firing_log(
    path: Traversable | Path,
    *,
    thermocouple: str = "ware",
    lag: float = 0.0,
    gas: str = "air",
    temperature_unit: str | None = None,
    time_unit: str | None = None,
    column: str | None = None,
    time_column: str | None = None,
) -> FiringLog:
    """The firing in a file of times and temperatures, as any logger writes it.

    The form is found and reported, not asked for: see `logged_columns` for encodings, delimiters
    and decimal marks, `log_times` for times, `log_columns` for columns and °C, °F or K. Spikes are
    found with a running median of five readings. What cannot be read is refused with its line.

    Parameters
    ----------
    path : Traversable or Path
        The file.
    thermocouple : str
        One of PLACES.
    lag : float
        Time constant of the ware behind the kiln; counts where the thermocouple is the kiln's. [s]
    gas : str
        Around the ware.
    temperature_unit, time_unit : str, optional
        "C", "F" or "K", and a key of `log_times.UNITS`, where the file does not tell.
    column, time_column : str, optional
        Name or number of the column, where there are several.

    Returns
    -------
    FiringLog
        With the trace of the ware.

    Raises
    ------
    InputError
        With the line, what stands there, and what is allowed.
    """
    if thermocouple not in PLACES:
        raise InputError(f"{path}: thermocouple = {thermocouple!r}; allowed: 'ware' or 'kiln'")
    sheet = read_sheet(path)
    when, what = chosen_columns(sheet, column, time_column)
    temperature, kept, unit, notes = temperatures(sheet, what, temperature_unit)
    cells = [" ".join(sheet.rows[i][j] for j in when) for i in kept]
    lines = [sheet.lines[i] for i in kept]
    title = sheet.title(when[0])
    seconds, form = read_times(cells, lines, title, sheet.decimal, sheet.where, time_unit)
    found = (
        *sheet.found,
        f"time from {' and '.join(repr(sheet.title(j)) for j in when)}: {form}",
        f"temperature from {sheet.title(what)!r}: {unit}",
    )
    time, temperature, lines, mended = in_order(seconds, temperature, lines, sheet.where)
    notes += mended + gap_notes(time, temperature, lines)
    smooth, told = smoothed(time, temperature, lines)
    notes += told
    curve, lead, ends = logged_trace(time, smooth, thermocouple, lag, gas, sheet.where)
    return FiringLog(
        sheet.where, time, temperature, smooth, curve, found, (*notes, *ends), lead
    )  # fmt: skip


def straightened(time: Array, value: Array, tolerance: float) -> NDArray[np.intp]:
    """Fewest readings, ends included, whose straight joins pass all others closely.

    Douglas & Peucker 1973, Cartographica 10, 112, with the distance taken along the value.

    Parameters
    ----------
    time : array
        Rising, shape (R,). [s]
    value : array
        Shape (R,). [any]
    tolerance : float
        In the unit of the values. [any]

    Returns
    -------
    array of int
        Their indices, rising.
    """
    kept = np.zeros(time.size, dtype=bool)
    kept[[0, -1]] = True
    parts = [(0, time.size - 1)]
    while parts:
        a, b = parts.pop()
        if b - a < 2:
            continue
        share = (time[a + 1 : b] - time[a]) / (time[b] - time[a])
        off = np.abs(value[a + 1 : b] - value[a] - share * (value[b] - value[a]))
        worst = int(np.argmax(off))
        if off[worst] > tolerance:
            middle = a + 1 + worst
            kept[middle] = True
            parts += [(a, middle), (middle, b)]
    return np.flatnonzero(kept)


def logged_trace(
    time: Array, temperature: Array, thermocouple: str, lag: float, gas: str, where: str
) -> tuple[Trace, float, list[str]]:
    """Readings as a trace from cold to cold, with as few nodes as they need.

    Parameters
    ----------
    time : array
        Rising from zero, shape (R,). [s]
    temperature : array
        Without noise, shape (R,). [K]
    thermocouple : str
        One of PLACES.
    lag : float
        Of the ware behind the kiln. [s]
    gas : str
        Around the ware.
    where : str
        File, for the messages.

    Returns
    -------
    tuple
        The trace, its time at the first reading [s], and what was added at its ends.

    Raises
    ------
    InputError
        The log ends hot and not cooling.
    """
    notes, lead = [], 0.0
    if temperature[0] > COOL:
        notes.append(
            f"begins at {celsius(float(temperature[0])):.0f} °C; taken to have come there at "
            f"{USUAL_RATE * HOUR:.0f} °C/h"
        )
    if temperature[0] > ROOM + 0.5:
        lead = max((float(temperature[0]) - ROOM) / USUAL_RATE, 1.0)
        time = np.concatenate([[0.0], time + lead])
        temperature = np.concatenate([[ROOM], temperature])
    if temperature[-1] > COOL:
        notes.append(f"ends at {celsius(float(temperature[-1])):.0f} °C; cooled on as it was")
    if temperature[-1] > END:
        time, temperature = _cooled(time, temperature, where)
    nodes = straightened(time, temperature, SHAPE)
    tolerance, corners = CORNER, straightened(time, temperature, CORNER)
    while corners.size > MOST_CORNERS:
        tolerance *= 1.5
        corners = straightened(time, temperature, tolerance)
    nodes = np.union1d(nodes, corners)
    at = time[nodes]
    step = np.maximum(np.abs(np.diff(temperature[nodes])) / GRID, np.diff(at) / STILL)
    count = np.maximum(np.ceil(step - 1e-9).astype(int), 1)
    ends = np.concatenate([[0], np.cumsum(count)])
    fine = np.interp(np.arange(ends[-1] + 1), ends, at)
    kiln = np.interp(fine, at, temperature[nodes])
    ware = follow(fine, kiln, lag, float(kiln[0])) if thermocouple == "kiln" else kiln.copy()
    at_corners = ends[np.searchsorted(nodes, corners)].astype(np.intp)
    return Trace(fine, ware, kiln, at_corners, gas), lead, notes


def _cooled(time: Array, temperature: Array, where: str) -> tuple[Array, Array]:
    """The readings with the rest of the cooling, by Newton's law from its own last stretch."""
    late = time >= time[-1] - max(0.5 * HOUR, 4.0 * float(np.median(np.diff(time))))
    fall = float(temperature[late][0] - temperature[-1])
    span = float(time[-1] - time[late][0])
    above = np.log((temperature[late][0] - ROOM) / (temperature[-1] - ROOM))
    if temperature[-1] > COOL and fall < 2.0:
        raise InputError(
            f"{where}: ends at {celsius(float(temperature[-1])):.0f} °C and is not cooling there; "
            "allowed: the whole firing, down to 60 °C or on its way"
        )
    constant = span / above if above > 1e-3 else 6.0 * HOUR
    left = constant * np.log((temperature[-1] - ROOM) / (END - ROOM))
    after = np.linspace(0.0, max(left, 1.0), 60)[1:]
    tail = ROOM + (temperature[-1] - ROOM) * np.exp(-after / constant)
    return np.concatenate([time, time[-1] + after]), np.concatenate([temperature, tail])
