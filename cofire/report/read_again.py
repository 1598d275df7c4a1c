"""Vessels and firings as files that cofire reads again: TOML, the user's own with other bands.

What is written here is read back by the tests, over random contents.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Collection, Mapping
from datetime import date, time
from pathlib import Path
from types import MappingProxyType
from typing import Any

from cofire.errors import InputError
from cofire.files import read_text, read_toml, seen_from, show
from cofire.firing.controller import longer, on_step, slower
from cofire.firing.program import FULL, Controller, Firing, Kiln, Segment
from cofire.numerics import Array
from cofire.report.writing import table_text
from cofire.units import HOUR, MINUTE, celsius
from cofire.vessel import BINDER, Vessel, is_blend

PROFILE, TAPER_PROFILE = "profile.csv", "taper_profile.csv"
FIRING = "firing.toml"
BARE = re.compile(r"[A-Za-z0-9_-]+")
"""Keys that TOML takes without quotes."""


def planned_vessel(source: Path, vessel: Vessel, place: Path) -> dict[str, str]:
    """Files of a planned vessel, to lie beside its firing file.

    Parameters
    ----------
    source : Path
        The vessel file that was planned.
    vessel : Vessel
        The proposal.
    place : Path
        The folder they will lie in, from which they name the tables it was judged by.

    Returns
    -------
    dict
        Text by name: vessel.toml, and the profile where that is a file of its own.
    """
    table = {**read_toml(source), **_tables(vessel, place)}
    files = {}
    profile = table.get("profile")
    if isinstance(profile, dict) and "csv" in profile:
        files[PROFILE] = read_text(source.parent / str(profile["csv"]))
        table["profile"] = {**profile, "csv": PROFILE}
    table["firing"] = FIRING
    bands: list[dict[str, Any]] = [
        {"material": b.material, "to_mm": round(b.high * 1e3, 6)} for b in vessel.bands
    ]
    del bands[-1]["to_mm"]
    notes = {str(b["material"]): b["note"] for b in table["band"] if "note" in b}
    for band in bands:  # a note stays with the paste that it was written to
        if band["material"] in notes:
            band["note"] = notes[band["material"]]
    spots = [(0, 0), (-1, -1)]
    if vessel.upper is not None:  # a band in the middle
        was, at = (
            next(k for k, band in enumerate(some[1:-1], 1) if not is_blend(str(band["material"])))
            for some in (table["band"], bands)
        )
        spots.append((was, at))
    for was, at in spots:  # and what a plan may do to the pure zones as it was written
        for key in ("height", "note"):
            if key in table["band"][was]:
                bands[at][key] = table["band"][was][key]
    table["band"] = bands
    free = table.get("free", {})
    if "dead_volume_ml" in free:
        dead = round(vessel.printer.dead_volume * 1e6, 4)
        table["printer"] = {**table["printer"], "dead_volume_ml": dead}
    if "wall_mm" in free:  # a floor keeps its own thickness, which left out would be the wall's
        wall = {"wall_mm": round(float(vessel.wall[-1]) * 1e3, 4)}
        table["profile"] = {**table["profile"], **wall, **_floor(vessel)}
    files["vessel.toml"] = toml(table)
    return files


def tapered_vessel(source: Path, vessel: Vessel, name: str, place: Path) -> dict[str, str]:
    """Files of a planned vessel whose wall was tapered, to lie beside its firing file.

    Parameters
    ----------
    source : Path
        The vessel file that was planned.
    vessel : Vessel
        From `Vessel.with_taper`.
    name : str
        Of its file.
    place : Path
        As for `planned_vessel`.

    Returns
    -------
    dict
        Text by name: that file and the profile, whose points are those of the wall.
    """
    table = tomllib.loads(planned_vessel(source, vessel, place)["vessel.toml"])
    if "free" in table:
        table["free"].pop("wall_mm", None)  # of cylinders alone
    return _with_points(table, vessel, name, TAPER_PROFILE)


def part_vessel(
    source: Path, part: Vessel, name: str, powders: Collection[str], place: Path
) -> dict[str, str]:
    """Files of one part of a planned vessel whose zones stand apart, to lie beside its firing file.

    Parameters
    ----------
    source : Path
        The vessel file that was planned.
    part : Vessel
        Of one paste.
    name : str
        Of its file; its profile has the same with another ending.
    powders : collection of str
        Names of those in its paste: what else the source has a price for is left out.
    place : Path
        As for `planned_vessel`.

    Returns
    -------
    dict
        Text by name: that file and the profile.
    """
    table = {k: v for k, v in read_toml(source).items() if k not in ("joint", "free")}
    table |= _tables(part, place)
    table |= {"name": part.name, "firing": FIRING, "band": [{"material": part.bands[0].material}]}
    if "per_kg" in table.get("prices", {}):
        listed = table["prices"]["per_kg"].items()
        kept = {own: price for own, price in listed if own in {*powders, BINDER}}
        table["prices"] = table["prices"] | {"per_kg": kept}
    return _with_points(table, part, name, f"{Path(name).stem}_profile.csv")


def _tables(vessel: Vessel, place: Path) -> dict[str, Any]:
    """What a vessel file says of the user's own tables; nothing where there are none."""
    listed = [seen_from(place, folder) for folder in vessel.tables]
    return {"tables": listed} if listed else {}


