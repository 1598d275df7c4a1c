"""One vessel through its firing: histories of its bands, stress of its wall, peaks by band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError, UnknownName
from cofire.firing.kiln import Trace, trace
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.integrator import Control, UnbalancedError
from cofire.mechanics.meridian import Meridian, mesh_meridian
from cofire.mechanics.properties import Fade, Mechanisms
from cofire.mechanics.shell_firing import THINNEST_RATIO, ShellFiring, fire_shells
from cofire.mechanics.solid_firing import SolidFiring, borne_of, fire_solid, times_of
from cofire.mechanics.solid_mesh import USUAL_ACROSS, SolidMesh, mesh_solid
from cofire.numerics import Array, one_thread, peaks_along
from cofire.physics.blends import find_material
from cofire.physics.history import Along, History
from cofire.units import HOUR, celsius, counted
from cofire.vessel import Vessel

DIRECTIONS = ("up the wall", "round the ring")
AT_STEP = "at the step"
AT_CORNER = "in the corner"
GRADED = 5
"""Bands above this are the grade of a change of paste, not rings of their own."""
POINTS = 7
"""Points through the wall of a check: with these, the mesh and `CHECK_STEPS` no peak of any band of
fifty random vessels moves by 1 % of the largest where mesh and steps in time are four times finer,
with 9 points through the wall (`python -m tests.random_vessels`; worst 0.86 %)."""

CHECK_STEPS = Control(
    relative_tolerance=3e-2, stress_tolerance=5e3, imbalance=1e-2, breakpoint_tolerance=1e-4
)
"""Steps in time of a check: the peaks of the shipped examples move by under 0.4 % when they
are made ten times finer, since the error of a step is far below its bound; the strain of brown ware
by 1 to 8 % in a shell, by up to 2.5 % in the solid that is fired at its times."""
SEARCH_STEPS = Control(
    relative_tolerance=3e-2,
    stress_tolerance=5e3,
    imbalance=1e-2,
    breakpoint_tolerance=1e-3,
    compiled=True,
)
"""Steps of a search and of samples. Powder bears kilopascals: on six shipped vessels and a random
request the largest share of a limit on cooling is within 0.7 %, and the strain of brown ware 3 to
10 % below what the steps of `Control()` give; over 48 samples of three vessels that strain is 4 %
off (root of mean square). Steps of 0.2 MPa and 30 % of the largest stress in a search, of 15 kPa
and 20 % in samples, as they once were, passed by the moment at which brown ware is strained most:
a search saw between a tenth and two thirds of that strain, samples a quarter to three times off."""


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Largest tension in one band: how much, when, at what temperature and where.

    Stress in Pa, time in s, temperature in K, height in m. `inside` tells the face, or is None at
    a step, where all places through the wall count; `near_step` that it lies within a wall of a
    step, where the local field was added to the shell's stress.
    """

    band: int
    material: str
    tension: float
    time: float
    temperature: float
    height: float
    direction: str
    inside: bool | None
    near_step: bool


@dataclass(frozen=True)
class BandStress:
    """What one band feels: its worst moment, and the tension left when cold.

    Attributes
    ----------
    worst, cold
        Largest tension at any time, and at the end.
    bending
        Largest tension up the wall by force and moment of the shell's section, as if elastic, ruled
        by the height of the transition. [Pa]
    step
        Largest tension within a wall of the band's steps with the local field, ruled by the
        number of bands; 0 without steps. [Pa]
    """

    worst: Peak
    cold: Peak
    bending: float
    step: float


