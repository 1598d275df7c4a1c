"""Figures: drawn from what the library returned, readable in grey print."""

from __future__ import annotations

import contextlib
import functools
import itertools
import textwrap
import warnings
from collections.abc import Callable, Iterator
from typing import IO, TYPE_CHECKING, Any, ParamSpec

import numpy as np

from cofire.report.writing import table_text, wrapped
from cofire.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from cofire.assessment.mismatch import Mismatch

P = ParamSpec("P")

FIRST, SECOND, SHARED, LIMIT = "#000000", "#0072B2", "#009E73", "#D55E00"
"""Each at least 3:1 on white; every line also has its own dash, ring or label."""
DASHES = {"sintering": ":", "expansion": "-."}
OTHER_DASHES = ((0, (1, 1, 3, 1)), (0, (6, 1, 1, 1, 1, 1)), (0, (1, 3)), (0, (8, 2, 2, 2)))
RINGS: dict[str, Any] = {"marker": "o", "mfc": "white", "ms": 3.0, "mew": 0.7, "markevery": 0.06}
BESIDE = 30
"""Characters of a line in a legend beside its panel. [-]"""
ACROSS = 150
"""Characters of a line in the key below the panels. [-]"""


def save(figure: Figure, stream: IO[bytes], form: str) -> None:
    """Write a figure so that the same input gives the same bytes.

    Parameters
    ----------
    figure : Figure
        From this module.
    stream : binary file
        Where.
    form : str
        "png" or "svg".
    """
    import matplotlib

    metadata = {"Date": None} if form == "svg" else {"Software": None}
    texts: Any = {"svg.hashsalt": "cofire", "svg.fonttype": "none"}
    with matplotlib.rc_context(texts), _quiet_about_glyphs():
        figure.savefig(stream, format=form, dpi=150, metadata=metadata)


def literal(drawing: Callable[P, Figure]) -> Callable[P, Figure]:
    """A drawing whose texts are shown as they are, dollar signs and backslashes included.

    Parameters
    ----------
    drawing : callable
        Makes a figure.

    Returns
    -------
    callable
        The same, with the formula reader off.
    """

    @functools.wraps(drawing)
    def wrapper(*args: P.args, **kwargs: P.kwargs) -> Figure:
        import matplotlib

        with matplotlib.rc_context({"text.parse_math": False, "text.usetex": False}):
            return drawing(*args, **kwargs)

    return wrapper


def grouped_events(m: Mismatch) -> list[tuple[str, str, float, float]]:
    """Events of the pair with those that coincide for both zones put together.

    Parameters
    ----------
    m : Mismatch
        The pair.

    Returns
    -------
    list of tuple
        Name, zones, time [s], temperature of the ware [K], in order of time.
    """
    found: dict[tuple[str, int], tuple[list[str], float, float]] = {}
    for event in m.events:
        key = (event.name, round(event.time / 300.0))
        zones = found.setdefault(key, ([], event.time, event.temperature))[0]
        if event.zone and event.zone not in zones:
            zones.append(event.zone)
    return [(name, " and ".join(z), t, T) for (name, _), (z, t, T) in found.items()]


def settle(figure: Figure) -> None:
    """Lay a figure out once and for all, so that each file drawn from it need not do it again.

    Parameters
    ----------
    figure : Figure
        With its layout engine.
    """
    with _quiet_about_glyphs():
        figure.draw_without_rendering()
    figure.set_layout_engine("none")


