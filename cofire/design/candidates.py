"""Many vessels, each fired in its own firing, coarsely enough for a search.

Each is marched alone, so its answer is the same whatever else is tried with it. Nothing is worked
out twice: cards, traces and histories are kept from vessel to vessel, and so are the flags that all
vessels of the same materials and firing share.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from typing import TypeVar
from uuid import uuid4

import numpy as np

from cofire.assessment import verdict
from cofire.assessment.check import Check
from cofire.assessment.printed import as_printed
from cofire.assessment.response import SEARCH_STEPS, Response, fade_of, meshed, unsolved
from cofire.assessment.rule import SHAPE, STRESS, Flag, Rule
from cofire.assessment.verdict import Verdict
from cofire.design.transition import zones_of
from cofire.errors import InputError, ModelError
from cofire.firing.kiln import Trace, trace
from cofire.firing.program import Firing
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.integrator import Control, UnbalancedError
from cofire.mechanics.meridian import STEEPEST_LEAN
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell_firing import fire_shells
from cofire.physics.blends import find_material
from cofire.physics.history import Along, History
from cofire.vessel import Vessel, leans
from cofire.workers import each

ROUGH, FINENESS = 0.3, 0.4
"""Of meshes: the largest cooling utilisation of a layout of the example is 0.94 to 1.13 and 1.00
to 1.09 of what a check finds; 3 points through the wall make them a few per cent high. [-]"""
POINTS = 3
FURTHEST_OUT = 3.0
"""Most by which a search is put right for its coarse shell: beyond it, the two do not tell of the
same thing. [-]"""
TOGETHER = 2
"""Candidates of one job: work for a fifth of a second. [-]"""
FIRINGS = 8
"""Firings along which a bench remembers histories, the latest. [-]"""
NEARLY = 0.95
"""Of the steepest lean that can be cut: a wall with that at its points may pass it between. [-]"""
LEAST_SHARE = 0.02
"""Utilisations below this say nothing of a ratio. [-]"""

T = TypeVar("T")
Key = tuple[object, ...]


def firing_key(firing: Firing) -> Key:
    """What a firing is known by: all that its trace follows from, whatever its name.

    Parameters
    ----------
    firing : Firing
        The firing.

    Returns
    -------
    tuple
        Hashable.
    """
    return firing.kiln, firing.segments, firing.gas, firing.lag


def shape_key(vessel: Vessel) -> Key:
    """What the profile and the wall of a vessel are known by.

    Parameters
    ----------
    vessel : Vessel
        The vessel.

    Returns
    -------
    tuple
        Hashable.
    """
    return (*(a.tobytes() for a in (vessel.radius, vessel.height, vessel.wall)), vessel.corners)


@dataclass(frozen=True)
class _Known:
    """What is known along one firing: histories, and by rule the flags that vessels share."""

    along: Along
    shared: dict[Key, list[Flag]] = field(default_factory=dict)


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
    ratios
        By rule: what a check on a solid finds over what the search finds on its coarse shell, of
        the best candidate so far. [-]
    executor
        Who fires batches (see `cofire.workers`); by default the caller.
    drawn
        Whether its cards are a draw of what they may also be: a design is to be cut as finely as a
        check cuts it, a draw of it as a search does.
    token
        By which a worker process knows it again: what was worked out there is kept.
    """

    cards: Mapping[str, Card]
    extend: bool = False
    fineness: float = FINENESS
    ratios: dict[str, float] = field(default_factory=dict)
    executor: Executor | None = None
    drawn: bool = False
    token: str = field(default_factory=lambda: uuid4().hex)
    _materials: dict[str, Card] = field(default_factory=dict)
    _known: dict[Key, _Known] = field(default_factory=dict)
    _packed: list[bytes] = field(default_factory=list)

    def __reduce__(self) -> tuple[Callable[..., Bench], tuple[object, ...]]:
        """How a worker gets it: the cards; what follows from them is worked out there."""
        if not self._packed:
            self._packed.append(pickle.dumps(dict(self.cards), pickle.HIGHEST_PROTOCOL))
        known = (self.token, self._packed[0], self.extend, self.fineness, self.ratios, self.drawn)
        return _bench_there, known

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
        """Metal, ceramic, and whether the metal stands below, as `transition.zones`.

        Parameters
        ----------
        vessel : Vessel
            One metal and one ceramic, at one joint or two.
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
        return self.along(firing).trace

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
        return self._in(firing).along

    def _in(self, firing: Firing) -> _Known:
        """What is known along a firing, begun where it is new; the oldest makes room."""
        key = firing_key(firing)
        found = self._known.get(key)
        if found is None:
            for old in list(self._known)[: 1 - FIRINGS]:
                self._known.pop(old, None)
            found = self._known[key] = _Known(Along(trace(firing), extend=self.extend))
        return found

    def printed(self, vessel: Vessel) -> Vessel:
        """The vessel as its printer lays it, in as few bands as a search needs.

        Parameters
        ----------
        vessel : Vessel
            With the bands as designed.

        Raises
        ------
        InputError
            As `as_printed`; or a step of the smear, as a check has it, in a wall that leans too
            far.
        """
        cards = [self.material(band.material) for band in vessel.bands]
        used = self.used([vessel])
        fired = self.history(vessel.firing, used).relative_density[:, -1]
        density = {card.name: float(d) for card, d in zip(used, fired, strict=True)}
        if vessel.printer.given and not self.drawn and _steep(vessel):
            # what a check cannot cut is no candidate, though its fewer bands could be
            meshed(as_printed(vessel, cards, density), self.fineness)
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

    def judge(self, response: Response, rules: Sequence[Rule] | None = None) -> Verdict:
        """The verdict as `judge` gives it, shared flags taken from those found before.

        Parameters
        ----------
        response : Response
            From `fire_candidates`.
        rules : sequence of Rule, optional
            That are asked; by default all of the table.
        """
        shared, shape = self._in(response.vessel.firing).shared, shape_key(response.vessel)
        pure = frozenset(pure_cards(response.cards))
        alone: dict[str, Response] = {}
        flags: list[Flag] = []
        for rule in verdict.RULES if rules is None else rules:
            key: Key = (rule.name, shape if SHAPE in rule.sees else ())
            own: Key
            if rule.of_substances:
                own = (*key, pure)
                if own not in shared:
                    shared[own] = rule.flags(response)
                flags += shared[own]
            elif rule.of_material:
                for row, card in response.materials:
                    own = (*key, card.name)
                    if own not in shared:
                        if card.name not in alone:
                            alone[card.name] = replace(response, cards=(card,), material=(row,))
                        shared[own] = rule.flags(alone[card.name])
                    flags += shared[own]
            else:
                flags += rule.flags(response)
        return verdict.worst_first(put_right(flags, self.ratios))

    def correct(self, vessel: Vessel, found: Check, furthest: float = FURTHEST_OUT) -> None:
        """Learn from a check how far the search is out for the best vessel so far.

        Parameters
        ----------
        vessel : Vessel
            As the search has it.
        found : Check
            Of that vessel.
        furthest : float
            Most by which a ratio is believed, either way. [-]
        """
        self.ratios.clear()
        (shell,) = next(each(judged, [(self, [vessel])], self.executor))
        if shell is not None:
            self.ratios.update(ratios_between(found.verdict.flags, shell, furthest))


def ratios_between(
    solid: Sequence[Flag], shell: Sequence[Flag], furthest: float = FURTHEST_OUT
) -> dict[str, float]:
    """What the solid of a vessel finds over what its coarse shell finds, by rule of stress.

    Parameters
    ----------
    solid, shell : sequence of Flag
        Of one vessel.
    furthest : float
        Most by which a ratio is believed, either way. [-]

    Returns
    -------
    dict
        Without rules of which either uses up next to nothing. [-]
    """
    found = {}
    for rule in verdict.RULES:
        if STRESS not in rule.sees:
            continue
        right, wrong = (
            max((f.utilisation for f in flags if f.rule == rule.name), default=0.0)
            for flags in (solid, shell)
        )
        if right > LEAST_SHARE and wrong > LEAST_SHARE:
            found[rule.name] = min(max(right / wrong, 1.0 / furthest), furthest)
    return found


def put_right(flags: Iterable[Flag], ratios: Mapping[str, float]) -> list[Flag]:
    """Flags of a coarse shell with what a solid is known to find over it.

    Parameters
    ----------
    flags : iterable of Flag
        Of the shell.
    ratios : mapping
        By rule; 1 of a rule that is not named. [-]
    """
    return [
        replace(flag, utilisation=ratios[flag.rule] * flag.utilisation)
        if ratios.get(flag.rule, 1.0) != 1.0
        else flag
        for flag in flags
    ]


KEPT = 12
"""Benches that a worker process remembers, the latest ones: those of the samples of a search, and a
few more. [-]"""
_THERE: dict[str, Bench] = {}


def _bench_there(
    token: str,
    cards: bytes,
    extend: bool,
    fineness: float,
    ratios: dict[str, float],
    drawn: bool,
) -> Bench:
    """A bench that came to this process, with what was worked out on it here before."""
    if token not in _THERE:
        while len(_THERE) >= KEPT:
            del _THERE[next(iter(_THERE))]
        _THERE[token] = Bench(pickle.loads(cards), extend, token=token)
    return replace(_THERE[token], fineness=fineness, ratios=ratios, drawn=drawn)


SMEAR_STEP, SMEAR_FINEST = 0.12, 0.5
"""How finely a search sees a smear: metal share and height, in walls, of its bands. [-]"""


def fire_candidates(
    bench: Bench,
    vessels: Sequence[Vessel],
    control: Control = SEARCH_STEPS,
    mechanisms: Mechanisms | None = None,
) -> list[Response | ModelError]:
    """Vessels, as the printer lays them, each through its own firing.

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
    return [_fired(bench, vessel, control, mechanisms) for vessel in vessels]


