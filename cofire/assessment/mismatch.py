"""How far two fired zones are apart, along one firing and when cold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.crystal_rules import turned_grade, turned_words
from cofire.assessment.own_weight import sag_grade, sag_words, sagged
from cofire.assessment.rule import GO, NO
from cofire.assessment.windows import RATE, ceiling
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing, Kiln, ware_firing
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.history import Along, History, burnout, histories
from cofire.physics.rheology import relaxation_time, set_point
from cofire.physics.stability import turned
from cofire.units import celsius

# ----------------------------------------------------------------------------------------------
# How far two fired zones are apart: while sintering, after cooling, and in an elastic tile

SEAL_LIMIT = 300e-6
"""Differential contraction above which sealed glass is likely to fracture (ASTM F14 and F144,
scope: about 300 ppm). [-]"""
GRADED_RELIEF = 5.0
"""A joint graded over eight decay lengths keeps about a fifth of a direct joint's bending (linear
grade of a long cylinder, closed form): beyond this no transition helps. [-]"""
SAFE_SHARE = 0.5
"""Share of the median strength taken as safe before survival is computed: common practice. [-]"""
SINTERING_GO, SINTERING_NO = 0.01, 0.15
"""Worst mismatch of free strain while sintering: below 1 % cofired packages count as matched;
above 15 % one zone has shrunk whole before the other begins. Common practice. [-]"""
BINDER_LEAVES, BINDER_GONE = "binder begins to leave", "binder gone"
WATER_GONE, HOTTEST = "bound water gone", "hottest"
"""Names of events, as text, figures and sheet tell them."""
TOLD = 0.5
"""What is told to a degree is the same within it. [K]"""
BEGUN, DONE = 0.05, 0.95
"""Share of what a firing drives out at which it has begun, and at which it is gone. [-]"""
SET_STRESS = 10e6
"""Stress at which a metal's creep is read for its set point. [Pa]"""


@dataclass(frozen=True, kw_only=True)
class PairBlock:
    """Figures of one metal against K ceramics in one firing, arrays of shape (K,).

    A sag is that of a ring that bears only itself (`own_weight.sagged`), `turned` the larger share
    of the pair of the time that crystals last (`stability.turned`). Units as in `Pair`;
    `grade` is 0, 1 or 2 for go, caution, no; `cause` says which rule decided.
    """

    metal_density: float
    ceramic_density: Array
    end_mismatch: Array
    worst_mismatch: Array
    worst_temperature: Array
    set_point: Array
    cooled_mismatch: Array
    tile_tension: Array
    strength: Array
    metal_sag: float
    ceramic_sag: Array
    turned: Array
    grade: NDArray[np.intp]
    cause: NDArray[np.intp]


CAUSES = ("matched", "sintering", "cooling", "tile", "sag", "crystals")
_TOLD_FIRST = ("sag", "tile", "cooling", "sag", "crystals", "sintering")
_CAUSE_OF = np.array([CAUSES.index(cause) for cause in _TOLD_FIRST])


@dataclass(frozen=True)
class Fired:
    """Histories of cards in one firing, and what the pair figures need of each."""

    history: History
    free_strain: Array
    until_hottest: Array
    shrunk: Array
    set_index: NDArray[np.intp]
    set_point: Array
    sag: Array
    sag_grade: NDArray[np.intp]
    turned: Array


def fire(cards: Sequence[Card], kiln: Kiln, peak: float, hold: float, gas: str) -> Fired:
    """Histories of cards in a plain firing that gives the ware a peak and hold.

    The ware lags as the gas has it (`ware_firing`), on cooling too.

    Parameters
    ----------
    cards : sequence of Card
        N cards.
    kiln : Kiln
        Its limits.
    peak, hold : float
        Of the ware. [K], [s]
    gas : str
        Around the ware.

    Returns
    -------
    Fired
        Tables that end below the peak, or begin above 20 °C, are held there and reported in
        `history.extended`.
    """
    along = Along(trace(ware_firing(kiln, peak, hold, RATE, gas)), extend=True)
    history = along.of(cards)
    sets, index = zone_set_points(history)
    top = int(np.max(np.flatnonzero(history.temperature == history.temperature.max())))
    sag = sagged(cards, history, along)
    used = np.array([turned(card, history.time, history.temperature)[-1] for card in cards])
    free, shrunk = history.free_strain, np.exp(history.shrinkage[:, -1])
    rising = np.ascontiguousarray(free[:, : top + 1])
    return Fired(history, free, rising, shrunk, index, sets, sag, sag_grade(sag), used)


