"""The pot at true proportions: its zones, how much each joint bears, and the worst place."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from cofire.assessment.check import worst_by_joint, worst_place
from cofire.assessment.rule import GO
from cofire.assessment.verdict import rule_of
from cofire.numerics import Array
from cofire.production.green import Wall, wall_of_vessel
from cofire.report.figures import literal, spread
from cofire.report.job_figures import (
    HEIGHT,
    INK,
    OF_SIZE,
    PLAIN,
    ROW,
    SMALL,
    WIDTH,
    band_names,
    colour,
    fired_height,
    stretches,
)
from cofire.report.verdict import number, place

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cofire.assessment.check import Check
    from cofire.assessment.response import Response
    from cofire.assessment.rule import Flag
    from cofire.production.job import Job

MARKS = ("o", "^", "X")
"""Of a joint whose limits are kept, near, passed; their shape alone tells them apart."""
SIGNS = ("○", "△", "✕")
"""The same in a text."""
LETTERS = 9.0
"""Size of letters. [pt]"""
LINE = 0.16
"""Least distance of two labels. [inch]"""
RIGHT = 1.35
"""Room beside a pot for what its joints bear. [inch]"""
BESIDE, LETTER = 0.25, OF_SIZE * LETTERS
"""Room for the names of its zones: for the lines to them, and for each letter. [inch]"""
TALL, WIDE = 3.7, 2.5
"""Highest and widest that a pot is drawn. [inch]"""
LONGEST, LINES = 17, 2
"""Characters of a line of a zone's name, and its lines. [-]"""
BESIDE_WALL = 0.7
"""Of a star's size: its middle from the inside of the wall. [-]"""
LITTLE = 0.01
"""Of a limit: told by one figure, there is no room for more. [-]"""
SHARE, FEW = 0.5, 0.02
"""Share of metal from which a zone is drawn as a metal's, and from which as a blend. [-]"""


def fired_wall(response: Response) -> Wall:
    """The wall of a vessel in its fired size.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    Wall
        With the ends of its bands.
    """
    return wall_of_vessel(response.vessel)


def hatch(share: float) -> dict[str, Any]:
    """How a zone is filled, so that metal, blend and ceramic differ without colour.

    Parameters
    ----------
    share : float
        Metal of its solid volume. [-]

    Returns
    -------
    dict
        Of a polygon's looks.
    """
    lines = "" if share < FEW else "////" if share > 1.0 - FEW else "..."
    return {
        "fc": colour(np.asarray(share)),
        "ec": "0.75" if share > SHARE else "0.35",
        "hatch": lines,
        "lw": 0.0,
    }


def used(flag: Flag | None) -> tuple[int, str]:
    """How a joint fares: its grade, and the share of its limit that is used up in words.

    Parameters
    ----------
    flag : Flag or None
        From `worst_by_joint`.

    Returns
    -------
    tuple of int and str
        0, 1 or 2 for kept, near, passed; a question mark where it could not be computed.
    """
    if flag is None:
        return 0, ""
    if flag.utilisation != flag.utilisation:
        return flag.grade, "?"
    little = 0.0 < flag.utilisation < LITTLE
    return flag.grade, f"{flag.utilisation:.1g}" if little else number(flag.utilisation)


def mark(axes: Axes, flag: Flag | None, x: float, y: float, size: float = 6.0) -> None:
    """The mark of a joint, on its place.

    Parameters
    ----------
    axes : Axes
        Where.
    flag : Flag or None
        From `worst_by_joint`.
    x, y : float
        In the units of the axes. [mm]
    size : float
        [pt]
    """
    grade, _ = used(flag)
    size = 1.25 * size if MARKS[grade] == "X" else size
    axes.plot(
        x, y, MARKS[grade], ms=size, mfc="white" if grade < 2 else INK, mec=INK, mew=0.9, zorder=6
    )


