"""What `import cofire as cf` gives: its names, its ways in, its answers and their looks."""

from __future__ import annotations

import ast
import doctest
import importlib
import pickle
import pkgutil
import pydoc
import runpy
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from html.parser import HTMLParser
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import cofire
import cofire as cf
from cofire.assessment.response import band_stresses
from cofire.cases import needed, with_hold, with_peak, with_wall
from cofire.errors import InputError, UnknownName
from cofire.evidence.measured import read_measured
from cofire.firing.log import read_firing_log
from cofire.firing.program import Segment
from cofire.notebook import FiredVessel
from cofire.report.pairs import COLUMNS
from cofire.units import kelvin
from tests.fired import TEA_LIGHT, written_vessel

pytestmark = pytest.mark.usefixtures("solids_are_rough")

EXAMPLES = Path(__file__).parents[1] / "examples"
VASE = EXAMPLES / "silver_foot_vessel.toml"
NAMES = sorted(name for name in dir(cofire) if not name.startswith("__"))


@pytest.fixture(scope="module")
def fired() -> FiredVessel:
    return cf.fire(VASE)


# ----------------------------------------------------------------------------------------------
# What comes back


@pytest.mark.parametrize(
    "made",
    [
        lambda: cf.read_vessel(VASE),
        lambda: cf.read_vessel(VASE).firing,
        lambda: cf.kiln("small studio kiln"),
        lambda: cf.card("copper"),
        lambda: cf.blend("copper", "talc body", 0.4),
    ],
)
def test_what_holds_the_same_is_the_same_and_may_be_a_key(made: Callable[[], object]) -> None:
    one, other = made(), pickle.loads(pickle.dumps(made()))
    assert one is not other
    assert one == other
    assert {one: "known"}[other] == "known"
    assert one != "copper"


def test_what_holds_something_else_is_not_the_same() -> None:
    vessel, card = cf.example_vessel(), cf.card("copper")
    kiln = vessel.firing.kiln
    other = replace(kiln, heating_rate=0.5 * kiln.heating_rate)
    assert other != kiln
    assert replace(vessel.firing, kiln=other) != vessel.firing
    assert replace(vessel, wall=1.1 * vessel.wall) != vessel
    assert card.scaled("thermal_expansion", 1.1) != card


@pytest.mark.parametrize("there", [lambda thing: thing, lambda t: pickle.loads(pickle.dumps(t))])
def test_no_array_or_table_of_what_is_shipped_can_be_written_to(
    there: Callable[[object], object],
) -> None:
    vessel, card = there(cf.example_vessel()), there(cf.card("fine silver"))
    kiln, expansion = vessel.firing.kiln, card["thermal_expansion"]
    arrays = (
        vessel.radius, vessel.height, vessel.wall, expansion.value, expansion.temperature,
        kiln.heating_temperature, kiln.heating_rate, kiln.cooling_temperature, kiln.cooling_rate,
    )  # fmt: skip
    for array in arrays:
        with pytest.raises(ValueError, match="read-only"):
            array[:] *= 0.5
    with pytest.raises(TypeError, match="item assignment"):
        card.properties["thermal_expansion"] = expansion


def test_an_array_that_a_vessel_was_made_of_stays_the_callers() -> None:
    wall = np.array(cf.example_vessel().wall)
    vessel = replace(cf.example_vessel(), wall=wall)
    before = float(vessel.wall[0])
    wall[:] *= 2.0
    assert vessel.wall[0] == before


# ----------------------------------------------------------------------------------------------
# The names


def test_the_front_door_has_about_twenty_names() -> None:
    assert 18 <= len(NAMES) <= 26


def test_type_checkers_are_told_the_same_names_from_the_same_modules() -> None:
    told = {}
    stub = Path(cofire.__file__).with_suffix(".pyi").read_text(encoding="utf-8")
    for node in ast.parse(stub).body:
        if isinstance(node, ast.ImportFrom):
            told |= {alias.asname: node.module for alias in node.names}
    assert told == cofire._HOME


def test_no_name_is_hidden_by_a_module_of_the_package() -> None:
    modules = {module.name for module in pkgutil.iter_modules(cofire.__path__)}
    for module in modules - {"__main__"}:
        importlib.import_module(f"cofire.{module}")
    assert not modules & set(NAMES)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "RULES"])
