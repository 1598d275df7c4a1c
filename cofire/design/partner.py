"""The inverse question: which partner a zone would need, and which material comes nearest.

Each property of the partner is varied alone, all others held at those of an ideal partner, which
dries, shrinks and expands as the zone does. The widest range in which every flag of stress stays
a go is found by halving, with the vessel's own bands, firing and kiln.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import astuple, dataclass, replace
from itertools import combinations
from operator import attrgetter

import numpy as np

from cofire.assessment.firing_rules import PEAK_CAUTION
from cofire.assessment.mismatch import zone_set_points
from cofire.assessment.rule import GO, NEIGHBOUR, NO, STRESS, Flag
from cofire.assessment.verdict import Verdict, rule_of
from cofire.assessment.windows import firing_windows
from cofire.design.at_hand import cards_at_hand, known_materials
from cofire.design.candidates import ROUGH, Bench, batches, fire_candidates
from cofire.design.transition import zones
from cofire.errors import ModelError
from cofire.materials.card import Card, Property
from cofire.physics.history import History
from cofire.units import ROOM, celsius
from cofire.vessel import Band, Vessel
from cofire.workers import each

# ----------------------------------------------------------------------------------------------
# A partner that fits a zone in every way, and partners that differ from it in one property

EXPANDS = ("thermal_expansion", "free_quartz", "cristobalite", "carburised_at")
SINTERS = (
    "green_density", "fired_density", "full_density", "sintering_energy", "sintering_exponent",
    "height_shrinkage_factor", "loss_on_ignition", "water_contraction", "reduced_maturing",
)  # fmt: skip
GLASSY = (
    "surface_tension",
    "particle_size",
    "glass_viscosity",
    "sag_viscosity",
    "crystal_fraction",
)
"""What drives the clock of a zone that sinters by flow."""
DENSITIES = ("green_density", "fired_density", "full_density")
FLOWS = ("glass_viscosity", "sag_viscosity", "body_viscosity", "creep_stress")
"""Tables by which a material flows, and thereby sets."""
HALF = 0.5


@dataclass(frozen=True)
class Figures:
    """What a partner is judged by, in one firing.

    Attributes
    ----------
    expansion
        Mean from 20 °C to the temperature from which mismatch is stored. [1/K]
    shrinkage
        Dried to fired, along the ring. [-]
    half_way
        Temperature at which half of its densification is done. [K]
    set_point
        Below it, mismatch is stored. [K]
    """

    expansion: float
    shrinkage: float
    half_way: float
    set_point: float


def ideal_partner(zone: Card, template: Card, name: str) -> Card:
    """A material of the template's kind that dries, shrinks and expands as a zone does.

    Stiffness, strength, flow and all else stay the template's. Its densities are the zone's times
    one factor, so that the shrinkage is the same and the fired density is the template's.

    Parameters
    ----------
    zone : Card
        That it is to fit.
    template : Card
        The partner that the vessel has.
    name : str
        Of the new card.

    Returns
    -------
    Card
        With no table that either lacked.
    """
    glassy = zone.densification == "viscous"
    taken = (*EXPANDS, "drying_shrinkage", *SINTERS, *(GLASSY if glassy else ()))
    own = {key: value for key, value in template.properties.items() if key not in taken}
    own |= {key: replace(zone[key], owner=name) for key in taken if key in zone}
    denser = template["fired_density"].scalar / zone["fired_density"].scalar
    denser = min(denser, 1.0 / zone["full_density"].scalar)
    card = replace(
        template, name=name, properties=own, densification=zone.densification,
        fired_at=zone.fired_at, transformations=zone.transformations,
    )  # fmt: skip
    for key in DENSITIES:
        card = card.scaled(key, denser)
    return card


def with_expansion(card: Card, more: float) -> Card:
    """The card with all its mean expansion coefficients raised. [1/K]

    Parameters
    ----------
    card : Card
        The card.
    more : float
        [1/K]
    """
    table = card["thermal_expansion"]
    return _with(card, replace(table, value=table.value + more))


def with_shrinkage(card: Card, more: float) -> Card:
    """The card printed less dense, so that it shrinks by so much more to the same density.

    Parameters
    ----------
    card : Card
        The card.
    more : float
        Linear shrinkage to add. [-]

    Returns
    -------
    Card
        With another green density.
    """
    green, fired = card["green_density"].scalar, card["fired_density"].scalar
    length = (green / fired) ** (1.0 / 3.0) - more
    lowest, highest = 0.2, card["full_density"].scalar - 0.01
    wanted = min(max(fired * length**3, lowest), min(highest, fired - 0.002))
    return card.scaled("green_density", wanted / green)


def with_timing(card: Card, later: float) -> Card:
    """The card that reaches the same density in a firing hotter by so much.

    Parameters
    ----------
    card : Card
        The card.
    later : float
        [K]

    Returns
    -------
    Card
        Its sintering shifted.
    """
    if card.densification == "viscous":
        return _shifted(card, ("glass_viscosity", "sag_viscosity"), later)
    assert card.fired_at is not None
    return replace(card, fired_at=replace(card.fired_at, peak=card.fired_at.peak + later))


def with_set_point(card: Card, higher: float) -> Card:
    """The card whose tables of flow lie so much higher in temperature.

    Parameters
    ----------
    card : Card
        The card.
    higher : float
        [K]

    Returns
    -------
    Card
        The same where it does not flow.
    """
    return _shifted(card, FLOWS, higher)


def _with(card: Card, changed: Property) -> Card:
    return replace(card, properties={**card.properties, changed.name: changed})


def _shifted(card: Card, names: tuple[str, ...], higher: float) -> Card:
    for name in names:
        if name in card:
            table = card[name]
            assert table.temperature is not None
            card = _with(card, replace(table, temperature=table.temperature + higher))
    return card


def figures(history: History, row: int, stored_from: float) -> Figures:
    """What a material does alone in a firing, in the figures of a partner.

    Parameters
    ----------
    history : History
        With the material.
    row : int
        Its row.
    stored_from : float
        Temperature to which the mean expansion is taken. [K]

    Returns
    -------
    Figures
        Expansion on the way down, inversions included.
    """
    warm, hot = history.temperature, int(np.argmax(history.temperature))
    thermal = history.free_strain[row] - history.shrinkage[row]
    last = int(warm.size - 1 - np.argmax(warm[::-1]))
    at = np.interp([-stored_from], -warm[last:], thermal[last:])[0]
    shrinks = history.shrinkage[row]
    done = shrinks / min(float(shrinks[-1]), -1e-12)
    half = (
        float(np.interp(HALF, done[: hot + 1], warm[: hot + 1])) if done[hot] > HALF else warm[hot]
    )
    sets, _ = zone_set_points(history.rows([row]))
    return Figures(
        float(np.expm1(at - thermal[-1]) / (stored_from - ROOM)),
        float(-np.expm1(shrinks[-1])),
        float(half),
        float(sets[0]),
    )


# ----------------------------------------------------------------------------------------------
# Which cards, and which mixtures of two bodies, come nearest to the partner a zone would need

SHARES = (0.25, 0.5, 0.75)
"""Mixtures of two bodies that are weighed, by volume. [-]"""
WINDOW_SCALE = 25.0
"""Gap of maturing that weighs as much as a property one width outside its range. [K]"""


@dataclass(frozen=True)
class Near:
    """A material, or a mixture of two bodies, and what still separates it.

    Attributes
    ----------
    name
        Of the card, or of both with their shares.
    apart
        Distance outside each range, in the property's unit; 0 within.
    too_hot
        How far above the zone's limit it matures, 0 where it does not. [K]
    too_weak
        How far below what the zone needs it overfires or melts, 0 where it does not. [K]
    distance
        All together, in widths of the ranges. [-]
    forbids
        What makes the vessel a no with this card and has nothing to do with its neighbour: the
        gas, its density, what melts. Not asked of mixtures.
    """

    name: str
    figures: Figures
    apart: Mapping[str, float]
    too_hot: float
    too_weak: float
    distance: float
    forbids: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class _Known:
    """A card's figures, lowest maturing peak and ceiling. [K]"""

    name: str
    figures: Figures
    lowest: float
    most: float


