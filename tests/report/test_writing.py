"""A folder is put in place whole, or not at all."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from cofire.errors import InputError
from cofire.report.writing import check_plan_folder, check_targets, replace_folder

ROOT = Path(__file__).parents[2]
WRITER = """
import sys
from pathlib import Path
from cofire.report.writing import replace_folder

out = Path(sys.argv[1])
print("ready", flush=True)
n = 0
while True:
    n += 1
    def fill(folder):
        for name in ("plan.json", "a", "b", "c"):
            with open(folder / name, "w") as stream:
                for _ in range(50):
                    stream.write(f"{n}\\n")
    replace_folder(out, fill, "plan.json", True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the exchange of two folders is Linux's")
def test_a_folder_killed_at_any_moment_holds_the_old_plan_or_the_new(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    random = np.random.default_rng(7)
    seen = set()
    for _ in range(8):
        child = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(out)], stdout=subprocess.PIPE, cwd=ROOT
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(float(random.uniform(0.0, 0.05)))
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
        child.stdout.close()
        if not out.exists():  # killed before the very first one
            continue
        texts = [(out / name).read_text() for name in ("plan.json", "a", "b", "c")]
        assert len(set(texts)) == 1
        assert texts[0].count("\n") == 50
        seen.add(texts[0])
    assert len(seen) > 2


def test_a_fill_that_fails_leaves_the_old_folder_and_no_litter(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    replace_folder(out, lambda folder: (folder / "plan.json").write_text("1"), "plan.json", False)

    def broken(folder: Path) -> None:
        (folder / "plan.json").write_text("2")
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        replace_folder(out, broken, "plan.json", True)
    assert (out / "plan.json").read_text() == "1"
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def fill_plan(folder: Path) -> None:
    (folder / "plan.json").write_text("new")


@pytest.mark.parametrize("given", [".", "", "../{name}", "{path}", "{path}/../{name}/."])
def test_the_folder_one_stands_in_is_refused_before_the_work(
    given: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    out = Path(given.format(name=tmp_path.name, path=tmp_path))
    with pytest.raises(InputError, match="is the folder you stand in"):
        check_plan_folder(out, True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "told"),
    [("x" * 256, "too long"), ("é" * 128, "too long"), ("none/plan", "does not exist")],
)
def test_a_folder_that_cannot_be_made_is_refused_before_the_work(
    name: str, told: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=told) as caught:
        check_plan_folder(tmp_path / name, True)
    assert len(str(caught.value)) <= 300
    assert list(tmp_path.iterdir()) == []


def test_the_longest_name_and_a_link_are_put_in_place(tmp_path: Path) -> None:
    long = tmp_path / ("é" * 127)
    replace_folder(long, fill_plan, "plan.json", False)
    assert (long / "plan.json").read_text() == "new"
    (long / "plan.json").write_text("old")
    (tmp_path / "link").symlink_to(long)
    replace_folder(tmp_path / "link", fill_plan, "plan.json", True)
    assert (tmp_path / "link").is_symlink()
    assert (long / "plan.json").read_text() == "new"
    assert {p.name for p in tmp_path.iterdir()} == {long.name, "link"}


def test_a_plan_that_cannot_be_put_in_place_stays_beside(tmp_path: Path) -> None:
    """Somebody put files of their own there while the plan was sought."""
    out = tmp_path / "plan"
    check_plan_folder(out, False)

    def fill(folder: Path) -> None:
        fill_plan(folder)
        out.mkdir()
        (out / "theirs").write_text("theirs")

    with pytest.raises(InputError, match=r"holds other files.*; it lies whole in ") as caught:
        replace_folder(out, fill, "plan.json", False)
    beside = Path(str(caught.value).split("it lies whole in ")[1])
    assert (beside / "plan.json").read_text() == "new"
    assert [p.name for p in out.iterdir()] == ["theirs"]


def test_a_plan_whose_folder_has_gone_lies_among_the_temporary_files(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    with pytest.raises(InputError, match="it lies whole in ") as caught:
        replace_folder(gone / "plan", fill_plan, "plan.json", False)
    beside = Path(str(caught.value).split("it lies whole in ")[1])
    assert (beside / "plan.json").read_text() == "new"
    shutil.rmtree(beside)


@pytest.mark.parametrize("other", ["./a.csv", "sub/../a.csv", "link.csv", "{path}/a.csv"])
def test_one_file_under_two_spellings_is_one_file(
    other: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once the second output replaced the first."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sub").mkdir()
    (tmp_path / "link.csv").symlink_to("a.csv")
    with pytest.raises(InputError, match="named twice"):
        check_targets(["a.csv", None, other.format(path=tmp_path)], force=True)
    check_targets(["a.csv", "sub/a.csv", "-"], force=True)
    with pytest.raises(InputError, match="named twice"):
        check_targets(["-", "a.csv", "-"], force=True)


def test_a_folder_that_may_not_be_written_to_is_told_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once a search of minutes came first. Asked of the system, as nothing is closed to root."""
    closed = tmp_path / "closed"
    closed.mkdir()
    monkeypatch.setattr(os, "access", lambda path, _: Path(path) != closed)
    check_targets([tmp_path / "a.csv"], force=False)
    with pytest.raises(InputError, match=r"a\.csv: cannot be written \(Permission denied\)"):
        check_targets([closed / "a.csv"], force=False)
