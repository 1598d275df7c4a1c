"""Today's verdicts, held so that a person must see each one that changes.

`todays_verdicts.csv` has the verdict and what decides it of every metal with every body in the
usual kiln, and of the pots of the trade (`test_verdict.EXPECTED`). It says what is, not what is
true: where physics changes a line, look at it, say why in the commit, and write the table anew
with `python -m tests.assessment.test_todays_verdicts`. What must not change whatever the physics
stands below as tests of its own.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

from cofire.assessment.screening import Pair, screen
from cofire.assessment.verdict import Verdict
from tests.assessment.test_verdict import EXPECTED, judged
from tests.fired import CARDS, KILNS

TABLE = Path(__file__).with_name("todays_verdicts.csv")
HEAD = ("case", "verdict", "by")
ORDINARY_CLAY = ("red earthenware", "mid-fire stoneware", "high-fire stoneware", "hard porcelain")


@cache
def screened() -> dict[tuple[str, str], Pair]:
    """Every metal with every body in the usual kiln."""
    kinds = ([c for c in CARDS.values() if c.kind == kind] for kind in ("metal", "ceramic"))
    return {(p.metal, p.ceramic): p for p in screen(*kinds, KILNS["small studio kiln"])}


def found() -> dict[str, tuple[str, str]]:
    """Verdict and gas of each pair, verdict and deciding rule of each pot."""
    rows = {
        f"{metal} + {body}": (pair.verdict, pair.gas if pair.window else "no window")
        for (metal, body), pair in sorted(screened().items())
    }
    for what, (before, after, *_) in EXPECTED.items():
        for name, pot in (("before", before), ("after", after)):
            verdict: Verdict = judged(pot)
            rows[f"{what}: {name}"] = verdict.word, verdict.deciding.rule
    return rows


def test_a_verdict_that_changes_is_seen_by_a_person() -> None:
    with TABLE.open(encoding="utf-8", newline="") as file:
        held = {row["case"]: (row["verdict"], row["by"]) for row in csv.DictReader(file)}
    now = found()
    changed = {
        case: (held.get(case), now.get(case))
        for case in held.keys() | now.keys()
        if held.get(case) != now.get(case)
    }
    assert changed == {}


def test_silver_fires_with_a_fritted_body_in_air_and_copper_only_in_a_pack() -> None:
    assert screened()["fine silver", "fritted body"].gas == "air"
    for body in ("fritted body", "talc body", "leucite porcelain"):
        pair = screened()["copper", body]
        assert (pair.window is not None, pair.gas) == (True, "carbon")


def test_bronze_and_ordinary_clay_share_no_window() -> None:
    for metal in ("tin bronze 90/10", "tin bronze 80/20", "sterling silver"):
        for body in ORDINARY_CLAY:
            pair = screened()[metal, body]
            assert (pair.verdict, pair.window) == ("no", None)
            assert "K apart" in pair.reason


def test_stainless_brass_and_titanium_are_refused_with_every_body() -> None:
    for (metal, _), pair in screened().items():
        if metal in ("316L stainless", "17-4PH stainless", "brass 70/30", "titanium"):
            assert pair.verdict == "no"
            assert pair.reason


def test_iron_in_a_pack_is_not_proposed_where_it_turns_to_cast_iron() -> None:
    peaks = [
        pair.window.peak - 273.15
        for (metal, _), pair in screened().items()
        if metal in ("iron", "low-carbon steel") and pair.window and pair.gas == "carbon"
    ]
    assert peaks
    assert max(peaks) < 1147.0


if __name__ == "__main__":
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEAD)
        writer.writerows([case, *row] for case, row in found().items())
