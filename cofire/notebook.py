"""What `import cofire as cf` asks of materials and vessels, and the answers a notebook shows.

Each question is put to the same functions as the commands are; here are only the ways out:
verdicts, tables, figures and text.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from cofire.assessment.cautions import cautions
from cofire.assessment.check import Check, check_vessel
from cofire.assessment.mismatch import Mismatch
from cofire.assessment.mismatch import mismatch as along
from cofire.assessment.response import Response, band_stresses
from cofire.assessment.screening import screen as screened
from cofire.assessment.screening import shared_firing
from cofire.assessment.verdict import Verdict
from cofire.assessment.windows import STUDIO_GASES
from cofire.display import small_table
from cofire.errors import InputError, UnknownName
from cofire.firing.program import known_gas, read_firing
from cofire.given import (
    USUAL_KILN,
    AnyCard,
    AnyFiring,
    AnyKiln,
    AnyVessel,
    card,
    cards_for,
    kiln_of,
    several,
    shipped,
    vessel_of,
)
from cofire.materials.card import Card
from cofire.units import HOUR, celsius, counted
from cofire.vessel import Vessel

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from pandas import DataFrame

    from cofire.design.plan import Plan
    from cofire.production.job import Job

# ----------------------------------------------------------------------------------------------
# Two materials


@dataclass(frozen=True, repr=False)
class FiredPair:
    """Two materials along one firing.

    Attributes
    ----------
    mismatch
        Trace, histories, difference and events, in SI.
    """

    mismatch: Mismatch

    @property
    def cooled(self) -> float:
        """Strain stored on cooling, first minus second: below 0 the first is the shorter. [-]"""
        return self.mismatch.cooled

    def __repr__(self) -> str:
        first, second = self.mismatch.history.names
        return (
            f"<{first} with {second} in {self.mismatch.firing.name!r}: "
            f"{self.cooled * 1e6:+.0f} ppm when cold>"
        )

    def to_frame(self) -> DataFrame:
        """One row a moment: both free strains, their difference, and what is stored of it.

        Returns
        -------
        DataFrame
            Columns time_h, temperature_C (of the ware), kiln_C, NAME_strain_percent of either,
            difference_percent, stored_ppm.
        """
        from pandas import DataFrame

        m = self.mismatch
        free = 100.0 * m.history.free_strain
        return DataFrame(
            {
                "time_h": m.trace.time / HOUR,
                "temperature_C": celsius(m.trace.ware),
                "kiln_C": celsius(m.trace.kiln),
                **{f"{n}_strain_percent": free[k] for k, n in enumerate(m.history.names)},
                "difference_percent": 100.0 * m.difference,
                "stored_ppm": 1e6 * m.stored,
            }
        )

    def plot(self) -> Figure:
        """Temperature, free strains, their difference and what is stored of it, over time.

        Returns
        -------
        Figure
            A notebook shows it.
        """
        from cofire.report.figures import mismatch_figure

        return mismatch_figure(self.mismatch)

    def _repr_html_(self) -> str:
        """The events of the firing, and what is stored when cold."""
        m = self.mismatch
        rows = (
            (e.name, e.zone or "both", f"{celsius(e.temperature):.0f}", f"{e.time / HOUR:.1f}")
            for e in m.events
        )
        head = ("event", "zone", "temperature_C", "time_h")
        held = (f"beyond its table: {line}" for line in m.history.extended)
        return small_table(repr(self)[1:-1], head, rows, held)


def mismatch(
    metal: AnyCard,
    body: AnyCard,
    firing: AnyFiring | None = None,
    *,
    cards: Mapping[str, Card] | None = None,
    gases: str | Sequence[str] = STUDIO_GASES,
    extend: bool = False,
) -> FiredPair:
    """What two materials do along one firing, and how far apart they are when cold.

    Parameters
    ----------
    metal, body : str, path, mapping or Card
        As for `cofire.card`.
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`; by default the middle of the window that they share.
    cards : mapping, optional
        Materials by name; by default the shipped ones.
    gases : str or sequence of str
        At hand, the preferred one first, where no firing is given.
    extend : bool
        Hold tables' last values beyond their rows; the result says so.

    Returns
    -------
    FiredPair
        With .cooled, .to_frame() and .plot().

    Raises
    ------
    InputError
        They share no firing, or the firing is hotter than a table reaches.

    Examples
    --------
    >>> import cofire as cf
    >>> pair = cf.mismatch("copper", "talc body", [(420, 60, 60), (950, 150, 120)])
    >>> pair.cooled < -1e-3  # copper contracts more, by over 1000 ppm
    True
    >>> list(pair.to_frame().columns)[:3]
    ['time_h', 'temperature_C', 'kiln_C']
    """
    one, other = card(metal, cards), card(body, cards)
    if firing is None:
        names = tuple(known_gas(gas, "gases") for gas in several(gases))
        curve = shared_firing(one, other, kiln_of(USUAL_KILN), names)
    else:
        curve = read_firing(firing)
    return FiredPair(along(one, other, curve, extend))


def screen(
    metals: AnyCard | Iterable[AnyCard] | None = None,
    bodies: AnyCard | Iterable[AnyCard] | None = None,
    *,
    gases: str | Sequence[str] = STUDIO_GASES,
    kiln: AnyKiln = USUAL_KILN,
    cards: Mapping[str, Card] | None = None,
) -> DataFrame:
    """Which metals and bodies can share a firing, and how far apart they then are.

    Parameters
    ----------
    metals, bodies : str, path, mapping, Card, or several
        As for `cofire.card`; blends may stand on either side; by default all there are.
    gases : str or sequence of str
        At hand, the preferred one first: air, inert, carbon, hydrogen.
    kiln : str, path, mapping or Kiln
        As for `cofire.kiln`.
    cards : mapping, optional
        Materials by name; by default the shipped ones.

    Returns
    -------
    DataFrame
        One row a pair, the best first, with the units in the names of the columns.

    Raises
    ------
    InputError
        No such material, kiln or gas.

    Examples
    --------
    >>> import cofire as cf
    >>> table = cf.screen("copper", ["talc body", "fritted body"], gases="carbon")
    >>> sorted(table["ceramic"])
    ['fritted body', 'talc body']
    >>> table[["verdict", "peak_C", "cooled_mismatch_ppm"]].shape
    (2, 3)
    """
    from pandas import DataFrame

    from cofire.report.pairs import COLUMNS, row

    known = shipped() if cards is None else cards
    sides = [
        [card(one, known) for one in several(given)]
        or [one for one in known.values() if one.kind == kind]
        for kind, given in (("metal", metals), ("ceramic", bodies))
    ]
    for kind, side in zip(("metal", "ceramic"), sides, strict=True):
        for one in side:
            if one.kind not in (kind, "blend"):
                raise InputError(f"{one.name!r} is a {one.kind}; give a {kind} or a blend")
    names = tuple(known_gas(gas, "gases") for gas in several(gases))
    pairs = screened(sides[0], sides[1], kiln_of(kiln), names)
    return DataFrame([row(pair) for pair in pairs], columns=list(COLUMNS))


# ----------------------------------------------------------------------------------------------
# One vessel


@dataclass(frozen=True, repr=False)
class FiredVessel:
    """A vessel through its firing.

    Attributes
    ----------
    result
        Fired and judged as it will be printed.
    """

    result: Check

    @property
    def response(self) -> Response:
        """Trace, histories and stress of what will be printed, in SI."""
        return self.result.printed

    @property
    def vessel(self) -> Vessel:
        """What was fired, with the bands as designed."""
        return self.result.vessel

    @property
    def _verdict(self) -> Verdict:
        return self.result.verdict

    def check(self) -> Verdict:
        """Go, caution or no: every rule applied, the worst flag first.

        Returns
        -------
        Verdict
            With .word, .deciding, .worst and .flags.
        """
        return self._verdict

    def __repr__(self) -> str:
        flag = self._verdict.deciding
        return f"<{self.vessel.name!r} fired: {self._verdict.word}, {flag.rule} in {flag.zone}>"

    def text(self) -> str:
        """The verdict, its reasons and the cautions, as `cofire check` prints them.

        Returns
        -------
        str
            Several lines.
        """
        from cofire.report.verdict import as_text

        return as_text(self.result, cautions(self.response))

    def to_frame(self, of: str = "flags") -> DataFrame:
        """A table of all flags, or of the stress in each band.

        Parameters
        ----------
        of : str
            "flags" or "bands".

        Returns
        -------
        DataFrame
            One row a flag, the worst first, or one a band, from the foot up; units in the names
            of the columns.

        Raises
        ------
        UnknownName
            A table of something else.
        """
        from pandas import DataFrame

        from cofire.report.verdict import flag_row

        if of == "flags":
            return DataFrame([flag_row(flag) for flag in self._verdict.flags])
        if of != "bands":
            raise UnknownName("table", of, ("flags", "bands"))
        found = band_stresses(self.response)
        return DataFrame(
            {
                "band": k + 1,
                "material": stress.worst.material,
                "from_mm": 1e3 * band.low,
                "to_mm": 1e3 * band.high,
                "tension_MPa": stress.worst.tension / 1e6,
                "time_h": stress.worst.time / HOUR,
                "temperature_C": celsius(stress.worst.temperature),
                "height_mm": 1e3 * stress.worst.height,
                "direction": stress.worst.direction,
                "cold_tension_MPa": stress.cold.tension / 1e6,
                "bending_tension_MPa": stress.bending / 1e6,
                "step_tension_MPa": stress.step / 1e6,
            }
            for k, (band, stress) in enumerate(zip(self.response.vessel.bands, found, strict=True))
        )

    def plot(self) -> Figure:
        """Tension of each band over time, and the stress of the wall at its worst and when cold.

        Returns
        -------
        Figure
            A notebook shows it.
        """
        from cofire.report.stress import stress_figure

        return stress_figure(self.response, band_stresses(self.response))

    def _repr_html_(self) -> str:
        """The verdict with all flags, and the cautions."""
        held = (f"beyond its table: {line}" for line in self.response.history.extended)
        told = (f"{c.hazard}: {c.text} [{c.source}]" for c in cautions(self.response))
        head = small_table(repr(self)[1:-1], ("caution",), ((line,) for line in (*held, *told)))
        return self._verdict._repr_html_() + head


def fire(
    vessel: AnyVessel,
    firing: AnyFiring | None = None,
    *,
    cards: Mapping[str, Card] | None = None,
    extend: bool = False,
) -> FiredVessel:
    """A vessel through its firing: the stress in it, and whether it survives.

    Parameters
    ----------
    vessel : path, mapping or Vessel
        As for `cofire.read_vessel`.
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`; by default the vessel's own.
    cards : mapping, optional
        Materials by name; by default the shipped ones and those of its tables.
    extend : bool
        Hold tables' last values beyond their rows; the result says so.

    Returns
    -------
    FiredVessel
        With .check(), .to_frame(), .plot() and .text().

    Raises
    ------
    InputError
        An unknown material, or a firing beyond a card's tables.

    Examples
    --------
    >>> import cofire as cf
    >>> fired = cf.fire(cf.example_vessel())
    >>> fired.check().word
    'no'
    >>> table = fired.to_frame("bands")
    >>> list(table["material"])
    ['fine silver', 'fritted body']
    >>> bool((table["tension_MPa"] > 0).all())
    True
    """
    given = vessel_of(vessel, firing)
    return FiredVessel(check_vessel(given, cards_for(given.tables, cards), extend=extend))


@dataclass(frozen=True, repr=False)
class PlannedVessel:
    """A vessel as it was given, and as it is proposed to be laid and fired.

    Attributes
    ----------
    plan
        The searches and what they found.
    """

    plan: Plan

    @cached_property
    def given(self) -> FiredVessel:
        """The vessel as it was given."""
        return FiredVessel(self.plan.given)

    @cached_property
    def proposed(self) -> FiredVessel:
        """The vessel with the proposed layers and firing."""
        return FiredVessel(self.plan.proposal)

    @property
    def vessel(self) -> Vessel:
        """The proposal: bands and firing."""
        return self.plan.vessel

    def check(self) -> Verdict:
        """The verdict on the proposal.

        Returns
        -------
        Verdict
            With .word, .deciding, .worst and .flags.
        """
        return self.plan.verdict

    def to_frame(self) -> DataFrame:
        """The proposed bands, from the foot up, with the stress in each.

        Returns
        -------
        DataFrame
            As of a fired vessel.
        """
        return self.proposed.to_frame("bands")

    def plot(self) -> Figure:
        """The stress of the proposal.

        Returns
        -------
        Figure
            A notebook shows it.
        """
        return self.proposed.plot()

    def text(self) -> str:
        """The plan as `cofire plan` prints it.

        Returns
        -------
        str
            Several lines.
        """
        from cofire.report.plan import plan_text

        return plan_text(self.plan)

    def __repr__(self) -> str:
        before, after = self.plan.given.verdict, self.plan.verdict
        return (
            f"<Plan of {self.vessel.name!r}: {before.word} as given, utilisation "
            f"{before.utilisation:.2f}; {after.word} as proposed, {after.utilisation:.2f}, "
            f"{counted(len(self.vessel.bands), 'band')}>"
        )

    def _repr_html_(self) -> str:
        """The proposal's bands, verdict and cautions."""
        rows = (
            (band.material, f"{1e3 * band.low:.1f}", f"{1e3 * band.high:.1f}")
            for band in self.vessel.bands
        )
        table = small_table(repr(self)[1:-1], ("material", "from_mm", "to_mm"), rows)
        return table + self.proposed._repr_html_()


