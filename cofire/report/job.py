"""What to print, weigh, change and test, as text and tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from cofire.assessment.cautions import AT_THE_KILN, cautions
from cofire.design.ladder import LADDER, RING
from cofire.production.changeovers import DONE, Changeover, metal_shares
from cofire.production.job import Job
from cofire.production.paste import COARSE_SCALE, Batch, Cost
from cofire.production.printed_solid import OVERHANG, Overhang, printed_layers
from cofire.report.packing import packing_words
from cofire.report.verdict import number
from cofire.report.writing import table_text, wrapped
from cofire.units import HOUR, counted
from cofire.vessel import Prices
from cofire.vessel_file import JOULES_PER_KILOWATT_HOUR

# ----------------------------------------------------------------------------------------------
# Print, pastes, changeovers and test pieces as tables, one file each


def table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Comma-separated text.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : iterable of sequence
        Cells of each row.

    Returns
    -------
    str
        Lines end in a new line alone.
    """
    columns = list(zip(*rows, strict=True)) or [()] * len(header)
    return table_text(dict(zip(header, columns, strict=True)))


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


def green_csv(m: Job) -> str:
    """The print, one row a layer.

    Parameters
    ----------
    m : Job
        From `job_for`.

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
    return table(header, rows)


def bands_csv(m: Job) -> str:
    """Each band: layers, heights as printed and as fired, volume and mass of the paste in it.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        Heights in mm, volumes in ml, its own paste in per cent of them, masses in g.
    """
    green = m.green
    last = np.cumsum(green.layers)
    fired = m.refired.wall.edges if m.refired is not None else green.fired.edges
    header = (
        "band", "material", "first_layer", "last_layer", "from_mm", "to_mm", "fired_from_mm",
        "fired_to_mm", "paste_ml", "own_paste_percent", "wet_g", "dry_g", "fired_g",
    )  # fmt: skip
    rows = (
        (
            n + 1, band.material, last[n] - green.layers[n] + 1, last[n],
            f"{1e3 * green.wall.edges[n]:.3f}", f"{1e3 * green.wall.edges[n + 1]:.3f}",
            f"{1e3 * fired[n]:.3f}", f"{1e3 * fired[n + 1]:.3f}", f"{1e6 * band.volume:.2f}",
            f"{100.0 * band.own_share:.1f}", f"{1e3 * band.wet:.2f}", f"{1e3 * band.dry:.2f}",
            f"{1e3 * band.fired:.2f}",
        )
        for n, band in enumerate(m.bands)
    )  # fmt: skip
    return table(header, rows)


def batches_csv(m: Job) -> str:
    """What to weigh for vessel and test pieces, one row an ingredient.

    A blend also from two pastes mixed alone.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        Volumes in ml, masses in g to the step of the scale.
    """
    scale = m.response.vessel.mixing.scale
    header = ("for", "paste", "paste_ml", "way", "ingredient", "mass_g")
    rows = []
    made = [("the vessel", b) for b in m.batches] + [("test pieces", b) for b in m.piece_batches]
    for use, batch in made:
        powders = [*batch.powders, ("binder", batch.binder), ("water", batch.water)]
        for way, parts in (("powders", powders), ("ready pastes", batch.ready)):
            rows += [
                (use, batch.material, f"{1e6 * batch.volume:.2f}", way, name, grams(mass, scale))
                for name, mass in parts
            ]
    return table(header, rows)


def changeovers_csv(m: Job) -> str:
    """Each change of paste; layer 0 stands for before the print begins.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        Volumes in ml.
    """
    header = (
        "from", "to", "joint_mm", "joint_above_layer", "changeover_in_layer", "extruded_before_ml",
        "new_paste_from_layer", "pure_from_layer", "passes_until_pure_ml",
    )  # fmt: skip
    rows = (
        (
            s.below, s.above, f"{1e3 * s.step:.3f}", round(s.step / m.green.layer), s.layer,
            f"{1e6 * s.extruded:.2f}", s.begins, s.done, f"{1e6 * s.passes:.2f}",
        )
        for s in m.changeovers
    )  # fmt: skip
    return table(header, rows)


def pieces_csv(m: Job) -> str:
    """Each reading of each test piece.

    Parameters
    ----------
    m : Job
        From `job_for`.

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
            f"{1e3 * p.thickness:.2f}", p.layers, f"{1e6 * p.paste:.1f}", r.what,
            expected(r.value, r.unit), r.unit, r.stop, "; ".join(p.decides), p.note,
        )
        for p in m.pieces
        for r in p.readings
    )  # fmt: skip
    return table(header, rows)


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


