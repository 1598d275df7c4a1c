"""The firing sheet: one HTML file to take to the printer and the kiln.

No script, no network. What it says is put together here as texts; `sheet.html` is the page they are
filled into, and the environment of `html` escapes every one of them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from cofire import __version__
from cofire.assessment.cautions import DEFER, Caution, cautions
from cofire.assessment.fired_metal import fired_metals
from cofire.assessment.packing import packed
from cofire.assessment.rule import CAUTION, GO, GRADE, UNKNOWN, Flag, joint_name
from cofire.assessment.windows import ceiling
from cofire.design.ladder import LADDER, RING
from cofire.firing.controller import degrees, presence_words, set_words, switched_off
from cofire.firing.program import USUAL_CONTROLLER, Controller
from cofire.production.changeovers import DONE
from cofire.production.job import happenings, kiln_steps, pure_materials
from cofire.production.paste import COARSE
from cofire.report.designs import percent
from cofire.report.firing import heat_work_line
from cofire.report.html import Name, Strong, Text, environment, plain
from cofire.report.imperial import SHORT, Exact, imperial, in_unit
from cofire.report.job import expected, floor_line, grams, roads_line, run_out, said
from cofire.report.job_figures import curve_picture, data_uri, event_words, letter
from cofire.report.packing import packing_words
from cofire.report.pot import section_picture, worst_words
from cofire.report.read_again import in_its_degrees
from cofire.report.verdict import (
    ends_line,
    harm,
    measured,
    number,
    passed_too,
    place,
    taken,
    unsure,
)
from cofire.units import HOUR, MINUTE, celsius, counted, kelvin
from cofire.vessel import Printer

if TYPE_CHECKING:
    from cofire.assessment.response import Response
    from cofire.firing.kiln import Trace
    from cofire.firing.program import Firing
    from cofire.materials.card import Card, Property
    from cofire.production.job import Happening, Job, Step
    from cofire.production.piece import Piece

T = TypeVar("T")

UNIT_OF_COLUMN = re.compile(r"(?:°C/h|°C|mm)$")
"""The unit that ends the heading of a column of numbers."""
TICK = "☐ "
"""An empty square to tick by pen."""


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table of the sheet.

    Attributes
    ----------
    key
        Its id in the page.
    caption, head, rows
        What it is, its columns, and its cells, of which the first names its row.
    kinds
        Look by column: "n" a number, "name", "text", or "pen" for what is filled in by hand.
    """

    key: str
    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[Text]]
    kinds: dict[int, str] = field(default_factory=dict)


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
    ("stable_time", "crystals last, h"),
    ("firing_ceiling", "firing ceiling, °C"),
    ("reduced_ceiling", "the same in carbon or hydrogen, °C"),
    ("reduced_maturing", "matures lower there by, K"),
)
"""Properties on which print, stress and limits hang most, and their names and units here."""
UNITS = {"%": 0.01, "h": HOUR, "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "MPa m^0.5": 1e6}


def _value(p: Property, unit: str, sources: list[str]) -> str:
    """A number with its uncertainty, how it is known, and the number of its source."""
    row = 0
    if p.temperature is not None and p.name == "thermal_expansion":
        row = int(np.argmin(np.abs(p.temperature - WARM)))
    if p.name == "stable_time":  # at the heat where they turn fastest
        row = int(np.argmin(p.value))
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


def cards_table(cards: list[Card]) -> tuple[Table, list[str]]:
    """The numbers of the cards on which most hangs, and the sources their brackets name.

    Parameters
    ----------
    cards : list of Card
        Pure materials.

    Returns
    -------
    tuple of Table and list of str
        The table, and the sources.
    """
    sources: list[str] = []
    rows = []
    for key, name in NUMBERS:
        unit = name.rpartition(", ")[2] if ", " in name else ""
        if any(key in card for card in cards):
            cells = (_value(card[key], unit, sources) if key in card else "" for card in cards)
            rows.append([name, *cells])
    whole = Table(
        key="cards",
        caption="Numbers on which most hangs, ± one standard uncertainty [source]",
        head=["Property", *(Name(card.name) for card in cards)],
        rows=rows,
        kinds=dict.fromkeys(range(1, len(cards) + 1), "text"),
    )
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
                f"mixing as {counted(printer.tanks, 'tank')}",
                printer.tanks, usual.tanks, "estimate",
            ) + ": measure both with a coloured paste",
        )
    )  # fmt: skip