@dataclass(frozen=True)
class Response:
    """A vessel fired: everything the flags look at.

    Attributes
    ----------
    cards
        One a band, from the lowest.
    material
        Row of each band in the history.
    fired
        Stress of the wall, as a shell or as a solid.
    temperature
        Of the ware at its times, shape (T,). [K]
    memo
        What rules have worked out of it already; a changed copy begins anew.
    along
        Histories along the trace that are known already.
    """

    vessel: Vessel
    cards: tuple[Card, ...]
    material: tuple[int, ...]
    trace: Trace
    history: History
    fired: ShellFiring | SolidFiring
    temperature: Array
    memo: dict[str, object] = field(default_factory=dict, init=False, repr=False, compare=False)
    along: Along | None = None

    def at_times(self, values: Array) -> Array:
        """Rows of the history at the times of the shell.

        Parameters
        ----------
        values : array
            Shape (N, M). [any]

        Returns
        -------
        array
            Shape (N, T). [as given]
        """
        return np.stack([np.interp(self.fired.time, self.history.time, row) for row in values])

    @cached_property
    def progress(self) -> Array:
        """Share of its densification that each material has done, shape (N, T). [-]"""
        return self.at_times(self.history.progress)

    @property
    def materials(self) -> list[tuple[int, Card]]:
        """Row in the history and card of each material, once each, in order of the history."""
        return sorted(dict(zip(self.material, self.cards, strict=True)).items())

    @property
    def blends(self) -> tuple[Card, ...]:
        """Each blend once, in order of the bands."""
        return tuple({card.name: card for card in self.cards if card.parts}.values())

    @cached_property
    def substances(self) -> tuple[History, list[Card]]:
        """What each metal and ceramic does alone, row by row, and its card.

        Those that only stand in a blend are included.
        """
        rows = {card.name: row for row, card in self.materials if not card.parts}
        cards = pure_cards(card for _, card in self.materials)
        if rows.keys() == cards.keys():
            return self.history.rows([rows[name] for name in cards]), list(cards.values())
        along = Along(self.trace, extend=True) if self.along is None else self.along
        return along.of(list(cards.values())), list(cards.values())

    @property
    def beyond_shell(self) -> str:
        """Where the wall is too thick to be worked out as a shell, empty if nowhere."""
        shell = self.fired
        if shell.structure == "solid":
            return ""
        ratio = shell.ring_over_wall
        worst = int(np.argmin(ratio))
        if ratio[worst] >= THINNEST_RATIO:
            return ""
        share = shell.volume[ratio < THINNEST_RATIO].sum() / shell.volume.sum()
        return (
            f"wall of {1e3 * shell.wall[worst]:.3g} mm at {1e3 * shell.height[worst]:.0f} mm up: "
            f"the ring's radius is {ratio[worst]:.1f} walls, a shell needs {THINNEST_RATIO:.0f}; "
            f"stress is rough in {100.0 * share:.0f} % of the wall"
        )

    @property
    def total(self) -> Array:
        """Meridional and hoop stress of the wall, all that is known of it, (T, G, P, 2). [Pa]"""
        return self.fired.total

    def __repr__(self) -> str:
        return (
            f"<Response of {self.vessel.name!r}: {counted(len(self.cards), 'band')} through "
            f"{self.vessel.firing.name!r}, {self.fired.time.size} times>"
        )


def cards_of(vessel: Vessel, cards: Mapping[str, Card]) -> tuple[Card, ...]:
    """Cards of a vessel's bands, blends mixed.

    Parameters
    ----------
    vessel : Vessel
        With its bands.
    cards : mapping
        Materials by name.

    Returns
    -------
    tuple of Card
        One a band, from the lowest.

    Raises
    ------
    InputError
        An unknown material.
    """
    known = dict(cards)
    return tuple(
        _material(band.material, known, f"{vessel.name}: band {number}")
        for number, band in enumerate(vessel.bands, 1)
    )


def fade_of(vessel: Vessel, cards: Sequence[Card], material: Sequence[int]) -> Fade | None:
    """How the materials of a vessel follow one another; None where every band is of one.

    Parameters
    ----------
    vessel : Vessel
        With its bands.
    cards : sequence of Card
        One a band.
    material : sequence of int
        Row of each in the history. [-]
    """
    if not any(band.fade for band in vessel.bands):
        return None
    height: list[float] = []
    share: list[float] = []
    for band, card in zip(vessel.bands, cards, strict=True):
        own = float(card.metal_share)
        for z, s in band.fade or ((band.low, own), (band.high, own)):
            height.append(z)
            share.append(s)
    by_share = {float(card.metal_share): row for card, row in zip(cards, material, strict=True)}
    shares = np.array(sorted(by_share))
    rows = np.array([by_share[s] for s in shares.tolist()], dtype=np.intp)
    return Fade(np.array(height), np.array(share), rows, shares)


