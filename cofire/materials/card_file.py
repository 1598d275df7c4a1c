"""One card file: every field read and checked, and what it takes over from a card it is like."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from cofire.errors import LONGEST, InputError, UnknownName
from cofire.fields import MATERIAL, PROPERTY, TRANSFORMATION
from cofire.files import Fields, show
from cofire.materials.card import Card, FiredAt, Property, Transformation, Uncertainty
from cofire.materials.properties import (
    ALONG_THE_FIRING,
    BASES,
    ELEMENTS,
    GASES,
    KERNELS,
    KINDS,
    SPECS,
    USUAL_RANGES,
    VISCOSITIES,
)
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, celsius, kelvin

# ----------------------------------------------------------------------------------------------
# The parts of a card file: each read from its table, or refused with place and remedy


def read_uncertainty(text: object, factor: float) -> Uncertainty:
    """The uncertainty a card states.

    Parameters
    ----------
    text : object
        "5 %", "+- 0.02" in the property's unit, or "factor 2".
    factor : float
        Unit to SI. [-]

    Returns
    -------
    Uncertainty
        In SI.

    Raises
    ------
    InputError
        Another form, a negative one, or one too large to be a number.
    """
    number = r"(\d+(?:\.\d*)?(?:[eE][+-]?\d+)?)"
    forms = {"%": number + r"\s*%", "+-": r"(?:\+-|±)\s*" + number, "factor": r"factor\s*" + number}
    for form, pattern in forms.items():
        found = re.fullmatch(pattern, text) if isinstance(text, str) else None
        if found is None:
            continue
        size = float(found[1])
        if size < 1e6 and (form != "factor" or size >= 1.0):
            return Uncertainty(form, size * {"%": 0.01, "+-": factor, "factor": 1.0}[form])
    raise InputError(f'{show(text)}; write "5 %", "+- 0.02" (in the unit) or "factor 2"')


def read_sources(table: Mapping[str, Any], where: str) -> dict[str, str]:
    """Names and texts of a file's [sources].

    Parameters
    ----------
    table : mapping
        The whole file.
    where : str
        The file, for the messages.

    Raises
    ------
    InputError
        None are there, or one is not a text.
    """
    given = table.get("sources")
    if not isinstance(given, dict):
        raise InputError(f"{where}: [sources] is missing; every number needs one")
    fields = Fields(given, f"{where}: sources", given)
    return {key: fields.text(key) for key in given}


def read_property(
    name: str, entry: object, sources: Mapping[str, str], owner: str, where: str
) -> Property:
    """One property of a card.

    Parameters
    ----------
    name : str
        A name of SPECS.
    entry : object
        What the file says under that name.
    sources : mapping
        The card's [sources].
    owner, where : str
        The card's name, and its file for the messages.

    Returns
    -------
    Property
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    spec = SPECS[name]
    known = ["unit", "value", "uncertainty", "source", "basis", "note"]
    known += ["temperature_C", "valid_C"] * spec.tabulated + ["at_density"] * spec.anchored
    known += ["fired_at"] * (name == "fired_density")
    fields = Fields(entry, f"{where}: {name}", {key: PROPERTY[key] for key in known})
    unit = fields.choice("unit", tuple(spec.units))
    factor = spec.units[unit]
    value = fields.numbers("value", spec.least / factor, spec.most / factor, unit)

    def uncertainty(key: str, given: object) -> Uncertainty:
        try:
            return read_uncertainty(given, factor)
        except InputError as error:
            raise InputError(f"{fields.where}: {key} = {error}") from None

    def source(key: str, given: object) -> str:
        return _source(fields, key, given, sources)

    def basis(key: str, given: object) -> str:
        if given not in BASES:
            raise fields.refuse(key, given, ", ".join(BASES))
        return str(given)

    temperature = _temperatures(fields, value.size)
    return Property(
        name=name,
        owner=owner,
        temperature=temperature,
        value=kelvin(value) if unit == "C" else value * factor,
        uncertainty=fields.per_row("uncertainty", value.size, uncertainty),
        source=fields.per_row("source", value.size, source),
        basis=fields.per_row("basis", value.size, basis),
        at_density=fields.number("at_density", default=1.0),
        unit=unit,
        valid=_valid(fields, value.size),
    )