def input_lines(m: Job) -> list[Text]:
    """Kiln and printer, and what is missing or beyond a table.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    list of text
        One a line.
    """
    vessel = m.response.vessel
    kiln, printer = vessel.firing.kiln, vessel.printer
    source = f" ({kiln.source})" if kiln.source else ""
    return [
        ("Kiln: ", Name(kiln.name), f", at most {celsius(kiln.max_temperature):.0f} °C{source}."),
        f"Printer: {_printer(printer)}.",
        *((Strong("Beyond its table:"), f" {line}.") for line in m.response.history.extended),
        *((Strong("Not computed:"), f" {line}") for line in m.missing),
    ]


# ----------------------------------------------------------------------------------------------
# The firing sheet's programme, events and heat work


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


def _kiln_does(step: Step, controller: Controller) -> Text:
    """How a ramp goes, and where the kiln cannot follow, in its controller's degrees."""
    taken = step.reached - step.start
    if step.segment is None:
        return f"cools shut, {clock(taken)}"
    if step.behind is None or taken < step.asked + MINUTE:
        return clock(taken)
    return (
        Strong(f"cannot follow from {degrees(controller, step.behind)}:"),
        f" {clock(taken)}, not {clock(step.asked)}",
    )


def programme(steps: Sequence[Step], controller: Controller = USUAL_CONTROLLER) -> Table:
    """What to set on the kiln, what it makes of it, and room for what it shows.

    Parameters
    ----------
    steps : sequence of Step
        From `kiln_steps`.
    controller : Controller
        In whose degrees it is set, whatever the rest of the page is in.

    Returns
    -------
    Table
        One row a segment.
    """
    rows = []
    unit = "°F" if controller.fahrenheit else "°C"
    off = switched_off(tuple(s.segment for s in steps if s.segment is not None))
    for n, step in enumerate(steps, 1):
        asked = step.segment
        told = ["off", "", ""]
        if asked is not None:
            rate, target, hold = in_its_degrees(asked, controller)
            told = ["off" if off[n - 1] else rate, target, hold]
        rows.append([f"{TICK}{n}", *told, _kiln_does(step, controller), clock(step.end), ""])
    return Table(
        key="programme",
        caption="Programme: tick what is set, note what the kiln shows",
        head=(
            "Part",
            f"{unit}/h",
            f"to {unit}",
            "hold, min",
            "Ramp takes, h:min",
            "Ends at",
            f"Kiln shows, {unit}",
        ),
        rows=rows,
        kinds={1: "n", 2: "n", 3: "n", 5: "n", 6: "pen"},
    )


def events_table(events: Sequence[Happening], packed: bool) -> Table:
    """What happens when, by the letters of the curve.

    Parameters
    ----------
    events : sequence of Happening
        From `happenings`.
    packed : bool
        As in `event_words`.

    Returns
    -------
    Table
        One row an event.
    """
    rows = [
        (
            letter(n),
            words,
            Exact(celsius(e.kiln), 0),
            Exact(celsius(e.ware), 0),
            clock(e.time),
        )
        for n, (e, words) in enumerate(zip(events, event_words(events, packed), strict=True))
    ]
    return Table(
        key="events", caption="What happens when",
        head=("Mark", "Event", "Kiln, °C", "Ware, °C", "h:min"), rows=rows,
        kinds={1: "text", 2: "n", 3: "n", 4: "n"},
    )  # fmt: skip


def firing_line(firing: Firing, curve: Trace, limit: float, bound: str) -> Text:
    """What else to know at the kiln: the limit, the lag, the cone.

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
    text
        A few sentences.
    """
    around = {"air": "air, bare", "carbon": "a carbon-packed box"}
    gas, *later = (
        (around.get(name, name), n)
        for n, name in enumerate(firing.gases, 1)
        if n == 1 or name != firing.gases[n - 2]
    )
    turns = "".join(f", from part {n} in {name}" for name, n in later)
    return (
        Strong(f"Never above {celsius(limit):.0f} °C"), " (", Name(bound), "). "
        f"Fired in {gas[0]}{turns}; "
        f"the programme is the kiln's, the ware follows {firing.lag / MINUTE:.0f} min later and "
        f"peaks at {celsius(curve.peak):.0f} °C. {heat_work_line(curve, chart=False)}",
        *(f" {words}" for words in (set_words(firing), presence_words(firing, curve)) if words),
    )  # fmt: skip


