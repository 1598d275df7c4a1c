"""The record: nothing acknowledged is ever lost, and what it says of predictions is right."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from cofire.cli import app
from cofire.cli.common import INPUT_WRONG
from cofire.errors import LONGEST, InputError
from cofire.evidence.record import (
    OUTCOMES,
    classes,
    compare,
    outcome_entry,
    paired,
    prediction_entry,
)
from cofire.report import record as record_file
from cofire.report.record import (
    TORN,
    append_many,
    compare_json,
    compare_text,
    decoded,
    encoded,
    read_record,
)
from cofire.report.verdict import number

ROOT = Path(__file__).resolve().parents[2]
FIRING = ROOT / "examples" / "silver_on_frit_firing.toml"
VERDICT = {
    "schema": 1,
    "cofire": "0.1",
    "vessel": "bowl",
    "verdict": "caution",
    "decided_by": "sag",
    "flags": [
        {
            "rule": "sag",
            "zone": "fritted body",
            "verdict": "caution",
            "utilisation": 0.8,
            "note": "long",
        },
        {"rule": "metal", "zone": "fine silver", "verdict": "unknown", "utilisation": None},
    ],
    "uncertainty": {
        "sound": {"p": 0.7, "low": 0.6, "high": 0.8},
        "not_lost": {"p": 0.8, "low": 0.7, "high": 0.9},
        "samples": 256,
        "seed": 0,
    },
}


def prediction(piece: str, sound: float | None, verdict: str = "go") -> dict[str, Any]:
    told = {} if sound is None else {"sound": sound, "not_lost": sound}
    return {"kind": "prediction", "piece": piece, "verdict": verdict, "flags": []} | told


def seen(piece: str, outcome: str = "sound") -> dict[str, Any]:
    return outcome_entry(piece, outcome)


def run(*words: object) -> Result:
    return CliRunner().invoke(app, ["record", *(str(word) for word in words)])


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.jsonl"


# --- the file -------------------------------------------------------------------------------------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", max_size=3), inner),
    max_leaves=6,
)  # fmt: skip


@given(note=JSON)
def test_an_entry_is_read_as_it_was_written_and_stands_on_one_line(note: Any):
    line = encoded({"kind": "outcome", "piece": "p", "note": note})
    assert line.count(b"\n") == 1
    entry = decoded(line[:-1])
    assert entry is not None
    assert entry["note"] == note


@given(place=st.integers(0, 10_000), bit=st.integers(0, 7))
def test_a_line_changed_in_one_bit_is_noticed(place: int, bit: int):
    line = bytearray(encoded(seen("bowl", "cracked"))[:-1])
    line[place % len(line)] ^= 1 << bit
    assert decoded(bytes(line)) is None


def test_a_line_looks_as_the_format_says():
    """Length and CRC-32 of the bytes before the check, as `wc -c` and `gzip` tell them."""
    now = datetime(2025, 3, 1, 12, 30, tzinfo=UTC)
    assert encoded({"kind": "outcome", "piece": "bowl", "outcome": "sound"}, now) == (
        b'{"record":1,"written":"2025-03-01T12:30:00+00:00","kind":"outcome","piece":"bowl",'
        b'"outcome":"sound","check":"99-83d13dd7"}\n'
    )


def test_a_spreadsheet_library_reads_the_record(path: Path):
    append_many(path, [prediction("a", 0.5), seen("a", "cracked")])
    frame = pd.read_json(path, lines=True)
    assert list(frame["kind"]) == ["prediction", "outcome"]
    assert frame["sound"][0] == 0.5


def test_a_torn_last_line_is_moved_aside_wherever_it_was_torn(path: Path):
    append_many(path, [seen("a"), seen("b")])
    whole = path.read_bytes()
    last = whole.index(b"\n") + 1
    for cut in [last, last + 1, *range(last + 5, len(whole) - 1, 17), len(whole) - 2]:
        path.write_bytes(whole[:cut])
        aside = path.with_name(path.name + TORN)
        aside.unlink(missing_ok=True)
        kept = read_record(path)
        assert [e["piece"] for e in kept.entries] == ["a"]
        assert kept.torn == cut - last
        append_many(path, [seen("c")])
        assert [e["piece"] for e in read_record(path).entries] == ["a", "c"]
        assert path.read_bytes().startswith(whole[:last])
        assert aside.exists() == (cut > last)
        if cut > last:
            assert aside.read_bytes() == whole[last:cut] + b"\n"


def test_a_last_line_that_lacks_only_its_new_line_is_kept(path: Path):
    append_many(path, [seen("a"), seen("b")])
    path.write_bytes(path.read_bytes()[:-1])
    assert len(read_record(path).entries) == 2
    append_many(path, [seen("c")])
    assert [e["piece"] for e in read_record(path).entries] == ["a", "b", "c"]
    assert not path.with_name(path.name + TORN).exists()


def test_torn_lines_are_kept_one_after_the_other(path: Path):
    append_many(path, [seen("a")])
    for torn in (b'{"record":1,"wri', b'{"rec'):
        path.write_bytes(path.read_bytes() + torn)
        append_many(path, [seen("b")])
    aside = path.with_name(path.name + TORN)
    assert aside.read_bytes() == b'{"record":1,"wri\n{"rec\n'


def test_a_changed_line_is_left_out_and_left_alone(path: Path):
    append_many(path, [seen("a", "cracked"), seen("b")])
    changed = path.read_bytes().replace(b"cracked", b"sound")
    path.write_bytes(changed)
    append_many(path, [seen("c")])
    kept = read_record(path)
    assert [e["piece"] for e in kept.entries] == ["b", "c"]
    assert kept.changed == (1,)
    assert path.read_bytes().startswith(changed)


@pytest.mark.parametrize("content", [b"\xff\xd8\xff\xe0 a picture", b'{"vessel": 1}\n', b"\x00"])
def test_another_file_is_refused_and_not_touched(path: Path, content: bytes):
    path.write_bytes(content)
    with pytest.raises(InputError, match="not a record"):
        append_many(path, [seen("a")])
    with pytest.raises(InputError, match="not a record"):
        read_record(path)
    assert path.read_bytes() == content


def test_a_later_format_is_refused(path: Path, monkeypatch: pytest.MonkeyPatch):
    with monkeypatch.context() as patch:
        patch.setattr(record_file, "FORMAT", 2)
        append_many(path, [seen("a")])
    with pytest.raises(InputError, match=r"line 1: record = 2; allowed: 1"):
        read_record(path)


def test_a_full_disk_adds_nothing(path: Path, monkeypatch: pytest.MonkeyPatch):
    append_many(path, [seen("a")])
    before = path.read_bytes()
    write = os.write

    def half(handle: int, lines: bytes) -> int:
        return write(handle, lines[: len(lines) // 2])

    monkeypatch.setattr(os, "write", half)
    with pytest.raises(InputError, match="nothing was added"):
        append_many(path, [seen("b")])
    assert path.read_bytes() == before


def test_one_wrong_entry_of_many_adds_none(path: Path):
    with pytest.raises(InputError, match="kind"):
        append_many(path, [seen("a"), {"kind": "wish"}])
    with pytest.raises(InputError, match="JSON"):
        append_many(path, [seen("a"), {"kind": "outcome", "utilisation": float("nan")}])
    assert not path.exists()


def test_a_kind_of_any_length_is_refused_in_one_line():
    with pytest.raises(InputError, match=r"entry: kind = 'wishwish.*; allowed: prediction") as told:
        encoded({"kind": "wish" * 1000})
    assert len(str(told.value)) <= LONGEST


@pytest.mark.parametrize("number", [None, "hot", [1], True])
def test_an_entry_whose_numbers_are_none_is_shown_without_them(path: Path, number: object):
    told = {"peak_C": number, "hours": number, "firing": "f"}
    append_many(path, [{"kind": "firing", "piece": "a"} | told])
    append_many(path, [{"kind": "prediction", "piece": "a", "verdict": "no", "sound": number}])
    shown = run("show", "--record", path)
    assert shown.exit_code == 0, shown.exception
    assert "a: f\n" in shown.stdout
    assert "sound with" not in shown.stdout


def test_hidden_characters_of_an_entry_do_not_reach_the_terminal(path: Path):
    append_many(path, [{"kind": "outcome", "piece": "a\n\x1b[31m", "outcome": "sound"}])
    shown = run("show", "--record", path)
    assert "\x1b" not in shown.stdout
    assert len(shown.stdout.splitlines()) == 1


def test_where_it_is_written_is_said_on_one_line_whatever_the_folder_is_called(
    path: Path, tmp_path: Path
):
    append_many(path, [seen("a")])
    told = run("compare", "--record", path, "--out", tmp_path / "a\nb\x1b[31m")
    assert told.exit_code == 0
    assert "\x1b" not in told.stderr
    assert len(told.stderr.splitlines()) == 1


def test_a_folder_or_a_missing_folder_is_one_line(tmp_path: Path):
    for place in (tmp_path, tmp_path / "no" / "record.jsonl"):
        with pytest.raises(InputError, match="cannot be written"):
            append_many(place, [seen("a")])
        with pytest.raises(InputError, match="cannot be read"):
            read_record(place)


WRITER = """
import sys
from pathlib import Path
from cofire.report.record import append_many
name, path, entries, group = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
for first in range(0, entries, group):
    append_many(path, [
        {"kind": "outcome", "piece": name, "number": n, "outcome": "sound", "note": "x" * 100}
        for n in range(first, first + group)
    ])
    print(first + group, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL and flock are POSIX")
def test_two_writers_of_10000_entries_one_killed_midway_lose_nothing(path: Path):
    """Each acknowledges a group once it is on the disk; those groups must be there, whole."""
    entries, group = 10_000, 100
    env = {**os.environ, "PYTHONPATH": str(ROOT)}

    def writer(name: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", WRITER, name, str(path), str(entries), str(group)],
            stdout=subprocess.PIPE, text=True, env=env,
        )  # fmt: skip

    with writer("victim") as victim, writer("survivor") as survivor:
        assert victim.stdout is not None
        acknowledged = 0
        for line in victim.stdout:
            acknowledged = int(line)
            if acknowledged >= 0.4 * entries:
                break
        time.sleep(0.003)  # into the midst of the next group
        victim.send_signal(signal.SIGKILL)
        rest = victim.stdout.read().split()
        acknowledged = int(rest[-1]) if rest else acknowledged
        assert survivor.stdout is not None
        assert survivor.stdout.read().split()[-1] == str(entries)
        assert survivor.wait() == 0
    assert victim.returncode == -signal.SIGKILL
    append_many(path, [seen("last")])  # mends what the dead writer may have left
    kept = read_record(path)
    assert kept.changed == ()
    assert kept.torn == 0
    of = {
        name: [e["number"] for e in kept.entries if e["piece"] == name]
        for name in ("victim", "survivor")
    }
    assert of["survivor"] == list(range(entries))
    assert of["victim"] == list(range(len(of["victim"])))
    assert acknowledged <= len(of["victim"]) < entries
    assert len(kept.entries) == len(of["victim"]) + entries + 1


# --- what it says ---------------------------------------------------------------------------------


def test_a_verdict_becomes_an_entry_with_its_probability_and_its_flags():
    entry = prediction_entry(VERDICT, None, "check.json")
    assert entry["piece"] == "bowl"
    assert (entry["sound"], entry["sound_low"], entry["samples"]) == (0.7, 0.6, 256)
    assert (entry["not_lost"], entry["not_lost_high"]) == (0.8, 0.9)
    assert entry["utilisation"] == 1.0  # one flag could not be computed
    assert entry["flags"][0] == {
        "rule": "sag", "zone": "fritted body", "verdict": "caution", "utilisation": 0.8,
    }  # fmt: skip
    assert "sound" not in prediction_entry(VERDICT | {"uncertainty": None}, "x", "check.json")


@pytest.mark.parametrize(
    "wrong", [{"verdict": "maybe"}, {"flags": 3}, {"uncertainty": {"sound": {"p": 1.2}}}]
)
def test_what_is_no_verdict_is_refused(wrong: dict[str, Any]):
    with pytest.raises(InputError, match=r"check\.json"):
        prediction_entry(VERDICT | wrong, None, "check.json")


def test_a_plan_is_held_against_what_is_seen_when_the_kiln_is_opened():
    """Its chance that the pot is not lost counts the year after, which no outcome tells."""
    chances = {"chances": {"proposed": {"not_lost": 0.4, "sound": 0.9, "all_well": 0.3}}}
    entry = prediction_entry(VERDICT | {"uncertainty": None, "designs": chances}, "a", "plan.json")
    assert (entry["not_lost"], entry["sound"]) == (0.4, 0.9)
    (pair,) = compare([entry, seen("a", "cracked")]).told
    assert (pair.probability, pair.planned, pair.well) == (0.9, False, False)


def test_an_older_plans_chance_is_never_called_too_low():
    """25 pots of which 20 hold on the day, foretold not lost in half."""
    told = {"kind": "prediction", "verdict": "go", "flags": [], "not_lost": 0.5}
    entries = [e for n in range(25)
               for e in (told | {"piece": f"{n}"}, seen(f"{n}", OUTCOMES[n % 5 == 0]))]  # fmt: skip
    text = " ".join(compare_text(compare(entries)).split())
    assert "which tells nothing" in text
    assert "count the year after the kiln too" in text
    assert "too low" not in text


def test_an_older_plan_is_recorded_with_its_own_chance_and_held_against_pots_lost():
    """Its chance is that the pot is not lost: a cambered one counts as kept, a cracked one not."""
    chances = {"chances": {"as_given": None, "proposed": {"not_lost": 0.77, "all_well": 0.4}}}
    entry = prediction_entry(VERDICT | {"uncertainty": None, "designs": chances}, "a", "plan.json")
    assert entry["not_lost"] == 0.77
    assert "sound" not in entry
    entries = [e for name, out in zip("abcd", OUTCOMES[:1] + OUTCOMES[1:4], strict=True)
               for e in (entry | {"piece": name}, seen(name, out))]  # fmt: skip
    found = compare(entries)
    assert [(p.outcome, p.well) for p in found.told] == [
        ("sound", True), ("cracked", False), ("debonded", False), ("cambered", True),
    ]  # fmt: skip
    assert "foretold by a plan of an older cofire it is not lost" in " ".join(
        compare_text(found).split()
    )


def test_a_prediction_that_no_limit_is_passed_is_not_held_against_what_is_seen():
    """25 cups of which 20 hold, told by an older cofire that all limits are kept in 36 %."""
    told = {"kind": "prediction", "verdict": "go", "flags": [], "sound": 0.36}
    entries = [e for n in range(25)
               for e in (told | {"piece": f"{n}"}, seen(f"{n}", OUTCOMES[n % 5 == 0]))]  # fmt: skip
    found = compare(entries)
    assert (found.told, found.older) == ((), 25)
    assert "Not compared: 25 pieces of which an older cofire" in compare_text(found)


def test_pots_of_one_design_stand_or_fall_together_and_are_one_trial():
    """Forecasts exactly right, 0.8 for each of ten states: twenty pots of a design all hold or not.

    As if pots were independent, 20 of 20 read as "clearly more".
    """
    entries = [e for n in range(20) for e in (
        prediction(f"cup {n}", 0.8) | {"vessel": "cup"}, seen(f"cup {n}"))]  # fmt: skip
    found = compare(entries)
    assert (found.designs, found.too_few) == (1, True)
    assert found.expected_spread == pytest.approx(20.0 * 0.4)
    assert found.classes[0].observed_low < 0.5
    rng = np.random.default_rng(0)
    wrong = 0
    for _ in range(50):
        entries = [e for k in range(25) for out in [OUTCOMES[int(rng.random() > 0.8)]]
                   for n in range(20)
                   for e in (prediction(f"{k} {n}", 0.8) | {"vessel": f"cup {k}"},
                             seen(f"{k} {n}", out))]  # fmt: skip
        wrong += "Clearly" in compare_text(compare(entries))
    assert wrong <= 8  # two standard deviations: 5 % by chance


def test_an_outcome_belongs_to_the_last_prediction_before_it():
    pairs, unseen, unforetold = paired(
        [
            seen("early"),
            prediction("a", 0.2, "no"),
            prediction("a", 0.9),
            {"kind": "firing", "piece": "a"},
            seen("a", "cracked"),
            seen("a"),  # a correction
            prediction("a", 0.4, "caution"),  # a second piece of the same name
            seen("a", "slumped"),
            prediction("b", None),
        ]
    )
    assert [(p.probability, p.verdict, p.outcome) for p in pairs] == [
        (0.9, "go", "sound"),
        (0.4, "caution", "slumped"),
    ]
    assert (unseen, unforetold) == (1, 1)


def test_the_score_is_that_of_a_worked_example():
    """Three pieces by hand: (0.9 − 1)² + (0.6 − 0)² + (0.2 − 0)² over 3 = 0.41/3."""
    entries = [prediction("a", 0.9), prediction("b", 0.6), prediction("c", 0.2)]
    found = compare([*entries, seen("a"), seen("b", "cracked"), seen("c", "debonded")])
    assert found.brier == pytest.approx(0.41 / 3)
    assert found.brier_of_share == pytest.approx(2 / 9)
    assert found.expected == pytest.approx(1.7)
    assert found.expected_spread == pytest.approx(np.sqrt(0.09 + 0.24 + 0.16))
    assert found.table == {("go", "sound"): 1, ("go", "cracked"): 1, ("go", "debonded"): 1}
    assert found.too_few
    assert "Too few to judge by" in compare_text(found)


def test_foretelling_every_outcome_scores_zero_and_a_half_always_a_quarter():
    sure = [prediction("a", 1.0), seen("a"), prediction("b", 0.0), seen("b", "cracked")]
    assert compare(sure).brier == 0.0
    unsure = [prediction("a", 0.5), seen("a"), prediction("b", 0.5), seen("b", "cracked")]
    assert compare(unsure).brier == 0.25


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=1, max_size=60))
def test_every_piece_is_in_one_class_and_within_its_ends(told: list[tuple[float, bool]]):
    probability = np.array([p for p, _ in told])
    sound = np.array([float(s) for _, s in told])
    found = classes(probability, sound, [str(n) for n in range(len(told))])
    assert sum(c.count for c in found) == len(told)
    assert sum(c.count * c.observed for c in found) == pytest.approx(sound.sum())
    for c in found:
        assert c.low - 1e-12 <= c.predicted <= c.high + 1e-12
        assert 0.0 <= c.observed_low <= c.observed <= c.observed_high <= 1.0


