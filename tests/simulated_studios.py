"""Simulated studios: is a probability meant as it is said, and do the advised pieces save pots?

    python -m tests.simulated_studios [SAMPLES] [STUDIOS]

A studio has true cards (a draw that the planner does not have), a kiln that runs off by up to 1.5
%, all three alike often, and true factors of all rules, drawn as the planner's are. It plans: of
the designs of its pair the one most probably whole when cold. It fires the pieces that `advise`
names before anything is known, sees what they show, weighs its states by that, plans again and
fires the pot if it is more probably whole than not. Beside it: the design as given, the plan
without pieces, as many kinds of pieces chosen at random. A call is wrong where a pot is fired and
lost, or given up and would have been whole.

Planner and world share cards' uncertainties, rules and the spread of factors: this tests the
reckoning (weights, draws, coarse samples, the kiln that is not in it), not the physics. Bars leave
of an uncertainty what differs from batch to batch; rings break by the ratio of their utilisation to
the pot's at the cards as they stand.

Expected: probabilities within their intervals of the frequencies in every bin; a lower Brier score
after the pieces; fewer wrong calls with advice than without, and no more than with random pieces.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cofire.assessment.chance import chance_kept, together
from cofire.assessment.crack_rules import modulus_of
from cofire.assessment.model_factors import drawn_factors, factor_of
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.verdict import PROBABLE, judge
from cofire.design.ladder import by_rule, ladder
from cofire.evidence.advice import Option, advise, options_for, reading
from cofire.evidence.learning import MISREAD, SPEAKING, soundness
from cofire.evidence.measure_next import measure_next
from cofire.evidence.sensitivity import wilson
from cofire.evidence.uncertainty import Samples, sample_verdicts
from cofire.firing.kiln import Trace
from cofire.firing.program import load_kilns
from cofire.materials.card import Card, pure_cards
from cofire.materials.catalogue import load_cards
from cofire.numerics import Array
from cofire.units import ROOM
from cofire.vessel_file import read_vessel

EXAMPLES = Path(__file__).parents[1] / "examples"
PAIRS = (
    ("fine silver", "fritted body", "silver_on_frit_firing.toml"),
    ("copper", "talc body", "copper_on_talc_firing.toml"),
)
DESIGNS = (((), 1.5, 1.0), ((50,), 1.5, 2.0), ((), 2.0, 1.5), ((), 2.0, 3.0))
"""Metal in the bands between [%], and by how much the body's recipe raises its expansion, and its
strength and toughness, of each design; the first is as given. Made up, so that the pots neither all
hold nor all crack. [-]"""
WALL, RADIUS = 0.8, 12.0
"""Of the pots: small and thin, so that they neither all hold nor all crack. [mm]"""
KILNS = (-0.015, 0.0, 0.015)
"""By how much of its temperature above the room a kiln runs off. [-]"""
BINS = 10


@dataclass(frozen=True)
class Design:
    """One design of a pair, fired with the planner's samples and with the true ones.

    Attributes
    ----------
    planner, world
        Verdicts, of rules of cracks on the day alone.
    options
        Pieces that can be fired.
    """

    planner: Samples
    world: Samples
    options: tuple[Option, ...]


def cards_with(body: str, raised: float, tougher: float) -> dict[str, Card]:
    """The shipped cards with the body's expansion, strength and toughness raised."""
    cards = load_cards()
    recipe = cards[body].scaled("thermal_expansion", raised)
    for name in ("strength", "fracture_toughness"):
        recipe = recipe.scaled(name, tougher)
    return {**cards, body: recipe}


def pot(
    metal: str, body: str, firing: str, shares: tuple[int, ...], cards: dict[str, Card]
) -> Response:
    """A small pot of some bands, fired with the cards as they stand."""
    blends = [f"{metal} + {body} = {share}" for share in shares]
    names, top = [metal, *blends, body], 0.0
    bands: list[dict[str, object]] = []
    for k, name in enumerate(names):
        top += 10.0 if k in (0, len(names) - 1) else 4.0
        bands.append({"material": name, "to_mm": top})
    del bands[-1]["to_mm"]
    vessel = read_vessel(
        {
            "name": f"pot of {len(names)} bands",
            "profile": {"shape": "cylinder", "radius_mm": RADIUS, "height_mm": top,
                        "wall_mm": WALL},
            "band": bands,
        },
        load_kilns(),
        firing=EXAMPLES / firing,
    )  # fmt: skip
    return fire_vessel(vessel, cards, extend=True)


def off(response: Response, by: float, cards: dict[str, Card]) -> Response:
    """The pot in a kiln that runs hotter by a share."""
    t = response.trace
    curve = Trace(
        t.time, ROOM + (t.ware - ROOM) * (1.0 + by), ROOM + (t.kiln - ROOM) * (1.0 + by),
        t.breakpoints, t.gas,
    )  # fmt: skip
    return fire_vessel(response.vessel, cards, extend=True, curve=curve)


