"""What measurements say of a card, as text, figures, JSON and a card file."""

from __future__ import annotations

import json
import re
import textwrap
import tomllib
from collections.abc import Sequence
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire import __version__
from cofire.errors import InputError
from cofire.evidence.calibration import Calibration
from cofire.evidence.findings import Value
from cofire.evidence.fitting import LEVEL
from cofire.files import read_text
from cofire.materials.card import FiredAt, Uncertainty
from cofire.materials.card_file import CardReader
from cofire.materials.catalogue import alone
from cofire.materials.properties import SPECS
from cofire.report.figures import FIRST, LIMIT, SECOND, SHARED, literal
from cofire.report.read_again import toml_value
from cofire.report.writing import table_text, wrapped
from cofire.units import HOUR, MINUTE, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.evidence.findings import Panel


# ----------------------------------------------------------------------------------------------
# A card file with some of its values replaced, all its other lines as they were

HEADER = re.compile(r"^\s*\[")
KEY = "measured"


def rounded(value: float, uncertainty: float) -> float:
    """A number to a hundredth of its uncertainty, which is more than it is worth.

    Parameters
    ----------
    value : float
        Any. [any]
    uncertainty : float
        Of it; where it is none, six digits are kept. [any]

    Returns
    -------
    float
        Short in decimal notation.
    """
    if not 0.0 < uncertainty < np.inf:
        return float(f"{value:.6g}")
    return float(round(value, 2 - int(np.floor(np.log10(uncertainty)))))


def _listed(items: Sequence[str], table: bool) -> str:
    """A list, or the one entry that all rows share."""
    if not table or len(set(items)) == 1:
        return items[0]
    return f"[{', '.join(items)}]"


def _spread(u: Uncertainty, factor: float) -> str:
    size = u.size / (factor if u.form == "+-" else 0.01 if u.form == "%" else 1.0)
    number = f"{size:.2g}" if "e" not in f"{size:.2g}" else f"{size:.0f}"
    return {"%": f'"{number} %"', "+-": f'"+- {number}"', "factor": f'"factor {number}"'}[u.form]


def _fired_at(fired: FiredAt) -> str:
    hold = round(fired.hold / MINUTE, 2)
    return (
        f"{{ rate_C_per_h = {round(fired.rate * HOUR, 2):g}, "
        f"peak_C = {round(celsius(fired.peak), 2):g}, hold_min = {hold:g}"
        + (f', gas = "{fired.gas}" }}' if fired.gas else " }")
    )


def _numbers(values: NDArray[np.float64], sizes: NDArray[np.float64]) -> list[str]:
    return [f"{rounded(float(v), float(u)):.10g}" for v, u in zip(values, sizes, strict=True)]


def block(value: Value, c: Calibration, old: dict[str, Any] | None, key: str) -> str:
    """The table of one property as a card file has it.

    Parameters
    ----------
    value : Value
        As measured.
    c : Calibration
        For units and for the rows that stay.
    old : dict, optional
        What the old file says under that name.
    key : str
        Name of the source.

    Returns
    -------
    str
        From its header, without a blank line behind.
    """
    new = c.card[value.name]
    factor = SPECS[value.name].units[new.unit]
    table = value.temperature is not None
    sources = [toml_value(key)] * value.value.size
    kept = old.get("source") if old else None
    for row, seen in enumerate(value.seen):
        if not seen and kept is not None:
            sources[row] = toml_value(kept[row] if isinstance(kept, list) else kept)
    lines = [f"[{value.name}]", f'unit = "{new.unit}"']
    if value.temperature is not None:
        T = [f"{round(celsius(float(t)), 2):g}" for t in value.temperature]
        single = len(T) == 1 and not isinstance((old or {}).get("temperature_C"), list)
        lines.append(f"temperature_C = {T[0] if single else '[' + ', '.join(T) + ']'}")
        table = not single
    if new.valid is not None and not table:
        lines.append(f"valid_C = [{celsius(new.valid[0]):.6g}, {celsius(new.valid[1]):.6g}]")
    numbers = _numbers(new.value / factor, value.uncertainty / factor)
    lines.append(f"value = {'[' + ', '.join(numbers) + ']' if table else numbers[0]}")
    if SPECS[value.name].anchored and new.at_density != 1.0:
        lines.append(f"at_density = {new.at_density:g}")
    if value.fired_at is not None:
        lines.append(f"fired_at = {_fired_at(value.fired_at)}")
    lines += [
        f"uncertainty = {_listed([_spread(u, factor) for u in new.uncertainty], table)}",
        f"source = {_listed(sources, table)}",
        f"basis = {_listed([toml_value(b) for b in new.basis], table)}",
    ]
    interval = [
        f"{rounded(float(v), float(u)):g}"
        for v, u in ((value.low[0] / factor, value.uncertainty[0] / factor),
                     (value.high[0] / factor, value.uncertainty[0] / factor))
    ] if value.value.size == 1 else []  # fmt: skip
    notes = [f"90 % interval {' to '.join(interval)}"] if interval else []
    notes += [value.told_by] + ([value.note] if value.note else [])
    lines.append(f"note = {toml_value('; '.join(notes))}")
    return "\n".join(lines)