def test_a_record_of_right_probabilities_is_borne_out_and_one_of_wrong_ones_is_not():
    rng = np.random.default_rng(2)
    probability = rng.random(400)

    def record(true: np.ndarray) -> list[dict[str, Any]]:
        drawn = rng.random(400) < true
        return [
            entry
            for n, (p, s) in enumerate(zip(probability, drawn, strict=True))
            for entry in (prediction(str(n), float(p)), seen(str(n), OUTCOMES[int(not s)]))
        ]

    right, wrong = compare(record(probability)), compare(record(probability**2))
    assert not right.too_few
    assert "as probability allows" in compare_text(right)
    for found in (right, wrong):
        whole, text = json.loads(compare_json(found)), compare_text(found)
        sentences = " ".join(text.split())
        assert f"probabilities add up to {whole['expected_well']:.1f}, give or take" in sentences
        assert f"Brier score {number(whole['brier'])} (0 is perfect; " in sentences
        assert f"{whole['well']} of {whole['pieces_with_probability']})" in sentences
        for row in whole["classes"]:
            cells = (
                f"{row['count']:6d} {100 * row['predicted']:5.0f} % {100 * row['observed']:4.0f} %"
            )
            assert cells in text
    assert "Clearly fewer" in compare_text(wrong)
    assert (right.brier or 1.0) < (right.brier_of_share or 0.0)


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture
def verdict(tmp_path: Path) -> Path:
    file = tmp_path / "check.json"
    file.write_text(json.dumps(VERDICT), encoding="utf-8")
    return file


