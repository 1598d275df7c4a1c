"""Random vessels, and what their reported peaks change by when everything is four times finer.

    python -m tests.random_vessels

prints a row a vessel. It takes some minutes on one core.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from cofire.assessment.response import CHECK_STEPS, POINTS, Response, band_stresses, fire_vessel
from cofire.firing.program import Firing
from cofire.mechanics.integrator import Control
from cofire.numerics import Array
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS, written_vessel

COUNT = 50
LIMIT = 0.01
KINDS = ("worst", "cold", "bending", "step")
EXAMPLES = Path(__file__).parents[1] / "examples"
FIRED = (
    ("fine silver", "fritted body", "silver_foot_vessel.toml"),
    ("fine silver", "fritted body", "silver_rim_vessel.toml"),
    ("copper", "talc body", "copper_foot_tumbler.toml"),
    ("iron", "leucite porcelain", "iron_foot_bowl.toml"),
)
"""Pairs that share a firing, and an example fired so."""


@dataclass(frozen=True)
class Fidelity:
    """How finely a vessel is solved; by default as `fire_vessel` does.

    The march is of second order and its steps grow as the cube root of their tolerance.
    """

    fineness: float = 1.0
    points: int = POINTS
    control: Control = CHECK_STEPS


USED = Fidelity()
FINE = Fidelity(
    4.0,
    9,
    replace(
        CHECK_STEPS,
        relative_tolerance=CHECK_STEPS.relative_tolerance / 64.0,
        stress_tolerance=CHECK_STEPS.stress_tolerance / 64.0,
        breakpoint_tolerance=CHECK_STEPS.breakpoint_tolerance / 16.0,
    ),
)


@cache
def firing_of(example: str) -> Firing:
    """The firing of an example."""
    return read_vessel(EXAMPLES / example, KILNS).firing


def drawn_vessel(seed: int) -> Vessel:
    """A vessel of random form, wall and bands, in a firing that its pair shares."""
    draw = np.random.default_rng(seed)
    while True:
        height = draw.uniform(60.0, 200.0)
        wall = draw.uniform(1.5, 8.0)
        z, r, lean = _profile(draw, height)
        most = min(7, int(height / (2.0 * wall)))
        if r.min() >= 15.0 and r.max() <= 60.0 and r.min() >= 5.5 * wall and lean < 0.8:
            break
    count = int(draw.integers(2, most + 1))
    free = draw.dirichlet(np.ones(count)) * (height - 2.0 * wall * count)
    edges = np.cumsum(free + 2.0 * wall)
    metal, ceramic, example = FIRED[draw.integers(len(FIRED))]
    shares = np.sort(draw.choice(np.arange(5, 100, 5), count - 2, replace=False))[::-1]
    names = [metal, *(f"{metal} + {ceramic} = {s}" for s in shares), ceramic]
    if draw.random() < 0.5:
        names.reverse()
    bands = [f'[[band]]\nmaterial = "{n}"' for n in names]
    bands = [
        f"{band}\nto_mm = {edge:.3f}" for band, edge in zip(bands[:-1], edges[:-1], strict=True)
    ] + bands[-1:]
    base = draw.choice(["open", "flat"])
    text = "\n".join(
        [
            f'name = "{seed}"',
            "[profile]",
            'csv = "profile.csv"',
            'surface = "middle"',
            f'base = "{base}"',
            *bands,
            "[firing]",  # replaced below
            "segment = [ { to_C = 100, rate_C_per_h = 100 } ]",
        ]
    )
    rows = "\n".join(f"{a:.4f},{b:.4f},{wall:.3f}" for a, b in zip(z, r, strict=True))
    return replace(written_vessel(text, f"z_mm,r_mm,wall_mm\n{rows}\n"), firing=firing_of(example))


def _profile(draw: np.random.Generator, height: float) -> tuple[Array, Array, float]:
    """Heights and radii [mm] of a cylinder, a cone or a belly, and its steepest slope."""
    form = draw.integers(3)
    first, second = draw.uniform(15.0, 60.0, 2)
    z = np.linspace(0.0, height, 13)
    if form == 0:
        z, r = z[[0, -1]], np.full(2, first)
    elif form == 1:
        z, r = z[[0, -1]], np.array([first, second])
    else:
        turns, phase = draw.uniform(0.5, 1.2), draw.uniform(0.0, np.pi)
        r = first + draw.uniform(3.0, 15.0) * np.sin(2.0 * np.pi * turns * z / height / 1.2 + phase)
    return z, r, float(np.abs(np.diff(r) / np.diff(z)).max())


def fired(vessel: Vessel, how: Fidelity) -> tuple[Response, float]:
    """The vessel's response, and what it cost. [s of CPU]"""
    start = time.process_time()
    response = fire_vessel(
        vessel, CARDS, control=how.control, fineness=how.fineness, points=how.points
    )
    return response, time.process_time() - start


def peaks(response: Response) -> Array:
    """Peaks of every band by kind, shape (kinds, bands). [Pa]"""
    return np.array(
        [
            [b.worst.tension, b.cold.tension, b.bending, b.step]
            for b in band_stresses(response)
        ]
    ).T  # fmt: skip


def changes(used: Array, fine: Array) -> tuple[Array, Array]:
    """Largest change over bands, and change of the largest peak, over the largest, by kind. [-]"""
    largest = np.abs(fine).max(axis=1)
    every = np.abs(used - fine).max(axis=1) / largest
    return every, np.abs(used.max(axis=1) - fine.max(axis=1)) / largest


def main() -> None:
    """Print the changes of all vessels, and how they are spread."""
    every, top = np.empty((COUNT, 4)), np.empty((COUNT, 4))
    print(
        "change in % of any band's peak over the largest, then of the largest peak itself:",
        ", ".join(KINDS),
    )
    for seed in range(COUNT):
        vessel = drawn_vessel(seed)
        used, cost = fired(vessel, USED)
        fine, fine_cost = fired(vessel, FINE)
        every[seed], top[seed] = changes(peaks(used), peaks(fine))
        numbers = " ".join(f"{100 * c:7.3f}" for c in (*every[seed], *top[seed]))
        print(
            f"{seed:3} {numbers}  {peaks(fine)[0].max() / 1e6:6.1f} MPa, "
            f"{used.fired.time.size} and {fine.fired.time.size} steps, "
            f"{used.fired.meridian.elements} elements, {cost:.2f} and {fine_cost:.1f} s  "
            f"{_told(vessel)}",
            flush=True,
        )
    for name, values in (("any band", every), ("largest", top)):
        for rule, row in (
            ("median", np.median(values, axis=0)),
            ("90 %", np.quantile(values, 0.9, axis=0)),
            ("worst", values.max(axis=0)),
        ):
            print(f"{name:9} {rule:7}", " ".join(f"{100 * v:7.3f}" for v in row))
        under = (values < LIMIT).sum(axis=0)
        print(f"{name:9} under 1 %", *under, "all kinds", int((values < LIMIT).all(axis=1).sum()))


def _told(vessel: Vessel) -> str:
    """Form and bands in a few words."""
    radius, wall = 1e3 * vessel.radius[vessel.radius > 0.0], 1e3 * vessel.wall[-1]
    base = "base" if vessel.radius[0] == 0.0 else "open"
    return (
        f"{radius.size} points, r {radius.min():.0f}-{radius.max():.0f}, "
        f"{1e3 * vessel.height[-1]:.0f} tall, wall {wall:.1f}, {base}, {len(vessel.bands)} bands, "
        f"{vessel.bands[0].material} below"
    )


if __name__ == "__main__":
    main()