@one_thread
def fire_vessel(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    fineness: float = 1.0,
    points: int = POINTS,
    curve: Trace | None = None,
    along: Along | None = None,
) -> Response:
    """Stress of a vessel through the whole of its firing.

    Parameters
    ----------
    vessel : Vessel
        Profile, bands, firing.
    cards : mapping
        Materials by name.
    extend : bool
        Hold tables' end values beyond their rows, marked in `history.extended`.
    mechanisms : Mechanisms, optional
        Ways of relief in use, by default all.
    control : Control, optional
        Tolerances and steps.
    fineness : float
        Divides every element's length. [-]
    points : int
        Through the wall. [-]
    curve : Trace, optional
        What the ware saw, where that is known; by default what the vessel's firing gives.
    along : Along, optional
        Histories that are known already, instead of a curve.

    Returns
    -------
    Response
        Histories and shell stresses.

    Raises
    ------
    InputError
        An unknown material, or a firing beyond a card's tables.
    ModelError
        The vessel finds no equilibrium: with its lowest band, and when.
    """
    own = cards_of(vessel, cards)
    rows = {card.name: card for card in own}
    order = list(rows)
    if along is None:
        along = Along(trace(vessel.firing) if curve is None else curve, extend=extend)
    curve = along.trace
    history = along.of(list(rows.values()))
    material = tuple(order.index(card.name) for card in own)
    try:
        (shell,) = fire_shells(
            [meshed(vessel, fineness)], history, [material], points=points,
            mechanisms=mechanisms, control=control or CHECK_STEPS,
            fade=fade_of(vessel, own, material),
        )  # fmt: skip
    except UnbalancedError as error:
        raise unsolved(vessel, error.time, curve) from None
    ware = np.interp(shell.time, curve.time, curve.ware)
    return Response(
        vessel=vessel, cards=own, material=material, trace=curve, history=history, fired=shell,
        temperature=ware, along=along,
    )  # fmt: skip


def as_solid(response: Response, mechanisms: Mechanisms | None = None) -> Response:
    """The same firing with the wall as a solid of revolution instead of a shell.

    At the times of `times_for_solid`, on the section of `solid_section`.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    mechanisms : Mechanisms, optional
        Ways of relief in use, those of that shell; by default all.

    Returns
    -------
    Response
        With the solid's stress.

    Raises
    ------
    InputError
        A section that cannot be cut: a joint in or too near a floor.
    ModelError
        No equilibrium.
    """
    times, borne = times_for_solid(response)
    mesh = solid_section(response)
    fired = fire_solid(
        mesh, response.history, response.material, times=times, borne=borne, mechanisms=mechanisms,
        fade=fade_of(response.vessel, response.cards, response.material),
    )  # fmt: skip
    ware = np.interp(fired.time, response.trace.time, response.trace.ware)
    return replace(response, fired=fired, temperature=ware)


def solid_or_shell(response: Response) -> tuple[Response, str]:
    """What a check judges: the firing as a solid, as it is where no solid can be cut or solved.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple of Response and str
        With why it is no solid; empty where it is one.
    """
    try:
        return as_solid(response), ""
    except (InputError, ModelError) as error:
        return response, str(error)


def solid_section(response: Response) -> SolidMesh:
    """Elements of a check's solid.

    Low bands that a change of paste leaves are no ends of the wall and ask for no finer elements,
    and steps at which little changes ask for fewer.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Raises
    ------
    InputError
        A section that cannot be cut.
    """
    vessel = response.vessel
    return mesh_solid(
        vessel.radius,
        vessel.height,
        vessel.wall,
        vessel.steps,
        corners=vessel.corners or None,
        across=USUAL_ACROSS if len(vessel.bands) > GRADED else None,
        change=[
            0.0 if one.fade and other.fade else changed(*cards)
            for (one, other), cards in zip(
                pairwise(vessel.bands), pairwise(response.cards), strict=True
            )
        ],
    )


