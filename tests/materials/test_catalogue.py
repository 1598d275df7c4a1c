"""Material cards: what a file says, in SI, and what a card answers."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.errors import CofireError, InputError, OutOfRange, UnknownName
from cofire.files import read_toml
from cofire.materials.card import Card, Property, Uncertainty
from cofire.materials.catalogue import (
    bundled_tables,
    card_files,
    check_files,
    find_card,
    load_cards,
    read_card,
)
from cofire.materials.properties import GASES, SPECS
from cofire.units import ROOM, celsius, kelvin
from tests.strategies import CARDS, CERAMICS, METALS, cards, some

FILES = card_files(bundled_tables())
COPPER = Path(str(bundled_tables())) / "metals" / "copper.toml"


def made(rows: list[float], values: list[float]) -> Property:
    """A table of Young's modulus over °C."""
    count = len(rows)
    return Property(
        "young_modulus",
        "made",
        kelvin(np.array(rows)),
        np.array(values),
        (Uncertainty("%", 0.1),) * count,
        ("made",) * count,
        ("estimate",) * count,
    )


# -- the shipped tables ----------------------------------------------------------------------


def test_no_shipped_card_draws_a_complaint() -> None:
    assert check_files(FILES) == []
    assert len(FILES) == len(CARDS)


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


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_files_are_read_into_si(path: Path) -> None:
    """Each property of each file, by a conversion written out here."""
    factor = {
        "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "kPa": 1e3, "%": 0.01, "-": 1.0, "kg/m3": 1.0,
        "W/(m K)": 1.0, "J/(kg K)": 1.0, "um": 1e-6, "kJ/mol": 1e3, "N/m": 1.0,
        "log10(Pa s)": 1.0, "MPa m^0.5": 1e6,
    }  # fmt: skip
    card, table = read_card(path), read_toml(path)
    for key in set(table) & set(SPECS):
        entry = table[key]
        written = np.atleast_1d(np.asarray(entry["value"], dtype=float))
        expected = written + 273.15 if entry["unit"] == "C" else written * factor[entry["unit"]]
        assert card[key].value == pytest.approx(expected)
        assert card[key].at_density == entry.get("at_density", 1.0)
        rows = card[key].temperature
        if "temperature_C" in entry:
            assert rows == pytest.approx(np.asarray(entry["temperature_C"]) + 273.15)
        else:
            assert rows is None
    fired = table["fired_density"]["fired_at"]
    assert card.fired_at is not None
    assert card.fired_at.rate == pytest.approx(fired["rate_C_per_h"] / 3600.0)
    assert card.fired_at.peak == pytest.approx(fired["peak_C"] + 273.15)
    assert card.fired_at.hold == pytest.approx(fired["hold_min"] * 60.0)


@pytest.mark.parametrize("name", CARDS)
def test_a_card_says_how_it_takes_every_gas(name: str) -> None:
    assert set(CARDS[name].atmosphere) == set(GASES)
    for remark in CARDS[name].atmosphere.values():
        assert re.match(r"good$|(caution|refused): \S", remark)


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


# -- what a card answers ---------------------------------------------------------------------


def test_a_missing_property_says_what_it_means_and_an_unknown_one_what_there_is() -> None:
    copper = CARDS["copper"]
    assert "weibull_modulus" not in copper
    with pytest.raises(InputError, match=r"copper\.toml: weibull_modulus: missing; .*scatter"):
        copper["weibull_modulus"]
    with pytest.raises(UnknownName, match="no property named 'yeild_stress'; did you mean"):
        copper["yeild_stress"]
    assert copper.scalar("free_quartz", 0.0) == 0.0
    assert copper.scalar("poisson_ratio", 0.9) == copper["poisson_ratio"].scalar