def test_a_piece_is_followed_from_prediction_to_comparison(path: Path, verdict: Path):
    added = run("add", verdict, FIRING, "--record", path)
    assert added.exit_code == 0, added.output
    assert run("add", "--piece", "bowl", "--outcome", "cracked", "--where", "20 mm up",
               "--record", path).exit_code == 0  # fmt: skip
    kinds = [e["kind"] for e in read_record(path).entries]
    assert kinds == ["prediction", "firing", "outcome"]
    assert {e["piece"] for e in read_record(path).entries} == {"bowl"}
    shown = run("show", "--record", path).stdout
    assert "sound with 70 %" in shown
    assert "860 °C in the ware" in " ".join(shown.split())
    assert "cracked, 20 mm up" in shown
    other = run("show", "--record", path, "--piece", "bowk")
    assert (other.exit_code, other.stdout) == (3, "")
    assert "no piece named 'bowk'; did you mean 'bowl'? Known: 'bowl'" in other.stderr
    whole = json.loads(run("compare", "--record", path, "--json").stdout)
    assert whole["brier"] == pytest.approx(0.49)
    assert whole["too_few"]


def test_a_plan_is_added_by_its_folder(path: Path, verdict: Path, tmp_path: Path):
    plan = tmp_path / "plan"
    plan.mkdir()
    (plan / "plan.json").write_text(verdict.read_text(encoding="utf-8"), encoding="utf-8")
    assert run("add", plan, "--piece", "jar 2", "--record", path).exit_code == 0
    (entry,) = read_record(path).entries
    assert (entry["piece"], entry["from"], len(entry["sha256"])) == ("jar 2", str(plan), 64)


