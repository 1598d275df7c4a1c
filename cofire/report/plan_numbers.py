"""A plan as one JSON object."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from cofire import __version__
from cofire.design.layers import LayerSearch, Trial, trade_off
from cofire.design.plan import Plan
from cofire.design.scan import Scan
from cofire.design.transition import Layout
from cofire.firing.controller import set_words
from cofire.firing.program import FULL
from cofire.production.paste import Cost
from cofire.production.trade_off import PROPOSED
from cofire.report.apart import apart_row
from cofire.report.designs import (
    NO_COSTS,
    designs_row,
    margins_row,
    recipe_row,
    taper_row,
)
from cofire.report.verdict import (
    flag_row,
)
from cofire.units import HOUR, MINUTE, celsius

if TYPE_CHECKING:
    pass


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
