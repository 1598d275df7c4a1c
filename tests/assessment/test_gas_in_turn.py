"""A firing whose gas changes: open while the binder burns out, then closed in carbon."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from cofire.assessment.cautions import cautions
from cofire.assessment.firing_rules import _gas_remedy
from cofire.assessment.packing import BED, packed
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.rule import CAUTION, GO, NO, Flag
from cofire.assessment.steam_rules import CHAR_YIELD
from cofire.assessment.verdict import judge
from cofire.assessment.windows import BURNT_OPEN, THROUGH, gas_grade, grade_in_turn
from cofire.cli import app
from cofire.design import schedule
from cofire.design.candidates import ROUGH, Bench
from cofire.design.firings import BURNOUT_END, Setting, frame, open_burnout, packing
from cofire.design.programme import followed
from cofire.design.schedule import propose_schedule
from cofire.errors import InputError, UnknownName
from cofire.fields import GASES
from cofire.firing.kiln import trace
from cofire.firing.program import LAG, Firing, Segment, read_firing
from cofire.materials.binders import shipped_reactions
from cofire.materials.catalogue import load_cards
from cofire.physics.burnout import mass_lost, mass_lost_in_turn
from cofire.physics.history import histories
from cofire.physics.oxidation import oxide_swelling, oxidised_depth, oxidised_share
from cofire.production.job import GAS_COMES, happenings
from cofire.report.firing import kiln_csv
from cofire.report.packing import packing_words
from cofire.report.read_again import firing_toml
from cofire.units import HOUR, MINUTE, ROOM, celsius, kelvin
from cofire.vessel_file import read_vessel
from tests.histories import held
from tests.strategies import firings

CARDS = load_cards()
EXAMPLES = Path(__file__).parents[2] / "examples"
TUMBLER = read_vessel(EXAMPLES / "copper_foot_tumbler.toml")
PACKED = TUMBLER.firing
OPEN = (450, 100, 60)
TOP = ((1035, 120, 45), (540, 60, 0), (180, 40, 0))


def opened(to: float, *cold: tuple[object, ...]) -> Firing:
    """Open until burnout is over, then closed in carbon: at once, or after cooling."""
    first, *others = TOP
    return read_firing(
        [(110, 60, 90), (to, *OPEN[1:]), *cold, (*first, "carbon"), *others],
        gas="air",
        lag_min=30.0,
    )


HOT = opened(450)
COLD = opened(450, (40, "full"))


KNOWN: dict[str, Response] = {}


def fired(firing: Firing) -> Response:
    """The tumbler in a firing, worked out once."""
    key = firing_toml(firing)
    if key not in KNOWN:
        KNOWN[key] = fire_vessel(replace(TUMBLER, firing=firing), CARDS, extend=True)
    return KNOWN[key]


def flags(firing: Firing, rule: str) -> dict[str, Flag]:
    return {f.zone: f for f in judge(fired(firing)).flags if f.rule == rule}


# ----------------------------------------------------------------------------------------------
# What a file says, and what kiln and trace make of it


@pytest.mark.parametrize("gas", GASES)
def test_the_same_gas_in_every_segment_is_the_firing_that_says_it_once(gas: str):
    rows = [(110, 60, 90), OPEN, *TOP]
    plain = read_firing(rows, gas=gas)
    said = read_firing([(*row, gas) for row in rows], gas="air")
    assert said == replace(plain, kiln=said.kiln)
    one, two = trace(plain), trace(said)
    assert two.turns == ()
    assert np.array_equal(one.ware, two.ware)
    cards = [CARDS["copper"], CARDS["talc body"]]
    a, b = histories(cards, one), histories(cards, two)
    assert np.array_equal(a.mass_fraction, b.mass_fraction)
    assert np.array_equal(a.strength, b.strength)
    binder = [r for r in shipped_reactions(gas) if r.substance == "binder"]
    assert np.array_equal(
        mass_lost_in_turn(one.time, one.ware, [(0, binder)]), mass_lost(one.time, one.ware, binder)
    )


def test_a_gas_holds_until_another_is_named_and_one_word_is_that_of_the_hottest_segment():
    assert HOT.gases == ("air", "air", "carbon", "carbon", "carbon")
    assert (HOT.gas, HOT.gas_words) == ("carbon", "air, then carbon")
    assert PACKED.gas_words == "carbon"
    assert read_firing([(*OPEN, "air"), (*TOP[0], "carbon")]).lag == LAG["carbon"]
    assert (
        HOT.in_one_gas("carbon", HOT.lag).segments
        == read_firing([(110, 60, 90), OPEN, *TOP], gas="carbon").segments
    )


def test_the_trace_knows_the_gas_of_each_moment():
    curve = trace(HOT)
    first, second = curve.stretches
    assert (first.gas, second.gas, first.first, second.last) == (
        "air",
        "carbon",
        0,
        len(curve.time) - 1,
    )
    assert first.last == second.first
    assert curve.kiln[second.first] == pytest.approx(kelvin(450.0))
    assert first.peak == pytest.approx(curve.ware[: first.last + 1].max())
    assert np.array_equal(curve.steps_in("air"), ~curve.steps_in("carbon"))
    assert curve.steps_in("air").sum() == first.last
    assert curve.ware[curve.hottest_in["carbon"]] == curve.peak
    assert trace(PACKED).stretches[0].peak == trace(PACKED).peak


def test_a_gas_that_is_none_is_refused_at_its_segment():
    with pytest.raises(UnknownName, match=r"segment 2.*carbn"):
        read_firing([OPEN, (*TOP[0], "carbn")])


@given(firings(), st.lists(st.sampled_from(("", *GASES)), min_size=5, max_size=5))
@settings(max_examples=30)
def test_gases_of_a_firing_are_read_back(tmp_path_factory, firing: Firing, said: list[str]):
    segments = (replace(s, gas=gas) for s, gas in zip(firing.segments, said, strict=False))
    changed = replace(firing, segments=tuple(segments))
    path: Path = tmp_path_factory.mktemp("gas") / "firing.toml"
    kilns = {firing.kiln.name: firing.kiln}
    path.write_text(firing_toml(changed, kilns), encoding="utf-8")
    back = read_firing(path, kilns)
    assert back.gases == changed.gases
    assert [s.gas for s in back.segments] == [s.gas for s in changed.segments]
    assert back.gas == changed.gas
    assert trace(back).turns == trace(changed).turns


def test_the_controllers_numbers_are_the_same_whatever_the_gas_and_the_gas_stands_beside_them():
    # a controller is told the same numbers, a person when to pack
    told, plain = (kiln_csv(f).splitlines() for f in (HOT, HOT.in_one_gas("carbon", HOT.lag)))
    assert [line.rsplit(",", 1)[0] for line in told] == [line.rsplit(",", 1)[0] for line in plain]
    assert [line.rsplit(",", 1)[1] for line in told[1:]] == list(HOT.gases)
    assert len(set(HOT.gases)) == 2


# ----------------------------------------------------------------------------------------------
# Burnout, core and oxygen


def test_what_burns_while_open_is_gone_and_less_char_stays_than_in_a_pack():
    # until the change as in air, to the last bit; after it never less, and less char than carbon
    packed, open_first = trace(HOT.in_one_gas("carbon", HOT.lag)), trace(HOT)
    in_air = trace(HOT.in_one_gas("air", HOT.lag))
    card = [CARDS["talc body"]]
    p, o, a = (histories(card, c).mass_fraction[0] for c in (packed, open_first, in_air))
    change = open_first.stretches[1].first
    assert np.array_equal(o[: change + 1], a[: change + 1])
    assert np.all(np.diff(o) <= 1e-12)
    binder = CARDS["talc body"]["binder"].scalar
    assert p[-1] - o[-1] > 0.05 * binder  # carbon alone keeps 13 % of the binder as char
    assert o[-1] >= a[-1] - 1e-12


@given(st.integers(1, 600), st.sampled_from(GASES), st.sampled_from(GASES))
@settings(max_examples=40)
def test_mass_lost_in_turn_never_falls_and_never_exceeds_the_binder(node: int, one: str, two: str):
    curve = trace(PACKED)
    sets = [[r for r in shipped_reactions(gas) if r.substance == "binder"] for gas in (one, two)]
    node = min(node, curve.time.size - 2)
    lost = mass_lost_in_turn(curve.time, curve.ware, [(0, sets[0]), (node, sets[1])])
    assert np.all(np.diff(lost) >= -1e-12)
    assert lost[-1] <= max(sum(r.share for r in some) for some in sets) + 1e-12
    alone = mass_lost(curve.time, curve.ware, sets[0])
    assert np.array_equal(lost[: node + 1], alone[: node + 1])
    if sets[0] == sets[1]:  # cutting a firing in two changes nothing
        assert lost == pytest.approx(alone, abs=1e-9)


def test_an_open_burnout_clears_the_core_where_a_pack_leaves_it():
    packed, open_first = flags(PACKED, "core")["talc body"], flags(HOT, "core")["talc body"]
    assert packed.grade == CAUTION
    assert open_first.grade == GO
    assert open_first.figure < 0.5 * packed.figure


def test_oxygen_counts_only_while_there_is_air_and_is_never_worse_than_a_pack():
    assert not flags(PACKED, "oxygen")
    assert not flags(opened(380), "oxygen")  # carbon does not burn yet: `core` tells it
    whole = flags(HOT.in_one_gas("air", HOT.lag), "oxygen")["talc body"]
    short = flags(opened(410), "oxygen")["talc body"]
    assert short.figure <= 100.0 * CHAR_YIELD * CARDS["talc body"]["binder"].scalar
    assert whole.grade == flags(HOT, "oxygen")["talc body"].grade == GO


# ----------------------------------------------------------------------------------------------
# How much of the metal oxidises


@pytest.mark.parametrize(
    ("turns", "grade"),
    [
        ([("air", 400), ("carbon", 950)], CAUTION),
        ([("air", 400), ("hydrogen", 950)], CAUTION),
        ([("air", 540), ("carbon", 950)], CAUTION),  # practice: up to an hour, of copper
        ([("air", 950)], NO),
        ([("air", 590), ("carbon", 950)], NO),  # through
        ([("air", 950), ("carbon", 950)], NO),
        ([("air", 400), ("inert", 950)], NO),  # reduces nothing
        ([("air", 400), ("carbon", 600)], NO),  # carbon's gas is not at equilibrium yet
        ([("carbon", 950), ("air", 400)], NO),  # nothing comes later
        ([("carbon", 950), ("air", 90)], GO),  # opened when it is cold
    ],
)
def test_copper_may_oxidise_in_part_where_a_later_gas_takes_it_back(
    turns: list[tuple[str, float]], grade: int
):
    found = grade_in_turn(CARDS["copper"], held(turns))
    assert found[0] == grade
    assert bool(found[1]) == (grade > GO)


@pytest.mark.parametrize(
    ("name", "to", "grade"),
    [
        ("iron", 400, CAUTION),
        ("iron", 480, NO),
        ("low-carbon steel", 480, NO),
        ("copper", 480, CAUTION),
        ("tin bronze 90/10", 480, CAUTION),
        ("nickel", 590, CAUTION),
    ],
)
def test_fine_iron_is_oxidised_through_where_coarser_copper_and_nickel_are_not(
    name: str, to: float, grade: int
):
    found, reason, _ = grade_in_turn(CARDS[name], held([("air", to), ("hydrogen", 950)]))
    assert found == grade
    assert "of its grains of" in reason
    assert ("oxidised through" in reason) == (grade == NO)


def test_it_is_the_time_in_air_and_the_size_of_the_grains_that_oxidise_them_through():
    turns = [("air", 480.0), ("carbon", 950.0)]
    copper = CARDS["copper"]
    assert grade_in_turn(copper, held(turns, 1.0))[0] == CAUTION
    assert grade_in_turn(copper, held(turns, 5.0))[0] == NO
    assert grade_in_turn(copper.scaled("particle_size", 0.4), held(turns, 1.0))[0] == NO
    assert grade_in_turn(copper.scaled("particle_size", 2.0), held(turns, 5.0))[0] == CAUTION


def test_how_much_turns_to_oxide_is_told_with_its_spread_and_the_swelling_it_may_mean():
    curve = held([("air", 450.0), ("carbon", 950.0)])
    _, reason, _ = grade_in_turn(CARDS["copper"], curve)
    depth = oxidised_depth("Cu", curve.time[:4], curve.ware[:4])[-1]
    share = float(oxidised_share(depth, CARDS["copper"]["particle_size"].scalar))
    swells, least, most = oxide_swelling("Cu", np.array([share, share / 3, 1.0]))
    assert 0.3 < share < THROUGH
    assert f"some {100 * share:.0f} % ({100 * share / 3:.0f} to 100 %)" in reason
    told = f"up to {100 * swells:.2g} % ({100 * least:.2g} to {100 * most:.2g} %) of length"
    assert told in reason
    assert "leaves pores" in reason


def test_of_what_is_only_alloyed_no_share_is_told_and_an_open_burnout_ends_at_600_all_the_same():
    silver = CARDS["sterling silver"]  # its copper oxidises inside the grains
    grade, reason, _ = grade_in_turn(silver, held([("air", 540.0), ("carbon", 720.0)]))
    assert (grade, "how much is not known" in reason) == (CAUTION, True)
    hotter = held([("air", 620.0), ("carbon", 720.0)])
    assert grade_in_turn(silver, hotter)[0] == NO
    assert hotter.stretches[0].peak > BURNT_OPEN


def test_chromium_is_not_given_back_by_carbon():
    turns = [("air", 500), ("carbon", 1100)]
    assert grade_in_turn(CARDS["316L stainless"], held(turns))[0] == NO


@pytest.mark.parametrize("name", sorted(CARDS))
@pytest.mark.parametrize("gas", GASES)
def test_one_gas_is_graded_as_it_always_was(name: str, gas: str):
    card, peak = CARDS[name], kelvin(900.0)
    assert grade_in_turn(card, held([(gas, 900.0)]))[:2] == gas_grade(card, gas, peak)


def test_copper_open_to_450_then_in_carbon_is_not_refused_by_the_gas():
    copper = flags(HOT, "atmosphere")["copper"]
    assert copper.grade == CAUTION
    assert "carbon takes it back" in copper.note
    assert copper.temperature == pytest.approx(trace(HOT).stretches[0].peak)
    assert flags(HOT.in_one_gas("air", HOT.lag), "atmosphere")["copper"].grade == NO


def test_copper_that_is_open_to_480_for_long_is_refused_since_its_grains_are_oxidised_through():
    first, *others = TOP
    segments = [(110, 60, 90), (480, 50, 90), (40, "full"), (*first, "carbon"), *others]
    slow = read_firing(segments, gas="air", lag_min=30.0)
    copper = flags(slow, "atmosphere")["copper"]
    assert copper.grade == NO
    assert "oxidised through" in copper.note
    assert "no longer than burnout needs" in copper.remedy


def test_a_liquid_of_air_is_judged_at_the_hottest_moment_in_air():
    skin = [f for f in judge(fired(HOT)).flags if f.rule == "liquid" and "with its oxide" in f.note]
    assert len(skin) == 1
    assert skin[0].figure == pytest.approx(celsius(trace(HOT).stretches[0].peak))


# ----------------------------------------------------------------------------------------------
# At the kiln


def test_closing_a_hot_pack_is_a_caution_and_a_cold_one_is_not():
    found = {c.hazard: c.text for c in cautions(fired(HOT))}
    assert "450 °C" in found["hot pack"]
    assert "while it is closed in carbon" in found["carbon monoxide"]
    assert "burnout fumes" in found
    cold = {c.hazard for c in cautions(fired(COLD))}
    assert "hot pack" not in cold
    assert "carbon monoxide" in cold
    always = {c.hazard for c in cautions(fired(HOT.in_one_gas("air", HOT.lag)))}
    assert "carbon monoxide" not in always


def test_a_pot_that_is_packed_once_it_is_burnt_out_is_not_lifted_and_has_no_carbon_under_it():
    """However cold it is by then; one that is packed from the start lies in carbon all round."""
    for firing in (HOT, COLD):
        found = {c.hazard: c.text for c in cautions(fired(firing))}
        assert "fill carbon round and over it where it stands" in found["burnt-out pot"]
        stands = packed(fired(firing))
        words = packing_words(stands)
        assert "under the pot 25 mm of alumina or a tile, not carbon" in words
        assert "25 mm around and above the pot" in words
        always = packed(fired(firing.in_one_gas("carbon", firing.lag)))
        assert "25 mm under, around and above the pot" in packing_words(always)
        # by hand: the lowest 25 mm of the box hold none
        under = stands.box.volume * BED / stands.box.height
        alike = packed(replace_gas(fired(firing), "carbon"), stands.dried)
        assert alike.filled - stands.filled == pytest.approx(under, rel=1e-9)
    for gas in ("air", "carbon"):
        always = cautions(fired(HOT.in_one_gas(gas, HOT.lag)))
        assert "burnt-out pot" not in {c.hazard for c in always}


def replace_gas(response: Response, gas: str) -> Response:
    """The same fired pot, its firing told as in one gas from the start."""
    firing = response.vessel.firing.in_one_gas(gas, response.vessel.firing.lag)
    return replace(response, vessel=replace(response.vessel, firing=firing))


def test_a_remedy_closes_a_pack_in_no_gas_that_was_there_before_and_fits_the_gas_that_harms():
    """Once "then closed in air", and of what carbon does to a body "keep it open no longer"."""
    response = fired(COLD)
    curve = response.trace
    open_to = curve.stretches[0].peak
    assert _gas_remedy(response, "air", curve.peak).startswith("Fire in air: ")
    assert _gas_remedy(response, "inert", open_to).endswith("needs, then closed in inert.")
    assert _gas_remedy(response, "", open_to).endswith("no longer than burnout needs.")
    assert _gas_remedy(response, "inert", curve.peak).startswith("Close it in inert: ")
    assert _gas_remedy(response, "", curve.peak).startswith("No other gas")


def test_a_body_that_asks_for_a_burnout_in_air_is_told_how_far_one_came():
    card = CARDS["leucite porcelain"]
    _, alone, _ = grade_in_turn(card, held([("carbon", 900.0)]))
    assert alone.endswith("burn the binder out in air first")
    _, reason, _ = grade_in_turn(card, held([("air", 480.0), ("carbon", 900.0)]))
    assert reason == f"{alone}; here it stood in air to 480 °C before"


def test_the_sheet_tells_when_to_close_the_pack():
    (event,) = [h for h in happenings(fired(COLD)) if h.name == GAS_COMES["carbon"]]
    assert event.kiln == pytest.approx(kelvin(40.0), abs=0.5)
    assert not [h for h in happenings(fired(PACKED)) if h.name in GAS_COMES.values()]


# ----------------------------------------------------------------------------------------------
# Searches


def test_a_search_keeps_one_change_of_gas_before_the_soak():
    assert packing(PACKED) is None
    for firing, cold in ((HOT, None), (COLD, COLD.segments[2])):
        whole = frame(replace(TUMBLER, firing=firing), CARDS)
        made = whole.fired(Setting(0, 2, 2))
        assert made.gas_words == "air, then carbon"
        assert made.gases[:2] == ("air", "air")
        soak = whole.soaks[0].peak
        assert made.gases[[s.target for s in made.segments].index(soak)] == "carbon"
        assert (cold in made.segments) == (cold is not None)


@pytest.mark.parametrize("example", ["copper_foot_tumbler", "iron_foot_bowl"])
def test_a_search_burns_out_open_only_so_hot_and_long_that_its_metal_is_not_oxidised_through(
    example: str,
):
    vessel = read_vessel(EXAMPLES / f"{example}.toml")
    opened = replace(vessel, firing=open_burnout(vessel, CARDS, "carbon"))
    curve = trace(opened.firing)
    whole = frame(opened, CARDS)
    assert whole.burnout.target < BURNOUT_END
    metal = CARDS["copper" if example.startswith("copper") else "iron"]
    for taken in (curve, trace(whole.fired(Setting(0, 2, 2)))):
        grade, reason, _ = grade_in_turn(metal, taken)
        assert grade == CAUTION
        assert "turns to oxide" in reason


def test_a_search_refuses_other_changes_in_one_line():
    late = read_firing([OPEN, (*TOP[0], "carbon"), (540, 60, 0, "air")])
    often = read_firing([(110, 60, 90, "air"), (*OPEN, "carbon"), (600, 60, 0, "air"), (*TOP[0],)])
    for firing in (late, often):
        with pytest.raises(InputError, match=r"one change of gas.*check this firing as it is$"):
            frame(replace(TUMBLER, firing=firing), CARDS)


def test_a_proposed_schedule_burns_out_in_air_and_soaks_in_carbon(monkeypatch):
    monkeypatch.setattr(schedule, "ROUNDS", 1)
    near = Setting(2, 2, 2)  # the way there is not what is asked
    bench = Bench(CARDS, extend=True, fineness=ROUGH)
    vessel = replace(TUMBLER, firing=COLD)
    found = propose_schedule(vessel, CARDS, extend=True, bench=bench, start=near)
    assert found.firing.gas_words == "air, then carbon"
    assert found.firing.lag == COLD.lag
    change = found.firing.gases.index("carbon")
    assert found.firing.segments[change - 1].target == kelvin(40.0)
    assert "as given" in found.choices[change - 1].reason
    assert [c.segment.gas for c in found.choices] == list(found.firing.gases)


def test_parts_of_a_ramp_that_the_kiln_cannot_follow_keep_its_gas():
    ramp = Segment(kelvin(1055.0), 300.0 / HOUR, 90.0 * MINUTE, "carbon")
    parts = followed(HOT.kiln, ROOM, ramp)
    assert len(parts) > 1
    assert {part.gas for part in parts} == {"carbon"}


def test_a_log_of_such_a_firing_is_not_replayed(tmp_path: Path):
    text = (EXAMPLES / "silver_foot_vessel.toml").read_text(encoding="utf-8")
    (tmp_path / "vessel.toml").write_text(text, encoding="utf-8")
    name = read_vessel(EXAMPLES / "silver_foot_vessel.toml").firing.name
    firing = replace(HOT, name=name)
    (tmp_path / "silver_on_frit_firing.toml").write_text(firing_toml(firing))
    told = CliRunner().invoke(
        app, ["replay", str(tmp_path / "vessel.toml"), str(EXAMPLES / "silver_foot_log.csv")]
    )
    assert told.exit_code != 0
    assert "does not say when the gas" in told.output + (told.stderr if told.stderr_bytes else "")
