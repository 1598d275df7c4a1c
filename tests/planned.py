"""Small vessels to plan, random limits for them, and an independent check that limits are kept."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from scipy.stats import gamma

from cofire.inputs.vessel import JointLimits, Vessel
from cofire.planning.transition import Layout
from tests.fired import TEA_LIGHT, written_vessel

CONE = """
name = "cone"
[profile]
shape = "cone"
radius_mm = 30
rim_radius_mm = 45
height_mm = 70
wall_mm = 4
[[band]]
material = "fritted body"
to_mm = 35
[[band]]
material = "fine silver"
[firing]
segment = [ { to_C = 860, rate_C_per_h = 150, hold_min = 60 } ]
"""


@cache
def tea_light_to_plan() -> Vessel:
    """60 mm tall, silver below; at most two blends over at most 30 mm."""
    vessel = written_vessel(TEA_LIGHT)
    return replace(vessel, joint=JointLimits(2, 30e-3, 18e-3, 30e-3, 6e-3))


def random_vessel(draw: np.random.Generator) -> Vessel:
    """A cylinder or a cone with random limits and a random printer."""
    vessel = written_vessel(TEA_LIGHT if draw.random() < 0.5 else CONE)
    top = float(vessel.height[-1])
    ends = np.sort(draw.uniform(0.0, top, 2))
    if draw.random() < 0.3:
        ends[1] = ends[0]  # one place
    limits = JointLimits(
        blends=int(draw.integers(0, 9)),
        height=float(draw.choice([0.0, draw.uniform(1e-3, top)])),
        lowest=float(ends[0]),
        highest=float(ends[1]),
        keep=float(draw.uniform(0.0, 0.3 * top)),
    )
    printer = replace(
        vessel.printer,
        layer=float(draw.uniform(0.1e-3, 1.5e-3)),
        dead_volume=float(10.0 ** draw.uniform(-7.0, -5.3)),
        tanks=float(draw.uniform(1.0, 12.0)),
    )
    return replace(vessel, joint=limits, printer=printer)


def broken_limits(vessel: Vessel, layout: Layout) -> list[str]:
    """Which limits a layout breaks, worked out anew from the vessel's own numbers."""
    joint, layer, hair = vessel.joint, vessel.printer.layer, 1e-8
    top = float(vessel.height[-1])
    foot = layout.middle - 0.5 * layout.height * len(layout.shares)
    rim = layout.middle + 0.5 * layout.height * len(layout.shares)
    range_slack = 0.5 * max(layer - (joint.highest - joint.lowest), 0.0)  # one place: half a layer
    # smear: volume between 5 and 95 % of new paste behind n stirred tanks in series
    n, dead = vessel.printer.tanks, vessel.printer.dead_volume
    smeared = dead / n * (gamma.ppf(0.95, n) - gamma.ppf(0.05, n))
    z = np.linspace(foot, rim, 50)
    section = 2.0 * np.pi * np.interp(z, vessel.height, vessel.radius)
    section = section * np.interp(z, vessel.height, vessel.wall)
    checks = {
        "blends": len(layout.shares) <= joint.blends,
        "shares fall": all(
            a > b for a, b in zip((100, *layout.shares), (*layout.shares, 0), strict=True)
        ),
        "shares in steps of 5": all(s % 5 == 0 for s in layout.shares),
        "height": rim - foot <= joint.height + hair,
        "position": joint.lowest - range_slack - hair
        <= layout.middle
        <= joint.highest + range_slack + hair,
        "keep": foot >= joint.keep - hair and rim <= top - joint.keep + hair,
        "a zone at each end": foot > 0.0 and rim < top,
        "foot on a layer": abs(foot / layer - round(foot / layer)) < 1e-5,
        "whole layers": abs(layout.height / layer - round(layout.height / layer)) < 1e-5,
        "smear": not layout.shares or layout.height * section.min() >= smeared * (1.0 - 1e-6),
    }
    return [name for name, kept in checks.items() if not kept]
