"""Reading a vessel as a person writes it: profile, wall, bands, printer, limits, prices, firing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.fields import (
    BAND,
    CHOICES,
    JOINT,
    MOST_BANDS,
    MOST_POINTS,
    PASTE,
    PRICES,
    PRINTER,
    PROFILE,
    VESSEL,
    Table,
)  # fmt: skip
from cofire.files import Fields, Place, cell_number, is_number, read_rows, show, table_of
from cofire.firing.program import Firing, Kiln, Rows, load_kilns, read_firing
from cofire.numerics import Array, chord_lengths
from cofire.units import HOUR
from cofire.vessel import (
    AT_LEAST,
    FIXED,
    FREE,
    THINNEST,
    Band,
    Freedom,
    JointLimits,
    Mixing,
    OpenFiring,
    Prices,
    Printer,
    Vessel,
    is_blend,
)

JOULES_PER_KILOWATT_HOUR = 3.6e6


def _table(table: dict[str, Any], name: str, where: str, known: Table) -> Fields:
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
    fields, usual = _table(table, "printer", where, PRINTER), Printer()
    layer = fields.number("layer_mm") / 1e3
    nozzle = max(usual.nozzle, 2.0 * layer) * 1e3
    return Printer(
        layer,
        fields.number("dead_volume_ml") / 1e6,
        fields.number("tanks"),
        fields.number("nozzle_mm", least=layer * 1e3, default=nozzle) / 1e3,
        given="printer" in table,
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
    fields = _table(table, "paste", where, PASTE)
    return Mixing(fields.number("waste_percent") / 100.0, fields.number("scale_g") / 1e3)


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
    fields = _table(table, "prices", where, PRICES)
    listed = fields.table.get("per_kg", {})
    if not isinstance(listed, dict):
        raise fields.refuse("per_kg", listed, 'a table of names, such as "fine silver" = 900')
    each = PRICES["per_kg"]
    rows = Fields(listed, f"{where}: [prices.per_kg]", dict.fromkeys(listed, each))
    asked = [name for name in ("per_kWh", "kiln_kW") if name in fields.table]
    if len(asked) == 1:
        raise InputError(f"{fields.where}: {asked[0]} alone; give per_kWh and kiln_kW, or neither")
    return Prices(
        fields.text("currency"),
        tuple((name, rows.number(name)) for name in listed),
        fields.number("per_kWh") / JOULES_PER_KILOWATT_HOUR,
        fields.number("kiln_kW") * 1e3,
        fields.number("per_hour") / HOUR,
    )


LARGEST_MM = PROFILE["height_mm"].most
FLATTEST = 0.17
"""Least rise of an outside over its length: 80° from upright. Estimate. [-]"""
KEEP = 0.3
"""Share of the smaller zone that a plan leaves pure where the file does not say. [-]"""
FORMS = {
    "shape": ("shape", "height_mm", "radius_mm", "rim_radius_mm", "wall_mm"),
    "points_mm": ("points_mm", "wall_mm"),
    "csv": ("csv",),
}
"""Ways to give a profile, and the fields that belong to each."""
ANY_FORM = ("surface", "base", "base_mm")
ROUND_ONLY = (
    "only round vessels are calculated, from foot to rim without a handle, a spout, a corner or an "
    'opening in the wall; allowed: "cylinder", "cone", or points_mm or csv instead of shape'
)
NOT_ROUND = ("handle", "handles", "spout", "lid", "corners", "sides", "opening", "lobes", "facets")
"""Names by which a person asks for what is not calculated."""


def mid_surface(radius: Array, height: Array, wall: Array) -> tuple[Array, Array, Array]:
    """Mid-surface of a wall whose outside is a smooth curve through given points.

    The wall is built of level rings. A ring of a wall that leans by β is h / cos β wide, and its
    middle lies half of that inside the outside at the same height: foot and rim are cut level,
    and every height stays what it was. Two points are joined by a straight line; between more,
    the curve is sampled more closely than the wall is thick.

    Parameters
    ----------
    radius, height
        Outside profile from foot to rim, rising, shape (P,). [m]
    wall
        Thickness normal to the outside, shape (P,). [m]

    Returns
    -------
    tuple of array
        Radius and height of the mid-surface and the thickness normal to it, shape (Q,), Q >= P;
        where the middle leans otherwise than the outside, that keeps the ring as wide. [m]

    Raises
    ------
    InputError
        The curve between the points turns back on itself.
    """
    chord = chord_lengths(radius, height)
    if radius.size == 2:
        width = wall * chord[-1] / (height[-1] - height[0])
        return radius - 0.5 * width, height, wall
    from scipy.interpolate import CubicSpline  # slow to import; a straight wall needs none

    parts = [np.linspace(0.0, 1.0, n, endpoint=False) for n in _cuts(chord, wall)]
    place = np.concatenate(
        [*(chord[k] + (chord[k + 1] - chord[k]) * part for k, part in enumerate(parts)), chord[-1:]]
    )
    curve = CubicSpline(chord, np.stack([radius, height], axis=1))
    (r, z), (slope_r, slope_z) = curve(place).T, curve(place, 1).T
    back = slope_z <= FLATTEST * np.hypot(slope_r, slope_z)
    if np.any(back):
        at = float(height[int(np.searchsorted(chord, place[int(np.argmax(back))], "right")) - 1])
        raise InputError(
            f"the smooth curve through the points folds back or runs level just above "
            f"{1e3 * at:g} mm; give more points there, or let the wall rise more steeply"
        )
    width = np.interp(place, chord, wall) * np.hypot(slope_r, slope_z) / slope_z
    middle = r - 0.5 * width
    along = chord_lengths(middle, z)
    if np.any(np.diff(z) <= 0.0):
        raise InputError("two points of the outside lie too near to each other; take one out")
    lean = np.arctan2(*CubicSpline(along, np.stack([middle, z], axis=1))(along, 1).T)
    return middle, z, width * np.cos(lean)


def _cuts(chord: Array, wall: Array) -> NDArray[np.intp]:
    """Into how many parts each stretch between points is cut, at most some 400 in all."""
    finest = max(0.5 * float(wall.min()), float(chord[-1]) / 400.0)
    return np.maximum(1, np.ceil(np.diff(chord) / finest)).astype(np.intp)


def _points(fields: Fields, folder: Path) -> tuple[Array, Array, Array]:
    """Radius, height and wall in m, as listed or from a CSV file."""
    table = fields.table
    if "csv" in table:
        return _csv_points(folder / fields.text("csv"))
    listed = table["points_mm"]
    if not isinstance(listed, list) or not 2 <= len(listed) <= MOST_POINTS:
        raise InputError(
            f"{fields.where}: points_mm = {show(listed)}; give 2 to {MOST_POINTS} points as "
            "[[height, radius], ...] from the foot up"
        )
    for number, point in enumerate(listed, 1):
        if not (isinstance(point, list) and len(point) == 2 and all(map(is_number, point))):
            raise InputError(
                f"{fields.where}: points_mm: point {number}: {show(point)}; write [height, radius]"
            )
    points = np.array(listed, dtype=np.float64) / 1e3
    wall = np.full(len(points), fields.number("wall_mm") / 1e3)
    return points[:, 1], points[:, 0], wall


def _csv_points(path: Path) -> tuple[Array, Array, Array]:
    """Points from a file with the columns z_mm, r_mm, wall_mm."""
    wanted = ("z_mm", "r_mm", "wall_mm")
    found = [
        [cell_number(row, column, place) for column in wanted]
        for place, row in read_rows(path, wanted)
    ]
    if not 2 <= len(found) <= MOST_POINTS:
        raise InputError(f"{path}: {len(found)} points; allowed: 2 to {MOST_POINTS}")
    z, r, wall = np.array(found).T / 1e3
    return r, z, wall


def _shape(fields: Fields) -> tuple[Array, Array, Array]:
    """Points of a short parametric form, outside or middle as the profile says."""
    if fields.table["shape"] not in PROFILE["shape"].words:
        raise fields.complain("shape", fields.table["shape"], f": {ROUND_ONLY}")
    shape = fields.choice("shape")
    height = fields.number("height_mm") / 1e3
    radius = fields.number("radius_mm") / 1e3
    wall = fields.number("wall_mm") / 1e3
    rim = radius
    if shape == "cone":
        rim = fields.number("rim_radius_mm") / 1e3
    elif "rim_radius_mm" in fields.table:
        raise InputError(f'{fields.where}: rim_radius_mm: only with shape = "cone"; leave it out')
    return np.array([radius, rim]), np.array([0.0, height]), np.array([wall, wall])


def _refuse_not_round(table: dict[str, Any], where: str) -> None:
    """The complaint about a handle or a corner, before that about an unknown field."""
    for name in table:
        if name.removesuffix("_mm") in NOT_ROUND:
            raise InputError(f"{where}: {name}: {ROUND_ONLY}")


def _form(profile: object, where: str) -> Fields:
    """The [profile] table, with the fields of one form and no others."""
    if not isinstance(profile, dict):
        raise InputError(f"{where}: missing; give one of {', '.join(FORMS)}")
    _refuse_not_round(profile, where)
    fields = Fields(profile, where, PROFILE)
    forms = [form for form in FORMS if form in profile]
    if len(forms) != 1:
        found = " and ".join(forms) or "no form"
        raise InputError(f"{where}: {found}; give one of {', '.join(FORMS)}")
    for name in profile:
        if name not in FORMS[forms[0]] + ANY_FORM:
            raise InputError(f"{where}: {name}: not used with {forms[0]}; leave it out")
    return fields


def _profile(fields: Fields, folder: Path) -> tuple[Array, Array, Array, tuple[int, ...]]:
    """Mid-surface from foot (or axis) to rim, its wall, and its sharp corners."""
    radius, height, wall = _shape(fields) if "shape" in fields.table else _points(fields, folder)
    where = fields.where
    if np.any(radius <= 0.0) or np.any(radius > LARGEST_MM / 1e3):
        bad = radius[(radius <= 0.0) | (radius > LARGEST_MM / 1e3)][0] * 1e3
        raise InputError(f"{where}: radius {bad:g} mm; allowed: above 0 to {LARGEST_MM:g}")
    far = np.abs(height) > LARGEST_MM / 1e3
    if np.any(far):
        bad = height[far][0] * 1e3
        raise InputError(f"{where}: height {bad:g} mm; allowed: -{LARGEST_MM:g} to {LARGEST_MM:g}")
    if np.any(np.diff(height) <= 0.0):
        row = int(np.argmax(np.diff(height) <= 0.0)) + 1
        raise InputError(
            f"{where}: point {row + 1}: height {height[row] * 1e3:g} mm; must lie above the point "
            f"before, at {height[row - 1] * 1e3:g} mm"
        )
    wrong = (wall < THINNEST) | (wall > 0.5 * radius)
    if np.any(wrong):
        row = int(np.argmax(wrong))
        raise InputError(
            f"{where}: point {row + 1}: wall {wall[row] * 1e3:g} mm; allowed: {THINNEST * 1e3:g} "
            f"to {radius[row] * 500:g} mm, half of the radius there"
        )
    height = height - height[0]
    if fields.choice("surface") == "outside":
        try:
            radius, height, wall = mid_surface(radius, height, wall)
        except InputError as error:
            raise InputError(f"{where}: {error}") from None
        row = int(np.argmin(radius - 0.5 * wall))
        if radius[row] <= 0.5 * wall[row]:
            raise InputError(
                f"{where}: at {height[row] * 1e3:.3g} mm the leaning wall folds over the axis; "
                "thin it there, or make it steeper"
            )
    if fields.choice("base") == "flat":
        base = fields.number("base_mm", default=1e3 * float(wall[0])) / 1e3
        if base >= height[-1]:
            raise InputError(
                f"{where}: base_mm = {1e3 * base:g}; must be below the rim at {1e3 * height[-1]:g}"
            )
        return (
            np.insert(radius, 0, 0.0),
            np.insert(height, 0, 0.0),
            np.insert(wall, 0, base),
            (1,),
        )
    if "base_mm" in fields.table:
        raise InputError(f'{where}: base_mm: only with base = "flat"; leave it out')
    return radius, height, wall, ()


LEAST_BAND = 1e-5
"""No band is lower: a tenth of the thinnest layer that is printed (our estimate). [m]"""


def _bands(listed: object, where: str, top: float) -> tuple[Band, ...]:
    """Bands from the foot to the rim."""
    if not isinstance(listed, list) or not 1 <= len(listed) <= MOST_BANDS:
        given = f"{len(listed)} bands" if isinstance(listed, list) else show(listed)
        raise InputError(f"{where}: [[band]]: {given}; allowed: 1 to {MOST_BANDS}, from below")
    bands: list[Band] = []
    low = 0.0
    for number, entry in enumerate(listed, 1):
        place = f"{where}: band {number}"
        if not isinstance(entry, dict):
            raise InputError(f"{place}: write it as [[band]] with material and to_mm")
        fields = Fields(entry, place, BAND)
        high = top
        if number < len(listed):
            high = fields.number("to_mm") / 1e3
            if not low < high < top:
                raise InputError(
                    f"{place}: to_mm = {high * 1e3:g}; must lie above {low * 1e3:g} and below "
                    f"the rim at {top * 1e3:g}"
                )
        elif "to_mm" in entry:
            raise InputError(f"{place}: to_mm: the last band reaches the rim; leave it out")
        if high - low < LEAST_BAND:
            raise InputError(
                f"{place}: {1e3 * (high - low):.3g} mm high; allowed: {1e3 * LEAST_BAND:g} mm or "
                "more; move its to_mm, or leave the band out"
            )
        if "height" in entry:
            fields.choice("height")
            if 1 < number < len(listed) and is_blend(fields.text("material")):
                raise InputError(
                    f"{place}: height: only for the lowest and the highest band and one of pure "
                    "paste in the middle; a plan lays the blends between them anew"
                )
        bands.append(Band(fields.text("material"), low, high))
        low = high
    return tuple(bands)


def _middle(bands: Sequence[Band]) -> int:
    """Which band of pure paste stands in the middle; 0 where none does, or more than one."""
    inner = [k for k, band in enumerate(bands[1:-1], 1) if not is_blend(band.material)]
    return inner[0] if len(inner) == 1 else 0


def _joint(
    table: dict[str, Any], where: str, bands: tuple[Band, ...], top: float
) -> tuple[JointLimits, JointLimits | None]:
    """The [joint] table and the bands' heights: limits of a plan, of two joints at each of them."""
    given = table.get("joint", {})
    place = f"{where}: [joint]"
    if not isinstance(given, dict):
        raise InputError(
            f"{place}: {show(given)}; write blends, height_mm, lowest_mm, highest_mm, keep_mm"
        )
    fields = Fields(given, place, JOINT)
    at = _middle(bands)
    pure = (0, at, -1) if at else (0, -1)
    words = [table["band"][k].get("height", "") for k in pure]
    heights = [bands[k].high - bands[k].low for k in pure]
    hold = _holds(words, given, heights) if len(bands) > 1 else [FREE, FREE]
    if not at:
        return _limits(fields, bands, 0.0, top, top, hold[0], hold[1], FREE in words), None
    parts = bands[: at + 1], bands[at:]
    low, high = (0.5 * (part[0].high + part[-1].low) for part in parts)
    keep = KEEP * min(low, high - low, top - high)

    def limits(n: int, begin: float, end: float) -> JointLimits:
        (foot, rim), moves = hold[n : n + 2], FREE in words[n : n + 2]
        return _limits(fields, parts[n], begin, end, top, foot, rim, moves, keep)

    return limits(0, 0.0, high), limits(1, low, top)


