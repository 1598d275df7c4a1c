"""The verdict: what it says, and that it moves the way the trade expects."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pytest

from cofire.assessment.cautions import cautions
from cofire.assessment.check import Check
from cofire.assessment.response import Response, changed, fire_vessel
from cofire.assessment.rule import CAUTION, GO, NO, Flag, not_computed
from cofire.assessment.verdict import RULES, Verdict, judge, worst_first
from cofire.physics.blends import find_material
from cofire.report.plan import decided_all
from cofire.report.verdict import as_json, as_text, decided, ends_line, number, passed_too
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, COARSE, KILNS, sharply, tea_light, written_vessel

EXAMPLES = {
    path.stem: path
    for path in sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
    if "[profile]" in path.read_text(encoding="utf-8")
}
RULE_NAMES = tuple(rule.name for rule in RULES)


@dataclass(frozen=True)
class Pot:
    """A small pot of two zones, and its firing: one field a thing that a potter changes."""

    low: str = "fine silver"
    high: str = "fritted body"
    step: float = 18.0
    blends: tuple[int, ...] = ()
    transition: float = 36.0
    walls: tuple[float, float] = (4.0, 4.0)
    size: float = 1.0
    gas: str = "air"
    binder_ramp: float = 60.0
    peak: float = 860.0
    hold: float = 75.0
    past_set_point: float = 100.0
    scaled: tuple[tuple[str, str, float], ...] = ()

    def profile(self) -> str:
        """The table of its middle surface, in mm; the wall may change at the step."""
        k = self.size
        lower, upper = (k * wall for wall in self.walls)
        edges = ((0, lower), (self.step - 1, lower), (self.step + 1, upper), (60, upper))
        return "z_mm,r_mm,wall_mm\n" + "".join(f"{k * z},{k * 33},{w}\n" for z, w in edges)

    def text(self) -> str:
        """The vessel's file: heights in mm, rates in °C/h."""
        bands = [(self.low, self.step)]
        for n, share in enumerate(self.blends, 1):
            top = self.step + self.transition * n / len(self.blends)
            bands.append((f"{self.low} + {self.high} = {share}", top))
        listed = "".join(f'[[band]]\nmaterial = "{m}"\nto_mm = {self.size * z}\n' for m, z in bands)
        segments = (
            (420.0, self.binder_ramp, 60.0), (self.peak, 150.0, self.hold), (650.0, 150.0, 0.0),
            (400.0, self.past_set_point, 0.0),
        )  # fmt: skip
        rows = ", ".join(f"{{to_C={t}, rate_C_per_h={r}, hold_min={h}}}" for t, r, h in segments)
        return (
            'name = "pot"\n[profile]\ncsv = "profile.csv"\nsurface = "middle"\n'
            f'{listed}[[band]]\nmaterial = "{self.high}"\n'
            f'[firing]\ngas = "{self.gas}"\nlag_min = 8\nsegment = [{rows}]\n'
        )


@cache
def flag(rule: str, utilisation: float) -> Flag:
    """A flag with a name and a utilisation."""
    return Flag(
        rule=rule, zone="zone", utilisation=utilisation, caution=0.5, figure=1.0, limit=10.0,
        unit="%", source="source", note="note",
    )  # fmt: skip


@cache
def judged(pot: Pot) -> Verdict:
    """Fired coarsely: the direction of a change is asked for, not its last digit."""
    cards = dict(CARDS)
    for name, prop, factor in pot.scaled:
        cards[name] = cards[name].scaled(prop, factor)
    vessel = written_vessel(pot.text(), pot.profile())
    return judge(fire_vessel(vessel, cards, control=COARSE, fineness=0.5))


def utilisation(pot: Pot, rule: str, zone: str = "") -> float:
    """Largest utilisation of a rule, in one zone or in all."""
    return max(f.utilisation for f in judged(pot).flags if f.rule == rule and zone in (f.zone, ""))


BASE = Pot()
GRADED = Pot(blends=(75, 50, 25))
THIN, LARGE = Pot(walls=(3.0, 3.0)), Pot(walls=(3.0, 3.0), size=2.0)
BODY = "fritted body"

