"""How a text becomes HTML: every template is filled through one environment that escapes it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from cofire.report.writing import BEFORE_UNIT, one_line

if TYPE_CHECKING:
    from jinja2 import Environment, Undefined
    from markupsafe import Markup

LONGEST = 24
"""Letters of a word that stay together. [-]"""
LONG_WORD = re.compile(rf"\S{{{LONGEST + 8},}}")
BREAK = "\ue000"
"""Stands for a place to break until the text is escaped: a character of no meaning."""


class Name(str):
    """A text that a person gave, kept apart from the direction of writing around it."""

    __slots__ = ()


class Strong(str):
    """A text that is set apart."""

    __slots__ = ()


Text = str | tuple[str, ...]
"""What a cell or a line may be: a text, or parts of one, of which some are names or strong."""
TAGS: dict[type, str] = {Name: "bdi", Strong: "b"}


def plain(text: str) -> str:
    """A text as an attribute or a title shows it, on one line; escaped where it is put in.

    Parameters
    ----------
    text : str
        Any, also one that would be markup or change the direction of writing.

    Returns
    -------
    str
        Halves of characters, which no file can hold, by their numbers.
    """
    return one_line(text).encode("utf-8", "backslashreplace").decode("utf-8")


def readable(value: Text | int | Undefined) -> Markup:
    """What a template shows of a value: never more than its text, broken where that reads well.

    The environment asks this for every value of every template, so none can be forgotten.

    Parameters
    ----------
    value : str, tuple or int
        A text of any origin, or parts of one; what is markup already stays.

    Returns
    -------
    Markup
        On one line.
    """
    from markupsafe import Markup, escape

    if isinstance(value, Markup):
        return value
    if isinstance(value, tuple):
        return Markup("").join(map(readable, value))

    def broken(word: re.Match[str]) -> str:
        return BREAK.join(word[0][k : k + LONGEST] for k in range(0, len(word[0]), LONGEST))

    text = str(value)
    ends = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]  # of a part of a text
    kept = BEFORE_UNIT.sub("\u00a0", plain(text.replace(BREAK, "")))
    line = f"{' ' * bool(ends[0])}{LONG_WORD.sub(broken, kept)}{' ' * bool(ends[1] and kept)}"
    shown = Markup(str(escape(line)).replace(BREAK, "<wbr>"))
    tag = TAGS.get(type(value))
    return Markup(f"<{tag}>{shown.strip()}</{tag}>") if tag else shown


def environment() -> Environment:
    """The one environment of all pages: templates beside this module, everything escaped.

    Returns
    -------
    Environment
        A value that a template names and no one gave is an error.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    finalize: Any = readable
    found = Environment(
        loader=PackageLoader("cofire", "report"),
        autoescape=True,
        finalize=finalize,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.filters["plain"] = _attribute
    return found


def _attribute(text: str) -> Markup:
    from markupsafe import escape

    return escape(plain(text))
