"""What a wall that thins or thickens towards its joint brings, over samples, on coarse shells.

    python -m tests.tapered_walls [--samples 12] [vessel.toml ...]

prints, for the shipped vessels as given or for files such as those of a plan's folder, each in its
own firing: the vessel as it is, its metal thinned to one road over one, two and four decay lengths,
both sides thinned, the ceramic half as thick again beside the joint, one road everywhere; and the
same pair joined edge to edge with no mixing at the change, as it is and with its metal thinned.
All shells are put right by the solid of the vessel as it is. Expected before it was run: a metal
that yields pulls less where it is thin, so that a sharp joint gains and a graded one hardly does.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from cofire.assessment.check import check_vessel
from cofire.design.candidates import ROUGH, Bench
from cofire.design.fired_size import decay_length, linear
from cofire.design.objective import Outcome, draw, nominal, odds
from cofire.design.settling import ratios_by_solid
from cofire.design.starting import started
from cofire.design.taper import LENGTHS, SHOULDER, tapers
from cofire.design.transition import Layout, as_vessel, given_layout
from cofire.vessel import THINNEST, Taper, Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS

SHIPPED = (
    "gold_foot_cup", "silver_foot_bud_vase", "bronze_vase", "iron_foot_bowl",
    "copper_foot_tumbler", "silver_foot_vessel", "silver_rim_vessel",
)  # fmt: skip
THICKER = 1.5


def walls(vessel: Vessel, layout: Layout, bench: Bench) -> Iterator[tuple[str, Vessel]]:
    """A few words and a vessel for each wall."""
    metal, ceramic, below = bench.zones(vessel)
    at, road = layout.middle, vessel.printer.nozzle * linear(metal)
    forms = [form for roads, _, form in tapers(vessel, layout, metal, below) if roads == 1]
    yield "as it is", vessel
    for decays, form in zip(LENGTHS, forms, strict=False):
        yield f"metal thinned over {decays:g}", vessel.with_taper(form)
    for decays, form in zip(LENGTHS, forms, strict=False):
        yield (
            f"both thinned over {decays:g}",
            vessel.with_taper(replace(form, shoulder=form.length)),
        )
    yield f"ceramic {THICKER:g} times", thickened(vessel, at, below)
    thin = max(road, THINNEST)
    side = vessel.radius > 0.0
    move = 0.5 * (vessel.wall - thin) if vessel.free.outside else 0.0
    yield "one road everywhere", replace(
        vessel, wall=np.where(side, thin, vessel.wall),
        radius=np.where(side, vessel.radius + move, 0.0),
    )  # fmt: skip
    printer = replace(vessel.printer, given=False)
    sharp = as_vessel(vessel, metal.name, ceramic.name, below, Layout((), 0.0, at))
    sharp = replace(sharp, printer=printer)
    yield "edge to edge, no mixing", sharp
    for form in forms[len(LENGTHS) - 1 : len(LENGTHS)]:
        yield f"  metal thinned over {LENGTHS[-1]:g}", sharp.with_taper(form)


def thickened(vessel: Vessel, at: float, below: bool) -> Vessel:
    """The ceramic thicker at the joint, back at its wall within two decay lengths."""
    wall = float(np.interp(at, vessel.height, vessel.wall))
    length = 2.0 * decay_length(vessel, at)
    still = vessel.with_taper(Taper(at, wall, SHOULDER * wall, length, below))  # points only
    away = (still.height - at) * (1.0 if below else -1.0)
    more = np.where(away < 0.0, np.clip(1.0 + away / wall, 0.0, 1.0), 1.0 - away / length)
    extra = (THICKER - 1.0) * np.clip(more, 0.0, 1.0) * still.wall * (still.radius > 0.0)
    move = 0.5 * extra if vessel.free.outside else 0.0
    return replace(still, wall=still.wall + extra, radius=still.radius - move)


def main() -> None:
    """Print a block a vessel."""
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--samples", type=int, default=12)
    asked = parser.parse_args()
    folder = Path(__file__).parents[1] / "examples"
    for path in asked.files or [folder / f"{name}.toml" for name in SHIPPED]:
        vessel = started(read_vessel(path, KILNS), CARDS)
        bench = Bench(CARDS, extend=True, fineness=ROUGH)
        checked = check_vessel(vessel, CARDS, extend=True)
        bench.ratios.update(ratios_by_solid(bench, vessel, checked))
        layout = given_layout(vessel, CARDS)
        words, vessels = zip(*walls(vessel, layout, bench), strict=True)
        ways = draw(bench, vessel, asked.samples, 1)
        found = odds(bench, ways, vessels, nominal(bench, vessels))
        decay = 1e3 * decay_length(vessel, layout.middle)
        print(f"{vessel.name}: {checked.word}; decay length {decay:.1f} mm")
        for word, one in zip(words, found, strict=True):
            print(f"  {word:26}{told(one, found[0])}", flush=True)


def told(one: Outcome | None, own: Outcome | None) -> str:
    """Chance, load, and change of the chance with its standard error."""
    if one is None or own is None:
        return "cannot be fired"
    change = one.kept - own.kept
    error = float(change.std() / np.sqrt(change.size))
    return f"not lost {one.chance:.3f} ({change.mean():+.3f} ± {error:.3f})  load {one.load:.2f}"


if __name__ == "__main__":
    main()
