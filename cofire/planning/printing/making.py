"""Everything the user takes to the printer, for one fired vessel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from cofire.errors import CofireError
from cofire.planning.printing.cost import Cost, cost
from cofire.planning.printing.green import Green, Refired, green_to_size, green_vessel
from cofire.planning.printing.green_solid import Overhang, overhangs
from cofire.planning.printing.paste import BandPaste, Batch, band_pastes, batches
from cofire.planning.printing.pieces import Piece
from cofire.planning.printing.swaps import Smear, Swap, purity, smear_check, swaps
from cofire.planning.printing.trial_pieces import pieces_for
from cofire.planning.ware.response import Response
from cofire.planning.ware.verdict import Verdict, judge

T = TypeVar("T")


@dataclass(frozen=True)
class Making:
    """What to print, weigh, swap and test.

    Attributes
    ----------
    response, verdict
        The vessel as wanted, fired and judged.
    green
        What to print.
    refired
        That print, dried and fired again by the model; None where it could not be.
    overhangs
        Steepest places, joint by joint, then of the whole wall.
    bands, batches
        Paste that stands in each band, and what to weigh for each paste.
    cost
        None where the vessel's file has no prices.
    swaps
        One a joint.
    purity
        Most of its own paste that any layer of each band gets. [-]
    smear
        The verdict after the smear of the swaps; None where it could not be had.
    pieces
        Test pieces.
    missing
        What could not be computed, and why.
    """

    response: Response
    verdict: Verdict
    green: Green
    refired: Refired | None
    overhangs: tuple[Overhang, ...]
    bands: tuple[BandPaste, ...]
    batches: tuple[Batch, ...]
    cost: Cost | None
    swaps: tuple[Swap, ...]
    purity: tuple[float, ...]
    smear: Smear | None
    pieces: tuple[Piece, ...]
    missing: tuple[str, ...]

    @property
    def as_printed(self) -> Verdict:
        """The verdict on the vessel, or on it with smeared joints if that is worse."""
        known = [self.verdict] if self.smear is None else [self.verdict, self.smear.smeared]
        return max(known, key=lambda verdict: verdict.grade)


def making(response: Response, tell: Callable[[str], None] | None = None) -> Making:
    """Print, pastes, swaps and test pieces of a vessel.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    tell : callable, optional
        Is given one line about each stage.

    Returns
    -------
    Making
        What cannot be computed is left out and named.

    Raises
    ------
    CofireError
        The vessel cannot be printed, or a card lacks what a paste needs.
    """
    say = tell or (lambda line: None)
    missing: list[str] = []

    def tried(what: str, compute: Callable[[], T]) -> T | None:
        say(what)
        try:
            return compute()
        except CofireError as error:
            missing.append(f"{what}: {error}")
            return None

    verdict = judge(response)
    sized = tried("firing the print", lambda: green_to_size(response))
    green, refired = sized or (green_vessel(response), None)
    made = batches(response, green)
    several = len(response.cards) > 1
    return Making(
        response,
        verdict,
        green,
        refired,
        tuple(overhangs(green, response)),
        tuple(band_pastes(response, green)),
        tuple(made),
        cost(response, made),
        tuple(swaps(response, green)),
        tuple(float(p) for p in purity(response, green)),
        tried("firing the smeared bands", lambda: smear_check(response, green))
        if several
        else None,
        tuple(tried("test pieces", lambda: pieces_for(response, verdict, green)) or ()),
        tuple(missing),
    )