def _holds(words: list[str], joint: dict[str, Any], heights: list[float]) -> list[str]:
    """What a plan may do to the heights of foot and rim, or of foot, band in the middle and rim.

    A band without a word is free where a word holds another one, where the band in the middle is
    freed, and where [joint] says a place. Else the less tall of two keeps the height that is
    written; of three the one in the middle, or both ends where it is the highest.
    """
    room = {FIXED, AT_LEAST} & set(words) or FREE in words[1:-1]
    if room or {"lowest_mm", "highest_mm"} & set(joint):
        return [word or FREE for word in words]
    foot, *middle, rim = heights
    kept = [foot <= rim, foot > rim]
    if middle:
        highest = middle[0] > max(foot, rim)
        kept = [highest, not highest, highest]
    return [word or (FIXED if own else FREE) for word, own in zip(words, kept, strict=True)]


def _limits(
    fields: Fields,
    bands: tuple[Band, ...],
    low: float,
    high: float,
    top: float,
    foot: str,
    rim: str,
    moves: bool,
    keep: float | None = None,
) -> JointLimits:
    """Limits of the joint between the first and the last of some bands.

    It lies between heights `low` and `high`. Where both bands are free, it stays as it is drawn, or
    moves by half the tallest transition each way where the word of one of them frees it.
    """
    middle = 0.5 * (bands[0].high + bands[-1].low) if len(bands) > 1 else 0.5 * top
    most = top * 1e3
    tall = fields.number("height_mm", 0.0, most, 0.5 * (high - low) * 1e3) / 1e3
    usual_low, usual_high = middle, middle
    if foot != FREE:
        usual_low, usual_high = bands[0].high, min(bands[0].high + 0.5 * tall, high)
    if rim != FREE:
        usual_low = max(bands[-1].low - 0.5 * tall, low) if foot == FREE else usual_low
        usual_high = max(bands[-1].low, usual_low)
    if moves and foot == rim == FREE:
        usual_low, usual_high = max(middle - 0.5 * tall, low), min(middle + 0.5 * tall, high)
    if keep is not None and "lowest_mm" in fields.table:  # one number for two joints
        usual_high = max(usual_high, fields.number("lowest_mm", 0.0, most) / 1e3)
    highest = fields.number("highest_mm", 0.0, most, usual_high * 1e3)
    blends = fields.number("blends")
    if blends != int(blends):
        place = fields.where
        raise InputError(f"{place}: blends = {blends:g}; allowed: a whole number from 0 to 12")
    usual_keep = min(KEEP * middle, KEEP * (top - middle)) if keep is None else keep
    return JointLimits(
        blends=int(blends),
        height=tall,
        lowest=fields.number("lowest_mm", 0.0, highest, min(usual_low * 1e3, highest)) / 1e3,
        highest=highest / 1e3,
        keep=fields.number("keep_mm", 0.0, 0.5 * most, usual_keep * 1e3) / 1e3,
        foot=foot,
        rim=rim,
        foot_height=bands[0].high - bands[0].low if foot != FREE else 0.0,
        rim_height=bands[-1].high - bands[-1].low if rim != FREE else 0.0,
    )


