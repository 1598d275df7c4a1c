"""Bars of one material to fire before the vessel: how long, what to read, what is expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cofire.assessment.firing_rules import DENSITY, DRYING
from cofire.assessment.response import Response
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import rule_of
from cofire.mechanics.tile import fired_sag
from cofire.numerics import Array
from cofire.physics.history import height_factor
from cofire.physics.paste import paste_of
from cofire.production.green import Green
from cofire.production.piece import WIDTH, Piece, Reading, Sample, bar, fitting
from cofire.units import ROOM, celsius

MARKS, SHORT = 0.1, 0.03
"""Most and least distance of the marks on a wet shrinkage bar: common practice. [m]"""
SLIM = 0.006
"""Width of a fired bar that only tells the scale of the print: estimate. [m]"""
DILATOMETER = 0.05
"""Length of a fired expansion bar: common practice. [m]"""
WARM = ROOM + 480.0
"""Expansion is read from room temperature to 500 °C. [K]"""
SPANS = np.array([10, 12, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 120, 150]) / 1e3
"""Spans of a sag bar. [m]"""
SLENDER = 4.0
"""Least span of a sag bar, in its thickness. [-]"""
READABLE = 1e-3
"""Sag that can be read with a caliper to a tenth: common practice. [m]"""
TENTH = 0.1
"""What a caliper, a straight edge and a dilatometer's curve are read to. [mm], [1e-6/K]"""
BEAM = 0.1
"""Sag over span up to which a bar counts as a beam. [-]"""
FARTHEST = 0.2
"""Sag over span at which a bar is stopped at the latest: it still lies on its rods. [-]"""


def readable_limit(own: float, other: float, used: float) -> float:
    """How far two readings may be apart where a flag grows with that; 0 where none can be told.

    Parameters
    ----------
    own, other : float
        As expected; read to a tenth, as the limit is. [mm] or [1e-6/K]
    used : float
        Utilisation of the flag. [-]

    Returns
    -------
    float
        Expected over used: never less than is read of what is expected where the flag is within
        its limit, always less beyond it.
    """
    if used <= 0.0:
        return 0.0
    read = abs(round(own, 1) - round(other, 1))
    limit = round(abs(own - other) / used, 1)
    return max(limit, read, TENTH) if used <= 1.0 else max(round(min(limit, read - TENTH), 1), 0.0)


def most_used(flags: Sequence[Flag]) -> float:
    """Largest utilisation of flags that could be computed, 0 without one. [-]

    Parameters
    ----------
    flags : sequence of Flag
        That a piece is to decide.
    """
    return max((f.utilisation for f in flags if np.isfinite(f.utilisation)), default=0.0)


def marks_for(green: Green) -> float:
    """Distance of the marks at which a bar tells the scale of a print to a tenth of a millimetre.

    A tenth that is misread on a bar is as much on a vessel of that length: longer reads no better.

    Parameters
    ----------
    green : Green
        The vessel's print.

    Returns
    -------
    float
        Its height or width in whole centimetres, from `SHORT` to `MARKS`. [m]
    """
    size = max(float(green.wall.height[-1]), 2.0 * float(green.wall.outside.max()))
    return float(np.clip(0.01 * np.ceil(100.0 * size), SHORT, MARKS))


