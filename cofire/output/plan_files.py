"""The folder of a plan: written beside, then put in place whole."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

from cofire.output import figures, plan_tables, stress_text
from cofire.output.folders import replace_folder
from cofire.output.plan_json import plan_json
from cofire.output.plan_text import plan_text
from cofire.output.vessel_figures import stress_figure, trade_off_figure
from cofire.output.vessel_file import planned_vessel
from cofire.planning.response import band_stresses
from cofire.planning.workers import in_pairs

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cofire.planning.plan import Plan


def write_plan(
    plan: Plan, out: Path, force: bool, source: Path, kilns: Collection[str] = ()
) -> None:
    """Write plan.json and .txt, vessel.toml and firing.toml, tables and figures.

    Killed at any moment, the folder holds the old plan or the new one, never a half.

    Parameters
    ----------
    plan : Plan
        From `propose`.
    out : Path
        The folder.
    force : bool
        Whether a folder that holds a plan may be replaced.
    source : Path
        The vessel file that was planned.
    kilns : collection of str
        Names of the kilns that a firing file may name.

    Raises
    ------
    InputError
        The folder exists and may not be replaced, or cannot be written.
    """
    reasons = {}
    if plan.schedule is not None:
        reasons = {n: c.reason for n, c in enumerate(plan.schedule.choices)}
    vessel = plan.response.vessel
    bands = band_stresses(plan.response)
    texts = {
        "plan.json": plan_json(plan),
        "plan.txt": plan_text(plan),
        "bands.csv": plan_tables.bands_csv(vessel),
        "firing.csv": plan_tables.firing_csv(vessel.firing, reasons),
        "firing.toml": plan_tables.firing_toml(vessel.firing, kilns),
        **planned_vessel(source, vessel),
        "stress.json": stress_text.as_json(plan.response, bands),
    }
    drawings: dict[str, Callable[[], Figure]] = {
        "stress.png": lambda: stress_figure(plan.response, bands)
    }
    if (layers := plan.layers) is not None:
        drawings["trade_off.png"] = lambda: trade_off_figure(layers)

    def drawn(name: str) -> bytes:
        stream = io.BytesIO()
        figures.save(drawings[name](), stream, "png")
        return stream.getvalue()

    pictures = dict(zip(drawings, in_pairs(drawn, list(drawings)), strict=True))

    def fill(folder: Path) -> None:
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8")
        for name, picture in pictures.items():
            (folder / name).write_bytes(picture)

    replace_folder(out, fill, "plan.json", force)
