"""Which columns of a log hold time and temperature, and whether that is °C, °F or K."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.files import show
from cofire.firing.sheets import CLOCK, DATE, Sheet, is_missing, parse_number
from cofire.firing.stamps import newest_first, unit_of_title
from cofire.numerics import Array
from cofire.units import ZERO_CELSIUS

TIME_WORDS = re.compile(
    r"time|zeit|date|datum|elapsed|stamp|heure|hora|tijd|epoch|unix|\bt\b", re.IGNORECASE
)
COUNT_WORDS = re.compile(r"^(no|nr|#|n|index|sample|record|row|reading|id)\.?$", re.IGNORECASE)
HOT_WORDS = re.compile(
    r"temp|°|º|\bdeg|\b[CFK]\b|_[CFK]\b|celsius|fahrenheit|kelvin|\btc\b|thermocouple|\bpv\b|actual|"
    r"kiln|ware|furnace|oven|process", re.IGNORECASE,
)  # fmt: skip
OTHER_WORDS = re.compile(
    r"set|\bsp\b|target|soll|output|power|duty|volt|batter|ambient|cold|junction|humid|error|"
    r"current|amp|rate|segment|step|alarm|internal|board", re.IGNORECASE,
)  # fmt: skip
UNIT_WORDS = {"C": "celsius|centigrade", "F": "fahrenheit", "K": "kelvin"}
NAMES = {"C": "°C", "F": "°F", "K": "K"}
RANGES = {"C": (-20.0, 45.0, 300.0, 1500.0), "F": (46.0, 113.0, 572.0, 2732.0),
          "K": (268.0, 318.0, 573.0, 1773.0)}  # fmt: skip
"""Coldest reading between the first two, hottest between the last two: one firing in each unit."""
AT_REST = 0.015
"""Most that the last twentieth of a log taken to be in K may change, of its range: a log in °C that
was begun late and broken off hot looks the same but for that. [-]"""
ONLY_F = 1500.0
"""A log that begins cold and exceeds it is in °F; one that does not may be in °C from a kiln that
was still warm. [any]"""
HOTTEST = 150.0
"""A column that never exceeds it is not a kiln's temperature, in no unit. [any]"""
LEAST, MOST = ZERO_CELSIUS - 60.0, ZERO_CELSIUS + 2300.0
"""A thermocouple reads nothing beyond these. [K]"""
NEVER = (-76.0, 4172.0)
"""Numbers beyond these are no temperature of a kiln in °C, °F or K: what loggers write for an open
thermocouple, such as 9999 or -32768. [any]"""


def _kind(cells: Sequence[str], decimal: str) -> str:
    """What most cells of a column are: stamp, date, clock, number or text."""
    seen = [cell for cell in cells[:200] if not is_missing(cell)]
    counts = dict.fromkeys(("stamp", "date", "clock", "number", "text"), 0)
    for cell in seen:
        if DATE.match(cell):
            counts["stamp" if ":" in cell else "date"] += 1
        elif CLOCK.match(cell) or re.match(r"\d+[.d ]+\d+:\d\d", cell):
            counts["clock"] += 1
        elif parse_number(cell, decimal) is not None:
            counts["number"] += 1
        else:
            counts["text"] += 1
    return max(counts, key=lambda kind: counts[kind]) if seen else "text"


def _values(sheet: Sheet, index: int) -> Array:
    """Numbers of a column, those that are none left out."""
    read = (parse_number(cell, sheet.decimal) for cell in sheet.column(index))
    return np.array([pair[0] for pair in read if pair is not None])


