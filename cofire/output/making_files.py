"""The folder for the printer: written beside, then put in place whole."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from cofire.output import making_tables
from cofire.output.figures import save
from cofire.output.folders import replace_folder
from cofire.output.making_figures import before_and_after, section_figure
from cofire.output.making_mismatch import bands_mismatch, mismatch_csv
from cofire.output.making_text import making_text
from cofire.output.mesh_file import stl
from cofire.planning.printing.green_solid import skin

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cofire.planning.printing.making import Making

MARK = "green.csv"
"""The file by which such a folder is known."""


def write_making(m: Making, out: Path, force: bool) -> None:
    """Write the print, the tables, the section at true scale and the figures.

    Killed at any moment, the folder holds the old files or the new ones, never a half.

    Parameters
    ----------
    m : Making
        From `making`.
    out : Path
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
        "swaps.csv": making_tables.swaps_csv(m).encode(),
        "test_pieces.csv": making_tables.pieces_csv(m).encode(),
        "making.txt": making_text(m).encode(),
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

    replace_folder(out, fill, MARK, force)


def _saved(figure: Figure, form: str) -> bytes:
    stream = io.BytesIO()
    save(figure, stream, form)
    return stream.getvalue()