def star(axes: Axes, wall: Wall, flag: Flag, size: float = 11.0) -> None:
    """A star at the height where a wall is worst, if any, clear of the marks on its joints.

    Parameters
    ----------
    axes : Axes
        In mm.
    wall : Wall
        As fired.
    flag : Flag
        From `worst_place`.
    size : float
        [pt]
    """
    from matplotlib.transforms import ScaledTranslation

    if flag.height is not None:
        figure: Any = axes.get_figure()
        inwards = ScaledTranslation(-BESIDE_WALL * size / 72.0, 0.0, figure.dpi_scale_trans)
        axes.plot(
            1e3 * float(wall.at(wall.inside, flag.height)), 1e3 * flag.height, "*", ms=size,
            mfc="white", mec=INK, mew=1.0, zorder=7, transform=axes.transData + inwards,
        )  # fmt: skip


def worst_words(check: Check) -> str:
    """What decides, and its worst place and moment, in a few words.

    Parameters
    ----------
    check : Check
        From `check_vessel`.

    Returns
    -------
    str
        What happens beyond the limit, share of it, moment and height.
    """
    when = place(worst_place(check))
    flag = check.verdict.deciding
    share = used(flag)[1]
    happens = rule_of(flag).happens(flag.grade) or flag.rule
    told = f"{happens}: {share} of its limit" if share else happens
    if share and check.verdict.grade == GO:  # it does not happen
        told = f"nearest to a limit, {flag.rule}: {share} of it"
    return f"★ {told}" + (f"\n{when}" if when else "")


def _band(
    axes: Axes, wall: Wall, number: int, side: float, share: float | None, line: float = 0.7
) -> None:
    """The cut wall of one band on one side of the axis, with its piece of the base.

    Without a share only its outline.
    """
    low, high = float(wall.edges[number]), float(wall.edges[number + 1])
    between = wall.height[(wall.height > low) & (wall.height < high)]
    z = np.concatenate([[low], between, [high]])
    inner = z if wall.base <= low else np.concatenate([[min(wall.base, high)], z[z > wall.base]])
    r_out, r_in = wall.at(wall.outside, z), wall.at(wall.inside, inner)
    if low < wall.base:  # the base, as far up as this band reaches
        inner = np.concatenate([[low, inner[0]], inner])
        r_in = np.concatenate([[0.0, 0.0], r_in])
    x = 1e3 * side * np.concatenate([r_out, r_in[::-1]])
    y = 1e3 * np.concatenate([z, inner[::-1]])
    if share is not None:
        axes.fill(x, y, **hatch(share), zorder=2)
    if line:
        axes.plot(np.append(x, x[0]), np.append(y, y[0]), color=INK, lw=line, zorder=3)


def _outside(axes: Axes, wall: Wall, number: int, share: float) -> None:
    """The left half of one zone seen from outside."""
    low, high = float(wall.edges[number]), float(wall.edges[number + 1])
    z = np.concatenate([[low], wall.height[(wall.height > low) & (wall.height < high)], [high]])
    x = np.concatenate([-1e3 * wall.at(wall.outside, z), [0.0, 0.0]])
    y = 1e3 * np.concatenate([z, [high, low]])
    axes.fill(x, y, **hatch(share), zorder=2)
    axes.plot(x[:-2], y[:-2], color=INK, lw=1.0, zorder=4)
    axes.plot([x[-3], 0.0], [1e3 * high] * 2, color=INK, lw=0.7, zorder=4)


def _labels(axes: Axes, places: Array, edges: Array, texts: list[str], way: float) -> None:
    """Texts beside the pot with lines to their places; axes in mm, `way` tells the side."""
    figure: Any = axes.get_figure()
    inch = float(np.ptp(axes.get_xlim())) / (axes.get_position().width * figure.get_figwidth())
    gap = _line(texts) * inch
    stands = _stands(places, gap)
    out = float(np.abs(edges).max(initial=0.0))
    for at, edge, stand, text in zip(places, edges, stands, texts, strict=True):
        line = [edge, out + 0.06 * inch, out + 0.16 * inch]
        axes.plot(way * np.array(line), [at, at, stand], color="0.35", lw=0.6, zorder=5)
        axes.text(
            way * (out + 0.2 * inch), stand, text, fontsize=LETTERS, va="center", color=INK,
            ha="right" if way < 0.0 else "left",
        )  # fmt: skip


def _names(response: Response) -> list[str]:
    """The zones as they are named beside the pot."""
    return [
        "\n".join(textwrap.wrap(name, LONGEST, max_lines=LINES, placeholder="…"))
        for name in band_names(response)
    ]


