"""Which liquids and reactions touching materials make, what joints bear, and what is refused."""

from __future__ import annotations

import pickle
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.check import check_vessel
from cofire.assessment.pair_rules import MOLTEN, RULES
from cofire.assessment.rule import CAUTION, GO, NO, Flag
from cofire.assessment.screening import screen, stream
from cofire.assessment.windows import SOLIDUS_MARGIN, ceiling, liquid_ceiling
from cofire.errors import LONGEST, InputError, UnknownName
from cofire.files import bundled_tables
from cofire.firing.kiln import Trace
from cofire.materials.card import Card
from cofire.materials.catalogue import check_files, load_cards
from cofire.materials.pairs import (
    MELTS,
    check_pairs,
    families,
    first_liquid,
    joint_resistance,
    liquids,
    read_pairs,
    shipped_pairs,
)
from cofire.materials.properties import GASES
from cofire.physics.blends import blend
from cofire.sweeps import mark_of
from cofire.units import celsius, kelvin
from tests.assessment.test_verdict import Pot
from tests.fired import COARSE, only, tea_light, written_vessel
from tests.strategies import CARDS, CERAMICS, KILNS, METALS

pytestmark = pytest.mark.usefixtures("solids_are_rough")

TABLE = Path(str(bundled_tables().joinpath("pairs.toml")))
names = st.sampled_from(sorted(CARDS))


def told(cards: Sequence[Card], gas: str, peak_C: float) -> list[Flag]:
    """Flags of both rules on bands that were at a peak in a gas."""
    peak = kelvin(peak_C)
    ware = np.array([peak, peak])
    curve = Trace(np.array([0.0, 1.0]), ware, ware, np.array([0, 1]), gas)
    seen: Any = SimpleNamespace(cards=tuple(cards), trace=curve)
    return [flag for rule in RULES for flag in rule.flags(seen)]


def flags(bands: Sequence[str | Card], gas: str, peak_C: float) -> list[Flag]:
    """Flags of a stack of bands, worst first."""
    cards = [CARDS[b] if isinstance(b, str) else b for b in bands]
    return sorted(told(cards, gas, peak_C), key=lambda f: -f.counted)


def worst(bands: Sequence[str | Card], gas: str, peak_C: float) -> Flag:
    return flags(bands, gas, peak_C)[0]


# -- where it decides, and where it does not ---------------------------------------------------


def test_silver_on_copper_melts_above_the_eutectic_and_is_go_below_it() -> None:
    """A zone melted by its neighbour is above any flag of stress; 700 °C is well below."""
    molten = worst(["fine silver", "copper"], "carbon", 790.0)
    assert (molten.rule, molten.grade) == ("liquid", NO)
    assert molten.utilisation >= MOLTEN
    assert molten.zone == "fine silver | copper"
    assert "779 °C" in molten.note
    assert all(f.grade == GO for f in flags(["fine silver", "copper"], "carbon", 700.0))


def test_within_the_margin_below_a_liquid_is_no_without_being_molten() -> None:
    near = worst(["fine silver", "copper"], "carbon", 779.1 - 0.5 * SOLIDUS_MARGIN)
    assert near.grade == NO
    assert near.utilisation < 2.0


def test_silver_and_copper_apart_do_not_melt_each_other() -> None:
    """A band of ceramic between them keeps them apart; so the remedy says."""
    apart = flags(["fine silver", "fritted body", "copper"], "carbon", 850.0)
    assert all(f.grade == GO for f in apart if f.rule == "liquid")
    beside = worst(["fritted body", "fine silver", "copper"], "carbon", 850.0)
    assert beside.utilisation >= MOLTEN
    assert "apart" in beside.remedy


def test_the_metals_of_two_blends_touch() -> None:
    body = CARDS["fritted body"]
    silver, copper = (blend(CARDS[m], body, 0.4) for m in ("fine silver", "copper"))
    assert worst([silver, copper], "carbon", 790.0).utilisation >= MOLTEN


