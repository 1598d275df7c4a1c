"""A plan as text, JSON and a folder."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cofire import __version__
from cofire.assessment.check import Check
from cofire.assessment.response import band_stresses
from cofire.assessment.rule import GO, GRADE, Flag
from cofire.assessment.verdict import Verdict
from cofire.assessment.windows import ceiling
from cofire.design.fired_size import in_fired_size
from cofire.design.layers import LayerSearch, Trial, trade_off
from cofire.design.plan import TENFOLD, Plan, Scan
from cofire.design.schedule import Schedule
from cofire.design.transition import Layout
from cofire.errors import CofireError
from cofire.firing.controller import presence_words, set_words
from cofire.firing.kiln import trace
from cofire.firing.program import FULL, Kiln
from cofire.production.job import job_for, pure_materials
from cofire.production.paste import Cost
from cofire.production.trade_off import PROPOSED, costs_of
from cofire.report import figures
from cofire.report import stress as stress_text
from cofire.report.apart import apart_files, apart_lines, apart_row, apart_short
from cofire.report.designs import (
    ALMOST,
    LITTLE,
    NO_COSTS,
    TAPER_FILE,
    decide_line,
    designs_row,
    designs_text,
    margins_lines,
    margins_row,
    odds_line,
    percent,
    recipe_row,
    recipes_lines,
    taper_lines,
    taper_row,
)
from cofire.report.firing import kiln_csv
from cofire.report.imperial import as_set
from cofire.report.job import cost_line
from cofire.report.job_figures import firing_figure
from cofire.report.pot import pot_figure
from cofire.report.read_again import (
    NO_KILNS,
    bands_csv,
    firing_csv,
    firing_toml,
    in_its_degrees,
    planned_vessel,
    tapered_vessel,
)
from cofire.report.sheet import write_sheet
from cofire.report.stress import designs_figure, stress_figure, trade_off_figure
from cofire.report.verdict import (
    as_stress,
    decided,
    ends_line,
    flag_row,
    measured,
    passed_too,
    taken,
)
from cofire.report.writing import replace_folder, wrapped
from cofire.units import HOUR, MINUTE, celsius, counted
from cofire.vessel import FIXED, FREE, Vessel, is_blend
from cofire.workers import each

if TYPE_CHECKING:
    from matplotlib.figure import Figure


# ----------------------------------------------------------------------------------------------
# A plan as one JSON object

SCHEMA = 1


def plan_json(plan: Plan, costs: Mapping[int, Cost] = NO_COSTS) -> str:
    """The plan as one JSON object with its schema number.

    Parameters
    ----------
    plan : Plan
        From `propose`.
    costs : mapping
        Of each number of changes of paste, from `costs_of`; none without prices.

    Returns
    -------
    str
        Ends in a new line.
    """
    vessel = plan.vessel
    before, after = plan.probabilities
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": vessel.name,
        "finished": plan.finished,
        "as_given": {
            "verdict": plan.given.verdict.word,
            "utilisation": _rounded(plan.given.verdict.utilisation),
            "utilisation_of": plan.given.verdict.most_used.rule,
            "decided_by": plan.given.verdict.deciding.rule,
            "crack_probability": _rounded(before),
            "breaks": list(plan.given_breaks),
        },
        "verdict": plan.verdict.word,
        "utilisation": _rounded(plan.verdict.utilisation),
        "utilisation_of": plan.verdict.most_used.rule,
        "decided_by": plan.verdict.deciding.rule,
        "crack_probability": _rounded(after),
        "flags": [flag_row(flag) for flag in plan.verdict.flags],
        "bands": [
            {"material": b.material, "from_mm": _mm(b.low), "to_mm": _mm(b.high)}
            for b in vessel.bands
        ],
        **_transitions(plan.layout),
        "designs": designs_row(plan.designs, plan.odds, costs, plan.as_designed),
        "measure_first": [
            {"material": f.material, "property": f.name, "share": round(share, 3)}
            for f, share in plan.decide
        ],
        "recipes": [recipe_row(recipe) for recipe in plan.recipes],
        "limits": _limits(plan.layers),
        "nothing_below": _scan(plan.scan),
        "margins": margins_row(plan.margins),
        "firing": [
            {
                "to_C": round(celsius(s.target), 3),
                "rate_C_per_h": round(s.rate * HOUR, 3) if s.rate < math.inf else FULL,
                "hold_min": round(s.hold / MINUTE, 3),
            }
            | ({"gas": s.gas} if s.gas else {})
            for s in vessel.firing.segments
        ],
        "why": [c.reason for c in plan.schedule.choices] if plan.schedule else None,
        "cost": None if PROPOSED not in costs else round(costs[PROPOSED].total, 2),
        "hours": round(float(plan.proposal.printed.trace.time[-1]) / HOUR, 2),
        "gas": vessel.firing.gas_words,
        "kiln": vessel.firing.kiln.name,
        "controller": set_words(vessel.firing) or None,
        "latest_h": _hours(vessel.firing.latest),
        "trade_off": _layouts(plan),
        "alternatives": [
            {
                "what": a.what,
                "verdict": a.verdict.word if a.verdict else None,
                "utilisation": _rounded(a.utilisation) if a.verdict else None,
                "set_by": a.verdict.most_used.rule if a.verdict else None,
                "note": a.note,
            }
            for a in plan.alternatives
        ],
        "taper": taper_row(plan.taper),
        "apart": apart_row(plan.apart),
        "mesh_error": float(f"{plan.proposal.printed.fired.mesh_error:.3g}"),
        "step_error_MPa": float(f"{plan.proposal.printed.fired.step_error.max() / 1e6:.3g}"),
        "beyond_tables": list(plan.proposal.printed.history.extended),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _layouts(plan: Plan) -> list[dict[str, object]]:
    """What more layers buy, where no designs were searched: those are in "designs"."""
    if plan.layers is None or plan.designs is not None:
        return []
    return [_trial(trial) for trial in trade_off(plan.layers)]


def _hours(time: float) -> float | None:
    return round(time / HOUR, 2) if math.isfinite(time) else None


def _transitions(layout: Layout) -> dict[str, object]:
    """The transition, or those of two joints with their names."""
    rows: list[dict[str, object]] = [
        {
            "blends_percent_metal": list(one.shares),
            "height_mm": _mm(one.total),
            "heights_mm": [_mm(height) for height in one.each],
            "middle_mm": _mm(one.middle),
        }
        for one in layout.joints
    ]
    if layout.upper is None:
        return {"transition": rows[0]}
    names = [name for name, _ in layout.named]
    return {"transitions": [{"joint": name} | row for name, row in zip(names, rows, strict=True)]}


def _limits(search: LayerSearch | None) -> dict[str, object] | None:
    if search is None:
        return None
    return {
        "decay_length_mm": _mm(search.decay_length),
        "least_band_mm": _mm(search.least_height),
        "bounds": list(search.bounds),
    }


def _scan(scan: Scan | None) -> dict[str, object] | None:
    if scan is None:
        return None
    return {
        "layouts": scan.layouts,
        "least_load": _rounded(scan.least),
        "crack_probability": _rounded(scan.probability),
    }


def _trial(trial: Trial) -> dict[str, object]:
    rows = [
        {
            "blends_percent_metal": list(one.shares),
            "height_mm": _mm(one.total),
            "middle_mm": _mm(one.middle),
        }
        for one in trial.layout.joints
    ]
    named = zip(trial.layout.named, rows, strict=True)
    own = rows[0] if len(rows) == 1 else {"joints": [{"joint": n} | row for (n, _), row in named]}
    return own | {
        "utilisation": _rounded(trial.utilisation),
        "set_by": trial.worst.rule,
    }


def _mm(length: float) -> float:
    return round(length * 1e3, 4)


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")


# ----------------------------------------------------------------------------------------------
# A plan, its layers and its schedule as a person reads them


def layout_line(trial: Trial, decay: float) -> str:
    """One trial in a line a joint: blends, heights, place, utilisation and what sets it.

    Parameters
    ----------
    trial : Trial
        From the search.
    decay : float
        Decay length of the wall. [m]

    Returns
    -------
    str
        Heights also in decay lengths.
    """
    lines = []
    for which, t in trial.layout.named:
        blends = " ".join(f"{s}" for s in t.shares) or "none"
        blends += f", {which}" if which else ""
        lines.append(
            f"{len(t.shares):>6} {blends:<24} {t.total * 1e3:7.1f} {t.total / decay:6.2f} "
            f"{t.middle * 1e3:7.1f}"
        )
    lines[0] += f" {trial.utilisation:6.3g}  {trial.worst.rule}"
    return "\n".join(lines)


def layout_words(layout: Layout, decay: float) -> str:
    """A layout in a clause.

    Parameters
    ----------
    layout : Layout
        Of one joint or two.
    decay : float
        Decay length of the wall. [m]

    Returns
    -------
    str
        With its units.
    """
    told = []
    for which, t in layout.named:
        what = "a direct joint"
        if t.shares:
            shares = " ".join(map(str, t.shares))
            count = f"{len(t.shares)} blend{'s' if len(t.shares) > 1 else ''}"
            what = (
                f"{count} with {shares} % of metal over {t.total * 1e3:.1f} mm "
                f"({t.total / decay:.2f}/β), its middle"
            )
        at = f"{which}: " if which else ""
        told.append(f"{at}{what} {t.middle * 1e3:.1f} mm up")
    return "; ".join(told)


def proposed_lines(search: LayerSearch, kept: Layout) -> list[str]:
    """What is proposed and, where that is another, what uses up least of these.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.
    kept : Layout
        That a plan ends with; the best of the search where nothing came after it.

    Returns
    -------
    list of str
        A sentence each.
    """
    best, decay = search.best, search.decay_length
    used = f"utilisation {best.utilisation:.3g}, set by {best.worst.rule} of {best.worst.zone}"
    if kept == best.layout:
        return [f"proposed: {layout_words(kept, decay)}; {used}"]
    own = next((t for t in search.trials if t.layout == kept), None)
    among = "" if own is None else f"; here {own.utilisation:.3g}, set by {own.worst.rule}"
    return [
        f"proposed, for what it comes to in its own firing: {layout_words(kept, decay)}{among}",
        f"least used up here, in one firing for all: {layout_words(best.layout, decay)}; {used}",
    ]


def layers_text(search: LayerSearch, kept: Layout | None = None) -> str:
    """What more blends and more height buy.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.
    kept : Layout, optional
        That a plan ends with; by default the best of the search.

    Returns
    -------
    str
        Ends in a new line.
    """
    decay, best = search.decay_length, search.best
    kept = kept or best.layout
    lines = [
        f"{'blends':>6} {'metal, % of volume':<24} {'tall mm':>7} {'in 1/β':>6} {'mid mm':>7} "
        f"{'used':>6}  set by",
        *(layout_line(trial, decay) for trial in trade_off(search)),
        *no_gain(search),
        "",
        *(line for told in proposed_lines(search, kept) for line in wrapped(told, 2)),
        "",
        *wrapped(
            "utilisation: largest share used up of a limit that layers can change, 1 at the "
            "limit, solved "
            "as coarsely as a search is. "
            f"1/β = {decay * 1e3:.1f} mm, the length over which the wall forgets a joint."
        ),
        *wrapped(
            f"least band {search.least_height * 1e3:.1f} mm: the smear of a change of paste, as "
            "small as that paste becomes when fired, in whole layers."
        ),
    ]
    for bound in search.bounds:
        lines += wrapped(bound)
    if search.lost:
        count = len(search.lost)
        lines += wrapped(
            f"{count} layout{'s' if count > 1 else ''} left out of {count + len(search.trials)} "
            f"(cannot be cut into a mesh, or not solved), the first because of: {search.lost[0]}."
        )
    if best.floor.grade > GO:
        lines += wrapped(f"Whatever the layers: {against(best.floor)}. {best.floor.remedy}")
    for which, one in kept.named:
        if 0.0 < one.total < decay and not any("too short" in b for b in search.bounds):
            what = f"The transition of the {which}" if which else "This transition"
            lines += wrapped(
                f"{what} is {one.total / decay:.2f} of 1/β tall: it softens the step "
                "but is too short to matter for the bending."
            )
    if not search.finished:
        lines.append("Interrupted: the best so far.")
    return "\n".join(lines) + "\n"


def no_gain(search: LayerSearch) -> list[str]:
    """The numbers of blends that were tried and buy nothing over fewer, with the best of each.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    list of str
        Lines of one sentence; none where every number pays.
    """
    paying = {trial.layout.blends for trial in trade_off(search)}
    least: dict[int, float] = {}
    for trial in search.trials:
        count = trial.layout.blends
        least[count] = min(trial.utilisation, least.get(count, trial.utilisation))
    idle = [
        f"{n} at {utilisation:.3g}" for n, utilisation in sorted(least.items()) if n not in paying
    ]
    both = ", of both joints" if search.best.layout.upper is not None else ""
    return wrapped(f"no gain over fewer{both}: {', '.join(idle)}", 7) if idle else []


def segments_text(schedule: Schedule) -> str:
    """Segments with the flag that sets each, in the degrees of the kiln's controller.

    Parameters
    ----------
    schedule : Schedule
        From `propose_schedule`.

    Returns
    -------
    str
        One a segment, and a heading.
    """
    controller = schedule.firing.kiln.controller
    unit = "°F" if controller.fahrenheit else "°C"
    lines = [f"{'to':>7} {'rate':>9} {'hold':>8}   why"]
    for choice in schedule.choices:
        s = choice.segment
        rate, to, hold = in_its_degrees(s, controller)
        rate += f" {unit}/h" if s.rate < float("inf") else ""
        head = f"{to:>4} {unit} {rate:>9} {hold:>4} min   "
        head += f"{s.gas}: " if s.gas else ""
        lines += wrapped(head.replace(" ", "\u00a0") + choice.reason, len(head))
    return "\n".join(lines).replace("\u00a0", " ")


def schedule_text(schedule: Schedule) -> str:
    """Segments with the flag that sets each, and what else to know of the firing.

    Parameters
    ----------
    schedule : Schedule
        From `propose_schedule`.

    Returns
    -------
    str
        Ends in a new line.
    """
    lines = [segments_text(schedule)]
    lines += wrapped(
        f"then cooling shut; {schedule.hours:.0f} h until cold, utilisation "
        f"{schedule.utilisation:.3g}, "
        f"{counted(schedule.tried, 'firing')} tried. "
        + (
            "Of all tried it keeps most pots for its length."
            if schedule.outcome is not None
            else "The shortest that keeps every flag at its target."
            if schedule.reached
            else "No firing tried brings every flag to its target; this one comes nearest."
        )
    )
    firing = schedule.firing
    for words in filter(None, (set_words(firing), presence_words(firing, trace(firing)))):
        lines += wrapped(words)
    if not schedule.finished:
        lines.append("Interrupted: the best so far.")
    return "\n".join(lines) + "\n"


def nearer_line(plan: Plan) -> str:
    """Why a vessel that does better as given is not proposed.

    Parameters
    ----------
    plan : Plan
        From `propose`.

    Returns
    -------
    str
        A sentence; empty where it does not do better.
    """
    before, after = plan.odds
    fewer = 0
    if before is not None and after is not None:
        fewer = round(100.0 * (before.chance - after.chance))
    nearer = plan.given.verdict.utilisation < plan.verdict.utilisation
    if not nearer and fewer <= 0:
        return ""
    told = f"As given {fewer} in a hundred pots more are kept" if fewer > 0 else ""
    told = told or "As given it uses up less of its limits"
    if plan.given_breaks:
        return (
            f"{told}, but it breaks limits of its own: {', '.join(map(_limit, plan.given_breaks))}."
        )
    if fewer > 0:
        return f"{told}; too few to tell them apart, and of those kept fewer are without a fault."
    return ""


LIMITS = {
    "blends": "blends", "roads": "roads and wall_mm", "height": "height_mm",
    "position": "lowest_mm, highest_mm", "keep": "keep_mm", "pure": "keep_mm", "peak": "to_C",
    "controller": "[controller]", "latest hour": "latest_h",
}  # fmt: skip
"""Fields of the files by which a maker moves a limit that a vessel breaks as it is drawn."""


def _limit(name: str) -> str:
    """A limit that is broken, with the field that moves it."""
    key, _, joint = name.partition(" (")
    told = ", ".join(filter(None, (LIMITS.get(key), joint.rstrip(")"))))
    return f"{key} ({told})" if told else name


def decided_all(verdict: Verdict, how: str = "") -> str:
    """What decides a verdict, and each other limit that it passes.

    Parameters
    ----------
    verdict : Verdict
        From `judge`.
    how : str
        What decides, in figures; by default it is not told.

    Returns
    -------
    str
        With a full stop: what decides may be less used up than what another verdict passes too.
    """
    told = f"{decided(verdict)}; {how}." if how else f"{decided(verdict)}."
    return " ".join(filter(None, (told, passed_too(verdict))))


def plan_text(plan: Plan, costs: Mapping[int, Cost] = NO_COSTS) -> str:
    """The plan in a screenful.

    Parameters
    ----------
    plan : Plan
        From `propose`.
    costs : mapping
        Of each number of changes of paste, from `costs_of`; none without prices.

    Returns
    -------
    str
        Ends in a new line.
    """
    vessel, given = plan.vessel, plan.given.vessel
    before, after = plan.probabilities
    lines = [
        f"{plan.verdict.word.upper()}: {vessel.name}"
        + ("" if plan.finished else " (interrupted: the best so far)"),
        *wrapped(
            f"As given: {decided_all(plan.given.verdict)} "
            f"Proposed: {decided_all(plan.verdict, against(plan.verdict.deciding))}"
        ),
        *(wrapped(taken(given.firing)) if given.left_open is not None else ()),
        *wrapped(
            f"Probability of a crack on cooling, were the cards right: {percent(before)} as given, "
            f"{percent(after)} as proposed."
        ),
    ]
    lines += wrapped(" ".join(filter(None, (odds_line(plan.odds), decide_line(plan.decide)))))
    if plan.apart is not None:
        lines += wrapped(apart_short(plan.apart))
    for line in plan.proposal.printed.history.extended:
        lines += wrapped(f"Beyond its table: {line}.")
    lines += wrapped(nearer_line(plan))
    if plan.scan is not None:
        lines += wrapped(scan_text(plan.scan, plan.verdict.crack_probability))
    for line in margins_lines(plan.margins):
        lines += wrapped(line)
    lines += ["", "bands, from the foot up (fired size):"]
    held = holds(vessel)
    lines += [
        f"  {b.low * 1e3:5.1f}-{b.high * 1e3:5.1f} mm  {b.material} ({how})"
        for b, how in zip(vessel.bands, held, strict=True)
    ]
    lines += wrapped(ends_line(plan.proposal))
    if words := roads_words(plan):
        lines += wrapped(words)
    lines += wrapped(
        'Each end band may have height = "fixed", "at least" or "free" in the file; without it and '
        "without a place in [joint], the less tall of the two is fixed as written, or gives the "
        "room where a word holds the other."
        if vessel.upper is None
        else 'Each band of one paste may have height = "fixed", "at least" or "free" in the file; '
        "without it and without a place in [joint], the one in the middle is fixed as written, or "
        "the ends where it is the highest, unless a word holds another band."
    )
    if plan.recipes:
        lines += ["", "pastes that would keep more, in the same layout and firing:"]
        lines += [row for text in recipes_lines(plan.recipes) for row in wrapped(text, 2)]
    if plan.designs is not None:
        currency = vessel.prices.currency if vessel.prices is not None else ""
        lines += ["", designs_text(plan.designs, costs, currency, plan.as_designed).rstrip()]
        if plan.layers is not None:
            for bound in plan.layers.bounds:
                lines += [] if "1/β" in bound else wrapped(bound)
            floor = plan.layers.best.floor
            if floor.grade > GO:
                lines += wrapped(f"Whatever the layers: {against(floor)}. {floor.remedy}")
    elif plan.layers is not None:
        lines += ["", layers_text(plan.layers, plan.layout).rstrip()]
    if plan.schedule is not None:
        lines += [
            "",
            f"firing in {vessel.firing.gas_words}:",
            schedule_text(plan.schedule).rstrip(),
        ]
    else:
        lines += ["", "firing: as given"]
    if price := costs.get(PROPOSED):
        lines += ["", *wrapped(f"As proposed, {cost_line(price, vessel.prices)}.")]
    if vessel.free.materials:
        lines += wrapped(
            f"Offered is only what the file names: {', '.join(vessel.free.materials)}."
        )
    if plan.alternatives:
        lines += ["", "instead, with the utilisation each would reach:"]
        for a in plan.alternatives:
            figure = "not to be had"
            if a.verdict is not None:
                figure = (
                    f"{a.verdict.word}, utilisation {a.utilisation:.3g} "
                    f"({a.verdict.most_used.rule})"
                )
            note = f"; {a.note}" if a.note else ""
            lines += [f"  {row}" for row in wrapped(f"{a.what}: {figure}{note}", 2)]
    if plan.taper is not None:
        lines += ["", "or the metal thinned towards the joint:"]
        lines += [f"  {row}" for text in taper_lines(plan.taper) for row in wrapped(text, 2)]
    if plan.apart is not None:
        lines += ["", "or the zones apart, one standing free on the other:"]
        lines += [f"  {row}" for text in apart_lines(plan.apart) for row in wrapped(text, 2)]
    return "\n".join(lines).rstrip() + "\n"


def roads_words(plan: Plan) -> str:
    """How many whole roads the proposed wall is, where the file asks for whole ones.

    Parameters
    ----------
    plan : Plan
        From `propose`.

    Returns
    -------
    str
        A sentence; empty where any wall will do.
    """
    vessel = plan.vessel
    if not vessel.free.roads:
        return ""
    cards = pure_materials(plan.proposal.designed)
    road = in_fired_size(vessel, cards[0], cards[-1]).printer.nozzle
    wall = float(vessel.wall[-1])
    count = round(wall / road)
    return (
        f"The wall of {1e3 * wall:.3f} mm is {count} whole road{'s' * (count > 1)} of "
        f"{1e3 * vessel.printer.nozzle:g} mm, each {1e3 * road:.3f} mm wide when fired, in the "
        "mean of both pastes."
    )


def holds(vessel: Vessel) -> list[str]:
    """What a plan was free to do with each band's height, in words.

    Parameters
    ----------
    vessel : Vessel
        With its limits.

    Returns
    -------
    list of str
        One a band, from the foot up.
    """
    joint, last = vessel.joint, vessel.upper or vessel.joint
    words = [FREE] * len(vessel.bands)
    ends = [(0, joint.foot, joint.foot_height), (-1, last.rim, last.rim_height)]
    if vessel.upper is not None:
        middle = [k for k, b in enumerate(vessel.bands) if not is_blend(b.material)][1]
        ends.append((middle, joint.rim, joint.rim_height))
    for at, how, height in ends:
        if how != FREE:
            words[at] = f"{how}{' at' if how == FIXED else ''} {1e3 * height:g} mm"
    return words


def scan_text(scan: Scan, proposed: float) -> str:
    """What no layout within the limits goes below.

    Parameters
    ----------
    scan : Scan
        Of the whole coarse grid, or of all designs tried.
    proposed : float
        Probability of a crack as proposed. [-]

    Returns
    -------
    str
        One sentence or two and their evidence.
    """
    least = percent(min(max(scan.probability, LITTLE), ALMOST))
    tried = (
        f"{scan.layouts} designs of every number of pastes that has a place, free in shares, "
        "heights and place, were fired; the least of their limits used up, on the search's coarse "
        f"mesh, is {scan.least:.3g}."
    )
    if proposed >= TENFOLD * scan.probability:  # another rule forbids what cooling alone would ask
        return (
            f"Some design within the limits would bring the probability of a crack on cooling to "
            f"{least} in this firing, but other limits hold that one worse than this plan. {tried}"
        )
    return (
        f"Nothing within the limits brings the probability of a crack below {least} in this "
        f"firing: {tried}"
    )


def against(flag: Flag) -> str:
    """A flag in a few words: figure against limit, or why there is none.

    Parameters
    ----------
    flag : Flag
        From a verdict.

    Returns
    -------
    str
        Without a full stop.
    """
    if flag.utilisation != flag.utilisation:
        return f"{flag.rule}, {flag.zone}: {flag.note}"
    if flag.unit == GRADE:
        return f"{flag.rule}, {flag.zone}: {flag.note}"
    return f"{flag.rule}, {flag.zone}: {measured(flag)}" + as_stress(flag)


# ----------------------------------------------------------------------------------------------
# The folder of a plan: written beside, then put in place whole


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
