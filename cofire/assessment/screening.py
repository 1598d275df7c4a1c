"""Which metal and which ceramic can share a firing at all, and how far apart they then are."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.firing_rules import OPEN_ENDS, core_of
from cofire.assessment.mismatch import PairBlock, compare, describe, fire
from cofire.assessment.rule import CAUTION, GO, NO, VERDICTS, Flag
from cofire.assessment.windows import (
    RATE,
    SOLIDUS_MARGIN,
    STUDIO_GASES,
    SharedWindow,
    Windows,
    best_gas,
    firing_windows,
    gas_rank,
    grade_in_turn,
    liquid_ceiling,
    shared_window,
)
from cofire.errors import InputError
from cofire.firing.kiln import trace
from cofire.firing.program import Firing, Kiln, Segment, ware_firing
from cofire.materials.card import Card, pure_cards
from cofire.materials.pairs import families, first_liquid
from cofire.physics.history import History, histories
from cofire.units import HOUR, MINUTE, celsius
from cofire.workers import each

OPEN_HOLD = 1.0 * HOUR
"""How long a burnout in air lasts that a pair is asked to bear before its gas: common practice.
[s]"""


@dataclass(frozen=True, kw_only=True)
class Pair:
    """One metal (or blend) with one ceramic (or blend): verdict, its reason, and the figures.

    Temperatures in K, strains dimensionless (metal minus ceramic), stress in Pa, hold in s;
    None where there is no shared firing to compute them in.
    """

    metal: str
    ceramic: str
    verdict: str
    reason: str
    gas: str
    window: SharedWindow | None = None
    metal_density: float | None = None
    ceramic_density: float | None = None
    solidus_margin: float | None = None
    end_mismatch: float | None = None
    worst_mismatch: float | None = None
    worst_temperature: float | None = None
    set_point: float | None = None
    cooled_mismatch: float | None = None
    tile_tension: float | None = None
    strength: float | None = None
    metal_sag: float | None = None
    ceramic_sag: float | None = None
    extended: bool = False


def no_window_reason(
    windows: Windows, metal: int, ceramic: int, cards: Sequence[Card], kiln: Kiln, gas: str
) -> str:
    """Why two cards share no firing, with the gap between what they need and allow.

    Parameters
    ----------
    windows : Windows
        Of all cards.
    metal, ceramic : int
        Which.
    cards : sequence of Card
        The cards.
    kiln : Kiln
        The kiln.
    gas : str
        Of the windows; what the two melt to in it may lie below either's ceiling.

    Returns
    -------
    str
        One phrase.
    """
    lowest, most = windows.lowest, windows.ceiling
    m, c = cards[metal], cards[ceramic]
    for one, name in ((metal, m.name), (ceramic, c.name)):
        if lowest[one] > most[one]:
            return (
                f"{name} does not become dense below its own limit of {celsius(most[one]):.0f} °C"
            )
    if lowest[ceramic] > most[metal]:
        under, why = float(most[metal]), "solidus"
        liquid = first_liquid((m, c), gas)
        if liquid is not None and liquid.temperature - SOLIDUS_MARGIN < under - 1e-9:
            under = liquid.temperature - SOLIDUS_MARGIN
            why = f"{liquid.name} from {celsius(liquid.temperature):.0f} °C,"
        return (
            f"{c.name} matures from {celsius(lowest[ceramic]):.0f} °C, {m.name} must stay under "
            f"{celsius(under):.0f} °C ({why} less {SOLIDUS_MARGIN:.0f} K): "
            f"{lowest[ceramic] - under:.0f} K apart"
        )
    if lowest[metal] > most[ceramic]:
        return (
            f"{m.name} sinters from {celsius(lowest[metal]):.0f} °C, {c.name} overfires above "
            f"{celsius(most[ceramic]):.0f} °C: {lowest[metal] - most[ceramic]:.0f} K apart"
        )
    needs = max(lowest[metal], lowest[ceramic])
    if needs > kiln.max_temperature:
        return (
            f"needs {celsius(needs):.0f} °C; at most {celsius(kiln.max_temperature):.0f} °C "
            f"({kiln.name})"
        )
    return "no hold of up to 4 h suits both"


@dataclass(frozen=True)
class _Choice:
    """Window and gas in which two cards are fired, with the gas's grade and its reason."""

    window: SharedWindow
    gas: str
    grade: int
    reason: str