def chosen_columns(
    sheet: Sheet, column: str | None = None, time_column: str | None = None
) -> tuple[tuple[int, ...], int]:
    """Columns of the time (two, where date and time of day stand apart) and of the temperature.

    Parameters
    ----------
    sheet : Sheet
        The file.
    column, time_column : str, optional
        Name or number of a column, where the person says it.

    Returns
    -------
    tuple
        Indices of time, index of temperature.

    Raises
    ------
    InputError
        None fits, or several do, with the columns there are.
    """
    kinds = [_kind(sheet.column(j), sheet.decimal) for j in range(len(sheet.header))]
    values = functools.cache(functools.partial(_values, sheet))
    when = (sheet.find(time_column),) if time_column else _time_columns(sheet, kinds, values)
    if column:
        return when, sheet.find(column)
    numbers = [
        j
        for j, kind in enumerate(kinds)
        if kind == "number" and j not in when and not OTHER_WORDS.search(sheet.header[j])
    ]
    hot = [j for j in numbers if HOT_WORDS.search(sheet.header[j])] or numbers
    fitting = [j for j in hot if (v := values(j)).size and float(v.max()) > HOTTEST]
    if len(fitting) == 1:
        return when, fitting[0]
    listed = sheet.listed(fitting or None)
    what = "several columns may be the temperature"
    if not fitting:
        what = f"no column of temperatures, which would pass {HOTTEST:g}"
    raise InputError(f"{sheet.where}: {what}: {listed}; name the one to use (column)")


def _time_columns(
    sheet: Sheet, kinds: Sequence[str], values: Callable[[int], Array]
) -> tuple[int, ...]:
    for kind in ("stamp", "date", "clock"):
        if kind in kinds:
            first = kinds.index(kind)
            if kind == "date":
                if "clock" in kinds:
                    return first, kinds.index("clock")
                continue
            return (first,)
    numbers = [j for j, kind in enumerate(kinds) if kind == "number"]
    rising = [j for j in numbers if newest_first(values(j)[::-1])]
    named = [
        j for j in numbers if TIME_WORDS.search(sheet.header[j]) or unit_of_title(sheet.header[j])
    ]
    sure = [j for j in named if sheet.header[j].strip().casefold() != "t"]  # or a temperature
    falling = [j for j in sure if newest_first(values(j))]
    counted = [j for j in rising if COUNT_WORDS.match(sheet.header[j].strip())]
    left = (
        [j for j in rising if j in named]
        or falling
        or [j for j in rising if j not in counted]
        or sure
    )
    if not left:
        raise InputError(
            f"{sheet.where}: no column of times: {sheet.listed()}; name the one to use "
            "(time_column)"
        )
    return (left[0],)


def temperatures(
    sheet: Sheet, index: int, unit: str | None = None
) -> tuple[Array, list[int], str, list[str], str]:
    """Temperatures of a column in K, the rows that have one, their unit in words, notes, a doubt.

    The unit is the person's, else that of the column's name or of its cells, else the only one in
    which the log is a firing that begins cold.

    Parameters
    ----------
    sheet : Sheet
        The file.
    index : int
        Column. [-]
    unit : str, optional
        "C", "F" or "K".

    Returns
    -------
    tuple
        Temperatures, shape (K,) [K]; rows they stand in; unit in words; notes; and where they are a
        firing in one other unit alone, that: to be told where they are refused.

    Raises
    ------
    InputError
        With the line of a cell that is no number, or where no one unit fits.
    """
    if unit is not None and unit not in NAMES:
        raise InputError(f"{sheet.where}: temperature unit {unit!r}; allowed: C, F or K")
    values, kept, missing, seen, broken = [], [], [], "", {}
    for i, (line, cell) in enumerate(zip(sheet.lines, sheet.column(index), strict=True)):
        if is_missing(cell):
            missing.append(line)
            continue
        read = parse_number(cell, sheet.decimal)
        if read is None:
            raise InputError(
                f"{sheet.where}: line {line}, {sheet.title(index)}: {show(cell)} is not a number; "
                "mend it or delete the line"
            )
        if not NEVER[0] <= read[0] <= NEVER[1]:
            broken[line] = read[0]
            continue
        values.append(read[0])
        kept.append(i)
        seen = seen or read[1]
    array = np.array(values)
    lost = _dropped_out(array)
    broken |= {sheet.lines[kept[i]]: 0.0 for i in np.flatnonzero(lost).tolist()}
    array, kept = array[~lost], [kept[i] for i in np.flatnonzero(~lost).tolist()]
    if len(broken) > array.size:
        line, value = next(iter(broken.items()))
        raise InputError(
            f"{sheet.where}: line {line}, {sheet.title(index)}: {value:g} and {len(broken) - 1} "
            "more like it are no temperatures (an open thermocouple?); more than half are none"
        )
    if array.size == 0:
        raise InputError(f"{sheet.where}: {sheet.title(index)}: no readings in it")
    notes = []
    if missing:
        listed = ", ".join(map(str, missing[:4])) + (", ..." if len(missing) > 4 else "")
        rows = "1 row" if len(missing) == 1 else f"{len(missing)} rows"
        notes.append(f"{rows} without a temperature left out (line {listed})")
    if broken:
        listed = ", ".join(map(str, list(broken)[:4])) + (", ..." if len(broken) > 4 else "")
        codes = ", ".join(f"{v:g}" for v in sorted(set(broken.values()))[:3])
        rows = "1 reading" if len(broken) == 1 else f"{len(broken)} readings"
        notes.append(f"{rows} of an open thermocouple ({codes}) left out as a gap (line {listed})")
    told, how = seen, "by its cells"
    if not told:
        told, how = _unit_by_name(sheet.header[index]), "by its name"
    if unit and told not in ("", unit):
        title = sheet.title(index)
        notes.append(f"{title}: {NAMES[told]} {how}, but read in {NAMES[unit]} as stated")
    found, how = (unit, "as stated") if unit else (told, how)
    if not found:
        found, how = _unit_by_range(array, sheet, index), "by its range"
    kelvins = {
        "C": array + ZERO_CELSIUS,
        "F": (array - 32.0) / 1.8 + ZERO_CELSIUS,
        "K": array,
    }[found]
    wrong = (kelvins < LEAST) | (kelvins > MOST)
    if wrong.any():
        row = int(np.argmax(wrong))
        raise InputError(
            f"{sheet.where}: line {sheet.lines[kept[row]]}, {sheet.title(index)}: {array[row]:g} "
            f"{NAMES[found]}; allowed: -60 to 2300 °C (an open thermocouple? delete the line)"
        )
    fitting = _fitting(*_range(array))
    other = NAMES[fitting[0]] if len(fitting) == 1 and found not in fitting else ""
    return kelvins, kept, f"{NAMES[found]} {how}", notes, other


