"""Free strain of the vessel's bands over its firing: how far apart, joint by joint."""

from __future__ import annotations

import csv
import io
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.units import HOUR, celsius
from cofire.output.figures import literal, spread
from cofire.output.making_figures import INK, band_names, colour
from cofire.output.sheet_figures import letter
from cofire.planning.printing.kiln_steps import BURNOUT, happenings
from cofire.planning.ware.joint_flags import metal_share

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.planning.printing.kiln_steps import Happening
    from cofire.planning.ware.response import Response

Array = NDArray[np.float64]

SIZE = (11.0, 8.2)
"""Of the figure. [inch]"""
APART = 0.026
"""Least distance of two letters, and of two names, of the panel. [-]"""
BESIDE, ACROSS = 30, 160
"""Characters of a name beside the panel, and of a line below both. [-]"""


def apart(response: Response) -> Array:
    """Free strain of each band minus that of the lowest, along the firing.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    array
        Natural strain, shape (bands, M). [-]
    """
    free = response.history.free_strain[list(response.material)]
    return np.asarray(free - free[0])


def _short(text: str, most: int) -> str:
    """A text of at most so many characters."""
    return text if len(text) <= most else text[: most - 1] + "…"


def _cold(response: Response, events: list[Happening]) -> float:
    """Where the figure ends: when the ware may be opened, or with the trace. [s]"""
    return events[-1].time if events else float(response.trace.time[-1])


def _firing(axes: Axes, response: Response, events: list[Happening]) -> None:
    """Kiln and ware, with the letters of the events above."""
    curve = response.trace
    hours, top = curve.time / HOUR, 1.08 * celsius(float(curve.kiln.max()))
    axes.plot(hours, celsius(curve.kiln), color="0.45", ls=(0, (4, 2)), lw=1.2, label="kiln")
    axes.plot(hours, celsius(curve.ware), color=INK, lw=1.8, label="ware")
    end = 1.02 * _cold(response, events) / HOUR
    places = np.array([event.time for event in events]) / HOUR
    stands = spread(places, min(APART, 1.0 / max(len(events), 1)) * end, end)
    for n, (event, stand) in enumerate(zip(events, stands, strict=True)):
        hour, degrees = event.time / HOUR, celsius(event.ware)
        axes.plot([hour, hour, stand], [degrees, 0.96 * top, top], color="0.6", lw=0.6, zorder=1)
        axes.plot(hour, degrees, "o", ms=3.5, color=INK, zorder=4)
        axes.text(stand, 1.01 * top, letter(n), fontsize=9, ha="center", va="bottom", color=INK)
    axes.set_ylim(0.0, top)
    axes.set_ylabel("temperature (°C)")
    axes.legend(fontsize=9, loc="upper left", frameon=False, bbox_to_anchor=(1.0, 0.9))


def _fan(axes: Axes, response: Response, end: float) -> None:
    """The bands' strains from the lowest on, filled between neighbours with their joint's tone."""
    hours = response.trace.time / HOUR
    strain = 100.0 * apart(response)
    shares = np.array([metal_share(card) for card in response.cards])
    for low, high, tone in zip(
        strain[:-1], strain[1:], colour(0.5 * (shares[1:] + shares[:-1])), strict=True
    ):
        axes.fill_between(hours, low, high, color=tone, lw=0.0, zorder=2)
    for line in strain:
        axes.plot(hours, line, color=INK, lw=0.7, zorder=3)
    axes.set_ylabel("free strain beyond band 1 (%)")
    axes.set_xlabel("time (h)")
    shown = strain[:, response.trace.time <= end * HOUR]
    low, high = float(shown.min()), float(shown.max())
    room = max(high - low, 1e-3)
    axes.set_ylim(low - 0.06 * room, high + 0.06 * room)
    last = np.array([np.interp(end, hours, line) for line in strain])
    order = np.argsort(last, kind="stable")
    gap = min(1.8 * APART, 1.0 / len(last)) * 1.12 * room
    names = band_names(response)
    stands = spread(last[order] - (low - 0.06 * room), gap, 1.12 * room) + (low - 0.06 * room)
    for band, stand in zip(order, stands, strict=True):
        axes.plot(
            [1.0, 1.015, 1.025], [last[band], last[band], stand], color="0.55", lw=0.6,
            transform=axes.get_yaxis_transform(), clip_on=False,
        )  # fmt: skip
        axes.text(
            1.03, stand, f"{band + 1}  {_short(names[band], BESIDE)}", fontsize=9, va="center",
            color=INK, transform=axes.get_yaxis_transform(),
        )  # fmt: skip


