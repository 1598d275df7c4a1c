"""Material tables: the shipped ones, folders of a user's own, and names."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from cofire.errors import CofireError, UnknownName
from cofire.files import bundled_tables
from cofire.materials.catalogue import (
    card_files,
    check_files,
    find_card,
    load_cards,
    load_fillers,
    shipped_cards_in,
)
from cofire.materials.properties import SPECS
from cofire.units import celsius
from tests.strategies import CARDS, CERAMICS, METALS

FILES = card_files(bundled_tables())
COPPER = Path(str(bundled_tables())) / "metals" / "copper.toml"


# -- the shipped tables ----------------------------------------------------------------------


def test_no_shipped_card_draws_a_complaint() -> None:
    assert check_files(FILES) == []
    assert len(FILES) == len(CARDS)


@pytest.mark.parametrize("load", [load_cards, load_fillers])
def test_shipped_cards_are_read_once_and_every_caller_has_a_mapping_of_its_own(load) -> None:
    """Once each call read 31 files anew, a sixth of a second a call."""
    one, other = load(), load()
    assert one is not other
    assert [id(card) for card in one.values()] == [id(card) for card in other.values()]
    one.clear()
    assert load() == other


@pytest.mark.parametrize("name", CARDS)
def test_every_number_has_a_source_a_basis_and_an_uncertainty(name: str) -> None:
    for key, entry in CARDS[name].properties.items():
        assert len(entry.source) == len(entry.basis) == len(entry.uncertainty) == entry.value.size
        assert all(source.strip() for source in entry.source)
        for value, uncertainty in zip(entry.value, entry.uncertainty, strict=True):
            if value != 0.0:
                assert float(uncertainty.relative(value)) > 0.0, key


@pytest.mark.parametrize("name", CARDS)
def test_every_value_lies_within_its_plausible_bounds(name: str) -> None:
    for key, entry in CARDS[name].properties.items():
        spec = SPECS[key]
        written = celsius(entry.value) if entry.unit == "C" else entry.value
        assert np.all((written >= spec.least) & (written <= spec.most)), key


def test_a_users_folder_overrides_a_shipped_card_and_adds_its_own(tmp_path: Path) -> None:
    text = COPPER.read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    other = text.replace('name = "copper"', 'name = "my copper"')
    (tmp_path / "other.toml").write_text(other, encoding="utf-8")
    found = load_cards([tmp_path])
    assert found["copper"].origin == str(tmp_path / "mine.toml")
    assert set(found) == {*CARDS, "my copper"}
    assert set(load_cards([tmp_path], bundled=False)) == {"copper", "my copper"}


@pytest.mark.parametrize("typed", ["fine silver", "Fine Silver", "fine_silver", "  FINE   silver "])
def test_a_card_is_found_whatever_its_case(typed: str) -> None:
    assert find_card(typed, CARDS) is CARDS["fine silver"]


def test_an_unknown_card_names_the_nearest() -> None:
    with pytest.raises(UnknownName, match="no material named 'forsterit'; did you mean 'forst"):
        find_card("forsterit", CARDS)


def test_a_word_of_several_names_suggests_all_of_them() -> None:
    both = r"'bronze'; did you mean 'tin bronze 80/20' or 'tin bronze 90/10'\?"
    with pytest.raises(UnknownName, match=both):
        find_card("bronze", CARDS)


def test_errors_are_value_errors_with_one_line() -> None:
    with pytest.raises(CofireError) as caught:
        find_card("unobtainium" * 20, CARDS)
    assert isinstance(caught.value, ValueError)
    assert "\n" not in str(caught.value)


def test_kinds_and_names_are_as_their_files_say() -> None:
    for names, folder in ((METALS, "metals"), (CERAMICS, "ceramics")):
        for name in names:
            assert Path(CARDS[name].origin).parent.name == folder
            assert replace(CARDS[name]).name == name


def test_the_shipped_cards_of_a_vessel_are_those_that_all_are_found_among():
    for name, card in CARDS.items():
        assert shipped_cards_in([f" {name.upper()} "])[name].properties.keys() == (
            card.properties.keys()
        )
    some = shipped_cards_in(["fine silver + fritted body = 35"])
    assert {"fine silver", "fritted body"} <= some.keys()
    assert len(some) < len(CARDS)
    assert not shipped_cards_in(["no such material"])