def said(unit: str) -> str:
    """A unit as a sentence has it.

    Parameters
    ----------
    unit : str
        As files have it.

    Returns
    -------
    str
        With a raised power of ten.
    """
    return "× 10⁻⁶/K" if unit == "1e-6/K" else unit


# ----------------------------------------------------------------------------------------------
# What to print, weigh, change and test, in a few screenfuls

WIDTH = 100


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    hang = first if rest is None else rest
    return wrapped(first + text, len(hang), WIDTH) if text else []


UNEVEN = 1.1
"""Where the widest wall wanted is so many times the thinnest, both are told: our choice. [-]"""


def _thinnest(m: Job) -> str:
    """In which layer the printed wall is thinnest, as a clause; empty where it is even."""
    wall = m.green.wall
    stands = wall.height >= wall.base
    wanted = m.green.fired.width[stands]
    if wanted.max() < UNEVEN * wanted.min():
        return ""
    at = float(wall.height[stands][int(np.argmin(wall.width[stands]))])
    layer = min(int(at / m.green.layer) + 1, sum(m.green.layers))
    return f", thinnest in layer {layer}"


def _print_lines(m: Job) -> list[str]:
    """The print: size, layers, how well it fires to size, and how far it leans."""
    wall, fired = m.green.wall, m.green.fired
    lines = _wrapped(
        f"Print {1e3 * wall.height[-1]:.1f} mm high and {2e3 * wall.outside.max():.1f} mm wide, in "
        f"{sum(m.green.layers)} layers of {1e3 * m.green.layer:.4f} mm (set this, so that a whole "
        f"number reaches the rim). It fires to {1e3 * fired.height[-1]:.1f} by "
        f"{2e3 * fired.outside.max():.1f} mm."
    )
    if m.refired is not None:
        laid = " as its changes of paste leave it" if m.check.smeared else ""
        text = (
            f"Dried and fired again by the model from this print{laid}, its faces come within "
            f"{math.ceil(1e5 * m.refired.miss) / 100:.2f} mm of those wanted"
        )
        if m.refired.edge_miss.size:
            worst = 1e3 * float(np.abs(m.refired.edge_miss).max())
            text += f", its joints within {worst:.2f} mm (whole layers)"
        lines += _wrapped(text + ".")
    pull = 1e3 * np.abs(m.green.settled * fired.radius)
    if pull.max() > 0.05:
        at = 1e3 * float(fired.height[int(np.argmax(pull))])
        lines += _wrapped(
            f"The bands' pull on each other moves the wall by up to {pull.max():.2f} mm, {at:.0f} "
            "mm up; the print allows for it. A joint ring shows whether it is so."
        )
    lines += _wrapped(" ".join(part for part in (roads_line(m), floor_line(m)) if part))
    steep = m.overhangs[-1]
    over = [o for o in m.overhangs if o.over]
    lines += _wrapped(
        f"Steepest in layer {steep.layer}: {math.degrees(steep.lean):+.0f}° from upright, "
        f"{1e3 * steep.offset:.2f} mm beyond the layer below; "
        f"{'TOO FAR: ' if over else ''}half a road, {1e3 * steep.limit:.2f} mm, is common practice."
    )
    beside: dict[Overhang, list[str]] = {}
    for n, o in enumerate(m.overhangs[:-1], 1):
        beside.setdefault(replace(o, where=""), []).append(f"{n}|{n + 1}")
    for o, joints in beside.items():
        added = math.degrees(o.lean - o.wanted)
        if o.over or abs(added) > 1.0:
            lines += _wrapped(
                f"{'TOO FAR: b' if o.over else 'B'}eside the joint of bands {', '.join(joints)}: "
                f"leans {math.degrees(o.lean):+.1f}° in layer {o.layer}, {added:+.1f}° of it from "
                "the different shrinkage."
            )
    return lines


