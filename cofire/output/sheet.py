"""The firing sheet: one HTML file to take to the printer and the kiln.

No script, no network; every text that a person wrote is escaped where it is put in.
"""

from __future__ import annotations

import string
from collections.abc import Sequence
from importlib import resources
from itertools import pairwise

from cofire import __version__
from cofire.inputs.units import celsius
from cofire.output import sheet_firing, sheet_inputs, sheet_making
from cofire.output.html_parts import figure, listed, named, plain, shown, table
from cofire.output.sheet_figures import curve_picture, data_uri, section_picture
from cofire.output.verdict_text import number, place
from cofire.planning.flags import GO, GRADE, UNKNOWN, Flag, joint_name
from cofire.planning.pairs.windows import ceiling
from cofire.planning.printing.kiln_steps import happenings, kiln_steps, pure_materials
from cofire.planning.printing.making import Making
from cofire.planning.ware.cautions import DEFER, cautions
from cofire.planning.ware.response import Response

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


def verdict_box(m: Making) -> str:
    """The verdict in words with its deciding reason, then the limits that are not kept.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        HTML.
    """
    verdict, response = m.verdict, m.response
    worst = verdict.worst
    word, after = m.as_printed.word, None if m.smear is None else m.smear.smeared
    text = f"<strong>{word.upper()}.</strong> {MEANING[word]}"
    decided = f"{worst.rule}, {where(worst, response)}: {_found(worst)}"
    if after is not None and after.grade > verdict.grade:
        text += (
            f" Decided by {after.worst.rule}, {_found(after.worst)}, with the joints as the swaps "
            f"smear them. With sharp joints: {verdict.word}"
            + (f", by {decided}." if verdict.grade > GO else ".")
        )
    else:
        text += f" Decided by {decided}." if verdict.grade > GO else ""
        if after is not None:
            text += f" With the joints as the swaps smear them: {after.word} ({after.worst.rule})."
    rules: dict[str, list[Flag]] = {}
    for flag in verdict.flags:
        rules.setdefault(flag.rule, []).append(flag)
    bad = {rule: flags for rule, flags in rules.items() if flags[0].grade > GO}
    if not bad:
        text += f" Looked at: {shown(', '.join(rules))}."
    lines = [f'<p class="verdict {word}">{text}</p>']
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


def _piece(m: Making, reasons: Sequence[str]) -> str:
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
            sheet_firing.programme(steps),
            sheet_firing.firing_lines(firing, curve, limit, bound.name),
            "</div>",
            sheet_firing.events_table(events),
            "</div>",
            sheet_firing.why(reasons),
        )
    )


def write_sheet(m: Making, reasons: Sequence[str] = ()) -> str:
    """The firing sheet of a vessel, the same bytes for the same vessel.

    Parameters
    ----------
    m : Making
        From `making`.
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
    numbers, sources = sheet_inputs.cards_table(pure_materials(response))
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
                sheet_making.bands_table(m),
                sheet_making.print_lines(m),
                sheet_making.weighing_table(m),
            )
        ),
        "tests": sheet_making.pieces_table(m),
        "cautions": listed([*hazards, f"<b>{shown(DEFER)}</b>"]),
        "inputs": numbers + "\n" + sheet_inputs.input_lines(m),
        "sources": listed(map(shown, sources), "ol", "small"),
        "left_out": listed(map(shown, LEFT_OUT), look="small"),
        "footer": f"cofire {shown(__version__)}. A forecast from the cards above, not a promise.",
    }
    skeleton = resources.files("cofire.output").joinpath("sheet.html").read_text(encoding="utf-8")
    return string.Template(skeleton).substitute(parts)
