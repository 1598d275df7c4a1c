"""A plan as one JSON object."""

from __future__ import annotations

import json
import math

from cofire import __version__
from cofire.inputs.firing import FULL
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.output.verdict_text import flag_row
from cofire.planning.proposals.layers import LayerSearch, trade_off
from cofire.planning.proposals.plan import Plan, Scan
from cofire.planning.proposals.trials import Trial

SCHEMA = 1


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
    before, after = plan.chances
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": vessel.name,
        "finished": plan.finished,
        "as_given": {
            "verdict": plan.given_verdict.word,
            "load": _rounded(plan.given_verdict.load),
            "decided_by": plan.given_verdict.worst.rule,
            "chance_of_crack": _rounded(before),
            "breaks": list(plan.given_breaks),
        },
        "verdict": plan.verdict.word,
        "load": _rounded(plan.verdict.load),
        "decided_by": plan.verdict.worst.rule,
        "chance_of_crack": _rounded(after),
        "flags": [flag_row(flag) for flag in plan.verdict.flags],
        "bands": [
            {"material": b.material, "from_mm": _mm(b.low), "to_mm": _mm(b.high)}
            for b in vessel.bands
        ],
        "transition": {
            "blends_percent_metal": list(plan.layout.shares),
            "height_mm": _mm(plan.layout.total),
            "middle_mm": _mm(plan.layout.middle),
        },
        "limits": _limits(plan.layers),
        "nothing_below": _scan(plan.scan),
        "firing": [
            {
                "to_C": round(celsius(s.target), 3),
                "rate_C_per_h": round(s.rate * HOUR, 3) if s.rate < math.inf else FULL,
                "hold_min": round(s.hold / MINUTE, 3),
            }
            for s in vessel.firing.segments
        ],
        "why": [c.reason for c in plan.schedule.choices] if plan.schedule else None,
        "hours": round(float(plan.response.trace.time[-1]) / HOUR, 2),
        "gas": vessel.firing.gas,
        "kiln": vessel.firing.kiln.name,
        "trade_off": [_trial(t) for t in trade_off(plan.layers)] if plan.layers else [],
        "alternatives": [
            {
                "what": a.what,
                "verdict": a.verdict.word if a.verdict else None,
                "load": _rounded(a.load) if a.verdict else None,
                "set_by": a.verdict.worst.rule if a.verdict else None,
                "note": a.note,
            }
            for a in plan.alternatives
        ],
        "mesh_error": float(f"{plan.response.shell.mesh_error:.3g}"),
        "step_error_MPa": float(f"{plan.response.shell.step_error.max() / 1e6:.3g}"),
        "beyond_tables": list(plan.response.history.extended),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


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
        "chance_of_crack": _rounded(scan.chance),
    }


def _trial(trial: Trial) -> dict[str, object]:
    return {
        "blends_percent_metal": list(trial.layout.shares),
        "height_mm": _mm(trial.layout.total),
        "middle_mm": _mm(trial.layout.middle),
        "load": _rounded(trial.load),
        "set_by": trial.worst.rule,
    }


def _mm(length: float) -> float:
    return round(length * 1e3, 4)


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")
