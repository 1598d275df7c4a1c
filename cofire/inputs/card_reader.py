"""One card file: every field checked, the first complaint of each kept with place and remedy."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar

import numpy as np

from cofire.errors import InputError, UnknownName
from cofire.inputs.card_parts import (
    read_atmosphere,
    read_fired_at,
    read_property,
    read_transformation,
)
from cofire.inputs.cards import Card, Property, Transformation
from cofire.inputs.fields import Fields
from cofire.inputs.files import show
from cofire.inputs.properties import ALONG_THE_FIRING, ELEMENTS, KERNELS, KINDS, SPECS, USUAL
from cofire.inputs.units import celsius

T = TypeVar("T")

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
DENSITIES = ("green_density", "least_density", "fired_density", "full_density")
VISCOSITIES = ("glass_viscosity", "body_viscosity")
BLENDING = "=+"
"""Characters by which a blend is written, and which no name may hold."""
FROZEN = 16.0
"""Logarithm of the viscosity, in Pa s, above which a body is rigid at any rate of cooling. [-]"""


def contradictions(found: Mapping[str, Property], densification: str) -> Iterator[str]:
    """Where properties of one card contradict each other.

    Parameters
    ----------
    found : mapping
        Properties by name.
    densification : str
        The card's kernel.

    Yields
    ------
    str
        Field, value, and what is allowed.
    """
    if all(name in found for name in DENSITIES):
        values = [found[name].scalar for name in DENSITIES]
        least_steps = (1e-3, 0.0, 1e-3 if densification == "master curve" else 0.0)
        if np.any(np.diff(values) < np.array(least_steps) - 1e-12):
            text = ", ".join(f"{n} {v:g}" for n, v in zip(DENSITIES, values, strict=True))
            yield f"densities: {text}; they must rise in this order"
    for name in ("creep_stress", "sag_viscosity"):
        if name in found and (found[name].temperature is None or found[name].value.size != 1):
            yield f"{name}: give one value with its temperature_C"
    for name in VISCOSITIES:
        if name not in found:
            continue
        table = found[name]
        if table.temperature is None or table.value.size < 2:
            yield f"{name}: {table.value.size} rows; give two or more over temperature_C"
        elif np.any(np.diff(table.value) >= 0.0):
            n = int(np.argmax(np.diff(table.value) >= 0.0)) + 1
            yield f"{name}: value row {n + 1} = {table.value[n]:g}; it must fall with temperature"
        elif table.value[0] < FROZEN:
            yield (
                f"{name}: value row 1 = {table.value[0]:g}; begin at {FROZEN:g} or more, where "
                "the body is frozen"
            )
    yield from _sag_of_frozen_glass(found)
    yield from _shrinkage_beside_densities(found)
    yield from _weak_when_fired(found)


def _shrinkage_beside_densities(found: Mapping[str, Property]) -> Iterator[str]:
    """Complaint of a firing shrinkage that the two densities do not give, in no direction.

    They may differ by what height and ring shrink apart, and by twice the standard uncertainty of
    the three numbers together (estimate).
    """
    names = ("firing_shrinkage", "green_density", "fired_density")
    if not all(name in found for name in names):
        return
    reported, green, fired = (found[name].scalar for name in names)
    if not 0.0 < green <= fired:
        return
    factor = found["height_shrinkage_factor"].scalar if "height_shrinkage_factor" in found else 1.0
    ring = np.log(fired / green) / (2.0 + factor)
    low, high = sorted((1.0 - np.exp(-ring), 1.0 - np.exp(-factor * ring)))
    spread = [
        value * float(found[name].uncertainty[0].relative(max(value, 1e-9)))
        for name, value in zip(names, (reported, green, fired), strict=True)
    ]
    third = (1.0 - low) / 3.0
    beyond = 2.0 * float(
        np.hypot(spread[0], third * np.hypot(spread[1] / green, spread[2] / fired))
    )
    if not low - beyond <= reported <= high + beyond:
        yield (
            f"firing_shrinkage: {100.0 * reported:g} %; green_density {green:g} and fired_density "
            f"{fired:g} give {100.0 * low:.1f} to {100.0 * high:.1f} %, and their uncertainties "
            f"leave {100.0 * beyond:.1f} % beside it"
        )


def remarks(card: Card) -> list[str]:
    """What of a card is allowed and yet unusual: more often a slip than a material.

    Parameters
    ----------
    card : Card
        As read.

    Returns
    -------
    list of str
        Property, value and what is usual, one a property at most.
    """
    found = []
    for name, p in card.properties.items():
        low, high = USUAL[card.kind].get(name, (-np.inf, np.inf))
        out = np.flatnonzero((p.value < low) | (p.value > high))
        if out.size:
            factor = SPECS[name].units[p.unit]
            row = f" row {out[0] + 1}" if p.value.size > 1 else ""
            found.append(
                f"{name}{row} = {p.value[out[0]] / factor:g} {p.unit}; usual for a {card.kind}: "
                f"{low / factor:g} to {high / factor:g}"
            )
        elif name in ALONG_THE_FIRING and p.single and p.valid is None:
            found.append(
                f"{name} is a single number, which speaks for no other temperature; add rows, or "
                "valid_C = [coldest, hottest] between which it holds"
            )
    return found


def _sag_of_frozen_glass(found: Mapping[str, Property]) -> Iterator[str]:
    """Complaint of a sag bar outside the rows of the glass that it is compared with."""
    rows = [found[n].temperature for n in ("sag_viscosity", "glass_viscosity") if n in found]
    if len(rows) < 2 or rows[0] is None or rows[1] is None:
        return
    at, (low, high) = rows[0][0], (rows[1][0], rows[1][-1])
    if not low <= at <= high:
        yield (
            f"sag_viscosity: temperature_C = {celsius(at):.0f}; allowed: within the rows of "
            f"glass_viscosity, {celsius(low):.0f} to {celsius(high):.0f}"
        )


def _weak_when_fired(found: Mapping[str, Property]) -> Iterator[str]:
    """Complaints of a fired body that is no denser or no stronger than the unfired one."""
    for name in ("young_modulus", "strength", "yield_stress"):
        if name in found and "green_density" in found:
            density, green = found[name].at_density, found["green_density"].scalar
            if density <= green:
                yield f"{name}: at_density = {density:g}; allowed: above green_density, {green:g}"
    for name in ("strength", "yield_stress"):
        if name in found and "brown_strength" in found:
            fired, brown = found[name].value[0], found["brown_strength"].scalar
            if fired <= brown * (1.0 + 1e-6):
                yield (
                    f"brown_strength: {brown / 1e6:g} MPa; allowed: below the {name} of the fired "
                    f"body, {fired / 1e6:g} MPa"
                )


class CardReader:
    """Turns one parsed file into a card, and collects a complaint of every wrong field."""

    def __init__(self, table: dict[str, Any], where: str) -> None:
        self.table = table
        self.where = where
        self.problems: list[str] = []

    def attempt(self, read: Callable[[], T]) -> T | None:
        """What it reads, or None with the complaint kept."""
        try:
            return read()
        except InputError as error:
            self.problems.append(str(error))
            return None

    def complain(self, what: str) -> None:
        """Add a complaint."""
        self.problems.append(f"{self.where}: {what}")

    def sources(self) -> dict[str, str]:
        """Names and texts of the card's sources."""
        given = self.table.get("sources")
        if not isinstance(given, dict):
            raise InputError(f"{self.where}: [sources] is missing; every number needs one")
        fields = Fields(given, f"{self.where}: sources", given)
        return {key: fields.text(key) for key in given}

    def elements(self, kind: str) -> tuple[str, ...]:
        """Symbols of the metal's elements."""
        given = self.table.get("elements", [])
        allowed = f"a list of {', '.join(ELEMENTS)}"
        if not isinstance(given, list) or not all(e in ELEMENTS for e in given):
            raise InputError(f"{self.where}: elements = {show(given)}; allowed: {allowed}")
        if kind == "metal" and not given:
            raise InputError(f"{self.where}: elements is missing; a metal needs {allowed}")
        return tuple(given)

    def transformations(self, sources: Mapping[str, str]) -> tuple[Transformation, ...]:
        """All [[transformation]] entries."""
        listed = self.table.get("transformation", [])
        if not isinstance(listed, list):
            raise InputError(f"{self.where}: transformation: write it as [[transformation]]")
        place = f"{self.where}: transformation"
        return tuple(
            read_transformation(entry, f"{place} {n}", sources) for n, entry in enumerate(listed, 1)
        )

    def properties(self, sources: Mapping[str, str], owner: str) -> dict[str, Property]:
        """Every property the file carries; a complaint of each that is none."""
        found = {}
        for key, entry in self.table.items():
            if key in TOP:
                continue
            if key not in SPECS:
                near = UnknownName("property", key, SPECS, self.where)
                self.problems.append(str(near).split(" Known")[0])
                continue
            read = functools.partial(read_property, key, entry, sources, owner, self.where)
            if (value := self.attempt(read)) is not None:
                found[key] = value
        return found

    def absences(self, kind: str, kernel: str) -> Iterator[str]:
        """What a card of this kind still needs."""
        for key, spec in SPECS.items():
            if kind in spec.needed and key not in self.table:
                yield f"{key} is missing; a {kind} card needs it ({spec.meaning})"
        for key in KERNEL_NEEDS.get(kernel, ()):
            if key not in self.table:
                yield f"{key} is missing; densification = {kernel!r} needs it"
        if kind == "ceramic" and not any(name in self.table for name in VISCOSITIES):
            yield "glass_viscosity is missing; a ceramic needs it, or body_viscosity"

    def card(self) -> Card | None:
        """The card, or None where something is wrong."""
        top = Fields(self.table, self.where, self.table)
        name = self.attempt(top.name) or ""
        kind = self.attempt(lambda: top.choice("kind", KINDS)) or ""
        kernel = self.attempt(lambda: top.choice("densification", KERNELS, KERNELS[0])) or ""
        summary = self.attempt(lambda: top.text("summary", "")) or ""
        refused = self.attempt(lambda: top.text("refused", "")) or ""
        elements = self.attempt(lambda: self.elements(kind)) or ()
        if set(name) & set(BLENDING):
            self.complain(f"name = {name!r}; allowed: without = and +, which write a blend")
        sources = self.attempt(self.sources)
        gases = self.table.get("atmosphere")
        atmosphere = self.attempt(lambda: read_atmosphere(gases, self.where)) or {}
        found = {} if sources is None else self.properties(sources, name)
        for what in (*self.absences(kind, kernel), *contradictions(found, kernel)):
            self.complain(what)
        changes = self.attempt(lambda: self.transformations(sources or {})) or ()
        density = self.table.get("fired_density")
        fired_at = None
        if isinstance(density, dict):
            fired_at = self.attempt(lambda: read_fired_at(density.get("fired_at"), self.where))
        if self.problems:
            return None
        return Card(
            name, kind, summary, found, kernel, elements, atmosphere, changes, fired_at, refused,
            self.where,
        )  # fmt: skip