def _freedom(table: dict[str, Any], where: str, printer: Printer) -> Freedom:
    """The [free] table: ranges within which a plan may choose."""
    fields = _table(table, "free", where, CHOICES)
    profile = table.get("profile", {})
    ranges: dict[str, tuple[float, ...]] = {"dead_volume_ml": (), "wall_mm": ()}
    for key, unit in (("dead_volume_ml", 1e-6), ("wall_mm", 1e-3)):
        if key not in fields.table:
            continue
        values = fields.rising(key, CHOICES[key].least, CHOICES[key].most)
        if values.size != 2:
            raise fields.refuse(key, fields.table[key], "[least, most]")
        ranges[key] = tuple(float(v) * unit for v in values)
    if ranges["dead_volume_ml"] and not printer.given:
        raise InputError(f"{fields.where}: dead_volume_ml: only with a [printer] table; add it")
    if ranges["wall_mm"]:
        if profile.get("shape") != "cylinder":
            raise InputError(f'{fields.where}: wall_mm: only with shape = "cylinder"; leave it out')
        if ranges["wall_mm"][1] > 0.5e-3 * float(profile["radius_mm"]):
            raise fields.refuse("wall_mm", fields.table["wall_mm"], "up to half of the radius")
    outside = profile.get("surface", "outside") == "outside"
    roads = fields.choice("roads") == "whole"
    if roads and not ranges["wall_mm"]:
        raise InputError(f'{fields.where}: roads = "whole": only with wall_mm; add it')
    return Freedom(
        ranges["dead_volume_ml"], ranges["wall_mm"], outside, roads, _materials(fields)
    )  # fmt: skip