@pytest.mark.parametrize(
    ("alloy", "least", "most"),
    [("tin bronze 90/10", 450.0, 790.0), ("tin bronze 80/20", 450.0, 790.0),
     ("brass 70/30", 735.0, 825.0), ("copper", 910.0, 910.0)],
)  # fmt: skip
def test_gold_melts_lower_with_bronze_and_brass_than_with_copper(
    alloy: str, least: float, most: float
) -> None:
    """Tin and zinc lower the solidus of copper and of gold: the two with either, lower still.

    Expected between what each takes from copper and from gold, of a contact mixed by halves; never
    as high as the alloy itself melts.
    """
    found = first_liquid([CARDS["gold"], CARDS[alloy]], "carbon")
    assert found is not None
    assert least - 1e-6 <= celsius(found.temperature) <= most + 1e-6
    assert found.temperature < CARDS[alloy]["solidus"].scalar
    assert set(found.zones) == {"gold", alloy}


def test_iron_in_carbon_melts_at_1180_and_is_go_at_1100() -> None:
    """It takes up carbon and melts from 1147 °C; in hydrogen it stays solid."""
    molten = worst(["iron", "mid-fire stoneware"], "carbon", 1180.0)
    assert molten.utilisation >= MOLTEN
    assert molten.zone == "iron"
    assert "another gas" in molten.remedy
    assert all(f.grade == GO for f in flags(["iron", "mid-fire stoneware"], "carbon", 1100.0))
    assert all(f.grade == GO for f in flags(["iron", "mid-fire stoneware"], "hydrogen", 1180.0))


def test_silver_in_air_at_940_is_too_near_its_liquid_and_in_carbon_is_not() -> None:
    """951 °C in air less the margin of 15 K; 962 °C elsewhere."""
    assert worst(["fine silver"], "air", 940.0).grade == NO
    assert worst(["fine silver"], "air", 953.0).utilisation >= MOLTEN
    assert worst(["fine silver"], "carbon", 940.0).grade == CAUTION
    assert worst(["fine silver"], "air", 900.0).grade == GO


@pytest.mark.parametrize("metal", METALS)
@pytest.mark.parametrize("gas", GASES)
def test_a_metal_on_itself_makes_no_liquid_that_it_does_not_make_alone(
    metal: str, gas: str
) -> None:
    card = CARDS[metal]
    twin = replace(card, name=f"{metal} of another paste")
    alone, both = first_liquid([card], gas), first_liquid([card, twin], gas)
    assert alone is not None
    assert both is not None
    assert both.temperature == alone.temperature
    assert both.unknown == ()


@pytest.mark.parametrize(
    ("one", "other"),
    [("fine silver", "sterling silver"), ("copper", "tin bronze 90/10"), ("copper", "nickel")],
)
def test_alloys_of_one_base_and_solid_solutions_melt_as_the_lower_of_the_two(
    one: str, other: str
) -> None:
    """The pair adds no liquid: the lower solidus of the two is the first."""
    found = first_liquid([CARDS[one], CARDS[other]], "hydrogen")
    assert found is not None
    assert found.temperature == min(CARDS[n]["solidus"].scalar for n in (one, other))
    assert found.unknown == ()


def test_ceramics_alone_make_no_liquid_of_a_metal() -> None:
    assert first_liquid([CARDS["alumina"], CARDS["red earthenware"]], "air") is None
    assert told([CARDS["alumina"]], "air", 1527.0) == []


def test_a_reaction_that_harms_is_a_caution_and_one_that_marks_is_go() -> None:
    zinc = next(f for f in flags(["brass 70/30"], "carbon", 800.0) if f.rule == "reaction")
    assert zinc.grade == CAUTION
    assert "fume" in zinc.note
    yellow = [
        f for f in flags(["fine silver", "fritted body"], "air", 850.0) if f.rule == "reaction"
    ]
    assert [f.grade for f in yellow] == [GO]
    assert not [f for f in flags(["fine silver", "alumina"], "air", 850.0) if f.rule == "reaction"]


def test_cored_bronze_sweats_before_it_melts() -> None:
    """The premixed solidus of 798 °C is a caution, the solidus of 840 °C a no."""
    found = flags(["tin bronze 90/10"], "carbon", 810.0)
    assert {(f.rule, f.grade) for f in found} == {("liquid", GO), ("reaction", CAUTION)}
    assert worst(["tin bronze 90/10"], "carbon", 845.0).utilisation >= MOLTEN
    told = next(f for f in found if f.rule == "reaction")
    assert "prealloyed" in told.remedy  # it sweats in every gas: another one would not help
    assert "another gas" not in told.remedy


