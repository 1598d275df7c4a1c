"""What pieces that were fired teach of cards and rules: weights over the states of `--uncertainty`.

A state is one sample of the cards with one draw of the factors of all rules. Its weight is how
probable it makes what came of every piece (Bayes by importance weights; Gelman et al., Bayesian
Data Analysis, 3rd ed., ch. 10, from memory). Pieces share cards and factors; from piece to piece
they scatter (`model_factors`). A piece may also crack for a reason no rule knows, or a crack be
missed.

A piece may have been of another design of the same name: the last prediction before its outcome
says what each rule used up of its limit then, and the piece is read at today's samples with each
rule's utilisation by that ratio, as a ring is. Without a prediction it counts as of today's design.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.response import fire_vessel
from cofire.assessment.rule import STRESS
from cofire.assessment.verdict import RULES, Verdict
from cofire.design.ladder import rung_vessel
from cofire.evidence.record import BROKEN, OUTCOME, PREDICTION, SOUND, Entry, same
from cofire.evidence.uncertainty import DRAWS, Samples, sample_verdicts
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.units import counted
from cofire.vessel import Vessel

MISREAD = 0.02
"""Share of the pieces that crack for another reason, or whose crack is missed: estimate. [-]"""
SPEAKING = frozenset(r.name for r in RULES if STRESS in r.sees and not r.after)
"""Rules that a crack or its absence speaks of."""
FEW = 20.0
"""Samples that must be left for weights to be trusted. [-]"""
FEW_DRAWS = 10.0
"""Draws of the rules' factors that must be left: with ten a factor is known to a third of its
spread. [-]"""
OTHER = 0.05
"""Change of a utilisation from which a piece counts as of another design: our choice. [-]"""
TELLS, FURTHEST = 0.01, 100.0
"""Utilisations count as no less where their ratio is told, which lies within so many times one. [-]
"""
WHOLE = 0.0
"""Stands for the vessel itself among sizes of rings."""
TOLD = 0.3
"""Shift of a factor or property, in standard deviations, from which it is told. [-]"""


@dataclass(frozen=True)
class FiredPiece:
    """A piece, what came of it, and the verdicts on it at the points of the pot's samples."""

    name: str
    outcome: str
    samples: Samples


@dataclass(frozen=True)
class Seen:
    """What a record says of one piece of a vessel.

    Attributes
    ----------
    piece
        Its name.
    size
        Of a ring over the vessel; `WHOLE` for the vessel itself. [-]
    outcome
        Out of `record.OUTCOMES`.
    used
        What each rule of `SPEAKING` used up of its limit by the last prediction before it, the
        vessel's own for a ring; empty without one. [-]
    """

    piece: str
    size: float
    outcome: str
    used: Mapping[str, float]


def soundness(piece: Samples) -> Array:
    """Probability that a piece shows no crack, in each state, shape (N, `DRAWS`). [-]

    Parameters
    ----------
    piece : Samples
        Verdicts on it.

    Returns
    -------
    array
        Of rules of stress alone: a piece that slumps is not cracked.
    """
    return piece.within(SPEAKING)


def likelihood(piece: FiredPiece, count: int) -> Array:
    """How probable what came of a piece is in each state of the pot's design.

    Parameters
    ----------
    piece : FiredPiece
        With outcome sound, cracked or debonded.
    count : int
        Points of the design. [-]

    Returns
    -------
    array
        Shape (count, `DRAWS`); one half where the piece could not be fired with a sample. [-]
    """
    sound = soundness(piece.samples)
    seen = sound if piece.outcome == SOUND else 1.0 - sound
    found = np.full((count, DRAWS), 0.5)
    kept = piece.samples.kept or tuple(range(len(sound)))
    found[list(kept)] = MISREAD + (1.0 - 2.0 * MISREAD) * seen
    return found


def learned(samples: Samples, pieces: Sequence[FiredPiece]) -> Samples:
    """The samples of a pot with the weights that fired pieces give them.

    Parameters
    ----------
    samples : Samples
        Of the pot.
    pieces : sequence of FiredPiece
        Those that cambered or slumped teach nothing here, and that is said.

    Returns
    -------
    Samples
        With `weight` and `taught`; as given where nothing was taught.
    """
    speaking = [p for p in pieces if p.outcome == SOUND or p.outcome in BROKEN]
    dumb = [p.name for p in pieces if p not in speaking]
    silent = f"not used, since neither sound nor cracked: {', '.join(dumb)}"
    if not speaking:
        return replace(samples, taught=(*samples.taught, silent)) if dumb else samples
    kept = list(samples.kept or range(len(samples.utilisation)))
    log = np.zeros_like(samples.weights)
    for piece in speaking:
        log += np.log(likelihood(piece, max(kept) + 1)[kept])
    weight = samples.weights * np.exp(log - log.max())
    after = replace(samples, weight=weight / weight.sum(), taught=())
    lines = [*samples.taught, _told(samples, after, speaking), *([silent] if dumb else [])]
    if after.effective < FEW:
        lines.append(
            f"only {after.effective:.0f} of {len(weight)} samples still count: what came out is "
            "far from what the cards foretold; take more samples, or measure the cards"
        )
    share = after.weights.sum(axis=0)
    draws = float(1.0 / np.sum(share**2))
    if draws < FEW_DRAWS:
        lines.append(
            f"only {draws:.0f} of {share.size} draws of what rules may be wrong by still count: "
            "the chances are rough, and what came out is far from what the rules foretold"
        )
    return replace(after, taught=tuple(lines))