def _choose(
    windows: Mapping[str, Windows], pair: tuple[int, int], cards: Sequence[Card], kiln: Kiln
) -> _Choice | str:
    """The gas that suits two cards best, each within the window it leaves; or why there is none.

    A gas that lets the pair melt leaves less of the window, or nothing of it. A gas that is refused
    anyway keeps the whole window, so that its own reason is told.
    """
    metal, ceramic = (cards[k] for k in pair)
    gases = list(windows)
    by_window: dict[SharedWindow, list[str]] = {}
    apart: dict[str, list[str]] = {}
    melts = []
    for gas, those in windows.items():
        whole = shared_window(those, *pair, kiln.max_temperature)
        if whole is None:
            apart.setdefault(no_window_reason(those, *pair, cards, kiln, gas), []).append(gas)
            continue
        cap = min(kiln.max_temperature, liquid_ceiling((metal, ceramic), gas))
        window = shared_window(those, *pair, cap)
        if window is None and best_gas(metal, ceramic, whole.peak, [gas])[1] == NO:
            window = whole
        if window:
            by_window.setdefault(window, []).append(gas)
        elif liquid := first_liquid((metal, ceramic), gas):
            melts.append(liquid.text(gas, whole.low))
    if len(apart) > 1 or (apart and by_window):
        melts += [f"in {' and '.join(some)} {why}" for why, some in apart.items()]
    else:
        melts += apart
    if not by_window:
        return "; ".join(melts)
    choices = [
        _Choice(window, *best_gas(metal, ceramic, window.peak, some))
        for window, some in by_window.items()
    ]
    best = min(choices, key=lambda c: (gas_rank(c.grade, c.window), gases.index(c.gas)))
    if best.grade == NO:
        why = "; ".join(dict.fromkeys((*(c.reason for c in choices), *melts)))
        return replace(best, reason=why)
    return best


def screen(
    metals: Sequence[Card],
    ceramics: Sequence[Card],
    kiln: Kiln,
    gases: Sequence[str] = STUDIO_GASES,
    executor: Executor | None = None,
) -> list[Pair]:
    """Every metal with every ceramic: can they share a firing, and at what mismatch.

    Each pair is fired at the peak and hold of its shared window (`shared_window`), which ends below
    the first liquid that the two make in that gas. A pair without a window, or without a gas, is
    "no" with the gap or the liquid; the others are graded by `compare`, by what the cards say of
    the gas, and by the char that a gas other than air keeps: where that is too much, and the two
    bear an open burnout before, they are a caution that asks for it. Own weight is that of an
    upright ring of each material, `own_weight.RING` high, that bears only itself; a zone that
    bears another one sags more.

    Parameters
    ----------
    metals, ceramics : sequence of Card
        The two sides; a blend may stand on either.
    kiln : Kiln
        The kiln.
    gases : sequence of str
        Gases at hand, in order of preference.
    executor : Executor, optional
        Who fires the shared windows (see `cofire.workers`).

    Returns
    -------
    list of Pair
        Best first: verdict, then cooled mismatch.
    """
    both = [*metals, *ceramics]
    windows = {gas: firing_windows(both, kiln, gas) for gas in gases}
    pairs: list[Pair] = []

    shared: dict[tuple[float, float, str], list[_Member]] = {}
    for i, metal in enumerate(metals):
        for j, ceramic in enumerate(ceramics, len(metals)):
            if why := metal.refused or ceramic.refused:
                pairs.append(
                    Pair(metal=metal.name, ceramic=ceramic.name, verdict="no", reason=why, gas="")
                )
                continue
            choice = _choose(windows, (i, j), both, kiln)
            if isinstance(choice, str):
                pairs.append(
                    Pair(
                        metal=metal.name, ceramic=ceramic.name, verdict="no", reason=choice, gas=""
                    )
                )
                continue
            job = (choice.window.peak, choice.window.hold, choice.gas)
            shared.setdefault(job, []).append((i, j, choice.window, choice.grade, choice.reason))
    jobs = []
    for firing, members in shared.items():
        used = sorted({k for m in members for k in m[:2]})
        jobs.append(({k: both[k] for k in used}, kiln, firing, members))
    for found in each(_fired_pairs, jobs, executor):
        pairs += found
    far = np.inf
    return sorted(
        pairs,
        key=lambda p: (
            VERDICTS.index(p.verdict),
            p.window is None,
            abs(p.cooled_mismatch) if p.cooled_mismatch is not None else far,
            p.metal,
            p.ceramic,
        ),
    )


_Member = tuple[int, int, SharedWindow, int, str]
"""Metal, ceramic, window, and grade and reason of the gas, of a pair in a shared firing."""