def test_lead_in_a_frit_is_set_free_in_carbon_and_not_in_air() -> None:
    frit = replace(CARDS["fritted body"], elements=("Pb",))
    found = [f for f in flags([frit], "carbon", 700.0) if f.rule == "reaction"]
    assert [f.grade for f in found] == [CAUTION]
    assert "poisonous" in found[0].note
    assert flags([frit], "air", 700.0) == []


def reactions(bands: list[str], gas: str, peak: float) -> dict[str, Flag]:
    """Flags of reactions by what the note says first happens."""
    found = [f for f in flags(bands, gas, peak) if f.rule == "reaction"]
    return {f.note.partition(": ")[2].partition(" from ")[0]: f for f in found}


@pytest.mark.parametrize(("metal", "base"), [("nickel", "nickel"), ("316L stainless", "iron")])
def test_dry_hydrogen_that_puts_silicon_into_a_metal_is_a_caution_only_beside_silica(
    metal: str, base: str
) -> None:
    name = f"{base} takes up silicon of the body"
    told = reactions([metal, "hard porcelain"], "hydrogen", 1405.0)[name]
    assert told.grade == CAUTION
    assert "dew point" in told.note
    assert name not in reactions([metal, "alumina"], "hydrogen", 1405.0)
    assert name not in reactions([metal, "hard porcelain"], "carbon", 1405.0)
    assert name not in reactions([metal, "hard porcelain"], "hydrogen", 1100.0)


@pytest.mark.parametrize("gas", ["carbon", "hydrogen"])
@pytest.mark.parametrize("body", ["mid-fire stoneware", "red earthenware", "talc body"])
def test_nickel_beside_clay_is_a_caution_for_its_sulphur_and_never_a_no(
    body: str, gas: str
) -> None:
    told = reactions(["nickel", body], gas, 1050.0)["nickel takes up sulphur"]
    assert told.grade == CAUTION
    assert "low in sulphur" in told.note
    assert "burn out open first" in told.note
    assert "nickel takes up sulphur" not in reactions(["nickel", body], "air", 1050.0)
    assert "nickel takes up sulphur" not in reactions(["copper", body], gas, 1050.0)


def test_a_pair_of_metals_that_the_table_does_not_know_is_said_to_be_unknown() -> None:
    found = first_liquid([CARDS["gold"], CARDS["iron"]], "hydrogen")
    assert found is not None
    assert found.unknown == (("Au", "Fe"),)
    (told,) = [f for f in flags(["gold", "iron"], "hydrogen", 900.0) if f.verdict == "unknown"]
    assert told.grade == CAUTION
    assert "between Au and Fe" in told.note


@given(names, names, st.sampled_from(GASES), st.floats(500.0, 1700.0), st.floats(0.0, 200.0))
def test_hotter_is_never_safer_and_order_does_not_matter(
    one: str, other: str, gas: str, peak: float, more: float
) -> None:
    def load(bands: list[str], at: float) -> float:
        return max(
            (f.utilisation for f in flags(bands, gas, at) if f.utilisation == f.utilisation),
            default=0.0,
        )

    assert load([one, other], peak + more) >= load([one, other], peak) - 1e-12
    assert load([one, other], peak) == load([other, one], peak)


@given(names, names, st.sampled_from(GASES))
def test_a_neighbour_never_raises_the_first_liquid(one: str, other: str, gas: str) -> None:
    cards = [CARDS[one], CARDS[other]]
    both = liquid_ceiling(cards, gas)
    assert both <= min(liquid_ceiling([c], gas) for c in cards)
    for card in cards:
        if card.kind == "metal":
            assert both <= ceiling(card, gas)


def test_a_fired_vessel_is_judged_by_its_bands_and_its_gas() -> None:
    """Silver foot on a fritted body at 860 °C in air: no liquid, the glass is marked."""
    found = [flag for rule in RULES for flag in rule.flags(tea_light())]
    assert {f.rule for f in found} == {"liquid", "reaction"}
    assert all(f.grade < NO for f in found)
    assert all(f.time is not None for f in found)
    assert len({(f.rule, f.zone, f.source) for f in found}) == len(found)


# -- screening -------------------------------------------------------------------------------