# Vessels that differ in one thing each, and how their verdict must move: before, after, the flag,
# its zone ("" for the worst of all), the way, and why the trade expects it (common practice where
# no source is named).
EXPECTED: dict[str, tuple[Pot, Pot, str, str, str, str]] = {
    "zones swapped": (
        BASE, Pot(low=BODY, high="fine silver", step=42.0), "sag", BODY, "up",
        "a metal rim weighs four times as much on the softened body below it",
    ),
    "wall twice as thick": (
        BASE, Pot(walls=(8.0, 8.0)), "gradient", BODY, "up",
        "the inside of a thick wall follows late, by the square of its thickness",
    ),
    "wall twice as thick, its binder": (
        BASE, Pot(walls=(8.0, 8.0)), "burnout", BODY, "up",
        "twice the gas has twice the way out",
    ),
    "metal side thicker than the body": (
        BASE, Pot(walls=(8.0, 4.0)), "cooling", BODY, "up",
        "the stiffer side bends the other: metal is thinned beside a ceramic, not thickened",
    ),
    "partner that contracts more alike": (
        BASE, Pot(high="leucite porcelain"), "cooling", "", "down",
        "a body whose contraction is nearer to the metal's is under less tension when cold",
    ),
    "taller transition": (
        Pot(blends=(75, 50, 25), transition=12.0), GRADED, "cooling", BODY, "down",
        "the same steps over more height bend the wall less; one decay length is 9 mm here",
    ),
    "graded over 36 mm": (
        BASE, GRADED, "cooling", BODY, "down",
        "blends between the zones take the mismatch in smaller steps",
    ),
    "graded over 36 mm, its cracks": (
        BASE, GRADED, "through crack", "", "down",
        "each of several steps stores less than one",
    ),
    "slower through the set point": (
        BASE, Pot(past_set_point=5.0), "cooling", BODY, "down",
        "glass and metal have time to give: annealing",
    ),
    "carbon pack": (
        BASE, Pot(gas="carbon"), "core", BODY, "up",
        "without air the binder's char stays in the body: black core",
    ),
    "copper in air": (
        Pot(low="copper", gas="carbon"), Pot(low="copper"), "atmosphere", "copper", "up",
        "copper burns to oxide outside a pack",
    ),
    "more free quartz": (
        BASE, Pot(scaled=((BODY, "free_quartz", 2.0),)), "gradient", BODY, "up",
        "quartz inverts at 573 °C, inside and outside at different times: dunting",
    ),
    "hotter by 40 K, density": (
        BASE, Pot(peak=900.0), "density", "fine silver", "down", "hotter sinters denser",
    ),
    "hotter by 40 K, sag": (
        BASE, Pot(peak=900.0), "sag", BODY, "up", "hotter glass is softer: slumping",
    ),
    "burnout four times as fast": (
        BASE, Pot(binder_ramp=240.0), "burnout", BODY, "up", "the gas comes off faster: bloating",
    ),
    "drier paste of the body": (
        BASE, Pot(scaled=((BODY, "drying_shrinkage", 0.75),)), "drying", "", "down",
        "pastes that shrink alike dry without a crack at the joint",
    ),
    "softer metal": (
        BASE, Pot(scaled=(("fine silver", "yield_stress", 0.5),)), "cooling", BODY, "down",
        "what yields cannot pull: Kovalev et al. 1998, J. Am. Ceram. Soc. 81, 2342",
    ),
    "twice as large": (
        THIN, LARGE, "through crack", "", "up",
        "large ware parts where small ware holds: energy grows as the root of radius times wall",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", EXPECTED)
def test_the_verdict_moves_the_way_the_trade_expects(what: str):
    before, after, rule, zone, way, _ = EXPECTED[what]
    old, new = utilisation(before, rule, zone), utilisation(after, rule, zone)
    if way == "same":
        assert new == pytest.approx(old, rel=0.02)
    else:
        assert (new > 1.005 * old) if way == "up" else (new < 0.995 * old)


INPUTS = {
    "order": Pot(low=BODY, high="fine silver", step=42.0),
    "wall": Pot(walls=(5.0, 5.0)),
    "wall of one side": Pot(walls=(4.0, 5.0)),
    "partner": Pot(high="leucite porcelain"),
    "height of the joint": Pot(step=24.0),
    "grading": GRADED,
    "height of the transition": Pot(blends=(75, 50, 25), transition=30.0),
    "what is between": Pot(blends=(60, 40, 20)),
    "size": Pot(size=1.5),
    "gas": Pot(gas="carbon"),
    "burnout": Pot(binder_ramp=240.0),
    "peak": Pot(peak=880.0),
    "hold": Pot(hold=90.0),
    "cooling": Pot(past_set_point=20.0),
    "quartz": Pot(scaled=((BODY, "free_quartz", 1.2),)),
    "expansion": Pot(scaled=((BODY, "thermal_expansion", 1.05),)),
    "strength": Pot(scaled=((BODY, "strength", 1.1),)),
    "scatter": Pot(scaled=((BODY, "weibull_modulus", 1.1),)),
    "toughness": Pot(scaled=((BODY, "fracture_toughness", 1.1),)),
    "grain": Pot(scaled=((BODY, "particle_size", 1.2),)),
    "binder": Pot(scaled=((BODY, "binder", 1.2),)),
    "ductility": Pot(scaled=(("fine silver", "ductility", 1.2),)),
}


def loads(pot: Pot) -> dict[tuple[str, str], float]:
    return {(f.rule, f.zone): f.utilisation for f in judged(pot).flags}


@pytest.mark.parametrize("what", INPUTS)
def test_every_input_that_should_matter_moves_some_flag(what: str):
    pot = INPUTS[what]
    before, after = loads(GRADED if pot.blends and pot != GRADED else BASE), loads(pot)
    moved = [k for k in after if k not in before or after[k] != pytest.approx(before[k], rel=1e-4)]
    assert moved


@cache
def example(name: str) -> Response:
    return fire_vessel(read_vessel(EXAMPLES[name], KILNS), CARDS, control=COARSE, fineness=0.5)


@pytest.fixture(params=EXAMPLES)
def fired(request: pytest.FixtureRequest) -> Response:
    return example(request.param)


def test_a_vessel_with_a_floor_is_told_where_no_crack_was_looked_for():
    with_floor = Pot().text().replace("[profile]", '[profile]\nbase = "flat"')
    told = []
    for text in (Pot().text(), with_floor):
        vessel = written_vessel(text, Pot().profile())
        response = fire_vessel(vessel, CARDS, control=COARSE, fineness=0.5)
        told.append(" ".join(as_text(sharply(response), []).split()))
    line = "Cracks in the floor, and from its corner with the wall, are not looked for."
    assert [line in text for text in told] == [False, True]


def test_no_flag_is_constant():
    verdicts = [judge(example(name)) for name in EXAMPLES]
    verdicts += [judged(pot) for row in EXPECTED.values() for pot in row[:2]]
    glass = Pot(high="soda-lime powder body", peak=740.0)  # a glass that flows flat
    verdicts += [judged(glass), judged(replace(glass, peak=780.0))]
    # told only of walls too thick, and of pots larger than their kiln
    seen: dict[str, set[float]] = {rule: set() for rule in set(RULE_NAMES) - {"shell", "room"}}
    for verdict in verdicts:
        for rule in {f.rule for f in verdict.flags} - {"shell", "room"}:
            worst = max(f.utilisation for f in verdict.flags if f.rule == rule)
            seen[rule].add(float(f"{worst:.3g}"))
    assert [rule for rule, values in seen.items() if len(values) < 2] == []


def test_the_worst_flag_comes_first(fired: Response):
    verdict = judge(fired)
    order = [(-f.grade, -f.utilisation) for f in verdict.flags]
    assert order == sorted(order)
    assert verdict.grade == max(f.grade for f in verdict.flags)
    assert verdict.worst is verdict.flags[0]


def test_every_flag_has_figure_limit_source_and_remedy(fired: Response):
    for flag in judge(fired).flags:
        assert flag.rule in RULE_NAMES
        assert math.isfinite(flag.utilisation)
        assert flag.utilisation >= 0.0
        assert math.isfinite(flag.figure)
        assert flag.limit > 0.0
        assert flag.source
        assert flag.note
        assert flag.remedy or flag.grade == GO
        assert 0.0 < flag.caution < 1.0


def test_a_zone_is_asked_once_by_each_rule(fired: Response):
    asked = [(f.rule, f.zone) for f in judge(fired).flags]
    assert len(asked) == len(set(asked))


def test_a_worse_grade_outranks_a_larger_load():
    caution = flag("a", 0.99)
    unknown = replace(not_computed("z", "why", "r"), rule="b")
    no = flag("c", 1.01)
    ranked = worst_first([caution, unknown, no])
    assert [flag.rule for flag in ranked.flags] == [
        "c",
        "b",
        "a",
    ]  # an unknown counts as at its limit


def test_what_melts_is_told_first_and_a_year_to_come_last():
    cracked, later, melted, sagged = (
        flag(name, load)
        for name, load in (("cooling", 2.0), ("later", 9.0), ("peak", 1.01), ("sag", 3.0))
    )
    assert worst_first([cracked, later, melted, sagged]).deciding == melted
    assert worst_first([cracked, later]).deciding == cracked
    assert worst_first([sagged, later]).deciding == later
    assert worst_first([sagged, cracked]).deciding == cracked
    assert worst_first([replace(melted, utilisation=0.95), cracked, later]).deciding == cracked
    assert worst_first([cracked, later]).worst == later


# as text and as JSON


def test_text_fits_its_columns_and_begins_with_the_verdict(fired: Response):
    verdict = judge(fired)
    text = as_text(sharply(fired, verdict), cautions(fired))
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0].startswith(f"{verdict.word.upper()}: {fired.vessel.name}")
    assert lines[1].startswith(f"Decided by {verdict.deciding.rule}")
    assert all(flag.rule in " ".join(text.split()) for flag in verdict.flags)
    assert "nan" not in text
    assert "\u00a0" not in text


def test_a_long_name_is_wrapped(fired: Response):
    long = replace(fired, vessel=replace(fired.vessel, name="a rather long name " * 4))
    text = as_text(sharply(long, judge(fired)), ())
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (12.345, "12.3"), (0.012345, "0.0123"), (1234567.0, "1234567"),
     (1.2e-5, "1.2e-05"), (float("nan"), "-"), (float("inf"), "no end")],
)  # fmt: skip
def test_figures_have_three_digits(value: float, text: str):
    assert number(value) == text


