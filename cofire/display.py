"""How a thing shows itself in a session: a small table of HTML, every text in it escaped."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from cofire.files import HIDDEN


def shown(text: object) -> str:
    """A text as HTML that shows it on one line and does nothing else.

    Parameters
    ----------
    text : object
        Any, also one that would be markup or change the direction of writing.

    Returns
    -------
    str
        Hidden characters by their numbers.
    """
    line = " ".join(str(text).split())
    seen = HIDDEN.sub(lambda found: f"\\u{ord(found[0]):04x}", line)
    return html.escape(seen.encode("utf-8", "backslashreplace").decode("utf-8"))


def small_table(
    caption: str,
    head: Sequence[str],
    rows: Iterable[Sequence[object]],
    below: Iterable[str] = (),
) -> str:
    """A table of HTML whose first column names its rows.

    Parameters
    ----------
    caption : str
        What it is of.
    head : sequence of str
        Names of the columns, with their units.
    rows : iterable of sequence
        Cells; what is None is left empty.
    below : iterable of str
        Lines under the table.

    Returns
    -------
    str
        HTML in which every text is escaped.
    """
    names = "".join(f'<th scope="col">{shown(name)}</th>' for name in head)
    body = "".join(
        f'<tr><th scope="row">{shown(first)}</th>'
        + "".join(f"<td>{'' if cell is None else shown(cell)}</td>" for cell in others)
        + "</tr>"
        for first, *others in rows
    )
    told = "".join(f"<p>{shown(line)}</p>" for line in below)
    return (
        f"<table><caption>{shown(caption)}</caption><thead><tr>{names}</tr></thead>"
        f"<tbody>{body}</tbody></table>{told}"
    )
