"""The folder of a plan: written beside, then put in place whole."""

from __future__ import annotations

import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cofire.errors import CofireError
from cofire.output import figures, plan_tables, stress_text
from cofire.output.folders import replace_folder
from cofire.output.making_text import smear_line
from cofire.output.plan_json import plan_json
from cofire.output.plan_text import plan_text
from cofire.output.sheet import write_sheet
from cofire.output.vessel_figures import stress_figure, trade_off_figure
from cofire.output.vessel_file import planned_vessel
from cofire.output.writing import wrapped
from cofire.planning.printing.making import making
from cofire.planning.ware.response import band_stresses
from cofire.planning.workers import in_pairs

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cofire.planning.proposals.plan import Plan


@dataclass(frozen=True)
class Written:
    """What the folder says in words, and what could not be written, with the reason."""

    text: str
    missing: list[str]


def write_plan(
    plan: Plan, out: Path, force: bool, source: Path, kilns: Collection[str] = ()
) -> Written:
    """Write plan.json and .txt, the sheet, vessel.toml and firing.toml, tables and figures.

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

    Returns
    -------
    Written
        Its text, and what could not be written.

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
        "bands.csv": plan_tables.bands_csv(vessel),
        "firing.csv": plan_tables.firing_csv(vessel.firing, reasons),
        "firing.toml": plan_tables.firing_toml(vessel.firing, kilns),
        **planned_vessel(source, vessel),
        "stress.json": stress_text.as_json(plan.response, bands),
    }

    def sheet() -> tuple[dict[str, bytes], str]:
        made = making(plan.response)
        page = write_sheet(made, tuple(reasons.values()))
        return {"sheet.html": page.encode()}, smear_line(made.smear) if made.smear else ""

    def pictures() -> tuple[dict[str, bytes], str]:
        drawn = {"stress.png": _drawn(stress_figure(plan.response, bands))}
        if plan.layers is not None:
            drawn["trade_off.png"] = _drawn(trade_off_figure(plan.layers))
        return drawn, ""

    works = {"sheet.html": sheet, "figures": pictures}

    def made(name: str) -> tuple[dict[str, bytes], str] | str:
        try:
            return works[name]()
        except CofireError as error:
            return f"{name}: {error}"

    missing: list[str] = []
    files: dict[str, bytes] = {name: text.encode() for name, text in texts.items()}
    text = plan_text(plan)
    for found in in_pairs(made, list(works)):
        if isinstance(found, str):
            missing.append(found)
        else:
            files |= found[0]
            text += "\n".join(["", *wrapped(found[1]), ""]) if found[1] else ""
    files["plan.txt"] = text.encode()

    def fill(folder: Path) -> None:
        for name, content in files.items():
            (folder / name).write_bytes(content)

    replace_folder(out, fill, "plan.json", force)
    return Written(text, missing)


def _drawn(figure: Figure) -> bytes:
    stream = io.BytesIO()
    figures.save(figure, stream, "png")
    return stream.getvalue()
