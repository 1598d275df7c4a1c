"""One card file: what it says, in SI, and what is refused."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.files import bundled_tables, read_toml
from cofire.materials.catalogue import (
    card_files,
    check_files,
    read_card,
)
from cofire.materials.properties import GASES, SPECS
from cofire.units import ROOM, kelvin
from tests.strategies import CARDS

FILES = card_files(bundled_tables())
COPPER = Path(str(bundled_tables())) / "metals" / "copper.toml"


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_files_are_read_into_si(path: Path) -> None:
    """Each property of each file, by a conversion written out here."""
    factor = {
        "1e-6/K": 1e-6, "GPa": 1e9, "MPa": 1e6, "kPa": 1e3, "%": 0.01, "-": 1.0, "kg/m3": 1.0,
        "W/(m K)": 1.0, "J/(kg K)": 1.0, "um": 1e-6, "kJ/mol": 1e3, "N/m": 1.0,
        "log10(Pa s)": 1.0, "MPa m^0.5": 1e6, "K": 1.0, "h": 3600.0, "min": 60.0,
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
    assert card.fired_at.gas == fired.get("gas", "")
    for change, entry in zip(card.transformations, table.get("transformation", []), strict=True):
        assert change.gases == tuple(entry.get("gases", ()))


@pytest.mark.parametrize("name", CARDS)
def test_a_card_says_how_it_takes_every_gas(name: str) -> None:
    assert set(CARDS[name].atmosphere) == set(GASES)
    for remark in CARDS[name].atmosphere.values():
        assert re.match(r"good$|(caution|refused): \S", remark)


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
