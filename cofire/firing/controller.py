"""What of a firing can be set on its kiln's controller, and what must wait for a person."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from cofire.firing.kiln import INSTANT, Trace
from cofire.firing.program import Controller, Firing, Kiln, Segment
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin

HAND_WARM = kelvin(60.0)
"""Above it nobody lifts a pot or closes a pack by hand: common practice. [K]"""
ROUNDING = 1e-4
"""Of a step: nearer is on it. A file has six digits. [-]"""


def _steps(controller: Controller, temperature: float) -> float:
    """A temperature in the controller's own steps from its zero. [-]"""
    zero = kelvin(-160.0 / 9.0 if controller.fahrenheit else 0.0)
    return (temperature - zero) / controller.temperature


def on_step(controller: Controller, temperature: float, way: int = 0) -> float:
    """The nearest temperature that can be set, or the next one down or up. [K]

    Parameters
    ----------
    controller : Controller
        With its degrees.
    temperature : float
        Wanted. [K]
    way : int
        -1 down, 1 up, 0 the nearest. [-]

    Examples
    --------
    >>> from cofire.firing.program import Controller
    >>> round(on_step(Controller(fahrenheit=True, temperature=5 / 9), 1088.15) * 1.8 - 459.67)
    1499
    """
    count = _steps(controller, temperature)
    whole = float(np.round(count))
    if way:
        whole = float(np.floor(count + ROUNDING) if way < 0 else np.ceil(count - ROUNDING))
    step = controller.temperature
    if controller.fahrenheit:
        return kelvin((whole * 1.8 * step - 32.0) / 1.8)
    return kelvin(whole * step)


def slower(controller: Controller, rate: float) -> float:
    """The next rate down that can be set; at least one step, and "full" stays so. [K/s]

    Parameters
    ----------
    controller : Controller
        With its step.
    rate : float
        Wanted; infinite is "full". [K/s]
    """
    if not np.isfinite(rate):
        return rate
    count = max(np.floor(rate / controller.rate + ROUNDING), 1.0)
    per_hour = float(count) * controller.rate * HOUR
    return round(per_hour, 6) / HOUR  # a whole number of °C/h stays one


def longer(controller: Controller, hold: float) -> float:
    """The next hold up that can be set. [s]

    Parameters
    ----------
    controller : Controller
        With its step.
    hold : float
        Wanted. [s]
    """
    return controller.time * max(0.0, float(np.ceil(hold / controller.time - ROUNDING)))


def able(kiln: Kiln, start: float, stop: float) -> float:
    """The rate that a kiln can keep all the way between two temperatures. [K/s]

    Parameters
    ----------
    kiln : Kiln
        Its limits at full power, or shut.
    start, stop : float
        Kiln temperatures, up or down. [K]
    """
    rows, limit = kiln.heating_temperature, kiln.heating_rate
    if stop < start:
        rows, limit = kiln.cooling_temperature, kiln.cooling_rate
    low, high = sorted((start, stop))
    inside = rows[(rows > low) & (rows < high)]
    return float(np.interp(np.concatenate([[low], inside, [high]]), rows, limit).min())


def switched_off(segments: tuple[Segment, ...]) -> list[bool]:
    """Which segments are none to the controller: the kiln is off and cools as it likes.

    Those are coolings at "full" without a hold after which nothing follows, or which end hand-warm:
    what follows is then a programme of its own, after someone was there. A kiln that is off holds
    nothing.

    Parameters
    ----------
    segments : tuple of Segment
        Of a firing.
    """
    here, falls = ROOM, []
    for s in segments:
        held = s.hold > INSTANT and s.target > HAND_WARM
        falls.append(s.rate == np.inf and s.target < here and not held)
        here = s.target
    last = max((n for n, fall in enumerate(falls) if not fall), default=-1)
    return [
        fall and (n > last or s.target <= HAND_WARM)
        for n, (fall, s) in enumerate(zip(falls, segments, strict=True))
    ]