def _materials(fields: Fields) -> tuple[str, ...]:
    """Names of what a plan may offer; whether there are such is asked where cards are known."""
    listed = fields.table.get("materials", [])
    if not isinstance(listed, list) or not all(isinstance(n, str) and n.strip() for n in listed):
        raise fields.refuse("materials", listed, 'a list of names, such as ["fine silver"]')
    if "materials" in fields.table and not listed:
        raise fields.refuse("materials", listed, "one name or more")
    return tuple(listed)


def _tables(fields: Fields, folder: Path) -> tuple[Path, ...]:
    """The folders of tables that a vessel file names, each seen from its own."""
    listed = fields.table.get("tables", [])
    names = [listed] if isinstance(listed, str) else listed
    if not isinstance(names, list) or not all(isinstance(n, str) and n.strip() for n in names):
        raise fields.refuse("tables", listed, 'a folder or a list of folders, as ["my_tables"]')
    for name in names:
        if not (folder / name).is_dir():
            raise fields.refuse("tables", name, "a folder of material tables, seen from this file")
    return tuple(folder / name for name in names)


def _once(folders: Iterable[Path]) -> tuple[Path, ...]:
    """Each folder once, where it stands last: later ones are first in right."""
    by_place = {folder.resolve(): folder for folder in reversed(tuple(folders))}
    return tuple(reversed(by_place.values()))


