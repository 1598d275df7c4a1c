"""What each design of a plan costs, beside what it keeps."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from cofire.design.objective import Outcome
from cofire.design.search import Choice, DesignSearch
from cofire.design.space import Design
from cofire.design.transition import Layout
from cofire.errors import UnknownName
from cofire.production.trade_off import PROPOSED, costs_of
from cofire.report.designs import designs_row, designs_text
from cofire.units import HOUR
from cofire.vessel import Prices
from tests.fired import tea_light

PRICES = Prices("EUR", (("fine silver", 1000.0),), 1e-7, 2500.0, 2.0 / HOUR)


def made(*shares: int, middle: float = 18e-3) -> Choice:
    """A choice with made-up chances."""
    some = np.full(4, 0.5)
    design = Design(Layout(shares, 6e-3 if shares else 0.0, middle), 2e-6)
    return Choice(design, Outcome((), 0.9, some, some), 6e-6 if shares else 0.0)


def plan(prices: Prices | None):
    """As much of a plan as its costs hang on: the tea light, and two designs beside it."""
    response = tea_light()
    vessel = replace(response.vessel, prices=prices)
    response = replace(response, vessel=vessel)
    choices = (made(), made(50, middle=30e-3))
    search = DesignSearch(choices, choices[0], None, 2, 2, 4)
    check = SimpleNamespace(designed=response, vessel=vessel, cards=response.cards)
    return SimpleNamespace(given=check, proposal=check, vessel=vessel, designs=search)


def test_each_design_has_its_price_in_text_and_numbers():
    asked = plan(PRICES)
    costs = costs_of(asked)
    assert set(costs) == {PROPOSED, 1, 2}
    assert costs[1].total == pytest.approx(costs[PROPOSED].total, rel=1e-2)  # the same design
    hours = {round(one.time / 2.0, 6) for one in costs.values()}
    assert hours == {round(costs[1].length / HOUR, 6)}  # one firing for all
    silver = [dict(costs[n].powders)["fine silver"] for n in (1, 2)]
    assert silver[1] > 1.3 * silver[0]  # more silver higher up
    text = designs_text(asked.designs, costs, "EUR")
    assert "cost EUR" in text
    assert f"{costs[1].total:.2f}" in text
    assert f"{costs[2].total:.2f}" in text
    rows = designs_row(asked.designs, (None, None), costs)["by_changes"]
    assert [row["cost"] for row in rows] == [round(costs[n].total, 2) for n in (1, 2)]


def test_without_prices_there_is_no_column_and_a_wrong_powder_is_told():
    free = plan(None)
    assert costs_of(free) == {}
    assert "cost" not in designs_text(free.designs)
    assert all("cost" not in row for row in designs_row(free.designs, (None, None))["by_changes"])
    with pytest.raises(UnknownName, match="no powder named 'gold'"):
        costs_of(plan(replace(PRICES, powders=(("gold", 1.0),))))