def plan(
    vessel: AnyVessel,
    firing: AnyFiring | None = None,
    *,
    cards: Mapping[str, Card] | None = None,
    extend: bool = False,
    effort: float = 1.0,
    executor: Executor | None = None,
    tell: Callable[[str], None] | None = None,
) -> PlannedVessel:
    """Graded layers and a firing with which a vessel is likeliest to be kept.

    A search of some ten minutes for eight blends on one core, less on several.

    Parameters
    ----------
    vessel : path, mapping or Vessel
        As for `cofire.read_vessel`; of one metal and one ceramic, at one joint or two.
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`; by default the vessel's own.
    cards : mapping, optional
        Materials by name; by default the shipped ones and those of its tables.
    extend : bool
        Hold tables' last values beyond their rows.
    effort : float
        Factor on the designs and samples that are tried; less is sooner and rougher. [-]
    executor : Executor, optional
        Who fires and checks, such as a `ProcessPoolExecutor`: the plan is the same on any.
    tell : callable, optional
        Is given one line about each stage: `tell=print` shows how far it is.

    Returns
    -------
    PlannedVessel
        With .vessel, .check(), .to_frame(), .plot() and .text().

    Raises
    ------
    CofireError
        The zones share no firing, or there is nothing to plan.

    Examples
    --------
    >>> from dataclasses import replace
    >>> import cofire as cf
    >>> vase = cf.example_vessel()
    >>> sharp = replace(vase, joint=replace(vase.joint, blends=0))
    >>> planned = cf.plan(sharp, effort=0.05)  # doctest: +SKIP
    >>> planned.check().word  # doctest: +SKIP
    'no'

    Only the firing was free there, and a search as rough as that takes half a minute.
    """
    from cofire.design.plan import propose

    given = vessel_of(vessel, firing)
    known = cards_for(given.tables, cards)
    return PlannedVessel(
        propose(given, known, extend=extend, tell=tell, executor=executor, effort=effort)
    )


