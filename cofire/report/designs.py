"""What a search over designs found, as a maker reads it and as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from cofire.assessment.draws import Factor
from cofire.assessment.model_factors import RECORD
from cofire.assessment.verdict import RULES
from cofire.design.margins import Margins
from cofire.design.objective import Outcome
from cofire.design.recipe import Recipe
from cofire.design.search import MARGIN, Choice, DesignSearch
from cofire.design.taper import Tapered
from cofire.evidence.sensitivity import wilson
from cofire.production.paste import Cost
from cofire.report.verdict import decided, few_kept, unknown_line
from cofire.report.writing import wrapped
from cofire.units import counted

NO_COSTS: Mapping[int, Cost] = MappingProxyType({})
ALMOST, LITTLE = 0.999, 1e-4
"""Chances beyond these are told as "above 99.9 %" and "below 0.01 %". [-]"""
NEARLY = 0.99
"""From here on a chance has a digit more. [-]"""


def percent(probability: float) -> str:
    """A probability in per cent, whole where that is what draws tell, not near certainty.

    Parameters
    ----------
    probability : float
        [-]

    Returns
    -------
    str
        With its unit.
    """
    if probability > ALMOST:
        return f"above {100 * ALMOST:g} %"
    if probability < LITTLE:
        return f"below {100 * LITTLE:g} %"
    if 0.1 <= probability < NEARLY:
        return f"{100 * probability:.0f} %"
    return f"{100 * probability:.{3 if probability >= NEARLY else 2}g} %"


def chance_ends(outcome: Outcome) -> tuple[float, float]:
    """95 % interval of the chance that a pot is not lost, by what so many draws leave. [-]

    Wilson's, with as many yes-or-no trials as would scatter by as much: a draw says a chance, which
    scatters less. On the wide side, since the draws are evenly spread; no narrower than one more
    draw could make it: draws that scatter little say nothing of a kind that none of them was.

    Parameters
    ----------
    outcome : Outcome
        With its draws.
    """
    count = outcome.kept.size
    if not count:
        return float("nan"), float("nan")
    p, spread = outcome.chance, float(outcome.kept.var())
    trials = count * p * (1.0 - p) / spread if spread > 1e-9 else count
    low, high = wilson(p, max(round(trials), count))
    return min(low, count * p / (count + 1)), max(high, (count * p + 1.0) / (count + 1))


def _told(outcome: Outcome) -> str:
    low, high = chance_ends(outcome)
    return f"{percent(outcome.chance)} ({100 * low:.0f} to {100 * high:.0f})"


PINNED = 0.02
"""Where every chance is below this, designs are told apart by how far they are past a limit. [-]"""
LEAST_BATCH = 5.0
"""A band of less paste than this is hard to mix and weigh well: common practice. [ml, fired]"""
NAMED = 3
"""Reasons of a loss that are named. [-]"""


def harm_of(name: str) -> str:
    """What happens beyond the limit of a rule, in a clause.

    Parameters
    ----------
    name : str
        Of the rule.

    Returns
    -------
    str
        Its own name where the rule does not say.
    """
    return next((rule.harm for rule in RULES if rule.name == name and rule.harm), name)


def odds_line(both: tuple[Outcome | None, Outcome | None]) -> str:
    """The chance of a sound pot as given and as proposed, and what loses it.

    Parameters
    ----------
    both : tuple of Outcome or None
        As given and as proposed.

    Returns
    -------
    str
        One or two sentences; empty where it is not known.
    """
    given, proposed = both
    if proposed is None:
        return ""
    before = f"{_told(given)} as given, " if given is not None else ""
    line = (
        f"Chance that the pot is not lost, over {proposed.kept.size} draws of cards, kiln and "
        "print as they may also be (in brackets the 95 % interval that so many draws leave): "
        f"{before}{_told(proposed)} as proposed; all well: "
        f"{percent(proposed.good)}.{few_kept(proposed.chance)}"
    )
    if proposed.unknown:
        told = unknown_line([(f.rule, f.zone) for f in proposed.unknown])
        line += f" {told[:1].upper()}{told[1:]}."
    losers = proposed.losers[:NAMED]
    if losers:
        told = ", ".join(f"{harm_of(name)} ({percent(share)})" for name, share in losers)
        line += f" Where it is lost: {told}."
    return line


def decide_line(decide: Sequence[tuple[Factor, float]]) -> str:
    """What to measure first, since it decides whether the pot is kept.

    Parameters
    ----------
    decide : sequence of (Factor, float)
        From a plan. [-]

    Returns
    -------
    str
        A sentence; empty where nothing stands out.
    """
    if not decide:
        return ""
    told = " and ".join(
        f"{factor.name.replace('_', ' ')} of {factor.material} (it decides {percent(share)})"
        for factor, share in decide[:2]
    )
    return f"Measure first: {told}."


def _pastes(choice: Choice) -> str:
    """Pastes between the zones: metal in per cent, and height, at each joint."""
    layout = choice.design.layout
    told = []
    for which, one in layout.named:
        each = ", ".join(
            f"{share} % over {1e3 * height:.1f} mm"
            for share, height in zip(one.shares, one.each, strict=True)
        )
        told.append(f"{which + ': ' if which else ''}{each or 'none'}")
    if layout.upper is not None and layout.alike:
        return f"at each joint: {told[0].partition(': ')[2]}"
    return "; ".join(told)


def designs_text(
    search: DesignSearch,
    costs: Mapping[int, Cost] = NO_COSTS,
    currency: str = "",
    as_designed: bool = True,
) -> str:
    """What more changes of paste buy, which is proposed and why.

    Parameters
    ----------
    search : DesignSearch
        From `search_designs`.
    costs : mapping
        Of each number of changes, from `costs_of`; none without prices.
    currency : str
        Of the costs.
    as_designed : bool
        Whether the chosen design is proposed; else the vessel as drawn is.

    Returns
    -------
    str
        Ends in a new line.
    """
    chosen = search.chosen
    both = " at both joints together" if chosen.design.layout.upper is not None else ""
    priced = f"{f'cost {currency}'.rstrip():>11}" if costs else ""
    lines = [
        f"what more changes of paste{both} buy, each the best of its number:",
        f"{'changes':>9} {'not lost':>13} {'all well':>13} {'past limit':>11} {'least ml':>9}"
        f"{priced}  pastes between, metal of volume",
    ]
    for choice in sorted(search.choices, key=lambda c: c.design.changes):
        o = choice.outcome
        mark = "*" if as_designed and choice is chosen else " "
        least = f"{1e6 * choice.least:.2g}" if choice.least else "-"
        head = (
            f"{mark}{choice.design.changes:>8} {percent(o.chance):>13} {percent(o.good):>13} "
            f"{o.load:>11.2f} {least:>9}"
        )
        if costs:
            price = costs.get(choice.design.changes)
            head += f"{'-' if price is None else f'{price.total:.2f}':>{len(priced)}}"
        head += "  "
        lines += wrapped(head.replace(" ", "\u00a0") + _pastes(choice), len(head))
    lines += wrapped(
        _proposal(search)
        if as_designed
        else "Proposed: none of these, but the vessel as drawn, moved into its limits where it "
        "breaks them. It is no likelier to be lost than the one of "
        f"{counted(chosen.design.changes, 'change')} of paste that would be proposed else."
    )
    if search.placeless:
        *fewer, last = search.placeless
        counts = "".join(f"{n} or " for n in fewer) + counted(last, "change")
        lines += wrapped(f"No place within the limits was found for {counts} of paste.")
    lines += wrapped(
        f"Not lost: chance over {search.samples} draws of cards, kiln and print, the model's own "
        "error in it, in the firing in which they were compared. Past limit: of the limits that "
        "layers can change (those of the firing and of one zone alone are left out), how much is "
        "used up with the cards as they stand, all rules as one figure in which the largest shares "
        "count most; 1 at the limit. Least: fired volume of the smallest paste between."
        + (" Cost: powders as weighed, current and hours of the firing below." if costs else "")
    )
    lines += wrapped(f"{RECORD}.")
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


def _proposal(search: DesignSearch) -> str:
    """What is proposed, what it buys, and what to watch."""
    chosen, o = search.chosen, search.chosen.outcome
    n = chosen.design.changes
    joints = chosen.design.layout.named
    of = ", ".join(f"{len(one.shares) + 1} at the {which}" for which, one in joints if which)
    told = [f"Proposed: {counted(n, 'change')} of paste{of and f' ({of})'}."]
    more = [c for c in search.choices if c.design.changes > n]
    best = max(more, key=lambda c: c.outcome.chance, default=None)
    if best is not None and max(best.outcome.chance, o.chance) > PINNED:
        gain = best.outcome.chance - o.chance
        told.append(
            f"{best.design.changes} changes would keep "
            + (
                f"{abs(100 * gain):.0f} in a hundred pots {'more' if gain > 0 else 'fewer'}."
                if round(100 * gain)
                else "as many."
            )
        )
    elif o.chance <= PINNED:
        told.append(
            "No design within the limits is likely to hold; this one is nearest, with fewest "
            "changes."
        )
    if chosen.design.wall:
        told.append(f"Wall {1e3 * chosen.design.wall:.3g} mm.")
    drawn = search.given.design.dead_volume if search.given is not None else None
    if drawn is not None and round(chosen.design.dead_volume, 9) != round(drawn, 9):
        told.append(
            f"Paste between the change and the nozzle: {1e6 * chosen.design.dead_volume:.2g} ml."
        )
    if 0.0 < 1e6 * chosen.least < LEAST_BATCH:
        told.append(
            f"Its smallest paste is {1e6 * chosen.least:.2g} ml: mix more than you need and weigh "
            "the powders to a hundredth."
        )
    tight = o.over(MARGIN)
    if tight:
        told.append(
            "Nothing better was found that leaves a tenth of every limit: "
            + "; ".join(
                f"{harm_of(f.rule)} ({f.zone}, {f.counted:.2f} of its limit)" for f in tight[:NAMED]
            )
            + "."
        )
    return " ".join(told)


def _row(choice: Choice, price: Cost | None) -> dict[str, Any]:
    o, layout = choice.outcome, choice.design.layout
    pastes: list[dict[str, Any]] = [
        ({"joint": which} if which else {})
        | {
            "metal_percent": list(one.shares),
            "heights_mm": [round(1e3 * height, 4) for height in one.each],
        }
        for which, one in layout.named
    ]
    return {
        "changes": choice.design.changes,
        **(pastes[0] if layout.upper is None else {"joints": pastes}),
        "dead_volume_ml": round(1e6 * choice.design.dead_volume, 4),
        "wall_mm": round(1e3 * choice.design.wall, 4) or None,
        "not_lost": round(o.chance, 4),
        "all_well": round(o.good, 4),
        "load": float(f"{o.load:.4g}"),
        "least_ml": round(1e6 * choice.least, 3),
        "lost_by": {name: round(share, 4) for name, share in o.losers},
        **({} if price is None else {"cost": round(price.total, 2)}),
    }


def margins_lines(found: Margins | None) -> list[str]:
    """How a proposal bears shifts of the print, and which limit to relax first.

    Parameters
    ----------
    found : Margins or None
        From `margins`.

    Returns
    -------
    list of str
        One sentence each; none where nothing was asked.
    """
    if found is None:
        return []
    shifts = "; ".join(f"{shift.what}: {_points(shift.change)}" for shift in found.shifts)
    lines = [
        f"Should the print come out otherwise, of a hundred pots {100 * found.chance:.0f} of which "
        f"are kept as planned ({found.samples} draws): {shifts}."
    ]
    if found.relaxed:
        gains = "; ".join(
            f"{r.what}: {_points(r.change)}, past limit {found.load:.2f} to {r.load:.2f}"
            for r in found.relaxed
        )
        lines.append(f"Limits that it would pay to relax, first the first, at least: {gains}.")
    return lines


def _points(change: float) -> str:
    """A change of a chance, in pots of a hundred."""
    pots = round(100.0 * change)
    return "as many" if pots == 0 else f"{abs(pots)} {'more' if pots > 0 else 'fewer'}"


TAPER_FILE = "taper_vessel.toml"
"""Name of the file of a plan that holds its tapered vessel."""


def taper_lines(found: Tapered | None) -> list[str]:
    """What a metal thinned towards the joint would bring and cost, and how to use it.

    Parameters
    ----------
    found : Tapered or None
        From `propose_taper`.

    Returns
    -------
    list of str
        One paragraph each; none where it is not offered.
    """
    if found is None:
        return []
    form, vessel = found.taper, found.vessel
    bands = vessel.bands if form.below else vessel.bands[::-1]
    metal, ceramic = bands[0].material, bands[-1].material
    side = int(vessel.radius[0] == 0.0)
    end, where = (vessel.wall[side], "foot") if form.below else (vessel.wall[-1], "rim")
    count = found.after.kept.size
    roads = f"{found.roads} road{'s' if found.roads > 1 else ''}"
    shifts = "; ".join(f"{shift.what}: {_points(shift.change)}" for shift in found.shifts)
    lines = [
        f"{metal}: wall of {1e3 * form.least:.2f} mm at the joint ({roads}) instead of "
        f"{1e3 * found.wall:.1f}, growing over {1e3 * form.length:.0f} mm "
        f"({found.decays:g} decay lengths of the wall; {1e3 * float(end):.1f} mm at the {where}); "
        f"{ceramic} back at its own wall within {1e3 * form.shoulder:.1f} mm; "
        f"{'the outside' if vessel.free.outside else 'the middle of the wall'} as drawn. Judged by "
        f"its solid: {decided(found.check.verdict)}. Not lost: {percent(found.after.chance)} "
        f"instead of {percent(found.before.chance)} ({count} draws).",
        f"Should the print come out otherwise, of a hundred pots "
        f"{100 * found.after.chance:.0f} of which are kept: {shifts}.",
        f"It takes {100 * (1.0 - found.metal):.0f} % less {metal}. A single road breaks easily "
        "until it is fired, and a thin edge dents: lift it by the thick part. Where the thin point "
        f"misses the joint by more than a layer, check it anew. To use it: {TAPER_FILE}, for "
        "check, make and sheet.",
    ]
    if not vessel.printer.given:
        lines.insert(
            2,
            "The file gives no printer, so the pastes are taken to change without mixing: change "
            "the whole barrel and nozzle at the joint, or it brings nothing.",
        )
    return lines


def taper_row(found: Tapered | None) -> dict[str, Any] | None:
    """The same as numbers.

    Parameters
    ----------
    found : Tapered or None
        From `propose_taper`.

    Returns
    -------
    dict or None
        Lengths, chances and shifts.
    """
    if found is None:
        return None
    form, verdict = found.taper, found.check.verdict
    return {
        "at_mm": round(1e3 * form.at, 4),
        "wall_mm": round(1e3 * form.least, 4),
        "instead_of_mm": round(1e3 * found.wall, 4),
        "roads": found.roads,
        "length_mm": round(1e3 * form.length, 4),
        "shoulder_mm": round(1e3 * form.shoulder, 4),
        "metal": round(found.metal, 4),
        "verdict": verdict.word,
        "decided_by": verdict.deciding.rule,
        "utilisation": float(f"{verdict.utilisation:.4g}"),
        "not_lost": round(found.after.chance, 4),
        "proposed_not_lost": round(found.before.chance, 4),
        "samples": int(found.after.kept.size),
        "shifts": {s.what: round(s.change, 4) for s in found.shifts},
        "file": TAPER_FILE,
    }


def margins_row(found: Margins | None) -> dict[str, Any] | None:
    """The same as numbers.

    Parameters
    ----------
    found : Margins or None
        From `margins`.

    Returns
    -------
    dict or None
        Changes of the chance by shift, and by limit with the load.
    """
    if found is None:
        return None
    return {
        "samples": found.samples,
        "not_lost": round(found.chance, 4),
        "load": float(f"{found.load:.4g}"),
        "shifts": {s.what: round(s.change, 4) for s in found.shifts},
        "relaxed": [
            {"limit": r.what, "not_lost": round(r.change, 4), "load": float(f"{r.load:.4g}")}
            for r in found.relaxed
        ],
    }


def designs_row(
    search: DesignSearch | None,
    both: tuple[Outcome | None, Outcome | None],
    costs: Mapping[int, Cost] = NO_COSTS,
    as_designed: bool = True,
) -> dict[str, Any]:
    """The search as rows of JSON, and the chances of the vessel as given and as proposed.

    Parameters
    ----------
    search : DesignSearch or None
        From `search_designs`.
    both : tuple of Outcome or None
        As given and as proposed.
    costs : mapping
        Of each number of changes, from `costs_of`; none without prices.
    as_designed : bool
        Whether the chosen design is proposed; else the vessel as drawn is.

    Returns
    -------
    dict
        Numbers and texts.
    """
    chances = {
        name: None
        if o is None
        else {
            "not_lost": round(o.chance, 4),
            "sound": round(o.unseen, 4) if o.opened.size else None,
            "all_well": round(o.good, 4),
            **{
                f"not_lost_{end}": round(at, 4)
                for end, at in zip(("low", "high"), chance_ends(o), strict=True)
            },
        }
        for name, o in zip(("as_given", "proposed"), both, strict=True)
    }
    if search is None:
        return {"chances": chances, "by_changes": [], "chosen": None}
    return {
        "chances": chances,
        "by_changes": [_row(choice, costs.get(choice.design.changes)) for choice in search.choices],
        "without_place": list(search.placeless),
        "chosen": search.chosen.design.changes if as_designed else None,
        "samples": search.samples,
    }


def recipes_lines(recipes: Sequence[Recipe]) -> list[str]:
    """Pastes to mix, and what each buys, one sentence each.

    Parameters
    ----------
    recipes : sequence of Recipe
        Best first.

    Returns
    -------
    list of str
        For a person.
    """
    return [
        f"- {recipe.text}: not lost {percent(recipe.outcome.chance)} instead of "
        f"{percent(recipe.without.chance)}, all well {percent(recipe.outcome.good)} instead of "
        f"{percent(recipe.without.good)} ({recipe.outcome.kept.size} draws)."
        for recipe in recipes
    ]


def recipe_row(recipe: Recipe) -> dict[str, Any]:
    """A recipe as a row of JSON.

    Parameters
    ----------
    recipe : Recipe
        From `propose_recipes`.

    Returns
    -------
    dict
        Numbers and texts.
    """
    return {
        "base": recipe.base,
        "filler": recipe.filler,
        "percent": round(100.0 * recipe.share, 2),
        "expansion_1e6_per_K": round(1e6 * recipe.after, 3),
        "not_lost": round(recipe.outcome.chance, 4),
        "proposed_not_lost": round(recipe.without.chance, 4),
        "samples": int(recipe.outcome.kept.size),
        "all_well": round(recipe.outcome.good, 4),
        "load": float(f"{recipe.outcome.load:.4g}"),
    }
