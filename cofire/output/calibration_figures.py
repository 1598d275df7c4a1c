"""Measurements beside the card fitted to them, and what is left between the two."""

from __future__ import annotations

import csv
import io
import textwrap
from typing import TYPE_CHECKING, Any

from cofire.output.figures import FIRST, LIMIT, SECOND, SHARED, literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.planning.evidence.calibration import Calibration
    from cofire.planning.evidence.measured_values import Panel

COLOURS = (FIRST, SECOND, LIMIT, SHARED)
MARKS = ("o", "s", "^", "D", "v")
DASHES = ("-", (0, (6, 2)), ":", (0, (5, 1, 1, 1)), (0, (1, 1, 3, 1)))
COUNTED = ("bar", "strip")
"""Names of axes that count pieces."""
WIDTH, HEIGHT = 5.2, 4.6
"""Of one kind of measurement, in inches."""
MOST_ACROSS = 3


def _draw(top: Axes, below: Axes, panel: Panel) -> None:
    """Readings and fit above, readings less fit below."""
    for n, series in enumerate(panel.series):
        colour, mark = COLOURS[n % len(COLOURS)], MARKS[n % len(MARKS)]
        size = 3.0 if series.line else 5.0
        style: dict[str, Any] = {"color": colour, "mfc": "white", "mew": 1.0, "ls": "none"}
        label = f"{series.label}, measured"
        top.plot(series.place, series.measured, mark, ms=size, label=label, **style)
        fit: dict[str, Any] = {"ls": DASHES[n % len(DASHES)], "lw": 1.2}
        if not series.line:
            fit = {"ls": "none", "marker": "_", "ms": 16.0, "mew": 1.8}
        top.plot(series.place, series.fitted, color=colour, label=f"{series.label}, card", **fit)
        below.plot(series.place, series.measured - series.fitted, mark, ms=size, **style)
    below.axhline(0.0, color="0.5", lw=0.8)
    top.set_title(panel.title, loc="left", fontsize=10)
    top.set_ylabel(panel.up)
    below.set_ylabel("measured\nless card")
    if panel.across in COUNTED:
        from matplotlib.ticker import MaxNLocator

        below.xaxis.set_major_locator(MaxNLocator(integer=True))
        below.set_xlim(0.4, max(series.place.size for series in panel.series) + 0.6)
    below.set_xlabel(panel.across)
    top.legend(fontsize=7.5, frameon=False)
    for axes in (top, below):
        axes.grid(color="0.9", lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        axes.margins(y=0.1)


@literal
def calibration_figure(c: Calibration) -> Figure:
    """Every kind of measurement with the fit and, below it, the residuals.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    Figure
        One pair of panels a kind.
    """
    from matplotlib.figure import Figure

    panels = c.findings.panels
    across = min(max(len(panels), 1), MOST_ACROSS)
    down = -(-len(panels) // across) or 1
    figure = Figure(figsize=(WIDTH * across, HEIGHT * down + 0.5), layout="constrained")
    grid = figure.subplots(2 * down, across, squeeze=False, height_ratios=[2.4, 1.0] * down)
    for n in range(across * down):
        top, below = grid[2 * (n // across), n % across], grid[2 * (n // across) + 1, n % across]
        if n < len(panels):
            top.sharex(below)
            top.tick_params(labelbottom=False)
            _draw(top, below, panels[n])
        else:
            top.set_axis_off()
            below.set_axis_off()
    title = f"{c.old.name}, {c.source}"
    figure.suptitle(textwrap.fill(title, 40 * across), x=0.01, ha="left", fontsize=12)
    return figure


def calibration_csv(c: Calibration) -> str:
    """The numbers of `calibration_figure`, one row a reading.

    Parameters
    ----------
    c : Calibration
        From `calibrate`.

    Returns
    -------
    str
        Comma-separated text.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["test", "series", "across", "place", "what", "measured", "card"])
    for panel in c.findings.panels:
        for series in panel.series:
            for place, measured, fitted in zip(
                series.place, series.measured, series.fitted, strict=True
            ):
                numbers = [f"{float(v):.6g}" for v in (place, measured, fitted)]
                writer.writerow(
                    [panel.title, series.label, panel.across, numbers[0], panel.up, *numbers[1:]]
                )
    return text.getvalue()
