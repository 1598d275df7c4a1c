"""A firing as a person writes it, and the kiln that must follow it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources.abc import Traversable
from itertools import groupby
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from cofire.errors import InputError, UnknownName
from cofire.fields import (
    CONTROLLER,
    COOLING,
    FIRING,
    HEATING,
    KILN,
    MOST_SEGMENTS,
    SEGMENT,
    SLOWEST,
    SPACE,
)
from cofire.files import FILE_OR_TABLE, Fields, Place, bundled_tables, read_toml, show, table_of
from cofire.materials.catalogue import Named, find_named, kiln_files, override
from cofire.materials.properties import GASES
from cofire.numerics import Array, by_content
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin

Rows: TypeAlias = Sequence[Sequence[float | str]] | Array
"""Segments of a firing, one a row."""
FULL = "full"
"""Rate word: as fast as the kiln can heat, or as it cools shut."""


@dataclass(frozen=True)
class Controller:
    """What the controller of a kiln takes.

    Attributes
    ----------
    segments
        Most of one programme, a ramp with its hold as one; 0 where there is no limit. [-]
    numbers
        Whether every rate is a number, and none "full".
    fahrenheit
        Whether it counts in °F.
    temperature, rate, time
        Its steps: 1 °C, 1 °C/h and 1 min unless its kiln's file says otherwise. [K], [K/s], [s]
    given
        Whether the kiln's file says so; only then is a firing held against it.
    """

    segments: int = 0
    numbers: bool = False
    fahrenheit: bool = False
    temperature: float = 1.0
    rate: float = 1.0 / HOUR
    time: float = MINUTE
    given: bool = False


USUAL_CONTROLLER = Controller()


@dataclass(frozen=True)
class Space:
    """Room inside a kiln or a box.

    Attributes
    ----------
    width, depth, height
        Usable. [m]
    round
        Whether it is a cylinder, as wide as deep.
    """

    width: float
    depth: float
    height: float
    round: bool = False

    @property
    def least(self) -> float:
        """Widest round thing that goes in. [m]"""
        return min(self.width, self.depth)

    @property
    def sides(self) -> tuple[float, float, float]:
        """Width, depth and height. [m]"""
        return self.width, self.depth, self.height

    @property
    def longest(self) -> float:
        """Its longer side. [m]"""
        return max(self.width, self.depth)

    @property
    def volume(self) -> float:
        """What it holds. [m³]"""
        return (0.25 * np.pi if self.round else 1.0) * self.width * self.depth * self.height


@dataclass(frozen=True)
@by_content
class Kiln:
    """What a kiln can do: its heating rate at full power and its cooling when shut, read-only.

    Attributes
    ----------
    max_temperature
        Hottest it may be set. [K]
    heating_temperature, heating_rate
        Full power, loaded; linear between rows. [K], [K/s]
    cooling_temperature, cooling_rate
        Shut, power off; linear between rows (two rows are Newton's law). [K], [K/s]
    controller
        What may be set on it.
    chamber, box
        Inside of the kiln, and of the box that is packed with carbon in it; None where nobody
        says.

    Examples
    --------
    >>> import cofire as cf
    >>> kiln = cf.kiln("small studio kiln")
    >>> round(kiln.max_temperature - 273.15)  # °C
    1200
    """

    name: str
    max_temperature: float
    heating_temperature: Array
    heating_rate: Array
    cooling_temperature: Array
    cooling_rate: Array
    source: str = ""
    controller: Controller = USUAL_CONTROLLER
    chamber: Space | None = None
    box: Space | None = None

    def __repr__(self) -> str:
        return f"<Kiln {self.name!r}: to {celsius(self.max_temperature):.0f} °C>"


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
    gas
        Around the ware from the start of this segment on; empty: as before.
    """

    target: float
    rate: float
    hold: float = 0.0
    gas: str = ""


@dataclass(frozen=True)
class Firing:
    """Segments, the kiln, and what the pack does: gas around the ware and its lag.

    Where segments change the gas, each of them ends up saying its own.

    Attributes
    ----------
    gas
        Around the ware: where it changes, that of the hottest segment, the first of equals.
    lag
        Time constant with which the ware follows the kiln (first order: one lump whose
        temperature is uniform; a carbon bed or box is slower than a bare shelf). One for the whole
        firing, whatever the gas of the moment: the box stands around the ware when it is open. [s]
    latest
        After the start, by which a change of gas is made: someone is there so long. [s]

    Examples
    --------
    >>> import cofire as cf
    >>> firing = cf.read_firing([(420, 60, 60), (860, 150, 75)])
    >>> round(firing.peak - 273.15), firing.segments[1].hold
    (860, 4500.0)
    """

    name: str
    kiln: Kiln
    segments: tuple[Segment, ...]
    gas: str = "air"
    lag: float = 0.0
    latest: float = np.inf

    def __post_init__(self) -> None:
        """One form for each firing: where all segments have one gas, none of them says it."""
        gases = self.gases
        if not any(s.gas for s in self.segments):
            return
        hottest = max(range(len(gases)), key=lambda n: self.segments[n].target)
        changes = len(set(gases)) > 1
        said = (
            replace(s, gas=gas if changes else "")
            for s, gas in zip(self.segments, gases, strict=True)
        )
        object.__setattr__(self, "segments", tuple(said))
        object.__setattr__(self, "gas", gases[hottest])

    @property
    def peak(self) -> float:
        """Hottest temperature asked of the kiln. [K]"""
        return max(s.target for s in self.segments)

    @property
    def gases(self) -> tuple[str, ...]:
        """Gas around the ware in each segment; cooling after the last keeps the last one's."""
        found, gas = [], self.gas
        for segment in self.segments:
            gas = segment.gas or gas
            found.append(gas)
        return tuple(found)

    @property
    def gas_words(self) -> str:
        """The gas, or the gases in turn: "carbon", or "air, then carbon"."""
        turns = [gas for gas, _ in groupby(self.gases)]
        return ", then ".join(turns or [self.gas])

    def in_one_gas(self, gas: str, lag: float) -> Firing:
        """The same segments, all in one gas.

        Parameters
        ----------
        gas : str
            One of GASES.
        lag : float
            Time constant of the ware. [s]
        """
        plain = tuple(replace(s, gas="") for s in self.segments)
        return replace(self, segments=plain, gas=gas, lag=lag)

    def __repr__(self) -> str:
        count = len(self.segments)
        return (
            f"<Firing {self.name!r}: {count} segment{'s' * (count != 1)} to "
            f"{celsius(self.peak):.0f} °C in {self.gas_words}, {self.kiln.name}>"
        )


LAG = {"air": 5 * MINUTE, "inert": 15 * MINUTE, "carbon": 30 * MINUTE, "hydrogen": 15 * MINUTE}
"""Lag assumed where none is stated: bare shelf, retort, carbon-packed box. Common practice. [s]"""


def come_up(gas: str) -> float:
    """How much later than its kiln a ware comes up a ramp: one lag. [s]

    A first-order lag is a delay by its time constant, once a steady ramp has lasted some three of
    them; on a shorter one the ware lies less than that behind in time, and further in temperature.

    Parameters
    ----------
    gas : str
        With the lag that is assumed where none is stated.
    """
    return LAG[gas]


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
    """
    segments = (Segment(peak, rate, hold),)
    lag = LAG[gas] if lag is None else lag
    name = f"{celsius(peak):.0f} °C, {hold / MINUTE:.0f} min"
    return checked(Firing(name, kiln, segments, gas, lag), name)


def ware_firing(kiln: Kiln, peak: float, hold: float, rate: float, gas: str) -> Firing:
    """One ramp, one hold and free cooling that give the ware the heat work of a peak and hold.

    The kiln holds longer by `come_up`. What the ware lacks at the corner above its ramp, where it
    is behind by the rate times exp(-t/lag) of a lag, it is given back at the one before it cools:
    of a hold of 10 min in a pack it comes within 20 K of the peak, and ends no more than 0.01 of
    density from where it would without a lag (all shipped pairs, at `RATE` of `windows`).

    Parameters
    ----------
    kiln : Kiln
        The kiln.
    peak, hold : float
        That the ware should feel. [K], [s]
    rate : float
        Ramp, of three lags or more. [K/s]
    gas : str
        One of GASES, with its usual lag.
    """
    return simple_firing(kiln, peak, hold + come_up(gas), rate, gas)


SAME = 1e-3
"""A target no further above its kiln's limit is at it: files are written in so many digits. [K]"""


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
        A target above the kiln's limit, or below 25 °C.
    """
    kiln = firing.kiln
    for number, segment in enumerate(firing.segments, 1):
        if segment.target > kiln.max_temperature + SAME:
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


def read_kiln(source: Place | Mapping[str, Any], where: str = "kiln") -> Kiln:
    """The kiln in a file, or in a table of another file.

    Parameters
    ----------
    source : path or mapping
        A kiln file, or a [kiln] table.
    where : str
        Place for the messages, where a table is given.

    Returns
    -------
    Kiln
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    table, where, _ = table_of(source, where)
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
        _controller(fields),
        _space(fields, "chamber"),
        _space(fields, "box"),
    )


