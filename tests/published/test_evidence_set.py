"""Labels of the published pairs and the split by source."""

from __future__ import annotations

import numpy as np
import pytest

from tests.published import evidence_set, outcome_pairs, quantities
from tests.published.evidence_set import (
    HOW_KNOWN,
    LABELS,
    MECHANISMS,
    STATES,
    failed,
    fresh_pairs,
    is_open,
    open_pairs,
    sealed_pairs,
    source_of,
    split,
    well_known,
)

PAIRS = outcome_pairs.table()["pair"]

DRAWN = 66
"""Sources whose side was drawn together."""


def test_every_pair_has_its_labels():
    for p in PAIRS:
        assert p["outcome_label"] in LABELS
        assert p["how_known"] in HOW_KNOWN
        assert ("mechanism" in p) == failed(p), p["id"]
        assert p.get("mechanism", MECHANISMS[0]) in MECHANISMS
        assert p["piece"]["shape"] in ("tile", "ring", "disc", "rod", "block", "crown")
        assert p["bonding_C"] >= p["set_point_C"], p["id"]


def test_labels_do_not_contradict_the_outcome():
    for p in PAIRS:
        if p["outcome"] == "failed":
            assert p["outcome_label"] in ("cracked", "parted")
        else:
            assert p["outcome_label"] in ("sound", "weak", "whole")


def test_what_was_not_read_is_recalled():
    for p in PAIRS:
        assert (p["seen_in"] == "memory") == (p["how_known"] == "recalled"), p["id"]


def test_46_pairs_were_tested_and_read_and_18_of_them_are_only_whole():
    first = [p for p in PAIRS if p not in fresh_pairs()]
    tested = [p for p in first if p["how_known"] == "tested-and-read"]
    assert len(tested) == 46
    assert sum(p["outcome_label"] == "whole" for p in tested) == 18
    assert sum(well_known(p) for p in first) == 28


def test_21_pairs_of_17_sources_are_fresh_and_none_is_a_limit_or_only_whole():
    assert len(fresh_pairs()) == 21
    assert len({tuple(source_of(p)["match"]) for p in fresh_pairs()}) == 17
    assert sum(failed(p) for p in fresh_pairs()) == 6
    assert all(p["outcome_label"] != "whole" and "border" not in p for p in fresh_pairs())


def test_the_printed_share_is_the_mean_over_the_fields():
    for p in PAIRS:
        shares = [STATES[state] for state in p["fields"].values()]
        assert p["printed_share"] == pytest.approx(np.mean(shares), abs=0.0051), p["id"]


def test_a_field_called_printed_is_in_the_list_of_what_was_seen():
    for p in PAIRS:
        seen = p.get("seen", [])
        if p["fields"]["expansion"] == "printed":
            assert {"expansion_1e6_per_K", "differential_ppm"} & set(seen)
        if p["fields"]["stress_free"] == "printed":
            assert "set_point_C" in seen
        if p["fields"]["bonding"] == "printed":
            assert "joined_at_C" in seen
            assert p["bonding_C"] == p["joined_at_C"]


def test_every_pair_and_quantity_belongs_to_one_source_of_the_split():
    for entry in [*PAIRS, *quantities.table()["quantity"]]:
        assert source_of(entry)["side"] in ("open", "sealed", "fresh")


def test_no_source_of_the_split_is_empty():
    used = {tuple(source_of(e)["match"]) for e in [*PAIRS, *quantities.table()["quantity"]]}
    assert used == {tuple(s["match"]) for s in split()["source"]}


def test_the_split_is_the_one_its_seed_draws():
    # the first sources together, later ones each by itself: no new source opens an old one
    drawn_at_all = [s for s in split()["source"] if s["side"] != "fresh"]
    assert split()["source"][: len(drawn_at_all)] == drawn_at_all  # what is fresh stands last
    seed, count = split()["seed"], len(drawn_at_all)
    drawn = set(np.random.default_rng(seed).permutation(DRAWN)[: DRAWN // 3].tolist())
    drawn |= {k for k in range(DRAWN, count) if np.random.default_rng([seed, k]).random() < 1 / 3}
    assert drawn == {k for k, s in enumerate(split()["source"]) if s["side"] == "sealed"}


def test_no_pair_is_on_both_sides_and_none_is_left_out():
    assert len(open_pairs()) + len(sealed_pairs()) + len(fresh_pairs()) == len(PAIRS)
    assert all(is_open(p) for p in open_pairs())


def test_a_text_that_no_source_matches_is_refused():
    with pytest.raises(LookupError, match="0 sources match"):
        source_of({"source": "nobody, nowhere"})


def test_the_print_counts_every_pair():
    assert f"{len(open_pairs())} pairs" in evidence_set.report()
