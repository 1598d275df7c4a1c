"""The firing sheet: one HTML file to take to the printer and the kiln.

No script, no network; every text that a person wrote is escaped where it is put in.
"""

from __future__ import annotations

import math
import string
from collections.abc import Sequence
from importlib import resources
from itertools import pairwise

import numpy as np

from cofire import __version__
from cofire.assessment.cautions import DEFER, cautions
from cofire.assessment.fired_metal import fired_metals
from cofire.assessment.response import Response
from cofire.assessment.rule import GO, GRADE, UNKNOWN, Flag, joint_name
from cofire.assessment.windows import ceiling
from cofire.design.ladder import LADDER, RING
from cofire.firing.kiln import Trace
from cofire.firing.program import Firing
from cofire.materials.card import Card, Property
from cofire.production.changeovers import DONE
from cofire.production.job import (
    BURNOUT,
    Happening,
    Job,
    Step,
    happenings,
    kiln_steps,
    pure_materials,
)
from cofire.production.paste import COARSE
from cofire.production.pieces import Piece, Reading
from cofire.report.firing import heat_work_line
from cofire.report.html import TICK, figure, framed, listed, named, plain, shown, table
from cofire.report.job import expected, grams
from cofire.report.job_figures import curve_picture, data_uri, letter, section_picture
from cofire.report.verdict import number, place, sharp_line
from cofire.units import HOUR, MINUTE, celsius, kelvin
from cofire.vessel import Printer

# ----------------------------------------------------------------------------------------------
# What the firing sheet rests on: cards, kiln, vessel file, and what was read beyond a table