def _stands(places: Array, gap: float) -> Array:
    """Where the middles of labels stand, near their places and none on the ground."""
    top = max(float(places.max(initial=0.0)), gap * places.size)
    half = 0.5 * gap
    return half + spread(np.maximum(places - half, 0.0), gap, top - half)


def _line(texts: Sequence[str]) -> float:
    """Least distance of the middles of two of some texts. [inch]"""
    return LINE * max((1 + text.count("\n") for text in texts), default=1)


def draw_pot(axes: Axes, check: Check) -> None:
    """One pot: left the outside, right the cut wall, zones named, joints and worst place marked.

    Parameters
    ----------
    axes : Axes
        Equal scales in mm, limits set.
    check : Check
        From `check_vessel`.
    """
    response = check.designed
    wall = fired_wall(response)
    shares = [float(card.metal_share) for card in response.cards]
    inner = wall.height >= wall.base
    corner = 1e3 * float(wall.at(wall.inside, wall.base))
    hollow = np.concatenate([[0.0, corner], 1e3 * wall.inside[inner], [0.0]])
    up = 1e3 * np.concatenate([[wall.base] * 2, wall.height[inner], wall.height[-1:]])
    axes.fill(hollow, up, fc="0.95", ec=INK, lw=0.7, zorder=1)
    printed = check.printed if check.smeared else response
    cut = wall_of_vessel(printed.vessel)
    for band, card in enumerate(printed.cards):
        _band(axes, cut, band, 1.0, float(card.metal_share), line=0.0 if check.smeared else 0.7)
    for band, share in enumerate(shares):
        _outside(axes, wall, band, share)
        if check.smeared:
            _band(axes, wall, band, 1.0, None)
    axes.plot([0.0, 0.0], [0.0, 1e3 * wall.height[-1]], color=INK, lw=0.6, ls=(0, (8, 3, 2, 3)))
    axes.axhline(0.0, color=INK, lw=1.0, zorder=5)
    middles = 0.5 * (wall.edges[1:] + wall.edges[:-1])
    names = _names(response)
    _labels(axes, 1e3 * middles, 1e3 * wall.at(wall.outside, middles), names, -1.0)
    joints = worst_by_joint(check)
    at = wall.edges[1:-1]
    out = 1e3 * wall.at(wall.outside, at)
    texts = [
        f"{1e3 * z:.1f}:  {used(f)[1]} {SIGNS[used(f)[0]]}" for z, f in zip(at, joints, strict=True)
    ]
    _labels(axes, 1e3 * at, out, texts, 1.0)
    for z, x, flag in zip(at, out, joints, strict=True):
        mark(axes, flag, x, 1e3 * z)
    star(axes, wall, worst_place(check))


