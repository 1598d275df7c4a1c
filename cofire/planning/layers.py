"""Which graded layers a joint should have: how many, of which blends, how tall, and where.

The search owns no physics: it lays out candidates that the printer can lay and the user will mix,
fires them in batches, and ranks them by the flags' worst load.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.errors import InputError, ModelError
from cofire.inputs.cards import Card
from cofire.inputs.vessel import Band, Vessel
from cofire.physics.blends import find_material
from cofire.physics.change_over import smear
from cofire.planning.flags import Flag
from cofire.planning.response import Response, fire_vessels
from cofire.planning.verdict import Verdict, judge
from cofire.structures.marching import Control

SKEWS = (0.6, 1.0, 1.7, 2.5)
"""Powers p of the metal's share (1 − x)^p over the transition: rich, even and poor in metal."""
HEIGHT_STEPS = (0.5, 0.75, 1.0)
"""Transition heights tried first, of the tallest allowed. [-]"""
SHARE_STEP = 5
"""Blends are mixed in steps of this. [% of volume]"""
TIE = 1.02
"""Candidates within this factor of the best load count as equal. [-]"""
BATCH = 16
COARSE = Control(relative_tolerance=2e-2, stress_tolerance=5e4)
COARSE_FINENESS = 0.6


@dataclass(frozen=True)
class Layout:
    """A transition: blends from the metal side on, their common height, and its middle.

    Attributes
    ----------
    shares
        Metal of each blend, by solid volume, falling. [%]
    height
        Of each blend's band, a multiple of the printer's layer. [m]
    middle
        Of the whole transition. [m]
    """

    shares: tuple[int, ...]
    height: float
    middle: float

    @property
    def total(self) -> float:
        """Height of the whole transition. [m]"""
        return self.height * len(self.shares)


@dataclass(frozen=True)
class Trial:
    """A layout, what it scored, and the flag that set the score.

    `load` is the largest share of a limit used up over all flags. [-]
    """

    layout: Layout
    load: float
    worst: Flag
    verdict: str


@dataclass(frozen=True)
class LayerSearch:
    """Everything tried, best first, and why the limits are what they are.

    Attributes
    ----------
    trials
        Ordered by load, fewer blends, less height.
    decay_length
        √(r h)/[3(1−ν²)]^¼ at the joint: the length that a transition is measured by. [m]
    least_height
        Least height of a band from the smear of a change of paste. [m]
    finished
        False where the search was interrupted.
    """

    trials: tuple[Trial, ...]
    decay_length: float
    least_height: float
    finished: bool = True

    @property
    def best(self) -> Trial:
        """Least load; of equals, fewer blends, then less height."""
        return self.trials[0]


