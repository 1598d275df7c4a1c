"""A tile or nested rings after a march, told as rules read it: stations, stress, volume.

A flat tile has one station a layer. A ring of a sleeve has two, the second for its axial stress,
as principal stresses act independently there. Edges and ends are not in it: what a crack finds at
an edge is worked out by `cofire.assessment.layer_cracks` from the stress away from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.mechanics.sleeve import FiredSleeve, Sleeve
from cofire.mechanics.tile import FiredTile, Tile

if TYPE_CHECKING:
    from cofire.numerics import Array


@dataclass(frozen=True)
class LayerFiring:
    """N layers at T times as G stations with P places through each; no steps between bands.

    Attributes
    ----------
    time
        Shape (T,). [s]
    layers, own
        The structure and what its march gave.
    band
        Layer of each station, shape (G,). [-]
    volume
        That each point stands for, shape (G, P). [m³]
    total
        In two directions, shape (T, G, P, 2): both in the plane of a tile; radial and hoop, then
        axial and nothing, of a sleeve. [Pa]
    plastic
        Plastic strain likewise. [-]
    thick
        All layers together. [m]
    """

    time: Array
    layers: Tile | Sleeve
    own: FiredTile | FiredSleeve
    band: NDArray[np.intp]
    volume: Array
    total: Array
    plastic: Array
    thick: float

    @property
    def structure(self) -> str:
        """What answered: "tile" or "sleeve"."""
        return "tile" if isinstance(self.layers, Tile) else "sleeve"

    @property
    def stress(self) -> Array:
        """The same as `total`. [Pa]"""
        return self.total

    @property
    def height(self) -> Array:
        """Nothing, shape (G,). [m]"""
        return np.zeros(self.band.size)

    @property
    def slope(self) -> Array:
        """Nothing, shape (G,). [rad]"""
        return np.zeros(self.band.size)

    @property
    def wall(self) -> Array:
        """All layers, shape (G,). [m]"""
        return np.full(self.band.size, self.thick)

    @property
    def radius(self) -> Array:
        """Without end: no shell, shape (G,). [m]"""
        return np.full(self.band.size, np.inf)

    @property
    def ring_over_wall(self) -> Array:
        """Without end, shape (G,). [-]"""
        return self.radius

    @property
    def lying(self) -> NDArray[np.bool_]:
        """Nowhere, shape (G,)."""
        return np.zeros(self.band.size, dtype=bool)

    @property
    def step_height(self) -> Array:
        """None, shape (0,). [m]"""
        return np.zeros(0)


def read_tile(tile: Tile, fired: FiredTile, area: float) -> LayerFiring:
    """A tile as rules read it.

    Parameters
    ----------
    tile
        One, no batch.
    fired
        Its march.
    area
        Of its face. [m²]
    """
    both = [
        np.repeat(field[..., None], 2, axis=-1)
        for field in (fired.stress, fired.record.inelastic[:, 2, 0])
    ]
    return LayerFiring(
        time=fired.time,
        layers=tile,
        own=fired,
        band=np.arange(tile.thickness.size),
        volume=tile.share * area,
        total=both[0],
        plastic=both[1],
        thick=float(tile.thickness.sum()),
    )


def read_sleeve(sleeve: Sleeve, fired: FiredSleeve, length: float) -> LayerFiring:
    """Long nested rings as rules read them.

    Parameters
    ----------
    sleeve
        One, no batch, long.
    fired
        Its march.
    length
        Of the rings. [m]
    """

    def split(field: Array) -> Array:  # (T, 3, N, P) to (T, 2 N, P, 2)
        padded = np.moveaxis(np.pad(field, ((0, 0), (0, 1), (0, 0), (0, 0))), 1, -1)
        times, rings, points, _ = padded.shape
        apart = np.moveaxis(padded.reshape(times, rings, points, 2, 2), 3, 2)
        return np.asarray(apart.reshape(times, 2 * rings, points, 2))

    rings = sleeve.radius.shape[0]
    return LayerFiring(
        time=fired.time,
        layers=sleeve,
        own=fired,
        band=np.repeat(np.arange(rings), 2),
        volume=np.repeat(2.0 * np.pi * sleeve.share * length, 2, axis=0),
        total=split(fired.stress),
        plastic=split(fired.record.inelastic[:, 2]),
        thick=float(sleeve.radius[-1, -1] - sleeve.radius[0, 0]),
    )
