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


class UnknownName(InputError):
    """A name that nothing in the tables carries."""

    def __init__(self, kind: str, name: str, known: Iterable[str], where: str = "") -> None:
        known = sorted(known)
        near = difflib.get_close_matches(name.lower(), [k.lower() for k in known], n=1, cutoff=0.5)
        words = set(name.lower().split())
        holding = [k for k in known if words and words <= set(k.lower().replace("/", " ").split())]
        meant = holding[:4] or [k for k in known if near and k.lower() == near[0]][:1]
        hint = f"; did you mean {' or '.join(map(repr, meant))}?" if meant else "."
        listed = ", ".join(repr(k) for k in known) or "none"
        place = f"{where}: " if where else ""
        super().__init__(f"{place}no {kind} named {name[:80]!r}{hint} Known: {listed}")
        self.asked = kind, name, known, where

    def __reduce__(self) -> tuple[type[UnknownName], tuple[str, str, list[str], str]]:
        """Travel between processes as what was asked, not as the message alone."""
        return UnknownName, self.asked


class OutOfRange(InputError):
    """A property asked outside the range it was measured in."""


class ModelError(CofireError):
    """The inputs are sound, but the model cannot answer for them."""
