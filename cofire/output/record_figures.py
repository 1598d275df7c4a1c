"""Predicted probability against what came of it, drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cofire.output.figures import FIRST, LIMIT, SECOND, literal, settle
from cofire.output.record_text import counted

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cofire.planning.evidence.record import Comparison


@literal
def calibration_figure(found: Comparison) -> Figure:
    """Share that came out sound against the probability foretold, with 95 % intervals.

    Single pieces are ticks above (sound) and below (not).

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    Figure
        One panel.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.0, 6.0), layout="constrained")
    axes = figure.subplots()
    axes.plot([0, 100], [0, 100], color="0.6", lw=1.0, ls="--", label="if foretold rightly")
    for c in found.classes:
        x, y = 100.0 * c.predicted, 100.0 * c.observed
        axes.plot(
            [x, x], [100.0 * c.observed_low, 100.0 * c.observed_high], color=FIRST, lw=1.2, zorder=2
        )
        for end in (c.observed_low, c.observed_high):
            axes.plot([x - 1.0, x + 1.0], [100.0 * end] * 2, color=FIRST, lw=1.2, zorder=2)
        axes.plot(x, y, "o", ms=7, color=FIRST, zorder=3)
        side = -1.0 if x > 90.0 else 1.0
        axes.annotate(
            counted(c.count, "piece"), (x, y), xytext=(8.0 * side, 0),
            textcoords="offset points", ha="left" if side > 0 else "right", va="center", fontsize=8,
            bbox={"fc": "white", "ec": "none", "pad": 0.5},
        )  # fmt: skip
    for sound, at, colour, name in (
        (True, 104.0, SECOND, "one sound piece"),
        (False, -4.0, LIMIT, "one that was not"),
    ):
        places = np.array([100.0 * (p.probability or 0.0) for p in found.told if p.sound == sound])
        axes.plot(places, np.full(places.size, at), "|", ms=9, mew=1.3, color=colour, label=name)
    axes.set_xlim(-3, 103)
    axes.set_ylim(-8, 108)
    axes.set_aspect("equal")
    axes.set_xlabel("probability of a sound piece, as foretold (%)")
    axes.set_ylabel("share that came out sound (%)")
    axes.grid(color="0.92", lw=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(fontsize=8, loc="outside lower center", ncols=3, frameon=False)
    title = counted(len(found.told), "piece")
    if found.brier is not None:
        title += f", Brier score {found.brier:.2f}; bars: 95 % intervals"
    if found.too_few:
        title += " (too few to judge by)"
    axes.set_title(title, fontsize=10, loc="left")
    settle(figure)
    return figure
