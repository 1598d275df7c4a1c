"""Every text file that cofire writes is read back as what was written, whatever the names hold."""

from __future__ import annotations

import csv
import datetime
import io
import pickle
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.firing.program import read_firing
from cofire.materials.catalogue import load_cards
from cofire.physics.blends import find_material
from cofire.report.read_again import bands_csv, firing_toml, planned_vessel, toml, toml_value
from cofire.report.record import append_many, read_record
from cofire.vessel import Band
from cofire.vessel_file import read_vessel
from tests.strategies import KILNS, firings, kilns, some

NAMES = st.one_of(
    st.sampled_from(
        ["fine silver", "a + b = 40", "tin # 3", 'the "old" body', "it's", "陶土", "grès 1", "a.b",
         "[x]", "back\\slash", "\x7f", "𝔘", "=", "+"]
    ),
    st.text(min_size=1, max_size=20).filter(lambda s: bool(s.strip())),
)  # fmt: skip
SEEN = NAMES.filter(str.isprintable).filter(lambda text: text == " ".join(text.split()))
"""What the reader of a vessel or firing lets in as it is: runs of spaces become one, ends none."""
VALUES = st.recursive(
    st.one_of(
        st.integers(-(2**63), 2**63 - 1),
        st.floats(allow_nan=False),
        st.booleans(),
        NAMES,
        st.dates(),
        st.datetimes(min_value=datetime.datetime(1000, 1, 1)),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=12,
)
VESSEL = """
[profile]
shape = "cylinder"
radius_mm = 35
height_mm = 60
wall_mm = 4
"""
SEGMENT = {"to_C": 850, "rate_C_per_h": 150}


@given(st.dictionaries(NAMES, VALUES, max_size=5))
@some
def test_any_table_is_read_back(table: dict[str, object]):
    assert tomllib.loads(toml(table)) == table


@given(st.lists(SEEN, min_size=1, max_size=4), st.dictionaries(SEEN, st.floats(0.0, 1e6)), SEEN)
@some
def test_a_planned_vessel_is_read_back_with_its_prices_and_names(
    tmp_path_factory, materials: list[str], prices: dict[str, float], name: str
):
    folder = tmp_path_factory.mktemp("plan")
    source = folder / "own.toml"
    table = {"name": name, "firing": "firing.toml", "band": [{"material": "x"}]}
    table["prices"] = {"currency": "€", "per_kg": prices, "per_kWh": 0.3, "kiln_kW": 3.0}
    source.write_text(toml(table) + VESSEL, encoding="utf-8")
    (folder / "firing.toml").write_text(
        'name = "short"\n[[segment]]\nto_C = 850\nrate_C_per_h = 150\nhold_min = 30\n',
        encoding="utf-8",
    )
    vessel = read_vessel(source, KILNS)
    ends = [0.06 * (k + 1) / len(materials) for k in range(len(materials))]
    bands = [
        Band(m, low, high) for m, low, high in zip(materials, [0.0, *ends], ends, strict=False)
    ]
    files = planned_vessel(source, replace(vessel, bands=tuple(bands)), source.parent)
    (folder / "vessel.toml").write_text(files["vessel.toml"], encoding="utf-8")
    back = read_vessel(folder / "vessel.toml", KILNS)
    assert (back.name, back.prices) == (vessel.name, vessel.prices)
    assert back.prices is not None
    assert dict(back.prices.powders) == prices
    assert [b.material for b in back.bands] == materials
    assert [b.high for b in back.bands] == pytest.approx(ends, abs=1e-9)
    rows = list(csv.reader(io.StringIO(bands_csv(replace(vessel, bands=tuple(bands))), newline="")))
    assert [row[1] for row in rows[1:]] == materials


def test_a_planned_wall_leaves_the_floor_as_thick_as_the_one_that_was_judged(tmp_path):
    """Left out, a floor is as thick as the wall: the drawn one, not the one that was chosen."""
    source = tmp_path / "own.toml"
    table = {"name": "cup", "band": [{"material": "gold"}], "firing": {"segment": [SEGMENT]}}
    floor = '[profile]\nbase = "flat"\n'
    source.write_text(
        toml({**table, "free": {"wall_mm": [0.8, 4]}}) + VESSEL.replace("[profile]\n", floor),
        encoding="utf-8",
    )
    judged = read_vessel(source, KILNS).with_wall(0.9e-3)
    (tmp_path / "firing.toml").write_text(firing_toml(judged.firing), encoding="utf-8")
    for name, text in planned_vessel(source, judged, source.parent).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    back = read_vessel(tmp_path / "vessel.toml", KILNS)
    assert judged.wall.tolist() == pytest.approx([4e-3, 0.9e-3, 0.9e-3])
    assert back.wall.tolist() == pytest.approx(judged.wall.tolist())
    assert back.radius.tolist() == pytest.approx(judged.radius.tolist())


@given(firings(), SEEN, SEEN, st.booleans())
@some
def test_a_firing_and_its_kiln_are_read_back(
    tmp_path_factory, firing, name: str, kiln: str, known: bool
):
    if not known:
        firing = replace(firing, kiln=replace(firing.kiln, name=kiln, source=name))
    firing = replace(firing, name=name)
    path: Path = tmp_path_factory.mktemp("firing") / "firing.toml"
    tables = {firing.kiln.name: firing.kiln} if known else {}
    path.write_text(firing_toml(firing, tables), encoding="utf-8")
    back = read_firing(path, tables)
    assert (back.name, back.gas, back.kiln.name) == (firing.name, firing.gas, firing.kiln.name)
    assert len(back.segments) == len(firing.segments)
    for one, two in zip(back.segments, firing.segments, strict=True):
        assert one.target == pytest.approx(two.target, abs=0.01)
        assert one.rate == pytest.approx(two.rate, rel=1e-5)
        assert one.hold == pytest.approx(two.hold, rel=1e-5)


@given(kilns(), st.sampled_from(sorted(KILNS)))
@some
def test_a_kiln_that_only_bears_the_name_of_one_of_the_tables_is_written_out(
    tmp_path_factory, own, name: str
):
    folder = tmp_path_factory.mktemp("firing")
    firing = read_firing({"kiln": replace(own, name=name), "segment": [SEGMENT]})
    (folder / "firing.toml").write_text(firing_toml(firing, KILNS), encoding="utf-8")
    back = read_firing(folder / "firing.toml", KILNS).kiln
    assert (back.name, back.max_temperature) == (name, pytest.approx(own.max_temperature))
    assert back.heating_rate == pytest.approx(own.heating_rate, rel=1e-6)
    assert back.cooling_rate == pytest.approx(own.cooling_rate, rel=1e-6)
    same = replace(firing, kiln=pickle.loads(pickle.dumps(KILNS[name])))  # as a worker sends it
    assert f'kiln = "{name}"' in firing_toml(same, KILNS)


@given(SEEN, SEEN)
@some
def test_a_record_is_read_back(tmp_path_factory, piece: str, note: str):
    path = tmp_path_factory.mktemp("record") / "record.jsonl"
    entry = {"kind": "outcome", "piece": piece, "outcome": "sound", "note": note}
    append_many(path, [entry, entry])
    kept = read_record(path)
    assert len(kept.entries) == 2
    assert not kept.changed
    assert all(kept.entries[0][key] == value for key, value in entry.items())


@pytest.mark.parametrize("name", ["silver + tin", "body = 3", "a+b = 40", "Grès + # 1"])
def test_a_card_whose_name_holds_a_plus_or_an_equals_sign_is_found_alone_and_in_a_blend(name: str):
    cards = load_cards()
    cards[name] = replace(cards["fine silver"], name=name)
    assert find_material(name, cards).name == name
    mixed = find_material(f"{name} + fritted body = 40", cards)
    assert [(card.name, share) for card, share in mixed.parts] == [
        (name, pytest.approx(0.4)),
        ("fritted body", pytest.approx(0.6)),
    ]


def test_a_text_that_json_and_toml_write_unlike_is_escaped():
    assert tomllib.loads(f"a = {toml_value(chr(127))}") == {"a": chr(127)}
