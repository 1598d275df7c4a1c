"""A surface of triangles as a file that slicers read."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl(corners: Array, triangles: NDArray[np.intp]) -> bytes:
    """Binary STL in millimetres: 80 bytes of header, a count, and 50 bytes a triangle.

    Layout from memory (3D Systems 1989); read back by another library in the tests.

    Parameters
    ----------
    corners : array
        Shape (V, 3). [m]
    triangles : array
        Corners anticlockwise from outside, shape (F, 3).

    Returns
    -------
    bytes
        The same for the same surface.
    """
    rows = np.zeros(len(triangles), dtype=_ROW)
    points = 1e3 * corners[triangles]
    normal = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    rows["normal"] = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    rows["corners"] = points
    header = b"vessel as printed, millimetres".ljust(80)
    return bytes(header + np.uint32(len(triangles)).astype("<u4").tobytes() + rows.tobytes())
