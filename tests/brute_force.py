"""Every layout and firing of coarse grids of our own, fired and judged: no search, no cleverness.

    python -m tests.brute_force

plans some vessels and prints how near each plan comes to the best that its grid holds. It takes
minutes; the tests do it with fewer.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from pathlib import Path

from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import Setting, frame
from cofire.design.objective import chances, draw, nominal, odds
from cofire.design.plan import propose
from cofire.design.transition import Layout
from cofire.firing.program import Firing
from cofire.vessel import Band, Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS
from tests.planned import broken_limits, cone_to_plan, pure_cards, tea_light_to_plan

EXAMPLES = Path(__file__).parents[1] / "examples"
CLOSEST = 3
"""So many of the grid's best by either measure are asked over samples."""
SAMPLES = 16


@dataclass(frozen=True)
class Grid:
    """Metal of a blend [%], heights of the tallest, places from lowest to highest, and choices."""

    shares: tuple[int, ...] = (10, 30, 50, 70, 90)
    heights: tuple[float, ...] = (0.5, 0.75, 1.0)
    places: tuple[float, ...] = (0.0, 0.5, 1.0)
    blends: tuple[int, ...] = (0, 1, 2, 3, 4)
    ramps: tuple[int, ...] = (0, 2, 4)
    coolings: tuple[int, ...] = (0, 2, 4)


TALL = Grid(
    shares=(5, 10, 15, 25, 35, 50, 60, 75, 85),
    blends=(0, 4, 6, 7, 8),
    heights=(0.75, 1.0),
    places=(0.0, 1.0),
    ramps=(0, 2),
    coolings=(0, 3),
)
"""For eight blends: more shares, fewer of all else."""


def every_layout(vessel: Vessel, grid: Grid) -> Iterator[Layout]:
    """All layouts of a grid that keep the limits, by the tests' own check of them."""
    joint, layer = vessel.joint, vessel.printer.layer
    for count in grid.blends:
        for shares, part, place in product(
            combinations(sorted(grid.shares, reverse=True), count),
            grid.heights if count else (1.0,),
            grid.places,
        ):
            layers = int(part * joint.height / max(count, 1) / layer + 1e-6)
            height = layer * layers if count else 0.0
            wanted = joint.lowest + place * (joint.highest - joint.lowest)
            foot = layer * round((wanted - 0.5 * count * height) / layer)
            layout = Layout(shares, height, foot + 0.5 * count * height)
            if not broken_limits(vessel, layout):
                yield layout


def with_bands(vessel: Vessel, layout: Layout) -> Vessel:
    """The vessel with a layout's bands."""
    metal, ceramic = sorted(pure_cards(vessel), key=lambda card: card.kind, reverse=True)
    names = [
        metal.name,
        *(f"{metal.name} + {ceramic.name} = {share}" for share in layout.shares),
        ceramic.name,
    ]
    if CARDS[vessel.bands[0].material].kind == "ceramic":
        names.reverse()
    foot = layout.middle - 0.5 * layout.height * len(layout.shares)
    edges = [foot + k * layout.height for k in range(len(layout.shares) + 1)]
    ends = zip([0.0, *edges], [*edges, float(vessel.height[-1])], strict=True)
    bands = [Band(name, low, high) for name, (low, high) in zip(names, ends, strict=True)]
    return replace(vessel, bands=tuple(bands))


def every_firing(vessel: Vessel, grid: Grid) -> list[Firing]:
    """All firings of a grid, and the one given."""
    whole = frame(vessel, CARDS)
    soaks = range(len(whole.soaks))
    settings = [Setting(*choice) for choice in product(soaks, grid.ramps, grid.coolings)]
    return [vessel.firing, *map(whole.fired, settings)]


def best_chances(vessels: Sequence[Vessel], planned: Vessel) -> tuple[float, float]:
    """Chance to be kept of the best of all and of the plan's vessel, over the same samples.

    With the cards as they stand all are asked, over the samples those that lead.
    """
    bench = Bench(CARDS, fineness=ROUGH)
    modulus = bench.zones(planned)[1]["weibull_modulus"].scalar
    asked = nominal(bench, vessels)
    known = [(o, v) for o, v in zip(asked, vessels, strict=True) if o is not None]
    by_chance = sorted(known, key=lambda pair: -chances(pair[0].flags, modulus)[0])
    by_load = sorted(known, key=lambda pair: pair[0].load)
    leading = [v for _, v in by_chance[:CLOSEST] + by_load[:CLOSEST]]
    some = [*leading, planned]
    found = odds(bench, draw(bench, planned, SAMPLES, 1), some, nominal(bench, some))
    *others, own = [0.0 if outcome is None else outcome.chance for outcome in found]
    return max(others), own


def whole_grid(vessel: Vessel, grid: Grid) -> list[Vessel]:
    """The vessel in every layout and every firing of a grid."""
    laid = [with_bands(vessel, layout) for layout in every_layout(vessel, grid)]
    return [replace(v, firing=f) for f in every_firing(vessel, grid) for v in laid]


def example(name: str) -> Vessel:
    """A shipped vessel."""
    return read_vessel(EXAMPLES / f"{name}.toml", KILNS)


def main() -> None:
    """Print a row a vessel."""
    named = ["copper_foot_tumbler", "iron_foot_bowl", "silver_rim_vessel"]
    some = [(vessel, Grid()) for vessel in [tea_light_to_plan(), cone_to_plan()]]
    some += [(example(name), Grid()) for name in named]
    some += [(example("silver_foot_vessel"), TALL)]
    for vessel, grid in some:
        start = time.perf_counter()
        plan = propose(vessel, CARDS)
        vessels = whole_grid(vessel, grid)
        best, own = best_chances(vessels, plan.vessel)
        print(
            f"{vessel.name:32} kept as planned {own:.3f}, the best of {len(vessels)} {best:.3f} "
            f"({time.perf_counter() - start:.0f} s)",
            flush=True,
        )


if __name__ == "__main__":
    main()