def zone_set_points(history: History) -> tuple[Array, NDArray[np.intp]]:
    """Set point of each zone on the last cooling, and the first node at or below it.

    Parameters
    ----------
    history : History
        Of N zones.

    Returns
    -------
    tuple of array
        Temperatures and indices into the trace, shape (N,) each. [K], [-]
    """
    time, temperature = history.time, history.temperature
    relaxation = relaxation_time(
        history.young_modulus,
        history.viscosity,
        history.creep_factor,
        history.creep_exponent[:, None],
        SET_STRESS,
    )
    sets = np.array([set_point(time, temperature, row) for row in relaxation])
    top = int(np.max(np.flatnonzero(temperature == temperature.max())))
    below = temperature[None, top:] <= sets[:, None] + 1e-9
    below[:, -1] = True
    return sets, top + np.argmax(below, axis=1)


def bilayer_tension(metal_modulus: Array | float, ceramic_modulus: Array, mismatch: Array) -> Array:
    """Largest tension in the ceramic half of an elastic plate of two equal layers.

    Timoshenko 1925, J. Opt. Soc. Am. 11, 233, in its plate form: free to bend, plane sections.

    Parameters
    ----------
    metal_modulus, ceramic_modulus : array
        Biaxial moduli E/(1−ν). [Pa]
    mismatch : array
        Free strain of the metal minus that of the ceramic. [-]

    Returns
    -------
    array
        Larger of the stresses at the ceramic's two faces, 0 if both are compressed. [Pa]
    """
    m, c = metal_modulus, ceramic_modulus
    # base strain and curvature times thickness, from force and moment balance
    a, b, d = m + c, 0.5 * (m - c), (m + c) / 3.0
    force, moment = m * mismatch, 0.5 * m * mismatch
    det = a * d - b * b
    base = (force * d - moment * b) / det
    bend = (moment * a - force * b) / det
    return np.maximum(np.maximum(c * base, c * (base - bend)), 0.0)


def compare(fired: Fired, metal: int, ceramics: NDArray[np.intp]) -> PairBlock:
    """Mismatch figures of one metal against many ceramics in one firing.

    Parameters
    ----------
    fired : Fired
        Histories of all.
    metal : int
        Index of the metal.
    ceramics : array of int
        Indices of K ceramics.

    Returns
    -------
    PairBlock
        Graded by strain while sintering, strain after cooling, the tension of an elastic
        tile of two equal layers, flow under own weight, and the time that crystals last.
    """
    h, free, shrunk = fired.history, fired.free_strain, fired.shrunk
    apart, rows = fired.until_hottest.take(ceramics, axis=0), np.arange(ceramics.size)
    np.subtract(fired.until_hottest[metal], apart, out=apart)
    most, least = apart.argmax(axis=1), apart.argmin(axis=1)
    worst = np.where(apart[rows, most] >= -apart[rows, least], most, least)
    worst_mismatch = apart[rows, worst]
    stored = np.maximum(fired.set_index[metal], fired.set_index[ceramics])
    at_set = free[metal, stored] - free[ceramics, stored]
    cooled = free[metal, -1] - free[ceramics, -1] - at_set
    biaxial = h.young_modulus[:, -1] / (1.0 - h.poisson_ratio)
    tension = bilayer_tension(biaxial[metal], biaxial[ceramics], cooled)
    strength = h.strength[ceramics, -1]
    size = np.abs(worst_mismatch)
    sintering_grade = (size > SINTERING_GO).astype(int) + (size > SINTERING_NO)
    cooling_grade = (np.abs(cooled) > SEAL_LIMIT).astype(int)
    tile_grade = (tension > SAFE_SHARE * strength).astype(int) + (
        tension > GRADED_RELIEF * strength
    )
    sag = np.maximum(fired.sag_grade[metal], fired.sag_grade[ceramics])
    # of rules that grade alike, the tile's tension tells most, the strain while sintering least;
    # what does not keep its shape has no joint to be mended
    used = np.maximum(fired.turned[metal], fired.turned[ceramics])
    grades = np.stack(
        [(sag == NO) * sag, tile_grade, cooling_grade, sag, turned_grade(used), sintering_grade]
    )
    first = np.argmax(grades, axis=0)
    grade = grades[first, rows]
    return PairBlock(
        metal_density=float(h.relative_density[metal, -1]),
        ceramic_density=h.relative_density[ceramics, -1],
        end_mismatch=shrunk[metal] - shrunk[ceramics],
        worst_mismatch=worst_mismatch,
        worst_temperature=h.temperature[worst],
        set_point=np.minimum(fired.set_point[metal], fired.set_point[ceramics]),
        cooled_mismatch=cooled,
        tile_tension=tension,
        strength=strength,
        metal_sag=float(fired.sag[metal]),
        ceramic_sag=fired.sag[ceramics],
        turned=used,
        grade=grade,
        cause=np.where(grade == GO, 0, _CAUSE_OF[first]),
    )


