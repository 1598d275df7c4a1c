"""Own weight on blends: continuous in composition, whatever stands beside them."""

from __future__ import annotations

import pytest

from cofire.assessment.firing_rules import sag_flags
from cofire.assessment.response import fire_vessel
from tests.fired import CARDS, COARSE, written_vessel

FIRING = """
[firing]
gas = "carbon"
segment = [{ to_C = %g, rate_C_per_h = 150, hold_min = 60 }, { to_C = 300, rate_C_per_h = 150 }]
"""
PROFILE = '[profile]\nshape = "cylinder"\nradius_mm = 35\nheight_mm = 60\nwall_mm = 4\n'


def sag(*bands: tuple[str, float], peak: float = 850.0) -> list[float]:
    rows = "".join(
        f'[[band]]\nmaterial = "{m}"\n' + (f"to_mm = {z}\n" if z < 60 else "") for m, z in bands
    )
    vessel = written_vessel(f'name = "ring"\n{PROFILE}{rows}{FIRING % peak}')
    response = fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5, extend=True)
    return [f.figure for f in sag_flags(response)]


def mixed(share: float) -> str:
    return f"copper + fritted body = {share}"


def test_a_lone_blend_sags_as_one_beside_its_body():
    (alone,) = sag((mixed(60), 60.0))
    beside = sag((mixed(60), 59.0), ("fritted body", 60.0))[0]
    assert beside == pytest.approx(alone, rel=0.03)


def test_sag_runs_from_the_metal_to_the_body_without_a_step():
    ends = [sag(("copper", 60.0))[0], sag(("fritted body", 60.0))[0]]
    near = [sag((mixed(99.5), 60.0))[0], sag((mixed(0.5), 60.0))[0]]
    assert near == pytest.approx(ends, rel=0.05)
    between = [sag((mixed(c), 60.0))[0] for c in (80, 50, 20)]
    assert min(ends) * 0.3 < min(between)
    assert max(between) < 2.0 * max(ends)


def test_a_copper_blend_stands_well_below_red_heat():
    """90 % copper alone at 641 °C: the law of 10 MPa made it lose 734 % of its height."""
    assert sag((mixed(90), 60.0), peak=641.0)[0] < 1.0


def test_hotter_ware_sags_more():
    assert sag((mixed(40), 60.0), peak=900.0)[0] > sag((mixed(40), 60.0), peak=820.0)[0]
