"""Texts with °F and inches: every length and temperature turned once, and nothing else."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from cofire.cli import app
from cofire.design.firings import Setting
from cofire.design.schedule import Choice, Schedule
from cofire.firing.program import Controller, load_kilns, read_firing
from cofire.report.imperial import imperial
from tests.strategies import some

pytestmark = pytest.mark.usefixtures("solids_are_rough")

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
VESSEL = str(EXAMPLES / "copper_foot_tumbler.toml")
LEFT = re.compile(r"\d\*?\s+(?:°C|mm|K)(?![\w/²³])")
"""A measure that was not turned."""


def both(*words: str) -> tuple[str, str]:
    run = CliRunner().invoke
    plain, turned = (run(app, [*words, "--units", u]) for u in ("metric", "imperial"))
    assert plain.exit_code == turned.exit_code
    return plain.stdout, turned.stdout


@pytest.mark.parametrize(
    ("metric", "told"),
    [
        ("100 °C", "212 °F"),
        ("-40 °C", "-40 °F"),
        ("+150 °C/h", "+270 °F/h"),
        ("100 K apart", "180 °F apart"),
        ("25.4 mm", "1.000 in"),
        ("254 mm", "10.00 in"),
        ("110.0 by 40.0 mm", "4.331 by 1.575 in"),
        ("between 200 and\n  500 °C", "between 392 and\n  932 °F"),
        ("313\n°C at", "595\n°F at"),
        ("⌀ 18, 27,\n    42, 100 mm", "⌀ 0.71, 1.06,\n    1.65, 3.94 in"),
        ("⌀\n18, 27\nmm", "⌀\n0.71, 1.06\nin"),
        ("99.2* MPa at 25 °C", "99.2* MPa at 77 °F"),
        ("60 ml, 48.1 h, 26 mm up", "60 ml, 48.1 h, 1.02 in up"),
        ("layer 183: 15 J/m², 1e-6/K, 3180 kg/m³", "layer 183: 15 J/m², 1e-6/K, 3180 kg/m³"),
        ("to_mm = 25, 1200 K/s", "to_mm = 25, 1200 K/s"),
        ("3 Kelvin, 4 mmHg, 5 °Cx", "3 Kelvin, 4 mmHg, 5 °Cx"),
        ("utilisation 2.25, 3.0 mm", "utilisation 2.25, 0.118 in"),
        ("", ""),
    ],
)
def test_a_measure_is_turned_by_the_published_relations(metric: str, told: str):
    assert imperial(metric) == told


@given(st.floats(-200.0, 3000.0), st.floats(0.0, 2000.0), st.floats(0.0, 500.0))
@some
def test_what_is_shown_is_within_the_last_digit_that_was_shown(c: float, mm: float, k: float):
    text = f"at {c:.0f} °C, {mm:.1f} mm up, {k:.0f} K apart"
    found = re.fullmatch(r"at (-?\d+) °F, ([\d.]+) in up, (\d+) °F apart", imperial(text))
    assert found is not None
    assert float(found[1]) == pytest.approx(32 + 1.8 * round(c), abs=0.51)
    assert float(found[2]) * 25.4 == pytest.approx(float(f"{mm:.1f}"), abs=0.02)
    assert float(found[3]) == pytest.approx(1.8 * round(k), abs=0.51)


@given(st.text(alphabet=" 0123456789.°CFKmhin/-,\nab", max_size=60))
@some
def test_any_text_keeps_its_lines_and_is_turned_once(text: str):
    turned = imperial(text)
    assert turned.count("\n") == text.count("\n")
    assert LEFT.search(turned) is None or LEFT.search(text)


def test_a_column_with_its_unit_in_the_heading_is_turned_to_the_blank_line():
    table = (
        "blends  tall mm in 1/β  mid mm  used\n"
        "     1     25.4   2.00    50.8  3.03\n"
        "no gain over fewer: 5 at 3.03, 6 at 2.2\n"
        "     2     12.7   1.00    76.2  4.00\n"
        "\n"
        "     2     12.7   1.00    76.2  4.00\n"
    )
    assert imperial(table) == (
        "blends  tall in in 1/β  mid in  used\n"
        "     1    1.000   2.00   2.000  3.03\n"
        "no gain over fewer: 5 at 3.03, 6 at 2.2\n"
        "     2    0.500   1.00   3.000  4.00\n"
        "\n"
        "     2     12.7   1.00    76.2  4.00\n"
    )


def test_a_column_of_temperatures_stays_aligned_and_an_indent_stays():
    assert imperial("  20 °C  110 °C   1.50 h") == "  68 °F  230 °F   1.50 h"
    assert imperial(" 420 °C  860 °C   2.93 h") == " 788 °F 1580 °F   2.93 h"
    assert imperial("        46 mm up") == "        1.81 in up"


@pytest.mark.parametrize(
    "words",
    [
        ("check", VESSEL, "--quick"),
        ("firing", str(EXAMPLES / "silver_on_frit_firing.toml")),
        ("screen", "--metal", "copper", "--all"),
        *(
            pytest.param(words, marks=pytest.mark.long)
            for words in (
                ("stress", VESSEL),
                ("layers", VESSEL),
                ("calibrate", str(EXAMPLES / "measured_fritted_body.toml")),
            )
        ),
    ],
    ids=lambda words: words[0],
)
def test_a_command_shows_the_same_in_other_units_and_leaves_none(words: tuple[str, ...]):
    plain, turned = both(*words)
    assert LEFT.search(plain) is not None
    assert LEFT.search(turned) is None
    # without its measures the text is the same word for word
    rest = re.compile(r"[-+]?[\d.]+|°[CF](/h)?|\bmm\b|\bin\b|\bK\b|\s+|[×–-]")
    assert rest.sub("", plain) == rest.sub("", turned)


def test_what_stays_does_so_however_its_lines_are_broken():
    text = "Taken: 550 °C at\n  60 °C/h, 860 °C.\nCard at 25 °C, 860 °C."
    assert imperial(text, ["550 °C at 60 °C/h, 860 °C."]) == (
        "Taken: 550 °C at\n  60 °C/h, 860 °C.\nCard at 77 °F, 1580 °F."
    )


@pytest.mark.parametrize("named", [True, False])
def test_a_schedule_is_shown_in_the_degrees_in_which_it_is_set(
    monkeypatch: pytest.MonkeyPatch, named: bool
):
    kiln = replace(load_kilns()["small studio kiln"], controller=Controller(given=named))
    firing = read_firing([(550, 60, 60), (860, 150, 75)], kiln=kiln)
    choices = tuple(Choice(s, "peak: 860 °C would crack") for s in firing.segments)
    found = Schedule(firing, choices, 0.5, 0.5, 20.0, 9, Setting(0, 0, 0), reached=True)
    monkeypatch.setattr("cofire.design.schedule.propose_schedule", lambda *_, **__: found)
    _, turned = both("schedule", VESSEL)
    assert ("860 °C  150 °C/h" in turned) == ("peak: 860 °C would" in turned) == named


def test_json_stays_metric():
    plain, turned = both("check", VESSEL, "--json", "--quick")
    assert json.loads(plain) == json.loads(turned)


@pytest.mark.long
def test_a_mismatch_and_a_sheet_have_other_units_and_the_numbers_beside_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("cofire.production.job.pieces_for", lambda *_: [])  # with tests of its own
    pair = ("mismatch", "fine silver", "fritted body", "--force")
    plain, turned = both(*pair)
    assert turned == imperial(plain)
    assert LEFT.search(plain)
    assert not LEFT.search(turned)
    assert "kiln_C" in (tmp_path / "cofire-out" / "mismatch.csv").read_text(encoding="utf-8")
    page = CliRunner().invoke(app, ["sheet", VESSEL, "--out", "-", "--units", "imperial"]).stdout
    assert "Never above 1958\u00a0°F" in page


def test_an_unknown_system_is_a_wrong_command_line():
    told = CliRunner().invoke(app, ["check", VESSEL, "--units", "french"])
    assert told.exit_code == 2
    assert "imperial" in told.stderr


def test_a_column_stays_in_line_where_its_name_grows():
    row = "thermal_expansion 650 °C           8.9       9.52"
    assert imperial(row) == "thermal_expansion 1202 °F          8.9       9.52"


def test_several_diameters_with_one_unit_are_all_turned():
    assert imperial("⌀ 15, 22.0, 33 mm, all in proportion") == (
        "⌀ 0.59, 0.866, 1.30 in, all in proportion"
    )
    assert imperial("layer 39, 11.7 mm up") == "layer 39, 0.461 in up"