def describe(block: PairBlock, k: int) -> str:
    """The deciding reason of one pair of a block, its figure, and what else of a zone is no go.

    Parameters
    ----------
    block : PairBlock
        From `compare`.
    k : int
        Which ceramic.

    Returns
    -------
    str
        One phrase.
    """
    cause = CAUSES[block.cause[k]]
    told = [] if cause in ("sag", "crystals") else [_described(block, k, cause)]
    for zone, sag in (("ceramic", float(block.ceramic_sag[k])), ("metal", block.metal_sag)):
        if sag_grade(sag) > GO:
            told.append(sag_words(f"the {zone}", sag))
    if turned_grade(block.turned[k]) > GO:
        told.append(turned_words(float(block.turned[k])))
    return "; ".join(told)


def _described(block: PairBlock, k: int, cause: str) -> str:
    """The reason of one pair that bears on the joint."""
    if cause == "sintering":
        return (
            f"{100 * abs(block.worst_mismatch[k]):.1f} % apart at "
            f"{celsius(block.worst_temperature[k]):.0f} °C while sintering "
            f"(limit {100 * (SINTERING_NO if block.grade[k] == NO else SINTERING_GO):.0f} %)"
        )
    contracts = "metal" if block.cooled_mismatch[k] < 0 else "ceramic"
    strain = f"{1e6 * abs(block.cooled_mismatch[k]):.0f} ppm, {contracts} contracts more"
    remedy = "no graded joint mends that" if block.grade[k] == NO else "only with a graded joint"
    if cause == "tile":
        return (
            f"{strain}: {block.tile_tension[k] / 1e6:.0f} MPa in an elastic tile, strength "
            f"{block.strength[k] / 1e6:.0f} MPa; {remedy}"
        )
    if cause == "cooling":
        return f"{strain} (limit {1e6 * SEAL_LIMIT:.0f} ppm): {remedy}"
    return f"{strain}: within {1e6 * SEAL_LIMIT:.0f} ppm"


# ----------------------------------------------------------------------------------------------
# Mismatch of two zones along one firing, and the events that shape it

SINTERING_STARTS = 0.05
"""Share of the densification still to come at which sintering counts as begun. [-]"""


@dataclass(frozen=True)
class Event:
    """Something that happens to a zone along the firing; time in s, temperature of the ware in K.

    `zone` is the material's name, or empty where both share it.
    """

    name: str
    zone: str
    time: float
    temperature: float