@literal
def pot_figure(check: Check, given: Check | None = None) -> Figure:
    """A vessel at true proportions, as given beside as proposed where both are given.

    Parameters
    ----------
    check : Check
        Of the vessel, or of what is proposed for it.
    given : Check, optional
        Of what was asked for.

    Returns
    -------
    Figure
        Hatched or dark is metal; beside each joint its height and the largest share of a limit that
        it uses up; a star where the worst limit is used up most, and when.
    """
    from matplotlib.figure import Figure

    pots = [("as it is", check)] if given is None else [("as given", given), ("as proposed", check)]
    walls = [fired_wall(c.designed) for _, c in pots]
    high = 1e3 * max(float(wall.height[-1]) for wall in walls)
    widest = 1e3 * max(float(wall.outside.max()) for wall in walls)
    rows = max(len(c.cards) for _, c in pots)
    scale = min(TALL / high, WIDE / (2.0 * widest))  # inch a mm
    names = [name for _, c in pots for name in _names(c.designed)]
    tall = max(scale * high, _line(names) * rows) + 0.12
    letters = max(len(line) for name in names for line in name.split("\n"))
    before = BESIDE + LETTER * letters
    panel = before + 2.0 * scale * widest + RIGHT
    above, below = 0.65, 0.95
    columns = 1 if high < 1.5 * widest else len(pots)  # low and wide: one above the other
    lines = len(pots) // columns
    room = panel if columns > 1 else max(panel, 4.4)
    wide = int(room / LETTER)
    told = ["\n".join(textwrap.fill(s, wide) for s in worst_words(c).split("\n")) for _, c in pots]
    foot = 0.55 + 1.3 * LETTERS / 72.0 * max(0, *(text.count("\n") - 1 for text in told))
    each = 0.3 + tall + foot
    size = (max(columns * panel, 4.4), above - 0.3 + lines * each + below - 0.55)
    figure = Figure(figsize=size)
    for n, (words, one) in enumerate(pots):
        column, line = (n % columns, n // columns)
        left = column * panel + 0.5 * (size[0] - columns * panel)
        bottom = size[1] - (above - 0.3) - (line + 1) * each + foot
        axes = figure.add_axes((left / size[0], bottom / size[1], panel / size[0], tall / size[1]))
        axes.set_axis_off()
        axes.set_xlim(-widest - before / scale, widest + RIGHT / scale)
        axes.set_ylim(-0.03 / scale, (tall - 0.03) / scale)
        draw_pot(axes, one)
        middle = (left + before + scale * widest) / size[0]
        figure.text(
            middle, (bottom + tall + 0.06) / size[1], f"{words}: {one.word.upper()}",
            fontsize=LETTERS + 2.0, weight="bold", ha="center", va="bottom", color=INK,
        )  # fmt: skip
        figure.text(
            middle, (bottom - 0.07) / size[1], told[n], fontsize=LETTERS,
            ha="center", va="top", color=INK,
        )  # fmt: skip
    name = textwrap.fill(check.vessel.name, int(size[0] * 8))
    figure.text(0.5, 1.0 - 0.08 / size[1], name, fontsize=LETTERS + 3.0, ha="center", va="top",
                color=INK)  # fmt: skip
    key = (
        f"Beside a joint: mm up, and the share of a limit used up: {SIGNS[0]} kept, "
        f"{SIGNS[1]} near, {SIGNS[2]} passed. ★ what decides. Hatched: metal, dotted: blend."
    )
    if any(c.smeared for _, c in pots):
        key += " Cut wall: as the pastes mix at each change."
    figure.text(
        0.5, 0.06 / size[1], textwrap.fill(key, int(size[0] * 12.5)), fontsize=LETTERS - 1.0,
        ha="center", va="bottom", color=INK,
    )  # fmt: skip
    return figure


@literal
def section_picture(m: Job, inches: bool = False) -> Figure:
    """Left of the axis the wall as printed, right of it as fired, with what each joint bears there.

    Parameters
    ----------
    m : Job
        From `job_for`.
    inches : bool
        Whether to show inches in the place of mm.

    Returns
    -------
    Figure
        Bands by number, heights in mm; filled with what the changes of paste leave in the wall,
        dark and hatched metal, dotted a mixture; beside each joint as fired the
        largest share of a limit that it uses up, and a star at the worst place.
    """
    from matplotlib.figure import Figure

    green = m.green.wall
    fired = m.refired.wall if m.refired is not None else m.green.fired
    top = 1e3 * float(green.height[-1])
    wide = 1e3 * np.array([green.outside.max(), fired.outside.max()])
    unit = "in" if inches else "mm"

    def long(z: float) -> str:
        return f"{z / 0.0254:.2f}" if inches else f"{1e3 * z:.1f}"

    ends = zip(np.cumsum(m.green.layers), green.edges[1:], strict=True)
    layers = [f"{n},  {long(z)}" for n, z in ends]
    joints = worst_by_joint(m.check)
    texts = [
        f"{long(z)},  {used(flag)[1]} {SIGNS[used(flag)[0]]}"
        for z, flag in zip(fired.edges[1:-1], joints, strict=True)
    ]
    texts.append(long(fired.edges[-1]))
    # room for labels: their line, then what is written there [inch]
    below, above = 0.04, 0.42
    left, right = (
        max(0.72, 0.18 + OF_SIZE * SMALL * max(len(text) for text in side))
        for side in (layers, texts)
    )
    free = WIDTH - left - right
    scale = min((HEIGHT - below - above) / top, free / wide.sum())  # inch a mm
    labels = ROW * HEIGHT * len(m.response.cards)
    high = max(scale * top, labels) + below + above
    figure = Figure(figsize=(WIDTH, high))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    centre = left + scale * wide[0] + 0.5 * (free - scale * wide.sum())
    axes.set_xlim(-centre / scale, (WIDTH - centre) / scale)
    axes.set_ylim(-below / scale, (high - below) / scale)
    axes.set_aspect("equal")
    cuts, shares = stretches(m)
    for wall, way, edges in ((green, -1.0, cuts), (fired, 1.0, fired_height(m, cuts))):
        for n, share in enumerate(shares):
            _band(axes, replace(wall, edges=edges), n, way, float(share), line=0.0)
        for band in range(len(m.response.cards)):
            _band(axes, wall, band, way, None)
    axes.plot([0, 0], [0.0, 1.02 * top], color=INK, lw=0.6, ls=(0, (8, 3, 2, 3)), zorder=2)
    axes.axhline(0.0, color=INK, lw=0.9, zorder=1)
    up = _beside(axes, green, layers, -1.0, 1.0 / scale)
    up = max(up, _beside(axes, fired, texts, 1.0, 1.0 / scale))
    for z, flag in zip(fired.edges[1:-1], joints, strict=True):
        mark(axes, flag, 1e3 * float(fired.at(fired.outside, z)), 1e3 * float(z), 4.0)
    star(axes, fired, worst_place(m.check), 7.0)
    _numbers(axes, green, fired, 1.0 / scale)
    up = max(up, top) + 0.12 / scale
    head: dict[str, Any] = {"fontsize": SMALL, "va": "bottom", "color": INK}
    axes.text(-0.1 / scale, up, f"printed: after layer,\n{unit} up", ha="right", **head)
    axes.text(0.1 / scale, up, f"fired: {unit} up,\nlimit used", ha="left", **head)
    return figure


def _beside(axes: Axes, wall: Wall, texts: Sequence[str], way: float, inch: float) -> float:
    """Labels of the joints and the rim beside one wall; returns where the highest stands. [mm]"""
    places = 1e3 * wall.edges[1:]
    gap = ROW * HEIGHT * inch
    stands = _stands(places, gap)
    own = 1e3 * wall.at(wall.outside, wall.edges[1:])
    widest = 1e3 * float(wall.outside.max())
    line = np.array([0.05, 0.13]) * inch + widest
    for at, stand, text, edge in zip(places, stands, texts, own, strict=True):
        axes.plot(way * np.array([edge, *line]), [at, at, stand], color=PLAIN, lw=0.5)
        axes.text(
            way * (line[-1] + 0.02 * inch), stand, text, fontsize=SMALL, color=INK, va="center",
            ha="right" if way < 0.0 else "left",
        )  # fmt: skip
    return float(stands[-1])


def _numbers(axes: Axes, green: Wall, fired: Wall, inch: float) -> None:
    """Joints led from the printed to the fired wall, and the bands' numbers at the axis."""
    ends = (-1e3 * green.at(green.inside, green.edges), 1e3 * fired.at(fired.inside, fired.edges))
    heights = 1e3 * np.stack([green.edges, fired.edges])
    for x, z in list(zip(np.transpose(ends), heights.T, strict=True))[1:-1]:
        axes.plot(x, z, color=PLAIN, lw=0.5, ls=(0, (3, 2)), zorder=1)
    middles = 0.25 * (heights[:, 1:] + heights[:, :-1]).sum(axis=0)
    gap = 1.08 * ROW * HEIGHT * inch  # a number in its frame is a little higher than a row
    stands = spread(middles, gap, max(float(heights.max()), gap * middles.size))
    stands = np.maximum(stands, gap * (0.5 + np.arange(stands.size)))  # none below the ground
    for band, stand in enumerate(stands, 1):
        axes.text(
            0.0, stand, str(band), fontsize=SMALL + 0.7, ha="center", va="center", color=INK,
            weight="bold", zorder=5,
            bbox={"boxstyle": "round,pad=0.12", "fc": "white", "ec": INK, "lw": 0.5},
        )  # fmt: skip