def test_every_name_shows_an_example(name: str) -> None:
    found = doctest.DocTestFinder(recurse=False).find(getattr(cofire, name), name)
    assert sum(len(test.examples) for test in found) >= 2


def test_the_guide_is_a_page_and_tells_of_every_name() -> None:
    page = pydoc.plain(pydoc.render_doc(cofire))
    guide, _, _ = page.partition("PACKAGE CONTENTS")
    assert len(page.splitlines()) < 100
    assert "cf.RULES" in guide
    assert [name for name in NAMES if name not in guide] == []


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'fier'"):
        cofire.fier  # noqa: B018


BEAKER = {
    "name": "beaker",
    "profile": {"shape": "cylinder", "radius_mm": 20, "height_mm": 30, "wall_mm": 3},
    "band": [{"material": "fritted body"}],
}


def loaded_after(*codes: str) -> list[set[str]]:
    """Heavy packages that a fresh interpreter has loaded after some lines, and after some more."""
    heavy = ("numpy", "scipy", "pandas", "matplotlib", "typer")
    tell = f"print(*[m for m in {heavy} if m in sys.modules])"
    told = "\n".join(["import sys", *(f"{code}\n{tell}" for code in codes)])
    run = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    return [set(line.split()) for line in run.stdout.splitlines()]


def test_importing_loads_nothing_and_a_verdict_neither_tables_nor_figures() -> None:
    at_first, judged, told = loaded_after(
        "import cofire as cf",
        f"fired = cf.fire({BEAKER}, firing=[(800, 300, 10)])\nfired.check(), repr(fired)",
        "fired.to_frame('bands')",
    )
    assert at_first == set()
    assert judged == {"numpy", "scipy"}
    assert "matplotlib" not in told


# ----------------------------------------------------------------------------------------------
# Ways in


@pytest.mark.parametrize("way", [str, Path])
def test_a_path_is_a_text_or_a_path(way: type) -> None:
    vase = cf.read_vessel(way(VASE))
    assert vase.name == "bud vase on a silver foot"
    assert cf.read_firing(way(EXAMPLES / "silver_on_frit_firing.toml")).segments == (
        vase.firing.segments
    )
    silver = EXAMPLES.parent / "material_tables" / "metals" / "fine_silver.toml"
    assert cf.card(way(silver)).name == "fine silver"
    assert list(cf.cards(way(EXAMPLES.parent / "material_tables"))) == list(cf.cards())
    assert read_measured(way(EXAMPLES / "measured_fritted_body.toml")).material == "fritted body"
    assert read_firing_log(way(EXAMPLES / "silver_foot_log.csv")).trace.peak > kelvin(800.0)


def test_a_vessel_as_a_dict_is_that_of_its_file() -> None:
    vase = cf.read_vessel(
        {
            "name": "bud vase on a silver foot",
            "profile": {"shape": "cylinder", "radius_mm": 20, "height_mm": 110, "wall_mm": 1.8},
            "band": ({"material": "fine silver", "to_mm": 25}, {"material": "fritted body"}),
            "firing": EXAMPLES / "silver_on_frit_firing.toml",
            "joint": {"blends": np.int64(8), "height_mm": np.float64(72.0)},
        }
    )
    file = cf.read_vessel(VASE)
    assert (vase.bands, vase.firing.segments) == (file.bands, file.firing.segments)
    assert (vase.joint.blends, vase.joint.height) == (file.joint.blends, file.joint.height)
    for name in ("radius", "height", "wall"):
        np.testing.assert_array_equal(getattr(vase, name), getattr(file, name))


def test_a_dict_is_refused_with_its_place_as_a_file_is() -> None:
    table = {"name": "x", "profile": {"shape": "cube"}, "firing": [(800, 100)]}
    with pytest.raises(InputError, match=r"^vessel: \[profile\]: shape = 'cube': only round"):
        cf.read_vessel(table)
    with pytest.raises(UnknownName, match=r"^firing: no field named 'gass'; did you mean 'gas'"):
        cf.read_firing([(800, 100)], gass="air")


