"""New files with every field explained, and the same table of fields as help and guide.

What is asked for is written as a line; all else stands behind a # with its default, to be freed.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from cofire.fields import (
    BAND,
    BENDING,
    CHOICES,
    CONTROLLER,
    COOLING,
    CURVE,
    FIRING,
    FORMATS,
    HEATING,
    JOINT,
    KILN,
    MATERIAL,
    MEASURED,
    MEASURED_FIRING,
    PASTE,
    PRICES,
    PRINTER,
    PROFILE,
    PROPERTY,
    RECORD,
    SAG,
    SEGMENT,
    SPACE,
    STRIP,
    VESSEL,
    Field,
    Table,
)

WIDTH = 96
FORMS = ("cylinder", "cone", "bowl", "belly")
"""Shapes that a new vessel may begin with; a bowl and a belly are written as points."""
MARKS = (
    "<!-- fields: written by `python -m tests.guide`, not by hand -->",
    "<!-- end of fields -->",
)
"""Between these the guide holds the table of fields."""

# ----------------------------------------------------------------------------------------------
# One field in words, for a file, for a terminal and for the guide


def told(name: str, field: Field) -> str:
    """A field in one line: name, unit, what it does, what is allowed, what counts without it.

    Parameters
    ----------
    name : str
        The field's.
    field : Field
        From the table.

    Returns
    -------
    str
        Without a full stop.
    """
    return f"{name}: {explained(field)}"


def explained(field: Field) -> str:
    """What a field does, its unit, what is allowed, what counts without it.

    Parameters
    ----------
    field : Field
        From the table.

    Returns
    -------
    str
        One line without a full stop.
    """
    unit = f" [{field.unit}]" if field.unit else ""
    allowed = f"; allowed: {field.allowed}" if field.allowed else ""
    without = "; needed" if field.needed else f"; left out: {field.left_out}"
    return f"{field.meaning}{unit}{allowed}{without}"


def format_text(kind: str) -> str:
    """All fields of one kind of file, for a terminal.

    Parameters
    ----------
    kind : str
        A name of FORMATS.

    Returns
    -------
    str
        A heading and its fields, table by table; no line is longer than 78.
    """
    lines = []
    for section in FORMATS[kind]:
        title = f"{section.heading}  {section.meaning}".strip()
        lines += ["", *textwrap.wrap(title, 78)]
        for name, field in section.fields.items():
            lines += textwrap.wrap(
                told(name, field), 78, initial_indent="  ", subsequent_indent="      ",
                break_on_hyphens=False,
            )  # fmt: skip
    return "\n".join(lines[1:]) + "\n"


def format_markdown() -> str:
    """All fields of all kinds of files, for the guide.

    Returns
    -------
    str
        A heading for each kind, a table for each of its sections.
    """
    lines = []
    for kind, sections in FORMATS.items():
        lines += [f"### A {kind} (`cofire new {kind}`)", ""]
        for section in sections:
            lines += [f"`{section.heading}`: {section.meaning}." if section.heading else
                      f"Above all tables: {section.meaning}.", ""]  # fmt: skip
            lines += ["| field | unit | what it says or does | allowed | left out |",
                      "| --- | --- | --- | --- | --- |"]  # fmt: skip
            for name, f in section.fields.items():
                cells = (f"`{name}`", f.unit, f.meaning, f.allowed, f.left_out)
                lines.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
            lines.append("")
    return "\n".join(lines)


def _comment(text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lines(
    fields: Table,
    given: Mapping[str, str],
    skip: Sequence[str] = (),
    shown: Mapping[str, float] | None = None,
) -> list[str]:
    """Every field with its comment: as given, or behind a # with what it would be."""
    lines = []
    for name, field in fields.items():
        if name in skip:
            continue
        lines += _comment(_capital(explained(field)))
        if name in given:
            lines.append(f"{name} = {given[name]}")
        else:
            value = field.shown if name not in (shown or {}) else _number((shown or {})[name])
            lines.append(f"# {name} = {value}")
    return lines


def _text(value: str) -> str:
    """A text as TOML has it."""
    from cofire.report.read_again import toml_value  # slow to import, and help needs none of it

    return toml_value(value)


def _number(value: float) -> str:
    return f"{value:.6g}"


# ----------------------------------------------------------------------------------------------
# A vessel