FLAG_FIELDS = {
    "rule": str, "zone": str, "verdict": str, "utilisation": float, "caution_from": float,
    "figure": float, "limit": float, "unit": str, "note": str, "source": str, "remedy": str,
}  # fmt: skip


def test_json_keeps_its_schema(fired: Response):
    verdict = judge(fired)
    whole = json.loads(as_json(sharply(fired, verdict), cautions(fired)))
    assert whole["schema"] == 1
    assert whole["verdict"] == verdict.word
    assert whole["decided_by"] == verdict.deciding.rule
    assert len(whole["flags"]) == len(verdict.flags)
    for row in whole["flags"]:
        assert row.keys() == FLAG_FIELDS.keys() | {
                "time_h", "temperature_C", "height_mm", "chance_of_crack", "utilisation_low",
                "utilisation_high",
            }  # fmt: skip
        for name, kind in FLAG_FIELDS.items():
            assert isinstance(row[name], kind | int)
    for row in whole["cautions"]:
        assert row.keys() == {"hazard", "text", "source"}
    assert whole["mesh_error"] < 0.05


def test_what_could_not_be_computed_is_null_in_json_and_said_in_text(fired: Response):
    verdict = Verdict((replace(not_computed("zone", "no table", "Measure it."), rule="sag"),))
    (row,) = json.loads(as_json(sharply(fired, verdict), ()))["flags"]
    assert (row["verdict"], row["utilisation"], row["figure"]) == ("unknown", None, None)
    text = as_text(sharply(fired, verdict), ())
    assert "unknown sag, zone: could not be computed: no table" in text
    assert "Measure it." in text
    assert text.startswith("CAUTION")