def _dropped_out(values: Array) -> NDArray[np.bool_]:
    """Which readings are 0 between hot ones: what some loggers write for no reading."""
    read = np.flatnonzero(values)
    if read.size == 0:
        return np.zeros(values.size, dtype=np.bool_)
    after = np.searchsorted(read, np.arange(values.size))
    inside = (values == 0.0) & (after > 0) & (after < read.size)
    around = np.minimum(
        values[read[np.maximum(after - 1, 0)]], values[read[np.minimum(after, read.size - 1)]]
    )
    return np.asarray(inside & (around > HOTTEST))


def _unit_by_name(name: str) -> str:
    for unit, words in UNIT_WORDS.items():
        sign = rf"(?:°|º|[Dd]eg(?:rees)?\.?)[\s_]*{unit}\b|(?:^|[\s_.(\[]){unit}[)\]]?$"
        if re.search(sign, name.strip()) or re.search(words, name, re.IGNORECASE):
            return unit
    return ""


def _range(values: Array) -> tuple[float, float]:
    """The coldest and the hottest reading but for a few. [any]"""
    return float(np.quantile(values, 0.001)), float(np.quantile(values, 0.999))


def _fitting(low: float, high: float) -> list[str]:
    """Units in which what lies between is one firing."""
    return [u for u, (a, b, c, d) in RANGES.items() if a <= low <= b and c <= high <= d]


def _unit_by_range(values: Array, sheet: Sheet, index: int) -> str:
    low, high = _range(values)
    fitting = _fitting(low, high)
    if 20.0 <= low <= RANGES["F"][1] and ONLY_F < high <= RANGES["F"][3]:
        fitting = ["F"]
    elif fitting == ["F"]:  # or a kiln that was still warm, in °C
        fitting = ["C", "F"]
    last = values[-max(values.size // 20, 2) :]
    if fitting == ["K"] and float(np.ptp(last)) > AT_REST * (high - low):
        fitting = []
    if len(fitting) == 1:
        return fitting[0]
    raise InputError(
        f"{sheet.where}: {sheet.title(index)}: no unit given, and {low:.0f} to {high:.0f} "
        f"may be {' or '.join(NAMES[u] for u in fitting) or 'none of °C, °F, K from cold to hot'}; "
        "say which: C, F or K"
    )
