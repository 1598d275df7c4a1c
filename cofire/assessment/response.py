"""One vessel through its firing: histories of its bands, stress of its wall, peaks by band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError, ModelError
from cofire.firing.kiln import Trace, trace
from cofire.materials.card import Card, pure_cards
from cofire.mechanics.integrator import Control, UnbalancedError
from cofire.mechanics.joint import BESIDE
from cofire.mechanics.meridian import Meridian, mesh_meridian
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell_firing import THINNEST_RATIO, ShellFiring, fire_shells
from cofire.numerics import Array, peaks_along
from cofire.physics.blends import find_material
from cofire.physics.history import History, histories
from cofire.units import HOUR, celsius
from cofire.vessel import Vessel

DIRECTIONS = ("up the wall", "round the ring")
AT_STEP = "at the step"
POINTS = 7
"""Points through the wall of a check: with these, the mesh and `USUAL` no peak of any band of fifty
random vessels moves by 1 % of the largest where mesh and steps in time are four times finer, with
9 points through the wall (`python -m tests.random_vessels`; worst 0.86 %)."""
NEAR = float(BESIDE[-1])
"""Distance from a step over the wall within which its own peak counts. [-]"""

USUAL = Control(
    relative_tolerance=3e-2, stress_tolerance=4e4, imbalance=1e-2, breakpoint_tolerance=1e-4
)
"""Steps in time of a check: the peaks of the shipped examples move by under 0.4 % when they
are made ten times finer, since the error of a step is far below its bound."""


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
    temperature
        Of the ware at the shell's times, shape (T,). [K]
    """

    vessel: Vessel
    cards: tuple[Card, ...]
    material: tuple[int, ...]
    trace: Trace
    history: History
    fired: ShellFiring
    temperature: Array

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

    @cached_property
    def substances(self) -> tuple[History, list[Card]]:
        """What each metal and ceramic does alone, row by row, and its card.

        Those that only stand in a blend are included.
        """
        rows = {card.name: row for row, card in self.materials if not card.parts}
        cards = pure_cards(card for _, card in self.materials)
        if rows.keys() == cards.keys():
            return self.history.rows([rows[name] for name in cards]), list(cards.values())
        alone = histories(list(cards.values()), self.trace, extend=True)
        return alone, list(cards.values())

    @property
    def beyond_shell(self) -> str:
        """Where the wall is too thick to be worked out as a shell, empty if nowhere."""
        shell = self.fired
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
        """Shell's stress with the local field of the steps, shape (T, G, P, 2). [Pa]"""
        return self.fired.stress + self.fired.local

    def __repr__(self) -> str:
        return (
            f"<Response of {self.vessel.name!r}: {len(self.cards)} bands through "
            f"{self.vessel.firing.name!r}, {self.fired.time.size} times>"
        )