def largest_steps(response: Response) -> str:
    """The largest difference end to end and at one joint, in words.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.

    Returns
    -------
    str
        Two figures with their moments.
    """
    free = apart(response)
    whole, steps = np.abs(free[-1]), np.abs(np.diff(free, axis=0))
    joint, moment = np.unravel_index(int(np.argmax(steps)), steps.shape)
    ware = response.trace.ware
    top = int(np.argmax(whole))
    text = f"From end to end at most {100 * whole[top]:.2f} %, at {celsius(ware[top]):.0f} °C"
    if len(steps) == 1:
        return text + ", all of it at one joint."
    return (
        f"{text}; at one joint at most {100 * steps[joint, moment]:.2f} %, between bands "
        f"{joint + 1} and {joint + 2}, at {celsius(ware[moment]):.0f} °C."
    )


def _key(events: list[Happening]) -> list[str]:
    """What the letters stand for, in lines that fit the figure."""
    told = []
    for n, event in enumerate(events):
        zones = "" if event.name in BURNOUT else " and ".join(event.zones)
        name = f"{_short(zones, BESIDE)}: {event.name}" if zones else event.name
        told.append(f"{letter(n)}  {name}, {celsius(event.ware):.0f} °C".replace(" ", "\u00a0"))
    return textwrap.wrap("   ".join(told), ACROSS, break_on_hyphens=False)


@literal
def bands_mismatch(response: Response) -> Figure:
    """The firing curve, and under it how far apart the bands would lie if each were free.

    Parameters
    ----------
    response : Response
        From `fire_vessel`; with at least one joint.

    Returns
    -------
    Figure
        Two panels over one time axis, until the ware is cold. The filled gap between two lines is
        the mismatch at their joint; tone tells the metal.
    """
    from matplotlib.figure import Figure

    events = happenings(response)
    key = _key(events)
    figure = Figure(figsize=SIZE)
    below, above = 0.09 + 0.021 * len(key), 0.14
    height = 1.0 - below - above
    upper = figure.add_axes((0.07, below + 0.62 * height, 0.71, 0.38 * height))
    lower = figure.add_axes((0.07, below, 0.71, 0.57 * height))
    end = 1.02 * _cold(response, events) / HOUR
    _firing(upper, response, events)
    _fan(lower, response, end)
    for axes in (upper, lower):
        axes.set_xlim(0.0, end)
        axes.grid(color="0.9", lw=0.6, zorder=0)
        axes.spines[["top", "right"]].set_visible(False)
    upper.tick_params(labelbottom=False)
    name = _short(response.vessel.name, 80)
    serif: dict[str, Any] = {"family": "serif", "color": INK, "va": "center"}
    figure.text(0.07, 0.968, f"{name}: mismatch over its firing", fontsize=14, **serif)
    told = ("The gap between two lines is the mismatch at their joint.", largest_steps(response))
    for line, place in zip(told, (0.937, 0.917), strict=True):
        figure.text(0.07, place, line, fontsize=9, **serif)
    for n, line in enumerate(key):
        figure.text(0.07, 0.021 * (len(key) - n) - 0.006, line, fontsize=8, va="center", color=INK)
    return figure


def mismatch_csv(response: Response) -> str:
    """The numbers of `bands_mismatch`, one row a node of the trace.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    str
        Natural strains in per cent, those of the bands less that of band 1.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    names = [
        f"band {n}, {card.name}: beyond band 1_percent" for n, card in enumerate(response.cards, 1)
    ]
    writer.writerow(["time_h", "kiln_C", "ware_C", *names])
    curve = response.trace
    firing = [curve.time / HOUR, celsius(curve.kiln), celsius(curve.ware)]
    for values in np.column_stack([*firing, *(100.0 * apart(response))]):
        writer.writerow(f"{v:.6g}" for v in values)
    return text.getvalue()