def _steep(vessel: Vessel) -> bool:
    """Whether the wall, floor aside, leans so far somewhere that no step can cut it there."""
    wall = slice(vessel.corners[-1] if vessel.corners else 0, None)
    lean = np.abs(leans(vessel.radius[wall], vessel.height[wall]))
    return bool(lean.max() > NEARLY * STEEPEST_LEAN)


def _fired(
    bench: Bench, vessel: Vessel, control: Control, mechanisms: Mechanisms | None
) -> Response | ModelError:
    """One candidate, as `fire_candidates`."""
    try:
        meshed(vessel, bench.fineness)
        vessel = bench.printed(vessel)
        mesh = meshed(vessel, bench.fineness)
    except InputError as error:
        return ModelError(str(error))
    cards = tuple(bench.material(band.material) for band in vessel.bands)
    along = bench.along(vessel.firing)
    history, curve = along.of(bench.used([vessel])), along.trace
    material = tuple(history.names.index(card.name) for card in cards)
    try:
        (shell,) = fire_shells(
            [mesh], history, [material], points=POINTS, mechanisms=mechanisms, control=control,
            fade=fade_of(vessel, cards, material),
        )  # fmt: skip
    except UnbalancedError as error:
        return unsolved(vessel, error.time, curve)
    except ModelError as error:
        return error
    ware = np.interp(shell.time, curve.time, curve.ware)
    return Response(vessel, cards, material, curve, history, shell, ware, along)


def judged(job: tuple[Bench, Sequence[Vessel]]) -> list[tuple[Flag, ...] | None]:
    """Flags of some vessels fired on one bench, for whoever works beside others.

    Parameters
    ----------
    job : tuple of Bench and sequence of Vessel
        What is known already, and the vessels.

    Returns
    -------
    list of tuple of Flag or None
        One a vessel, worst first; None for one that cannot be fired.
    """
    bench, vessels = job
    return [
        None if isinstance(r, ModelError) else bench.judge(r).flags
        for r in fire_candidates(bench, vessels)
    ]


def batches(candidates: Sequence[T]) -> list[Sequence[T]]:
    """Jobs of a few candidates each, however many workers there are.

    Parameters
    ----------
    candidates : sequence
        Any things.

    Returns
    -------
    list of sequence
        In order.
    """
    return [candidates[k : k + TOGETHER] for k in range(0, len(candidates), TOGETHER)]