class _Char:
    """Flags of the char in pure cards, in one shared firing (`core_of`).

    None is asked for in air, where a burnout can be slower.

    Attributes
    ----------
    gas
        Of the firing.
    closed
        By name, with its gas from the start.
    """

    def __init__(self, history: History, cards: Sequence[Card], firing: Firing) -> None:
        """Of the cards of a history, in order, in a firing of one ramp and hold in one gas."""
        self.gas = firing.gas
        flags = [] if self.gas == "air" else core_of(history, cards)
        self.closed = {flag.zone: flag for flag in flags}
        self._black = [
            c for c in cards if c.name in self.closed and self.closed[c.name].grade == NO
        ]
        self._firing = firing

    @cached_property
    def _opened(self) -> tuple[_Opened, ...]:
        """For each of `OPEN_ENDS`, in order."""
        return tuple(_Opened(self._black, self._firing, end) for end in OPEN_ENDS)

    def told(self, cards: Mapping[str, Card]) -> tuple[int, str]:
        """Grade of pure cards that touch each other, and the reason where it is no go."""
        worst = max(
            (flag for name, flag in self.closed.items() if name in cards),
            key=attrgetter("utilisation"),
            default=None,
        )
        if worst is None or worst.grade == GO:
            return GO, ""
        limit = worst.limit * (1.0 if worst.grade == NO else worst.caution)
        kept = (
            f"closed in {self.gas}, {worst.zone} keeps {worst.figure:.2g} % of char "
            f"(limit {limit:.1g} %)"
        )
        if worst.grade < NO:
            return worst.grade, kept
        for opened in self._opened:
            if opened.serves(cards):
                end = celsius(opened.end)
                burnout = f"{OPEN_HOLD / MINUTE:.0f} min at {end:.0f} °C in air"
                return CAUTION, f"only with an open burnout first, {burnout}: {kept}"
        return NO, kept


class _Opened:
    """A firing whose binder is burnt out in air first.

    Attributes
    ----------
    end
        Where it is. [K]
    curve
        What the ware sees.
    """

    def __init__(self, cards: Sequence[Card], firing: Firing, end: float) -> None:
        """Of those cards that keep char without it; `firing` is one ramp and hold."""
        (soak,) = firing.segments
        self.end = min(end, soak.target - 5.0)
        burning = Segment(self.end, RATE, OPEN_HOLD, gas="air")
        segments = (burning, replace(soak, gas=firing.gas))
        self.curve = trace(replace(firing, segments=segments))
        self._cards = cards

    @cached_property
    def _left(self) -> Mapping[str, Flag]:
        """Flags of the char in them by name."""
        after = histories(self._cards, self.curve, extend=True)
        return {flag.zone: flag for flag in core_of(after, self._cards)}

    def serves(self, cards: Mapping[str, Card]) -> bool:
        """Whether no char that is too much stays in cards by name, and all bear the gases."""
        if any(flag.grade == NO for name, flag in self._left.items() if name in cards):
            return False
        return all(grade_in_turn(card, self.curve)[0] < NO for card in cards.values())


def _fired_pairs(
    job: tuple[Mapping[int, Card], Kiln, tuple[float, float, str], Sequence[_Member]],
) -> list[Pair]:
    """Pairs that share one firing, from anywhere."""
    both, kiln, (peak, hold, gas), members = job
    place = {k: n for n, k in enumerate(both)}
    cards = list(both.values())
    pure = pure_cards(cards)
    own = {card.name for card in cards}
    fired = fire([*cards, *(c for c in pure.values() if c.name not in own)], kiln, peak, hold, gas)
    held = fired.history.extended
    rows = [fired.history.names.index(name) for name in pure]
    firing = ware_firing(kiln, peak, hold, RATE, gas)
    char = _Char(fired.history.rows(rows), list(pure.values()), firing)
    pairs = []
    for i, j, window, grade, reason in members:
        block = compare(fired, place[i], np.array([place[j]]))
        parts = pure_cards([both[i], both[j]])
        found = [(int(block.grade[0]), describe(block, 0)), char.told(parts), (grade, reason)]
        worst = max(one for one, _ in found)
        if grade == NO:  # refused by its gas, whatever else would be
            found = [(grade, reason)]
        found.sort(key=lambda one: -one[0])
        pairs.append(
            Pair(
                metal=both[i].name,
                ceramic=both[j].name,
                verdict=VERDICTS[worst],
                reason="; ".join(why for _, why in found if why),
                gas=gas,
                window=window,
                metal_density=block.metal_density,
                ceramic_density=float(block.ceramic_density[0]),
                solidus_margin=metal_margin(both[i], peak),
                end_mismatch=float(block.end_mismatch[0]),
                worst_mismatch=float(block.worst_mismatch[0]),
                worst_temperature=float(block.worst_temperature[0]),
                set_point=float(block.set_point[0]),
                cooled_mismatch=float(block.cooled_mismatch[0]),
                tile_tension=float(block.tile_tension[0]),
                strength=float(block.strength[0]),
                metal_sag=block.metal_sag,
                ceramic_sag=float(block.ceramic_sag[0]),
                extended=any(line.startswith(f"{name}: ") for line in held for name in parts),
            )
        )
    return pairs