def card_text(c: Calibration) -> str:
    """The new card file: the old one with the measured values in the place of its own.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        TOML; read back and found to be the calibrated card.

    Raises
    ------
    InputError
        The old file is written in a way in which its values cannot be replaced safely, or the new
        one would not be a card.
    """
    where = c.old.origin
    text = read_text(Path(where))
    before = tomllib.loads(text)
    key = _free_key(before.get("sources", {}), c.source)
    lines = text.splitlines()
    wanted = deepcopy(before)
    for value in c.findings.values:
        new = block(value, c, before.get(value.name), key)
        lines = _replaced(lines, value.name, new)
        wanted[value.name] = tomllib.loads(new)[value.name]
    source = f"{key} = {toml_value(c.source)}"
    if "sources" not in before:  # a card like another one needs none of its own
        lines += ["", "[sources]"]
        before["sources"], wanted["sources"] = {}, {}
    at = next((n for n, line in enumerate(lines) if re.match(r"^\s*\[\s*sources\s*\]", line)), None)
    if at is None:
        raise InputError(f"{where}: [sources] is not a table of its own; write it as one")
    if key not in before["sources"]:
        lines.insert(at + 1, source)
        wanted["sources"][key] = c.source
    told = f"# Copy of {Path(where).name} with values from {Path(c.measured.where).name}."
    new_text = "\n".join([told, *lines]) + "\n"
    try:
        after = tomllib.loads(new_text)
    except tomllib.TOMLDecodeError:
        after = {}
    if after != wanted:
        raise InputError(
            f"{where}: its values cannot be replaced safely; write each property as a table of its "
            "own, such as [strength], one field a line"
        )
    reader = CardReader(alone(Path(where), after), f"the new card of {c.old.name}")
    if reader.card() is None:
        raise InputError(reader.problems[0])
    return new_text


def _free_key(sources: dict[str, str], text: str) -> str:
    """A name for the source that no other source has."""
    key, number = KEY, 1
    while key in sources and sources[key] != text:
        number += 1
        key = f"{KEY}_{number}"
    return key


def _replaced(lines: list[str], name: str, new: str) -> list[str]:
    """Lines with the table of one property replaced, or put at the end."""
    own = re.compile(rf"^\s*\[\s*[\"']?{name}[\"']?\s*\]\s*(#.*)?$")
    start = next((n for n, line in enumerate(lines) if own.match(line)), None)
    if start is None:
        inline = re.compile(rf"^\s*[\"']?{name}[\"']?\s*=")
        kept = [line for line in lines if not inline.match(line)]
        return [*kept, "", *new.splitlines()]
    end = start + 1
    while end < len(lines) and not HEADER.match(lines[end]):
        end += 1
    last = end
    while last > start + 1 and (not lines[last - 1].strip() or lines[last - 1].startswith("#")):
        last -= 1  # blank lines and comments before the next table stay
    return [*lines[:start], *new.splitlines(), *lines[last:]]


# ----------------------------------------------------------------------------------------------
# What measurements say of a card, as a person reads it and as JSON

SCHEMA = 1


BATCH = (
    "Intervals are of these bars. The uncertainty in the card is wider: a pot is of another batch "
    "than they, and batches differ (an estimate for each property). A thermocouple that is off by "
    "as much in every firing is in neither: the card is then that of this kiln."
)


def _short(value: float, uncertainty: float) -> str:
    """A number to a tenth of its uncertainty."""
    return f"{rounded(value, 10.0 * uncertainty):.6g}"


