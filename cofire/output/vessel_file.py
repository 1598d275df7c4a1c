"""The planned vessel as a file that cofire reads: the user's own, with other bands and firing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from cofire.inputs.files import read_text, read_toml
from cofire.inputs.vessel import Vessel

PROFILE = "profile.csv"
FIRING = "firing.toml"


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
        path = f"{name}.{key}" if name else key
        if isinstance(value, dict):
            tables.append(f"\n[{path}]\n{toml(value, path)}")
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            tables += [f"\n[[{path}]]\n{toml(v, path)}" for v in value]
        else:
            lines.append(f"{key} = {_value(value)}\n")
    return "".join(lines) + "".join(tables)


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)