def test_a_logged_firing_is_added_with_its_peak(path: Path, tmp_path: Path):
    log = tmp_path / "log.csv"
    hours = np.linspace(0.0, 6.0, 200)
    heat = 20.0 + 840.0 * np.minimum(hours / 3.0, 1.0) - 140.0 * np.maximum(hours - 3.0, 0.0)
    rows = [f"{h * 60:.2f},{t:.1f}" for h, t in zip(hours, heat, strict=True)]
    log.write_text("time (min),ware (C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert run("add", log, "--piece", "jar", "--record", path).exit_code == 0
    (entry,) = read_record(path).entries
    assert entry["logged"]
    assert entry["peak_C"] == pytest.approx(860.0, abs=5.0)
    shown = " ".join(run("show", "--record", path).stdout.split())
    assert f"{entry['peak_C']:.0f} °C at the logged thermocouple" in shown


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "nothing to add"),
        (["--outcome", "sound"], "--piece is missing"),
        ([FIRING], "--piece is missing"),
        (["--piece", "x", "--outcome", "broken"], "allowed: sound, cracked"),
        (["--piece", " ", "--outcome", "sound"], "1 to 80 characters"),
        (["--piece", "x", "--note", "only"], "give --outcome too"),
        (["no.json", "--piece", "x"], "no.json"),
    ],
)
def test_what_cannot_be_added_is_one_line_and_status_3(path: Path, arguments, said: str):
    result = run("add", *arguments, "--record", path)
    assert result.exit_code == INPUT_WRONG
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert said in result.stderr
    assert not path.exists()


