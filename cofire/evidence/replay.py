"""A vessel through the firing it really had: what would have been flagged, and where it cracks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cofire.assessment.brown_rules import brown_utilisations
from cofire.assessment.check import QUICK, laid_vessel
from cofire.assessment.cracks import SINTERED
from cofire.assessment.response import Response, cards_of, fire_vessel, solid_or_shell
from cofire.assessment.rule import FIRING, NO, STRESS, Flag, not_computed
from cofire.assessment.verdict import Verdict, judge, rule_of, worst_first
from cofire.errors import InputError, OutOfRange
from cofire.firing.cones import read_cones
from cofire.firing.kiln import Trace, trace
from cofire.firing.log import BESIDE, HIDING, FiringLog
from cofire.materials.card import Card
from cofire.mechanics.integrator import Control
from cofire.numerics import Array
from cofire.physics.heatwork import ConeEquivalent, cone_equivalent
from cofire.physics.history import Along
from cofire.units import MINUTE, celsius
from cofire.vessel import Vessel

WINDOW = 30.0 * MINUTE
"""Rates are means over so long, so that a controller's swing is none. [s]"""
BELOW_PEAK = (20.0, 50.0, 100.0)
"""The time spent hotter than the plan's peak less these is compared. [K]"""
SAME_TEMPERATURE = 50.0
"""Two set points read from one run differ by so much (curvature against surface stress): a crack
heard closer than this to the model's moment counts as then. Common practice. [K]"""
AS_LOADED = 0.8
"""Share of the worst utilisation from which a moment is as likely to break it: scatter of
strength. [-]"""
LARGEST_MOVES = 3
LEAST_MOVE = 0.02
"""Change of a utilisation that is worth telling. [-]"""
DECAY = 1.285
"""[3 (1 − ν²)]^¼ at a Poisson's ratio of 0.3: √(radius · wall) over the length in which a ring
joint's bending dies away (Timoshenko & Woinowsky-Krieger 1959, art. 115, from memory). [-]"""


@dataclass(frozen=True)
class Pace:
    """What matters of a firing curve of the ware.

    Attributes
    ----------
    peak, peak_time
        [K], [s]
    heating, heating_at, cooling, cooling_at
        Fastest means over half an hour and the temperature there. [K/s], [K]
    above
        Time spent above each level. [s]
    length
        From cold to cold. [s]
    cone
        Heat work, None where it lies outside the chart.
    """

    peak: float
    peak_time: float
    heating: float
    heating_at: float
    cooling: float
    cooling_at: float
    above: tuple[float, ...]
    length: float
    cone: ConeEquivalent | None


@dataclass(frozen=True)
class Moment:
    """How near a place is to breaking at a time: stress over strength. [s], [K], [m], [-]"""

    time: float
    temperature: float
    height: float
    utilisation: float
    rising: bool


@dataclass(frozen=True)
class Crack:
    """A crack that was found, and what the model says of its place and moment.

    Attributes
    ----------
    height, temperature
        As the person found it; the temperature of the log only where it was heard. [m], [K]
    material
        Of the band there.
    here
        The worst moment at that height.
    worst
        The worst moment anywhere.
    heard
        When the log passed that temperature, how hot the ware was, and the utilisation at that
        height then.
    reach
        How far from a step its bending reaches there. [m]
    """

    height: float
    temperature: float | None
    material: str
    here: Moment
    worst: Moment
    heard: tuple[Moment, ...]
    reach: float

    @property
    def same_place(self) -> bool:
        """Whether it lies within the reach of the place the model endangers most."""
        return abs(self.height - self.worst.height) <= self.reach

    @property
    def same_moment(self) -> bool | None:
        """Whether it was heard within 50 K of the worst moment there, or when nearly as loaded."""
        if self.temperature is None:
            return None
        nearly = max(m.utilisation for m in self.heard) >= AS_LOADED * self.here.utilisation
        apart = min(abs(m.temperature - self.here.temperature) for m in self.heard)
        return nearly or apart <= SAME_TEMPERATURE


@dataclass(frozen=True)
class Replay:
    """A vessel through the firing planned and through the one logged.

    Attributes
    ----------
    planned, fired
        As the printer lays it, as a shell: what a crack is looked for in.
    verdicts
        On those, as `check_vessel` judges them: on a solid, unless `why` says otherwise.
    levels
        Temperatures of `Pace.above`. [K]
    changed
        Flags whose verdict the log changes: as planned, as fired.
    moved
        Other flags whose utilisation moved most.
    withheld
        Rules that say nothing of the firing as logged, since its peak may lie where nothing was
        read.
    """

    log: FiringLog
    planned: Response
    fired: Response
    verdicts: tuple[Verdict, Verdict]
    levels: tuple[float, ...]
    paces: tuple[Pace, Pace]
    changed: tuple[tuple[Flag, Flag], ...]
    moved: tuple[tuple[Flag, Flag], ...]
    crack: Crack | None
    why: str = ""
    withheld: tuple[str, ...] = ()