OFF_NOZZLE = 0.1
"""By which a road may be laid wider or narrower than the nozzle: common practice. [-]"""


def roads_line(m: Job) -> str:
    """How many roads of the nozzle the wall is, as it is laid, and how wide each must be.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        A sentence; two where roads do not go into the wall evenly.
    """
    width, nozzle = m.green.wall.width, m.response.vessel.printer.nozzle
    count = np.maximum(np.round(width / nozzle), 1.0)
    each = width / count
    least, most = int(count.min()), int(count.max())
    number_of = f"{least} to {most} roads" if most > least else f"{least} road{'s' * (least > 1)}"
    text = (
        f"The wall is {_span(width)} mm wide as laid{_thinnest(m)}: {number_of} of {_span(each)} "
        f"mm with a nozzle of {1e3 * nozzle:.2f} mm."
    )
    off = float(np.abs(each / nozzle - 1.0).max())
    if off > OFF_NOZZLE:
        text += (
            f" That is {100 * off:.0f} % off the nozzle: let the slicer set the road, or take "
            "another wall."
        )
    return text


def floor_line(m: Job) -> str:
    """How many layers the floor is, and how thick it fires.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        A sentence; empty without a floor.
    """
    count = m.green.floor_layers
    if not count:
        return ""
    text = f"The floor is {counted(count, 'layer')}, {1e3 * m.green.wall.base:.2f} mm as printed"
    if m.refired is not None:
        text += (
            f" and {1e3 * m.refired.wall.base:.2f} mm fired for {1e3 * m.green.fired.base:.2f} mm "
            "wanted"
        )
    return f"{text}."


def _span(lengths: np.ndarray) -> str:
    """Least and most of some lengths in mm, as one where they read alike."""
    low, high = (f"{1e3 * float(one):.2f}" for one in (lengths.min(), lengths.max()))
    return low if low == high else f"{low} to {high}"


LEAST_TOLD = 5e-8
"""Volume of paste that a tenth of a millilitre does not show. [m³]"""


def _band_lines(m: Job) -> list[str]:
    """Bands from the foot up, and what to weigh."""
    scale = m.response.vessel.mixing.scale
    lines = ["", f"{'layers':>9} {'from mm':>8} {'to mm':>7} {'paste ml':>9} {'own %':>6}"
             f" {'wet g':>7} {'dry g':>7} {'fired g':>7}  bands from the foot up"]  # fmt: skip
    last = np.cumsum(m.green.layers)
    for n, band in enumerate(m.bands):
        low, high = (1e3 * float(e) for e in m.green.wall.edges[n : n + 2])
        span = f"{last[n] - m.green.layers[n] + 1}-{last[n]}"
        lines.append(
            f"{span:>9} {low:8.2f} {high:7.2f} {1e6 * band.volume:9.1f}"
            f" {100.0 * band.own_share:6.1f} {1e3 * band.wet:7.1f} {1e3 * band.dry:7.1f}"
            f" {1e3 * band.fired:7.1f}  {band.material}"
        )
    if len(m.bands) > 1:
        wet, dry, fired = np.sum([(b.wet, b.dry, b.fired) for b in m.bands], axis=0) * 1e3
        lines += _wrapped(
            f"In all {wet:.1f} g wet, {dry:.1f} g dry, {fired:.1f} g fired. Each band is weighed "
            "as the changes of paste leave it; own % is how much of it is its own paste, by volume."
        )
    lines += ["", f"weigh, to {1e3 * scale:g} g:"]
    early = any(change.extruded < 0.0 for change in m.changeovers)
    rest = f"{'run out before the print or ' if early else ''}left in the feed"
    return lines + _weigh_lines(m.batches, scale, "the wall", rest)