@some
@given(cards(), st.floats(0.5, 2.0))
def test_a_scaled_card_differs_in_one_property_only(card: Card, factor: float) -> None:
    changed = card.scaled("thermal_expansion", factor)
    assert changed["thermal_expansion"].value == pytest.approx(
        factor * card["thermal_expansion"].value
    )
    for key, entry in card.properties.items():
        if key != "thermal_expansion":
            assert changed[key] is entry
    hot = np.array([kelvin(300.0)])
    assert changed["thermal_expansion"].at(hot) == pytest.approx(
        factor * card["thermal_expansion"].at(hot)
    )


def test_free_silica_inverts_in_proportion_to_its_share() -> None:
    stoneware = CARDS["mid-fire stoneware"]
    twice = stoneware.scaled("free_quartz", 2.0)
    steps = {change.name: change.step for change in stoneware.inversions}
    assert set(steps) == {"quartz inversion", "cristobalite inversion"}
    assert {c.name: c.step for c in twice.inversions}["quartz inversion"] == pytest.approx(
        2.0 * steps["quartz inversion"]
    )
    assert stoneware.scaled("free_quartz", 0.0).inversions[0].name == "cristobalite inversion"
    assert all(change.in_table for change in stoneware.inversions)
    assert not any(change.in_table for change in CARDS["iron"].inversions)


# -- tables ----------------------------------------------------------------------------------


@some
@given(
    st.lists(st.floats(20.0, 1500.0), min_size=2, max_size=8, unique=True).map(sorted),
    st.data(),
)
def test_a_table_goes_through_its_rows_and_never_beyond_their_neighbours(
    rows: list[float], data: st.DataObject
) -> None:
    rows = [r for i, r in enumerate(rows) if i == 0 or r - rows[i - 1] > 1.0]
    if len(rows) < 2:
        return
    values = data.draw(st.lists(st.floats(1e9, 4e11), min_size=len(rows), max_size=len(rows)))
    table = made(rows, values)
    assert table.at(kelvin(np.array(rows))) == pytest.approx(values)
    for i in range(len(rows) - 1):
        between = table.at(kelvin(np.linspace(rows[i], rows[i + 1], 9)))
        low, high = sorted(values[i : i + 2])
        assert np.all(between >= low * (1.0 - 1e-12))
        assert np.all(between <= high * (1.0 + 1e-12))


def test_a_table_is_asked_within_its_rows_and_down_to_room_temperature_if_near() -> None:
    warm, hot = made([100.0, 800.0], [100e9, 60e9]), made([300.0, 800.0], [100e9, 60e9])
    assert warm.reach == (ROOM, kelvin(800.0))
    assert hot.reach == (kelvin(300.0), kelvin(800.0))
    assert warm.at(np.array([ROOM])) == pytest.approx([100e9])  # its first row is held
    for table, asked in ((warm, -10.0), (warm, 801.0), (hot, 250.0)):
        with pytest.raises(OutOfRange, match=rf"made: young_modulus asked at {asked:.0f} °C"):
            table.at(np.array([kelvin(asked)]))
        held = table.at(np.array([kelvin(asked)]), extend=True)
        assert held == pytest.approx([100e9 if asked < 500.0 else 60e9])


@pytest.mark.parametrize("rows", [None, np.array([kelvin(700.0)])])
def test_a_single_number_read_along_a_firing_holds_where_the_card_says(
    rows: np.ndarray | None,
) -> None:
    """One number is no table: at other temperatures it is refused, or the range is stated."""
    number = replace(made([700.0, 800.0], [50e9, 40e9]), temperature=rows, value=np.array([60e9]))
    assert number.reach == ((ROOM, ROOM) if rows is None else (rows[0], rows[0]))
    with pytest.raises(OutOfRange, match=r"asked at [78][05]0 °C; it is a single number.* valid_C"):
        number.at(kelvin(np.array([700.0, 850.0])))
    assert number.at(np.array([kelvin(850.0)]), extend=True) == pytest.approx([60e9])
    stated = replace(number, valid=(ROOM, kelvin(900.0)))
    assert stated.at(kelvin(np.array([20.0, 850.0]))) == pytest.approx([60e9, 60e9])
    with pytest.raises(OutOfRange, match=r"asked at 901 °C; its rows cover 20-900 °C"):
        stated.at(np.array([kelvin(901.0)]))