def _told(before: Samples, after: Samples, pieces: Sequence[FiredPiece]) -> str:
    """What was learned, in one line."""
    broke = sum(p.outcome != SOUND for p in pieces)
    parts = [f"{broke} of {len(pieces)} fired pieces broke"]
    share = after.weights.sum(axis=0)
    shifts = {}
    for k, rule in enumerate(after.rules):
        log = after.log_factors[:, k]
        if log.std() > 0.0 and rule in SPEAKING:
            shifts[rule] = (float(share @ log), float(log.std()))
    moved = sorted(shifts.items(), key=lambda item: -abs(item[1][0]) / item[1][1])
    parts += [
        f"factor of the rule {rule} {np.exp(mean):.2g}, was 1"
        for rule, (mean, spread) in moved[:2]
        if abs(mean) > TOLD * spread
    ]
    middle = after.weights.sum(axis=1) @ after.deviates
    order = np.argsort(-np.abs(middle))[:2]
    parts += [
        f"{after.factors[k].name.replace('_', ' ')} of {after.factors[k].material} by "
        f"{middle[k]:+.1f} of its standard uncertainty"
        for k in order
        if abs(middle[k]) > TOLD
    ]
    parts.append(
        f"not lost {100.0 * before.not_lost.value:.0f} % -> {100.0 * after.not_lost.value:.0f} %"
    )
    return "; ".join(parts)


def size_of(piece: str, vessel: str) -> float | None:
    """Size of a ring of a vessel's ladder, from the name of a piece; 0 for the vessel itself.

    Parameters
    ----------
    piece : str
        As the record has it; a number in brackets behind it tells like pieces apart.
    vessel : str
        Name of the vessel.

    Returns
    -------
    float or None
        None for a piece of another vessel. [-]

    Examples
    --------
    >>> size_of("bowl, rung 0.50 (2)", "bowl"), size_of("bowl", "bowl"), size_of("jar", "bowl")
    (0.5, 0.0, None)
    >>> size_of("cup (gold)", "cup (gold)"), size_of("cup (gold) (2)", "cup (gold)")
    (0.0, 0.0)
    """
    name = re.sub(r" \(\d+\)$", "", piece)
    if vessel in (piece, name):
        return WHOLE
    start = f"{vessel}, rung "
    if not name.startswith(start):
        return None
    try:
        size = float(name[len(start) :])
    except ValueError:
        return None
    return size if 0.05 <= size <= 5.0 else None


def utilisations(flags: Iterable[tuple[str, object]]) -> dict[str, float]:
    """What each rule that a crack speaks of uses up of its limit.

    Parameters
    ----------
    flags : iterable of tuple
        Rule and utilisation of each; what is no finite number is left out. [-]

    Returns
    -------
    dict
        The largest of each rule. [-]
    """
    found: dict[str, float] = {}
    for rule, used in flags:
        if rule in SPEAKING and isinstance(used, int | float) and np.isfinite(used):
            found[rule] = max(found.get(rule, 0.0), float(used))
    return found


def ratios(then: Mapping[str, float], now: Mapping[str, float]) -> dict[str, float]:
    """Utilisations of a piece over today's, by rule; empty where it is of today's design.

    Parameters
    ----------
    then, now : mapping
        By rule. [-]

    Returns
    -------
    dict
        Of the rules of today; a rule that had nothing to say then used up nothing. [-]
    """
    if not then:
        return {}
    found = {
        rule: float(np.clip(max(then.get(rule, 0.0), TELLS) / max(used, TELLS), 1.0 / FURTHEST,
                            FURTHEST))
        for rule, used in now.items()
    }  # fmt: skip
    apart = max((abs(ratio - 1.0) for ratio in found.values()), default=0.0)
    return found if apart > OTHER else {}


