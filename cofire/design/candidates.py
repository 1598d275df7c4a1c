"""Many vessels fired at once, each in its own firing, coarsely enough for a search.

The clock of each firing is stretched between its corners to that of the others. Strain, moduli and
yield do not know of time; rates of flow do, and are multiplied by how fast the firing's own time
passes on the common clock. Within the few minutes between two nodes at a corner the factor is
blended, which a search does not feel.

Nothing is worked out twice: cards, traces and histories are kept from batch to batch, and so are
the flags that all vessels of the same materials and firing share.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TypeVar
from uuid import uuid4

import numpy as np

from cofire.assessment import verdict
from cofire.assessment.printed import as_printed
from cofire.assessment.response import Response, meshed, unsolved
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import Verdict
from cofire.design.transition import zones_of
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.integrator import Control, UnbalancedError
from cofire.mechanics.meridian import Meridian
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell_firing import fire_shells
from cofire.numerics import Array
from cofire.physics.blends import find_material
from cofire.physics.history import PER_MATERIAL, Along, History
from cofire.vessel import Vessel

# ----------------------------------------------------------------------------------------------
# Several firings on one clock, so that vessels of different firings can be solved as one batch

NEAR_PEAK = 20.0
"""Firings of unlike corners are matched where they come within this of their peaks. [K]"""


@dataclass(frozen=True)
class Clock:
    """A firing's own time on the common clock, straight between anchors.

    Attributes
    ----------
    common, own
        Times of the anchors, shape (A,) each. [s]
    """

    common: Array
    own: Array

    def own_time(self, common: Array) -> Array:
        """The firing's own time. [s]

        Parameters
        ----------
        common : array
            Times on the common clock, any shape. [s]
        """
        return np.asarray(np.interp(common, self.common, self.own))


def in_step(firings: Sequence[History], corners: Sequence[Array]) -> tuple[History, list[Clock]]:
    """The materials of several firings as one history, and the clock of each firing.

    Parameters
    ----------
    firings : sequence of History
        One a firing; materials may repeat.
    corners : sequence of array
        Times of the ends of each firing's ramps and holds. [s]

    Returns
    -------
    tuple of History and list of Clock
        Rows in the order given. Of its strains only the sum is kept; its temperature is that of
        the first firing.
    """
    alike = len({ends.size for ends in corners}) == 1
    anchors = list(corners) if alike else [_turns(h) for h in firings]
    lengths = np.exp(np.mean([np.log(np.diff(a)) for a in anchors], axis=0))
    common = np.concatenate([[0.0], np.cumsum(lengths)])
    clocks = [Clock(common, own) for own in anchors]
    landings = np.concatenate(
        [
            np.interp(h.time[h.breakpoints], c.own, common)
            for h, c in zip(firings, clocks, strict=True)
        ]
    )
    time = _ticks(firings, clocks, landings)
    at = np.unique(np.searchsorted(time, landings * (1.0 - 1e-9)))
    interval = np.clip(np.searchsorted(common, time, side="left") - 1, 0, lengths.size - 1)
    parts = [
        _resampled(h, c.own_time(time), (np.diff(c.own) / lengths)[interval])
        for h, c in zip(firings, clocks, strict=True)
    ]
    first = firings[0]
    rows = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return (
        History(
            names=tuple(name for h in firings for name in h.names),
            time=time,
            temperature=np.interp(clocks[0].own_time(time), first.time, first.temperature),
            breakpoints=at.astype(np.intp),
            strain={"free": rows.pop("free")},
            **rows,  # type: ignore[arg-type]
        ),
        clocks,
    )


def _turns(history: History) -> Array:
    """Start, reaching and leaving the peak, and end of a firing. [s]"""
    hot = np.flatnonzero(history.temperature > history.temperature.max() - NEAR_PEAK)
    return history.time[[0, hot[0], hot[-1], -1]]


def _ticks(firings: Sequence[History], clocks: Sequence[Clock], corners: Array) -> Array:
    """Nodes of the common clock: between two anchors those of the firing that has most."""
    common = clocks[0].common
    found = [common, corners]
    for k in range(common.size - 1):
        shares = []
        for h, c in zip(firings, clocks, strict=True):
            first, last = c.own[k], c.own[k + 1]
            inside = h.time[(h.time > first) & (h.time < last)]
            shares.append((inside - first) / (last - first))
        most = max(shares, key=len)
        found.append(common[k] + most * (common[k + 1] - common[k]))
    ticks = np.unique(np.concatenate(found))
    apart = np.append(True, np.diff(ticks) > 1e-9 * ticks[-1])
    return np.asarray(ticks[apart])


def _resampled(history: History, time: Array, speed: Array) -> dict[str, Array]:
    """Rows of a history at its own times, rates of flow times the speed of its clock."""

    def at(values: Array) -> Array:
        return np.stack([np.interp(time, history.time, row) for row in values])

    rows = {"free": at(history.free_strain)}
    for name in PER_MATERIAL:
        values = getattr(history, name)
        if values.ndim == 1:
            rows[name] = values
        elif name == "viscosity":
            with np.errstate(divide="ignore"):
                rows[name] = 1.0 / (at(1.0 / values) * speed)
        elif name == "creep_factor":
            rows[name] = at(values) * speed
        elif name == "yield_stress":
            with np.errstate(divide="ignore"):
                rows[name] = 1.0 / at(1.0 / values)
        else:
            rows[name] = at(values)
    return rows


# ----------------------------------------------------------------------------------------------
# Many vessels fired at once, each in its own firing, coarsely enough for a search

COARSE = Control(
    relative_tolerance=0.5, stress_tolerance=2e5, imbalance=1e-2, breakpoint_tolerance=1e-3
)
"""Steps of a search. Utilisations come out as with a hundredth of these tolerances within 0.5 %
when cold and 3 % while sintering, since the march lands where sintering begins."""
ROUGH, FINENESS = 0.3, 0.4
"""Of meshes: the largest cooling utilisation of a layout of the example is 0.94 to 1.13 and 1.00
to 1.09 of what a check finds; 3 points through the wall make them a few per cent high. [-]"""
POINTS = 3
BATCH = 16
"""Vessels solved together; more no longer fit the processor's cache. [-]"""
FEW = 6
"""Candidates below this are one batch. [-]"""

