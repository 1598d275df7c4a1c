"""A firing as text and CSV: what was asked, what kiln and ware do, and the heat work in cones."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.errors import OutOfRange
from cofire.firing.cones import read_cones
from cofire.firing.controller import set_words, switched_off, too_late, unset
from cofire.firing.kiln import INSTANT, Trace
from cofire.firing.program import Firing, Kiln
from cofire.physics.heatwork import cone_equivalent
from cofire.report.read_again import in_its_degrees
from cofire.report.writing import table_text, wrapped
from cofire.units import HOUR, MINUTE, ROOM, celsius


def heat_work_line(curve: Trace, chart: bool = True) -> str:
    """The ware's heat work in cones, never as a temperature.

    Parameters
    ----------
    curve : Trace
        What the ware sees.
    chart : bool
        Whether to say what the chart of cones rests on.

    Returns
    -------
    str
        One sentence; says so where the firing lies outside the chart.
    """
    cones = read_cones()
    try:
        cone = cone_equivalent(
            curve.time, curve.ware, cones.cones, cones.rates, cones.bending_temperature
        )
    except OutOfRange as error:
        return f"Heat work of the ware: {str(error).removeprefix('heat work ')}."
    between = f"cone {cone.cone}"
    if cone.interpolated:
        between = f"between cone {cone.below} and cone {cone.above}, nearer {cone.cone}"
    told = f"Heat work of the ware: {between}, for a steady rise of {cone.rate * HOUR:.0f} °C/h "
    if not chart:
        return f"{told}(estimate)."
    return f"{told}({cones.chart}). Cones measure heat work, not temperature."


def as_text(firing: Firing, curve: Trace) -> str:
    """The firing as a person reads it.

    Parameters
    ----------
    firing : Firing
        As asked.
    curve : Trace
        As it goes.

    Returns
    -------
    str
        Ends in a new line.
    """
    lines = [
        f"{firing.name}: {firing.kiln.name}, {firing.gas_words}, "
        f"ware lags {firing.lag / MINUTE:.0f} min",
        "",
        f"{'from':>7} {'to':>7} {'time':>8} {'mean rate':>11}   kiln (ware at the end)",
    ]
    last = curve.breakpoints[-1] if firing.lag > INSTANT else None
    for a, b in pairwise(curve.breakpoints):
        start, stop = celsius(float(curve.kiln[a])), celsius(float(curve.kiln[b]))
        hours = float(curve.time[b] - curve.time[a]) / HOUR
        rate = "ware cools" if b == last else "hold"
        if abs(stop - start) > 0.5:
            rate = f"{(stop - start) / hours:+.0f} °C/h"
        lines.append(
            f"{start:4.0f} °C {stop:4.0f} °C {hours:6.2f} h {rate:>11}   "
            f"({celsius(float(curve.ware[b])):.0f} °C)"
        )
    for s in curve.stretches[1:]:
        hours = float(curve.time[s.first]) / HOUR
        lines.append(
            f"{s.gas} from {hours:.2f} h on, ware at {celsius(float(curve.ware[s.first])):.0f} °C"
        )
    lines += _at_the_kiln(firing, curve)
    behind = float(np.max(np.abs(curve.kiln - curve.ware)))
    lines += [
        "",
        f"Ware peaks at {celsius(curve.peak):.0f} °C; at most {behind:.0f} K from the kiln; "
        f"{curve.time[-1] / HOUR:.1f} h in all.",
        *wrapped(heat_work_line(curve)),
    ]
    return "\n".join(lines) + "\n"


def _at_the_kiln(firing: Firing, curve: Trace) -> list[str]:
    """How it is set on its controller or why it cannot be, and who would have to be there."""
    lines = [f"cannot be set on its controller: {clause}" for clause in unset(firing)]
    if words := set_words(firing):
        lines.append(words)
    if (late := too_late(firing, curve)) is not None:
        lines.append(
            f"the gas is changed after {late / HOUR:.2f} h, someone is there until "
            f"{firing.latest / HOUR:g} h"
        )
    return [row for line in lines for row in wrapped(line)]


def as_csv(curve: Trace) -> str:
    """The trace, one row a node.

    Parameters
    ----------
    curve : Trace
        What kiln and ware do.

    Returns
    -------
    str
        Columns time_h, kiln_C, ware_C.
    """
    return table_text(
        {
            "time_h": [f"{t:.5f}" for t in curve.time / HOUR],
            "kiln_C": [f"{k:.2f}" for k in celsius(curve.kiln)],
            "ware_C": [f"{w:.2f}" for w in celsius(curve.ware)],
        }
    )


DEGREES = ("C", "F")


def kiln_csv(firing: Firing, degrees: str | None = None) -> str:
    """The firing for a controller that takes numbers only: whole degrees, whole minutes.

    Where the kiln's file says in what steps its controller counts, these in its own degrees. What
    lies between is set to the nearest temperature, the next rate down and the next hold up: a
    firing that was proposed is on the steps of its controller, in the other degrees it comes out
    within half a degree and no faster, but for a rate less than one step, which `unset` names.

    The gas of each segment stands last, for the person: no controller changes it, and where it
    differs from that of the line before someone packs or opens the box first.

    A rate "full" becomes the smallest whole one that the kiln cannot keep anywhere on that
    segment, so that it goes as fast as it can all the same; where the controller takes numbers only
    and the kiln is off meanwhile, that is "off".

    Parameters
    ----------
    firing : Firing
        As asked.
    degrees : str, optional
        "C" or "F"; by default those in which the kiln's controller counts.

    Returns
    -------
    str
        Columns segment, rate an hour, target, hold_min, whether the rate was "full", and gas.
    """
    controller, off = firing.kiln.controller, switched_off(firing.segments)
    degrees = degrees or ("F" if controller.fahrenheit else "C")
    step = 1.0 if degrees == "C" else 1.8
    if controller.fahrenheit != (degrees == "F"):
        controller = replace(
            controller, fahrenheit=degrees == "F", temperature=1.0 / step, rate=1.0 / step / HOUR
        )
    lines = [f"segment,rate_{degrees}_per_h,to_{degrees},hold_min,full,gas"]
    here = ROOM
    for number, (segment, gas) in enumerate(zip(firing.segments, firing.gases, strict=True), 1):
        rate, target, hold = in_its_degrees(segment, controller)
        full = not np.isfinite(segment.rate)
        if full:
            rate = f"{np.ceil(step * HOUR * _fastest(firing.kiln, here, segment.target)):.0f}"
        word = "off" if off[number - 1] and controller.numbers else "yes" if full else "no"
        lines.append(f"{number},{rate},{target},{hold},{word},{gas}")
        here = segment.target
    return "\n".join(lines) + "\n"


def _fastest(kiln: Kiln, start: float, stop: float) -> float:
    """The most that a kiln can do anywhere between two temperatures. [K/s]"""
    rows, limit = kiln.heating_temperature, kiln.heating_rate
    if stop < start:
        rows, limit = kiln.cooling_temperature, kiln.cooling_rate
    low, high = sorted((start, stop))
    inside = rows[(rows > low) & (rows < high)]
    return float(np.interp(np.concatenate([[low], inside, [high]]), rows, limit).max())
