"""When to change the paste on the way up, and what each printed layer then holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cofire.assessment.response import Response
from cofire.numerics import Array
from cofire.physics.changeover import new_share, new_volume, volume_for_share
from cofire.physics.paste import paste_of
from cofire.production.green import Green
from cofire.production.printed_solid import volume_below

BEGUN, DONE = 0.05, 0.95
"""Shares of the new paste at which a change counts as begun and done: common practice. [-]"""


@dataclass(frozen=True, kw_only=True)
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
    run_out
        Volume to run out beside the print after it, before the next change or the first layer; 0
        where it comes in the print. [m³]
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
    run_out: float
    begins: int
    done: int
    passes: float


def run_outs(moments: Array) -> Array:
    """What to run out beside a print after each change that is due before it begins.

    Parameters
    ----------
    moments : array
        Volume printed at each change, rising, negative before the print begins, shape (N,). [m³]

    Returns
    -------
    array
        Until the next change or the first layer; 0 where a change is due in the print, (N,). [m³]
    """
    return np.diff(np.minimum(np.append(moments, 0.0), 0.0))  # the print's own beginning last


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
    moments = steps - half
    found = []
    for n, (changeover, out) in enumerate(zip(moments.tolist(), run_outs(moments), strict=True)):
        places = np.array([changeover, changeover + begun, changeover + done])
        layer, begins, pure = (int(k) + 1 for k in np.searchsorted(ends, places - 1e-15))
        found.append(
            Changeover(
                below=green.materials[n],
                above=green.materials[n + 1],
                step=float(green.wall.edges[n + 1]),
                layer=layer if changeover >= 0.0 else 0,
                extruded=changeover,
                run_out=float(out),
                begins=begins,
                done=pure,
                passes=float(done),
            )
        )
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


def paste_volumes(response: Response, green: Green) -> Array:
    """Volume of each band's paste that stands in each band, after the smear of every change.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    green : Green
        From `green_vessel`.

    Returns
    -------
    array
        Bands from the foot up, then pastes; rows sum to `band_volumes`, shape (bands, bands). [m³]
    """
    printer = response.vessel.printer
    half = volume_for_share(0.5, printer.dead_volume, printer.tanks)
    at = volume_below(green.wall, green.wall.edges)
    since = at[:, None] - at[1:-1] + half
    come = new_volume(since, printer.dead_volume, printer.tanks)
    come = come - come[0]  # what is run out before the print begins stands in no band
    below = np.concatenate([at[:, None], come, 0.0 * at[:, None]], axis=1)
    return np.asarray(-np.diff(np.diff(below, axis=0), axis=1))


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
