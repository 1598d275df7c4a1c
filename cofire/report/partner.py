"""The partner a zone would need, as a person reads it and as JSON."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence

from cofire import __version__
from cofire.assessment.rule import GO, GRADE, VERDICTS, Flag
from cofire.design.partner import FARTHEST, NAME, Near, Range, Wanted
from cofire.report.verdict import measured
from cofire.report.writing import wrapped
from cofire.units import celsius

SCHEMA = 1
COUNTED = re.compile(rf"{NAME} \d+")
NAMES = {
    "expansion": "expansion, 1e-6/K",
    "shrinkage": "firing shrinkage, %",
    "half_way": "half dense at, °C",
    "set_point": "set point, °C",
}
UNITS = {"expansion": "e-6/K", "shrinkage": " %", "half_way": " K", "set_point": " K"}
KEYS = {
    "expansion": "expansion_1e-6_per_K",
    "shrinkage": "firing_shrinkage_percent",
    "half_way": "half_dense_C",
    "set_point": "set_point_C",
}
SCALE = {"expansion": 1e6, "shrinkage": 100.0, "half_way": 1.0, "set_point": 1.0}


def shown(name: str, value: float) -> float:
    """A figure in the unit it is read in: 1e-6/K, %, °C.

    Parameters
    ----------
    name : str
        A field of `Figures`.
    value : float
        In SI.

    Returns
    -------
    float
        For the eye.
    """
    return celsius(value) if name in ("half_way", "set_point") else SCALE[name] * value


def _number(name: str, value: float) -> str:
    digits = {"expansion": 1, "shrinkage": 1}.get(name, 0)
    return f"{shown(name, value):.{digits}f}"


def _zone(flag: Flag) -> str:
    """Zone of a flag; the partners of one batch are numbered, which says nothing."""
    return COUNTED.sub(NAME, flag.zone)


def _end(flag: Flag | None) -> str:
    return "nothing, as far as was tried" if flag is None else f"{flag.rule} of {_zone(flag)}"


def partner_text(
    wanted: Wanted,
    cards: Sequence[Near],
    mixtures: Sequence[Near],
    vessel: str,
    recipes: Sequence[str] = (),
    listed: bool = False,
) -> str:
    """Ranges with the flags that set them, then what comes nearest and what is amiss.

    Parameters
    ----------
    wanted : Wanted
        From `wanted_partner`.
    cards, mixtures : sequence of Near
        From `nearest`.
    vessel : str
        Its name.
    recipes : sequence of str
        From `wanted_recipes`.
    listed : bool
        Whether the vessel's file says which materials may be offered.

    Returns
    -------
    str
        Ends in a new line.
    """
    kind = wanted.template.kind
    lines = wrapped(
        f"The {kind} that {wanted.zone.name} would need in {vessel}, with its bands and firing; "
        f"stiffness, strength and flow those of {wanted.template.name}. One property at a time, "
        "the others ideal."
    )
    if wanted.forbids:
        lines += wrapped(
            "Even the ideal partner does not reach go: "
            + "; ".join(
                f"{f.rule} of {_zone(f)}"
                + (
                    f" at {f.utilisation:.2g}, go up to {f.caution:.2g}"
                    if f.utilisation == f.utilisation
                    else ""
                )
                for f in wanted.forbids
            )
            + ". The ranges leave "
            + ("it" if len(wanted.forbids) == 1 else "these")
            + " aside."
            + _present(wanted)
        )
    lines += ["", f"{'':22} {'ideal':>7} {'from':>8} {'to':>8}   set by"]
    for r in wanted.ranges:
        lines += _range_rows(r)
    lines += wrapped(
        f"{'matures':22} dense at {celsius(wanted.matures_below):.0f} °C or less, and stands "
        f"{celsius(wanted.stands):.0f} °C or more",
        23,
    )
    lines += wrapped(
        f"expansion: mean from 20 to {celsius(wanted.stored_from):.0f} °C, below which mismatch is "
        f"stored. {wanted.tried} vessels fired."
    )
    for line in wanted.extended:
        lines += wrapped(f"Beyond its table: {line}.")
    where = "of the materials that the file names" if listed else "in the tables"
    lines += ["", f"nearest {where}, and what still separates each:"]
    if not cards:
        lines.append(f"  none: [free] materials names no other {kind}")
    for near in cards:
        lines += [f"  {row}" for row in wrapped(f"{near.name}: {apart(near)}", 2)]
    if mixtures:
        lines += ["", "nearer as mixtures of two bodies (means by volume: fire a bar first):"]
        for near in mixtures:
            lines += [f"  {row}" for row in wrapped(f"{near.name}: {apart(near)}", 2)]
    if recipes:
        lines += ["", "or mix it yourself, for its expansion alone:"]
        for recipe in recipes:
            lines += [f"  {row}" for row in wrapped(f"{recipe}.", 2)]
    return "\n".join(lines) + "\n"


def _present(wanted: Wanted) -> str:
    """What the partner that the vessel has makes of what even the ideal one leaves short of go."""
    if wanted.present is None:
        return ""
    rules = {flag.rule for flag in wanted.forbids}
    those = "that rule" if len(rules) == 1 else "those rules"
    own = [flag for flag in wanted.present.flags if flag.rule in rules]
    worst = max((flag.counted for flag in own), default=0.0)
    word = VERDICTS[max((flag.grade for flag in own), default=GO)]
    return f" With {wanted.template.name} as it is, by {those} alone: {word}, {worst:.3g} at most."


def _range_rows(r: Range) -> list[str]:
    """One property: its range, and what sets either end."""
    if r.low_set_by is None and r.high_set_by is None:
        how = _farthest(r.name)
        return wrapped(
            f"{NAMES[r.name]:22} {_number(r.name, r.ideal):>7} {'any':>8} {'any':>8}   nothing "
            f"within {how} of the ideal, as the model has it",
            42,
        )
    ends = [
        "any" if flag is None else _number(r.name, value)
        for flag, value in ((r.low_set_by, r.low), (r.high_set_by, r.high))
    ]
    told = dict.fromkeys(map(_end, (r.low_set_by, r.high_set_by)))
    return wrapped(
        f"{NAMES[r.name]:22} {_number(r.name, r.ideal):>7} {ends[0]:>8} {ends[1]:>8}   "
        + "; ".join(told),
        51,
    )


def _farthest(name: str) -> str:
    return f"{SCALE[name] * FARTHEST[name]:g}{UNITS[name]}"


def apart(near: Near) -> str:
    """What separates a material from the partner wanted.

    Parameters
    ----------
    near : Near
        From `nearest`.

    Returns
    -------
    str
        Its gaps in their units, or that there are none.
    """
    gaps = []
    for name, value in near.apart.items():
        if value:
            word = NAMES[name].split(",")[0]
            gaps.append(f"{word} {SCALE[name] * value:+.2g}{UNITS[name]}")
    if near.too_hot:
        hot = f"{near.too_hot:.0f} K too hot" if math.isfinite(near.too_hot) else "in no firing"
        gaps.append(f"matures {hot}")
    if near.too_weak:
        gaps.append(f"overfires or melts {near.too_weak:.0f} K too early")
    told = ", ".join(gaps) or "within every range"
    if not near.forbids:
        return told
    why = ", ".join(f"{f.rule} ({_figure(f)})" for f in near.forbids)
    return f"{told}; but no in this firing by its {why}"


def _figure(flag: Flag) -> str:
    """Figure and limit of a flag, where they are numbers; else what it notes."""
    if flag.unit == GRADE or not math.isfinite(flag.figure):
        return flag.note
    return measured(flag)


def partner_json(
    wanted: Wanted,
    cards: Sequence[Near],
    mixtures: Sequence[Near],
    vessel: str,
    recipes: Sequence[str] = (),
) -> str:
    """The same as one JSON object with its schema number.

    Parameters
    ----------
    wanted : Wanted
        From `wanted_partner`.
    cards, mixtures : sequence of Near
        From `nearest`.
    vessel : str
        Its name.
    recipes : sequence of str
        From `wanted_recipes`.

    Returns
    -------
    str
        Ends in a new line.
    """

    def near(some: Near) -> dict[str, object]:
        return {
            "name": some.name,
            "apart": {KEYS[k].rpartition("_C")[0] + "_K" if k in ("half_way", "set_point")
                      else KEYS[k]: round(SCALE[k] * v, 4) for k, v in some.apart.items()},
            "matures_too_hot_K": round(some.too_hot, 1) if math.isfinite(some.too_hot) else None,
            "fails_too_early_K": round(some.too_weak, 1),
            "forbidden_by": [flag.rule for flag in some.forbids],
        }  # fmt: skip

    whole = {
        "schema": SCHEMA,
        "beyond_tables": list(wanted.extended),
        "cofire": __version__,
        "vessel": vessel,
        "zone": wanted.zone.name,
        "partner_like": wanted.template.name,
        "ranges": {
            KEYS[r.name]: {
                "ideal": round(shown(r.name, r.ideal), 4),
                "from": None if r.low_set_by is None else round(shown(r.name, r.low), 4),
                "to": None if r.high_set_by is None else round(shown(r.name, r.high), 4),
                "from_set_by": r.low_set_by and r.low_set_by.rule,
                "to_set_by": r.high_set_by and r.high_set_by.rule,
            }
            for r in wanted.ranges
        },
        "dense_at_or_below_C": round(celsius(wanted.matures_below), 1),
        "stands_at_least_C": round(celsius(wanted.stands), 1),
        "expansion_up_to_C": round(celsius(wanted.stored_from), 1),
        "even_the_ideal_fails": [{"rule": f.rule, "zone": _zone(f)} for f in wanted.forbids],
        "nearest": [near(n) for n in cards],
        "nearest_mixtures": [near(n) for n in mixtures],
        "recipes": list(recipes),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