T = TypeVar("T")
Key = tuple[object, ...]


def firing_key(firing: Firing) -> Key:
    """What a firing is known by: all that its trace follows from, the kiln by its name.

    Parameters
    ----------
    firing : Firing
        The firing.

    Returns
    -------
    tuple
        Hashable.
    """
    return firing.kiln.name, firing.segments, firing.gas, firing.lag


@dataclass
class Bench:
    """What a search has worked out so far.

    Attributes
    ----------
    cards
        Materials by name.
    extend
        As in `fire_vessel`.
    fineness
        Of the meshes. [-]
    executor
        Who fires batches (see `cofire.workers`); by default the caller.
    token
        By which a worker process knows it again: what was worked out there is kept.
    """

    cards: Mapping[str, Card]
    extend: bool = False
    fineness: float = FINENESS
    executor: Executor | None = None
    token: str = field(default_factory=lambda: uuid4().hex)
    _materials: dict[str, Card] = field(default_factory=dict)
    _traces: dict[Key, Trace] = field(default_factory=dict)
    _along: dict[Key, Along] = field(default_factory=dict)
    _shared: dict[Key, list[Flag]] = field(default_factory=dict)

    def __reduce__(self) -> tuple[Callable[..., Bench], tuple[object, ...]]:
        """How a worker gets it: the cards; what follows from them is worked out there."""
        return _bench_there, (self.token, dict(self.cards), self.extend, self.fineness)

    def material(self, name: str) -> Card:
        """The card of that name or blend.

        Parameters
        ----------
        name : str
            As a band names it.
        """
        if name not in self._materials:
            self._materials[name] = find_material(name, dict(self.cards))
        return self._materials[name]

    def zones(self, vessel: Vessel) -> tuple[Card, Card, bool]:
        """Metal, ceramic, and whether the metal stands below, as `layouts.zones`.

        Parameters
        ----------
        vessel : Vessel
            One metal and one ceramic zone.
        """
        return zones_of(vessel.name, [self.material(band.material) for band in vessel.bands])

    def on(self, fineness: float) -> Bench:
        """The same bench for another mesh: what is known is shared, verdicts are not.

        Parameters
        ----------
        fineness : float
            Of the meshes. [-]
        """
        return replace(self, fineness=fineness)

    def trace(self, firing: Firing) -> Trace:
        """What the ware sees.

        Parameters
        ----------
        firing : Firing
            The firing.
        """
        key = firing_key(firing)
        if key not in self._traces:
            self._traces[key] = trace(firing)
        return self._traces[key]

    def history(self, firing: Firing, cards: Sequence[Card]) -> History:
        """Histories of materials in a firing, in the order given.

        Parameters
        ----------
        firing : Firing
            The firing.
        cards : sequence of Card
            Each once.

        Raises
        ------
        InputError
            The firing goes beyond a card's tables.
        """
        return self.along(firing).of(cards)

    def along(self, firing: Firing) -> Along:
        """What is known along a firing.

        Parameters
        ----------
        firing : Firing
            The firing.
        """
        key = firing_key(firing)
        if key not in self._along:
            self._along[key] = Along(self.trace(firing), extend=self.extend)
        return self._along[key]

    def printed(self, vessel: Vessel) -> Vessel:
        """The vessel as its printer lays it, in as few bands as a search needs.

        Parameters
        ----------
        vessel : Vessel
            With the bands as designed.

        Raises
        ------
        InputError
            As `as_printed`.
        """
        cards = [self.material(band.material) for band in vessel.bands]
        used = self.used([vessel])
        fired = self.history(vessel.firing, used).relative_density[:, -1]
        density = {card.name: float(d) for card, d in zip(used, fired, strict=True)}
        return as_printed(vessel, cards, density, SMEAR_STEP, SMEAR_FINEST)

    def used(self, vessels: Iterable[Vessel]) -> list[Card]:
        """The materials of all bands of some vessels, each once.

        Parameters
        ----------
        vessels : iterable of Vessel
            Any.

        Raises
        ------
        InputError
            An unknown material.
        """
        bands = dict.fromkeys(band.material for vessel in vessels for band in vessel.bands)
        return list({card.name: card for card in map(self.material, bands)}.values())

    def judge(self, response: Response) -> Verdict:
        """The verdict as `judge` gives it, shared flags taken from those found before.

        Parameters
        ----------
        response : Response
            From `fire_candidates`.
        """
        vessel = response.vessel
        key = (*firing_key(vessel.firing), float(vessel.wall.max()), bool(vessel.radius[0] == 0.0))
        flags: list[Flag] = []
        for rule in verdict.RULES:
            if rule.of_substances:
                pure = frozenset(pure_cards(response.cards))
                own = (*key, rule.name, pure)
                if own not in self._shared:
                    self._shared[own] = rule.flags(response)
                flags += self._shared[own]
            elif rule.of_material:
                for row, card in response.materials:
                    own = (*key, rule.name, card.name)
                    if own not in self._shared:
                        alone = replace(response, cards=(card,), material=(row,))
                        self._shared[own] = rule.flags(alone)
                    flags += self._shared[own]
            else:
                flags += rule.flags(response)
        return verdict.worst_first(flags)


