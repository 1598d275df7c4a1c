"""The parts of a card file: each read from its table, or refused with place and remedy."""

from __future__ import annotations

import re
from collections.abc import Mapping

from cofire.errors import InputError
from cofire.inputs.cards import Array, FiredAt, Property, Transformation, Uncertainty
from cofire.inputs.fields import Fields
from cofire.inputs.files import show
from cofire.inputs.properties import BASES, GASES, SPECS
from cofire.inputs.units import HOUR, MINUTE, kelvin


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
    fields = Fields(entry, f"{where}: {name}", known)
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
        name,
        owner,
        temperature,
        kelvin(value) if unit == "C" else value * factor,
        fields.per_row("uncertainty", value.size, uncertainty),
        fields.per_row("source", value.size, source),
        fields.per_row("basis", value.size, basis),
        fields.number("at_density", 0.3, 1.0, 1.0),
        unit,
        _valid(fields, value.size),
    )


def _valid(fields: Fields, count: int) -> tuple[float, float] | None:
    """Temperatures in K between which a single number holds, or None where the card is silent."""
    if "valid_C" not in fields.table:
        return None
    ends = fields.rising("valid_C", -273.15, 3500.0)
    if ends.size != 2 or count != 1:
        raise InputError(
            f"{fields.where}: valid_C has {ends.size} entries for {count} value"
            f"{'s' if count > 1 else ''}; allowed: the coldest and the hottest temperature at "
            "which a single value holds"
        )
    return kelvin(float(ends[0])), kelvin(float(ends[1]))


def _source(fields: Fields, key: str, given: object, sources: Mapping[str, str]) -> str:
    if not isinstance(given, str) or given not in sources:
        listed = ", ".join(sorted(sources)) or "there are none"
        raise fields.refuse(key, given, f"one of [sources]: {listed}")
    return sources[given]


def _temperatures(fields: Fields, count: int) -> Array | None:
    """Temperatures of a table in K, or None for a single number."""
    if "temperature_C" not in fields.table:
        if count > 1:
            raise InputError(f"{fields.where}: {count} values, but no temperature_C")
        return None
    temperature = fields.rising("temperature_C", -273.15, 3500.0)
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
    known = (
        "name", "on_heating_C", "on_cooling_C", "width_C", "strain_percent", "expansion_change",
        "uncertainty", "source", "basis", "note",
    )  # fmt: skip
    fields = Fields(entry, place, known)
    heating = fields.number("on_heating_C", -100.0, 2500.0)
    return Transformation(
        fields.name(),
        kelvin(heating),
        kelvin(fields.number("on_cooling_C", -100.0, heating)),
        fields.number("width_C", 1.0, 200.0),
        fields.number("strain_percent", -3.0, 3.0) / 100.0,
        fields.number("expansion_change", -50.0, 50.0, 0.0) * 1e-6,
        source=_source(fields, "source", fields.table.get("source"), sources),
        basis=fields.choice("basis", BASES),
    )


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
    known = ("rate_C_per_h", "peak_C", "hold_min")
    fields = Fields(entry, f"{where}: fired_density: fired_at", known)
    return FiredAt(
        fields.number("rate_C_per_h", 1.0, 5000.0) / HOUR,
        kelvin(fields.number("peak_C", 200.0, 2500.0)),
        fields.number("hold_min", 0.0, 6000.0) * MINUTE,
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
