"""Figures: drawn from what the library returned, readable in grey print."""

from __future__ import annotations

import csv
import io
from typing import IO, TYPE_CHECKING

import numpy as np

from cofire.inputs.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.planning.mismatch import Mismatch

FIRST, SECOND, SHARED, LIMIT = "#000000", "#0072B2", "#009E73", "#D55E00"
"""Each at least 3:1 on white; every line also has its own dash or label."""


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

    with matplotlib.rc_context({"svg.hashsalt": "cofire", "svg.fonttype": "none"}):
        metadata = {"Date": None} if form == "svg" else {"Software": None}
        figure.savefig(stream, format=form, dpi=150, metadata=metadata)


def _label_events(axes: Axes, m: Mismatch) -> None:
    """Numbered marks on the temperature curve, left and right in turn; the key stands below."""
    for number, (_, _, time, temperature) in enumerate(grouped_events(m), 1):
        axes.plot(time / HOUR, celsius(temperature), "o", ms=3.5, color="black", zorder=4)
        left = number % 2 == 1
        axes.annotate(
            str(number), (time / HOUR, celsius(temperature)), xytext=(-5, 2) if left else (5, -6),
            textcoords="offset points",
            ha="right" if left else "left",
            fontsize=8,
            zorder=5,
        )  # fmt: skip


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

    hours = m.trace.time / HOUR
    end = float(hours[-1])
    metal, ceramic = m.history.names
    figure = Figure(figsize=(10.0, 10.5), layout="constrained")
    panels = figure.subplots(4, 1, sharex=True, height_ratios=[1.25, 1.25, 0.8, 0.9])
    top, strain, apart, stored = panels

    top.plot(hours, celsius(m.trace.kiln), color="0.45", ls=(0, (4, 2)), lw=1.2, label="kiln")
    top.plot(hours, celsius(m.trace.ware), color=FIRST, lw=1.8, label="ware")
    near = sorted(
        (limit, name)
        for limit, name in zip(m.ceilings, (metal, ceramic), strict=True)
        if limit < m.trace.peak + 250.0
    )
    for n, (limit, name) in enumerate(near):
        top.axhline(celsius(limit), color=LIMIT, lw=1.2, ls="-." if n else ":")
        top.text(
            end,
            celsius(limit),
            f"limit of {name}: {celsius(limit):.0f} °C ",
            color=LIMIT,
            fontsize=8,
            ha="right",
            va="bottom" if n == len(near) - 1 else "top",
        )
    _label_events(top, m)
    top.set_ylabel("temperature (°C)")
    top.set_ylim(0.0, 1.1 * celsius(max([m.trace.peak, *(limit for limit, _ in near)])))
    top.legend(loc="lower center", fontsize=8, frameon=False)
    top.set_title(f"{metal} with {ceramic}: {m.firing.name}, {m.firing.gas}", loc="left")

    free = m.history.free_strain * 100.0
    for n, (name, colour) in enumerate(((metal, FIRST), (ceramic, SECOND))):
        strain.plot(
            hours,
            free[n],
            color=colour,
            lw=1.8,
            ls="-" if n == 0 else (0, (7, 2)),
            label=f"{name}: all",
        )
        for part, dash in (("sintering", ":"), ("expansion", "-.")):
            strain.plot(
                hours,
                m.history.strain[part][n] * 100.0,
                color=colour,
                lw=1.0,
                ls=dash,
                label=f"{name}: {part}",
            )
        for part, values in m.history.strain.items():
            if part not in ("sintering", "expansion") and np.any(values[n]):
                strain.plot(
                    hours,
                    values[n] * 100.0,
                    color=colour,
                    lw=1.0,
                    ls=(0, (1, 1, 3, 1)),
                    label=f"{name}: {part} ({100 * np.ptp(values[n]):.2f} %)",
                )
    strain.set_ylabel("free strain (%)")
    strain.legend(loc="center right", fontsize=8, ncols=1, frameon=True, edgecolor="0.8")

    apart.plot(hours, m.difference * 100.0, color=FIRST, lw=1.6)
    apart.axhline(0.0, color="0.6", lw=0.8)
    apart.set_ylabel(f"{metal}\nminus {ceramic} (%)", fontsize=9)

    stored.plot(hours, m.stored * 1e6, color=FIRST, lw=1.6)
    stored.axhline(0.0, color="0.6", lw=0.8)
    stored.axvline(m.set_time / HOUR, color=SHARED, lw=1.0, ls="--")
    stored.text(
        m.set_time / HOUR, 0.98, f" both set below {celsius(m.set_temperature):.0f} °C",
        color=SHARED, fontsize=8, va="top", transform=stored.get_xaxis_transform(),
    )  # fmt: skip
    stored.annotate(
        f"{m.cooled * 1e6:+.0f} ppm", (end, m.cooled * 1e6), xytext=(-4, 6),
        textcoords="offset points", ha="right", fontsize=9,
    )  # fmt: skip
    stored.set_ylabel("mismatch stored\non cooling (ppm)", fontsize=9)
    stored.set_xlabel("time (h)")
    for panel in panels:
        panel.margins(x=0.01)
        panel.grid(color="0.9", lw=0.6)
        panel.spines[["top", "right"]].set_visible(False)
    figure.align_ylabels(panels)
    key = [
        f"{n}  {name}" + (f" ({zones})" if zones else "") + f", {celsius(T):.0f} °C"
        for n, (name, zones, _, T) in enumerate(grouped_events(m), 1)
    ]
    half = (len(key) + 1) // 2
    notes = "\n".join(
        f"{left:<58}{right}" for left, right in
        zip(key[:half], [*key[half:], *[""] * (2 * half - len(key))], strict=True)
    )  # fmt: skip
    if m.history.extended:
        notes += "\nbeyond its table: " + "; ".join(m.history.extended)
    figure.supxlabel(notes, x=0.01, ha="left", fontsize=7.5, family="monospace")
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
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for values in np.column_stack(list(columns.values())):
        writer.writerow(f"{v:.6g}" for v in values)
    return text.getvalue()
