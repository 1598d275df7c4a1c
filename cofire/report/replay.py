"""A replayed firing as text and JSON: log, plan, verdicts, and a crack if there was one."""

from __future__ import annotations

import json

from cofire import __version__
from cofire.assessment.rule import GRADE, UNKNOWN, Flag
from cofire.assessment.verdict import Verdict
from cofire.evidence.replay import Crack, Moment, Pace, Replay
from cofire.report.verdict import flag_row, measured, number
from cofire.report.writing import wrapped
from cofire.units import HOUR, MINUTE, celsius

SCHEMA = 1


def _cone(pace: Pace) -> str:
    if pace.cone is None:
        return "off the chart"
    if pace.cone.interpolated:
        return f"{pace.cone.below} to {pace.cone.above}"
    return pace.cone.cone


def _rows(r: Replay) -> list[tuple[str, str, str]]:
    """Name, plan and log of each figure of the two curves."""

    def rate(speed: float, at: float) -> str:
        return f"{round(speed * HOUR) + 0.0:.0f} °C/h at {celsius(at):.0f} °C"

    def column(p: Pace, hidden: float | None) -> list[str]:
        more = "" if hidden is None else " or more"
        return [
            f"{celsius(p.peak):.0f} °C{more}",
            *(f"{time / MINUTE:.0f} min{more}" for time in p.above),
            "not told" if hidden == 0.0 else rate(p.heating, p.heating_at),
            rate(p.cooling, p.cooling_at),
            _cone(p) if hidden is None else "not told",
            f"{p.length / HOUR:.1f} h",
        ]

    names = [
        "peak of the ware",
        *(f"time above {celsius(level):.0f} °C" for level in r.levels),
        "fastest heating, half an hour",
        "fastest cooling, half an hour",
        "heat work, cone",
        "cold to cold",
    ]
    plan, log = r.paces
    return list(zip(names, column(plan, None), column(log, r.log.hidden), strict=True))


def _flag(flag: Flag) -> str:
    if flag.unit == GRADE or flag.verdict == "unknown":
        return flag.verdict
    return f"{flag.verdict} ({measured(flag)})"


def _when(moment: Moment) -> str:
    way = "heating" if moment.rising else "cooling"
    return f"{celsius(moment.temperature):.0f} °C on {way}, {moment.time / HOUR:.1f} h"


def crack_lines(crack: Crack) -> list[str]:
    """What the model says of a crack.

    Parameters
    ----------
    crack : Crack
        From `replay`.

    Returns
    -------
    list of str
        Sentences.
    """
    mm = 1e3 * crack.height
    found = f"Cracked {mm:.0f} mm up, in {crack.material}"
    if crack.temperature is not None:
        found += f", heard with the log at {celsius(crack.temperature):.0f} °C"
    off = round(1e3 * (crack.worst.height - crack.height))
    lines = [
        f"{found}.",
        f"The model's worst place is {1e3 * crack.worst.height:.0f} mm up ({off:+d} mm), at "
        f"{_when(crack.worst)}: stress {number(crack.worst.utilisation)} of the strength. "
        f"Bending reaches "
        f"{1e3 * crack.reach:.0f} mm here: "
        + ("the same place." if crack.same_place else "another place."),
        f"Where it cracked the worst moment is {_when(crack.here)}: "
        f"{number(crack.here.utilisation)} of "
        "the strength.",
    ]
    if crack.temperature is not None:
        each = ", ".join(f"{_when(m)}: {number(m.utilisation)}" for m in crack.heard)
        lines.append(
            f"When it was heard the utilisation there was {each}; "
            + ("the same moment." if crack.same_moment else "another moment.")
        )
    if not crack.same_place or crack.same_moment is False:
        lines.append(
            "A crack elsewhere or at another time than the model's worst points to what the model "
            "does not know: a flaw of printing or drying, a kiln that is not even, or a card to be "
            "measured (cofire calibrate)."
        )
    elif crack.here.utilisation < 0.5:
        lines.append(
            "The model gives less than half of the strength even there: strength, expansion or "
            "yield on the cards is on the unsafe side, or there was a flaw. Measure them."
        )
    return lines