@pytest.mark.parametrize(
    ("valid", "told"),
    [
        ("[20]", "valid_C has 1 entries for 1 value"),
        ("[20, 700, 900]", "valid_C has 3 entries"),
        ("[900, 20]", "valid_C row 2: 20 is not above the row before"),
        ('"warm"', "valid_C = 'warm'; allowed: -273.15 to 3500"),
    ],
)
def test_a_range_of_a_single_number_is_read_or_refused(
    valid: str, told: str, tmp_path: Path
) -> None:
    text = COPPER.read_text(encoding="utf-8")
    single = re.sub(
        r"(?s)\[thermal_expansion\].*?(?=\n\[)",
        '[thermal_expansion]\nunit = "1e-6/K"\nvalue = 17\nvalid_C = VALID\n'
        f'uncertainty = "3 %"\nsource = "{next(iter(tomllib.loads(text)["sources"]))}"\n'
        'basis = "memory"\n',
        text,
    )
    file = tmp_path / "one.toml"
    file.write_text(single.replace("VALID", valid), encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(told)):
        read_card(file)
    file.write_text(single.replace("VALID", "[20, 1000]"), encoding="utf-8")
    assert read_card(file)["thermal_expansion"].reach == (ROOM, kelvin(1000.0))


def test_a_single_number_holds_at_every_temperature() -> None:
    ratio = CARDS["copper"]["poisson_ratio"]
    assert ratio.reach == (0.0, np.inf)
    anywhere = ratio.at(np.array([[10.0, 300.0], [3000.0, 5.0]]))
    assert anywhere.shape == (2, 2)
    assert np.all(anywhere == ratio.scalar)


@pytest.mark.parametrize(
    ("uncertainty", "value", "expected"),
    [
        (Uncertainty("%", 0.05), 200.0, 0.05),
        (Uncertainty("+-", 0.02), 0.5, 0.04),
        (Uncertainty("+-", 1.0), -20.0, 0.05),
        (Uncertainty("factor", 2.0), 3.0, np.log(2.0)),
    ],
)
def test_uncertainties_of_all_kinds_become_relative(
    uncertainty: Uncertainty, value: float, expected: float
) -> None:
    assert float(uncertainty.relative(value)) == pytest.approx(expected)


def test_errors_are_value_errors_with_one_line() -> None:
    with pytest.raises(CofireError) as caught:
        find_card("unobtainium" * 20, CARDS)
    assert isinstance(caught.value, ValueError)
    assert "\n" not in str(caught.value)


def test_temperatures_and_differences_are_not_mixed() -> None:
    assert kelvin(0.0) == 273.15
    assert celsius(kelvin(573.0)) == pytest.approx(573.0)
    assert kelvin(np.array([20.0]))[0] == ROOM


def test_kinds_and_names_are_as_their_files_say() -> None:
    for names, folder in ((METALS, "metals"), (CERAMICS, "ceramics")):
        for name in names:
            assert Path(CARDS[name].origin).parent.name == folder
            assert replace(CARDS[name]).name == name


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        (
            "temperature_C = 850",
            "temperature_C = 300",
            "sag_viscosity: temperature_C = 300; allowed: within the rows of glass_viscosity, "
            "455 to 990",
        ),
        ("temperature_C = 850\n", "", "sag_viscosity: give one value with its temperature_C"),
    ],
)
def test_a_sag_bar_belongs_to_a_temperature_at_which_the_glass_flows(
    old: str, new: str, complaint: str, tmp_path: Path
) -> None:
    path = Path(CARDS["fritted body"].origin)
    text = path.read_text(encoding="utf-8")
    before, found, after = text.partition("[sag_viscosity]")
    assert old in after
    (tmp_path / "card.toml").write_text(before + found + after.replace(old, new, 1), "utf-8")
    assert check_files([tmp_path / "card.toml"]) == [f"{tmp_path / 'card.toml'}: {complaint}"]
