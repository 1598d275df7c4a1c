"""The verdict as a person reads it in a screenful, and as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence

import numpy as np

from cofire import __version__
from cofire.assessment.cautions import AT_THE_KILN, DEFER, Caution
from cofire.assessment.chance import rather_kept
from cofire.assessment.check import Check
from cofire.assessment.fired_metal import FiredMetal, fired_metals
from cofire.assessment.rule import GO, GRADE, NO, UNKNOWN, Flag
from cofire.assessment.verdict import Verdict, crack_chance, rule_of
from cofire.firing.controller import degrees, degrees_per_hour
from cofire.firing.program import Firing
from cofire.materials.card import pure_cards
from cofire.mechanics.solid_firing import SolidFiring
from cofire.numerics import Array
from cofire.production.changeovers import DONE
from cofire.report.writing import wrapped
from cofire.units import HOUR, MINUTE, celsius

SCHEMA = 1
SHOWN = 3
"""Zones of one rule that the text lists; the JSON has all. [-]"""
RULE_ERROR = "with what the rule itself may be wrong by"
"""What a probability of a crack holds beside the scatter of strength (see `crack_chance`)."""


def called(chance: float) -> str:
    """What to do with a pot, by whether it is likelier kept than lost.

    Parameters
    ----------
    chance : float
        That it is not lost. [-]

    Returns
    -------
    str
        A clause.
    """
    return "fire it" if rather_kept(chance) else "do not fire it"


def few_kept(chance: float) -> str:
    """That a pot is rather lost than kept, and what follows.

    Parameters
    ----------
    chance : float
        That it is not lost. [-]

    Returns
    -------
    str
        A sentence with a space before it; empty where it is rather kept.
    """
    if rather_kept(chance):
        return ""
    return f" No more than half of such pots are kept: {called(chance)} as it stands."


def number(value: float) -> str:
    """A figure with three significant digits, without an exponent where that reads badly.

    Parameters
    ----------
    value : float
        Any. [any]

    Returns
    -------
    str
        "-" where it is no number.
    """
    if not math.isfinite(value):
        return "-" if math.isnan(value) else "no end"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    return f"{value:.{max(2 - size, 0)}f}" if -3 <= size < 7 else f"{value:.1e}"


def measured(flag: Flag) -> str:
    """Figure against limit, in as many digits as tell them apart.

    Parameters
    ----------
    flag : Flag
        From `judge`.

    Returns
    -------
    str
        With the unit; alike only where five digits do not tell them apart.

    Examples
    --------
    >>> from cofire.assessment.rule import Flag
    >>> kept = {"zone": "rim", "utilisation": 1.0, "caution": 0.5, "unit": "µm", "note": ""}
    >>> measured(Flag(figure=20.0, limit=19.99, **kept))
    '20.00 against 19.99 µm'
    """
    one, other = number(flag.figure), number(flag.limit)
    for digits in (4, 5):
        if one != other or flag.figure == flag.limit:
            break
        one, other = f"{flag.figure:#.{digits}g}", f"{flag.limit:#.{digits}g}"
    return f"{one} against {other} {flag.unit}"


def place(flag: Flag) -> str:
    """When and where, as far as the flag knows.

    Parameters
    ----------
    flag : Flag
        From `judge`.

    Returns
    -------
    str
        Empty where it has none.
    """
    parts = []
    if flag.temperature is not None:
        parts.append(f"at {celsius(flag.temperature):.0f} °C")
    if flag.time is not None:
        parts.append(f"{flag.time / HOUR:.1f} h")
    if flag.height is not None:
        parts.append(f"{flag.height * 1e3:.0f} mm up")
    return ", ".join(parts)


def decided(verdict: Verdict) -> str:
    """The word, what decides it, and how much of that limit is used up.

    Parameters
    ----------
    verdict : Verdict
        From `judge`.

    Returns
    -------
    str
        Such as "caution by brown (0.807 of its limit)".
    """
    flag = verdict.deciding
    if verdict.grade == GO:
        return f"go with at most {number(flag.counted)} of a limit used up ({flag.rule})"
    return f"{verdict.word} by {flag.rule} ({number(flag.counted)} of its limit)"


def unknown_line(flags: Iterable[tuple[str, str]]) -> str:
    """Which limits could not be computed, and how they count in a chance.

    Parameters
    ----------
    flags : collection of tuple
        Rule and zone of each, one at least.

    Returns
    -------
    str
        A clause.
    """
    told = "; ".join(f"{rule}, {zone}" for rule, zone in flags)
    return f"not computed, each counted as likely passed as kept: {told}"


def passed_too(verdict: Verdict) -> str:
    """The other rules whose limit is passed, each with how far, in one sentence.

    Parameters
    ----------
    verdict : Verdict
        From `judge`.

    Returns
    -------
    str
        Empty where what decides is the only one.
    """
    worst = [flags[0] for flags in verdict.by_rule.values()][1:]
    told = [f"{f.rule} ({number(f.counted)} of its limit)" for f in worst if f.grade >= NO]
    return f"Passed too: {', '.join(told)}." if told else ""


def ends_line(check: Check) -> str:
    """Up to where each pure zone is laid of its own paste alone, or what it is mixed of.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    str
        With a full stop; empty where no changeover was counted.
    """
    if not check.smeared:
        return ""
    heights, shares = _laid_shares(check)
    drawn = [card.metal_share for card in check.cards]
    told = []
    for end, beside, where in ((0, 1, "foot"), (-1, -2, "rim")):
        off = np.abs((shares - drawn[end]) / (drawn[beside] - drawn[end]))
        reach = _alone(heights, off, end)
        if reach is None:
            told.append(f"{_blend_words(check, float(shares[end]))} at the {where}")
        else:
            far = f"up to {1e3 * reach[1]:.1f}" if end == 0 else f"from {1e3 * reach[0]:.1f}"
            told.append(f"{check.cards[end].name} alone {far} mm")
    if check.vessel.upper is not None:
        told.insert(1, _middle(check, heights, shares))
    return f"As the pastes mix at each change: {', '.join(told)}."


def _laid_shares(check: Check) -> tuple[Array, Array]:
    """Heights of the vessel as laid, a joint twice, and metal's share of the solids. [m], [-]"""
    printed = check.printed
    places = [
        place
        for band, card in zip(printed.vessel.bands, printed.cards, strict=True)
        for place in band.fade or [(z, card.metal_share) for z in (band.low, band.high)]
    ]
    heights, shares = np.array(places).T
    return heights, shares


