"""Where through a wall or layer stress is read, and what share of it each place stands for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial.legendre import Legendre

if TYPE_CHECKING:
    from cofire.physics.history import Array


def lobatto(points: int) -> tuple[Array, Array]:
    """Gauss–Lobatto places on -1 to 1, both faces included, and weights that sum to one. [-]

    Parameters
    ----------
    points
        Two or more; exact for polynomials of degree 2 points − 3. [-]
    """
    top = Legendre.basis(points - 1)
    inner = np.sort(np.real(top.deriv().roots()))
    place = np.concatenate([[-1.0], 0.5 * (inner - inner[::-1]), [1.0]])
    weight = 1.0 / (points * (points - 1) * np.asarray(top(place)) ** 2)
    return place, weight
