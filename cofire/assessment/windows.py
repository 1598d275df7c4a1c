"""Which peaks, holds and gases a card allows: dense enough, not molten, at home in the gas."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.crystal_rules import turned_grade
from cofire.assessment.own_weight import RING, sag_grade
from cofire.assessment.rule import CAUTION, GO, NO
from cofire.firing.kiln import END, Stretch, Trace, follow, ramp
from cofire.firing.program import LAG, Kiln
from cofire.materials.card import Card, pure_cards
from cofire.materials.pairs import first_liquid
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.atmosphere import (
    data_end,
    oxidation_margins,
    oxidised_elements,
    oxygen_potential,
)
from cofire.physics.oxidation import (
    GROWTH,
    SHARE_FACTOR,
    oxide_swelling,
    oxidised_depth,
    oxidised_share,
)
from cofire.physics.rheology import shear_viscosity
from cofire.physics.sintering import clock_rate, density_at, run_clock
from cofire.physics.stability import turning_rate
from cofire.units import GRAVITY, HOUR, MINUTE, ROOM, ZERO_CELSIUS, celsius, kelvin

# ----------------------------------------------------------------------------------------------
# Which gas suits a card, and a pair of them

STUDIO_GASES = ("air", "carbon", "inert")
"""What a studio can have around its ware, the easiest first: common practice."""


def gas_grade(card: Card, gas: str, peak: float) -> tuple[int, str]:
    """How a card takes a gas at its peak: its own remark, and oxidation of its metal.

    Parameters
    ----------
    card : Card
        Metal, ceramic or blend.
    gas : str
        One of the gases.
    peak : float
        Of the ware. [K]

    Returns
    -------
    tuple of int and str
        Grade, and the reason where it is not "go".
    """
    if card.parts:
        return max((gas_grade(part, gas, peak) for part, _ in card.parts), key=lambda g: g[0])
    remark = card.atmosphere[gas]
    word, _, why = remark.partition(": ")
    grade = {"good": GO, "caution": CAUTION, "refused": NO}[word]
    reason = f"{card.name} in {gas}: {why}" if why else ""
    if card.kind == "metal" and grade < NO:
        known, margins = _margins(card.elements, gas, peak)
        if oxidised := oxidised_elements(margins):
            size = -float(margins[oxidised[0]])
            return NO, (
                f"{card.name} in {gas}: {oxidised[0]} oxidises at {celsius(known):.0f} °C, "
                f"10^{size:.0f} times the oxygen that it bears"
            )
        if known < peak:
            beyond = f"unknown above {celsius(known):.0f} °C, where the data of its oxides end"
            return CAUTION, f"{reason}; {beyond}" if why else f"{card.name} in {gas}: {beyond}"
    return grade, reason


def _margins(elements: Sequence[str], gas: str, peak: float) -> tuple[float, dict[str, Array]]:
    """Oxidation margins at a peak [K], and the temperature [K] that they are of.

    It is the peak, or where the data of oxides or gas end on the way there: what oxidises there has
    oxidised.
    """
    known = min(peak, data_end(elements, gas))
    return known, oxidation_margins(elements, oxygen_potential(gas, known), known)


BURNT_OPEN = kelvin(600.0)
"""Hottest at which a metal may stand in a gas that oxidises it, where a later gas reduces it: no
binder asks for more, and hotter the pores of powder and oxide begin to close to that gas. Common
practice. [K]"""
THROUGH = 0.75
"""Share of a grain as oxide from which it counts as oxidised through: our choice. Copper clays are
burnt out open at up to some 540 °C for up to an hour before the carbon pack (common practice),
seven tenths of a grain of 20 µm by `physics.oxidation`, and come through; beyond that nothing is
known. The strain that brown powder bears sets no limit here: a hundredth of a grain would reach it
if all oxide pushed, and most of it grows into the pores. [-]"""
TARNISH = kelvin(300.0)
"""Below it oxidation is too slow to matter: common practice. [K]"""
REDUCES_FROM = {"carbon": kelvin(700.0), "hydrogen": kelvin(300.0)}
"""Gases that take an oxide back, and from which temperature on: carbon's gas is not at equilibrium
below about 700 °C. Common practice. [K]"""


def grade_in_turn(card: Card, curve: Trace) -> tuple[int, str, float]:
    """How a card takes gases that follow each other, each at the peak it has while it is there.

    What a metal bears of oxidation in one gas is a caution where a later one reduces all of it
    and the grains are not oxidised through by then, and else what it is in that gas alone.

    Parameters
    ----------
    card : Card
        Metal, ceramic or blend.
    curve : Trace
        Of the ware, with the gas of each moment.

    Returns
    -------
    tuple of int, str and float
        Grade, the reason where it is not "go", and the peak it belongs to. [K]
    """
    if card.parts:
        found = [grade_in_turn(part, curve) for part, _ in card.parts]
        return max(found, key=lambda g: g[0])
    stretches = curve.stretches
    worst = (GO, "", max(s.peak for s in stretches))
    for n, stretch in enumerate(stretches):
        grade, reason = gas_grade(card, stretch.gas, stretch.peak)
        if grade > GO and len(stretches) > 1 and card.kind == "metal":
            grade, reason = _taken_back(card, curve, n, (grade, reason))
        open_to = [s.peak for s in stretches[:n] if s.gas == "air"]
        if "out in air" in reason and open_to:  # what the card asks for came before
            reason += f"; here it stood in air to {celsius(max(open_to)):.0f} °C before"
        if grade > worst[0]:
            worst = grade, reason, stretch.peak
    return worst


def _taken_back(card: Card, curve: Trace, n: int, alone: tuple[int, str]) -> tuple[int, str]:
    """Grade of a metal in stretch `n`, whose gas oxidises it, with what later gases do about it."""
    stretch, *later = curve.stretches[n:]
    oxidised = oxidised_elements(_margins(card.elements, stretch.gas, stretch.peak)[1])
    if not oxidised:
        return alone
    if stretch.peak < TARNISH:
        return GO, ""
    for other in later:
        if other.peak < REDUCES_FROM.get(other.gas, np.inf):
            continue
        if oxidised_elements(_margins(oxidised, other.gas, other.peak)[1]):
            continue
        here = f"{card.name} in {stretch.gas}, to {celsius(stretch.peak):.0f} °C"
        if stretch.peak > BURNT_OPEN:
            return NO, f"{here}: it oxidises; a burnout ends below {celsius(BURNT_OPEN):.0f} °C"
        base = card.elements[0]
        back = f"{other.gas} takes it back at {celsius(other.peak):.0f} °C and leaves pores"
        if base not in oxidised or base not in GROWTH:
            return CAUTION, f"{here}: {oxidised[0]} oxidises, how much is not known; {back}"
        share, told = _as_oxide(card, curve, stretch)
        if share > THROUGH:
            return NO, (
                f"{here}: {told}. Above {THROUGH:.0%} it counts as oxidised through; what "
                f"{other.gas} then leaves is not known to hold"
            )
        return CAUTION, f"{here}: {told}; {back}"
    return alone


def _as_oxide(card: Card, curve: Trace, stretch: Stretch) -> tuple[float, str]:
    """Share of a metal's grains that turns to oxide while a gas is there, and how it is told.

    As in air: an upper bound for gases with less oxygen.
    """
    base, size = card.elements[0], card["particle_size"].scalar
    here = slice(stretch.first, stretch.last + 1)
    depth = oxidised_depth(base, curve.time[here], curve.ware[here])[-1]
    share = float(oxidised_share(depth, size))
    shares = np.array([share, share / SHARE_FACTOR, min(share * SHARE_FACTOR, 1.0)])
    turned, swells = (
        "{} % ({} to {} %)".format(*(f"{float(f'{100 * x:.2g}'):g}" for x in told))
        for told in (shares, oxide_swelling(base, shares))
    )
    return share, (
        f"some {turned} of its grains of {1e6 * size:.3g} µm turns to oxide and may swell the "
        f"powder by up to {swells} of length"
    )


def best_gas(metal: Card, ceramic: Card, peak: float, gases: Sequence[str]) -> tuple[str, int, str]:
    """The gas that suits both best, the first of equals.

    Parameters
    ----------
    metal, ceramic : Card
        The pair.
    peak : float
        Of the ware. [K]
    gases : sequence of str
        Those at hand, in order of preference.

    Returns
    -------
    tuple of str, int and str
        Gas, grade, and where the grade is not "go" the reasons of all that have it.
    """
    found = []
    for gas in gases:
        each = [gas_grade(card, gas, peak) for card in pure_cards((metal, ceramic)).values()]
        grade = max(one for one, _ in each)
        reasons = dict.fromkeys(why for one, why in each if one == grade and why)
        found.append((gas, grade, "; ".join(reasons)))
    best = min(found, key=lambda f: f[1])
    if best[1] == NO and len(found) > 1:
        return best[0], NO, "; ".join(dict.fromkeys(f[2] for f in found))
    return best


# ----------------------------------------------------------------------------------------------
# Which peaks and holds a card allows: dense enough, not molten, not overfired

SOLIDUS_MARGIN = 15.0
"""A metal stays this far below its solidus: about twice the tolerance of a class 2 type K
thermocouple (0.75 %, IEC 60584, from memory) at 900 °C. [K]"""
EASY_RANGE = 30.0
"""Range of peaks that a small kiln's unevenness of about 10 K either way leaves comfortable:
common practice. [K]"""
RATE = 150.0 / HOUR
"""Ramp of a screening firing, the usual rate of cone tables. [K/s]"""
PEAKS = np.arange(550.0, 1705.0, 5.0) + ZERO_CELSIUS
HOLDS = np.array([10.0, 30.0, 60.0, 120.0, 240.0]) * MINUTE


@dataclass(frozen=True)
class Windows:
    """Peaks and holds that N cards allow.

    Attributes
    ----------
    peak, hold
        The grid, shapes (P,) and (H,). [K], [s]
    density
        Relative density after each firing, the less dense part for a blend, (N, P, H). [-]
    matures
        Dense enough, (N, P, H).
    turned
        Share of the time used up that each card's crystals last (`crystal_rules`), (N, P, H). [-]
    ceiling
        Hottest peak allowed, (N,). [K]
    sag
        Of one card by its number, found when it is asked for: height that an upright ring of
        `RING`, bearing only itself, loses to the flow of its glass and crystals in each firing, of
        its height, (P, H); zero for a metal. [-]
    """

    peak: Array
    hold: Array
    density: Array
    matures: NDArray[np.bool_]
    turned: Array
    ceiling: Array
    sag: Callable[[int], Array]

    @cached_property
    def allowed(self) -> NDArray[np.bool_]:
        """Dense enough, below the ceiling, and with the crystals kept, shape (N, P, H)."""
        cool = self.peak[None, :, None] <= self.ceiling[:, None, None] + 1e-9
        return self.matures & cool & (self.turned <= 1.0)

    @cached_property
    def lowest(self) -> Array:
        """Lowest peak that makes each card dense enough at any hold, infinite if none, (N,). [K]"""
        any_hold = np.any(self.matures, axis=2)
        return np.where(np.any(any_hold, axis=1), self.peak[np.argmax(any_hold, axis=1)], np.inf)


def ceiling(card: Card, gas: str) -> float:
    """Hottest peak a card allows in a gas.

    Parameters
    ----------
    card : Card
        A metal (solidus less the margin), a ceramic (its firing ceiling), or a blend of both.
    gas : str
        Around it when hot: a body with iron overfires lower where that is reduced.

    Returns
    -------
    float
        Temperature. [K]
    """
    if card.parts:
        return min(ceiling(part, gas) for part, _ in card.parts)
    if card.kind == "metal":
        return card["solidus"].scalar - SOLIDUS_MARGIN
    return card.in_gas(gas).overfires_at


def liquid_ceiling(cards: Sequence[Card], gas: str) -> float:
    """Hottest peak that materials which touch allow in a gas before anything melts.

    Parameters
    ----------
    cards : sequence of Card
        Materials that touch each other.
    gas : str
        Around them.

    Returns
    -------
    float
        Their first liquid less the margin; infinite where none of them melts. [K]
    """
    found = first_liquid(cards, gas)
    return np.inf if found is None else found.temperature - SOLIDUS_MARGIN


@dataclass(frozen=True)
class _Ramps:
    """One ramp to the top of a grid of peaks and one cooling from there, shapes (M,). [s], [K]"""

    up_time: Array
    up: Array
    down_time: Array
    down: Array

    def heating(
        self, peak: Array, rate: Callable[[Array], Array], times: Array | float = 1.0
    ) -> Array:
        """Integral of a rate on the way up to each peak, (P,); `times` is a factor along it."""
        grown = np.diff(run_clock(self.up_time, self.up, rate))
        weights = np.broadcast_to(times, self.up.shape)
        weighed = grown * 0.5 * (weights[1:] + weights[:-1])
        return np.asarray(np.interp(peak, self.up, np.append(0.0, np.cumsum(weighed))))

    def cooling(self, peak: Array, rate: Callable[[Array], Array]) -> Array:
        """The same on the way down from each peak, (P,)."""
        cooled = run_clock(self.down_time, self.down, rate)
        return np.asarray(cooled[-1] - np.interp(peak, self.down[::-1], cooled[::-1]))

    def followed(self, peak: Array, lag: float) -> tuple[Array, Array]:
        """Times [s] and ware [K] on the way down from each peak, by a lag [s] behind, (P, M).

        What it is behind by is that of a ware from the top of the grid, less what it had been
        behind by at its own peak, which fades with the lag.
        """
        behind = follow(self.down_time, self.down, lag, float(self.down[0])) - self.down
        start = np.interp(peak, self.down[::-1], self.down_time[::-1])
        since = np.maximum(self.down_time - start[:, None], 0.0)
        had = np.interp(start, self.down_time, behind)[:, None]
        ware = self.down + behind - had * np.exp(-since / lag)
        return since, np.where(since > 0.0, ware, peak[:, None])


def _ring_sag(card: Card, gas: str, ramps: _Ramps, peak: Array, hold: Array) -> Array:
    """Height that a ring of one card loses in each firing, (H, P): `Windows.sag`."""
    if card.parts:
        (_, body), solid = (part for part, _ in card.parts), card["theoretical_density"].scalar
        rigid = float(mixing.viscosity(card.metal_share, np.inf, 1.0))  # as the metal is taken
        heavier = solid / body["theoretical_density"].scalar
        return _ring_sag(body, gas, ramps, peak, hold) * heavier / rigid
    card = card.in_gas(gas)
    if "glass_viscosity" not in card and "body_viscosity" not in card:
        return np.zeros((hold.size, peak.size))
    speed = clock_rate(card, extend=True)
    load = 0.5 * RING * GRAVITY * card["theoretical_density"].scalar

    def flow(T: Array) -> Array:
        """Strain rate of the ring if it were dense."""
        return np.asarray(load / (3.0 * shear_viscosity(card, T, extend=True)))

    def softer(clock: Array) -> Array:
        """How much faster it flows while porous: lighter by D, softer by D/(3 - 2 D)."""
        return 3.0 - 2.0 * density_at(card, clock)

    rising = run_clock(ramps.up_time, ramps.up, speed)
    first, held = np.interp(peak, ramps.up, rising), speed(peak) * hold[:, None]
    last = softer(first + held)
    during = (softer(first) + 4.0 * softer(first + 0.5 * held) + last) / 6.0  # Simpson's rule
    return (
        ramps.heating(peak, flow, softer(rising))
        + flow(peak) * hold[:, None] * during
        + ramps.cooling(peak, flow) * last
    )


def firing_windows(
    cards: Sequence[Card],
    kiln: Kiln,
    gas: str,
    peak: Array = PEAKS,
    hold: Array = HOLDS,
    rate: float = RATE,
) -> Windows:
    """Densities and limits of cards over a grid of one-ramp firings.

    The temperatures are those of the ware: the kiln's hold is longer by its lag (`come_up`). Ramps
    follow the kiln's heating limit, cooling its natural one. That a ware lags while it cools is
    counted in the time of crystals; density and flow get it back above the ramp (`ware_firing`).

    Parameters
    ----------
    cards : sequence of Card
        N cards.
    kiln : Kiln
        Its heating and cooling rates.
    gas : str
        Around the ware when hot.
    peak, hold : array
        The grid, shapes (P,) and (H,). [K], [s]
    rate : float
        Ramp asked for. [K/s]

    Returns
    -------
    Windows
        Each card alone: N cards cost N.
    """
    top = float(peak.max()) + 1.0
    ramps = _Ramps(*ramp(kiln, ROOM, top, rate), *ramp(kiln, top, END, np.inf))

    def fired(card: Card) -> tuple[Array, NDArray[np.bool_]]:
        """Density over the grid, and whether it is enough."""
        if card.parts:
            (one, enough), (other, enough_too) = (fired(part) for part, _ in card.parts)
            return np.minimum(one, other), enough & enough_too
        card = card.in_gas(gas)
        speed = clock_rate(card, extend=True)
        clock = (
            ramps.heating(peak, speed) + ramps.cooling(peak, speed) + speed(peak) * hold[:, None]
        )
        density = density_at(card, clock.T)
        return density, density >= card["least_density"].scalar

    @cache
    def sag(n: int) -> Array:
        return _ring_sag(cards[n], gas, ramps, peak, hold).T

    @cache
    def followed() -> tuple[Array, Array]:
        return ramps.followed(peak, LAG[gas])

    def turned(card: Card) -> Array:
        """Share of the time that its crystals last, over the grid; a pack cools late."""
        if not any("stable_time" in part for part, _ in card.constituents):
            return np.zeros((peak.size, hold.size))

        def rate(T: Array) -> Array:
            return turning_rate(card, T)

        since, ware = followed()
        ways = ramps.heating(peak, rate) + np.trapezoid(rate(ware), since, axis=1)
        return np.asarray((ways + rate(peak) * hold[:, None]).T)

    density, matures = zip(*map(fired, cards), strict=True)
    ceilings = np.array([ceiling(card, gas) for card in cards])
    used = np.stack([turned(card) for card in cards])
    return Windows(peak, hold, np.stack(density), np.stack(matures), used, ceilings, sag)


@dataclass(frozen=True)
class SharedWindow:
    """The firing that two cards share: a peak, and the range of peaks about it at its hold.

    Temperatures in K, hold in s; `sag` and `turned` are the larger of the two cards'.
    """

    low: float
    high: float
    peak: float
    hold: float
    sag: float
    turned: float

    @property
    def grade(self) -> int:
        """The worse of what sag and the crystals' time say: 0, 1 or 2 for go, caution, no."""
        return int(max(sag_grade(self.sag), turned_grade(self.turned)))


