"""The errors a user can meet, one class per kind of mistake.

CofireError (also a ValueError)
├── InputError          a card, firing, kiln or vessel is wrong or missing
│   ├── UnknownName     no such material, kiln, firing, property or gas
│   └── OutOfRange      a property asked outside the range it was measured in
└── ModelError          the inputs are sound, the model cannot give an answer for them

Every message names the place (file, field), the value and what is allowed.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class CofireError(ValueError):
    """Anything cofire refuses, with a message a person can act on.

    Examples
    --------
    >>> import cofire as cf
    >>> try:
    ...     cf.kiln("small studio klin")
    ... except cf.CofireError as refused:
    ...     print(str(refused).split(" Known")[0])
    no kiln named 'small studio klin'; did you mean 'small studio kiln'?
    """


class InputError(CofireError):
    """A card, firing, kiln or vessel is wrong or missing."""


LONGEST = 300
"""What a person is told in one line is no longer. [characters]"""


class UnknownName(InputError):
    """A name that nothing in the tables carries; as many of the known ones as a line holds."""

    def __init__(
        self, kind: str, name: str, known: Iterable[str], where: str = "", rest: str = ""
    ) -> None:
        name = name if isinstance(name, str) else repr(name)  # in a session it may be anything
        known = sorted(known)
        near = difflib.get_close_matches(name.lower(), [k.lower() for k in known], n=1, cutoff=0.5)
        words = set(name.lower().split())
        holding = [k for k in known if words and words <= set(k.lower().replace("/", " ").split())]
        meant = holding[:4] or [k for k in known if near and k.lower() == near[0]][:1]
        hint = f"; did you mean {' or '.join(map(repr, meant))}?" if meant else "."
        place = f"{where}: " if where else ""
        given = repr(name if len(name) <= 60 else f"{name[:57]}...")
        start = f"{place}no {kind} named {given}{hint} Known: "
        listed = ", ".join(map(repr, known)) or "none"
        room = LONGEST - len("cofire: ") - len(start) - len(rest)
        if len(listed) > room:
            more = f" ... ({len(known)} in all)"
            listed = listed[: max(room - len(more), 0)]
            listed = listed[: listed.rfind(",") + 1] + more
        super().__init__(start + listed + rest)
        self.asked = kind, name, known, where
        self.rest = rest

    def at(self, place: str) -> UnknownName:
        """The same complaint with a place before it, cut to a line as a whole."""
        kind, name, known, where = self.asked
        return UnknownName(kind, name, known, f"{place}: {where}" if where else place, self.rest)

    def and_then(self, rest: str) -> UnknownName:
        """The same complaint with a hint behind it, for which the list of the known gives way."""
        return UnknownName(*self.asked, rest)

    def __reduce__(self) -> tuple[type[UnknownName], tuple[str, str, list[str], str, str]]:
        """Travel between processes as what was asked, not as the message alone."""
        return UnknownName, (*self.asked, self.rest)


class OutOfRange(InputError):
    """A property asked outside the range it was measured in."""


class ModelError(CofireError):
    """The inputs are sound, but the model cannot answer for them."""
