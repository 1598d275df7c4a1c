"""The firing sheet: one HTML file to take to the printer and the kiln.

No script, no network. What it says is put together here as texts; `sheet.html` is the page they are
filled into, and the environment of `html` escapes every one of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from cofire import __version__
from cofire.assessment.cautions import DEFER, Caution, cautions
from cofire.assessment.fired_metal import fired_metals
from cofire.assessment.rule import CAUTION, GO, GRADE, UNKNOWN, Flag
from cofire.assessment.windows import ceiling
from cofire.production.job import happenings, kiln_steps, pure_materials
from cofire.report.designs import percent
from cofire.report.html import Name, Strong, Text, environment, plain
from cofire.report.imperial import SHORT, imperial, in_unit
from cofire.report.job_figures import curve_picture, data_uri
from cofire.report.packing import packing_words
from cofire.report.pot import section_picture, worst_words
from cofire.report.sheet_basis import cards_table, input_lines
from cofire.report.sheet_firing import events_table, firing_line, programme
from cofire.report.sheet_print import (
    Readings,
    bands_table,
    piece_rows,
    print_line,
    scale_line,
    weighing_table,
)
from cofire.report.sheet_table import UNIT_OF_COLUMN, Table, where
from cofire.report.verdict import (
    ends_line,
    few_kept,
    harm,
    measured,
    number,
    passed_too,
    place,
    taken,
    unsure,
)
from cofire.units import celsius, counted

if TYPE_CHECKING:
    from cofire.assessment.response import Response
    from cofire.production.job import Job

T = TypeVar("T")


MEANING = {
    "go": "Every limit is kept with its margin.",
    "caution": "With the cards as they stand no limit is known to be passed that would lose the "
    "pot, but at least one is near, passed or not known. Fire the test pieces first.",
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
        A sentence or two with a space before them; empty where it is not known.
    """
    if chance is None:
        return ""
    return (
        " Chance that the pot is not lost, over cards, kiln and print as they may also be: "
        f"{percent(chance)}.{few_kept(chance)}"
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
                f" {packing_words(m.packing)}",
            )
        ),
        events=shown(
            events_table(
                events, set(firing.gases) != {"air"}, firing.kiln.controller,
                beside=firing.kiln.controller.fahrenheit and not foreign,
            )
        ),
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
