"""The vessel's section coloured by tension, stress against height, tension over time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.units import HOUR, celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import QuadMesh
    from matplotlib.figure import Figure

    from cofire.planning.layers import LayerSearch
    from cofire.planning.response import BandStress, Response

Array = NDArray[np.float64]

BANDS = ("#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))


def _outline(response: Response) -> tuple[Array, Array, Array, Array]:
    """Inner and outer edge of the wall at the stations: r and z each. [mm]"""
    s = response.shell
    across_r, across_z = np.cos(s.slope) * s.wall / 2, -np.sin(s.slope) * s.wall / 2
    return (
        (s.radius - across_r) * 1e3,
        (s.height - across_z) * 1e3,
        (s.radius + across_r) * 1e3,
        (s.height + across_z) * 1e3,
    )


def _section(axes: Axes, response: Response, tension: Array, top: float, title: str) -> QuadMesh:
    """Half section of the wall, coloured by the larger in-plane stress; shape (G, P)."""
    s = response.shell
    inner_r, inner_z, outer_r, outer_z = _outline(response)
    share = 0.5 * (1.0 + s.through)
    r = inner_r[:, None] + share * (outer_r - inner_r)[:, None]
    z = inner_z[:, None] + share * (outer_z - inner_z)[:, None]
    image = axes.pcolormesh(
        r, z, tension / 1e6, cmap="PuOr_r", vmin=-top, vmax=top, shading="gouraud", rasterized=True
    )
    axes.plot(inner_r, inner_z, color="0.3", lw=0.6)
    axes.plot(outer_r, outer_z, color="0.3", lw=0.6)
    for step in response.vessel.steps * 1e3:
        axes.axhline(step, color="0.3", lw=0.7, ls=(0, (4, 3)))
    wide, tall = np.ptp(r), np.ptp(z)
    stretch = max(1.0, float(np.floor(0.3 * tall / wide)))
    axes.set_aspect(1.0 / stretch)
    axes.set_title(title, fontsize=9)
    note = f"\n(drawn {stretch:.0f} times wider)" if stretch > 1.0 else ""
    axes.set_xlabel(f"radius (mm){note}", fontsize=9)
    return image


def _profiles(axes: Axes, response: Response, at: int) -> None:
    """Tension at both faces, up the wall and round the ring, against height."""
    s = response.shell
    total = response.total[at] / 1e6
    for d, name in enumerate(("up the wall", "round the ring")):
        for p, face in ((0, "inside"), (-1, "outside")):
            k = 2 * d + (p != 0)
            axes.plot(
                total[:, p, d], s.height * 1e3, color=BANDS[k], ls=DASHES[k], lw=1.3,
                label=f"{name}, {face}",
            )  # fmt: skip
    for step, height in enumerate(response.vessel.steps * 1e3):
        wall = float(np.interp(height / 1e3, s.height, s.wall)) * 1e3
        axes.axhspan(
            height - wall, height + wall, color="0.92", lw=0,
            label="within a wall of a step" if step == 0 else None,
        )  # fmt: skip
    axes.axvline(0.0, color="0.6", lw=0.8)
    axes.set_xlabel("stress (MPa)")
    axes.legend(fontsize=7, loc="upper right", framealpha=0.9)


def _history(axes: Axes, response: Response, bands: list[BandStress]) -> None:
    """Largest tension of each band over time, with the temperature behind."""
    s = response.shell
    hours = s.time / HOUR
    hot = axes.twinx()
    hot.plot(response.trace.time / HOUR, celsius(response.trace.ware), color="0.75", lw=1.2)
    hot.set_ylabel("ware (°C)", color="0.45")
    hot.set_ylim(0, None)
    hot.spines[["top"]].set_visible(False)
    total = response.total
    for band, found in enumerate(bands):
        tension = total[:, s.band == band].max(axis=(1, 2, 3)) / 1e6
        k = band % len(BANDS)
        name = found.worst.material
        axes.plot(hours, tension, color=BANDS[k], ls=DASHES[k], lw=1.4, label=name)
        axes.plot(found.worst.time / HOUR, found.worst.tension / 1e6, "o", ms=4, color=BANDS[k])
    axes.set_zorder(hot.get_zorder() + 1)
    axes.patch.set_visible(False)
    axes.set_xlabel("time (h)")
    axes.set_ylabel("largest tension (MPa)")
    axes.legend(fontsize=7, loc="upper left", framealpha=0.9)


def stress_figure(response: Response, bands: list[BandStress]) -> Figure:
    """Section at the worst moment and when cold, stress against height, tension over time.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    bands : list of BandStress
        From `band_stresses`.

    Returns
    -------
    Figure
        Four panels.
    """
    from matplotlib.figure import Figure

    s = response.shell
    worst = max((b.worst for b in bands), key=lambda p: p.tension)
    at = int(np.argmin(np.abs(s.time - worst.time)))
    if at == s.time.size - 1 or worst.temperature < 323.0:
        # worst when cold: show the hot moment of greatest tension beside it
        hot = response.temperature > 0.5 * (response.trace.peak + 293.0)
        largest = np.where(hot, response.total.max(axis=(1, 2, 3)), -np.inf)
        at = int(np.argmax(largest))
    tension = response.total.max(axis=3)
    top = max(float(np.abs(tension[[at, -1]]).max()) / 1e6, 1e-3)
    figure = Figure(figsize=(10.0, 8.6), layout="constrained")
    upper = figure.add_subfigure(figure.add_gridspec(2, 1, height_ratios=[1.25, 1.0])[0])
    lower = figure.add_subfigure(figure.add_gridspec(2, 1, height_ratios=[1.25, 1.0])[1])
    left, middle, right = upper.subplots(1, 3, sharey=True, width_ratios=[1, 1, 1.5])
    label = f"{celsius(float(response.temperature[at])):.0f} °C, {s.time[at] / HOUR:.1f} h"
    own = max(float(np.abs(tension[at]).max()) / 1e6, 1e-3)
    first = _section(left, response, tension[at], own, f"hot: {label}")
    image = _section(middle, response, tension[-1], top, "when cold")
    left.set_ylabel("height (mm)")
    upper.colorbar(first, ax=left, label="larger stress in the wall (MPa)", shrink=0.8)
    upper.colorbar(image, ax=middle, label="larger stress in the wall (MPa)", shrink=0.8)
    _profiles(right, response, -1)
    right.set_title("when cold", fontsize=9)
    _history(lower.subplots(), response, bands)
    figure.suptitle(
        f"{response.vessel.name}: {response.vessel.firing.name} in {response.vessel.firing.gas}",
        x=0.01, ha="left", fontsize=11,
    )  # fmt: skip
    for axes in (left, middle, right):
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def trade_off_figure(search: LayerSearch) -> Figure:
    """Load against height of the transition, one line a number of blends.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    Figure
        One panel, height also in decay lengths.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.0, 4.6), layout="constrained")
    axes = figure.subplots()
    decay = search.decay_length * 1e3
    counts = sorted({len(t.layout.shares) for t in search.trials})
    for k, count in enumerate(counts):
        best: dict[float, float] = {}
        for t in search.trials:
            if len(t.layout.shares) == count:
                height = round(t.layout.total * 1e3, 1)
                best[height] = min(best.get(height, np.inf), t.load)
        heights = sorted(best)
        name = "direct joint" if count == 0 else f"{count} blend" + ("s" if count > 1 else "")
        axes.plot(
            heights, [best[h] for h in heights], color=BANDS[k % 5], ls=DASHES[k % 5],
            marker="osD^v"[k % 5], ms=5, lw=1.4, label=name,
        )  # fmt: skip
    axes.axhline(1.0, color="0.4", lw=1.0)
    axes.text(axes.get_xlim()[1], 1.0, "limit ", ha="right", va="bottom", fontsize=8, color="0.3")
    axes.plot(
        search.best.layout.total * 1e3, search.best.load, "o", ms=12, mfc="none", mec="black",
        label="proposed",
    )  # fmt: skip
    axes.set_yscale("log")
    axes.set_xlabel("height of the transition (mm)")
    axes.set_ylabel("largest share of a limit used up")
    axes.grid(color="0.9", lw=0.6)
    axes.legend(fontsize=8)
    axes.spines[["right"]].set_visible(False)
    above = axes.secondary_xaxis(
        "top", functions=(lambda x: np.asarray(x) / decay, lambda x: np.asarray(x) * decay)
    )
    above.set_xlabel(f"in decay lengths 1/β = {decay:.1f} mm")
    return figure