@dataclass(frozen=True)
class Wish:
    """What a person wants to begin with; lengths in mm, as files have them.

    Attributes
    ----------
    form
        One of FORMS.
    below, above
        The two materials.
    height, radius, wall
        Fired; the radius at the foot. [mm]
    rim
        Radius at the rim; None for what is usual of the form. [mm]
    joint
        Height of the lower band; None for a quarter. [mm]
    printer
        Numbers of [printer] by name; none where its table is to stay open.
    kiln, gas
        Empty where that is open.
    floor
        Whether a floor closes the foot.
    middle, middle_height
        Material of a band between the two, empty where there is none, and its height. [mm]
    tables
        Folders of the user's own tables, seen from the file.
    """

    name: str
    form: str
    below: str
    above: str
    height: float = 80.0
    radius: float = 35.0
    wall: float = 3.0
    rim: float | None = None
    joint: float | None = None
    printer: Mapping[str, float] | None = None
    kiln: str = ""
    gas: str = ""
    floor: bool = False
    middle: str = ""
    middle_height: float = 0.0
    tables: Sequence[str] = ()


OPEN_GAS = replace(
    FIRING["gas"],
    default=None,
    otherwise="the first of air, carbon and inert that suits both materials",
)
RIMS = {"cylinder": 1.0, "cone": 1.3, "bowl": 1.8, "belly": 0.9}
"""Radius of the rim over that of the foot, where it is not asked for. [-]"""
BULGE = 0.3
"""By which a belly is wider than the line from foot to rim, of the foot's radius. [-]"""


def points(wish: Wish) -> list[list[float]]:
    """Outside of a bowl or a belly, to begin with.

    Parameters
    ----------
    wish : Wish
        With its sizes.

    Returns
    -------
    list of list of float
        [height, radius] from the foot up. [mm]
    """
    rim = RIMS[wish.form] * wish.radius if wish.rim is None else wish.rim
    found = []
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        if wish.form == "bowl":
            radius = wish.radius + (rim - wish.radius) * math.sin(0.5 * math.pi * share)
        else:
            radius = wish.radius + (rim - wish.radius) * share
            radius += BULGE * wish.radius * math.sin(math.pi * share)
        found.append([round(share * wish.height, 2), round(radius, 2)])
    return found