def shrinkage_bar(
    response: Response,
    of: Sample,
    flags: Sequence[Flag],
    partner: Sample | None = None,
    marks: float = MARKS,
    width: float = WIDTH,
) -> Piece:
    """A bar with two marks: what it loses in drying and firing, and how dense it gets.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    flags : sequence of Flag
        It is to decide.
    partner : Sample, optional
        The paste beside it, where a flag of drying is to be decided: that grows as the difference
        of the two.
    marks : float
        Their distance when wet, less where the box or kiln has no room for it. [m]
    width : float
        When fired. [m]

    Returns
    -------
    Piece
        5 mm longer than the marks at either end.
    """
    dry, ring, up = of.strains
    whole = bar(response, of, "shrinkage bar", marks + 0.01, (), width)
    length = fitting(
        response.vessel.firing, whole.length, SHORT + 0.01, whole.width, whole.thickness,
        whole.dries,
    )  # fmt: skip
    marks = length - 0.01
    whole = bar(response, of, "shrinkage bar", length, (), width)
    dried, paste = marks * float(np.exp(dry)), paste_of(of.card)
    fired = dried * float(np.exp(ring))
    rules = {flag.rule for flag in flags}
    dry_stop = ""
    used = most_used([flag for flag in flags if flag.rule == DRYING.name])
    other = 1e3 * marks * float(np.exp((partner or of).strains[0]))
    if partner and (limit := readable_limit(1e3 * dried, other, used)):
        dry_stop = (
            f"more than {limit:.1f} mm from that of "
            f"{partner.card.name}, for which {other:.1f} mm is expected"
        )
    mass = paste.dry * whole.volume * float(of.history.mass_fraction[0, -1])
    density = mass / (whole.volume * float(np.exp(3.0 * dry + 2.0 * ring + up)))
    readings = [
        Reading("between the marks, dry", 1e3 * dried, "mm", dry_stop),
        Reading("mass, dry", 1e3 * paste.dry * whole.volume, "g"),
        Reading(
            "between the marks, fired", 1e3 * fired, "mm",
            f"above {1e3 * dried * _longest(of):.1f} mm: less dense than wanted"
            if DENSITY.name in rules else "",
        ),
        Reading("thickness, fired", 1e3 * whole.thickness * float(np.exp(dry + up)), "mm"),
        Reading("mass, fired", 1e3 * mass, "g"),
        Reading("bulk density, fired", density, "kg/m³"),
    ]  # fmt: skip
    stops = dict.fromkeys(sign for flag in flags if (sign := rule_of(flag).sign))
    if stops:
        readings.append(Reading("skin, sound and broken face", 0.0, "", "; ".join(stops)))
    note = f"marks {1e3 * marks:.0f} mm apart"
    if _carburised(of, response.trace.gas):
        note += ", fired mass and density are told without the carbon that it takes up"
    return replace(whole, readings=tuple(readings), note=note)


def _carburised(of: Sample, gas: str) -> bool:
    """Whether it keeps carbon of the gas: its card says what that lengthens it, not its mass."""
    kept = [
        change.name
        for part, _ in of.card.constituents
        for change in part.in_gas(gas).inversions
        if change.by_carbon and not change.comes_back
    ]
    return any(float(of.history.strain[name][0, -1]) != 0.0 for name in kept)


def _longest(of: Sample) -> float:
    """Fired over dried length at which the least density wanted is just reached."""
    h = of.history
    wanted = np.log(of.card["green_density"].scalar / of.card["least_density"].scalar)
    factor = height_factor(of.card)
    other = float(h.free_strain[0, -1] - h.shrinkage[0, -1])
    return float(np.exp(wanted / (2.0 + factor) + other))


def mean_expansion(of: Sample) -> tuple[float, float]:
    """Mean expansion of the fired bar from room temperature, as it cools.

    Parameters
    ----------
    of : Sample
        Its material.

    Returns
    -------
    tuple of float
        Coefficient [1/K], and the temperature it reaches up to, 500 °C where the firing does [K].
    """
    h = of.history
    top = min(WARM, float(h.temperature.max()) - 1.0)
    last = int(np.flatnonzero(h.temperature >= top)[-1])
    thermal = h.free_strain[0] - h.shrinkage[0]
    ends = slice(last + 1, last - 1, -1) if last > 0 else slice(last + 1, None, -1)
    warm = float(np.interp(top, h.temperature[ends], thermal[ends]))
    change = warm - float(thermal[-1])
    return float(np.expm1(change) / (top - h.temperature[-1])), top


def expansion_bar(response: Response, of: Sample, partner: Sample, flags: Sequence[Flag]) -> Piece:
    """A bar for a dilatometer, and how far its expansion may be from its partner's.

    Stress is taken to grow as the difference of the two expansions: the flag's utilisation then
    says what difference it bears.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of, partner : Sample
        The two materials.
    flags : sequence of Flag
        It is to decide.

    Returns
    -------
    Piece
        50 mm long when fired.
    """
    dry, ring, _ = of.strains
    own, warm = mean_expansion(of)
    other, _ = mean_expansion(partner)
    stop, limit = "", readable_limit(1e6 * own, 1e6 * other, most_used(flags))
    if limit and partner.card.name != of.card.name:
        stop = (
            f"more than {limit:.1f} from that of "
            f"{partner.card.name}, for which {1e6 * other:.1f} is expected"
        )
    length = DILATOMETER * float(np.exp(-dry - ring))
    reading = Reading(f"mean expansion, 20 to {celsius(warm):.0f} °C", 1e6 * own, "1e-6/K", stop)
    return bar(response, of, "expansion bar", length, (reading,))