def test_a_verdict_of_go_needs_no_reasons(fired: Response):
    good = flag("sag", 0.1)
    text = as_text(sharply(fired, Verdict((good,))), ())
    assert text.startswith("GO")
    assert "Decided" not in text


# cautions


@pytest.mark.parametrize("gas", ["air", "carbon", "hydrogen", "inert"])
@pytest.mark.parametrize("metal", ["fine silver", "brass 70/30", "nickel", "316L stainless"])
def test_every_caution_names_its_source(metal: str, gas: str):
    response = tea_light()
    curve = replace(response.trace, gas=gas)
    found = cautions(replace(response, trace=curve, cards=(CARDS[metal], CARDS[BODY])))
    assert all(c.hazard and c.text and c.source for c in found)
    hazards = {c.hazard for c in found}
    assert {"burnout fumes", "dust", "ware"} <= hazards
    assert ("carbon monoxide" in hazards) == (gas == "carbon")
    assert ("hydrogen" in hazards) == (gas == "hydrogen")
    assert ("suffocation" in hazards) == (gas == "inert")
    assert ({"food", "zinc fume"} <= hazards) == (metal == "brass 70/30")
    assert ("nickel" in hazards) == (metal in ("nickel", "316L stainless"))


def test_a_blend_raises_the_cautions_of_its_parts():
    response = tea_light()
    mixed = find_material("copper + fritted body = 50", CARDS)
    found = {c.hazard for c in cautions(replace(response, cards=(mixed, CARDS[BODY])))}
    assert "food" in found


