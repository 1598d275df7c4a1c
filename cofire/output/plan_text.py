"""A plan as text, tables and files."""

from __future__ import annotations

import json
import textwrap

from cofire import __version__
from cofire.inputs.firing import Firing
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.inputs.vessel import Vessel
from cofire.output.verdict_text import flag_row, number
from cofire.planning.layers import LayerSearch, Trial, trade_off
from cofire.planning.plan import Plan
from cofire.planning.schedule import Schedule

SCHEMA = 1


def bands_csv(vessel: Vessel) -> str:
    """Bands from the foot up, in the fired size and in layers of the printer.

    Parameters
    ----------
    vessel : Vessel
        With its bands.

    Returns
    -------
    str
        Columns band, material, from_mm, to_mm.
    """
    lines = ["band,material,from_mm,to_mm"]
    for n, band in enumerate(vessel.bands, 1):
        lines.append(f'{n},"{band.material}",{band.low * 1e3:.2f},{band.high * 1e3:.2f}')
    return "\n".join(lines) + "\n"


def firing_csv(firing: Firing, reasons: dict[int, str] | None = None) -> str:
    """Segments as the kiln is told.

    Parameters
    ----------
    firing : Firing
        The firing.
    reasons : dict, optional
        Why, by index of the segment.

    Returns
    -------
    str
        Columns segment, rate_C_per_h, to_C, hold_min, why.
    """
    lines = ["segment,rate_C_per_h,to_C,hold_min,why"]
    for n, s in enumerate(firing.segments):
        rate = f"{s.rate * HOUR:.0f}" if s.rate < float("inf") else "full"
        why = (reasons or {}).get(n, "").replace('"', "'")
        lines.append(f'{n + 1},{rate},{celsius(s.target):.0f},{s.hold / MINUTE:.0f},"{why}"')
    return "\n".join(lines) + "\n"