def joined(parts: list[Samples]) -> Samples:
    """Samples of several kilns as one."""
    flags = tuple(dict.fromkeys(flag for p in parts for flag in p.flags))

    def column(p: Samples, table: Array, flag: tuple[str, str], none: float) -> Array:
        if flag not in p.flags:
            return np.full(len(table), none)
        return np.asarray(table[:, p.flags.index(flag)])

    used = [np.stack([column(p, p.utilisation, f, 0.0) for f in flags], 1) for p in parts]
    caution = [np.stack([column(p, p.caution, f, 1.0) for f in flags], 1) for p in parts]
    return replace(
        parts[0], flags=flags, utilisation=np.vstack(used), caution=np.vstack(caution),
        deviates=np.vstack([p.deviates for p in parts]),
        kept=tuple(k for p in parts for k in p.kept),
    )  # fmt: skip


def designs_of(metal: str, body: str, firing: str, count: int) -> list[Design]:
    """All designs of a pair, at shared points of planner and world."""
    found: list[Design] = []
    first: Samples | None = None
    true: list[Samples] = []
    for shares, raised, tougher in DESIGNS:
        cards = cards_with(body, raised, tougher)
        response = pot(metal, body, firing, shares, cards)
        planner = sample_verdicts(response, count, 1, like=first)
        first = first or planner
        worlds = []
        for k, by in enumerate(KILNS):
            like = true[k] if len(true) > k else None
            part = sample_verdicts(off(response, by, cards), max(count // len(KILNS), 8), 100 + k,
                                   like=like)  # fmt: skip
            if like is None:
                true.append(part)
            worlds.append(part)
        ranking = measure_next(planner)
        own, rungs = by_rule(judge(response)), ladder(response, pure_cards(response.cards))
        rings = [{r: u / own[r] for r, u in g.by_rule.items() if own.get(r, 0.0) > 0.0}
                 for g in rungs]  # fmt: skip
        options = options_for([i.factor for i in ranking.influences], rings)
        found.append(Design(planner.of(SPEAKING), joined(worlds).of(SPEAKING), tuple(options)))
    return found


def true_soundness(world: Samples, row: int, log: dict[str, float]) -> float:
    """Probability that a piece of one studio is whole, its factors known."""
    by_rule = {}
    for rule in world.rules:
        own = [k for k, (name, _) in enumerate(world.flags) if name == rule]
        modulus = modulus_of(world.caution[[row]][:, own]) if rule in PROBABLE else None
        used, factor = world.utilisation[[row]][:, own], np.array([log[rule]])
        by_rule[rule] = chance_kept(rule, used, factor, modulus)
    return together(by_rule, PROBABLE).item()


def log_used(samples: Samples, rule: str) -> Array:
    """Logarithm of the most that a rule uses up of its limit in each sample, shape (N,). [-]"""
    own = [k for k, (name, _) in enumerate(samples.flags) if name == rule]
    return np.asarray(np.log(np.maximum(samples.known[:, own].max(axis=1), 1e-9)))


def weighed(
    design: Design, options: tuple[Option, ...], row: int, log: dict[str, float],
    rng: np.random.Generator,
) -> Array:  # fmt: skip
    """Weights of the planner's states after some pieces of one studio were fired."""
    s, world = design.planner, design.world
    found = np.zeros_like(s.weights)
    for option in options:
        for factor in option.factors:
            k, off = reading(s, factor)
            if off < np.inf:
                seen = world.deviates[row, k] + off * rng.standard_normal()
                found -= 0.5 * ((s.deviates[:, k] - seen) / off)[:, None] ** 2
        for ratio in option.rings:
            whole = MISREAD + (1.0 - 2.0 * MISREAD) * soundness(s.scaled(ratio))
            held = rng.random() < true_soundness(world.scaled(ratio), row, log)
            found += np.log(whole if held else 1.0 - whole)
    weight = np.exp(found - found.max())
    return np.asarray(weight / weight.sum())


Said = tuple[float, bool, int]
"""Probability, what came, and the studio: its designs share truth and luck. [-]"""


@dataclass
class Tally:
    """What was said of pots and what came of them."""

    before: list[Said]
    after: list[Said]
    lost: dict[str, list[bool]]
    wrong: dict[str, list[bool]]
    covered: list[bool]


def studios(designs: list[Design], count: int, rng: np.random.Generator, tally: Tally) -> str:
    """Run studios of one pair; returns what was advised."""
    whole = [soundness(d.planner) for d in designs]
    said = [float((d.planner.weights * w).sum()) for d, w in zip(designs, whole, strict=True)]
    plan = int(np.argmax(said))
    design = designs[plan]
    advice = advise(design.planner, design.options)
    kinds = advice.chosen or advice.options[:1]
    rules = sorted({rule for d in designs for rule in d.world.rules})
    worlds = min(len(d.world.utilisation) for d in designs)
    rows = rng.permutation(-(-count // worlds) * worlds) % worlds  # of every kiln alike
    draws = drawn_factors(rules, 1 << (max(count, 2) - 1).bit_length(), int(rng.integers(1 << 30)))
    for row, draw in zip(rows[:count].tolist(), draws[:count], strict=True):
        log = dict(zip(rules, draw.tolist(), strict=True))
        truth = [true_soundness(d.world, row, log) for d in designs]
        luck = float(rng.random())
        weight = weighed(design, kinds, row, log, rng)
        later = [float((weight * w).sum()) for w in whole]
        chance = rng.choice(len(design.options), min(len(kinds), len(design.options)), False)
        blind = weighed(design, tuple(design.options[k] for k in chance), row, log, rng)
        guesses = [float((blind * w).sum()) for w in whole]
        guess = int(np.argmax(guesses))
        again = int(np.argmax(later))
        studio = len(tally.wrong.get("as given", ()))
        tally.before += [(p, luck < t, studio) for p, t in zip(said, truth, strict=True)]
        tally.after += [(p, luck < t, studio) for p, t in zip(later, truth, strict=True)]
        for name, k, chances in (
            ("as given", 0, said),
            ("planned, no pieces", plan, said),
            ("random pieces", guess, guesses),
            ("advised pieces", again, later),
        ):
            holds = luck < truth[k]
            tally.lost.setdefault(name, []).append(not holds)
            tally.wrong.setdefault(name, []).append(holds != (chances[k] > 0.5))
        for k, rule in enumerate(design.planner.rules):
            if factor_of(rule).common <= 0.0 or rule not in design.world.rules:
                continue
            states = log_used(design.planner, rule)[:, None] + design.planner.log_factors[:, k]
            order = np.argsort(states, axis=None)
            share = weight.ravel()[order].cumsum()
            low, high = states.ravel()[order][np.searchsorted(share, [0.05, 0.95]).clip(
                0, states.size - 1)]  # fmt: skip
            true = log_used(design.world, rule)[row] + log[rule]
            tally.covered.append(bool(low <= true <= high))
    return (
        f"whole, by design: {', '.join(f'{p:.2f}' for p in said)}; advised: "
        f"{' + '.join(o.name for o in kinds)}"
    )


def table(pairs: list[Said]) -> list[str]:
    """Reliability in ten bins; the interval goes by how many studios a bin has in it."""
    told, came, studio = (np.array(x, float) for x in zip(*pairs, strict=True))
    lines = [f"  {'said':>12}{'n':>7}{'mean said':>11}{'came':>7}  95 % interval"]
    for k in range(BINS):
        here = np.minimum((told * BINS).astype(int), BINS - 1) == k
        if here.any():
            share, n = float(came[here].mean()), int(here.sum())
            low, high = wilson(share, np.unique(studio[here]).size)
            outside = "" if low <= told[here].mean() <= high else "  outside"
            lines.append(f"  {k / BINS:5.1f} to {(k + 1) / BINS:3.1f}{n:7}{told[here].mean():11.2f}"
                         f"{share:7.2f}  {low:.2f} to {high:.2f}{outside}")  # fmt: skip
    return lines


def brier(pairs: list[Said]) -> float:
    """Mean square of what was said less what came."""
    told, came, _ = (np.array(x, float) for x in zip(*pairs, strict=True))
    return float(np.mean((told - came) ** 2))


def report(samples: int, count: int) -> str:
    """Everything, as printed."""
    rng = np.random.default_rng(20)
    tally = Tally([], [], {}, {}, [])
    lines = []
    for metal, body, firing in PAIRS:
        designs = designs_of(metal, body, firing, samples)
        share = -(-count // len(PAIRS))
        lines.append(f"{metal} on {body}: {share} studios; {studios(designs, share, rng, tally)}")
    lines += ["before the pieces", *table(tally.before), "after the pieces", *table(tally.after)]
    lines.append(f"Brier score {brier(tally.before):.3f} before, {brier(tally.after):.3f} after, "
                 f"{len(tally.before)} pots said of")  # fmt: skip
    for what, by in (("pots lost if all are fired", tally.lost), ("wrong calls", tally.wrong)):
        told = ", ".join(f"{name} {100 * np.mean(hits):.0f} %" for name, hits in by.items())
        lines.append(f"{what}: {told}")
    low, high = wilson(float(np.mean(tally.covered)), len(tally.covered))
    lines.append(
        f"coverage of 90 % intervals of utilisations after the pieces: "
        f"{100 * np.mean(tally.covered):.0f} % ({100 * low:.0f} to {100 * high:.0f})"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    given = [int(x) for x in sys.argv[1:3]]
    sys.stdout.write(report(*(given + [256, 300][len(given) :])) + "\n")
