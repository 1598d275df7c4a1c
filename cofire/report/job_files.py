"""The folder for the printer: written beside, then put in place whole; meshes for slicers."""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.numerics import Array
from cofire.production.printed_solid import skin
from cofire.report import job as making_tables
from cofire.report.figures import save
from cofire.report.job import job_text
from cofire.report.job_figures import bands_mismatch, before_and_after, mismatch_csv, section_figure
from cofire.report.writing import replace_folder

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cofire.production.job import Job


# ----------------------------------------------------------------------------------------------
# A surface of triangles as a file that slicers read

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


# ----------------------------------------------------------------------------------------------
# The folder for the printer: written beside, then put in place whole

MARK = "green.csv"
"""The file by which such a folder is known."""


def write_making(m: Job, out: str | os.PathLike[str], force: bool) -> None:
    """Write the print, the tables, the section at true scale and the figures.

    Killed at any moment, the folder holds the old files or the new ones, never a half.

    Parameters
    ----------
    m : Job
        From `job_for`.
    out : path
        The folder.
    force : bool
        Whether a folder of an earlier run may be replaced.

    Raises
    ------
    InputError
        The folder exists and may not be replaced, or cannot be written.
    """
    drawn, hung = section_figure(m), before_and_after(m)
    files = {
        MARK: making_tables.green_csv(m).encode(),
        "bands.csv": making_tables.bands_csv(m).encode(),
        "batches.csv": making_tables.batches_csv(m).encode(),
        "changeovers.csv": making_tables.changeovers_csv(m).encode(),
        "test_pieces.csv": making_tables.pieces_csv(m).encode(),
        "job.txt": job_text(m).encode(),
        "green.stl": stl(*skin(m.green.wall)),
        "green.svg": _saved(drawn, "svg"),
        "before_and_after.svg": _saved(hung, "svg"),
        "before_and_after.png": _saved(hung, "png"),
    }

    if len(m.response.cards) > 1:
        over = bands_mismatch(m.response)
        files |= {f"mismatch.{form}": _saved(over, form) for form in ("svg", "png")}
        files["mismatch.csv"] = mismatch_csv(m.response).encode()

    def fill(folder: Path) -> None:
        for name, content in files.items():
            (folder / name).write_bytes(content)

    replace_folder(Path(out), fill, MARK, force)


def _saved(figure: Figure, form: str) -> bytes:
    stream = io.BytesIO()
    save(figure, stream, form)
    return stream.getvalue()