def _old(c: Calibration, name: str, row: int) -> str:
    if name not in c.old or row >= c.old[name].value.size:
        return "-"
    p = c.old[name]
    factor = SPECS[name].units[p.unit]
    spread = p.uncertainty[row].absolute(p.value[row])
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
            f"{f.hold / MINUTE:.0f} min there: its heat work in all, no cooling beside it"
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
        lines += [*wrapped(BATCH), ""]
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
        "not_told": [{"name": u.name, "why": u.why, "remedy": u.remedy} for u in c.findings.untold],
        "notes": list(c.findings.notes),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


# ----------------------------------------------------------------------------------------------
# Measurements beside the card fitted to them, and what is left between the two

COLOURS = (FIRST, SECOND, LIMIT, SHARED)
MARKS = ("o", "s", "^", "D", "v")
DASHES = ("-", (0, (6, 2)), ":", (0, (5, 1, 1, 1)), (0, (1, 1, 3, 1)))
COUNTED = ("bar", "strip")
"""Names of axes that count pieces."""
WIDTH, HEIGHT = 5.2, 4.6
"""Of one kind of measurement, in inches."""
MOST_ACROSS = 3


def _draw(top: Axes, below: Axes, panel: Panel) -> None:
    """Readings and fit above, readings less fit below."""
    for n, series in enumerate(panel.series):
        colour, mark = COLOURS[n % len(COLOURS)], MARKS[n % len(MARKS)]
        size = 3.0 if series.line else 5.0
        style: dict[str, Any] = {"color": colour, "mfc": "white", "mew": 1.0, "ls": "none"}
        label = f"{series.label}, measured"
        top.plot(series.place, series.measured, mark, ms=size, label=label, **style)
        fit: dict[str, Any] = {"ls": DASHES[n % len(DASHES)], "lw": 1.2}
        if not series.line:
            fit = {"ls": "none", "marker": "_", "ms": 16.0, "mew": 1.8}
        top.plot(
            series.place, series.fitted, color=colour, label=f"{series.label}, new card", **fit
        )
        below.plot(series.place, series.measured - series.fitted, mark, ms=size, **style)
    below.axhline(0.0, color="0.5", lw=0.8)
    top.set_title(panel.title, loc="left", fontsize=10)
    top.set_ylabel(panel.up)
    below.set_ylabel("measured\nless new card")
    if panel.across in COUNTED:
        from matplotlib.ticker import MaxNLocator

        below.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
        below.set_xlim(0.4, max(series.place.size for series in panel.series) + 0.6)
    below.set_xlabel(panel.across)
    top.legend(fontsize=7.5, frameon=False)
    for axes in (top, below):
        axes.grid(color="0.9", lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        axes.margins(y=0.1)


@literal
def calibration_figure(c: Calibration) -> Figure:
    """Every kind of measurement with the fit and, below it, the residuals.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    Figure
        One pair of panels a kind.
    """
    from matplotlib.figure import Figure

    panels = c.findings.panels
    across = min(max(len(panels), 1), MOST_ACROSS)
    down = -(-len(panels) // across) or 1
    figure = Figure(figsize=(WIDTH * across, HEIGHT * down + 0.5), layout="constrained")
    grid = figure.subplots(2 * down, across, squeeze=False, height_ratios=[2.4, 1.0] * down)
    for n in range(across * down):
        top, below = grid[2 * (n // across), n % across], grid[2 * (n // across) + 1, n % across]
        if n < len(panels):
            top.sharex(below)
            top.tick_params(labelbottom=False)
            _draw(top, below, panels[n])
        else:
            top.set_axis_off()
            below.set_axis_off()
    title = f"{c.old.name}, {c.source}"
    figure.suptitle(textwrap.fill(title, 40 * across), x=0.01, ha="left", fontsize=12)
    return figure


def calibration_csv(c: Calibration) -> str:
    """The numbers of `calibration_figure`, one row a reading.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        Comma-separated text.
    """
    each = [(panel, series) for panel in c.findings.panels for series in panel.series]
    every = [(p, s, k) for p, s in each for k in range(len(s.place))]
    return table_text(
        {
            "test": [p.title for p, _, _ in every],
            "series": [s.label for _, s, _ in every],
            "across": [p.across for p, _, _ in every],
            "place": [float(s.place[k]) for _, s, k in every],
            "what": [p.up for p, _, _ in every],
            "measured": [float(s.measured[k]) for _, s, k in every],
            "card": [float(s.fitted[k]) for _, s, k in every],
        }
    )
