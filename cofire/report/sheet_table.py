"""A table of the firing sheet, and how it names a place on the vessel."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from cofire.assessment.rule import Flag, joint_name
from cofire.report.html import Name, Text

if TYPE_CHECKING:
    from cofire.assessment.response import Response


UNIT_OF_COLUMN = re.compile(r"(?:°C/h|°C|mm)$")
"""The unit that ends the heading of a column of numbers."""
TICK = "☐ "
"""An empty square to tick by pen."""


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table of the sheet.

    Attributes
    ----------
    key
        Its id in the page.
    caption, head, rows
        What it is, its columns, and its cells, of which the first names its row.
    kinds
        Look by column: "n" a number, "name", "text", or "pen" for what is filled in by hand.
    """

    key: str
    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[Text]]
    kinds: dict[int, str] = field(default_factory=dict)


def where(flag: Flag, response: Response, faded: bool = False) -> tuple[str, ...]:
    """The place of a flag by the numbers of its bands.

    Parameters
    ----------
    flag : Flag
        From `judge`.
    response : Response
        Of the vessel.
    faded : bool
        Whether its bands are those of the changeovers, not those of the table of the print.

    Returns
    -------
    text
        With names as such. Where a changeover fades into many thin bands, which no one draws or
        prints by number, the blends themselves are named.
    """
    names = [card.name for card in response.cards]
    if faded:
        pair = [(low, up) for low, up in pairwise(names) if flag.zone == joint_name(low, up)]
        if pair:
            return ("between ", Name(pair[0][0]), " and ", Name(pair[0][1]))
        return (Name(flag.zone),)
    for n, (below, above) in enumerate(pairwise(names), 1):
        if flag.zone == joint_name(below, above):
            return (f"joint of bands {n} and {n + 1}",)
    own = [str(n) for n, name in enumerate(names, 1) if name == flag.zone]
    if own:
        return (f"band{'s' if len(own) > 1 else ''} {' and '.join(own)}, ", Name(flag.zone))
    return (Name(flag.zone),)
