"""A card file with some of its values replaced, all its other lines as they were."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.inputs.card_reader import CardReader
from cofire.inputs.cards import FiredAt, Uncertainty
from cofire.inputs.files import read_text
from cofire.inputs.properties import SPECS
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.output.vessel_file import toml_value
from cofire.planning.evidence.calibration import Calibration, spread_form
from cofire.planning.evidence.measured_values import Value

HEADER = re.compile(r"^\s*\[")
KEY = "measured"


def rounded(value: float, uncertainty: float) -> float:
    """A number to a hundredth of its uncertainty, which is more than it is worth.

    Parameters
    ----------
    value : float
        Any. [any]
    uncertainty : float
        Of it; where it is none, six digits are kept. [any]

    Returns
    -------
    float
        Short in decimal notation.
    """
    if not 0.0 < uncertainty < np.inf:
        return float(f"{value:.6g}")
    return float(round(value, 2 - int(np.floor(np.log10(uncertainty)))))


def _listed(items: Sequence[str], table: bool) -> str:
    """A list, or the one entry that all rows share."""
    if not table or len(set(items)) == 1:
        return items[0]
    return f"[{', '.join(items)}]"


def _spread(u: Uncertainty, factor: float) -> str:
    size = u.size / (factor if u.form == "+-" else 0.01 if u.form == "%" else 1.0)
    number = f"{size:.2g}" if "e" not in f"{size:.2g}" else f"{size:.0f}"
    return {"%": f'"{number} %"', "+-": f'"+- {number}"', "factor": f'"factor {number}"'}[u.form]


def _fired_at(fired: FiredAt) -> str:
    hold = round(fired.hold / MINUTE, 2)
    return (
        f"{{ rate_C_per_h = {round(fired.rate * HOUR, 2):g}, "
        f"peak_C = {round(celsius(fired.peak), 2):g}, hold_min = {hold:g} }}"
    )


def _numbers(values: NDArray[np.float64], sizes: NDArray[np.float64]) -> list[str]:
    return [f"{rounded(float(v), float(u)):.10g}" for v, u in zip(values, sizes, strict=True)]


def block(value: Value, c: Calibration, old: dict[str, Any] | None, key: str) -> str:
    """The table of one property as a card file has it.

    Parameters
    ----------
    value : Value
        As measured.
    c : Calibration
        For units and for the rows that stay.
    old : dict, optional
        What the old file says under that name.
    key : str
        Name of the source.

    Returns
    -------
    str
        From its header, without a blank line behind.
    """
    new = c.card[value.name]
    factor = SPECS[value.name].units[new.unit]
    table = value.temperature is not None
    sources = [toml_value(key)] * value.value.size
    kept = old.get("source") if old else None
    for row, seen in enumerate(value.seen):
        if not seen and kept is not None:
            sources[row] = toml_value(kept[row] if isinstance(kept, list) else kept)
    lines = [f"[{value.name}]", f'unit = "{new.unit}"']
    if value.temperature is not None:
        T = [f"{round(celsius(float(t)), 2):g}" for t in value.temperature]
        single = len(T) == 1 and not isinstance((old or {}).get("temperature_C"), list)
        lines.append(f"temperature_C = {T[0] if single else '[' + ', '.join(T) + ']'}")
        table = not single
    if new.valid is not None and not table:
        lines.append(f"valid_C = [{celsius(new.valid[0]):.6g}, {celsius(new.valid[1]):.6g}]")
    numbers = _numbers(new.value / factor, value.uncertainty / factor)
    lines.append(f"value = {'[' + ', '.join(numbers) + ']' if table else numbers[0]}")
    if SPECS[value.name].anchored and new.at_density != 1.0:
        lines.append(f"at_density = {new.at_density:g}")
    if value.fired_at is not None:
        lines.append(f"fired_at = {_fired_at(value.fired_at)}")
    spread = spread_form(value, new.unit)
    for row, seen in enumerate(value.seen):
        if not seen:
            spread[row] = new.uncertainty[row]
    lines += [
        f"uncertainty = {_listed([_spread(u, factor) for u in spread], table)}",
        f"source = {_listed(sources, table)}",
        f"basis = {_listed([toml_value(b) for b in new.basis], table)}",
    ]
    interval = [
        f"{rounded(float(v), float(u)):g}"
        for v, u in ((value.low[0] / factor, value.uncertainty[0] / factor),
                     (value.high[0] / factor, value.uncertainty[0] / factor))
    ] if value.value.size == 1 else []  # fmt: skip
    notes = [f"90 % interval {' to '.join(interval)}"] if interval else []
    notes += [value.told_by] + ([value.note] if value.note else [])
    lines.append(f"note = {toml_value('; '.join(notes))}")
    return "\n".join(lines)


def card_text(c: Calibration) -> str:
    """The new card file: the old one with the measured values in the place of its own.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        TOML; read back and found to be the calibrated card.

    Raises
    ------
    InputError
        The old file is written in a way in which its values cannot be replaced safely, or the new
        one would not be a card.
    """
    where = c.old.origin
    text = read_text(Path(where))
    before = tomllib.loads(text)
    key = _free_key(before.get("sources", {}), c.source)
    lines = text.splitlines()
    wanted = deepcopy(before)
    for value in c.findings.values:
        new = block(value, c, before.get(value.name), key)
        lines = _replaced(lines, value.name, new)
        wanted[value.name] = tomllib.loads(new)[value.name]
    source = f"{key} = {toml_value(c.source)}"
    at = next((n for n, line in enumerate(lines) if re.match(r"^\s*\[\s*sources\s*\]", line)), None)
    if at is None:
        raise InputError(f"{where}: [sources] is not a table of its own; write it as one")
    if key not in before["sources"]:
        lines.insert(at + 1, source)
        wanted["sources"][key] = c.source
    told = f"# Copy of {Path(where).name} with values from {Path(c.measured.where).name}."
    new_text = "\n".join([told, *lines]) + "\n"
    try:
        after = tomllib.loads(new_text)
    except tomllib.TOMLDecodeError:
        after = {}
    if after != wanted:
        raise InputError(
            f"{where}: its values cannot be replaced safely; write each property as a table of its "
            "own, such as [strength], one field a line"
        )
    reader = CardReader(after, f"the new card of {c.old.name}")
    if reader.card() is None:
        raise InputError(reader.problems[0])
    return new_text


def _free_key(sources: dict[str, str], text: str) -> str:
    """A name for the source that no other source has."""
    key, number = KEY, 1
    while key in sources and sources[key] != text:
        number += 1
        key = f"{KEY}_{number}"
    return key


def _replaced(lines: list[str], name: str, new: str) -> list[str]:
    """Lines with the table of one property replaced, or put at the end."""
    own = re.compile(rf"^\s*\[\s*[\"']?{name}[\"']?\s*\]\s*(#.*)?$")
    start = next((n for n, line in enumerate(lines) if own.match(line)), None)
    if start is None:
        inline = re.compile(rf"^\s*[\"']?{name}[\"']?\s*=")
        kept = [line for line in lines if not inline.match(line)]
        return [*kept, "", *new.splitlines()]
    end = start + 1
    while end < len(lines) and not HEADER.match(lines[end]):
        end += 1
    last = end
    while last > start + 1 and (not lines[last - 1].strip() or lines[last - 1].startswith("#")):
        last -= 1  # blank lines and comments before the next table stay
    return [*lines[:start], *new.splitlines(), *lines[last:]]