def _alone(heights: Array, off: Array, at: int) -> tuple[float, float] | None:
    """Between which heights around a place other paste has no more than a twentieth, if there."""
    mixed = off > 1.0 - DONE
    if mixed[at]:
        return None
    at %= off.size
    before, after = np.flatnonzero(mixed[:at]), at + np.flatnonzero(mixed[at:])

    def passed(inner: int, outer: int) -> float:
        return float(np.interp(1.0 - DONE, off[[inner, outer]], heights[[inner, outer]]))

    low = passed(before[-1] + 1, before[-1]) if before.size else float(heights[0])
    high = passed(after[0] - 1, after[0]) if after.size else float(heights[-1])
    return low, high


def _blend_words(check: Check, share: float) -> str:
    """A share of metal in the words of a blend."""
    metal, ceramic = sorted(pure_cards(check.cards).values(), key=lambda card: -card.metal_share)
    return f"{100 * share:.3g} % {metal.name} / {100 * (1.0 - share):.3g} % {ceramic.name}"


DISSOLVED = 0.5
"""Of the other paste in a band, from which nothing is left of it: our choice. [-]"""


def _middle(check: Check, heights: Array, shares: Array) -> str:
    """The same of a band in the middle: where it is alone, or what is nearest to it."""
    inner = [n for n, card in enumerate(check.cards[1:-1], 1) if not card.parts]
    at = inner[0] if inner else 0
    own = check.cards[at]
    beside = [check.cards[n].metal_share for n in (at - 1, at + 1) if 0 <= n < len(check.cards)]
    change = np.abs(shares - own.metal_share)
    nearest = int(np.argmin(change))
    reach = _alone(heights, change / max(abs(s - own.metal_share) for s in beside), nearest)
    if reach is not None:
        return f"{own.name} alone from {1e3 * reach[0]:.1f} to {1e3 * reach[1]:.1f} mm"
    told = _blend_words(check, float(shares[nearest]))
    if change[nearest] > DISSOLVED:
        return f"the band in the middle dissolves to {told}"
    return f"{told} in the middle"


def solved_as(check: Check) -> str:
    """Which structure answered, on which mesh, and how far its stress may be out.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    str
        One sentence.
    """
    fired = check.printed.fired
    mesh = 100.0 * fired.mesh_error
    time = float(fired.step_error.max()) / 1e6
    found = f"Wall worked out as a {fired.structure}; stress out by {mesh:.1f} % for the mesh"
    if isinstance(fired, SolidFiring):
        found += f" ({100.0 * fired.window_error:.1f} % beside joints)"
    found += f" and up to {time:.2g} MPa a step in time"
    found += f"; no solid: {check.why}." if check.why else "."
    if np.any(fired.lying):
        found += " Cracks in the floor, and from its corner with the wall, are not looked for."
    return found


