"""Samples of a chance as solids: does a shell put right by one solid foretell them one by one?

    python -m tests.solids_on_samples [--count 50] [vessel file ...]

A plan tells the chance that a pot is kept from shells of drawn cards, kilns and prints, each put
right by what the solid of the design, with the cards as they stand, has over its shell. Here each
sample is a check of its own: smeared, meshed and marched as a solid. Printed are the mean chance
either way, how far they are apart sample by sample, how they rank, and by rule how far the shells'
utilisations are off (root of mean square of the logarithm, where either is above a third of its
limit). A vessel file of a plan's folder is judged as planned, any other as given. It takes some
three seconds of a core for each sample.

Expected: means within 0.05, ranks above 0.9; wrong, if a rule's shells are off by so much more than
its model factor (2 to 3) that solids would choose another design.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from cofire.assessment.check import check_vessel
from cofire.assessment.verdict import worst_by_rule
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.objective import chances, draw
from cofire.design.settling import ratios_by_solid
from cofire.design.starting import started
from cofire.errors import CofireError
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS

ASKED = 1.0 / 3.0
"""Utilisations below are of no account. [-]"""


def compared(vessel: Vessel, count: int, seed: int = 99) -> str:
    """One vessel's samples, as shells put right and as solids."""
    vessel = started(vessel, CARDS)
    bench = Bench(CARDS, fineness=ROUGH)
    found = check_vessel(vessel, CARDS)
    ratios = ratios_by_solid(bench, vessel, found)
    modulus = bench.zones(vessel)[1].name
    rows, logs, lost = [], defaultdict[str, list[float]](list), 0
    for sample in draw(bench, vessel, count, seed):
        own = replace(sample.bench, ratios=ratios)
        one = sample.vessel(vessel)
        m = own.cards[modulus]["weibull_modulus"].scalar
        (shell,) = fire_candidates(own, [one])
        try:
            if isinstance(shell, CofireError):
                raise shell
            solid = check_vessel(one, own.cards, extend=True).verdict
        except CofireError:
            lost += 1
            continue
        by_shell = own.judge(shell)
        rows.append([chances(v.flags, m)[0] for v in (by_shell, solid)])
        mine, its = (worst_by_rule(v.flags) for v in (by_shell, solid))
        for rule in mine.keys() & its.keys():
            a, b = mine[rule].counted, its[rule].counted
            if max(a, b) > ASKED:
                logs[rule].append(float(np.log(max(a, 1e-3) / max(b, 1e-3))))
    kept = np.array(rows)
    apart = float(np.sqrt(np.mean((kept[:, 0] - kept[:, 1]) ** 2)))
    lines = [
        f"{vessel.name}: {len(kept)} samples, {lost} not fired; kept {kept[:, 0].mean():.3f} by "
        f"shells put right, {kept[:, 1].mean():.3f} by solids; apart {apart:.3f} (root of mean "
        f"square), rank {float(spearmanr(kept[:, 0], kept[:, 1])[0]):.2f}"
    ]
    for rule, some in sorted(logs.items(), key=lambda row: -len(row[1])):
        if len(some) >= max(count // 10, 2):
            off = np.array(some)
            lines.append(
                f"  {rule:<16} {len(some):>4}  off {np.exp(np.sqrt(np.mean(off**2))):.2f} times, "
                f"median {np.exp(np.median(off)):.2f}"
            )
    return "\n".join(lines)


def main() -> None:
    """Print each vessel."""
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--count", type=int, default=50)
    asked = parser.parse_args()
    for file in asked.files:
        print(compared(read_vessel(file, KILNS), asked.count), flush=True)


if __name__ == "__main__":
    main()
