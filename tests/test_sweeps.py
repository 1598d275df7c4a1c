"""Sweeps over tables: the same lines on any executor, nothing lost or done twice after a stop."""

from __future__ import annotations

import csv
import subprocess
import sys
import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cofire import sweeps
from cofire.assessment.check import Check, check_vessel
from cofire.assessment.draws import REACH
from cofire.assessment.verdict import Verdict, worst_first
from cofire.cases import Case, evaluate, needed, with_peak
from cofire.cli import app
from cofire.design.starting import started
from cofire.errors import CofireError, InputError
from cofire.sweeps import FOUND, Swept, as_parquet, drawn, mark_of, sweep_table
from cofire.units import kelvin
from cofire.vessel_file import read_vessel
from tests.executors import EXECUTORS, an_executor
from tests.fired import CARDS, TEA_LIGHT, tea_light

pytestmark = pytest.mark.usefixtures("solids_are_rough")

ROWS = (
    "vessel,peak_C,wall_mm,metal,sample,label",
    "light.toml,,,,,as drawn",
    'light.toml,870,,,,"hotter, by far"',
    "light.toml,,,copper,,another metal",
    "no such.toml,,,,,lost",
    "light.toml,,1.5,,,thinner",
    "light.toml,,,,1,",
    "light.toml,,,,2,",
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    (tmp_path / "light.toml").write_text(TEA_LIGHT)
    found = tmp_path / "table.csv"
    found.write_text("\n".join(ROWS) + "\n")
    return found


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a table, and of its verdicts as one process without helpers writes them."""
    folder = tmp_path_factory.mktemp("alone")
    (folder / "light.toml").write_text(TEA_LIGHT)
    (folder / "table.csv").write_text("\n".join(ROWS) + "\n")
    done = sweep_table(folder / "table.csv", folder / "quick.csv", quick=True)
    assert (done.rows, done.before) == (7, 0)
    return folder


@cache
def own_check() -> Check:
    """What a check says of the tea light of the second row, in a peak of its own."""
    vessel = tea_light().vessel
    return check_vessel(replace(vessel, firing=with_peak(vessel.firing, kelvin(870.0))), CARDS)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[Case]:
    """Cases that were worked out, their verdict that of the vessel as drawn."""
    verdict = own_check().verdict
    seen: list[Case] = []

    def quick(case: Case) -> Verdict:
        seen.append(case)
        return verdict

    monkeypatch.setattr(sweeps, "evaluate", quick)
    return seen


def lines(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_sweep_says_of_each_row_what_a_check_says(table: Path, tmp_path: Path) -> None:
    table.write_text("\n".join((ROWS[0], ROWS[2])) + "\n")
    sweep_table(table, tmp_path / "out.csv")
    (found,) = lines(tmp_path / "out.csv")
    own = own_check().verdict
    assert found["verdict"] == own.word
    assert float(found["utilisation"]) == own.utilisation
    assert found["utilisation_of"] == own.most_used.rule
    assert found["rule"] == own.deciding.rule


def test_each_row_of_a_table_is_a_case_of_its_own(alone: Path) -> None:
    found = lines(alone / "quick.csv")
    assert found[3]["verdict"] == "unknown"
    assert "no such.toml" in found[3]["note"]
    assert found[1]["label"] == "hotter, by far"
    assert len({row["utilisation"] for row in found}) == 7  # each row is another case


def test_a_row_names_what_decides_and_whose_the_largest_share_is(
    table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pot that cracks on cooling is lost; that it would sag more is no reason any more."""
    own = own_check().verdict
    sags = next(flag for flag in own.flags if flag.rule == "sag")
    verdict = worst_first([replace(sags, utilisation=9.0), *own.flags])
    assert verdict.worst.rule == "sag" != verdict.deciding.rule
    monkeypatch.setattr(sweeps, "evaluate", lambda _: verdict)
    sweep_table(table, tmp_path / "out.csv")
    row = lines(tmp_path / "out.csv")[0]
    assert (row["utilisation"], row["utilisation_of"]) == ("9.0", "sag")
    assert (row["rule"], row["zone"]) == (verdict.deciding.rule, verdict.deciding.zone)
    assert row["note"] == verdict.deciding.note


@pytest.mark.parametrize("kind", EXECUTORS)
def test_the_lines_are_the_same_bytes_whoever_works(alone: Path, tmp_path: Path, kind) -> None:
    with an_executor(kind) as executor:
        sweep_table(alone / "table.csv", tmp_path / "spread.csv", executor=executor, quick=True)
    assert (tmp_path / "spread.csv").read_bytes() == (alone / "quick.csv").read_bytes()


def test_cut_off_at_any_byte_a_sweep_goes_on_and_does_nothing_twice(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    whole = tmp_path / "whole.csv"
    sweep_table(table, whole)
    full = whole.read_bytes()
    assert len(counted) == 6
    for cut in range(0, len(full) + 1, 29):
        part = tmp_path / "part.csv"
        part.write_bytes(full[:cut])
        counted.clear()
        done = sweep_table(table, part)
        assert part.read_bytes() == full
        assert done.before == max(full[:cut].count(b"\n") - 1, 0)
        lost = 1 if done.before < 4 else 0  # the row whose file is missing is never fired
        assert len(counted) == 7 - done.before - lost
        assert sum(done.words.values()) == 7


KILLED = """
import sys
from dataclasses import replace
from pathlib import Path
from cofire.sweeps import sweep_table
from cofire.workers import local_processes
with local_processes(2) as executor:
    sweep_table(Path(sys.argv[1]), Path(sys.argv[2]), executor=executor, quick=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kills as POSIX does")
def test_a_sweep_that_is_killed_goes_on_where_it_was(
    table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the command that is killed works its rows out; what comes after does so once for each row
    known: dict[str, Verdict] = {}
    real = sweeps.evaluate

    def once(case: Case) -> Verdict:
        mark = str((case.firing or case.vessel.firing).segments)
        known[mark] = known.get(mark) or real(case)
        return known[mark]

    monkeypatch.setattr(sweeps, "evaluate", once)
    table.write_text("\n".join([*ROWS[:2], *(f"light.toml,{840 + k},,,," for k in range(40))]))
    out, whole = tmp_path / "out.csv", tmp_path / "whole.csv"
    run = subprocess.Popen([sys.executable, "-c", KILLED, str(table), str(out)])
    until = time.monotonic() + 60.0
    while time.monotonic() < until and (not out.exists() or out.read_bytes().count(b"\n") < 5):
        time.sleep(0.02)
    run.kill()
    run.wait()
    done = sweep_table(table, out, quick=True)
    assert 4 <= done.before < 41
    sweep_table(table, whole, quick=True)
    assert out.read_bytes() == whole.read_bytes()


def test_lines_from_other_inputs_are_not_gone_on_with(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    out = tmp_path / "out.csv"
    sweep_table(table, out)
    (tmp_path / "light.toml").write_text(TEA_LIGHT.replace("height_mm = 60", "height_mm = 61"))
    with pytest.raises(InputError, match=r"out\.csv: row 1 comes from other inputs"):
        sweep_table(table, out)
    (tmp_path / "light.toml").write_text(TEA_LIGHT)
    with pytest.raises(InputError, match="row 1 comes from other inputs"):
        sweep_table(table, out, seed=1)
    with pytest.raises(InputError, match="row 1 comes from other inputs"):
        sweep_table(table, out, cards={**CARDS, "other": CARDS["copper"]})
    assert sweep_table(table, out).before == 7
    assert sweep_table(table, out, seed=1, anew=True).before == 0
    table.write_text("vessel\nlight.toml\n")
    with pytest.raises(InputError, match="has other columns"):
        sweep_table(table, out)


def test_rows_added_at_the_end_of_a_table_are_all_that_is_worked_out(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    out = tmp_path / "out.csv"
    sweep_table(table, out)
    counted.clear()
    table.write_text("\n".join([*ROWS, "light.toml,880,,,,"]) + "\n")
    assert sweep_table(table, out) == Swept(8, 7, {"no": 7, "unknown": 1})
    assert len(counted) == 1


@pytest.mark.parametrize("edit", [b"\n", b"light.toml,\xff\n", b"light.toml\n", b'"light.toml\n'])
def test_a_line_that_was_edited_is_named_and_kept(
    table: Path, tmp_path: Path, counted: list[Case], edit: bytes
) -> None:
    out = tmp_path / "out.csv"
    sweep_table(table, out)
    whole = out.read_bytes().splitlines(keepends=True)
    for place in (1, 8):
        out.write_bytes(b"".join([*whole[:place], edit, *whole[place:]]))
        with pytest.raises(InputError, match=f"row {place} comes from .*; --force begins anew"):
            sweep_table(table, out)
        assert edit in out.read_bytes()
    assert sweep_table(table, out, anew=True) == Swept(7, 0, {"no": 6, "unknown": 1})


@pytest.mark.parametrize("named", ["profile.csv", "own.toml", "tables/metals/own.toml"])
@pytest.mark.parametrize("how", ["out", "parquet"])
def test_begun_anew_a_sweep_empties_no_file_that_only_a_vessel_names(
    table: Path, tmp_path: Path, counted: list[Case], named: str, how: str
) -> None:
    if how == "parquet":
        pytest.importorskip("pyarrow")
    folder = tmp_path / "tables" / "metals"
    folder.mkdir(parents=True)
    (folder / "own.toml").write_text('name = "own silver"\nlike = "fine silver"\n')
    (tmp_path / "profile.csv").write_text("z_mm,r_mm,wall_mm\n0,35,4\n60,35,4\n")
    head, rest = TEA_LIGHT.split("[profile]")
    bands, firing = rest[rest.index("[[band]]") :].split("[firing]")
    (tmp_path / "own.toml").write_text('name = "own"\n' + firing)
    (tmp_path / "light.toml").write_text(
        f'tables = ["tables"]\nfiring = "own.toml"\n{head}[profile]\ncsv = "profile.csv"\n{bands}'
    )
    table.write_text("vessel\nlight.toml\n")
    before = (tmp_path / named).read_bytes()
    outputs = {"out": tmp_path / "out.csv"} | {how: tmp_path / named}
    with pytest.raises(InputError, match="is read by this command, and stays as it is"):
        sweep_table(table, anew=True, **outputs)
    assert (tmp_path / named).read_bytes() == before
    assert not counted
    assert sweep_table(table, tmp_path / "out.csv").words["no"] == 1


def test_begun_anew_a_sweep_empties_nothing_but_verdicts(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    mine = tmp_path / "mine.csv"
    mine.write_text("vessel,note\nlight.toml,a month of work\n")
    for anew in (False, True):
        with pytest.raises(InputError, match=r"mine\.csv: exists, and holds no verdicts"):
            sweep_table(table, mine, anew=anew)
    assert "a month of work" in mine.read_text()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("vessel,peek_C\nlight.toml,870\n", "no column named 'peek_C'; did you mean 'peak_C'"),
        ("peak_C\n870\n", "needs a column 'vessel'"),
        ("vessel,vessel\na,b\n", "each column once"),
        ("vessel,peak_C\nlight.toml,hot\n", "row 1, column peak_C: 'hot' is not a number"),
        ("vessel,peak_C\nlight.toml,nan\n", "row 1, column peak_C: 'nan' is not a number"),
        ("vessel,peak_C\nlight.toml,1_000\n", "column peak_C: '1_000' is not a number"),
        ("vessel,sample\nlight.toml,1.5\n", "sample: '1.5'; allowed: a whole number, 0 or more"),
        ("vessel,peak_C\n,870\n", "row 1: vessel is empty"),
        ("vessel\nlight.toml,870\n", "row 1 has more cells than columns"),
        ('vessel,label\nlight.toml,"two\nlines"\n', "label has a line break"),
        ("vessel\n", "has no rows"),
        ("", "needs a column 'vessel'"),
    ],
)
def test_a_wrong_table_is_refused_before_any_work(
    table: Path, tmp_path: Path, counted: list[Case], text: str, says: str
) -> None:
    table.write_text(text)
    with pytest.raises(CofireError) as refused:
        sweep_table(table, tmp_path / "out.csv")
    assert says in str(refused.value)
    assert not counted
    assert not (tmp_path / "out.csv").exists()


def test_two_sweeps_do_not_write_one_file(table: Path, tmp_path: Path, counted: list[Case]) -> None:
    pytest.importorskip("fcntl")
    out = tmp_path / "out.csv"
    with (
        sweeps._locked(out),
        pytest.raises(InputError, match="another sweep is writing it"),
    ):
        sweep_table(table, out)


def test_a_sample_is_the_same_in_any_table_and_normal_over_many() -> None:
    cards = needed(tea_light().vessel, CARDS)
    one = drawn(cards, 7)
    assert one == drawn(cards, 7)
    assert one != drawn(cards, 8)
    assert one != drawn(cards, 7, seed=1)
    more = drawn({**cards, "copper": CARDS["copper"]}, 7)
    assert {key: more[key] for key in one} == one
    many = np.array([list(drawn(cards, n).values()) for n in range(1, 400)])
    assert abs(many.mean()) < 0.02
    assert many.std() == pytest.approx(0.9866, abs=0.02)  # a normal cut off at three
    assert np.abs(many).max() <= REACH
    assert np.abs(np.corrcoef(many.T) - np.eye(many.shape[1])).max() < 0.25


def test_a_mark_knows_values_from_each_other_and_nothing_else() -> None:
    line = np.array([1.0, 2.0])
    assert mark_of(tea_light().vessel) == mark_of(read_vessel_again())
    others = [1, 1.0, "1", (1,), [(1,)], {"a": 1}, {"a": 2}, line, line.reshape(1, 2), None, True]
    assert len({mark_of(other) for other in others}) == len(others)


def read_vessel_again() -> object:
    vessel = tea_light().vessel
    return sweeps.replace(vessel, radius=vessel.radius.copy())


def test_a_table_of_verdicts_as_parquet_has_numbers_and_texts(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    out, target = tmp_path / "out.csv", tmp_path / "out.parquet"
    sweep_table(table, out)
    as_parquet(out, target)
    found = parquet.read_table(target).to_pylist()
    assert len(found) == 7
    assert tuple(found[0])[-len(FOUND) :] == FOUND
    assert isinstance(found[0]["utilisation"], float)
    assert found[3]["utilisation"] is None
    assert found[0]["inputs"] == lines(out)[0]["inputs"]


def test_parquet_takes_the_place_of_verdicts_and_of_nothing_else_unless_told(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    arrow = pytest.importorskip("pyarrow")
    out, target = tmp_path / "out.csv", tmp_path / "out.parquet"
    sweep_table(table, out, parquet=target)
    table.write_text("\n".join([*ROWS, "light.toml,880,,,,"]) + "\n")
    sweep_table(table, out, parquet=target)  # gone on with: the same command, no more to say
    assert parquet.read_table(target).num_rows == 8
    mine = tmp_path / "mine.parquet"
    parquet.write_table(arrow.table({"mine": [1, 2]}), mine)
    for own in (mine, tmp_path / "light.toml"):
        before = own.read_bytes()
        with pytest.raises(InputError, match=r"stays as it is|holds no verdicts of a sweep"):
            sweep_table(table, out, parquet=own)
        assert own.read_bytes() == before
    sweep_table(table, out, parquet=mine, anew=True)
    assert parquet.read_table(mine).num_rows == 8


def test_verdicts_are_not_replaced_by_their_own_parquet(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    pytest.importorskip("pyarrow")
    out = tmp_path / "out.csv"
    (tmp_path / "link.csv").symlink_to(out)
    (tmp_path / "folder").mkdir()
    for other in (tmp_path / "folder" / ".." / "out.csv", tmp_path / "link.csv"):
        with pytest.raises(InputError, match="named twice"):
            sweep_table(table, out, parquet=other, anew=True)
    sweep_table(table, out)
    with pytest.raises(InputError, match="named twice"):
        as_parquet(out, tmp_path / "link.csv")
    assert len(lines(out)) == 7


def test_a_sweep_needs_a_file_to_go_on_with(table: Path, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    told = CliRunner().invoke(app, ["sweep", str(table), "--out", "-", "--workers", "1"])
    assert told.exit_code == 3
    assert told.stderr == "cofire: -: standard output cannot hold it; give the name of a file\n"
    assert not (tmp_path / "-").exists()


def test_a_label_that_means_nothing_elsewhere_is_kept_in_parquet(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    out, target = tmp_path / "out.csv", tmp_path / "out.parquet"
    labels = ["NA", "null", "nan", "N/A", "one"]
    out.write_text("label,wall_mm\n" + "".join(f"{word},2.5\n" for word in labels) + ",\n")
    as_parquet(out, target)
    found = parquet.read_table(target).to_pydict()
    assert found == {"label": [*labels, None], "wall_mm": [2.5] * 5 + [None]}


def test_the_command_writes_counts_and_goes_on(table: Path, tmp_path: Path) -> None:
    table.write_text("vessel,label\nlight.toml,one\n")
    out = tmp_path / "out.csv"
    command = ["sweep", str(table), "--out", str(out), "--workers", "1", "--quick"]
    first = CliRunner().invoke(app, command)
    assert first.exit_code == 0, first.output
    assert "1 row (0 of them done before): 0 go, 0 caution, 1 no, 0 unknown" in first.stdout
    again = CliRunner().invoke(app, command)
    assert "1 row (1 of them done before)" in again.stdout


def test_a_cluster_that_does_not_answer_is_refused_in_one_line(table: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    command = ["sweep", str(table), "--out", str(tmp_path / "o.csv"), "--cluster", "nonsense"]
    found = CliRunner().invoke(app, command)
    assert found.exit_code == 3
    assert "--cluster nonsense: no scheduler answers" in found.stderr


def test_a_quick_row_says_what_a_quick_check_says(table: Path) -> None:
    # one fires the print alone and may be compiled, the other the sharp joints first: round-off
    vessel = read_vessel(table.parent / "light.toml")
    own = check_vessel(vessel, CARDS, quick=True).verdict
    found = evaluate(Case(vessel, quick=True))
    assert found.word == own.word
    assert [(f.rule, f.zone) for f in found.flags] == [(f.rule, f.zone) for f in own.flags]
    for one, other in zip(found.flags, own.flags, strict=True):
        assert one.utilisation == pytest.approx(other.utilisation, rel=1e-9, abs=1e-12)


def test_a_vessel_without_a_firing_is_fired_in_the_window_that_a_check_would_begin_from(
    tmp_path: Path, counted: list[Case]
) -> None:
    bare = TEA_LIGHT[: TEA_LIGHT.index("[firing]")]
    (tmp_path / "light.toml").write_text(bare)
    (tmp_path / "table.csv").write_text("vessel,peak_C\nlight.toml,\nlight.toml,850\n")
    swept = sweep_table(tmp_path / "table.csv", tmp_path / "out.csv")
    assert "unknown" not in swept.words
    own, hotter = counted
    begun = started(read_vessel(tmp_path / "light.toml"), CARDS)
    assert own.vessel.firing.segments == begun.firing.segments
    assert hotter.vessel.firing.segments == with_peak(begun.firing, kelvin(850.0)).segments


def test_quick_rows_are_not_gone_on_with_as_if_they_were_not(
    table: Path, tmp_path: Path, counted: list[Case]
) -> None:
    sweep_table(table, tmp_path / "out.csv", quick=True)
    assert all(case.quick for case in counted)
    with pytest.raises(InputError, match="other inputs"):
        sweep_table(table, tmp_path / "out.csv")