KEPT = 4
"""Benches that a worker process remembers, the latest ones. [-]"""
_THERE: dict[str, Bench] = {}


def _bench_there(token: str, cards: Mapping[str, Card], extend: bool, fineness: float) -> Bench:
    """A bench that came to this process, with what was worked out on it here before."""
    if token not in _THERE:
        while len(_THERE) >= KEPT:
            del _THERE[next(iter(_THERE))]
        _THERE[token] = Bench(cards, extend, token=token)
    return _THERE[token].on(fineness)


SMEAR_STEP, SMEAR_FINEST = 0.12, 0.5
"""How finely a search sees a smear: metal share and height, in walls, of its bands. [-]"""


def fire_candidates(
    bench: Bench,
    vessels: Sequence[Vessel],
    control: Control = COARSE,
    mechanisms: Mechanisms | None = None,
) -> list[Response | ModelError]:
    """Vessels, as the printer lays them, through their own firings, solved as one batch.

    Parameters
    ----------
    bench : Bench
        What is known already.
    vessels : sequence of Vessel
        Any shapes, bands and firings.
    control : Control
        Tolerances and steps.
    mechanisms : Mechanisms, optional
        Ways of relief in use, by default all.

    Returns
    -------
    list of Response or ModelError
        One a vessel; the error where that one cannot be meshed, or its firing finds no equilibrium.

    Raises
    ------
    InputError
        An unknown material, or a firing beyond a card's tables.
    """
    shapes = [_mesh(vessel, bench.fineness) for vessel in vessels]
    sound = [v for v, mesh in zip(vessels, shapes, strict=True) if isinstance(mesh, Meridian)]
    if len(sound) < len(vessels):
        fired = iter(fire_candidates(bench, sound, control, mechanisms) if sound else [])
        return [mesh if isinstance(mesh, ModelError) else next(fired) for mesh in shapes]
    try:
        return list(_fired(bench, vessels, control, mechanisms))
    except ModelError as error:
        if len(vessels) == 1:
            if isinstance(error, UnbalancedError):
                error = unsolved(vessels, error.time, bench.trace(vessels[0].firing))
            return [error]
    half = len(vessels) // 2
    parts = (vessels[:half], vessels[half:])
    return [r for part in parts for r in fire_candidates(bench, part, control, mechanisms)]