def read_vessel(
    source: Place | Mapping[str, Any],
    kilns: Mapping[str, Kiln] | None = None,
    firing: Place | Mapping[str, Any] | Rows | Firing | None = None,
    tables: Iterable[Path] = (),
) -> Vessel:
    """The vessel in a file, or as its file would have it.

    Parameters
    ----------
    source : path or mapping
        A TOML file, or what it would hold; profile and firing may lie in files beside it.
    kilns : mapping, optional
        Kilns by name; by default the shipped ones and those of its tables.
    firing : path, mapping, rows or Firing, optional
        As for `read_firing`; takes the place of the vessel's own.
    tables : iterable of Path
        Folders of material tables beside those that the file names, and before them in right.

    Returns
    -------
    Vessel
        In SI.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.

    Examples
    --------
    >>> import cofire as cf
    >>> cup = cf.read_vessel(
    ...     {
    ...         "name": "cup",
    ...         "profile": {"shape": "cylinder", "radius_mm": 35, "height_mm": 80, "wall_mm": 4},
    ...         "band": [{"material": "copper", "to_mm": 20}, {"material": "talc body"}],
    ...     },
    ...     firing=[(950, 120, 90)],
    ... )
    >>> cup.bands[0].material, len(cup.bands)
    ('copper', 2)
    """
    table, where, folder = table_of(source, "vessel")
    _refuse_not_round(table, where)
    fields = Fields(table, where, VESSEL)
    tables = _once((*_tables(fields, folder), *tables))
    kilns = load_kilns(tables) if kilns is None else kilns
    shape = _form(table.get("profile"), f"{where}: [profile]")
    radius, height, wall, corners = _profile(shape, folder)
    given = table.get("firing", {}) if firing is None else firing
    left_open = None
    if isinstance(given, dict) and "segment" not in given:
        curve, left_open = _open_firing(given, kilns, f"{where}: [firing]")
    else:
        if firing is None and isinstance(given, str):
            given = folder / fields.text("firing")
        elif firing is None and not isinstance(given, dict | list | Firing):
            raise fields.refuse("firing", given, "a text that names a firing file, or a table")
        curve = read_firing(given, kilns, f"{where}: [firing]")
    bands = _bands(table.get("band"), where, float(height[-1]))
    name = fields.name()
    printer = read_printer(table, where)
    joint, upper = _joint(table, where, bands, float(height[-1]))
    return Vessel(
        name=name,
        radius=radius,
        height=height,
        wall=wall,
        corners=corners,
        bands=bands,
        firing=curve,
        printer=printer,
        joint=joint,
        mixing=read_mixing(table, where),
        prices=read_prices(table, where),
        left_open=left_open,
        free=_freedom(table, where, printer),
        upper=upper,
        tables=tables,
    )


def _open_firing(
    table: dict[str, Any], kilns: Mapping[str, Kiln], where: str
) -> tuple[Firing, OpenFiring]:
    """A firing without segments: its kiln, and what the file says of gas and lag."""
    placeholder = {"to_C": 100.0, "rate_C_per_h": 100.0}
    firing = read_firing({**table, "segment": [placeholder]}, kilns, where)
    wanted = OpenFiring(
        firing.gas if "gas" in table else "", firing.lag if "lag_min" in table else None
    )
    return replace(firing, segments=()), wanted
