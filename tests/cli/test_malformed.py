"""What a person may give wrong: one line that says where, what and what is allowed, status 3."""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

import cofire as cf
from cofire.cli import app
from cofire.cli.job import planned_reasons
from cofire.errors import UnknownName
from cofire.files import Fields, bundled_tables
from cofire.firing.program import load_kilns, read_firing
from cofire.materials.catalogue import card_files, load_cards, remarks_on_files
from cofire.materials.properties import ELEMENTS
from cofire.physics.atmosphere import FIRST_OXIDES
from cofire.report.writing import complaint
from cofire.vessel_file import ROUND_ONLY

ROOT = Path(__file__).resolve().parents[2]
TABLES = Path(str(bundled_tables()))
COPPER = (TABLES / "metals" / "copper.toml").read_text(encoding="utf-8")
TALC = (TABLES / "ceramics" / "talc_body.toml").read_text(encoding="utf-8")
GLASS = (TABLES / "ceramics" / "soda_lime_powder.toml").read_text(encoding="utf-8")
IRON = (TABLES / "metals" / "iron.toml").read_text(encoding="utf-8")
KILN = (TABLES / "kilns" / "small_studio_kiln.toml").read_text(encoding="utf-8")
FIRING = """
name = "test firing"
[[segment]]
to_C = 900
rate_C_per_h = 150
hold_min = 30
"""


