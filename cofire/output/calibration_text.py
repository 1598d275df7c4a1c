"""What measurements say of a card, as a person reads it and as JSON."""

from __future__ import annotations

import json

from cofire import __version__
from cofire.inputs.properties import SPECS
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.output.card_text import rounded
from cofire.output.writing import wrapped
from cofire.planning.evidence.calibration import Calibration
from cofire.planning.evidence.fitting import LEVEL
from cofire.planning.evidence.measured_values import Value

SCHEMA = 1


def _short(value: float, uncertainty: float) -> str:
    """A number to a tenth of its uncertainty."""
    return f"{rounded(value, 10.0 * uncertainty):.6g}"


def _old(c: Calibration, name: str, row: int) -> str:
    if name not in c.old or row >= c.old[name].value.size:
        return "-"
    p = c.old[name]
    factor = SPECS[name].units[p.unit]
    spread = p.uncertainty[row].relative(p.value[row : row + 1])[0] * abs(p.value[row])
    return _short(float(p.value[row]) / factor, float(spread) / factor)


def _rows(c: Calibration, value: Value) -> list[str]:
    """One line a row: name, old, new, interval, unit."""
    unit = c.card[value.name].unit
    factor = SPECS[value.name].units[unit]
    lines = []
    for row, (v, low, high, u) in enumerate(
        zip(value.value, value.low, value.high, value.uncertainty, strict=True)
    ):
        seen = value.seen[row] if value.seen else True
        name = value.name
        if value.temperature is not None:
            name += f" {celsius(float(value.temperature[row])):.0f} °C"
        ends = f"{_short(low / factor, u / factor)} to {_short(high / factor, u / factor)}"
        lines.append(
            f"{name:28} {_old(c, value.name, row):>9} {_short(v / factor, u / factor):>10}  "
            f"{ends if seen else '(not measured)':24} {unit}".rstrip(" -")
        )
    if value.fired_at is not None:
        f = value.fired_at
        lines.append(
            f"    in a firing of {f.rate * HOUR:g} °C/h to {celsius(f.peak):.0f} °C and "
            f"{f.hold / MINUTE:.0f} min there, cooling included"
        )
    return lines


def as_text(c: Calibration) -> str:
    """Values with their intervals, then what is not told and what would tell it.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        Ends in a new line.
    """
    found = c.findings
    lines = wrapped(f"{c.old.name}: what {c.measured.where} says")
    lines.append("")
    if found.values:
        head = f"{100 * LEVEL:.0f} % interval"
        lines.append(f"{'':28} {'card':>9} {'measured':>10}  {head:24} unit")
        by_source: dict[str, list[Value]] = {}
        for value in found.values:
            by_source.setdefault(value.told_by, []).append(value)
        for told_by, values in by_source.items():
            for value in values:
                lines += _rows(c, value)
                if value.basis == "derived" and value.note:
                    lines += wrapped(f"    {value.note}", 4)
            lines += [*wrapped(f"    from {told_by}", 4), ""]
    else:
        lines += ["Nothing that the card does not already say as well.", ""]
    if found.untold:
        lines.append("Not told; the card's value stays, unless listed above:")
        for untold in found.untold:
            lines += wrapped(f"  {untold.name}: {untold.why}.", 4)
            lines += wrapped(f"    Next: {untold.remedy}.", 4)
        lines.append("")
    for note in found.notes:
        lines += wrapped(f"! {note}", 2)
    return "\n".join(lines).rstrip("\n") + "\n"


def as_json(c: Calibration) -> str:
    """The same as one JSON object with its schema number.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        Ends in a new line.
    """
    values = []
    for value in c.findings.values:
        unit = c.card[value.name].unit
        factor = SPECS[value.name].units[unit]
        row: dict[str, object] = {
            "property": value.name,
            "unit": unit,
            "value": [float(f"{v / factor:.6g}") for v in value.value],
            "low": [float(f"{v / factor:.6g}") for v in value.low],
            "high": [float(f"{v / factor:.6g}") for v in value.high],
            "measured": list(value.seen) or [True] * value.value.size,
            "basis": value.basis,
            "told_by": value.told_by,
            "note": value.note,
        }
        if value.temperature is not None:
            row["temperature_C"] = [round(celsius(float(t)), 2) for t in value.temperature]
        if value.fired_at is not None:
            row["fired_at"] = {
                "rate_C_per_h": round(value.fired_at.rate * HOUR, 2),
                "peak_C": round(celsius(value.fired_at.peak), 2),
                "hold_min": round(value.fired_at.hold / MINUTE, 2),
            }
        values.append(row)
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "material": c.old.name,
        "measured": c.measured.where,
        "confidence": LEVEL,
        "values": values,
        "not_told": [vars(u) for u in c.findings.untold],
        "notes": list(c.findings.notes),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
