"""The folder for the printer: written beside, then put in place whole; meshes for slicers."""

from __future__ import annotations

import io
import os
import re
import unicodedata
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from cofire.numerics import Array
from cofire.production.changeovers import Changeover
from cofire.production.printed_solid import PasteSolid, paste_solids, skin, volume_below
from cofire.report import job as making_tables
from cofire.report.figures import save
from cofire.report.firing import kiln_csv
from cofire.report.job import job_text, run_out
from cofire.report.job_figures import (
    bands_mismatch,
    before_and_after,
    colour,
    mismatch_csv,
    section_figure,
)
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


MODEL = "3D/3dmodel.model"
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PACKAGE = {
    "[Content_Types].xml": """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
""",
    "_rels/.rels": f"""<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="model" Target="/{MODEL}"
 Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
""",
}
"""What says that such a package holds a model, and where (Open Packaging Conventions)."""
EARLIEST = (1980, 1, 1, 0, 0, 0)
"""The date of every file in it, so that the same print gives the same bytes."""


def threemf(parts: Sequence[PasteSolid], colours: Array, title: str) -> bytes:
    """The print as a 3MF package in millimetres: a named object a paste, and the whole of them.

    3MF Core Specification 1.4.0 (3MF Consortium), an open standard: a zip archive of XML. No
    extension is used. The pastes are components of one object, so that they stay together.

    Parameters
    ----------
    parts : sequence of PasteSolid
        From `paste_solids`.
    colours : array
        Red, green and blue of each, shape (parts, 3). [-]
    title : str
        Of the vessel.

    Returns
    -------
    bytes
        The same for the same print.
    """
    shades = [
        "#" + "".join(f"{round(255.0 * float(c)):02X}" for c in np.clip(colour, 0.0, 1.0))
        for colour in colours
    ]
    bases = [
        f"<base name={quoteattr(part.material)} displaycolor={quoteattr(shade)}/>"
        for part, shade in zip(parts, shades, strict=True)
    ]
    objects = [_object(number, part) for number, part in enumerate(parts)]
    whole = len(parts) + 2
    links = "".join(f'<component objectid="{n + 2}"/>' for n in range(len(parts)))
    aside = -1e3 * min(float(part.corners[:, :2].min()) for part in parts)
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xmlns="{CORE}">\n'
        f'<metadata name="Title">{escape(title)}</metadata>\n<resources>\n'
        f'<basematerials id="1">{"".join(bases)}</basematerials>\n{"".join(objects)}'
        f'<object id="{whole}" type="model" name={quoteattr(title)}>'
        f"<components>{links}</components></object>\n</resources>\n<build>"
        f'<item objectid="{whole}" transform="1 0 0 0 1 0 0 0 1 {aside:.6f} {aside:.6f} 0"/>'
        "</build>\n</model>\n"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, text in (*PACKAGE.items(), (MODEL, model)):
            entry = zipfile.ZipInfo(name, EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text.encode())
    return stream.getvalue()


def _object(number: int, part: PasteSolid) -> str:
    """One paste as an object of the model."""
    corners = "".join(
        f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in 1e3 * part.corners
    )
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in part.triangles)
    return (
        f'<object id="{number + 2}" type="model" name={quoteattr(part.material)} pid="1" '
        f'pindex="{number}"><mesh><vertices>{corners}</vertices><triangles>{faces}</triangles>'
        "</mesh></object>\n"
    )


# ----------------------------------------------------------------------------------------------
# Where to stop the printer for a change of paste


@dataclass(frozen=True)
class Pause:
    """A stop of the printer at a whole layer, for one change of paste.

    Attributes
    ----------
    change
        The change, as it would be timed if the printer could stop anywhere.
    layers
        Printed by then; 0 before the print begins. [-]
    height
        Of what is printed by then. [m]
    late
        Volume that has left the nozzle since the best moment, half a layer at most; negative where
        the stop is before it, 0 where what is run out first makes up for it. [m³]
    of
        Layers of the print. [-]
    first
        What to run out beside the print after the change; empty where it is due in the print.
    """

    change: Changeover
    layers: int
    height: float
    late: float
    of: int
    first: str


