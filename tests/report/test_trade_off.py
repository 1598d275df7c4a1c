"""The picture of what more changes of paste buy says what the plan's table says."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest

from cofire.design.objective import Outcome
from cofire.design.plan import Plan
from cofire.design.search import Choice, DesignSearch
from cofire.design.space import Design
from cofire.design.transition import Layout
from cofire.report.designs import designs_row, designs_text, odds_line
from cofire.report.sheet import MEANING, chance_line
from cofire.report.stress import designs_figure
from tests.fired import TEA_LIGHT, written_vessel

if TYPE_CHECKING:
    from cofire.assessment.check import Check
    from cofire.vessel import Vessel


def choice(shares: tuple[int, ...], load: float, chance: float) -> Choice:
    outcome = Outcome((), load, np.full(4, chance), np.full(4, 0.5 * chance))
    return Choice(Design(Layout(shares, 6e-3, 30e-3), 1e-6), outcome, 1e-6)


def three() -> DesignSearch:
    few, some, many = (
        choice((), 2.0, 0.04), choice((50,), 0.9, 0.331), choice((60, 30), 0.82, 0.338),
    )  # fmt: skip
    return DesignSearch((many, few, some), some, None, 9, 9, 4)


def test_the_trade_off_rings_the_design_that_the_plan_proposes() -> None:
    """Not the layout by which a search began: 2 changes over 6 mm, at 0.90 of a limit."""
    axes = designs_figure(three()).axes[0]
    (ring,) = [line for line in axes.lines if line.get_markersize() == 22]
    assert (list(ring.get_xdata()), list(ring.get_ydata())) == ([2], [pytest.approx(6.0)])
    (bold,) = [text.get_text() for text in axes.texts if text.get_weight() == "bold"]
    assert bold.split() == ["33", "%", "0.90"]


def test_the_trade_off_has_a_mark_for_each_row_of_the_table_and_its_figures() -> None:
    found = three()
    axes = designs_figure(found).axes[0]
    table = designs_text(found)
    for text, load in zip(axes.texts, ("2.00", "0.90", "0.82"), strict=True):
        chance, used = text.get_text().splitlines()
        assert used == load
        assert any({used, chance.split()[0]} <= set(row.split()) for row in table.splitlines())
    marks = [line.get_marker() for line in axes.lines if line.get_markersize() == 9]
    assert marks == ["X", "o", "o"]


def test_a_pot_rather_lost_than_kept_is_not_to_be_fired_by_plan_and_sheet_too() -> None:
    """Check told 44 % and not to fire it, the sheet 39 % and nothing that would lose the pot."""
    few, most = (choice((50,), 0.6, chance).outcome for chance in (0.39, 0.61))
    for told in (odds_line, lambda both: chance_line(both[1].chance)):
        assert "No more than half of such pots are kept: do not fire it" in told((few, few))
        assert "fire it" not in told((few, most))
    assert "nothing is expected" not in MEANING["caution"]


def test_the_table_says_that_its_figure_is_of_all_limits_that_layers_change() -> None:
    """0.64 stood beside crystals at 0.93 of their limit, which no layers change."""
    text = " ".join(designs_text(three()).split())
    assert "Past limit: of the limits that layers can change (those of the firing" in text
    assert "all rules as one figure" in text


def test_where_the_vessel_as_drawn_is_proposed_no_design_is_told_as_proposed() -> None:
    found = three()
    text = " ".join(designs_text(found, as_designed=False).split())
    assert "*" not in text
    assert "Proposed: none of these, but the vessel as drawn" in text
    assert "than the one of 2 changes of paste" in text
    assert designs_row(found, (None, None), as_designed=False)["chosen"] is None
    axes = designs_figure(found, False).axes[0]
    assert not [line for line in axes.lines if line.get_markersize() == 22]
    assert not [text for text in axes.texts if text.get_weight() == "bold"]


def test_a_plan_knows_whether_layout_chamber_and_wall_are_those_of_the_chosen_design() -> None:
    vessel, found = written_vessel(TEA_LIGHT), three()
    layout, printer = found.chosen.design.layout, replace(vessel.printer, dead_volume=1e-6)
    drawn = replace(vessel, printer=printer)

    def plan(layout: Layout, one: Vessel, search: DesignSearch = found) -> Plan:
        check = cast("Check", SimpleNamespace(vessel=one))
        return Plan(check, (), check, layout, None, None, None, (), True, search)

    assert plan(layout, drawn).as_designed
    assert plan(replace(layout, heights=(6e-3 + 1e-12,)), drawn).as_designed
    assert not plan(replace(layout, middle=20e-3), drawn).as_designed
    assert not plan(replace(layout, shares=(60,)), drawn).as_designed
    assert not plan(Layout((), 0.0, 30e-3), drawn).as_designed
    assert not plan(layout, vessel).as_designed  # 2 ml
    thin = replace(found.chosen, design=replace(found.chosen.design, wall=2e-3))
    search = replace(found, chosen=thin)
    assert not plan(layout, drawn, search).as_designed
    assert plan(layout, drawn.with_wall(2e-3), search).as_designed
