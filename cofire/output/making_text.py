"""What to print, weigh, swap and test, in a few screenfuls."""

from __future__ import annotations

import math
import textwrap
from dataclasses import replace

import numpy as np

from cofire.inputs.workshop import JOULES_PER_KILOWATT_HOUR
from cofire.output.making_tables import expected, grams
from cofire.output.verdict_text import number
from cofire.planning.printing.green_solid import Overhang
from cofire.planning.printing.making import Making
from cofire.planning.printing.paste import COARSE
from cofire.planning.printing.swaps import DONE, Smear

WIDTH = 100


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=first if rest is None else rest,
        break_on_hyphens=False,
    )  # fmt: skip


def _print_lines(m: Making) -> list[str]:
    """The print: size, layers, how well it fires to size, and how far it leans."""
    wall, fired = m.green.wall, m.green.fired
    lines = _wrapped(
        f"Print {1e3 * wall.height[-1]:.1f} mm high and {2e3 * wall.outside.max():.1f} mm wide, in "
        f"{sum(m.green.layers)} layers of {1e3 * m.green.layer:.4f} mm (set this, so that a whole "
        f"number reaches the rim). It fires to {1e3 * fired.height[-1]:.1f} by "
        f"{2e3 * fired.outside.max():.1f} mm."
    )
    if m.refired is not None:
        text = (
            "Dried and fired again by the model from this print, its faces come within "
            f"{math.ceil(1e5 * m.refired.miss) / 100:.2f} mm of those wanted"
        )
        if m.refired.edge_miss.size:
            worst = 1e3 * float(np.abs(m.refired.edge_miss).max())
            text += f", its joints within {worst:.2f} mm (whole layers)"
        lines += _wrapped(text + ".")
    pull = 1e3 * np.abs(m.green.settled * fired.radius)
    if pull.max() > 0.05:
        at = 1e3 * float(fired.height[int(np.argmax(pull))])
        lines += _wrapped(
            f"The bands' pull on each other moves the wall by up to {pull.max():.2f} mm, {at:.0f} "
            "mm up; the print allows for it. A joint ring shows whether it is so."
        )
    steep = m.overhangs[-1]
    over = [o for o in m.overhangs if o.over]
    lines += _wrapped(
        f"Steepest in layer {steep.layer}: {math.degrees(steep.lean):+.0f}° from upright, "
        f"{1e3 * steep.offset:.2f} mm beyond the layer below; "
        f"{'TOO FAR: ' if over else ''}half a road, {1e3 * steep.limit:.2f} mm, is common practice."
    )
    beside: dict[Overhang, list[str]] = {}
    for n, o in enumerate(m.overhangs[:-1], 1):
        beside.setdefault(replace(o, where=""), []).append(f"{n}|{n + 1}")
    for o, joints in beside.items():
        added = math.degrees(o.lean - o.wanted)
        if o.over or abs(added) > 1.0:
            lines += _wrapped(
                f"{'TOO FAR: b' if o.over else 'B'}eside the joint of bands {', '.join(joints)}: "
                f"leans {math.degrees(o.lean):+.1f}° in layer {o.layer}, {added:+.1f}° of it from "
                "the different shrinkage."
            )
    return lines


def _band_lines(m: Making) -> list[str]:
    """Bands from the foot up, and what to weigh."""
    scale = m.response.vessel.mixing.scale
    lines = ["", f"{'layers':>9} {'from mm':>8} {'to mm':>7} {'paste ml':>9} {'wet g':>7}"
             f" {'dry g':>7} {'fired g':>7}  bands from the foot up"]  # fmt: skip
    last = np.cumsum(m.green.layers)
    for n, band in enumerate(m.bands):
        low, high = (1e3 * float(e) for e in m.green.wall.edges[n : n + 2])
        span = f"{last[n] - m.green.layers[n] + 1}-{last[n]}"
        lines.append(
            f"{span:>9} {low:8.2f} {high:7.2f} {1e6 * band.volume:9.1f} {1e3 * band.wet:7.1f}"
            f" {1e3 * band.dry:7.1f} {1e3 * band.fired:7.1f}  {band.material}"
        )
    lines += ["", f"weigh, to {1e3 * scale:g} g:"]
    for batch in m.batches:
        parts = [*batch.powders, ("binder", batch.binder), ("water", batch.water)]
        held = ", ".join(f"{grams(mass, scale)} g {name}" for name, mass in parts)
        feed = f", {1e6 * batch.dead:.1f} for the feed" if batch.dead > 0.0 else ""
        lines += _wrapped(
            f"{batch.material}: {held}. {1e6 * batch.volume:.1f} ml, of which "
            f"{1e6 * batch.waste:.1f} for waste{feed}.", "  ", "    ",
        )  # fmt: skip
        if batch.off > COARSE:
            lines += _wrapped(
                f"too little for the scale: one ingredient is off by {100 * batch.off:.0f} %; use "
                "a finer one, or make more", "    ",
            )  # fmt: skip
        if batch.ready:
            mixed = " and ".join(f"{grams(mass, scale)} g of {name}" for name, mass in batch.ready)
            lines += _wrapped(f"or of the ready pastes {mixed}", "    ")
    return lines