def changed(one: Card, other: Card) -> float:
    """How much of the volume is another substance on the other side of a joint, 0 to 1.

    Parameters
    ----------
    one, other : Card
        Of neighbours, pure or blends.

    Examples
    --------
    >>> import cofire as cf
    >>> round(changed(cf.card("copper"), cf.blend("copper", "talc body", 0.4)), 3)
    0.6
    """
    own, others = ({part.name: x for part, x in card.constituents} for card in (one, other))
    apart = (abs(own.get(name, 0.0) - others.get(name, 0.0)) for name in own | others)
    return 0.5 * sum(apart)


def times_for_solid(response: Response) -> tuple[Array, Array]:
    """Ends of the steps of a solid, and the error from which it cuts them. [s], [Pa]

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple
        See `times_of` and `borne_of`.
    """
    shell, trace = response.fired, response.trace
    hottest = float(trace.time[np.argmax(trace.ware)])
    largest = np.abs(shell.stress).max(axis=(1, 2, 3))
    times = times_of(shell.time, largest, shell.step_error, hottest)
    return times, borne_of(shell.time, largest, times, hottest)


def unsolved(vessel: Vessel, time: float, curve: Trace) -> ModelError:
    """What to say of a vessel that finds no equilibrium: which band is lowest, and when.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    time : float
        At which no equilibrium was found. [s]
    curve : Trace
        Of the ware.

    Returns
    -------
    ModelError
        One line.
    """
    heights = [(band.high - band.low, n, band) for n, band in enumerate(vessel.bands, 1)]
    height, number, band = min(heights, key=lambda entry: entry[:2])
    at = celsius(float(np.interp(time, curve.time, curve.ware)))
    return ModelError(
        f"{vessel.name}: finds no equilibrium {time / HOUR:.3g} h into the firing, {at:.0f} °C; "
        f"its lowest band is {number}, {band.material!r}, {1e3 * height:.3g} mm: make it higher, "
        "or look for a wrong number in its card"
    )


def meshed(vessel: Vessel, fineness: float = 1.0, raised: bool = True) -> Meridian:
    """The mesh of a vessel: as a shell, or its own outline.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    fineness : float
        As in `mesh_meridian`. [-]
    raised : bool
        Whether a flat floor lies at its middle, as mechanics needs it, or on the shelf, where the
        wall reaches down to the foot: the shape that is printed and drawn. [-]

    Returns
    -------
    Meridian
        With a node at every step between bands.

    Raises
    ------
    InputError
        A shape or a step that cannot be cut, with the name of the vessel.
    """
    try:
        return mesh_meridian(
            vessel.radius, vessel.height, vessel.wall, vessel.steps, fineness=fineness,
            corners=vessel.corners, raised=raised,
        )  # fmt: skip
    except InputError as error:
        raise InputError(f"{vessel.name}: {error}") from None


def _material(name: str, cards: dict[str, Card], place: str) -> Card:
    """The card a band names, or a complaint that says which band."""
    try:
        return find_material(name, cards)
    except UnknownName as error:
        raise error.at(place) from None
    except InputError as error:
        raise InputError(f"{place}: {error}") from None


def _peak(response: Response, band: int, times: NDArray[np.intp]) -> Peak:
    """Largest tension of a band at some times.

    Within a wall of a step the step's own windowed peak counts instead: stations would see more
    or less of the corner as the mesh falls.
    """
    fired = response.fired
    stations = np.flatnonzero(fired.clear & (fired.band == band))
    value, near = -np.inf, False
    if stations.size:
        high, at = _peaks_along(response, stations, times)
        t, p, d = (int(k) for k in np.unravel_index(int(np.argmax(high)), high.shape))
        height, value = float(fired.height[stations[at[t, p, d]]]), float(high[t, p, d])
        direction = DIRECTIONS[d]
        inside: bool | None = bool(fired.through[p] < 0.0)
    for place, beside, word in _windows(response, band):
        if beside[times].max() > value:
            t, value, near = int(np.argmax(beside[times])), float(beside[times].max()), True
            height, direction, inside = place, word, None
    return Peak(
        band=band,
        material=response.cards[band].name,
        tension=value,
        time=float(fired.time[times[t]]),
        temperature=float(response.temperature[times[t]]),
        height=height,
        direction=direction,
        inside=inside,
        near_step=near,
    )