def zones(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[Card, Card, bool]:
    """The metal and the ceramic that the vessel joins, and whether the metal stands below.

    Parameters
    ----------
    vessel : Vessel
        Its lowest and highest band must be a pure metal and a pure ceramic, in any order, and
        all between them blends of the two.
    cards : mapping
        Materials by name.

    Returns
    -------
    tuple of Card, Card and bool
        Metal, ceramic, metal below.

    Raises
    ------
    InputError
        Another arrangement of bands.
    """
    known = dict(cards)
    chosen = [find_material(band.material, known) for band in vessel.bands]
    ends = [chosen[0], chosen[-1]]
    kinds = [card.kind for card in ends]
    between = [card for card in chosen[1:-1] if not card.parts]
    if sorted(kinds) != ["ceramic", "metal"] or between:
        raise InputError(
            f"{vessel.name}: a plan needs one metal and one ceramic zone with nothing but blends "
            f"of them between; the bands are {', '.join(card.name for card in chosen)}"
        )
    below = kinds[0] == "metal"
    return (ends[0], ends[1], True) if below else (ends[1], ends[0], False)


def decay_length(vessel: Vessel, height: float, poisson_ratio: float = 0.25) -> float:
    """Length over which an edge disturbance of the wall dies away by e.

    √(r h) / [3 (1 − ν²)]^¼ (Timoshenko & Woinowsky-Krieger 1959, ch. 15).

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    height : float
        Where. [m]
    poisson_ratio : float
        [-]

    Returns
    -------
    float
        [m]
    """
    radius = float(np.interp(height, vessel.height, vessel.radius))
    wall = float(np.interp(height, vessel.height, vessel.wall))
    return float(np.sqrt(radius * wall) / (3.0 * (1.0 - poisson_ratio**2)) ** 0.25)


def least_height(vessel: Vessel, height: float) -> float:
    """Least height of a band: the smear of a change of paste, and two layers.

    Parameters
    ----------
    vessel : Vessel
        With its printer.
    height : float
        Of the joint. [m]

    Returns
    -------
    float
        A multiple of the layer. [m]
    """
    radius = float(np.interp(height, vessel.height, vessel.radius))
    wall = float(np.interp(height, vessel.height, vessel.wall))
    printer = vessel.printer
    smeared = smear(printer.dead_volume, printer.tanks) / (2.0 * np.pi * radius * wall)
    layers = max(2, int(np.ceil(smeared / printer.layer - 1e-9)))
    return layers * printer.layer


def shares(blends: int, skew: float) -> tuple[int, ...]:
    """Metal share of evenly spaced blends, bent by a power, in mixable steps.

    Parameters
    ----------
    blends : int
        How many.
    skew : float
        Power of (1 − x). [-]

    Returns
    -------
    tuple of int
        Falling, each different, between 5 and 95. [%]
    """
    x = np.arange(1, blends + 1) / (blends + 1)
    rounded = SHARE_STEP * np.round(100.0 * (1.0 - x) ** skew / SHARE_STEP)
    return tuple(dict.fromkeys(int(v) for v in np.clip(rounded, SHARE_STEP, 100 - SHARE_STEP)))


def as_vessel(vessel: Vessel, metal: str, ceramic: str, below: bool, layout: Layout) -> Vessel:
    """The vessel with a layout's bands.

    Parameters
    ----------
    vessel : Vessel
        To be changed.
    metal, ceramic : str
        Names of the zones' materials.
    below : bool
        Whether the metal stands below.
    layout : Layout
        The transition.

    Returns
    -------
    Vessel
        A copy.
    """
    order = layout.shares if below else layout.shares[::-1]
    names = [f"{metal} + {ceramic} = {share}" for share in order]
    ends = (metal, ceramic) if below else (ceramic, metal)
    start = layout.middle - 0.5 * layout.total
    edges = [0.0, *(start + layout.height * k for k in range(len(names) + 1))]
    edges.append(float(vessel.height[-1]))
    if not names:
        edges = [0.0, layout.middle, edges[-1]]
    bands = tuple(
        Band(name, low, high)
        for name, low, high in zip([ends[0], *names, ends[1]], edges[:-1], edges[1:], strict=True)
    )
    return replace(vessel, bands=bands)


def layouts(
    vessel: Vessel,
    heights: Sequence[float] = HEIGHT_STEPS,
    skews: Sequence[float] = SKEWS,
    places: Sequence[float] | None = None,
) -> list[Layout]:
    """Every layout of a coarse grid that printer, user and vessel allow.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    heights : sequence of float
        Of the tallest transition. [-]
    skews : sequence of float
        Powers of the metal's share. [-]
    places : sequence of float, optional
        Middles of the transition; by default the lowest, the highest and between. [m]

    Returns
    -------
    list of Layout
        The joint as it is first, then those with blends.
    """
    limits, layer = vessel.joint, vessel.printer.layer
    middles = sorted({limits.lowest, 0.5 * (limits.lowest + limits.highest), limits.highest})
    middles = middles if places is None else list(places)
    found: dict[Layout, None] = {}
    for middle in middles:
        found[Layout((), 0.0, snapped(middle, layer))] = None
        least = least_height(vessel, middle)
        for blends in range(1, limits.blends + 1):
            for part in heights:
                height = layer * np.floor(part * limits.height / blends / layer + 1e-6)
                if height < least - 1e-12:
                    continue
                for skew in skews:
                    some = shares(blends, skew)
                    if len(some) == blends:
                        found[placed(vessel, Layout(some, float(height), middle))] = None
    return [layout for layout in found if allowed(vessel, layout)]


def snapped(height: float, layer: float) -> float:
    """The nearest whole number of layers.

    Parameters
    ----------
    height, layer : float
        [m]

    Returns
    -------
    float
        [m]
    """
    return layer * round(height / layer)


def placed(vessel: Vessel, layout: Layout) -> Layout:
    """The layout with its foot on a layer and inside the vessel, its middle as near as may be.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    layout : Layout
        The layout.

    Returns
    -------
    Layout
        A copy.
    """
    layer, keep = vessel.printer.layer, max(vessel.joint.keep, 2 * vessel.printer.layer)
    room = float(vessel.height[-1]) - layout.total
    low = min(max(layout.middle - 0.5 * layout.total, keep), room - keep)
    return replace(layout, middle=snapped(low, layer) + 0.5 * layout.total)


def allowed(vessel: Vessel, layout: Layout) -> bool:
    """Whether a layout keeps every limit of printer, user and vessel.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        The layout.

    Returns
    -------
    bool
        True where all are kept (to a thousandth of a millimetre).
    """
    limits, slack = vessel.joint, 0.51 * vessel.printer.layer
    low = layout.middle - 0.5 * layout.total
    return bool(
        len(layout.shares) <= limits.blends
        and layout.total <= limits.height + 1e-6
        and limits.lowest - slack <= layout.middle <= limits.highest + slack
        and low >= limits.keep - slack
        and low + layout.total <= float(vessel.height[-1]) - limits.keep + slack
        and (not layout.shares or layout.height >= least_height(vessel, layout.middle) - 1e-9)
    )


def try_layouts(
    vessel: Vessel,
    cards: Mapping[str, Card],
    candidates: Sequence[Layout],
    extend: bool = False,
) -> Iterator[Trial]:
    """Fire and judge layouts in batches, coarsely enough for a search.

    Parameters
    ----------
    vessel : Vessel
        With its firing.
    cards : mapping
        Materials by name.
    candidates : sequence of Layout
        To be tried.
    extend : bool
        As in `fire_vessel`.

    Yields
    ------
    Trial
        One a layout, in order.
    """
    metal, ceramic, below = zones(vessel, cards)
    for first in range(0, len(candidates), BATCH):
        some = candidates[first : first + BATCH]
        vessels = [as_vessel(vessel, metal.name, ceramic.name, below, c) for c in some]
        responses = fire_vessels(
            vessels, cards, extend=extend, control=COARSE, fineness=COARSE_FINENESS, points=3
        )
        for layout, response in zip(some, responses, strict=True):
            yield trial(layout, response)


def trial(layout: Layout, response: Response) -> Trial:
    """What a fired layout scored.

    Parameters
    ----------
    layout : Layout
        The layout.
    response : Response
        Its vessel, fired.

    Returns
    -------
    Trial
        Load of its worst flag.
    """
    verdict: Verdict = judge(response)
    worst = max(verdict.flags, key=lambda f: 1.0 if f.load != f.load else f.load)
    return Trial(layout, verdict.load, worst, verdict.word)


def propose_layers(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    rounds: int = 5,
    progress: Callable[[int, int], None] | None = None,
) -> LayerSearch:
    """Search the transition that uses up least of the flags' limits.

    A coarse grid over number, height, skew and place; then the neighbours of the best, round by
    round, until nothing improves. Deterministic. An interrupt ends the search with what it has.

    Parameters
    ----------
    vessel : Vessel
        One metal and one ceramic zone, with its limits and its firing.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.
    rounds : int
        Most rounds of refinement.
    progress : callable, optional
        Is told how many are done and how many there are so far.

    Returns
    -------
    LayerSearch
        All trials, best first.

    Raises
    ------
    ModelError
        No layout keeps the limits; the message names the one that binds.
    """
    zones(vessel, cards)
    middle = 0.5 * (vessel.joint.lowest + vessel.joint.highest)
    least = least_height(vessel, middle)
    candidates = layouts(vessel, places=[middle]) or layouts(vessel)
    if not candidates:
        raise ModelError(
            f"{vessel.name}: no transition keeps the limits: lowest_mm and highest_mm leave no "
            "place for a joint inside the vessel"
        )
    done: dict[Layout, Trial] = {}
    finished = True
    improved: Layout | None = None
    try:
        for turn in range(rounds + 1):
            new = [c for c in candidates if c not in done]
            for result in try_layouts(vessel, cards, new, extend):
                done[result.layout] = result
                if progress:
                    progress(len(done), len(done) + len(new))
            best = ranked(done.values())[0].layout
            if turn == rounds or best == improved:
                break
            improved, candidates = best, neighbours(vessel, best)
    except KeyboardInterrupt:
        finished = False
        if not done:
            raise
    return LayerSearch(tuple(ranked(done.values())), decay_length(vessel, middle), least, finished)


def ranked(trials: Iterable[Trial]) -> list[Trial]:
    """Trials by load; those within the tie of the best by fewer blends, then less height.

    Parameters
    ----------
    trials : iterable of Trial
        In any order.

    Returns
    -------
    list of Trial
        Best first.
    """
    some = sorted(trials, key=lambda t: t.load)
    best = some[0].load
    equal = [t for t in some if t.load <= TIE * best]
    equal.sort(key=lambda t: (len(t.layout.shares), t.layout.total, t.load))
    return [*equal, *(t for t in some if t.load > TIE * best)]


def neighbours(vessel: Vessel, layout: Layout) -> list[Layout]:
    """Layouts one step away: one share, the height, the place.

    Parameters
    ----------
    vessel : Vessel
        With its limits.
    layout : Layout
        The best so far.

    Returns
    -------
    list of Layout
        Those that keep the limits.
    """
    limits, layer = vessel.joint, vessel.printer.layer
    found: dict[Layout, None] = {}
    for k in range(len(layout.shares)):
        for change in (-2 * SHARE_STEP, 2 * SHARE_STEP):
            new = list(layout.shares)
            new[k] += change
            falling = all(a > b for a, b in zip([100, *new], [*new, 0], strict=True))
            if falling:
                found[replace(layout, shares=tuple(new))] = None
    for factor in (0.85, 1.15):
        height = layer * round(factor * layout.height / layer)
        found[placed(vessel, replace(layout, height=height))] = None
    for reach in (0.25 * (limits.highest - limits.lowest), 4.0 * layer):
        for shift in (-reach, reach):
            middle = min(max(layout.middle + shift, limits.lowest), limits.highest)
            found[placed(vessel, replace(layout, middle=middle))] = None
    return [new for new in found if new != layout and allowed(vessel, new)]


def trade_off(search: LayerSearch) -> list[Trial]:
    """The best trial for each number of blends and each height: what more of either buys.

    Parameters
    ----------
    search : LayerSearch
        From `propose_layers`.

    Returns
    -------
    list of Trial
        By number of blends, then height; only those that beat every simpler one.
    """
    kept: list[Trial] = []
    for t in sorted(search.trials, key=lambda t: (len(t.layout.shares), t.layout.total, t.load)):
        simpler = [
            k
            for k in kept
            if len(k.layout.shares) <= len(t.layout.shares) and k.layout.total <= t.layout.total
        ]
        if not simpler or t.load < 0.98 * min(k.load for k in simpler):
            kept.append(t)
    return kept
