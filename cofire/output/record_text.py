"""A record as a person reads it, and what it says of the predictions, as text, JSON and CSV."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from cofire.output.record_file import TORN, Kept
from cofire.output.verdict_text import number
from cofire.planning.evidence.record import FIRING, OUTCOMES, PREDICTION, TOO_FEW, Comparison
from cofire.planning.flags import VERDICTS

SCHEMA = 1


def entry_line(entry: Mapping[str, Any]) -> str:
    """One entry in a line: when, which piece, what.

    Parameters
    ----------
    entry : mapping
        Of the record.

    Returns
    -------
    str
        Without new line.
    """
    kind = entry["kind"]
    if kind == PREDICTION:
        what = f"{entry.get('verdict')}, decided by {entry.get('decided_by')}"
        if isinstance(entry.get("sound"), int | float):
            what += f"; sound with {100 * entry['sound']:.0f} %"
    elif kind == FIRING:
        parts = [str(entry.get("firing", ""))]
        if "peak_C" in entry:
            parts.append(f"{entry['peak_C']:.0f} °C")
        if "hours" in entry:
            parts.append(f"{entry['hours']:.1f} h")
        if "gas" in entry:
            parts.append(str(entry["gas"]))
        what = ", ".join(parts)
    else:
        parts = [str(entry.get("outcome"))]
        parts += [str(entry[name]) for name in ("where", "when") if name in entry]
        what = ", ".join(parts) + (f": {entry['note']}" if "note" in entry else "")
    when = str(entry.get("written", ""))[:16].replace("T", " ")
    return f"{when}  {kind:<10}  {entry.get('piece')}: {what}"


def counted(count: int, thing: str) -> str:
    """A number of things, in words that agree.

    Parameters
    ----------
    count : int
        How many. [-]
    thing : str
        One of them.

    Returns
    -------
    str
        As "1 piece" or "2 pieces".
    """
    return f"{count} {thing}" + ("" if count == 1 else "s")


def show_text(entries: Iterable[Mapping[str, Any]], width: int = 100) -> str:
    """Entries, one a line or two.

    Parameters
    ----------
    entries : iterable of mapping
        In order.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    rows = [
        row
        for entry in entries
        for row in textwrap.wrap(entry_line(entry), width, subsequent_indent=" " * 30)
    ]
    return "\n".join(rows or ["no entries"]) + "\n"


def harm_text(kept: Kept, name: str) -> list[str]:
    """What of a record could not be counted, one line each.

    Parameters
    ----------
    kept : Kept
        As it was read.
    name : str
        Of its file.

    Returns
    -------
    list of str
        Empty where all is whole.
    """
    found = []
    if kept.changed:
        lines = ", ".join(map(str, kept.changed[:10])) + (" ..." if len(kept.changed) > 10 else "")
        found.append(
            f"{name}: line {lines}: changed since it was written, and left out; add a new entry "
            "instead"
        )
    if kept.torn:
        found.append(
            f"{name}: a torn last line of {kept.torn} bytes is left out; the next entry moves it "
            f"to {name}{TORN}"
        )
    return found


def compare_text(found: Comparison, width: int = 100) -> str:
    """How often the predictions were right.

    Parameters
    ----------
    found : Comparison
        From `compare`.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Ends in a new line.
    """
    told = found.told
    sound = sum(pair.sound for pair in told)
    lines = []
    if not told:
        lines.append(
            "No piece yet with both a probability and an outcome. Add what 'cofire check "
            "--uncertainty --json' printed before the firing, and the outcome after it."
        )
    else:
        assert found.brier is not None
        assert found.brier_of_share is not None
        lines.append(
            f"{counted(len(told), 'piece')} with a probability and an outcome: {sound} sound; the "
            f"probabilities add up to {found.expected:.1f}, give or take "
            f"{found.expected_spread:.1f} by chance."
        )
        lines.append(
            f"Brier score {number(found.brier)} (0 is perfect; {number(found.brier_of_share)} for "
            f"one who always foretells the share seen, {sound} of {len(told)})."
        )
        lines.append(_judgement(found, sound))
        lines += ["", f"{'foretold':>13} {'pieces':>7} {'mean':>6} {'sound':>6}  95 % interval"]
        lines += [
            f"{100 * c.low:5.0f} to {100 * c.high:3.0f} % {c.count:6d} {100 * c.predicted:5.0f} % "
            f"{100 * c.observed:4.0f} %  {100 * c.observed_low:.0f} to {100 * c.observed_high:.0f}"
            for c in found.classes
        ]
    if found.pairs:
        lines += ["", f"{'verdict':<9}" + "".join(f"{o:>10}" for o in OUTCOMES)]
        lines += [
            f"{verdict:<9}" + "".join(f"{found.table.get((verdict, o), 0):10d}" for o in OUTCOMES)
            for verdict in VERDICTS
        ]
    lines += [""] * bool(found.unseen or found.unforetold)
    if found.unseen:
        lines.append(f"Without an outcome yet: {counted(found.unseen, 'prediction')}.")
    if found.unforetold:
        lines.append(f"Without a prediction before it: {counted(found.unforetold, 'outcome')}.")
    return "\n".join(_wrapped(lines, width)) + "\n"


def _judgement(found: Comparison, sound: int) -> str:
    """Whether the pieces bear the probabilities out, in a sentence."""
    apart = abs(sound - found.expected)
    if found.too_few:
        return (
            f"Too few to judge by: with fewer than {TOO_FEW} the share of sound pieces is not "
            "known well enough."
        )
    if apart <= 2.0 * found.expected_spread:
        return "As many came out sound as chance allows if the probabilities are right."
    way = "fewer" if sound < found.expected else "more"
    return (
        f"Clearly {way} came out sound than the probabilities say: measure your own materials, or "
        f"take the probabilities as too {'high' if way == 'fewer' else 'low'} here."
    )


def _wrapped(lines: list[str], width: int) -> list[str]:
    """Sentences wrapped, rows of tables as they are."""
    return [
        row
        for line in lines
        for row in ([line] if "  " in line else textwrap.wrap(line, width) or [""])
    ]


def compare_json(found: Comparison) -> str:
    """The comparison as one JSON object with its schema number.

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    str
        Ends in a new line.
    """
    whole = {
        "schema": SCHEMA,
        "pieces": len(found.pairs),
        "pieces_with_probability": len(found.told),
        "sound": sum(pair.sound for pair in found.told),
        "expected_sound": round(found.expected, 6),
        "expected_spread": round(found.expected_spread, 6),
        "brier": None if found.brier is None else round(found.brier, 6),
        "brier_of_share": None if found.brier_of_share is None else round(found.brier_of_share, 6),
        "too_few": found.too_few,
        "classes": [
            {name: round(value, 6) for name, value in vars(c).items()} for c in found.classes
        ],
        "table": [
            {"verdict": verdict, "outcome": outcome, "pieces": count}
            for (verdict, outcome), count in sorted(found.table.items())
        ],
        "waiting": found.unseen,
        "without_prediction": found.unforetold,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def classes_csv(found: Comparison) -> str:
    """The numbers of the calibration figure, one row a class.

    Parameters
    ----------
    found : Comparison
        From `compare`.

    Returns
    -------
    str
        Shares from 0 to 1.
    """
    lines = ["foretold_low,foretold_high,pieces,foretold_mean,sound,sound_low,sound_high"]
    lines += [
        f"{c.low:g},{c.high:g},{c.count},{c.predicted:.4f},{c.observed:.4f},"
        f"{c.observed_low:.4f},{c.observed_high:.4f}"
        for c in found.classes
    ]
    return "\n".join(lines) + "\n"