def test_harm_is_told_on_stderr(path: Path):
    append_many(path, [seen("a", "cracked"), seen("b")])
    path.write_bytes(path.read_bytes().replace(b"cracked", b"sound") + b'{"rec')
    result = run("show", "--record", path)
    assert "b: sound" in result.stdout
    assert "line 1: changed since it was written" in result.stderr
    assert "torn last line of 5 bytes" in result.stderr


def test_the_calibration_is_drawn_with_the_same_bytes_each_time(path: Path, tmp_path: Path):
    for n in range(8):
        append_many(path, [prediction(str(n), n / 7), seen(str(n), OUTCOMES[n < 3])])
    first = run("compare", "--record", path, "--out", tmp_path / "one")
    assert first.exit_code == 0, first.output
    again = run("compare", "--record", path, "--out", tmp_path / "two")
    assert again.stdout == first.stdout
    names = {"calibration.png", "calibration.svg", "calibration.csv", "comparison.json"}
    assert {file.name for file in (tmp_path / "one").iterdir()} == names
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    csv = pd.read_csv(tmp_path / "one" / "calibration.csv")
    assert csv["pieces"].sum() == 8
    assert run("compare", "--record", path, "--out", tmp_path / "one").exit_code == INPUT_WRONG


def test_the_same_prediction_added_twice_stands_and_counts_once(path: Path, verdict: Path):
    assert run("add", verdict, "--record", path).exit_code == 0
    again = run("add", verdict, "--record", path)
    assert again.exit_code == 0
    assert "bowl: this prediction stands in the record already; not added again" in again.stderr
    assert len(read_record(path).entries) == 1
    (first,) = read_record(path).entries
    entries = [first, seen("bowl", "cracked"), dict(first), seen("bowl", "cracked")]
    found = compare(entries)  # also where an older version wrote it twice
    assert (len(found.pairs), found.unseen, found.unforetold) == (1, 0, 0)
    other = first | {"sha256": "0" * 64, "sound": 0.2}
    assert len(compare([*entries, other, seen("bowl")]).pairs) == 2