def _with_points(table: dict[str, Any], vessel: Vessel, name: str, csv: str) -> dict[str, str]:
    """A vessel file whose profile is a file of the points of its wall, and that file."""
    surface = "outside" if vessel.free.outside else "middle"
    table["profile"] = {"csv": csv, "surface": surface, **_floor(vessel)}
    columns = zip(("z_mm", "r_mm", "wall_mm"), vessel.drawn, strict=True)
    points = {column: [f"{1e3 * v:.5f}" for v in values] for column, values in columns}
    return {name: toml(table), csv: table_text(points)}


def _floor(vessel: Vessel) -> dict[str, Any]:
    """What a [profile] says of the floor of a vessel; nothing where it has none."""
    if vessel.radius[0] > 0.0:
        return {}
    return {"base": "flat", "base_mm": round(1e3 * float(vessel.wall[0]), 6)}


def toml(table: dict[str, Any], name: str = "") -> str:
    """A table as TOML: numbers, texts, lists of them, tables and lists of tables.

    Parameters
    ----------
    table : dict
        As a TOML file parses.
    name : str
        Of the table, for its heading.

    Returns
    -------
    str
        Plain values first, then tables.
    """
    lines, tables = [], []
    for key, value in table.items():
        path = f"{name}.{toml_key(key)}" if name else toml_key(key)
        if isinstance(value, dict):
            tables.append(f"\n[{path}]\n{toml(value, path)}")
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            tables += [f"\n[[{path}]]\n{toml(v, path)}" for v in value]
        else:
            lines.append(f"{toml_key(key)} = {toml_value(value)}\n")
    return "".join(lines) + "".join(tables)


def toml_key(key: str) -> str:
    """A key as TOML writes it: bare where it may be, else in quotes.

    Parameters
    ----------
    key : str
        Any text.

    Returns
    -------
    str
        Read back as the key.

    Examples
    --------
    >>> print(toml_key("per_kg"), toml_key("fine silver"))
    per_kg "fine silver"
    """
    return key if BARE.fullmatch(key) else toml_value(key)


def toml_value(value: Any) -> str:
    """A value as TOML writes it, on one line.

    Parameters
    ----------
    value : any
        A number, a text, a date or time, a list or a table.

    Returns
    -------
    str
        Read back as the same.

    Raises
    ------
    InputError
        A text that is none: bytes of a command line that are not UTF-8.

    Examples
    --------
    >>> print(toml_value(["grès 3 = +", 2, True, {"to C": 850.0}]))
    ["grès 3 = +", 2, true, {"to C" = 850.0}]
    """
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, dict):
        pairs = (f"{toml_key(key)} = {toml_value(held)}" for key, held in value.items())
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        if not value.isprintable() and any("\ud800" <= c <= "\udfff" for c in value):
            raise InputError(f"{show(value)}: not a text; allowed: UTF-8")
        # JSON and TOML write texts alike but for one character that TOML wants escaped
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return value.isoformat() if isinstance(value, date | time) else repr(value)


