"""`cofire make` and `sheet`: what goes to the printer and the kiln."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cofire.cli.common import DEFECT, Force, System, Tables, Units, aside, guarded, show
from cofire.cli.progress import MAKE, running
from cofire.cli.vessel import Extend, checked
from cofire.errors import CofireError

if TYPE_CHECKING:
    from cofire.assessment.verdict import Verdict
    from cofire.firing.program import Firing


# ----------------------------------------------------------------------------------------------
# `cofire make`: what to take to the printer for one vessel, or for a plan


@guarded
def make(
    vessel: Planned,
    out: Annotated[Path, typer.Option(help="Folder for the files; replaced whole.")] = Path(
        "cofire-making"
    ),
    tables: Tables = None,
    extend: Extend = False,
    units: Units = System.metric,
    force: Force = False,
) -> None:
    """Say what to print, weigh and change so that a vessel fires to size, and what to test first.

    Writes green.csv, .svg (true scale), .stl and .3mf (a part for each paste), an .stl for each
    paste, where to pause for each change of paste (pauses.csv, and lines of G-code with M0), the
    firing in whole numbers for a controller (kiln_C.csv, kiln_F.csv), bands, batches, changeovers
    and test pieces as .csv, the vessel before and after its firing, and the mismatch of its bands
    over it. Status 4 where the verdict is no.

    Example:  cofire make examples/silver_foot_vessel.toml --out for-the-printer
    """
    from cofire.production.job import job_for
    from cofire.report.job import job_text
    from cofire.report.job_files import MARK, write_making
    from cofire.report.writing import check_plan_folder

    check_plan_folder(out, force, MARK)
    tell = running(MAKE)
    tell("check")
    found = job_for(checked(vessel_file(vessel), tables, extend, units=units), tell=tell)
    tell("writing")
    write_making(found, out, force)
    tell("")
    show(job_text(found), units)
    aside(f"written: {out}")
    _tell_changes(planned_chance(vessel, found.verdict)[1])
    if found.verdict.word == "no":
        raise typer.Exit(DEFECT)


# ----------------------------------------------------------------------------------------------
# `cofire sheet`: the firing sheet of one vessel, or of a plan

Planned = Annotated[
    Path, typer.Argument(metavar="VESSEL", help="Vessel file, or the folder of a plan.")
]


def vessel_file(given: Path) -> Path:
    """The vessel's file: the one given, or that of a plan's folder.

    Parameters
    ----------
    given : Path
        File or folder.

    Returns
    -------
    Path
        A file.

    Raises
    ------
    InputError
        A folder that holds no plan.
    """
    from cofire.errors import InputError

    if not given.is_dir():
        return given
    if not (given / "vessel.toml").is_file():
        raise InputError(f"{given}: holds no vessel.toml; give a vessel file or a plan's folder")
    return given / "vessel.toml"


def planned_reasons(given: Path, firing: Firing) -> list[str]:
    """Why no segment of a plan's firing is faster, as the plan's folder has it.

    Parameters
    ----------
    given : Path
        File or folder that a command was given.
    firing : Firing
        Of the vessel in it.

    Returns
    -------
    list of str
        One a segment; empty where there is no plan, or its firing has been changed since.
    """
    import csv
    import io

    from cofire.files import read_text
    from cofire.report.read_again import firing_csv

    table = given / "firing.csv"
    if not table.is_file():
        return []
    text = read_text(table)
    try:
        told = [row.get("why") or "" for row in csv.DictReader(io.StringIO(text))]
    except csv.Error:  # no table any more, so not the one that was written
        return []
    unchanged = firing_csv(firing, dict(enumerate(told))) == text
    return told if unchanged and any(told) else []


ALIKE = 1e-3
"""Utilisations that differ by less than this share are those of one vessel. [-]"""


def planned_chance(given: Path, verdict: Verdict) -> tuple[float | None, bool]:
    """The chance that a planned pot is not lost, and whether its limits come out as planned.

    Parameters
    ----------
    given : Path
        File or folder that a command was given.
    verdict : Verdict
        On the vessel in it.

    Returns
    -------
    tuple of (float or None, bool)
        None where there is no plan, or where a limit comes out otherwise than it did for it, as
        with other cards; without a plan nothing is otherwise. [-]
    """
    import json

    from cofire.files import read_text
    from cofire.report.verdict import flag_row

    def rows(flags: list[dict[str, Any]]) -> list[tuple[str, str, str, float]]:
        return sorted(
            (f["rule"], f["zone"], f["verdict"], -1.0 if f["utilisation"] is None else
             float(f["utilisation"])) for f in flags
        )  # fmt: skip

    if not (given / "plan.json").is_file():
        return None, True
    alike = False
    try:
        whole = json.loads(read_text(given / "plan.json"))
        planned, now = rows(whole["flags"]), rows([flag_row(flag) for flag in verdict.flags])
        alike = [a[:3] for a in planned] == [b[:3] for b in now] and all(
            abs(a[3] - b[3]) <= ALIKE * max(abs(a[3]), ALIKE)
            for a, b in zip(planned, now, strict=True)
        )
        chance = whole["designs"]["chances"]["proposed"]["not_lost"]
        return (float(chance) if alike and 0.0 <= chance <= 1.0 else None), alike
    except (CofireError, ValueError, KeyError, TypeError):  # not as it was written, or no chance
        return None, alike


def _tell_changes(alike: bool) -> None:
    """Say that a plan's vessel is not judged as it was when it was planned."""
    if not alike:
        aside(
            "its limits come out otherwise than when it was planned (a card, a file or cofire "
            "itself has changed since): this is today's; plan it again, or keep to the plan's sheet"
        )


@guarded
def sheet(
    vessel: Planned,
    out: Annotated[
        str, typer.Option(metavar="FILE", help="The HTML file; - for stdout.")
    ] = "sheet.html",
    tables: Tables = None,
    extend: Extend = False,
    units: Annotated[
        System, typer.Option(help="imperial shows °F and inches on the page; cards stay metric.")
    ] = System.metric,
    force: Force = False,
) -> None:
    """Write the firing sheet of a vessel or a plan: one HTML file, for a phone or as A4.

    Two pages for the printer and the kiln (programme, cautions, print, pastes, test pieces), and
    one for the desk (limits, sources); more where there are many test pieces or sources. Status 4
    where the verdict is no.

    Example:  cofire sheet examples/silver_foot_vessel.toml --out sheet.html
    """
    from cofire.production.job import job_for
    from cofire.report.sheet import write_sheet
    from cofire.report.writing import check_targets, write_text

    check_targets([out], force)
    tell = running(MAKE)
    tell("check")
    found = job_for(checked(vessel_file(vessel), tables, extend, units=units), tell=tell)
    tell("")
    reasons = planned_reasons(vessel, found.response.vessel.firing)
    chance, alike = planned_chance(vessel, found.verdict)
    write_text(out, write_sheet(found, reasons, units.value, chance), force)
    aside(f"{found.verdict.word}; written: {out}")
    _tell_changes(alike)
    if found.verdict.word == "no":
        raise typer.Exit(DEFECT)
