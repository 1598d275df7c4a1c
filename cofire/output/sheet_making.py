"""The firing sheet's print, weighing and test pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from cofire.output.html_parts import TICK, framed, named, shown, table
from cofire.output.making_tables import expected, grams
from cofire.planning.printing.making import Making
from cofire.planning.printing.paste import COARSE
from cofire.planning.printing.pieces import Piece, Reading
from cofire.planning.printing.swaps import DONE


def bands_table(m: Making) -> str:
    """Bands from the foot up: layers, swaps, and sizes as printed and as fired.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    head = (
        "Band", "Material", "Layers", "Swap to it in layer", "All new from", "Top printed, mm up",
        "fired, mm up", "⌀ printed, mm", "⌀ fired, mm",
    )  # fmt: skip
    green = m.green.wall
    fired = m.refired.wall if m.refired is not None else m.green.fired
    last = np.cumsum(m.green.layers)
    wide = [2e3 * wall.at(wall.outside, wall.edges) for wall in (green, fired)]
    rows = [("foot", "", "", "", "", "0.0", "0.0", f"{wide[0][0]:.1f}", f"{wide[1][0]:.1f}")]
    for n, band in enumerate(m.bands):
        swap = m.swaps[n - 1] if n else None
        when, done = "", ""
        if swap is not None:
            when = str(swap.layer or "before 1")
            done = str(swap.done) if swap.done <= last[-1] else "never"
        span = f"{last[n] - m.green.layers[n] + 1}–{last[n]}"
        rows.append(
            (
                f"{TICK} {n + 1}", named(band.material), span,
                f"<b>{when}</b>" if when else "", done, f"{1e3 * green.edges[n + 1]:.1f}",
                f"{1e3 * fired.edges[n + 1]:.1f}", f"{wide[0][n + 1]:.1f}", f"{wide[1][n + 1]:.1f}",
            )
        )  # fmt: skip
    caption = f"Print, from the foot up: {last[-1]} layers of {1e3 * m.green.layer:.4f} mm"
    return table("bands", caption, head, rows, numbers=range(2, 9), kinds={1: "name"})


def print_lines(m: Making) -> str:
    """What the print asks for besides its table, where anything.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    lines = []
    over = [o for o in m.overhangs if o.over]
    if over:
        o = over[-1]
        lines.append(
            f"<b>Leans too far</b> in layer {o.layer}: {math.degrees(o.lean):+.0f}°, "
            f"{1e3 * o.offset:.2f} mm beyond the layer below; half a road is "
            f"{1e3 * o.limit:.2f} mm. Support it, or change the shape."
        )
    for n, most in enumerate(m.purity, 1):
        if most < DONE:
            lines.append(
                f"<b>Band {n} is too low for the feed</b>: no layer of it gets more than "
                f"{100 * most:.0f} % of its own paste."
            )
    if m.swaps:
        volume = 1e6 * m.swaps[0].passes
        lines.append(
            f"A swap takes {volume:.1f} ml to pass; at the joint the nozzle gives half of each."
        )
    return f"<p>{' '.join(lines)}</p>" if lines else ""


def weighing_table(m: Making) -> str:
    """What to weigh for each paste, each mass to be ticked.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    scale = m.response.vessel.mixing.scale
    powders = list(dict.fromkeys(name for b in m.batches for name, _ in b.powders))
    blends = any(b.ready for b in m.batches)
    head = [
        "Paste, ml",
        *(f"{named(p)} powder,&nbsp;g" for p in powders),
        "Binder,&nbsp;g",
        "Water,&nbsp;g",
    ]
    if blends:
        head += [f"or {named(p)} paste,&nbsp;g" for p in powders]

    def cells(parts: Sequence[tuple[str, float]]) -> list[str]:
        of = dict(parts)
        return [f"{TICK} {grams(of[p], scale)}" if p in of else "" for p in powders]

    rows = [
        [
            f"{named(b.material)}, {1e6 * b.volume:.1f}",
            *cells(b.powders),
            f"{TICK} {grams(b.binder, scale)}",
            f"{TICK} {grams(b.water, scale)}",
            *(cells(b.ready) if blends else ()),
        ]
        for b in m.batches
    ]
    waste = 100.0 * m.response.vessel.mixing.waste
    more = (
        "; a blend from its powders, or from that much more of the two pure pastes"
        if blends
        else ""
    )
    weighed = table(
        "weigh", f"Weigh, {waste:.0f} % for waste and the feed included{more}", head, rows,
        numbers=range(1, len(head)), kinds={0: "name"},
    )  # fmt: skip
    off = max(batch.off for batch in m.batches)
    if off <= COARSE:
        return weighed
    return (
        f"{weighed}\n<p>The scale's step of {1e3 * scale:g} g changes one ingredient by "
        f"{100 * off:.0f} %: use a finer one, or make more and keep the rest.</p>"
    )


def pieces_table(m: Making) -> str:
    """Test pieces to fire first: what to measure, what is expected, and what stops the plan.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    if not m.pieces:
        return "<p>None: no limit comes near enough to ask for one.</p>"
    head = "".join(
        f'<th scope="col" class="{look}">{name}</th>'
        for name, look in (
            ("Piece, as printed", "name"), ("Read", "text"), ("Expected", "n"), ("Found", "pen"),
            ("STOP if", "text"),
        )
    )  # fmt: skip
    paste = sum(1e6 * p.count * p.volume for p in m.pieces)
    caption = (
        f"In the vessel's layers and firing, {paste:.0f} ml of paste in all. What differs without "
        "a stop corrects the card"
    )
    return framed("pieces", caption, f"<tr>{head}</tr>", "\n".join(map(_piece, m.pieces)))


def _piece(p: Piece) -> str:
    """One piece with its readings, a row each."""
    rows = []
    for n, reading in enumerate(p.readings):
        first = ""
        if n == 0:
            span = f' rowspan="{len(p.readings)}"' if len(p.readings) > 1 else ""
            first = f'<th scope="rowgroup" class="name"{span}>{_described(p)}</th>'
        rows.append(f"<tr>{first}{_reading(reading)}</tr>")
    return "<tbody>\n" + "\n".join(rows) + "\n</tbody>"


def _described(p: Piece) -> str:
    """What a piece is: kind, material, size, how to make it, what it decides."""
    if p.kind == "joint ring":
        size = f"⌀ {1e3 * p.length:.0f} × {1e3 * p.thickness:.0f} mm"
        what = f"{p.kind}, {size}"
    else:
        size = f"{1e3 * p.length:.0f} × {1e3 * p.width:.0f} × {1e3 * p.thickness:.1f} mm"
        what = f"{p.kind}, {named(p.material)}, {size}"
    note = f"; {shown(p.note.partition(';')[0])}" if p.note else ""
    rules = ", ".join(dict.fromkeys(told.partition(", ")[0] for told in p.decides))
    return f"{TICK} <b>{p.count} ×</b> {what}, {p.layers} layers{note} (for {shown(rules)})"


def _reading(r: Reading) -> str:
    """Cells of one reading."""
    value = f"{expected(r.value, r.unit)} {shown(r.unit)}" if r.unit else "whole"
    return (
        f'<th scope="row" class="text">{shown(r.what)}</th><td class="n">{value}</td>'
        f'<td class="pen"></td><td class="text">{shown(r.stop)}</td>'
    )
