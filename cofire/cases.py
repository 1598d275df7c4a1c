"""Many verdicts: a case holds all that one needs, and a sweep is a case for every combination."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from cofire.assessment.check import check_vessel
from cofire.assessment.response import CHECK_STEPS
from cofire.assessment.rule import UNKNOWN
from cofire.assessment.verdict import Verdict
from cofire.errors import CofireError, InputError, UnknownName
from cofire.fields import SEGMENT
from cofire.files import is_number, show
from cofire.firing.program import Firing, checked
from cofire.given import AnyFiring, AnyVessel, cards_for, several, vessel_of
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.shell_march import made_ready
from cofire.numerics import one_thread
from cofire.physics.blends import find_material
from cofire.units import MINUTE, celsius, kelvin
from cofire.vessel import THINNEST, Vessel
from cofire.workers import each

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True, repr=False)
class Case:
    """One vessel, one firing, one set of cards: all that a verdict needs, in any process.

    Attributes
    ----------
    vessel
        As for `cofire.read_vessel`: a path, a mapping or a Vessel; kept as a Vessel in its firing.
    firing
        As for `cofire.read_firing`, where it is not the vessel's own.
    cards
        Materials by name, where these are not the shipped ones and those of its tables.
    deviates
        How many standard uncertainties a property lies from its card's value, by material and
        name of the property; held within what is possible for it. [-]
    extend
        Hold tables' last values beyond their rows.
    quick
        Whether the shell shall decide, in a tenth of the time, as with `cofire check --quick`.

    Examples
    --------
    >>> import pickle
    >>> from dataclasses import replace
    >>> import cofire as cf
    >>> case = cf.Case(cf.example_vessel(), quick=True)
    >>> softer = replace(case, deviates={("fine silver", "yield_stress"): -1.0})
    >>> len(pickle.dumps(softer)) < 10_000
    True
    >>> cf.evaluate(softer).worst.utilisation == cf.evaluate(case).worst.utilisation
    False
    """

    vessel: AnyVessel
    firing: AnyFiring | None = None
    cards: Mapping[str, Card] | None = None
    deviates: Mapping[tuple[str, str], float] = field(default_factory=dict)
    extend: bool = False
    quick: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "vessel", vessel_of(self.vessel, self.firing))

    def __repr__(self) -> str:
        vessel = vessel_of(self.vessel)
        moved = f", {len(self.deviates)} properties moved" * bool(self.deviates)
        return f"<Case {vessel.name!r} in {vessel.firing.name!r}{moved}>"


@one_thread
def evaluate(case: Case) -> Verdict:
    """The verdict on one case, as a check gives it; any executor can map it over many.

    Parameters
    ----------
    case : Case
        Vessel, firing and cards.

    Returns
    -------
    Verdict
        Worst flag first.

    Raises
    ------
    CofireError
        It cannot be fired, or a deviate is of nothing uncertain.

    Examples
    --------
    >>> import cofire as cf
    >>> cf.evaluate(cf.Case(cf.example_vessel())).word
    'no'
    """
    vessel = vessel_of(case.vessel)  # in its firing
    known = dict(cards_for(vessel.tables, case.cards))
    if case.deviates:
        known |= _sampled(needed(vessel, known), case.deviates)
    control = replace(CHECK_STEPS, compiled=True) if case.quick else CHECK_STEPS
    return check_vessel(
        vessel, known, extend=case.extend, control=control, quick=case.quick
    ).verdict


def _sampled(
    known: Mapping[str, Card], deviates: Mapping[tuple[str, str], float]
) -> dict[str, Card]:
    """The metals and ceramics with some of their properties moved."""
    from cofire.assessment.draws import Factor, factors_of, varied

    pure = list(pure_cards(known.values()).values())
    possible = [(factor.material, factor.name) for factor in factors_of(pure)]
    for key in deviates:
        if key not in possible:
            names = (f"{material}: {name}" for material, name in possible)
            raise UnknownName("uncertain property", ": ".join(map(str, key)), names, "deviates")
    factors = [Factor(*key) for key in deviates]
    return varied(pure, factors, np.array(list(deviates.values())), Counter())


def needed(vessel: Vessel, cards: Mapping[str, Card]) -> dict[str, Card]:
    """The cards that a vessel's bands are made of, and no others.

    Parameters
    ----------
    vessel : Vessel
        Its bands.
    cards : mapping
        Materials by name.

    Returns
    -------
    dict
        The metals and ceramics by name, and blends that have a name of their own.

    Raises
    ------
    InputError
        An unknown material.
    """
    known = dict(cards)
    found = {band.material: find_material(band.material, known) for band in vessel.bands}
    named = {name: one for name, one in found.items() if "=" not in name}
    return pure_cards(found.values()) | named


def with_peak(firing: Firing, peak: float) -> Firing:
    """The same firing with another peak.

    Parameters
    ----------
    firing : Firing
        Its segments that reach the peak are moved.
    peak : float
        Of the kiln. [K]

    Returns
    -------
    Firing
        Named for its peak.

    Raises
    ------
    InputError
        Below another segment's target, or above what the kiln can do.
    """
    others = [s.target for s in firing.segments if s.target < firing.peak - 1e-9]
    if others and peak < max(others):
        raise InputError(
            f"{firing.name}: peak_C = {celsius(peak):g}; must not lie below its segment to "
            f"{celsius(max(others)):g} °C"
        )
    segments = tuple(
        s if s.target < firing.peak - 1e-9 else replace(s, target=peak) for s in firing.segments
    )
    name = f"{firing.name}, {celsius(peak):g} °C"
    return checked(replace(firing, name=name, segments=segments), name)


def with_hold(firing: Firing, hold: float) -> Firing:
    """The same firing with another hold at its peak.

    Parameters
    ----------
    firing : Firing
        Its last segment that reaches the peak is held.
    hold : float
        [s]

    Returns
    -------
    Firing
        Named for its hold.

    Raises
    ------
    InputError
        Shorter or longer than a firing file may say.
    """
    minutes, known = hold / MINUTE, SEGMENT["hold_min"]
    if not known.least <= minutes <= known.most:
        allowed = f"{known.least:g} to {known.most:g}"
        raise InputError(f"{firing.name}: hold_min = {minutes:g}; allowed: {allowed}")
    last = max(n for n, s in enumerate(firing.segments) if s.target >= firing.peak - 1e-9)
    segments = list(firing.segments)
    segments[last] = replace(segments[last], hold=hold)
    return replace(firing, name=f"{firing.name}, {minutes:g} min", segments=tuple(segments))


def with_wall(vessel: Vessel, wall: float) -> Vessel:
    """The same vessel with a wall of one thickness; its mid-surface stays, and so does its floor.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    wall : float
        [m]

    Returns
    -------
    Vessel
        Of the same name.

    Raises
    ------
    InputError
        Too thin to print, or over half of a radius.
    """
    floor = vessel.radius <= 0.0
    most = 0.5 * float(vessel.radius[~floor].min())
    if not THINNEST <= wall <= most:
        raise InputError(
            f"{vessel.name}: wall_mm = {1e3 * wall:g}; allowed: {1e3 * THINNEST:g} to "
            f"{1e3 * most:.3g}, half of its least radius"
        )
    return replace(vessel, wall=np.where(floor, vessel.wall, wall))


def sweep(
    vessel: AnyVessel,
    *,
    peak_C: float | Iterable[float] | None = None,
    hold_min: float | Iterable[float] | None = None,
    wall_mm: float | Iterable[float] | None = None,
    firing: AnyFiring | None = None,
    cards: Mapping[str, Card] | None = None,
    extend: bool = False,
    quick: bool = False,
    executor: Executor | None = None,
) -> DataFrame:
    """Verdicts on a vessel for every combination of some values, one row each.

    Parameters
    ----------
    vessel : path, mapping or Vessel
        As for `cofire.read_vessel`.
    peak_C : float or several, optional
        Of the kiln, at which its hottest segments end. [°C]
    hold_min : float or several, optional
        At the peak. [min]
    wall_mm : float or several, optional
        One thickness all over; the mid-surface and a floor stay as they are. [mm]
    firing : path, mapping, rows or Firing, optional
        As for `cofire.read_firing`; by default the vessel's own.
    cards : mapping, optional
        Materials by name; by default the shipped ones and those of its tables.
    extend : bool
        Hold tables' last values beyond their rows.
    quick : bool
        Let the shell decide, in a tenth of the time.
    executor : Executor, optional
        Of `concurrent.futures` or like it; by default one after the other.

    Returns
    -------
    DataFrame
        The values swept, then verdict, utilisation (the largest share of a limit) and
        utilisation_of (whose), rule, zone and note (of what decides, which may be another), and
        crack_probability. What cannot be fired is "unknown", without figures, and the note says
        why.

    Raises
    ------
    InputError
        No such material, or a value that is no number.

    Examples
    --------
    >>> import cofire as cf
    >>> table = cf.sweep(cf.example_vessel(), peak_C=[850, 870], wall_mm=[1.5, 2.0], quick=True)
    >>> table[["peak_C", "wall_mm", "verdict"]]
       peak_C  wall_mm verdict
    0   850.0      1.5      no
    1   850.0      2.0      no
    2   870.0      1.5      no
    3   870.0      2.0      no
    """
    from pandas import DataFrame

    base = vessel_of(vessel, firing)
    some = needed(base, cards_for(base.tables, cards))
    axes = {
        name: [_number(name, value) for value in several(given)]
        for name, given in (("peak_C", peak_C), ("hold_min", hold_min), ("wall_mm", wall_mm))
        if given is not None
    }
    points = [dict(zip(axes, values, strict=True)) for values in itertools.product(*axes.values())]
    jobs = [(base, point, some, extend, quick) for point in points]
    if quick and executor is not None:
        made_ready(executor)
    found = each(_row, jobs, executor)
    columns = [*axes, *TOLD]
    return DataFrame(
        [{**point, **row} for point, row in zip(points, found, strict=True)], columns=columns
    )


def _number(name: str, value: object) -> float:
    if not is_number(value):
        raise InputError(f"{name} = {show(value)}; allowed: a number, or several")
    return float(value)


def _row(job: tuple[Vessel, dict[str, float], dict[str, Card], bool, bool]) -> dict[str, object]:
    """One row of a sweep, from anywhere."""
    vessel, point, some, extend, quick = job
    try:
        case = Case(_changed(vessel, point), cards=some, extend=extend, quick=quick)
        verdict = evaluate(case)
    except CofireError as error:
        return {"verdict": UNKNOWN, "note": str(error)}
    return dict(zip(TOLD, told(verdict), strict=True))


TOLD = (
    "verdict", "utilisation", "utilisation_of", "rule", "zone", "crack_probability", "note",
)  # fmt: skip
"""What a sweep says of a verdict."""


def told(verdict: Verdict) -> tuple[str, float, str, str, str, float, str]:
    """What `TOLD` names: the rule, its zone and its note are those that decide, as a check has it.

    Parameters
    ----------
    verdict : Verdict
        From `evaluate`.

    Returns
    -------
    tuple
        Word, largest share of a limit used up and its rule, what decides and where, largest
        probability of a crack, and the note of what decides.
    """
    by = verdict.deciding
    return (
        verdict.word, verdict.utilisation, verdict.most_used.rule, by.rule, by.zone,
        verdict.crack_probability, by.note,
    )  # fmt: skip


def _changed(vessel: Vessel, point: Mapping[str, float]) -> Vessel:
    """The vessel at one point of a sweep."""
    firing = vessel.firing
    if "peak_C" in point:
        firing = with_peak(firing, kelvin(point["peak_C"]))
    if "hold_min" in point:
        firing = with_hold(firing, point["hold_min"] * MINUTE)
    if "wall_mm" in point:
        vessel = with_wall(vessel, point["wall_mm"] / 1e3)
    return replace(vessel, firing=firing)
