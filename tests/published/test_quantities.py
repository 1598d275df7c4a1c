"""The table of published quantities: complete, honest about what was read, and repeatable.

The share inside the 90 % intervals is printed, not asserted: see `quantities`.
"""

from __future__ import annotations

from copy import deepcopy

import numpy as np
import pytest

from tests.published import quantities
from tests.published.evidence_set import is_open
from tests.published.quantities import (
    BY_CARDS,
    BY_PAIR,
    OUTSIDE,
    compare,
    compare_all,
    computed,
    film_stress,
    measured,
    printed_share,
    shipped,
    table,
    waiting,
)

QUANTITIES = {q["id"]: q for q in table()["quantity"]}


def test_at_least_25_quantities_are_computed_beside_their_measured_value():
    assert len(QUANTITIES) == len(table()["quantity"])
    assert len(compare_all()) == len(computed()) >= 25


def test_every_quantity_says_who_measured_it_where_it_stands_and_what_was_read():
    for q in QUANTITIES.values():
        assert all(q[key] for key in ("kind", "authors", "place", "what", "unit")), q["id"]
        assert q["read"] in ("abstract", "text", "secondary"), q["id"]
        assert ("measured" in q) != ("low" in q and "high" in q), q["id"]


def test_every_quantity_is_computed_by_a_known_function_or_waits_for_a_reason():
    for q in computed():
        assert q["method"] in {*BY_CARDS, *BY_PAIR}
        assert set(q.get("cards", ())) <= set(shipped())
    for q in waiting():
        assert q["reason"]
        assert "method" not in q
    assert len(computed()) + len(waiting()) == len(QUANTITIES)


def test_every_input_is_printed_or_has_a_spread():
    for q in computed():
        for name, item in q.get("inputs", {}).items():
            assert item["basis"] in ("printed", "derived", "assumed"), (q["id"], name)
            assert item["basis"] != "assumed" or item["spread"] > 0.0, (q["id"], name)


def test_an_interval_holds_what_was_computed_and_has_a_width():
    for c in compare_all():
        assert np.isfinite([c.low, c.high]).all()
        assert c.low < c.computed < c.high


def test_a_value_outside_its_interval_has_its_reason():
    outside = {c.entry["id"] for c in compare_all() if not c.inside}
    known = [name for names in OUTSIDE.values() for name in names]
    assert len(set(known)) == len(known)
    assert outside <= set(known) <= set(QUANTITIES)


def test_the_print_keeps_sealed_quantities_to_itself_until_it_is_opened():
    text = quantities.report()
    for q in computed():
        assert (q["id"] in text) == is_open(q), q["id"]


def test_the_print_holds_every_quantity_and_every_source_without_a_number():
    text = quantities.report(opened=True)
    assert all(name in text for name in QUANTITIES)
    assert all(u["source"] in text for u in table()["unread"])


def test_a_film_on_a_thick_base_carries_the_stress_of_a_film_held_flat():
    """E Δα ΔT/(1 − ν), to 1 % at a thousandth of the base's thickness."""
    inputs = {n: float(i["value"]) for n, i in
              QUANTITIES["half-cell-electrolyte-stress"]["inputs"].items()}  # fmt: skip
    thin = {**inputs, "film_um": 0.4}
    held = -1e3 * 205.0 / (1.0 - 0.31) * 1.6e-6 * 1180.0
    assert film_stress(thin, []) == pytest.approx(held, rel=0.01)
    assert abs(film_stress({**inputs, "film_um": 40.0}, [])) < abs(film_stress(thin, []))


def test_more_doubt_in_an_input_widens_the_interval():
    entry = deepcopy(QUANTITIES["half-cell-electrolyte-stress"])
    before = compare(entry)
    entry["inputs"]["base_young_GPa"]["spread"] *= 2.0
    entry["inputs"]["difference_1e6_per_K"]["spread"] *= 2.0
    after = compare(entry)
    assert after.computed == pytest.approx(before.computed)
    assert after.high - after.low > before.high - before.low


def test_a_longer_hold_leaves_the_metal_denser():
    entry = deepcopy(QUANTITIES["bronze-extruded-840-density"])
    cards = [shipped()[n] for n in entry["cards"]]
    inputs = {n: float(i["value"]) for n, i in entry["inputs"].items()}
    once = quantities.fired_density(inputs, cards)
    assert once < quantities.fired_density({**inputs, "hold_min": 300.0}, cards)


def test_a_range_counts_by_its_middle_and_as_four_deviations():
    range_ = QUANTITIES["crown-crazing-mismatch"]
    assert measured(range_) == pytest.approx(1.3)
    assert quantities.scatter(range_) == pytest.approx(0.2)


def test_the_printed_share_counts_inputs_that_are_not_assumed():
    assert printed_share(QUANTITIES["bronze-extruded-840-density"]) == pytest.approx(0.75)
    assert printed_share(QUANTITIES["half-cell-electrolyte-stress"]) == pytest.approx(1.0 / 8.0)


def test_half_the_crowns_crack_at_the_critical_mismatch():
    entry = QUANTITIES["crown-crazing-mismatch"]
    mismatch = next(c for c in compare_all() if c.entry is entry).computed
    pair = quantities._pair(entry["pair"])
    core, coat = (layer["material"] for layer in pair["layers"])
    pair["expansion_1e6_per_K"][coat] = pair["expansion_1e6_per_K"][core] + mismatch
    flags = quantities.cooling_flags(pair)
    figure = next(f.figure for f in flags if f.rule == "cooling" and coat in f.zone)
    assert figure == pytest.approx(50.0, abs=1.0)