# ----------------------------------------------------------------------------------------------
# The firing sheet's print, weighing and test pieces


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
    if worst.off <= COARSE:
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


# ----------------------------------------------------------------------------------------------
# The firing sheet: one HTML file to take to the printer and the kiln

MEANING = {
    "go": "Every limit is kept with its margin.",
    "caution": "With the cards as they stand nothing is expected that would lose the pot, but at "
    "least one limit is near, passed or not known. Fire the test pieces first.",
    "no": "The model expects a defect. Do not print or fire the vessel as it stands.",
}
OWN = (
    "The file named no firing: this one is cofire's own, taken from the window that its materials "
    "share (see What the sheet rests on)."
)
LEFT_OUT = (
    "Knocks and draughts on the powder between burnout and sintering, when it is weakest. Do not "
    "move, knock or open.",
    "Cracks of drying and handling, beyond the difference of drying shrinkage.",
    "Cracks in a floor, and from the corner where it meets the wall: only its tension is asked.",
    "The corner of a joint, where stress grows without end: it is a mean over a tenth of the wall.",
    "Shrinkage that differs along and across the printed roads: in the stress each band is alike "
    "all ways.",
    "What happens chemically at the joint beyond the table of pairs: wetting, diffusion. The bond "
    "is taken as sound.",
    "Unevenness of the kiln: the whole piece has one temperature at a time. Place a cone beside "
    "it.",
    "A piece that comes out whole may crack days later: the rule for that is an estimate.",
)
"""What no number of the sheet knows."""


LITTLE = 0.1
"""Utilisation below which a kept limit is only named. [-]"""


def where(flag: Flag, response: Response, faded: bool = False) -> tuple[str, ...]:
    """The place of a flag by the numbers of its bands.

    Parameters
    ----------
    flag : Flag
        From `judge`.
    response : Response
        Of the vessel.
    faded : bool
        Whether its bands are those of the changeovers, not those of the table of the print.

    Returns
    -------
    text
        With names as such. Where a changeover fades into many thin bands, which no one draws or
        prints by number, the blends themselves are named.
    """
    names = [card.name for card in response.cards]
    if faded:
        pair = [(low, up) for low, up in pairwise(names) if flag.zone == joint_name(low, up)]
        if pair:
            return ("between ", Name(pair[0][0]), " and ", Name(pair[0][1]))
        return (Name(flag.zone),)
    for n, (below, above) in enumerate(pairwise(names), 1):
        if flag.zone == joint_name(below, above):
            return (f"joint of bands {n} and {n + 1}",)
    own = [str(n) for n, name in enumerate(names, 1) if name == flag.zone]
    if own:
        return (f"band{'s' if len(own) > 1 else ''} {' and '.join(own)}, ", Name(flag.zone))
    return (Name(flag.zone),)


def _found(flag: Flag) -> str:
    """The figure of a flag in words."""
    if flag.verdict == UNKNOWN or flag.unit == GRADE:
        return flag.note
    figure = f"{flag.note}: {measured(flag)}"
    return figure + unsure(flag)


def chance_line(chance: float | None) -> str:
    """How many pots are kept, where a plan has drawn cards, kiln and print.

    Parameters
    ----------
    chance : float or None
        That the pot is not lost. [-]

    Returns
    -------
    str
        A sentence with a space before it; empty where it is not known.
    """
    if chance is None:
        return ""
    return (
        " Chance that the pot is not lost, over cards, kiln and print as they may also be: "
        f"{percent(chance)}."
    )


def verdict_text(m: Job, chance: float | None = None) -> Text:
    """The verdict in words with its deciding reason, and what sharp joints would make of it.

    Parameters
    ----------
    m : Job
        From `job_for`.
    chance : float or None
        That the pot is not lost, where a plan has worked it out. [-]

    Returns
    -------
    text
        What stands after the one word.
    """
    verdict = m.verdict
    flag = verdict.deciding
    parts: list[str] = [MEANING[verdict.word], chance_line(chance)]
    if verdict.grade > GO:
        zone = where(flag, m.check.printed, bool(m.check.smeared))
        parts += (f" Decided by {flag.rule}, ", *zone, f": {harm(flag)}{_found(flag)}.")
        parts.append(f" {passed_too(verdict)}")
    if m.check.smeared:
        parts.append(f" {ends_line(m.check)}")
    if metals := "; ".join(metal.text() for metal in fired_metals(m.check.printed)):
        parts.append(f" Metal when cold (estimate; nine in ten within the brackets): {metals}.")
    return tuple(parts)


