"""The firing sheet's print, weighing and test pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from cofire.design.ladder import LADDER, RING
from cofire.production.changeovers import DONE
from cofire.production.paste import COARSE_SCALE
from cofire.report.html import Name, Strong, Text
from cofire.report.imperial import Exact
from cofire.report.job import expected, floor_line, grams, roads_line, run_out, said
from cofire.report.sheet_table import TICK, Table

if TYPE_CHECKING:
    from cofire.production.job import Job
    from cofire.production.piece import Piece


def bands_table(m: Job) -> Table:
    """Bands from the foot up: layers, changeovers, and sizes as printed and as fired.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    Table
        One row a band, after the foot.
    """
    head = (
        "Band", "Material", "Layers", "Change in layer", "All new from", "Top printed, mm",
        "Top fired, mm", "⌀ printed, mm", "⌀ fired, mm",
    )  # fmt: skip
    green = m.green.wall
    fired = m.refired.wall if m.refired is not None else m.green.fired
    last = np.cumsum(m.green.layers)
    wide = [2e3 * wall.at(wall.outside, wall.edges) for wall in (green, fired)]
    rows: list[tuple[Text, ...]] = [
        ("foot", "", "", "", "", "0.0", "0.0", Exact(wide[0][0], 1), Exact(wide[1][0], 1))
    ]
    for n, band in enumerate(m.bands):
        changeover = m.changeovers[n - 1] if n else None
        when, done = "", ""
        if changeover is not None:
            when = str(changeover.layer or "before 1, see below")
            done = str(changeover.done) if changeover.done <= last[-1] else "never"
        span = f"{last[n] - m.green.layers[n] + 1}–{last[n]}"
        rows.append(
            (
                f"{TICK}{n + 1}", Name(band.material), span,
                Strong(when) if when else "", done, Exact(1e3 * green.edges[n + 1], 1),
                Exact(1e3 * fired.edges[n + 1], 1), Exact(wide[0][n + 1], 1),
                Exact(wide[1][n + 1], 1),
            )
        )  # fmt: skip
    caption = f"Print, from the foot up: {last[-1]} layers of {1e3 * m.green.layer:.4f} mm"
    kinds = dict.fromkeys(range(2, 9), "n") | {1: "name"}
    return Table(key="bands", caption=caption, head=head, rows=rows, kinds=kinds)


def print_line(m: Job) -> Text:
    """What the print asks for besides its table, where anything.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    text
        Sentences; empty where there is nothing.
    """
    parts: list[str] = []
    over = [o for o in m.overhangs if o.over]
    if over:
        o = over[-1]
        parts += (
            Strong("Leans too far"),
            f" in layer {o.layer}: {math.degrees(o.lean):+.0f}°, {1e3 * o.offset:.2f} mm beyond "
            f"the layer below; half a road is {1e3 * o.limit:.2f} mm. Support it, or change the "
            "shape. ",
        )
    for n, change in enumerate(m.changeovers):
        if first := run_out(m.changeovers, n):
            parts += (Strong("Before layer 1"), " change to ", Name(change.above), f"; {first}. ")
    parts += [f"{line} " for line in (roads_line(m), floor_line(m)) if line]
    for n, most in enumerate(m.purity, 1):
        if most < DONE:
            parts += (
                Strong(f"Band {n} is never pure"),
                f": no layer of it gets more than {100 * most:.0f} % of its own paste, as the "
                "verdict takes it. ",
            )
    if m.changeovers:
        parts.append(
            f"A changeover takes {1e6 * m.changeovers[0].passes:.1f} ml to pass; at the joint the "
            "nozzle gives half of each."
        )
    return tuple(parts)


def weighing_table(m: Job) -> Table:
    """What to weigh for each paste, each mass to be ticked.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    Table
        One row a paste: what the vessel takes, and what its test pieces take besides.
    """
    scale = m.response.vessel.mixing.scale
    made = [{b.material: b for b in some} for some in (m.batches, m.piece_batches)]
    names = list(dict.fromkeys(name for some in made for name in some))
    both = [[some[name] for some in made if name in some] for name in names]
    powders = list(dict.fromkeys(p for some in both for p, _ in some[0].powders))
    blends = any(some[0].ready for some in both)
    head = ["Paste, ml", *(f"{p} powder, g" for p in powders), "Binder, g", "Water, g"]
    if blends:
        head += [f"or {p} paste, g" for p in powders]

    def cell(name: str, masses: Sequence[float]) -> str:
        """Of the vessel, then of its test pieces."""
        told = " + ".join(f"{TICK}{grams(mass, scale)}" for mass in masses)
        return told if name in made[0] else f"+ {told}"

    def cells(name: str, some: Sequence[Sequence[tuple[str, float]]]) -> list[str]:
        of = [dict(parts) for parts in some]
        return [cell(name, [part[p] for part in of]) if p in of[0] else "" for p in powders]

    rows = []
    for name, some in zip(names, both, strict=True):
        volume = " + ".join(f"{1e6 * b.volume:.1f}" for b in some)
        rows.append(
            [
                (Name(name), f", {volume if name in made[0] else f'+ {volume}'}"),
                *cells(name, [b.powders for b in some]),
                cell(name, [b.binder for b in some]),
                cell(name, [b.water for b in some]),
                *(cells(name, [b.ready for b in some]) if blends else ()),
            ]
        )
    tested = ", + for the test pieces" if m.piece_batches else ""
    waste = 100.0 * m.response.vessel.mixing.waste
    more = "; a blend from powders, or from more of the pure pastes"
    return Table(
        key="weigh",
        caption=f"Weigh{tested}, {waste:.0f} % for waste and the feed included"
        f"{more if blends else ''}",
        head=head,
        rows=rows,
        kinds=dict.fromkeys(range(1, len(head)), "n") | {0: "name"},
    )


def scale_line(m: Job) -> Text:
    """What the step of the scale changes most, where that is much.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    text
        One sentence; empty where the scale is fine enough.
    """
    worst = max(m.batches, key=lambda batch: batch.off)
    if worst.off <= COARSE_SCALE:
        return ""
    return (
        f"The scale's step of {1e3 * m.response.vessel.mixing.scale:g} g changes ",
        Name(worst.worst), " in ", Name(worst.material),
        f" by {100 * worst.off:.0f} %: use a finer one, or make more and keep the rest.",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What is read from a test piece in one go: (what, expected) of each, and when to stop."""

    found: Sequence[tuple[str, str]]
    stop: str