@pytest.mark.parametrize("metal", ["iron", "low-carbon steel"])
def test_screening_no_longer_proposes_iron_in_carbon_above_its_eutectic(metal: str) -> None:
    """Was 1180 °C in the studio kiln; now below 1147 °C less the margin, or no."""
    found = screen([CARDS[metal]], [CARDS[c] for c in CERAMICS], KILNS["laboratory furnace"])
    carbon = [p.window for p in found if p.gas == "carbon" and p.window]
    assert carbon
    assert all(w.high <= kelvin(1147.0) - SOLIDUS_MARGIN + 1e-6 for w in carbon)
    (high,) = [p for p in found if p.ceramic == "high-fire stoneware"]
    assert high.verdict == "no"
    assert "1147 °C" in high.reason


def test_screening_keeps_silver_in_air_below_the_liquid_that_oxygen_makes() -> None:
    (found,) = screen(
        [CARDS["fine silver"]], [CARDS["leucite porcelain"]], KILNS["small studio kiln"], ("air",)
    )
    assert found.window is not None
    assert celsius(found.window.high) <= 951.0 - SOLIDUS_MARGIN + 1e-6


def test_a_stream_of_pairs_leaves_out_those_that_melt() -> None:
    """At 1160 °C in carbon iron is molten whatever stands beside it; at 1120 °C it is not."""
    iron, bodies = [CARDS["iron"]], [CARDS["mid-fire stoneware"], CARDS["talc body"]]
    kiln, peaks = KILNS["laboratory furnace"], [kelvin(1115.0), kelvin(1160.0)]
    shares = [share for _, _, share, _ in stream(iron, bodies, kiln, peaks)]
    assert shares[0].any()
    assert not shares[1].any()


# -- joints ----------------------------------------------------------------------------------


def test_every_shipped_pair_has_a_resistance_with_source_and_spread() -> None:
    for one in CARDS.values():
        for other in CARDS.values():
            found = joint_resistance(one, other)
            assert 1.0 < found.toughness < 1e5
            assert 5e6 < found.shear_strength < 2e9
            assert min(found.toughness_factor, found.shear_factor) > 1.2
            assert len(found.source) > 40
            assert joint_resistance(other, one) == found


def test_gold_on_alumina_has_the_toughness_read_for_it() -> None:
    assert joint_resistance(CARDS["gold"], CARDS["alumina"]).toughness == 50.0
    assert joint_resistance(CARDS["nickel"], CARDS["alumina"]).toughness == pytest.approx(
        np.sqrt(8.5 * 34.2), rel=0.01
    )


def test_a_joint_in_glass_is_weaker_than_one_on_an_oxide_and_metal_tears_last() -> None:
    copper = CARDS["copper"]
    glass = joint_resistance(copper, CARDS["fritted body"])
    oxide = joint_resistance(copper, CARDS["alumina"])
    metal = joint_resistance(copper, CARDS["nickel"])
    assert glass.toughness < oxide.toughness < metal.toughness


def test_equal_ceramics_have_the_toughness_of_the_body() -> None:
    """K²/E of the card; the joint of a body with itself is the body."""
    card = CARDS["fritted body"]
    energy = card["fracture_toughness"].scalar ** 2 / card["young_modulus"].value[0]
    assert joint_resistance(card, card).toughness == pytest.approx(energy)


def test_blends_lead_from_one_end_to_the_other() -> None:
    metal, body = CARDS["copper"], CARDS["alumina"]
    values = [
        joint_resistance(blend(metal, body, c), metal).toughness for c in (0.01, 0.3, 0.6, 0.99)
    ]
    assert values == sorted(values)
    assert values[0] == pytest.approx(joint_resistance(body, metal).toughness, rel=0.08)
    assert values[-1] == pytest.approx(joint_resistance(metal, metal).toughness, rel=0.08)


def test_families_follow_from_the_card() -> None:
    assert families(CARDS["copper"]) == {"metal"}
    assert families(CARDS["alumina"]) == {"ceramic", "oxide"}
    assert families(CARDS["hard porcelain"]) == {"ceramic", "glass-bonded", "silica"}


# -- the file --------------------------------------------------------------------------------


