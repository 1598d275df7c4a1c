"""What was foretold and what came of it: entries of a record, and how often it was right.

An entry is a flat dictionary of one of three kinds: a "prediction" (a verdict, with what was
foretold of the piece where that was worked out), a "firing", and an "outcome". Entries of one piece
belong together by its name; the order of the record is the order of events. A later outcome of a
piece without a new prediction between corrects the earlier one.

A probability is held against what it is of: that nothing is seen once the kiln is open, against the
outcome "sound". A plan of an older cofire has only that the pot is not lost: held against any
outcome but those of `LOST`, though it counts the year after and no shallow crack. Pots of one
design share cards and what rules are wrong by: they stand or fall together, and count as one trial.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np

from cofire.assessment.rule import VERDICTS
from cofire.errors import InputError
from cofire.evidence.sensitivity import wilson
from cofire.fields import RECORD
from cofire.files import Fields
from cofire.numerics import Array

Entry = Mapping[str, Any]

PREDICTION, FIRING, OUTCOME = KINDS = ("prediction", "firing", "outcome")
SOUND = "sound"
BROKEN = ("cracked", "debonded")
LOST = (*BROKEN, "slumped")
"""Outcomes of a pot that is lost: that chance does not count a lean or camber as one."""
OUTCOMES = RECORD["outcome"].words
SAID = ("outcome", "where", "when", "note")
"""What an outcome says of its piece."""
LONGEST_PIECE, LONGEST_NOTE = 80, 500
CLASSES = 5
"""Classes of predicted probability in the calibration. [-]"""
TOO_FEW = 20
"""With fewer trials the share of any class is known to no better than a fifth either way: then the
comparison says so. Common practice. [-]"""


def words(text: str, field: str, longest: int) -> str:
    """A text on one line, not empty and not too long.

    Parameters
    ----------
    text : str
        As typed.
    field : str
        What the complaint calls it.
    longest : int
        Characters. [-]

    Returns
    -------
    str
        With single spaces.

    Raises
    ------
    InputError
        Blank, too long, or with characters that cannot be seen.
    """
    found = " ".join(text.split())
    if not found or len(found) > longest or not found.isprintable():
        raise InputError(f"{field} = {found[:60]!r}; allowed: 1 to {longest} characters, all seen")
    return found


def prediction_entry(whole: Mapping[str, Any], piece: str | None, where: str) -> dict[str, Any]:
    """The entry of a verdict.

    Parameters
    ----------
    whole : mapping
        What `cofire check --json` printed, or a plan's plan.json.
    piece : str, optional
        Name of the piece; by default that of its vessel.
    where : str
        File, for the complaint.

    Returns
    -------
    dict
        With what was foretold, where the verdict has it: `sound` that nothing is seen once the kiln
        is open, `not_lost` that the pot is not lost.

    Raises
    ------
    InputError
        It is no verdict.
    """
    flags = whole.get("flags")
    if whole.get("verdict") not in VERDICTS or not isinstance(flags, list):
        raise InputError(
            f"{where}: no verdict and flags in it; give what 'cofire check --json' printed, or a "
            "plan's folder"
        )
    utilisations = [f.get("utilisation") for f in flags if isinstance(f, dict)]
    known = [float(x) for x in utilisations if isinstance(x, int | float)]
    entry = {
        "kind": PREDICTION,
        "piece": words(
            piece or str(whole.get("vessel", "")),
            "piece" if piece else f"{where}: vessel",
            LONGEST_PIECE,
        ),
        "vessel": str(whole.get("vessel", "")),
        "verdict": whole["verdict"],
        "decided_by": str(whole.get("decided_by", "")),
        "utilisation": max(
            [*known, *([1.0] if len(known) < len(utilisations) else [])], default=None
        ),
    }
    told = whole.get("uncertainty")
    if isinstance(told, dict):
        for name in ("sound", "not_lost"):
            probability = told.get(name)
            if not isinstance(probability, dict) or not _is_share(probability.get("p")):
                older = "" if name in told else "; if an older cofire wrote it, check again"
                raise InputError(
                    f"{where}: uncertainty: {name}: p = {probability!r}; allowed: 0 to 1{older}"
                )
            entry |= {
                name: float(probability["p"]),
                f"{name}_low": probability.get("low"),
                f"{name}_high": probability.get("high"),
            }
        entry |= {"samples": told.get("samples"), "seed": told.get("seed")}
    else:
        entry |= _planned(whole)
    entry["flags"] = [
        {name: flag.get(name) for name in ("rule", "zone", "verdict", "utilisation")}
        for flag in flags
        if isinstance(flag, dict)
    ]
    entry["by"] = f"cofire {whole.get('cofire', '')}".strip()
    return entry


def _planned(whole: Mapping[str, Any]) -> dict[str, float]:
    """The chances of a plan that its proposal is not lost, and sound when the kiln is opened. [-]

    Those that it has: an older cofire told but the first.
    """
    found: object = whole
    for name in ("designs", "chances", "proposed"):
        found = found.get(name) if isinstance(found, dict) else None
    told = found if isinstance(found, dict) else {}
    return {n: float(p) for n in ("not_lost", "sound") if _is_share(p := told.get(n))}


def _is_share(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1


def outcome_entry(
    piece: str, outcome: str, where: str = "", when: str = "", note: str = ""
) -> dict[str, Any]:
    """The entry of what came of a piece.

    Parameters
    ----------
    piece : str
        Its name.
    outcome : str
        One of OUTCOMES.
    where, when, note : str
        In words; left out where blank.

    Returns
    -------
    dict
        The entry.

    Raises
    ------
    InputError
        Another outcome, or a text that is too long.
    """
    if outcome not in OUTCOMES:
        raise InputError(f"outcome = {outcome[:60]!r}; allowed: {', '.join(OUTCOMES)}")
    entry = {
        "kind": OUTCOME,
        "piece": words(piece, "piece", LONGEST_PIECE),
        "outcome": outcome,
    }
    for name, text in zip(SAID[1:], (where, when, note), strict=True):
        if text.strip():
            entry[name] = words(text, name, LONGEST_NOTE)
    return entry


def read_form(table: Mapping[str, Any], where: str) -> dict[str, str]:
    """What the form of one piece says: those fields that are filled in.

    Parameters
    ----------
    table : mapping
        As parsed, from `cofire new record` or written alike.
    where : str
        Its file, for complaints.

    Returns
    -------
    dict
        Text by name of the field, `piece` always.

    Raises
    ------
    InputError
        An unknown field, one of another kind, or nothing to add but the name.
    """
    fields = Fields(dict(table), where, RECORD)
    found = {"piece": words(fields.text("piece"), f"{where}: piece", LONGEST_PIECE)}
    for name, field in RECORD.items():
        if name in table and name != "piece":
            text = fields.choice(name) if field.words else fields.text(name, "")
            if text.strip():
                found[name] = text
    told = {"where", "when", "note"} & set(found)
    if told and "outcome" not in found:
        raise InputError(f"{where}: {', '.join(sorted(told))}: belongs to an outcome; give outcome")
    if not {"prediction", "firing", "outcome"} & set(found):
        raise InputError(f"{where}: nothing to add; fill in prediction, firing or outcome")
    return found


@dataclass(frozen=True)
class Pair:
    """A prediction and what came of it.

    Attributes
    ----------
    piece, vessel
        Names of the piece and of its vessel.
    verdict
        In a word.
    probability
        That it comes out well; none where none was worked out. [-]
    planned
        Whether that is an older plan's: that the pot is not lost.
    older
        Whether an older cofire foretold that no limit is passed, seen or not: not compared.
    outcome
        Out of OUTCOMES.
    """

    piece: str
    vessel: str
    verdict: str
    probability: float | None
    planned: bool
    older: bool
    outcome: str

    @property
    def well(self) -> bool:
        """Whether it came out as the probability is of: sound, or by an older plan, not lost."""
        return self.outcome not in LOST if self.planned else self.outcome == SOUND


@dataclass(frozen=True)
class Class:
    """Pieces whose predicted probability lies between two ends.

    Attributes
    ----------
    low, high
        Ends of the class. [-]
    count
        Pieces in it.
    predicted
        Mean probability foretold for them. [-]
    observed, observed_low, observed_high
        Share that came out well, with its 95 % interval by the number of designs. [-]
    """

    low: float
    high: float
    count: int
    predicted: float
    observed: float
    observed_low: float
    observed_high: float


@dataclass(frozen=True)
class Comparison:
    """Predicted against observed over a whole record.

    Attributes
    ----------
    pairs
        Predictions with an outcome.
    classes
        By predicted probability, those with pieces in them.
    brier
        Mean square of probability less outcome; none without probabilities. [-]
    brier_of_share
        The same for one who always foretells the share that came out well. [-]
    expected, expected_spread
        Good pieces that the probabilities add up to, and the standard deviation of probability,
        pots of one design standing or falling together. [-]
    table
        Verdict and outcome to number of pieces.
    unseen, unforetold
        Predictions without an outcome, and outcomes without a prediction.
    """

    pairs: tuple[Pair, ...]
    classes: tuple[Class, ...]
    brier: float | None
    brier_of_share: float | None
    expected: float
    expected_spread: float
    table: Mapping[tuple[str, str], int]
    unseen: int
    unforetold: int

    @property
    def told(self) -> tuple[Pair, ...]:
        """Pairs with a probability."""
        return tuple(p for p in self.pairs if p.probability is not None)

    @property
    def older(self) -> int:
        """Pairs with a probability of an older cofire, which no outcome tells. [-]"""
        return sum(p.older for p in self.pairs)

    @property
    def designs(self) -> int:
        """Vessels of those pairs. [-]"""
        return len({p.vessel for p in self.told})

    @property
    def too_few(self) -> bool:
        """Whether there are too few designs to judge by."""
        return self.designs < TOO_FEW


def same(one: Entry, other: Entry) -> bool:
    """Whether two entries of a piece say the same: of one file, or alike in all that they say.

    Parameters
    ----------
    one, other : mapping
        Entries of a record.

    Returns
    -------
    bool
        Of outcomes, where the words are the same too: in others it is another look at the piece.
    """
    if one.get("kind") != other.get("kind") or one.get("piece") != other.get("piece"):
        return False
    if one.get("kind") == OUTCOME:
        return all(one.get(name) == other.get(name) for name in SAID)
    if "sha256" in one and "sha256" in other:
        return bool(one["sha256"] == other["sha256"])
    told = (
        "vessel",
        "verdict",
        "sound",
        "not_lost",
        "utilisation",
        "flags",
        "firing",
        "peak_C",
        "hours",
    )
    return all(one.get(name) == other.get(name) for name in told) and "flags" in one


def paired(entries: Iterable[Entry]) -> tuple[list[Pair], int, int]:
    """Each outcome with the last prediction before it; the same one given again counts once.

    Parameters
    ----------
    entries : iterable of mapping
        In the order of the record.

    Returns
    -------
    tuple
        Pairs in order of their predictions, predictions without an outcome, and outcomes without
        a prediction.
    """
    latest: dict[str, int] = {}
    predictions: list[Entry] = []
    outcomes: dict[int, Entry] = {}
    unforetold = 0
    for entry in entries:
        piece = str(entry.get("piece", ""))
        if entry.get("kind") == PREDICTION:
            if piece in latest and same(predictions[latest[piece]], entry):
                continue
            latest[piece] = len(predictions)
            predictions.append(entry)
        elif entry.get("kind") == OUTCOME:
            if piece in latest:
                outcomes[latest[piece]] = entry
            else:
                unforetold += 1
    pairs = []
    for number in sorted(outcomes):
        foretold, seen = predictions[number], outcomes[number]
        planned = "sound" not in foretold
        older = not planned and "not_lost" not in foretold
        probability = foretold.get("not_lost" if planned else "sound")
        pairs.append(
            Pair(
                str(foretold["piece"]),
                str(foretold.get("vessel") or foretold["piece"]),
                str(foretold.get("verdict", "")),
                float(probability) if _is_share(probability) and not older else None,
                planned,
                older,
                str(seen.get("outcome", "")),
            )
        )
    last = set(latest.values())  # a prediction that a later one replaced is not waiting
    return pairs, len(last - set(outcomes)), unforetold


def compare(entries: Iterable[Entry]) -> Comparison:
    """Predicted against observed.

    Brier 1950, Mon. Weather Rev. 78, 1, with one class of event: 0 is perfect, 0.25 is always
    saying one half.

    Parameters
    ----------
    entries : iterable of mapping
        In the order of the record.

    Returns
    -------
    Comparison
        Of all pairs.
    """
    pairs, unseen, unforetold = paired(entries)
    told = [p for p in pairs if p.probability is not None]
    probability = np.array([p.probability for p in told], dtype=np.float64)
    well = np.array([p.well for p in told], dtype=np.float64)
    vessels = [p.vessel for p in told]
    brier = share = None
    if told:
        brier = float(np.mean((probability - well) ** 2))
        share = float(well.mean() * (1.0 - well.mean()))
    one = np.sqrt(probability * (1.0 - probability))
    together: dict[str, float] = {}
    for vessel, spread in zip(vessels, one.tolist(), strict=True):
        together[vessel] = together.get(vessel, 0.0) + spread
    return Comparison(
        pairs=tuple(pairs),
        classes=classes(probability, well, vessels),
        brier=brier,
        brier_of_share=share,
        expected=float(probability.sum()),
        expected_spread=float(np.sqrt(sum(spread**2 for spread in together.values()))),
        table=dict(Counter((p.verdict, p.outcome) for p in pairs)),
        unseen=unseen,
        unforetold=unforetold,
    )


def classes(
    probability: Array, well: Array, vessels: Sequence[str], count: int = CLASSES
) -> tuple[Class, ...]:
    """Share that came out well in each class of predicted probability.

    Parameters
    ----------
    probability : array
        Foretold, shape (N,). [-]
    well : array
        1 where it came out well, else 0, shape (N,). [-]
    vessels : sequence of str
        Of each piece: those of one are one trial.
    count : int
        Classes of equal width. [-]

    Returns
    -------
    tuple of Class
        Those with pieces in them, by rising probability.
    """
    of = np.minimum((probability * count).astype(np.intp), count - 1)
    found = []
    for k in range(count):
        here = of == k
        if not here.any():
            continue
        number, share = int(here.sum()), float(well[here].mean())
        trials = len({vessel for vessel, within in zip(vessels, here, strict=True) if within})
        found.append(
            Class(
                k / count, (k + 1) / count, number, float(probability[here].mean()), share,
                *wilson(share, trials),
            )
        )  # fmt: skip
    return tuple(found)


def of_piece(entries: Sequence[Entry], piece: str) -> list[Entry]:
    """The entries of one piece, in order.

    Parameters
    ----------
    entries : sequence of mapping
        The record.
    piece : str
        Its name.

    Returns
    -------
    list
        None where there is no such piece.
    """
    return [entry for entry in entries if entry.get("piece") == piece]
