"""Parts of an HTML page: text that is only shown, tables, figures, places to tick."""

from __future__ import annotations

import html
import re
from collections.abc import Collection, Iterable, Sequence

from cofire.report.writing import one_line

TICK = '<span class="tick">☐</span>'
"""An empty square to tick by pen."""
LONGEST = 24
"""Letters of a word that stay together. [-]"""
LONG_WORD = re.compile(rf"\S{{{LONGEST + 8},}}")
BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°C|%|mm|min|MPa|kPa|J/m²|ml|h|g|K)(?![A-Za-z]))")
"""A space that keeps a number with its unit."""
BREAK = "\ue000"
"""Stands for a place to break until the text is escaped: a character of no meaning."""


def plain(text: str) -> str:
    """A text as an attribute or a title shows it, and does nothing else.

    Parameters
    ----------
    text : str
        Any, also one that would be markup or change the direction of writing.

    Returns
    -------
    str
        On one line.
    """
    return _escaped(one_line(text))


def _escaped(line: str) -> str:
    """One line as HTML; halves of characters, which no file can hold, by their numbers."""
    return html.escape(line.encode("utf-8", "backslashreplace").decode("utf-8"))


def shown(text: str) -> str:
    """A text as HTML that shows it and does nothing else, broken where that reads well.

    Parameters
    ----------
    text : str
        Any, also one that would be markup or change the direction of writing.

    Returns
    -------
    str
        On one line.
    """

    def broken(word: re.Match[str]) -> str:
        return BREAK.join(word[0][k : k + LONGEST] for k in range(0, len(word[0]), LONGEST))

    kept = BEFORE_UNIT.sub("\u00a0", one_line(text.replace(BREAK, "")))
    return _escaped(LONG_WORD.sub(broken, kept)).replace(BREAK, "<wbr>")


def named(text: str) -> str:
    """A name that a person gave, kept apart from the direction of writing around it.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str
        HTML.
    """
    return f"<bdi>{shown(text)}</bdi>"


def table(
    key: str,
    caption: str,
    head: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Collection[int] = (),
    kinds: dict[int, str] | None = None,
) -> str:
    """A table whose first column names its rows, in a frame that scrolls where it is too wide.

    Parameters
    ----------
    key : str
        Its id in the page.
    caption : str
        HTML.
    head : sequence of str
        HTML of the columns' names.
    rows : iterable of sequence of str
        HTML of the cells.
    numbers : collection of int
        Columns of numbers, set to the right.
    kinds : dict, optional
        Class of other columns: "name", "text" or "pen".

    Returns
    -------
    str
        HTML.
    """
    of = dict.fromkeys(numbers, "n") | (kinds or {})
    looks = [f' class="{of[k]}"' if k in of else "" for k in range(len(head))]
    names = "".join(
        f'<th scope="col"{look}>{text}</th>' for look, text in zip(looks, head, strict=True)
    )
    body = []
    for first, *others in rows:
        cells = zip(looks[1:], others, strict=True)
        body.append(
            f'<tr><th scope="row"{looks[0]}>{first}</th>'
            + "".join(f"<td{look}>{cell}</td>" for look, cell in cells)
            + "</tr>"
        )
    return framed(key, caption, f"<tr>{names}</tr>", "<tbody>\n" + "\n".join(body) + "\n</tbody>")


def framed(key: str, caption: str, head: str, body: str) -> str:
    """A table made of its head's row and its bodies.

    Parameters
    ----------
    key : str
        Its id in the page.
    caption, head, body : str
        HTML.

    Returns
    -------
    str
        HTML.
    """
    return (
        f'<div class="scroll" role="region" aria-labelledby="{key}" tabindex="0">\n'
        f'<table class="{key}-table">\n'
        f'<caption id="{key}"><span class="told">{caption}</span></caption>\n'
        f"<thead>{head}</thead>\n{body}\n</table>\n</div>"
    )


def figure(source: str, shows: str, caption: str) -> str:
    """A picture with what it shows in words.

    Parameters
    ----------
    source : str
        A data URI.
    shows : str
        Text for those who do not see it.
    caption : str
        HTML.

    Returns
    -------
    str
        HTML.
    """
    return (
        f'<figure>\n<img src="{source}" alt="{plain(shows)}">\n'
        f"<figcaption>{caption}</figcaption>\n</figure>"
    )


def listed(items: Iterable[str], kind: str = "ul", look: str = "columns") -> str:
    """A list.

    Parameters
    ----------
    items : iterable of str
        HTML.
    kind : str
        "ul" or "ol".
    look : str
        Its class.

    Returns
    -------
    str
        HTML; empty without items.
    """
    rows = "\n".join(f"<li>{item}</li>" for item in items)
    return f'<{kind} class="{look}">\n{rows}\n</{kind}>' if rows else ""