def test_rows_of_a_firing_are_its_segments_in_si() -> None:
    firing = cf.read_firing([(400, 60, 30), (860, "full")], gas="carbon", kiln="Laboratory furnace")
    first = Segment(kelvin(400.0), 60.0 / 3600.0, 1800.0)
    assert firing.segments == (first, Segment(kelvin(860.0), np.inf))
    assert (firing.gas, firing.kiln.name) == ("carbon", "laboratory furnace")
    assert cf.read_firing(firing) is firing


@pytest.mark.parametrize("row", [860, (860,), (860, 100, 10, 1), "860 100"])
def test_a_row_of_another_length_is_refused_by_its_number(row: object) -> None:
    with pytest.raises(InputError, match=r"segment 2: .*write \(to_C, rate_C_per_h, hold_min\)"):
        cf.read_firing([(400, 60, 30), row])


def test_a_card_is_found_whatever_its_case_and_a_slash_is_no_path() -> None:
    assert cf.card("BRASS 70/30") is cf.card("brass 70/30")
    assert cf.card(cf.card("copper")) is cf.card("copper")


def test_missing_cards_suggest_the_nearest_and_stay_missing_for_in_and_get() -> None:
    cards = cf.cards()
    with pytest.raises(UnknownName, match="did you mean 'copper'"):
        cards["Copper"]
    assert "Copper" not in cards
    assert cards.get("Copper") is None
    assert type(pickle.loads(pickle.dumps(cards))) is type(cards)


def test_what_is_done_to_one_mapping_of_cards_does_not_reach_the_next() -> None:
    cf.cards().clear()
    assert "copper" in cf.cards()


def test_a_refused_name_travels_between_processes() -> None:
    with pytest.raises(UnknownName) as caught:
        cf.card("coper")
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_a_blend_in_words_is_the_blend_of_its_parts() -> None:
    words, parts = cf.card("copper + talc body = 40"), cf.blend("copper", "talc body", 0.4)
    assert words.name == parts.name
    assert words.scalar("poisson_ratio") == parts.scalar("poisson_ratio")
    with pytest.raises(InputError, match="above 0 and below 1"):
        cf.blend("copper", "talc body", 40)


# ----------------------------------------------------------------------------------------------
# What things look like


def test_every_thing_shows_itself_in_a_line(fired: FiredVessel) -> None:
    response = fired.response
    pair = cf.mismatch("fine silver", "fritted body", fired.vessel.firing)
    things = [
        cf.card("copper"), cf.card("copper + talc body = 40"), cf.card("copper")["yield_stress"],
        fired.vessel, fired.vessel.firing, fired.vessel.firing.kiln, response.history,
        response.trace, response, fired.check(), fired, pair, cf.Case(fired.vessel),
    ]  # fmt: skip
    lines = [repr(thing) for thing in things]
    assert max(map(len, lines)) < 160
    assert not any("\n" in line or "array(" in line for line in lines)
    assert "fine silver" in repr(fired.vessel)
    assert fired.check().word in repr(fired.check())


