"""One card file: every field checked, every complaint collected with its place and remedy."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from cofire.errors import UnknownName
from cofire.inputs.cards import Card, FiredAt, Property, Transformation, Uncertainty
from cofire.inputs.files import is_number, show
from cofire.inputs.properties import BASES, GASES, KERNELS, KINDS, SPECS, Spec
from cofire.inputs.units import HOUR, MINUTE, kelvin

TOP = (
    "name",
    "kind",
    "summary",
    "elements",
    "densification",
    "refused",
    "atmosphere",
    "sources",
    "transformation",
)
KERNEL_NEEDS = {
    "master curve": ("sintering_energy", "sintering_exponent"),
    "viscous": ("surface_tension", "glass_viscosity"),
}


def parse_uncertainty(text: object, factor: float) -> Uncertainty | str:
    """The uncertainty a card states, or what is wrong with it.

    Parameters
    ----------
    text : object
        "5 %", "+- 0.02" in the property's unit, or "factor 2".
    factor : float
        Unit to SI. [-]

    Returns
    -------
    Uncertainty or str
        The uncertainty in SI; a text is a complaint.
    """
    number = r"(\d+(?:\.\d*)?(?:[eE][+-]?\d+)?)"
    if isinstance(text, str):
        if found := re.fullmatch(number + r"\s*%", text.strip()):
            return Uncertainty("%", float(found[1]) / 100.0)
        if found := re.fullmatch(r"(?:\+-|±)\s*" + number, text.strip()):
            return Uncertainty("+-", float(found[1]) * factor)
        if (found := re.fullmatch(r"factor\s*" + number, text.strip())) and float(found[1]) >= 1.0:
            return Uncertainty("factor", float(found[1]))
    return f'uncertainty = {show(text)}: write "5 %", "+- 0.02" (in the unit) or "factor 2"'


class CardReader:
    """Turns one parsed file into a card, and collects every complaint on the way."""

    def __init__(self, table: dict[str, Any], where: str) -> None:
        self.table = table
        self.where = where
        self.problems: list[str] = []

    def complain(self, place: str, what: str) -> None:
        """Add a complaint about a field."""
        self.problems.append(f"{self.where}: {place}: {what}")

    def text(self, key: str, choices: Iterable[str] = (), default: str = "") -> str:
        """A text of the top level, checked against its choices."""
        value = self.table.get(key, default)
        choices = tuple(choices)
        if not isinstance(value, str) or (choices and value not in choices):
            allowed = " or ".join(repr(c) for c in choices) if choices else "a text"
            self.complain(key, f"{show(value)}; allowed: {allowed}")
            return choices[0] if choices else ""
        return value

    def per_row(self, name: str, entry: dict[str, Any], key: str, rows: int) -> list[Any]:
        """A field given once for all rows, or as a list with one entry a row."""
        value = entry.get(key)
        if not isinstance(value, list):
            return [value] * rows
        if len(value) != rows:
            self.complain(name, f"{key} has {len(value)} entries for {rows} rows")
            return [value[0] if value else None] * rows
        return value

    def numbers(self, name: str, key: str, value: object) -> np.ndarray | None:
        """One number or a list of numbers as an array."""
        items = value if isinstance(value, list) else [value]
        if not items:
            self.complain(name, f"{key} is empty")
            return None
        for index, item in enumerate(items):
            if not is_number(item):
                row = f" row {index + 1}" if isinstance(value, list) else ""
                self.complain(name, f"{key}{row}: {show(item)} is not a finite number")
                return None
        return np.array(items, dtype=np.float64)

    def read_property(self, name: str, spec: Spec, entry: object) -> Property | None:
        """One property, or None where a complaint was made."""
        before = len(self.problems)
        if not isinstance(entry, dict):
            self.complain(
                name, f"{show(entry)}; give a table with unit, value, uncertainty, source and basis"
            )
            return None
        extra = set(entry) - {
            "unit",
            "value",
            "temperature_C",
            "uncertainty",
            "source",
            "basis",
            "at_density",
            "fired_at",
            "note",
        }
        if extra:
            self.complain(name, f"unknown field {sorted(extra)[0]!r}")
        unit = entry.get("unit")
        if not isinstance(unit, str) or unit not in spec.units:
            allowed = " or ".join(repr(u) for u in spec.units)
            self.complain(name, f"unit = {show(unit)}; allowed: {allowed}")
            return None
        factor = spec.units[unit]
        values = self.numbers(name, "value", entry.get("value"))
        if values is None:
            return None
        temperature = self.rows(name, spec, entry, len(values))
        si = kelvin(values) if unit == "C" else values * factor
        self.bounds(name, spec, unit, values, si if unit != "C" else values)
        uncertainties, sources, bases = [], [], []
        named = self.table.get("sources")
        named = named if isinstance(named, dict) else {}
        rows = len(values)
        for u, s, b in zip(
            self.per_row(name, entry, "uncertainty", rows),
            self.per_row(name, entry, "source", rows),
            self.per_row(name, entry, "basis", rows),
            strict=True,
        ):
            parsed = parse_uncertainty(u, factor)
            if isinstance(parsed, str):
                self.complain(name, parsed)
            else:
                uncertainties.append(parsed)
            if not isinstance(s, str) or s not in named:
                self.complain(
                    name,
                    f"source = {show(s)}; name one of [sources]: "
                    + (", ".join(sorted(named)) or "there are none"),
                )
            else:
                sources.append(str(named[s]))
            if b not in BASES:
                self.complain(name, f"basis = {show(b)}; allowed: {', '.join(BASES)}")
            else:
                bases.append(b)
        density = entry.get("at_density", 1.0)
        if not is_number(density) or not 0.3 <= density <= 1.0:
            self.complain(name, f"at_density = {show(density)}; allowed: 0.3 to 1")
        if len(self.problems) > before:
            return None
        return Property(
            name,
            str(self.table.get("name", self.where)),
            temperature,
            si,
            tuple(uncertainties),
            tuple(sources),
            tuple(bases),
            float(density),
            unit,
        )

    def rows(self, name: str, spec: Spec, entry: dict[str, Any], count: int) -> np.ndarray | None:
        """Temperatures of a table in K, or None for a single number."""
        if "temperature_C" not in entry:
            if count > 1:
                self.complain(name, f"{count} values but no temperature_C")
            return None
        if not spec.tabulated:
            self.complain(name, "temperature_C given, but this property is one number")
            return None
        temperature = self.numbers(name, "temperature_C", entry["temperature_C"])
        if temperature is None:
            return None
        if len(temperature) != count:
            self.complain(name, f"{len(temperature)} temperatures for {count} values")
            return None
        steps = np.diff(temperature)
        if np.any(steps <= 0):
            row = int(np.argmax(steps <= 0)) + 2
            self.complain(
                name,
                f"temperature_C row {row}: {temperature[row - 1]:g} is not above "
                f"the row before ({temperature[row - 2]:g}); sort the rows",
            )
            return None
        if temperature[0] < -273.15 or temperature[-1] > 3500:
            self.complain(name, "temperature_C outside -273 to 3500")
            return None
        return kelvin(temperature)

    def bounds(
        self, name: str, spec: Spec, unit: str, written: np.ndarray, value: np.ndarray
    ) -> None:
        """Complain of values that no such material has: most often a wrong unit."""
        factor = 1.0 if unit == "C" else spec.units[unit]
        bad = (value < spec.least) | (value > spec.most)
        if np.any(bad):
            index = int(np.argmax(bad))
            self.complain(
                name,
                f"value {written[index]:g} {unit}; plausible: "
                f"{spec.least / factor:g} to {spec.most / factor:g} {unit}. "
                "Check the unit",
            )

    def transformation(self, index: int, entry: object) -> Transformation | None:
        """One [[transformation]] of the card."""
        place = f"transformation {index + 1}"
        if not isinstance(entry, dict):
            self.complain(place, "write it as [[transformation]]")
            return None
        limits = {
            "on_heating_C": (-100.0, 2500.0),
            "on_cooling_C": (-100.0, 2500.0),
            "width_C": (1.0, 200.0),
            "strain_percent": (-3.0, 3.0),
        }
        values = {}
        for key, (least, most) in limits.items():
            value = entry.get(key)
            if not is_number(value) or not least <= float(value) <= most:  # type: ignore[arg-type]
                self.complain(place, f"{key} = {show(value)}; allowed: {least:g} to {most:g}")
                return None
            values[key] = float(value)  # type: ignore[arg-type]
        change = entry.get("expansion_change", 0.0)
        if not is_number(change) or abs(change) > 50:
            self.complain(place, f"expansion_change = {show(change)}; in 1e-6/K, -50 to 50")
            return None
        named = self.table.get("sources", {})
        source, basis = entry.get("source"), entry.get("basis")
        if not isinstance(source, str) or source not in named or basis not in BASES:
            self.complain(place, f"source = {show(source)}, basis = {show(basis)}; both needed")
            return None
        if values["on_cooling_C"] > values["on_heating_C"]:
            self.complain(place, "on_cooling_C is above on_heating_C; it cannot be")
            return None
        return Transformation(
            str(entry.get("name", place)),
            kelvin(values["on_heating_C"]),
            kelvin(values["on_cooling_C"]),
            values["width_C"],
            values["strain_percent"] / 100.0,
            float(change) * 1e-6,
            source=str(named[source]),
            basis=str(basis),
        )

    def fired_at(self) -> FiredAt | None:
        """The firing to which the card's fired density belongs."""
        entry = self.table.get("fired_density")
        given = entry.get("fired_at") if isinstance(entry, dict) else None
        needed = {
            "rate_C_per_h": (1.0, 5000.0),
            "peak_C": (200.0, 2500.0),
            "hold_min": (0.0, 6000.0),
        }
        if not isinstance(given, dict):
            self.complain(
                "fired_density",
                "fired_at is missing: write fired_at = "
                "{ rate_C_per_h = 150, peak_C = 900, hold_min = 120 }",
            )
            return None
        for key, (least, most) in needed.items():
            value = given.get(key)
            if not is_number(value) or not least <= float(value) <= most:  # type: ignore[arg-type]
                self.complain(
                    "fired_density",
                    f"fired_at.{key} = {show(value)}; allowed: {least:g} to {most:g}",
                )
                return None
        return FiredAt(
            given["rate_C_per_h"] / HOUR, kelvin(float(given["peak_C"])), given["hold_min"] * MINUTE
        )

    def atmosphere(self) -> dict[str, str]:
        """What the card says of each gas."""
        given = self.table.get("atmosphere")
        found = {}
        for gas in GASES:
            value = given.get(gas) if isinstance(given, dict) else None
            if not isinstance(value, str) or not re.match(r"good$|(caution|refused): \S", value):
                self.complain(
                    "atmosphere",
                    f'{gas} = {show(value)}; write "good", "caution: reason" or "refused: reason"',
                )
            else:
                found[gas] = value
        return found

    def consistency(self, found: dict[str, Property]) -> None:
        """Complain where properties contradict each other."""
        order = ("green_density", "least_density", "fired_density", "full_density")
        if all(name in found for name in order):
            values = [found[name].scalar for name in order]
            if not (values[0] < values[1] <= values[2] < values[3] + 1e-12):
                text = ", ".join(f"{n} {v:g}" for n, v in zip(order, values, strict=True))
                self.complain("density", f"{text}: must rise in this order")
            elif values[2] >= values[3]:
                self.complain("fired_density", "must lie below full_density")
        for name in ("creep_stress", "sag_viscosity"):
            if name in found and (found[name].temperature is None or found[name].value.size != 1):
                self.complain(name, "give one value with its temperature_C")
        for name in ("glass_viscosity", "body_viscosity"):
            if name in found:
                p = found[name]
                if p.temperature is None or len(p.value) < 2:
                    self.complain(name, "needs a table over temperature_C")
                elif np.any(np.diff(p.value) >= 0):
                    self.complain(name, "must fall with temperature")
                elif p.value[0] < 16.0:
                    self.complain(
                        name,
                        f"coldest row is {p.value[0]:g}; begin at 16 or more, "
                        "where the body is frozen",
                    )

    def card(self) -> Card | None:
        """The card, or None where something is wrong."""
        name = self.text("name")
        if not name.strip() or len(name) > 80:
            self.complain("name", f"{show(name)}; give 1 to 80 characters")
        kind = self.text("kind", KINDS)
        kernel = self.text("densification", KERNELS, KERNELS[0])
        refused = self.text("refused")
        elements = self.table.get("elements", [])
        if not isinstance(elements, list) or not all(isinstance(e, str) for e in elements):
            self.complain("elements", f"{show(elements)}; a list of element symbols")
            elements = []
        if kind == "metal" and not elements:
            self.complain("elements", "missing; list the metal's element symbols")
        if not isinstance(self.table.get("sources"), dict):
            self.complain("sources", "missing; every number needs one")
        atmosphere = self.atmosphere()
        found: dict[str, Property] = {}
        for key, entry in self.table.items():
            if key in SPECS:
                if (p := self.read_property(key, SPECS[key], entry)) is not None:
                    found[key] = p
            elif key not in TOP:
                near = UnknownName("property", key, SPECS)
                self.complain(key, str(near).split(" Known")[0])
        for key, spec in SPECS.items():
            if kind in spec.needed and key not in self.table:
                self.complain(key, f"missing; a {kind} card needs it ({spec.meaning})")
        for key in KERNEL_NEEDS[kernel]:
            if key not in self.table:
                self.complain(key, f"missing; densification = {kernel!r} needs it")
        if kind == "ceramic" and not {"glass_viscosity", "body_viscosity"} & set(self.table):
            self.complain("glass_viscosity", "missing; a ceramic needs it, or body_viscosity")
        listed = self.table.get("transformation", [])
        changes = [
            self.transformation(i, t)
            for i, t in enumerate(listed if isinstance(listed, list) else [listed])
        ]
        fired_at = self.fired_at()
        self.consistency(found)
        if self.problems:
            return None
        return Card(
            name,
            kind,
            self.text("summary"),
            found,
            kernel,
            tuple(elements),
            atmosphere,
            tuple(t for t in changes if t is not None),
            fired_at,
            refused,
            self.where,
        )