def programmes(segments: tuple[Segment, ...]) -> list[list[int]]:
    """Segments that are set at one time, programme by programme, without those of the kiln off.

    Parameters
    ----------
    segments : tuple of Segment
        Of a firing.

    Returns
    -------
    list of list of int
        Their indices; one programme unless the kiln is packed hand-warm between.
    """
    numbered = enumerate(switched_off(segments))
    found = [(off, [n for n, _ in some]) for off, some in groupby(numbered, key=lambda one: one[1])]
    return [some for off, some in found if not off]


def degrees(controller: Controller, temperature: float) -> str:
    """A temperature in whole degrees of those in which a controller counts, with their sign.

    Parameters
    ----------
    controller : Controller
        With its degrees.
    temperature : float
        [K]

    Examples
    --------
    >>> from cofire.firing.program import Controller
    >>> degrees(Controller(fahrenheit=True), 1216.4833), degrees(Controller(), 1216.4833)
    ('1730 °F', '943 °C')
    """
    if controller.fahrenheit:
        return f"{32.0 + 1.8 * celsius(temperature):.0f} °F"
    return f"{celsius(temperature):.0f} °C"


def at_kiln(controller: Controller, temperature: float) -> str:
    """A temperature in whole °C for who stands at the kiln, with the kiln's own degrees beside it.

    Parameters
    ----------
    controller : Controller
        With its degrees.
    temperature : float
        [K]

    Examples
    --------
    >>> from cofire.firing.program import Controller
    >>> at_kiln(Controller(fahrenheit=True), 1216.4833), at_kiln(Controller(), 1216.4833)
    ('943 °C (1730 °F)', '943 °C')
    """
    told = f"{celsius(temperature):.0f} °C"
    return f"{told} ({degrees(controller, temperature)})" if controller.fahrenheit else told


def degrees_per_hour(controller: Controller, rate: float) -> str:
    """A rate in whole degrees an hour of those in which a controller counts, with their sign.

    Parameters
    ----------
    controller : Controller
        With its degrees.
    rate : float
        [K/s]

    Examples
    --------
    >>> from cofire.firing.program import Controller
    >>> degrees_per_hour(Controller(fahrenheit=True), 100.0 / 1.8 / 3600.0)
    '100 °F/h'
    """
    size, unit = (1.8, "°F") if controller.fahrenheit else (1.0, "°C")
    return f"{size * rate * HOUR:.0f} {unit}/h"


def rate_at_kiln(controller: Controller, rate: float) -> str:
    """A rate in whole °C an hour for who stands at the kiln, with the kiln's own beside it.

    Parameters
    ----------
    controller : Controller
        With its degrees.
    rate : float
        [K/s]

    Examples
    --------
    >>> from cofire.firing.program import Controller
    >>> rate_at_kiln(Controller(fahrenheit=True), 100.0 / 1.8 / 3600.0)
    '56 °C/h (100 °F/h)'
    """
    told = f"{rate * HOUR:.0f} °C/h"
    beside = degrees_per_hour(controller, rate)
    return f"{told} ({beside})" if controller.fahrenheit else told