def new_vessel(wish: Wish) -> str:
    """A vessel file with every field explained.

    Parameters
    ----------
    wish : Wish
        What is to stand in it.

    Returns
    -------
    str
        TOML that `read_vessel` reads.
    """
    joint = 0.25 * wish.height if wish.joint is None else wish.joint
    profile = {"wall_mm": _number(wish.wall), "surface": '"outside"',
               "base": '"flat"' if wish.floor else '"open"'}  # fmt: skip
    if wish.form in ("cylinder", "cone"):
        profile |= {"shape": _text(wish.form), "height_mm": _number(wish.height),
                    "radius_mm": _number(wish.radius)}  # fmt: skip
    else:
        profile["points_mm"] = str(points(wish))
    if wish.form == "cone":
        rim = RIMS["cone"] * wish.radius if wish.rim is None else wish.rim
        profile["rim_radius_mm"] = _number(rim)
    printer = {name: _number(value) for name, value in (wish.printer or {}).items()}
    firing = {name: _text(value) for name, value in
              (("kiln", wish.kiln), ("gas", wish.gas)) if value}  # fmt: skip
    upper = joint + wish.middle_height if wish.middle else joint
    zones = [joint, wish.height - upper, *([wish.middle_height] if wish.middle else [])]
    sizes = {
        "height_mm": wish.height, "radius_mm": wish.radius, "rim_radius_mm": wish.radius,
        "base_mm": wish.wall, "lowest_mm": joint, "highest_mm": 0.5 * (upper + wish.height),
        "keep_mm": 0.3 * min(zones),
    }  # fmt: skip
    between = []
    if wish.middle:
        end = _number(joint + wish.middle_height)
        between = ["", "[[band]]", f"material = {_text(wish.middle)}", f"to_mm = {end}"]
    below = ("profile", "band", "printer", "joint", "paste", "prices", "free", "firing")
    above = {"name": _text(wish.name)}
    if wish.tables:
        above["tables"] = f"[{', '.join(map(_text, wish.tables))}]"
    lines = [
        *_comment(
            "A vessel for cofire. Sizes are those wanted after firing. Take the # away before a "
            "field to set it; what stays behind a # counts as its line says."
        ),
        *_lines(VESSEL, above, skip=below),
        "",
        *_comment("The firing: a file beside this one, or written here as [firing] with its "
                  "segments. Left out: check and plan begin from the window that both materials "
                  "share, in this kiln and gas."),
        "# firing = \"firing.toml\"",
        *_section("firing", firing),
        *_lines(dict(FIRING) | {"gas": OPEN_GAS}, firing, skip=("name", "summary", "segment")),
        "",
        "# Give one form: shape with its sizes, or points_mm, or csv.",
        "[profile]",
        *_lines(PROFILE, profile, shown=sizes),
        "",
        "# Bands from the foot up; more of them may stand between.",
        "[[band]]",
        *_lines(BAND, {"material": _text(wish.below), "to_mm": _number(joint)}),
        *between,
        "",
        "[[band]]",
        f"material = {_text(wish.above)}",
        "",
        *_comment("The printer. With its table here the smear of each change of paste counts."),
        *_section("printer", printer),
        *_lines(PRINTER, printer),
        "",
        *_comment("What a plan may do to the joint."),
        *_section("joint", {}),
        *_lines(JOINT, {}, shown=sizes),
        "",
        *_section("paste", {}),
        *_lines(PASTE, {}),
        "",
        *_section("prices", {}),
        *_lines(PRICES, {}),
        "",
        *_comment("What else a plan may choose."),
        *_section("free", {}),
        *_lines(CHOICES, {}),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _section(name: str, given: Mapping[str, str]) -> list[str]:
    return [f"[{name}]" if given else f"# [{name}]"]


# ----------------------------------------------------------------------------------------------
# A firing, a kiln, a card like another one, an entry of a record


def new_firing(
    name: str,
    segments: Sequence[Mapping[str, str]],
    kiln: str = "",
    gas: str = "",
    lag: str = "",
    latest: str = "",
    written: Sequence[str] = (),
) -> str:
    """A firing file with every field explained.

    Parameters
    ----------
    name : str
        Of the firing.
    segments : sequence of mapping
        Fields of each as TOML has them; "note" is what it is for.
    kiln, gas, lag, latest : str
        Empty where the default is to count; the lag in min, the latest hour in h.
    written : sequence of str
        Lines of a table [kiln], where no name says which.

    Returns
    -------
    str
        TOML that `read_firing` reads.
    """
    given = {"name": _text(name)}
    given |= {key: _text(value) for key, value in (("kiln", kiln), ("gas", gas)) if value}
    given |= {"lag_min": lag} if lag else {}
    given |= {"latest_h": latest} if latest else {}
    lines = [
        "# A firing for cofire. Temperatures are the kiln's; after the last segment it cools shut.",
        *_lines(FIRING, given, skip=("segment", *["kiln"] * bool(written))),
        *written,
    ]
    for number, segment in enumerate(segments):
        lines += ["", "[[segment]]"]
        if number == 0:
            lines += _lines(SEGMENT, segment)
        else:
            lines += [f"{key} = {segment[key]}" for key in SEGMENT if key in segment]
    return "\n".join(lines) + "\n"


SAMPLE_BOX: Mapping[str, float] = {"width_mm": 120.0, "depth_mm": 120.0, "height_mm": 150.0}
"""Of a new kiln's file; it goes into the sample chamber, with what must be clear around it."""


def new_kiln(
    name: str,
    highest: float,
    heating: Sequence[tuple[float, float]],
    cooling: Sequence[tuple[float, float]],
    like: str,
) -> str:
    """A kiln file with every field explained.

    Parameters
    ----------
    name : str
        Of the kiln.
    highest : float
        Hottest it may be set. [°C]
    heating, cooling : sequence of tuple of float
        Temperature and rate of each row. [°C], [°C/h]
    like : str
        Kiln whose rows these are, until measured.

    Returns
    -------
    str
        TOML that `read_kiln` reads.
    """
    source = f"rows of {like}, not measured yet"
    given = {"name": _text(name), "max_temperature_C": _number(highest), "source": _text(source)}
    lines = [
        *_comment(
            "A kiln for cofire. Measure yours: heat it loaded at full power, let it cool shut, "
            "write down time and temperature; the rate of a row is degrees over hours around it."
        ),
        *_lines(KILN, given, skip=("heating", "cooling", "controller", "chamber", "box")),
    ]
    for title, fields, rows in (("heating", HEATING, heating), ("cooling", COOLING, cooling)):
        lines += ["", f"[{title}]"]
        lines += _lines(
            fields,
            {
                "temperature_C": "[" + ", ".join(_number(t) for t, _ in rows) + "]",
                "rate_C_per_h": "[" + ", ".join(_number(r) for _, r in rows) + "]",
            },
        )
    lines += ["", *_comment("What its controller takes: a plan keeps to it, and check says where a "
                            "firing does not.")]  # fmt: skip
    lines += [*_section("controller", {}), *_lines(CONTROLLER, {})]
    for name, what, sizes in (
        ("chamber", "Its inside: check then says whether a dried pot, or its box, goes in.", {}),
        (
            "box",
            "Inside of the box that you pack with carbon: the sheet says how much it takes. Its "
            "own wall is left out where check asks whether it goes into the kiln.",
            SAMPLE_BOX,
        ),
    ):
        lines += ["", *_comment(f"{what} Of a round one, diameter_mm for width_mm and depth_mm.")]
        lines += [*_section(name, {}), *_lines(SPACE, {}, skip=("diameter_mm",), shown=sizes)]
    return "\n".join(lines) + "\n"


def new_material(
    name: str, like: str, parent: Mapping[str, Any], own: Mapping[str, tuple[str, str]]
) -> str:
    """A card like another one, with every number of it to be overridden.

    Parameters
    ----------
    name, like : str
        Of the card and of its parent.
    parent : mapping
        The parent's file as parsed, whole.
    own : mapping
        Property to value and uncertainty, as TOML has them.

    Returns
    -------
    str
        TOML that is a card.
    """
    from cofire.materials.properties import SPECS
    from cofire.report.read_again import toml_value

    lines = [
        *_comment(
            f"A card for cofire, like {like}. What this file does not say is as that card says. "
            "Free a property by taking the # away before its lines, and write your own value and "
            "its uncertainty: it is then shown as measured by you. Without a source it is told by "
            "this file's name."
        ),
        *_lines(
            MATERIAL,
            {"name": _text(name), "like": _text(like)},
            skip=("kind", "densification", "elements", "atmosphere", "transformation", "sources"),
        ),
        "",
        *_comment(_capital(explained(MATERIAL["sources"]))),
        "[sources]",
        f"# bars = {_text('my bars, when, how many, measured how')}",
        "",
        "# Fields of every property:",
    ]
    for key, field in PROPERTY.items():
        lines += _comment(told(key, field))
    for key, spec in SPECS.items():
        before = parent.get(key)
        if not isinstance(before, dict) and key not in own:
            continue
        entry = dict(before) if isinstance(before, dict) else {"unit": next(iter(spec.units))}
        factor = spec.units[entry["unit"]]
        bounds = f"{spec.least / factor:g} to {spec.most / factor:g} {entry['unit']}"
        lines += ["", *_comment(_capital(f"{spec.meaning}; allowed: {bounds}"))]
        if key in own:
            value, spread = own[key]
            lines += [f"[{key}]", f"unit = {_text(entry['unit'])}", f"value = {value}",
                      f"uncertainty = {spread}"]  # fmt: skip
            continue
        lines.append(f"# [{key}]")
        shown = ("unit", "temperature_C", "value", "uncertainty", "at_density", "valid_C",
                 "fired_at")  # fmt: skip
        lines += [f"# {field} = {toml_value(entry[field])}" for field in shown if field in entry]
    return "\n".join(lines) + "\n"


def new_measured(material: str, firing: Mapping[str, str], bars: Sequence[Sequence[float]]) -> str:
    """What was measured on bars of one material, with every field explained.

    Parameters
    ----------
    material : str
        Name of the card that it is about.
    firing : mapping
        Fields of the one firing, as TOML has them.
    bars : sequence of sequence of float
        Printed, dried and fired length of each, or dried and fired; none where they are yet to be
        measured. [mm]

    Returns
    -------
    str
        TOML that `read_measured` reads.
    """
    rows = ", ".join("[" + ", ".join(map(_number, bar)) + "]" for bar in bars)
    given = dict(firing) | ({"bars_mm": f"[{rows}]"} if rows else {})
    parts = ("bending", "sag", "strip")
    lines = [
        *_comment(
            "What was measured on bars of one material, for 'cofire calibrate'. Take the # away "
            "before what you have; more firings may follow, each with its bars."
        ),
        *_lines(MEASURED, {"material": _text(material)}, skip=("firing", "dilatometer")),
        "",
        "[[firing]]",
        *_lines(MEASURED_FIRING, given, skip=parts),
    ]
    for heading, what, fields in (
        ("[firing.bending]", "bars of this firing, broken at 20 °C", BENDING),
        ("[[firing.sag]]", "a bar on two supports that sagged in this firing", SAG),
        ("[[firing.strip]]", "this material on top of a partner, fired as one", STRIP),
        ("[[dilatometer]]", "length of a bar over temperature", CURVE),
    ):
        lines += ["", *_comment(_capital(what) + "."), f"# {heading}", *_lines(fields, {})]
    return "\n".join(lines) + "\n"


def new_record(given: Mapping[str, str]) -> str:
    """An entry of a record, to be filled in as the piece goes its way.

    Parameters
    ----------
    given : mapping
        Fields known already, as texts.

    Returns
    -------
    str
        TOML that `cofire record add` takes.
    """
    lines = [
        *_comment(
            "One piece for the record: fill in what is known, then 'cofire record add' this file; "
            "again once the kiln is cold. Nothing is added twice."
        ),
        *_lines(RECORD, {name: _text(value) for name, value in given.items()}),
    ]
    return "\n".join(lines) + "\n"
