"""The firing sheet's programme, events and heat work."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cofire.inputs.firing import Firing
from cofire.inputs.trace import Trace
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.output.firing_table import heat_work_line
from cofire.output.html_parts import TICK, listed, named, shown, table
from cofire.output.sheet_figures import letter
from cofire.planning.printing.kiln_steps import BURNOUT, Happening, Step

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