@dataclass(frozen=True, kw_only=True)
class Mismatch:
    """Two zones along one firing.

    Attributes
    ----------
    trace
        What kiln and ware do.
    history
        Rows 0 and 1: the first and the second zone.
    difference
        Free strain of the first zone minus that of the second, shape (M,). [-]
    stored
        The same since both have set, zero before, shape (M,). [-]
    set_time, set_temperature
        When the second of the two zones sets. [s], [K]
    ceilings
        Hottest peak each zone allows. [K]
    events
        In order of time.
    """

    firing: Firing
    trace: Trace
    history: History
    difference: Array
    stored: Array
    set_time: float
    set_temperature: float
    ceilings: tuple[float, float]
    events: tuple[Event, ...]

    @property
    def cooled(self) -> float:
        """Mismatch stored from the set point to room temperature. [-]"""
        return float(self.stored[-1])


def hottest(ware: Array) -> int:
    """First node at which the ware is as hot as it gets, to what a thermocouple tells.

    A ware that lags creeps up to its kiln through the whole hold.

    Parameters
    ----------
    ware : array
        Shape (M,). [K]

    Returns
    -------
    int
        Its place. [-]
    """
    return int(np.argmax(ware >= ware.max() - TOLD))


def _crossings(temperature: Array, level: float) -> list[int]:
    """Nodes just after the trace passes a temperature, either way."""
    above = temperature >= level
    return [int(i) + 1 for i in np.flatnonzero(above[1:] != above[:-1])]


def mismatch(first: Card, second: Card, firing: Firing, extend: bool = False) -> Mismatch:
    """How far apart two zones' free strains are along a firing.

    Parameters
    ----------
    first, second : Card
        By custom the metal first: then negative means that the metal is the shorter.
    firing : Firing
        Segments, kiln and pack.
    extend : bool
        Hold tables' end values beyond their rows, marked in `history.extended`.

    Returns
    -------
    Mismatch
        Strains, stored part, and events.

    Raises
    ------
    OutOfRange
        The firing is hotter than a card's tables, and `extend` is false.
    """
    curve = trace(firing)
    cards = (first, second)
    history = histories(cards, curve, extend=extend)
    time, ware = history.time, history.temperature
    free = history.free_strain
    difference = free[0] - free[1]
    set_points, set_index = zone_set_points(history)
    last = int(max(set_index))
    stored = np.where(np.arange(time.size) >= last, difference - difference[last], 0.0)
    top = hottest(ware)
    events = [Event(HOTTEST, "", float(time[top]), float(ware[top]))]
    binder, water = burnout(curve)

    def mark(name: str, zone: str, node: int) -> None:
        events.append(Event(name, zone, float(time[node]), float(ware[node])))

    for n, card in enumerate(cards):
        if card.scalar("binder", 0.0) * binder[-1] > 0.0:
            mark(BINDER_LEAVES, card.name, int(np.argmax(binder > BEGUN * binder[-1])))
            mark(BINDER_GONE, card.name, int(np.argmax(binder > DONE * binder[-1])))
        if card.scalar("loss_on_ignition", 0.0) * water[-1] > 0.0:
            mark(WATER_GONE, card.name, int(np.argmax(water > DONE * water[-1])))
        grown = history.progress[n]
        mark("sintering begins", card.name, int(np.argmax(grown > SINTERING_STARTS)))
        mark("sets", card.name, int(set_index[n]))
        pure = [part.in_gas(curve.gas) for part, _ in card.constituents]
        for change in (c for part in pure for c in part.inversions):
            for level, rising in ((change.on_heating, True), (change.on_cooling, False)):
                for node in _crossings(ware, level):
                    if (ware[node] > ware[node - 1]) == rising:
                        mark(change.name, card.name, node)
    return Mismatch(
        firing=firing,
        trace=curve,
        history=history,
        difference=difference,
        stored=stored,
        set_time=float(time[last]),
        set_temperature=float(min(set_points)),
        ceilings=(ceiling(first, curve.gas), ceiling(second, curve.gas)),
        events=tuple(sorted(events, key=lambda e: (e.time, e.zone, e.name))),
    )