def _valid(fields: Fields, count: int) -> tuple[float, float] | None:
    """Temperatures in K between which a single number holds, or None where the card is silent."""
    if "valid_C" not in fields.table:
        return None
    ends = fields.rising("valid_C", PROPERTY["valid_C"].least, PROPERTY["valid_C"].most)
    if ends.size != 2 or count != 1:
        raise InputError(
            f"{fields.where}: valid_C has {ends.size} entries for {count} value"
            f"{'s' if count > 1 else ''}; allowed: the coldest and the hottest temperature at "
            "which a single value holds"
        )
    return kelvin(float(ends[0])), kelvin(float(ends[1]))


def listed_sources(given: object, sources: Mapping[str, str]) -> str:
    """Names of sources for a complaint, that nearest to what was given first.

    Parameters
    ----------
    given : object
        In the place of a name.
    sources : mapping
        Of the file.
    """
    near = get_close_matches(str(given)[:LONGEST], sources, n=1)
    rest = sorted(name for name in sources if name not in near)
    return ", ".join([*near, *rest]) or "there are none"


def _source(fields: Fields, key: str, given: object, sources: Mapping[str, str]) -> str:
    if not isinstance(given, str) or given not in sources:
        raise fields.refuse(key, given, f"one of [sources]: {listed_sources(given, sources)}")
    return sources[given]


def _temperatures(fields: Fields, count: int) -> Array | None:
    """Temperatures of a table in K, or None for a single number."""
    if "temperature_C" not in fields.table:
        if count > 1:
            raise InputError(f"{fields.where}: {count} values, but no temperature_C")
        return None
    known = PROPERTY["temperature_C"]
    temperature = fields.rising("temperature_C", known.least, known.most)
    if temperature.size != count:
        raise InputError(f"{fields.where}: {temperature.size} temperatures for {count} values")
    return kelvin(temperature)


def read_transformation(entry: object, place: str, sources: Mapping[str, str]) -> Transformation:
    """One [[transformation]] of a card.

    Parameters
    ----------
    entry : object
        What the file says.
    place : str
        File and number, for the messages.
    sources : mapping
        The card's [sources].

    Returns
    -------
    Transformation
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    fields = Fields(entry, place, TRANSFORMATION)
    heating = fields.number("on_heating_C")
    return Transformation(
        fields.name(),
        kelvin(heating),
        kelvin(fields.number("on_cooling_C", most=heating)),
        fields.number("width_C"),
        fields.number("strain_percent") / 100.0,
        fields.number("expansion_change") * 1e-6,
        source=_source(fields, "source", fields.table.get("source"), sources),
        basis=fields.choice("basis", BASES),
        gases=_gases(fields),
    )


def _gases(fields: Fields) -> tuple[str, ...]:
    """Gases in which a transformation happens, empty where the file names none."""
    given = fields.table.get("gases", [])
    allowed = f"a list of {', '.join(GASES)}"
    if not isinstance(given, list) or not all(gas in GASES for gas in given):
        raise fields.refuse("gases", given, allowed)
    if "gases" in fields.table and not given:
        raise fields.refuse("gases", given, f"{allowed}; leave it out for all of them")
    return tuple(str(gas) for gas in given)


def read_fired_at(entry: object, where: str) -> FiredAt:
    """The firing to which a card's fired density belongs.

    Parameters
    ----------
    entry : object
        `fired_at` of the card's fired_density.
    where : str
        The file.

    Returns
    -------
    FiredAt
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    known = ("rate_C_per_h", "peak_C", "hold_min", "gas")
    fields = Fields(entry, f"{where}: fired_density: fired_at", known)
    return FiredAt(
        fields.number("rate_C_per_h", 1.0, 5000.0) / HOUR,
        kelvin(fields.number("peak_C", 200.0, 2500.0)),
        fields.number("hold_min", 0.0, 6000.0) * MINUTE,
        fields.choice("gas", GASES) if "gas" in fields.table else "",
    )


def read_atmosphere(entry: object, where: str) -> dict[str, str]:
    """What a card says of each gas.

    Parameters
    ----------
    entry : object
        The card's [atmosphere].
    where : str
        The file.

    Returns
    -------
    dict
        Gas to "good", "caution: reason" or "refused: reason".

    Raises
    ------
    InputError
        A gas missing or unknown, or another remark.
    """
    fields = Fields(entry, f"{where}: atmosphere", GASES)
    found = {gas: fields.table.get(gas) for gas in GASES}
    for gas, remark in found.items():
        if not isinstance(remark, str) or not re.match(r"good$|(caution|refused): \S", remark):
            raise fields.refuse(gas, remark, '"good", "caution: reason" or "refused: reason"')
    return {gas: str(remark) for gas, remark in found.items()}


