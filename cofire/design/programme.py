"""What is set on the controller for a firing that is wished: whole numbers, few segments.

A wish is a ramp and its hold as the ware asks for them. The kiln may not keep up with it, and its
controller may take fewer segments, no "full", or coarser steps. What comes out is the firing that
is judged, printed and set, one and the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from cofire.errors import ModelError
from cofire.firing.controller import (
    able,
    degrees_per_hour,
    longer,
    on_step,
    programmes,
    slower,
    switched_off,
)
from cofire.firing.program import Controller, Kiln, Segment
from cofire.units import HOUR, ROOM, celsius, kelvin

DRYING, BURNING, CLOSING, SOAK, DOWN, SLOW = (
    "drying", "burnout", "cooling to be packed", "the ramp to the soak", "cooling from the soak",
    "slow cooling",
)  # fmt: skip
"""What a segment is for, in a firing of cofire's own."""
ORDERS = (((DRYING, BURNING), (DOWN, SLOW)), ((DOWN, SLOW), (DRYING, BURNING)))
"""Pairs of wishes that are joined first where the controller takes fewer segments: our choice, and
the search tries each."""


@dataclass(frozen=True)
class Wish:
    """A segment that the ware asks for, and what it is for."""

    stage: str
    segment: Segment

    def within(self, gas: str) -> Wish:
        """The same in a gas of its own.

        Parameters
        ----------
        gas : str
            One of GASES.
        """
        return replace(self, segment=replace(self.segment, gas=gas))


@dataclass(frozen=True)
class Part:
    """A segment as it is set.

    Attributes
    ----------
    segment
        In steps of the controller.
    stages
        What it is for; more than one where the controller takes too few segments.
    start
        Where the kiln is when it begins. [K]
    wished
        The rate that was wished, the slowest of those joined. [K/s]
    last
        Whether it is the end of a wish, with its hold.
    """

    segment: Segment
    stages: tuple[str, ...]
    start: float
    wished: float
    last: bool = True

    @property
    def falls(self) -> bool:
        """Whether it cools."""
        return self.segment.target < self.start


STUB = 25.0
"""A part of a ramp that is no longer has no segment of its own, if the whole ramp can be slowed to
what the kiln can do there by no more than `LITTLE_SLOWER`: common practice. [K]"""
LITTLE_SLOWER = 0.9


def followed(kiln: Kiln, start: float, segment: Segment) -> list[Segment]:
    """A segment in parts that the kiln can keep up with: "full" where the rate is too fast for it.

    The kiln goes the same way in the same time. But where it falls behind a little only on the
    last few degrees, the whole segment goes at what it can do there: nobody sets a rate for nine
    degrees.

    Parameters
    ----------
    kiln : Kiln
        Its limits count.
    start : float
        Where the segment begins. [K]
    segment : Segment
        As it is wanted.

    Returns
    -------
    list of Segment
        One where the kiln keeps up all the way; the hold is that of the last.
    """
    rows, limit = kiln.heating_temperature, kiln.heating_rate
    if segment.target < start:
        rows, limit = kiln.cooling_temperature, kiln.cooling_rate
    if not np.isfinite(segment.rate):
        return [segment]
    ahead = limit - segment.rate
    behind = ahead < 0.0
    turns = np.flatnonzero(behind[:-1] != behind[1:])
    share = ahead[turns] / (ahead[turns] - ahead[turns + 1])
    cuts = celsius(rows[turns] + share * (rows[turns + 1] - rows[turns]))
    # to whole degrees, away from where the kiln falls behind
    cuts = kelvin(np.where(behind[turns], np.ceil(cuts - 1e-6), np.floor(cuts + 1e-6)))
    low, high = sorted((start, segment.target))
    slowest = np.interp(
        [segment.target, *rows[(rows > low) & (rows < high)], start], rows, limit
    ).min()
    last = abs(segment.target - cuts).min(initial=np.inf)
    able = np.floor(slowest * HOUR + 1e-6) / HOUR
    if slowest < segment.rate and last <= STUB and able >= LITTLE_SLOWER * segment.rate:
        return [replace(segment, rate=float(able))]
    ends = np.sort(np.append(cuts[(cuts > low) & (cuts < high)], [low, high]))
    if segment.target < start:
        ends = ends[::-1]
    parts = []
    for begin, end in pairwise(ends):
        slowest = np.interp([begin, 0.5 * (begin + end), end], rows, limit).min()
        keeps = slowest >= segment.rate * (1.0 - 1e-6)
        parts.append(Segment(float(end), segment.rate if keeps else np.inf, gas=segment.gas))
    return [*parts[:-1], replace(parts[-1], hold=segment.hold)]


