"""A plan, its layers and its schedule as a person reads them."""

from __future__ import annotations

from cofire.inputs.units import MINUTE, celsius
from cofire.output.plan_tables import rate_text
from cofire.output.verdict_text import number
from cofire.output.writing import wrapped
from cofire.planning.flags import GO, Flag
from cofire.planning.proposals.layers import LayerSearch, trade_off
from cofire.planning.proposals.plan import Plan, Scan
from cofire.planning.proposals.schedule import Schedule
from cofire.planning.proposals.trials import Trial

ALMOST, LITTLE = 0.999, 1e-4
"""Chances beyond these are told as "above 99.9 %" and "below 0.01 %". [-]"""


def percent(chance: float) -> str:
    """A chance in per cent, without false digits near certainty.

    Parameters
    ----------
    chance : float
        [-]

    Returns
    -------
    str
        With its unit.
    """
    if chance > ALMOST:
        return f"above {100 * ALMOST:g} %"
    if chance < LITTLE:
        return f"below {100 * LITTLE:g} %"
    return f"{100 * chance:.{3 if chance >= 0.1 else 2}g} %"


def layout_line(trial: Trial, decay: float) -> str:
    """One trial in a line: blends, heights, place, load and what sets it.

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
    t = trial.layout
    blends = " ".join(f"{s}" for s in t.shares) or "none"
    return (
        f"{len(t.shares):>6} {blends:<24} {t.total * 1e3:7.1f} {t.total / decay:6.2f} "
        f"{t.middle * 1e3:7.1f} {trial.load:6.3g}  {trial.worst.rule}"
    )


def layers_text(search: LayerSearch) -> str:
    """What more blends and more height buy.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    str
        Ends in a new line.
    """
    decay, best = search.decay_length, search.best
    lines = [
        f"{'blends':>6} {'metal, % of volume':<24} {'tall mm':>7} {'in 1/β':>6} {'middle':>7} "
        f"{'load':>6}  set by",
        *(layout_line(trial, decay) for trial in trade_off(search)),
        *no_gain(search),
        "",
        "proposed:",
        layout_line(best, decay),
        *wrapped(f"set by {best.worst.rule} of {best.worst.zone}", 2),
        "",
        *wrapped(
            "load: largest share used up of a limit that layers can change, 1 at the limit, solved "
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
    if 0.0 < best.layout.total < decay and not any("too short" in b for b in search.bounds):
        lines += wrapped(
            f"This transition is {best.layout.total / decay:.2f} of 1/β tall: it softens the step "
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
    paying = {len(trial.layout.shares) for trial in trade_off(search)}
    least: dict[int, float] = {}
    for trial in search.trials:
        count = len(trial.layout.shares)
        least[count] = min(trial.load, least.get(count, trial.load))
    idle = [f"{n} at {load:.3g}" for n, load in sorted(least.items()) if n not in paying]
    return wrapped(f"no gain over fewer: {', '.join(idle)}", 7) if idle else []


def schedule_text(schedule: Schedule) -> str:
    """Segments with the flag that sets each.

    Parameters
    ----------
    schedule : Schedule
        From `propose_schedule`.

    Returns
    -------
    str
        Ends in a new line.
    """
    lines = [f"{'to':>7} {'rate':>9} {'hold':>8}   why"]
    for choice in schedule.choices:
        s = choice.segment
        rate = rate_text(s) + (" °C/h" if s.rate < float("inf") else "")
        head = f"{celsius(s.target):4.0f} °C {rate:>9} {s.hold / MINUTE:4.0f} min   "
        lines += wrapped(head.replace(" ", "\u00a0") + choice.reason, len(head))
    lines += wrapped(
        f"then cooling shut; {schedule.hours:.0f} h until cold, load {schedule.load:.3g}, "
        f"{schedule.tried} firings tried. "
        + (
            "The shortest that keeps every flag at its target."
            if schedule.reached
            else "No firing tried brings every flag to its target; this one comes nearest."
        )
    )
    if not schedule.finished:
        lines.append("Interrupted: the best so far.")
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


def plan_text(plan: Plan) -> str:
    """The plan in a screenful.

    Parameters
    ----------
    plan : Plan
        From `propose`.

    Returns
    -------
    str
        Ends in a new line.
    """
    vessel, worst = plan.response.vessel, plan.verdict.worst
    before, after = plan.chances
    lines = [
        f"{plan.verdict.word.upper()}: {vessel.name}"
        + ("" if plan.finished else " (interrupted: the best so far)"),
        *wrapped(
            f"As given: {plan.given_verdict.word}, load {plan.given_verdict.load:.3g} "
            f"({plan.given_verdict.worst.rule}). Proposed: {plan.verdict.word}, load "
            f"{plan.verdict.load:.3g}; {against(worst)}."
        ),
        *wrapped(
            f"Chance of a crack on cooling: {percent(before)} as given, {percent(after)} as "
            "proposed."
        ),
    ]
    if plan.given_breaks and plan.given_verdict.load < plan.verdict.load:
        broken = ", ".join(plan.given_breaks)
        lines += wrapped(f"As given it comes nearer, but breaks limits of its own: {broken}.")
    if plan.scan is not None:
        lines += wrapped(scan_text(plan.scan))
    lines += ["", "bands, from the foot up (fired size):"]
    lines += [f"  {b.low * 1e3:5.1f}-{b.high * 1e3:5.1f} mm  {b.material}" for b in vessel.bands]
    if plan.layers is not None:
        lines += ["", layers_text(plan.layers).rstrip()]
    if plan.schedule is not None:
        lines += ["", f"firing in {vessel.firing.gas}:", schedule_text(plan.schedule).rstrip()]
    else:
        lines += ["", "firing: as given"]
    if plan.alternatives:
        lines += ["", "instead, with the load each would reach:"]
        for a in plan.alternatives:
            figure = "not to be had"
            if a.verdict is not None:
                figure = f"{a.verdict.word}, load {a.load:.3g} ({a.verdict.worst.rule})"
            note = f"; {a.note}" if a.note else ""
            lines += [f"  {row}" for row in wrapped(f"{a.what}: {figure}{note}", 2)]
    return "\n".join(lines).rstrip() + "\n"


def scan_text(scan: Scan) -> str:
    """What no layout within the limits goes below.

    Parameters
    ----------
    scan : Scan
        Of the whole coarse grid.

    Returns
    -------
    str
        One sentence and its evidence.
    """
    return (
        "Nothing within the limits brings the chance of a crack below "
        f"{percent(min(max(scan.chance, LITTLE), ALMOST))} in this firing: {scan.layouts} layouts, "
        "every number, height, skew and place of the grid, were fired; the least load, on the "
        f"search's coarse mesh, is {scan.least:.3g}."
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
    if flag.load != flag.load:
        return f"{flag.rule}, {flag.zone}: {flag.note}"
    if flag.unit == "grade":
        return f"{flag.rule}, {flag.zone}: {flag.note}"
    return (
        f"{flag.rule}, {flag.zone}: {number(flag.figure)} against {number(flag.limit)} {flag.unit}"
    )
