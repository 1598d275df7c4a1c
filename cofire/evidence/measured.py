"""What a person measured on test pieces of one material, as they write it down.

One TOML file for one material. Every part may be left out; `examples/measured_fritted_body.toml`
is a full one with invented data:

    material = "fritted body"          # the card it is about
    length_uncertainty_mm = 0.05       # of one reading, one standard uncertainty; default 0.1
    temperature_uncertainty_C = 3      # from one firing to the next; default 3
    density_uncertainty_percent = 1    # of one bulk density; default 1
    kiln = "small studio kiln"         # how it cools; default
    lag_min = 0                        # of the pieces behind the temperatures given; default 0
    dried_mm = [[100.1, 96.2], ...]    # bars not fired: printed, dried
    dried_kg_m3 = [1650, ...]          # bulk density of dried bars

    [[firing]]
    name = "850, half an hour"
    rate_C_per_h = 150                 # one ramp, one hold of the pieces, then natural cooling;
    peak_C = 850                       # or log = "kiln.csv" with thermocouple = "ware" or "kiln"
    hold_min = 30
    bars_mm = [[100.0, 96.1, 85.6], ...]     # printed, dried, fired; or dried, fired
    upright_mm = [[20.0, 17.7], ...]         # the same along the printed height
    fired_kg_m3 = [2390, ...]                # bulk density of fired bars

    [firing.bending]                   # these bars at 20 °C; three points where load_mm = 0
    strengths_MPa = [48.1, 52.7, ...]
    support_mm = 40
    load_mm = 20
    width_mm = 4
    thickness_mm = 3

    [[firing.sag]]                     # bar on two supports; body = "raw", or "fired" before
    span_mm = 70
    thickness_mm = 5
    sag_mm = 3.4

    [[firing.strip]]                   # this material on top of its partner, flat when it set
    partner = "fine silver"
    length_mm = 80                     # straight line between the ends
    rise_mm = 0.42                     # of the middle, positive where the top is the longer
    thickness_mm = [2.0, 2.0]          # top, bottom

    [[dilatometer]]
    csv = "curve.csv"                  # columns temperature_C, strain_percent (or strain_ppm; from
    body = "raw"                       # 20 °C, or zero in the first row) and, if not at one rate,
    rate_C_per_h = 300                 # time_s, time_min, time_h; "raw" sinters, "fired" expands
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from cofire.errors import InputError
from cofire.fields import BENDING, CURVE, MEASURED, MEASURED_FIRING, SAG, STRIP
from cofire.files import Fields, Place, is_number, show, table_of
from cofire.firing.kiln import Trace, trace
from cofire.firing.log import HIDING, LONGEST_LOG, read_firing_log
from cofire.firing.program import Kiln, find_kiln, known_gas, load_kilns, simple_firing
from cofire.firing.sheets import Sheet, parse_number, read_sheet
from cofire.materials.card import FiredAt
from cofire.numerics import Array
from cofire.units import HOUR, MINUTE, ROOM, kelvin

# ----------------------------------------------------------------------------------------------
# What a person measured on test pieces of one material, as they write it down

PLAIN = ("rate_C_per_h", "peak_C", "hold_min")
LOGGED = ("log", "thermocouple", "unit", "time_unit", "column", "time_column")
MOST = 200
LONGEST_MM = 1000.0


@dataclass(frozen=True)
class Bending:
    """Strengths of like bars, and the bar where its size is known.

    Attributes
    ----------
    strength
        Shape (n,). [Pa]
    volume
        Between the supports; None where not told. [m³]
    load_over_support
        Inner over outer span, 0 for three points. [-]
    """

    strength: Array
    volume: float | None
    load_over_support: float


@dataclass(frozen=True)
class SagBar:
    """A bar on two supports that sagged in the firing. Lengths in m."""

    span: float
    thickness: float
    sag: float
    fired: bool


@dataclass(frozen=True)
class Strip:
    """A strip of this material on top of a partner, bowed after cooling. Lengths in m."""

    partner: str
    length: float
    rise: float
    rise_hot: float
    thickness: tuple[float, float]


@dataclass(frozen=True)
class FiredPieces:
    """One firing and the pieces that were in it.

    Attributes
    ----------
    trace
        What the pieces saw.
    plain
        Ramp, peak and hold, where it was as simple as that.
    bars, upright
        Dried and fired length, along the ring and along the printed height, shape (n, 2). [m]
    density
        Bulk, fired, shape (n,). [kg/m³]
    log
        How its log was read, and what was mended in it; empty without one.
    """

    name: str
    trace: Trace
    plain: FiredAt | None
    bars: Array
    upright: Array
    density: Array
    bending: Bending | None = None
    sags: tuple[SagBar, ...] = ()
    strips: tuple[Strip, ...] = ()
    log: tuple[str, ...] = ()

    @property
    def sintered(self) -> bool:
        """Whether a piece in it was measured for what it shrank, or how dense it is."""
        return bool(self.bars.size or self.upright.size or self.density.size)


@dataclass(frozen=True)
class Measured:
    """Everything measured on one material.

    Attributes
    ----------
    length_uncertainty, temperature_uncertainty, density_uncertainty
        One standard uncertainty: of one reading [m], of a firing's temperature [K], relative [-].
    dried
        Printed and dried length of all bars, shape (n, 2). [m]
    dried_density
        Bulk, shape (n,). [kg/m³]
    kiln, lag
        In which the bars are fired, and those advised will be; how far they are behind it, 0 where
        temperatures are the pieces' own. [s]
    """

    where: str
    material: str
    length_uncertainty: float
    temperature_uncertainty: float
    density_uncertainty: float
    dried: Array
    dried_density: Array
    firings: tuple[FiredPieces, ...]
    curves: tuple[Curve, ...]
    kiln: Kiln
    lag: float = 0.0


def _lengths(given: object, where: str, columns: tuple[int, ...]) -> list[list[float]]:
    """Rows of as many lengths as one of `columns` says, in m."""
    if not isinstance(given, list) or len(given) > MOST:
        raise InputError(f"{where}: {show(given)}; write a list of bars, at most {MOST}")
    rows = []
    for number, row in enumerate(given, 1):
        fitting = isinstance(row, list) and len(row) in columns and all(map(is_number, row))
        if not fitting or not all(1.0 <= value <= LONGEST_MM for value in row):
            raise InputError(
                f"{where}: bar {number}: {show(row)}; allowed: "
                f"{' or '.join(map(str, columns))} lengths of 1 to {LONGEST_MM:g} mm"
            )
        if any(b > 1.02 * a or b < 0.5 * a for a, b in pairwise(row)):
            raise InputError(
                f"{where}: bar {number}: {show(row)}; a bar shrinks, by less than half: "
                "printed, dried, fired"
            )
        rows.append([value / 1e3 for value in row])
    return rows


def _array(rows: list[list[float]]) -> Array:
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _densities(fields: Fields, key: str) -> Array:
    known = fields.spec[key]
    return fields.numbers(key, known.least, known.most) if key in fields.table else np.zeros(0)


def _bending(entry: object, where: str) -> Bending:
    size = ("support_mm", "load_mm", "width_mm", "thickness_mm")
    fields = Fields(entry, where, BENDING)
    known = BENDING["strengths_MPa"]
    strength = fields.numbers("strengths_MPa", known.least, known.most) * 1e6
    if not any(key in fields.table for key in size):
        return Bending(strength, None, 0.5)
    support = fields.number("support_mm")
    load = fields.number("load_mm", most=support)
    section = fields.number("width_mm") * fields.number("thickness_mm")
    return Bending(strength, support * section * 1e-9, load / support)


def _sag(entry: object, where: str) -> SagBar:
    fields = Fields(entry, where, SAG)
    span = fields.number("span_mm")
    return SagBar(
        span / 1e3,
        fields.number("thickness_mm", most=0.25 * span) / 1e3,
        fields.number("sag_mm", most=0.2 * span) / 1e3,
        fields.choice("body") == "fired",
    )


def _strip(entry: object, where: str) -> Strip:
    fields = Fields(entry, where, STRIP)
    length = fields.number("length_mm")
    known = STRIP["thickness_mm"]
    thickness = fields.numbers("thickness_mm", known.least, known.most, known.unit)
    if thickness.size != 2:
        raise fields.refuse("thickness_mm", thickness.tolist(), "two: of this material, of partner")
    most = 0.2 * length
    return Strip(
        fields.text("partner"),
        length / 1e3,
        fields.number("rise_mm", -most, most) / 1e3,
        fields.number("rise_hot_mm", -most, most) / 1e3,
        (float(thickness[0]) / 1e3, float(thickness[1]) / 1e3),
    )


def _each(fields: Fields, key: str) -> list[tuple[object, str]]:
    """Entries of [[firing.key]] with their places."""
    given = fields.table.get(key, [])
    if not isinstance(given, list):
        raise InputError(f"{fields.where}: {key}: write it as [[firing.{key}]]")
    return [(entry, f"{fields.where}: {key} {n}") for n, entry in enumerate(given, 1)]


def _curve_of(
    fields: Fields, kiln: Kiln, lag: float, folder: Path
) -> tuple[Trace, FiredAt | None, tuple[str, ...]]:
    """What the pieces of one firing saw, as a plain firing too, and how its log was read."""
    gas = known_gas(fields.text("gas"), fields.where)
    lag = fields.number("lag_min", default=lag / MINUTE) * MINUTE
    given = [key for key in PLAIN if key in fields.table]
    if "log" in fields.table:
        if given:
            raise InputError(f"{fields.where}: {given[0]}: not with a log; leave one of them out")
        options = {k: fields.text(k) for k in LOGGED[1:] if k in fields.table}
        if "unit" in options:
            options["temperature_unit"] = options.pop("unit")
        path = folder / fields.text("log")
        seen = read_firing_log(path, lag=lag, gas=gas, **options)
        if seen.hidden is not None:
            note = next(line for line in seen.notes if HIDING in line)
            raise InputError(
                f"{path}: {note}; allowed: a log that shows it, or {', '.join(PLAIN)} without a log"
            )
        read = ("; ".join(seen.found), *seen.notes)
        return seen.trace, None, tuple(f"{path}: {line}" for line in read)
    plain = FiredAt(
        fields.number("rate_C_per_h") / HOUR,
        kelvin(fields.number("peak_C")),
        fields.number("hold_min") * MINUTE,
        gas,
    )
    try:
        firing = simple_firing(kiln, plain.peak, plain.hold, plain.rate, gas, lag)
    except InputError as error:
        raise InputError(f"{fields.where}: {error}") from None
    return trace(firing), plain if lag == 0.0 else None, ()


def _firing(
    entry: object, where: str, kiln: Kiln, lag: float, folder: Path
) -> tuple[FiredPieces, list[list[float]]]:
    """The pieces of one firing, and printed and dried lengths of its bars."""
    fields = Fields(entry, where, MEASURED_FIRING)
    seen, plain, log = _curve_of(fields, kiln, lag, folder)
    bars = _lengths(fields.table.get("bars_mm", []), f"{where}: bars_mm", (2, 3))
    upright = _lengths(fields.table.get("upright_mm", []), f"{where}: upright_mm", (2, 3))
    bending = None
    if "bending" in fields.table:
        bending = _bending(fields.table["bending"], f"{where}: bending")
    pieces = FiredPieces(
        name=fields.name(),
        trace=seen,
        plain=plain,
        bars=_array([row[-2:] for row in bars]),
        upright=_array([row[-2:] for row in upright]),
        density=_densities(fields, "fired_kg_m3"),
        bending=bending,
        sags=tuple(_sag(*each) for each in _each(fields, "sag")),
        strips=tuple(_strip(*each) for each in _each(fields, "strip")),
        log=log,
    )
    return pieces, [row[:2] for row in bars if len(row) == 3]


def read_measured(
    source: Place | Mapping[str, Any], kilns: Mapping[str, Kiln] | None = None
) -> Measured:
    """The measurements in a file, in the form that this module describes.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or what it would hold; logs and curves may lie in files beside it.
    kilns : mapping, optional
        Kilns by name; by default the shipped ones.

    Returns
    -------
    Measured
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed; or nothing measured.
    """
    kilns = load_kilns() if kilns is None else kilns
    table, where, folder = table_of(source, "measured")
    fields = Fields(table, where, MEASURED)
    kiln = find_kiln(fields.text("kiln"), kilns, where)
    lag = fields.number("lag_min") * MINUTE
    dried = _lengths(table.get("dried_mm", []), f"{where}: dried_mm", (2,))
    listed = {key: table.get(key, []) for key in ("firing", "dilatometer")}
    for key, value in listed.items():
        if not isinstance(value, list) or len(value) > MOST:
            raise InputError(f"{where}: {key}: {show(value)}; write it as [[{key}]]")
    firings = []
    for number, entry in enumerate(listed["firing"], 1):
        pieces, more = _firing(entry, f"{where}: firing {number}", kiln, lag, folder)
        firings.append(pieces)
        dried += more
    curves = tuple(
        read_curve(entry, f"{where}: dilatometer {n}", folder)
        for n, entry in enumerate(listed["dilatometer"], 1)
    )
    measured = Measured(
        where=where,
        material=fields.text("material"),
        length_uncertainty=fields.number("length_uncertainty_mm") / 1e3,
        temperature_uncertainty=fields.number("temperature_uncertainty_C"),
        density_uncertainty=fields.number("density_uncertainty_percent") / 100.0,
        dried=_array(dried),
        dried_density=_densities(fields, "dried_kg_m3"),
        firings=tuple(firings),
        curves=curves,
        kiln=kiln,
        lag=lag,
    )
    if not (dried or measured.dried_density.size or firings or curves):
        raise InputError(f"{where}: nothing measured in it; give bars, strengths, sags or a curve")
    return measured


# ----------------------------------------------------------------------------------------------
# A dilatometer's curve: length change over temperature, as a natural strain

STRAINS = {"strain_percent": 1e-2, "strain_ppm": 1e-6}
TIMES = {"time_s": 1.0, "time_min": MINUTE, "time_h": HOUR}
FEWEST = 8
LARGEST = 0.5
"""Length change. [-]"""
FAR = 1e12
"""No clock is further from its zero. [s]"""
COLDEST, HOTTEST = kelvin(-80.0), kelvin(2400.0)


@dataclass(frozen=True)
class Curve:
    """Length change of one bar, from its length at 20 °C or from that of its first row.

    Attributes
    ----------
    fired
        True where the bar was fired before, so that it expands but does not sinter.
    time
        Rising, shape (R,); whole numbers where no time is known. [s]
    temperature
        Shape (R,). [K]
    strain
        Natural, shape (R,). [-]
    """

    name: str
    fired: bool
    time: Array
    temperature: Array
    strain: Array


def _numbers(sheet: Sheet, title: str) -> Array:
    column = sheet.find(title)
    values = []
    for line, cell in zip(sheet.lines, sheet.column(column), strict=True):
        read = parse_number(cell, sheet.decimal)
        if read is None:
            raise InputError(f"{sheet.where}: line {line}, {title}: {show(cell)} is not a number")
        values.append(read[0])
    return np.array(values)


def _one_of(sheet: Sheet, known: dict[str, float]) -> str | None:
    found = [name for name in known if name.casefold() in {h.casefold() for h in sheet.header}]
    if len(found) > 1:
        raise InputError(f"{sheet.where}: columns {' and '.join(found)}; leave one of them out")
    return found[0] if found else None


def read_curve(entry: object, where: str, folder: Path) -> Curve:
    """The curve of one [[dilatometer]] entry.

    Parameters
    ----------
    entry : object
        What the file says: csv, body, and rate_C_per_h for a raw bar without times.
    where : str
        Place for the messages.
    folder : Path
        Where its file lies.

    Returns
    -------
    Curve
        In SI.

    Raises
    ------
    InputError
        With the file's line, or the field, and what is allowed.
    """
    fields = Fields(entry, where, CURVE)
    sheet = read_sheet(folder / fields.text("csv"))
    fired = fields.choice("body") == "fired"
    strained = _one_of(sheet, STRAINS)
    if strained is None:
        raise InputError(
            f"{sheet.where}: columns {show(list(sheet.header))}; "
            f"needs temperature_C and {' or '.join(STRAINS)}"
        )
    temperature = kelvin(_numbers(sheet, "temperature_C"))
    change = _numbers(sheet, strained) * STRAINS[strained]
    for what, wrong, allowed in (
        ("temperature_C", (temperature < COLDEST) | (temperature > HOTTEST), "-80 to 2400"),
        (strained, np.abs(change) > LARGEST, f"a change by less than {100 * LARGEST:.0f} %"),
    ):
        if wrong.any():
            row = int(np.argmax(wrong))
            given = sheet.column(sheet.find(what))[row]
            raise InputError(
                f"{sheet.where}: line {sheet.lines[row]}, {what}: {given}; allowed: {allowed}"
            )
    if temperature.size < FEWEST:
        raise InputError(f"{sheet.where}: {temperature.size} rows; allowed: {FEWEST} or more")
    name = fields.name("name", str(fields.table["csv"]))
    timed = _one_of(sheet, TIMES)
    if timed is not None:
        clock = _numbers(sheet, timed)
        time = np.clip(clock, -FAR, FAR)
        bad = (time != clock) | (time - time[0] > LONGEST_LOG / TIMES[timed])
        if bad.any():
            row = int(np.argmax(bad))
            raise InputError(
                f"{sheet.where}: line {sheet.lines[row]}, {timed}: "
                f"{sheet.column(sheet.find(timed))[row]}; allowed: at most "
                f"{LONGEST_LOG / TIMES[timed]:g} after the first row"
            )
        time = (time - time[0]) * TIMES[timed]
        bad = np.diff(time, prepend=-1.0) <= 0.0
        if bad.any():
            line = sheet.lines[int(np.argmax(bad))]
            raise InputError(f"{sheet.where}: line {line}, {timed}: does not rise; sort the rows")
    elif fired:
        time = np.arange(temperature.size, dtype=np.float64)
    else:
        rate = fields.number("rate_C_per_h") / HOUR
        bad = np.diff(temperature, prepend=0.0) <= 0.0
        if bad.any():
            line = sheet.lines[int(np.argmax(bad))]
            raise InputError(
                f"{sheet.where}: line {line}, temperature_C: does not rise, as it must without a "
                f"column {' or '.join(TIMES)}"
            )
        time = (temperature - temperature[0]) / rate
    if not fired and temperature[0] > ROOM + 1.0:  # how it came there matters little
        lead = (temperature[0] - ROOM) * max(
            (time[-1] - time[0]) / max(float(np.ptp(temperature)), 1.0), 1e-3
        )
        time = time + lead
    return Curve(name, fired, time, temperature, np.log1p(change))