@contextlib.contextmanager
def _quiet_about_glyphs() -> Iterator[None]:
    """A name in a script that the font lacks is drawn as boxes; the SVG and the CSV keep it."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def spread(places: NDArray[np.float64], gap: float, top: float) -> NDArray[np.float64]:
    """Places moved as little as need be to stand a gap apart, in their order.

    Parameters
    ----------
    places : array
        Rising, shape (K,). [any]
    gap : float
        Least distance; the K places must fit. [any]
    top : float
        Largest place allowed; the smallest is 0. [any]

    Returns
    -------
    array
        Shape (K,). [any]
    """
    groups: list[list[float]] = []  # sum of the places wanted, each less its offset, and count
    offset = gap * np.arange(places.size)
    for want in places - offset:
        groups.append([float(want), 1.0])
        while len(groups) > 1 and groups[-1][0] / groups[-1][1] < groups[-2][0] / groups[-2][1]:
            total, count = groups.pop()
            groups[-1][0] += total
            groups[-1][1] += count
    settled = np.repeat([t / n for t, n in groups], [int(n) for _, n in groups])
    return np.asarray(np.clip(settled, 0.0, max(top - gap * (places.size - 1), 0.0)) + offset)


def _number_events(axes: Axes, m: Mismatch) -> None:
    """Marks on the temperature curve, each led down to its number in a row below the panel."""
    events = grouped_events(m)
    hours = np.array([time for _, _, time, _ in events]) / HOUR
    end = float(m.trace.time[-1]) / HOUR
    stands = spread(hours, 0.026 * end, end)
    across = axes.get_xaxis_transform()
    for number, (hour, stand, event) in enumerate(zip(hours, stands, events, strict=True), 1):
        degrees = celsius(event[3])
        axes.plot([hour, hour], [0.0, degrees], color="0.55", lw=0.6, zorder=1)
        axes.plot(
            [hour, stand], [0.0, -0.045], color="0.55", lw=0.6, transform=across, clip_on=False
        )
        axes.plot(hour, degrees, "o", ms=3.5, color="black", zorder=4)
        axes.text(stand, -0.055, str(number), fontsize=8, ha="center", va="top", transform=across)


def _hanging(text: str, width: int) -> list[str]:
    """Lines of a text, each as far in as the first."""
    return wrapped(text, len(text) - len(text.lstrip()), width)


def _beside(axes: Axes) -> None:
    """Legend to the right of its panel, where it hides nothing; long names in several lines."""
    handles, labels = axes.get_legend_handles_labels()
    told = ["\n".join(_hanging(label, BESIDE)) for label in labels]
    axes.legend(
        handles, told, loc="upper left", bbox_to_anchor=(1.0, 1.03), fontsize=8, frameon=False,
        handlelength=3.4,
    )  # fmt: skip


def _draw_temperature(axes: Axes, m: Mismatch) -> None:
    """Kiln, ware, the limits near the peak, and the numbered events."""
    hours = m.trace.time / HOUR
    axes.plot(hours, celsius(m.trace.kiln), color="0.45", ls=(0, (4, 2)), lw=1.2, label="kiln")
    axes.plot(hours, celsius(m.trace.ware), color=FIRST, lw=1.8, label="ware")
    top = m.trace.peak
    for limit, name, dash in zip(m.ceilings, m.history.names, (":", "-."), strict=True):
        if limit < m.trace.peak + 250.0:
            top = max(top, limit)
            label = f"limit of {name}, {celsius(limit):.0f} °C"
            axes.axhline(celsius(limit), color=LIMIT, lw=1.3, ls=dash, label=label)
    axes.set_ylabel("temperature (°C)")
    axes.set_ylim(0.0, 1.06 * celsius(top))
    _number_events(axes, m)
    _beside(axes)


def _draw_strains(axes: Axes, m: Mismatch) -> None:
    """Free strain of both zones and its parts; the second zone's thin lines carry rings."""
    hours = m.trace.time / HOUR
    others = [part for part in m.history.strain if part not in DASHES]
    dashes: dict[str, Any] = DASHES | dict(zip(others, itertools.cycle(OTHER_DASHES), strict=False))
    for n, name in enumerate(m.history.names):
        colour, whole, ring = ((FIRST, "-", {}), (SECOND, (0, (7, 2)), RINGS))[n]
        free = m.history.free_strain[n] * 100.0
        axes.plot(hours, free, color=colour, lw=1.9, ls=whole, label=f" {name}")
        for part, values in m.history.strain.items():
            size = float(np.ptp(values[n])) * 100.0
            label = f"   {part}" if part in DASHES else f"   {part}, {size:.2f} %"
            if size > 0.0:
                axes.plot(
                    hours, values[n] * 100.0, color=colour, lw=1.0, ls=dashes[part], label=label,
                    **ring,
                )  # fmt: skip
    axes.set_ylabel("free strain (%)")
    _beside(axes)


def _draw_difference(axes: Axes, m: Mismatch) -> None:
    """Free strain of the first zone minus that of the second."""
    axes.plot(m.trace.time / HOUR, m.difference * 100.0, color=FIRST, lw=1.6)
    axes.axhline(0.0, color="0.6", lw=0.8)
    axes.set_ylabel("difference (%)")
    title = f"free strain of {m.history.names[0]} minus that of {m.history.names[1]}"
    axes.set_title(textwrap.fill(title, 100), loc="left", fontsize=9)