def _weigh_lines(made: Sequence[Batch], scale: float, where: str, rest: str) -> list[str]:
    """What to weigh for some batches, and where it stands."""
    lines: list[str] = []
    for batch in made:
        parts = [*batch.powders, ("binder", batch.binder), ("water", batch.water)]
        held = ", ".join(f"{grams(mass, scale)} g {name}" for name, mass in parts)
        feed = f", {1e6 * batch.dead:.1f} {rest}" if batch.dead >= LEAST_TOLD else ""
        lines += _wrapped(
            f"{batch.material}: {held}. {1e6 * batch.volume:.1f} ml: {1e6 * batch.wall:.1f} in "
            f"{where}, {1e6 * batch.waste:.1f} for waste{feed}.", "  ", "    ",
        )  # fmt: skip
        if batch.off > COARSE_SCALE:
            lines += _wrapped(
                f"too little for the scale: {batch.worst} is off by {100 * batch.off:.0f} %; use "
                "a finer one, or make more", "    ",
            )  # fmt: skip
        if batch.ready:
            mixed = " and ".join(f"{grams(mass, scale)} g of {name}" for name, mass in batch.ready)
            lines += _wrapped(f"or of the ready pastes {mixed}", "    ")
    return lines


def _cost_lines(m: Job) -> list[str]:
    """What it costs, where the file says."""
    if m.cost is None:
        return []
    return ["", *_wrapped(cost_line(m.cost, m.response.vessel.prices))]


def cost_line(cost: Cost, prices: Prices | None) -> str:
    """What powders, current and hours cost, and what has no price.

    Parameters
    ----------
    cost : Cost
        From `cofire.production.paste`.
    prices : Prices or None
        With the currency.

    Returns
    -------
    str
        Without a full stop.
    """
    unit = f" {prices.currency}" if prices else ""
    parts = [f"{name} {price:.2f}" for name, price in cost.powders]
    if cost.energy is not None:
        energy = cost.energy / JOULES_PER_KILOWATT_HOUR
        parts.append(f"firing {cost.firing:.2f} ({energy:.1f} kWh)")
    if cost.time is not None:
        parts.append(f"time {cost.time:.2f} ({cost.length / HOUR:.1f} h)")
    text = f"cost: {cost.total:.2f}{unit.rstrip()} ({', '.join(parts)})"
    if cost.pieces > 0.0:
        text += f"; powders of the test pieces besides: {cost.pieces:.2f}{unit.rstrip()}"
    if cost.unpriced:
        text += f"; without a price: {', '.join(cost.unpriced)}"
    return text


def run_out(changes: Sequence[Changeover], number: int) -> str:
    """What to run out beside the print after a change of paste that is due before it begins.

    Parameters
    ----------
    changes : sequence of Changeover
        Of the print, from below.
    number : int
        Of the change, from 0. [-]

    Returns
    -------
    str
        A clause in ASCII letters; empty where the change is due in the print.
    """
    volume = 1e6 * changes[number].run_out
    if changes[number].extruded >= 0.0:
        return ""
    again = any(change.extruded < 0.0 for change in changes[number + 1 :])
    then = "change again" if again else "begin it"
    return f"after the change run {volume:.2f} ml out beside the print, then {then}"