def outcomes_of(entries: Sequence[Entry], vessel: str) -> list[Seen]:
    """What came of each piece of a vessel in a record.

    A piece is of the vessel by its name (`size_of`), or where the prediction before it names the
    vessel. A later outcome corrects; after another prediction of the piece it is another piece.

    Parameters
    ----------
    entries : sequence of mapping
        The record, in its order.
    vessel : str
        Name of the vessel.

    Returns
    -------
    list of Seen
        In the order of the record.
    """
    found: list[Seen] = []
    current: dict[str, int] = {}
    foretold: dict[str, Entry] = {}
    own: Entry = {}
    for entry in entries:
        piece, kind = str(entry.get("piece", "")), entry.get("kind")
        size = size_of(piece, vessel)
        if kind == PREDICTION and (size is not None or entry.get("vessel") == vessel):
            if piece not in foretold or not same(foretold[piece], entry):
                current.pop(piece, None)
            foretold[piece] = entry
            own = entry if size in (None, WHOLE) else own
        elif kind == OUTCOME and (size is not None or piece in foretold):
            before = foretold.get(piece, own) if size in (None, WHOLE) else own
            told = before.get("flags")
            flags = [f for f in told if isinstance(f, Mapping)] if isinstance(told, list) else []
            one = Seen(
                piece, WHOLE if size is None else size, str(entry.get("outcome", "")),
                utilisations((str(f.get("rule")), f.get("utilisation")) for f in flags),
            )  # fmt: skip
            if piece in current:
                found[current[piece]] = one
            else:
                current[piece] = len(found)
                found.append(one)
    return found


NAMED = 4
"""Pieces that are named. [-]"""


def _other_pieces(entries: Sequence[Entry], read: Set[str]) -> str:
    """Names of pieces with an outcome besides those that were read; the first few."""
    outcomes = (entry for entry in entries if entry.get("kind") == OUTCOME)
    names = dict.fromkeys(str(entry.get("piece", "")) for entry in outcomes)
    others = [name for name in names if name not in read]
    more = f" and {len(others) - NAMED} more" if len(others) > NAMED else ""
    return ", ".join(map(repr, others[:NAMED])) + more


def no_piece(entries: Sequence[Entry], vessel: str) -> str:
    """That no piece of a record with an outcome is of a vessel, and under which name one would be.

    Parameters
    ----------
    entries : sequence of mapping
        The record.
    vessel : str
        Name of the vessel.

    Returns
    -------
    str
        A line.

    Examples
    --------
    >>> no_piece([{"kind": "outcome", "piece": "pot a"}], "bowl").partition("; ")[2]
    "the record has 'pot a'"
    """
    told = _other_pieces(entries, set()) or "none"
    return (
        f"nothing: no outcome of a piece named {vessel!r}, '{vessel} (2)' or '{vessel}, rung 1.50' "
        f"of its ladder, nor of one with a prediction of it; the record has {told}"
    )


def learn_from(
    samples: Samples,
    vessel: Vessel,
    cards: Mapping[str, Card],
    entries: Sequence[Entry],
    verdict: Verdict,
) -> Samples:
    """What a record of a vessel's rings and of the vessel itself teaches.

    Each size of ring is fired with every sample's cards.

    Parameters
    ----------
    samples : Samples
        Of the vessel.
    vessel : Vessel
        With its joints as drawn: those of its rings are sharp (`ladder_of_rings`).
    cards : mapping
        Materials by name.
    entries : sequence of mapping
        A record.
    verdict : Verdict
        On the vessel, with the cards as they stand.

    Returns
    -------
    Samples
        As given where the record has nothing of this vessel, but for a line that says so.
    """
    seen = outcomes_of(entries, vessel.name)
    if not seen:
        return replace(samples, taught=(*samples.taught, no_piece(entries, vessel.name)))
    now = utilisations((flag.rule, flag.utilisation) for flag in verdict.flags)
    by_size = {WHOLE: samples}
    pieces, changed = [], []
    for one in seen:
        if one.size not in by_size and one.outcome in (SOUND, *BROKEN):
            response = fire_vessel(rung_vessel(vessel, one.size), cards, extend=True)
            by_size[one.size] = sample_verdicts(response, like=samples)
        ratio = ratios(one.used, now)
        if ratio:
            changed.append((one, max(ratio, key=lambda rule: abs(np.log(ratio[rule])))))
        piece = by_size.get(one.size, samples).scaled(ratio)
        pieces.append(FiredPiece(one.piece, one.outcome, piece))
    after = learned(samples, pieces)
    blind = sum(not one.used for one in seen)
    lines = [
        f"{one.piece}, {one.outcome}: read as another design than today's ({rule} "
        f"{one.used.get(rule, 0.0):.2g} of its limit then, {now[rule]:.2g} now)"
        for one, rule in changed[:NAMED]
    ]
    if len(changed) > NAMED:
        lines.append(f"and {len(changed) - NAMED} more of other designs")
    if blind:
        lines.append(
            f"{counted(blind, 'piece')} without a prediction before: read as of today's design"
        )
    if others := _other_pieces(entries, {one.piece for one in seen}):
        lines.append(f"left out, of other names: {others}")
    lines.append("each as fired as its prediction says: a firing logged in the record is not read")
    return replace(after, taught=(*after.taught, *lines))
