"""The firing sheet's programme, events and heat work."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cofire.inputs.firing import Firing
from cofire.inputs.trace import Trace
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.output.firing_table import heat_work_line
from cofire.output.html_parts import TICK, named, shown, table
from cofire.output.sheet_figures import letter
from cofire.planning.kiln_steps import BURNOUT, Happening, Step

WORDS = {
    "burnout begins": "binder begins to leave: vent the kiln",
    "burnout ends": "binder and bound water have left",
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
    if step.behind is None:
        return clock(taken)
    way = "cannot follow"
    asked = f", not {clock(step.asked)}" if taken > step.asked + MINUTE else ""
    return f"<b>{way} from {celsius(step.behind):.0f} °C:</b> {clock(taken)}{asked}"


def programme(steps: Sequence[Step], reasons: Sequence[str] = ()) -> str:
    """What to set on the kiln, what it makes of it, and room for what it shows.

    Parameters
    ----------
    steps : sequence of Step
        From `kiln_steps`.
    reasons : sequence of str
        Why each segment is not faster, where that is known.

    Returns
    -------
    str
        HTML.
    """
    head = ["Segment", "°C/h", "to °C", "hold, min", "Ramp takes", "Ends at", "Kiln shows, °C"]
    if reasons:
        head.append("Not faster, because")
    rows = []
    for n, step in enumerate(steps, 1):
        asked = step.segment
        told = ["off", "", ""]
        if asked is not None:
            rate = f"{asked.rate * HOUR:.0f}" if math.isfinite(asked.rate) else "full"
            told = [rate, f"{celsius(asked.target):.0f}", f"{asked.hold / MINUTE:.0f}"]
        row = [f"{TICK} {n}", *told, _kiln_does(step), clock(step.end), ""]
        if reasons:
            row.append(shown(reasons[n - 1]) if n <= len(reasons) else "")
        rows.append(row)
    return table(
        "programme", "Programme, times in h:min; tick what is set, note what the kiln shows",
        head, rows, numbers=(1, 2, 3, 5), kinds={6: "pen", 7: "text"},
    )  # fmt: skip


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
    return table(
        "events", "What happens when", ("", "", "Kiln, °C", "Ware, °C", "h:min"), rows,
        numbers=(2, 3, 4), kinds={1: "text"},
    )  # fmt: skip


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
        f"min later and peaks at {celsius(curve.peak):.0f} °C. {shown(heat_work_line(curve))} "
        "Lit on ____________ at ______ by ______________</p>"
    )
