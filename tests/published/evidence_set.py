"""Which published entry lies on which side of the split, and how each pair is labelled.

    python -m tests.published.evidence_set

The split by source stands in `split.toml`; labels stand with the pairs in `outcomes.toml`.
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

from tests.published import outcome_pairs

Entry = dict[str, Any]

SPLIT = Path(__file__).with_name("split.toml")
LABELS = ("sound", "cracked", "parted", "weak", "whole")
HOW_KNOWN = ("tested-and-read", "stated-in-passing", "practice", "recalled")
MECHANISMS = ("cooling crack", "joint", "sintering", "camber")
STATES = {"printed": 1.0, "partly": 0.5, "recalled": 0.0, "assumed": 0.0, "missing": 0.0}
"""What a group of inputs counts in `printed_share`. [-]"""


@cache
def split() -> Entry:
    """The file of the split."""
    return tomllib.loads(SPLIT.read_text(encoding="utf-8"))


def source_text(entry: Entry) -> str:
    """What the split knows a pair or a quantity by."""
    if "source" in entry:
        return str(entry["source"])
    return " | ".join((entry["authors"], entry["journal"], entry["doi"]))


def source_of(entry: Entry) -> Entry:
    """The one source in the split that an entry belongs to.

    Raises
    ------
    LookupError
        If none or several match.
    """
    text = source_text(entry)
    found = [s for s in split()["source"] if any(part in text for part in s["match"])]
    if len(found) != 1:
        message = f"split.toml: {len(found)} sources match {text!r}; allowed: one"
        raise LookupError(message)
    return dict(found[0])


def is_open(entry: Entry) -> bool:
    """Whether an entry may be looked at while rules are changed."""
    return bool(source_of(entry)["side"] == "open")


def open_pairs() -> list[Entry]:
    """Pairs of the two thirds of sources that may be looked at."""
    return [p for p in outcome_pairs.table()["pair"] if is_open(p)]


def sealed_pairs() -> list[Entry]:
    """Pairs of the third of sources that is held back."""
    return [p for p in outcome_pairs.table()["pair"] if source_of(p)["side"] == "sealed"]


def fresh_pairs() -> list[Entry]:
    """Pairs of sources found and committed after the rules stood still, scored once."""
    return [p for p in outcome_pairs.table()["pair"] if source_of(p)["side"] == "fresh"]


def well_known(pair: Entry) -> bool:
    """Whether somebody tested the pair, its outcome was read, and says more than "whole"."""
    return pair["how_known"] == "tested-and-read" and pair["outcome_label"] != "whole"


def failed(pair: Entry) -> bool:
    """Whether a pair cracked, parted, or holds poorly. "Whole" is neither: leave it out first."""
    return pair["outcome_label"] in ("cracked", "parted", "weak")


def report() -> str:
    """Counts by label, knowledge, mechanism, side and printed share, as printed."""
    from tests.published.quantities import table  # which itself asks for the side of a source

    sides = [is_open(q) for q in table()["quantity"]]
    pairs = outcome_pairs.table()["pair"]
    lines = [f"{'':10}" + "".join(f"{how:>20}" for how in HOW_KNOWN)]
    for label in LABELS:
        counts = [
            sum(p["outcome_label"] == label and p["how_known"] == how for p in pairs)
            for how in HOW_KNOWN
        ]
        lines.append(f"{label:10}" + "".join(f"{n:20}" for n in counts))
    by = Counter(p["mechanism"] for p in pairs if "mechanism" in p)
    shares = sorted(p["printed_share"] for p in pairs)
    lines += [
        "",
        "mechanism: " + ", ".join(f"{m} {by[m]}" for m in MECHANISMS),
        f"printed share: median {shares[len(shares) // 2]:.2f}, largest {shares[-1]:.2f}, "
        f"none at all in {sum(s == 0.0 for s in shares)} of {len(pairs)}",
        f"well known: {sum(map(well_known, pairs))}",
        f"open: {len(open_pairs())} pairs, {sum(sides)} quantities; sealed: "
        f"{len(sealed_pairs())} pairs, {len(sides) - sum(sides)} quantities; "
        f"fresh: {len(fresh_pairs())} pairs; "
        f"seed {split()['seed']}, {len(split()['source'])} sources",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