WARM = kelvin(500.0)
"""Mean expansion is shown from 20 °C up to here: common practice. [K]"""
NUMBERS = (
    ("drying_shrinkage", "drying shrinkage, %"),
    ("green_density", "density, burnt out"),
    ("fired_density", "density, fired"),
    ("thermal_expansion", "expansion, 1e-6/K"),
    ("young_modulus", "Young's modulus, GPa"),
    ("strength", "strength, MPa"),
    ("weibull_modulus", "Weibull modulus"),
    ("fracture_toughness", "toughness, MPa m^0.5"),
    ("yield_stress", "yield stress, MPa"),
    ("solidus", "first liquid, °C"),
    ("firing_ceiling", "firing ceiling, °C"),
)
"""Properties on which print, stress and limits hang most, and their names and units here."""
UNITS = {"%": 0.01, "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "MPa m^0.5": 1e6}


def _value(p: Property, unit: str, sources: list[str]) -> str:
    """A number with its uncertainty, how it is known, and the number of its source."""
    row = 0
    if p.temperature is not None and p.name == "thermal_expansion":
        row = int(np.argmin(np.abs(p.temperature - WARM)))
    factor = UNITS.get(unit, 1.0)
    value = celsius(float(p.value[row])) if unit == "°C" else float(p.value[row]) / factor
    u = p.uncertainty[row]
    spread = {
        "%": f"± {100 * u.size:.2g} %",
        "factor": f"factor {u.size:.2g}",
        "+-": f"± {u.size / factor:.2g}",
    }[u.form]
    if p.source[row] not in sources:
        sources.append(p.source[row])
    where = sources.index(p.source[row]) + 1
    figure = f"{value:.0f}" if unit == "°C" else f"{value:.3g}"
    return f"{figure} {spread}, {p.basis[row]} [{where}]"


def cards_table(cards: list[Card]) -> tuple[str, list[str]]:
    """The numbers of the cards on which most hangs, and the sources their brackets name.

    Parameters
    ----------
    cards : list of Card
        Pure materials.

    Returns
    -------
    tuple of str and list of str
        HTML of the table, and the sources as text.
    """
    sources: list[str] = []
    rows = []
    for key, name in NUMBERS:
        unit = name.rpartition(", ")[2] if ", " in name else ""
        if any(key in card for card in cards):
            cells = (_value(card[key], unit, sources) if key in card else "" for card in cards)
            rows.append([shown(name), *cells])
    head = ("Property", *(named(card.name) for card in cards))
    told = "Numbers on which most hangs, ± one standard uncertainty [source]"
    whole = table("cards", told, head, rows, kinds=dict.fromkeys(range(1, len(head)), "text"))
    return whole, sources


def _printer(printer: Printer) -> str:
    """What the printer is taken to do, usual values marked."""
    usual = Printer()

    def told(text: str, value: float, as_usual: float, mark: str = "common practice") -> str:
        return f"{text} ({mark})" if math.isclose(value, as_usual) else text

    return ", ".join(
        (
            told(f"layers of {1e3 * printer.layer:g} mm", printer.layer, usual.layer),
            told(f"roads of {1e3 * printer.nozzle:g} mm", printer.nozzle, usual.nozzle),
            told(
                f"{1e6 * printer.dead_volume:g} ml from the change to the nozzle",
                printer.dead_volume, usual.dead_volume, "estimate",
            ),
            told(
                f"mixing as {printer.tanks:g} tanks", printer.tanks, usual.tanks, "estimate"
            ) + ": measure both with a coloured paste",
        )
    )  # fmt: skip


def input_lines(m: Job) -> str:
    """Kiln and printer, and what is missing or beyond a table.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        HTML.
    """
    vessel = m.response.vessel
    kiln, printer = vessel.firing.kiln, vessel.printer
    source = f" ({shown(kiln.source)})" if kiln.source else ""
    lines = [
        f"Kiln: {named(kiln.name)}, at most {celsius(kiln.max_temperature):.0f} °C{source}.",
        f"Printer: {_printer(printer)}.",
        *(f"<b>Beyond its table:</b> {shown(line)}." for line in m.response.history.extended),
        *(f"<b>Not computed:</b> {shown(line)}" for line in m.missing),
    ]
    return listed(lines, look="small")


# ----------------------------------------------------------------------------------------------
# The firing sheet's programme, events and heat work

WORDS = {
    "burnout begins": "binder begins to leave: vent the kiln",
    "burnout ends": "binder and bound water gone: vents may close",
    "sintering begins": "sintering begins",
    "peak": "hottest",
    "sets": "<b>sets</b>: keep shut, strain stays",
    "cold": "below 100 °C: may be opened",
}
"""Events as they are told at the kiln; others keep their name."""
INVERSION = "inversion"


def clock(time: float) -> str:
    """Hours and minutes since the kiln was lit.

    Parameters
    ----------
    time : float
        [s]

    Returns
    -------
    str
        Such as 12:05; the minutes are rounded.
    """
    hours, minutes = divmod(round(time / MINUTE), 60)
    return f"{hours}:{minutes:02d}"


def _kiln_does(step: Step) -> str:
    """How a ramp goes, and where the kiln cannot follow."""
    taken = step.reached - step.start
    if step.segment is None:
        return f"cools shut, {clock(taken)}"
    if step.behind is None or taken < step.asked + MINUTE:
        return clock(taken)
    return (
        f"<b>cannot follow from {celsius(step.behind):.0f} °C:</b> {clock(taken)}, "
        f"not {clock(step.asked)}"
    )


def programme(steps: Sequence[Step]) -> str:
    """What to set on the kiln, what it makes of it, and room for what it shows.

    Parameters
    ----------
    steps : sequence of Step
        From `kiln_steps`.

    Returns
    -------
    str
        HTML.
    """
    head = [
        "Segment",
        "°C/h",
        "to&nbsp;°C",
        "hold,&nbsp;min",
        "Ramp takes",
        "Ends&nbsp;at",
        "Kiln shows, °C",
    ]
    rows = []
    for n, step in enumerate(steps, 1):
        asked = step.segment
        told = ["off", "", ""]
        if asked is not None:
            rate = f"{asked.rate * HOUR:.0f}" if math.isfinite(asked.rate) else "full"
            told = [rate, f"{celsius(asked.target):.0f}", f"{asked.hold / MINUTE:.0f}"]
        rows.append([f"{TICK} {n}", *told, _kiln_does(step), clock(step.end), ""])
    return table(
        "programme", "Programme, times in h:min; tick what is set, note what the kiln shows",
        head, rows, numbers=(1, 2, 3, 5), kinds={6: "pen"},
    )  # fmt: skip


def why(reasons: Sequence[str]) -> str:
    """Why each segment is not faster.

    Parameters
    ----------
    reasons : sequence of str
        One a segment, in order; empty where no schedule says so.

    Returns
    -------
    str
        HTML.
    """
    if not reasons:
        return ""
    return "<p>Why not faster, segment by segment:</p>\n" + listed(map(shown, reasons), "ol")


def told(event: Happening) -> str:
    """An event in words, with its materials.

    Parameters
    ----------
    event : Happening
        From `happenings`.

    Returns
    -------
    str
        HTML.
    """
    words = WORDS.get(event.name, f"{shown(event.name)}: no draught"
                      if event.name.endswith(INVERSION) else shown(event.name))  # fmt: skip
    zones = "" if event.name in BURNOUT else " and ".join(named(zone) for zone in event.zones)
    return f"{zones}: {words}" if zones else words


def events_table(events: Sequence[Happening]) -> str:
    """What happens when, by the letters of the curve.

    Parameters
    ----------
    events : sequence of Happening
        From `happenings`.

    Returns
    -------
    str
        HTML.
    """
    rows = [
        (letter(n), told(e), f"{celsius(e.kiln):.0f}", f"{celsius(e.ware):.0f}", clock(e.time))
        for n, e in enumerate(events)
    ]
    head = ("Mark", "Event", "Kiln,&nbsp;°C", "Ware,&nbsp;°C", "h:min")
    return table("events", "What happens when", head, rows, numbers=(2, 3, 4), kinds={1: "text"})


def firing_lines(firing: Firing, curve: Trace, limit: float, bound: str) -> str:
    """What else to know at the kiln: the clock, the limit, the lag, the cone.

    Parameters
    ----------
    firing : Firing
        As asked.
    curve : Trace
        As it goes.
    limit : float
        Hottest that all materials bear. [K]
    bound : str
        The material it belongs to.

    Returns
    -------
    str
        HTML.
    """
    gas = {"air": "air, bare", "carbon": "a carbon-packed box"}.get(firing.gas, shown(firing.gas))
    return (
        f"<p><b>Never above {celsius(limit):.0f} °C</b> ({named(bound)}). Fired in {gas}; "
        f"temperatures of the programme are the kiln's, the ware follows {firing.lag / MINUTE:.0f} "
        f"min later and peaks at {celsius(curve.peak):.0f} °C. {shown(heat_work_line(curve))}</p>\n"
        "<p>Lit on ____________ at ______ by ______________</p>"
    )


# ----------------------------------------------------------------------------------------------
# The firing sheet's print, weighing and test pieces


def bands_table(m: Job) -> str:
    """Bands from the foot up: layers, changeovers, and sizes as printed and as fired.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        HTML.
    """
    head = (
        "Band", "Material", "Layers", "Change to it in layer", "All new from", "Top printed, mm up",
        "fired, mm up", "⌀ printed, mm", "⌀ fired, mm",
    )  # fmt: skip
    green = m.green.wall
    fired = m.refired.wall if m.refired is not None else m.green.fired
    last = np.cumsum(m.green.layers)
    wide = [2e3 * wall.at(wall.outside, wall.edges) for wall in (green, fired)]
    rows = [("foot", "", "", "", "", "0.0", "0.0", f"{wide[0][0]:.1f}", f"{wide[1][0]:.1f}")]
    for n, band in enumerate(m.bands):
        changeover = m.changeovers[n - 1] if n else None
        when, done = "", ""
        if changeover is not None:
            when = str(changeover.layer or "before 1")
            done = str(changeover.done) if changeover.done <= last[-1] else "never"
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


def print_lines(m: Job) -> str:
    """What the print asks for besides its table, where anything.

    Parameters
    ----------
    m : Job
        From `job_for`.

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
    if m.changeovers:
        volume = 1e6 * m.changeovers[0].passes
        lines.append(
            f"A changeover takes {volume:.1f} ml to pass; at the joint the nozzle gives half of "
            f"each."
        )
    return f"<p>{' '.join(lines)}</p>" if lines else ""


def weighing_table(m: Job) -> str:
    """What to weigh for each paste, each mass to be ticked.

    Parameters
    ----------
    m : Job
        From `job_for`.

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
    worst = max(m.batches, key=lambda batch: batch.off)
    if worst.off <= COARSE:
        return weighed
    return (
        f"{weighed}\n<p>The scale's step of {1e3 * scale:g} g changes {named(worst.worst)} in "
        f"{named(worst.material)} by {100 * worst.off:.0f} %: use a finer one, or make more and "
        f"keep the rest.</p>"
    )


def pieces_table(m: Job) -> str:
    """Test pieces to fire first: what to measure, what is expected, and what stops the plan.

    Parameters
    ----------
    m : Job
        From `job_for`.

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
    return framed("pieces", caption, f"<tr>{head}</tr>", "\n".join(map(_piece_row, m.pieces)))


def _piece_row(p: Piece) -> str:
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
    if p.kind == LADDER:
        return f"{TICK} <b>{p.count} ×</b> {p.kind}, {shown(p.note.partition(';')[0])}"
    if p.kind == RING:
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


# ----------------------------------------------------------------------------------------------
# The firing sheet: one HTML file to take to the printer and the kiln

MEANING = {
    "go": "Every limit is kept with its margin.",
    "caution": "No limit is passed, but one is nearer than its margin. Fire the test pieces first.",
    "no": "The model expects a defect. Do not print or fire the vessel as it stands.",
}
LEFT_OUT = (
    "The powder between burnout and sintering: it is weakest then, and nothing judges it. Do not "
    "move, knock or open.",
    "Cracks of drying and handling, beyond the difference of drying shrinkage.",
    "The corner of a joint, where stress grows without end: it is a mean over a tenth of the wall.",
    "Shrinkage that differs along and across the printed roads: in the stress each band is alike "
    "all ways.",
    "What happens chemically at the joint: reaction, wetting, diffusion. The bond is taken as "
    "sound.",
    "Unevenness of the kiln: the whole piece has one temperature at a time. Place a cone beside "
    "it.",
    "Slow crack growth: a piece that comes out whole may crack days later.",
)
"""What no number of the sheet knows."""


def where(flag: Flag, response: Response) -> str:
    """The place of a flag by the numbers of its bands.

    Parameters
    ----------
    flag : Flag
        From `judge`.
    response : Response
        Of the vessel.

    Returns
    -------
    str
        HTML.
    """
    names = [card.name for card in response.cards]
    for n, (below, above) in enumerate(pairwise(names), 1):
        if flag.zone == joint_name(below, above):
            return f"joint of bands {n} and {n + 1}"
    own = [str(n) for n, name in enumerate(names, 1) if name == flag.zone]
    if own:
        return f"band{'s' if len(own) > 1 else ''} {' and '.join(own)}, {named(flag.zone)}"
    return named(flag.zone)


def _found(flag: Flag) -> str:
    """The figure of a flag in words."""
    if flag.verdict == UNKNOWN or flag.unit == GRADE:
        return shown(flag.note)
    return (
        f"{shown(flag.note)}: {number(flag.figure)} against {number(flag.limit)} {shown(flag.unit)}"
    )


def verdict_box(m: Job) -> str:
    """The verdict in words with its deciding reason, then the limits that are not kept.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        HTML.
    """
    verdict, response = m.verdict, m.check.printed
    worst = verdict.worst
    text = f"<strong>{verdict.word.upper()}.</strong> {MEANING[verdict.word]}"
    if verdict.grade > GO:
        text += f" Decided by {worst.rule}, {where(worst, response)}: {_found(worst)}."
    if m.check.smeared:
        text += f" {shown(sharp_line(m.check))}"
    rules: dict[str, list[Flag]] = {}
    for flag in verdict.flags:
        rules.setdefault(flag.rule, []).append(flag)
    bad = {rule: flags for rule, flags in rules.items() if flags[0].grade > GO}
    if not bad:
        text += f" Looked at: {shown(', '.join(rules))}."
    lines = [f'<p class="verdict {verdict.word}">{text}</p>']
    if metals := "; ".join(metal.text() for metal in fired_metals(response)):
        lines.append(f"<p>Metal when cold (estimate): {shown(metals)}.</p>")
    if bad:
        rows = [_limit_row(flags, response) for flags in bad.values()]
        lines.append(
            table(
                "limits-passed", "Limits passed or near, worst first",
                ("Limit", "Where", "Found and allowed", "When", "What would mend it"), rows,
                kinds={1: "text", 2: "text", 4: "text"},
            )
        )  # fmt: skip
    return "\n".join(lines)


def _limit_row(flags: Sequence[Flag], response: Response) -> tuple[str, ...]:
    """The worst flag of one rule."""
    worst = flags[0]
    others = sum(flag.grade > GO for flag in flags) - 1
    zone = where(worst, response) + (f", and {others} more" if others else "")
    return (
        f"<b>{worst.verdict}</b>: {worst.rule}", zone, _found(worst), place(worst),
        shown(worst.remedy),
    )  # fmt: skip


def _piece(m: Job, reasons: Sequence[str]) -> str:
    """Drawing, curve, programme and events."""
    response = m.response
    firing, curve = response.vessel.firing, response.trace
    steps, events = kiln_steps(firing.segments, curve), happenings(response)
    cards = pure_materials(response)
    bound = min(cards, key=ceiling)
    limit = ceiling(bound)
    wall, fired = m.green.wall, m.green.fired
    section = figure(
        data_uri(section_picture(m)),
        f"Section through the wall: left of the axis as printed, {1e3 * wall.height[-1]:.1f} mm "
        f"high, right of it as fired, {1e3 * fired.height[-1]:.1f} mm; {len(response.cards)} "
        "bands.",
        "Cut wall, printed and fired, at one scale; dark is metal. Numbers: table of the print.",
    )
    line = figure(
        data_uri(curve_picture(curve, steps, events, limit)),
        f"Kiln and ware over {curve.time[-1] / 3600:.0f} hours: up to {celsius(curve.peak):.0f} °C "
        f"in {len(firing.segments)} segments, then cooling.",
        "Kiln and ware until the ware is below 100 °C. Segments at the foot, events on top: their "
        "numbers are in the tables.",
    )
    return "\n".join(
        (
            f'<div class="pair">\n{section}\n{line}\n</div>',
            '<div class="pair">\n<div>',
            programme(steps),
            firing_lines(firing, curve, limit, bound.name),
            "</div>",
            events_table(events),
            "</div>",
            why(reasons),
        )
    )


def write_sheet(m: Job, reasons: Sequence[str] = ()) -> str:
    """The firing sheet of a vessel, the same bytes for the same vessel.

    Parameters
    ----------
    m : Job
        From `job_for`.
    reasons : sequence of str
        Why each segment of its firing is not faster, where a schedule says so.

    Returns
    -------
    str
        One HTML file.
    """
    response = m.response
    vessel = response.vessel
    firing = vessel.firing
    hazards = [
        f"<b>{shown(c.hazard)}</b>: {shown(c.text)} [{shown(c.source)}]" for c in cautions(response)
    ]
    numbers, sources = cards_table(pure_materials(response))
    parts = {
        "version": plain(__version__),
        "title": plain(vessel.name),
        "name": named(vessel.name),
        "firing": f"Programme: {named(firing.name)}. Kiln: {named(firing.kiln.name)}, in "
        f"{shown(firing.gas)}",
        "verdict": verdict_box(m),
        "piece": _piece(m, reasons),
        "making": "\n".join(
            (
                bands_table(m),
                print_lines(m),
                weighing_table(m),
            )
        ),
        "tests": pieces_table(m),
        "cautions": listed([*hazards, f"<b>{shown(DEFER)}</b>"]),
        "inputs": numbers + "\n" + input_lines(m),
        "sources": listed(map(shown, sources), "ol", "small"),
        "left_out": listed(map(shown, LEFT_OUT), look="small"),
        "footer": f"cofire {shown(__version__)}. A forecast from the cards above, not a promise.",
    }
    skeleton = resources.files("cofire.report").joinpath("sheet.html").read_text(encoding="utf-8")
    return string.Template(skeleton).substitute(parts)
