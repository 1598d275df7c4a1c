"""What the workshop gives: the printer, how pastes are mixed, and what things cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cofire.errors import InputError
from cofire.inputs.fields import Fields
from cofire.inputs.files import show

JOULES_PER_KILOWATT_HOUR = 3.6e6
BINDER = "binder"
"""Name under which the binder powder has its price."""


@dataclass(frozen=True)
class Printer:
    """What the printer lays, and how a change of paste smears in it.

    Attributes
    ----------
    layer
        Height of one layer: 0.3 mm, common practice. [m]
    dead_volume
        Paste between the place of the swap and the nozzle; extrusion cannot stop. [m³]
    tanks
        How that paste mixes: 1 wholly, many not at all (stirred tanks in series). [-]
    nozzle
        Width of one road: 0.6 mm, common practice. [m]
    """

    layer: float = 0.3e-3
    dead_volume: float = 2e-6
    tanks: float = 3.0
    nozzle: float = 0.6e-3


@dataclass(frozen=True)
class Mixing:
    """How pastes are mixed and weighed.

    Attributes
    ----------
    waste
        Paste lost in bowl, syringe and first lines, of that in the wall: 15 %, common practice. [-]
    scale
        Smallest step of the scale: 0.1 g, common practice. [kg]
    """

    waste: float = 0.15
    scale: float = 1e-4


@dataclass(frozen=True)
class Prices:
    """What powders and current cost, in one currency.

    Attributes
    ----------
    currency
        As it is to be printed; may be empty.
    powders
        Name of a material (or "binder") and its price. [currency/kg]
    energy
        Of current; 0 where not given. [currency/J]
    kiln_power
        At full power; 0 where not given. [W]
    """

    currency: str = ""
    powders: tuple[tuple[str, float], ...] = ()
    energy: float = 0.0
    kiln_power: float = 0.0


def _table(table: dict[str, Any], name: str, where: str, known: tuple[str, ...]) -> Fields:
    """One optional table of a vessel file."""
    given, place = table.get(name, {}), f"{where}: [{name}]"
    if not isinstance(given, dict):
        raise InputError(f"{place}: {show(given)}; write {', '.join(known)}")
    return Fields(given, place, known)


def read_printer(table: dict[str, Any], where: str) -> Printer:
    """The [printer] table, or common practice.

    Parameters
    ----------
    table : dict
        A vessel file as parsed.
    where : str
        Its name, for messages.

    Returns
    -------
    Printer
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    known = ("layer_mm", "dead_volume_ml", "tanks", "nozzle_mm")
    fields, usual = _table(table, "printer", where, known), Printer()
    layer = fields.number("layer_mm", 0.05, 10.0, usual.layer * 1e3) / 1e3
    return Printer(
        layer,
        fields.number("dead_volume_ml", 0.01, 500.0, usual.dead_volume * 1e6) / 1e6,
        fields.number("tanks", 1.0, 1000.0, usual.tanks),
        fields.number("nozzle_mm", layer * 1e3, 20.0, max(usual.nozzle, 2.0 * layer) * 1e3) / 1e3,
    )


def read_mixing(table: dict[str, Any], where: str) -> Mixing:
    """The [paste] table, or common practice.

    Parameters
    ----------
    table : dict
        A vessel file as parsed.
    where : str
        Its name, for messages.

    Returns
    -------
    Mixing
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    fields, usual = _table(table, "paste", where, ("waste_percent", "scale_g")), Mixing()
    return Mixing(
        fields.number("waste_percent", 0.0, 200.0, usual.waste * 100.0) / 100.0,
        fields.number("scale_g", 1e-4, 100.0, usual.scale * 1e3) / 1e3,
    )


def read_prices(table: dict[str, Any], where: str) -> Prices | None:
    """The [prices] table, or None where there is none.

    Parameters
    ----------
    table : dict
        A vessel file as parsed.
    where : str
        Its name, for messages.

    Returns
    -------
    Prices or None
        In SI and the file's currency.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    if "prices" not in table:
        return None
    fields = _table(table, "prices", where, ("currency", "per_kWh", "kiln_kW", "per_kg"))
    listed = fields.table.get("per_kg", {})
    if not isinstance(listed, dict):
        raise fields.refuse("per_kg", listed, 'a table of names, such as "fine silver" = 900')
    rows = Fields(listed, f"{where}: [prices.per_kg]", listed)
    asked = [name for name in ("per_kWh", "kiln_kW") if name in fields.table]
    if len(asked) == 1:
        raise InputError(f"{fields.where}: {asked[0]} alone; give per_kWh and kiln_kW, or neither")
    return Prices(
        fields.text("currency", ""),
        tuple((name, rows.number(name, 0.0, 1e7)) for name in listed),
        fields.number("per_kWh", 0.0, 1e4, 0.0) / JOULES_PER_KILOWATT_HOUR,
        fields.number("kiln_kW", 0.0, 1e3, 0.0) * 1e3,
    )