def test_refused_and_doubtful_are_told_apart():
    verdict = judged(BASE)
    assert {f.grade for f in verdict.flags} <= {GO, CAUTION, NO}
    assert verdict.utilisation == max(f.utilisation for f in verdict.flags)


def test_the_word_is_told_with_the_share_of_the_limit_that_decides_it() -> None:
    """A caution from half of its limit on beside a go at nine tenths of another."""
    near = replace(flag("brown", 0.8), caution=0.5)
    kept = replace(flag("peak", 0.9), caution=0.95)
    verdict = worst_first([kept, near])
    assert (verdict.worst, verdict.most_used, verdict.utilisation) == (near, kept, 0.9)
    assert decided(verdict) == "caution by brown (0.800 of its limit)"
    assert decided(Verdict((kept,))) == "go with at most 0.900 of a limit used up (peak)"


def test_the_load_of_a_chance_says_that_it_is_a_share_of_stress() -> None:
    from cofire.assessment.rule import Flag
    from cofire.report.plan import against
    from cofire.report.verdict import as_stress

    probability = Flag(
        rule="cooling", zone="body", utilisation=0.945, caution=0.7686, figure=6.16, limit=10.0,
        unit="% probability of a crack", note="note",
    )  # fmt: skip
    assert (
        "6.16 against 10.0 % probability of a crack (38.6 % with what the rule itself may be "
        "wrong by; utilisation 0.945, as a share of the" in against(probability)
    )
    other = Flag(
        rule="sag", zone="body", utilisation=0.5, caution=0.7, figure=1.0, limit=2.0, unit="%",
        note="note",
    )  # fmt: skip

    assert as_stress(other) == ""


def test_the_other_limits_passed_are_named_with_how_far_and_near_ones_are_not() -> None:
    def one(rule: str, used: float) -> Flag:
        named = next(r for r in RULES if r.name == rule)
        return named.named(
            Flag(zone="rim", utilisation=used, caution=0.5, figure=1, limit=1, unit="", note="")
        )

    flags = [one("later", 1.75), one("sag", 3.26), one("sag", 2.0), one("cooling", 0.9)]
    assert decided(worst_first(flags)).startswith("no by later")
    assert passed_too(worst_first(flags)) == "Passed too: sag (3.26 of its limit)."
    assert passed_too(worst_first([flags[0], flags[3]])) == ""


@pytest.mark.parametrize(
    ("rim", "words"),
    [
        # the mean of the last band is 1 % metal, and was once told as the rim's
        (0.0006, "fritted body alone from 38.0 mm"),
        (0.2, "20 % fine silver / 80 % fritted body at the rim"),
    ],
)
def test_an_end_is_told_by_what_stands_there_and_alone_but_for_a_twentieth(rim, words):
    response = tea_light()
    low, high = response.vessel.bands
    fades = (
        replace(low, fade=((0.0, 1.0), (8e-3, 0.95), (18e-3, 0.5))),
        replace(high, fade=((18e-3, 0.5), (38e-3, 0.05), (60e-3, rim))),
    )
    printed = replace(response, vessel=replace(response.vessel, bands=fades))
    told = ends_line(Check(response.vessel, response.cards, printed, judge(response)))
    assert told == f"As the pastes mix at each change: fine silver alone up to 8.0 mm, {words}."


def test_a_verdict_that_passes_a_second_limit_by_more_says_so() -> None:
    """Once "no by cooling (1.10)" stood beside "no by later (1.37)", as if it were the better."""
    both = Verdict((flag("cooling", 1.1), flag("later", 2.71)))
    assert decided(both) != decided_all(both)
    assert {"1.10", "2.71"} <= set(re.findall(r"\d\.\d\d", decided_all(both)))
    assert decided_all(Verdict((flag("later", 1.37),)), "how") == (
        f"{decided(Verdict((flag('later', 1.37),)))}; how."
    )


def test_how_much_changes_at_a_joint_is_the_same_in_every_run() -> None:
    """Whatever the names, whose hashes differ from run to run."""
    silver, frit = CARDS["fine silver"], CARDS["fritted body"]
    found = set()
    for k in range(20):
        names = [f"{n}{k}" for n in "abcdef"]
        parts = [replace(silver, name=name) for name in names]
        one, other = (
            replace(frit, parts=tuple(zip(some, shares, strict=True)))
            for some, shares in ((parts[:3], (0.1, 0.2, 0.7)), (parts[3:], (0.3, 0.6, 0.1)))
        )
        found.add(changed(one, other))
    assert len(found) == 1