def test_the_shipped_table_has_no_complaint_and_every_liquid_can_be_found() -> None:
    assert check_pairs(TABLE) == []
    text = TABLE.read_text(encoding="utf-8")
    assert text.count("[[liquid]]") == len(shipped_pairs().liquids)
    assert len({liquid.name for liquid in shipped_pairs().liquids}) == len(shipped_pairs().liquids)
    assert "pairs" not in " ".join(load_cards())


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('bases = ["Ag", "Cu"]', 'bases = ["Ag", "Xx"]', "liquid 1: bases = .*; allowed: a list"),
        ("temperature_C = 779.1", "temperature_C = 7791", "temperature_C = 7791; allowed: 20 to"),
        ("temperature_C = 779.1", 'temperature_C = "hot"', "temperature_C = 'hot'; allowed"),
        ('uncertainty = "+- 1"', 'uncertainty = "some"', "uncertainty = 'some'; write"),
        ('uncertainty = "+- 1"', 'uncertainty = "+- 0"', r"uncertainty = '\+- 0'; allowed"),
        ('source = "agcu"', 'source = "hearsay"', "source = 'hearsay'; allowed: one of"),
        ('severity = "melts"', 'severity = "boils"', "severity = 'boils'; allowed: 'melts'"),
        ('gases = ["carbon"]', 'gases = ["argon"]', "gases = .*; allowed: a list of air"),
        ('basis = "seen"', 'basis = "sure"', "basis = 'sure'; allowed: 'seen'"),
        ("[[liquid]]", "[[liquids]]", "no field named 'liquids'; did you mean 'liquid'"),
        ('ceramic = "silica"', 'ceramic = "clay"', "ceramic = 'clay'; allowed"),
        ('toughness_uncertainty = "factor 2"', 'toughness_uncertainty = "5 %"',
         "toughness_uncertainty = '5 %'; allowed: \"factor 2\", above 1"),
        ("toughness_J_per_m2 = 50\n", "", "toughness_J_per_m2 = missing and .*: one of the two"),
        ('between = ["metal", "oxide"]', 'between = ["metal"]', "between = .*; allowed: two of"),
        ('["W", "Cu"]', '["W"]', "harmless 2: bases = .*; allowed: pairs of elements"),
        ("[sources]", '[sources]\nspare = "nothing"', "sources: spare is used by no entry"),
    ],
)  # fmt: skip
def test_a_wrong_entry_is_refused_in_one_line_with_its_place(
    tmp_path: Path, old: str, new: str, complaint: str
) -> None:
    text = TABLE.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "pairs.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_pairs(path)
    assert "\n" not in str(told.value)
    assert str(path) in str(told.value)
    assert any(re.search(complaint, line) for line in check_pairs(path)), check_pairs(path)


def test_a_source_that_is_not_listed_is_told_in_one_line_however_many_are(tmp_path: Path) -> None:
    text = TABLE.read_text(encoding="utf-8").replace(
        "[[liquid]]", f'[[liquid]]\nsource = "{"x" * 60}"', 2
    )
    path = tmp_path / "pairs.toml"
    path.write_text(re.sub(r'(source = "x+"(?s:.*?))\nsource = .*', r"\1", text, count=2))
    line, _ = [found for found in check_pairs(path) if "source = 'xxx" in found]
    assert "allowed: one of [sources]: " in line
    assert line.endswith(" ...")
    assert len(line) <= LONGEST
    with pytest.raises(InputError, match=r"\(and 1 more\)$") as told:
        read_pairs(path)
    assert len(str(told.value)) <= LONGEST


def test_a_table_without_a_class_for_a_joint_says_which_is_missing(tmp_path: Path) -> None:
    text = TABLE.read_text(encoding="utf-8")
    path = tmp_path / "pairs.toml"
    start = text.index('[[joint]]\nbetween = ["ceramic"')
    kept = re.sub(r"(brittle|flexure) = .*\n", "", text[:start])
    path.write_text(kept, encoding="utf-8")
    with pytest.raises(InputError, match=r"no .*joint.* for 'alumina' with 'cordierite'"):
        joint_resistance(CARDS["alumina"], CARDS["cordierite"], read_pairs(path))


OWN = """
[sources]
mine = "five notched bars across the joint"
[[joint]]
between = ["Fine silver", "leucite porcelain"]
toughness_J_per_m2 = 1.5
toughness_uncertainty = "factor 1.3"
toughness_source = "mine"
"""
OWN_WEAK = OWN.replace("1.5", "0.5")
OWN_UNSURE = OWN_WEAK.replace("factor 1.3", "factor 3")
SILVER_ON_LEUCITE = CARDS["fine silver"], CARDS["leucite porcelain"]


