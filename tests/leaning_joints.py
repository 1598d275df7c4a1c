"""A joint that leans through the wall (a scarf) against a butt joint, by the solid: a trial.

    python -m tests.leaning_joints [vessel ...]

joins the two materials of shipped vessels edge to edge, with no mixing at the change, and leans the
joint through the wall until its ends lie a number of decay lengths apart: the rows of the solid are
sheared, so that each element keeps one material. Rules of cracks look at level joints and are left
out. Expected: stress away from the joint falls only where the scarf is as long as the decay length;
what parts the joint falls before that, as its area grows. Wrong if a scarf of nought differed from
a butt joint. By one nozzle it would be printed as a cone, then laid round it: one change of paste.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from cofire.assessment.response import fire_vessel, solid_section, times_for_solid
from cofire.assessment.verdict import judge
from cofire.design.fired_size import decay_length
from cofire.design.objective import worst_by_rule
from cofire.design.starting import started
from cofire.design.transition import Layout, as_vessel, given_layout, zones
from cofire.errors import CofireError
from cofire.mechanics.solid_firing import fire_solid
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS

SHIPPED = ("silver_foot_vessel", "copper_foot_tumbler")
DECAYS = (0.0, 0.5, 1.0, 2.0, 3.0)
FADES = 1.3
"""Height over which the rows are level again, in scarfs. [-]"""


def leaning(mesh: SolidMesh, length: float, outwards: bool) -> SolidMesh:
    """The mesh with its one joint a length higher at one face than at the other. [m]"""
    middle = mesh.place.size // 2
    row = int(mesh.step_row[0])
    across = mesh.radius[row, -1] - mesh.radius[row, 0]
    lean = (1.0 if outwards else -1.0) * length / float(across)
    level = mesh.height[:, [middle]]
    away = np.clip(np.abs(level - level[row]) / (FADES * length + 1e-9), 0.0, 1.0)
    share = 0.5 * (1.0 + np.cos(np.pi * away))
    return replace(
        mesh, height=mesh.height + lean * (mesh.radius - mesh.radius[:, [middle]]) * share
    )


def main() -> None:
    """Print a line a scarf."""
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", default=SHIPPED)
    for name in parser.parse_args().names:
        path = Path(__file__).parents[1] / "examples" / f"{name}.toml"
        vessel = started(read_vessel(path, KILNS), CARDS)
        metal, ceramic, below = zones(vessel, CARDS)
        at = given_layout(vessel, CARDS).middle
        decay = decay_length(vessel, at)
        vessel = replace(vessel, printer=replace(vessel.printer, given=False))
        butt = as_vessel(vessel, metal.name, ceramic.name, below, Layout((), 0.0, at))
        shell = fire_vessel(butt, CARDS)
        (times, borne), mesh = times_for_solid(shell), solid_section(shell)
        print(f"{name}: {metal.name} | {ceramic.name}, decay length {1e3 * decay:.1f} mm")
        for decays in DECAYS:
            for outwards in (True, False) if decays else (True,):
                try:
                    one = leaning(mesh, decays * decay, outwards)
                    fired = fire_solid(one, shell.history, shell.material, times=times, borne=borne)
                except CofireError as error:
                    print(f"  {decays:g}: {error}")
                    continue
                ware = np.interp(fired.time, shell.trace.time, shell.trace.ware)
                worst = worst_by_rule(judge(replace(shell, fired=fired, temperature=ware)).flags)
                used = ", ".join(
                    f"{rule} {worst[rule].counted:.2f}" for rule in ("cooling", "later", "brown")
                )
                energy = float(fired.parting.energy()[-1, 0])
                print(
                    f"  {decays:g} decay lengths, metal {'out' if outwards == below else 'in'}side"
                    f": {used} of their limits; parting cold {energy:.0f} J/m²; mesh "
                    f"{100 * fired.mesh_error:.0f} %",
                    flush=True,
                )


if __name__ == "__main__":
    main()