def shared_firing(one: Card, other: Card, kiln: Kiln, gases: Sequence[str]) -> Firing:
    """A firing in the window that two cards share.

    Parameters
    ----------
    one, other : Card
        The pair.
    kiln : Kiln
        The kiln.
    gases : sequence of str
        Gases at hand; those of a studio where there are none.

    Returns
    -------
    Firing
        That in which `screen` grades them: the kiln's hold is the ware's and one lag of the gas.

    Raises
    ------
    InputError
        They share none; the message says why.
    """
    metal, ceramic = (other, one) if one.kind == "ceramic" else (one, other)
    if metal.kind == "ceramic":
        raise InputError(f"{one.name} and {other.name} are two ceramics; give a firing (--firing)")
    (pair,) = screen([metal], [ceramic], kiln, tuple(gases or STUDIO_GASES))
    if pair.window is None:
        raise InputError(
            f"{one.name} and {other.name} share no firing: {pair.reason}. Give a firing (--firing)"
        )
    return ware_firing(kiln, pair.window.peak, pair.window.hold, RATE, pair.gas)


def metal_margin(card: Card, peak: float) -> float:
    """Distance from a peak up to the metal's solidus.

    Parameters
    ----------
    card : Card
        A metal, or a blend that contains one.
    peak : float
        [K]

    Returns
    -------
    float
        [K]
    """
    metal, _ = card.constituents[0]
    return metal["solidus"].scalar - peak


def _ceilings(metals: Sequence[Card], ceramics: Sequence[Card], gas: str) -> NDArray[np.float64]:
    """Hottest peak of each pair before it melts, (M, K); worked out once for cards alike. [K]"""

    def key(card: Card) -> Hashable:
        """All that the first liquid depends on."""
        return tuple(
            (families(part), part.elements, part.scalar("solidus", np.inf))
            for part in pure_cards([card]).values()
        )

    known: dict[Hashable, float] = {}
    caps = np.empty((len(metals), len(ceramics)))
    of_ceramic = [key(card) for card in ceramics]
    for m, metal in enumerate(metals):
        of_metal = key(metal)
        for c, ceramic in enumerate(ceramics):
            both = (of_metal, of_ceramic[c])
            if both not in known:
                known[both] = liquid_ceiling((metal, ceramic), gas)
            caps[m, c] = known[both]
    return caps


def stream(
    metals: Sequence[Card],
    ceramics: Sequence[Card],
    kiln: Kiln,
    peaks: Sequence[float],
    hold: float = 60.0 * MINUTE,
    gas: str = "carbon",
) -> Iterator[tuple[float, int, NDArray[np.bool_], PairBlock]]:
    """Figures of every pair at every given peak, one metal at a time.

    Memory holds one firing's histories; N cards cost N histories a peak, however many pairs.

    Parameters
    ----------
    metals, ceramics : sequence of Card
        The two sides.
    kiln : Kiln
        The kiln.
    peaks : sequence of float
        Peaks of the ware. [K]
    hold : float
        [s]
    gas : str
        Around the ware.

    Yields
    ------
    tuple of float, int, array of bool, PairBlock
        Peak [K], index of the metal, which ceramics share the firing with it, the figures.
    """
    both = [*metals, *ceramics]
    caps = _ceilings(metals, ceramics, gas)
    indices = np.arange(len(metals), len(both))
    windows = firing_windows(both, kiln, gas, np.array(peaks), np.array([hold]))
    for p, peak in enumerate(peaks):
        fired = fire(both, kiln, float(peak), hold, gas)
        allowed = windows.allowed[:, p, 0]
        for m in range(len(metals)):
            solid = peak <= caps[m] + 1e-9
            yield float(peak), m, allowed[m] & allowed[indices] & solid, compare(fired, m, indices)
