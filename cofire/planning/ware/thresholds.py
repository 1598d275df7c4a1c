"""Moments at which a flag begins to count, so that the march lands on them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cofire.physics.history import History

BEGUN = 0.02
"""Share of its densification from which the sintering flag counts a body as sintering: there
tension falls so steeply that the flag would depend on where the steps happen to lie. [-]"""


def with_thresholds(history: History) -> History:
    """The history with a corner where each material begins to sinter.

    Parameters
    ----------
    history : History
        Of N materials.

    Returns
    -------
    History
        The same, with at most N corners more.
    """
    density = history.relative_density
    done = density - density[:, :1]
    begun = np.argmax(done > BEGUN * done[:, -1:], axis=1)
    return replace(history, corners=np.union1d(history.corners, begun).astype(np.intp))