def gas_rank(grade: int, window: SharedWindow) -> tuple[bool, int]:
    """By what gases are chosen among, each with its window; the least is the best.

    Parameters
    ----------
    grade : int
        Of the gas in itself (`best_gas`).
    window : SharedWindow
        That it leaves.

    Returns
    -------
    tuple of bool and int
        Whether the gas is refused, and the worse of its grade and that of the window.
    """
    return grade == NO, max(grade, window.grade)


def shared_window(windows: Windows, one: int, other: int, hottest: float) -> SharedWindow | None:
    """The firing that two cards share, or None.

    It lies in the middle of the range of neighbouring peaks that both allow, at the shortest hold
    whose range is comfortable, or else the one with the widest range. Where a body sags there by
    more than a go bears, or its crystals turn, it is the first of the comfortable peaks and holds
    that is a go, or else the one of least sag among the best: a glass often flows less in a long
    hold lower down.

    Parameters
    ----------
    windows : Windows
        Of all cards.
    one, other : int
        Which two.
    hottest : float
        Limit of the kiln. [K]

    Returns
    -------
    SharedWindow or None
        None where they allow no peak and hold in common.
    """
    both = windows.allowed[one] & windows.allowed[other]
    both = both & (windows.peak[:, None] <= hottest + 1e-9)
    if not both.any():
        return None
    sag = np.maximum(windows.sag(one), windows.sag(other))
    turned = np.maximum(windows.turned[one], windows.turned[other])
    step = np.diff(windows.peak, append=windows.peak[-1]).max()
    runs = [_longest_run(column) for column in both.T]
    width = np.array([last - first for first, last in runs])
    easy = width * step >= EASY_RANGE
    h = int(np.argmax(easy)) if easy.any() else int(np.argmax(width))

    def at(p: int, h: int) -> SharedWindow:
        first, last = runs[h]
        low, high = windows.peak[first], windows.peak[last - 1]
        return SharedWindow(
            float(low), float(high), float(windows.peak[p]), float(windows.hold[h]),
            float(sag[p, h]), float(turned[p, h]),
        )  # fmt: skip

    middle = [0.5 * (windows.peak[max(b, 1) - 1] + windows.peak[a]) for a, b in runs]
    beside = np.abs(windows.peak[:, None] - middle)
    usual = int(np.argmin(np.where(both[:, h], beside[:, h], np.inf)))
    grade = np.maximum(sag_grade(sag), turned_grade(turned))
    if grade[usual, h] == GO or not easy.any():
        return at(usual, h)
    margin = int(np.ceil(0.5 * EASY_RANGE / step)) - 1
    choices = [
        (p, h)
        for h in np.flatnonzero(easy).tolist()
        for p in range(runs[h][0] + margin, runs[h][1] - margin)
    ]
    return at(*min(choices, key=lambda c: (grade[c], grade[c] and sag[c], c[1], beside[c])))


def _longest_run(column: NDArray[np.bool_]) -> tuple[int, int]:
    """First place of the longest run of neighbours that are true, and the place after its last."""
    ends = np.flatnonzero(np.diff(column.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    if not ends.size:
        return 0, 0
    first, last = ends[np.argmax(ends[:, 1] - ends[:, 0])]
    return int(first), int(last)