def firing_toml(firing: Firing) -> str:
    """The firing as a file that cofire reads.

    Parameters
    ----------
    firing : Firing
        The firing.

    Returns
    -------
    str
        TOML.
    """
    lines = [
        f"name = {json.dumps(firing.name, ensure_ascii=False)}",
        f"kiln = {json.dumps(firing.kiln.name, ensure_ascii=False)}",
        f'gas = "{firing.gas}"',
        f"lag_min = {firing.lag / MINUTE:g}",
    ]
    for s in firing.segments:
        rate = f"{s.rate * HOUR:.6g}" if s.rate < float("inf") else '"full"'
        lines += [
            "",
            "[[segment]]",
            f"to_C = {celsius(s.target):.6g}",
            f"rate_C_per_h = {rate}",
            f"hold_min = {s.hold / MINUTE:.6g}",
        ]
    return "\n".join(lines) + "\n"


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
    blends = ", ".join(f"{s}" for s in t.shares) or "none"
    return (
        f"{len(t.shares):>6} {blends:<18} {t.total * 1e3:7.1f} {t.total / decay:7.2f} "
        f"{t.middle * 1e3:8.1f} {trial.load:8.3g}  {trial.worst.rule}, {trial.worst.zone}"
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
    decay = search.decay_length
    lines = [
        f"{'blends':>6} {'metal, %':<18} {'tall mm':>7} {'in 1/β':>7} {'middle':>8} "
        f"{'load':>8}  set by",
        *(layout_line(t, decay) for t in trade_off(search)),
        "",
        "proposed:",
        layout_line(search.best, decay),
        "",
        f"load: largest share of a limit used up, 1 at the limit. 1/β = {decay * 1e3:.1f} mm, the "
        "length over which the wall forgets a joint.",
        f"least band {search.least_height * 1e3:.1f} mm: the smear of a change of paste.",
    ]
    if 0.0 < search.best.layout.total < decay:
        lines.append(
            "This transition is shorter than 1/β: it softens the step but hardly the bending."
        )
    if not search.finished:
        lines.append("Interrupted: the best so far.")
    return "\n".join(lines) + "\n"


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
    lines = [f"{'to':>7} {'rate':>10} {'hold':>8}   why"]
    for choice in schedule.choices:
        s = choice.segment
        rate = f"{s.rate * HOUR:.0f} °C/h" if s.rate < float("inf") else "full"
        head = f"{celsius(s.target):4.0f} °C {rate:>10} {s.hold / MINUTE:4.0f} min   "
        lines += textwrap.wrap(
            choice.reason, 100, initial_indent=head, subsequent_indent=" " * len(head)
        )
    lines.append(
        f"then cooling shut; {schedule.hours:.0f} h in all, load {schedule.load:.3g}, "
        f"{schedule.tried} firings tried"
    )
    return "\n".join(lines) + "\n"


def plan_json(plan: Plan) -> str:
    """The plan as one JSON object with its schema number.

    Parameters
    ----------
    plan : Plan
        From `propose`.

    Returns
    -------
    str
        Ends in a new line.
    """
    vessel = plan.response.vessel
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": vessel.name,
        "finished": plan.finished,
        "as_given": {
            "verdict": plan.given_verdict.word,
            "load": round(plan.given_verdict.load, 6),
            "decided_by": plan.given_verdict.worst.rule,
        },
        "verdict": plan.verdict.word,
        "load": round(plan.verdict.load, 6),
        "decided_by": plan.verdict.worst.rule,
        "flags": [flag_row(flag) for flag in plan.verdict.flags],
        "bands": [
            {"material": b.material, "from_mm": round(b.low * 1e3, 4),
             "to_mm": round(b.high * 1e3, 4)}
            for b in vessel.bands
        ],
        "transition": {
            "blends_percent_metal": list(plan.layout.shares),
            "height_mm": round(plan.layout.total * 1e3, 4),
            "middle_mm": round(plan.layout.middle * 1e3, 4),
            "decay_length_mm": round(plan.layers.decay_length * 1e3, 4),
            "least_band_mm": round(plan.layers.least_height * 1e3, 4),
        },
        "firing": [
            {
                "to_C": round(celsius(s.target), 3),
                "rate_C_per_h": round(s.rate * HOUR, 3) if s.rate < float("inf") else "full",
                "hold_min": round(s.hold / MINUTE, 3),
            }
            for s in vessel.firing.segments
        ],
        "gas": vessel.firing.gas,
        "kiln": vessel.firing.kiln.name,
        "trade_off": [
            {
                "blends_percent_metal": list(t.layout.shares),
                "height_mm": round(t.layout.total * 1e3, 4),
                "middle_mm": round(t.layout.middle * 1e3, 4),
                "load": round(t.load, 6),
                "set_by": t.worst.rule,
            }
            for t in trade_off(plan.layers)
        ],
        "alternatives": [
            {
                "what": a.what,
                "load": round(a.load, 6) if a.load == a.load else None,
                "set_by": a.worst.rule if a.worst else None,
                "note": a.note,
            }
            for a in plan.alternatives
        ],
        "mesh_error": float(f"{plan.response.shell.mesh_error:.3g}"),
        "step_error_MPa": float(f"{plan.response.shell.step_error.max() / 1e6:.3g}"),
        "beyond_tables": list(plan.response.history.extended),
    }  # fmt: skip
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


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
    vessel = plan.response.vessel
    worst = plan.verdict.worst
    lines = [
        f"{plan.verdict.word.upper()}: {vessel.name}"
        + ("" if plan.finished else " (interrupted: the best so far)"),
        f"As given: {plan.given_verdict.word}, load {plan.given_verdict.load:.3g} "
        f"({plan.given_verdict.worst.rule}). Proposed: load {plan.verdict.load:.3g} "
        f"({worst.rule}, {worst.zone}: {number(worst.figure)} against {number(worst.limit)} "
        f"{worst.unit}).",
        "",
        "bands, from the foot up (fired size):",
        *(f"  {b.low * 1e3:5.1f}-{b.high * 1e3:5.1f} mm  {b.material}" for b in vessel.bands),
        "",
        layers_text(plan.layers).rstrip(),
        "",
    ]
    if plan.schedule is not None:
        lines += [f"firing in {vessel.firing.gas}:", schedule_text(plan.schedule).rstrip(), ""]
    else:
        lines += ["firing: as given", ""]
    if plan.alternatives:
        lines.append("instead, with the load each would reach:")
        for a in plan.alternatives:
            figure = f"{a.load:.3g} ({a.worst.rule})" if a.worst else f"not to be had: {a.note}"
            lines.append(f"  {a.what}: {figure}")
    return "\n".join(lines).rstrip() + "\n"