def own_tables(folder: Path, text: str) -> dict[str, Card]:
    """The cards with a folder of one's own that holds pairs alone."""
    folder.mkdir(exist_ok=True)
    (folder / "pairs.toml").write_text(text, encoding="utf-8")
    return load_cards([folder])


def test_a_measured_joint_of_ones_own_counts_for_its_two_materials_and_no_others(
    tmp_path: Path,
) -> None:
    cards = own_tables(tmp_path, OWN)
    silver, leucite = cards["fine silver"], cards["leucite porcelain"]
    found, shipped = joint_resistance(leucite, silver), joint_resistance(*SILVER_ON_LEUCITE)
    assert (found.toughness, found.toughness_factor) == (1.5, 1.3)
    assert found.own == "measured: five notched bars across the joint"
    # what was not measured is as it was
    assert found.shear_strength == shipped.shear_strength
    assert found.shear_factor == shipped.shear_factor
    assert not shipped.own
    other = joint_resistance(silver, cards["fritted body"])
    assert other == joint_resistance(CARDS["fine silver"], CARDS["fritted body"])
    # a blend meets its neighbour with both of its phases
    mixed = blend(silver, leucite, 0.3)
    assert (
        joint_resistance(mixed, leucite).toughness
        < joint_resistance(blend(*SILVER_ON_LEUCITE, 0.3), SILVER_ON_LEUCITE[1]).toughness
    )


def test_a_measured_joint_changes_the_verdict_on_it_and_is_named_as_the_users(
    tmp_path: Path,
) -> None:
    pot = Pot(high="leucite porcelain")
    vessel = written_vessel(pot.text(), pot.profile())
    zone = "fine silver | leucite porcelain"
    told = [
        only(list(check_vessel(vessel, cards, control=COARSE).verdict.flags), "through crack", zone)
        for cards in (CARDS, *(own_tables(tmp_path, text) for text in (OWN_WEAK, OWN_UNSURE)))
    ]
    assert [flag.grade for flag in told] == [CAUTION, NO, NO]
    assert "own table" not in told[0].source
    assert "0.5 J/m² within a factor 1.3; of your own table, measured: five" in told[1].source
    # and a sure number spreads the utilisation less than an unsure one
    spread = [flag.high / flag.low for flag in told[1:] if flag.high and flag.low]
    assert spread[0] < spread[1]


@pytest.mark.parametrize("measured", [2.0, 30.0])
def test_a_class_of_joints_of_ones_own_takes_the_place_of_the_shipped_class(
    tmp_path: Path, measured: float
) -> None:
    between = 'between = ["glass-bonded", "metal"]'
    text = OWN.replace('between = ["Fine silver", "leucite porcelain"]', between)
    cards = own_tables(tmp_path, text.replace("= 1.5", f"= {measured}"))
    assert joint_resistance(cards["copper"], cards["fritted body"]).toughness == measured
    # a class of one base is the more special, shipped or not
    titanium = joint_resistance(cards["titanium"], cards["fritted body"])
    assert titanium == joint_resistance(CARDS["titanium"], CARDS["fritted body"])


def test_a_later_folder_counts_before_an_earlier_one(tmp_path: Path) -> None:
    for name, value in (("a", "3.5"), ("b", "4.5")):
        own_tables(tmp_path / name, OWN.replace("1.5", value))
    for order, value in ((["a", "b"], 4.5), (["b", "a"], 3.5)):
        cards = load_cards([tmp_path / name for name in order])
        assert joint_resistance(*(cards[c.name] for c in SILVER_ON_LEUCITE)).toughness == value


