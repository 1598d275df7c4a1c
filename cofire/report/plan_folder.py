"""The folder of a plan: written beside, then put in place whole."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cofire.assessment.check import Check
from cofire.assessment.response import band_stresses
from cofire.assessment.windows import ceiling
from cofire.design.plan import Plan
from cofire.errors import CofireError
from cofire.firing.program import Kiln
from cofire.production.job import job_for, pure_materials
from cofire.production.paste import Cost
from cofire.production.trade_off import costs_of
from cofire.report import figures
from cofire.report import stress as stress_text
from cofire.report.apart import apart_files
from cofire.report.designs import (
    NO_COSTS,
    TAPER_FILE,
)
from cofire.report.firing import kiln_csv
from cofire.report.imperial import as_set
from cofire.report.job_figures import firing_figure
from cofire.report.plan import plan_text, segments_text
from cofire.report.plan_numbers import plan_json
from cofire.report.pot import pot_figure
from cofire.report.read_again import (
    NO_KILNS,
    bands_csv,
    firing_csv,
    firing_toml,
    planned_vessel,
    tapered_vessel,
)
from cofire.report.sheet import write_sheet
from cofire.report.stress import designs_figure, stress_figure, trade_off_figure
from cofire.report.verdict import (
    taken,
)
from cofire.report.writing import replace_folder
from cofire.workers import each

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Written:
    """What the folder says in words, and what could not be written, with the reason.

    Attributes
    ----------
    as_set
        Parts of the text that tell what is set on the kiln's controller, in its own degrees.
    """

    text: str
    missing: list[str]
    as_set: tuple[str, ...] = ()


def write_plan(
    plan: Plan,
    out: Path,
    force: bool,
    source: Path,
    kilns: Mapping[str, Kiln] = NO_KILNS,
    executor: Executor | None = None,
    units: str = "metric",
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
    kilns : mapping
        Kilns that a firing file may name.
    executor : Executor, optional
        Who draws (see `cofire.workers`).
    units : str
        Of the sheet: "metric" or "imperial".

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
    vessel = plan.vessel
    bands = band_stresses(plan.proposal.printed)
    missing: list[str] = []
    costs: Mapping[int, Cost] = NO_COSTS
    try:
        costs = costs_of(plan)
    except CofireError as error:
        missing.append(f"cost: {error}")
    texts = {
        "plan.json": plan_json(plan, costs),
        "bands.csv": bands_csv(vessel),
        "firing.csv": firing_csv(vessel.firing, reasons),
        "kiln_C.csv": kiln_csv(vessel.firing, "C"),
        "kiln_F.csv": kiln_csv(vessel.firing, "F"),
        "firing.toml": firing_toml(vessel.firing, kilns),
        **planned_vessel(source, vessel, out),
        "stress.json": stress_text.as_json(plan.proposal.printed, bands),
    }
    if plan.taper is not None:
        texts |= tapered_vessel(source, plan.taper.vessel, TAPER_FILE, out)
    if plan.apart is not None:
        texts |= apart_files(plan.apart, source, out)
    gas = vessel.firing.gas
    limit = min(ceiling(card, gas) for card in pure_materials(plan.proposal.designed))
    jobs: list[tuple[str, Callable[..., bytes], tuple[Any, ...]]] = [
        (
            "sheet.html",
            _sheet,
            (plan.proposal, tuple(reasons.values()), units, proposed_chance(plan)),
        ),
        ("plan.png", _drawn, (pot_figure, plan.proposal, plan.given)),
        (
            "firing.png",
            _drawn,
            (firing_figure, plan.proposal.designed, limit, tuple(reasons.values())),
        ),
        ("stress.png", _drawn, (stress_figure, plan.proposal.printed, bands)),
    ]
    if plan.designs is not None:  # what the proposal was chosen from, not what the search began by
        jobs.append(("trade_off.png", _drawn, (designs_figure, plan.designs, plan.as_designed)))
    elif plan.layers is not None:
        jobs.append(("trade_off.png", _drawn, (trade_off_figure, plan.layers, plan.layout)))
    files: dict[str, bytes] = {name: text.encode() for name, text in texts.items()}
    text = plan_text(plan, costs)
    for name, found in each(_made, jobs, executor):
        if isinstance(found, str):
            missing.append(f"{name}: {found}")
        else:
            files[name] = found
    files["plan.txt"] = text.encode()

    def fill(folder: Path) -> None:
        for name, content in files.items():
            (folder / name).write_bytes(content)

    replace_folder(out, fill, "plan.json", force)
    own = [taken(plan.given.vessel.firing)]
    own += [segments_text(plan.schedule)] if plan.schedule is not None else []
    return Written(text, missing, as_set(plan.vessel.firing, *own))


def _made(job: tuple[str, Callable[..., bytes], tuple[Any, ...]]) -> tuple[str, bytes | str]:
    """One file, or why there is none, from anywhere."""
    name, work, of = job
    try:
        return name, work(*of)
    except CofireError as error:
        return name, str(error)


def proposed_chance(plan: Plan) -> float | None:
    """The chance that the proposal is not lost, to the digits of plan.json; None where unknown."""
    after = plan.odds[1]
    return None if after is None or not after.kept.size else round(after.chance, 4)


def _sheet(proposal: Check, reasons: tuple[str, ...], units: str, chance: float | None) -> bytes:
    return write_sheet(job_for(proposal), reasons, units, chance).encode()


def _drawn(draw: Callable[..., Figure], *of: Any) -> bytes:
    stream = io.BytesIO()
    figures.save(draw(*of), stream, "png")
    return stream.getvalue()
