"""The screening table as text, CSV and JSON."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from cofire import __version__
from cofire.assessment.mismatch import CAUSES, PairBlock
from cofire.assessment.own_weight import RING
from cofire.assessment.rule import NO, VERDICTS
from cofire.assessment.screening import Pair
from cofire.firing.program import come_up
from cofire.report.writing import columns, printed, table_text, wrapped
from cofire.units import MINUTE, celsius

SCHEMA = 1

COLUMNS = (
    "metal", "ceramic", "verdict", "reason", "gas", "window_low_C", "window_high_C", "peak_C",
    "hold_min", "metal_density", "ceramic_density", "solidus_margin_K", "end_mismatch_percent",
    "worst_mismatch_percent", "worst_mismatch_at_C", "set_point_C", "cooled_mismatch_ppm",
    "tile_tension_MPa", "strength_MPa", "beyond_tables",
    "metal_sag_percent", "ceramic_sag_percent",
)  # fmt: skip


STREAMED = (
    "peak_C", "metal", "metal_density", "ceramic", "verdict", "cause", "ceramic_density",
    "end_mismatch_percent", "worst_mismatch_percent", "worst_mismatch_at_C", "set_point_C",
    "cooled_mismatch_ppm", "tile_tension_MPa", "strength_MPa", "ceramic_sag_percent",
    "metal_sag_percent",
)  # fmt: skip


def _round(value: float | None, digits: int, factor: float = 1.0) -> float | None:
    return None if value is None else round(value * factor, digits)


def row(pair: Pair) -> dict[str, object]:
    """One pair in the units of the border, ready for CSV and JSON.

    Parameters
    ----------
    pair : Pair
        From `cofire.assessment.screening.screen`.

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
        "metal_sag_percent": _round(pair.metal_sag, 2, 100.0),
        "ceramic_sag_percent": _round(pair.ceramic_sag, 2, 100.0),
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
    rows = [row(pair) for pair in pairs]
    cells = {name: [cell[name] for cell in rows] for name in COLUMNS}
    return table_text({name: np.array(column, dtype=object) for name, column in cells.items()})


def stream_csv(
    blocks: Iterable[tuple[float, int, NDArray[np.bool_], PairBlock]],
    metals: Sequence[str],
    ceramics: Sequence[str],
) -> Iterator[str]:
    """Blocks of pairs as comma-separated text: the header, then one block at a time.

    Parameters
    ----------
    blocks : iterable
        From `cofire.assessment.screening.stream`.
    metals, ceramics : sequence of str
        Names, in the order given to it.

    Yields
    ------
    str
        Whole lines; a pair that shares no firing is "no" by its "window", its figures those it
        would have.
    """
    yield ",".join(STREAMED) + "\n"
    metals, ceramics = list(map(_cell, metals)), list(map(_cell, ceramics))
    row = ",%s,%s,%s,%.3f,%.2f,%.2f,%.0f,%.0f,%.0f,%.1f,%.1f,%.2f,"
    words, reasons = np.array(VERDICTS, dtype=object), np.array((*CAUSES, "window"), dtype=object)
    for peak, metal, shared, block in blocks:
        line = f"{celsius(peak):.0f},{metals[metal]},{block.metal_density:.3f}".replace("%", "%%")
        line = f"{line}{row}{block.metal_sag * 100.0:.2f}\n"
        columns = (
            words[np.where(shared, block.grade, NO)],
            reasons[np.where(shared, block.cause, len(CAUSES))],
            block.ceramic_density,
            block.end_mismatch * 100.0,
            block.worst_mismatch * 100.0,
            celsius(block.worst_temperature),
            celsius(block.set_point),
            block.cooled_mismatch * 1e6,
            block.tile_tension / 1e6,
            block.strength / 1e6,
            block.ceramic_sag * 100.0,
        )
        cells = zip(ceramics, *(column.tolist() for column in columns), strict=True)
        yield "".join(map(line.__mod__, cells))


def _cell(text: str) -> str:
    """A text as a cell of comma-separated text."""
    quoted = text.replace('"', '""')
    return f'"{quoted}"' if set(',"') & set(text) else text


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


LEAST_REASON = 60
"""Columns that a reason needs to stand beside its row. [-]"""
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


def _padded(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(c + " " * (n - printed(c)) for c, n in zip(cells, widths, strict=False))


def _table(rows: Sequence[tuple[str, ...]], width: int) -> list[str]:
    """Lines of the table: the reason beside its row, below it, or all in a block where narrow."""
    widths = [max(printed(row[i]) for row in (HEAD, *rows)) for i in range(len(HEAD) - 1)]
    start = sum(widths) + 2 * len(widths)
    lines = []
    if width - start >= LEAST_REASON:
        for row in (HEAD, *rows):
            text = _padded(row, widths) + "  "
            lines += [line.rstrip() for line in wrapped(text + row[-1], start, width)]
    elif width >= start - 2:
        lines.append(_padded(HEAD[:-1], widths).rstrip())
        for row in rows:
            lines.append(_padded(row[:-1], widths).rstrip())
            lines += wrapped("    " + row[-1], 4, width)
    else:
        for verdict, metal, ceramic, gas, peak, worst, cooled, why in rows:
            lines += wrapped(f"{verdict:7}  {metal} with {ceramic}", 9, width)
            figures = f"{gas}, {peak}; worst {worst}, cooled {cooled}: " if gas else ""
            lines += wrapped("    " + figures + why, 4, width)
    return lines


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
    width = width or columns()
    shown = [p for p in pairs if every or p.window is not None]
    count = Counter(p.verdict for p in pairs)
    without = sum(p.window is None for p in pairs)
    notes = [
        f"{len(pairs)} pair{'s' * (len(pairs) != 1)} (kiln: {kiln}): {count['go']} go, "
        f"{count['caution']} caution, {count['no']} no ({without} share no firing"
        + ("" if every else "; list them with --all")
        + ").",
        "worst: free strain apart while sintering; cooled: from the set point to 20 °C; both metal "
        "minus ceramic. A direct joint; first figures from the cards, not a plan. Own weight is "
        f"that of an upright ring of each material, {1e3 * RING:.0f} mm high and of any wall, that "
        "bears only itself: a zone that bears another one sags more.",
    ]
    if packed := sorted({p.gas for p in shown if p.window is not None}):
        more = ", ".join(f"{gas} {come_up(gas) / MINUTE:.0f} min" for gas in packed)
        notes.append(
            "Peak and hold are the ware's. The kiln holds longer by the ware's lag, as cofire "
            f"mismatch sets it: {more} more."
        )
    if any(p.extended for p in shown):
        notes.append("* a table does not reach over the whole firing, and its end was held.")
    lines = [*_table([_cells(p) for p in shown], width), ""]
    return "\n".join(lines + [line for note in notes for line in wrapped(note, 0, width)]) + "\n"