def _draw_stored(axes: Axes, m: Mismatch) -> None:
    """The part of the difference that both zones can no longer relax."""
    axes.plot(m.trace.time / HOUR, m.stored * 1e6, color=FIRST, lw=1.6)
    axes.axhline(0.0, color="0.6", lw=0.8)
    axes.axvline(m.set_time / HOUR, color=SHARED, lw=1.2, ls="--")
    axes.set_ylabel("stored (ppm)")
    title = (
        f"difference stored since both have set, below {celsius(m.set_temperature):.0f} °C "
        f"(dashed line): {m.cooled * 1e6:+.0f} ppm when cold"
    )
    axes.set_title(title, loc="left", fontsize=9)
    axes.set_xlabel("time (h)")


def _key(m: Mismatch) -> str:
    """What the numbers stand for, in two columns where they fit, and what lies beyond a table."""
    entries = [
        f"{n:2}  {name}" + (f" ({zones})" if zones else "") + f", {celsius(T):.0f} °C"
        for n, (name, zones, _, T) in enumerate(grouped_events(m), 1)
    ]
    width = max(map(len, entries)) + 3
    if 2 * width <= ACROSS:
        half = (len(entries) + 1) // 2
        right = [*entries[half:], ""]
        lines = [f"{e:<{width}}{r}" for e, r in zip(entries[:half], right, strict=False)]
    else:
        lines = [
            part for e in entries for part in textwrap.wrap(e, ACROSS, subsequent_indent="    ")
        ]
    if m.history.extended:
        text = "beyond its table: " + "; ".join(m.history.extended)
        lines += textwrap.wrap(text, ACROSS, subsequent_indent="    ")
    return "\n".join(lines)


@literal
def mismatch_figure(m: Mismatch) -> Figure:
    """Temperature, free strains, their difference, and the part stored on cooling, over time.

    Parameters
    ----------
    m : Mismatch
        The pair along its firing.

    Returns
    -------
    Figure
        Four panels over one time axis, with a numbered key of events.
    """
    from matplotlib.figure import Figure

    key = _key(m)
    figure = Figure(figsize=(11.0, 10.0 + 0.13 * key.count("\n")), layout="constrained")
    panels = figure.subplots(4, 1, sharex=True, height_ratios=[1.2, 1.35, 0.8, 0.8])
    draw = (_draw_temperature, _draw_strains, _draw_difference, _draw_stored)
    for panel, content in zip(panels, draw, strict=True):
        panel.margins(x=0.01)
        panel.grid(color="0.9", lw=0.6)
        panel.spines[["top", "right"]].set_visible(False)
        content(panel, m)
    figure.align_ylabels(panels)
    metal, ceramic = m.history.names
    title = f"{metal} with {ceramic}: {m.firing.name}, {m.firing.gas_words}"
    figure.suptitle(textwrap.fill(title, 100), x=0.01, ha="left", fontsize=12)
    figure.supxlabel(key, x=0.01, ha="left", fontsize=7.5, family="monospace")
    settle(figure)
    return figure


def mismatch_csv(m: Mismatch) -> str:
    """The numbers of `mismatch_figure`, one row a node of the trace.

    Parameters
    ----------
    m : Mismatch
        The pair along its firing.

    Returns
    -------
    str
        Comma-separated text; strains are natural strains in per cent, metal minus ceramic.
    """
    h = m.history
    columns: dict[str, np.ndarray] = {
        "time_h": m.trace.time / HOUR,
        "kiln_C": celsius(m.trace.kiln),
        "ware_C": celsius(m.trace.ware),
    }
    for n, name in enumerate(h.names):
        columns[f"{name}: free strain_percent"] = h.free_strain[n] * 100.0
        for part, values in h.strain.items():
            if np.any(values[n]):
                columns[f"{name}: {part}_percent"] = values[n] * 100.0
        columns[f"{name}: relative density"] = h.relative_density[n]
        columns[f"{name}: mass fraction"] = h.mass_fraction[n]
        columns[f"{name}: young_modulus_GPa"] = h.young_modulus[n] / 1e9
        columns[f"{name}: strength_MPa"] = h.strength[n] / 1e6
    columns["mismatch_percent"] = m.difference * 100.0
    columns["stored_mismatch_ppm"] = m.stored * 1e6
    return table_text(columns)
