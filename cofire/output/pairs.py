"""The screening table as text, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import shutil
import textwrap
from collections import Counter
from collections.abc import Sequence

from cofire import __version__
from cofire.inputs.units import MINUTE, celsius
from cofire.planning.screening import Pair

SCHEMA = 1

COLUMNS = (
    "metal", "ceramic", "verdict", "reason", "gas", "window_low_C", "window_high_C", "peak_C",
    "hold_min", "metal_density", "ceramic_density", "solidus_margin_K", "end_mismatch_percent",
    "worst_mismatch_percent", "worst_mismatch_at_C", "set_point_C", "cooled_mismatch_ppm",
    "tile_tension_MPa", "strength_MPa", "beyond_tables",
)  # fmt: skip


def _round(value: float | None, digits: int, factor: float = 1.0) -> float | None:
    return None if value is None else round(value * factor, digits)


def row(pair: Pair) -> dict[str, object]:
    """One pair in the units of the border, ready for CSV and JSON.

    Parameters
    ----------
    pair : Pair
        From `cofire.planning.screening.screen`.

    Returns
    -------
    dict
        Keys are COLUMNS; None where there is no shared firing.
    """
    w = pair.window
    return {
        "metal": pair.metal,
        "ceramic": pair.ceramic,
        "verdict": pair.verdict,
        "reason": pair.reason,
        "gas": pair.gas or None,
        "window_low_C": None if w is None else round(celsius(w.low)),
        "window_high_C": None if w is None else round(celsius(w.high)),
        "peak_C": None if w is None else round(celsius(w.peak)),
        "hold_min": None if w is None else round(w.hold / MINUTE),
        "metal_density": _round(pair.metal_density, 3),
        "ceramic_density": _round(pair.ceramic_density, 3),
        "solidus_margin_K": _round(pair.solidus_margin, 0),
        "end_mismatch_percent": _round(pair.end_mismatch, 2, 100.0),
        "worst_mismatch_percent": _round(pair.worst_mismatch, 2, 100.0),
        "worst_mismatch_at_C": _round(
            None if pair.worst_temperature is None else celsius(pair.worst_temperature), 0
        ),
        "set_point_C": _round(None if pair.set_point is None else celsius(pair.set_point), 0),
        "cooled_mismatch_ppm": _round(pair.cooled_mismatch, 0, 1e6),
        "tile_tension_MPa": _round(pair.tile_tension, 1, 1e-6),
        "strength_MPa": _round(pair.strength, 1, 1e-6),
        "beyond_tables": pair.extended,
    }


def as_csv(pairs: Sequence[Pair]) -> str:
    """All pairs as comma-separated text with a header.

    Parameters
    ----------
    pairs : sequence of Pair
        In the order to be written.

    Returns
    -------
    str
        Empty cells where there is no figure.
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(row(pair) for pair in pairs)
    return text.getvalue()


def as_json(pairs: Sequence[Pair], kiln: str, gases: Sequence[str]) -> str:
    """All pairs as one JSON object with its schema number.

    Parameters
    ----------
    pairs : sequence of Pair
        In the order to be written.
    kiln : str
        Name of the kiln.
    gases : sequence of str
        Gases at hand.

    Returns
    -------
    str
        Ends in a new line.
    """
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "kiln": kiln,
        "gases": list(gases),
        "pairs": [row(pair) for pair in pairs],
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


HEAD = ("verdict", "metal", "ceramic", "gas", "peak", "worst", "cooled", "why")


def _cells(pair: Pair) -> tuple[str, ...]:
    cells = row(pair)
    if pair.window is None:
        return (pair.verdict, pair.metal, pair.ceramic, "", "", "", "", pair.reason)
    mark = "*" if pair.extended else ""
    return (
        pair.verdict,
        pair.metal,
        pair.ceramic,
        pair.gas,
        f"{cells['peak_C']:.0f} °C, {cells['hold_min']:.0f} min",
        f"{cells['worst_mismatch_percent']:+.1f} %",
        f"{cells['cooled_mismatch_ppm']:+.0f} ppm{mark}",
        pair.reason,
    )


def as_text(pairs: Sequence[Pair], kiln: str, width: int | None = None, every: bool = False) -> str:
    """The table a person reads: pairs with a shared firing, and how many have none.

    Parameters
    ----------
    pairs : sequence of Pair
        Best first.
    kiln : str
        Name of the kiln.
    width : int, optional
        Columns of the terminal; by default its own. [-]
    every : bool
        Also list the pairs without a shared firing, with their reasons.

    Returns
    -------
    str
        Ends in a new line.
    """
    width = width or max(shutil.get_terminal_size((110, 24)).columns, 80)
    shown = [p for p in pairs if every or p.window is not None]
    table = [HEAD, *(_cells(p) for p in shown)]
    widths = [max(len(line[i]) for line in table) for i in range(len(HEAD) - 1)]
    indent = sum(widths) + 2 * len(widths)
    beside = width - indent >= 36
    lines = []
    for cells in table:
        start = "  ".join(c.ljust(n) for c, n in zip(cells, widths, strict=False)) + "  "
        room = width - indent if beside else width - 4
        why = textwrap.wrap(cells[-1], max(room, 30)) or [""]
        if beside:
            lines.append((start + why[0]).rstrip())
            lines += [" " * indent + more for more in why[1:]]
        else:
            lines.append(start.rstrip())
            lines += ["    " + more for more in why if cells is not HEAD]
    count = Counter(p.verdict for p in pairs)
    without = sum(p.window is None for p in pairs)
    lines += [
        "",
        f"{len(pairs)} pairs in the {kiln}: {count['go']} go, {count['caution']} caution, "
        f"{count['no']} no ({without} share no firing"
        + ("" if every else "; list them with --all")
        + ").",
        "worst: free strain apart while sintering; cooled: from the set point to 20 °C;",
        "both metal minus ceramic. A direct joint; first figures from the cards, not a plan.",
    ]
    if any(p.extended for p in shown):
        lines.append("* a table ends below the peak and was held at its last value.")
    return "\n".join(lines) + "\n"