def test_a_log_with_several_columns_is_added_by_the_one_that_is_named(path: Path, tmp_path: Path):
    log = tmp_path / "log.csv"
    hours = np.linspace(0.0, 6.0, 200)
    heat = 20.0 + 840.0 * np.minimum(hours / 3.0, 1.0) - 140.0 * np.maximum(hours - 3.0, 0.0)
    rows = [f"{h * 60:.2f},{t:.1f},{t + 30:.1f}" for h, t in zip(hours, heat, strict=True)]
    log.write_text("minutes,kiln C,ware C\n" + "\n".join(rows) + "\n", encoding="utf-8")
    unnamed = run("add", log, "--piece", "jar", "--record", path)
    assert unnamed.exit_code == INPUT_WRONG
    assert "several columns" in unnamed.stderr
    named = run("add", log, "--piece", "jar", "--record", path, "--column", "ware C",
                "--time-column", "1", "--unit", "C", "--time-unit", "min")  # fmt: skip
    assert named.exit_code == 0, named.output
    assert read_record(path).entries[0]["peak_C"] == pytest.approx(890.0, abs=5.0)
    assert run("add", log, "--piece", "jar", "--time-unit", "x").exit_code == INPUT_WRONG


def test_without_pieces_no_calibration_is_drawn_and_that_is_said(path: Path, tmp_path: Path):
    append_many(path, [prediction("a", 0.7)])
    result = run("compare", "--record", path, "--out", tmp_path / "none")
    assert result.exit_code == 0
    assert "no calibration figure" in result.stderr
    assert [file.name for file in (tmp_path / "none").iterdir()] == ["comparison.json"]


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_verdict_with_what_is_no_number_is_refused_with_its_file(word: str, tmp_path: Path):
    told = tmp_path / "told.json"
    told.write_text(
        '{"verdict": "no", "vessel": "bowl", "flags": [], "uncertainty": {"sound": {"p": 0.5, '
        f'"low": {word}}}}}}}'
    )
    result = CliRunner().invoke(app, ["record", "add", str(told), "--record", str(tmp_path / "r")])
    assert result.exit_code == 3
    assert result.stderr.startswith(f"cofire: {told}: not JSON (")


