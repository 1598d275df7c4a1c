"""The inverse question: which partner a zone would need, and which material comes nearest.

Each property of the partner is varied alone, all others held at those of an ideal partner, which
dries, shrinks and expands as the zone does. The widest range in which every flag of stress stays
a go is found by halving, with the vessel's own bands, firing and kiln.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cofire.errors import ModelError
from cofire.inputs.cards import Card
from cofire.inputs.units import celsius
from cofire.inputs.vessel import Band, Vessel
from cofire.planning.flags import GO, Flag
from cofire.planning.pairs.windows import ceiling, firing_windows
from cofire.planning.proposals.candidates import ROUGH, Bench, batches, fire_candidates
from cofire.planning.proposals.ideal_partner import (
    figures,
    ideal_partner,
    with_expansion,
    with_set_point,
    with_shrinkage,
    with_timing,
)
from cofire.planning.proposals.transition import zones
from cofire.planning.proposals.trials import FIXED, FIXED_IF_PURE, load_of
from cofire.planning.ware.firing_flags import PEAK_CAUTION
from cofire.planning.ware.verdict import Verdict
from cofire.planning.workers import in_pairs

STRESS = ("sintering", "cooling", "joint stress", "joint energy", "metal")
"""Rules that weigh what two zones do to each other."""
ITS_OWN = (*FIXED, *FIXED_IF_PURE, "sag")
"""Rules that see the partner alone: another card answers them in its own way."""
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
    tried
        Vessels fired. [-]
    """

    zone: Card
    template: Card
    stored_from: float
    matures_below: float
    stands: float
    ranges: tuple[Range, ...]
    forbids: tuple[Flag, ...]
    tried: int


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

        def work(some: Sequence[Card]) -> list[Verdict | ModelError]:
            bench = Bench({**self.cards, **{c.name: c for c in some}}, True, ROUGH)
            vessels = [_with_partner(self.vessel, self.template.name, c.name) for c in some]
            return [
                r if isinstance(r, ModelError) else bench.judge(r)
                for r in fire_candidates(bench, vessels)
            ]

        self.tried += len(named)
        for found in in_pairs(work, batches(named)):
            yield from found

    def forbidden(self, verdict: Verdict | ModelError) -> Flag | None:
        """The worst flag of stress that is no go, or None."""
        if isinstance(verdict, ModelError):
            raise verdict
        bad = [
            flag
            for flag in verdict.flags
            if flag.rule in STRESS and flag.rule not in self.skipped and flag.grade > GO
        ]
        return max(bad, key=load_of, default=None)


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


def wanted_partner(vessel: Vessel, cards: Mapping[str, Card], of: str = "metal") -> Wanted:
    """Which partner one zone of a vessel would need to reach go, one property at a time.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic zone, with its bands and its firing.
    cards : mapping
        Materials by name.
    of : str
        "metal" or "ceramic": the zone that stays.

    Returns
    -------
    Wanted
        Ranges of the partner's properties.

    Raises
    ------
    ModelError
        The zone becomes dense in no firing of this kiln.
    """
    metal, ceramic, _ = zones(vessel, cards)
    zone, template = (metal, ceramic) if of == "metal" else (ceramic, metal)
    windows = firing_windows([zone], vessel.firing.kiln)
    lowest = float(windows.lowest[0])
    if not lowest < ceiling(zone):
        raise ModelError(
            f"{zone.name}: window: it does not become dense below its own limit of "
            f"{celsius(ceiling(zone)):.0f} °C in the {vessel.firing.kiln.name}"
        )
    ideal = ideal_partner(zone, template, NAME)
    bench = Bench({**cards, NAME: ideal}, extend=True)
    alone = bench.history(vessel.firing, [zone, template, ideal])
    stored_from = min(figures(alone, row, alone.temperature.max()).set_point for row in (0, 2))
    stored_from = max(stored_from, float(alone.temperature[-1]) + 50.0)
    search = _Search(vessel, cards, template, ideal, bench)
    (verdict,) = search.judged([ideal])
    if isinstance(verdict, ModelError):
        raise verdict
    forbids = tuple(
        flag
        for flag in verdict.flags
        if flag.grade > GO and not (flag.rule in ITS_OWN and flag.zone.startswith(NAME))
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
        zone, template, stored_from, ceiling(zone) - PEAK_CAUTION, lowest + PEAK_CAUTION,
        tuple(ranges), forbids, search.tried,
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