def nearest(
    wanted: Wanted,
    vessel: Vessel,
    cards: Mapping[str, Card],
    count: int = 5,
    executor: Executor | None = None,
) -> tuple[list[Near], list[Near]]:
    """The nearest cards, and the mixtures of two bodies that come nearer than either.

    Each card is taken through the vessel's firing alone; tables that end below its peak are held.
    Each is put into the vessel too: what the firing does to it by itself may forbid it, however
    near its properties come.

    Parameters
    ----------
    wanted : Wanted
        From `wanted_partner`.
    vessel : Vessel
        With its firing, and the list of what may be offered.
    cards : mapping
        Materials by name.
    count : int
        Of cards; of mixtures half as many.
    executor : Executor, optional
        Who fires the vessels (see `cofire.workers`).

    Returns
    -------
    tuple of list of Near
        Nearest first, after them what the firing forbids; no mixtures of metals, whose properties
        do not add by volume.
    """
    some = [
        card
        for card in cards_at_hand(vessel, cards).values()
        if card.kind == wanted.template.kind and not card.refused and card.name != wanted.zone.name
    ]
    if not some:
        return [], []
    history = Bench(cards, extend=True).history(vessel.firing, some)
    windows = firing_windows(some, vessel.firing.kiln, vessel.firing.gas)
    known = [
        _Known(card.name, figures(history, row, wanted.stored_from), float(low), float(most))
        for row, (card, low, most) in enumerate(
            zip(some, windows.lowest, windows.ceiling, strict=True)
        )
    ]
    forbidden = [_forbidden(*one) for one in _in_place(wanted, vessel, cards, some, executor)]
    alone = [
        replace(_near(wanted, one), forbids=flags)
        for one, flags in zip(known, forbidden, strict=True)
    ]
    alone.sort(key=lambda n: (bool(n.forbids), n.distance))
    if wanted.template.kind == "metal":
        return alone[:count], []
    by_name = {near.name: near.distance for near in alone}
    mixtures = []
    for one, other in combinations(known, 2):
        ends = min(by_name[one.name], by_name[other.name])
        best = min(
            (_near(wanted, _mixture(one, other, share)) for share in SHARES),
            key=lambda n: n.distance,
        )
        if best.distance < ends:
            mixtures.append(best)
    mixtures.sort(key=lambda n: n.distance)
    return alone[:count], mixtures[: max(count // 2, 1)]


def _in_place(
    wanted: Wanted,
    vessel: Vessel,
    cards: Mapping[str, Card],
    some: Sequence[Card],
    executor: Executor | None,
) -> Iterator[tuple[Card, Verdict | ModelError]]:
    """Cards and the verdicts on the vessel with each as partner."""
    jobs = [(vessel, cards, wanted.template.name, group) for group in batches(some)]
    judged = (one for found in each(_try, jobs, executor) for one in found)
    return zip(some, judged, strict=True)


def _forbidden(card: Card, verdict: Verdict | ModelError) -> tuple[Flag, ...]:
    """What makes a vessel a no with a card, and is the card's own; the worst of each rule."""
    if isinstance(verdict, ModelError):
        return ()
    found: dict[str, Flag] = {}
    for flag in verdict.flags:
        if flag.grade >= NO and its_own(flag) and flag.zone == card.name:
            found.setdefault(flag.rule, flag)
    return tuple(found.values())


def _mixture(one: _Known, other: _Known, share: float) -> _Known:
    """Means by volume; dense only where both are, and no stronger in fire than the weaker."""
    mean = [
        share * a + (1.0 - share) * b
        for a, b in zip(astuple(one.figures), astuple(other.figures), strict=True)
    ]
    return _Known(
        f"{100 * share:.0f} % {one.name} / {100 - 100 * share:.0f} % {other.name}",
        Figures(*mean),
        max(one.lowest, other.lowest),
        min(one.most, other.most),
    )


def _near(wanted: Wanted, known: _Known) -> Near:
    apart = {r.name: r.apart(getattr(known.figures, r.name)) for r in wanted.ranges}
    hot = max(known.lowest - wanted.matures_below, 0.0)
    weak = max(wanted.stands - known.most, 0.0)
    steps = [apart[r.name] / max(_width(r), 1e-12) for r in wanted.ranges]
    steps += [min(hot, 2000.0) / WINDOW_SCALE, weak / WINDOW_SCALE]
    distance = float(np.sqrt(np.sum(np.square(steps))))
    return Near(known.name, known.figures, apart, hot, weak, distance)


def _width(some: Range) -> float:
    return some.high - some.low


# ----------------------------------------------------------------------------------------------
# The inverse question: which partner a zone would need, and which material comes nearest

FARTHEST = {"expansion": 6e-6, "shrinkage": 0.06, "half_way": 150.0, "set_point": 200.0}
"""How far from the ideal each property is tried: [1/K], [-], [K], [K]."""
CHANGES: dict[str, Callable[[Card, float], Card]] = {
    "expansion": with_expansion,
    "shrinkage": with_shrinkage,
    "half_way": with_timing,
    "set_point": with_set_point,
}
FIRST = (1 / 27, 1 / 9, 1 / 3, 1.0)
"""Shares of the farthest that are tried first. [-]"""
HALVINGS = 4
NAME = "ideal partner"


@dataclass(frozen=True)
class Range:
    """The widest range of one property that keeps every flag of stress a go.

    Attributes
    ----------
    name
        A field of `Figures`.
    ideal, low, high
        In its unit.
    low_set_by, high_set_by
        The flag that forbids more; None where the farthest that was tried is still a go.
    """

    name: str
    ideal: float
    low: float
    high: float
    low_set_by: Flag | None
    high_set_by: Flag | None

    def apart(self, value: float) -> float:
        """How far a value lies outside, negative below; 0 inside, or beyond an open end.

        Parameters
        ----------
        value : float
            In the property's unit.
        """
        if value < self.low and self.low_set_by is not None:
            return value - self.low
        if value > self.high and self.high_set_by is not None:
            return value - self.high
        return 0.0


@dataclass(frozen=True)
class Wanted:
    """The partner that a zone would need.

    Attributes
    ----------
    zone, template
        The zone, and the partner the vessel has, whose stiffness and strength count.
    stored_from
        Temperature to which expansion is meant. [K]
    matures_below, stands
        The partner must be dense at a peak no hotter than the first, and bear at least the
        second: the zone's own limits, with the margin of a go. [K]
    ranges
        One a property.
    forbids
        Flags that even the ideal partner leaves short of go.
    present
        Verdict on the vessel with the partner it has, on the same mesh; None where it finds no
        equilibrium.
    tried
        Vessels fired. [-]
    extended
        What of the two was read outside its table: one line each.
    """

    zone: Card
    template: Card
    stored_from: float
    matures_below: float
    stands: float
    ranges: tuple[Range, ...]
    forbids: tuple[Flag, ...]
    present: Verdict | None
    tried: int
    extended: tuple[str, ...] = ()


@dataclass
class _Search:
    """A vessel whose partner is exchanged."""

    vessel: Vessel
    cards: Mapping[str, Card]
    template: Card
    ideal: Card
    bench: Bench
    skipped: frozenset[str] = frozenset()
    tried: int = 0

    def judged(self, partners: Sequence[Card]) -> Iterator[Verdict | ModelError]:
        """Verdicts on the vessel with each partner, in order."""
        named = [replace(card, name=f"{NAME} {n}") for n, card in enumerate(partners)]
        self.tried += len(named)
        jobs = [(self.vessel, self.cards, self.template.name, some) for some in batches(named)]
        for found in each(_try, jobs, self.bench.executor):
            yield from found

    def forbidden(self, verdict: Verdict | ModelError) -> Flag | None:
        """The worst flag of stress that is no go, or None."""
        if isinstance(verdict, ModelError):
            raise verdict
        bad = [
            flag
            for flag in verdict.flags
            if STRESS in rule_of(flag).sees and flag.rule not in self.skipped and flag.grade > GO
        ]
        return max(bad, key=attrgetter("counted"), default=None)


def _try(
    job: tuple[Vessel, Mapping[str, Card], str, Sequence[Card]],
) -> list[Verdict | ModelError]:
    """Verdicts on the vessel with each of a batch of partners, from anywhere."""
    vessel, cards, old, some = job
    bench = Bench({**cards, **{card.name: card for card in some}}, True, ROUGH)
    vessels = [_with_partner(vessel, old, card.name) for card in some]
    return [
        r if isinstance(r, ModelError) else bench.judge(r) for r in fire_candidates(bench, vessels)
    ]


def its_own(flag: Flag) -> bool:
    """Whether a zone's flag is its own: another card answers it in its own way.

    Parameters
    ----------
    flag : Flag
        Of a zone.
    """
    return NEIGHBOUR not in rule_of(flag).sees


def _with_partner(vessel: Vessel, old: str, new: str) -> Vessel:
    """The vessel with one material exchanged, in its blends too."""
    bands = tuple(
        Band(renamed(band.material, old, new), band.low, band.high) for band in vessel.bands
    )
    return replace(vessel, bands=bands)


def renamed(material: str, old: str, new: str) -> str:
    """A band's material with one name exchanged, whatever its case.

    Parameters
    ----------
    material : str
        As a band names it, a blend or not.
    old, new : str
        Names.

    Returns
    -------
    str
        The same where the old name does not stand in it.
    """
    mixed, equals, share = material.rpartition("=")
    if not equals:
        return new if material.strip().casefold() == old.casefold() else material
    parts = [part.strip() for part in mixed.split("+")]
    names = [new if part.casefold() == old.casefold() else part for part in parts]
    return f"{' + '.join(names)} = {share.strip()}"


def wanted_partner(
    vessel: Vessel,
    cards: Mapping[str, Card],
    of: str = "metal",
    executor: Executor | None = None,
) -> Wanted:
    """Which partner one zone of a vessel would need to reach go, one property at a time.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic, at one joint or two, with its bands and its firing.
    cards : mapping
        Materials by name.
    of : str
        "metal" or "ceramic": the zone that stays.
    executor : Executor, optional
        Who fires the vessels (see `cofire.workers`).

    Returns
    -------
    Wanted
        Ranges of the partner's properties.

    Raises
    ------
    ModelError
        The zone becomes dense in no firing of this kiln.
    """
    known_materials(vessel, cards)
    metal, ceramic, _ = zones(vessel, cards)
    zone, template = (metal, ceramic) if of == "metal" else (ceramic, metal)
    windows = firing_windows([zone], vessel.firing.kiln, vessel.firing.gas)
    lowest = float(windows.lowest[0])
    most = float(windows.ceiling[0])
    if not lowest < most:
        raise ModelError(
            f"{zone.name}: window: it does not become dense below its own limit of "
            f"{celsius(most):.0f} °C (kiln: {vessel.firing.kiln.name})"
        )
    ideal = ideal_partner(zone, template, NAME)
    bench = Bench({**cards, NAME: ideal}, extend=True, executor=executor)
    alone = bench.history(vessel.firing, [zone, template, ideal])
    stored_from = min(figures(alone, row, alone.temperature.max()).set_point for row in (0, 2))
    stored_from = max(stored_from, float(alone.temperature[-1]) + 50.0)
    search = _Search(vessel, cards, template, ideal, bench)
    verdict, present = search.judged([ideal, template])
    if isinstance(verdict, ModelError):
        raise verdict
    forbids = tuple(
        flag
        for flag in verdict.flags
        if flag.grade > GO and not (its_own(flag) and flag.zone.startswith(NAME))
    )
    search.skipped = frozenset(flag.rule for flag in forbids)

    def figure(card: Card, name: str) -> float:
        other = replace(card, name=f"{NAME} at its limit")
        fired = Bench({other.name: other}, extend=True).history(vessel.firing, [other])
        return float(getattr(figures(fired, 0, stored_from), name))

    ranges = []
    for name, ends in _ends(search).items():
        change = CHANGES[name]
        low, high = (figure(change(ideal, end), name) for end, _ in ends)
        ranges.append(
            Range(
                name, figure(ideal, name), min(low, high), max(low, high),
                *(flag for _, flag in (ends if low <= high else ends[::-1])),
            )
        )  # fmt: skip
    return Wanted(
        zone, template, stored_from, most - PEAK_CAUTION, lowest + PEAK_CAUTION,
        tuple(ranges), forbids, None if isinstance(present, ModelError) else present, search.tried,
        tuple(line for line in alone.extended if not line.startswith(f"{NAME}: ")),
    )  # fmt: skip


_End = tuple[float, Flag | None]


def _ends(search: _Search) -> dict[str, tuple[_End, _End]]:
    """How far each property may fall and rise from the ideal, and the flag that forbids more."""
    sides = [(name, sign) for name in CHANGES for sign in (-1.0, 1.0)]

    def tried(shares: Sequence[tuple[tuple[str, float], float]]) -> list[Flag | None]:
        partners = [
            CHANGES[name](search.ideal, sign * share * FARTHEST[name])
            for (name, sign), share in shares
        ]
        return [search.forbidden(verdict) for verdict in search.judged(partners)]

    first = [(side, share) for side in sides for share in FIRST]
    flags = dict(zip(first, tried(first), strict=True))
    good, bad = dict.fromkeys(sides, 0.0), {}
    for side in sides:
        for share in FIRST:
            flag = flags[side, share]
            if flag is not None:
                bad[side] = (share, flag)
                break
            good[side] = share
    for _ in range(HALVINGS):
        middle = [(side, 0.5 * (good[side] + bad[side][0])) for side in bad]
        for (side, share), flag in zip(middle, tried(middle), strict=True):
            if flag is None:
                good[side] = share
            else:
                bad[side] = (share, flag)

    def end(name: str, sign: float) -> _End:
        side = (name, sign)
        return sign * good[side] * FARTHEST[name], bad[side][1] if side in bad else None

    return {name: (end(name, -1.0), end(name, 1.0)) for name in CHANGES}
