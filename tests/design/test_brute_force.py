"""Every layout and firing of a coarse grid against plans: no search, no cleverness."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cofire.design.plan import propose
from cofire.design.search import KNEE
from tests.brute_force import Grid, best_chances, whole_grid
from tests.fired import CARDS
from tests.planned import tea_light_to_plan

FEW = Grid(shares=(20, 50, 80), heights=(1.0,), places=(0.0, 1.0), ramps=(0,), coolings=(0, 3))


def test_no_layout_and_firing_of_a_grid_keeps_more_pots_than_a_plan(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A part of `python -m tests.brute_force`: its own layouts and limits, and no search."""
    for other in ("propose_taper", "propose_apart", "alternatives"):  # no grid has one
        monkeypatch.setattr(f"cofire.design.plan.{other}", lambda *_: None)
    vessel = tea_light_to_plan()
    vessel = replace(vessel, joint=replace(vessel.joint, blends=1))
    plan = propose(vessel, CARDS, effort=0.05)
    vessels = whole_grid(vessel, FEW)
    assert len(vessels) > 20
    best, own = best_chances(vessels, plan.vessel)
    assert best <= own + KNEE + 0.03  # so much a plan gives for fewer changes of paste