# ----------------------------------------------------------------------------------------------
# One card file: every field checked, the first complaint of each kept with place and remedy

T = TypeVar("T")

TOP = tuple(MATERIAL)
KERNEL_NEEDS = {
    "master curve": ("sintering_energy", "sintering_exponent"),
    "viscous": ("surface_tension", "glass_viscosity"),
}
DENSITIES = ("green_density", "least_density", "fired_density", "full_density")
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
    yield from _weak_when_fired(found)


def shrinkage_beside_densities(found: Mapping[str, Property]) -> Iterator[str]:
    """Complaint of a firing shrinkage that the two densities do not give, in no direction.

    They may differ by what height and ring shrink apart, and by twice the standard uncertainty of
    the three numbers together (estimate). Asked of what a person wrote, not of cards that are
    varied: no calculation reads the reported shrinkage.

    Parameters
    ----------
    found : mapping
        Properties by name.

    Yields
    ------
    str
        Field, value, and what the densities give.
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
        float(found[name].uncertainty[0].absolute(value))
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
        low, high = USUAL_RANGES[card.kind].get(name, (-np.inf, np.inf))
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
        self.like = str(table.get("like", ""))
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
        if "kind" not in self.table and "max_temperature_C" in self.table:
            self.complain(
                "a kiln, no material card; kilns are read from a folder named kilns: move it there"
            )
            return None
        top = Fields(self.table, self.where, self.table)
        name = self.attempt(top.name) or ""
        kind = self.attempt(lambda: top.choice("kind", KINDS)) or ""
        kernel = self.attempt(lambda: top.choice("densification", KERNELS, KERNELS[0])) or ""
        summary = self.attempt(lambda: top.text("summary", "")) or ""
        refused = self.attempt(lambda: top.text("refused", "")) or ""
        elements = self.attempt(lambda: self.elements(kind)) or ()
        if set(name) & set(BLENDING):
            self.complain(f"name = {name!r}; allowed: without = and +, which write a blend")
        sources = self.attempt(lambda: read_sources(self.table, self.where))
        gases = self.table.get("atmosphere")
        atmosphere = self.attempt(lambda: read_atmosphere(gases, self.where)) or {}
        found = {} if sources is None else self.properties(sources, name)
        complaints = (contradictions(found, kernel), shrinkage_beside_densities(found))
        for what in (*self.absences(kind, kernel), *chain(*complaints)):
            self.complain(what)
        changes = self.attempt(lambda: self.transformations(sources or {})) or ()
        density = self.table.get("fired_density")
        fired_at = None
        if isinstance(density, dict):
            fired_at = self.attempt(lambda: read_fired_at(density.get("fired_at"), self.where))
        if self.problems:
            return None
        return Card(
            name=name,
            kind=kind,
            summary=summary,
            properties=found,
            densification=kernel,
            elements=elements,
            atmosphere=atmosphere,
            transformations=changes,
            fired_at=fired_at,
            refused=refused,
            origin=self.where,
            like=self.like,
        )


# ----------------------------------------------------------------------------------------------
# A card like another one: what its file does not say is as that card says

OWN = "measured by whoever wrote the card"
"""Source of a number that a card like another one states without a source, with its file."""
DENSITIES_OF_SHRINKAGE = ("green_density", "fired_density")


def inherited(table: dict[str, Any], parent: dict[str, Any], where: str) -> dict[str, Any]:
    """The table of a card like another one, with what it does not say filled in from there.

    A number of its own needs value and uncertainty; unit and `at_density` may be left out and are
    the parent's. Without a source it is the user's measurement, and marked so. Where a density is
    its own and the reported shrinkage is not, the parent's shrinkage is left out: it belongs to
    the parent's densities. Where the shrinkage is its own and neither density is, the green density
    is the one that shrinks so to the parent's fired one: calculations read densities.

    Parameters
    ----------
    table : dict
        The card's file as parsed.
    parent : dict
        That of the card it is like, itself whole.
    where : str
        The card's file, for messages.

    Returns
    -------
    dict
        A new table, as if the file had said all of it.

    Raises
    ------
    InputError
        It names another kind than the parent's, or a shrinkage that the parent's fired density
        leaves no room for.
    """
    kind = table.get("kind", parent.get("kind"))
    if kind != parent.get("kind"):
        raise InputError(
            f"{where}: kind = {show(kind)}; it is like {parent['name']!r}, a {parent.get('kind')}; "
            "leave kind out"
        )
    given = table.get("sources", {})
    sources: dict[str, Any] = dict(given) if isinstance(given, dict) else {}
    whole = {key: value for key, value in parent.items() if key not in ("name", "summary", "like")}
    renamed = {}
    for key, told in parent.get("sources", {}).items():
        renamed[key] = key if sources.get(key, told) == told else f"{key} of {parent['name']}"
        sources[renamed[key]] = told
    for key, entry in whole.items():
        if key in SPECS and isinstance(entry, dict):
            whole[key] = {**entry, "source": _renamed(entry.get("source"), renamed)}
    changes = parent.get("transformation", [])
    if isinstance(changes, list):
        whole["transformation"] = [
            {**c, "source": _renamed(c.get("source"), renamed)} for c in changes
        ]
    mine = f"{OWN}, {Path(where).name}"
    own = [key for key in table if key in SPECS]
    if set(own) & set(DENSITIES_OF_SHRINKAGE) and "firing_shrinkage" not in own:
        whole.pop("firing_shrinkage", None)
    names = ", ".join(key.replace("_", " ") for key in own) or "no number"
    whole["summary"] = f"like {parent['name']}, with {names} of its own"
    whole |= table
    shrinks = "firing_shrinkage" in own and not set(own) & set(DENSITIES_OF_SHRINKAGE)
    for key in own:
        entry = table[key]
        if not isinstance(entry, dict):
            continue
        before = parent.get(key, {})
        kept = ["unit"] + ["at_density"] * SPECS[key].anchored
        filled = {name: before[name] for name in kept if name in before}
        if "source" not in entry:
            filled |= {"source": mine, "basis": "measured"}
            sources[mine] = mine
        whole[key] = filled | entry
    whole["sources"] = sources
    if shrinks and (green := _green_density(whole, str(parent["name"]), where)):
        source = f"from its firing shrinkage and the fired density of {parent['name']}"
        sources[source] = source
        whole["green_density"] = green | {"source": source, "basis": "derived"}
    return whole


def _green_density(whole: Mapping[str, Any], parent: str, where: str) -> dict[str, Any]:
    """Green density that shrinks along the ring to the fired one as a card says, as a table.

    Its uncertainty is the shrinkage's alone: what the fired density is out by, both are. Empty
    where a number cannot be read, which its reader complains of.
    """
    names = ["firing_shrinkage", "fired_density", "least_density"]
    names += [name for name in ("height_shrinkage_factor",) if name in whole]
    try:
        read = {n: read_property(n, whole.get(n), whole["sources"], parent, where) for n in names}
    except InputError:
        return {}
    shrinkage, fired, least = (read[name].scalar for name in names[:3])
    power = 2.0 + (read[names[3]].scalar if names[3:] else 1.0)
    lowest = SPECS["green_density"].least
    low, high = (100.0 * (1.0 - (g / fired) ** (1.0 / power)) for g in (least - 1e-3, lowest))
    if not low <= 100.0 * shrinkage <= high:
        raise InputError(
            f"{where}: firing_shrinkage: {100.0 * shrinkage:g} %; allowed: {low:.1f} to {high:.1f} "
            f"with the fired_density {fired:g} and least_density {least:g} of {parent!r}, or give "
            "green_density and fired_density too"
        )
    spread = float(read["firing_shrinkage"].uncertainty[0].relative(shrinkage))
    return {
        "unit": "-",
        "value": fired * (1.0 - shrinkage) ** power,
        "uncertainty": f"{100.0 * power * spread * shrinkage / (1.0 - shrinkage):.3f} %",
    }


def _renamed(source: object, names: Mapping[str, str]) -> object:
    """A name of a source, or a list of them, by its new name."""
    if isinstance(source, list):
        return [_renamed(one, names) for one in source]
    return names.get(source, source) if isinstance(source, str) else source
