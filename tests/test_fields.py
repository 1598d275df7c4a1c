"""The table of fields: readers take names, bounds, words and defaults from it, nowhere else."""

from __future__ import annotations

import inspect
import math
import tomllib
from pathlib import Path

import pytest

from cofire.errors import InputError
from cofire.evidence.calibration import calibrate
from cofire.evidence.measured import read_measured
from cofire.evidence.record import OUTCOMES
from cofire.fields import FORMATS, PASTE, PRINTER, RECORD, Field, Section
from cofire.firing import program
from cofire.firing.program import LAG, load_kilns
from cofire.firing.stamps import UNITS
from cofire.materials.catalogue import load_cards
from cofire.report.calibration import card_text
from cofire.vessel import Mixing, Printer
from cofire.vessel_file import read_vessel

KILNS = load_kilns()
EXAMPLES = Path(__file__).parents[1] / "examples"
PLAIN = """name = "cup"
[profile]
shape = "cylinder"
height_mm = 60
radius_mm = 30
wall_mm = 3
[[band]]
material = "fritted body"
[firing]
[[firing.segment]]
to_C = 850
rate_C_per_h = 150
"""


def sections() -> list[Section]:
    return [section for each in FORMATS.values() for section in each]


def all_fields() -> list[tuple[str, Field]]:
    return [(name, field) for section in sections() for name, field in section.fields.items()]


@pytest.mark.parametrize(("name", "field"), all_fields())
def test_a_field_says_what_it_does_and_what_counts_without_it(name: str, field: Field):
    assert len(field.meaning) > 5
    assert not field.meaning.endswith(".")
    assert field.left_out
    if isinstance(field.default, float):
        assert field.least <= field.default <= field.most
    if field.example:
        tomllib.loads(f"x = {field.example}")


@pytest.mark.parametrize(
    ("name", "field"), [(n, f) for n, f in all_fields() if math.isfinite(f.least)]
)
def test_a_number_ends_its_name_or_its_line_with_its_unit(name: str, field: Field):
    assert field.unit
    for tail, unit in {"_mm": "mm", "_C": "°C", "_C_per_h": "°C/h", "_min": "min"}.items():
        if name.endswith(tail):
            assert field.unit == unit


def test_the_defaults_of_the_table_are_those_of_the_printer_and_of_mixing():
    usual, mixing = Printer(), Mixing()
    assert PRINTER["layer_mm"].default == pytest.approx(usual.layer * 1e3)
    assert PRINTER["dead_volume_ml"].default == pytest.approx(usual.dead_volume * 1e6)
    assert PRINTER["tanks"].default == usual.tanks
    assert f"{usual.nozzle * 1e3:g}" in PRINTER["nozzle_mm"].left_out
    assert PASTE["waste_percent"].default == pytest.approx(mixing.waste * 100.0)
    assert PASTE["scale_g"].default == pytest.approx(mixing.scale * 1e3)


def test_the_lags_in_words_are_those_of_the_reader():
    words = program.FIRING["lag_min"].left_out
    for gas, lag in LAG.items():
        assert gas in words
        assert f"{lag / 60.0:g}" in words


def test_the_words_of_a_record_are_those_of_its_reader():
    assert RECORD["outcome"].words == OUTCOMES
    assert RECORD["time_unit"].words == tuple(UNITS)


def read(tmp_path: Path, text: str):
    path = tmp_path / "cup.toml"
    path.write_text(text)
    return read_vessel(path, KILNS)


@pytest.mark.parametrize("heading", ["[printer]", "[joint]", "[paste]"])
def test_every_bound_of_the_table_is_the_reader_s(tmp_path: Path, heading: str):
    (section,) = [s for s in FORMATS["vessel"] if s.heading == heading]
    for name, field in section.fields.items():
        for beyond in (field.least - 1.0, field.most + 1.0):
            with pytest.raises(InputError, match=name):
                read(tmp_path, f"{PLAIN}{heading}\n{name} = {beyond}\n")


def test_a_field_that_is_not_in_the_table_is_refused(tmp_path: Path):
    for section in FORMATS["vessel"][3:]:
        with pytest.raises(InputError, match="no field named 'colour'"):
            read(tmp_path, f"{PLAIN}{section.heading}\ncolour = 1\n")


def test_the_readers_name_no_field_that_the_table_lacks():
    told = {name for name, _ in all_fields()} | {"peak_C"}
    from cofire import vessel

    for module in (vessel, program):
        source = inspect.getsource(module)
        for line in source.splitlines():
            for call in ("fields.number(", "row.number(", "fields.choice(", "fields.text("):
                if call in line and '"' in line.split(call)[1]:
                    assert line.split(call)[1].split('"')[1] in told, line


@pytest.mark.parametrize(
    "change",
    [
        ('shape = "cylinder"', 'shape = "square"'),
        ('shape = "cylinder"', 'shape = "open box"'),
        ("wall_mm = 3", "wall_mm = 3\nhandle = true"),
        ("wall_mm = 3", "wall_mm = 3\nsides = 4"),
        ("[profile]", "[handle]\nwidth_mm = 8\n[profile]"),
    ],
)
def test_what_is_not_round_is_refused_in_one_plain_line(tmp_path: Path, change: tuple[str, str]):
    with pytest.raises(InputError, match="only round vessels") as told:
        read(tmp_path, PLAIN.replace(*change))
    assert "\n" not in str(told.value)