def _space(kiln: Fields, name: str) -> Space | None:
    """The [chamber] or [box] table of a kiln; None without one."""
    if name not in kiln.table:
        return None
    fields = Fields(kiln.table[name], f"{kiln.where}: [{name}]", SPACE)
    given = [key for key in ("width_mm", "depth_mm", "diameter_mm") if key in fields.table]
    if given not in (["width_mm", "depth_mm"], ["diameter_mm"]):
        raise InputError(
            f"{fields.where}: has {' and '.join(given) or 'no width'}; allowed: width_mm and "
            "depth_mm, or diameter_mm"
        )
    sizes = [1e-3 * fields.number(key) for key in (*given, "height_mm")]
    return Space(sizes[0], sizes[-2], sizes[-1], round=given == ["diameter_mm"])


def _controller(kiln: Fields) -> Controller:
    """The [controller] table of a kiln, or one that takes anything in whole degrees and minutes."""
    if "controller" not in kiln.table:
        return USUAL_CONTROLLER
    fields = Fields(kiln.table["controller"], f"{kiln.where}: [controller]", CONTROLLER)
    segments = fields.number("segments") if "segments" in fields.table else 0.0
    if segments != int(segments):
        raise fields.refuse("segments", segments, f"a whole number from 1 to {MOST_SEGMENTS}")
    fahrenheit = fields.choice("degrees") == "F"
    size = 1.8 if fahrenheit else 1.0
    return Controller(
        int(segments),
        fields.choice("rates") == "numbers",
        fahrenheit,
        fields.number("step_degrees") / size,
        fields.number("step_per_h") / size / HOUR,
        fields.number("step_min") * MINUTE,
        given=True,
    )


