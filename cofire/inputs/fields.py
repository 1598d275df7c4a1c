"""Checked fields of one table of a file, with the place in every complaint."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, UnknownName
from cofire.inputs.files import is_number, show
from cofire.inputs.units import HOUR, kelvin

Array = NDArray[np.float64]
T = TypeVar("T")

LONGEST_NAME = 80
SLOWEST = 0.1
"""A kiln that goes slower than this stands still. [°C/h]"""


class Fields:
    """Reads checked fields of one TOML table and names the place of each complaint."""

    def __init__(self, table: object, where: str, known: Iterable[str]) -> None:
        known = tuple(known)
        if not isinstance(table, dict):
            raise InputError(f"{where}: {show(table)}; give a table with {', '.join(known)}")
        self.table: dict[str, Any] = table
        self.where = where
        for key in table:
            if key not in known:
                raise UnknownName("field", key, known, where)

    def refuse(self, key: str, value: object, allowed: str) -> InputError:
        """The complaint about one field."""
        given = f"{key} is missing" if value is None else f"{key} = {show(value)}"
        return InputError(f"{self.where}: {given}; allowed: {allowed}")

    def number(self, key: str, least: float, most: float, default: float | None = None) -> float:
        """A number between two bounds."""
        value = self.table.get(key, default)
        if not is_number(value) or not least <= float(value) <= most:
            raise self.refuse(key, value, f"{least:g} to {most:g}")
        return float(value)

    def numbers(self, key: str, least: float, most: float, unit: str = "") -> Array:
        """One number, or a list of them, each between two bounds."""
        value = self.table.get(key)
        listed = value if isinstance(value, list) else [value]
        allowed = f"{least:g} to {most:g} {unit}".rstrip()
        if not listed:
            raise self.refuse(key, value, f"one number or more, {allowed}")
        for row, item in enumerate(listed, 1):
            if not is_number(item) or not least <= float(item) <= most:
                place = f"{key} row {row}" if isinstance(value, list) else key
                raise self.refuse(place, item, allowed)
        return np.array(listed, dtype=np.float64)

    def rising(self, key: str, least: float, most: float) -> Array:
        """A list of numbers, each above the one before."""
        values = self.numbers(key, least, most)
        falls = np.flatnonzero(np.diff(values) <= 0.0)
        if falls.size:
            row = int(falls[0]) + 2
            raise InputError(
                f"{self.where}: {key} row {row}: {values[row - 1]:g} is not above the row before "
                f"({values[row - 2]:g}); sort the rows"
            )
        return values

    def per_row(self, key: str, rows: int, read: Callable[[str, object], T]) -> tuple[T, ...]:
        """A field given once for all rows, or as a list with one entry a row."""
        value = self.table.get(key)
        if not isinstance(value, list):
            return (read(key, value),) * rows
        if len(value) != rows:
            raise InputError(f"{self.where}: {key} has {len(value)} entries for {rows} rows")
        return tuple(read(f"{key} row {row}", item) for row, item in enumerate(value, 1))

    def text(self, key: str, default: str | None = None) -> str:
        """A text, not blank unless it may be left out."""
        value = self.table.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise self.refuse(key, value, "a text")
        return value

    def name(self, key: str = "name", default: str | None = None) -> str:
        """A text short enough for a table and a figure."""
        value = self.text(key, default)
        if len(value) > LONGEST_NAME:
            raise self.refuse(key, value, f"1 to {LONGEST_NAME} characters, not {len(value)}")
        return value

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        """One of a few words."""
        value = self.table.get(key, default)
        if value not in choices:
            raise self.refuse(key, value, " or ".join(repr(c) for c in choices))
        return str(value)

    def rows(self, key: str, most: float) -> tuple[Array, Array]:
        """Rates over temperature, in K and K/s; only the first row's rate may be 0."""
        table = Fields(
            self.table.get(key), f"{self.where}: [{key}]", ("temperature_C", "rate_C_per_h")
        )
        temperature = table.rising("temperature_C", -50.0, 3500.0)
        rate = table.numbers("rate_C_per_h", 0.0, most)
        if len(temperature) != len(rate) or len(rate) < 2:
            raise InputError(
                f"{table.where}: {len(temperature)} temperatures for {len(rate)} rates; "
                "allowed: as many of either, 2 or more"
            )
        slow = np.flatnonzero(rate[1:] < SLOWEST)
        if slow.size:
            row = int(slow[0]) + 2
            raise table.refuse(
                f"rate_C_per_h row {row}", float(rate[row - 1]), f"{SLOWEST:g} to {most:g}"
            )
        return kelvin(temperature), rate / HOUR
