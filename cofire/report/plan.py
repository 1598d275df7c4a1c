"""A plan, its layers and its schedule as a person reads them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from cofire.assessment.rule import GO, GRADE, Flag
from cofire.assessment.verdict import Verdict
from cofire.design.fired_size import in_fired_size
from cofire.design.layers import LayerSearch, Trial, trade_off
from cofire.design.plan import Plan
from cofire.design.scan import TENFOLD, Scan
from cofire.design.schedule import Schedule
from cofire.design.transition import Layout
from cofire.firing.controller import presence_words, set_words
from cofire.firing.kiln import trace
from cofire.production.job import pure_materials
from cofire.production.paste import Cost
from cofire.production.trade_off import PROPOSED
from cofire.report.apart import apart_lines, apart_short
from cofire.report.designs import (
    ALMOST,
    LITTLE,
    NO_COSTS,
    decide_line,
    designs_text,
    margins_lines,
    odds_line,
    percent,
    recipes_lines,
    taper_lines,
)
from cofire.report.job import cost_line
from cofire.report.read_again import (
    in_its_degrees,
)
from cofire.report.verdict import (
    RULE_ERROR,
    as_stress,
    decided,
    ends_line,
    measured,
    passed_too,
    taken,
)
from cofire.report.writing import wrapped
from cofire.units import counted
from cofire.vessel import FIXED, FREE, Vessel, is_blend

if TYPE_CHECKING:
    pass


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
    lines += floor_lines(best.floor)
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
        return f"{told}; too few to tell them apart, and of those kept fewer are all well."
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
            f"Probability of a crack on cooling, were the cards right, {RULE_ERROR}: "
            f"{percent(before)} as given, {percent(after)} as proposed."
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
            lines += floor_lines(plan.layers.best.floor)
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


def floor_lines(floor: Flag) -> list[str]:
    """What no layers change, where it is no go in the firing in which layers were compared.

    Parameters
    ----------
    floor : Flag
        The worst that sees the firing and a pure zone alone, from a search of layers.

    Returns
    -------
    list of str
        Wrapped; none where it is a go.
    """
    if floor.grade <= GO:
        return []
    return wrapped(
        f"Whatever the layers, in the firing in which they were compared: {against(floor)}. "
        f"{floor.remedy}"
    )


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
    least = f"{percent(min(max(scan.probability, LITTLE), ALMOST))} ({RULE_ERROR})"
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