def _cost_lines(m: Making) -> list[str]:
    """What it costs, where the file says."""
    if m.cost is None:
        return []
    unit = f" {m.response.vessel.prices.currency}" if m.response.vessel.prices else ""
    parts = [f"{name} {price:.2f}" for name, price in m.cost.powders]
    if m.cost.energy is not None:
        hours = m.cost.energy / JOULES_PER_KILOWATT_HOUR
        parts.append(f"firing {m.cost.firing:.2f} ({hours:.1f} kWh)")
    text = f"cost: {m.cost.total:.2f}{unit.rstrip()} ({', '.join(parts)})"
    if m.cost.unpriced:
        text += f"; without a price: {', '.join(m.cost.unpriced)}"
    return ["", *_wrapped(text)]


def _swap_lines(m: Making) -> list[str]:
    """When to swap, and whether the smear matters."""
    lines: list[str] = []
    if m.swaps:
        printer = m.response.vessel.printer
        lines += ["", *_wrapped(
            f"swap pastes, so that the nozzle gives half of each at the joint; "
            f"{1e6 * printer.dead_volume:g} ml from the swap to the nozzle, mixing as "
            f"{printer.tanks:g} stirred tanks in series (1 wholly, many not at all; measure both "
            "with a coloured paste):"
        )]  # fmt: skip
    for s in m.swaps:
        when = f"in layer {s.layer}" if s.layer else "before the print begins"
        pure = f"pure from layer {s.done}"
        if s.done > sum(m.green.layers):
            pure = "not pure before the rim"
        lines += _wrapped(
            f"{when}: to {s.above}, joint above layer {round(s.step / m.green.layer)}; new paste "
            f"from layer {s.begins}, {pure}, after {1e6 * s.passes:.1f} ml", "  ", "    ",
        )  # fmt: skip
    for n, most in enumerate(m.purity):
        if most < DONE:
            lines += _wrapped(
                f"Band {n + 1}, {m.green.materials[n]}, is too low for the feed: no layer of it "
                f"gets more than {100 * most:.0f} % of its own paste."
            )
    if m.smear is not None:
        lines += _wrapped(smear_line(m.smear))
    return lines


def smear_line(smear: Smear) -> str:
    """The verdicts with sharp joints and with joints as the swaps smear them, in one sentence.

    Parameters
    ----------
    smear : Smear
        From `smear_check`.

    Returns
    -------
    str
        With a full stop.
    """
    sharp, smeared = smear.sharp, smear.smeared
    return (
        f"Verdict with the bands as designed: {sharp.word}, load {number(sharp.load)} "
        f"({sharp.worst.rule}); as the swaps smear them: {smeared.word}, load "
        f"{number(smeared.load)} ({smeared.worst.rule})."
    )


def _piece_lines(m: Making) -> list[str]:
    """Test pieces with their readings."""
    if not m.pieces:
        return ["", "test pieces: none; no flag asks for one"]
    paste = sum(1e6 * p.count * p.volume for p in m.pieces)
    lines = ["", *_wrapped(
        f"test pieces, {paste:.0f} ml of paste in all, in the layers and the firing of the vessel. "
        "What differs without stopping the plan corrects the card: run again."
    )]  # fmt: skip
    for p in m.pieces:
        size = f"{1e3 * p.length:.1f} × {1e3 * p.width:.1f} × {1e3 * p.thickness:.2f} mm"
        if p.kind == "joint ring":
            size = (
                f"{1e3 * p.length:.1f} mm wide, wall {1e3 * p.width:.1f}, "
                f"{1e3 * p.thickness:.1f} high"
            )
        note = f"; {p.note}" if p.note else ""
        lines += _wrapped(
            f"{p.count} × {p.kind}, {p.material}: {size}, {p.layers} layers{note}", "  ", "    "
        )
        lines += _wrapped(f"for {'; '.join(p.decides)}", "    ")
        told = [f"{r.what} {expected(r.value, r.unit)} {r.unit}" for r in p.readings if r.unit]
        if told:
            lines += _wrapped(f"expect: {'; '.join(told)}", "    ")
        for r in p.readings:
            if r.stop:
                lines += _wrapped(f"STOP: {r.what}: {r.stop}", "    ", "      ")
    return lines


def making_text(m: Making) -> str:
    """Print, pastes, swaps and test pieces.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Ends in a new line.
    """
    worst = m.verdict.worst
    lines = _wrapped(
        f"{m.response.vessel.name}: {m.verdict.word}, decided by {worst.rule}, {worst.zone}"
    )
    lines += _print_lines(m) + _band_lines(m) + _cost_lines(m) + _swap_lines(m) + _piece_lines(m)
    for line in m.missing:
        lines += ["", *_wrapped(f"not computed: {line}")]
    for line in m.response.history.extended:
        lines += ["", *_wrapped(f"beyond its table: {line}")]
    return "\n".join(lines) + "\n"