def _changeover_lines(m: Job) -> list[str]:
    """When to change the paste, and whether the smear matters."""
    lines: list[str] = []
    if m.changeovers:
        printer = m.response.vessel.printer
        lines += ["", *_wrapped(
            f"change pastes, so that the nozzle gives half of each at the joint; "
            f"{1e6 * printer.dead_volume:g} ml from the change to the nozzle, mixing as "
            f"{counted(printer.tanks, 'stirred tank')} in series (1 wholly, many not at all; "
            "measure both with a coloured paste):"
        )]  # fmt: skip
    for n, s in enumerate(m.changeovers):
        when = f"in layer {s.layer}" if s.layer else "before the print begins"
        first = f"; {run_out(m.changeovers, n)}" if s.extruded < 0.0 else ""
        pure = f"pure from layer {s.done}"
        if s.done > sum(m.green.layers):
            pure = "not pure before the rim"
        lines += _wrapped(
            f"{when}: to {s.above}{first}; joint above layer {round(s.step / m.green.layer)}; new "
            f"paste from layer {s.begins}, {pure}, after {1e6 * s.passes:.1f} ml", "  ", "    ",
        )  # fmt: skip
    if m.changeovers:
        lines += _wrapped("pauses.csv has the whole layers to stop at, pause_*.gcode the lines.")
    for n, most in enumerate(m.purity):
        if most < DONE:
            lines += _wrapped(
                f"Band {n + 1}, {m.green.materials[n]}, is never pure: no layer of it gets more "
                f"than {100 * most:.0f} % of its own paste, as the verdict takes it."
            )
    return lines


def _piece_lines(m: Job) -> list[str]:
    """Test pieces with their readings."""
    if not m.pieces:
        return ["", "test pieces: none; no flag asks for one"]
    paste = sum(1e6 * p.paste for p in m.pieces)
    scale = m.response.vessel.mixing.scale
    lines = ["", *_wrapped(
        f"test pieces, {paste:.1f} ml of paste in all, in the layers and the firing of the vessel. "
        "What differs without stopping the plan corrects the card: run again. Besides the vessel's "
        f"own weigh, to {1e3 * scale:g} g:"
    )]  # fmt: skip
    lines += _weigh_lines(m.piece_batches, scale, "the pieces", "run out or left in the feed")
    for p in m.pieces:
        size = f"{1e3 * p.length:.1f} × {1e3 * p.width:.1f} × {1e3 * p.thickness:.2f} mm"
        if p.kind in (RING, LADDER):
            most = "up to " if p.kind == LADDER else ""
            size = (
                f"{most}{1e3 * p.length:.1f} mm wide, wall {1e3 * p.width:.1f} mm, "
                f"{1e3 * p.thickness:.1f} mm high"
            )
        note = f"; {p.note}" if p.note else ""
        lines += _wrapped(
            f"{p.count} × {p.kind}, {p.material}: {size}, {p.layers} layers{note}", "  ", "    "
        )
        lines += _wrapped(f"for {'; '.join(p.decides)}", "    ")
        told = [
            f"{r.what} {expected(r.value, r.unit)} {said(r.unit)}" for r in p.readings if r.unit
        ]
        if told:
            lines += _wrapped(f"expect: {'; '.join(told)}", "    ")
        if p.kind == LADDER:
            for r in p.readings:
                lines += _wrapped(f"{r.what} ____", "    ", "      ")
        for r in p.readings:
            if r.stop:
                lines += _wrapped(f"STOP: {r.what}: {r.stop}", "    ", "      ")
    return lines


def job_text(m: Job) -> str:
    """Print, pastes, changeovers and test pieces.

    Parameters
    ----------
    m : Job
        From `job_for`.

    Returns
    -------
    str
        Ends in a new line.
    """
    flag = m.verdict.deciding
    lines = _wrapped(
        f"{m.response.vessel.name}: {m.verdict.word}, decided by {flag.rule}, {flag.zone}"
    )
    for hazard in cautions(m.response):
        if hazard.hazard in AT_THE_KILN:
            lines += _wrapped(f"! {hazard.hazard}: {hazard.text}")
    lines += (
        _print_lines(m)
        + _wrapped(packing_words(m.packing))
        + _band_lines(m)
        + _cost_lines(m)
        + _changeover_lines(m)
        + _piece_lines(m)
    )
    for line in m.missing:
        lines += ["", *_wrapped(f"not computed: {line}")]
    for line in m.response.history.extended:
        lines += ["", *_wrapped(f"beyond its table: {line}")]
    return "\n".join(lines) + "\n"