# ----------------------------------------------------------------------------------------------
# Bands and firing of a plan as tables and as a firing file


def rate_text(segment: Segment) -> str:
    """Ramp of a segment in °C/h, or "full". [°C/h]

    Parameters
    ----------
    segment : Segment
        The segment.

    Returns
    -------
    str
        As a firing file has it.
    """
    return whole(segment.rate * HOUR) if segment.rate < float("inf") else FULL


def whole(value: float) -> str:
    """A number that is set: without decimals where it has none, else to a tenth.

    Parameters
    ----------
    value : float
        Any. [any]

    Examples
    --------
    >>> whole(150.0000001), whole(62.5)
    ('150', '62.5')
    """
    return f"{round(value, 1) + 0.0:.10g}"


def in_its_degrees(segment: Segment, controller: Controller) -> tuple[str, str, str]:
    """Rate, target and hold of a segment as they are set on its controller, in its steps.

    What lies between two steps is set to the nearest temperature, the next rate down and the next
    hold up: the steps are whole degrees and minutes unless the kiln's file says otherwise.

    Parameters
    ----------
    segment : Segment
        The segment.
    controller : Controller
        With its degrees and steps.

    Returns
    -------
    tuple of str
        In °C/h and °C, or °F/h and °F; the hold in min.
    """
    size, zero = (1.8, 32.0) if controller.fahrenheit else (1.0, 0.0)
    rate, target = slower(controller, segment.rate), on_step(controller, segment.target)
    hold = longer(controller, segment.hold)

    def shown(value: float) -> str:
        return f"{value:.6g}"

    return (
        shown(size * rate * HOUR) if rate < math.inf else FULL,
        shown(zero + size * celsius(target) + 0.0),
        shown(hold / MINUTE),
    )


def bands_csv(vessel: Vessel) -> str:
    """Bands from the foot up, in the fired size and in layers of the printer.

    Parameters
    ----------
    vessel : Vessel
        With its bands.

    Returns
    -------
    str
        Columns band, material, from_mm, to_mm.
    """
    return table_text(
        {
            "band": range(1, len(vessel.bands) + 1),
            "material": [b.material for b in vessel.bands],
            "from_mm": [f"{b.low * 1e3:.2f}" for b in vessel.bands],
            "to_mm": [f"{b.high * 1e3:.2f}" for b in vessel.bands],
        }
    )


def firing_csv(firing: Firing, reasons: dict[int, str] | None = None) -> str:
    """Segments as the kiln is told.

    Parameters
    ----------
    firing : Firing
        The firing.
    reasons : dict, optional
        Why, by index of the segment.

    Returns
    -------
    str
        Columns segment, rate_C_per_h, to_C, hold_min, why.
    """
    segments = firing.segments
    return table_text(
        {
            "segment": range(1, len(segments) + 1),
            "rate_C_per_h": [rate_text(s) for s in segments],
            "to_C": [whole(celsius(s.target)) for s in segments],
            "hold_min": [whole(s.hold / MINUTE) for s in segments],
            "why": [(reasons or {}).get(n, "") for n in range(len(segments))],
        }
    )


NO_KILNS: Mapping[str, Kiln] = MappingProxyType({})
"""Where a firing's file is to hold its kiln."""