@dataclass(frozen=True, repr=False)
class PrintJob:
    """What goes to the printer and the kiln.

    Attributes
    ----------
    job
        Print, pastes, changeovers and test pieces, in SI.
    """

    job: Job

    def check(self) -> Verdict:
        """The verdict on the vessel as it will be printed, changes of paste and all.

        Returns
        -------
        Verdict
            With .word, .deciding, .worst and .flags.
        """
        return self.job.verdict

    def to_frame(self, of: str = "batches") -> DataFrame:
        """A table of what to weigh, of the bands, the changeovers, the print or the test pieces.

        Parameters
        ----------
        of : str
            "batches", "bands", "changeovers", "green" or "pieces".

        Returns
        -------
        DataFrame
            As the files of `cofire make` have it, units in the names of the columns.

        Raises
        ------
        UnknownName
            A table of something else.
        """
        import io

        from pandas import read_csv

        from cofire.report import job as tables

        known = {
            "batches": tables.batches_csv, "bands": tables.bands_csv, "green": tables.green_csv,
            "changeovers": tables.changeovers_csv, "pieces": tables.pieces_csv,
        }  # fmt: skip
        if of not in known:
            raise UnknownName("table", of, known)
        return read_csv(io.StringIO(known[of](self.job)))

    def plot(self) -> Figure:
        """The section of the print at true scale.

        Returns
        -------
        Figure
            A notebook shows it.
        """
        from cofire.report.job_figures import section_figure

        return section_figure(self.job)

    def text(self) -> str:
        """What to print, weigh and test, as `cofire make` prints it.

        Returns
        -------
        str
            Several lines.
        """
        from cofire.report.job import job_text

        return job_text(self.job)

    def sheet(self) -> str:
        """The firing sheet.

        Returns
        -------
        str
            One HTML page.
        """
        from cofire.report.sheet import write_sheet

        return write_sheet(self.job)

    def write(self, folder: str | os.PathLike[str], force: bool = False) -> None:
        """Write all files for the printer into a folder, whole or not at all.

        Parameters
        ----------
        folder : path
            The folder.
        force : bool
            Whether a folder of an earlier run may be replaced.

        Raises
        ------
        InputError
            The folder exists and may not be replaced, or cannot be written.
        """
        from cofire.report.job_files import write_making

        write_making(self.job, folder, force)

    def __repr__(self) -> str:
        return (
            f"<Job of {self.job.response.vessel.name!r}: {self.check().word} as printed, "
            f"{len(self.job.batches)} batches, {len(self.job.pieces)} test pieces>"
        )

    def _repr_html_(self) -> str:
        """What to weigh, and the vessel's verdict and cautions."""
        table = self.to_frame()
        rows = table.astype(object).where(table.notna(), None).values.tolist()
        weighed = small_table(repr(self)[1:-1], [str(c) for c in table.columns], rows)
        return weighed + FiredVessel(self.job.check)._repr_html_()


