"""Random requests: each plan keeps every limit, or the request is refused by what binds."""

from __future__ import annotations

import pytest

from cofire.design.plan import propose
from cofire.errors import ModelError
from tests.fired import CARDS
from tests.planned import shares_a_window
from tests.random_plans import drawn_request, fits, planned


@pytest.mark.long
@pytest.mark.parametrize("seed", [16])
def test_a_plan_of_a_random_request_keeps_every_limit_of_printer_kiln_and_blends(seed) -> None:
    """One of `python -m tests.random_plans`, which plans a hundred."""
    found = planned(drawn_request(seed), effort=0.02)
    assert not found.word.startswith("refused")
    assert not found.wrong


@pytest.mark.parametrize("seed", range(60, 100))
def test_a_random_request_that_cannot_be_met_is_refused_by_what_binds(seed) -> None:
    vessel = drawn_request(seed)
    if fits(vessel) and shares_a_window(vessel):
        return
    with pytest.raises(ModelError, match=r"keep:|position:|window:"):
        propose(vessel, CARDS, extend=True)