def fire_vessel(
    vessel: Vessel,
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    fineness: float = 1.0,
    curve: Trace | None = None,
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
    curve : Trace, optional
        What the ware saw, where that is known; by default what the vessel's firing gives.

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
    (response,) = fire_vessels(
        [vessel], cards, extend=extend, mechanisms=mechanisms, control=control, fineness=fineness,
        curve=curve,
    )  # fmt: skip
    return response


def fire_vessels(
    vessels: Sequence[Vessel],
    cards: Mapping[str, Card],
    *,
    extend: bool = False,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    fineness: float = 1.0,
    points: int = POINTS,
    curve: Trace | None = None,
) -> list[Response]:
    """Several vessels through the firing of the first, solved as one batch.

    Parameters
    ----------
    vessels : sequence of Vessel
        Candidates; the firing of the first counts for all.
    cards, extend, mechanisms, control, fineness, curve
        As in `fire_vessel`.
    points : int
        Through the wall. [-]

    Returns
    -------
    list of Response
        One a vessel, with one history shared by all.
    """
    known = dict(cards)
    found: dict[str, Card] = {}
    for vessel in vessels:
        for number, band in enumerate(vessel.bands, 1):
            if band.material not in found:
                place = f"{vessel.name}: band {number}"
                found[band.material] = _material(band.material, known, place)
    rows = {card.name: card for card in found.values()}
    order = list(rows)
    curve = trace(vessels[0].firing) if curve is None else curve
    history = histories(list(rows.values()), curve, extend=extend)
    chosen = [tuple(found[band.material] for band in vessel.bands) for vessel in vessels]
    material = [tuple(order.index(card.name) for card in some) for some in chosen]

    meshes = [meshed(vessel, fineness) for vessel in vessels]
    most = max(m.elements for m in meshes)
    meshes = [
        m if m.elements == most else meshed(vessel, fineness, most)
        for m, vessel in zip(meshes, vessels, strict=True)
    ]
    try:
        fired = fire_shells(
            meshes, history, material, points=points, mechanisms=mechanisms,
            control=control or USUAL,
        )  # fmt: skip
    except UnbalancedError as error:
        raise unsolved(vessels, error.time, curve) from None
    return [
        Response(
            vessel, cards_of, rows_of, curve, history, shell,
            np.interp(shell.time, curve.time, curve.ware),
        )
        for vessel, cards_of, rows_of, shell in zip(vessels, chosen, material, fired, strict=True)
    ]  # fmt: skip


def unsolved(vessels: Sequence[Vessel], time: float, curve: Trace | None = None) -> ModelError:
    """What to say of vessels of which one finds no equilibrium: which band is lowest, and when.

    Parameters
    ----------
    vessels : sequence of Vessel
        Solved together.
    time : float
        At which no equilibrium was found. [s]
    curve : Trace, optional
        Of the ware, where all went through one.

    Returns
    -------
    ModelError
        One line.
    """
    heights = [(b.high - b.low, n, b, v) for v in vessels for n, b in enumerate(v.bands, 1)]
    height, number, band, vessel = min(heights, key=lambda entry: entry[:2])
    others = f" (or one of {len(vessels) - 1} solved with it)" if len(vessels) > 1 else ""
    at = ""
    if curve is not None:
        at = f", {celsius(float(np.interp(time, curve.time, curve.ware))):.0f} °C"
    return ModelError(
        f"{vessel.name}{others}: finds no equilibrium {time / HOUR:.3g} h into the firing{at}; its "
        f"lowest band is {number}, {band.material!r}, {1e3 * height:.3g} mm: make it higher, or "
        "look for a wrong number in its card"
    )


def meshed(vessel: Vessel, fineness: float = 1.0, elements: int | None = None) -> Meridian:
    """The mesh of a vessel.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    fineness : float
        As in `mesh_meridian`. [-]
    elements : int, optional
        As in `mesh_meridian`. [-]

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
            elements=elements, corners=vessel.corners,
        )  # fmt: skip
    except InputError as error:
        raise InputError(f"{vessel.name}: {error}") from None


def _material(name: str, cards: dict[str, Card], place: str) -> Card:
    """The card a band names, or a complaint that says which band."""
    try:
        return find_material(name, cards)
    except InputError as error:
        raise InputError(f"{place}: {error}") from None


def _peak(response: Response, band: int, times: NDArray[np.intp]) -> Peak:
    """Largest tension of a band at some times.

    Within a wall of a step the step's own windowed peak counts instead: stations would see more
    or less of the corner as the mesh falls.
    """
    shell, steps = response.fired, response.fired.steps
    stations = _away_from_steps(shell, band)
    value, near = -np.inf, False
    if stations.size:
        high, at = _peaks_along(response, stations, times)
        t, p, d = (int(k) for k in np.unravel_index(int(np.argmax(high)), high.shape))
        height, value = float(shell.height[stations[at[t, p, d]]]), float(high[t, p, d])
        direction = DIRECTIONS[d]
        inside: bool | None = bool(shell.through[p] < 0.0)
    for step, side in ((band - 1, 1), (band, 0)):
        if not 0 <= step < steps.height.size:
            continue
        beside = steps.peak[times, step, side]
        if beside.max() > value:
            t, value, near = int(np.argmax(beside)), float(beside.max()), True
            height, direction, inside = float(steps.height[step]), AT_STEP, None
    return Peak(
        band=band,
        material=response.cards[band].name,
        tension=value,
        time=float(shell.time[times[t]]),
        temperature=float(response.temperature[times[t]]),
        height=height,
        direction=direction,
        inside=inside,
        near_step=near,
    )


def _away_from_steps(shell: ShellFiring, band: int) -> NDArray[np.intp]:
    """Stations of a band farther than `NEAR` walls from every step."""
    edges = shell.meridian.arc_length[shell.meridian.step_node]
    away = np.abs(shell.arc_length[:, None] - edges).min(axis=1, initial=np.inf) / shell.wall
    return np.flatnonzero((shell.band == band) & (away > NEAR))


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
    shell, steps = response.fired, response.fired.steps
    stations = _away_from_steps(shell, band)
    worst = np.full(shell.time.size, -np.inf)
    if stations.size:
        worst = _peaks_along(response, stations, np.arange(shell.time.size))[0].max(axis=(1, 2))
    for step, side in ((band - 1, 1), (band, 0)):
        if 0 <= step < steps.height.size:
            worst = np.maximum(worst, steps.peak[:, step, side])
    return np.asarray(worst)


def band_stresses(response: Response) -> list[BandStress]:
    """Peaks of every band, from the lowest.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of BandStress
        One a band.
    """
    shell = response.fired
    every = np.arange(shell.time.size)
    bending = shell.bending_tension.max(axis=0)
    found = []
    for band in range(len(response.cards)):
        beside = [shell.steps.peak[:, s, 1] for s in (band - 1,) if s >= 0]
        beside += [shell.steps.peak[:, s, 0] for s in (band,) if s < shell.steps.height.size]
        found.append(
            BandStress(
                _peak(response, band, every),
                _peak(response, band, every[-1:]),
                float(bending[band]),
                max((float(b.max()) for b in beside), default=0.0),
            )
        )
    return found


def relief(vessel: Vessel, cards: Mapping[str, Card], extend: bool = False) -> dict[str, Array]:
    """Worst tension of each band with each way of relief switched off in turn.

    Parameters
    ----------
    vessel : Vessel
        The vessel.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    dict
        "all" and one entry for each way that is off, shape (bands,) each. [Pa]
    """
    cases = {
        "all": Mechanisms(),
        "without viscosity": Mechanisms(viscous=False),
        "without creep": Mechanisms(creep=False),
        "without yield": Mechanisms(plastic=False),
    }
    found = {}
    for name, mechanisms in cases.items():
        response = fire_vessel(vessel, cards, extend=extend, mechanisms=mechanisms)
        found[name] = np.array([b.worst.tension for b in band_stresses(response)])
    return found
