"""Checked fields of one table of a file, with the place in every complaint."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, UnknownName
from cofire.inputs.files import is_number, show
from cofire.inputs.units import HOUR, kelvin

Array = NDArray[np.float64]


class Fields:
    """Reads checked fields of one TOML table and names the place of each complaint."""

    def __init__(self, table: dict[str, Any], where: str, known: Iterable[str]) -> None:
        self.table, self.where = table, where
        for key in table:
            if key not in set(known):
                raise UnknownName("field", key, known, where)

    def number(self, key: str, least: float, most: float, default: float | None = None) -> float:
        """A number between two bounds."""
        value = self.table.get(key, default)
        if not is_number(value) or not least <= float(value) <= most:  # type: ignore[arg-type]
            raise InputError(f"{self.where}: {key} = {show(value)}; allowed: {least:g} to {most:g}")
        return float(value)  # type: ignore[arg-type]

    def text(self, key: str, default: str | None = None) -> str:
        """A text that is not empty."""
        value = self.table.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise InputError(f"{self.where}: {key} = {show(value)}; allowed: a text")
        return value

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        """One of a few words."""
        value = self.text(key, default)
        if value not in choices:
            raise InputError(f"{self.where}: {key} = {show(value)}; allowed: {', '.join(choices)}")
        return value

    def rows(self, key: str, most: float) -> tuple[Array, Array]:
        """Rates over temperature, in K and K/s."""
        place = f"{self.where}: [{key}]"
        table = self.table.get(key)
        if not isinstance(table, dict):
            raise InputError(f"{place}: missing; write temperature_C and rate_C_per_h")
        columns = []
        for name in ("temperature_C", "rate_C_per_h"):
            values = table.get(name)
            if not isinstance(values, list) or len(values) < 2 or not all(map(is_number, values)):
                raise InputError(f"{place}: {name} = {show(values)}; allowed: 2 or more numbers")
            columns.append(np.array(values, dtype=np.float64))
        temperature, rate = columns
        if len(temperature) != len(rate):
            raise InputError(f"{place}: {len(temperature)} temperatures for {len(rate)} rates")
        if np.any(np.diff(temperature) <= 0):
            raise InputError(f"{place}: temperature_C must rise from row to row")
        if np.any(rate < 0) or np.any(rate > most) or np.any(rate[1:] == 0):
            bad = rate[(rate < 0) | (rate > most) | (rate == 0)][0]
            raise InputError(
                f"{place}: rate_C_per_h {bad:g}; allowed: above 0 to {most:g} (0 in the first row)"
            )
        return kelvin(temperature), rate / HOUR
