"""What is told of a firing as it was logged."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cofire.cli import app
from cofire.cli.common import DEFECT

pytestmark = pytest.mark.usefixtures("solids_are_rough")

CUP = Path(__file__).parents[2] / "examples" / "gold_foot_cup.toml"


def test_a_log_that_never_reached_sintering_is_told_in_figures_that_say_so(tmp_path: Path) -> None:
    """Once "blend density ... fired no (0.643 of 0.643)", of powders that stayed as they were."""
    log = tmp_path / "cold.csv"
    rows = (f"{60 * k},{min(20 + k, 300, 1100 - 2 * k)}" for k in range(520))
    log.write_text("time_s,temperature_C\n" + "\n".join(rows), encoding="utf-8")
    told = CliRunner().invoke(app, ["replay", str(CUP), str(log), "--extend"])
    assert told.exit_code == DEFECT, told.output
    text = " ".join(told.stdout.split())
    assert "density, leucite porcelain: planned go (0.981 against 0.940 of full density)" in text
    assert "fired no (" in text
    assert not re.search(r"blend density, [^(]*\([^)]*\), fired (no|caution) ", text)
