"""Shifts of the print, and limits that it would pay to relax."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cofire.design.candidates import ROUGH, Bench
from cofire.design.margins import Margins, Relaxed, Shift, margins
from cofire.design.transition import as_vessel, given_layout
from cofire.report.designs import margins_lines, margins_row
from tests.fired import CARDS
from tests.planned import tea_light_to_plan


def proposal(share: int):
    """A tea light of one blend on a bench, and its layout."""
    vessel = tea_light_to_plan()
    metal, ceramic, below = Bench(CARDS).zones(vessel)
    layout = replace(given_layout(vessel, CARDS), shares=(share,), height=6e-3, middle=20e-3)
    joint = replace(vessel.joint, blends=1)
    vessel = as_vessel(
        replace(vessel, joint=joint), metal.name, ceramic.name, below, layout
    )  # fmt: skip
    return vessel, layout


def test_a_proposal_that_is_a_no_names_limits_to_relax_and_each_gains() -> None:
    vessel, layout = proposal(50)
    found = margins(Bench(CARDS, fineness=ROUGH), vessel, layout, relax=True, samples=4)
    assert found is not None
    assert len(found.shifts) == 6
    changes = [shift.change for shift in found.shifts]
    assert changes == sorted(changes)
    assert all(-found.chance <= change <= 1.0 - found.chance for change in changes)
    assert found.relaxed
    assert any("height_mm" in r.what or "blends" in r.what for r in found.relaxed)
    for r in found.relaxed:
        assert r.load < found.load or r.change > 0.0
    gains = [r.change for r in found.relaxed]
    assert gains == sorted(gains, reverse=True)


def test_margins_are_told_in_pots_of_a_hundred() -> None:
    shifts = (Shift("wall thinner", -0.123), Shift("wall thicker", 0.001))
    some = Margins(0.5, 1.2, shifts, (Relaxed("blends from 1 to 2", 0.9, 0.2),), 8)
    shifted, relaxed = margins_lines(some)
    assert "wall thinner: 12 fewer; wall thicker: as many" in shifted
    assert "blends from 1 to 2: 20 more, past limit 1.20 to 0.90" in relaxed
    assert margins_lines(None) == []
    row = margins_row(some)
    assert row is not None
    assert row["shifts"]["wall thinner"] == pytest.approx(-0.123)
