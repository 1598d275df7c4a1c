"""A firing as a person writes it, and the kiln that must follow it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import numpy as np

from cofire.errors import InputError, UnknownName
from cofire.fields import COOLING, FIRING, HEATING, KILN, SEGMENT, SLOWEST
from cofire.files import Fields, read_toml, show
from cofire.materials.library import bundled_tables, find_named, kiln_files, override
from cofire.materials.properties import GASES
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin

FULL = "full"
"""Rate word: as fast as the kiln can heat, or as it cools shut."""
MOST_SEGMENTS = 60


@dataclass(frozen=True)
class Kiln:
    """What a kiln can do: its heating rate at full power and its cooling when shut.

    Attributes
    ----------
    max_temperature
        Hottest it may be set. [K]
    heating_temperature, heating_rate
        Full power, loaded; linear between rows. [K], [K/s]
    cooling_temperature, cooling_rate
        Shut, power off; linear between rows (two rows are Newton's law). [K], [K/s]
    """

    name: str
    max_temperature: float
    heating_temperature: Array
    heating_rate: Array
    cooling_temperature: Array
    cooling_rate: Array
    source: str = ""


@dataclass(frozen=True)
class Segment:
    """Go to a temperature at a rate, and hold: the kiln's own temperature counts.

    Attributes
    ----------
    target
        Temperature to reach. [K]
    rate
        Size of the ramp; infinite means as fast as the kiln can. [K/s]
    hold
        Time at the target, from when the kiln reaches it. [s]
    """

    target: float
    rate: float
    hold: float = 0.0


@dataclass(frozen=True)
class Firing:
    """Segments, the kiln, and what the pack does: gas around the ware and its lag.

    Attributes
    ----------
    lag
        Time constant with which the ware follows the kiln (first order: one lump whose
        temperature is uniform; a carbon bed or box is slower than a bare shelf). [s]
    """

    name: str
    kiln: Kiln
    segments: tuple[Segment, ...]
    gas: str = "air"
    lag: float = 0.0

    @property
    def peak(self) -> float:
        """Hottest temperature asked of the kiln. [K]"""
        return max(s.target for s in self.segments)


LAG = {"air": 5 * MINUTE, "inert": 15 * MINUTE, "carbon": 30 * MINUTE, "hydrogen": 15 * MINUTE}
"""Lag assumed where none is stated: bare shelf, retort, carbon-packed box. Common practice. [s]"""


def simple_firing(
    kiln: Kiln, peak: float, hold: float, rate: float, gas: str = "air", lag: float | None = None
) -> Firing:
    """One ramp, one hold, free cooling.

    Parameters
    ----------
    kiln : Kiln
        The kiln.
    peak : float
        Hold temperature. [K]
    hold : float
        Time at peak. [s]
    rate : float
        Ramp. [K/s]
    gas : str
        One of GASES.
    lag : float, optional
        Time constant of the ware; by default that of the gas. [s]

    Returns
    -------
    Firing
        The firing.
    """
    segments = (Segment(peak, rate, hold),)
    lag = LAG[gas] if lag is None else lag
    name = f"{celsius(peak):.0f} °C, {hold / MINUTE:.0f} min"
    return checked(Firing(name, kiln, segments, gas, lag), name)


def checked(firing: Firing, where: str) -> Firing:
    """The firing itself, or a complaint that its kiln cannot do it.

    Parameters
    ----------
    firing : Firing
        To be checked.
    where : str
        File or name for the message.

    Returns
    -------
    Firing
        The same.

    Raises
    ------
    InputError
        Peak above the kiln's limit, or a target its power does not reach.
    """
    kiln = firing.kiln
    for number, segment in enumerate(firing.segments, 1):
        if segment.target > kiln.max_temperature + 1e-9:
            raise InputError(
                f"{where}: segment {number}: to_C = {celsius(segment.target):g}; {kiln.name} "
                f"reaches at most {celsius(kiln.max_temperature):g} °C"
            )
        if segment.target < ROOM + 4.99:
            raise InputError(
                f"{where}: segment {number}: to_C = {celsius(segment.target):g}; allowed: 25 °C "
                "to the kiln's limit (cooling to room temperature follows by itself)"
            )
    return firing


def read_kiln(table: dict[str, Any], where: str) -> Kiln:
    """The kiln that a parsed table describes.

    Parameters
    ----------
    table : dict
        Contents of a kiln file, or a [kiln] table.
    where : str
        File for the messages.

    Returns
    -------
    Kiln
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    fields = Fields(table, where, KILN)
    limit = fields.number("max_temperature_C")
    heating_t, heating_r = fields.rows("heating", HEATING)
    cooling_t, cooling_r = fields.rows("cooling", COOLING)
    for key, rows in (("heating", heating_t), ("cooling", cooling_t)):
        if rows[0] > ROOM + 1e-9 or rows[-1] < kelvin(limit) - 1e-9:
            raise InputError(
                f"{where}: [{key}]: temperature_C from {celsius(float(rows[0])):g} to "
                f"{celsius(float(rows[-1])):g}; it must cover 20 to max_temperature_C, {limit:g}"
            )
    if heating_r[0] < SLOWEST / HOUR:
        raise InputError(
            f"{where}: [heating]: rate_C_per_h row 1 = {heating_r[0] * HOUR:g}; "
            f"allowed: {SLOWEST:g} or more, or it never starts"
        )
    return Kiln(
        fields.name(),
        kelvin(limit),
        heating_t,
        heating_r,
        cooling_t,
        cooling_r,
        fields.text("source"),
    )


def load_kilns(folders: Iterable[Path] = ()) -> dict[str, Kiln]:
    """All kilns by name: the shipped ones, then those in the users' folders' kilns/.

    Parameters
    ----------
    folders : iterable of Path
        The user's table folders.

    Returns
    -------
    dict
        Name to kiln.

    Raises
    ------
    InputError
        A wrong file, a missing folder, or the same name twice in one folder.
    """
    kilns: dict[str, Kiln] = {}
    for folder in (bundled_tables(), *folders):
        files = kiln_files(folder)
        here = ((path, read_kiln(read_toml(path), str(path))) for path in files)
        override(kilns, ((kiln.name, kiln, str(path)) for path, kiln in here))
    return kilns


def check_kilns(paths: Iterable[Traversable | Path]) -> list[str]:
    """Every complaint about the given kiln files, one line a file.

    Parameters
    ----------
    paths : iterable of Traversable or Path
        Kiln files.

    Returns
    -------
    list of str
        Empty where all is well.
    """
    problems = []
    for path in paths:
        try:
            read_kiln(read_toml(path), str(path))
        except InputError as error:
            problems.append(str(error))
    return problems


def find_kiln(name: str, kilns: dict[str, Kiln], where: str = "") -> Kiln:
    """The kiln of that name, whatever its case.

    Parameters
    ----------
    name : str
        As a person types it.
    kilns : dict
        From `load_kilns`.
    where : str
        File for the message.

    Returns
    -------
    Kiln
        The kiln.

    Raises
    ------
    UnknownName
        With all there are.
    """
    return find_named("kiln", name, kilns, where)


def known_gas(gas: str, where: str) -> str:
    """The gas itself, where it is one of those the tables know.

    Parameters
    ----------
    gas : str
        As a person types it.
    where : str
        File or option for the message.

    Returns
    -------
    str
        The same.

    Raises
    ------
    UnknownName
        With all there are.
    """
    if gas not in GASES:
        raise UnknownName("gas", gas, GASES, where)
    return gas


def read_firing(
    source: Path | Traversable | dict[str, Any],
    kilns: dict[str, Kiln],
    where: str = "",
) -> Firing:
    """The firing in a file, or in a table of another file.

    Parameters
    ----------
    source : path or dict
        A TOML file, or its parsed contents.
    kilns : dict
        Kilns by name, from `load_kilns`.
    where : str
        Place for the messages, where a table is given.

    Returns
    -------
    Firing
        In SI, within what its kiln can do.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    if isinstance(source, dict):
        table = source
    else:
        table, where = read_toml(source), str(source)
    fields = Fields(table, where, FIRING)
    kiln_given = table.get("kiln")
    if isinstance(kiln_given, dict):
        kiln = read_kiln(kiln_given, f"{where}: [kiln]")
    else:
        kiln = find_kiln(fields.text("kiln"), kilns, where)
    gas = fields.text("gas")
    known_gas(gas, where)
    lag = fields.number("lag_min", default=LAG[gas] / MINUTE) * MINUTE
    listed = table.get("segment")
    if not isinstance(listed, list) or not 1 <= len(listed) <= MOST_SEGMENTS:
        given = f"{len(listed)} of them" if isinstance(listed, list) else show(listed)
        raise InputError(f"{where}: [[segment]]: {given}; allowed: 1 to {MOST_SEGMENTS} segments")
    segments = []
    for number, entry in enumerate(listed, 1):
        row = Fields(entry, f"{where}: segment {number}", SEGMENT)
        full = row.table.get("rate_C_per_h") == FULL
        rate = np.inf if full else row.number("rate_C_per_h") / HOUR
        target = kelvin(row.number("to_C"))
        segments.append(Segment(target, rate, row.number("hold_min") * MINUTE))
    firing = Firing(fields.name(), kiln, tuple(segments), gas, lag)
    return checked(firing, where)


def with_gas(firing: Firing, gas: str) -> Firing:
    """The same firing in another gas, its lag unchanged.

    Parameters
    ----------
    firing : Firing
        The firing.
    gas : str
        One of GASES.

    Returns
    -------
    Firing
        A copy.
    """
    return replace(firing, gas=gas)
