"""When to change the paste, how that smears the joint, and whether the smear matters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.verdict import Verdict, judge
from cofire.errors import InputError
from cofire.materials.card import pure_cards
from cofire.mechanics.integrator import Control
from cofire.numerics import Array
from cofire.physics.changeover import new_share, volume_for_share
from cofire.physics.paste import paste_of
from cofire.production.green import Green
from cofire.production.printed_solid import volume_below
from cofire.vessel import Band, Vessel

BEGUN, DONE = 0.05, 0.95
"""Shares of the new paste at which a change counts as begun and done: common practice. [-]"""
FINEST = 0.25
"""Least height of a smeared band, in walls: a shell does not see finer. [-]"""


@dataclass(frozen=True)
class Changeover:
    """One change of paste, so timed that the nozzle gives half of each at the joint.

    Attributes
    ----------
    below, above
        The old and the new material.
    step
        Height of the joint as printed. [m]
    layer
        In which to change over, counted from 1; 0 where it must be done before the print begins.
    extruded
        Volume that has left the nozzle by then; negative before the print begins. [m³]
    begins, done
        Layers from which on a twentieth, and all but a twentieth, of the paste is new; `done` is
        one more than all layers where the rim comes first.
    passes
        Volume between the changeover and `done`. [m³]
    """

    below: str
    above: str
    step: float
    layer: int
    extruded: float
    begins: int
    done: int
    passes: float


@dataclass(frozen=True)
class Smear:
    """The verdict on the bands as designed, and on what the printer will make of them.

    Attributes
    ----------
    vessel
        With the bands that the smear leaves.
    sharp, smeared
        Verdicts.
    """

    vessel: Vessel
    sharp: Verdict
    smeared: Verdict


def changeovers(response: Response, green: Green) -> list[Changeover]:
    """When to change over on the way up.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.

    Returns
    -------
    list of Changeover
        One a joint, from below.
    """
    printer = response.vessel.printer
    needed = np.array([BEGUN, 0.5, DONE])
    begun, half, done = volume_for_share(needed, printer.dead_volume, printer.tanks)
    ends = volume_below(green.wall, green.layer * np.arange(1, sum(green.layers) + 1))
    steps = volume_below(green.wall, green.wall.edges[1:-1])
    found = []
    for n, at in enumerate(steps):
        changeover = float(at - half)
        places = np.array([changeover, changeover + begun, changeover + done])
        layer, begins, pure = (int(k) + 1 for k in np.searchsorted(ends, places - 1e-15))
        found.append(
            Changeover(
                green.materials[n], green.materials[n + 1], float(green.wall.edges[n + 1]),
                layer if changeover >= 0.0 else 0, changeover, begins, pure, float(done),
            )
        )  # fmt: skip
    return found


def paste_shares(response: Response, green: Green, height: npt.ArrayLike) -> Array:
    """Share of each band's paste at heights of the print, after the smear of every change.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.
    height : array_like
        Shape (K,). [m]

    Returns
    -------
    array
        Of the wet volume; rows sum to one, shape (K, bands). [-]
    """
    printer = response.vessel.printer
    half = volume_for_share(0.5, printer.dead_volume, printer.tanks)
    at = volume_below(green.wall, height)[:, None]
    steps = volume_below(green.wall, green.wall.edges[1:-1])
    come = new_share(at - steps + half, printer.dead_volume, printer.tanks)
    ones = np.ones_like(at)
    return np.asarray(-np.diff(np.concatenate([ones, come, 0.0 * ones], axis=1), axis=1))


def purity(response: Response, green: Green) -> Array:
    """Most of its own paste that any layer of a band gets.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.

    Returns
    -------
    array
        Shape (bands,). [-]
    """
    middle = green.layer * (np.arange(sum(green.layers)) + 0.5)
    return np.asarray(paste_shares(response, green, middle).max(axis=0))


def metal_shares(response: Response, green: Green, height: npt.ArrayLike) -> Array:
    """Metal in the print at its heights, of the solid volume, after the smear.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.
    height : array_like
        Shape (K,). [m]

    Returns
    -------
    array
        Shape (K,). [-]
    """
    solids = np.array([paste_of(card).solids for card in response.cards])
    metal = np.array([card.metal_share for card in response.cards])
    parts = paste_shares(response, green, height) * solids
    return np.asarray(parts @ metal / parts.sum(axis=1))


def smeared_vessel(response: Response, green: Green) -> Vessel:
    """The vessel with the bands that the smear leaves, in the fired size.

    Each band is cut into groups of whole layers about a quarter of a wall high; each group has the
    mean of its layers, to a per cent, and neighbours of one blend are put together.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.

    Returns
    -------
    Vessel
        To be given to `fire_vessel`.

    Raises
    ------
    InputError
        Bands that are not of one metal, one ceramic and their blends.
    """
    vessel = response.vessel
    metal, ceramic = _pair(response)
    middle = green.layer * (np.arange(sum(green.layers)) + 0.5)
    share = metal_shares(response, green, middle)
    groups = _groups(green, FINEST * float(vessel.wall.max()))
    bands: list[Band] = []
    for first, last in pairwise(groups):
        percent = round(100.0 * float(share[first:last].mean()))
        name = {0: ceramic, 100: metal}.get(percent, f"{metal} + {ceramic} = {percent}")
        top = float(np.interp(green.layer * last, green.wall.height, green.fired.height))
        if bands and bands[-1].material == name:
            bands[-1] = replace(bands[-1], high=top)
        else:
            bands.append(Band(name, bands[-1].high if bands else 0.0, top))
    return replace(vessel, bands=tuple(bands))


def _pair(response: Response) -> tuple[str, str]:
    """Names of the one metal and the one ceramic of the vessel."""
    pure = {name: p.kind for name, p in pure_cards(response.cards).items()}
    names = [[name for name, kind in pure.items() if kind == k] for k in ("metal", "ceramic")]
    if any(len(some) != 1 for some in names):
        raise InputError(
            f"{response.vessel.name}: the smear is known for one metal, one ceramic and their "
            f"blends; the bands hold {', '.join(pure)}"
        )
    return names[0][0], names[1][0]


def _groups(green: Green, least: float) -> Sequence[int]:
    """Layers at which groups begin, and the number of layers; joints always begin a group."""
    ends, start = [0], 0
    for count in green.layers:
        pieces = max(int(count * green.layer / least), 1)
        cuts = start + np.round(np.linspace(0.0, count, pieces + 1)[1:]).astype(int)
        ends += [int(c) for c in cuts]
        start += count
    return ends


def smear_check(response: Response, green: Green, control: Control | None = None) -> Smear:
    """Fire the vessel with the bands that the smear leaves, and judge both.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.
    control : Control, optional
        Tolerances and steps.

    Returns
    -------
    Smear
        Both verdicts.

    Raises
    ------
    InputError
        As `smeared_vessel`.
    """
    vessel = smeared_vessel(response, green)
    cards = pure_cards(response.cards)
    extend = bool(response.history.extended)
    fired = fire_vessel(vessel, cards, extend=extend, control=control)
    return Smear(vessel, judge(response), judge(fired))