def test_a_liquid_of_ones_own_takes_the_place_of_the_one_of_its_name_or_is_added(
    tmp_path: Path,
) -> None:
    entry = """
[sources]
crumb = "a crumb fired on the other in steps of 20 K"
[[liquid]]
name = "{name}"
bases = {bases}
gases = ["carbon"]
temperature_C = {at}
uncertainty = "+- 10"
severity = "melts"
consequence = "it runs"
source = "crumb"
basis = "measured"
"""
    name = "silver and copper melt together"
    cards = own_tables(tmp_path, entry.format(name=name, bases='["Ag", "Cu"]', at=765))
    found = first_liquid((cards["fine silver"], cards["copper"]), "carbon")
    assert found is not None
    assert (round(celsius(found.temperature)), found.basis) == (765, "measured")
    cards = own_tables(tmp_path, entry.format(name="a new one", bases='["Au", "Fe"]', at=900))
    pair = cards["gold"], cards["iron"]
    found = first_liquid(pair, "carbon")
    assert found is not None
    assert (found.name, found.unknown) == ("a new one", ())
    assert first_liquid((CARDS["gold"], CARDS["iron"]), "carbon") != found
    caps = [liquid_ceiling(c, "carbon") for c in (pair, (CARDS["gold"], CARDS["iron"]))]
    assert caps[0] < caps[1]


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("leucite porcelain", "leucit porcelain", "joint 1: between: no material or family named "
         "'leucit porcelain'; did you mean 'leucite porcelain'"),
        ('["Fine silver", ', '["Fine silver", "copper", ', "between = .*or names of materials"),
        ("= 1.5", "= 0", "toughness_J_per_m2 = 0; allowed: 0.1 to 1e"),
        ('"factor 1.3"', '"30 %"', "toughness_uncertainty = '30 %'; allowed: \"factor 2\""),
        ('toughness_uncertainty = "factor 1.3"\n', "", "toughness_uncertainty = "),
        ('toughness_source = "mine"\n', "", "toughness_source is missing; allowed: one of"),
        ("toughness_J_per_m2 = 1.5\n", "", "toughness_J_per_m2 = missing"),
        ("[sources]\nmine", "[source]\nmine", "no field named 'source'; did you mean 'sources'"),
        ("[[joint]]", '[[joint]]\nbase = "Ag"', "base = 'Ag'; allowed: only where between has"),
    ],
)  # fmt: skip
def test_a_wrong_joint_of_ones_own_is_refused_in_one_line_by_every_reader(
    tmp_path: Path, old: str, new: str, complaint: str
) -> None:
    assert old in OWN
    path = tmp_path / "pairs.toml"
    with pytest.raises(InputError) as told:
        own_tables(tmp_path, OWN.replace(old, new, 1))
    assert re.search(complaint, str(told.value)), str(told.value)
    assert "\n" not in str(told.value)
    assert str(path) in str(told.value)
    lines = check_files([path])
    assert any(re.search(complaint, line) for line in lines), lines
    assert not any("used by no entry" in line for line in lines)  # one mistake, one line


def test_two_entries_of_one_joint_are_refused(tmp_path: Path) -> None:
    twice = OWN + OWN[OWN.index("[[joint]]") :].replace("Fine silver", "fine silver")
    with pytest.raises(InputError, match="joint 2: is about the same as joint 1; leave one out"):
        own_tables(tmp_path, twice)


def test_pairs_of_ones_own_are_part_of_the_mark_of_a_sweep_and_cross_to_workers(
    tmp_path: Path,
) -> None:
    cards = own_tables(tmp_path, OWN)
    again = own_tables(tmp_path / "again", OWN.replace("1.5", "1.6"))
    silver = cards["fine silver"]
    marks = {mark_of(card) for card in (CARDS[silver.name], silver, again[silver.name])}
    assert len(marks) == 3
    there = pickle.loads(pickle.dumps(cards))
    assert joint_resistance(*(there[c.name] for c in SILVER_ON_LEUCITE)).toughness == 1.5


def test_an_unknown_gas_is_refused() -> None:
    with pytest.raises(UnknownName, match="no gas named 'argon'"):
        liquids([CARDS["copper"]], "argon")


def test_liquids_are_sorted_and_each_melting_one_is_reached_by_a_peak_above_it() -> None:
    found = liquids([CARDS["fine silver"], CARDS["copper"], CARDS["fritted body"]], "air")
    temperatures = [f.temperature for f in found]
    assert temperatures == sorted(temperatures)
    lowest = next(f for f in found if f.severity == MELTS)
    cards = [CARDS["fine silver"], CARDS["copper"], CARDS["fritted body"]]
    assert first_liquid(cards, "air", lowest.temperature) == lowest
    assert first_liquid(cards, "air", lowest.temperature - 0.1) is None