def as_text(r: Replay) -> str:
    """How the log was read, plan beside log, verdicts, changed flags, and the crack.

    Parameters
    ----------
    r : Replay
        From `replay`.

    Returns
    -------
    str
        Ends in a new line.
    """
    lines = wrapped(f"{r.log.where}: {'; '.join(r.log.found)}")
    for note in r.log.notes:
        lines += wrapped(f"! {note}", 2)
    lines += ["", f"{'':32} {'plan':24} log"]
    lines += [f"{name:32} {plan:24} {log}" for name, plan, log in _rows(r)]
    planned, fired = r.verdicts
    word, by = fired.word, fired.deciding.rule
    if r.withheld and fired.deciding.verdict == UNKNOWN:
        word, by = UNKNOWN, "what was not logged"
    lines += ["", f"{'verdict':32} {planned.word:24} {word}"]
    lines += [f"{'decided by':32} {planned.deciding.rule:24} {by}", ""]
    if r.withheld:
        lines += wrapped(
            "Not told of the firing as logged, as its peak may lie where it has no readings: "
            f"{', '.join(r.withheld)}."
            + ("" if r.crack is None else " Of the crack is told what a straight line there gives.")
        )
    if r.why:
        lines += wrapped(f"Both worked out as a shell; no solid: {r.why}.")
    if r.changed:
        lines.append("Flags that the log changes:")
        for before, after in r.changed:
            lines += wrapped(
                f"  {after.rule}, {after.zone}: planned {_flag(before)}, fired {_flag(after)}", 4
            )
    else:
        lines.append(f"No {'other ' if r.withheld else ''}flag changes its verdict.")
    if r.moved:
        utilisations = (
            f"{after.rule}, {after.zone} {number(before.utilisation)} to "
            f"{number(after.utilisation)}"
            for before, after in r.moved
        )
        lines += wrapped(
            f"Utilisations that moved most, of their limits: {'; '.join(utilisations)}."
        )
    for line in r.fired.history.extended:
        lines += wrapped(f"beyond its table: {line}")
    if r.crack is not None:
        lines.append("")
        for line in crack_lines(r.crack):
            lines += wrapped(line)
    return "\n".join(lines) + "\n"


def _pace_json(p: Pace, levels: tuple[float, ...]) -> dict[str, object]:
    return {
        "peak_C": round(celsius(p.peak), 1),
        "peak_h": round(p.peak_time / HOUR, 3),
        "heating_C_per_h": round(p.heating * HOUR, 1),
        "heating_at_C": round(celsius(p.heating_at), 1),
        "cooling_C_per_h": round(p.cooling * HOUR, 1),
        "cooling_at_C": round(celsius(p.cooling_at), 1),
        "time_above": [
            {"above_C": round(celsius(level), 1), "min": round(t / MINUTE, 1)}
            for level, t in zip(levels, p.above, strict=True)
        ],
        "cone": None if p.cone is None else p.cone.cone,
        "between_cones": None if p.cone is None else [p.cone.below, p.cone.above],
        "length_h": round(p.length / HOUR, 3),
    }


def _decided(verdict: Verdict) -> dict[str, object]:
    return {"verdict": verdict.word, "decided_by": verdict.deciding.rule}


def _moment_json(m: Moment) -> dict[str, object]:
    return {
        "time_h": round(m.time / HOUR, 3),
        "temperature_C": round(celsius(m.temperature), 1),
        "height_mm": round(1e3 * m.height, 2),
        "utilisation": float(f"{m.utilisation:.4g}"),
        "heating": m.rising,
    }


def as_json(r: Replay) -> str:
    """The same as one JSON object with its schema number.

    Parameters
    ----------
    r : Replay
        From `replay`.

    Returns
    -------
    str
        Ends in a new line.
    """
    crack: dict[str, object] | None = None
    if r.crack is not None:
        c = r.crack
        crack = {
            "height_mm": round(1e3 * c.height, 2),
            "material": c.material,
            "worst": _moment_json(c.worst),
            "worst_here": _moment_json(c.here),
            "heard": [_moment_json(m) for m in c.heard],
            "same_place": c.same_place,
            "same_moment": c.same_moment,
        }
    planned, fired = r.verdicts
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": r.fired.vessel.name,
        "why_no_solid": r.why or None,
        "log": r.log.where,
        "read_as": list(r.log.found),
        "notes": list(r.log.notes),
        "peak_may_lie_in_a_gap": r.log.hidden is not None,
        "plan": _pace_json(r.paces[0], r.levels) | _decided(planned),
        "fired": _pace_json(r.paces[1], r.levels) | _decided(fired),
        "decided_by": fired.deciding.rule,
        "moved": [{"planned": flag_row(a), "fired": flag_row(b)} for a, b in r.moved],
        "changed": [{"planned": flag_row(a), "fired": flag_row(b)} for a, b in r.changed],
        "flags": [flag_row(flag) for flag in fired.flags],
        "crack": crack,
        "beyond_tables": list(r.fired.history.extended),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
