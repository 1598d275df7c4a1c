"""What pieces that were fired teach of cards and rules: weights over the states of `--uncertainty`.

A state is one sample of the cards with one draw of the factors of all rules. Its weight is how
probable it makes what came of every piece (Bayes by importance weights; Gelman et al., Bayesian
Data Analysis, 3rd ed., ch. 10, from memory). Pieces share cards and factors; from piece to piece
they scatter (`model_factors`). A piece may also crack for a reason no rule knows, or a crack be
missed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cofire.assessment.response import fire_vessel
from cofire.assessment.rule import STRESS
from cofire.assessment.verdict import RULES
from cofire.design.ladder import rung_vessel
from cofire.evidence.record import OUTCOME, SOUND, Entry
from cofire.evidence.uncertainty import DRAWS, PROBABLE, Samples, sample_verdicts
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.vessel import Vessel

MISREAD = 0.02
"""Share of the pieces that crack for another reason, or whose crack is missed: estimate. [-]"""
SPEAKING = frozenset(r.name for r in RULES if STRESS in r.sees and not r.after)
"""Rules that a crack or its absence speaks of."""
BROKEN = ("cracked", "debonded")
FEW = 20.0
"""Samples that must be left for weights to be trusted. [-]"""
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
    leave = [rule for rule in piece.rules if rule in PROBABLE or rule not in SPEAKING]
    return np.asarray(piece.below(piece.excess(), leave) * (1.0 - piece.cracks()))


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
        f"a limit passed {100.0 * before.no.value:.0f} % -> {100.0 * after.no.value:.0f} %"
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
    """
    name = piece.split(" (")[0].strip()
    if name == vessel:
        return WHOLE
    start = f"{vessel}, rung "
    if not name.startswith(start):
        return None
    try:
        size = float(name[len(start) :])
    except ValueError:
        return None
    return size if 0.05 <= size <= 5.0 else None


def outcomes_of(entries: Sequence[Entry], vessel: str) -> list[tuple[str, float, str]]:
    """Name, size and outcome of each piece of a vessel in a record; a later outcome corrects.

    Parameters
    ----------
    entries : sequence of mapping
        The record, in its order.
    vessel : str
        Name of the vessel.

    Returns
    -------
    list of tuple
        In the order of the record.
    """
    found: dict[str, tuple[float, str]] = {}
    for entry in entries:
        piece = str(entry.get("piece", ""))
        size = size_of(piece, vessel)
        if entry.get("kind") == OUTCOME and size is not None:
            found[piece] = (size, str(entry.get("outcome", "")))
    return [(piece, *rest) for piece, rest in found.items()]


NAMED = 4
"""Pieces that are named. [-]"""


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
    outcomes = (entry for entry in entries if entry.get("kind") == OUTCOME)
    others = list(dict.fromkeys(str(entry.get("piece", "")) for entry in outcomes))
    told = ", ".join(map(repr, others[:NAMED])) or "none"
    more = f" and {len(others) - NAMED} more" if len(others) > NAMED else ""
    return (
        f"nothing: no outcome of a piece named {vessel!r}, or '{vessel}, rung 1.50' of its ladder; "
        f"the record has {told}{more}"
    )


def learn_from(
    samples: Samples, vessel: Vessel, cards: Mapping[str, Card], entries: Sequence[Entry]
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

    Returns
    -------
    Samples
        As given where the record has nothing of this vessel, but for a line that says so.
    """
    seen = outcomes_of(entries, vessel.name)
    by_size = {WHOLE: samples}
    for _, size, outcome in seen:
        if size in by_size or outcome not in (SOUND, *BROKEN):
            continue
        response = fire_vessel(rung_vessel(vessel, size), cards, extend=True)
        by_size[size] = sample_verdicts(response, like=samples)
    if not seen:
        return replace(samples, taught=(*samples.taught, no_piece(entries, vessel.name)))
    pieces = [FiredPiece(name, out, by_size.get(size, samples)) for name, size, out in seen]
    return learned(samples, pieces)