def pace(trace: Trace, levels: tuple[float, ...]) -> Pace:
    """Peak, rates, times above levels and heat work of a curve.

    Parameters
    ----------
    trace : Trace
        Of the ware.
    levels : tuple of float
        Temperatures. [K]

    Returns
    -------
    Pace
        Its figures.
    """
    even = np.arange(0.0, max(float(trace.time[-1]), 2.0 * WINDOW), MINUTE)
    ware = np.interp(even, trace.time, trace.ware)
    steps = int(WINDOW / MINUTE)
    rate = (ware[steps:] - ware[:-steps]) / WINDOW
    middle = ware[steps // 2 : steps // 2 + rate.size]
    fast, slow = int(np.argmax(rate)), int(np.argmin(rate))
    chart = read_cones()
    try:
        cone = cone_equivalent(
            trace.time, trace.ware, chart.cones, chart.rates, chart.bending_temperature
        )
    except OutOfRange:
        cone = None
    return Pace(
        peak=trace.peak,
        peak_time=float(trace.time[np.argmax(trace.ware)]),
        heating=float(rate[fast]),
        heating_at=float(middle[fast]),
        cooling=float(-rate[slow]),
        cooling_at=float(middle[slow]),
        above=tuple(_time_above(trace, level) for level in levels),
        length=float(trace.time[-1]),
        cone=cone,
    )


def _time_above(trace: Trace, level: float) -> float:
    """Time that a curve, straight between its nodes, spends above a level."""
    a, b = trace.ware[:-1] - level, trace.ware[1:] - level
    high, low = np.maximum(a, b), np.minimum(a, b)
    share = np.where(
        low >= 0.0, 1.0, np.where(high <= 0.0, 0.0, high / np.maximum(high - low, 1e-12))
    )
    return float(np.sum(share * np.diff(trace.time)))


def replay(
    vessel: Vessel,
    log: FiringLog,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    cracked: float | None = None,
    cracked_at: float | None = None,
    control: Control | None = None,
    fineness: float = 1.0,
    quick: bool = False,
) -> Replay:
    """Compare the firing that a vessel had with the one it was to have.

    Parameters
    ----------
    vessel : Vessel
        With the firing as planned.
    log : FiringLog
        The firing as logged, in the vessel's gas.
    cards : mapping
        Materials by name.
    extend : bool
        Hold tables' end values beyond their rows, marked in the history.
    cracked : float, optional
        Height at which the fired piece was found cracked. [m]
    cracked_at : float, optional
        Temperature that the log showed when it was heard. [K]
    control, fineness
        As in `fire_vessel`.
    quick : bool
        Whether a shell shall decide.

    Returns
    -------
    Replay
        Both firings, their verdicts, and the flags that differ.

    Raises
    ------
    InputError
        A height outside the vessel, or a temperature the log did not pass.
    """
    top = float(vessel.height[-1])
    if cracked is not None and not 0.0 <= cracked <= top:
        raise InputError(
            f"{vessel.name}: cracked at {1e3 * cracked:g} mm; allowed: 0 to {1e3 * top:g}"
        )
    if cracked_at is not None and cracked is None:
        raise InputError(f"{vessel.name}: a crack's temperature without its height; give both")

    along = Along(trace(vessel.firing), extend=extend)
    # both firings had the one pot that the printer laid
    laid = laid_vessel(vessel, cards_of(vessel, cards), along)
    planned, fired = (
        fire_vessel(laid, cards, control=control, fineness=fineness, along=one)
        for one in (along, Along(log.trace, extend=extend))
    )
    solids = [(r, QUICK) if quick else solid_or_shell(r) for r in (planned, fired)]
    why = next((why for _, why in solids if why), "")
    one, other = (planned, fired) if why else (r for r, _ in solids)
    logged = judge(other)
    withheld = tuple(
        f for f in logged.flags if log.hidden is not None and not _stands(f, log.hidden)
    )
    verdicts = judge(one), worst_first(_hidden(f) if f in withheld else f for f in logged.flags)
    levels = tuple(planned.trace.peak - k for k in BELOW_PEAK)
    before = {(flag.rule, flag.zone): flag for flag in verdicts[0].flags}
    pairs = [
        (before[flag.rule, flag.zone], flag)
        for flag in logged.flags
        if (flag.rule, flag.zone) in before and flag not in withheld
    ]
    changed = tuple(pair for pair in pairs if pair[0].verdict != pair[1].verdict)
    moves = [
        (abs(b.utilisation - a.utilisation), n)
        for n, (a, b) in enumerate(pairs)
        if a.verdict == b.verdict and np.isfinite(b.utilisation - a.utilisation)
    ]
    largest = sorted(moves, reverse=True)[:LARGEST_MOVES]
    moved = tuple(pairs[n] for size, n in largest if size >= LEAST_MOVE)
    crack = None if cracked is None else find_crack(fired, cracked, cracked_at)
    paces = pace(planned.trace, levels), pace(log.trace, levels)
    return Replay(
        log=log,
        planned=planned,
        fired=fired,
        verdicts=verdicts,
        levels=levels,
        paces=paces,
        changed=changed,
        moved=moved,
        crack=crack,
        why=why,
        withheld=tuple(dict.fromkeys(flag.rule for flag in withheld)),
    )


def _stands(flag: Flag, hidden: float) -> bool:
    """Whether a flag holds however hot it was unread: of before, or no matter of the firing.

    What was a no by then stays one; where stress is well before, worse may have come.
    """
    sees = rule_of(flag).sees
    if FIRING not in sees:
        return True
    if flag.time is None:
        return False
    done = flag.grade == NO and flag.time <= hidden
    return done or (STRESS not in sees and flag.time < hidden - BESIDE)


def _hidden(flag: Flag) -> Flag:
    """A flag whose answer hangs on how hot it was while nothing was read."""
    why = f"{HIDING} where the log has no readings"
    return rule_of(flag).named(not_computed(flag.zone, why))


# -- where and when it breaks ------------------------------------------------------------------


def breaking_utilisation(response: Response) -> Array:
    """How near each place is to breaking, at each time and station, as the rules weigh it.

    Until a band has sintered its strain over what its skeleton bears; after that tension over
    strength in a brittle band, while a metal yields and counts as safe.

    Returns
    -------
    array
        Shape (T, G). [-]
    """
    shell = response.fired
    strength = response.at_times(response.history.strength)
    tension = np.maximum(response.total.max(axis=(2, 3)), 0.0)
    utilisation = np.zeros_like(tension)
    brown = brown_utilisations(response)
    for band, card in enumerate(response.cards):
        row, here = response.material[band], shell.band == band
        counts = (response.progress[row] >= SINTERED) & (card.ceramic is not None)
        dense = tension[:, here] / strength[row][:, None]
        utilisation[:, here] = np.where(counts[:, None], dense, brown[:, here])
    return np.asarray(utilisation)


def find_crack(response: Response, height: float, temperature: float | None = None) -> Crack:
    """What the model says of the place and the moment of a crack.

    Parameters
    ----------
    response : Response
        The vessel as fired.
    height : float
        Of the crack, on the fired piece. [m]
    temperature : float, optional
        That the thermocouple of the log showed when it was heard; the ware may lag behind. [K]

    Returns
    -------
    Crack
        Its worst moment there and anywhere.

    Raises
    ------
    InputError
        The thermocouple never passed that temperature.
    """
    shell, utilisation = response.fired, breaking_utilisation(response)
    ware, time = response.temperature, shell.time
    rate = np.gradient(ware, time)

    def moment(i: int, g: int) -> Moment:
        return Moment(
            float(time[i]), float(ware[i]), float(shell.height[g]), float(utilisation[i, g]),
            bool(rate[i] > 0.0),
        )  # fmt: skip

    nearest = int(np.argmin(np.abs(shell.height - height)))
    around = np.abs(shell.height - height) <= 0.5 * shell.wall[nearest]
    around[nearest] = True
    near = np.flatnonzero(around)
    i, k = np.unravel_index(int(np.argmax(utilisation[:, near])), (time.size, near.size))
    here = moment(int(i), int(near[k]))
    worst = moment(
        *(int(n) for n in np.unravel_index(int(np.argmax(utilisation)), utilisation.shape))
    )
    heard: tuple[Moment, ...] = ()
    if temperature is not None:
        read = np.interp(time, response.trace.time, response.trace.kiln)
        passed = np.flatnonzero((read[1:] > temperature) != (read[:-1] > temperature)) + 1
        if passed.size == 0:
            raise InputError(
                f"{response.vessel.name}: a crack at {celsius(temperature):.0f} °C; the log shows "
                f"{celsius(float(read.min())):.0f} to {celsius(float(read.max())):.0f} °C"
            )
        closer = np.abs(read[passed - 1] - temperature) < np.abs(read[passed] - temperature)
        passed = passed - closer
        best = near[np.argmax(utilisation[np.ix_(passed, near)], axis=1)]
        heard = tuple(moment(int(n), int(g)) for n, g in zip(passed, best, strict=True))
    reach = float(np.sqrt(shell.radius[nearest] * shell.wall[nearest])) / DECAY
    band = int(shell.band[nearest])
    return Crack(height, temperature, response.cards[band].name, here, worst, heard, reach)
