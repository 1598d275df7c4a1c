"""A log without readings where its firing was hottest: told, and nothing firm said of the peak."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cofire.cli import app
from cofire.errors import InputError
from cofire.evidence.measured import read_measured
from cofire.evidence.replay import replay
from cofire.firing.log import HIDING, FiringLog, read_firing_log
from cofire.report.record import read_record
from cofire.report.replay import as_text
from cofire.units import HOUR
from tests.fired import CARDS, COARSE, KILNS, TEA_LIGHT, tea_light, written_vessel

pytestmark = pytest.mark.usefixtures("solids_are_rough")

AT, HOT = (0.0, 6.0, 7.0, 10.5, 11.2, 20.0), (20.0, 420.0, 420.0, 890.0, 890.0, 40.0)  # h, °C


def written(
    folder: Path, low: float, high: float, at: tuple[float, ...] = AT, hot: tuple[float, ...] = HOT
) -> Path:
    """A log of every two minutes, but for what lies between two hours."""
    time = np.arange(0.0, 20.0, 1.0 / 30.0)
    time = time[(time < low) | (time > high)]
    path = folder / "log.csv"
    lines = (f"{60.0 * t:.2f},{v:.1f}" for t, v in zip(time, np.interp(time, at, hot), strict=True))
    path.write_text("time_min,temp_C\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("low", "high", "hides"),
    [
        (9.5, 12.0, True),  # entered on the ramp, left on cooling
        (9.5, 10.8, False),  # left within the hold
        (10.8, 12.0, False),  # entered within it
        (10.6, 11.5, False),  # entered a few minutes into it
        (6.5, 13.0, True),  # entered in the hold on the way, left on cooling
        (8.0, 9.0, False),  # on the ramp alone
        (13.0, 15.0, False),  # on cooling alone
    ],
)
def test_a_gap_entered_rising_and_left_falling_may_hide_the_peak(
    tmp_path: Path, low: float, high: float, hides: bool
) -> None:
    log = read_firing_log(written(tmp_path, low, high))
    assert (log.hidden is not None) == hides
    assert any(HIDING in note for note in log.notes) == hides
    assert any("no readings for" in note for note in log.notes)
    if log.hidden is not None:
        assert log.hidden == pytest.approx(low * HOUR, abs=0.05 * HOUR)


@pytest.mark.parametrize(
    ("first", "hides"),
    [
        (12.0, True),  # on cooling, from 812 °C
        (18.5, True),  # late on cooling, from 185 °C
        (9.0, False),  # hot, but rising
        (10.8, False),  # in the hold
    ],
)
def test_a_log_that_begins_on_cooling_may_hide_its_peak(
    tmp_path: Path, first: float, hides: bool
) -> None:
    log = read_firing_log(written(tmp_path, -1.0, first))
    assert (log.hidden == 0.0) == hides
    assert (f"line 2: begins on cooling: {HIDING} before it" in log.notes) == hides


def test_a_kiln_still_warm_from_the_firing_before_hides_no_peak(tmp_path: Path) -> None:
    log = read_firing_log(written(tmp_path, 0.0, 0.0, (0.0, 2.0, *AT[1:]), (120.0, 95.0, *HOT[1:])))
    assert log.hidden is None
    assert log.trace.peak == pytest.approx(1163.0, abs=1.0)


def test_a_replay_says_nothing_firm_of_a_peak_that_a_gap_may_hide() -> None:
    curve = tea_light().trace
    low = replace(curve, ware=np.minimum(curve.ware, 1023.0), kiln=np.minimum(curve.kiln, 1023.0))
    reached = float(low.time[np.argmax(low.ware)])
    log = FiringLog("made.csv", low.time, low.kiln, low, ("made",), ())
    vessel = written_vessel(TEA_LIGHT)
    firm, held = (
        replay(vessel, seen, CARDS, control=COARSE, fineness=0.5, quick=True)
        for seen in (log, replace(log, hidden=reached))
    )
    assert any(after.rule == "density" for _, after in firm.changed)
    assert {"density", "peak"} <= set(held.withheld)
    assert not {"density", "peak"} & {after.rule for _, after in (*held.changed, *held.moved)}
    assert not [f for f in held.verdicts[1].flags if f.rule == "density" and f.verdict == "no"]
    # drying asks nothing of the firing
    assert [f for f in held.verdicts[1].flags if f.rule == "drying" and f.verdict != "unknown"]
    text = as_text(held)
    assert "750 °C or more" in text
    assert "Not told of the firing as logged" in text
    late = as_text(replace(held, log=replace(log, hidden=0.0)))
    assert "fastest heating, half an hour" in late
    assert [line.split()[-2:] for line in late.splitlines() if "fastest heating" in line] == [
        ["not", "told"]
    ]
    assert "or more" not in as_text(firm)


def test_a_record_tells_of_the_gap_and_keeps_no_false_peak(tmp_path: Path) -> None:
    log, record = written(tmp_path, 9.5, 12.0), tmp_path / "r.jsonl"
    done = CliRunner().invoke(
        app, ["record", "add", str(log), "--piece", "bowl", "--record", str(record)]
    )
    assert done.exit_code == 0, done.output
    assert HIDING in done.stderr
    assert "°C or more" in done.stdout
    (entry,) = read_record(record).entries
    assert "peak_C" not in entry
    assert entry["peak_at_least_C"] < 820.0
    assert any(HIDING in note for note in entry["notes"])


@pytest.mark.parametrize(
    ("low", "why"), [(9.5, "the peak may lie in this gap"), (-1.0, "the peak may lie before it")]
)
def test_pieces_are_not_fitted_to_a_peak_that_nobody_read(
    tmp_path: Path, low: float, why: str
) -> None:
    written(tmp_path, low, 12.0)
    path = tmp_path / "m.toml"
    path.write_text(
        'material = "fritted body"\n[[firing]]\nname = "a"\nlog = "log.csv"\n'
        "bars_mm = [[96.0, 85.5], [96.0, 85.4]]\n"
    )
    with pytest.raises(InputError, match=rf"log\.csv: line .*{why}; allowed"):
        read_measured(path, KILNS)
