"""The zones of a plan printed apart and seated free, as a maker reads it, as JSON and as files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cofire.assessment.firing_rules import SAG
from cofire.design.apart import FRICTION, Apart
from cofire.physics.paste import paste_of
from cofire.report.read_again import part_vessel
from cofire.report.verdict import decided, number
from cofire.units import celsius

LOWER, UPPER = "lower_part.toml", "upper_part.toml"
"""Files of a plan that hold its parts, for `check`, `make` and `sheet`."""


def apart_short(found: Apart) -> str:
    """One sentence for those who read no further.

    Parameters
    ----------
    found : Apart
        From `propose_apart`.
    """
    return (
        f"With the zones printed apart and one standing free on the other, in the same firing, "
        f"{_pots(found.after.chance)} of a hundred pots are kept instead of "
        f"{_pots(found.before.chance)}: see below."
    )


def apart_lines(found: Apart) -> list[str]:
    """What the zones apart would bring and cost, and how to make them.

    Parameters
    ----------
    found : Apart
        From `propose_apart`.

    Returns
    -------
    list of str
        One paragraph each.
    """
    lower, upper = (part.bands[0].material for part in (found.lower, found.upper))
    n, after = found.after.kept.size, found.after
    drag = max(found.friction, key=lambda flag: flag.utilisation)
    mm = [f"{1e3 * v:.1f}" for v in (*found.inwards, *found.outwards)]
    floor = (
        "; the floor is in the lower part, and where the parts meet it is not tight: it holds "
        f"water up to {1e3 * found.at:.4g} mm at most"
        if found.lower.radius[0] == 0.0
        else ""
    )
    return [
        f"{lower} up to {1e3 * found.at:.4g} mm and {upper} above it, each printed, dried and "
        "lifted by itself; then the upper part is stood dry on the lower one, on a thin wash of "
        "alumina so that they do not sinter together (common practice), and both are fired at "
        "once. Judged as both are written, stress of each by its own solid, sag with the weight of "
        f"the upper part on the lower: {decided(found.verdict)}. Kept: "
        f"{_pots(after.chance)} of a hundred pots instead of {_pots(found.before.chance)}, "
        f"{_pots(after.good)} all well ({n} draws).",
        f"Until both are fired the top of the lower part moves by up to {mm[0]} mm inwards and "
        f"{mm[2]} mm outwards under the foot of the upper one, furthest at "
        f"{celsius(found.moment):.0f} °C; by {mm[1]} and {mm[3]} mm where the shrinkages are other "
        f"than their cards say (19 of 20 draws). {_width(found)} A lip that is to hold it must "
        "leave that much room on its side.",
        f"Friction ({FRICTION:g}, estimate) strains brown {drag.zone} to "
        f"{number(drag.utilisation)} of what it bears. {_borne(found)}",
        f"It costs the joint: two pieces, held by weight alone, that a knock parts{floor}. What is "
        "left out: that they stick where the wash is thin, and that a part is set askew. To use "
        f"it: {LOWER} and {UPPER}, each for check, make and sheet, in this firing.",
    ]


def _borne(found: Apart) -> str:
    """What the lower part sags under the upper one, and that its own check knows no such weight."""
    alone, zone = f"check of {LOWER} leaves that weight out", found.lower.bands[0].material
    seated, own = (
        next((f for f in v.flags if (f.rule, f.zone) == (SAG.name, zone) and f.figure >= 0.0), None)
        for v in (found.verdict, found.checks[0].verdict)
    )
    if seated is None or own is None:
        return f"The lower part bears the weight of the upper one; {alone}."
    return (
        f"Under the weight of the upper part the lower one loses {number(seated.figure)} % of its "
        f"height, {number(seated.utilisation)} of the limit; {alone}: {number(own.figure)} %."
    )


def _width(found: Apart) -> str:
    """What the slide asks of the walls."""
    inside, outside = (1e3 * v for v in found.thicker)
    if not inside and not outside:
        return "Half of the wall or more always bears."
    shorter = "lower" if found.at <= 0.5 * (found.at + float(found.upper.height[-1])) else "upper"
    sides = " and ".join(
        f"{v:.1f} mm {side}" for v, side in ((inside, "inwards"), (outside, "outwards")) if v
    )
    return (
        f"So that as much as half of the wall as drawn always bears, the wall of the {shorter} "
        f"part is thicker than drawn, by {sides}; measure both shrinkages first and most of that "
        "is not needed."
    )


def _pots(chance: float) -> str:
    """Of a hundred."""
    pots = round(100.0 * chance)
    return "all" if pots == 100 else "none" if pots == 0 else f"{pots}"


def apart_row(found: Apart | None) -> dict[str, Any] | None:
    """The same as numbers.

    Parameters
    ----------
    found : Apart or None
        From `propose_apart`.

    Returns
    -------
    dict or None
        Lengths, chances and the verdict.
    """
    if found is None:
        return None
    verdict = found.verdict
    return {
        "at_mm": round(1e3 * found.at, 4),
        "lower": found.lower.bands[0].material,
        "upper": found.upper.bands[0].material,
        "inwards_mm": [round(1e3 * v, 3) for v in found.inwards],
        "outwards_mm": [round(1e3 * v, 3) for v in found.outwards],
        "thicker_inwards_mm": round(1e3 * found.thicker[0], 3),
        "thicker_outwards_mm": round(1e3 * found.thicker[1], 3),
        "verdict": verdict.word,
        "decided_by": verdict.deciding.rule,
        "utilisation": float(f"{verdict.utilisation:.4g}"),
        "not_lost": round(found.after.chance, 4),
        "nothing_fails": round(found.after.good, 4),
        "proposed_not_lost": round(found.before.chance, 4),
        "samples": int(found.after.kept.size),
        "files": [LOWER, UPPER],
    }


def apart_files(found: Apart, source: Path, place: Path) -> dict[str, str]:
    """Text by name of the files of both parts.

    Parameters
    ----------
    found : Apart
        From `propose_apart`.
    source : Path
        The vessel file that was planned.
    place : Path
        The folder they will lie in.
    """
    files: dict[str, str] = {}
    parts = zip((found.lower, found.upper), (LOWER, UPPER), found.checks, strict=True)
    for part, name, check in parts:
        powders = [powder for powder, _ in paste_of(check.cards[0]).powders]
        files |= part_vessel(source, part, name, powders, place)
    return files