def beyond(span: float) -> float:
    """Length of a fired sag bar beyond either rod, so that it stays up as it bows. [m]

    Parameters
    ----------
    span : float
        Between the rods. [m]
    """
    return 2e-3 + 0.05 * span


def bends_like(thickness: Array, over: Array, span: float) -> Array:
    """Weight of a thin bar without ends that sags as far as one of these does, over its own. [-]

    The ends beyond the rods hold it back, 24/5 (a/L)² (their moment w a²/2 at the rods); shear
    adds 48 E I/(5 κ G A L²) = 2.88 (h/L)², with E = 3 G and κ = 5/6 of the rectangle. Beam theory
    (S. Timoshenko), from memory; both are those of a viscous bar.

    Parameters
    ----------
    thickness, over : array
        h, and a beyond either rod, shape (M,). [m]
    span : float
        L between the rods. [m]
    """
    held = 4.8 * (over / span) ** 2
    shear = 2.88 * (thickness / span) ** 2
    return np.asarray(np.maximum(1.0 - held, 0.0) + shear)


def sag_of(of: Sample, thickness: float, span: float) -> float:
    """Sag of a bar of a material in its firing. [m]

    Parameters
    ----------
    of : Sample
        Its material.
    thickness : float
        As printed. [m]
    span : float
        Between the rods. [m]

    Returns
    -------
    float
        By beam theory; good up to a tenth of the span, from a span of four thicknesses on.
    """
    h = of.history
    dry, ring, up = of.strains
    shrunk = h.free_strain[0] + (up - ring) * _done(h.shrinkage[0])
    thick = thickness * np.exp(dry + shrunk)
    length = (span + 2.0 * beyond(span)) * np.exp(h.free_strain[0] - ring)
    weight = of.card["theoretical_density"].scalar * h.relative_density[0]
    weight = weight * bends_like(thick, 0.5 * (length - span), span)
    return fired_sag(
        h.time, weight, h.viscosity[0], h.creep_factor[0], float(h.creep_exponent[0]), thick, span
    )


def _done(shrinkage: Array) -> Array:
    """Share of the shrinkage reached."""
    end = float(shrinkage[-1])
    return shrinkage / end if end != 0.0 else np.zeros_like(shrinkage)


def sag_bar(response: Response, of: Sample, flags: Sequence[Flag]) -> Piece:
    """A bar across two rods, fired with the vessel: how soft the wall gets.

    The sag grows with the flow of the flag. The span is the shortest at which the sag that just
    uses up the flag's limit can be read, where that is below a tenth of the span.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    of : Sample
        Its material.
    flags : sequence of Flag
        It is to decide; without a utilisation, twice the sag expected is the limit.

    Returns
    -------
    Piece
        A little longer than its span when fired.
    """
    dry, ring, up = of.strains
    thickness = bar(response, of, "sag bar", 0.1, ()).thickness
    worst = most_used(flags) or 0.5
    shortest = SLENDER * thickness * float(np.exp(dry + up))
    spans = SPANS[shortest <= SPANS]
    spans = spans if spans.size else SPANS[-1:]
    sags = np.array([sag_of(of, thickness, float(span)) for span in spans])
    limits = sags / worst
    beams = np.flatnonzero(limits < BEAM * spans)
    last = int(beams[-1]) if beams.size else 0
    chosen = min(int(np.searchsorted(limits, READABLE)), last)
    span, sag, most = float(spans[chosen]), 1e3 * sags[chosen], 1e3 * BEAM * spans[chosen]
    limit = readable_limit(sag, 0.0, worst)
    what = f"sag between rods {1e3 * span:.0f} mm apart"
    farthest = most if sag > most else 1e3 * FARTHEST * spans[chosen]
    stop = f"above {min(limit, farthest):.1f} mm" if limit else ""
    if sag > most:  # how far beyond cannot be told
        what += ", at least"
        if limit >= most:
            stop = f"{most:.1f} mm or more" if worst > 1.0 else ""
    readings = (Reading(what, float(min(sag, most)), "mm", stop),)
    length = (span + 2.0 * beyond(span)) * float(np.exp(-dry - ring))
    return bar(response, of, "sag bar", length, readings)