def _fired(
    bench: Bench, vessels: Sequence[Vessel], control: Control, mechanisms: Mechanisms | None
) -> list[Response]:
    """As `fire_candidates`, where nothing goes wrong."""
    vessels = [bench.printed(vessel) for vessel in vessels]
    groups: dict[Key, list[Vessel]] = {}
    for vessel in vessels:
        groups.setdefault(firing_key(vessel.firing), []).append(vessel)
    parts: list[History] = []
    ends: list[Array] = []
    place: dict[tuple[Key, str], int] = {}
    for key, some in groups.items():
        parts.append(bench.history(some[0].firing, bench.used(some)))
        ends.append(parts[-1].time[bench.trace(some[0].firing).breakpoints])
        for name in parts[-1].names:
            place[key, name] = len(place)
    whole, clocks = (parts[0], None) if len(parts) == 1 else in_step(parts, ends)
    keys = list(groups)
    cards = [tuple(bench.material(band.material) for band in v.bands) for v in vessels]
    rows = [
        [place[firing_key(v.firing), card.name] for card in some]
        for v, some in zip(vessels, cards, strict=True)
    ]
    meshes = _meshes(vessels, bench.fineness)
    shells = fire_shells(
        meshes, whole, rows, points=POINTS, mechanisms=mechanisms, control=control,
        check_mesh=False,
    )  # fmt: skip
    found = []
    for vessel, own, shell in zip(vessels, cards, shells, strict=True):
        group = keys.index(firing_key(vessel.firing))
        time = shell.time if clocks is None else clocks[group].own_time(shell.time)
        history, curve = parts[group], bench.trace(vessel.firing)
        material = tuple(history.names.index(card.name) for card in own)
        ware = np.interp(time, curve.time, curve.ware)
        shell = replace(shell, time=time)
        along = bench.along(vessel.firing)
        found.append(Response(vessel, own, material, curve, history, shell, ware, along))
    return found


def _mesh(vessel: Vessel, fineness: float) -> Meridian | ModelError:
    """The mesh of a candidate, or why there is none."""
    try:
        return meshed(vessel, fineness)
    except InputError as error:
        return ModelError(str(error))


def _meshes(vessels: Sequence[Vessel], fineness: float) -> list[Meridian]:
    """Meshes of one number of elements."""
    meshes = [meshed(vessel, fineness) for vessel in vessels]
    most = max(m.elements for m in meshes)
    return [
        m if m.elements == most else meshed(vessel, fineness, most)
        for m, vessel in zip(meshes, vessels, strict=True)
    ]


def batches(candidates: Sequence[T]) -> list[Sequence[T]]:
    """An even number of like batches, none larger than `BATCH`; one where there are few.

    Parameters
    ----------
    candidates : sequence
        Any things.

    Returns
    -------
    list of sequence
        In order.
    """
    count = len(candidates)
    parts = 2 * -(-count // (2 * BATCH)) if count >= FEW else 1
    ends = [round(k * count / parts) for k in range(parts + 1)]
    return [candidates[a:b] for a, b in pairwise(ends) if b > a]