# ----------------------------------------------------------------------------------------------
# A card like another one

OWN = """name = "my frit"
like = "fritted body"
[strength]
value = 62
uncertainty = "10 %"
"""


def own_cards(folder: Path, **files: str):
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text)
    return load_cards([folder])


def test_a_card_like_another_has_its_numbers_but_for_its_own_which_are_marked(tmp_path: Path):
    cards = own_cards(tmp_path, mine=OWN)
    mine, parent = cards["my frit"], cards["fritted body"]
    assert mine.like == "fritted body"
    assert set(mine.properties) == set(parent.properties)
    for name, p in mine.properties.items():
        if name == "strength":
            assert p.scalar == 62e6
            assert p.basis == ("measured",)
            assert "mine.toml" in p.source[0]
            assert p.at_density == parent["strength"].at_density
        else:
            assert p.value.tolist() == parent[name].value.tolist()
            assert p.source == parent[name].source
            assert p.basis == parent[name].basis
    assert mine.atmosphere == parent.atmosphere
    assert mine.transformations == parent.transformations


def test_a_parent_may_itself_be_like_another_and_lie_in_the_same_folder(tmp_path: Path):
    child = 'name = "a"\nlike = "my frit"\n[weibull_modulus]\nvalue = 14\nuncertainty = "20 %"\n'
    cards = own_cards(tmp_path, mine=OWN, a=child)
    assert cards["a"]["strength"].scalar == 62e6
    assert cards["a"]["weibull_modulus"].scalar == 14
    assert "mine.toml" in cards["a"]["strength"].source[0]
    assert "a.toml" in cards["a"]["weibull_modulus"].source[0]


def test_a_card_may_take_the_place_of_its_own_parent(tmp_path: Path):
    cards = own_cards(tmp_path, mine=OWN.replace("my frit", "fritted body"))
    assert cards["fritted body"]["strength"].scalar == 62e6


def test_a_density_of_its_own_asks_for_its_firing_and_drops_the_parent_s_shrinkage(tmp_path: Path):
    bars = '[fired_density]\nvalue = 0.955\nuncertainty = "+- 0.01"\n'
    with pytest.raises(InputError, match="fired_at"):
        own_cards(tmp_path, mine=OWN + bars)
    bars += "fired_at = { rate_C_per_h = 120, peak_C = 860, hold_min = 30 }\n"
    mine = own_cards(tmp_path, mine=OWN + bars)["my frit"]
    assert mine.fired_at is not None
    assert mine.fired_at.peak == pytest.approx(860 + 273.15)
    assert "firing_shrinkage" not in mine


def test_a_name_of_a_source_that_both_use_keeps_both_texts(tmp_path: Path):
    text = OWN + 'source = "class"\nbasis = "seen"\n[sources]\nclass = "my bars, 3 of them"\n'
    cards = own_cards(tmp_path, mine=text)
    assert cards["my frit"]["strength"].source == ("my bars, 3 of them",)
    assert (
        cards["my frit"]["firing_ceiling"].source == cards["fritted body"]["firing_ceiling"].source
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (OWN.replace("fritted body", "fritted boy"), "did you mean 'fritted body'"),
        (OWN.replace("fritted body", "my frit"), "no material named"),
        (OWN.replace('like = "fritted body"', "like = 3"), "like = 3"),
        (OWN.replace("[strength]", 'kind = "metal"\n[strength]'), "leave kind out"),
        (OWN.replace('uncertainty = "10 %"\n', ""), "uncertainty"),
        (OWN.replace("value = 62\n", ""), "value"),
    ],
)
def test_a_wrong_card_like_another_is_refused_with_its_file(tmp_path: Path, text: str, told: str):
    with pytest.raises(InputError, match=r"mine\.toml") as error:
        own_cards(tmp_path, mine=text)
    assert told in str(error.value)


def test_two_cards_like_each_other_are_refused(tmp_path: Path):
    with pytest.raises(InputError, match="like each other"):
        own_cards(tmp_path, a='name = "a"\nlike = "b"\n', b='name = "b"\nlike = "a"\n')


def test_a_card_like_another_can_be_calibrated_and_its_copy_read(tmp_path: Path):
    (tmp_path / "mine.toml").write_text(OWN + '[sources]\nbars = "my bars"\n')
    text = (EXAMPLES / "measured_fritted_body.toml").read_text(encoding="utf-8")
    text = text.replace('material = "fritted body"', 'material = "my frit"')
    csv = EXAMPLES / "measured_fritted_body_curve.csv"
    (tmp_path / csv.name).write_bytes(csv.read_bytes())
    (tmp_path / "m.txt").write_text(text, encoding="utf-8")
    cards = load_cards([tmp_path])
    found = calibrate(cards["my frit"], read_measured(tmp_path / "m.txt", KILNS), cards)
    (tmp_path / "mine.toml").write_text(card_text(found), encoding="utf-8")
    back = load_cards([tmp_path])["my frit"]
    assert back.like == "fritted body"
    for value in found.findings.values:
        assert back[value.name].value == pytest.approx(found.card[value.name].value, rel=1e-3)