def limits_table(m: Job) -> Table | None:
    """The limits that decide: those passed, or where none is, those that are near.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    Table or None
        The worst flag of each rule, what decides first; None where every limit is kept.
    """
    verdict = m.verdict
    bad = [flags for flags in verdict.by_rule.values() if flags[0].grade == verdict.grade > GO]
    if not bad:
        return None
    return Table(
        key="limits-passed",
        caption="Limits passed, what decides first"
        if verdict.grade > CAUTION
        else "Limits near, passed or not known, what decides first",
        head=("Limit", "Where", "Found and allowed, when", "What would mend it"),
        rows=[_limit_row(flags, m.check.printed, bool(m.check.smeared)) for flags in bad],
        kinds={1: "text", 2: "text", 3: "text"},
    )


def _limit_row(flags: Sequence[Flag], response: Response, faded: bool) -> tuple[Text, ...]:
    """The worst flag of one rule."""
    worst = flags[0]
    others = sum(flag.grade > GO for flag in flags) - 1
    zone = (*where(worst, response, faded), f", and {others} more" if others else "")
    when = place(worst)
    found = f"{harm(worst)}{_found(worst)}{', ' if when else ''}{when}"
    return ((Strong(worst.verdict), f": {worst.rule}"), zone, found, worst.remedy)