def load_kilns(folders: Iterable[Place] = ()) -> dict[str, Kiln]:
    """All kilns by name: the shipped ones, then those in the users' folders' kilns/.

    Parameters
    ----------
    folders : iterable of path
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
    kilns: dict[str, Kiln] = Named("kiln")
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


def find_kiln(name: str, kilns: Mapping[str, Kiln], where: str = "") -> Kiln:
    """The kiln of that name, whatever its case.

    Parameters
    ----------
    name : str
        As a person types it.
    kilns : dict
        From `load_kilns`.
    where : str
        File for the message.

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

    Raises
    ------
    UnknownName
        With all there are.
    """
    if gas not in GASES:
        raise UnknownName("gas", gas, GASES, where)
    return gas


def read_firing(
    source: Place | Mapping[str, Any] | Rows | Firing,
    kilns: Mapping[str, Kiln] | None = None,
    where: str = "firing",
    **others: object,
) -> Firing:
    """The firing in a file, in a table of another file, or in rows.

    Parameters
    ----------
    source : path, mapping, rows or Firing
        A TOML file, what it would hold, or rows or an array of to_C, rate_C_per_h (or "full"),
        hold_min [°C], [°C/h], [min] and gas, the last two may be left out; a firing is returned
        as it is.
    kilns : mapping, optional
        Kilns by name, from `load_kilns`; by default the shipped ones.
    where : str
        Place for the messages, where no file is given.
    others
        Fields of a firing file that take the place of the source's: name, kiln, gas, lag_min.

    Returns
    -------
    Firing
        In SI, within what its kiln can do.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.

    Examples
    --------
    >>> import cofire as cf
    >>> cf.read_firing([(420, 60, 60), (860, 150, 75), (560, 60, 30)], gas="carbon")
    <Firing 'firing': 3 segments to 860 °C in carbon, small studio kiln>
    >>> cf.read_firing([(500, 60, 60), (40, "full"), (860, 150, 75, "carbon")], gas="air")
    <Firing 'firing': 3 segments to 860 °C in air, then carbon, small studio kiln>
    """
    if isinstance(source, Firing) and not others:
        return source
    if isinstance(source, Firing):
        raise InputError(f"{where}: {', '.join(others)} given with a firing that is complete")
    given: Any = source.tolist() if isinstance(source, np.ndarray) else source
    if isinstance(given, Sequence) and not isinstance(given, str | bytes):
        given = {"segment": [_row(row, f"{where}: segment {n}") for n, row in enumerate(given, 1)]}
    table, where, _ = table_of(given, where, f"{FILE_OR_TABLE}, or rows of {', '.join(ROW[:3])}")
    table |= others
    kilns = load_kilns() if kilns is None else kilns
    fields = Fields(table, where, FIRING)
    kiln_given = table.get("kiln")
    if isinstance(kiln_given, Kiln):
        kiln = kiln_given
    elif isinstance(kiln_given, dict):
        kiln = read_kiln(kiln_given, f"{where}: [kiln]")
    else:
        kiln = find_kiln(fields.text("kiln"), kilns, where)
    gas = fields.text("gas")
    known_gas(gas, where)
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
        own = known_gas(row.text("gas"), row.where) if "gas" in row.table else ""
        segments.append(Segment(target, rate, row.number("hold_min") * MINUTE, own))
    latest = fields.number("latest_h") * HOUR if "latest_h" in table else np.inf
    firing = Firing(fields.name(), kiln, tuple(segments), gas, latest=latest)
    usual = max(LAG[name] for name in firing.gases)
    firing = replace(firing, lag=fields.number("lag_min", default=usual / MINUTE) * MINUTE)
    return checked(firing, where)


ROW = ("to_C", "rate_C_per_h", "hold_min", "gas")


def _row(row: object, place: str) -> dict[str, Any]:
    """A segment given as a row, as a file has it."""
    if isinstance(row, Mapping):
        return dict(row)
    if isinstance(row, np.ndarray):
        row = row.tolist()
    refused = InputError(f"{place}: {show(row)}; write ({', '.join(ROW[:3])})")
    if not isinstance(row, Sequence) or isinstance(row, str) or not 2 <= len(row) <= len(ROW):
        raise refused
    if len(row) == len(ROW) and not isinstance(row[-1], str):  # a gas is a word
        raise refused
    return dict(zip(ROW, row, strict=False))