def pauses(m: Job) -> list[Pause]:
    """The stop nearest to each change of paste.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    list of Pause
        From below.
    """
    green = m.green
    height = green.layer * np.arange(sum(green.layers) + 1)
    volume = volume_below(green.wall, height)
    found = []
    for n, change in enumerate(m.changeovers):
        k = int(np.argmin(np.abs(volume - change.extruded)))
        late = float(volume[k]) - max(change.extruded, 0.0)
        first = run_out(m.changeovers, n)
        found.append(Pause(change, k, float(height[k]), late, height.size - 1, first))
    return found


def pauses_csv(m: Job) -> str:
    """Each stop by layer and by height.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        Heights in mm of the print, volumes in ml.
    """
    header = (
        "pause", "after_layer", "before_layer", "at_height_mm", "from", "to", "late_ml",
        "run_out_ml", "joint_above_layer", "joint_height_mm",
    )  # fmt: skip
    rows = (
        (
            n, p.layers, p.layers + 1, f"{1e3 * p.height:.3f}", p.change.below, p.change.above,
            f"{1e6 * p.late:.2f}", f"{1e6 * p.change.run_out:.2f}",
            round(p.change.step / m.green.layer), f"{1e3 * p.change.step:.3f}",
        )
        for n, p in enumerate(pauses(m), 1)
    )  # fmt: skip
    return making_tables.table(header, rows)


WHOLE = str.maketrans({
    "ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O",
    "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ı": "i",
    "µ": "u", "μ": "u", "–": "-", "—": "-", "’": "'",
})  # fmt: skip
"""Letters and signs that no mark can be taken off, and what stands for them in ASCII."""


def pause_gcode(number: int, count: int, pause: Pause) -> str:
    """One stop as lines to be put into the print's program before its layer.

    Comments and M0, "program stop" of the RS274 language (NIST RS274/NGC interpreter, version 3,
    from memory), which most controllers know; no command of one maker. It moves nothing.

    Parameters
    ----------
    number, count : int
        Which stop, and how many there are.
    pause : Pause
        From `pauses`.

    Returns
    -------
    str
        ASCII lines.
    """
    change, layer = pause.change, pause.layers + 1
    pure = "not pure before the rim" if change.done > pause.of else f"pure from layer {change.done}"
    lines = [
        f"; pause {number} of {count}: change paste",
        f"; from: {_plain(change.below)}",
        f"; to: {_plain(change.above)}",
        f"; put this before layer {layer}, where {pause.layers} layers and "
        f"{1e3 * pause.height:.3f} mm are printed",
        f"; the new paste begins to come in layer {change.begins} and is {pure}",
        "; M0 moves nothing: lift and park the nozzle first, in your machine's own way",
        "M0",
    ]
    if pause.first:
        lines.insert(4, f"; {pause.first}")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """A name as a comment may hold it: ASCII, no bracket or semicolon that would end it.

    Letters lose their marks; what has no letter of its own there is "_".
    """
    apart = unicodedata.normalize("NFKD", text.translate(WHOLE))
    letters = "".join(c for c in apart if not unicodedata.combining(c))
    return re.sub(r"[^\x20-\x7e]|[;()]", "_", letters)


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
    solids, firing = paste_solids(m.green), m.response.vessel.firing
    share_of = {card.name: card.metal_share for card in m.response.cards}
    metal = np.array([share_of[part.material] for part in solids])
    files = {
        MARK: making_tables.green_csv(m).encode(),
        "bands.csv": making_tables.bands_csv(m).encode(),
        "batches.csv": making_tables.batches_csv(m).encode(),
        "changeovers.csv": making_tables.changeovers_csv(m).encode(),
        "test_pieces.csv": making_tables.pieces_csv(m).encode(),
        "job.txt": job_text(m).encode(),
        "green.stl": stl(*skin(m.green.wall)),
        "green.3mf": threemf(solids, colour(metal), m.response.vessel.name),
        "pauses.csv": pauses_csv(m).encode(),
        "kiln_C.csv": kiln_csv(firing, "C").encode(),
        "kiln_F.csv": kiln_csv(firing, "F").encode(),
        "green.svg": _saved(drawn, "svg"),
        "before_and_after.svg": _saved(hung, "svg"),
        "before_and_after.png": _saved(hung, "png"),
    }

    for number, part in enumerate(solids, 1):
        files[f"paste_{number}.stl"] = stl(part.corners, part.triangles)
    stops = pauses(m)
    for number, stop in enumerate(stops, 1):
        files[f"pause_{number}.gcode"] = pause_gcode(number, len(stops), stop).encode()
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
