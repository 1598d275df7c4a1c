"""The planned vessel as a file that cofire reads: the user's own, with other bands and firing."""

from __future__ import annotations

import json
import re
from datetime import date, time
from pathlib import Path
from typing import Any

from cofire.inputs.files import read_text, read_toml
from cofire.inputs.vessel import Vessel

PROFILE = "profile.csv"
FIRING = "firing.toml"
BARE = re.compile(r"[A-Za-z0-9_-]+")
"""Keys that TOML takes without quotes."""


def planned_vessel(source: Path, vessel: Vessel) -> dict[str, str]:
    """Files of a planned vessel, to lie beside its firing file.

    Parameters
    ----------
    source : Path
        The vessel file that was planned.
    vessel : Vessel
        The proposal.

    Returns
    -------
    dict
        Text by name: vessel.toml, and the profile where that is a file of its own.
    """
    table = dict(read_toml(source))
    files = {}
    profile = table.get("profile")
    if isinstance(profile, dict) and "csv" in profile:
        files[PROFILE] = read_text(source.parent / str(profile["csv"]))
        table["profile"] = {**profile, "csv": PROFILE}
    table["firing"] = FIRING
    bands = [{"material": b.material, "to_mm": round(b.high * 1e3, 6)} for b in vessel.bands]
    del bands[-1]["to_mm"]
    table["band"] = bands
    files["vessel.toml"] = toml(table)
    return files


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
        # JSON and TOML write texts alike but for one character that TOML wants escaped
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return value.isoformat() if isinstance(value, date | time) else repr(value)