def contents(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Time of change and bytes of every file below a folder."""
    return {
        str(f): (f.stat().st_mtime_ns, f.read_bytes())
        for f in folder.rglob("*")
        if f.is_file() and f.stat().st_size < 1_000_000 and os.access(f, os.R_OK)
    }


def refused(folder: Path, arguments: list[str], *words: str) -> str:
    """The one line on standard error, once everything else about the refusal is as it must be."""
    before = contents(folder)
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 3, (result.exit_code, result.stdout, result.exception)
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 1, result.stderr
    assert result.stderr.isprintable() or result.stderr.strip().isprintable()
    for word in words:
        assert word in lines[0], f"{word!r} is not in: {lines[0]}"
    assert contents(folder) == before
    return lines[0]


def without(card: str, name: str) -> str:
    """A card without one of its tables."""
    changed = re.sub(rf"(?ms)^\[{name}\]\n.*?(?=^\[|\Z)", "", card)
    assert changed != card
    return changed


def property_with(card: str, name: str, **fields: str) -> str:
    """A card with some fields of one of its tables changed, or added to it."""
    block = re.search(rf"(?ms)^\[{name}\]\n.*?(?=^\[|\Z)", card)
    assert block is not None
    text = block[0]
    for key, value in fields.items():
        line = f"{key} = {value}\n"
        known = re.search(rf"(?m)^{key} = .*\n", text)
        text = text.replace(known[0], line) if known else text.rstrip("\n") + "\n" + line
    return card.replace(block[0], text + "\n")


def replaced(card: str, old: str, new: str) -> str:
    """A card with one place changed."""
    assert old in card
    return card.replace(old, new, 1)


CARDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "a wrong unit": (
        property_with(COPPER, "young_modulus", unit='"psi"'),
        ("young_modulus: unit = 'psi'", "'GPa' or 'MPa'"),
    ),
    "a unit left out": (
        replaced(COPPER, '[poisson_ratio]\nunit = "-"', "[poisson_ratio]"),
        ("poisson_ratio: unit is missing", "'-' or '%'"),
    ),
    "a value in another unit": (
        property_with(COPPER, "theoretical_density", value="8.94"),
        ("theoretical_density: value = 8.94", "1000 to 25000 kg/m3"),
    ),
    "a row out of bounds": (
        property_with(COPPER, "young_modulus", value="[128.7, 110.7, 97800, 82, 69, 64]"),
        ("young_modulus: value row 3 = 97800", "0.01 to 1000 GPa"),
    ),
    "a source left out": (
        replaced(COPPER, 'source = "pss"\n', ""),
        ("poisson_ratio: source is missing", "one of [sources]"),
    ),
    "a source that is not listed": (
        property_with(COPPER, "poisson_ratio", source='"smithel"'),
        ("poisson_ratio: source = 'smithel'", "smithells"),
    ),
    "a blank source": (
        replaced(COPPER, 'ductile = "our', 'ductile = " " # "our'),
        ("sources: ductile = ''", "a text"),
    ),
    "no sources at all": (
        without(COPPER, "sources"),
        ("[sources] is missing", "every number needs one"),
    ),
    "not a number": (
        property_with(COPPER, "poisson_ratio", value="nan"),
        ("poisson_ratio: value = nan", "0 to 0.495"),
    ),
    "an infinite number": (
        property_with(COPPER, "solidus", value="inf"),
        ("solidus: value = inf", "200 to 3500 C"),
    ),
    "a truth for a number": (
        property_with(COPPER, "solidus", value="true"),
        ("solidus: value = True", "200 to 3500 C"),
    ),
    "a text for a number": (
        property_with(COPPER, "theoretical_density", value='"8940"'),
        ("theoretical_density: value = '8940'", "1000 to 25000"),
    ),
    "a letter in a number": (
        property_with(COPPER, "theoretical_density", value="1O50"),
        ("line", "'value = 1O50' is not TOML"),
    ),
    "a number of thousands of digits": (
        property_with(COPPER, "solidus", value="1" * 6000),
        ("not TOML", "4300 digits"),
    ),
    "a number beyond all floats": (
        property_with(COPPER, "solidus", value="0x" + "F" * 5000),
        ("solidus: value = an unreadable value", "200 to 3500 C"),
    ),
    "an empty list of values": (
        property_with(COPPER, "poisson_ratio", value="[]"),
        ("poisson_ratio: value = []", "one number or more"),
    ),
    "temperatures that do not rise": (
        property_with(COPPER, "young_modulus", temperature_C="[20, 300, 500, 400, 1000, 1070]"),
        ("young_modulus: temperature_C row 4: 400 is not above the row before (500)", "sort"),
    ),
    "a temperature below absolute zero": (
        property_with(COPPER, "young_modulus", temperature_C="[-300, 300, 500, 800, 1000, 1070]"),
        ("young_modulus: temperature_C row 1 = -300", "-273.15 to 3500"),
    ),
    "fewer temperatures than values": (
        property_with(COPPER, "young_modulus", temperature_C="[20, 300]"),
        ("young_modulus: 2 temperatures for 6 values",),
    ),
    "fewer sources than values": (
        property_with(COPPER, "young_modulus", source='["soft", "soft"]'),
        ("young_modulus: source has 2 entries for 6 rows",),
    ),
    "a table for a single number": (
        property_with(COPPER, "poisson_ratio", temperature_C="[20]"),
        ("poisson_ratio: no field named 'temperature_C'", "'value'"),
    ),
    "values without temperatures": (
        property_with(COPPER, "poisson_ratio", value="[0.34, 0.35]"),
        ("poisson_ratio: 2 values, but no temperature_C",),
    ),
    "a negative uncertainty": (
        property_with(COPPER, "poisson_ratio", uncertainty='"-5 %"'),
        ("poisson_ratio: uncertainty = '-5 %'", '"5 %"', '"factor 2"'),
    ),
    "an uncertainty without its form": (
        property_with(COPPER, "poisson_ratio", uncertainty="0.01"),
        ("poisson_ratio: uncertainty = 0.01", '"+- 0.02"'),
    ),
    "an uncertainty beyond all floats": (
        property_with(COPPER, "poisson_ratio", uncertainty='"+- 1e999"'),
        ("poisson_ratio: uncertainty = '+- 1e999'", '"+- 0.02"'),
    ),
    "a factor below one": (
        property_with(COPPER, "green_strength", uncertainty='"factor 0.5"'),
        ("green_strength: uncertainty = 'factor 0.5'", '"factor 2"'),
    ),
    "an unknown basis": (
        property_with(COPPER, "poisson_ratio", basis='"guess"'),
        ("poisson_ratio: basis = 'guess'", "seen, derived, memory, practice, estimate"),
    ),
    "a property with a near name": (
        COPPER + "\n[youngs_modulus]\nvalue = 1\n",
        ("no property named 'youngs_modulus'; did you mean 'young_modulus'?",),
    ),
    "a field with a near name": (
        property_with(COPPER, "poisson_ratio", at_densty="0.9"),
        ("poisson_ratio: no field named 'at_densty'",),
    ),
    "a property that is a plain number": (
        "ductility = 0.2\n" + without(COPPER, "ductility"),
        ("ductility: 0.2", "unit, value, uncertainty, source, basis"),
    ),
    "a needed property left out": (
        without(COPPER, "green_strength"),
        (
            "green_strength is missing",
            "a metal card needs it",
            "tensile strength of the dried body",
        ),
    ),
    "the kernel's property left out": (
        without(COPPER, "sintering_energy"),
        ("sintering_energy is missing", "densification = 'master curve' needs it"),
    ),
    "the glass kernel's property left out": (
        without(GLASS, "surface_tension"),
        ("surface_tension is missing", "densification = 'viscous' needs it"),
    ),
    "no viscosity": (
        without(TALC, "glass_viscosity"),
        ("glass_viscosity is missing", "or body_viscosity"),
    ),
    "a viscosity that rises": (
        property_with(
            TALC,
            "glass_viscosity",
            temperature_C="[600, 700, 1100]",
            value="[16.5, 12.0, 12.5]",
            uncertainty='"+- 0.3"',
            source='"law"',
            basis='"estimate"',
        ),
        ("glass_viscosity: value row 3 = 12.5", "must fall"),
    ),
    "a viscosity that begins too hot": (
        property_with(
            TALC,
            "glass_viscosity",
            temperature_C="[700, 1100]",
            value="[12.0, 9.5]",
            uncertainty='"+- 0.3"',
            source='"law"',
            basis='"estimate"',
        ),
        ("glass_viscosity: value row 1 = 12", "begin at 16 or more"),
    ),
    "densities in the wrong order": (
        property_with(COPPER, "least_density", value="0.95"),
        ("least_density 0.95, fired_density 0.9", "must rise in this order"),
    ),
    "a fired density that leaves nothing to come": (
        property_with(COPPER, "fired_density", value="0.98"),
        ("fired_density 0.98, full_density 0.98", "must rise"),
    ),
    "a body stronger before its firing": (
        property_with(property_with(TALC, "brown_strength", value="15"), "strength", value="10"),
        ("brown_strength: 15 MPa", "below the strength of the fired body"),
    ),
    "a stiffness measured on less than the green body": (
        property_with(TALC, "young_modulus", at_density="0.4"),
        ("young_modulus: at_density = 0.4", "above green_density"),
    ),
    "a fired density without its firing": (
        re.sub(r"(?m)^fired_at = .*\n", "", COPPER),
        ("fired_density: fired_at: missing", "rate_C_per_h, peak_C, hold_min"),
    ),
    "a firing without a rate": (
        replaced(COPPER, "rate_C_per_h = 150", "rate_C_per_h = 0"),
        ("fired_density: fired_at: rate_C_per_h = 0", "1 to 5000"),
    ),
    "a creep stress without a temperature": (
        property_with(replaced(COPPER, "temperature_C = [600]\n", ""), "creep_stress", value="9.7"),
        ("creep_stress", "one value with its temperature_C"),
    ),
    "a transformation that cools above where it heats": (
        re.sub(r"on_cooling_C = .*", "on_cooling_C = 950", IRON),
        ("transformation 1: on_cooling_C = 950", "-100 to 912"),
    ),
    "a transformation without a width": (
        re.sub(r"width_C = .*\n", "", IRON),
        ("transformation 1: width_C is missing", "1 to 200"),
    ),
    "a transformation with a misspelt field": (
        IRON.replace("expansion_change", "expansion_chang"),
        ("transformation 1: no field named 'expansion_chang'", "did you mean 'expansion_change'?"),
    ),
    "a transformation in single brackets": (
        "[transformation]".join(IRON.split("[[transformation]]")[:2]),
        ("transformation: write it as [[transformation]]",),
    ),
    "a transformation in a gas that there is not": (
        IRON.replace('gases = ["carbon"]', 'gases = ["argon"]'),
        ("transformation 2: gases = ", "a list of air, inert, carbon, hydrogen"),
    ),
    "a transformation in no gas": (
        IRON.replace('gases = ["carbon"]', "gases = []"),
        ("transformation 2: gases = ", "leave it out for all of them"),
    ),
    "a fired density in a gas that there is not": (
        IRON.replace('gas = "carbon" }', 'gas = "smoke" }'),
        ("fired_density: fired_at: gas = 'smoke'", "'carbon'"),
    ),
    "a gas left out": (
        re.sub(r"(?m)^inert = .*\n", "", COPPER, count=1),
        ("atmosphere: inert is missing", '"caution: reason"'),
    ),
    "a gas nobody has": (
        COPPER.replace("[atmosphere]\n", '[atmosphere]\nargon = "good"\n'),
        ("atmosphere: no field named 'argon'", "'inert'"),
    ),
    "a remark without a reason": (
        re.sub(r"(?m)^air = .*", 'air = "caution"', COPPER, count=1),
        ("atmosphere: air = 'caution'", '"refused: reason"'),
    ),
    "an unknown kind": (
        replaced(COPPER, 'kind = "metal"', 'kind = "glass"'),
        ("kind = 'glass'", "'metal' or 'ceramic'"),
    ),
    "an unknown kernel": (
        replaced(COPPER, '"master curve"', '"magic"'),
        ("densification = 'magic'", "'master curve' or 'viscous'"),
    ),
    "an element without an oxide": (
        replaced(COPPER, '["Cu"]', '["Cu", "Xx"]'),
        ("elements = ['Cu', 'Xx']", "Cu, Fe"),
    ),
    "a metal without elements": (
        replaced(COPPER, 'elements = ["Cu"]\n', ""),
        ("elements is missing", "Ag, Al"),
    ),
    "a firing shrinkage that the densities do not give": (
        property_with(COPPER, "firing_shrinkage", value="0"),
        ("firing_shrinkage: 0 %", "green_density 0.58", "give 13."),
    ),
    "a firing shrinkage far above what the densities give": (
        property_with(TALC, "firing_shrinkage", value="12"),
        ("firing_shrinkage: 12 %", "fired_density 0.709"),
    ),
    "a name that reads as a blend": (
        replaced(COPPER, 'name = "copper"', 'name = "copper + tin = 10"'),
        ("name = 'copper + tin = 10'", "without = and +"),
    ),
    "a name with an equals sign": (
        replaced(COPPER, 'name = "copper"', 'name = "mud=1"'),
        ("name = 'mud=1'", "without = and +"),
    ),
    "a blank name": (
        replaced(COPPER, 'name = "copper"', 'name = "  "'),
        ("name = ''", "a text"),
    ),
    "a name of 300 characters": (
        replaced(COPPER, 'name = "copper"', f'name = "{"x" * 300}"'),
        ("name = 'xxxx", "1 to 80 characters, not 300"),
    ),
    "a name that a terminal obeys": (
        replaced(COPPER, 'name = "copper"', r'name = "\u001b[31mcopper"'),
        ("name: '\\x1b[31mcopper'", "hidden character U+001B"),
    ),
    "a name that turns the line round": (
        replaced(COPPER, 'name = "copper"', r'name = "\u202ecopper"'),
        ("hidden character U+202E", "characters that can be seen"),
    ),
    "a name twice": (
        COPPER.replace('name = "copper"', 'name = "copper"\nname = "copper"', 1),
        ("line 2", 'name = "copper"', "stands above already"),
    ),
    "a table twice": (
        COPPER + "\n[solidus]\nvalue = 1\n",
        ("stands above already", "[solidus]"),
    ),
    "a file of nothing": ("", ("the file is empty", "copy a shipped one")),
    "a file of white space": (" \n\t\n", ("the file is empty",)),
    "a line that is none": ("metal card\n" + COPPER, ("line 1: 'metal card' is not TOML",)),
    "an open text": ('name = "copper\n', ("line 1", "not TOML")),
    "lists in lists": ("name = " + "[" * 100_000, ("nested too deeply",)),
    "tables in tables": ("a." * 100_000 + "b = 1", ("nested too deeply",)),
}


@pytest.mark.parametrize("case", CARDS)
def test_a_malformed_card_is_refused_with_its_place(case: str, tmp_path: Path) -> None:
    text, words = CARDS[case]
    card = tmp_path / "mine.toml"
    card.write_text(text, encoding="utf-8")
    refused(tmp_path, ["materials", "--check", str(card)], str(card), *words)


UNUSUAL = {
    "a metal that shrinks when heated": (
        property_with(COPPER, "thermal_expansion", value="[-5, 17, 17, 17, 18, 19, 20, 20, 20]"),
        "thermal_expansion row 1 = -5 1e-6/K; usual for a metal: 4 to 30",
    ),
    "a body that expands as no solid does": (
        property_with(TALC, "thermal_expansion", value="[9, 9, 9, 9, 9, 9, 60]"),
        "thermal_expansion row 7 = 60 1e-6/K; usual for a ceramic: 0 to 22",
    ),
    "grains of a millimetre": (
        property_with(COPPER, "particle_size", value="1000"),
        "particle_size = 1000 um; usual for a metal: 1 to 150",
    ),
    "a body as dense as no element": (
        property_with(TALC, "theoretical_density", value="25000"),
        "theoretical_density = 25000 kg/m3; usual for a ceramic: 2000 to 6500",
    ),
    "one number for all temperatures": (
        without(COPPER, "thermal_expansion")
        + '[thermal_expansion]\nunit = "1e-6/K"\nvalue = 9.0\nuncertainty = "5 %"\n'
        'source = "smithells"\nbasis = "memory"\n',
        "thermal_expansion is a single number, which speaks for no other temperature",
    ),
}


@pytest.mark.parametrize("case", UNUSUAL)
def test_a_card_that_is_unusual_draws_a_remark_and_is_no_error(case: str, tmp_path: Path) -> None:
    text, told = UNUSUAL[case]
    card = tmp_path / "mine.toml"
    card.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(app, ["materials", "--check", str(card)])
    assert (result.exit_code, result.stdout) == (0, "files without a problem: 1\n")
    assert result.stderr.startswith(f"unusual: {card}: {told}")
    assert result.stderr.count("\n") == 1


def test_no_shipped_card_is_unusual() -> None:
    assert remarks_on_files(card_files(bundled_tables())) == []


RAW: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)), ("line 1", "not UTF-8")),
    "zeros": (bytes(500), ("line 1", "not TOML")),
    "UTF-16": (COPPER.encode("utf-16"), ("line 1", "save the file as UTF-8")),
    "Latin-1": (COPPER.encode("latin-1", "replace"), ("line 3", "save the file as UTF-8")),
}


@pytest.mark.parametrize("case", RAW)
def test_a_file_that_is_no_text_is_refused(case: str, tmp_path: Path) -> None:
    content, words = RAW[case]
    card = tmp_path / "mine.toml"
    card.write_bytes(content)
    refused(tmp_path, ["materials", "--check", str(card)], str(card), *words)


@pytest.mark.parametrize("command", [["materials", "--check"], ["firing"], ["check"]])
def test_a_line_of_100_megabytes_is_refused_by_its_size(command: list[str], tmp_path: Path) -> None:
    large = tmp_path / "large.toml"
    with large.open("wb") as stream:
        stream.truncate(100_000_000)
    refused(tmp_path, [*command, str(large)], str(large), "1000000 bytes", "right file?")


@pytest.mark.parametrize("command", [["materials", "--check"], ["firing"], ["check"]])
def test_a_file_that_never_ends_is_refused(command: list[str], tmp_path: Path) -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("no /dev/zero here")
    refused(tmp_path, [*command, "/dev/zero"], "/dev/zero", "a device; allowed: a regular file")


SWEEP = str(ROOT / "examples" / "sweep.csv")


@pytest.mark.skipif(not Path("/dev/null").is_char_device(), reason="no devices as files here")
@pytest.mark.parametrize(
    "command",
    [
        ["sweep", "/dev/null", "--out", "new.csv"],
        ["sweep", SWEEP, "--out", "/dev/null"],
        ["record", "show", "--record", "/dev/null"],
        ["record", "add", "--piece", "bowl", "--outcome", "sound", "--record", "/dev/null"],
    ],
    ids=["sweep of", "sweep to", "record shown", "record added to"],
)
def test_a_device_is_neither_a_table_nor_a_record(
    command: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    refused(tmp_path, command, "/dev/null", "a device; allowed: a regular file")


@pytest.mark.parametrize("command", [["firing"], ["check"], ["stress"]])
def test_a_folder_in_place_of_a_file_is_refused(command: list[str], tmp_path: Path) -> None:
    refused(tmp_path, [*command, str(tmp_path)], str(tmp_path), "cannot be read")


def test_a_link_to_nothing_is_refused(tmp_path: Path) -> None:
    link = tmp_path / "mine.toml"
    link.symlink_to(tmp_path / "gone.toml")
    refused(tmp_path, ["materials", "--tables", str(tmp_path)], str(link), "cannot be read")


def test_a_file_one_may_not_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tmp_path / "mine.toml"
    card.write_text(COPPER, encoding="utf-8")
    opened = Path.open

    def forbid(path: Path, *rest: object, **more: object) -> object:
        if path == card:
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, *rest, **more)  # type: ignore[arg-type]

    before = contents(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", forbid)
        result = CliRunner().invoke(app, ["materials", "--tables", str(tmp_path)])
    assert result.exit_code == 3
    assert result.stderr == f"cofire: {card}: cannot be read (Permission denied)\n"
    assert contents(tmp_path) == before


def test_the_same_name_twice_in_one_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text(COPPER, encoding="utf-8")
    other = tmp_path / "two.toml"
    other.write_text(COPPER.replace('name = "copper"', 'name = "COPPER"'), encoding="utf-8")
    for command in (["materials", "--tables"], ["materials", "--check"]):
        refused(
            tmp_path, [*command, str(tmp_path)], str(other), "'COPPER'", "one.toml", "rename one"
        )


def test_a_wrong_card_stops_every_command_that_reads_its_folder(tmp_path: Path) -> None:
    card = tmp_path / "mine.toml"
    card.write_text(property_with(COPPER, "solidus", value="nan"), encoding="utf-8")
    for command in (["screen"], ["mismatch", "copper", "talc body"], ["materials"]):
        refused(tmp_path, [*command, "--tables", str(tmp_path)], str(card), "solidus: value = nan")


def test_the_first_of_several_complaints_says_how_many_follow(tmp_path: Path) -> None:
    card = tmp_path / "mine.toml"
    card.write_text('name = "mine"\nkind = "metal"\n', encoding="utf-8")
    line = refused(tmp_path, ["materials", "--tables", str(tmp_path)], str(card), "elements")
    assert re.search(r"\(and \d+ more\)$", line)
    result = CliRunner().invoke(app, ["materials", "--check", str(card)])
    assert (result.exit_code, result.stdout) == (3, "")
    assert all(problem.startswith(str(card)) for problem in result.stderr.splitlines())


KILNS: dict[str, tuple[str, tuple[str, ...]]] = {
    "a negative rate": (
        replaced(KILN, "[850, 800,", "[850, -800,"),
        ("[heating]: rate_C_per_h row 2 = -800", "0 to 20000"),
    ),
    "a rate of zero": (
        replaced(KILN, "[850, 800,", "[850, 0,"),
        ("[heating]: rate_C_per_h row 2 = 0", "0.1 to 20000"),
    ),
    "no heating from cold": (
        replaced(KILN, "[850, 800,", "[0, 800,"),
        ("[heating]: rate_C_per_h row 1 = 0", "0.1 or more"),
    ),
    "a cooling that stands still": (
        replaced(KILN, "[0, 30,", "[0, 1e-9,"),
        ("[cooling]: rate_C_per_h row 2 = 1e-09", "0.1 to 50000"),
    ),
    "a limit above its tables": (
        replaced(KILN, "max_temperature_C = 1200", "max_temperature_C = 1250"),
        ("[heating]: temperature_C from 20 to 1200", "must cover 20 to max_temperature_C, 1250"),
    ),
    "a table that begins hot": (
        replaced(
            KILN, "[20, 200, 400, 600, 800, 1000, 1200]", "[50, 200, 400, 600, 800, 1000, 1200]"
        ),
        ("[cooling]: temperature_C from 50", "must cover 20"),
    ),
    "unequal lists": (
        replaced(KILN, "[0, 30, 70,", "[0, 70,"),
        ("[cooling]: 7 temperatures for 6 rates",),
    ),
    "temperatures that fall": (
        replaced(
            KILN, "[20, 200, 400, 600, 800, 1000, 1100,", "[20, 400, 200, 600, 800, 1000, 1100,"
        ),
        ("[heating]: temperature_C row 3: 200 is not above",),
    ),
    "no cooling": (without(KILN, r"cooling\].*?"), ("[cooling]: missing", "rate_C_per_h")),
    "a limit below any firing": (
        replaced(KILN, "max_temperature_C = 1200", "max_temperature_C = 0"),
        ("max_temperature_C = 0", "200 to 2200"),
    ),
    "no name": (replaced(KILN, 'name = "small studio kiln"\n', ""), ("name is missing", "a text")),
    "an unknown field": (
        KILN.replace("source =", "sauce ="),
        ("no field named 'sauce'", "'source'"),
    ),
}


@pytest.mark.parametrize("case", KILNS)
def test_a_malformed_kiln_is_refused_with_its_place(case: str, tmp_path: Path) -> None:
    text, words = KILNS[case]
    (tmp_path / "kilns").mkdir()
    kiln = tmp_path / "kilns" / "mine.toml"
    kiln.write_text(text, encoding="utf-8")
    refused(tmp_path, ["materials", "--check", str(tmp_path)], str(kiln), *words)


def test_the_same_kiln_twice_in_one_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "kilns").mkdir()
    for name in ("a.toml", "b.toml"):
        (tmp_path / "kilns" / name).write_text(KILN, encoding="utf-8")
    arguments = ["screen", "--tables", str(tmp_path)]
    refused(tmp_path, arguments, "b.toml", "a.toml", "'small studio kiln'", "rename one")


FIRINGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "a negative rate": (
        replaced(FIRING, "150", "-150"),
        ("segment 1: rate_C_per_h = -150", "0.1 to 20000"),
    ),
    "a rate left out": (
        replaced(FIRING, "rate_C_per_h = 150", ""),
        ("segment 1: rate_C_per_h is missing", "0.1 to 20000"),
    ),
    "a rate in words": (
        replaced(FIRING, "150", '"fast"'),
        ("segment 1: rate_C_per_h = 'fast'", "0.1 to 20000"),
    ),
    "a hold in words": (
        replaced(FIRING, "30", '"half an hour"'),
        ("segment 1: hold_min = 'half an hour'", "0 to 30000"),
    ),
    "a negative hold": (
        replaced(FIRING, "30", "-30"),
        ("segment 1: hold_min = -30", "0 to 30000"),
    ),
    "a target left out": (
        replaced(FIRING, "to_C = 900", ""),
        ("segment 1: to_C is missing", "-50 to 3000"),
    ),
    "a peak above the kiln's": (
        replaced(FIRING, "900", "1250"),
        ("segment 1: to_C = 1250", "small studio kiln reaches at most 1200"),
    ),
    "a cooling below room temperature": (
        FIRING + "[[segment]]\nto_C = 20\nrate_C_per_h = 50\n",
        ("segment 2: to_C = 20", "25 °C"),
    ),
    "no segments": ('name = "none"\n', ("[[segment]]: missing", "1 to 60 segments")),
    "an empty list of segments": ("segment = []\n", ("[[segment]]: 0 of them", "1 to 60 segments")),
    "61 segments": (
        FIRING + "[[segment]]\nto_C = 900\nrate_C_per_h = 50\n" * 60,
        ("[[segment]]: 61 of them", "1 to 60 segments"),
    ),
    "a segment that is a number": ("segment = [900]\n", ("segment 1: 900", "to_C, rate_C_per_h")),
    "an unknown gas": (
        'gas = "argon"\n' + FIRING,
        ("no gas named 'argon'", "'air', 'carbon', 'hydrogen', 'inert'"),
    ),
    "a gas that is a number": ("gas = 5\n" + FIRING, ("gas = 5", "a text")),
    "an unknown kiln": (
        'kiln = "big kiln"\n' + FIRING,
        ("no kiln named 'big kiln'", "'laboratory furnace', 'small studio kiln'"),
    ),
    "a near kiln": (
        'kiln = "small studio klin"\n' + FIRING,
        ("did you mean 'small studio kiln'?",),
    ),
    "a kiln of its own, wrong": (
        'kiln = { name = "mine", max_temperature_C = -5 }\n' + FIRING,
        ("[kiln]: max_temperature_C = -5", "200 to 2200"),
    ),
    "an unknown field": (
        "colour = 1\n" + FIRING,
        ("no field named 'colour'", "'lag_min'"),
    ),
    "an unknown field of a segment": (
        FIRING + "hold_h = 2\n",
        ("segment 1: no field named 'hold_h'; did you mean 'hold_min'?",),
    ),
    "a negative lag": ("lag_min = -1\n" + FIRING, ("lag_min = -1", "0 to 600")),
    "a name of 300 characters": (
        replaced(FIRING, "test firing", "x" * 300),
        ("name = 'xxx", "1 to 80 characters, not 300"),
    ),
}


@pytest.mark.parametrize("case", FIRINGS)
def test_a_malformed_firing_is_refused_with_its_place(case: str, tmp_path: Path) -> None:
    text, words = FIRINGS[case]
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    refused(tmp_path, ["firing", str(file)], str(file), *words)


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + FIRING.encode(),
        FIRING.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + FIRING.replace("\n", "\r\n").encode(),
    ],
)
def test_what_another_editor_writes_is_accepted(content: bytes, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_bytes(content)
    result = CliRunner().invoke(app, ["firing", str(file)])
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Ware peaks at" in result.stdout
    assert file.read_bytes() == content


OPTIONS: dict[str, tuple[list[str], tuple[str, ...]]] = {
    "an unknown material": (
        ["screen", "--metal", "coper"],
        ("no material named 'coper'; did you mean 'copper'?", "'fine silver'"),
    ),
    "a material of 300 characters": (
        ["screen", "--metal", "x" * 300],
        ("no material named 'xxx", "'copper'"),
    ),
    "a material that a terminal obeys": (
        ["materials", "\x1b[31mred\n"],
        ("no material named '\\x1b[31mred", "'copper'"),
    ),
    "no material": (["materials", ""], ("no material named ''", "'copper'")),
    "a ceramic for a metal": (
        ["screen", "--metal", "talc body"],
        ("--metal: 'talc body' is a ceramic", "give a metal or a blend"),
    ),
    "a metal for a ceramic": (
        ["screen", "--ceramic", "copper"],
        ("--ceramic: 'copper' is a metal", "give a ceramic or a blend"),
    ),
    "a blend without a share": (
        ["screen", "--metal", "copper + talc body"],
        ("blend 'copper + talc body'", "'METAL + CERAMIC = 40'"),
    ),
    "a blend of a share in words": (
        ["screen", "--metal", "copper + talc body = half"],
        ("blend 'copper + talc body = half'", "per cent metal by volume"),
    ),
    "a blend of 0 per cent": (
        ["mismatch", "copper + talc body = 0", "talc body"],
        ("blend 'copper + talc body = 0'", "above 0 and below 100"),
    ),
    "a blend of 100 per cent": (
        ["mismatch", "copper + talc body = 100 %", "talc body"],
        ("blend 'copper + talc body = 100 %'", "above 0 and below 100"),
    ),
    "a blend of no number": (
        ["mismatch", "copper + talc body = nan", "talc body"],
        ("= nan'", "above 0 and below 100"),
    ),
    "a blend of an unknown material": (
        ["mismatch", "coper + talc body = 40", "talc body"],
        ("no material named 'coper", "did you mean 'copper'?"),
    ),
    "a blend of two metals": (
        ["mismatch", "copper + fine silver = 40", "talc body"],
        ("blend of 'copper' (metal) and 'fine silver' (metal)", "one metal and one ceramic"),
    ),
    "two ceramics without a firing": (
        ["mismatch", "talc body", "fritted body"],
        ("talc body and fritted body are two ceramics", "--firing"),
    ),
    "an unknown gas": (
        ["screen", "--gas", "argon"],
        ("--gas: no gas named 'argon'", "'air', 'carbon', 'hydrogen', 'inert'"),
    ),
    "an unknown gas of a pair": (
        ["mismatch", "copper", "talc body", "--gas", "carbn"],
        ("--gas: no gas named 'carbn'; did you mean 'carbon'?",),
    ),
    "an unknown kiln": (
        ["screen", "--kiln", "big kiln"],
        ("no kiln named 'big kiln'", "'small studio kiln'"),
    ),
    "two outputs in one place": (
        ["screen", "--csv", "-", "--json", "-"],
        ("-: named twice", "its own place"),
    ),
    "an output without a name": (["screen", "--csv", ""], ("a folder", "give the name of a file")),
    "a card and a name at once": (
        ["materials", "copper", "--check", "mine.toml"],
        ("--check: 'copper' is one thing too many",),
    ),
}


@pytest.mark.parametrize("case", OPTIONS)
def test_a_wrong_option_is_refused_with_what_is_allowed(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    arguments, words = OPTIONS[case]
    monkeypatch.chdir(tmp_path)
    refused(tmp_path, arguments, *words)
    assert list(tmp_path.iterdir()) == []


def test_a_gas_beside_a_firing_file_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(FIRING, encoding="utf-8")
    arguments = ["mismatch", "copper", "talc body", "--firing", str(file), "--gas", "air"]
    refused(tmp_path, arguments, "--gas", str(file), "leave --gas or --firing out")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda place: None, ("no such folder", "give a folder of material tables")),
        (lambda place: place.write_text("x"), ("a file, not a folder",)),
        (lambda place: place.mkdir(), ("no tables in it", "*.toml", "metals or ceramics")),
    ],
    ids=["a folder that is missing", "a file", "an empty folder"],
)
@pytest.mark.parametrize(
    "command", [["screen"], ["mismatch", "copper", "talc body"], ["materials"]]
)
def test_tables_that_are_no_folder_of_tables_are_refused(
    make: Callable[[Path], object], words: tuple[str, ...], command: list[str], tmp_path: Path
) -> None:
    place = tmp_path / "mine"
    make(place)
    refused(tmp_path, [*command, "--tables", str(place)], str(place), *words)


PAIR = ["--metal", "copper", "--ceramic", "talc body"]


@pytest.mark.parametrize(
    ("arguments", "existing"),
    [
        (["screen", *PAIR, "--csv"], "pairs.csv"),
        (["screen", *PAIR, "--json"], "pairs.json"),
        (["firing", "mine.toml", "--csv"], "trace.csv"),
    ],
)
def test_an_existing_file_is_not_overwritten(
    arguments: list[str], existing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(FIRING, encoding="utf-8")
    Path(existing).write_text("mine", encoding="utf-8")
    refused(tmp_path, [*arguments, existing], existing, "exists already", "--force")
    result = CliRunner().invoke(app, [*arguments, existing, "--force"])
    assert result.exit_code == 0
    assert Path(existing).read_text(encoding="utf-8") != "mine"


@pytest.mark.parametrize("name", ["mismatch.png", "mismatch.svg", "mismatch.csv"])
def test_no_figure_is_written_where_one_file_of_it_exists(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    for command in (["mismatch", "copper", "talc body", "--out"], ["screen", *PAIR, "--draw"]):
        refused(tmp_path, [*command, str(tmp_path)], name, "exists already", "--force")
    assert [f.name for f in tmp_path.iterdir()] == [name]


def test_an_output_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    missing = tmp_path / "missing" / "pairs.csv"
    refused(tmp_path, ["screen", *PAIR, "--csv", str(missing)], str(missing), "no folder")
    refused(tmp_path, ["screen", *PAIR, "--csv", str(tmp_path)], str(tmp_path), "a folder")
    refused(tmp_path, ["screen", *PAIR, "--draw", str(taken)], str(taken), "a file, not a folder")
    below = taken / "deeper"
    pair = ["mismatch", "copper", "talc body", "--out"]
    refused(tmp_path, [*pair, str(below)], str(below), "cannot be made")
    assert list(tmp_path.iterdir()) == [taken]


def test_a_folder_one_may_not_write_is_refused(tmp_path: Path) -> None:
    if not Path("/proc/self").is_dir():
        pytest.skip("no folder here that even its owner may not write")
    refused(tmp_path, ["screen", *PAIR, "--csv", "/proc/pairs.csv"], "/proc/pairs.csv", "written")


def test_a_device_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    arguments = ["firing", "mine.toml", "--csv", str(pipe), "--force"]
    (tmp_path / "mine.toml").write_text(FIRING, encoding="utf-8")
    with subprocess.Popen([sys.executable, "-m", "cofire", *arguments], cwd=tmp_path) as command:
        text = pipe.read_text(encoding="utf-8")
    assert (command.returncode, text.splitlines()[0]) == (0, "time_h,kiln_C,ware_C")
    assert pipe.is_fifo()


def test_a_link_to_a_file_stays_a_link(tmp_path: Path) -> None:
    target, link = tmp_path / "target.csv", tmp_path / "link.csv"
    target.write_text("mine", encoding="utf-8")
    link.symlink_to(target)
    (tmp_path / "mine.toml").write_text(FIRING, encoding="utf-8")
    arguments = ["firing", str(tmp_path / "mine.toml"), "--csv", str(link)]
    refused(tmp_path, arguments, str(link), "exists already")
    assert CliRunner().invoke(app, [*arguments, "--force"]).exit_code == 0
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8").startswith("time_h")


@pytest.mark.parametrize(
    "arguments",
    [["bogus"], ["screen", "--bogus"], ["mismatch", "copper"], ["firing"], ["screen", "--metal"]],
)
def test_a_wrong_command_line_has_status_2(arguments: list[str]) -> None:
    result = CliRunner().invoke(app, arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "Error: " in result.stderr
    assert "Traceback" not in result.stderr


def test_hidden_files_beside_the_tables_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(COPPER, encoding="utf-8")
    (tmp_path / "._mine.toml").write_bytes(bytes(100))
    (tmp_path / ".#mine.toml").symlink_to(tmp_path / "nobody@nowhere")
    assert [f.name for f in card_files(tmp_path)] == ["mine.toml"]


def test_the_elements_a_card_may_name_are_those_with_an_oxide() -> None:
    assert set(ELEMENTS) == set(FIRST_OXIDES)


# -- names no file can bear ------------------------------------------------------------------------

LONG = "x" * 300
VASE = str(ROOT / "examples" / "silver_foot_vessel.toml")
TOO_LONG = {
    "csv": ["screen", "--metal", "copper", "--csv", LONG],
    "json in a folder": ["screen", "--metal", "copper", "--json", f"{LONG}/{LONG}"],
    "draw": ["screen", "--metal", "copper", "--draw", LONG],
    "tables": ["screen", "--metal", "copper", "--tables", LONG],
    "check of tables": ["materials", "--check", LONG],
    "sheet of": ["sheet", LONG],
    "sheet to": ["sheet", VASE, "--out", LONG],
    "make of": ["make", LONG],
    "make to": ["make", VASE, "--out", LONG],
    "plan to": ["plan", VASE, "--out", LONG],
    "mismatch to": ["mismatch", "copper", "talc body", "--out", LONG],
    "stress to": ["stress", VASE, "--out", LONG],
    "a vessel": ["check", LONG],
    "a record": ["record", "show", "--record", LONG],
    "a log": ["replay", VASE, LONG],
    "thousands of characters": ["check", "x" * 10_000],
    "thousands of folders": ["check", "x/" * 5_000],
}


@pytest.mark.parametrize("case", TOO_LONG)
def test_a_name_that_no_file_can_bear_is_refused_in_one_line(case: str, tmp_path: Path) -> None:
    with contextlib.chdir(tmp_path):
        line = refused(tmp_path, TOO_LONG[case], "too long")
    assert len(line) <= 300


@pytest.mark.parametrize("utilisation", ["1" + "0" * 400, "1e400", "-1" + "0" * 5000])
def test_a_load_beyond_all_numbers_is_no_prediction(utilisation: str, tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    told.write_text(
        f'{{"schema": 1, "verdict": "no", "flags": [{{"utilisation": {utilisation}}}]}}'
    )
    record = tmp_path / "record.jsonl"
    line = refused(tmp_path, ["record", "add", str(told), "--record", str(record)], "not JSON")
    assert len(line) <= 300


def test_a_table_of_a_plan_with_a_bare_carriage_return_counts_as_changed(tmp_path: Path) -> None:
    (tmp_path / "firing.csv").write_bytes(b"why,step\na\rb,c\n")
    firing = read_firing(ROOT / "examples" / "silver_on_frit_firing.toml", load_kilns())
    assert planned_reasons(tmp_path, firing) == []


@pytest.mark.parametrize("name", ['"a,%d"', "'=%d'", "b%d", ' "c" '])
def test_a_name_of_a_hundred_thousand_parts_is_refused(name: str, tmp_path: Path) -> None:
    parts = [name % n if "%" in name else name for n in range(100_000)]
    file = tmp_path / "deep.toml"
    file.write_text("[" + ".".join(parts) + "]\n"[:3], encoding="utf-8")
    refused(tmp_path, ["check", str(file)], "nested too deeply")


@pytest.mark.parametrize("name", ["x", "x" * 500, "silver", "fine silver + tin = 5"])
def test_a_wrong_name_is_told_in_one_line_with_those_that_come_near(name: str) -> None:
    line = refused(ROOT / "tests" / "fuzz", ["mismatch", name, "talc body"], "no material named")
    assert len(line) <= 300
    assert "in all)" in line
    assert "fine silver" in line or "silver" not in name


def test_a_material_that_none_is_told_with_its_band_and_whole_names_in_one_line() -> None:
    vessel = cf.read_vessel(ROOT / "examples" / "bronze_vase.toml")
    wrong = replace(vessel.bands[0], material="tin bronze 0/10")
    with pytest.raises(UnknownName) as found:
        cf.fire(replace(vessel, bands=(wrong, *vessel.bands[1:])))
    told = str(found.value)
    assert told.startswith("bronze vase with a clay rim: band 1: no material named")
    assert len(told) <= 300
    assert set(re.findall("'(.*?)'", told.partition("Known: ")[2])) <= set(load_cards())


@pytest.mark.parametrize(
    "firing", ["", "[firing]\nsegment = [{ to_C = 800, rate_C_per_h = 99 }]\n"]
)
@pytest.mark.parametrize("own", [False, True], ids=["no tables", "tables not given"])
def test_a_wrong_material_is_told_with_its_file_and_with_whole_names_before_the_hint(
    firing: str, own: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    if own:
        (tmp_path / "my_tables").mkdir()
    text = (
        'name = "cup"\n[profile]\nshape = "cylinder"\nheight_mm = 40\nradius_mm = 20\n'
        'wall_mm = 2\n[[band]]\nmaterial = "fine sliver"\nto_mm = 9\n'
        f'[[band]]\nmaterial = "fritted body"\n{firing}'
    )
    (tmp_path / "cup.toml").write_text(text, encoding="utf-8")
    line = refused(tmp_path, ["check", "cup.toml"], "did you mean 'fine silver'?")
    assert re.match(r"cofire: (cup\.toml|cup: band 1): no material named 'fine sliver'", line)
    assert line.endswith("; yours? give --tables my_tables") is own
    listed = line.partition("Known: ")[2].partition(" ... (")[0]
    assert set(re.findall("'(.*?)'", listed)) <= set(load_cards())
    assert len(line) <= 300


def test_a_plans_folder_in_place_of_its_vessel_is_told_where_that_is(tmp_path: Path) -> None:
    (tmp_path / "vessel.toml").write_text('name = "cup"\n', encoding="utf-8")
    refused(tmp_path, ["check", str(tmp_path)], f"(a folder); give {tmp_path}/vessel.toml")


@pytest.mark.parametrize(
    "more", [["--record", "r.jsonl"], ["--pieces", "2"], ["--paste-ml", "50"]], ids=lambda m: m[0]
)
def test_what_only_an_uncertainty_uses_is_not_passed_over_in_silence(
    more: list[str], tmp_path: Path
) -> None:
    vessel = str(ROOT / "examples" / "bronze_vase.toml")
    refused(tmp_path, ["check", vessel, *more], more[0], "without --uncertainty")


def test_a_number_in_quotes_is_told_how_a_number_is_written(tmp_path: Path) -> None:
    text = (ROOT / "examples" / "bronze_vase.toml").read_text(encoding="utf-8")
    file = tmp_path / "v.toml"
    file.write_text(
        re.sub(r"(?m)^wall_mm = .+", 'wall_mm = "2,2"', text, count=1), encoding="utf-8"
    )
    refused(tmp_path, ["check", str(file)], "wall_mm = '2,2'", "without quotes")


def test_a_replay_with_a_wrong_log_says_nothing_but_that(tmp_path: Path) -> None:
    new = ["new", "vessel", "--below", "fine silver", "--above", "fritted body"]
    made = CliRunner().invoke(app, [*new, "--out", str(tmp_path / "cup.toml")])
    assert made.exit_code == 0
    refused(tmp_path, ["replay", str(tmp_path / "cup.toml"), "no.csv"], "no.csv", "cannot be read")


def test_a_long_value_gives_way_to_a_long_place_and_to_what_is_said_of_it() -> None:
    place = "folder/" * 8 + "vessel.toml: [profile]"
    fields = Fields({"shape": [0.123456789012345] * 9}, place, ("shape",))
    for complaint_of, rest in (
        (fields.refuse("shape", fields.table["shape"], "w" * 170), f"; allowed: {'w' * 170}"),
        (fields.complain("shape", fields.table["shape"], f": {ROUND_ONLY}"), f": {ROUND_ONLY}"),
    ):
        told = str(complaint_of)
        assert told.startswith(f"{place}: shape = [0.1234")
        assert told.endswith(f"...{rest}")
        assert 290 < len(told) <= 300


def test_a_record_that_cannot_be_read_stops_a_check_before_its_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cofire.cli.vessel.checked", lambda *given, **named: pytest.fail("fired"))
    vessel = str(ROOT / "examples" / "bronze_vase.toml")
    command = ["check", vessel, "--uncertainty", "--record", str(tmp_path)]
    refused(tmp_path, command, str(tmp_path), "cannot be read")


def test_a_long_complaint_keeps_its_place_and_what_is_allowed() -> None:
    line = complaint("card.toml: solidus = " + "9" * 400 + "\n; allowed: 200 to 3000 C")
    assert line.startswith("card.toml: solidus = 999")
    assert line.endswith("999 ; allowed: 200 to 3000 C")
    assert len(line) == 300
    assert complaint("short") == "short"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
@pytest.mark.parametrize("words", [["--version"], ["--help"], ["new", "vessel", "--help"]])
def test_help_and_version_that_cannot_be_written_are_one_line(words: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        told = subprocess.run(
            [sys.executable, "-m", "cofire", *words], cwd=ROOT, stdout=full, stderr=subprocess.PIPE,
            text=True, check=False,
        )  # fmt: skip
    assert told.returncode == 3
    assert told.stderr == "cofire: standard output: cannot be written (No space left on device)\n"


@pytest.mark.parametrize("place", ["none/v.parquet", ".", "v.csv", "v.parquet"])
def test_where_a_sweep_cannot_write_parquet_is_told_before_the_work(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, "pyarrow", None)  # as where it is not installed
    Path("table.csv").write_text("vessel\nnone.toml\n")
    words = "needs pyarrow" if place == "v.parquet" else place
    refused(tmp_path, ["sweep", "table.csv", "--out", "v.csv", "--parquet", place], words)


@pytest.mark.skipif(os.name == "nt", reason="closes streams as POSIX does")
@pytest.mark.parametrize(
    "closed",
    ["<&- >&- 2>&-", *(pytest.param(c, marks=pytest.mark.long) for c in ("<&-", ">&-", "2>&-"))],
)
def test_a_command_whose_streams_are_closed_does_its_work(closed: str, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text("vessel\nnone.toml\n")
    command = f"exec '{sys.executable}' -m cofire sweep table.csv --out v.csv {closed}"
    told = subprocess.run(
        ["/bin/sh", "-c", command], cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (told.returncode, "Traceback" in told.stderr) == (0, False), told.stderr
    assert (tmp_path / "v.csv").read_text().splitlines()[1].startswith("none.toml,unknown,")