def piece_rows(p: Piece) -> tuple[Text, list[Readings]]:
    """A test piece in words, and its readings: those that stop nothing stand together.

    Parameters
    ----------
    p : Piece
        From `pieces_for`.

    Returns
    -------
    tuple
        What it is, and its readings in the order in which they are taken.
    """
    whole = "" if p.kind == LADDER else "whole"
    rows = []
    for stop, some in groupby(p.readings, key=lambda r: r.stop):
        found = [
            (r.what, f"{expected(r.value, r.unit)} {said(r.unit)}" if r.unit else whole)
            for r in some
        ]
        rows.append(Readings(found=found, stop=stop))
    return _described(p), rows


def _described(p: Piece) -> Text:
    """What a piece is: kind, material, size, how to make it, what it decides."""
    size = f"{1e3 * p.length:.0f} × {1e3 * p.width:.0f} × {1e3 * p.thickness:.1f} mm"
    what: tuple[str, ...] = (f" {p.kind}, ", Name(p.material), f", {size}")
    if p.kind == LADDER:
        return (TICK, Strong(f"{p.count} ×"), f" {p.kind}, {p.note.partition(';')[0]}")
    if p.kind == RING:
        what = (f" {p.kind}, ⌀ {1e3 * p.length:.0f} × {1e3 * p.thickness:.0f} mm",)
    note = f"; {p.note.partition(';')[0]}" if p.note else ""
    rules = ", ".join(dict.fromkeys(told.partition(", ")[0] for told in p.decides))
    return (TICK, Strong(f"{p.count} ×"), *what, f", {p.layers} layers{note} (for {rules})")