def told(kiln: Kiln, wishes: Sequence[Wish], joined: int = 0) -> list[Part]:
    """What is set on a kiln for what is wished.

    Temperatures, rates and holds in steps of the controller: nothing hotter than the hottest wish,
    no rate faster, no hold shorter. Where it takes numbers only, "full" becomes one that the kiln
    keeps up with; where it takes fewer segments, neighbours go as one ramp at the slower of their
    rates, and the hold of the first of them is lost. Where one of them was "full" the kiln may fall
    behind that ramp (`behind_words`), and goes as fast as it would have. A kiln that cools as it
    likes in the end is switched off.

    Parameters
    ----------
    kiln : Kiln
        With its controller.
    wishes : sequence of Wish
        From the start on.
    joined : int
        Which of `ORDERS`. [-]

    Returns
    -------
    list of Part
        Within what the controller takes.

    Raises
    ------
    ModelError
        A change of gas asks for more segments than there are.
    """
    controller = kiln.controller
    here, parts = ROOM, list[Part]()
    top = on_step(controller, max(wish.segment.target for wish in wishes), -1)
    for wish in wishes:
        set_one = _on_steps(controller, wish.segment, top)
        for one in followed(kiln, here, set_one):
            last = one.target == set_one.target
            at = one.target if last else on_step(controller, one.target)
            if (at == here and not one.hold) or (at == set_one.target and not last):
                continue  # shorter than a step
            one = replace(one, target=at, rate=slower(controller, one.rate))
            parts.append(Part(one, (wish.stage,), here, set_one.rate, last))
            here = at
    off = switched_off(tuple(part.segment for part in parts))
    while off and off[-1]:
        off.pop()
        parts.pop()
    if controller.numbers:
        parts = [
            part if shut else _numbered(kiln, part) for part, shut in zip(parts, off, strict=True)
        ]
    while (some := _too_many(controller, parts)) is not None:
        parts = _fewer(kiln, parts, some, ORDERS[joined])
    return parts


def _on_steps(controller: Controller, s: Segment, top: float) -> Segment:
    """A segment in steps: no hotter than the top one, no rate faster, no hold shorter."""
    return replace(
        s,
        target=min(on_step(controller, s.target), top),
        rate=slower(controller, s.rate),
        hold=longer(controller, s.hold),
    )


def _numbered(kiln: Kiln, part: Part) -> Part:
    """A part with a rate that the kiln can keep all the way."""
    most = slower(kiln.controller, able(kiln, part.start, part.segment.target))
    return replace(part, segment=replace(part.segment, rate=min(part.segment.rate, most)))


def _too_many(controller: Controller, parts: Sequence[Part]) -> list[int] | None:
    """Indices of the first programme of more segments than the controller takes."""
    own = programmes(tuple(part.segment for part in parts))
    long = (some for some in own if 0 < controller.segments < len(some))
    return next(long, None)


def _fewer(
    kiln: Kiln, parts: list[Part], some: Sequence[int], order: Sequence[tuple[str, str]]
) -> list[Part]:
    """The parts with two neighbours of one programme joined, or without its cooling."""
    pairs = [
        (a, b)
        for a, b in pairwise(some)
        if parts[a].falls == parts[b].falls and parts[a].segment.gas == parts[b].segment.gas
    ]

    def rank(pair: tuple[int, int]) -> int:
        one, other = (parts[n].stages for n in pair)
        if one[-1] == other[0]:
            return 0
        ends = (one[-1], other[0])
        return 1 + order.index(ends) if ends in order else 1 + len(order)

    if pairs:
        a, b = min(pairs, key=rank)
        return [*parts[:a], _as_one(kiln, parts[a], parts[b]), *parts[b + 1 :]]
    if parts[some[-1]].falls and some[-1] == len(parts) - 1 and len(some) > 1:
        return parts[:-1]
    gases = len({parts[n].segment.gas for n in some})
    raise ModelError(
        f"{kiln.name}: controller: segments = {kiln.controller.segments}; a firing that changes "
        f"its gas while hot asks for {max(gases, 2)} or more; allow them, or let it cool "
        "hand-warm between"
    )


def _as_one(kiln: Kiln, one: Part, other: Part) -> Part:
    """Two neighbours as one ramp at the slower rate, with the hold of the second."""
    rate = min(one.segment.rate, other.segment.rate)
    both = replace(
        other,
        segment=replace(other.segment, rate=rate),
        stages=tuple(dict.fromkeys((*one.stages, *other.stages))),
        start=one.start,
        wished=min(one.wished, other.wished),
    )
    return _numbered(kiln, both) if kiln.controller.numbers else both


def merged_words(part: Part, segments: int) -> str:
    """Why a segment serves more than one wish.

    Parameters
    ----------
    part : Part
        From `told`.
    segments : int
        Most that the controller takes. [-]

    Returns
    -------
    str
        Without a full stop; empty where it serves one.
    """
    if len(part.stages) < 2:
        return ""
    *first, last = part.stages
    return (
        f"{', '.join(first)} and {last} as one ramp at the slower rate: the controller takes "
        f"{segments} segment{'s' if segments > 1 else ''}"
    )


def behind_words(kiln: Kiln, part: Part) -> str:
    """That the kiln cannot keep a rate that is set, as of ramps that go as one.

    Parameters
    ----------
    kiln : Kiln
        With its controller.
    part : Part
        From `told`.

    Returns
    -------
    str
        Without a full stop; empty where it keeps up, or falls behind a little.
    """
    most = able(kiln, part.start, part.segment.target)
    if np.isinf(part.segment.rate) or most >= LITTLE_SLOWER * part.segment.rate:
        return ""
    return (
        f"the kiln falls behind it, to {degrees_per_hour(kiln.controller, most)} at the slowest, "
        "and is judged so"
    )