def _windows(response: Response, band: int) -> list[tuple[float, Array, str]]:
    """Height, largest tension over time (T,) and name of each window that belongs to a band."""
    fired = response.fired
    steps = [(band - 1, 1), (band, 0)]
    found = [
        (float(fired.step_height[s]), fired.step_peak[:, s, side], AT_STEP)
        for s, side in steps
        if 0 <= s < fired.step_height.size
    ]
    owner = np.searchsorted(response.vessel.steps, fired.corner_height)
    return found + [
        (float(fired.corner_height[k]), fired.corner_peak[:, k].max(axis=1), AT_CORNER)
        for k in np.flatnonzero(owner == band)
    ]


def _peaks_along(
    response: Response, stations: NDArray[np.intp], times: NDArray[np.intp]
) -> tuple[Array, NDArray[np.intp]]:
    """Largest tension along some stations, (T, P, 2), and the nearest of them. [Pa], [-]"""
    stress = response.total[np.ix_(times, stations)]
    return peaks_along(np.moveaxis(stress, 1, -1), response.fired.arc_length[stations])


def band_tensions(response: Response, band: int) -> Array:
    """Largest tension of a band over time, windowed beside its steps.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    band : int
        From the lowest, counted from 0.

    Returns
    -------
    array
        Shape (T,). [Pa]
    """
    fired = response.fired
    stations = np.flatnonzero(fired.clear & (fired.band == band))
    worst = np.full(fired.time.size, -np.inf)
    if stations.size:
        worst = _peaks_along(response, stations, np.arange(fired.time.size))[0].max(axis=(1, 2))
    for _, beside, _ in _windows(response, band):
        worst = np.maximum(worst, beside)
    return np.asarray(worst)


def band_stresses(response: Response) -> list[BandStress]:
    """Peaks of every band, from the lowest.

    Returns
    -------
    list of BandStress
        One a band.
    """
    fired = response.fired
    every = np.arange(fired.time.size)
    bending = fired.bending_tension.max(axis=0)
    found = []
    for band in range(len(response.cards)):
        beside = [tension for _, tension, _ in _windows(response, band)]
        found.append(
            BandStress(
                _peak(response, band, every),
                _peak(response, band, every[-1:]),
                float(bending[band]),
                max((float(b.max()) for b in beside), default=0.0),
            )
        )
    return found


SHELL_ALONE = ", as a shell"
"""Behind the name of a case that no solid could be solved for."""


def relief(response: Response, cards: Mapping[str, Card], extend: bool = False) -> dict[str, Array]:
    """Worst tension of each band with each way of relief switched off in turn.

    Parameters
    ----------
    response : Response
        Of the vessel, as a shell or as a solid: so are the others.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    dict
        "all", which is that of the response, and one entry for each way that is off, shape
        (bands,) each; its name says where the response is a solid and it could be solved as a
        shell alone. [Pa]
    """
    cases = {
        "without viscosity": Mechanisms(viscous=False),
        "without creep": Mechanisms(creep=False),
        "without yield": Mechanisms(plastic=False),
    }
    runs = {"all": response}
    for name, mechanisms in cases.items():
        one = fire_vessel(
            response.vessel, cards, extend=extend, mechanisms=mechanisms, curve=response.trace
        )
        if response.fired.structure == "solid":
            try:
                one = as_solid(one, mechanisms)
            except ModelError:
                name += SHELL_ALONE
        runs[name] = one
    return {
        name: np.array([b.worst.tension for b in band_stresses(run)]) for name, run in runs.items()
    }
