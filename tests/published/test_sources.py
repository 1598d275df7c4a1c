"""Sources that a reader can find: no number of the tables rests on a name that is kept back."""

from __future__ import annotations

import re

import pytest

from cofire.files import bundled_tables
from cofire.firing.cones import read_cones
from cofire.materials.card import Card
from cofire.materials.catalogue import load_cards, load_fillers
from cofire.materials.pairs import shipped_pairs

CARDS = {**load_cards(), **load_fillers()}
HIDDEN = re.compile(
    r"withheld|hobby|user(?:s'|') page|user page|user values|a page|one page|page for"
    r"|manufacturer|supplier|vendor|(?:maker|seller|potter|glazier)(?:s'|'s)|sheets print"
    r"|trade tables|not citable|none of them citable|data sheets?|a database|publisher",
    re.I,
)
HABITS = ("drying_shrinkage", "brown_strength", "sintering_exponent", "least_density")


@pytest.mark.parametrize("card", CARDS.values(), ids=CARDS)
def test_no_source_of_a_card_is_hidden(card: Card) -> None:
    for found in card.properties.values():
        for source in found.source:
            assert not HIDDEN.search(source), (found.name, source)


@pytest.mark.parametrize("folder", ["", "metals", "ceramics", "fillers", "kilns"])
def test_no_note_of_a_table_rests_on_a_hidden_source(folder: str) -> None:
    """Notes are read by people only: no card keeps them, so the files themselves are searched."""
    files = [f for f in bundled_tables().joinpath(folder).iterdir() if f.is_file()]
    assert files
    for file in files:
        for line in file.read_text(encoding="utf-8").splitlines():
            assert not HIDDEN.search(line), (file.name, line)


@pytest.mark.parametrize("card", CARDS.values(), ids=CARDS)
def test_a_number_that_cannot_be_cited_is_an_estimate(card: Card) -> None:
    for found in card.properties.values():
        for source, basis in zip(found.source, found.basis, strict=True):
            if source.startswith("our estimate"):
                assert basis not in ("seen", "derived"), (found.name, source)


@pytest.mark.parametrize("name", HABITS)
def test_numbers_alike_on_every_metal_say_by_which_rule_and_differ_in_spread(name: str) -> None:
    """What was copied by habit: one value for all may be honest, one spread for all is not."""
    metals = [card for card in CARDS.values() if card.kind == "metal"]
    spreads = {card[name].uncertainty[0] for card in metals}
    assert len(spreads) > 1
    for card in metals:
        assert card[name].basis == ("estimate",)
        assert re.match("our (estimate|choice)", card[name].source[0]), card.name


@pytest.mark.parametrize("card", CARDS.values(), ids=CARDS)
def test_a_continued_row_of_expansion_is_less_sure_than_the_last_measured(card: Card) -> None:
    table = card["thermal_expansion"]
    known = [i for i, source in enumerate(table.source) if "continued" not in source]
    for i, source in enumerate(table.source):
        if "continued" in source and known and known[0] < i:
            last = max(k for k in known if k < i)
            spread = [float(table.uncertainty[k].relative(table.value[k])) for k in (last, i)]
            assert spread[1] > spread[0], (card.name, i)


def test_the_cone_chart_says_that_it_is_no_standard() -> None:
    assert read_cones().chart.startswith("estimate")


def test_every_liquid_and_joint_has_a_source() -> None:
    pairs = shipped_pairs()
    sources = [liquid.source for liquid in pairs.liquids]
    sources += [s for j in pairs.joints for s in (j.toughness_source, j.shear_source)]
    for source in sources:
        assert not HIDDEN.search(source), source
        assert len(source) > 25
