"""The firing sheet's programme, events and heat work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cofire.firing.controller import at_kiln, degrees, presence_words, set_words, switched_off
from cofire.firing.program import USUAL_CONTROLLER, Controller
from cofire.report.firing import heat_work_line
from cofire.report.html import Name, Strong, Text
from cofire.report.imperial import Exact
from cofire.report.job_figures import event_words, letter
from cofire.report.read_again import in_its_degrees
from cofire.report.sheet_table import TICK, Table
from cofire.units import MINUTE, celsius

if TYPE_CHECKING:
    from cofire.firing.kiln import Trace
    from cofire.firing.program import Firing
    from cofire.production.job import Happening, Step


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


def events_table(
    events: Sequence[Happening], packed: bool, controller: Controller, beside: bool = False
) -> Table:
    """What happens when, by the letters of the curve.

    Parameters
    ----------
    events : sequence of Happening
        From `happenings`.
    packed, controller
        As in `event_words`.
    beside : bool
        Whether the kiln's own temperature is told in °F too.

    Returns
    -------
    Table
        One row an event.
    """
    own, told = Controller(fahrenheit=True), event_words(events, packed, controller)
    rows = [
        (
            letter(n),
            words,
            *([degrees(own, e.kiln).removesuffix(" °F")] if beside else []),
            Exact(celsius(e.kiln), 0),
            Exact(celsius(e.ware), 0),
            clock(e.time),
        )
        for n, (e, words) in enumerate(zip(events, told, strict=True))
    ]
    return Table(
        key="events", caption="What happens when",
        head=("Mark", "Event", *(["Kiln, °F"] if beside else []), "Kiln, °C", "Ware, °C", "h:min"),
        rows=rows, kinds={1: "text"} | dict.fromkeys(range(2, 5 + beside), "n"),
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
        Strong(f"Never above {at_kiln(firing.kiln.controller, limit)}"), " (", Name(bound), "). "
        f"Fired in {gas[0]}{turns}; "
        f"the programme is the kiln's, the ware follows {firing.lag / MINUTE:.0f} min later and "
        f"peaks at {celsius(curve.peak):.0f} °C. {heat_work_line(curve, chart=False)}",
        *(f" {words}" for words in (set_words(firing), presence_words(firing, curve)) if words),
    )  # fmt: skip