class Tags(HTMLParser):
    """Names of the elements of a page, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.told = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        """Keep its name."""
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        """Keep the text."""
        self.told += data


PLAIN = {"table", "caption", "thead", "tbody", "tr", "th", "td", "p"}
HOSTILE = "<script>alert('x')</script>&\u202e"


def test_names_that_are_markup_are_shown_and_do_nothing() -> None:
    card = replace(cf.card("fine silver"), name=HOSTILE, summary=HOSTILE)
    bands = tuple(
        replace(band, material=HOSTILE) if band.material == "fine silver" else band
        for band in cf.example_vessel().bands
    )
    vase = replace(cf.example_vessel(), name=HOSTILE, bands=bands)
    fired = cf.fire(vase, cards={**cf.cards(), HOSTILE: card})
    pair = cf.mismatch(card, "fritted body", vase.firing)
    for thing in (card, fired, fired.check(), pair):
        page = Tags(thing._repr_html_())
        assert page.tags <= PLAIN
        assert "<script>alert" in page.told
        assert "\u202e" not in page.told


def test_a_fired_vessel_shows_its_cautions(fired: FiredVessel) -> None:
    assert "carbon monoxide" in Tags(fired._repr_html_()).told
    assert "carbon monoxide" in fired.text()


# ----------------------------------------------------------------------------------------------
# Answers


def test_the_table_of_flags_is_the_verdict(fired: FiredVessel) -> None:
    table, verdict = fired.to_frame(), fired.check()
    assert list(table["rule"]) == [flag.rule for flag in verdict.flags]
    assert table["utilisation"].max() == pytest.approx(verdict.utilisation, rel=1e-5)
    assert {"temperature_C", "time_h", "height_mm"} <= set(table.columns)


def test_the_table_of_bands_is_their_stress(fired: FiredVessel) -> None:
    table = fired.to_frame("bands")
    worst = [band.worst.tension / 1e6 for band in band_stresses(fired.response)]
    np.testing.assert_allclose(table["tension_MPa"], worst)
    laid = fired.response.vessel.bands  # as the changeovers leave them
    assert len(laid) > len(fired.vessel.bands)
    assert list(table["to_mm"]) == pytest.approx([1e3 * band.high for band in laid], abs=1e-6)
    with pytest.raises(UnknownName, match="Known: 'bands', 'flags'"):
        fired.to_frame("band_stresses")


def test_figures_are_figures(fired: FiredVessel) -> None:
    assert isinstance(fired.plot(), Figure)
    assert isinstance(cf.mismatch("copper", "talc body", gases="carbon").plot(), Figure)


def test_a_mismatch_ends_at_what_is_stored() -> None:
    pair = cf.mismatch("copper", "talc body", gases="carbon")
    table = pair.to_frame()
    assert pair.mismatch.firing.gas == "carbon"
    assert table["stored_ppm"].iloc[-1] == pytest.approx(1e6 * pair.cooled)
    apart = table["copper_strain_percent"] - table["talc body_strain_percent"]
    np.testing.assert_allclose(apart, table["difference_percent"], atol=1e-12)


def test_a_screen_has_one_row_a_pair_and_the_columns_of_the_command() -> None:
    table = cf.screen(["copper", "fine silver"], cf.card("fritted body"), gases=["air", "inert"])
    assert list(table.columns) == list(COLUMNS)
    assert sorted(table["metal"]) == ["copper", "fine silver"]
    with pytest.raises(InputError, match="'talc body' is a ceramic; give a metal or a blend"):
        cf.screen("talc body")


def test_a_job_weighs_and_judges_the_vessel_as_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cofire.production.job.pieces_for", lambda *_: [])  # with tests of its own
    job = cf.job(VASE)
    assert job.check() is job.job.verdict
    weighed = job.to_frame()
    assert set(weighed["paste"]) == {"fine silver", "fritted body"}
    assert (weighed["mass_g"] > 0.0).all()
    assert Tags(job._repr_html_()).tags <= PLAIN
    assert "as printed" in repr(job)


# ----------------------------------------------------------------------------------------------
# Many verdicts


@pytest.fixture(scope="module")
def swept() -> pd.DataFrame:
    """A small vessel at two peaks, held longer, with a thinner wall."""
    return cf.sweep(written_vessel(TEA_LIGHT), **VALUES)


VALUES: dict[str, object] = {
    "peak_C": [840, 870], "wall_mm": 1.2, "hold_min": [30], "quick": True
}  # fmt: skip


def test_a_sweep_is_the_verdicts_one_by_one(swept: pd.DataFrame) -> None:
    vessel = written_vessel(TEA_LIGHT)
    assert list(swept.columns[:3]) == ["peak_C", "hold_min", "wall_mm"]
    for _, row in swept.iterrows():
        firing = with_hold(with_peak(vessel.firing, kelvin(row["peak_C"])), 1800.0)
        verdict = cf.evaluate(cf.Case(with_wall(vessel, 1.2e-3), firing, quick=True))
        assert (row["verdict"], row["utilisation"]) == (verdict.word, verdict.utilisation)
        assert row["rule"] == verdict.deciding.rule


def test_a_sweep_of_nothing_is_the_verdict_on_the_vessel(
    fired: FiredVessel,
) -> None:
    table = cf.sweep(VASE)
    assert table["utilisation"].tolist() == [fired.check().utilisation]


def test_a_sweep_is_the_same_in_threads_and_processes(swept: pd.DataFrame) -> None:
    pools: list[Executor] = [ThreadPoolExecutor(2), ProcessPoolExecutor(1, get_context("spawn"))]
    for pool in pools:
        with pool:
            assert cf.sweep(written_vessel(TEA_LIGHT), executor=pool, **VALUES).equals(swept)


def test_what_cannot_be_fired_is_a_row_that_says_why() -> None:
    table = cf.sweep(cf.example_vessel(), peak_C=[860, 1500, 500], wall_mm=[1.8], quick=True)
    assert list(table["verdict"])[1:] == ["unknown", "unknown"]
    assert "reaches at most 1200 °C" in table["note"][1]
    assert "must not lie below its segment to 560 °C" in table["note"][2]
    assert table["utilisation"].isna().tolist() == [False, True, True]


@pytest.mark.parametrize("value", ["hot", None, [850, True], [float("nan")]])
def test_a_value_that_is_no_number_is_refused_before_anything_is_fired(value: object) -> None:
    values = value if isinstance(value, list) else [value]
    with pytest.raises(InputError, match=r"peak_C = .*; allowed: a number, or several"):
        cf.sweep(cf.example_vessel(), peak_C=values)


def test_another_peak_moves_every_segment_that_reaches_it() -> None:
    firing = cf.read_firing([(400, 60), (860, 100, 10), (700, 60), (860, 100, 20), (500, 60)])
    moved = with_peak(firing, kelvin(900.0))
    assert [round(s.target - 273.15) for s in moved.segments] == [400, 900, 700, 900, 500]
    held = with_hold(moved, 60.0)
    assert [s.hold for s in held.segments] == [0.0, 600.0, 0.0, 60.0, 0.0]
    assert with_hold(firing, 30000 * 60.0).segments[3].hold == 30000 * 60.0
    for wrong in (-60.0, 30001 * 60.0, 1e300, float("nan")):
        with pytest.raises(InputError, match=r"hold_min = .*; allowed: 0 to 30000"):
            with_hold(firing, wrong)


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda: cf.card(5), "card: 5; allowed: a name or a path, or a dict"),
        (lambda: cf.card(None), "card: missing; allowed: a name or a path, or a dict"),
        (lambda: cf.kiln(5), "kiln: 5; allowed: a name or a path, or a dict"),
        (lambda: cf.kiln(None), "kiln: missing; allowed"),
        (lambda: cf.cards(5), "path: 5; allowed: a text or a path"),
        (lambda: cf.read_vessel(None), "vessel: missing; allowed"),
        (lambda: cf.read_vessel(b"vase.toml"), "vessel: b'vase.toml'; allowed"),
        (lambda: cf.fire(3), "vessel: 3; allowed"),
        (lambda: cf.fire(VASE, firing=3), "3; allowed: .*, or rows of to_C, rate_C_per_h"),
        (lambda: cf.screen(5), "card: 5; allowed"),
        (lambda: cf.read_firing(None), "firing: missing; allowed: .*, or rows of to_C"),
        (lambda: cf.read_firing(pd.DataFrame([(860, 60, 60)])), "firing: .*; allowed: .* rows"),
        (lambda: cf.read_firing(row for row in [(860, 60, 60)]), "firing: <gen.*; allowed: .*"),
        (lambda: cf.read_firing(np.array(860.0)), "firing: 860.0; allowed"),
    ],
)
def test_a_thing_of_another_kind_is_refused_with_what_is_allowed(ask, says: str) -> None:
    with pytest.raises(InputError, match=says) as refused:
        ask()
    assert "\n" not in str(refused.value)


def test_a_table_of_something_that_is_no_text_is_refused(fired: FiredVessel) -> None:
    with pytest.raises(cf.CofireError, match=r"no table named '1'. Known: 'bands', 'flags'"):
        fired.to_frame(1)


def test_numbers_of_numpy_are_numbers() -> None:
    """Once a share of float32 was refused, and an array of segments had no attribute 'open'."""
    rows = [(420.0, 60.0, 60.0), (860.0, 150.0, 75.0)]
    assert cf.read_firing(np.array(rows)).segments == cf.read_firing(rows).segments
    assert cf.read_firing([np.array(row) for row in rows]).segments == cf.read_firing(rows).segments
    vase = cf.read_vessel(VASE, firing=np.array(rows))
    assert len(vase.firing.segments) == 2
    half = cf.blend("copper", "talc body", np.float32(0.5))
    assert half.name == cf.blend("copper", "talc body", 0.5).name
    with pytest.raises(InputError, match="allowed: a number above 0 and below 1"):
        cf.blend("copper", "talc body", np.float32("nan"))


def test_another_wall_leaves_the_middle_and_the_floor() -> None:
    cup = cf.read_vessel(
        {
            "name": "cup",
            "profile": {"shape": "cylinder", "radius_mm": 30, "height_mm": 60, "wall_mm": 3,
                        "base": "flat", "base_mm": 5},
            "band": [{"material": "fritted body"}],
        },
        firing=[(860, 100, 30)],
    )  # fmt: skip
    thin = with_wall(cup, 2e-3)
    assert thin.wall.tolist() == pytest.approx([5e-3, 2e-3, 2e-3])
    np.testing.assert_array_equal(thin.radius, cup.radius)
    for wrong in (0.4e-3, 20e-3, float("nan")):
        with pytest.raises(InputError, match="half of its least radius"):
            with_wall(cup, wrong)


def test_a_case_carries_only_the_cards_its_vessel_needs() -> None:
    vase = cf.example_vessel()
    graded = replace(
        vase,
        bands=(
            replace(vase.bands[0], high=0.02),
            replace(vase.bands[0], material="Fine Silver + Fritted Body = 40", low=0.02),
            vase.bands[1],
        ),
    )
    some = needed(graded, cf.cards())
    assert set(some) == {"fine silver", "fritted body"}
    mine = {"mine": cf.blend("fine silver", "fritted body", 0.4), **some}
    named = replace(graded, bands=(*graded.bands[:1], *graded.bands[2:]))
    named = replace(named, bands=(named.bands[0], replace(named.bands[1], material="mine")))
    verdict = cf.evaluate(cf.Case(named, cards=needed(named, mine), quick=True))
    assert verdict.flags


def test_a_case_with_nothing_moved_is_the_vessel_itself_and_a_weaker_body_fares_worse() -> None:
    vase = written_vessel(TEA_LIGHT)

    def cooling(**deviates: float) -> float:
        moved = {("fritted body", name): d for name, d in deviates.items()}
        case = cf.Case(vase, deviates=moved, quick=True)
        verdict = cf.evaluate(pickle.loads(pickle.dumps(case)))
        return max(f.utilisation for f in verdict.flags if f.rule == "cooling")

    own = cooling()
    assert cooling(strength=0.0) == pytest.approx(own, rel=1e-9)
    assert cooling(strength=-1.0) > own > cooling(strength=1.0)


def test_a_case_takes_a_vessel_and_a_firing_as_every_other_call_does() -> None:
    """Once a path or rows of a firing failed only when it was judged, with a traceback."""
    path, rows = EXAMPLES / "silver_foot_vessel.toml", [(420, 60, 60), (840, 100, 60)]
    case = cf.Case(path, rows, quick=True)
    other = cf.Case(replace(cf.read_vessel(path), firing=cf.read_firing(rows)), quick=True)
    assert case.vessel == other.vessel
    assert repr(case) == repr(other)
    assert cf.evaluate(case).flags == cf.evaluate(other).flags
    with pytest.raises(InputError, match=r"none\.toml: cannot be read"):
        cf.Case("none.toml")


def test_a_deviate_of_nothing_uncertain_is_refused() -> None:
    case = cf.Case(cf.example_vessel(), deviates={("fritted body", "strenght"): 1.0})
    with pytest.raises(UnknownName, match=r"deviates: .*did you mean 'fritted body: strength'"):
        cf.evaluate(case)


# ----------------------------------------------------------------------------------------------
# The whole job


SCRIPT = EXAMPLES / "one_vessel.py"


def test_the_notebook_script_is_short_and_asks_for_what_there_is() -> None:
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"))
    assert len(tree.body) <= 17  # with docstring and imports
    asked = {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "cf"
    }
    assert asked <= set(NAMES)
    assert {"fire", "job", "mismatch", "plan", "screen", "sweep"} <= asked


@pytest.mark.long
def test_the_notebook_script_does_the_whole_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    found = runpy.run_path(str(SCRIPT))  # the search is behind __main__
    assert found["fired"].check().word in ("go", "caution", "no")
    assert (tmp_path / "stress.png").stat().st_size > 10_000
    told = capsys.readouterr().out
    for part in ("fritted body", "ppm stored when cold", "tension_MPa", "wall_mm", "binder"):
        assert part in told