def as_text(check: Check, hazards: Sequence[Caution], width: int = 100) -> str:
    """Verdict first, then its reasons, then the flags that pass, then the hazards.

    Parameters
    ----------
    check : Check
        From `check_vessel`.
    hazards : sequence of Caution
        From `cautions`.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    verdict, response = check.verdict, check.printed
    flag = verdict.deciding
    vessel = response.vessel

    def wrap(text: str, indent: int = 0, hang: int = 0) -> list[str]:
        return wrapped(" " * indent + text, indent + hang, width)

    title = (
        f"{verdict.word.upper()}: {vessel.name}, {vessel.firing.name} in {vessel.firing.gas_words}"
    )
    lines = wrap(title)
    for hazard in hazards:
        if hazard.hazard in AT_THE_KILN:
            lines += wrap(f"! {hazard.hazard}: {hazard.text} [{hazard.source}]")
    if vessel.left_open is not None:
        lines += wrap(taken(vessel.firing))
    if verdict.grade > GO:
        lines += wrap(f"Decided by {flag.rule}, {flag.zone}: {harm(flag)}{flag.note}.")
    if check.smeared:
        lines += wrap(ends_line(check))
    lines.append("")
    for rule, flags in verdict.by_rule.items():
        bad = [flag for flag in flags if flag.grade > GO]
        for flag in bad[:SHOWN]:
            start = f"{flag.verdict:7} " + (f"{rule}, " if flag is bad[0] else "  ")
            lines += wrap(f"{start}{flag.zone}: {_finding(flag)}", hang=8)
        if len(bad) > SHOWN:
            more = len(bad) - SHOWN
            lines += wrap(f"and {more} more zone{'s' if more > 1 else ''}", 10)
        if bad:
            note = "" if bad[0].verdict == UNKNOWN else f"{_sentence(harm(bad[0]) + bad[0].note)} "
            lines += wrap(note + bad[0].remedy, 8)
    passed = {rule: flags[0] for rule, flags in verdict.by_rule.items() if flags[0].grade == GO}
    if passed:
        names = (
            f"{rule} {number(flag.utilisation)} ({flag.zone})" for rule, flag in passed.items()
        )
        lines += ["", *wrap("go      (largest share of a limit used) " + "; ".join(names))]
    metals = fired_metals(response)
    if metals:
        told = "; ".join(metal.text() for metal in metals)
        lines += ["", *wrap("the metal when cold (estimate from its card and the density it "
                            f"reaches; nine in ten within the brackets): {told}")]  # fmt: skip
    for line in response.history.extended:
        lines += wrap(f"beyond its table: {line}")
    lines += wrap(solved_as(check))
    lines.append("")
    for hazard in hazards:
        if hazard.hazard not in AT_THE_KILN:
            lines += wrap(f"! {hazard.hazard}: {hazard.text} [{hazard.source}]")
    lines += wrap(f"! {DEFER}")
    return "\n".join(lines) + "\n"


def harm(flag: Flag) -> str:
    """What a flag warns of, before what was found.

    Parameters
    ----------
    flag : Flag
        From a verdict.

    Returns
    -------
    str
        A clause and a semicolon; empty where its rule says none.
    """
    told = rule_of(flag).happens(flag.grade)
    return f"{told}; " if told else ""


def _finding(flag: Flag) -> str:
    """Figure, limit and place of one flag, or why there is none."""
    if flag.verdict == UNKNOWN:
        return f"{flag.note}."
    where = place(flag)
    if flag.unit == GRADE:
        return where
    return measured(flag) + as_stress(flag) + (f", {where}" if where else "")


def as_stress(flag: Flag) -> str:
    """What stands beside a figure: of a probability the rule's own error; how unsure the limit is.

    Parameters
    ----------
    flag : Flag
        From a verdict.

    Returns
    -------
    str
        Begins with a space; empty for a flag whose utilisation is its figure over its limit, and
        whose limit was measured.
    """
    chance = crack_chance(flag)
    if chance is None or flag.utilisation != flag.utilisation:
        return unsure(flag)
    return (
        f" ({number(100.0 * chance)} % {RULE_ERROR}; utilisation "
        f"{number(flag.utilisation)}, as a share of the stress of that limit){unsure(flag)}"
    )


def unsure(flag: Flag) -> str:
    """Between which shares of its limit a flag lies that hangs on a number nobody knows well.

    Parameters
    ----------
    flag : Flag
        From a verdict.

    Returns
    -------
    str
        Begins with a space; empty for a flag without such a number.
    """
    if flag.low is None or flag.high is None:
        return ""
    return f" ({number(flag.low)} to {number(flag.high)} of the limit, as unsure as that is)"


def _sentence(text: str) -> str:
    """The same with a capital and a full stop."""
    return f"{text[:1].upper()}{text[1:]}."


def flag_row(flag: Flag) -> dict[str, object]:
    """One flag in the units of the border, ready for JSON.

    Parameters
    ----------
    flag : Flag
        From `judge`.

    Returns
    -------
    dict
        None where there is no figure.
    """

    def finite(value: float | None) -> float | None:
        return None if value is None or not math.isfinite(value) else float(f"{value:.6g}")

    return {
        "rule": flag.rule,
        "zone": flag.zone,
        "verdict": flag.verdict,
        "utilisation": finite(flag.utilisation),
        "utilisation_low": finite(flag.low),
        "utilisation_high": finite(flag.high),
        "caution_from": flag.caution,
        "figure": finite(flag.figure),
        "chance_of_crack": finite(crack_chance(flag)),
        "limit": finite(flag.limit),
        "unit": flag.unit,
        "note": flag.note,
        "source": flag.source,
        "remedy": flag.remedy,
        "time_h": finite(None if flag.time is None else flag.time / HOUR),
        "temperature_C": finite(None if flag.temperature is None else celsius(flag.temperature)),
        "height_mm": finite(None if flag.height is None else flag.height * 1e3),
    }


def metal_row(metal: FiredMetal) -> dict[str, object]:
    """One metal zone in the units of the border, ready for JSON.

    Parameters
    ----------
    metal : FiredMetal
        From `fired_metals`.

    Returns
    -------
    dict
        None where the card does not tell; a range holds nine in ten.
    """

    def times(value: float | None, factor: float) -> float | None:
        return None if value is None else float(f"{factor * value:.4g}")

    def span(name: str, factor: float) -> list[float | None] | None:
        likely = metal.likely(name)
        return None if likely is None else [times(end, factor) for end in likely]

    return {
        "zone": metal.zone,
        "relative_density": times(metal.density, 1.0),
        "tensile_MPa": times(metal.strength, 1e-6),
        "tensile_range_MPa": span("strength", 1e-6),
        "bending_MPa": times(metal.bending, 1e-6),
        "bending_range_MPa": span("bending", 1e-6),
        "elongation_percent": times(metal.elongation, 100.0),
        "elongation_range_percent": span("elongation", 100.0),
        "source": metal.source,
    }


def as_json(check: Check, hazards: Sequence[Caution]) -> str:
    """The verdict as one JSON object with its schema number.

    Parameters
    ----------
    check : Check
        From `check_vessel`.
    hazards : sequence of Caution
        From `cautions`.

    Returns
    -------
    str
        Ends in a new line.
    """
    verdict, response = check.verdict, check.printed
    whole = {
        "schema": SCHEMA,
        "cofire": __version__,
        "vessel": response.vessel.name,
        "firing": response.vessel.firing.name,
        "gas": response.vessel.firing.gas_words,
        "firing_from": "file" if response.vessel.left_open is None else "shared window",
        "verdict": verdict.word,
        "decided_by": verdict.deciding.rule,
        "as_printed": check.smeared,
        "structure": response.fired.structure,
        "why_no_solid": check.why or None,
        "flags": [flag_row(flag) for flag in verdict.flags],
        "fired_metal": [metal_row(m) for m in fired_metals(response)],
        "beyond_tables": list(response.history.extended),
        "mesh_error": float(f"{response.fired.mesh_error:.3g}"),
        "step_error_MPa": float(f"{response.fired.step_error.max() / 1e6:.3g}"),
        "cautions": [vars(h) for h in hazards],
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def taken(firing: Firing) -> str:
    """What firing was taken, in one sentence.

    Parameters
    ----------
    firing : Firing
        Of a vessel from `started`.

    Returns
    -------
    str
        With its segments, in the degrees of its kiln's controller.
    """
    steps, controller = [], firing.kiln.controller
    for segment in firing.segments:
        rate = "full"
        if segment.rate < float("inf"):
            rate = f"at {degrees_per_hour(controller, segment.rate)}"
        hold = f" for {segment.hold / MINUTE:.0f} min" if segment.hold > 0.0 else ""
        steps.append(f"{degrees(controller, segment.target)} {rate}{hold}")
    return (
        f"The file names no firing; taken from the window that its materials share, in "
        f"{firing.gas_words} (kiln: {firing.kiln.name}): {', '.join(steps)}, then cooling shut. "
        "Its soak is in the middle of all peaks that they share, for a ware that lags behind the "
        "kiln, with a margin of density; cofire screen tells the shortest comfortable one, of the "
        "ware itself, which is often hotter."
    )