def firing_toml(firing: Firing, kilns: Mapping[str, Kiln] = NO_KILNS) -> str:
    """The firing as a file that cofire reads.

    Parameters
    ----------
    firing : Firing
        The firing.
    kilns : mapping
        Kilns that may be named; any other is written out, and one that only bears such a name.

    Returns
    -------
    str
        TOML.
    """
    lines = [
        f"name = {toml_value(firing.name)}",
        f'gas = "{firing.gas}"',
        f"lag_min = {firing.lag / MINUTE:g}",
        *([f"latest_h = {firing.latest / HOUR:g}"] if firing.latest < math.inf else []),
    ]
    if known_kiln(firing.kiln, kilns):
        lines.insert(1, f"kiln = {toml_value(firing.kiln.name)}")
    else:
        lines += kiln_rows(firing.kiln)
    for s in firing.segments:
        lines += ["", "[[segment]]", *(f"{key} = {value}" for key, value in segment_row(s).items())]
        lines += [f'gas = "{s.gas}"'] if s.gas else []
    return "\n".join(lines) + "\n"


def segment_row(segment: Segment) -> dict[str, str]:
    """Target, ramp and hold of a segment as a firing file has them.

    Parameters
    ----------
    segment : Segment
        The segment.

    Returns
    -------
    dict
        Text by key, with digits by which a step in °F is still known as one. [°C], [°C/h], [min]

    Examples
    --------
    >>> from cofire.firing.program import Segment
    >>> segment_row(Segment(822.0388888889, 100 / 1.8 / 3600, 1800.0))
    {'to_C': '548.888889', 'rate_C_per_h': '55.5555556', 'hold_min': '30'}
    """
    rate = f"{segment.rate * HOUR:.9g}" if segment.rate < float("inf") else f'"{FULL}"'
    return {
        "to_C": f"{celsius(segment.target):.9g}",
        "rate_C_per_h": rate,
        "hold_min": f"{segment.hold / MINUTE:.6g}",
    }


def known_kiln(kiln: Kiln, kilns: Mapping[str, Kiln]) -> bool:
    """Whether the kiln of that name is this one, in everything that a file says of a kiln.

    Parameters
    ----------
    kiln : Kiln
        Of a firing.
    kilns : mapping
        Kilns by name.

    Returns
    -------
    bool
        False too where there is none of that name.
    """
    return kiln.name in kilns and kiln_rows(kilns[kiln.name]) == kiln_rows(kiln)


def kiln_rows(kiln: Kiln) -> list[str]:
    """A kiln as a table of its firing file, in as many digits as its segments.

    Parameters
    ----------
    kiln : Kiln
        Of a firing.

    Returns
    -------
    list of str
        Lines of TOML, the first one empty.
    """

    def numbers(values: Array) -> str:
        return "[" + ", ".join(f"{value:.9g}" for value in values) + "]"

    rows = [
        "",
        "[kiln]",
        f"name = {toml_value(kiln.name)}",
        f"max_temperature_C = {celsius(kiln.max_temperature):.9g}",
    ]
    if kiln.source:
        rows.append(f"source = {toml_value(kiln.source)}")
    for name, temperature, rate in (
        ("heating", kiln.heating_temperature, kiln.heating_rate),
        ("cooling", kiln.cooling_temperature, kiln.cooling_rate),
    ):
        rows += [
            "",
            f"[kiln.{name}]",
            f"temperature_C = {numbers(celsius(temperature))}",
            f"rate_C_per_h = {numbers(rate * HOUR)}",
        ]
    controller = kiln.controller
    if controller.given:
        size = 1.8 if controller.fahrenheit else 1.0
        rows += [
            "",
            "[kiln.controller]",
            *([f"segments = {controller.segments}"] if controller.segments else []),
            f'rates = "{"numbers" if controller.numbers else FULL}"',
            f'degrees = "{"F" if controller.fahrenheit else "C"}"',
            f"step_degrees = {size * controller.temperature:.9g}",
            f"step_per_h = {size * controller.rate * HOUR:.9g}",
            f"step_min = {controller.time / MINUTE:.9g}",
        ]
    for name, space in (("chamber", kiln.chamber), ("box", kiln.box)):
        if space is not None:
            sizes = {"width_mm": space.width, "depth_mm": space.depth, "height_mm": space.height}
            if space.round:
                sizes = {"diameter_mm": space.width, "height_mm": space.height}
            rows += [
                "",
                f"[kiln.{name}]",
                *(f"{k} = {1e3 * size:.9g}" for k, size in sizes.items()),
            ]
    return rows
