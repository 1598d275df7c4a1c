"""Print, pastes, swaps and test pieces as tables, one file each."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

import numpy as np

from cofire.output.verdict_text import number
from cofire.planning.printing.green_solid import OVERHANG, printed_layers
from cofire.planning.printing.making import Making
from cofire.planning.printing.swaps import metal_shares


def _table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Comma-separated text."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def grams(mass: float, scale: float) -> str:
    """A mass in grams with as many decimals as the scale shows.

    Parameters
    ----------
    mass, scale : float
        [kg]

    Returns
    -------
    str
        Without its unit.
    """
    return f"{mass * 1e3:.{max(-math.floor(math.log10(scale * 1e3) + 1e-9), 0)}f}"


def green_csv(m: Making) -> str:
    """The print, one row a layer.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Heights and radii in mm; metal in per cent of the solids' volume, after the smear.
    """
    layers, green = printed_layers(m.green), m.green
    limit = OVERHANG * m.response.vessel.printer.nozzle
    metal = 100.0 * metal_shares(m.response, green, layers.height)
    wall = green.wall.at(green.wall.thickness, layers.height)
    header = (
        "layer", "from_mm", "to_mm", "inside_radius_mm", "outside_radius_mm", "middle_radius_mm",
        "wall_mm", "base", "band", "material", "metal_percent", "paste_ml", "overhang_mm", "over",
    )  # fmt: skip
    rows = (
        (
            k + 1, f"{1e3 * green.layer * k:.4f}", f"{1e3 * green.layer * (k + 1):.4f}",
            f"{1e3 * layers.inside[k]:.3f}", f"{1e3 * layers.outside[k]:.3f}",
            f"{500 * (layers.inside[k] + layers.outside[k]):.3f}", f"{1e3 * wall[k]:.3f}",
            "yes" if k < layers.base else "no", layers.band[k] + 1,
            green.materials[layers.band[k]], f"{metal[k]:.1f}", f"{1e6 * layers.volume[k]:.4f}",
            f"{1e3 * layers.overhang[k]:.3f}", "yes" if layers.overhang[k] > limit else "no",
        )
        for k in range(layers.height.size)
    )  # fmt: skip
    return _table(header, rows)


def bands_csv(m: Making) -> str:
    """Each band: layers, heights as printed and as fired, volume and mass of its paste.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Heights in mm, volumes in ml, masses in g.
    """
    green = m.green
    last = np.cumsum(green.layers)
    fired = m.refired.wall.edges if m.refired is not None else green.fired.edges
    header = (
        "band", "material", "first_layer", "last_layer", "from_mm", "to_mm", "fired_from_mm",
        "fired_to_mm", "paste_ml", "wet_g", "dry_g", "fired_g",
    )  # fmt: skip
    rows = (
        (
            n + 1, band.material, last[n] - green.layers[n] + 1, last[n],
            f"{1e3 * green.wall.edges[n]:.3f}", f"{1e3 * green.wall.edges[n + 1]:.3f}",
            f"{1e3 * fired[n]:.3f}", f"{1e3 * fired[n + 1]:.3f}", f"{1e6 * band.volume:.2f}",
            f"{1e3 * band.wet:.2f}", f"{1e3 * band.dry:.2f}", f"{1e3 * band.fired:.2f}",
        )
        for n, band in enumerate(m.bands)
    )  # fmt: skip
    return _table(header, rows)


def batches_csv(m: Making) -> str:
    """What to weigh, one row an ingredient; a blend also from two pastes mixed alone.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Volumes in ml, masses in g to the step of the scale.
    """
    scale = m.response.vessel.mixing.scale
    header = ("paste", "paste_ml", "way", "ingredient", "mass_g")
    rows = []
    for batch in m.batches:
        powders = [*batch.powders, ("binder", batch.binder), ("water", batch.water)]
        for way, parts in (("powders", powders), ("ready pastes", batch.ready)):
            rows += [
                (batch.material, f"{1e6 * batch.volume:.2f}", way, name, grams(mass, scale))
                for name, mass in parts
            ]
    return _table(header, rows)


def swaps_csv(m: Making) -> str:
    """Each change of paste; layer 0 stands for before the print begins.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Volumes in ml.
    """
    header = (
        "from", "to", "joint_mm", "joint_above_layer", "swap_in_layer", "extruded_before_ml",
        "new_paste_from_layer", "pure_from_layer", "passes_until_pure_ml",
    )  # fmt: skip
    rows = (
        (
            s.below, s.above, f"{1e3 * s.step:.3f}", round(s.step / m.green.layer), s.layer,
            f"{1e6 * s.extruded:.2f}", s.begins, s.done, f"{1e6 * s.passes:.2f}",
        )
        for s in m.swaps
    )  # fmt: skip
    return _table(header, rows)


def pieces_csv(m: Making) -> str:
    """Each reading of each test piece.

    Parameters
    ----------
    m : Making
        From `making`.

    Returns
    -------
    str
        Sizes as printed, in mm; of a ring outer diameter, wall and height.
    """
    header = (
        "piece", "material", "count", "length_mm", "width_mm", "thickness_mm", "layers",
        "paste_ml", "reading", "expected", "unit", "stop_if", "decides", "note",
    )  # fmt: skip
    rows = (
        (
            p.kind, p.material, p.count, f"{1e3 * p.length:.1f}", f"{1e3 * p.width:.1f}",
            f"{1e3 * p.thickness:.2f}", p.layers, f"{1e6 * p.count * p.volume:.1f}", r.what,
            expected(r.value, r.unit), r.unit, r.stop, "; ".join(p.decides), p.note,
        )
        for p in m.pieces
        for r in p.readings
    )  # fmt: skip
    return _table(header, rows)


def expected(value: float, unit: str) -> str:
    """A forecast with the digits that its unit can be read to.

    Parameters
    ----------
    value : float
        [unit]
    unit : str
        Empty for what is only looked at.

    Returns
    -------
    str
        Empty for what is only looked at.
    """
    if not unit:
        return ""
    return f"{value:.1f}" if unit in ("mm", "g", "1e-6/K") else number(value)