def unset(firing: Firing) -> list[str]:
    """Why a firing cannot be set on its kiln's controller, a clause each; empty where it can.

    Parameters
    ----------
    firing : Firing
        With its kiln; against a controller of which no file says anything only a rate is held that
        is less than a whole degree an hour, as it would be set faster than it is judged.
    """
    controller = firing.kiln.controller
    if not controller.given:
        return [
            f"segment {number}: {s.rate * HOUR:.6g} °C/h, no file says that it takes less than "
            f"{controller.rate * HOUR:.6g}"
            for number, s in enumerate(firing.segments, 1)
            if s.rate < controller.rate * (1.0 - ROUNDING)
        ]
    found = []
    own = programmes(firing.segments)
    for number, some in enumerate(own, 1):
        if 0 < controller.segments < len(some):
            where = f" in programme {number}" if len(own) > 1 else ""
            found.append(f"{len(some)} segments{where}, it takes {controller.segments}")
    off, here = switched_off(firing.segments), ROOM
    size, unit = (1.8, "°F") if controller.fahrenheit else (1.0, "°C")
    for number, s in enumerate(firing.segments, 1):
        told = []
        if s.rate == np.inf:
            if controller.numbers and not off[number - 1]:
                rate = slower(controller, able(firing.kiln, here, s.target))
                told.append(
                    f'a rate of "full", it takes numbers only; the kiln keeps up with '
                    f"{size * rate * HOUR:.6g} {unit}/h"
                )
        elif _between(s.rate / controller.rate):
            told.append(
                f"{size * s.rate * HOUR:.6g} {unit}/h, it takes steps of "
                f"{size * controller.rate * HOUR:.6g}"
            )
        if not off[number - 1] and _between(_steps(controller, s.target)):
            there = size * celsius(s.target) + (32.0 if controller.fahrenheit else 0.0)
            told.append(
                f"{there:.6g} {unit}, it takes steps of {size * controller.temperature:.6g}"
            )
        if _between(s.hold / controller.time):
            told.append(
                f"a hold of {s.hold / MINUTE:.6g} min, it takes steps of "
                f"{controller.time / MINUTE:.6g}"
            )
        found += [f"segment {number}: {one}" for one in told]
        here = s.target
    return found


def set_words(firing: Firing) -> str:
    """How a firing is set on its kiln's controller, in a sentence; empty where no file says of it.

    Parameters
    ----------
    firing : Firing
        With its kiln.
    """
    controller = firing.kiln.controller
    if not controller.given or unset(firing):
        return ""
    own = [str(len(some)) for some in programmes(firing.segments)]
    most = f" of at most {controller.segments}" if controller.segments else ""
    told = f"{own[0]} segment{'s' * (own[0] != '1')}{most}"
    if len(own) > 1:
        told = (
            f"{len(own)} programmes of {' and '.join(own)} segments{most}, the kiln off between "
            "them until someone has packed"
        )
    degrees = "°F" if controller.fahrenheit else "°C"
    return f"Set on its controller: {told}, in its steps of {degrees} and minutes, then off."


def presence_words(firing: Firing, curve: Trace) -> str:
    """When someone is needed for a change of gas, in a sentence; empty where no hour is named.

    Parameters
    ----------
    firing : Firing
        With the latest hour.
    curve : Trace
        What kiln and ware do under it.
    """
    when = changes_at(firing, curve)
    if not when or not np.isfinite(firing.latest):
        return ""
    hours = " and ".join(f"{one / HOUR:.1f}" for one in when)
    return (
        f"Someone is needed {hours} h after the start, to change the gas; there until "
        f"{firing.latest / HOUR:g} h."
    )


def _between(count: float) -> bool:
    """Whether a number of steps is not whole."""
    return abs(count - round(count)) > 10.0 * ROUNDING


def changes_at(firing: Firing, curve: Trace) -> list[float]:
    """When the gas changes while the kiln runs, so that someone must be there. [s]

    A pack that is closed hand-warm, with the kiln off, waits for whoever comes and starts the next
    programme: such a change is not among them.

    Parameters
    ----------
    firing : Firing
        With its gases.
    curve : Trace
        What kiln and ware do under it.
    """
    off, gases = switched_off(firing.segments), firing.gases
    changes = [n for n in range(1, len(gases)) if gases[n] != gases[n - 1]]
    return [
        float(curve.time[stretch.first])
        for n, stretch in zip(changes, curve.stretches[1:], strict=False)
        if not off[n - 1]
    ]


def too_late(firing: Firing, curve: Trace) -> float | None:
    """When the gas is changed last, where nobody is there any more; else None. [s]

    Parameters
    ----------
    firing : Firing
        With the latest hour.
    curve : Trace
        What kiln and ware do under it.
    """
    last = max(changes_at(firing, curve), default=0.0)
    return last if last > firing.latest + 1.0 else None