def job(
    vessel: AnyVessel,
    firing: AnyFiring | None = None,
    *,
    cards: Mapping[str, Card] | None = None,
    extend: bool = False,
) -> PrintJob:
    """What to print, weigh, change over and test so that a vessel fires to size.

    Parameters
    ----------
    vessel : path, mapping or Vessel
        As for `cofire.read_vessel`; a plan's .vessel is one.
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`; by default the vessel's own.
    cards : mapping, optional
        Materials by name; by default the shipped ones and those of its tables.
    extend : bool
        Hold tables' last values beyond their rows.

    Returns
    -------
    PrintJob
        With .check(), .to_frame(), .plot(), .text(), .sheet() and .write(folder).

    Raises
    ------
    CofireError
        The vessel cannot be fired or printed.

    Examples
    --------
    >>> import cofire as cf
    >>> ring = cf.read_vessel(
    ...     {
    ...         "name": "ring",
    ...         "profile": {"shape": "cylinder", "radius_mm": 20, "height_mm": 30, "wall_mm": 2},
    ...         "band": [{"material": "fine silver"}],
    ...     },
    ...     firing=[(420, 60, 60), (880, 150, 60)],
    ... )
    >>> weigh = cf.job(ring).to_frame()
    >>> list(weigh[weigh["for"] == "the vessel"]["ingredient"])
    ['fine silver', 'binder', 'water']
    """
    from cofire.production.job import job_for

    return PrintJob(job_for(fire(vessel, firing, cards=cards, extend=extend).result))