def test_a_log_in_another_coding_is_added_as_replay_reads_it(tmp_path: Path):
    rows = [f"{10 * n};{min(20 + 25 * n, 840, 1640 - 20 * n)},5" for n in range(80)]
    log = tmp_path / "kiln.csv"
    log.write_bytes("\n".join(["Brennen für Käthe;", "min;°C", *rows]).encode("cp1252"))
    record = tmp_path / "r.jsonl"
    told = run("add", log, "--piece", "cup", "--record", record)
    assert told.exit_code == 0, told.output
    assert "kiln.csv" in told.stdout
    again = run("add", log, "--piece", "cup", "--record", record)
    assert "already" in again.stderr


def test_an_outcome_that_corrects_another_or_of_a_piece_nobody_foretold_says_so(
    path: Path, verdict: Path
):
    """Once "cracked", then "sound" of one bowl, and an outcome of a "bwol": all in silence."""

    def add(*arguments: str) -> str:
        return CliRunner().invoke(app, ["record", "add", *arguments, "--record", str(path)]).stderr

    add(str(verdict), "--piece", "bowl")
    assert add("--piece", "bowl", "--outcome", "cracked") == ""
    told = add("--piece", "bowl", "--outcome", "sound")
    assert told == "cofire: bowl: it stood as cracked; the last outcome counts\n"
    assert "nothing was foretold of a piece of this name" in add(
        "--piece", "bwol", "--outcome", "sound"
    )