def other_limits(m: Job) -> list[Text]:
    """Limits that are near while others are passed, and those that are kept, a line each.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    list of text
        Without those of `limits_table`.
    """
    verdict = m.verdict
    rules = list(verdict.by_rule.values())
    lines: list[Text] = []
    near: list[str] = []
    for worst, *_ in rules:
        if GO < worst.grade < verdict.grade:
            zone = where(worst, m.check.printed, bool(m.check.smeared))
            short = worst.verdict == UNKNOWN or worst.unit == GRADE
            figure = f"{number(worst.figure)} of {number(worst.limit)} {worst.unit}"
            near += ("; " if near else "", f"{worst.rule}, ", *zone)
            near.append(f": {worst.note if short else figure}")
    if near:
        lines.append((Strong("Cautions besides (near, passed or not known):"), " ", *near, "."))
    kept = [flags[0] for flags in rules if flags[0].grade == GO]
    much = ", ".join(f"{f.rule} {number(f.utilisation)}" for f in kept if f.counted >= LITTLE)
    little = ", ".join(f.rule for f in kept if f.counted < LITTLE)
    if kept:
        told = [much] if much else []
        told += [f"under {LITTLE:g} {little}"] if little else []
        lines.append((Strong("Kept"), f", with the share used up: {'; '.join(told)}."))
    return lines


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A picture as the source of an image, what it shows in words, and what stands below it."""

    source: str
    shows: str
    caption: str


def turned(value: Any) -> Any:
    """What the page shows, with °F and inches; the cards' own numbers and names stay.

    Parameters
    ----------
    value : text, Table, Figure, Readings, or sequences of them
        Of the page.

    Returns
    -------
    same
        For reading only.
    """
    if isinstance(value, Name):
        return value
    if isinstance(value, str):
        return type(value)(imperial(value))
    if isinstance(value, Table):
        units = [UNIT_OF_COLUMN.search(str(name)) for name in value.head]
        rows = [
            tuple(
                turned(cell) if unit is None or not isinstance(cell, str)
                else in_unit(cell, unit[0])
                for cell, unit in zip(row, units, strict=True)
            )
            for row in value.rows
        ]  # fmt: skip
        head = [
            name if unit is None else str(name).replace(unit[0], SHORT[unit[0]])
            for name, unit in zip(value.head, units, strict=True)
        ]
        return replace(value, head=head, rows=rows, caption=imperial(value.caption))
    if isinstance(value, Figure):
        return replace(value, shows=imperial(value.shows), caption=imperial(value.caption))
    if isinstance(value, Caution):
        return replace(value, text=imperial(value.text))
    if isinstance(value, Readings):
        return replace(value, found=turned(value.found), stop=imperial(value.stop))
    return type(value)(map(turned, value))


def write_sheet(
    m: Job, reasons: Sequence[str] = (), units: str = "metric", chance: float | None = None
) -> str:
    """The firing sheet of a vessel, the same bytes for the same vessel.

    Parameters
    ----------
    m : Job
        From `job_for`.
    reasons : sequence of str
        Why each segment of its firing is not faster, where a schedule says so.
    units : str
        "metric", or "imperial" for °F and inches.
    chance : float or None
        That the pot is not lost, where a plan has worked it out. [-]

    Returns
    -------
    str
        One HTML file.
    """
    foreign = units == "imperial"

    def shown(value: T) -> T:
        return turned(value) if foreign and value is not None else value

    def of_kiln(value: T) -> T:
        return value if given else shown(value)

    response = m.response
    vessel, curve = response.vessel, response.trace
    firing = vessel.firing
    given = firing.kiln.controller.given
    own = [taken(firing)] if vessel.left_open is not None else []
    steps, events = kiln_steps(firing.segments, curve), happenings(response)
    cards = pure_materials(response)
    bound = min(cards, key=lambda card: ceiling(card, curve.gas))
    limit = ceiling(bound, curve.gas)
    numbers, sources = cards_table(cards)
    wall, fired = m.green.wall, m.green.fired
    starred = worst_words(m.check).replace("★ ", "★\u00a0")  # the star stays with its words
    mixed = ", as the pastes mix at each change" if m.changeovers else ""
    section = Figure(
        source=data_uri(section_picture(m, foreign)),
        shows=f"The pot cut through its wall: left of the axis as printed, "
        f"{1e3 * wall.height[-1]:.1f} mm high, right of it as fired, "
        f"{1e3 * fired.height[-1]:.1f} mm; {counted(len(response.cards), 'band')}, "
        "filled with what their pastes mix to. Worst: "
        f"{worst_words(m.check)}.",
        caption=f"Cut wall at one scale{mixed}: hatched is metal, plain ceramic, "
        "dotted both, the darker the more metal. Right, by each joint: "
        "largest share of any limit used up, ○ kept, △ near, ✕ passed. "
        f"{starred}.",
    )
    line = Figure(
        source=data_uri(curve_picture(curve, steps, events, limit, foreign)),
        shows=f"Kiln and ware over {curve.time[-1] / 3600:.0f} hours: up to "
        f"{celsius(curve.peak):.0f} °C in {counted(len(firing.segments), 'segment')}, then "
        "cooling.",
        caption="Kiln and ware until the ware is below 100 °C. Segments at the foot, events on "
        "top: their numbers are in the tables.",
    )
    page = environment().get_template("sheet.html")
    return page.render(
        version=__version__,
        name=Name(vessel.name),
        title=plain(vessel.name),
        firing=("Programme: ", Name(firing.name), ". Kiln: ", Name(firing.kiln.name),
                f", in {firing.gas_words}.", *(f" {OWN}" for _ in own)),
        verdict=m.verdict,
        decided=shown(verdict_text(m, chance)),
        limits=shown(limits_table(m)),
        others=shown(other_limits(m)),
        figures=shown((section, line)),
        programme=of_kiln(programme(steps, firing.kiln.controller)),
        kiln=shown(
            (
                *firing_line(firing, curve, limit, bound.name),
                f" {packing_words(packed(m.check.printed))}",
            )
        ),
        events=shown(events_table(events, set(firing.gases) != {"air"})),
        reasons=of_kiln(list(reasons)),
        bands=shown(bands_table(m)),
        print=shown(print_line(m)),
        weigh=shown(weighing_table(m)),
        scale=scale_line(m),
        pieces=shown([piece_rows(p) for p in m.pieces]),
        paste=f"{sum(1e6 * p.paste for p in m.pieces):.0f}",
        cautions=shown(cautions(response)),
        defer=DEFER,
        cards=numbers,
        inputs=[*of_kiln(own), *shown(input_lines(m))],
        sources=sources,
        left_out=LEFT_OUT,
    )  # fmt: skip
