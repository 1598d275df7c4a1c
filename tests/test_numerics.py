from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from cofire.numerics import ShapePreserving, shape_preserving_cubics, sobol_points

STEPS = st.lists(st.floats(0.1, 100.0), min_size=2, max_size=12)


@given(STEPS, st.data())
def test_the_curve_is_that_of_scipy(steps: list[float], data: st.DataObject) -> None:
    """scipy.interpolate.PchipInterpolator, an independent and well-kept implementation."""
    x = np.cumsum(steps)
    values = st.integers(-800, 800).map(lambda n: n / 16.0)
    y = np.array(data.draw(st.lists(values, min_size=x.size, max_size=x.size)))
    at = np.linspace(x[0], x[-1], 101)
    expected = PchipInterpolator(x, y)

    assert np.allclose(ShapePreserving.through(x, y).at(at), expected(at), rtol=1e-9, atol=1e-9)
    assert np.allclose(
        np.stack(shape_preserving_cubics(x, y)), expected.c[:3], rtol=1e-7, atol=1e-9
    )


def test_rows_of_values_are_done_at_once() -> None:
    x = np.array([0.0, 1.0, 3.0, 4.0])
    rows = np.array([[0.0, 1.0, 1.5, 4.0], [3.0, 2.0, 5.0, 5.0]])

    together = np.stack(shape_preserving_cubics(x, rows))

    for k, row in enumerate(rows):
        assert np.array_equal(together[:, k], np.stack(shape_preserving_cubics(x, row)))


STRUCK = """
import signal, sys
import numpy as np
from cofire.numerics import sobol_points
load = np.load
def struck(*words, **more):
    print("struck")
    signal.raise_signal(getattr(signal, sys.argv[1]))
    return load(*words, **more)
np.load = struck
signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
try:
    sobol_points(4, 3, 0)
except KeyboardInterrupt:
    sys.exit(130)
"""


@pytest.mark.parametrize(
    ("name", "status"), [("SIGINT", 130), pytest.param("SIGTERM", 143, marks=pytest.mark.long)]
)
def test_no_stop_is_lost_while_the_table_of_sobol_is_loaded(name: str, status: int) -> None:
    """What scipy calls there cannot pass an exception on: it prints it and goes on."""
    done = subprocess.run(
        [sys.executable, "-c", STRUCK, name], cwd=Path(__file__).parents[1], text=True,
        capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (status, "struck\n", "")


def test_points_of_a_seed_are_the_same_and_signals_are_given_back() -> None:
    before = signal.getsignal(signal.SIGINT)
    points = sobol_points(6, 3, 1)
    assert points.shape == (6, 3)
    assert np.array_equal(points, sobol_points(6, 3, 1))
    assert not np.array_equal(points, sobol_points(6, 3, 2))
    assert signal.getsignal(signal.SIGINT) is before
